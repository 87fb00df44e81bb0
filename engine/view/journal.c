/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/journal.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "view/screen.h"

/* ==== journal words =========================================================================== */

/* ---- names ----------------------------------------------------------------------------------- */

/*
 * A name as it stands within a sentence: its first letter small, unless the name
 * goes on in capitals ("PP bottle").
 */
static const char *within(const struct journal_told *told, const char *name)
{
    char *copy = arena_string(told->arena, name);
    if (copy == NULL)
        return name;
    if (isupper((unsigned char)copy[0]) && !isupper((unsigned char)copy[1]))
        copy[0] = (char)tolower((unsigned char)copy[0]);
    return copy;
}

const char *view_species_name(const struct journal_told *told, const char *id)
{
    int index = rules_species(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->species[index].name);
}

const char *view_grain_name(const struct journal_told *told, const char *id)
{
    int index = rules_grain(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->grains[index].name);
}

const char *view_vessel_name(const struct journal_told *told, const char *id)
{
    int index = rules_vessel(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->vessels[index].name);
}

const char *view_finding_name(const struct journal_told *told, const char *id)
{
    int index = rules_finding(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->findings[index].name);
}

const char *view_cause_name(const struct journal_told *told, const char *id)
{
    int index = rules_cause(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->causes[index].name);
}

const char *view_batch_words(const struct journal_told *told, const struct batch *batch)
{
    struct lot lot = {.grain = ""};
    const char *species = view_species_name(told, batch->species);
    if (batch->lot != 0)
        (void)journal_get(told->journal, RECORD_LOT, batch->lot, told->arena, &lot, told->diags);
    const char *grain = view_grain_name(told, lot.grain);
    if (species[0] == '\0')
        species = "unknown mushroom";
    const char *words =
        grain[0] != '\0' ? arena_format(told->arena, "%s on %s", species, grain) : species;
    return words != NULL ? words : "";
}

const char *view_label(const struct journal_told *told, enum record record, int64_t id)
{
    union any_record row;

    if (id == 0 || record_types[record].columns[0].kind != COLUMN_LABEL ||
        journal_get(told->journal, record, id, told->arena, &row, told->diags) != STATUS_OK)
        return "";
    return row.named.label;
}

/* ---- vessels --------------------------------------------------------------------------------- */

static bool follows(const struct vessel *before, const struct vessel *after)
{
    return before->batch == after->batch && before->number + 1 == after->number;
}

void view_vessels(struct text *out, const struct vessel *vessels, size_t count)
{
    for (size_t i = 0; i < count;) {
        size_t last = i;
        while (last + 1 < count && follows(&vessels[last], &vessels[last + 1]))
            last++;
        text_printf(out, "%s%s", i > 0 ? ", " : "", vessels[i].label);
        if (last > i)
            text_printf(out, "%s%s", last == i + 1 ? ", " : " to ", vessels[last].label);
        i = last + 1;
    }
}

/* ---- days and quantities --------------------------------------------------------------------- */

const char *view_day(int64_t day, char room[MOMENT_ROOM])
{
    return moment_write_day(moment_of_day(day), room);
}

const char *view_when(int64_t day, int64_t today, char room[WHEN_ROOM])
{
    static const char *const near[] = {"yesterday", "today", "tomorrow"};
    long long ahead = (long long)(day - today);
    char date[MOMENT_ROOM];

    if (ahead >= -1 && ahead <= 1)
        snprintf(room, WHEN_ROOM, "%s", near[ahead + 1]);
    else if (ahead < 0)
        snprintf(room, WHEN_ROOM, "%s, %lld days ago", view_day(day, date), -ahead);
    else
        snprintf(room, WHEN_ROOM, "%s, in %lld days", view_day(day, date), ahead);
    return room;
}

const char *view_quantity(const struct journal_told *told, double value, enum dimension dimension)
{
    struct text text;
    if (isnan(value))
        return "";
    text_init(&text);
    quantity_show(&text, value, dimension);
    const char *copy = text.failed ? NULL : arena_copy(told->arena, text.bytes, text.length);
    text_release(&text);
    return copy != NULL ? copy : "";
}

static const char *feeder_label(const struct rules *rules, enum feeds feeds, const char *id)
{
    int observable = rules->feeder[feeds];
    int value = observable != RULES_NONE && id[0] != '\0'
                    ? rules_value(&rules->observables[observable], id)
                    : RULES_NONE;
    return value == RULES_NONE ? id : rules->observables[observable].values[value].label;
}

const char *view_cook_words(const struct journal_told *told, const struct cook *cook)
{
    struct text text;
    text_init(&text);
    if (!isnan(cook->gauge))
        quantity_show(&text, cook->gauge, DIM_GAUGE_KPA);
    else if (cook->method[0] != '\0')
        text_puts(&text, feeder_label(told->rules, FEEDS_COOK_METHOD, cook->method));
    if (!isnan(cook->minutes)) {
        text_puts(&text, text.length > 0 ? " for " : "");
        quantity_show(&text, cook->minutes, DIM_MINUTES);
    }
    if (cook->load[0] != '\0')
        text_printf(&text, "%s%s", text.length > 0 ? ", " : "",
                    feeder_label(told->rules, FEEDS_LOAD, cook->load));
    const char *copy = text.failed ? NULL : arena_copy(told->arena, text.bytes, text.length);
    text_release(&text);
    return copy != NULL ? copy : "";
}

/* ---- JSON ------------------------------------------------------------------------------------ */

json_t *view_json_moment(struct moment moment)
{
    char room[MOMENT_ROOM];
    return moment_known(moment) ? json_string(moment_write(moment, room)) : json_null();
}

json_t *view_json_day(int64_t day)
{
    char room[MOMENT_ROOM];
    return day != 0 ? json_string(view_day(day, room)) : json_null();
}

json_t *view_json_text(const char *text)
{
    struct text safe;
    if (text == NULL || text[0] == '\0')
        return json_null();
    if (utf8_valid_prefix(text, strlen(text)) == strlen(text))
        return json_string(text);
    text_init(&safe);
    text_safe(&safe, text, strlen(text), &(struct text_safe_options){.keep_newlines = true});
    json_t *json = safe.failed ? NULL : json_stringn(safe.bytes, safe.length);
    text_release(&safe);
    return json;
}

json_t *view_json_label(const struct journal_told *told, enum record record, int64_t id)
{
    union any_record row;
    if (id == 0)
        return json_null();
    enum status status = journal_get(told->journal, record, id, told->arena, &row, told->diags);
    if (status == STATUS_USAGE)
        return json_null();
    return status == STATUS_OK ? view_json_text(row.named.label) : NULL;
}

json_t *view_json_vessels(const struct vessel *vessels, size_t count)
{
    json_t *labels = json_array();
    for (size_t i = 0; i < count; i++)
        labels = view_json_append(labels, view_json_text(vessels[i].label));
    return labels;
}

/* ==== journal record ========================================================================== */

/* One record, whatever its kind: told from the table that describes it. */

/* A value as people read it; "" when there is none. */
static const char *shown(const struct journal_told *told, const struct column *column,
                         const void *row)
{
    struct text text;
    double number = column->kind == COLUMN_REAL ? *(const double *)column_member(column, row) : NAN;

    if (column->dimension != DIM_NONE)
        return view_quantity(told, number, column->dimension);
    text_init(&text);
    enum status status = journal_show_column(told->journal, column, row, &text, told->diags);
    const char *copy = status == STATUS_OK && !text.failed && text.length > 0
                           ? arena_copy(told->arena, text.bytes, text.length)
                           : NULL;
    text_release(&text);
    return copy != NULL ? copy : "";
}

void view_record(struct screen *screen, const struct journal_told *told, enum record record,
                 const void *row)
{
    enum { LABEL_COLUMNS = 12 };
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (column->derived || column->kind == COLUMN_LABEL)
            continue;
        const char *value = shown(told, column, row);
        bool idle = column->kind == COLUMN_FLAG && !*(const bool *)column_member(column, row);
        if (value[0] != '\0' && !idle)
            screen_row(screen, 2, LABEL_COLUMNS, column->name, value);
    }
}

static json_t *value_json(const struct journal_told *told, const struct column *column,
                          const void *row)
{
    const void *value = column_member(column, row);
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        return view_json_text(*(const char *const *)value);
    case COLUMN_REAL:
        return view_json_number(*(const double *)value);
    case COLUMN_INTEGER:
        return json_integer(*(const int64_t *)value);
    case COLUMN_FLAG:
        return json_boolean(*(const bool *)value);
    case COLUMN_MOMENT:
        return view_json_moment(*(const struct moment *)value);
    case COLUMN_WORD:
        return json_string(column->words[*(const unsigned *)value]);
    case COLUMN_REFERENCE:
        break;
    }
    int64_t id = *(const int64_t *)value;
    if (id == 0)
        return json_null();
    return record_types[column->refers].columns[0].kind == COLUMN_LABEL
               ? view_json_label(told, column->refers, id)
               : json_integer(id);
}

json_t *view_record_json(const struct journal_told *told, enum record record, const void *row)
{
    json_t *object = json_object();
    const struct column *columns = record_types[record].columns;
    if (columns[0].kind != COLUMN_LABEL)
        object = view_json_put(object, "id", json_integer(*(const int64_t *)row));
    for (const struct column *column = columns; column->name; column++) {
        bool day = record == RECORD_VESSEL && strcmp(column->name, "due") == 0;
        object = view_json_put(object, column->name,
                               day ? view_json_day(*(const int64_t *)column_member(column, row))
                                   : value_json(told, column, row));
    }
    return object;
}

/* ==== journal list ============================================================================ */

/* Pages of records, a table for each kind. */

/* ---- parts of rows --------------------------------------------------------------------------- */

static const char *day_of(const struct journal_told *told, struct moment moment)
{
    char room[MOMENT_ROOM];
    const char *copy = arena_string(told->arena, moment_write_day(moment, room));
    return copy != NULL ? copy : "";
}

static const char *number_of(const struct journal_told *told, long long number)
{
    const char *copy = arena_format(told->arena, "%lld", number);
    return copy != NULL ? copy : "";
}

const char *view_tally(const struct journal_told *told, const struct vessel_tally *tally)
{
    struct text text;
    size_t lost = tally_lost(tally);
    bool listed = false;

    text_init(&text);
    text_printf(&text, "%zu", tally->vessels);
    for (size_t i = 0; i <= VESSEL_USED; i++) {
        if (tally->well[i] == 0)
            continue;
        text_printf(&text, "%s%zu %s", listed ? ", " : " (", tally->well[i], vessel_state_words[i]);
        listed = true;
    }
    if (lost > 0)
        text_printf(&text, "%s%zu lost", listed ? ", " : " (", lost);
    text_puts(&text, listed || lost > 0 ? ")" : "");
    if (tally->controls > 0)
        text_printf(&text, ", %zu control%s%s", tally->controls, tally->controls > 1 ? "s" : "",
                    tally->controls_lost > 0 ? ", lost" : "");
    const char *copy = text.failed ? NULL : arena_copy(told->arena, text.bytes, text.length);
    text_release(&text);
    return copy != NULL ? copy : "";
}

json_t *view_tally_json(const struct vessel_tally *tally)
{
    json_t *states = json_object(), *fates = json_object();
    for (size_t i = 0; i <= VESSEL_USED; i++)
        states =
            view_json_put(states, vessel_state_words[i], json_integer((json_int_t)tally->state[i]));
    for (size_t i = 0; i < FATE_COUNT; i++)
        fates = view_json_put(fates, fate_words[i], json_integer((json_int_t)tally->fate[i]));
    return json_pack("{s:I, s:I, s:o, s:o, s:I, s:I}", "vessels", (json_int_t)tally->vessels,
                     "lost", (json_int_t)tally_lost(tally), "state", states, "fate", fates,
                     "controls", (json_int_t)tally->controls, "controls_lost",
                     (json_int_t)tally->controls_lost);
}

/* "keep, 2026-03-09: what is likeliest, 60 % white": a look in a few words. */
static const char *look_words(const struct journal_told *told, const struct look *look)
{
    const char *words =
        arena_format(told->arena, "%s, %s: %s", look->action, day_of(told, look->at),
                     view_finding_name(told, look->finding));
    if (words != NULL && !isnan(look->coverage))
        words = arena_format(told->arena, "%s, %.0f %% white", words, look->coverage);
    return words != NULL ? words : "";
}

const char *view_event_words(const struct journal_told *told, const struct event *event)
{
    static const char *const done[EVENT_COUNT] = {
        [EVENT_MOVE] = "moved",          [EVENT_SHAKE] = "broken up and shaken",
        [EVENT_ISOLATE] = "isolated",    [EVENT_RETURN] = "put back among the others",
        [EVENT_DISCARD] = "discarded",   [EVENT_USE] = "used",
        [EVENT_WITHDRAW] = "taken back",
    };
    const char *words = done[event->kind];
    if (event->kind == EVENT_MOVE && event->place != 0)
        words =
            arena_format(told->arena, "moved to %s", view_label(told, RECORD_PLACE, event->place));
    else if (event->kind == EVENT_WITHDRAW)
        words = arena_format(told->arena, "deed %lld did not happen", (long long)event->corrects);
    if (words != NULL && event->detail[0] != '\0')
        words = arena_format(told->arena, "%s (%s)", words, event->detail);
    return words != NULL ? words : "";
}

static bool counted(enum record record)
{
    return record == RECORD_STARTER || record == RECORD_LOT || record == RECORD_COOK ||
           record == RECORD_SESSION || record == RECORD_PLACE || record == RECORD_BATCH;
}

static const char *tally_of(const struct journal_told *told, enum record record, int64_t id)
{
    struct vessel_tally tally;
    return survey_tally(told->journal, record, id, &tally, told->diags) == STATUS_OK
               ? view_tally(told, &tally)
               : "";
}

static const char *parents_of(const struct journal_told *told, const struct starter *starter)
{
    void *rows = NULL;
    size_t count = 0;
    const char *words = starter->source;
    if (journal_all(told->journal, RECORD_PARENT, "starter", starter->id, told->arena, &rows,
                    &count, told->diags) != STATUS_OK)
        return "";
    for (size_t i = 0; i < count && words != NULL; i++)
        words =
            arena_format(told->arena, "%s%s%s", words, words[0] != '\0' ? ", " : "",
                         view_label(told, RECORD_STARTER, ((const struct parent *)rows)[i].parent));
    return words != NULL ? words : "";
}

static const char *made_with(const struct journal_told *told, const struct batch *batch)
{
    const char *words =
        arena_format(told->arena, "%s %s %s", view_label(told, RECORD_STARTER, batch->starter),
                     view_label(told, RECORD_COOK, batch->cook),
                     view_label(told, RECORD_SESSION, batch->session));
    return words != NULL ? words : "";
}

static const char *age_of(const struct journal_told *told, const struct vessel *vessel)
{
    struct batch batch;
    if (journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, &batch, told->diags) !=
        STATUS_OK)
        return "";
    return number_of(told, (long long)moment_days_between(batch.at, told->now));
}

static const char *newest_look(const struct journal_told *told, const struct vessel *vessel)
{
    struct look look;
    if (vessel->last_look == 0)
        return vessel->control ? "a control" : "never looked at";
    if (journal_get(told->journal, RECORD_LOOK, vessel->last_look, told->arena, &look,
                    told->diags) != STATUS_OK)
        return "";
    return look_words(told, &look);
}

static const char *state_of(const struct vessel *vessel)
{
    bool told_apart = vessel->fate == FATE_CONTAMINATED || vessel->fate == FATE_STUCK;
    bool there = vessel->state == VESSEL_GROWING || vessel->state == VESSEL_ISOLATED;
    return told_apart && there ? fate_words[vessel->fate] : vessel_state_words[vessel->state];
}

static const char *kind_of_starter(const struct journal_told *told, const char *id)
{
    for (size_t i = 0; i < told->rules->starter_count; i++)
        if (strcmp(told->rules->starters[i].id, id) == 0)
            return told->rules->starters[i].name;
    return id;
}

static const char *due_of(const struct journal_told *told, const struct vessel *vessel)
{
    char room[MOMENT_ROOM];
    const char *copy =
        vessel->due == 0 ? "" : arena_string(told->arena, view_day(vessel->due, room));
    return copy != NULL ? copy : "";
}

static const char *words_of_look(const struct journal_told *told, const struct look *look)
{
    const char *said =
        arena_format(told->arena, "%s: %s", view_finding_name(told, look->finding), look->words);
    return said != NULL ? said : "";
}

/* ---- rows ------------------------------------------------------------------------------------ */

static const char *const headings[RECORD_COUNT][TABLE_MOST] = {
    [RECORD_STARTER] = {"starter", "mushroom", "kind", "made", "from", "vessels"},
    [RECORD_LOT] = {"lot", "grain", "bought", "moist", "vessels", "from"},
    [RECORD_COOK] = {"cook", "date", "vessels", "what"},
    [RECORD_SESSION] = {"session", "date", "vessels", "facts"},
    [RECORD_PLACE] = {"place", "warmth", "vessels there now"},
    [RECORD_BATCH] = {"batch", "date", "what", "with", "vessels"},
    [RECORD_VESSEL] = {"vessel", "state", "day", "where", "look due", "last look"},
    [RECORD_LOOK] = {"look", "vessel", "date", "said", "what was seen"},
    [RECORD_EVENT] = {"deed", "vessel", "date", "what"},
    [RECORD_OUTCOME] = {"outcome", "vessel", "date", "finding", "how it is known"},
    [RECORD_PARENT] = {"starter", "came from"},
    [RECORD_EDIT] = {"edit", "date", "of", "column", "was", "became"},
};

static size_t columns_of(enum record record)
{
    size_t count = 0;
    while (count < TABLE_MOST && headings[record][count] != NULL)
        count++;
    return count;
}

static void fill_around(const struct journal_told *told, enum record record,
                        const union any_record *row, const char *cells[TABLE_MOST])
{
    const struct starter *starter = &row->starter;
    const struct lot *lot = &row->lot;
    const char *tally = tally_of(told, record, starter->id); /* the id is first in every kind */

    if (record == RECORD_STARTER)
        memcpy(cells,
               ((const char *[]){starter->label, view_species_name(told, starter->species),
                                 kind_of_starter(told, starter->kind), day_of(told, starter->made),
                                 parents_of(told, starter), tally}),
               6 * sizeof *cells);
    else if (record == RECORD_LOT)
        memcpy(cells,
               ((const char *[]){
                   lot->label, view_grain_name(told, lot->grain), day_of(told, lot->bought),
                   view_quantity(told, lot->moisture, DIM_PERCENT), tally, lot->source}),
               6 * sizeof *cells);
    else if (record == RECORD_COOK)
        memcpy(cells,
               ((const char *[]){row->cook.label, day_of(told, row->cook.at), tally,
                                 view_cook_words(told, &row->cook)}),
               4 * sizeof *cells);
    else if (record == RECORD_SESSION)
        memcpy(cells,
               ((const char *[]){row->session.label, day_of(told, row->session.at), tally,
                                 row->session.facts}),
               4 * sizeof *cells);
    else
        memcpy(cells,
               ((const char *[]){row->place.label,
                                 view_quantity(told, row->place.celsius, DIM_CELSIUS), tally}),
               3 * sizeof *cells);
}

static void fill_grown(const struct journal_told *told, enum record record,
                       const union any_record *row, const char *cells[TABLE_MOST])
{
    const struct batch *batch = &row->batch;
    const struct vessel *vessel = &row->vessel;
    if (record == RECORD_BATCH)
        memcpy(
            cells,
            ((const char *[]){batch->label, day_of(told, batch->at), view_batch_words(told, batch),
                              made_with(told, batch), tally_of(told, record, batch->id)}),
            5 * sizeof *cells);
    else
        memcpy(cells,
               ((const char *[]){vessel->label, state_of(vessel), age_of(told, vessel),
                                 view_label(told, RECORD_PLACE, vessel->stands),
                                 due_of(told, vessel), newest_look(told, vessel)}),
               6 * sizeof *cells);
}

static void fill_events(const struct journal_told *told, enum record record,
                        const union any_record *row, const char *cells[TABLE_MOST])
{
    const struct look *look = &row->look;
    const struct event *event = &row->event;
    const struct outcome *outcome = &row->outcome;
    const char *id = number_of(told, (long long)look->id); /* first in every kind */

    if (record == RECORD_LOOK)
        memcpy(cells,
               ((const char *[]){id, view_label(told, RECORD_VESSEL, look->vessel),
                                 day_of(told, look->at), look->action, words_of_look(told, look)}),
               5 * sizeof *cells);
    else if (record == RECORD_EVENT)
        memcpy(cells,
               ((const char *[]){id, view_label(told, RECORD_VESSEL, event->vessel),
                                 day_of(told, event->at), view_event_words(told, event)}),
               4 * sizeof *cells);
    else if (record == RECORD_OUTCOME)
        memcpy(cells,
               ((const char *[]){id, view_label(told, RECORD_VESSEL, outcome->vessel),
                                 day_of(told, outcome->at),
                                 view_finding_name(told, outcome->finding), outcome->how}),
               5 * sizeof *cells);
    else if (record == RECORD_PARENT)
        memcpy(cells,
               ((const char *[]){view_label(told, RECORD_STARTER, row->parent.starter),
                                 view_label(told, RECORD_STARTER, row->parent.parent)}),
               2 * sizeof *cells);
    else
        memcpy(cells,
               ((const char *[]){id, day_of(told, row->edit.at), row->edit.label, row->edit.column,
                                 row->edit.was, row->edit.became}),
               6 * sizeof *cells);
}

enum status view_list(struct screen *screen, const struct journal_told *told, enum record record,
                      const struct page *page)
{
    struct table table;
    union any_record row;
    table_init(&table, screen, headings[record], columns_of(record), told->arena);
    for (size_t i = 0; i < page->count; i++) {
        const char *cells[TABLE_MOST] = {NULL};
        enum status status =
            journal_get(told->journal, record, page->ids[i], told->arena, &row, told->diags);
        if (status != STATUS_OK)
            return status;
        if (record == RECORD_BATCH || record == RECORD_VESSEL)
            fill_grown(told, record, &row, cells);
        else if (counted(record))
            fill_around(told, record, &row, cells);
        else
            fill_events(told, record, &row, cells);
        table_row(&table, cells);
    }
    table_show(&table, screen);
    if (page->total > page->count)
        screen_say(screen, 0, 2, ROLE_QUIET, "These are the newest %zu of %zu; --limit shows more.",
                   page->count, page->total);
    return STATUS_OK;
}

json_t *view_list_json(const struct journal_told *told, enum record record, const struct page *page,
                       enum status *status)
{
    json_t *records = json_array();
    union any_record row;
    *status = STATUS_OK;
    for (size_t i = 0; i < page->count; i++) {
        struct vessel_tally tally;
        *status = journal_get(told->journal, record, page->ids[i], told->arena, &row, told->diags);
        if (*status == STATUS_OK && counted(record))
            *status = survey_tally(told->journal, record, page->ids[i], &tally, told->diags);
        if (*status != STATUS_OK) {
            json_decref(records);
            return NULL;
        }
        json_t *object = view_record_json(told, record, &row);
        if (counted(record))
            object = view_json_put(object, "vessels", view_tally_json(&tally));
        records = view_json_append(records, object);
    }
    return records;
}

/* ==== journal history ============================================================================ */

/* The history of a vessel, a batch, a starter ... as a timeline. */

enum { DATE_COLUMNS = 12, DAY_COLUMNS = 20, MOST_BATCHES = 40, DEEPEST = 20 };

/* ---- what it is ------------------------------------------------------------------------------ */

/* "cook C1 (103 kPa for 90 min), starter S1, session I1, lot G1". */
static void say_batch_records(struct screen *screen, const struct journal_told *told,
                              const struct batch *batch, size_t indent)
{
    struct cook cook;
    struct text text;

    text_init(&text);
    if (batch->starter != 0)
        text_printf(&text, ", starter %s", view_label(told, RECORD_STARTER, batch->starter));
    if (batch->cook != 0 && journal_get(told->journal, RECORD_COOK, batch->cook, told->arena, &cook,
                                        told->diags) == STATUS_OK) {
        const char *what = view_cook_words(told, &cook);
        text_printf(&text, ", cook %s%s%s%s", cook.label, what[0] != '\0' ? " (" : "", what,
                    what[0] != '\0' ? ")" : "");
    }
    if (batch->session != 0)
        text_printf(&text, ", session %s", view_label(told, RECORD_SESSION, batch->session));
    if (batch->lot != 0)
        text_printf(&text, ", lot %s", view_label(told, RECORD_LOT, batch->lot));
    if (text.length > 2)
        screen_say(screen, indent, 2, ROLE_PLAIN, "From %s.", text.bytes + 2);
    text_release(&text);
}

/* "Isolated; counts as contaminated since 2026-03-05". */
static const char *now_words(const struct journal_told *told, const struct vessel *vessel)
{
    bool lost = vessel->fate == FATE_CONTAMINATED || vessel->fate == FATE_STUCK;
    const char *state = vessel_state_words[vessel->state];
    char day[MOMENT_ROOM] = "";
    const char *since = moment_known(vessel->ended) ? " since " : "";
    moment_write_day(vessel->ended, day);
    const char *words = lost ? arena_format(told->arena, "%s; counts as %s%s%s", state,
                                            fate_words[vessel->fate], since, day)
                             : arena_format(told->arena, "%s%s%s", state, since, day);
    return words != NULL ? words : "";
}

static void say_course(struct screen *screen, const struct journal_told *told,
                       const struct batch *batch, const struct vessel *vessel)
{
    struct vessel_forecast course;
    char from[MOMENT_ROOM], to[MOMENT_ROOM], when[WHEN_ROOM];
    int64_t day = moment_day(batch->at);

    if (vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED)
        return;
    if (vessel->due != 0)
        screen_say(screen, 0, 2, ROLE_PLAIN, "Look due %s (%s).",
                   view_when(vessel->due, moment_day(told->now), when), vessel->due_for);
    if (vessel->control ||
        vessel_forecast_of(told->journal, told->rules, batch, vessel, &course, told->diags) !=
            STATUS_OK ||
        !course.known || !isfinite(course.full.high))
        return;
    screen_say(screen, 0, 2, ROLE_PLAIN, "The forecast has it white through from %s to %s.",
               view_day(day + (int64_t)floor(course.full.low), from),
               view_day(day + (int64_t)ceil(course.full.high), to));
}

/* ---- the timeline ---------------------------------------------------------------------------- */

static const char *entry_words(const struct journal_told *told, const struct history_entry *entry)
{
    const struct look *look = &entry->is.look;
    const struct outcome *outcome = &entry->is.outcome;
    const struct edit *edit = &entry->is.edit;
    const char *words = NULL;

    if (entry->kind == RECORD_LOOK && look->words[0] != '\0')
        words = arena_format(told->arena, "look %lld, %s: %s. \"%s\"", (long long)entry->id,
                             look->action, view_finding_name(told, look->finding), look->words);
    else if (entry->kind == RECORD_LOOK)
        words = arena_format(told->arena, "look %lld, %s: %s", (long long)entry->id, look->action,
                             view_finding_name(told, look->finding));
    else if (entry->kind == RECORD_EVENT)
        words = arena_format(told->arena, "%s (deed %lld)",
                             view_event_words(told, &entry->is.event), (long long)entry->id);
    else if (entry->kind == RECORD_OUTCOME)
        words = arena_format(told->arena, "confirmed: %s%s%s%s%s",
                             view_finding_name(told, outcome->finding),
                             outcome->cause[0] != '\0' ? ", because of: " : "",
                             view_cause_name(told, outcome->cause),
                             outcome->how[0] != '\0' ? ". " : "", outcome->how);
    else
        words = arena_format(told->arena, "corrected: %s was '%s', became '%s'", edit->column,
                             edit->was, edit->became);
    if (words != NULL && entry->overruled)
        words = arena_format(told->arena, "[no longer counts] %s", words);
    return words != NULL ? words : "";
}

/* With the label of the vessel, where entries of several stand together. */
static void say_entry(struct screen *screen, const struct journal_told *told,
                      const struct history_entry *entry, const struct batch *batch, bool several)
{
    char date[MOMENT_ROOM], lead[MOMENT_ROOM + 24];
    const char *words = entry_words(told, entry);

    moment_write_day(entry->at, date);
    if (batch != NULL)
        snprintf(lead, sizeof lead, "%s  day %lld", date,
                 (long long)moment_days_between(batch->at, entry->at));
    else
        snprintf(lead, sizeof lead, "%s", date);
    if (several && entry->vessel != 0)
        words = arena_format(told->arena, "%s: %s", view_label(told, RECORD_VESSEL, entry->vessel),
                             words);
    screen_row(screen, 0, batch != NULL ? DAY_COLUMNS : DATE_COLUMNS, lead,
               words != NULL ? words : "");
}

static void say_events(struct screen *screen, const struct journal_told *told,
                       const struct history *history, const struct batch *batch, bool several)
{
    if (history->earlier > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "%zu earlier ones are left out; --limit 0 shows all.",
                   history->earlier);
    for (size_t i = 0; i < history->count; i++)
        say_entry(screen, told, &history->entries[i], batch, several);
}

static void say_start(struct screen *screen, const struct journal_told *told,
                      const struct batch *batch, bool control)
{
    char date[MOMENT_ROOM], lead[MOMENT_ROOM + 24];
    const char *starter = view_label(told, RECORD_STARTER, batch->starter);
    const char *words = control ? "cooked with the others, not inoculated"
                        : starter[0] != '\0'
                            ? arena_format(told->arena, "inoculated from %s", starter)
                            : "inoculated";
    snprintf(lead, sizeof lead, "%s  day 0", moment_write_day(batch->at, date));
    screen_row(screen, 0, DAY_COLUMNS, lead, words != NULL ? words : "");
}

/* ---- vessels and batches --------------------------------------------------------------------- */

static enum status history_of_one(struct screen *screen, const struct journal_told *told,
                                  const struct vessel *vessel, size_t limit)
{
    struct batch batch;
    struct history history = {NULL, 0, 0};
    enum status status =
        journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, &batch, told->diags);
    if (status == STATUS_OK)
        status =
            history_of_vessel(told->journal, vessel, limit, told->arena, &history, told->diags);
    if (status != STATUS_OK)
        return status;
    const char *stands = view_label(told, RECORD_PLACE, vessel->stands);
    screen_say(screen, 0, 2, ROLE_STRONG, "%s: %s, %s%s%s%s.", vessel->label,
               view_vessel_name(told, vessel->kind), view_batch_words(told, &batch),
               vessel->control ? ", a control" : "", stands[0] != '\0' ? ", in " : "", stands);
    screen_say(screen, 0, 2, ROLE_PLAIN, "It is %s.", now_words(told, vessel));
    say_batch_records(screen, told, &batch, 0);
    if (vessel->note[0] != '\0')
        screen_say(screen, 0, 2, ROLE_PLAIN, "Note: %s", vessel->note);
    screen_blank(screen);
    say_start(screen, told, &batch, vessel->control);
    say_events(screen, told, &history, &batch, false);
    screen_blank(screen);
    say_course(screen, told, &batch, vessel);
    return STATUS_OK;
}

static enum status history_of_many(struct screen *screen, const struct journal_told *told,
                                   const struct batch *batch, size_t limit)
{
    struct survey survey = survey_all(RECORD_VESSEL, 200);
    struct vessel_tally tally;
    struct page page;
    struct history history = {NULL, 0, 0};
    enum status status =
        history_of_batch(told->journal, batch, limit, told->arena, &history, told->diags);
    if (status == STATUS_OK)
        status = survey_tally(told->journal, RECORD_BATCH, batch->id, &tally, told->diags);
    survey.batch = batch->id;
    if (status == STATUS_OK)
        status = survey_page(told->journal, &survey, told->arena, &page, told->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(screen, 0, 2, ROLE_STRONG, "%s: %s. %s.", batch->label,
               view_batch_words(told, batch), view_tally(told, &tally));
    say_batch_records(screen, told, batch, 0);
    if (batch->note[0] != '\0')
        screen_say(screen, 0, 2, ROLE_PLAIN, "Note: %s", batch->note);
    screen_blank(screen);
    say_start(screen, told, batch, false);
    say_events(screen, told, &history, batch, true);
    screen_blank(screen);
    return view_list(screen, told, RECORD_VESSEL, &page);
}

/* ---- what vessels are made with -------------------------------------------------------------- */

/* Where a starter came from, the nearest first; each generation indented. */
static enum status say_ancestors(struct screen *screen, const struct journal_told *told, int64_t id,
                                 size_t depth)
{
    void *rows = NULL;
    size_t count = 0;
    enum status status = journal_all(told->journal, RECORD_PARENT, "starter", id, told->arena,
                                     &rows, &count, told->diags);
    for (size_t i = 0; i < count && status == STATUS_OK && depth < DEEPEST; i++) {
        struct starter starter;
        char date[MOMENT_ROOM];
        status = journal_get(told->journal, RECORD_STARTER, ((struct parent *)rows)[i].parent,
                             told->arena, &starter, told->diags);
        if (status != STATUS_OK)
            break;
        screen_say(screen, 2 * depth, 2, ROLE_PLAIN, "from %s%s%s%s%s", starter.label,
                   moment_known(starter.made) ? ", made " : "",
                   moment_write_day(starter.made, date), starter.source[0] != '\0' ? ", from " : "",
                   starter.source);
        status = say_ancestors(screen, told, starter.id, depth + 1);
    }
    return status;
}

static enum status say_family(struct screen *screen, const struct journal_told *told,
                              const struct starter *starter)
{
    struct page children = {NULL, 0, 0};
    enum status status = say_ancestors(screen, told, starter->id, 1);
    if (status == STATUS_OK)
        status = survey_children(told->journal, starter->id, told->arena, &children, told->diags);
    if (status != STATUS_OK || children.count == 0)
        return status;
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < children.count; i++)
        text_printf(&text, "%s%s", i > 0 ? ", " : "",
                    view_label(told, RECORD_STARTER, children.ids[i]));
    screen_say(screen, 2, 2, ROLE_PLAIN, "Made from it: %s.", text.bytes);
    text_release(&text);
    return STATUS_OK;
}

static enum status say_batches(struct screen *screen, const struct journal_told *told,
                               enum record record, int64_t id)
{
    struct vessel_tally tally;
    struct page page;
    enum status status = survey_tally(told->journal, record, id, &tally, told->diags);
    if (status != STATUS_OK || record == RECORD_PLACE) {
        screen_say(screen, 0, 2, ROLE_PLAIN, "Vessels there now: %s.", view_tally(told, &tally));
        return status;
    }
    status =
        survey_batches(told->journal, record, id, MOST_BATCHES, told->arena, &page, told->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(screen, 0, 2, ROLE_PLAIN, "It went into %zu batch%s; vessels: %s.", page.total,
               page.total == 1 ? "" : "es", view_tally(told, &tally));
    if (page.count == 0)
        return STATUS_OK;
    screen_blank(screen);
    return view_list(screen, told, RECORD_BATCH, &page);
}

static enum status life_around(struct screen *screen, const struct journal_told *told,
                               enum record record, const void *row, const char *label, size_t limit)
{
    struct history history = {NULL, 0, 0};
    enum status status =
        history_of_record(told->journal, record, label, limit, told->arena, &history, told->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(screen, 0, 2, ROLE_STRONG, "%s %s", record_types[record].name, label);
    view_record(screen, told, record, row);
    if (record == RECORD_STARTER)
        status = say_family(screen, told, row);
    if (status == STATUS_OK)
        status = say_batches(screen, told, record, *(const int64_t *)row);
    if (history.count > 0)
        screen_blank(screen);
    say_events(screen, told, &history, NULL, false);
    return status;
}

enum status view_history(struct screen *screen, const struct journal_told *told, enum record record,
                         const void *row, size_t limit)
{
    if (record == RECORD_VESSEL)
        return history_of_one(screen, told, row, limit);
    if (record == RECORD_BATCH)
        return history_of_many(screen, told, row, limit);
    const struct {
        int64_t id;
        const char *label;
    } *named = row; /* so every kind with a label begins */
    return life_around(screen, told, record, row, named->label, limit);
}

/* ==== journal history json ======================================================================= */

enum { LIFE_JSON_MOST_BATCHES = 1000, LIFE_JSON_DEEPEST = 20 };

static json_t *entry_json(const struct journal_told *told, const struct history_entry *entry,
                          const struct batch *batch)
{
    json_t *record = view_record_json(told, entry->kind, &entry->is);
    json_t *day = batch != NULL
                      ? json_integer((json_int_t)moment_days_between(batch->at, entry->at))
                      : json_null();
    return json_pack("{s:s, s:o, s:o, s:b, s:o}", "kind", record_types[entry->kind].name, "at",
                     view_json_moment(entry->at), "day", day, "counts", !entry->overruled, "record",
                     record);
}

static json_t *entries_json(const struct journal_told *told, const struct history *history,
                            const struct batch *batch)
{
    json_t *entries = json_array();
    for (size_t i = 0; i < history->count; i++)
        entries = view_json_append(entries, entry_json(told, &history->entries[i], batch));
    return entries;
}

/* {"label", "from": [the same of its parents]}. */
static json_t *ancestor_json(const struct journal_told *told, int64_t id, size_t depth,
                             enum status *status)
{
    void *rows = NULL;
    size_t count = 0;
    json_t *from = json_array();
    if (depth < LIFE_JSON_DEEPEST && *status == STATUS_OK)
        *status = journal_all(told->journal, RECORD_PARENT, "starter", id, told->arena, &rows,
                              &count, told->diags);
    for (size_t i = 0; i < count && *status == STATUS_OK; i++) {
        int64_t parent = ((const struct parent *)rows)[i].parent;
        from = view_json_append(from, ancestor_json(told, parent, depth + 1, status));
    }
    return json_pack("{s:o, s:o}", "label", view_json_label(told, RECORD_STARTER, id), "from",
                     from);
}

static enum status add_family(json_t **json, const struct journal_told *told, int64_t id)
{
    struct page children;
    enum status status = survey_children(told->journal, id, told->arena, &children, told->diags);
    if (status != STATUS_OK)
        return status;
    json_t *made = json_array(), *self = ancestor_json(told, id, 0, &status);
    for (size_t i = 0; i < children.count; i++)
        made = view_json_append(made, view_json_label(told, RECORD_STARTER, children.ids[i]));
    *json = view_json_put(*json, "from", json_incref(json_object_get(self, "from")));
    *json = view_json_put(*json, "made_from_it", made);
    json_decref(self);
    return status;
}

static enum status add_batches(json_t **json, const struct journal_told *told, enum record record,
                               int64_t id)
{
    struct page page = {NULL, 0, 0};
    struct vessel_tally tally;
    enum status status = survey_tally(told->journal, record, id, &tally, told->diags);
    if (status == STATUS_OK && record != RECORD_PLACE && record != RECORD_BATCH)
        status = survey_batches(told->journal, record, id, LIFE_JSON_MOST_BATCHES, told->arena,
                                &page, told->diags);
    if (status != STATUS_OK)
        return status;
    *json = view_json_put(*json, "vessels", view_tally_json(&tally));
    if (record != RECORD_PLACE && record != RECORD_BATCH)
        *json = view_json_put(*json, "batches", view_list_json(told, RECORD_BATCH, &page, &status));
    return status;
}

static enum status add_course(json_t **json, const struct journal_told *told,
                              const struct batch *batch, const struct vessel *vessel)
{
    struct vessel_forecast course;
    int64_t day = moment_day(batch->at);
    enum status status =
        vessel_forecast_of(told->journal, told->rules, batch, vessel, &course, told->diags);
    bool known = status == STATUS_OK && course.known && isfinite(course.full.high);
    *json = view_json_put(*json, "full_from",
                          view_json_day(known ? day + (int64_t)floor(course.full.low) : 0));
    *json = view_json_put(*json, "full_to",
                          view_json_day(known ? day + (int64_t)ceil(course.full.high) : 0));
    return status;
}

static enum status fill_vessel(json_t **json, const struct journal_told *told,
                               const struct vessel *vessel, size_t limit, struct history *history,
                               struct batch *batch)
{
    enum status status =
        journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, batch, told->diags);
    if (status == STATUS_OK)
        status = history_of_vessel(told->journal, vessel, limit, told->arena, history, told->diags);
    if (status != STATUS_OK)
        return status;
    *json = view_json_put(*json, "batch", view_record_json(told, RECORD_BATCH, batch));
    *json = view_json_put(*json, "day",
                          json_integer((json_int_t)moment_days_between(batch->at, told->now)));
    return add_course(json, told, batch, vessel);
}

json_t *view_history_json(const struct journal_told *told, enum record record, const void *row,
                          size_t limit, enum status *status)
{
    const struct {
        int64_t id;
        const char *label;
    } *named = row;
    struct history history = {NULL, 0, 0};
    struct batch batch;
    bool dated = record == RECORD_VESSEL || record == RECORD_BATCH;
    json_t *json = json_pack("{s:i, s:s, s:o}", "schema", 1, "kind", record_types[record].name,
                             "record", view_record_json(told, record, row));

    if (record == RECORD_VESSEL) {
        *status = fill_vessel(&json, told, row, limit, &history, &batch);
    } else if (record == RECORD_BATCH) {
        batch = *(const struct batch *)row;
        *status = history_of_batch(told->journal, row, limit, told->arena, &history, told->diags);
    } else {
        *status = history_of_record(told->journal, record, named->label, limit, told->arena,
                                    &history, told->diags);
    }
    if (*status == STATUS_OK && record == RECORD_STARTER)
        *status = add_family(&json, told, named->id);
    if (*status == STATUS_OK && record != RECORD_VESSEL)
        *status = add_batches(&json, told, record, named->id);
    if (*status != STATUS_OK) {
        json_decref(json);
        return NULL;
    }
    json = view_json_put(json, "earlier", json_integer((json_int_t)history.earlier));
    json = view_json_put(json, "events", entries_json(told, &history, dated ? &batch : NULL));
    return json;
}
