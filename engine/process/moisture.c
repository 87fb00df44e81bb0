/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/moisture.h"

#include <gsl/gsl_cdf.h>

double moisture_dry_basis(double wet_basis)
{
    return 100.0 * wet_basis / (100.0 - wet_basis);
}

static enum process_error check_grain(double grain, double grain_moisture)
{
    enum process_error error = limit_check(PROCESS_MASS, grain);
    if (error == PROCESS_OK && grain == 0.0)
        error = PROCESS_MASS;
    return error == PROCESS_OK ? limit_check(PROCESS_MOISTURE, grain_moisture) : error;
}

enum process_error moisture_mixed(double grain, double grain_moisture, double water,
                                  double *moisture)
{
    enum process_error error = check_grain(grain, grain_moisture);
    if (error == PROCESS_OK)
        error = limit_check(PROCESS_MASS, water);
    if (error != PROCESS_OK)
        return error;
    double result = (grain * grain_moisture + 100.0 * water) / (grain + water);
    if ((error = limit_check(PROCESS_MOISTURE, result)) == PROCESS_OK)
        *moisture = result;
    return error;
}

enum process_error moisture_soaked(double before, double grain_moisture, double after,
                                   double *moisture)
{
    enum process_error error = limit_check(PROCESS_MASS, after);
    if (error != PROCESS_OK)
        return error;
    if (after < before)
        return PROCESS_MOISTURE_DROP; /* soaking loses a little starch, never weight */
    return moisture_mixed(before, grain_moisture, after - before, moisture);
}

/* Water can be added to reach a target, never taken away. */
static enum process_error check_target(double mass, double grain_moisture, double target)
{
    enum process_error error = check_grain(mass, grain_moisture);
    if (error == PROCESS_OK)
        error = limit_check(PROCESS_MOISTURE, target);
    if (error == PROCESS_OK && target < grain_moisture)
        error = PROCESS_MOISTURE_DROP;
    return error;
}

enum process_error moisture_water_for(double grain, double grain_moisture, double target,
                                      double *water)
{
    enum process_error error = check_target(grain, grain_moisture, target);
    if (error != PROCESS_OK)
        return error;
    *water = grain * (target - grain_moisture) / (100.0 - target);
    return PROCESS_OK;
}

enum process_error moisture_recipe(double hydrated, double grain_moisture, double target,
                                   double *grain, double *water)
{
    enum process_error error = check_target(hydrated, grain_moisture, target);
    if (error != PROCESS_OK)
        return error;
    *grain = hydrated * (100.0 - target) / (100.0 - grain_moisture);
    *water = hydrated - *grain;
    return PROCESS_OK;
}

void moisture_judge(double grain, double grain_moisture, double moisture,
                    const struct moisture_band *band, struct moisture_verdict *verdict)
{
    double dry = grain * (100.0 - grain_moisture) / 100.0;
    double water = dry * moisture_dry_basis(moisture) / 100.0;
    *verdict = (struct moisture_verdict){.place = MOISTURE_WITHIN};
    if (moisture < band->lo) {
        verdict->place = MOISTURE_BELOW;
        verdict->correction = dry * moisture_dry_basis(band->lo) / 100.0 - water;
    } else if (moisture > band->hi) {
        verdict->place = MOISTURE_ABOVE;
        verdict->correction = dry * moisture_dry_basis(band->hi) / 100.0 - water;
    }
    if (moisture > band->raw_limit)
        verdict->free_water = water - dry * moisture_dry_basis(band->raw_limit) / 100.0;
}

double moisture_chance_above(double moisture, double doubt, double edge)
{
    if (!(doubt > 0.0))
        return moisture > edge ? 1.0 : 0.0;
    return gsl_cdf_ugaussian_Q((edge - moisture) / doubt);
}

double moisture_fill(double hydrated, double bulk, double litres)
{
    return hydrated / 1000.0 / bulk / litres;
}
