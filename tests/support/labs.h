/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Invented laboratories: many vessels of known making, with a known culprit or none. */
#ifndef JARSIDE_TESTS_LABS_H
#define JARSIDE_TESTS_LABS_H

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "review/dataset.h"

/* The dataset of the columns that a struct holds under these names. */
#define DATASET_OF(of, factors_in_all, batch_factor, day)                                          \
    (struct dataset)                                                                               \
    {                                                                                              \
        .labels = (of)->labels, .fate = (of)->fate, .control = (of)->control,                      \
        .entered = (of)->entered, .ended = (of)->ended, .factors = (of)->factors,                  \
        .factor_count = (factors_in_all), .batch = (batch_factor), .today = (day)                  \
    }

/*
 * Sixteen batches of ten vessels: eight cooks and eight sessions of two batches each, no two of them
 * the same two; five starters, four grain lots, by batch; four places and three positions, by vessel;
 * two kinds of vessel. One vessel in ten is lost whatever one does. In every second cook one more
 * vessel is never inoculated.
 */
enum { LAB_BATCHES = 16, LAB_EACH = 10, LAB_MOST = LAB_BATCHES * (LAB_EACH + 1), LAB_FACTORS = 8 };
#define LAB_USUAL_LOSS 0.10

struct lab_random {
    uint64_t state;
};

/* Steele, Lea & Flood 2014, "Fast splittable pseudorandom number generators" (SplitMix64). */
static inline uint64_t lab_next(struct lab_random *random)
{
    uint64_t z = (random->state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static inline double lab_share(struct lab_random *random)
{
    return (double)(lab_next(random) >> 11) * 0x1.0p-53;
}

static inline uint32_t lab_below(struct lab_random *random, uint32_t most)
{
    return (uint32_t)(lab_share(random) * most);
}

struct lab {
    struct dataset dataset;
    struct factor factors[LAB_FACTORS];
    uint32_t levels[LAB_FACTORS][LAB_MOST];
    const char *labels[LAB_MOST];
    uint8_t fate[LAB_MOST];
    bool control[LAB_MOST];
    int32_t entered[LAB_MOST], ended[LAB_MOST];
};

struct lab_culprit {
    size_t factor; /* LAB_FACTORS for none */
    uint32_t level;
    double rate; /* of loss, of its vessels */
};

static const struct lab_plan {
    enum factor_kind kind;
    size_t levels;
} lab_plans[LAB_FACTORS] = {
    {FACTOR_COOK, 8}, {FACTOR_STARTER, 5}, {FACTOR_SESSION, 8},  {FACTOR_PLACE, 4},
    {FACTOR_LOT, 4},  {FACTOR_BATCH, 16},  {FACTOR_POSITION, 3}, {FACTOR_VESSEL, 2},
};

static inline const char *const *lab_names(void)
{
    static const char *const names[LAB_BATCHES] = {"1", "2",  "3",  "4",  "5",  "6",  "7",  "8",
                                                   "9", "10", "11", "12", "13", "14", "15", "16"};
    return names;
}

/* Each of `levels` about equally often over the batches, in random order. */
static inline void lab_deal(struct lab_random *random, size_t levels, uint32_t dealt[LAB_BATCHES])
{
    for (uint32_t b = 0; b < LAB_BATCHES; b++)
        dealt[b] = b % (uint32_t)levels;
    for (uint32_t b = LAB_BATCHES - 1; b > 0; b--) {
        uint32_t other = lab_below(random, b + 1), kept = dealt[b];
        dealt[b] = dealt[other];
        dealt[other] = kept;
    }
}

static inline bool lab_lost(const struct lab *lab, size_t vessel, const struct lab_culprit *culprit,
                            struct lab_random *random)
{
    double rate = LAB_USUAL_LOSS;
    if (culprit->factor < LAB_FACTORS && lab->levels[culprit->factor][vessel] == culprit->level &&
        (!lab->control[vessel] || factor_kinds[lab_plans[culprit->factor].kind].control))
        rate = culprit->rate;
    return lab_share(random) < rate;
}

static inline void lab_vessel(struct lab *lab, const uint32_t of_batch[LAB_FACTORS], bool control,
                              const struct lab_culprit *culprit, struct lab_random *random)
{
    size_t at = lab->dataset.vessel_count++;
    for (size_t f = 0; f < LAB_FACTORS; f++) {
        bool single = lab_plans[f].kind == FACTOR_PLACE || lab_plans[f].kind == FACTOR_POSITION;
        lab->levels[f][at] =
            single ? lab_below(random, (uint32_t)lab_plans[f].levels) : of_batch[f];
    }
    lab->labels[at] = "";
    lab->control[at] = control;
    lab->entered[at] = lab->dataset.today - 90;
    bool lost = lab_lost(lab, at, culprit, random);
    lab->fate[at] = lost ? FATE_CONTAMINATED : FATE_SOUND;
    lab->ended[at] = lab->entered[at] + (lost ? 4 + (int32_t)lab_below(random, 12) : 24);
}

static inline void lab_make(struct lab *lab, uint64_t seed, const struct lab_culprit *culprit)
{
    struct lab_random random = {seed * UINT64_C(0x2545f4914f6cdd1d) + 1};
    uint32_t starter[LAB_BATCHES], lot[LAB_BATCHES], kind[LAB_BATCHES], session[LAB_BATCHES];

    memset(lab, 0, sizeof *lab);
    lab->dataset = DATASET_OF(lab, LAB_FACTORS, 5, 20000);
    lab_deal(&random, 5, starter);
    lab_deal(&random, 4, lot);
    lab_deal(&random, 2, kind);
    for (size_t b = 0; b < LAB_BATCHES; b++)
        session[b] = (uint32_t)((b + 1) / 2 % 8);
    for (uint32_t b = 0; b < LAB_BATCHES; b++) {
        const uint32_t levels[LAB_FACTORS] = {b / 2,  starter[b], session[b], 0,
                                              lot[b], b,          0,          kind[b]};
        for (size_t v = 0; v < LAB_EACH; v++)
            lab_vessel(lab, levels, false, culprit, &random);
        if (b % 4 == 0)
            lab_vessel(lab, levels, true, culprit, &random);
    }
    for (size_t f = 0; f < LAB_FACTORS; f++)
        lab->factors[f] = (struct factor){.kind = lab_plans[f].kind,
                                          .name = factor_kinds[lab_plans[f].kind].name,
                                          .levels = lab_names(),
                                          .level_count = lab_plans[f].levels,
                                          .level = lab->levels[f]};
}

#endif
