/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/page.h"

#include <string.h>

/* ---- text ------------------------------------------------------------------------------------ */

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

static void make_safe(struct text *safe, const char *words, size_t limit)
{
    text_init(safe);
    text_safe(safe, words, strlen(words), &(struct text_safe_options){.limit = limit});
}

void html_text(struct text *page, const char *words)
{
    struct text safe;
    make_safe(&safe, words, 0);
    put_escaped(page, safe.bytes, safe.length);
    text_release(&safe);
}

/* Bytes of the code point that begins valid UTF-8. */
static size_t point_length(const char *bytes, size_t length)
{
    size_t at = 1;
    while (at < length && ((unsigned char)bytes[at] & 0xC0) == 0x80)
        at++;
    return at;
}

/* In half columns: fonts of pages give capitals and broad letters more room, screens do not. */
static size_t breadth(const char *bytes, size_t length, bool page)
{
    size_t halves = 2 * utf8_width(bytes, length);
    if (!page)
        return halves;
    if (length == 1 && strchr("MW@mw%", bytes[0]) != NULL)
        return halves + 2;
    return halves + (length == 1 && bytes[0] >= 'A' && bytes[0] <= 'Z' ? 1 : 0);
}

static bool fit(struct text *out, const char *words, size_t columns, bool page)
{
    /* Marks that take no column may pile up: they are bounded too. */
    enum { POINTS_A_COLUMN = 4, ELLIPSIS = 2 };
    struct text safe;
    size_t width = 0, points = 0, most = 2 * columns, at = 0, front = 0, back;

    make_safe(&safe, words, 0);
    for (; at < safe.length; points++) {
        size_t step = point_length(safe.bytes + at, safe.length - at);
        width += breadth(safe.bytes + at, step, page);
        at += step;
    }
    bool cut = width > most || points > columns * POINTS_A_COLUMN;
    size_t half = (most - ELLIPSIS) / 2, room = columns * POINTS_A_COLUMN / 2;
    back = safe.length;
    for (size_t w = 0, n = 0; cut && n < room; n++) {
        size_t step = point_length(safe.bytes + front, safe.length - front);
        if ((w += breadth(safe.bytes + front, step, page)) > half)
            break;
        front += step;
    }
    for (size_t w = 0, n = 0; cut && n < room && back > front; n++) {
        for (at = back - 1; at > front && ((unsigned char)safe.bytes[at] & 0xC0) == 0x80;)
            at--;
        if ((w += breadth(safe.bytes + at, back - at, page)) > half)
            break;
        back = at;
    }
    text_add(out, safe.bytes, cut ? front : safe.length);
    if (cut) {
        text_puts(out, "\xe2\x80\xa6");
        text_add(out, safe.bytes + back, safe.length - back);
    }
    text_release(&safe);
    return cut;
}

bool text_fit(struct text *out, const char *words, size_t columns)
{
    return fit(out, words, columns, false);
}

bool html_fit(struct text *page, const char *words, size_t columns)
{
    struct text fitted;
    text_init(&fitted);
    bool cut = fit(&fitted, words, columns, true);
    put_escaped(page, fitted.bytes, fitted.length);
    text_release(&fitted);
    return cut;
}

/* ---- elements -------------------------------------------------------------------------------- */

void html_element(struct text *page, const char *tag, const char *attributes, const char *words)
{
    bool cell = strcmp(tag, "td") == 0 || strcmp(tag, "th") == 0;
    text_printf(page, "<%s%s%s>", tag, attributes != NULL ? " " : "",
                attributes != NULL ? attributes : "");
    html_text(page, words);
    text_printf(page, cell ? "</%s>" : "</%s>\n", tag);
}

void html_take(struct text *page, const char *tag, const char *attributes, struct text *words)
{
    if (words->length > 0)
        html_element(page, tag, attributes, words->bytes);
    text_clear(words);
}

/* ---- the page -------------------------------------------------------------------------------- */

void html_begin(struct text *page, const char *title, const char *style)
{
    text_puts(page, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
                    "<meta http-equiv=\"Content-Security-Policy\" "
                    "content=\"default-src 'none'; style-src 'unsafe-inline'\"/>\n"
                    "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
                    "<meta name=\"color-scheme\" content=\"light dark\"/>\n");
    html_element(page, "title", NULL, title);
    text_puts(page, "<style>\n");
    text_puts(page, style);
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
        "@media screen { body { max-width: 200mm; margin: auto; padding: 4mm; } }\n%s",
        paper == PAPER_A4 ? "A4" : "letter", style);
    html_begin(page, title, css.bytes);
    text_release(&css);
}
