/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Values that the description of a column does not allow, asked of all rows at once. */
#include <stdio.h>
#include <string.h>

#include "journal/check_internal.h"

/* Days before which no journal of this kind was kept, and how far clocks may differ. */
enum { DAY_SECONDS = 86400 };
static const int64_t EARLIEST = 631152000; /* 1990-01-01T00:00:00Z */

/* Tells every row for which `condition` holds. */
static void rows_where(struct check *check, enum record record, const char *condition,
                       const char *complaint)
{
    struct text sql;
    text_init(&sql);
    text_printf(&sql, "SELECT id FROM \"%s\" WHERE %s ORDER BY id", record_types[record].name,
                condition);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record, sqlite3_column_int64(statement, 0), "%s", complaint);
}

static void moments(struct check *check, enum record record, const char *name)
{
    char condition[256], complaint[96];
    snprintf(condition, sizeof condition,
             "(\"%s\" IS NULL) <> (\"%s_offset\" IS NULL) OR abs(\"%s_offset\") > 1439", name, name,
             name);
    snprintf(complaint, sizeof complaint, "'%s' is no moment that can be read", name);
    rows_where(check, record, condition, complaint);
    snprintf(condition, sizeof condition, "\"%s\" < %lld", name, (long long)EARLIEST);
    snprintf(complaint, sizeof complaint, "'%s' lies before 1990", name);
    rows_where(check, record, condition, complaint);
    snprintf(condition, sizeof condition, "\"%s\" > %lld", name,
             (long long)check->now.seconds + DAY_SECONDS);
    snprintf(complaint, sizeof complaint, "'%s' lies in the future", name);
    rows_where(check, record, condition, complaint);
}

static void texts(struct check *check, enum record record, const struct column *column)
{
    char condition[256], complaint[96];
    snprintf(condition, sizeof condition, "instr(CAST(\"%s\" AS BLOB), x'00') > 0", column->name);
    snprintf(complaint, sizeof complaint, "'%s' holds a NUL byte", column->name);
    rows_where(check, record, condition, complaint);
    if (!column->required)
        return;
    snprintf(condition, sizeof condition, "\"%s\" = ''", column->name);
    snprintf(complaint, sizeof complaint, "'%s' is empty", column->name);
    rows_where(check, record, condition, complaint);
}

static void numbers(struct check *check, enum record record, const struct column *column)
{
    char condition[256], complaint[128];
    if (column->low >= column->high)
        return;
    snprintf(condition, sizeof condition, "\"%s\" < %.17g OR \"%s\" > %.17g", column->name,
             column->low, column->name, column->high);
    snprintf(complaint, sizeof complaint, "'%s' is not from %g to %g", column->name, column->low,
             column->high);
    rows_where(check, record, condition, complaint);
}

static void words(struct check *check, enum record record, const struct column *column)
{
    char complaint[96];
    struct text condition;
    text_init(&condition);
    text_printf(&condition, "\"%s\" NOT IN (", column->name);
    for (size_t i = 0; column->words[i] != NULL; i++)
        text_printf(&condition, "%s'%s'", i > 0 ? ", " : "", column->words[i]);
    text_puts(&condition, ")");
    snprintf(complaint, sizeof complaint, "'%s' is no word that it may be", column->name);
    if (condition.failed)
        check->status = STATUS_MEMORY;
    else
        rows_where(check, record, condition.bytes, complaint);
    text_release(&condition);
}

static void one_column(struct check *check, enum record record, const struct column *column)
{
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        texts(check, record, column);
        break;
    case COLUMN_REAL:
    case COLUMN_INTEGER:
        numbers(check, record, column);
        break;
    case COLUMN_WORD:
        words(check, record, column);
        break;
    case COLUMN_MOMENT:
        moments(check, record, column->name);
        break;
    case COLUMN_FLAG:
    case COLUMN_REFERENCE: /* what they lead to is for foreign_key_check */
        break;
    }
}

void check_columns(struct check *check)
{
    for (int i = 0; i < RECORD_COUNT; i++)
        for (const struct column *column = record_types[i].columns;
             column->name != NULL && check->status == STATUS_OK; column++)
            if (!column->derived || column->kind == COLUMN_WORD ||
                column->kind == COLUMN_INTEGER) /* the others are derived anew */
                one_column(check, (enum record)i, column);
}
