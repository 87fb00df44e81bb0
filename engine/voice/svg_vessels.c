/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every vessel, batch by batch in order of time: one mark a vessel, its shape says its fate. */
#include <stdio.h>
#include <string.h>

#include "voice/svg_internal.h"

enum {
    LEFT = 8,
    RIGHT = SVG_WIDTH - 8,
    STEP = 16, /* from mark to mark */
    A_LINE = (RIGHT - LEFT) / STEP,
    LINES = 3,
    MARKED = A_LINE * LINES, /* of one batch */
    LINE = 18,
    TITLE = 24,
    LEGEND = 84,
    SHOWN = 40,
};

struct tally { /* of the vessels of one batch */
    size_t all, fate[FATE_COUNT + 1];
};

static const char *fate_word(size_t fate)
{
    static const char *const words[FATE_COUNT + 1] = {
        [FATE_OPEN] = "open",
        [FATE_SOUND] = "sound",
        [FATE_STUCK] = "did not grow",
        [FATE_CONTAMINATED] = "contaminated",
        [FATE_UNTOLD] = "lost, why untold",
        [FATE_COUNT] = "not written down",
    };
    return words[fate <= FATE_COUNT ? fate : FATE_COUNT];
}

static enum svg_shape fate_shape(size_t fate)
{
    static const enum svg_shape shapes[FATE_COUNT + 1] = {
        [FATE_OPEN] = SVG_RING,          [FATE_SOUND] = SVG_DOT,      [FATE_STUCK] = SVG_TRIANGLE,
        [FATE_CONTAMINATED] = SVG_CROSS, [FATE_UNTOLD] = SVG_DIAMOND, [FATE_COUNT] = SVG_QUERY,
    };
    return shapes[fate <= FATE_COUNT ? fate : FATE_COUNT];
}

static bool belongs(const struct dataset *dataset, size_t vessel, uint32_t batch)
{
    return dataset->factors[dataset->batch].level[vessel] == batch;
}

static struct tally tally_of(const struct dataset *dataset, uint32_t batch)
{
    struct tally tally = {0};
    for (size_t v = 0; v < dataset->vessel_count; v++)
        if (belongs(dataset, v, batch)) {
            tally.all++;
            tally.fate[dataset->fate[v] <= FATE_COUNT ? dataset->fate[v] : FATE_COUNT]++;
        }
    return tally;
}

static double height_of(const struct tally *tally)
{
    size_t marked = tally->all < MARKED ? tally->all : MARKED;
    size_t lines = (marked + A_LINE - 1) / A_LINE + (marked < tally->all ? 1 : 0);
    return TITLE + (double)lines * LINE;
}

/* ---- the drawing ----------------------------------------------------------------------------- */

static void draw_legend(struct text *page)
{
    enum { A_ROW = 2, ACROSS = 150 };
    for (size_t fate = 0; fate <= FATE_COUNT; fate++) {
        double x = LEFT + 6 + (double)(fate % A_ROW) * ACROSS;
        size_t row = fate / A_ROW;
        double y = 10 + (double)row * LINE;
        svg_shape(page, fate_shape(fate), x, y, 11, NULL);
        svg_words(page, x + 11, y + 5, SVG_START, "small", fate_word(fate), 20);
    }
    double y = 10 + 3 * LINE;
    svg_box(page, LEFT - 1, y - 7, 14, 14, "frame");
    svg_words(page, LEFT + 17, y + 5, SVG_START, "small", "framed: without starter, a control", 40);
}

static void draw_vessel(struct text *page, const struct dataset *dataset, size_t vessel, double x,
                        double y)
{
    enum { LABEL = 60 };
    const char *label = dataset->labels[vessel];
    struct text title;
    text_init(&title);
    text_safe(&title, label, strlen(label), &(struct text_safe_options){.limit = LABEL});
    text_printf(&title, "%s%s", title.length > 0 ? ": " : "", fate_word(dataset->fate[vessel]));
    if (dataset->control[vessel])
        text_puts(&title, ", without starter");
    if (dataset->entered[vessel] != DAY_NONE && dataset->ended[vessel] != DAY_NONE)
        text_printf(&title, ", day %lld",
                    (long long)dataset->ended[vessel] - dataset->entered[vessel]);
    if (dataset->control[vessel])
        svg_box(page, x - 7, y - 7, 14, 14, "frame");
    svg_shape(page, fate_shape(dataset->fate[vessel]), x, y, 11, title.bytes);
    text_release(&title);
}

static void draw_batch(struct text *page, const struct review *review,
                       const struct review_batch *batch, const struct tally *tally, double top)
{
    const struct dataset *dataset = review->dataset;
    char words[64], day[REVIEW_DAY_ROOM];
    size_t drawn = 0;

    svg_line(page, LEFT, top, RIGHT, top, "rail");
    svg_words(page, LEFT, top + 17, SVG_START, "strong",
              dataset->factors[dataset->batch].levels[batch->level], 13);
    svg_words(page, LEFT + 122, top + 17, SVG_START, "small", voice_review_date(batch->day, day),
              12);
    snprintf(words, sizeof words, "%zu of %zu lost", batch->counts.lost, batch->counts.total);
    svg_words(page, RIGHT, top + 17, SVG_END, "plain", words, sizeof words);
    for (size_t v = 0; v < dataset->vessel_count && drawn < MARKED; v++)
        if (belongs(dataset, v, batch->level)) {
            size_t column = drawn % A_LINE, line = drawn / A_LINE;
            draw_vessel(page, dataset, v, LEFT + 7 + (double)column * STEP,
                        top + TITLE + 8 + (double)line * LINE);
            drawn++;
        }
    if (drawn < tally->all) {
        snprintf(words, sizeof words, "and %zu more", tally->all - drawn);
        svg_words(page, LEFT, top + TITLE + 13 + LINES * LINE, SVG_START, "quiet", words, 40);
    }
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void table_row(struct text *page, const struct review *review,
                      const struct review_batch *batch, const struct tally *tally)
{
    enum { WHOLE = 80 };
    const struct dataset *dataset = review->dataset;
    const char *joint = "";
    text_puts(page, "<tr><th scope=\"row\">");
    html_fit(page, dataset->factors[dataset->batch].levels[batch->level], WHOLE);
    text_printf(page, "</th><td>%zu</td><td>", tally->all);
    for (size_t fate = 0; fate <= FATE_COUNT; fate++)
        if (tally->fate[fate] > 0) {
            text_printf(page, "%s%zu %s", joint, tally->fate[fate], fate_word(fate));
            joint = ", ";
        }
    text_printf(page, "</td><td>%zu of %zu</td></tr>\n", batch->controls.lost,
                batch->controls.total);
}

void svg_vessels(struct text *page, const struct review *review)
{
    static const char title[] = "Every vessel of each batch, oldest batch first";
    static const char *const heads[] = {"Batch", "Vessels", "What became of them",
                                        "Lost without starter", NULL};
    struct tally tallies[SHOWN];
    size_t from = review->batch_count > SHOWN ? review->batch_count - SHOWN : 0;
    size_t shown = review->batch_count - from;
    double height = LEGEND;
    char description[200];

    for (size_t b = 0; b < shown; b++) {
        tallies[b] = tally_of(review->dataset, review->batches[from + b].level);
        height += height_of(&tallies[b]);
    }
    snprintf(description, sizeof description,
             "%zu batches in order of time, each with one mark for each vessel; the shape of the "
             "mark says what became of it.",
             shown);
    svg_begin(page, "vessels-chart", title, description, height + 4);
    draw_legend(page);
    height = LEGEND;
    for (size_t b = 0; b < shown; b++) {
        draw_batch(page, review, &review->batches[from + b], &tallies[b], height);
        height += height_of(&tallies[b]);
    }
    svg_end(page);
    if (from > 0)
        text_printf(page, "<p class=\"quiet\">The last %d of %zu batches.</p>\n", (int)SHOWN,
                    review->batch_count);
    svg_table(page, title, heads);
    for (size_t b = 0; b < shown; b++)
        table_row(page, review, &review->batches[from + b], &tallies[b]);
    svg_table_end(page);
}
