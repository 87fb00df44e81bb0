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

/* Two factors against one another, over the vessels that count and are no controls. */
struct cross {
    size_t rows, columns; /* levels */
    struct counts *cells; /* rows x columns */
    size_t total;
};
enum { CROSS_LEAST = 1 << 14 };
/* False when there are more cells than vessels (and than CROSS_LEAST), or no memory. */
bool cross_make(const struct review_work *work, size_t first, size_t second, struct cross *cross);
void cross_release(struct cross *cross);
/* Cramer's V (1946): sqrt(chi-square / (n (min(rows, columns) - 1))), empty ones left out. */
double cross_entangled(const struct cross *cross);
/* Whether every column has vessels of one row only. */
bool cross_nested(const struct cross *cross);

#endif
