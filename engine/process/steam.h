/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_STEAM_H
#define JARSIDE_PROCESS_STEAM_H

#include "process/limits.h"

/* How hot the steam is: saturation line, air pressure at an altitude, air that
 * was left in the vessel.
 *
 * Temperatures in degrees Celsius (0 degC = 273.15 K), absolute pressures in
 * kPa, gauge pressures in kPa above the air outside, altitudes in metres. On a
 * error the result is untouched. */

/* 1 psi in kPa: NIST SP 811 (2008), appendix B.8. */
#define STEAM_KPA_PER_PSI 6.894757293168

/* Saturation pressure and temperature of water: IAPWS R7-97(2012), region 4,
 * equations 30 and 31. 0 to 373.946 degC; each the inverse of the other to 1e-9. */
enum process_error steam_pressure(double celsius, double *kpa);
enum process_error steam_temperature(double kpa, double *celsius);

/* Air pressure of the standard atmosphere, lowest layer: ISO 2533:1975, US
 * Standard Atmosphere 1976. The altitude is geopotential; steam_geopotential
 * makes one of a surveyed (geometric) height. The weather moves the true
 * pressure by about 3 kPa to either side. */
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

/* Temperature of the steam: saturation at (1 - air share) x (gauge + air
 * outside), Dalton's law. Refuses steam below 60 degC, and a gauge above the
 * rated one (with a tolerance of 2 %, for units and reading). */
enum process_error steam_celsius(const struct steam_conditions *conditions, double *celsius);

/* Gauge pressure that would give `celsius` there. It says what the physics
 * needs, not what a cooker may be taken to: compare with the rating. */
enum process_error steam_gauge_needed(const struct steam_conditions *conditions, double celsius,
                                      double *gauge_kpa);

#endif
