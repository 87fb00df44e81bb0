/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Looking things up in a rule base, and the names of its enums in the files. */
#include "knowledge/rules.h"

#include <string.h>

#include "knowledge/rules_internal.h"

#define WORDS(name, list) const struct words name = {list, sizeof(list) / sizeof *(list)}

static const char *const actions[] = {"keep", "isolate", "discard"};
static const char *const statuses[] = {"clean", "stuck", "contaminated"};
static const char *const hazards[] = {"none", "irritant", "sporing", "toxigenic"};
static const char *const scopes[] = {"cook",    "mix",   "grain_lot", "session",
                                     "starter", "place", "vessel"};
static const char *const moved_by[] = {"none", "survivors", "wet", "dry", "cold", "warm", "dose"};
WORDS(ACTION_WORDS, actions);
WORDS(STATUS_WORDS, statuses);
WORDS(HAZARD_WORDS, hazards);
WORDS(SCOPE_WORDS, scopes);
WORDS(MOVED_WORDS, moved_by);
_Static_assert(sizeof actions / sizeof *actions == ACTION_COUNT, "a name for each action");
_Static_assert(sizeof statuses / sizeof *statuses == FINDING_STATUS_COUNT, "for each status");
_Static_assert(sizeof hazards / sizeof *hazards == HAZARD_COUNT, "for each hazard");
_Static_assert(sizeof scopes / sizeof *scopes == SCOPE_COUNT, "for each scope");
_Static_assert(sizeof moved_by / sizeof *moved_by == MOVED_COUNT, "for each way of moving");

const char *action_name(enum action action)
{
    return action < ACTION_COUNT ? actions[action] : "";
}

const char *status_name(enum finding_status status)
{
    return status < FINDING_STATUS_COUNT ? statuses[status] : "";
}

const char *hazard_name(enum hazard hazard)
{
    return hazard < HAZARD_COUNT ? hazards[hazard] : "";
}

const char *scope_name(enum scope scope)
{
    return scope < SCOPE_COUNT ? scopes[scope] : "";
}

const char *item_kind_name(enum item_kind kind)
{
    static const char *const names[ITEM_KINDS] = {
        "source",  "group",    "sign",    "finding", "cause", "species",   "grain", "vessel",
        "caution", "organism", "starter", "move",    "word",  "statement", "key"};
    return names[kind];
}

int rules_observable(const struct rules *rules, const char *id)
{
    return names_find(&rules->memory->ids[ITEM_OBSERVABLE], id);
}

int rules_finding(const struct rules *rules, const char *id)
{
    return names_find(&rules->memory->ids[ITEM_FINDING], id);
}

int rules_cause(const struct rules *rules, const char *id)
{
    return names_find(&rules->memory->ids[ITEM_CAUSE], id);
}

int rules_species(const struct rules *rules, const char *id)
{
    return names_find(&rules->memory->ids[ITEM_SPECIES], id);
}

int rules_grain(const struct rules *rules, const char *id)
{
    return names_find(&rules->memory->ids[ITEM_GRAIN], id);
}

int rules_vessel(const struct rules *rules, const char *id)
{
    return names_find(&rules->memory->ids[ITEM_VESSEL], id);
}

int rules_value(const struct observable *observable, const char *id)
{
    for (size_t i = 0; i < observable->value_count; i++)
        if (!strcmp(observable->values[i].id, id))
            return (int)i;
    return RULES_NONE;
}

uint32_t rules_all_values(const struct observable *observable)
{
    return (uint32_t)((UINT64_C(1) << observable->value_count) - 1);
}

int rules_bin(const struct observable *observable, double number)
{
    if (!(number >= observable->min && number <= observable->max))
        return RULES_NONE;
    for (size_t i = 0; i < observable->value_count; i++)
        if (number < observable->values[i].below)
            return (int)i;
    return (int)observable->value_count - 1; /* the last bin holds the greatest number */
}

void rules_free(struct rules *rules)
{
    if (rules)
        arena_free(rules->memory->arena);
}
