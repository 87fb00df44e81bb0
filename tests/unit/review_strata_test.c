/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "review/strata.h"

static struct strata_test test_of(const struct strata_cell *cells, size_t count, size_t groups,
                                  size_t strata)
{
    struct strata_test result;
    assert_int_equal(strata_groups(cells, count, groups, strata, &result), STATUS_OK);
    return result;
}

static void two_groups_agree_both_ways(void **state)
{
    (void)state;
    const struct strata_pair pairs[] = {{{3, 9}, {1, 8}}, {{5, 12}, {2, 10}}, {{0, 4}, {1, 6}}};
    struct strata_cell cells[6];
    struct strata_pairs by_pair;
    for (size_t i = 0; i < 3; i++) {
        cells[2 * i] = (struct strata_cell){0, i, pairs[i].first};
        cells[2 * i + 1] = (struct strata_cell){1, i, pairs[i].second};
    }
    struct strata_test by_group = test_of(cells, 6, 2, 3);
    assert_int_equal(strata_pairs(pairs, 3, 0.95, &by_pair), STATUS_OK);
    assert_true(fabs(by_group.statistic - by_pair.statistic) < 1e-12);
    assert_int_equal(by_group.freedom, 1);
    assert_int_equal(by_group.strata, 3);
}

static void one_stratum_is_fishers_test(void **state)
{
    (void)state;
    const struct strata_pair tea = {{3, 4}, {1, 4}};
    struct strata_pairs result;
    assert_int_equal(strata_pairs(&tea, 1, 0.95, &result), STATUS_OK);
    assert_true(result.exact && fabs(result.exact_two_sided - 34.0 / 70.0) < 1e-14);
    assert_true(fabs(result.exact_greater - 17.0 / 70.0) < 1e-14);
}

static void strata_that_tell_nothing_change_nothing(void **state)
{
    (void)state;
    const struct strata_pair pairs[] = {{{3, 4}, {1, 4}}, {{0, 9}, {0, 3}}, {{5, 5}, {2, 2}},
                                        {{2, 7}, {0, 0}}, {{0, 0}, {0, 0}}, {{0, 1}, {0, 0}}};
    struct strata_pairs one, all;
    assert_int_equal(strata_pairs(pairs, 1, 0.95, &one), STATUS_OK);
    assert_int_equal(strata_pairs(pairs, 6, 0.95, &all), STATUS_OK);
    assert_int_equal(all.strata, 1);
    assert_true(one.p == all.p && one.odds_ratio == all.odds_ratio);
    assert_true(fabs(one.exact_two_sided - all.exact_two_sided) < 1e-15);
}

static void nothing_to_compare_is_p_1(void **state)
{
    (void)state;
    const struct strata_pair pairs[] = {{{0, 9}, {0, 3}}, {{2, 7}, {0, 0}}};
    struct strata_pairs result;
    for (size_t count = 0; count <= 2; count++) {
        assert_int_equal(strata_pairs(pairs, count, 0.95, &result), STATUS_OK);
        assert_int_equal(result.strata, 0);
        assert_true(result.p == 1.0 && result.corrected_p == 1.0 && result.statistic == 0.0);
        assert_true(result.exact && result.exact_two_sided == 1.0);
        assert_true(isnan(result.odds_ratio) && isinf(result.odds.high));
    }
    struct strata_test test = test_of(NULL, 0, 0, 0);
    assert_true(test.p == 1.0 && test.freedom == 0);
    test = test_of(NULL, 0, 5, 5);
    assert_true(test.p == 1.0 && test.groups == 0 && test.islands == 0);
}

/* Where one group lost none anywhere the odds ratio lies at an end, and no interval is claimed. */
static void an_end_claims_no_interval(void **state)
{
    (void)state;
    const struct strata_pair pairs[] = {{{0, 5}, {3, 5}}, {{0, 6}, {1, 4}}};
    struct strata_pairs result;
    assert_int_equal(strata_pairs(pairs, 2, 0.95, &result), STATUS_OK);
    assert_true(result.odds_ratio == 0.0);
    assert_true(result.odds.low == 0.0 && isinf(result.odds.high));
    assert_true(result.exact_odds_ratio == 0.0 && result.exact_odds.low == 0.0);
    assert_true(isfinite(result.exact_odds.high));
}

/* A cook that always went with one grain cannot be told from it. */
static void what_always_went_together_is_not_told_apart(void **state)
{
    (void)state;
    const struct strata_cell apart[] = {
        {0, 0, {5, 10}}, {1, 1, {1, 10}}, {2, 2, {2, 10}}, {3, 2, {6, 10}}};
    struct strata_test result = test_of(apart, 4, 4, 3);
    assert_int_equal(result.strata, 1);
    assert_int_equal(result.groups, 2); /* 2 and 3 only */
    assert_int_equal(result.islands, 1);
    assert_int_equal(result.freedom, 1);

    const struct strata_cell islands[] = {
        {0, 0, {5, 10}}, {1, 0, {1, 10}}, {2, 1, {2, 10}}, {3, 1, {6, 10}}, {1, 2, {1, 9}}};
    result = test_of(islands, 5, 4, 3);
    assert_int_equal(result.strata, 2);
    assert_int_equal(result.islands, 2);
    assert_int_equal(result.freedom, 2);
    /* Islands add up: each is a test of its own. */
    struct strata_test first = test_of(islands, 2, 4, 3), second = test_of(islands + 2, 2, 4, 3);
    assert_true(fabs(result.statistic - first.statistic - second.statistic) < 1e-10);
}

static void cells_named_twice_add(void **state)
{
    (void)state;
    const struct strata_cell once[] = {{0, 0, {5, 10}}, {1, 0, {1, 10}}, {2, 0, {2, 9}}};
    const struct strata_cell twice[] = {
        {0, 0, {2, 3}}, {1, 0, {1, 10}}, {2, 0, {2, 9}}, {0, 0, {3, 7}}, {1, 0, {0, 0}}};
    struct strata_test a = test_of(once, 3, 3, 1), b = test_of(twice, 5, 3, 1);
    assert_true(fabs(a.statistic - b.statistic) < 1e-12);
    assert_int_equal(b.groups, 3);
}

/* One stratum of equal groups: (N - 1) / N of Pearson's chi-square, whatever their number. */
static void thousands_of_groups_work(void **state)
{
    (void)state;
    enum { GROUPS = 4000, SIZE = 12 };
    static struct strata_cell cells[GROUPS];
    double lost = 0.0, squares = 0.0, n = (double)GROUPS * SIZE;
    for (size_t i = 0; i < GROUPS; i++) {
        cells[i] = (struct strata_cell){i, 0, {(i * i) % 5, SIZE}};
        lost += (double)cells[i].counts.lost;
    }
    for (size_t i = 0; i < GROUPS; i++) {
        double off = (double)cells[i].counts.lost - lost / GROUPS;
        squares += off * off;
    }
    double rate = lost / n, pearson = squares / (SIZE * rate * (1.0 - rate));
    struct strata_test result = test_of(cells, GROUPS, GROUPS, 1);
    assert_int_equal(result.freedom, GROUPS - 1);
    assert_true(fabs(result.statistic / (pearson * (n - 1.0) / n) - 1.0) < 1e-10);
}

/* Groups in a chain, each sharing a stratum with the next only: the slowest shape to solve. */
static void a_long_chain_works(void **state)
{
    (void)state;
    enum { GROUPS = 1500 };
    static struct strata_cell cells[2 * GROUPS];
    for (size_t i = 0; i < (size_t)2 * GROUPS; i++)
        cells[i] = (struct strata_cell){i / 2, (i + 1) / 2, {1 + (i * 7) % 5, 10}};
    struct strata_test result = test_of(cells, 2 * GROUPS, GROUPS, GROUPS + 1);
    assert_int_equal(result.islands, 1);
    assert_int_equal(result.freedom, GROUPS - 1);
    /* Each link is a test of its own: the sum over links. */
    double sum = 0.0;
    for (size_t i = 1; i + 1 < (size_t)2 * GROUPS; i += 2) {
        struct strata_pair link = {cells[i].counts, cells[i + 1].counts};
        struct strata_pairs one;
        assert_int_equal(strata_pairs(&link, 1, 0.95, &one), STATUS_OK);
        sum += one.statistic;
    }
    assert_true(fabs(result.statistic / sum - 1.0) < 1e-8);
}

static void too_much_for_exact_says_so(void **state)
{
    (void)state;
    enum { STRATA = 4000 };
    static struct strata_pair pairs[STRATA];
    struct strata_pairs result;
    for (size_t i = 0; i < STRATA; i++)
        pairs[i] = (struct strata_pair){{i % 4, 10}, {i % 3, 10}};
    assert_int_equal(strata_pairs(pairs, STRATA, 0.95, &result), STATUS_OK);
    assert_true(!result.exact && isnan(result.exact_two_sided) && isnan(result.exact_odds.low));
    assert_true(result.p < 1e-6 && result.odds_ratio > 1.0);
}

static void bad_arguments_are_refused(void **state)
{
    (void)state;
    const struct strata_pair bad = {{3, 2}, {1, 2}}, good = {{1, 2}, {1, 2}};
    const struct strata_cell cell = {2, 0, {1, 2}};
    struct strata_pairs pairs;
    struct strata_test test;
    assert_int_equal(strata_pairs(&bad, 1, 0.95, &pairs), STATUS_USAGE);
    assert_int_equal(strata_pairs(&good, 1, NAN, &pairs), STATUS_USAGE);
    assert_int_equal(strata_groups(&cell, 1, 2, 1, &test), STATUS_USAGE);
    assert_int_equal(strata_groups(&cell, 1, 3, 0, &test), STATUS_USAGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_groups_agree_both_ways),
        cmocka_unit_test(one_stratum_is_fishers_test),
        cmocka_unit_test(strata_that_tell_nothing_change_nothing),
        cmocka_unit_test(nothing_to_compare_is_p_1),
        cmocka_unit_test(an_end_claims_no_interval),
        cmocka_unit_test(what_always_went_together_is_not_told_apart),
        cmocka_unit_test(cells_named_twice_add),
        cmocka_unit_test(thousands_of_groups_work),
        cmocka_unit_test(a_long_chain_works),
        cmocka_unit_test(too_much_for_exact_says_so),
        cmocka_unit_test(bad_arguments_are_refused),
    };
    return cmocka_run_group_tests_name("review, strata", tests, NULL, NULL);
}
