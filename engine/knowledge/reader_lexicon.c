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

struct lexeme *lexicon_find(const struct lexicon *lexicon, const char *word, size_t length)
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

/* ---- slips ------------------------------------------------------------------------------- */

/*
 * English is full of words a letter apart: "bank" and "blank", "coats" and
 * "coast". So a slip must be of a kind that fingers and ears make: letters
 * swapped, doubled or not, a vowel lost, added or mistaken for another; in a
 * long word any letter lost or added or wrong. The
 * first letter is seldom mistyped, the last carries the ending. Real words that
 * remain are spared by name (language.spared).
 */
enum slip { SLIP_NONE, SLIP_SWAPPED, SLIP_LENGTH, SLIP_WRONG, SLIP_FAR };
enum { LONG_WORD = 7 }; /* above it any letter may be wrong, at it a neighbour on the keyboard */

/* Letters that come and go unheard. */
static bool is_soft(char c)
{
    return c && strchr("aeiouyh", c);
}

static bool beside_on_keyboard(char a, char b)
{
    static const char *const rows[] = {"qwertyuiop", "asdfghjkl", "zxcvbnm"};
    int row_a = 0, row_b = 0, place_a = 0, place_b = 0;
    for (int row = 0; row < 3; row++) {
        const char *found_a = strchr(rows[row], a);
        const char *found_b = strchr(rows[row], b);
        if (found_a) {
            row_a = row;
            place_a = (int)(found_a - rows[row]);
        }
        if (found_b) {
            row_b = row;
            place_b = (int)(found_b - rows[row]);
        }
    }
    return row_a - row_b >= -1 && row_a - row_b <= 1 && place_a - place_b >= -1 &&
           place_a - place_b <= 1;
}

static enum slip same_length(const char *typed, const char *meant, size_t length)
{
    size_t at = 0;
    while (at < length && typed[at] == meant[at])
        at++;
    if (at == length)
        return SLIP_NONE;
    if (!at || at + 1 == length)
        return SLIP_FAR;
    if (!memcmp(typed + at + 1, meant + at + 1, length - at - 1)) {
        bool soft = is_soft(typed[at]) && is_soft(meant[at]);
        bool neighbours = length >= LONG_WORD && beside_on_keyboard(typed[at], meant[at]);
        return soft || neighbours || length > LONG_WORD ? SLIP_WRONG : SLIP_FAR;
    }
    if (typed[at] == meant[at + 1] && typed[at + 1] == meant[at] &&
        !memcmp(typed + at + 2, meant + at + 2, length - at - 2) &&
        (at + 2 < length || length >= LONG_WORD))
        return SLIP_SWAPPED;
    return SLIP_FAR;
}

/* Whether leaving one letter out of `longer` gives `shorter`, which has `length` letters. */
static enum slip one_longer(const char *longer, const char *shorter, size_t length,
                            size_t meant_length)
{
    size_t at = 0;
    while (at < length && longer[at] == shorter[at])
        at++;
    if (!at || memcmp(longer + at + 1, shorter + at, length - at) != 0)
        return SLIP_FAR;
    bool doubled = longer[at] == longer[at - 1];
    if (at == length && !doubled)
        return SLIP_FAR;
    return doubled || is_soft(longer[at]) || meant_length >= LONG_WORD ? SLIP_LENGTH : SLIP_FAR;
}

static enum slip compare(const char *typed, size_t length, const struct lexeme *meant)
{
    if (meant->length == length)
        return same_length(typed, meant->word, length);
    if (meant->length == length + 1)
        return one_longer(meant->word, typed, length, meant->length);
    if (meant->length + 1 == length)
        return one_longer(typed, meant->word, meant->length, meant->length);
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
