/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Of the page: what did it, what to change, what cannot be told apart, the next batch. */
#include <math.h>

#include "voice/review_html_internal.h"
#include "voice/review_internal.h"
#include "voice/svg_internal.h"
#include "voice/verdict.h"

/* ---- what did it ----------------------------------------------------------------------------- */

bool review_has_faults(const struct review *review)
{
    return review->fault_count > 0;
}

static void put_p(struct text *words, const struct review_suspect *suspect)
{
    char p[REVIEW_DAY_ROOM], q[REVIEW_DAY_ROOM];
    voice_p(suspect->q, q);
    text_printf(words,
                " Does it lose more than the rest? %s for %zu of %zu against %zu of %zu; "
                "among all that were asked, %s.",
                voice_p(suspect->test_p, p), suspect->inside.lost, suspect->inside.total,
                suspect->outside.lost, suspect->outside.total, q + 2); /* without its "p " */
}

static void put_fault(struct text *page, const struct review *review, size_t k, struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    char percent[PERCENT_ROOM];
    text_puts(page, "<article>\n");
    text_printf(words, fault->suspect_count > 1 ? "%zu. Either " : "%zu. ", k + 1);
    voice_suspects(words, review, fault, false);
    text_printf(words, ": %s (%s)", voice_spoken(review->rules, fault->p),
                voice_percent(fault->p, percent));
    html_take(page, "h3", NULL, words);
    if (fault->suspect_count > 1)
        html_element(page, "p", "class=\"caution\"",
                     "These always went together, or nearly: counting cannot tell them apart.");
    for (size_t s = 0; s < fault->suspect_count; s++) {
        review_counts_words(words, review, &fault->suspects[s], fault->suspect_count > 1);
        put_p(words, &fault->suspects[s]);
        html_take(page, "p", NULL, words);
        review_why_words(words, review, &fault->suspects[s]);
        html_take(page, "p", NULL, words);
    }
    review_causes_words(words, review, fault);
    html_take(page, "p", NULL, words);
    review_saved_words(words, fault);
    html_take(page, "p", NULL, words);
    review_trials_words(words, review, fault);
    html_take(page, "p", NULL, words);
    text_puts(page, "</article>\n");
}

void review_html_faults(struct text *page, const struct review *review, struct text *words)
{
    text_puts(page, "<div class=\"charts\">\n");
    svg_faults(page, review);
    text_puts(page, "<div>\n");
    if (review->fault_count > 1)
        html_element(page, "p", "class=\"quiet\"",
                     "Each is counted without the vessels that the others explain.");
    for (size_t k = 0; k < review->fault_count; k++)
        put_fault(page, review, k, words);
    text_puts(page, "</div>\n</div>\n");
}

/* ---- what to change -------------------------------------------------------------------------- */

bool review_has_changes(const struct review *review)
{
    return review->change_count > 0;
}

static void put_change(struct text *page, const struct review *review,
                       const struct review_change *change, struct text *words)
{
    const struct review_fault *fault = &review->faults[change->fault];
    char percent[PERCENT_ROOM];
    text_puts(page, "<li>\n");
    voice_suspects(words, review, fault, false);
    html_take(page, "h3", NULL, words);
    review_saved_words(words, fault);
    if (fault->suspect_count > 1)
        text_puts(words, " Test before you change: it may be the other one.");
    html_take(page, "p", NULL, words);
    if (change->cause != RULES_NONE) {
        const struct cause *cause = &review->rules->causes[change->cause];
        text_printf(words, "If it was this: %s (%s).", cause->name,
                    voice_percent(change->p, percent));
        html_take(page, "p", "class=\"quiet\"", words);
        text_puts(page, cause->change_count > 0 ? "<ul>\n" : "");
        for (size_t i = 0; i < cause->change_count; i++)
            html_element(page, "li", NULL, cause->change[i]);
        text_puts(page, cause->change_count > 0 ? "</ul>\n" : "");
    }
    text_puts(page, "</li>\n");
}

void review_html_changes(struct text *page, const struct review *review, struct text *words)
{
    html_element(page, "p", "class=\"quiet\"",
                 "What would have saved most comes first. Ranges hold nine times in ten.");
    text_puts(page, "<ol>\n");
    for (size_t c = 0; c < review->change_count; c++)
        put_change(page, review, &review->changes[c], words);
    text_puts(page, "</ol>\n");
}

/* ---- what cannot be told apart --------------------------------------------------------------- */

bool review_has_apart(const struct review *review)
{
    for (size_t k = 0; k < review->fault_count; k++)
        if (review->faults[k].trial_count > 0 || review->faults[k].suspect_count > 1)
            return true;
    return review->alias_count > 0;
}

static void put_trial(struct text *page, const struct review *review,
                      const struct review_trial *trial, struct text *words)
{
    const struct observable *test = &review->rules->observables[trial->observable];
    bool one = fabs(trial->delay_days - 1.0) < 0.5;
    text_puts(page, "<li>");
    text_printf(words, "%s: %.2f bits, %.0f %s, cost %.1f.", test->label, trial->bits,
                trial->delay_days, one ? "day" : "days", trial->cost);
    if (test->look != NULL)
        text_printf(words, " %s", test->look);
    html_text(page, words->bytes);
    text_clear(words);
    text_puts(page, "</li>\n");
}

void review_html_apart(struct text *page, const struct review *review, struct text *words)
{
    enum { MOST = 4, ALIASES = 20 };
    for (size_t k = 0; k < review->fault_count; k++) {
        const struct review_fault *fault = &review->faults[k];
        if (fault->trial_count == 0 && fault->suspect_count < 2)
            continue;
        text_puts(page, "<article>\n");
        text_puts(words, fault->suspect_count > 1 ? "Cannot be told apart: " : "To be surer of ");
        voice_suspects(words, review, fault, fault->suspect_count > 1);
        html_take(page, "h3", NULL, words);
        text_puts(page, fault->trial_count > 0 ? "<ul>\n" : "");
        for (size_t t = 0; t < fault->trial_count && t < MOST; t++)
            put_trial(page, review, &fault->trials[t], words);
        text_puts(page, fault->trial_count > 0 ? "</ul>\n" : "");
        text_puts(page, "</article>\n");
    }
    for (size_t a = 0; a < review->alias_count && a < ALIASES; a++) {
        review_alias_words(words, review, &review->aliases[a]);
        html_take(page, "p", NULL, words);
    }
    html_element(page, "p", "class=\"quiet\"",
                 "Tests stand best for their cost first. One bit would settle a question between "
                 "two equal chances. A cost is effort, with each day of waiting counted in.");
}

/* ---- the next batch -------------------------------------------------------------------------- */

bool review_has_plans(const struct review *review)
{
    return review->plan_count > 0;
}

void review_html_plans(struct text *page, const struct review *review, struct text *words)
{
    for (size_t p = 0; p < review->plan_count; p++) {
        const struct review_plan *plan = &review->plans[p];
        text_puts(page, "<article>\n");
        text_puts(words, "To tell ");
        voice_suspects(words, review, &review->faults[plan->fault], false);
        text_puts(words, " apart");
        html_take(page, "h3", NULL, words);
        html_element(page, "p", NULL,
                     "One cook, one session, one starter and one place for all, but for this:");
        text_puts(page, "<ul>\n");
        for (size_t a = 0; a < plan->arm_count; a++) {
            voice_arm(words, review, plan, &plan->arms[a]);
            html_take(page, "li", NULL, words);
        }
        text_puts(page, "</ul>\n");
        voice_plan_reading(words, review, plan);
        html_take(page, "p", NULL, words);
        text_puts(page, "</article>\n");
    }
}
