/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_FAULTS_INTERNAL_H
#define JARSIDE_KNOWLEDGE_FAULTS_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/diag.h"
#include "knowledge/files_internal.h"

/*
 * What is wrong with the files of one load, gathered in whatever order it is
 * found and told in the order of the files.
 */
struct fault {
    enum diag_kind kind;
    struct position at;
    const char *message;
};

struct faults {
    struct arena *arena;
    struct fault *list;
    size_t count, room;
    size_t errors;
    bool unreadable; /* a file or folder could not be read */
    bool no_memory;  /* a library ran out of it: an arena knows by itself */
};

void fault_error(struct faults *faults, struct position at, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void fault_warn(struct faults *faults, struct position at, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* A file or folder the system does not let us read. `error` is an errno. */
void fault_unreadable(struct faults *faults, const char *path, int error);

/* `text` itself, or its beginning and "..." when it is too long for a message. */
const char *fault_quote(struct faults *faults, const char *text);
/* As diag_nearest; NULL when nobody would read it any more, or when there are too many names. */
const char *fault_nearest(const struct faults *faults, const char *word, const char *const *names,
                          size_t count);
/* "; did you mean 'x'?", or "" when `nearest` is NULL. */
const char *fault_hint(struct faults *faults, const char *nearest);

/* Adds all to `diags`, sorted, once each, with the line they stand on. */
void faults_tell(struct faults *faults, struct files *files, struct diags *diags);

#endif
