/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Strings: the buffer, UTF-8, what may reach a screen, folding and where it came from. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "support/test.h"

#define FFFD "\xEF\xBF\xBD"

TEST(test_buffer_grows_and_stays_a_string)
{
    (void)state;
    struct text text;
    text_init(&text);
    assert_string_equal(text.bytes, "");
    for (int i = 0; i < 1000; i++)
        text_printf(&text, "%d,", i % 10);
    assert_int_equal(text.length, 2000);
    assert_int_equal(strlen(text.bytes), 2000);
    text_clear(&text);
    assert_string_equal(text.bytes, "");
    text_puts(&text, "a");
    text_add(&text, "b\0c", 3);
    assert_int_equal(text.length, 4);
    assert_memory_equal(text.bytes, "ab\0c", 5);
    text_add(&text, NULL, 0);
    text_release(&text);
    assert_string_equal(text.bytes, "");
    text_release(&text);
}

TEST(test_valid_prefix)
{
    (void)state;
    static const struct {
        const char *bytes;
        size_t valid;
    } ROWS[] = {
        {"", 0},
        {"plain", 5},
        {"\xC2\xB0\xE2\x82\xAC\xF0\x9F\x8D\x84", 9},
        {"a\xFF", 1},
        {"a\x80", 1}, /* a continuation alone */
        {"a\xC3", 1}, /* cut short */
        {"a\xE2\x82", 1},
        {"a\xC0\xAF", 1}, /* overlong */
        {"a\xE0\x80\xAF", 1},
        {"a\xED\xA0\x80", 1},         /* a surrogate */
        {"a\xF4\x90\x80\x80", 1},     /* beyond U+10FFFF */
        {"a\xF8\x88\x80\x80\x80", 1}, /* five bytes */
    };
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++)
        assert_int_equal(utf8_valid_prefix(ROWS[i].bytes, strlen(ROWS[i].bytes)), ROWS[i].valid);
}

TEST(test_width_and_count)
{
    (void)state;
    assert_int_equal(utf8_width("24 \xC2\xB0", 5), 4);
    assert_int_equal(utf8_width("e\xCC\x81", 3), 1);        /* a letter and its accent */
    assert_int_equal(utf8_width("\xE8\x8F\x8C", 3), 2);     /* a wide letter */
    assert_int_equal(utf8_width("\xF0\x9F\x8D\x84", 4), 2); /* an emoji */
    assert_int_equal(utf8_count("24 \xC2\xB0", 5), 4);
    assert_int_equal(utf8_count("e\xCC\x81", 3), 2);
    assert_int_equal(utf8_count("", 0), 0);
}

static void assert_safe(const char *bytes, size_t length, const struct text_safe_options *options,
                        const char *expected)
{
    struct text out;
    text_init(&out);
    text_safe(&out, bytes, length, options);
    assert_string_equal(out.bytes, expected);
    assert_int_equal(utf8_valid_prefix(out.bytes, out.length), out.length);
    text_release(&out);
}

static size_t encode(unsigned point, char *out)
{
    if (point < 0x80) {
        out[0] = (char)point;
        return 1;
    }
    if (point < 0x800) {
        out[0] = (char)(0xC0 | point >> 6);
        out[1] = (char)(0x80 | (point & 0x3F));
        return 2;
    }
    if (point < 0x10000) {
        out[0] = (char)(0xE0 | point >> 12);
        out[1] = (char)(0x80 | (point >> 6 & 0x3F));
        out[2] = (char)(0x80 | (point & 0x3F));
        return 3;
    }
    out[0] = (char)(0xF0 | point >> 18);
    out[1] = (char)(0x80 | (point >> 12 & 0x3F));
    out[2] = (char)(0x80 | (point >> 6 & 0x3F));
    out[3] = (char)(0x80 | (point & 0x3F));
    return 4;
}

/* Every point of these ranges is replaced, in the middle of other text. */
static const struct {
    unsigned from, to;
    const char *what;
} UNSAFE[] = {
    {0x00, 0x08, "C0 controls"},
    {0x0B, 0x1F, "C0 controls, escape among them"},
    {0x7F, 0x9F, "delete and C1 controls"},
    {0xAD, 0xAD, "soft hyphen"},
    {0x061C, 0x061C, "Arabic letter mark"},
    {0x034F, 0x034F, "combining grapheme joiner"},
    {0x115F, 0x1160, "Hangul fillers"},
    {0x180E, 0x180E, "Mongolian vowel separator"},
    {0x200B, 0x200F, "zero-width space and joiners, direction marks"},
    {0x2028, 0x2029, "line and paragraph separators"},
    {0x202A, 0x202E, "bidirectional embeddings and overrides"},
    {0x2060, 0x2064, "word joiner and invisible operators"},
    {0x2066, 0x2069, "bidirectional isolates"},
    {0x206A, 0x206F, "deprecated format controls"},
    {0xE000, 0xE010, "private use"},
    {0xF8FF, 0xF8FF, "private use"},
    {0xFEFF, 0xFEFF, "byte order mark"},
    {0xFFF9, 0xFFFB, "interlinear annotation"},
    {0xFFFE, 0xFFFF, "noncharacters"},
    {0xE0001, 0xE007F, "tags"},
    {0xF0000, 0xF0010, "private use, plane 15"},
    {0x10FFFD, 0x10FFFD, "private use, plane 16"},
};

TEST(test_what_cannot_be_trusted_is_replaced)
{
    (void)state;
    const struct text_safe_options ascii = {.ascii = true, .keep_newlines = true};
    for (size_t i = 0; i < sizeof UNSAFE / sizeof UNSAFE[0]; i++) {
        for (unsigned point = UNSAFE[i].from; point <= UNSAFE[i].to; point++) {
            char bytes[8] = "a";
            const size_t length = 1 + encode(point, bytes + 1);
            bytes[length] = 'b';
            struct text out;
            text_init(&out);
            text_safe(&out, bytes, length + 1, NULL);
            if (strcmp(out.bytes, "a" FFFD "b") != 0)
                fail_msg("U+%04X (%s) became '%s'", point, UNSAFE[i].what, out.bytes);
            text_release(&out);
            assert_safe(bytes, length + 1, &ascii, "a?b");
        }
    }
}

TEST(test_invalid_bytes_are_replaced_one_by_one)
{
    (void)state;
    assert_safe("a\xFF\xFE"
                "b",
                4, NULL, "a" FFFD FFFD "b");
    assert_safe("a\xE2\x82", 3, NULL, "a" FFFD FFFD);
    assert_safe("a\xED\xA0\x80", 4, NULL, "a" FFFD FFFD FFFD);
    assert_safe("a\0b", 3, NULL, "a" FFFD "b");
}

TEST(test_tabs_newlines_and_carriage_returns)
{
    (void)state;
    const struct text_safe_options keep = {.keep_newlines = true};
    assert_safe("a\tb\nc", 5, NULL, "a b c");
    assert_safe("a\tb\nc", 5, &keep, "a b\nc");
    assert_safe("a\r\nb", 4, &keep, "a\nb");
    assert_safe("a\r\nb", 4, NULL, "a b");
    assert_safe("overwritten\rx", 13, &keep, "overwritten" FFFD "x"); /* a lone one hides text */
    assert_safe("end\r", 4, &keep, "end" FFFD);
}

TEST(test_good_text_passes_unchanged)
{
    (void)state;
    const char *const good = "Größe 24 °C – “wet”, é, 菌, 🍄, e\xCC\x81";
    assert_safe(good, strlen(good), NULL, good);
    assert_safe("\xE2\x9A\xA0\xEF\xB8\x8F!", 7, NULL, "\xE2\x9A\xA0!"); /* a style selector goes */
}

TEST(test_ascii_uses_plain_spellings)
{
    (void)state;
    const struct text_safe_options ascii = {.ascii = true, .limit = 80};
    const char *const text = "24 °C – “wet” ‘x’ é ½ ß Ø 菌 🍄 3 × 4 …";
    assert_safe(text, strlen(text), &ascii, "24 degC - \"wet\" 'x' e 1/2 ss ? ? ? 3 x 4 ...");
}

TEST(test_limit_counts_points_and_adds_an_ellipsis)
{
    (void)state;
    const struct text_safe_options five = {.limit = 5};
    const struct text_safe_options ascii = {.limit = 5, .ascii = true};
    assert_safe("12345", 5, &five, "12345");
    assert_safe("123456", 6, &five, "12345\xE2\x80\xA6");
    assert_safe("123456", 6, &ascii, "12345...");
    const char *const marks = "°°°°°°";
    assert_safe(marks, strlen(marks), &five, "°°°°°\xE2\x80\xA6");
}

/* ---- folding --------------------------------------------------------------------------------- */

static void assert_folds(const char *typed, const char *expected)
{
    struct text out;
    text_init(&out);
    assert_true(text_fold(&out, typed, strlen(typed), NULL));
    if (strcmp(out.bytes, expected) != 0)
        fail_msg("'%s' folds to '%s', not '%s'", typed, out.bytes, expected);
    text_release(&out);
}

TEST(test_folds_to_one_spelling)
{
    (void)state;
    assert_folds("", "");
    assert_folds("Green", "green");
    assert_folds("ÉTÉ", "été");
    assert_folds("e\xCC\x81", "é");               /* composed */
    assert_folds("ﬁne ＧＲＥＥＮ", "fine green"); /* ligature, full width */
    assert_folds("isn’t", "isn't");
    assert_folds("isn`t isn´t isnʼt", "isn't isn't isn't");
    assert_folds("“wet” «wet»", "\"wet\" \"wet\"");
    assert_folds("90–120 — ‑ −3", "90-120 - - -3");
    assert_folds("a \t\r\n\xC2\xA0\xE2\x80\x83 b", "a b");
    assert_folds(" a ", " a ");
    assert_folds("line\xE2\x80\xA8line", "line line");
    assert_folds("gr\xE2\x80\x8B"
                 "een gr\xC2\xAD"
                 "een",
                 "green green"); /* nothing visible */
    assert_folds("1½ ¾ 2⅔", "1 1/2 3/4 2 2/3");
    assert_folds("58℉ 58º 58˚", "58°f 58° 58°");
    assert_folds("cm²", "cm2");
    assert_folds("…", "...");
}

TEST(test_fold_refuses_what_is_not_text)
{
    (void)state;
    struct text out;
    size_t *origin = (size_t *)(uintptr_t)1;
    text_init(&out);
    assert_false(text_fold(&out, "ab\xFF", 3, &origin));
    assert_null(origin);
    assert_int_equal(out.length, 0);
    text_release(&out);
}

TEST(test_origin_leads_back)
{
    (void)state;
    const char *const typed = "A  ½ ﬁ°é";
    struct text out;
    size_t *origin = NULL;
    text_init(&out);
    assert_true(text_fold(&out, typed, strlen(typed), &origin));
    assert_string_equal(out.bytes, "a 1/2 fi°é");
    static const size_t EXPECTED[] = {0, 1, 3, 3, 3, 5, 6, 6, 9, 9, 11, 11, 13};
    assert_int_equal(out.length + 1, sizeof EXPECTED / sizeof EXPECTED[0]);
    for (size_t i = 0; i <= out.length; i++)
        assert_int_equal(origin[i], EXPECTED[i]);
    free(origin);
    text_release(&out);
}

TEST(test_origin_counts_from_what_was_added)
{
    (void)state;
    struct text out;
    size_t *origin = NULL;
    text_init(&out);
    text_puts(&out, "before ");
    assert_true(text_fold(&out, " X", 2, &origin));
    assert_string_equal(out.bytes, "before  x");
    assert_int_equal(origin[0], 0);
    assert_int_equal(origin[1], 1);
    assert_int_equal(origin[2], 2);
    free(origin);
    text_release(&out);
}

/* Thirty thousand accents on one letter: linear work, and the trace stays in order. */
TEST(test_fold_bears_a_mountain_of_accents)
{
    (void)state;
    enum { ACCENTS = 30000 };
    char *typed = malloc(1 + 2 * ACCENTS);
    assert_non_null(typed);
    typed[0] = 'e';
    for (size_t i = 0; i < ACCENTS; i++)
        memcpy(typed + 1 + 2 * i, i % 2 ? "\xCC\x81" : "\xCC\xA3", 2); /* above, below */
    struct text out;
    size_t *origin = NULL;
    text_init(&out);
    assert_true(text_fold(&out, typed, 1 + 2 * ACCENTS, &origin));
    for (size_t i = 1; i <= out.length; i++)
        assert_true(origin[i] >= origin[i - 1]);
    assert_int_equal(origin[out.length], 1 + 2 * ACCENTS);
    free(origin);
    free(typed);
    text_release(&out);
}

/* Each single point, in the first three planes, gives valid UTF-8 and leaves nothing unsafe. */
TEST(test_every_point_folds_and_is_made_safe)
{
    (void)state;
    struct text once;
    struct text twice;
    text_init(&once);
    text_init(&twice);
    for (unsigned point = 1; point < 0x30000; point++) {
        if (point >= 0xD800 && point < 0xE000)
            continue;
        char bytes[4];
        const size_t length = encode(point, bytes);
        text_clear(&once);
        text_clear(&twice);
        assert_true(text_fold(&once, bytes, length, NULL));
        assert_int_equal(utf8_valid_prefix(once.bytes, once.length), once.length);
        text_safe(&twice, bytes, length, NULL);
        assert_int_equal(utf8_valid_prefix(twice.bytes, twice.length), twice.length);
    }
    text_release(&once);
    text_release(&twice);
}

int main(void)
{
    return tests_run("text", NULL, NULL);
}
