/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_CSV_H
#define JARSIDE_BASE_CSV_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Comma-separated values (RFC 4180), read as a stream of any length in constant
 * memory, with the position of every field; and single fields written.
 *
 * The grammar is libcsv's in its strict mode; this adds positions, a limit on
 * the length of a field, and refusal of what no table holds (a NUL). Feed it
 * chunks cut anywhere. It does no input or output itself.
 */
enum {
    CSV_FIELD_LIMIT = 4096,           /* bytes of one field */
    CSV_LONG_LIMIT = 2 * 1024 * 1024, /* of one field after csv_stream_allow_long */
};

struct csv_field {
    const char *bytes; /* not terminated; valid during the call */
    size_t length;
    size_t index;        /* in its row, from 0 */
    size_t line, column; /* where it begins, from 1; column in code points */
};

/* Called as fields and rows end. False stops the reading. Blank lines are no rows. */
struct csv_sink {
    void *context;
    bool (*field)(void *context, const struct csv_field *field);
    bool (*row)(void *context, size_t fields, size_t line);
};

enum csv_outcome {
    CSV_READ,      /* all taken */
    CSV_STOPPED,   /* a callback returned false */
    CSV_MALFORMED, /* a quote where none may stand, a quoted field that never ends, a NUL */
    CSV_TOO_LONG,  /* a field beyond the limit */
    CSV_NO_MEMORY,
};

struct csv_stream; /* opaque */

/* NULL when out of memory. */
struct csv_stream *csv_stream_new(const struct csv_sink *sink, char delimiter);
void csv_stream_free(struct csv_stream *stream);
/* Lets a field have up to CSV_LONG_LIMIT bytes; before the first feed. */
void csv_stream_allow_long(struct csv_stream *stream);

/* After anything but CSV_READ the stream is dead and repeats its answer. */
enum csv_outcome csv_stream_feed(struct csv_stream *stream, const char *bytes, size_t length);
enum csv_outcome csv_stream_finish(struct csv_stream *stream);

/* Where the reading stands: for messages after a fault. */
void csv_stream_position(const struct csv_stream *stream, size_t *line, size_t *column);

/*
 * Appends a field so that this module and others read the same bytes back: in
 * quotes when it holds a comma, a quote or an end of line, or begins or ends
 * with white space. Commas between fields and CRLF behind a row are the
 * caller's.
 */
struct text;
void csv_write_field(struct text *out, const char *bytes, size_t length);

#endif
