/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "review/draw_internal.h"
#include "review/table_internal.h"

/*
 * Tables with given margins, drawn at random. To take X of N vessels evenly, each is first taken by
 * itself with a chance a little below X / N: a binomial number in each group. That set is an even
 * one of its size; vessels not in it are then added evenly until there are X. (Should it be too
 * large already, it is thrown away.) So a table costs its groups and some standard deviations of
 * additions instead of X.
 */

/* How far below X the start aims, in standard deviations: 1 start in 160 is thrown away. */
static const double AIM = 2.5;

struct sampler {
    const struct margins *margins;
    gsl_rng *rng;
    struct alias *alias; /* of each distinct size */
    size_t aliases;
    size_t *which;   /* group -> alias */
    size_t *first;   /* group -> its first vessel */
    uint32_t *owner; /* vessel -> group */
    size_t *taken;   /* of each group, the first ones of its vessels */
    double start;    /* chance of each vessel at the start; 0: begin with none */
    double *log_factorial;
};

static void release(struct sampler *s)
{
    for (size_t i = 0; i < s->aliases; i++)
        alias_release(&s->alias[i]);
    if (s->rng)
        gsl_rng_free(s->rng);
    free(s->alias);
    free(s->which);
    free(s->first);
    free(s->owner);
    free(s->taken);
    free(s->log_factorial);
}

/* Vessels added to a start, or all of them where there is none. */
static double additions(const struct margins *m)
{
    double take = (double)m->take, total = (double)m->total;

    return fmin(take, AIM * sqrt(take * (1.0 - take / total)));
}

static double start_chance(const struct margins *m)
{
    double aim = (double)m->take - additions(m);

    /* Adding costs about as much as a binomial number. */
    return aim > (double)m->groups ? aim / (double)m->total : 0.0;
}

/* Sizes stand in falling order, so equal ones are neighbours and share their table. */
static bool prepare_alias(struct sampler *s)
{
    const struct margins *m = s->margins;

    for (size_t i = 0; i < m->groups; i++) {
        if (i == 0 || m->sizes[i] != m->sizes[i - 1]) {
            if (!alias_binomial(&s->alias[s->aliases], m->sizes[i], s->start, s->log_factorial))
                return false;
            s->aliases++;
        }
        s->which[i] = s->aliases - 1;
    }
    return true;
}

static bool prepare(struct sampler *s, unsigned long seed)
{
    const struct margins *m = s->margins;

    s->rng = gsl_rng_alloc(gsl_rng_mt19937);
    s->alias = calloc(m->groups, sizeof *s->alias);
    s->which = calloc(m->groups, sizeof *s->which);
    s->first = calloc(m->groups, sizeof *s->first);
    s->owner = calloc(m->total, sizeof *s->owner);
    s->taken = calloc(m->groups, sizeof *s->taken);
    s->log_factorial = table_log_factorials(m->sizes[0]);
    if (!s->rng || !s->alias || !s->which || !s->first || !s->owner || !s->taken ||
        !s->log_factorial)
        return false;
    gsl_rng_set(s->rng, seed);
    for (size_t group = 0, vessel = 0; group < m->groups; group++) {
        s->first[group] = vessel;
        for (size_t i = 0; i < m->sizes[group]; i++)
            s->owner[vessel++] = (uint32_t)group;
    }
    s->start = start_chance(m);
    return s->start == 0.0 || prepare_alias(s);
}

/* The number taken at the start. */
static size_t draw_start(struct sampler *s)
{
    const struct margins *m = s->margins;
    size_t sum = 0;

    if (s->start == 0.0) {
        memset(s->taken, 0, m->groups * sizeof *s->taken);
        return 0;
    }
    do {
        sum = 0;
        for (size_t i = 0; i < m->groups; i++)
            sum += s->taken[i] = alias_draw(&s->alias[s->which[i]], s->rng);
    } while (sum > m->take);
    return sum;
}

static void draw_table(struct sampler *s)
{
    const struct margins *m = s->margins;

    for (size_t sum = draw_start(s); sum < m->take;) {
        size_t vessel = draw_below(s->rng, (uint32_t)m->total);
        size_t group = s->owner[vessel];
        /* Which of its vessels a group has lost does not matter: say, its first ones. */
        if (vessel - s->first[group] >= s->taken[group]) {
            s->taken[group]++;
            sum++;
        }
    }
}

/* log of the table's chance but for a constant. */
static double log_chance(const struct sampler *s, const size_t *taken)
{
    const struct margins *m = s->margins;
    double sum = 0.0;

    for (size_t i = 0; i < m->groups; i++)
        sum -= s->log_factorial[taken[i]] + s->log_factorial[m->sizes[i] - taken[i]];
    return sum;
}

/* How many tables of so many single numbers the effort allows. */
static size_t allowance(const struct table_effort *effort, double numbers)
{
    const double least = 200.0; /* fewer would say nothing at all */
    double allowed = effort->draws > 0 ? fmax(least, (double)effort->draws / numbers) : INFINITY;

    return allowed < (double)effort->tables ? (size_t)allowed : effort->tables;
}

/* p and its error from what was drawn. */
static void tell_drawn(size_t hits, size_t tables, size_t enough, struct table_test *result)
{
    double p = enough > 0 && hits >= enough ? (double)hits / (double)tables
                                            : (double)(hits + 1) / (double)(tables + 1);

    *result = (struct table_test){
        .p = p,
        .at_most = hits == 0,
        .standard_error = sqrt(p * (1.0 - p) / (double)tables),
        .tables = tables,
        .hits = hits,
    };
}

/* After this many tables without a hit it is worth asking how far out ours lies. */
enum { FIRST_LOOK = 100 };

static bool far_out(const struct sampler *s, size_t most, double *bound)
{
    *bound = table_bound(s->margins, s->log_factorial);
    return *bound < 1.0 / (double)(most + 1);
}

static void draw_tables(struct sampler *s, const struct table_effort *effort,
                        struct table_test *result)
{
    const struct margins *m = s->margins;
    size_t most = allowance(effort, (double)m->groups + additions(m));
    size_t hits = 0, tables = 0;
    double ours = log_chance(s, m->taken) + TABLE_TIE, bound;

    while (tables < most && (effort->enough == 0 || hits < effort->enough)) {
        draw_table(s);
        tables++;
        if (log_chance(s, s->taken) <= ours)
            hits++;
        if (hits == 0 && tables == FIRST_LOOK && far_out(s, most, &bound)) {
            *result = (struct table_test){.p = bound, .at_most = true, .tables = tables};
            return;
        }
    }
    tell_drawn(hits, tables, effort->enough, result);
}

enum status table_draw(const struct margins *margins, const struct table_effort *effort,
                       struct table_test *result)
{
    struct sampler sampler = {.margins = margins};
    bool ready = prepare(&sampler, effort->seed);

    if (ready)
        draw_tables(&sampler, effort, result);
    release(&sampler);
    return ready ? STATUS_OK : STATUS_MEMORY;
}
