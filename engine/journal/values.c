/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Columns as text and back, corrections by such text, and labels to come. */
#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "journal/journal_internal.h"

/* ---- showing --------------------------------------------------------------------------------- */

/* The fewest digits that read back as the same double. */
static void show_real(double real, struct text *out)
{
    char room[40] = "";
    for (int digits = 15; digits <= 17; digits++) {
        snprintf(room, sizeof room, "%.*g", digits, real);
        if (strtod(room, NULL) == real) /* equal to the bit is what is meant */
            break;
    }
    text_puts(out, room);
}

/* The label of a record, or its id when its kind has none. */
static enum status show_reference(struct journal *journal, const struct column *column, int64_t id,
                                  struct text *out, struct diags *diags)
{
    const struct record_type *type = &record_types[column->refers];
    if (id == 0)
        return STATUS_OK;
    if (type->columns[0].kind != COLUMN_LABEL) {
        text_printf(out, "%lld", (long long)id);
        return STATUS_OK;
    }
    sqlite3_stmt *statement =
        journal_prepare_for(journal, &journal->label_of[column->refers], column->refers,
                            "SELECT label FROM", "WHERE id = ?", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, id);
    int code = sqlite3_step(statement);
    const char *label = code == SQLITE_ROW ? (const char *)sqlite3_column_text(statement, 0) : NULL;
    if (label != NULL) /* in a hostile file it may be none */
        text_puts(out, label);
    enum status status = code == SQLITE_ROW || code == SQLITE_DONE
                             ? STATUS_OK
                             : journal_fault(journal, "read", diags);
    sqlite3_reset(statement);
    return status;
}

enum status journal_show_column(struct journal *journal, const struct column *column,
                                const void *row, struct text *out, struct diags *diags)
{
    const void *from = (const char *)row + column->offset;
    char room[MOMENT_ROOM];
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        text_puts(out, *(const char *const *)from);
        break;
    case COLUMN_REAL:
        if (!isnan(*(const double *)from))
            show_real(*(const double *)from, out);
        break;
    case COLUMN_INTEGER:
        text_printf(out, "%lld", (long long)*(const int64_t *)from);
        break;
    case COLUMN_FLAG:
        text_puts(out, *(const bool *)from ? "yes" : "no");
        break;
    case COLUMN_MOMENT:
        text_puts(out, moment_write(*(const struct moment *)from, room));
        break;
    case COLUMN_WORD:
        text_puts(out, column->words[*(const int *)from]);
        break;
    case COLUMN_REFERENCE:
        return show_reference(journal, column, *(const int64_t *)from, out, diags);
    }
    return STATUS_OK;
}

/* ---- reading --------------------------------------------------------------------------------- */

static enum status refuse(struct journal *journal, const struct column *column, const char *value,
                          const char *right, struct diags *diags)
{
    diags_error(diags, (struct position){.file = journal->path}, "%s is '%.60s'; it should be %s",
                column->name, value, right);
    return STATUS_DATA;
}

static bool read_integer(const char *value, int64_t *integer)
{
    char *end = NULL;
    errno = 0;
    long long read = strtoll(value, &end, 10);
    if (value[0] == '\0' || isspace((unsigned char)value[0]) || *end != '\0' || errno != 0)
        return false;
    *integer = read;
    return true;
}

/* strtod reads "0x1p3", "inf" and "nan" too, which nobody means. */
static bool read_real(const char *value, double *real)
{
    char *end = NULL;
    if (value[strspn(value, "0123456789+-.eE")] != '\0')
        return false;
    double read = strtod(value, &end);
    if (end == value || *end != '\0' ||
        !isfinite(read)) /* the smallest are out of range, yet read */
        return false;
    *real = read;
    return true;
}

static bool read_flag(const char *value, bool *flag)
{
    static const char *const yes[] = {"yes", "true", "1", "y"}, *const no[] = {"no", "false", "0",
                                                                               "n", ""};
    for (size_t i = 0; i < sizeof yes / sizeof *yes; i++)
        if (strcasecmp(value, yes[i]) == 0)
            return *flag = true;
    for (size_t i = 0; i < sizeof no / sizeof *no; i++)
        if (strcasecmp(value, no[i]) == 0) {
            *flag = false;
            return true;
        }
    return false;
}

static enum status read_word(struct journal *journal, const struct column *column,
                             const char *value, int *word, struct diags *diags)
{
    struct text right;
    text_init(&right);
    for (int i = 0; column->words[i] != NULL; i++) {
        if (strcmp(column->words[i], value) == 0) {
            text_release(&right);
            *word = i;
            return STATUS_OK;
        }
        text_printf(&right, "%s%s", i == 0 ? "one of " : ", ", column->words[i]);
    }
    enum status status =
        right.failed ? STATUS_MEMORY : refuse(journal, column, value, right.bytes, diags);
    text_release(&right);
    return status;
}

static enum status read_reference(struct journal *journal, const struct column *column,
                                  const char *value, int64_t *id, struct diags *diags)
{
    const struct record_type *type = &record_types[column->refers];
    *id = 0;
    if (value[0] == '\0')
        return STATUS_OK;
    if (type->columns[0].kind != COLUMN_LABEL)
        return read_integer(value, id)
                   ? STATUS_OK
                   : refuse(journal, column, value, "the number of a record", diags);
    if (journal_has(journal, column->refers, value, id))
        return STATUS_OK;
    diags_error(diags, (struct position){.file = journal->path},
                "%s is '%.60s', but there is no %s of that label", column->name, value, type->name);
    return STATUS_DATA;
}

enum status journal_read_column(struct journal *journal, const struct column *column,
                                const char *value, struct arena *arena, void *row,
                                struct diags *diags)
{
    void *into = (char *)row + column->offset;
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        *(const char **)into = arena_string(arena, value);
        return *(const char **)into != NULL ? STATUS_OK : STATUS_MEMORY;
    case COLUMN_REAL:
        *(double *)into = NAN;
        return value[0] == '\0' || read_real(value, into)
                   ? STATUS_OK
                   : refuse(journal, column, value, "a number such as 12.5", diags);
    case COLUMN_INTEGER:
        *(int64_t *)into = 0;
        return value[0] == '\0' || read_integer(value, into)
                   ? STATUS_OK
                   : refuse(journal, column, value, "a whole number", diags);
    case COLUMN_FLAG:
        return read_flag(value, into) ? STATUS_OK
                                      : refuse(journal, column, value, "yes or no", diags);
    case COLUMN_MOMENT:
        *(struct moment *)into = moment_unknown();
        return value[0] == '\0' || moment_read(value, moment_unknown(), into)
                   ? STATUS_OK
                   : refuse(journal, column, value,
                            "a date such as 2026-03-01 or 2026-03-01T18:30+01:00", diags);
    case COLUMN_WORD:
        return read_word(journal, column, value, into, diags);
    case COLUMN_REFERENCE:
        return read_reference(journal, column, value, into, diags);
    }
    return STATUS_INTERNAL;
}

/* ---- correcting ------------------------------------------------------------------------------ */

/* Writes a row over the one of its id. */
static enum status rewrite(struct journal *journal, enum record record, const void *row,
                           struct diags *diags)
{
    const struct column *columns = record_types[record].columns;
    struct text sql;
    sqlite3_stmt *statement = NULL;
    text_init(&sql);
    text_printf(&sql, "INSERT INTO \"%s\" (", record_types[record].name);
    row_columns(record, &sql);
    text_puts(&sql, ") VALUES (?");
    for (const struct column *column = columns; column->name; column++)
        text_puts(&sql, column->kind == COLUMN_MOMENT ? ", ?, ?" : ", ?");
    text_puts(&sql, ") ON CONFLICT (id) DO UPDATE SET id = id");
    for (const struct column *column = columns; column->name; column++) {
        text_printf(&sql, ", \"%s\" = excluded.\"%s\"", column->name, column->name);
        if (column->kind == COLUMN_MOMENT)
            text_printf(&sql, ", \"%s_offset\" = excluded.\"%s_offset\"", column->name,
                        column->name);
    }
    int code = sql.failed ? SQLITE_NOMEM
                          : sqlite3_prepare_v2(journal->database, sql.bytes, -1, &statement, NULL);
    text_release(&sql);
    enum status status = STATUS_OK;
    if (code != SQLITE_OK || !row_bind(statement, record, row) ||
        sqlite3_step(statement) != SQLITE_DONE)
        status = journal_fault(journal, "write to", diags);
    sqlite3_finalize(statement);
    return status;
}

static const struct column *correctable(struct journal *journal, enum record record,
                                        const char *name, struct diags *diags)
{
    const struct record_type *type = &record_types[record];
    const char *names[32];
    size_t count = 0, index = record_column(record, name);
    if (!type->append_only && index != SIZE_MAX && !type->columns[index].derived)
        return &type->columns[index];
    for (const struct column *column = type->columns; column->name && count < 32; column++)
        if (!column->derived)
            names[count++] = column->name;
    const char *near = diag_nearest(name, names, count);
    struct position at = {.file = journal->path};
    if (type->append_only)
        diags_error(diags, at, "a %s is never changed; add one that corrects it", type->name);
    else if (near != NULL)
        diags_error(diags, at, "a %s has no '%s'; did you mean '%s'?", type->name, name, near);
    else
        diags_error(diags, at, "a %s has no '%s' that could be corrected", type->name, name);
    return NULL;
}

static enum status correct(struct journal *journal, enum record record, const char *label,
                           const struct column *column, const char *value, struct moment at,
                           struct arena *arena, struct diags *diags)
{
    struct edit edit = {.at = at,
                        .table = record_types[record].name,
                        .label = label,
                        .column = column->name,
                        .became = value};
    struct text was;
    void *row = arena_alloc(arena, record_types[record].size);
    if (row == NULL)
        return STATUS_MEMORY;
    enum status status = journal_find(journal, record, label, arena, row, diags);
    if (status != STATUS_OK)
        return status;
    int64_t id = *(int64_t *)row;
    text_init(&was);
    status = journal_show_column(journal, column, row, &was, diags);
    if (status == STATUS_OK)
        status = journal_read_column(journal, column, value, arena, row, diags);
    if (status == STATUS_OK)
        status = row_check(journal, record, row, diags);
    if (status == STATUS_OK)
        status = rewrite(journal, record, row, diags);
    edit.was = was.bytes;
    if (status == STATUS_OK)
        status = was.failed ? STATUS_MEMORY : journal_add(journal, RECORD_EDIT, &edit, diags);
    if (status == STATUS_OK && record == RECORD_VESSEL)
        status = journal_refresh(journal, id, diags);
    text_release(&was);
    return status;
}

enum status journal_correct(struct journal *journal, enum record record, const char *label,
                            const char *column, const char *value, struct moment at,
                            struct diags *diags)
{
    const struct column *described = correctable(journal, record, column, diags);
    if (described == NULL)
        return STATUS_USAGE;
    struct arena *arena = arena_new(NULL);
    if (arena == NULL)
        return STATUS_MEMORY;
    enum status status = journal_begin(journal, diags);
    if (status == STATUS_OK) {
        status = correct(journal, record, label, described, value, at, arena, diags);
        if (status == STATUS_OK)
            status = journal_commit(journal, diags);
        else
            journal_rollback(journal);
    }
    arena_free(arena);
    return status;
}

/* ---- labels ---------------------------------------------------------------------------------- */

enum status journal_next_label(struct journal *journal, enum record record, struct arena *arena,
                               const char **label, struct diags *diags)
{
    static const char letters[RECORD_COUNT] = {
        [RECORD_STARTER] = 'S', [RECORD_LOT] = 'G',   [RECORD_COOK] = 'C',
        [RECORD_SESSION] = 'I', [RECORD_PLACE] = 'P', [RECORD_BATCH] = 'B',
    };
    char letter = letters[record];
    if (letter == '\0')
        return STATUS_INTERNAL;
    struct text sql;
    sqlite3_stmt *statement = NULL;
    int64_t next = 0;
    text_init(&sql);
    text_printf(&sql,
                "SELECT max(CAST(substr(label, 2) AS INTEGER)) FROM \"%s\""
                " WHERE label GLOB '%c[0-9]*' AND substr(label, 2) NOT GLOB '*[^0-9]*'"
                " AND length(label) < 10",
                record_types[record].name, letter);
    int code = sql.failed ? SQLITE_NOMEM
                          : sqlite3_prepare_v2(journal->database, sql.bytes, -1, &statement, NULL);
    text_release(&sql);
    if (code == SQLITE_OK)
        code = sqlite3_step(statement);
    if (code == SQLITE_ROW)
        next = sqlite3_column_int64(statement, 0) + 1;
    enum status status = code == SQLITE_ROW ? STATUS_OK : journal_fault(journal, "read", diags);
    sqlite3_finalize(statement);
    if (status != STATUS_OK)
        return status;
    *label = arena_format(arena, "%c%lld", letter, (long long)next);
    return *label != NULL ? STATUS_OK : STATUS_MEMORY;
}
