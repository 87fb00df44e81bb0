/* SPDX-License-Identifier: GPL-3.0-or-later */
/* UTF-8: what is valid, how wide it is, and what may reach a screen. */
#include <stdint.h>

#include <utf8proc.h>

#include "base/text.h"

enum { REPLACEMENT = 0xFFFD, INVALID = -1, DROP = -2 };

/* One code point from the start; INVALID, and a step of one byte, where there is none. */
static utf8proc_int32_t next_point(const char *bytes, size_t length, size_t *step)
{
    utf8proc_int32_t point = INVALID;
    if (length > 0 && (unsigned char)bytes[0] < 0x80) {
        *step = 1;
        return bytes[0];
    }
    /* No sequence is longer than four bytes: the cut keeps the length within its signed type. */
    utf8proc_ssize_t window = length < 4 ? (utf8proc_ssize_t)length : 4;
    utf8proc_ssize_t used = utf8proc_iterate((const utf8proc_uint8_t *)bytes, window, &point);
    if (used <= 0 || point < 0) {
        *step = 1;
        return INVALID;
    }
    *step = (size_t)used;
    return point;
}

size_t utf8_valid_prefix(const char *bytes, size_t length)
{
    size_t at = 0;
    while (at < length) {
        size_t step;
        if (next_point(bytes + at, length - at, &step) == INVALID)
            break;
        at += step;
    }
    return at;
}

size_t utf8_width(const char *bytes, size_t length)
{
    size_t width = 0;
    for (size_t at = 0, step = 0; at < length; at += step) {
        utf8proc_int32_t point = next_point(bytes + at, length - at, &step);
        int columns = point == INVALID ? 1 : utf8proc_charwidth(point);
        if (columns > 0)
            width += (size_t)columns;
    }
    return width;
}

size_t utf8_count(const char *bytes, size_t length)
{
    size_t count = 0;
    for (size_t at = 0, step = 0; at < length; at += step) {
        (void)next_point(bytes + at, length - at, &step);
        count++;
    }
    return count;
}

/* Whether a point draws nothing of its own yet can change or hide what stands around it. */
static bool is_treacherous(utf8proc_int32_t point)
{
    switch (utf8proc_category(point)) {
    case UTF8PROC_CATEGORY_CC: /* C0 and C1 controls, escape among them */
    case UTF8PROC_CATEGORY_CF: /* bidirectional controls, zero-width joiners, tags, soft hyphen */
    case UTF8PROC_CATEGORY_CS:
    case UTF8PROC_CATEGORY_CO: /* private use: nobody knows what a font shows there */
    case UTF8PROC_CATEGORY_CN: /* not assigned: nothing is known about it */
    case UTF8PROC_CATEGORY_ZL:
    case UTF8PROC_CATEGORY_ZP:
        return true;
    default:
        return utf8proc_get_property(point)->ignorable; /* fillers and the like */
    }
}

size_t text_treacherous(const char *bytes, size_t length, int32_t *point)
{
    size_t step = 0;
    utf8proc_int32_t first = length > 0 ? next_point(bytes, length, &step) : INVALID;
    *point = first;
    return first != INVALID && is_treacherous(first) ? step : 0;
}

/* What stands for `point` on the screen: itself, a space, U+FFFD, or DROP for nothing. */
static utf8proc_int32_t safe_point(utf8proc_int32_t point, bool before_newline, bool keep_newlines)
{
    if (point >= ' ' && point < 0x7F)
        return point;
    if (point == '\t')
        return ' ';
    if (point == '\n')
        return keep_newlines ? '\n' : ' ';
    if (point == '\r' && before_newline)
        return DROP;
    if (point >= 0xFE00 && point <= 0xFE0F) /* choose a glyph's style; common behind emoji */
        return DROP;
    if (point == INVALID || is_treacherous(point))
        return REPLACEMENT;
    return point;
}

/* Points whose plain look-alike is not their compatibility decomposition. */
static const char *plain_spelling(utf8proc_int32_t point)
{
    switch (point) {
    case 0x00B0:
        return "deg";
    case 0x00B7:
    case 0x2022:
        return "*";
    case 0x00D7:
        return "x";
    case 0x00DF:
        return "ss";
    case 0x00E6:
        return "ae";
    case 0x0153:
        return "oe";
    case 0x00F8:
        return "o";
    case 0x2018:
    case 0x2019:
    case 0x2032:
        return "'";
    case 0x201C:
    case 0x201D:
    case 0x2033:
        return "\"";
    case 0x2010:
    case 0x2011:
    case 0x2012:
    case 0x2013:
    case 0x2014:
    case 0x2015:
    case 0x2212:
        return "-";
    case 0x2044:
        return "/";
    case 0x2264:
        return "<=";
    case 0x2265:
        return ">=";
    case 0x2192:
        return "->";
    default:
        return NULL;
    }
}

/* Without its accents, or in more letters, a point may be ASCII: e for its accented forms, 1/2. */
static void add_ascii(struct text *out, utf8proc_int32_t point)
{
    enum { PARTS = 24 };
    utf8proc_int32_t parts[PARTS];
    char plain[PARTS];
    size_t length = 0;
    int boundclass = UTF8PROC_BOUNDCLASS_START;
    utf8proc_ssize_t count = utf8proc_decompose_char(
        point, parts, PARTS, UTF8PROC_COMPAT | UTF8PROC_DECOMPOSE, &boundclass);
    for (utf8proc_ssize_t i = 0; i < count && i < PARTS; i++) {
        const char *spelling = plain_spelling(parts[i]);
        if (parts[i] < 0x80)
            plain[length++] = (char)parts[i];
        else if (spelling && !spelling[1])
            plain[length++] = spelling[0];
        else if (utf8proc_category(parts[i]) != UTF8PROC_CATEGORY_MN)
            count = 0;
    }
    if (count <= 0 || count > PARTS || length == 0)
        text_puts(out, "?");
    else
        text_add(out, plain, length);
}

static void add_point(struct text *out, utf8proc_int32_t point, bool ascii)
{
    if (point < 0x80) {
        text_add(out, &(char){(char)point}, 1);
        return;
    }
    if (ascii) {
        const char *spelling = plain_spelling(point);
        if (spelling)
            text_puts(out, spelling);
        else
            add_ascii(out, point);
        return;
    }
    utf8proc_uint8_t encoded[4];
    utf8proc_ssize_t size = utf8proc_encode_char(point, encoded);
    if (size > 0)
        text_add(out, (const char *)encoded, (size_t)size);
}

void text_safe(struct text *out, const char *bytes, size_t length,
               const struct text_safe_options *options)
{
    const struct text_safe_options plain = {0};
    const struct text_safe_options *how = options ? options : &plain;
    size_t shown = 0;
    for (size_t at = 0, step = 0; at < length; at += step) {
        utf8proc_int32_t point = next_point(bytes + at, length - at, &step);
        bool before_newline = at + 1 < length && bytes[at + 1] == '\n';
        point = safe_point(point, before_newline, how->keep_newlines);
        if (point == DROP)
            continue;
        if (how->limit && shown == how->limit) {
            text_puts(out, how->ascii ? "..." : "\xE2\x80\xA6");
            return;
        }
        add_point(out, point, how->ascii);
        shown++;
    }
}
