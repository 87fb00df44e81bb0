/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/check.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "journal/check_internal.h"

/* ---- telling --------------------------------------------------------------------------------- */

static void add_label(struct check *check, enum record record, int64_t id, struct text *label)
{
    static const struct text_safe_options options = {.limit = 60};
    struct text sql;
    text_init(&sql);
    if (record == RECORD_COUNT || record_types[record].columns[0].kind != COLUMN_LABEL)
        return;
    text_printf(&sql, "SELECT label FROM \"%s\" WHERE id = %lld", record_types[record].name,
                (long long)id);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *found = check_text(statement, 0);
        text_safe(label, found, strlen(found), &options);
    }
}

__attribute__((format(printf, 5, 0))) static void tell(struct check *check, bool warning,
                                                       enum record record, int64_t id,
                                                       const char *format, va_list arguments)
{
    static const struct text_safe_options options = {.limit = 400};
    char room[1024];
    struct text safe, label;
    vsnprintf(room, sizeof room, format, arguments);
    text_init(&safe);
    text_init(&label);
    text_safe(&safe, room, strlen(room), &options);
    add_label(check, record, id, &label);
    struct check_fault fault = {warning, record, id, label.bytes, safe.bytes};
    check->sink->tell(check->sink->context, &fault);
    text_release(&safe);
    text_release(&label);
    if (warning)
        check->tally->warnings++;
    else
        check->tally->errors++;
}

void check_error(struct check *check, enum record record, int64_t id, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    tell(check, false, record, id, format, arguments);
    va_end(arguments);
}

void check_warning(struct check *check, enum record record, int64_t id, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    tell(check, true, record, id, format, arguments);
    va_end(arguments);
}

/* ---- asking ---------------------------------------------------------------------------------- */

sqlite3_stmt *check_ask(struct check *check, struct text *sql)
{
    sqlite3_stmt *statement = NULL;
    if (sql->failed)
        check->status = STATUS_MEMORY;
    else if (check->status == STATUS_OK && /* after a fault nothing more is asked */
             sqlite3_prepare_v2(check->journal->database, sql->bytes, -1, &statement, NULL) !=
                 SQLITE_OK)
        check->status = journal_fault(check->journal, "read", check->diags);
    text_release(sql);
    return statement;
}

bool check_next(struct check *check, sqlite3_stmt *statement)
{
    if (statement == NULL)
        return false;
    int code = sqlite3_step(statement);
    if (code == SQLITE_ROW)
        return true;
    if (code != SQLITE_DONE)
        check->status = journal_fault(check->journal, "read", check->diags);
    sqlite3_finalize(statement);
    return false;
}

const char *check_text(sqlite3_stmt *statement, int column)
{
    const char *text = (const char *)sqlite3_column_text(statement, column);
    return text != NULL ? text : "";
}

/* ---- the file -------------------------------------------------------------------------------- */

/* True when the pages are sound. */
static bool check_pages(struct check *check)
{
    struct text sql;
    bool sound = true;
    text_init(&sql);
    text_puts(&sql, "PRAGMA integrity_check(100)");
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *said = check_text(statement, 0);
        if (strcmp(said, "ok") == 0)
            continue;
        sound = false;
        check_error(check, RECORD_COUNT, 0, "the file is damaged: %.300s", said);
    }
    if (check->status == STATUS_DATA) { /* too damaged even to be asked */
        check->status = STATUS_OK;
        if (sound)
            check_error(check, RECORD_COUNT, 0, "the file is too damaged to be read through");
        sound = false;
        diags_clear(check->diags);
    }
    return sound;
}

static enum record record_named(const char *name)
{
    int i = 0;
    while (i < RECORD_COUNT && strcmp(record_types[i].name, name) != 0)
        i++;
    return (enum record)i;
}

static void check_references(struct check *check)
{
    struct text sql;
    text_init(&sql);
    text_puts(&sql, "PRAGMA foreign_key_check");
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record_named(check_text(statement, 0)),
                    sqlite3_column_int64(statement, 1), "names a %.60s that is not there",
                    check_text(statement, 2));
}

enum status check_journal(struct journal *journal, const struct rules *rules, struct moment now,
                          const struct check_sink *sink, struct check_tally *tally,
                          struct diags *diags)
{
    static void (*const parts[])(struct check *) = {check_references, check_columns, check_order,
                                                    check_content, check_words};
    struct check check = {.journal = journal,
                          .rules = rules,
                          .now = now,
                          .sink = sink,
                          .tally = tally,
                          .diags = diags};
    *tally = (struct check_tally){0};
    /* One view, however long it takes and whoever writes meanwhile. */
    if (sqlite3_exec(journal->database, "SAVEPOINT looked_at", NULL, NULL, NULL) != SQLITE_OK)
        return journal_fault(journal, "read", diags);
    if (check_pages(&check))
        for (size_t i = 0; i < sizeof parts / sizeof *parts && check.status == STATUS_OK; i++)
            parts[i](&check);
    sqlite3_exec(journal->database, "RELEASE looked_at", NULL, NULL, NULL);
    return check.status;
}
