/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_LIMITS_H
#define JARSIDE_PROCESS_LIMITS_H

#include <stddef.h>

#include "base/numbers.h"

/*
 * What the physics refuses, and the bound it names when it does.
 *
 * Every function of process/ that can be asked for something outside its
 * model's range returns an enum process_fault. A fault names one bound; the
 * bounds with their numbers, units and reasons are one table (limits.c), so
 * what is checked and what is said cannot differ.
 *
 * Nothing in process/ does input or output, holds state between calls, reads a
 * clock or draws random numbers; all of it may be called from several threads.
 * GSL's error handler is never reached: arguments are checked before GSL sees
 * them.
 */
enum process_fault {
    PROCESS_OK = 0,
    /* outside a range of the table */
    FAULT_SATURATION_CELSIUS,
    FAULT_SATURATION_KPA,
    FAULT_ALTITUDE,
    FAULT_BAROMETER,
    FAULT_GAUGE,
    FAULT_RATED_GAUGE, /* above what the cooker is rated for; the bound is the caller's */
    FAULT_AIR_SHARE,
    FAULT_VESSEL_STEAM,
    FAULT_HOLD_MINUTES,
    FAULT_COME_UP_MINUTES,
    FAULT_COOL_MINUTES,
    FAULT_START_CELSIUS,
    FAULT_THICKNESS,
    FAULT_DIFFUSIVITY,
    FAULT_CONDUCTANCE,
    FAULT_HEAT_CAPACITY,
    FAULT_DECIMAL_TIME,
    FAULT_Z_VALUE,
    FAULT_REFERENCE_CELSIUS,
    FAULT_LOAD,
    FAULT_GRAIN_GRAMS,
    FAULT_VESSEL_COUNT,
    FAULT_TARGET_CHANCE,
    FAULT_MASS,
    FAULT_MOISTURE,
    FAULT_GROWTH_CELSIUS,
    FAULT_GROWTH_RATE,
    FAULT_LAG,
    FAULT_POINTS,
    FAULT_VOLUME,
    FAULT_DAYS,
    FAULT_COVERAGE,
    FAULT_SHAKE_FACTOR,
    FAULT_PROBE_CELSIUS,
    /* not a single range */
    FAULT_RANGE_ORDER,   /* low, central, high do not rise */
    FAULT_CARDINALS,     /* Tmin < Topt < Tmax with Topt above their middle does not hold */
    FAULT_TIME_ORDER,    /* time stands still or runs backwards */
    FAULT_EMPTY,         /* nothing to work on */
    FAULT_UNREACHED,     /* the value asked for is never reached */
    FAULT_MOISTURE_DROP, /* the target is drier than what there is */
    FAULT_MEMORY,
    FAULT_COUNT
};

struct limit {
    const char *what; /* "altitude"; a noun that a sentence can start with */
    double lo, hi;    /* both allowed */
    const char *unit; /* as printed after a number, or "" */
    const char *why;  /* where the bound comes from, one phrase */
};

/* The bound behind a fault; NULL for faults that are not a single range. */
const struct limit *limit_of(enum process_fault fault);

/* `bound` itself when `value` is outside it or not a number, else PROCESS_OK. */
enum process_fault limit_check(enum process_fault bound, double value);

/* As limit_check for each of the three, and FAULT_RANGE_ORDER when they do not rise. */
enum process_fault limit_check_range(enum process_fault bound, const struct range *range);

/*
 * One sentence without a full stop: what was refused and the bound, in the
 * house form "problem; what would be right". Writes at most `size` bytes with
 * the NUL and returns what snprintf would. `value` is the number refused.
 */
int limit_message(char *out, size_t size, enum process_fault fault, double value);

#endif
