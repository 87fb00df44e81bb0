/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_CHART_H
#define JARSIDE_VOICE_CHART_H

#include <stddef.h>

#include "voice/screen.h"

/*
 * Curves in plain characters: one a column, the later series over the earlier
 * ones. ASCII only, so it looks the same in every locale; no colour.
 */
struct chart_series {
    const double *values; /* evenly spaced over the x axis; NAN is a gap */
    size_t count;         /* at least 2 */
    char mark;
    const char *label; /* for the legend */
};

struct chart {
    double x_from, x_to, y_from, y_to;
    const char *x_unit, *y_unit;
    const struct chart_series *series;
    size_t count;
};

/* Draws it `rows` high and as wide as the screen (at most 72 columns). Nothing on a screen narrower
 * than CHART_NARROWEST, where the numbers must do. */
enum { CHART_NARROWEST = 32 };
void chart_draw(struct screen *screen, const struct chart *chart, size_t rows);

#endif
