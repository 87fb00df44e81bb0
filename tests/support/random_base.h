/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_RANDOM_BASE_H
#define JARSIDE_TESTS_RANDOM_BASE_H

#include <math.h>

#include "reason/reason.h"
#include "support/rule_base.h"
#include "support/test.h"

/* Random rule bases and evidence: every feature of the model turns up, extreme numbers too. */
struct random_size {
    size_t findings, causes, observables, values, species, groups;
    bool absolute; /* claims are "always" or "never", factors up to half a million */
};

static inline void assert_close(double got, long double want, double tolerance)
{
    if (!(fabsl((long double)got - want) <= (long double)tolerance))
        fail_msg("got %.17g, want %.17Lg", got, want);
}

static inline double random_chance(struct dice *dice)
{
    double pick = dice_share(dice);
    if (pick < 0.05)
        return 0.0;
    if (pick < 0.10)
        return 1.0;
    return dice_share(dice);
}

static inline void random_observable(struct rule_base *base, struct dice *dice, size_t most_values)
{
    static const enum observable_kind kinds[] = {KIND_ONE, KIND_SEVERAL, KIND_NUMBER};
    enum observable_kind kind = kinds[dice_below(dice, 3)];
    size_t values = (kind == KIND_SEVERAL ? 1 : 2) + dice_below(dice, most_values - 1);
    double shares[RULES_MAX_VALUES], sum = 0;
    for (size_t v = 0; v < values; v++)
        sum += shares[v] = 0.02 + dice_share(dice);
    for (size_t v = 0; v < values; v++)
        shares[v] /= kind == KIND_SEVERAL ? 2.0 + (double)v : sum;
    size_t at = base_observable(base, kind, values, shares);
    if (base->rules.group_count > 0 && dice_chance(dice, 0.6))
        base->observables[at].group = (int)dice_below(dice, base->rules.group_count);
    base->observables[at].effort = 0.5 + dice_share(dice);
}

/* Claims of one kind about one observable: none, some or all of its values. */
static inline void random_looks(struct rule_base *base, struct dice *dice, size_t finding,
                                size_t observable, bool absolute)
{
    const struct observable *of = &base->observables[observable];
    if (dice_chance(dice, 0.25))
        return;
    double keep = dice_chance(dice, 0.3) ? 1.0 : 0.5;
    for (size_t v = 0; v < of->value_count; v++) {
        if (!dice_chance(dice, keep))
            continue;
        double p = absolute ? (double)dice_chance(dice, 0.5) : random_chance(dice);
        base_look(base, finding, observable, v,
                  of->kind == KIND_SEVERAL ? p : p / (double)of->value_count);
    }
}

static inline void random_species(struct rule_base *base, struct dice *dice)
{
    size_t species = base_species(base);
    for (size_t f = 0; f < base->rules.finding_count; f++)
        for (size_t i = 0; i < base->rules.observable_count; i++)
            for (size_t v = 0; v < base->observables[i].value_count; v++)
                if (dice_chance(dice, 0.08))
                    base_normal(base, species, f, i, v,
                                random_chance(dice) / (double)base->observables[i].value_count);
}

static inline void random_cause(struct rule_base *base, struct dice *dice, bool absolute)
{
    size_t cause = base_cause(base, dice_chance(dice, 0.05) ? 0.0 : 0.3 * dice_share(dice));
    for (size_t f = 0; f < base->rules.finding_count; f++)
        if (dice_chance(dice, 0.4))
            base_grow(base, cause, f, 6.0 * dice_share(dice));
    for (size_t i = 0; i < base->rules.observable_count; i++)
        if (dice_chance(dice, 0.3))
            for (size_t v = 0; v < base->observables[i].value_count; v++)
                if (dice_chance(dice, 0.6))
                    base_weigh(base, cause, i, v,
                               exp((absolute ? 26.0 : 3.0) * (dice_share(dice) - 0.5)));
}

static inline struct rule_base *random_base(struct dice *dice, const struct random_size *size)
{
    struct rule_base *base = base_new();
    for (size_t i = 0; i < size->groups; i++)
        base_group(base, dice_chance(dice, 0.1) ? 1.0 : dice_share(dice));
    for (size_t i = 0; i < size->observables; i++)
        random_observable(base, dice, size->values);
    for (size_t i = 0; i < size->findings; i++) {
        size_t f = base_finding(base, (enum finding_status)dice_below(dice, FINDING_STATUS_COUNT),
                                dice_chance(dice, 0.05) ? 0.0 : dice_share(dice));
        base->findings[f].hazard = (enum hazard)dice_below(dice, HAZARD_COUNT);
        base->findings[f].reveal = dice_share(dice);
        base->findings[f].spread = 0.3 * dice_share(dice);
        base->findings[f].too_soon = dice_chance(dice, 0.3) ? dice_share(dice) : 0.0;
        if (base->findings[f].status == FINDING_STUCK)
            base->findings[f].kept_worth = dice_share(dice);
        for (size_t o = 0; o < size->observables; o++)
            random_looks(base, dice, f, o, size->absolute);
    }
    for (size_t i = 0; i < size->causes; i++)
        random_cause(base, dice, size->absolute);
    if (size->species > 1) {
        double shares[RULES_MAX_VALUES];
        for (size_t i = 0; i < size->species; i++)
            shares[i] = 1.0 / (double)size->species;
        base->rules.feeder[FEEDS_SPECIES] =
            (int)base_observable(base, KIND_ONE, size->species, shares);
        for (size_t i = 0; i < size->species; i++)
            random_species(base, dice);
    }
    base->rules.calibration.tau = dice_chance(dice, 0.5) ? 1.0 : 0.3 + 0.7 * dice_share(dice);
    base->rules.calibration.answered = 1.0;
    base->rules.calibration.hedge = dice_share(dice);
    base->rules.calibration.silence = dice_chance(dice, 0.1) ? 1.0 : dice_share(dice);
    return base;
}

/* Something said about a share `telling` of the observables. */
static inline void random_evidence(const struct rule_base *base, struct dice *dice, double telling,
                                   struct observation *observations)
{
    for (size_t i = 0; i < base->rules.observable_count; i++) {
        const struct observable *of = &base->observables[i];
        uint32_t all = (uint32_t)((UINT64_C(1) << of->value_count) - 1);
        uint32_t picked = (uint32_t)dice_bits(dice) & all;
        observations[i] = (struct observation){0};
        if (!dice_chance(dice, telling))
            continue;
        if (of->kind == KIND_SEVERAL) {
            observations[i].seen = picked & (uint32_t)dice_bits(dice);
            observations[i].absent = ~picked & all & (uint32_t)dice_bits(dice);
        } else if (dice_chance(dice, 0.7)) {
            observations[i].seen = UINT32_C(1) << dice_below(dice, of->value_count);
        } else if (dice_chance(dice, 0.5)) {
            observations[i].seen = picked;
        } else {
            observations[i].absent = picked;
        }
        if (dice_chance(dice, 0.25))
            observations[i].hedged =
                (observations[i].seen | observations[i].absent) & (uint32_t)dice_bits(dice);
        if (of->kind == KIND_SEVERAL && dice_chance(dice, 0.5)) {
            if (dice_chance(dice, 0.3))
                observations[i] = (struct observation){0};
            observations[i].silent =
                (uint32_t)dice_bits(dice) & all & ~(observations[i].seen | observations[i].absent);
        }
    }
}

/* Losses, uses and floors. */
static inline void random_decision(struct rule_base *base, struct dice *dice)
{
    struct decision_rules *rules = &base->rules.decision;
    size_t observables = base->rules.observable_count;
    rules->keep_wrong = 2 * dice_share(dice);
    for (size_t h = 1; h < HAZARD_COUNT; h++)
        rules->keep_wrong_hazard[h] = 3 * dice_share(dice);
    rules->isolate_delay = 0.2 * dice_share(dice);
    rules->isolate_spread = dice_share(dice);
    rules->discard_effort = 0.1 * dice_share(dice);
    rules->effort_loss = 0.01 * dice_share(dice);
    rules->settled = dice_chance(dice, 0.5) ? 0.0 : 0.1 * dice_share(dice);
    base_use(base, dice_share(dice));
    for (size_t i = dice_below(dice, 4); i > 0; i--) {
        struct floor_rule *floor = base_floor(base);
        floor->forbids_keep = dice_chance(dice, 0.5);
        floor->action = (enum action)dice_below(dice, ACTION_COUNT);
        if (dice_chance(dice, 0.4))
            floor->contaminated_above = dice_share(dice);
        else
            floor->when =
                base_condition(base, 1, dice_below(dice, observables), (uint32_t)dice_bits(dice));
        if (dice_chance(dice, 0.3)) {
            struct condition *unless = &base->unless[rules->floor_count - 1];
            *unless =
                base_condition(base, 1, dice_below(dice, observables), (uint32_t)dice_bits(dice));
            floor->unless = unless;
            floor->unless_count = 1;
        }
    }
}

static inline struct stakes random_stakes(const struct rule_base *base, struct dice *dice)
{
    return (struct stakes){
        .worth = 0.2 + 4 * dice_share(dice),
        .neighbours = (double)dice_below(dice, 20),
        .use = dice_chance(dice, 0.5) ? RULES_NONE
                                      : (int)dice_below(dice, base->rules.decision.use_count),
        .use_count = (double)dice_below(dice, 12),
    };
}

/* A size that all ways of answering can be tried for. */
static inline struct random_size random_small(struct dice *dice)
{
    return (struct random_size){.findings = 2 + dice_below(dice, 4),
                                .causes = dice_below(dice, 4),
                                .observables = 2 + dice_below(dice, 5),
                                .values = 4,
                                .species = 2 * dice_below(dice, 2),
                                .groups = dice_below(dice, 3)};
}

#endif
