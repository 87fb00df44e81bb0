/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_SEARCH_H
#define JARSIDE_REVIEW_SEARCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "review/review.h"

enum standing {
    STANDING_OUT,
    STANDING_SOUND,
    STANDING_LOST
}; /* of a vessel: it does not count ... */

/* Counts a vessel that is not out. */
static inline void count_vessel(struct counts *counts, enum standing standing)
{
    counts->total++;
    counts->lost += standing == STANDING_LOST;
}

/* How each vessel counts: an open one that was begun is sound so far. `young` (may be NULL) counts
 * those that are younger than `watched` days. */
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

/* The causes that are not negligible, likeliest first, of `share`, one a cause of the rules. */
struct review_cause *review_list_causes(const struct rules *rules, const double *share,
                                        struct arena *arena, size_t *count);
/* The tests that tell causes apart, best first. */
struct review_trial *review_tell_apart(const struct reasoner *reasoner,
                                       const struct review_cause *causes, size_t count,
                                       struct arena *arena, size_t *trial_count);

/* Takes out of the tests of an account those that were done: by what was observed (may be NULL), and a
 * control where there was one. */
void account_drop_done(const struct rules *rules, const struct observation *observations,
                       struct review_account *account);

/* Tells how far it is. */
void review_tell(const struct review_work *work, const char *what, size_t done, size_t all);

#endif
