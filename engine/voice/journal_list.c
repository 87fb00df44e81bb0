/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pages of records, a table for each kind. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/journal.h"
#include "voice/table.h"
#include "voice/whole_json.h"

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

const char *voice_tally(const struct journal_told *told, const struct vessel_tally *tally)
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

json_t *voice_tally_json(const struct vessel_tally *tally)
{
    json_t *states = json_object(), *fates = json_object();
    for (size_t i = 0; i <= VESSEL_USED; i++)
        states = voice_json_put(states, vessel_state_words[i],
                                json_integer((json_int_t)tally->state[i]));
    for (size_t i = 0; i < FATE_COUNT; i++)
        fates = voice_json_put(fates, fate_words[i], json_integer((json_int_t)tally->fate[i]));
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
                     voice_finding_name(told, look->finding));
    if (words != NULL && !isnan(look->coverage))
        words = arena_format(told->arena, "%s, %.0f %% white", words, look->coverage);
    return words != NULL ? words : "";
}

const char *voice_deed_words(const struct journal_told *told, const struct deed *deed)
{
    static const char *const done[DEED_COUNT] = {
        [DEED_MOVE] = "moved",          [DEED_SHAKE] = "broken up and shaken",
        [DEED_ISOLATE] = "isolated",    [DEED_RETURN] = "put back among the others",
        [DEED_DISCARD] = "discarded",   [DEED_USE] = "used",
        [DEED_WITHDRAW] = "taken back",
    };
    const char *words = done[deed->kind];
    if (deed->kind == DEED_MOVE && deed->place != 0)
        words =
            arena_format(told->arena, "moved to %s", voice_label(told, RECORD_PLACE, deed->place));
    else if (deed->kind == DEED_WITHDRAW)
        words = arena_format(told->arena, "deed %lld did not happen", (long long)deed->corrects);
    if (words != NULL && deed->detail[0] != '\0')
        words = arena_format(told->arena, "%s (%s)", words, deed->detail);
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
               ? voice_tally(told, &tally)
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
        words = arena_format(
            told->arena, "%s%s%s", words, words[0] != '\0' ? ", " : "",
            voice_label(told, RECORD_STARTER, ((const struct parent *)rows)[i].parent));
    return words != NULL ? words : "";
}

static const char *made_with(const struct journal_told *told, const struct batch *batch)
{
    const char *words =
        arena_format(told->arena, "%s %s %s", voice_label(told, RECORD_STARTER, batch->starter),
                     voice_label(told, RECORD_COOK, batch->cook),
                     voice_label(told, RECORD_SESSION, batch->session));
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
        vessel->due == 0 ? "" : arena_string(told->arena, voice_day(vessel->due, room));
    return copy != NULL ? copy : "";
}

static const char *words_of_look(const struct journal_told *told, const struct look *look)
{
    const char *said =
        arena_format(told->arena, "%s: %s", voice_finding_name(told, look->finding), look->words);
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
    [RECORD_DEED] = {"deed", "vessel", "date", "what"},
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
               ((const char *[]){starter->label, voice_species_name(told, starter->species),
                                 kind_of_starter(told, starter->kind), day_of(told, starter->made),
                                 parents_of(told, starter), tally}),
               6 * sizeof *cells);
    else if (record == RECORD_LOT)
        memcpy(cells,
               ((const char *[]){
                   lot->label, voice_grain_name(told, lot->grain), day_of(told, lot->bought),
                   voice_quantity(told, lot->moisture, DIM_PERCENT), tally, lot->source}),
               6 * sizeof *cells);
    else if (record == RECORD_COOK)
        memcpy(cells,
               ((const char *[]){row->cook.label, day_of(told, row->cook.at), tally,
                                 voice_cook_words(told, &row->cook)}),
               4 * sizeof *cells);
    else if (record == RECORD_SESSION)
        memcpy(cells,
               ((const char *[]){row->session.label, day_of(told, row->session.at), tally,
                                 row->session.facts}),
               4 * sizeof *cells);
    else
        memcpy(cells,
               ((const char *[]){row->place.label,
                                 voice_quantity(told, row->place.celsius, DIM_CELSIUS), tally}),
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
            ((const char *[]){batch->label, day_of(told, batch->at), voice_batch_words(told, batch),
                              made_with(told, batch), tally_of(told, record, batch->id)}),
            5 * sizeof *cells);
    else
        memcpy(cells,
               ((const char *[]){vessel->label, state_of(vessel), age_of(told, vessel),
                                 voice_label(told, RECORD_PLACE, vessel->stands),
                                 due_of(told, vessel), newest_look(told, vessel)}),
               6 * sizeof *cells);
}

static void fill_events(const struct journal_told *told, enum record record,
                        const union any_record *row, const char *cells[TABLE_MOST])
{
    const struct look *look = &row->look;
    const struct deed *deed = &row->deed;
    const struct outcome *outcome = &row->outcome;
    const char *id = number_of(told, (long long)look->id); /* first in every kind */

    if (record == RECORD_LOOK)
        memcpy(cells,
               ((const char *[]){id, voice_label(told, RECORD_VESSEL, look->vessel),
                                 day_of(told, look->at), look->action, words_of_look(told, look)}),
               5 * sizeof *cells);
    else if (record == RECORD_DEED)
        memcpy(cells,
               ((const char *[]){id, voice_label(told, RECORD_VESSEL, deed->vessel),
                                 day_of(told, deed->at), voice_deed_words(told, deed)}),
               4 * sizeof *cells);
    else if (record == RECORD_OUTCOME)
        memcpy(cells,
               ((const char *[]){id, voice_label(told, RECORD_VESSEL, outcome->vessel),
                                 day_of(told, outcome->at),
                                 voice_finding_name(told, outcome->finding), outcome->how}),
               5 * sizeof *cells);
    else if (record == RECORD_PARENT)
        memcpy(cells,
               ((const char *[]){voice_label(told, RECORD_STARTER, row->parent.starter),
                                 voice_label(told, RECORD_STARTER, row->parent.parent)}),
               2 * sizeof *cells);
    else
        memcpy(cells,
               ((const char *[]){id, day_of(told, row->edit.at), row->edit.label, row->edit.column,
                                 row->edit.was, row->edit.became}),
               6 * sizeof *cells);
}

enum status voice_list(struct screen *screen, const struct journal_told *told, enum record record,
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
    return table.failed || arena_exhausted(told->arena) ? STATUS_MEMORY : STATUS_OK;
}

json_t *voice_list_json(const struct journal_told *told, enum record record,
                        const struct page *page, enum status *status)
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
        json_t *object = voice_record_json(told, record, &row);
        if (counted(record))
            object = voice_json_put(object, "vessels", voice_tally_json(&tally));
        records = voice_json_append(records, object);
    }
    return records;
}
