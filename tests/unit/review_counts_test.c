/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "review/statistics.h"
#include "review/table.h"

static const struct counts none[] = {{0, 0}, {0, 0}};

/* ---- intervals and tails --------------------------------------------------------------------- */

static void of_none_nothing_is_known(void **state)
{
    (void)state;
    struct interval exact = counts_interval_exact(none[0], 0.95);
    struct interval wilson = counts_interval_wilson(none[0], 0.95);
    assert_true(exact.low == 0.0 && exact.high == 1.0);
    assert_true(wilson.low == 0.0 && wilson.high == 1.0);
}

static void none_and_all_lost_reach_the_ends(void **state)
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

static void exact_ends_have_the_tails_they_promise(void **state)
{
    (void)state;
    static const struct counts rows[] = {{1, 7}, {3, 12}, {40, 41}, {700, 100000}, {50000, 100000}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct interval interval = counts_interval_exact(rows[i], 0.99);
        assert_true(fabs(counts_chance_above(rows[i], interval.low) / 0.005 - 1.0) < 1e-9);
        assert_true(fabs(counts_chance_below(rows[i], interval.high) / 0.005 - 1.0) < 1e-9);
    }
}

static void large_counts_do_not_defeat_the_tails(void **state)
{
    (void)state;
    const struct counts half = {COUNTS_MOST / 2, COUNTS_MOST};
    assert_true(fabs(counts_chance_above(half, 0.5) - 0.5) < 1e-4);
    struct interval interval = counts_interval_exact(half, 0.95);
    assert_true(fabs(interval.high - 0.5 - 1.96 * 0.5e-4) < 1e-7);
}

static void bad_arguments_give_no_number(void **state)
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

static void questions_not_asked_do_not_count(void **state)
{
    (void)state;
    double p[] = {0.04, NAN, 0.01, NAN};
    assert_int_equal(counts_adjust(p, 4, p), STATUS_OK); /* in place */
    assert_true(fabs(p[0] - 0.04) < 1e-15 && fabs(p[2] - 0.02) < 1e-15);
    assert_true(isnan(p[1]) && isnan(p[3]));
    assert_int_equal(counts_adjust(p, 0, p), STATUS_OK);
    double bad[] = {0.5, 1.5};
    assert_int_equal(counts_adjust(bad, 2, bad), STATUS_USAGE);
}

/* ---- groups ---------------------------------------------------------------------------------- */

static struct table_test test_of(const struct counts *groups, size_t count, size_t exact_steps,
                                 size_t tables)
{
    struct table_effort effort = {.exact_steps = exact_steps, .tables = tables, .seed = 11};
    struct table_test test = {.p = NAN};
    assert_int_equal(table_groups(groups, count, &effort, &test), STATUS_OK);
    return test;
}

static void very_unlikely_pairs_keep_their_digits(void **state)
{
    (void)state;
    /* All of one group, none of the other: 2 / C(600, 300). */
    const struct counts groups[] = {{300, 300}, {0, 300}};
    double wanted = log(2.0) - (lgamma(601) - 2.0 * lgamma(301));
    assert_true(fabs(log(test_of(groups, 2, 0, 1).p) - wanted) < 1e-9);
}

/* Every table, one after the other. */
static void enumerate(const struct counts *groups, size_t count, size_t left, double chance,
                      double ours, double sums[2])
{
    if (count == 0) {
        if (left == 0) {
            sums[0] += chance;
            sums[1] += chance <= ours * (1.0 + 1e-7) ? chance : 0.0;
        }
        return;
    }
    double ways = 1.0;
    for (size_t x = 0; x <= groups->total && x <= left; x++) {
        enumerate(groups + 1, count - 1, left - x, chance * ways, ours, sums);
        ways *= (double)(groups->total - x) / (double)(x + 1);
    }
}

static double brute_force(const struct counts *groups, size_t count)
{
    double ours = 1.0, sums[2] = {0.0, 0.0};
    size_t left = 0;
    for (size_t i = 0; i < count; i++) {
        for (size_t x = 0; x < groups[i].lost; x++)
            ours *= (double)(groups[i].total - x) / (double)(x + 1);
        left += groups[i].lost;
    }
    enumerate(groups, count, left, 1.0, ours, sums);
    return sums[1] / sums[0];
}

static void network_finds_what_enumeration_finds(void **state)
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
        struct table_test test = test_of(tables[i], 6, 100000, 1);
        assert_true(test.exact && test.standard_error == 0.0 && !test.at_most);
        assert_true(fabs(test.p - brute_force(tables[i], 6)) < 1e-12);
    }
}

static void order_and_sides_do_not_matter(void **state)
{
    (void)state;
    const struct counts groups[] = {{3, 9}, {0, 7}, {5, 8}}, turned[] = {{3, 8}, {6, 9}, {7, 7}};
    double p = test_of(groups, 3, 100000, 1).p;
    assert_true(fabs(test_of(turned, 3, 100000, 1).p - p) < 1e-13);
    struct table_test drawn = test_of(turned, 3, 0, 20000);
    assert_false(drawn.exact);
    assert_true(fabs(drawn.p - p) < 4.0 * drawn.standard_error);
}

static void nothing_to_tell_apart_is_p_1(void **state)
{
    (void)state;
    static const struct counts rows[][2] = {
        {{0, 0}, {3, 7}}, {{0, 4}, {0, 7}}, {{4, 4}, {7, 7}}, {{0, 0}, {0, 0}}};
    struct table_chi_square chi;
    for (size_t i = 0; i < 4; i++) {
        struct table_test test = test_of(rows[i], 2, 0, 1);
        assert_true(test.exact && test.p == 1.0);
        assert_int_equal(table_chi_square(rows[i], 2, &chi), STATUS_OK);
        assert_true(chi.p == 1.0 && chi.freedom == 0 && chi.statistic == 0.0);
    }
    assert_true(test_of(NULL, 0, 0, 1).p == 1.0);
    assert_int_equal(table_chi_square(NULL, 0, &chi), STATUS_OK);
}

static void a_seed_settles_what_is_drawn(void **state)
{
    (void)state;
    struct counts groups[40];
    struct table_test first, again, other;
    for (size_t i = 0; i < 40; i++)
        groups[i] = (struct counts){i % 7, 20 + i % 3};
    struct table_effort effort = table_effort_usual();
    effort.exact_steps = 0;
    assert_int_equal(table_groups(groups, 40, &effort, &first), STATUS_OK);
    assert_int_equal(table_groups(groups, 40, &effort, &again), STATUS_OK);
    effort.seed = 2;
    assert_int_equal(table_groups(groups, 40, &effort, &other), STATUS_OK);
    assert_true(first.p == again.p && first.tables == again.tables);
    assert_true(first.p != other.p);
    assert_true(fabs(first.p - other.p) < 5.0 * (first.standard_error + other.standard_error));
}

static void enough_hits_end_the_drawing(void **state)
{
    (void)state;
    const struct counts alike[] = {{2, 20}, {2, 20}, {2, 20}, {3, 21}};
    struct table_effort effort = {.tables = 100000, .enough = 50, .seed = 3};
    struct table_test test;
    assert_int_equal(table_groups(alike, 4, &effort, &test), STATUS_OK);
    assert_int_equal(test.hits, 50);
    assert_true(test.tables < 1000);
    assert_true(test.p == 50.0 / (double)test.tables);
}

static void far_out_the_bound_is_a_ceiling(void **state)
{
    (void)state;
    static const struct counts tables[][4] = {
        {{20, 20}, {1, 20}, {2, 21}, {0, 19}},
        {{30, 60}, {2, 60}, {3, 60}, {4, 61}},
        {{0, 50}, {22, 50}, {1, 40}, {25, 45}},
    };
    for (size_t i = 0; i < 3; i++) {
        struct table_test exact = test_of(tables[i], 4, 1000000, 1);
        struct table_test bound = test_of(tables[i], 4, 0, 10000);
        assert_true(exact.exact && exact.p > 0.0);
        assert_true(!bound.exact && bound.at_most && bound.tables == 100 && bound.hits == 0);
        assert_true(bound.p >= exact.p);
        assert_true(bound.p < 1e-7); /* a thousand times less than the drawing could tell */
    }
}

static void thousands_of_groups_work(void **state)
{
    (void)state;
    enum { GROUPS = 6000 };
    static struct counts groups[GROUPS];
    for (size_t i = 0; i < GROUPS; i++)
        groups[i] = (struct counts){(i * 7919) % 11 == 0 ? 3 : 1, 15 + i % 4};
    struct table_effort effort = table_effort_usual();
    struct table_test test;
    effort.enough = 0;
    effort.draws = 1000000; /* 166 tables would be too few: 200 are drawn */
    assert_int_equal(table_groups(groups, GROUPS, &effort, &test), STATUS_OK);
    assert_true(!test.exact && test.tables == 200 && test.p > 0.9);
}

static void bad_counts_are_refused(void **state)
{
    (void)state;
    struct table_effort effort = table_effort_usual();
    struct table_test test;
    struct table_chi_square chi;
    const struct counts bad[] = {{3, 2}, {1, 2}}, huge[] = {{1, COUNTS_MOST}, {1, 1}};
    assert_int_equal(table_groups(bad, 2, &effort, &test), STATUS_USAGE);
    assert_int_equal(table_groups(huge, 2, &effort, &test), STATUS_USAGE);
    assert_int_equal(table_chi_square(bad, 2, &chi), STATUS_USAGE);
    effort.tables = 0;
    assert_int_equal(table_groups(none, 2, &effort, &test), STATUS_USAGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(of_none_nothing_is_known),
        cmocka_unit_test(none_and_all_lost_reach_the_ends),
        cmocka_unit_test(exact_ends_have_the_tails_they_promise),
        cmocka_unit_test(large_counts_do_not_defeat_the_tails),
        cmocka_unit_test(bad_arguments_give_no_number),
        cmocka_unit_test(questions_not_asked_do_not_count),
        cmocka_unit_test(very_unlikely_pairs_keep_their_digits),
        cmocka_unit_test(network_finds_what_enumeration_finds),
        cmocka_unit_test(order_and_sides_do_not_matter),
        cmocka_unit_test(nothing_to_tell_apart_is_p_1),
        cmocka_unit_test(a_seed_settles_what_is_drawn),
        cmocka_unit_test(enough_hits_end_the_drawing),
        cmocka_unit_test(far_out_the_bound_is_a_ceiling),
        cmocka_unit_test(thousands_of_groups_work),
        cmocka_unit_test(bad_counts_are_refused),
    };
    return cmocka_run_group_tests_name("review, counts and tables", tests, NULL, NULL);
}
