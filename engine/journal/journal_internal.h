/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_JOURNAL_INTERNAL_H
#define JARSIDE_JOURNAL_JOURNAL_INTERNAL_H

#include <sqlite3.h>

#include "journal/journal.h"

enum {
    JOURNAL_PATIENCE = 15000,       /* milliseconds to wait for another writer */
    JOURNAL_LONGEST_TEXT = 1 << 20, /* bytes of one field */
};

/* Statements that are asked again and again, prepared at first use. */
enum kept_statement {
    STATEMENT_BEGIN,
    STATEMENT_COMMIT,
    STATEMENT_VESSEL_EVENTS,
    STATEMENT_VESSEL_LOOKS,
    STATEMENT_VESSEL_OUTCOME,
    STATEMENT_VESSEL_PUT,
    STATEMENT_VESSEL_BRIEF,
    STATEMENT_COUNT
};

struct journal {
    sqlite3 *database;
    char *path;
    bool writable;
    int depth; /* of nested transactions */
    sqlite3_stmt *kept[STATEMENT_COUNT];
    sqlite3_stmt *insert[RECORD_COUNT], *select[RECORD_COUNT], *by_label[RECORD_COUNT];
    sqlite3_stmt *id_of[RECORD_COUNT], *label_of[RECORD_COUNT], *exists[RECORD_COUNT];
};

/* Adds what SQLite said last, as a person can read it, and gives the status. `doing` is "write to". */
enum status journal_fault(struct journal *journal, const char *doing, struct diags *diags);

enum status journal_no_memory(const struct journal *journal, struct diags *diags);

/* Prepares into *kept unless it is there, and resets it; NULL with a fault when it cannot. */
sqlite3_stmt *journal_prepare(struct journal *journal, sqlite3_stmt **kept, const char *sql,
                              struct diags *diags);

/* The same for a question about one kind of record: `before`, its table, `after`. */
sqlite3_stmt *journal_prepare_for(struct journal *journal, sqlite3_stmt **kept, enum record record,
                                  const char *before, const char *after, struct diags *diags);

/* Prepares a text, and releases it; NULL with a fault when it cannot. */
struct text;
sqlite3_stmt *journal_prepare_text(struct journal *journal, struct text *sql, const char *doing,
                                   struct diags *diags);

/* Creates or migrates the schema within one transaction. */
enum status schema_bring_up(struct journal *journal, struct diags *diags);

/* The columns of a record as SQL: "\"id\", \"label\", ..." in the order row_read expects. */
void row_columns(enum record record, struct text *sql);
/* Reads the row a statement stands on, its columns from `first` on. With an arena texts are copied,
 * else they live until the statement moves. STATUS_DATA for an unknown word. */
enum status row_read(sqlite3_stmt *statement, int first, enum record record, struct arena *arena,
                     void *row);
/* Binds the record's columns (id first) from parameter 1 on. */
bool row_bind(sqlite3_stmt *statement, enum record record, const void *row);

/* Checks a row against record_types and against the journal. */
enum status row_check(struct journal *journal, enum record record, const void *row,
                      struct diags *diags);

/* What journal_refresh would write down: the derived members of `vessel`; nothing is written. */
enum status vessel_derive(struct journal *journal, int64_t id, struct vessel *vessel,
                          struct diags *diags);

#endif
