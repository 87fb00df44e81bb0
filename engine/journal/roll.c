/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/roll.h"

#include <ctype.h>
#include <string.h>
#include <strings.h>

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

static bool read_parts(struct cursor *cursor, struct roll_part *parts, size_t room, size_t *count)
{
    for (*count = 0; *count < room; ++*count) {
        if (!take_list(cursor) || !part_end(cursor))
            return false;
        struct roll_part *part = &parts[*count];
        *part = (struct roll_part){cursor->numbers, cursor->count, ""};
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

const struct roll_part *roll_part_of(const struct roll *roll, int64_t number)
{
    for (size_t i = 0; i < roll->part_count; i++)
        for (size_t k = 0; k < roll->parts[i].count; k++)
            if (roll->parts[i].numbers[k] == number)
                return &roll->parts[i];
    return NULL;
}

static enum status check_twice(const struct roll *roll, struct diags *diags)
{
    for (size_t i = 0; i < roll->part_count; i++)
        for (size_t k = 0; k < roll->parts[i].count; k++) {
            int64_t number = roll->parts[i].numbers[k];
            size_t named = 0;
            for (size_t other = 0; other < roll->parts[i].count; other++)
                named += roll->parts[i].numbers[other] == number;
            if (named == 1 && roll_part_of(roll, number) == &roll->parts[i])
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

enum status roll_read(const char *text, const char *batch, struct arena *arena, struct roll *roll,
                      struct diags *diags)
{
    enum { MOST_PARTS = 64 };
    struct cursor cursor = {.at = text, .batch = batch, .arena = arena};
    struct roll_part *parts = arena_array(arena, MOST_PARTS, sizeof *parts);
    size_t count = 0;
    const char *opening = find_opening(&cursor, text);
    const char *behind = cursor.at;
    char *head = arena_copy(arena, text, opening != NULL ? (size_t)(opening - text) : strlen(text));
    if (head == NULL || parts == NULL)
        return STATUS_MEMORY;
    cursor.at = head;
    *roll = (struct roll){.words = take_words(&cursor, "")};
    if (roll->words == NULL)
        return STATUS_MEMORY;
    if (opening == NULL)
        return STATUS_OK;
    cursor.at = behind;
    if (roll->words[0] == '\0' || !read_parts(&cursor, parts, MOST_PARTS, &count) || cursor.full)
        return wrong_form(batch, diags);
    roll->parts = parts;
    roll->part_count = count;
    return check_twice(roll, diags);
}
