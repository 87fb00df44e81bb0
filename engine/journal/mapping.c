/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/mapping.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal/mapping_internal.h"
#include "journal/sql.h"

/* What carries a row into the journal. */
struct carrier {
    struct journal *journal;
    const struct mapping *mapping;
    struct reader *reader;
    struct moment now;
    struct arena *arena;             /* of one row */
    struct diags *own;               /* what was wrong with one row, without a position */
    const char *cells[MAPPED_COUNT]; /* of one row; "" where it says nothing */
    struct text given, there;
    /* What came of it. */
    const char *label;          /* of the vessel, as far as it is known */
    enum mapped blamed;         /* which cell a fault is about; MAPPED_COUNT for the row */
    bool news;                  /* something was added */
    size_t added[RECORD_COUNT]; /* by this row */
};

/* Takes the row of carrier->cells. STATUS_DATA or STATUS_USAGE, and a message in `own`, when it is
 * refused: what it added until then is for the caller to undo. */
enum status carrier_take(struct carrier *carrier);

/* Whether the row says anything in that cell. */
static bool carrier_said(const struct carrier *carrier, enum mapped field);
/* Refuses a cell: adds what would be right, remembers which cell it is, gives STATUS_DATA. */
enum status carrier_wrong(struct carrier *carrier, enum mapped field, const char *right);
enum status carrier_lacks(struct carrier *carrier, enum mapped field, const char *why);
/* The day that a cell says; none to come. */
enum status carrier_day(struct carrier *carrier, enum mapped field, struct moment *moment);
/* Adds a record, checked first, since a journal that refuses one ends the whole transaction. */
enum status carrier_add(struct carrier *carrier, enum record record, void *row);
/* The events and the outcome of the row, as far as they are not there already. */
enum status carrier_events(struct carrier *carrier, int64_t vessel);

/* ==== mapping events ========================================================================== */

/* What a row tells of a vessel's life: what was done with it, and what became of it. */

static const struct position nowhere = {NULL, 0, 0};

static enum status take_event(struct carrier *carrier, int64_t vessel, enum event_kind kind,
                              struct moment at)
{
    struct event *events = NULL, event;
    size_t count = 0;
    enum status status = journal_all(carrier->journal, RECORD_EVENT, "vessel", vessel,
                                     carrier->arena, (void **)&events, &count, carrier->own);
    for (size_t i = 0; i < count; i++)
        if (events[i].kind == kind && moment_day(events[i].at) == moment_day(at))
            return status;
    record_init(RECORD_EVENT, &event);
    event.vessel = vessel;
    event.kind = kind;
    event.at = at;
    return status == STATUS_OK ? carrier_add(carrier, RECORD_EVENT, &event) : status;
}

static enum status take_events(struct carrier *carrier, int64_t vessel)
{
    static const struct {
        enum mapped field;
        enum event_kind kind;
    } days[] = {{MAPPED_SHAKEN, EVENT_SHAKE},
                {MAPPED_ISOLATED, EVENT_ISOLATE},
                {MAPPED_USED, EVENT_USE},
                {MAPPED_DISCARDED, EVENT_DISCARD}};
    enum status status = STATUS_OK;
    for (size_t i = 0; i < sizeof days / sizeof *days && status == STATUS_OK; i++) {
        struct moment at;
        if (!carrier_said(carrier, days[i].field))
            continue;
        status = carrier_day(carrier, days[i].field, &at);
        if (status == STATUS_OK)
            status = take_event(carrier, vessel, days[i].kind, at);
    }
    return status;
}

/* The day of a result: its own, else that on which the vessel was used or discarded. */
static enum status result_day(struct carrier *carrier, struct moment *at)
{
    static const enum mapped days[] = {MAPPED_ENDED, MAPPED_DISCARDED, MAPPED_USED};
    for (size_t i = 0; i < sizeof days / sizeof *days; i++)
        if (carrier_said(carrier, days[i]))
            return carrier_day(carrier, days[i], at);
    return carrier_lacks(carrier, MAPPED_ENDED, "a result needs a day; map 'ended'");
}

static enum status take_outcome(struct carrier *carrier, int64_t vessel,
                                const struct finding *finding, struct moment at)
{
    struct outcome *outcomes = NULL, outcome;
    size_t count = 0;
    enum status status = journal_all(carrier->journal, RECORD_OUTCOME, "vessel", vessel,
                                     carrier->arena, (void **)&outcomes, &count, carrier->own);
    if (status != STATUS_OK)
        return status;
    if (count > 0 && strcmp(outcomes[count - 1].finding, finding->id) == 0)
        return STATUS_OK;
    if (count > 0) {
        diags_error(carrier->own, nowhere, "%s is confirmed as '%.60s' already, and here '%.60s'",
                    carrier->label, outcomes[count - 1].finding, finding->id);
        carrier->blamed = MAPPED_RESULT;
        return STATUS_DATA;
    }
    record_init(RECORD_OUTCOME, &outcome);
    outcome.vessel = vessel;
    outcome.at = at;
    outcome.finding = finding->id;
    outcome.status = status_name(finding->status);
    outcome.how =
        arena_format(carrier->arena, "from a spreadsheet: %s", carrier->cells[MAPPED_RESULT]);
    return outcome.how != NULL ? carrier_add(carrier, RECORD_OUTCOME, &outcome) : STATUS_MEMORY;
}

static enum status take_result(struct carrier *carrier, int64_t vessel)
{
    struct mapped_result result;
    struct moment at;
    if (!carrier_said(carrier, MAPPED_RESULT))
        return STATUS_OK;
    if (!mapped_result(carrier->mapping, carrier->cells[MAPPED_RESULT], carrier->arena, &result))
        return carrier_wrong(carrier, MAPPED_RESULT,
                             "that is no finding; say in the map, under 'values', what it means");
    if (result.finding == NULL && !result.used && !result.discarded)
        return STATUS_OK;
    enum status status = result_day(carrier, &at);
    if (status == STATUS_OK && result.finding != NULL)
        status = take_outcome(carrier, vessel, result.finding, at);
    if (status == STATUS_OK && result.used)
        status = take_event(carrier, vessel, EVENT_USE, at);
    if (status == STATUS_OK && result.discarded)
        status = take_event(carrier, vessel, EVENT_DISCARD, at);
    return status;
}

enum status carrier_events(struct carrier *carrier, int64_t vessel)
{
    enum status status = take_events(carrier, vessel);
    return status == STATUS_OK ? take_result(carrier, vessel) : status;
}

/* ==== mapping row ============================================================================= */

/* One row of a spreadsheet, as the records that it tells of. */

static const struct position row_nowhere = {NULL, 0, 0};

/* ---- cells ----------------------------------------------------------------------------------- */

static bool carrier_said(const struct carrier *carrier, enum mapped field)
{
    return carrier->cells[field][0] != '\0';
}

/* Adds what is wrong with a cell, and remembers which, for its position. */
enum status carrier_wrong(struct carrier *carrier, enum mapped field, const char *right)
{
    carrier->blamed = field;
    diags_error(carrier->own, row_nowhere, "%s is '%.60s'; %s", mapped_fields[field].name,
                carrier->cells[field], right);
    return STATUS_DATA;
}

enum status carrier_lacks(struct carrier *carrier, enum mapped field, const char *why)
{
    carrier->blamed = field;
    diags_error(carrier->own, row_nowhere, "%s is missing; %s", mapped_fields[field].name, why);
    return STATUS_DATA;
}

enum status carrier_day(struct carrier *carrier, enum mapped field, struct moment *moment)
{
    enum { SLACK = 86400 };
    const char *text = carrier->cells[field];
    if (!moment_read_in(text, carrier->mapping->dates, moment))
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
    diags_error(carrier->own, row_nowhere,
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
    return query_number(carrier->journal, number, carrier->own,
                        "SELECT coalesce(max(number), 0) + 1 FROM vessel WHERE batch = ?", "i",
                        batch);
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

/* ==== mapping ================================================================================= */

enum { MOST_COLUMNS = 512 };

struct spreadsheet {
    struct carrier carrier;
    struct csv_table reader;
    const struct mapping_options *options;
    struct mapping_tally *tally;
    struct diags *diags;
    bool header_read;
    size_t column_of[MAPPED_COUNT]; /* SIZE_MAX where none */
    bool repeats[MOST_COLUMNS];
    struct text above[MOST_COLUMNS]; /* what stood last in a column that repeats */
};

/* ---- header ---------------------------------------------------------------------------------- */

static size_t column_headed(struct spreadsheet *sheet, const struct csv_row *row,
                            const char *heading)
{
    for (size_t i = 0; i < row->count && i < MOST_COLUMNS; i++) {
        const char *folded = mapped_fold(sheet->carrier.arena, row->fields[i].text);
        if (folded != NULL && strcmp(folded, heading) == 0)
            return i;
    }
    return SIZE_MAX;
}

static void no_heading(struct spreadsheet *sheet, const struct csv_row *row, const char *heading)
{
    const char *names[MOST_COLUMNS];
    size_t count = 0;
    for (; count < row->count && count < MOST_COLUMNS; count++)
        names[count] = row->fields[count].text;
    const char *near = diag_nearest(heading, names, count);
    struct position at = csv_at(row, SIZE_MAX);
    if (near != NULL)
        diags_error(sheet->diags, at, "no column is headed '%s'; did you mean '%s'?", heading,
                    near);
    else
        diags_error(sheet->diags, at, "no column is headed '%s'", heading);
}

static enum status read_header(struct spreadsheet *sheet, const struct csv_row *row)
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

static bool all_blank(const struct csv_row *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (!is_blank(row->fields[i].text))
            return false;
    return true;
}

static void remember_above(struct spreadsheet *sheet, const struct csv_row *row)
{
    for (size_t i = 0; i < row->count && i < MOST_COLUMNS; i++) {
        if (!sheet->repeats[i] || is_blank(row->fields[i].text))
            continue;
        text_clear(&sheet->above[i]);
        text_puts(&sheet->above[i], row->fields[i].text);
    }
}

/* The cell without blanks at its ends, or what stands above it, or what holds for all rows. */
static const char *cell(struct spreadsheet *sheet, const struct csv_row *row, enum mapped field)
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
static enum status conclude_row(struct spreadsheet *sheet, const struct csv_row *row,
                                enum status status)
{
    struct carrier *carrier = &sheet->carrier;
    struct position at = csv_at(row, SIZE_MAX);
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
    report(sheet, csv_at(row, column), MAPPING_REFUSED,
           diags_kept(carrier->own) > 0 ? diags_get(carrier->own, 0)->message : "");
    return run(sheet, "ROLLBACK TO one_row; RELEASE one_row");
}

static enum status take_row(void *context, const struct csv_row *row)
{
    struct spreadsheet *sheet = context;
    struct carrier *carrier = &sheet->carrier;
    arena_reset(carrier->arena);
    diags_clear(carrier->own);
    carrier->label = "";
    if (!sheet->header_read)
        return read_header(sheet, row);
    if (all_blank(row)) {
        report(sheet, csv_at(row, SIZE_MAX), MAPPING_SKIPPED, "empty");
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
    status = csv_read(&sheet->reader, NULL, sheet->options->progress, sheet->diags);
    if (status == STATUS_OK && !sheet->header_read) {
        diags_error(sheet->diags, (struct position){sheet->reader.file, 1, 1},
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
                    .arena = arena_new(),
                    .own = diags_new(),
                    .label = ""},
        .reader = {.file = path, .context = sheet, .row = take_row, .utf8 = true},
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
