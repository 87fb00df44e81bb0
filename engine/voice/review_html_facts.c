/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Of the page: factors, times, batches, vessels, and how it was computed. */
#include <math.h>

#include "voice/review_html_internal.h"
#include "voice/review_internal.h"
#include "voice/svg_internal.h"

/* ---- factors --------------------------------------------------------------------------------- */

enum { FACTORS_SHOWN = 12 };

static bool is_drawn(const struct review_factor *factor)
{
    return factor->level_count > 1;
}

static size_t drawn_count(const struct review *review)
{
    size_t count = 0;
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        count += is_drawn(&review->factors[f]) ? 1 : 0;
    return count;
}

bool review_has_factors(const struct review *review)
{
    return drawn_count(review) > 0;
}

/* Whether a factor stands before another: by q, those never asked last, then as in the table. */
static bool stands_before(const struct review_factor *factors, size_t a, size_t b)
{
    double first = isnan(factors[a].q) ? 2.0 : factors[a].q;
    double second = isnan(factors[b].q) ? 2.0 : factors[b].q;
    return first < second || (!(second < first) && a < b);
}

/* The next factor to draw after `last` (factor_count: the first), or factor_count. */
static size_t next_factor(const struct review *review, size_t last)
{
    size_t count = review->dataset->factor_count, best = count;
    for (size_t f = 0; f < count; f++) {
        if (!is_drawn(&review->factors[f]) ||
            (last < count && !stands_before(review->factors, last, f)))
            continue;
        if (best == count || stands_before(review->factors, f, best))
            best = f;
    }
    return best;
}

static void put_factor(struct text *page, const struct review *review,
                       const struct review_factor *factor, struct text *words)
{
    text_puts(page, "<div class=\"whole\">\n");
    svg_levels(page, review, factor);
    if (factor->unknown > 0) {
        text_printf(words, "%zu %s not known.", factor->unknown,
                    factor->unknown == 1 ? "is" : "are");
        html_take(page, "p", "class=\"quiet\"", words);
    }
    if (!isnan(factor->q)) {
        review_test_words(words, factor);
        html_take(page, "p", NULL, words);
        review_within_words(words, review, factor);
        html_take(page, "p", NULL, words);
    }
    text_puts(page, "</div>\n");
}

static void put_near(struct text *page, const struct review *review, struct text *words)
{
    if (review->near_count == 0)
        return;
    text_puts(page, "<h3>Not enough to be called, but nearest to it</h3>\n<ul>\n");
    for (size_t n = 0; n < review->near_count; n++) {
        review_near_words(words, review, &review->near[n]);
        html_take(page, "li", NULL, words);
    }
    text_puts(page, "</ul>\n");
}

void review_html_factors(struct text *page, const struct review *review, struct text *words)
{
    size_t count = review->dataset->factor_count, drawn = 0;
    html_element(page, "p", NULL,
                 "Share lost, with its exact 95 % range. What parts the vessels most clearly comes "
                 "first. All vessels are counted here, whatever else explains their loss.");
    text_puts(page, "<div class=\"charts\">\n");
    for (size_t f = next_factor(review, count); f < count && drawn < FACTORS_SHOWN;
         f = next_factor(review, f), drawn++)
        put_factor(page, review, &review->factors[f], words);
    text_puts(page, "</div>\n");
    if (drawn < drawn_count(review)) {
        text_printf(words, "And %zu more that part them less clearly.",
                    drawn_count(review) - drawn);
        html_take(page, "p", "class=\"quiet\"", words);
    }
    review_shared_words(words, review);
    html_take(page, "p", NULL, words);
    put_near(page, review, words);
}

/* ---- time ------------------------------------------------------------------------------------ */

bool review_has_times(const struct review *review)
{
    return review->time.cases > 0;
}

void review_html_times(struct text *page, const struct review *review, struct text *words)
{
    const struct review_time *time = &review->time;
    text_puts(page, "<div class=\"charts\">\n");
    svg_curves(page, review);
    text_puts(page, "<div>\n<ul>\n");
    for (size_t c = 0; c < time->curve_count; c++)
        if (time->curves[c].curve.cases > 0) {
            review_curve_words(words, review, &time->curves[c]);
            html_take(page, "li", NULL, words);
        }
    text_puts(page, "</ul>\n");
    if (time->logrank.freedom > 0) {
        review_logrank_words(words, review);
        html_take(page, "p", NULL, words);
    }
    if (time->left_out > 0) {
        text_printf(words, "%zu %s left out: no days, or impossible ones.", time->left_out,
                    time->left_out == 1 ? "is" : "are");
        html_take(page, "p", "class=\"quiet\"", words);
    }
    text_puts(page, "</div>\n</div>\n");
}

/* ---- batches --------------------------------------------------------------------------------- */

static bool has_chart(const struct review *review)
{
    return review->batch_count > 0 && !isnan(review->centre);
}

bool review_has_batches(const struct review *review)
{
    return has_chart(review) || review->watch.asked;
}

void review_html_batches(struct text *page, const struct review *review, struct text *words)
{
    text_puts(page, "<div class=\"charts\">\n");
    if (has_chart(review))
        svg_batches(page, review);
    if (review->watch.asked) {
        text_puts(page, "<div class=\"whole\">\n");
        svg_sum(page, review);
        review_watch_words(words, review);
        html_take(page, "p", NULL, words);
        text_puts(page, "</div>\n");
    }
    text_puts(page, "</div>\n");
}

bool review_has_vessels(const struct review *review)
{
    return review->batch_count > 0;
}

void review_html_vessels(struct text *page, const struct review *review, struct text *words)
{
    (void)words;
    svg_vessels(page, review);
}

/* ---- how it was computed --------------------------------------------------------------------- */

void review_html_method(struct text *page, const struct review *review, struct text *words)
{
    static const char *const assumed[] = {
        "What was written down is right: a vessel called lost was lost, and it came from the cook, "
        "starter, session and place named.",
        "Vessels that share all of these are lost independently of each other. Where one infects "
        "its neighbours, ranges are too narrow.",
        "What nobody wrote down (weather, a filter, a pair of hands) cannot be found, and may hide "
        "behind what was.",
        "Vessels saved: those lost there less those that would have been lost at the rate of the "
        "rest.",
        "Exact ranges: Clopper and Pearson 1934. Tables: Fisher 1935, Freeman and Halton 1951. "
        "Many questions at once: Benjamini and Hochberg 1995. Times: Kaplan and Meier 1958, Mantel "
        "1966. Batches: Shewhart 1931 with exact limits. Since when: Page 1954, Reynolds and "
        "Stoumbos 1999.",
    };
    review_rule_words(words, review);
    html_take(page, "p", NULL, words);
    review_counting_words(words, review);
    html_take(page, "p", NULL, words);
    text_puts(page, "<ul>\n");
    for (size_t i = 0; i < sizeof assumed / sizeof assumed[0]; i++)
        html_element(page, "li", NULL, assumed[i]);
    text_puts(page, "</ul>\n");
}
