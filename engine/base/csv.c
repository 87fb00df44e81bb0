/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/csv.h"

#include <csv.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

/*
 * libcsv tells no positions. It is therefore given the bytes in pieces that end
 * at a delimiter or an end of line, so that a field's callback comes when the
 * piece that ends it is fed, and the field began where the last one ended.
 */
struct place {
    size_t line, column; /* of the next byte */
    char previous;       /* last byte fed, so that CR LF is one end of line */
};

struct csv_stream {
    struct csv_parser parser;
    struct csv_sink sink;
    char delimiter;
    enum csv_outcome outcome;
    struct place at;
    size_t field_line, field_column; /* of the next field */
    size_t row_line;                 /* where the row began */
    size_t fields;                   /* in it so far */
    size_t limit;                    /* of the bytes of a field */
};

/* libcsv grows its field buffer through these, which hear of no stream: beyond the limit it hears
 * there is no memory. */
enum { SLACK = 256, LONG_BLOCK = 64 * 1024 }; /* it grows in blocks of 128, or of LONG_BLOCK */

static void *bounded_realloc(void *block, size_t size)
{
    return size > CSV_FIELD_LIMIT + SLACK ? NULL : realloc(block, size);
}

static void *long_realloc(void *block, size_t size)
{
    return size > CSV_LONG_LIMIT + 2 * LONG_BLOCK ? NULL : realloc(block, size);
}

struct csv_stream *csv_stream_new(const struct csv_sink *sink, char delimiter)
{
    struct csv_stream *stream = calloc(1, sizeof *stream);

    if (stream == NULL)
        return NULL;
    if (csv_init(&stream->parser, CSV_STRICT | CSV_STRICT_FINI | CSV_REPALL_NL) != 0) {
        free(stream);
        return NULL;
    }
    csv_set_realloc_func(&stream->parser, bounded_realloc);
    csv_set_delim(&stream->parser, (unsigned char)delimiter);
    stream->sink = *sink;
    stream->delimiter = delimiter;
    stream->limit = CSV_FIELD_LIMIT;
    stream->outcome = CSV_READ;
    stream->at.line = stream->at.column = 1;
    stream->field_line = stream->field_column = 1;
    return stream;
}

void csv_stream_free(struct csv_stream *stream)
{
    if (stream == NULL)
        return;
    csv_free(&stream->parser);
    free(stream);
}

void csv_stream_allow_long(struct csv_stream *stream)
{
    stream->limit = CSV_LONG_LIMIT;
    csv_set_realloc_func(&stream->parser, long_realloc);
    csv_set_blk_size(&stream->parser, LONG_BLOCK);
}

static void on_field(void *bytes, size_t length, void *context)
{
    struct csv_stream *stream = context;
    struct csv_field field = {
        .bytes = length > 0 ? bytes : "",
        .length = length,
        .index = stream->fields++,
        .line = stream->field_line,
        .column = stream->field_column,
    };

    if (field.index == 0)
        stream->row_line = field.line;
    stream->field_line = stream->at.line;
    stream->field_column = stream->at.column;
    if (stream->outcome == CSV_READ && length > stream->limit)
        stream->outcome = CSV_TOO_LONG;
    if (stream->outcome == CSV_READ && !stream->sink.field(stream->sink.context, &field))
        stream->outcome = CSV_STOPPED;
}

static void on_row(int end, void *context)
{
    struct csv_stream *stream = context;
    size_t fields = stream->fields;
    (void)end;

    stream->fields = 0;
    stream->field_line = stream->at.line;
    stream->field_column = stream->at.column;
    /* No fields: a blank line, or the LF of a CR LF. */
    if (fields > 0 && stream->outcome == CSV_READ &&
        !stream->sink.row(stream->sink.context, fields, stream->row_line))
        stream->outcome = CSV_STOPPED;
}

/* Moves a place past one byte. Continuation bytes of UTF-8 take no column. */
static void advance(struct place *at, char byte)
{
    if (byte == '\n' && at->previous == '\r') {
        /* its line was counted at the CR */
    } else if (byte == '\n' || byte == '\r') {
        at->line++;
        at->column = 1;
    } else if (((unsigned char)byte & 0xC0) != 0x80) {
        at->column++;
    }
    at->previous = byte;
}

static bool ends_piece(const struct csv_stream *stream, char byte)
{
    return byte == stream->delimiter || byte == '\n' || byte == '\r';
}

enum csv_outcome csv_stream_feed(struct csv_stream *stream, const char *bytes, size_t length)
{
    size_t at = 0;

    while (at < length && stream->outcome == CSV_READ) {
        size_t end = at;
        struct place began = stream->at;
        if (bytes[at] == '\0') {
            stream->outcome = CSV_MALFORMED;
            break;
        }
        while (end < length && bytes[end] != '\0') {
            advance(&stream->at, bytes[end]);
            if (ends_piece(stream, bytes[end++]))
                break;
        }
        size_t taken = csv_parse(&stream->parser, bytes + at, end - at, on_field, on_row, stream);
        if (taken < end - at && stream->outcome == CSV_READ) {
            bool long_field = csv_error(&stream->parser) == CSV_ENOMEM &&
                              csv_get_buffer_size(&stream->parser) >= stream->limit;
            stream->outcome = long_field                                 ? CSV_TOO_LONG
                              : csv_error(&stream->parser) == CSV_EPARSE ? CSV_MALFORMED
                                                                         : CSV_NO_MEMORY;
            stream->at = began; /* and on to the byte at fault */
            for (size_t i = 0; i < taken; i++)
                advance(&stream->at, bytes[at + i]);
        }
        at = end;
    }
    return stream->outcome;
}

enum csv_outcome csv_stream_finish(struct csv_stream *stream)
{
    if (stream->outcome != CSV_READ)
        return stream->outcome;
    if (csv_fini(&stream->parser, on_field, on_row, stream) != 0 && stream->outcome == CSV_READ)
        stream->outcome = CSV_MALFORMED;
    return stream->outcome;
}

void csv_stream_position(const struct csv_stream *stream, size_t *line, size_t *column)
{
    *line = stream->at.line;
    *column = stream->at.column;
}

static bool needs_quotes(const char *bytes, size_t length)
{
    if (length == 0)
        return false;
    if (strchr(" \t", bytes[0]) != NULL || strchr(" \t", bytes[length - 1]) != NULL)
        return true; /* readers may trim what is not quoted; this one does */
    for (size_t i = 0; i < length; i++)
        if (bytes[i] == ',' || bytes[i] == '"' || bytes[i] == '\n' || bytes[i] == '\r')
            return true;
    return false;
}

void csv_write_field(struct text *out, const char *bytes, size_t length)
{
    if (!needs_quotes(bytes, length)) {
        text_add(out, bytes, length);
        return;
    }
    text_add(out, "\"", 1);
    while (length > 0) {
        const char *quote = memchr(bytes, '"', length);
        size_t piece = quote != NULL ? (size_t)(quote - bytes) + 1 : length;
        text_add(out, bytes, piece);
        if (quote != NULL)
            text_add(out, "\"", 1);
        bytes += piece;
        length -= piece;
    }
    text_add(out, "\"", 1);
}
