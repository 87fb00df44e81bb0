/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/text.h"

#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

#include "base/memory.h"

/* An empty text points here, so that `bytes` is a string at any time. Never written to or freed:
 * capacity 0 says that nothing is owned. */
static char *nothing(void)
{
    return (char *)"";
}

void text_init(struct text *text)
{
    *text = (struct text){.bytes = nothing()};
}

void text_release(struct text *text)
{
    if (text->capacity)
        free(text->bytes);
    text_init(text);
}

void text_clear(struct text *text)
{
    text->length = 0;
    if (text->capacity)
        text->bytes[0] = '\0';
    else
        text->bytes = nothing();
}

/* Room for `more` bytes and the closing NUL. */
static void text_reserve(struct text *text, size_t more)
{
    if (more > PTRDIFF_MAX / 2 - text->length)
        memory_exhausted();
    size_t need = text->length + more + 1;
    if (need <= text->capacity)
        return;
    size_t capacity = text->capacity ? text->capacity : 64;
    while (capacity < need)
        capacity *= 2;
    text->bytes = realloc(text->capacity ? text->bytes : NULL, capacity);
    text->capacity = capacity;
}

void text_cut(struct text *text, size_t length)
{
    if (length < text->length) {
        text->length = length;
        text->bytes[length] = '\0';
    }
}

void text_add(struct text *text, const char *bytes, size_t length)
{
    text_reserve(text, length);
    if (length)
        /* cppcheck-suppress uninitvar ; the bytes that callers encode just before */
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

void text_puts(struct text *text, const char *string)
{
    text_add(text, string, strlen(string));
}

static void __attribute__((format(printf, 2, 0)))
text_vprintf(struct text *text, const char *format, va_list arguments)
{
    va_list again;
    va_copy(again, arguments);
    text_reserve(text, 0);
    size_t room = text->capacity - text->length;
    int length = vsnprintf(text->bytes + text->length, room, format, arguments);
    if (length > 0 && (size_t)length >= room) {
        text_reserve(text, (size_t)length);
        length = vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
    }
    va_end(again);
    if (length > 0)
        text->length += (size_t)length;
}

void text_printf(struct text *text, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    text_vprintf(text, format, arguments);
    va_end(arguments);
}

char *text_vformat(const char *format, va_list arguments)
{
    struct text text;
    text_init(&text);
    text_reserve(&text, 500); /* nearly all are shorter; to print twice takes longer */
    text.bytes[0] = '\0';
    text_vprintf(&text, format, arguments);
    return text.bytes;
}

char *text_format(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *string = text_vformat(format, arguments);
    va_end(arguments);
    return string;
}

/* ---- UTF-8: what is valid, how wide it is, and what may reach a screen ------------------------ */

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

/* Bytes of ASCII at the start; looks at eight at a time. */
static size_t ascii_prefix(const char *bytes, size_t length)
{
    size_t at = 0;
    for (uint64_t eight; at + sizeof eight <= length; at += sizeof eight) {
        memcpy(&eight, bytes + at, sizeof eight);
        if (eight & UINT64_C(0x8080808080808080))
            break;
    }
    while (at < length && (unsigned char)bytes[at] < 0x80)
        at++;
    return at;
}

size_t utf8_valid_prefix(const char *bytes, size_t length)
{
    size_t at = ascii_prefix(bytes, length);
    for (size_t step; at < length; at += step + ascii_prefix(bytes + at + step, length - at - step))
        if (next_point(bytes + at, length - at, &step) == INVALID)
            break;
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
    if (point >= 0xFE00 && point <= 0xFE0F) /* choose a glyph's style; common after emoji */
        return DROP;
    if (point == INVALID || is_treacherous(point))
        return REPLACEMENT;
    return point;
}

/* Points whose plain look-alike is not their compatibility decomposition. */
static const char *plain_spelling(utf8proc_int32_t point)
{
    static const struct {
        utf8proc_int32_t first, last;
        const char *spelling;
    } plain[] = {
        {0x00B0, 0x00B0, "deg"}, {0x00B7, 0x00B7, "*"},  {0x00D7, 0x00D7, "x"},
        {0x00DF, 0x00DF, "ss"},  {0x00E6, 0x00E6, "ae"}, {0x00F8, 0x00F8, "o"},
        {0x0153, 0x0153, "oe"},  {0x2010, 0x2015, "-"},  {0x2018, 0x2019, "'"},
        {0x201C, 0x201D, "\""},  {0x2022, 0x2022, "*"},  {0x2032, 0x2032, "'"},
        {0x2033, 0x2033, "\""},  {0x2044, 0x2044, "/"},  {0x2192, 0x2192, "->"},
        {0x2212, 0x2212, "-"},   {0x2264, 0x2264, "<="}, {0x2265, 0x2265, ">="},
    };
    for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
        if (point >= plain[i].first && point <= plain[i].last)
            return plain[i].spelling;
    return NULL;
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

void text_safe(struct text *out, const char *bytes, size_t length,
               const struct text_safe_options *options)
{
    const struct text_safe_options plain = {0};
    const struct text_safe_options *how = options ? options : &plain;
    size_t shown = 0;
    for (size_t at = 0, step = 0; at < length; at += step) {
        size_t most =
            how->limit && how->limit - shown < length - at ? how->limit - shown : length - at;
        for (step = 0; step < most && bytes[at + step] >= ' ' && bytes[at + step] < 0x7F;)
            step++;
        if (step > 0) { /* these stand for themselves */
            text_add(out, bytes + at, step);
            shown += step;
            continue;
        }
        utf8proc_int32_t point = next_point(bytes + at, length - at, &step);
        bool before_newline = at + 1 < length && bytes[at + 1] == '\n';
        point = safe_point(point, before_newline, how->keep_newlines);
        if (point == DROP)
            continue;
        if (how->limit && shown == how->limit) {
            text_puts(out, how->ascii ? "..." : "\xE2\x80\xA6");
            return;
        }
        utf8proc_uint8_t encoded[4];
        const char *spelling = how->ascii && point >= 0x80 ? plain_spelling(point) : NULL;
        if (spelling)
            text_puts(out, spelling);
        else if (how->ascii && point >= 0x80)
            add_ascii(out, point);
        else
            text_add(out, (const char *)encoded, (size_t)utf8proc_encode_char(point, encoded));
        shown++;
    }
}

char *text_safe_copy(struct arena *arena, const char *bytes, size_t length, size_t limit)
{
    size_t plain = 0; /* most of it stands for itself */
    while (plain < length && bytes[plain] >= ' ' && bytes[plain] <= '~')
        plain++;
    if (plain == length && (limit == 0 || length <= limit))
        return arena_copy(arena, bytes, length);
    TEXT(safe);
    text_safe(&safe, bytes, length, &(struct text_safe_options){.limit = limit});
    return arena_copy(arena, safe.bytes, safe.length);
}

/* ---- folding: one spelling for what a reader would call the same words ----------------------- */

/* Text is normalised cluster by cluster, since composition never reaches across one; so every byte
 * that comes out can be traced to where its cluster began. A cluster is cut at CLUSTER_POINTS:
 * nobody writes more marks on one letter, and sorting a longer run of them would take time that
 * grows with its square. */
enum { CLUSTER_POINTS = 32 };

struct fold {
    struct text *out;
    size_t start; /* length of `out` before folding */
    bool traced;
    size_t *origin; /* per byte added; NULL until the first */
    size_t origin_room;
};

/* Room for so many more bytes; where the first of them goes. */
static size_t fold_room(struct fold *fold, size_t count)
{
    size_t have = fold->out->length - fold->start;
    text_reserve(fold->out, count);
    if (fold->traced && have + count > fold->origin_room) {
        fold->origin_room = 2 * (have + count) + 64;
        fold->origin = realloc(fold->origin, fold->origin_room * sizeof *fold->origin);
    }
    return have;
}

static void add(struct fold *fold, const char *bytes, size_t length, size_t from)
{
    size_t have = fold_room(fold, length);
    for (size_t i = 0; fold->traced && i < length; i++)
        fold->origin[have + i] = from;
    text_add(fold->out, bytes, length);
}

static char last_byte(const struct fold *fold)
{
    if (fold->out->length == fold->start)
        return '\0';
    return fold->out->bytes[fold->out->length - 1];
}

static bool is_space(utf8proc_int32_t point)
{
    if (point == 0x85)
        return true;
    utf8proc_category_t category = utf8proc_category(point);
    return category == UTF8PROC_CATEGORY_ZS || category == UTF8PROC_CATEGORY_ZL ||
           category == UTF8PROC_CATEGORY_ZP;
}

/* Quotes, dashes and slashes that are one sign to the person who typed them. */
static utf8proc_int32_t plain_mark(utf8proc_int32_t point)
{
    if (point == '`' || point == 0xB4 || point == 0x2BC || point == 0x2B9 || point == 0x2032 ||
        (point >= 0x2018 && point <= 0x201B))
        return '\'';
    if (point == 0xAB || point == 0xBB || point == 0x2033 || (point >= 0x201C && point <= 0x201F))
        return '"';
    if (point == 0x2212 || (point >= 0x2010 && point <= 0x2015) || point == 0xFE58 ||
        point == 0xFE63 || point == 0xFF0D)
        return '-';
    if (point == 0x2044 || point == 0x2215)
        return '/';
    if (point == 0xBA || point == 0x2DA) /* ordinal and ring, typed where a degree sign is meant */
        return 0xB0;
    return point;
}

/* Of ASCII nothing is ignorable, and only "`" is another mark. */
static void fold_ascii(struct fold *fold, const char *bytes, size_t length, size_t from)
{
    char last = last_byte(fold);
    size_t have = fold_room(fold, length), count = 0;
    char *out = fold->out->bytes + fold->out->length;
    size_t *origin = fold->traced ? fold->origin + have : NULL;
    for (size_t i = 0; i < length; i++) {
        char byte = bytes[i];
        if (byte >= 'a' && byte <= 'z') {
            /* the most of them stay as they are */
        } else if (byte == ' ' || (byte >= '\t' && byte <= '\r')) {
            if (last == ' ')
                continue;
            byte = ' ';
        } else if (byte >= 'A' && byte <= 'Z') {
            byte = (char)(byte - 'A' + 'a');
        } else if (byte == '`') {
            byte = '\'';
        }
        if (origin)
            origin[count] = from + i;
        out[count++] = last = byte;
    }
    out[count] = '\0';
    fold->out->length += count;
}

static void emit(struct fold *fold, utf8proc_int32_t point, size_t from)
{
    if (point < 0x80) {
        fold_ascii(fold, &(char){(char)point}, 1, from);
        return;
    }
    if (is_space(point)) {
        if (last_byte(fold) != ' ')
            add(fold, " ", 1, from);
        return;
    }
    if (utf8proc_get_property(point)->ignorable)
        return; /* a soft hyphen or a joiner inside a word does not make it another word */
    utf8proc_uint8_t encoded[4];
    utf8proc_ssize_t size = utf8proc_encode_char(utf8proc_tolower(plain_mark(point)), encoded);
    if (size > 0)
        add(fold, (const char *)encoded, (size_t)size, from);
}

static void fold_cluster(struct fold *fold, const char *bytes, size_t length, size_t from)
{
    enum { ROOM = CLUSTER_POINTS * 18 }; /* 18: the longest compatibility decomposition */
    utf8proc_int32_t points[ROOM];
    size_t step;
    const utf8proc_int32_t first = next_point(bytes, length, &step);
    /* Taken before normalising, which would make a space and an accent of some of them. */
    if (plain_mark(first) != first) {
        emit(fold, first, from);
        return;
    }
    /* One and a half written as "1" and a one-half sign would otherwise fold to eleven halves. */
    char last = last_byte(fold);
    if (utf8proc_get_property(first)->decomp_type == UTF8PROC_DECOMP_TYPE_FRACTION && last >= '0' &&
        last <= '9')
        add(fold, " ", 1, from);
    const utf8proc_option_t options =
        (utf8proc_option_t)(UTF8PROC_STABLE | UTF8PROC_COMPOSE | UTF8PROC_COMPAT);
    utf8proc_ssize_t count = utf8proc_decompose((const utf8proc_uint8_t *)bytes,
                                                (utf8proc_ssize_t)length, points, ROOM, options);
    if (count >= 0 && count <= ROOM)
        count = utf8proc_normalize_utf32(points, count, options);
    for (utf8proc_ssize_t i = 0; i < count && i < ROOM; i++)
        emit(fold, points[i], from);
}

/* Bytes of the cluster at the start of valid, non-empty UTF-8. */
static size_t cluster_length(const char *bytes, size_t length)
{
    utf8proc_int32_t previous = 0;
    utf8proc_int32_t state = 0;
    size_t at = 0;
    for (size_t points = 0, step; at < length && points < CLUSTER_POINTS; points++, at += step) {
        const utf8proc_int32_t point = next_point(bytes + at, length - at, &step);
        if (points && utf8proc_grapheme_break_stateful(previous, point, &state))
            break;
        previous = point;
    }
    return at;
}

bool text_fold(struct text *out, const char *bytes, size_t length, size_t **origin)
{
    if (origin)
        *origin = NULL;
    if (utf8_valid_prefix(bytes, length) != length)
        return false;
    struct fold fold = {.out = out, .start = out->length, .traced = origin != NULL};
    for (size_t at = 0, step = 0; at < length; at += step) {
        step = ascii_prefix(bytes + at, length - at);
        step -= step > 0 && at + step < length; /* the last may have a mark on it */
        if (step > 0) {
            fold_ascii(&fold, bytes + at, step, at);
            continue;
        }
        step = cluster_length(bytes + at, length - at);
        fold_cluster(&fold, bytes + at, step, at);
    }
    if (origin) {
        size_t end = fold_room(&fold, 1);
        fold.origin[end] = length;
        *origin = fold.origin;
    }
    return true;
}

/* Jansson's escapes within strings, and more for what is treacherous on a terminal. */
static void write_string(struct text *out, const char *bytes, size_t length)
{
    static const char escapes[32] = {
        ['\b'] = 'b', ['\t'] = 't', ['\n'] = 'n', ['\f'] = 'f', ['\r'] = 'r'};
    size_t copied = 0;
    text_add(out, "\"", 1);
    for (size_t at = 0; at < length;) {
        const unsigned char c = (unsigned char)bytes[at];
        int32_t point = c;
        size_t step = c < ' ' || c == '"' || c == '\\';
        if (c >= 0x7F)
            step = text_treacherous(bytes + at, length - at, &point);
        if (step == 0) {
            at++;
            continue;
        }
        text_add(out, bytes + copied, at - copied);
        if (c >= ' ' && c < 0x7F)
            text_printf(out, "\\%c", c);
        else if (c < ' ' && escapes[c])
            text_printf(out, "\\%c", escapes[c]);
        else if (c < ' ')
            text_printf(out, "\\u%04X", c);
        else if (point < 0x10000)
            text_printf(out, "\\u%04x", (unsigned)point);
        else /* RFC 8259, section 7: beyond the first 65536 as two halves of UTF-16 */
            text_printf(out, "\\u%04x\\u%04x", 0xD800U + ((unsigned)(point - 0x10000) >> 10),
                        0xDC00U + ((unsigned)(point - 0x10000) & 0x3FF));
        copied = at += step;
    }
    text_add(out, bytes + copied, length - copied);
    text_add(out, "\"", 1);
}

/* What is no list and no string: nine digits of a number. Nearly all have six decimals. */
static void write_scalar(struct text *out, const json_t *json)
{
    enum { DECIMALS = 1000000, PLACES = 6 };
    char bytes[64], *end = bytes + sizeof bytes, *at = end;
    const double real = json_is_real(json) ? json_real_value(json) : -1.0;
    unsigned whole = real >= 1e-4 && real < 1000.0 ? (unsigned)(real * DECIMALS + 0.5) : 0;
    if ((double)whole / DECIMALS != real || signbit(real)) {
        const size_t length =
            json_dumpb(json, bytes, sizeof bytes, JSON_ENCODE_ANY | JSON_REAL_PRECISION(9));
        text_add(out, bytes, length);
        return;
    }
    for (size_t place = 0; place <= PLACES || whole > 0; place++, whole /= 10) {
        if (place == PLACES)
            *--at = '.';
        *--at = (char)('0' + whole % 10);
    }
    while (end[-1] == '0' && end[-2] != '.')
        end--;
    text_add(out, at, (size_t)(end - at));
}

enum { JSON_COMPACTLY = -1, JSON_STEP = 2 };

static void write_break(struct text *out, int depth)
{
    if (depth != JSON_COMPACTLY)
        text_printf(out, "\n%*s", JSON_STEP * depth, "");
}

static void write_value(struct text *out, json_t *json, int depth)
{
    const int inner = depth == JSON_COMPACTLY ? depth : depth + 1;
    const bool object = json_is_object(json);
    const char *before = object ? "{" : "[", *key;
    json_t *value;
    size_t index;
    if (json_is_string(json)) {
        write_string(out, json_string_value(json), json_string_length(json));
    } else if (!object && !json_is_array(json)) {
        write_scalar(out, json);
    } else {
        json_object_foreach (json, key, value) {
            if (key[0] == '_')
                continue;
            text_puts(out, before);
            write_break(out, inner);
            write_string(out, key, strlen(key));
            text_puts(out, inner == JSON_COMPACTLY ? ":" : ": ");
            write_value(out, value, inner);
            before = ",";
        }
        json_array_foreach (json, index, value) {
            text_puts(out, before);
            write_break(out, inner);
            write_value(out, value, inner);
            before = ",";
        }
        if (before[0] == ',')
            write_break(out, depth);
        else
            text_puts(out, before);
        text_puts(out, object ? "}" : "]");
    }
}

bool json_write(struct text *out, json_t *json, bool spread)
{
    if (json != NULL)
        write_value(out, json, spread ? 0 : JSON_COMPACTLY);
    return json != NULL;
}
