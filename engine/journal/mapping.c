/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/mapping.h"

#include <stdlib.h>
#include <string.h>

#include "journal/mapping_row_internal.h"
#include "journal/table_internal.h"

enum { MOST_COLUMNS = 512 };

struct spreadsheet {
    struct carrier carrier;
    struct table_reader reader;
    const struct mapping_options *options;
    struct mapping_tally *tally;
    struct diags *diags;
    bool header_read;
    size_t column_of[MAPPED_COUNT]; /* SIZE_MAX where none */
    bool repeats[MOST_COLUMNS];
    struct text above[MOST_COLUMNS]; /* what stood last in a column that repeats */
};

/* ---- header ---------------------------------------------------------------------------------- */

static size_t column_headed(struct spreadsheet *sheet, const struct table_row *row,
                            const char *heading)
{
    for (size_t i = 0; i < row->count && i < MOST_COLUMNS; i++) {
        const char *folded = mapped_fold(sheet->carrier.arena, row->fields[i].text);
        if (folded != NULL && strcmp(folded, heading) == 0)
            return i;
    }
    return SIZE_MAX;
}

static void no_heading(struct spreadsheet *sheet, const struct table_row *row, const char *heading)
{
    const char *names[MOST_COLUMNS];
    size_t count = 0;
    for (; count < row->count && count < MOST_COLUMNS; count++)
        names[count] = row->fields[count].text;
    const char *near = diag_nearest(heading, names, count);
    struct position at = table_at(&sheet->reader, row, SIZE_MAX);
    if (near != NULL)
        diags_error(sheet->diags, at, "no column is headed '%s'; did you mean '%s'?", heading,
                    near);
    else
        diags_error(sheet->diags, at, "no column is headed '%s'", heading);
}

static enum status read_header(struct spreadsheet *sheet, const struct table_row *row)
{
    const struct mapping *mapping = sheet->carrier.mapping;
    enum status status = STATUS_OK;
    sheet->header_read = true;
    for (int i = 0; i < MAPPED_COUNT; i++) {
        sheet->column_of[i] = SIZE_MAX;
        if (mapping->headings[i] == NULL)
            continue;
        sheet->column_of[i] = column_headed(sheet, row, mapping->headings[i]);
        if (sheet->column_of[i] == SIZE_MAX) {
            no_heading(sheet, row, mapping->as_written[i]);
            status = STATUS_DATA;
        }
    }
    for (size_t i = 0; i < mapping->repeat_count; i++) {
        size_t column = column_headed(sheet, row, mapping->repeats[i]);
        if (column == SIZE_MAX) {
            no_heading(sheet, row, mapping->repeats[i]);
            status = STATUS_DATA;
        } else {
            sheet->repeats[column] = true;
        }
    }
    return status;
}

/* ---- rows ------------------------------------------------------------------------------------ */

static bool is_blank(const char *text)
{
    return text[strspn(text, " \t\r\n")] == '\0';
}

static bool all_blank(const struct table_row *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (!is_blank(row->fields[i].text))
            return false;
    return true;
}

static void remember_above(struct spreadsheet *sheet, const struct table_row *row)
{
    for (size_t i = 0; i < row->count && i < MOST_COLUMNS; i++) {
        if (!sheet->repeats[i] || is_blank(row->fields[i].text))
            continue;
        text_clear(&sheet->above[i]);
        text_puts(&sheet->above[i], row->fields[i].text);
    }
}

/* The cell without blanks at its ends, or what stands above it, or what holds for all rows. */
static const char *cell(struct spreadsheet *sheet, const struct table_row *row, enum mapped field)
{
    size_t column = sheet->column_of[field];
    const char *same = sheet->carrier.mapping->same[field];
    const char *text = column < row->count ? row->fields[column].text : "";
    if (is_blank(text) && column < MOST_COLUMNS && sheet->repeats[column])
        text = sheet->above[column].bytes;
    if (is_blank(text))
        return same != NULL ? same : "";
    text += strspn(text, " \t");
    size_t length = strlen(text);
    while (length > 0 && strchr(" \t", text[length - 1]) != NULL)
        length--;
    return arena_copy(sheet->carrier.arena, text, length);
}

static void report(struct spreadsheet *sheet, struct position at, enum mapping_verdict verdict,
                   const char *why)
{
    struct mapping_row told = {at, verdict, sheet->carrier.label, why};
    if (verdict == MAPPING_TAKEN)
        sheet->tally->taken++;
    else if (verdict == MAPPING_SKIPPED)
        sheet->tally->skipped++;
    else
        sheet->tally->refused++;
    if (sheet->options->row != NULL)
        sheet->options->row(sheet->options->context, &told);
}

static enum status run(struct spreadsheet *sheet, const char *sql)
{
    struct journal *journal = sheet->carrier.journal;
    return sqlite3_exec(journal->database, sql, NULL, NULL, NULL) == SQLITE_OK
               ? STATUS_OK
               : journal_fault(journal, "write to", sheet->diags);
}

/* A row that is refused leaves nothing, a row that is taken all of it. */
static enum status conclude_row(struct spreadsheet *sheet, const struct table_row *row,
                                enum status status)
{
    struct carrier *carrier = &sheet->carrier;
    struct position at = table_at(&sheet->reader, row, SIZE_MAX);
    if (status != STATUS_OK && status != STATUS_DATA && status != STATUS_USAGE) {
        for (size_t i = 0; i < diags_kept(carrier->own); i++)
            diags_error(sheet->diags, at, "%s", diags_get(carrier->own, i)->message);
        return status;
    }
    if (status == STATUS_OK) {
        for (int i = 0; i < RECORD_COUNT; i++)
            sheet->tally->added[i] += carrier->added[i];
        report(sheet, at, carrier->news ? MAPPING_TAKEN : MAPPING_SKIPPED,
               carrier->news ? "" : "there already");
        return run(sheet, "RELEASE one_row");
    }
    size_t column = carrier->blamed != MAPPED_COUNT ? sheet->column_of[carrier->blamed] : SIZE_MAX;
    report(sheet, table_at(&sheet->reader, row, column), MAPPING_REFUSED,
           diags_kept(carrier->own) > 0 ? diags_get(carrier->own, 0)->message : "");
    return run(sheet, "ROLLBACK TO one_row; RELEASE one_row");
}

static enum status take_row(void *context, const struct table_row *row)
{
    struct spreadsheet *sheet = context;
    struct carrier *carrier = &sheet->carrier;
    arena_reset(carrier->arena);
    diags_clear(carrier->own);
    carrier->label = "";
    if (!sheet->header_read)
        return read_header(sheet, row);
    if (all_blank(row)) {
        report(sheet, table_at(&sheet->reader, row, SIZE_MAX), MAPPING_SKIPPED, "empty");
        return STATUS_OK;
    }
    remember_above(sheet, row);
    for (int i = 0; i < MAPPED_COUNT; i++)
        if ((carrier->cells[i] = cell(sheet, row, (enum mapped)i)) == NULL)
            return STATUS_MEMORY;
    enum status status = run(sheet, "SAVEPOINT one_row");
    return status == STATUS_OK ? conclude_row(sheet, row, carrier_take(carrier)) : status;
}

/* ---- the whole ------------------------------------------------------------------------------- */

static enum status read_all(struct spreadsheet *sheet)
{
    struct journal *journal = sheet->carrier.journal;
    enum status status = journal_begin(journal, sheet->diags);
    if (status != STATUS_OK)
        return status;
    status = table_read(&sheet->reader, sheet->diags);
    if (status == STATUS_OK && !sheet->header_read) {
        diags_error(sheet->diags, (struct position){sheet->reader.path, 1, 1},
                    "the file is empty; its first row should name the columns");
        status = STATUS_DATA;
    }
    bool keep = status == STATUS_OK && !sheet->options->dry_run &&
                (sheet->tally->refused == 0 || sheet->options->partly);
    if (keep)
        status = journal_commit(journal, sheet->diags);
    else
        journal_rollback(journal);
    return status == STATUS_OK && sheet->tally->refused > 0 ? STATUS_DATA : status;
}

static void release(struct spreadsheet *sheet)
{
    sqlite3_finalize(sheet->carrier.highest);
    text_release(&sheet->carrier.given);
    text_release(&sheet->carrier.there);
    arena_free(sheet->carrier.arena);
    diags_free(sheet->carrier.own);
    for (size_t i = 0; i < MOST_COLUMNS; i++)
        text_release(&sheet->above[i]);
    free(sheet);
}

enum status mapping_import(struct journal *journal, struct mapping *mapping, struct reader *reader,
                           const char *path, const struct mapping_options *options,
                           struct mapping_tally *tally, struct diags *diags)
{
    struct spreadsheet *sheet = calloc(1, sizeof *sheet);
    *tally = (struct mapping_tally){0};
    if (sheet == NULL)
        return STATUS_MEMORY;
    *sheet = (struct spreadsheet){
        .carrier = {.journal = journal,
                    .mapping = mapping,
                    .reader = reader,
                    .now = options->now,
                    .arena = arena_new(NULL),
                    .own = diags_new(),
                    .label = ""},
        .reader = {.path = path, .context = sheet, .row = take_row, .progress = options->progress},
        .options = options,
        .tally = tally,
        .diags = diags};
    text_init(&sheet->carrier.given);
    text_init(&sheet->carrier.there);
    for (size_t i = 0; i < MOST_COLUMNS; i++)
        text_init(&sheet->above[i]);
    enum status status = sheet->carrier.arena != NULL && sheet->carrier.own != NULL
                             ? read_all(sheet)
                             : STATUS_MEMORY;
    release(sheet);
    return status;
}
