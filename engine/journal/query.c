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

static size_t word_index(const char *const *words, const char *word)
{
    size_t index = 0;
    while (words[index] != NULL && strcmp(words[index], word) != 0)
        index++;
    return index;
}

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
        size_t state = word_index(vessel_state_words, query_text(&query, 1));
        size_t fate = word_index(fate_words, query_text(&query, 2));
        if (state > VESSEL_USED || fate >= FATE_COUNT) {
            diags_error(
                diags, (struct position){.file = journal->path},
                "a vessel is in a state that is not known; 'jarside journal check' says more");
            query.status = STATUS_DATA;
            break;
        }
        if (query_integer(&query, 0) != 0) {
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
                          struct losses **losses, size_t *count, struct diags *diags)
{
    static const char *const keys[LOSSES_BY] = {
        [LOSSES_BY_MONTH] = "strftime('%Y-%m', b.at + 60 * b.at_offset, 'unixepoch')",
        [LOSSES_BY_SPECIES] = "b.species",
        [LOSSES_BY_STARTER] = "ifnull((SELECT label FROM starter WHERE id = b.starter), '')",
    };
    const char *sql = journal_sql(journal,
                                  "SELECT %s, v.fate, count(*) FROM vessel AS v JOIN batch AS b"
                                  " ON b.id = v.batch WHERE NOT v.control GROUP BY 1, 2 ORDER BY 1",
                                  keys[by]);
    struct query query = query_begin(journal, diags, sql, "");
    *losses = NULL;
    *count = 0;
    while (query_next(&query)) {
        const char *key = query_text(&query, 0);
        size_t fate = word_index(fate_words, query_text(&query, 1));
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
static const int64_t kind_numbers[RECORD_COUNT] = {
    [RECORD_BATCH] = 1,   [RECORD_VESSEL] = 2,  [RECORD_STARTER] = 3, [RECORD_LOT] = 4,
    [RECORD_COOK] = 5,    [RECORD_SESSION] = 6, [RECORD_PLACE] = 7,   [RECORD_EVENT] = 8,
    [RECORD_OUTCOME] = 9, [RECORD_EDIT] = 10,   [RECORD_LOOK] = 100,
};
enum { KIND_SHIFT = 40 };

static bool is_searched(const struct column *column)
{
    return (column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT) && !column->derived &&
           !column->internal;
}

enum status words_note(struct journal *journal, enum record record, const void *row,
                       struct diags *diags)
{
    struct text body;
    int64_t none;
    if (kind_numbers[record] == 0)
        return STATUS_OK;
    text_init(&body);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        const char *text =
            is_searched(column) ? *(const char *const *)column_member(column, row) : NULL;
        if (text == NULL || text[0] == '\0')
            continue;
        text_fold(&body, text, strlen(text), NULL);
        text_puts(&body, "\n");
    }
    int64_t id = (kind_numbers[record] << KIND_SHIFT) + *(const int64_t *)row;
    enum status status =
        body.length == 0
            ? STATUS_OK
            : query_number(journal, &none, diags, "INSERT INTO wording (rowid, body) VALUES (?, ?)",
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

struct wanted {
    struct text *words; /* folded */
    size_t count;
    struct text room;
};

/* SQL function of any number of texts: whether each wanted word is in one of them. */
static void holds_all(sqlite3_context *context, int count, sqlite3_value **values)
{
    struct wanted *wanted = sqlite3_user_data(context);
    bool all = true;
    for (size_t w = 0; all && w < wanted->count; w++) {
        all = false;
        for (int i = 0; i < count && !all; i++) {
            const char *bytes = (const char *)sqlite3_value_text(values[i]);
            text_clear(&wanted->room);
            all = bytes != NULL &&
                  text_fold(&wanted->room, bytes, (size_t)sqlite3_value_bytes(values[i]), NULL) &&
                  strstr(wanted->room.bytes, wanted->words[w].bytes) != NULL;
        }
    }
    sqlite3_result_int(context, all);
}

/* What is asked of the full text: each word that has a letter or figure, in quotes; with `begun` it is
 * enough that a word begins so. "" when no word has any. */
static void put_match(struct text *match, const struct wanted *wanted, bool begun)
{
    text_clear(match);
    for (size_t i = 0; i < wanted->count; i++) {
        const char *word = wanted->words[i].bytes;
        bool solid = false;
        for (const char *at = word; *at != '\0'; at++)
            solid = solid || isalnum((unsigned char)*at) || (unsigned char)*at >= 0x80;
        if (!solid)
            continue;
        text_puts(match, match->length > 0 ? " AND \"" : "\"");
        for (; *word != '\0'; word++)
            text_add(match, *word == '"' ? " " : word, 1);
        text_puts(match, begun ? "\"*" : "\"");
    }
}

/* The newest rows of a kind that hold the words; a row found in the full text is asked itself, since what
 * it said once stands there, too. */
static enum status search_kind(struct journal *journal, enum record record, const char *match,
                               size_t limit, struct arena *arena, struct hits *hits,
                               struct diags *diags)
{
    struct text columns;
    size_t found = 0;
    int64_t first = kind_numbers[record] << KIND_SHIFT;
    text_init(&columns);
    for (const struct column *column = record_types[record].columns; column->name; column++)
        if (is_searched(column))
            text_printf(&columns, "%sr.\"%s\"", columns.length > 0 ? ", " : "", column->name);
    const char *sql = journal_sql(
        journal,
        match[0] != '\0'
            ? "SELECT r.id FROM wording CROSS JOIN \"%s\" AS r ON r.id = wording.rowid - ?2"
              " WHERE wording MATCH ?1 AND wording.rowid BETWEEN ?2 AND ?3"
              " AND holds_all(%s) ORDER BY wording.rowid DESC LIMIT ?4"
            : "SELECT r.id FROM \"%s\" AS r WHERE ?1 = '' AND ?2 < ?3"
              " AND holds_all(%s) ORDER BY r.id DESC LIMIT ?4",
        record_types[record].name, columns.bytes);
    text_release(&columns);
    struct query query = query_begin(journal, diags, sql, "tiii", match, first,
                                     first + (INT64_C(1) << KIND_SHIFT) - 1, (int64_t)limit + 1);
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
    static const enum record kinds[] = {
        RECORD_BATCH, RECORD_VESSEL, RECORD_STARTER, RECORD_LOT,     RECORD_COOK, RECORD_SESSION,
        RECORD_PLACE, RECORD_LOOK,   RECORD_EVENT,   RECORD_OUTCOME, RECORD_EDIT,
    };
    enum { KINDS = sizeof kinds / sizeof *kinds };
    struct wanted wanted = {.words = arena_array(arena, count, sizeof(struct text))};
    struct text match;
    enum status status = STATUS_OK;
    *hits = (struct hits){NULL, 0, false};
    text_init(&wanted.room);
    text_init(&match);
    for (; wanted.count < count && status == STATUS_OK; wanted.count++) {
        const char *word = words[wanted.count];
        text_init(&wanted.words[wanted.count]);
        if (!text_fold(&wanted.words[wanted.count], word, strlen(word), NULL)) {
            diags_error(diags, (struct position){0}, "'%s' is not text in UTF-8", word);
            status = STATUS_USAGE;
        }
    }
    if (status == STATUS_OK && sqlite3_create_function(journal->database, "holds_all", -1,
                                                       SQLITE_UTF8 | SQLITE_DETERMINISTIC, &wanted,
                                                       holds_all, NULL, NULL) != SQLITE_OK)
        status = journal_fault(journal, "search", diags);
    /* Whole words; where nothing has them, words that begin so. */
    for (int begun = 0; begun < 2 && hits->count == 0 && status == STATUS_OK; begun++) {
        put_match(&match, &wanted, begun);
        for (size_t i = 0; i < KINDS && status == STATUS_OK; i++)
            status = search_kind(journal, kinds[i], match.bytes, limit, arena, hits, diags);
    }
    sqlite3_create_function(journal->database, "holds_all", -1, SQLITE_UTF8, NULL, NULL, NULL,
                            NULL);
    for (size_t i = 0; i < wanted.count; i++)
        text_release(&wanted.words[i]);
    text_release(&wanted.room);
    text_release(&match);
    return status;
}

/* ---- history --------------------------------------------------------------------------------- */

/* The newest rows of a kind; `where` has the parameters ?1, a number, and ?2, a text. */
static enum status gather(struct journal *journal, enum record kind, const char *where,
                          int64_t number, const char *label, size_t limit, struct arena *arena,
                          struct history *history, struct diags *diags)
{
    bool edits = kind == RECORD_EDIT;
    const char *columns = row_columns(journal, kind), *name = record_types[kind].name;
    const char *sql =
        edits ? journal_sql(journal, "SELECT %s, 0 FROM edit WHERE %s ORDER BY id DESC LIMIT ?3",
                            columns, where)
              : journal_sql(journal,
                            "SELECT %s, EXISTS (SELECT 1 FROM \"%s\" WHERE corrects = a.id)"
                            " FROM \"%s\" AS a WHERE %s ORDER BY id DESC LIMIT ?3",
                            columns, name, name, where);
    struct query query = query_begin(journal, diags, sql, "iti", number, label, limit_of(limit));
    union any_record row;
    size_t found = 0;
    for (; query_row(&query, kind, arena, &row); found++) {
        struct history_entry *entry = arena_push(arena, history->entries, history->count);
        *entry = (struct history_entry){
            .kind = kind,
            .id = row.named.id,
            .at = edits ? row.edit.at : row.dated.at,
            .vessel = edits ? 0 : row.dated.vessel,
            .overruled = query_integer(&query, sqlite3_column_count(query.statement) - 1) != 0,
        };
        memcpy(&entry->is, &row, record_types[kind].size);
    }
    enum status status = query_end(&query);
    if (status == STATUS_OK && !edits && limit > 0 && found == limit) {
        int64_t total = 0;
        status = query_number(
            journal, &total, diags,
            journal_sql(journal, "SELECT count(*) FROM \"%s\" WHERE %s", name, where), "i", number);
        history->earlier += (size_t)total - found;
    }
    return status;
}

static int by_moment(const void *left, const void *right)
{
    const struct history_entry *a = left, *b = right;
    if (a->at.seconds != b->at.seconds)
        return a->at.seconds < b->at.seconds ? -1 : 1;
    if (a->kind != b->kind)
        return a->kind < b->kind ? -1 : 1;
    return a->id < b->id ? -1 : a->id > b->id;
}

enum status history_of(struct journal *journal, enum record record, const void *row, size_t limit,
                       struct arena *arena, struct history *history, struct diags *diags)
{
    static const enum record kinds[] = {RECORD_LOOK, RECORD_EVENT, RECORD_OUTCOME};
    const union any_record *of = row;
    const char *where = record == RECORD_VESSEL ? "vessel = ?1"
                        : record == RECORD_BATCH
                            ? "vessel IN (SELECT id FROM vessel WHERE batch = ?1)"
                            : NULL;
    char edits[48];
    enum status status = STATUS_OK;
    *history = (struct history){NULL, 0, 0};
    for (size_t i = 0; where != NULL && i < sizeof kinds / sizeof *kinds && status == STATUS_OK;
         i++)
        status = gather(journal, kinds[i], where, of->named.id, "", limit, arena, history, diags);
    snprintf(edits, sizeof edits, "\"table\" = '%s' AND label = ?2", record_types[record].name);
    if (status == STATUS_OK)
        status =
            gather(journal, RECORD_EDIT, edits, 0, of->named.label, limit, arena, history, diags);
    if (history->count > 0)
        qsort(history->entries, history->count, sizeof *history->entries, by_moment);
    return status;
}
