/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Diagnostics: what is kept, what is counted, and the nearest name. Exit statuses. */
#include <string.h>

#include "base/diag.h"
#include "support/test.h"

static const struct position NOWHERE = {0};

TEST(test_keeps_message_place_and_excerpt)
{
    (void)state;
    struct diags *diags = diags_new();
    char file[] = "rules/x.yaml";
    const struct position at = {file, 3, 7};
    diags_error(diags, at, "unknown key '%s'; did you mean '%s'", "nmae", "name");
    diags_excerpt(diags, "  nmae: x", 3);
    memset(file, 'z', sizeof file - 1); /* the strings are its own */
    const struct diag *diag = diags_get(diags, 0);
    assert_non_null(diag);
    assert_int_equal(diag->kind, DIAG_ERROR);
    assert_string_equal(diag->at.file, "rules/x.yaml");
    assert_int_equal(diag->at.line, 3);
    assert_int_equal(diag->at.column, 7);
    assert_string_equal(diag->message, "unknown key 'nmae'; did you mean 'name'");
    assert_string_equal(diag->excerpt, "  nmae: x");
    assert_int_equal(diag->caret, 3);
    assert_int_equal(diags_kept(diags), 1);
    diags_free(diags);
    diags_free(NULL);
}

TEST(test_what_was_quoted_cannot_reach_the_screen_raw)
{
    (void)state;
    struct diags *diags = diags_new();
    const struct position at = {"a\x1b[31m.yaml", 1, 1};
    diags_error(diags, at, "unknown word '%s'", "\x1b]0;x\x07\n\xE2\x80\xAE\xFF");
    diags_excerpt(diags, "\x1b[2Jx", 1);
    const struct diag *diag = diags_get(diags, 0);
    assert_string_equal(diag->at.file, "a\xEF\xBF\xBD[31m.yaml");
    assert_string_equal(diag->message, "unknown word '\xEF\xBF\xBD]0;x\xEF\xBF\xBD "
                                       "\xEF\xBF\xBD\xEF\xBF\xBD'");
    assert_string_equal(diag->excerpt, "\xEF\xBF\xBD[2Jx");
    diags_free(diags);
}

TEST(test_counts_beyond_what_it_keeps)
{
    (void)state;
    struct diags *diags = diags_new();
    for (int i = 0; i < 50; i++)
        diags_error(diags, NOWHERE, "fault %d", i);
    assert_int_equal(diags_errors(diags), 50);
    assert_int_equal(diags_kept(diags), DIAG_KEEP);
    assert_string_equal(diags_get(diags, DIAG_KEEP - 1)->message, "fault 19");
    diags_excerpt(diags, "belongs to one that was not kept", 1);
    assert_null(diags_get(diags, DIAG_KEEP - 1)->excerpt);
    diags_clear(diags);
    assert_int_equal(diags_errors(diags), 0);
    assert_int_equal(diags_kept(diags), 0);
    diags_excerpt(diags, "belongs to nothing", 1);
    diags_warn(diags, NOWHERE, "again");
    assert_int_equal(diags_warnings(diags), 1);
    assert_int_equal(diags_get(diags, 0)->kind, DIAG_WARNING);
    diags_free(diags);
}

TEST(test_errors_displace_warnings)
{
    (void)state;
    struct diags *diags = diags_new();
    diags_error(diags, NOWHERE, "first");
    for (int i = 0; i < 30; i++)
        diags_warn(diags, NOWHERE, "warning %d", i);
    diags_error(diags, NOWHERE, "late");
    diags_excerpt(diags, "here", 1);
    assert_int_equal(diags_errors(diags), 2);
    assert_int_equal(diags_warnings(diags), 30);
    assert_int_equal(diags_kept(diags), DIAG_KEEP);
    assert_string_equal(diags_get(diags, 0)->message, "first");
    assert_string_equal(diags_get(diags, DIAG_KEEP - 2)->message, "warning 17");
    assert_string_equal(diags_get(diags, DIAG_KEEP - 1)->message, "late");
    assert_string_equal(diags_get(diags, DIAG_KEEP - 1)->excerpt, "here");
    diags_free(diags);
}

static const char *near(const char *word)
{
    static const char *const NAMES[] = {"label", "look", "source", "values", "phrases", "effort"};
    return diag_nearest(word, NAMES, sizeof NAMES / sizeof NAMES[0]);
}

TEST(test_nearest_name)
{
    (void)state;
    assert_string_equal(near("lable"), "label");     /* neighbours exchanged: one step */
    assert_string_equal(near("soruce"), "source");   /* likewise */
    assert_string_equal(near("phrasse"), "phrases"); /* likewise, at the end */
    assert_string_equal(near("valeus"), "values");
    assert_string_equal(near("sourse"), "source"); /* one letter wrong */
    assert_string_equal(near("efort"), "effort");  /* one missing */
    assert_string_equal(near("loook"), "look");    /* one too many */
    assert_string_equal(near("LABEL"), "label");   /* both cases are equal */
    assert_string_equal(near("phrase"), "phrases");
    assert_string_equal(near("label"), "label");
    assert_null(near("colour"));
    assert_null(near("lo")); /* two away from "look": more than the one that is allowed */
    assert_null(near(""));
    assert_null(diag_nearest("label", NULL, 0));
}

TEST(test_nearest_prefers_the_closest_then_the_first)
{
    (void)state;
    const char *const names[] = {"stallen", "stalled", "stalley"};
    assert_string_equal(diag_nearest("stalled", names, 3), "stalled");
    assert_string_equal(diag_nearest("stallex", names, 3), "stallen");
}

TEST(test_nearest_bears_long_words)
{
    (void)state;
    char word[200];
    memset(word, 'a', sizeof word);
    word[199] = '\0';
    const char *const names[] = {word, "aaa"};
    assert_null(diag_nearest(word, names, 2));
    assert_string_equal(diag_nearest("aaaa", names, 2), "aaa");
    word[64] = '\0';
    assert_string_equal(diag_nearest(word, names, 2), word);
}

TEST(test_exit_statuses)
{
    (void)state;
    assert_int_equal(STATUS_OK, 0);
    assert_int_equal(STATUS_USAGE, 2);
    assert_int_equal(STATUS_DATA, 65);
    assert_int_equal(STATUS_IO, 74);
    assert_int_equal(STATUS_INTERNAL, 70);
}

int main(void)
{
    return tests_run("diag", NULL, NULL);
}
