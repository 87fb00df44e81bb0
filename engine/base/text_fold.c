/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Folding for comparison: one spelling for what a reader would call the same words. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <utf8proc.h>

#include "base/text.h"

/*
 * Text is normalised cluster by cluster, since composition never reaches across
 * one; so every byte that comes out can be traced to where its cluster began. A
 * cluster is cut at CLUSTER_POINTS: nobody writes more marks on one letter, and
 * sorting a longer run of them would take time that grows with its square.
 */
enum { CLUSTER_POINTS = 32 };

struct fold {
    struct text *out;
    size_t start; /* length of `out` before folding */
    bool traced;
    size_t *origin; /* per byte added; NULL until the first */
    size_t origin_room;
    bool failed;
};

static bool trace(struct fold *fold, size_t count, size_t from)
{
    size_t have = fold->out->length - fold->start;
    if (have + count > fold->origin_room) {
        size_t room = fold->origin_room ? fold->origin_room : 64;
        while (room < have + count && room <= SIZE_MAX / 2)
            room *= 2;
        if (room < have + count || room > SIZE_MAX / sizeof *fold->origin)
            return false;
        size_t *grown = realloc(fold->origin, room * sizeof *grown);
        if (!grown)
            return false;
        fold->origin = grown;
        fold->origin_room = room;
    }
    for (size_t i = 0; i < count; i++)
        fold->origin[have + i] = from;
    return true;
}

static void add(struct fold *fold, const char *bytes, size_t length, size_t from)
{
    if (fold->failed || (fold->traced && !trace(fold, length, from))) {
        fold->failed = true;
        return;
    }
    text_add(fold->out, bytes, length);
    fold->failed = fold->out->failed;
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
static void emit_ascii(struct fold *fold, char byte, size_t from)
{
    const bool space = byte == ' ' || (byte >= '\t' && byte <= '\r');
    if (space && last_byte(fold) == ' ')
        return;
    if (byte >= 'A' && byte <= 'Z')
        byte = (char)(byte - 'A' + 'a');
    else if (byte == '`')
        byte = '\'';
    add(fold, space ? " " : &byte, 1, from);
}

static void emit(struct fold *fold, utf8proc_int32_t point, size_t from)
{
    if (point < 0x80) {
        emit_ascii(fold, (char)point, from);
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

/* One and a half written as "1" and a one-half sign would otherwise fold to eleven halves. */
static void part_fraction(struct fold *fold, utf8proc_int32_t point, size_t from)
{
    char last = last_byte(fold);
    if (utf8proc_get_property(point)->decomp_type == UTF8PROC_DECOMP_TYPE_FRACTION && last >= '0' &&
        last <= '9')
        add(fold, " ", 1, from);
}

static void fold_cluster(struct fold *fold, const char *bytes, size_t length, size_t from)
{
    enum { ROOM = CLUSTER_POINTS * 18 }; /* 18: the longest compatibility decomposition */
    utf8proc_int32_t points[ROOM];
    utf8proc_int32_t first = 0;
    (void)utf8proc_iterate((const utf8proc_uint8_t *)bytes, (utf8proc_ssize_t)length, &first);
    /* Taken before normalising, which would make a space and an accent of some of them. */
    if (plain_mark(first) != first) {
        emit(fold, first, from);
        return;
    }
    part_fraction(fold, first, from);
    const utf8proc_option_t options =
        (utf8proc_option_t)(UTF8PROC_STABLE | UTF8PROC_COMPOSE | UTF8PROC_COMPAT);
    utf8proc_ssize_t count = utf8proc_decompose((const utf8proc_uint8_t *)bytes,
                                                (utf8proc_ssize_t)length, points, ROOM, options);
    if (count >= 0 && count <= ROOM)
        count = utf8proc_normalize_utf32(points, count, options);
    if (count < 0 || count > ROOM) {
        fold->failed = true;
        return;
    }
    for (utf8proc_ssize_t i = 0; i < count; i++)
        emit(fold, points[i], from);
}

/* Bytes of the cluster at the start of valid, non-empty UTF-8. */
static size_t cluster_length(const char *bytes, size_t length)
{
    utf8proc_int32_t previous = 0;
    utf8proc_int32_t state = 0;
    size_t at = 0;
    for (size_t points = 0; at < length && points < CLUSTER_POINTS; points++) {
        utf8proc_int32_t point = 0;
        utf8proc_ssize_t window = length - at < 4 ? (utf8proc_ssize_t)(length - at) : 4;
        utf8proc_ssize_t step =
            utf8proc_iterate((const utf8proc_uint8_t *)bytes + at, window, &point);
        if (step <= 0)
            break;
        if (points && utf8proc_grapheme_break_stateful(previous, point, &state))
            break;
        previous = point;
        at += (size_t)step;
    }
    return at ? at : 1;
}

enum text_fold_result text_fold(struct text *out, const char *bytes, size_t length, size_t **origin)
{
    if (origin)
        *origin = NULL;
    if (utf8_valid_prefix(bytes, length) != length)
        return TEXT_FOLD_INVALID;
    struct fold fold = {.out = out, .start = out->length, .traced = origin != NULL};
    fold.failed = out->failed;
    for (size_t at = 0, step = 0; at < length && !fold.failed; at += step) {
        bool plain = (unsigned char)bytes[at] < 0x80 &&
                     (at + 1 == length || (unsigned char)bytes[at + 1] < 0x80);
        step = plain ? 1 : cluster_length(bytes + at, length - at);
        if (plain)
            emit_ascii(&fold, bytes[at], at);
        else
            fold_cluster(&fold, bytes + at, step, at);
    }
    if (!fold.failed && origin && !trace(&fold, 1, length))
        fold.failed = true;
    if (fold.failed) {
        free(fold.origin);
        return TEXT_FOLD_MEMORY;
    }
    if (origin)
        *origin = fold.origin;
    return TEXT_FOLD_OK;
}
