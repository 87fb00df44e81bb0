/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_SQL_H
#define JARSIDE_JOURNAL_SQL_H

#include <jansson.h>
#include <sqlite3.h>

#include "base/text.h"
#include "journal/journal.h"

/*
 * How the journal is queried: by this folder, and by review/ for its tables of many vessels.
 *
 *     struct query query = query_begin(journal, "SELECT id FROM vessel WHERE batch = ?", "i", batch);
 *     while (query_next(&query))
 *         use(query_integer(&query, 0));
 *     return journal_told(journal);
 *
 * The first error is reported and kept in the journal. Until the outermost call ends, no more
 * queries run and no more errors are reported: numbers are 0, texts "" and lists empty. So steps
 * need not be checked one by one.
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
    struct diags *diags;                             /* the caller's; NULL to report nothing */
    enum status status;                              /* of what was refused */
    void (*ends)(void *context, enum status status); /* of journal_ends; or NULL */
    void *context;
    struct position at; /* where what is given stands, while it is read from a table */
    int calls;          /* from outside, and of several steps, that have not ended */
    int begun;          /* of these, by journal_begin */
    bool writable;
    char station[4];                 /* of journal_sign; "" for none */
    char *by;                        /* "K, Ann"; NULL for nobody */
    int depth;                       /* of nested transactions */
    char *act;                       /* whose changes are watched (journal.h); or NULL */
    struct sqlite3_session *changes; /* of the open transaction */
    sqlite3_stmt **statements;       /* prepared once each */
    size_t statement_count;
    char *sql;                            /* of journal_sql */
    struct arena *arena;                  /* of what follows, which is made at first use */
    const char *columns[RECORD_COUNT];    /* as row_columns gives them */
    const char *parameters[RECORD_COUNT]; /* as many question marks */
    const char *wrong[RECORD_COUNT];      /* asks what is wrong with a row */
};

/* Tells what is wrong with the journal (STATUS_IO: its path stands before), or with what was asked
 * of it, and gives the status back. */
enum status journal_refuse(struct journal *journal, enum status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* Adds what SQLite said last, in plain words, and gives the status. `doing` is "write to". */
enum status journal_fault(struct journal *journal, const char *doing);
/* What was refused, or STATUS_OK; where no call of several steps is under way it is forgotten. */
enum status journal_told(struct journal *journal);
/* A call of several steps begins, and ends: as journal_told. */
void journal_enter(struct journal *journal);
enum status journal_leave(struct journal *journal);
/* The same with a transaction around: what was refused within is taken back. */
void journal_work(struct journal *journal);
enum status journal_finish(struct journal *journal);

/* Runs statements that give no rows. */
void journal_execute(struct journal *journal, const char *sql);
/* SQL put together; valid until the next call. */
const char *journal_sql(struct journal *journal, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

struct query {
    struct journal *journal;
    sqlite3_stmt *statement; /* NULL after the last row */
};

/* Asks. The statement is prepared once, and belongs to the journal. `binds` has a letter for each
 * parameter: i int64_t, d double, t text and b bytes (and an int, how many) that live until the
 * last row. */
struct query query_begin(struct journal *journal, const char *sql, const char *binds, ...);
/* Its statement, for what binds by itself; NULL when it is refused. */
struct query query_prepare(struct journal *journal, const char *sql);
/* The next row; false after the last. What gives no rows is done then. */
bool query_next(struct query *query);
/* For what stops before the last row. */
void query_end(struct query *query);

/* Columns of the present row; a hostile file may hold anything anywhere: what is no text is "". */
const char *query_text(const struct query *query, int column);
int64_t query_integer(const struct query *query, int column);
double query_real(const struct query *query, int column);          /* NAN for none */
struct moment query_moment(const struct query *query, int column); /* and the column after it */

/* The next row as a struct of its kind; the statement gives row_columns first. With an arena texts
 * are copied, else they live until the next step. */
bool query_row(struct query *query, enum record record, struct arena *arena, void *row);
/* All further ones, an array in the arena. */
void *query_rows(struct query *query, enum record record, struct arena *arena, size_t *count);
/* The first column of the first row, 0 for none: asked and done. */
int64_t query_number(struct journal *journal, const char *sql, const char *binds, ...);
/* The same as a text in the arena; NULL for none. */
char *query_string(struct journal *journal, struct arena *arena, const char *sql, const char *binds,
                   ...);

/* The same as the JSON that it is; a new reference, NULL for none. What is no JSON is refused. */
json_t *query_json(struct journal *journal, const char *sql, const char *binds, ...);

/* Which of the words it is, their count when it is none of them. */
size_t word_number(const char *const *words, const char *word);

/* The columns of a record as SQL: "\"id\", \"label\", ...". */
const char *row_columns(struct journal *journal, enum record record);
/* "SELECT its columns FROM its table AS a" and what follows; as journal_sql. */
const char *select_rows(struct journal *journal, enum record record, const char *tail);
/* As query_begin, with these columns of a row for parameters. */
struct query row_begin(struct journal *journal, const char *sql, enum record record,
                       const void *row);

/* The queries of queries.sql. */
extern const char sql_beside_records[], sql_indexes[], sql_older_names[], sql_refresh[],
    sql_stale[], sql_set_due[], sql_shaken_days[], sql_siblings[], sql_calendar[], sql_tally[],
    sql_turn[], sql_ancestor[], sql_places[], sql_finding[], sql_history[], sql_losses[],
    sql_unknown_words[], sql_unknown_signs[], sql_early_look[], sql_early_outcome[],
    sql_early_event[], sql_late_cook[], sql_late_session[], sql_late_starter[], sql_late_lot[],
    sql_late_parent[], sql_chained_look[], sql_chained_event[], sql_chained_outcome[],
    sql_unread_notes[], sql_due_though_gone[], sql_called_as_a_batch[];

/* The SQL functions words_in(words, text ...) and folded(text ...) of searches; and what the checks
 * ask: text_wrong(text), moment_wrong(seconds, offset). */
typedef void sql_function(sqlite3_context *context, int count, sqlite3_value **values);
sql_function sql_words_in, sql_folded, sql_text_wrong, sql_moment_wrong;

/* Notes the words of the row of that id for searches; with 0 of all rows there are. */
void wording_note(struct journal *journal, enum record record, int64_t id);

#endif
