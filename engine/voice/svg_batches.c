/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A control chart: one row a batch in order of time, its share lost against what chance gives. */
#include <math.h>
#include <stdio.h>

#include "voice/svg_internal.h"

enum {
    LEFT = 92,
    RIGHT = 222,
    HEAD = 24,
    ROW = 24,
    FOOT = 24,
    LABEL_COLUMNS = 11,
    SHOWN = 40,
};

static double across(double share)
{
    return LEFT + (RIGHT - LEFT) * fmin(fmax(share, 0.0), 1.0);
}

static const char *label_of(const struct review *review, const struct review_batch *batch)
{
    const struct dataset *dataset = review->dataset;
    return dataset->factors[dataset->batch].levels[batch->level];
}

static const char *word_of(const struct review_batch *batch)
{
    return batch->point.above ? "high" : batch->point.below ? "low" : "";
}

static void draw_row(struct text *page, const struct review *review,
                     const struct review_batch *batch, double top)
{
    double total = (double)batch->counts.total, middle = top + ROW / 2.0;
    bool out = batch->point.above || batch->point.below;
    char words[64];

    svg_words(page, 4, middle + 5, SVG_START, out ? "strong" : "plain", label_of(review, batch),
              LABEL_COLUMNS);
    if (batch->counts.total == 0) {
        svg_words(page, RIGHT + 7, middle + 5, SVG_START, "quiet", "none counts", 14);
        return;
    }
    double low = across(batch->point.from_below / total);
    double high = across(batch->point.from_above / total);
    svg_box(page, low, middle - 8, high - low, 16, "band");
    svg_line(page, LEFT, middle, RIGHT, middle, "rail");
    svg_shape(page,
              batch->point.above   ? SVG_TRIANGLE
              : batch->point.below ? SVG_DIAMOND
                                   : SVG_DOT,
              across(batch->point.share), middle, 12, NULL);
    snprintf(words, sizeof words, "%zu of %zu%s%s", batch->counts.lost, batch->counts.total,
             out ? ", " : "", word_of(batch));
    svg_words(page, RIGHT + 7, middle + 5, SVG_START, out ? "strong" : "plain", words, 18);
}

static void draw_scale(struct text *page, const struct review *review, double bottom)
{
    char words[32];
    snprintf(words, sizeof words, "all: %.0f %%", 100.0 * review->centre);
    svg_line(page, across(review->centre), HEAD - 4, across(review->centre), bottom, "mean");
    svg_words(page, across(review->centre), HEAD - 9, SVG_MIDDLE, "quiet", words, 12);
    svg_words(page, LEFT, bottom + 16, SVG_START, "quiet", "none", 6);
    svg_words(page, RIGHT, bottom + 16, SVG_END, "quiet", "all lost", 10);
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void table_row(struct text *page, const struct review *review,
                      const struct review_batch *batch)
{
    enum { WHOLE = 80 };
    char day[REVIEW_DAY_ROOM];
    text_puts(page, "<tr><th scope=\"row\">");
    html_fit(page, label_of(review, batch), WHOLE);
    voice_review_date(batch->day, day);
    text_printf(page, "</th><td>%s</td><td>%zu of %zu</td>", day[0] != '\0' ? day : "not known",
                batch->counts.lost, batch->counts.total);
    if (batch->counts.total == 0)
        text_puts(page, "<td>none counts</td>");
    else if (batch->point.from_above > (double)batch->counts.total)
        text_puts(page, "<td>no number is too many</td>");
    else
        text_printf(page, "<td>%.0f or more</td>", batch->point.from_above);
    text_printf(page, "<td>%s</td></tr>\n",
                word_of(batch)[0] != '\0' ? word_of(batch) : "as usual");
}

void svg_batches(struct text *page, const struct review *review)
{
    static const char title[] = "Losses of each batch, oldest first";
    static const char *const heads[] = {"Batch",   "Begun", "Lost", "Too many would be",
                                        "Reading", NULL};
    size_t from = review->batch_count > SHOWN ? review->batch_count - SHOWN : 0;
    double bottom = HEAD + (double)(review->batch_count - from) * ROW;
    char description[260];

    snprintf(description, sizeof description,
             "One row for each of %zu batches in order of time: the share lost, and a band of what "
             "chance alone gives a batch of that size when %.0f %% are lost on average.",
             review->batch_count - from, 100.0 * review->centre);
    svg_begin(page, "batches-chart", title, description, bottom + FOOT);
    for (size_t b = from; b < review->batch_count; b++)
        draw_row(page, review, &review->batches[b], HEAD + (double)(b - from) * ROW);
    draw_scale(page, review, bottom);
    svg_end(page);
    if (from > 0)
        text_printf(page, "<p class=\"quiet\">The last %d of %zu.</p>\n", (int)SHOWN,
                    review->batch_count);
    text_puts(page,
              "<p class=\"quiet\">The band is what chance gives (exact limits); a batch "
              "beyond it is marked high or low, and by its shape. One batch in 740 lies beyond "
              "either end by chance.</p>\n");
    svg_table(page, title, heads);
    for (size_t b = from; b < review->batch_count; b++)
        table_row(page, review, &review->batches[b]);
    svg_table_end(page);
}
