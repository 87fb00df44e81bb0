/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The plain part of YAML read by hand and by libyaml: the same trees, to the column. */

#include "rules/load.h"
#include "support/test.h"

static void same(const struct node *a, const struct node *b)
{
    for (; a && b; a = a->next, b = b->next) {
        assert_int_equal(a->kind, b->kind);
        assert_int_equal(a->line, b->line);
        assert_int_equal(a->column, b->column);
        assert_int_equal(a->quoted, b->quoted);
        assert_int_equal(a->count, b->count);
        if ((a->key != NULL) && (b->key != NULL))
            same(a->key, b->key);
        assert_int_equal(a->key == NULL, b->key == NULL);
        if (a->kind == NODE_TEXT)
            assert_string_equal(a->text, b->text);
        else
            same(a->first, b->first);
    }
    assert_true(a == b);
}

/* Reads every file below a folder both ways; how many were plain. */
static size_t compare(const char *path, size_t *all)
{
    size_t plain = 0, count;
    struct arena *arena = arena_new();
    struct loader first, second;
    loader_init(&first, arena, NULL);
    loader_init(&second, arena, NULL);
    second.by_library = true;
    files_find(&first, path, 0);
    files_find(&second, path, 0);
    count = first.file_count;
    *all += count;
    for (size_t i = 0; i < count; i++) {
        first.nodes_left = second.nodes_left = DOCUMENT_MAX_NODES;
        const struct node *ours = document_read(&first, &first.files[i]);
        const struct node *theirs = document_read(&second, &second.files[i]);
        assert_int_equal(first.errors, second.errors);
        assert_int_equal(first.nodes_left, second.nodes_left);
        same(ours, theirs);
        plain += first.files[i].plain;
    }
    arena_free(first.scratch);
    arena_free(second.scratch);
    arena_free(arena);
    return plain;
}

TEST(test_shipped)
{
    size_t all = 0, plain = compare("rules", &all) + compare("corpus/cases", &all) +
                            compare("corpus/voices", &all);
    (void)state;
    print_message("# %zu of %zu files are plain\n", plain, all);
    assert_true(plain > all * 9 / 10);
}

TEST(test_bad)
{
    size_t all = 0;
    (void)state;
    compare("tests/bad-rules", &all);
    assert_true(all > 100);
}

int main(void)
{
    return tests_run("rules plain", NULL, NULL);
}
