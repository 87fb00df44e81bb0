/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What became of the vessel's siblings: counted, weighed, and told. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "triage/triage_internal.h"

/* The observable in which a person says in words what is counted here. */
static const enum feeds told_by[KIN_COUNT] = {
    [KIN_COOK] = FEEDS_SIBLINGS_COOK,       [KIN_GRAIN_LOT] = FEEDS_SIBLINGS_LOT,
    [KIN_SESSION] = FEEDS_SIBLINGS_SESSION, [KIN_STARTER] = FEEDS_SIBLINGS_STARTER,
    [KIN_PLACE] = FEEDS_SIBLINGS_PLACE,
};

static bool names_keep(struct triage *triage, const char *const *names)
{
    for (size_t kin = 0; kin < KIN_COUNT; kin++) {
        const char *name = names[kin];
        triage->records.names[kin] =
            name != NULL ? triage_keep_words(triage, name, strlen(name)) : NULL;
        if (name != NULL && triage->records.names[kin] == NULL)
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
            records->controls || (cells[i].control && (cells[i].shares >> KIN_COOK & 1) != 0 &&
                                  cells[i].clean + cells[i].stuck + cells[i].contaminated > 0.0);
    triage_merge(triage);
    return STATUS_OK;
}

/* ---- what the grower says of them ------------------------------------------------------------ */

static int asked_by(const struct triage *triage, enum kin kin)
{
    enum feeds feeds = told_by[kin];
    return feeds != FEEDS_NONE ? triage->rules->feeder[feeds] : RULES_NONE;
}

/* Whether the grower speaks of such a group now: then that counts, and not the journal. */
static bool spoken_of(const struct triage *triage, enum kin kin)
{
    int index = asked_by(triage, kin);
    return index != RULES_NONE && triage->known[index].told;
}

void siblings_skip(struct triage *triage)
{
    const struct records *records = &triage->records;
    int controls = triage->rules->feeder[FEEDS_CONTROLS];
    for (size_t i = 0; records->weighed && i < records->pattern.group_count; i++) {
        int index = asked_by(triage, records->pattern.groups[i].kin);
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
    return scope != SCOPE_VESSEL && spoken_of(triage, (enum kin)scope);
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
    const char *name = triage->records.names[group->kin];
    *evidence = (struct sibling_evidence){.group = group,
                                          .name = name != NULL ? name : "",
                                          .left_out = spoken_of(triage, group->kin),
                                          .causes = causes};
    if (causes == NULL)
        return false;
    for (size_t i = 0; i < pattern->cause_count; i++)
        if (pattern->causes[i].kin == group->kin)
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
