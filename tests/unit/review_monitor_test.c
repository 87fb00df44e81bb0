/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include <gsl/gsl_rng.h>
#include <stdbool.h>

#include "review/statistics.h"
#include "support/test.h"

/* ---- chart ----------------------------------------------------------------------------------- */

TEST(small_batches_are_judged_by_exact_tails)
{
    (void)state;
    /* 3 of 10 at 5 %: past the handbook's limit of centre + 3 sqrt(centre (1 - centre) / total), yet
     * one batch in 87 does as much. */
    struct counts three = {3, 10};
    struct monitor_point point = monitor_point(three, 0.05, MONITOR_THREE_SIGMA);
    assert_true(point.share > 0.05 + 3.0 * sqrt(0.05 * 0.95 / 10.0) && !point.above);
    assert_true(fabs(counts_chance_above(three, 0.05) - 0.0115) < 1e-4);
    assert_true(point.from_above == 4.0 && point.from_below == -1.0);
    assert_true(monitor_point((struct counts){4, 10}, 0.05, MONITOR_THREE_SIGMA).above);
    assert_false(monitor_point((struct counts){0, 10}, 0.05, MONITOR_THREE_SIGMA).below);
}

TEST(limits_are_the_first_rare_counts)
{
    (void)state;
    for (size_t n = 1; n < 60; n += 7) {
        struct monitor_point point = monitor_point((struct counts){0, n}, 0.4, 0.01);
        struct counts at = {(size_t)point.from_above, n}, before = {at.lost - 1, n};
        if (at.lost <= n)
            assert_true(counts_chance_above(at, 0.4) <= 0.01);
        assert_true(counts_chance_above(before, 0.4) > 0.01);
        at.lost = (size_t)(point.from_below + 1.0); /* the first that is not rare */
        assert_true(counts_chance_below(at, 0.4) > 0.01);
    }
}

TEST(ends_and_empty_batches_are_defined)
{
    (void)state;
    const struct counts none = {0, 0}, sound = {0, 8}, gone = {8, 8};
    struct monitor_point point = monitor_point(none, 0.0, 0.001);
    assert_true(isnan(point.share) && !point.above && !point.below);
    assert_false(monitor_point(sound, 0.0, 0.001).above);
    assert_true(monitor_point(gone, 0.0, 0.001).from_above == 1.0);
    assert_true(monitor_point(sound, 1.0, 0.001).below);
    assert_false(monitor_point(gone, 1.0, 0.001).below);
}

/* ---- running sum ----------------------------------------------------------------------------- */

TEST(plans_keep_their_promise)
{
    (void)state;
    static const double plans[][3] = {
        {0.05, 0.2, 500}, {0.01, 0.16, 1000}, {0.2, 0.4, 200}, {0.4, 0.8, 50}};
    enum { RUNS = 4000 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    assert_non_null(rng);
    for (size_t i = 0; i < sizeof plans / sizeof *plans; i++) {
        struct monitor_plan plan = monitor_plan(plans[i][0], plans[i][1], plans[i][2]);
        double up = log(plan.raised / plan.usual), vessels = 0.0;
        double down = log((1.0 - plan.usual) / (1.0 - plan.raised));
        for (int run = 0; run < RUNS; run++)
            for (double sum = 0.0; sum < plan.threshold; vessels++)
                sum = gsl_rng_uniform(rng) < plan.usual ? sum + up : fmax(0.0, sum - down);
        assert_true(vessels / RUNS >= 0.95 * plans[i][2]);
        assert_true(vessels / RUNS <= 6.0 * plans[i][2]);
    }
    gsl_rng_free(rng);
}

TEST(losses_of_a_day_are_spread)
{
    (void)state;
    const struct monitor_plan plan = monitor_plan(0.1, 0.4, 100.0);
    double up = log(4.0), down = log(0.9 / 0.6);
    assert_true(monitor_add(&plan, 0.0, (struct counts){0, 5}) == 0.0);
    assert_true(fabs(monitor_add(&plan, 0.0, (struct counts){3, 3}) - 3.0 * up) < 1e-12);
    /* Every second of ten, from the second on: what is taken away at 0 is nothing. */
    assert_true(fabs(monitor_add(&plan, 0.0, (struct counts){5, 10}) - (5.0 * up - 4.0 * down)) <
                1e-12);
    assert_true(fabs(monitor_add(&plan, 2.0, (struct counts){0, 3}) - (2.0 - 3.0 * down)) < 1e-12);
}

int main(void)
{
    return tests_run("review,charts in time", NULL, NULL);
}
