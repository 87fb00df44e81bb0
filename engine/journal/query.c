/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/query.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "journal/sql.h"

/* ---- pages ----------------------------------------------------------------------------------- */

/* What is asked is put together from constants; every value is bound. */

struct survey survey_all(enum record record, size_t limit)
{
    return (struct survey){
        .record = record, .state = SURVEY_ANY, .fate = SURVEY_ANY, .limit = limit};
}

static int64_t limit_of(size_t limit)
{
    return limit > 0 ? (int64_t)limit : -1;
}

/* Ids of rows "FROM `from`", of which `number` is the parameter ?1: the first in an order, or without
 * one the newest, by rising id. */
static enum status page_of(struct journal *journal, const char *from, const char *order,
                           int64_t number, size_t limit, struct arena *arena, struct page *page,
                           struct diags *diags)
{
    int64_t *ids = NULL, total = 0;
    const char *sql =
        order != NULL
            ? journal_sql(journal, "SELECT id FROM %s ORDER BY %s LIMIT ?2", from, order)
            : journal_sql(
                  journal,
                  "SELECT id FROM (SELECT id FROM %s ORDER BY id DESC LIMIT ?2) ORDER BY id", from);
    struct query query = query_begin(journal, diags, sql, "ii", number, limit_of(limit));
    size_t count = 0;
    while (query_next(&query))
        *arena_push(arena, ids, count) = query_integer(&query, 0);
    *page = (struct page){ids, count, count};
    enum status status = query_end(&query);
    if (status != STATUS_OK || limit == 0 || count < limit)
        return status;
    status = query_number(journal, &total, diags,
                          journal_sql(journal, "SELECT count(*) FROM %s", from), "i", number);
    page->total = (size_t)total;
    return status;
}

enum status survey_page(struct journal *journal, const struct survey *survey, struct arena *arena,
                        struct page *page, struct diags *diags)
{
    bool vessels = survey->record == RECORD_VESSEL;
    struct text from;
    text_init(&from);
    text_printf(&from, "\"%s\" WHERE 1", record_types[survey->record].name);
    if (survey->vessel != 0)
        text_puts(&from, " AND vessel = ?1");
    else if (survey->batch != 0)
        text_puts(&from, vessels ? " AND batch = ?1"
                                 : " AND vessel IN (SELECT id FROM vessel WHERE batch = ?1)");
    if (survey->state != SURVEY_ANY)
        text_printf(&from, " AND state = '%s'", vessel_state_words[survey->state]);
    if (survey->fate != SURVEY_ANY)
        text_printf(&from, " AND fate = '%s'", fate_words[survey->fate]);
    enum status status =
        page_of(journal, from.bytes, NULL, survey->vessel != 0 ? survey->vessel : survey->batch,
                survey->limit, arena, page, diags);
    text_release(&from);
    return status;
}

enum status survey_undated(struct journal *journal, size_t limit, struct arena *arena,
                           struct page *page, struct diags *diags)
{
    return page_of(journal, "vessel WHERE due = 0 AND state IN ('growing', 'isolated')", "id", 0,
                   limit, arena, page, diags);
}

/* A vessel that is gone has no day: journal_refresh sees to that. */
#define DUE "WHERE due > 0 AND due <= ?1"

enum status survey_due(struct journal *journal, int64_t day, size_t limit, struct arena *arena,
                       struct page *page, struct diags *diags)
{
    return page_of(journal, "vessel " DUE, "due, id", day, limit, arena, page, diags);
}

enum status journal_due(struct journal *journal, int64_t day, struct arena *arena,
                        struct vessel **vessels, size_t *count, struct diags *diags)
{
    const char *columns = row_columns(journal, RECORD_VESSEL);
    struct query query = query_begin(
        journal, diags,
        journal_sql(journal, "SELECT %s FROM vessel " DUE " ORDER BY due, batch, number, id",
                    columns),
        "i", day);
    return query_rows(&query, RECORD_VESSEL, arena, (void **)vessels, count);
}

/* The column of a batch that names such a record; NULL when there is none. */
static const char *batch_column(enum record record)
{
    bool is = record == RECORD_STARTER || record == RECORD_LOT || record == RECORD_COOK ||
              record == RECORD_SESSION;
    return is ? record_types[record].name : NULL;
}

enum status survey_batches(struct journal *journal, enum record record, int64_t id, size_t limit,
                           struct arena *arena, struct page *page, struct diags *diags)
{
    char from[64];
    if (batch_column(record) == NULL)
        return STATUS_INTERNAL;
    snprintf(from, sizeof from, "batch WHERE %s = ?1", batch_column(record));
    return page_of(journal, from, NULL, id, limit, arena, page, diags);
}

enum status survey_children(struct journal *journal, enum record record, int64_t id,
                            struct arena *arena, struct page *page, struct diags *diags)
{
    const char *from =
        record == RECORD_VESSEL
            ? "starter WHERE id IN (SELECT starter FROM parent WHERE vessel = ?1)"
            : "starter WHERE id IN (SELECT starter FROM parent WHERE parent = ?1 UNION"
              " SELECT p.starter FROM parent AS p JOIN vessel AS v ON v.id = p.vessel"
              " JOIN batch AS b ON b.id = v.batch WHERE b.starter = ?1)";
    return page_of(journal, from, "id", id, 0, arena, page, diags);
}

/* ---- counts ---------------------------------------------------------------------------------- */

enum status survey_tally(struct journal *journal, enum record record, int64_t id,
                         struct vessel_tally *tally, struct diags *diags)
{
    char condition[96];
    memset(tally, 0, sizeof *tally);
    if (record == RECORD_BATCH || record == RECORD_PLACE)
        snprintf(condition, sizeof condition, "%s = ?1",
                 record == RECORD_BATCH ? "batch" : "stands");
    else if (batch_column(record) != NULL)
        snprintf(condition, sizeof condition, "batch IN (SELECT id FROM batch WHERE %s = ?1)",
                 batch_column(record));
    else
        return STATUS_INTERNAL;
    const char *sql = journal_sql(
        journal, "SELECT control, state, fate, count(*) FROM vessel WHERE %s GROUP BY 1, 2, 3",
        condition);
    struct query query = query_begin(journal, diags, sql, "i", id);
    while (query_next(&query)) {
        size_t count = (size_t)query_integer(&query, 3);
        size_t state = word_number(vessel_state_words, query_text(&query, 1));
        size_t fate = word_number(fate_words, query_text(&query, 2));
        bool control = query_integer(&query, 0) != 0;
        if (state > VESSEL_USED || fate >= FATE_COUNT) {
            query.status = journal_refuse(
                journal, STATUS_DATA, diags,
                "a vessel is in a state that is not known; 'jarside journal check' says more");
            break;
        }
        if (control) {
            tally->controls += count;
            tally->controls_lost += fate == FATE_CONTAMINATED ? count : 0;
            continue;
        }
        tally->vessels += count;
        tally->state[state] += count;
        tally->well[state] += fate == FATE_OPEN || fate == FATE_SOUND ? count : 0;
        tally->fate[fate] += count;
    }
    return query_end(&query);
}

size_t tally_lost(const struct vessel_tally *tally)
{
    return tally->fate[FATE_STUCK] + tally->fate[FATE_CONTAMINATED] + tally->fate[FATE_UNTOLD];
}

enum status survey_losses(struct journal *journal, enum losses_by by, struct arena *arena,
                          const char *batches, int64_t since, struct losses **losses, size_t *count,
                          struct diags *diags)
{
    static const char *const keys[LOSSES_BY] = {
        [LOSSES_BY_MONTH] = "strftime('%Y-%m', b.at + 60 * b.at_offset, 'unixepoch')",
        [LOSSES_BY_SPECIES] = "b.species",
        [LOSSES_BY_STARTER] = "ifnull((SELECT label FROM starter WHERE id = b.starter), '')",
    };
    const char *sql = journal_sql(journal,
                                  "SELECT %s, v.fate, count(*) FROM vessel AS v JOIN batch AS b"
                                  " ON b.id = v.batch WHERE NOT v.control AND b.at >= ?2 AND"
                                  " (?1 = '[]' OR b.id IN (SELECT value FROM json_each(?1)))"
                                  " GROUP BY 1, 2 ORDER BY 1",
                                  keys[by]);
    struct query query = query_begin(journal, diags, sql, "ti", batches, since);
    *losses = NULL;
    *count = 0;
    while (query_next(&query)) {
        const char *key = query_text(&query, 0);
        size_t fate = word_number(fate_words, query_text(&query, 1));
        if (*count == 0 || strcmp((*losses)[*count - 1].key, key) != 0)
            *arena_push(arena, *losses, *count) = (struct losses){.key = arena_string(arena, key)};
        if (fate < FATE_COUNT)
            (*losses)[*count - 1].fate[fate] += (size_t)query_integer(&query, 2);
    }
    return query_end(&query);
}

/* ---- search ---------------------------------------------------------------------------------- */

/* The words of every record stand in the full text table `wording`, folded, under a number made of the
 * kind and the id. These are in files: a new kind gets a new number. Looks, of which there are most, come
 * last, since a search goes down from the end of its kind. */
static const struct {
    enum record record;
    int64_t number;
} searched[] = {{RECORD_BATCH, 1}, {RECORD_VESSEL, 2},  {RECORD_STARTER, 3}, {RECORD_LOT, 4},
                {RECORD_COOK, 5},  {RECORD_SESSION, 6}, {RECORD_PLACE, 7},   {RECORD_LOOK, 100},
                {RECORD_EVENT, 8}, {RECORD_OUTCOME, 9}, {RECORD_EDIT, 10}};
enum { KINDS = sizeof searched / sizeof *searched, KIND_SHIFT = 40 };

static bool is_searched(const struct column *column)
{
    return (column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT) && !column->derived &&
           !column->internal;
}

enum status words_note(struct journal *journal, enum record record, const void *row,
                       struct diags *diags)
{
    struct text body;
    int64_t id = 0;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < KINDS; i++)
        if (searched[i].record == record)
            id = (searched[i].number << KIND_SHIFT) + *(const int64_t *)row;
    text_init(&body);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        const char *text =
            is_searched(column) ? *(const char *const *)column_member(column, row) : NULL;
        if (text == NULL || text[0] == '\0')
            continue;
        text_fold(&body, text, strlen(text), NULL);
        text_puts(&body, "\n");
    }
    if (body.length > 0 && id != 0)
        status =
            query_number(journal, NULL, diags, "INSERT INTO wording (rowid, body) VALUES (?, ?)",
                         "it", id, body.bytes);
    text_release(&body);
    return status;
}

enum status words_fill(struct journal *journal, struct diags *diags)
{
    enum status status = STATUS_OK;
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        union any_record row;
        struct walk *walk = journal_walk(journal, (enum record)i, NULL, 0, false, diags);
        while (status == STATUS_OK && walk_next(walk, &row))
            status = words_note(journal, (enum record)i, &row, diags);
        enum status walked = walk_end(walk);
        status = status != STATUS_OK ? status : walked;
    }
    return status;
}

/* SQL function of texts: whether each word of the first, a line each and folded, is in one of the others. */
void words_in(sqlite3_context *context, int count, sqlite3_value **values)
{
    const char *word = (const char *)sqlite3_value_text(values[0]);
    bool all = word != NULL;
    struct text folded;
    text_init(&folded);
    for (size_t length; all && *word != '\0'; word += length + 1) {
        char *wanted = strndup(word, length = strcspn(word, "\n"));
        all = false;
        for (int i = 1; i < count && !all; i++) {
            const char *bytes = (const char *)sqlite3_value_text(values[i]);
            text_clear(&folded);
            all = bytes != NULL &&
                  text_fold(&folded, bytes, (size_t)sqlite3_value_bytes(values[i]), NULL) &&
                  strstr(folded.bytes, wanted) != NULL;
        }
        free(wanted);
    }
    text_release(&folded);
    sqlite3_result_int(context, all);
}

/* What is asked of the full text: each word that has a letter or figure, in quotes; with `begun` it is
 * enough that a word begins so. "" when no word has any. */
static void put_match(struct text *match, const char *wanted, bool begun)
{
    text_clear(match);
    for (size_t length; *wanted != '\0'; wanted += length + 1) {
        bool solid = false;
        length = strcspn(wanted, "\n");
        for (size_t i = 0; i < length; i++)
            solid = solid || isalnum((unsigned char)wanted[i]) || (unsigned char)wanted[i] >= 0x80;
        if (!solid)
            continue;
        text_puts(match, match->length > 0 ? " AND \"" : "\"");
        for (size_t i = 0; i < length; i++)
            text_add(match, wanted[i] == '"' ? " " : wanted + i, 1);
        text_puts(match, begun ? "\"*" : "\"");
    }
}

/* The newest rows of a kind that hold the words; a row found in the full text is asked itself, since what
 * it said once stands there, too. */
static enum status search_kind(struct journal *journal, size_t kind, const char *match,
                               const char *wanted, size_t limit, struct arena *arena,
                               struct hits *hits, struct diags *diags)
{
    enum record record = searched[kind].record;
    struct text columns;
    size_t found = 0;
    int64_t first = searched[kind].number << KIND_SHIFT;
    text_init(&columns);
    for (const struct column *column = record_types[record].columns; column->name; column++)
        if (is_searched(column))
            text_printf(&columns, ", r.\"%s\"", column->name);
    const char *sql = journal_sql(
        journal,
        match[0] != '\0'
            ? "SELECT r.id FROM wording CROSS JOIN \"%s\" AS r ON r.id = wording.rowid - ?2"
              " WHERE wording MATCH ?1 AND wording.rowid BETWEEN ?2 AND ?3"
              " AND words_in(?5%s) ORDER BY wording.rowid DESC LIMIT ?4"
            : "SELECT r.id FROM \"%s\" AS r WHERE ?1 = '' AND ?2 < ?3"
              " AND words_in(?5%s) ORDER BY r.id DESC LIMIT ?4",
        record_types[record].name, columns.bytes);
    text_release(&columns);
    struct query query =
        query_begin(journal, diags, sql, "tiiit", match, first,
                    first + (INT64_C(1) << KIND_SHIFT) - 1, (int64_t)limit + 1, wanted);
    while (query_next(&query)) {
        if (found++ == limit) {
            hits->more = true;
            break;
        }
        *arena_push(arena, hits->hits, hits->count) =
            (struct hit){record, query_integer(&query, 0)};
    }
    return query_end(&query);
}

enum status survey_search(struct journal *journal, const char *const *words, size_t count,
                          size_t limit, struct arena *arena, struct hits *hits, struct diags *diags)
{
    struct text wanted, match;
    enum status status = STATUS_OK;
    *hits = (struct hits){NULL, 0, false};
    text_init(&wanted);
    text_init(&match);
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        if (!text_fold(&wanted, words[i], strlen(words[i]), NULL)) {
            diags_error(diags, (struct position){0}, "'%s' is not text in UTF-8", words[i]);
            status = STATUS_USAGE;
        }
        text_puts(&wanted, "\n");
    }
    /* Whole words; where nothing has them, words that begin so. */
    for (int begun = 0; begun < 2 && hits->count == 0 && status == STATUS_OK; begun++) {
        put_match(&match, wanted.bytes, begun);
        for (size_t i = 0; i < KINDS && status == STATUS_OK; i++)
            status = search_kind(journal, i, match.bytes, wanted.bytes, limit, arena, hits, diags);
    }
    text_release(&wanted);
    text_release(&match);
    return status;
}

/* ---- history --------------------------------------------------------------------------------- */

enum status history_of(struct journal *journal, enum record record, const void *row, size_t limit,
                       struct arena *arena, struct history *history, struct diags *diags)
{
    static const enum record kinds[] = {RECORD_LOOK, RECORD_EVENT, RECORD_OUTCOME, RECORD_EDIT};
    enum { HISTORY_KINDS = sizeof kinds / sizeof *kinds };
    const union any_record *of = row;
    struct text sql;
    text_init(&sql);
    *history = (struct history){NULL, 0, 0};
    /* Of each kind the newest, and how many there are; then all in the order of their moments. */
    for (size_t i = 0; i < HISTORY_KINDS; i++) {
        const char *name = record_types[kinds[i]].name;
        bool edits = kinds[i] == RECORD_EDIT;
        text_printf(&sql, "%s SELECT * FROM (SELECT %d AS kind, id, at, at_offset, ",
                    i > 0 ? " UNION ALL" : "", (int)kinds[i]);
        if (edits)
            text_printf(&sql, "0 AS vessel, 0, 0 FROM edit WHERE \"table\" = '%s' AND label = ?2",
                        record_types[record].name);
        else
            text_printf(&sql,
                        "vessel, EXISTS (SELECT 1 FROM \"%s\" WHERE corrects = a.id),"
                        " count(*) OVER () FROM \"%s\" AS a WHERE %s",
                        name, name,
                        record == RECORD_VESSEL ? "vessel = ?1"
                        : record == RECORD_BATCH
                            ? "vessel IN (SELECT id FROM vessel WHERE batch = ?1)"
                            : "0");
        text_puts(&sql, " ORDER BY id DESC LIMIT ?3)");
    }
    text_puts(&sql, " ORDER BY at, kind, id");
    struct query query = query_begin(journal, diags, sql.bytes, "iti", of->named.id,
                                     of->named.label, limit_of(limit));
    size_t totals[RECORD_COUNT] = {0}, total = 0;
    while (query_next(&query)) {
        struct history_entry *entry = arena_push(arena, history->entries, history->count);
        *entry = (struct history_entry){.kind = (enum record)query_integer(&query, 0),
                                        .id = query_integer(&query, 1),
                                        .at = query_moment(&query, 2),
                                        .vessel = query_integer(&query, 4),
                                        .overruled = query_integer(&query, 5) != 0};
        totals[entry->kind] = (size_t)query_integer(&query, 6);
    }
    enum status status = query_end(&query);
    for (size_t i = 0; i < history->count && status == STATUS_OK; i++) {
        struct history_entry *entry = &history->entries[i];
        status = journal_get(journal, entry->kind, entry->id, arena, &entry->is, diags);
        totals[entry->kind] -= totals[entry->kind] > 0;
    }
    for (size_t i = 0; i < HISTORY_KINDS; i++)
        total += totals[kinds[i]];
    history->earlier = total;
    text_release(&sql);
    return status;
}
