/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_SQL_H
#define JARSIDE_JOURNAL_SQL_H

#include <sqlite3.h>

#include "base/text.h"
#include "journal/journal.h"

/*
 * How this folder asks SQLite. Nothing outside journal/ includes it.
 *
 *     struct query query = query_begin(journal, diags, "SELECT id FROM vessel WHERE batch = ?",
 *                                      "i", batch);
 *     while (query_next(&query))
 *         use(query_integer(&query, 0));
 *     return query_end(&query);
 */
enum {
    JOURNAL_PATIENCE = 15000,       /* milliseconds to wait for another writer */
    JOURNAL_LONGEST_TEXT = 1 << 20, /* bytes of one field */
    EARLIEST_MOMENT = 631152000,    /* 1990-01-01T00:00:00Z: no journal of this kind is older */
    CLOCKS_DIFFER = 86400,          /* seconds */
};

struct journal {
    sqlite3 *database;
    char *path;
    bool writable;
    char station[4];                 /* of journal_sign; "" for none */
    char *by;                        /* "K, Ann"; NULL for nobody */
    int depth;                       /* of nested transactions */
    char *act;                       /* whose changes are watched (journal.h); or NULL */
    struct sqlite3_session *changes; /* of the open transaction */
    sqlite3_stmt **statements;       /* prepared once each, by journal_statement */
    size_t statement_count;
    struct text sql;                      /* room of journal_sql */
    struct text derived[2];               /* as vessel_sql gives them, made at first use */
    struct text columns[RECORD_COUNT];    /* as row_columns gives them, made at first use */
    struct text parameters[RECORD_COUNT]; /* as many question marks */
};

/* Tells what is wrong with the journal (STATUS_IO: its path stands before), or with what was asked of
 * it, and gives the status back. */
enum status journal_refuse(const struct journal *journal, enum status status, struct diags *diags,
                           const char *format, ...) __attribute__((format(printf, 4, 5)));

/* "; did you mean 'x'?", or "" when no name is near. */
const char *near_name(struct arena *arena, const char *word, const char *const *names,
                      size_t count);

/* Adds what SQLite said last, as a person can read it, and gives the status. `doing` is "write to". */
enum status journal_fault(struct journal *journal, const char *doing, struct diags *diags);

/* Runs statements that give no rows. */
enum status journal_execute(struct journal *journal, const char *sql, struct diags *diags);

/* SQL put together; valid until the next call. */
const char *journal_sql(struct journal *journal, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* A statement that nobody is stepping through, prepared unless it was before. It belongs to the
 * journal: reset it after use. */
enum status journal_statement(struct journal *journal, const char *sql, sqlite3_stmt **statement,
                              struct diags *diags);

struct query {
    struct journal *journal;
    struct diags *diags;
    sqlite3_stmt *statement;
    bool row;    /* it stands on one */
    bool unread; /* which query_next has not given yet */
    enum status status;
};

/* Asks, and takes the first step. `binds` has a letter for each parameter: i int64_t, r a reference
 * (int64_t, 0 for none), d double, t text and b bytes (and an int, how many) that live until query_end. */
struct query query_begin(struct journal *journal, struct diags *diags, const char *sql,
                         const char *binds, ...);
/* The next step of a statement; query_next takes it where the row there is was given. */
void query_step(struct query *query);
bool query_next(struct query *query);
/* Gives the statement back; what failed, or STATUS_OK. */
enum status query_end(struct query *query);

/* Columns of the present row; a hostile file may hold anything anywhere: what is no text is "". */
const char *query_text(const struct query *query, int column);
int64_t query_integer(const struct query *query, int column);
struct moment query_moment(const struct query *query, int column); /* and the column after it */

/* The next row as a struct of its kind; the statement gives row_columns first. With an arena texts
 * are copied, else they live until the next step. */
bool query_row(struct query *query, enum record record, struct arena *arena, void *row);
/* All further ones, an array in the arena; ends the query. */
enum status query_rows(struct query *query, enum record record, struct arena *arena, void **rows,
                       size_t *count);
/* The first column of the one row there is, 0 for none, into `number` unless that is NULL; begins and ends
 * the query. */
enum status query_number(struct journal *journal, int64_t *number, struct diags *diags,
                         const char *sql, const char *binds, ...);

/* Which of the words it is, their count when it is none of them. */
size_t word_number(const char *const *words, const char *word);

/* The columns of a record as SQL: "\"id\", \"label\", ...". */
const char *row_columns(struct journal *journal, enum record record);
/* As query_begin, with these columns of a row for parameters. */
struct query row_begin(struct journal *journal, struct diags *diags, const char *sql,
                       enum record record, const void *row);
/* Checks a row against record_types and against the journal. */
enum status row_check(struct journal *journal, enum record record, const void *row,
                      struct diags *diags);

/* Writes down the derived columns of the vessel ?1; or asks which of them is stale, "" for none. */
const char *vessel_sql(struct journal *journal, bool stale);

/* The SQL function words_in(words, text ...) of searches. */
void words_in(sqlite3_context *context, int count, sqlite3_value **values);
/* Notes the words of a row that was written, for searches; of all rows there are. */
enum status words_note(struct journal *journal, enum record record, const void *row,
                       struct diags *diags);
enum status words_fill(struct journal *journal, struct diags *diags);

#endif
