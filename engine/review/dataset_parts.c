/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "review/dataset_internal.h"

/* ---- words and their numbers ------------------------------------------------------------------ */

struct interner {
    struct arena *arena;
    const char **words;
    size_t *lengths;
    size_t count, room;
    uint32_t *slots; /* number + 1; 0 is free */
    size_t slot_count;
};

/* Fowler, Noll & Vo: FNV-1a, 64 bits. */
static uint64_t hash(const char *word, size_t length)
{
    uint64_t hashed = UINT64_C(0xcbf29ce484222325);
    for (size_t i = 0; i < length; i++)
        hashed = (hashed ^ (unsigned char)word[i]) * UINT64_C(0x100000001b3);
    return hashed;
}

static size_t slot_of(const struct interner *interner, const char *word, size_t length)
{
    size_t slot = (size_t)hash(word, length) & (interner->slot_count - 1);
    while (interner->slots[slot] != 0) {
        size_t at = interner->slots[slot] - 1;
        if (interner->lengths[at] == length && memcmp(interner->words[at], word, length) == 0)
            break;
        slot = (slot + 1) & (interner->slot_count - 1);
    }
    return slot;
}

/* Room for twice as many; slots stay half empty. */
static bool grow(struct interner *interner)
{
    size_t room = interner->room * 2;
    const char **words =
        arena_grow(interner->arena, interner->words, interner->count, room, sizeof *words);
    size_t *lengths =
        arena_grow(interner->arena, interner->lengths, interner->count, room, sizeof *lengths);
    uint32_t *slots = arena_array(interner->arena, room * 2, sizeof *slots);
    if (words == NULL || lengths == NULL || slots == NULL)
        return false;
    interner->words = words;
    interner->lengths = lengths;
    interner->slots = slots;
    interner->slot_count = room * 2;
    interner->room = room;
    for (size_t i = 0; i < interner->count; i++)
        slots[slot_of(interner, words[i], lengths[i])] = (uint32_t)i + 1;
    return true;
}

struct interner *interner_new(struct arena *arena)
{
    enum { FIRST = 8 };
    struct interner *interner = arena_alloc(arena, sizeof *interner);
    if (interner == NULL)
        return NULL;
    *interner = (struct interner){.arena = arena, .room = FIRST / 2};
    return grow(interner) ? interner : NULL;
}

bool interner_put(struct interner *interner, const char *word, size_t length, uint32_t *number)
{
    *number = LEVEL_NONE;
    if (length == 0)
        return true;
    size_t slot = slot_of(interner, word, length);
    if (interner->slots[slot] == 0) {
        if (interner->count == interner->room) {
            if (!grow(interner))
                return false;
            slot = slot_of(interner, word, length);
        }
        const char *copy = arena_copy(interner->arena, word, length);
        if (copy == NULL)
            return false;
        interner->words[interner->count] = copy;
        interner->lengths[interner->count] = length;
        interner->slots[slot] = (uint32_t)++interner->count;
    }
    *number = interner->slots[slot] - 1;
    return true;
}

size_t interner_count(const struct interner *interner)
{
    return interner->count;
}

const char *const *interner_words(const struct interner *interner)
{
    return interner->words;
}

/* ---- factors ----------------------------------------------------------------------------------- */

enum status factor_add(struct factor *factors, size_t *count, struct factor factor, uint32_t *level,
                       size_t vessels, struct arena *arena)
{
    uint32_t *numbers = arena_array(arena, factor.level_count, sizeof *numbers);
    const char **labels = arena_array(arena, factor.level_count, sizeof *labels);
    double *log_odds = NULL;
    uint32_t met = 0;

    if (factor.log_odds != NULL)
        log_odds = arena_array(arena, 2 * factor.level_count, sizeof *log_odds);
    if (numbers == NULL || labels == NULL || (factor.log_odds != NULL && log_odds == NULL))
        return STATUS_MEMORY;
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            numbers[level[i]] = 1;
    for (size_t l = 0; l < factor.level_count; l++) {
        if (numbers[l] == 0)
            continue;
        labels[met] = factor.levels[l];
        if (log_odds != NULL)
            memcpy(&log_odds[2 * (size_t)met], &factor.log_odds[2 * l], 2 * sizeof *log_odds);
        numbers[l] = met++;
    }
    if (met == 0)
        return STATUS_OK;
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            level[i] = numbers[level[i]];
    factor.levels = labels;
    factor.level = level;
    factor.level_count = met;
    factor.log_odds = log_odds;
    factors[(*count)++] = factor;
    return STATUS_OK;
}

bool factor_parts_alike(const struct factor *first, const struct factor *second, size_t vessels)
{
    enum { MOST = 4096 };
    uint32_t there[MOST], back[MOST];
    if (first->level_count > MOST || second->level_count > MOST)
        return false;
    memset(there, 0xff, sizeof there);
    memset(back, 0xff, sizeof back);
    for (size_t i = 0; i < vessels; i++) {
        uint32_t a = first->level[i], b = second->level[i];
        if (a == LEVEL_NONE || b == LEVEL_NONE) {
            if (a != b)
                return false;
            continue;
        }
        if ((there[a] != LEVEL_NONE && there[a] != b) || (back[b] != LEVEL_NONE && back[b] != a))
            return false;
        there[a] = b;
        back[b] = a;
    }
    return true;
}

/* ---- remarks ------------------------------------------------------------------------------------ */

enum status dataset_say(struct dataset *dataset, struct arena *arena, const char *format, ...)
{
    char words[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    const char **remarks = arena_grow(arena, dataset->remarks, dataset->remark_count,
                                      dataset->remark_count + 1, sizeof *remarks);
    if (remarks == NULL || (remarks[dataset->remark_count] = arena_string(arena, words)) == NULL)
        return STATUS_MEMORY;
    dataset->remarks = remarks;
    dataset->remark_count++;
    return STATUS_OK;
}

enum status dataset_remark(struct dataset *dataset, struct arena *arena)
{
    size_t future = 0, backwards = 0, undated = 0;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t entered = dataset->entered[i], ended = dataset->ended[i];
        undated += entered == DAY_NONE;
        future += entered > dataset->today || ended > dataset->today;
        backwards += entered != DAY_NONE && ended != DAY_NONE && ended < entered;
    }
    if (future > 0)
        status = dataset_say(dataset, arena,
                             "%zu %s a date in the future: left out of all that goes by time.",
                             future, future == 1 ? "vessel has" : "vessels have");
    if (backwards > 0 && status == STATUS_OK)
        status = dataset_say(dataset, arena,
                             "%zu %s before the day of inoculation: left out of all that goes by "
                             "time.",
                             backwards, backwards == 1 ? "vessel ended" : "vessels ended");
    if (undated > 0 && undated < dataset->vessel_count && status == STATUS_OK)
        status = dataset_say(dataset, arena,
                             "%zu %s no day of inoculation: left out of all that goes by time.",
                             undated, undated == 1 ? "vessel has" : "vessels have");
    return status;
}
