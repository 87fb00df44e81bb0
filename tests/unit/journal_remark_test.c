/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One remark for a batch: which words are said of whom. */
#include <string.h>

#include "base/text.h"
#include "journal/remark.h"
#include "language/reader.h"
#include "support/fixture.h"

static const struct rules *rules;

static int rules_setup(void **state)
{
    (void)shipped_setup(state);
    rules = ((const struct fixture *)*state)->rules;
    return 0;
}

/* "words | 3 7: green patch | 9:" for what was read, a run of numbers as "3-7"; "which" and "twice"
 * for what was refused. */
static void expect_of(size_t vessels, const char *said, const char *expected)
{
    struct arena *arena = arena_new();
    struct diags *diags = diags_new();
    struct remark remark;
    struct text got;
    text_init(&got);
    if (remark_read(rules, said, "B3", vessels, arena, &remark, diags) == STATUS_OK) {
        text_puts(&got, remark.words);
        for (size_t i = 0; i < remark.group_count; i++) {
            const struct remark_group *group = &remark.groups[i];
            text_puts(&got, group->controls ? " | control" : " |");
            for (size_t k = 0; k < group->count; k++) {
                size_t last = k;
                while (last + 1 < group->count &&
                       group->numbers[last + 1] == group->numbers[last] + 1)
                    last++;
                text_printf(&got, last > k + 1 ? " %d-%d" : " %d", (int)group->numbers[k],
                            (int)group->numbers[last]);
                k = last > k + 1 ? last : k;
            }
            text_printf(&got, ": %s", group->words);
        }
    } else {
        text_puts(&got, strstr(diags_get(diags, 0)->message, "twice") != NULL ? "twice" : "which");
        assert_int_equal(diags_errors(diags), 1);
    }
    if (strcmp(got.bytes, expected) != 0)
        print_error("said: %s\n", said);
    assert_string_equal(got.bytes, expected);
    text_release(&got);
    diags_free(diags);
    arena_free(arena);
}

static void expect(const char *said, const char *expected)
{
    expect_of(12, said, expected);
}

TEST(the_rest_and_the_excepted)
{
    (void)state;
    expect("all fine", "all fine");
    expect("all fine except 3 and 7", "all fine | 3 7: ");
    expect("all fine, except 3, 7 and 9.", "all fine | 3 7 9: ");
    expect("All fine except for 3-5 and 9", "All fine | 3-5 9: ");
    expect("all fine apart from b3-3..5", "all fine | 3-5: ");
    expect("all fine but 3", "all fine | 3: ");
    expect("all fine, not 3 & 4", "all fine | 3 4: ");
    expect("all fine except B3-3 to B3-5, number 12", "all fine | 3-5 12: ");
    expect("all 40% white except 2 3", "all 40% white | 2 3: ");
    expect("all 12 are fine except 2", "all fine | 2: ");
    expect("all fine exept 3: green spot", "all fine | 3: green spot");
    expect("2 green spots", " | 2: green spots");
    expect("3 green patch, 9 black spots, rest fine", "all fine | 3: green patch | 9: black spots");
    expect("all good expect 3 and 5", "all good | 3 5: ");
    expect("All fine, excluding jars 3 - 5: slow", "All fine | 3-5: slow");
}

TEST(what_is_said_of_the_excepted)
{
    (void)state;
    expect("all fine except 3 and 7: green patch", "all fine | 3 7: green patch");
    expect("all fine except 3 and 7: green patch, dry; 9: wet at the bottom, 2 cm deep",
           "all fine | 3 7: green patch, dry | 9: wet at the bottom, 2 cm deep");
    expect("all fine except 3; 9: wet", "all fine | 3:  | 9: wet");
    expect("all fine except 2: green spot, 6: wet at the bottom",
           "all fine | 2: green spot | 6: wet at the bottom");
    expect("all fine but 3 and 7 green", "all fine | 3 7: green");
    expect("all fine except 3 (green spot) and 5 (slow)", "all fine | 3: green spot | 5: slow");
    expect("all fine except 3 and 5: 3 has a green spot, 5 is not moving",
           "all fine | 3 5:  | 3: has a green spot | 5: not moving");
    expect("except 3 and 5: 3 has a green spot, 5 is not moving",
           " | 3 5:  | 3: has a green spot | 5: not moving");
    expect("all fine except 3, 5 has green", "all fine | 3:  | 5: has green");
    expect("all fine except 3 - green, 4 - wet", "all fine | 3: green | 4: wet");
}

TEST(groups_by_name)
{
    (void)state;
    expect("B3-4 has a green patch, everything else looks good",
           "looks good | 4: has a green patch");
    expect("1-6 wet and sour, rest white", "white | 1-6: wet and sour");
    expect("2 green", " | 2: green");
    expect("everything fine, 2 has black dots", "everything fine | 2: has black dots");
    expect("evrything else ok, 3 to 5 slow and 7 is wet", "all fine | 3-5: slow | 7: wet");
    expect("jar 3: pink. the others are white", "white | 3: pink");
    expect("3 is green and 5 is wet, the remaining ones are fine", "all fine | 3: green | 5: wet");
    expect("2: green spot, rest white and nice", "white and nice | 2: green spot");
    expect("3 green spot, no change in the others", "no change | 3: green spot");
    expect("none is green except 5", "none is green | 5: green");
    expect("3 wet, the other eleven white", "white | 3: wet");
    expect("3 wet, the other nine white", "which");
    expect("all good bar 4 - wet", "all good | 4: wet");
    expect("the last jar is wet, others ok", "all fine | 12: wet");
    expect("first two wet, last three dry, the middle ones good",
           "all fine | 1 2: wet | 10-12: dry");
    expect("first two wet, the middle ones good", "which");
    expect("all twelve good except 3", "all fine | 3: ");
    expect("1 half white, 2 none, rest slow", "slow | 1: half white | 2: nothing growing");
    expect("nothing on the controls, rest white", "white | control: nothing growing");
    expect("all fine, the control is clear", "all fine | control: clear");
    expect("half white, rest of the grain bare", "half white; of the grain bare");
    expect("green patch on 4, everything else good", "all fine | 4: green patch");
    expect("all fine, green in jars 2 and 5, wet on 7", "all fine | 2 5: green | 7: wet");
    expect("#2 smells sour; #3's turned grey", " | 2: smells sour | 3: turned grey");
    expect("1-12 all fine but 3 is wet", " | 1-12: all fine | 3: wet");
}

/* Only vessels make a group; what merely looks like one is a description. */
TEST(words_that_name_no_vessel)
{
    (void)state;
    expect("all white but no green", "all white but no green");
    expect("day 9, not 40 % white yet", "day 9, not 40 % white yet");
    expect("2 weeks, half white, 3 cm of growth", "2 weeks, half white, 3 cm of growth");
    expect("fine, about 30% white", "fine, about 30% white");
    expect("20-30 percent white, 2 to 3 days behind", "20-30 percent white, 2 to 3 days behind");
    expect("no change", "no change");
    expect("3: wet, all green", " | 3: wet, all green");
    expect("all fine apart from some condensation", "all fine apart from some condensation");
}

TEST(what_is_not_clear_is_refused)
{
    (void)state;
    expect("all fine except the third one", "which");
    expect("all fine, one has a green spot", "which");
    expect("two of them are green, rest fine", "which");
    expect("all fine but 2 of them are green", "which");
    expect("2 jars green", "which");
    expect("all fine, 2 green spots", "which");
    expect("3 green patch, 2 black spots", "which");
    expect("3: green patch, 4 black spots", "which");
    expect("2 black spots, 3 green spots", "which");
    expect("99 black spots", "which");
    expect("some are slow", "which");
    expect("a jar has mould", "which");
    expect("all fine, the one at the back is green", "which");
    expect("all fine except 7-3", "which");
    expect("all fine except 3 and 3", "twice");
    expect("all fine except 3, 3 green", "all fine | 3 3: green");
    expect("all fine except 3: green; 3: wet", "twice");
    expect("all fine except 99999999999999999999", "which");
    expect("all fine except 1-999999", "which");
}

static const char *said_of(const struct remark *remark, int64_t number, bool control)
{
    const struct remark_group *group = remark_group_of(remark, number, control);
    return group != NULL ? group->words : remark->words;
}

/* The smallest group counts, and one that is described before one that is only excepted. */
TEST(one_vessel_in_two_groups)
{
    (void)state;
    struct arena *arena = arena_new();
    struct diags *diags = diags_new();
    struct remark remark;
    assert_int_equal(
        remark_read(rules, "1-20 white, except 3 and 5: 3 is green, rest slow, controls clear",
                    "B3", 40, arena, &remark, diags),
        STATUS_OK);
    assert_string_equal(said_of(&remark, 1, false), "white");
    assert_string_equal(said_of(&remark, 3, false), "green");
    assert_string_equal(said_of(&remark, 5, false), "");
    assert_string_equal(said_of(&remark, 30, false), "slow");
    assert_string_equal(said_of(&remark, 40, true), "clear");
    diags_free(diags);
    arena_free(arena);
}

TEST(numbers_left_over)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct span age = {4, 9};
    assert_string_equal(remark_leftover("green near 4", NULL, 0, arena), "4");
    assert_null(remark_leftover("day 12", &age, 1, arena));
    assert_null(remark_leftover("30% white", NULL, 0, arena));
    assert_null(remark_leftover("B3-4a and 4cm", &age, 1, arena));
    arena_free(arena);
}

int main(void)
{
    return tests_run("journal_remark", rules_setup, fixture_tear_down);
}
