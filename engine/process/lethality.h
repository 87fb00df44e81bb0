/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_LETHALITY_H
#define JARSIDE_PROCESS_LETHALITY_H

#include <stddef.h>

#include "process/limits.h"

/* What a temperature curve kills.
 *
 * Time in minutes, temperature in degC. The lethal rate relative to a reference
 * is 10^((T - Tref)/z) (Bigelow's general method, 1920); its integral is the
 * equivalent time at the reference. An organism's log reduction is that
 * integral, taken with its own z, divided by its D at its own reference: F0/D is
 * right only when z is 10. */

/* F0 refers to 121.1 degC and z = 10 K. "121" is 121.0, 121.1 or 121.11 in different books; the
 * choice moves F0 by up to 2.3 %. */
#define LETHALITY_F0_CELSIUS 121.1
#define LETHALITY_F0_Z       10.0

/* Minutes at the reference that one minute at `celsius` is worth. */
double lethality_rate(double celsius, double reference_celsius, double z);

/* Equivalent minutes, added up reading by reading: constant memory, any number
 * of readings. Between two readings the temperature is taken as a straight line,
 * for which the integral is exact. Across a gap longer than `longest_gap` only
 * the cooler end is credited, and the gap is counted. The sum is a long double, so that ten million
 * readings lose nothing. */
struct lethality {
    double reference_celsius, z;
    double longest_gap;  /* minutes; INFINITY for no limit */
    long double minutes; /* equivalent so far */
    double first_time, last_time, last_celsius, last_rate;
    double lowest, highest; /* degC seen */
    size_t readings, gaps;
    double gap_minutes; /* total length of the gaps */
};

/* A sum of nothing yet. Readings further apart than `longest_gap` minutes leave a gap. */
void lethality_init(struct lethality *sum, double reference_celsius, double z, double longest_gap);
/* PROCESS_TIME_ORDER when `minutes` is not after the last one, PROCESS_PROBE_CELSIUS when the reading
 * cannot be; then nothing is added. */
enum process_error lethality_add(struct lethality *sum, double minutes, double celsius);
/* The equivalent minutes; PROCESS_EMPTY with fewer than two readings. */
enum process_error lethality_finish(const struct lethality *sum, double *minutes);

/* Equivalent minutes of an evenly spaced smooth curve (process/heat.h), as it
 * builds up: total[i] is the integral from 0 to i steps. Each step is the
 * fourth-order rule over its neighbours (Simpson where the curve ends), so the
 * error falls with the fourth power of the step. */
void lethality_curve(const double *celsius, size_t count, double step_minutes,
                     double reference_celsius, double z, double *total);

/* ---- survivors ------------------------------------------------------------------------------- */

/* Organisms left of `load` after `log_reduction` tenfold kills: an expected number, may be tiny. */
double survivors(double load, double log_reduction);
/* Chance that a vessel, or all vessels together, with `expected` survivors have any: 1 -
 * exp(-expected). */
double survivors_chance(double expected);
/* Log reduction needed so that the chance that a vessel is not sterile is `chance`. 0 if it already
 * is. */
enum process_error survivors_target(double load, double chance, double *log_reduction);

#endif
