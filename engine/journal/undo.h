/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_UNDO_H
#define JARSIDE_JOURNAL_UNDO_H

#include "journal/journal.h"

/*
 * Acts, and the way back: what one transaction of a command changed, row by row, is kept beside the
 * words of the command, so that it can be taken back exactly. The rows then are as they were before;
 * the trace that stays is an edit ("undone"), under the vessel, batch or record that the act was
 * about, and the act itself, marked. Acts are neither exported nor listed.
 *
 * What changed more than a mebibyte, and what lies many acts back, cannot be undone any more.
 */

/* From now on what is committed is an act with these words (copied); NULL: it is none. */
void undo_watch(struct journal *journal, const char *words);

struct undone {                /* texts in the arena */
    const char *words;         /* of the act */
    struct moment at;          /* when it was done */
    const char *table;         /* what it was about: a kind of record */
    const char *label;         /* and its label */
    size_t rows[RECORD_COUNT]; /* how many records it had added */
    const char *before;        /* the words of the one that would be next; or NULL */
};

/* The column of such an edit. */
#define UNDONE "undone"

/* Takes the newest act that stands back. STATUS_USAGE when there is none, or it cannot be undone. */
enum status undo_last(struct journal *journal, struct moment now, struct arena *arena,
                      struct undone *undone, struct diags *diags);

/* For journal.c: around a transaction. The first two leave it open when they fail. */
enum status undo_begin(struct journal *journal, struct diags *diags);
enum status undo_commit(struct journal *journal, struct diags *diags);
void undo_drop(struct journal *journal);

#endif
