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
    const struct progress *progress;
    const uint8_t *standing; /* of each vessel */
    struct arena *arena;
    struct review *review;
};

/* Fills in why and what to do: causes, trials, changes and plans. */
enum status review_explain(struct review_work *work);

/* The causes that are not negligible, likeliest first, of `share`, one a cause of the rules. */
struct review_cause *review_list_causes(const struct rules *rules, const double *share,
                                        struct arena *arena, size_t *count);
/* Chooses the tests that tell the causes of an account apart, best first, but for those that were done: by
 * what was observed (may be NULL), and a control where there was one. */
void account_choose_trials(const struct reasoner *reasoner, const struct observation *observations,
                           struct arena *arena, struct review_account *account);

/* The chains of the vessels of each level of a factor (NULL: of none), and one of the vessels without: where
 * each begins, to be freed, and behind each vessel the `next`, up to LEVEL_NONE. */
uint32_t *chain_vessels(const struct dataset *dataset, const struct factor *of, uint32_t *next);

/* Days from its beginning until it was lost, used or today; -1 when they are not known. */
int32_t vessel_days(const struct dataset *dataset, size_t vessel);

/* For qsort. */
#define ORDER(first, second) (((first) > (second)) - ((first) < (second)))

#endif
