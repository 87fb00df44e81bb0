/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "review/check_internal.h"
#include "review/strata.h"

/*
 * V is, stratum by stratum, f (N diag(n_i) - n_i n_j) with f = K (N - K) / (N^2 (N - 1)) for K lost
 * of N: the Laplacian of a graph in which groups that share a stratum are joined. It is never
 * written down: V x takes one pass over the cells, and V x = d is solved by conjugate gradients
 * (Hestenes & Stiefel 1952). V has no inverse, but d lies where it has one: constants on each
 * island are its only null space, and d sums to 0 on each.
 */
struct problem {
    const struct strata_cell *cells;
    size_t count, groups, strata;
    struct counts *sums; /* of each stratum */
    double *factor;      /* f, 0 of a stratum that tells nothing */
    double *along;       /* of each stratum: sum of n x, while multiplying */
    double *diagonal;    /* of V */
    double *off;         /* d */
    double *x, *residual, *scaled, *direction, *image;
    size_t *leader; /* of each group: towards the leader of its island */
    size_t *anchor; /* of each stratum: the first group seen in it */
};

/* Below this share of d the residual no longer moves the statistic, which feels its square. */
static const double SMALL = 1e-12, SMALL_ENOUGH = 1e-5;

static void release(struct problem *p)
{
    free(p->sums);
    free(p->factor);
    free(p->along);
    free(p->diagonal);
    free(p->off);
    free(p->x);
    free(p->residual);
    free(p->scaled);
    free(p->direction);
    free(p->image);
    free(p->leader);
    free(p->anchor);
}

static bool allocate(struct problem *p)
{
    size_t groups = p->groups + 1, strata = p->strata + 1;

    p->sums = calloc(strata, sizeof *p->sums);
    p->factor = calloc(strata, sizeof *p->factor);
    p->along = calloc(strata, sizeof *p->along);
    p->anchor = calloc(strata, sizeof *p->anchor);
    p->diagonal = calloc(groups, sizeof *p->diagonal);
    p->off = calloc(groups, sizeof *p->off);
    p->x = calloc(groups, sizeof *p->x);
    p->residual = calloc(groups, sizeof *p->residual);
    p->scaled = calloc(groups, sizeof *p->scaled);
    p->direction = calloc(groups, sizeof *p->direction);
    p->image = calloc(groups, sizeof *p->image);
    p->leader = calloc(groups, sizeof *p->leader);
    return p->sums && p->factor && p->along && p->anchor && p->diagonal && p->off && p->x &&
           p->residual && p->scaled && p->direction && p->image && p->leader;
}

static bool sum_up(struct problem *p)
{
    size_t total = 0;

    for (size_t i = 0; i < p->count; i++) {
        const struct strata_cell *cell = &p->cells[i];
        if (!counts_fine(cell->counts) || cell->group >= p->groups || cell->stratum >= p->strata)
            return false;
        total += cell->counts.total;
        if (total > COUNTS_MOST)
            return false;
        p->sums[cell->stratum].lost += cell->counts.lost;
        p->sums[cell->stratum].total += cell->counts.total;
    }
    return true;
}

/* ---- islands --------------------------------------------------------------------------------- */

static size_t leader_of(size_t *leader, size_t group)
{
    while (leader[group] != group)
        group = leader[group] = leader[leader[group]];
    return group;
}

/* Joins the groups of each stratum. One with a single group compares nothing: its factor is 0. */
static void join(struct problem *p)
{
    for (size_t i = 0; i < p->groups; i++)
        p->leader[i] = i;
    for (size_t k = 0; k < p->strata; k++)
        p->anchor[k] = p->groups;
    for (size_t i = 0; i < p->count; i++) {
        const struct strata_cell *cell = &p->cells[i];
        size_t *anchor = &p->anchor[cell->stratum];
        if (p->factor[cell->stratum] == 0.0 || cell->counts.total == 0)
            continue;
        if (*anchor == p->groups)
            *anchor = cell->group;
        if (*anchor != cell->group)
            p->along[cell->stratum] = 1.0; /* a mark, until there is something to multiply */
        size_t a = leader_of(p->leader, *anchor), b = leader_of(p->leader, cell->group);
        p->leader[a > b ? a : b] = a < b ? a : b;
    }
    for (size_t k = 0; k < p->strata; k++)
        if (p->along[k] == 0.0)
            p->factor[k] = 0.0;
}

static void find_islands(struct problem *p, struct strata_test *result)
{
    join(p);
    for (size_t k = 0; k < p->strata; k++)
        result->strata += p->factor[k] > 0.0;
    for (size_t i = 0; i < p->groups; i++) {
        size_t leader = leader_of(p->leader, i);
        if (leader == i)
            continue;
        result->groups++;
        result->islands += p->x[leader] == 0.0; /* counted once: marked as above */
        p->x[leader] = 1.0;
    }
    memset(p->x, 0, p->groups * sizeof *p->x);
    result->freedom = result->groups; /* every compared group but one on each island */
    result->groups += result->islands;
}

/* ---- the statistic --------------------------------------------------------------------------- */

static void prepare_strata(struct problem *p)
{
    for (size_t k = 0; k < p->strata; k++) {
        double n = (double)p->sums[k].total, lost = (double)p->sums[k].lost;
        if (lost > 0.0 && lost < n)
            p->factor[k] = lost * (n - lost) / (n * n * (n - 1.0));
    }
}

static void multiply(const struct problem *p, const double *x, double *image)
{
    memset(p->along, 0, p->strata * sizeof *p->along);
    memset(image, 0, p->groups * sizeof *image);
    for (size_t i = 0; i < p->count; i++) {
        const struct strata_cell *cell = &p->cells[i];
        p->along[cell->stratum] += (double)cell->counts.total * x[cell->group];
    }
    for (size_t i = 0; i < p->count; i++) {
        const struct strata_cell *cell = &p->cells[i];
        size_t k = cell->stratum;
        image[cell->group] += p->factor[k] * (double)cell->counts.total *
                              ((double)p->sums[k].total * x[cell->group] - p->along[k]);
    }
}

static void prepare_groups(struct problem *p)
{
    for (size_t i = 0; i < p->count; i++) {
        const struct strata_cell *cell = &p->cells[i];
        double n = (double)cell->counts.total, all = (double)p->sums[cell->stratum].total;
        if (p->factor[cell->stratum] == 0.0)
            continue;
        double expected = n * (double)p->sums[cell->stratum].lost / all;
        p->off[cell->group] += (double)cell->counts.lost - expected;
        p->diagonal[cell->group] += p->factor[cell->stratum] * n * (all - n);
    }
}

static double dot(const double *a, const double *b, size_t count)
{
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
        sum += a[i] * b[i];
    return sum;
}

/* The residual over the diagonal, and their product. */
static double scale(struct problem *p)
{
    for (size_t i = 0; i < p->groups; i++)
        p->scaled[i] = p->diagonal[i] > 0.0 ? p->residual[i] / p->diagonal[i] : 0.0;
    return dot(p->residual, p->scaled, p->groups);
}

static bool solve(struct problem *p)
{
    memcpy(p->residual, p->off, p->groups * sizeof *p->residual);
    double start = scale(p), now = start;
    memcpy(p->direction, p->scaled, p->groups * sizeof *p->direction);

    for (size_t step = 0; step < 2 * p->groups + 20 && now > start * SMALL * SMALL; step++) {
        multiply(p, p->direction, p->image);
        double curve = dot(p->direction, p->image, p->groups);
        if (!(curve > 0.0))
            break;
        for (size_t i = 0; i < p->groups; i++) {
            p->x[i] += now / curve * p->direction[i];
            p->residual[i] -= now / curve * p->image[i];
        }
        double next = scale(p);
        for (size_t i = 0; i < p->groups; i++)
            p->direction[i] = p->scaled[i] + next / now * p->direction[i];
        now = next;
    }
    return now <= start * SMALL_ENOUGH * SMALL_ENOUGH;
}

static enum status compute(struct problem *p, struct strata_test *result)
{
    *result = (struct strata_test){.p = 1.0};
    prepare_strata(p);
    find_islands(p, result);
    if (result->freedom == 0)
        return STATUS_OK;
    prepare_groups(p);
    if (!solve(p))
        return STATUS_INTERNAL;
    result->statistic = fmax(0.0, dot(p->off, p->x, p->groups));
    result->p = gsl_cdf_chisq_Q(result->statistic, (double)result->freedom);
    return STATUS_OK;
}

enum status strata_groups(const struct strata_cell *cells, size_t count, size_t groups,
                          size_t strata, struct strata_test *result)
{
    struct problem problem = {.cells = cells, .count = count, .groups = groups, .strata = strata};
    enum status status = STATUS_MEMORY;

    if (groups > COUNTS_MOST || strata > COUNTS_MOST)
        return STATUS_USAGE;
    if (allocate(&problem))
        status = sum_up(&problem) ? compute(&problem, result) : STATUS_USAGE;
    release(&problem);
    return status;
}
