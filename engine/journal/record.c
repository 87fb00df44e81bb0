/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/record.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "journal/journal_internal.h"

/* ==== record ================================================================================== */

const char *const vessel_state_words[] = {"growing", "isolated", "discarded", "used", NULL};
const char *const fate_words[] = {"open", "sound", "stuck", "contaminated", "untold", NULL};
const char *const event_words[] = {"move",    "shake", "isolate",  "return",
                                   "discard", "use",   "withdraw", NULL};

enum { LATEST_DAY = 2932894 }; /* 9999-12-29: the last one written with four digits in any zone */

/* A column of a struct, called as its member is. */
#define COLUMN(type, member, ...)                                                                  \
    {                                                                                              \
        .name = #member, .offset = offsetof(struct type, member), .kind = __VA_ARGS__              \
    }
#define BETWEEN(lowest, highest) .low = (lowest), .high = (highest)

static const struct column starter_columns[] = {
    COLUMN(starter, label, COLUMN_LABEL, .required = true),
    COLUMN(starter, species, COLUMN_TEXT, .list = LIST_SPECIES),
    COLUMN(starter, kind, COLUMN_TEXT, .list = LIST_STARTERS),
    COLUMN(starter, source, COLUMN_TEXT),
    COLUMN(starter, made, COLUMN_MOMENT),
    COLUMN(starter, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column parent_columns[] = {
    COLUMN(parent, starter, COLUMN_REFERENCE, .refers = RECORD_STARTER, .required = true),
    COLUMN(parent, parent, COLUMN_REFERENCE, .refers = RECORD_STARTER, .required = true),
    {.name = NULL},
};

static const struct column lot_columns[] = {
    COLUMN(lot, label, COLUMN_LABEL, .required = true),
    COLUMN(lot, grain, COLUMN_TEXT, .list = LIST_GRAINS),
    COLUMN(lot, source, COLUMN_TEXT),
    COLUMN(lot, bought, COLUMN_MOMENT),
    COLUMN(lot, moisture, COLUMN_REAL, .dimension = DIM_PERCENT, BETWEEN(0, 60)),
    COLUMN(lot, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column cook_columns[] = {
    COLUMN(cook, label, COLUMN_LABEL, .required = true),
    COLUMN(cook, cooker, COLUMN_TEXT),
    COLUMN(cook, method, COLUMN_TEXT, .list = LIST_METHODS),
    COLUMN(cook, gauge, COLUMN_REAL, .dimension = DIM_GAUGE_KPA, BETWEEN(0, 1000)),
    COLUMN(cook, minutes, COLUMN_REAL, .dimension = DIM_MINUTES, BETWEEN(0, 6000)),
    COLUMN(cook, altitude, COLUMN_REAL, .dimension = DIM_METRES, BETWEEN(-500, 9000)),
    COLUMN(cook, air, COLUMN_REAL, BETWEEN(0, 1)),
    COLUMN(cook, load, COLUMN_TEXT, .list = LIST_LOADS),
    COLUMN(cook, facts, COLUMN_TEXT, .settings = true),
    COLUMN(cook, at, COLUMN_MOMENT),
    COLUMN(cook, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column session_columns[] = {
    COLUMN(session, label, COLUMN_LABEL, .required = true),
    COLUMN(session, facts, COLUMN_TEXT, .settings = true),
    COLUMN(session, at, COLUMN_MOMENT),
    COLUMN(session, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column place_columns[] = {
    COLUMN(place, label, COLUMN_LABEL, .required = true),
    COLUMN(place, celsius, COLUMN_REAL, .dimension = DIM_CELSIUS, BETWEEN(-30, 80)),
    COLUMN(place, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column batch_columns[] = {
    COLUMN(batch, label, COLUMN_LABEL, .required = true),
    COLUMN(batch, at, COLUMN_MOMENT, .required = true),
    COLUMN(batch, species, COLUMN_TEXT, .list = LIST_SPECIES),
    COLUMN(batch, starter, COLUMN_REFERENCE, .refers = RECORD_STARTER),
    COLUMN(batch, lot, COLUMN_REFERENCE, .refers = RECORD_LOT),
    COLUMN(batch, cook, COLUMN_REFERENCE, .refers = RECORD_COOK),
    COLUMN(batch, session, COLUMN_REFERENCE, .refers = RECORD_SESSION),
    COLUMN(batch, dry, COLUMN_REAL, .dimension = DIM_GRAMS, BETWEEN(0, 1e6)),
    COLUMN(batch, water, COLUMN_REAL, .dimension = DIM_GRAMS, BETWEEN(0, 1e6)),
    COLUMN(batch, dose, COLUMN_REAL, BETWEEN(0, 1e6)),
    COLUMN(batch, unit, COLUMN_TEXT),
    COLUMN(batch, soak, COLUMN_REAL, .dimension = DIM_MINUTES, BETWEEN(0, 1e5)),
    COLUMN(batch, purpose, COLUMN_TEXT, .list = LIST_USES),
    COLUMN(batch, facts, COLUMN_TEXT, .settings = true),
    COLUMN(batch, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column vessel_columns[] = {
    COLUMN(vessel, label, COLUMN_LABEL, .required = true),
    COLUMN(vessel, batch, COLUMN_REFERENCE, .refers = RECORD_BATCH, .required = true),
    COLUMN(vessel, number, COLUMN_INTEGER, .required = true, BETWEEN(1, 1e6)),
    COLUMN(vessel, kind, COLUMN_TEXT, .list = LIST_VESSELS),
    COLUMN(vessel, grams, COLUMN_REAL, .dimension = DIM_GRAMS, BETWEEN(0, 1e6)),
    COLUMN(vessel, place, COLUMN_REFERENCE, .refers = RECORD_PLACE),
    COLUMN(vessel, position, COLUMN_TEXT, .list = LIST_POSITIONS),
    COLUMN(vessel, control, COLUMN_FLAG),
    COLUMN(vessel, note, COLUMN_TEXT),
    COLUMN(vessel, stands, COLUMN_REFERENCE, .refers = RECORD_PLACE, .derived = true),
    COLUMN(vessel, stood, COLUMN_REFERENCE, .refers = RECORD_PLACE, .derived = true),
    COLUMN(vessel, state, COLUMN_WORD, .words = vessel_state_words, .derived = true),
    COLUMN(vessel, fate, COLUMN_WORD, .words = fate_words, .derived = true),
    COLUMN(vessel, ended, COLUMN_MOMENT, .derived = true),
    COLUMN(vessel, last_look, COLUMN_REFERENCE, .refers = RECORD_LOOK, .derived = true),
    COLUMN(vessel, due, COLUMN_INTEGER, .derived = true, BETWEEN(0, LATEST_DAY)),
    COLUMN(vessel, due_for, COLUMN_TEXT, .derived = true),
    {.name = NULL},
};

static const struct column look_columns[] = {
    COLUMN(look, vessel, COLUMN_REFERENCE, .refers = RECORD_VESSEL, .required = true),
    COLUMN(look, at, COLUMN_MOMENT, .required = true),
    COLUMN(look, words, COLUMN_TEXT),
    COLUMN(look, facts, COLUMN_TEXT, .internal = true),
    COLUMN(look, coverage, COLUMN_REAL, BETWEEN(0, 100)),
    COLUMN(look, action, COLUMN_TEXT, .list = LIST_ACTIONS, .required = true),
    COLUMN(look, next_step, COLUMN_TEXT, .list = LIST_NEXT_STEPS),
    COLUMN(look, forced_by, COLUMN_TEXT, .list = LIST_FLOORS, .internal = true),
    COLUMN(look, finding, COLUMN_TEXT, .list = LIST_FINDINGS),
    COLUMN(look, status, COLUMN_TEXT, .list = LIST_STATUSES),
    COLUMN(look, contaminated, COLUMN_REAL, BETWEEN(0, 1)),
    COLUMN(look, posterior, COLUMN_TEXT, .internal = true),
    COLUMN(look, rules, COLUMN_TEXT, .internal = true),
    COLUMN(look, program, COLUMN_TEXT, .internal = true),
    COLUMN(look, corrects, COLUMN_REFERENCE, .refers = RECORD_LOOK),
    COLUMN(look, turn, COLUMN_REFERENCE, .refers = RECORD_LOOK, .derived = true),
    {.name = NULL},
};

static const struct column event_columns[] = {
    COLUMN(event, vessel, COLUMN_REFERENCE, .refers = RECORD_VESSEL, .required = true),
    COLUMN(event, at, COLUMN_MOMENT, .required = true),
    COLUMN(event, kind, COLUMN_WORD, .words = event_words, .required = true),
    COLUMN(event, place, COLUMN_REFERENCE, .refers = RECORD_PLACE),
    COLUMN(event, detail, COLUMN_TEXT),
    COLUMN(event, corrects, COLUMN_REFERENCE, .refers = RECORD_EVENT),
    COLUMN(event, turn, COLUMN_REFERENCE, .refers = RECORD_EVENT, .derived = true),
    {.name = NULL},
};

static const struct column outcome_columns[] = {
    COLUMN(outcome, vessel, COLUMN_REFERENCE, .refers = RECORD_VESSEL, .required = true),
    COLUMN(outcome, at, COLUMN_MOMENT, .required = true),
    COLUMN(outcome, finding, COLUMN_TEXT, .list = LIST_FINDINGS, .required = true),
    COLUMN(outcome, status, COLUMN_TEXT, .list = LIST_STATUSES, .required = true),
    COLUMN(outcome, cause, COLUMN_TEXT, .list = LIST_CAUSES),
    COLUMN(outcome, how, COLUMN_TEXT),
    COLUMN(outcome, corrects, COLUMN_REFERENCE, .refers = RECORD_OUTCOME),
    COLUMN(outcome, turn, COLUMN_REFERENCE, .refers = RECORD_OUTCOME, .derived = true),
    {.name = NULL},
};

static const struct column edit_columns[] = {
    COLUMN(edit, at, COLUMN_MOMENT, .required = true),
    COLUMN(edit, table, COLUMN_TEXT, .required = true),
    COLUMN(edit, label, COLUMN_TEXT, .required = true),
    COLUMN(edit, column, COLUMN_TEXT, .required = true),
    COLUMN(edit, was, COLUMN_TEXT),
    COLUMN(edit, became, COLUMN_TEXT),
    {.name = NULL},
};

const struct record_type record_types[RECORD_COUNT] = {
    [RECORD_STARTER] = {"starter", sizeof(struct starter), false, starter_columns},
    [RECORD_PARENT] = {"parent", sizeof(struct parent), true, parent_columns},
    [RECORD_LOT] = {"lot", sizeof(struct lot), false, lot_columns},
    [RECORD_COOK] = {"cook", sizeof(struct cook), false, cook_columns},
    [RECORD_SESSION] = {"session", sizeof(struct session), false, session_columns},
    [RECORD_PLACE] = {"place", sizeof(struct place), false, place_columns},
    [RECORD_BATCH] = {"batch", sizeof(struct batch), false, batch_columns},
    [RECORD_VESSEL] = {"vessel", sizeof(struct vessel), false, vessel_columns},
    [RECORD_LOOK] = {"look", sizeof(struct look), true, look_columns},
    [RECORD_EVENT] = {"deed", sizeof(struct event), true, event_columns},
    [RECORD_OUTCOME] = {"outcome", sizeof(struct outcome), true, outcome_columns},
    [RECORD_EDIT] = {"edit", sizeof(struct edit), true, edit_columns},
};

/* ---- words of the rules ---------------------------------------------------------------------- */

#define ENTRY(array, number, called)                                                               \
    (index < (number) ? (struct list_word){(array)[index].id, (array)[index].called}               \
                      : (struct list_word){NULL, NULL})

static struct list_word value_word(const struct rules *rules, enum feeds feeds, size_t index)
{
    int feeder = rules->feeder[feeds];
    if (feeder == RULES_NONE)
        return (struct list_word){NULL, NULL};
    const struct observable *observable = &rules->observables[feeder];
    return ENTRY(observable->values, observable->value_count, label);
}

struct list_word list_word(const struct rules *rules, enum word_list list, size_t index)
{
    const struct decision_rules *decision = &rules->decision;
    struct list_word word = {NULL, NULL};
    switch (list) {
    case LIST_SPECIES:
        return ENTRY(rules->species, rules->species_count, name);
    case LIST_GRAINS:
        return ENTRY(rules->grains, rules->grain_count, name);
    case LIST_VESSELS:
        return ENTRY(rules->vessels, rules->vessel_count, name);
    case LIST_STARTERS:
        return ENTRY(rules->starters, rules->starter_count, name);
    case LIST_FINDINGS:
        return ENTRY(rules->findings, rules->finding_count, name);
    case LIST_CAUSES:
        return ENTRY(rules->causes, rules->cause_count, name);
    case LIST_USES:
        return ENTRY(decision->uses, decision->use_count, label);
    case LIST_NEXT_STEPS:
        return ENTRY(decision->next_steps, decision->next_step_count, id);
    case LIST_FLOORS:
        return ENTRY(decision->floors, decision->floor_count, id);
    case LIST_METHODS:
        return value_word(rules, FEEDS_COOK_METHOD, index);
    case LIST_LOADS:
        return value_word(rules, FEEDS_LOAD, index);
    case LIST_POSITIONS:
        return value_word(rules, FEEDS_POSITION, index);
    case LIST_ACTIONS:
        if (index < ACTION_COUNT)
            word.id = word.name = action_name((enum action)index);
        break;
    case LIST_STATUSES:
        if (index < FINDING_STATUS_COUNT)
            word.id = word.name = status_name((enum finding_status)index);
        break;
    case LIST_NONE:
        break;
    }
    return word;
}

/* ---- structs --------------------------------------------------------------------------------- */

size_t record_column(enum record record, const char *name)
{
    const struct column *columns = record_types[record].columns;
    for (size_t i = 0; columns[i].name != NULL; i++)
        if (strcmp(columns[i].name, name) == 0)
            return i;
    return SIZE_MAX;
}

void record_init(enum record record, void *row)
{
    const struct record_type *type = &record_types[record];
    memset(row, 0, type->size);
    for (const struct column *column = type->columns; column->name != NULL; column++) {
        char *member = (char *)row + column->offset;
        switch (column->kind) {
        case COLUMN_LABEL:
        case COLUMN_TEXT:
            *(const char **)(void *)member = "";
            break;
        case COLUMN_REAL:
            *(double *)(void *)member = NAN;
            break;
        case COLUMN_MOMENT:
            *(struct moment *)(void *)member = moment_unknown();
            break;
        case COLUMN_INTEGER:
        case COLUMN_FLAG:
        case COLUMN_REFERENCE:
        case COLUMN_WORD:
            break; /* zero is absent, or the first word */
        }
    }
}

/* ==== rows ==================================================================================== */

/* Between the structs and SQL, by the description in record_types. */

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

/* ==== values ================================================================================== */

/* Columns as text and back, corrections by such text, and labels to come. */

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

static enum status values_refuse(struct journal *journal, const struct column *column,
                                 const char *value, const char *right, struct diags *diags)
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
        right.failed ? STATUS_MEMORY : values_refuse(journal, column, value, right.bytes, diags);
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
                   : values_refuse(journal, column, value, "the number of a record", diags);
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
                   : values_refuse(journal, column, value, "a number such as 12.5", diags);
    case COLUMN_INTEGER:
        *(int64_t *)into = 0;
        return value[0] == '\0' || read_integer(value, into)
                   ? STATUS_OK
                   : values_refuse(journal, column, value, "a whole number", diags);
    case COLUMN_FLAG:
        return read_flag(value, into) ? STATUS_OK
                                      : values_refuse(journal, column, value, "yes or no", diags);
    case COLUMN_MOMENT:
        *(struct moment *)into = moment_unknown();
        return value[0] == '\0' || moment_read(value, moment_unknown(), into)
                   ? STATUS_OK
                   : values_refuse(journal, column, value,
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
    struct arena *arena = arena_new();
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

/* ==== records ================================================================================= */

/* Adding, finding and walking records. */

struct walk {
    struct journal *journal;
    struct diags *diags;
    sqlite3_stmt *statement;
    enum record record;
    enum status status;
};

static bool has_label(enum record record)
{
    return record_types[record].columns[0].kind == COLUMN_LABEL;
}

/* ---- adding ---------------------------------------------------------------------------------- */

static sqlite3_stmt *insert_of(struct journal *journal, enum record record, struct diags *diags)
{
    if (journal->insert[record] != NULL) {
        sqlite3_reset(journal->insert[record]);
        return journal->insert[record];
    }
    struct text sql;
    text_init(&sql);
    text_printf(&sql, "INSERT INTO \"%s\" (", record_types[record].name);
    row_columns(record, &sql);
    text_puts(&sql, ") VALUES (?");
    for (const struct column *column = record_types[record].columns; column->name; column++)
        text_puts(&sql, column->kind == COLUMN_MOMENT ? ", ?, ?" : ", ?");
    text_puts(&sql, ")");
    return journal->insert[record] = journal_prepare_text(journal, &sql, "read", diags);
}

/* A correction must name a row of the same vessel that nobody has corrected yet. */
static enum status check_correction(struct journal *journal, enum record record, int64_t vessel,
                                    int64_t corrects, int64_t *turn, struct diags *diags)
{
    const char *name = record_types[record].name;
    struct text sql;
    text_init(&sql);
    text_printf(&sql,
                "SELECT vessel, coalesce(turn, id), (SELECT id FROM \"%s\" WHERE corrects = ?1)"
                " FROM \"%s\" WHERE id = ?1",
                name, name);
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, corrects);
    enum status status = STATUS_OK;
    struct position at = {.file = journal->path};
    if (sqlite3_step(statement) != SQLITE_ROW) {
        diags_error(diags, at, "there is no %s %lld to correct", name, (long long)corrects);
        status = STATUS_USAGE;
    } else if (sqlite3_column_int64(statement, 0) != vessel) {
        diags_error(diags, at, "%s %lld is of another vessel", name, (long long)corrects);
        status = STATUS_USAGE;
    } else if (sqlite3_column_type(statement, 2) != SQLITE_NULL) {
        diags_error(diags, at, "%s %lld was corrected already, by %s %lld; correct that one", name,
                    (long long)corrects, name, (long long)sqlite3_column_int64(statement, 2));
        status = STATUS_USAGE;
    } else {
        *turn = sqlite3_column_int64(statement, 1);
    }
    sqlite3_finalize(statement);
    return status;
}

struct chained { /* where a look, a event and an outcome keep what chains them to others */
    int64_t vessel, corrects, *turn;
};

static bool chain_of(enum record record, void *row, struct chained *chained)
{
    struct look *look = row;
    struct event *event = row;
    struct outcome *outcome = row;
    if (record == RECORD_LOOK)
        *chained = (struct chained){look->vessel, look->corrects, &look->turn};
    else if (record == RECORD_EVENT)
        *chained = (struct chained){event->vessel, event->corrects, &event->turn};
    else if (record == RECORD_OUTCOME)
        *chained = (struct chained){outcome->vessel, outcome->corrects, &outcome->turn};
    else
        return false;
    return true;
}

static enum status insert(struct journal *journal, enum record record, void *row,
                          struct diags *diags)
{
    sqlite3_stmt *statement = insert_of(journal, record, diags);
    if (statement == NULL)
        return STATUS_IO;
    if (!row_bind(statement, record, row) || sqlite3_step(statement) != SQLITE_DONE) {
        enum status status = journal_fault(journal, "write to", diags);
        sqlite3_reset(statement);
        return status;
    }
    *(int64_t *)row = sqlite3_last_insert_rowid(journal->database);
    sqlite3_reset(statement);
    sqlite3_clear_bindings(statement); /* what was bound belongs to the caller */
    return STATUS_OK;
}

static enum status add(struct journal *journal, enum record record, void *row, struct diags *diags)
{
    struct chained chained = {0};
    bool chains = chain_of(record, row, &chained);
    enum status status = row_check(journal, record, row, diags);
    if (chains)
        *chained.turn = 0;
    if (status == STATUS_OK && chains && chained.corrects != 0)
        status = check_correction(journal, record, chained.vessel, chained.corrects, chained.turn,
                                  diags);
    if (record == RECORD_VESSEL) {
        struct vessel *vessel = row;
        vessel->stands = vessel->stood = vessel->place;
        vessel->state = VESSEL_GROWING;
        vessel->fate = FATE_OPEN;
        vessel->ended = moment_unknown();
        vessel->last_look = 0;
    }
    if (status == STATUS_OK)
        status = insert(journal, record, row, diags);
    if (status == STATUS_OK && chains)
        status = journal_refresh(journal, chained.vessel, diags);
    return status;
}

enum status journal_add(struct journal *journal, enum record record, void *row, struct diags *diags)
{
    enum status status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = add(journal, record, row, diags);
    if (status == STATUS_OK)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}

/* ---- finding --------------------------------------------------------------------------------- */

static sqlite3_stmt *select_by(struct journal *journal, sqlite3_stmt **kept, enum record record,
                               const char *column, struct diags *diags)
{
    if (*kept != NULL) {
        sqlite3_reset(*kept);
        return *kept;
    }
    struct text sql;
    text_init(&sql);
    text_puts(&sql, "SELECT ");
    row_columns(record, &sql);
    text_printf(&sql, " FROM \"%s\" WHERE \"%s\" = ?", record_types[record].name, column);
    return *kept = journal_prepare_text(journal, &sql, "read", diags);
}

/* Takes the one row of a bound statement; `found` false when there is none. */
static enum status take(struct journal *journal, sqlite3_stmt *statement, enum record record,
                        struct arena *arena, void *row, bool *found, struct diags *diags)
{
    int code = sqlite3_step(statement);
    enum status status = STATUS_OK;
    *found = code == SQLITE_ROW;
    if (code == SQLITE_ROW)
        status = row_read(statement, 0, record, arena, row);
    else if (code != SQLITE_DONE)
        status = journal_fault(journal, "read", diags);
    if (status == STATUS_DATA && *found)
        diags_error(diags, (struct position){.file = journal->path},
                    "a %s of the journal holds a word that is not known; 'jarside journal check' "
                    "says more",
                    record_types[record].name);
    sqlite3_reset(statement);
    return status;
}

enum status journal_get(struct journal *journal, enum record record, int64_t id,
                        struct arena *arena, void *row, struct diags *diags)
{
    bool found = false;
    sqlite3_stmt *statement = select_by(journal, &journal->select[record], record, "id", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, id);
    enum status status = take(journal, statement, record, arena, row, &found, diags);
    if (status != STATUS_OK || found)
        return status;
    diags_error(diags, (struct position){.file = journal->path}, "there is no %s %lld",
                record_types[record].name, (long long)id);
    return STATUS_USAGE;
}

/* The label nearest to a word among the newest ones, or NULL. */
static const char *nearest_label(struct journal *journal, enum record record, const char *label,
                                 struct arena *arena)
{
    enum { LOOKED_AT = 500 };
    const char *names[LOOKED_AT];
    size_t count = 0;
    struct text sql;
    struct diags *silent = diags_new();
    text_init(&sql);
    text_printf(&sql, "SELECT label FROM \"%s\" ORDER BY id DESC LIMIT %d",
                record_types[record].name, LOOKED_AT);
    sqlite3_stmt *statement =
        silent != NULL ? journal_prepare_text(journal, &sql, "read", silent) : NULL;
    while (statement != NULL && count < LOOKED_AT && sqlite3_step(statement) == SQLITE_ROW) {
        const char *name = (const char *)sqlite3_column_text(statement, 0);
        names[count] = name != NULL ? arena_string(arena, name) : NULL;
        count += names[count] != NULL;
    }
    sqlite3_finalize(statement);
    diags_free(silent);
    return diag_nearest(label, names, count);
}

enum status journal_find(struct journal *journal, enum record record, const char *label,
                         struct arena *arena, void *row, struct diags *diags)
{
    bool found = false;
    if (!has_label(record))
        return STATUS_INTERNAL;
    sqlite3_stmt *statement =
        select_by(journal, &journal->by_label[record], record, "label", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_text(statement, 1, label, -1, SQLITE_TRANSIENT);
    enum status status = take(journal, statement, record, arena, row, &found, diags);
    if (status != STATUS_OK || found)
        return status;
    const char *near = nearest_label(journal, record, label, arena);
    const char *name = record_types[record].name;
    if (near != NULL)
        diags_error(diags, (struct position){.file = journal->path},
                    "there is no %s '%s'; did you mean '%s'?", name, label, near);
    else
        diags_error(diags, (struct position){.file = journal->path}, "there is no %s '%s'", name,
                    label);
    return STATUS_USAGE;
}

bool journal_has(struct journal *journal, enum record record, const char *label, int64_t *id)
{
    struct diags *silent = diags_new();
    sqlite3_stmt *statement = has_label(record) && silent != NULL
                                  ? journal_prepare_for(journal, &journal->id_of[record], record,
                                                        "SELECT id FROM", "WHERE label = ?", silent)
                                  : NULL;
    bool found = statement != NULL &&
                 sqlite3_bind_text(statement, 1, label, -1, SQLITE_STATIC) == SQLITE_OK &&
                 sqlite3_step(statement) == SQLITE_ROW;
    if (found)
        *id = sqlite3_column_int64(statement, 0);
    if (statement != NULL) {
        sqlite3_reset(statement);
        sqlite3_clear_bindings(statement); /* the label belongs to the caller */
    }
    diags_free(silent);
    return found;
}

/* ---- walking --------------------------------------------------------------------------------- */

static struct walk *walk_from(struct journal *journal, enum record record, const char *column,
                              int64_t value, bool back, struct diags *diags)
{
    struct walk *walk = calloc(1, sizeof *walk);
    if (walk == NULL)
        return NULL;
    *walk = (struct walk){.journal = journal, .diags = diags, .record = record};
    struct text sql;
    text_init(&sql);
    text_puts(&sql, "SELECT ");
    row_columns(record, &sql);
    text_printf(&sql, " FROM \"%s\"", record_types[record].name);
    if (column != NULL)
        text_printf(&sql, " WHERE \"%s\" = ?", column);
    text_printf(&sql, " ORDER BY id%s", back ? " DESC" : "");
    walk->statement = journal_prepare_text(journal, &sql, "read", diags);
    if (walk->statement == NULL) {
        free(walk);
        return NULL;
    }
    if (column != NULL)
        sqlite3_bind_int64(walk->statement, 1, value);
    return walk;
}

struct walk *journal_walk(struct journal *journal, enum record record, const char *column,
                          int64_t value, struct diags *diags)
{
    return walk_from(journal, record, column, value, false, diags);
}

struct walk *journal_walk_back(struct journal *journal, enum record record, const char *column,
                               int64_t value, struct diags *diags)
{
    return walk_from(journal, record, column, value, true, diags);
}

static bool walk_into(struct walk *walk, struct arena *arena, void *row)
{
    int code = walk->status == STATUS_OK ? sqlite3_step(walk->statement) : SQLITE_DONE;
    if (code == SQLITE_DONE)
        return false;
    if (code != SQLITE_ROW) {
        walk->status = journal_fault(walk->journal, "read", walk->diags);
        return false;
    }
    walk->status = row_read(walk->statement, 0, walk->record, arena, row);
    if (walk->status == STATUS_DATA)
        diags_error(walk->diags, (struct position){.file = walk->journal->path},
                    "%s %lld holds a word that is not known; 'jarside journal check' says more",
                    record_types[walk->record].name, (long long)*(int64_t *)row);
    return walk->status == STATUS_OK;
}

bool walk_next(struct walk *walk, void *row)
{
    return walk_into(walk, NULL, row);
}

enum status walk_end(struct walk *walk)
{
    if (walk == NULL)
        return STATUS_OK;
    enum status status = walk->status;
    sqlite3_finalize(walk->statement);
    free(walk);
    return status;
}

enum status journal_all(struct journal *journal, enum record record, const char *column,
                        int64_t value, struct arena *arena, void **rows, size_t *count,
                        struct diags *diags)
{
    size_t size = record_types[record].size, room = 0;
    struct walk *walk = journal_walk(journal, record, column, value, diags);
    char *all = NULL;
    *rows = NULL;
    *count = 0;
    if (walk == NULL)
        return diags_errors(diags) > 0 ? STATUS_IO : STATUS_MEMORY;
    for (;;) {
        if (*count == room) {
            all = arena_grow(arena, all, room, room == 0 ? 16 : 2 * room, size);
            room = room == 0 ? 16 : 2 * room;
        }
        if (all == NULL || !walk_into(walk, arena, all + *count * size))
            break;
        ++*count;
    }
    enum status status = walk_end(walk);
    *rows = all;
    return status == STATUS_OK && all == NULL ? STATUS_MEMORY : status;
}

size_t journal_count(struct journal *journal, enum record record, const char *column, int64_t value)
{
    struct text sql;
    sqlite3_stmt *statement = NULL;
    size_t count = 0;
    text_init(&sql);
    text_printf(&sql, "SELECT count(*) FROM \"%s\"", record_types[record].name);
    if (column != NULL)
        text_printf(&sql, " WHERE \"%s\" = ?", column);
    if (!sql.failed &&
        sqlite3_prepare_v2(journal->database, sql.bytes, -1, &statement, NULL) == SQLITE_OK &&
        (column == NULL || sqlite3_bind_int64(statement, 1, value) == SQLITE_OK) &&
        sqlite3_step(statement) == SQLITE_ROW)
        count = (size_t)sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    text_release(&sql);
    return count;
}
