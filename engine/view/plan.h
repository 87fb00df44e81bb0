/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_PLAN_H
#define JARSIDE_VIEW_PLAN_H

#include <jansson.h>
#include <stdbool.h>

#include "base/dates.h"
#include "process/cook.h"
#include "process/forecast.h"
#include "process/moisture.h"
#include "rules/rules.h"
#include "triage/physics.h"
#include "view/screen.h"

/*
 * Cooks, mixes and spawn runs in words, and as JSON (schema 1, README.md).
 *
 * Every figure that is uncertain is told as a range with what it assumes, and no
 * advice goes beyond the pressure a cooker is rated for.
 */
struct cook_told {
    const struct rules *rules;
    const struct known_cook *known;
    const struct cook_setup *setup;
    const struct cook_result *result;
    const struct cook_result *sea;  /* the same at sea level; NULL when it is there already */
    const struct cook_probe *probe; /* when the core was measured; else NULL */
    double outside;                 /* kPa */
    const char *vessel;             /* its name */
    const char *assumed;            /* parts divided by "; " */
};
void view_cook(struct screen *screen, const struct cook_told *told);
json_t *view_cook_json(const struct cook_told *told);

struct mix_told {
    const struct rules *rules;
    const struct known_grain *grain;
    double own_moisture;
    double dry, water; /* grams in all vessels, as weighed or to weigh */
    double moisture;   /* per cent that makes; */
    struct moisture_band band;
    struct moisture_verdict verdict;
    bool recipe;        /* dry and water are to be weighed, not weighed already */
    double target;      /* recipe: per cent aimed for */
    double vessels;     /* how many; 0 when not said */
    double fill;        /* share of each vessel that is filled; NAN when not known */
    const char *vessel; /* its name, or NULL */
    const char *assumed;
};
void view_mix(struct screen *screen, const struct mix_told *told);
json_t *view_mix_json(const struct mix_told *told);

struct forecast_told {
    const struct rules *rules;
    const struct known_growth *known;
    const struct forecast *forecast;
    struct range visible, shake, full; /* days; INFINITY when not within two years */
    bool reached;                      /* the central course gets to full at all */
    bool judged;                       /* `pace` is filled */
    double day, seen;                  /* of what was observed */
    struct pace_verdict pace;
    const char *start; /* ISO date of day 0, or NULL */
    const char *vessel;
    const char *assumed;
};
void view_forecast(struct screen *screen, const struct forecast_told *told);
json_t *view_forecast_json(const struct forecast_told *told);

/* An ISO 8601 date some days after `start` into `room`; "" when start is no date. */
const char *view_date(const char *start, double days, char room[MOMENT_ROOM]);

#endif
