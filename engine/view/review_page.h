/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_REVIEW_PAGE_H
#define JARSIDE_VIEW_REVIEW_PAGE_H

#include "review/review.h"
#include "view/page.h"

/*
 * A review as one page: HTML5 with its style and its charts in it, nothing from
 * elsewhere and no script. For screens from 390 pixels on, light and dark, and
 * for paper of A4 and Letter size. What the screen says it says in the same
 * words; each chart is followed by its figures as a table.
 *
 * A function of the review: the same one gives the same bytes. Check
 * `page->failed` at the end.
 */
void view_review_html(struct text *page, const struct review *review);

#endif
