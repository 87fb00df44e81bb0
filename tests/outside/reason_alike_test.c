/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Groups at one rate or several: figures that other programs print. */
#include "outside/process_check.h"

#include "reason/siblings.h"

static double factor(const struct tally *groups, size_t count)
{
    return exp(bayes_factor_ln(groups, count, 1, 1));
}

TEST(contingency_tables)
{
    (void)state;
    struct outside check = {
        .source =
            "Morey & Rouder, BayesFactor, manual of contingencyTableBF, on Hraba & Grant 1970, "
            "Journal of Personality and Social Psychology 16, 398-402 (counts from memory, "
            "independent multinomial, prior concentration 1)"};
    const struct tally hraba[] = {{50, 71}, {48, 89}};
    outside_near(&check, "Hraba & Grant", factor(hraba, 2), 1.814856, 5e-7);
    outside_close(&check);
}

/* The same formula worked in R 4.2.2 with its own lbeta and lchoose. */
TEST(worked_in_r)
{
    (void)state;
    struct outside check = {.source =
                                "R 4.2.2, lbeta and lchoose, on three invented tables and the "
                                "convictions of twins in its manual of fisher.test"};
    const struct tally two[] = {{1, 12}, {8, 12}};
    const struct tally four[] = {{0, 12}, {1, 12}, {2, 12}, {6, 12}};
    const struct tally alike[] = {{2, 12}, {3, 12}, {2, 12}, {3, 12}};
    const struct tally twins[] = {{2, 17}, {10, 13}};
    outside_near(&check, "1 and 8 of 12", factor(two, 2), 32.5619110, 5e-8);
    outside_near(&check, "0, 1, 2 and 6 of 12", factor(four, 4), 3.9317527, 5e-8);
    outside_near(&check, "2, 3, 2 and 3 of 12", factor(alike, 4), 0.0532248840, 5e-11);
    outside_near(&check, "twins", factor(twins, 2), 273.550997, 5e-7);
    outside_close(&check);
}

/*
 * At one rate, a second group seen first makes the chance of x a beta-binomial with a + y, b + m - y;
 * at a rate of its own it is m(x, n). The Bayes factor is the second over the first.
 */
TEST(beta_binomial)
{
    (void)state;
    static const double pmf[] = {0.0659340659, 0.1098901099, 0.1348651349, 0.1438561439,
                                 0.1398601399, 0.1258741259, 0.1048951049, 0.0799200799,
                                 0.0539460539, 0.0299700300, 0.0109890110};
    struct outside check = {.source = "scipy 1.10.1, scipy.stats.betabinom.pmf(x, 10, 2, 3)"};
    for (int x = 0; x <= 10; x++) {
        /* Flat at first, then 1 of 3 lost: Beta(2, 3). Alone the ten are flat, 1/11 each. */
        const struct tally groups[] = {{x, 10}, {1, 3}};
        outside_near(&check, "P(x of 10 | 1 of 3)", 1.0 / 11.0 / factor(groups, 2), pmf[x], 5e-11);
    }
    outside_close(&check);
}

int main(void)
{
    return tests_run("reason alike", NULL, NULL);
}
