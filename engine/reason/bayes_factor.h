/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_BAYES_FACTOR_H
#define JARSIDE_REASON_BAYES_FACTOR_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Are groups of vessels lost at one rate, or each at a rate of its own?
 *
 * Of n vessels x are lost: binomial, the rate Beta(a, b) before it was seen. The
 * chance of the counts of one group is then beta-binomial,
 *
 *   ln m(x, n) = ln C(n, x) + ln B(a + x, b + n - x) - ln B(a, b),
 *
 * and the Bayes factor of "a rate of its own for each" against "one rate for all"
 *
 *   ln BF = sum_g [ln B(a + x_g, b + n_g - x_g) - ln B(a, b)]
 *           - [ln B(a + X, b + N - X) - ln B(a, b)],   X, N the sums:
 *
 * the binomial coefficients stand on both sides (Kass & Raftery 1995, Journal of
 * the American Statistical Association 90, 773-795; Gunel & Dickey 1974,
 * Biometrika 61, 545-557, from memory).
 */

struct tally { /* counts of vessels; shares of one are allowed */
    double lost, total;
};

/* ln BF, natural: above 0 for rates of their own. 0 for fewer than two groups with vessels in them.
 * NAN when a or b is not above 0 or a tally is not 0 <= lost <= total < infinity. */
double bayes_factor_ln(const struct tally *groups, size_t count, double a, double b);

/* ln B(a + lost, b + kept) - ln B(a, b); NAN when a or b is not above 0. */
double beta_ln_ratio(double a, double b, double lost, double kept);

/* Expectations over a Beta(a, b) as weighted sums: sum_i weights[i] f(nodes[i])
 * is exact for polynomials f of a degree up to 2 count - 1 (Gauss-Jacobi on
 * [0, 1], weights adding up to 1). */
enum { BETA_RULE_MOST = 32 };

/* Fills `count` (1 .. BETA_RULE_MOST) nodes, rising, and weights. False when it does not converge,
 * which no finite a, b > 0 is known to do. */
bool beta_rule(double a, double b, size_t count, double *nodes, double *weights);

#endif
