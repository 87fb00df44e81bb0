/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Adding, finding and walking records. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "journal/journal_internal.h"

struct walk {
    struct journal *journal;
    struct diags *diags;
    sqlite3_stmt *statement;
    enum record record;
    enum status status;
};

static bool has_label(enum record record)
{
    return record_types[record].columns[0].kind == COLUMN_LABEL;
}

/* ---- adding ---------------------------------------------------------------------------------- */

static sqlite3_stmt *insert_of(struct journal *journal, enum record record, struct diags *diags)
{
    if (journal->insert[record] != NULL) {
        sqlite3_reset(journal->insert[record]);
        return journal->insert[record];
    }
    struct text sql;
    text_init(&sql);
    text_printf(&sql, "INSERT INTO \"%s\" (", record_types[record].name);
    row_columns(record, &sql);
    text_puts(&sql, ") VALUES (?");
    for (const struct column *column = record_types[record].columns; column->name; column++)
        text_puts(&sql, column->kind == COLUMN_MOMENT ? ", ?, ?" : ", ?");
    text_puts(&sql, ")");
    return journal->insert[record] = journal_prepare_text(journal, &sql, "read", diags);
}

/* A correction must name a row of the same vessel that nobody has corrected yet. */
static enum status check_correction(struct journal *journal, enum record record, int64_t vessel,
                                    int64_t corrects, int64_t *turn, struct diags *diags)
{
    const char *name = record_types[record].name;
    struct text sql;
    text_init(&sql);
    text_printf(&sql,
                "SELECT vessel, coalesce(turn, id), (SELECT id FROM \"%s\" WHERE corrects = ?1)"
                " FROM \"%s\" WHERE id = ?1",
                name, name);
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, corrects);
    enum status status = STATUS_OK;
    struct position at = {.file = journal->path};
    if (sqlite3_step(statement) != SQLITE_ROW) {
        diags_error(diags, at, "there is no %s %lld to correct", name, (long long)corrects);
        status = STATUS_USAGE;
    } else if (sqlite3_column_int64(statement, 0) != vessel) {
        diags_error(diags, at, "%s %lld is of another vessel", name, (long long)corrects);
        status = STATUS_USAGE;
    } else if (sqlite3_column_type(statement, 2) != SQLITE_NULL) {
        diags_error(diags, at, "%s %lld was corrected already, by %s %lld; correct that one", name,
                    (long long)corrects, name, (long long)sqlite3_column_int64(statement, 2));
        status = STATUS_USAGE;
    } else {
        *turn = sqlite3_column_int64(statement, 1);
    }
    sqlite3_finalize(statement);
    return status;
}

struct chained { /* where a look, a deed and an outcome keep what chains them to others */
    int64_t vessel, corrects, *turn;
};

static bool chain_of(enum record record, void *row, struct chained *chained)
{
    struct look *look = row;
    struct deed *deed = row;
    struct outcome *outcome = row;
    if (record == RECORD_LOOK)
        *chained = (struct chained){look->vessel, look->corrects, &look->turn};
    else if (record == RECORD_DEED)
        *chained = (struct chained){deed->vessel, deed->corrects, &deed->turn};
    else if (record == RECORD_OUTCOME)
        *chained = (struct chained){outcome->vessel, outcome->corrects, &outcome->turn};
    else
        return false;
    return true;
}

static enum status insert(struct journal *journal, enum record record, void *row,
                          struct diags *diags)
{
    sqlite3_stmt *statement = insert_of(journal, record, diags);
    if (statement == NULL)
        return STATUS_IO;
    if (!row_bind(statement, record, row) || sqlite3_step(statement) != SQLITE_DONE) {
        enum status status = journal_fault(journal, "write to", diags);
        sqlite3_reset(statement);
        return status;
    }
    *(int64_t *)row = sqlite3_last_insert_rowid(journal->database);
    sqlite3_reset(statement);
    sqlite3_clear_bindings(statement); /* what was bound belongs to the caller */
    return STATUS_OK;
}

static enum status add(struct journal *journal, enum record record, void *row, struct diags *diags)
{
    struct chained chained = {0};
    bool chains = chain_of(record, row, &chained);
    enum status status = row_check(journal, record, row, diags);
    if (chains)
        *chained.turn = 0;
    if (status == STATUS_OK && chains && chained.corrects != 0)
        status = check_correction(journal, record, chained.vessel, chained.corrects, chained.turn,
                                  diags);
    if (record == RECORD_VESSEL) {
        struct vessel *vessel = row;
        vessel->stands = vessel->stood = vessel->place;
        vessel->state = VESSEL_GROWING;
        vessel->fate = FATE_OPEN;
        vessel->ended = moment_unknown();
        vessel->last_look = 0;
    }
    if (status == STATUS_OK)
        status = insert(journal, record, row, diags);
    if (status == STATUS_OK && chains)
        status = journal_refresh(journal, chained.vessel, diags);
    return status;
}

enum status journal_add(struct journal *journal, enum record record, void *row, struct diags *diags)
{
    enum status status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = add(journal, record, row, diags);
    if (status == STATUS_OK)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}

/* ---- finding --------------------------------------------------------------------------------- */

static sqlite3_stmt *select_by(struct journal *journal, sqlite3_stmt **kept, enum record record,
                               const char *column, struct diags *diags)
{
    if (*kept != NULL) {
        sqlite3_reset(*kept);
        return *kept;
    }
    struct text sql;
    text_init(&sql);
    text_puts(&sql, "SELECT ");
    row_columns(record, &sql);
    text_printf(&sql, " FROM \"%s\" WHERE \"%s\" = ?", record_types[record].name, column);
    return *kept = journal_prepare_text(journal, &sql, "read", diags);
}

/* Takes the one row of a bound statement; `found` false when there is none. */
static enum status take(struct journal *journal, sqlite3_stmt *statement, enum record record,
                        struct arena *arena, void *row, bool *found, struct diags *diags)
{
    int code = sqlite3_step(statement);
    enum status status = STATUS_OK;
    *found = code == SQLITE_ROW;
    if (code == SQLITE_ROW)
        status = row_read(statement, 0, record, arena, row);
    else if (code != SQLITE_DONE)
        status = journal_fault(journal, "read", diags);
    if (status == STATUS_DATA && *found)
        diags_error(diags, (struct position){.file = journal->path},
                    "a %s of the journal holds a word that is not known; 'jarside journal check' "
                    "says more",
                    record_types[record].name);
    sqlite3_reset(statement);
    return status;
}

enum status journal_get(struct journal *journal, enum record record, int64_t id,
                        struct arena *arena, void *row, struct diags *diags)
{
    bool found = false;
    sqlite3_stmt *statement = select_by(journal, &journal->select[record], record, "id", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, id);
    enum status status = take(journal, statement, record, arena, row, &found, diags);
    if (status != STATUS_OK || found)
        return status;
    diags_error(diags, (struct position){.file = journal->path}, "there is no %s %lld",
                record_types[record].name, (long long)id);
    return STATUS_USAGE;
}

/* The label nearest to a word among the newest ones, or NULL. */
static const char *nearest_label(struct journal *journal, enum record record, const char *label,
                                 struct arena *arena)
{
    enum { LOOKED_AT = 500 };
    const char *names[LOOKED_AT];
    size_t count = 0;
    struct text sql;
    struct diags *silent = diags_new();
    text_init(&sql);
    text_printf(&sql, "SELECT label FROM \"%s\" ORDER BY id DESC LIMIT %d",
                record_types[record].name, LOOKED_AT);
    sqlite3_stmt *statement =
        silent != NULL ? journal_prepare_text(journal, &sql, "read", silent) : NULL;
    while (statement != NULL && count < LOOKED_AT && sqlite3_step(statement) == SQLITE_ROW) {
        const char *name = (const char *)sqlite3_column_text(statement, 0);
        names[count] = name != NULL ? arena_string(arena, name) : NULL;
        count += names[count] != NULL;
    }
    sqlite3_finalize(statement);
    diags_free(silent);
    return diag_nearest(label, names, count);
}

enum status journal_find(struct journal *journal, enum record record, const char *label,
                         struct arena *arena, void *row, struct diags *diags)
{
    bool found = false;
    if (!has_label(record))
        return STATUS_INTERNAL;
    sqlite3_stmt *statement =
        select_by(journal, &journal->by_label[record], record, "label", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_text(statement, 1, label, -1, SQLITE_TRANSIENT);
    enum status status = take(journal, statement, record, arena, row, &found, diags);
    if (status != STATUS_OK || found)
        return status;
    const char *near = nearest_label(journal, record, label, arena);
    const char *name = record_types[record].name;
    if (near != NULL)
        diags_error(diags, (struct position){.file = journal->path},
                    "there is no %s '%s'; did you mean '%s'?", name, label, near);
    else
        diags_error(diags, (struct position){.file = journal->path}, "there is no %s '%s'", name,
                    label);
    return STATUS_USAGE;
}

bool journal_has(struct journal *journal, enum record record, const char *label, int64_t *id)
{
    struct diags *silent = diags_new();
    sqlite3_stmt *statement = has_label(record) && silent != NULL
                                  ? journal_prepare_for(journal, &journal->id_of[record], record,
                                                        "SELECT id FROM", "WHERE label = ?", silent)
                                  : NULL;
    bool found = statement != NULL &&
                 sqlite3_bind_text(statement, 1, label, -1, SQLITE_STATIC) == SQLITE_OK &&
                 sqlite3_step(statement) == SQLITE_ROW;
    if (found)
        *id = sqlite3_column_int64(statement, 0);
    if (statement != NULL) {
        sqlite3_reset(statement);
        sqlite3_clear_bindings(statement); /* the label belongs to the caller */
    }
    diags_free(silent);
    return found;
}

/* ---- walking --------------------------------------------------------------------------------- */

static struct walk *walk_from(struct journal *journal, enum record record, const char *column,
                              int64_t value, bool back, struct diags *diags)
{
    struct walk *walk = calloc(1, sizeof *walk);
    if (walk == NULL)
        return NULL;
    *walk = (struct walk){.journal = journal, .diags = diags, .record = record};
    struct text sql;
    text_init(&sql);
    text_puts(&sql, "SELECT ");
    row_columns(record, &sql);
    text_printf(&sql, " FROM \"%s\"", record_types[record].name);
    if (column != NULL)
        text_printf(&sql, " WHERE \"%s\" = ?", column);
    text_printf(&sql, " ORDER BY id%s", back ? " DESC" : "");
    walk->statement = journal_prepare_text(journal, &sql, "read", diags);
    if (walk->statement == NULL) {
        free(walk);
        return NULL;
    }
    if (column != NULL)
        sqlite3_bind_int64(walk->statement, 1, value);
    return walk;
}

struct walk *journal_walk(struct journal *journal, enum record record, const char *column,
                          int64_t value, struct diags *diags)
{
    return walk_from(journal, record, column, value, false, diags);
}

struct walk *journal_walk_back(struct journal *journal, enum record record, const char *column,
                               int64_t value, struct diags *diags)
{
    return walk_from(journal, record, column, value, true, diags);
}

static bool walk_into(struct walk *walk, struct arena *arena, void *row)
{
    int code = walk->status == STATUS_OK ? sqlite3_step(walk->statement) : SQLITE_DONE;
    if (code == SQLITE_DONE)
        return false;
    if (code != SQLITE_ROW) {
        walk->status = journal_fault(walk->journal, "read", walk->diags);
        return false;
    }
    walk->status = row_read(walk->statement, 0, walk->record, arena, row);
    if (walk->status == STATUS_DATA)
        diags_error(walk->diags, (struct position){.file = walk->journal->path},
                    "%s %lld holds a word that is not known; 'jarside journal check' says more",
                    record_types[walk->record].name, (long long)*(int64_t *)row);
    return walk->status == STATUS_OK;
}

bool walk_next(struct walk *walk, void *row)
{
    return walk_into(walk, NULL, row);
}

enum status walk_end(struct walk *walk)
{
    if (walk == NULL)
        return STATUS_OK;
    enum status status = walk->status;
    sqlite3_finalize(walk->statement);
    free(walk);
    return status;
}

enum status journal_all(struct journal *journal, enum record record, const char *column,
                        int64_t value, struct arena *arena, void **rows, size_t *count,
                        struct diags *diags)
{
    size_t size = record_types[record].size, room = 0;
    struct walk *walk = journal_walk(journal, record, column, value, diags);
    char *all = NULL;
    *rows = NULL;
    *count = 0;
    if (walk == NULL)
        return diags_errors(diags) > 0 ? STATUS_IO : STATUS_MEMORY;
    for (;;) {
        if (*count == room) {
            all = arena_grow(arena, all, room, room == 0 ? 16 : 2 * room, size);
            room = room == 0 ? 16 : 2 * room;
        }
        if (all == NULL || !walk_into(walk, arena, all + *count * size))
            break;
        ++*count;
    }
    enum status status = walk_end(walk);
    *rows = all;
    return status == STATUS_OK && all == NULL ? STATUS_MEMORY : status;
}

size_t journal_count(struct journal *journal, enum record record, const char *column, int64_t value)
{
    struct text sql;
    sqlite3_stmt *statement = NULL;
    size_t count = 0;
    text_init(&sql);
    text_printf(&sql, "SELECT count(*) FROM \"%s\"", record_types[record].name);
    if (column != NULL)
        text_printf(&sql, " WHERE \"%s\" = ?", column);
    if (!sql.failed &&
        sqlite3_prepare_v2(journal->database, sql.bytes, -1, &statement, NULL) == SQLITE_OK &&
        (column == NULL || sqlite3_bind_int64(statement, 1, value) == SQLITE_OK) &&
        sqlite3_step(statement) == SQLITE_ROW)
        count = (size_t)sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    text_release(&sql);
    return count;
}
