/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_CONDITIONAL_INTERNAL_H
#define JARSIDE_REVIEW_CONDITIONAL_INTERNAL_H

#include <stddef.h>

/*
 * How many of the lost fall to the first of two groups when all margins are given: a distribution
 * over `count` whole numbers from `least` up, by its logarithm at odds ratio 1, up to a constant.
 * It is log-concave, so nearly all of it lies round one peak.
 */
struct conditional {
    size_t least, count;
    const double *log_chance;
};

/* log C(m, k) C(n, t - k) less a constant, k from max(0, t - n) to min(m, t): t lost among m + n.
 * Writes `count` values, as conditional_range says. */
void conditional_range(size_t m, size_t n, size_t t, size_t *least, size_t *count);
void conditional_fill(size_t m, size_t n, size_t t, double *log_chance);

/* The two-sided p of odds ratio 1 when `seen` fell to the first group (table.h). */
double conditional_two_sided(const struct conditional *conditional, size_t seen);

#endif
