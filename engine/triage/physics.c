/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/physics.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>

/* What was said, or else what is assumed. */
static double said_or(double said, double assumed)
{
    return isnan(said) ? assumed : said;
}

/* Adds a part to what was assumed; NULL keeps no account. */
__attribute__((format(printf, 2, 3))) static void assume(struct text *assumed, const char *format,
                                                         ...)
{
    va_list arguments;
    if (assumed == NULL)
        return;
    va_start(arguments, format);
    char *words = text_vformat(format, arguments);
    va_end(arguments);
    text_printf(assumed, "%s%s", assumed->length > 0 ? "; " : "", words);
    free(words);
}

/* ---- nothing said yet ------------------------------------------------------------------------ */

void known_vessel_init(struct known_vessel *vessel)
{
    *vessel = (struct known_vessel){
        .kind = RULES_NONE, .grams = NAN, .own = {NAN, NAN, NAN}, .litres = NAN};
}

void known_grain_init(struct known_grain *grain)
{
    *grain = (struct known_grain){
        .kind = RULES_NONE, .own_moisture = NAN, .moisture = NAN, .dry = NAN, .water = NAN};
}

void known_cook_init(struct known_cook *cook)
{
    known_vessel_init(&cook->vessel);
    known_grain_init(&cook->grain);
    cook->gauge = cook->rated = cook->minutes = cook->altitude = cook->barometer = NAN;
    cook->air = cook->come_up = cook->cool = cook->start = cook->vessels = cook->target = NAN;
    cook->packing = RULES_NONE;
}

void known_growth_init(struct known_growth *growth)
{
    *growth = (struct known_growth){.species = RULES_NONE,
                                    .starter = RULES_NONE,
                                    .dose = NAN,
                                    .dose_relative = NAN,
                                    .temperature = NAN};
    known_vessel_init(&growth->vessel);
    known_grain_init(&growth->grain);
}

/* ---- grain and vessel ------------------------------------------------------------------------ */

struct moisture_band physics_band(const struct rules *rules, int grain)
{
    struct moisture_band band = {INFINITY, -INFINITY, NAN};
    if (grain != RULES_NONE) {
        const struct grain *kind = &rules->grains[grain];
        return (struct moisture_band){kind->target_lo, kind->target_hi, kind->raw_limit};
    }
    for (size_t i = 0; i < rules->grain_count; i++) {
        band.lo = fmin(band.lo, rules->grains[i].target_lo);
        band.hi = fmax(band.hi, rules->grains[i].target_hi);
    }
    if (rules->grain_count == 0)
        band.lo = band.hi = NAN;
    return band;
}

/* Of a grain, or the mean of all by how common they are. */
static double grain_mean(const struct rules *rules, int grain, size_t place)
{
    double sum = 0.0, share = 0.0;
    for (size_t i = 0; i < rules->grain_count; i++) {
        const struct grain *kind = &rules->grains[i];
        double number = *(const double *)(const void *)((const char *)kind + place);
        if (grain == (int)i)
            return number;
        sum += kind->base * number;
        share += kind->base;
    }
    return share > 0.0 ? sum / share : NAN;
}

double physics_own_moisture(const struct rules *rules, const struct known_grain *grain)
{
    return said_or(grain->own_moisture,
                   grain_mean(rules, grain->kind, offsetof(struct grain, moisture)));
}

double physics_bulk(const struct rules *rules, int grain)
{
    return grain_mean(rules, grain, offsetof(struct grain, bulk));
}

double physics_moisture(const struct rules *rules, const struct known_grain *grain,
                        struct text *assumed)
{
    double moisture;
    if (!isnan(grain->moisture))
        return grain->moisture;
    double own = physics_own_moisture(rules, grain);
    if (isnan(grain->dry) || isnan(grain->water) ||
        moisture_mixed(grain->dry, own, grain->water, &moisture) != PROCESS_OK)
        return NAN;
    if (isnan(grain->own_moisture))
        assume(assumed, "the grain as bought at %.3g %%", own);
    return moisture;
}

int physics_nearest_vessel(const struct rules *rules, enum vessel_shape shape, double grams)
{
    int nearest = RULES_NONE;
    double least = INFINITY;
    for (size_t i = 0; i < rules->vessel_count; i++) {
        const struct vessel_kind *kind = &rules->vessels[i];
        double apart = fabs(log(1000.0 * kind->mass_kg / grams));
        if (kind->shape == shape && apart < least) {
            least = apart;
            nearest = (int)i;
        }
    }
    return nearest;
}

double physics_grams(const struct rules *rules, const struct known_vessel *vessel)
{
    if (!isnan(vessel->grams) || vessel->kind == RULES_NONE)
        return vessel->grams;
    return 1000.0 * rules->vessels[vessel->kind].mass_kg;
}

/* Body, conductance and grams of what was said about the vessel. */
static bool vessel_of(const struct rules *rules, const struct known_vessel *said, double bulk,
                      struct cook_setup *setup, double *grams, struct text *assumed)
{
    static const double pi = 3.14159265358979323846;
    struct known_vessel vessel = *said;
    const double *size = vessel.own;
    bool own = !isnan(size[0]), round = vessel.own_shape == SHAPE_CYLINDER;
    if (vessel.kind == RULES_NONE && own) {
        double litres = round ? 1000.0 * pi * size[0] * size[0] * size[1]
                              : 1000.0 * size[0] * size[1] * size[2];
        if (isnan(vessel.grams))
            vessel.grams = 1000.0 * bulk * litres;
        vessel.kind = physics_nearest_vessel(rules, vessel.own_shape, vessel.grams);
    } else if (vessel.kind == RULES_NONE) {
        /* The commonest kind, when nothing was said. */
        for (size_t i = 0; i < rules->vessel_count; i++)
            if (vessel.kind == RULES_NONE ||
                rules->vessels[i].base > rules->vessels[vessel.kind].base)
                vessel.kind = (int)i;
        if (vessel.kind != RULES_NONE)
            assume(assumed, "%s", rules->vessels[vessel.kind].name);
    }
    if (vessel.kind == RULES_NONE)
        return false;
    const struct vessel_kind *kind = &rules->vessels[vessel.kind];
    /* Filled with more or less than usual: a jar higher, a bag larger every way. */
    double ratio = isnan(vessel.grams) ? 1.0 : vessel.grams / (1000.0 * kind->mass_kg);
    double scale = cbrt(ratio);
    if (own)
        setup->body =
            round ? heat_cylinder(size[0], size[1]) : heat_brick(size[0], size[1], size[2]);
    else if (kind->shape == SHAPE_CYLINDER)
        setup->body = heat_cylinder(kind->radius, kind->height * ratio);
    else
        setup->body =
            heat_brick(kind->sides[0] * scale, kind->sides[1] * scale, kind->sides[2] * scale);
    setup->conductance = kind->wall_h;
    *grams = physics_grams(rules, &vessel);
    return true;
}

void physics_explain(struct text *out, enum physics_answer answer,
                     const struct physics_refusal *refusal)
{
    static const char *const missing[] = {
        [PHYSICS_NO_RULES] = "the rules hold no assumptions to compute this from",
        [PHYSICS_NO_COOK] = "the cook is unknown: neither pressure nor minutes were said",
        [PHYSICS_NO_MINUTES] = "the cook is unknown: the minutes at pressure were not said",
        [PHYSICS_NO_SPECIES] = "the mushroom is unknown, or how fast it grows",
    };
    char message[256];
    if (answer == PHYSICS_REFUSED)
        limit_message(message, sizeof message, refusal->fault, refusal->value);
    if (answer != PHYSICS_OK)
        text_puts(out, answer == PHYSICS_REFUSED ? message : missing[answer]);
}

/* ---- the cook -------------------------------------------------------------------------------- */

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
        .vessels = said_or(known->vessels, 1.0),
        .target = said_or(known->target, cook->target),
    };
    if (!vessel_of(rules, &known->vessel, bulk, setup, &grams, assumed))
        return PHYSICS_NO_RULES;
    if (isnan(known->gauge))
        assume(assumed, "15 psi at the gauge");
    for (size_t i = 0; i < rules->cook.packing_count; i++)
        if (known->packing >= 0 && rules->cook.packings[i].value == (size_t)known->packing)
            setup->body = heat_thicken(&setup->body, rules->cook.packings[i].thickness);
    setup->steam = (struct steam_conditions){
        .gauge_kpa = said_or(known->gauge, 15.0 * STEAM_KPA_PER_PSI),
        .altitude_m = said_or(known->altitude, 0.0),
        .barometer_kpa = known->barometer,
        .rated_kpa = known->rated,
    };
    double air_doubt = cook->air_doubt >= 1.0 ? cook->air_doubt : 1.0, up = known->come_up;
    setup->air = isnan(known->air) ? cook->air
                                   : (struct range){known->air / air_doubt, known->air,
                                                    fmin(0.9, known->air * air_doubt)};
    setup->come_up = isnan(up) ? cook->come_up
                               : (struct range){up * (1.0 - cook->come_up_doubt), up,
                                                up * (1.0 + cook->come_up_doubt)};
    setup->cool = (struct range){0.0, 0.0, said_or(known->cool, cook->cool)};
    setup->start_celsius = said_or(known->start, cook->start);
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
    setup->dry_grams = dry_grams(rules, &known->grain, grams);
    if (isnan(known->altitude) && isnan(known->barometer))
        assume(assumed, "sea level");
    if (isnan(known->come_up))
        assume(assumed, "come-up of %.0f to %.0f min", cook->come_up.low, cook->come_up.high);
    if (isnan(known->air))
        assume(assumed, "up to %.0f %% air left in", 100.0 * cook->air.high);
    if (isnan(known->start))
        assume(assumed, "grain at %.0f degC when loaded", cook->start);
    assume(assumed, "heat through the grain at %.2g to %.2g m2/s", cook->diffusivity.low,
           cook->diffusivity.high);
    refusal->fault = cook_check(setup, &refusal->value);
    return refusal->fault == PROCESS_OK ? PHYSICS_OK : PHYSICS_REFUSED;
}

/* ---- the spawn run --------------------------------------------------------------------------- */

/* How many points begin in the vessel. */
static bool starter_points(const struct rules *rules, const struct known_growth *known,
                           double litres, struct range *points, struct range *lag,
                           struct text *assumed)
{
    int index = known->starter;
    if (index == RULES_NONE && rules->starter_count > 0) {
        index = 0; /* the first of the file is the commonest */
        assume(assumed, "%s", rules->starters[0].name);
    }
    if (index == RULES_NONE)
        return false;
    const struct starter_kind *starter = &rules->starters[index];
    static const char *const units[] = {"ml", "g", "pieces"};
    double dose = known->dose;
    if (isnan(dose)) {
        dose = starter->usual * litres * said_or(known->dose_relative, 1.0);
        assume(assumed, "about %.2g %s of it in a vessel", dose, units[starter->unit]);
    }
    double each = dose / (1000.0 * litres);
    *points = (struct range){starter->points.low * each, starter->points.central * each,
                             starter->points.high * each};
    lag->low += starter->lag.low;
    lag->central += starter->lag.central;
    lag->high += starter->lag.high;
    return true;
}

enum physics_answer physics_growth(const struct rules *rules, const struct known_growth *known,
                                   struct forecast *forecast, struct warmth *constant,
                                   struct text *assumed, struct physics_refusal *refusal)
{
    const struct forecast_rules *given = &rules->forecast;
    struct cook_setup body;
    double grams = NAN, bulk = physics_bulk(rules, known->grain.kind);
    *refusal = (struct physics_refusal){PROCESS_OK, NAN};
    if (known->species == RULES_NONE)
        return PHYSICS_NO_SPECIES;
    const struct growth *growth = &rules->species[known->species].growth;
    if (!(growth->rate_lo > 0.0) || !(growth->rate_hi > 0.0) || isnan(growth->t_opt) ||
        isnan(growth->lag_lo) || isnan(growth->lag_hi))
        return PHYSICS_NO_SPECIES;
    if (!(given->kernels > 0.0) || !vessel_of(rules, &known->vessel, bulk, &body, &grams, assumed))
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
        *constant = (struct warmth){0.0, said_or(known->temperature, given->temperature)};
        forecast->warmth = constant;
        forecast->warmth_count = 1;
        if (isnan(known->temperature))
            assume(assumed, "%.0f degC", given->temperature);
    }
    refusal->fault = forecast_check(forecast);
    refusal->value = refusal->fault == PROCESS_POINTS   ? forecast->points.central
                     : refusal->fault == PROCESS_VOLUME ? forecast->volume
                                                        : forecast->warmth[0].celsius;
    return refusal->fault == PROCESS_OK ? PHYSICS_OK : PHYSICS_REFUSED;
}
