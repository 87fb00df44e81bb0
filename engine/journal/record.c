/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/record.h"

#include <ctype.h>
#include <errno.h>
#include <jansson.h>
#include <math.h>
#include <stdarg.h>
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

/* The columns of a struct, called as its members are. */
#define KIND_LABEL               COLUMN_LABEL
#define KIND_TEXT                COLUMN_TEXT
#define KIND_REAL                COLUMN_REAL
#define KIND_INTEGER             COLUMN_INTEGER
#define KIND_DAY                 COLUMN_DAY
#define KIND_FLAG                COLUMN_FLAG
#define KIND_MOMENT              COLUMN_MOMENT
#define KIND_REFERENCE           COLUMN_REFERENCE
#define KIND_STATE               COLUMN_WORD, .words = vessel_state_words
#define KIND_FATE                COLUMN_WORD, .words = fate_words
#define KIND_EVENT               COLUMN_WORD, .words = event_words
#define KIND_BECAUSE             COLUMN_WORD, .words = because_words
#define KIND_NAMED(kind)         KIND_##kind
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

size_t word_number(const char *const *words, const char *word)
{
    size_t number = 0;
    while (words[number] != NULL && strcmp(words[number], word) != 0)
        number++;
    return number;
}

const char *row_columns(struct journal *journal, enum record record)
{
    struct text *columns = &journal->columns[record], *parameters = &journal->parameters[record];
    if (columns->length > 0)
        return columns->bytes;
    text_puts(columns, "\"id\"");
    text_puts(parameters, "?");
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        bool moment = column->kind == COLUMN_MOMENT;
        text_printf(columns, ", \"%s\"", column->name);
        if (moment)
            text_printf(columns, ", \"%s_offset\"", column->name);
        text_puts(parameters, moment ? ", ?, ?" : ", ?");
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
        case COLUMN_DAY:
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

struct query row_begin(struct journal *journal, struct diags *diags, const char *sql,
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

/* Writes a row by an SQL with its columns for parameters, and notes its words. */
static enum status write_row(struct journal *journal, const char *sql, enum record record,
                             void *row, struct diags *diags)
{
    int64_t *id = row;
    struct query query = row_begin(journal, diags, sql, record, row);
    enum status status = query_end(&query);
    if (status != STATUS_OK)
        return status;
    if (*id == 0)
        *id = sqlite3_last_insert_rowid(journal->database);
    return words_note(journal, record, row, diags);
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
    if (query->status != STATUS_OK || !query_next(query))
        return false;
    if (read_row(query, record, arena, row))
        return true;
    query->status =
        journal_refuse(query->journal, STATUS_DATA, query->diags,
                       "%s %lld holds a word that is not known; 'jarside journal check' says more",
                       record_types[record].name, (long long)*(int64_t *)row);
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

static enum status check_column(struct journal *journal, enum record record,
                                const struct column *column, const void *row, struct diags *diags)
{
    const void *member = column_member(column, row);
    const struct moment *moment = member;
    const char *text = NULL, *why = NULL;
    char beyond[96];
    size_t length = 0;
    double number = NAN;
    int64_t found = 0;
    bool absent = false;
    enum status status = STATUS_OK;
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
    case COLUMN_DAY:
        number = (double)*(const int64_t *)member;
        break;
    case COLUMN_REFERENCE: /* foreign keys would refuse it as well, but not say which */
        absent = *(const int64_t *)member == 0;
        if (!absent)
            status = query_number(journal, &found, diags,
                                  journal_sql(journal, "SELECT 1 FROM \"%s\" WHERE id = ?",
                                              record_types[column->refers].name),
                                  "i", *(const int64_t *)member);
        why = absent || found != 0 ? NULL : "names a record that does not exist";
        break;
    case COLUMN_WORD:
        for (unsigned i = 0; i <= *(const unsigned *)member && why == NULL; i++)
            why = column->words[i] == NULL ? "is not one of the words allowed here" : NULL;
        break;
    case COLUMN_MOMENT:
        if (!moment_known(*moment))
            why = column->required ? "is missing; give a date" : NULL;
        else if (moment->seconds < EARLIEST_MOMENT)
            why = "lies before 1990; no journal of this kind is as old";
        else if (moment->seconds > moment_now().seconds + CLOCKS_DIFFER)
            why = "lies in the future";
        break;
    case COLUMN_FLAG:
        break;
    }
    if (absent && column->required)
        why = "is missing; give it";
    if (!isnan(number) && !allowed(column, number)) {
        why = beyond;
        if (column->low < column->high)
            snprintf(beyond, sizeof beyond, "is %.6g; it should lie from %g to %g", number,
                     column->low, column->high);
        else
            snprintf(beyond, sizeof beyond, "is %.6g; it should be a number", number);
    }
    if (status != STATUS_OK || why == NULL)
        return status;
    return journal_refuse(journal, STATUS_DATA, diags, "%s of a %s %s", column->name,
                          record_types[record].name, why);
}

/* The day on the wall calendar of a moment: hours are no fault, since a date alone is noon. */
#define DAY(table, column) "(" table "." column " + 60 * " table "." column "_offset) / 86400"

/* What was done with a vessel before its batch was inoculated. */
#define TOO_EARLY(table, condition, complaint)                                                     \
    "SELECT a.id, printf('%.200s " complaint "', v.label) FROM " table                             \
    " AS a JOIN vessel AS v ON v.id = a.vessel JOIN batch AS b ON b.id = v.batch"                  \
    " WHERE " condition DAY("a", "at") " < " DAY("b", "at")

/* What a batch was made with, and came after it. */
#define TOO_LATE(table, moment, complaint)                                                         \
    "SELECT a.id, printf('%.200s " complaint "', a.label, b.label) FROM " table                    \
    " AS a JOIN batch AS b ON b." table " = a.id WHERE " DAY("a", moment) " > " DAY("b", "at")

static const struct {
    enum record record, other; /* whose rows break it, and what they are held against */
    const char *sql;
} orders[] = {
    {RECORD_LOOK, RECORD_BATCH, TOO_EARLY("look", "", "was looked at before it was inoculated")},
    {RECORD_OUTCOME, RECORD_BATCH,
     TOO_EARLY("outcome", "", "had come to its end before it was inoculated")},
    {RECORD_EVENT, RECORD_BATCH,
     TOO_EARLY("event", "a.kind IN ('shake', 'use') AND ",
               "was shaken or used before it was inoculated")},
    {RECORD_COOK, RECORD_BATCH,
     TOO_LATE("cook", "at", "was cooked after batch %.200s was inoculated from it")},
    {RECORD_SESSION, RECORD_BATCH,
     TOO_LATE("session", "at", "is a session after batch %.200s was inoculated in it")},
    {RECORD_STARTER, RECORD_BATCH,
     TOO_LATE("starter", "made", "was made after batch %.200s was inoculated with it")},
    {RECORD_LOT, RECORD_BATCH,
     TOO_LATE("lot", "bought", "was bought after batch %.200s was inoculated")},
    {RECORD_PARENT, RECORD_STARTER,
     "SELECT p.id, printf('%.200s was made before what it came from', s.label) FROM parent AS p"
     " JOIN starter AS s ON s.id = p.starter JOIN starter AS q ON q.id = p.parent"
     " WHERE " DAY("q", "made") " > " DAY("s", "made")},
};
enum { ORDERS = sizeof orders / sizeof *orders };

/* What came before what, asked with the row alone in the place of its table; of starters, which come from one
 * another, beside the others. */
static enum status check_order(struct journal *journal, enum record record, const void *row,
                               struct diags *diags)
{
    const char *columns = row_columns(journal, record), *name = record_types[record].name;
    const char *parameters = journal->parameters[record].bytes;
    bool is_new = *(const int64_t *)row == 0;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < ORDERS && status == STATUS_OK; i++) {
        enum record of = orders[i].record;
        /* A new one of these can break it; else what refers to it. */
        bool own = record_of_vessel(of) || of == RECORD_PARENT;
        bool touches =
            (of == record && (own || !is_new)) || (orders[i].other == record && (!own || !is_new));
        if (!touches)
            continue;
        const char *sql = journal_sql(
            journal,
            "WITH \"%s\" (%s) AS (VALUES (%s) UNION ALL SELECT %s FROM main.\"%s\" WHERE %s)"
            " %s LIMIT 1",
            name, columns, parameters, columns, name,
            record == RECORD_STARTER ? "id IS NOT ?1" : "0", orders[i].sql);
        struct query query = row_begin(journal, diags, sql, record, row);
        if (query_next(&query))
            query.status = journal_refuse(journal, STATUS_DATA, diags, "%s", query_text(&query, 1));
        status = query_end(&query);
    }
    return status;
}

/* A label names a record on the command line, so it must not read as an option or hold a blank end. */
static const char *wrong_label(const char *label)
{
    size_t length = strlen(label);
    if (utf8_count(label, length) > LONGEST_LABEL)
        return "is longer than 120 letters; say it shorter, and the rest in its note";
    if (label[0] == '-' || label[0] == ' ' || (length > 0 && label[length - 1] == ' ') ||
        strpbrk(label, "\n\r\t"))
        return "must not begin with '-' nor begin or end with a space";
    return NULL;
}

enum status row_check(struct journal *journal, enum record record, const void *row,
                      struct diags *diags)
{
    const union any_record *any = row;
    const char *name = record_types[record].name;
    int64_t id = 0;
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        enum status status =
            column->derived ? STATUS_OK : check_column(journal, record, column, row, diags);
        if (status != STATUS_OK)
            return status;
    }
    if (record_has_label(record)) {
        /* NOLINTNEXTLINE(clang-analyzer-core.uninitialized.Assign): a record with a label begins with it */
        const char *label = any->named.label, *wrong = wrong_label(label);
        if (wrong != NULL)
            return journal_refuse(journal, STATUS_DATA, diags, "label of a %s %s", name, wrong);
        if (journal_has(journal, record, label, &id) && id != any->named.id)
            return journal_refuse(journal, STATUS_DATA, diags,
                                  "there is a %s '%s' already; choose another label", name, label);
    }
    return check_order(journal, record, row, diags);
}

enum status label_check(struct journal *journal, enum record record, const char *label,
                        struct diags *diags)
{
    enum record other = record == RECORD_VESSEL  ? RECORD_BATCH
                        : record == RECORD_BATCH ? RECORD_VESSEL
                                                 : RECORD_COUNT;
    int64_t id = 0;
    if (other == RECORD_COUNT)
        return STATUS_OK;
    enum status status = query_number(
        journal, &id, diags,
        journal_sql(journal,
                    "SELECT coalesce(max(id), 0) FROM \"%s\" WHERE label = ? COLLATE NOCASE",
                    record_types[other].name),
        "t", label);
    if (status != STATUS_OK || id == 0)
        return status;
    return journal_refuse(journal, STATUS_DATA, diags,
                          "there is a %s '%s' already, and a %s of that name could not be told "
                          "from it; choose another label",
                          record_types[other].name, label, record_types[record].name);
}

/* ---- values as text -------------------------------------------------------------------------- */

enum status journal_show_column(struct journal *journal, const struct column *column,
                                const void *row, struct text *out, struct diags *diags)
{
    const void *from = column_member(column, row);
    char room[MOMENT_ROOM];
    size_t start = out->length;
    struct query query;
    double real;
    int64_t number = 0;
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
    case COLUMN_DAY:
        number = *(const int64_t *)from;
        text_puts(out, number != 0 ? day_write(number, DAY_ISO, room) : "");
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
        number = *(const int64_t *)from;
        if (number == 0)
            break;
        query = query_begin(journal, diags,
                            record_has_label(column->refers)
                                ? journal_sql(journal, "SELECT label FROM \"%s\" WHERE id = ?",
                                              record_types[column->refers].name)
                                : "SELECT ?",
                            "i", number);
        if (query_next(&query))
            text_puts(out, query_text(&query, 0));
        return query_end(&query);
    }
    return STATUS_OK;
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

static bool read_day(const char *value, int64_t *day)
{
    const char *end = day_read(value, day);
    return end != NULL && *end == '\0';
}

enum status journal_read_column(struct journal *journal, const struct column *column,
                                const char *value, struct arena *arena, void *row,
                                struct diags *diags)
{
    void *into = (char *)row + column->offset;
    bool given = value[0] != '\0', right = true;
    const char *wanted = NULL; /* what it should have been */
    size_t number = 0;
    struct text words;
    text_init(&words);
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
        right = !given || read_day(value, into);
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
    enum status status = STATUS_OK;
    if (!right && column->kind == COLUMN_REFERENCE && record_has_label(column->refers))
        status = journal_refuse(journal, STATUS_DATA, diags,
                                "%s is '%.60s', but there is no %s of that label", column->name,
                                value, record_types[column->refers].name);
    else if (!right)
        status = journal_refuse(journal, STATUS_DATA, diags, "%s is '%.60s'; it should be %s",
                                column->name, value, wanted);
    text_release(&words);
    return status;
}

/* ---- adding ---------------------------------------------------------------------------------- */

/* A correction must name a row of the same vessel that nobody has corrected yet. */
static enum status check_correction(struct journal *journal, enum record record, int64_t vessel,
                                    int64_t corrects, int64_t *turn, struct diags *diags)
{
    const char *name = record_types[record].name;
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
        return journal_refuse(journal, STATUS_USAGE, diags, "there is no %s %lld to correct", name,
                              (long long)corrects);
    if (its_vessel != vessel)
        return journal_refuse(journal, STATUS_USAGE, diags, "%s %lld is of another vessel", name,
                              (long long)corrects);
    if (corrected_by != 0)
        return journal_refuse(journal, STATUS_USAGE, diags,
                              "%s %lld was corrected already, by %s %lld; correct that one", name,
                              (long long)corrects, name, (long long)corrected_by);
    return STATUS_OK;
}

static enum status add(struct journal *journal, enum record record, void *row, struct diags *diags)
{
    union any_record *any = row;
    const struct column *columns = record_types[record].columns;
    int64_t *turn = NULL, vessel = 0, corrects = 0;
    enum status status = row_check(journal, record, row, diags);
    for (size_t i = 0; columns[i].name != NULL; i++) {
        void *member = (char *)row + columns[i].offset;
        const char **by = member;
        if (strcmp(columns[i].name, "corrects") == 0)
            corrects = *(int64_t *)member;
        else if (strcmp(columns[i].name, "turn") == 0)
            turn = member;
        else if (strcmp(columns[i].name, "by") == 0 && journal->by != NULL &&
                 (*by == NULL || (*by)[0] == '\0'))
            *by = journal->by;
    }
    if (turn != NULL) {
        *turn = 0;
        /* NOLINTNEXTLINE(clang-analyzer-core.uninitialized.Assign): what has a turn begins with a vessel */
        vessel = any->dated.vessel;
    }
    if (status == STATUS_OK && turn != NULL && corrects != 0)
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
    const char *names = row_columns(journal, record);
    const char *sql =
        journal_sql(journal, "INSERT INTO \"%s\" (%s) VALUES (%s)", record_types[record].name,
                    names, journal->parameters[record].bytes);
    status = write_row(journal, sql, record, row, diags);
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
    if (status == STATUS_OK && column->kind == COLUMN_LABEL)
        status = label_check(journal, record, row.named.label, diags);
    if (status == STATUS_OK) {
        const char *columns = row_columns(journal, record);
        const char *sql =
            journal_sql(journal, "UPDATE \"%s\" SET (%s) = (%s) WHERE id = ?1",
                        record_types[record].name, columns, journal->parameters[record].bytes);
        status = write_row(journal, sql, record, &row, diags);
    }
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

const char *near_name(struct arena *arena, const char *word, const char *const *names, size_t count)
{
    const char *near = diag_nearest(word, names, count);
    return near != NULL ? arena_format(arena, "; did you mean '%s'?", near) : "";
}

enum status journal_correct(struct journal *journal, enum record record, const char *label,
                            const char *column, const char *value, struct moment at,
                            struct diags *diags)
{
    enum { MOST = 32 };
    const struct record_type *type = &record_types[record];
    const char *names[MOST];
    size_t count = 0, index = record_column(record, column);
    if (type->append_only)
        return journal_refuse(journal, STATUS_USAGE, diags,
                              "a %s is never changed; add one that corrects it", type->name);
    struct arena *arena = arena_new();
    enum status status = STATUS_OK;
    if (index == SIZE_MAX || type->columns[index].derived) {
        for (const struct column *own = type->columns; own->name && count < MOST; own++)
            if (!own->derived)
                names[count++] = own->name;
        const char *near = near_name(arena, column, names, count);
        status = journal_refuse(journal, STATUS_USAGE, diags, "a %s has no '%s'%s", type->name,
                                column, near[0] != '\0' ? near : " that could be corrected");
    } else if ((status = journal_begin(journal, diags)) == STATUS_OK) {
        status = correct(journal, record, label, &type->columns[index], value, at, arena, diags);
        status = journal_finish(journal, status, diags);
    }
    arena_free(arena);
    return status;
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
    enum status status = query_number(journal, &highest, diags, sql, "");
    *label = arena_format(arena, "%s%lld", lead, (long long)highest + 1);
    return status;
}

/* ---- finding --------------------------------------------------------------------------------- */

/* A question for whole rows: "SELECT its columns FROM its table" and what follows. */
static const char *select_rows(struct journal *journal, enum record record, const char *tail)
{
    const char *columns = row_columns(journal, record);
    return journal_sql(journal, "SELECT %s FROM \"%s\" AS a %s", columns, record_types[record].name,
                       tail);
}

enum status journal_get(struct journal *journal, enum record record, int64_t id,
                        struct arena *arena, void *row, struct diags *diags)
{
    struct query query =
        query_begin(journal, diags, select_rows(journal, record, "WHERE id = ?"), "i", id);
    bool found = query_row(&query, record, arena, row);
    enum status status = query_end(&query);
    return status != STATUS_OK || found
               ? status
               : journal_refuse(journal, STATUS_USAGE, diags, "there is no %s %lld",
                                record_types[record].name, (long long)id);
}

enum status journal_find(struct journal *journal, enum record record, const char *label,
                         struct arena *arena, void *row, struct diags *diags)
{
    enum { MOST = 500 };
    const char *names[MOST], *name = record_types[record].name;
    size_t count = 0;
    if (!record_has_label(record))
        return STATUS_INTERNAL;
    struct query query =
        query_begin(journal, diags, select_rows(journal, record, "WHERE label = ?"), "t", label);
    bool found = query_row(&query, record, arena, row);
    enum status status = query_end(&query);
    if (status != STATUS_OK || found)
        return status;
    /* The nearest label among the newest ones. */
    struct diags *unheard = diags_new();
    query = query_begin(
        journal, unheard,
        journal_sql(journal, "SELECT label FROM \"%s\" ORDER BY id DESC LIMIT %d", name, MOST), "");
    while (query_next(&query))
        names[count++] = arena_string(arena, query_text(&query, 0));
    query_end(&query);
    diags_free(unheard);
    return journal_refuse(journal, STATUS_USAGE, diags, "there is no %s '%s'%s", name, label,
                          near_name(arena, label, names, count));
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
    snprintf(tail, sizeof tail, "WHERE %s%s%s ORDER BY id %s", column != NULL ? "\"" : "",
             column != NULL ? column : "1", column != NULL ? "\" = ?" : "", order);
    return query_begin(journal, diags, select_rows(journal, record, tail),
                       column != NULL ? "i" : "", value);
}

struct walk *journal_walk(struct journal *journal, enum record record, const char *column,
                          int64_t value, bool back, struct diags *diags)
{
    struct walk *walk = malloc(sizeof *walk);
    *walk = (struct walk){rows_where(journal, record, column, value, back ? "DESC" : "", diags),
                          record};
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
    struct query query = rows_where(journal, record, column, value, "", diags);
    return query_rows(&query, record, arena, rows, count);
}

enum status journal_standing(struct journal *journal, enum record record, int64_t vessel,
                             struct arena *arena, void **rows, size_t *count, struct diags *diags)
{
    char tail[160];
    snprintf(tail, sizeof tail,
             "WHERE vessel = ?%s AND NOT EXISTS"
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

/* ==== a whole journal ========================================================================= */

struct check {
    struct journal *journal;
    const struct rules *rules;
    struct moment now;
    const struct check_sink *sink;
    struct check_tally *tally;
    struct diags *diags;
    enum status status; /* what kept the check from being done; nothing more is asked then */
};

/* ---- telling --------------------------------------------------------------------------------- */

/* Tells a fault of a record; `id` as of struct check_fault. */
__attribute__((format(printf, 5, 6))) static void tell(struct check *check, enum diag_kind kind,
                                                       enum record record, int64_t id,
                                                       const char *format, ...)
{
    static const struct text_safe_options message_options = {.limit = 400};
    static const struct text_safe_options label_options = {.limit = 60};
    struct text message, label;
    va_list arguments;
    va_start(arguments, format);
    char *raw = text_vformat(format, arguments);
    va_end(arguments);
    text_init(&message);
    text_init(&label);
    text_safe(&message, raw, strlen(raw), &message_options);
    if (record != RECORD_COUNT && record_has_label(record)) {
        const char *sql = journal_sql(check->journal, "SELECT label FROM \"%s\" WHERE id = ?",
                                      record_types[record].name);
        struct query query = query_begin(check->journal, check->diags, sql, "i", id);
        if (query_next(&query))
            text_safe(&label, query_text(&query, 0), strlen(query_text(&query, 0)), &label_options);
        if (query_end(&query) != STATUS_OK)
            check->status = query.status;
    }
    check->sink->tell(check->sink->context, &(struct check_fault){.warning = kind == DIAG_WARNING,
                                                                  .record = record,
                                                                  .id = id,
                                                                  .label = label.bytes,
                                                                  .message = message.bytes});
    *(kind == DIAG_WARNING ? &check->tally->warnings : &check->tally->errors) += 1;
    text_release(&message);
    text_release(&label);
    free(raw);
}

static struct query ask(struct check *check, const char *sql)
{
    if (check->status != STATUS_OK)
        return (struct query){.status = check->status};
    return query_begin(check->journal, check->diags, sql, "");
}

static void end(struct check *check, struct query *query)
{
    enum status status = query_end(query);
    if (check->status == STATUS_OK)
        check->status = status;
}

/* Tells every row of an answer: the id of a record, and what is wrong with it. */
static void tell_rows(struct check *check, enum record record, const char *sql)
{
    struct query query = ask(check, sql);
    while (query_next(&query))
        tell(check, DIAG_ERROR, record, query_integer(&query, 0), "%s", query_text(&query, 1));
    end(check, &query);
}

/* True when the pages are sound. */
static bool check_pages(struct check *check)
{
    bool sound = true;
    struct query query = ask(check, "PRAGMA integrity_check(100)");
    while (query_next(&query)) {
        if (strcmp(query_text(&query, 0), "ok") == 0)
            continue;
        sound = false;
        tell(check, DIAG_ERROR, RECORD_COUNT, 0, "the file is damaged: %.300s",
             query_text(&query, 0));
    }
    enum status status = query_end(&query);
    if (status == STATUS_DATA) { /* too damaged even to be asked */
        if (sound)
            tell(check, DIAG_ERROR, RECORD_COUNT, 0, "the file is too damaged to be read through");
        sound = false;
        diags_clear(check->diags);
    } else if (status != STATUS_OK) {
        check->status = status;
    }
    return sound;
}

/* ---- values that a column does not allow ----------------------------------------------------- */

/* Tells the rows for which a condition on a column holds. */
__attribute__((format(printf, 5, 6))) static void
tell_where(struct check *check, enum record record, const struct column *column,
           const char *complaint, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *condition = text_vformat(format, arguments);
    va_end(arguments);
    tell_rows(check, record,
              journal_sql(check->journal, "SELECT id, '''%s'' %s' FROM \"%s\" WHERE %s ORDER BY id",
                          column->name, complaint, record_types[record].name, condition));
    free(condition);
}

static void check_values(struct check *check, enum record record, const struct column *column)
{
    const char *name = column->name;
    struct text text;
    text_init(&text);
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        tell_where(check, record, column, "holds a NUL byte",
                   "instr(CAST(\"%s\" AS BLOB), x'00') > 0", name);
        if (column->required)
            tell_where(check, record, column, "is empty", "\"%s\" = ''", name);
        break;
    case COLUMN_REAL:
    case COLUMN_INTEGER:
    case COLUMN_DAY:
        text_printf(&text, "is not from %g to %g", column->low, column->high);
        if (column->low < column->high)
            tell_where(check, record, column, text.bytes, "\"%s\" NOT BETWEEN %.17g AND %.17g",
                       name, column->low, column->high);
        break;
    case COLUMN_WORD:
        for (size_t i = 0; column->words[i] != NULL; i++)
            text_printf(&text, "%s'%s'", i > 0 ? ", " : "", column->words[i]);
        tell_where(check, record, column, "is not one of the words allowed here",
                   "\"%s\" NOT IN (%s)", name, text.bytes);
        break;
    case COLUMN_MOMENT:
        tell_where(check, record, column, "is not a moment that can be read",
                   "(\"%s\" IS NULL) <> (\"%s_offset\" IS NULL) OR abs(\"%s_offset\") > 1439", name,
                   name, name);
        tell_where(check, record, column, "lies before 1990", "\"%s\" < %d", name, EARLIEST_MOMENT);
        tell_where(check, record, column, "lies in the future", "\"%s\" > %lld", name,
                   (long long)check->now.seconds + CLOCKS_DIFFER);
        break;
    case COLUMN_FLAG:
    case COLUMN_REFERENCE: /* what they lead to is for foreign_key_check */
        break;
    }
    text_release(&text);
}

static void check_orders(struct check *check)
{
    static const enum record corrected[] = {RECORD_LOOK, RECORD_EVENT, RECORD_OUTCOME};
    for (size_t i = 0; i < ORDERS; i++)
        tell_rows(check, orders[i].record, orders[i].sql);
    for (size_t i = 0; i < sizeof corrected / sizeof *corrected; i++) {
        const char *name = record_types[corrected[i]].name;
        tell_rows(check, corrected[i],
                  journal_sql(check->journal,
                              "SELECT a.id, printf('it corrects %s %%lld, which is of another"
                              " vessel or chain', b.id) FROM \"%s\" AS a JOIN \"%s\" AS b"
                              " ON b.id = a.corrects WHERE a.vessel <> b.vessel"
                              " OR a.turn IS NOT coalesce(b.turn, b.id) OR b.id >= a.id",
                              name, name, name));
        tell_rows(check, corrected[i],
                  journal_sql(check->journal,
                              "SELECT id, 'it corrects nothing, but stands in a chain of"
                              " corrections' FROM \"%s\" WHERE corrects IS NULL"
                              " AND turn IS NOT NULL",
                              name));
    }
}

/* ---- row by row: text, the notes of a look, and what is derived ------------------------------- */

static void check_json(struct check *check, int64_t id, const char *column, const char *text,
                       json_type type)
{
    json_error_t fault;
    if (text[0] == '\0')
        return;
    json_t *json = json_loads(text, 0, &fault);
    if (json == NULL)
        tell(check, DIAG_ERROR, RECORD_LOOK, id, "'%s' does not parse: %s at %d", column,
             fault.text, fault.position);
    else if (json_typeof(json) != type)
        tell(check, DIAG_ERROR, RECORD_LOOK, id, "'%s' should be a JSON %s", column,
             type == JSON_ARRAY ? "array" : "object");
    json_decref(json);
}

static void check_derived(struct check *check, const struct vessel *vessel)
{
    int64_t batch = 0;
    struct query query = query_begin(check->journal, check->diags, vessel_sql(check->journal, true),
                                     "i", vessel->id);
    if (query_next(&query) && query_text(&query, 0)[0] != '\0')
        tell(check, DIAG_ERROR, RECORD_VESSEL, vessel->id,
             "the %s of %.200s is not what its looks, events and outcomes say",
             query_text(&query, 0), vessel->label);
    end(check, &query);
    if (vessel_gone(vessel) && vessel->due != 0)
        tell(check, DIAG_ERROR, RECORD_VESSEL, vessel->id,
             "a look at %.200s is due, although it is gone", vessel->label);
    if (journal_has(check->journal, RECORD_BATCH, vessel->label, &batch))
        tell(check, DIAG_WARNING, RECORD_VESSEL, vessel->id,
             "a batch has the same label; jarside correct vessel %.200s label=... tells them apart",
             vessel->label);
}

static void check_row(struct check *check, enum record record, const union any_record *row)
{
    check->tally->records++;
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (column->kind != COLUMN_TEXT && column->kind != COLUMN_LABEL)
            continue;
        const char *text = *(const char *const *)column_member(column, row);
        size_t length = strlen(text);
        if (utf8_valid_prefix(text, length) != length)
            tell(check, DIAG_ERROR, record, row->named.id, "'%s' is not text in UTF-8",
                 column->name);
    }
    if (record == RECORD_VESSEL)
        check_derived(check, &row->vessel);
    if (record == RECORD_LOOK) {
        check_json(check, row->look.id, "facts", row->look.facts, JSON_ARRAY);
        check_json(check, row->look.id, "posterior", row->look.posterior, JSON_OBJECT);
    }
}

/* Rows that hold a word that is not known end a walk; check_values has told of them. */
static void check_content(struct check *check)
{
    for (int i = 0; i < RECORD_COUNT && check->status == STATUS_OK; i++) {
        union any_record row;
        struct diags *unheard = diags_new();
        struct walk *walk = journal_walk(check->journal, (enum record)i, NULL, 0, false, unheard);
        while (walk_next(walk, &row))
            check_row(check, (enum record)i, &row);
        enum status status = walk_end(walk);
        if (status != STATUS_OK && status != STATUS_DATA && check->status == STATUS_OK) {
            check->status = status;
            diags_pass(check->diags, unheard);
        }
        diags_free(unheard);
    }
}

/* ---- words of the rules ---------------------------------------------------------------------- */

/* One warning a word, however often it stands. */
static void check_list(struct check *check, enum record record, const struct column *column)
{
    const char *name = column->name;
    struct query query =
        ask(check, journal_sql(check->journal,
                               "SELECT \"%s\", count(*), min(id) FROM \"%s\" WHERE \"%s\" <> ''"
                               " GROUP BY \"%s\"",
                               name, record_types[record].name, name, name));
    while (query_next(&query)) {
        const char *word = query_text(&query, 0);
        const char *id = list_id(check->rules, column->list, word);
        if (id == NULL || strcmp(id, word) != 0)
            tell(check, DIAG_WARNING, record, query_integer(&query, 2),
                 "'%s' is '%.80s' in %lld of them, which these rules do not know", name, word,
                 (long long)query_integer(&query, 1));
    }
    end(check, &query);
}

/* The signs of "sign=value sign=value". */
static void check_settings(struct check *check, enum record record, const struct column *column)
{
    struct query query =
        ask(check, journal_sql(check->journal,
                               "SELECT id, \"%s\" FROM \"%s\" WHERE \"%s\" <> '' ORDER BY id",
                               column->name, record_types[record].name, column->name));
    while (query_next(&query))
        for (const char *at = query_text(&query, 1); *(at += strspn(at, " ")) != '\0';
             at += strcspn(at, " ")) {
            char *sign = strndup(at, strcspn(at, "= "));
            if (rules_observable(check->rules, sign) == RULES_NONE)
                tell(check, DIAG_WARNING, record, query_integer(&query, 0),
                     "'%s' name a sign '%.79s', which these rules do not know", column->name, sign);
            free(sign);
        }
    end(check, &query);
}

/* ---- together -------------------------------------------------------------------------------- */

enum status check_journal(struct journal *journal, const struct rules *rules, struct moment now,
                          const struct check_sink *sink, struct check_tally *tally,
                          struct diags *diags)
{
    struct check check = {.journal = journal,
                          .rules = rules,
                          .now = now,
                          .sink = sink,
                          .tally = tally,
                          .diags = diags};
    *tally = (struct check_tally){0};
    /* One view, however long it takes and whoever writes meanwhile. */
    enum status status = journal_execute(journal, "SAVEPOINT looked_at", diags);
    if (status != STATUS_OK)
        return status;
    if (check_pages(&check)) {
        struct query query = ask(&check, "PRAGMA foreign_key_check");
        while (query_next(&query)) {
            int record = 0;
            while (record < RECORD_COUNT &&
                   strcmp(record_types[record].name, query_text(&query, 0)) != 0)
                record++;
            tell(&check, DIAG_ERROR, (enum record)record, query_integer(&query, 1),
                 "names a %.60s that is not there", query_text(&query, 2));
        }
        end(&check, &query);
        for (int i = 0; i < RECORD_COUNT; i++)
            for (const struct column *column = record_types[i].columns; column->name; column++)
                if (!column->derived || column->kind == COLUMN_WORD ||
                    column->kind == COLUMN_DAY) /* the others are derived anew */
                    check_values(&check, (enum record)i, column);
        check_orders(&check);
        check_content(&check);
        for (int i = 0; i < RECORD_COUNT && check.rules != NULL; i++)
            for (const struct column *column = record_types[i].columns; column->name; column++) {
                if (column->list != LIST_NONE)
                    check_list(&check, (enum record)i, column);
                if (column->settings)
                    check_settings(&check, (enum record)i, column);
            }
    }
    sqlite3_exec(journal->database, "RELEASE looked_at", NULL, NULL, NULL);
    return check.status;
}
