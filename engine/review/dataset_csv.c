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
    struct interner *words; /* of a factor */
    uint32_t *level;        /* of each vessel */
};

struct row_read { /* what is not a factor */
    const char *label;
    uint8_t fate;
    bool control;
    int32_t entered, ended;
    size_t first_stay; /* in table.stays */
};

struct strange { /* values that say nothing */
    size_t count;
    const char *first;
};

struct table {
    int32_t since;
    struct arena *arena;
    struct diags *diags;
    struct column_read columns[MOST_COLUMNS + 1]; /* the last is none */
    size_t column_count;                          /* 0 until the first row was read */
    struct row_read *rows;
    size_t count;
    size_t fate_column;  /* the first that says what became of it; MOST_COLUMNS */
    size_t place_column; /* the first that says where it stood; MOST_COLUMNS */
    struct strange fates, days;
    size_t short_rows;
    struct stay *stays; /* of all rows; `from` is still a day, DAY_NONE where none was written */
    size_t stay_count;
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
        if (column->role.use == USE_FACTOR)
            column->words = interner_new(table->arena);
        if (column->role.kind == FACTOR_PLACE && column->role.use == USE_FACTOR &&
            table->place_column == MOST_COLUMNS)
            table->place_column = c;
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

/* "incubator; 2026-03-11 shelf": one place after the other, each with the day it was moved there. */
static uint32_t read_places(struct table *table, struct interner *words, const char *text)
{
    uint32_t level = LEVEL_NONE;
    for (const char *at = text; *at != '\0';) {
        size_t piece = strcspn(at, ";");
        const char *end = at + piece, *name = at + strspn(at, " \t");
        int64_t day;
        const char *after = day_read(name, &day);
        bool dated = after != NULL && after < end && *after == ' ';
        name = dated ? after + strspn(after, " \t") : name;
        size_t length = name < end ? (size_t)(end - name) : 0;
        while (length > 0 && strchr(" \t\r\n", name[length - 1]) != NULL)
            length--;
        if (length > 0) {
            level = interner_put(words, name, length);
            *arena_push(table->arena, table->stays, table->stay_count) =
                (struct stay){level, dated ? (int32_t)day : DAY_NONE};
        }
        at = *end == ';' ? end + 1 : end;
    }
    return level;
}

static void read_cell(struct table *table, const struct column_read *column,
                      const struct csv_field *field, struct row_read *row, uint32_t *level)
{
    size_t length;
    const char *word = trimmed(field, &length);
    int32_t *day = column->role.use == USE_ENTERED ? &row->entered : &row->ended;
    switch (column->role.use) {
    case USE_LABEL:
        row->label = arena_copy(table->arena, word, length);
        break;
    case USE_FATE:
        row->fate = fate_of(&column->role, word, length);
        if (row->fate == FATE_COUNT)
            note_strange(table, &table->fates, word, length);
        break;
    case USE_ENTERED:
    case USE_ENDED:
        *day = day_of(word, length);
        if (*day == DAY_NONE)
            note_strange(table, &table->days, word, length);
        break;
    case USE_CONTROL:
        row->control = is_yes(word, length);
        break;
    case USE_FACTOR:
        *level = column == &table->columns[table->place_column]
                     ? read_places(table, column->words, word)
                     : interner_put(column->words, word, length);
        break;
    case USE_NOTHING:
        break;
    }
}

static enum status take_row(void *context, const struct csv_row *fields)
{
    struct table *table = context;
    struct row_read row = {.label = "", .fate = FATE_COUNT, .entered = DAY_NONE, .ended = DAY_NONE};
    uint32_t levels[MOST_COLUMNS];
    if (table->column_count == 0)
        return read_header(table, fields);
    row.first_stay = table->stay_count;
    if (fields->count > table->column_count) {
        diags_error(table->diags, csv_at(fields, table->column_count),
                    "more fields than the %zu columns of the first line; is a comma missing its "
                    "quotes?",
                    table->column_count);
        return STATUS_DATA;
    }
    for (size_t c = 0; c < table->column_count; c++) {
        levels[c] = LEVEL_NONE;
        if (c < fields->count)
            read_cell(table, &table->columns[c], &fields->fields[c], &row, &levels[c]);
    }
    table->short_rows += fields->count < table->column_count;
    if (table->since != DAY_NONE && (row.entered == DAY_NONE || row.entered < table->since)) {
        table->stay_count = row.first_stay;
        return STATUS_OK;
    }
    for (size_t c = 0; c < table->column_count; c++) {
        struct column_read *column = &table->columns[c];
        if (column->words == NULL)
            continue;
        column->level = arena_more(table->arena, column->level, table->count, sizeof(uint32_t));
        column->level[table->count] = levels[c];
    }
    *arena_push(table->arena, table->rows, table->count) = row;
    return STATUS_OK;
}

/* ---- what was read --------------------------------------------------------------------------- */

static void fill_vessels(const struct table *table, struct dataset *dataset)
{
    dataset_make_room(dataset, table->count, table->arena);
    for (size_t i = 0; i < table->count; i++) {
        const struct row_read *row = &table->rows[i];
        dataset->labels[i] = row->label;
        dataset->fate[i] = row->fate;
        dataset->control[i] = row->control;
        dataset->entered[i] = row->entered;
        dataset->ended[i] = row->ended;
    }
}

/* A column of numbers; what is none is not known. */
static void fill_thirds(struct table *table, const struct column_read *column,
                        struct factor *factors, size_t *count)
{
    const char *const *words = interner_words(column->words);
    double *numbers = arena_array(table->arena, table->count, sizeof *numbers);
    for (size_t i = 0; i < table->count; i++) {
        char *end = NULL;
        const char *word = column->level[i] != LEVEL_NONE ? words[column->level[i]] : "";
        numbers[i] = strtod(word, &end);
        if (end == word || !isfinite(numbers[i]))
            numbers[i] = NAN;
    }
    factor_add_thirds(
        factors, count,
        (struct factor){.kind = column->role.kind, .name = factor_kinds[column->role.kind].name},
        numbers, table->count, table->arena);
}

/* The places of each vessel by its age; false when none was moved. A move without a day, or of a vessel
 * that began on no known day, is as if it had always stood in the later place. */
static bool fill_stays(const struct table *table, struct factor *factor)
{
    struct stay *stays = arena_array(table->arena, table->count + table->stay_count, sizeof *stays);
    uint32_t *first = arena_array(table->arena, table->count + 1, sizeof *first), count = 0;
    bool moved = false;
    for (size_t i = 0; i < table->count; i++) {
        const struct row_read *row = &table->rows[i];
        size_t end = i + 1 < table->count ? table->rows[i + 1].first_stay : table->stay_count;
        stays[count++] = (struct stay){LEVEL_NONE, 0};
        for (size_t s = row->first_stay; s < end; s++) {
            int32_t day = table->stays[s].from;
            bool later = s > row->first_stay && day != DAY_NONE && row->entered != DAY_NONE &&
                         day - row->entered > stays[count - 1].from;
            if (later)
                count++;
            stays[count - 1] = (struct stay){table->stays[s].level,
                                             later ? day - row->entered : stays[count - 1].from};
            moved = moved || later;
        }
        first[i + 1] = count;
    }
    factor->stays = stays;
    factor->first_stay = first;
    return moved;
}

/* A column tells nothing when nearly every vessel has its own value. */
static void fill_factors(struct table *table, struct dataset *dataset)
{
    enum { FEW = 8 };
    struct factor *factors = arena_array(table->arena, table->column_count, sizeof *factors);
    for (size_t c = 0; c < table->column_count; c++) {
        const struct column_read *column = &table->columns[c];
        if (column->words == NULL || column->name[0] == '\0')
            continue;
        size_t values = interner_count(column->words);
        if (column->role.kind == FACTOR_SEQUENCE || column->role.kind == FACTOR_GRAMS) {
            fill_thirds(table, column, factors, &dataset->factor_count);
            continue;
        }
        if (values > FEW && values > table->count / 2) {
            dataset_say(dataset, table->arena,
                        "Column '%s' is left out: nearly every vessel has a value of its own.",
                        column->name);
            continue;
        }
        enum factor_kind kind = column->role.kind;
        struct factor factor = {.kind = kind,
                                .name =
                                    kind == FACTOR_OTHER ? column->name : factor_kinds[kind].name,
                                .levels = interner_words(column->words),
                                .level_count = values};
        if (c != table->place_column || !fill_stays(table, &factor))
            factor.stays = NULL, factor.first_stay = NULL;
        factor_add(factors, &dataset->factor_count, factor, column->level, table->count,
                   table->arena);
    }
    dataset->factors = factors;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
}

static void remark_strange(const struct table *table, struct dataset *dataset)
{
    if (table->fates.count > 0)
        dataset_say(dataset, table->arena,
                    "In %zu %s column '%s' says neither lost nor ok (the first: '%s'): left out.",
                    table->fates.count, table->fates.count == 1 ? "row" : "rows",
                    table->columns[table->fate_column].name, table->fates.first);
    if (table->days.count > 0)
        dataset_say(dataset, table->arena, "%zu %s no day (the first: '%s'); write 2026-03-01.",
                    table->days.count, table->days.count == 1 ? "date is" : "dates are",
                    table->days.first);
    if (table->short_rows > 0)
        dataset_say(dataset, table->arena,
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
                            .fate_column = MOST_COLUMNS,
                            .place_column = MOST_COLUMNS};
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
    fill_vessels(table, dataset);
    fill_factors(table, dataset);
    remark_strange(table, dataset);
    dataset_remark(dataset, arena);
    return STATUS_OK;
}
