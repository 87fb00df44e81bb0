/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_REVIEW_H
#define JARSIDE_VIEW_REVIEW_H

#include <jansson.h>
#include <stdbool.h>

#include "base/text.h"
#include "review/review.h"
#include "view/screen.h"
#include "view/tree.h"

/*
 * A review on a screen, as a page, and as JSON (schema 1, README.md).
 *
 * Nothing is ever "proved": a culprit is likely or not, counts stand beside every
 * p-value, and what cannot be told apart is said to be so.
 */

/* What a grower needs: what was lost, what most likely did it and how sure that is, what to change
 * first and how many vessels that would have saved; then each culprit in a line or two. When `full`,
 * with causes, tests and the next batch, every factor by level, what went together, times, batches,
 * the running sum, and how it decides. */
void view_review(struct screen *screen, const struct review *review, bool full);

/*
 * One page: HTML5 with its style and its charts in it, nothing from elsewhere and
 * no script. For screens from 390 pixels on, light and dark, and for paper of A4
 * and Letter size. What the screen says it says in the same words; each chart is
 * followed by its figures as a table. The same review gives the same bytes.
 */
void view_review_html(struct text *page, const struct review *review);

/* New reference. */
json_t *view_review_json(const struct review *review);

/* A batch told in words: the likeliest causes, the tests that would tell, what to change first; above them
 * what was understood. */
struct triage;
void view_account(struct screen *screen, const struct triage *triage,
                  const struct review_account *account);
json_t *view_account_json(const struct triage *triage, const struct review_account *account);

/* ---- words that the faces and the charts share ------------------------------------------------ */

/* What a factor is called on screens and pages. */
const char *view_factor(const struct factor *factor);
/* Appends "cook C4", "the closet" ..., as growers call a level of a factor. */
void view_level(struct text *out, const struct dataset *dataset, size_t factor, uint32_t level);
/* "starter S2", or "starter S2 with grain lot L3" where only both together fail. */
void view_suspect(struct text *out, const struct dataset *dataset,
                  const struct review_suspect *suspect);
/* Appends the suspects of a culprit, joined by "or"; `p` adds each one's share of it. */
void view_suspects(struct text *out, const struct review *review,
                   const struct review_culprit *culprit, bool p);
/* Appends the name of a curve: that of its level, "All vessels" or "All others". */
void view_curve_name(struct text *out, const struct review *review,
                     const struct review_curve *curve);
/* A range of shares, bounds as bounds: "12 to 40 %", "at most 31 %". Into `room`. */
enum { RANGE_ROOM = 32 };
const char *view_range(struct interval range, char room[RANGE_ROOM]);
/* Appends what the limit of this bit keeps a review from concluding, and what would help; false when it
 * is not one of it. */
enum { REVIEW_LIMIT_COUNT = 8 };
bool view_review_limit(struct text *out, const struct review *review, unsigned bit);
/* Appends what one arm of a plan gets: "4 vessels: grain lot L3, a new session"; how to read the plan
 * once it has grown. */
void view_arm(struct text *out, const struct review *review, const struct review_plan *plan,
              const struct review_arm *arm);
void view_plan_reading(struct text *out, const struct review *review,
                       const struct review_plan *plan);

#endif
