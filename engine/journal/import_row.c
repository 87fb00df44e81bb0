/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One row of a table: read, compared with what is there, added. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal/exchange_internal.h"
#include "journal/import_internal.h"

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
    sqlite3_stmt *statement =
        journal_prepare(importer->journal, &importer->remember,
                        "INSERT OR REPLACE INTO renamed VALUES (?, ?, ?)", importer->diags);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int(statement, 1, (int)importer->record);
    sqlite3_bind_int64(statement, 2, given);
    sqlite3_bind_int64(statement, 3, id);
    enum status status = sqlite3_step(statement) == SQLITE_DONE
                             ? STATUS_OK
                             : journal_fault(importer->journal, "write to", importer->diags);
    sqlite3_reset(statement);
    return status;
}

/* What the record of that id in the file has as id in the journal. */
static int64_t recall(struct importer *importer, int64_t given)
{
    sqlite3_stmt *statement =
        journal_prepare(importer->journal, &importer->recall,
                        "SELECT id FROM renamed WHERE record = ? AND given = ?", importer->diags);
    if (statement == NULL)
        return given;
    sqlite3_bind_int(statement, 1, (int)importer->record);
    sqlite3_bind_int64(statement, 2, given);
    int64_t id = sqlite3_step(statement) == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : given;
    sqlite3_reset(statement);
    return id;
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

static enum status unknown_column(struct importer *importer, const struct table_row *row,
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
    struct position at = table_at(&importer->reader, row, field);
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

static enum status check_header(struct importer *importer, const struct table_row *row)
{
    const struct column *label = record_types[importer->record].columns;
    bool has_label = false;
    for (size_t i = 0; i < row->count; i++) {
        has_label = has_label || importer->columns[i] == label;
        for (size_t k = 0; k < i; k++)
            if (importer->columns[k] == importer->columns[i]) {
                diags_error(importer->diags, table_at(&importer->reader, row, i),
                            "the column '%s' stands twice", row->fields[i].text);
                return STATUS_DATA;
            }
    }
    if (has_label || !exchange_has_label(importer->record))
        return STATUS_OK;
    diags_error(importer->diags, table_at(&importer->reader, row, 0),
                "the column '%s' is missing: a %s is known by it", label->name,
                record_types[importer->record].name);
    return STATUS_DATA;
}

static enum status read_header(struct importer *importer, const struct table_row *row)
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
                              const struct table_field *field)
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
static bool read_fields(struct importer *importer, const struct table_row *row, enum status *status)
{
    size_t refused = importer->tally->refused;
    record_init(importer->record, importer->row);
    *status = STATUS_OK;
    if (row->count != importer->column_count) {
        diags_error(importer->own, (struct position){0},
                    "%zu fields; the first row has %zu: is a comma or a quote missing?", row->count,
                    importer->column_count);
        *status = refuse(importer, table_at(&importer->reader, row, SIZE_MAX), STATUS_DATA);
        return false;
    }
    for (size_t i = 0; i < row->count && *status == STATUS_OK; i++) {
        *status = read_field(importer, importer->columns[i], &row->fields[i]);
        if (*status != STATUS_OK)
            *status = refuse(importer, table_at(&importer->reader, row, i), *status);
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

static enum status conflict(struct importer *importer, const struct table_row *row, size_t field)
{
    const struct column *column = importer->columns[field];
    const char *label = *(const char *const *)((const char *)importer->row +
                                               record_types[importer->record].columns->offset);
    diags_error(importer->own, (struct position){0},
                "%s '%.60s' is in the journal with %s '%.200s', and here with '%.200s'; make them "
                "the same, or give this one another label",
                record_types[importer->record].name, label, column->name, importer->other.bytes,
                importer->value.bytes);
    return refuse(importer, table_at(&importer->reader, row, field), STATUS_DATA);
}

static bool id_taken(struct importer *importer, int64_t id)
{
    return id != 0 && id <= importer->highest &&
           journal_get(importer->journal, importer->record, id, importer->arena, importer->there,
                       importer->own) == STATUS_OK;
}

/* ---- adding ---------------------------------------------------------------------------------- */

static enum status add(struct importer *importer, const struct table_row *row)
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
        return refuse(importer, table_at(&importer->reader, row, 0), status);
    int64_t id = *(int64_t *)importer->row;
    if (id > importer->highest)
        importer->highest = id;
    importer->tally->added++;
    return remember(importer, given, id);
}

static enum status take_labelled(struct importer *importer, const struct table_row *row)
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

static enum status take_unlabelled(struct importer *importer, const struct table_row *row)
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

enum status importer_row(void *context, const struct table_row *row)
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
    importer->arena = arena_new(NULL);
    importer->own = diags_new();
    importer->row = malloc(size);
    importer->there = malloc(size);
    if (importer->arena == NULL || importer->own == NULL || importer->row == NULL ||
        importer->there == NULL)
        return STATUS_MEMORY;
    return find_highest(importer);
}

void importer_release(struct importer *importer)
{
    sqlite3_finalize(importer->remember);
    sqlite3_finalize(importer->recall);
    text_release(&importer->value);
    text_release(&importer->other);
    arena_free(importer->arena);
    diags_free(importer->own);
    free(importer->row);
    free(importer->there);
}
