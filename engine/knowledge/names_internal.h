/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_NAMES_INTERNAL_H
#define JARSIDE_KNOWLEDGE_NAMES_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"

/*
 * A set of names, numbered in the order they were added: ids to indices.
 *
 * All zero is an empty set. Names are not copied; the tables live in the arena
 * given with each addition. What is outgrown stays in the arena.
 */
struct names {
    const char **list; /* by number */
    size_t count, room;
    uint32_t *slots; /* open addressing: number + 1, or 0 */
    size_t slot_count;
};

/* The number of `name`, added if it was not there (then *fresh). False when out of memory. */
bool names_add(struct names *names, const char *name, struct arena *arena, size_t *number,
               bool *fresh);

/* The number of `name`, or RULES_NONE. */
int names_find(const struct names *names, const char *name);

/* The FNV-1a hash of Fowler, Noll and Vo in 64 bits: start with FNV_START, go on with the last. */
#define FNV_START UINT64_C(0xcbf29ce484222325)
uint64_t fnv_hash(uint64_t hash, const char *bytes, size_t length);

#endif
