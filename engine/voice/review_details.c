/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review in full: every factor, what went together, times, batches, and how it decides. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/review.h"
#include "voice/review_internal.h"
#include "voice/verdict.h"

/* ---- factors --------------------------------------------------------------------------------- */

static void level_row(struct screen *screen, const struct review *review, size_t factor,
                      const struct review_level *level, size_t width)
{
    struct text rest;
    text_init(&rest);
    text_printf(&rest, "%3zu of %3zu", level->counts.lost, level->counts.total);
    if (level->counts.total > 0)
        text_printf(&rest, "  %3.0f %%  (%.0f to %.0f %%)",
                    100.0 * (double)level->counts.lost / (double)level->counts.total,
                    100.0 * level->exact.low, 100.0 * level->exact.high);
    if (level->controls.total > 0)
        text_printf(&rest, "; without starter %zu of %zu", level->controls.lost,
                    level->controls.total);
    /* Padded by hand: the figures keep their columns. */
    struct text line, label;
    text_init(&line);
    text_init(&label);
    const char *name = review->dataset->factors[factor].levels[level->level];
    bool wide = utf8_width(name, strlen(name)) > width;
    text_safe(&label, name, strlen(name),
              &(struct text_safe_options){.limit = wide ? width - 1 : 0});
    size_t columns = label.bytes != NULL ? utf8_width(label.bytes, label.length) : 0;
    text_printf(&line, "%s%*s%s", label.bytes != NULL ? label.bytes : "",
                columns < width ? (int)(width + 2 - columns) : 2, "",
                rest.bytes != NULL ? rest.bytes : "");
    screen_preformatted(screen, 2, line.bytes != NULL ? line.bytes : "");
    text_release(&line);
    text_release(&label);
    text_release(&rest);
}

static size_t label_width(const struct review *review, const struct review_factor *factor,
                          size_t shown)
{
    enum { WIDEST = 18 };
    size_t width = 4;
    for (size_t l = 0; l < shown; l++) {
        const char *name = review->dataset->factors[factor->factor].levels[factor->levels[l].level];
        size_t columns = utf8_width(name, strlen(name));
        width = columns > width ? columns : width;
    }
    return width < WIDEST ? width : WIDEST;
}

static void say_factor(struct screen *screen, const struct review *review,
                       const struct review_factor *factor, struct text *words)
{
    enum { SHOWN = 12 };
    size_t shown = factor->level_count < SHOWN ? factor->level_count : SHOWN;
    const struct factor *of = &review->dataset->factors[factor->factor];
    if (factor->level_count < 2)
        return; /* told by say_shared */
    text_printf(words, "By %s", of->name);
    screen_heading(screen, words->bytes != NULL ? words->bytes : "");
    text_clear(words);
    size_t width = label_width(review, factor, shown);
    for (size_t l = 0; l < shown; l++)
        level_row(screen, review, factor->factor, &factor->levels[l], width);
    if (shown < factor->level_count)
        screen_say(screen, 2, 0, ROLE_QUIET, "and %zu more that lost no larger share",
                   factor->level_count - shown);
    if (factor->unknown > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "%zu %s not known", factor->unknown,
                   factor->unknown == 1 ? "is" : "are");
    if (!isnan(factor->q)) {
        review_test_words(words, factor);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
        review_within_words(words, review, factor);
        if (words->length > 0)
            review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

static void say_shared(struct screen *screen, const struct review *review, struct text *words)
{
    review_shared_words(words, review);
    if (words->length == 0)
        return;
    screen_blank(screen);
    review_say(screen, 0, 0, ROLE_PLAIN, words);
}

static void say_aliases(struct screen *screen, const struct review *review, struct text *words)
{
    if (review->alias_count == 0)
        return;
    screen_heading(screen, "What always went together");
    for (size_t a = 0; a < review->alias_count; a++) {
        const struct review_alias *alias = &review->aliases[a];
        review_alias_words(words, review, alias);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

/* ---- time ------------------------------------------------------------------------------------ */

static void say_time(struct screen *screen, const struct review *review, struct text *words)
{
    const struct review_time *time = &review->time;
    if (time->cases == 0)
        return;
    screen_heading(screen, "How long they lasted");
    for (size_t c = 0; c < time->curve_count; c++)
        if (time->curves[c].curve.cases > 0) {
            review_curve_words(words, review, &time->curves[c]);
            review_say(screen, 2, 0, ROLE_PLAIN, words);
        }
    if (time->logrank.freedom > 0) {
        review_logrank_words(words, review);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
    if (time->left_out > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "%zu %s left out: no days, or impossible ones.",
                   time->left_out, time->left_out == 1 ? "is" : "are");
}

/* ---- batches --------------------------------------------------------------------------------- */

static void batch_row(struct screen *screen, const struct review *review,
                      const struct review_batch *batch)
{
    const struct dataset *dataset = review->dataset;
    char day[REVIEW_DAY_ROOM], label[64];
    struct text line, safe;
    const char *name = dataset->factors[dataset->batch].levels[batch->level];
    text_init(&line);
    text_init(&safe);
    text_safe(&safe, name, strlen(name), &(struct text_safe_options){.limit = 12});
    snprintf(label, sizeof label, "%s", safe.bytes != NULL ? safe.bytes : "");
    text_printf(&line, "%-10s  %-12s %3zu of %3zu", voice_review_date(batch->day, day), label,
                batch->counts.lost, batch->counts.total);
    if (batch->point.above)
        text_printf(&line, "  too many: chance gives fewer than %.0f", batch->point.from_above);
    else if (batch->point.below)
        text_printf(&line, "  unusually few: chance gives more than %.0f", batch->point.from_below);
    if (batch->cause_count > 0 && batch->causes[0].p > 0.5 && batch->point.above)
        text_printf(&line, "; %s", review->rules->causes[batch->causes[0].cause].name);
    screen_preformatted(screen, 2, line.bytes != NULL ? line.bytes : "");
    text_release(&safe);
    text_release(&line);
}

static void say_batches(struct screen *screen, const struct review *review, struct text *words)
{
    enum { SHOWN = 40 };
    if (review->batch_count == 0 || isnan(review->centre))
        return;
    screen_heading(screen, "Batch by batch");
    size_t from = review->batch_count > SHOWN ? review->batch_count - SHOWN : 0;
    if (from > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "The last %d of %zu:", SHOWN, review->batch_count);
    for (size_t b = from; b < review->batch_count; b++)
        batch_row(screen, review, &review->batches[b]);
    text_printf(words,
                "Too many: of batches that lose %.0f %% on average, one in 740 loses so many "
                "by chance.",
                100.0 * review->centre);
    review_say(screen, 2, 0, ROLE_QUIET, words);
}

static void say_watch(struct screen *screen, const struct review *review, struct text *words)
{
    if (!review->watch.asked)
        return;
    screen_heading(screen, "Since when");
    review_watch_words(words, review);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
}

/* ---- tests, near misses, method -------------------------------------------------------------- */

static bool is_one(double number)
{
    return fabs(number - 1.0) < 0.5;
}

static void say_trials(struct screen *screen, const struct review *review, struct text *words)
{
    enum { MOST = 4 };
    bool headed = false;
    for (size_t k = 0; k < review->fault_count; k++) {
        const struct review_fault *fault = &review->faults[k];
        if (fault->trial_count == 0)
            continue;
        if (!headed)
            screen_heading(screen, "What would settle it, best for its cost first");
        headed = true;
        voice_suspects(words, review, fault, false);
        text_puts(words, ":");
        review_say(screen, 2, 0, ROLE_PLAIN, words);
        for (size_t t = 0; t < fault->trial_count && t < MOST; t++) {
            const struct observable *test =
                &review->rules->observables[fault->trials[t].observable];
            text_printf(words, "%s: %.2f bits, %.0f %s, cost %.1f.", test->label,
                        fault->trials[t].bits, fault->trials[t].delay_days,
                        is_one(fault->trials[t].delay_days) ? "day" : "days",
                        fault->trials[t].cost);
            if (test->look != NULL)
                text_printf(words, " %s", test->look);
            screen_item(screen, 4, "-", ROLE_PLAIN, words->bytes != NULL ? words->bytes : "");
            text_clear(words);
        }
    }
}

static void say_near(struct screen *screen, const struct review *review, struct text *words)
{
    if (review->near_count == 0)
        return;
    screen_heading(screen, "Not enough to be called, but nearest to it");
    for (size_t n = 0; n < review->near_count; n++) {
        const struct review_suspect *near = &review->near[n];
        review_near_words(words, review, near);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

static void say_method(struct screen *screen, const struct review *review, struct text *words)
{
    screen_heading(screen, "How this is decided");
    review_rule_words(words, review);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
    review_counting_words(words, review);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
}

void voice_review_details(struct screen *screen, const struct review *review)
{
    struct text words;
    text_init(&words);
    say_trials(screen, review, &words);
    say_near(screen, review, &words);
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        say_factor(screen, review, &review->factors[f], &words);
    say_shared(screen, review, &words);
    say_aliases(screen, review, &words);
    say_time(screen, review, &words);
    say_batches(screen, review, &words);
    say_watch(screen, review, &words);
    if (review->totals.counts.total > 0)
        say_method(screen, review, &words);
    text_release(&words);
}
