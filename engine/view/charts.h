/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_CHARTS_H
#define JARSIDE_VIEW_CHARTS_H

#include <jansson.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"
#include "review/review.h"
#include "view/screen.h"

/*
 * Curves in plain characters: one a column, the later series over the earlier
 * ones. ASCII only, so it looks the same in every locale; no colour.
 */
struct chart_series {
    const double *values; /* evenly spaced over the x axis; NAN is a gap */
    size_t count;         /* at least 2; 0 for an entry of the legend */
    char mark;
    const char *label; /* for the legend */
};

struct chart_point { /* drawn over the series */
    double x, y;
    char mark;
};

struct chart {
    double x_from, x_to, y_from, y_to;
    const char *x_unit, *y_unit;
    const struct chart_series *series;
    size_t count;
    const struct chart_point *points;
    size_t point_count;
};

/* Draws it `rows` high and as wide as the screen (at most 72 columns). Nothing on a screen narrower
 * than CHART_NARROWEST, where the numbers must do. */
enum { CHART_NARROWEST = 32 };
void chart_draw(struct screen *screen, const struct chart *chart, size_t rows);

/* Coverage over days: the band of a forecast, from day 0 to `last` (COURSE_POINTS of it, or NULL), and what
 * was seen, 'O', or 'x' where that vessel is lost. On a screen, or into a page as a figure. */
enum { COURSE_POINTS = 61 };
void chart_coverage(struct screen *screen, const struct range *band, double last,
                    const struct chart_point *points, size_t count);
void svg_coverage(struct text *page, const struct range *band, double last,
                  const struct chart_point *points, size_t count);

/*
 * Charts of a review as inline SVG, drawn for a column as wide as a telephone: one unit is about a pixel
 * there. Shares are tables whose rows have a bar. Classes are of the page's style.
 */

/* A cell of a table: a bar from _low to _high of the row (0 to 1), and _share as a mark on it. */
void chart_bar(struct text *page, const json_t *row);
/* How long vessels lasted. */
void svg_curves(struct text *page, const struct review *review);
/* Since when: the running sum of evidence that losses are above the usual. */
void svg_sum(struct text *page, const struct review *review);
/* Every vessel of a batch in a cell: the shape of its mark says what became of it. What the marks mean. */
void vessels_marks(struct text *page, const struct dataset *dataset, uint32_t batch);
void vessels_legend(struct text *page);

#endif
