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

/* Opens figure and drawing, named by `id` within the page; the title is its caption too, the rest its
 * description. */
__attribute__((format(printf, 5, 6))) static void svg_begin(struct text *page, const char *id,
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
    text_puts(page, "</desc>\n");
    free(description);
}

/* Text, cut to `columns`; then whole in a title. */
__attribute__((format(printf, 7, 8))) static void svg_words(struct text *page, double x, double y,
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
    text_printf(page, "<text x=\"%.1f\" y=\"%.1f\"%s class=\"%s\">", x, y, anchors[anchor], style);
    if (cut) {
        text_puts(page, "<title>");
        html_fit(page, words, WHOLE);
        text_puts(page, "</title>");
    }
    text_add(page, shown.bytes, shown.length);
    text_puts(page, "</text>\n");
    text_release(&shown);
    free(words);
}

static void svg_line(struct text *page, double x1, double y1, double x2, double y2,
                     const char *style)
{
    text_printf(page, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", x1,
                y1, x2, y2, style);
}

static void svg_box(struct text *page, double x, double y, double width, double height,
                    const char *style)
{
    text_printf(page, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"%s\"/>\n",
                x, y, fmax(0.0, width), height, style);
}

/* A shape round a centre, `size` across; `title` may be NULL. */
static void svg_shape(struct text *page, enum shape shape, double x, double y, double size,
                      const char *title)
{
    enum { WHOLE = 120 };
    double r = size / 2.0;
    if (title != NULL) {
        text_puts(page, "<g><title>");
        html_fit(page, title, WHOLE);
        text_puts(page, "</title>");
    }
    switch (shape) {
    case DOT:
    case RING:
        text_printf(page, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" class=\"%s\"/>", x, y,
                    0.8 * r, shape == DOT ? "fine" : "open");
        break;
    case CROSS:
        text_printf(page, "<path d=\"M%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1f\" class=\"bad\"/>",
                    x - r, y - r, x + r, y + r, x - r, y + r, x + r, y - r);
        break;
    case TRIANGLE:
        text_printf(page, "<path d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1fZ\" class=\"stuck\"/>", x, y - r,
                    x + r, y + r, x - r, y + r);
        break;
    case DIAMOND:
        text_printf(page, "<path d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1fL%.1f %.1fZ\" class=\"stuck\"/>",
                    x, y - r, x + r, y, x, y + r, x - r, y);
        break;
    case QUERY:
        text_printf(page, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">?</text>", x, y + r);
        break;
    }
    text_puts(page, title != NULL ? "</g>\n" : "\n");
}

/* A sentence under the drawing. */
__attribute__((format(printf, 2, 3))) static void svg_note(struct text *page, const char *format,
                                                           ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *words = text_vformat(format, arguments);
    va_end(arguments);
    html_element(page, "p", "class=\"quiet\"", words);
    free(words);
}

/* ---- the same figures as a table ---------------------------------------------------------------- */

/* Opens it with its heads, NULL-terminated; closes it and the figure. */
static void table_begin(struct text *page, const char *caption, const char *const *heads)
{
    text_puts(page, "<details><summary>The same figures as a table</summary>\n<table>\n");
    html_element(page, "caption", NULL, caption);
    text_puts(page, "<thead><tr>");
    for (size_t i = 0; heads[i] != NULL; i++)
        html_element(page, "th", "scope=\"col\"", heads[i]);
    text_puts(page, "</tr></thead>\n<tbody>\n");
}

static void table_end(struct text *page)
{
    text_puts(page, "</tbody>\n</table>\n</details>\n</figure>\n");
}

/* A row: its label, cut to `columns`, then its cells, then its end. */
enum { LABEL = 80, WHOLE_LABEL = 2000 };

static void row_begin(struct text *page, const char *label, size_t columns)
{
    text_puts(page, "<tr><th scope=\"row\">");
    html_fit(page, label, columns);
    text_puts(page, "</th>");
}

__attribute__((format(printf, 2, 3))) static void cell(struct text *page, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *words = text_vformat(format, arguments);
    va_end(arguments);
    text_puts(page, "<td>");
    html_text(page, words);
    text_puts(page, "</td>");
    free(words);
}

static void row_end(struct text *page)
{
    text_puts(page, "</tr>\n");
}

static void lost_cell(struct text *page, struct counts counts)
{
    cell(page, "%zu of %zu", counts.lost, counts.total);
}

static double share_of(struct counts counts)
{
    return (double)counts.lost / (double)counts.total;
}

/* ---- culprits ----------------------------------------------------------------------------------- */

/* What did it, surest first: how many vessels each cost, with a range. */

static double whole(double vessels)
{
    return floor(vessels + 0.5);
}

static void name_culprit(struct text *words, const struct review *review, size_t k)
{
    text_clear(words);
    text_printf(words, "%zu. ", k + 1);
    view_suspects(words, review, &review->culprits[k], false);
}

static void draw_culprit(struct text *page, const struct review *review, size_t k, double top,
                         double most, struct text *words)
{
    enum { BAR = 14, FIGURES = 108, COLUMNS = 42 };
    const struct review_culprit *culprit = &review->culprits[k];
    double scale = (RIGHT - LEFT - FIGURES) / most, middle = top + 45 + BAR / 2.0;
    double low = LEFT + scale * whole(culprit->saved_low);
    double high = LEFT + scale * whole(culprit->saved_high);
    char percent[PERCENT_ROOM];

    name_culprit(words, review, k);
    svg_words(page, LEFT, top + 16, START, "strong", COLUMNS, "%s", words->bytes);
    svg_words(page, LEFT, top + 33, START, "quiet", COLUMNS, "%s",
              view_percent(culprit->p, percent));
    svg_box(page, LEFT, middle - BAR / 2.0, scale * whole(culprit->saved), BAR, "bar");
    svg_line(page, low, middle, high, middle, "whisker");
    svg_line(page, low, middle - 5, low, middle + 5, "whisker");
    svg_line(page, high, middle - 5, high, middle + 5, "whisker");
    svg_words(page, RIGHT, middle + 5, END, "plain", 48, "%.0f (%.0f to %.0f)",
              whole(culprit->saved), whole(culprit->saved_low), whole(culprit->saved_high));
}

static void culprit_row(struct text *page, const struct review *review, size_t k,
                        struct text *words)
{
    enum { MOST = 2 };
    static const double worth_a_word = 0.05;
    const struct review_culprit *culprit = &review->culprits[k];
    char percent[PERCENT_ROOM];

    name_culprit(words, review, k);
    row_begin(page, words->bytes, WHOLE_LABEL);
    cell(page, "%s", view_percent(culprit->p, percent));
    lost_cell(page, culprit->suspects[0].inside);
    lost_cell(page, culprit->suspects[0].outside);
    cell(page, "%.0f (%.0f to %.0f)", whole(culprit->saved), whole(culprit->saved_low),
         whole(culprit->saved_high));
    text_clear(words);
    for (size_t c = 0; c < culprit->cause_count && c < MOST; c++)
        if (c == 0 || culprit->causes[c].p >= worth_a_word)
            text_printf(words, "%s%s (%s)", c > 0 ? ", " : "",
                        review->rules->causes[culprit->causes[c].cause].name,
                        view_percent(culprit->causes[c].p, percent));
    cell(page, "%s", words->length > 0 ? words->bytes : "not known");
    row_end(page);
}

void svg_culprits(struct text *page, const struct review *review)
{
    enum { HEAD = 4, ROW = 78 };
    static const char title[] = "Vessels lost to each";
    static const char *const heads[] = {"What",         "How sure", "It lost", "The rest lost",
                                        "Cost (range)", "Why",      NULL};
    struct text words;
    double most = 1.0;

    text_init(&words);
    for (size_t k = 0; k < review->culprit_count; k++)
        most = fmax(most, whole(review->culprits[k].saved_high));
    svg_begin(page, "faults-chart", title, HEAD + (double)review->culprit_count * ROW + 10,
              "%zu bars, surest first: vessels that would not have been lost without it, each with "
              "its 90 %% range.",
              review->culprit_count);
    for (size_t k = 0; k < review->culprit_count; k++)
        draw_culprit(page, review, k, HEAD + (double)k * ROW, most, &words);
    text_puts(page, "</svg>\n");
    svg_note(page, "The bar is the number expected, the line across it the 90 %% range. Where two "
                   "stand together, the counts in the table are the likelier one's.");
    table_begin(page, title, heads);
    for (size_t k = 0; k < review->culprit_count; k++)
        culprit_row(page, review, k, &words);
    table_end(page);
    text_release(&words);
}

/* ---- levels ------------------------------------------------------------------------------------- */

enum { LEVELS_HEAD = 22, LEVELS_ROW = 36 };

/* Whether a level is among what did it. */
static bool is_called(const struct review *review, size_t factor, uint32_t level)
{
    for (size_t k = 0; k < review->culprit_count; k++)
        for (size_t s = 0; s < review->culprits[k].suspect_count; s++)
            if (review->culprits[k].suspects[s].factor == factor &&
                review->culprits[k].suspects[s].level == level)
                return true;
    return false;
}

static void draw_level(struct text *page, const char *label, const struct review_level *level,
                       bool called, double top)
{
    enum { FEWEST = 8 };
    double middle = top + 26;
    size_t most = (size_t)(RIGHT - LEFT) / (called ? 8U : 7U) - 2; /* letters that fit on a line */
    char counts[64];

    if (level->counts.total == 0)
        snprintf(counts, sizeof counts, "uninoculated %zu of %zu", level->controls.lost,
                 level->controls.total);
    else
        snprintf(counts, sizeof counts, "%zu of %zu, %.0f %%", level->counts.lost,
                 level->counts.total, 100.0 * share_of(level->counts));
    svg_words(page, LEFT, top + 15, START, called ? "strong" : "plain",
              strlen(counts) + FEWEST < most ? most - strlen(counts) : FEWEST, "%s", label);
    svg_words(page, RIGHT, top + 15, END, "plain", sizeof counts, "%s", counts);
    if (level->counts.total == 0)
        return;
    svg_line(page, LEFT, middle, RIGHT, middle, "rail");
    svg_line(page, between(LEFT, RIGHT, level->exact.low), middle,
             between(LEFT, RIGHT, level->exact.high), middle, called ? "range called" : "range");
    svg_shape(page, called ? DIAMOND : DOT, between(LEFT, RIGHT, share_of(level->counts)), middle,
              called ? 13 : 10, NULL);
}

static void draw_levels_scale(struct text *page, struct counts all, double bottom)
{
    svg_words(page, LEFT, bottom + 16, START, "quiet", 8, "none");
    svg_words(page, between(LEFT, RIGHT, 0.5), bottom + 16, MIDDLE, "quiet", 12, "half lost");
    svg_words(page, RIGHT, bottom + 16, END, "quiet", 8, "all");
    if (all.total == 0)
        return;
    double share = share_of(all), x = between(LEFT, RIGHT, share);
    svg_line(page, x, LEVELS_HEAD - 4, x, bottom, "mean");
    svg_words(page, x, LEVELS_HEAD - 8,
              share < 0.2   ? START
              : share > 0.8 ? END
                            : MIDDLE,
              "quiet", 32, "all vessels: %.0f %%", 100.0 * share);
}

static void draw_levels_legend(struct text *page, double y)
{
    svg_shape(page, DIAMOND, LEFT + 6, y - 5, 12, NULL);
    svg_words(page, LEFT + 17, y, START, "quiet", 16, "likely cause");
    svg_shape(page, DOT, LEFT + 112, y - 5, 10, NULL);
    svg_words(page, LEFT + 122, y, START, "quiet", 8, "other");
}

static void level_row(struct text *page, const char *label, const struct review_level *level)
{
    row_begin(page, label, LABEL);
    lost_cell(page, level->counts);
    if (level->counts.total > 0) {
        cell(page, "%.0f %%", 100.0 * share_of(level->counts));
        cell(page, "%.0f to %.0f %%", 100.0 * level->exact.low, 100.0 * level->exact.high);
    } else {
        cell(page, "not known");
        cell(page, "not known");
    }
    if (level->controls.total > 0)
        lost_cell(page, level->controls);
    else
        cell(page, "none kept");
    row_end(page);
}

void svg_levels(struct text *page, const struct review *review, const struct review_factor *factor)
{
    enum { NAME = 60, SHOWN = 12, FOOT = 24, LEGEND = 20 };
    static const char *const heads[] = {"Which",      "Lost",         "Share",
                                        "95 % range", "Uninoculated", NULL};
    const struct factor *of = &review->dataset->factors[factor->factor];
    size_t shown = factor->level_count < SHOWN ? factor->level_count : SHOWN;
    double bottom = LEVELS_HEAD + (double)shown * LEVELS_ROW;
    bool any_called = false;
    struct text title;
    char id[32];

    for (size_t l = 0; l < shown; l++)
        any_called = any_called || is_called(review, factor->factor, factor->levels[l].level);
    double height = bottom + FOOT + (any_called ? LEGEND : 0);
    text_init(&title);
    snprintf(id, sizeof id, "by-%zu", factor->factor);
    text_puts(&title, "By ");
    text_safe(&title, of->name, strlen(of->name), &(struct text_safe_options){.limit = NAME});
    svg_begin(page, id, title.bytes, height,
              "Share of vessels lost for each of %zu, highest first, each with its exact 95 %% "
              "range and its counts. The dashed line is the share of all vessels.",
              shown);
    draw_levels_scale(page, review->totals.counts, bottom);
    for (size_t l = 0; l < shown; l++) {
        const struct review_level *level = &factor->levels[l];
        draw_level(page, of->levels[level->level], level,
                   is_called(review, factor->factor, level->level),
                   LEVELS_HEAD + (double)l * LEVELS_ROW);
    }
    if (any_called)
        draw_levels_legend(page, height - 6);
    text_puts(page, "</svg>\n");
    if (shown < factor->level_count)
        svg_note(page, "and %zu more that lost no larger share", factor->level_count - shown);
    table_begin(page, title.bytes, heads);
    for (size_t l = 0; l < shown; l++)
        level_row(page, of->levels[factor->levels[l].level], &factor->levels[l]);
    table_end(page);
    text_release(&title);
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
    const struct review_curve *curves[CURVES];
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

static const struct survival_step *last_step(const struct review_curve *curve)
{
    return &curve->curve.steps[curve->curve.count - 1];
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
        const struct survival_curve *curve = &curves->curves[c]->curve;
        end = fmax(end, last_step(curves->curves[c])->time);
        for (size_t s = 0; s < curve->count; s++)
            if (curve->steps[s].lost > 0)
                loss = fmax(loss, curve->steps[s].time);
    }
    curves->last = fmax(1.0, loss > 0.0 ? fmin(end, ceil(beyond * loss)) : end);
    curves->cut = curves->last < end;
    while (which + 1 < sizeof steps / sizeof steps[0] && curves->last / steps[which] > MOST)
        which++;
    for (double day = 0.0; curves->tick_count < TICKS && day <= curves->last; day += steps[which])
        curves->ticks[curves->tick_count++] = day;
}

/* Names stand where their curves end, as near as they can without touching: down in order, then
 * up again from the bottom. */
static void set_names(struct curves *curves)
{
    size_t order[CURVES] = {0};
    double *y = curves->name_y, lowest = CURVES_BOTTOM + 4;
    for (size_t c = 0; c < curves->count; c++) {
        size_t at = c;
        y[c] = down_survival(last_step(curves->curves[c])->survival) + 4;
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

static void draw_days(struct text *page, const struct curves *curves)
{
    for (int percent = 0; percent <= 100; percent += 50) {
        double y = down_survival(percent / 100.0);
        svg_line(page, CURVES_LEFT, y, CURVES_RIGHT, y, "rail");
        svg_words(page, CURVES_LEFT - 5, y + 4, END, "quiet", 24, "%d %%", percent);
    }
    for (size_t t = 0; t < curves->tick_count; t++) {
        double x = across_days(curves, curves->ticks[t]);
        svg_line(page, x, CURVES_BOTTOM, x, CURVES_BOTTOM + 4, "tick");
        svg_words(page, x, CURVES_BOTTOM + 17, MIDDLE, "quiet", 24, "%.0f", curves->ticks[t]);
    }
    svg_words(page, CURVES_RIGHT + 14, CURVES_BOTTOM + 17, START, "quiet", 4, "day");
}

static void draw_curve(struct text *page, const struct curves *curves, size_t c)
{
    const struct survival_curve *curve = &curves->curves[c]->curve;
    text_printf(page, "<path class=\"curve c%zu\" d=\"M%.1f %.1f", c, across_days(curves, 0.0),
                down_survival(1.0));
    for (size_t s = 0; s < curve->count; s++)
        text_printf(page, "H%.1fV%.1f", across_days(curves, curve->steps[s].time),
                    down_survival(curve->steps[s].survival));
    text_puts(page, "\"/>\n");
    for (size_t s = 0; s < curve->count && curve->steps[s].time <= curves->last; s++) {
        double x = across_days(curves, curve->steps[s].time);
        double y = down_survival(curve->steps[s].survival);
        if (curve->steps[s].censored > 0)
            svg_line(page, x, y - 4, x, y + 4, "tick");
    }
}

static void name_curve(struct text *words, const struct review *review, const struct curves *curves,
                       size_t c)
{
    text_clear(words);
    text_printf(words, "%c ", (char)('A' + (int)c));
    view_curve_name(words, review, curves->curves[c]);
}

static size_t watched_on(const struct survival_curve *curve, double day)
{
    for (size_t s = 0; s < curve->count; s++)
        if (curve->steps[s].time >= day)
            return curve->steps[s].at_risk;
    return 0;
}

static void draw_watched(struct text *page, const struct curves *curves)
{
    double x = CURVES_LEFT - 36, y = CURVES_BOTTOM + 42;
    svg_words(page, x, y, START, "quiet", 44, "Still watched and not lost on each day:");
    for (size_t c = 0; c < curves->count; c++) {
        y += CURVES_LINE;
        svg_words(page, x, y, START, "strong", 2, "%c", (char)('A' + (int)c));
        for (size_t t = 0; t < curves->tick_count; t++)
            svg_words(page, across_days(curves, curves->ticks[t]), y, MIDDLE, "plain", 24, "%zu",
                      watched_on(&curves->curves[c]->curve, curves->ticks[t]));
    }
}

void svg_curves(struct text *page, const struct review *review)
{
    enum { NAME = 14 };
    static const char title[] = "Share not lost, by days since inoculation";
    static const char *const heads[] = {"Which", "Day", "Watched", "Not lost", NULL};
    struct curves curves = {.count = 0};
    struct text words;

    for (size_t c = 0; c < review->time.curve_count && curves.count < CURVES; c++)
        if (review->time.curves[c].curve.count > 0)
            curves.curves[curves.count++] = &review->time.curves[c];
    if (curves.count == 0)
        return;
    text_init(&words);
    set_days(&curves);
    set_names(&curves);
    svg_begin(page, "curves-chart", title, CURVES_BOTTOM + 52 + (double)curves.count * CURVES_LINE,
              "%zu %s that step down whenever a loss was seen, from day 0 to day %.0f. A short "
              "upright mark: a vessel was used, or is not older.",
              curves.count, curves.count == 1 ? "line" : "lines", curves.last);
    draw_days(page, &curves);
    for (size_t c = 0; c < curves.count; c++)
        draw_curve(page, &curves, c);
    for (size_t c = 0; c < curves.count; c++) {
        const struct survival_step *last = last_step(curves.curves[c]);
        name_curve(&words, review, &curves, c);
        svg_line(page, across_days(&curves, last->time), down_survival(last->survival),
                 CURVES_RIGHT + 8, curves.name_y[c] - 4, "lead-line");
        svg_words(page, CURVES_RIGHT + 12, curves.name_y[c], START, "strong", NAME, "%s",
                  words.bytes);
    }
    draw_watched(page, &curves);
    text_puts(page, "</svg>\n");
    svg_note(page, "A step down: losses seen that day. A short upright mark: vessels used by then, "
                   "or no older.");
    if (curves.cut)
        svg_note(page, "Some were watched longer than %.0f days; none was lost then.", curves.last);
    table_begin(page, title, heads);
    for (size_t c = 0; c < curves.count; c++)
        for (size_t t = 0; t < curves.tick_count; t++) {
            const struct survival_curve *curve = &curves.curves[c]->curve;
            double day = curves.ticks[t];
            name_curve(&words, review, &curves, c);
            row_begin(page, words.bytes, WHOLE_LABEL);
            cell(page, "%.0f", day);
            cell(page, "%zu", watched_on(curve, day));
            if (day <= last_step(curves.curves[c])->time)
                cell(page, "%.0f %%", 100.0 * survival_at(curve, day));
            else
                cell(page, "not watched that long");
            row_end(page);
        }
    table_end(page);
    text_release(&words);
}

/* ---- batches ------------------------------------------------------------------------------------ */

enum { BATCHES_LEFT = 92, BATCHES_RIGHT = 222, BATCHES_HEAD = 24, BATCHES_ROW = 24 };

static double across_batch(double share)
{
    return between(BATCHES_LEFT, BATCHES_RIGHT, fmin(fmax(share, 0.0), 1.0));
}

static const char *batch_name(const struct review *review, const struct review_batch *batch)
{
    return review->dataset->factors[review->dataset->batch].levels[batch->level];
}

static const char *reading(const struct review_batch *batch)
{
    return batch->point.above ? "high" : batch->point.below ? "low" : NULL;
}

static void draw_batch(struct text *page, const struct review *review,
                       const struct review_batch *batch, double middle)
{
    const struct monitor_point *point = &batch->point;
    double total = (double)batch->counts.total;
    const char *out = reading(batch), *style = out != NULL ? "strong" : "plain";

    svg_words(page, 4, middle + 5, START, style, 11, "%s", batch_name(review, batch));
    if (batch->counts.total == 0) {
        svg_words(page, BATCHES_RIGHT + 7, middle + 5, START, "quiet", 14, "none counts");
        return;
    }
    double low = across_batch(point->from_below / total);
    double high = across_batch(point->from_above / total);
    svg_box(page, low, middle - 8, high - low, 16, "band");
    svg_line(page, BATCHES_LEFT, middle, BATCHES_RIGHT, middle, "rail");
    svg_shape(page,
              point->above   ? TRIANGLE
              : point->below ? DIAMOND
                             : DOT,
              across_batch(point->share), middle, 12, NULL);
    svg_words(page, BATCHES_RIGHT + 7, middle + 5, START, style, 18, "%zu of %zu%s%s",
              batch->counts.lost, batch->counts.total, out != NULL ? ", " : "",
              out != NULL ? out : "");
}

static void batch_row(struct text *page, const struct review *review,
                      const struct review_batch *batch)
{
    char day[MOMENT_ROOM];
    row_begin(page, batch_name(review, batch), LABEL);
    day_write(batch->day, DAY_ISO, day);
    cell(page, "%s", day[0] != '\0' ? day : "not known");
    lost_cell(page, batch->counts);
    if (batch->counts.total == 0)
        cell(page, "none counts");
    else if (batch->point.from_above > (double)batch->counts.total)
        cell(page, "no number would be");
    else
        cell(page, "%.0f or more", batch->point.from_above);
    cell(page, "%s", reading(batch) != NULL ? reading(batch) : "as usual");
    row_end(page);
}

void svg_batches(struct text *page, const struct review *review)
{
    enum { SHOWN = 40, FOOT = 24 };
    static const char title[] = "Losses of each batch, oldest first";
    static const char *const heads[] = {"Batch",   "Begun", "Lost", "Too many would be",
                                        "Reading", NULL};
    size_t from = review->batch_count > SHOWN ? review->batch_count - SHOWN : 0;
    double bottom = BATCHES_HEAD + (double)(review->batch_count - from) * BATCHES_ROW;
    double mean = across_batch(review->centre);

    svg_begin(page, "batches-chart", title, bottom + FOOT,
              "One row for each of %zu batches in order of time: the share lost, and a band of "
              "what chance alone gives a batch of that size when %.0f %% are lost on average.",
              review->batch_count - from, 100.0 * review->centre);
    for (size_t b = from; b < review->batch_count; b++)
        draw_batch(page, review, &review->batches[b],
                   BATCHES_HEAD + (double)(b - from) * BATCHES_ROW + BATCHES_ROW / 2.0);
    svg_line(page, mean, BATCHES_HEAD - 4, mean, bottom, "mean");
    svg_words(page, mean, BATCHES_HEAD - 9, MIDDLE, "quiet", 12, "all: %.0f %%",
              100.0 * review->centre);
    svg_words(page, BATCHES_LEFT, bottom + 16, START, "quiet", 6, "none");
    svg_words(page, BATCHES_RIGHT, bottom + 16, END, "quiet", 10, "all lost");
    text_puts(page, "</svg>\n");
    if (from > 0)
        svg_note(page, "The last %d of %zu.", (int)SHOWN, review->batch_count);
    svg_note(page, "The band is what chance gives (exact limits); a batch beyond it is marked high "
                   "or low, and by its shape. One batch in 740 lies beyond either end by chance.");
    table_begin(page, title, heads);
    for (size_t b = from; b < review->batch_count; b++)
        batch_row(page, review, &review->batches[b]);
    table_end(page);
}

/* ---- the running sum ---------------------------------------------------------------------------- */

enum { SUM_TOP = 26, SUM_BOTTOM = 170 };

static const char *day_at(const struct review *review, size_t at, char room[MOMENT_ROOM])
{
    const struct review_watch *watch = &review->watch;
    size_t vessel = watch->vessels[at < watch->count ? at : watch->count - 1];
    return day_write(review->dataset->entered[vessel], DAY_WORDS, room);
}

static double across_vessels(const struct review_watch *watch, size_t at)
{
    return between(LEFT, RIGHT, (double)at / (double)watch->count);
}

/* At most BINS points: of each stretch the highest. */
static void draw_sum(struct text *page, const struct review_watch *watch, double most)
{
    enum { BINS = 300 };
    size_t bins = watch->count < BINS ? watch->count : BINS;
    text_printf(page, "<path class=\"curve c0\" d=\"M%.1f %.1f", (double)LEFT, (double)SUM_BOTTOM);
    for (size_t b = 0; b < bins; b++) {
        size_t end = (b + 1) * watch->count / bins, highest = 0;
        for (size_t i = b * watch->count / bins; i < end; i++)
            highest = watch->sums[i] > highest ? watch->sums[i] : highest;
        text_printf(page, "L%.1f %.1f", across_vessels(watch, end),
                    between(SUM_BOTTOM, SUM_TOP, (double)highest / most));
    }
    text_puts(page, "\"/>\n");
}

static void sum_rows(struct text *page, const struct review *review)
{
    enum { EPISODES = 10 };
    const struct review_watch *watch = &review->watch;
    char day[MOMENT_ROOM];
    size_t from = watch->episode_count > EPISODES ? watch->episode_count - EPISODES : 0;

    for (size_t e = from; e < watch->episode_count; e++) {
        const struct monitor_episode *episode = &watch->episodes[e];
        row_begin(page, day_at(review, episode->began, day), LABEL);
        cell(page, "%s", day_at(review, episode->signalled, day));
        cell(page, "%s, %.1f", day_at(review, episode->worst, day),
             (double)episode->highest * watch->plan.step);
        cell(page, "%s",
             episode->ended < watch->count ? day_at(review, episode->ended, day) : "not yet");
        row_end(page);
    }
    if (watch->episode_count == 0)
        text_puts(page, "<tr><th scope=\"row\">never</th><td>never</td><td>below the line</td>"
                        "<td>always was</td></tr>\n");
}

void svg_sum(struct text *page, const struct review *review)
{
    static const char title[] = "Evidence of too many losses, vessel by vessel";
    static const char *const heads[] = {"Began", "Signalled", "Highest", "Back to usual", NULL};
    const struct review_watch *watch = &review->watch;
    double most = 1.15 * (double)watch->plan.threshold;
    char day[MOMENT_ROOM];

    if (!watch->asked || watch->count == 0)
        return;
    for (size_t i = 0; i < watch->count; i++)
        most = fmax(most, 1.05 * (double)watch->sums[i]);
    svg_begin(page, "sum-chart", title, SUM_BOTTOM + 26,
              "A line over %zu vessels in order of time: it rises with each lost vessel and falls "
              "with each sound one. Above the dashed line it signals; it did so %zu %s.",
              watch->count, watch->episode_count, watch->episode_count == 1 ? "time" : "times");
    double line = between(SUM_BOTTOM, SUM_TOP, (double)watch->plan.threshold / most);
    svg_line(page, LEFT, SUM_BOTTOM, RIGHT, SUM_BOTTOM, "tick");
    svg_line(page, LEFT, line, RIGHT, line, "mean");
    svg_words(page, RIGHT, line - 6, END, "quiet", 30, "signals above this line");
    svg_words(page, LEFT, SUM_BOTTOM + 17, START, "quiet", 20, "%s", day_at(review, 0, day));
    svg_words(page, RIGHT, SUM_BOTTOM + 17, END, "quiet", 20, "%s",
              day_at(review, watch->count, day));
    draw_sum(page, watch, most);
    if (watch->episode_count > 0) {
        size_t began = watch->episodes[watch->episode_count - 1].began;
        double x = across_vessels(watch, began);
        svg_line(page, x, SUM_TOP - 4, x, SUM_BOTTOM, "since");
        svg_words(page, x, SUM_TOP - 10, x < WIDTH / 2.0 ? START : END, "strong", 56, "since %s",
                  day_at(review, began, day));
    }
    text_puts(page, "</svg>\n");
    table_begin(page, title, heads);
    sum_rows(page, review);
    table_end(page);
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

struct fate_counts { /* of the vessels of one batch */
    size_t all, of[FATE_COUNT + 1];
};

static struct fate_counts count_fates(const struct dataset *dataset, uint32_t batch)
{
    struct fate_counts counts = {0};
    for (size_t v = 0; v < dataset->vessel_count; v++)
        if (dataset->factors[dataset->batch].level[v] == batch) {
            counts.all++;
            counts.of[dataset->fate[v]]++;
        }
    return counts;
}

static void draw_fates(struct text *page)
{
    enum { A_ROW = 2, ACROSS = 150, ROWS = 3 };
    for (size_t f = 0; f <= FATE_COUNT; f++) {
        size_t row = f / A_ROW;
        double x = LEFT + 6 + (double)(f % A_ROW) * ACROSS, y = 10 + (double)row * VESSELS_LINE;
        svg_shape(page, fates[f].shape, x, y, 11, NULL);
        svg_words(page, x + 11, y + 5, START, "small", 20, "%s", fates[f].word);
    }
    double y = 10 + ROWS * VESSELS_LINE;
    svg_box(page, LEFT - 1, y - 7, 14, 14, "frame");
    svg_words(page, LEFT + 17, y + 5, START, "small", 40, "framed: an uninoculated control");
}

static void draw_vessel(struct text *page, const struct dataset *dataset, size_t vessel, double x,
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
        svg_box(page, x - 7, y - 7, 14, 14, "frame");
    svg_shape(page, fates[dataset->fate[vessel]].shape, x, y, 11, title.bytes);
    text_release(&title);
}

/* Returns where the next one may begin. */
static double draw_vessels(struct text *page, const struct review *review,
                           const struct review_batch *batch, double top)
{
    const struct dataset *dataset = review->dataset;
    char day[MOMENT_ROOM];
    size_t drawn = 0, lines = 0;

    svg_line(page, LEFT, top, RIGHT, top, "rail");
    svg_words(page, LEFT, top + 17, START, "strong", 13, "%s", batch_name(review, batch));
    svg_words(page, LEFT + 122, top + 17, START, "small", 12, "%s",
              day_write(batch->day, DAY_ISO, day));
    svg_words(page, RIGHT, top + 17, END, "plain", 64, "%zu of %zu lost", batch->counts.lost,
              batch->counts.total);
    for (size_t v = 0; v < dataset->vessel_count; v++) {
        if (dataset->factors[dataset->batch].level[v] != batch->level)
            continue;
        if (drawn < MARKED) {
            lines = drawn / A_LINE + 1;
            draw_vessel(page, dataset, v, LEFT + 7 + (double)(drawn % A_LINE) * STEP,
                        top + VESSELS_TITLE + 8 + (double)(lines - 1) * VESSELS_LINE);
        }
        drawn++;
    }
    if (drawn > MARKED) {
        svg_words(page, LEFT, top + VESSELS_TITLE + 13 + LINES * VESSELS_LINE, START, "quiet", 40,
                  "and %zu more", drawn - MARKED);
        lines++;
    }
    return top + VESSELS_TITLE + (double)lines * VESSELS_LINE;
}

static void fates_row(struct text *page, const struct review *review,
                      const struct review_batch *batch)
{
    const char *joint = "<td>";
    struct fate_counts counts = count_fates(review->dataset, batch->level);
    row_begin(page, batch_name(review, batch), LABEL);
    cell(page, "%zu", counts.all);
    for (size_t f = 0; f <= FATE_COUNT; f++)
        if (counts.of[f] > 0) {
            text_printf(page, "%s%zu %s", joint, counts.of[f], fates[f].word);
            joint = ", ";
        }
    text_puts(page, "</td>");
    lost_cell(page, batch->controls);
    row_end(page);
}

void svg_vessels(struct text *page, const struct review *review)
{
    enum { LEGEND = 84, SHOWN = 40 };
    static const char title[] = "Every vessel of each batch, oldest batch first";
    static const char *const heads[] = {"Batch", "Vessels", "Outcomes", "Lost of uninoculated",
                                        NULL};
    size_t from = review->batch_count > SHOWN ? review->batch_count - SHOWN : 0;
    struct text drawing; /* its height is known once it is drawn */
    double height = LEGEND;

    text_init(&drawing);
    draw_fates(&drawing);
    for (size_t b = from; b < review->batch_count; b++)
        height = draw_vessels(&drawing, review, &review->batches[b], height);
    svg_begin(page, "vessels-chart", title, height + 4,
              "%zu batches in order of time, each with one mark for each vessel; the shape of the "
              "mark says what became of it.",
              review->batch_count - from);
    text_add(page, drawing.bytes, drawing.length);
    text_puts(page, "</svg>\n");
    text_release(&drawing);
    if (from > 0)
        svg_note(page, "The last %d of %zu batches.", (int)SHOWN, review->batch_count);
    table_begin(page, title, heads);
    for (size_t b = from; b < review->batch_count; b++)
        fates_row(page, review, &review->batches[b]);
    table_end(page);
}
