/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/page.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal/record.h"

extern const char
    *const view_lines[]; /* words.txt and styles.txt, as the Makefile makes a table of them */

const char *const *view_template(const char *name)
{
    const char *const *line = view_lines;
    while (*line != NULL && (strncmp(*line, "== ", 3) != 0 || strcmp(*line + 3, name) != 0))
        line++;
    return *line != NULL ? line + 1 : line;
}

/* ---- words ----------------------------------------------------------------------------------- */

static void put_escaped(struct text *page, const char *bytes, size_t length)
{
    static const char *const references[256] = {
        ['&'] = "&amp;", ['<'] = "&lt;", ['>'] = "&gt;", ['"'] = "&quot;", ['\''] = "&#39;"};
    for (size_t i = 0; i < length; i++) {
        const char *instead = references[(unsigned char)bytes[i]];
        if (instead != NULL)
            text_puts(page, instead);
        else
            text_add(page, bytes + i, 1);
    }
}

void html_text(struct text *page, const char *words)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    put_escaped(page, safe.bytes, safe.length);
    text_release(&safe);
}

/* In half columns: fonts of pages give capitals and broad letters more room, screens do not. */
static size_t breadth(const char *bytes, size_t length, bool page)
{
    size_t halves = 2 * utf8_width(bytes, length);
    if (!page || length > 1)
        return halves;
    if (strchr("MW@mw%", bytes[0]) != NULL)
        return halves + 2;
    return halves + (bytes[0] >= 'A' && bytes[0] <= 'Z' ? 1 : 0);
}

void text_fit(struct text *out, const char *words, size_t columns, bool page)
{
    /* Marks that take no column may pile up: they are bounded too. */
    enum { POINTS_A_COLUMN = 4, ELLIPSIS = 2 };
    const size_t most = 2 * columns, half = (most - ELLIPSIS) / 2;
    const size_t room = columns * POINTS_A_COLUMN / 2;
    struct text safe;
    size_t width = 0, points = 0, front = 0, back;

    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    for (size_t at = 0, end; at < safe.length; at = end, points++) {
        for (end = at + 1; ((unsigned char)safe.bytes[end] & 0xC0) == 0x80;)
            end++;
        width += breadth(safe.bytes + at, end - at, page);
        if (width <= half && points < room)
            front = end;
    }
    back = safe.length;
    for (size_t n = 0, w = 0, at; n < room && back > front; n++, back = at) {
        for (at = back - 1; at > front && ((unsigned char)safe.bytes[at] & 0xC0) == 0x80;)
            at--;
        if ((w += breadth(safe.bytes + at, back - at, page)) > half)
            break;
    }
    if (width > most || points > columns * POINTS_A_COLUMN) {
        text_add(out, safe.bytes, front);
        text_puts(out, "\xe2\x80\xa6");
        text_puts(out, safe.bytes + back);
    } else
        text_puts(out, safe.bytes);
    text_release(&safe);
}

void html_fit(struct text *page, const char *words, size_t columns)
{
    struct text fitted;
    text_init(&fitted);
    text_fit(&fitted, words, columns, true);
    put_escaped(page, fitted.bytes, fitted.length);
    text_release(&fitted);
}

void html_element(struct text *page, const char *tag, const char *attributes, const char *words)
{
    bool cell = strcmp(tag, "td") == 0 || strcmp(tag, "th") == 0;
    text_printf(page, "<%s%s%s>", tag, attributes != NULL ? " " : "",
                attributes != NULL ? attributes : "");
    html_text(page, words);
    text_printf(page, cell ? "</%s>" : "</%s>\n", tag);
}

/* ---- the page -------------------------------------------------------------------------------- */

/* CSS, or the style sheet of that name. */
static void put_style(struct text *out, const char *style)
{
    if (strncmp(style, "style.", strlen("style.")) != 0)
        text_puts(out, style);
    else
        for (const char *const *line = view_template(style); *line != NULL && **line != '\0';
             line++)
            text_printf(out, "%s\n", *line);
}

void html_begin(struct text *page, const char *title, const char *style)
{
    text_puts(page, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
                    "<meta http-equiv=\"Content-Security-Policy\" "
                    "content=\"default-src 'none'; style-src 'unsafe-inline'\"/>\n"
                    "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
                    "<meta name=\"color-scheme\" content=\"light dark\"/>\n");
    html_element(page, "title", NULL, title);
    text_puts(page, "<style>\n");
    put_style(page, style);
    text_puts(page, "</style>\n</head>\n<body>\n");
}

void html_end(struct text *page)
{
    text_puts(page, "</body>\n</html>\n");
}

const char *const paper_widths[] = {[PAPER_A4] = "210mm", [PAPER_LETTER] = "215.9mm"};

void sheet_begin(struct text *page, const char *title, enum paper paper, const char *style)
{
    struct text css;
    text_init(&css);
    text_printf(
        &css,
        "@page { size: %s; margin: 12mm; }\n"
        "body { font: 11pt/1.35 serif; color: CanvasText; background: Canvas; margin: 0; }\n"
        "@media print { :root { color-scheme: light; } }\n"
        "@media screen { body { max-width: 200mm; margin: auto; padding: 4mm; } }\n",
        paper == PAPER_A4 ? "A4" : "letter");
    put_style(&css, style);
    html_begin(page, title, css.bytes);
    text_release(&css);
}

/* ---- values of a tree ------------------------------------------------------------------------ */

static double real(const json_t *object, const char *key)
{
    return json_number_value(json_object_get(object, key));
}

static double nth(const json_t *list, size_t index)
{
    return json_number_value(json_array_get(list, index));
}

static const char *string(const json_t *object, const char *key)
{
    return json_string_value(json_object_get(object, key));
}

/* ---- curves in plain characters --------------------------------------------------------------- */

enum { MOST_ROWS = 10, MOST_COLUMNS = 65, NARROWEST = 32, AXIS = 7 }; /* AXIS: of "  100 |" */

static void put_cell(char cells[MOST_ROWS][MOST_COLUMNS + 1], double up, size_t column, char mark)
{
    if (up > -0.5 && up < MOST_ROWS - 0.5)
        cells[MOST_ROWS - 1 - (size_t)lround(up)][column] = mark;
}

static void draw_characters(struct screen *screen, const json_t *chart)
{
    const size_t room = screen->width - AXIS - 1,
                 columns = room < MOST_COLUMNS ? room : MOST_COLUMNS;
    const double low = real(chart, "low"), height = real(chart, "high") - low;
    const json_t *entry;
    char cells[MOST_ROWS][MOST_COLUMNS + 1], rule[MOST_COLUMNS + 1];
    size_t index;

    if (screen->width < NARROWEST)
        return;
    memset(cells, ' ', sizeof cells);
    json_array_foreach(json_object_get(chart, "series"), index, entry)
    {
        const json_t *values = json_object_get(entry, "values");
        const size_t last = json_array_size(values) - 1;
        for (size_t column = 0; json_array_size(values) > 0 && column < columns; column++) {
            const double place = (double)last * (double)column / (double)(columns - 1);
            const double part = place - floor(place);
            const size_t at = (size_t)place;
            const double y = at >= last
                                 ? nth(values, last)
                                 : (1.0 - part) * nth(values, at) + part * nth(values, at + 1);
            put_cell(cells, (y - low) / height * (MOST_ROWS - 1), column, string(entry, "mark")[0]);
        }
    }
    json_array_foreach(json_object_get(chart, "points"), index, entry)
    {
        const double along = real(entry, "x") / real(chart, "to");
        const double up = (real(entry, "y") - low) / height;
        if (along >= 0.0 && along <= 1.0 && up >= 0.0 && up <= 1.0)
            put_cell(cells, up * (MOST_ROWS - 1), (size_t)lround(along * (double)(columns - 1)),
                     string(entry, "mark")[0]);
    }
    screen_preformatted(screen, 0, string(chart, "y"));
    for (size_t row = 0; row < MOST_ROWS; row++) {
        struct text line;
        size_t end = columns;
        text_init(&line);
        while (end > 0 && cells[row][end - 1] == ' ')
            end--;
        if (row % 3 == 0)
            text_printf(&line, "%5.0f", low + height * (1.0 - (double)row / (MOST_ROWS - 1)));
        else
            text_puts(&line, "     ");
        text_printf(&line, " |%.*s", (int)end, cells[row]);
        screen_preformatted(screen, 0, line.bytes);
        text_release(&line);
    }
    memset(rule, '-', columns);
    rule[columns] = '\0';
    char *line = text_format("      +%s", rule), right[32];
    const int length =
        snprintf(right, sizeof right, "%.4g %s", real(chart, "to"), string(chart, "x"));
    screen_preformatted(screen, 0, line);
    free(line);
    line = text_format("%*s%-*s%s", AXIS, "", (int)columns > length ? (int)columns - length : 1,
                       "0", right);
    screen_preformatted(screen, 0, line);
    free(line);
    json_array_foreach(json_object_get(chart, "series"), index, entry)
    {
        if (string(entry, "label") != NULL)
            screen_say(screen, AXIS, 3, ROLE_QUIET, "%s  %s", string(entry, "mark"),
                       string(entry, "label"));
    }
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

/* A line across at a share of the height, with its value on the left; a tick below at a share of the width. */
static void put_rail(struct text *svg, double share, double value, const char *unit)
{
    svg_line(svg, LEFT, up(share), RIGHT, up(share), "rail");
    svg_words(svg, LEFT - 5, up(share) + 4, END, "quiet", "%.0f%s", value, unit);
}

static void put_tick(struct text *svg, double share, enum anchor anchor, const char *words)
{
    svg_line(svg, across(share), BOTTOM, across(share), BOTTOM + 4, "tick");
    svg_words(svg, across(share), BOTTOM + 18, anchor, "quiet", "%s", words);
}

/* Axes: shares, and days up to `last`. */
static void put_axes(struct text *svg, double last)
{
    enum { TICKS = 5 };
    static const double steps[] = {1, 2, 5, 7, 14, 28, 60, 90, 180, 365, 730, 1825, 3650, 36500};
    size_t which = 0;
    char day[16];
    while (which + 1 < sizeof steps / sizeof *steps && last / steps[which] > TICKS)
        which++;
    for (int percent = 0; percent <= 100; percent += 50)
        put_rail(svg, percent / 100.0, percent, " %");
    for (size_t tick = 0; (double)tick * steps[which] <= last; tick++) {
        snprintf(day, sizeof day, "%.0f", (double)tick * steps[which]);
        put_tick(svg, (double)tick * steps[which] / last, MIDDLE, day);
    }
    svg_words(svg, RIGHT + 13, BOTTOM + 18, START, "quiet", "day");
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

/* Adds the points of a path, evenly spaced, from the last to the first when `back`. */
static void put_path(struct text *svg, const json_t *values, bool back, const char *begin)
{
    const size_t count = json_array_size(values);
    for (size_t i = 0; i < count; i++) {
        const size_t at = back ? count - 1 - i : i;
        text_printf(svg, "%s%.1f %.1f", i == 0 ? begin : "L",
                    across((double)at / (double)(count - 1)), up(nth(values, at) / 100.0));
    }
}

/* Of a chart whose first series are the slowest, the fastest and the likeliest, where there is a forecast. */
static void draw_chart(const struct face *face, const json_t *tree)
{
    const json_t *chart = json_object_get(tree, "_chart"), *point, *values[3];
    const double last = real(chart, "to");
    struct text svg;
    size_t index;

    if (face->page == NULL) {
        draw_characters(face->screen, chart);
        return;
    }
    for (size_t i = 0; i < 3; i++)
        values[i] = json_object_get(json_array_get(json_object_get(chart, "series"), i), "values");
    text_init(&svg);
    put_axes(&svg, last);
    if (json_array_size(values[0]) > 0) {
        put_path(&svg, values[0], false, "<path class=\"band\" d=\"M");
        put_path(&svg, values[1], true, "L");
        put_path(&svg, values[2], false, "z\"/>\n<path class=\"curve\" d=\"M");
        text_puts(&svg, "\"/>\n");
    }
    json_array_foreach(json_object_get(chart, "points"), index, point)
    {
        svg_words(&svg, across(real(point, "x") / last), up(real(point, "y") / 100.0) + 4, MIDDLE,
                  "strong", "%s", string(point, "mark"));
    }
    figure_put(
        face->page, &svg, "coverage-chart", "Coverage by day",
        "The band is the forecast from slowest to fastest, the line the most likely. O: what "
        "was seen; x: seen in a vessel that is lost.");
}

/* How far the days drawn reach: some time after the last loss, as vessels that nobody looks at any more
 * would press all that happened into a corner. */
static double last_day(const json_t *curves)
{
    static const double beyond = 1.5;
    const json_t *curve, *step;
    double loss = 0.0, end = 1.0;
    size_t c, s;
    json_array_foreach(curves, c, curve)
    {
        json_array_foreach(json_object_get(curve, "steps"), s, step)
        {
            end = fmax(end, real(step, "day"));
            if (real(step, "lost") > 0)
                loss = fmax(loss, real(step, "day"));
        }
    }
    return fmax(1.0, loss > 0.0 ? fmin(end, ceil(beyond * loss)) : end);
}

static void draw_curves(const struct face *face, const json_t *tree)
{
    enum { LETTER = 13 };
    const json_t *curves = json_object_get(json_object_get(tree, "time"), "curves"), *curve, *step;
    const double last = last_day(curves);
    struct text svg;
    size_t c, s;

    text_init(&svg);
    put_axes(&svg, last);
    json_array_foreach(curves, c, curve)
    {
        double survival = 1.0, end = 0.0;
        if (json_array_size(json_object_get(curve, "steps")) == 0)
            continue;
        text_printf(&svg, "<path class=\"curve c%zu\" d=\"M%d %d", c, LEFT, TOP);
        json_array_foreach(json_object_get(curve, "steps"), s, step)
        {
            survival = real(step, "survival");
            end = fmin(real(step, "day"), last) / last;
            text_printf(&svg, "H%.1fV%.1f", across(end), up(survival));
        }
        text_puts(&svg, "\"/>\n");
        svg_words(&svg, across(end) + 4 + (double)c * LETTER, up(survival) + 4, START, "strong",
                  "%s", string(curve, "_letter"));
    }
    figure_put(face->page, &svg, "curves-chart", "Share not lost, by days since inoculation",
               "A step down: losses seen that day. The list names the letters.");
}

static void draw_sum(const struct face *face, const json_t *watch)
{
    enum { TICKS = 4 };
    const json_t *sums = json_object_get(watch, "_sums"), *pair;
    const char *since = string(watch, "_since");
    const double began = real(watch, "_began");
    double most = 1.15;
    struct text svg;
    size_t index;

    if (json_array_size(sums) == 0)
        return;
    text_init(&svg);
    json_array_foreach(sums, index, pair)
    {
        most = fmax(most, 1.05 * nth(pair, 1));
    }
    const double step = fmax(1.0, ceil(most / TICKS));
    for (size_t k = 0; (double)k * step <= most; k++)
        put_rail(&svg, (double)k * step / most, (double)k * step, "");
    svg_line(&svg, LEFT, up(1.0 / most), RIGHT, up(1.0 / most), "mean");
    svg_words(&svg, RIGHT + 4, up(1.0 / most) + 4, START, "quiet", "alarm");
    put_tick(&svg, 0.0, START, string(watch, "_from"));
    put_tick(&svg, 1.0, END, string(watch, "_to"));
    text_printf(&svg, "<path class=\"curve c0\" d=\"M%d %d", LEFT, BOTTOM);
    json_array_foreach(sums, index, pair)
    {
        text_printf(&svg, "L%.1f %.1f", across(nth(pair, 0)), up(nth(pair, 1) / most));
    }
    text_puts(&svg, "\"/>\n");
    if (since != NULL) {
        svg_line(&svg, across(began), TOP - 4, across(began), BOTTOM, "since");
        svg_words(&svg, across(began), TOP - 9, began < 0.5 ? START : END, "strong", "since %s",
                  since);
    }
    figure_put(face->page, &svg, "sum-chart", "Evidence of too many losses, in alarms",
               "A line over all vessels in order of time: it rises with each lost vessel and falls "
               "with each sound one. At 1, the dashed line, it raises the alarm.");
}

/* ---- cells of tables ------------------------------------------------------------------------------ */

/* Bars are drawn with borders, which print wherever backgrounds do not. */
static void draw_bar(const struct face *face, const json_t *row)
{
    const double low = real(row, "_low"), high = real(row, "_high");
    text_puts(face->page, "<td class=\"bar\">");
    if (json_is_number(json_object_get(row, "_share")))
        text_printf(face->page,
                    "<i style=\"left:%.1f%%;width:%.1f%%\"></i><b style=\"left:%.1f%%\"></b>",
                    100.0 * low, 100.0 * (high - low), 100.0 * real(row, "_share"));
    text_puts(face->page, "</td>");
}

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

static void draw_legend(const struct face *face, const json_t *tree)
{
    (void)tree;
    text_puts(face->page, "<p class=\"quiet\">");
    for (size_t f = 0; f <= FATE_COUNT; f++)
        text_printf(face->page, "<span class=\"%s\">%s</span> %s; ", fates[f].style, fates[f].mark,
                    fates[f].word);
    text_puts(face->page, "framed: an uninoculated control</p>\n");
}

static void draw_marks(const struct face *face, const json_t *row)
{
    const json_t *mark;
    size_t index;
    text_puts(face->page, "<td class=\"marks\">");
    json_array_foreach(json_object_get(row, "_marks"), index, mark)
    {
        const size_t fate = (size_t)nth(mark, 0);
        const bool control = json_is_true(json_array_get(mark, 1));
        text_printf(face->page, "<span class=\"%s%s\" title=\"%s%s", fates[fate].style,
                    control ? " frame" : "", fates[fate].word, control ? ", uninoculated" : "");
        if (json_is_number(json_array_get(mark, 2)))
            text_printf(face->page, ", day %.0f", nth(mark, 2));
        text_printf(face->page, "\">%s</span>", fates[fate].mark);
    }
    if (real(row, "_more") > 0)
        text_printf(face->page, " and %.0f more", real(row, "_more"));
    text_puts(face->page, "</td>");
}

void view_part(const struct face *face, const char *name, const json_t *tree)
{
    static const struct {
        const char *name;
        void (*draw)(const struct face *face, const json_t *tree);
        bool screen; /* it is drawn there, too */
    } parts[] = {{"chart", draw_chart, true},    {"bar", draw_bar, false},
                 {"curves", draw_curves, false}, {"sum", draw_sum, false},
                 {"marks", draw_marks, false},   {"legend", draw_legend, false}};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        if (strcmp(parts[i].name, name) == 0 && (face->page != NULL || parts[i].screen))
            parts[i].draw(face, tree);
}
