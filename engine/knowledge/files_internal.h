/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_FILES_INTERNAL_H
#define JARSIDE_KNOWLEDGE_FILES_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"

struct faults;

/*
 * The .yaml files below a folder, in alphabetical order of path.
 *
 * Hidden files and folders are left alone: editors keep copies in them.
 */
enum {
    FILES_MAX_BYTES = 4 * 1024 * 1024, /* one file */
    FILES_MAX_TOTAL = 32 * 1024 * 1024,
    FILES_MAX_COUNT = 4096,
    FILES_MAX_DEPTH = 16, /* folders in folders: ends a circle of symbolic links */
};

struct file {
    const char *path;  /* as the user named it; outlives the load */
    size_t folder;     /* which of the folders it was found in */
    const char *bytes; /* until the next one is read */
    size_t length;
};

struct files {
    struct arena *keep;    /* paths */
    struct arena *scratch; /* contents */
    struct file *list;
    size_t count, room;
    char *buffer; /* of the file read last */
    size_t buffer_size;
    size_t total; /* bytes of all read so far */
};

/* Adds the files below `path` (or `path` itself if it is a file). Faults are told. */
void files_find(struct files *files, const char *path, size_t folder, struct faults *faults);

/* Reads one. False, and a fault told, if it can not be or is too large. May be read again. */
bool file_read(struct files *files, struct file *file, struct faults *faults);

#endif
