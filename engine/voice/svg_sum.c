/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Since when: the running sum of evidence that losses are above the usual. */
#include <math.h>
#include <stdio.h>

#include "voice/svg_internal.h"

enum { LEFT = 8, RIGHT = SVG_WIDTH - 8, TOP = 26, BOTTOM = 170, BINS = 300, EPISODES = 10 };

struct frame {
    const struct review *review;
    const struct review_watch *watch;
    double most; /* steps at the top */
};

static double across(const struct frame *frame, size_t at)
{
    return LEFT + (RIGHT - LEFT) * ((double)at / (double)frame->watch->count);
}

static double down(const struct frame *frame, double steps)
{
    return BOTTOM - (BOTTOM - TOP) * steps / frame->most;
}

static const char *day_of(const struct frame *frame, size_t at, char room[REVIEW_DAY_ROOM])
{
    const struct review_watch *watch = frame->watch;
    if (at >= watch->count)
        at = watch->count - 1;
    return voice_review_day(frame->review->dataset->entered[watch->vessels[at]], room);
}

/* At most BINS points: of each stretch the highest. */
static void draw_sum(struct text *page, const struct frame *frame)
{
    const struct review_watch *watch = frame->watch;
    size_t bins = watch->count < BINS ? watch->count : BINS;
    text_printf(page, "<path class=\"curve c0\" d=\"M%.1f %.1f", across(frame, 0),
                down(frame, 0.0));
    for (size_t b = 0; b < bins; b++) {
        size_t begin = b * watch->count / bins, end = (b + 1) * watch->count / bins;
        size_t highest = 0;
        for (size_t i = begin; i < end; i++)
            highest = watch->sums[i] > highest ? watch->sums[i] : highest;
        text_printf(page, "L%.1f %.1f", across(frame, end), down(frame, (double)highest));
    }
    text_puts(page, "\"/>\n");
}

static void draw_frame(struct text *page, const struct frame *frame)
{
    char day[REVIEW_DAY_ROOM];
    double threshold = down(frame, (double)frame->watch->plan.threshold);
    svg_line(page, LEFT, BOTTOM, RIGHT, BOTTOM, "tick");
    svg_line(page, LEFT, threshold, RIGHT, threshold, "mean");
    svg_words(page, RIGHT, threshold - 6, SVG_END, "quiet", "signals above this line", 30);
    svg_words(page, LEFT, BOTTOM + 17, SVG_START, "quiet", day_of(frame, 0, day), 20);
    svg_words(page, RIGHT, BOTTOM + 17, SVG_END, "quiet", day_of(frame, frame->watch->count, day),
              20);
}

static void draw_since(struct text *page, const struct frame *frame)
{
    const struct review_watch *watch = frame->watch;
    char day[REVIEW_DAY_ROOM], words[REVIEW_DAY_ROOM + 16];
    if (watch->episode_count == 0)
        return;
    size_t began = watch->episodes[watch->episode_count - 1].began;
    double x = across(frame, began);
    snprintf(words, sizeof words, "since %s", day_of(frame, began, day));
    svg_line(page, x, TOP - 4, x, BOTTOM, "since");
    svg_words(page, x, TOP - 10, x < SVG_WIDTH / 2.0 ? SVG_START : SVG_END, "strong", words,
              sizeof words);
}

static void table_row(struct text *page, const struct frame *frame,
                      const struct monitor_episode *episode)
{
    char day[REVIEW_DAY_ROOM];
    text_printf(page, "<tr><th scope=\"row\">%s</th>", day_of(frame, episode->began, day));
    text_printf(page, "<td>%s</td>", day_of(frame, episode->signalled, day));
    text_printf(page, "<td>%s, %.1f</td>", day_of(frame, episode->worst, day),
                (double)episode->highest * frame->watch->plan.step);
    text_printf(page, "<td>%s</td></tr>\n",
                episode->ended < frame->watch->count ? day_of(frame, episode->ended, day)
                                                     : "not yet");
}

static void put_table(struct text *page, const struct frame *frame, const char *title)
{
    static const char *const heads[] = {"Began", "Signalled", "Highest", "Back to usual", NULL};
    const struct review_watch *watch = frame->watch;
    size_t from = watch->episode_count > EPISODES ? watch->episode_count - EPISODES : 0;
    svg_table(page, title, heads);
    for (size_t e = from; e < watch->episode_count; e++)
        table_row(page, frame, &watch->episodes[e]);
    if (watch->episode_count == 0)
        text_puts(page, "<tr><th scope=\"row\">never</th><td>never</td><td>below the line</td>"
                        "<td>always was</td></tr>\n");
    svg_table_end(page);
}

void svg_sum(struct text *page, const struct review *review)
{
    static const char title[] = "Evidence of too many losses, vessel by vessel";
    struct frame frame = {review, &review->watch, 0.0};
    char description[220];

    if (!review->watch.asked || review->watch.count == 0)
        return;
    frame.most = 1.15 * (double)review->watch.plan.threshold;
    for (size_t i = 0; i < review->watch.count; i++)
        frame.most = fmax(frame.most, 1.05 * (double)review->watch.sums[i]);
    snprintf(description, sizeof description,
             "A line over %zu vessels in order of time: it rises with each lost vessel and falls "
             "with each sound one. Above the dashed line it signals; it did so %zu %s.",
             review->watch.count, review->watch.episode_count,
             review->watch.episode_count == 1 ? "time" : "times");
    svg_begin(page, "sum-chart", title, description, BOTTOM + 26);
    draw_frame(page, &frame);
    draw_sum(page, &frame);
    draw_since(page, &frame);
    svg_end(page);
    put_table(page, &frame, title);
}
