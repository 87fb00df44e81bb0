/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_PAGE_H
#define JARSIDE_VIEW_PAGE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"
#include "view/screen.h"

/*
 * A page of HTML5 that is well-formed XML too, so that any parser can check it; and the charts on pages
 * and screens.
 *
 * Nothing but html_text and html_fit writes text into a page: labels, names and
 * sentences come from data. Both make it safe first (text_safe of base/text.h),
 * then turn markup characters and quotes into references, so that the result
 * may stand between tags and in a quoted attribute. Pages hold no script and
 * tell the browser to run none and to load nothing.
 */

/* The lines of words.txt or styles.txt below "== NAME"; a NULL where there is no such name. */
const char *const *view_template(const char *name);

/* Appends text, escaped. */
void html_text(struct text *page, const char *words);
/* Appends text made safe, the middle of what exceeds `columns` (2 or more) left out, as names differ at
 * their ends: columns of a screen, or for a page of small letters, where capitals and broad ones count for
 * more. */
void text_fit(struct text *out, const char *words, size_t columns, bool page);
/* The latter, escaped. */
void html_fit(struct text *page, const char *words, size_t columns);

/* <TAG>words</TAG>, and a newline but for cells of a table; `attributes` is ours ("class=\"x\"") or NULL. */
void html_element(struct text *page, const char *tag, const char *attributes, const char *words);

/* Head and foot of a page; `style` is CSS, ours, or the name of a style sheet of styles.txt. */
void html_begin(struct text *page, const char *title, const char *style);
void html_end(struct text *page);

/* The head of a page to print: `style` goes after that of every sheet, which is light on paper and as
 * the reader has set it on a screen. */
enum paper { PAPER_A4, PAPER_LETTER };   /* ISO 216; ANSI/ASME Y14.1 size A */
extern const char *const paper_widths[]; /* of a sheet upright, as CSS has it */
void sheet_begin(struct text *page, const char *title, enum paper paper, const char *style);

/* Where a result is said: on a screen, or in a page. */
struct face {
    struct screen *screen; /* NULL: */
    struct text *page;     /* NULL when there is a screen */
};

/*
 * Draws what no template does, from the tree where the template stands:
 *
 *     chart    `_chart`: curves of plain characters on a screen, as wide as it is (at most 72 columns) and
 *              nothing where it is narrower than 32, where the numbers must do; on a page the coverage of
 *              a forecast as a figure. {to, low, high: ends of the axes, x, y: their units, series: [{mark,
 *              label: for the legend or null, values: evenly spaced, or null}], points: [{x, y, mark}]}:
 *              later series stand over earlier ones, points over all
 *     bar      a cell of a table: a bar from `_low` to `_high` (0 to 1), and `_share` as a mark on it
 *     curves   the survival curves of `time`
 *     sum      since when losses are above the usual: `_sums`, pairs of the share of vessels so far and the
 *              sum of evidence in alarms; `_from` and `_to`, the days at its ends; `_began`, the share where
 *              the last episode began, and `_since`, its day, or null
 *     marks    a cell with every vessel of a batch: `_marks`, triples of fate, control, days; and `_more`
 *     legend   what the marks mean
 *
 * Charts of pages are inline SVG, drawn for a column as wide as a telephone: one unit is about a pixel there.
 * Classes are of the page's style.
 */
void view_part(const struct face *face, const char *name, const json_t *tree);

#endif
