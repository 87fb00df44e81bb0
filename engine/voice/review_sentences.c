/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The sentences of a review that a grower needs, for the screen and the page alike. */
#include <math.h>
#include <string.h>

#include "voice/review_internal.h"
#include "voice/verdict.h"

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

void review_lost_words(struct text *words, const struct review *review)
{
    const struct review_totals *totals = &review->totals;
    struct counts counts = totals->counts;
    size_t open = totals->young, unrecorded = totals->unrecorded;

    if ((review->limits & REVIEW_EMPTY) != 0)
        return;
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
}

/* ---- what did it ----------------------------------------------------------------------------- */

static void put_culprit(struct text *out, const struct review *review,
                        const struct review_fault *fault)
{
    if (fault->suspect_count > 1)
        text_puts(out, "either ");
    voice_suspects(out, review, fault, false);
}

static bool any_either(const struct review *review)
{
    for (size_t k = 0; k < review->fault_count; k++)
        if (review->faults[k].suspect_count > 1)
            return true;
    return false;
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

void review_culprits_words(struct text *words, const struct review *review)
{
    bool compared = review->totals.counts.lost > 0 &&
                    (review->limits & (REVIEW_ALL_LOST | REVIEW_NO_FACTOR)) == 0;
    if (!compared)
        return;
    if (review->fault_count == 0) {
        text_puts(words, "No cook, starter, session, place or lot stands out: what was lost is "
                         "spread as chance spreads it, as far as so many vessels can tell.");
    } else {
        text_puts(words, "What did it:");
        put_culprits(words, review);
        text_puts(words, ".");
        if (any_either(review))
            text_puts(words, " Where it says either, these numbers cannot tell which.");
    }
}

/* ---- what to change -------------------------------------------------------------------------- */

void review_saved_words(struct text *words, const struct review_fault *fault)
{
    /* Vessels are whole. */
    double low = floor(fault->saved_low + 0.5), high = floor(fault->saved_high + 0.5);
    double mean = floor(fault->saved + 0.5);
    text_puts(words, fault->suspect_count > 1 ? "Without whichever it was, " : "Without it ");
    if (high <= low)
        text_printf(words, "about %.0f", mean);
    else
        text_printf(words, "about %.0f vessels (%.0f to %.0f)", mean, low, high);
    text_puts(words, " would not have been lost.");
}

static const char *change_of(const struct review *review, const struct review_change *change)
{
    if (change->cause == RULES_NONE)
        return NULL;
    const struct cause *cause = &review->rules->causes[change->cause];
    return cause->change_count > 0 ? cause->change[0] : NULL;
}

/* What is known can be changed at once; what cannot be told apart needs a test first. */
static const struct review_change *first_change(const struct review *review)
{
    for (size_t c = 0; c < review->change_count; c++)
        if (review->faults[review->changes[c].fault].suspect_count == 1)
            return &review->changes[c];
    return review->change_count > 0 ? &review->changes[0] : NULL;
}

void review_change_words(struct text *words, const struct review *review)
{
    const struct review_change *change = first_change(review);
    if (change == NULL)
        return;
    const struct review_fault *fault = &review->faults[change->fault];
    bool known = fault->suspect_count == 1;
    const char *how = known ? change_of(review, change) : NULL;
    text_puts(words, known ? "Change first: " : "First find out whether it was ");
    voice_suspects(words, review, fault, false);
    if (!known && fault->trial_count > 0)
        text_printf(words, "; best by this test: %s",
                    review->rules->observables[fault->trials[0].observable].label);
    text_puts(words, ". ");
    review_saved_words(words, fault);
    if (how != NULL)
        text_printf(words, " %s", how);
}

/* ---- one fault ------------------------------------------------------------------------------- */

void review_counts_words(struct text *words, const struct review *review,
                         const struct review_suspect *suspect, bool named)
{
    char percent[PERCENT_ROOM];
    if (named) {
        voice_level(words, review->dataset, suspect->factor, suspect->level);
        text_printf(words, ", %s: ", voice_percent(suspect->p, percent));
    }
    text_printf(words, "%zu of %zu lost, against %zu of %zu of the rest", suspect->inside.lost,
                suspect->inside.total, suspect->outside.lost, suspect->outside.total);
    if (suspect->controls.total == 1)
        text_printf(words, "; the one among them without starter %s",
                    suspect->controls.lost > 0 ? "was lost too" : "was not");
    else if (suspect->controls.total > 1)
        text_printf(words, "; of those among them without starter %zu of %zu",
                    suspect->controls.lost, suspect->controls.total);
    text_puts(words, ".");
}

void review_why_words(struct text *words, const struct review *review,
                      const struct review_suspect *suspect)
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
}

void review_causes_words(struct text *words, const struct review *review,
                         const struct review_fault *fault)
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
}

void review_trials_words(struct text *words, const struct review *review,
                         const struct review_fault *fault)
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
}
