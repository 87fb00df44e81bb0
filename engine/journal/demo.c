/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/demo.h"

#include <stdlib.h>
#include <unistd.h>

#include "base/csv.h"
#include "base/memory.h"

enum { MOST_COLUMNS = 32 };

struct entry { /* a look, event or outcome, to be recorded in its turn */
    struct moment at;
    size_t order; /* of reading */
    enum record record;
    void *row;
};

struct demo {
    struct journal *journal;
    const struct demo_judge *judge;
    struct diags *diags;
    struct arena *arena;
    struct entry *entries;
    size_t entry_count;
    /* of the table being read */
    enum record record;
    const struct column *columns[MOST_COLUMNS];
    size_t column_count; /* 0 until the header was read */
};

/* ---- tables ---------------------------------------------------------------------------------- */

static enum status take_row(void *context, const struct csv_row *fields)
{
    struct demo *demo = context;
    const struct record_type *type = &record_types[demo->record];
    enum status status = STATUS_OK;
    if (demo->column_count == 0) {
        for (size_t i = 0; i < fields->count; i++) {
            size_t column = record_column(demo->record, fields->fields[i].text);
            if (column == SIZE_MAX || i >= MOST_COLUMNS) {
                diags_error(demo->diags, csv_at(fields, i), "no column '%s' in '%s'",
                            fields->fields[i].text, type->name);
                return STATUS_DATA;
            }
            demo->columns[i] = &type->columns[column];
        }
        demo->column_count = fields->count;
        return STATUS_OK;
    }
    if (fields->count > demo->column_count) {
        diags_error(demo->diags, csv_at(fields, demo->column_count), "more fields than columns");
        return STATUS_DATA;
    }
    void *row = arena_alloc(demo->arena, type->size);
    record_init(demo->record, row);
    for (size_t i = 0; i < fields->count && status == STATUS_OK; i++)
        status = journal_read_column(demo->journal, demo->columns[i], fields->fields[i].text,
                                     demo->arena, row, demo->diags);
    if (status != STATUS_OK || !record_of_vessel(demo->record))
        return status == STATUS_OK ? journal_add(demo->journal, demo->record, row, demo->diags)
                                   : status;
    const struct moment *at = column_member(&type->columns[record_column(demo->record, "at")], row);
    struct entry *entry = arena_push(demo->arena, demo->entries, demo->entry_count);
    *entry = (struct entry){*at, demo->entry_count, demo->record, row};
    return STATUS_OK;
}

/* A kind of record without a file has none in this season. */
static enum status read_table(struct demo *demo, const char *folder, enum record record)
{
    const char *path = arena_format(demo->arena, "%s/%s.csv", folder, record_types[record].name);
    const struct csv_table table = {
        .file = path, .separator = ',', .context = demo, .row = take_row};
    demo->record = record;
    demo->column_count = 0;
    if (record != RECORD_VESSEL && access(path, F_OK) != 0)
        return STATUS_OK;
    return csv_read(&table, NULL, NULL, demo->diags);
}

/* ---- entries --------------------------------------------------------------------------------- */

static int earlier(const void *a, const void *b)
{
    const struct entry *first = a, *second = b;
    if (first->at.seconds != second->at.seconds)
        return first->at.seconds < second->at.seconds ? -1 : 1;
    return (first->order > second->order) - (first->order < second->order);
}

static enum status build(struct demo *demo, const char *folder)
{
    enum status status = STATUS_OK;
    for (int record = 0; record < RECORD_COUNT; record++)
        if (journal_count(demo->journal, (enum record)record, NULL, 0) > 0) {
            diags_error(demo->diags, (struct position){journal_path(demo->journal), 0, 0},
                        "this journal holds something already; give the name of a new file");
            return STATUS_DATA;
        }
    for (int record = 0; record < RECORD_COUNT && status == STATUS_OK; record++)
        status = read_table(demo, folder, (enum record)record);
    if (demo->entry_count > 1)
        qsort(demo->entries, demo->entry_count, sizeof *demo->entries, earlier);
    for (size_t i = 0; i < demo->entry_count && status == STATUS_OK; i++) {
        const struct entry *entry = &demo->entries[i];
        const struct look *look = entry->row;
        struct vessel vessel;
        if (entry->record != RECORD_LOOK)
            status = journal_add(demo->journal, entry->record, entry->row, demo->diags);
        else if ((status = journal_get(demo->journal, RECORD_VESSEL, look->vessel, demo->arena,
                                       &vessel, demo->diags)) == STATUS_OK)
            status = demo->judge->look(demo->judge->context, demo->journal, vessel.label, look->at,
                                       look->words, demo->diags);
    }
    return status;
}

enum status demo_build(struct journal *journal, const char *folder, const struct demo_judge *judge,
                       struct diags *diags)
{
    enum status status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    struct demo demo = {.journal = journal, .judge = judge, .diags = diags, .arena = arena_new()};
    status = journal_finish(journal, build(&demo, folder), diags);
    arena_free(demo.arena);
    return status;
}
