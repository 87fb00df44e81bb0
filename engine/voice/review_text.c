/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A review on a screen: the few sentences a grower needs, then each fault. In brief it is meant to
 * stay on a terminal of 24 lines.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/review.h"
#include "voice/review_internal.h"
#include "voice/verdict.h"

void review_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                struct text *text)
{
    screen_say(screen, indent, hang, role, "%s", text->bytes != NULL ? text->bytes : "");
    text_clear(text);
}

/* Says nothing when there is nothing to say. */
static void say_at(struct screen *screen, size_t indent, enum role role, struct text *words)
{
    if (words->length > 0)
        review_say(screen, indent, 0, role, words);
}

/* ---- one fault ------------------------------------------------------------------------------- */

static void say_name(struct screen *screen, const struct review *review, size_t k,
                     struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    char lead[24], percent[PERCENT_ROOM];
    snprintf(lead, sizeof lead, "%2zu.", k + 1);
    if (fault->suspect_count > 1)
        text_puts(words, "Either ");
    voice_suspects(words, review, fault, false);
    text_printf(words, ": %s (%s)", voice_spoken(review->rules, fault->p),
                voice_percent(fault->p, percent));
    screen_item(screen, 1, lead, ROLE_STRONG, words->bytes != NULL ? words->bytes : "");
    text_clear(words);
}

/* Whether its suspects have the very same counts, one suspect included. */
static bool all_alike(const struct review_fault *fault)
{
    const struct review_suspect *first = &fault->suspects[0];
    for (size_t s = 1; s < fault->suspect_count; s++)
        if (memcmp(&fault->suspects[s].inside, &first->inside, sizeof first->inside) != 0 ||
            memcmp(&fault->suspects[s].outside, &first->outside, sizeof first->outside) != 0)
            return false;
    return true;
}

static void say_fault(struct screen *screen, const struct review *review, size_t k,
                      struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    bool alike = all_alike(fault);
    say_name(screen, review, k, words);
    if (fault->suspect_count > 1)
        screen_say(screen, 5, 0, ROLE_WARN,
                   "These always went together, or nearly: counting cannot tell them apart.");
    for (size_t s = 0; s < fault->suspect_count; s++) {
        if (s == 0 || !alike)
            review_counts_words(words, review, &fault->suspects[s], !alike);
        say_at(screen, 5, ROLE_PLAIN, words);
        review_why_words(words, review, &fault->suspects[s]);
        say_at(screen, 5, ROLE_PLAIN, words);
    }
    review_causes_words(words, review, fault);
    say_at(screen, 5, ROLE_PLAIN, words);
    review_saved_words(words, fault);
    say_at(screen, 5, ROLE_PLAIN, words);
    review_trials_words(words, review, fault);
    say_at(screen, 5, ROLE_PLAIN, words);
}

/* Counts and the likeliest cause; of two names for one fault the test that tells. */
static void say_fault_briefly(struct screen *screen, const struct review *review, size_t k,
                              struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    say_name(screen, review, k, words);
    review_counts_words(words, review, &fault->suspects[0], false);
    text_puts(words, " ");
    if (fault->suspect_count > 1)
        review_trials_words(words, review, fault);
    else if (fault->cause_count > 0)
        text_printf(words, "%s.", review->rules->causes[fault->causes[0].cause].name);
    say_at(screen, 5, ROLE_PLAIN, words);
}

static void say_faults(struct screen *screen, const struct review *review, bool full,
                       struct text *words)
{
    if (review->fault_count == 0)
        return;
    screen_blank(screen);
    if (full && review->fault_count > 1)
        screen_say(screen, 0, 0, ROLE_QUIET,
                   "Each is counted without the vessels that the others explain.");
    for (size_t k = 0; k < review->fault_count; k++)
        (full ? say_fault : say_fault_briefly)(screen, review, k, words);
}

/* ---- the next batch -------------------------------------------------------------------------- */

static void say_plan(struct screen *screen, const struct review *review,
                     const struct review_plan *plan, struct text *words)
{
    if (plan->crossed) {
        text_puts(words, "Next time, so that such things go apart");
    } else {
        text_puts(words, "Next batch, to tell ");
        voice_suspects(words, review, &review->faults[plan->fault], false);
        text_puts(words, " apart");
    }
    screen_heading(screen, words->bytes != NULL ? words->bytes : "");
    text_clear(words);
    voice_plan_setting(words, review, plan);
    say_at(screen, 2, ROLE_PLAIN, words);
    for (size_t a = 0; a < plan->arm_count; a++) {
        voice_arm(words, review, plan, &plan->arms[a]);
        screen_item(screen, 2, "-", ROLE_PLAIN, words->bytes != NULL ? words->bytes : "");
        text_clear(words);
    }
    voice_plan_reading(words, review, plan);
    say_at(screen, 2, ROLE_PLAIN, words);
}

/* ---- the whole ------------------------------------------------------------------------------- */

static void say_limits(struct screen *screen, const struct review *review)
{
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++) {
        const char *words = voice_review_limit(review, 1U << bit);
        if (words != NULL)
            screen_say(screen, 0, 0, ROLE_PLAIN, "%s", words);
    }
    for (size_t r = 0; r < review->dataset->remark_count; r++)
        screen_say(screen, 0, 0, ROLE_QUIET, "%s", review->dataset->remarks[r]);
}

void voice_review(struct screen *screen, const struct review *review, bool full)
{
    struct text words;
    text_init(&words);
    review_lost_words(&words, review);
    say_at(screen, 0, ROLE_STRONG, &words);
    review_culprits_words(&words, review);
    say_at(screen, 0, ROLE_PLAIN, &words);
    review_change_words(&words, review);
    say_at(screen, 0, ROLE_PLAIN, &words);
    say_limits(screen, review);
    say_faults(screen, review, full, &words);
    for (size_t p = 0; full && p < review->plan_count; p++)
        say_plan(screen, review, &review->plans[p], &words);
    text_release(&words);
}
