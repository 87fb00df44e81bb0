/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_REVIEW_HTML_INTERNAL_H
#define JARSIDE_VOICE_REVIEW_HTML_INTERNAL_H

#include <stdbool.h>

#include "voice/html.h"
#include "voice/review.h"

/* The sections of the page: whether there is anything to show, and what stands below the heading.
 * `words` is empty before and after. */
bool review_has_faults(const struct review *review);
void review_html_faults(struct text *page, const struct review *review, struct text *words);
bool review_has_changes(const struct review *review);
void review_html_changes(struct text *page, const struct review *review, struct text *words);
bool review_has_apart(const struct review *review);
void review_html_apart(struct text *page, const struct review *review, struct text *words);
bool review_has_plans(const struct review *review);
void review_html_plans(struct text *page, const struct review *review, struct text *words);
bool review_has_factors(const struct review *review);
void review_html_factors(struct text *page, const struct review *review, struct text *words);
bool review_has_times(const struct review *review);
void review_html_times(struct text *page, const struct review *review, struct text *words);
bool review_has_batches(const struct review *review);
void review_html_batches(struct text *page, const struct review *review, struct text *words);
bool review_has_vessels(const struct review *review);
void review_html_vessels(struct text *page, const struct review *review, struct text *words);
void review_html_method(struct text *page, const struct review *review, struct text *words);

#endif
