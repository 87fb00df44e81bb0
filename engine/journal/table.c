/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/table_internal.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/csv.h"
#include "base/filing.h"
#include "base/text.h"

enum {
    CHUNK = 64 * 1024,
    MOST_FIELDS = 512, /* of a row: no spreadsheet a person keeps has more */
    TELL_EVERY = 16,   /* chunks */
};

struct table {
    const struct table_reader *reader;
    struct diags *diags;
    enum status status; /* of the last row, or of what was wrong with one */
    struct text bytes;  /* of the fields of this row, each with a NUL behind */
    size_t starts[MOST_FIELDS];
    struct table_field fields[MOST_FIELDS];
    size_t count;
};

static struct position at(const struct table *table, size_t line, size_t column)
{
    return (struct position){table->reader->path, line, column};
}

struct position table_at(const struct table_reader *reader, const struct table_row *row,
                         size_t field)
{
    if (field >= row->count)
        return (struct position){reader->path, row->line, 1};
    return (struct position){reader->path, row->fields[field].line, row->fields[field].column};
}

static bool on_field(void *context, const struct csv_field *field)
{
    struct table *table = context;
    size_t valid = utf8_valid_prefix(field->bytes, field->length);
    struct position here = at(table, field->line, field->column);
    table->status = STATUS_DATA;
    if (table->count == MOST_FIELDS) {
        diags_error(table->diags, here, "a row of more than %d fields; is the file a table?",
                    (int)MOST_FIELDS);
        return false;
    }
    if (valid != field->length) {
        diags_error(table->diags, here,
                    "the text is not UTF-8; save the file as CSV in UTF-8 and try again");
        return false;
    }
    table->starts[table->count] = table->bytes.length;
    table->fields[table->count++] =
        (struct table_field){.length = field->length, .line = field->line, .column = field->column};
    text_add(&table->bytes, field->bytes, field->length);
    text_add(&table->bytes, "", 1);
    table->status = table->bytes.failed ? STATUS_MEMORY : STATUS_OK;
    return table->status == STATUS_OK;
}

static bool on_row(void *context, size_t fields, size_t line)
{
    struct table *table = context;
    (void)fields;
    for (size_t i = 0; i < table->count; i++)
        table->fields[i].text = table->bytes.bytes + table->starts[i];
    struct table_row row = {table->fields, table->count, line};
    table->status = table->reader->row(table->reader->context, &row);
    table->count = 0;
    text_clear(&table->bytes);
    return table->status == STATUS_OK;
}

/* What separates fields, by the first line: a comma unless there are more of another outside
 * quotes. */
static char guess_delimiter(const char *bytes, size_t length)
{
    static const char candidates[] = ",;\t";
    size_t counts[sizeof candidates] = {0}, best = 0;
    bool quoted = false;
    for (size_t i = 0; i < length && (quoted || (bytes[i] != '\n' && bytes[i] != '\r')); i++) {
        const char *found = bytes[i] != '\0' ? strchr(candidates, bytes[i]) : NULL;
        if (bytes[i] == '"')
            quoted = !quoted;
        else if (found != NULL && !quoted)
            counts[found - candidates]++;
    }
    for (size_t i = 1; candidates[i] != '\0'; i++)
        if (counts[i] > counts[best])
            best = i;
    return candidates[best];
}

static enum status malformed(const struct table *table, const struct csv_stream *stream,
                             enum csv_outcome outcome)
{
    size_t line, column;
    csv_stream_position(stream, &line, &column);
    switch (outcome) {
    case CSV_TOO_LONG:
        diags_error(table->diags, at(table, line, column),
                    "a field of more than %d bytes; is a quote missing?", (int)CSV_LONG_LIMIT);
        return STATUS_DATA;
    case CSV_MALFORMED:
        diags_error(table->diags, at(table, line, column),
                    "a quote where none may stand, or one that is never closed; within quotes "
                    "write a quote twice");
        return STATUS_DATA;
    case CSV_STOPPED:
        return table->status;
    default:
        return STATUS_MEMORY;
    }
}

static enum status feed(const struct table *table, struct csv_stream *stream, const char *bytes,
                        size_t length)
{
    const char *nul = memchr(bytes, '\0', length);
    enum csv_outcome outcome =
        csv_stream_feed(stream, bytes, nul != NULL ? (size_t)(nul - bytes) : length);
    if (outcome != CSV_READ)
        return malformed(table, stream, outcome);
    if (nul == NULL)
        return STATUS_OK;
    size_t line, column;
    csv_stream_position(stream, &line, &column);
    diags_error(table->diags, at(table, line, column),
                "a NUL byte, which no table holds; save the file as CSV in UTF-8");
    return STATUS_DATA;
}

/* The whole file through the parser, which is made once the first bytes tell the delimiter. */
static enum status read_stream(struct table *table, FILE *file, char *chunk, uint64_t total)
{
    static const char mark[] = "\xEF\xBB\xBF";
    struct csv_sink sink = {table, on_field, on_row};
    struct csv_stream *stream = NULL;
    uint64_t done = 0;
    enum status status = STATUS_OK;
    for (size_t turn = 0; status == STATUS_OK; turn++) {
        size_t got = fread(chunk, 1, CHUNK, file), skip = 0;
        if (stream == NULL) {
            skip = got >= 3 && memcmp(chunk, mark, 3) == 0 ? 3 : 0;
            char delimiter = table->reader->delimiter;
            stream = csv_stream_new(
                &sink, delimiter != 0 ? delimiter : guess_delimiter(chunk + skip, got - skip));
            if (stream == NULL)
                return STATUS_MEMORY;
            csv_stream_allow_long(stream);
        }
        if (got == 0)
            break;
        status = feed(table, stream, chunk + skip, got - skip);
        done += got;
        if (turn % TELL_EVERY == 0)
            progress_tell(table->reader->progress, table->reader->path, done, total);
    }
    if (status == STATUS_OK && ferror(file))
        status = filing_refused(table->reader->path, "read", errno, table->diags);
    else if (status == STATUS_OK) {
        enum csv_outcome outcome = csv_stream_finish(stream);
        status = outcome == CSV_READ ? STATUS_OK : malformed(table, stream, outcome);
        progress_tell(table->reader->progress, table->reader->path, total, total);
    }
    csv_stream_free(stream);
    return status;
}

enum status table_read(const struct table_reader *reader, struct diags *diags)
{
    struct stat about;
    FILE *file = fopen(reader->path, "rb");
    if (file == NULL)
        return filing_refused(reader->path, "read", errno, diags);
    bool folder = fstat(fileno(file), &about) == 0 && S_ISDIR(about.st_mode);
    struct table *table = calloc(1, sizeof *table);
    char *chunk = malloc(CHUNK);
    enum status status = STATUS_MEMORY;
    if (table != NULL && chunk != NULL && !folder) {
        *table = (struct table){.reader = reader, .diags = diags};
        text_init(&table->bytes);
        status = read_stream(table, file, chunk, about.st_size > 0 ? (uint64_t)about.st_size : 0);
        text_release(&table->bytes);
    } else if (folder) {
        status = filing_refused(reader->path, "read", EISDIR, diags);
    }
    free(chunk);
    free(table);
    fclose(file);
    return status;
}
