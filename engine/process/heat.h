/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_HEAT_H
#define JARSIDE_PROCESS_HEAT_H

#include <stdbool.h>
#include <stddef.h>

#include "process/limits.h"

/* How hot the steam is: saturation line, air pressure at an altitude, air that was left in the
 * vessel.
 *
 * Temperatures in degrees Celsius (0 degC = 273.15 K), absolute pressures in kPa, gauge pressures
 * in kPa above the air outside, altitudes in metres. On an error the result is untouched. */

/* 1 psi in kPa: NIST SP 811 (2008), appendix B.8. */
#define STEAM_KPA_PER_PSI 6.894757293168

/* Saturation pressure and temperature of water: IAPWS R7-97(2012), region 4, equations 30 and 31. 0
 * to 373.946 degC; each the inverse of the other to 1e-9. */
enum process_error steam_pressure(double celsius, double *kpa);
enum process_error steam_temperature(double kpa, double *celsius);

/* Air pressure of the standard atmosphere, lowest layer: ISO 2533:1975, US Standard Atmosphere
 * 1976. The altitude is geopotential; steam_geopotential makes one of a surveyed (geometric)
 * height. The weather moves the true pressure by about 3 kPa to either side. */
double steam_geopotential(double geometric_m);
enum process_error steam_air_pressure(double geopotential_m, double *kpa);

struct steam_conditions {
    double gauge_kpa;
    double altitude_m;    /* as on a map (geometric) */
    double barometer_kpa; /* local, unreduced air pressure; NAN: the standard one at altitude_m */
    double rated_kpa;     /* gauge the cooker is rated for; NAN: not known */
    double air_share;     /* of the gas in the vessel, by volume: 0 fully vented */
};

/* The air pressure that applies: the barometer if there is one, else the standard. */
enum process_error steam_outside(const struct steam_conditions *conditions, double *kpa);

/* Temperature of the steam: saturation at (1 - air share) x (gauge + air outside), Dalton's law.
 * Refuses steam below 60 degC, and a gauge above the rated one (tolerance 2 %, for units and
 * reading). */
enum process_error steam_celsius(const struct steam_conditions *conditions, double *celsius);

/* Gauge pressure that would give `celsius` there. It says what the physics needs, not what a cooker
 * may be taken to: compare with the rating. */
enum process_error steam_gauge_needed(const struct steam_conditions *conditions, double celsius,
                                      double *gauge_kpa);

/*
 * How the middle of a vessel warms: conduction with an effective diffusivity
 * into a finite cylinder (jar) or a brick (bag), through a wall and film that
 * resist, from any history of the steam around it.
 *
 * SI inside: metres, seconds, m2/s, W/(m2 K), J/(m3 K); temperatures in degC.
 *
 * At the centre of one slab or long cylinder that starts uniform and is put
 * into surroundings of another temperature, the unaccomplished share is
 *   theta(t) = sum_n C_n exp(-zeta_n^2 Fo),  Fo = alpha t / L^2,
 * L half the thickness or the radius, Bi = h L / k, and
 *   slab:      zeta tan zeta = Bi,            C = 4 sin zeta / (2 zeta + sin 2 zeta)
 *   cylinder:  zeta J1(zeta) = Bi J0(zeta),   C = (2 / zeta) J1 / (J0^2 + J1^2)
 * (Carslaw & Jaeger, Conduction of Heat in Solids, 1959; Incropera & DeWitt,
 * chapter 5). A finite body is the product of its directions (Newman 1936), and
 * a changing temperature outside is Duhamel's integral over theta.
 *
 * The effective diffusivity is not that of conduction alone: in moist grain
 * vapour carries heat through the pores. It is uncertain by a factor of three
 * and every answer should be given for a range of it (process/cook.h).
 */

enum { HEAT_TERMS = 24, HEAT_DIRECTIONS = 3 };

enum heat_direction_kind { HEAT_SLAB, HEAT_CYLINDER };

struct heat_direction {
    enum heat_direction_kind kind;
    double length; /* half the thickness, or the radius; metres */
};

struct heat_body {
    struct heat_direction directions[HEAT_DIRECTIONS];
    size_t count;
};

/* Bodies from whole dimensions in metres: a filled jar, a filled bag. */
struct heat_body heat_cylinder(double radius, double height);
struct heat_body heat_brick(double a, double b, double c);
/* The same body grown in its thinnest direction: vessels that touch act as one. */
struct heat_body heat_thicken(const struct heat_body *body, double factor);

/* What it is made of and what stands between it and the steam. */
struct heat_properties {
    double diffusivity;   /* effective, m2/s */
    double heat_capacity; /* of the filled volume, J/(m3 K); conductivity = diffusivity x this */
    double conductance;   /* of wall and film, W/(m2 K); INFINITY: surface at steam temperature */
};

/* First HEAT_TERMS eigenvalues and coefficients of one direction. Bi may be INFINITY. */
struct heat_series {
    double zeta[HEAT_TERMS], c[HEAT_TERMS];
};
enum process_error heat_series(enum heat_direction_kind kind, double biot,
                               struct heat_series *series);

/* A body ready to be asked; plain data, copy it as you like. */
struct heat_model {
    struct heat_series series[HEAT_DIRECTIONS];
    double fourier_rate[HEAT_DIRECTIONS]; /* alpha / L^2, 1/s */
    size_t count;
};
enum process_error heat_model(const struct heat_body *body,
                              const struct heat_properties *properties, struct heat_model *model);

/* theta of the whole body at the centre after `seconds` of a step; 1 at 0 and before. Absolute
 * error below 1e-11: below Fo = 0.008 in a direction theta differs from 1 by less than that, above
 * it the terms kept are enough. */
double heat_theta(const struct heat_model *model, double seconds);

/* The temperature around the vessel: straight lines between points in order of time. Two points at
 * one time are a jump. Before the first and after the last point it is constant. */
struct heat_point {
    double seconds, celsius;
};

/* Temperature of the centre at 0, step, 2 step, ... (count values into `core`), starting uniform at
 * `start_celsius`. With `cap` the core is never hotter than its surroundings at that moment: as
 * pressure falls, wet grain hotter than the vessel's saturation temperature flashes off the
 * difference. `outside`, unless NULL, receives those. Duhamel's integral is exact for the straight
 * lines up to the table of the integral of theta: with a step of 15 s better than 1e-6 K for jars
 * and bags. */
enum process_error heat_curve(const struct heat_model *model, double start_celsius,
                              const struct heat_point *history, size_t points, double step,
                              bool cap, double *core, size_t count, double *outside);

/* What a temperature curve kills.
 *
 * Time in minutes, temperature in degC. The lethal rate relative to a reference is 10^((T -
 * Tref)/z) (Bigelow's general method, 1920); its integral is the equivalent time at the reference.
 * An organism's log reduction is that integral, taken with its own z, divided by its D at its own
 * reference: F0/D is right only when z is 10. */

/* F0 refers to 121.1 degC and z = 10 K. "121" is 121.0, 121.1 or 121.11 in different books; the
 * choice moves F0 by up to 2.3 %. */
#define LETHALITY_F0_CELSIUS 121.1
#define LETHALITY_F0_Z       10.0

/* Minutes at the reference that one minute at `celsius` is worth. */
double lethality_rate(double celsius, double reference_celsius, double z);

/* Equivalent minutes, added up reading by reading: constant memory, any number of readings. Between
 * two readings the temperature is taken as a straight line, for which the integral is exact. Across
 * a gap longer than `longest_gap` only the cooler end is credited, and the gap is counted. The sum
 * is a long double, so that ten million readings lose nothing. */
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
/* PROCESS_TIME_ORDER when `minutes` is not after the last one, PROCESS_PROBE_CELSIUS when the
 * reading cannot be; then nothing is added. */
enum process_error lethality_add(struct lethality *sum, double minutes, double celsius);
/* The equivalent minutes; PROCESS_EMPTY with fewer than two readings. */
enum process_error lethality_finish(const struct lethality *sum, double *minutes);

/* Equivalent minutes of an evenly spaced smooth curve (process/heat.h), as it builds up: total[i]
 * is the integral from 0 to i steps. Each step is the fourth-order rule over its neighbours
 * (Simpson where the curve ends), so the error falls with the fourth power of the step. */
void lethality_curve(const double *celsius, size_t count, double step_minutes,
                     double reference_celsius, double z, double *total);

/* ---- survivors ------------------------------------------------------------------------------- */

/* Organisms left of `load` after `log_reduction` tenfold kills: an expected number, may be tiny. */
double survivors(double load, double log_reduction);
/* Chance that a vessel, or all, with `expected` survivors have any: 1 - exp(-expected). */
double survivors_chance(double expected);
/* Log reduction that makes `chance` the chance that a vessel is not sterile. 0 if it is already. */
enum process_error survivors_target(double load, double chance, double *log_reduction);

#endif
