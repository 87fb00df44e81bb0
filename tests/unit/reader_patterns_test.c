/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Phrases of plain words; patterns: faults with their caret, limits, warnings of endless ones. */
#include "support/reader_rules.h"

#include <stdlib.h>
#include <time.h>

#include "base/text.h"

/* A rule base in which the first value of the first sign has one phrase, `sign` before it. */
static void with_phrase(struct small *s, const char *sign, const char *source, struct value *values)
{
    small_init(s);
    const char **phrases = arena_array(s->words, 1, sizeof *phrases);
    phrases[0] = arena_format(s->words, "%s%s", sign, source);
    values[0] = (struct value){.id = "x", .label = "x", .phrases = {phrases, places, 1}};
    s->observables[TINT].values = values;
    s->observables[TINT].value_count = 1;
    s->rules.language = (struct language){0};
}

TEST(test_faults)
{
    (void)state;
    static const struct {
        const char *phrase;
        size_t caret;
    } rows[] = {
        {"red(", 5},      {"a|[b", 5},   {"(?<x>a", 7},         {"a{3,2}", 6},         {"*a", 1},
        {"a**b", 3},      {"[z-a]", 4},  {"(?<=a+)b", 1},       {"\\p{Nonsense}", 13}, {"a\\", 3},
        {"a)", 2},        {"\\g{9}", 5}, {"[[:nonsense:]]", 4}, {"(*NONSENSE)", 11},   {"^*", 2},
        {"[:alpha:]", 1}, {"[=a=]", 1},  {"[\\d-z]", 4}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct value value;
        struct small s;
        with_phrase(&s, "/", rows[i].phrase, &value);
        s.reader = reader_new(&s.rules, s.diags);
        if (s.reader)
            fail_msg("'%s' was taken", rows[i].phrase);
        assert_int_equal(diags_errors(s.diags), 1);
        const struct diag *d = diags_get(s.diags, 0);
        assert_string_equal(d->at.file, "small.yaml");
        assert_int_equal(d->at.line, 3);
        assert_string_equal(d->excerpt, rows[i].phrase);
        if (d->caret != rows[i].caret)
            fail_msg("'%s': caret at %zu", rows[i].phrase, d->caret);
        small_close(&s);
    }
}

/* All faults are told at once, and a quantity is shown as its author wrote it. */
TEST(test_all_faults)
{
    (void)state;
    struct small s;
    small_init(&s);
    s.age[0] = "/day ({q}";
    s.force[0] = "no quantity here";
    s.reader = reader_new(&s.rules, s.diags);
    assert_null(s.reader);
    assert_int_equal(diags_errors(s.diags), 2);
    assert_string_equal(diags_get(s.diags, 0)->excerpt, "day ({q}");
    assert_int_equal(diags_get(s.diags, 0)->caret, 9);
    assert_non_null(strstr(diags_get(s.diags, 1)->message, "stands no quantity"));
    small_close(&s);
}

/* What a pattern says it is tried at, and with: a clause that lacks either is left alone. */
TEST(test_at_and_with)
{
    (void)state;
    static const struct {
        const char *source, *text;
        size_t found;
    } rows[] = {{"zig.*zag\tzig", "zig zag", 1},
                {"zig.*zag\tother", "zig zag", 0},
                {"zig.*zag\tzig\tzag|zog", "zig zag", 1},
                {"zig.*zag\tzig\tzog", "zig zag", 0},
                {"zig.*zag\tzig\tzog", "zog, zig zag", 0},
                {"zig.*zag\t\tzags", "zig zag", 1},
                {"z\\d+\tz#", "z12 now", 1},
                {"5zig\t#\tzig", "about 5zig", 1}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct value value;
        struct small s;
        struct reading_list list;
        with_phrase(&s, "/", rows[i].source, &value);
        s.reader = reader_new(&s.rules, s.diags);
        assert_non_null(s.reader);
        assert_int_equal(
            reader_read(s.reader, rows[i].text, strlen(rows[i].text), s.words, &list, s.diags),
            STATUS_OK);
        if (list.reading_count != rows[i].found)
            fail_msg("'%s' in '%s': %zu", rows[i].source, rows[i].text, list.reading_count);
        small_close(&s);
    }
}

TEST(test_objection_of_two_words)
{
    (void)state;
    static const char *const objections[] = {"but not"};
    struct small s;
    small_init(&s);
    s.rules.language.objections = (struct phrases){objections, places, 1};
    s.reader = reader_new(&s.rules, s.diags);
    assert_null(s.reader);
    assert_int_equal(diags_errors(s.diags), 1);
    assert_int_equal(diags_get(s.diags, 0)->at.line, 3);
    assert_non_null(
        strstr(diags_get(s.diags, 0)->message, "in the phrase 'but not' stands more than a word"));
    small_close(&s);
}

/* Patterns of which it cannot be told what letters they need are tried on every text. */
TEST(test_unusual_syntax)
{
    (void)state;
    static const struct {
        const char *phrase, *text;
        bool matches;
    } rows[] = {
        {"(?i:RED)", "red", true},
        {"RED", "red", true},
        {"r.d", "rod", true},
        {"(r)(e)d", "red", true},
        {"re{1}d", "red", true},
        {"re{0,2}d", "rd", true},
        {"(?:red){2}", "redred", true},
        {"(?:re|r)d", "rd", true},
        {"[r]ed", "red", true},
        {"[^x]ed", "red", true},
        {"[a-z]{3}", "red", true},
        {"red(?=,|$)", "red", true},
        {"(?<=very )red", "very red", true},
        {"(?<!very )red", "very red", false},
        {"(?>red|reddish) dust", "red dust", true},
        {"re\\x64", "red", true},
        {"\\Qred.\\E", "red.", false},
        {"^red$", "so, red, so", true},
        {"^red$", "red so", false},
        {"(?<=red\\n)so", "red, so", true},
        {"(?<=red\\n)so", "red so", false},
        {"very (?:\\w+ )?\\Kred", "very deep red", true},
        {"a b", "a, b", false},
        {"a\\sb", "a b", true},
        {"a{", "a", false},
        {"rouge|", "rouge", true},
        {"caf\xC3\xA9", "caf\xC3\xA9", true},
        {"caf", "caf\xC3\xA9", false},
        {"\xC3\x84pfel", "\xC3\xA4pfel", true},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct value value;
        struct small s;
        with_phrase(&s, "/", rows[i].phrase, &value);
        small_open(&s);
        struct reading_list list = read_text(&s, rows[i].text);
        if ((sum_of(&list, TINT).seen != 0) != rows[i].matches)
            fail_msg("'%s' on '%s'", rows[i].phrase, rows[i].text);
        small_close(&s);
    }
}

/* Words, alternatives, what may be left out, lists, gaps, and words that need not be there. */
TEST(test_plain_phrases)
{
    (void)state;
    static const struct {
        const char *phrase, *text;
        bool matches;
    } rows[] = {
        {"thick white", "thick white", true},
        {"thick white", "thick, white", false},
        {"thick white", "white thick", false},
        {"thick white", "thickly white", true},
        {"thick white", "thickset white", false},
        {"speck", "specks", true},
        {"spot", "spotting", true},
        {"spot", "spot's", true},
        {"spots", "spot", false}, /* "spots" stands under `apart` */
        {"can't see", "cant see", true},
        {"blue-green", "blue green", true},
        {"blue green", "blue-green", true},
        {"grey fluff", "gray fluff", true}, /* they count as one */
        {"thick|dense white", "dense white", true},
        {"thick|dense white", "dens white", false},
        {"thick|blue-green white", "blue green white", true},
        {"thick [and bright] white", "thick white", true},
        {"thick [and bright] white", "thick and bright white", true},
        {"thick [and bright] white", "thick and white", false},
        {"[thick|dense] white", "dense white", true},
        {"white [all [the way] over] inside", "white all over inside", true},
        {"white [all [the way] over] inside", "white all the way over inside", true},
        {"white [all [the way] over] inside", "white the way inside", false},
        {"{spot} by {where}", "speck by the very lid", true}, /* "the", "very" are fillers */
        {"{spot} by {where}", "little blue speck by back wall", true},
        {"{spot} by {where}", "little speck by back", false},
        {"spot by lid", "spot by any lid", false},
        {"spot ... lid", "spot lid", true},
        {"spot ... lid", "spot one two three four lid", true},
        {"spot ... lid", "spot one two three four five lid", false},
        {"spot ... lid", "spot one, lid", false},
        {"is white", "is it white", true},
        {"is white", "white", false},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        PHRASES(fillers, "the|very|is|it");
        PHRASES(same, "grey|gray");
        PHRASES(apart, "spots");
        PHRASES(spot, "spot|speck", "little [blue] speck");
        PHRASES(where, "lid", "back {wall}");
        PHRASES(wall, "wall|{spot}");
        const struct named_list lists[] = {
            {"spot", {spot, NULL, 2}}, {"where", {where, NULL, 2}}, {"wall", {wall, NULL, 1}}};
        struct value value;
        struct small s;
        with_phrase(&s, "", rows[i].phrase, &value);
        s.rules.language = (struct language){LISTED(fillers), LISTED(same), LISTED(apart),
                                             .lists = lists, .list_count = 3};
        small_open(&s);
        struct reading_list list = read_text(&s, rows[i].text);
        if ((sum_of(&list, TINT).seen != 0) != rows[i].matches)
            fail_msg("'%s' on '%s'", rows[i].phrase, rows[i].text);
        small_close(&s);
    }
}

TEST(test_plain_faults)
{
    (void)state;
    static const struct {
        const char *phrase, *says;
    } rows[] = {
        {"red(dish)?", "a sign that means nothing"},
        {"red [dish", "bracket is not closed"},
        {"[red]", "nothing need be said"},
        {"... red", "name a word at each end"},
        {"red ...", "name a word at each end"},
        {"a ... b ... c ... d", "more than two gaps"},
        {"red||blue", "missing beside"},
        {"red {lid}", "a list that"},
        {"red {q}", "stands a quantity"},
        {"", "nothing need be said"},
        {"a b c d e f g h i j k l m n o p q r s t u v w x y z a b c d e f g", "too many words"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct value value;
        struct small s;
        with_phrase(&s, "", rows[i].phrase, &value);
        assert_null(reader_new(&s.rules, s.diags));
        assert_int_equal(diags_errors(s.diags), 1);
        assert_int_equal(diags_get(s.diags, 0)->at.line, 3);
        if (!strstr(diags_get(s.diags, 0)->message, rows[i].says))
            fail_msg("'%s': %s", rows[i].phrase, diags_get(s.diags, 0)->message);
        small_close(&s);
    }
}

/* A list that holds itself, or others without end, is told of; a text that could be read in many ways ends. */
TEST(test_lists_in_lists)
{
    (void)state;
    PHRASES(pile, "{heap}", "[very] {heap} ... {heap}");
    PHRASES(circle, "{pile}", "{heap} {heap}", "[heap] [heap] [heap] heap");
    PHRASES(many, "[heap] [heap] [heap] heap", "heap heap");
    PHRASES(most, "{pile} {pile} {pile} {pile} {pile} {pile} {pile} {pile} {pile} {pile}");
    PHRASES(fillers, "very");
    const struct {
        struct phrases heap;
        const char *phrase;
        bool fine;
    } rows[] = {{{circle, places, 3}, "{heap} {pile}", false},
                {{many, places, 2}, "{heap} {pile}", true},
                {{most, places, 1}, "{pile} {heap}", false}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        const struct named_list lists[] = {{"heap", rows[i].heap}, {"pile", {pile, places, 2}}};
        struct value value;
        struct small s;
        struct text text;
        with_phrase(&s, "", rows[i].phrase, &value);
        s.rules.language =
            (struct language){LISTED(fillers), .lists = lists, .list_count = COUNT_OF(lists)};
        if (!rows[i].fine) {
            assert_null(reader_new(&s.rules, s.diags));
            assert_non_null(strstr(diags_get(s.diags, 0)->message, "name each other"));
            small_close(&s);
            continue;
        }
        small_open(&s);
        text_init(&text);
        for (int k = 0; k < 60; k++)
            text_puts(&text, k % 3 ? "heap " : "very ");
        struct reading_list list = read_text(&s, text.bytes);
        assert_int_equal(sum_of(&list, TINT).seen, 1);
        text_release(&text);
        small_close(&s);
    }
}

/* A pattern that does not come to an end on a text is told of, not taken for "no match". */
TEST(test_limit)
{
    (void)state;
    struct value value;
    struct small s;
    with_phrase(&s, "/", "(?:a+ ?)+b", &value);
    small_open(&s);
    char text[128];
    memset(text, 'a', sizeof text);
    text[sizeof text - 2] = 'b';
    text[sizeof text - 1] = 'c';
    struct reading_list list;
    assert_int_equal(reader_read(s.reader, text, sizeof text, s.arena, &list, s.diags), STATUS_OK);
    const struct unread *hit = NULL;
    for (size_t i = 0; i < list.unread_count; i++)
        if (list.unread[i].reason == UNREAD_LIMIT)
            hit = &list.unread[i];
    assert_non_null(hit);
    assert_int_equal(hit->span.start, 0);
    assert_int_equal(hit->span.end, sizeof text);
    assert_non_null(strstr(hit->note, "tint"));
    assert_non_null(strstr(hit->note, "small.yaml:3"));
    reader_check_patterns(s.reader, s.diags);
    assert_int_equal(diags_warnings(s.diags), 1);
    assert_int_equal(diags_get(s.diags, 0)->at.line, 3);
    small_close(&s);
}

/* Patterns that stay below the limit of steps and yet take minutes: they end, and their place is told. */
TEST(test_slow)
{
    (void)state;
    static const struct {
        const char *phrase, *letters;
        size_t length;
    } rows[] = {
        {"(?=.*a.*b.*c.*d.*e.*f)", "abcde", READER_MAX_TEXT},
        {"(?=.*a.*b.*c.*d.*e.*f)", "abcde ", READER_MAX_TEXT},
        {"(?=.*a.*b.*c.*d.*e.*f)", "abcde ab, ", READER_MAX_TEXT},
        {"(?=.*a.*b.*c.*d.*e.*f)", "abcde ", 1000},
        {"(?:a?){1000}(?:a){1000}", "a", READER_MAX_TEXT},
        {"(?:a?){1000}(?:a){1000}", "a", 1990},
        {"(?:a?){100}(?:a){100}c?", "a", 4000},
        {"(?:a?){30}(?:a){30}", "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa b. ", READER_MAX_TEXT},
        {"(?=(.*)a(.*)b(.*)c(.*)d\\1\\2e)", "abcd ", 4000},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct value value;
        struct small s;
        struct reading_list list;
        struct text text;
        with_phrase(&s, "/", rows[i].phrase, &value);
        small_open(&s);
        text_init(&text);
        while (text.length + strlen(rows[i].letters) <= rows[i].length)
            text_puts(&text, rows[i].letters);
        clock_t begun = clock();
        assert_int_equal(reader_read(s.reader, text.bytes, text.length, s.arena, &list, s.diags),
                         STATUS_OK);
        if (clock() - begun >
            20 * CLOCKS_PER_SEC) /* no measure of speed: minutes without a limit */
            fail_msg("row %zu takes without end", i);
        for (size_t k = 0; k < list.unread_count; k++)
            if (list.unread[k].reason == UNREAD_LIMIT)
                assert_non_null(strstr(list.unread[k].note, "small.yaml:3"));
        text_release(&text);
        small_close(&s);
    }
}

TEST(test_check)
{
    (void)state;
    static const struct {
        const char *phrase;
        bool slow;
    } rows[] = {
        {"(?:a|a)*c", true},
        {"(?:\\w+\\s?)*:", true},
        {"(?:ab?)+(?:ab?)+(?:ab?)+x", true},
        {"(a+)+", true}, /* these end well but for the word that goes on behind them */
        {"(a|aa)+", true},
        {"(a|a?)+", true},
        {"(.*a){20}", true},
        {"(x+x+)+y", true},
        {"([a-z]+)*[0-9]", true},
        {"(?:a*)*b", true},
        {"(a+)(a+)(a+)(a+)(a+)(a+)b", true},
        {"\\p{L}+\\p{L}+\\p{L}+9", true},
        {"(?:red ?)+ dust", false},
        {"no (?:\\w+ )?(?:\\w+ )?dust", false},
        {"red(?:dish)?", false},
        {"spot {gap} near", false},
        {"(?>a+)b", false},
        {"\\w+ed", false},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct value value;
        struct small s;
        with_phrase(&s, "/", rows[i].phrase, &value);
        small_open(&s);
        reader_check_patterns(s.reader, s.diags);
        if ((diags_warnings(s.diags) > 0) != rows[i].slow)
            fail_msg("'%s': %zu warnings", rows[i].phrase, diags_warnings(s.diags));
        small_close(&s);
    }
    struct small s;
    small_init(&s);
    small_open(&s);
    reader_check_patterns(s.reader, s.diags);
    assert_int_equal(diags_warnings(s.diags), 0);
    small_close(&s);
}

/* Often used phrases are translated to machine code on the way; what is read stays the same. */
TEST(test_much_use)
{
    (void)state;
    struct small s;
    small_init(&s);
    small_open(&s);
    static const char text[] = "day 12, stopped at a third for ten days, no red dust at the top";
    struct reading_list first = read_text(&s, text);
    for (int i = 0; i < 2000; i++) {
        struct arena *arena = arena_new();
        struct reading_list list;
        assert_int_equal(reader_read(s.reader, text, sizeof text - 1, arena, &list, s.diags),
                         STATUS_OK);
        assert_int_equal(list.reading_count, first.reading_count);
        for (size_t j = 0; j < list.reading_count; j++) {
            assert_int_equal(list.readings[j].seen, first.readings[j].seen);
            assert_int_equal(list.readings[j].absent, first.readings[j].absent);
            assert_int_equal(list.readings[j].span.start, first.readings[j].span.start);
        }
        arena_free(arena);
    }
    small_close(&s);
}

int main(void)
{
    return tests_run("reader patterns", NULL, NULL);
}
