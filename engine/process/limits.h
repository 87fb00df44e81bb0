/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_LIMITS_H
#define JARSIDE_PROCESS_LIMITS_H

#include <stddef.h>

#include "base/units.h"

/* Outside one range: what it is of (a noun that a sentence can start with), the lowest and highest
 * value allowed, the unit as printed after a number, and where the bound comes from. */
#define PROCESS_LIMITS(LIMIT)                                                                      \
    LIMIT(SATURATION_CELSIUS, "saturation temperature", 0.0, 373.946, "degC",                      \
          "the saturation line of IAPWS R7-97(2012) runs from the melting point to the "           \
          "critical point")                                                                        \
    LIMIT(SATURATION_KPA, "saturation pressure", 0.611213, 22064.0, "kPa",                         \
          "the saturation line of IAPWS R7-97(2012) runs from the melting point to the "           \
          "critical point")                                                                        \
    LIMIT(ALTITUDE, "altitude", -2000.0, 11000.0, "m",                                             \
          "the lowest layer of the standard atmosphere, ISO 2533:1975")                            \
    LIMIT(BAROMETER, "barometer reading", 30.0, 110.0, "kPa",                                      \
          "air pressure on the ground, not reduced to sea level")                                  \
    LIMIT(GAUGE, "gauge pressure", 0.0, 206.9, "kPa", "no more than 30 psi is modelled")           \
    LIMIT(RATED_GAUGE, "gauge pressure", 0.0, 206.9, "kPa", "the rating of the cooker")            \
    LIMIT(AIR_SHARE, "share of air in the steam", 0.0, 0.95, "",                                   \
          "above it there is hardly any steam")                                                    \
    LIMIT(VESSEL_STEAM, "steam temperature", 60.0, 145.0, "degC",                                  \
          "the lethality data do not reach further")                                               \
    LIMIT(HOLD_MINUTES, "time at pressure", 0.0, 1440.0, "min", "one day")                         \
    LIMIT(COME_UP_MINUTES, "come-up time", 0.0, 600.0, "min", "ten hours")                         \
    LIMIT(COOL_MINUTES, "cooling time", 0.0, 600.0, "min", "ten hours")                            \
    LIMIT(START_CELSIUS, "start temperature", 0.0, 99.0, "degC",                                   \
          "grain neither frozen nor boiling")                                                      \
    LIMIT(THICKNESS, "vessel dimension", 0.01, 1.0, "m", "jars and bags of grain")                 \
    LIMIT(DIFFUSIVITY, "effective thermal diffusivity", 0.5e-7, 1e-6, "m2/s",                      \
          "moist porous food and soil")                                                            \
    LIMIT(CONDUCTANCE, "surface conductance", 1.0, INFINITY, "W/(m2 K)",                           \
          "still air is about 5, condensing steam thousands")                                      \
    LIMIT(HEAT_CAPACITY, "volumetric heat capacity", 5e5, 4.2e6, "J/(m3 K)",                       \
          "between dry grain and water")                                                           \
    LIMIT(DECIMAL_TIME, "decimal reduction time", 1e-9, 1e4, "min", "published D values")          \
    LIMIT(Z_VALUE, "z value", 2.0, 30.0, "K", "published z values of moist heat")                  \
    LIMIT(REFERENCE_CELSIUS, "reference temperature", 40.0, 150.0, "degC", "published D values")   \
    LIMIT(LOAD, "load of organisms", 0.0, 1e10, "per gram", "counts on grain")                     \
    LIMIT(GRAIN_GRAMS, "grain in a vessel", 1.0, 50000.0, "g", "one vessel")                       \
    LIMIT(VESSEL_COUNT, "number of vessels", 1.0, 1e5, "", "one cook")                             \
    LIMIT(TARGET_CHANCE, "chance aimed for", 1e-12, 0.5, "", "a rare event")                       \
    LIMIT(MASS, "mass", 0.0, 1e6, "g", "at most a tonne")                                          \
    LIMIT(MOISTURE, "moisture (wet basis)", 0.0, 70.0, "%",                                        \
          "grain holds no more; the rest is free water")                                           \
    LIMIT(GROWTH_CELSIUS, "growing temperature", -10.0, 60.0, "degC", "cultivated fungi")          \
    LIMIT(GROWTH_RATE, "radial growth rate", 0.05, 200.0, "mm/day", "measured fungi")              \
    LIMIT(LAG, "lag", 0.0, 60.0, "days", "a starter that takes longer is dead")                    \
    LIMIT(POINTS, "inoculation points", 1e-6, 1e3, "per cm3", "one for a kernel is 20 to 50")      \
    LIMIT(VOLUME, "grain volume", 10.0, 1e5, "cm3", "one vessel")                                  \
    LIMIT(DAYS, "day", 0.0, 730.0, "days", "two years")                                            \
    LIMIT(COVERAGE, "coverage", 0.0, 100.0, "%", "nothing to all")                                 \
    LIMIT(SHAKE_FACTOR, "points after a shake, for one before", 1.0, 1000.0, "",                   \
          "shaking spreads points and loses none")                                                 \
    LIMIT(PROBE_CELSIUS, "probe temperature", -40.0, 200.0, "degC", "kitchen and lab probes")

/* Anything else, and what is said of it. */
#define PROCESS_REFUSALS(REFUSAL)                                                                  \
    REFUSAL(RANGE_ORDER, "low, central and high do not rise")                                      \
    REFUSAL(CARDINALS,                                                                             \
            "growth temperatures do not fit; lowest < best < highest, with the best above "        \
            "the middle of the other two")                                                         \
    REFUSAL(TIME_ORDER,                                                                            \
            "time stands still or runs backwards; each time must be later than the one before")    \
    REFUSAL(EMPTY, "nothing to compute from; at least two readings are needed")                    \
    REFUSAL(UNREACHED, "the value aimed for is never reached under these conditions")              \
    REFUSAL(MOISTURE_DROP, "the target is drier than the grain; this takes drying, not water")

/* What the physics refuses, and the bound it names when it does.
 *
 * Every function of process/ that can be asked for something outside its model's range returns an
 * enum process_error. An error names one bound; the bounds with their numbers, units and reasons
 * are one table (limits.c), so what is checked and what is said cannot differ.
 *
 * Nothing in process/ does input or output, holds state between calls, reads a clock or draws
 * random numbers; all of it may be called from several threads. GSL's error handler is never
 * reached: arguments are checked before GSL sees them. */
enum process_error {
    PROCESS_OK,
#define AS_ERROR(name, ...) PROCESS_##name,
    PROCESS_LIMITS(AS_ERROR) PROCESS_REFUSALS(AS_ERROR)
#undef AS_ERROR
        PROCESS_COUNT
};

struct limit {
    const char *what; /* "altitude" */
    double lo, hi;    /* both allowed */
    const char *unit; /* as printed after a number, or "" */
    const char *why;  /* where the bound comes from, one phrase */
};

/* The bound behind an error; NULL for errors that are not a single range. */
const struct limit *limit_of(enum process_error error);

/* `bound` itself when `value` is outside it or not a number, else PROCESS_OK. */
enum process_error limit_check(enum process_error bound, double value);

/* The first of these ranges of which an end is outside its bound, and that end (`value`, unless it
 * is NULL); PROCESS_RANGE_ORDER where the three do not rise; else PROCESS_OK. */
struct bounded {
    enum process_error bound;
    struct range range;
};
#define EXACT(number)                                                                              \
    {                                                                                              \
        (number), (number), (number)                                                               \
    }
enum process_error limit_check_each(const struct bounded *ranges, size_t count, double *value);

/* One sentence without a full stop: what was refused and the bound, in the house form "problem;
 * what would be right". Writes at most `size` bytes with the NUL and returns what snprintf would.
 * `value` is the number refused. */
int limit_message(char *out, size_t size, enum process_error error, double value);

#endif
