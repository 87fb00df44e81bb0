/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What an observation means: the values it leaves, and how likely each finding makes it. */
#include "reason/reason_internal.h"
#include "reason/rows_internal.h"

#include <math.h>
#include <string.h>

struct observation observation_of(const struct evidence *evidence, size_t observable)
{
    if (!evidence || !evidence->observations)
        return (struct observation){0};
    return evidence->observations[observable];
}

uint32_t observation_possible(const struct sight *sight, const struct observation *observation)
{
    uint32_t seen = observation->seen & sight->all;
    return seen ? seen : sight->all & ~observation->absent;
}

bool observation_tells(const struct sight *sight, const struct observation *observation)
{
    if (sight->several)
        return ((observation->seen | observation->absent | observation->silent) & sight->all) != 0;
    uint32_t possible = observation_possible(sight, observation);
    return possible != 0 && possible != sight->all;
}

static bool single(uint32_t values)
{
    return values != 0 && (values & (values - 1)) == 0;
}

static size_t lowest(uint32_t values)
{
    size_t value = 0;
    while (!(values >> value & 1))
        value++;
    return value;
}

int evidence_species(const struct reasoner *reasoner, const struct evidence *evidence)
{
    int feeder = reasoner->rules->feeder[FEEDS_SPECIES];
    if (feeder < 0)
        return RULES_NONE;
    struct observation said = observation_of(evidence, (size_t)feeder);
    if (!single(said.seen) || (said.hedged & said.seen))
        return RULES_NONE;
    size_t species = lowest(said.seen);
    return species < reasoner->rules->species_count ? (int)species : RULES_NONE;
}

const struct chances *sight_chances(const struct reasoner *reasoner, int species, size_t observable)
{
    if (species >= 0) {
        const struct chances *own =
            reasoner->normal[(size_t)species * reasoner->observable_count + observable];
        if (own)
            return own;
    }
    return &reasoner->sights[observable].plain;
}

/* One-of: the chances of the values still possible, added; mixed with the base when hedged. */
static void one_of_ln(const struct sight *sight, const struct chances *chances, size_t cells,
                      uint32_t possible, double certainty, double *ln)
{
    double expected = 0.0;

    memset(ln, 0, cells * sizeof *ln);
    for (size_t v = 0; v < sight->value_count; v++) {
        if (!(possible >> v & 1))
            continue;
        const double *p = chances->p + v * cells;
        for (size_t i = 0; i < cells; i++)
            ln[i] += p[i];
        expected += sight->base[v];
    }
    for (size_t i = 0; i < cells; i++)
        ln[i] = log(certainty * ln[i] + (1.0 - certainty) * expected);
}

/* The chance that nobody spoke of the values passed over in silence. */
static void add_silence(const struct sight *sight, const struct chances *chances, size_t cells,
                        uint32_t silent, double *ln)
{
    for (size_t v = 0; v < sight->value_count; v++)
        if (silent >> v & 1)
            row_add(ln, chances->ln_silent + v * cells, cells);
}

/* Several-of: each stated value on its own, present or absent, plain or hedged. */
static void several_ln(const struct sight *sight, const struct chances *chances, size_t cells,
                       const struct observation *observation, double certainty, double *ln)
{
    memset(ln, 0, cells * sizeof *ln);
    for (size_t v = 0; v < sight->value_count; v++) {
        bool seen = observation->seen >> v & 1, absent = observation->absent >> v & 1;
        bool hedged = (observation->hedged >> v & 1) && certainty < 1.0;
        for (int denied = 0; denied < 2; denied++) {
            if (!(denied ? absent : seen))
                continue;
            const double *row = (denied ? chances->ln_not : chances->ln) + v * cells;
            double base = denied ? 1.0 - sight->base[v] : sight->base[v];
            for (size_t i = 0; i < cells; i++)
                ln[i] += hedged ? log(certainty * exp(row[i]) + (1.0 - certainty) * base) : row[i];
        }
    }
}

const double *observation_ln(const struct reasoner *reasoner, int species, size_t observable,
                             const struct observation *observation, double *room)
{
    const struct sight *sight = &reasoner->sights[observable];
    const struct chances *chances = sight_chances(reasoner, species, observable);
    size_t cells = sight->pattern_count * reasoner->finding_count;
    double certainty = reasoner->rules->calibration.hedge;
    uint32_t stated = (observation->seen | observation->absent) & sight->all;
    uint32_t silent = observation->silent & ~stated & sight->all;

    if (sight->several) {
        if (single(observation->seen & sight->all) && stated == observation->seen &&
            !(observation->hedged & stated) && !silent)
            return chances->ln + lowest(stated) * cells;
        several_ln(sight, chances, cells, observation, certainty, room);
        add_silence(sight, chances, cells, silent, room);
        return room;
    }
    uint32_t possible = observation_possible(sight, observation);
    bool hedged = (observation->hedged & stated) != 0;
    if (single(possible) && !hedged)
        return chances->ln + lowest(possible) * cells;
    one_of_ln(sight, chances, cells, possible, hedged ? certainty : 1.0, room);
    return room;
}

double observation_strength(const struct reasoner *reasoner, const double *ln)
{
    double low = ln[0], high = ln[0];
    for (size_t f = 1; f < reasoner->finding_count; f++) {
        low = ln[f] < low ? ln[f] : low;
        high = ln[f] > high ? ln[f] : high;
    }
    return high - low;
}

double reasoner_likelihood(const struct reasoner *reasoner, const struct evidence *evidence,
                           size_t observable, size_t value, size_t finding, size_t set)
{
    const struct sight *sight = &reasoner->sights[observable];
    const struct chances *chances =
        sight_chances(reasoner, evidence_species(reasoner, evidence), observable);
    size_t row = value * sight->pattern_count + sight->pattern[set];
    return chances->p[row * reasoner->finding_count + finding];
}

/* Of a one-of, "green or yellow" holds only where both are listed: a condition must be sure. */
static bool lists(const struct observation *said, bool several, uint32_t listed, bool even_doubted)
{
    uint32_t doubted = even_doubted ? 0 : said->hedged;
    if (several)
        return (said->seen & ~doubted & listed) != 0;
    return said->seen != 0 && (said->seen & (~listed | doubted)) == 0;
}

bool condition_holds(const struct reasoner *reasoner, const struct condition *condition,
                     const struct evidence *evidence, bool even_doubted)
{
    for (size_t i = 0; i < condition->count; i++) {
        struct observation said = observation_of(evidence, condition->observables[i]);
        bool several = reasoner->sights[condition->observables[i]].several;
        if (!lists(&said, several, condition->values[i], even_doubted))
            return false;
    }
    return true;
}

bool reason_holds(const struct reasoner *reasoner, const struct condition *condition,
                  const struct evidence *evidence)
{
    return condition_holds(reasoner, condition, evidence, false);
}
