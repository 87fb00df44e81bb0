/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_COLONY_H
#define JARSIDE_PROCESS_COLONY_H

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
enum process_fault cardinals_check(const struct cardinals *cardinals);
/* f(T) above, 0 to 1. */
double cardinals_factor(const struct cardinals *cardinals, double celsius);

/* Avrami's X (0 to 1) for N points per unit volume and radius r. */
double avrami_volume(double points, double radius);

/*
 * A vessel has walls, and points near them waste growth on the outside. In
 * simulated boxes (20 x 12 x 8 cm) the true time to 99 % is longer than Avrami's
 * by 28, 15 and 8 % with 20, 200 and 2000 points: 1 + 0.28 (n / 20)^-0.272 for n
 * points in the vessel.
 */
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

/* One exact set of circumstances. */
struct colony {
    struct cardinals cardinals;
    double rate;    /* mm/day at the best temperature */
    double lag;     /* days at the best temperature */
    double points;  /* per cm3 of grain */
    double volume;  /* cm3 */
    double kernels; /* per cm3: after a shake there are never more points than colonised kernels */
    double warmer;  /* K added to every temperature: a doubtful thermometer, or self-heating */
    const struct warmth *warmth;
    size_t warmth_count;
    const struct shake *shakes; /* in order of day */
    size_t shake_count;
};

/* What is out of bounds, or PROCESS_OK. */
enum process_fault colony_check(const struct colony *colony);
/* Coverage in per cent on `day`. The colony must have passed colony_check. */
double colony_coverage(const struct colony *colony, double day);

#endif
