/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_STATISTICS_H
#define JARSIDE_REVIEW_STATISTICS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/memory.h"

/*
 * So many lost of so many: intervals for a rate, and p-values of many questions
 * asked at once.
 *
 * Everything here and in table.h is a function of its arguments: no input or
 * output, no clock, no state between calls, and what is drawn at random comes from
 * a seed in the arguments. All of it may be called from several threads. GSL's error handler is never reached:
 * arguments are checked before GSL sees them. Where a function returns a status,
 * STATUS_USAGE means that an argument is outside what is said here, and nothing
 * was written.
 */

/* The most vessels any of these functions takes, all groups together. */
enum { COUNTS_MOST = 100000000 };

struct counts {
    size_t lost, total; /* lost <= total <= COUNTS_MOST */
};

struct interval {
    double low, high;
};

/*
 * Two-sided interval for the rate of loss at `level` (0.95, say; above 0 and below 1).
 * Of none at all nothing is known: [0, 1]. NAN at both ends if an argument is out of range.
 *
 * Exact (Clopper & Pearson 1934, Biometrika 26:404): the rates at which neither this count or more,
 * nor this count or fewer, is rarer than (1 - level) / 2. Covers at least `level`; 0 lost begins at
 * 0, all lost end at 1. Relative error below 1e-9 up to 100 000 vessels.
 */
struct interval counts_interval_exact(struct counts counts, double level);
/* Wilson (1927, J Am Stat Assoc 22:209): (x + z^2/2 -+ z sqrt(x (n - x) / n + z^2/4)) / (n + z^2).
 * Covers `level` on average; shorter than the exact one, and the better one to draw. */
struct interval counts_interval_wilson(struct counts counts, double level);

/*
 * Chance of `counts.lost` or more, and of that many or fewer, among `counts.total` when each is lost
 * with chance `rate` (0 to 1): binomial tails, summed term by term. NAN if out of range.
 */
double counts_chance_above(struct counts counts, double rate);
double counts_chance_below(struct counts counts, double rate);

/*
 * The false discovery rate at which each of `count` p-values would just be called: Benjamini &
 * Hochberg (1995, J R Stat Soc B 57:289), adjusted[i] = min over p[j] >= p[i] of m p[j] / rank(j).
 * A NAN is a question that was not asked: it stays NAN and does not count in m. `adjusted` may be
 * `p`. Takes count log count. STATUS_USAGE if a p-value is outside 0 to 1.
 */
enum status counts_adjust(const double *p, size_t count, double *adjusted);

/* All groups together; false when one has more lost than there are, or there are too many. */
bool counts_sum(const struct counts *groups, size_t count, struct counts *sum);

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

/* `groups` and `strata` are one above the largest number in use. STATUS_USAGE;
 * STATUS_INTERNAL if the statistic cannot be computed to one part in 1e8. */
enum status strata_groups(const struct strata_cell *cells, size_t count, size_t groups,
                          size_t strata, struct strata_test *result);

/*
 * How long until a loss is seen. A vessel that was used clean, or is still
 * clean, is censored: it was watched so long and not lost.
 *
 * Times are of one unit (days since inoculation, say), finite and not negative.
 * A loss happens between two looks; its time here is that of the look that saw
 * it. At the same time losses come before censorings. Vessels watched for time
 * 0 and not lost count only among the cases.
 * Curves live in the caller's arena. STATUS_USAGE for a time out of range, too
 * many cases.
 */
struct survival_case {
    double time;
    bool lost;
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
    /* First time at which S is 1/2 or less; if S is 1/2 exactly, the middle of the time for which it
     * is. INFINITY when it never is. */
    double median;
};

/* Kaplan & Meier (1958, J Am Stat Assoc 53:457): S = prod (1 - d / n). Takes count log count. No
 * cases give no steps and median INFINITY. */
enum status survival_curve(struct arena *arena, const struct survival_case *cases, size_t count,
                           struct survival_curve *curve);

/*
 * Mantel (1966, Cancer Chemother Rep 50:163), Peto & Peto (1972): at every time with a loss each
 * group is expected to lose in proportion to its vessels at risk; (O - E)' V^- (O - E) against
 * chi-square. Groups never at risk with others take no part, and cost their degree of freedom.
 * Nothing lost, or one group: statistic 0, freedom 0, p 1. It is strata_groups with the times as
 * strata, and those at risk then in them. `group[i]` is below `groups`. Takes count log count, and a
 * cell for each group and distinct time.
 */
enum status survival_logrank(const struct survival_case *cases, const size_t *group, size_t count,
                             size_t groups, struct strata_test *result);

/*
 * When did it go wrong? Two charts of losses in order of time: one point a
 * batch, and a running sum over single vessels.
 */

/* ---- one point a batch ----------------------------------------------------------------------- */

/* What three standard deviations are meant to leave on either side: the tail of the normal. */
#define MONITOR_THREE_SIGMA 0.0013498980316301

struct monitor_point {
    double share; /* lost / total; NAN of an empty batch */
    /*
     * Exact limits as counts: so many or fewer, so many or more, have a chance of at most `tail`
     * (binomial). `from_below` is -1 and `from_above` total + 1 when no count is so rare.
     */
    double from_below, from_above;
    bool below, above; /* by these limits */
};

/* All lost over all vessels: the centre when no other is known. NAN of no vessels. */
double monitor_centre(const struct counts *batches, size_t count);

/*
 * One point a batch round `centre` (0 to 1), with `tail` (above 0, at most 0.5) on either side.
 * An empty batch is never out. STATUS_USAGE.
 * (Shewhart 1931; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.)
 */
enum status monitor_chart(const struct counts *batches, size_t count, double centre, double tail,
                          struct monitor_point *points);

/* ---- a running sum over single vessels --------------------------------------------------------- */

/*
 * Bernoulli CUSUM (Page 1954; Reynolds & Stoumbos 1999, J Qual Technol 31:87). Each lost vessel adds
 * its weight of evidence for the raised rate p1 against the usual p0, ln(p1 / p0), each other one
 * takes away -ln((1 - p1) / (1 - p0)); the sum never falls below 0 and signals at a threshold.
 *
 * The weights are kept to whole steps: down 1, up `up`, the threshold a whole number as well. Then
 * the sum is a Markov chain and its mean run length is computed, not simulated. `raised` is the p1
 * for which the steps are exactly the weights.
 */
struct monitor_plan {
    double usual, raised; /* p0, p1 */
    size_t up, threshold; /* in steps */
    double step;      /* evidence of one step, natural log: sum x step is a log likelihood ratio */
    double run_usual; /* mean vessels until a false alarm at p0, from 0 */
};

/*
 * The plan for p0 = `usual` (0.001 to 0.45) and p1 = `raised` (1.2 p0 at least, below 1), with the
 * smallest threshold whose mean run to a false alarm is at least `run` vessels (1 to 1e7). `up` is
 * the whole number nearest to the ratio of the weights for which there is a p1 above p0 (from 1,
 * which is p1 = 1 - p0, to just below (1 - p0) / p0, which is p1 = p0); the plan's `raised` says
 * which p1 that is.
 * STATUS_USAGE when out of range.
 */
enum status monitor_plan(double usual, double raised, double run, struct monitor_plan *plan);

/*
 * Mean number of vessels until the sum, from 0, reaches `threshold` (1 to 1 000 000) when each is
 * lost with chance `rate`. INFINITY at rate 0; NAN out of range. Exact to rounding: the states are
 * eliminated from the top with sums of positive terms only (as Grassmann, Taksar & Heyman 1985).
 */
double monitor_run_length(size_t up, size_t threshold, double rate);

/* A stretch in which the sum went from 0 over the threshold and back. Places are places in the
 * order given. */
struct monitor_episode {
    size_t began;   /* first vessel after the sum was last 0: the likeliest start of the trouble */
    size_t worst;   /* where it was highest: the likeliest last vessel of the trouble so far */
    size_t ended;   /* where it came back to 0; the number of vessels if it has not */
    size_t highest; /* the sum there, in steps */
};

/*
 * Runs the sum over `count` vessels in order of time. Writes the first `most` episodes and returns
 * how many there are. `sums` (may be NULL) takes the sum after each vessel, in steps.
 * Within a batch the order is as given: spread its losses evenly if the order is not known.
 */
size_t monitor_episodes(const struct monitor_plan *plan, const bool *lost, size_t count,
                        size_t *sums, struct monitor_episode *episodes, size_t most);

#endif
