/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From what is known to a verdict: everything a grower is told, put together once. */
#include <stdlib.h>
#include <string.h>

#include "triage/triage_internal.h"

enum {
    MOST_QUESTIONS = 16,
    MOST_TESTS = 8,
    MOST_TURNS = 6, /* of answers that may be mistaken, and as many of questions not asked */
};

/* ---- ranking --------------------------------------------------------------------------------- */

/* From the likeliest down; of equals the first stays first. */
static const struct ranked *rank(struct triage *triage, const double *p, size_t count)
{
    struct ranked *ranked = arena_array(triage->judged, count, sizeof *ranked);
    if (!ranked)
        return NULL;
    for (size_t i = 0; i < count; i++) { /* two dozen at most: put in their places one by one */
        size_t at = i;
        for (; at > 0 && ranked[at - 1].p < p[i]; at--)
            ranked[at] = ranked[at - 1];
        ranked[at] = (struct ranked){i, p[i]};
    }
    return ranked;
}

/* ---- cautions -------------------------------------------------------------------------------- */

/* The mass of the findings a caution is about. */
static double caution_mass(const struct triage *triage, const struct caution *caution)
{
    double mass = 0.0;
    for (size_t f = 0; f < triage->rules->finding_count; f++) {
        const struct finding *finding = &triage->rules->findings[f];
        bool meant =
            (caution->hazards >> finding->hazard & 1) || (caution->statuses >> finding->status & 1);
        for (size_t i = 0; i < caution->finding_count; i++)
            meant = meant || caution->findings[i] == f;
        mass += meant ? triage->posterior.finding[f] : 0.0;
    }
    return mass;
}

/* Said with doubt is enough here: a caution is better given once too often. */
static bool caution_seen(const struct triage *triage, const struct condition *when)
{
    for (size_t i = 0; i < when->count; i++)
        if (!(triage->observations[when->observables[i]].seen & when->values[i]))
            return false;
    return when->count > 0;
}

static bool caution_applies(const struct triage *triage, const struct caution *caution)
{
    double mass = caution_mass(triage, caution);
    return caution->always || (mass > 0.0 && mass >= caution->at_least) ||
           (caution->actions >> triage->verdict.decision.action & 1) ||
           caution_seen(triage, &caution->when);
}

static bool cautions_find(struct triage *triage)
{
    size_t count = triage->rules->caution_count; /* by rank already */
    size_t *found = arena_array(triage->judged, count, sizeof *found);
    if (!found)
        return false;
    triage->verdict.caution_count = 0;
    for (size_t i = 0; i < count; i++)
        if (caution_applies(triage, &triage->rules->cautions[i]))
            found[triage->verdict.caution_count++] = i;
    triage->verdict.cautions = found;
    return true;
}

/* ---- steps ----------------------------------------------------------------------------------- */

/* The likeliest finding of a status that has steps for the action; NULL if none has. */
static const struct finding *stepping(const struct triage *triage, enum action action,
                                      enum finding_status status)
{
    for (size_t i = 0; i < triage->rules->finding_count; i++) {
        const struct finding *finding = &triage->rules->findings[triage->verdict.findings[i].index];
        if (finding->status == status && finding->step_count[action] > 0)
            return finding;
    }
    return NULL;
}

/*
 * Whose steps are shown. Discarding and isolating are done on account of what may
 * be contaminated, even where something harmless is likelier; so the likeliest
 * contaminated finding says how. Keeping is done on account of the likeliest that
 * is not.
 */
static void steps_find(struct triage *triage)
{
    static const enum finding_status wary[] = {FINDING_CONTAMINATED, FINDING_STUCK, FINDING_CLEAN};
    struct verdict *verdict = &triage->verdict;
    enum action action = verdict->decision.action;
    const struct finding *from = NULL;

    if (action == ACTION_KEEP) {
        for (size_t i = 0; !from && i < triage->rules->finding_count; i++) {
            const struct finding *finding = &triage->rules->findings[verdict->findings[i].index];
            if (finding->status != FINDING_CONTAMINATED && finding->step_count[action] > 0)
                from = finding;
        }
    } else {
        for (size_t k = 0; !from && k < sizeof wary / sizeof *wary; k++)
            from = stepping(triage, action, wary[k]);
    }
    verdict->steps = from ? from->steps[action] : NULL;
    verdict->step_count = from ? from->step_count[action] : 0;
}

/* ---- questions, tests, turns ----------------------------------------------------------------- */

/* What the records make the first thing to ask goes before the rest, if it is worth asking at all. */
static void put_first(const struct triage *triage, struct question *questions, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        if ((int)questions[i].observable != triage->first_question)
            continue;
        const struct question first = questions[i];
        memmove(questions + 1, questions, i * sizeof *questions);
        questions[0] = first;
        return;
    }
}

static enum status rank_questions(struct triage *triage, const struct inquiry *inquiry,
                                  struct question *questions, size_t *count)
{
    enum status status = reason_questions(triage->reasoner, &triage->evidence, &triage->posterior,
                                          &triage->stakes, inquiry, questions, count);
    if (status == STATUS_OK && !inquiry->tests)
        put_first(triage, questions, *count);
    return status;
}

/* NULL when out of memory. */
static const struct question *ask(struct triage *triage, const struct inquiry *inquiry,
                                  size_t *count)
{
    struct question *questions = arena_array(triage->judged, inquiry->most, sizeof *questions);
    if (!questions || rank_questions(triage, inquiry, questions, count) != STATUS_OK)
        return NULL;
    return questions;
}

static bool questions_find(struct triage *triage)
{
    const struct inquiry of_action = {AIM_ACTION, false, triage->skip, MOST_QUESTIONS};
    const struct inquiry of_cause = {AIM_CAUSE, true, triage->skip, MOST_TESTS};
    struct verdict *verdict = &triage->verdict;
    verdict->questions = ask(triage, &of_action, &verdict->question_count);
    verdict->tests = ask(triage, &of_cause, &verdict->test_count);
    verdict->settled = verdict->question_count == 0;
    return verdict->questions && verdict->tests;
}

/* The likeliest of both sorts, so that neither crowds out the other. */
static bool turns_find(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    size_t most = triage->rules->observable_count * 8, sorts[2] = {0, 0};
    struct turn *all = arena_array(triage->judged, most, sizeof *all);
    struct turn *kept = arena_array(triage->judged, (size_t)2 * MOST_TURNS, sizeof *kept);
    if (!all || !kept)
        return false;
    size_t count = 0;
    if (reason_turns(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes, all,
                     most, &count) != STATUS_OK)
        return false;
    verdict->turn_count = 0;
    for (size_t i = 0; i < count; i++)
        if ((all[i].answered || !triage->skip[all[i].observable]) &&
            sorts[all[i].answered]++ < MOST_TURNS)
            kept[verdict->turn_count++] = all[i];
    verdict->turns = kept;
    return true;
}

static bool explain(struct triage *triage)
{
    struct explanation *explanation = &triage->verdict.explanation;
    explanation->weights =
        arena_array(triage->judged, triage->rules->observable_count, sizeof *explanation->weights);
    return explanation->weights && reason_explain(triage->reasoner, &triage->evidence,
                                                  &triage->posterior, explanation) == STATUS_OK;
}

/* ---- the whole ------------------------------------------------------------------------------- */

/* What all the rest rests on: the posterior, the findings by it, and the action. */
static bool decide(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;

    arena_reset(triage->judged);
    if (!triage_compute(triage))
        return false;
    *verdict = (struct verdict){
        .computed = triage->computed,
        .computed_count = triage->computed_count,
    };
    if (reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior) !=
        STATUS_OK)
        return false;
    reason_decide(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes,
                  &verdict->decision);
    verdict->findings = rank(triage, triage->posterior.finding, triage->rules->finding_count);
    verdict->no_cause = triage->posterior.no_cause;
    memcpy(verdict->status, triage->posterior.status, sizeof verdict->status);
    return verdict->findings != NULL;
}

static bool assemble(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;

    verdict->causes = rank(triage, triage->posterior.cause, triage->rules->cause_count);
    if (!verdict->causes || !explain(triage) || !turns_find(triage) || !cautions_find(triage) ||
        !siblings_tell(triage))
        return false;
    steps_find(triage);
    return questions_find(triage);
}

const struct verdict *triage_judge(struct triage *triage)
{
    return decide(triage) && assemble(triage) ? &triage->verdict : NULL;
}

const struct verdict *triage_judge_briefly(struct triage *triage)
{
    return decide(triage) ? &triage->verdict : NULL;
}

enum status triage_next(struct triage *triage, enum aim aim, const struct question **next)
{
    const struct inquiry inquiry = {aim, false, triage->skip, MOST_QUESTIONS};
    struct question questions[MOST_QUESTIONS];
    size_t count = 0;
    *next = NULL;
    if (!triage_compute(triage))
        return STATUS_MEMORY;
    enum status status =
        reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    if (status == STATUS_OK)
        status = rank_questions(triage, &inquiry, questions, &count);
    if (count > 0) {
        triage->next = questions[0];
        *next = &triage->next;
    }
    return status;
}
