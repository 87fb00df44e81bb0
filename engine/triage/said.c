/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The facts of a case in the terms of the physics. */
#include <math.h>

#include "triage/said_internal.h"

/* The one value said to hold, or RULES_NONE. */
static int value_said(const struct fact *fact)
{
    uint32_t seen = fact->observation.seen;
    int value = 0;

    if (seen == 0 || (seen & (seen - 1)) != 0)
        return RULES_NONE;
    while ((seen >>= 1) != 0)
        value++;
    return value;
}

/* The quantity said, or what the rules give for the value said; NAN for neither. */
static double number_said(const struct rules *rules, const struct fact *fact)
{
    int value = value_said(fact);

    if (fact->has_number)
        return 0.5 * (fact->number.lo + fact->number.hi);
    return value == RULES_NONE ? NAN : rules->observables[fact->observable].values[value].parameter;
}

static int starter_said(const struct rules *rules, int value)
{
    for (size_t i = 0; i < rules->starter_count; i++)
        if (value != RULES_NONE && rules->starters[i].value == (size_t)value)
            return (int)i;
    return RULES_NONE;
}

static void take_number(struct said *said, enum feeds feeds, double number)
{
    switch (feeds) {
    case FEEDS_DAY:
        said->day = number;
        break;
    case FEEDS_COVERAGE:
        said->coverage = number;
        break;
    case FEEDS_STALLED_DAYS:
        said->still = number;
        break;
    case FEEDS_COOK_GAUGE:
        said->cook.gauge = number;
        break;
    case FEEDS_COOK_MINUTES:
        said->cook.minutes = number;
        break;
    case FEEDS_ALTITUDE:
        said->cook.altitude = number;
        break;
    case FEEDS_AIR:
        said->cook.air = number;
        break;
    case FEEDS_VESSEL_MASS:
        said->cook.vessel.grams = number;
        break;
    case FEEDS_DRY_MASS:
        said->cook.grain.dry = number;
        break;
    case FEEDS_WATER_MASS:
        said->cook.grain.water = number;
        break;
    case FEEDS_MOISTURE:
        said->cook.grain.moisture = number;
        break;
    case FEEDS_TEMPERATURE:
        said->growth.temperature = number;
        break;
    case FEEDS_DOSE:
        said->growth.dose_relative = number;
        break;
    case FEEDS_SHAKEN_DAYS:
        said->shaken_days = number;
        break;
    default:
        break;
    }
}

static bool take_choice(const struct rules *rules, struct said *said, enum feeds feeds,
                        const struct fact *fact)
{
    int value = value_said(fact);
    const char *id =
        value == RULES_NONE ? "" : rules->observables[fact->observable].values[value].id;

    switch (feeds) {
    case FEEDS_SPECIES:
        said->growth.species = rules_species(rules, id);
        return said->growth.species != RULES_NONE;
    case FEEDS_GRAIN:
        said->cook.grain.kind = rules_grain(rules, id);
        return said->cook.grain.kind != RULES_NONE;
    case FEEDS_VESSEL:
        said->cook.vessel.kind = rules_vessel(rules, id);
        return said->cook.vessel.kind != RULES_NONE;
    case FEEDS_LOAD:
        said->cook.packing = value;
        return value != RULES_NONE;
    case FEEDS_STARTER_KIND:
        said->growth.starter = starter_said(rules, value);
        return said->growth.starter != RULES_NONE;
    default:
        return false;
    }
}

/* A shake that was said helps or costs what the forecast says it does. */
static void add_shake(struct said *said, const struct forecast_rules *rules)
{
    if (!(said->shaken_days >= 0.0 && said->day > said->shaken_days))
        return;
    said->shake =
        (struct shake){said->day - said->shaken_days, rules->shake_factor, rules->shake_pause};
    said->growth.shakes = &said->shake;
    said->growth.shake_count = 1;
}

void said_read(struct said *said, const struct reasoner *reasoner, const struct evidence *evidence,
               const struct fact *facts, size_t count)
{
    const struct rules *rules = reasoner_rules(reasoner);

    *said = (struct said){.day = NAN, .coverage = NAN, .still = NAN, .shaken_days = NAN};
    known_cook_init(&said->cook);
    known_growth_init(&said->growth);
    for (size_t i = 0; i < count; i++) {
        enum feeds feeds = rules->observables[facts[i].observable].feeds;
        double number = number_said(rules, &facts[i]);
        if (feeds == FEEDS_NONE)
            continue;
        said->used[feeds] = take_choice(rules, said, feeds, &facts[i]) || !isnan(number);
        said->hedged[feeds] = facts[i].observation.hedged != 0;
        if (!isnan(number))
            take_number(said, feeds, number);
    }
    if (isnan(said->cook.gauge) && rules->cook.no_pressure.count > 0 &&
        reason_holds(reasoner, &rules->cook.no_pressure, evidence))
        said->cook.gauge = 0.0;
    if (rules->forecast.dose_usual > 0.0)
        said->growth.dose_relative /= rules->forecast.dose_usual;
    said->growth.vessel = said->cook.vessel;
    said->growth.grain = said->cook.grain;
    add_shake(said, &rules->forecast);
}
