/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/moisture.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

double moisture_dry_basis(double wet_basis)
{
    return 100.0 * wet_basis / (100.0 - wet_basis);
}

static enum process_fault check_grain(double grain, double grain_moisture)
{
    enum process_fault fault = limit_check(FAULT_MASS, grain);
    if (fault == PROCESS_OK && grain == 0.0)
        fault = FAULT_MASS;
    return fault == PROCESS_OK ? limit_check(FAULT_MOISTURE, grain_moisture) : fault;
}

enum process_fault moisture_mixed(double grain, double grain_moisture, double water,
                                  double *moisture)
{
    enum process_fault fault = check_grain(grain, grain_moisture);
    if (fault == PROCESS_OK)
        fault = limit_check(FAULT_MASS, water);
    if (fault != PROCESS_OK)
        return fault;
    double result = (grain * grain_moisture + 100.0 * water) / (grain + water);
    if ((fault = limit_check(FAULT_MOISTURE, result)) == PROCESS_OK)
        *moisture = result;
    return fault;
}

enum process_fault moisture_soaked(double before, double grain_moisture, double after,
                                   double *moisture)
{
    enum process_fault fault = limit_check(FAULT_MASS, after);
    if (fault != PROCESS_OK)
        return fault;
    if (after < before)
        return FAULT_MOISTURE_DROP; /* soaking loses a little starch, never weight */
    return moisture_mixed(before, grain_moisture, after - before, moisture);
}

/* Water can be added to reach a target, never taken away. */
static enum process_fault check_target(double mass, double grain_moisture, double target)
{
    enum process_fault fault = check_grain(mass, grain_moisture);
    if (fault == PROCESS_OK)
        fault = limit_check(FAULT_MOISTURE, target);
    if (fault == PROCESS_OK && target < grain_moisture)
        fault = FAULT_MOISTURE_DROP;
    return fault;
}

enum process_fault moisture_water_for(double grain, double grain_moisture, double target,
                                      double *water)
{
    enum process_fault fault = check_target(grain, grain_moisture, target);
    if (fault != PROCESS_OK)
        return fault;
    *water = grain * (target - grain_moisture) / (100.0 - target);
    return PROCESS_OK;
}

enum process_fault moisture_recipe(double hydrated, double grain_moisture, double target,
                                   double *grain, double *water)
{
    enum process_fault fault = check_target(hydrated, grain_moisture, target);
    if (fault != PROCESS_OK)
        return fault;
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
