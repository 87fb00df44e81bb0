/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Single words: what part they play, whether a phrase knows them, and what a slip was meant for. */
#include <string.h>

#include "knowledge/reader_internal.h"

enum { SLIP_SHORTEST = 4, MEANT_SHORTEST = 5, WORD_LONGEST = 40 };

static uint32_t hash_of(const char *word, size_t length)
{
    uint32_t hash = 2166136261u; /* FNV-1a */
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ (unsigned char)word[i]) * 16777619u;
    return hash;
}

static bool is_letter(char c)
{
    return c >= 'a' && c <= 'z';
}

static size_t slot_of(const struct lexicon *lexicon, const char *word, size_t length)
{
    size_t mask = lexicon->slot_count - 1;
    size_t slot = hash_of(word, length) & mask;
    while (lexicon->slots[slot] != NO_INDEX) {
        const struct lexeme *lexeme = &lexicon->lexemes[lexicon->slots[slot]];
        if (lexeme->length == length && !memcmp(lexeme->word, word, length))
            break;
        slot = (slot + 1) & mask;
    }
    return slot;
}

/* Doubles the table; at most half of it is ever taken. */
static bool grow(struct lexicon *lexicon)
{
    size_t room = lexicon->room ? lexicon->room * 2 : 1024;
    struct lexeme *lexemes =
        arena_grow(lexicon->memory, lexicon->lexemes, lexicon->count, room, sizeof *lexemes);
    uint32_t *slots = arena_array(lexicon->memory, room * 2, sizeof *slots);
    if (!lexemes || !slots)
        return false;
    lexicon->lexemes = lexemes;
    lexicon->room = room;
    lexicon->slots = slots;
    lexicon->slot_count = room * 2;
    memset(slots, 0xFF, room * 2 * sizeof *slots);
    for (size_t i = 0; i < lexicon->count; i++)
        slots[slot_of(lexicon, lexemes[i].word, lexemes[i].length)] = (uint32_t)i;
    return true;
}

bool lexicon_init(struct lexicon *lexicon, struct arena *memory)
{
    *lexicon = (struct lexicon){.memory = memory};
    for (size_t i = 0; i < 26; i++)
        lexicon->by_letter[i] = NO_INDEX;
    return grow(lexicon);
}

struct lexeme *lexicon_add(struct lexicon *lexicon, const char *word, size_t length)
{
    size_t slot = slot_of(lexicon, word, length);
    if (lexicon->slots[slot] != NO_INDEX)
        return &lexicon->lexemes[lexicon->slots[slot]];
    char *copy = arena_copy(lexicon->memory, word, length);
    if (!copy || (lexicon->count == lexicon->room && !grow(lexicon))) {
        lexicon->failed = true;
        return NULL;
    }
    struct lexeme *lexeme = &lexicon->lexemes[lexicon->count];
    *lexeme = (struct lexeme){.word = copy, .length = (uint32_t)length, .next = NO_INDEX};
    if (length && is_letter(word[0])) {
        lexeme->next = lexicon->by_letter[word[0] - 'a'];
        lexicon->by_letter[word[0] - 'a'] = (uint32_t)lexicon->count;
    }
    lexicon->slots[slot_of(lexicon, word, length)] = (uint32_t)lexicon->count++;
    return lexeme;
}

const struct lexeme *lexicon_find(const struct lexicon *lexicon, const char *word, size_t length)
{
    uint32_t index = lexicon->slots[slot_of(lexicon, word, length)];
    return index == NO_INDEX ? NULL : &lexicon->lexemes[index];
}

void lexicon_learn(struct lexicon *lexicon, const char *text, size_t length)
{
    for (size_t at = 0; at < length;) {
        size_t end = at;
        while (end < length && is_letter(text[end]))
            end++;
        if (end > at) {
            struct lexeme *lexeme = lexicon_add(lexicon, text + at, end - at);
            if (!lexeme)
                return;
            lexeme->vocabulary = true;
        }
        at = end + 1;
    }
}

/* ---- slips ------------------------------------------------------------------------------------
 */

/* How two words differ; the less likely a slip, the higher. */
enum slip { SLIP_NONE, SLIP_SWAPPED, SLIP_LENGTH, SLIP_WRONG, SLIP_FAR };

static enum slip same_length(const char *a, const char *b, size_t length)
{
    size_t first = 0;
    while (first < length && a[first] == b[first])
        first++;
    if (first == length)
        return SLIP_NONE;
    if (!memcmp(a + first + 1, b + first + 1, length - first - 1))
        return SLIP_WRONG;
    if (first + 1 < length && a[first] == b[first + 1] && a[first + 1] == b[first] &&
        !memcmp(a + first + 2, b + first + 2, length - first - 2))
        return SLIP_SWAPPED;
    return SLIP_FAR;
}

/* Whether leaving one letter out of the longer gives the shorter. */
static enum slip one_longer(const char *longer, const char *shorter, size_t length)
{
    size_t first = 0;
    while (first < length && longer[first] == shorter[first])
        first++;
    return memcmp(longer + first + 1, shorter + first, length - first) ? SLIP_FAR : SLIP_LENGTH;
}

static enum slip compare(const char *typed, size_t length, const struct lexeme *meant)
{
    if (meant->length == length)
        return same_length(typed, meant->word, length);
    if (meant->length == length + 1)
        return one_longer(meant->word, typed, length);
    if (meant->length + 1 == length)
        return one_longer(typed, meant->word, meant->length);
    return SLIP_FAR;
}

const struct lexeme *lexicon_slip(const struct lexicon *lexicon, const char *word, size_t length)
{
    const struct lexeme *meant = NULL;
    enum slip best = SLIP_FAR;
    bool several = false;
    if (length < SLIP_SHORTEST || length > WORD_LONGEST || !is_letter(word[0]))
        return NULL;
    for (uint32_t i = lexicon->by_letter[word[0] - 'a']; i != NO_INDEX;) {
        const struct lexeme *lexeme = &lexicon->lexemes[i];
        i = lexeme->next;
        if (!lexeme->vocabulary || lexeme->length < MEANT_SHORTEST)
            continue;
        enum slip slip = compare(word, length, lexeme);
        if (slip == SLIP_NONE)
            return NULL; /* no slip at all */
        if (slip == SLIP_FAR)
            continue;
        if (slip == best) {
            several = true;
        } else if (slip < best) {
            best = slip;
            meant = lexeme;
            several = false;
        }
    }
    return several ? NULL : meant;
}
