/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/demo.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/memory.h"

enum { MOST_COLUMNS = 32, CHUNK = 1 << 14 };

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
    size_t entry_count, entry_room;
    /* of the table being read */
    enum record record;
    const char *path;
    const struct column *columns[MOST_COLUMNS];
    size_t column_count;
    bool header;
    void *row;
    enum status status;
};

/* ---- entries ---------------------------------------------------------------------------------- */

static bool is_event(enum record record)
{
    return record == RECORD_LOOK || record == RECORD_EVENT || record == RECORD_OUTCOME;
}

static struct moment entry_moment(enum record record, const void *row)
{
    const struct look *look = row;
    const struct event *event = row;
    const struct outcome *outcome = row;
    return record == RECORD_LOOK ? look->at : record == RECORD_EVENT ? event->at : outcome->at;
}

static enum status put_event(struct demo *demo)
{
    if (demo->entry_count == demo->entry_room) {
        size_t room = 2 * demo->entry_room + 64;
        struct entry *entries =
            arena_grow(demo->arena, demo->entries, demo->entry_room, room, sizeof *entries);
        if (entries == NULL)
            return STATUS_MEMORY;
        demo->entries = entries;
        demo->entry_room = room;
    }
    demo->entries[demo->entry_count] = (struct entry){.at = entry_moment(demo->record, demo->row),
                                                      .order = demo->entry_count,
                                                      .record = demo->record,
                                                      .row = demo->row};
    demo->entry_count++;
    return STATUS_OK;
}

static int earlier(const void *a, const void *b)
{
    const struct entry *first = a, *second = b;
    if (first->at.seconds != second->at.seconds)
        return first->at.seconds < second->at.seconds ? -1 : 1;
    return (first->order > second->order) - (first->order < second->order);
}

static enum status record_look(struct demo *demo, const struct look *look)
{
    struct vessel vessel;
    enum status status =
        journal_get(demo->journal, RECORD_VESSEL, look->vessel, demo->arena, &vessel, demo->diags);
    if (status != STATUS_OK)
        return status;
    return demo->judge->look(demo->judge->context, demo->journal, vessel.label, look->at,
                             look->words, demo->diags);
}

static enum status record_events(struct demo *demo)
{
    enum status status = STATUS_OK;
    if (demo->entry_count > 1)
        qsort(demo->entries, demo->entry_count, sizeof *demo->entries, earlier);
    for (size_t i = 0; i < demo->entry_count && status == STATUS_OK; i++) {
        struct entry *entry = &demo->entries[i];
        status = entry->record == RECORD_LOOK
                     ? record_look(demo, entry->row)
                     : journal_add(demo->journal, entry->record, entry->row, demo->diags);
    }
    return status;
}

/* ---- tables ---------------------------------------------------------------------------------- */

static bool fail(struct demo *demo, enum status status)
{
    demo->status = status;
    return false;
}

static bool take_header(struct demo *demo, const struct csv_field *field, const char *name)
{
    size_t column = record_column(demo->record, name);
    if (column == SIZE_MAX || field->index >= MOST_COLUMNS) {
        diags_error(demo->diags, (struct position){demo->path, field->line, field->column},
                    "no column '%s' in '%s'", name, record_types[demo->record].name);
        return fail(demo, STATUS_DATA);
    }
    demo->columns[field->index] = &record_types[demo->record].columns[column];
    demo->column_count = field->index + 1;
    return true;
}

static bool take_field(void *context, const struct csv_field *field)
{
    struct demo *demo = context;
    const char *value = arena_copy(demo->arena, field->bytes, field->length);
    if (value == NULL)
        return fail(demo, STATUS_MEMORY);
    if (demo->header)
        return take_header(demo, field, value);
    if (field->index == 0) {
        demo->row = arena_alloc(demo->arena, record_types[demo->record].size);
        if (demo->row == NULL)
            return fail(demo, STATUS_MEMORY);
        record_init(demo->record, demo->row);
    }
    if (field->index >= demo->column_count) {
        diags_error(demo->diags, (struct position){demo->path, field->line, field->column},
                    "more fields than columns");
        return fail(demo, STATUS_DATA);
    }
    enum status status = journal_read_column(demo->journal, demo->columns[field->index], value,
                                             demo->arena, demo->row, demo->diags);
    return status == STATUS_OK || fail(demo, status);
}

static bool take_row(void *context, size_t fields, size_t line)
{
    struct demo *demo = context;
    (void)fields;
    (void)line;
    if (demo->header) {
        demo->header = false;
        return true;
    }
    enum status status = is_event(demo->record)
                             ? put_event(demo)
                             : journal_add(demo->journal, demo->record, demo->row, demo->diags);
    return status == STATUS_OK || fail(demo, status);
}

static enum status told(struct demo *demo, const struct csv_stream *stream,
                        enum csv_outcome outcome)
{
    size_t line, column;
    if (outcome == CSV_READ)
        return STATUS_OK;
    if (outcome == CSV_STOPPED)
        return demo->status;
    if (outcome == CSV_NO_MEMORY)
        return STATUS_MEMORY;
    csv_stream_position(stream, &line, &column);
    diags_error(demo->diags, (struct position){demo->path, line, column}, "this is no table");
    return STATUS_DATA;
}

static enum status read_stream(struct demo *demo, FILE *from)
{
    struct csv_sink sink = {demo, take_field, take_row};
    struct csv_stream *stream = csv_stream_new(&sink, ',');
    enum status status = stream != NULL ? STATUS_OK : STATUS_MEMORY;
    char chunk[CHUNK];
    size_t length;

    while (status == STATUS_OK && (length = fread(chunk, 1, sizeof chunk, from)) > 0)
        status = told(demo, stream, csv_stream_feed(stream, chunk, length));
    if (status == STATUS_OK && ferror(from)) {
        diags_error(demo->diags, (struct position){demo->path, 0, 0}, "cannot be read");
        status = STATUS_IO;
    }
    if (status == STATUS_OK)
        status = told(demo, stream, csv_stream_finish(stream));
    csv_stream_free(stream);
    return status;
}

/* A kind of record without a file has none in this season. */
static enum status read_table(struct demo *demo, const char *folder, enum record record)
{
    demo->record = record;
    demo->header = true;
    demo->column_count = 0;
    demo->path = arena_format(demo->arena, "%s/%s.csv", folder, record_types[record].name);
    if (demo->path == NULL)
        return STATUS_MEMORY;
    FILE *from = fopen(demo->path, "rb");
    if (from == NULL && errno == ENOENT && record != RECORD_VESSEL)
        return STATUS_OK;
    if (from == NULL) {
        diags_error(demo->diags, (struct position){demo->path, 0, 0}, "cannot be opened: %s",
                    strerror(errno));
        return STATUS_IO;
    }
    enum status status = read_stream(demo, from);
    fclose(from);
    return status;
}

static enum status refuse_filled(struct demo *demo)
{
    for (int record = 0; record < RECORD_COUNT; record++)
        if (journal_count(demo->journal, (enum record)record, NULL, 0) > 0) {
            diags_error(demo->diags, (struct position){journal_path(demo->journal), 0, 0},
                        "this journal holds something already; give the name of a new file");
            return STATUS_DATA;
        }
    return STATUS_OK;
}

enum status demo_build(struct journal *journal, const char *folder, const struct demo_judge *judge,
                       struct diags *diags)
{
    struct demo demo = {.journal = journal, .judge = judge, .diags = diags};

    demo.arena = arena_new();
    if (demo.arena == NULL)
        return STATUS_MEMORY;
    enum status status = journal_begin(journal, diags);
    bool begun = status == STATUS_OK;
    if (begun)
        status = refuse_filled(&demo);
    for (int record = 0; record < RECORD_COUNT && status == STATUS_OK; record++)
        status = read_table(&demo, folder, (enum record)record);
    if (status == STATUS_OK)
        status = record_events(&demo);
    if (status == STATUS_OK)
        status = journal_commit(journal, diags);
    else if (begun)
        journal_rollback(journal);
    arena_free(demo.arena);
    return status;
}
