/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review on a screen: the few sentences a grower needs, then each fault. */
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

/* ---- what was lost --------------------------------------------------------------------------- */

static void put_days(struct text *out, const struct review_totals *totals)
{
    char first[REVIEW_DAY_ROOM], last[REVIEW_DAY_ROOM];
    if (totals->first == DAY_NONE)
        return;
    if (totals->first == totals->last)
        text_printf(out, ", begun on %s", voice_review_day(totals->first, first));
    else
        text_printf(out, ", begun from %s to %s", voice_review_day(totals->first, first),
                    voice_review_day(totals->last, last));
}

static void say_lost(struct screen *screen, const struct review *review, struct text *words)
{
    const struct review_totals *totals = &review->totals;
    struct counts counts = totals->counts;
    size_t open = totals->young, unrecorded = totals->unrecorded;

    if (counts.total > 0)
        text_printf(words, "You lost %zu of %zu %s (%.0f %%)", counts.lost, counts.total,
                    counts.total == 1 ? "vessel" : "vessels",
                    100.0 * (double)counts.lost / (double)counts.total);
    else
        text_printf(words, "No vessel of %zu counts yet", totals->vessels);
    if (totals->batches > 0)
        text_printf(words, " in %zu %s", totals->batches,
                    totals->batches == 1 ? "batch" : "batches");
    put_days(words, totals);
    text_puts(words, ".");
    if (open > 0)
        text_printf(words, " %zu %s too young to count.", open, open == 1 ? "is" : "are");
    if (unrecorded > 0)
        text_printf(words, " Of %zu more nobody wrote down what became of %s.", unrecorded,
                    unrecorded == 1 ? "it" : "them");
    review_say(screen, 0, 0, ROLE_STRONG, words);
}

/* ---- what did it ----------------------------------------------------------------------------- */

static void put_culprit(struct text *out, const struct review *review,
                        const struct review_fault *fault)
{
    if (fault->suspect_count > 1)
        text_puts(out, "either ");
    voice_suspects(out, review, fault, false);
    if (fault->suspect_count > 1)
        text_puts(out, " (which of them, these numbers cannot tell)");
}

/* Those that are equally sure are told together: "almost certainly A, B and C; likely D". */
static void put_culprits(struct text *out, const struct review *review)
{
    const struct review_fault *faults = review->faults;
    for (size_t k = 0, end; k < review->fault_count; k = end) {
        const char *sure = voice_spoken(review->rules, faults[k].p);
        end = k + 1;
        while (end < review->fault_count &&
               strcmp(voice_spoken(review->rules, faults[end].p), sure) == 0)
            end++;
        text_printf(out, "%s%s%s", k > 0 ? "; " : " ", sure, sure[0] != '\0' ? " " : "");
        for (size_t i = k; i < end; i++) {
            text_puts(out, i == k ? "" : i + 1 < end ? ", " : " and ");
            put_culprit(out, review, &faults[i]);
        }
    }
}

static void say_culprits(struct screen *screen, const struct review *review, struct text *words)
{
    if (review->fault_count == 0) {
        text_puts(words, "No cook, starter, session, place or lot stands out: what was lost is "
                         "spread as chance spreads it, as far as so many vessels can tell.");
    } else {
        text_puts(words, "What did it:");
        put_culprits(words, review);
        text_puts(words, ".");
    }
    review_say(screen, 0, 0, ROLE_PLAIN, words);
}

/* ---- what to change -------------------------------------------------------------------------- */

static void put_saved(struct text *out, const struct review_fault *fault)
{
    double low = floor(fault->saved_low + 0.5), high = floor(fault->saved_high + 0.5);
    double mean = floor(fault->saved + 0.5);
    if (high <= low)
        text_printf(out, "about %.0f", mean);
    else
        text_printf(out, "about %.0f vessels (%.0f to %.0f)", mean, low, high);
}

static const char *change_of(const struct review *review, const struct review_change *change)
{
    if (change->cause == RULES_NONE)
        return NULL;
    const struct cause *cause = &review->rules->causes[change->cause];
    return cause->change_count > 0 ? cause->change[0] : NULL;
}

static void say_change(struct screen *screen, const struct review *review, struct text *words)
{
    const struct review_change *change = NULL;
    /* What cannot be told apart needs a test before a change. */
    for (size_t c = 0; c < review->change_count && change == NULL; c++)
        if (review->faults[review->changes[c].fault].suspect_count == 1)
            change = &review->changes[c];
    if (change == NULL)
        return;
    const struct review_fault *fault = &review->faults[change->fault];
    const char *how = change_of(review, change);
    text_puts(words, "Change first: ");
    voice_suspects(words, review, fault, false);
    text_puts(words, ". Without it ");
    put_saved(words, fault);
    text_puts(words, " would not have been lost.");
    if (how != NULL)
        text_printf(words, " %s", how);
    review_say(screen, 0, 0, ROLE_PLAIN, words);
}

/* ---- one fault ------------------------------------------------------------------------------- */

static void say_counts(struct screen *screen, const struct review *review,
                       const struct review_suspect *suspect, bool named, struct text *words)
{
    char percent[PERCENT_ROOM];
    if (named) {
        voice_level(words, review->dataset, suspect->factor, suspect->level);
        text_printf(words, ", %s: ", voice_percent(suspect->p, percent));
    }
    text_printf(words, "%zu of %zu lost, against %zu of %zu of the rest", suspect->inside.lost,
                suspect->inside.total, suspect->outside.lost, suspect->outside.total);
    if (suspect->controls.total > 0)
        text_printf(words, "; of those, without starter, %zu of %zu", suspect->controls.lost,
                    suspect->controls.total);
    text_printf(words, ": %s.", voice_evidence_word(suspect->log_bayes));
    review_say(screen, 5, 0, ROLE_PLAIN, words);
}

static void say_why(struct screen *screen, const struct review *review,
                    const struct review_suspect *suspect, struct text *words)
{
    const struct dataset *dataset = review->dataset;
    if (suspect->why_factor >= dataset->factor_count)
        return;
    const struct factor *why = &dataset->factors[suspect->why_factor];
    if (why->kind != FACTOR_LETHALITY && why->kind != FACTOR_TEMPERATURE &&
        why->kind != FACTOR_MOISTURE)
        return;
    text_printf(words, "%s: %s.",
                why->kind == FACTOR_LETHALITY
                    ? "Its heat, computed from gauge, minutes and altitude"
                : why->kind == FACTOR_MOISTURE ? "Its moisture, computed from what was weighed"
                                               : "Its temperature",
                why->levels[suspect->why_level]);
    review_say(screen, 5, 0, ROLE_PLAIN, words);
}

static void say_causes(struct screen *screen, const struct review *review,
                       const struct review_fault *fault, struct text *words)
{
    enum { MOST = 3 };
    static const double worth_a_word = 0.05;
    char percent[PERCENT_ROOM];
    if (fault->cause_count == 0)
        return;
    text_puts(words, "Why: ");
    for (size_t c = 0; c < fault->cause_count && c < MOST; c++) {
        if (c > 0 && fault->causes[c].p < worth_a_word)
            break;
        text_printf(words, "%s%s (%s)", c > 0 ? ", " : "",
                    review->rules->causes[fault->causes[c].cause].name,
                    voice_percent(fault->causes[c].p, percent));
    }
    text_puts(words, ".");
    review_say(screen, 5, 0, ROLE_PLAIN, words);
}

static void say_trials(struct screen *screen, const struct review *review,
                       const struct review_fault *fault, struct text *words)
{
    enum { MOST = 2 };
    if (fault->trial_count == 0)
        return;
    text_puts(words, fault->suspect_count > 1 ? "To tell them apart: " : "To be surer: ");
    for (size_t t = 0; t < fault->trial_count && t < MOST; t++) {
        const struct review_trial *trial = &fault->trials[t];
        if (trial->bits < fault->trials[0].bits / 2.0)
            break;
        const struct observable *test = &review->rules->observables[trial->observable];
        text_printf(words, "%s%s", t > 0 ? "; or " : "", test->label);
        if (trial->delay_days > 0.0)
            text_printf(words, " (%.0f %s)", trial->delay_days,
                        trial->delay_days > 1.0 ? "days" : "day");
    }
    text_puts(words, ".");
    review_say(screen, 5, 0, ROLE_PLAIN, words);
}

static void say_fault(struct screen *screen, const struct review *review, size_t k,
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
    if (fault->suspect_count > 1)
        screen_say(screen, 5, 0, ROLE_WARN,
                   "These always went together, or nearly: counting cannot tell them apart.");
    for (size_t s = 0; s < fault->suspect_count; s++) {
        say_counts(screen, review, &fault->suspects[s], fault->suspect_count > 1, words);
        say_why(screen, review, &fault->suspects[s], words);
    }
    say_causes(screen, review, fault, words);
    text_puts(words, "Without it ");
    put_saved(words, fault);
    text_puts(words, " would not have been lost.");
    review_say(screen, 5, 0, ROLE_PLAIN, words);
    say_trials(screen, review, fault, words);
}

static void say_plan(struct screen *screen, const struct review *review,
                     const struct review_plan *plan, struct text *words)
{
    text_puts(words, "Next batch, to tell ");
    voice_suspects(words, review, &review->faults[plan->fault], false);
    text_puts(words, " apart");
    screen_heading(screen, words->bytes != NULL ? words->bytes : "");
    text_clear(words);
    screen_say(screen, 2, 0, ROLE_PLAIN,
               "One cook, one session, one starter and one place for all, but for this:");
    for (size_t a = 0; a < plan->arm_count; a++) {
        voice_arm(words, review, plan, &plan->arms[a]);
        screen_item(screen, 2, "-", ROLE_PLAIN, words->bytes != NULL ? words->bytes : "");
        text_clear(words);
    }
    voice_plan_reading(words, review, plan);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
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

void voice_review(struct screen *screen, const struct review *review)
{
    struct text words;
    text_init(&words);
    if ((review->limits & REVIEW_EMPTY) == 0)
        say_lost(screen, review, &words);
    bool compared = review->totals.counts.lost > 0 &&
                    (review->limits & (REVIEW_ALL_LOST | REVIEW_NO_FACTOR)) == 0;
    if (compared) {
        say_culprits(screen, review, &words);
        say_change(screen, review, &words);
    }
    say_limits(screen, review);
    if (review->fault_count > 0)
        screen_heading(screen, "What did it, surest first");
    if (review->fault_count > 1)
        screen_say(screen, 0, 0, ROLE_QUIET,
                   "Each is counted without the vessels that the others explain.");
    for (size_t k = 0; k < review->fault_count; k++)
        say_fault(screen, review, k, &words);
    for (size_t p = 0; p < review->plan_count; p++)
        say_plan(screen, review, &review->plans[p], &words);
    text_release(&words);
}
