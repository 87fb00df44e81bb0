/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is known of grain and vessel, and what stands in for what is not. */
#include "triage/physics.h"

#include <math.h>
#include <stdio.h>

#include "triage/physics_internal.h"

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

void physics_assume(struct text *assumed, const char *words)
{
    if (assumed != NULL)
        text_printf(assumed, "%s%s", assumed->length > 0 ? "; " : "", words);
}

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

double physics_own_moisture(const struct rules *rules, const struct known_grain *grain)
{
    double sum = 0.0, share = 0.0;

    if (!isnan(grain->own_moisture))
        return grain->own_moisture;
    if (grain->kind != RULES_NONE)
        return rules->grains[grain->kind].moisture;
    for (size_t i = 0; i < rules->grain_count; i++) {
        sum += rules->grains[i].base * rules->grains[i].moisture;
        share += rules->grains[i].base;
    }
    return share > 0.0 ? sum / share : NAN;
}

double physics_bulk(const struct rules *rules, int grain)
{
    double sum = 0.0, share = 0.0;

    if (grain != RULES_NONE)
        return rules->grains[grain].bulk;
    for (size_t i = 0; i < rules->grain_count; i++) {
        sum += rules->grains[i].base * rules->grains[i].bulk;
        share += rules->grains[i].base;
    }
    return share > 0.0 ? sum / share : NAN;
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
    if (isnan(grain->own_moisture)) {
        char words[64];
        snprintf(words, sizeof words, "the grain as bought at %.3g %%", own);
        physics_assume(assumed, words);
    }
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

/* The commonest kind, when nothing was said. */
static int usual_vessel(const struct rules *rules)
{
    int usual = RULES_NONE;
    for (size_t i = 0; i < rules->vessel_count; i++)
        if (usual == RULES_NONE || rules->vessels[i].base > rules->vessels[usual].base)
            usual = (int)i;
    return usual;
}

static struct heat_body own_body(const struct known_vessel *vessel)
{
    if (vessel->own_shape == SHAPE_CYLINDER)
        return heat_cylinder(vessel->own[0], vessel->own[1]);
    return heat_brick(vessel->own[0], vessel->own[1], vessel->own[2]);
}

/* The kind's body, filled with more or less than usual: a jar higher, a bag larger every way. */
static struct heat_body kind_body(const struct vessel_kind *kind, double grams)
{
    double ratio = isnan(grams) ? 1.0 : grams / (1000.0 * kind->mass_kg);
    if (kind->shape == SHAPE_CYLINDER)
        return heat_cylinder(kind->radius, kind->height * ratio);
    double scale = cbrt(ratio);
    return heat_brick(kind->sides[0] * scale, kind->sides[1] * scale, kind->sides[2] * scale);
}

static double body_litres(const struct known_vessel *vessel)
{
    static const double pi = 3.14159265358979323846;
    if (vessel->own_shape == SHAPE_CYLINDER)
        return 1000.0 * pi * vessel->own[0] * vessel->own[0] * vessel->own[1];
    return 1000.0 * vessel->own[0] * vessel->own[1] * vessel->own[2];
}

/* Body, conductance and grams of what was said about the vessel. */
bool physics_vessel(const struct rules *rules, const struct known_vessel *said, double bulk,
                    struct cook_setup *setup, double *grams, struct text *assumed)
{
    struct known_vessel vessel = *said;
    bool own = !isnan(vessel.own[0]);

    if (vessel.kind == RULES_NONE && own) {
        double guess = isnan(vessel.grams) ? 1000.0 * bulk * body_litres(&vessel) : vessel.grams;
        vessel.kind = physics_nearest_vessel(rules, vessel.own_shape, guess);
        vessel.grams = guess;
    } else if (vessel.kind == RULES_NONE) {
        vessel.kind = usual_vessel(rules);
        if (vessel.kind != RULES_NONE)
            physics_assume(assumed, rules->vessels[vessel.kind].name);
    }
    if (vessel.kind == RULES_NONE)
        return false;
    const struct vessel_kind *kind = &rules->vessels[vessel.kind];
    setup->body = own ? own_body(&vessel) : kind_body(kind, vessel.grams);
    setup->conductance = kind->wall_h;
    *grams = physics_grams(rules, &vessel);
    return true;
}

/* ---- why there is no answer ------------------------------------------------------------------ */

void physics_explain(struct text *out, enum physics_answer answer,
                     const struct physics_refusal *refusal)
{
    char message[256];

    switch (answer) {
    case PHYSICS_OK:
        break;
    case PHYSICS_NO_RULES:
        text_puts(out, "the rules hold no assumptions to compute this from");
        break;
    case PHYSICS_NO_COOK:
        text_puts(out, "the cook is unknown: neither pressure nor minutes were said");
        break;
    case PHYSICS_NO_MINUTES:
        text_puts(out, "the cook is unknown: the minutes at pressure were not said");
        break;
    case PHYSICS_NO_SPECIES:
        text_puts(out, "the mushroom is unknown, or how fast it grows");
        break;
    case PHYSICS_REFUSED:
        limit_message(message, sizeof message, refusal->fault, refusal->value);
        text_puts(out, message);
        break;
    }
}
