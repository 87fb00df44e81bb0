/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_SUPPORT_TEST_H
#define JARSIDE_TESTS_SUPPORT_TEST_H

/*
 * A test program: the functions of cmocka, and each TEST(name) { ... } of the file, which tests_run runs
 * in the order written.
 */
#include <fcntl.h>
#include <ftw.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static struct CMUnitTest tests_here[64];
static size_t tests_counted;

/* A test that is given nothing, or what is set up for it alone or for all of the file, in `state`. */
#define TEST(name) TEST_WITH(name, NULL, NULL)
#define TEST_WITH(name, set_up, tear_down)                                                         \
    static void name(void **state);                                                                \
    __attribute__((constructor)) static void add_##name(void)                                      \
    {                                                                                              \
        tests_here[tests_counted++] = (struct CMUnitTest){#name, name, set_up, tear_down, NULL};   \
    }                                                                                              \
    static void name(void **state)

/* Tells what came of them as TAP. `set_up` and `tear_down` are for all of them together, or NULL. */
static inline int tests_run(const char *title, CMFixtureFunction set_up,
                            CMFixtureFunction tear_down)
{
    cmocka_set_message_output(CM_OUTPUT_TAP);
    return _cmocka_run_group_tests(title, tests_here, tests_counted, set_up, tear_down);
}

/* A folder of its own for a test, below $TMPDIR, and files in it. Failures end the test. */
struct scratch {
    char path[256];
};

static inline void scratch_make(struct scratch *scratch)
{
    const char *base = getenv("TMPDIR");
    snprintf(scratch->path, sizeof scratch->path, "%s/jarside-test-XXXXXX",
             base && *base ? base : "/tmp");
    assert_non_null(mkdtemp(scratch->path));
}

static inline int scratch_unlink(const char *path, const struct stat *about, int type,
                                 struct FTW *walk)
{
    (void)about, (void)type, (void)walk;
    return remove(path);
}

static inline void scratch_remove(struct scratch *scratch)
{
    nftw(scratch->path, scratch_unlink, 16, FTW_DEPTH | FTW_PHYS);
}

/* The path of something in the folder; valid until the fourth next call. */
static inline const char *scratch_path(const struct scratch *scratch, const char *name)
{
    static char paths[4][512];
    static unsigned next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", scratch->path, name);
    return path;
}

static inline void scratch_folder(const struct scratch *scratch, const char *name)
{
    assert_int_equal(mkdir(scratch_path(scratch, name), 0700), 0);
}

static inline void scratch_write(const struct scratch *scratch, const char *name,
                                 const char *content)
{
    FILE *file = fopen(scratch_path(scratch, name), "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(content, 1, strlen(content), file), strlen(content));
    assert_int_equal(fclose(file), 0);
}

/* A file of `size` spaces and line ends, which mean nothing in YAML. */
static inline void scratch_blank(const struct scratch *scratch, const char *name, size_t size)
{
    static const char line[] = "                                                               \n";
    FILE *file = fopen(scratch_path(scratch, name), "wb");
    assert_non_null(file);
    for (size_t left = size; left > 0;) {
        size_t piece = left < sizeof line - 1 ? left : sizeof line - 1;
        assert_int_equal(fwrite(line + sizeof line - 1 - piece, 1, piece, file), piece);
        left -= piece;
    }
    assert_int_equal(fclose(file), 0);
}

#endif
