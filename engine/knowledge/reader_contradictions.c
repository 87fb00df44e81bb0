/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Readings of one observable that cannot both hold. Only plain ones count: doubt contradicts
 * nothing. */
#include <string.h>

#include "knowledge/reader_internal.h"

struct finder {
    const struct rules *rules;
    const struct reading_list *list;
    struct arena *arena;
    struct contradiction *found;
    size_t count, room;
};

static bool add(struct finder *f, size_t observable, size_t first, size_t second)
{
    if (f->count == f->room) {
        size_t room = f->room ? f->room * 2 : 8;
        struct contradiction *grown = arena_grow(f->arena, f->found, f->count, room, sizeof *grown);
        if (!grown)
            return false;
        f->found = grown;
        f->room = room;
    }
    f->found[f->count++] =
        (struct contradiction){.observable = observable, .first = first, .second = second};
    return true;
}

/* What a reading of a one-of leaves possible. */
static uint32_t possible(const struct finder *f, const struct reading *reading)
{
    uint32_t all = value_mask(&f->rules->observables[reading->observable]);
    return (reading->seen ? reading->seen : all) & ~reading->absent;
}

/* The earliest plain reading of the same observable that leaves nothing in common; or the last
 * before. */
static size_t opponent(const struct finder *f, size_t index)
{
    const struct reading *readings = f->list->readings;
    size_t found = index;
    for (size_t i = index; i-- > 0;) {
        if (readings[i].observable != readings[index].observable || readings[i].hedged)
            continue;
        if (found == index || !(possible(f, &readings[i]) & possible(f, &readings[index])))
            found = i;
    }
    return found;
}

/* `common`: what all plain readings of each one-of so far leave; 0 once it was told of. */
static bool check_one(struct finder *f, size_t index, uint32_t *common)
{
    const struct reading *reading = &f->list->readings[index];
    uint32_t *left = &common[reading->observable];
    if (!*left)
        return true;
    *left &= possible(f, reading);
    return *left || add(f, reading->observable, opponent(f, index), index);
}

struct sides { /* per observable: values seen and denied so far, and those told of */
    uint32_t seen, absent, told;
};

static size_t first_to_say(const struct finder *f, size_t observable, uint32_t bit, bool seen)
{
    for (size_t i = 0; i < f->list->reading_count; i++) {
        const struct reading *r = &f->list->readings[i];
        if (r->observable == observable && !r->hedged && ((seen ? r->seen : r->absent) & bit))
            return i;
    }
    return 0;
}

static bool check_several(struct finder *f, size_t index, struct sides *all)
{
    const struct reading *reading = &f->list->readings[index];
    struct sides *sides = &all[reading->observable];
    uint32_t clash =
        ((sides->seen & reading->absent) | (sides->absent & reading->seen)) & ~sides->told;
    sides->told |= clash;
    sides->seen |= reading->seen;
    sides->absent |= reading->absent;
    for (; clash; clash &= clash - 1) {
        uint32_t bit = clash & (~clash + 1);
        bool seen = (reading->absent & bit) != 0;
        if (!add(f, reading->observable, first_to_say(f, reading->observable, bit, seen), index))
            return false;
    }
    return true;
}

enum status find_contradictions(const struct rules *rules, struct arena *scratch,
                                struct arena *arena, struct reading_list *list)
{
    struct finder f = {.rules = rules, .list = list, .arena = arena};
    uint32_t *common = arena_array(scratch, rules->observable_count, sizeof *common);
    struct sides *sides = arena_array(scratch, rules->observable_count, sizeof *sides);
    if (!common || !sides)
        return STATUS_MEMORY;
    memset(common, 0xFF, rules->observable_count * sizeof *common);
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *reading = &list->readings[i];
        if (reading->hedged)
            continue;
        bool fine = rules->observables[reading->observable].kind == KIND_SEVERAL
                        ? check_several(&f, i, sides)
                        : check_one(&f, i, common);
        if (!fine)
            return STATUS_MEMORY;
    }
    list->contradictions = f.found;
    list->contradiction_count = f.count;
    return STATUS_OK;
}
