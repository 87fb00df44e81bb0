/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/exchange.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/csv.h"
#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"
#include "journal/sql.h"

enum { IMPORT_MOST_COLUMNS = 64 };

/* One table on its way into the journal. */
struct importer {
    struct journal *journal;
    enum record record;
    struct csv_table reader;
    struct import_tally *tally;
    struct diags *diags;

    const struct column *columns[IMPORT_MOST_COLUMNS]; /* by field; NULL for the id */
    size_t column_count;                               /* 0 until the header was read */
    struct arena *arena;                               /* of one row */
    void *row, *there;                                 /* given, and in the journal */
    struct text value, other;
    struct diags *own; /* what was wrong with one row, without a position */
    bool was_empty;    /* the journal had none of these */
    int64_t highest;   /* id that was ever there */
};

/* A place in memory or on disk for the ids that changed; once for all tables of an import. */
enum status importer_prepare(struct journal *journal, struct diags *diags);

enum status importer_init(struct importer *importer, struct journal *journal, enum record record,
                          struct diags *diags);
static void importer_release(struct importer *importer);

/* A row of the file, the header first: a `row` of struct csv_table. A row that is refused is
 * told and counted, and no fault of the reading. */
enum status importer_row(void *context, const struct csv_row *row);

/* ==== exchange ================================================================================ */

bool exchange_is_due(enum record record, const struct column *column)
{
    return record == RECORD_VESSEL && column->derived &&
           column->offset == offsetof(struct vessel, due);
}

/* Whether it is why that look is due. */
static bool is_due_for(enum record record, const struct column *column)
{
    return record == RECORD_VESSEL && column->derived &&
           column->offset == offsetof(struct vessel, due_for);
}

bool exchange_carries(enum record record, const struct column *column)
{
    return !column->derived || exchange_is_due(record, column) || is_due_for(record, column);
}

bool exchange_has_label(enum record record)
{
    return record_types[record].columns[0].kind == COLUMN_LABEL;
}

bool exchange_is_text(const struct column *column)
{
    return column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT ||
           (column->kind == COLUMN_REFERENCE && exchange_has_label(column->refers));
}

/*
 * Apostrophes and spaces may stand before what makes a formula, so that a text
 * which needed a guard still needs one with the guard in front: that is what
 * lets the guard be told from an apostrophe of the grower's own. Some locales
 * take the wide forms for the signs themselves.
 */
static bool like_a_formula(const char *bytes, size_t length)
{
    static const char *const wide[] = {"\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D",
                                       "\xEF\xBC\xA0"}; /* = + - @ */
    size_t at = 0;
    while (at < length && (bytes[at] == '\'' || bytes[at] == ' '))
        at++;
    if (at == length)
        return false;
    if (bytes[at] != '\0' && strchr("=+-@\t\r\n", bytes[at]) != NULL)
        return true;
    for (size_t i = 0; i < sizeof wide / sizeof *wide; i++)
        if (length - at >= 3 && memcmp(bytes + at, wide[i], 3) == 0)
            return true;
    return false;
}

void exchange_guard(struct text *out, const char *bytes, size_t length)
{
    if (like_a_formula(bytes, length))
        text_add(out, "'", 1);
    text_add(out, bytes, length);
}

size_t exchange_guarded(const char *bytes, size_t length)
{
    return length > 0 && bytes[0] == '\'' && like_a_formula(bytes, length) ? 1 : 0;
}

enum status exchange_show(struct journal *journal, enum record record, const struct column *column,
                          const void *row, struct text *out, struct diags *diags)
{
    const struct vessel *vessel = row;
    char room[MOMENT_ROOM];
    if (!exchange_is_due(record, column))
        return journal_show_column(journal, column, row, out, diags);
    if (vessel->due != 0)
        text_puts(out, moment_write_day(moment_of_day(vessel->due), room));
    return STATUS_OK;
}

/* ==== export ================================================================================== */

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

/* ==== import row ============================================================================== */

/* One row of a table: read, compared with what is there, added. */

/* ---- ids that changed ------------------------------------------------------------------------ */

/* On disk, if there are many: a million looks may come under other ids. */
enum status importer_prepare(struct journal *journal, struct diags *diags)
{
    static const char sql[] =
        "PRAGMA temp_store = FILE;"
        "CREATE TEMP TABLE IF NOT EXISTS renamed (record INTEGER, given INTEGER, id INTEGER,"
        " PRIMARY KEY (record, given)) WITHOUT ROWID;"
        "DELETE FROM renamed";
    return sqlite3_exec(journal->database, sql, NULL, NULL, NULL) == SQLITE_OK
               ? STATUS_OK
               : journal_fault(journal, "write to", diags);
}

static enum status remember(struct importer *importer, int64_t given, int64_t id)
{
    if (given == id || given == 0)
        return STATUS_OK;
    struct query query = query_begin(importer->journal, importer->diags,
                                     "INSERT OR REPLACE INTO renamed VALUES (?, ?, ?)", "iii",
                                     (int64_t)importer->record, given, id);
    return query_end(&query);
}

/* What the record of that id in the file has as id in the journal. */
static int64_t recall(struct importer *importer, int64_t given)
{
    int64_t id = 0;
    query_number(importer->journal, &id, importer->diags,
                 "SELECT id FROM renamed WHERE record = ? AND given = ?", "ii",
                 (int64_t)importer->record, given);
    return id != 0 ? id : given;
}

/* ---- refusals -------------------------------------------------------------------------------- */

/* Tells what was wrong with a row at its place, and counts it. What the disk or the memory refuses
 * is no fault of the row. */
static enum status refuse(struct importer *importer, struct position at, enum status status)
{
    for (size_t i = 0; i < diags_kept(importer->own); i++)
        diags_error(importer->diags, at, "%s", diags_get(importer->own, i)->message);
    diags_clear(importer->own);
    if (status == STATUS_IO || status == STATUS_MEMORY || status == STATUS_INTERNAL)
        return status;
    importer->tally->refused++;
    return STATUS_OK;
}

/* ---- header ---------------------------------------------------------------------------------- */

static const struct column *carried(enum record record, const char *name)
{
    size_t index = record_column(record, name);
    if (index == SIZE_MAX || !exchange_carries(record, &record_types[record].columns[index]))
        return NULL;
    return &record_types[record].columns[index];
}

static enum status unknown_column(struct importer *importer, const struct csv_row *row,
                                  size_t field)
{
    const char *names[IMPORT_MOST_COLUMNS] = {"id"};
    size_t count = 1;
    const struct record_type *type = &record_types[importer->record];
    /* Every type of record has columns, which the analyzer cannot know. */
    for (const struct column *column = type->columns;
         /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference) */
         column->name != NULL && count < IMPORT_MOST_COLUMNS; column++)
        if (exchange_carries(importer->record, column))
            names[count++] = column->name;
    const char *name = row->fields[field].text;
    const char *near = diag_nearest(name, names, count);
    struct position at = csv_at(row, field);
    if (near != NULL)
        diags_error(importer->diags, at, "a %s has no column '%s'; did you mean '%s'?", type->name,
                    name, near);
    else
        diags_error(importer->diags, at,
                    "a %s has no column '%s'; a spreadsheet of your own needs --map, and --guess "
                    "proposes one",
                    type->name, name);
    return STATUS_DATA;
}

static enum status check_header(struct importer *importer, const struct csv_row *row)
{
    const struct column *label = record_types[importer->record].columns;
    bool has_label = false;
    for (size_t i = 0; i < row->count; i++) {
        has_label = has_label || importer->columns[i] == label;
        for (size_t k = 0; k < i; k++)
            if (importer->columns[k] == importer->columns[i]) {
                diags_error(importer->diags, csv_at(row, i), "the column '%s' stands twice",
                            row->fields[i].text);
                return STATUS_DATA;
            }
    }
    if (has_label || !exchange_has_label(importer->record))
        return STATUS_OK;
    diags_error(importer->diags, csv_at(row, 0), "the column '%s' is missing: a %s is known by it",
                label->name, record_types[importer->record].name);
    return STATUS_DATA;
}

static enum status read_header(struct importer *importer, const struct csv_row *row)
{
    if (row->count > IMPORT_MOST_COLUMNS)
        return unknown_column(importer, row, IMPORT_MOST_COLUMNS);
    for (size_t i = 0; i < row->count; i++) {
        importer->columns[i] = carried(importer->record, row->fields[i].text);
        if (importer->columns[i] == NULL && strcmp(row->fields[i].text, "id") != 0)
            return unknown_column(importer, row, i);
    }
    importer->column_count = row->count;
    return check_header(importer, row);
}

/* ---- fields ---------------------------------------------------------------------------------- */

static bool read_id(const char *text, int64_t *id)
{
    char *end = NULL;
    *id = 0;
    if (text[0] == '\0')
        return true;
    if (text[0] < '1' || text[0] > '9')
        return false;
    errno = 0;
    long long number = strtoll(text, &end, 10);
    *id = number;
    return errno == 0 && *end == '\0';
}

static enum status wrong(struct importer *importer, const char *text, const char *right)
{
    diags_error(importer->own, (struct position){0}, "'%.60s' is no %s", text, right);
    return STATUS_DATA;
}

static enum status read_due(struct importer *importer, const char *text)
{
    struct vessel *vessel = importer->row;
    struct moment moment;
    if (text[0] == '\0')
        return STATUS_OK;
    if (strlen(text) != sizeof "2026-03-01" - 1 || !moment_read(text, moment_unknown(), &moment))
        return wrong(importer, text, "date; write it as 2026-03-01");
    vessel->due = moment_day(moment);
    return STATUS_OK;
}

static enum status read_field(struct importer *importer, const struct column *column,
                              const struct csv_field *field)
{
    const char *text = field->text;
    int64_t id = 0;
    if (column == NULL) {
        bool read = read_id(text, importer->row);
        return read ? STATUS_OK : wrong(importer, text, "id; leave it empty for a new one");
    }
    if (exchange_is_due(importer->record, column))
        return read_due(importer, text);
    if (column->kind == COLUMN_REFERENCE && !exchange_has_label(column->refers)) {
        if (!read_id(text, &id))
            return wrong(importer, text, "id");
        *(int64_t *)(void *)((char *)importer->row + column->offset) = recall(importer, id);
        return STATUS_OK;
    }
    if (exchange_is_text(column))
        text += exchange_guarded(text, field->length);
    return journal_read_column(importer->journal, column, text, importer->arena, importer->row,
                               importer->own);
}

/* True when all fields could be read; else the row was refused, or `status` says why not. */
static bool read_fields(struct importer *importer, const struct csv_row *row, enum status *status)
{
    size_t refused = importer->tally->refused;
    record_init(importer->record, importer->row);
    *status = STATUS_OK;
    if (row->count != importer->column_count) {
        diags_error(importer->own, (struct position){0},
                    "%zu fields; the first row has %zu: is a comma or a quote missing?", row->count,
                    importer->column_count);
        *status = refuse(importer, csv_at(row, SIZE_MAX), STATUS_DATA);
        return false;
    }
    for (size_t i = 0; i < row->count && *status == STATUS_OK; i++) {
        *status = read_field(importer, importer->columns[i], &row->fields[i]);
        if (*status != STATUS_OK)
            *status = refuse(importer, csv_at(row, i), *status);
        if (importer->tally->refused != refused)
            return false; /* one fault a row is enough */
    }
    return *status == STATUS_OK;
}

/* ---- what is there --------------------------------------------------------------------------- */

static enum status show(struct importer *importer, const struct column *column, const void *row,
                        struct text *out)
{
    text_clear(out);
    enum status status =
        exchange_show(importer->journal, importer->record, column, row, out, importer->diags);
    return out->failed ? STATUS_MEMORY : status;
}

/* The field whose value differs between what was given and what is there; SIZE_MAX for none. The
 * next look is passed over: it moves on by itself. */
static enum status differs(struct importer *importer, size_t *field)
{
    for (*field = 0; *field < importer->column_count; ++*field) {
        const struct column *column = importer->columns[*field];
        if (column == NULL || column->derived)
            continue;
        enum status status = show(importer, column, importer->row, &importer->value);
        if (status == STATUS_OK)
            status = show(importer, column, importer->there, &importer->other);
        if (status != STATUS_OK || strcmp(importer->value.bytes, importer->other.bytes) != 0)
            return status;
    }
    *field = SIZE_MAX;
    return STATUS_OK;
}

static enum status conflict(struct importer *importer, const struct csv_row *row, size_t field)
{
    const struct column *column = importer->columns[field];
    const char *label = *(const char *const *)((const char *)importer->row +
                                               record_types[importer->record].columns->offset);
    diags_error(importer->own, (struct position){0},
                "%s '%.60s' is in the journal with %s '%.200s', and here with '%.200s'; make them "
                "the same, or give this one another label",
                record_types[importer->record].name, label, column->name, importer->other.bytes,
                importer->value.bytes);
    return refuse(importer, csv_at(row, field), STATUS_DATA);
}

static bool id_taken(struct importer *importer, int64_t id)
{
    return id != 0 && id <= importer->highest &&
           journal_get(importer->journal, importer->record, id, importer->arena, importer->there,
                       importer->own) == STATUS_OK;
}

/* ---- adding ---------------------------------------------------------------------------------- */

static enum status add(struct importer *importer, const struct csv_row *row)
{
    int64_t given = *(int64_t *)importer->row;
    if (id_taken(importer, given))
        *(int64_t *)importer->row = 0;
    diags_clear(importer->own);
    /* Asked first, since a journal that refuses a record ends the whole transaction. */
    enum status status =
        row_check(importer->journal, importer->record, importer->row, importer->own);
    if (status == STATUS_OK)
        status = journal_add(importer->journal, importer->record, importer->row, importer->own);
    if (status != STATUS_OK)
        return refuse(importer, csv_at(row, 0), status);
    int64_t id = *(int64_t *)importer->row;
    if (id > importer->highest)
        importer->highest = id;
    importer->tally->added++;
    return remember(importer, given, id);
}

static enum status take_labelled(struct importer *importer, const struct csv_row *row)
{
    const char *label = *(const char *const *)((const char *)importer->row +
                                               record_types[importer->record].columns->offset);
    int64_t id = 0;
    size_t field = SIZE_MAX;
    if (!journal_has(importer->journal, importer->record, label, &id))
        return add(importer, row);
    enum status status = journal_get(importer->journal, importer->record, id, importer->arena,
                                     importer->there, importer->diags);
    if (status == STATUS_OK)
        status = differs(importer, &field);
    if (status != STATUS_OK)
        return status;
    if (field != SIZE_MAX)
        return conflict(importer, row, field);
    importer->tally->same++;
    return STATUS_OK;
}

/* The column by which equal rows are looked for among those that are there: the vessel or the
 * starter that they are of; NULL for edits, which are few. */
static const struct column *owner_column(enum record record)
{
    const struct column *first = record_types[record].columns;
    return first->kind == COLUMN_REFERENCE ? first : NULL;
}

/* An equal row under whatever id; 0 for none. */
static enum status find_equal(struct importer *importer, int64_t *id)
{
    size_t field = 0;
    const struct column *owner = owner_column(importer->record);
    int64_t owned_by =
        owner != NULL
            ? *(const int64_t *)(const void *)((const char *)importer->row + owner->offset)
            : 0;
    enum status status = STATUS_OK;
    struct walk *walk = journal_walk(importer->journal, importer->record,
                                     owner != NULL ? owner->name : NULL, owned_by, importer->diags);
    if (walk == NULL)
        return STATUS_IO;
    *id = 0;
    while (*id == 0 && status == STATUS_OK && walk_next(walk, importer->there)) {
        status = differs(importer, &field);
        if (status == STATUS_OK && field == SIZE_MAX)
            *id = *(int64_t *)importer->there;
    }
    enum status walked = walk_end(walk);
    return status != STATUS_OK ? status : walked;
}

static enum status take_unlabelled(struct importer *importer, const struct csv_row *row)
{
    int64_t given = *(int64_t *)importer->row, id = 0;
    size_t field = 0;
    enum status status = STATUS_OK;
    if (id_taken(importer, given)) {
        status = differs(importer, &field);
        id = status == STATUS_OK && field == SIZE_MAX ? given : 0;
    }
    diags_clear(importer->own);
    if (status == STATUS_OK && id == 0 && !importer->was_empty)
        status = find_equal(importer, &id);
    if (status != STATUS_OK)
        return status;
    if (id == 0)
        return add(importer, row);
    importer->tally->same++;
    return remember(importer, given, id);
}

enum status importer_row(void *context, const struct csv_row *row)
{
    struct importer *importer = context;
    enum status status = STATUS_OK;
    if (importer->column_count == 0)
        return read_header(importer, row);
    arena_reset(importer->arena);
    diags_clear(importer->own);
    if (!read_fields(importer, row, &status))
        return status;
    return exchange_has_label(importer->record) ? take_labelled(importer, row)
                                                : take_unlabelled(importer, row);
}

/* ---- life ------------------------------------------------------------------------------------ */

static enum status find_highest(struct importer *importer)
{
    struct walk *newest =
        journal_walk_back(importer->journal, importer->record, NULL, 0, importer->diags);
    if (newest == NULL)
        return STATUS_IO;
    importer->was_empty = !walk_next(newest, importer->there);
    importer->highest = importer->was_empty ? 0 : *(int64_t *)importer->there;
    return walk_end(newest);
}

enum status importer_init(struct importer *importer, struct journal *journal, enum record record,
                          struct diags *diags)
{
    size_t size = record_types[record].size;
    *importer = (struct importer){.journal = journal, .record = record, .diags = diags};
    text_init(&importer->value);
    text_init(&importer->other);
    importer->arena = arena_new();
    importer->own = diags_new();
    importer->row = malloc(size);
    importer->there = malloc(size);
    if (importer->arena == NULL || importer->own == NULL || importer->row == NULL ||
        importer->there == NULL)
        return STATUS_MEMORY;
    return find_highest(importer);
}

static void importer_release(struct importer *importer)
{
    text_release(&importer->value);
    text_release(&importer->other);
    arena_free(importer->arena);
    diags_free(importer->own);
    free(importer->row);
    free(importer->there);
}

/* ==== import ================================================================================== */

/* ---- names ----------------------------------------------------------------------------------- */

static enum record table_named(const char *name, size_t length)
{
    for (int i = 0; i < RECORD_COUNT; i++)
        if (strlen(record_types[i].name) == length &&
            memcmp(record_types[i].name, name, length) == 0)
            return (enum record)i;
    return RECORD_COUNT;
}

static bool is_csv(const char *name)
{
    size_t length = strlen(name);
    return length > 4 && strcmp(name + length - 4, ".csv") == 0;
}

enum record import_table_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash != NULL ? slash + 1 : path;
    return is_csv(name) ? table_named(name, strlen(name) - 4) : RECORD_COUNT;
}

/* A file of a name that is no table's would be passed over in silence: that is told instead. */
static enum status check_name(const char *folder, const char *name, struct diags *diags)
{
    const char *names[RECORD_COUNT];
    char *path = text_format("%s/%s", folder, name);
    if (path == NULL)
        return STATUS_MEMORY;
    for (int i = 0; i < RECORD_COUNT; i++)
        names[i] = record_types[i].name;
    char word[64];
    snprintf(word, sizeof word, "%.*s", (int)(strlen(name) - 4), name);
    const char *near = diag_nearest(word, names, RECORD_COUNT);
    struct position at = {path, 0, 0};
    if (near != NULL)
        diags_error(diags, at, "no table has this name; did you mean '%s.csv'?", near);
    else
        diags_error(diags, at,
                    "no table has this name; a spreadsheet of your own is imported by its own "
                    "name, with --map");
    free(path);
    return STATUS_DATA;
}

/* Which tables the folder has files of. */
static enum status look_through(const char *folder, bool found[RECORD_COUNT], struct diags *diags)
{
    enum status status = STATUS_OK;
    bool any = false;
    DIR *listing = opendir(folder);
    if (listing == NULL)
        return filing_refused(folder, "read", errno, diags);
    struct dirent *entry = NULL;
    /* No other thread knows this stream, and readdir_r is deprecated. */
    /* cppcheck-suppress readdirCalled */
    while ((entry = readdir(listing)) != NULL) {
        if (entry->d_name[0] == '.' || !is_csv(entry->d_name))
            continue;
        enum record record = import_table_of(entry->d_name);
        if (record == RECORD_COUNT)
            status = check_name(folder, entry->d_name, diags);
        else
            any = found[record] = true;
    }
    closedir(listing);
    if (status == STATUS_OK && !any) {
        diags_error(diags, (struct position){folder, 0, 0},
                    "holds no table; give the folder that 'jarside export' wrote");
        status = STATUS_DATA;
    }
    return status;
}

/* ---- reading --------------------------------------------------------------------------------- */

static enum status read_table(struct journal *journal, enum record record, const char *path,
                              const struct progress *progress, struct import_tally *tally,
                              struct diags *diags)
{
    struct importer importer;
    enum status status = importer_init(&importer, journal, record, diags);
    importer.tally = tally;
    importer.reader = (struct csv_table){
        .file = path, .separator = ',', .context = &importer, .row = importer_row, .utf8 = true};
    if (status == STATUS_OK)
        status = csv_read(&importer.reader, NULL, progress, diags);
    if (status == STATUS_OK && importer.column_count == 0) {
        diags_error(diags, (struct position){path, 1, 1},
                    "the file is empty; its first row should name the columns");
        status = STATUS_DATA;
    }
    importer_release(&importer);
    return status;
}

static enum status read_tables(struct journal *journal, const char *folder,
                               const bool found[RECORD_COUNT], const struct import_options *options,
                               struct import_tally tally[RECORD_COUNT], struct diags *diags)
{
    enum status status = STATUS_OK;
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        char name[64];
        if (!found[i])
            continue;
        snprintf(name, sizeof name, "%s.csv", record_types[i].name);
        char *path = text_format("%s/%s", folder, name);
        status = path != NULL ? read_table(journal, (enum record)i, path, options->progress,
                                           &tally[i], diags)
                              : STATUS_MEMORY;
        free(path);
    }
    return status;
}

/* Keeps what was read when nothing was refused and it is not only a rehearsal. */
static enum status conclude(struct journal *journal, enum status status,
                            const struct import_tally *tally, size_t tables, bool dry_run,
                            struct diags *diags)
{
    size_t refused = 0;
    for (size_t i = 0; i < tables; i++)
        refused += tally[i].refused;
    if (status == STATUS_OK && refused > 0)
        status = STATUS_DATA;
    if (status == STATUS_OK && !dry_run)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}

static enum status begin(struct journal *journal, struct diags *diags)
{
    enum status status = importer_prepare(journal, diags);
    return status == STATUS_OK ? journal_begin(journal, diags) : status;
}

enum status import_folder(struct journal *journal, const char *folder,
                          const struct import_options *options,
                          struct import_tally tally[RECORD_COUNT], struct diags *diags)
{
    bool found[RECORD_COUNT] = {false};
    memset(tally, 0, RECORD_COUNT * sizeof *tally);
    enum status status = look_through(folder, found, diags);
    if (status == STATUS_OK)
        status = begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = read_tables(journal, folder, found, options, tally, diags);
    return conclude(journal, status, tally, RECORD_COUNT, options->dry_run, diags);
}

enum status import_file(struct journal *journal, enum record record, const char *path,
                        const struct import_options *options, struct import_tally *tally,
                        struct diags *diags)
{
    *tally = (struct import_tally){0};
    enum status status = begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = read_table(journal, record, path, options->progress, tally, diags);
    return conclude(journal, status, tally, 1, options->dry_run, diags);
}
