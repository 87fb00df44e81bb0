/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_sf_gamma.h>
#include <math.h>

#include "base/least.h"
#include "review/table_internal.h"

/*
 * A table far out in the tail need not be drawn for: its p has a ceiling. With w(x) = C(n, x) for
 * each group and t the sum of our log w, the chance of sum log w <= t among the tables with X lost
 * is at most, for any 0 <= a < 1 and any odds r > 0,
 *   exp(a t) prod_i [sum_x w(x)^(1 - a) r^x] / (C(N, X) r^X)
 * (Chernoff 1952, Ann Math Stat 23:493: exp(a (t - sum log w)) is at least 1 where it counts, and
 * (r^sum x / r^X) is 1 where X are lost). r = (X / (N - X))^(1 - a) keeps the weight near tables
 * with X lost; a is chosen to make the bound small, and need not be the best one.
 */

static const double STEEPEST = 0.999, NEAR_ENOUGH = 0.0012; /* of a */

struct bound {
    const struct margins *margins;
    const double *log_factorial;
    double log_odds; /* of X against N - X */
    double ours;     /* t */
    double whole;    /* log C(N, X) */
};

static double log_choose(const struct bound *b, size_t n, size_t x)
{
    return b->log_factorial[n] - b->log_factorial[x] - b->log_factorial[n - x];
}

/* log of w(x)^(1 - a) r^x. */
static double log_part(const struct bound *b, size_t n, size_t x, double a)
{
    return (1.0 - a) * (log_choose(b, n, x) + (double)x * b->log_odds);
}

/* log of its sum over x. */
static double log_factor(const struct bound *b, size_t n, double a)
{
    double top = log_part(b, n, 0, a), sum = 0.0;

    for (size_t x = 1; x <= n; x++)
        top = fmax(top, log_part(b, n, x, a));
    for (size_t x = 0; x <= n; x++) {
        double below = log_part(b, n, x, a) - top;
        if (below > -45.0) /* the rest is past the last digit */
            sum += exp(below);
    }
    return top + log(fmax(1.0, sum)); /* the top itself gives 1 */
}

static double log_bound(void *context, double a)
{
    const struct bound *b = context;
    const struct margins *m = b->margins;
    double sum = a * b->ours - b->whole - (1.0 - a) * (double)m->take * b->log_odds;

    for (size_t i = 0; i < m->groups;) { /* equal sizes are neighbours */
        size_t first = i;
        while (i < m->groups && m->sizes[i] == m->sizes[first])
            i++;
        sum += (double)(i - first) * log_factor(b, m->sizes[first], a);
    }
    return sum;
}

double table_bound(const struct margins *margins, const double *log_factorial)
{
    size_t take = margins->take, rest = margins->total - take;
    struct bound bound = {
        .margins = margins,
        .log_factorial = log_factorial,
        .log_odds = log((double)take / (double)rest),
        .ours = TABLE_TIE,
        .whole = gsl_sf_lnchoose((unsigned)margins->total, (unsigned)take),
    };

    for (size_t i = 0; i < margins->groups; i++)
        bound.ours += log_choose(&bound, margins->sizes[i], margins->taken[i]);
    /* The bound is convex in a. */
    struct least least = least_between(log_bound, &bound, 0.0, STEEPEST, NEAR_ENOUGH);
    /* A ceiling below the least double is lifted, for 0 would say "impossible". */
    return fmin(1.0, fmax(1e-300, exp(least.value)));
}
