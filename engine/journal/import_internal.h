/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_IMPORT_INTERNAL_H
#define JARSIDE_JOURNAL_IMPORT_INTERNAL_H

#include "base/arena.h"
#include "base/text.h"
#include "journal/import.h"
#include "journal/journal_internal.h"
#include "journal/table_internal.h"

enum { IMPORT_MOST_COLUMNS = 64 };

/* One table on its way into the journal. */
struct importer {
    struct journal *journal;
    enum record record;
    struct table_reader reader;
    struct import_tally *tally;
    struct diags *diags;

    const struct column *columns[IMPORT_MOST_COLUMNS]; /* by field; NULL for the id */
    size_t column_count;                               /* 0 until the header was read */
    struct arena *arena;                               /* of one row */
    void *row, *there;                                 /* given, and in the journal */
    struct text value, other;
    struct diags *own; /* what was wrong with one row, without a position */
    bool was_empty;    /* the journal had none of these */
    int64_t highest;   /* id that was ever there */
    sqlite3_stmt *remember, *recall;
};

/* A place in memory or on disk for the ids that changed; once for all tables of an import. */
enum status importer_prepare(struct journal *journal, struct diags *diags);

enum status importer_init(struct importer *importer, struct journal *journal, enum record record,
                          struct diags *diags);
void importer_release(struct importer *importer);

/* A row of the file, the header first: a `row` of struct table_reader. A row that is refused is
 * told and counted, and no fault of the reading. */
enum status importer_row(void *context, const struct table_row *row);

#endif
