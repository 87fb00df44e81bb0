/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_DRAW_INTERNAL_H
#define JARSIDE_REVIEW_DRAW_INTERNAL_H

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Whole numbers at random, exactly even, from a generator that gives 32 bits (gsl_rng_mt19937). */

/* 0 to count - 1, count above 0 (Lemire 2019, ACM Trans Model Comput Simul 29:3). */
uint32_t draw_below(gsl_rng *rng, uint32_t count);

/* Any distribution over 0 to count - 1 in constant time (Walker 1977; Vose 1991). */
struct alias {
    size_t count;
    double *share;
    uint32_t *other;
};

/* Binomial over 0 to n at rate p, 0 < p < 1; `log_factorial` up to n. False without memory; then
 * there is nothing to release. */
bool alias_binomial(struct alias *alias, size_t n, double p, const double *log_factorial);
size_t alias_draw(const struct alias *alias, gsl_rng *rng);
void alias_release(struct alias *alias);

#endif
