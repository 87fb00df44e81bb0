/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How long vessels lasted: steps, each curve named at its end, and how many were still watched. */
#include <math.h>
#include <stdio.h>

#include "voice/review_internal.h"
#include "voice/svg_internal.h"

enum {
    LEFT = 44,
    RIGHT = SVG_WIDTH - 120,
    TOP = 12,
    BOTTOM = 190,
    TICKS = 8,
    LINE = 17,
    CURVES = REVIEW_CURVES + 1,
    NAME_COLUMNS = 14,
};

struct frame {
    const struct review *review;
    const struct review_curve *curves[CURVES];
    size_t count;
    double last; /* day drawn */
    bool cut;    /* some were watched longer, and nothing was lost */
    double ticks[TICKS];
    size_t tick_count;
    double label_y[CURVES];
};

static double across(const struct frame *frame, double day)
{
    return LEFT + (RIGHT - LEFT) * day / frame->last;
}

static double down(double survival)
{
    return TOP + (BOTTOM - TOP) * (1.0 - survival);
}

static const struct survival_step *last_step(const struct review_curve *curve)
{
    return &curve->curve.steps[curve->curve.count - 1];
}

/* ---- what goes where --------------------------------------------------------------------------- */

/* The days drawn end some time after the last loss: vessels that nobody looks at any more would
 * press all that happened into a corner. */
static void set_last(struct frame *frame)
{
    static const double beyond = 1.5;
    double loss = 0.0, end = 1.0;
    for (size_t c = 0; c < frame->count; c++) {
        const struct survival_curve *curve = &frame->curves[c]->curve;
        end = fmax(end, last_step(frame->curves[c])->time);
        for (size_t s = 0; s < curve->count; s++)
            if (curve->steps[s].lost > 0)
                loss = fmax(loss, curve->steps[s].time);
    }
    frame->last = loss > 0.0 ? fmin(end, ceil(beyond * loss)) : end;
    frame->last = fmax(frame->last, 1.0);
    frame->cut = frame->last < end;
}

static void set_ticks(struct frame *frame)
{
    enum { MOST = 5 };
    static const double steps[] = {1, 2, 5, 7, 14, 28, 60, 90, 180, 365, 730, 1825, 3650, 36500};
    size_t which = 0;
    while (which + 1 < sizeof steps / sizeof steps[0] && frame->last / steps[which] > MOST)
        which++;
    while (frame->tick_count < TICKS && (double)frame->tick_count * steps[which] <= frame->last) {
        frame->ticks[frame->tick_count] = (double)frame->tick_count * steps[which];
        frame->tick_count++;
    }
}

/* Names stand where their curves end, as near as they can without touching: down in order, then
 * up again from the bottom. */
static void set_labels(struct frame *frame)
{
    size_t order[CURVES] = {0};
    for (size_t c = 0; c < frame->count; c++) {
        size_t at = c;
        frame->label_y[c] = down(last_step(frame->curves[c])->survival) + 4;
        for (; at > 0 && frame->label_y[order[at - 1]] > frame->label_y[c]; at--)
            order[at] = order[at - 1];
        order[at] = c;
    }
    for (size_t i = 1; i < frame->count; i++)
        frame->label_y[order[i]] =
            fmax(frame->label_y[order[i]], frame->label_y[order[i - 1]] + LINE);
    double lowest = BOTTOM + 4;
    for (size_t i = frame->count; i-- > 0;) {
        frame->label_y[order[i]] = fmin(frame->label_y[order[i]], lowest);
        lowest = frame->label_y[order[i]] - LINE;
    }
}

static void set_frame(struct frame *frame, const struct review *review)
{
    frame->review = review;
    for (size_t c = 0; c < review->time.curve_count && frame->count < CURVES; c++)
        if (review->time.curves[c].curve.count > 0)
            frame->curves[frame->count++] = &review->time.curves[c];
    set_last(frame);
    set_ticks(frame);
    set_labels(frame);
}

/* ---- the drawing ----------------------------------------------------------------------------- */

static void draw_scale(struct text *page, const struct frame *frame)
{
    char words[24];
    for (int percent = 0; percent <= 100; percent += 50) {
        double y = down(percent / 100.0);
        snprintf(words, sizeof words, "%d %%", percent);
        svg_line(page, LEFT, y, RIGHT, y, "rail");
        svg_words(page, LEFT - 5, y + 4, SVG_END, "quiet", words, sizeof words);
    }
    for (size_t t = 0; t < frame->tick_count; t++) {
        double x = across(frame, frame->ticks[t]);
        snprintf(words, sizeof words, "%.0f", frame->ticks[t]);
        svg_line(page, x, BOTTOM, x, BOTTOM + 4, "tick");
        svg_words(page, x, BOTTOM + 17, SVG_MIDDLE, "quiet", words, sizeof words);
    }
    svg_words(page, RIGHT + 14, BOTTOM + 17, SVG_START, "quiet", "day", 4);
}

static void draw_curve(struct text *page, const struct frame *frame, size_t c)
{
    const struct survival_curve *curve = &frame->curves[c]->curve;
    text_printf(page, "<path class=\"curve c%zu\" d=\"M%.1f %.1f", c, across(frame, 0.0),
                down(1.0));
    for (size_t s = 0; s < curve->count; s++)
        text_printf(page, "H%.1fV%.1f", across(frame, fmin(curve->steps[s].time, frame->last)),
                    down(curve->steps[s].survival));
    text_puts(page, "\"/>\n");
    for (size_t s = 0; s < curve->count && curve->steps[s].time <= frame->last; s++) {
        double x = across(frame, curve->steps[s].time), y = down(curve->steps[s].survival);
        if (curve->steps[s].censored > 0)
            svg_line(page, x, y - 4, x, y + 4, "tick");
    }
}

static char letter_of(size_t c)
{
    return (char)('A' + (int)c);
}

static void draw_name(struct text *page, const struct frame *frame, size_t c)
{
    double x = across(frame, fmin(last_step(frame->curves[c])->time, frame->last));
    double y = down(last_step(frame->curves[c])->survival);
    struct text words;
    text_init(&words);
    text_printf(&words, "%c ", letter_of(c));
    review_curve_name(&words, frame->review, frame->curves[c]);
    svg_line(page, x, y, RIGHT + 8, frame->label_y[c] - 4, "lead-line");
    svg_words(page, RIGHT + 12, frame->label_y[c], SVG_START, "strong", words.bytes, NAME_COLUMNS);
    text_release(&words);
}

static size_t watched_on(const struct survival_curve *curve, double day)
{
    for (size_t s = 0; s < curve->count; s++)
        if (curve->steps[s].time >= day)
            return curve->steps[s].at_risk;
    return 0;
}

static void draw_watched(struct text *page, const struct frame *frame)
{
    char words[24];
    double y = BOTTOM + 42;
    svg_words(page, LEFT - 36, y, SVG_START, "quiet",
              "Still watched and not lost on that day:", 44);
    for (size_t c = 0; c < frame->count; c++) {
        y += LINE;
        snprintf(words, sizeof words, "%c", letter_of(c));
        svg_words(page, LEFT - 36, y, SVG_START, "strong", words, 2);
        for (size_t t = 0; t < frame->tick_count; t++) {
            snprintf(words, sizeof words, "%zu",
                     watched_on(&frame->curves[c]->curve, frame->ticks[t]));
            svg_words(page, across(frame, frame->ticks[t]), y, SVG_MIDDLE, "plain", words,
                      sizeof words);
        }
    }
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void table_rows(struct text *page, const struct frame *frame, size_t c)
{
    const struct survival_curve *curve = &frame->curves[c]->curve;
    struct text words;
    text_init(&words);
    for (size_t t = 0; t < frame->tick_count; t++) {
        double day = frame->ticks[t];
        text_puts(page, "<tr>");
        text_printf(&words, "%c ", letter_of(c));
        review_curve_name(&words, frame->review, frame->curves[c]);
        html_take(page, "th", "scope=\"row\"", &words);
        text_printf(page, "<td>%.0f</td><td>%zu</td>", day, watched_on(curve, day));
        if (day <= last_step(frame->curves[c])->time)
            text_printf(page, "<td>%.0f %%</td></tr>\n", 100.0 * survival_at(curve, day));
        else
            text_puts(page, "<td>not watched so long</td></tr>\n");
    }
    text_release(&words);
}

void svg_curves(struct text *page, const struct review *review)
{
    static const char title[] = "Share not lost, by days since inoculation";
    static const char *const heads[] = {"Which", "Day", "Watched", "Not lost", NULL};
    struct frame frame = {0};
    char description[200];

    set_frame(&frame, review);
    if (frame.count == 0)
        return;
    snprintf(description, sizeof description,
             "%zu %s that step down whenever a loss was seen, from day 0 to day %.0f. A short "
             "upright mark: a vessel was used, or is not older.",
             frame.count, frame.count == 1 ? "line" : "lines", frame.last);
    svg_begin(page, "curves-chart", title, description, BOTTOM + 52 + (double)frame.count * LINE);
    draw_scale(page, &frame);
    for (size_t c = 0; c < frame.count; c++)
        draw_curve(page, &frame, c);
    for (size_t c = 0; c < frame.count; c++)
        draw_name(page, &frame, c);
    draw_watched(page, &frame);
    svg_end(page);
    text_puts(page, "<p class=\"quiet\">A step down: losses seen that day. A short upright mark: "
                    "vessels used by then, or no older.</p>\n");
    if (frame.cut)
        text_printf(page,
                    "<p class=\"quiet\">Some were watched longer than %.0f days; none was lost "
                    "then.</p>\n",
                    frame.last);
    svg_table(page, title, heads);
    for (size_t c = 0; c < frame.count; c++)
        table_rows(page, &frame, c);
    svg_table_end(page);
}
