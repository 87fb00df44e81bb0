/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "triage/triage.h"
#include "triage/triage_internal.h"

/* ==== pattern ================================================================================= */

/* What became of the vessel's siblings: counted, weighed, and told. */

/* The observable in which a person says in words what is counted here. */
static const enum feeds told_by[RELATION_COUNT] = {
    [RELATION_COOK] = FEEDS_SIBLINGS_COOK,       [RELATION_GRAIN_LOT] = FEEDS_SIBLINGS_LOT,
    [RELATION_SESSION] = FEEDS_SIBLINGS_SESSION, [RELATION_STARTER] = FEEDS_SIBLINGS_STARTER,
    [RELATION_PLACE] = FEEDS_SIBLINGS_PLACE,
};

static bool names_keep(struct triage *triage, const char *const *names)
{
    for (size_t relation = 0; relation < RELATION_COUNT; relation++) {
        const char *name = names[relation];
        triage->records.names[relation] =
            name != NULL ? triage_keep_words(triage, name, strlen(name)) : NULL;
        if (name != NULL && triage->records.names[relation] == NULL)
            return false;
    }
    return true;
}

enum status triage_siblings(struct triage *triage, const struct sibling_cell *cells, size_t count,
                            const char *const *names)
{
    struct records *records = &triage->records;
    struct sibling_pattern pattern;
    struct pair_shift *pairs = NULL;
    enum status status = siblings_weigh(triage->reasoner, cells, count, &pattern);
    if (status != STATUS_OK)
        return status;
    pairs = realloc(triage->pairs, (pattern.pair_count + 1) * sizeof *pairs);
    if (pairs == NULL || !names_keep(triage, names)) {
        triage->pairs = pairs != NULL ? pairs : triage->pairs;
        sibling_pattern_release(&pattern);
        return STATUS_MEMORY;
    }
    triage->pairs = pairs;
    sibling_pattern_release(&records->pattern);
    records->pattern = pattern;
    records->weighed = true;
    records->controls = false;
    for (size_t i = 0; i < count; i++)
        records->controls =
            records->controls || (cells[i].control && (cells[i].shares >> RELATION_COOK & 1) != 0 &&
                                  cells[i].clean + cells[i].stuck + cells[i].contaminated > 0.0);
    triage_merge(triage);
    return STATUS_OK;
}

/* ---- what the grower says of them ------------------------------------------------------------ */

static int asked_by(const struct triage *triage, enum relation relation)
{
    enum feeds feeds = told_by[relation];
    return feeds != FEEDS_NONE ? triage->rules->feeder[feeds] : RULES_NONE;
}

/* Whether the grower speaks of such a group now: then that counts, and not the journal. */
static bool spoken_of(const struct triage *triage, enum relation relation)
{
    int index = asked_by(triage, relation);
    return index != RULES_NONE && triage->known[index].told;
}

void siblings_skip(struct triage *triage)
{
    const struct records *records = &triage->records;
    int controls = triage->rules->feeder[FEEDS_CONTROLS];
    for (size_t i = 0; records->weighed && i < records->pattern.group_count; i++) {
        int index = asked_by(triage, records->pattern.groups[i].relation);
        if (index != RULES_NONE && records->pattern.groups[i].kind != PATTERN_NO_OTHERS)
            triage->skip[index] = true;
    }
    if (records->weighed && records->controls && controls != RULES_NONE)
        triage->skip[controls] = true;
}

/* ---- what they move -------------------------------------------------------------------------- */

static bool cause_left_out(const struct triage *triage, size_t cause)
{
    enum scope scope = triage->rules->causes[cause].scope;
    return scope != SCOPE_VESSEL && spoken_of(triage, (enum relation)scope);
}

void siblings_shift(struct triage *triage)
{
    const struct sibling_pattern *pattern = &triage->records.pattern;
    struct evidence *evidence = &triage->evidence;
    evidence->pair_shifts = triage->pairs;
    evidence->pair_shift_count = 0;
    if (!triage->records.weighed)
        return;
    for (size_t i = 0; i < pattern->cause_count; i++)
        if (!cause_left_out(triage, pattern->shifts[i].cause))
            triage->shifts[evidence->shift_count++] = pattern->shifts[i];
    for (size_t i = 0; i < pattern->pair_count; i++)
        if (!cause_left_out(triage, pattern->pairs[i].causes[0]) &&
            !cause_left_out(triage, pattern->pairs[i].causes[1]))
            triage->pairs[evidence->pair_shift_count++] = pattern->pairs[i];
}

/* ---- what is told of it ---------------------------------------------------------------------- */

/* Raised causes before lowered ones, each the farthest moved first. */
static int by_move(const void *left, const void *right)
{
    double a = ((const struct prior_shift *)left)->log_odds;
    double b = ((const struct prior_shift *)right)->log_odds;
    if ((a > 0.0) != (b > 0.0))
        return a > 0.0 ? -1 : 1;
    return (fabs(a) < fabs(b)) - (fabs(a) > fabs(b));
}

static bool evidence_of(struct triage *triage, const struct sibling_group *group,
                        struct sibling_evidence *evidence)
{
    const struct sibling_pattern *pattern = &triage->records.pattern;
    struct prior_shift *causes = arena_array(triage->judged, pattern->cause_count, sizeof *causes);
    const char *name = triage->records.names[group->relation];
    *evidence = (struct sibling_evidence){.group = group,
                                          .name = name != NULL ? name : "",
                                          .left_out = spoken_of(triage, group->relation),
                                          .causes = causes};
    if (causes == NULL)
        return false;
    for (size_t i = 0; i < pattern->cause_count; i++)
        if (pattern->causes[i].relation == group->relation)
            causes[evidence->cause_count++] =
                (struct prior_shift){pattern->causes[i].cause, pattern->causes[i].log_odds};
    qsort(causes, evidence->cause_count, sizeof *causes, by_move);
    return true;
}

bool siblings_tell(struct triage *triage)
{
    const struct sibling_pattern *pattern = &triage->records.pattern;
    struct verdict *verdict = &triage->verdict;
    verdict->siblings = NULL;
    verdict->sibling_count = 0;
    if (!triage->records.weighed || pattern->group_count == 0)
        return true;
    struct sibling_evidence *told = arena_array(triage->judged, pattern->group_count, sizeof *told);
    if (told == NULL)
        return false;
    for (size_t i = 0; i < pattern->group_count; i++)
        if (!evidence_of(triage, &pattern->groups[i], &told[i]))
            return false;
    verdict->siblings = told;
    verdict->sibling_count = pattern->group_count;
    return true;
}

/* ==== facts =================================================================================== */

/* ---- to JSON --------------------------------------------------------------------------------- */

static json_t *number_json(const struct fact *fact, enum dimension dimension)
{
    return json_pack("{s:f, s:f, s:s}", "lo", fact->number.lo, "hi", fact->number.hi, "unit",
                     dimension_unit(dimension));
}

static json_t *row_json(const struct observable *observable, const struct fact *fact, size_t value)
{
    uint32_t bit = UINT32_C(1) << value;
    bool recalled = (fact->recalled & bit) != 0;
    const char *from = recalled ? fact->recalled_words : fact->words;
    json_t *row = json_pack("{s:s, s:s, s:b, s:s, s:s, s:b}", "sign", observable->id, "value",
                            observable->values[value].id, "seen",
                            (fact->observation.seen & bit) != 0, "from", from != NULL ? from : "",
                            "origin", origin_name(recalled ? ORIGIN_JOURNAL : fact->origin),
                            "hedged", (fact->observation.hedged & bit) != 0);

    if (row != NULL && fact->has_number &&
        json_object_set_new(row, "number", number_json(fact, observable->dimension)) != 0) {
        json_decref(row);
        return NULL;
    }
    return row;
}

json_t *facts_json(const struct triage *triage)
{
    const struct rules *rules = triage_rules(triage);
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    json_t *array = json_array();

    for (size_t i = 0; i < count && array != NULL; i++) {
        const struct observable *observable = &rules->observables[facts[i].observable];
        uint32_t known = facts[i].observation.seen | facts[i].observation.absent;
        for (size_t v = 0; v < observable->value_count && array != NULL; v++) {
            if ((known >> v & 1) == 0 ||
                json_array_append_new(array, row_json(observable, &facts[i], v)) == 0)
                continue;
            json_decref(array);
            array = NULL;
        }
    }
    return array;
}

/* ---- and back -------------------------------------------------------------------------------- */

static bool said_then(const json_t *row)
{
    const char *origin = json_string_value(json_object_get(row, "origin"));
    return origin == NULL || (strcmp(origin, origin_name(ORIGIN_JOURNAL)) != 0 &&
                              strcmp(origin, origin_name(ORIGIN_COMPUTED)) != 0);
}

static struct kept_fact *fact_of(struct kept_fact *facts, size_t *count, size_t observable)
{
    for (size_t i = 0; i < *count; i++)
        if (facts[i].observable == observable)
            return &facts[i];
    facts[*count] = (struct kept_fact){.observable = observable};
    return &facts[(*count)++];
}

/* A range that begins behind its end says nothing. */
static void add_number(const json_t *number, struct kept_fact *fact)
{
    const json_t *lo = json_object_get(number, "lo"), *hi = json_object_get(number, "hi");
    if (!json_is_number(lo) || !json_is_number(hi) || json_number_value(lo) > json_number_value(hi))
        return;
    fact->has_number = true;
    fact->number = (struct quantity){json_number_value(lo), json_number_value(hi), true};
}

static void add_row(const struct rules *rules, const json_t *row, struct kept_fact *facts,
                    size_t *count)
{
    const char *sign = json_string_value(json_object_get(row, "sign"));
    const char *id = json_string_value(json_object_get(row, "value"));
    int index = sign != NULL && id != NULL ? rules_observable(rules, sign) : RULES_NONE;
    int value = index != RULES_NONE ? rules_value(&rules->observables[index], id) : RULES_NONE;

    if (value == RULES_NONE || !said_then(row))
        return;
    struct kept_fact *fact = fact_of(facts, count, (size_t)index);
    uint32_t bit = UINT32_C(1) << value;
    *(json_is_true(json_object_get(row, "seen")) ? &fact->observation.seen
                                                 : &fact->observation.absent) |= bit;
    if (json_is_true(json_object_get(row, "hedged")))
        fact->observation.hedged |= bit;
    add_number(json_object_get(row, "number"), fact);
}

enum status facts_read(const struct rules *rules, const char *text, struct arena *arena,
                       const struct kept_fact **facts, size_t *count)
{
    struct kept_fact *read = arena_array(arena, rules->observable_count + 1, sizeof *read);
    json_t *array = json_loads(text[0] != '\0' ? text : "[]", 0, NULL);
    enum status status = read == NULL           ? STATUS_MEMORY
                         : json_is_array(array) ? STATUS_OK
                                                : STATUS_DATA;

    *count = 0;
    for (size_t at = 0; status == STATUS_OK && at < json_array_size(array); at++)
        add_row(rules, json_array_get(array, at), read, count);
    for (size_t i = 0; i < *count; i++) /* of a value both seen and denied, what was seen counts */
        read[i].observation.absent &= ~read[i].observation.seen;
    *facts = read;
    json_decref(array);
    return status;
}

/* ==== verdict ================================================================================= */

/* From what is known to a verdict: everything a grower is told, put together once. */

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
    *count = reason_questions(triage->reasoner, &triage->evidence, &triage->posterior,
                              &triage->stakes, inquiry, questions);
    if (!inquiry->tests)
        put_first(triage, questions, *count);
    return STATUS_OK;
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
    size_t count = reason_turns(triage->reasoner, &triage->evidence, &triage->posterior,
                                &triage->stakes, all, most);
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
    reason_explain(triage->reasoner, &triage->evidence, &triage->posterior, explanation);
    return true;
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
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
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
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    enum status status = rank_questions(triage, &inquiry, questions, &count);
    if (count > 0) {
        triage->next = questions[0];
        *next = &triage->next;
    }
    return status;
}
