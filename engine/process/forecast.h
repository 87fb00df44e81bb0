/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_FORECAST_H
#define JARSIDE_PROCESS_FORECAST_H

#include <stdbool.h>
#include <stddef.h>

#include "process/limits.h"

/*
 * How mycelium takes the grain: growth by temperature, coverage by day.
 *
 * Temperatures in degC, times in days, radial rates in mm/day, points per cm3,
 * coverage in per cent of the volume.
 *
 * Growth against temperature is the cardinal temperature model with inflection
 * (Rosso, Lobry & Flandrois 1993, J Theor Biol 162:447):
 *   f(T) = (T - Tmax)(T - Tmin)^2 /
 *          {(Topt - Tmin)[(Topt - Tmin)(T - Topt) - (Topt - Tmax)(Topt + Tmin - 2T)]}
 * between Tmin and Tmax, else 0; 1 at Topt. It holds only for Topt above the
 * middle of Tmin and Tmax; other triples are refused.
 *
 * Coverage from N random points per volume, each a sphere growing after a lag
 * (Kolmogorov 1937; Johnson & Mehl 1939; Avrami 1939-41):
 *   X = 1 - exp(-(4/3) pi N r^3),  r = rate x (s - lag),  s = integral of f(T) dt
 * s is time counted in days at the best temperature, so cold lengthens the lag
 * as much as the growth.
 */
struct cardinals {
    double t_min, t_opt, t_max;
};

/* What is out of bounds or out of order, or PROCESS_OK. */
enum process_error cardinals_check(const struct cardinals *cardinals);
/* f(T) above, 0 to 1. */
double cardinals_factor(const struct cardinals *cardinals, double celsius);

/* Avrami's X (0 to 1) for N points per unit volume and radius r. */
double avrami_volume(double points, double radius);

/* A vessel has walls, and points near them waste growth on the outside. In simulated boxes (20 x 12
 * x 8 cm) the true time to 99 % is longer than Avrami's by 28, 15 and 8 % with 20, 200 and 2000
 * points: 1 + 0.28 (n / 20)^-0.272 for n points in the vessel. */
double colony_edge_stretch(double points_in_vessel);

/* Temperatures of the place: straight lines between points in order of time, constant beyond. */
struct warmth {
    double day, celsius;
};

/* Breaking up and mixing: growth pauses, then goes on from more points. */
struct shake {
    double day;
    double factor; /* points afterwards for each before */
    double pause;  /* days at the best temperature until growth is seen again */
};

/* When the grain will be white, how sure that is, and whether a vessel keeps up.
 *
 * The central course is exact: Avrami's, with the middle of every range. The band around it is made
 * one input at a time: in the scale z = (-ln(1 - X))^(1/3), where Avrami's law is a straight line
 * of rate and time (the radius of a colony over the distance between them), each input is moved to
 * its low and its high end, and the deviations are added as roots of sums of squares, the ones that
 * slow and the ones that hasten apart. In this scale the deviations grow with time, so neither end
 * of the band ever falls. */
enum forecast_input {
    FORECAST_RATE,
    FORECAST_POINTS,
    FORECAST_LAG,
    FORECAST_TEMPERATURE,
    FORECAST_INPUTS
};

/* "growth rate", "dose", "lag", "temperature" */
extern const char *const forecast_input_names[FORECAST_INPUTS];

struct forecast {
    struct cardinals cardinals;
    struct range rate;        /* mm/day at the best temperature */
    struct range points;      /* per cm3 of grain */
    struct range lag;         /* days at the best temperature */
    double temperature_doubt; /* K to either side */
    double volume;            /* cm3 of grain */
    double kernels; /* per cm3: after a shake there are never more points than colonised kernels */
    const struct warmth *warmth;
    size_t warmth_count;
    const struct shake *shakes; /* in order of day */
    size_t shake_count;
};

/* What is out of bounds, or PROCESS_OK. */
enum process_error forecast_check(const struct forecast *forecast);

/* Coverage in per cent on `day`: the band. The forecast must have passed forecast_check. */
void forecast_coverage(const struct forecast *forecast, double day, struct range *coverage);

/* Days until `coverage` per cent: low is the earliest of the band, high the latest. What is not
 * reached in two years is INFINITY; PROCESS_UNREACHED when the central course does not reach it. */
enum process_error forecast_days(const struct forecast *forecast, double coverage,
                                 struct range *days);

/* Coverage that counts as full. */
#define FORECAST_FULL 99.0

enum pace { PACE_AHEAD, PACE_ON_TIME, PACE_SLOW, PACE_STALLED };
extern const char *const pace_names[]; /* "ahead", "on time", "slow", "stalled" */

/* What an input would have to be for the central course to meet what was seen, and how far that is
 * from its own range: in units of its half width (roots taken on a log scale but for the
 * temperature). INFINITY when no value fits. */
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

/* Compares `seen` per cent on `day`. `still_days`: days without visible progress, NAN when not
 * known.
 *
 * Published times for like species differ by a factor of two, so slow becomes stalled only when
 * nothing moves although growth was due: on the day that is twice the central day of the next
 * visible step (ten points of coverage), or after a week of standstill in which the central course
 * gained ten points. */
enum process_error forecast_judge(const struct forecast *forecast, double day, double seen,
                                  double still_days, struct pace_verdict *verdict);

#endif
