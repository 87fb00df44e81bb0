/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One row of a spreadsheet, as the records that it tells of. */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal/mapping_row_internal.h"

static const struct position nowhere = {NULL, 0, 0};

/* ---- cells ----------------------------------------------------------------------------------- */

bool carrier_said(const struct carrier *carrier, enum mapped field)
{
    return carrier->cells[field][0] != '\0';
}

/* Adds what is wrong with a cell, and remembers which, for its position. */
enum status carrier_wrong(struct carrier *carrier, enum mapped field, const char *right)
{
    carrier->blamed = field;
    diags_error(carrier->own, nowhere, "%s is '%.60s'; %s", mapped_fields[field].name,
                carrier->cells[field], right);
    return STATUS_DATA;
}

enum status carrier_lacks(struct carrier *carrier, enum mapped field, const char *why)
{
    carrier->blamed = field;
    diags_error(carrier->own, nowhere, "%s is missing; %s", mapped_fields[field].name, why);
    return STATUS_DATA;
}

enum status carrier_day(struct carrier *carrier, enum mapped field, struct moment *moment)
{
    enum { SLACK = 86400 };
    const char *text = carrier->cells[field];
    if (!mapped_date(text, carrier->mapping->dates, moment))
        return carrier_wrong(carrier, field,
                             carrier->mapping->dates != DATES_ISO || strspn(text, "0123456789") == 4
                                 ? "there is no such day, in the order that the map says"
                                 : "write 2026-03-01, or say 'dates: day/month/year' in the map");
    if (moment->seconds > carrier->now.seconds + SLACK)
        return carrier_wrong(carrier, field, "that lies in the future");
    return STATUS_OK;
}

static enum status read_quantity(struct carrier *carrier, enum mapped field, double *number)
{
    struct quantity quantity;
    size_t used = 0;
    const char *folded = mapped_fold(carrier->arena, carrier->cells[field]);
    if (folded == NULL)
        return STATUS_MEMORY;
    if (quantity_read(folded, strlen(folded), mapped_fields[field].dimension, &quantity, &used) !=
            QUANTITY_OK ||
        folded[used] != '\0' || quantity.lo != quantity.hi)
        return carrier_wrong(carrier, field, "write one number and its unit");
    *number = quantity.lo;
    return STATUS_OK;
}

/* "4 ml", "10g", "2": the unit is a word of its own in the journal. */
static enum status read_dose(struct carrier *carrier, struct batch *batch)
{
    char number[32];
    const char *text = carrier->cells[MAPPED_DOSE];
    size_t length = strspn(text, "0123456789.,");
    if (length == 0 || length >= sizeof number)
        return carrier_wrong(carrier, MAPPED_DOSE, "write a number and ml or g");
    snprintf(number, sizeof number, "%.*s", (int)length, text);
    for (char *at = number; *at != '\0'; at++)
        *at = *at == ',' ? '.' : *at;
    char *end = NULL;
    batch->dose = strtod(number, &end);
    const char *unit = mapped_fold(carrier->arena, text + length);
    if (*end != '\0' || unit == NULL)
        return carrier_wrong(carrier, MAPPED_DOSE, "write a number and ml or g");
    if (strcmp(unit, "ml") == 0 || strcmp(unit, "cc") == 0)
        batch->unit = "ml";
    else if (strcmp(unit, "g") == 0 || strcmp(unit, "grams") == 0 || strcmp(unit, "gram") == 0)
        batch->unit = "g";
    else if (unit[0] != '\0')
        return carrier_wrong(carrier, MAPPED_DOSE, "write a number and ml or g");
    return STATUS_OK;
}

static enum status read_control(struct carrier *carrier, bool *flag)
{
    static const char *const yes[] = {"yes", "y", "x", "true", "1", "control"};
    static const char *const no[] = {"no", "n", "-", "false", "0"};
    const char *folded = mapped_fold(carrier->arena, carrier->cells[MAPPED_CONTROL]);
    for (size_t i = 0; folded != NULL && i < sizeof yes / sizeof *yes; i++)
        if (strcmp(folded, yes[i]) == 0) {
            *flag = true;
            return STATUS_OK;
        }
    for (size_t i = 0; folded != NULL && i < sizeof no / sizeof *no; i++)
        if (strcmp(folded, no[i]) == 0)
            return STATUS_OK;
    return folded == NULL ? STATUS_MEMORY
                          : carrier_wrong(carrier, MAPPED_CONTROL, "write yes or no");
}

static enum status read_word(struct carrier *carrier, enum mapped field, const char **word)
{
    *word = mapped_word(carrier->mapping, carrier->reader, field, carrier->cells[field],
                        carrier->arena);
    return *word != NULL
               ? STATUS_OK
               : carrier_wrong(carrier, field,
                               "the rules know no such; say in the map, under 'values', what it "
                               "means");
}

static enum status read_cell(struct carrier *carrier, enum mapped field, void *row)
{
    const struct mapped_field *mapped = &mapped_fields[field];
    const struct column *column =
        &record_types[mapped->record].columns[record_column(mapped->record, mapped->column)];
    void *into = (char *)row + column->offset;
    if (field == MAPPED_DOSE)
        return read_dose(carrier, row);
    if (field == MAPPED_CONTROL)
        return read_control(carrier, into);
    if (mapped->words != WORDS_FREE)
        return read_word(carrier, field, into);
    if (mapped->dimension != DIM_NONE)
        return read_quantity(carrier, field, into);
    if (column->kind == COLUMN_MOMENT)
        return carrier_day(carrier, field, into);
    carrier->blamed = field;
    return journal_read_column(carrier->journal, column, carrier->cells[field], carrier->arena, row,
                               carrier->own);
}

/* ---- records that rows share ----------------------------------------------------------------- */

/* Whether a column of two rows says the same, shown in `given` and `there`; of moments the day
 * counts, since a date is noon. */
static bool agree(struct carrier *carrier, const struct column *column, const void *a,
                  const void *b)
{
    const struct moment *first = (const void *)((const char *)a + column->offset);
    const struct moment *second = (const void *)((const char *)b + column->offset);
    text_clear(&carrier->given);
    text_clear(&carrier->there);
    if (journal_show_column(carrier->journal, column, a, &carrier->given, carrier->own) !=
            STATUS_OK ||
        journal_show_column(carrier->journal, column, b, &carrier->there, carrier->own) !=
            STATUS_OK)
        return false;
    if (column->kind == COLUMN_MOMENT && moment_known(*first) && moment_known(*second))
        return moment_day(*first) == moment_day(*second);
    return strcmp(carrier->given.bytes, carrier->there.bytes) == 0;
}

static enum status conflict(struct carrier *carrier, enum record record, const char *label,
                            const struct column *column, enum mapped field)
{
    carrier->blamed = field;
    diags_error(carrier->own, nowhere,
                "%s '%.60s' has %s '%.80s' already, and here '%.80s'; make them the same",
                record_types[record].name, label, column->name, carrier->there.bytes,
                carrier->given.bytes);
    return STATUS_DATA;
}

/* What was not known of a record may be told later: in a lower row, or in the sheet as it has grown.
 * It is kept as a correction. */
static enum status fill_in(struct carrier *carrier, enum record record, const char *label,
                           const struct column *column)
{
    void *filled = arena_alloc(carrier->arena, record_types[record].size);
    const char *value = arena_string(carrier->arena, carrier->given.bytes);
    if (filled == NULL || value == NULL)
        return STATUS_MEMORY;
    enum status status =
        journal_find(carrier->journal, record, label, carrier->arena, filled, carrier->own);
    if (status == STATUS_OK)
        status = journal_read_column(carrier->journal, column, value, carrier->arena, filled,
                                     carrier->own);
    if (status == STATUS_OK)
        status = row_check(carrier->journal, record, filled, carrier->own);
    if (status == STATUS_OK)
        status = journal_correct(carrier->journal, record, label, column->name, value, carrier->now,
                                 carrier->own);
    carrier->news = carrier->news || status == STATUS_OK;
    return status;
}

static enum status compare_column(struct carrier *carrier, enum record record, const char *label,
                                  const struct column *column, const void *given, const void *there,
                                  enum mapped field)
{
    carrier->blamed = field;
    if (agree(carrier, column, given, there) || carrier->given.bytes[0] == '\0')
        return STATUS_OK;
    return carrier->there.bytes[0] == '\0' ? fill_in(carrier, record, label, column)
                                           : conflict(carrier, record, label, column, field);
}

static enum status compare(struct carrier *carrier, enum record record, const char *label,
                           const void *given, const void *there)
{
    const struct column *columns = record_types[record].columns;
    enum status status = STATUS_OK;
    for (int i = 0; i < MAPPED_COUNT && status == STATUS_OK; i++) {
        const struct mapped_field *mapped = &mapped_fields[i];
        if (mapped->record != record || mapped->column == NULL ||
            !carrier_said(carrier, (enum mapped)i))
            continue;
        status =
            compare_column(carrier, record, label, &columns[record_column(record, mapped->column)],
                           given, there, (enum mapped)i);
        if (status == STATUS_OK && i == MAPPED_DOSE)
            status = compare_column(carrier, record, label, &columns[record_column(record, "unit")],
                                    given, there, MAPPED_DOSE);
    }
    return status;
}

/* What the row says of the references of a batch or a vessel. */
static enum status compare_references(struct carrier *carrier, enum record record,
                                      const char *label, const void *given, const void *there)
{
    enum status status = STATUS_OK;
    for (const struct column *column = record_types[record].columns;
         column->name != NULL && status == STATUS_OK; column++)
        if (column->kind == COLUMN_REFERENCE && !column->derived)
            status = compare_column(carrier, record, label, column, given, there,
                                    mapped_label(column->refers));
    return status;
}

enum status carrier_add(struct carrier *carrier, enum record record, void *row)
{
    enum status status = row_check(carrier->journal, record, row, carrier->own);
    if (status == STATUS_OK)
        status = journal_add(carrier->journal, record, row, carrier->own);
    if (status == STATUS_OK) {
        carrier->added[record]++;
        carrier->news = true;
    }
    return status;
}

/* Adds the record, or makes sure that it says what the one of its label says. */
static enum status settle(struct carrier *carrier, enum record record, const char *label, void *row,
                          bool *is_new)
{
    int64_t id = 0;
    *is_new = !journal_has(carrier->journal, record, label, &id);
    if (*is_new)
        return carrier_add(carrier, record, row);
    void *there = arena_alloc(carrier->arena, record_types[record].size);
    if (there == NULL)
        return STATUS_MEMORY;
    enum status status =
        journal_get(carrier->journal, record, id, carrier->arena, there, carrier->own);
    if (status == STATUS_OK)
        status = compare(carrier, record, label, row, there);
    if (status == STATUS_OK)
        status = compare_references(carrier, record, label, row, there);
    memcpy(row, there, record_types[record].size);
    return status;
}

static enum status read_cells(struct carrier *carrier, enum record record, void *row)
{
    enum status status = STATUS_OK;
    for (int i = 0; i < MAPPED_COUNT && status == STATUS_OK; i++)
        if (mapped_fields[i].record == record && mapped_fields[i].column != NULL &&
            carrier_said(carrier, (enum mapped)i))
            status = read_cell(carrier, (enum mapped)i, row);
    return status;
}

/* The id of the record that the row names, added when it is new; 0 when it names none. */
static enum status shared(struct carrier *carrier, enum record record, int64_t *id)
{
    enum mapped label = mapped_label(record);
    bool is_new = false;
    *id = 0;
    if (!carrier_said(carrier, label))
        return STATUS_OK;
    void *row = arena_alloc(carrier->arena, record_types[record].size);
    if (row == NULL)
        return STATUS_MEMORY;
    record_init(record, row);
    enum status status = read_cells(carrier, record, row);
    if (status == STATUS_OK) {
        carrier->blamed = label;
        status = settle(carrier, record, carrier->cells[label], row, &is_new);
    }
    memcpy(id, row, sizeof *id); /* a record begins with it */
    return status;
}

/* A grain without a sack to its name is a circumstance of the batch. */
static enum status grain_fact(struct carrier *carrier, struct batch *batch)
{
    const struct rules *rules = carrier->mapping->rules;
    const char *grain = NULL;
    if (!carrier_said(carrier, MAPPED_GRAIN) || carrier_said(carrier, MAPPED_LOT) ||
        rules->feeder[FEEDS_GRAIN] == RULES_NONE)
        return STATUS_OK;
    enum status status = read_word(carrier, MAPPED_GRAIN, &grain);
    if (status != STATUS_OK)
        return status;
    batch->facts = arena_format(carrier->arena, "%s=%s",
                                rules->observables[rules->feeder[FEEDS_GRAIN]].id, grain);
    return batch->facts != NULL ? STATUS_OK : STATUS_MEMORY;
}

static enum status take_batch(struct carrier *carrier, struct batch *batch)
{
    bool is_new = false;
    int64_t known = 0;
    const char *label = carrier->cells[MAPPED_BATCH];
    record_init(RECORD_BATCH, batch);
    if (label[0] == '\0')
        return carrier_lacks(carrier, MAPPED_BATCH, "every vessel is of a batch");
    enum status status = shared(carrier, RECORD_STARTER, &batch->starter);
    if (status == STATUS_OK)
        status = shared(carrier, RECORD_LOT, &batch->lot);
    if (status == STATUS_OK)
        status = shared(carrier, RECORD_COOK, &batch->cook);
    if (status == STATUS_OK)
        status = shared(carrier, RECORD_SESSION, &batch->session);
    if (status == STATUS_OK)
        status = read_cells(carrier, RECORD_BATCH, batch);
    if (status == STATUS_OK)
        status = grain_fact(carrier, batch);
    if (status == STATUS_OK && !moment_known(batch->at) &&
        !journal_has(carrier->journal, RECORD_BATCH, label, &known))
        return carrier_lacks(carrier, MAPPED_INOCULATED,
                             "a new batch needs the day of inoculation");
    if (status != STATUS_OK)
        return status;
    carrier->blamed = MAPPED_BATCH;
    return settle(carrier, RECORD_BATCH, label, batch, &is_new);
}

/* ---- the vessel ------------------------------------------------------------------------------ */

static enum status next_number(struct carrier *carrier, int64_t batch, int64_t *number)
{
    sqlite3_stmt *statement = journal_prepare(
        carrier->journal, &carrier->highest,
        "SELECT coalesce(max(number), 0) + 1 FROM vessel WHERE batch = ?", carrier->own);
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, batch);
    enum status status = sqlite3_step(statement) == SQLITE_ROW
                             ? STATUS_OK
                             : journal_fault(carrier->journal, "read", carrier->own);
    *number = sqlite3_column_int64(statement, 0);
    sqlite3_reset(statement);
    return status;
}

static enum status take_vessel(struct carrier *carrier, struct vessel *vessel)
{
    struct batch batch;
    bool is_new = false;
    int64_t known = 0;
    record_init(RECORD_VESSEL, vessel);
    enum status status = take_batch(carrier, &batch);
    if (status == STATUS_OK)
        status = shared(carrier, RECORD_PLACE, &vessel->place);
    if (status == STATUS_OK)
        status = read_cells(carrier, RECORD_VESSEL, vessel);
    if (status != STATUS_OK)
        return status;
    vessel->batch = batch.id;
    if (!carrier_said(carrier, MAPPED_VESSEL) && !carrier_said(carrier, MAPPED_NUMBER))
        return carrier_lacks(carrier,
                             carrier->mapping->headings[MAPPED_VESSEL] != NULL ? MAPPED_VESSEL
                                                                               : MAPPED_NUMBER,
                             "nothing tells which vessel this is");
    if (!carrier_said(carrier, MAPPED_VESSEL))
        vessel->label = arena_format(carrier->arena, "%s-%lld", carrier->cells[MAPPED_BATCH],
                                     (long long)vessel->number);
    if (vessel->label == NULL)
        return STATUS_MEMORY;
    carrier->label = vessel->label;
    if (vessel->number == 0 && !journal_has(carrier->journal, RECORD_VESSEL, vessel->label, &known))
        status = next_number(carrier, batch.id, &vessel->number);
    if (status != STATUS_OK)
        return status;
    carrier->blamed = carrier_said(carrier, MAPPED_VESSEL) ? MAPPED_VESSEL : MAPPED_NUMBER;
    return settle(carrier, RECORD_VESSEL, vessel->label, vessel, &is_new);
}

enum status carrier_take(struct carrier *carrier)
{
    struct vessel vessel;
    carrier->label = "";
    carrier->blamed = MAPPED_COUNT;
    carrier->news = false;
    memset(carrier->added, 0, sizeof carrier->added);
    enum status status = take_vessel(carrier, &vessel);
    if (status == STATUS_OK)
        status = carrier_events(carrier, vessel.id);
    return status;
}
