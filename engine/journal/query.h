/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_QUERY_H
#define JARSIDE_JOURNAL_QUERY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "journal/journal.h"

/* Selecting records: pages of lists, counts and searches, queried from SQLite in one go
 * where walking every record would take too long. They give ids; journal_get
 * gives the records. */
enum { SURVEY_ANY = -1 };

struct survey { /* which of a kind */
    enum record record;
    /* Those that belong to the record of this kind and id (0 for all): batches of a starter, lot, cook or
     * session; vessels of one of these, of a batch or of the place where they stand; looks, events and
     * outcomes of a vessel or batch; starters made from a starter (its own, or grain that it grew on) or
     * from the grain of a vessel. */
    enum record of;
    int64_t id;
    int state;    /* vessels: an enum vessel_state, or SURVEY_ANY */
    int fate;     /* vessels: an enum fate, or SURVEY_ANY */
    bool growing; /* vessels: those that grow or are isolated */
    size_t limit; /* the newest so many; 0 for all */
};

struct page { /* ids rise; `total` is how many there are without the limit */
    const int64_t *ids;
    size_t count, total;
};

/* A survey of all records of a kind, the newest `limit` of them. */
struct survey survey_all(enum record record, size_t limit);
enum status survey_page(struct journal *journal, const struct survey *survey, struct arena *arena,
                        struct page *page);
/* The newest `limit` that belong to the record of another kind and that id. */
enum status survey_of(struct journal *journal, enum record record, enum record of, int64_t id,
                      size_t limit, struct arena *arena, struct page *page);

/* What became of the vessels of a batch, starter, lot, cook, session or place (where they stand). */
struct vessel_tally {
    size_t vessels;                 /* inoculated ones */
    size_t state[VESSEL_USED + 1];  /* of these */
    size_t well[VESSEL_USED + 1];   /* of these, by state: the ones that are not lost */
    size_t fate[FATE_COUNT];        /* of these */
    size_t controls, controls_lost; /* never inoculated; contaminated ones of them */
};
enum status survey_tally(struct journal *journal, enum record record, int64_t id,
                         struct vessel_tally *tally);
/* Lost ones of a tally: stuck, contaminated or thrown away untold. */
size_t tally_lost(const struct vessel_tally *tally);

/* Of the batches whose ids stand in a JSON list ("[]": of all) begun at or after `since`: what became of the
 * inoculated vessels of each month of inoculation, species or starter, by that key; ""
 * where it is not known. */
enum losses_by { LOSSES_BY_MONTH, LOSSES_BY_SPECIES, LOSSES_BY_STARTER, LOSSES_BY };
struct losses {
    const char *key; /* "2026-03", an id of the rules, a label */
    size_t fate[FATE_COUNT];
};
enum status survey_losses(struct journal *journal, enum losses_by by, struct arena *arena,
                          const char *batches, int64_t since, struct losses **losses,
                          size_t *count);

/* Records that hold every word, in any of their texts, whatever the case: the newest `limit` of each
 * kind. Words are compared folded (base/text.h) and whole; when nothing holds them so, those that begin
 * with them count. */
struct hit {
    enum record record;
    int64_t id;
};
struct hits {
    struct hit *hits; /* by kind, newest first within one */
    size_t count;
    bool more; /* some kind has further ones */
};
enum status survey_search(struct journal *journal, const char *const *words, size_t count,
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
