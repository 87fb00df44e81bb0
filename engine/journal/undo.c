/* SPDX-License-Identifier: GPL-3.0-or-later */
#define SQLITE_ENABLE_SESSION        1
#define SQLITE_ENABLE_PREUPDATE_HOOK 1
#include "journal/undo.h"

#include <stdlib.h>
#include <string.h>

#include "journal/sql.h"

enum {
    LARGEST = 1 << 20,  /* bytes of changes that are kept */
    KEPT_CHANGES = 200, /* acts whose changes are kept */
};

void undo_watch(struct journal *journal, const char *words)
{
    free(journal->act);
    journal->act = words != NULL ? strdup(words) : NULL;
}

static enum status failed(struct journal *journal, int code, struct diags *diags)
{
    diags_error(diags, (struct position){.file = journal->path},
                "cannot keep or take back what was changed: %s", sqlite3_errstr(code));
    return STATUS_IO;
}

/* ---- watching -------------------------------------------------------------------------------- */

/* The full text follows from the rows, and what is stale in it does no harm (query.c). */
static int is_watched(void *context, const char *table)
{
    (void)context;
    return strncmp(table, "wording", strlen("wording")) != 0;
}

enum status undo_begin(struct journal *journal, struct diags *diags)
{
    if (journal->act == NULL)
        return STATUS_OK;
    int code = sqlite3session_create(journal->database, "main", &journal->changes);
    if (code == SQLITE_OK) {
        sqlite3session_table_filter(journal->changes, is_watched, NULL);
        code = sqlite3session_attach(journal->changes, NULL);
    }
    return code == SQLITE_OK ? STATUS_OK : failed(journal, code, diags);
}

void undo_drop(struct journal *journal)
{
    if (journal->changes != NULL)
        sqlite3session_delete(journal->changes);
    journal->changes = NULL;
}

enum status undo_commit(struct journal *journal, struct diags *diags)
{
    int size = 0;
    void *changes = NULL;
    if (journal->changes == NULL)
        return STATUS_OK;
    int code = sqlite3session_changeset(journal->changes, &size, &changes);
    undo_drop(journal);
    if (code != SQLITE_OK)
        return failed(journal, code, diags);
    enum status status = STATUS_OK;
    if (size > 0) {
        struct moment now = moment_now();
        const void *kept = size <= LARGEST ? changes : NULL;
        int64_t none = 0;
        status = query_number(journal, &none, diags, "INSERT INTO act VALUES (NULL, ?, ?, ?, ?, 0)",
                              "iitb", now.seconds, (int64_t)now.offset, journal->act, kept, size);
        int64_t oldest = sqlite3_last_insert_rowid(journal->database) - KEPT_CHANGES;
        if (status == STATUS_OK)
            status = query_number(journal, &none, diags,
                                  "UPDATE act SET changes = NULL WHERE id = ?", "i", oldest);
    }
    sqlite3_free(changes);
    return status;
}

/* ---- back ------------------------------------------------------------------------------------ */

/* A column of a row that the act added; every table begins with its id. */
enum { AT_VESSEL = 1, AT_LABEL = 1, AT_EDIT_TABLE = 3, AT_EDIT_LABEL = 4 };

static const char *added_text(sqlite3_changeset_iter *row, int column, struct arena *arena)
{
    sqlite3_value *value = NULL;
    const char *text = sqlite3changeset_new(row, column, &value) == SQLITE_OK && value != NULL
                           ? (const char *)sqlite3_value_text(value)
                           : NULL;
    return arena_string(arena, text != NULL ? text : "");
}

/* What an act was about: of looks, events and outcomes their vessel, or the batch of several; else the
 * batch that was started, the record that was corrected or added. */
static enum status describe(struct journal *journal, const void *changes, int size,
                            struct arena *arena, struct undone *undone, struct diags *diags)
{
    sqlite3_changeset_iter *row = NULL;
    const char *name = NULL, *vessel = NULL;
    bool several = false;
    int columns = 0, operation = 0, code;

    undone->table = undone->label = "";
    if ((code = sqlite3changeset_start(&row, size, (void *)changes)) != SQLITE_OK)
        return failed(journal, code, diags);
    while (sqlite3changeset_next(row) == SQLITE_ROW &&
           sqlite3changeset_op(row, &name, &columns, &operation, NULL) == SQLITE_OK) {
        int record = 0;
        while (record < RECORD_COUNT && strcmp(record_types[record].name, name) != 0)
            record++;
        if (operation != SQLITE_INSERT || record == RECORD_COUNT)
            continue;
        undone->rows[record]++;
        if (record_of_vessel((enum record)record)) {
            const char *id = added_text(row, AT_VESSEL, arena);
            several = several || (vessel != NULL && strcmp(vessel, id) != 0);
            vessel = vessel != NULL ? vessel : id;
        } else if (record == RECORD_EDIT && undone->table[0] == '\0') {
            undone->table = added_text(row, AT_EDIT_TABLE, arena);
            undone->label = added_text(row, AT_EDIT_LABEL, arena);
        } else if (record_has_label((enum record)record) && record != RECORD_VESSEL &&
                   (undone->table[0] == '\0' || record == RECORD_BATCH)) {
            undone->table = record_types[record].name;
            undone->label = added_text(row, AT_LABEL, arena);
        }
    }
    code = sqlite3changeset_finalize(row);
    if (code != SQLITE_OK)
        return failed(journal, code, diags);
    if (vessel == NULL)
        return STATUS_OK;
    undone->table = record_types[several ? RECORD_BATCH : RECORD_VESSEL].name;
    struct query query = query_begin(journal, diags,
                                     several ? "SELECT label FROM batch WHERE id ="
                                               " (SELECT batch FROM vessel WHERE id = ?)"
                                             : "SELECT label FROM vessel WHERE id = ?",
                                     "i", (int64_t)strtoll(vessel, NULL, 10));
    if (query_next(&query))
        undone->label = arena_string(arena, query_text(&query, 0));
    return query_end(&query);
}

static int refuse_conflict(void *context, int kind, sqlite3_changeset_iter *row)
{
    (void)context, (void)kind, (void)row;
    return SQLITE_CHANGESET_ABORT;
}

static enum status take_back(struct journal *journal, struct moment now, struct arena *arena,
                             struct undone *undone, struct diags *diags)
{
    static const char newest[] =
        "SELECT id, at, at_offset, words, changes FROM act WHERE undone = 0"
        " ORDER BY id DESC LIMIT 1";
    struct query query = query_begin(journal, diags, newest, "");
    void *changes = NULL, *inverse = NULL;
    int64_t id = 0, none = 0;
    int size = 0, code;

    *undone = (struct undone){.words = ""};
    if (query_next(&query)) {
        id = query_integer(&query, 0);
        undone->at = query_moment(&query, 1);
        undone->words = arena_string(arena, query_text(&query, 3));
        size = sqlite3_column_bytes(query.statement, 4);
        changes = arena_copy(arena, sqlite3_column_blob(query.statement, 4), (size_t)size);
    }
    enum status status = query_end(&query);
    if (status != STATUS_OK)
        return status;
    if (size == 0) {
        diags_error(diags, (struct position){0},
                    id == 0 ? "there is nothing to undo"
                            : "'%s' changed too much, or is too long ago, to be undone; 'jarside "
                              "restore' brings a backup back",
                    undone->words);
        return STATUS_USAGE;
    }
    if ((status = describe(journal, changes, size, arena, undone, diags)) != STATUS_OK)
        return status;
    int length = 0;
    code = sqlite3changeset_invert(size, changes, &length, &inverse);
    if (code == SQLITE_OK)
        code =
            sqlite3changeset_apply(journal->database, length, inverse, NULL, refuse_conflict, NULL);
    sqlite3_free(inverse);
    if (code == SQLITE_ABORT) {
        diags_error(diags, (struct position){0},
                    "'%s' cannot be undone: what it changed was changed again since",
                    undone->words);
        return STATUS_USAGE;
    }
    if (code != SQLITE_OK)
        return failed(journal, code, diags);
    struct edit trace = {.at = now,
                         .table = undone->table[0] != '\0' ? undone->table : "journal",
                         .label = undone->label[0] != '\0' ? undone->label : "journal",
                         .column = UNDONE,
                         .was = undone->words,
                         .became = ""};
    status = journal_add(journal, RECORD_EDIT, &trace, diags);
    if (status == STATUS_OK)
        status = query_number(journal, &none, diags, "UPDATE act SET undone = ? WHERE id = ?", "ii",
                              now.seconds, id);
    if (status != STATUS_OK)
        return status;
    query = query_begin(journal, diags, newest, "");
    if (query_next(&query))
        undone->before = arena_string(arena, query_text(&query, 3));
    return query_end(&query);
}

enum status undo_last(struct journal *journal, struct moment now, struct arena *arena,
                      struct undone *undone, struct diags *diags)
{
    undo_watch(journal, NULL);
    enum status status = journal_begin(journal, diags);
    return status == STATUS_OK
               ? journal_finish(journal, take_back(journal, now, arena, undone, diags), diags)
               : status;
}
