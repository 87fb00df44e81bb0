/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/survival_internal.h"

struct member {
    struct survival_case is; /* first, for survival_by_time */
    size_t group;
};

/* ---- adding up over times -------------------------------------------------------------------- */

/* At one time: `lost` of `all` at risk, at_risk[g] of each group. */
static void add_time(struct survival_logrank *result, const double *at_risk, double all,
                     double lost)
{
    size_t groups = result->groups;
    double weight = all > 1.0 ? lost * (all - lost) / (all - 1.0) : 0.0;

    for (size_t i = 0; i < groups; i++) {
        double share = at_risk[i] / all;
        result->expected[i] += lost * share;
        if (share <= 0.0 || weight <= 0.0)
            continue;
        double *row = result->variance + i * groups;
        row[i] += weight * share;
        for (size_t k = 0; k < groups; k++)
            row[k] -= weight * share * at_risk[k] / all;
    }
}

static void add_up(struct survival_logrank *result, const struct member *sorted, size_t count,
                   double *at_risk)
{
    for (size_t i = 0; i < count; i++) {
        at_risk[sorted[i].group] += 1.0;
        result->cases[sorted[i].group]++;
    }
    for (size_t i = 0; i < count;) {
        size_t first = i;
        double lost = 0.0;
        for (; i < count && sorted[i].is.time == sorted[first].is.time; i++) {
            lost += sorted[i].is.lost;
            result->observed[sorted[i].group] += sorted[i].is.lost;
        }
        if (lost > 0.0)
            add_time(result, at_risk, (double)(count - first), lost);
        for (size_t k = first; k < i; k++)
            at_risk[sorted[k].group] -= 1.0;
    }
}

/* ---- the statistic --------------------------------------------------------------------------- */

/*
 * d' V^- d by elimination, for a V that is positive and may be short of full rank. A pivot of which
 * rounding alone is left is passed over: that group is tied to those before it, and costs its
 * degree of freedom. Destroys `v` and `d`.
 */
static double quadratic(double *v, double *d, const double *whole, size_t size, size_t *freedom)
{
    const double rounding = 1e-10;
    double sum = 0.0;

    *freedom = 0;
    for (size_t i = 0; i < size; i++) {
        const double *row = v + i * size;
        double pivot = row[i];
        if (pivot <= rounding * whole[i])
            continue;
        sum += d[i] * d[i] / pivot;
        (*freedom)++;
        for (size_t k = i + 1; k < size; k++) {
            double factor = v[k * size + i] / pivot;
            d[k] -= factor * d[i];
            for (size_t j = i + 1; j < size; j++)
                v[k * size + j] -= factor * row[j];
        }
    }
    return sum;
}

static enum status finish(struct survival_logrank *result)
{
    size_t groups = result->groups;
    double *v = calloc(groups * groups, sizeof *v);
    double *d = calloc(groups, sizeof *d), *whole = calloc(groups, sizeof *whole);
    enum status status = STATUS_MEMORY;

    if (v && d && whole) {
        memcpy(v, result->variance, groups * groups * sizeof *v);
        for (size_t i = 0; i < groups; i++) {
            d[i] = result->observed[i] - result->expected[i];
            whole[i] = result->variance[i * groups + i];
        }
        result->statistic = quadratic(v, d, whole, groups, &result->freedom);
        result->p =
            result->freedom > 0 ? gsl_cdf_chisq_Q(result->statistic, (double)result->freedom) : 1.0;
        status = STATUS_OK;
    }
    free(v);
    free(d);
    free(whole);
    return status;
}

/* ---- the whole ------------------------------------------------------------------------------- */

static bool prepare(struct arena *arena, size_t groups, struct survival_logrank *result)
{
    *result = (struct survival_logrank){
        .groups = groups,
        .cases = arena_array(arena, groups, sizeof *result->cases),
        .observed = arena_array(arena, groups, sizeof *result->observed),
        .expected = arena_array(arena, groups, sizeof *result->expected),
        .variance = arena_array(arena, groups * groups, sizeof *result->variance),
    };
    return result->cases && result->observed && result->expected && result->variance;
}

static bool groups_fine(const size_t *group, size_t count, size_t groups)
{
    if (groups < 1 || groups > SURVIVAL_GROUPS)
        return false;
    for (size_t i = 0; i < count; i++)
        if (group[i] >= groups)
            return false;
    return true;
}

enum status survival_logrank(struct arena *arena, const struct survival_case *cases,
                             const size_t *group, size_t count, size_t groups,
                             struct survival_logrank *result)
{
    if (!survival_fine(cases, count) || !groups_fine(group, count, groups))
        return STATUS_USAGE;
    struct member *sorted = calloc(count ? count : 1, sizeof *sorted);
    double *at_risk = calloc(groups, sizeof *at_risk);
    enum status status = STATUS_MEMORY;
    if (sorted && at_risk && prepare(arena, groups, result)) {
        for (size_t i = 0; i < count; i++)
            sorted[i] = (struct member){cases[i], group[i]};
        qsort(sorted, count, sizeof *sorted, survival_by_time);
        add_up(result, sorted, count, at_risk);
        status = finish(result);
    }
    free(sorted);
    free(at_risk);
    return status;
}
