/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_PHYSICS_H
#define JARSIDE_TRIAGE_PHYSICS_H

#include <math.h>
#include <stdbool.h>

#include "base/memory.h"
#include "base/text.h"
#include "process/cook.h"
#include "process/forecast.h"
#include "process/moisture.h"
#include "reason/reason.h"
#include "rules/rules.h"
#include "triage/triage.h"

/* From what was said to what process/ is asked: the one place where the rule
 * base's assumptions fill the gaps of a cook, a hydration, a spawn run.
 *
 * NAN and RULES_NONE stand for "not said". What had to be assumed is written
 * into `assumed` in plain words, parts divided by "; ". */

/* A vessel: a kind of the rule base, or measures of one's own, or both. */
struct known_vessel {
    int kind;      /* index into rules.vessels */
    double grams;  /* hydrated grain in it */
    double own[3]; /* metres of the filled grain; a cylinder has radius, height, NAN */
    enum vessel_shape own_shape;
    double litres; /* brim volume */
};

struct known_grain {
    int kind;            /* index into rules.grains */
    double own_moisture; /* as bought, per cent wet basis */
    double moisture;     /* hydrated, per cent */
    double dry, water;   /* grams in one vessel: as bought, and what was added */
};

struct known_cook {
    struct known_vessel vessel;
    struct known_grain grain;
    double gauge, rated;  /* kPa gauge */
    double minutes;       /* at pressure */
    double altitude;      /* metres */
    double barometer;     /* kPa, local */
    double air;           /* share left */
    double come_up, cool; /* minutes */
    double start;         /* degC */
    int packing;          /* value of the observable that feeds `load` */
    double vessels, target;
};

struct known_growth {
    struct known_vessel vessel;
    struct known_grain grain;
    int species;
    int starter;                 /* index into rules.starters */
    double dose;                 /* in its unit */
    double dose_relative;        /* times the usual, when the dose was not said in units */
    double temperature;          /* constant, degC */
    const struct warmth *warmth; /* a log instead; NULL for none */
    size_t warmth_count;
    const struct shake *shakes;
    size_t shake_count;
};

/* Nothing said yet. */
#define KNOWN_VESSEL                                                                               \
    {                                                                                              \
        .kind = RULES_NONE, .grams = NAN, .own = {NAN, NAN, NAN}, .litres = NAN                    \
    }
#define KNOWN_GRAIN                                                                                \
    {                                                                                              \
        .kind = RULES_NONE, .own_moisture = NAN, .moisture = NAN, .dry = NAN, .water = NAN         \
    }
#define KNOWN_COOK                                                                                 \
    {                                                                                              \
        .vessel = KNOWN_VESSEL, .grain = KNOWN_GRAIN, .gauge = NAN, .rated = NAN, .minutes = NAN,  \
        .altitude = NAN, .barometer = NAN, .air = NAN, .come_up = NAN, .cool = NAN, .start = NAN,  \
        .packing = RULES_NONE, .vessels = NAN, .target = NAN                                       \
    }
#define KNOWN_GROWTH                                                                               \
    {                                                                                              \
        .vessel = KNOWN_VESSEL, .grain = KNOWN_GRAIN, .species = RULES_NONE,                       \
        .starter = RULES_NONE, .dose = NAN, .dose_relative = NAN, .temperature = NAN               \
    }

enum physics_answer {
    PHYSICS_OK,
    PHYSICS_NO_RULES,   /* the rule base holds no such assumptions */
    PHYSICS_NO_COOK,    /* neither pressure nor minutes were said */
    PHYSICS_NO_MINUTES, /* pressure without minutes */
    PHYSICS_NO_SPECIES, /* or its growth is not known */
    PHYSICS_REFUSED,    /* `fault` and `value` say what and why */
};

struct physics_refusal {
    enum process_error fault;
    double value;
};

/* A cook ready for cook_compute. On PHYSICS_REFUSED the refusal is filled. */
enum physics_answer physics_cook(const struct rules *rules, const struct known_cook *known,
                                 struct cook_setup *setup, struct text *assumed,
                                 struct physics_refusal *refusal);

/* A spawn run ready for forecast_coverage. `constant` is room for one point of temperature. */
enum physics_answer physics_growth(const struct rules *rules, const struct known_growth *known,
                                   struct forecast *forecast, struct warmth *constant,
                                   struct text *assumed, struct physics_refusal *refusal);

/* The moisture of what was weighed (or said): per cent, NAN when it cannot be known. */
double physics_moisture(const struct rules *rules, const struct known_grain *grain,
                        struct text *assumed);
/* Band of a grain, or of all grains together when it was not said. */
struct moisture_band physics_band(const struct rules *rules, int grain);
/* Own moisture and loose bulk (kg/l) of a grain, or the middle of all. */
double physics_own_moisture(const struct rules *rules, const struct known_grain *grain);
double physics_bulk(const struct rules *rules, int grain);

/* The vessel kind of a shape whose usual mass is nearest, or of any whose brim volume is, where `litres` is no
 * NAN; RULES_NONE when there is none. */
int physics_nearest_vessel(const struct rules *rules, enum vessel_shape shape, double grams,
                           double litres);
/* A vessel by its size: bag:2.2kg or jar:500g (the nearest kind, filled so), jar:1litre (by volume),
 * bag:20x12x8cm or jar:9x12cm (diameter and height of the filled grain); or as sheets have it, in small
 * letters: "1 l", "500ml", "2.5 kg bag". False when it is none of that. */
bool physics_read_vessel(const struct rules *rules, const char *words, struct known_vessel *vessel);
/* Hydrated grams in a vessel: as said, or the kind's usual; NAN when neither is known. */
double physics_grams(const struct rules *rules, const struct known_vessel *vessel);

/* Writes why there is no answer: the bound, or what is missing. */
void physics_explain(struct text *out, enum physics_answer answer,
                     const struct physics_refusal *refusal);

/* ---- how it moves causes ---------------------------------------------------------------------- */

/*
 * What process/ can compute from the facts of a case, and how it moves causes.
 *
 * A cause moves by what its `moved_by` names:
 *   survivors  p = mean chance that a vessel of this cook holds a live organism
 *   wet, dry   p = chance that the moisture lies above, below the grain's band
 *   cold       p = share of the growth rate lost to a temperature below the best;
 *              or, when the vessel is late for its day, the share of the delay
 *              that it explains
 *   warm       p = how far the temperature lies between the best and the highest
 *   dose       p = 1 / (1 + r^2), r times the usual dose; or, likewise, the share
 *                  of the delay
 * by
 *   log_odds = clamp(trust (logit p - logit usual), most)
 * where usual, trust, most are the rule base's `moves` and p is kept within 0.002
 * and 0.998. The computed figure stands in the place of the rule's cruder one,
 * never beside it: `replaces` is what the rules weigh already, tau ln P(said |
 * cause) / P(said | none) over the circumstances the computation used, and the
 * shift is log_odds - replaces.
 */

/* Cooks computed before, of one rule base; several threads may share them. A cook takes a thousand times as
 * long as a posterior, and the same one comes again with every answer of a conversation and every vessel
 * of a batch. */
struct cook_memo;
struct cook_memo *cook_memo_new(void);
void cook_memo_free(struct cook_memo *memo);
/* physics_cook, and cook_compute of the setup; unless PHYSICS_OK the result is empty, its chance_mean NAN. With an
 * arena also, from there, what is to be said of it and what was assumed; NULL for nothing. */
enum physics_answer physics_cooked(struct cook_memo *memo, const struct rules *rules,
                                   const struct known_cook *known, struct cook_result *result,
                                   struct arena *arena, const char **say, const char **assumed);

/* log_odds for p = `chance`, with a trust that may be less than the move's; 0 where it is NAN. */
double physics_shift(const struct move *move, double trust, double chance);

/* Writes the moves, at most one a cause, and returns how many; strings are in the
 * arena. A cause whose cook was not said gets a move of 0 that says so. */
size_t physics_moves(const struct reasoner *reasoner, const struct evidence *evidence,
                     const struct fact *facts, size_t fact_count, struct cook_memo *memo,
                     struct arena *arena, struct computed *moves);

/* Whether the facts say of white that it came sooner than any culture could: at least so many per cent, by such a
 * day at most. Days are counted in many ways and coverage is judged by eye: only what no counting and no eye
 * explains is called so. */
bool physics_too_fast(const struct rules *rules, const struct fact *facts, size_t count,
                      double *coverage, double *day);

#endif
