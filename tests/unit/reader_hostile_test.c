/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Text nobody would write: huge, binary, tangled, random. */
#include "support/reader_rules.h"

#include <stdlib.h>

static enum status read_bytes(struct small *s, const char *bytes, size_t length,
                              struct reading_list *list)
{
    diags_clear(s->diags);
    return reader_read(s->reader, bytes, length, s->arena, list, s->diags);
}

/* What must hold of any list: spans within the text and in order, values that exist. */
static void assert_sound(const struct small *s, const struct reading_list *list, size_t length)
{
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *r = &list->readings[i];
        assert_true(r->span.start < r->span.end && r->span.end <= length);
        assert_true(r->observable < SMALL_COUNT);
        size_t values = s->observables[r->observable].value_count;
        assert_true(r->seen | r->absent);
        assert_int_equal((r->seen | r->absent) >> values, 0);
        assert_int_equal(r->seen & r->absent, 0);
    }
    for (size_t i = 0; i < list->unread_count; i++) {
        assert_true(list->unread[i].span.start < list->unread[i].span.end);
        assert_true(list->unread[i].span.end <= length);
        if (i)
            assert_true(list->unread[i - 1].span.start <= list->unread[i].span.start);
    }
}

TEST(test_too_long)
{
    struct small *s = *state;
    struct reading_list list;
    size_t length = READER_MAX_TEXT + 1;
    char *text = calloc(length, 1);
    assert_non_null(text);
    memset(text, 'a', length);
    assert_int_equal(read_bytes(s, text, length, &list), STATUS_DATA);
    assert_int_equal(diags_errors(s->diags), 1);
    assert_string_equal(diags_get(s->diags, 0)->message,
                        "the text is 65537 bytes long; at most 65536 can be read at once, so tell "
                        "it in parts");
    assert_int_equal(read_bytes(s, text, length - 1, &list), STATUS_OK);
    assert_int_equal(list.unread_count, 1);
    assert_int_equal(list.unread[0].span.end, length - 1);
    free(text);
}

TEST(test_not_utf8)
{
    struct small *s = *state;
    struct reading_list list;
    static const char *const texts[] = {"red \xFF", "red \xC3", "red \xC0\xAF", "red \xED\xA0\x80"};
    for (size_t i = 0; i < COUNT_OF(texts); i++) {
        assert_int_equal(read_bytes(s, texts[i], strlen(texts[i]), &list), STATUS_DATA);
        assert_int_equal(list.reading_count, 0);
        assert_string_equal(diags_get(s->diags, 0)->message,
                            "byte 5 of the text is not UTF-8; plain text is expected");
    }
}

/* NUL, escapes and bidirectional controls part words or vanish; nothing more comes of them. */
TEST(test_controls)
{
    struct small *s = *state;
    struct reading_list list;
    static const char nul[] = "red\0dust";
    assert_int_equal(read_bytes(s, nul, sizeof nul - 1, &list), STATUS_OK);
    assert_int_equal(sum_of(&list, TINT).seen, RED);
    assert_int_equal(sum_of(&list, TEXTURE).seen, DUSTY);
    static const char escape[] = "\x1B[31mred\x1B[0m";
    assert_int_equal(read_bytes(s, escape, sizeof escape - 1, &list), STATUS_OK);
    assert_sound(s, &list, sizeof escape - 1);
    static const char bidi[] = "\xE2\x80\xAE"
                               "red\xE2\x80\xAC no\xE2\x80\x8B blue";
    assert_int_equal(read_bytes(s, bidi, sizeof bidi - 1, &list), STATUS_OK);
    assert_int_equal(sum_of(&list, TINT).seen, RED);
    assert_int_equal(sum_of(&list, TINT).absent, BLUE);
}

static char *repeated(const char *unit, size_t *length)
{
    size_t size = strlen(unit);
    char *text = calloc(READER_MAX_TEXT + 1, 1);
    assert_non_null(text);
    for (*length = 0; *length + size <= READER_MAX_TEXT; *length += size)
        memcpy(text + *length, unit, size);
    return text;
}

/* A full text of anything comes to an end, and the parts of it that repeat are said once. */
TEST(test_repetition)
{
    static const char *const units[] = {"red ",
                                        "no red, ",
                                        "not ",
                                        "maybe ",
                                        "red or ",
                                        "lid ",
                                        "lid so ",
                                        "stopped for ",
                                        "1 ",
                                        "12 days ",
                                        "stopped a b c ",
                                        "crimsn ",
                                        ".",
                                        "? ",
                                        "red? no ",
                                        "(",
                                        "frobs ",
                                        "day 1 ",
                                        "or ",
                                        "dry moist ",
                                        "no red no ",
                                        "\xF0\x9F\x98\x80",
                                        "'",
                                        "-",
                                        "red-",
                                        "a:",
                                        "\xEF\xB7\xBA",
                                        "day 3, ",
                                        "not red but at the top ",
                                        "1,",
                                        "1-",
                                        "half ",
                                        "a "};
    struct small *s = *state;
    for (size_t i = 0; i < COUNT_OF(units); i++) {
        struct reading_list list;
        size_t length = 0;
        char *text = repeated(units[i], &length);
        enum status status = read_bytes(s, text, length, &list);
        if (status != STATUS_OK)
            fail_msg("'%s' repeated: status %d", units[i], (int)status);
        assert_sound(s, &list, length);
        arena_reset(s->arena);
        free(text);
    }
}

/* More things said than any description holds: refused, not cut short. */
TEST(test_too_many)
{
    struct small *s = *state;
    PHRASES(letter, "x");
    static const struct value values[] = {{.id = "x", .label = "x", SAID(letter)}};
    struct small own;
    small_init(&own);
    for (size_t i = 0; i < 2; i++)
        own.observables[i ? TEXTURE : TINT] = (struct observable){.id = i ? "b" : "a",
                                                                  .label = "x",
                                                                  .kind = KIND_SEVERAL,
                                                                  .group = RULES_NONE,
                                                                  .values = values,
                                                                  .value_count = 1};
    own.rules.language = (struct language){0};
    small_open(&own);
    size_t length = 0;
    char *text = repeated("x ", &length);
    struct reading_list list;
    assert_int_equal(reader_read(own.reader, text, length, s->arena, &list, own.diags),
                     STATUS_DATA);
    assert_int_equal(diags_errors(own.diags), 1);
    free(text);
    small_close(&own);
}

/* Pieces of sentences in random order, and random bytes; the seed is fixed. */
static uint32_t next_random(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed >> 8;
}

TEST(test_random_words)
{
    static const char *const pieces[] = {"red",
                                         "blue",
                                         "no",
                                         "not",
                                         "but",
                                         "or",
                                         "and",
                                         ",",
                                         ".",
                                         "?",
                                         ":",
                                         "maybe",
                                         "day",
                                         "12",
                                         "3 weeks",
                                         "old",
                                         "stopped",
                                         "at",
                                         "a third",
                                         "for",
                                         "ten days",
                                         "lid",
                                         "damp",
                                         "dry",
                                         "moist",
                                         "at the top",
                                         "no odour",
                                         "sharp",
                                         "rest is pale",
                                         "no other tint",
                                         "15 psi",
                                         "-3",
                                         "frobs",
                                         "crimsn",
                                         "\xC2\xB0",
                                         "\xE2\x80\x93",
                                         "over",
                                         "under",
                                         "(",
                                         ")",
                                         "\n",
                                         "not sure if",
                                         "isn't",
                                         "nothing",
                                         "by hand",
                                         "steam",
                                         "yes",
                                         "1/2",
                                         "%",
                                         "'",
                                         "\"",
                                         "0"};
    struct small *s = *state;
    uint32_t seed = 20240607;
    for (int round = 0; round < 3000; round++) {
        char text[512];
        size_t length = 0;
        for (uint32_t n = next_random(&seed) % 20; n; n--) {
            const char *piece = pieces[next_random(&seed) % COUNT_OF(pieces)];
            length += (size_t)snprintf(text + length, sizeof text - length, "%s%s", piece,
                                       next_random(&seed) % 6 ? " " : "");
        }
        struct reading_list list;
        assert_int_equal(read_bytes(s, text, length, &list), STATUS_OK);
        assert_sound(s, &list, length);
        size_t asked = next_random(&seed) % SMALL_COUNT;
        assert_int_equal(reader_answer(s->reader, asked, text, length, s->arena, &list, s->diags),
                         STATUS_OK);
        assert_sound(s, &list, length);
        arena_reset(s->arena);
    }
}

TEST(test_random_bytes)
{
    struct small *s = *state;
    uint32_t seed = 7;
    for (int round = 0; round < 3000; round++) {
        char text[96];
        size_t length = next_random(&seed) % sizeof text;
        for (size_t i = 0; i < length; i++)
            text[i] = (char)(next_random(&seed) % (round % 2 ? 256 : 128));
        struct reading_list list;
        enum status status = read_bytes(s, text, length, &list);
        assert_true(status == STATUS_OK || status == STATUS_DATA);
        if (status == STATUS_OK)
            assert_sound(s, &list, length);
        arena_reset(s->arena);
    }
}

int main(void)
{
    return tests_run("reader hostile", small_setup, small_teardown);
}
