/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/steam.h"

#include <math.h>

static const double zero_celsius_k = 273.15;

/* IAPWS R7-97(2012), table 34. n[0] is unused so that indices are those of the release. */
static const double n[11] = {
    0.0,
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
};

enum process_error steam_pressure(double celsius, double *kpa)
{
    enum process_error error = limit_check(PROCESS_SATURATION_CELSIUS, celsius);
    if (error != PROCESS_OK)
        return error;
    double kelvin = celsius + zero_celsius_k;
    double v = kelvin + n[9] / (kelvin - n[10]);
    double a = v * v + n[1] * v + n[2];
    double b = n[3] * v * v + n[4] * v + n[5];
    double c = n[6] * v * v + n[7] * v + n[8];
    double root = 2.0 * c / (-b + sqrt(b * b - 4.0 * a * c));
    *kpa = 1000.0 * root * root * root * root;
    return PROCESS_OK;
}

enum process_error steam_temperature(double kpa, double *celsius)
{
    enum process_error error = limit_check(PROCESS_SATURATION_KPA, kpa);
    if (error != PROCESS_OK)
        return error;
    double beta = sqrt(sqrt(kpa / 1000.0));
    double e = beta * beta + n[3] * beta + n[6];
    double f = n[1] * beta * beta + n[4] * beta + n[7];
    double g = n[2] * beta * beta + n[5] * beta + n[8];
    double d = 2.0 * g / (-f - sqrt(f * f - 4.0 * e * g));
    double sum = n[10] + d;
    *celsius = 0.5 * (sum - sqrt(sum * sum - 4.0 * (n[9] + n[10] * d))) - zero_celsius_k;
    return PROCESS_OK;
}

double steam_geopotential(double geometric_m)
{
    static const double earth_radius_m = 6356766.0; /* ISO 2533:1975 */
    return earth_radius_m * geometric_m / (earth_radius_m + geometric_m);
}

enum process_error steam_air_pressure(double geopotential_m, double *kpa)
{
    static const double sea_level_kpa = 101.325, sea_level_k = 288.15;
    static const double lapse = 0.0065, gravity = 9.80665, gas_constant = 287.05287;
    enum process_error error = limit_check(PROCESS_ALTITUDE, geopotential_m);
    if (error != PROCESS_OK)
        return error;
    *kpa = sea_level_kpa *
           pow(1.0 - lapse * geopotential_m / sea_level_k, gravity / (gas_constant * lapse));
    return PROCESS_OK;
}

enum process_error steam_outside(const struct steam_conditions *conditions, double *kpa)
{
    if (isnan(conditions->barometer_kpa))
        return steam_air_pressure(steam_geopotential(conditions->altitude_m), kpa);
    enum process_error error = limit_check(PROCESS_BAROMETER, conditions->barometer_kpa);
    if (error == PROCESS_OK)
        *kpa = conditions->barometer_kpa;
    return error;
}

enum process_error steam_celsius(const struct steam_conditions *conditions, double *celsius)
{
    static const double rating_tolerance = 1.02;
    double outside, result;
    enum process_error error = limit_check(PROCESS_GAUGE, conditions->gauge_kpa);
    if (error != PROCESS_OK)
        return error;
    if (conditions->gauge_kpa > rating_tolerance * conditions->rated_kpa)
        return PROCESS_RATED_GAUGE; /* never, when the rating is not a number */
    if ((error = limit_check(PROCESS_AIR_SHARE, conditions->air_share)) != PROCESS_OK ||
        (error = steam_outside(conditions, &outside)) != PROCESS_OK)
        return error;
    double partial = (1.0 - conditions->air_share) * (conditions->gauge_kpa + outside);
    if ((error = steam_temperature(partial, &result)) != PROCESS_OK ||
        (error = limit_check(PROCESS_VESSEL_STEAM, result)) != PROCESS_OK)
        return error;
    *celsius = result;
    return PROCESS_OK;
}

enum process_error steam_gauge_needed(const struct steam_conditions *conditions, double celsius,
                                      double *gauge_kpa)
{
    double outside, partial;
    enum process_error error = limit_check(PROCESS_AIR_SHARE, conditions->air_share);
    if (error != PROCESS_OK || (error = steam_outside(conditions, &outside)) != PROCESS_OK ||
        (error = steam_pressure(celsius, &partial)) != PROCESS_OK)
        return error;
    *gauge_kpa = partial / (1.0 - conditions->air_share) - outside;
    return PROCESS_OK;
}
