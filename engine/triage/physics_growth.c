/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "triage/physics_internal.h"

/* How many points begin in the vessel. */
static bool starter_points(const struct rules *rules, const struct known_growth *known,
                           double litres, struct range *points, struct range *lag,
                           struct text *assumed)
{
    int index = known->starter;
    char words[96];

    if (index == RULES_NONE && rules->starter_count > 0) {
        index = 0; /* the first of the file is the commonest */
        physics_assume(assumed, rules->starters[0].name);
    }
    if (index == RULES_NONE)
        return false;
    const struct starter_kind *starter = &rules->starters[index];
    static const char *const units[] = {"ml", "g", "pieces"};
    double dose = known->dose;
    if (isnan(dose)) {
        dose = starter->usual * litres * physics_or(known->dose_relative, 1.0);
        snprintf(words, sizeof words, "about %.2g %s of it in a vessel", dose,
                 units[starter->unit]);
        physics_assume(assumed, words);
    }
    double each = dose / (1000.0 * litres);
    *points = (struct range){starter->points.low * each, starter->points.central * each,
                             starter->points.high * each};
    lag->low += starter->lag.low;
    lag->central += starter->lag.central;
    lag->high += starter->lag.high;
    return true;
}

static bool growth_known(const struct growth *growth)
{
    return growth->rate_lo > 0.0 && growth->rate_hi > 0.0 && !isnan(growth->t_opt) &&
           !isnan(growth->lag_lo) && !isnan(growth->lag_hi);
}

enum physics_answer physics_growth(const struct rules *rules, const struct known_growth *known,
                                   struct forecast *forecast, struct warmth *constant,
                                   struct text *assumed, struct physics_refusal *refusal)
{
    const struct forecast_rules *given = &rules->forecast;
    struct cook_setup body;
    double grams = NAN, bulk = physics_bulk(rules, known->grain.kind);
    char words[64];

    *refusal = (struct physics_refusal){PROCESS_OK, NAN};
    if (known->species == RULES_NONE || !growth_known(&rules->species[known->species].growth))
        return PHYSICS_NO_SPECIES;
    const struct growth *growth = &rules->species[known->species].growth;
    if (!(given->kernels > 0.0) ||
        !physics_vessel(rules, &known->vessel, bulk, &body, &grams, assumed))
        return PHYSICS_NO_RULES;
    double litres = grams / 1000.0 / bulk;
    *forecast = (struct forecast){
        .cardinals = {growth->t_min, growth->t_opt, growth->t_max},
        .rate = {growth->rate_lo, sqrt(growth->rate_lo * growth->rate_hi), growth->rate_hi},
        .lag = {growth->lag_lo, 0.5 * (growth->lag_lo + growth->lag_hi), growth->lag_hi},
        .temperature_doubt = given->temperature_doubt,
        .volume = 1000.0 * litres,
        .kernels = given->kernels,
        .warmth = known->warmth,
        .warmth_count = known->warmth_count,
        .shakes = known->shakes,
        .shake_count = known->shake_count,
    };
    if (!starter_points(rules, known, litres, &forecast->points, &forecast->lag, assumed))
        return PHYSICS_NO_RULES;
    if (known->warmth == NULL) {
        *constant = (struct warmth){0.0, physics_or(known->temperature, given->temperature)};
        forecast->warmth = constant;
        forecast->warmth_count = 1;
        if (isnan(known->temperature)) {
            snprintf(words, sizeof words, "%.0f degC", given->temperature);
            physics_assume(assumed, words);
        }
    }
    refusal->fault = forecast_check(forecast);
    refusal->value = refusal->fault == FAULT_POINTS   ? forecast->points.central
                     : refusal->fault == FAULT_VOLUME ? forecast->volume
                                                      : forecast->warmth[0].celsius;
    return refusal->fault == PROCESS_OK ? PHYSICS_OK : PHYSICS_REFUSED;
}
