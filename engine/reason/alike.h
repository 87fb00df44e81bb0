/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_ALIKE_H
#define JARSIDE_REASON_ALIKE_H

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
double alike_log_bayes_factor(const struct tally *groups, size_t count, double a, double b);

#endif
