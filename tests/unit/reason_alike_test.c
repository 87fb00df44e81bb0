/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include "reason/siblings.h"
#include "support/test.h"

static double choose(unsigned n, unsigned k)
{
    double result = 1.0;
    for (unsigned i = 1; i <= k; i++)
        result = result * (n - k + i) / i;
    return result;
}

/*
 * With a flat prior every count of a group is equally likely, 1/(n + 1), so for two groups
 * BF = (N + 1) C(N, X) / ((n + 1) (m + 1) C(n, x) C(m, y)): whole numbers only.
 */
TEST(two_groups_agree_with_counting)
{
    (void)state;
    for (unsigned n = 1; n <= 12; n++)
        for (unsigned m = 1; m <= 9; m++)
            for (unsigned x = 0; x <= n; x++)
                for (unsigned y = 0; y <= m; y++) {
                    struct tally groups[] = {{x, n}, {y, m}};
                    double counted = (n + m + 1) * choose(n + m, x + y) /
                                     ((n + 1.0) * (m + 1.0) * choose(n, x) * choose(m, y));
                    double got = exp(bayes_factor_ln(groups, 2, 1, 1));
                    assert_true(fabs(got / counted - 1.0) < 1e-11);
                }
}

TEST(the_order_and_the_side_do_not_matter)
{
    (void)state;
    struct tally one[] = {{1, 8}, {5, 9}, {2, 30}}, other[] = {{28, 30}, {7, 8}, {4, 9}};
    double a = bayes_factor_ln(one, 3, 0.7, 2.5);
    double b = bayes_factor_ln(other, 3, 2.5, 0.7);
    assert_true(fabs(a - b) < 1e-12);
}

TEST(one_group_or_none_says_nothing)
{
    (void)state;
    struct tally groups[] = {{3, 4}, {0, 0}, {0, 0}};
    assert_true(bayes_factor_ln(groups, 0, 1, 1) == 0.0);
    assert_true(bayes_factor_ln(groups, 1, 1, 1) == 0.0);
    assert_true(bayes_factor_ln(groups, 3, 1, 1) == 0.0);
}

TEST(more_of_the_same_says_more)
{
    (void)state;
    double last = 0.0;
    for (double k = 1; k <= 1e6; k *= 10) {
        struct tally apart[] = {{6 * k, 8 * k}, {0, 11 * k}};
        struct tally alike[] = {{2 * k, 8 * k}, {2 * k, 8 * k}};
        double now = bayes_factor_ln(apart, 2, 1, 1);
        assert_true(isfinite(now) && now > last);
        assert_true(bayes_factor_ln(alike, 2, 1, 1) < 0.0);
        last = now;
    }
}

TEST(what_cannot_be_is_not_a_number)
{
    (void)state;
    const struct tally good = {1, 2};
    const struct tally bad[] = {{-1, 2}, {3, 2}, {NAN, 2}, {1, NAN}, {1, INFINITY}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct tally groups[] = {good, bad[i]};
        assert_true(isnan(bayes_factor_ln(groups, 2, 1, 1)));
    }
    struct tally groups[] = {good, good};
    const double wrong[] = {0, -1, NAN, INFINITY};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        assert_true(isnan(bayes_factor_ln(groups, 2, wrong[i], 1)));
        assert_true(isnan(bayes_factor_ln(groups, 2, 1, wrong[i])));
    }
}

int main(void)
{
    return tests_run("reason alike", NULL, NULL);
}
