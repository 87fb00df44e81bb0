/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/check.h"

#include <jansson.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "journal/journal_internal.h"

struct check {
    struct journal *journal;
    const struct rules *rules;
    struct moment now;
    const struct check_sink *sink;
    struct check_tally *tally;
    struct diags *diags;
    enum status status; /* what kept the check from being done */
};

/* Tells a fault of a record; `id` as of struct check_fault. */
static void check_error(struct check *check, enum record record, int64_t id, const char *format,
                        ...) __attribute__((format(printf, 4, 5)));
static void check_warning(struct check *check, enum record record, int64_t id, const char *format,
                          ...) __attribute__((format(printf, 4, 5)));

/* Asks the journal; NULL, and check->status set, when it cannot. Releases the text. */
static sqlite3_stmt *check_ask(struct check *check, struct text *sql);
/* The next row of an answer; at the end the statement is finalized. */
static bool check_next(struct check *check, sqlite3_stmt *statement);
/* Text of a column, "" for NULL. */
static const char *check_text(sqlite3_stmt *statement, int column);

/* The parts, each of its own file. */
static void check_columns(struct check *check); /* values that a column does not allow */
static void check_order(struct check *check);   /* dates, and corrections */
static void
check_content(struct check *check);           /* text and notes, and what is derived: row by row */
static void check_words(struct check *check); /* words of the rules */

/* ==== check columns =========================================================================== */

/* Values that the description of a column does not allow, asked of all rows at once. */

/* Days before which no journal of this kind was kept, and how far clocks may differ. */
enum { DAY_SECONDS = 86400 };
static const int64_t EARLIEST = 631152000; /* 1990-01-01T00:00:00Z */

/* Tells every row for which `condition` holds. */
static void rows_where(struct check *check, enum record record, const char *condition,
                       const char *complaint)
{
    struct text sql;
    text_init(&sql);
    text_printf(&sql, "SELECT id FROM \"%s\" WHERE %s ORDER BY id", record_types[record].name,
                condition);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record, sqlite3_column_int64(statement, 0), "%s", complaint);
}

static void moments(struct check *check, enum record record, const char *name)
{
    char condition[256], complaint[96];
    snprintf(condition, sizeof condition,
             "(\"%s\" IS NULL) <> (\"%s_offset\" IS NULL) OR abs(\"%s_offset\") > 1439", name, name,
             name);
    snprintf(complaint, sizeof complaint, "'%s' is no moment that can be read", name);
    rows_where(check, record, condition, complaint);
    snprintf(condition, sizeof condition, "\"%s\" < %lld", name, (long long)EARLIEST);
    snprintf(complaint, sizeof complaint, "'%s' lies before 1990", name);
    rows_where(check, record, condition, complaint);
    snprintf(condition, sizeof condition, "\"%s\" > %lld", name,
             (long long)check->now.seconds + DAY_SECONDS);
    snprintf(complaint, sizeof complaint, "'%s' lies in the future", name);
    rows_where(check, record, condition, complaint);
}

static void texts(struct check *check, enum record record, const struct column *column)
{
    char condition[256], complaint[96];
    snprintf(condition, sizeof condition, "instr(CAST(\"%s\" AS BLOB), x'00') > 0", column->name);
    snprintf(complaint, sizeof complaint, "'%s' holds a NUL byte", column->name);
    rows_where(check, record, condition, complaint);
    if (!column->required)
        return;
    snprintf(condition, sizeof condition, "\"%s\" = ''", column->name);
    snprintf(complaint, sizeof complaint, "'%s' is empty", column->name);
    rows_where(check, record, condition, complaint);
}

static void numbers(struct check *check, enum record record, const struct column *column)
{
    char condition[256], complaint[128];
    if (column->low >= column->high)
        return;
    snprintf(condition, sizeof condition, "\"%s\" < %.17g OR \"%s\" > %.17g", column->name,
             column->low, column->name, column->high);
    snprintf(complaint, sizeof complaint, "'%s' is not from %g to %g", column->name, column->low,
             column->high);
    rows_where(check, record, condition, complaint);
}

static void words(struct check *check, enum record record, const struct column *column)
{
    char complaint[96];
    struct text condition;
    text_init(&condition);
    text_printf(&condition, "\"%s\" NOT IN (", column->name);
    for (size_t i = 0; column->words[i] != NULL; i++)
        text_printf(&condition, "%s'%s'", i > 0 ? ", " : "", column->words[i]);
    text_puts(&condition, ")");
    snprintf(complaint, sizeof complaint, "'%s' is no word that it may be", column->name);
    if (condition.failed)
        check->status = STATUS_MEMORY;
    else
        rows_where(check, record, condition.bytes, complaint);
    text_release(&condition);
}

static void one_column(struct check *check, enum record record, const struct column *column)
{
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        texts(check, record, column);
        break;
    case COLUMN_REAL:
    case COLUMN_INTEGER:
        numbers(check, record, column);
        break;
    case COLUMN_WORD:
        words(check, record, column);
        break;
    case COLUMN_MOMENT:
        moments(check, record, column->name);
        break;
    case COLUMN_FLAG:
    case COLUMN_REFERENCE: /* what they lead to is for foreign_key_check */
        break;
    }
}

static void check_columns(struct check *check)
{
    for (int i = 0; i < RECORD_COUNT; i++)
        for (const struct column *column = record_types[i].columns;
             column->name != NULL && check->status == STATUS_OK; column++)
            if (!column->derived || column->kind == COLUMN_WORD ||
                column->kind == COLUMN_INTEGER) /* the others are derived anew */
                one_column(check, (enum record)i, column);
}

/* ==== check content =========================================================================== */

/* What only a look at every row can tell: text, the notes of a look, and what is derived. */

static void check_utf8(struct check *check, enum record record, const void *row)
{
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (column->kind != COLUMN_TEXT && column->kind != COLUMN_LABEL)
            continue;
        const char *text = *(const char *const *)(const void *)((const char *)row + column->offset);
        size_t length = strlen(text);
        if (utf8_valid_prefix(text, length) != length)
            check_error(check, record, *(const int64_t *)row, "'%s' is not text in UTF-8",
                        column->name);
    }
}

/* ---- notes of a look ------------------------------------------------------------------------- */

static void check_json(struct check *check, int64_t id, const char *column, const char *text,
                       int type)
{
    json_error_t fault;
    if (text[0] == '\0')
        return;
    json_t *json = json_loads(text, 0, &fault);
    if (json == NULL)
        check_error(check, RECORD_LOOK, id, "'%s' does not parse: %s at %d", column, fault.text,
                    fault.position);
    else if ((int)json_typeof(json) != type)
        check_error(check, RECORD_LOOK, id, "'%s' should be a JSON %s", column,
                    type == JSON_ARRAY ? "array" : "object");
    json_decref(json);
}

/* ---- derived --------------------------------------------------------------------------------- */

static void check_state(struct check *check, const struct vessel *vessel)
{
    struct vessel fresh;
    if (vessel_derive(check->journal, vessel->id, &fresh, check->diags) != STATUS_OK)
        return;
    const char *stale = NULL;
    if (fresh.state != vessel->state)
        stale = "state";
    else if (fresh.fate != vessel->fate)
        stale = "fate";
    else if (fresh.ended.seconds != vessel->ended.seconds)
        stale = "end";
    else if (fresh.last_look != vessel->last_look)
        stale = "last look";
    else if (fresh.stands != vessel->stands || fresh.stood != vessel->stood)
        stale = "place";
    if (stale != NULL)
        check_error(check, RECORD_VESSEL, vessel->id,
                    "the %s of %.200s is not what its looks, deeds and outcomes say", stale,
                    vessel->label);
    bool over = vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED;
    if (over && vessel->due != 0)
        check_error(check, RECORD_VESSEL, vessel->id,
                    "a look at %.200s is due, although it is gone", vessel->label);
}

/* ---- every row ------------------------------------------------------------------------------- */

static void check_row(struct check *check, enum record record, const void *row)
{
    const struct look *look = row;
    check->tally->records++;
    check_utf8(check, record, row);
    if (record == RECORD_VESSEL)
        check_state(check, row);
    if (record == RECORD_LOOK) {
        check_json(check, look->id, "facts", look->facts, JSON_ARRAY);
        check_json(check, look->id, "posterior", look->posterior, JSON_OBJECT);
    }
}

/* Rows that hold a word that is not known end a walk; check_columns has told of them. */
static void check_table(struct check *check, enum record record)
{
    void *row = malloc(record_types[record].size);
    struct diags *unheard = diags_new();
    struct walk *walk = row != NULL && unheard != NULL
                            ? journal_walk(check->journal, record, NULL, 0, unheard)
                            : NULL;
    if (walk == NULL)
        check->status = STATUS_MEMORY;
    while (walk != NULL && walk_next(walk, row))
        check_row(check, record, row);
    enum status status = walk_end(walk);
    if (status != STATUS_OK && status != STATUS_DATA && check->status == STATUS_OK) {
        check->status = status;
        for (size_t i = 0; i < diags_kept(unheard); i++)
            diags_error(check->diags, diags_get(unheard, i)->at, "%s",
                        diags_get(unheard, i)->message);
    }
    diags_free(unheard);
    free(row);
}

static void check_content(struct check *check)
{
    for (int i = 0; i < RECORD_COUNT && check->status == STATUS_OK; i++)
        check_table(check, (enum record)i);
}

/* ==== check order ============================================================================= */

/* What cannot have come before something else, and corrections that do not fit. */

/* The day on the wall calendar of a moment: hours are no fault, since a date alone is noon. */
#define DAY(table, column) "(" table "." column " + 60 * " table "." column "_offset) / 86400"

struct order { /* rows of a record that `sql` finds are impossible */
    enum record record;
    const char *sql; /* gives the id, and the label of the vessel or batch */
    const char *complaint;
};

static const struct order orders[] = {
    {RECORD_LOOK,
     "SELECT l.id, v.label FROM look l JOIN vessel v ON v.id = l.vessel JOIN batch b"
     " ON b.id = v.batch WHERE " DAY("l", "at") " < " DAY("b", "at"),
     "%s was looked at before it was inoculated"},
    {RECORD_OUTCOME,
     "SELECT o.id, v.label FROM outcome o JOIN vessel v ON v.id = o.vessel JOIN batch b"
     " ON b.id = v.batch WHERE " DAY("o", "at") " < " DAY("b", "at"),
     "%s had come to its end before it was inoculated"},
    {RECORD_EVENT,
     "SELECT d.id, v.label FROM deed d JOIN vessel v ON v.id = d.vessel JOIN batch b"
     " ON b.id = v.batch WHERE d.kind IN ('shake', 'use') AND " DAY("d", "at") " < " DAY("b", "at"),
     "%s was shaken or used before it was inoculated"},
    {RECORD_COOK,
     "SELECT c.id, b.label FROM cook c JOIN batch b ON b.cook = c.id WHERE " DAY(
         "c", "at") " > " DAY("b", "at"),
     "it was cooked after batch %s was inoculated from it"},
    {RECORD_SESSION,
     "SELECT s.id, b.label FROM session s JOIN batch b ON b.session = s.id WHERE " DAY(
         "s", "at") " > " DAY("b", "at"),
     "the session was after batch %s was inoculated in it"},
    {RECORD_STARTER,
     "SELECT s.id, b.label FROM starter s JOIN batch b ON b.starter = s.id WHERE " DAY(
         "s", "made") " > " DAY("b", "at"),
     "it was made after batch %s was inoculated with it"},
    {RECORD_LOT,
     "SELECT l.id, b.label FROM lot l JOIN batch b ON b.lot = l.id WHERE " DAY(
         "l", "bought") " > " DAY("b", "at"),
     "it was bought after batch %s was inoculated"},
    {RECORD_PARENT,
     "SELECT p.id, s.label FROM parent p JOIN starter s ON s.id = p.starter JOIN starter q"
     " ON q.id = p.parent WHERE " DAY("q", "made") " > " DAY("s", "made"),
     "%s was made before what it came from"},
};

static void corrections(struct check *check, enum record record)
{
    const char *name = record_types[record].name;
    struct text sql;
    text_init(&sql);
    text_printf(&sql,
                "SELECT a.id, b.id FROM \"%s\" a JOIN \"%s\" b ON b.id = a.corrects"
                " WHERE a.vessel <> b.vessel OR a.turn IS NOT coalesce(b.turn, b.id)"
                " OR b.id >= a.id",
                name, name);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record, sqlite3_column_int64(statement, 0),
                    "it corrects %s %lld, which is of another vessel or chain", name,
                    (long long)sqlite3_column_int64(statement, 1));
    text_init(&sql);
    text_printf(&sql, "SELECT id FROM \"%s\" WHERE corrects IS NULL AND turn IS NOT NULL", name);
    statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record, sqlite3_column_int64(statement, 0),
                    "it corrects nothing, but stands in a chain of corrections");
}

/* The complaints are a table's, each with one %s. */
static void tell_order(struct check *check, const struct order *order, int64_t id,
                       const char *label)
{
    struct text message;
    text_init(&message);
    for (const char *at = order->complaint; *at != '\0'; at++) {
        if (at[0] == '%' && at[1] == 's') {
            text_printf(&message, "%.200s", label);
            at++;
        } else {
            text_add(&message, at, 1);
        }
    }
    check_error(check, order->record, id, "%s", message.bytes);
    text_release(&message);
}

static void check_order(struct check *check)
{
    for (size_t i = 0; i < sizeof orders / sizeof *orders && check->status == STATUS_OK; i++) {
        struct text sql;
        text_init(&sql);
        text_puts(&sql, orders[i].sql);
        sqlite3_stmt *statement = check_ask(check, &sql);
        while (check_next(check, statement))
            tell_order(check, &orders[i], sqlite3_column_int64(statement, 0),
                       check_text(statement, 1));
    }
    corrections(check, RECORD_LOOK);
    corrections(check, RECORD_EVENT);
    corrections(check, RECORD_OUTCOME);
}

/* ==== check words ============================================================================= */

/* Words of the rule base that stand in the journal, and whether the rules still know them. */

static bool knows_species(const struct rules *rules, const char *word)
{
    return rules_species(rules, word) != RULES_NONE;
}

static bool knows_grain(const struct rules *rules, const char *word)
{
    return rules_grain(rules, word) != RULES_NONE;
}

static bool knows_vessel(const struct rules *rules, const char *word)
{
    return rules_vessel(rules, word) != RULES_NONE;
}

static bool knows_finding(const struct rules *rules, const char *word)
{
    return rules_finding(rules, word) != RULES_NONE;
}

static bool knows_cause(const struct rules *rules, const char *word)
{
    return rules_cause(rules, word) != RULES_NONE;
}

static bool knows_starter(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->starter_count; i++)
        if (strcmp(rules->starters[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_use(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->decision.use_count; i++)
        if (strcmp(rules->decision.uses[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_step(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->decision.next_step_count; i++)
        if (strcmp(rules->decision.next_steps[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_floor(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->decision.floor_count; i++)
        if (strcmp(rules->decision.floors[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_status(const struct rules *rules, const char *word)
{
    (void)rules;
    for (int i = 0; i < FINDING_STATUS_COUNT; i++)
        if (strcmp(status_name((enum finding_status)i), word) == 0)
            return true;
    return false;
}

static bool knows_action(const struct rules *rules, const char *word)
{
    (void)rules;
    for (int i = 0; i < ACTION_COUNT; i++)
        if (strcmp(action_name((enum action)i), word) == 0)
            return true;
    return false;
}

static const struct {
    enum record record;
    const char *column;
    bool (*knows)(const struct rules *rules, const char *word);
} known[] = {
    {RECORD_STARTER, "species", knows_species}, {RECORD_STARTER, "kind", knows_starter},
    {RECORD_LOT, "grain", knows_grain},         {RECORD_BATCH, "species", knows_species},
    {RECORD_BATCH, "purpose", knows_use},       {RECORD_VESSEL, "kind", knows_vessel},
    {RECORD_LOOK, "action", knows_action},      {RECORD_LOOK, "next_step", knows_step},
    {RECORD_LOOK, "forced_by", knows_floor},    {RECORD_LOOK, "finding", knows_finding},
    {RECORD_LOOK, "status", knows_status},      {RECORD_OUTCOME, "finding", knows_finding},
    {RECORD_OUTCOME, "status", knows_status},   {RECORD_OUTCOME, "cause", knows_cause},
};

/* One warning a word, however often it stands. */
static void words_of(struct check *check, size_t i)
{
    const char *column = known[i].column;
    struct text sql;
    text_init(&sql);
    text_printf(&sql,
                "SELECT \"%s\", count(*), min(id) FROM \"%s\" WHERE \"%s\" <> '' GROUP BY \"%s\"",
                column, record_types[known[i].record].name, column, column);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *word = check_text(statement, 0);
        if (known[i].knows(check->rules, word))
            continue;
        check_warning(check, known[i].record, sqlite3_column_int64(statement, 2),
                      "'%s' is '%.80s' in %lld of them, which these rules do not know", column,
                      word, (long long)sqlite3_column_int64(statement, 1));
    }
}

/* The signs of "sign=value sign=value". */
static void signs_of(struct check *check, enum record record)
{
    struct text sql;
    text_init(&sql);
    text_printf(&sql, "SELECT id, facts FROM \"%s\" WHERE facts <> '' ORDER BY id",
                record_types[record].name);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *at = check_text(statement, 1);
        while (*(at += strspn(at, " ")) != '\0') {
            char sign[80];
            size_t length = strcspn(at, "= ");
            snprintf(sign, sizeof sign, "%.*s", (int)(length < sizeof sign ? length : 79), at);
            if (rules_observable(check->rules, sign) == RULES_NONE)
                check_warning(check, record, sqlite3_column_int64(statement, 0),
                              "'facts' name a sign '%s', which these rules do not know", sign);
            at += strcspn(at, " ");
        }
    }
}

static void check_words(struct check *check)
{
    if (check->rules == NULL)
        return;
    for (size_t i = 0; i < sizeof known / sizeof *known && check->status == STATUS_OK; i++)
        words_of(check, i);
    signs_of(check, RECORD_COOK);
    signs_of(check, RECORD_SESSION);
    signs_of(check, RECORD_BATCH);
}

/* ==== check =================================================================================== */

/* ---- telling --------------------------------------------------------------------------------- */

static void add_label(struct check *check, enum record record, int64_t id, struct text *label)
{
    static const struct text_safe_options options = {.limit = 60};
    struct text sql;
    text_init(&sql);
    if (record == RECORD_COUNT || record_types[record].columns[0].kind != COLUMN_LABEL)
        return;
    text_printf(&sql, "SELECT label FROM \"%s\" WHERE id = %lld", record_types[record].name,
                (long long)id);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *found = check_text(statement, 0);
        text_safe(label, found, strlen(found), &options);
    }
}

__attribute__((format(printf, 5, 0))) static void tell(struct check *check, bool warning,
                                                       enum record record, int64_t id,
                                                       const char *format, va_list arguments)
{
    static const struct text_safe_options options = {.limit = 400};
    char room[1024];
    struct text safe, label;
    vsnprintf(room, sizeof room, format, arguments);
    text_init(&safe);
    text_init(&label);
    text_safe(&safe, room, strlen(room), &options);
    add_label(check, record, id, &label);
    struct check_fault fault = {warning, record, id, label.bytes, safe.bytes};
    check->sink->tell(check->sink->context, &fault);
    text_release(&safe);
    text_release(&label);
    if (warning)
        check->tally->warnings++;
    else
        check->tally->errors++;
}

static void check_error(struct check *check, enum record record, int64_t id, const char *format,
                        ...)
{
    va_list arguments;
    va_start(arguments, format);
    tell(check, false, record, id, format, arguments);
    va_end(arguments);
}

static void check_warning(struct check *check, enum record record, int64_t id, const char *format,
                          ...)
{
    va_list arguments;
    va_start(arguments, format);
    tell(check, true, record, id, format, arguments);
    va_end(arguments);
}

/* ---- asking ---------------------------------------------------------------------------------- */

static sqlite3_stmt *check_ask(struct check *check, struct text *sql)
{
    sqlite3_stmt *statement = NULL;
    if (sql->failed)
        check->status = STATUS_MEMORY;
    else if (check->status == STATUS_OK && /* after a fault nothing more is asked */
             sqlite3_prepare_v2(check->journal->database, sql->bytes, -1, &statement, NULL) !=
                 SQLITE_OK)
        check->status = journal_fault(check->journal, "read", check->diags);
    text_release(sql);
    return statement;
}

static bool check_next(struct check *check, sqlite3_stmt *statement)
{
    if (statement == NULL)
        return false;
    int code = sqlite3_step(statement);
    if (code == SQLITE_ROW)
        return true;
    if (code != SQLITE_DONE)
        check->status = journal_fault(check->journal, "read", check->diags);
    sqlite3_finalize(statement);
    return false;
}

static const char *check_text(sqlite3_stmt *statement, int column)
{
    const char *text = (const char *)sqlite3_column_text(statement, column);
    return text != NULL ? text : "";
}

/* ---- the file -------------------------------------------------------------------------------- */

/* True when the pages are sound. */
static bool check_pages(struct check *check)
{
    struct text sql;
    bool sound = true;
    text_init(&sql);
    text_puts(&sql, "PRAGMA integrity_check(100)");
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *said = check_text(statement, 0);
        if (strcmp(said, "ok") == 0)
            continue;
        sound = false;
        check_error(check, RECORD_COUNT, 0, "the file is damaged: %.300s", said);
    }
    if (check->status == STATUS_DATA) { /* too damaged even to be asked */
        check->status = STATUS_OK;
        if (sound)
            check_error(check, RECORD_COUNT, 0, "the file is too damaged to be read through");
        sound = false;
        diags_clear(check->diags);
    }
    return sound;
}

static enum record record_named(const char *name)
{
    int i = 0;
    while (i < RECORD_COUNT && strcmp(record_types[i].name, name) != 0)
        i++;
    return (enum record)i;
}

static void check_references(struct check *check)
{
    struct text sql;
    text_init(&sql);
    text_puts(&sql, "PRAGMA foreign_key_check");
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record_named(check_text(statement, 0)),
                    sqlite3_column_int64(statement, 1), "names a %.60s that is not there",
                    check_text(statement, 2));
}

enum status check_journal(struct journal *journal, const struct rules *rules, struct moment now,
                          const struct check_sink *sink, struct check_tally *tally,
                          struct diags *diags)
{
    static void (*const parts[])(struct check *) = {check_references, check_columns, check_order,
                                                    check_content, check_words};
    struct check check = {.journal = journal,
                          .rules = rules,
                          .now = now,
                          .sink = sink,
                          .tally = tally,
                          .diags = diags};
    *tally = (struct check_tally){0};
    /* One view, however long it takes and whoever writes meanwhile. */
    if (sqlite3_exec(journal->database, "SAVEPOINT looked_at", NULL, NULL, NULL) != SQLITE_OK)
        return journal_fault(journal, "read", diags);
    if (check_pages(&check))
        for (size_t i = 0; i < sizeof parts / sizeof *parts && check.status == STATUS_OK; i++)
            parts[i](&check);
    sqlite3_exec(journal->database, "RELEASE looked_at", NULL, NULL, NULL);
    return check.status;
}
