/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_BINOMIAL_INTERNAL_H
#define JARSIDE_REVIEW_BINOMIAL_INTERNAL_H

#include <stddef.h>

/*
 * Binomial chances of x among n at rate p, 0 < p < 1, x <= n <= COUNTS_MOST.
 *
 * Tails are summed term by term from x away from the mean, each term from the one before. GSL's
 * incomplete beta function gives up where n is large and x near the mean; a sum does not, needs
 * only some standard deviations of terms, and gives the derivative beside it.
 */
double binomial_pmf(size_t x, size_t n, double p);
double binomial_terms(size_t x, size_t n,
                      double p); /* the terms from x up, in units of the first */
double binomial_above(size_t x, size_t n, double p); /* x or more */

#endif
