/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_SVG_INTERNAL_H
#define JARSIDE_VOICE_SVG_INTERNAL_H

#include "voice/html.h"
#include "voice/review.h"

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

void svg_faults(struct text *page, const struct review *review);
/* One factor; the index goes into ids. */
void svg_levels(struct text *page, const struct review *review, const struct review_factor *factor);
void svg_curves(struct text *page, const struct review *review);
void svg_batches(struct text *page, const struct review *review);
void svg_sum(struct text *page, const struct review *review);
void svg_vessels(struct text *page, const struct review *review);

#endif
