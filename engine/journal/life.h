/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_LIFE_H
#define JARSIDE_JOURNAL_LIFE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/status.h"
#include "journal/journal.h"

/*
 * What happened, in order: looks, deeds and outcomes of one vessel or of all
 * vessels of a batch, and the slips that were corrected in a record.
 *
 * Events are in the order of their moments, and those of one moment in the order in
 * which they were recorded. What a later row corrects is there, too, and says so.
 */
struct event {
    enum record kind; /* RECORD_LOOK, _DEED, _OUTCOME or _EDIT */
    struct moment at;
    int64_t id;
    int64_t vessel; /* 0 for an edit */
    bool overruled; /* a later row corrects it: it no longer counts */
    union {
        struct look look;
        struct deed deed;
        struct outcome outcome;
        struct edit edit;
    } is;
};

struct life {
    struct event *events; /* in the arena */
    size_t count;
    size_t earlier; /* how many more there were before these */
};

/* The newest `limit` events of each kind (0: all) of a vessel; of all vessels of a batch. */
enum status life_of_vessel(struct journal *journal, const struct vessel *vessel, size_t limit,
                           struct arena *arena, struct life *life, struct diags *diags);
enum status life_of_batch(struct journal *journal, const struct batch *batch, size_t limit,
                          struct arena *arena, struct life *life, struct diags *diags);
/* Of any other record with a label: its edits. */
enum status life_of_record(struct journal *journal, enum record record, const char *label,
                           size_t limit, struct arena *arena, struct life *life,
                           struct diags *diags);

#endif
