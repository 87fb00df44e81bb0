/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Losses by level of a factor: a share with its interval, the counts beside it. */
#include <stdio.h>
#include <string.h>

#include "voice/svg_internal.h"

enum {
    LEFT = 8,
    RIGHT = SVG_WIDTH - 8,
    HEAD = 22,
    ROW = 36,
    FOOT = 24,
    LEGEND = 20,
    SHOWN = 12,
};

struct frame {
    const struct review *review;
    const struct review_factor *factor;
    const struct factor *of;
    size_t shown;
    bool called; /* some level of it */
};

static double across(double share)
{
    return LEFT + share * (RIGHT - LEFT);
}

static double share_of(struct counts counts)
{
    return (double)counts.lost / (double)counts.total;
}

static const char *label_of(const struct frame *frame, size_t l)
{
    return frame->of->levels[frame->factor->levels[l].level];
}

/* Whether a level is among what did it. */
static bool is_called(const struct frame *frame, uint32_t level)
{
    const struct review *review = frame->review;
    for (size_t k = 0; k < review->fault_count; k++)
        for (size_t s = 0; s < review->faults[k].suspect_count; s++)
            if (review->faults[k].suspects[s].factor == frame->factor->factor &&
                review->faults[k].suspects[s].level == level)
                return true;
    return false;
}

/* ---- the drawing ----------------------------------------------------------------------------- */

/* Columns that a label may take, given what stands at the right end of its line. */
static size_t columns_beside(const char *counts, bool strong)
{
    enum { LEAST = 8 };
    size_t column = strong ? 8 : 7, most = (RIGHT - LEFT) / column - 2, taken = strlen(counts);
    return taken + LEAST < most ? most - taken : LEAST;
}

static void draw_row(struct text *page, const struct frame *frame, size_t l)
{
    const struct review_level *level = &frame->factor->levels[l];
    bool called = is_called(frame, level->level);
    double top = HEAD + (double)l * ROW, middle = top + 26;
    char counts[64];

    if (level->counts.total == 0)
        snprintf(counts, sizeof counts, "without starter %zu of %zu", level->controls.lost,
                 level->controls.total);
    else
        snprintf(counts, sizeof counts, "%zu of %zu, %.0f %%", level->counts.lost,
                 level->counts.total, 100.0 * share_of(level->counts));
    svg_words(page, LEFT, top + 15, SVG_START, called ? "strong" : "plain", label_of(frame, l),
              columns_beside(counts, called));
    svg_words(page, RIGHT, top + 15, SVG_END, "plain", counts, sizeof counts);
    if (level->counts.total == 0)
        return;
    svg_line(page, LEFT, middle, RIGHT, middle, "rail");
    svg_line(page, across(level->exact.low), middle, across(level->exact.high), middle,
             called ? "range called" : "range");
    svg_shape(page, called ? SVG_DIAMOND : SVG_DOT, across(share_of(level->counts)), middle,
              called ? 13 : 10, NULL);
}

static void draw_legend(struct text *page, double y)
{
    svg_shape(page, SVG_DIAMOND, LEFT + 6, y - 5, 12, NULL);
    svg_words(page, LEFT + 17, y, SVG_START, "quiet", "likely did it", 16);
    svg_shape(page, SVG_DOT, LEFT + 112, y - 5, 10, NULL);
    svg_words(page, LEFT + 122, y, SVG_START, "quiet", "other", 8);
}

static void draw_scale(struct text *page, const struct frame *frame)
{
    double bottom = HEAD + (double)frame->shown * ROW;
    struct counts all = frame->review->totals.counts;
    char words[32];

    svg_words(page, LEFT, bottom + 16, SVG_START, "quiet", "none", 8);
    svg_words(page, across(0.5), bottom + 16, SVG_MIDDLE, "quiet", "half lost", 12);
    svg_words(page, RIGHT, bottom + 16, SVG_END, "quiet", "all", 8);
    if (all.total == 0)
        return;
    double share = share_of(all);
    snprintf(words, sizeof words, "all vessels: %.0f %%", 100.0 * share);
    svg_line(page, across(share), HEAD - 4, across(share), bottom, "mean");
    svg_words(page, across(share), HEAD - 8,
              share < 0.2   ? SVG_START
              : share > 0.8 ? SVG_END
                            : SVG_MIDDLE,
              "quiet", words, sizeof words);
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void table_row(struct text *page, const struct frame *frame, size_t l)
{
    enum { WHOLE = 80 };
    const struct review_level *level = &frame->factor->levels[l];
    text_puts(page, "<tr><th scope=\"row\">");
    html_fit(page, label_of(frame, l), WHOLE);
    text_printf(page, "</th><td>%zu of %zu</td>", level->counts.lost, level->counts.total);
    if (level->counts.total > 0)
        text_printf(page, "<td>%.0f %%</td><td>%.0f to %.0f %%</td>",
                    100.0 * share_of(level->counts), 100.0 * level->exact.low,
                    100.0 * level->exact.high);
    else
        text_puts(page, "<td>not known</td><td>not known</td>");
    if (level->controls.total > 0)
        text_printf(page, "<td>%zu of %zu</td>", level->controls.lost, level->controls.total);
    else
        text_puts(page, "<td>none kept</td>");
    text_puts(page, "</tr>\n");
}

static void put_table(struct text *page, const struct frame *frame, const char *title)
{
    static const char *const heads[] = {"Which",           "Lost", "Share", "95 % range",
                                        "Without starter", NULL};
    svg_table(page, title, heads);
    for (size_t l = 0; l < frame->shown; l++)
        table_row(page, frame, l);
    svg_table_end(page);
}

void svg_levels(struct text *page, const struct review *review, const struct review_factor *factor)
{
    enum { NAME_COLUMNS = 60 };
    struct frame frame = {review, factor, &review->dataset->factors[factor->factor],
                          factor->level_count < SHOWN ? factor->level_count : SHOWN, false};
    char id[32];
    struct text title, description;

    text_init(&title);
    text_init(&description);
    snprintf(id, sizeof id, "by-%zu", factor->factor);
    text_puts(&title, "By ");
    text_safe(&title, frame.of->name, strlen(frame.of->name),
              &(struct text_safe_options){.limit = NAME_COLUMNS});
    text_printf(&description,
                "Share of vessels lost for each of %zu, highest first, each with its exact 95 %% "
                "range and its counts. The dashed line is the share of all vessels.",
                frame.shown);
    for (size_t l = 0; l < frame.shown; l++)
        frame.called = frame.called || is_called(&frame, factor->levels[l].level);
    double height = HEAD + (double)frame.shown * ROW + FOOT + (frame.called ? LEGEND : 0);
    svg_begin(page, id, title.bytes, description.bytes, height);
    draw_scale(page, &frame);
    for (size_t l = 0; l < frame.shown; l++)
        draw_row(page, &frame, l);
    if (frame.called)
        draw_legend(page, height - 6);
    svg_end(page);
    if (frame.shown < factor->level_count)
        text_printf(page, "<p class=\"quiet\">and %zu more that lost no larger share</p>\n",
                    factor->level_count - frame.shown);
    put_table(page, &frame, title.bytes);
    text_release(&description);
    text_release(&title);
}
