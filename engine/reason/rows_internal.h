/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_ROWS_INTERNAL_H
#define JARSIDE_REASON_ROWS_INTERNAL_H

#include <stddef.h>

/*
 * Arithmetic on rows of numbers, four at a time: sums in four parts that do not
 * wait for one another, and loops of fixed length that a compiler turns into
 * vector instructions without being asked to.
 */
enum { ROW_STEP = 4 };

/* row *= by, element by element. */
static inline void row_times(double *restrict row, const double *restrict by, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] *= by[i + k];
    for (; i < count; i++)
        row[i] *= by[i];
}

/* row += of. */
static inline void row_add(double *restrict row, const double *restrict of, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] += of[i + k];
    for (; i < count; i++)
        row[i] += of[i];
}

/* row = of * by. */
static inline void row_scaled(double *restrict row, const double *restrict of, double by,
                              size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] = of[i + k] * by;
    for (; i < count; i++)
        row[i] = of[i] * by;
}

static inline void row_scale(double *row, double by, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] *= by;
    for (; i < count; i++)
        row[i] *= by;
}

static inline double row_sum(const double *row, size_t count)
{
    double sums[ROW_STEP] = {0.0};
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            sums[k] += row[i + k];
    for (; i < count; i++)
        sums[0] += row[i];
    return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

static inline double row_dot(const double *a, const double *b, size_t count)
{
    double sums[ROW_STEP] = {0.0};
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            sums[k] += a[i + k] * b[i + k];
    for (; i < count; i++)
        sums[0] += a[i] * b[i];
    return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

#endif
