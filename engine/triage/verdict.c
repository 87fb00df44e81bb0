/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "triage/state.h"

/* From what is known to a verdict: everything a grower is told, put together once. */

enum {
    QUESTIONS_MOST = 16,
    TESTS_MOST = 8,
    TURNS_MOST = 6, /* of answers that may be mistaken, and as many of questions not asked */
};

/* ---- facts as JSON, and back ----------------------------------------------------------------- */

json_t *facts_json(const struct triage *triage)
{
    json_t *array = json_array();
    for (size_t i = 0; i < triage->fact_count; i++) {
        const struct fact *fact = &triage->facts[i];
        const struct observable *observable = &triage->rules->observables[fact->observable];
        uint32_t known = fact->observation.seen | fact->observation.absent;
        for (size_t v = 0; v < observable->value_count; v++)
            if (known >> v & 1) {
                uint32_t bit = UINT32_C(1) << v;
                bool recalled = (fact->recalled & bit) != 0;
                json_t *row =
                    json_pack("{s:s, s:s, s:b, s:s, s:s, s:b}", "sign", observable->id, "value",
                              observable->values[v].id, "seen", (fact->observation.seen & bit) != 0,
                              "from", recalled ? fact->recalled_words : fact->words, "origin",
                              origin_name(recalled ? ORIGIN_JOURNAL : fact->origin), "hedged",
                              (fact->observation.hedged & bit) != 0);
                if (fact->has_number)
                    json_object_set_new(row, "number",
                                        json_pack("{s:f, s:f, s:s}", "lo", fact->number.lo, "hi",
                                                  fact->number.hi, "unit",
                                                  dimension_unit(observable->dimension)));
                json_array_append_new(array, row);
            }
    }
    return array;
}

static struct kept_fact *fact_of(struct kept_fact *facts, size_t *count, size_t observable)
{
    for (size_t i = 0; i < *count; i++)
        if (facts[i].observable == observable)
            return &facts[i];
    facts[*count] = (struct kept_fact){.observable = observable};
    return &facts[(*count)++];
}

enum status facts_read(const struct rules *rules, const char *text, struct arena *arena,
                       const struct kept_fact **facts, size_t *count)
{
    struct kept_fact *read = arena_array(arena, rules->observable_count, sizeof *read);
    json_t *array = json_loads(text[0] != '\0' ? text : "[]", 0, NULL);
    enum status status = json_is_array(array) ? STATUS_OK : STATUS_DATA;
    *count = 0;
    for (size_t at = 0; at < json_array_size(array); at++) {
        const json_t *row = json_array_get(array, at);
        const char *sign = json_string_value(json_object_get(row, "sign"));
        const char *id = json_string_value(json_object_get(row, "value"));
        const char *origin = json_string_value(json_object_get(row, "origin"));
        const json_t *number = json_object_get(row, "number");
        const json_t *lo = json_object_get(number, "lo"), *hi = json_object_get(number, "hi");
        int index = sign != NULL && id != NULL ? rules_observable(rules, sign) : RULES_NONE;
        int value = index != RULES_NONE ? rules_value(&rules->observables[index], id) : RULES_NONE;
        if (value == RULES_NONE ||
            (origin != NULL && (strcmp(origin, origin_name(ORIGIN_JOURNAL)) == 0 ||
                                strcmp(origin, origin_name(ORIGIN_COMPUTED)) == 0)))
            continue;
        struct kept_fact *fact = fact_of(read, count, (size_t)index);
        uint32_t bit = UINT32_C(1) << value;
        *(json_is_true(json_object_get(row, "seen")) ? &fact->observation.seen
                                                     : &fact->observation.absent) |= bit;
        if (json_is_true(json_object_get(row, "hedged")))
            fact->observation.hedged |= bit;
        /* A range that begins behind its end says nothing. */
        if (json_is_number(lo) && json_is_number(hi) &&
            !(json_number_value(lo) > json_number_value(hi))) {
            fact->has_number = true;
            fact->number = (struct quantity){json_number_value(lo), json_number_value(hi), true};
        }
    }
    for (size_t i = 0; i < *count; i++) /* of a value both seen and denied, what was seen counts */
        read[i].observation.absent &= ~read[i].observation.seen;
    *facts = read;
    json_decref(array);
    return status;
}

/* ---- what moves causes ----------------------------------------------------------------------- */

static bool cause_left_out(const struct triage *triage, size_t cause)
{
    enum scope scope = triage->rules->causes[cause].scope;
    return scope != SCOPE_VESSEL && group_spoken_of(triage, (enum relation)scope);
}

void triage_compute(struct triage *triage)
{
    const struct sibling_pattern *pattern = &triage->pattern;
    struct evidence *evidence = &triage->evidence;
    if (!triage->stale)
        return;
    triage->computed_count =
        compute_moves(triage->reasoner, evidence, triage->facts, triage->fact_count, triage->cooks,
                      triage->derived, triage->computed);
    evidence->shift_count = triage->computed_count;
    for (size_t i = 0; i < triage->computed_count; i++) {
        const struct computed *computed = &triage->computed[i];
        triage->shifts[i] =
            (struct prior_shift){computed->cause, computed->log_odds - computed->replaces};
    }
    evidence->pair_shifts = triage->pairs;
    evidence->pair_shift_count = 0;
    for (size_t i = 0; i < pattern->cause_count; i++)
        if (!cause_left_out(triage, pattern->shifts[i].cause))
            triage->shifts[evidence->shift_count++] = pattern->shifts[i];
    for (size_t i = 0; i < pattern->pair_count; i++)
        if (!cause_left_out(triage, pattern->pairs[i].causes[0]) &&
            !cause_left_out(triage, pattern->pairs[i].causes[1]))
            triage->pairs[evidence->pair_shift_count++] = pattern->pairs[i];
    triage->stale = false;
}

/* Raised causes before lowered ones, each the farthest moved first. */
static int by_move(const void *left, const void *right)
{
    double a = ((const struct prior_shift *)left)->log_odds;
    double b = ((const struct prior_shift *)right)->log_odds;
    if ((a > 0.0) != (b > 0.0))
        return a > 0.0 ? -1 : 1;
    return (fabs(a) < fabs(b)) - (fabs(a) > fabs(b));
}

static void siblings_find(struct triage *triage)
{
    const struct sibling_pattern *pattern = &triage->pattern;
    struct verdict *verdict = &triage->verdict;
    struct sibling_evidence *siblings =
        arena_array(triage->judged, pattern->group_count, sizeof *siblings);
    for (size_t i = 0; i < pattern->group_count; i++) {
        enum relation relation = pattern->groups[i].relation;
        struct prior_shift *causes =
            arena_array(triage->judged, pattern->cause_count, sizeof *causes);
        size_t count = 0;
        for (size_t k = 0; k < pattern->cause_count; k++)
            if (pattern->causes[k].relation == relation)
                causes[count++] =
                    (struct prior_shift){pattern->causes[k].cause, pattern->causes[k].log_odds};
        qsort(causes, count, sizeof *causes, by_move);
        siblings[i] = (struct sibling_evidence){.group = &pattern->groups[i],
                                                .name = triage->group_names[relation],
                                                .left_out = group_spoken_of(triage, relation),
                                                .causes = causes,
                                                .cause_count = count};
    }
    verdict->siblings = siblings;
    verdict->sibling_count = pattern->group_count;
}

/* ---- cautions -------------------------------------------------------------------------------- */

static bool caution_applies(const struct triage *triage, const struct caution *caution)
{
    /* The mass of the findings a caution is about. */
    double mass = 0.0;
    for (size_t f = 0; f < triage->rules->finding_count; f++) {
        const struct finding *finding = &triage->rules->findings[f];
        bool meant =
            (caution->hazards >> finding->hazard & 1) || (caution->statuses >> finding->status & 1);
        for (size_t i = 0; i < caution->finding_count; i++)
            meant = meant || caution->findings[i] == f;
        mass += meant ? triage->posterior.finding[f] : 0.0;
    }
    /* Said with doubt is enough here: a caution is better given once too often. */
    const struct condition *when = &caution->when;
    bool seen = when->count > 0;
    for (size_t i = 0; i < when->count; i++)
        seen = seen && (triage->observations[when->observables[i]].seen & when->values[i]) != 0;
    return caution->always || (mass > 0.0 && mass >= caution->at_least) || seen ||
           (caution->actions >> triage->verdict.decision.action & 1);
}

/* ---- steps ----------------------------------------------------------------------------------- */

/* Whose steps are shown. Discarding and isolating are done on account of what may
 * be contaminated, even where something harmless is likelier; so the likeliest
 * contaminated finding says how. Keeping is done on account of the likeliest that
 * is not. */
static void steps_find(struct triage *triage)
{
    static const unsigned clean = 1U << FINDING_CLEAN, stuck = 1U << FINDING_STUCK;
    const unsigned keep[] = {clean | stuck, 0, 0};
    const unsigned wary[] = {1U << FINDING_CONTAMINATED, stuck, clean};
    struct verdict *verdict = &triage->verdict;
    enum action action = verdict->decision.action;
    const unsigned *wanted = action == ACTION_KEEP ? keep : wary;
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < triage->rules->finding_count; i++) {
            const struct finding *from = &triage->rules->findings[verdict->findings[i].index];
            if (!(wanted[k] >> from->status & 1) || from->step_count[action] == 0)
                continue;
            verdict->steps = from->steps[action];
            verdict->step_count = from->step_count[action];
            return;
        }
}

/* ---- questions, tests, turns ----------------------------------------------------------------- */

static size_t rank_questions(struct triage *triage, enum aim aim, bool tests,
                             struct question *questions, size_t most)
{
    const struct inquiry inquiry = {aim, tests, triage->skip, most};
    size_t count = reason_questions(triage->reasoner, &triage->evidence, &triage->posterior,
                                    &triage->stakes, &inquiry, questions);
    /* What the records make the first thing to ask goes before the rest, if it is worth asking. */
    for (size_t i = 1; !tests && i < count; i++)
        if ((int)questions[i].observable == triage->first_question) {
            const struct question first = questions[i];
            memmove(questions + 1, questions, i * sizeof *questions);
            questions[0] = first;
            break;
        }
    return count;
}

/* Questions for the action. Where the weight of words alone has decided it, what is asked is what would be
 * asked without them: whoever can be asked is not judged by a turn of phrase. */
static size_t action_questions(struct triage *triage, struct question *questions, size_t most)
{
    const double *words = triage->evidence.words;
    size_t count = rank_questions(triage, AIM_ACTION, false, questions, most);
    struct decision with, without;
    if (count > 0 || words == NULL)
        return count;
    reason_decide(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes, &with);
    triage->evidence.words = NULL;
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    reason_decide(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes,
                  &without);
    if (with.action != without.action)
        count = rank_questions(triage, AIM_ACTION, false, questions, most);
    triage->verdict.words_decide = count > 0;
    triage->evidence.words = words;
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    return count;
}

/* The likeliest of both sorts, so that neither crowds out the other. */
static void turns_find(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    size_t most = triage->rules->observable_count * 8, sorts[2] = {0, 0};
    struct turn *all = arena_array(triage->judged, most, sizeof *all);
    struct turn *kept = arena_array(triage->judged, (size_t)2 * TURNS_MOST, sizeof *kept);
    size_t count = reason_turns(triage->reasoner, &triage->evidence, &triage->posterior,
                                &triage->stakes, all, most);
    for (size_t i = 0; i < count; i++)
        if ((all[i].answered || !triage->skip[all[i].observable]) &&
            sorts[all[i].answered]++ < TURNS_MOST)
            kept[verdict->turn_count++] = all[i];
    verdict->turns = kept;
}

/* ---- the grower's own question --------------------------------------------------------------- */

static void reply_find(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    if (triage->asked == NULL)
        return;
    const struct own_question *question = &triage->rules->questions[triage->asked->observable];
    const struct reply *reply = question->replies;
    enum finding_status leader = FINDING_CLEAN;
    for (enum finding_status s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        leader = verdict->status[s] > verdict->status[leader] ? s : leader;
    while ((reply->actions != 0 && !(reply->actions >> verdict->decision.action & 1)) ||
           (reply->statuses != 0 && !(reply->statuses >> leader & 1)) ||
           !reason_holds(triage->reasoner, &reply->when, &triage->evidence))
        reply++; /* the last fits always */
    verdict->asked = triage->asked->words;
    verdict->reply = reply;
}

/* ---- the whole ------------------------------------------------------------------------------- */

/* From the likeliest down; of equals the first stays first. */
static const struct ranked *rank(struct triage *triage, const double *p, size_t count)
{
    struct ranked *ranked = arena_array(triage->judged, count, sizeof *ranked);
    for (size_t i = 0; i < count; i++) { /* two dozen at most: put in their places one by one */
        size_t at = i;
        for (; at > 0 && ranked[at - 1].p < p[i]; at--)
            ranked[at] = ranked[at - 1];
        ranked[at] = (struct ranked){i, p[i]};
    }
    return ranked;
}

/* What all the rest rests on: the posterior, the findings by it, and the action. */
const struct verdict *triage_judge_briefly(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    struct posterior *posterior = &triage->posterior;
    arena_reset(triage->judged);
    triage_compute(triage);
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, posterior);
    *verdict = (struct verdict){.computed = triage->computed,
                                .computed_count = triage->computed_count,
                                .no_cause = posterior->no_cause};
    reason_decide(triage->reasoner, &triage->evidence, posterior, &triage->stakes,
                  &verdict->decision);
    verdict->findings = rank(triage, posterior->finding, triage->rules->finding_count);
    memcpy(verdict->status, posterior->status, sizeof verdict->status);
    return verdict;
}

const struct verdict *triage_judge_plainly(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    triage_judge_briefly(triage);
    verdict->causes = rank(triage, triage->posterior.cause, triage->rules->cause_count);
    size_t count = triage->rules->caution_count; /* by rank already */
    size_t *found = arena_array(triage->judged, count, sizeof *found);
    for (size_t i = 0; i < count; i++)
        if (caution_applies(triage, &triage->rules->cautions[i]))
            found[triage->verdict.caution_count++] = i;
    triage->verdict.cautions = found;
    siblings_find(triage);
    steps_find(triage);
    reply_find(triage);
    struct question *questions = arena_array(triage->judged, QUESTIONS_MOST, sizeof *questions);
    verdict->question_count = action_questions(triage, questions, QUESTIONS_MOST);
    verdict->questions = questions;
    verdict->settled = verdict->question_count == 0;
    return verdict;
}

const struct verdict *triage_judge(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    struct explanation *explanation = &verdict->explanation;
    triage_judge_plainly(triage);
    explanation->weights =
        arena_array(triage->judged, triage->rules->observable_count, sizeof *explanation->weights);
    reason_explain(triage->reasoner, &triage->evidence, &triage->posterior, explanation);
    turns_find(triage);
    struct question *tests = arena_array(triage->judged, TESTS_MOST, sizeof *tests);
    verdict->test_count = rank_questions(triage, AIM_CAUSE, true, tests, TESTS_MOST);
    verdict->tests = tests;
    return verdict;
}

static enum action action_if(struct triage *triage, size_t observable, struct observation said)
{
    struct observation kept = triage->observations[observable];
    struct decision decision;
    triage->observations[observable] = said;
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    reason_decide(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes,
                  &decision);
    triage->observations[observable] = kept;
    return decision.action;
}

bool triage_turns_on(struct triage *triage, size_t observable)
{
    const struct observation now = triage->observations[observable];
    const uint32_t clashing = triage->known[observable].clashing;
    bool turns = false;
    triage_compute(triage);
    const enum action action = action_if(triage, observable, now);
    for (uint32_t left = clashing != 0 ? clashing : now.seen; left != 0; left &= left - 1) {
        struct observation one = {.seen = left & -left}, other = one;
        if (clashing != 0) { /* of several-of values, each on its own */
            one = other = now;
            one.seen |= left & -left;
            other.absent |= left & -left;
        }
        turns = turns || action_if(triage, observable, one) != action ||
                action_if(triage, observable, other) != action;
    }
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    return turns;
}

const struct question *triage_next(struct triage *triage, enum aim aim)
{
    struct question questions[QUESTIONS_MOST];
    triage_compute(triage);
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    size_t count = aim == AIM_ACTION
                       ? action_questions(triage, questions, QUESTIONS_MOST)
                       : rank_questions(triage, aim, false, questions, QUESTIONS_MOST);
    if (count == 0)
        return NULL;
    triage->next = questions[0];
    return &triage->next;
}
