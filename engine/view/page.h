/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_PAGE_H
#define JARSIDE_VIEW_PAGE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

/*
 * A page of HTML5 that is well-formed XML too, so that any parser can check it.
 *
 * Nothing but html_text and html_fit writes text into a page: labels, names and
 * sentences come from data. Both make it safe first (text_safe of base/text.h),
 * then turn markup characters and quotes into references, so that the result
 * may stand between tags and in a quoted attribute. Pages hold no script and
 * tell the browser to run none and to load nothing.
 */

/* Appends text, escaped. */
void html_text(struct text *page, const char *words);
/* Appends text made safe, the middle of what exceeds `columns` (2 or more) of a screen left out, as names
 * differ at their ends. True when something was cut. */
bool text_fit(struct text *out, const char *words, size_t columns);
/* The same, escaped, for a page: `columns` are of small letters, capitals and broad ones count for more. */
bool html_fit(struct text *page, const char *words, size_t columns);

/* <TAG>words</TAG>, and a newline but for cells of a table; `attributes` is ours ("class=\"x\"") or NULL. */
void html_element(struct text *page, const char *tag, const char *attributes, const char *words);
/* The same of a text, which is emptied; nothing of an empty one. */
void html_take(struct text *page, const char *tag, const char *attributes, struct text *words);

/* Head and foot of a page; `style` is CSS, ours. */
void html_begin(struct text *page, const char *title, const char *style);
void html_end(struct text *page);

/* The head of a page to print: `style` goes after that of every sheet, which is light on paper and as
 * the reader has set it on a screen. */
enum paper { PAPER_A4, PAPER_LETTER };   /* ISO 216; ANSI/ASME Y14.1 size A */
extern const char *const paper_widths[]; /* of a sheet upright, as CSS has it */
void sheet_begin(struct text *page, const char *title, enum paper paper, const char *style);

#endif
