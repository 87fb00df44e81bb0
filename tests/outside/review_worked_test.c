/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tests and intervals against worked examples of the literature. */
#include "outside/process_check.h"

#include "review/statistics.h"

TEST(intervals)
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

TEST(tables)
{
    (void)state;
    struct outside check = {.source = "Fisher 1935, The Design of Experiments (tea: 34/70, 2/70; "
                                      "twins' convictions); digits by R's fisher.test"};
    const struct counts tea[] = {{3, 4}, {1, 4}}, all_right[] = {{4, 4}, {0, 4}};
    const struct counts twins[] = {{2, 17}, {10, 13}};

    outside_near(&check, "tea", table_test(tea, 2).p, 34.0 / 70.0, 1e-14);
    outside_near(&check, "all right", table_test(all_right, 2).p, 2.0 / 70.0, 1e-14);
    outside_near(&check, "twins", table_test(twins, 2).p, 0.000536724119, 1e-12);
    outside_close(&check);
}

TEST(false_discoveries)
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

    counts_adjust(p, 15, adjusted);
    for (size_t i = 0; i < 15; i++) {
        outside_near(&check, "adjusted", adjusted[i], wanted[i], 1e-9);
        refused += adjusted[i] <= 0.05;
    }
    assert_int_equal(refused, 4); /* as the paper says */
    outside_close(&check);
}

/* UCBAdmissions of R's datasets: men rejected of applicants, women, six departments. */
static const struct counts berkeley[] = {
    {313, 825}, {19, 108},  {207, 560}, {8, 25},    {205, 325}, {391, 593},
    {279, 417}, {244, 375}, {138, 191}, {299, 393}, {351, 373}, {317, 341},
};

/* Penicillin in rabbits: cured of treated at once and after 1.5 hours, five doses. */
static const struct counts rabbits[] = {
    {0, 6}, {0, 5}, {3, 6}, {0, 6}, {6, 6}, {2, 6}, {5, 6}, {6, 6}, {2, 2}, {5, 5},
};

TEST(strata)
{
    (void)state;
    struct outside check = {.source =
                                "Bickel, Hammel & O'Connell 1975, Science 187:398 (admissions); "
                                "Mantel & Haenszel 1959 by Agresti 1990, p. 234 (rabbits); "
                                "digits by R's mantelhaen.test without correction"};
    struct strata_test result;
    assert_true(strata_groups(berkeley, 2, 6, &result));
    outside_near(&check, "admissions", result.statistic, 1.5246066604, 1e-10);
    outside_near(&check, "its p", result.p, 0.2169236971, 1e-10);
    assert_true(strata_groups(rabbits, 2, 5, &result));
    outside_near(&check, "rabbits", result.statistic, 5.65714285714, 1e-10);
    outside_near(&check, "its p", result.p, 0.0173844203521, 1e-10);
    assert_int_equal(result.strata, 3);
    outside_close(&check);
}

int main(void)
{
    return tests_run("review against worked examples", NULL, NULL);
}
