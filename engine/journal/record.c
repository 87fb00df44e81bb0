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

enum { LATEST_DAY = 2932894 }; /* 9999-12-29: the last one written with four digits in any zone */

/* The columns of a struct, called as its members are. A kind is one of enum column_kind, or words. */
#define COLUMN_STATE             COLUMN_WORD, .words = vessel_state_words
#define COLUMN_FATE              COLUMN_WORD, .words = fate_words
#define COLUMN_EVENT             COLUMN_WORD, .words = event_words
#define COLUMN_BECAUSE           COLUMN_WORD, .words = because_words
#define KIND_NAMED(kind)         COLUMN_##kind
#define KIND_OF(kind)            KIND_NAMED(kind)
#define BEHIND_KIND(kind, ...)   __VA_ARGS__
#define BETWEEN(lowest, highest) .low = (lowest), .high = (highest)
#define AS_COLUMN(record, member, ...)                                                             \
    {.name = #member,                                                                              \
     .offset = offsetof(struct record, member),                                                    \
     .kind = KIND_OF(COLUMN_KIND(__VA_ARGS__, )),                                                  \
     BEHIND_KIND(__VA_ARGS__, )},
#define AS_COLUMNS(upper, record, COLUMNS, ...)                                                    \
    static const struct column record##_columns[] = {COLUMNS(AS_COLUMN){.name = NULL}};
RECORDS(AS_COLUMNS)

#define AS_TYPE(upper, record, COLUMNS, appended)                                                  \
    [RECORD_##upper] = {#record, sizeof(struct record), appended, record##_columns},
const struct record_type record_types[RECORD_COUNT] = {RECORDS(AS_TYPE)};

/* Where the rules keep a list: its array, how many, an entry, its id and name. */
#define LISTED(member, counter, type, called)                                                      \
    {                                                                                              \
        offsetof(struct rules, member), offsetof(struct rules, counter), sizeof(struct type),      \
            offsetof(struct type, id), offsetof(struct type, called)                               \
    }

struct list_word list_word(const struct rules *rules, enum word_list list, size_t index)
{
    static const struct {
        size_t list, count, size, id, name;
    } lists[] = {
        [LIST_SPECIES] = LISTED(species, species_count, species, name),
        [LIST_GRAINS] = LISTED(grains, grain_count, grain, name),
        [LIST_VESSELS] = LISTED(vessels, vessel_count, vessel_kind, name),
        [LIST_STARTERS] = LISTED(starters, starter_count, starter_kind, name),
        [LIST_FINDINGS] = LISTED(findings, finding_count, finding, name),
        [LIST_CAUSES] = LISTED(causes, cause_count, cause, name),
        [LIST_USES] = LISTED(decision.uses, decision.use_count, use, label),
        [LIST_NEXT_STEPS] = LISTED(decision.next_steps, decision.next_step_count, next_step, id),
        [LIST_FLOORS] = LISTED(decision.floors, decision.floor_count, floor_rule, id),
    };
    static const enum feeds fed[] = {[LIST_METHODS] = FEEDS_COOK_METHOD,
                                     [LIST_LOADS] = FEEDS_LOAD,
                                     [LIST_POSITIONS] = FEEDS_POSITION};
    const char *base = (const char *)rules, *entry = NULL, *word = NULL;
    if (list == LIST_ACTIONS || list == LIST_STATUSES) {
        size_t count = list == LIST_ACTIONS ? (size_t)ACTION_COUNT : (size_t)FINDING_STATUS_COUNT;
        if (index <= count)
            word = index == count         ? WITHDRAWN
                   : list == LIST_ACTIONS ? action_name((enum action)index)
                                          : status_name((enum finding_status)index);
        return (struct list_word){word, word};
    }
    if (list >= LIST_METHODS) {
        int feeder = rules->feeder[fed[list]];
        const struct observable *observable =
            &rules->observables[feeder != RULES_NONE ? feeder : 0];
        return feeder != RULES_NONE && index < observable->value_count
                   ? (struct list_word){observable->values[index].id,
                                        observable->values[index].label}
                   : (struct list_word){NULL, NULL};
    }
    if (list == LIST_NONE || index >= *(const size_t *)(base + lists[list].count))
        return (struct list_word){NULL, NULL};
    entry = *(const char *const *)(base + lists[list].list) + index * lists[list].size;
    return (struct list_word){*(const char *const *)(entry + lists[list].id),
                              *(const char *const *)(entry + lists[list].name)};
}

const char *list_id(const struct rules *rules, enum word_list list, const char *word)
{
    struct list_word known;
    for (size_t i = 0; (known = list_word(rules, list, i)).id != NULL; i++) {
        const char *latin = list == LIST_SPECIES ? rules->species[i].latin : NULL;
        if (strcasecmp(known.id, word) == 0 || strcasecmp(known.name, word) == 0 ||
            (latin != NULL && strcasecmp(latin, word) == 0))
            return known.id;
    }
    return NULL;
}

const char *inoculum_read(const char *word, double *amount)
{
    static const struct {
        enum dimension dimension;
        double times;
        const char *unit;
    } units[] = {{DIM_LITRES, 1000.0, "ml"}, {DIM_GRAMS, 1.0, "g"}, {DIM_NONE, 1.0, ""}};
    for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
        struct quantity quantity;
        size_t used = 0, length = strlen(word);
        bool bare = units[i].dimension == DIM_NONE;
        if (quantity_read(word, length, units[i].dimension, &quantity, &used) != QUANTITY_OK ||
            used != length || (!quantity.unit_given && !bare))
            continue;
        *amount = units[i].times * 0.5 * (quantity.lo + quantity.hi);
        return units[i].unit;
    }
    return NULL;
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

enum record record_named(const char *name, size_t length)
{
    int record = 0;
    while (record < RECORD_COUNT && (strlen(record_types[record].name) != length ||
                                     strncmp(record_types[record].name, name, length) != 0))
        record++;
    return (enum record)record;
}

bool record_has_label(enum record record)
{
    return record_types[record].columns[0].kind == COLUMN_LABEL;
}

/* ---- rows of SQL ----------------------------------------------------------------------------- */

/* A number that the column has room for. */
static bool allowed(const struct column *column, double number)
{
    bool bounded = column->low < column->high;
    return isfinite(number) && (!bounded || (number >= column->low && number <= column->high));
}

size_t word_number(const char *const *words, const char *word)
{
    size_t number = 0;
    while (words[number] != NULL && strcmp(words[number], word) != 0)
        number++;
    return number;
}

const char *row_columns(struct journal *journal, enum record record)
{
    if (journal->columns[record] != NULL)
        return journal->columns[record];
    TEXT(columns);
    TEXT(parameters);
    text_puts(&columns, "\"id\"");
    text_puts(&parameters, "?");
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        bool moment = column->kind == COLUMN_MOMENT;
        text_printf(&columns, moment ? ", \"%s\", \"%s_offset\"" : ", \"%s\"", column->name,
                    column->name);
        text_puts(&parameters, moment ? ", ?, ?" : ", ?");
    }
    journal->columns[record] = arena_string(journal->arena, columns.bytes);
    journal->parameters[record] = arena_string(journal->arena, parameters.bytes);
    return journal->columns[record];
}

const char *select_rows(struct journal *journal, enum record record, const char *tail)
{
    return journal_sql(journal, "SELECT %s FROM \"%s\" AS a %s", row_columns(journal, record),
                       record_types[record].name, tail);
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
        case COLUMN_WORD:
            text = column->kind == COLUMN_WORD ? column->words[*(const int *)member]
                                               : *(const char *const *)member;
            sqlite3_bind_text(statement, at++, text != NULL ? text : "", -1, SQLITE_STATIC);
            break;
        case COLUMN_REAL: /* NAN becomes NULL */
            sqlite3_bind_double(statement, at++, *(const double *)member);
            break;
        case COLUMN_FLAG:
            sqlite3_bind_int(statement, at++, *(const bool *)member);
            break;
        case COLUMN_INTEGER:
        case COLUMN_DAY:
        case COLUMN_REFERENCE:
            bind_integer(statement, at++, *(const int64_t *)member,
                         column->kind == COLUMN_REFERENCE && *(const int64_t *)member == 0);
            break;
        case COLUMN_MOMENT:
            bind_integer(statement, at++, moment->seconds, !moment_known(*moment));
            bind_integer(statement, at++, moment->offset, !moment_known(*moment));
            break;
        }
    }
}

struct query row_begin(struct journal *journal, const char *sql, enum record record,
                       const void *row)
{
    struct query query = query_prepare(journal, sql);
    if (query.statement != NULL)
        bind_row(query.statement, record, row);
    return query;
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
        case COLUMN_DAY:
        case COLUMN_REFERENCE:
            if (allowed(column, (double)sqlite3_column_int64(statement, at)))
                *(int64_t *)into = sqlite3_column_int64(statement, at);
            break;
        case COLUMN_FLAG:
            *(bool *)into = sqlite3_column_int(statement, at) != 0;
            break;
        case COLUMN_WORD:
            *(int *)into = (int)word_number(column->words, query_text(query, at));
            if (column->words[*(int *)into] == NULL)
                return false;
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
    if (!query_next(query))
        return false;
    if (read_row(query, record, arena, row))
        return true;
    query_end(query);
    journal_refuse(query->journal, STATUS_DATA,
                   "%s %lld holds a word that is not known; 'jarside journal check' says more",
                   record_types[record].name, (long long)*(int64_t *)row);
    return false;
}

void *query_rows(struct query *query, enum record record, struct arena *arena, size_t *count)
{
    size_t size = record_types[record].size;
    char *rows = NULL;
    union any_record row;
    for (*count = 0; query_row(query, record, arena, &row); ++*count) {
        rows = arena_more(arena, rows, *count, size);
        memcpy(rows + *count * size, &row, size);
    }
    return rows;
}

/* ---- what is wrong with a row ---------------------------------------------------------------- */

/* SQL function of a text: what is wrong with it, or NULL. */
void sql_text_wrong(sqlite3_context *context, int count, sqlite3_value **values)
{
    (void)count;
    const char *text = (const char *)sqlite3_value_text(values[0]);
    size_t length = (size_t)sqlite3_value_bytes(values[0]);
    const char *why = text == NULL || length > JOURNAL_LONGEST_TEXT
                          ? "is longer than a mebibyte; say it shorter"
                      : memchr(text, '\0', length) != NULL        ? "holds a NUL byte"
                      : utf8_valid_prefix(text, length) != length ? "is not text in UTF-8"
                                                                  : NULL;
    sqlite3_result_text(context, why, -1, SQLITE_STATIC);
}

/* The same of the seconds and the offset of a moment. */
void sql_moment_wrong(sqlite3_context *context, int count, sqlite3_value **values)
{
    (void)count;
    bool known = sqlite3_value_type(values[0]) != SQLITE_NULL;
    bool placed = sqlite3_value_type(values[1]) != SQLITE_NULL;
    int64_t seconds = sqlite3_value_int64(values[0]), offset = sqlite3_value_int64(values[1]);
    const char *why =
        known != placed || offset < -1439 || offset > 1439 ? "is not a moment that can be read"
        : known && seconds < EARLIEST_MOMENT ? "lies before 1990; no journal of this kind is as old"
        : known && seconds > moment_now().seconds + CLOCKS_DIFFER ? "lies in the future"
                                                                  : NULL;
    sqlite3_result_text(context, why, -1, SQLITE_STATIC);
}

/* Appends what SQL is to say of a value of the column: why it is wrong, or NULL. */
static void put_wrong(struct text *sql, const struct column *column)
{
    const char *name = column->name;
    text_puts(sql, "CASE WHEN 0 THEN NULL");
    if (column->required && column->kind == COLUMN_MOMENT)
        text_printf(sql, " WHEN \"%s\" IS NULL THEN 'is missing; give a date'", name);
    else if (column->required)
        text_printf(sql, " WHEN ifnull(\"%s\", '') = '' THEN 'is missing; give it'", name);
    switch (column->kind) {
    case COLUMN_LABEL: /* on the command line it must not read as an option */
        text_printf(sql,
                    " WHEN length(\"%s\") > 120 THEN 'is longer than 120 letters; say it shorter,"
                    " and the rest in its note' WHEN \"%s\" GLOB '[- ]*' OR \"%s\" GLOB '* '"
                    " OR \"%s\" GLOB '*[\n\r\t]*' THEN 'must not begin with ''-'' nor begin or"
                    " end with a space'",
                    name, name, name, name);
        __attribute__((fallthrough));
    case COLUMN_TEXT:
        text_printf(sql, " ELSE text_wrong(\"%s\")", name);
        break;
    case COLUMN_REAL:
    case COLUMN_INTEGER:
    case COLUMN_DAY:
        text_printf(sql,
                    " WHEN \"%s\" NOT BETWEEN %.17g AND %.17g THEN"
                    " printf('is %%.6g; it should lie from %g to %g', \"%s\")",
                    name, column->low, column->high, column->low, column->high, name);
        break;
    case COLUMN_WORD:
        text_printf(sql, " WHEN \"%s\" NOT IN (", name);
        for (size_t i = 0; column->words[i] != NULL; i++)
            text_printf(sql, "%s'%s'", i > 0 ? ", " : "", column->words[i]);
        text_puts(sql, ") THEN 'is not one of the words allowed here'");
        break;
    case COLUMN_MOMENT:
        text_printf(sql, " ELSE moment_wrong(\"%s\", \"%s_offset\")", name, name);
        break;
    case COLUMN_REFERENCE: /* foreign keys would refuse it as well, but not say which */
        text_printf(sql,
                    " WHEN a.\"%s\" IS NOT NULL AND NOT EXISTS (SELECT 1 FROM main.\"%s\" AS b"
                    " WHERE b.id = a.\"%s\") THEN 'names a %s that is not there'",
                    name, record_types[column->refers].name, name,
                    record_types[column->refers].name);
        break;
    case COLUMN_FLAG:
        break;
    }
    text_puts(sql, " END");
}

/* What is wrong with rows as a whole (queries.sql). Of those that are asked as a row is saved the SQL
 * ends in a condition, its table is called a, and that of `other` b. */
static const struct {
    enum record record, other; /* whose rows break it, and what they are compared with */
    const char *sql;
    bool later; /* it is no reason to refuse a row */
    bool warning;
} faults[] = {
    {RECORD_LOOK, RECORD_BATCH, .sql = sql_early_look},
    {RECORD_OUTCOME, RECORD_BATCH, .sql = sql_early_outcome},
    {RECORD_EVENT, RECORD_BATCH, .sql = sql_early_event},
    {RECORD_COOK, RECORD_BATCH, .sql = sql_late_cook},
    {RECORD_SESSION, RECORD_BATCH, .sql = sql_late_session},
    {RECORD_STARTER, RECORD_BATCH, .sql = sql_late_starter},
    {RECORD_LOT, RECORD_BATCH, .sql = sql_late_lot},
    {RECORD_PARENT, RECORD_STARTER, .sql = sql_late_parent},
    {RECORD_LOOK, .sql = sql_chained_look, .later = true},
    {RECORD_EVENT, .sql = sql_chained_event, .later = true},
    {RECORD_OUTCOME, .sql = sql_chained_outcome, .later = true},
    {RECORD_LOOK, .sql = sql_unread_notes, .later = true},
    {RECORD_VESSEL, .sql = sql_stale, .later = true},
    {RECORD_VESSEL, .sql = sql_due_though_gone, .later = true},
    {RECORD_VESSEL, .sql = sql_called_as_a_batch, .later = true, .warning = true},
};
enum { FAULTS = sizeof faults / sizeof *faults };

/* What came before what, of the row that was written and of what it belongs to. */
static void check_order(struct journal *journal, enum record record, int64_t id)
{
    for (size_t i = 0; i < FAULTS; i++)
        for (int other = 0; other < 2 && !faults[i].later; other++) {
            if ((other > 0 ? faults[i].other : faults[i].record) != record)
                continue;
            const char *sql =
                journal_sql(journal, "%s AND %s LIMIT 1", faults[i].sql,
                            other == 0 ? "a.id = ?"
                            : record == RECORD_STARTER && faults[i].record == RECORD_PARENT
                                ? "? IN (b.id, s.id)"
                                : "b.id = ?");
            struct query query = query_begin(journal, sql, "i", id);
            if (query_next(&query))
                journal_refuse(journal, STATUS_DATA, "%s", query_text(&query, 1));
            query_end(&query);
        }
}

/* Refuses a row that record_types, or the journal as it stands, does not allow. */
static void row_check(struct journal *journal, enum record record, const void *row)
{
    const union any_record *any = row;
    const char *name = record_types[record].name;
    if (journal->wrong[record] == NULL) {
        TEXT(sql);
        text_printf(&sql, "WITH a (%s) AS (VALUES (", row_columns(journal, record));
        text_printf(&sql, "%s)) SELECT coalesce(", journal->parameters[record]);
        for (const struct column *column = record_types[record].columns; column->name; column++)
            if (!column->derived) {
                text_printf(&sql, "'''%s'' of this %s ' || ", column->name, name);
                put_wrong(&sql, column);
                text_puts(&sql, ", ");
            }
        text_puts(&sql, "NULL) FROM a");
        journal->wrong[record] = arena_string(journal->arena, sql.bytes);
    }
    struct query query = row_begin(journal, journal->wrong[record], record, row);
    if (query_next(&query) && query_text(&query, 0)[0] != '\0')
        journal_refuse(journal, STATUS_DATA, "%s", query_text(&query, 0));
    query_end(&query);
    int64_t id = 0;
    /* NOLINTNEXTLINE(clang-analyzer-core.uninitialized.Assign): a record with a label begins with it */
    if (record_has_label(record) && journal_has(journal, record, any->named.label, &id) &&
        id != any->named.id)
        journal_refuse(journal, STATUS_DATA, "there is a %s '%s' already; choose another label",
                       name, any->named.label);
}

enum status label_check(struct journal *journal, enum record record, const char *label,
                        const char *remedy)
{
    enum record other = record == RECORD_VESSEL  ? RECORD_BATCH
                        : record == RECORD_BATCH ? RECORD_VESSEL
                                                 : RECORD_COUNT;
    if (other != RECORD_COUNT &&
        query_number(journal,
                     journal_sql(journal,
                                 "SELECT max(id) FROM \"%s\" WHERE label = ? COLLATE NOCASE",
                                 record_types[other].name),
                     "t", label) != 0)
        journal_refuse(journal, STATUS_DATA,
                       "there is a %s '%.60s' already, and a %s of that name could not be told "
                       "from it; %s",
                       record_types[other].name, label, record_types[record].name,
                       remedy != NULL ? remedy : "choose another label");
    return journal_told(journal);
}

/* ---- values as text -------------------------------------------------------------------------- */

const char *journal_show_column(struct journal *journal, const struct column *column,
                                const void *row, struct arena *arena)
{
    const void *from = column_member(column, row);
    char room[MOMENT_ROOM] = "";
    const char *label = NULL;
    double real = 0.0;
    int64_t number = 0;
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        return arena_string(arena, *(const char *const *)from);
    case COLUMN_REAL:
        /* The fewest digits that read back as the same double. */
        real = *(const double *)from;
        for (int digits = 15; !isnan(real) && digits <= 17; digits++) {
            snprintf(room, sizeof room, "%.*g", digits, real);
            if (strtod(room, NULL) == real) /* equal to the bit is what is meant */
                break;
        }
        break;
    case COLUMN_INTEGER:
        snprintf(room, sizeof room, "%lld", (long long)*(const int64_t *)from);
        break;
    case COLUMN_DAY:
        number = *(const int64_t *)from;
        if (number != 0)
            day_write(number, DAY_ISO, room);
        break;
    case COLUMN_FLAG:
        return *(const bool *)from ? "yes" : "no";
    case COLUMN_MOMENT:
        moment_write(*(const struct moment *)from, room);
        break;
    case COLUMN_WORD:
        return column->words[*(const int *)from];
    case COLUMN_REFERENCE:
        number = *(const int64_t *)from;
        if (number != 0 && record_has_label(column->refers))
            label = query_string(journal, arena,
                                 journal_sql(journal, "SELECT label FROM \"%s\" WHERE id = ?",
                                             record_types[column->refers].name),
                                 "i", number);
        else if (number != 0)
            snprintf(room, sizeof room, "%lld", (long long)number);
        break;
    }
    return label != NULL ? label : arena_string(arena, room);
}

static bool read_integer(const char *value, int64_t *integer)
{
    char *end = NULL;
    errno = 0;
    long long read = strtoll(value, &end, 10);
    if (isspace((unsigned char)value[0]) || *end != '\0' || errno != 0)
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
                                const char *value, struct arena *arena, void *row)
{
    void *into = (char *)row + column->offset;
    bool given = value[0] != '\0', right = true;
    const char *wanted = NULL, *rest = NULL; /* what it should have been; what is after a date */
    size_t number = 0;
    TEXT(words);
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        *(const char **)into = arena_string(arena, value);
        break;
    case COLUMN_REAL:
        *(double *)into = NAN;
        right = !given || read_real(value, into);
        wanted = "a number such as 12.5";
        break;
    case COLUMN_INTEGER:
        *(int64_t *)into = 0;
        right = !given || read_integer(value, into);
        wanted = "a whole number";
        break;
    case COLUMN_DAY:
        *(int64_t *)into = 0;
        rest = given ? day_read(value, into) : value;
        right = rest != NULL && *rest == '\0';
        wanted = "a date such as 2026-03-01";
        break;
    case COLUMN_FLAG:
        *(bool *)into = csv_named("yes|true|1|y", value, strlen(value)) >= 0;
        right = *(bool *)into || !given || csv_named("no|false|0|n", value, strlen(value)) >= 0;
        wanted = "yes or no";
        break;
    case COLUMN_MOMENT:
        *(struct moment *)into = moment_unknown();
        right = !given || moment_read(value, moment_unknown(), into);
        wanted = "a date such as 2026-03-01 or 2026-03-01T18:30+01:00";
        break;
    case COLUMN_WORD:
        for (int i = 0; column->words[i] != NULL; i++)
            text_printf(&words, "%s%s", i == 0 ? "one of " : ", ", column->words[i]);
        wanted = words.bytes;
        number = word_number(column->words, value);
        right = column->words[number] != NULL;
        if (right)
            *(int *)into = (int)number;
        break;
    case COLUMN_REFERENCE:
        *(int64_t *)into = 0;
        wanted = "the number of a record";
        if (given && record_has_label(column->refers))
            right = journal_has(journal, column->refers, value, into);
        else if (given)
            right = read_integer(value, into);
        break;
    }
    if (!right && column->kind == COLUMN_REFERENCE && record_has_label(column->refers))
        journal_refuse(
            journal, STATUS_DATA, "%s is '%.60s', but there is no %s of that label%s", column->name,
            value, record_types[column->refers].name,
            column->refers > RECORD_PLACE ? "" : "; 'jarside record' makes one before it is named");
    else if (!right)
        journal_refuse(journal, STATUS_DATA, "%s is '%.60s'; it should be %s", column->name, value,
                       wanted);
    return journal_told(journal);
}

/* ---- adding ---------------------------------------------------------------------------------- */

/* Writes a row by an SQL with its columns for parameters, checks it beside others, and notes its words. */
static void write_row(struct journal *journal, const char *sql, enum record record, void *row)
{
    int64_t *id = row;
    struct query query = row_begin(journal, sql, record, row);
    (void)query_next(&query);
    if (*id == 0 && journal->status == STATUS_OK)
        *id = sqlite3_last_insert_rowid(journal->database);
    check_order(journal, record, *id);
    wording_note(journal, record, *id);
}

/* The turn that a correction takes: it must name a row of the same vessel that nobody has corrected yet. */
static int64_t turn_of(struct journal *journal, enum record record, int64_t vessel,
                       int64_t corrects)
{
    const char *name = record_types[record].name;
    const char *sql = journal_sql(journal, "WITH of AS (SELECT * FROM \"%s\") %s", name, sql_turn);
    struct query query = query_begin(journal, sql, "iit", corrects, vessel, name);
    bool found = query_next(&query);
    int64_t turn = found ? query_integer(&query, 0) : 0;
    const char *why = found ? query_text(&query, 1) : "";
    if (!found)
        journal_refuse(journal, STATUS_USAGE, "there is no %s %lld to correct", name,
                       (long long)corrects);
    else if (why[0] != '\0')
        journal_refuse(journal, STATUS_USAGE, "%s", why);
    query_end(&query);
    return turn;
}

/* Where a row keeps the column of that name; NULL for none. */
static void *member_named(enum record record, void *row, const char *name)
{
    size_t index = record_column(record, name);
    return index != SIZE_MAX ? (char *)row + record_types[record].columns[index].offset : NULL;
}

enum status journal_add(struct journal *journal, enum record record, void *row)
{
    union any_record *any = row;
    bool turns = record_of_vessel(record);
    const char **by = member_named(record, row, "by");
    journal_work(journal);
    if (by != NULL && journal->by != NULL && (*by == NULL || (*by)[0] == '\0'))
        *by = journal->by;
    row_check(journal, record, row);
    if (turns) {
        int64_t corrects = *(int64_t *)member_named(record, row, "corrects");
        *(int64_t *)member_named(record, row, "turn") =
            corrects != 0 ? turn_of(journal, record, any->dated.vessel, corrects) : 0;
    }
    if (record == RECORD_VESSEL) {
        struct vessel *added = row;
        added->stands = added->stood = added->place;
        added->state = VESSEL_GROWING;
        added->fate = FATE_OPEN;
        added->ended = moment_unknown();
        added->last_look = 0;
    }
    const char *names = row_columns(journal, record);
    write_row(journal,
              journal_sql(journal, "INSERT INTO \"%s\" (%s) VALUES (%s)", record_types[record].name,
                          names, journal->parameters[record]),
              record, row);
    if (turns)
        journal_refresh(journal, any->dated.vessel);
    return journal_finish(journal);
}

/* ---- correcting ------------------------------------------------------------------------------ */

enum status journal_correct(struct journal *journal, enum record record, const char *label,
                            const char *column, const char *value, struct moment at)
{
    enum { MOST = 32 };
    const struct record_type *type = &record_types[record];
    const struct column *columns = type->columns;
    const char *names[MOST];
    size_t count = 0, index = record_column(record, column);
    struct arena *arena SCOPED_ARENA = arena_new();
    union any_record row = {.named = {0, ""}};
    journal_work(journal);
    for (const struct column *own = columns; own->name != NULL && count < MOST; own++)
        if (!own->derived)
            names[count++] = own->name;
    if (type->append_only)
        journal_refuse(journal, STATUS_USAGE, "no %s is ever changed; add one that corrects it",
                       type->name);
    else if (index == SIZE_MAX || columns[index].derived)
        journal_refuse(journal, STATUS_USAGE, "a %s has no '%s'%s", type->name, column,
                       diag_suggest(arena, column, names, count, " that could be corrected"));
    else
        journal_find(journal, record, label, arena, &row);
    if (journal->status == STATUS_OK) {
        const char *was = journal_show_column(journal, &columns[index], &row, arena);
        journal_read_column(journal, &columns[index], value, arena, &row);
        row_check(journal, record, &row);
        if (columns[index].kind == COLUMN_LABEL)
            label_check(journal, record, row.named.label, NULL);
        const char *every = row_columns(journal, record);
        write_row(journal,
                  journal_sql(journal, "UPDATE \"%s\" SET (%s) = (%s) WHERE id = ?1", type->name,
                              every, journal->parameters[record]),
                  record, &row);
        struct edit edit = {.at = at,
                            .table = type->name,
                            .label = label,
                            .column = columns[index].name,
                            .was = was,
                            .became = value};
        journal_add(journal, RECORD_EDIT, &edit);
        if (record == RECORD_VESSEL)
            journal_refresh(journal, row.named.id);
    }
    return journal_finish(journal);
}

enum status journal_next_label(struct journal *journal, enum record record, struct arena *arena,
                               const char **label)
{
    static const char letters[RECORD_COUNT] = {
        [RECORD_STARTER] = 'S', [RECORD_LOT] = 'G',   [RECORD_COOK] = 'C',
        [RECORD_SESSION] = 'I', [RECORD_PLACE] = 'P', [RECORD_BATCH] = 'B',
    };
    if (letters[record] == '\0')
        return STATUS_INTERNAL;
    const char *lead = arena_format(arena, "%s%s%c", journal->station,
                                    journal->station[0] != '\0' ? "-" : "", letters[record]);
    int length = (int)strlen(lead);
    /* No batch is called as a vessel is. */
    const char *labels = record == RECORD_BATCH
                             ? "(SELECT label FROM batch UNION ALL SELECT upper(label) FROM vessel)"
                             : journal_sql(journal, "\"%s\"", record_types[record].name);
    const char *sql =
        journal_sql(journal,
                    "SELECT max(CAST(substr(label, %d) AS INTEGER)) FROM %s"
                    " WHERE label GLOB '%s[0-9]*' AND substr(label, %d) NOT GLOB '*[^0-9]*'"
                    " AND length(label) < %d",
                    length + 1, labels, lead, length + 1, length + 9);
    *label = arena_format(arena, "%s%lld", lead, (long long)query_number(journal, sql, "") + 1);
    return journal_told(journal);
}

/* ---- finding --------------------------------------------------------------------------------- */

enum status journal_get(struct journal *journal, enum record record, int64_t id,
                        struct arena *arena, void *row)
{
    struct query query =
        query_begin(journal, select_rows(journal, record, "WHERE id = ?"), "i", id);
    bool found = query_row(&query, record, arena, row);
    query_end(&query);
    if (!found)
        journal_refuse(journal, STATUS_USAGE, "there is no %s %lld", record_types[record].name,
                       (long long)id);
    return journal_told(journal);
}

enum status journal_find(struct journal *journal, enum record record, const char *label,
                         struct arena *arena, void *row)
{
    enum { MOST = 500 };
    const char *names[MOST], *name = record_types[record].name;
    size_t count = 0;
    if (!record_has_label(record))
        return STATUS_INTERNAL;
    journal_enter(journal);
    const int64_t id = journal_called(journal, record, label);
    if (id != 0) {
        journal_get(journal, record, id, arena, row);
    } else { /* the nearest label among the newest ones */
        struct query query = query_begin(
            journal,
            journal_sql(journal, "SELECT label FROM \"%s\" ORDER BY id DESC LIMIT %d", name, MOST),
            "");
        while (query_next(&query))
            names[count++] = arena_string(arena, query_text(&query, 0));
        journal_refuse(journal, STATUS_USAGE, "there is no %s '%s'%s", name, label,
                       diag_suggest(arena, label, names, count, ""));
    }
    return journal_leave(journal);
}

bool journal_has(struct journal *journal, enum record record, const char *label, int64_t *id)
{
    int64_t found = 0;
    if (record_has_label(record))
        found = query_number(journal,
                             journal_sql(journal, "SELECT id FROM \"%s\" WHERE label = ?",
                                         record_types[record].name),
                             "t", label);
    (void)journal_told(journal); /* what cannot be read is no label that is not there */
    if (found != 0)
        *id = found;
    return found != 0;
}

int64_t journal_called(struct journal *journal, enum record record, const char *label)
{
    static const char place[] = "replace(upper(label), ' ', '') = replace(upper(?1), ' ', '')";
    if (!record_has_label(record))
        return 0;
    const int64_t id =
        query_number(journal,
                     journal_sql(journal,
                                 "SELECT id FROM \"%s\" WHERE label = ?1 OR %s"
                                 " ORDER BY label = ?1 DESC, label = upper(?1) DESC, id LIMIT 1",
                                 record_types[record].name,
                                 record == RECORD_PLACE ? place : "label = upper(?1)"),
                     "t", label);
    (void)journal_told(journal);
    return id;
}

struct page journal_page(struct journal *journal, enum record record, const char *condition,
                         int64_t value, size_t limit, struct arena *arena)
{
    const char *name = record_types[record].name;
    condition = condition != NULL ? condition : "1";
    const char *newest = condition;
    struct page page = {.record = record};
    journal_enter(journal);
    if (limit > 0) /* without, to ask by ids is slower than to read on */
        newest = arena_format(arena,
                              "id IN (SELECT id FROM \"%s\" AS a WHERE %s"
                              " ORDER BY id DESC LIMIT %zu)",
                              name, condition, limit);
    struct query query = query_begin(
        journal, select_rows(journal, record, arena_format(arena, "WHERE %s ORDER BY id", newest)),
        "i", value);
    page.rows = query_rows(&query, record, arena, &page.count);
    page.total = page.count;
    if (limit > 0 && page.count == limit)
        page.total = (size_t)query_number(
            journal,
            journal_sql(journal, "SELECT count(*) FROM \"%s\" AS a WHERE %s", name, condition), "i",
            value);
    (void)journal_leave(journal);
    return page;
}

#define STANDS(table) "vessel = ?1 AND NOT EXISTS (SELECT 1 FROM " table " WHERE corrects = a.id)"
const char *const journal_standing[RECORD_COUNT] = {
    [RECORD_LOOK] = STANDS("look") " AND action <> '" WITHDRAWN "'",
    [RECORD_EVENT] = STANDS("event"),
    [RECORD_OUTCOME] = STANDS("outcome") " AND status <> '" WITHDRAWN "'",
};

size_t journal_count(struct journal *journal, enum record record, const char *column, int64_t value)
{
    const char *sql = journal_sql(journal, "SELECT count(*) FROM \"%s\"%s%s%s",
                                  record_types[record].name, column != NULL ? " WHERE \"" : "",
                                  column != NULL ? column : "", column != NULL ? "\" = ?" : "");
    return (size_t)query_number(journal, sql, column != NULL ? "i" : "", value);
}

/* ==== a whole journal ========================================================================= */

struct check {
    struct journal *journal;
    const struct rules *rules;
    struct arena *arena;
    json_t *faults;
    size_t most, errors, warnings, damaged;
};

/* Tells a fault: of a record, or with RECORD_COUNT of the file itself. */
static void tell(struct check *check, bool warning, enum record record, int64_t id,
                 const char *message)
{
    const char *called = NULL;
    *(warning ? &check->warnings : &check->errors) += 1;
    check->damaged += record == RECORD_COUNT;
    if (json_array_size(check->faults) >= check->most)
        return;
    if (record != RECORD_COUNT && record_has_label(record))
        called = query_string(check->journal, check->arena,
                              journal_sql(check->journal, "SELECT label FROM \"%s\" WHERE id = ?",
                                          record_types[record].name),
                              "i", id);
    TEXT(safe);
    TEXT(label);
    text_safe(&safe, message, strlen(message), &(struct text_safe_options){.limit = 400});
    if (called != NULL)
        text_safe(&label, called, strlen(called), &(struct text_safe_options){.limit = 60});
    json_array_append_new(
        check->faults,
        json_pack("{s:s, s:s, s:I, s:s, s:s}", "kind", warning ? "warning" : "error", "table",
                  record == RECORD_COUNT ? "file" : record_types[record].name, "id", (json_int_t)id,
                  "label", label.bytes, "message", safe.bytes));
}

/* Tells every row of an answer: the id of a record, and what is wrong with it. */
static void tell_rows(struct check *check, bool warning, enum record record, struct query query)
{
    while (query_next(&query))
        tell(check, warning, record, query_integer(&query, 0), query_text(&query, 1));
}

/* Whether the pages are sound; what is too damaged even to be asked is told, and no refusal. */
static bool check_pages(struct check *check)
{
    struct journal *journal = check->journal;
    struct diags *diags = journal->diags;
    journal->diags = diags_new();
    tell_rows(check, false, RECORD_COUNT,
              query_begin(journal,
                          "SELECT 0, printf('the file is damaged: %.300s', integrity_check)"
                          " FROM pragma_integrity_check(100) WHERE integrity_check <> 'ok'",
                          ""));
    bool unread = journal->status == STATUS_DATA;
    if (unread)
        journal->status = STATUS_OK;
    else
        diags_pass(diags, journal->diags);
    if (unread && check->damaged == 0)
        tell(check, false, RECORD_COUNT, 0, "the file is too damaged to be read through");
    diags_free(journal->diags);
    journal->diags = diags;
    return check->damaged == 0 && journal->status == STATUS_OK;
}

/* Values that their columns do not allow: all columns in one pass, for rows may be long. */
static void check_values(struct check *check, enum record record)
{
    TEXT(sql);
    TEXT(any);
    int count = 0;
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (column->derived && column->kind != COLUMN_WORD && column->kind != COLUMN_DAY &&
            column->kind != COLUMN_REFERENCE)
            continue; /* derived anew */
        text_printf(&sql, "%s '''%s'' ' || ", count > 0 ? "," : "SELECT * FROM (SELECT id,",
                    column->name);
        put_wrong(&sql, column);
        text_printf(&sql, " AS why%d", ++count);
        text_printf(&any, "why%d, ", count);
    }
    text_printf(&sql, " FROM \"%s\" AS a) WHERE coalesce(%sNULL) IS NOT NULL ORDER BY id",
                record_types[record].name, any.bytes);
    struct query query = query_begin(check->journal, sql.bytes, "");
    while (query_next(&query))
        for (int i = 1; i <= count; i++)
            if (*query_text(&query, i) != '\0')
                tell(check, false, record, query_integer(&query, 0), query_text(&query, i));
}

/* Words of a list, or signs of settings, that the rules do not know. */
static void check_words(struct check *check, enum record record, const struct column *column)
{
    const struct rules *rules = check->rules;
    json_t *known = json_array();
    struct list_word word;
    for (size_t i = 0; (word = list_word(rules, column->list, i)).id != NULL; i++)
        json_array_append_new(known, json_string(word.id));
    for (size_t i = 0; column->settings && i < rules->observable_count; i++)
        json_array_append_new(known, json_string(rules->observables[i].id));
    char *list SCOPED_FREE = json_dumps(known, 0);
    json_decref(known);
    const char *sql = journal_sql(
        check->journal, "WITH said AS (SELECT id, \"%s\" AS word FROM \"%s\") %s", column->name,
        record_types[record].name, column->settings ? sql_unknown_signs : sql_unknown_words);
    tell_rows(check, true, record, query_begin(check->journal, sql, "tt", column->name, list));
}

enum status check_journal(struct journal *journal, const struct rules *rules, size_t most,
                          json_t **found)
{
    struct check check = {journal, rules, arena_new(), json_array(), most, 0, 0, 0};
    size_t records = 0;
    journal_enter(journal);
    /* One view, however long it takes and whoever writes meanwhile. */
    journal_execute(journal, "SAVEPOINT looked_at");
    bool sound = journal->status == STATUS_OK && check_pages(&check);
    for (int i = 0; i < RECORD_COUNT && sound; i++) {
        records += journal_count(journal, (enum record)i, NULL, 0);
        check_values(&check, (enum record)i);
    }
    for (size_t i = 0; i < FAULTS && sound; i++)
        tell_rows(&check, faults[i].warning, faults[i].record,
                  query_begin(journal, faults[i].sql, ""));
    for (int i = 0; i < RECORD_COUNT && sound && rules != NULL; i++)
        for (const struct column *column = record_types[i].columns; column->name; column++)
            if (column->list != LIST_NONE || column->settings)
                check_words(&check, (enum record)i, column);
    sqlite3_exec(journal->database, "RELEASE looked_at", NULL, NULL, NULL);
    size_t told = check.errors + check.warnings, listed = json_array_size(check.faults);
    *found =
        json_pack("{s:i, s:s, s:I, s:I, s:I, s:o, s:b, s:I}", "schema", 1, "journal", journal->path,
                  "records", (json_int_t)records, "errors", (json_int_t)check.errors, "warnings",
                  (json_int_t)check.warnings, "faults", check.faults, "_damaged", check.damaged > 0,
                  "_more", (json_int_t)(told - listed));
    arena_free(check.arena);
    return journal_leave(journal);
}
