/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The text as it is matched: folded, cut into clauses, with a map back to what was typed. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "knowledge/reader_internal.h"

struct builder {
    struct working *out;
    const char *folded;
    size_t length;
    const size_t *origin;
    const char *text;
    size_t at; /* in folded */
};

static bool is_digit(int c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(int c)
{
    return (c >= 'a' && c <= 'z') || c >= 0x80;
}

static bool is_word(int c)
{
    return is_digit(c) || is_letter(c);
}

/* The folded byte `step` away, or a space beyond either end. */
static int near(const struct builder *b, long step)
{
    long at = (long)b->at + step;
    if (at < 0 || at >= (long)b->length)
        return ' ';
    return (unsigned char)b->folded[at];
}

static size_t utf8_size(unsigned char first)
{
    return first < 0x80 ? 1 : first < 0xE0 ? 2 : first < 0xF0 ? 3 : 4;
}

/* Where the character at `from` of the given text ends. */
static size_t character_end(const struct builder *b, size_t from, size_t next)
{
    size_t after = next <= b->length ? b->origin[next] : b->origin[b->length];
    size_t own = from + utf8_size((unsigned char)b->text[from]);
    return after > from ? after : own < b->origin[b->length] ? own : b->origin[b->length];
}

static void put(struct working *out, char byte, size_t from, size_t until)
{
    out->bytes[out->length] = byte;
    out->from[out->length] = (uint32_t)from;
    out->until[out->length] = (uint32_t)until;
    out->length++;
}

static void put_space(struct builder *b)
{
    struct working *out = b->out;
    if (out->length && out->bytes[out->length - 1] != ' ' && out->bytes[out->length - 1] != '\n')
        put(out, ' ', b->origin[b->at], b->origin[b->at]);
}

static void put_cut(struct builder *b, enum cut_kind kind)
{
    struct working *out = b->out;
    while (out->length && out->bytes[out->length - 1] == ' ')
        out->length--;
    if (!out->length)
        return;
    if (out->bytes[out->length - 1] == '\n') {
        if (out->cuts[out->cut_count - 1].kind < kind)
            out->cuts[out->cut_count - 1].kind = kind;
        return;
    }
    out->cuts[out->cut_count++] = (struct cut){.at = (uint32_t)out->length, .kind = kind};
    put(out, '\n', b->origin[b->at], b->origin[b->at]);
}

static void put_character(struct builder *b)
{
    size_t size = utf8_size((unsigned char)b->folded[b->at]);
    if (size > b->length - b->at)
        size = b->length - b->at;
    size_t from = b->origin[b->at];
    size_t until = character_end(b, from, b->at + size);
    for (size_t i = 0; i < size; i++)
        put(b->out, b->folded[b->at + i], from, until);
    b->at += size - 1;
}

/* Letters in a row before (step -1) or behind (step 1) the current byte; 2 is many. */
static int letters_beside(const struct builder *b, long step)
{
    return !is_letter(near(b, step)) ? 0 : !is_letter(near(b, 2 * step)) ? 1 : 2;
}

static void put_point(struct builder *b)
{
    int before = near(b, -1);
    int after = near(b, 1);
    bool decimal = is_digit(after) && !is_letter(before); /* 1.5 and .5 */
    bool initial =
        letters_beside(b, -1) == 1 && (letters_beside(b, 1) == 1 || !is_word(after)); /* p.s.i. */
    bool trails_off = before == '.' || after == '.'; /* ... and the thought goes on */
    if (decimal || (initial && !trails_off))
        put_character(b);
    else
        put_cut(b, trails_off ? CUT_SOFT : CUT_HARD);
}

static void put_dash(struct builder *b)
{
    int before = near(b, -1);
    int after = near(b, 1);
    bool in_word = is_word(before) && is_word(after);
    bool minus = before == ' ' && is_digit(after);
    bool range = is_digit(near(b, -2)) && before == ' ' && after == ' ' && is_digit(near(b, 2));
    if (in_word || minus || range)
        put_character(b);
    else if (is_word(before))
        put_space(b); /* green- and black-spotted */
    else
        put_cut(b, CUT_SOFT);
}

/* "Smell: none" goes on after the colon; after more words than a label has, it is a pause. */
static void put_colon(struct builder *b)
{
    enum { LABEL_WORDS = 3 };
    const struct working *out = b->out;
    unsigned words = 0;
    for (size_t i = out->length; i-- > 0 && out->bytes[i] != '\n' && words <= LABEL_WORDS;)
        words += out->bytes[i] == ' ' || i == 0 || out->bytes[i - 1] == '\n';
    if (words <= LABEL_WORDS)
        put_space(b);
    else
        put_cut(b, CUT_SOFT);
}

static void put_mark(struct builder *b, char mark)
{
    bool in_number = is_digit(near(b, -1)) && is_digit(near(b, 1));
    switch (mark) {
    case ',':
        if (in_number)
            put_character(b);
        else
            put_cut(b, CUT_SOFT);
        break;
    case ':':
        if (in_number)
            put_character(b);
        else
            put_colon(b);
        break;
    case '\'':
        if (is_word(near(b, -1)) && is_letter(near(b, 1)))
            put_character(b);
        break;
    case '(':
    case ')':
    case '[':
    case ']':
    case '{':
    case '}':
    case '|':
        put_cut(b, CUT_SOFT);
        break;
    case ';':
    case '!':
        put_cut(b, CUT_HARD);
        break;
    case '?':
        put_cut(b, CUT_QUESTION);
        break;
    default: /* signs that only set words apart */
        put_space(b);
    }
}

static void put_next(struct builder *b)
{
    char c = b->folded[b->at];
    if (c == '.')
        put_point(b);
    else if (c == '-')
        put_dash(b);
    else if (c == ' ')
        put_space(b);
    else if (strchr(",:'()[]{}|;!?\"*#_=^\\&", c))
        put_mark(b, c);
    else
        put_character(b);
}

/* Line ends fold to spaces and NUL ends strings: both are made harmless before folding. */
static char *plain_copy(const char *text, size_t length, struct arena *arena)
{
    char *copy = arena_copy(arena, text, length);
    if (!copy)
        return NULL;
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '\n' || c == '\r' || c == '\v' || c == '\f')
            copy[i] = ';';
        else if (c < 0x20 || c == 0x7F)
            copy[i] = ' ';
    }
    return copy;
}

static bool working_room(struct working *working, size_t room, struct arena *arena)
{
    working->bytes = arena_array(arena, room + PREFILTER_PEEK, 1);
    working->from = arena_array(arena, room, sizeof *working->from);
    working->until = arena_array(arena, room, sizeof *working->until);
    working->cuts = arena_array(arena, room, sizeof *working->cuts);
    working->length = 0;
    working->cut_count = 0;
    return working->bytes && working->from && working->until && working->cuts;
}

static void working_end(struct working *working, size_t at)
{
    memset(working->bytes + working->length, 0, PREFILTER_PEEK);
    working->from[working->length] = working->until[working->length] = (uint32_t)at;
}

static enum status check_text(const char *text, size_t length, struct diags *diags)
{
    const struct position nowhere = {0};
    if (length > READER_MAX_TEXT) {
        diags_error(
            diags, nowhere,
            "the text is %zu bytes long; at most %d can be read at once, so tell it in parts",
            length, (int)READER_MAX_TEXT);
        return STATUS_DATA;
    }
    size_t valid = utf8_valid_prefix(text, length);
    if (valid != length) {
        diags_error(diags, nowhere, "byte %zu of the text is not UTF-8; plain text is expected",
                    valid + 1);
        return STATUS_DATA;
    }
    return STATUS_OK;
}

enum status working_build(struct working *working, const char *text, size_t length,
                          struct arena *arena, struct diags *diags)
{
    enum status status = check_text(text, length, diags);
    if (status != STATUS_OK)
        return status;
    char *copy = plain_copy(text, length, arena);
    struct text folded;
    size_t *origin = NULL;
    text_init(&folded);
    if (!copy || text_fold(&folded, copy, length, &origin) != TEXT_FOLD_OK || folded.failed ||
        !working_room(working, folded.length + 1, arena)) {
        free(origin);
        text_release(&folded);
        return STATUS_MEMORY;
    }
    struct builder b = {.out = working,
                        .folded = folded.bytes,
                        .length = folded.length,
                        .origin = origin,
                        .text = copy};
    for (; b.at < b.length; b.at++)
        put_next(&b);
    while (working->length && working->bytes[working->length - 1] == ' ')
        working->length--;
    working_end(working, length);
    free(origin);
    text_release(&folded);
    return STATUS_OK;
}

enum status working_correct(struct working *working, const struct correction *corrections,
                            size_t count, struct arena *arena)
{
    struct working old = *working;
    size_t room = old.length + 1;
    for (size_t i = 0; i < count; i++)
        room += corrections[i].length;
    if (!working_room(working, room, arena))
        return STATUS_MEMORY;
    size_t next = 0;
    size_t cut = 0;
    for (uint32_t at = 0; at < old.length;) {
        if (cut < old.cut_count && old.cuts[cut].at == at)
            working->cuts[working->cut_count++] =
                (struct cut){.at = (uint32_t)working->length, .kind = old.cuts[cut++].kind};
        if (next < count && corrections[next].start == at) {
            const struct correction *c = &corrections[next++];
            for (size_t i = 0; i < c->length; i++)
                put(working, c->word[i], old.from[c->start], old.until[c->end - 1]);
            at = c->end;
        } else {
            put(working, old.bytes[at], old.from[at], old.until[at]);
            at++;
        }
    }
    working_end(working, old.from[old.length]);
    return STATUS_OK;
}

struct span working_span(const struct working *working, uint32_t start, uint32_t end)
{
    if (end <= start)
        return (struct span){working->from[start], working->from[start]};
    return (struct span){working->from[start], working->until[end - 1]};
}
