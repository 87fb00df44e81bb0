/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include "process/heat.h"
#include "support/test.h"

static double sum_of(const double (*readings)[2], size_t count, double gap, struct lethality *sum)
{
    double minutes = NAN;
    lethality_init(sum, 121.1, 10, gap);
    for (size_t i = 0; i < count; i++)
        assert_int_equal(lethality_add(sum, readings[i][0], readings[i][1]), PROCESS_OK);
    assert_int_equal(lethality_finish(sum, &minutes), PROCESS_OK);
    return minutes;
}

TEST(holding_at_the_reference_counts_minutes)
{
    (void)state;
    const double readings[][2] = {{0, 121.1}, {3, 121.1}, {15, 121.1}};
    struct lethality sum;
    assert_true(fabs(sum_of(readings, 3, INFINITY, &sum) - 15.0) < 1e-12);
}

TEST(a_gap_is_credited_at_its_cooler_end)
{
    (void)state;
    const double readings[][2] = {{0, 121.1}, {1, 121.1}, {31, 111.1}, {32, 111.1}};
    struct lethality sum;
    double minutes = sum_of(readings, 4, 5.0, &sum);
    assert_true(fabs(minutes - (1.0 + 30 * 0.1 + 0.1)) < 1e-12);
    assert_int_equal(sum.gaps, 1);
    assert_true(sum.gap_minutes == 30.0);
}

TEST(time_must_run_forward)
{
    (void)state;
    struct lethality sum;
    double minutes;
    lethality_init(&sum, 121.1, 10, INFINITY);
    assert_int_equal(lethality_finish(&sum, &minutes), PROCESS_EMPTY);
    assert_int_equal(lethality_add(&sum, 5, 100), PROCESS_OK);
    assert_int_equal(lethality_add(&sum, 5, 101), PROCESS_TIME_ORDER);
    assert_int_equal(lethality_add(&sum, 4, 101), PROCESS_TIME_ORDER);
    assert_int_equal(lethality_add(&sum, NAN, 101), PROCESS_TIME_ORDER);
    assert_int_equal(lethality_add(&sum, 6, 1000), PROCESS_PROBE_CELSIUS);
    assert_int_equal(lethality_add(&sum, 6, NAN), PROCESS_PROBE_CELSIUS);
    assert_int_equal(sum.readings, 1);
}

TEST(many_readings_lose_nothing)
{
    (void)state;
    struct lethality sum;
    const size_t count = 3000000;
    lethality_init(&sum, 121.1, 10, INFINITY);
    for (size_t i = 0; i <= count; i++)
        assert_int_equal(lethality_add(&sum, (double)i / 1e4, 121.1), PROCESS_OK);
    assert_true(fabs((double)sum.minutes - 300.0) < 1e-10);
}

TEST(curves_and_readings_agree)
{
    (void)state;
    static double celsius[481], total[481];
    struct lethality sum;
    lethality_init(&sum, 121.1, 6.1, INFINITY);
    for (size_t i = 0; i < 481; i++) {
        celsius[i] = 121 - 100 * exp(-(double)i / 80);
        assert_int_equal(lethality_add(&sum, (double)i / 4, celsius[i]), PROCESS_OK);
    }
    lethality_curve(celsius, 481, 0.25, 121.1, 6.1, total);
    assert_true(total[0] == 0.0);
    assert_true(fabs(total[480] / (double)sum.minutes - 1.0) < 1e-4);
    for (size_t i = 1; i < 481; i++)
        assert_true(total[i] >= total[i - 1]);
    /* Too few points for the rule: the straight line is taken. */
    const double two[] = {111.1, 121.1};
    lethality_curve(two, 2, 1.0, 121.1, 10, total);
    assert_true(fabs(total[1] - 0.9 / log(10.0)) < 1e-12);
}

TEST(chances_stay_exact_when_tiny)
{
    (void)state;
    assert_true(fabs(survivors_chance(1e-14) / 1e-14 - 1.0) < 1e-12);
    assert_true(fabs(survivors_chance(1e-14 * 20) / 20e-14 - 1.0) < 1e-12);
    assert_true(survivors_chance(1e9) == 1.0);
    assert_true(survivors(0.0, 3.0) == 0.0);
    assert_true(survivors(1e6, INFINITY) == 0.0);
    double n = 12, p = survivors_chance(0.01);
    assert_true(fabs(survivors_chance(0.01 * n) - (1 - pow(1 - p, n))) < 1e-12);
}

TEST(targets_reach_what_they_promise)
{
    (void)state;
    double log_reduction;
    assert_int_equal(survivors_target(1e6, 1e-3, &log_reduction), PROCESS_OK);
    assert_true(fabs(survivors_chance(survivors(1e6, log_reduction)) - 1e-3) < 1e-15);
    assert_int_equal(survivors_target(1e-9, 1e-3, &log_reduction), PROCESS_OK);
    assert_true(log_reduction == 0.0);
    assert_int_equal(survivors_target(1e6, 0.0, &log_reduction), PROCESS_TARGET_CHANCE);
}

int main(void)
{
    return tests_run("lethality", NULL, NULL);
}
