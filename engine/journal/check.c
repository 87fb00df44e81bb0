/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/check.h"

#include <jansson.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "journal/sql.h"

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

static void check_column(struct check *check, enum record record, const struct column *column)
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

const char *order_of(size_t index, enum record record, bool is_new)
{
    for (size_t i = 0; i < sizeof orders / sizeof *orders; i++) {
        enum record of = orders[i].record;
        /* A new one of these can break it; else what refers to it. */
        bool own = record_of_vessel(of) || of == RECORD_PARENT;
        bool touches =
            (of == record && (own || !is_new)) || (orders[i].other == record && (!own || !is_new));
        if (touches && index-- == 0)
            return orders[i].sql;
    }
    return NULL;
}

static void check_order(struct check *check)
{
    static const enum record corrected[] = {RECORD_LOOK, RECORD_EVENT, RECORD_OUTCOME};
    for (size_t i = 0; i < sizeof orders / sizeof *orders; i++)
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
    const char *sql = journal_sql(
        check->journal,
        "SELECT CASE WHEN v.state IS NOT d.state THEN 'state' WHEN v.fate IS NOT d.fate THEN 'fate'"
        " WHEN v.ended IS NOT d.ended THEN 'end' WHEN v.last_look IS NOT d.last_look"
        " THEN 'last look' WHEN v.stands IS NOT d.stands OR v.stood IS NOT d.stood THEN 'place'"
        " ELSE '' END FROM vessel AS v, (%s) AS d WHERE v.id = ?1",
        vessel_derived);
    struct query query = query_begin(check->journal, check->diags, sql, "i", vessel->id);
    if (query_next(&query) && query_text(&query, 0)[0] != '\0')
        tell(check, DIAG_ERROR, RECORD_VESSEL, vessel->id,
             "the %s of %.200s is not what its looks, events and outcomes say",
             query_text(&query, 0), vessel->label);
    end(check, &query);
    if (vessel_gone(vessel) && vessel->due != 0)
        tell(check, DIAG_ERROR, RECORD_VESSEL, vessel->id,
             "a look at %.200s is due, although it is gone", vessel->label);
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

/* Rows that hold a word that is not known end a walk; check_columns has told of them. */
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
        struct list_word known;
        for (size_t i = 0; (known = list_word(check->rules, column->list, i)).id != NULL; i++)
            if (strcmp(known.id, word) == 0)
                break;
        if (known.id == NULL)
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
                    check_column(&check, (enum record)i, column);
        check_order(&check);
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
