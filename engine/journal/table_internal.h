/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_TABLE_INTERNAL_H
#define JARSIDE_JOURNAL_TABLE_INTERNAL_H

#include <stddef.h>

#include "base/diag.h"
#include "base/status.h"
#include "journal/progress.h"

/*
 * A CSV file read row by row, in memory that does not grow with its length.
 *
 * A byte order mark is passed over. Whatever is no table, and text that is not
 * UTF-8, is a fault with its position.
 */
struct table_field {
    const char *text; /* NUL-terminated; valid during the call */
    size_t length;
    size_t line, column; /* where it begins, from 1 */
};

struct table_row {
    const struct table_field *fields;
    size_t count;
    size_t line; /* where it begins */
};

struct table_reader {
    const char *path;
    char delimiter; /* 0: whichever of comma, semicolon and tab the first line has most of */
    void *context;
    /* Called for each row, the header first. Anything but STATUS_OK ends the reading. */
    enum status (*row)(void *context, const struct table_row *row);
    const struct progress *progress; /* in bytes; or NULL */
};

/* STATUS_DATA or STATUS_IO with a message; else what the last call of `row` returned. */
enum status table_read(const struct table_reader *reader, struct diags *diags);

/* Where a field of a row stands; where the row begins when it has no such field. */
struct position table_at(const struct table_reader *reader, const struct table_row *row,
                         size_t field);

#endif
