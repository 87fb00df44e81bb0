/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/csv.h"

#include <csv.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

#include "base/memory.h"

enum {
    BLOCK = 64 * 1024, /* bytes read at once, and by which libcsv lets a field grow */
    HEAD = 4096,       /* bytes by which the separator is told */
    TELL_EVERY = 16,   /* blocks */
};

/* libcsv tells no positions. It is therefore given the bytes in pieces that end at a separator or
 * an end of line, so that a field's callback comes when the piece that ends it is fed, and the
 * field began where the last one ended. */
struct place {
    size_t line, column; /* of the next byte */
    char previous;       /* last byte fed, so that CR LF is one end of line */
};

struct csv_reader {
    struct csv_table table;
    struct diags *diags;
    enum status status;
    struct csv_parser parser;
    bool begun;                /* the head was read: until then it is kept in `bytes` */
    struct place at, field_at; /* of the next byte; where the next field begins */
    struct text bytes;         /* of the fields of this row, each followed by a NUL */
    size_t starts[CSV_MOST_FIELDS];
    struct csv_field fields[CSV_MOST_FIELDS];
    size_t count;
};

struct position csv_at(const struct csv_row *row, size_t field)
{
    if (field >= row->count)
        return (struct position){row->file, row->line, 1};
    return (struct position){row->file, row->fields[field].line, row->fields[field].column};
}

/* libcsv grows its field buffer through this, which hears of no reader: beyond the limit it hears
 * there is no memory. */
static void *bounded_realloc(void *block, size_t size)
{
    return size > CSV_FIELD_LIMIT + 2 * BLOCK ? NULL : realloc(block, size);
}

static enum status refuse(struct csv_reader *reader, struct place at, const char *why)
{
    diags_error(reader->diags, (struct position){reader->table.file, at.line, at.column}, "%s",
                why);
    return reader->status = STATUS_DATA;
}

static enum status refuse_long(struct csv_reader *reader, struct place at)
{
    char why[80];
    snprintf(why, sizeof why, "a field longer than %zu bytes; is a quote missing?",
             reader->table.longest);
    return refuse(reader, at, why);
}

/* ---- what libcsv calls ----------------------------------------------------------------------- */

static void on_field(void *bytes, size_t length, void *context)
{
    struct csv_reader *reader = context;
    const struct place began = reader->field_at;
    reader->field_at = reader->at;
    if (reader->status != STATUS_OK)
        return;
    static const char WHITE[] = " \t\r\n";
    const char *text = length > 0 ? bytes : "";
    if (length > reader->table.longest)
        refuse_long(reader, began);
    else if (reader->count == CSV_MOST_FIELDS)
        refuse(reader, began, "a row of more than 512 fields; is the file a table?");
    else if (reader->table.utf8 && utf8_valid_prefix(text, length) != length)
        refuse(reader, began, "the text is not UTF-8; save the file as CSV in UTF-8 and try again");
    if (reader->status != STATUS_OK)
        return;
    for (; reader->table.trimmed && length > 0 && strchr(WHITE, *text) != NULL; length--)
        text++;
    while (reader->table.trimmed && length > 0 && strchr(WHITE, text[length - 1]) != NULL)
        length--;
    reader->starts[reader->count] = reader->bytes.length;
    reader->fields[reader->count++] =
        (struct csv_field){.length = length, .line = began.line, .column = began.column};
    text_add(&reader->bytes, text, length);
    text_add(&reader->bytes, "", 1);
}

static void on_row(int end, void *context)
{
    struct csv_reader *reader = context;
    (void)end;
    reader->field_at = reader->at;
    /* No fields: a blank line, or the LF of a CR LF. */
    if (reader->count == 0 || reader->status != STATUS_OK)
        return;
    for (size_t i = 0; i < reader->count; i++)
        reader->fields[i].text = reader->bytes.bytes + reader->starts[i];
    const struct csv_row row = {reader->table.file, reader->fields, reader->count,
                                reader->fields[0].line};
    reader->status = reader->table.row(reader->table.context, &row);
    reader->count = 0;
    text_clear(&reader->bytes);
}

/* ---- pieces ---------------------------------------------------------------------------------- */

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

static enum status malformed(struct csv_reader *reader)
{
    return refuse(reader, reader->at,
                  "a quote where none may stand, or one that is never closed; within quotes write "
                  "a quote twice");
}

static enum status parse(struct csv_reader *reader, const char *bytes, size_t length)
{
    for (size_t at = 0, end = 0; at < length && reader->status == STATUS_OK; at = end) {
        struct place began = reader->at;
        if (bytes[at] == '\0')
            return refuse(reader, began,
                          "a NUL byte, which no table holds; save the file as CSV in UTF-8");
        while (end < length && bytes[end] != '\0') {
            char byte = bytes[end++];
            advance(&reader->at, byte);
            if (byte == reader->table.separator || byte == '\n' || byte == '\r')
                break;
        }
        size_t taken = csv_parse(&reader->parser, bytes + at, end - at, on_field, on_row, reader);
        if (taken == end - at || reader->status != STATUS_OK)
            continue;
        reader->at = began; /* and on to the byte at fault */
        for (size_t i = 0; i < taken; i++)
            advance(&reader->at, bytes[at + i]);
        if (csv_error(&reader->parser) == CSV_EPARSE)
            return malformed(reader);
        return refuse_long(reader, reader->at);
    }
    return reader->status;
}

/* Where the first line ends, by an end of line outside quotes; `length` when it does not. Counts
 * what may separate fields. */
static size_t first_line(const char *bytes, size_t length, size_t counts[3])
{
    bool quoted = false;
    size_t at = 0;
    for (; at < length && (quoted || (bytes[at] != '\n' && bytes[at] != '\r')); at++) {
        quoted = quoted != (bytes[at] == '"');
        for (size_t i = 0; i < 3 && !quoted; i++)
            counts[i] += bytes[at] == ",;\t"[i];
    }
    return at;
}

/* Reads the head of the file: the separator is a comma unless its first line has more others. */
static enum status begin(struct csv_reader *reader)
{
    struct text head = reader->bytes;
    size_t counts[3] = {0}, skip = 0, best = 0;
    if (head.length >= 3 && memcmp(head.bytes, "\xEF\xBB\xBF", 3) == 0)
        skip = 3;
    first_line(head.bytes + skip, (head.length < HEAD ? head.length : HEAD) - skip, counts);
    for (size_t i = 1; i < 3; i++)
        if (counts[i] > counts[best])
            best = i;
    if (reader->table.separator == 0)
        reader->table.separator = ",;\t"[best];
    csv_set_delim(&reader->parser, (unsigned char)reader->table.separator);
    reader->begun = true;
    text_init(&reader->bytes);
    parse(reader, head.bytes + skip, head.length - skip);
    text_release(&head);
    return reader->status;
}

/* ---- the reader ------------------------------------------------------------------------------ */

struct csv_reader *csv_reader_new(const struct csv_table *table, struct diags *diags)
{
    struct csv_reader *reader = calloc(1, sizeof *reader);
    reader->table = *table;
    reader->diags = diags;
    if (reader->table.longest == 0)
        reader->table.longest = CSV_FIELD_LIMIT;
    reader->at = reader->field_at = (struct place){.line = 1, .column = 1};
    text_init(&reader->bytes);
    csv_init(&reader->parser, CSV_STRICT | CSV_STRICT_FINI | CSV_REPALL_NL);
    csv_set_realloc_func(&reader->parser, bounded_realloc);
    csv_set_blk_size(&reader->parser, BLOCK);
    return reader;
}

void csv_reader_free(struct csv_reader *reader)
{
    if (reader == NULL)
        return;
    csv_free(&reader->parser);
    text_release(&reader->bytes);
    free(reader);
}

enum status csv_reader_feed(struct csv_reader *reader, const char *bytes, size_t length)
{
    size_t unused[3] = {0};
    if (reader->begun)
        return parse(reader, bytes, length);
    text_add(&reader->bytes, bytes, length);
    if (reader->bytes.length >= HEAD ||
        first_line(reader->bytes.bytes, reader->bytes.length, unused) < reader->bytes.length)
        return begin(reader);
    return reader->status;
}

enum status csv_reader_finish(struct csv_reader *reader)
{
    if (!reader->begun)
        begin(reader);
    if (reader->status == STATUS_OK && csv_fini(&reader->parser, on_field, on_row, reader) != 0 &&
        reader->status == STATUS_OK)
        return malformed(reader);
    return reader->status;
}

enum status csv_read(const struct csv_table *table, FILE *stream, const struct progress *progress,
                     struct diags *diags)
{
    struct stat about = {0};
    FILE *file = stream != NULL ? stream : fopen(table->file, "rb");
    if (file == NULL)
        return filing_refused(table->file, "opened", errno, diags);
    bool known = stream == NULL && fstat(fileno(file), &about) == 0;
    if (known && S_ISDIR(about.st_mode)) {
        fclose(file);
        return filing_refused(table->file, "read", EISDIR, diags);
    }
    struct csv_reader *reader = csv_reader_new(table, diags);
    char *block SCOPED_FREE = memory_array(BLOCK, 1);
    uint64_t done = 0, total = known && about.st_size > 0 ? (uint64_t)about.st_size : 0;
    enum status status = STATUS_OK;
    size_t got = 0;
    for (size_t turn = 0; status == STATUS_OK && (got = fread(block, 1, BLOCK, file)) > 0; turn++) {
        status = csv_reader_feed(reader, block, got);
        done += got;
        if (turn % TELL_EVERY == 0)
            progress_tell(progress, table->file, done, total);
    }
    if (status == STATUS_OK && ferror(file))
        status = filing_refused(table->file, "read", errno, diags);
    else if (status == STATUS_OK) {
        status = csv_reader_finish(reader);
        progress_tell(progress, table->file, total, total);
    }
    csv_reader_free(reader);
    if (stream == NULL)
        fclose(file);
    return status;
}

int csv_named(const char *names, const char *word, size_t length)
{
    for (int place = 0; *names != '\0'; place++) {
        size_t name = strcspn(names, "|");
        if (name == length && strncasecmp(names, word, length) == 0)
            return place;
        names += name + (names[name] == '|');
    }
    return -1;
}

/* ---- writing --------------------------------------------------------------------------------- */

void csv_write_field(struct text *out, const char *bytes, size_t length)
{
    /* Readers may trim what is not quoted; this one does. */
    bool quotes =
        length > 0 && (strchr(" \t", bytes[0]) != NULL || strchr(" \t", bytes[length - 1]) != NULL);
    for (size_t i = 0; i < length && !quotes; i++)
        quotes = bytes[i] != '\0' && strchr(",\"\r\n", bytes[i]) != NULL;
    if (!quotes) {
        text_add(out, bytes, length);
        return;
    }
    text_puts(out, "\"");
    for (size_t i = 0; i < length; i++) {
        if (bytes[i] == '"')
            text_puts(out, "\"");
        text_add(out, bytes + i, 1);
    }
    text_puts(out, "\"");
}
