/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_DEMO_H
#define JARSIDE_JOURNAL_DEMO_H

#include "base/diag.h"
#include "journal/journal.h"

/* An invented season, written into an empty journal: what a folder of small
 * tables holds, one CSV file a kind of record, each with the columns it needs.
 *
 * Looks have a vessel, a moment and the grower's words only. `judge` makes the
 * look of them, so that its facts and posterior are those of the rules in use.
 * Looks, events and outcomes are recorded in the order in which they happened. */
struct demo_judge {
    enum status (*look)(void *context, struct journal *journal, const char *vessel,
                        struct moment at, const char *words, struct diags *diags);
    void *context;
};

/* All or nothing. STATUS_IO when a table cannot be read, STATUS_DATA when it holds what it should
 * not, or the journal holds something already. */
enum status demo_build(struct journal *journal, const char *folder, const struct demo_judge *judge,
                       struct diags *diags);

#endif
