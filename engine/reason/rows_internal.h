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

/* row = by * a * b * c * d. */
static inline void row_product(double *restrict row, double by, const double *a, const double *b,
                               const double *c, const double *d, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] = by * a[i + k] * (b[i + k] * (c[i + k] * d[i + k]));
    for (; i < count; i++)
        row[i] = by * a[i] * (b[i] * (c[i] * d[i]));
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

/* to += row; returns the sum of the row. */
static inline double row_add_sum(double *restrict to, const double *restrict row, size_t count)
{
    double sums[ROW_STEP] = {0.0};
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++) {
            to[i + k] += row[i + k];
            sums[k] += row[i + k];
        }
    for (; i < count; i++) {
        to[i] += row[i];
        sums[0] += row[i];
    }
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
