/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the rule base to tables of probabilities: everything that does not depend on evidence. */
#include "reason/reason_internal.h"

#include <math.h>
#include <string.h>

static double clamp_chance(double p)
{
    if (!(p > LEAST_CHANCE)) /* also when it is not a number */
        return LEAST_CHANCE;
    return p < 1.0 - LEAST_CHANCE ? p : 1.0 - LEAST_CHANCE;
}

/* Factors come from people; a slip of the keyboard must not overflow a product of them. */
static double clamp_factor(double factor)
{
    if (!(factor > LEAST_CHANCE))
        return LEAST_CHANCE;
    return factor < 1.0 / LEAST_CHANCE ? factor : 1.0 / LEAST_CHANCE;
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

/* ---- cause sets ------------------------------------------------------------------------------ */

size_t set_index(size_t n, int a, int b)
{
    if (a < 0)
        return b < 0 ? 0 : 1 + (size_t)b;
    if (b < 0)
        return 1 + (size_t)a;
    size_t low = (size_t)(a < b ? a : b), high = (size_t)(a < b ? b : a);
    return 1 + n + low * (2 * n - low - 1) / 2 + (high - low - 1);
}

static size_t set_total(size_t causes)
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

static bool sets_build(struct reasoner *reasoner)
{
    reasoner->set_count = set_total(reasoner->cause_count);
    reasoner->sets = arena_array(reasoner->arena, reasoner->set_count, sizeof *reasoner->sets);
    if (!reasoner->sets)
        return false;
    for (size_t s = 0; s < reasoner->set_count; s++)
        set_members(reasoner->cause_count, s, reasoner->sets[s]);
    return true;
}

/* pi_c with what the grower's own outcomes add (knowledge/learned.h). */
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

static bool priors_build(struct reasoner *reasoner)
{
    double *odds = arena_array(reasoner->arena, reasoner->cause_count, sizeof *odds);
    double *prior = arena_array(reasoner->arena, reasoner->set_count, sizeof *prior);
    if (!odds || !prior)
        return false;

    double sum = 0.0;
    for (size_t c = 0; c < reasoner->cause_count; c++) {
        double p = clamp_chance(learned_prior(reasoner->rules, c));
        odds[c] = p / (1.0 - p);
    }
    for (size_t s = 0; s < reasoner->set_count; s++) {
        prior[s] = 1.0;
        for (int k = 0; k < SET_MAX_CAUSES; k++)
            if (reasoner->sets[s][k] >= 0)
                prior[s] *= odds[reasoner->sets[s][k]];
        sum += prior[s];
    }
    for (size_t s = 0; s < reasoner->set_count; s++)
        prior[s] /= sum;
    reasoner->odds = odds;
    reasoner->set_prior = prior;
    return true;
}

/* P(f | S): findings compete, each at the rate of its own base and of the causes present. */
static bool given_build(struct reasoner *reasoner)
{
    size_t findings = reasoner->finding_count;
    double *given = arena_array(reasoner->arena, reasoner->set_count * findings, sizeof *given);
    if (!given)
        return false;

    for (size_t s = 0; s < reasoner->set_count; s++) {
        double *row = given + s * findings;
        for (size_t f = 0; f < findings; f++)
            row[f] = reasoner->rules->findings[f].base;
        for (int k = 0; k < SET_MAX_CAUSES; k++) {
            if (reasoner->sets[s][k] < 0)
                continue;
            const struct cause *cause = &reasoner->rules->causes[reasoner->sets[s][k]];
            for (size_t g = 0; g < cause->grow_count; g++)
                row[cause->grows[g].finding] += cause->grows[g].rate;
        }
        row_settle(row, findings);
    }
    reasoner->given = given;
    return true;
}

/* ---- one observable -------------------------------------------------------------------------- */

/* The causes that weigh on an observable, and their factors on its values. */
struct weighing {
    int *local;      /* per cause: its place among the relevant ones, or RULES_NONE */
    double *factors; /* [relevant][value] */
    size_t count;
};

static bool weighing_find(struct reasoner *reasoner, size_t observable, struct weighing *weighing)
{
    size_t causes = reasoner->cause_count;
    *weighing = (struct weighing){
        .local = arena_array(reasoner->arena, causes, sizeof(int)),
        .factors = arena_array(reasoner->arena, causes * RULES_MAX_VALUES, sizeof(double)),
    };
    if (!weighing->local || !weighing->factors)
        return false;

    for (size_t c = 0; c < causes; c++) {
        const struct cause *cause = &reasoner->rules->causes[c];
        double *factors = weighing->factors + weighing->count * RULES_MAX_VALUES;
        bool weighs = false;
        for (size_t v = 0; v < RULES_MAX_VALUES; v++)
            factors[v] = 1.0;
        for (size_t w = 0; w < cause->weigh_count; w++) {
            if (cause->weighs[w].observable != observable)
                continue;
            factors[cause->weighs[w].value] = clamp_factor(cause->weighs[w].number);
            weighs = true;
        }
        weighing->local[c] = weighs ? (int)weighing->count++ : RULES_NONE;
    }
    return true;
}

static bool patterns_build(struct reasoner *reasoner, const struct weighing *weighing,
                           struct sight *sight)
{
    uint32_t *pattern = arena_array(reasoner->arena, reasoner->set_count, sizeof *pattern);
    if (!pattern)
        return false;

    for (size_t s = 0; s < reasoner->set_count; s++) {
        int first = reasoner->sets[s][0], second = reasoner->sets[s][1];
        first = first < 0 ? RULES_NONE : weighing->local[first];
        second = second < 0 ? RULES_NONE : weighing->local[second];
        pattern[s] = (uint32_t)set_index(weighing->count, first, second);
    }
    sight->pattern = pattern;
    sight->pattern_count = set_total(weighing->count);
    sight->cause_count = weighing->count;
    return true;
}

/* The product of the factors of a pattern's causes, per value. */
static void pattern_factors(const struct weighing *weighing, size_t pattern, size_t values,
                            double *factors)
{
    int members[SET_MAX_CAUSES];

    set_members(weighing->count, pattern, members);
    for (size_t v = 0; v < values; v++) {
        factors[v] = 1.0;
        for (int k = 0; k < SET_MAX_CAUSES; k++)
            if (members[k] >= 0)
                factors[v] *= weighing->factors[(size_t)members[k] * RULES_MAX_VALUES + v];
    }
}

/* Claims about one observable: the stated numbers and which values they are of. */
struct statements {
    double number[RULES_MAX_VALUES];
    uint32_t values;
};

static void statements_add(struct statements *stated, const struct claim *claim, size_t observable)
{
    if (claim->observable != observable)
        return;
    stated->number[claim->value] = claim->number;
    stated->values |= UINT32_C(1) << claim->value;
}

/*
 * Puts what is stated in the place of what the row said. Of a one-of the values
 * not stated share what the stated ones leave, in the proportions they had.
 */
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

/* The same with what the grower's own outcomes add (knowledge/learned.h). */
static void row_learn(const struct rules *rules, size_t observable, size_t finding, double *row)
{
    const struct learned *learned = &rules->learned;
    for (size_t i = 0; i < learned->sign_count; i++) {
        const struct learned_sign *own = &learned->signs[i];
        if (own->finding != finding || own->observable != observable)
            continue;
        for (size_t v = 0; v < rules->observables[observable].value_count; v++)
            row[v] = (learned->strength * row[v] + own->seen[v]) / (learned->strength + own->of[v]);
    }
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
    row_learn(reasoner->rules, observable, finding, row);
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

static void chances_set(const struct sight *sight, const struct chances *chances, size_t findings,
                        size_t pattern, size_t finding, double silence, const double *row)
{
    for (size_t v = 0; v < sight->value_count; v++) {
        size_t at = (v * sight->pattern_count + pattern) * findings + finding;
        chances->p[at] = row[v];
        chances->ln[at] = log(row[v]);
        if (sight->several) {
            chances->ln_not[at] = log1p(-row[v]);
            chances->ln_silent[at] = log1p(-silence * row[v]);
        }
    }
}

static bool chances_build(struct reasoner *reasoner, size_t observable, const struct sight *sight,
                          const struct weighing *weighing, int species, struct chances *chances)
{
    size_t findings = reasoner->finding_count, values = sight->value_count;
    size_t cells = values * sight->pattern_count * findings;
    double *plain = arena_array(reasoner->arena, findings * values, sizeof *plain);
    double factors[RULES_MAX_VALUES], row[RULES_MAX_VALUES];

    chances->p = arena_array(reasoner->arena, cells, sizeof(double));
    chances->ln = arena_array(reasoner->arena, cells, sizeof(double));
    if (sight->several) {
        chances->ln_not = arena_array(reasoner->arena, cells, sizeof(double));
        chances->ln_silent = arena_array(reasoner->arena, cells, sizeof(double));
    }
    if (!plain || !chances->p || !chances->ln ||
        (sight->several && (!chances->ln_not || !chances->ln_silent)))
        return false;

    for (size_t f = 0; f < findings; f++)
        row_of_finding(reasoner, observable, sight, f, species, plain + f * values);
    for (size_t p = 0; p < sight->pattern_count; p++) {
        pattern_factors(weighing, p, values, factors);
        for (size_t f = 0; f < findings; f++) {
            memcpy(row, plain + f * values, values * sizeof *row);
            if (p > 0)
                row_weigh(sight, factors, row);
            chances_set(sight, chances, findings, p, f, reasoner->rules->calibration.silence, row);
        }
    }
    return true;
}

/* Naming a species says nothing more about which species it is. */
static bool species_speaks(const struct rules *rules, size_t which, size_t observable)
{
    const struct species *species = &rules->species[which];
    if (rules->feeder[FEEDS_SPECIES] == (int)observable)
        return false;
    for (size_t i = 0; i < species->normal_count; i++)
        if (species->normal[i].claim.observable == observable)
            return true;
    return false;
}

static bool base_build(struct reasoner *reasoner, const struct observable *observable,
                       struct sight *sight)
{
    double *base = arena_array(reasoner->arena, sight->value_count, sizeof *base);
    if (!base)
        return false;
    for (size_t v = 0; v < sight->value_count; v++)
        base[v] = observable->values[v].base;
    sight->base = base;
    row_keep_possible(sight, base);
    return true;
}

static bool sight_build(struct reasoner *reasoner, size_t index, struct sight *sight,
                        const struct chances **normal)
{
    const struct observable *observable = &reasoner->rules->observables[index];
    struct weighing weighing;

    sight->value_count = observable->value_count;
    sight->several = observable->kind == KIND_SEVERAL;
    sight->all = rules_all_values(observable);
    sight->group = observable->group;
    if (!base_build(reasoner, observable, sight) || !weighing_find(reasoner, index, &weighing) ||
        !patterns_build(reasoner, &weighing, sight) ||
        !chances_build(reasoner, index, sight, &weighing, RULES_NONE, &sight->plain))
        return false;

    for (size_t s = 0; s < reasoner->rules->species_count; s++) {
        if (!species_speaks(reasoner->rules, s, index))
            continue;
        struct chances *own = arena_alloc(reasoner->arena, sizeof *own);
        if (!own || !chances_build(reasoner, index, sight, &weighing, (int)s, own))
            return false;
        normal[s * reasoner->observable_count + index] = own;
    }
    reasoner->room += sight->pattern_count * reasoner->finding_count;
    if (sight->pattern_count > reasoner->most_patterns)
        reasoner->most_patterns = sight->pattern_count;
    return true;
}

static bool sights_build(struct reasoner *reasoner)
{
    size_t observables = reasoner->observable_count;
    struct sight *sights = arena_array(reasoner->arena, observables, sizeof *sights);
    const struct chances **normal =
        arena_array(reasoner->arena, reasoner->rules->species_count * observables, sizeof *normal);
    if (!sights || !normal)
        return false;
    reasoner->most_patterns = 1;
    for (size_t i = 0; i < observables; i++)
        if (!sight_build(reasoner, i, &sights[i], normal))
            return false;
    reasoner->sights = sights;
    reasoner->normal = normal;
    return true;
}

/* ---- the whole ------------------------------------------------------------------------------- */

struct reasoner *reasoner_new(const struct rules *rules)
{
    struct arena *arena = arena_new(NULL);
    struct reasoner *reasoner = arena ? arena_alloc(arena, sizeof *reasoner) : NULL;
    if (!reasoner) {
        arena_free(arena);
        return NULL;
    }
    *reasoner = (struct reasoner){
        .rules = rules,
        .arena = arena,
        .finding_count = rules->finding_count,
        .cause_count = rules->cause_count,
        .observable_count = rules->observable_count,
    };
    if (!sets_build(reasoner) || !priors_build(reasoner) || !given_build(reasoner) ||
        !sights_build(reasoner)) {
        arena_free(arena);
        return NULL;
    }
    return reasoner;
}

void reasoner_free(struct reasoner *reasoner)
{
    if (reasoner)
        arena_free(reasoner->arena);
}

const struct rules *reasoner_rules(const struct reasoner *reasoner)
{
    return reasoner->rules;
}

size_t reasoner_set_count(const struct reasoner *reasoner)
{
    return reasoner->set_count;
}

void reasoner_set(const struct reasoner *reasoner, size_t index, int causes[2])
{
    causes[0] = reasoner->sets[index][0];
    causes[1] = reasoner->sets[index][1];
}
