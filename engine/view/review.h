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

#endif
