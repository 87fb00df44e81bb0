/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/bands_internal.h"

#include <math.h>
#include <string.h>

#include "process/cook.h"
#include "process/moisture.h"
#include "review/dataset.h"
#include "triage/physics.h"

static const char *const lethality_names[] = {"adequate", "marginal", "not enough"};
static const char *const moisture_names[] = {"below the band", "within the band", "above the band"};
static const char *const dose_names[] = {"under half the usual", "about usual",
                                         "over twice the usual"};

const struct bands bands_lethality = {{MOVED_SURVIVORS, MOVED_NONE}, 3, lethality_names};
const struct bands bands_moisture = {{MOVED_WET, MOVED_DRY}, 3, moisture_names};
const struct bands bands_dose = {{MOVED_DOSE, MOVED_NONE}, 3, dose_names};

static double logit(double p)
{
    static const double sure = 0.998;
    p = fmin(sure, fmax(1.0 - sure, p));
    return log(p / (1.0 - p));
}

/* As triage/compute.h: trust (logit p - logit usual), at most so far. */
static double moved(const struct rules *rules, enum moved_by by, double chance)
{
    const struct move *move = &rules->moves[by];
    if (isnan(chance) || !(move->trust > 0.0))
        return 0.0;
    double shift = move->trust * (logit(chance) - logit(move->usual));
    return fmin(move->most, fmax(-move->most, shift));
}

/* ---- the cook -------------------------------------------------------------------------------- */

uint32_t band_of_cook(const struct rules *rules, const struct cook *cook, int vessel, double grams,
                      int grain, double moves[2])
{
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct physics_refusal refusal;
    struct cook_result result;
    struct cook_setup setup;
    struct known_cook known;
    struct text assumed;
    double value;

    moves[0] = moves[1] = 0.0;
    if (isnan(cook->gauge) || isnan(cook->minutes))
        return LEVEL_NONE;
    known_cook_init(&known);
    known.vessel.kind = vessel;
    known.vessel.grams = grams;
    known.grain.kind = grain;
    known.gauge = cook->gauge;
    known.minutes = cook->minutes;
    known.altitude = cook->altitude;
    known.air = cook->air;
    if (rules->feeder[FEEDS_LOAD] != RULES_NONE)
        known.packing = rules_value(&rules->observables[rules->feeder[FEEDS_LOAD]], cook->load);
    text_init(&assumed);
    enum physics_answer answer = physics_cook(rules, &known, &setup, organisms, &assumed, &refusal);
    text_release(&assumed);
    if (answer != PHYSICS_OK || cook_check(&setup, &value) != PROCESS_OK ||
        cook_compute(&setup, &result) != PROCESS_OK)
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_SURVIVORS, result.chance_mean);
    return (uint32_t)result.verdict;
}

/* ---- the mix --------------------------------------------------------------------------------- */

uint32_t band_of_mix(const struct rules *rules, const struct batch *batch, const struct lot *lot,
                     double moves[2])
{
    struct known_grain grain;
    struct text assumed;
    double doubt = fmax(0.1, rules->forecast.moisture_doubt);

    moves[0] = moves[1] = 0.0;
    known_grain_init(&grain);
    grain.kind = lot != NULL ? rules_grain(rules, lot->grain) : RULES_NONE;
    grain.own_moisture = lot != NULL ? lot->moisture : NAN;
    grain.dry = batch->dry;
    grain.water = batch->water;
    text_init(&assumed);
    double moisture = physics_moisture(rules, &grain, &assumed);
    text_release(&assumed);
    struct moisture_band band = physics_band(rules, grain.kind);
    if (isnan(moisture) || isnan(band.lo))
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_WET, moisture_chance_above(moisture, doubt, band.hi));
    moves[1] = moved(rules, MOVED_DRY, 1.0 - moisture_chance_above(moisture, doubt, band.lo));
    return moisture < band.lo ? 0 : moisture > band.hi ? 2 : 1;
}

/* ---- the dose -------------------------------------------------------------------------------- */

uint32_t band_of_dose(const struct rules *rules, const struct batch *batch, int starter_kind,
                      int grain, double grams, double moves[2])
{
    /* Half and twice: the spread of what books call usual. Expert judgement. */
    static const double small = 0.5, large = 2.0;

    moves[0] = moves[1] = 0.0;
    if (starter_kind == RULES_NONE || isnan(batch->dose) || isnan(grams))
        return LEVEL_NONE;
    double litres = grams / 1000.0 / physics_bulk(rules, grain);
    double relative = batch->dose / (rules->starters[starter_kind].usual * litres);
    if (!isfinite(relative) || relative < 0.0)
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_DOSE, 1.0 / (1.0 + relative * relative));
    return relative < small ? 0 : relative > large ? 2 : 1;
}
