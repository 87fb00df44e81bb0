/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables of any size for the timings of a review: invented vessels, with one bad level. */
#ifndef JARSIDE_BENCH_REVIEW_TABLE_H
#define JARSIDE_BENCH_REVIEW_TABLE_H

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "review/review.h"
#include "support/labs.h"

enum { TABLE_FACTORS = 40 };

struct review_table {
    struct arena *arena; /* of all of it; to be freed */
    struct dataset dataset;
    struct factor factors[TABLE_FACTORS];
    uint32_t *levels;
    const char **labels;
    uint8_t *fate;
    bool *control;
    int32_t *entered, *ended;
};

static inline uint32_t table_draw(uint64_t *state, uint32_t below)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (uint32_t)((*state >> 33) % below);
}

/* Factor 0 is the batch, ten vessels each; the others have 2 to 20 levels; level 1 of factor 7 is bad. */
static inline void table_make(struct review_table *table, size_t count)
{
    uint64_t state = 1;
    struct arena *arena = arena_new();
    *table = (struct review_table){
        .arena = arena,
        .levels = arena_array(arena, count * TABLE_FACTORS, sizeof *table->levels),
        .labels = arena_array(arena, count + 60, sizeof *table->labels),
        .fate = arena_array(arena, count, sizeof *table->fate),
        .control = arena_array(arena, count, sizeof *table->control),
        .entered = arena_array(arena, count, sizeof *table->entered),
        .ended = arena_array(arena, count, sizeof *table->ended),
    };
    for (size_t i = 0; i < count + 60; i++)
        table->labels[i] = "x";
    for (size_t f = 0; f < TABLE_FACTORS; f++) {
        uint32_t levels = f == 0 ? (uint32_t)(count / 10 + 1) : 2 + (uint32_t)(f * 7 % 19);
        uint32_t *level = table->levels + f * count;
        for (size_t i = 0; i < count; i++)
            level[i] = f == 0 ? (uint32_t)(i / 10) : table_draw(&state, levels);
        table->factors[f] = (struct factor){.kind = f == 0 ? FACTOR_BATCH : FACTOR_OTHER,
                                            .name = "factor",
                                            .levels = table->labels,
                                            .level_count = levels,
                                            .level = level};
    }
    for (size_t i = 0; i < count; i++) {
        bool bad = table->factors[7].level[i] == 1;
        bool lost = table_draw(&state, 100) < (bad ? 60U : 10U);
        table->fate[i] = lost ? FATE_CONTAMINATED : FATE_SOUND;
        table->entered[i] = 10000 + (int32_t)(i / 100);
        table->ended[i] = table->entered[i] + (lost ? 4 + (int32_t)table_draw(&state, 12) : 24);
    }
    table->dataset = DATASET_OF(table, TABLE_FACTORS, 0, 30000);
    table->dataset.vessel_count = count;
}

#endif
