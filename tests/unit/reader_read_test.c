/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plain language to observations: values, numbers, negation, hedges, what is left over. */
#include "support/reader_rules.h"

#include <math.h>

struct said { /* one sentence and what it says of one sign */
    const char *text;
    size_t observable;
    uint32_t seen, absent, hedged;
};

static void check(struct small *s, const struct said *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const struct said *row = &rows[i];
        struct reading_list list = read_text(s, row->text);
        struct sum sum = sum_of(&list, row->observable);
        if (sum.seen != row->seen || sum.absent != row->absent || sum.hedged != row->hedged)
            fail_msg("'%s': seen %x, absent %x, hedged %x", row->text, sum.seen, sum.absent,
                     sum.hedged);
    }
}

TEST(test_values)
{
    static const struct said rows[] = {
        {"red", TINT, RED, 0, 0},
        {"REDDISH!", TINT, RED, 0, 0},
        {"It looks red, and dusty", TINT, RED, 0, 0},
        {"It looks red, and dusty", TEXTURE, DUSTY, 0, 0},
        {"redder", TINT, 0, 0, 0},
        {"blue-green", TINT, TEAL, 0, 0},
        {"blue and green", TINT, BLUE, 0, 0},
        {"red\nblue", TINT, RED | BLUE, 0, 0},
        {"r\xC3\xA9"
         "d",
         TINT, 0, 0, 0},
        {"red\xC3\xA9", TINT, 0, 0, 0},
        {"\xEF\xBC\xB2\xEF\xBC\xA5\xEF\xBC\xA4", TINT, RED, 0, 0}, /* full-width letters */
        {"\"red\" (dusty)", TEXTURE, DUSTY, 0, 0},
    };
    check(*state, rows, COUNT_OF(rows));
}

TEST(test_negation)
{
    static const struct said rows[] = {
        {"no red yet", TINT, 0, RED, 0},
        {"not slimy but wet", TEXTURE, 0, SLICK, 0},
        {"not slimy but wet", DAMP, MOIST, 0, 0},
        {"no red or blue", TINT, 0, RED | BLUE, 0},
        {"no red, blue or teal", TINT, 0, RED | BLUE | TEAL, 0},
        {"no red, blue, or teal", TINT, 0, RED | BLUE | TEAL, 0},
        {"no red, blue, teal", TINT, 0, RED | BLUE | TEAL, 0},
        {"no red, blue", TINT, BLUE, RED, 0},
        {"no red, pale all over", TINT, PALE, RED, 0},
        {"no red, blue or teal at the top", TINT, TEAL | BLUE, RED, TEAL | BLUE},
        {"neither red nor blue", TINT, 0, RED | BLUE, 0},
        {"no red and blue", TINT, 0, RED | BLUE, 0},
        {"no red and dusty", TEXTURE, DUSTY, 0, 0},
        {"no reddish powder", TEXTURE, 0, DUSTY, 0},
        {"no red on the blue", TINT, BLUE, RED, 0},
        {"without any sharp odour", ODOUR, 0, SHARP, 0},
        {"isn't red", TINT, 0, RED, 0},
        {"isn\xE2\x80\x99t red", TINT, 0, RED, 0},
        {"nothing red", TINT, 0, RED, 0},
        {"not dusty. red", TINT, RED, 0, 0},
        {"not dusty\nred", TINT, RED, 0, 0},
        {"not dusty just red", TINT, RED, 0, 0},
        {"not only red", TINT, RED, 0, 0},
        {"red: none", TINT, 0, RED, 0},
        {"red dust: none", TEXTURE, 0, DUSTY, 0},
        {"red? no", TINT, 0, RED, 0},
        {"red? no, blue", TINT, BLUE, RED, 0},
        {"no, it is red", TINT, RED, 0, 0},
        {"no it is red", TINT, RED, 0, 0},
        {"red at the top none at the bottom", TINT, RED, 0, 0},
        {"red: none so far", TINT, 0, RED, 0},
        {"red none over there", TINT, RED, 0, 0},
        {"no red slime patches", TEXTURE, 0, SLICK, 0},
        {"no red moist", DAMP, 0, 0, 0},
        {"no red at the top", WHERE, 0, 0, 0},
        {"no red at the top", TINT, 0, RED, 0},
        {"none at the top", WHERE, 0, TOP, 0},
        {"no red at the top or blue at the bottom", TINT, 0, RED | BLUE, 0},
        {"lid is not damp", DAMP, 0, MOIST, 0},
        {"lid looks so damp", DAMP, MOIST, 0, 0},
        {"lid is dry but the foot damp", DAMP, ARID, 0, 0},
    };
    check(*state, rows, COUNT_OF(rows));
}

/* Where it is not plain what is denied, it counts as seen in doubt, and the words come back. */
TEST(test_unclear_negation)
{
    static const struct said rows[] = {
        {"not opened it yet red dust", TINT, RED, 0, RED},
        {"there isn't no red", TINT, RED, 0, RED},
        {"not without red", TINT, RED, 0, RED},
        {"no red but at the top", TINT, RED, 0, RED},
        {"no red except at the top", TINT, RED, 0, RED},
        {"no red, except at the top", TINT, RED, 0, RED},
        {"no red until day 12", TINT, RED, 0, RED},
    };
    struct small *s = *state;
    check(s, rows, COUNT_OF(rows));
    struct reading_list list = read_text(s, rows[0].text);
    assert_int_equal(list.unread_count, 1);
    assert_span(&list, list.unread[0].span, "not opened");
    assert_non_null(list.unread[0].note);
    list = read_text(s, rows[1].text);
    assert_int_equal(list.unread_count, 1);
    assert_span(&list, list.unread[0].span, "isn't no");
}

TEST(test_hedges)
{
    static const struct said rows[] = {
        {"maybe red", TINT, RED, 0, RED},
        {"red maybe", TINT, RED, 0, RED},
        {"maybe red, blue", TINT, RED | BLUE, 0, RED},
        {"I think, red", TINT, RED, 0, RED},
        {"red dust, I think", TEXTURE, DUSTY, 0, DUSTY},
        {"I think red. blue", TINT, RED | BLUE, 0, RED},
        {"not sure if it is red", TINT, RED, 0, RED},
        {"can't tell whether it is red", TINT, RED, 0, RED},
        {"is it red?", TINT, RED, 0, RED},
        {"red? blue", TINT, RED | BLUE, 0, RED},
        {"maybe just red", TINT, RED, 0, RED},
        {"red or blue", TINT, RED | BLUE, 0, RED | BLUE},
        {"I think no red", TINT, 0, RED, RED},
        {"by hand or steamed", MADE, BY_HAND | BY_STEAM, 0, 0},
    };
    check(*state, rows, COUNT_OF(rows));
    struct reading_list list = read_text(*state, "by hand or steamed");
    assert_int_equal(list.reading_count, 1);
    assert_span(&list, list.readings[0].span, "by hand or steamed");
}

TEST(test_statements)
{
    static const struct said rows[] = {
        {"no odour", ODOUR, 0, SHARP | STALE, 0},
        {"I think no odor", ODOUR, 0, SHARP | STALE, SHARP | STALE},
        {"no sharp odour", ODOUR, 0, SHARP, 0},
        {"red dust, no other tint", TINT, RED, BLUE | TEAL | PALE, 0},
        {"no other tint, red dust", TINT, RED, BLUE | TEAL | PALE, 0},
        {"red dust, the rest is pale", TINT, RED | PALE, BLUE | TEAL, 0},
        {"no red, no other tint", TINT, 0, RED | BLUE | TEAL | PALE, 0},
        {"all well, red dust", ODOUR, 0, SHARP | STALE, 0},
        {"all well, red zork", ODOUR, 0, 0, 0},
        {"all well, red zork", TINT, RED, 0, 0},
    };
    struct small *s = *state;
    check(s, rows, COUNT_OF(rows));
    struct reading_list list = read_text(s, "red dust, no other tint");
    assert_int_equal(list.reading_count, 3);
    assert_false(list.readings[0].others);
    assert_true(list.readings[2].others);
}

TEST(test_objections)
{
    static const struct {
        const char *text;
        bool objected;
    } rows[] = {
        {"red dust but zork", true},
        {"red dust, but there is a zork", true},
        {"red dust but at the top zork", true},
        {"zork but red dust", false},
        {"red dust, but blue. zork", false},
        {"red dust, but 12 zork", false},
        {"red dust and zork", false},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct reading_list list = read_text(*state, rows[i].text);
        assert_int_equal(list.unread_count, 1);
        if (list.unread[0].objected != rows[i].objected)
            fail_msg("'%s'", rows[i].text);
    }
}

struct number_said {
    const char *text;
    size_t observable;
    double lo, hi;
    uint32_t bins;
};

TEST(test_numbers)
{
    static const struct number_said rows[] = {
        {"day 12", AGE, 12, 12, GROWN},
        {"two weeks old", AGE, 14, 14, GROWN},
        {"3 weeks", AGE, 21, 21, GROWN},
        {"day 5 to 9", AGE, 5, 9, YOUNG | GROWN},
        {"about 3 weeks old", AGE, 21, 21, GROWN},
        {"over 3 weeks old", AGE, 21, 27.3, GROWN | OLD},
        {"at least 360 days old", AGE, 360, 365, OLD},
        {"stopped at a third", SPREAD, 100.0 / 3, 100.0 / 3, SOME},
        {"stopped at 3/4", SPREAD, 75, 75, MOST},
        {"less than 50% covered", SPREAD, 35, 50, SOME},
        {"15 psi", FORCE, 103.421359, 103.421359, STRONG},
        {"at 0.5 bar", FORCE, 50, 50, WEAK},
        {"day 12, stopped at a third for ten days", IDLE, 10, 10, LONG},
        {"day 12, stopped at a third for ten days", SPREAD, 100.0 / 3, 100.0 / 3, SOME},
        {"day 12, stopped at a third for ten days", AGE, 12, 12, GROWN},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct reading_list list = read_text(*state, rows[i].text);
        const struct reading *r = reading_of(&list, rows[i].observable);
        if (!r->has_number || fabs(r->number.lo - rows[i].lo) > 1e-6 ||
            fabs(r->number.hi - rows[i].hi) > 1e-6 || r->seen != rows[i].bins || r->hedged)
            fail_msg("'%s': %g to %g, bins %x", rows[i].text, r->number.lo, r->number.hi, r->seen);
        assert_int_equal(list.unread_count, 0);
    }
}

/* A quantity goes to one sign: the longer phrase, and among equals the first in the files. */
TEST(test_one_quantity_one_sign)
{
    struct small *s = *state;
    struct reading_list list = read_text(s, "stopped for ten days");
    assert_int_equal(list.reading_count, 1);
    assert_int_equal(list.readings[0].observable, IDLE);
    list = read_text(s, "not 15 psi");
    assert_int_equal(reading_of(&list, FORCE)->absent, STRONG);
    assert_false(reading_of(&list, FORCE)->has_number);
    list = read_text(s, "nothing after day 12");
    assert_int_equal(reading_of(&list, AGE)->seen, GROWN);
    list = read_text(s, "12");
    assert_int_equal(list.reading_count, 0);
    assert_int_equal(list.unread_count, 1);
}

TEST(test_impossible)
{
    static const struct {
        const char *text, *words;
    } rows[] = {
        {"day -3", "day -3"},
        {"red, 900 psi", "900 psi"},
        {"400% covered", "400% covered"},
        {"400 days old", "400 days old"},
        {"1e999 days old, day 99999999999999999999999999", "day 99999999999999999999999999"}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct reading_list list = read_text(*state, rows[i].text);
        const struct unread *found = NULL;
        for (size_t j = 0; j < list.unread_count; j++)
            if (list.unread[j].reason == UNREAD_IMPOSSIBLE)
                found = &list.unread[j];
        assert_non_null(found);
        assert_span(&list, found->span, rows[i].words);
        assert_non_null(found->note);
    }
    struct reading_list list = read_text(*state, "day -3");
    assert_string_equal(list.unread[0].note, "age lies between 0 days and 365 days");
}

TEST(test_unread)
{
    static const struct {
        const char *text;
        size_t count;
        const char *first, *last;
    } rows[] = {
        {"red", 0, NULL, NULL},
        {"it is all so red", 0, NULL, NULL},
        {"red frobs", 1, "frobs", "frobs"},
        {"the frobs of the glip are red", 1, "frobs of the glip are", NULL},
        {"frobs, glip", 2, "frobs", "glip"},
        {"red-frobbed", 1, "frobbed", "frobbed"},
        {"r\xC3\xB6t dusty caf\xC3\xA9", 2, "r\xC3\xB6t", "caf\xC3\xA9"},
        {"stopped being odd for two weeks", 1, "being odd", "being odd"},
        {"no", 1, "no", "no"},
        {"\xF0\x9F\x98\x80 red", 1, "\xF0\x9F\x98\x80", NULL},
        {"", 0, NULL, NULL},
        {" \t\n.,;", 0, NULL, NULL},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct reading_list list = read_text(*state, rows[i].text);
        if (list.unread_count != rows[i].count)
            fail_msg("'%s': %zu spans not understood", rows[i].text, list.unread_count);
        if (rows[i].first)
            assert_span(&list, list.unread[0].span, rows[i].first);
        if (rows[i].last)
            assert_span(&list, list.unread[list.unread_count - 1].span, rows[i].last);
    }
}

TEST(test_slips)
{
    static const struct said rows[] = {
        {"crimsn", TINT, RED, 0, 0},     /* a letter too few */
        {"crimmson", TINT, RED, 0, 0},   /* too many */
        {"crismon", TINT, RED, 0, 0},    /* swapped */
        {"crimsan", TINT, RED, 0, 0},    /* wrong */
        {"brimson", TINT, 0, 0, 0},      /* the first letter is not mistyped */
        {"crmsn", TINT, 0, 0, 0},        /* two slips */
        {"reed", TINT, 0, 0, 0},         /* the word meant is too short to tell */
        {"steem", MADE, BY_STEAM, 0, 0}, /* one vowel for another */
        {"stean", MADE, 0, 0, 0},        /* the last letter carries the ending */
        {"srteam", MADE, 0, 0, 0},       /* a consonant too many in a short word */
        {"steal", MADE, 0, 0, 0},        /* spared */
        {"withuot crimson", TINT, 0, RED, 0},
    };
    struct small *s = *state;
    check(s, rows, COUNT_OF(rows));
    struct reading_list list = read_text(s, "so the crimmson, dust");
    assert_span(&list, list.readings[0].span, "crimmson");
    assert_span(&list, list.readings[1].span, "dust");
    assert_int_equal(list.unread_count, 0);
}

/* The same words again say nothing new. */
TEST(test_repeats)
{
    struct reading_list list = read_text(*state, "red, red, red, no red, no red, maybe red");
    assert_int_equal(list.reading_count, 3);
}

TEST(test_spans)
{
    struct reading_list list = read_text(*state, "\xE2\x80\x9CRe\xC2\xAD"
                                                 "d\xE2\x80\x9D  \xEF\xAC\x82uff , no   Slimy!");
    assert_int_equal(list.reading_count, 2);
    assert_span(&list, list.readings[0].span,
                "Re\xC2\xAD"
                "d");
    assert_span(&list, list.readings[1].span, "Slimy");
    assert_int_equal(list.unread_count, 1);
    assert_span(&list, list.unread[0].span, "\xEF\xAC\x82uff");
}

int main(void)
{
    return tests_run("reader read", small_setup, small_teardown);
}
