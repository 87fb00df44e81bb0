/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/exchange_internal.h"

#include <string.h>

bool exchange_is_due(enum record record, const struct column *column)
{
    return record == RECORD_VESSEL && column->derived &&
           column->offset == offsetof(struct vessel, due);
}

/* Whether it is why that look is due. */
static bool is_due_for(enum record record, const struct column *column)
{
    return record == RECORD_VESSEL && column->derived &&
           column->offset == offsetof(struct vessel, due_for);
}

bool exchange_carries(enum record record, const struct column *column)
{
    return !column->derived || exchange_is_due(record, column) || is_due_for(record, column);
}

bool exchange_has_label(enum record record)
{
    return record_types[record].columns[0].kind == COLUMN_LABEL;
}

bool exchange_is_text(const struct column *column)
{
    return column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT ||
           (column->kind == COLUMN_REFERENCE && exchange_has_label(column->refers));
}

/*
 * Apostrophes and spaces may stand before what makes a formula, so that a text
 * which needed a guard still needs one with the guard in front: that is what
 * lets the guard be told from an apostrophe of the grower's own. Some locales
 * take the wide forms for the signs themselves.
 */
static bool like_a_formula(const char *bytes, size_t length)
{
    static const char *const wide[] = {"\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D",
                                       "\xEF\xBC\xA0"}; /* = + - @ */
    size_t at = 0;
    while (at < length && (bytes[at] == '\'' || bytes[at] == ' '))
        at++;
    if (at == length)
        return false;
    if (bytes[at] != '\0' && strchr("=+-@\t\r\n", bytes[at]) != NULL)
        return true;
    for (size_t i = 0; i < sizeof wide / sizeof *wide; i++)
        if (length - at >= 3 && memcmp(bytes + at, wide[i], 3) == 0)
            return true;
    return false;
}

void exchange_guard(struct text *out, const char *bytes, size_t length)
{
    if (like_a_formula(bytes, length))
        text_add(out, "'", 1);
    text_add(out, bytes, length);
}

size_t exchange_guarded(const char *bytes, size_t length)
{
    return length > 0 && bytes[0] == '\'' && like_a_formula(bytes, length) ? 1 : 0;
}

enum status exchange_show(struct journal *journal, enum record record, const struct column *column,
                          const void *row, struct text *out, struct diags *diags)
{
    const struct vessel *vessel = row;
    char room[MOMENT_ROOM];
    if (!exchange_is_due(record, column))
        return journal_show_column(journal, column, row, out, diags);
    if (vessel->due != 0)
        text_puts(out, moment_write_day(moment_of_day(vessel->due), room));
    return STATUS_OK;
}
