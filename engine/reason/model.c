/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <string.h>

#include "reason/model.h"

/* ---- from the rule base to tables: everything that does not depend on evidence --------------- */

static double clamp_chance(double p)
{
    return fmin(1.0 - LEAST_CHANCE, fmax(LEAST_CHANCE, p)); /* the least when it is not a number */
}

/* Scales to sum 1, lifts what is below the least chance, and scales again. */
static void row_settle(double *row, size_t count)
{
    double sum = 0.0, lifted = 0.0;
    for (size_t i = 0; i < count; i++)
        sum += row[i];
    for (size_t i = 0; i < count; i++) {
        double share = sum > 0.0 ? row[i] / sum : 1.0 / (double)count;
        row[i] = share > LEAST_CHANCE ? share : LEAST_CHANCE;
        lifted += row[i];
    }
    for (size_t i = 0; i < count; i++)
        row[i] /= lifted;
}

size_t set_index(size_t n, int a, int b)
{
    if (a < 0)
        return b < 0 ? 0 : 1 + (size_t)b;
    if (b < 0)
        return 1 + (size_t)a;
    size_t low = (size_t)(a < b ? a : b), high = (size_t)(a < b ? b : a);
    return 1 + n + low * (2 * n - low - 1) / 2 + (high - low - 1);
}

size_t set_total(size_t causes)
{
    return 1 + causes + (causes > 1 ? causes * (causes - 1) / 2 : 0);
}

void set_members(size_t n, size_t index, int members[SET_MAX_CAUSES])
{
    members[0] = members[1] = RULES_NONE;
    if (index == 0)
        return;
    if (index <= n) {
        members[0] = (int)(index - 1);
        return;
    }
    size_t first = 0, rest = index - 1 - n;
    for (; rest >= n - 1 - first; first++)
        rest -= n - 1 - first;
    members[0] = (int)first;
    members[1] = (int)(first + 1 + rest);
}

/* pi_c with what the grower's own outcomes add (rules.h). */
static double learned_prior(const struct rules *rules, size_t cause)
{
    const struct learned *learned = &rules->learned;
    double prior = rules->causes[cause].prior;
    for (size_t i = 0; i < learned->cause_count; i++) {
        const struct learned_cause *own = &learned->causes[i];
        if (own->cause == cause)
            prior = (learned->strength * prior + own->seen) / (learned->strength + own->of);
    }
    return prior;
}

static void sets_build(struct reasoner *reasoner)
{
    const struct rules *rules = reasoner->rules;
    size_t causes = reasoner->cause_count, findings = reasoner->finding_count;
    size_t sets = reasoner->set_count = set_total(causes);
    double *odds = arena_array(reasoner->arena, causes, sizeof *odds);
    double *prior = arena_array(reasoner->arena, sets, sizeof *prior);
    double *given = arena_room(reasoner->arena, sets * findings, sizeof *given);
    double sum = 0.0;
    reasoner->odds = odds;
    reasoner->set_prior = prior;
    reasoner->given = given;
    reasoner->sets = arena_array(reasoner->arena, sets, sizeof *reasoner->sets);
    for (size_t c = 0; c < causes; c++) {
        double p = clamp_chance(learned_prior(rules, c));
        odds[c] = p / (1.0 - p);
    }
    for (size_t s = 0; s < sets; s++) {
        /* Findings compete, each at the rate of its own base and of the causes present. */
        double *row = given + s * findings;
        for (size_t f = 0; f < findings; f++)
            row[f] = rules->findings[f].base;
        set_members(causes, s, reasoner->sets[s]);
        prior[s] = 1.0;
        for (int k = 0; k < SET_MAX_CAUSES && reasoner->sets[s][k] >= 0; k++) {
            const struct cause *cause = &rules->causes[reasoner->sets[s][k]];
            prior[s] *= odds[reasoner->sets[s][k]];
            for (size_t g = 0; g < cause->grow_count; g++)
                row[cause->grows[g].finding] += cause->grows[g].rate;
        }
        sum += prior[s];
        row_settle(row, findings);
    }
    double *joint = arena_room(reasoner->arena, sets * findings, sizeof *joint);
    double *with = arena_array(reasoner->arena, (1 + causes) * findings, sizeof *with);
    reasoner->prior = joint;
    reasoner->prior_with = with;
    for (size_t s = 0; s < sets; s++) {
        prior[s] /= sum;
        for (size_t f = 0; f < findings; f++)
            joint[s * findings + f] = prior[s] * given[s * findings + f];
        row_add(with, joint + s * findings, findings);
        for (int k = 0; k < SET_MAX_CAUSES && reasoner->sets[s][k] >= 0; k++)
            row_add(with + (size_t)(1 + reasoner->sets[s][k]) * findings, joint + s * findings,
                    findings);
    }
}

/* ---- one observable -------------------------------------------------------------------------- */

struct statements {
    double number[RULES_MAX_VALUES];
    uint32_t values; /* which of them are stated */
};

static void statements_add(struct statements *stated, const struct claim *claim, size_t observable)
{
    if (claim->observable != observable)
        return;
    stated->number[claim->value] = claim->number;
    stated->values |= UINT32_C(1) << claim->value;
}

/* Puts what the claims about an observable state in the place of what the row said. Of a one-of the
 * values not stated share what the stated ones leave, in the proportions they had. */
static void row_state(const struct sight *sight, const struct statements *stated, double *row)
{
    double claimed = 0.0, rest = 0.0;
    size_t silent = 0;
    for (size_t v = 0; v < sight->value_count; v++) {
        if (stated->values >> v & 1)
            claimed += stated->number[v];
        else
            rest += row[v], silent++;
    }
    double left = claimed < 1.0 ? 1.0 - claimed : 0.0;
    for (size_t v = 0; v < sight->value_count; v++) {
        if (stated->values >> v & 1)
            row[v] = stated->number[v];
        else if (!sight->several)
            row[v] = rest > 0.0 ? left * row[v] / rest : left / (double)silent;
    }
}

static void row_keep_possible(const struct sight *sight, double *row)
{
    if (!sight->several) {
        row_settle(row, sight->value_count);
        return;
    }
    for (size_t v = 0; v < sight->value_count; v++)
        row[v] = clamp_chance(row[v]);
}

/* P(value | finding, no cause), on one species if `species` is not RULES_NONE. */
static void row_of_finding(const struct reasoner *reasoner, size_t observable,
                           const struct sight *sight, size_t finding, int species, double *row)
{
    const struct finding *from = &reasoner->rules->findings[finding];
    struct statements looks = {.values = 0}, normal = {.values = 0};
    for (size_t v = 0; v < sight->value_count; v++)
        row[v] = sight->base[v];
    for (size_t i = 0; i < from->look_count; i++)
        statements_add(&looks, &from->looks[i], observable);
    row_state(sight, &looks, row);
    /* The same with what the grower's own outcomes add (rules.h). */
    const struct learned *learned = &reasoner->rules->learned;
    for (size_t i = 0; i < learned->sign_count; i++) {
        const struct learned_sign *own = &learned->signs[i];
        if (own->finding != finding || own->observable != observable)
            continue;
        for (size_t v = 0; v < reasoner->rules->observables[observable].value_count; v++)
            row[v] = (learned->strength * row[v] + own->seen[v]) / (learned->strength + own->of[v]);
    }
    row_keep_possible(sight, row);
    if (species < 0)
        return;
    const struct species *on = &reasoner->rules->species[species];
    for (size_t i = 0; i < on->normal_count; i++)
        if (on->normal[i].finding == finding)
            statements_add(&normal, &on->normal[i].claim, observable);
    if (normal.values == 0)
        return;
    row_state(sight, &normal, row);
    row_keep_possible(sight, row);
}

/* What the causes of a pattern make of a row: chances of a one-of, odds of a several-of. */
static void row_weigh(const struct sight *sight, const double *factors, double *row)
{
    for (size_t v = 0; v < sight->value_count; v++) {
        if (sight->several) {
            double odds = row[v] / (1.0 - row[v]) * factors[v];
            row[v] = odds / (1.0 + odds);
        } else {
            row[v] *= factors[v];
        }
    }
    row_keep_possible(sight, row);
}

/* Whether a species states something of the observable on a finding, or for RULES_NONE on any.
 * Naming it says nothing more about which species it is. */
static bool species_states(const struct rules *rules, int species, size_t observable, int finding)
{
    if (species < 0 || rules->feeder[FEEDS_SPECIES] == (int)observable)
        return false;
    const struct species *on = &rules->species[species];
    for (size_t i = 0; i < on->normal_count; i++)
        if ((finding < 0 || on->normal[i].finding == (size_t)finding) &&
            on->normal[i].claim.observable == observable)
            return true;
    return false;
}

/* Chances of the values of a finding and a pattern into the tables, from `at`; `none` is where those of
 * pattern 0 are. */
static void row_put(const struct reasoner *reasoner, const struct sight *sight, const double *row,
                    size_t at, size_t none, struct chances *chances)
{
    size_t step = sight->pattern_count * reasoner->finding_count;
    double silence = reasoner->rules->calibration.silence;
    for (size_t v = 0; v < sight->value_count; v++, at += step, none += step) {
        chances->p[at] = row[v];
        bool again = at != none && row[v] == chances->p[none]; /* its causes do not weigh on it */
        chances->ln[at] = again ? chances->ln[none] : log(row[v]);
        if (!sight->several)
            continue;
        chances->ln_not[at] = again ? chances->ln_not[none] : log1p(-row[v]);
        chances->ln_silent[at] = again ? chances->ln_silent[none] : log1p(-silence * row[v]);
    }
}

/* What a table says of one finding is what it says of another. */
static void column_copy(double *table, size_t cells, size_t findings, size_t like, size_t finding)
{
    for (double *row = table; row < table + cells; row += findings)
        row[finding] = row[like];
}

/* Room for tables, or a copy of those there are. */
static double *table_new(struct arena *arena, const double *from, size_t cells)
{
    double *table = arena_room(arena, cells, sizeof *table);
    return from ? memcpy(table, from, cells * sizeof *table) : table;
}

/* On a species or, without `from`, on none; most tables of a species are the same as those for none. */
static void chances_build(const struct reasoner *reasoner, size_t observable,
                          const struct chances *from, struct chances *chances)
{
    const struct sight *sight = &reasoner->sights[observable];
    size_t findings = reasoner->finding_count, values = sight->value_count;
    size_t cells = values * sight->pattern_count * findings;
    struct arena *arena = reasoner->arena;
    double *plain = arena_room(arena, findings * values, sizeof *plain);
    double row[RULES_MAX_VALUES];
    chances->p = table_new(arena, from ? from->p : NULL, cells);
    chances->ln = table_new(arena, from ? from->ln : NULL, cells);
    if (sight->several) {
        chances->ln_not = table_new(arena, from ? from->ln_not : NULL, cells);
        chances->ln_silent = table_new(arena, from ? from->ln_silent : NULL, cells);
    }
    double *const tables[] = {chances->p, chances->ln, chances->ln_not, chances->ln_silent};
    /* The values of a one-of hang together; each of a several-of is apart. */
    size_t step = sight->pattern_count * findings;
    struct sight part = *sight;
    part.value_count = sight->several ? 1 : values;
    for (size_t f = 0; f < findings; f++) {
        double *own = plain + f * values;
        if (from && !species_states(reasoner->rules, chances->species, observable, (int)f))
            continue;
        row_of_finding(reasoner, observable, sight, f, chances->species, own);
        for (size_t first = 0; first < values; first += part.value_count) {
            size_t at = first * step, size = part.value_count * sizeof *own;
            size_t like = from ? f : 0; /* most findings say nothing of most observables */
            while (like < f && memcmp(plain + like * values + first, own + first, size) != 0)
                like++;
            for (size_t t = 0; like < f && t < (sight->several ? 4 : 2); t++)
                column_copy(tables[t] + at, part.value_count * step, findings, like, f);
            for (size_t p = 0; like == f && p < sight->pattern_count; p++) {
                memcpy(row, own + first, size);
                if (p > 0)
                    row_weigh(&part, sight->factors + p * values + first, row);
                row_put(reasoner, &part, row, at + p * findings + f, at + f, chances);
            }
        }
    }
}

/* The causes that weigh on an observable, what those of a pattern make of its values, and the patterns of the
 * sets. */
static void sight_build(const struct reasoner *reasoner, size_t index, struct sight *sight)
{
    const struct observable *observable = &reasoner->rules->observables[index];
    const size_t values = observable->value_count, sets = reasoner->set_count;
    struct arena *arena = reasoner->arena;
    double *base = arena_array(arena, values, sizeof *base);
    uint32_t *pattern = arena_room(arena, sets, sizeof *pattern);
    int *local = arena_array(arena, reasoner->cause_count, sizeof *local); /* places among these: */
    int *causes = arena_array(arena, reasoner->cause_count, sizeof *causes);
    *sight = (struct sight){
        .value_count = values,
        .causes = causes,
        .several = observable->kind == KIND_SEVERAL,
        .all = rules_all_values(observable),
        .group = observable->group,
        .base = base,
        .pattern = pattern,
    };
    for (size_t v = 0; v < values; v++)
        base[v] = observable->values[v].base;
    row_keep_possible(sight, base);
    for (size_t c = 0; c < reasoner->cause_count; c++) {
        const struct cause *cause = &reasoner->rules->causes[c];
        local[c] = RULES_NONE;
        for (size_t w = 0; w < cause->weigh_count && local[c] < 0; w++)
            if (cause->weighs[w].observable == index)
                local[c] = (int)sight->cause_count;
        if (local[c] >= 0)
            causes[sight->cause_count++] = (int)c;
    }
    const size_t count = sight->cause_count, patterns = sight->pattern_count = set_total(count);
    double *factors = arena_room(arena, patterns * values, sizeof *factors);
    sight->factors = factors;
    row_fill(factors, 1.0, patterns * values);
    for (size_t p = 1; p < patterns; p++) {
        int members[SET_MAX_CAUSES];
        set_members(count, p, members);
        if (p > count) { /* of a pair, the patterns of one cause are there already */
            row_product(factors + p * values, factors + (size_t)(1 + members[0]) * values,
                        factors + (size_t)(1 + members[1]) * values, values);
            continue;
        }
        const struct cause *cause = &reasoner->rules->causes[causes[members[0]]];
        for (size_t w = 0; w < cause->weigh_count; w++)
            if (cause->weighs[w].observable == index) /* a slip must not overflow a product */
                factors[p * values + cause->weighs[w].value] =
                    fmin(1.0 / LEAST_CHANCE, fmax(LEAST_CHANCE, cause->weighs[w].number));
    }
    size_t *pairs = arena_array(arena, patterns, sizeof *pairs);
    sight->pairs = pairs;
    for (size_t s = 0; s < sets; s++) {
        const int first = reasoner->sets[s][0], second = reasoner->sets[s][1];
        pattern[s] = (uint32_t)set_index(count, first < 0 ? RULES_NONE : local[first],
                                         second < 0 ? RULES_NONE : local[second]);
        if (pattern[s] > count)
            pairs[sight->pair_count++] = s;
    }
}

struct reasoner *reasoner_new(const struct rules *rules)
{
    struct arena *arena = arena_new();
    struct reasoner *reasoner = arena_alloc(arena, sizeof *reasoner);
    size_t observables = rules->observable_count, tables = (rules->species_count + 1) * observables;
    *reasoner = (struct reasoner){
        .rules = rules,
        .arena = arena,
        .finding_count = rules->finding_count,
        .cause_count = rules->cause_count,
        .observable_count = observables,
        .sights = arena_array(arena, observables, sizeof *reasoner->sights),
        .chances = arena_array(arena, tables, sizeof *reasoner->chances),
        .lock = arena_alloc(arena, sizeof(pthread_mutex_t)),
    };
    pthread_mutex_init(reasoner->lock, NULL);
    sets_build(reasoner);
    for (size_t i = 0; i < observables; i++)
        sight_build(reasoner, i, &reasoner->sights[i]);
    return reasoner;
}

void reasoner_free(struct reasoner *reasoner)
{
    if (!reasoner)
        return;
    pthread_mutex_destroy(reasoner->lock);
    arena_free(reasoner->arena);
}

const struct rules *reasoner_rules(const struct reasoner *reasoner)
{
    return reasoner->rules;
}

/* ---- what an observation means: the values it leaves, and how likely each finding makes it ---- */

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

int evidence_species(const struct reasoner *reasoner, const struct evidence *evidence)
{
    const int feeder = reasoner->rules->feeder[FEEDS_SPECIES];
    const struct observation said = observation_of(evidence, (size_t)(feeder < 0 ? 0 : feeder));
    const int species = said.hedged & said.seen ? RULES_NONE : single_value(said.seen);
    return feeder < 0 || species >= (int)reasoner->rules->species_count ? RULES_NONE : species;
}

const struct chances *sight_chances(const struct reasoner *reasoner, int species, size_t observable)
{
    if (!species_states(reasoner->rules, species, observable, RULES_NONE))
        species = RULES_NONE;
    _Atomic(const struct chances *) *place =
        &reasoner->chances[(size_t)(species + 1) * reasoner->observable_count + observable];
    const struct chances *chances = atomic_load(place), *plain = NULL;
    if (chances)
        return chances;
    if (species >= 0)
        plain = sight_chances(reasoner, RULES_NONE, observable);
    pthread_mutex_lock(reasoner->lock);
    chances = atomic_load(place);
    if (!chances) {
        struct chances *made = arena_alloc(reasoner->arena, sizeof *made);
        made->species = species;
        chances_build(reasoner, observable, plain, made);
        atomic_store(place, chances = made);
    }
    pthread_mutex_unlock(reasoner->lock);
    return chances;
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
        const int value = single_value(observation->seen & sight->all);
        if (value >= 0 && stated == observation->seen && !(observation->hedged & stated) && !silent)
            return chances->ln + (size_t)value * cells;
        /* Several-of: each stated value on its own, present or absent, plain or hedged; and the chance that
         * nobody spoke of the values passed over in silence. */
        memset(room, 0, cells * sizeof *room);
        for (size_t v = 0; v < sight->value_count; v++) {
            bool hedged = (observation->hedged >> v & 1) && certainty < 1.0;
            for (int denied = 0; denied < 2; denied++) {
                if (!((denied ? observation->absent : observation->seen) >> v & 1))
                    continue;
                const double *row = (denied ? chances->ln_not : chances->ln) + v * cells;
                double base = denied ? 1.0 - sight->base[v] : sight->base[v];
                for (size_t i = 0; i < cells; i++)
                    room[i] +=
                        hedged ? log(certainty * exp(row[i]) + (1.0 - certainty) * base) : row[i];
            }
        }
        for (size_t v = 0; v < sight->value_count; v++)
            if (silent >> v & 1)
                row_add(room, chances->ln_silent + v * cells, cells);
        return room;
    }
    uint32_t possible = observation_possible(sight, observation);
    bool hedged = (observation->hedged & stated) != 0;
    const int value = single_value(possible);
    if (value >= 0 && !hedged)
        return chances->ln + (size_t)value * cells;
    one_of_ln(sight, chances, cells, possible, hedged ? certainty : 1.0, room);
    return room;
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

bool condition_holds(const struct reasoner *reasoner, const struct condition *condition,
                     const struct evidence *evidence, bool even_doubted)
{
    bool holds = condition->count == 0 || (evidence && evidence->observations);
    for (size_t i = 0; i < condition->count && holds; i++) {
        const struct observation *said = &evidence->observations[condition->observables[i]];
        uint32_t doubted = even_doubted ? 0 : said->hedged, listed = condition->values[i];
        /* Of a one-of, "green or yellow" holds only where both are listed: a condition must be sure. */
        holds = (said->seen & listed) != 0 && (reasoner->sights[condition->observables[i]].several
                                                   ? (said->seen & ~doubted & listed) != 0
                                                   : (said->seen & (~listed | doubted)) == 0);
    }
    return holds;
}

bool reason_holds(const struct reasoner *reasoner, const struct condition *condition,
                  const struct evidence *evidence)
{
    return condition_holds(reasoner, condition, evidence, false);
}
