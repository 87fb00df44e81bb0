/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_RULE_BASE_H
#define JARSIDE_TESTS_RULE_BASE_H

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "rules/rules.h"

/*
 * Small rule bases built in C, for tests that must not depend on files.
 *
 * Each function adds one item and returns its index. Sizes are fixed; an
 * overflow is a fault of the test and ends it.
 */
enum {
    BASE_OBSERVABLES = 80,
    BASE_FINDINGS = 32,
    BASE_CAUSES = 24,
    BASE_SPECIES = 20,
    BASE_CLAIMS = 1200,
    BASE_GROUPS = 8,
    BASE_FLOORS = 8,
    BASE_USES = 4,
    BASE_STEPS = 8,
    BASE_CONDITION = 4,
};

struct rule_base {
    struct rules rules;
    struct observable observables[BASE_OBSERVABLES];
    struct value values[BASE_OBSERVABLES][RULES_MAX_VALUES];
    struct finding findings[BASE_FINDINGS];
    struct claim looks[BASE_FINDINGS][BASE_CLAIMS];
    struct cause causes[BASE_CAUSES];
    struct claim weighs[BASE_CAUSES][BASE_CLAIMS];
    struct growth_rate grows[BASE_CAUSES][BASE_FINDINGS];
    struct species species[BASE_SPECIES];
    struct normal_look normal[BASE_SPECIES][BASE_CLAIMS];
    struct group groups[BASE_GROUPS];
    struct floor_rule floors[BASE_FLOORS];
    struct condition unless[BASE_FLOORS];
    struct use uses[BASE_USES];
    struct next_step steps[BASE_STEPS];
    size_t condition_observables[2 * BASE_FLOORS + BASE_STEPS][BASE_CONDITION];
    uint32_t condition_values[2 * BASE_FLOORS + BASE_STEPS][BASE_CONDITION];
    size_t condition_count;
};

static inline struct rule_base *base_new(void)
{
    struct rule_base *base = calloc(1, sizeof *base);
    assert(base);
    struct rules *rules = &base->rules;
    rules->observables = base->observables;
    rules->findings = base->findings;
    rules->causes = base->causes;
    rules->species = base->species;
    rules->groups = base->groups;
    rules->decision.floors = base->floors;
    rules->decision.uses = base->uses;
    rules->decision.next_steps = base->steps;
    rules->calibration.tau = rules->calibration.answered = 1.0;
    rules->calibration.hedge = 0.6;
    for (size_t i = 0; i < FEEDS_COUNT; i++)
        rules->feeder[i] = RULES_NONE;
    return base;
}

static inline void base_free(struct rule_base *base)
{
    free(base);
}

static inline size_t base_group(struct rule_base *base, double overlap)
{
    assert(base->rules.group_count < BASE_GROUPS);
    base->groups[base->rules.group_count] = (struct group){.id = "group", .overlap = overlap};
    return base->rules.group_count++;
}

static inline size_t base_observable(struct rule_base *base, enum observable_kind kind,
                                     size_t value_count, const double *shares)
{
    size_t at = base->rules.observable_count++;
    assert(at < BASE_OBSERVABLES && value_count <= RULES_MAX_VALUES);
    for (size_t v = 0; v < value_count; v++)
        base->values[at][v] = (struct value){.id = "value", .base = shares[v]};
    base->observables[at] = (struct observable){
        .id = "observable",
        .label = "observable",
        .kind = kind,
        .effort = 1.0,
        .group = RULES_NONE,
        .values = base->values[at],
        .value_count = value_count,
    };
    return at;
}

static inline size_t base_finding(struct rule_base *base, enum finding_status status, double weight)
{
    size_t at = base->rules.finding_count++;
    assert(at < BASE_FINDINGS);
    base->findings[at] = (struct finding){
        .id = "finding",
        .status = status,
        .base = weight,
        .kept_worth = status == FINDING_CONTAMINATED ? 0.0 : 1.0,
        .looks = base->looks[at],
    };
    return at;
}

static inline void base_look(struct rule_base *base, size_t finding, size_t observable,
                             size_t value, double p)
{
    struct finding *at = &base->findings[finding];
    assert(at->look_count < BASE_CLAIMS);
    base->looks[finding][at->look_count++] =
        (struct claim){.observable = observable, .value = value, .number = p};
}

static inline size_t base_cause(struct rule_base *base, double prior)
{
    size_t at = base->rules.cause_count++;
    assert(at < BASE_CAUSES);
    base->causes[at] = (struct cause){
        .id = "cause",
        .prior = prior,
        .reach = 1.0,
        .grows = base->grows[at],
        .weighs = base->weighs[at],
    };
    return at;
}

static inline void base_grow(struct rule_base *base, size_t cause, size_t finding, double rate)
{
    struct cause *at = &base->causes[cause];
    assert(at->grow_count < BASE_FINDINGS);
    base->grows[cause][at->grow_count++] = (struct growth_rate){.finding = finding, .rate = rate};
}

static inline void base_weigh(struct rule_base *base, size_t cause, size_t observable, size_t value,
                              double factor)
{
    struct cause *at = &base->causes[cause];
    assert(at->weigh_count < BASE_CLAIMS);
    base->weighs[cause][at->weigh_count++] =
        (struct claim){.observable = observable, .value = value, .number = factor};
}

static inline size_t base_species(struct rule_base *base)
{
    size_t at = base->rules.species_count++;
    assert(at < BASE_SPECIES);
    base->species[at] = (struct species){.id = "species", .normal = base->normal[at]};
    return at;
}

static inline void base_normal(struct rule_base *base, size_t species, size_t finding,
                               size_t observable, size_t value, double p)
{
    struct species *at = &base->species[species];
    assert(at->normal_count < BASE_CLAIMS);
    base->normal[species][at->normal_count++] = (struct normal_look){
        .finding = finding,
        .claim = {.observable = observable, .value = value, .number = p},
    };
}

/* A condition of `count` pairs of an observable and a mask of its values. */
static inline struct condition base_condition(struct rule_base *base, size_t count, ...)
{
    size_t at = base->condition_count++;
    assert(at < 2 * BASE_FLOORS + BASE_STEPS && count <= BASE_CONDITION);
    va_list pairs;
    va_start(pairs, count);
    for (size_t i = 0; i < count; i++) {
        base->condition_observables[at][i] = va_arg(pairs, size_t);
        base->condition_values[at][i] = va_arg(pairs, uint32_t);
    }
    va_end(pairs);
    return (struct condition){
        .observables = base->condition_observables[at],
        .values = base->condition_values[at],
        .count = count,
    };
}

static inline struct floor_rule *base_floor(struct rule_base *base)
{
    size_t at = base->rules.decision.floor_count++;
    assert(at < BASE_FLOORS);
    base->floors[at] = (struct floor_rule){.id = "floor", .contaminated_above = 1.0};
    return &base->floors[at];
}

static inline size_t base_use(struct rule_base *base, double loss_each)
{
    size_t at = base->rules.decision.use_count++;
    assert(at < BASE_USES);
    base->uses[at] = (struct use){.id = "use", .loss_each = loss_each};
    return at;
}

/* ---- repeatable chance ----------------------------------------------------------------------- */

struct dice { /* xorshift64*: Marsaglia 2003, Vigna 2016; the same numbers on every machine */
    uint64_t state;
};

static inline uint64_t dice_bits(struct dice *dice)
{
    dice->state ^= dice->state >> 12;
    dice->state ^= dice->state << 25;
    dice->state ^= dice->state >> 27;
    return dice->state * UINT64_C(2685821657736338717);
}

static inline double dice_share(struct dice *dice) /* in [0, 1) */
{
    return (double)(dice_bits(dice) >> 11) * 0x1p-53;
}

static inline size_t dice_below(struct dice *dice, size_t count)
{
    return (size_t)(dice_share(dice) * (double)count);
}

static inline bool dice_chance(struct dice *dice, double p)
{
    return dice_share(dice) < p;
}

#endif
