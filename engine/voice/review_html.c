/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review as a page: the order of its sections, and what stands above them all. */
#include "voice/review_html.h"

#include "voice/review_html_internal.h"
#include "voice/review_internal.h"
#include "voice/review_style_internal.h"

struct section {
    const char *id, *heading;
    bool (*has)(const struct review *review);
    void (*write)(struct text *page, const struct review *review, struct text *words);
};

/* ---- in short -------------------------------------------------------------------------------- */

static void put_limits(struct text *page, const struct review *review)
{
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++) {
        const char *words = voice_review_limit(review, 1U << bit);
        if (words != NULL)
            html_element(page, "p", NULL, words);
    }
    for (size_t r = 0; r < review->dataset->remark_count; r++)
        html_element(page, "p", "class=\"quiet\"", review->dataset->remarks[r]);
}

static void put_short(struct text *page, const struct review *review, struct text *words)
{
    text_puts(page, "<section id=\"short\">\n<h2>In short</h2>\n");
    review_lost_words(words, review);
    html_take(page, "p", "class=\"lead\"", words);
    review_culprits_words(words, review);
    html_take(page, "p", NULL, words);
    review_change_words(words, review);
    html_take(page, "p", NULL, words);
    put_limits(page, review);
    text_puts(page, "<div class=\"caution\">\n<p>All of this is likelihood, none of it proof: it "
                    "rests on what was written down. Do not open, shake or smell a suspect vessel "
                    "to find out more; look from outside.</p>\n</div>\n</section>\n");
}

/* ---- the whole ------------------------------------------------------------------------------- */

static bool always(const struct review *review)
{
    return review->totals.counts.total > 0;
}

static const struct section sections[] = {
    {"faults", "What did it, surest first", review_has_faults, review_html_faults},
    {"change", "What to change", review_has_changes, review_html_changes},
    {"factors", "Where the losses gather", review_has_factors, review_html_factors},
    {"time", "How long they lasted", review_has_times, review_html_times},
    {"batches", "Batch by batch, and since when", review_has_batches, review_html_batches},
    {"vessels", "Every vessel", review_has_vessels, review_html_vessels},
    {"apart", "What cannot be told apart, and what would settle it", review_has_apart,
     review_html_apart},
    {"next", "The next batch", review_has_plans, review_html_plans},
    {"method", "How this was computed, and what it assumes", always, review_html_method},
};
enum { SECTIONS = sizeof sections / sizeof sections[0] };

static void put_contents(struct text *page, const struct review *review)
{
    bool any = false;
    for (size_t s = 0; s < SECTIONS; s++)
        any = any || sections[s].has(review);
    if (!any)
        return;
    text_puts(page, "<nav aria-label=\"On this page\">\n<ul>\n");
    for (size_t s = 0; s < SECTIONS; s++)
        if (sections[s].has(review)) {
            text_printf(page, "<li><a href=\"#%s\">", sections[s].id);
            html_text(page, sections[s].heading);
            text_puts(page, "</a></li>\n");
        }
    text_puts(page, "</ul>\n</nav>\n");
}

void voice_review_html(struct text *page, const struct review *review)
{
    char day[REVIEW_DAY_ROOM];
    struct text words;

    text_init(&words);
    html_begin(page, "What was lost, and why: a review by Jarside", review_style);
    text_puts(page, "<header>\n<h1>What was lost, and why</h1>\n");
    text_printf(&words, "As it stood on %s", voice_review_day(review->dataset->today, day));
    html_take(page, "p", "class=\"quiet\"", &words);
    text_puts(page, "</header>\n<main>\n");
    put_short(page, review, &words);
    put_contents(page, review);
    for (size_t s = 0; s < SECTIONS; s++) {
        if (!sections[s].has(review))
            continue;
        text_printf(page, "<section id=\"%s\">\n", sections[s].id);
        html_element(page, "h2", NULL, sections[s].heading);
        sections[s].write(page, review, &words);
        text_puts(page, "</section>\n");
    }
    text_puts(page, "</main>\n<footer>\n<p class=\"quiet\">Written by Jarside. Whoever prints "
                    "this gets the charts; a table prints when it was opened.</p>\n</footer>\n");
    html_end(page);
    text_release(&words);
}
