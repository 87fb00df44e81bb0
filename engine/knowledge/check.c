/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rule base as a whole: what nobody causes, uses or cites. Warnings, not errors. */
#include "knowledge/load_internal.h"

/* ---- findings -------------------------------------------------------------------------------- */

static bool is_grown(const struct rules *rules, size_t finding)
{
    for (size_t c = 0; c < rules->cause_count; c++)
        for (size_t i = 0; i < rules->causes[c].grow_count; i++)
            if (rules->causes[c].grows[i].finding == finding)
                return true;
    return false;
}

/* What is clean needs no cause; anything else has one, and the grower asks for it. */
static void check_grown(struct loader *loader, size_t index)
{
    const struct finding *finding = &loader->rules->findings[index];
    if (is_grown(loader->rules, index))
        return;
    if (finding->base <= 0)
        fault_warn(&loader->faults, finding->at,
                   "no cause grows '%s' and its base is 0: it is never found; give it a base, or "
                   "add it to the 'grows' of its causes",
                   finding->id);
    else if (finding->status != FINDING_CLEAN)
        fault_warn(&loader->faults, finding->at,
                   "no cause grows '%s'; add it to the 'grows' of its causes", finding->id);
}

/* Every finding can be isolated or discarded, and all but the contaminated ones kept. */
static void check_steps(struct loader *loader, const struct finding *finding)
{
    for (int action = 0; action < ACTION_COUNT; action++) {
        if (finding->step_count[action] ||
            (action == ACTION_KEEP && finding->status == FINDING_CONTAMINATED))
            continue;
        fault_warn(&loader->faults, finding->at, "'%s' has no steps for '%s'; add them under 'do'",
                   finding->id, action_name((enum action)action));
    }
}

/* ---- what is not used ------------------------------------------------------------------------ */

/*
 * Values of what feeds a computation are used by it. Of the others, those that
 * nothing mentions change nothing: answering them is wasted effort.
 */
static void check_values(struct loader *loader, size_t index)
{
    const struct observable *observable = &loader->rules->observables[index];
    if (observable->feeds != FEEDS_NONE)
        return;
    if (!loader->value_used[index]) {
        fault_warn(&loader->faults, observable->at,
                   "nothing uses '%s'; say in a finding or a cause what it tells, or take it out",
                   observable->id);
        return;
    }
    for (size_t v = 0; v < observable->value_count; v++)
        if (!(loader->value_used[index] >> v & 1))
            fault_warn(&loader->faults, observable->values[v].at,
                       "nothing uses value '%s' of '%s'; say in a finding or a cause what it "
                       "tells, or take it out",
                       observable->values[v].id, observable->id);
}

static void check_sources(struct loader *loader)
{
    for (size_t i = 0; i < loader->rules->source_count; i++)
        if (!loader->source_used[i])
            fault_warn(&loader->faults, loader->rules->sources[i].at,
                       "nothing cites source '%s'; cite it or take it out",
                       loader->rules->sources[i].id);
}

static void check_words(struct loader *loader)
{
    const struct item_list *words = &loader->items[ITEM_WORDS];
    for (size_t i = 0; i < words->count; i++)
        if (!loader->macro_used[i])
            fault_warn(&loader->faults, words->list[i].at,
                       "no phrase has '{%s}'; use it or take the words out", words->list[i].id);
}

void check_rules(struct loader *loader)
{
    for (size_t i = 0; i < loader->rules->finding_count; i++) {
        check_grown(loader, i);
        check_steps(loader, &loader->rules->findings[i]);
    }
    for (size_t i = 0; i < loader->rules->observable_count; i++)
        check_values(loader, i);
    check_sources(loader);
    check_words(loader);
}
