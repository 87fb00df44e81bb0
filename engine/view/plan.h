/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_PLAN_H
#define JARSIDE_VIEW_PLAN_H

#include <jansson.h>
#include <stdbool.h>

#include "process/cook.h"
#include "process/forecast.h"
#include "process/moisture.h"
#include "rules/rules.h"
#include "triage/physics.h"
#include "view/screen.h"
#include "view/tree.h"

/*
 * Cooks, mixes and spawn runs in words, and as JSON (schema 1, README.md).
 *
 * Every figure that is uncertain is told as a range with what it assumes, and no
 * advice goes beyond the pressure a cooker is rated for.
 */
struct cook_report {
    const struct rules *rules;
    double rated; /* kPa gauge; the most the cooker is rated for */
    struct cook_setup setup;
    struct cook_result result;
    bool has_sea; /* `sea` holds the same at sea level; false when it is there already */
    struct cook_result sea;
    bool measured; /* the core was, with `probe` */
    struct cook_probe probe;
    double outside;      /* kPa */
    const char *vessel;  /* its name, or NULL */
    const char *assumed; /* parts divided by "; " */
};
json_t *view_cook_json(const struct cook_report *cook);

struct mix_report {
    const struct rules *rules;
    const struct grain *grain; /* NULL when it was not said */
    const char *grain_id;
    double own_moisture;
    double dry, water;          /* grams in all vessels, as weighed or to weigh */
    double moisture, dry_basis; /* per cent that makes */
    struct moisture_band band;
    struct moisture_verdict verdict;
    bool recipe;        /* dry and water are to be weighed, not weighed already */
    bool drained;       /* weighed again after soaking or simmering and draining */
    double target;      /* recipe: per cent aimed for, else NAN */
    double vessels;     /* how many; at least 1 */
    double fill;        /* share of each vessel that is filled; NAN when not known */
    const char *vessel; /* its name, or NULL */
    const char *assumed;
};
json_t *view_mix_json(const struct mix_report *mix);

struct forecast_report {
    const struct rules *rules;
    const struct species *species;
    const char *species_id;
    struct forecast forecast;
    struct range visible, shake, full; /* days; INFINITY when not within two years */
    bool reached;                      /* the central course gets to full at all */
    double look_every;                 /* days */
    double nothing_seen, not_full;     /* the days to stop waiting for either; or INFINITY */
    bool judged;                       /* `pace` is filled */
    double day, seen;                  /* of what was observed */
    struct pace_verdict pace;
    const char *start; /* ISO date of day 0, or NULL */
    const char *vessel;
    const char *assumed;
};
json_t *view_forecast_json(const struct forecast_report *spawn);

/* Coverage over days, for view_part: the band of a forecast, from day 0 to `last` (COURSE_POINTS of it, or
 * NULL), and what was seen: [{x: day, y: per cent, mark: "O", or "x" where that vessel is lost}], taken. */
enum { COURSE_POINTS = 61 };
json_t *view_coverage_chart(const struct range *band, double last, json_t *points);

#endif
