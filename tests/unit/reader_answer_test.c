/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Answers to a question: names of values, quantities by themselves, yes and no, and ordinary
 * sentences. */
#include "support/reader_rules.h"

static struct reading_list answer(struct small *s, size_t observable, const char *text)
{
    struct reading_list list;
    assert_int_equal(
        reader_answer(s->reader, observable, text, strlen(text), s->arena, &list, s->diags),
        STATUS_OK);
    return list;
}

struct answered {
    size_t asked;
    const char *text;
    uint32_t seen, absent, hedged;
    size_t unread;
};

static void assert_answered(struct small *s, const struct answered *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct reading_list list = answer(s, rows[i].asked, rows[i].text);
        struct sum sum = sum_of(&list, rows[i].asked);
        if (sum.seen != rows[i].seen || sum.absent != rows[i].absent ||
            sum.hedged != rows[i].hedged || list.unread_count != rows[i].unread)
            fail_msg("'%s': seen %x, absent %x, hedged %x, %zu not understood", rows[i].text,
                     sum.seen, sum.absent, sum.hedged, list.unread_count);
    }
}

TEST(test_values)
{
    static const struct answered rows[] = {
        {TINT, "red", RED, 0, 0, 0},
        {TINT, "Red and teal", RED | TEAL, 0, 0, 0},
        {TINT, "teal, or blue-green", TEAL, 0, 0, 0},
        {TINT, "not red", 0, RED, 0, 0},
        {TINT, "maybe pale", PALE, 0, PALE, 0},
        {DAMP, "as usual", USUAL, 0, 0, 0},
        {DAMP, "arid", ARID, 0, 0, 0},
        {DAMP, "moist", MOIST, 0, 0, 0},
        {MADE, "by_hand", BY_HAND, 0, 0, 0},
        {MADE, "with steam", BY_STEAM, 0, 0, 0},
        {AGE, "old", OLD, 0, 0, 0},
        {TINT, "frobs", 0, 0, 0, 1},
    };
    assert_answered(*state, rows, COUNT_OF(rows));
}

TEST(test_yes_and_no)
{
    static const struct answered rows[] = {
        {TINT, "no", 0, RED | BLUE | TEAL | PALE, 0, 0},
        {TINT, "None!", 0, RED | BLUE | TEAL | PALE, 0, 0},
        {TINT, "nothing of it", 0, RED | BLUE | TEAL | PALE, 0, 0},
        {TINT, "I think no", 0, RED | BLUE | TEAL | PALE, RED | BLUE | TEAL | PALE, 0},
        {TINT, "fine", 0, RED | BLUE | TEAL | PALE, 0, 0},
        {TINT, "no, red", RED, 0, 0, 0},
        {TINT, "yes, red", RED, 0, 0, 0},
        {TINT, "yes", 0, 0, 0, 1},
        {TINT, "no frobs", 0, 0, 0, 1},
        {MADE, "no", UNMADE, 0, 0, 0},
        {DAMP, "no", 0, 0, 0, 1},
        {AGE, "no", 0, 0, 0, 1},
    };
    assert_answered(*state, rows, COUNT_OF(rows));
    struct reading_list list = answer(*state, DAMP, "yes");
    assert_string_equal(list.unread[0].note, "name one of these: dry; as usual; moist");
    list = answer(*state, AGE, "yes");
    assert_string_equal(list.unread[0].note, "say a number");
}

/* "No" to one question may go with news about another sign. */
TEST(test_no_and_more)
{
    struct reading_list list = answer(*state, ODOUR, "no, but it is wet");
    assert_int_equal(sum_of(&list, ODOUR).absent, SHARP | STALE);
    assert_int_equal(sum_of(&list, DAMP).seen, MOIST);
    assert_int_equal(list.unread_count, 0);
    list = answer(*state, ODOUR, "No. Red dust at the top");
    assert_int_equal(sum_of(&list, ODOUR).absent, SHARP | STALE);
    assert_int_equal(sum_of(&list, TINT).seen, RED);
    assert_int_equal(sum_of(&list, WHERE).seen, TOP);
}

TEST(test_numbers)
{
    static const struct {
        size_t asked;
        const char *text;
        double lo, hi;
    } rows[] = {
        {AGE, "12", 12, 12},
        {AGE, "about 12", 12, 12},
        {AGE, "2 weeks", 14, 14},
        {AGE, "10-12", 10, 12},
        {AGE, "it is 12 so far", 12, 12},
        {IDLE, "2 weeks", 14, 14},
        {SPREAD, "40", 40, 40},
        {SPREAD, "half", 50, 50},
        {SPREAD, "2/3", 200.0 / 3, 200.0 / 3},
        {FORCE, "15 psi", 103.42135932, 103.42135932},
        {AGE, "15 psi, 12", 12, 12},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct reading_list list = answer(*state, rows[i].asked, rows[i].text);
        const struct reading *r = reading_of(&list, rows[i].asked);
        assert_true(r->has_number);
        if (r->number.lo < rows[i].lo - 1e-6 || r->number.lo > rows[i].lo + 1e-6 ||
            r->number.hi < rows[i].hi - 1e-6 || r->number.hi > rows[i].hi + 1e-6)
            fail_msg("'%s': %g to %g", rows[i].text, r->number.lo, r->number.hi);
        assert_int_equal(list.unread_count, 0);
    }
    struct reading_list list = answer(*state, AGE, "900");
    assert_int_equal(list.reading_count, 0);
    assert_int_equal(list.unread[0].reason, UNREAD_IMPOSSIBLE);
}

/* A phrase that says what its number is of wins over the question. */
TEST(test_other_numbers)
{
    struct reading_list list = answer(*state, AGE, "15 psi");
    assert_int_equal(sum_of(&list, AGE).count, 0);
    assert_int_equal(reading_of(&list, FORCE)->seen, STRONG);
    list = answer(*state, IDLE, "day 12");
    assert_int_equal(sum_of(&list, IDLE).count, 0);
    assert_int_equal(reading_of(&list, AGE)->seen, GROWN);
}

TEST(test_unknown_observable)
{
    struct small *s = *state;
    struct reading_list list;
    assert_int_equal(reader_answer(s->reader, SMALL_COUNT, "x", 1, s->arena, &list, s->diags),
                     STATUS_INTERNAL);
}

int main(void)
{
    return tests_run("reader answer", small_setup, small_teardown);
}
