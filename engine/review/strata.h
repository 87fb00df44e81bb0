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

/* One stratum with two groups. */
struct strata_pair {
    struct counts first, second;
};

/*
 * Cochran (1954, Biometrics 10:417), Mantel & Haenszel (1959, J Natl Cancer Inst 22:719): with a the
 * lost of the first group, E and V its hypergeometric mean and variance in a stratum,
 *   chi-square = (|sum (a - E)| - c)^2 / sum V, one degree of freedom,
 * c = 0, or with continuity correction 1/2 (0 where |sum| is below it).
 */
struct strata_pairs {
    size_t strata; /* that tell something */
    double statistic, p;
    double corrected, corrected_p;
    /*
     * Common odds of loss in the first over the second: sum (a d / n) / sum (b c / n), its interval
     * from the variance of Robins, Breslow & Greenland (1986, Biometrics 42:311). INFINITY, 0 or
     * (0 / 0) NAN at the ends, with the interval 0 to INFINITY, which says nothing.
     */
    double odds_ratio;
    struct interval odds;
    /*
     * The exact test given all margins; its chances as in table.h. `exact` is false, and these NAN,
     * when adding up the strata would take more than STRATA_EXACT_STEPS.
     */
    bool exact;
    double exact_less, exact_greater, exact_two_sided;
    double exact_odds_ratio; /* conditional maximum likelihood; as in struct table_fisher */
    struct interval exact_odds;
};

/* Some 10 ms. */
enum { STRATA_EXACT_STEPS = 4000000 };

/* STATUS_USAGE (counts or level out of range), STATUS_MEMORY. Strata that tell nothing are passed
 * over. */
enum status strata_pairs(const struct strata_pair *strata, size_t count, double level,
                         struct strata_pairs *result);

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
