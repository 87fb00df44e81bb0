/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_IMPORT_H
#define JARSIDE_JOURNAL_IMPORT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/status.h"
#include "journal/journal.h"
#include "journal/progress.h"

/*
 * Reads back what journal/export.h writes: all of it, or nothing.
 *
 * Into an empty journal every record keeps its id, so that a further export is
 * the same to the byte. In a journal that holds something a record is known by
 * its label, and looks, deeds, outcomes and the like by all they say: what is
 * there already is passed over, what is new is added (under a new id when its own
 * is taken), and a record of the same label that says something else is a
 * conflict, which names the place in the file, what is there and what was
 * given. Memory does not grow with the files.
 */
struct import_tally {
    size_t added, same, refused; /* rows */
};

struct import_options {
    bool dry_run;                    /* do everything but keep it */
    const struct progress *progress; /* or NULL */
};

/*
 * Every table found in the folder. A CSV file there that is no table's is a
 * fault, and so is a folder without any. STATUS_DATA, and nothing imported, when
 * a row was refused; the tallies tell how many.
 */
enum status import_folder(struct journal *journal, const char *folder,
                          const struct import_options *options,
                          struct import_tally tally[RECORD_COUNT], struct diags *diags);

/* One table from one file. */
enum status import_file(struct journal *journal, enum record record, const char *path,
                        const struct import_options *options, struct import_tally *tally,
                        struct diags *diags);

/* The table that a path is named after, "somewhere/vessel.csv"; RECORD_COUNT when it is none. */
enum record import_table_of(const char *path);

#endif
