/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_SUPPORT_SCRATCH_H
#define JARSIDE_TESTS_SUPPORT_SCRATCH_H

/* A folder of its own for a test, below $TMPDIR, and files in it. Failures end the test. */
#include <fcntl.h>
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "support/test.h"

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
