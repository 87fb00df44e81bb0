/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_CONDITIONAL_INTERNAL_H
#define JARSIDE_REVIEW_CONDITIONAL_INTERNAL_H

#include <stddef.h>

#include "review/counts.h"
#include "review/table.h"

/*
 * How many of the lost fall to the first of two groups when all margins are given: a distribution
 * over `count` whole numbers from `least` up, by its logarithm at odds ratio 1, up to a constant.
 * At odds ratio r each log chance gains k log r. It is log-concave, as are sums of such counts, so
 * nearly all of it lies round one peak.
 */
struct conditional {
    size_t least, count;
    const double *log_chance;
};

/* log C(m, k) C(n, t - k) less a constant, k from max(0, t - n) to min(m, t): t lost among m + n.
 * Writes `count` values, as conditional_range says. */
void conditional_range(size_t m, size_t n, size_t t, size_t *least, size_t *count);
void conditional_fill(size_t m, size_t n, size_t t, double *log_chance);

/* Tests of odds ratio 1 and the estimate with its interval, when `seen` fell to the first group. */
void conditional_test(const struct conditional *conditional, size_t seen, double level,
                      struct table_fisher *result);
/* Its two-sided p alone. */
double conditional_two_sided(const struct conditional *conditional, size_t seen);

#endif
