/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_STRATA_H
#define JARSIDE_REVIEW_STRATA_H

#include <stdbool.h>
#include <stddef.h>

#include "review/counts.h"

/*
 * Does a factor matter once another is held still? Groups are compared within
 * each stratum (cooks within each grain, say) and the comparisons added up, so
 * that a factor cannot borrow the effect of one it happens to go with.
 *
 * A stratum tells something when at least two groups have vessels in it and
 * some, not all, of its vessels were lost. When none does, the two factors
 * cannot be told apart from these data: `strata` and `freedom` are 0, the
 * statistics 0, p 1.
 */

/* What one group met in one stratum. Cells that are not named are empty; twice named, they add. */
struct strata_cell {
    size_t group, stratum;
    struct counts counts;
};

/*
 * Many groups: the generalised statistic d' V^- d (Landis, Heyman & Koch 1978, Int Stat Rev 46:237;
 * Birch 1965), d the lost of each group less expected, V the summed hypergeometric covariance.
 * The degrees of freedom are the groups compared less `islands`: groups that no chain of shared
 * strata joins are never compared. Two islands or more mean that part of the factor cannot be told
 * from the strata.
 * Cost: the number of cells a step, as many steps as groups at the worst, usually some dozens.
 */
struct strata_test {
    double statistic, p;
    size_t freedom;
    size_t strata;  /* that tell something */
    size_t groups;  /* that are compared with another */
    size_t islands; /* sets of groups compared among themselves only */
};

/* `groups` and `strata` are one above the largest number in use. STATUS_USAGE, STATUS_MEMORY;
 * STATUS_INTERNAL if the statistic cannot be computed to one part in 1e8. */
enum status strata_groups(const struct strata_cell *cells, size_t count, size_t groups,
                          size_t strata, struct strata_test *result);

#endif
