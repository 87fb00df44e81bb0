/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What has changed since earlier looks: the pace, the days of standstill, the day on
 * which trouble was first seen.
 *
 * Coverage is judged by eye, so a difference below forecast.coverage_doubt (d points)
 * is none. It tells of a standstill only once growth at the slowest pace that
 * counts as one (s points a day, of the observable that feeds `progress`) would
 * have shown: after d / s days. What is white all through, or not yet white
 * at all, neither stands still nor has a pace.
 */
#include <math.h>

#include "triage/triage_internal.h"

static const double USUAL_DOUBT = 5.0; /* points of coverage, where the rules do not say */

/* ---- what is known now ----------------------------------------------------------------------- */

static struct known *known_of(struct triage *triage, enum feeds feeds)
{
    int index = triage->rules->feeder[feeds];
    return index != RULES_NONE ? &triage->known[index] : NULL;
}

static double number_of(struct triage *triage, enum feeds feeds)
{
    const struct known *known = known_of(triage, feeds);
    return known != NULL && known->told && known->has_number
               ? 0.5 * (known->number.lo + known->number.hi)
               : NAN;
}

/* An observable that feeds it and of which nothing was said or recalled; RULES_NONE else. */
static int open_for(struct triage *triage, enum feeds feeds)
{
    const struct known *known = known_of(triage, feeds);
    return known != NULL && !known->told && !known->unknown && !known->asked
               ? triage->rules->feeder[feeds]
               : RULES_NONE;
}

static bool patch_now(struct triage *triage)
{
    int index = triage->rules->feeder[FEEDS_PATCHES];
    if (index == RULES_NONE)
        return false;
    const struct observable *patches = &triage->rules->observables[index];
    const struct observation *seen = &triage->known[index].observation;
    bool any = false;
    for (size_t v = 0; v < patches->value_count; v++) {
        if ((seen->seen >> v & 1) == 0)
            continue;
        if (!(patches->values[v].parameter > 0.0))
            return false;
        any = true;
    }
    return any && seen->hedged == 0;
}

static bool trouble_now(struct triage *triage)
{
    for (size_t i = 0; i < triage->rules->observable_count; i++) {
        const struct observable *observable = &triage->rules->observables[i];
        uint32_t seen = triage->known[i].observation.seen & ~triage->known[i].observation.hedged;
        for (size_t v = 0; v < observable->value_count; v++)
            if ((seen >> v & 1) != 0 && observable->values[v].salient)
                return true;
    }
    return patch_now(triage);
}

/* The newest look before `day` of which the coverage is known, at least `back` of them ago. */
static const struct earlier *look_before(const struct triage *triage, double day, size_t *from)
{
    while (*from > 0) {
        const struct earlier *earlier = &triage->records.earlier[--*from];
        if (earlier->day < day && !isnan(earlier->coverage))
            return earlier;
    }
    return NULL;
}

/* ---- what follows ---------------------------------------------------------------------------- */

static void follows(struct triage *triage, int observable, struct observation observation,
                    const struct quantity *number, const char *words)
{
    struct known *known = &triage->known[observable];
    if (observation.seen == 0 || words == NULL)
        return;
    *known = (struct known){
        .value_words = known->value_words,
        .told = true,
        .since = triage->records.recalled_count + triage->log_count,
        .observation = observation,
        .has_number = number != NULL,
        .number = number != NULL ? *number : (struct quantity){0},
        .origin = ORIGIN_COMPUTED,
        .words = words,
    };
}

/* The bins that a number between `lo` and `hi` may lie in. */
static struct observation bins(const struct observable *observable, double lo, double hi)
{
    struct observation observation = {0};
    int first = rules_bin(observable, fmax(lo, observable->min));
    int last = rules_bin(observable, fmin(hi, observable->max));
    for (int v = first; v != RULES_NONE && v <= last; v++)
        observation.seen |= UINT32_C(1) << v;
    return observation;
}

static void number_follows(struct triage *triage, int index, double lo, double hi,
                           const char *words)
{
    const struct quantity number = {lo, hi, true};
    const struct observable *observable = &triage->rules->observables[index];
    follows(triage, index, bins(observable, lo, hi), &number, words);
}

/* The value of the pace for so many points a day: of those not above it the highest. With
 * `moving`, one above 0. RULES_NONE where none fits. */
static int pace_of(const struct observable *progress, double rate, bool moving)
{
    int best = RULES_NONE;
    for (size_t v = 0; v < progress->value_count; v++) {
        double from = progress->values[v].parameter;
        if (isnan(from) || (moving && !(from > 0.0)))
            continue;
        /* What has moved has at least the slowest pace that is one. */
        bool fits = from <= rate || (moving && best == RULES_NONE);
        if (fits && (best == RULES_NONE || from > progress->values[best].parameter ||
                     progress->values[best].parameter > rate))
            best = (int)v;
    }
    return best;
}

/* Points a day of the slowest pace that is one; NAN when the rules do not say. */
static double slowest(const struct observable *progress)
{
    double slowest = NAN;
    for (size_t v = 0; v < progress->value_count; v++)
        if (progress->values[v].parameter > 0.0)
            slowest =
                fmin(slowest, progress->values[v].parameter); /* of a NAN and a number, that */
    return slowest;
}

struct stretch { /* two looks and what lies between */
    const struct earlier *then;
    double day, coverage; /* now */
    double doubt, least;  /* points; days after which a standstill shows */
};

static void pace_follows(struct triage *triage, const struct stretch *span)
{
    int index = open_for(triage, FEEDS_PROGRESS);
    double gain = span->coverage - span->then->coverage, days = span->day - span->then->day;
    if (index == RULES_NONE || gain <= -span->doubt)
        return;
    bool moved = gain >= span->doubt;
    if (!moved && days < span->least)
        return;
    const struct observable *progress = &triage->rules->observables[index];
    int value = pace_of(progress, moved ? gain / days : 0.0, moved);
    if (value == RULES_NONE)
        return;
    const struct observation seen = {.seen = UINT32_C(1) << value};
    follows(triage, index, seen, NULL,
            arena_format(triage->derived, "%.0f %% at the %s, %.0f %% now, %.0f days later",
                         span->then->coverage, span->then->words, span->coverage, days));
}

/* Back to the first of the looks since which the coverage has stayed what it is now. */
static void standstill_follows(struct triage *triage, const struct stretch *span, size_t from)
{
    int index = open_for(triage, FEEDS_STALLED_DAYS);
    const struct earlier *since = NULL;
    for (const struct earlier *look = span->then; look != NULL;
         look = look_before(triage, span->day, &from)) {
        if (fabs(span->coverage - look->coverage) >= span->doubt)
            break;
        since = look;
    }
    if (index == RULES_NONE || since == NULL || span->day - since->day < span->least)
        return;
    double days = span->day - since->day;
    number_follows(
        triage, index, days, days,
        arena_format(triage->derived, "%.0f %% at the %s already", since->coverage, since->words));
}

static void growth_follows(struct triage *triage)
{
    int coverage = triage->rules->feeder[FEEDS_COVERAGE];
    int progress = triage->rules->feeder[FEEDS_PROGRESS];
    size_t from = triage->records.earlier_count;
    struct stretch span = {.day = number_of(triage, FEEDS_DAY),
                           .coverage = number_of(triage, FEEDS_COVERAGE),
                           .doubt = triage->rules->forecast.coverage_doubt};
    if (coverage == RULES_NONE || progress == RULES_NONE || isnan(span.day) ||
        isnan(span.coverage) || (span.then = look_before(triage, span.day, &from)) == NULL)
        return;
    const struct observable *white = &triage->rules->observables[coverage];
    if (!(span.doubt > 0.0))
        span.doubt = USUAL_DOUBT;
    span.least = span.doubt / slowest(&triage->rules->observables[progress]);
    bool begun = span.coverage >= white->values[0].below;
    bool through = span.coverage >= white->values[white->value_count - 1].from;
    if (!begun || through || isnan(span.least))
        return;
    pace_follows(triage, &span);
    standstill_follows(triage, &span, from);
}

static void first_seen_follows(struct triage *triage)
{
    const struct records *records = &triage->records;
    int index = open_for(triage, FEEDS_FIRST_SEEN);
    double day = number_of(triage, FEEDS_DAY);
    if (index == RULES_NONE || records->earlier_count == 0)
        return;
    for (size_t i = 0; i < records->earlier_count; i++) {
        const struct earlier *earlier = &records->earlier[i];
        if (!earlier->trouble)
            continue;
        if (!isnan(earlier->day))
            number_follows(triage, index, earlier->day, earlier->day, earlier->words);
        return;
    }
    const struct earlier *last = &records->earlier[records->earlier_count - 1];
    if (trouble_now(triage) && !isnan(day) && last->day < day)
        number_follows(triage, index, fmin(last->day + 1.0, day), day,
                       arena_format(triage->derived, "not there yet at the %s", last->words));
}

/* A patch that was there and is there: what it did between is not guessed but asked. */
static int patch_to_ask(struct triage *triage)
{
    const struct records *records = &triage->records;
    bool there = records->earlier_count > 0 && records->earlier[records->earlier_count - 1].trouble;
    return there && trouble_now(triage) ? open_for(triage, FEEDS_SPOT_CHANGE) : RULES_NONE;
}

void change_merge(struct triage *triage)
{
    triage->first_question = RULES_NONE;
    if (triage->records.earlier_count == 0)
        return;
    growth_follows(triage);
    first_seen_follows(triage);
    triage->first_question = patch_to_ask(triage);
}
