/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One sentence for a whole batch. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/text.h"
#include "journal/query.h"

/* "words | 3 7: green patch | 9:" for what was read; "wrong" for what was refused. */
static void expect(const char *said, const char *expected)
{
    struct arena *arena = arena_new();
    struct diags *diags = diags_new();
    struct selection selection;
    struct text got;
    text_init(&got);
    if (selection_read(said, "B3", arena, &selection, diags) == STATUS_OK) {
        text_puts(&got, selection.words);
        for (size_t i = 0; i < selection.part_count; i++) {
            text_puts(&got, " |");
            for (size_t k = 0; k < selection.parts[i].count; k++)
                text_printf(&got, " %d", (int)selection.parts[i].numbers[k]);
            text_printf(&got, ": %s", selection.parts[i].words);
        }
    } else {
        text_puts(&got, "wrong");
        assert_int_equal(diags_errors(diags), 1);
    }
    assert_string_equal(got.bytes, expected);
    text_release(&got);
    diags_free(diags);
    arena_free(arena);
}

static void test_the_rest_and_the_excepted(void **state)
{
    (void)state;
    expect("all fine", "all fine");
    expect("all fine except 3 and 7", "all fine | 3 7: ");
    expect("all fine, except 3, 7 and 9.", "all fine | 3 7 9: ");
    expect("All fine except for 3-5 and 9", "All fine | 3 4 5 9: ");
    expect("all fine apart from b3-3..5", "all fine | 3 4 5: ");
    expect("all fine but 3", "all fine | 3: ");
    expect("all fine, not 3 & 4", "all fine | 3 4: ");
    expect("all fine except B3-3 to B3-5, number 12", "all fine | 3 4 5 12: ");
    expect("all 40% white except 2 3", "all 40% white | 2 3: ");
}

static void test_what_is_said_of_the_excepted(void **state)
{
    (void)state;
    expect("all fine except 3 and 7: green patch", "all fine | 3 7: green patch");
    expect("all fine except 3 and 7: green patch, dry; 9: wet at the bottom, 2 cm deep",
           "all fine | 3 7: green patch, dry | 9: wet at the bottom, 2 cm deep");
    expect("all fine except 3; 9: wet", "all fine | 3:  | 9: wet");
}

/* Only vessels make an exception; what merely looks like the beginning of one is a description. */
static void test_words_that_announce_no_vessel(void **state)
{
    (void)state;
    expect("all white but no green", "all white but no green");
    expect("day 9, not 40 % white yet", "day 9, not 40 % white yet");
}

static void test_what_cannot_be_read_is_refused(void **state)
{
    (void)state;
    expect("all fine except the third one", "wrong");
    expect("all fine except 3 and", "wrong");
    expect("all fine except 3 and 7 green", "wrong");
    expect("all fine except 3:", "wrong");
    expect("all fine but 3 and 7 green", "wrong"); /* or all of them would be green */
    expect("except 3: green", "wrong");
    expect("all fine except 7-3", "wrong");
    expect("all fine except 3 and 3", "wrong");
    expect("all fine except 3: green; 3: wet", "wrong");
    expect("all fine except 99999999999999999999", "wrong");
    expect("all fine except 1-999999", "wrong");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_rest_and_the_excepted),
        cmocka_unit_test(test_what_is_said_of_the_excepted),
        cmocka_unit_test(test_words_that_announce_no_vessel),
        cmocka_unit_test(test_what_cannot_be_read_is_refused),
    };
    return cmocka_run_group_tests_name("one sentence for a batch", tests, NULL, NULL);
}
