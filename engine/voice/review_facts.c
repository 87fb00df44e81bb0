/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands beside the figures of a review, for the screen and the page alike. */
#include <math.h>

#include "voice/review_internal.h"

/* ---- factors --------------------------------------------------------------------------------- */

void review_test_words(struct text *words, const struct review_factor *factor)
{
    char p[REVIEW_DAY_ROOM], q[REVIEW_DAY_ROOM];
    size_t lost = 0, total = 0;
    for (size_t l = 0; l < factor->level_count; l++) {
        lost += factor->levels[l].counts.lost;
        total += factor->levels[l].counts.total;
    }
    text_printf(words, "Do they lose alike? %s for %zu of %zu lost", voice_p(factor->test.p, p),
                lost, total);
    if (factor->approximate)
        text_puts(words, " (chi-square)");
    else if (!factor->test.exact)
        text_printf(words, " (from %zu tables drawn, give or take %.2g)", factor->test.tables,
                    factor->test.standard_error);
    voice_p(factor->q, q);
    text_printf(words, "; among all factors asked, %s.", q + 2); /* without its "p " */
}

void review_within_words(struct text *words, const struct review *review,
                         const struct review_factor *factor)
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
}

/* Factors of one level: there is nothing to compare. */
void review_shared_words(struct text *words, const struct review *review)
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
    if (words->length > 0)
        text_puts(words, ". Nothing can be said of these.");
}

void review_alias_words(struct text *words, const struct review *review,
                        const struct review_alias *alias)
{
    text_printf(words,
                "%s and %s, in %zu of %zu vessels: whatever one of them does, the other seems "
                "to do.",
                review->dataset->factors[alias->first].name,
                review->dataset->factors[alias->second].name, alias->together, alias->of);
}

void review_near_words(struct text *words, const struct review *review,
                       const struct review_suspect *near)
{
    char p[REVIEW_DAY_ROOM];
    voice_level(words, review->dataset, near->factor, near->level);
    text_printf(words, ": %zu of %zu lost, %zu of %zu of the rest (%s)", near->inside.lost,
                near->inside.total, near->outside.lost, near->outside.total,
                voice_p(near->test_p, p));
}

/* ---- time ------------------------------------------------------------------------------------ */

void review_curve_name(struct text *words, const struct review *review,
                       const struct review_curve *curve)
{
    const struct review_time *time = &review->time;
    if (time->factor >= review->dataset->factor_count)
        text_puts(words, "All vessels");
    else if (curve->level == LEVEL_NONE)
        text_puts(words, "All others");
    else
        voice_level(words, review->dataset, time->factor, curve->level);
}

void review_curve_words(struct text *words, const struct review *review,
                        const struct review_curve *curve)
{
    const struct survival_curve *drawn = &curve->curve;
    review_curve_name(words, review, curve);
    text_printf(words, ": %zu of %zu lost", drawn->lost, drawn->cases);
    if (isfinite(drawn->median))
        text_printf(words, ", half of them by day %.0f", drawn->median);
    else
        text_puts(words, "; fewer than half were lost while they were watched");
    text_puts(words, ".");
}

void review_logrank_words(struct text *words, const struct review *review)
{
    char p[REVIEW_DAY_ROOM];
    text_printf(words, "Do they last alike? %s (log-rank), from %zu vessels.",
                voice_p(review->time.logrank.p, p), review->time.cases);
}

void review_watch_words(struct text *words, const struct review *review)
{
    const struct review_watch *watch = &review->watch;
    char since[REVIEW_DAY_ROOM];
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
}

/* ---- method ---------------------------------------------------------------------------------- */

void review_rule_words(struct text *words, const struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    text_printf(
        words,
        "%zu levels of %zu factors were compared with the rest. One is called a fault when "
        "it loses more by an exact test, counted for all that were asked (false discovery "
        "rate at most %.0f %%), and its losses are at least %.0f times likelier with a rate "
        "of its own. Its vessels are then set aside and the rest is asked again. Two that "
        "take each other's support away cannot be told apart.",
        review->suspects_asked, review->dataset->factor_count, 100.0 * rules->false_alarm,
        rules->bayes_factor);
}

void review_counting_words(struct text *words, const struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    text_printf(words,
                "A vessel counts once it is lost or used, or has been sound for %.0f days. Vessels "
                "without starter count for cook, mix and grain only. Ranges of shares are exact, "
                "95 %%; those of vessels saved 90 %%. All of it is likelihood, none of it proof.",
                rules->watched);
}
