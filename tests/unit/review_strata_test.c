/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>
#include <stdlib.h>

#include "review/statistics.h"
#include "support/test.h"

struct cell {
    size_t group, stratum;
    struct counts counts;
};

/* Of cells that are named; the others are empty. */
static struct strata_test test_of(const struct cell *cells, size_t count, size_t groups)
{
    struct strata_test result;
    size_t strata = 0;
    for (size_t i = 0; i < count; i++)
        strata = cells[i].stratum >= strata ? cells[i].stratum + 1 : strata;
    struct counts *table = calloc(groups * strata + 1, sizeof *table);
    for (size_t i = 0; i < count; i++)
        table[cells[i].stratum * groups + cells[i].group] = cells[i].counts;
    assert_true(strata_groups(table, groups, strata, &result));
    free(table);
    return result;
}

/* Two groups in one stratum: with a, b, c, d lost and kept, (n - 1) (a d - b c)^2 over the product of
 * the margins (Mantel & Haenszel 1959). */
static double pair_statistic(struct counts first, struct counts second)
{
    double a = (double)first.lost, b = (double)first.total - a;
    double c = (double)second.lost, d = (double)second.total - c, n = a + b + c + d;
    return (n - 1.0) * (a * d - b * c) * (a * d - b * c) / ((a + b) * (c + d) * (a + c) * (b + d));
}

TEST(strata_that_tell_nothing_change_nothing)
{
    (void)state;
    const struct cell cells[] = {
        {0, 0, {3, 4}}, {1, 0, {1, 4}}, {0, 1, {0, 9}}, {1, 1, {0, 3}}, {0, 2, {5, 5}},
        {1, 2, {2, 2}}, {0, 3, {2, 7}}, {1, 3, {0, 0}}, {0, 4, {0, 1}},
    };
    struct strata_test one = test_of(cells, 2, 2), all = test_of(cells, 9, 2);
    assert_int_equal(all.strata, 1);
    assert_true(one.p == all.p && one.statistic == all.statistic);
    assert_true(fabs(one.statistic - pair_statistic(cells[0].counts, cells[1].counts)) < 1e-12);
}

TEST(nothing_to_compare_is_p_1)
{
    (void)state;
    const struct cell cells[] = {{0, 0, {0, 9}}, {1, 0, {0, 3}}, {0, 1, {2, 7}}};
    for (size_t count = 0; count <= 3; count++) {
        struct strata_test test = test_of(cells, count, 5);
        assert_true(test.p == 1.0 && test.statistic == 0.0 && test.freedom == 0);
        assert_int_equal(test.strata, 0);
    }
    assert_true(test_of(NULL, 0, 0).p == 1.0);
}

/* A cook that always went with one grain cannot be told from it. */
TEST(what_always_went_together_is_not_told_apart)
{
    (void)state;
    const struct cell apart[] = {
        {0, 0, {5, 10}}, {1, 1, {1, 10}}, {2, 2, {2, 10}}, {3, 2, {6, 10}}};
    struct strata_test result = test_of(apart, 4, 4);
    assert_int_equal(result.strata, 1);
    assert_int_equal(result.freedom, 1); /* 2 and 3 only */

    const struct cell islands[] = {
        {0, 0, {5, 10}}, {1, 0, {1, 10}}, {2, 1, {2, 10}}, {3, 1, {6, 10}}, {1, 2, {1, 9}}};
    result = test_of(islands, 5, 4);
    assert_int_equal(result.strata, 2);
    assert_int_equal(result.freedom, 2);
    /* Islands add up: each is a test of its own. */
    struct strata_test first = test_of(islands, 2, 4), second = test_of(islands + 2, 2, 4);
    assert_true(fabs(result.statistic - first.statistic - second.statistic) < 1e-10);
}

/* One stratum of equal groups: (N - 1) / N of Pearson's chi-square, whatever their number. */
TEST(hundreds_of_groups_work)
{
    (void)state;
    enum { GROUPS = 800, SIZE = 12 };
    static struct cell cells[GROUPS];
    double lost = 0.0, squares = 0.0, n = (double)GROUPS * SIZE;
    for (size_t i = 0; i < GROUPS; i++) {
        cells[i] = (struct cell){i, 0, {(i * i) % 5, SIZE}};
        lost += (double)cells[i].counts.lost;
    }
    for (size_t i = 0; i < GROUPS; i++) {
        double off = (double)cells[i].counts.lost - lost / GROUPS;
        squares += off * off;
    }
    double rate = lost / n, pearson = squares / (SIZE * rate * (1.0 - rate));
    struct strata_test result = test_of(cells, GROUPS, GROUPS);
    assert_int_equal(result.freedom, GROUPS - 1);
    assert_true(fabs(result.statistic / (pearson * (n - 1.0) / n) - 1.0) < 1e-10);
}

/* Groups in a chain, each sharing a stratum with the next only. */
TEST(a_long_chain_works)
{
    (void)state;
    enum { GROUPS = STRATA_GROUPS_MOST };
    static struct cell cells[2 * GROUPS];
    for (size_t i = 0; i < (size_t)2 * GROUPS; i++)
        cells[i] = (struct cell){i / 2, (i + 1) / 2, {1 + (i * 7) % 5, 10}};
    struct strata_test result = test_of(cells, 2 * GROUPS, GROUPS);
    assert_int_equal(result.freedom, GROUPS - 1);
    /* Each link is a test of its own: the sum over links. */
    double sum = 0.0;
    for (size_t i = 1; i + 1 < (size_t)2 * GROUPS; i += 2)
        sum += pair_statistic(cells[i].counts, cells[i + 1].counts);
    assert_true(fabs(result.statistic / sum - 1.0) < 1e-8);
}

TEST(too_many_groups_are_refused)
{
    (void)state;
    struct strata_test test;
    assert_false(strata_groups(NULL, STRATA_GROUPS_MOST + 1, 0, &test));
}

int main(void)
{
    return tests_run("review,strata", NULL, NULL);
}
