/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/export.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/csv.h"
#include "base/filing.h"
#include "journal/exchange_internal.h"
#include "journal/journal_internal.h"

struct writer { /* of one table */
    struct journal *journal;
    enum record record;
    struct text line, value, field;
    size_t rows; /* written so far */
    struct diags *diags;
};

static void writer_init(struct writer *writer, struct journal *journal, enum record record,
                        struct diags *diags)
{
    *writer = (struct writer){.journal = journal, .record = record, .diags = diags};
    text_init(&writer->line);
    text_init(&writer->value);
    text_init(&writer->field);
}

static void writer_release(struct writer *writer)
{
    text_release(&writer->line);
    text_release(&writer->value);
    text_release(&writer->field);
}

static void header_line(struct writer *writer)
{
    text_clear(&writer->line);
    text_puts(&writer->line, "id");
    for (const struct column *column = record_types[writer->record].columns; column->name; column++)
        if (exchange_carries(writer->record, column))
            text_printf(&writer->line, ",%s", column->name);
    text_puts(&writer->line, "\r\n");
}

static enum status add_field(struct writer *writer, const struct column *column, const void *row)
{
    text_clear(&writer->value);
    text_clear(&writer->field);
    enum status status =
        exchange_show(writer->journal, writer->record, column, row, &writer->value, writer->diags);
    if (exchange_is_text(column))
        exchange_guard(&writer->field, writer->value.bytes, writer->value.length);
    else
        text_add(&writer->field, writer->value.bytes, writer->value.length);
    text_add(&writer->line, ",", 1);
    csv_write_field(&writer->line, writer->field.bytes, writer->field.length);
    return status;
}

static enum status row_line(struct writer *writer, const void *row)
{
    enum status status = STATUS_OK;
    text_clear(&writer->line);
    text_printf(&writer->line, "%lld", (long long)*(const int64_t *)row);
    for (const struct column *column = record_types[writer->record].columns;
         column->name != NULL && status == STATUS_OK; column++)
        if (exchange_carries(writer->record, column))
            status = add_field(writer, column, row);
    text_puts(&writer->line, "\r\n");
    if (writer->line.failed || writer->value.failed || writer->field.failed)
        return STATUS_MEMORY;
    return status;
}

static enum status put_line(const struct writer *writer, FILE *stream, const char *name)
{
    const struct text *line = &writer->line;
    if (line->failed)
        return STATUS_MEMORY;
    errno = 0;
    return fwrite(line->bytes, 1, line->length, stream) == line->length
               ? STATUS_OK
               : filing_refused(name, "written", errno != 0 ? errno : EIO, writer->diags);
}

static enum status put_rows(struct writer *writer, void *row, FILE *stream, const char *name)
{
    struct walk *walk = journal_walk(writer->journal, writer->record, NULL, 0, writer->diags);
    enum status status = walk != NULL ? STATUS_OK : STATUS_IO;
    while (status == STATUS_OK && walk_next(walk, row)) {
        status = row_line(writer, row);
        if (status == STATUS_OK)
            status = put_line(writer, stream, name);
        writer->rows += status == STATUS_OK;
    }
    enum status walked = walk_end(walk);
    return status != STATUS_OK ? status : walked;
}

/* `rows` receives how many there were: asked again, the disk may no longer say. */
static enum status write_table(struct journal *journal, enum record record, FILE *stream,
                               const char *name, size_t *rows, struct diags *diags)
{
    struct writer writer;
    void *row = malloc(record_types[record].size);
    if (row == NULL)
        return STATUS_MEMORY;
    writer_init(&writer, journal, record, diags);
    header_line(&writer);
    enum status status = put_line(&writer, stream, name);
    if (status == STATUS_OK)
        status = put_rows(&writer, row, stream, name);
    *rows = writer.rows;
    writer_release(&writer);
    free(row);
    return status;
}

enum status export_table(struct journal *journal, enum record record, FILE *stream,
                         const char *name, struct diags *diags)
{
    size_t rows;
    return write_table(journal, record, stream, name, &rows, diags);
}

enum status export_file(struct journal *journal, enum record record, const char *path, bool replace,
                        struct diags *diags)
{
    struct filing filing;
    enum status status = filing_open(&filing, path, replace, diags);
    if (status != STATUS_OK)
        return status;
    status = export_table(journal, record, filing.stream, path, diags);
    if (status == STATUS_OK)
        return filing_commit(&filing, diags);
    filing_abandon(&filing);
    return status;
}

/* ---- all tables ------------------------------------------------------------------------------ */

static enum status open_all(struct filing filings[RECORD_COUNT], const char *folder, bool replace,
                            struct diags *diags)
{
    enum status status = STATUS_OK;
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        char *path = text_format("%s/%s.csv", folder, record_types[i].name);
        status = path != NULL ? filing_open(&filings[i], path, replace, diags) : STATUS_MEMORY;
        free(path);
    }
    return status;
}

static enum status write_all(struct journal *journal, struct filing filings[RECORD_COUNT],
                             size_t counts[RECORD_COUNT], const struct progress *progress,
                             struct diags *diags)
{
    enum status status = STATUS_OK;
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        progress_tell(progress, record_types[i].name, (uint64_t)i, RECORD_COUNT);
        size_t rows = 0;
        status =
            write_table(journal, (enum record)i, filings[i].stream, filings[i].path, &rows, diags);
        if (counts != NULL)
            counts[i] = rows;
        if (status == STATUS_OK)
            status = filing_sync(&filings[i], diags);
    }
    progress_tell(progress, "", RECORD_COUNT, RECORD_COUNT);
    return status;
}

/* One view of the journal for all tables, while others go on writing. */
static enum status write_all_at_once(struct journal *journal, struct filing filings[RECORD_COUNT],
                                     size_t counts[RECORD_COUNT], const struct progress *progress,
                                     struct diags *diags)
{
    sqlite3 *database = journal_database(journal);
    if (sqlite3_exec(database, "SAVEPOINT export", NULL, NULL, NULL) != SQLITE_OK)
        return journal_fault(journal, "read", diags);
    enum status status = write_all(journal, filings, counts, progress, diags);
    sqlite3_exec(database, "RELEASE export", NULL, NULL, NULL);
    return status;
}

enum status export_folder(struct journal *journal, const char *folder, bool replace,
                          size_t counts[RECORD_COUNT], const struct progress *progress,
                          struct diags *diags)
{
    struct filing filings[RECORD_COUNT] = {{0}};
    bool made = mkdir(folder, 0700) == 0;
    if (!made && errno != EEXIST)
        return filing_refused(folder, "made", errno, diags);
    enum status status = open_all(filings, folder, replace, diags);
    if (status == STATUS_OK)
        status = write_all_at_once(journal, filings, counts, progress, diags);
    for (int i = 0; i < RECORD_COUNT; i++) {
        if (status == STATUS_OK)
            status = filing_commit(&filings[i], diags);
        else
            filing_abandon(&filings[i]);
    }
    if (status != STATUS_OK && made)
        (void)rmdir(folder);
    return status;
}
