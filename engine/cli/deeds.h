/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_DEEDS_H
#define JARSIDE_CLI_DEEDS_H

#include "base/memory.h"
#include "cli/app.h"
#include "view/journal.h"

/*
 * What may not be done with a vessel.
 *
 * A vessel that its last look did not call fit to keep, or that counts as
 * contaminated, is not shaken, used or put back among the others. Nothing but a
 * fresh look lifts that.
 */
enum objection_kind {
    OBJECTION_NONE,
    OBJECTION_STATE, /* it is done already, or the vessel is gone */
    OBJECTION_RISK,  /* it is not safe to do */
};

struct objection {
    enum objection_kind kind;
    const char *why; /* in the arena: "B1-3: ..." */
};

/* STATUS_MEMORY or what reading failed with; else `objection` is filled. */
enum status event_objection(const struct journal_told *told, const struct vessel *vessel,
                            enum event_kind kind, struct moment at, struct objection *objection);

/* The newest look at a vessel that stands; false when there is none. Texts in the arena. */
bool event_last_look(const struct journal_told *told, const struct vessel *vessel,
                     struct look *look);

#endif
