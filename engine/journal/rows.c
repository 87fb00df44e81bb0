/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Between the structs and SQL, by the description in record_types. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "journal/journal_internal.h"

/* ---- members --------------------------------------------------------------------------------- */

static const void *member(const void *row, const struct column *column)
{
    return (const char *)row + column->offset;
}

static const char *text_of(const void *row, const struct column *column)
{
    const char *text = *(const char *const *)member(row, column);
    return text != NULL ? text : "";
}

static int64_t integer_of(const void *row, const struct column *column)
{
    return *(const int64_t *)member(row, column);
}

/* A number that the column has room for. */
static bool allowed(const struct column *column, double number)
{
    bool bounded = column->low < column->high;
    return isfinite(number) && (!bounded || (number >= column->low && number <= column->high));
}

static size_t word_count(const struct column *column)
{
    size_t count = 0;
    while (column->words[count] != NULL)
        count++;
    return count;
}

/* ---- SQL ------------------------------------------------------------------------------------- */

void row_columns(enum record record, struct text *sql)
{
    text_puts(sql, "\"id\"");
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        text_printf(sql, ", \"%s\"", column->name);
        if (column->kind == COLUMN_MOMENT)
            text_printf(sql, ", \"%s_offset\"", column->name);
    }
}

static int bind_column(sqlite3_stmt *statement, int *at, const struct column *column,
                       const void *row)
{
    const struct moment *moment = member(row, column);
    double real = 0.0;
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        return sqlite3_bind_text(statement, (*at)++, text_of(row, column), -1, SQLITE_STATIC);
    case COLUMN_REAL:
        real = *(const double *)member(row, column);
        return isnan(real) ? sqlite3_bind_null(statement, (*at)++)
                           : sqlite3_bind_double(statement, (*at)++, real);
    case COLUMN_INTEGER:
        return sqlite3_bind_int64(statement, (*at)++, integer_of(row, column));
    case COLUMN_FLAG:
        return sqlite3_bind_int(statement, (*at)++, *(const bool *)member(row, column));
    case COLUMN_REFERENCE:
        return integer_of(row, column) == 0
                   ? sqlite3_bind_null(statement, (*at)++)
                   : sqlite3_bind_int64(statement, (*at)++, integer_of(row, column));
    case COLUMN_WORD:
        return sqlite3_bind_text(statement, (*at)++,
                                 column->words[*(const int *)member(row, column)], -1,
                                 SQLITE_STATIC);
    case COLUMN_MOMENT:
        if (!moment_known(*moment)) {
            sqlite3_bind_null(statement, (*at)++);
            return sqlite3_bind_null(statement, (*at)++);
        }
        sqlite3_bind_int64(statement, (*at)++, moment->seconds);
        return sqlite3_bind_int(statement, (*at)++, moment->offset);
    }
    return SQLITE_MISUSE;
}

bool row_bind(sqlite3_stmt *statement, enum record record, const void *row)
{
    int at = 1;
    int64_t id = *(const int64_t *)row;
    int code =
        id == 0 ? sqlite3_bind_null(statement, at++) : sqlite3_bind_int64(statement, at++, id);
    for (const struct column *column = record_types[record].columns; column->name; column++)
        if (code == SQLITE_OK)
            code = bind_column(statement, &at, column, row);
    return code == SQLITE_OK;
}

/* ---- reading --------------------------------------------------------------------------------- */

/* A hostile file may hold anything anywhere: what is no text is "". */
static const char *text_at(sqlite3_stmt *statement, int at, struct arena *arena)
{
    const char *text = (const char *)sqlite3_column_text(statement, at);
    if (text == NULL)
        return "";
    return arena != NULL ? arena_string(arena, text) : text;
}

static struct moment moment_at(sqlite3_stmt *statement, int at)
{
    char room[MOMENT_ROOM];
    if (sqlite3_column_type(statement, at) == SQLITE_NULL)
        return moment_unknown();
    struct moment moment = {sqlite3_column_int64(statement, at),
                            sqlite3_column_int(statement, at + 1)};
    return moment_write(moment, room)[0] != '\0' ? moment : moment_unknown();
}

/* Likewise, what the column does not allow is not known. */
static double real_at(sqlite3_stmt *statement, int at, const struct column *column)
{
    double real = sqlite3_column_double(statement, at);
    return sqlite3_column_type(statement, at) != SQLITE_NULL && allowed(column, real) ? real : NAN;
}

static int64_t integer_at(sqlite3_stmt *statement, int at, const struct column *column)
{
    int64_t integer = sqlite3_column_int64(statement, at);
    return allowed(column, (double)integer) ? integer : 0;
}

static bool word_at(sqlite3_stmt *statement, int at, const struct column *column, int *word)
{
    const char *text = text_at(statement, at, NULL);
    for (*word = 0; column->words[*word] != NULL; (*word)++)
        if (strcmp(column->words[*word], text) == 0)
            return true;
    *word = 0;
    return false;
}

/* Reads one column into the struct; returns how many SQL columns that took, 0 for an unknown word. */
static int read_column(sqlite3_stmt *statement, int at, const struct column *column,
                       struct arena *arena, void *row)
{
    void *into = (char *)row + column->offset;
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        *(const char **)into = text_at(statement, at, arena);
        return *(const char **)into != NULL;
    case COLUMN_REAL:
        *(double *)into = real_at(statement, at, column);
        return 1;
    case COLUMN_INTEGER:
    case COLUMN_REFERENCE:
        *(int64_t *)into = integer_at(statement, at, column);
        return 1;
    case COLUMN_FLAG:
        *(bool *)into = sqlite3_column_int(statement, at) != 0;
        return 1;
    case COLUMN_WORD:
        return word_at(statement, at, column, into) ? 1 : 0;
    case COLUMN_MOMENT:
        *(struct moment *)into = moment_at(statement, at);
        return 2;
    }
    return 0;
}

enum status row_read(sqlite3_stmt *statement, int first, enum record record, struct arena *arena,
                     void *row)
{
    record_init(record, row);
    *(int64_t *)row = sqlite3_column_int64(statement, first++);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        int took = read_column(statement, first, column, arena, row);
        if (took == 0)
            return column->kind == COLUMN_WORD ? STATUS_DATA : STATUS_MEMORY;
        first += took;
    }
    return STATUS_OK;
}

/* ---- checking -------------------------------------------------------------------------------- */

static enum status refuse(const struct journal *journal, enum record record,
                          const struct column *column, const char *why, struct diags *diags)
{
    diags_error(diags, (struct position){.file = journal->path}, "%s of a %s %s", column->name,
                record_types[record].name, why);
    return STATUS_DATA;
}

static enum status check_text(const struct journal *journal, enum record record,
                              const struct column *column, const char *text, struct diags *diags)
{
    size_t length = strlen(text);
    if (length > JOURNAL_LONGEST_TEXT)
        return refuse(journal, record, column, "is longer than a mebibyte; say it shorter", diags);
    if (utf8_valid_prefix(text, length) != length)
        return refuse(journal, record, column, "is not text in UTF-8", diags);
    if (length == 0 && column->required)
        return refuse(journal, record, column, "is missing; give it", diags);
    return STATUS_OK;
}

static enum status check_number(const struct journal *journal, enum record record,
                                const struct column *column, double number, struct diags *diags)
{
    if (isnan(number))
        return column->required ? refuse(journal, record, column, "is missing; give it", diags)
                                : STATUS_OK;
    if (allowed(column, number))
        return STATUS_OK;
    char why[128];
    if (column->low < column->high)
        snprintf(why, sizeof why, "is %.6g; it should lie from %g to %g", number, column->low,
                 column->high);
    else
        snprintf(why, sizeof why, "is %.6g; it should be a number", number);
    return refuse(journal, record, column, why, diags);
}

/* Foreign keys would refuse it as well, but not say which. */
static enum status check_reference(struct journal *journal, enum record record,
                                   const struct column *column, int64_t id, struct diags *diags)
{
    if (id == 0)
        return column->required ? refuse(journal, record, column, "is missing; give it", diags)
                                : STATUS_OK;
    sqlite3_stmt *statement =
        journal_prepare_for(journal, &journal->exists[column->refers], column->refers,
                            "SELECT 1 FROM", "WHERE id = ?", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, id);
    int code = sqlite3_step(statement);
    sqlite3_reset(statement);
    if (code == SQLITE_ROW)
        return STATUS_OK;
    return code == SQLITE_DONE
               ? refuse(journal, record, column, "names a record that does not exist", diags)
               : journal_fault(journal, "read", diags);
}

static enum status check_column(struct journal *journal, enum record record,
                                const struct column *column, const void *row, struct diags *diags)
{
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        return check_text(journal, record, column, text_of(row, column), diags);
    case COLUMN_REAL:
        return check_number(journal, record, column, *(const double *)member(row, column), diags);
    case COLUMN_INTEGER:
        return check_number(journal, record, column, (double)integer_of(row, column), diags);
    case COLUMN_REFERENCE:
        return check_reference(journal, record, column, integer_of(row, column), diags);
    case COLUMN_WORD:
        return *(const unsigned *)member(row, column) < word_count(column)
                   ? STATUS_OK
                   : refuse(journal, record, column, "is no word that it may be", diags);
    case COLUMN_MOMENT:
        return column->required && !moment_known(*(const struct moment *)member(row, column))
                   ? refuse(journal, record, column, "is missing; give a date", diags)
                   : STATUS_OK;
    case COLUMN_FLAG:
        break;
    }
    return STATUS_OK;
}

/* A label names a record on the command line, so it must not read as an option or hold a blank end. */
static enum status check_label(struct journal *journal, enum record record, const char *label,
                               int64_t own_id, struct diags *diags)
{
    int64_t id = 0;
    size_t length = strlen(label);
    if (label[0] == '-' || label[0] == ' ' || (length > 0 && label[length - 1] == ' ') ||
        strpbrk(label, "\n\r\t"))
        return refuse(journal, record, record_types[record].columns,
                      "must not begin with '-' nor begin or end with a space", diags);
    if (!journal_has(journal, record, label, &id) || id == own_id)
        return STATUS_OK;
    diags_error(diags, (struct position){.file = journal->path},
                "there is a %s '%s' already; choose another label", record_types[record].name,
                label);
    return STATUS_DATA;
}

enum status row_check(struct journal *journal, enum record record, const void *row,
                      struct diags *diags)
{
    const struct column *columns = record_types[record].columns;
    enum status status = STATUS_OK;
    for (const struct column *column = columns; column->name && status == STATUS_OK; column++)
        if (!column->derived)
            status = check_column(journal, record, column, row, diags);
    if (status == STATUS_OK && columns[0].kind == COLUMN_LABEL)
        status = check_label(journal, record, text_of(row, columns), *(const int64_t *)row, diags);
    return status;
}
