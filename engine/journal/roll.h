/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_ROLL_H
#define JARSIDE_JOURNAL_ROLL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/status.h"

/*
 * One sentence for a whole batch:
 *
 *     all fine
 *     all fine except 3 and 7
 *     all about 40 % white except 3-5, B3-7 and 9: green patch
 *     all fine except 3 and 7: green patch; 9: wet at the bottom
 *
 * What stands before "except" ("but", "apart from" and "not" do as well, where
 * vessels follow) is said of every vessel but the excepted ones; what stands after
 * a colon of those before it. Vessels are numbers within the batch, ranges of them,
 * or labels.
 */
struct roll_part {
    const int64_t *numbers; /* within the batch, as written */
    size_t count;
    const char *words; /* what is said of them; "" when they are only excepted */
};

struct roll {
    const char *words; /* said of the rest */
    const struct roll_part *parts;
    size_t part_count;
};

/*
 * Reads the sentence about the batch with that label. STATUS_USAGE, with the form it
 * should have, when vessels are announced and cannot be read, or one is named
 * twice. Everything is in the arena.
 */
enum status roll_read(const char *text, const char *batch, struct arena *arena, struct roll *roll,
                      struct diags *diags);

/* The part that names this number, or NULL: it is one of the rest. */
const struct roll_part *roll_part_of(const struct roll *roll, int64_t number);

#endif
