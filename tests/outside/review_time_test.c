/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Time to loss and charts in time against worked examples of the literature. */
#include "outside/process_check.h"

#include "review/statistics.h"
#include "support/survival.h"

enum { MOST = 64 };

/* A negative time is censored at its absolute value. */
static size_t cases_of(const double *times, size_t count, struct survival_case *cases)
{
    for (size_t i = 0; i < count; i++)
        cases[i] = (struct survival_case){fabs(times[i]), times[i] > 0.0};
    return count;
}

static struct survival_curve curve_of(struct arena *arena, const double *times, size_t count)
{
    struct survival_case cases[MOST];
    cases_of(times, count, cases);
    return curve_of_cases(arena, cases, count);
}

struct published {
    double time, survival;
};

static void compare(struct outside *check, const struct survival_curve *curve,
                    const struct published *rows, size_t count)
{
    size_t row = 0;
    for (size_t i = 0; i < curve->count; i++) {
        if (curve->steps[i].lost == 0)
            continue;
        assert_true(row < count && curve->steps[i].time == rows[row].time);
        outside_near(check, "S", curve->steps[i].survival, rows[row].survival, 1e-9);
        row++;
    }
    assert_int_equal(row, count);
}

static void logrank(struct outside *check, const double *first, size_t n, const double *second,
                    size_t m, const double *wanted)
{
    struct survival_case cases[2 * MOST];
    size_t group[2 * MOST];

    cases_of(first, n, cases);
    cases_of(second, m, cases + n);
    for (size_t i = 0; i < n + m; i++)
        group[i] = i >= n;
    struct strata_test result = logrank_of_cases(cases, group, n + m, 2);
    outside_near(check, "chi-square", result.statistic, wanted[0], 1e-9);
    outside_near(check, "p", result.p, wanted[1], 1e-9);
    assert_int_equal(result.freedom, 1);
}

TEST(leukaemia)
{
    (void)state;
    struct outside check = {.source = "Freireich et al. 1963, Blood 21:699 (books print 16.79); "
                                      "digits by R's survfit and survdiff"};
    static const double treated[] = {6,   6,   6,   -6, 7,  -9,  -10, 10,  -11, 13, 16,
                                     -17, -19, -20, 22, 23, -25, -32, -32, -34, -35};
    static const double placebo[] = {1, 1, 2,  2,  3,  4,  4,  5,  5,  8, 8,
                                     8, 8, 11, 11, 12, 12, 15, 17, 22, 23};
    static const struct published rows[] = {
        {6, 0.857142857},  {7, 0.806722689},  {10, 0.752941176}, {13, 0.690196078},
        {16, 0.627450980}, {22, 0.537815126}, {23, 0.448179272},
    };
    static const double left[] = {19, 17, 16, 14, 12, 8, 6, 4, 3, 2, 1, 0};
    static const double test[] = {16.7929409892, 4.1688091e-05};
    struct arena *arena = arena_new();

    struct survival_curve curve = curve_of(arena, treated, 21);
    compare(&check, &curve, rows, 7);
    outside_near(&check, "median", curve.median, 23, 1e-12);
    curve = curve_of(arena, placebo, 21);
    assert_int_equal(curve.count, 12);
    for (size_t i = 0; i < 12; i++)
        outside_near(&check, "S, placebo", curve.steps[i].survival, left[i] / 21.0, 1e-12);
    outside_near(&check, "median, placebo", curve.median, 8, 1e-12);
    logrank(&check, treated, 21, placebo, 21, test);
    outside_close(&check);
    arena_free(arena);
}

TEST(maintenance)
{
    (void)state;
    struct outside check = {.source = "Embury et al. 1977, West J Med 126:267, by Miller 1981, "
                                      "Survival Analysis (aml); digits by R's survfit, survdiff"};
    static const double kept[] = {9, 13, -13, 18, 23, -28, 31, 34, -45, 48, -161};
    static const double stopped[] = {5, 5, 8, 8, 12, -16, 23, 27, 30, 33, 43, 45};
    static const struct published rows[] = {
        {9, 0.909090909},  {13, 0.818181818}, {18, 0.715909091}, {23, 0.613636364},
        {31, 0.490909091}, {34, 0.368181818}, {48, 0.184090909},
    };
    static const struct published others[] = {
        {5, 0.833333333},  {8, 0.666666667},  {12, 0.583333333},
        {23, 0.486111111}, {27, 0.388888889}, {30, 0.291666667},
        {33, 0.194444444}, {43, 0.097222222}, {45, 0.0},
    };
    static const double test[] = {3.3963886990, 0.0653393220};
    struct arena *arena = arena_new();

    struct survival_curve curve = curve_of(arena, kept, 11);
    compare(&check, &curve, rows, 7);
    outside_near(&check, "median", curve.median, 31, 1e-12);
    curve = curve_of(arena, stopped, 12);
    for (size_t i = 0, row = 0; i < curve.count; i++)
        if (curve.steps[i].lost > 0)
            outside_near(&check, "S", curve.steps[i].survival, others[row++].survival, 1e-9);
    outside_near(&check, "median, stopped", curve.median, 23, 1e-12);
    logrank(&check, kept, 11, stopped, 12, test);
    outside_close(&check);
    arena_free(arena);
}

TEST(control_chart)
{
    (void)state;
    struct outside check = {.source = "Montgomery, Introduction to Statistical Quality Control, "
                                      "ch. 7: 30 samples of 50 (p-chart)"};
    static const size_t faulty[] = {12, 15, 8, 10, 4,  7,  16, 9,  14, 10, 5,  6, 17, 12, 22,
                                    8,  10, 5, 13, 11, 20, 18, 24, 15, 9,  12, 7, 13, 9,  6};
    struct counts all = {0, 30 * 50}, rest = {0, 0};

    for (size_t i = 0; i < 30; i++)
        all.lost += faulty[i];
    double centre = (double)all.lost / (double)all.total;
    outside_near(&check, "centre", centre, 0.2313333333, 1e-10);
    for (size_t i = 0; i < 30; i++) {
        struct monitor_point point =
            monitor_point((struct counts){faulty[i], 50}, centre, MONITOR_THREE_SIGMA);
        bool out = point.above || point.below;
        assert_int_equal(out, i + 1 == 15 || i + 1 == 23); /* as the book finds */
        rest.lost += out ? 0 : faulty[i];
        rest.total += out ? 0 : 50;
    }
    outside_near(&check, "tail of 22 (pbinom)",
                 counts_chance_above((struct counts){faulty[14], 50}, centre), 0.000892990537,
                 1e-12);
    outside_near(&check, "new centre", (double)rest.lost / (double)rest.total, 0.2150000000, 1e-10);
    outside_close(&check);
}

int main(void)
{
    return tests_run("review in time against worked examples", NULL, NULL);
}
