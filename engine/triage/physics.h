/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_PHYSICS_H
#define JARSIDE_TRIAGE_PHYSICS_H

#include <stdbool.h>

#include "base/text.h"
#include "process/cook.h"
#include "process/forecast.h"
#include "process/moisture.h"
#include "rules/rules.h"

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
void known_vessel_init(struct known_vessel *vessel);
void known_grain_init(struct known_grain *grain);
void known_cook_init(struct known_cook *cook);
void known_growth_init(struct known_growth *growth);

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

/* A cook ready for cook_compute. `organisms` has room for COOK_MAX_ORGANISMS and
 * must outlive the setup. On PHYSICS_REFUSED the refusal is filled. */
enum physics_answer physics_cook(const struct rules *rules, const struct known_cook *known,
                                 struct cook_setup *setup, struct cook_organism *organisms,
                                 struct text *assumed, struct physics_refusal *refusal);

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

/* The vessel kind of a shape whose usual mass is nearest; RULES_NONE when there is none. */
int physics_nearest_vessel(const struct rules *rules, enum vessel_shape shape, double grams);
/* Hydrated grams in a vessel: as said, or the kind's usual; NAN when neither is known. */
double physics_grams(const struct rules *rules, const struct known_vessel *vessel);

/* Writes why there is no answer: the bound, or what is missing. */
void physics_explain(struct text *out, enum physics_answer answer,
                     const struct physics_refusal *refusal);

#endif
