/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/dataset_csv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/csv.h"
#include "base/text.h"
#include "review/dataset.h"

/* ==== csv words =============================================================================== */

void csv_trim(const char **bytes, size_t *length)
{
    static const char white[] = " \t\r\n";
    while (*length > 0 && strchr(white, (*bytes)[0]) != NULL && (*bytes)[0] != '\0') {
        ++*bytes;
        --*length;
    }
    while (*length > 0 && strchr(white, (*bytes)[*length - 1]) != NULL &&
           (*bytes)[*length - 1] != '\0')
        --*length;
}

/* ---- columns --------------------------------------------------------------------------------- */

static const struct {
    const char *name;
    struct csv_role role;
} columns[] = {
    {"vessel", {.use = CSV_LABEL}},
    {"label", {.use = CSV_LABEL}},
    {"name", {.use = CSV_LABEL}},
    {"id", {.use = CSV_LABEL}},
    {"jar", {.use = CSV_LABEL}},
    {"bag", {.use = CSV_LABEL}},
    {"lost", {.use = CSV_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
    {"contaminated", {.use = CSV_FATE, .yes = FATE_CONTAMINATED, .no = FATE_SOUND}},
    {"contam", {.use = CSV_FATE, .yes = FATE_CONTAMINATED, .no = FATE_SOUND}},
    {"bad", {.use = CSV_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
    {"failed", {.use = CSV_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
    {"ok", {.use = CSV_FATE, .yes = FATE_SOUND, .no = FATE_UNTOLD}},
    {"good", {.use = CSV_FATE, .yes = FATE_SOUND, .no = FATE_UNTOLD}},
    {"clean", {.use = CSV_FATE, .yes = FATE_SOUND, .no = FATE_CONTAMINATED}},
    {"fate", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"outcome", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"result", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"status", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"begun", {.use = CSV_ENTERED}},
    {"started", {.use = CSV_ENTERED}},
    {"inoculated", {.use = CSV_ENTERED}},
    {"made", {.use = CSV_ENTERED}},
    {"date", {.use = CSV_ENTERED}},
    {"at", {.use = CSV_ENTERED}},
    {"ended", {.use = CSV_ENDED}},
    {"lost on", {.use = CSV_ENDED}},
    {"used on", {.use = CSV_ENDED}},
    {"discarded on", {.use = CSV_ENDED}},
    {"control", {.use = CSV_CONTROL}},
    {"uninoculated", {.use = CSV_CONTROL}},
    {"cook", {.use = CSV_FACTOR, .kind = FACTOR_COOK}},
    {"starter", {.use = CSV_FACTOR, .kind = FACTOR_STARTER}},
    {"culture", {.use = CSV_FACTOR, .kind = FACTOR_STARTER}},
    {"session", {.use = CSV_FACTOR, .kind = FACTOR_SESSION}},
    {"sitting", {.use = CSV_FACTOR, .kind = FACTOR_SESSION}},
    {"place", {.use = CSV_FACTOR, .kind = FACTOR_PLACE}},
    {"shelf", {.use = CSV_FACTOR, .kind = FACTOR_PLACE}},
    {"lot", {.use = CSV_FACTOR, .kind = FACTOR_LOT}},
    {"grain lot", {.use = CSV_FACTOR, .kind = FACTOR_LOT}},
    {"sack", {.use = CSV_FACTOR, .kind = FACTOR_LOT}},
    {"batch", {.use = CSV_FACTOR, .kind = FACTOR_BATCH}},
    {"mix", {.use = CSV_FACTOR, .kind = FACTOR_BATCH}},
    {"position", {.use = CSV_FACTOR, .kind = FACTOR_POSITION}},
    {"kind", {.use = CSV_FACTOR, .kind = FACTOR_VESSEL}},
    {"vessel kind", {.use = CSV_FACTOR, .kind = FACTOR_VESSEL}},
    {"note", {.use = CSV_IGNORED}},
    {"notes", {.use = CSV_IGNORED}},
};

struct csv_role csv_role_of(const char *name)
{
    enum { LONGEST = 64 };
    char plain[LONGEST];
    size_t length = strlen(name);
    csv_trim(&name, &length);
    snprintf(plain, sizeof plain, "%.*s", (int)(length < LONGEST ? length : LONGEST - 1), name);
    for (char *at = plain; *at != '\0'; at++)
        if (*at == '_' || *at == '-')
            *at = ' ';
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++)
        if (strcasecmp(columns[i].name, plain) == 0)
            return columns[i].role;
    return (struct csv_role){.use = CSV_FACTOR, .kind = FACTOR_OTHER};
}

/* ---- values ---------------------------------------------------------------------------------- */

static bool is_word(const char *word, size_t length, const char *known)
{
    return strlen(known) == length && strncasecmp(word, known, length) == 0;
}

bool csv_yes(const char *word, size_t length)
{
    static const char *const known[] = {"yes", "y", "true", "1", "x"};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_word(word, length, known[i]))
            return true;
    return false;
}

static bool csv_no(const char *word, size_t length)
{
    static const char *const known[] = {"no", "n", "false", "0"};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_word(word, length, known[i]))
            return true;
    return false;
}

bool csv_fate(const struct csv_role *role, const char *word, size_t length, uint8_t *fate)
{
    static const struct {
        const char *word;
        enum fate fate;
    } known[] = {
        {"lost", FATE_UNTOLD},
        {"bad", FATE_UNTOLD},
        {"failed", FATE_UNTOLD},
        {"discarded", FATE_UNTOLD},
        {"dead", FATE_UNTOLD},
        {"untold", FATE_UNTOLD},
        {"contaminated", FATE_CONTAMINATED},
        {"contam", FATE_CONTAMINATED},
        {"stuck", FATE_STUCK},
        {"stalled", FATE_STUCK},
        {"ok", FATE_SOUND},
        {"okay", FATE_SOUND},
        {"fine", FATE_SOUND},
        {"good", FATE_SOUND},
        {"clean", FATE_SOUND},
        {"sound", FATE_SOUND},
        {"used", FATE_SOUND},
        {"healthy", FATE_SOUND},
        {"open", FATE_OPEN},
        {"growing", FATE_OPEN},
        {"isolated", FATE_OPEN},
        {"waiting", FATE_OPEN},
    };
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_word(word, length, known[i].word)) {
            *fate = (uint8_t)known[i].fate;
            return true;
        }
    if (csv_yes(word, length))
        *fate = role->yes;
    else if (csv_no(word, length))
        *fate = role->no;
    return *fate != FATE_COUNT;
}

/* ---- days ------------------------------------------------------------------------------------ */

static bool digits(const char *bytes, size_t count, int *number)
{
    *number = 0;
    for (size_t i = 0; i < count; i++) {
        if (bytes[i] < '0' || bytes[i] > '9')
            return false;
        *number = *number * 10 + (bytes[i] - '0');
    }
    return true;
}

/* Days from 1970-01-01 of the Gregorian calendar, years counted from March. */
static int32_t day_number(int year, int month, int day)
{
    enum { DAYS_OF_400_YEARS = 146097, DAYS_TO_1970 = 719468 };
    int years = year - (month <= 2);
    int era = years / 400, of_era = years % 400;
    int of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    return era * DAYS_OF_400_YEARS + of_era * 365 + of_era / 4 - of_era / 100 + of_year -
           DAYS_TO_1970;
}

bool csv_day(const char *word, size_t length, int32_t *day)
{
    static const int longest[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int year, month, of_month;
    if (length < 10 || word[4] != '-' || word[7] != '-' || !digits(word, 4, &year) ||
        !digits(word + 5, 2, &month) || !digits(word + 8, 2, &of_month) || year < 1900 ||
        month < 1 || month > 12 || of_month < 1 || of_month > longest[month - 1] ||
        (length > 10 && word[10] != 'T' && word[10] != ' '))
        return false;
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    if (month == 2 && of_month == 29 && !leap)
        return false;
    *day = day_number(year, month, of_month);
    return true;
}

/* ==== dataset csv ============================================================================= */

/* A table of one row a vessel, read as a stream. */

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
