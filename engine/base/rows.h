/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_ROWS_H
#define JARSIDE_BASE_ROWS_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

/* Arithmetic on rows of numbers, four at a time: sums are made in four parts that do not wait for
 * one another. A function that does little else is compiled twice, and the processor's kind
 * chooses; not under sanitizers, which are not ready when that happens. */
typedef double four __attribute__((vector_size(32), aligned(8), may_alias));
enum { ROW_STEP = 4 };
#if defined __x86_64__ && defined __GNUC__ && !defined __clang__ &&                                \
    !defined __SANITIZE_ADDRESS__ && !defined __SANITIZE_THREAD__
#define FOR_WIDE_VECTORS __attribute__((target_clones("avx2", "default")))
#else
#define FOR_WIDE_VECTORS
#endif

/* Does it for all elements of rows: AT is four of them, and at the end one. */
#define AT(row) (*(number *)((row) + at))
#define FOR_ROW(count, statement)                                                                  \
    do {                                                                                           \
        size_t at = 0;                                                                             \
        for (; at + ROW_STEP <= (count); at += ROW_STEP) {                                         \
            typedef four number;                                                                   \
            statement;                                                                             \
        }                                                                                          \
        for (; at < (count); at++) {                                                               \
            typedef double number;                                                                 \
            statement;                                                                             \
        }                                                                                          \
    } while (0)

static inline void row_times(double *row, const double *by, size_t count)
{
    FOR_ROW(count, AT(row) *= AT(by));
}

static inline void row_add(double *row, const double *of, size_t count)
{
    FOR_ROW(count, AT(row) += AT(of));
}

static inline void row_product(double *row, const double *a, const double *b, size_t count)
{
    FOR_ROW(count, AT(row) = AT(a) * AT(b));
}

static inline void row_add_product(double *row, const double *a, const double *b, size_t count)
{
    FOR_ROW(count, AT(row) += AT(a) * AT(b));
}

static inline void row_add_excess(double *row, const double *a, const double *b, const double *c,
                                  const double *d, size_t count)
{
    FOR_ROW(count, AT(row) += AT(a) * AT(b) * AT(c) * (AT(d) - 1.0));
}

static inline void row_add_times(double *row, const double *of, double by, size_t count)
{
    FOR_ROW(count, AT(row) += AT(of) * by);
}

static inline void row_fill(double *row, double with, size_t count)
{
    FOR_ROW(count, AT(row) = (number){0} + with);
}

static inline void row_scale(double *row, double by, size_t count)
{
    FOR_ROW(count, AT(row) *= by);
}

/* The highest less the lowest. */
static inline double row_range(const double *row, size_t count)
{
    double low = row[0], high = row[0];
    for (size_t i = 1; i < count; i++) {
        low = row[i] < low ? row[i] : low;
        high = row[i] > high ? row[i] : high;
    }
    return high - low;
}

/* Within FOR_ROW, the part of a sum made in four that the element at hand belongs to. */
#define PART(sums) (*(number *)&(sums))

#define PARTS_SUM(sums) (((sums)[0] + (sums)[1]) + ((sums)[2] + (sums)[3]))

/* row = a * b * c; returns its sum. */
static inline double row_product_sum(double *row, const double *a, const double *b, const double *c,
                                     size_t count)
{
    four sums = {0.0};
    FOR_ROW(count, PART(sums) += AT(row) = AT(a) * AT(b) * AT(c));
    return PARTS_SUM(sums);
}

/* to += row; returns the sum of the row. */
static inline double row_add_sum(double *to, const double *row, size_t count)
{
    four sums = {0.0};
    FOR_ROW(count, AT(to) += AT(row); PART(sums) += AT(row));
    return PARTS_SUM(sums);
}

static inline double row_sum(const double *row, size_t count)
{
    four sums = {0.0};
    FOR_ROW(count, PART(sums) += AT(row));
    return PARTS_SUM(sums);
}

static inline double row_dot(const double *a, const double *b, size_t count)
{
    four sums = {0.0};
    FOR_ROW(count, PART(sums) += AT(a) * AT(b));
    return PARTS_SUM(sums);
}

/* Four of exp(factor * of), to two units in the last place; below -700 and above 700 as there. The
 * power of two is taken off, and what is left, at most ln 2 / 2, goes into the series. */
__attribute__((always_inline)) static inline void four_exp(double *row, const double *of,
                                                           double factor)
{
    typedef uint64_t four_bits __attribute__((vector_size(32)));
    static const double terms[] = {1.0 / 479001600, 1.0 / 39916800, 1.0 / 3628800, 1.0 / 362880,
                                   1.0 / 40320,     1.0 / 5040,     1.0 / 720,     1.0 / 120,
                                   1.0 / 24,        1.0 / 6,        0.5,           1.0};
    const double ln2_high = 0x1.62e42fefa38p-1, ln2_low = 0x1.ef35793c7673p-45;
    const double to_whole = 0x1.8p52; /* added, a whole number stands in the lowest bits */
    const four zero = {0.0}, most = zero + 700.0, least = zero - 700.0;
    four x = *(const four *)of * factor;
    const four_bits high = (four_bits)(x > most), low = (four_bits)(x < least);
    x = (four)(((four_bits)x & ~high & ~low) | ((four_bits)most & high) | ((four_bits)least & low));
    const four whole = x * M_LOG2E + to_whole, n = whole - to_whole;
    const four r = (x - n * ln2_high) - n * ln2_low;
    four sum = zero + 1.0 / 6227020800.0;
    for (size_t k = 0; k < sizeof terms / sizeof *terms; k++)
        sum = sum * r + terms[k];
    const four_bits power = ((four_bits)whole - (four_bits)(zero + to_whole) + 1023) << 52;
    *(four *)row = (sum * r + 1.0) * (four)power;
}

/* row = exp(factor * of); within its caller, so as wide as that. */
__attribute__((always_inline)) static inline void row_exp(double *row, const double *of,
                                                          double factor, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        four_exp(row + i, of + i, factor);
    for (; i < count; i++)
        row[i] = exp(factor * of[i]);
}

#endif
