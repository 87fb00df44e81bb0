/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which question to ask next: the expected value of sample information.
 *
 * With a the present action and a(v) the one after answer v, the gain of asking
 * about an observable is
 *
 *   sum_v P(v|E) max(0, loss(a | E, v) - loss(a(v) | E, v))  -  effort x effort_loss.
 *
 * Where evidence is neither tempered nor discounted, and a is keep or discard,
 * that is the textbook's least loss now less expected least loss then. Tempered
 * posteriors need not average to the present one, and the plan within isolate
 * may improve by itself; so what is counted is what a change of action saves. A
 * change that a floor demands against the sum saves nothing: it raises `turns`
 * and never lowers `gain`.
 *
 * One-of and number observables are exact. Of a several-of, whose answers are
 * two to the power of its values, "none of them" and "exactly this one" stand
 * for all, their probabilities scaled to 1.
 */
#include "reason/reason_internal.h"

#include <math.h>
#include <stdlib.h>

/* With this mass on findings that shed harmful spores, nobody should go near enough to notice. */
static const double GATE_MASS = 0.3;
/* A question that teaches less about the causes is not worth the breath. */
static const double LEAST_BITS = 0.001;
static const double LEAST_EFFORT = 0.1;

bool question_gated(const struct observable *observable, const struct posterior *posterior)
{
    double spores = posterior->hazard[HAZARD_SPORING] + posterior->hazard[HAZARD_TOXIGENIC];
    return observable->gate == GATE_NEVER_ASKED ||
           (observable->gate == GATE_UNSOLICITED && spores > GATE_MASS);
}

static bool may_ask(const struct asker *asker, size_t index, const struct inquiry *inquiry)
{
    const struct observable *observable = &asker->reasoner->rules->observables[index];
    struct observation so_far = observation_of(asker->now, index);

    return (observable->class == CLASS_TEST) == inquiry->tests &&
           !(inquiry->skip && inquiry->skip[index]) &&
           observation_open(&asker->reasoner->sights[index], &so_far) &&
           !question_gated(observable, asker->posterior);
}

static struct question value_of(struct asker *asker, size_t observable, enum aim aim)
{
    const struct reasoner *reasoner = asker->reasoner;
    struct question question = {.observable = observable};
    struct observation so_far = observation_of(asker->now, observable);
    struct answer answers[MOST_ANSWERS];
    size_t count = answers_find(&reasoner->sights[observable], &so_far, answers);
    double total = 0.0;

    asker_turn(asker, observable);
    for (size_t k = 0; k < count; k++) {
        struct outlook outlook;
        asker_look(asker, observable, &answers[k], aim, &outlook);
        total += outlook.weight;
        question.bits += outlook.weight * outlook.bits;
        if (outlook.decision.action == asker->decision.action)
            continue;
        question.turns += outlook.weight;
        question.gain += outlook.weight * fmax(0.0, outlook.saves);
    }
    question.bits /= total;
    question.turns /= total;
    question.gain = question.gain / total - reasoner->rules->observables[observable].effort *
                                                reasoner->rules->decision.effort_loss;
    return question;
}

/* ---- ranking --------------------------------------------------------------------------------- */

struct rated {
    struct question question;
    double key;
};

static int falling(double a, double b)
{
    return (a < b) - (a > b);
}

static int by_key(const void *left, const void *right)
{
    const struct rated *a = left, *b = right;
    int order = falling(a->key, b->key);
    if (order == 0)
        order = falling(a->question.bits, b->question.bits);
    if (order == 0)
        order = a->question.observable < b->question.observable ? -1 : 1;
    return order;
}

/* Rates every question that may be asked and is worth it; returns how many. */
static size_t rate_all(struct asker *asker, const struct inquiry *inquiry, struct rated *rated)
{
    const struct rules *rules = asker->reasoner->rules;
    enum aim aim = inquiry->aim;
    double most_turns = 0.0;
    size_t count = 0;

    for (size_t i = 0; i < rules->observable_count; i++) {
        if (!may_ask(asker, i, inquiry))
            continue;
        struct question question = value_of(asker, i, aim);
        double key = question.gain;
        if (aim == AIM_CAUSE)
            key = question.bits / fmax(LEAST_EFFORT, rules->observables[i].effort);
        most_turns = fmax(most_turns, question.turns);
        if (aim == AIM_CAUSE ? question.bits > LEAST_BITS : question.turns > 0.0)
            rated[count++] = (struct rated){question, key};
    }
    return aim == AIM_ACTION && !(most_turns > rules->decision.settled) ? 0 : count;
}

enum status reason_questions(const struct reasoner *reasoner, const struct evidence *evidence,
                             const struct posterior *posterior, const struct stakes *stakes,
                             const struct inquiry *inquiry, struct question *questions,
                             size_t *count)
{
    struct asker asker;
    struct rated *rated = calloc(reasoner->observable_count + 1, sizeof *rated);
    *count = 0;
    if (!rated || !asker_init(&asker, reasoner, evidence, posterior, stakes)) {
        free(rated);
        return STATUS_MEMORY;
    }
    size_t rates = rate_all(&asker, inquiry, rated);
    qsort(rated, rates, sizeof *rated, by_key);
    *count = rates < inquiry->most ? rates : inquiry->most;
    for (size_t i = 0; i < *count; i++)
        questions[i] = rated[i].question;
    asker_release(&asker);
    free(rated);
    return STATUS_OK;
}
