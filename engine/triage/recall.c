/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What records know, beneath what is said.
 *
 * Whatever was said of an observable stands in the place of what records say of
 * it; of several-of values each on its own. Only what a look once saw and cannot
 * un-happen goes the other way: it stands above what is said.
 */
#include <string.h>

#include "triage/triage_internal.h"

void records_forget(struct triage *triage)
{
    sibling_pattern_release(&triage->records.pattern);
    triage->records = (struct records){0};
}

/* ---- being told ------------------------------------------------------------------------------ */

static bool recalled_grow(struct triage *triage)
{
    struct records *records = &triage->records;
    if (records->recalled_count < records->recalled_room)
        return true;
    size_t room = records->recalled_room ? 2 * records->recalled_room : 32;
    struct recalled *grown =
        arena_grow(triage->said, records->recalled, records->recalled_count, room, sizeof *grown);
    if (grown == NULL)
        return false;
    records->recalled = grown;
    records->recalled_room = room;
    return true;
}

enum status triage_recall(struct triage *triage, const struct recalled *recalled)
{
    const char *words = recalled->words != NULL ? recalled->words : "";
    const char *kept = triage_keep_words(triage, words, strlen(words));
    if (kept == NULL || !recalled_grow(triage))
        return STATUS_MEMORY;
    struct recalled *added = &triage->records.recalled[triage->records.recalled_count++];
    *added = *recalled;
    added->words = kept;
    triage_merge(triage);
    return STATUS_OK;
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
    return triage_recall(triage, &recalled);
}

enum status triage_earlier(struct triage *triage, const struct earlier *earlier)
{
    struct records *records = &triage->records;
    const char *words = earlier->words != NULL ? earlier->words : "";
    const char *kept = triage_keep_words(triage, words, strlen(words));
    if (kept != NULL && records->earlier_count == records->earlier_room) {
        size_t room = records->earlier_room ? 2 * records->earlier_room : 8;
        struct earlier *grown =
            arena_grow(triage->said, records->earlier, records->earlier_count, room, sizeof *grown);
        if (grown == NULL)
            return STATUS_MEMORY;
        records->earlier = grown;
        records->earlier_room = room;
    }
    if (kept == NULL)
        return STATUS_MEMORY;
    struct earlier *added = &records->earlier[records->earlier_count++];
    *added = *earlier;
    added->words = kept;
    triage_merge(triage);
    return STATUS_OK;
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
