/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_REVIEW_H
#define JARSIDE_VIEW_REVIEW_H

#include <jansson.h>
#include <stdbool.h>

#include "base/text.h"
#include "review/review.h"
#include "view/screen.h"

/*
 * A review in words, and as JSON (schema 1, README.md).
 *
 * Nothing is ever "proved": a fault is likely or not, counts stand beside every
 * p-value, and what cannot be told apart is said to be so.
 */

/* What a grower needs: what was lost, what most likely did it and how sure that is, what to change
 * first and how many vessels that would have saved; then each fault, in a line or two or, when `full`,
 * with causes, tests and the next batch. */
void view_review(struct screen *screen, const struct review *review, bool full);
/* Every factor by level, what went together, times, batches, the running sum, and how it decides. */
void view_review_details(struct screen *screen, const struct review *review);
/* New reference; NULL when out of memory. */
json_t *view_review_json(const struct review *review);

/* ---- words shared by all that tell a review --------------------------------------------------- */

/* Appends "cook C4", "the closet" ..., as growers call a level of a factor. */
void view_level(struct text *out, const struct dataset *dataset, size_t factor, uint32_t level);
/* Appends the suspects of a fault, joined by "or"; `p` adds each one's share of the fault. */
void view_suspects(struct text *out, const struct review *review, const struct review_fault *fault,
                   bool p);
/* "p 0.0031", "p below 0.0001": never without counts beside it. */
const char *view_p(double p, char room[MOMENT_ROOM]);
/* A sentence a limit of the review, what it cannot conclude and what would help. */
enum { REVIEW_LIMIT_COUNT = 8 };
const char *view_review_limit(const struct review *review, unsigned limit);
/* Appends what one arm of a plan gets: "4 vessels: grain lot L3, a new session". */
void view_arm(struct text *out, const struct review *review, const struct review_plan *plan,
              const struct review_arm *arm);
/* Appends what all arms of a plan share. */
void view_plan_setting(struct text *out, const struct review *review,
                       const struct review_plan *plan);
/* Appends how to read a plan once it has grown. */
void view_plan_reading(struct text *out, const struct review *review,
                       const struct review_plan *plan);

#endif
