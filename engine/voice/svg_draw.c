/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines, words and shapes that every chart is made of. */
#include <stdio.h>

#include "voice/svg_internal.h"

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
