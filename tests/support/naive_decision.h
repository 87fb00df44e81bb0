/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_NAIVE_DECISION_H
#define JARSIDE_TESTS_NAIVE_DECISION_H

#include "support/naive.h"

/*
 * Expected losses, floors and the value of a question once more, from the
 * formulas: every plan is enumerated, every answer is a new naive posterior.
 */
struct naive_decision {
    long double loss[ACTION_COUNT];
    enum action action;
};

static inline long double naive_loss(const struct rules *rules, const struct stakes *stakes,
                                     enum action action, size_t finding)
{
    const struct finding *of = &rules->findings[finding];
    const struct decision_rules *d = &rules->decision;
    if (action == ACTION_DISCARD)
        return (long double)(stakes->worth * of->kept_worth + d->discard_effort);
    if (of->status != FINDING_CONTAMINATED)
        return 0;
    long double uses = stakes->use < 0 ? 0
                                       : (long double)d->uses[stakes->use].loss_each *
                                             (long double)stakes->use_count;
    return (long double)(stakes->worth * d->keep_wrong + d->keep_wrong_hazard[of->hazard] +
                         stakes->neighbours * of->spread) +
           uses;
}

/* Isolate, then `shown` if trouble shows and `hidden` if it does not. */
static inline long double naive_plan(const struct rules *rules, const struct stakes *stakes,
                                     const long double *p, enum action shown, enum action hidden)
{
    long double sum = 0;
    for (size_t f = 0; f < rules->finding_count; f++) {
        const struct finding *of = &rules->findings[f];
        bool bad = of->status == FINDING_CONTAMINATED;
        long double reveal = bad ? (long double)of->reveal : 0;
        long double wait = (long double)rules->decision.isolate_delay;
        if (bad)
            wait += (long double)(rules->decision.isolate_spread * stakes->neighbours * of->spread);
        sum += p[f] * (wait + reveal * naive_loss(rules, stakes, shown, f) +
                       (1 - reveal) * naive_loss(rules, stakes, hidden, f));
    }
    return sum;
}

static inline bool naive_holds(const struct rules *rules, const struct condition *condition,
                               const struct evidence *evidence, bool even_doubted)
{
    for (size_t i = 0; i < condition->count; i++) {
        const struct observation *said = &evidence->observations[condition->observables[i]];
        bool several = rules->observables[condition->observables[i]].kind == KIND_SEVERAL;
        uint32_t plain = said->seen & ~(even_doubted ? 0 : said->hedged),
                 listed = condition->values[i];
        bool sure = said->seen && plain == said->seen && (said->seen & listed) == said->seen;
        if (several ? !(plain & listed) : !sure)
            return false;
    }
    return true;
}

static inline struct naive_decision naive_decide(const struct rules *rules,
                                                 const struct evidence *evidence,
                                                 const long double *p, const struct stakes *stakes)
{
    struct naive_decision decision = {{0}, ACTION_DISCARD};
    bool allowed[ACTION_COUNT] = {true, true, true}, keep_forbidden = false;
    long double bad = 0;
    int forced = -1;

    decision.loss[ACTION_ISOLATE] = INFINITY;
    for (size_t f = 0; f < rules->finding_count; f++) {
        decision.loss[ACTION_KEEP] += p[f] * naive_loss(rules, stakes, ACTION_KEEP, f);
        decision.loss[ACTION_DISCARD] += p[f] * (naive_loss(rules, stakes, ACTION_DISCARD, f) +
                                                 stakes->worth * rules->findings[f].too_soon);
        bad += rules->findings[f].status == FINDING_CONTAMINATED ? p[f] : 0;
    }
    for (int plan = 0; plan < 4; plan++) {
        enum action shown = plan & 1 ? ACTION_KEEP : ACTION_DISCARD;
        enum action hidden = plan & 2 ? ACTION_KEEP : ACTION_DISCARD;
        long double loss = naive_plan(rules, stakes, p, shown, hidden);
        if (loss < decision.loss[ACTION_ISOLATE])
            decision.loss[ACTION_ISOLATE] = loss;
    }
    for (size_t i = 0; i < rules->decision.floor_count; i++) {
        const struct floor_rule *floor = &rules->decision.floors[i];
        bool applies =
            (floor->contaminated_above < 1 && bad > (long double)floor->contaminated_above) ||
            (floor->when.count && naive_holds(rules, &floor->when, evidence, floor->forbids_keep));
        for (size_t k = 0; k < floor->unless_count; k++)
            applies = applies && !naive_holds(rules, &floor->unless[k], evidence, false);
        if (applies && floor->forbids_keep)
            keep_forbidden = true;
        if (applies && !floor->forbids_keep && (int)floor->action > forced)
            forced = (int)floor->action;
    }
    if (forced == ACTION_KEEP && keep_forbidden)
        forced = -1;
    allowed[ACTION_KEEP] = !keep_forbidden;
    for (int a = 0; forced >= 0 && a < ACTION_COUNT; a++)
        allowed[a] = a == forced;
    long double best = INFINITY;
    for (int a = ACTION_DISCARD; a >= ACTION_KEEP; a--) {
        if (allowed[a] && decision.loss[a] < best) {
            best = decision.loss[a];
            decision.action = (enum action)a;
        }
    }
    return decision;
}

/* ---- the value of a question ----------------------------------------------------------------- */

struct naive_question {
    long double gain, finding_bits, cause_bits, turns;
};

/* The k-th answer to a question nothing was said about; false when there are no more. */
static inline bool naive_answer(const struct observable *of, size_t k, struct observation *said)
{
    uint32_t all = (uint32_t)((UINT64_C(1) << of->value_count) - 1);
    bool several = of->kind == KIND_SEVERAL;
    if (k >= of->value_count + (several ? 1 : 0))
        return false;
    *said = (struct observation){0};
    if (several) {
        said->seen = k < of->value_count ? UINT32_C(1) << k : 0;
        said->absent = all & ~said->seen;
    } else {
        said->seen = UINT32_C(1) << k;
    }
    return true;
}

static inline long double naive_predicted(const struct rules *rules,
                                          const struct evidence *evidence,
                                          const struct naive *naive, size_t observable,
                                          const struct observation *said)
{
    int species = naive_species(rules, evidence);
    long double p = 0;
    for (size_t s = 0; s < naive->set_count; s++)
        for (size_t f = 0; f < rules->finding_count; f++)
            p += naive->joint[s][f] *
                 naive_likelihood(rules, species, observable, said, f, naive->sets[s]);
    return p;
}

/* P(answer), nothing said of the observable so far, though some of it may be passed over in silence:
 * what is found after all then had to be there and go unspoken. */
static inline long double naive_answered(const struct rules *rules, const struct evidence *evidence,
                                         const struct naive *naive, size_t observable,
                                         const struct observation *answer)
{
    const struct observation *so_far = &evidence->observations[observable];
    int species = naive_species(rules, evidence);
    long double p = 0;
    for (size_t s = 0; s < naive->set_count; s++)
        for (size_t f = 0; f < rules->finding_count; f++)
            p += naive->joint[s][f] *
                 naive_likelihood(rules, species, observable, answer, f, naive->sets[s]) /
                 (so_far->silent
                      ? naive_likelihood(rules, species, observable, so_far, f, naive->sets[s])
                      : 1);
    for (size_t v = 0; v < rules->observables[observable].value_count; v++)
        if (so_far->silent & answer->seen & UINT32_C(1) << v)
            p *= 1 - (long double)rules->calibration.silence;
    return p;
}

static inline long double naive_set_mass(const struct naive *naive, size_t set, size_t findings)
{
    long double mass = 0;
    for (size_t f = 0; f < findings; f++)
        mass += naive->joint[set][f];
    return mass;
}

/* What the sum alone would choose. */
static inline enum action naive_unforced(const struct naive_decision *decision)
{
    enum action least = ACTION_KEEP;
    for (int a = ACTION_ISOLATE; a <= ACTION_DISCARD; a++)
        if (decision->loss[a] < decision->loss[least])
            least = (enum action)a;
    return least;
}

/* `observations` is the evidence's own array; it is put back as it was. */
static inline struct naive_question naive_question(const struct rules *rules,
                                                   struct evidence *evidence,
                                                   struct observation *observations,
                                                   const struct stakes *stakes, size_t observable)
{
    const struct observable *of = &rules->observables[observable];
    struct naive *now = malloc(sizeof *now), *then = malloc(sizeof *then);
    struct naive_question question = {0, 0, 0, 0};
    struct observation said, so_far = observations[observable];
    long double total = 0, tau = (long double)rules->calibration.tau;
    assert(now && then);

    naive_posterior(rules, evidence, tau, now);
    struct naive_decision present = naive_decide(rules, evidence, now->finding, stakes);
    for (size_t k = 0; naive_answer(of, k, &said); k++) {
        long double p = naive_answered(rules, evidence, now, observable, &said);
        long double finding_bits = 0, cause_bits = 0;
        observations[observable] = said;
        naive_posterior(rules, evidence, tau, then);
        struct naive_decision next = naive_decide(rules, evidence, then->finding, stakes);
        observations[observable] = so_far;
        for (size_t f = 0; f < rules->finding_count; f++)
            if (then->finding[f] > 0)
                finding_bits += then->finding[f] * log2l(then->finding[f] / now->finding[f]);
        for (size_t s = 0; s < now->set_count; s++) {
            long double after = naive_set_mass(then, s, rules->finding_count);
            if (after > 0)
                cause_bits += after * log2l(after / naive_set_mass(now, s, rules->finding_count));
        }
        const enum action was = naive_unforced(&present), then_free = naive_unforced(&next);
        long double saved = next.loss[present.action] - next.loss[next.action];
        if (next.loss[was] - next.loss[then_free] > saved)
            saved = next.loss[was] - next.loss[then_free];
        total += p;
        question.finding_bits += p * finding_bits;
        question.cause_bits += p * cause_bits;
        if (next.action != present.action || then_free != was) {
            question.turns += p;
            question.gain += saved > 0 ? p * saved : 0;
        }
    }
    question.gain = question.gain / total - (long double)(of->effort * rules->decision.effort_loss);
    question.finding_bits /= total;
    question.cause_bits /= total;
    question.turns /= total;
    free(now);
    free(then);
    return question;
}

#endif
