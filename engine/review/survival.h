/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_SURVIVAL_H
#define JARSIDE_REVIEW_SURVIVAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "review/counts.h"

/*
 * How long until a loss is seen. A vessel that was used clean, or is still
 * clean, is censored: it was watched so long and not lost.
 *
 * Times are of one unit (days since inoculation, say), finite and not negative.
 * A loss happens between two looks; its time here is that of the look that saw
 * it. At the same time losses come before censorings. Vessels watched for time
 * 0 and not lost count only among the cases.
 * Results live in the caller's arena. STATUS_USAGE for a time out of range, a
 * level outside 0 to 1 (both excluded), too many cases; STATUS_MEMORY.
 */
struct survival_case {
    double time;
    bool lost;
};

/* How limits are drawn round S: on the scale of log S, or of log(-log S), which stays within 0 to 1
 * and is the better one for few vessels (Kalbfleisch & Prentice 1980). */
enum survival_scale { SURVIVAL_LOG, SURVIVAL_LOG_LOG };

/* One time at which something happened; S holds from it until the next. */
struct survival_step {
    double time;
    size_t at_risk;         /* just before */
    size_t lost, censored;  /* at this time */
    double survival;        /* S: share not lost up to and including it */
    double standard_error;  /* of S, Greenwood 1926; NAN once S is 0 */
    struct interval limits; /* pointwise; 1 to 1 while S is 1, NAN once it is 0 */
};

struct survival_curve {
    struct survival_step *steps; /* in order of time */
    size_t count;
    size_t cases, lost;
    /*
     * First time at which S is 1/2 or less; if S is 1/2 exactly, the middle of the time for which it
     * is. INFINITY when it never is. The limits are where the limits of S cross 1/2 (Brookmeyer &
     * Crowley 1982, Biometrics 38:29), INFINITY likewise; where S goes to 0 at one step it has no
     * upper limit to cross with.
     */
    double median;
    struct interval median_limits;
};

/*
 * Kaplan & Meier (1958, J Am Stat Assoc 53:457): S = prod (1 - d / n); its standard error
 * S sqrt(sum d / (n (n - d))). Takes count log count. No cases give no steps and median INFINITY.
 */
enum status survival_curve(struct arena *arena, const struct survival_case *cases, size_t count,
                           double level, enum survival_scale scale, struct survival_curve *curve);

/* S at a time: 1 before the first step. */
double survival_at(const struct survival_curve *curve, double time);

/* The most groups the log-rank test compares; a page with more curves could not be read. */
enum { SURVIVAL_GROUPS = 100 };

/*
 * Mantel (1966, Cancer Chemother Rep 50:163), Peto & Peto (1972): at every time with a loss each
 * group is expected to lose in proportion to its vessels at risk; (O - E)' V^- (O - E) against
 * chi-square. Groups never at risk with others take no part, and cost their degree of freedom.
 * Nothing lost, or one group: statistic 0, freedom 0, p 1.
 */
struct survival_logrank {
    size_t groups;
    size_t *cases;    /* of each group */
    double *observed; /* losses */
    double *expected;
    double *variance; /* groups x groups, row by row: covariance of O - E */
    double statistic, p;
    size_t freedom;
};

/* `group[i]` below `groups` (1 to SURVIVAL_GROUPS). Takes count log count, and groups squared for
 * each distinct time of loss. */
enum status survival_logrank(struct arena *arena, const struct survival_case *cases,
                             const size_t *group, size_t count, size_t groups,
                             struct survival_logrank *result);

#endif
