/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_CHECK_INTERNAL_H
#define JARSIDE_REVIEW_CHECK_INTERNAL_H

#include <stdbool.h>

#include "review/counts.h"

/* Whether an argument is within what counts.h says. */
static inline bool counts_fine(struct counts counts)
{
    return counts.lost <= counts.total && counts.total <= COUNTS_MOST;
}

static inline bool level_fine(double level)
{
    return level > 0.0 && level < 1.0;
}

/* All groups together, or false when there is a fault or too many of them. */
bool counts_sum(const struct counts *groups, size_t count, struct counts *sum);

#endif
