/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_FACTORS_INTERNAL_H
#define JARSIDE_REVIEW_FACTORS_INTERNAL_H

#include "review/review.h"

/* The parts of a review, in the order in which they are made; each fills its members of `review`.
 * `standing` is that of every vessel (search_internal.h). */
struct review_work {
    const struct dataset *dataset;
    const struct reasoner *reasoner;
    const struct rules *rules;
    const struct review_progress *progress;
    const uint8_t *standing;
    struct arena *arena;
    struct review *review;
};

enum status review_count_factors(struct review_work *work); /* factors, their tests */
enum status review_hold_still(struct review_work *work);    /* within, entangled */
enum status review_find_aliases(struct review_work *work);  /* aliases */
enum status review_watch_time(struct review_work *work);    /* curves, batches, watch */
enum status review_watch_sum(struct review_work *work);     /* the watch alone */
enum status review_judge_causes(struct review_work *work);  /* causes of faults and batches */
enum status review_choose_trials(struct review_work *work); /* trials, changes */
enum status review_plan_next(struct review_work *work);     /* plans */

/* Tells how far it is. */
void review_tell(const struct review_work *work, const char *what, size_t done, size_t all);

#endif
