/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "knowledge/names_internal.h"

#include <limits.h>
#include <string.h>

#include "knowledge/rules.h"

enum { FIRST_ROOM = 8 };

uint64_t fnv_hash(uint64_t hash, const char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ (unsigned char)bytes[i]) * UINT64_C(0x100000001b3);
    return hash;
}

/* Where `name` stands among the slots, or the free one where it belongs. */
static uint32_t *slot_of(const struct names *names, const char *name)
{
    size_t mask = names->slot_count - 1;
    size_t at = (size_t)fnv_hash(FNV_START, name, strlen(name)) & mask;
    while (names->slots[at] && strcmp(names->list[names->slots[at] - 1], name) != 0)
        at = (at + 1) & mask;
    return &names->slots[at];
}

/* Twice the room, with at most every second slot taken. */
static bool names_widen(struct names *names, struct arena *arena)
{
    size_t room = names->room ? names->room * 2 : FIRST_ROOM;
    if (room > INT_MAX / 2)
        return false;
    const char **list = arena_grow(arena, names->list, names->count, room, sizeof *list);
    uint32_t *slots = arena_array(arena, room * 2, sizeof *slots);
    if (!list || !slots)
        return false;
    names->list = list;
    names->room = room;
    names->slots = slots;
    names->slot_count = room * 2;
    for (size_t i = 0; i < names->count; i++)
        *slot_of(names, list[i]) = (uint32_t)i + 1;
    return true;
}

bool names_add(struct names *names, const char *name, struct arena *arena, size_t *number,
               bool *fresh)
{
    if (names->count == names->room && !names_widen(names, arena))
        return false;
    uint32_t *slot = slot_of(names, name);
    *fresh = *slot == 0;
    if (*fresh) {
        names->list[names->count] = name;
        *slot = (uint32_t)++names->count;
    }
    *number = *slot - 1;
    return true;
}

int names_find(const struct names *names, const char *name)
{
    if (!names->count)
        return RULES_NONE;
    return (int)*slot_of(names, name) - 1; /* a free slot is 0: RULES_NONE */
}
