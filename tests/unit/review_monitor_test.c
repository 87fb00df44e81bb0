/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include <gsl/gsl_rng.h>
#include <stdbool.h>

#include "review/statistics.h"

/* ---- chart ----------------------------------------------------------------------------------- */

static void small_batches_are_judged_by_exact_tails(void **state)
{
    (void)state;
    /* 3 of 10 at 5 %: past the handbook's limit of centre + 3 sqrt(centre (1 - centre) / total), yet
     * one batch in 87 does as much. */
    const struct counts batches[] = {{3, 10}, {4, 10}, {5, 10}, {0, 10}};
    struct monitor_point points[4];
    assert_int_equal(monitor_chart(batches, 4, 0.05, MONITOR_THREE_SIGMA, points), STATUS_OK);
    assert_true(points[0].share > 0.05 + 3.0 * sqrt(0.05 * 0.95 / 10.0) && !points[0].above);
    assert_true(fabs(counts_chance_above(batches[0], 0.05) - 0.0115) < 1e-4);
    assert_true(points[0].from_above == 4.0 && points[1].above && points[2].above);
    assert_true(points[3].from_below == -1.0 && !points[3].below);
}

static void limits_are_the_first_rare_counts(void **state)
{
    (void)state;
    for (size_t n = 1; n < 60; n += 7) {
        struct counts batch = {0, n};
        struct monitor_point point;
        assert_int_equal(monitor_chart(&batch, 1, 0.4, 0.01, &point), STATUS_OK);
        struct counts at = {(size_t)point.from_above, n}, before = {at.lost - 1, n};
        if (at.lost <= n)
            assert_true(counts_chance_above(at, 0.4) <= 0.01);
        assert_true(counts_chance_above(before, 0.4) > 0.01);
        at.lost = (size_t)(point.from_below + 1.0); /* the first that is not rare */
        assert_true(counts_chance_below(at, 0.4) > 0.01);
    }
}

static void ends_and_empty_batches_are_defined(void **state)
{
    (void)state;
    const struct counts batches[] = {{0, 0}, {0, 8}, {8, 8}, {3, 264}};
    struct monitor_point points[4];
    assert_true(isnan(monitor_centre(batches, 1)) && isnan(monitor_centre(NULL, 0)));
    assert_true(fabs(monitor_centre(batches, 3) - 0.5) < 1e-15);
    assert_int_equal(monitor_chart(batches, 4, 0.0, 0.001, points), STATUS_OK);
    assert_true(isnan(points[0].share) && !points[0].above && !points[0].below);
    assert_true(!points[1].above && points[2].above && points[2].from_above == 1.0);
    assert_int_equal(monitor_chart(batches, 4, 1.0, 0.001, points), STATUS_OK);
    assert_true(points[1].below && !points[2].below);
    assert_int_equal(monitor_chart(batches, 4, 1.1, 0.001, points), STATUS_USAGE);
    assert_int_equal(monitor_chart(batches, 4, 0.5, 0.0, points), STATUS_USAGE);
}

/* ---- running sum ----------------------------------------------------------------------------- */

static void run_lengths_that_can_be_worked_by_hand(void **state)
{
    (void)state;
    /* A loss alone signals: the mean of a geometric. */
    assert_true(fabs(monitor_run_length(5, 5, 0.04) - 25.0) < 1e-12);
    /* Two losses, nothing between them but a step down: L = 1 + p M + q L, M = 1 + q L. */
    double p = 0.1, q = 0.9, wanted = (1.0 + p) / (1.0 - q - p * q);
    assert_true(fabs(monitor_run_length(1, 2, p) - wanted) < 1e-10);
    assert_true(monitor_run_length(1, 7, 1.0) == 7.0);
    assert_true(isinf(monitor_run_length(1, 7, 0.0)));
    assert_true(isnan(monitor_run_length(0, 7, 0.1)) && isnan(monitor_run_length(1, 0, 0.1)));
    assert_true(isnan(monitor_run_length(1, 7, 1.1)));
    /* Very long runs keep their digits: gambler's ruin, sum over i of (q/p)^i. */
    double sum = 0.0, level = 0.0;
    for (int s = 0; s < 40; s++) { /* steps from s to s + 1 */
        level = (1.0 + q * level) / p;
        sum += level;
    }
    assert_true(fabs(monitor_run_length(1, 40, p) / sum - 1.0) < 1e-12);
}

static void simulated_runs_agree(void **state)
{
    (void)state;
    enum { RUNS = 20000 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    double sum = 0.0, squares = 0.0;
    assert_non_null(rng);
    gsl_rng_set(rng, 5);
    for (int run = 0; run < RUNS; run++) {
        size_t at = 0;
        double vessels = 0.0;
        while (at < 22) {
            at = gsl_rng_uniform(rng) < 0.15 ? at + 10 : at > 0 ? at - 1 : 0;
            vessels += 1.0;
        }
        sum += vessels;
        squares += vessels * vessels;
    }
    gsl_rng_free(rng);
    double mean = sum / RUNS, error = sqrt((squares / RUNS - mean * mean) / RUNS);
    assert_true(fabs(mean - monitor_run_length(10, 22, 0.15)) < 4.0 * error);
}

static void plans_keep_their_promise(void **state)
{
    (void)state;
    static const double plans[][3] = {
        {0.05, 0.15, 1000}, {0.01, 0.03, 5000}, {0.2, 0.4, 200}, {0.45, 0.9, 50}, {0.1, 0.99, 1}};
    for (size_t i = 0; i < sizeof plans / sizeof *plans; i++) {
        struct monitor_plan plan;
        assert_int_equal(monitor_plan(plans[i][0], plans[i][1], plans[i][2], &plan), STATUS_OK);
        assert_true(plan.run_usual >= plans[i][2]);
        if (plan.threshold > 1)
            assert_true(monitor_run_length(plan.up, plan.threshold - 1, plan.usual) < plans[i][2]);
        assert_true(plan.raised > plan.usual);
        /* The steps are the weights of the raised rate. */
        double up = log(plan.raised / plan.usual);
        assert_true(fabs(up - (double)plan.up * plan.step) < 1e-9);
    }
    struct monitor_plan plan;
    assert_int_equal(monitor_plan(0.0, 0.1, 100, &plan), STATUS_USAGE);
    assert_int_equal(monitor_plan(0.1, 0.1, 100, &plan), STATUS_USAGE);
    assert_int_equal(monitor_plan(0.1, 1.0, 100, &plan), STATUS_USAGE);
    assert_int_equal(monitor_plan(0.1, 0.2, NAN, &plan), STATUS_USAGE);
}

static void an_episode_says_since_when(void **state)
{
    (void)state;
    /* One stray loss, a bad stretch from 30 to 40, all well again. */
    const struct monitor_plan plan = {.up = 5, .threshold = 12};
    bool lost[80] = {false};
    size_t sums[80];
    struct monitor_episode episodes[2];
    lost[10] = true;
    for (size_t i = 30; i <= 40; i += 2)
        lost[i] = true;
    assert_int_equal(monitor_episodes(&plan, lost, 80, sums, episodes, 2), 1);
    assert_int_equal(episodes[0].began, 30);
    assert_int_equal(episodes[0].worst, 40);
    assert_int_equal(episodes[0].highest, 25);
    assert_int_equal(episodes[0].ended, 65);
    assert_true(sums[10] == 5 && sums[15] == 0 && sums[34] == 13 /* 5, 4, 9, 8, 13 */);
    /* Still up at the end. */
    assert_int_equal(monitor_episodes(&plan, lost, 50, NULL, episodes, 2), 1);
    assert_int_equal(episodes[0].ended, 50);
    assert_int_equal(monitor_episodes(&plan, lost, 41, NULL, NULL, 0), 1);
    assert_int_equal(monitor_episodes(&plan, lost, 30, NULL, episodes, 2), 0);
    assert_int_equal(monitor_episodes(&plan, NULL, 0, NULL, episodes, 2), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(small_batches_are_judged_by_exact_tails),
        cmocka_unit_test(limits_are_the_first_rare_counts),
        cmocka_unit_test(ends_and_empty_batches_are_defined),
        cmocka_unit_test(run_lengths_that_can_be_worked_by_hand),
        cmocka_unit_test(simulated_runs_agree),
        cmocka_unit_test(plans_keep_their_promise),
        cmocka_unit_test(an_episode_says_since_when),
    };
    return cmocka_run_group_tests_name("review, charts in time", tests, NULL, NULL);
}
