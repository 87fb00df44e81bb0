/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/heat.h"

#include <gsl/gsl_math.h>
#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "base/memory.h"
#include "base/rows.h"

/* Below this Fourier number the centre has not noticed: 1 - theta < 2 erfc(1 / (2 sqrt Fo)). */
static const double fourier_unnoticed = 0.008;
/* exp of less than this is nothing beside 1. */
static const double exponent_negligible = 42.0;

struct heat_body heat_cylinder(double radius, double height)
{
    return (struct heat_body){
        .directions = {{HEAT_CYLINDER, radius}, {HEAT_SLAB, 0.5 * height}},
        .count = 2,
    };
}

struct heat_body heat_brick(double a, double b, double c)
{
    return (struct heat_body){
        .directions = {{HEAT_SLAB, 0.5 * a}, {HEAT_SLAB, 0.5 * b}, {HEAT_SLAB, 0.5 * c}},
        .count = 3,
    };
}

struct heat_body heat_thicken(const struct heat_body *body, double factor)
{
    struct heat_body thicker = *body;
    size_t thinnest = 0;
    for (size_t i = 1; i < body->count; i++)
        if (body->directions[i].length < body->directions[thinnest].length)
            thinnest = i;
    thicker.directions[thinnest].length *= factor;
    return thicker;
}

/* The eigenvalue condition without its poles, and its slope. */
static double eigen_condition(enum heat_direction_kind kind, double biot, double zeta,
                              double *slope)
{
    if (kind == HEAT_SLAB) {
        double s = sin(zeta), c = cos(zeta);
        *slope = (1.0 + biot) * s + zeta * c;
        return zeta * s - biot * c;
    }
    double bessel0 = j0(zeta), bessel1 = j1(zeta);
    *slope = zeta * bessel0 + biot * bessel1;
    return zeta * bessel1 - biot * bessel0;
}

/* By Newton's rule, halving the bracket where that would leave it. The start is where the root of a
 * slab would lie, zeta = (n - 1) pi + atan(Bi / zeta): three or four steps do. */
static double eigen_root(enum heat_direction_kind kind, double biot, unsigned n)
{
    static const double near_enough = 1e-8; /* before a step that squares it */
    /* The nth root (n from 1) lies between these: Bi = 0 at the lower, infinite at the upper. */
    double lower = (n - 1.0) * M_PI, upper = (n - 0.5) * M_PI, sign = n % 2 == 1 ? 1.0 : -1.0;
    if (kind == HEAT_CYLINDER) {
        lower = n == 1 ? 0.0 : gsl_sf_bessel_zero_J1(n - 1);
        upper = gsl_sf_bessel_zero_J0(n);
    }
    if (isinf(biot))
        return upper;
    double zeta = lower + (upper - lower) * M_2_PI * atan(biot / upper);
    for (int i = 0; i < 100; i++) {
        double slope, value = eigen_condition(kind, biot, zeta, &slope);
        if (sign * value < 0.0)
            lower = zeta;
        else
            upper = zeta;
        double next = zeta - value / slope;
        if (fabs(next - zeta) <= near_enough * zeta)
            return next;
        zeta = next > lower && next < upper ? next : 0.5 * (lower + upper);
    }
    return zeta;
}

enum process_error heat_series(enum heat_direction_kind kind, double biot,
                               struct heat_series *series)
{
    if (!(biot > 0.0))
        return PROCESS_CONDUCTANCE;
    for (unsigned i = 0; i < HEAT_TERMS; i++) {
        double zeta = series->zeta[i] = eigen_root(kind, biot, i + 1);
        double bessel0 = j0(zeta), bessel1 = j1(zeta);
        series->c[i] = kind == HEAT_SLAB
                           ? 4.0 * sin(zeta) / (2.0 * zeta + sin(2.0 * zeta))
                           : 2.0 / zeta * bessel1 / (bessel0 * bessel0 + bessel1 * bessel1);
    }
    return PROCESS_OK;
}

enum process_error heat_model(const struct heat_body *body,
                              const struct heat_properties *properties, struct heat_model *model)
{
    const struct bounded all[] = {{PROCESS_DIFFUSIVITY, EXACT(properties->diffusivity)},
                                  {PROCESS_HEAT_CAPACITY, EXACT(properties->heat_capacity)},
                                  {PROCESS_CONDUCTANCE, EXACT(properties->conductance)}};
    double conductivity = properties->diffusivity * properties->heat_capacity;
    if (body->count == 0 || body->count > HEAT_DIRECTIONS)
        return PROCESS_EMPTY;
    enum process_error error = limit_check_each(all, 3, NULL);
    if (error != PROCESS_OK)
        return error;
    model->count = body->count;
    for (size_t i = 0; i < body->count; i++) {
        double length = body->directions[i].length;
        if ((error = limit_check(PROCESS_THICKNESS, 2.0 * length)) != PROCESS_OK ||
            (error = heat_series(body->directions[i].kind,
                                 properties->conductance * length / conductivity,
                                 &model->series[i])) != PROCESS_OK)
            return error;
        model->fourier_rate[i] = properties->diffusivity / (length * length);
    }
    return PROCESS_OK;
}

static double series_sum(const struct heat_series *series, double fourier)
{
    double sum = 0.0;
    if (fourier < fourier_unnoticed)
        return 1.0;
    for (size_t i = 0; i < HEAT_TERMS; i++) {
        double exponent = series->zeta[i] * series->zeta[i] * fourier;
        if (exponent > exponent_negligible)
            break;
        sum += series->c[i] * exp(-exponent);
    }
    return sum;
}

double heat_theta(const struct heat_model *model, double seconds)
{
    double theta = 1.0;
    if (!(seconds > 0.0))
        return 1.0;
    for (size_t i = 0; i < model->count; i++)
        theta *= series_sum(&model->series[i], model->fourier_rate[i] * seconds);
    return theta;
}

/*
 * Duhamel's integral for straight lines. With S(t) the integral of theta, the
 * centre lags its surroundings by
 *   sum over jumps   J theta(t - s)
 * + sum over lines   slope [S(t - start) - S(t - end)],
 * so a whole cook of a few lines costs a few look-ups a step. S is tabulated
 * once, by Simpson's rule, and read between its entries as the cubic that has
 * theta for its slope at both ends.
 */
struct integral {
    double step;
    size_t count;  /* entries */
    double *theta; /* theta at each entry */
    double *sum;   /* integral up to it */
};

static void integral_fill(struct integral *table, const struct heat_model *model, double step,
                          size_t count)
{
    *table = (struct integral){
        .step = step,
        .count = count,
        .theta = calloc(count, sizeof *table->theta),
        .sum = calloc(count, sizeof *table->sum),
    };
    table->theta[0] = 1.0;
    for (size_t k = 1; k < count; k++) {
        double before = table->theta[k - 1], middle = heat_theta(model, ((double)k - 0.5) * step);
        double theta = table->theta[k] = heat_theta(model, (double)k * step);
        table->sum[k] = table->sum[k - 1] + step / 6.0 * (before + 4.0 * middle + theta);
    }
}

static double integral_at(const struct integral *table, double seconds)
{
    if (seconds <= 0.0)
        return 0.0;
    double place = seconds / table->step;
    size_t i = (size_t)place;
    if (i + 1 >= table->count)
        return table->sum[table->count - 1];
    double x = place - (double)i;
    double rise = table->sum[i + 1] - table->sum[i];
    double left = table->step * table->theta[i] - rise;
    double right = rise - table->step * table->theta[i + 1];
    return table->sum[i] + x * rise + x * (1.0 - x) * (left * (1.0 - x) + right * x);
}

/* The temperature around the vessel at `seconds`, and by how much the centre is behind it. */
static double surroundings(const struct heat_model *model, const struct integral *table,
                           double start, const struct heat_point *history, size_t points,
                           double seconds, double *behind)
{
    double outside = history[0].celsius;
    *behind = outside != start ? (outside - start) * heat_theta(model, seconds) : 0.0;
    for (size_t i = 1; i < points && history[i - 1].seconds < seconds; i++) {
        const struct heat_point *from = &history[i - 1], *to = &history[i];
        double length = to->seconds - from->seconds;
        if (length == 0.0) {
            *behind += (to->celsius - from->celsius) * heat_theta(model, seconds - to->seconds);
            outside = to->celsius;
            continue;
        }
        double slope = (to->celsius - from->celsius) / length;
        double end = fmin(seconds, to->seconds);
        outside = from->celsius + slope * (end - from->seconds);
        if (slope != 0.0)
            *behind += slope * (integral_at(table, seconds - from->seconds) -
                                integral_at(table, seconds - end));
    }
    return outside;
}

enum process_error heat_curve(const struct heat_model *model, double start_celsius,
                              const struct heat_point *history, size_t points, double step,
                              bool cap, double *core, size_t count, double *outside)
{
    struct integral table;
    for (size_t i = 0; i < points; i++) {
        if (!isfinite(history[i].celsius) || !isfinite(history[i].seconds))
            return PROCESS_PROBE_CELSIUS;
        if (i > 0 && history[i].seconds < history[i - 1].seconds)
            return PROCESS_TIME_ORDER;
    }
    if (points == 0 || count == 0 || !(step > 0.0))
        return PROCESS_EMPTY;
    integral_fill(&table, model, step, count + 1);
    for (size_t i = 0; i < count; i++) {
        double behind;
        double around =
            surroundings(model, &table, start_celsius, history, points, (double)i * step, &behind);
        core[i] = cap ? fmin(around, around - behind) : around - behind;
        if (outside != NULL)
            outside[i] = around;
    }
    free(table.theta);
    free(table.sum);
    return PROCESS_OK;
}

/* ==== how hot the steam is =================================================================== */

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

/* ==== what it kills =========================================================================== */

double lethality_rate(double celsius, double reference_celsius, double z)
{
    return exp(M_LN10 * (celsius - reference_celsius) / z);
}

/* Integral of the rate over a unit of time in which the temperature goes in a straight line, so
 * that the rate goes from `from` to `to` = from e^ratio. */
static double mean_rate(double from, double to, double ratio)
{
    /* The logarithmic mean; its series where the difference drowns in rounding. */
    if (fabs(ratio) < 1e-3)
        return 0.5 * (from + to) * (1.0 - ratio * ratio / 12.0);
    return (to - from) / ratio;
}

void lethality_init(struct lethality *sum, double reference_celsius, double z, double longest_gap)
{
    *sum = (struct lethality){
        .reference_celsius = reference_celsius,
        .z = z,
        .longest_gap = longest_gap,
        .lowest = INFINITY,
        .highest = -INFINITY,
    };
}

enum process_error lethality_add(struct lethality *sum, double minutes, double celsius)
{
    enum process_error error = limit_check(PROCESS_PROBE_CELSIUS, celsius);
    if (error != PROCESS_OK)
        return error;
    if (!isfinite(minutes) || (sum->readings > 0 && minutes <= sum->last_time))
        return PROCESS_TIME_ORDER;
    double rate = lethality_rate(celsius, sum->reference_celsius, sum->z);
    if (sum->readings == 0) {
        sum->first_time = minutes;
    } else {
        double length = minutes - sum->last_time;
        if (length > sum->longest_gap) {
            sum->gaps++;
            sum->gap_minutes += length;
            sum->minutes += length * fmin(rate, sum->last_rate);
        } else {
            double ratio = M_LN10 * (celsius - sum->last_celsius) / sum->z;
            sum->minutes += length * mean_rate(sum->last_rate, rate, ratio);
        }
    }
    sum->last_time = minutes;
    sum->last_celsius = celsius;
    sum->last_rate = rate;
    sum->lowest = fmin(sum->lowest, celsius);
    sum->highest = fmax(sum->highest, celsius);
    sum->readings++;
    return PROCESS_OK;
}

enum process_error lethality_finish(const struct lethality *sum, double *minutes)
{
    if (sum->readings < 2)
        return PROCESS_EMPTY;
    *minutes = (double)sum->minutes;
    return PROCESS_OK;
}

FOR_WIDE_VECTORS void lethality_curve(const double *celsius, size_t count, double step_minutes,
                                      double reference_celsius, double z, double *total)
{
    double before = 0.0, here, next; /* rates at i-2, i-1, i */
    if (count == 0)
        return;
    double *rates SCOPED_FREE = memory_array(count + 1, sizeof *rates); /* and 0 past the end */
    for (size_t i = 0; i < count; i++)
        rates[i] = celsius[i] - reference_celsius;
    row_exp(rates, rates, M_LN10 / z, count);
    total[0] = 0.0;
    for (size_t i = 1; i < count; i++) {
        double area;
        here = rates[i - 1];
        next = rates[i];
        if (count < 3)
            area = mean_rate(here, next, log(next / here));
        else if (i == 1)
            area = (5.0 * here + 8.0 * next - rates[2]) / 12.0;
        else if (i + 1 == count)
            area = (5.0 * next + 8.0 * here - before) / 12.0;
        else
            area = (13.0 * (here + next) - before - rates[i + 1]) / 24.0;
        total[i] = total[i - 1] + step_minutes * area;
        before = here;
    }
}

double survivors(double load, double log_reduction)
{
    return load * exp(-M_LN10 * log_reduction);
}

double survivors_chance(double expected)
{
    return -expm1(-expected);
}

enum process_error survivors_target(double load, double chance, double *log_reduction)
{
    enum process_error error = limit_check(PROCESS_TARGET_CHANCE, chance);
    if (error != PROCESS_OK)
        return error;
    double allowed = -log1p(-chance);
    *log_reduction = load > allowed ? log10(load / allowed) : 0.0;
    return PROCESS_OK;
}
