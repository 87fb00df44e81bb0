/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Vessels of which exactly the same is known: looked at once, counted as often as they are. */
#include "reason/shared_internal.h"

#include <stdlib.h>
#include <string.h>

/* FNV-1a over words, for a table that lives as long as one call. */
static uint64_t mix(uint64_t hash, uint32_t word)
{
    return (hash ^ word) * UINT64_C(1099511628211);
}

static uint64_t hash_of(const struct shared_vessel *vessel, size_t observables)
{
    uint64_t hash = UINT64_C(14695981039346656037);

    for (int scope = 0; scope < SCOPE_COUNT; scope++)
        hash = mix(hash, (uint32_t)vessel->group[scope]);
    hash = mix(hash, (uint32_t)vessel->finding);
    hash = mix(mix(hash, vessel->statuses), vessel->control);
    for (size_t i = 0; vessel->observations && i < observables; i++) {
        const struct observation *said = &vessel->observations[i];
        if (said->seen | said->absent | said->hedged | said->silent)
            hash =
                mix(mix(mix(mix(mix(hash, (uint32_t)i), said->seen), said->absent), said->hedged),
                    said->silent);
    }
    return hash ^ hash >> 32;
}

static bool same(const struct shared_vessel *a, const struct shared_vessel *b, size_t observables)
{
    if (a->finding != b->finding || a->statuses != b->statuses || a->control != b->control ||
        memcmp(a->group, b->group, sizeof a->group) != 0)
        return false;
    if (a->observations == b->observations)
        return true;
    return a->observations && b->observations &&
           memcmp(a->observations, b->observations, observables * sizeof *a->observations) == 0;
}

bool shared_find_alike(const struct shared_batch *batch, size_t observables, size_t *first)
{
    size_t room = 16;
    while (room < 2 * batch->vessel_count)
        room *= 2;
    size_t *slots = calloc(room, sizeof *slots); /* index of a vessel + 1; 0: free */
    if (!slots)
        return false;
    for (size_t v = 0; v < batch->vessel_count; v++) {
        const struct shared_vessel *vessel = &batch->vessels[v];
        size_t slot = (size_t)hash_of(vessel, observables) & (room - 1);
        while (slots[slot] != 0 && !same(vessel, &batch->vessels[slots[slot] - 1], observables))
            slot = (slot + 1) & (room - 1);
        if (slots[slot] == 0)
            slots[slot] = v + 1;
        first[v] = slots[slot] - 1;
    }
    free(slots);
    return true;
}
