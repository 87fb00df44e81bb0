/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/query.h"

#include <ctype.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "journal/journal_internal.h"

/* ==== survey ================================================================================== */

/* Pages and counts. What is asked is put together from constants; every value is bound. */

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

/* ==== search ================================================================================== */

/* Words in the texts of records. */

struct wanted { /* the words, folded */
    char **words;
    size_t count;
};

static void wanted_free(struct wanted *wanted)
{
    for (size_t i = 0; i < wanted->count; i++)
        free(wanted->words[i]);
    free(wanted->words);
}

/* A malloc'd copy, folded; NULL when there is no memory or it is no text. */
static char *folded(const char *bytes, size_t length)
{
    struct text text;
    text_init(&text);
    if (!text_fold(&text, bytes, length, NULL)) {
        text_release(&text);
        return NULL;
    }
    text_add(&text, "", 0);
    return text.bytes != NULL ? text.bytes : strdup("");
}

static bool plain(const char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)bytes[i] >= 0x80)
            return false;
    return true;
}

static char lower(char byte)
{
    return byte >= 'A' && byte <= 'Z' ? (char)(byte - 'A' + 'a') : byte;
}

/* Whether text without accents, of any case, holds a folded word. */
static bool plain_holds(const char *bytes, size_t length, const char *word)
{
    size_t wanted = strlen(word);
    for (size_t i = 0; i + wanted <= length; i++) {
        size_t k = 0;
        while (k < wanted && lower(bytes[i + k]) == word[k])
            k++;
        if (k == wanted)
            return true;
    }
    return false;
}

static bool holds(const char *bytes, size_t length, const char *word)
{
    if (plain(bytes, length))
        return plain_holds(bytes, length, word);
    char *text = folded(bytes, length);
    bool found = text != NULL && strstr(text, word) != NULL;
    free(text);
    return found;
}

/* SQL function of any number of texts: whether each wanted word is in one of them. */
static void holds_all(sqlite3_context *context, int count, sqlite3_value **values)
{
    const struct wanted *wanted = sqlite3_user_data(context);
    for (size_t w = 0; w < wanted->count; w++) {
        bool found = false;
        for (int i = 0; i < count && !found; i++) {
            const char *bytes = (const char *)sqlite3_value_text(values[i]);
            found = bytes != NULL &&
                    holds(bytes, (size_t)sqlite3_value_bytes(values[i]), wanted->words[w]);
        }
        if (!found) {
            sqlite3_result_int(context, 0);
            return;
        }
    }
    sqlite3_result_int(context, 1);
}

/* What a grower wrote or reads; not what the program keeps for itself (a posterior, a hash). */
static bool worth_searching(enum record record, const char *name)
{
    static const char *const kept_apart[] = {"facts", "posterior", "rules", "program", "forced_by"};
    if (record != RECORD_LOOK)
        return true;
    for (size_t i = 0; i < sizeof kept_apart / sizeof *kept_apart; i++)
        if (strcmp(name, kept_apart[i]) == 0)
            return false;
    return true;
}

static sqlite3_stmt *search_statement(struct journal *journal, enum record record,
                                      struct diags *diags)
{
    struct text sql;
    bool any = false;

    text_init(&sql);
    text_printf(&sql, "SELECT id FROM \"%s\" WHERE holds_all(", record_types[record].name);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        bool text = column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT;
        if (!text || column->derived || !worth_searching(record, column->name))
            continue;
        text_printf(&sql, "%s\"%s\"", any ? ", " : "", column->name);
        any = true;
    }
    text_puts(&sql, ") ORDER BY id DESC LIMIT ?1");
    if (any)
        return journal_prepare_text(journal, &sql, "search", diags);
    text_release(&sql);
    return NULL;
}

struct search {
    struct journal *journal;
    struct arena *arena;
    struct hit *hits;
    size_t count, room, limit;
    bool more;
};

static bool add_hit(struct search *search, enum record record, int64_t id)
{
    if (search->count == search->room) {
        size_t room = search->room == 0 ? 64 : 2 * search->room;
        search->hits =
            arena_grow(search->arena, search->hits, search->room, room, sizeof *search->hits);
        search->room = room;
    }
    if (search->hits == NULL)
        return false;
    search->hits[search->count++] = (struct hit){record, id};
    return true;
}

static enum status search_kind(struct search *search, enum record record, struct diags *diags)
{
    sqlite3_stmt *statement = search_statement(search->journal, record, diags);
    size_t count = 0;
    enum status status = STATUS_OK;

    if (statement == NULL)
        return record == RECORD_PARENT ? STATUS_OK : STATUS_IO; /* a parent has no text */
    sqlite3_bind_int64(statement, 1, (int64_t)search->limit + 1);
    while (status == STATUS_OK && sqlite3_step(statement) == SQLITE_ROW) {
        if (count++ == search->limit)
            search->more = true;
        else if (!add_hit(search, record, sqlite3_column_int64(statement, 0)))
            status = STATUS_MEMORY;
    }
    if (sqlite3_finalize(statement) != SQLITE_OK && status == STATUS_OK)
        status = journal_fault(search->journal, "search", diags);
    return status;
}

static bool want(struct wanted *wanted, const char *const *words, size_t count)
{
    wanted->words = calloc(count > 0 ? count : 1, sizeof *wanted->words);
    if (wanted->words == NULL)
        return false;
    for (; wanted->count < count; wanted->count++) {
        char *word = folded(words[wanted->count], strlen(words[wanted->count]));
        if (word == NULL)
            return false;
        wanted->words[wanted->count] = word;
    }
    return true;
}

enum status survey_search(struct journal *journal, const char *const *words, size_t count,
                          size_t limit, struct arena *arena, struct hits *hits, struct diags *diags)
{
    static const enum record kinds[] = {
        RECORD_BATCH, RECORD_VESSEL, RECORD_STARTER, RECORD_LOT,     RECORD_COOK, RECORD_SESSION,
        RECORD_PLACE, RECORD_LOOK,   RECORD_EVENT,   RECORD_OUTCOME, RECORD_EDIT,
    };
    struct search search = {.journal = journal, .arena = arena, .limit = limit};
    struct wanted wanted = {NULL, 0};
    enum status status = STATUS_OK;

    *hits = (struct hits){NULL, 0, false};
    if (!want(&wanted, words, count)) {
        wanted_free(&wanted);
        return STATUS_MEMORY;
    }
    sqlite3 *database = journal_database(journal);
    if (sqlite3_create_function(database, "holds_all", -1, SQLITE_UTF8 | SQLITE_DETERMINISTIC,
                                &wanted, holds_all, NULL, NULL) != SQLITE_OK)
        status = journal_fault(journal, "search", diags);
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && status == STATUS_OK; i++)
        status = search_kind(&search, kinds[i], diags);
    sqlite3_create_function(database, "holds_all", -1, SQLITE_UTF8, NULL, NULL, NULL, NULL);
    wanted_free(&wanted);
    *hits = (struct hits){search.hits, search.count, search.more};
    return status;
}

/* ==== due ===================================================================================== */

/* Which looks are due. */

enum status journal_due(struct journal *journal, int64_t day, struct arena *arena,
                        struct vessel **vessels, size_t *count, struct diags *diags)
{
    struct text sql;
    struct vessel *all = NULL;
    size_t room = 0;
    enum status status = STATUS_OK;
    text_init(&sql);
    text_puts(&sql, "SELECT ");
    row_columns(RECORD_VESSEL, &sql);
    text_puts(&sql, " FROM vessel WHERE due > 0 AND due <= ?1 ORDER BY due, id");
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    int code = SQLITE_DONE;
    *count = 0;
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, day);
    while (status == STATUS_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        if (*count == room) {
            all = arena_grow(arena, all, room, room == 0 ? 16 : 2 * room, sizeof *all);
            room = room == 0 ? 16 : 2 * room;
        }
        status = all != NULL ? row_read(statement, 0, RECORD_VESSEL, arena, &all[*count])
                             : STATUS_MEMORY;
        *count += status == STATUS_OK;
    }
    if (status == STATUS_OK && code != SQLITE_DONE)
        status = journal_fault(journal, "read", diags);
    sqlite3_finalize(statement);
    *vessels = all;
    return status;
}

/* ==== selection ==================================================================================== */

enum { MOST_NAMED = 10000 };

struct cursor {
    const char *at;
    const char *batch;
    struct arena *arena;
    int64_t *numbers; /* of the part being read */
    size_t count, room;
    bool full; /* out of memory, or too many */
};

static void skip_spaces(struct cursor *cursor)
{
    cursor->at += strspn(cursor->at, " \t\r\n");
}

/* Whether the word stands there on its own; then it is passed. */
static bool take_word(struct cursor *cursor, const char *word)
{
    size_t length = strlen(word);
    if (strncasecmp(cursor->at, word, length) != 0 || isalnum((unsigned char)cursor->at[length]))
        return false;
    cursor->at += length;
    return true;
}

/* ---- lists of vessels ------------------------------------------------------------------------ */

static void add_number(struct cursor *cursor, int64_t number)
{
    if (cursor->count == cursor->room) {
        size_t room = cursor->room == 0 ? 16 : 2 * cursor->room;
        cursor->numbers =
            arena_grow(cursor->arena, cursor->numbers, cursor->room, room, sizeof(int64_t));
        cursor->room = room;
    }
    cursor->full = cursor->full || cursor->numbers == NULL || cursor->count >= MOST_NAMED;
    if (!cursor->full)
        cursor->numbers[cursor->count++] = number;
}

/* "7" or "B3-7"; words like "number 7" and "no. 7" too. */
static bool take_vessel(struct cursor *cursor, int64_t *number)
{
    static const char *const leads[] = {"numbers", "number", "nos.", "nos", "no.",
                                        "jars",    "jar",    "bags", "bag", "#"};
    size_t prefix = strlen(cursor->batch);
    int64_t read = 0;
    for (size_t i = 0; i < sizeof leads / sizeof *leads; i++)
        if (take_word(cursor, leads[i]))
            skip_spaces(cursor);
    if (strncasecmp(cursor->at, cursor->batch, prefix) == 0 && cursor->at[prefix] == '-')
        cursor->at += prefix + 1;
    if (!isdigit((unsigned char)*cursor->at))
        return false;
    for (; isdigit((unsigned char)*cursor->at); cursor->at++)
        if ((read = 10 * read + (*cursor->at - '0')) > 1000000)
            return false;
    *number = read;
    return read > 0 && !isalpha((unsigned char)*cursor->at);
}

static bool take_range(struct cursor *cursor)
{
    int64_t from, to;
    if (!take_vessel(cursor, &from))
        return false;
    to = from;
    const char *behind = cursor->at;
    skip_spaces(cursor);
    size_t mark = strncmp(cursor->at, "..", 2) == 0             ? 2
                  : *cursor->at == '-'                          ? 1
                  : strncmp(cursor->at, "\xe2\x80\x93", 3) == 0 ? 3
                                                                : 0;
    cursor->at += mark;
    if (mark > 0 || take_word(cursor, "to")) {
        skip_spaces(cursor);
        if (!take_vessel(cursor, &to) || to < from || to - from > MOST_NAMED)
            return false;
    } else {
        cursor->at = behind;
    }
    for (int64_t number = from; number <= to; number++)
        add_number(cursor, number);
    return true;
}

/* "3-5, 7 and 9". What joins must be followed by a vessel. */
static bool take_list(struct cursor *cursor)
{
    cursor->numbers = NULL;
    cursor->count = cursor->room = 0;
    skip_spaces(cursor);
    if (!take_range(cursor))
        return false;
    for (;;) {
        bool joined = false;
        skip_spaces(cursor);
        while (*cursor->at == ',' || *cursor->at == '+' || *cursor->at == '&' ||
               take_word(cursor, "and")) {
            cursor->at += strchr(",+&", *cursor->at) != NULL && *cursor->at != '\0';
            skip_spaces(cursor);
            joined = true;
        }
        if (!joined && !isdigit((unsigned char)*cursor->at))
            return true;
        if (!take_range(cursor))
            return false;
    }
}

/* ---- the sentence ---------------------------------------------------------------------------- */

/* How exceptions begin, and what must follow for it to be one. */
enum follows {
    ANYTHING, /* vessels are announced: what cannot be read as such is a fault */
    VESSELS,
    ONLY_VESSELS /* and nothing behind them: "not 40 % white yet" is a description */
};
static const struct {
    const char *word;
    enum follows follows;
} openers[] = {{"except for", ANYTHING}, {"except", ANYTHING}, {"apart from", ANYTHING},
               {"other than", ANYTHING}, {"save", VESSELS},    {"but not", VESSELS},
               {"but", VESSELS},         {"not", ONLY_VESSELS}};

static bool opens(struct cursor *cursor, enum follows *follows)
{
    for (size_t i = 0; i < sizeof openers / sizeof *openers; i++)
        if (take_word(cursor, openers[i].word)) {
            *follows = openers[i].follows;
            return true;
        }
    return false;
}

/* Words from there to the next of `ends`, or the end; without white space around them. */
static const char *take_words(struct cursor *cursor, const char *ends)
{
    skip_spaces(cursor);
    size_t length = strcspn(cursor->at, ends);
    const char *start = cursor->at;
    cursor->at += length;
    while (length > 0 && strchr(" \t\r\n,.", start[length - 1]) != NULL)
        length--;
    return arena_copy(cursor->arena, start, length);
}

static bool part_end(const struct cursor *cursor)
{
    return *cursor->at == '\0' || *cursor->at == ';' || *cursor->at == ':' ||
           strcmp(cursor->at, ".") == 0;
}

static bool read_parts(struct cursor *cursor, struct selection_part *parts, size_t room,
                       size_t *count)
{
    for (*count = 0; *count < room; ++*count) {
        if (!take_list(cursor) || !part_end(cursor))
            return false;
        struct selection_part *part = &parts[*count];
        *part = (struct selection_part){cursor->numbers, cursor->count, ""};
        if (*cursor->at == ':') {
            cursor->at++;
            part->words = take_words(cursor, ";");
            if (part->words == NULL || part->words[0] == '\0')
                return false;
        }
        if (*cursor->at != ';') {
            ++*count;
            return true;
        }
        cursor->at++;
    }
    return false;
}

static enum status wrong_form(const char *batch, struct diags *diags)
{
    diags_error(diags, (struct position){0},
                "which vessels are meant is not clear; write it like this: "
                "look %s \"all fine except 3, 5-7 and 9: green patch; 11: wet below\"",
                batch);
    return STATUS_USAGE;
}

const struct selection_part *selection_part_of(const struct selection *selection, int64_t number)
{
    for (size_t i = 0; i < selection->part_count; i++)
        for (size_t k = 0; k < selection->parts[i].count; k++)
            if (selection->parts[i].numbers[k] == number)
                return &selection->parts[i];
    return NULL;
}

static enum status check_twice(const struct selection *selection, struct diags *diags)
{
    for (size_t i = 0; i < selection->part_count; i++)
        for (size_t k = 0; k < selection->parts[i].count; k++) {
            int64_t number = selection->parts[i].numbers[k];
            size_t named = 0;
            for (size_t other = 0; other < selection->parts[i].count; other++)
                named += selection->parts[i].numbers[other] == number;
            if (named == 1 && selection_part_of(selection, number) == &selection->parts[i])
                continue;
            diags_error(diags, (struct position){0}, "vessel %lld is named twice",
                        (long long)number);
            return STATUS_USAGE;
        }
    return STATUS_OK;
}

/* The place where exceptions begin, `cursor` behind their opening; NULL when there are none. */
static const char *find_opening(struct cursor *cursor, const char *text)
{
    for (const char *at = text; *at != '\0'; at++) {
        enum follows follows;
        if (at > text && isalnum((unsigned char)at[-1]))
            continue;
        cursor->at = at;
        if (!opens(cursor, &follows))
            continue;
        struct cursor ahead = *cursor;
        if (follows == ANYTHING || (take_list(&ahead) && (follows == VESSELS || part_end(&ahead))))
            return at;
    }
    return NULL;
}

enum status selection_read(const char *text, const char *batch, struct arena *arena,
                           struct selection *selection, struct diags *diags)
{
    enum { MOST_PARTS = 64 };
    struct cursor cursor = {.at = text, .batch = batch, .arena = arena};
    struct selection_part *parts = arena_array(arena, MOST_PARTS, sizeof *parts);
    size_t count = 0;
    const char *opening = find_opening(&cursor, text);
    const char *behind = cursor.at;
    char *head = arena_copy(arena, text, opening != NULL ? (size_t)(opening - text) : strlen(text));
    if (head == NULL || parts == NULL)
        return STATUS_MEMORY;
    cursor.at = head;
    *selection = (struct selection){.words = take_words(&cursor, "")};
    if (selection->words == NULL)
        return STATUS_MEMORY;
    if (opening == NULL)
        return STATUS_OK;
    cursor.at = behind;
    if (selection->words[0] == '\0' || !read_parts(&cursor, parts, MOST_PARTS, &count) ||
        cursor.full)
        return wrong_form(batch, diags);
    selection->parts = parts;
    selection->part_count = count;
    return check_twice(selection, diags);
}

/* ==== history ==================================================================================== */

struct gathering { /* while entries are gathered */
    struct journal *journal;
    struct arena *arena;
    struct history *history;
    size_t room;
    struct diags *diags;
};

static struct history_entry *add_entry(struct gathering *gathering)
{
    struct history *history = gathering->history;
    if (history->count == gathering->room) {
        size_t room = gathering->room == 0 ? 32 : 2 * gathering->room;
        history->entries = arena_grow(gathering->arena, history->entries, gathering->room, room,
                                      sizeof *history->entries);
        gathering->room = room;
    }
    return history->entries != NULL ? &history->entries[history->count++] : NULL;
}

/* Copies what every kind of entry has out of its own row. */
static void fill(struct history_entry *entry, enum record kind)
{
    entry->kind = kind;
    if (kind == RECORD_LOOK) {
        entry->at = entry->is.look.at;
        entry->id = entry->is.look.id;
        entry->vessel = entry->is.look.vessel;
    } else if (kind == RECORD_EVENT) {
        entry->at = entry->is.event.at;
        entry->id = entry->is.event.id;
        entry->vessel = entry->is.event.vessel;
    } else if (kind == RECORD_OUTCOME) {
        entry->at = entry->is.outcome.at;
        entry->id = entry->is.outcome.id;
        entry->vessel = entry->is.outcome.vessel;
    } else {
        entry->at = entry->is.edit.at;
        entry->id = entry->is.edit.id;
    }
}

static enum status gather(struct gathering *gathering, enum record kind, int64_t vessel,
                          int64_t batch, size_t limit)
{
    struct survey survey = survey_all(kind, limit);
    struct page page;
    survey.vessel = vessel;
    survey.batch = batch;
    enum status status =
        survey_page(gathering->journal, &survey, gathering->arena, &page, gathering->diags);
    for (size_t i = 0; i < page.count && status == STATUS_OK; i++) {
        struct history_entry *entry = add_entry(gathering);
        if (entry == NULL)
            return STATUS_MEMORY;
        memset(entry, 0, sizeof *entry);
        status = journal_get(gathering->journal, kind, page.ids[i], gathering->arena, &entry->is,
                             gathering->diags);
        fill(entry, kind);
    }
    gathering->history->earlier += page.total - page.count;
    return status;
}

static enum status gather_edits(struct gathering *gathering, enum record record, const char *label,
                                size_t limit)
{
    struct page page;
    enum status status = survey_edits(gathering->journal, record, label, limit, gathering->arena,
                                      &page, gathering->diags);
    for (size_t i = 0; i < page.count && status == STATUS_OK; i++) {
        struct history_entry *entry = add_entry(gathering);
        if (entry == NULL)
            return STATUS_MEMORY;
        memset(entry, 0, sizeof *entry);
        status = journal_get(gathering->journal, RECORD_EDIT, page.ids[i], gathering->arena,
                             &entry->is, gathering->diags);
        fill(entry, RECORD_EDIT);
    }
    return status;
}

static int64_t corrected_by(const struct history_entry *entry)
{
    return entry->kind == RECORD_LOOK      ? entry->is.look.corrects
           : entry->kind == RECORD_EVENT   ? entry->is.event.corrects
           : entry->kind == RECORD_OUTCOME ? entry->is.outcome.corrects
                                           : 0;
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

static int by_id(const void *left, const void *right)
{
    const struct history_entry *a = left, *b = right;
    if (a->kind != b->kind)
        return a->kind < b->kind ? -1 : 1;
    return a->id < b->id ? -1 : a->id > b->id;
}

static void finish(struct history *history)
{
    if (history->entries == NULL)
        return;
    qsort(history->entries, history->count, sizeof *history->entries, by_id);
    for (size_t i = 0; i < history->count; i++) {
        struct history_entry key = {.kind = history->entries[i].kind,
                                    .id = corrected_by(&history->entries[i])};
        struct history_entry *older =
            key.id != 0 ? bsearch(&key, history->entries, history->count, sizeof key, by_id) : NULL;
        if (older != NULL)
            older->overruled = true;
    }
    qsort(history->entries, history->count, sizeof *history->entries, by_moment);
}

static enum status gather_all(struct gathering *gathering, int64_t vessel, int64_t batch,
                              size_t limit)
{
    static const enum record kinds[] = {RECORD_LOOK, RECORD_EVENT, RECORD_OUTCOME};
    enum status status = STATUS_OK;
    *gathering->history = (struct history){NULL, 0, 0};
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && status == STATUS_OK; i++)
        status = gather(gathering, kinds[i], vessel, batch, limit);
    return status;
}

enum status history_of_vessel(struct journal *journal, const struct vessel *vessel, size_t limit,
                              struct arena *arena, struct history *history, struct diags *diags)
{
    struct gathering gathering = {journal, arena, history, 0, diags};
    enum status status = gather_all(&gathering, vessel->id, 0, limit);
    if (status == STATUS_OK)
        status = gather_edits(&gathering, RECORD_VESSEL, vessel->label, limit);
    finish(history);
    return status;
}

enum status history_of_batch(struct journal *journal, const struct batch *batch, size_t limit,
                             struct arena *arena, struct history *history, struct diags *diags)
{
    struct gathering gathering = {journal, arena, history, 0, diags};
    enum status status = gather_all(&gathering, 0, batch->id, limit);
    if (status == STATUS_OK)
        status = gather_edits(&gathering, RECORD_BATCH, batch->label, limit);
    finish(history);
    return status;
}

enum status history_of_record(struct journal *journal, enum record record, const char *label,
                              size_t limit, struct arena *arena, struct history *history,
                              struct diags *diags)
{
    struct gathering gathering = {journal, arena, history, 0, diags};
    *history = (struct history){NULL, 0, 0};
    enum status status = gather_edits(&gathering, record, label, limit);
    finish(history);
    return status;
}
