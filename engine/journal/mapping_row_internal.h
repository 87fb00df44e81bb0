/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_MAPPING_ROW_INTERNAL_H
#define JARSIDE_JOURNAL_MAPPING_ROW_INTERNAL_H

#include "journal/journal_internal.h"
#include "journal/mapping_internal.h"

/* What carries a row into the journal. */
struct carrier {
    struct journal *journal;
    const struct mapping *mapping;
    struct reader *reader;
    struct moment now;
    struct arena *arena;             /* of one row */
    struct diags *own;               /* what was wrong with one row, without a position */
    const char *cells[MAPPED_COUNT]; /* of one row; "" where it says nothing */
    struct text given, there;
    sqlite3_stmt *highest;
    /* What came of it. */
    const char *label;          /* of the vessel, as far as it is known */
    enum mapped blamed;         /* which cell a fault is about; MAPPED_COUNT for the row */
    bool news;                  /* something was added */
    size_t added[RECORD_COUNT]; /* by this row */
};

/* Takes the row of carrier->cells. STATUS_DATA or STATUS_USAGE, and a message in `own`, when it is
 * refused: what it added until then is for the caller to undo. */
enum status carrier_take(struct carrier *carrier);

/* Whether the row says anything in that cell. */
bool carrier_said(const struct carrier *carrier, enum mapped field);
/* Refuses a cell: adds what would be right, remembers which cell it is, gives STATUS_DATA. */
enum status carrier_wrong(struct carrier *carrier, enum mapped field, const char *right);
enum status carrier_lacks(struct carrier *carrier, enum mapped field, const char *why);
/* The day that a cell says; none to come. */
enum status carrier_day(struct carrier *carrier, enum mapped field, struct moment *moment);
/* Adds a record, checked first, since a journal that refuses one ends the whole transaction. */
enum status carrier_add(struct carrier *carrier, enum record record, void *row);
/* The deeds and the outcome of the row, as far as they are not there already. */
enum status carrier_events(struct carrier *carrier, int64_t vessel);

#endif
