/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which files are read, and what happens to those that cannot be. */

#include "support/fixture.h"
#include "support/test.h"

/* Loads the folder of the test on top of the small rule base. */
static void load_over_tiny(struct fixture *fixture)
{
    const char *const folders[] = {TINY, fixture->scratch.path};
    load_rules(fixture, folders, 2);
}

static void load_alone(struct fixture *fixture, const char *path)
{
    const char *const folders[] = {path};
    load_rules(fixture, folders, 1);
}

/* The first that is no warning: files of spaces are warned of before the limits refuse them. */
static const struct diag *first_error(const struct fixture *fixture)
{
    for (size_t i = 0; i < diags_kept(fixture->diags); i++)
        if (diags_get(fixture->diags, i)->kind == DIAG_ERROR)
            return diags_get(fixture->diags, i);
    fail_msg("no error was told");
    return NULL;
}

/* One fault, with these words in it. */
static void assert_refused(const struct fixture *fixture, enum status status, const char *words)
{
    assert_null(fixture->rules);
    assert_int_equal(fixture->status, status);
    assert_int_equal(diags_errors(fixture->diags), 1);
    const char *message = first_error(fixture)->message;
    if (!strstr(message, words))
        fail_msg("'%s' is not in '%s'", words, message);
}

WITH_RULES(test_missing_folder)
{
    struct fixture *fixture = *state;
    load_alone(fixture, scratch_path(&fixture->scratch, "nowhere"));
    assert_refused(fixture, STATUS_IO, "/nowhere': No such file or directory");
}

WITH_RULES(test_empty_folder)
{
    struct fixture *fixture = *state;
    load_alone(fixture, fixture->scratch.path);
    assert_refused(fixture, STATUS_DATA, "no .yaml file in '");
    load_over_tiny(fixture); /* of an overlay it is no fault */
    assert_non_null(fixture->rules);
}

WITH_RULES(test_parts_that_must_be_there)
{
    struct fixture *fixture = *state;
    scratch_write(&fixture->scratch, "a.yaml", "groups: {look: {overlap: 0.5}}\n");
    load_alone(fixture, fixture->scratch.path);
    assert_int_equal(fixture->status, STATUS_DATA);
    assert_int_equal(diags_errors(fixture->diags), 6);
    assert_null(diags_get(fixture->diags, 0)->at.file);
    assert_string_equal(diags_get(fixture->diags, 0)->message,
                        "no file has 'calibration'; FORMAT.md shows what stands in it");
}

WITH_RULES(test_only_yaml_files_that_show)
{
    struct fixture *fixture = *state;
    scratch_write(&fixture->scratch, "notes.txt", "signs: [");
    scratch_write(&fixture->scratch, "old.yaml~", "signs: [");
    scratch_write(&fixture->scratch, "yaml", "signs: [");
    scratch_write(&fixture->scratch, ".#new.yaml", "signs: [");
    scratch_folder(&fixture->scratch, ".hidden");
    scratch_write(&fixture->scratch, ".hidden/a.yaml", "signs: [");
    assert_int_equal(symlink("/nowhere/at/all", scratch_path(&fixture->scratch, "gone.txt")), 0);
    load_over_tiny(fixture);
    assert_non_null(fixture->rules);
}

WITH_RULES(test_folders_and_links_are_followed)
{
    struct fixture *fixture = *state;
    scratch_folder(&fixture->scratch, "deep");
    scratch_folder(&fixture->scratch, "deep/deeper");
    scratch_write(&fixture->scratch, "deep/deeper/a.yaml", "groups: {below: {overlap: 0.1}}\n");
    scratch_write(&fixture->scratch, "elsewhere", "groups: {linked: {overlap: 0.1}}\n");
    assert_int_equal(symlink("elsewhere", scratch_path(&fixture->scratch, "link.yaml")), 0);
    load_over_tiny(fixture);
    assert_non_null(fixture->rules);
    assert_int_equal(fixture->rules->group_count, 3);
    assert_string_equal(fixture->rules->groups[1].id, "below"); /* alphabetical order of path */
    assert_string_equal(fixture->rules->groups[2].id, "linked");
}

WITH_RULES(test_a_file_may_be_named_itself)
{
    struct fixture *fixture = *state;
    scratch_write(&fixture->scratch, "a.yaml", "groups: {named: {overlap: 0.1}}\n");
    const char *const folders[] = {TINY, scratch_path(&fixture->scratch, "a.yaml")};
    fixture->rules = rules_load(folders, 2, fixture->diags, &fixture->status);
    assert_non_null(fixture->rules);
    assert_int_equal(fixture->rules->group_count, 2);
}

WITH_RULES(test_what_is_no_file)
{
    static const struct {
        const char *target, *name,
            *message; /* target: NULL for a pipe, which must not hold us up */
    } links[] = {{"nowhere", "a.yaml", "/a.yaml': No such file or directory"},
                 {"a.yaml", "a.yaml", "/a.yaml': Too many levels of symbolic links"},
                 {".", "again", "folders nest more than 16 deep"},
                 {NULL, "a.yaml", "/a.yaml': it is not a file of text"}};
    struct fixture *fixture = *state;
    for (size_t i = 0; i < sizeof links / sizeof *links; i++) {
        const char *path = scratch_path(&fixture->scratch, links[i].name);
        assert_int_equal(
            links[i].target != NULL ? symlink(links[i].target, path) : mkfifo(path, 0600), 0);
        load_over_tiny(fixture);
        assert_refused(fixture, STATUS_IO, links[i].message);
        assert_int_equal(unlink(path), 0);
    }
}

/* As somebody else when we are root, to whom nothing is closed. */
static void load_as_nobody(struct fixture *fixture)
{
    enum { NOBODY = 65534 };
    bool root = geteuid() == 0;
    assert_int_equal(chmod(fixture->scratch.path, 0755), 0);
    if (root)
        assert_int_equal(seteuid(NOBODY), 0);
    load_alone(fixture, fixture->scratch.path);
    if (root)
        assert_int_equal(seteuid(0), 0);
}

WITH_RULES(test_unreadable_file_and_folder)
{
    struct fixture *fixture = *state;
    scratch_write(&fixture->scratch, "a.yaml", "groups: {}\n");
    assert_int_equal(chmod(scratch_path(&fixture->scratch, "a.yaml"), 0), 0);
    load_as_nobody(fixture);
    assert_refused(fixture, STATUS_IO, "/a.yaml': Permission denied");
    assert_int_equal(unlink(scratch_path(&fixture->scratch, "a.yaml")), 0);
    scratch_folder(&fixture->scratch, "closed");
    assert_int_equal(chmod(scratch_path(&fixture->scratch, "closed"), 0), 0);
    load_as_nobody(fixture);
    chmod(scratch_path(&fixture->scratch, "closed"), 0700);
    assert_refused(fixture, STATUS_IO, "/closed': Permission denied");
}

WITH_RULES(test_sizes)
{
    enum { MOST = 4 * 1024 * 1024 };
    struct fixture *fixture = *state;
    scratch_blank(&fixture->scratch, "a.yaml", MOST);
    load_over_tiny(fixture);
    assert_non_null(fixture->rules);
    scratch_blank(&fixture->scratch, "a.yaml", MOST + 1);
    load_over_tiny(fixture);
    assert_refused(fixture, STATUS_DATA, "larger than 4 MiB");
    for (char name[] = "a.yaml"; *name <= 'h'; ++*name)
        scratch_blank(&fixture->scratch, name, MOST);
    load_over_tiny(fixture); /* 32 MiB, and the small rules */
    assert_refused(fixture, STATUS_DATA, "with this file there is more than 32 MiB");
    assert_non_null(strstr(first_error(fixture)->at.file, "/h.yaml"));
}

WITH_RULES(test_every_bad_file_is_told)
{
    struct fixture *fixture = *state;
    scratch_write(&fixture->scratch, "b.yaml", "groups: [\n");
    scratch_write(&fixture->scratch, "a.yaml", "groups: {a: {overlap: 2}}\nsigns: *none\n");
    scratch_write(&fixture->scratch, "c.yaml", "groups: {c: {overlap: 3, much: 1}}\nnothing: 1\n");
    load_over_tiny(fixture);
    assert_null(fixture->rules);
    /* Files that are no documents, and what the others show on their own; not what follows. */
    assert_int_equal(diags_errors(fixture->diags), 3);
    const char *const files[] = {"/a.yaml", "/b.yaml", "/c.yaml"};
    for (size_t i = 0; i < 3; i++)
        assert_non_null(strstr(diags_get(fixture->diags, i)->at.file, files[i]));
}

WITH_RULES(test_excerpt_shows_the_line)
{
    struct fixture *fixture = *state;
    scratch_write(
        &fixture->scratch, "a.yaml",
        "groups:\n"
        "  wide: {overlap: 0.5, '°C': 1}\n"
        "  long: {overlap: 0.5, aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa: 1, "
        "bbb: 2}\n");
    load_over_tiny(fixture);
    assert_int_equal(diags_errors(fixture->diags), 3);
    const struct diag *wide = diags_get(fixture->diags, 0);
    assert_string_equal(wide->excerpt, "  wide: {overlap: 0.5, '°C': 1}");
    assert_int_equal(wide->caret, 24);
    const struct diag *far = diags_get(fixture->diags, 2);
    assert_int_equal(far->at.column, 86);
    assert_int_equal(far->caret, 39); /* half a terminal before it, and the rest */
    assert_string_equal(far->excerpt + far->caret - 1, "bbb: 2}");
}

WITH_RULES(test_hash_tells_rule_bases_apart)
{
    struct fixture *fixture = *state;
    char before[17];
    load_over_tiny(fixture);
    memcpy(before, fixture->rules->hash, sizeof before);
    load_over_tiny(fixture);
    assert_string_equal(fixture->rules->hash, before);
    scratch_write(&fixture->scratch, "a.yaml", "# one comment more\n");
    load_over_tiny(fixture);
    assert_string_not_equal(fixture->rules->hash, before);
}

int main(void)
{
    return tests_run("rule files", NULL, NULL);
}
