/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A table of one row a vessel, read as a stream. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/csv.h"
#include "base/text.h"
#include "review/csv_words_internal.h"
#include "review/dataset_internal.h"

enum { MOST_COLUMNS = 256 };

struct column_read {
    struct csv_role role;
    const char *name;
    struct interner *words; /* of a factor */
    uint32_t *level;
};

struct row { /* what is not a factor */
    uint32_t label;
    uint8_t fate;
    bool control;
    int32_t entered, ended;
};

struct dataset_reader {
    const char *file;
    int32_t since, today;
    struct arena *arena;
    struct diags *diags;
    struct csv_stream *stream;
    struct column_read columns[MOST_COLUMNS];
    size_t column_count;
    bool header;
    struct interner *labels;
    struct row *rows;
    size_t count, room;
    size_t fate_column; /* the first that says what became of it; MOST_COLUMNS */
    size_t strange_fates, strange_days, short_rows;
    const char *strange_fate, *strange_day; /* the first of them */
    enum status status;
};

struct dataset_reader *dataset_reader_new(const char *file, int32_t since, int32_t today,
                                          struct arena *arena, struct diags *diags)
{
    struct dataset_reader *reader = arena_alloc(arena, sizeof *reader);
    if (reader == NULL)
        return NULL;
    *reader = (struct dataset_reader){.file = file,
                                      .since = since,
                                      .today = today,
                                      .arena = arena,
                                      .diags = diags,
                                      .header = true,
                                      .fate_column = MOST_COLUMNS,
                                      .labels = interner_new(arena)};
    return reader->labels != NULL ? reader : NULL;
}

void dataset_reader_free(struct dataset_reader *reader)
{
    if (reader != NULL)
        csv_stream_free(reader->stream);
}

static bool fail(struct dataset_reader *reader, enum status status)
{
    reader->status = status;
    return false;
}

/* ---- the header ------------------------------------------------------------------------------ */

static bool take_name(struct dataset_reader *reader, const struct csv_field *field)
{
    struct text safe;
    if (field->index >= MOST_COLUMNS) {
        diags_error(reader->diags, (struct position){reader->file, field->line, field->column},
                    "more than %d columns; leave out what the vessels do not share", MOST_COLUMNS);
        return fail(reader, STATUS_DATA);
    }
    struct column_read *column = &reader->columns[field->index];
    text_init(&safe);
    text_safe(&safe, field->bytes, field->length, &(struct text_safe_options){.limit = 60});
    column->name = arena_string(reader->arena, safe.bytes != NULL ? safe.bytes : "");
    text_release(&safe);
    if (column->name == NULL)
        return fail(reader, STATUS_MEMORY);
    column->role = csv_role_of(column->name);
    if (column->role.use == CSV_FATE && reader->fate_column == MOST_COLUMNS)
        reader->fate_column = field->index;
    else if (column->role.use == CSV_FATE)
        column->role.use = CSV_IGNORED; /* the first one counts */
    if (column->role.use == CSV_FACTOR && (column->words = interner_new(reader->arena)) == NULL)
        return fail(reader, STATUS_MEMORY);
    reader->column_count = field->index + 1;
    return true;
}

static bool end_header(struct dataset_reader *reader)
{
    struct text names;
    reader->header = false;
    if (reader->fate_column != MOST_COLUMNS)
        return true;
    text_init(&names);
    for (size_t c = 0; c < reader->column_count && names.length < 200; c++)
        text_printf(&names, "%s%s", c > 0 ? ", " : "", reader->columns[c].name);
    diags_error(reader->diags, (struct position){reader->file, 1, 1},
                "no column says what became of each vessel; name one 'lost' (yes, no) or 'fate' "
                "(lost, ok). Found: %s",
                names.bytes != NULL ? names.bytes : "");
    text_release(&names);
    return fail(reader, STATUS_DATA);
}

/* ---- rows ------------------------------------------------------------------------------------ */

static bool grow(struct dataset_reader *reader)
{
    enum { FIRST = 256 };
    size_t room = reader->room > 0 ? 2 * reader->room : FIRST;
    struct row *rows = arena_grow(reader->arena, reader->rows, reader->count, room, sizeof *rows);
    if (rows == NULL)
        return false;
    reader->rows = rows;
    for (size_t c = 0; c < reader->column_count; c++) {
        struct column_read *column = &reader->columns[c];
        if (column->words == NULL)
            continue;
        column->level =
            arena_grow(reader->arena, column->level, reader->count, room, sizeof *column->level);
        if (column->level == NULL)
            return false;
    }
    reader->room = room;
    return true;
}

static bool begin_row(struct dataset_reader *reader)
{
    if (reader->count == reader->room && !grow(reader))
        return fail(reader, STATUS_MEMORY);
    reader->rows[reader->count] = (struct row){
        .label = LEVEL_NONE, .fate = FATE_COUNT, .entered = DAY_NONE, .ended = DAY_NONE};
    for (size_t c = 0; c < reader->column_count; c++)
        if (reader->columns[c].words != NULL)
            reader->columns[c].level[reader->count] = LEVEL_NONE;
    return true;
}

static void note_strange(struct dataset_reader *reader, size_t *count, const char **first,
                         const char *bytes, size_t length)
{
    struct text safe;
    if ((*count)++ > 0)
        return;
    text_init(&safe);
    text_safe(&safe, bytes, length, &(struct text_safe_options){.limit = 30});
    *first = arena_string(reader->arena, safe.bytes != NULL ? safe.bytes : "");
    text_release(&safe);
}

static void take_day(struct dataset_reader *reader, const char *bytes, size_t length, int32_t *day)
{
    if (length > 0 && !csv_day(bytes, length, day))
        note_strange(reader, &reader->strange_days, &reader->strange_day, bytes, length);
}

static void take_fate(struct dataset_reader *reader, const struct csv_role *role, const char *bytes,
                      size_t length, uint8_t *fate)
{
    if (length > 0 && !csv_fate(role, bytes, length, fate))
        note_strange(reader, &reader->strange_fates, &reader->strange_fate, bytes, length);
}

static bool take_value(struct dataset_reader *reader, const struct csv_field *field)
{
    struct row *row = &reader->rows[reader->count];
    struct column_read *column = &reader->columns[field->index];
    const char *bytes = field->bytes;
    size_t length = field->length;

    csv_trim(&bytes, &length);
    switch (column->role.use) {
    case CSV_LABEL:
        return interner_put(reader->labels, bytes, length, &row->label) ||
               fail(reader, STATUS_MEMORY);
    case CSV_FATE:
        take_fate(reader, &column->role, bytes, length, &row->fate);
        return true;
    case CSV_ENTERED:
        take_day(reader, bytes, length, &row->entered);
        return true;
    case CSV_ENDED:
        take_day(reader, bytes, length, &row->ended);
        return true;
    case CSV_CONTROL:
        row->control = csv_yes(bytes, length);
        return true;
    case CSV_FACTOR:
        return interner_put(column->words, bytes, length, &column->level[reader->count]) ||
               fail(reader, STATUS_MEMORY);
    default:
        return true;
    }
}

static bool take_field(void *context, const struct csv_field *field)
{
    struct dataset_reader *reader = context;
    if (reader->header)
        return take_name(reader, field);
    if (field->index == 0 && !begin_row(reader))
        return false;
    if (field->index >= reader->column_count) {
        diags_error(reader->diags, (struct position){reader->file, field->line, field->column},
                    "more fields than the %zu columns of the first line; is a comma missing its "
                    "quotes?",
                    reader->column_count);
        return fail(reader, STATUS_DATA);
    }
    return take_value(reader, field);
}

static bool take_row(void *context, size_t fields, size_t line)
{
    struct dataset_reader *reader = context;
    (void)line;
    if (reader->header)
        return end_header(reader);
    const struct row *row = &reader->rows[reader->count];
    reader->short_rows += fields < reader->column_count;
    if (reader->since == DAY_NONE || (row->entered != DAY_NONE && row->entered >= reader->since))
        reader->count++;
    return true;
}

/* ---- the stream ------------------------------------------------------------------------------ */

static enum status told(struct dataset_reader *reader, enum csv_outcome outcome)
{
    size_t line, column;
    switch (outcome) {
    case CSV_READ:
        return STATUS_OK;
    case CSV_STOPPED:
        return reader->status;
    case CSV_NO_MEMORY:
        return STATUS_MEMORY;
    default:
        csv_stream_position(reader->stream, &line, &column);
        diags_error(reader->diags, (struct position){reader->file, line, column}, "%s",
                    outcome == CSV_TOO_LONG
                        ? "a field this long is no field; is a quote missing?"
                        : "this is no table: a quote stands where none may, or never ends");
        return STATUS_DATA;
    }
}

/* Whichever of comma, semicolon and tab the first line has most of. */
static char delimiter_of(const char *bytes, size_t length)
{
    static const char known[] = ",;\t";
    size_t most = 0;
    char best = ',';
    for (const char *d = known; *d != '\0'; d++) {
        size_t met = 0;
        for (size_t i = 0; i < length && bytes[i] != '\n'; i++)
            met += bytes[i] == *d;
        if (met > most) {
            most = met;
            best = *d;
        }
    }
    return best;
}

enum status dataset_reader_feed(struct dataset_reader *reader, const char *bytes, size_t length)
{
    static const char mark[] = "\xef\xbb\xbf"; /* a byte order mark */
    if (reader->stream == NULL) {
        const struct csv_sink sink = {reader, take_field, take_row};
        if (length >= 3 && memcmp(bytes, mark, 3) == 0) {
            bytes += 3;
            length -= 3;
        }
        reader->stream = csv_stream_new(&sink, delimiter_of(bytes, length));
        if (reader->stream == NULL)
            return STATUS_MEMORY;
    }
    return told(reader, csv_stream_feed(reader->stream, bytes, length));
}

/* ---- what was read --------------------------------------------------------------------------- */

static enum status fill_vessels(struct dataset_reader *reader, struct dataset *dataset)
{
    size_t count = reader->count;
    const char **labels = arena_array(reader->arena, count, sizeof *labels);
    uint8_t *fate = arena_array(reader->arena, count, sizeof *fate);
    bool *control = arena_array(reader->arena, count, sizeof *control);
    int32_t *entered = arena_array(reader->arena, count, sizeof *entered);
    int32_t *ended = arena_array(reader->arena, count, sizeof *ended);

    if (labels == NULL || fate == NULL || control == NULL || entered == NULL || ended == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < count; i++) {
        const struct row *row = &reader->rows[i];
        labels[i] = row->label != LEVEL_NONE ? interner_words(reader->labels)[row->label] : "";
        fate[i] = row->fate;
        control[i] = row->control;
        entered[i] = row->entered;
        ended[i] = row->ended;
    }
    *dataset = (struct dataset){.vessel_count = count,
                                .labels = labels,
                                .fate = fate,
                                .control = control,
                                .entered = entered,
                                .ended = ended,
                                .today = reader->today};
    return STATUS_OK;
}

/* Whether a column tells: not when nearly every vessel has its own value. */
static bool tells(const struct dataset_reader *reader, const struct column_read *column)
{
    enum { FEW = 8 };
    size_t values = interner_count(column->words);
    return values <= FEW || values <= reader->count / 2;
}

static enum status fill_factors(struct dataset_reader *reader, struct dataset *dataset)
{
    struct factor *factors = arena_array(reader->arena, reader->column_count, sizeof *factors);
    enum status status = factors != NULL ? STATUS_OK : STATUS_MEMORY;

    for (size_t c = 0; c < reader->column_count && status == STATUS_OK; c++) {
        struct column_read *column = &reader->columns[c];
        if (column->role.use != CSV_FACTOR || column->name[0] == '\0')
            continue;
        if (!tells(reader, column)) {
            status = dataset_say(dataset, reader->arena,
                                 "Column '%s' is left out: nearly every vessel has a value of its "
                                 "own.",
                                 column->name);
            continue;
        }
        struct factor factor = {.kind = column->role.kind,
                                .name = column->role.kind == FACTOR_OTHER
                                            ? column->name
                                            : factor_kind_name(column->role.kind),
                                .levels = interner_words(column->words),
                                .level_count = interner_count(column->words)};
        status = factor_add(factors, &dataset->factor_count, factor, column->level, reader->count,
                            reader->arena);
    }
    dataset->factors = factors;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
    return status;
}

static enum status remark_strange(struct dataset_reader *reader, struct dataset *dataset)
{
    enum status status = STATUS_OK;
    if (reader->strange_fates > 0)
        status = dataset_say(dataset, reader->arena,
                             "In %zu %s column '%s' says neither lost nor ok (the first: '%s'): "
                             "left out.",
                             reader->strange_fates, reader->strange_fates == 1 ? "row" : "rows",
                             reader->columns[reader->fate_column].name, reader->strange_fate);
    if (reader->strange_days > 0 && status == STATUS_OK)
        status =
            dataset_say(dataset, reader->arena,
                        "%zu %s no day (the first: '%s'); write 2026-03-01.", reader->strange_days,
                        reader->strange_days == 1 ? "date is" : "dates are", reader->strange_day);
    if (reader->short_rows > 0 && status == STATUS_OK)
        status = dataset_say(dataset, reader->arena,
                             "%zu %s fewer fields than the first line: what is missing counts as "
                             "not known.",
                             reader->short_rows, reader->short_rows == 1 ? "row has" : "rows have");
    return status;
}

/* Not one row was understood: then it is not a matter of a few. */
static enum status refuse_strange(struct dataset_reader *reader)
{
    if (reader->count == 0 || reader->strange_fates < reader->count)
        return STATUS_OK;
    diags_error(reader->diags, (struct position){reader->file, 2, 0},
                "column '%s' says neither lost nor ok in any row (the first: '%s'); write lost or "
                "ok, yes or no",
                reader->columns[reader->fate_column].name, reader->strange_fate);
    return STATUS_DATA;
}

enum status dataset_reader_finish(struct dataset_reader *reader, struct dataset *dataset)
{
    enum status status = STATUS_OK;
    if (reader->stream != NULL)
        status = told(reader, csv_stream_finish(reader->stream));
    if (status == STATUS_OK && reader->header) {
        diags_error(reader->diags, (struct position){reader->file, 0, 0},
                    "this is empty; a table begins with a line that names its columns");
        status = STATUS_DATA;
    }
    if (status == STATUS_OK)
        status = refuse_strange(reader);
    if (status == STATUS_OK)
        status = fill_vessels(reader, dataset);
    if (status == STATUS_OK)
        status = fill_factors(reader, dataset);
    if (status == STATUS_OK)
        status = remark_strange(reader, dataset);
    return status == STATUS_OK ? dataset_remark(dataset, reader->arena) : status;
}
