/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_REVIEW_H
#define JARSIDE_VIEW_REVIEW_H

#include <jansson.h>
#include <stdbool.h>

#include "base/text.h"
#include "review/review.h"
#include "view/screen.h"
#include "view/tree.h"

/* A review on a screen, as a page, and as JSON (schema 1, README.md).
 *
 * Nothing is ever "proved": a culprit is likely or not, counts stand beside every p-value, and what
 * cannot be told apart is said to be so. */

/* For the template "review": what was lost, what most likely did it and how sure that is, what to
 * change first and how many vessels that would have saved; then each culprit in a line or two. For
 * "review.full": with causes, tests and the next batch, every factor by level, what went together,
 * times, batches, the running sum, and how it decides. When `whole`, for programs: with all levels
 * and batches, which may be many, and nothing for templates. */
json_t *view_review_json(const struct review *review, bool whole);

/* One page: HTML5 with its style and its charts in it, nothing from elsewhere and no script. For
 * screens from 390 pixels on, light and dark, and for paper of A4 and Letter size. It says what the
 * screen says; below each chart its figures are a table. The same review gives the same bytes. */
void view_review_html(struct text *page, const struct review *review);

/* A batch told in words, for the template "account.told": what was understood, the likeliest
 * causes, the tests that would tell, what to change first. */
struct triage;
json_t *view_account_json(const struct triage *triage, const struct review_account *account);

#endif
