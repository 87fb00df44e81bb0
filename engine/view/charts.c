/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/charts.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/page.h"
#include "view/review.h"
#include "view/verdict.h"

/* ---- in plain characters ----------------------------------------------------------------------- */

static double value_at(const struct chart_series *series, double share)
{
    double place = share * (double)(series->count - 1);
    size_t at = (size_t)place;
    if (at + 1 >= series->count)
        return series->values[series->count - 1];
    double part = place - (double)at;
    return (1.0 - part) * series->values[at] + part * series->values[at + 1];
}

void chart_draw(struct screen *screen, const struct chart *chart, size_t rows)
{
    enum { MOST_ROWS = 24, MOST_COLUMNS = 72, AXIS = 7 }; /* AXIS: columns of "  100 |" */
    char cells[MOST_ROWS][MOST_COLUMNS + 1], line[AXIS + MOST_COLUMNS + 32], right[32];
    double height = chart->y_to - chart->y_from;

    if (screen->width < CHART_NARROWEST || rows < 2 || rows > MOST_ROWS)
        return;
    size_t columns = screen->width - AXIS - 1;
    if (columns > MOST_COLUMNS - AXIS)
        columns = MOST_COLUMNS - AXIS;
    memset(cells, ' ', sizeof cells);
    for (size_t i = 0; i < chart->count; i++)
        for (size_t column = 0; column < columns && chart->series[i].count >= 2; column++) {
            double y = value_at(&chart->series[i], (double)column / (double)(columns - 1));
            double up = (y - chart->y_from) / height * (double)(rows - 1);
            if (up > -0.5 && up < (double)rows - 0.5)
                cells[rows - 1 - (size_t)lround(up)][column] = chart->series[i].mark;
        }
    screen_preformatted(screen, 0, chart->y_unit);
    for (size_t row = 0; row < rows; row++) {
        double y = chart->y_to - height * (double)row / (double)(rows - 1);
        size_t end = columns;
        while (end > 0 && cells[row][end - 1] == ' ')
            end--;
        if (row % 3 == 0 || row + 1 == rows)
            snprintf(line, sizeof line, "%5.0f |%.*s", y, (int)end, cells[row]);
        else
            snprintf(line, sizeof line, "%5s |%.*s", "", (int)end, cells[row]);
        screen_preformatted(screen, 0, line);
    }
    memset(line, '-', AXIS + columns);
    memset(line, ' ', AXIS - 1);
    line[AXIS - 1] = '+';
    line[AXIS + columns] = '\0';
    screen_preformatted(screen, 0, line);
    int length = snprintf(right, sizeof right, "%.4g %s", chart->x_to, chart->x_unit);
    int room = (int)columns - length;
    snprintf(line, sizeof line, "%*s%-*.4g%s", AXIS, "", room > 0 ? room : 0, chart->x_from, right);
    screen_preformatted(screen, 0, line);
    for (size_t i = 0; i < chart->count; i++)
        if (chart->series[i].label != NULL)
            screen_say(screen, AXIS, 3, ROLE_QUIET, "%c  %s", chart->series[i].mark,
                       chart->series[i].label);
}

/* ---- what every drawing is made of ------------------------------------------------------------- */

enum { WIDTH = 350, LEFT = 8, RIGHT = WIDTH - 8 }; /* RIGHT and LEFT of most of them */

enum anchor { START, MIDDLE, END };

/* One shape for each meaning: never colour alone. */
enum shape { DOT, RING, CROSS, TRIANGLE, DIAMOND, QUERY };

static double between(double from, double to, double share)
{
    return from + (to - from) * share;
}

static double share_of(struct counts counts)
{
    return (double)counts.lost / (double)counts.total;
}

/* Text, cut to `columns`; then whole in a title. */
__attribute__((format(printf, 7, 8))) static void svg_words(struct text *svg, double x, double y,
                                                            enum anchor anchor, const char *style,
                                                            size_t columns, const char *format, ...)
{
    enum { WHOLE = 200 };
    static const char *const anchors[] = {"", " text-anchor=\"middle\"", " text-anchor=\"end\""};
    struct text shown;
    va_list arguments;
    va_start(arguments, format);
    char *words = text_vformat(format, arguments);
    va_end(arguments);
    text_init(&shown);
    bool cut = html_fit(&shown, words, columns);
    text_printf(svg, "<text x=\"%.1f\" y=\"%.1f\"%s class=\"%s\">", x, y, anchors[anchor], style);
    if (cut) {
        text_puts(svg, "<title>");
        html_fit(svg, words, WHOLE);
        text_puts(svg, "</title>");
    }
    text_add(svg, shown.bytes, shown.length);
    text_puts(svg, "</text>\n");
    text_release(&shown);
    free(words);
}

static void svg_line(struct text *svg, double x1, double y1, double x2, double y2,
                     const char *style)
{
    text_printf(svg, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", x1,
                y1, x2, y2, style);
}

static void svg_box(struct text *svg, double x, double y, double width, double height,
                    const char *style)
{
    text_printf(svg, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"%s\"/>\n",
                x, y, fmax(0.0, width), height, style);
}

/* A shape round a centre, `size` across; `title` may be NULL. */
static void svg_shape(struct text *svg, enum shape shape, double x, double y, double size,
                      const char *title)
{
    enum { WHOLE = 120 };
    double r = size / 2.0;
    if (title != NULL) {
        text_puts(svg, "<g><title>");
        html_fit(svg, title, WHOLE);
        text_puts(svg, "</title>");
    }
    if (shape == DOT || shape == RING)
        text_printf(svg, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" class=\"%s\"/>", x, y, 0.8 * r,
                    shape == DOT ? "fine" : "open");
    else if (shape == CROSS)
        text_printf(svg, "<path d=\"M%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1f\" class=\"bad\"/>",
                    x - r, y - r, x + r, y + r, x - r, y + r, x + r, y - r);
    else if (shape == TRIANGLE)
        text_printf(svg, "<path d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1fZ\" class=\"stuck\"/>", x, y - r,
                    x + r, y + r, x - r, y + r);
    else if (shape == DIAMOND)
        text_printf(svg, "<path d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1fL%.1f %.1fZ\" class=\"stuck\"/>",
                    x, y - r, x + r, y, x, y + r, x - r, y);
    else
        text_printf(svg, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">?</text>", x, y + r);
    text_puts(svg, title != NULL ? "</g>\n" : "\n");
}

/* ---- a figure: a drawing, and notes under it ----------------------------------------------------- */

struct figure {
    struct text svg, notes; /* while it is filled */
};

static void figure_init(struct figure *figure)
{
    text_init(&figure->svg);
    text_init(&figure->notes);
}

__attribute__((format(printf, 2, 3))) static void note(struct figure *figure, const char *format,
                                                       ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *words = text_vformat(format, arguments);
    va_end(arguments);
    html_element(&figure->notes, "p", "class=\"quiet\"", words);
    free(words);
}

/* Puts it on the page, named by `id`, and releases it; what follows the title describes the drawing. */
__attribute__((format(printf, 6, 7))) static void figure_put(struct text *page,
                                                             struct figure *figure, const char *id,
                                                             const char *title, double height,
                                                             const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *description = text_vformat(format, arguments);
    va_end(arguments);
    text_puts(page, "<figure>\n");
    html_element(page, "figcaption", NULL, title);
    text_printf(page,
                "<svg role=\"img\" aria-labelledby=\"%s-title %s-desc\" viewBox=\"0 0 %d %.0f\">\n"
                "<title id=\"%s-title\">",
                id, id, WIDTH, height, id);
    html_text(page, title);
    text_printf(page, "</title>\n<desc id=\"%s-desc\">", id);
    html_text(page, description);
    text_printf(page, "</desc>\n%s</svg>\n%s</figure>\n", figure->svg.bytes, figure->notes.bytes);
    text_release(&figure->svg);
    text_release(&figure->notes);
    free(description);
}

/* ---- shares as rows of a table ------------------------------------------------------------------- */

/* A row: a name, a bar of what is to be expected (0 to 1) with the share on it (NAN: none), and cells,
 * divided by tabs. Bars are drawn with borders, which print wherever backgrounds do not. */
enum { ROW_NAME = 30 };
__attribute__((format(printf, 7, 8))) static void bar_row(struct text *page, const char *name,
                                                          const char *style, double low,
                                                          double high, double share,
                                                          const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *cells = text_vformat(format, arguments);
    va_end(arguments);
    text_printf(page, "<tr%s%s%s><th scope=\"row\">", style != NULL ? " class=\"" : "",
                style != NULL ? style : "", style != NULL ? "\"" : "");
    html_fit(page, name, ROW_NAME);
    text_puts(page, "</th><td class=\"bar\">");
    if (!isnan(share))
        text_printf(page, "<i style=\"left:%.1f%%;width:%.1f%%\"></i><b style=\"left:%.1f%%\"></b>",
                    100.0 * low, 100.0 * (high - low), 100.0 * share);
    text_puts(page, "</td>");
    for (char *cell = cells, *tab; cell != NULL; cell = tab != NULL ? tab + 1 : NULL) {
        tab = strchr(cell, '\t');
        if (tab != NULL)
            *tab = '\0';
        html_element(page, "td", NULL, cell);
    }
    text_puts(page, "</tr>\n");
    free(cells);
}

/* Whether a level is among the culprits. */
static bool is_called(const struct review *review, size_t factor, uint32_t level)
{
    for (size_t k = 0; k < review->culprit_count; k++)
        for (size_t s = 0; s < review->culprits[k].suspect_count; s++)
            if (review->culprits[k].suspects[s].factor == factor &&
                review->culprits[k].suspects[s].level == level)
                return true;
    return false;
}

void table_levels(struct text *page, const struct review *review,
                  const struct review_factor *factor)
{
    enum { TITLE = 60, SHOWN = 12 };
    const struct factor *of = &review->dataset->factors[factor->factor];
    size_t shown = factor->level_count < SHOWN ? factor->level_count : SHOWN;

    text_puts(page, "<table class=\"shares\">\n<caption>By ");
    html_fit(page, view_factor(of), TITLE);
    text_puts(page, "</caption>\n<tbody>\n");
    for (size_t l = 0; l < shown; l++) {
        const struct review_level *level = &factor->levels[l];
        bool any = level->counts.total > 0;
        char controls[64] = "", range[RANGE_ROOM];
        if (level->controls.total > 0)
            snprintf(controls, sizeof controls, "; controls %zu of %zu", level->controls.lost,
                     level->controls.total);
        bar_row(page, of->levels[level->level],
                is_called(review, factor->factor, level->level) ? "called" : NULL, level->exact.low,
                level->exact.high, any ? share_of(level->counts) : NAN, "%zu of %zu\t%s%s",
                level->counts.lost, level->counts.total,
                any ? view_range(level->exact, range) : "none counts", controls);
    }
    text_puts(page, "</tbody>\n</table>\n");
    if (shown < factor->level_count) {
        char more[64];
        snprintf(more, sizeof more, "and %zu more that lost no larger share",
                 factor->level_count - shown);
        html_element(page, "p", "class=\"quiet\"", more);
    }
}

enum { BATCHES_SHOWN = 40 };

static const char *batch_name(const struct review *review, const struct review_batch *batch)
{
    return review->dataset->factors[review->dataset->batch].levels[batch->level];
}

static size_t first_shown(const struct review *review)
{
    return review->batch_count > BATCHES_SHOWN ? review->batch_count - BATCHES_SHOWN : 0;
}

void table_batches(struct text *page, const struct review *review)
{
    size_t from = first_shown(review);
    char day[MOMENT_ROOM], words[200];

    if (from > 0) {
        snprintf(words, sizeof words, "The last %zu of %zu batches.", review->batch_count - from,
                 review->batch_count);
        html_element(page, "p", "class=\"quiet\"", words);
    }
    text_puts(page,
              "<table class=\"shares\">\n<caption>Losses of each batch, oldest first</caption>\n"
              "<tbody>\n");
    for (size_t b = from; b < review->batch_count; b++) {
        const struct review_batch *batch = &review->batches[b];
        const struct monitor_point *point = &batch->point;
        double total = (double)batch->counts.total;
        const char *reading = point->above ? "too many" : point->below ? "unusually few" : "";
        day_write(batch->day, DAY_ISO, day);
        bar_row(page, batch_name(review, batch), reading[0] != '\0' ? "called" : NULL,
                total > 0.0 ? fmax(0.0, point->from_below / total) : 0.0,
                total > 0.0 ? fmin(1.0, point->from_above / total) : 0.0,
                total > 0.0 ? share_of(batch->counts) : NAN, "%zu of %zu\t%s %s",
                batch->counts.lost, batch->counts.total, day, reading);
    }
    text_puts(page, "</tbody>\n</table>\n");
    snprintf(
        words, sizeof words,
        "The line is what chance alone gives a batch that loses %.0f %% on average, as those do "
        "that no likely cause reaches; beyond it lies one batch in 740 by chance.",
        100.0 * review->centre);
    html_element(page, "p", "class=\"quiet\"", words);
}

/* ---- curves ------------------------------------------------------------------------------------- */

/* Steps, each curve named at its end, and how many were still watched. */

enum {
    CURVES = REVIEW_CURVES + 1,
    CURVES_LEFT = 44,
    CURVES_RIGHT = WIDTH - 120,
    CURVES_TOP = 12,
    CURVES_BOTTOM = 190,
    CURVES_LINE = 17,
    TICKS = 8,
};

struct curves {
    const struct survival_curve *curves[CURVES];
    const struct survival_step *ends[CURVES]; /* the last step of each */
    struct text names[CURVES];
    size_t count;
    double last; /* day drawn */
    bool cut;    /* some were watched longer, and nothing was lost */
    double ticks[TICKS];
    size_t tick_count;
    double name_y[CURVES];
};

static double across_days(const struct curves *curves, double day)
{
    return between(CURVES_LEFT, CURVES_RIGHT, fmin(day, curves->last) / curves->last);
}

static double down_survival(double survival)
{
    return between(CURVES_TOP, CURVES_BOTTOM, 1.0 - survival);
}

/* The days drawn end some time after the last loss: vessels that nobody looks at any more would
 * press all that happened into a corner. */
static void set_days(struct curves *curves)
{
    enum { MOST = 5 };
    static const double beyond = 1.5;
    static const double steps[] = {1, 2, 5, 7, 14, 28, 60, 90, 180, 365, 730, 1825, 3650, 36500};
    double loss = 0.0, end = 1.0;
    size_t which = 0;

    for (size_t c = 0; c < curves->count; c++) {
        const struct survival_curve *curve = curves->curves[c];
        end = fmax(end, curves->ends[c]->time);
        for (size_t s = 0; s < curve->count; s++)
            if (curve->steps[s].lost > 0)
                loss = fmax(loss, curve->steps[s].time);
    }
    curves->last = fmax(1.0, loss > 0.0 ? fmin(end, ceil(beyond * loss)) : end);
    curves->cut = curves->last < end;
    while (which + 1 < sizeof steps / sizeof steps[0] && curves->last / steps[which] > MOST)
        which++;
    while (curves->tick_count < TICKS &&
           (double)curves->tick_count * steps[which] <= curves->last) {
        curves->ticks[curves->tick_count] = (double)curves->tick_count * steps[which];
        curves->tick_count++;
    }
}

/* Names stand where their curves end, as near as they can without touching: down in order, then
 * up again from the bottom. */
static void set_names(struct curves *curves)
{
    size_t order[CURVES] = {0};
    double *y = curves->name_y, lowest = CURVES_BOTTOM + 4;
    for (size_t c = 0; c < curves->count; c++) {
        size_t at = c;
        y[c] = down_survival(curves->ends[c]->survival) + 4;
        for (; at > 0 && y[order[at - 1]] > y[c]; at--)
            order[at] = order[at - 1];
        order[at] = c;
    }
    for (size_t i = 1; i < curves->count; i++)
        y[order[i]] = fmax(y[order[i]], y[order[i - 1]] + CURVES_LINE);
    for (size_t i = curves->count; i-- > 0;) {
        y[order[i]] = fmin(y[order[i]], lowest);
        lowest = y[order[i]] - CURVES_LINE;
    }
}

static void draw_curve(struct text *svg, const struct curves *curves, size_t c)
{
    enum { NAME = 14 };
    const struct survival_curve *curve = curves->curves[c];
    const struct survival_step *last = curves->ends[c];
    text_printf(svg, "<path class=\"curve c%zu\" d=\"M%.1f %.1f", c, across_days(curves, 0.0),
                down_survival(1.0));
    for (size_t s = 0; s < curve->count; s++)
        text_printf(svg, "H%.1fV%.1f", across_days(curves, curve->steps[s].time),
                    down_survival(curve->steps[s].survival));
    text_puts(svg, "\"/>\n");
    for (size_t s = 0; s < curve->count && curve->steps[s].time <= curves->last; s++) {
        double x = across_days(curves, curve->steps[s].time);
        double y = down_survival(curve->steps[s].survival);
        if (curve->steps[s].censored > 0)
            svg_line(svg, x, y - 4, x, y + 4, "tick");
    }
    svg_line(svg, across_days(curves, last->time), down_survival(last->survival), CURVES_RIGHT + 8,
             curves->name_y[c] - 4, "lead-line");
    svg_words(svg, CURVES_RIGHT + 12, curves->name_y[c], START, "strong", NAME, "%s",
              curves->names[c].bytes);
}

static size_t watched_on(const struct survival_curve *curve, double day)
{
    for (size_t s = 0; s < curve->count; s++)
        if (curve->steps[s].time >= day)
            return curve->steps[s].at_risk;
    return 0;
}

/* Axes, curves, and how many were watched on each day of the axis. */
static void put_curves(struct figure *figure, const struct curves *curves)
{
    struct text *svg = &figure->svg;
    double x = CURVES_LEFT - 36, y = CURVES_BOTTOM + 42;
    for (int percent = 0; percent <= 100; percent += 50) {
        double at = down_survival(percent / 100.0);
        svg_line(svg, CURVES_LEFT, at, CURVES_RIGHT, at, "rail");
        svg_words(svg, CURVES_LEFT - 5, at + 4, END, "quiet", 24, "%d %%", percent);
    }
    for (size_t t = 0; t < curves->tick_count; t++) {
        double at = across_days(curves, curves->ticks[t]);
        svg_line(svg, at, CURVES_BOTTOM, at, CURVES_BOTTOM + 4, "tick");
        svg_words(svg, at, CURVES_BOTTOM + 17, MIDDLE, "quiet", 24, "%.0f", curves->ticks[t]);
    }
    svg_words(svg, CURVES_RIGHT + 14, CURVES_BOTTOM + 17, START, "quiet", 4, "day");
    for (size_t c = 0; c < curves->count; c++)
        draw_curve(svg, curves, c);
    svg_words(svg, x, y, START, "quiet", 44, "Still watched and not lost on each day:");
    for (size_t c = 0; c < curves->count; c++) {
        y += CURVES_LINE;
        svg_words(svg, x, y, START, "strong", 2, "%c", (char)('A' + (int)c));
        for (size_t t = 0; t < curves->tick_count; t++) {
            double day = curves->ticks[t];
            size_t watched = watched_on(curves->curves[c], day);
            svg_words(svg, across_days(curves, day), y, MIDDLE, "plain", 24, "%zu", watched);
        }
    }
}

void svg_curves(struct text *page, const struct review *review)
{
    struct curves curves = {.count = 0};
    struct figure figure;

    for (size_t c = 0; c < review->time.curve_count && curves.count < CURVES; c++) {
        const struct survival_curve *curve = &review->time.curves[c].curve;
        struct text *name = &curves.names[curves.count];
        if (curve->count == 0)
            continue;
        text_init(name);
        text_printf(name, "%c ", (char)('A' + (int)curves.count));
        view_curve_name(name, review, &review->time.curves[c]);
        curves.ends[curves.count] = &curve->steps[curve->count - 1];
        curves.curves[curves.count++] = curve;
    }
    if (curves.count == 0)
        return;
    figure_init(&figure);
    set_days(&curves);
    set_names(&curves);
    put_curves(&figure, &curves);
    note(&figure, "A step down: losses seen that day. A short upright mark: vessels used by then, "
                  "or only that old.");
    if (curves.cut)
        note(&figure, "Some were watched longer than %.0f days; none was lost then.", curves.last);
    figure_put(page, &figure, "curves-chart", "Share not lost, by days since inoculation",
               CURVES_BOTTOM + 52 + (double)curves.count * CURVES_LINE,
               "%zu %s that step down whenever a loss was seen, from day 0 to day %.0f. A short "
               "upright mark: a vessel was used, or is only that old.",
               curves.count, curves.count == 1 ? "line" : "lines", curves.last);
    for (size_t c = 0; c < curves.count; c++)
        text_release(&curves.names[c]);
}

/* ---- the running sum ---------------------------------------------------------------------------- */

static const char *day_at(const struct review *review, size_t at, char room[MOMENT_ROOM])
{
    const struct review_watch *watch = &review->watch;
    size_t vessel = watch->vessels[at < watch->count ? at : watch->count - 1];
    return day_write(review->dataset->entered[vessel], DAY_WORDS, room);
}

enum { SUM_LEFT = 52 };

static double across_vessels(const struct review_watch *watch, size_t at)
{
    return between(SUM_LEFT, RIGHT, (double)at / (double)watch->count);
}

void svg_sum(struct text *page, const struct review *review)
{
    enum { TOP = 26, BOTTOM = 170, BINS = 300, LABELS = 3 };
    static const double ten = 2.302585092994046; /* natural logarithm */
    const struct review_watch *watch = &review->watch;
    size_t bins = watch->count < BINS ? watch->count : BINS;
    double most = 1.15 * (double)watch->plan.threshold;
    char day[MOMENT_ROOM];
    struct figure figure;

    if (!watch->asked || watch->count == 0)
        return;
    figure_init(&figure);
    for (size_t i = 0; i < watch->count; i++)
        most = fmax(most, 1.05 * (double)watch->sums[i]);
    double line = between(BOTTOM, TOP, (double)watch->plan.threshold / most);
    double decades = fmax(1.0, ceil(most * watch->plan.step / ten / 4.0)); /* from tick to tick */
    for (double power = 0.0; power * ten <= most * watch->plan.step; power += decades) {
        double y = between(BOTTOM, TOP, power * ten / watch->plan.step / most);
        svg_line(&figure.svg, SUM_LEFT, y, RIGHT, y, "rail");
        svg_words(&figure.svg, SUM_LEFT - 5, y + 4, END, "quiet", 12, "%.4g x", pow(10.0, power));
    }
    svg_line(&figure.svg, SUM_LEFT, line, RIGHT, line, "mean");
    svg_words(&figure.svg, RIGHT, line - 6, END, "quiet", 30, "signals above this line");
    for (size_t k = 0; k < LABELS; k++) {
        double x = across_vessels(watch, k * watch->count / (LABELS - 1));
        svg_line(&figure.svg, x, BOTTOM, x, BOTTOM + 4, "tick");
        svg_words(&figure.svg, x, BOTTOM + 18,
                  k == 0           ? START
                  : k + 1 < LABELS ? MIDDLE
                                   : END,
                  "quiet", 20, "%s", day_at(review, k * watch->count / (LABELS - 1), day));
    }
    text_printf(&figure.svg, "<path class=\"curve c0\" d=\"M%.1f %.1f", (double)SUM_LEFT,
                (double)BOTTOM);
    for (size_t b = 0; b < bins; b++) { /* of each stretch the highest */
        size_t end = (b + 1) * watch->count / bins, highest = 0;
        for (size_t i = b * watch->count / bins; i < end; i++)
            highest = watch->sums[i] > highest ? watch->sums[i] : highest;
        text_printf(&figure.svg, "L%.1f %.1f", across_vessels(watch, end),
                    between(BOTTOM, TOP, (double)highest / most));
    }
    text_puts(&figure.svg, "\"/>\n");
    if (watch->episode_count > 0) {
        size_t began = watch->episodes[watch->episode_count - 1].began;
        double x = across_vessels(watch, began);
        svg_line(&figure.svg, x, TOP - 4, x, BOTTOM, "since");
        svg_words(&figure.svg, x, TOP - 10, x < WIDTH / 2.0 ? START : END, "strong", 56, "since %s",
                  day_at(review, began, day));
    }
    note(&figure,
         "By vessel in order of time: how many times likelier a raised rate of loss is than "
         "the usual one.");
    figure_put(page, &figure, "sum-chart", "Evidence of too many losses", BOTTOM + 28,
               "A line over %zu vessels in order of time: it rises with each lost vessel and falls "
               "with each sound one. Above the dashed line it signals; it did so %zu %s.",
               watch->count, watch->episode_count, watch->episode_count == 1 ? "time" : "times");
}

/* ---- every vessel ------------------------------------------------------------------------------- */

enum {
    STEP = 16, /* from mark to mark */
    A_LINE = (RIGHT - LEFT) / STEP,
    LINES = 3,
    MARKED = A_LINE * LINES, /* of one batch */
    VESSELS_LINE = 18,
    VESSELS_TITLE = 24,
};

static const struct {
    const char *word;
    enum shape shape;
} fates[FATE_COUNT + 1] = {
    [FATE_OPEN] = {"open", RING},
    [FATE_SOUND] = {"sound", DOT},
    [FATE_STUCK] = {"did not grow", TRIANGLE},
    [FATE_CONTAMINATED] = {"contaminated", CROSS},
    [FATE_UNTOLD] = {"lost, cause unknown", DIAMOND},
    [FATE_COUNT] = {"not recorded", QUERY},
};

static void draw_vessel(struct text *svg, const struct dataset *dataset, size_t vessel, double x,
                        double y)
{
    enum { LABEL_POINTS = 60 };
    const char *label = dataset->labels[vessel];
    int32_t entered = dataset->entered[vessel], ended = dataset->ended[vessel];
    struct text title;
    text_init(&title);
    text_safe(&title, label, strlen(label), &(struct text_safe_options){.limit = LABEL_POINTS});
    text_printf(&title, "%s%s", title.length > 0 ? ": " : "", fates[dataset->fate[vessel]].word);
    if (dataset->control[vessel])
        text_puts(&title, ", uninoculated");
    if (entered != DAY_NONE && ended != DAY_NONE)
        text_printf(&title, ", day %lld", (long long)ended - entered);
    if (dataset->control[vessel])
        svg_box(svg, x - 7, y - 7, 14, 14, "frame");
    svg_shape(svg, fates[dataset->fate[vessel]].shape, x, y, 11, title.bytes);
    text_release(&title);
}

/* One batch; returns where the next one may begin. */
static double put_vessels(struct figure *figure, const struct review *review,
                          const struct review_batch *batch, double top)
{
    const struct dataset *dataset = review->dataset;
    const char *name = batch_name(review, batch);
    struct text *svg = &figure->svg;
    char day[MOMENT_ROOM];
    size_t all = 0, lines = 0;

    svg_line(svg, LEFT, top, RIGHT, top, "rail");
    svg_words(svg, LEFT, top + 17, START, "strong", 13, "%s", name);
    svg_words(svg, LEFT + 122, top + 17, START, "small", 12, "%s",
              day_write(batch->day, DAY_ISO, day));
    svg_words(svg, RIGHT, top + 17, END, "plain", 64, "%zu of %zu lost", batch->counts.lost,
              batch->counts.total);
    for (size_t v = 0; v < dataset->vessel_count; v++) {
        if (dataset->factors[dataset->batch].level[v] != batch->level)
            continue;
        if (all < MARKED) {
            lines = all / A_LINE + 1;
            draw_vessel(svg, dataset, v, LEFT + 7 + (double)(all % A_LINE) * STEP,
                        top + VESSELS_TITLE + 8 + (double)(lines - 1) * VESSELS_LINE);
        }
        all++;
    }
    if (all > MARKED) {
        svg_words(svg, LEFT, top + VESSELS_TITLE + 13 + LINES * VESSELS_LINE, START, "quiet", 40,
                  "and %zu more", all - MARKED);
        lines++;
    }
    return top + VESSELS_TITLE + (double)lines * VESSELS_LINE;
}

void svg_vessels(struct text *page, const struct review *review)
{
    enum { LEGEND = 84, A_ROW = 2, ACROSS = 150, ROWS = 3 };
    size_t from = first_shown(review), shown = review->batch_count - from;
    double height = LEGEND, below = 10 + ROWS * VESSELS_LINE;
    struct figure figure;

    figure_init(&figure);
    for (size_t f = 0; f <= FATE_COUNT; f++) {
        double x = LEFT + 6 + (double)(f % A_ROW) * ACROSS;
        const size_t row = f / A_ROW;
        double y = 10 + (double)row * VESSELS_LINE;
        svg_shape(&figure.svg, fates[f].shape, x, y, 11, NULL);
        svg_words(&figure.svg, x + 11, y + 5, START, "small", 20, "%s", fates[f].word);
    }
    svg_box(&figure.svg, LEFT - 1, below - 7, 14, 14, "frame");
    svg_words(&figure.svg, LEFT + 17, below + 5, START, "small", 40,
              "framed: an uninoculated control");
    for (size_t b = from; b < review->batch_count; b++)
        height = put_vessels(&figure, review, &review->batches[b], height);
    if (from > 0)
        note(&figure, "The last %zu of %zu batches.", shown, review->batch_count);
    figure_put(page, &figure, "vessels-chart", "Every vessel of each batch, oldest batch first",
               height + 4,
               "%zu batches in order of time, each with one mark for each vessel; the shape of the "
               "mark says what became of it.",
               shown);
}
