/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/triage.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "triage/compute.h"
#include "triage/triage_internal.h"

/* ==== recall ================================================================================== */

/*
 * What records know, beneath what is said.
 *
 * Whatever was said of an observable stands in the place of what records say of
 * it; of several-of values each on its own. Only what a look once saw and cannot
 * un-happen goes the other way: it stands above what is said.
 */

void records_forget(struct triage *triage)
{
    sibling_pattern_release(&triage->records.pattern);
    triage->records = (struct records){0};
}

/* ---- being told ------------------------------------------------------------------------------ */

void triage_recall(struct triage *triage, const struct recalled *recalled)
{
    struct records *records = &triage->records;
    const char *words = recalled->words != NULL ? recalled->words : "";
    struct recalled *added = arena_push(triage->said, records->recalled, records->recalled_count);
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
    struct records *records = &triage->records;
    const char *words = earlier->words != NULL ? earlier->words : "";
    struct earlier *added = arena_push(triage->said, records->earlier, records->earlier_count);
    *added = *earlier;
    added->words = triage_keep_words(triage, words, strlen(words));
    triage_merge(triage);
}

/* ---- beneath what is said -------------------------------------------------------------------- */

/* All that is known of it comes from records. */
static void take_whole(struct known *known, size_t at, const struct recalled *recalled)
{
    *known = (struct known){
        .value_words = known->value_words,
        .told = true,
        .asked = known->asked,
        .in_text = known->in_text,
        .since = at,
        .observation = recalled->observation,
        .has_number = recalled->has_number,
        .number = recalled->number,
        .origin = ORIGIN_JOURNAL,
        .words = recalled->words,
    };
}

/* The values `bits` are seen or denied as records have them. */
static void take_values(struct triage *triage, struct known *known, const struct recalled *recalled,
                        uint32_t bits)
{
    struct observation *now = &known->observation;
    const struct observation *then = &recalled->observation;
    if (bits == 0)
        return;
    now->seen = (now->seen & ~bits) | (then->seen & bits);
    now->absent = (now->absent & ~bits) | (then->absent & bits);
    now->hedged = (now->hedged & ~bits) | (then->hedged & bits);
    known->clashing &= ~bits;
    known->recalled |= bits;
    known->recalled_words =
        known->recalled_words == NULL || strcmp(known->recalled_words, recalled->words) == 0
            ? recalled->words
            : arena_format(triage->derived, "%s; %s", known->recalled_words, recalled->words);
    if (known->recalled_words == NULL)
        known->recalled_words = recalled->words;
}

static void merge_several(struct triage *triage, struct known *known, size_t at,
                          const struct recalled *recalled)
{
    const struct observation *then = &recalled->observation;
    uint32_t said = known->observation.seen | known->observation.absent | known->clashing;
    uint32_t bits = recalled->stands ? then->seen : (then->seen | then->absent) & ~said;
    if (!known->told) {
        known->told = true;
        known->since = at;
        known->origin = ORIGIN_JOURNAL;
        known->words = recalled->words;
    }
    take_values(triage, known, recalled, bits);
}

static void merge_one(struct known *known, size_t at, const struct recalled *recalled)
{
    bool said = known->told && known->origin != ORIGIN_JOURNAL;
    if (recalled->stands || !said)
        take_whole(known, at, recalled);
}

void records_merge(struct triage *triage)
{
    for (size_t i = 0; i < triage->records.recalled_count; i++) {
        const struct recalled *recalled = &triage->records.recalled[i];
        struct known *known = &triage->known[recalled->observable];
        if (known->unknown && !recalled->stands)
            continue;
        if (triage->rules->observables[recalled->observable].kind == KIND_SEVERAL)
            merge_several(triage, known, i, recalled);
        else
            merge_one(known, i, recalled);
    }
}

/* ==== change ================================================================================== */

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

/* ==== merge =================================================================================== */

/*
 * From what was said, in order, to what is known.
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
 * Silence: once free text has spoken of enough signs, a salient value it passes
 * over is unlikely to be there. That is part of the evidence, but no fact: nobody
 * said it. Where a question was put or a setting made, those speak instead.
 */

enum { WORDS_ENOUGH = 200 }; /* bytes of words put together for one fact */

/* The words of two statements that hold together; no more of them than a line takes. */
static const char *both(struct triage *triage, const char *first, const char *second)
{
    if (!first || !*first)
        return second;
    if (strlen(first) + strlen(second) > WORDS_ENOUGH || strstr(first, second))
        return first;
    const char *joined = arena_format(triage->derived, "%s; %s", first, second);
    return joined ? joined : second;
}

static void set_number(struct known *known, const struct saying *saying)
{
    known->has_number = saying->has_number;
    known->number = saying->number;
}

/* ---- one-of and number ----------------------------------------------------------------------- */

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
    set_number(known, saying);
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
    if (saying->has_number)
        set_number(known, saying);
}

static void one_clash(struct known *known, const struct saying *saying, uint32_t union_of)
{
    known->observation = (struct observation){.seen = union_of};
    known->has_number = false;
    if (!known->clashes) {
        known->clashes = true;
        known->clash_batch = saying->batch;
        known->clash_first = known->words;
        known->clash_second = saying->words;
    }
}

/* Two statements of one text. */
static void one_combine(struct triage *triage, struct known *known, const struct saying *saying,
                        uint32_t all)
{
    bool doubted = known->observation.hedged != 0, doubts = saying->said.hedged != 0;
    uint32_t before = possible(&known->observation, all), now = possible(&saying->said, all);

    if (doubted && !doubts) {
        one_take(known, saying);
    } else if (doubts && !doubted) {
        return;
    } else if (known->clashes || !(before & now)) {
        if (doubts)
            known->observation = (struct observation){.seen = before | now, .hedged = before | now};
        else
            one_clash(known, saying, before | now);
    } else {
        one_narrow(triage, known, saying, before & now);
    }
}

static void one_tell(struct triage *triage, struct known *known, const struct saying *saying,
                     uint32_t all)
{
    uint32_t left = possible(&known->observation, all) & ~saying->said.absent;
    bool only_denies = !saying->said.seen && !saying->said.hedged;

    if (known->told && known->batch == saying->batch)
        one_combine(triage, known, saying, all);
    else if (known->told && !known->clashes && only_denies && left)
        one_narrow(triage, known, saying, left);
    else
        one_take(known, saying);
}

/* ---- several-of ------------------------------------------------------------------------------ */

static void value_set(struct known *known, uint32_t bit, bool seen, const char *words, size_t value)
{
    known->observation.seen &= ~bit;
    known->observation.absent &= ~bit;
    known->observation.hedged &= ~bit;
    known->by_others &= ~bit;
    known->clashing &= ~bit;
    *(seen ? &known->observation.seen : &known->observation.absent) |= bit;
    known->value_words[value] = words;
}

static void value_clash(struct known *known, uint32_t bit, const struct saying *saying,
                        size_t value)
{
    known->observation.seen &= ~bit;
    known->observation.absent &= ~bit;
    if (!known->clashing) {
        known->clash_first = known->value_words[value];
        known->clash_second = saying->words;
    }
    known->clashing |= bit;
    known->clash_batch = saying->batch;
}

/* Whether a plain statement about the value stands already, and says the opposite. */
static bool contradicts(const struct known *known, uint32_t bit, bool seen)
{
    uint32_t opposite =
        seen ? known->observation.absent & ~known->by_others : known->observation.seen;
    return (opposite & ~known->observation.hedged & bit) != 0;
}

static void value_tell(struct known *known, const struct saying *saying, size_t value, bool seen)
{
    uint32_t bit = UINT32_C(1) << value;
    bool stands = ((known->observation.seen | known->observation.absent) & bit) != 0;
    bool fresh_clash = (known->clashing & bit) && known->clash_batch == saying->batch;

    if (saying->others) {
        if (stands || (known->clashing & bit && !saying->settles))
            return;
        value_set(known, bit, false, saying->words, value);
        known->by_others |= bit;
        return;
    }
    if (saying->said.hedged & bit) {
        if ((stands && !(known->by_others & bit)) || fresh_clash)
            return;
        value_set(known, bit, seen, saying->words, value);
        known->observation.hedged |= bit;
        return;
    }
    if (fresh_clash)
        return;
    if (contradicts(known, bit, seen) && !saying->settles)
        value_clash(known, bit, saying, value);
    else
        value_set(known, bit, seen, saying->words, value);
}

static void several_tell(struct triage *triage, struct known *known, const struct saying *saying,
                         size_t values)
{
    for (size_t v = 0; v < values; v++) {
        if (saying->said.seen >> v & 1)
            value_tell(known, saying, v, true);
        if (saying->said.absent >> v & 1)
            value_tell(known, saying, v, false);
    }
    known->words = both(triage, known->words, saying->words);
}

/* ---- the log --------------------------------------------------------------------------------- */

static void tell(struct triage *triage, size_t at, const struct saying *saying)
{
    struct known *known = &triage->known[saying->observable];
    const struct observable *observable = &triage->rules->observables[saying->observable];

    if (!known->told)
        known->since = at;
    if (observable->kind == KIND_SEVERAL)
        several_tell(triage, known, saying, observable->value_count);
    else
        one_tell(triage, known, saying, rules_all_values(observable));
    known->told = true;
    known->unknown = false;
    known->batch = saying->batch;
    known->origin = saying->origin;
    known->in_text = known->in_text || saying->origin == ORIGIN_TEXT;
}

static size_t count_words(const char *words)
{
    size_t count = 0;
    for (const char *at = words; *at; at++)
        count += *at != ' ' && (at == words || at[-1] == ' ');
    return count;
}

/* Where the words of each value stand; they are only read once the value is set. */
static const char **words_of_values(const struct triage *triage, size_t observable)
{
    return triage->value_words + observable * RULES_MAX_VALUES;
}

static struct known known_nothing(const struct triage *triage, size_t observable)
{
    return (struct known){.value_words = words_of_values(triage, observable)};
}

static void take_in(struct triage *triage, size_t at, const struct saying *saying)
{
    struct known *known = &triage->known[saying->observable];

    switch (saying->kind) {
    case SAYING_TOLD:
        tell(triage, at, saying);
        break;
    case SAYING_ASKED:
        known->asked = true;
        break;
    case SAYING_UNKNOWN:
        *known = known_nothing(triage, saying->observable);
        known->unknown = true;
        break;
    case SAYING_FORGET:
        *known = known_nothing(triage, saying->observable);
        break;
    case SAYING_UNCLEAR:
        if (saying->reason == UNREAD_UNKNOWN)
            triage->evidence.unread += count_words(saying->words);
        triage->evidence.objected |= saying->objected;
        triage->unclear[triage->unclear_count++] =
            (struct unclear){saying->words, saying->reason, saying->note};
        break;
    }
}

static void state_clear(struct triage *triage)
{
    size_t count = triage->rules->observable_count;

    arena_reset(triage->derived);
    memset(triage->known, 0, count * sizeof *triage->known);
    for (size_t i = 0; i < count; i++)
        triage->known[i].value_words = words_of_values(triage, i);
    memset(triage->observations, 0, count * sizeof *triage->observations);
    triage->fact_count = triage->clash_count = triage->unclear_count = 0;
    triage->evidence.shift_count = triage->computed_count = triage->evidence.unread = 0;
    triage->evidence.objected = false;
    triage->stale = true;
}

static void fact_add(struct triage *triage, size_t observable, const struct known *known)
{
    /* Facts stand in the order in which they were first spoken of. */
    size_t at = triage->fact_count++;
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

/* ---- silence --------------------------------------------------------------------------------- */

/* Whether free text has described enough for what it passes over to tell. */
static bool silence_tells(const struct triage *triage)
{
    double spoken_of = 0.0, enough = triage->rules->calibration.silence_after;
    for (size_t i = 0; i < triage->rules->observable_count; i++)
        if (triage->known[i].in_text && triage->rules->observables[i].class == CLASS_SIGN)
            spoken_of += 1.0;
    return enough > 0.0 && spoken_of >= enough;
}

/* The salient values that were passed over. */
static uint32_t passed_over(const struct triage *triage, size_t index)
{
    const struct observable *observable = &triage->rules->observables[index];
    const struct known *known = &triage->known[index];
    uint32_t silent = 0;

    if (known->asked || known->unknown ||
        (known->told && known->origin != ORIGIN_TEXT && known->origin != ORIGIN_JOURNAL))
        return 0;
    for (size_t v = 0; v < observable->value_count; v++)
        if (observable->values[v].salient)
            silent |= UINT32_C(1) << v;
    return silent & ~(known->observation.seen | known->observation.absent | known->clashing);
}

/* ---- the state ------------------------------------------------------------------------------- */

void triage_merge(struct triage *triage)
{
    state_clear(triage);
    for (size_t i = 0; i < triage->log_count; i++)
        take_in(triage, triage->records.recalled_count + i, &triage->log[i]);
    records_merge(triage);
    change_merge(triage);
    bool silence = silence_tells(triage);
    for (size_t i = 0; i < triage->rules->observable_count; i++) {
        const struct known *known = &triage->known[i];
        triage->observations[i] = known->observation;
        triage->observations[i].silent = silence ? passed_over(triage, i) : 0;
        triage->skip[i] = known->asked || known->unknown;
        if (known->observation.seen || known->observation.absent)
            fact_add(triage, i, known);
        if (known->clashes || known->clashing)
            triage->clashes[triage->clash_count++] =
                (struct clash){i, known->clash_first, known->clash_second};
    }
    siblings_skip(triage);
}

/* ==== triage ================================================================================== */

/* What is said to a triage, in words, settings and answers; marks and going back. */

enum { WORDS_LIMIT = 160 }; /* code points shown back of one statement */

/* ---- life ------------------------------------------------------------------------------------ */

static struct stakes usual_stakes(const struct rules *rules)
{
    return (struct stakes){
        .worth = 1.0, .neighbours = rules->decision.neighbours, .use = RULES_NONE};
}

static bool rooms_build(struct triage *triage)
{
    size_t count = triage->rules->observable_count + 1;

    triage->said = arena_new();
    triage->scratch = arena_new();
    triage->derived = arena_new();
    triage->judged = arena_new();
    triage->cooks = cook_memo_new();
    triage->known = calloc(count, sizeof *triage->known);
    triage->value_words = calloc(count, RULES_MAX_VALUES * sizeof *triage->value_words);
    triage->observations = calloc(count, sizeof *triage->observations);
    triage->skip = calloc(count, sizeof *triage->skip);
    triage->facts = calloc(count, sizeof *triage->facts);
    triage->clashes = calloc(count, sizeof *triage->clashes);
    triage->computed = calloc(triage->rules->cause_count + 1, sizeof *triage->computed);
    triage->shifts = calloc(2 * triage->rules->cause_count + 1, sizeof *triage->shifts);
    return triage->said && triage->scratch && triage->derived && triage->judged && triage->cooks &&
           triage->known && triage->value_words && triage->observations && triage->skip &&
           triage->facts && triage->clashes && triage->computed && triage->shifts;
}

struct triage *triage_new(const struct rules *rules, struct reader *reader,
                          const struct reasoner *reasoner)
{
    struct triage *triage = calloc(1, sizeof *triage);
    if (!triage)
        return NULL;
    triage->rules = rules;
    triage->reader = reader;
    triage->reasoner = reasoner;
    triage->stakes = usual_stakes(rules);
    posterior_init(&triage->posterior, reasoner);
    if (!rooms_build(triage)) {
        triage_free(triage);
        return NULL;
    }
    triage->evidence.observations = triage->observations;
    triage->evidence.shifts = triage->shifts;
    triage->first_question = RULES_NONE;
    triage->stale = true;
    return triage;
}

void triage_free(struct triage *triage)
{
    if (!triage)
        return;
    posterior_release(&triage->posterior);
    records_forget(triage);
    arena_free(triage->said);
    arena_free(triage->scratch);
    arena_free(triage->derived);
    arena_free(triage->judged);
    cook_memo_free(triage->cooks);
    free(triage->known);
    free((void *)triage->value_words);
    free(triage->observations);
    free(triage->skip);
    free(triage->facts);
    free(triage->clashes);
    free(triage->computed);
    free(triage->shifts);
    free(triage->pairs);
    free(triage);
}

void triage_reset(struct triage *triage)
{
    records_forget(triage);
    arena_reset(triage->said);
    triage->log = NULL;
    triage->unclear = NULL;
    triage->log_count = triage->log_room = 0;
    triage->stakes = usual_stakes(triage->rules);
    triage_merge(triage);
}

const char *origin_name(enum origin origin)
{
    static const char *const names[] = {"text", "set", "answer", "computed", "journal"};
    return names[origin];
}

/* ---- the log --------------------------------------------------------------------------------- */

static bool log_grow(struct triage *triage)
{
    if (triage->log_count < triage->log_room)
        return true;
    size_t room = triage->log_room ? 2 * triage->log_room : 32;
    struct saying *log =
        arena_grow(triage->said, triage->log, triage->log_count, room, sizeof *log);
    struct unclear *unclear = arena_array(triage->said, room, sizeof *unclear);
    if (!log || !unclear)
        return false;
    triage->log = log;
    triage->unclear = unclear;
    triage->log_room = room;
    return true;
}

static bool say(struct triage *triage, struct saying saying)
{
    if (!saying.words || !log_grow(triage))
        return false;
    saying.batch = triage->batch;
    triage->log[triage->log_count++] = saying;
    return true;
}

/* Ends a call: what was said counts as a whole, or, without memory, not at all. */
static enum status close_batch(struct triage *triage, size_t start, bool complete)
{
    if (!complete)
        triage->log_count = start;
    triage_merge(triage);
    return complete ? STATUS_OK : STATUS_MEMORY;
}

/* A safe copy in the arena of what was said; NULL when out of memory. */
const char *triage_keep_words(struct triage *triage, const char *bytes, size_t length)
{
    const struct text_safe_options options = {.limit = WORDS_LIMIT};
    struct text safe;

    text_init(&safe);
    text_safe(&safe, bytes, length, &options);
    const char *kept =
        safe.failed ? NULL : arena_copy(triage->said, safe.bytes ? safe.bytes : "", safe.length);
    text_release(&safe);
    return kept;
}

/* ---- text ------------------------------------------------------------------------------------ */

static struct saying saying_of(const struct reading *reading, enum origin origin)
{
    return (struct saying){
        .kind = SAYING_TOLD,
        .observable = reading->observable,
        .said = {.seen = reading->seen,
                 .absent = reading->absent,
                 .hedged = reading->hedged ? reading->seen | reading->absent : 0},
        .others = reading->others,
        .has_number = reading->has_number,
        .number = reading->number,
        .origin = origin,
    };
}

static bool say_list(struct triage *triage, const struct reading_list *list, enum origin origin,
                     int answers)
{
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *reading = &list->readings[i];
        struct saying saying = saying_of(reading, origin);
        saying.settles = answers == (int)reading->observable;
        saying.words = triage_keep_words(triage, list->text + reading->span.start,
                                         reading->span.end - reading->span.start);
        if (!say(triage, saying))
            return false;
    }
    for (size_t i = 0; i < list->unread_count; i++) {
        const struct unread *unread = &list->unread[i];
        struct saying saying = {
            .kind = SAYING_UNCLEAR, .reason = unread->reason, .objected = unread->objected};
        saying.words = triage_keep_words(triage, list->text + unread->span.start,
                                         unread->span.end - unread->span.start);
        saying.note = unread->note ? arena_string(triage->said, unread->note) : NULL;
        if ((unread->note && !saying.note) || !say(triage, saying))
            return false;
    }
    return true;
}

enum status triage_tell(struct triage *triage, const char *text, size_t length, struct diags *diags)
{
    struct reading_list list;
    size_t start = triage->log_count;

    arena_reset(triage->scratch);
    enum status status = reader_read(triage->reader, text, length, triage->scratch, &list, diags);
    if (status != STATUS_OK)
        return status;
    triage->batch++;
    return close_batch(triage, start, say_list(triage, &list, ORIGIN_TEXT, RULES_NONE));
}

/* ---- settings -------------------------------------------------------------------------------- */

/* Passes messages on with the place the setting stands at. */
static void place_messages(const struct diags *from, struct position at, struct diags *diags)
{
    for (size_t i = 0; i < diags_kept(from); i++) {
        const struct diag *diag = diags_get(from, i);
        if (diag->kind == DIAG_ERROR)
            diags_error(diags, at, "%s", diag->message);
        else
            diags_warn(diags, at, "%s", diag->message);
    }
}

enum status triage_set(struct triage *triage, const char *sign, const char *value,
                       struct position at, struct diags *diags)
{
    struct reading reading;
    struct diags *unplaced = diags_new();
    size_t start = triage->log_count;

    if (!unplaced)
        return STATUS_MEMORY;
    enum status status = reader_set(triage->reader, sign, value, &reading, unplaced);
    place_messages(unplaced, at, diags);
    diags_free(unplaced);
    if (status != STATUS_OK)
        return status;

    struct saying saying = saying_of(&reading, ORIGIN_SET);
    const char *words = arena_format(triage->said, "%s=%s", sign, value);
    saying.words = words ? triage_keep_words(triage, words, strlen(words)) : NULL;
    triage->batch++;
    return close_batch(triage, start, say(triage, saying));
}

/* ---- answers --------------------------------------------------------------------------------- */

/* Whether the text is nothing but numbers of a list from 1 to `count`; their bits. */
static bool list_numbers(const char *text, size_t count, uint32_t *bits)
{
    *bits = 0;
    for (const char *at = text; *at;) {
        if (strchr(" \t\r\n,;.&+", *at)) {
            at++;
            continue;
        }
        size_t number = 0;
        if (*at < '0' || *at > '9')
            return false;
        for (; *at >= '0' && *at <= '9'; at++)
            if ((number = 10 * number + (size_t)(*at - '0')) > count)
                return false;
        if (number == 0)
            return false;
        *bits |= UINT32_C(1) << (number - 1);
    }
    return *bits != 0;
}

static const char *value_labels(struct triage *triage, const struct observable *observable,
                                uint32_t bits)
{
    const char *words = "";
    for (size_t v = 0; words && v < observable->value_count; v++)
        if (bits >> v & 1)
            words = arena_format(triage->said, "%s%s%s", words, *words ? ", " : "",
                                 observable->values[v].label);
    return words;
}

/* A several-of answered in full also says what was not seen: all it does not name. */
static bool say_no_other(struct triage *triage, size_t start, size_t index)
{
    const struct observable *observable = &triage->rules->observables[index];
    struct saying others = {.kind = SAYING_TOLD,
                            .observable = index,
                            .others = true,
                            .settles = true,
                            .origin = ORIGIN_ANSWER,
                            .words = ""};

    if (observable->kind != KIND_SEVERAL)
        return true;
    for (size_t i = start; i < triage->log_count; i++)
        if (triage->log[i].kind == SAYING_TOLD && triage->log[i].observable == index)
            others.said.seen |= triage->log[i].said.seen;
    if (!others.said.seen)
        return true;
    others.said.absent = rules_all_values(observable) & ~others.said.seen;
    others.said.seen = 0;
    return say(triage, others);
}

static bool say_asked(struct triage *triage, size_t observable)
{
    return say(triage,
               (struct saying){.kind = SAYING_ASKED, .observable = observable, .words = ""});
}

static enum status answer_by_numbers(struct triage *triage, size_t index, uint32_t bits)
{
    const struct observable *observable = &triage->rules->observables[index];
    size_t start = triage->log_count;
    struct saying saying = {.kind = SAYING_TOLD,
                            .observable = index,
                            .said = {.seen = bits},
                            .settles = true,
                            .origin = ORIGIN_ANSWER,
                            .words = value_labels(triage, observable, bits)};

    triage->batch++;
    return close_batch(triage, start,
                       say(triage, saying) && say_no_other(triage, start, index) &&
                           say_asked(triage, index));
}

static bool tells_of(const struct reading_list *list, size_t observable)
{
    for (size_t i = 0; i < list->reading_count; i++)
        if (list->readings[i].observable == observable)
            return true;
    return false;
}

enum status triage_answer(struct triage *triage, size_t observable, const char *text,
                          struct diags *diags)
{
    const struct observable *asked = &triage->rules->observables[observable];
    struct reading_list list;
    uint32_t bits;
    size_t start = triage->log_count;

    if (asked->kind != KIND_NUMBER && list_numbers(text, asked->value_count, &bits))
        return answer_by_numbers(triage, observable, bits);
    arena_reset(triage->scratch);
    enum status status = reader_answer(triage->reader, observable, text, strlen(text),
                                       triage->scratch, &list, diags);
    if (status != STATUS_OK)
        return status;
    if (list.reading_count == 0)
        return STATUS_USAGE;
    triage->batch++;
    bool complete = say_list(triage, &list, ORIGIN_ANSWER, (int)observable);
    if (tells_of(&list, observable))
        complete =
            complete && say_no_other(triage, start, observable) && say_asked(triage, observable);
    return close_batch(triage, start, complete);
}

/* Without memory nothing changes. */
static void say_bare(struct triage *triage, enum saying_kind kind, size_t observable)
{
    triage->batch++;
    say(triage, (struct saying){.kind = kind, .observable = observable, .words = ""});
    triage_merge(triage);
}

void triage_unknown(struct triage *triage, size_t observable)
{
    say_bare(triage, SAYING_UNKNOWN, observable);
}

void triage_forget(struct triage *triage, size_t observable)
{
    say_bare(triage, SAYING_FORGET, observable);
}

/* ---- cases ----------------------------------------------------------------------------------- */

static void set_stakes(struct triage *triage, const struct labelled_case *labelled)
{
    const struct decision_rules *rules = &triage->rules->decision;
    struct stakes *stakes = &triage->stakes;

    if (!isnan(labelled->worth))
        stakes->worth = labelled->worth;
    if (!isnan(labelled->neighbours))
        stakes->neighbours = labelled->neighbours;
    if (!labelled->use)
        return;
    for (size_t i = 0; i < rules->use_count; i++)
        if (strcmp(rules->uses[i].id, labelled->use) == 0)
            stakes->use = (int)i;
    stakes->use_count = isnan(labelled->use_count) ? 1.0 : labelled->use_count;
}

enum status triage_case(struct triage *triage, const struct labelled_case *labelled,
                        struct diags *diags)
{
    set_stakes(triage, labelled);
    enum status status = triage_tell(triage, labelled->text, strlen(labelled->text), diags);
    for (size_t i = 0; status == STATUS_OK && i < labelled->setting_count; i++) {
        const struct case_setting *setting = &labelled->settings[i];
        status = triage_set(triage, setting->sign, setting->value, setting->at, diags);
    }
    return status;
}

/* ---- going back and looking ------------------------------------------------------------------ */

size_t triage_mark(struct triage *triage)
{
    return triage->log_count;
}

void triage_return(struct triage *triage, size_t mark)
{
    if (mark < triage->log_count)
        triage->log_count = mark;
    triage_merge(triage);
}

const struct rules *triage_rules(const struct triage *triage)
{
    return triage->rules;
}

struct stakes *triage_stakes(struct triage *triage)
{
    return &triage->stakes;
}

bool triage_compute(struct triage *triage)
{
    if (!triage->stale)
        return true;
    struct moves moves = {.list = triage->computed, .room = triage->rules->cause_count};
    if (!compute_moves(triage->reasoner, &triage->evidence, triage->facts, triage->fact_count,
                       triage->cooks, triage->derived, &moves) ||
        arena_exhausted(triage->derived))
        return false;
    triage->computed_count = moves.count;
    compute_shifts(triage->computed, triage->computed_count, triage->shifts);
    triage->evidence.shift_count = triage->computed_count;
    siblings_shift(triage);
    triage->stale = false;
    return true;
}

const struct evidence *triage_evidence(struct triage *triage)
{
    return triage_compute(triage) ? &triage->evidence : NULL;
}

size_t triage_facts(const struct triage *triage, const struct fact **facts)
{
    *facts = triage->facts;
    return triage->fact_count;
}

size_t triage_unclear(const struct triage *triage, const struct unclear **unclear)
{
    *unclear = triage->unclear;
    return triage->unclear_count;
}

size_t triage_clashes(const struct triage *triage, const struct clash **clashes)
{
    *clashes = triage->clashes;
    return triage->clash_count;
}

uint32_t triage_silent(const struct triage *triage, size_t observable)
{
    return triage->observations[observable].silent;
}
