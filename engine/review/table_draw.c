/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "review/binomial_internal.h"
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

static double start_chance(const struct margins *m)
{
    double take = (double)m->take, total = (double)m->total;
    double aim = take - AIM * sqrt(take * (1.0 - take / total));

    /* Adding costs about as much as a binomial number. */
    return aim > (double)m->groups ? aim / total : 0.0;
}

/* Sizes stand in falling order, so equal ones are neighbours and share their table. */
static bool prepare_alias(struct sampler *s)
{
    const struct margins *m = s->margins;

    for (size_t i = 0; i < m->groups; i++) {
        if (i == 0 || m->sizes[i] != m->sizes[i - 1]) {
            if (!alias_binomial(&s->alias[s->aliases], m->sizes[i], s->start))
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

enum status table_draw(const struct margins *margins, const struct table_effort *effort,
                       struct table_test *result)
{
    struct sampler sampler = {.margins = margins};
    size_t hits = 0, tables = 0;

    if (!prepare(&sampler, effort->seed)) {
        release(&sampler);
        return STATUS_MEMORY;
    }
    double bound = log_chance(&sampler, margins->taken) + TABLE_TIE;
    while (tables < effort->tables && (effort->enough == 0 || hits < effort->enough)) {
        draw_table(&sampler);
        tables++;
        if (log_chance(&sampler, sampler.taken) <= bound)
            hits++;
    }
    release(&sampler);
    table_drawn(hits, tables, effort->enough, result);
    return STATUS_OK;
}

/* ---- any number of columns ------------------------------------------------------------------- */

struct shuffle {
    size_t rows, columns, total;
    uint32_t *row_of, *column_of; /* of each vessel */
    size_t *cells;
    double *log_factorial;
    gsl_rng *rng;
};

static void shuffle_release(struct shuffle *s)
{
    free(s->row_of);
    free(s->column_of);
    free(s->cells);
    free(s->log_factorial);
    if (s->rng)
        gsl_rng_free(s->rng);
}

static bool shuffle_prepare(struct shuffle *s, const size_t *cells, unsigned long seed)
{
    size_t vessel = 0;

    s->row_of = calloc(s->total, sizeof *s->row_of);
    s->column_of = calloc(s->total, sizeof *s->column_of);
    s->cells = calloc(s->rows * s->columns, sizeof *s->cells);
    s->log_factorial = table_log_factorials(s->total);
    s->rng = gsl_rng_alloc(gsl_rng_mt19937);
    if (!s->row_of || !s->column_of || !s->cells || !s->log_factorial || !s->rng)
        return false;
    gsl_rng_set(s->rng, seed);
    for (size_t cell = 0; cell < s->rows * s->columns; cell++) {
        for (size_t i = 0; i < cells[cell]; i++) {
            s->row_of[vessel] = (uint32_t)(cell / s->columns);
            s->column_of[vessel++] = (uint32_t)(cell % s->columns);
        }
    }
    return true;
}

static double cells_log_chance(const struct shuffle *s, const size_t *cells)
{
    double sum = 0.0;
    for (size_t i = 0; i < s->rows * s->columns; i++)
        sum -= s->log_factorial[cells[i]];
    return sum;
}

/* Deals the columns out to the vessels anew (Fisher & Yates). */
static void shuffle_once(struct shuffle *s)
{
    memset(s->cells, 0, s->rows * s->columns * sizeof *s->cells);
    for (size_t i = s->total; i > 0; i--) {
        size_t other = draw_below(s->rng, (uint32_t)i);
        uint32_t column = s->column_of[other];
        s->column_of[other] = s->column_of[i - 1];
        s->column_of[i - 1] = column;
        s->cells[s->row_of[i - 1] * s->columns + column]++;
    }
}

enum status table_shuffle(const size_t *cells, size_t rows, size_t columns,
                          const struct table_effort *effort, struct table_test *result)
{
    struct shuffle shuffle = {.rows = rows, .columns = columns};
    size_t hits = 0, tables = 0;

    for (size_t i = 0; i < rows * columns; i++)
        shuffle.total += cells[i];
    if (!shuffle_prepare(&shuffle, cells, effort->seed)) {
        shuffle_release(&shuffle);
        return STATUS_MEMORY;
    }
    double bound = cells_log_chance(&shuffle, cells) + TABLE_TIE;
    while (tables < effort->tables && (effort->enough == 0 || hits < effort->enough)) {
        shuffle_once(&shuffle);
        tables++;
        if (cells_log_chance(&shuffle, shuffle.cells) <= bound)
            hits++;
    }
    shuffle_release(&shuffle);
    table_drawn(hits, tables, effort->enough, result);
    return STATUS_OK;
}
