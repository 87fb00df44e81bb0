/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_CHECK_INTERNAL_H
#define JARSIDE_JOURNAL_CHECK_INTERNAL_H

#include "base/text.h"
#include "journal/check.h"
#include "journal/journal_internal.h"

struct check {
    struct journal *journal;
    const struct rules *rules;
    struct moment now;
    const struct check_sink *sink;
    struct check_tally *tally;
    struct diags *diags;
    enum status status; /* what kept the check from being done */
};

/* Tells a fault of a record; `id` as of struct check_fault. */
void check_error(struct check *check, enum record record, int64_t id, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
void check_warning(struct check *check, enum record record, int64_t id, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* Asks the journal; NULL, and check->status set, when it cannot. Releases the text. */
sqlite3_stmt *check_ask(struct check *check, struct text *sql);
/* The next row of an answer; at the end the statement is finalized. */
bool check_next(struct check *check, sqlite3_stmt *statement);
/* Text of a column, "" for NULL. */
const char *check_text(sqlite3_stmt *statement, int column);

/* The parts, each of its own file. */
void check_columns(struct check *check); /* values that a column does not allow */
void check_order(struct check *check);   /* dates, and corrections */
void check_content(struct check *check); /* text and notes, and what is derived: row by row */
void check_words(struct check *check);   /* words of the rules */

#endif
