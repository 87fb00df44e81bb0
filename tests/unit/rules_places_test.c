/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where rule bases are found. This program lies in the build tree, below the shipped rules. */

#include "rules/rules.h"
#include "support/test.h"

static int set_up(void **state)
{
    struct scratch *scratch = calloc(1, sizeof *scratch);
    assert_non_null(scratch);
    scratch_make(scratch);
    scratch_folder(scratch, "jarside");
    scratch_folder(scratch, "jarside/rules");
    scratch_folder(scratch, ".config");
    unsetenv("JARSIDE_RULES");
    unsetenv("XDG_CONFIG_HOME");
    unsetenv("HOME");
    *state = scratch;
    return 0;
}

static int tear_down(void **state)
{
    scratch_remove(*state);
    free(*state);
    return 0;
}

/* Frees what was found. */
static void assert_found(char *found, const char *want)
{
    if (!want) {
        assert_null(found);
        return;
    }
    assert_non_null(found);
    assert_string_equal(found, want);
    free(found);
}

TEST_WITH(test_build_tree, set_up, tear_down)
{
    (void)state;
    char *found = rules_find_shipped();
    assert_non_null(found);
    struct stat one, other;
    assert_int_equal(stat(found, &one), 0);
    assert_int_equal(stat("rules", &other), 0);
    assert_int_equal(one.st_ino, other.st_ino);
    free(found);
}

TEST_WITH(test_named_by_the_user, set_up, tear_down)
{
    (void)state;
    setenv("JARSIDE_RULES", "some/where", 1); /* there or not: loading says */
    assert_found(rules_find_shipped(), "some/where");
    setenv("JARSIDE_RULES", "", 1);
    char *found = rules_find_shipped();
    assert_string_not_equal(found, "");
    free(found);
}

TEST_WITH(test_overlay, set_up, tear_down)
{
    const struct scratch *scratch = *state;
    char want[512];
    assert_found(rules_find_overlay(), NULL);
    snprintf(want, sizeof want, "%s/jarside/rules", scratch->path);
    setenv("XDG_CONFIG_HOME", scratch->path, 1);
    assert_found(rules_find_overlay(), want);
    setenv("XDG_CONFIG_HOME", "tests", 1); /* a relative one is ignored */
    assert_found(rules_find_overlay(), NULL);
    setenv("HOME", scratch->path, 1);
    assert_found(rules_find_overlay(), NULL); /* ~/.config holds none yet */
    scratch_folder(scratch, ".config/jarside");
    scratch_folder(scratch, ".config/jarside/rules");
    snprintf(want, sizeof want, "%s/.config/jarside/rules", scratch->path);
    assert_found(rules_find_overlay(), want);
}

int main(void)
{
    return tests_run("places of rules", NULL, NULL);
}
