/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A table: read in one piece and byte by byte, which must come to the same. */
#include "base/csv.h"

#include "support/fuzz.h"

struct digest { /* of all that the callbacks were given */
    uint64_t hash;
    size_t fields, rows;
};

static void take(struct digest *digest, const void *bytes, size_t length)
{
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < length; i++)
        digest->hash = (digest->hash ^ byte[i]) * 1099511628211u;
}

static bool take_field(void *context, const struct csv_field *field)
{
    struct digest *digest = context;
    hold(field->length <= CSV_FIELD_LIMIT, "a field keeps to its limit");
    hold(field->line >= 1 && field->column >= 1, "a field has a place");
    hold(!memchr(field->bytes, '\0', field->length), "no field holds a NUL");
    take(digest, field->bytes, field->length);
    take(digest, &field->index, sizeof field->index);
    take(digest, &field->line, sizeof field->line);
    take(digest, &field->column, sizeof field->column);
    digest->fields++;
    return true;
}

static bool take_row(void *context, size_t fields, size_t line)
{
    struct digest *digest = context;
    take(digest, &fields, sizeof fields);
    take(digest, &line, sizeof line);
    digest->rows++;
    return true;
}

static enum csv_outcome read_in(size_t piece, const uint8_t *bytes, size_t size,
                                struct digest *digest)
{
    const struct csv_sink sink = {digest, take_field, take_row};
    struct csv_stream *stream = csv_stream_new(&sink, ',');
    hold(stream != NULL, "there is memory");
    enum csv_outcome outcome = CSV_READ;
    for (size_t at = 0; at < size && outcome == CSV_READ; at += piece) {
        size_t length = size - at < piece ? size - at : piece;
        char *copy = string_of(bytes + at, length); /* so that reading beyond it is seen */
        outcome = csv_stream_feed(stream, copy, length);
        free(copy);
    }
    if (outcome == CSV_READ)
        outcome = csv_stream_finish(stream);
    size_t line;
    size_t column;
    csv_stream_position(stream, &line, &column);
    take(digest, &line, sizeof line);
    take(digest, &column, sizeof column);
    csv_stream_free(stream);
    return outcome;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct digest whole = {0};
    struct digest pieces = {0};
    enum csv_outcome outcome = read_in(size ? size : 1, bytes, size, &whole);
    hold(read_in(1, bytes, size, &pieces) == outcome, "pieces come to the same outcome");
    hold(whole.fields == pieces.fields && whole.rows == pieces.rows && whole.hash == pieces.hash,
         "pieces hold the same fields at the same places");
    return 0;
}
