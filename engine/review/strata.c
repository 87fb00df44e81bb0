/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/strata.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "review/check_internal.h"
#include "review/conditional_internal.h"

/* ---- adding up ------------------------------------------------------------------------------- */

/* a b / c d: the first group's lost and kept over the second's. */
struct square {
    double a, b, c, d, n;
};

static struct square square_of(const struct strata_pair *pair)
{
    struct square s = {
        .a = (double)pair->first.lost,
        .b = (double)(pair->first.total - pair->first.lost),
        .c = (double)pair->second.lost,
        .d = (double)(pair->second.total - pair->second.lost),
    };
    s.n = s.a + s.b + s.c + s.d;
    return s;
}

static bool tells(const struct square *s)
{
    return s->a + s->b > 0.0 && s->c + s->d > 0.0 && s->a + s->c > 0.0 && s->b + s->d > 0.0;
}

struct totals {
    double off, variance; /* of a from its mean, and of a */
    double along, across; /* sum a d / n, sum b c / n */
    double pr, mixed, qs; /* Robins, Breslow & Greenland's three sums */
};

static void add_stratum(struct totals *t, const struct square *s)
{
    double rows = (s->a + s->b) * (s->c + s->d), columns = (s->a + s->c) * (s->b + s->d);
    double r = s->a * s->d / s->n, q = s->b * s->c / s->n;
    double p_share = (s->a + s->d) / s->n, q_share = (s->b + s->c) / s->n;

    t->off += s->a - (s->a + s->b) * (s->a + s->c) / s->n;
    t->variance += rows * columns / (s->n * s->n * (s->n - 1.0));
    t->along += r;
    t->across += q;
    t->pr += p_share * r;
    t->mixed += p_share * q + q_share * r;
    t->qs += q_share * q;
}

static void chi_squares(const struct totals *t, struct strata_pairs *result)
{
    double off = fabs(t->off), correction = off >= 0.5 ? 0.5 : 0.0;

    result->statistic = off * off / t->variance;
    result->corrected = (off - correction) * (off - correction) / t->variance;
    result->p = gsl_cdf_chisq_Q(result->statistic, 1.0);
    result->corrected_p = gsl_cdf_chisq_Q(result->corrected, 1.0);
}

static void common_odds(const struct totals *t, double level, struct strata_pairs *result)
{
    if (t->across <= 0.0 || t->along <= 0.0) {
        result->odds_ratio = t->along > 0.0 ? INFINITY : t->across > 0.0 ? 0.0 : NAN;
        return;
    }
    double variance = t->pr / (2.0 * t->along * t->along) +
                      t->mixed / (2.0 * t->along * t->across) +
                      t->qs / (2.0 * t->across * t->across);
    double factor = exp(gsl_cdf_ugaussian_Qinv(0.5 * (1.0 - level)) * sqrt(variance));
    result->odds_ratio = t->along / t->across;
    result->odds = (struct interval){result->odds_ratio / factor, result->odds_ratio * factor};
}

/* ---- the exact test -------------------------------------------------------------------------- */

/*
 * The sum of the strata's counts: their chances convolved. In long double, because the ends of a
 * long sum are far below the least double and the odds ratio may lie there.
 */
struct convolution {
    long double *sum, *next;
    double *log_chance; /* of one stratum, then of the sum */
    size_t least, count, seen;
};

/* The margins of a stratum that tells something; count 0 of one that does not. */
struct stratum_range {
    size_t least, count;
};

static struct stratum_range range_of(const struct strata_pair *pair)
{
    struct square square = square_of(pair);
    struct stratum_range range = {0, 0};

    if (tells(&square))
        conditional_range(pair->first.total, pair->second.total,
                          pair->first.lost + pair->second.lost, &range.least, &range.count);
    return range;
}

/* Number of values of the sum and of steps to get there; `widest` the most of one stratum. */
static double convolution_steps(const struct strata_pair *strata, size_t count, size_t *values,
                                size_t *widest)
{
    double steps = 0.0;

    *values = *widest = 1;
    for (size_t i = 0; i < count; i++) {
        struct stratum_range range = range_of(&strata[i]);
        if (range.count == 0)
            continue;
        steps += (double)*values * (double)range.count;
        *values += range.count - 1;
        if (range.count > *widest)
            *widest = range.count;
    }
    return steps;
}

static void convolve(struct convolution *c, const struct strata_pair *pair,
                     struct stratum_range range)
{
    double top = -INFINITY;
    long double all = 0.0L;

    conditional_fill(pair->first.total, pair->second.total, pair->first.lost + pair->second.lost,
                     c->log_chance);
    for (size_t i = 0; i < range.count; i++)
        top = fmax(top, c->log_chance[i]);
    for (size_t i = 0; i < range.count; i++)
        all += expl((long double)(c->log_chance[i] - top));
    for (size_t i = 0; i < c->count + range.count - 1; i++)
        c->next[i] = 0.0L;
    for (size_t i = 0; i < range.count; i++) {
        long double chance = expl((long double)(c->log_chance[i] - top)) / all;
        for (size_t k = 0; k < c->count; k++)
            c->next[i + k] += chance * c->sum[k];
    }
    long double *done = c->sum;
    c->sum = c->next;
    c->next = done;
    c->count += range.count - 1;
    c->least += range.least;
    c->seen += pair->first.lost;
}

static void exact_result(struct convolution *c, double level, struct strata_pairs *result)
{
    struct table_fisher test;

    for (size_t i = 0; i < c->count; i++) {
        if (!(c->sum[i] > 0.0L)) /* even a long double has an end */
            return;
        c->log_chance[i] = (double)logl(c->sum[i]);
    }
    const struct conditional sum = {c->least, c->count, c->log_chance};
    conditional_test(&sum, c->seen, level, &test);
    result->exact = true;
    result->exact_less = test.less;
    result->exact_greater = test.greater;
    result->exact_two_sided = test.two_sided;
    result->exact_odds_ratio = test.odds_ratio;
    result->exact_odds = test.odds;
}

static enum status exact_pairs(const struct strata_pair *strata, size_t count, double level,
                               struct strata_pairs *result)
{
    size_t values, widest;

    if (convolution_steps(strata, count, &values, &widest) > STRATA_EXACT_STEPS)
        return STATUS_OK;
    size_t room = values > widest ? values : widest;
    struct convolution c = {.sum = calloc(values, sizeof *c.sum),
                            .next = calloc(values, sizeof *c.next),
                            .log_chance = calloc(room, sizeof *c.log_chance),
                            .count = 1};
    enum status status = STATUS_MEMORY;
    if (c.sum && c.next && c.log_chance) {
        c.sum[0] = 1.0L;
        for (size_t i = 0; i < count; i++) {
            struct stratum_range range = range_of(&strata[i]);
            if (range.count > 0)
                convolve(&c, &strata[i], range);
        }
        exact_result(&c, level, result);
        status = STATUS_OK;
    }
    free(c.sum);
    free(c.next);
    free(c.log_chance);
    return status;
}

/* ---- the whole ------------------------------------------------------------------------------- */

static bool pairs_fine(const struct strata_pair *strata, size_t count)
{
    size_t total = 0;

    for (size_t i = 0; i < count; i++) {
        if (!counts_fine(strata[i].first) || !counts_fine(strata[i].second))
            return false;
        total += strata[i].first.total + strata[i].second.total;
        if (total > COUNTS_MOST)
            return false;
    }
    return true;
}

enum status strata_pairs(const struct strata_pair *strata, size_t count, double level,
                         struct strata_pairs *result)
{
    struct totals totals = {0};

    if (!level_fine(level) || !pairs_fine(strata, count))
        return STATUS_USAGE;
    *result = (struct strata_pairs){
        .p = 1.0,
        .corrected_p = 1.0,
        .odds_ratio = NAN,
        .odds = {0.0, INFINITY},
        .exact_less = NAN,
        .exact_greater = NAN,
        .exact_two_sided = NAN,
        .exact_odds_ratio = NAN,
        .exact_odds = {NAN, NAN},
    };
    for (size_t i = 0; i < count; i++) {
        struct square square = square_of(&strata[i]);
        if (!tells(&square))
            continue;
        result->strata++;
        add_stratum(&totals, &square);
    }
    if (result->strata > 0) {
        chi_squares(&totals, result);
        common_odds(&totals, level, result);
    }
    return exact_pairs(strata, count, level, result);
}
