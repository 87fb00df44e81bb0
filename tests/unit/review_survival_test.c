/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include "review/statistics.h"
#include "support/survival.h"
#include "support/test.h"

static int start(void **state)
{
    *state = arena_new();
    return *state ? 0 : -1;
}

static int end(void **state)
{
    arena_free(*state);
    return 0;
}

static struct survival_curve curve_of(struct arena *arena, const struct survival_case *cases,
                                      size_t count)
{
    return curve_of_cases(arena, cases, count);
}

TEST(no_vessels_give_no_steps)
{
    struct survival_curve curve = curve_of(*state, NULL, 0);
    assert_int_equal(curve.count, 0);
    assert_true(isinf(curve.median));
}

TEST(none_lost_stays_at_one)
{
    const struct survival_case cases[] = {{5, false}, {9, false}, {5, false}};
    struct survival_curve curve = curve_of(*state, cases, 3);
    assert_int_equal(curve.count, 2);
    assert_int_equal(curve.steps[0].at_risk, 3);
    assert_true(curve.steps[1].survival == 1.0 && curve.steps[1].at_risk == 1);
    assert_true(isinf(curve.median));
}

TEST(all_lost_ends_at_nothing)
{
    const struct survival_case cases[] = {{7, true}, {7, true}, {7, true}};
    struct survival_curve curve = curve_of(*state, cases, 3);
    assert_int_equal(curve.count, 1);
    assert_true(curve.steps[0].survival == 0.0);
    assert_true(curve.median == 7.0);
}

TEST(without_censoring_it_is_the_share_left)
{
    struct survival_case cases[40];
    for (size_t i = 0; i < 40; i++)
        cases[i] = (struct survival_case){(double)((i * 17) % 40) + 1.0, true};
    struct survival_curve curve = curve_of(*state, cases, 40);
    assert_int_equal(curve.count, 40);
    for (size_t i = 0; i < 40; i++) {
        double s = (39.0 - (double)i) / 40.0;
        assert_true(fabs(curve.steps[i].survival - s) < 1e-12);
    }
    assert_true(curve.median == 20.5); /* S is 1/2 from 20 to 21 */
}

TEST(losses_come_before_censorings_of_the_same_day)
{
    const struct survival_case cases[] = {{3, false}, {3, true}};
    struct survival_curve curve = curve_of(*state, cases, 2);
    assert_int_equal(curve.count, 1);
    assert_true(curve.steps[0].at_risk == 2 && curve.steps[0].survival == 0.5);
    assert_true(curve.median == 3.0); /* 1/2, and no later step */
}

TEST(groups_exchanged_change_nothing)
{
    (void)state;
    struct survival_case cases[60];
    size_t group[60], turned[60];
    for (size_t i = 0; i < 60; i++) {
        cases[i] = (struct survival_case){(double)((i * 7) % 13), i % 4 != 0};
        group[i] = (i * i) % 3; /* 0 or 1: the third is empty */
        turned[i] = 2 - group[i];
    }
    struct strata_test a = logrank_of_cases(cases, group, 60, 3);
    struct strata_test b = logrank_of_cases(cases, turned, 60, 3);
    assert_true(fabs(a.statistic - b.statistic) < 1e-10);
    assert_true(a.statistic > 0.0 && a.freedom == 1 && b.freedom == 1);
}

TEST(empty_groups_cost_no_freedom)
{
    (void)state;
    const struct survival_case cases[] = {{1, true}, {2, true}, {3, true}, {4, false}, {5, true}};
    const size_t group[] = {0, 2, 0, 2, 2};
    struct strata_test three = logrank_of_cases(cases, group, 5, 4);
    assert_int_equal(three.freedom, 1);
    const struct survival_case clean[] = {{1, false}, {2, false}};
    struct strata_test nothing = logrank_of_cases(clean, group, 2, 3);
    assert_true(nothing.freedom == 0 && nothing.p == 1.0 && nothing.statistic == 0.0);
    assert_true(logrank_of_cases(NULL, NULL, 0, 1).p == 1.0);
}

int main(void)
{
    return tests_run("review,time to loss", start, end);
}
