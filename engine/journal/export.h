/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_EXPORT_H
#define JARSIDE_JOURNAL_EXPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "base/diag.h"
#include "base/status.h"
#include "journal/journal.h"
#include "journal/progress.h"

/*
 * The journal as CSV (RFC 4180): UTF-8, CRLF, a header row, one file a kind of
 * record, named as record_types names it. Read back by journal/import.h.
 *
 * A record begins with its id, then come its columns by name. Moments are
 * ISO 8601 with their offset, numbers in the shortest form that reads back
 * exactly, references the labels of what they name (ids for looks, deeds and
 * outcomes). What the journal derives is left out, but for the day of a vessel's
 * next look, which no other record tells.
 *
 * A spreadsheet would take a text that begins with = + - @, a tab or an end of
 * line for a formula. Such a text, also behind apostrophes and spaces, gets an
 * apostrophe in front, which the import takes away again.
 */

/* Writes one table to `stream`, which stays open; `name` is what messages call it. */
enum status export_table(struct journal *journal, enum record record, FILE *stream,
                         const char *name, struct diags *diags);

/* The same into a file, mode 0600, which appears whole or not at all. */
enum status export_file(struct journal *journal, enum record record, const char *path, bool replace,
                        struct diags *diags);

/*
 * Every table, as the journal stands at one moment, into a folder, which is made
 * (mode 0700) when it is not there. No file takes its name before all are written.
 * `counts` receives the rows of each; it and `progress` may be NULL.
 */
enum status export_folder(struct journal *journal, const char *folder, bool replace,
                          size_t counts[RECORD_COUNT], const struct progress *progress,
                          struct diags *diags);

#endif
