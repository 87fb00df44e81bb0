/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_TREE_H
#define JARSIDE_VIEW_TREE_H

#include <jansson.h>
#include <stddef.h>

#include "base/text.h"
#include "base/units.h"
#include "view/screen.h"

/* Where a result is said: on a screen, or in a page. */
struct face {
    struct screen *screen; /* NULL: */
    struct text *page;     /* NULL when there is a screen */
};

/* A result as one tree, and the faces that are printed from it.
 *
 * The tree is what --json prints. Screens and pages say it by the templates of words.txt, whose
 * head explains how they are written. Keys that begin with "_" are for templates only:
 * json_write leaves them out. */

/* An object of the keys and the values behind them: view_json("p:n of:z name:s", 0.5, count, name).
 * The letters: n double (null when not finite), z size_t, l json_int_t, i int, b bool, s string
 * (null for NULL), r const struct range * (low, central, high), t text that may be anything and is
 * made safe, w the same, null when empty, o json_t *, taken. A null JSON stays out.
 * tests/house/trees.t checks them all. Adds the same to an object; adds such an object to an
 * array. */
json_t *view_json(const char *keys, ...);
#define view_json_add(object, ...) json_object_update_new(object, view_json(__VA_ARGS__))
#define view_json_row(array, ...)  json_array_append_new(array, view_json(__VA_ARGS__))
/* An array of so many of them, whose values hang on the index: view_json_rows(i, count, "p:n", list[i].p). */
#define view_json_rows(index, count, ...)                                                          \
    __extension__({                                                                                \
        json_t *index##_rows = json_array();                                                       \
        for (size_t index = 0; index < (count); index++)                                           \
            view_json_row(index##_rows, __VA_ARGS__);                                              \
        (json_t *)index##_rows;                                                                    \
    })
/* A number, or null for what is not finite. */
json_t *view_json_number(double number);
/* Made safe, as text from a table may be anything; null when empty, or as it is if UTF-8. */
json_t *view_json_safe(const char *words);
json_t *view_json_text(const char *text);
/* The first members of a list, at most so many, as long as that number of theirs is not too small:
 * another list of the same. The first always. */
json_t *view_json_first(const json_t *list, const char *key, double least, size_t most);
/* An array of strings; of the parts of "a; b; c"; empty for NULL. */
json_t *view_json_strings(const char *const *strings, size_t count);
json_t *view_json_parts(const char *parts);

/* Says a tree as the template of that name has it. */
void view_say(const struct face *face, const char *name, const json_t *tree);
/* The same, and the tree is released. */
void view_say_taken(const struct face *face, const char *name, json_t *tree);
/* A page of HTML5 by the template of that name, which is well-formed XML too, so that any parser can
 * check it; the tree is released. `styles` are names of style sheets in styles.txt, apart by blanks;
 * that of a page to print begins with its paper, "a4" or "letter" (ISO 216; ANSI/ASME Y14.1 size A).
 *
 * Only blocks of words, "text" and the parts that C draws put text into a page: labels, names and
 * sentences come from data. All is made safe first (text_safe of base/text.h), then markup
 * characters and quotes become references, so that the result may stand between tags and in a
 * quoted attribute. Pages hold no script and tell the browser to run none and to load nothing. */
void view_page(struct text *page, const char *title, const char *styles, const char *name,
               json_t *tree);
/* Appends the words of a template that says no block. */
void view_words(struct text *out, const char *name, const json_t *tree);

/* A curve of a chart (`chart` of view_part in tree.c), its values taken. And coverage over days:
 * the band of a forecast, from day 0 to `last` (COURSE_POINTS of it, or NULL), and what was seen:
 * [{x: day, y: per cent, mark: "O", or "x" where that vessel is lost}], taken. */
static inline json_t *view_series(const char *mark, const char *label, json_t *values)
{
    return view_json("mark:s label:s values:o", mark, label, values);
}
enum { COURSE_POINTS = 61 };
json_t *view_coverage_chart(const struct range *band, double last, json_t *points);

/* "96 %", "under 1 %", "over 99 %": into `room`, which is returned. */
enum { PERCENT_ROOM = 16 };
const char *view_percent(double p, char room[PERCENT_ROOM]);

#endif
