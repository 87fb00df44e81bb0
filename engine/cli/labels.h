/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_LABELS_H
#define JARSIDE_CLI_LABELS_H

#include "base/arena.h"
#include "cli/app_journal.h"

/*
 * Records by the labels that people type. The journal must be open.
 *
 * Labels are taken in capitals too ("b3-7" finds "B3-7") when no record is
 * written as typed. Vessels of one batch may be drawn together: "B3-3 B3-7",
 * "B3 3 7", "B3-3..7", "B3 3-7", "B3-3,7"; a batch alone means all its vessels.
 */
struct chosen {
    struct vessel *vessels; /* in the arena; each once, in the order named */
    size_t count;
    bool whole; /* a batch was named without its vessels */
};

/* STATUS_USAGE with a message that names what is not known. At least one vessel is chosen. */
enum exit_status labels_vessels(struct app *app, const char *const *words, size_t count,
                                struct arena *arena, struct chosen *chosen);

/* One record of a kind into `row`; the nearest label is suggested. */
enum exit_status labels_find(struct app *app, enum record record, const char *label,
                             struct arena *arena, void *row);
/* Whether there is one; `found` receives the label as it is written (borrowed from the arena). */
bool labels_has(struct app *app, enum record record, const char *label, struct arena *arena,
                int64_t *id, const char **found);

/* The kind named by a word, singular or plural ("cook", "batches"); RECORD_COUNT when it is none. */
enum record labels_kind(const char *word);

#endif
