/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_rng.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "review/draw_internal.h"
#include "review/table_internal.h"

/* Tables with any number of columns: the columns are dealt out to the vessels at random. */
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

    s->row_of = calloc(s->total + 1, sizeof *s->row_of);
    s->column_of = calloc(s->total + 1, sizeof *s->column_of);
    s->cells = calloc(s->rows * s->columns + 1, sizeof *s->cells);
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
    double ours = cells_log_chance(&shuffle, cells) + TABLE_TIE;
    size_t most = table_allowance(effort, (double)shuffle.total);
    while (tables < most && (effort->enough == 0 || hits < effort->enough)) {
        shuffle_once(&shuffle);
        tables++;
        if (cells_log_chance(&shuffle, shuffle.cells) <= ours)
            hits++;
    }
    shuffle_release(&shuffle);
    table_drawn(hits, tables, effort->enough, result);
    return STATUS_OK;
}
