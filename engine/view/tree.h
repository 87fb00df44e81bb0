/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_TREE_H
#define JARSIDE_VIEW_TREE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"
#include "view/screen.h"

/*
 * A result as one tree, and the faces that are printed from it.
 *
 * The tree is what --json prints. Screens and pages say it by the templates of
 * words.txt, whose head explains how they are written. Keys that begin with "_"
 * are for templates only; view_tree_public takes them out.
 */

/* Adds to an array, to an object, and returns it; NULL in place of it once a NULL was to be added:
 * what could not be read. */
json_t *view_json_append(json_t *array, json_t *item);
json_t *view_json_put(json_t *object, const char *key, json_t *value);
/*
 * An object of the keys and the values behind them: view_json("p:n of:z name:s", 0.5, count, name). The
 * letters: n double (null when not finite), z size_t, l json_int_t, i int, b bool, s string (null for
 * NULL), r const struct range * (low, central, high), t text that may be anything and is made safe, w
 * the same, null when empty, o json_t *, taken. A null JSON stays out.
 * tests/house/trees.t checks them all.
 * Adds the same to an object; adds such an object to an array.
 */
json_t *view_json(const char *keys, ...);
void view_json_add(json_t *object, const char *keys, ...);
void view_json_row(json_t *array, const char *keys, ...);
/* A number, or null for what is not finite; a string, or null for NULL; a count. */
json_t *view_json_number(double number);
json_t *view_json_string(const char *string);
json_t *view_json_count(size_t count);
/* What was put together, which is released; made safe, as text from a table may be anything; null when
 * empty, or the text, safe where it is not UTF-8. */
json_t *view_json_take(struct text *words);
json_t *view_json_safe(const char *words);
json_t *view_json_text(const char *text);
/* The first members of a list, at most so many, as long as that number of theirs is not too small: another
 * list of the same. The first always. */
json_t *view_json_first(const json_t *list, const char *key, double least, size_t most);
/* An array of strings; of the parts of "a; b; c"; empty for NULL. */
json_t *view_json_strings(const char *const *strings, size_t count);
json_t *view_json_parts(const char *parts);

/* The tree without what is for templates only; it is changed and returned. NULL stays NULL. */
json_t *view_tree_public(json_t *tree);

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
    /* Draws what no template does: a chart, a table. `of` is the caller's. */
    void (*part)(struct face *face, const char *name, const json_t *tree);
    const void *of;
};

/* Says a tree as the template of that name has it. */
void view_say(struct face *face, const char *name, const json_t *tree);
/* The same, and the tree is released. */
void view_say_taken(struct face *face, const char *name, json_t *tree);
/* Appends the words of a template that says no block. */
void view_words(struct text *out, const char *name, const json_t *tree);

/* "96 %", "under 1 %", "over 99 %": into `room`, which is returned. */
enum { PERCENT_ROOM = 16 };
const char *view_percent(double p, char room[PERCENT_ROOM]);

#endif
