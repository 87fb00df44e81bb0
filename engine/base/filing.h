/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_FILING_H
#define JARSIDE_BASE_FILING_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/types.h>

#include "base/diag.h"
#include "base/text.h"

/* Files that appear whole or not at all.
 *
 * What is written goes to a file of its own in the same folder, mode 0600. Only once all of it has
 * reached the disk does it take its name. Whatever fails before leaves nothing behind and touches
 * nothing that was there: where the file system can do that, the file has no name until then, and
 * disappears with its process. */
struct filing {
    char *path, *temporary; /* NULL when closed */
    int descriptor;         /* of the temporary file */
    FILE *stream;           /* NULL when something else writes it */
    bool nameless;
    bool replace; /* a file of that name may be replaced */
    int error;    /* of the first write that failed, or 0 */
};

/* Begins a file. STATUS_IO, and a message that names the path, when it cannot be made, or when it
 * exists and is not to be replaced, or is a folder, or a database: no page or table ever takes the
 * place of a journal. */
enum status filing_open(struct filing *filing, const char *path, bool replace, struct diags *diags);
/* The same without a stream, for others to fill: `temporary` opens the empty file as long as it is
 * not closed. As a database it may replace one. */
enum status filing_reserve(struct filing *filing, const char *path, bool replace, bool database,
                           struct diags *diags);
/* Flushes, syncs and gives the name. The filing is closed whatever the outcome. */
enum status filing_commit(struct filing *filing, struct diags *diags);
/* Everything of it reaches the disk, still under the temporary name. Fine when repeated. */
enum status filing_sync(struct filing *filing, struct diags *diags);
/* Takes the temporary file away; nothing when the filing is closed. */
void filing_abandon(struct filing *filing);
/* Takes the temporary files of all that are open away; for memory_exhausted. */
void filing_remove_unfinished(void);

/* All of these in one go: the text becomes the file. */
enum status filing_put(const char *path, const struct text *text, bool replace,
                       struct diags *diags);

/* Reads up to `room` bytes, fewer only at the end of the file; -1 and errno when it cannot. */
ssize_t filing_read(int file, char *bytes, size_t room);
/* All of a file of at most so many bytes, from `arena`, with a NUL and room for one more byte behind them; NULL and
 * errno when it cannot be had: EINVAL for what is no file, EFBIG for a larger one. Does not wait for a pipe. */
char *filing_whole(const char *path, size_t most, struct arena *arena, size_t *length);

/* Makes the folders above a file that are not there yet; only their owner may look in. */
bool filing_make_folders(const char *path);

/* Writes to a stream that is open already, and flushes it. STATUS_CLOSED when it is a pipe and its
 * reader has gone; STATUS_IO when it refuses, and errno says why. */
enum status filing_send(FILE *stream, const char *bytes, size_t length);

/* Adds "cannot be VERB: why" at the path and returns STATUS_IO; STATUS_CLOSED, and not a word, when
 * `error` is EPIPE: whoever closed a pipe knows. */
enum status filing_refused(const char *path, const char *verb, int error, struct diags *diags);

/* How far a long job has come, told as it goes.
 *
 * A job calls `tell` now and then, `done` never falling and at last equal to `total`, both in bytes
 * or in rows. What is shown of it is the caller's matter. */
struct progress {
    void *context;
    void (*tell)(void *context, const char *what, uint64_t done, uint64_t total);
};

/* Nothing for a NULL progress. */
static inline void progress_tell(const struct progress *progress, const char *what, uint64_t done,
                                 uint64_t total)
{
    if (progress != NULL)
        progress->tell(progress->context, what, done, total);
}

#endif
