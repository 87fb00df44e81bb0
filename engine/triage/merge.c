/* SPDX-License-Identifier: GPL-3.0-or-later */
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
#include <stdlib.h>
#include <string.h>

#include "triage/triage_internal.h"

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
