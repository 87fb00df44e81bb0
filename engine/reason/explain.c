/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Why it came out so, and what would turn it.
 *
 * The weight of an answer is what the odds of the leader against its best rival
 * lose when that answer alone is left out, in decibans (ten times the common
 * logarithm; Good, "Probability and the Weighing of Evidence", 1950). Answers
 * within one group are worth less left out singly than together.
 *
 * That an answer a was a slip and v is true has, by Bayes' rule, the probability
 *
 *   P(v) s/n  /  [ P(a) (1 - s) + s/n sum_u P(u) ],    u over the n other answers,
 *
 * where P is what the rest of the evidence predicts and s the rate of slips:
 * SLIP_RATE, or 1 - calibration.hedge for what was said with doubt.
 */
#include "reason/reason_internal.h"

#include <math.h>
#include <stdlib.h>

static const double SLIP_RATE = 0.05;
/* A turn less likely than this is not worth naming. */
static const double LEAST_TURN = 0.001;

/* ---- weights --------------------------------------------------------------------------------- */

static int by_magnitude(const void *left, const void *right)
{
    const struct weight_of_evidence *a = left, *b = right;
    double x = fabs(a->decibans), y = fabs(b->decibans);
    if (x != y)
        return x < y ? 1 : -1;
    return a->observable < b->observable ? -1 : 1;
}

static double log_odds(const double *finding, const struct explanation *explanation)
{
    return log10(finding[explanation->leader]) - log10(finding[explanation->rival]);
}

enum status reason_explain(const struct reasoner *reasoner, const struct evidence *evidence,
                           const struct posterior *posterior, struct explanation *explanation)
{
    size_t observables = reasoner->observable_count, findings = reasoner->finding_count;
    struct observation *observations = calloc(observables + 1, sizeof *observations);
    struct posterior without;

    if (!observations || !posterior_init(&without, reasoner)) {
        free(observations);
        return STATUS_MEMORY;
    }
    for (size_t i = 0; i < observables; i++)
        observations[i] = observation_of(evidence, i);
    struct evidence rest = evidence ? *evidence : (struct evidence){0};
    rest.observations = observations;

    explanation->leader = likeliest(posterior->finding, findings, SIZE_MAX);
    explanation->rival = likeliest(posterior->finding, findings, explanation->leader);
    explanation->weight_count = 0;
    double with = log_odds(posterior->finding, explanation);
    for (size_t i = 0; i < observables; i++) {
        struct observation said = observations[i];
        if (!observation_tells(&reasoner->sights[i], &said))
            continue;
        observations[i] = (struct observation){0};
        reason_posterior(reasoner, &rest, -1.0, &without);
        observations[i] = said;
        explanation->weights[explanation->weight_count++] =
            (struct weight_of_evidence){i, 10.0 * (with - log_odds(without.finding, explanation))};
    }
    qsort(explanation->weights, explanation->weight_count, sizeof *explanation->weights,
          by_magnitude);
    posterior_release(&without);
    free(observations);
    return STATUS_OK;
}

/* ---- turns ----------------------------------------------------------------------------------- */

/* The most likely turns, kept sorted while they are found. */
struct turns {
    struct turn *kept;
    size_t count, most;
};

static bool likelier(const struct turn *a, const struct turn *b)
{
    if (a->probability != b->probability)
        return a->probability > b->probability;
    if (a->observable != b->observable)
        return a->observable < b->observable;
    return a->value < b->value;
}

static void turns_add(struct turns *turns, struct turn turn)
{
    if (turn.probability < LEAST_TURN || turns->most == 0)
        return;
    if (turns->count == turns->most) {
        if (!likelier(&turn, &turns->kept[turns->count - 1]))
            return;
        turns->count--;
    }
    size_t at = turns->count++;
    for (; at > 0 && likelier(&turn, &turns->kept[at - 1]); at--)
        turns->kept[at] = turns->kept[at - 1];
    turns->kept[at] = turn;
}

/* Questions that may still be put, tests aside, since their answers take days. */
static void turns_if_asked(struct asker *asker, size_t observable, struct turns *turns)
{
    struct observation so_far = observation_of(asker->now, observable);
    struct answer answers[MOST_ANSWERS];
    struct outlook looks[MOST_ANSWERS];
    size_t count = answers_find(&asker->reasoner->sights[observable], &so_far, answers);
    double total = 0.0;

    asker_turn(asker, observable);
    for (size_t k = 0; k < count; k++) {
        asker_look(asker, observable, &answers[k], AIM_ACTION, &looks[k]);
        total += looks[k].weight;
    }
    for (size_t k = 0; k < count; k++)
        if (looks[k].decision.action != asker->decision.action)
            turns_add(turns, (struct turn){observable, answers[k].value, looks[k].decision.action,
                                           looks[k].weight / total, false});
}

/* What could have been said instead of `said`: another value, or of a several-of none of them. */
static size_t alternatives(const struct sight *sight, const struct observation *said,
                           struct answer answers[MOST_ANSWERS])
{
    uint32_t stated = (said->seen | said->absent) & sight->all;
    uint32_t held = sight->several ? said->seen : observation_possible(sight, said);
    size_t count = 0;

    if (sight->several && (said->seen & sight->all))
        answers[count++] =
            (struct answer){{.absent = stated, .silent = said->silent}, sight->value_count};
    for (size_t v = 0; v < sight->value_count; v++) {
        uint32_t bit = UINT32_C(1) << v;
        if (sight->several ? held == bit : (held & bit) != 0)
            continue;
        answers[count++] = (struct answer){{.seen = bit,
                                            .absent = sight->several ? stated & ~bit : 0,
                                            .silent = said->silent & ~bit},
                                           v};
    }
    return count;
}

/* P(said) by a posterior that does not know it, added up in the asker's mass. */
static double predicted(struct asker *asker, int species, size_t observable,
                        const struct observation *said)
{
    const struct reasoner *reasoner = asker->reasoner;
    size_t cells = reasoner->sights[observable].pattern_count * reasoner->finding_count;
    const double *ln = observation_ln(reasoner, species, observable, said, asker->room);
    double p = 0.0;

    for (size_t k = 0; k < cells; k++)
        p += asker->mass[k] * exp(ln[k]);
    return p;
}

/* Notes the alternatives that would turn the action, each with its chance of being the truth. */
static void slips_add(struct asker *asker, size_t observable, const struct answer *others,
                      const struct decision *decisions, size_t count, struct turns *turns)
{
    const struct reasoner *reasoner = asker->reasoner;
    struct observation said = observation_of(asker->now, observable), plain = said;
    double p[MOST_ANSWERS], total = 0.0;
    double slip = said.hedged ? 1.0 - reasoner->rules->calibration.hedge : SLIP_RATE;
    int species = evidence_species(reasoner, &asker->then);

    plain.hedged = 0;
    reason_posterior(reasoner, &asker->then, -1.0, &asker->trial);
    mass_by_pattern(reasoner, &asker->trial, observable, asker->mass);
    for (size_t k = 0; k < count; k++)
        total += p[k] = predicted(asker, species, observable, &others[k].said);
    double each = slip / (double)count;
    double all = predicted(asker, species, observable, &plain) * (1.0 - slip) + each * total;
    for (size_t k = 0; k < count; k++)
        if (decisions[k].action != asker->decision.action)
            turns_add(turns, (struct turn){observable, others[k].value, decisions[k].action,
                                           p[k] * each / all, true});
}

/* An answer that was given: would the action be another, had it been one of the others? */
static void turns_if_mistaken(struct asker *asker, size_t observable, struct turns *turns)
{
    const struct reasoner *reasoner = asker->reasoner;
    struct observation said = asker->observations[observable];
    struct answer others[MOST_ANSWERS];
    struct decision decisions[MOST_ANSWERS];
    size_t count = alternatives(&reasoner->sights[observable], &said, others);
    bool turned = false;

    for (size_t k = 0; k < count; k++) {
        asker->observations[observable] = others[k].said;
        reason_posterior(reasoner, &asker->then, -1.0, &asker->trial);
        decide_on(reasoner, &asker->then, asker->trial.finding, asker->stakes, &decisions[k]);
        turned = turned || decisions[k].action != asker->decision.action;
    }
    asker->observations[observable] = (struct observation){0};
    if (turned)
        slips_add(asker, observable, others, decisions, count, turns);
    asker->observations[observable] = said;
}

enum status reason_turns(const struct reasoner *reasoner, const struct evidence *evidence,
                         const struct posterior *posterior, const struct stakes *stakes,
                         struct turn *turns, size_t most, size_t *count)
{
    struct turns found = {.kept = turns, .most = most};
    struct asker asker;

    *count = 0;
    if (!asker_init(&asker, reasoner, evidence, posterior, stakes))
        return STATUS_MEMORY;
    for (size_t i = 0; i < reasoner->observable_count; i++) {
        const struct observable *observable = &reasoner->rules->observables[i];
        const struct sight *sight = &reasoner->sights[i];
        if (observation_tells(sight, &asker.observations[i]) &&
            (asker.observations[i].seen | asker.observations[i].absent))
            turns_if_mistaken(&asker, i, &found);
        if (observation_open(sight, &asker.observations[i]) && observable->class != CLASS_TEST &&
            !question_gated(observable, posterior))
            turns_if_asked(&asker, i, &found);
    }
    asker_release(&asker);
    *count = found.count;
    return STATUS_OK;
}
