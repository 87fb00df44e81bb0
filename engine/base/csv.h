/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_CSV_H
#define JARSIDE_BASE_CSV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "base/diag.h"
#include "base/filing.h"
#include "base/text.h"

/* Tables of separated values (RFC 4180), as spreadsheets and loggers write them: read row by row,
 * in memory that does not grow with their length, with the position of every field.
 *
 * The grammar is libcsv's in its strict mode. This adds positions, bounds, the choice of what
 * separates fields, and refusal of what no table holds; a byte order mark is passed over. Blank
 * lines are no rows. What is wrong is told with its place and is STATUS_DATA. */
enum {
    CSV_FIELD_LIMIT = 2 * 1024 * 1024, /* bytes of one field */
    CSV_MOST_FIELDS = 512,             /* of a row: no table a person keeps has more */
};

struct csv_field {
    const char *text; /* NUL-terminated; valid during the call */
    size_t length;
    size_t line, column; /* where it begins, from 1; column in code points */
};

struct csv_row {
    const char *file; /* as messages call it */
    const struct csv_field *fields;
    size_t count;
    size_t line; /* where it begins */
};

/* Where a field of a row stands; where the row begins when it has no such field. */
struct position csv_at(const struct csv_row *row, size_t field);

struct csv_table {
    const char *file; /* its path, or what messages call it; may be NULL when it is fed */
    char separator;   /* 0: whichever of comma, semicolon and tab the first line has most of */
    size_t longest;   /* bytes of a field, up to CSV_FIELD_LIMIT, which 0 stands for */
    bool utf8;        /* text that is not UTF-8 is refused */
    bool trimmed;     /* white space at the ends of a field is left out, even within quotes */
    void *context;
    /* Called for each row. Anything but STATUS_OK ends the reading. */
    enum status (*row)(void *context, const struct csv_row *row);
};

/* Reads all of a stream, or when that is NULL the file of the table's name, and tells `progress`
 * (may be NULL) how many bytes of it. STATUS_IO, and a message, when it cannot be read; else what is
 * wrong with it, or what the last call of `row` returned. */
enum status csv_read(const struct csv_table *table, FILE *stream, const struct progress *progress,
                     struct diags *diags);

/* The same for bytes that come in pieces, cut anywhere. After anything but STATUS_OK the reader is
 * dead and repeats its answer. */
struct csv_reader; /* opaque */
struct csv_reader *csv_reader_new(const struct csv_table *table, struct diags *diags);
enum status csv_reader_feed(struct csv_reader *reader, const char *bytes, size_t length);
enum status csv_reader_finish(struct csv_reader *reader);
void csv_reader_free(struct csv_reader *reader); /* NULL is fine */

/* The place of a word among names separated by '|', whatever the case; -1 when it is none of them. */
int csv_named(const char *names, const char *word, size_t length);

/* Appends a field so that this module and others read the same bytes back: in quotes when it holds
 * a comma, a quote or an end of line, or begins or ends with white space. Commas between fields and
 * CRLF after a row are the caller's. */
void csv_write_field(struct text *out, const char *bytes, size_t length);

#endif
