/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/journal.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "journal/sql.h"

/* What is asked is put together from constants; every value is bound. */

/* ---- pages ----------------------------------------------------------------------------------- */

/* The condition on a record that belongs to that of another kind whose id is ?1: by its own column,
 * or by the vessel or batch that it is of. */
static const char *belonging(struct arena *arena, enum record record, enum record of)
{
    if (record == RECORD_STARTER)
        return of == RECORD_VESSEL
                   ? "id IN (SELECT starter FROM parent WHERE vessel = ?1)"
                   : "id IN (SELECT starter FROM parent WHERE parent = ?1 UNION"
                     " SELECT p.starter FROM parent AS p JOIN vessel AS v ON v.id = p.vessel"
                     " JOIN batch AS b ON b.id = v.batch WHERE b.starter = ?1)";
    if (record == RECORD_VESSEL && of == RECORD_PLACE)
        return "stands = ?1";
    enum record above = record_of_vessel(record) ? RECORD_VESSEL : RECORD_BATCH;
    const char *column = record_types[of].name, *name = record_types[above].name;
    return record == RECORD_BATCH || above == of
               ? arena_format(arena, "\"%s\" = ?1", column)
               : arena_format(arena, "%s IN (SELECT id FROM %s WHERE \"%s\" = ?1)", name, name,
                              column);
}

struct page query_belonging(struct journal *journal, enum record record, enum record of, int64_t id,
                            size_t limit, struct arena *arena)
{
    return journal_page(journal, record, belonging(arena, record, of), id, limit, arena);
}

/* ---- counts ---------------------------------------------------------------------------------- */

json_t *query_tally(struct journal *journal, enum record record, int64_t id)
{
    struct arena *arena = arena_new();
    const char *sql = journal_sql(journal, "WITH of AS (SELECT * FROM vessel WHERE %s)%s",
                                  belonging(arena, RECORD_VESSEL, record), sql_tally);
    arena_free(arena); /* here, for a journal that cannot be read ends the command */
    json_t *tally = query_json(journal, sql, "i", id);
    (void)journal_told(journal);
    return tally;
}

json_t *query_losses(struct journal *journal, const char *by, const char *batches, int64_t since)
{
    const char *key = strcmp(by, "month") == 0
                          ? "strftime('%Y-%m', at + 60 * at_offset, 'unixepoch')"
                      : strcmp(by, "species") == 0
                          ? "species"
                          : "ifnull((SELECT label FROM starter WHERE id = b.starter), '')";
    json_t *losses = query_json(
        journal,
        journal_sql(journal, "WITH made AS (SELECT id, at, %s AS key FROM batch AS b) %s", key,
                    sql_losses),
        "tit", batches, since, by);
    (void)journal_told(journal);
    return losses;
}

/* ---- search ---------------------------------------------------------------------------------- */

/* The words of every record stand in the full text table `wording`, folded, under a number made of
 * the kind and the id. These are in files: a new kind gets a new number. Looks, of which there are
 * most, come last, since a search goes down from the end of its kind. */
static const struct {
    enum record record;
    int64_t number;
} searched[] = {{RECORD_BATCH, 1}, {RECORD_VESSEL, 2},  {RECORD_STARTER, 3}, {RECORD_LOT, 4},
                {RECORD_COOK, 5},  {RECORD_SESSION, 6}, {RECORD_PLACE, 7},   {RECORD_LOOK, 100},
                {RECORD_EVENT, 8}, {RECORD_OUTCOME, 9}, {RECORD_EDIT, 10}};
enum { KINDS = sizeof searched / sizeof *searched, KIND_SHIFT = 40 };

/* The columns of a record that are searched, as SQL; caller frees. */
static char *searched_columns(enum record record)
{
    struct text columns;
    text_init(&columns);
    for (const struct column *column = record_types[record].columns; column->name; column++)
        if ((column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT) && !column->derived &&
            !column->internal)
            text_printf(&columns, "%sr.\"%s\"", columns.length > 0 ? ", " : "", column->name);
    return columns.bytes;
}

void wording_note(struct journal *journal, enum record record, int64_t id)
{
    for (size_t i = 0; i < KINDS; i++) {
        if (searched[i].record != record)
            continue;
        char *columns SCOPED_FREE = searched_columns(record);
        const char *sql = journal_sql(
            journal,
            "INSERT INTO wording (rowid, body) SELECT ?1 + id, body FROM (SELECT id, folded(%s)"
            " AS body FROM \"%s\" AS r WHERE %s) WHERE body <> ''",
            columns, record_types[record].name, id != 0 ? "id = ?2" : "1");
        query_number(journal, sql, "ii", searched[i].number << KIND_SHIFT, id);
    }
}

/* Appends the texts of an SQL function folded, each that says something followed by a line end. */
static void put_folded(struct text *folded, int count, sqlite3_value **values)
{
    for (int i = 0; i < count; i++) {
        const char *bytes = (const char *)sqlite3_value_text(values[i]);
        size_t length = (size_t)sqlite3_value_bytes(values[i]);
        if (bytes == NULL || length == 0)
            continue;
        text_fold(folded, bytes, length, NULL);
        text_puts(folded, "\n");
    }
}

void sql_folded(sqlite3_context *context, int count, sqlite3_value **values)
{
    TEXT(folded);
    put_folded(&folded, count, values);
    sqlite3_result_text(context, folded.bytes, (int)folded.length, SQLITE_TRANSIENT);
}

/* Whether each word of the first, a line each and folded, is in one of the others. */
void sql_words_in(sqlite3_context *context, int count, sqlite3_value **values)
{
    const char *word = (const char *)sqlite3_value_text(values[0]);
    bool all = word != NULL;
    TEXT(folded);
    put_folded(&folded, count - 1, values + 1);
    for (size_t length; all && *word != '\0'; word += length + 1) {
        char *wanted SCOPED_FREE = text_format("%.*s", (int)(length = strcspn(word, "\n")), word);
        all = strstr(folded.bytes, wanted) != NULL;
    }
    sqlite3_result_int(context, all);
}

/* What is asked of the full text: each word that has a letter or figure, in quotes; with `begun` it
 * is enough that a word begins so. "" when no word has any. */
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

/* The newest rows of a kind that hold the words; a row found in the full text is asked itself,
 * since what it said once stands there, too. */
static void search_kind(struct journal *journal, size_t kind, const char *match, const char *wanted,
                        size_t limit, struct arena *arena, struct hits *hits)
{
    struct page page = {.record = searched[kind].record};
    int64_t first = searched[kind].number << KIND_SHIFT;
    char *columns = searched_columns(page.record);
    const char *name = record_types[page.record].name;
    const char *found = arena_format(
        arena,
        match[0] != '\0' ? "id IN (SELECT r.id FROM wording CROSS JOIN \"%s\" AS r"
                           " ON r.id = wording.rowid - ?2 WHERE wording MATCH ?1"
                           " AND wording.rowid BETWEEN ?2 AND ?3 AND words_in(?5, %s)"
                           " ORDER BY wording.rowid DESC LIMIT ?4)"
                         : "id IN (SELECT r.id FROM \"%s\" AS r WHERE ?1 = '' AND ?2 < ?3"
                           " AND words_in(?5, %s) ORDER BY r.id DESC LIMIT ?4)",
        name, columns);
    free(columns); /* before the journal is asked: what it refuses ends the command */
    struct query query = query_begin(
        journal,
        select_rows(journal, page.record, arena_format(arena, "WHERE %s ORDER BY id", found)),
        "tiiit", match, first, first + (INT64_C(1) << KIND_SHIFT) - 1, (int64_t)limit + 1, wanted);
    page.rows = query_rows(&query, page.record, arena, &page.count);
    if (page.count > limit) { /* the oldest was asked for to see whether there are more */
        hits->more = true;
        page.rows = (char *)page.rows + record_types[page.record].size;
        page.count--;
    }
    if (page.count > 0)
        *arena_push(arena, hits->pages, hits->count) = page;
}

struct hits query_search(struct journal *journal, const char *const *words, size_t count,
                         size_t limit, struct arena *arena)
{
    struct hits hits = {NULL, 0, false};
    const char *wanted, *matches[2];
    journal_enter(journal);
    {
        TEXT(all);
        TEXT(match);
        for (size_t i = 0; i < count; i++) {
            if (!text_fold(&all, words[i], strlen(words[i]), NULL))
                journal_refuse(journal, STATUS_USAGE, "'%s' is not text in UTF-8", words[i]);
            text_puts(&all, "\n");
        }
        wanted = arena_string(arena, all.bytes);
        for (int begun = 0; begun < 2; begun++) {
            put_match(&match, wanted, begun);
            matches[begun] = arena_string(arena, match.bytes);
        }
    }
    /* Whole words; where nothing has them, words that begin so. */
    for (int begun = 0; begun < 2 && hits.count == 0; begun++)
        for (size_t i = 0; i < KINDS; i++)
            search_kind(journal, i, matches[begun], wanted, limit, arena, &hits);
    (void)journal_leave(journal);
    return hits;
}

/* ---- history --------------------------------------------------------------------------------- */

struct history history_of(struct journal *journal, enum record record, const void *row,
                          size_t limit, struct arena *arena)
{
    const union any_record *of = row;
    size_t totals[RECORD_COUNT] = {0};
    struct history history = {NULL, 0, 0};
    journal_enter(journal);
    struct query query =
        query_begin(journal,
                    journal_sql(journal, "WITH of (id) AS (SELECT id FROM vessel WHERE %s) %s",
                                record == RECORD_VESSEL  ? "id = ?1"
                                : record == RECORD_BATCH ? "batch = ?1"
                                                         : "0",
                                sql_history),
                    "itit", of->named.id, of->named.label, limit > 0 ? (int64_t)limit : -1,
                    record_types[record].name);
    while (query_next(&query)) {
        const char *kind = query_text(&query, 1);
        struct history_entry *entry = arena_push(arena, history.entries, history.count);
        *entry = (struct history_entry){.kind = record_named(kind, strlen(kind)),
                                        .id = query_integer(&query, 2),
                                        .at = query_moment(&query, 3),
                                        .vessel = query_integer(&query, 5),
                                        .overruled = query_integer(&query, 6) != 0};
        totals[entry->kind] = (size_t)query_integer(&query, 7);
    }
    for (size_t i = 0; i < history.count; i++) {
        struct history_entry *entry = &history.entries[i];
        journal_get(journal, entry->kind, entry->id, arena, &entry->is);
        totals[entry->kind] -= totals[entry->kind] > 0;
    }
    for (size_t i = 0; i < RECORD_COUNT; i++)
        history.earlier += totals[i];
    (void)journal_leave(journal);
    return history;
}
