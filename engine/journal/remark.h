/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_REMARK_H
#define JARSIDE_JOURNAL_REMARK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "rules/rules.h"

/*
 * One remark about a whole batch, and which words are about which vessels:
 *
 *     all fine except 3 and 7: green patch, 9: wet at the bottom
 *     B3-1 to 4 have a green patch, everything else looks good
 *     1-6 wet and sour, rest white, the control is clear
 *     green patch on 4
 *
 * A group of vessels is named at the beginning of a clause: by numbers within the batch, ranges and
 * lists of them, labels; as "the rest", "the others", "everything else"; as "the control". After
 * "except" (even misspelt), "apart from" or "but" they are excluded from what was said before. What
 * follows is said of the group until the next one is named; a number with a unit after it
 * ("2 cm", "3 days", "30 %") names none. What was said before any group was named is said of the rest.
 *
 * Nothing is guessed. "one of them is green" and "2 jars" do not say which, and are refused.
 */
struct remark_group {
    const int64_t *numbers; /* within the batch, as written; none for the controls */
    size_t count;
    const char *words; /* what is said of them; "" when they are only excepted */
    bool controls;     /* the vessels that were never inoculated */
};

struct remark {
    const char *words; /* said of the rest; "" when nothing is */
    struct remark_group *groups;
    size_t group_count;
};

/* Reads a remark about a batch by its label and number of vessels. Where a vessel is in several
 * groups the smallest counts. STATUS_USAGE when it is not clear which are meant. All in arena. */
enum status remark_read(const struct rules *rules, const char *text, const char *batch,
                        size_t vessels, struct arena *arena, struct remark *remark,
                        struct diags *diags);

/* The group of a vessel, or NULL: it is one of the rest. */
const struct remark_group *remark_group_of(const struct remark *remark, int64_t number,
                                           bool control);

/* A number in words of a group that no span of those understood covers: perhaps a vessel, left over
 * somewhere in a sentence. NULL for none. */
struct span;
const char *remark_leftover(const char *words, const struct span *spans, size_t count,
                            struct arena *arena);

#endif
