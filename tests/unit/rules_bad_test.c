/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Replays the corpus of bad rule files. Each file of tests/bad-rules is laid
 * over the small rule base of tiny-rules, and what is told must be what stands
 * in the .expected file beside it, word for word and in that order. A line is
 * LINE:COLUMN: error: MESSAGE, or warning.
 *
 * To add one, write the .yaml, run this test with JARSIDE_REWRITE=1 in the
 * environment, and read what it wrote as carefully as you would write it.
 */

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/diag.h"
#include "base/text.h"
#include "rules/rules.h"
#include "support/test.h"

#define CORPUS "tests/bad-rules"

enum { FEWEST = 100 }; /* the corpus grows */

static void add_told(struct text *out, const struct diags *diags, const char *path)
{
    for (size_t i = 0; i < diags_kept(diags); i++) {
        const struct diag *diag = diags_get(diags, i);
        const char *kind = diag->kind == DIAG_ERROR ? "error" : "warning";
        if (diag->at.file && strcmp(diag->at.file, path) != 0)
            text_printf(out, "%s:", diag->at.file);
        text_printf(out, "%zu:%zu: %s: %s\n", diag->at.line, diag->at.column, kind, diag->message);
    }
    if (diags_errors(diags) + diags_warnings(diags) > diags_kept(diags))
        text_printf(out, "%zu errors, %zu warnings\n", diags_errors(diags), diags_warnings(diags));
}

/* What loading tells, and that its answer agrees with it. */
static void load(const char *path, struct text *out)
{
    const char *const folders[] = {"tests/unit/tiny-rules", path};
    struct diags *diags = diags_new();
    assert_non_null(diags);
    enum status status = STATUS_INTERNAL;
    struct rules *rules = rules_load(folders, 2, diags, &status);
    assert_int_equal(rules != NULL, diags_errors(diags) == 0);
    assert_int_equal(status, rules ? STATUS_OK : STATUS_DATA);
    add_told(out, diags, path);
    rules_free(rules);
    diags_free(diags);
}

static void read_file(const char *path, struct text *out)
{
    char chunk[4096];
    FILE *file = fopen(path, "rb");
    if (!file)
        return;
    for (size_t got; (got = fread(chunk, 1, sizeof chunk, file)) > 0;)
        text_add(out, chunk, got);
    fclose(file);
}

static void rewrite_file(const char *path, const struct text *content)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    fwrite(content->bytes, 1, content->length, file);
    assert_int_equal(fclose(file), 0);
}

static void replay(const char *name)
{
    char path[512];
    struct text told, expected;
    text_init(&told);
    text_init(&expected);
    snprintf(path, sizeof path, CORPUS "/%s.yaml", name);
    load(path, &told);
    snprintf(path, sizeof path, CORPUS "/%s.expected", name);
    if (getenv("JARSIDE_REWRITE"))
        rewrite_file(path, &told);
    read_file(path, &expected);
    if (strcmp(told.bytes, expected.bytes) != 0)
        print_message("# %s: told\n%s# expected\n%s", name, told.bytes, expected.bytes);
    assert_string_equal(told.bytes, expected.bytes);
    text_release(&told);
    text_release(&expected);
}

static int by_name(const void *left, const void *right)
{
    return strcmp(*(char *const *)left, *(char *const *)right);
}

static size_t list_names(char **names, size_t room)
{
    size_t count = 0;
    DIR *folder = opendir(CORPUS);
    assert_non_null(folder);
    for (struct dirent *entry; (entry = readdir(folder)) != NULL && count < room;) {
        char *dot = strrchr(entry->d_name, '.');
        if (!dot || strcmp(dot, ".yaml") != 0)
            continue;
        *dot = '\0';
        names[count++] = strdup(entry->d_name);
    }
    closedir(folder);
    qsort(names, count, sizeof *names, by_name);
    return count;
}

TEST(test_corpus)
{
    (void)state;
    char *names[1000];
    size_t count = list_names(names, sizeof names / sizeof *names);
    assert_true(count >= FEWEST);
    for (size_t i = 0; i < count; i++) {
        replay(names[i]);
        free(names[i]);
    }
}

/* Only files that say so in their name may pass, with a warning or without. */
TEST(test_only_fine_files_pass)
{
    (void)state;
    char *names[1000];
    size_t count = list_names(names, sizeof names / sizeof *names);
    for (size_t i = 0; i < count; i++) {
        char path[512];
        struct text told;
        text_init(&told);
        snprintf(path, sizeof path, CORPUS "/%s.yaml", names[i]);
        load(path, &told);
        bool warned = strstr(told.bytes, ": warning: ") != NULL;
        bool refused = strstr(told.bytes, ": error: ") != NULL;
        bool fine = !strncmp(names[i], "fine-", 5);
        bool odd = !strncmp(names[i], "warn-", 5);
        if (fine ? warned || refused : odd ? !warned || refused : !refused)
            fail_msg("%s: %s", names[i], told.length ? told.bytes : "nothing was told");
        text_release(&told);
        free(names[i]);
    }
}

int main(void)
{
    return tests_run("bad rules", NULL, NULL);
}
