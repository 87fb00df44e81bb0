/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One record, whatever its kind: told from the table that describes it. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/journal.h"
#include "voice/whole_json.h"

static const void *member(const void *row, const struct column *column)
{
    return (const char *)row + column->offset;
}

static enum dimension dimension_of(enum record record, const char *name)
{
    static const struct {
        enum record record;
        const char *name;
        enum dimension dimension;
    } known[] = {
        {RECORD_COOK, "gauge", DIM_GAUGE_KPA}, {RECORD_COOK, "minutes", DIM_MINUTES},
        {RECORD_COOK, "altitude", DIM_METRES}, {RECORD_PLACE, "celsius", DIM_CELSIUS},
        {RECORD_LOT, "moisture", DIM_PERCENT}, {RECORD_BATCH, "dry", DIM_GRAMS},
        {RECORD_BATCH, "water", DIM_GRAMS},    {RECORD_BATCH, "soak", DIM_MINUTES},
        {RECORD_VESSEL, "grams", DIM_GRAMS},
    };
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (known[i].record == record && strcmp(known[i].name, name) == 0)
            return known[i].dimension;
    return DIM_NONE;
}

/* A value as people read it; "" when there is none. */
static const char *shown(const struct journal_told *told, enum record record,
                         const struct column *column, const void *row)
{
    struct text text;
    double number = column->kind == COLUMN_REAL ? *(const double *)member(row, column) : NAN;
    enum dimension dimension = dimension_of(record, column->name);

    if (dimension != DIM_NONE)
        return voice_quantity(told, number, dimension);
    text_init(&text);
    enum status status = journal_show_column(told->journal, column, row, &text, told->diags);
    const char *copy = status == STATUS_OK && !text.failed && text.length > 0
                           ? arena_copy(told->arena, text.bytes, text.length)
                           : NULL;
    text_release(&text);
    return copy != NULL ? copy : "";
}

void voice_record(struct screen *screen, const struct journal_told *told, enum record record,
                  const void *row)
{
    enum { LABEL_COLUMNS = 12 };
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (column->derived || column->kind == COLUMN_LABEL)
            continue;
        const char *value = shown(told, record, column, row);
        bool idle = column->kind == COLUMN_FLAG && !*(const bool *)member(row, column);
        if (value[0] != '\0' && !idle)
            screen_row(screen, 2, LABEL_COLUMNS, column->name, value);
    }
}

static json_t *value_json(const struct journal_told *told, const struct column *column,
                          const void *row)
{
    const void *value = member(row, column);
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        return voice_json_text(*(const char *const *)value);
    case COLUMN_REAL:
        return voice_json_number(*(const double *)value);
    case COLUMN_INTEGER:
        return json_integer(*(const int64_t *)value);
    case COLUMN_FLAG:
        return json_boolean(*(const bool *)value);
    case COLUMN_MOMENT:
        return voice_json_moment(*(const struct moment *)value);
    case COLUMN_WORD:
        return json_string(column->words[*(const unsigned *)value]);
    case COLUMN_REFERENCE:
        break;
    }
    int64_t id = *(const int64_t *)value;
    if (id == 0)
        return json_null();
    return record_types[column->refers].columns[0].kind == COLUMN_LABEL
               ? voice_json_label(told, column->refers, id)
               : json_integer(id);
}

json_t *voice_record_json(const struct journal_told *told, enum record record, const void *row)
{
    json_t *object = json_object();
    const struct column *columns = record_types[record].columns;
    if (columns[0].kind != COLUMN_LABEL)
        object = voice_json_put(object, "id", json_integer(*(const int64_t *)row));
    for (const struct column *column = columns; column->name; column++) {
        bool day = record == RECORD_VESSEL && strcmp(column->name, "due") == 0;
        object = voice_json_put(object, column->name,
                                day ? voice_json_day(*(const int64_t *)member(row, column))
                                    : value_json(told, column, row));
    }
    return object;
}
