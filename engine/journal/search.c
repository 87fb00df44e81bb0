/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Words in the texts of records. */
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "journal/journal_internal.h"
#include "journal/survey.h"

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
    if (text_fold(&text, bytes, length, NULL) != TEXT_FOLD_OK) {
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
        RECORD_PLACE, RECORD_LOOK,   RECORD_DEED,    RECORD_OUTCOME, RECORD_EDIT,
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
