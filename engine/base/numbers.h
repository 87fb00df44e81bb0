/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_NUMBERS_H
#define JARSIDE_BASE_NUMBERS_H

#include <stddef.h>
#include <stdint.h>

/* An uncertain number: the plausible low end, the middle, the plausible high end. */
struct range {
    double low, central, high;
};

struct minimum {
    double at, value;
};

/* The minimum between `low` and `high` of a function that first falls and then rises, by golden
 * section (Kiefer 1953, Proc Am Math Soc 4:502): one further value for each step, until it lies
 * within `tolerance` > 0. Of a function with several valleys it finds one. The ends themselves are not
 * asked. */
struct minimum minimum_between(double (*function)(void *context, double at), void *context,
                               double low, double high, double tolerance);

/* The hash FNV-1a of Fowler, Noll and Vo, in 64 bits: begin with FNV_START, go on with the last. */
#define FNV_START UINT64_C(0xcbf29ce484222325)
uint64_t fnv_hash(uint64_t hash, const void *bytes, size_t length);

#endif
