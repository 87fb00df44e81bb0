/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_PROGRESS_H
#define JARSIDE_JOURNAL_PROGRESS_H

#include <stdint.h>

/*
 * How far a long job has come, told as it goes.
 *
 * A job calls `tell` now and then, `done` never falling and at last equal to
 * `total`, both in bytes or in rows. What is shown of it is the caller's matter.
 */
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
