/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review in full: every factor, what went together, times, batches, and how it decides. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/review.h"
#include "voice/review_internal.h"
#include "voice/verdict.h"

/* ---- factors --------------------------------------------------------------------------------- */

static void put_test(struct text *out, const struct review_factor *factor)
{
    char p[REVIEW_DAY_ROOM], q[REVIEW_DAY_ROOM];
    size_t lost = 0, total = 0;
    for (size_t l = 0; l < factor->level_count; l++) {
        lost += factor->levels[l].counts.lost;
        total += factor->levels[l].counts.total;
    }
    text_printf(out, "Do they lose alike? %s for %zu of %zu lost", voice_p(factor->test.p, p), lost,
                total);
    if (factor->approximate)
        text_puts(out, " (chi-square)");
    else if (!factor->test.exact)
        text_printf(out, " (from %zu tables drawn, give or take %.2g)", factor->test.tables,
                    factor->test.standard_error);
    voice_p(factor->q, q);
    text_printf(out, "; among all factors asked, %s.", q + 2); /* without its "p " */
}

static void say_within(struct screen *screen, const struct review *review,
                       const struct review_factor *factor, struct text *words)
{
    const struct dataset *dataset = review->dataset;
    char p[REVIEW_DAY_ROOM];
    if (factor->within >= dataset->factor_count)
        return;
    const char *other = dataset->factors[factor->within].name;
    if (factor->within_strata == 0)
        text_printf(words,
                    "It is entangled with %s (%.2f of 1): within one %s there is nothing to "
                    "compare, so counting cannot part the two.",
                    other, factor->entangled, other);
    else
        text_printf(words,
                    "It is entangled with %s (%.2f of 1). Compared only within each %s: %s, from "
                    "%zu of them that can tell.",
                    other, factor->entangled, other, voice_p(factor->within_p, p),
                    factor->within_strata);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
}

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
        put_test(words, factor);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
        say_within(screen, review, factor, words);
    }
}

/* Factors of one level: there is nothing to compare. */
static void say_shared(struct screen *screen, const struct review *review, struct text *words)
{
    const char *joint = "The same for all of them: ";
    for (size_t f = 0; f < review->dataset->factor_count; f++) {
        const struct review_factor *factor = &review->factors[f];
        if (factor->level_count != 1)
            continue;
        text_printf(words, "%s%s (%s)", joint, review->dataset->factors[f].name,
                    review->dataset->factors[f].levels[factor->levels[0].level]);
        joint = ", ";
    }
    if (words->length == 0)
        return;
    text_puts(words, ". Nothing can be said of these.");
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
        text_printf(words,
                    "%s and %s, in %zu of %zu vessels: whatever one of them does, the other seems "
                    "to do.",
                    review->dataset->factors[alias->first].name,
                    review->dataset->factors[alias->second].name, alias->together, alias->of);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

/* ---- time ------------------------------------------------------------------------------------ */

static void say_curve(struct screen *screen, const struct review *review,
                      const struct review_curve *curve, struct text *words)
{
    const struct review_time *time = &review->time;
    const struct survival_curve *drawn = &curve->curve;
    if (time->factor >= review->dataset->factor_count)
        text_puts(words, "All vessels");
    else if (curve->level == LEVEL_NONE)
        text_puts(words, "All others");
    else
        voice_level(words, review->dataset, time->factor, curve->level);
    text_printf(words, ": %zu of %zu lost", drawn->lost, drawn->cases);
    if (isfinite(drawn->median))
        text_printf(words, ", half of them by day %.0f", drawn->median);
    else
        text_puts(words, "; fewer than half were lost while they were watched");
    text_puts(words, ".");
    review_say(screen, 2, 0, ROLE_PLAIN, words);
}

static void say_time(struct screen *screen, const struct review *review, struct text *words)
{
    const struct review_time *time = &review->time;
    char p[REVIEW_DAY_ROOM];
    if (time->cases == 0)
        return;
    screen_heading(screen, "How long they lasted");
    for (size_t c = 0; c < time->curve_count; c++)
        if (time->curves[c].curve.cases > 0)
            say_curve(screen, review, &time->curves[c], words);
    if (time->logrank.freedom > 0) {
        text_printf(words, "Do they last alike? %s (log-rank), from %zu vessels.",
                    voice_p(time->logrank.p, p), time->cases);
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
    const struct review_watch *watch = &review->watch;
    char since[REVIEW_DAY_ROOM];
    if (!watch->asked)
        return;
    screen_heading(screen, "Since when");
    if (watch->episode_count == 0) {
        text_puts(words, "At no time did losses run above the usual for long.");
    } else {
        const struct monitor_episode *last = &watch->episodes[watch->episode_count - 1];
        text_printf(words, "Losses ran above the usual %.0f %% from about %s on",
                    100.0 * watch->plan.usual, voice_review_day(watch->since, since));
        if (last->ended < watch->count)
            text_printf(
                words, ", and were back to it with vessels begun on %s",
                voice_review_day(review->dataset->entered[watch->vessels[last->ended]], since));
        text_printf(words,
                    ". (A running sum over %zu vessels; by chance it would signal once in %.0f.)",
                    watch->count, watch->plan.run_usual);
    }
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
    char p[REVIEW_DAY_ROOM];
    if (review->near_count == 0)
        return;
    screen_heading(screen, "Not enough to be called, but nearest to it");
    for (size_t n = 0; n < review->near_count; n++) {
        const struct review_suspect *near = &review->near[n];
        voice_level(words, review->dataset, near->factor, near->level);
        text_printf(words, ": %zu of %zu lost, %zu of %zu of the rest (%s)", near->inside.lost,
                    near->inside.total, near->outside.lost, near->outside.total,
                    voice_p(near->test_p, p));
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

static void say_method(struct screen *screen, const struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    screen_heading(screen, "How this is decided");
    screen_say(screen, 2, 0, ROLE_PLAIN,
               "%zu levels of %zu factors were compared with the rest. One is called a fault when "
               "it loses more by an exact test, counted for all that were asked (false discovery "
               "rate at most %.0f %%), and its losses are at least %.0f times likelier with a rate "
               "of its own. Its vessels are then set aside and the rest is asked again. Two that "
               "take each other's support away cannot be told apart.",
               review->suspects_asked, review->dataset->factor_count, 100.0 * rules->false_alarm,
               rules->bayes_factor);
    screen_say(screen, 2, 0, ROLE_PLAIN,
               "A vessel counts once it is lost or used, or has been sound for %.0f days. Vessels "
               "without starter count for cook, mix and grain only. Ranges of shares are exact, "
               "95 %%; those of vessels saved 90 %%. All of it is likelihood, none of it proof.",
               rules->watched);
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
        say_method(screen, review);
    text_release(&words);
}
