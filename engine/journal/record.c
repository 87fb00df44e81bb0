/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/record.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/csv.h"
#include "base/text.h"
#include "journal/sql.h"

const char *const vessel_state_words[] = {"growing", "isolated", "discarded", "used", NULL};
const char *const fate_words[] = {"open", "sound", "stuck", "contaminated", "untold", NULL};
const char *const event_words[] = {"move",    "shake", "isolate",  "return",
                                   "discard", "use",   "withdraw", NULL};

const char *const because_words[] = {"",      "contaminated", "stuck", "broken", "sold",
                                     "given", "used",         "slip",  NULL};

enum { LONGEST_LABEL = 120 };
enum { LATEST_DAY = 2932894 }; /* 9999-12-29: the last one written with four digits in any zone */

/* A column of a struct, called as its member is. */
#define COLUMN(type, member, ...)                                                                  \
    {                                                                                              \
        .name = #member, .offset = offsetof(struct type, member), .kind = __VA_ARGS__              \
    }
#define BETWEEN(lowest, highest) .low = (lowest), .high = (highest)

static const struct column starter_columns[] = {
    COLUMN(starter, label, COLUMN_LABEL, .required = true),
    COLUMN(starter, species, COLUMN_TEXT, .feeds = FEEDS_SPECIES, .list = LIST_SPECIES),
    COLUMN(starter, kind, COLUMN_TEXT, .feeds = FEEDS_STARTER_KIND, .list = LIST_STARTERS),
    COLUMN(starter, source, COLUMN_TEXT),
    COLUMN(starter, made, COLUMN_MOMENT),
    COLUMN(starter, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column parent_columns[] = {
    COLUMN(parent, starter, COLUMN_REFERENCE, .refers = RECORD_STARTER, .required = true),
    COLUMN(parent, parent, COLUMN_REFERENCE, .refers = RECORD_STARTER),
    COLUMN(parent, vessel, COLUMN_REFERENCE, .refers = RECORD_VESSEL),
    {.name = NULL},
};

static const struct column lot_columns[] = {
    COLUMN(lot, label, COLUMN_LABEL, .required = true),
    COLUMN(lot, grain, COLUMN_TEXT, .feeds = FEEDS_GRAIN, .list = LIST_GRAINS),
    COLUMN(lot, source, COLUMN_TEXT),
    COLUMN(lot, bought, COLUMN_MOMENT),
    COLUMN(lot, moisture, COLUMN_REAL, .dimension = DIM_PERCENT, BETWEEN(0, 60)),
    COLUMN(lot, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column cook_columns[] = {
    COLUMN(cook, label, COLUMN_LABEL, .required = true),
    COLUMN(cook, cooker, COLUMN_TEXT),
    COLUMN(cook, method, COLUMN_TEXT, .feeds = FEEDS_COOK_METHOD, .list = LIST_METHODS),
    COLUMN(cook, gauge, COLUMN_REAL, .feeds = FEEDS_COOK_GAUGE, .dimension = DIM_GAUGE_KPA,
           BETWEEN(0, 1000)),
    COLUMN(cook, minutes, COLUMN_REAL, .feeds = FEEDS_COOK_MINUTES, .dimension = DIM_MINUTES,
           BETWEEN(0, 6000)),
    COLUMN(cook, altitude, COLUMN_REAL, .feeds = FEEDS_ALTITUDE, .dimension = DIM_METRES,
           BETWEEN(-500, 9000)),
    COLUMN(cook, air, COLUMN_REAL, .feeds = FEEDS_AIR, BETWEEN(0, 1)),
    COLUMN(cook, load, COLUMN_TEXT, .feeds = FEEDS_LOAD, .list = LIST_LOADS),
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
    COLUMN(place, celsius, COLUMN_REAL, .feeds = FEEDS_TEMPERATURE, .dimension = DIM_CELSIUS,
           BETWEEN(-30, 80), .also = "temperature|temp"),
    COLUMN(place, note, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column batch_columns[] = {
    COLUMN(batch, label, COLUMN_LABEL, .required = true),
    COLUMN(batch, at, COLUMN_MOMENT, .required = true),
    COLUMN(batch, species, COLUMN_TEXT, .feeds = FEEDS_SPECIES, .list = LIST_SPECIES),
    COLUMN(batch, starter, COLUMN_REFERENCE, .refers = RECORD_STARTER),
    COLUMN(batch, lot, COLUMN_REFERENCE, .refers = RECORD_LOT),
    COLUMN(batch, cook, COLUMN_REFERENCE, .refers = RECORD_COOK),
    COLUMN(batch, session, COLUMN_REFERENCE, .refers = RECORD_SESSION),
    COLUMN(batch, dry, COLUMN_REAL, .feeds = FEEDS_DRY_MASS, .dimension = DIM_GRAMS,
           BETWEEN(0, 1e6)),
    COLUMN(batch, water, COLUMN_REAL, .feeds = FEEDS_WATER_MASS, .dimension = DIM_GRAMS,
           BETWEEN(0, 1e6)),
    COLUMN(batch, inoculum, COLUMN_REAL, BETWEEN(0, 1e6), .also = "dose"),
    COLUMN(batch, unit, COLUMN_TEXT),
    COLUMN(batch, soak, COLUMN_REAL, .feeds = FEEDS_SOAK, .dimension = DIM_MINUTES,
           BETWEEN(0, 1e5)),
    COLUMN(batch, purpose, COLUMN_TEXT, .list = LIST_USES),
    COLUMN(batch, facts, COLUMN_TEXT, .settings = true),
    COLUMN(batch, note, COLUMN_TEXT),
    COLUMN(batch, by, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column vessel_columns[] = {
    COLUMN(vessel, label, COLUMN_LABEL, .required = true),
    COLUMN(vessel, batch, COLUMN_REFERENCE, .refers = RECORD_BATCH, .required = true),
    COLUMN(vessel, number, COLUMN_INTEGER, .required = true, BETWEEN(1, 1e6)),
    COLUMN(vessel, kind, COLUMN_TEXT, .feeds = FEEDS_VESSEL, .list = LIST_VESSELS),
    COLUMN(vessel, grams, COLUMN_REAL, .feeds = FEEDS_VESSEL_MASS, .dimension = DIM_GRAMS,
           BETWEEN(0, 1e6)),
    COLUMN(vessel, place, COLUMN_REFERENCE, .refers = RECORD_PLACE),
    COLUMN(vessel, position, COLUMN_TEXT, .feeds = FEEDS_POSITION, .list = LIST_POSITIONS),
    COLUMN(vessel, lid, COLUMN_TEXT),
    COLUMN(vessel, bag, COLUMN_TEXT),
    COLUMN(vessel, spot, COLUMN_TEXT),
    COLUMN(vessel, sequence, COLUMN_REAL, BETWEEN(0, 1e6)),
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
    COLUMN(look, by, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column event_columns[] = {
    COLUMN(event, vessel, COLUMN_REFERENCE, .refers = RECORD_VESSEL, .required = true),
    COLUMN(event, at, COLUMN_MOMENT, .required = true),
    COLUMN(event, kind, COLUMN_WORD, .words = event_words, .required = true),
    COLUMN(event, place, COLUMN_REFERENCE, .refers = RECORD_PLACE),
    COLUMN(event, detail, COLUMN_TEXT),
    COLUMN(event, because, COLUMN_WORD, .words = because_words),
    COLUMN(event, corrects, COLUMN_REFERENCE, .refers = RECORD_EVENT),
    COLUMN(event, turn, COLUMN_REFERENCE, .refers = RECORD_EVENT, .derived = true),
    COLUMN(event, by, COLUMN_TEXT),
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
    COLUMN(outcome, by, COLUMN_TEXT),
    {.name = NULL},
};

static const struct column edit_columns[] = {
    COLUMN(edit, at, COLUMN_MOMENT, .required = true),
    COLUMN(edit, table, COLUMN_TEXT, .required = true),
    COLUMN(edit, label, COLUMN_TEXT, .required = true),
    COLUMN(edit, column, COLUMN_TEXT, .required = true),
    COLUMN(edit, was, COLUMN_TEXT),
    COLUMN(edit, became, COLUMN_TEXT),
    COLUMN(edit, by, COLUMN_TEXT),
    {.name = NULL},
};

const struct record_type record_types[RECORD_COUNT] = {
    [RECORD_STARTER] = {"starter", NULL, sizeof(struct starter), false, starter_columns},
    [RECORD_PARENT] = {"parent", NULL, sizeof(struct parent), true, parent_columns},
    [RECORD_LOT] = {"lot", NULL, sizeof(struct lot), false, lot_columns},
    [RECORD_COOK] = {"cook", NULL, sizeof(struct cook), false, cook_columns},
    [RECORD_SESSION] = {"session", NULL, sizeof(struct session), false, session_columns},
    [RECORD_PLACE] = {"place", NULL, sizeof(struct place), false, place_columns},
    [RECORD_BATCH] = {"batch", NULL, sizeof(struct batch), false, batch_columns},
    [RECORD_VESSEL] = {"vessel", NULL, sizeof(struct vessel), false, vessel_columns},
    [RECORD_LOOK] = {"look", NULL, sizeof(struct look), true, look_columns},
    [RECORD_EVENT] = {"event", "deed", sizeof(struct event), true, event_columns},
    [RECORD_OUTCOME] = {"outcome", NULL, sizeof(struct outcome), true, outcome_columns},
    [RECORD_EDIT] = {"edit", NULL, sizeof(struct edit), true, edit_columns},
};

#define ENTRY(array, number, called)                                                               \
    (index < (number) ? (struct list_word){(array)[index].id, (array)[index].called}               \
                      : (struct list_word){NULL, NULL})

struct list_word list_word(const struct rules *rules, enum word_list list, size_t index)
{
    static const enum feeds fed[] = {[LIST_METHODS] = FEEDS_COOK_METHOD,
                                     [LIST_LOADS] = FEEDS_LOAD,
                                     [LIST_POSITIONS] = FEEDS_POSITION};
    const struct decision_rules *decision = &rules->decision;
    const struct observable *observable = NULL;
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
    case LIST_LOADS:
    case LIST_POSITIONS:
        if (rules->feeder[fed[list]] == RULES_NONE)
            break;
        observable = &rules->observables[rules->feeder[fed[list]]];
        return ENTRY(observable->values, observable->value_count, label);
    case LIST_ACTIONS:
        if (index <= ACTION_COUNT)
            word.id = word.name =
                index < ACTION_COUNT ? action_name((enum action)index) : WITHDRAWN;
        break;
    case LIST_STATUSES:
        if (index <= FINDING_STATUS_COUNT)
            word.id = word.name =
                index < FINDING_STATUS_COUNT ? status_name((enum finding_status)index) : WITHDRAWN;
        break;
    case LIST_NONE:
        break;
    }
    return word;
}

size_t record_column(enum record record, const char *name)
{
    const struct column *columns = record_types[record].columns;
    for (size_t i = 0; columns[i].name != NULL; i++)
        if (strcmp(columns[i].name, name) == 0 ||
            (columns[i].also != NULL && csv_named(columns[i].also, name, strlen(name)) >= 0))
            return i;
    return SIZE_MAX;
}

void record_init(enum record record, void *row)
{
    const struct record_type *type = &record_types[record];
    memset(row, 0, type->size);
    for (const struct column *column = type->columns; column->name != NULL; column++) {
        void *member = (char *)row + column->offset;
        if (column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT)
            *(const char **)member = "";
        else if (column->kind == COLUMN_REAL)
            *(double *)member = NAN;
        else if (column->kind == COLUMN_MOMENT)
            *(struct moment *)member = moment_unknown();
    } /* of the others zero is absent, or the first word */
}

/* ---- rows of SQL ----------------------------------------------------------------------------- */

bool record_has_label(enum record record)
{
    return record_types[record].columns[0].kind == COLUMN_LABEL;
}

/* A number that the column has room for. */
static bool allowed(const struct column *column, double number)
{
    bool bounded = column->low < column->high;
    return isfinite(number) && (!bounded || (number >= column->low && number <= column->high));
}

const char *row_columns(struct journal *journal, enum record record)
{
    struct text *columns = &journal->columns[record], *parameters = &journal->parameters[record];
    if (columns->length > 0)
        return columns->bytes;
    text_puts(columns, "\"id\"");
    text_puts(parameters, "?");
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        text_printf(columns, ", \"%s\"", column->name);
        text_puts(parameters, ", ?");
        if (column->kind != COLUMN_MOMENT)
            continue;
        text_printf(columns, ", \"%s_offset\"", column->name);
        text_puts(parameters, ", ?");
    }
    return columns->bytes;
}

static void bind_integer(sqlite3_stmt *statement, int at, int64_t integer, bool absent)
{
    if (absent)
        sqlite3_bind_null(statement, at);
    else
        sqlite3_bind_int64(statement, at, integer);
}

/* Binds the columns of a row, its id first. */
static void bind_row(sqlite3_stmt *statement, enum record record, const void *row)
{
    int at = 1;
    bind_integer(statement, at++, *(const int64_t *)row, *(const int64_t *)row == 0);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        const void *member = column_member(column, row);
        const struct moment *moment = member;
        const char *text = NULL;
        switch (column->kind) {
        case COLUMN_LABEL:
        case COLUMN_TEXT:
            text = *(const char *const *)member;
            sqlite3_bind_text(statement, at++, text != NULL ? text : "", -1, SQLITE_STATIC);
            break;
        case COLUMN_REAL: /* NAN becomes NULL */
            sqlite3_bind_double(statement, at++, *(const double *)member);
            break;
        case COLUMN_INTEGER:
            sqlite3_bind_int64(statement, at++, *(const int64_t *)member);
            break;
        case COLUMN_FLAG:
            sqlite3_bind_int(statement, at++, *(const bool *)member);
            break;
        case COLUMN_REFERENCE:
            bind_integer(statement, at++, *(const int64_t *)member, *(const int64_t *)member == 0);
            break;
        case COLUMN_WORD:
            text = column->words[*(const int *)member];
            sqlite3_bind_text(statement, at++, text, -1, SQLITE_STATIC);
            break;
        case COLUMN_MOMENT:
            bind_integer(statement, at++, moment->seconds, !moment_known(*moment));
            bind_integer(statement, at++, moment->offset, !moment_known(*moment));
            break;
        }
    }
}

/* As query_begin, with the columns of a row for parameters. */
static struct query row_begin(struct journal *journal, struct diags *diags, const char *sql,
                              enum record record, const void *row)
{
    struct query query = {.journal = journal, .diags = diags};
    query.status = journal_statement(journal, sql, &query.statement, diags);
    if (query.status != STATUS_OK)
        return query;
    bind_row(query.statement, record, row);
    query_step(&query);
    query.unread = query.row;
    return query;
}

static enum status write_row(struct journal *journal, const char *sql, enum record record,
                             const void *row, struct diags *diags)
{
    struct query query = row_begin(journal, diags, sql, record, row);
    return query_end(&query);
}

/* Columns into members; what a column does not allow is not known. False for an unknown word. */
static bool read_row(const struct query *query, enum record record, struct arena *arena, void *row)
{
    sqlite3_stmt *statement = query->statement;
    int at = 0;
    record_init(record, row);
    *(int64_t *)row = sqlite3_column_int64(statement, at++);
    for (const struct column *column = record_types[record].columns; column->name; column++, at++) {
        void *into = (char *)row + column->offset;
        const char *text = NULL;
        double real = 0.0;
        int word = 0;
        switch (column->kind) {
        case COLUMN_LABEL:
        case COLUMN_TEXT:
            text = query_text(query, at);
            *(const char **)into = arena != NULL ? arena_string(arena, text) : text;
            break;
        case COLUMN_REAL:
            real = sqlite3_column_double(statement, at);
            if (sqlite3_column_type(statement, at) != SQLITE_NULL && allowed(column, real))
                *(double *)into = real;
            break;
        case COLUMN_INTEGER:
        case COLUMN_REFERENCE:
            if (allowed(column, (double)sqlite3_column_int64(statement, at)))
                *(int64_t *)into = sqlite3_column_int64(statement, at);
            break;
        case COLUMN_FLAG:
            *(bool *)into = sqlite3_column_int(statement, at) != 0;
            break;
        case COLUMN_WORD:
            text = query_text(query, at);
            while (column->words[word] != NULL && strcmp(column->words[word], text) != 0)
                word++;
            if (column->words[word] == NULL)
                return false;
            *(int *)into = word;
            break;
        case COLUMN_MOMENT:
            *(struct moment *)into = query_moment(query, at++);
            break;
        }
    }
    return true;
}

bool query_row(struct query *query, enum record record, struct arena *arena, void *row)
{
    if (query->status != STATUS_OK || !query_next(query))
        return false;
    if (read_row(query, record, arena, row))
        return true;
    diags_error(query->diags, (struct position){.file = query->journal->path},
                "%s %lld holds a word that is not known; 'jarside journal check' says more",
                record_types[record].name, (long long)*(int64_t *)row);
    query->status = STATUS_DATA;
    return false;
}

enum status query_rows(struct query *query, enum record record, struct arena *arena, void **rows,
                       size_t *count)
{
    size_t size = record_types[record].size;
    union any_record row;
    for (*rows = NULL, *count = 0; query_row(query, record, arena, &row); ++*count) {
        *rows = arena_more(arena, *rows, *count, size);
        memcpy((char *)*rows + *count * size, &row, size);
    }
    return query_end(query);
}

/* ---- checking -------------------------------------------------------------------------------- */

static enum status refuse(const struct journal *journal, enum record record,
                          const struct column *column, const char *why, struct diags *diags)
{
    diags_error(diags, (struct position){.file = journal->path}, "%s of a %s %s", column->name,
                record_types[record].name, why);
    return STATUS_DATA;
}

static enum status check_column(struct journal *journal, enum record record,
                                const struct column *column, const void *row, struct diags *diags)
{
    static const char missing[] = "is missing; give it";
    const void *member = column_member(column, row);
    const char *text = NULL, *why = NULL;
    char beyond[96];
    size_t length = 0, words = 0;
    double number = NAN;
    int64_t found = 0;
    bool absent = false;
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        text = *(const char *const *)member;
        length = text != NULL ? strlen(text) : 0;
        absent = length == 0;
        if (length > JOURNAL_LONGEST_TEXT)
            why = "is longer than a mebibyte; say it shorter";
        else if (length > 0 && utf8_valid_prefix(text, length) != length)
            why = "is not text in UTF-8";
        break;
    case COLUMN_REAL:
        number = *(const double *)member;
        absent = isnan(number);
        break;
    case COLUMN_INTEGER:
        number = (double)*(const int64_t *)member;
        break;
    case COLUMN_REFERENCE: /* foreign keys would refuse it as well, but not say which */
        absent = *(const int64_t *)member == 0;
        if (absent)
            break;
        enum status status = query_number(journal, &found, diags,
                                          journal_sql(journal, "SELECT 1 FROM \"%s\" WHERE id = ?",
                                                      record_types[column->refers].name),
                                          "i", *(const int64_t *)member);
        if (status != STATUS_OK)
            return status;
        why = found == 0 ? "names a record that does not exist" : NULL;
        break;
    case COLUMN_WORD:
        while (column->words[words] != NULL)
            words++;
        why = *(const unsigned *)member >= words ? "is not one of the words allowed here" : NULL;
        break;
    case COLUMN_MOMENT:
        if (!moment_known(*(const struct moment *)member))
            why = column->required ? "is missing; give a date" : NULL;
        else if (((const struct moment *)member)->seconds < EARLIEST_MOMENT)
            why = "lies before 1990; no journal of this kind is as old";
        else if (((const struct moment *)member)->seconds > moment_now().seconds + CLOCKS_DIFFER)
            why = "lies in the future";
        break;
    case COLUMN_FLAG:
        break;
    }
    if (absent && column->required)
        why = missing;
    if (!isnan(number) && !allowed(column, number)) {
        why = beyond;
        if (column->low < column->high)
            snprintf(beyond, sizeof beyond, "is %.6g; it should lie from %g to %g", number,
                     column->low, column->high);
        else
            snprintf(beyond, sizeof beyond, "is %.6g; it should be a number", number);
    }
    return why != NULL ? refuse(journal, record, column, why, diags) : STATUS_OK;
}

/* What came before what (check.c), asked with the row alone in the place of its table; of starters, which
 * come from one another, beside the others. */
static enum status check_order(struct journal *journal, enum record record, const void *row,
                               struct diags *diags)
{
    const char *columns = row_columns(journal, record), *name = record_types[record].name;
    const char *parameters = journal->parameters[record].bytes, *order = NULL;
    bool is_new = *(const int64_t *)row == 0;
    enum status status = STATUS_OK;
    for (size_t i = 0; (order = order_of(i, record, is_new)) != NULL && status == STATUS_OK; i++) {
        const char *sql =
            record == RECORD_STARTER
                ? journal_sql(journal,
                              "WITH \"%s\" (%s) AS (VALUES (%s) UNION ALL"
                              " SELECT %s FROM main.\"%s\" WHERE id IS NOT ?1) %s LIMIT 1",
                              name, columns, parameters, columns, name, order)
                : journal_sql(journal, "WITH \"%s\" (%s) AS (VALUES (%s)) %s LIMIT 1", name,
                              columns, parameters, order);
        struct query query = row_begin(journal, diags, sql, record, row);
        if (query_next(&query)) {
            diags_error(diags, (struct position){.file = journal->path}, "%s",
                        query_text(&query, 1));
            query.status = STATUS_DATA;
        }
        status = query_end(&query);
    }
    return status;
}

enum status row_check(struct journal *journal, enum record record, const void *row,
                      struct diags *diags)
{
    enum status status = STATUS_OK;
    for (const struct column *column = record_types[record].columns;
         column->name && status == STATUS_OK; column++)
        if (!column->derived)
            status = check_column(journal, record, column, row, diags);
    if (status != STATUS_OK)
        return status;
    if (!record_has_label(record))
        return check_order(journal, record, row, diags);
    /* A label names a record on the command line, so it must not read as an option or hold a blank
     * end. */
    /* NOLINTNEXTLINE(clang-analyzer-core.uninitialized.Assign): a record with a label begins with it */
    const char *label = ((const union any_record *)row)->named.label;
    int64_t id = 0;
    size_t length = strlen(label);
    if (utf8_count(label, length) > LONGEST_LABEL)
        return refuse(journal, record, record_types[record].columns,
                      "is longer than 120 letters; say it shorter, and the rest in its note",
                      diags);
    if (label[0] == '-' || label[0] == ' ' || (length > 0 && label[length - 1] == ' ') ||
        strpbrk(label, "\n\r\t"))
        return refuse(journal, record, record_types[record].columns,
                      "must not begin with '-' nor begin or end with a space", diags);
    if (!journal_has(journal, record, label, &id) || id == *(const int64_t *)row)
        return check_order(journal, record, row, diags);
    diags_error(diags, (struct position){.file = journal->path},
                "there is a %s '%s' already; choose another label", record_types[record].name,
                label);
    return STATUS_DATA;
}

/* ---- values as text -------------------------------------------------------------------------- */

/* The label of a record, or its id when its kind has none. */
static enum status show_reference(struct journal *journal, const struct column *column, int64_t id,
                                  struct text *out, struct diags *diags)
{
    if (id == 0)
        return STATUS_OK;
    if (!record_has_label(column->refers)) {
        text_printf(out, "%lld", (long long)id);
        return STATUS_OK;
    }
    const char *sql = journal_sql(journal, "SELECT label FROM \"%s\" WHERE id = ?",
                                  record_types[column->refers].name);
    struct query query = query_begin(journal, diags, sql, "i", id);
    if (query_next(&query))
        text_puts(out, query_text(&query, 0));
    return query_end(&query);
}

enum status journal_show_column(struct journal *journal, const struct column *column,
                                const void *row, struct text *out, struct diags *diags)
{
    const void *from = column_member(column, row);
    char room[MOMENT_ROOM];
    size_t start = out->length;
    double real;
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        text_puts(out, *(const char *const *)from);
        break;
    case COLUMN_REAL:
        /* The fewest digits that read back as the same double. */
        real = *(const double *)from;
        for (int digits = 15; !isnan(real) && digits <= 17; digits++) {
            text_cut(out, start);
            text_printf(out, "%.*g", digits, real);
            if (strtod(out->bytes + start, NULL) == real) /* equal to the bit is what is meant */
                break;
        }
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
    double read = strtod(value, &end);
    if (value[strspn(value, "0123456789+-.eE")] != '\0' || end == value || *end != '\0' ||
        !isfinite(read)) /* the smallest are out of range, yet read */
        return false;
    *real = read;
    return true;
}

enum status journal_read_column(struct journal *journal, const struct column *column,
                                const char *value, struct arena *arena, void *row,
                                struct diags *diags)
{
    void *into = (char *)row + column->offset;
    struct position at = {.file = journal->path};
    struct text words;
    const char *right = NULL; /* what it should have been */
    text_init(&words);
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        *(const char **)into = arena_string(arena, value);
        break;
    case COLUMN_REAL:
        *(double *)into = NAN;
        if (value[0] != '\0' && !read_real(value, into))
            right = "a number such as 12.5";
        break;
    case COLUMN_INTEGER:
        *(int64_t *)into = 0;
        if (value[0] != '\0' && !read_integer(value, into))
            right = "a whole number";
        break;
    case COLUMN_FLAG:
        *(bool *)into = csv_named("yes|true|1|y", value, strlen(value)) >= 0;
        if (!*(bool *)into && value[0] != '\0' &&
            csv_named("no|false|0|n", value, strlen(value)) < 0)
            right = "yes or no";
        break;
    case COLUMN_MOMENT:
        *(struct moment *)into = moment_unknown();
        if (value[0] != '\0' && !moment_read(value, moment_unknown(), into))
            right = "a date such as 2026-03-01 or 2026-03-01T18:30+01:00";
        break;
    case COLUMN_WORD:
        for (int i = 0; column->words[i] != NULL; i++) {
            if (strcmp(column->words[i], value) == 0) {
                *(int *)into = i;
                right = NULL;
                break;
            }
            text_printf(&words, "%s%s", i == 0 ? "one of " : ", ", column->words[i]);
            right = words.bytes;
        }
        break;
    case COLUMN_REFERENCE:
        *(int64_t *)into = 0;
        if (value[0] == '\0')
            break;
        if (!record_has_label(column->refers)) {
            if (!read_integer(value, into))
                right = "the number of a record";
        } else if (!journal_has(journal, column->refers, value, into)) {
            diags_error(diags, at, "%s is '%.60s', but there is no %s of that label", column->name,
                        value, record_types[column->refers].name);
            return STATUS_DATA;
        }
        break;
    }
    if (right != NULL)
        diags_error(diags, at, "%s is '%.60s'; it should be %s", column->name, value, right);
    text_release(&words);
    return right != NULL ? STATUS_DATA : STATUS_OK;
}

/* ---- adding ---------------------------------------------------------------------------------- */

/* The reference of that name in a row, NULL when its kind has none. */
static int64_t *reference_in(enum record record, const char *name, void *row)
{
    size_t index = record_column(record, name);
    return index != SIZE_MAX
               ? (int64_t *)(void *)((char *)row + record_types[record].columns[index].offset)
               : NULL;
}

/* A correction must name a row of the same vessel that nobody has corrected yet. */
static enum status check_correction(struct journal *journal, enum record record, int64_t vessel,
                                    int64_t corrects, int64_t *turn, struct diags *diags)
{
    const char *name = record_types[record].name;
    struct position at = {.file = journal->path};
    const char *sql = journal_sql(journal,
                                  "SELECT vessel, coalesce(turn, id),"
                                  " (SELECT id FROM \"%s\" WHERE corrects = ?1)"
                                  " FROM \"%s\" WHERE id = ?1",
                                  name, name);
    struct query query = query_begin(journal, diags, sql, "i", corrects);
    bool found = query_next(&query);
    int64_t its_vessel = found ? query_integer(&query, 0) : 0;
    int64_t corrected_by = found ? query_integer(&query, 2) : 0;
    *turn = found ? query_integer(&query, 1) : 0;
    enum status status = query_end(&query);
    if (status != STATUS_OK)
        return status;
    if (!found)
        diags_error(diags, at, "there is no %s %lld to correct", name, (long long)corrects);
    else if (its_vessel != vessel)
        diags_error(diags, at, "%s %lld is of another vessel", name, (long long)corrects);
    else if (corrected_by != 0)
        diags_error(diags, at, "%s %lld was corrected already, by %s %lld; correct that one", name,
                    (long long)corrects, name, (long long)corrected_by);
    else
        return STATUS_OK;
    return STATUS_USAGE;
}

static enum status add(struct journal *journal, enum record record, void *row, struct diags *diags)
{
    int64_t *turn = reference_in(record, "turn", row);
    int64_t vessel = turn != NULL ? *reference_in(record, "vessel", row) : 0;
    int64_t corrects = turn != NULL ? *reference_in(record, "corrects", row) : 0;
    enum status status = row_check(journal, record, row, diags);
    if (turn != NULL)
        *turn = 0;
    if (status == STATUS_OK && corrects != 0)
        status = check_correction(journal, record, vessel, corrects, turn, diags);
    if (status != STATUS_OK)
        return status;
    if (record == RECORD_VESSEL) {
        struct vessel *added = row;
        added->stands = added->stood = added->place;
        added->state = VESSEL_GROWING;
        added->fate = FATE_OPEN;
        added->ended = moment_unknown();
        added->last_look = 0;
    }
    size_t by = record_column(record, "by");
    const char **signature =
        by != SIZE_MAX
            ? (const char **)(void *)((char *)row + record_types[record].columns[by].offset)
            : NULL;
    if (signature != NULL && journal->by != NULL && (*signature == NULL || (*signature)[0] == '\0'))
        *signature = journal->by;
    const char *columns = row_columns(journal, record);
    const char *sql =
        journal_sql(journal, "INSERT INTO \"%s\" (%s) VALUES (%s)", record_types[record].name,
                    columns, journal->parameters[record].bytes);
    status = write_row(journal, sql, record, row, diags);
    if (status != STATUS_OK)
        return status;
    *(int64_t *)row = sqlite3_last_insert_rowid(journal->database);
    status = words_note(journal, record, row, diags);
    return status == STATUS_OK && turn != NULL ? journal_refresh(journal, vessel, diags) : status;
}

enum status journal_add(struct journal *journal, enum record record, void *row, struct diags *diags)
{
    enum status status = journal_begin(journal, diags);
    return status == STATUS_OK ? journal_finish(journal, add(journal, record, row, diags), diags)
                               : status;
}

/* ---- correcting ------------------------------------------------------------------------------ */

static enum status correct(struct journal *journal, enum record record, const char *label,
                           const struct column *column, const char *value, struct moment at,
                           struct arena *arena, struct diags *diags)
{
    union any_record row;
    struct text was;
    enum status status = journal_find(journal, record, label, arena, &row, diags);
    if (status != STATUS_OK)
        return status;
    text_init(&was);
    status = journal_show_column(journal, column, &row, &was, diags);
    if (status == STATUS_OK)
        status = journal_read_column(journal, column, value, arena, &row, diags);
    if (status == STATUS_OK)
        status = row_check(journal, record, &row, diags);
    if (status == STATUS_OK) {
        const char *columns = row_columns(journal, record);
        const char *sql =
            journal_sql(journal, "UPDATE \"%s\" SET (%s) = (%s) WHERE id = ?1",
                        record_types[record].name, columns, journal->parameters[record].bytes);
        status = write_row(journal, sql, record, &row, diags);
    }
    if (status == STATUS_OK)
        status = words_note(journal, record, &row, diags);
    struct edit edit = {.at = at,
                        .table = record_types[record].name,
                        .label = label,
                        .column = column->name,
                        .was = was.bytes,
                        .became = value};
    if (status == STATUS_OK)
        status = journal_add(journal, RECORD_EDIT, &edit, diags);
    if (status == STATUS_OK && record == RECORD_VESSEL)
        status = journal_refresh(journal, row.named.id, diags);
    text_release(&was);
    return status;
}

enum status journal_correct(struct journal *journal, enum record record, const char *label,
                            const char *column, const char *value, struct moment at,
                            struct diags *diags)
{
    enum { MOST = 32 };
    const struct record_type *type = &record_types[record];
    const char *names[MOST];
    size_t count = 0, index = record_column(record, column);
    if (type->append_only || index == SIZE_MAX || type->columns[index].derived) {
        for (const struct column *own = type->columns; own->name && count < MOST; own++)
            if (!own->derived)
                names[count++] = own->name;
        const char *near = diag_nearest(column, names, count);
        struct position place = {.file = journal->path};
        if (type->append_only)
            diags_error(diags, place, "a %s is never changed; add one that corrects it",
                        type->name);
        else if (near != NULL)
            diags_error(diags, place, "a %s has no '%s'; did you mean '%s'?", type->name, column,
                        near);
        else
            diags_error(diags, place, "a %s has no '%s' that could be corrected", type->name,
                        column);
        return STATUS_USAGE;
    }
    enum status status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    struct arena *arena = arena_new();
    status = correct(journal, record, label, &type->columns[index], value, at, arena, diags);
    arena_free(arena);
    return journal_finish(journal, status, diags);
}

enum status journal_next_label(struct journal *journal, enum record record, struct arena *arena,
                               const char **label, struct diags *diags)
{
    static const char letters[RECORD_COUNT] = {
        [RECORD_STARTER] = 'S', [RECORD_LOT] = 'G',   [RECORD_COOK] = 'C',
        [RECORD_SESSION] = 'I', [RECORD_PLACE] = 'P', [RECORD_BATCH] = 'B',
    };
    int64_t highest = 0;
    if (letters[record] == '\0')
        return STATUS_INTERNAL;
    const char *lead = arena_format(arena, "%s%s%c", journal->station,
                                    journal->station[0] != '\0' ? "-" : "", letters[record]);
    int length = (int)strlen(lead);
    const char *sql =
        journal_sql(journal,
                    "SELECT max(CAST(substr(label, %d) AS INTEGER)) FROM \"%s\""
                    " WHERE label GLOB '%s[0-9]*' AND substr(label, %d) NOT GLOB '*[^0-9]*'"
                    " AND length(label) < %d",
                    length + 1, record_types[record].name, lead, length + 1, length + 9);
    enum status status = query_number(journal, &highest, diags, sql, "");
    *label = arena_format(arena, "%s%lld", lead, (long long)highest + 1);
    return status;
}

/* ---- finding --------------------------------------------------------------------------------- */

/* A question for whole rows: "SELECT its columns FROM its table" and what follows. */
static const char *select_rows(struct journal *journal, enum record record, const char *tail)
{
    const char *columns = row_columns(journal, record);
    return journal_sql(journal, "SELECT %s FROM \"%s\" %s", columns, record_types[record].name,
                       tail);
}

enum status journal_get(struct journal *journal, enum record record, int64_t id,
                        struct arena *arena, void *row, struct diags *diags)
{
    struct query query =
        query_begin(journal, diags, select_rows(journal, record, "WHERE id = ?"), "i", id);
    bool found = query_row(&query, record, arena, row);
    enum status status = query_end(&query);
    if (status != STATUS_OK || found)
        return status;
    diags_error(diags, (struct position){.file = journal->path}, "there is no %s %lld",
                record_types[record].name, (long long)id);
    return STATUS_USAGE;
}

enum status journal_find(struct journal *journal, enum record record, const char *label,
                         struct arena *arena, void *row, struct diags *diags)
{
    if (!record_has_label(record))
        return STATUS_INTERNAL;
    struct query query =
        query_begin(journal, diags, select_rows(journal, record, "WHERE label = ?"), "t", label);
    bool found = query_row(&query, record, arena, row);
    enum status status = query_end(&query);
    if (status != STATUS_OK || found)
        return status;
    /* The nearest label among the newest ones. */
    enum { MOST = 500 };
    const char *names[MOST];
    size_t count = 0;
    struct diags *unheard = diags_new();
    query = query_begin(journal, unheard,
                        journal_sql(journal, "SELECT label FROM \"%s\" ORDER BY id DESC LIMIT %d",
                                    record_types[record].name, MOST),
                        "");
    while (count < MOST && query_next(&query))
        names[count++] = arena_string(arena, query_text(&query, 0));
    query_end(&query);
    diags_free(unheard);
    const char *near = diag_nearest(label, names, count);
    const char *name = record_types[record].name;
    struct position at = {.file = journal->path};
    if (near != NULL)
        diags_error(diags, at, "there is no %s '%s'; did you mean '%s'?", name, label, near);
    else
        diags_error(diags, at, "there is no %s '%s'", name, label);
    return STATUS_USAGE;
}

bool journal_has(struct journal *journal, enum record record, const char *label, int64_t *id)
{
    struct diags *unheard = diags_new();
    int64_t found = 0;
    if (record_has_label(record))
        query_number(journal, &found, unheard,
                     journal_sql(journal, "SELECT id FROM \"%s\" WHERE label = ?",
                                 record_types[record].name),
                     "t", label);
    diags_free(unheard);
    if (found != 0)
        *id = found;
    return found != 0;
}

/* ---- walking --------------------------------------------------------------------------------- */

struct walk {
    struct query query;
    enum record record;
};

static struct query rows_where(struct journal *journal, enum record record, const char *column,
                               int64_t value, const char *order, struct diags *diags)
{
    char tail[96];
    if (column == NULL)
        return query_begin(journal, diags, select_rows(journal, record, order), "");
    snprintf(tail, sizeof tail, "WHERE \"%s\" = ? %s", column, order);
    return query_begin(journal, diags, select_rows(journal, record, tail), "i", value);
}

struct walk *journal_walk(struct journal *journal, enum record record, const char *column,
                          int64_t value, bool back, struct diags *diags)
{
    struct walk *walk = malloc(sizeof *walk);
    const char *order = back ? "ORDER BY id DESC" : "ORDER BY id";
    *walk = (struct walk){rows_where(journal, record, column, value, order, diags), record};
    return walk;
}

bool walk_next(struct walk *walk, void *row)
{
    return query_row(&walk->query, walk->record, NULL, row);
}

enum status walk_end(struct walk *walk)
{
    if (walk == NULL)
        return STATUS_OK;
    enum status status = query_end(&walk->query);
    free(walk);
    return status;
}

enum status journal_all(struct journal *journal, enum record record, const char *column,
                        int64_t value, struct arena *arena, void **rows, size_t *count,
                        struct diags *diags)
{
    struct query query = rows_where(journal, record, column, value, "ORDER BY id", diags);
    return query_rows(&query, record, arena, rows, count);
}

enum status journal_standing(struct journal *journal, enum record record, int64_t vessel,
                             struct arena *arena, void **rows, size_t *count, struct diags *diags)
{
    char tail[160];
    snprintf(tail, sizeof tail,
             "AS a WHERE vessel = ?%s AND NOT EXISTS"
             " (SELECT 1 FROM \"%s\" WHERE corrects = a.id) ORDER BY id",
             record == RECORD_LOOK      ? " AND action <> '" WITHDRAWN "'"
             : record == RECORD_OUTCOME ? " AND status <> '" WITHDRAWN "'"
                                        : "",
             record_types[record].name);
    struct query query =
        query_begin(journal, diags, select_rows(journal, record, tail), "i", vessel);
    return query_rows(&query, record, arena, rows, count);
}

size_t journal_count(struct journal *journal, enum record record, const char *column, int64_t value)
{
    struct diags *unheard = diags_new();
    int64_t count = 0;
    const char *sql = journal_sql(journal, "SELECT count(*) FROM \"%s\"%s%s%s",
                                  record_types[record].name, column != NULL ? " WHERE \"" : "",
                                  column != NULL ? column : "", column != NULL ? "\" = ?" : "");
    query_number(journal, &count, unheard, sql, column != NULL ? "i" : "", value);
    diags_free(unheard);
    return (size_t)count;
}
