/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "triage/compute.h"
#include "triage/state.h"

/*
 * From what was said, in order, and what records know to what is known.
 *
 * One-of and number: statements of one text narrow each other down; if they
 * leave nothing in common they clash, and the values of all stay possible. A
 * later text replaces what was known, or completes it when it only denies.
 *
 * Several-of: values add up. A value both seen and denied clashes, within a text
 * or across texts, and counts as neither until the next statement about it.
 * "No other" gives way to whatever is named, before it or after.
 *
 * Doubt gives way to plain words, and contradicts nothing.
 *
 * Whatever was said of an observable stands in the place of what records say of
 * it; of several-of values each on its own. Only what a look once saw and cannot
 * un-happen goes the other way: it stands above what is said.
 *
 * Silence: once free text has spoken of enough signs, a salient value it passes
 * over is unlikely to be there. That is part of the evidence, but no fact: nobody
 * said it. Where a question was put or a setting made, those speak instead.
 */

enum { WORDS_ENOUGH = 200 }; /* bytes of words put together for one fact */

/* ---- one-of and number ----------------------------------------------------------------------- */

/* The words of two statements that hold together; no more of them than a line takes. */
static const char *both(struct triage *triage, const char *first, const char *second)
{
    if (!first || !*first)
        return second;
    if (strlen(first) + strlen(second) > WORDS_ENOUGH || strstr(first, second))
        return first;
    return arena_format(triage->derived, "%s; %s", first, second);
}

static uint32_t possible(const struct observation *said, uint32_t all)
{
    return (said->seen ? said->seen : all) & ~said->absent;
}

/* The statement stands in the place of what was known. */
static void one_take(struct known *known, const struct saying *saying)
{
    known->observation = saying->said;
    if (saying->said.seen) {
        known->observation.seen &= ~saying->said.absent;
        known->observation.absent = 0;
    }
    known->clashes = false;
    known->words = saying->words;
    known->has_number = saying->has_number;
    known->number = saying->number;
}

/* What is still possible after a statement that holds together with what was known. */
static void one_narrow(struct triage *triage, struct known *known, const struct saying *saying,
                       uint32_t left)
{
    if (known->observation.seen || saying->said.seen)
        known->observation = (struct observation){.seen = left};
    else
        known->observation.absent |= saying->said.absent;
    known->observation.hedged = saying->said.hedged & left;
    known->words = both(triage, known->words, saying->words);
    if (saying->has_number) {
        known->has_number = true;
        known->number = saying->number;
    }
}

static void one_tell(struct triage *triage, struct known *known, const struct saying *saying,
                     uint32_t all)
{
    bool doubted = known->observation.hedged != 0, doubts = saying->said.hedged != 0;
    uint32_t before = possible(&known->observation, all), now = possible(&saying->said, all);
    uint32_t left = before & ~saying->said.absent;
    const bool settles_doubt = doubted && !doubts && known->told && known->batch == saying->batch;
    if (!known->told || settles_doubt) {
        one_take(known, saying);
    } else if (known->batch != saying->batch) { /* of an earlier text */
        if (!known->clashes && !saying->said.seen && !doubts && left)
            one_narrow(triage, known, saying, left);
        else
            one_take(known, saying);
    } else if (doubts && !doubted) {
        return;
    } else if (!known->clashes && (before & now)) {
        one_narrow(triage, known, saying, before & now);
    } else if (doubts) {
        known->observation = (struct observation){.seen = before | now, .hedged = before | now};
    } else {
        known->observation = (struct observation){.seen = before | now};
        known->has_number = false;
        if (known->clashes)
            return;
        known->clashes = true;
        known->clash_batch = saying->batch;
        known->clash_first = known->words;
        known->clash_second = saying->words;
    }
}

/* ---- several-of ------------------------------------------------------------------------------ */

static void value_set(struct known *known, const struct saying *saying, size_t value, bool seen)
{
    uint32_t bit = UINT32_C(1) << value;
    struct observation *now = &known->observation;
    now->seen = seen ? now->seen | bit : now->seen & ~bit;
    now->absent = seen ? now->absent & ~bit : now->absent | bit;
    now->hedged &= ~bit;
    known->by_others &= ~bit;
    known->clashing &= ~bit;
    known->value_words[value] = saying->words;
}

static void value_tell(struct known *known, const struct saying *saying, size_t value, bool seen)
{
    uint32_t bit = UINT32_C(1) << value;
    struct observation *now = &known->observation;
    bool stands = ((now->seen | now->absent) & bit) != 0;
    bool fresh_clash = (known->clashing & bit) && known->clash_batch == saying->batch;
    /* A plain statement stands already, and says the opposite. */
    uint32_t opposite = (seen ? now->absent & ~known->by_others : now->seen) & ~now->hedged;
    if (saying->others) {
        if (stands || (known->clashing & bit && !saying->settles))
            return;
        value_set(known, saying, value, false);
        known->by_others |= bit;
    } else if (saying->said.hedged & bit) {
        if ((stands && !(known->by_others & bit)) || fresh_clash)
            return;
        value_set(known, saying, value, seen);
        now->hedged |= bit;
    } else if (fresh_clash) {
        return;
    } else if (!(opposite & bit) || saying->settles) {
        value_set(known, saying, value, seen);
    } else {
        now->seen &= ~bit;
        now->absent &= ~bit;
        if (!known->clashing) {
            known->clash_first = known->value_words[value];
            known->clash_second = saying->words;
        }
        known->clashing |= bit;
        known->clash_batch = saying->batch;
    }
}

/* ---- the log --------------------------------------------------------------------------------- */

static void take_in(struct triage *triage, size_t at, const struct saying *saying)
{
    if (saying->kind == SAYING_QUESTION) {
        triage->asked = saying;
        return;
    }
    struct known *known = &triage->known[saying->observable];
    const struct observable *observable = &triage->rules->observables[saying->observable];
    switch (saying->kind) {
    case SAYING_TOLD:
        if (!known->told)
            known->since = at;
        if (observable->kind != KIND_SEVERAL)
            one_tell(triage, known, saying, rules_all_values(observable));
        for (size_t v = 0; observable->kind == KIND_SEVERAL && v < observable->value_count; v++) {
            if (saying->said.seen >> v & 1)
                value_tell(known, saying, v, true);
            if (saying->said.absent >> v & 1)
                value_tell(known, saying, v, false);
        }
        if (observable->kind == KIND_SEVERAL)
            known->words = both(triage, known->words, saying->words);
        known->told = true;
        known->unknown = false;
        known->batch = saying->batch;
        known->origin = saying->origin;
        known->in_text = known->in_text || saying->origin == ORIGIN_TEXT;
        break;
    case SAYING_ASKED:
        known->asked = true;
        break;
    case SAYING_UNKNOWN:
        known->unknown = true; /* what was said of it before stands */
        break;
    case SAYING_FORGET:
        *known = (struct known){.told = false};
        break;
    case SAYING_QUESTION:
    case SAYING_TEXT:
        break;
    case SAYING_UNCLEAR:
        for (const char *c = saying->words; saying->reason == UNREAD_UNKNOWN && *c; c++)
            triage->evidence.unread += *c != ' ' && (c == saying->words || c[-1] == ' ');
        triage->evidence.objected |= saying->objected;
        *arena_push(triage->derived, triage->unclear, triage->unclear_count) =
            (struct unclear){saying->words, saying->reason, saying->note};
        break;
    }
}

/* ---- what records know, beneath what is said ------------------------------------------------- */

void records_forget(struct triage *triage)
{
    sibling_pattern_release(&triage->pattern);
    triage->pattern = (struct sibling_pattern){.group_count = 0};
    triage->weighed = triage->controls = false;
    triage->recalled = NULL;
    triage->earlier = NULL;
    triage->recalled_count = triage->earlier_count = 0;
}

void triage_recall(struct triage *triage, const struct recalled *recalled)
{
    const char *words = recalled->words != NULL ? recalled->words : "";
    struct recalled *added = arena_push(triage->said, triage->recalled, triage->recalled_count);
    *added = *recalled;
    added->words = triage_keep_words(triage, words, strlen(words));
    triage_merge(triage);
}

enum status triage_recall_setting(struct triage *triage, const char *sign, const char *value,
                                  const char *words, struct diags *diags)
{
    struct reading reading;
    enum status status = reader_set(triage->reader, sign, value, &reading, diags);
    if (status != STATUS_OK)
        return status;
    uint32_t doubted = reading.hedged ? reading.seen | reading.absent : 0;
    const struct recalled recalled = {
        .observable = reading.observable,
        .observation = {.seen = reading.seen, .absent = reading.absent, .hedged = doubted},
        .has_number = reading.has_number,
        .number = reading.number,
        .words = words,
    };
    triage_recall(triage, &recalled);
    return STATUS_OK;
}

void triage_earlier(struct triage *triage, const struct earlier *earlier)
{
    const char *words = earlier->words != NULL ? earlier->words : "";
    struct earlier *added = arena_push(triage->said, triage->earlier, triage->earlier_count);
    *added = *earlier;
    added->words = triage_keep_words(triage, words, strlen(words));
    triage_merge(triage);
}

static void recall_several(struct triage *triage, struct known *known, size_t at,
                           const struct recalled *recalled)
{
    const struct observation *then = &recalled->observation;
    struct observation *now = &known->observation;
    uint32_t said = now->seen | now->absent | known->clashing;
    uint32_t bits = recalled->stands ? then->seen : (then->seen | then->absent) & ~said;
    if (!known->told) {
        known->told = true;
        known->since = at;
        known->origin = ORIGIN_JOURNAL;
        known->words = recalled->words;
    }
    if (bits == 0)
        return;
    now->seen = (now->seen & ~bits) | (then->seen & bits);
    now->absent = (now->absent & ~bits) | (then->absent & bits);
    now->hedged = (now->hedged & ~bits) | (then->hedged & bits);
    known->clashing &= ~bits;
    known->recalled |= bits;
    if (known->recalled_words == NULL || strcmp(known->recalled_words, recalled->words) == 0)
        known->recalled_words = recalled->words;
    else
        known->recalled_words =
            arena_format(triage->derived, "%s; %s", known->recalled_words, recalled->words);
}

static void recall_merge(struct triage *triage, size_t at, const struct recalled *recalled)
{
    struct known *known = &triage->known[recalled->observable];
    if (known->unknown && !recalled->stands)
        return;
    if (triage->rules->observables[recalled->observable].kind == KIND_SEVERAL)
        recall_several(triage, known, at, recalled);
    else if (recalled->stands || !known->told || known->origin == ORIGIN_JOURNAL)
        *known = (struct known){/* all that is known of it comes from records */
                                .told = true,
                                .asked = known->asked,
                                .in_text = known->in_text,
                                .since = at,
                                .observation = recalled->observation,
                                .has_number = recalled->has_number,
                                .number = recalled->number,
                                .origin = ORIGIN_JOURNAL,
                                .words = recalled->words};
}

/* ---- what became of siblings ----------------------------------------------------------------- */

enum status triage_siblings(struct triage *triage, const struct sibling_cell *cells, size_t count,
                            const char *const *names)
{
    struct sibling_pattern pattern;
    enum status status = siblings_weigh(triage->reasoner, cells, count, &pattern);
    if (status != STATUS_OK)
        return status;
    sibling_pattern_release(&triage->pattern);
    triage->pattern = pattern;
    triage->pairs = arena_array(triage->said, pattern.pair_count, sizeof *triage->pairs);
    triage->weighed = true;
    triage->controls = false;
    for (size_t relation = 0; relation < RELATION_COUNT; relation++)
        triage->group_names[relation] =
            names[relation] != NULL
                ? triage_keep_words(triage, names[relation], strlen(names[relation]))
                : "";
    for (size_t i = 0; i < count; i++)
        if (cells[i].control && (cells[i].shares >> RELATION_COOK & 1) != 0 &&
            cells[i].clean + cells[i].stuck + cells[i].contaminated > 0.0)
            triage->controls = true;
    triage_merge(triage);
    return STATUS_OK;
}

/* The observable in which a person says in words what is counted here, or RULES_NONE. */
static int group_observable(const struct triage *triage, enum relation relation)
{
    static const enum feeds feeds[RELATION_COUNT] = {
        [RELATION_COOK] = FEEDS_SIBLINGS_COOK,       [RELATION_GRAIN_LOT] = FEEDS_SIBLINGS_LOT,
        [RELATION_SESSION] = FEEDS_SIBLINGS_SESSION, [RELATION_STARTER] = FEEDS_SIBLINGS_STARTER,
        [RELATION_PLACE] = FEEDS_SIBLINGS_PLACE,
    };
    return feeds[relation] != FEEDS_NONE ? triage->rules->feeder[feeds[relation]] : RULES_NONE;
}

bool group_spoken_of(const struct triage *triage, enum relation relation)
{
    int index = group_observable(triage, relation);
    return index != RULES_NONE && triage->known[index].told;
}

/* What was counted is not asked. */
static void siblings_skip(struct triage *triage)
{
    int controls = triage->rules->feeder[FEEDS_CONTROLS];
    if (!triage->weighed)
        return;
    for (size_t i = 0; i < triage->pattern.group_count; i++) {
        int index = group_observable(triage, triage->pattern.groups[i].relation);
        if (index != RULES_NONE && triage->pattern.groups[i].kind != PATTERN_NO_OTHERS)
            triage->skip[index] = true;
    }
    if (triage->controls && controls != RULES_NONE)
        triage->skip[controls] = true;
}

/* ---- what has changed since earlier looks ---------------------------------------------------- */

/* The pace, the days of standstill, the day on which trouble was first seen.
 *
 * Coverage is judged by eye, so a difference below forecast.coverage_doubt (d points)
 * is none. It tells of a standstill only once growth at the slowest pace that
 * counts as one (s points a day, of the observable that feeds `progress`) would
 * have shown: after d / s days. What is white all through, or not yet white
 * at all, neither stands still nor has a pace. */

static const double USUAL_DOUBT = 5.0; /* points of coverage, where the rules do not say */

static double number_of(const struct triage *triage, enum feeds feeds)
{
    int index = triage->rules->feeder[feeds];
    const struct known *known = index != RULES_NONE ? &triage->known[index] : NULL;
    bool said = known != NULL && known->told && known->has_number;
    return said ? 0.5 * (known->number.lo + known->number.hi) : NAN;
}

/* An observable that feeds it and of which nothing was said or recalled; RULES_NONE else. */
static int open_for(const struct triage *triage, enum feeds feeds)
{
    int index = triage->rules->feeder[feeds];
    const struct known *known = index != RULES_NONE ? &triage->known[index] : NULL;
    return known && !known->told && !known->unknown && !known->asked ? index : RULES_NONE;
}

static bool trouble_now(const struct triage *triage)
{
    for (size_t i = 0; i < triage->rules->observable_count; i++) {
        const struct observable *observable = &triage->rules->observables[i];
        uint32_t seen = triage->known[i].observation.seen & ~triage->known[i].observation.hedged;
        for (size_t v = 0; v < observable->value_count; v++)
            if ((seen >> v & 1) != 0 && observable->values[v].salient)
                return true;
    }
    int index = triage->rules->feeder[FEEDS_PATCHES];
    if (index == RULES_NONE)
        return false;
    const struct observable *patches = &triage->rules->observables[index];
    const struct observation *now = &triage->known[index].observation;
    for (size_t v = 0; v < patches->value_count; v++)
        if ((now->seen >> v & 1) != 0 && !(patches->values[v].parameter > 0.0))
            return false;
    return now->seen != 0 && now->hedged == 0;
}

/* The newest look before `day`, of those before `from`, of which the coverage is known. */
static const struct earlier *look_before(const struct triage *triage, double day, size_t *from)
{
    while (*from > 0 &&
           !(triage->earlier[*from - 1].day < day && !isnan(triage->earlier[*from - 1].coverage)))
        --*from;
    return *from > 0 ? &triage->earlier[--*from] : NULL;
}

static void follows(struct triage *triage, int observable, uint32_t seen,
                    const struct quantity *number, const char *words)
{
    if (seen == 0)
        return;
    triage->known[observable] = (struct known){
        .told = true,
        .since = triage->recalled_count + triage->log_count,
        .observation = {.seen = seen},
        .has_number = number != NULL,
        .number = number != NULL ? *number : (struct quantity){0},
        .origin = ORIGIN_COMPUTED,
        .words = words,
    };
}

static void number_follows(struct triage *triage, int index, double lo, double hi,
                           const char *words)
{
    const struct quantity number = {lo, hi, true};
    const struct observable *observable = &triage->rules->observables[index];
    int first = rules_bin(observable, fmax(lo, observable->min));
    int last = rules_bin(observable, fmin(hi, observable->max));
    uint32_t bins = 0; /* that it may lie in */
    for (int v = first; v != RULES_NONE && v <= last; v++)
        bins |= UINT32_C(1) << v;
    follows(triage, index, bins, &number, words);
}

struct stretch { /* two looks and what lies between */
    const struct earlier *then;
    double day, coverage;   /* now */
    double doubt, shortest; /* points; days after which a standstill shows */
};

static void pace_follows(struct triage *triage, const struct stretch *span)
{
    int index = open_for(triage, FEEDS_PROGRESS);
    double gain = span->coverage - span->then->coverage, days = span->day - span->then->day;
    bool moved = gain >= span->doubt;
    if (index == RULES_NONE || gain <= -span->doubt || (!moved && days < span->shortest))
        return;
    /* The value of the pace for so many points a day: of those not above it the highest. With
     * `moving`, one above 0. RULES_NONE where none fits. */
    double rate = moved ? gain / days : 0.0;
    int value = RULES_NONE;
    for (size_t v = 0; v < triage->rules->observables[index].value_count; v++) {
        double from = triage->rules->observables[index].values[v].parameter;
        if (isnan(from) || (moved && !(from > 0.0)))
            continue;
        /* What has moved has at least the slowest pace that is one. */
        bool fits = from <= rate || (moved && value == RULES_NONE);
        if (fits && (value == RULES_NONE ||
                     from > triage->rules->observables[index].values[value].parameter ||
                     triage->rules->observables[index].values[value].parameter > rate))
            value = (int)v;
    }
    if (value != RULES_NONE)
        follows(triage, index, UINT32_C(1) << value, NULL,
                arena_format(triage->derived, "%.0f %% at the %s, %.0f %% now, %.0f days later",
                             span->then->coverage, span->then->words, span->coverage, days));
}

static void growth_follows(struct triage *triage)
{
    int coverage = triage->rules->feeder[FEEDS_COVERAGE];
    int progress = triage->rules->feeder[FEEDS_PROGRESS];
    size_t from = triage->earlier_count;
    struct stretch span = {.day = number_of(triage, FEEDS_DAY),
                           .coverage = number_of(triage, FEEDS_COVERAGE),
                           .doubt = triage->rules->forecast.coverage_doubt};
    if (coverage == RULES_NONE || progress == RULES_NONE || isnan(span.day) ||
        isnan(span.coverage) || (span.then = look_before(triage, span.day, &from)) == NULL)
        return;
    const struct observable *white = &triage->rules->observables[coverage];
    if (!(span.doubt > 0.0))
        span.doubt = USUAL_DOUBT;
    /* Points a day of the slowest pace that is one; NAN when the rules do not say. */
    double slowest = NAN;
    for (size_t v = 0; v < triage->rules->observables[progress].value_count; v++)
        if (triage->rules->observables[progress].values[v].parameter > 0.0)
            slowest = fmin(slowest, triage->rules->observables[progress]
                                        .values[v]
                                        .parameter); /* of a NAN and a number, that */
    span.shortest = span.doubt / slowest;
    bool begun = span.coverage >= white->values[0].below;
    bool through = span.coverage >= white->values[white->value_count - 1].from;
    if (!begun || through || isnan(span.shortest))
        return;
    pace_follows(triage, &span);
    /* Back to the first of the looks since which the coverage has stayed what it is now. */
    int index = open_for(triage, FEEDS_STALLED_DAYS);
    const struct earlier *since = NULL, *look = span.then;
    for (; look != NULL && fabs(span.coverage - look->coverage) < span.doubt;
         look = look_before(triage, span.day, &from))
        since = look;
    if (index == RULES_NONE || since == NULL || span.day - since->day < span.shortest)
        return;
    double days = span.day - since->day;
    number_follows(
        triage, index, days, days,
        arena_format(triage->derived, "%.0f %% at the %s already", since->coverage, since->words));
}

static void first_seen_follows(struct triage *triage)
{
    int index = open_for(triage, FEEDS_FIRST_SEEN);
    double day = number_of(triage, FEEDS_DAY);
    if (index == RULES_NONE)
        return;
    for (size_t i = 0; i < triage->earlier_count; i++) {
        const struct earlier *earlier = &triage->earlier[i];
        if (!earlier->trouble)
            continue;
        if (!isnan(earlier->day))
            number_follows(triage, index, earlier->day, earlier->day, earlier->words);
        return;
    }
    const struct earlier *last = &triage->earlier[triage->earlier_count - 1];
    if (trouble_now(triage) && !isnan(day) && last->day < day)
        number_follows(triage, index, fmin(last->day + 1.0, day), day,
                       arena_format(triage->derived, "not there yet at the %s", last->words));
}

/* ---- the state ------------------------------------------------------------------------------- */

/* Facts stand in the order in which they were first spoken of. */
static void fact_add(struct triage *triage, size_t observable, const struct known *known)
{
    size_t at = triage->fact_count;
    (void)arena_push(triage->derived, triage->facts, triage->fact_count);
    for (; at > 0 && triage->known[triage->facts[at - 1].observable].since > known->since; at--)
        triage->facts[at] = triage->facts[at - 1];
    triage->facts[at] = (struct fact){
        .observable = observable,
        .observation = known->observation,
        .has_number = known->has_number,
        .number = known->number,
        .origin = known->origin,
        .words = known->words ? known->words : "",
        .recalled = known->recalled,
        .recalled_words = known->recalled_words,
    };
}

/* Between what bounds a fact lies: its number's, or those of the bins it may lie in. */
static bool bounds_of(const struct triage *triage, enum feeds feeds, double *lo, double *hi)
{
    int index = triage->rules->feeder[feeds];
    const struct known *known = index != RULES_NONE ? &triage->known[index] : NULL;
    if (known == NULL || !known->told || known->observation.seen == 0)
        return false;
    const struct observable *observable = &triage->rules->observables[index];
    *lo = NAN, *hi = NAN;
    for (size_t v = 0; v < observable->value_count; v++)
        if ((known->observation.seen >> v & 1) != 0) {
            *lo = fmin(*lo, observable->values[v].from);
            *hi = fmax(*hi, fmin(observable->values[v].below, observable->max));
        }
    if (known->has_number) {
        *lo = known->number.lo;
        *hi = known->number.hi;
    }
    return true;
}

/* White sooner than any culture could be: something else grows there. Days are counted in many ways and coverage is judged
 * by eye, so only what no counting and no eye explains is called so. */
static void speed_follows(struct triage *triage)
{
    static const double least = 40.0, by_eye = 15.0, stretched = 1.15, day_more = 0.5;
    int index = open_for(triage, FEEDS_SPEED);
    double coverage, day, unused;
    if (index == RULES_NONE || !bounds_of(triage, FEEDS_COVERAGE, &coverage, &unused) ||
        !bounds_of(triage, FEEDS_DAY, &unused, &day) || coverage < least ||
        number_of(triage, FEEDS_STALLED_DAYS) >= day) /* then the day is another's */
        return;
    double most = compute_most(triage->rules, triage->facts, triage->fact_count,
                               stretched * day + day_more, coverage - by_eye);
    const struct observable *speed = &triage->rules->observables[index];
    if (!(coverage - by_eye > most))
        return;
    for (size_t v = 0; v < speed->value_count; v++)
        if (speed->values[v].parameter > 0.0) {
            follows(triage, index, UINT32_C(1) << v, NULL,
                    arena_format(triage->derived, "%.0f %% white by day %.3g", coverage, day));
            triage->observations[index] = triage->known[index].observation;
            fact_add(triage, (size_t)index, &triage->known[index]);
            return;
        }
}

void triage_merge(struct triage *triage)
{
    size_t count = triage->rules->observable_count;
    arena_reset(triage->derived);
    for (size_t i = 0; i < count; i++) { /* most are blank already, and they are large */
        struct known *known = &triage->known[i];
        if (known->told || known->asked || known->unknown)
            *known = (struct known){.told = false};
    }
    triage->facts = NULL;
    triage->clashes = NULL;
    triage->unclear = NULL;
    triage->asked = NULL;
    triage->fact_count = triage->clash_count = triage->unclear_count = 0;
    triage->evidence.unread = 0;
    triage->evidence.objected = false;
    triage->stale = true;
    for (size_t i = 0; i < triage->log_count; i++)
        take_in(triage, triage->recalled_count + i, &triage->log[i]);
    for (size_t i = 0; i < triage->recalled_count; i++)
        recall_merge(triage, i, &triage->recalled[i]);
    triage->first_question = RULES_NONE;
    if (triage->earlier_count > 0) {
        growth_follows(triage);
        first_seen_follows(triage);
        /* A patch that was there and is there: what it did between is not guessed but asked. */
        if (triage->earlier[triage->earlier_count - 1].trouble && trouble_now(triage))
            triage->first_question = open_for(triage, FEEDS_SPOT_CHANGE);
    }
    /* Whether free text has described enough for what it passes over to tell. */
    double spoken_of = 0.0, enough = triage->rules->calibration.silence_after;
    for (size_t i = 0; i < triage->rules->observable_count; i++)
        if (triage->known[i].in_text && triage->rules->observables[i].class == CLASS_SIGN)
            spoken_of += 1.0;
    bool silence = enough > 0.0 && spoken_of >= enough;
    for (size_t i = 0; i < count; i++) {
        const struct known *known = &triage->known[i];
        triage->observations[i] = known->observation;
        /* The salient values that were passed over. */
        const struct observable *observable = &triage->rules->observables[i];
        bool spoken =
            known->asked || known->unknown ||
            (known->told && known->origin != ORIGIN_TEXT && known->origin != ORIGIN_JOURNAL);
        for (size_t v = 0; silence && !spoken && v < observable->value_count; v++)
            if (observable->values[v].salient)
                triage->observations[i].silent |= UINT32_C(1) << v;
        triage->observations[i].silent &=
            ~(known->observation.seen | known->observation.absent | known->clashing);
        triage->skip[i] = known->asked || known->unknown;
        if (known->observation.seen || known->observation.absent)
            fact_add(triage, i, known);
        if (known->clashes || known->clashing)
            *arena_push(triage->derived, triage->clashes, triage->clash_count) =
                (struct clash){i, known->clash_first, known->clash_second};
    }
    speed_follows(triage);
    const struct decision_rules *decision = &triage->rules->decision;
    for (size_t i = 0; i < decision->asked_if_count; i++) {
        const struct asked_if *only = &decision->asked_if[i];
        const bool holds = reason_holds(triage->reasoner, &only->when, &triage->evidence) &&
                           (only->unless.count == 0 ||
                            !reason_holds(triage->reasoner, &only->unless, &triage->evidence));
        for (size_t k = 0; k < only->observable_count && !holds; k++)
            triage->skip[only->observables[k]] = true;
    }
    siblings_skip(triage);
    /* The words of all descriptions together. */
    struct text all;
    text_init(&all);
    for (size_t i = 0; i < triage->log_count; i++)
        if (triage->log[i].kind == SAYING_TEXT) {
            text_puts(&all, triage->log[i].words);
            text_puts(&all, "\n");
        }
    triage->word_weight_count = 0;
    triage->evidence.words = NULL;
    if (triage->words && all.length > 0) {
        triage->word_weight_count =
            words_weigh(triage->words, all.bytes, all.length, triage->likelihood,
                        triage->word_weights, WORD_WEIGHTS);
        triage->evidence.words = triage->likelihood;
    }
    text_release(&all);
}
