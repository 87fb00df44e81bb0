/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_SEARCH_H
#define JARSIDE_REVIEW_SEARCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "review/review.h"

/*
 * Which levels of which factors have a higher rate of loss of their own?
 *
 * A candidate is one level of one factor. Its weight is
 *
 *   w = ln [B(1+x, 1+n-x) B(1+X-x, 1+N-n-X+x) / B(1+X, 1+N-X)] + ln prior
 *
 * (x of n lost inside, X of N in all): the evidence that it has a rate of its own
 * (reason/alike.h), and a prior by which a journal has one culprit on average, shared
 * out over its levels by how common culprits of their scope are.
 *
 * A set of culprits parts the vessels: each culprit explains the vessels of its own
 * that those before it left over, and the rest has one rate. The evidence of the
 * set is then the sum of its steps, each among the vessels that are left.
 */
enum standing {
    STANDING_OUT,
    STANDING_SOUND,
    STANDING_LOST
}; /* of a vessel: it does not count ... */

/* Counts a vessel that is not out. */
static inline void count_vessel(struct counts *counts, uint8_t standing)
{
    counts->total++;
    counts->lost += standing == STANDING_LOST;
}

struct candidate {
    size_t factor;
    uint32_t level;
    bool asked; /* there is something inside and outside */
    struct counts inside, outside, controls;
    double log_bayes, weight, test_p, q;
};

struct search {
    const struct dataset *dataset;
    const struct review_rule *rule;
    const uint8_t *standing;
    uint8_t *cover; /* of each vessel: bit f when culprit f explains it */
    struct candidate *candidates;
    size_t count;
    size_t *first;    /* of each factor: its first candidate; one more at the end */
    const bool *same; /* of each candidate: it is computed, and has the very vessels of one level of
                         what it was computed from. It says why, and is not asked itself. */
    double *log_prior; /* of each level of each factor */
    double *room;      /* room for a number a candidate */
    size_t asked;
};

/* Room for a dataset in the arena. */
void search_init(struct search *search, const struct dataset *dataset,
                 const struct review_rule *rule, struct arena *arena);

/* Weighs every candidate among the vessels that no culprit of `mask` explains. */
void search_weigh(struct search *search, unsigned mask);
/* The same for one, into `candidate`; `less` (may be NULL) is one whose vessels are left out too. q is
 * left as it was. */
void search_weigh_one(const struct search *search, unsigned mask, const struct candidate *less,
                      struct candidate *candidate);
/* Whether the evidence alone, and with the number of questions asked, calls it. */
bool search_supports(const struct search *search, const struct candidate *candidate);
bool search_calls(const struct search *search, const struct candidate *candidate);
/* Marks its vessels as explained by culprit `bit`. */
void search_cover(struct search *search, const struct candidate *candidate, unsigned bit);

/* How each vessel counts: `watched` days make an open one sound. `young` (may be NULL) counts those
 * that are too young. */
uint8_t *search_standing(const struct dataset *dataset, double watched, struct arena *arena,
                         size_t *young);

/* P(as many or more of the lost inside): hypergeometric, from the count away from the mean; 1 when the
 * inside loses no more than the rest. */
double search_tail(struct counts inside, struct counts outside);

/*
 * Vessels that would not have been lost at the rate of the rest: n (r - r0), n the inoculated
 * vessels of the suspect, r and r0 its rate and that of the rest, each with the posterior
 * Beta(1 + lost, 1 + kept). Writes the mean and the 5th and 95th hundredth into the culprit; none
 * below 0 nor above what was lost.
 */
void saved_estimate(const struct review_suspect *suspect, struct review_culprit *culprit);

/* ---- the parts of a review ---------------------------------------------------------------------- */

struct review_work {
    const struct dataset *dataset;
    const struct reasoner *reasoner;
    const struct rules *rules;
    const struct review_progress *progress;
    const uint8_t *standing; /* of each vessel */
    struct arena *arena;
    struct review *review;
};

/* Each fills its members of the review, in this order. */
void review_count_factors(struct review_work *work);       /* factors, their tests */
void review_hold_still(struct review_work *work);          /* within, entangled */
void review_find_aliases(struct review_work *work);        /* aliases */
enum status review_judge_causes(struct review_work *work); /* causes of culprits and batches */
void review_choose_trials(struct review_work *work);       /* trials, changes */
void review_plan_next(struct review_work *work);           /* plans */

/* Tells how far it is. */
void review_tell(const struct review_work *work, const char *what, size_t done, size_t all);

#endif
