/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include "review/statistics.h"
#include "support/test.h"

static const struct counts none[] = {{0, 0}, {0, 0}};

/* ---- intervals and tails --------------------------------------------------------------------- */

TEST(of_none_nothing_is_known)
{
    (void)state;
    struct interval exact = counts_interval_exact(none[0], 0.95);
    struct interval wilson = counts_interval_wilson(none[0], 0.95);
    assert_true(exact.low == 0.0 && exact.high == 1.0);
    assert_true(wilson.low == 0.0 && wilson.high == 1.0);
}

TEST(none_and_all_lost_reach_the_ends)
{
    (void)state;
    for (size_t n = 1; n < 3000; n = 3 * n + 1) {
        struct interval clean = counts_interval_exact((struct counts){0, n}, 0.9);
        struct interval gone = counts_interval_exact((struct counts){n, n}, 0.9);
        assert_true(clean.low == 0.0 && gone.high == 1.0);
        /* 0 of n: (1 - p)^n = 0.05 */
        assert_true(fabs(pow(1.0 - clean.high, (double)n) - 0.05) < 1e-12);
        assert_true(fabs(clean.high - (1.0 - gone.low)) < 1e-15);
        assert_true(counts_interval_wilson((struct counts){0, n}, 0.9).low == 0.0);
        assert_true(counts_interval_wilson((struct counts){n, n}, 0.9).high == 1.0);
    }
}

TEST(exact_ends_have_the_tails_they_promise)
{
    (void)state;
    static const struct counts rows[] = {{1, 7}, {3, 12}, {40, 41}, {700, 100000}, {50000, 100000}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct interval interval = counts_interval_exact(rows[i], 0.99);
        assert_true(fabs(counts_chance_above(rows[i], interval.low) / 0.005 - 1.0) < 1e-9);
        assert_true(fabs(counts_chance_below(rows[i], interval.high) / 0.005 - 1.0) < 1e-9);
    }
}

TEST(large_counts_do_not_defeat_the_tails)
{
    (void)state;
    const struct counts half = {COUNTS_MOST / 2, COUNTS_MOST};
    assert_true(fabs(counts_chance_above(half, 0.5) - 0.5) < 1e-4);
    struct interval interval = counts_interval_exact(half, 0.95);
    assert_true(fabs(interval.high - 0.5 - 1.96 * 0.5e-4) < 1e-7);
}

TEST(bad_arguments_give_no_number)
{
    (void)state;
    static const double levels[] = {0.0, 1.0, -0.5, NAN, 95.0};
    for (size_t i = 0; i < sizeof levels / sizeof *levels; i++) {
        assert_true(isnan(counts_interval_exact((struct counts){1, 2}, levels[i]).low));
        assert_true(isnan(counts_interval_wilson((struct counts){1, 2}, levels[i]).high));
    }
    assert_true(isnan(counts_interval_exact((struct counts){3, 2}, 0.95).low));
    assert_true(isnan(counts_chance_above((struct counts){1, 2}, 1.5)));
    assert_true(counts_chance_above((struct counts){1, 2}, 0.0) == 0.0);
    assert_true(counts_chance_below((struct counts){1, 2}, 1.0) == 0.0);
    assert_true(counts_chance_below((struct counts){0, 2}, 0.0) == 1.0);
}

/* ---- many questions -------------------------------------------------------------------------- */

TEST(questions_not_asked_do_not_count)
{
    (void)state;
    double p[] = {0.04, NAN, 0.01, NAN};
    counts_adjust(p, 4, p); /* in place */
    assert_true(fabs(p[0] - 0.04) < 1e-15 && fabs(p[2] - 0.02) < 1e-15);
    assert_true(isnan(p[1]) && isnan(p[3]));
    counts_adjust(p, 0, p);
}

/* ---- groups ---------------------------------------------------------------------------------- */

TEST(very_unlikely_pairs_keep_their_digits)
{
    (void)state;
    /* All of one group, none of the other: 2 / C(600, 300). */
    const struct counts groups[] = {{300, 300}, {0, 300}};
    double wanted = log(2.0) - (lgamma(601) - 2.0 * lgamma(301));
    assert_true(fabs(log(table_test(groups, 2).p) - wanted) < 1e-9);
}

/* Pearson's statistic but for a constant. */
static double off_by(const struct counts *groups, size_t count)
{
    double lost = 0.0, total = 0.0, sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        lost += (double)groups[i].lost;
        total += (double)groups[i].total;
    }
    for (size_t i = 0; i < count; i++)
        if (groups[i].total > 0)
            sum += pow((double)groups[i].lost - (double)groups[i].total * lost / total, 2.0) /
                   (double)groups[i].total;
    return sum;
}

/* Every table with the same margins, one after the other: its chance, and whether it is as far out. */
static void enumerate(struct counts *groups, size_t count, size_t at, size_t left, double chance,
                      double ours, double sums[2])
{
    if (at == count) {
        if (left == 0) {
            sums[0] += chance;
            sums[1] += off_by(groups, count) >= ours * (1.0 - 1e-9) ? chance : 0.0;
        }
        return;
    }
    double ways = 1.0;
    for (size_t x = 0; x <= groups[at].total && x <= left; x++) {
        groups[at].lost = x;
        enumerate(groups, count, at + 1, left - x, chance * ways, ours, sums);
        ways *= (double)(groups[at].total - x) / (double)(x + 1);
    }
}

TEST(drawing_finds_what_enumeration_finds)
{
    (void)state;
    static const struct counts tables[][6] = {
        {{3, 9}, {0, 7}, {2, 2}, {5, 8}, {0, 0}, {1, 6}},
        {{1, 5}, {1, 5}, {1, 5}, {4, 5}, {0, 5}, {2, 5}},
        {{0, 12}, {1, 12}, {2, 12}, {6, 12}, {0, 0}, {0, 0}},
        {{8, 8}, {7, 8}, {8, 8}, {2, 6}, {5, 5}, {6, 7}},
        {{0, 1}, {1, 1}, {0, 1}, {1, 1}, {3, 9}, {0, 9}},
    };
    for (size_t i = 0; i < sizeof tables / sizeof *tables; i++) {
        struct counts room[6];
        double sums[2] = {0.0, 0.0};
        size_t lost = 0;
        for (size_t g = 0; g < 6; g++) {
            room[g] = tables[i][g];
            lost += room[g].lost;
        }
        enumerate(room, 6, 0, lost, 1.0, off_by(tables[i], 6), sums);
        struct table_test test = table_test(tables[i], 6), again = table_test(tables[i], 6);
        assert_int_equal(test.method, TABLE_DRAWN);
        assert_true(fabs(test.p - sums[1] / sums[0]) < 4.5 * test.standard_error);
        assert_true(test.p == again.p && test.tables == again.tables);
    }
}

TEST(nothing_to_tell_apart_is_p_1)
{
    (void)state;
    static const struct counts rows[][2] = {
        {{0, 0}, {3, 7}}, {{0, 4}, {0, 7}}, {{4, 4}, {7, 7}}, {{0, 0}, {0, 0}}};
    for (size_t i = 0; i < 4; i++) {
        struct table_test test = table_test(rows[i], 2);
        assert_true(test.method == TABLE_EXACT && test.p == 1.0);
    }
    assert_true(table_test(NULL, 0).p == 1.0);
}

TEST(what_is_alike_ends_soon)
{
    (void)state;
    const struct counts alike[] = {{2, 20}, {2, 20}, {2, 20}, {3, 21}};
    struct table_test test = table_test(alike, 4);
    assert_true(test.tables < 1000);
    assert_true(test.p == 100.0 / (double)test.tables);
}

TEST(large_groups_need_no_drawing)
{
    (void)state;
    const struct counts large[] = {{40, 200}, {60, 200}, {50, 200}};
    struct table_test test = table_test(large, 3);
    assert_int_equal(test.method, TABLE_CHI_SQUARE);
    assert_true(fabs(test.p - exp(-0.5 * 16.0 / 3.0)) < 1e-12); /* of 2 degrees of freedom */
}

TEST(thousands_of_groups_work)
{
    (void)state;
    enum { GROUPS = 6000 };
    static struct counts groups[GROUPS];
    for (size_t i = 0; i < GROUPS; i++)
        groups[i] = (struct counts){(i * 7919) % 11 == 0 ? 3 : 1, 15 + i % 4};
    struct table_test test = table_test(groups, GROUPS);
    assert_true(test.method == TABLE_DRAWN && test.p > 0.9);
}

int main(void)
{
    return tests_run("review,counts and tables", NULL, NULL);
}
