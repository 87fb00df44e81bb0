/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_COUNTS_H
#define JARSIDE_REVIEW_COUNTS_H

#include <stddef.h>

#include "base/status.h"

/*
 * So many lost of so many: intervals for a rate, and p-values of many questions
 * asked at once.
 *
 * Everything in counts.h, table.h, strata.h, survival.h and monitor.h is a
 * function of its arguments: no input or output, no clock, no state between
 * calls, and what is drawn at random comes from a seed in the arguments. All of
 * it may be called from several threads. GSL's error handler is never reached:
 * arguments are checked before GSL sees them. Where a function returns a status,
 * STATUS_USAGE means that an argument is outside what is said here, and nothing
 * was written.
 */

/* The most vessels any of these functions takes, all groups together. */
enum { COUNTS_MOST = 100000000 };

struct counts {
    size_t lost, total; /* lost <= total <= COUNTS_MOST */
};

struct interval {
    double low, high;
};

/*
 * Two-sided interval for the rate of loss at `level` (0.95, say; above 0 and below 1).
 * Of none at all nothing is known: [0, 1]. NAN at both ends if an argument is out of range.
 *
 * Exact (Clopper & Pearson 1934, Biometrika 26:404): the rates at which neither this count or more,
 * nor this count or fewer, is rarer than (1 - level) / 2. Covers at least `level`; 0 lost begins at
 * 0, all lost end at 1. Relative error below 1e-9 up to 100 000 vessels.
 */
struct interval counts_interval_exact(struct counts counts, double level);
/* Wilson (1927, J Am Stat Assoc 22:209): (x + z^2/2 -+ z sqrt(x (n - x) / n + z^2/4)) / (n + z^2).
 * Covers `level` on average; shorter than the exact one, and the better one to draw. */
struct interval counts_interval_wilson(struct counts counts, double level);

/*
 * Chance of `counts.lost` or more, and of that many or fewer, among `counts.total` when each is lost
 * with chance `rate` (0 to 1): binomial tails, summed term by term. NAN if out of range.
 */
double counts_chance_above(struct counts counts, double rate);
double counts_chance_below(struct counts counts, double rate);

/*
 * The false discovery rate at which each of `count` p-values would just be called: Benjamini &
 * Hochberg (1995, J R Stat Soc B 57:289), adjusted[i] = min over p[j] >= p[i] of m p[j] / rank(j).
 * A NAN is a question that was not asked: it stays NAN and does not count in m. `adjusted` may be
 * `p`. Takes count log count. STATUS_USAGE if a p-value is outside 0 to 1, STATUS_MEMORY.
 */
enum status counts_adjust(const double *p, size_t count, double *adjusted);

#endif
