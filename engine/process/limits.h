/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_LIMITS_H
#define JARSIDE_PROCESS_LIMITS_H

#include <stddef.h>

#include "base/numbers.h"

/*
 * What the physics refuses, and the bound it names when it does.
 *
 * Every function of process/ that can be asked for something outside its
 * model's range returns an enum process_error. An error names one bound; the
 * bounds with their numbers, units and reasons are one table (limits.c), so
 * what is checked and what is said cannot differ.
 *
 * Nothing in process/ does input or output, holds state between calls, reads a
 * clock or draws random numbers; all of it may be called from several threads.
 * GSL's error handler is never reached: arguments are checked before GSL sees
 * them.
 */
enum process_error {
    PROCESS_OK = 0,
    /* outside a range of the table */
    PROCESS_SATURATION_CELSIUS,
    PROCESS_SATURATION_KPA,
    PROCESS_ALTITUDE,
    PROCESS_BAROMETER,
    PROCESS_GAUGE,
    PROCESS_RATED_GAUGE, /* above what the cooker is rated for; the bound is the caller's */
    PROCESS_AIR_SHARE,
    PROCESS_VESSEL_STEAM,
    PROCESS_HOLD_MINUTES,
    PROCESS_COME_UP_MINUTES,
    PROCESS_COOL_MINUTES,
    PROCESS_START_CELSIUS,
    PROCESS_THICKNESS,
    PROCESS_DIFFUSIVITY,
    PROCESS_CONDUCTANCE,
    PROCESS_HEAT_CAPACITY,
    PROCESS_DECIMAL_TIME,
    PROCESS_Z_VALUE,
    PROCESS_REFERENCE_CELSIUS,
    PROCESS_LOAD,
    PROCESS_GRAIN_GRAMS,
    PROCESS_VESSEL_COUNT,
    PROCESS_TARGET_CHANCE,
    PROCESS_MASS,
    PROCESS_MOISTURE,
    PROCESS_GROWTH_CELSIUS,
    PROCESS_GROWTH_RATE,
    PROCESS_LAG,
    PROCESS_POINTS,
    PROCESS_VOLUME,
    PROCESS_DAYS,
    PROCESS_COVERAGE,
    PROCESS_SHAKE_FACTOR,
    PROCESS_PROBE_CELSIUS,
    /* not a single range */
    PROCESS_RANGE_ORDER,   /* low, central, high do not rise */
    PROCESS_CARDINALS,     /* Tmin < Topt < Tmax with Topt above their middle does not hold */
    PROCESS_TIME_ORDER,    /* time stands still or runs backwards */
    PROCESS_EMPTY,         /* nothing to work on */
    PROCESS_UNREACHED,     /* the value asked for is never reached */
    PROCESS_MOISTURE_DROP, /* the target is drier than what there is */
    PROCESS_COUNT
};

struct limit {
    const char *what; /* "altitude"; a noun that a sentence can start with */
    double lo, hi;    /* both allowed */
    const char *unit; /* as printed after a number, or "" */
    const char *why;  /* where the bound comes from, one phrase */
};

/* The bound behind an error; NULL for errors that are not a single range. */
const struct limit *limit_of(enum process_error error);

/* `bound` itself when `value` is outside it or not a number, else PROCESS_OK. */
enum process_error limit_check(enum process_error bound, double value);

/* The first of these numbers that is outside its bound, and its value; else PROCESS_OK. */
struct bounded {
    enum process_error bound;
    double number;
};
enum process_error limit_check_each(const struct bounded *numbers, size_t count, double *value);

/* As limit_check for each of the three, and PROCESS_RANGE_ORDER when they do not rise. */
enum process_error limit_check_range(enum process_error bound, const struct range *range);

/* One sentence without a full stop: what was refused and the bound, in the
 * house form "problem; what would be right". Writes at most `size` bytes with
 * the NUL and returns what snprintf would. `value` is the number refused. */
int limit_message(char *out, size_t size, enum process_error error, double value);

#endif
