/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/dates.h"
#include "base/text.h"
#include "review/dataset.h"

/* A grower's own table of one row per vessel. */

enum { MOST_COLUMNS = 256 };

enum column_use {
    USE_FACTOR,
    USE_LABEL,
    USE_FATE,
    USE_ENTERED,
    USE_ENDED,
    USE_CONTROL,
    USE_NOTHING
};

struct role { /* what a column means */
    enum column_use use;
    enum factor_kind kind; /* of a factor */
    uint8_t yes, no;       /* of a fate: what "yes" and "no" mean in such a column */
};

struct column_read {
    struct role role;
    const char *name;
    size_t column; /* of a factor: of the intake */
};

struct strange { /* values that say nothing */
    size_t count;
    const char *first;
};

struct table {
    int32_t since;
    struct arena *arena;
    struct diags *diags;
    struct intake *intake;
    struct column_read columns[MOST_COLUMNS];
    size_t column_count; /* 0 until the first row was read */
    size_t count;        /* of rows */
    size_t fate_column;  /* the first that says what became of it; MOST_COLUMNS */
    struct strange fates, days;
    size_t short_rows;
};

/* ---- words ----------------------------------------------------------------------------------- */

/* The text without white space at its ends. */
static const char *trimmed(const struct csv_field *field, size_t *length)
{
    static const char white[] = " \t\r\n";
    const char *at = field->text + strspn(field->text, white);
    *length = strlen(at);
    while (*length > 0 && strchr(white, at[*length - 1]) != NULL)
        --*length;
    return at;
}

static const char *safe_copy(struct arena *arena, const char *text, size_t length, size_t limit)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, text, length, &(struct text_safe_options){.limit = limit});
    const char *copy = arena_string(arena, safe.bytes);
    text_release(&safe);
    return copy;
}

static struct role role_of(const char *name)
{
    static const struct {
        const char *names;
        struct role role;
    } roles[] = {
        {"vessel|label|name|id|jar|bag", {.use = USE_LABEL}},
        {"lost|bad|failed", {.use = USE_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
        {"contaminated|contam", {.use = USE_FATE, .yes = FATE_CONTAMINATED, .no = FATE_SOUND}},
        {"ok|good", {.use = USE_FATE, .yes = FATE_SOUND, .no = FATE_UNTOLD}},
        {"clean", {.use = USE_FATE, .yes = FATE_SOUND, .no = FATE_CONTAMINATED}},
        {"fate|outcome|result|status", {.use = USE_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
        {"begun|started|inoculated|made|date|at", {.use = USE_ENTERED}},
        {"ended|lost on|used on|discarded on", {.use = USE_ENDED}},
        {"control|uninoculated", {.use = USE_CONTROL}},
        {"cook", {.kind = FACTOR_COOK}},
        {"starter|culture", {.kind = FACTOR_STARTER}},
        {"session|sitting", {.kind = FACTOR_SESSION}},
        {"place|shelf", {.kind = FACTOR_PLACE}},
        {"lot|grain lot|sack", {.kind = FACTOR_LOT}},
        {"batch|mix", {.kind = FACTOR_BATCH}},
        {"position", {.kind = FACTOR_POSITION}},
        {"kind|vessel kind", {.kind = FACTOR_VESSEL}},
        {"lid|lids|closure", {.kind = FACTOR_LID}},
        {"bag lot|bags|jar lot", {.kind = FACTOR_BAG}},
        {"spot|spot on the shelf|shelf spot", {.kind = FACTOR_SPOT}},
        {"sequence|order|order of inoculation", {.kind = FACTOR_SEQUENCE}},
        {"grams|weight|grain weight|grams of grain", {.kind = FACTOR_GRAMS}},
        {"note|notes", {.use = USE_NOTHING}},
    };
    char plain[64];
    snprintf(plain, sizeof plain, "%s", name);
    for (char *at = plain; *at != '\0'; at++)
        if (*at == '_' || *at == '-')
            *at = ' ';
    for (size_t i = 0; i < sizeof roles / sizeof *roles; i++)
        if (csv_named(roles[i].names, plain, strlen(plain)) >= 0)
            return roles[i].role;
    return (struct role){.use = USE_FACTOR, .kind = FACTOR_OTHER};
}

static bool is_yes(const char *word, size_t length)
{
    return csv_named("yes|y|true|1|x", word, length) >= 0;
}

/* FATE_COUNT when the word says nothing about a fate. */
static uint8_t fate_of(const struct role *role, const char *word, size_t length)
{
    static const struct {
        const char *words;
        enum fate fate;
    } known[] = {
        {"lost|bad|failed|discarded|dead|untold", FATE_UNTOLD},
        {"contaminated|contam", FATE_CONTAMINATED},
        {"stuck|stalled", FATE_STUCK},
        {"ok|okay|fine|good|clean|sound|used|healthy", FATE_SOUND},
        {"open|growing|isolated|waiting", FATE_OPEN},
    };
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (csv_named(known[i].words, word, length) >= 0)
            return (uint8_t)known[i].fate;
    if (is_yes(word, length))
        return role->yes;
    return csv_named("no|n|false|0", word, length) >= 0 ? role->no : FATE_COUNT;
}

/* An ISO 8601 date, whatever time of day stands behind it. */
static int32_t day_of(const char *word, size_t length)
{
    int64_t day;
    const char *end = day_read(word, &day);
    return end != NULL && (end == word + length || *end == 'T' || *end == ' ') ? (int32_t)day
                                                                               : DAY_NONE;
}

/* ---- rows ------------------------------------------------------------------------------------ */

static enum status read_header(struct table *table, const struct csv_row *row)
{
    struct text names;
    if (row->count > MOST_COLUMNS) {
        diags_error(table->diags, csv_at(row, MOST_COLUMNS),
                    "more than %d columns; leave out what the vessels do not share", MOST_COLUMNS);
        return STATUS_DATA;
    }
    text_init(&names);
    for (size_t c = 0; c < row->count; c++) {
        struct column_read *column = &table->columns[c];
        size_t length;
        const char *name = trimmed(&row->fields[c], &length);
        column->name = safe_copy(table->arena, name, length, 60);
        column->role = role_of(column->name);
        if (column->role.use == USE_FATE && table->fate_column == MOST_COLUMNS)
            table->fate_column = c;
        else if (column->role.use == USE_FATE)
            column->role.use = USE_NOTHING; /* the first one counts */
        if (column->role.use == USE_FACTOR && column->name[0] == '\0')
            column->role.use = USE_NOTHING;
        if (column->role.use == USE_FACTOR)
            column->column = intake_column(table->intake, column->role.kind,
                                           column->role.kind == FACTOR_OTHER ? column->name : NULL);
        if (names.length < 200)
            text_printf(&names, "%s%s", c > 0 ? ", " : "", column->name);
    }
    table->column_count = row->count;
    if (table->fate_column == MOST_COLUMNS)
        diags_error(table->diags, (struct position){row->file, 1, 1},
                    "no column says what became of each vessel; name one 'lost' (yes, no) or "
                    "'fate' (lost, ok). Found: %s",
                    names.bytes);
    text_release(&names);
    return table->fate_column != MOST_COLUMNS ? STATUS_OK : STATUS_DATA;
}

static void note_strange(struct table *table, struct strange *strange, const char *word,
                         size_t length)
{
    if (length > 0 && strange->count++ == 0)
        strange->first = safe_copy(table->arena, word, length, 30);
}

/* "incubator; 2026-03-11 shelf": one place after the other, each with the day it was moved there. A move
 * without a day, or of a vessel that began on no known day, is as if it had always stood there. */
static void take_places(struct table *table, size_t column, const char *text, int32_t entered)
{
    for (const char *at = text; *at != '\0';) {
        const char *end = at + strcspn(at, ";"), *name = at + strspn(at, " \t");
        int64_t day;
        const char *after = day_read(name, &day);
        bool dated = after != NULL && after < end && *after == ' ';
        name = dated ? after + strspn(after, " \t") : name;
        size_t length = name < end ? (size_t)(end - name) : 0;
        while (length > 0 && strchr(" \t\r\n", name[length - 1]) != NULL)
            length--;
        bool later = at > text && dated && entered != DAY_NONE && day > entered;
        if (length > 0)
            intake_stay(table->intake, column, name, length, later ? (int32_t)day - entered : 0);
        at = *end == ';' ? end + 1 : end;
    }
}

static void read_day(struct table *table, const char *word, size_t length, int32_t *day)
{
    *day = day_of(word, length);
    if (*day == DAY_NONE)
        note_strange(table, &table->days, word, length);
}

/* What is not a factor. */
static void read_cell(struct table *table, const struct column_read *column, const char *word,
                      size_t length, struct intake_vessel *vessel)
{
    switch (column->role.use) {
    case USE_LABEL:
        vessel->label = arena_copy(table->arena, word, length);
        break;
    case USE_FATE:
        vessel->fate = fate_of(&column->role, word, length);
        if (vessel->fate == FATE_COUNT)
            note_strange(table, &table->fates, word, length);
        break;
    case USE_ENTERED:
        read_day(table, word, length, &vessel->entered);
        break;
    case USE_ENDED:
        read_day(table, word, length, &vessel->ended);
        break;
    case USE_CONTROL:
        vessel->control = is_yes(word, length);
        break;
    case USE_FACTOR:
    case USE_NOTHING:
        break;
    }
}

static enum status take_row(void *context, const struct csv_row *fields)
{
    struct table *table = context;
    struct intake_vessel vessel = {
        .label = "", .fate = FATE_COUNT, .entered = DAY_NONE, .ended = DAY_NONE};
    if (table->column_count == 0)
        return read_header(table, fields);
    if (fields->count > table->column_count) {
        diags_error(table->diags, csv_at(fields, table->column_count),
                    "more fields than the %zu columns of the first line; is a comma missing its "
                    "quotes?",
                    table->column_count);
        return STATUS_DATA;
    }
    for (size_t c = 0; c < fields->count; c++) {
        size_t length;
        const char *word = trimmed(&fields->fields[c], &length);
        read_cell(table, &table->columns[c], word, length, &vessel);
    }
    table->short_rows += fields->count < table->column_count;
    if (table->since != DAY_NONE && (vessel.entered == DAY_NONE || vessel.entered < table->since))
        return STATUS_OK;
    table->count = intake_vessel(table->intake, &vessel) + 1;
    for (size_t c = 0; c < fields->count; c++) {
        const struct column_read *column = &table->columns[c];
        size_t length;
        const char *word = trimmed(&fields->fields[c], &length);
        if (column->role.use == USE_FACTOR && column->role.kind == FACTOR_PLACE)
            take_places(table, column->column, word, vessel.entered);
        else if (column->role.use == USE_FACTOR)
            intake_word(table->intake, column->column, word, length);
    }
    return STATUS_OK;
}

/* ---- what was read --------------------------------------------------------------------------- */

static void remark_strange(const struct table *table)
{
    if (table->fates.count > 0)
        intake_say(table->intake,
                   "In %zu %s column '%s' says neither lost nor ok (the first: '%s'): left out.",
                   table->fates.count, table->fates.count == 1 ? "row" : "rows",
                   table->columns[table->fate_column].name, table->fates.first);
    if (table->days.count > 0)
        intake_say(table->intake, "%zu %s no day (the first: '%s'); write 2026-03-01.",
                   table->days.count, table->days.count == 1 ? "date is" : "dates are",
                   table->days.first);
    if (table->short_rows > 0)
        intake_say(table->intake,
                   "%zu %s fewer fields than the first line: what is missing counts as not known.",
                   table->short_rows, table->short_rows == 1 ? "row has" : "rows have");
}

enum status dataset_from_table(const char *file, FILE *stream, int32_t since, int32_t today,
                               struct arena *arena, struct dataset *dataset, struct diags *diags)
{
    struct table *table = arena_alloc(arena, sizeof *table);
    *table = (struct table){.since = since,
                            .arena = arena,
                            .diags = diags,
                            .intake = intake_new(today, arena),
                            .fate_column = MOST_COLUMNS};
    const struct csv_table csv = {.file = file, .longest = 4096, .context = table, .row = take_row};
    *dataset = (struct dataset){.today = today};
    enum status status = csv_read(&csv, stream, NULL, diags);
    if (status != STATUS_OK)
        return status;
    if (table->column_count == 0) {
        diags_error(diags, (struct position){file, 0, 0},
                    "this is empty; a table begins with a line that names its columns");
        return STATUS_DATA;
    }
    /* Not one row was understood: then it is not a matter of a few. */
    if (table->count > 0 && table->fates.count >= table->count) {
        diags_error(diags, (struct position){file, 2, 0},
                    "column '%s' says neither lost nor ok in any row (the first: '%s'); write lost "
                    "or ok, yes or no",
                    table->columns[table->fate_column].name, table->fates.first);
        return STATUS_DATA;
    }
    intake_leave_out_names(table->intake);
    remark_strange(table);
    *dataset = intake_finish(table->intake);
    return STATUS_OK;
}
