/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_CHARTS_H
#define JARSIDE_VIEW_CHARTS_H

#include <stddef.h>

#include "view/page.h"
#include "view/review.h"
#include "view/screen.h"

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

/*
 * Charts as inline SVG, drawn for a column as wide as a telephone: one unit is
 * about a pixel there, and text is SVG_TEXT high. Classes are of the page's
 * style. Each chart stands in a figure and is followed by its figures as a table.
 */
enum { SVG_WIDTH = 350, SVG_TEXT = 13 };

/* Opens figure and drawing, named by `id` within the page; what it shows goes to title, caption and
 * description. */
void svg_begin(struct text *page, const char *id, const char *title, const char *description,
               double height);
/* Closes the drawing; the table may follow. */
void svg_end(struct text *page);
/* Opens the table with its heads, NULL-terminated; closes it and the figure. */
void svg_table(struct text *page, const char *caption, const char *const *heads);
void svg_table_end(struct text *page);

enum svg_anchor { SVG_START, SVG_MIDDLE, SVG_END };
/* Text, cut to `columns`; whole in a title when cut. */
void svg_words(struct text *page, double x, double y, enum svg_anchor anchor, const char *style,
               const char *words, size_t columns);
void svg_line(struct text *page, double x1, double y1, double x2, double y2, const char *style);
void svg_box(struct text *page, double x, double y, double width, double height, const char *style);

/* One shape for each meaning: never colour alone. */
enum svg_shape { SVG_DOT, SVG_CROSS, SVG_TRIANGLE, SVG_RING, SVG_DIAMOND, SVG_QUERY };
/* A shape round a centre, `size` across; `title` may be NULL. */
void svg_shape(struct text *page, enum svg_shape shape, double x, double y, double size,
               const char *title);

/* ---- the charts ------------------------------------------------------------------------------- */

/* What did it: how many vessels each fault cost. */
void svg_faults(struct text *page, const struct review *review);
/* One factor; the index goes into ids. */
void svg_levels(struct text *page, const struct review *review, const struct review_factor *factor);
void svg_curves(struct text *page, const struct review *review);
void svg_batches(struct text *page, const struct review *review);
void svg_sum(struct text *page, const struct review *review);
void svg_vessels(struct text *page, const struct review *review);

#endif
