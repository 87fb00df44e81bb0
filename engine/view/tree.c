/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/tree.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <qrencode.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/dates.h"
#include "base/units.h"
#include "journal/record.h"

extern const char
    *const view_lines[]; /* words.txt and styles.txt, as the Makefile makes a table of them */

/* The lines of words.txt or styles.txt below "== NAME"; a NULL where there is no such name. */
static const char *const *view_template(const char *name)
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

static void html_text(struct text *page, const char *words)
{
    TEXT(safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    put_escaped(page, safe.bytes, safe.length);
}

/* Appends text made safe, the middle of what exceeds `columns` (2 or more) left out, as names differ
 * at their ends. Marks that take no column may pile up: they are bounded too. */
static void text_fit(struct text *out, const char *words, size_t columns)
{
    const size_t half = (columns - 1) / 2, room = 8 * half;
    TEXT(safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    if (utf8_width(safe.bytes, safe.length) <= columns && safe.length <= 2 * room) {
        text_puts(out, safe.bytes);
        return;
    }
    const size_t most = safe.length < room ? safe.length : room;
    const size_t front = screen_fit(safe.bytes, utf8_valid_prefix(safe.bytes, most), half);
    size_t back = safe.length - most > front ? safe.length - most : front;
    while (((unsigned char)safe.bytes[back] & 0xC0) == 0x80 ||
           utf8_width(safe.bytes + back, safe.length - back) > half)
        back++;
    text_printf(out, "%.*s\xe2\x80\xa6%s", (int)front, safe.bytes, safe.bytes + back);
}

/* <TAG>words</TAG>, and a newline but for cells; `attributes` is ours ("class=\"x\"") or NULL. */
static void html_element(struct text *page, const char *tag, const char *attributes,
                         const char *words)
{
    bool cell = strcmp(tag, "td") == 0 || strcmp(tag, "th") == 0;
    text_printf(page, "<%s%s%s>", tag, attributes != NULL ? " " : "",
                attributes != NULL ? attributes : "");
    html_text(page, words);
    text_printf(page, cell ? "</%s>" : "</%s>\n", tag);
}

/* ---- pages --------------------------------------------------------------------------------- */

/* The style sheets of these names, apart by blanks, and those that they use. */
static void put_styles(struct text *out, const char *names)
{
    for (size_t length; (length = strcspn(names, " ")) > 0;
         names += length + strspn(names + length, " ")) {
        char *name SCOPED_FREE = text_format("style.%.*s", (int)length, names);
        const char *const *line = view_template(name);
        for (; *line != NULL && **line != '\0'; line++)
            if (strncmp(*line, "use ", 4) == 0)
                put_styles(out, *line + 4);
            else
                text_printf(out, "%s\n", *line);
    }
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

json_t *view_coverage_chart(const struct range *band, double last, json_t *points)
{
    json_t *values[3] = {json_array(), json_array(), json_array()}, *all = json_array();
    bool lost = false, fine = false;
    for (size_t i = 0; band != NULL && i < COURSE_POINTS; i++) {
        json_array_append_new(values[0], json_real(band[i].low));
        json_array_append_new(values[1], json_real(band[i].high));
        json_array_append_new(values[2], json_real(band[i].central));
    }
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *mark = json_object_get(json_array_get(points, i), "mark");
        lost = lost || json_string_value(mark)[0] == 'x';
        fine = fine || json_string_value(mark)[0] != 'x';
    }
    json_array_append_new(all,
                          view_series(".", band != NULL ? "slowest and fastest" : NULL, values[0]));
    json_array_append_new(all, view_series(".", NULL, values[1]));
    json_array_append_new(all, view_series("*", band != NULL ? "most likely" : NULL, values[2]));
    if (fine)
        json_array_append_new(all, view_series("O", "seen", json_null()));
    if (lost)
        json_array_append_new(all, view_series("x", "seen in a vessel that is lost", json_null()));
    return view_json("x:s y:s to:n low:i high:i series:o points:o", "days", "% colonised", last, 0,
                     100, all, points);
}

/* ---- curves in plain characters --------------------------------------------------------------- */

enum { MOST_ROWS = 10, MOST_COLUMNS = 65, NARROWEST = 32, AXIS = 7 }; /* AXIS: of "  100 |" */

static void put_cell(char cells[MOST_ROWS][MOST_COLUMNS + 1], double up, size_t column, char mark)
{
    if (up > -0.5 && up < MOST_ROWS - 0.5)
        cells[MOST_ROWS - 1 - (size_t)lround(up)][column] = mark;
}

static void draw_chart(const struct face *face, const json_t *tree)
{
    struct screen *screen = face->screen;
    const json_t *chart = json_object_get(tree, "_chart");
    const size_t room = screen->width - AXIS - 1,
                 columns = room < MOST_COLUMNS ? room : MOST_COLUMNS;
    const double low = real(chart, "low"), height = real(chart, "high") - low;
    const json_t *entry;
    char cells[MOST_ROWS][MOST_COLUMNS + 1];
    size_t index;

    if (screen->width < NARROWEST)
        return;
    memset(cells, ' ', sizeof cells);
    json_array_foreach (json_object_get(chart, "series"), index, entry) {
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
    json_array_foreach (json_object_get(chart, "points"), index, entry) {
        const double along = real(entry, "x") / real(chart, "to");
        const double up = (real(entry, "y") - low) / height;
        if (along >= 0.0 && along <= 1.0 && up >= 0.0 && up <= 1.0)
            put_cell(cells, up * (MOST_ROWS - 1), (size_t)lround(along * (double)(columns - 1)),
                     string(entry, "mark")[0]);
    }
    screen_preformatted(screen, 0, string(chart, "y"));
    for (size_t row = 0; row < MOST_ROWS; row++) {
        size_t end = columns;
        TEXT(line);
        while (end > 0 && cells[row][end - 1] == ' ')
            end--;
        if (row % 3 == 0)
            text_printf(&line, "%5.0f", low + height * (1.0 - (double)row / (MOST_ROWS - 1)));
        text_printf(&line, "%*s|%.*s", row % 3 == 0 ? 1 : AXIS - 1, "", (int)end, cells[row]);
        screen_preformatted(screen, 0, line.bytes);
    }
    memset(cells, '-', columns);
    TEXT(line);
    text_printf(&line, "      +%.*s", (int)columns, cells[0]);
    screen_preformatted(screen, 0, line.bytes);
    text_clear(&line);
    text_printf(&line, "%.4g %s", real(chart, "to"), string(chart, "x"));
    char *right SCOPED_FREE = text_format("%*s0%*s", AXIS, "", (int)columns - 1, line.bytes);
    screen_preformatted(screen, 0, right);
    json_array_foreach (json_object_get(chart, "series"), index, entry)
        if (string(entry, "label") != NULL)
            screen_say(screen, AXIS, 3, ROLE_QUIET, "%s  %s", string(entry, "mark"),
                       string(entry, "label"));
}

/* ---- curves on a page --------------------------------------------------------------------------- */

/* Of a figure 350 wide and 206 high (words.txt). */
enum { LEFT = 56, RIGHT = 306, TOP = 24, BOTTOM = 180 };

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
    FORMATTED(words, format);
    text_printf(svg, "<text x=\"%.1f\" y=\"%.1f\"%s class=\"%s\">", x, y, anchors[anchor], style);
    html_text(svg, words);
    text_puts(svg, "</text>\n");
}

static void svg_line(struct text *svg, double x1, double y1, double x2, double y2,
                     const char *style)
{
    text_printf(svg, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", x1,
                y1, x2, y2, style);
}

/* A line across at a share of the height, its value on the left; a tick at a share of the width. */
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

/* Of a chart whose first series, if there is a forecast, are its slowest, fastest, likeliest. */
static void draw_coverage(const struct face *face, const json_t *tree)
{
    struct text *svg = face->page;
    const json_t *chart = json_object_get(tree, "_chart"), *point, *values[3];
    const double last = real(chart, "to");
    size_t index;

    for (size_t i = 0; i < 3; i++)
        values[i] = json_object_get(json_array_get(json_object_get(chart, "series"), i), "values");
    put_axes(svg, last);
    if (json_array_size(values[0]) > 0) {
        put_path(svg, values[0], false, "<path class=\"band\" d=\"M");
        put_path(svg, values[1], true, "L");
        put_path(svg, values[2], false, "z\"/>\n<path class=\"curve\" d=\"M");
        text_puts(svg, "\"/>\n");
    }
    json_array_foreach (json_object_get(chart, "points"), index, point) {
        svg_words(svg, across(real(point, "x") / last), up(real(point, "y") / 100.0) + 4, MIDDLE,
                  "strong", "%s", string(point, "mark"));
    }
}

/* How far the days drawn reach: some time after the last loss, as vessels that nobody looks at any
 * more would press all that happened into a corner. */
static double last_day(const json_t *curves)
{
    static const double beyond = 1.5;
    const json_t *curve, *step;
    double loss = 0.0, end = 1.0;
    size_t c, s;
    json_array_foreach (curves, c, curve) {
        json_array_foreach (json_object_get(curve, "steps"), s, step) {
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
    struct text *svg = face->page;
    const json_t *curves = json_object_get(json_object_get(tree, "time"), "curves"), *curve, *step;
    const double last = last_day(curves);
    size_t c, s;

    put_axes(svg, last);
    json_array_foreach (curves, c, curve) {
        double survival = 1.0, end = 0.0;
        if (json_array_size(json_object_get(curve, "steps")) == 0)
            continue;
        text_printf(svg, "<path class=\"curve c%zu\" d=\"M%d %d", c, LEFT, TOP);
        json_array_foreach (json_object_get(curve, "steps"), s, step) {
            survival = real(step, "survival");
            end = fmin(real(step, "day"), last) / last;
            text_printf(svg, "H%.1fV%.1f", across(end), up(survival));
        }
        text_puts(svg, "\"/>\n");
        svg_words(svg, across(end) + 4 + (double)c * LETTER, up(survival) + 4, START, "strong",
                  "%s", string(curve, "_letter"));
    }
}

static void draw_sum(const struct face *face, const json_t *watch)
{
    enum { TICKS = 4 };
    struct text *svg = face->page;
    const json_t *sums = json_object_get(watch, "_sums"), *pair;
    const char *since = string(watch, "_since");
    const double began = real(watch, "_began");
    double most = 1.15;
    size_t index;

    json_array_foreach (sums, index, pair)
        most = fmax(most, 1.05 * nth(pair, 1));
    const double step = fmax(1.0, ceil(most / TICKS));
    for (size_t k = 0; (double)k * step <= most; k++)
        put_rail(svg, (double)k * step / most, (double)k * step, "");
    svg_line(svg, LEFT, up(1.0 / most), RIGHT, up(1.0 / most), "mean");
    svg_words(svg, RIGHT + 4, up(1.0 / most) + 4, START, "quiet", "alarm");
    put_tick(svg, 0.0, START, string(watch, "_from"));
    put_tick(svg, 1.0, END, string(watch, "_to"));
    text_printf(svg, "<path class=\"curve c0\" d=\"M%d %d", LEFT, BOTTOM);
    json_array_foreach (sums, index, pair) {
        text_printf(svg, "L%.1f %.1f", across(nth(pair, 0)), up(nth(pair, 1) / most));
    }
    text_puts(svg, "\"/>\n");
    if (since != NULL) {
        svg_line(svg, across(began), TOP - 4, across(began), BOTTOM, "since");
        svg_words(svg, across(began), TOP - 9, began < 0.5 ? START : END, "strong", "since %s",
                  since);
    }
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
    json_array_foreach (json_object_get(row, "_marks"), index, mark) {
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

/* The label as a QR code, black on white whatever the colours of the page; nothing for one so long
 * that its squares would be too small to read. */
static void draw_code(const struct face *face, const json_t *tree)
{
    enum { QUIET = 4, MOST = 41, DARK = 1 }; /* ISO/IEC 18004: four white modules round it */
    const char *label = string(tree, "label");
    errno = 0;
    QRcode *code =
        QRcode_encodeData((int)strlen(label), (const unsigned char *)label, 0, QR_ECLEVEL_M);
    if (code == NULL && errno != ERANGE && errno != EINVAL) /* too long, or empty */
        memory_exhausted();
    if (code != NULL && code->width <= MOST) {
        int side = code->width + 2 * QUIET;
        text_printf(face->page,
                    "<svg viewBox=\"0 0 %d %d\" role=\"img\" aria-label=\"QR code\">"
                    "<path fill=\"#fff\" d=\"M0 0h%dv%dH0z\"/><path d=\"",
                    side, side, side, side);
        for (int y = 0; y < code->width; y++)
            for (int x = 0, run; x < code->width; x += run) {
                const unsigned char *cells = code->data + (size_t)y * (size_t)code->width;
                for (run = 1; x + run < code->width && !((cells[x] ^ cells[x + run]) & DARK);)
                    run++;
                if (cells[x] & DARK)
                    text_printf(face->page, "M%d %dh%dv1h-%dz", x + QUIET, y + QUIET, run, run);
            }
        text_puts(face->page, "\"/></svg>");
    }
    QRcode_free(code);
}

/*
 * Draws what no template does, from the tree where the template stands:
 *
 *     chart    `_chart`: curves of plain characters on a screen, as wide as it is (at most 72 columns) and
 *              nothing where it is narrower than 32, where the numbers must do. {to, low, high: ends of the
 *              axes, x, y: their units, series: [{mark, label: for the legend or null, values: evenly spaced, or
 *              null}], points: [{x, y, mark}]}: later series stand over earlier ones, points over all
 *     coverage `_chart` of a forecast, within the SVG of a page, as the next two
 *     bar      a cell of a table: a bar from `_low` to `_high` (0 to 1), and `_share` as a mark on it
 *     curves   the survival curves of `time`
 *     sum      since when losses are above the usual: `_sums`, pairs of the share of vessels so far and the
 *              sum of evidence in alarms; `_from` and `_to`, the days at its ends; `_began`, the share where
 *              the last episode began, and `_since`, its day, or null
 *     marks    a cell with every vessel of a batch: `_marks`, triples of fate, control, days; and `_more`
 *     legend   what the marks mean
 *     code     `label` as a QR code
 *
 * Charts of pages are inline SVG, drawn for a column as wide as a telephone: one unit is about a pixel there.
 * Classes are of the page's style.
 */
static void view_part(const struct face *face, const char *name, const json_t *tree)
{
    static const struct {
        const char *name;
        void (*draw)(const struct face *face, const json_t *tree);
        bool screen; /* it is drawn there; else on a page */
    } parts[] = {{"chart", draw_chart, true},        {"bar", draw_bar, false},
                 {"coverage", draw_coverage, false}, {"curves", draw_curves, false},
                 {"sum", draw_sum, false},           {"marks", draw_marks, false},
                 {"legend", draw_legend, false},     {"code", draw_code, false}};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        if (strcmp(parts[i].name, name) == 0 &&
            (parts[i].screen ? face->screen != NULL : face->page != NULL))
            parts[i].draw(face, tree);
}

/* ---- JSON ------------------------------------------------------------------------------------ */

/* A value of that kind: the letters stand in tree.h. */
static json_t *next_value(char kind, va_list *values)
{
    const struct range *range;
    const char *string;
    switch (kind) {
    case 'r':
        range = va_arg(*values, const struct range *);
        return view_json("low:n central:n high:n", range->low, range->central, range->high);
    case 'n':
        return view_json_number(va_arg(*values, double));
    case 'z':
        return json_integer((json_int_t)va_arg(*values, size_t));
    case 'l':
        return json_integer(va_arg(*values, json_int_t));
    case 'i':
        return json_integer(va_arg(*values, int));
    case 'b':
        return json_boolean(va_arg(*values, int));
    case 's':
        string = va_arg(*values, const char *);
        return string != NULL ? json_string(string) : json_null();
    case 't':
        return view_json_safe(va_arg(*values, const char *));
    case 'w':
        return view_json_text(va_arg(*values, const char *));
    default:
        return va_arg(*values, json_t *);
    }
}

json_t *view_json(const char *keys, ...)
{
    json_t *object = json_object();
    va_list values;
    va_start(values, keys);
    for (const char *at = keys; *at != '\0'; at += strspn(at, " ")) {
        size_t length = strcspn(at, ":");
        json_t *value = next_value(at[length + 1], &values);
        json_object_setn_new(object, at, length, value);
        at += length + 2;
    }
    va_end(values);
    return object;
}

json_t *view_json_number(double number)
{
    return isfinite(number) ? json_real(number) : json_null();
}

static json_t *safe_string(const char *words, bool keep_newlines)
{
    TEXT(safe);
    text_safe(&safe, words, strlen(words),
              &(struct text_safe_options){.keep_newlines = keep_newlines});
    return json_stringn(safe.bytes, safe.length);
}

json_t *view_json_text(const char *text)
{
    return text == NULL || text[0] == '\0'                         ? json_null()
           : utf8_valid_prefix(text, strlen(text)) == strlen(text) ? json_string(text)
                                                                   : safe_string(text, true);
}

json_t *view_json_safe(const char *words)
{
    return safe_string(words, false);
}

json_t *view_json_first(const json_t *list, const char *key, double least, size_t most)
{
    json_t *made = json_array();
    for (size_t i = 0; i < json_array_size(list) && i < most; i++) {
        json_t *row = json_array_get(list, i);
        if (i > 0 && json_number_value(json_object_get(row, key)) < least)
            break;
        json_array_append(made, row);
    }
    return made;
}

json_t *view_json_strings(const char *const *strings, size_t count)
{
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(array, json_string(strings[i]));
    return array;
}

json_t *view_json_parts(const char *parts)
{
    json_t *array = json_array();
    while (parts != NULL && *parts != '\0') {
        const char *end = strstr(parts, "; ");
        size_t length = end != NULL ? (size_t)(end - parts) : strlen(parts);
        json_array_append_new(array, json_stringn(parts, length));
        parts += length + (end != NULL ? 2 : 0);
    }
    return array;
}

static void html_table(struct text *page, const char *const *cells, size_t columns, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const bool head = i < columns, first = i % columns == 0;
        text_puts(page, i == 0 ? "<table>\n<thead><tr>" : first ? "<tr>" : "");
        html_element(page, head || first ? "th" : "td",
                     head    ? "scope=\"col\""
                     : first ? "scope=\"row\""
                             : NULL,
                     cells[i]);
        if (i % columns == columns - 1)
            text_puts(page, head ? "</tr></thead>\n<tbody>\n" : "</tr>\n");
    }
    text_puts(page, "</tbody>\n</table>\n");
}

/* ---- values ---------------------------------------------------------------------------------- */

/* Where a template looks for its keys: the innermost first. */
struct context {
    const json_t *tree;
    size_t at; /* counted from 1, within a list */
    bool page;
    const struct context *outer;
};

/* What stands under a dotted path, which begins where its first key is known; "." is what the
 * innermost list has here. NULL where there is nothing. */
static const json_t *found(const struct context *context, const char *path)
{
    const json_t *tree = NULL;
    if (strcmp(path, ".") == 0)
        return context->tree;
    for (const char *at = path; *at != '\0';) {
        char key[64];
        const size_t length = strcspn(at, ".");
        snprintf(key, sizeof key, "%.*s", (int)length, at);
        for (; at == path && context != NULL && tree == NULL; context = context->outer)
            tree = json_object_get(context->tree, key);
        if (at != path)
            tree = json_is_array(tree) ? json_array_get(tree, strtoul(key, NULL, 10))
                                       : json_object_get(tree, key);
        at += length + (at[length] == '.');
    }
    return tree;
}

/* A number, the length of a list or of a string; NAN for what is not there. */
static double number_at(const struct context *context, const char *path)
{
    if (strcmp(path, "#") == 0)
        return (double)context->at;
    if (strcmp(path, "page") == 0)
        return context->page;
    const json_t *value = found(context, path);
    return json_is_number(value)   ? json_number_value(value)
           : json_is_true(value)   ? 1.0
           : json_is_false(value)  ? 0.0
           : json_is_array(value)  ? (double)json_array_size(value)
           : json_is_string(value) ? (double)json_string_length(value)
           : json_is_object(value) ? 1.0
                                   : NAN;
}

/* One of "key", "key=word", "key>1", "key<0.5", "key=$key"; nothing is equal, above or below what
 * is not there. The test is cut in two. */
static bool holds_one(const struct context *context, char *test)
{
    char *with = test + strcspn(test, "=<>"), operation = *with;
    const json_t *value, *other;
    double number, bound;
    if (operation != '\0')
        *with++ = '\0';
    value = found(context, test);
    number = number_at(context, test);
    if (operation == '\0')
        return !isnan(number) && number != 0.0;
    other = with[0] == '$' ? found(context, with + 1) : NULL;
    if (json_is_string(value))
        return other != NULL ? json_equal(value, other)
                             : strcmp(json_string_value(value), with) == 0;
    bound = with[0] == '$' ? number_at(context, with + 1) : strtod(with, NULL);
    return operation == '>'   ? number > bound
           : operation == '<' ? number < bound
                              : fabs(number - bound) < 1e-9;
}

/* All of what "&" joins, blanks around it or not; "!" before one turns it round. */
static bool holds(const struct context *context, const char *tests)
{
    bool all = true;
    while (all && *tests != '\0') {
        char test[128];
        tests += strspn(tests, " ");
        const size_t length = strcspn(tests, "&");
        snprintf(test, sizeof test, "%.*s", (int)length, tests);
        for (size_t end = strlen(test); end > 0 && test[end - 1] == ' ';)
            test[--end] = '\0';
        all = holds_one(context, test + (test[0] == '!')) == (test[0] != '!');
        tests += length + (tests[length] == '&');
    }
    return all;
}

/* ---- formats --------------------------------------------------------------------------------- */

const char *view_percent(double p, char room[PERCENT_ROOM])
{
    if (p < 0.01)
        snprintf(room, PERCENT_ROOM, "under 1 %%");
    else if (p > 0.99)
        snprintf(room, PERCENT_ROOM, "over 99 %%");
    else
        snprintf(room, PERCENT_ROOM, "%.0f %%", 100.0 * p);
    return room;
}

/* "in 5 days": how far a day lies ahead of today, with its date where that is not near. */
static void put_when(struct text *out, int64_t day, int64_t today)
{
    static const char *const near[] = {"yesterday", "today", "tomorrow"};
    const long long ahead = (long long)(day - today);
    if (ahead >= -1 && ahead <= 1)
        text_puts(out, near[ahead + 1]);
    else
        text_printf(out, ahead < 0 ? "%s, %lld days ago" : "%s, in %lld days",
                    day_write(day, DAY_ISO, MOMENT_WORDS), llabs(ahead));
}

/* A number by the name of its format:
 *   percent, chance   "96 %", "under 1 in 1000": as one says a chance
 *   p                 "0.0031", "below 0.0001": never without counts beside it
 *   logs              log reductions: beyond a hundred more figures mean nothing
 *   degrees, baredegrees, otherdegrees   in the scale that the grower reads; without it; in the other one
 *   floor, ceil       a whole number
 * or of its quantity, or as printf has it: ".1f", ".3g", "3.0f"; with % before it a share in per cent,
 * with - without its sign. */
static void put_number(struct text *out, double number, const char *format)
{
    static const struct {
        const char *name;
        enum dimension dimension;
    } quantities[] = {{"grams", DIM_GRAMS},
                      {"gauge", DIM_GAUGE_KPA},
                      {"metres", DIM_METRES},
                      {"pressure", DIM_PRESSURE_KPA}};
    char letter, room[PERCENT_ROOM], *end;
    const double shown = degrees_shown(number, &letter);
#define IS_FORMAT(name) (strcmp(format, name) == 0)
    for (size_t i = 0; i < sizeof quantities / sizeof *quantities; i++)
        if (IS_FORMAT(quantities[i].name)) {
            quantity_show(out, number, quantities[i].dimension);
            return;
        }
    const bool chance = IS_FORMAT("chance"), share = format[0] == '%', bare = format[0] == '-';
    if (chance && number < 0.001)
        text_puts(out, "under 1 in 1000");
    else if (chance && number < 0.1)
        text_printf(out, "%.2g %%", 100.0 * number);
    else if (chance || IS_FORMAT("percent"))
        text_puts(out, view_percent(number, room));
    else if (IS_FORMAT("p") && number < 0.0001)
        text_puts(out, "below 0.0001");
    else if (IS_FORMAT("p"))
        text_printf(out, number < 0.01 ? "%.4f" : "%.2f", number);
    else if (IS_FORMAT("logs"))
        text_printf(out, number > 100.0 ? "over 100" : "%.2g", number);
    else if (IS_FORMAT("degrees"))
        text_printf(out, "%.1f \xc2\xb0%c", shown, letter);
    else if (IS_FORMAT("baredegrees"))
        text_printf(out, "%.1f", shown);
    else if (IS_FORMAT("otherdegrees"))
        text_printf(out, "%.1f \xc2\xb0%c", letter == 'C' ? 1.8 * shown + 32.0 : number,
                    letter == 'C' ? 'F' : 'C');
    else if (IS_FORMAT("floor") || IS_FORMAT("ceil"))
        text_printf(out, "%.0f", format[0] == 'f' ? floor(number) : ceil(number));
    else {
        number = share ? 100.0 * number : bare ? fabs(number) : number;
        const int width = (int)strtol(format + (share || bare), &end, 10);
        const int digits = *end == '.' ? (int)strtol(end + 1, &end, 10) : 0;
        text_printf(out, *end == 'g' ? "%*.*g" : "%*.*f", width, digits, number);
    }
#undef IS_FORMAT
}

static void put_value(struct text *out, const struct context *context, const char *path,
                      const char *format)
{
    const double number = number_at(context, path);
    const char *string = json_string_value(found(context, path));
    const char *today = json_string_value(found(context, "_today"));
    const bool when = strcmp(format, "when") == 0;
    int64_t day, now;
    size_t before = out->length;
    if (string == NULL && !isnan(number))
        put_number(out, number, format[0] != '\0' ? format : "0.0f");
    else if (string != NULL && (when || strcmp(format, "day") == 0) &&
             day_read(string, &day) != NULL) {
        if (when && today != NULL && day_read(today, &now) != NULL)
            put_when(out, day, now);
        else
            text_puts(out, day_write(day, DAY_WORDS, MOMENT_WORDS));
    } else if (string != NULL && strcmp(format, "date") == 0) /* of a moment */
        text_printf(out, "%.10s", string);
    else if (string != NULL && strncmp(format, "fit", 3) == 0)
        text_fit(out, string, strtoul(format + 3, NULL, 10));
    else if (string != NULL && strncmp(format, "pad", 3) == 0) {
        const size_t columns = format[3] != '\0' ? strtoul(format + 3, NULL, 10)
                                                 : (size_t)number_at(context, "_columns");
        text_fit(out, string, columns);
        const size_t used = utf8_width(out->bytes + before, out->length - before);
        text_printf(out, "%*s", used < columns ? (int)(columns - used) : 0, "");
    } else if (string != NULL)
        text_puts(out, string);
    if (strcmp(format, "capital") == 0)
        out->bytes[before] = (char)toupper((unsigned char)out->bytes[before]);
    for (size_t i = before; strcmp(format, "words") == 0 && i < out->length; i++)
        out->bytes[i] = out->bytes[i] == '_' ? ' ' : out->bytes[i];
}

/* ---- words ----------------------------------------------------------------------------------- */

/* How far words go up to one of these bytes outside of braces. */
static size_t reach(const char *words, const char *stops)
{
    size_t at = 0;
    for (int depth = 0; words[at] != '\0'; at++) {
        if (depth == 0 && strchr(stops, words[at]) != NULL)
            break;
        depth += (words[at] == '{') - (words[at] == '}');
    }
    return at;
}

/* Cuts the words off at one of these bytes outside of braces: what stood there, and the rest. */
static char cut_at(char *words, const char *stops, char **rest)
{
    char *end = words + reach(words, stops), stop = *end;
    *rest = end + (stop != '\0');
    *end = '\0';
    return stop;
}

/* How many members a list has; an object counts as one of itself. */
static size_t member_count(const json_t *list)
{
    return json_is_object(list) ? 1 : json_array_size(list);
}

static struct context member(const struct context *context, const json_t *list, size_t index)
{
    const json_t *tree = json_is_object(list) ? list : json_array_get(list, index);
    return (struct context){tree, index + 1, context->page, context};
}

static void put_words(struct text *out, const struct context *context, const char *words);
static const char *const *say_lines(const struct face *face, const char *const *line,
                                    const struct context *context, struct text *words, bool said);

/* "LIST|JOINT|LAST JOINT|WORDS": those of each member that says something, joined. */
static void put_list(struct text *out, const struct context *context, char *parts)
{
    char *joint, *last, *words;
    cut_at(parts, "|", &joint);
    cut_at(joint, "|", &last);
    cut_at(last, "|", &words);
    const json_t *list = found(context, parts);
    bool any = false;
    for (size_t i = 0; i < member_count(list); i++) {
        const struct context inner = member(context, list, i);
        size_t before = out->length;
        text_puts(out, !any ? "" : i + 1 < member_count(list) ? joint : last);
        size_t bare = out->length;
        put_words(out, &inner, words);
        any = any || out->length > bare;
        if (out->length == bare)
            text_cut(out, before);
    }
}

/* What stands in braces; it is cut in parts. */
static void put_braces(struct text *out, const struct context *context, char *inside)
{
    char *rest, *other;
    if (inside[0] == '@')
        put_list(out, context, inside + 1);
    else if (strncmp(inside, "use ", 4) == 0)
        say_lines(&(struct face){NULL, NULL}, view_template(inside + 4), context, out, true);
    else {
        const char kind = cut_at(inside, "?| ", &rest);
        if (kind == '\0' || kind == ' ') {
            put_value(out, context, inside, rest);
            return;
        }
        bool first = kind == '?' ? holds(context, inside) : number_at(context, inside) == 1.0;
        cut_at(rest, "|", &other);
        put_words(out, context, first ? rest : other);
    }
}

static void put_words(struct text *out, const struct context *context, const char *words)
{
    for (const char *open; (open = strchr(words, '{')) != NULL;) {
        char *inside SCOPED_FREE = text_format("%.*s", (int)reach(open + 1, "}"), open + 1);
        text_add(out, words, (size_t)(open - words));
        words = open + 1 + strlen(inside);
        words += *words == '}';
        put_braces(out, context, inside);
    }
    text_puts(out, words);
}

/* ---- lines ----------------------------------------------------------------------------------- */

enum how { /* words are said on a screen */
           UNSAID,
           SAY,
           ITEM,  /* after a hyphen */
           ALERT, /* after an exclamation mark */
           HEAD,
           BLANK,
           ROW, /* "26 LABEL || REST": with a label of so many columns; "_" is a line to write on */
           PRE,
           TREE,   /* "4 WORDS": indented by so many columns */
           NUMBER, /* "7. WORDS": an item of a list of less than a hundred */
};

/* A block of words on a screen, and as an element of a page: NULL for none, "<" for markup as it
 * stands, with "\n" a line of it, "" for words alone. */
static const struct block {
    const char *name;
    enum how how;
    size_t indent, hang;
    enum role role;
    const char *tag, *attributes;
} blocks[] = {
    {"lead", SAY, 0, 0, ROLE_STRONG, "p", "class=\"lead\""},
    {"title", SAY, 0, 0, ROLE_STRONG, "h1", NULL},
    {"strong", SAY, 0, 2, ROLE_STRONG, "p", NULL},
    {"say", SAY, 0, 2, ROLE_PLAIN, "p", NULL},
    {"aside", SAY, 0, 2, ROLE_QUIET, "p", NULL},
    {"plain", SAY, 0, 0, ROLE_PLAIN, "p", NULL},
    {"quiet", SAY, 0, 0, ROLE_QUIET, "p", "class=\"quiet\""},
    {"caution", SAY, 5, 0, ROLE_WARN, "p", "class=\"caution\""},
    {"warn", SAY, 0, 2, ROLE_WARN, "p", NULL},
    {"late", SAY, 0, 0, ROLE_WARN, "p", NULL},
    {"alert", ALERT, 0, 0, ROLE_WARN, "p", NULL},
    {"keep", SAY, 0, 0, ROLE_KEEP, "p", NULL},
    {"isolate", SAY, 0, 0, ROLE_ISOLATE, "p", NULL},
    {"discard", SAY, 0, 0, ROLE_DISCARD, "p", NULL},
    {"clash", SAY, 0, 2, ROLE_ISOLATE, "p", NULL},
    {"group-keep", SAY, 0, 2, ROLE_KEEP, "p", NULL}, /* of vessels that came out the same */
    {"group-discard", SAY, 0, 2, ROLE_DISCARD, "p", NULL},
    {"under", SAY, 5, 0, ROLE_PLAIN, "p", NULL}, /* of a culprit */
    {"below", SAY, 2, 0, ROLE_PLAIN, "p", NULL}, /* of a section */
    {"below-quiet", SAY, 2, 0, ROLE_QUIET, "p", "class=\"quiet\""},
    {"far-quiet", SAY, 14, 0, ROLE_QUIET, "p", NULL},
    {"name", SAY, 0, 0, ROLE_STRONG, "h2", NULL}, /* of a label; a long one */
    {"name-long", SAY, 0, 0, ROLE_STRONG, "h2", "class=\"long\""},
    {"hanging", SAY, 0, 4, ROLE_PLAIN, "p", NULL},
    {"usage", SAY, 0, 4, ROLE_STRONG, "p", NULL},
    {"inner", SAY, 2, 2, ROLE_PLAIN, "p", NULL},
    {"inner-quiet", SAY, 2, 2, ROLE_QUIET, "p", NULL},
    {"inner-far", SAY, 2, 4, ROLE_PLAIN, "p", NULL},
    {"deep", SAY, 4, 0, ROLE_PLAIN, "p", NULL},
    {"deep-quiet", SAY, 4, 2, ROLE_QUIET, "p", NULL},
    {"line", SAY, 2, 0, ROLE_PLAIN, "li", NULL},
    {"item", ITEM, 2, 0, ROLE_PLAIN, "li", NULL},
    {"cite", ITEM, 2, 0, ROLE_QUIET, "li", NULL},
    {"item-under", ITEM, 4, 0, ROLE_PLAIN, "li", NULL},
    {"item-deep", ITEM, 5, 0, ROLE_PLAIN, "li", NULL},
    {"numbered", NUMBER, 1, 0, ROLE_STRONG, "h3", NULL},
    {"head", HEAD, 0, 0, ROLE_STRONG, "h3", NULL},
    {"screen-head", HEAD, 0, 0, ROLE_STRONG, NULL, NULL},
    {"blank", BLANK, 0, 0, ROLE_PLAIN, NULL, NULL},
    {"row", ROW, 2, 0, ROLE_PLAIN, NULL, NULL},
    {"row-out", ROW, 0, 0, ROLE_PLAIN, NULL, NULL},
    {"row-deep", ROW, 4, 0, ROLE_PLAIN, NULL, NULL},
    {"pre", PRE, 2, 0, ROLE_PLAIN, NULL, NULL},
    {"pre-out", PRE, 0, 0, ROLE_PLAIN, NULL, NULL},
    {"tree", TREE, 0, 2, ROLE_PLAIN, NULL, NULL},
    {"tag", UNSAID, 0, 0, ROLE_PLAIN, "<\n", NULL},
    {"raw", UNSAID, 0, 0, ROLE_PLAIN, "<\n", NULL},
    {"open", UNSAID, 0, 0, ROLE_PLAIN, "<", NULL},
    {"text", UNSAID, 0, 0, ROLE_PLAIN, "", NULL},
    {"figcaption", UNSAID, 0, 0, ROLE_PLAIN, "figcaption", NULL},
    {"page-title", UNSAID, 0, 0, ROLE_PLAIN, "title", NULL},
    {"caption", UNSAID, 0, 0, ROLE_PLAIN, "caption", NULL},
    {"td", UNSAID, 0, 0, ROLE_PLAIN, "td", NULL},
    {"th", UNSAID, 0, 0, ROLE_PLAIN, "th", "scope=\"row\""},
};

static void put_on_page(struct text *page, const struct block *block, const char *words)
{
    if (block->tag == NULL)
        return;
    if (block->tag[0] == '<')
        text_printf(page, "%s%s", words, block->tag + 1);
    else if (block->tag[0] != '\0')
        html_element(page, block->tag, block->attributes, words);
    else {
        html_text(page, words);
        text_puts(page, "\n");
    }
}

static void put_on_screen(struct screen *screen, const struct block *block, char *words)
{
    char *label, *rest = strstr(words, " || "), line[SCREEN_WIDEST + 1], lead[8];
    const size_t number = strtoul(words, &label, 10);
    switch (block->how) {
    case SAY:
        screen_say(screen, block->indent, block->hang, block->role, "%s", words);
        break;
    case ITEM:
    case ALERT:
        screen_item(screen, block->indent, block->how == ITEM ? "-" : "!", block->role, words);
        break;
    case HEAD:
        screen_heading(screen, words);
        break;
    case BLANK:
        screen_blank(screen);
        break;
    case PRE:
        screen_preformatted(screen, block->indent, words);
        break;
    case ROW:
        *rest = '\0';
        rest += strlen(" || ");
        memset(line, '_', sizeof line);
        line[screen->width > number + 4 ? screen->width - number - 4 : 1] = '\0';
        screen_row(screen, block->indent, number, label + 1, strcmp(rest, "_") == 0 ? line : rest);
        break;
    case TREE:
        screen_say(screen, number, block->hang, block->role, "%s", label + 1);
        break;
    case NUMBER:
        snprintf(lead, sizeof lead, "%2zu.", number);
        screen_item(screen, block->indent, lead, block->role, label + 2);
        break;
    case UNSAID:
        break;
    }
}

/* A line that says something; paragraphs and items without words are left out. */
static void say_line(const struct face *face, const char *kind, struct text *words)
{
    const struct block *block = blocks, *end = blocks + sizeof blocks / sizeof *blocks;
    while (block < end && strcmp(block->name, kind) != 0)
        block++;
    const bool bare = block < end && block->how >= SAY && block->how <= ALERT && words->length == 0;
    if (block < end && !bare && face->screen != NULL)
        put_on_screen(face->screen, block, words->bytes);
    else if (block < end && !bare)
        put_on_page(face->page, block, words->bytes);
    text_clear(words);
}

/* A table of the members of a list: its lines "column HEADING || WORDS" begin at `line`, or "use
 * NAME" names them. Returns that which ends it. */
static const char *const *say_table(const struct face *face, const char *const *line,
                                    const struct context *context, const json_t *list)
{
    const char *words[TABLE_MOST], **cells = NULL;
    struct arena *arena SCOPED_ARENA = arena_new();
    size_t columns = 0, count = 0;
    const char *first = *line + strspn(*line, " "), *const *end = line + 1;
    const bool used = strncmp(first, "use ", 4) == 0;

    TEXT(cell);
    if (used) {
        put_words(&cell, context, first + 4);
        line = view_template(cell.bytes);
        text_clear(&cell);
    }
    for (; *line != NULL && strstr(*line, " || ") != NULL && columns < TABLE_MOST; line++) {
        const char *heading = strstr(*line, "column ") + strlen("column ");
        words[columns++] = strstr(heading, " || ") + strlen(" || ");
        put_words(&cell, context, heading);
        *arena_push(arena, cells, count) =
            arena_copy(arena, cell.bytes, (size_t)(strstr(cell.bytes, " || ") - cell.bytes));
        text_clear(&cell);
    }
    for (size_t i = 0; i < json_array_size(list); i++) {
        const struct context inner = member(context, list, i);
        for (size_t k = 0; k < columns; k++) {
            put_words(&cell, &inner, words[k]);
            *arena_push(arena, cells, count) = arena_string(arena, cell.bytes);
            text_clear(&cell);
        }
    }
    if (face->screen != NULL)
        screen_table(face->screen, cells, columns, count / columns);
    else
        html_table(face->page, cells, columns, count);
    return used ? end : line;
}

/* Says lines up to the end of the template, or of what is not `said`: the line that ends them. */
static const char *const *say_lines(const struct face *face, const char *const *line,
                                    const struct context *context, struct text *words, bool said)
{
    for (; *line != NULL && strncmp(*line, "== ", 3) != 0; line++) {
        const char *at = *line + strspn(*line, " ");
        size_t kind = strcspn(at, " ");
        const char *rest = at[kind] != '\0' ? at + kind + 1 : at + kind;
        if (strcmp(at, "end") == 0 || strcmp(at, "else") == 0)
            return line;
        if (strncmp(at, "if ", 3) == 0) {
            bool is = said && holds(context, rest);
            line = say_lines(face, line + 1, context, words, is);
            if (*line != NULL && strcmp(*line + strspn(*line, " "), "else") == 0)
                line = say_lines(face, line + 1, context, words, said && !is);
        } else if (strncmp(at, "for ", 4) == 0) {
            const json_t *list = said ? found(context, rest) : NULL;
            const char *const *body = line + 1;
            line = say_lines(face, body, context, words, false);
            for (size_t i = 0; i < member_count(list); i++) {
                const struct context inner = member(context, list, i);
                say_lines(face, body, &inner, words, true);
            }
        } else if (strncmp(at, "table ", 6) == 0 && said) {
            line = say_table(face, line + 1, context, found(context, rest));
        } else if (strncmp(at, "table ", 6) == 0) {
            line = say_lines(face, line + 1, context, words, false);
        } else if (!said || at[0] == '#' || at[0] == '\0') {
            continue;
        } else if (at[0] == '+') {
            put_words(words, context, at + 1);
        } else if (strncmp(at, "use ", 4) == 0) {
            say_lines(face, view_template(rest), context, words, true);
        } else if (strncmp(at, "part ", 5) == 0) {
            view_part(face, rest, context->tree);
        } else {
            char name[32];
            snprintf(name, sizeof name, "%.*s", (int)kind - (at[0] == '{'), at);
            if (at[0] == '{') /* it is the value of a key */
                snprintf(name, sizeof name, "%s", json_string_value(found(context, name + 1)));
            put_words(words, context, rest);
            say_line(face, name, words);
        }
    }
    return line;
}

void view_say(const struct face *face, const char *name, const json_t *tree)
{
    const struct context context = {tree, 0, face->page != NULL, NULL};
    TEXT(words);
    say_lines(face, view_template(name), &context, &words, true);
}

void view_say_taken(const struct face *face, const char *name, json_t *tree)
{
    view_say(face, name, tree);
    json_decref(tree);
}

void view_page(struct text *page, const char *title, const char *styles, const char *name,
               json_t *tree)
{
    const struct face face = {.page = page};
    view_json_add(tree, "_title:t", title);
    view_say(&face, "page.head", tree);
    put_styles(page, styles);
    view_say(&face, "page.body", tree);
    view_say(&face, name, tree);
    view_say_taken(&face, "page.end", tree);
}

void view_words(struct text *out, const char *name, const json_t *tree)
{
    const struct context context = {tree, 0, false, NULL};
    say_lines(&(struct face){NULL, NULL}, view_template(name), &context, out, true);
}
