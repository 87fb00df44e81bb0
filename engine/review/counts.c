/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/counts.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "review/binomial_internal.h"
#include "review/check_internal.h"

/* ---- intervals ------------------------------------------------------------------------------- */

/*
 * The rate at which x or more of n have the chance `tail`, below one half; 0 < x, so the rate is
 * below x / n and the terms of the tail fall. Newton's method on logarithms, held within a bracket
 * that shrinks: log of a tail against log of the rate is nearly straight. Its slope,
 * d log P(X >= x) / d log p = x pmf(x) / P(X >= x), is x over the tail in units of its first term.
 */
static double rate_at_tail(size_t x, size_t n, double tail)
{
    double low = 0.0, high = (double)x / (double)n;
    double p = (double)x / (double)(n + 1), target = log(tail);

    for (int step = 0; step < 200; step++) {
        double terms = binomial_terms(x, n, p);
        double off = log(binomial_pmf(x, n, p) * terms) - target;

        if (off > 0.0)
            high = p;
        else
            low = p;
        double next = p * exp(-off * terms / (double)x);
        if (!(next > low && next < high))
            next = 0.5 * (low + high);
        if (fabs(next - p) <= 1e-14 * p)
            return next;
        p = next;
    }
    return p;
}

struct interval counts_interval_exact(struct counts counts, double level)
{
    if (!counts_fine(counts) || !level_fine(level))
        return (struct interval){NAN, NAN};

    size_t x = counts.lost, n = counts.total;
    double tail = 0.5 * (1.0 - level);
    struct interval interval = {0.0, 1.0};
    if (x > 0)
        interval.low = rate_at_tail(x, n, tail);
    if (x < n) /* the other end is the lower one of those not lost */
        interval.high = 1.0 - rate_at_tail(n - x, n, tail);
    return interval;
}

struct interval counts_interval_wilson(struct counts counts, double level)
{
    if (!counts_fine(counts) || !level_fine(level))
        return (struct interval){NAN, NAN};

    double x = (double)counts.lost, n = (double)counts.total;
    double z = gsl_cdf_ugaussian_Qinv(0.5 * (1.0 - level)), zz = z * z;
    if (counts.total == 0)
        return (struct interval){0.0, 1.0};
    double middle = x + 0.5 * zz;
    double half = z * sqrt(x * (n - x) / n + 0.25 * zz);
    /* At the ends the true values are 0 and 1; rounding must not pass them. */
    return (struct interval){
        counts.lost == 0 ? 0.0 : (middle - half) / (n + zz),
        counts.lost == counts.total ? 1.0 : (middle + half) / (n + zz),
    };
}

/* ---- tails ----------------------------------------------------------------------------------- */

double counts_chance_above(struct counts counts, double rate)
{
    if (!counts_fine(counts) || !(rate >= 0.0 && rate <= 1.0))
        return NAN;
    if (rate == 0.0 || rate == 1.0) /* all is settled */
        return counts.lost == 0 || rate == 1.0 ? 1.0 : 0.0;
    return binomial_above(counts.lost, counts.total, rate);
}

double counts_chance_below(struct counts counts, double rate)
{
    if (!counts_fine(counts) || !(rate >= 0.0 && rate <= 1.0))
        return NAN;
    return counts_chance_above((struct counts){counts.total - counts.lost, counts.total},
                               1.0 - rate);
}

/* ---- many questions -------------------------------------------------------------------------- */

struct ranked {
    double p;
    size_t place;
};

static int by_p(const void *left, const void *right)
{
    const struct ranked *a = left, *b = right;

    if (a->p != b->p)
        return (a->p > b->p) - (a->p < b->p);
    return (a->place > b->place) - (a->place < b->place);
}

enum status counts_adjust(const double *p, size_t count, double *adjusted)
{
    for (size_t i = 0; i < count; i++)
        if (p[i] < 0.0 || p[i] > 1.0)
            return STATUS_USAGE;
    if (count == 0)
        return STATUS_OK;

    struct ranked *ranked = calloc(count, sizeof *ranked);
    if (!ranked)
        return STATUS_MEMORY;
    size_t asked = 0;
    for (size_t i = 0; i < count; i++) {
        if (!isnan(p[i]))
            ranked[asked++] = (struct ranked){p[i], i};
        else
            adjusted[i] = NAN;
    }
    qsort(ranked, asked, sizeof *ranked, by_p);
    double least = 1.0;
    for (size_t rank = asked; rank > 0; rank--) {
        least = fmin(least, ranked[rank - 1].p * (double)asked / (double)rank);
        adjusted[ranked[rank - 1].place] = least;
    }
    free(ranked);
    return STATUS_OK;
}

bool counts_sum(const struct counts *groups, size_t count, struct counts *sum)
{
    *sum = (struct counts){0, 0};
    for (size_t i = 0; i < count; i++) {
        if (!counts_fine(groups[i]))
            return false;
        sum->lost += groups[i].lost;
        sum->total += groups[i].total;
        if (sum->total > COUNTS_MOST)
            return false;
    }
    return true;
}
