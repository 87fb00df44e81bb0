/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settling what was not told, and writing it all down at once. */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/batch_internal.h"

/* ---- settling -------------------------------------------------------------------------------- */

/* The commonest kind of that shape. */
void batch_shape(struct draft *draft)
{
    const struct rules *rules = draft->app->rules;
    int best = RULES_NONE;
    if (draft->measured.kind != RULES_NONE || draft->shape == RULES_NONE)
        return;
    for (size_t i = 0; i < rules->vessel_count; i++)
        if ((int)rules->vessels[i].shape == draft->shape &&
            (best == RULES_NONE || rules->vessels[i].base > rules->vessels[best].base))
            best = (int)i;
    draft->measured.kind = best;
    if (best != RULES_NONE)
        draft_add(&draft->first, "taken for: %s; --vessel says another",
                  voice_vessel_name(&draft->told, rules->vessels[best].id));
}

/* Warmth is kept with a new place; said of an old one or of none it is this batch's fact. */
static void settle_warmth(struct draft *draft)
{
    int feeder = draft->app->rules->feeder[FEEDS_TEMPERATURE];
    if (draft->pick[RECORD_PLACE] != PICK_NONE || isnan(draft->place.celsius) ||
        feeder == RULES_NONE)
        return;
    const char *facts = arena_format(draft->app->arena, "%s%s%s=%.4g%s", draft->batch.facts,
                                     draft->batch.facts[0] != '\0' ? " " : "",
                                     draft->app->rules->observables[feeder].id,
                                     draft->place.celsius, dimension_unit(DIM_CELSIUS));
    if (facts != NULL)
        draft->batch.facts = facts;
}

void batch_settle(struct draft *draft)
{
    enum pick *pick = draft->pick;
    if (pick[RECORD_LOT] == PICK_UNTOLD)
        pick[RECORD_LOT] = draft->lot.grain[0] != '\0' ? PICK_NEW : PICK_NONE;
    if (pick[RECORD_STARTER] == PICK_UNTOLD)
        pick[RECORD_STARTER] = PICK_NEW;
    if (pick[RECORD_COOK] == PICK_UNTOLD)
        pick[RECORD_COOK] = PICK_NEW;
    if (pick[RECORD_SESSION] == PICK_UNTOLD)
        pick[RECORD_SESSION] = PICK_NEW;
    if (pick[RECORD_PLACE] == PICK_UNTOLD)
        pick[RECORD_PLACE] = PICK_NONE;
    settle_warmth(draft);
    if (pick[RECORD_STARTER] == PICK_NEW && draft->starter.species[0] == '\0')
        draft->starter.species = draft->batch.species;
    if (pick[RECORD_SESSION] == PICK_NEW)
        draft->session.at = draft->at;
    draft->batch.at = draft->at;
    if (draft->note.length > 0 && !draft->note.failed)
        draft->batch.note = draft->note.bytes;
}

/* ---- positions in the cooker ----------------------------------------------------------------- */

/* The value of the observable that feeds the position which a word names, by id or label. */
static const char *position_named(struct draft *draft, const char *word, size_t length)
{
    int feeder = draft->app->rules->feeder[FEEDS_POSITION];
    if (feeder == RULES_NONE)
        return NULL;
    const struct observable *observable = &draft->app->rules->observables[feeder];
    for (size_t i = 0; i < observable->value_count; i++) {
        const struct value *value = &observable->values[i];
        if ((strlen(value->id) == length && strncmp(value->id, word, length) == 0) ||
            (strlen(value->label) == length && strncmp(value->label, word, length) == 0))
            return value->id;
    }
    return NULL;
}

static enum exit_status unknown_position(struct draft *draft, const char *word, size_t length)
{
    int feeder = draft->app->rules->feeder[FEEDS_POSITION];
    struct text known;
    text_init(&known);
    if (feeder != RULES_NONE)
        for (size_t i = 0; i < draft->app->rules->observables[feeder].value_count; i++)
            text_printf(&known, "%s%s", i > 0 ? ", " : "",
                        draft->app->rules->observables[feeder].values[i].id);
    enum exit_status fault =
        app_usage(draft->app, "no position '%.*s' in the cooker; there are: %s", (int)length, word,
                  known.bytes);
    text_release(&known);
    return fault;
}

/* "upper" for all, or "upper:4,lower:4" in the order of the numbers. */
static enum exit_status place_in_cooker(struct draft *draft, struct vessel *vessels, size_t count)
{
    const char *at = draft->positions;
    size_t next = 0;

    while (at != NULL && *at != '\0') {
        size_t length = strcspn(at, ":,"), many = count - next;
        const char *id = position_named(draft, at, length);
        if (id == NULL)
            return unknown_position(draft, at, length);
        at += length;
        if (*at == ':') {
            char *end = NULL;
            long number = isdigit((unsigned char)at[1]) ? strtol(at + 1, &end, 10) : -1;
            if (number < 1 || (*end != ',' && *end != '\0'))
                return app_usage(draft->app, "'--position %s' should be like upper:4,lower:4",
                                 draft->positions);
            many = (size_t)number < many ? (size_t)number : many;
            at = end;
        }
        for (; many > 0; many--)
            vessels[next++].position = id;
        at += *at == ',';
    }
    return EXIT_FINE;
}

/* ---- writing --------------------------------------------------------------------------------- */

static enum status add_new(struct draft *draft, enum record record)
{
    struct journal *journal = draft->app->journal;
    union any_record *row = draft_row(draft, record);
    enum status status = STATUS_OK;

    if (draft->pick[record] != PICK_NEW)
        return STATUS_OK;
    if (row->named.label[0] == '\0')
        status = journal_next_label(journal, record, draft->app->arena, &row->named.label,
                                    draft->app->diags);
    return status == STATUS_OK ? journal_add(journal, record, row, draft->app->diags) : status;
}

static enum status add_records(struct draft *draft)
{
    static const enum record kinds[] = {RECORD_STARTER, RECORD_LOT, RECORD_COOK, RECORD_SESSION,
                                        RECORD_PLACE};
    struct journal *journal = draft->app->journal;
    struct batch *batch = &draft->batch;
    enum status status = STATUS_OK;

    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && status == STATUS_OK; i++) {
        if (draft->pick[kinds[i]] == PICK_NONE)
            record_init(kinds[i], draft_row(draft, kinds[i]));
        status = add_new(draft, kinds[i]);
    }
    batch->starter = draft->starter.id;
    batch->lot = draft->lot.id;
    batch->cook = draft->cook.id;
    batch->session = draft->session.id;
    if (status == STATUS_OK && batch->label[0] == '\0')
        status = journal_next_label(journal, RECORD_BATCH, draft->app->arena, &batch->label,
                                    draft->app->diags);
    return status == STATUS_OK ? journal_add(journal, RECORD_BATCH, batch, draft->app->diags)
                               : status;
}

static enum status add_vessels(struct draft *draft, struct batch_saved *saved)
{
    struct journal *journal = draft->app->journal;
    enum status status = STATUS_OK;

    for (size_t i = 0; i < saved->count && status == STATUS_OK; i++) {
        struct vessel *vessel = &saved->vessels[i];
        vessel->batch = draft->batch.id;
        vessel->place = draft->place.id;
        vessel->label = arena_format(draft->app->arena, "%s-%zu", draft->batch.label, i + 1);
        status = vessel->label != NULL
                     ? journal_add(journal, RECORD_VESSEL, vessel, draft->app->diags)
                     : STATUS_MEMORY;
        if (status == STATUS_OK && i == 0)
            status = course_of(journal, draft->app->rules, &draft->batch, vessel, &saved->course,
                               draft->app->diags);
        saved->first_look = course_first_day(&saved->course, &draft->batch);
        if (status == STATUS_OK)
            status = journal_set_due(journal, vessel->id, saved->first_look, course_first_word,
                                     draft->app->diags);
    }
    return status;
}

static enum exit_status prepare_vessels(struct draft *draft, struct batch_saved *saved)
{
    const struct rules *rules = draft->app->rules;
    saved->count = draft->vessels + draft->controls;
    saved->vessels = arena_array(draft->app->arena, saved->count, sizeof *saved->vessels);
    if (saved->vessels == NULL)
        return app_fail(draft->app, STATUS_MEMORY);
    for (size_t i = 0; i < saved->count; i++) {
        struct vessel *vessel = &saved->vessels[i];
        record_init(RECORD_VESSEL, vessel);
        vessel->number = (int64_t)i + 1;
        vessel->kind = rules->vessels[draft->measured.kind].id;
        vessel->grams = draft->measured.grams;
        vessel->control = i >= draft->vessels;
    }
    return place_in_cooker(draft, saved->vessels, saved->count);
}

enum exit_status batch_save(struct draft *draft, struct batch_saved *saved)
{
    struct journal *journal = draft->app->journal;
    enum exit_status fault = prepare_vessels(draft, saved);
    if (fault != EXIT_FINE)
        return fault;
    enum status status = journal_begin(journal, draft->app->diags);
    if (status != STATUS_OK)
        return app_fail(draft->app, status);
    status = add_records(draft);
    if (status == STATUS_OK)
        status = add_vessels(draft, saved);
    if (status == STATUS_OK)
        status = journal_commit(journal, draft->app->diags);
    else
        journal_rollback(journal);
    return status == STATUS_OK ? EXIT_FINE : app_fail(draft->app, status);
}
