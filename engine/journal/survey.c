/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pages and counts. What is asked is put together from constants; every value is bound. */
#include "journal/survey.h"

#include <sqlite3.h>
#include <string.h>

#include "base/text.h"
#include "journal/journal_internal.h"

/* ---- pages ----------------------------------------------------------------------------------- */

struct survey survey_all(enum record record, size_t limit)
{
    return (struct survey){
        .record = record, .state = SURVEY_ANY, .fate = SURVEY_ANY, .limit = limit};
}

/* Parameters: 1 batch, 2 vessel, 3 state, 4 fate, 5 limit. */
static void put_conditions(struct text *sql, const struct survey *survey)
{
    bool vessels = survey->record == RECORD_VESSEL;
    text_puts(sql, " WHERE 1");
    if (survey->batch != 0)
        text_puts(sql, vessels ? " AND batch = ?1"
                               : " AND vessel IN (SELECT id FROM vessel WHERE batch = ?1)");
    if (survey->vessel != 0)
        text_puts(sql, " AND vessel = ?2");
    if (survey->state != SURVEY_ANY)
        text_puts(sql, " AND state = ?3");
    if (survey->fate != SURVEY_ANY)
        text_puts(sql, " AND fate = ?4");
}

static void bind_conditions(sqlite3_stmt *statement, const struct survey *survey)
{
    /* A parameter that the statement has not is no fault: it is not asked for then. */
    sqlite3_bind_int64(statement, 1, survey->batch);
    sqlite3_bind_int64(statement, 2, survey->vessel);
    if (survey->state != SURVEY_ANY)
        sqlite3_bind_text(statement, 3, vessel_state_words[survey->state], -1, SQLITE_STATIC);
    if (survey->fate != SURVEY_ANY)
        sqlite3_bind_text(statement, 4, fate_words[survey->fate], -1, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 5, survey->limit > 0 ? (int64_t)survey->limit : -1);
}

static enum status count_rows(struct journal *journal, const struct survey *survey, size_t *total,
                              struct diags *diags)
{
    struct text sql;
    text_init(&sql);
    text_printf(&sql, "SELECT count(*) FROM \"%s\"", record_types[survey->record].name);
    put_conditions(&sql, survey);
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    bind_conditions(statement, survey);
    if (sqlite3_step(statement) == SQLITE_ROW)
        *total = (size_t)sqlite3_column_int64(statement, 0);
    return sqlite3_finalize(statement) == SQLITE_OK ? STATUS_OK
                                                    : journal_fault(journal, "read", diags);
}

/* Finalises the statement; the ids it gives, in its order, into the page. */
static enum status take_ids(struct journal *journal, sqlite3_stmt *statement, struct arena *arena,
                            struct page *page, struct diags *diags)
{
    int64_t *ids = NULL;
    size_t count = 0, room = 0;
    while (sqlite3_step(statement) == SQLITE_ROW) {
        if (count == room) {
            size_t wanted = room == 0 ? 64 : 2 * room;
            ids = arena_grow(arena, ids, room, wanted, sizeof *ids);
            room = wanted;
        }
        if (ids == NULL) {
            sqlite3_finalize(statement);
            return STATUS_MEMORY;
        }
        ids[count++] = sqlite3_column_int64(statement, 0);
    }
    page->ids = ids;
    page->count = count;
    return sqlite3_finalize(statement) == SQLITE_OK ? STATUS_OK
                                                    : journal_fault(journal, "read", diags);
}

enum status survey_page(struct journal *journal, const struct survey *survey, struct arena *arena,
                        struct page *page, struct diags *diags)
{
    struct text sql;

    *page = (struct page){NULL, 0, 0};
    text_init(&sql);
    text_printf(&sql, "SELECT id FROM (SELECT id FROM \"%s\"", record_types[survey->record].name);
    put_conditions(&sql, survey);
    text_puts(&sql, " ORDER BY id DESC LIMIT ?5) ORDER BY id");
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    bind_conditions(statement, survey);
    enum status status = take_ids(journal, statement, arena, page, diags);
    page->total = page->count;
    if (status == STATUS_OK && survey->limit > 0 && page->count == survey->limit)
        status = count_rows(journal, survey, &page->total, diags);
    return status;
}

enum status survey_undated(struct journal *journal, size_t limit, struct arena *arena,
                           struct page *page, struct diags *diags)
{
    struct text sql;

    *page = (struct page){NULL, 0, 0};
    text_init(&sql);
    text_puts(&sql, "SELECT id FROM vessel WHERE due = 0 AND state IN ('growing', 'isolated')"
                    " ORDER BY id LIMIT ?1");
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, limit > 0 ? (int64_t)limit : -1);
    enum status status = take_ids(journal, statement, arena, page, diags);
    page->total = page->count;
    return status;
}

/* The ids of one statement of which the first parameter is a number, the second a limit. */
static enum status page_of(struct journal *journal, const char *select, int64_t number,
                           size_t limit, struct arena *arena, struct page *page,
                           struct diags *diags)
{
    struct text sql;
    *page = (struct page){NULL, 0, 0};
    text_init(&sql);
    text_puts(&sql, select);
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, number);
    sqlite3_bind_int64(statement, 2, limit > 0 ? (int64_t)limit : -1);
    enum status status = take_ids(journal, statement, arena, page, diags);
    page->total = page->count;
    return status;
}

/* One count, of which the first parameter is a number. */
static enum status count_of(struct journal *journal, const char *select, int64_t number,
                            size_t *count, struct diags *diags)
{
    struct text sql;
    text_init(&sql);
    text_puts(&sql, select);
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, number);
    if (sqlite3_step(statement) == SQLITE_ROW)
        *count = (size_t)sqlite3_column_int64(statement, 0);
    return sqlite3_finalize(statement) == SQLITE_OK ? STATUS_OK
                                                    : journal_fault(journal, "read", diags);
}

/* A vessel that is gone has no day: journal_refresh sees to that. */
enum status survey_due(struct journal *journal, int64_t day, size_t limit, struct arena *arena,
                       struct page *page, struct diags *diags)
{
    enum status status = page_of(journal,
                                 "SELECT id FROM vessel WHERE due > 0 AND due <= ?1"
                                 " ORDER BY due, id LIMIT ?2",
                                 day, limit, arena, page, diags);
    if (status == STATUS_OK && limit > 0 && page->count == limit)
        status = count_of(journal, "SELECT count(*) FROM vessel WHERE due > 0 AND due <= ?1", day,
                          &page->total, diags);
    return status;
}

enum status survey_edits(struct journal *journal, enum record record, const char *label,
                         size_t limit, struct arena *arena, struct page *page, struct diags *diags)
{
    struct text sql;
    *page = (struct page){NULL, 0, 0};
    text_init(&sql);
    text_puts(&sql, "SELECT id FROM (SELECT id FROM edit WHERE \"table\" = ?1 AND label = ?2"
                    " ORDER BY id DESC LIMIT ?3) ORDER BY id");
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_text(statement, 1, record_types[record].name, -1, SQLITE_STATIC);
    sqlite3_bind_text(statement, 2, label, -1, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 3, limit > 0 ? (int64_t)limit : -1);
    enum status status = take_ids(journal, statement, arena, page, diags);
    page->total = page->count;
    return status;
}

enum status survey_batches(struct journal *journal, enum record record, int64_t id, size_t limit,
                           struct arena *arena, struct page *page, struct diags *diags)
{
    static const char *const selects[RECORD_COUNT] = {
        [RECORD_STARTER] = "SELECT id FROM (SELECT id FROM batch WHERE starter = ?1"
                           " ORDER BY id DESC LIMIT ?2) ORDER BY id",
        [RECORD_LOT] = "SELECT id FROM (SELECT id FROM batch WHERE lot = ?1"
                       " ORDER BY id DESC LIMIT ?2) ORDER BY id",
        [RECORD_COOK] = "SELECT id FROM (SELECT id FROM batch WHERE cook = ?1"
                        " ORDER BY id DESC LIMIT ?2) ORDER BY id",
        [RECORD_SESSION] = "SELECT id FROM (SELECT id FROM batch WHERE session = ?1"
                           " ORDER BY id DESC LIMIT ?2) ORDER BY id",
    };
    static const char *const counts[RECORD_COUNT] = {
        [RECORD_STARTER] = "SELECT count(*) FROM batch WHERE starter = ?1",
        [RECORD_LOT] = "SELECT count(*) FROM batch WHERE lot = ?1",
        [RECORD_COOK] = "SELECT count(*) FROM batch WHERE cook = ?1",
        [RECORD_SESSION] = "SELECT count(*) FROM batch WHERE session = ?1",
    };
    if (selects[record] == NULL)
        return STATUS_INTERNAL;
    enum status status = page_of(journal, selects[record], id, limit, arena, page, diags);
    return status == STATUS_OK ? count_of(journal, counts[record], id, &page->total, diags)
                               : status;
}

enum status survey_children(struct journal *journal, int64_t starter, struct arena *arena,
                            struct page *page, struct diags *diags)
{
    return page_of(journal,
                   "SELECT starter FROM parent WHERE parent = ?1 ORDER BY starter LIMIT ?2",
                   starter, 0, arena, page, diags);
}

/* ---- counts ---------------------------------------------------------------------------------- */

static const char *group_condition(enum record record)
{
    switch (record) {
    case RECORD_BATCH:
        return "batch = ?1";
    case RECORD_STARTER:
        return "batch IN (SELECT id FROM batch WHERE starter = ?1)";
    case RECORD_LOT:
        return "batch IN (SELECT id FROM batch WHERE lot = ?1)";
    case RECORD_COOK:
        return "batch IN (SELECT id FROM batch WHERE cook = ?1)";
    case RECORD_SESSION:
        return "batch IN (SELECT id FROM batch WHERE session = ?1)";
    case RECORD_PLACE:
        return "stands = ?1";
    default:
        return NULL;
    }
}

static size_t word_index(const char *const *words, const unsigned char *word)
{
    size_t index = 0;
    while (words[index] != NULL && strcmp(words[index], (const char *)word) != 0)
        index++;
    return index;
}

static void count_group(struct vessel_tally *tally, sqlite3_stmt *statement)
{
    size_t count = (size_t)sqlite3_column_int64(statement, 3);
    const unsigned char *state = sqlite3_column_text(statement, 1);
    const unsigned char *fate = sqlite3_column_text(statement, 2);
    size_t of_state = state != NULL ? word_index(vessel_state_words, state) : VESSEL_USED + 1;
    size_t of_fate = fate != NULL ? word_index(fate_words, fate) : FATE_COUNT;

    if (sqlite3_column_int(statement, 0) != 0) {
        tally->controls += count;
        tally->controls_lost += of_fate == FATE_CONTAMINATED ? count : 0;
        return;
    }
    tally->vessels += count;
    if (of_state <= VESSEL_USED)
        tally->state[of_state] += count;
    if (of_state <= VESSEL_USED && (of_fate == FATE_OPEN || of_fate == FATE_SOUND))
        tally->well[of_state] += count;
    if (of_fate < FATE_COUNT)
        tally->fate[of_fate] += count;
}

enum status survey_tally(struct journal *journal, enum record record, int64_t id,
                         struct vessel_tally *tally, struct diags *diags)
{
    const char *condition = group_condition(record);
    struct text sql;

    memset(tally, 0, sizeof *tally);
    if (condition == NULL)
        return STATUS_INTERNAL;
    text_init(&sql);
    text_printf(&sql, "SELECT control, state, fate, count(*) FROM vessel WHERE %s GROUP BY 1, 2, 3",
                condition);
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, id);
    while (sqlite3_step(statement) == SQLITE_ROW)
        count_group(tally, statement);
    return sqlite3_finalize(statement) == SQLITE_OK ? STATUS_OK
                                                    : journal_fault(journal, "read", diags);
}

size_t tally_lost(const struct vessel_tally *tally)
{
    return tally->fate[FATE_STUCK] + tally->fate[FATE_CONTAMINATED] + tally->fate[FATE_UNTOLD];
}
