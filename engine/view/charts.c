/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/charts.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/review.h"
#include "view/tree.h"
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
    for (size_t i = 0; i < chart->point_count; i++) {
        const struct chart_point *point = &chart->points[i];
        double along = (point->x - chart->x_from) / (chart->x_to - chart->x_from);
        double up = (point->y - chart->y_from) / height;
        if (along >= 0.0 && along <= 1.0 && up >= 0.0 && up <= 1.0)
            cells[rows - 1 - (size_t)lround(up * (double)(rows - 1))]
                 [lround(along * (double)(columns - 1))] = point->mark;
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

void chart_coverage(struct screen *screen, const struct range *band, double last,
                    const struct chart_point *points, size_t count)
{
    enum { ROWS = 10 };
    double low[COURSE_POINTS], central[COURSE_POINTS], high[COURSE_POINTS];
    struct chart_series series[5];
    size_t used = 0;
    bool lost = false, fine = false;

    for (size_t i = 0; band != NULL && i < COURSE_POINTS; i++) {
        low[i] = band[i].low;
        central[i] = band[i].central;
        high[i] = band[i].high;
    }
    for (size_t i = 0; i < count; i++) {
        lost = lost || points[i].mark == 'x';
        fine = fine || points[i].mark != 'x';
    }
    if (band != NULL) {
        series[used++] = (struct chart_series){low, COURSE_POINTS, '.', "slowest and fastest"};
        series[used++] = (struct chart_series){high, COURSE_POINTS, '.', NULL};
        series[used++] = (struct chart_series){central, COURSE_POINTS, '*', "most likely"};
    }
    if (fine)
        series[used++] = (struct chart_series){NULL, 0, 'O', "seen"};
    if (lost)
        series[used++] = (struct chart_series){NULL, 0, 'x', "seen in a vessel that is lost"};
    chart_draw(screen,
               &(struct chart){0, last, 0, 100, "days", "% colonised", series, used, points, count},
               ROWS);
}

/* ---- shares as rows of a table ------------------------------------------------------------------- */

/* Bars are drawn with borders, which print wherever backgrounds do not. */
void chart_bar(struct text *page, const json_t *row)
{
    double low = json_number_value(json_object_get(row, "_low"));
    double high = json_number_value(json_object_get(row, "_high"));
    const json_t *share = json_object_get(row, "_share");
    text_puts(page, "<td class=\"bar\">");
    if (json_is_number(share))
        text_printf(page, "<i style=\"left:%.1f%%;width:%.1f%%\"></i><b style=\"left:%.1f%%\"></b>",
                    100.0 * low, 100.0 * (high - low), 100.0 * json_number_value(share));
    text_puts(page, "</td>");
}

/* ---- curves on a page --------------------------------------------------------------------------- */

enum { WIDTH = 350, LEFT = 56, RIGHT = WIDTH - 44, TOP = 24, BOTTOM = 180, HEIGHT = BOTTOM + 26 };

enum anchor { START, MIDDLE, END };

static double across(double share)
{
    return LEFT + (RIGHT - LEFT) * share;
}

static double up(double share)
{
    return BOTTOM - (BOTTOM - TOP) * share;
}

__attribute__((format(printf, 6, 7))) static void svg_words(struct text *svg, double x, double y,
                                                            enum anchor anchor, const char *style,
                                                            const char *format, ...)
{
    static const char *const anchors[] = {"", " text-anchor=\"middle\"", " text-anchor=\"end\""};
    va_list arguments;
    va_start(arguments, format);
    char *words = text_vformat(format, arguments);
    va_end(arguments);
    text_printf(svg, "<text x=\"%.1f\" y=\"%.1f\"%s class=\"%s\">", x, y, anchors[anchor], style);
    html_text(svg, words);
    text_puts(svg, "</text>\n");
    free(words);
}

static void svg_line(struct text *svg, double x1, double y1, double x2, double y2,
                     const char *style)
{
    text_printf(svg, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", x1,
                y1, x2, y2, style);
}

/* A figure named by `id` round a drawing, which is released. */
static void figure_put(struct text *page, struct text *svg, const char *id, const char *title,
                       const char *description)
{
    text_puts(page, "<figure>\n");
    html_element(page, "figcaption", NULL, title);
    text_printf(page,
                "<svg role=\"img\" aria-labelledby=\"%s-title %s-desc\" viewBox=\"0 0 %d %d\">\n"
                "<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n%s</svg>\n",
                id, id, WIDTH, HEIGHT, id, title, id, description, svg->bytes);
    html_element(page, "p", "class=\"quiet\"", description);
    text_puts(page, "</figure>\n");
    text_release(svg);
}

/* How far the days drawn reach: some time after the last loss, as vessels that nobody looks at any more
 * would press all that happened into a corner. */
static double last_day(const struct review_time *time)
{
    static const double beyond = 1.5;
    double loss = 0.0, end = 1.0;
    for (size_t c = 0; c < time->curve_count; c++) {
        const struct survival_curve *curve = &time->curves[c].curve;
        for (size_t s = 0; s < curve->count; s++) {
            end = fmax(end, curve->steps[s].time);
            if (curve->steps[s].lost > 0)
                loss = fmax(loss, curve->steps[s].time);
        }
    }
    return fmax(1.0, loss > 0.0 ? fmin(end, ceil(beyond * loss)) : end);
}

/* Axes: shares, and days up to `last`. */
static void put_axes(struct text *svg, double last)
{
    enum { TICKS = 5 };
    static const double steps[] = {1, 2, 5, 7, 14, 28, 60, 90, 180, 365, 730, 1825, 3650, 36500};
    size_t which = 0;
    while (which + 1 < sizeof steps / sizeof *steps && last / steps[which] > TICKS)
        which++;
    for (int percent = 0; percent <= 100; percent += 50) {
        svg_line(svg, LEFT, up(percent / 100.0), RIGHT, up(percent / 100.0), "rail");
        svg_words(svg, LEFT - 5, up(percent / 100.0) + 4, END, "quiet", "%d %%", percent);
    }
    for (size_t tick = 0; (double)tick * steps[which] <= last; tick++) {
        double day = (double)tick * steps[which];
        svg_line(svg, across(day / last), BOTTOM, across(day / last), BOTTOM + 4, "tick");
        svg_words(svg, across(day / last), BOTTOM + 18, MIDDLE, "quiet", "%.0f", day);
    }
    svg_words(svg, RIGHT + 13, BOTTOM + 18, START, "quiet", "day");
}

void svg_coverage(struct text *page, const struct range *band, double last,
                  const struct chart_point *points, size_t count)
{
    struct text svg;
    text_init(&svg);
    put_axes(&svg, last);
    for (size_t i = 0; band != NULL && i < (size_t)2 * COURSE_POINTS; i++) { /* there and back */
        size_t at = i < COURSE_POINTS ? i : 2 * COURSE_POINTS - 1 - i;
        text_printf(&svg, "%s%.1f %.1f", i == 0 ? "<path class=\"band\" d=\"M" : "L",
                    across((double)at / (COURSE_POINTS - 1)),
                    up((i < COURSE_POINTS ? band[at].low : band[at].high) / 100.0));
    }
    for (size_t i = 0; band != NULL && i < COURSE_POINTS; i++)
        text_printf(&svg, "%s%.1f %.1f", i == 0 ? "z\"/>\n<path class=\"curve\" d=\"M" : "L",
                    across((double)i / (COURSE_POINTS - 1)), up(band[i].central / 100.0));
    text_puts(&svg, band != NULL ? "\"/>\n" : "");
    for (size_t i = 0; i < count; i++)
        svg_words(&svg, across(points[i].x / last), up(points[i].y / 100.0) + 4, MIDDLE, "strong",
                  "%c", points[i].mark);
    figure_put(
        page, &svg, "coverage-chart", "Coverage by day",
        "The band is the forecast from slowest to fastest, the line the most likely. O: what "
        "was seen; x: seen in a vessel that is lost.");
}

void svg_curves(struct text *page, const struct review *review)
{
    enum { LETTER = 13 };
    const struct review_time *time = &review->time;
    double last = last_day(time);
    struct text svg;

    text_init(&svg);
    put_axes(&svg, last);
    for (size_t c = 0; c < time->curve_count; c++) {
        const struct survival_curve *curve = &time->curves[c].curve;
        double survival = 1.0, end = 0.0;
        if (curve->count == 0)
            continue;
        text_printf(&svg, "<path class=\"curve c%zu\" d=\"M%d %d", c, LEFT, TOP);
        for (size_t s = 0; s < curve->count; s++) {
            survival = curve->steps[s].survival;
            end = fmin(curve->steps[s].time, last) / last;
            text_printf(&svg, "H%.1fV%.1f", across(end), up(survival));
        }
        text_puts(&svg, "\"/>\n");
        svg_words(&svg, across(end) + 4 + (double)c * LETTER, up(survival) + 4, START, "strong",
                  "%c", (char)('A' + (int)c));
    }
    figure_put(page, &svg, "curves-chart", "Share not lost, by days since inoculation",
               "A step down: losses seen that day. The list names the letters.");
}

void svg_sum(struct text *page, const struct review *review)
{
    enum { TICKS = 4 };
    const struct review_watch *watch = &review->watch;
    double count = (double)watch->vessels, alarm = watch->plan.threshold, most = 1.15;
    size_t vessels = 0, began = watch->count;
    char day[MOMENT_ROOM];
    struct text svg;

    if (!watch->asked || watch->count == 0)
        return;
    text_init(&svg);
    for (size_t i = 0; i < watch->count; i++)
        most = fmax(most, 1.05 * watch->days[i].sum / alarm);
    const double step = fmax(1.0, ceil(most / TICKS));
    for (size_t k = 0; (double)k * step <= most; k++) {
        double tick = (double)k * step;
        svg_line(&svg, LEFT, up(tick / most), RIGHT, up(tick / most), "rail");
        svg_words(&svg, LEFT - 5, up(tick / most) + 4, END, "quiet", "%.0f", tick);
    }
    svg_line(&svg, LEFT, up(1.0 / most), RIGHT, up(1.0 / most), "mean");
    svg_words(&svg, RIGHT + 4, up(1.0 / most) + 4, START, "quiet", "alarm");
    for (int last = 0; last < 2; last++) {
        double x = across(last);
        svg_line(&svg, x, BOTTOM, x, BOTTOM + 4, "tick");
        svg_words(&svg, x, BOTTOM + 18, last ? END : START, "quiet", "%s",
                  day_write(watch->days[last ? watch->count - 1 : 0].day, DAY_WORDS, day));
    }
    if (watch->episode_count > 0)
        began = watch->episodes[watch->episode_count - 1].began;
    text_printf(&svg, "<path class=\"curve c0\" d=\"M%d %d", LEFT, BOTTOM);
    double since = 0.0;
    for (size_t d = 0; d < watch->count; d++) {
        since = d == began ? (double)vessels / count : since;
        vessels += watch->days[d].counts.total;
        text_printf(&svg, "L%.1f %.1f", across((double)vessels / count),
                    up(watch->days[d].sum / alarm / most));
    }
    text_puts(&svg, "\"/>\n");
    if (began < watch->count) {
        svg_line(&svg, across(since), TOP - 4, across(since), BOTTOM, "since");
        svg_words(&svg, across(since), TOP - 9, since < 0.5 ? START : END, "strong", "since %s",
                  day_write(watch->since, DAY_WORDS, day));
    }
    figure_put(page, &svg, "sum-chart", "Evidence of too many losses, in alarms",
               "A line over all vessels in order of time: it rises with each lost vessel and falls "
               "with each sound one. At 1, the dashed line, it raises the alarm.");
}

/* ---- every vessel ------------------------------------------------------------------------------- */

/* One shape for each meaning: never colour alone. */
static const struct {
    const char *word, *mark, *style;
} fates[FATE_COUNT + 1] = {
    [FATE_OPEN] = {"open", "\xe2\x97\x8b", "quiet"},
    [FATE_SOUND] = {"sound", "\xe2\x97\x8f", "fine"},
    [FATE_STUCK] = {"did not grow", "\xe2\x96\xb2", "stuck"},
    [FATE_CONTAMINATED] = {"contaminated", "\xe2\x9c\x95", "bad"},
    [FATE_UNTOLD] = {"lost, cause unknown", "\xe2\x97\x86", "stuck"},
    [FATE_COUNT] = {"not recorded", "?", "quiet"},
};

static void put_mark(struct text *page, const struct dataset *dataset, size_t vessel)
{
    int32_t entered = dataset->entered[vessel], ended = dataset->ended[vessel];
    uint8_t fate = dataset->fate[vessel];
    bool control = dataset->control[vessel];
    text_printf(page, "<span class=\"%s%s\" title=\"%s%s", fates[fate].style,
                control ? " frame" : "", fates[fate].word, control ? ", uninoculated" : "");
    if (entered != DAY_NONE && ended != DAY_NONE)
        text_printf(page, ", day %lld", (long long)ended - entered);
    text_printf(page, "\">%s</span>", fates[fate].mark);
}

void vessels_legend(struct text *page)
{
    text_puts(page, "<p class=\"quiet\">");
    for (size_t f = 0; f <= FATE_COUNT; f++)
        text_printf(page, "<span class=\"%s\">%s</span> %s; ", fates[f].style, fates[f].mark,
                    fates[f].word);
    text_puts(page, "framed: an uninoculated control</p>\n");
}

void vessels_marks(struct text *page, const struct dataset *dataset, uint32_t batch)
{
    enum { MARKED = 60 };
    size_t all = 0;
    text_puts(page, "<td class=\"marks\">");
    for (size_t v = 0; v < dataset->vessel_count; v++)
        if (dataset->factors[dataset->batch].level[v] == batch && all++ < MARKED)
            put_mark(page, dataset, v);
    if (all > MARKED)
        text_printf(page, " and %zu more", all - MARKED);
    text_puts(page, "</td>");
}
