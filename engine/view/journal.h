/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_JOURNAL_H
#define JARSIDE_VIEW_JOURNAL_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "journal/consult.h"
#include "journal/journal.h"
#include "rules/rules.h"
#include "view/screen.h"
#include "view/tree.h"

/* The journal in words, and as JSON: lists, the history of a vessel, what is due.
 *
 * What is shown was written by people, perhaps by strangers: everything passes the screen's
 * text_safe. JSON is schema 1 (README.md, "For programs"). */
struct journal_view {        /* what views of the journal read from */
    struct journal *journal; /* once reading it has failed, what is shown is worthless */
    const struct rules *rules;
    struct arena *arena; /* for what is read on the way */
    struct moment now;
};

/* ---- words ----------------------------------------------------------------------------------- */

/* The words of a template of a tree (view_words), which is released. In the arena. */
const char *view_said(struct journal_view *view, const char *template, json_t *tree);
/* The name that the rules have for an id, or the id where they know none ("" stays ""). In the case
 * in which it stands within a sentence. Texts live in the arena. */
const char *view_name(struct journal_view *view, enum word_list list, const char *id);
/* "oyster on rye", with what is not known left out: "unknown mushroom". Reads the lot. */
const char *view_batch_words(struct journal_view *view, const struct batch *batch);
/* The label of a record, or "" for id 0. */
const char *view_label(struct journal_view *view, enum record record, int64_t id);

/* What was made from a starter or a vessel: "S3 (in batch B2, B4), S5"; "" for nothing. */
const char *view_children(struct journal_view *view, enum record record, int64_t id);
/* " (grain of B1-3, which counts as contaminated)" after the label of a starter; "" for others. */
const char *view_mother(struct journal_view *view, int64_t starter);

/* "B1-1 to B1-4, B1-7": runs of one batch drawn together. The vessels are in numerical order. */
const char *view_vessels(struct arena *arena, const struct vessel *vessels, size_t count);

/* "103 kPa (15 psi) for 90 min": what a cook was; "" when nothing is known. In the arena. */
const char *view_cook_words(struct journal_view *view, const struct cook *cook);

/* "3 ml", "2 pieces": the starter in each vessel; "" when it is not known. In the arena. */
const char *view_inoculum(struct arena *arena, const struct batch *batch);

/* The days of a range of a vessel's forecast; false, and 0 for both, when it has none. */
bool view_forecast_days(const struct batch *batch, const struct vessel_forecast *forecast,
                        const struct range *range, int64_t *from, int64_t *to);

/* JSON: a moment or day as ISO 8601 or null; a text or null when empty; the labels of vessels. */
json_t *view_json_moment(struct moment moment);
json_t *view_json_day(int64_t day); /* 0: null */
json_t *view_json_vessels(const struct vessel *vessels, size_t count);

/* One record as an object with every column: numbers in the unit of the journal, references as
 * labels, null for what is not known. Derived columns included, "id" for rows without a label. For
 * templates the words of columns that the rules or a unit have words for, under "_NAME"; "_what" it
 * is; and "_columns", those that hold something, with their words. */
json_t *view_record_json(struct journal_view *view, enum record record, const void *row);

/* ---- parts of the journal -------------------------------------------------------------------- */

/* The records of a page, the newest last; batches and what they are made with come with "vessels":
 * what became of them, in counts. Alone, and as what the template "list" tells. */
json_t *view_records_json(struct journal_view *view, const struct page *page);
json_t *view_list_json(struct journal_view *view, const struct page *page);

/* The whole history of one record, for the templates history.vessel, .batch and .around (anything
 * else), and of a vessel or a batch for the page "history.page", with its coverage by day as a figure:
 * what it is and came from, what happened to it in order, and what became of the vessels it went
 * into. `row` is a record of that kind: a vessel, batch, starter, lot, cook, session or place. Of
 * long lives the newest `limit` entries are told, and how many there were before. */
json_t *view_history_json(struct journal_view *view, enum record record, const void *row,
                          size_t limit);

/* Losses by month of inoculation, species and starter. With what a vessel costs to fill, in any
 * money, and what a sound one yields, in grams (NAN: not told), what they come to. */
struct losses_asked {
    double cost, yield;
    const char *batches; /* their ids as a JSON list; "[]" for all */
    struct moment since; /* inoculated then or later; unknown: all */
};
json_t *view_losses_json(struct journal_view *view, const struct losses_asked *asked);

/* What is due by a day, the first due first: the first `limit` vessels (0: all) of the batches
 * given, of all where none is. Those without a day of their own (imported ones) get that of the
 * forecast, or one after their last look. For the template "due", "due.sheet" with boxes to tick,
 * and the page "due.page". */
struct due_asked {
    int64_t day;
    size_t limit;
    const struct batch *batches;
    size_t batch_count;
};
json_t *view_due_json(struct journal_view *view, const struct due_asked *asked);

/* Labels to cut out and stick on, in plain text. */
void view_labels(struct screen *screen, struct journal_view *view, const struct vessel *vessels,
                 size_t count);
/* A page for a sheet of labels, with a QR code of each. The first `skip` places of the first sheet,
 * fewer than it has room for, stay empty; `cut` prints lines to cut along, for plain paper. */
enum paper { PAPER_A4, PAPER_LETTER };
enum label_sheet { SHEET_A4_21, SHEET_A4_24, SHEET_LETTER_30 };
extern const char *const label_sheets[]; /* their sizes in mm: "63.5x38.1"; ends with NULL */
size_t label_sheet_room(enum label_sheet sheet);
void view_labels_html(struct text *html, struct journal_view *view, const struct vessel *vessels,
                      size_t count, enum label_sheet sheet, size_t skip, bool cut);

/* The cautions for handling a vessel that is thrown away, judged by its last look (NULL: it was
 * never looked at). Those for health first; of the later ones those that go with throwing away. */
json_t *view_handling_json(const struct rules *rules, const struct look *look);

#endif
