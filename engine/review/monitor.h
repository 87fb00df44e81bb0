/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_MONITOR_H
#define JARSIDE_REVIEW_MONITOR_H

#include <stdbool.h>
#include <stddef.h>

#include "review/counts.h"

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
     * The handbooks' limits for a share (p-chart): centre -+ 3 sqrt(centre (1 - centre) / total), not
     * below 0 nor above 1. Too close for the few vessels of a batch; drawn because they are known.
     */
    struct interval normal;
    /*
     * Exact limits as counts: so many or fewer, so many or more, have a chance of at most `tail`
     * (binomial). `from_below` is -1 and `from_above` total + 1 when no count is so rare.
     */
    double from_below, from_above;
    double chance_below, chance_above; /* of this count or fewer, or more */
    bool below, above;                 /* by the exact limits */
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
    double step;       /* evidence of one step, natural log: sum x step is a log likelihood ratio */
    double run_usual;  /* mean vessels until a false alarm at p0, from 0 */
    double run_raised; /* mean vessels until the alarm at p1, from 0 */
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
    size_t began; /* first vessel after the sum was last 0: the likeliest start of the trouble */
    size_t signalled; /* where the sum reached the threshold */
    size_t worst;     /* where it was highest: the likeliest last vessel of the trouble so far */
    size_t ended;     /* where it came back to 0; the number of vessels if it has not */
    size_t highest;   /* the sum there, in steps */
};

/*
 * Runs the sum over `count` vessels in order of time. Writes the first `most` episodes and returns
 * how many there are. `sums` (may be NULL) takes the sum after each vessel, in steps.
 * Within a batch the order is as given: spread its losses evenly if the order is not known.
 */
size_t monitor_episodes(const struct monitor_plan *plan, const bool *lost, size_t count,
                        size_t *sums, struct monitor_episode *episodes, size_t most);

#endif
