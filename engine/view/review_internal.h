/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_REVIEW_INTERNAL_H
#define JARSIDE_VIEW_REVIEW_INTERNAL_H

#include "view/review.h"

/* Says a text as a paragraph and empties it. */
void review_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                struct text *text);

/* ---- sentences, appended; nothing where there is nothing to say ------------------------------- */

/* What was lost; what did it; what to change first. */
void review_lost_words(struct text *words, const struct review *review);
void review_culprits_words(struct text *words, const struct review *review);
void review_change_words(struct text *words, const struct review *review);

/* Of one fault: its counts, what the physics says, its causes, vessels saved, what would settle it. */
void review_counts_words(struct text *words, const struct review *review,
                         const struct review_suspect *suspect, bool named);
void review_why_words(struct text *words, const struct review *review,
                      const struct review_suspect *suspect);
void review_causes_words(struct text *words, const struct review *review,
                         const struct review_fault *fault);
void review_saved_words(struct text *words, const struct review_fault *fault);
void review_trials_words(struct text *words, const struct review *review,
                         const struct review_fault *fault);

/* Of a factor, a pair that went together, a level that was nearly called. */
void review_test_words(struct text *words, const struct review_factor *factor);
void review_within_words(struct text *words, const struct review *review,
                         const struct review_factor *factor);
/* Appended to an empty text: what all vessels share. */
void review_shared_words(struct text *words, const struct review *review);
void review_alias_words(struct text *words, const struct review *review,
                        const struct review_alias *alias);
void review_near_words(struct text *words, const struct review *review,
                       const struct review_suspect *near);

/* Of time: whose curve it is, how it went, whether they part, since when. */
void review_curve_name(struct text *words, const struct review *review,
                       const struct review_curve *curve);
void review_curve_words(struct text *words, const struct review *review,
                        const struct review_curve *curve);
void review_logrank_words(struct text *words, const struct review *review);
void review_watch_words(struct text *words, const struct review *review);

/* How a fault is called, and what counts. */
void review_rule_words(struct text *words, const struct review *review);
void review_counting_words(struct text *words, const struct review *review);

#endif
