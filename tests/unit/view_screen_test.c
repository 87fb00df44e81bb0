/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "support/test.h"
#include "view/screen.h"

static struct screen narrow(size_t width, bool ascii)
{
    struct screen screen = {.width = width, .ascii = ascii};
    text_init(&screen.out);
    return screen;
}

#define WIDE "\xe8\x8f\x8c"

TEST(wraps_at_blanks)
{
    (void)state;
    struct screen screen = narrow(20, false);
    screen_say(&screen, 2, 2, ROLE_PLAIN, "%s", "one two three four five six");
    assert_string_equal(screen.out.bytes, "  one two three four\n    five six\n");
    assert_int_equal(screen_lines(&screen), 2);
    screen_release(&screen);
}

TEST(counts_columns_and_cuts_words_wider_than_the_line)
{
    (void)state;
    static const struct {
        const char *said, *shown;
    } lines[] = {{"abcdefghijklmnopqrstuvwxyz", "abcdefghijklmnop\nqrstuvwxyz\n"},
                 /* Eight wide characters are sixteen columns; a ninth does not fit. */
                 {WIDE WIDE WIDE WIDE WIDE WIDE WIDE WIDE WIDE,
                  WIDE WIDE WIDE WIDE WIDE WIDE WIDE WIDE "\n" WIDE "\n"}};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        struct screen screen = narrow(16, false);
        screen_say(&screen, 0, 0, ROLE_PLAIN, "%s", lines[i].said);
        assert_string_equal(screen.out.bytes, lines[i].shown);
        screen_release(&screen);
    }
}

TEST(lets_no_control_through)
{
    (void)state;
    struct screen screen = narrow(40, true);
    screen_say(&screen, 0, 0, ROLE_PLAIN, "%s",
               "a\033[31mb\xe2\x80\xae"
               "c\007d");
    screen_item(&screen, 0, "-", ROLE_PLAIN, "\033]0;title\007");
    screen_row(&screen, 0, 8, "\033[2J",
               "\xc2\x9b"
               "5A");
    for (size_t i = 0; i < screen.out.length; i++)
        assert_true(screen.out.bytes[i] == '\n' ||
                    (screen.out.bytes[i] >= ' ' && screen.out.bytes[i] <= '~'));
    screen_release(&screen);
}

TEST(colours_only_when_asked)
{
    (void)state;
    struct screen screen = narrow(40, false);
    screen_say(&screen, 0, 0, ROLE_DISCARD, "out");
    assert_string_equal(screen.out.bytes, "out\n");
    text_clear(&screen.out);
    screen.colour = true;
    screen_say(&screen, 0, 0, ROLE_DISCARD, "out");
    assert_non_null(strstr(screen.out.bytes, "\033[1;31mout"));
    assert_non_null(strstr(screen.out.bytes, "\033[0m"));
    screen_release(&screen);
}

TEST(a_row_falls_apart_when_narrow)
{
    (void)state;
    struct screen screen = narrow(20, false);
    screen_row(&screen, 2, 12, "label", "more than fits on it");
    assert_string_equal(screen.out.bytes, "  label\n    more than fits\n    on it\n");
    screen_release(&screen);
}

int main(void)
{
    return tests_run("view screen", NULL, NULL);
}
