/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tests and intervals against worked examples of the literature. */
#include "outside/process_check.h"

#include "review/counts.h"
#include "review/strata.h"
#include "review/table.h"

static void intervals(void **state)
{
    (void)state;
    struct outside check = {
        .source = "Newcombe 1998, Stat Med 17:857, table I; digits by R's binom.test, prop.test"};
    static const struct {
        struct counts counts;
        double exact[2], wilson[2];
    } rows[] = {
        {{81, 263}, {0.2527367456, 0.3676219226}, {0.2552885199, 0.3662095770}},
        {{15, 148}, {0.0578440101, 0.1616504903}, {0.0623863995, 0.1604872417}},
        {{0, 20}, {0.0, 0.1684334710}, {0.0, 0.1611251581}},
        {{1, 29}, {0.0008726469, 0.1776442955}, {0.0061132143, 0.1717552188}},
        {{2, 10}, {0.0252107263, 0.5560954623}, {0.0566821515, 0.5098375285}},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct interval exact = counts_interval_exact(rows[i].counts, 0.95);
        struct interval wilson = counts_interval_wilson(rows[i].counts, 0.95);
        outside_near(&check, "exact, low", exact.low, rows[i].exact[0], 1e-10);
        outside_near(&check, "exact, high", exact.high, rows[i].exact[1], 1e-10);
        outside_near(&check, "Wilson, low", wilson.low, rows[i].wilson[0], 1e-10);
        outside_near(&check, "Wilson, high", wilson.high, rows[i].wilson[1], 1e-10);
    }
    outside_close(&check);
}

static struct table_fisher fisher(size_t a, size_t b, size_t c, size_t d)
{
    struct table_fisher result;
    const struct counts first = {a, a + b}, second = {c, c + d};
    assert_int_equal(table_fisher(first, second, 0.95, &result), STATUS_OK);
    return result;
}

static void two_groups(void **state)
{
    (void)state;
    struct outside check = {.source = "Fisher 1935, The Design of Experiments (tea: 17/70, 1/70; "
                                      "twins' convictions); digits by R's fisher.test"};
    struct table_fisher tea = fisher(3, 1, 1, 3), all_right = fisher(4, 0, 0, 4);
    struct table_fisher twins = fisher(2, 15, 10, 3);

    outside_near(&check, "tea, greater", tea.greater, 17.0 / 70.0, 1e-14);
    outside_near(&check, "tea, two-sided", tea.two_sided, 34.0 / 70.0, 1e-14);
    outside_near(&check, "all right, greater", all_right.greater, 1.0 / 70.0, 1e-14);
    outside_near(&check, "all right, two-sided", all_right.two_sided, 2.0 / 70.0, 1e-14);
    assert_true(isinf(all_right.odds_ratio) && isinf(all_right.odds.high));
    outside_near(&check, "twins, less", twins.less, 0.000465180943, 1e-12);
    outside_near(&check, "twins, two-sided", twins.two_sided, 0.000536724119, 1e-12);
    /* R stops its search for odds ratios at a tolerance of 1e-4. */
    outside_near(&check, "tea, odds ratio", tea.odds_ratio, 6.408309, 1e-4);
    outside_near(&check, "tea, low", tea.odds.low, 0.2117329, 1e-4);
    /* R's search for this one ends at 621.93. The definition decides: P(3 or fewer of 4) = 0.025. */
    double r = tea.odds.high, all = 1.0 + r * (16.0 + r * (36.0 + r * (16.0 + r)));
    outside_near(&check, "tea, high", 1.0 - r * r * r * r / all, 0.025, 1e-12);
    outside_near(&check, "twins, odds ratio", twins.odds_ratio, 0.04693661, 1e-4);
    outside_close(&check);
}

static struct table_test cells(const size_t *table, size_t rows, size_t columns, size_t tables)
{
    struct table_effort effort = {.exact_steps = 100000, .tables = tables, .seed = 7};
    struct table_test result;
    assert_int_equal(table_cells(table, rows, columns, &effort, &result), STATUS_OK);
    return result;
}

static void many_groups(void **state)
{
    (void)state;
    struct outside check = {.source = "2 x 3 table by R's fisher.test"};
    static const size_t two_by_three[] = {1, 4, 8, 9, 6, 2};
    struct table_test small = cells(two_by_three, 2, 3, 1);
    assert_true(small.exact);
    outside_near(&check, "2 x 3", small.p, 0.00780737451, 1e-11);
    outside_close(&check);
}

static void many_columns(void **state)
{
    (void)state;
    struct outside check = {.source =
                                "Agresti 2002, Categorical Data Analysis, p. 57: job "
                                "satisfaction; p by R's fisher.test (drawn: 5 standard errors)"};
    static const size_t job[] = {1, 2, 1, 0, 3, 3, 6, 1, 10, 10, 14, 9, 6, 7, 12, 11};
    struct table_test drawn = cells(job, 4, 4, 40000);
    assert_false(drawn.exact);
    assert_int_equal(drawn.tables, 40000);
    outside_near(&check, "4 x 4", drawn.p, 0.782684938966, 5.0 * drawn.standard_error);
    outside_close(&check);
}

static void false_discoveries(void **state)
{
    (void)state;
    struct outside check = {.source = "Benjamini & Hochberg 1995, J R Stat Soc B 57:289, section "
                                      "3.2; adjusted values by R's p.adjust"};
    static const double p[] = {0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
                               0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0};
    static const double wanted[] = {0.0015,      0.003,       0.0095,      0.035625,    0.0603,
                                    0.063857143, 0.063857143, 0.0645,      0.0765,      0.486,
                                    0.581181818, 0.714875,    0.753230769, 0.813214286, 1.0};
    double adjusted[15];
    size_t refused = 0;

    assert_int_equal(counts_adjust(p, 15, adjusted), STATUS_OK);
    for (size_t i = 0; i < 15; i++) {
        outside_near(&check, "adjusted", adjusted[i], wanted[i], 1e-9);
        refused += adjusted[i] <= 0.05;
    }
    assert_int_equal(refused, 4); /* as the paper says */
    outside_close(&check);
}

/* UCBAdmissions of R's datasets: men rejected of applicants, women, six departments. */
static const struct strata_pair berkeley[] = {
    {{313, 825}, {19, 108}},  {{207, 560}, {8, 25}},    {{205, 325}, {391, 593}},
    {{279, 417}, {244, 375}}, {{138, 191}, {299, 393}}, {{351, 373}, {317, 341}},
};

static void strata(void **state)
{
    (void)state;
    struct outside check = {.source =
                                "Bickel, Hammel & O'Connell 1975, Science 187:398 (admissions); "
                                "digits by R's mantelhaen.test"};
    struct strata_pairs result;
    assert_int_equal(strata_pairs(berkeley, 6, 0.95, &result), STATUS_OK);
    outside_near(&check, "corrected", result.corrected, 1.4269462286, 1e-10);
    outside_near(&check, "its p", result.corrected_p, 0.2322634628, 1e-10);
    outside_near(&check, "uncorrected", result.statistic, 1.5246066604, 1e-10);
    outside_near(&check, "its p", result.p, 0.2169236971, 1e-10);
    /* Losing is being rejected here, so the odds ratio of admission is its inverse. */
    outside_near(&check, "odds ratio", 1.0 / result.odds_ratio, 0.9046968283, 1e-10);
    outside_near(&check, "low", 1.0 / result.odds.high, 0.7719073618, 1e-10);
    outside_near(&check, "high", 1.0 / result.odds.low, 1.0603297644, 1e-10);
    assert_true(result.exact);
    outside_near(&check, "exact p", result.exact_two_sided, 0.2277625268, 1e-9);
    outside_close(&check);
}

/* Penicillin in rabbits: cured of treated at once and after 1.5 hours, five doses. */
static const struct strata_pair rabbits[] = {
    {{0, 6}, {0, 5}}, {{3, 6}, {0, 6}}, {{6, 6}, {2, 6}}, {{5, 6}, {6, 6}}, {{2, 2}, {5, 5}},
};

static void small_strata(void **state)
{
    (void)state;
    struct outside check = {.source = "Mantel & Haenszel 1959 by Agresti 1990, p. 234 (rabbits); "
                                      "digits by R's mantelhaen.test"};
    struct strata_pairs result;
    assert_int_equal(strata_pairs(rabbits, 5, 0.95, &result), STATUS_OK);
    outside_near(&check, "corrected", result.corrected, 3.9285714286, 1e-10);
    outside_near(&check, "its p", result.corrected_p, 0.0474722551, 1e-10);
    outside_near(&check, "exact p", result.exact_two_sided, 0.0399449036, 1e-10);
    assert_int_equal(result.strata, 3);
    outside_close(&check);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(intervals),         cmocka_unit_test(two_groups),
        cmocka_unit_test(many_groups),       cmocka_unit_test(many_columns),
        cmocka_unit_test(false_discoveries), cmocka_unit_test(strata),
        cmocka_unit_test(small_strata),
    };
    return cmocka_run_group_tests_name("review against worked examples", tests, NULL, NULL);
}
