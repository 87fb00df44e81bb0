/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_STATISTICS_H
#define JARSIDE_REVIEW_STATISTICS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/memory.h"

/* So many lost of so many: intervals, tests of groups, times until a loss, charts.
 *
 * Everything here is a function of its arguments: no input or output, no clock, no state between
 * calls, and what is drawn at random comes from a fixed seed. All of it may be called from several
 * threads. GSL's error handler is never reached. */

/* The most vessels any of these functions takes, all groups together. */
enum { COUNTS_MOST = 100000000 };

struct counts {
    size_t lost, total; /* lost <= total <= COUNTS_MOST */
};

struct interval {
    double low, high;
};

/* Two-sided interval for the rate of loss at `level` (0.95, say; above 0 and below 1). Of none at
 * all nothing is known: [0, 1]. NAN at both ends if an argument is out of range.
 *
 * Exact (Clopper & Pearson 1934, Biometrika 26:404): the rates at which neither this count or more,
 * nor this count or fewer, is rarer than (1 - level) / 2. Covers at least `level`; 0 lost begins at
 * 0, all lost end at 1. Relative error below 1e-9 up to 100 000 vessels. */
struct interval counts_interval_exact(struct counts counts, double level);
/* Wilson (1927, J Am Stat Assoc 22:209): (x + z^2/2 -+ z sqrt(x (n - x) / n + z^2/4)) / (n + z^2).
 * Covers `level` on average; shorter than the exact one, and the better one to draw. */
struct interval counts_interval_wilson(struct counts counts, double level);

/* Chance of `counts.lost` or more, and of that many or fewer, among `counts.total` when each is
 * lost with chance `rate` (0 to 1): binomial tails, summed term by term. NAN if out of range. */
double counts_chance_above(struct counts counts, double rate);
double counts_chance_below(struct counts counts, double rate);

/* The false discovery rate at which each of `count` p-values would just be called: Benjamini &
 * Hochberg (1995, J R Stat Soc B 57:289), adjusted[i] = min over p[j] >= p[i] of m p[j] / rank(j).
 * A NAN is a question that was not asked: it stays NAN and does not count in m. `adjusted` may be
 * `p`. Takes count log count. */
void counts_adjust(const double *p, size_t count, double *adjusted);

/* ---- do these groups lose alike? ---------------------------------------------------------------- */

struct table_test {
    enum table_method { TABLE_EXACT, TABLE_CHI_SQUARE, TABLE_DRAWN } method;
    double p;
    double standard_error; /* of p from drawing; else 0 */
    size_t tables;         /* drawn; else 0 */
};

/*
 * Groups against lost or not, given how many were lost of all. Two groups: Fisher's exact test
 * (1935), two-sided, a table likelier by less than one part in 1e7 counting as no likelier. More:
 * Pearson's chi-square where five are expected in each cell (Cochran 1954, Biometrics 10:417), else
 * the share of tables drawn at random whose chi-square is no less (Hope 1968, J R Stat Soc B 30:582):
 *   p = (hits + 1) / (tables + 1), or hits / tables where 100 hits ended it
 * (Besag & Clifford 1991, Biometrika 78:301). With one table possible only p is 1.
 */
struct table_test table_test(const struct counts *groups, size_t count);

/* Does a factor matter once another is held still? Groups are compared within each stratum (cooks
 * within each grain, say) and the comparisons added up, so that a factor cannot borrow the effect
 * of one it happens to go with.
 *
 * A stratum tells something when at least two groups have vessels in it and some, not all, of its
 * vessels were lost. When none does, the two factors cannot be told apart from these data: `strata`
 * and `freedom` are 0, the statistic 0, p 1. */

/* The generalised statistic d' V^- d (Landis, Heyman & Koch 1978, Int Stat Rev 46:237; Birch 1965),
 * d the lost of each group less expected, V the summed hypergeometric covariance. The degrees of
 * freedom are the groups compared less the sets of groups that no chain of shared strata joins. */
struct strata_test {
    double statistic, p;
    size_t freedom;
    size_t strata; /* that tell something */
};

enum { STRATA_GROUPS_MOST = 1000 }; /* the work grows with their cube */

/* cells[stratum * groups + group] is what a group met in a stratum. False for too many groups. */
bool strata_groups(const struct counts *cells, size_t groups, size_t strata,
                   struct strata_test *result);

/* ---- how long until a loss? --------------------------------------------------------------------- */

/* A vessel that was used clean, or is still clean, is censored: it was watched so long and not
 * lost. The time of a loss is that of the look that saw it. At the same time losses come before
 * censorings. */
struct survival_row { /* what ended at one time, after so many days, say */
    double time;
    size_t lost, censored;
};

/* One time at which something happened; S holds from it until the next. */
struct survival_step {
    double time;
    size_t at_risk;  /* just before */
    size_t lost;     /* at this time */
    double survival; /* S: share not lost up to and including it */
};

struct survival_curve {
    struct survival_step *steps; /* in order of time */
    size_t count;
    size_t cases, lost;
    /* First time at which S is 1/2 or less; if S is 1/2 exactly, the middle of the time for which
     * it is. INFINITY when it never is. */
    double median;
};

/* Kaplan & Meier (1958, J Am Stat Assoc 53:457): S = prod (1 - d / n), in the arena. The rows are
 * in order of time; at some nothing may have ended. No cases give no steps and median INFINITY. */
struct survival_curve survival_curve(struct arena *arena, const struct survival_row *rows,
                                     size_t count);

/* Mantel (1966, Cancer Chemother Rep 50:163), Peto & Peto (1972): at every time with a loss each
 * group is expected to lose in proportion to its vessels at risk; (O - E)' V^- (O - E) against
 * chi-square. It is strata_groups with the times as strata, and those at risk then in them. rows[g
 * * times + t] is group g at time t. */
struct strata_test survival_logrank(const struct survival_row *rows, size_t times, size_t groups);

/* ---- when did it go wrong? ---------------------------------------------------------------------- */

/* What three standard deviations are meant to leave on either side: the tail of the normal. */
#define MONITOR_THREE_SIGMA 0.0013498980316301

struct monitor_point {
    double share; /* lost / total; NAN of an empty batch */
    /* Exact limits as counts: so many or fewer, so many or more, have a chance of at most `tail`
     * (binomial). `from_below` is -1 and `from_above` total + 1 when no count is so rare. */
    double from_below, from_above;
    bool below, above; /* by these limits; never of an empty batch */
};

/* A point of a chart of batches round `centre` (0 to 1), with `tail` (above 0, at most 0.5) on
 * either side (Shewhart 1931; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2). */
struct monitor_point monitor_point(struct counts batch, double centre, double tail);

/* Bernoulli CUSUM over vessels (Page 1954; Reynolds & Stoumbos 1999, J Qual Technol 31:87). Each
 * lost vessel adds its weight of evidence for the raised rate p1 against the usual p0, ln(p1 / p0),
 * each other one takes away ln((1 - p0) / (1 - p1)); the sum never falls below 0 and signals at a
 * threshold. */
struct monitor_plan {
    double usual, raised; /* p0, p1: 0 < p0 < p1 < 1 */
    double up, down;      /* what a lost vessel adds, and another takes away */
    double threshold;     /* natural logarithm of a likelihood ratio */
    double run_usual;     /* vessels until a false alarm at p0, on average, at least */
};

/* The plan with the smallest threshold whose mean run is at least `run` vessels by Siegmund's
 * approximation (1985, Sequential Analysis, 2.6), (e^h - h - 1) / E0(- step), which leaves out that
 * the sum passes the threshold by some way: true runs are longer. */
struct monitor_plan monitor_plan(double usual, double raised, double run);

/* The sum after so many vessels, their losses spread evenly, for within a day no order is known. */
double monitor_add(const struct monitor_plan *plan, double sum, struct counts vessels);

#endif
