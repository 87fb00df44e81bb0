/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Trees, and templates over them. */
#include <math.h>
#include <stdlib.h>

/* which needs those above */

#include "support/test.h"
#include "view/tree.h"

static void is_json(json_t *tree, const char *expected)
{
    char *text = json_dumps(tree, JSON_COMPACT | JSON_ENCODE_ANY);
    assert_string_equal(text, expected);
    free(text);
    json_decref(tree);
}

TEST(an_object_is_made_from_its_keys)
{
    (void)state;
    const struct range range = {1.0, 2.0, INFINITY};
    is_json(view_json("n:n gone:n z:z l:l i:i b:b", 0.5, NAN, (size_t)3, (json_int_t)-4, 5, true),
            "{\"n\":0.5,\"gone\":null,\"z\":3,\"l\":-4,\"i\":5,\"b\":true}");
    is_json(view_json("s:s none:s empty:w bad:t list:o range:r", "a", NULL, "", "x\xff",
                      json_pack("[i]", 1), &range),
            "{\"s\":\"a\",\"none\":null,\"empty\":null,\"bad\":\"x\xef\xbf\xbd\",\"list\":[1],"
            "\"range\":{\"low\":1.0,\"central\":2.0,\"high\":null}}");
}

/* As a program gets it: Jansson's own text, but for what templates alone need and what is treacherous. */
TEST(json_is_written)
{
    (void)state;
    static const double reals[] = {0.0,        -0.0,   1e-7,        1e-4,        0.5,
                                   999.999999, 1000.0, 1e20,        1.0 / 3,     0.1,
                                   0.000123,   -0.25,  12.0,        999.9999996, 1e300,
                                   123456.5,   2e-05,  0.999999999, 100.0001,    99.9999995};
    json_t *tree =
        json_pack("{s:s, s:s, s:[], s:{}, s:i, s:b, s:n}", "plain", "a \"b\" \\ /", "controls",
                  "\x01\b\t\n\f\r\x1f \xc3\xa9", "none", "nothing", "i", -7, "b", 1, "n");
    json_t *all = json_array();
    for (size_t i = 0; i < sizeof reals / sizeof *reals; i++)
        json_array_append_new(all, json_real(reals[i]));
    for (int i = 0; i < 20000; i++)
        json_array_append_new(all, json_real(round((double)i * 0.0379 * 1e6) / 1e6));
    json_object_set_new(tree, "all", all);
    for (int spread = 0; spread < 2; spread++) {
        TEXT(text);
        char *expected =
            json_dumps(tree, JSON_REAL_PRECISION(9) | (spread ? JSON_INDENT(2) : JSON_COMPACT));
        assert_true(json_write(&text, tree, spread));
        assert_string_equal(text.bytes, expected);
        free(expected);
    }
    json_decref(tree);
    tree = json_pack("{s:i, s:i, s:[{s:i, s:i}], s:{s:i}, s:s}", "a", 1, "_b", 2, "c", "d", 3, "_e",
                     4, "f", "_g", 5, "h", "\x7f\xe2\x80\xae\xf3\xa0\x81\x81");
    TEXT(text);
    assert_true(json_write(&text, tree, false));
    assert_string_equal(text.bytes, "{\"a\":1,\"c\":[{\"d\":3}],\"f\":{},\"h\":"
                                    "\"\\u007f\\u202e\\udb40\\udc41\"}");
    assert_false(json_write(&text, NULL, false));
    json_decref(tree);
}

static void says(const char *name, json_t *tree, const char *expected)
{
    struct text words;
    text_init(&words);
    view_words(&words, name, tree);
    assert_string_equal(words.bytes, expected);
    text_release(&words);
    json_decref(tree);
}

TEST(words_are_put_together)
{
    (void)state;
    says("limit.no_factor", view_json("missing:o", json_pack("[s, s]", "cook", "place")),
         "All vessels share everything that was recorded, so nothing can be compared. Not "
         "recorded, and "
         "worth it: cook, place.");
    says("limit.no_factor", view_json("missing:o", json_array()),
         "All vessels share everything that was recorded, so nothing can be compared.");
    says("review.reading",
         view_json("fails_from:i _each:i _tried:o _untried:o error:n", 3, 8,
                   json_pack("[s, s]", "cook C1", "cook C2"), json_pack("[s]", "lot {L1}"), 0.004),
         "A row fails when it loses 3 or more of its 8. If only the row with cook C1 fails, it was "
         "that; "
         "if only the row with cook C2 fails, it was that; if none fails, it was lot {L1}. If all "
         "of "
         "them fail, it is something that they still share. Chance "
         "of a "
         "wrong answer: under 1 %.");
}

TEST(screens_and_pages_are_said_alike)
{
    (void)state;
    struct screen screen = {.width = SCREEN_DEFAULT};
    struct text page;
    json_t *tree = view_json("not_understood:o clashes:o _bare:i",
                             json_pack("[{s:s, s:n}, {s:s, s:s}]", "words", "<b>", "note", "words",
                                       "grn", "note", "did you mean green?"),
                             json_array(), 1);
    text_init(&screen.out);
    text_init(&page);
    view_say(&(struct face){.screen = &screen}, "unclear", tree);
    view_say(&(struct face){.page = &page}, "unclear", tree);
    assert_string_equal(screen.out.bytes,
                        "Not understood: '<b>'\nNot understood: 'grn'; did you mean green?\n");
    assert_string_equal(page.bytes, "<p>Not understood: &#39;&lt;b&gt;&#39;</p>\n"
                                    "<p>Not understood: &#39;grn&#39;; did you mean green?</p>\n");
    text_release(&page);
    screen_release(&screen);
    json_decref(tree);
}

int main(void)
{
    return tests_run("view tree", NULL, NULL);
}
