/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/charts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "view/review_internal.h"
#include "view/verdict.h"

/* ==== chart =================================================================================== */

enum { MOST_ROWS = 24, MOST_COLUMNS = 72, AXIS = 7 }; /* AXIS: columns of "  100 |" */

static double value_at(const struct chart_series *series, double share)
{
    double place = share * (double)(series->count - 1);
    size_t at = (size_t)place;
    if (at + 1 >= series->count)
        return series->values[series->count - 1];
    double part = place - (double)at;
    return (1.0 - part) * series->values[at] + part * series->values[at + 1];
}

static void plot(const struct chart *chart, const struct chart_series *series,
                 char cells[MOST_ROWS][MOST_COLUMNS + 1], size_t rows, size_t columns)
{
    for (size_t column = 0; column < columns; column++) {
        double y = value_at(series, (double)column / (double)(columns - 1));
        double up = (y - chart->y_from) / (chart->y_to - chart->y_from) * (double)(rows - 1);
        if (!(up > -0.5 && up < (double)rows - 0.5))
            continue;
        cells[rows - 1 - (size_t)lround(up)][column] = series->mark;
    }
}

static void axis_below(struct screen *screen, const struct chart *chart, size_t columns)
{
    char line[AXIS + MOST_COLUMNS + 32], right[32];

    memset(line, '-', AXIS + columns);
    memset(line, ' ', AXIS - 1);
    line[AXIS - 1] = '+';
    line[AXIS + columns] = '\0';
    screen_preformatted(screen, 0, line);
    int length = snprintf(right, sizeof right, "%.4g %s", chart->x_to, chart->x_unit);
    int room = (int)(AXIS + columns) - length;
    snprintf(line, sizeof line, "%*s%-*.4g%s", AXIS, "", room > AXIS ? room - AXIS : 0,
             chart->x_from, right);
    screen_preformatted(screen, 0, line);
}

void chart_draw(struct screen *screen, const struct chart *chart, size_t rows)
{
    char cells[MOST_ROWS][MOST_COLUMNS + 1], line[AXIS + MOST_COLUMNS + 2];

    if (screen->width < CHART_NARROWEST || rows < 2 || rows > MOST_ROWS)
        return;
    size_t columns = screen->width - AXIS - 1;
    if (columns > MOST_COLUMNS - AXIS)
        columns = MOST_COLUMNS - AXIS;
    memset(cells, ' ', sizeof cells);
    for (size_t i = 0; i < chart->count; i++)
        if (chart->series[i].count >= 2)
            plot(chart, &chart->series[i], cells, rows, columns);
    screen_preformatted(screen, 0, chart->y_unit);
    for (size_t row = 0; row < rows; row++) {
        double y = chart->y_to - (chart->y_to - chart->y_from) * (double)row / (double)(rows - 1);
        size_t end = columns;
        while (end > 0 && cells[row][end - 1] == ' ')
            end--;
        if (row % 3 == 0 || row + 1 == rows)
            snprintf(line, sizeof line, "%5.0f |%.*s", y, (int)end, cells[row]);
        else
            snprintf(line, sizeof line, "%5s |%.*s", "", (int)end, cells[row]);
        screen_preformatted(screen, 0, line);
    }
    axis_below(screen, chart, columns);
    for (size_t i = 0; i < chart->count; i++)
        if (chart->series[i].label != NULL)
            screen_say(screen, AXIS, 3, ROLE_QUIET, "%c  %s", chart->series[i].mark,
                       chart->series[i].label);
}

/* ==== svg draw ================================================================================ */

/* Lines, words and shapes that every chart is made of. */

/* ---- a figure -------------------------------------------------------------------------------- */

void svg_begin(struct text *page, const char *id, const char *title, const char *description,
               double height)
{
    text_puts(page, "<figure>\n");
    html_element(page, "figcaption", NULL, title);
    text_printf(page,
                "<svg role=\"img\" aria-labelledby=\"%s-title %s-desc\" viewBox=\"0 0 %d %.0f\">\n"
                "<title id=\"%s-title\">",
                id, id, SVG_WIDTH, height, id);
    html_text(page, title);
    text_printf(page, "</title>\n<desc id=\"%s-desc\">", id);
    html_text(page, description);
    text_puts(page, "</desc>\n");
}

void svg_end(struct text *page)
{
    text_puts(page, "</svg>\n");
}

void svg_table(struct text *page, const char *caption, const char *const *heads)
{
    text_puts(page, "<details><summary>The same figures as a table</summary>\n<table>\n");
    html_element(page, "caption", NULL, caption);
    text_puts(page, "<thead><tr>");
    for (size_t i = 0; heads[i] != NULL; i++)
        html_element(page, "th", "scope=\"col\"", heads[i]);
    text_puts(page, "</tr></thead>\n<tbody>\n");
}

void svg_table_end(struct text *page)
{
    text_puts(page, "</tbody>\n</table>\n</details>\n</figure>\n");
}

/* ---- parts ----------------------------------------------------------------------------------- */

void svg_words(struct text *page, double x, double y, enum svg_anchor anchor, const char *style,
               const char *words, size_t columns)
{
    enum { WHOLE = 200 };
    static const char *const anchors[] = {"", " text-anchor=\"middle\"", " text-anchor=\"end\""};
    struct text shown;
    text_init(&shown);
    bool cut = html_fit(&shown, words, columns);
    text_printf(page, "<text x=\"%.1f\" y=\"%.1f\"%s class=\"%s\">", x, y, anchors[anchor], style);
    if (cut) {
        text_puts(page, "<title>");
        html_fit(page, words, WHOLE);
        text_puts(page, "</title>");
    }
    text_add(page, shown.bytes, shown.length);
    text_puts(page, "</text>\n");
    page->failed = page->failed || shown.failed;
    text_release(&shown);
}

void svg_line(struct text *page, double x1, double y1, double x2, double y2, const char *style)
{
    text_printf(page, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", x1,
                y1, x2, y2, style);
}

void svg_box(struct text *page, double x, double y, double width, double height, const char *style)
{
    text_printf(page, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"%s\"/>\n",
                x, y, width > 0.0 ? width : 0.0, height, style);
}

/* ---- shapes ---------------------------------------------------------------------------------- */

static void put_shape(struct text *page, enum svg_shape shape, double x, double y, double r)
{
    switch (shape) {
    case SVG_DOT:
        text_printf(page, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" class=\"fine\"/>", x, y,
                    0.8 * r);
        break;
    case SVG_RING:
        text_printf(page, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" class=\"open\"/>", x, y,
                    0.8 * r);
        break;
    case SVG_CROSS:
        text_printf(page, "<path d=\"M%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1f\" class=\"bad\"/>",
                    x - r, y - r, x + r, y + r, x - r, y + r, x + r, y - r);
        break;
    case SVG_TRIANGLE:
        text_printf(page, "<path d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1fZ\" class=\"stuck\"/>", x, y - r,
                    x + r, y + r, x - r, y + r);
        break;
    case SVG_DIAMOND:
        text_printf(page, "<path d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1fL%.1f %.1fZ\" class=\"stuck\"/>",
                    x, y - r, x + r, y, x, y + r, x - r, y);
        break;
    case SVG_QUERY:
        text_printf(page, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">?</text>", x, y + r);
        break;
    }
}

void svg_shape(struct text *page, enum svg_shape shape, double x, double y, double size,
               const char *title)
{
    enum { WHOLE = 120 };
    if (title == NULL) {
        put_shape(page, shape, x, y, size / 2.0);
    } else {
        text_puts(page, "<g><title>");
        html_fit(page, title, WHOLE);
        text_puts(page, "</title>");
        put_shape(page, shape, x, y, size / 2.0);
        text_puts(page, "</g>");
    }
    text_puts(page, "\n");
}

/* ==== svg batches ============================================================================= */

/* A control chart: one row a batch in order of time, its share lost against what chance gives. */

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

static void batches_row(struct text *page, const struct review *review,
                        const struct review_batch *batch)
{
    enum { WHOLE = 80 };
    char day[MOMENT_ROOM];
    text_puts(page, "<tr><th scope=\"row\">");
    html_fit(page, label_of(review, batch), WHOLE);
    day_write(batch->day, DAY_ISO, day);
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
        batches_row(page, review, &review->batches[b]);
    svg_table_end(page);
}

/* ==== svg curves ============================================================================== */

/* How long vessels lasted: steps, each curve named at its end, and how many were still watched. */

enum {
    CURVES_LEFT = 44,
    CURVES_RIGHT = SVG_WIDTH - 120,
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

static double curves_across(const struct frame *frame, double day)
{
    return CURVES_LEFT + (CURVES_RIGHT - CURVES_LEFT) * day / frame->last;
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

static void curves_draw_scale(struct text *page, const struct frame *frame)
{
    char words[24];
    for (int percent = 0; percent <= 100; percent += 50) {
        double y = down(percent / 100.0);
        snprintf(words, sizeof words, "%d %%", percent);
        svg_line(page, CURVES_LEFT, y, CURVES_RIGHT, y, "rail");
        svg_words(page, CURVES_LEFT - 5, y + 4, SVG_END, "quiet", words, sizeof words);
    }
    for (size_t t = 0; t < frame->tick_count; t++) {
        double x = curves_across(frame, frame->ticks[t]);
        snprintf(words, sizeof words, "%.0f", frame->ticks[t]);
        svg_line(page, x, BOTTOM, x, BOTTOM + 4, "tick");
        svg_words(page, x, BOTTOM + 17, SVG_MIDDLE, "quiet", words, sizeof words);
    }
    svg_words(page, CURVES_RIGHT + 14, BOTTOM + 17, SVG_START, "quiet", "day", 4);
}

static void draw_curve(struct text *page, const struct frame *frame, size_t c)
{
    const struct survival_curve *curve = &frame->curves[c]->curve;
    text_printf(page, "<path class=\"curve c%zu\" d=\"M%.1f %.1f", c, curves_across(frame, 0.0),
                down(1.0));
    for (size_t s = 0; s < curve->count; s++)
        text_printf(page, "H%.1fV%.1f",
                    curves_across(frame, fmin(curve->steps[s].time, frame->last)),
                    down(curve->steps[s].survival));
    text_puts(page, "\"/>\n");
    for (size_t s = 0; s < curve->count && curve->steps[s].time <= frame->last; s++) {
        double x = curves_across(frame, curve->steps[s].time), y = down(curve->steps[s].survival);
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
    double x = curves_across(frame, fmin(last_step(frame->curves[c])->time, frame->last));
    double y = down(last_step(frame->curves[c])->survival);
    struct text words;
    text_init(&words);
    text_printf(&words, "%c ", letter_of(c));
    review_curve_name(&words, frame->review, frame->curves[c]);
    svg_line(page, x, y, CURVES_RIGHT + 8, frame->label_y[c] - 4, "lead-line");
    svg_words(page, CURVES_RIGHT + 12, frame->label_y[c], SVG_START, "strong", words.bytes,
              NAME_COLUMNS);
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
    svg_words(page, CURVES_LEFT - 36, y, SVG_START, "quiet",
              "Still watched and not lost on that day:", 44);
    for (size_t c = 0; c < frame->count; c++) {
        y += LINE;
        snprintf(words, sizeof words, "%c", letter_of(c));
        svg_words(page, CURVES_LEFT - 36, y, SVG_START, "strong", words, 2);
        for (size_t t = 0; t < frame->tick_count; t++) {
            snprintf(words, sizeof words, "%zu",
                     watched_on(&frame->curves[c]->curve, frame->ticks[t]));
            svg_words(page, curves_across(frame, frame->ticks[t]), y, SVG_MIDDLE, "plain", words,
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
    curves_draw_scale(page, &frame);
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

/* ==== svg faults ============================================================================== */

/* What did it, surest first: how many vessels each cost, with a range. */

enum {
    FAULTS_LEFT = 8,
    FAULTS_RIGHT = SVG_WIDTH - 8,
    FAULTS_HEAD = 4,
    FAULTS_ROW = 78,

    COLUMNS = 42,
};

static double whole(double vessels)
{
    return floor(vessels + 0.5);
}

static double most_saved(const struct review *review)
{
    double most = 1.0;
    for (size_t k = 0; k < review->fault_count; k++)
        most = fmax(most, whole(review->faults[k].saved_high));
    return most;
}

static void put_name(struct text *words, const struct review *review, size_t k)
{
    text_printf(words, "%zu. ", k + 1);
    view_suspects(words, review, &review->faults[k], false);
}

static void put_causes(struct text *words, const struct review *review,
                       const struct review_fault *fault)
{
    enum { MOST = 2 };
    static const double worth_a_word = 0.05;
    char percent[PERCENT_ROOM];
    for (size_t c = 0; c < fault->cause_count && c < MOST; c++)
        if (c == 0 || fault->causes[c].p >= worth_a_word)
            text_printf(words, "%s%s (%s)", c > 0 ? ", " : "",
                        review->rules->causes[fault->causes[c].cause].name,
                        view_percent(fault->causes[c].p, percent));
}

static void take_words(struct text *page, double y, const char *style, struct text *words)
{
    svg_words(page, FAULTS_LEFT, y, SVG_START, style, words->bytes != NULL ? words->bytes : "",
              COLUMNS);
    page->failed = page->failed || words->failed;
    text_clear(words);
}

static void draw_fault(struct text *page, const struct review *review, size_t k, double most)
{
    enum { BAR = 14, FIGURES = 108 };
    const struct review_fault *fault = &review->faults[k];
    double top = FAULTS_HEAD + (double)k * FAULTS_ROW,
           scale = (FAULTS_RIGHT - FAULTS_LEFT - FIGURES) / most;
    double middle = top + 45 + BAR / 2.0;
    double low = FAULTS_LEFT + scale * whole(fault->saved_low);
    double high = FAULTS_LEFT + scale * whole(fault->saved_high);
    char percent[PERCENT_ROOM], figures[48];
    struct text words;

    text_init(&words);
    put_name(&words, review, k);
    take_words(page, top + 16, "strong", &words);
    text_printf(&words, "%s (%s)", view_spoken(review->rules, fault->p),
                view_percent(fault->p, percent));
    take_words(page, top + 33, "quiet", &words);
    svg_box(page, FAULTS_LEFT, middle - BAR / 2.0, scale * whole(fault->saved), BAR, "bar");
    svg_line(page, low, middle, high, middle, "whisker");
    svg_line(page, low, middle - 5, low, middle + 5, "whisker");
    svg_line(page, high, middle - 5, high, middle + 5, "whisker");
    snprintf(figures, sizeof figures, "%.0f (%.0f to %.0f)", whole(fault->saved),
             whole(fault->saved_low), whole(fault->saved_high));
    svg_words(page, FAULTS_RIGHT, middle + 5, SVG_END, "plain", figures, sizeof figures);
    text_release(&words);
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void faults_table_row(struct text *page, const struct review *review, size_t k)
{
    const struct review_fault *fault = &review->faults[k];
    const struct review_suspect *first = &fault->suspects[0];
    char percent[PERCENT_ROOM];
    struct text words;

    text_init(&words);
    text_puts(page, "<tr>");
    put_name(&words, review, k);
    html_take(page, "th", "scope=\"row\"", &words);
    text_puts(page, "<td>");
    html_text(page, view_percent(fault->p, percent));
    text_printf(page, "</td><td>%zu of %zu</td><td>%zu of %zu</td><td>%.0f (%.0f to %.0f)</td>",
                first->inside.lost, first->inside.total, first->outside.lost, first->outside.total,
                whole(fault->saved), whole(fault->saved_low), whole(fault->saved_high));
    put_causes(&words, review, fault);
    html_element(page, "td", NULL, words.length > 0 ? words.bytes : "not known");
    text_puts(page, "</tr>\n");
    text_release(&words);
}

void svg_faults(struct text *page, const struct review *review)
{
    static const char title[] = "Vessels that each of them cost";
    static const char *const heads[] = {"What",         "How sure", "It lost", "The rest lost",
                                        "Cost (range)", "Why",      NULL};
    double most = most_saved(review),
           bottom = FAULTS_HEAD + (double)review->fault_count * FAULTS_ROW;
    char description[160];

    snprintf(description, sizeof description,
             "%zu bars, surest first: vessels that would not have been lost without it, each with "
             "its 90 %% range.",
             review->fault_count);
    svg_begin(page, "faults-chart", title, description, bottom + 10);
    for (size_t k = 0; k < review->fault_count; k++)
        draw_fault(page, review, k, most);
    svg_end(page);
    text_puts(page, "<p class=\"quiet\">The bar is the number expected, the line across it the "
                    "90 % range. Where two stand together, the counts in the table are the "
                    "likelier one&#39;s.</p>\n");
    svg_table(page, title, heads);
    for (size_t k = 0; k < review->fault_count; k++)
        faults_table_row(page, review, k);
    svg_table_end(page);
}

/* ==== svg levels ============================================================================== */

/* Losses by level of a factor: a share with its interval, the counts beside it. */

enum {
    LEVELS_LEFT = 8,
    LEVELS_RIGHT = SVG_WIDTH - 8,
    LEVELS_HEAD = 22,
    LEVELS_ROW = 36,
    LEVELS_FOOT = 24,
    LEGEND = 20,
    LEVELS_SHOWN = 12,
};

struct levels_frame {
    const struct review *review;
    const struct review_factor *factor;
    const struct factor *of;
    size_t shown;
    bool called; /* some level of it */
};

static double levels_across(double share)
{
    return LEVELS_LEFT + share * (LEVELS_RIGHT - LEVELS_LEFT);
}

static double share_of(struct counts counts)
{
    return (double)counts.lost / (double)counts.total;
}

static const char *levels_label_of(const struct levels_frame *levels_frame, size_t l)
{
    return levels_frame->of->levels[levels_frame->factor->levels[l].level];
}

/* Whether a level is among what did it. */
static bool is_called(const struct levels_frame *levels_frame, uint32_t level)
{
    const struct review *review = levels_frame->review;
    for (size_t k = 0; k < review->fault_count; k++)
        for (size_t s = 0; s < review->faults[k].suspect_count; s++)
            if (review->faults[k].suspects[s].factor == levels_frame->factor->factor &&
                review->faults[k].suspects[s].level == level)
                return true;
    return false;
}

/* ---- the drawing ----------------------------------------------------------------------------- */

/* Columns that a label may take, given what stands at the right end of its line. */
static size_t columns_beside(const char *counts, bool strong)
{
    enum { LEAST = 8 };
    size_t column = strong ? 8 : 7, most = (LEVELS_RIGHT - LEVELS_LEFT) / column - 2,
           taken = strlen(counts);
    return taken + LEAST < most ? most - taken : LEAST;
}

static void levels_draw_row(struct text *page, const struct levels_frame *levels_frame, size_t l)
{
    const struct review_level *level = &levels_frame->factor->levels[l];
    bool called = is_called(levels_frame, level->level);
    double top = LEVELS_HEAD + (double)l * LEVELS_ROW, middle = top + 26;
    char counts[64];

    if (level->counts.total == 0)
        snprintf(counts, sizeof counts, "without starter %zu of %zu", level->controls.lost,
                 level->controls.total);
    else
        snprintf(counts, sizeof counts, "%zu of %zu, %.0f %%", level->counts.lost,
                 level->counts.total, 100.0 * share_of(level->counts));
    svg_words(page, LEVELS_LEFT, top + 15, SVG_START, called ? "strong" : "plain",
              levels_label_of(levels_frame, l), columns_beside(counts, called));
    svg_words(page, LEVELS_RIGHT, top + 15, SVG_END, "plain", counts, sizeof counts);
    if (level->counts.total == 0)
        return;
    svg_line(page, LEVELS_LEFT, middle, LEVELS_RIGHT, middle, "rail");
    svg_line(page, levels_across(level->exact.low), middle, levels_across(level->exact.high),
             middle, called ? "range called" : "range");
    svg_shape(page, called ? SVG_DIAMOND : SVG_DOT, levels_across(share_of(level->counts)), middle,
              called ? 13 : 10, NULL);
}

static void draw_legend(struct text *page, double y)
{
    svg_shape(page, SVG_DIAMOND, LEVELS_LEFT + 6, y - 5, 12, NULL);
    svg_words(page, LEVELS_LEFT + 17, y, SVG_START, "quiet", "likely did it", 16);
    svg_shape(page, SVG_DOT, LEVELS_LEFT + 112, y - 5, 10, NULL);
    svg_words(page, LEVELS_LEFT + 122, y, SVG_START, "quiet", "other", 8);
}

static void levels_draw_scale(struct text *page, const struct levels_frame *levels_frame)
{
    double bottom = LEVELS_HEAD + (double)levels_frame->shown * LEVELS_ROW;
    struct counts all = levels_frame->review->totals.counts;
    char words[32];

    svg_words(page, LEVELS_LEFT, bottom + 16, SVG_START, "quiet", "none", 8);
    svg_words(page, levels_across(0.5), bottom + 16, SVG_MIDDLE, "quiet", "half lost", 12);
    svg_words(page, LEVELS_RIGHT, bottom + 16, SVG_END, "quiet", "all", 8);
    if (all.total == 0)
        return;
    double share = share_of(all);
    snprintf(words, sizeof words, "all vessels: %.0f %%", 100.0 * share);
    svg_line(page, levels_across(share), LEVELS_HEAD - 4, levels_across(share), bottom, "mean");
    svg_words(page, levels_across(share), LEVELS_HEAD - 8,
              share < 0.2   ? SVG_START
              : share > 0.8 ? SVG_END
                            : SVG_MIDDLE,
              "quiet", words, sizeof words);
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void levels_table_row(struct text *page, const struct levels_frame *levels_frame, size_t l)
{
    enum { WHOLE = 80 };
    const struct review_level *level = &levels_frame->factor->levels[l];
    text_puts(page, "<tr><th scope=\"row\">");
    html_fit(page, levels_label_of(levels_frame, l), WHOLE);
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

static void put_table(struct text *page, const struct levels_frame *levels_frame, const char *title)
{
    static const char *const heads[] = {"Which",           "Lost", "Share", "95 % range",
                                        "Without starter", NULL};
    svg_table(page, title, heads);
    for (size_t l = 0; l < levels_frame->shown; l++)
        levels_table_row(page, levels_frame, l);
    svg_table_end(page);
}

void svg_levels(struct text *page, const struct review *review, const struct review_factor *factor)
{
    enum { NAME_LIMIT = 60 };
    struct levels_frame levels_frame = {
        review, factor, &review->dataset->factors[factor->factor],
        factor->level_count < LEVELS_SHOWN ? factor->level_count : LEVELS_SHOWN, false};
    char id[32];
    struct text title, description;

    text_init(&title);
    text_init(&description);
    snprintf(id, sizeof id, "by-%zu", factor->factor);
    text_puts(&title, "By ");
    text_safe(&title, levels_frame.of->name, strlen(levels_frame.of->name),
              &(struct text_safe_options){.limit = NAME_LIMIT});
    text_printf(&description,
                "Share of vessels lost for each of %zu, highest first, each with its exact 95 %% "
                "range and its counts. The dashed line is the share of all vessels.",
                levels_frame.shown);
    for (size_t l = 0; l < levels_frame.shown; l++)
        levels_frame.called =
            levels_frame.called || is_called(&levels_frame, factor->levels[l].level);
    double height = LEVELS_HEAD + (double)levels_frame.shown * LEVELS_ROW + LEVELS_FOOT +
                    (levels_frame.called ? LEGEND : 0);
    svg_begin(page, id, title.bytes, description.bytes, height);
    levels_draw_scale(page, &levels_frame);
    for (size_t l = 0; l < levels_frame.shown; l++)
        levels_draw_row(page, &levels_frame, l);
    if (levels_frame.called)
        draw_legend(page, height - 6);
    svg_end(page);
    if (levels_frame.shown < factor->level_count)
        text_printf(page, "<p class=\"quiet\">and %zu more that lost no larger share</p>\n",
                    factor->level_count - levels_frame.shown);
    put_table(page, &levels_frame, title.bytes);
    text_release(&description);
    text_release(&title);
}

/* ==== svg sum ================================================================================= */

/* Since when: the running sum of evidence that losses are above the usual. */

enum {
    SUM_LEFT = 8,
    SUM_RIGHT = SVG_WIDTH - 8,
    SUM_TOP = 26,
    SUM_BOTTOM = 170,
    BINS = 300,
    EPISODES = 10
};

struct sum_frame {
    const struct review *review;
    const struct review_watch *watch;
    double most; /* steps at the top */
};

static double sum_across(const struct sum_frame *sum_frame, size_t at)
{
    return SUM_LEFT + (SUM_RIGHT - SUM_LEFT) * ((double)at / (double)sum_frame->watch->count);
}

static double sum_down(const struct sum_frame *sum_frame, double steps)
{
    return SUM_BOTTOM - (SUM_BOTTOM - SUM_TOP) * steps / sum_frame->most;
}

static const char *day_of(const struct sum_frame *sum_frame, size_t at, char room[MOMENT_ROOM])
{
    const struct review_watch *watch = sum_frame->watch;
    if (at >= watch->count)
        at = watch->count - 1;
    return day_write(sum_frame->review->dataset->entered[watch->vessels[at]], DAY_WORDS, room);
}

/* At most BINS points: of each stretch the highest. */
static void draw_sum(struct text *page, const struct sum_frame *sum_frame)
{
    const struct review_watch *watch = sum_frame->watch;
    size_t bins = watch->count < BINS ? watch->count : BINS;
    text_printf(page, "<path class=\"curve c0\" d=\"M%.1f %.1f", sum_across(sum_frame, 0),
                sum_down(sum_frame, 0.0));
    for (size_t b = 0; b < bins; b++) {
        size_t begin = b * watch->count / bins, end = (b + 1) * watch->count / bins;
        size_t highest = 0;
        for (size_t i = begin; i < end; i++)
            highest = watch->sums[i] > highest ? watch->sums[i] : highest;
        text_printf(page, "L%.1f %.1f", sum_across(sum_frame, end),
                    sum_down(sum_frame, (double)highest));
    }
    text_puts(page, "\"/>\n");
}

static void draw_frame(struct text *page, const struct sum_frame *sum_frame)
{
    char day[MOMENT_ROOM];
    double threshold = sum_down(sum_frame, (double)sum_frame->watch->plan.threshold);
    svg_line(page, SUM_LEFT, SUM_BOTTOM, SUM_RIGHT, SUM_BOTTOM, "tick");
    svg_line(page, SUM_LEFT, threshold, SUM_RIGHT, threshold, "mean");
    svg_words(page, SUM_RIGHT, threshold - 6, SVG_END, "quiet", "signals above this line", 30);
    svg_words(page, SUM_LEFT, SUM_BOTTOM + 17, SVG_START, "quiet", day_of(sum_frame, 0, day), 20);
    svg_words(page, SUM_RIGHT, SUM_BOTTOM + 17, SVG_END, "quiet",
              day_of(sum_frame, sum_frame->watch->count, day), 20);
}

static void draw_since(struct text *page, const struct sum_frame *sum_frame)
{
    const struct review_watch *watch = sum_frame->watch;
    char day[MOMENT_ROOM], words[MOMENT_ROOM + 16];
    if (watch->episode_count == 0)
        return;
    size_t began = watch->episodes[watch->episode_count - 1].began;
    double x = sum_across(sum_frame, began);
    snprintf(words, sizeof words, "since %s", day_of(sum_frame, began, day));
    svg_line(page, x, SUM_TOP - 4, x, SUM_BOTTOM, "since");
    svg_words(page, x, SUM_TOP - 10, x < SVG_WIDTH / 2.0 ? SVG_START : SVG_END, "strong", words,
              sizeof words);
}

static void sum_table_row(struct text *page, const struct sum_frame *sum_frame,
                          const struct monitor_episode *episode)
{
    char day[MOMENT_ROOM];
    text_printf(page, "<tr><th scope=\"row\">%s</th>", day_of(sum_frame, episode->began, day));
    text_printf(page, "<td>%s</td>", day_of(sum_frame, episode->signalled, day));
    text_printf(page, "<td>%s, %.1f</td>", day_of(sum_frame, episode->worst, day),
                (double)episode->highest * sum_frame->watch->plan.step);
    text_printf(page, "<td>%s</td></tr>\n",
                episode->ended < sum_frame->watch->count ? day_of(sum_frame, episode->ended, day)
                                                         : "not yet");
}

static void sum_put_table(struct text *page, const struct sum_frame *sum_frame, const char *title)
{
    static const char *const heads[] = {"Began", "Signalled", "Highest", "Back to usual", NULL};
    const struct review_watch *watch = sum_frame->watch;
    size_t from = watch->episode_count > EPISODES ? watch->episode_count - EPISODES : 0;
    svg_table(page, title, heads);
    for (size_t e = from; e < watch->episode_count; e++)
        sum_table_row(page, sum_frame, &watch->episodes[e]);
    if (watch->episode_count == 0)
        text_puts(page, "<tr><th scope=\"row\">never</th><td>never</td><td>below the line</td>"
                        "<td>always was</td></tr>\n");
    svg_table_end(page);
}

void svg_sum(struct text *page, const struct review *review)
{
    static const char title[] = "Evidence of too many losses, vessel by vessel";
    struct sum_frame sum_frame = {review, &review->watch, 0.0};
    char description[220];

    if (!review->watch.asked || review->watch.count == 0)
        return;
    sum_frame.most = 1.15 * (double)review->watch.plan.threshold;
    for (size_t i = 0; i < review->watch.count; i++)
        sum_frame.most = fmax(sum_frame.most, 1.05 * (double)review->watch.sums[i]);
    snprintf(description, sizeof description,
             "A line over %zu vessels in order of time: it rises with each lost vessel and falls "
             "with each sound one. Above the dashed line it signals; it did so %zu %s.",
             review->watch.count, review->watch.episode_count,
             review->watch.episode_count == 1 ? "time" : "times");
    svg_begin(page, "sum-chart", title, description, SUM_BOTTOM + 26);
    draw_frame(page, &sum_frame);
    draw_sum(page, &sum_frame);
    draw_since(page, &sum_frame);
    svg_end(page);
    sum_put_table(page, &sum_frame, title);
}

/* ==== svg vessels ============================================================================= */

/* Every vessel, batch by batch in order of time: one mark a vessel, its shape says its fate. */

enum {
    VESSELS_LEFT = 8,
    VESSELS_RIGHT = SVG_WIDTH - 8,
    STEP = 16, /* from mark to mark */
    A_LINE = (VESSELS_RIGHT - VESSELS_LEFT) / STEP,
    LINES = 3,
    MARKED = A_LINE * LINES, /* of one batch */
    VESSELS_LINE = 18,
    TITLE = 24,
    VESSELS_LEGEND = 84,
    VESSELS_SHOWN = 40,
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
    return TITLE + (double)lines * VESSELS_LINE;
}

/* ---- the drawing ----------------------------------------------------------------------------- */

static void vessels_draw_legend(struct text *page)
{
    enum { A_ROW = 2, ACROSS = 150 };
    for (size_t fate = 0; fate <= FATE_COUNT; fate++) {
        double x = VESSELS_LEFT + 6 + (double)(fate % A_ROW) * ACROSS;
        size_t row = fate / A_ROW;
        double y = 10 + (double)row * VESSELS_LINE;
        svg_shape(page, fate_shape(fate), x, y, 11, NULL);
        svg_words(page, x + 11, y + 5, SVG_START, "small", fate_word(fate), 20);
    }
    double y = 10 + 3 * VESSELS_LINE;
    svg_box(page, VESSELS_LEFT - 1, y - 7, 14, 14, "frame");
    svg_words(page, VESSELS_LEFT + 17, y + 5, SVG_START, "small",
              "framed: without starter, a control", 40);
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
    char words[64], day[MOMENT_ROOM];
    size_t drawn = 0;

    svg_line(page, VESSELS_LEFT, top, VESSELS_RIGHT, top, "rail");
    svg_words(page, VESSELS_LEFT, top + 17, SVG_START, "strong",
              dataset->factors[dataset->batch].levels[batch->level], 13);
    svg_words(page, VESSELS_LEFT + 122, top + 17, SVG_START, "small",
              day_write(batch->day, DAY_ISO, day), 12);
    snprintf(words, sizeof words, "%zu of %zu lost", batch->counts.lost, batch->counts.total);
    svg_words(page, VESSELS_RIGHT, top + 17, SVG_END, "plain", words, sizeof words);
    for (size_t v = 0; v < dataset->vessel_count && drawn < MARKED; v++)
        if (belongs(dataset, v, batch->level)) {
            size_t column = drawn % A_LINE, line = drawn / A_LINE;
            draw_vessel(page, dataset, v, VESSELS_LEFT + 7 + (double)column * STEP,
                        top + TITLE + 8 + (double)line * VESSELS_LINE);
            drawn++;
        }
    if (drawn < tally->all) {
        snprintf(words, sizeof words, "and %zu more", tally->all - drawn);
        svg_words(page, VESSELS_LEFT, top + TITLE + 13 + LINES * VESSELS_LINE, SVG_START, "quiet",
                  words, 40);
    }
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void vessels_table_row(struct text *page, const struct review *review,
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
    struct tally tallies[VESSELS_SHOWN];
    size_t from = review->batch_count > VESSELS_SHOWN ? review->batch_count - VESSELS_SHOWN : 0;
    size_t shown = review->batch_count - from;
    double height = VESSELS_LEGEND;
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
    vessels_draw_legend(page);
    height = VESSELS_LEGEND;
    for (size_t b = 0; b < shown; b++) {
        draw_batch(page, review, &review->batches[from + b], &tallies[b], height);
        height += height_of(&tallies[b]);
    }
    svg_end(page);
    if (from > 0)
        text_printf(page, "<p class=\"quiet\">The last %d of %zu batches.</p>\n",
                    (int)VESSELS_SHOWN, review->batch_count);
    svg_table(page, title, heads);
    for (size_t b = 0; b < shown; b++)
        vessels_table_row(page, review, &review->batches[from + b], &tallies[b]);
    svg_table_end(page);
}
