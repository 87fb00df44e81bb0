/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Simulated seasons, as unlike the model of the search as real ones are, and two plain tests to
 * measure it by.
 *
 * A vessel is lost of itself with the chance of its batch, on a day of age 3 + Gamma(3, 2), rounded;
 * looks come every second day. The chance of a batch is drawn from a beta distribution (so losses
 * within it are beta-binomial) whose correlation the design states. A fault is one more way to be
 * lost, with days of its own from the same distribution: a vessel that is at the faulty level on
 * that day is lost by it, so that of vessels which are there throughout the stated share is lost.
 * Nothing of this is a proportional hazard, a gamma frailty or a Poisson count.
 *
 * Batches of 4 to 20 vessels follow one another by two to six days. Grain lots are opened one after
 * the other, cooks and sittings take one or two batches in a row; starters and kinds of vessel go by
 * batch, places and positions by vessel. Sound vessels are used after 18 to 30 days; what is younger
 * on the day of the review is open.
 */
#ifndef JARSIDE_TESTS_SEASONS_H
#define JARSIDE_TESTS_SEASONS_H

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "review/dataset.h"
#include "support/labs.h"

static const struct season_design {
    const char *name;
    double correlation; /* of losses within a batch */
    int batches_least, batches_most;
    int each_least, each_most; /* vessels of a batch */
    int lag_least, lag_most;   /* days from the last batch to the review */
    double drift;              /* the usual loss at the end over that at the beginning */
    bool moved;                /* survivors go to another place on day 10 */
    bool nested;               /* a starter serves one sitting only, and a cook one batch */
    bool together;             /* the vessels of a batch stand in one place, mostly */
    int columns;               /* more of no consequence */
} season_designs[] = {
    {"independent losses", 0.0, 10, 24, 8, 12, 30, 40, 1.0, .moved = false},
    {"young batches", 0.0, 10, 24, 8, 12, 3, 25, 1.0, .moved = false},
    {"young, correlation .04", 0.04, 10, 24, 8, 12, 3, 25, 1.0, .together = true},
    {"young, correlation .08, unequal", 0.08, 10, 30, 4, 20, 3, 25, 1.0, .moved = false},
    {"young, correlation .12, unequal", 0.12, 10, 30, 4, 20, 3, 25, 1.0, .together = true},
    {"survivors moved", 0.0, 8, 24, 8, 14, 3, 25, 1.0, .moved = true},
    {"survivors moved, correlation .08", 0.08, 8, 24, 6, 16, 3, 25, 1.0, .moved = true},
    {"rising losses, correlation .04", 0.04, 12, 30, 6, 14, 3, 25, 3.0, .moved = false},
    {"rising losses, survivors moved", 0.0, 12, 30, 6, 14, 3, 25, 3.0, .moved = true},
    {"starters nested in sittings", 0.04, 10, 24, 8, 12, 3, 25, 1.0, .nested = true},
    {"many columns", 0.04, 10, 24, 8, 12, 3, 25, 1.0, .columns = 24},
    {"few vessels", 0.08, 6, 10, 5, 11, 3, 25, 1.0, .moved = false},
};

enum {
    SEASON_DESIGNS = sizeof season_designs / sizeof *season_designs,
    SEASON_FACTORS = 8,
    SEASON_COLUMNS = 24,
    SEASON_BATCHES = 30,
    SEASON_MOST = SEASON_BATCHES * 20,
    SEASON_MOVED_ON = 10
};

static const enum factor_kind season_kinds[SEASON_FACTORS] = {
    FACTOR_COOK, FACTOR_STARTER,  FACTOR_SESSION, FACTOR_PLACE,
    FACTOR_LOT,  FACTOR_POSITION, FACTOR_VESSEL,  FACTOR_BATCH};
enum { SEASON_PLACE = 3 };

struct season {
    struct dataset dataset;
    struct factor factors[SEASON_FACTORS + SEASON_COLUMNS];
    uint32_t levels[SEASON_FACTORS + SEASON_COLUMNS + 1][SEASON_MOST]; /* one for a change */
    struct stay stays[2 * SEASON_MOST];
    uint32_t first_stay[SEASON_MOST + 1];
    const char *labels[SEASON_MOST];
    uint8_t fate[SEASON_MOST];
    bool control[SEASON_MOST];
    int32_t entered[SEASON_MOST], ended[SEASON_MOST];
};

struct season_fault { /* a level, or two that only together raise the losses */
    size_t factor;    /* SEASON_FACTORS for none */
    uint32_t level;
    double rate; /* of loss of its vessels */
    size_t with; /* factor of the other level; SEASON_FACTORS for none */
    uint32_t with_level;
};

static inline int season_between(gsl_rng *rng, int least, int most)
{
    return least + (int)gsl_rng_uniform_int(rng, (unsigned long)(most - least + 1));
}

/* The day of age on which a loss shows. */
static inline int32_t season_shows(gsl_rng *rng)
{
    return 3 + (int32_t)lround(gsl_ran_gamma(rng, 3.0, 2.0));
}

/* The level a vessel has at an age. */
static inline uint32_t season_level(const struct season *season, size_t factor, size_t vessel,
                                    int32_t age)
{
    uint32_t level = season->levels[factor][vessel];
    if (factor == SEASON_PLACE && season->factors[factor].stays != NULL)
        for (uint32_t s = season->first_stay[vessel]; s < season->first_stay[vessel + 1]; s++)
            if (season->stays[s].from <= age)
                level = season->stays[s].level;
    return level;
}

static inline bool season_faulty(const struct season *season, const struct season_fault *fault,
                                 size_t vessel, int32_t age)
{
    return fault->factor < SEASON_FACTORS &&
           season_level(season, fault->factor, vessel, age) == fault->level &&
           (fault->with >= SEASON_FACTORS ||
            season_level(season, fault->with, vessel, age) == fault->with_level);
}

static inline void season_add_vessel(struct season *season, const struct season_design *design,
                                     const uint32_t *of_batch, int32_t day, double usual,
                                     const struct season_fault *faults, size_t fault_count,
                                     uint32_t shelf, gsl_rng *rng)
{
    enum { PLACES = 4, POSITIONS = 3 };
    size_t at = season->dataset.vessel_count++;
    uint32_t first = (uint32_t)gsl_rng_uniform_int(rng, PLACES);
    if (design->together && gsl_rng_uniform(rng) < 0.8)
        first = shelf;
    if (design->moved)
        first %= 2;
    for (size_t f = 0; f < SEASON_FACTORS + (size_t)design->columns; f++)
        season->levels[f][at] = of_batch[f];
    season->levels[SEASON_PLACE][at] = first;
    season->levels[5][at] = (uint32_t)gsl_rng_uniform_int(rng, POSITIONS);
    for (int c = 0; c < design->columns; c += 2) /* every other column goes by vessel */
        season->levels[SEASON_FACTORS + c][at] =
            (uint32_t)gsl_rng_uniform_int(rng, 2 + (unsigned)c / 4);
    uint32_t stay = season->first_stay[at];
    season->stays[stay++] = (struct stay){first, 0};
    if (design->moved)
        season->stays[stay++] =
            (struct stay){2 + (uint32_t)gsl_rng_uniform_int(rng, 2), SEASON_MOVED_ON};

    int32_t used = season_between(rng, 18, 30), lost = INT32_MAX;
    season->first_stay[at + 1] = stay;
    if (gsl_rng_uniform(rng) < usual)
        lost = season_shows(rng);
    for (size_t k = 0; k < fault_count; k++) {
        int32_t age = season_shows(rng);
        double extra = 1.0 - (1.0 - faults[k].rate) / 0.9;
        if (gsl_rng_uniform(rng) < extra && age < lost &&
            season_faulty(season, &faults[k], at, age))
            lost = age;
    }
    int32_t alive = season->dataset.today - day;
    if (lost != INT32_MAX) /* seen by the look on every second day */
        lost += (day + lost) % 2;
    bool is_lost = lost < used && lost <= alive, is_used = !is_lost && used <= alive;
    int32_t end = is_lost ? lost : is_used ? used : alive;
    /* A move that had not come when it ended never happened. */
    if (design->moved && end < SEASON_MOVED_ON)
        season->first_stay[at + 1]--;
    season->levels[SEASON_PLACE][at] = season->stays[season->first_stay[at + 1] - 1].level;
    season->labels[at] = "";
    season->entered[at] = day;
    season->fate[at] = is_lost ? FATE_CONTAMINATED : is_used ? FATE_SOUND : FATE_OPEN;
    season->ended[at] = is_lost || is_used ? day + end : DAY_NONE;
}

/* Levels of the batches, in the order of their days. */
static inline void season_deal(const struct season_design *design, int batches, size_t *levels,
                               uint32_t (*of_batch)[SEASON_FACTORS + SEASON_COLUMNS], gsl_rng *rng)
{
    uint32_t starters = (uint32_t)season_between(rng, 3, 6), lot = 0, cook = 0, sitting = 0;
    int lot_left = season_between(rng, 3, 6), cook_left = 2, sitting_left = 1;
    for (int b = 0; b < batches; b++) {
        uint32_t *of = of_batch[b];
        if (lot_left-- == 0)
            lot++, lot_left = season_between(rng, 2, 5);
        if (cook_left-- == 0)
            cook++, cook_left = design->nested ? 0 : season_between(rng, 0, 1);
        if (sitting_left-- == 0)
            sitting++, sitting_left = season_between(rng, 0, 1);
        of[0] = cook;
        of[1] = design->nested ? sitting / 2 * 2 + (uint32_t)gsl_rng_uniform_int(rng, 2)
                               : (uint32_t)gsl_rng_uniform_int(rng, starters);
        of[2] = sitting;
        of[4] = lot;
        of[6] = (uint32_t)gsl_rng_uniform_int(rng, 2);
        of[7] = (uint32_t)b;
        for (int c = 0; c < design->columns; c++)
            of[SEASON_FACTORS + c] = (uint32_t)gsl_rng_uniform_int(rng, 2 + (unsigned)c / 4);
        for (size_t f = 0; f < SEASON_FACTORS + (size_t)design->columns; f++)
            if (levels[f] <= of[f])
                levels[f] = of[f] + 1;
    }
    levels[SEASON_PLACE] = 4;
    levels[5] = 3;
    for (int c = 0; c < design->columns; c++)
        levels[SEASON_FACTORS + c] = 2 + (size_t)c / 4;
}

/* A season with up to three faults, of which those with `factor` SEASON_FACTORS are none. */
static inline void season_make(struct season *season, const struct season_design *design,
                               const struct season_fault *faults, size_t fault_count,
                               unsigned long seed)
{
    enum { LAST_DAY = 20000 };
    static const char *names[SEASON_MOST];
    uint32_t of_batch[SEASON_BATCHES][SEASON_FACTORS + SEASON_COLUMNS] = {{0}};
    size_t levels[SEASON_FACTORS + SEASON_COLUMNS] = {0},
                                   factors = SEASON_FACTORS + (size_t)design->columns;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    gsl_rng_set(rng, seed);

    for (size_t l = 0; l < SEASON_MOST; l++)
        names[l] = "x";
    memset(season, 0, sizeof *season);
    int batches = season_between(rng, design->batches_least, design->batches_most);
    season_deal(design, batches, levels, of_batch, rng);
    season->dataset = DATASET_OF(season, factors, 7, LAST_DAY);
    for (size_t f = 0; f < factors; f++) {
        enum factor_kind kind = f < SEASON_FACTORS ? season_kinds[f] : FACTOR_OTHER;
        season->factors[f] = (struct factor){.kind = kind,
                                             .name = factor_kinds[kind].name,
                                             .levels = names,
                                             .level_count = levels[f],
                                             .level = season->levels[f]};
    }
    if (design->moved) {
        season->factors[SEASON_PLACE].stays = season->stays;
        season->factors[SEASON_PLACE].first_stay = season->first_stay;
    }
    int32_t days[SEASON_BATCHES];
    days[batches - 1] = LAST_DAY - season_between(rng, design->lag_least, design->lag_most);
    for (int b = batches - 1; b-- > 0;)
        days[b] = days[b + 1] - season_between(rng, 2, 6);
    for (int b = 0; b < batches; b++) {
        double along = batches > 1 ? (double)b / (double)(batches - 1) : 0.5;
        double mean = 0.10 * 2.0 * (1.0 + (design->drift - 1.0) * along) / (1.0 + design->drift);
        double both = 1.0 / fmax(design->correlation, 1e-9) - 1.0;
        double usual =
            design->correlation > 0.0 ? gsl_ran_beta(rng, mean * both, (1.0 - mean) * both) : mean;
        int each = season_between(rng, design->each_least, design->each_most);
        uint32_t shelf = (uint32_t)gsl_rng_uniform_int(rng, 4);
        for (int v = 0; v < each; v++)
            season_add_vessel(season, design, of_batch[b], days[b], usual, faults, fault_count,
                              shelf, rng);
    }
    gsl_rng_free(rng);
}

/*
 * A dated change in the middle half of the season, of all vessels or, every other time, of one place;
 * from then on so many of the vessels that are there are lost besides, by their days there. It becomes the
 * last factor, in the arena.
 */
static inline struct season_fault season_change(struct season *season, double rate,
                                                unsigned long seed, struct arena *arena)
{
    struct dataset *dataset = &season->dataset;
    int32_t first = INT32_MAX, day;
    char words[64], room[MOMENT_ROOM];
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    gsl_rng_set(rng, seed + 1);
    for (size_t i = 0; i < dataset->vessel_count; i++)
        first = dataset->entered[i] < first ? dataset->entered[i] : first;
    day = first + (int32_t)((dataset->today - first) * (0.25 + 0.5 * gsl_rng_uniform(rng)));
    uint32_t place = seed % 2 == 0 ? (uint32_t)gsl_rng_uniform_int(rng, 4) : LEVEL_NONE;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t entered = dataset->entered[i], from = day > entered ? day : entered;
        int32_t lost = from + season_shows(rng);
        int32_t until = season->fate[i] == FATE_OPEN ? dataset->today : season->ended[i];
        double extra = gsl_rng_uniform(rng);
        if (extra >= rate || lost >= until ||
            (place != LEVEL_NONE && season_level(season, SEASON_PLACE, i, lost - entered) != place))
            continue;
        season->fate[i] = FATE_CONTAMINATED;
        season->ended[i] = lost;
    }
    snprintf(words, sizeof words, "it happened on %s", day_write(day, DAY_ISO, room));
    (void)dataset_add_changes(dataset, words, place, arena);
    struct season_fault fault = {
        .factor = dataset->factor_count - 1, .level = 1, .with = SEASON_FACTORS};
    const struct factor *change = &dataset->factors[dataset->factor_count - 1];
    for (size_t i = 0; i < dataset->vessel_count && change->kind == FACTOR_CHANGE; i++)
        season->levels[dataset->factor_count - 1][i] = change->level[i];
    gsl_rng_free(rng);
    return fault;
}

/* ---- plain tests -------------------------------------------------------------------------------- */

/*
 * Level against the rest by Fisher's exact test, or by log-rank; one-sided; Holm over all levels;
 * the worst is called, its vessels set aside, and the rest tested again. Written down is, of the
 * level in question, the p at which it would have been called; and of the season, the smallest.
 */
enum season_test { SEASON_FISHER, SEASON_LOGRANK, SEASON_TESTS };

static inline double season_fisher(double x, double n, double lost, double all)
{
    double sum = 0.0;
    for (double k = x; k <= fmin(n, lost); k++)
        sum += exp(lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1) + lgamma(all - n + 1) -
                   lgamma(lost - k + 1) - lgamma(all - n - lost + k + 1) - lgamma(all + 1) +
                   lgamma(lost + 1) + lgamma(all - lost + 1));
    return fmin(1.0, sum);
}

enum { SEASON_AGES = 64 };

/* One-sided p of each level of a factor. False where there is nothing inside or outside. */
static inline bool season_plain(const struct season *season, enum season_test test, size_t factor,
                                uint32_t level, const bool *aside, double *p)
{
    const double watched = 21.0;
    double risk[SEASON_AGES][2] = {{0}}, lost[SEASON_AGES][2] = {{0}};
    double cases[2] = {0}, losses[2] = {0};
    for (size_t i = 0; i < season->dataset.vessel_count; i++) {
        int32_t today = season->dataset.today, age = today - season->entered[i];
        bool in = season->levels[factor][i] == level,
             is_lost = season->fate[i] == FATE_CONTAMINATED;
        if (aside[i])
            continue;
        if (season->fate[i] != FATE_OPEN)
            age = season->ended[i] - season->entered[i];
        if (season->fate[i] != FATE_OPEN || age >= watched)
            cases[in]++, losses[in] += is_lost;
        age = age < SEASON_AGES ? age : SEASON_AGES - 1;
        for (int32_t a = 0; a <= age; a++)
            risk[a][in]++;
        lost[age][in] += is_lost;
    }
    if (test == SEASON_FISHER) {
        if (cases[0] < 1 || cases[1] < 1)
            return false;
        *p = season_fisher(losses[1], cases[1], losses[0] + losses[1], cases[0] + cases[1]);
        return true;
    }
    double off = 0.0, variance = 0.0;
    for (int a = 0; a < SEASON_AGES; a++) {
        double n = risk[a][0] + risk[a][1], d = lost[a][0] + lost[a][1], share = risk[a][1] / n;
        if (d < 1.0)
            continue;
        off += lost[a][1] - d * share;
        variance += n > 1.0 ? d * share * (1.0 - share) * (n - d) / (n - 1.0) : 0.0;
    }
    *p = variance > 0.0 ? 0.5 * erfc(off / sqrt(2.0 * variance)) : 1.0;
    return variance > 0.0;
}

struct season_plainly {
    double alarm;  /* the smallest p of the first round, times the levels asked */
    double needed; /* the largest p on the way to the level in question; INFINITY when never met */
};

static inline struct season_plainly season_test(const struct season *season, enum season_test test,
                                                const struct season_fault *fault)
{
    struct season_plainly plainly = {INFINITY, INFINITY};
    bool *aside = calloc(SEASON_MOST, sizeof *aside);
    double way = 0.0;
    for (int round = 0; round < 8 && way < 1.0; round++) {
        double best = INFINITY, asked = 0.0;
        size_t factor = 0;
        uint32_t level = 0;
        for (size_t f = 0; f < season->dataset.factor_count; f++)
            for (uint32_t l = 0; l < season->dataset.factors[f].level_count; l++) {
                double p;
                if (!season_plain(season, test, f, l, aside, &p))
                    continue;
                asked++;
                if (p < best)
                    best = p, factor = f, level = l;
            }
        if (round == 0)
            plainly.alarm = best * asked;
        way = fmax(way, best * asked);
        if (fault->factor == factor && fault->level == level) {
            plainly.needed = way;
            break;
        }
        for (size_t i = 0; i < season->dataset.vessel_count; i++)
            aside[i] = aside[i] || season->levels[factor][i] == level;
    }
    free(aside);
    return plainly;
}

#endif
