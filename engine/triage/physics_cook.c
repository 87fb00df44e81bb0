/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "triage/physics_internal.h"

static struct range said_or(double said, double doubt, const struct range *assumed)
{
    if (isnan(said))
        return *assumed;
    return (struct range){said * (1.0 - doubt), said, said * (1.0 + doubt)};
}

static void cook_organisms(const struct rules *rules, struct cook_setup *setup,
                           struct cook_organism *organisms)
{
    size_t count =
        rules->organism_count < COOK_MAX_ORGANISMS ? rules->organism_count : COOK_MAX_ORGANISMS;
    for (size_t i = 0; i < count; i++) {
        const struct organism *from = &rules->organisms[i];
        organisms[i] = (struct cook_organism){.d_minutes = from->d_minutes,
                                              .z = from->z,
                                              .reference_celsius = from->reference,
                                              .per_gram = from->per_gram,
                                              .counts = from->role != ORGANISM_INDICATOR};
    }
    setup->organisms = organisms;
    setup->organism_count = count;
}

static void cook_packing(const struct rules *rules, int packing, struct cook_setup *setup)
{
    for (size_t i = 0; i < rules->cook.packing_count; i++)
        if (packing >= 0 && rules->cook.packings[i].value == (size_t)packing)
            setup->body = heat_thicken(&setup->body, rules->cook.packings[i].thickness);
}

/* Grams of grain as bought in one vessel that holds `grams` hydrated. */
static double dry_grams(const struct rules *rules, const struct known_grain *grain, double grams)
{
    double grain_moisture = physics_own_moisture(rules, grain), dry, water;
    double target = physics_moisture(rules, grain, NULL);

    if (!isnan(grain->dry))
        return grain->dry;
    if (isnan(target)) {
        struct moisture_band band = physics_band(rules, grain->kind);
        target = 0.5 * (band.lo + band.hi);
    }
    return moisture_recipe(grams, grain_moisture, target, &dry, &water) == PROCESS_OK ? dry : grams;
}

static void say_assumed(const struct rules *rules, const struct known_cook *known,
                        struct text *assumed)
{
    const struct cook_rules *cook = &rules->cook;
    char words[96];

    if (isnan(known->altitude) && isnan(known->barometer))
        physics_assume(assumed, "sea level");
    if (isnan(known->come_up)) {
        snprintf(words, sizeof words, "come-up of %.0f to %.0f min", cook->come_up.low,
                 cook->come_up.high);
        physics_assume(assumed, words);
    }
    if (isnan(known->air)) {
        snprintf(words, sizeof words, "up to %.0f %% air left in", 100.0 * cook->air.high);
        physics_assume(assumed, words);
    }
    if (isnan(known->start)) {
        snprintf(words, sizeof words, "grain at %.0f degC when loaded", cook->start);
        physics_assume(assumed, words);
    }
    snprintf(words, sizeof words, "heat through the grain at %.2g to %.2g m2/s",
             cook->diffusivity.low, cook->diffusivity.high);
    physics_assume(assumed, words);
}

/* Pressure, air, and how long things take. */
static void cook_times(const struct cook_rules *cook, const struct known_cook *known,
                       struct cook_setup *setup)
{
    double air_doubt = cook->air_doubt >= 1.0 ? cook->air_doubt : 1.0;

    setup->steam = (struct steam_conditions){
        .gauge_kpa = physics_or(known->gauge, 15.0 * STEAM_KPA_PER_PSI),
        .altitude_m = physics_or(known->altitude, 0.0),
        .barometer_kpa = known->barometer,
        .rated_kpa = known->rated,
    };
    setup->air = isnan(known->air) ? cook->air
                                   : (struct range){known->air / air_doubt, known->air,
                                                    fmin(0.9, known->air * air_doubt)};
    setup->come_up = said_or(known->come_up, cook->come_up_doubt, &cook->come_up);
    setup->cool = (struct range){0.0, 0.0, physics_or(known->cool, cook->cool)};
    setup->start_celsius = physics_or(known->start, cook->start);
}

enum physics_answer physics_cook(const struct rules *rules, const struct known_cook *known,
                                 struct cook_setup *setup, struct cook_organism *organisms,
                                 struct text *assumed, struct physics_refusal *refusal)
{
    const struct cook_rules *cook = &rules->cook;
    double grams = NAN, bulk = physics_bulk(rules, known->grain.kind);

    *refusal = (struct physics_refusal){PROCESS_OK, NAN};
    if (isnan(known->minutes))
        return isnan(known->gauge) ? PHYSICS_NO_COOK : PHYSICS_NO_MINUTES;
    /* Zero where the rules have no such block. */
    if (!(cook->diffusivity.central > 0.0) || rules->organism_count == 0)
        return PHYSICS_NO_RULES;
    *setup = (struct cook_setup){
        .hold = known->minutes,
        .diffusivity = cook->diffusivity,
        .adequate_f0 = cook->judged_f0,
        .adequate_diffusivity = cook->judged_diffusivity,
        .heat_capacity = cook->heat_capacity,
        .vessels = physics_or(known->vessels, 1.0),
        .target = physics_or(known->target, cook->target),
    };
    if (!physics_vessel(rules, &known->vessel, bulk, setup, &grams, assumed))
        return PHYSICS_NO_RULES;
    if (isnan(known->gauge))
        physics_assume(assumed, "15 psi at the gauge");
    cook_packing(rules, known->packing, setup);
    cook_times(cook, known, setup);
    cook_organisms(rules, setup, organisms);
    setup->dry_grams = dry_grams(rules, &known->grain, grams);
    say_assumed(rules, known, assumed);
    refusal->fault = cook_check(setup, &refusal->value);
    return refusal->fault == PROCESS_OK ? PHYSICS_OK : PHYSICS_REFUSED;
}
