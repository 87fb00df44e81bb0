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

static enum status take_row(void *context, const struct csv_row *row)
{
    struct digest *digest = context;
    for (size_t i = 0; i < row->count; i++) {
        const struct csv_field *field = &row->fields[i];
        hold(field->length <= CSV_FIELD_LIMIT, "a field keeps to its limit");
        hold(field->line >= 1 && field->column >= 1, "a field has a place");
        hold(strlen(field->text) == field->length, "no field holds a NUL");
        take(digest, field->text, field->length);
        take(digest, &field->line, sizeof field->line);
        take(digest, &field->column, sizeof field->column);
    }
    take(digest, &row->line, sizeof row->line);
    digest->fields += row->count;
    digest->rows++;
    return STATUS_OK;
}

static enum status read_in(size_t piece, const uint8_t *bytes, size_t size, struct digest *digest)
{
    const struct csv_table table = {.file = "table", .context = digest, .row = take_row};
    struct diags *diags = diags_new();
    enum status status = feed(&table, bytes, size, piece, diags);
    hold(status == STATUS_OK || status == STATUS_DATA, "a table is read or refused");
    if (status == STATUS_DATA) {
        struct position at = diags_get(diags, 0)->at;
        take(digest, &at.line, sizeof at.line);
        take(digest, &at.column, sizeof at.column);
    }
    hold_diags(diags, status != STATUS_OK);
    diags_free(diags);
    return status;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct digest whole = {0};
    struct digest pieces = {0};
    enum status outcome = read_in(size ? size : 1, bytes, size, &whole);
    hold(read_in(1, bytes, size, &pieces) == outcome, "pieces come to the same outcome");
    hold(whole.fields == pieces.fields && whole.rows == pieces.rows && whole.hash == pieces.hash,
         "pieces hold the same fields at the same places");
    return 0;
}
