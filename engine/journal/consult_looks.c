/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What earlier looks say today.
 *
 *   lasting   observables that last (rules.h) keep what was last said of them
 *   salient   a salient value that was once seen stays seen
 *   judged    the highest chance of contamination at any look: what feeds judged_before
 *   change    each look goes to the triage, for what has changed since (triage.h)
 *
 * A look counts while no later one corrects it, and until a confirmed outcome after
 * it says that nothing grew there that should not.
 */
#include <math.h>
#include <string.h>

#include "journal/consult_internal.h"
#include "triage/facts.h"

/* ---- which looks stand ----------------------------------------------------------------------- */

static enum status newest_outcome(struct opening *opening, struct outcome *newest)
{
    struct outcome *all = NULL;
    size_t count = 0;
    enum status status =
        journal_all(opening->journal, RECORD_OUTCOME, "vessel", opening->at->vessel.id,
                    opening->arena, (void **)&all, &count, opening->diags);
    record_init(RECORD_OUTCOME, newest);
    for (size_t i = 0; i < count; i++) {
        bool stands = true;
        for (size_t k = i + 1; k < count; k++)
            stands = stands && all[k].corrects != all[i].id;
        if (stands)
            *newest = all[i];
    }
    return status;
}

/* Whether the outcome says that what was feared was not so: then earlier looks no longer count. */
static bool clears(const struct outcome *outcome)
{
    return outcome->id != 0 && strcmp(outcome->status, status_name(FINDING_CONTAMINATED)) != 0;
}

static bool look_stands(const struct opening *opening, const struct look *all, size_t count,
                        size_t at, const struct outcome *outcome)
{
    if (all[at].id == opening->at->request.corrects)
        return false;
    for (size_t k = at + 1; k < count; k++)
        if (all[k].corrects == all[at].id)
            return false;
    return !clears(outcome) || all[at].at.seconds > outcome->at.seconds;
}

static enum status standing(struct opening *opening, const struct outcome *outcome)
{
    struct look *all = NULL;
    size_t count = 0, kept = 0;
    bool own = opening->at->request.corrects == 0;
    enum status status =
        journal_all(opening->journal, RECORD_LOOK, "vessel", opening->at->vessel.id, opening->arena,
                    (void **)&all, &count, opening->diags);
    struct look *looks = arena_array(opening->arena, count, sizeof *looks);
    if (status != STATUS_OK || looks == NULL)
        return status != STATUS_OK ? status : STATUS_MEMORY;
    for (size_t i = 0; i < count; i++) {
        own = own || all[i].id == opening->at->request.corrects;
        if (look_stands(opening, all, count, i, outcome))
            looks[kept++] = all[i];
    }
    opening->at->looks = looks;
    opening->at->look_count = kept;
    if (own)
        return STATUS_OK;
    diags_error(opening->diags, (struct position){0}, "look %lld is not one of %s's",
                (long long)opening->at->request.corrects, opening->at->vessel.label);
    return STATUS_USAGE;
}

/* ---- what they judged ------------------------------------------------------------------------ */

static void judge_worst(struct consultation *at, const struct outcome *outcome)
{
    at->judged = NAN;
    at->worst = NULL;
    if (outcome->id != 0)
        at->judged = clears(outcome) ? 0.0 : 1.0;
    for (size_t i = 0; i < at->look_count; i++) {
        const struct look *look = &at->looks[i];
        bool discard = strcmp(look->action, action_name(ACTION_DISCARD)) == 0;
        double chance = discard ? 1.0 : look->contaminated;
        if (chance > at->judged || isnan(at->judged)) {
            at->judged = chance;
            at->worst = look;
        }
    }
}

static const char *look_called(struct opening *opening, const struct look *look)
{
    char day[CONSULT_DAY_ROOM];
    return arena_format(opening->arena, "look of %s",
                        consult_day(look->at, opening->at->request.now, day));
}

static enum status judged_known(struct opening *opening)
{
    const struct look *worst = opening->at->worst;
    if (isnan(opening->at->judged))
        return STATUS_OK;
    const char *words = worst != NULL ? arena_format(opening->arena, "%s: %s",
                                                     look_called(opening, worst), worst->action)
                                      : "as confirmed";
    return words == NULL
               ? STATUS_MEMORY
               : consult_reached(opening, FEEDS_JUDGED_BEFORE, opening->at->judged, words);
}

/* ---- what they saw --------------------------------------------------------------------------- */

static uint32_t salient_values(const struct observable *observable)
{
    uint32_t salient = 0;
    for (size_t v = 0; v < observable->value_count; v++)
        if (observable->values[v].salient)
            salient |= UINT32_C(1) << v;
    return salient;
}

static bool patch_seen(const struct observable *observable, const struct observation *seen)
{
    bool any = false;
    if (observable->feeds != FEEDS_PATCHES || seen->hedged != 0)
        return false;
    for (size_t v = 0; v < observable->value_count; v++) {
        if ((seen->seen >> v & 1) == 0)
            continue;
        if (!(observable->values[v].parameter > 0.0))
            return false;
        any = true;
    }
    return any;
}

/* What was seen plainly has happened; what was seen with doubt gives way to what is said now. */
static enum status salient_known(struct opening *opening, const struct kept_fact *fact,
                                 uint32_t salient, const char *words)
{
    uint32_t seen = fact->observation.seen & salient;
    uint32_t plain = seen & ~fact->observation.hedged, doubted = seen & fact->observation.hedged;
    struct recalled recalled = {
        .observable = fact->observable, .words = words, .observation = {.seen = plain}};
    enum status status = STATUS_OK;
    recalled.stands = true;
    if (plain != 0)
        status = triage_recall(opening->triage, &recalled);
    if (status != STATUS_OK || doubted == 0)
        return status;
    recalled.stands = false;
    recalled.observation = (struct observation){.seen = doubted, .hedged = doubted};
    return triage_recall(opening->triage, &recalled);
}

static enum status fact_known(struct opening *opening, const struct kept_fact *fact,
                              const char *words, struct earlier *earlier)
{
    const struct observable *observable = &opening->rules->observables[fact->observable];
    uint32_t salient = salient_values(observable);
    if (observable->feeds == FEEDS_COVERAGE && fact->has_number)
        earlier->coverage = 0.5 * (fact->number.lo + fact->number.hi);
    earlier->trouble = earlier->trouble ||
                       (fact->observation.seen & ~fact->observation.hedged & salient) != 0 ||
                       patch_seen(observable, &fact->observation);
    if (!observable->lasts)
        return salient_known(opening, fact, salient, words);
    const struct recalled recalled = {
        .observable = fact->observable,
        .observation = fact->observation,
        .has_number = fact->has_number,
        .number = fact->number,
        .words = words,
    };
    return triage_recall(opening->triage, &recalled);
}

static enum status look_known(struct opening *opening, const struct look *look)
{
    const struct kept_fact *facts = NULL;
    size_t count = 0;
    const char *words = look_called(opening, look);
    double days = (double)moment_days_between(opening->at->batch.at, look->at);
    struct earlier earlier = {.day = days, .coverage = look->coverage, .words = words};
    if (words == NULL)
        return STATUS_MEMORY;
    enum status status = facts_read(opening->rules, look->facts, opening->arena, &facts, &count);
    if (status == STATUS_DATA) {
        diags_warn(opening->diags, (struct position){0}, "the facts of look %lld are not readable",
                   (long long)look->id);
        status = STATUS_OK;
    }
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        status = fact_known(opening, &facts[i], words, &earlier);
    return status == STATUS_OK ? triage_earlier(opening->triage, &earlier) : status;
}

enum status consult_looks(struct opening *opening)
{
    struct outcome outcome;
    enum status status = newest_outcome(opening, &outcome);
    if (status == STATUS_OK)
        status = standing(opening, &outcome);
    if (status != STATUS_OK)
        return status;
    judge_worst(opening->at, &outcome);
    for (size_t i = 0; i < opening->at->look_count && status == STATUS_OK; i++)
        status = look_known(opening, &opening->at->looks[i]);
    return status == STATUS_OK ? judged_known(opening) : status;
}
