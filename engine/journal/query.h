/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_QUERY_H
#define JARSIDE_JOURNAL_QUERY_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "journal/journal.h"

/* Selecting records, searches and counts, queried from SQLite in one go where walking every record would
 * take too long. */

/* The newest `limit` (0: all) that belong to the record of another kind and that id: batches of a starter, lot,
 * cook or session; vessels of one of these, of a batch or of the place where they stand; looks, events and
 * outcomes of a vessel or batch; starters made from a starter (its own, or grain that it grew on) or from
 * the grain of a vessel. */
enum status query_belonging(struct journal *journal, enum record record, enum record of, int64_t id,
                            size_t limit, struct arena *arena, struct page *page);

/* What became of the vessels of a batch, starter, lot, cook, session or place (where they stand), as JSON:
 * {vessels, lost, state, fate, controls, controls_lost}, counts of inoculated ones but for the last two; for
 * templates `_parts`, [{count, of}] by what is to be said of them. */
enum status query_tally(struct journal *journal, enum record record, int64_t id, json_t **tally);

/* Of the batches whose ids stand in a JSON list ("[]": of all) begun at or after `since`: what became of the
 * inoculated vessels by "month" of inoculation, "species" or "starter", as JSON: [{NAME, open, sound, lost}],
 * for templates `_all` and `_share`, of those that ended. */
enum status query_losses(struct journal *journal, const char *by, const char *batches,
                         int64_t since, json_t **losses);

/* Records that hold every word, in any of their texts, whatever the case: the newest `limit` of each
 * kind. Words are compared folded (base/text.h) and whole; when nothing holds them so, those that begin
 * with them count. */
struct hits {
    struct page *pages; /* of kinds that have some, each by rising id */
    size_t count;
    bool more; /* some kind has further ones */
};
enum status query_search(struct journal *journal, const char *const *words, size_t count,
                         size_t limit, struct arena *arena, struct hits *hits);

/* What happened, in order: looks, events and outcomes of one vessel or of all
 * vessels of a batch, and the slips that were corrected in a record.
 *
 * Events are in the order of their moments, and those of one moment in the order in
 * which they were recorded. What a later row corrects is there, too, and says so. */
struct history_entry {
    enum record kind; /* RECORD_LOOK, _EVENT, _OUTCOME or _EDIT */
    struct moment at;
    int64_t id;
    int64_t vessel; /* 0 for an edit */
    bool overruled; /* a later row corrects it: it no longer counts */
    union any_record is;
};

struct history {
    struct history_entry *entries; /* in the arena */
    size_t count;
    size_t earlier; /* how many more there were before these */
};

/* The newest `limit` entries of each kind (0: all): of a vessel, or all vessels of a batch; of any
 * other record with a label its edits. `row` is the record. */
enum status history_of(struct journal *journal, enum record record, const void *row, size_t limit,
                       struct arena *arena, struct history *history);

#endif
