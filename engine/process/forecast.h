/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_FORECAST_H
#define JARSIDE_PROCESS_FORECAST_H

#include <stdbool.h>
#include <stddef.h>

#include "process/colony.h"
#include "process/limits.h"

/*
 * When the grain will be white, how sure that is, and whether a vessel keeps up.
 *
 * process/colony.h computes one exact course; here its inputs are ranges. The
 * band around the central course is made one input at a time: in the scale
 * z = (-ln(1 - X))^(1/3), where Avrami's law is a straight line of rate and time
 * (the radius of a colony over the distance between them), each input is moved
 * to its low and its high end, and the deviations are added as roots of sums of
 * squares, the ones that slow and the ones that hasten apart. In this scale the
 * deviations grow with time, so neither end of the band ever falls.
 */
enum forecast_input {
    FORECAST_RATE,
    FORECAST_POINTS,
    FORECAST_LAG,
    FORECAST_TEMPERATURE,
    FORECAST_INPUTS
};

/* "growth rate", "dose", "lag", "temperature" */
const char *forecast_input_name(enum forecast_input input);

struct forecast {
    struct cardinals cardinals;
    struct range rate;        /* mm/day at the best temperature */
    struct range points;      /* per cm3 of grain */
    struct range lag;         /* days at the best temperature */
    double temperature_doubt; /* K to either side */
    double volume;            /* cm3 of grain */
    double kernels;           /* per cm3 */
    const struct warmth *warmth;
    size_t warmth_count;
    const struct shake *shakes;
    size_t shake_count;
};

/* What is out of bounds, or PROCESS_OK. */
enum process_fault forecast_check(const struct forecast *forecast);

/* Coverage in per cent on `day`: the band. The forecast must have passed forecast_check. */
void forecast_coverage(const struct forecast *forecast, double day, struct range *coverage);

/*
 * Days until `coverage` per cent: low is the earliest of the band, high the
 * latest. What is not reached in two years is INFINITY; FAULT_UNREACHED when
 * even the central course does not reach it.
 */
enum process_fault forecast_days(const struct forecast *forecast, double coverage,
                                 struct range *days);

/* Coverage that counts as full. */
#define FORECAST_FULL 99.0

enum pace { PACE_AHEAD, PACE_ON_TIME, PACE_SLOW, PACE_STALLED };
const char *pace_name(enum pace pace); /* "ahead", "on time", "slow", "stalled" */

/*
 * What an input would have to be for the central course to meet what was seen,
 * and how far that is from its own range: in units of its half width (roots
 * taken on a log scale but for the temperature). INFINITY when no value fits.
 */
struct forecast_reason {
    enum forecast_input input;
    double needed; /* mm/day, points per cm3, days, or K to add to the temperature */
    double stretch;
};

struct pace_verdict {
    enum pace pace;
    struct range expected; /* coverage on that day, per cent */
    double times_late;     /* day seen / central day for this coverage */
    double wait_until;     /* day after which waiting on is not reasonable if nothing changes */
    struct forecast_reason reasons[FORECAST_INPUTS]; /* smallest stretch first */
    bool explained; /* the first one's stretch is below FORECAST_EXPLAINS */
};

/* Beyond this many half widths an input does not explain what is seen. */
#define FORECAST_EXPLAINS 2.5

/*
 * Compares `seen` per cent on `day`. `still_days`: days without visible
 * progress, NAN when not known.
 *
 * Published times for like species differ by a factor of two, so slow becomes
 * stalled only when nothing moves although growth was due: on the day that is
 * twice the central day of the next visible step (ten points of coverage), or
 * after a week of standstill in which the central course gained ten points.
 */
enum process_fault forecast_judge(const struct forecast *forecast, double day, double seen,
                                  double still_days, struct pace_verdict *verdict);

#endif
