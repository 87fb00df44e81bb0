/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/assign.h"
#include "cli/batch_words.h"
#include "cli/cli.h"
#include "view/screen.h"

/* ==== batch draft ============================================================================= */

/* The draft of a batch, and the options that fill it. */

void draft_add(struct text *list, const char *format, ...)
{
    char words[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    text_printf(list, "%s%s", list->length > 0 ? "; " : "", words);
}

void *draft_row(struct draft *draft, enum record record)
{
    switch (record) {
    case RECORD_STARTER:
        return &draft->starter;
    case RECORD_LOT:
        return &draft->lot;
    case RECORD_COOK:
        return &draft->cook;
    case RECORD_SESSION:
        return &draft->session;
    case RECORD_PLACE:
        return &draft->place;
    default:
        return &draft->batch;
    }
}

enum status draft_cook_figure(struct draft *draft, const char *column, double recorded, double said)
{
    if (isnan(said) || fabs(said - recorded) <= 0.01 * fabs(recorded))
        return STATUS_OK;
    return app_usage(draft->app,
                     "cook %s is recorded %s that %s; mend it first with 'jarside correct cook %s "
                     "%s=...', or name another cook",
                     draft->cook.label, isnan(recorded) ? "without" : "with other than", column,
                     draft->cook.label, column);
}

static enum status check_cook(struct draft *draft, const struct cook *said)
{
    const struct cook *cook = &draft->cook;
    enum status status = draft_cook_figure(draft, "gauge", cook->gauge, said->gauge);
    if (status == STATUS_OK)
        status = draft_cook_figure(draft, "minutes", cook->minutes, said->minutes);
    if (status == STATUS_OK)
        status = draft_cook_figure(draft, "altitude", cook->altitude, said->altitude);
    return status;
}

/* What was said before a label was picked stays said, where the record is silent. */
static enum status pick_existing(struct draft *draft, enum record record, const char *label)
{
    struct lot said_lot = draft->lot;
    struct cook said_cook = draft->cook;
    struct starter said_starter = draft->starter;
    enum status status =
        labels_find(draft->app, record, label, draft_row(draft, record));
    if (status != STATUS_OK)
        return status;
    if (record == RECORD_COOK)
        return check_cook(draft, &said_cook);
    if (record == RECORD_LOT && said_lot.grain[0] != '\0' &&
        strcmp(said_lot.grain, draft->lot.grain) != 0)
        return app_usage(draft->app, "lot %s is %s; leave out the grain, or name another lot",
                         draft->lot.label, view_grain_name(&draft->told, draft->lot.grain));
    if (record == RECORD_STARTER && said_starter.kind[0] != '\0' && draft->starter.kind[0] == '\0')
        draft->starter.kind = said_starter.kind;
    return STATUS_OK;
}

enum status draft_pick(struct draft *draft, enum record record, const char *label)
{
    const char *found = label;
    int64_t id = 0;

    if (strcasecmp(label, "none") == 0) {
        draft->pick[record] = PICK_NONE;
        return STATUS_OK;
    }
    if (strcasecmp(label, "new") == 0) {
        draft->pick[record] = PICK_NEW;
        return STATUS_OK;
    }
    if (labels_has(draft->app, record, label, &id, &found)) {
        draft->pick[record] = PICK_EXISTING;
        return pick_existing(draft, record, found);
    }
    if (label[0] == '\0')
        return app_usage(draft->app, "a label of a %s is not empty", record_types[record].name);
    const char *copy = arena_string(draft->app->arena, label); /* an answer does not live as long */
    if (copy == NULL)
        return STATUS_MEMORY;
    draft->pick[record] = PICK_NEW;
    ((union any_record *)draft_row(draft, record))->named.label = copy;
    return STATUS_OK;
}

/* ---- options --------------------------------------------------------------------------------- */

static enum status read_count(struct app *app, const char *name, size_t most, size_t *count)
{
    const char *word = arguments_value(&app->arguments, name);
    const struct option option = {.name = name, .kind = OPTION_COUNT, .high = (double)most};
    return word != NULL ? option_read(app, &option, word, count) : STATUS_OK;
}

static bool said_unknown(struct app *app, const char *name)
{
    const char *word = arguments_value(&app->arguments, name);
    return word != NULL && strcasecmp(word, "unknown") == 0;
}

static enum status read_lists(struct draft *draft)
{
    struct app *app = draft->app;
    int species = RULES_NONE, grain = RULES_NONE;
    enum status status = STATUS_OK;

    draft->no_species = said_unknown(app, "species");
    draft->no_grain = said_unknown(app, "grain");
    if (!draft->no_species)
        status = option_species(app, &species);
    if (status == STATUS_OK && !draft->no_grain)
        status = option_grain(app, &grain);
    if (status == STATUS_OK)
        status = option_vessel(app, &draft->measured);
    if (species != RULES_NONE)
        draft->batch.species = app->rules->species[species].id;
    if (grain != RULES_NONE)
        draft->lot.grain = app->rules->grains[grain].id;
    return status;
}

static enum status read_figures(struct draft *draft)
{
    struct app *app = draft->app;
    enum status status;

    if ((status = option_amount(app, "gauge", DIM_GAUGE_KPA, &draft->cook.gauge)) != STATUS_OK ||
        (status = option_amount(app, "minutes", DIM_MINUTES, &draft->cook.minutes)) != STATUS_OK ||
        (status = option_quantity(app, "altitude", DIM_METRES, &draft->cook.altitude)) !=
            STATUS_OK ||
        (status = option_amount(app, "dry", DIM_GRAMS, &draft->batch.dry)) != STATUS_OK ||
        (status = option_amount(app, "water", DIM_GRAMS, &draft->batch.water)) != STATUS_OK ||
        (status = option_amount(app, "soak", DIM_MINUTES, &draft->batch.soak)) != STATUS_OK)
        return status;
    return STATUS_OK;
}

/* "4ml", "80g", "2" pieces. */
static enum status read_dose(struct draft *draft)
{
    struct app *app = draft->app;
    const char *word = arguments_value(&app->arguments, "dose");
    struct quantity quantity;
    size_t used = 0;

    if (word == NULL)
        return STATUS_OK;
    size_t length = strlen(word);
    if (quantity_read(word, length, DIM_LITRES, &quantity, &used) == QUANTITY_OK &&
        used == length && quantity.unit_given) {
        draft->batch.dose = 500.0 * (quantity.lo + quantity.hi);
        draft->batch.unit = "ml";
    } else if (quantity_read(word, length, DIM_GRAMS, &quantity, &used) == QUANTITY_OK &&
               used == length && quantity.unit_given) {
        draft->batch.dose = 0.5 * (quantity.lo + quantity.hi);
        draft->batch.unit = "g";
    } else if (quantity_read(word, length, DIM_NONE, &quantity, &used) == QUANTITY_OK &&
               used == length) {
        draft->batch.dose = 0.5 * (quantity.lo + quantity.hi);
    } else {
        return app_error(app, STATUS_DATA, "--dose",
                         "'%s' is no dose; for instance 4ml, 80g, or 2 pieces of agar as 2", word);
    }
    return draft->batch.dose > 0.0
               ? STATUS_OK
               : app_error(app, STATUS_DATA, "--dose", "a dose is more than nothing");
}

static enum status read_purpose(struct draft *draft)
{
    const struct decision_rules *decision = &draft->app->rules->decision;
    const char *word = arguments_value(&draft->app->arguments, "use");
    const char *names[RULES_MAX_VALUES];
    size_t count = 0;

    if (word == NULL)
        return STATUS_OK;
    for (size_t i = 0; i < decision->use_count && count < RULES_MAX_VALUES; i++) {
        names[count++] = decision->uses[i].id;
        if (strcmp(decision->uses[i].id, word) == 0)
            draft->batch.purpose = decision->uses[i].id;
    }
    if (draft->batch.purpose[0] != '\0')
        return STATUS_OK;
    const char *near = diag_nearest(word, names, count);
    return app_error(draft->app, STATUS_DATA, "--use", "no use '%s'; did you mean '%s'?", word,
                     near != NULL ? near
                     : count > 0  ? names[0]
                                  : "");
}

static enum status read_records(struct draft *draft)
{
    static const enum record kinds[] = {RECORD_STARTER, RECORD_LOT, RECORD_COOK, RECORD_SESSION,
                                        RECORD_PLACE};
    enum status status = STATUS_OK;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && status == STATUS_OK; i++) {
        const char *label = arguments_value(&draft->app->arguments, record_types[kinds[i]].name);
        if (label != NULL)
            status = draft_pick(draft, kinds[i], label);
    }
    return status;
}

static enum status read_label(struct draft *draft)
{
    const char *label = arguments_value(&draft->app->arguments, "label");
    const char *note = arguments_value(&draft->app->arguments, "note");
    int64_t id = 0;

    if (note != NULL)
        text_puts(&draft->note, note);
    if (label == NULL)
        return STATUS_OK;
    if (label[0] == '\0')
        return app_error(draft->app, STATUS_DATA, "--label", "a label is not empty");
    if (journal_has(draft->app->journal, RECORD_BATCH, label, &id))
        return app_error(draft->app, STATUS_DATA, "--label", "there is a batch %s already", label);
    draft->batch.label = label;
    return STATUS_OK;
}

enum status batch_options(struct draft *draft)
{
    enum { MOST_VESSELS = 10000 };
    struct app *app = draft->app;
    enum status status;

    draft->positions = arguments_value(&app->arguments, "position");
    if ((status = app_moment(app, "at", &draft->at)) != STATUS_OK ||
        (status = read_count(app, "count", MOST_VESSELS, &draft->vessels)) != STATUS_OK ||
        (status = read_count(app, "controls", MOST_VESSELS, &draft->controls)) != STATUS_OK ||
        (status = read_lists(draft)) != STATUS_OK || (status = read_figures(draft)) != STATUS_OK ||
        (status = read_dose(draft)) != STATUS_OK || (status = read_purpose(draft)) != STATUS_OK ||
        (status = read_label(draft)) != STATUS_OK || (status = read_records(draft)) != STATUS_OK)
        return status;
    return STATUS_OK;
}

/* ==== batch last ============================================================================== */

/*
 * What a batch takes over from the one before it, or from the one it is like: all
 * that was not told and still fits. It is said, so that nothing is taken over
 * unseen.
 */

struct before { /* the earlier batch, with what it refers to; ids are 0 for what it has not */
    struct batch batch;
    struct starter starter;
    struct lot lot;
    struct cook cook;
    struct session session;
    struct place place;
    struct vessel vessel; /* its first */
};

static enum status read_one(struct draft *draft, enum record record, int64_t id, void *row)
{
    record_init(record, row);
    return id == 0 ? STATUS_OK
                   : journal_get(draft->app->journal, record, id, draft->app->arena, row,
                                 draft->app->diags);
}

static enum status read_first_vessel(struct draft *draft, struct before *before)
{
    struct journal *journal = draft->app->journal;
    struct vessel vessel;
    int64_t id = 0;
    struct walk *walk =
        journal_walk(journal, RECORD_VESSEL, "batch", before->batch.id, draft->app->diags);
    while (id == 0 && walk != NULL && walk_next(walk, &vessel))
        id = vessel.control ? 0 : vessel.id;
    enum status status = walk_end(walk);
    return status == STATUS_OK ? read_one(draft, RECORD_VESSEL, id, &before->vessel) : status;
}

static enum status read_before(struct draft *draft, struct before *before)
{
    const struct batch *batch = &before->batch;
    enum status status;
    if ((status = read_first_vessel(draft, before)) != STATUS_OK ||
        (status = read_one(draft, RECORD_STARTER, batch->starter, &before->starter)) != STATUS_OK ||
        (status = read_one(draft, RECORD_LOT, batch->lot, &before->lot)) != STATUS_OK ||
        (status = read_one(draft, RECORD_COOK, batch->cook, &before->cook)) != STATUS_OK ||
        (status = read_one(draft, RECORD_SESSION, batch->session, &before->session)) != STATUS_OK)
        return status;
    return read_one(draft, RECORD_PLACE, before->vessel.place, &before->place);
}

static bool same(const char *a, const char *b)
{
    return strcmp(a, b) == 0;
}

/* ---- part by part ---------------------------------------------------------------------------- */

static void take_species(struct draft *draft, const struct before *before)
{
    /* A starter that was named knows what it is. */
    if (draft->batch.species[0] == '\0' && !draft->no_species &&
        draft->pick[RECORD_STARTER] == PICK_EXISTING)
        draft->batch.species = draft->starter.species;
    if (draft->batch.species[0] != '\0' || draft->no_species || before->batch.species[0] == '\0')
        return;
    draft->batch.species = before->batch.species;
    draft_add(&draft->taken, "%s", view_species_name(&draft->told, draft->batch.species));
}

static void take_vessel(struct draft *draft, const struct before *before)
{
    const struct rules *rules = draft->app->rules;
    int kind = rules_vessel(rules, before->vessel.kind);
    bool fits = kind != RULES_NONE &&
                (draft->shape == RULES_NONE || (int)rules->vessels[kind].shape == draft->shape);
    if (draft->measured.kind == RULES_NONE && fits) {
        draft->measured.kind = kind;
        draft_add(&draft->taken, "%s", view_vessel_name(&draft->told, before->vessel.kind));
    }
    if (draft->measured.kind == kind && isnan(draft->measured.grams))
        draft->measured.grams = before->vessel.grams;
}

static void take_lot(struct draft *draft, const struct before *before)
{
    bool fits = draft->lot.grain[0] == '\0' || same(draft->lot.grain, before->lot.grain);
    if (draft->pick[RECORD_LOT] != PICK_UNTOLD || draft->no_grain || before->lot.id == 0 || !fits)
        return;
    draft->lot = before->lot;
    draft->pick[RECORD_LOT] = PICK_EXISTING;
    draft_add(&draft->taken, "%s of lot %s", view_grain_name(&draft->told, before->lot.grain),
              before->lot.label);
}

static void take_starter(struct draft *draft, const struct before *before)
{
    bool fits = draft->starter.kind[0] == '\0' || same(draft->starter.kind, before->starter.kind);
    if (draft->pick[RECORD_STARTER] != PICK_UNTOLD || before->starter.id == 0 || !fits ||
        draft->no_species || !same(draft->batch.species, before->batch.species))
        return;
    draft->starter = before->starter;
    draft->pick[RECORD_STARTER] = PICK_EXISTING;
    draft_add(&draft->taken, "starter %s", before->starter.label);
}

static void take_number(double *number, double before, bool *any)
{
    if (!isnan(*number) || isnan(before))
        return;
    *number = before;
    *any = true;
}

/* The figures, for a run of its own: which cook it was is not taken over. */
static void take_cook(struct draft *draft, const struct before *before)
{
    struct cook *cook = &draft->cook;
    bool any = false;
    if (before->cook.id == 0 ||
        (draft->pick[RECORD_COOK] != PICK_UNTOLD && draft->pick[RECORD_COOK] != PICK_NEW))
        return;
    if (cook->method[0] == '\0' && isnan(cook->gauge))
        cook->method = before->cook.method;
    if (same(cook->method, before->cook.method)) {
        take_number(&cook->gauge, before->cook.gauge, &any);
        take_number(&cook->minutes, before->cook.minutes, &any);
    }
    take_number(&cook->altitude, before->cook.altitude, &any);
    if (cook->load[0] == '\0')
        cook->load = before->cook.load;
    if (cook->cooker[0] == '\0')
        cook->cooker = before->cook.cooker;
    const char *words = view_cook_words(&draft->told, cook);
    if (any && words[0] != '\0')
        draft_add(&draft->taken, "%s as in cook %s", words, before->cook.label);
}

static void take_recipe(struct draft *draft, const struct before *before)
{
    struct batch *batch = &draft->batch;
    bool same_kind = draft->measured.kind == rules_vessel(draft->app->rules, before->vessel.kind);
    bool same_grain = same(draft->lot.grain, before->lot.grain), mix = false, dose = false;

    if (same_grain && same_kind) {
        take_number(&batch->dry, before->batch.dry, &mix);
        take_number(&batch->water, before->batch.water, &mix);
    }
    if (same_grain)
        take_number(&batch->soak, before->batch.soak, &mix);
    if (same_kind && draft->starter.id == before->starter.id && draft->starter.id != 0 &&
        isnan(batch->dose)) {
        take_number(&batch->dose, before->batch.dose, &dose);
        batch->unit = dose ? before->batch.unit : batch->unit;
    }
    if (batch->purpose[0] == '\0')
        batch->purpose = before->batch.purpose;
    if (mix)
        draft_add(&draft->taken, "the mix");
    if (dose)
        draft_add(&draft->taken, "%g %s of starter", batch->dose,
                  batch->unit[0] != '\0' ? batch->unit : "pieces");
}

static void take_place(struct draft *draft, const struct before *before)
{
    if (draft->pick[RECORD_PLACE] != PICK_UNTOLD || before->place.id == 0 ||
        !isnan(draft->place.celsius))
        return;
    draft->place = before->place;
    draft->pick[RECORD_PLACE] = PICK_EXISTING;
    draft_add(&draft->taken, "place %s", before->place.label);
}

/* Two batches of one day were inoculated in one sitting, unless it is said otherwise. */
static void take_session(struct draft *draft, const struct before *before)
{
    if (draft->pick[RECORD_SESSION] != PICK_UNTOLD || before->session.id == 0 ||
        !moment_known(before->session.at) ||
        moment_day(before->session.at) != moment_day(draft->at))
        return;
    draft->session = before->session;
    draft->pick[RECORD_SESSION] = PICK_EXISTING;
    draft_add(&draft->taken, "session %s, of the same day", before->session.label);
}

/* ---- which ----------------------------------------------------------------------------------- */

enum status batch_find_last(struct draft *draft)
{
    struct app *app = draft->app;
    const char *like = arguments_value(&app->arguments, "like");
    struct survey survey = survey_all(RECORD_BATCH, 1);
    struct page page;

    if (like != NULL) {
        draft->has_last = true;
        return labels_find(app, RECORD_BATCH, like, &draft->last);
    }
    enum status status = survey_page(app->journal, &survey, app->arena, &page, app->diags);
    if (status == STATUS_OK && page.count > 0) {
        draft->has_last = true;
        status = journal_get(app->journal, RECORD_BATCH, page.ids[0], app->arena, &draft->last,
                             app->diags);
    }
    return status;
}

enum status batch_last(struct draft *draft)
{
    struct before before = {.batch = draft->last};
    if (!draft->has_last) {
        record_init(RECORD_BATCH, &before.batch);
        record_init(RECORD_VESSEL, &before.vessel);
        take_species(draft, &before); /* from the starter that was named */
        return STATUS_OK;
    }
    enum status status = read_before(draft, &before);
    if (status != STATUS_OK)
        return status;
    take_species(draft, &before);
    take_vessel(draft, &before);
    take_lot(draft, &before);
    take_starter(draft, &before);
    take_cook(draft, &before);
    take_recipe(draft, &before);
    take_place(draft, &before);
    take_session(draft, &before);
    return STATUS_OK;
}

/* ==== batch save ============================================================================== */

/* Settling what was not told, and writing it all down at once. */

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
                  view_vessel_name(&draft->told, rules->vessels[best].id));
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

static enum status unknown_position(struct draft *draft, const char *word, size_t length)
{
    int feeder = draft->app->rules->feeder[FEEDS_POSITION];
    struct text known;
    text_init(&known);
    if (feeder != RULES_NONE)
        for (size_t i = 0; i < draft->app->rules->observables[feeder].value_count; i++)
            text_printf(&known, "%s%s", i > 0 ? ", " : "",
                        draft->app->rules->observables[feeder].values[i].id);
    enum status status = app_usage(draft->app, "no position '%.*s' in the cooker; there are: %s",
                                   (int)length, word, known.bytes);
    text_release(&known);
    return status;
}

/* "upper" for all, or "upper:4,lower:4" in the order of the numbers. */
static enum status place_in_cooker(struct draft *draft, struct vessel *vessels, size_t count)
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
    return STATUS_OK;
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
            status = vessel_forecast_of(journal, draft->app->rules, &draft->batch, vessel,
                                        &saved->course, draft->app->diags);
        saved->first_look = vessel_forecast_first_day(&saved->course, &draft->batch);
        if (status == STATUS_OK)
            status = journal_set_due(journal, vessel->id, saved->first_look, FIRST_LOOK,
                                     draft->app->diags);
    }
    return status;
}

static enum status prepare_vessels(struct draft *draft, struct batch_saved *saved)
{
    const struct rules *rules = draft->app->rules;
    saved->count = draft->vessels + draft->controls;
    saved->vessels = arena_array(draft->app->arena, saved->count, sizeof *saved->vessels);
    if (saved->vessels == NULL)
        return STATUS_MEMORY;
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

enum status batch_save(struct draft *draft, struct batch_saved *saved)
{
    struct journal *journal = draft->app->journal;
    enum status fault = prepare_vessels(draft, saved);
    if (fault != STATUS_OK)
        return fault;
    enum status status = journal_begin(journal, draft->app->diags);
    if (status != STATUS_OK)
        return status;
    status = add_records(draft);
    if (status == STATUS_OK)
        status = add_vessels(draft, saved);
    if (status == STATUS_OK)
        status = journal_commit(journal, draft->app->diags);
    else
        journal_rollback(journal);
    return status;
}

/* ==== batch =================================================================================== */

static const struct option options[] = {
    {"count", "N", "how many vessels; or the first of the words", .kind = OPTION_TEXT},
    {"vessel", "VESSEL", "what they are: an id, bag:1.36kg, jar:1quart", .kind = OPTION_TEXT},
    {"mass", "WEIGHT", "hydrated grain in one vessel", .kind = OPTION_TEXT},
    {"grain", "GRAIN", "an id, or unknown", .kind = OPTION_TEXT},
    {"species", "SPECIES", "an id, or unknown", .kind = OPTION_TEXT},
    {"starter", "LABEL", "what they were inoculated from; a label not yet known is a new one",
     .kind = OPTION_TEXT},
    {"cook", "LABEL", "the cook they came from; of one that is there they share it",
     .kind = OPTION_TEXT},
    {"session", "LABEL", "the sitting in which they were inoculated", .kind = OPTION_TEXT},
    {"lot", "LABEL", "the sack of grain", .kind = OPTION_TEXT},
    {"place", "LABEL", "where they stand", .kind = OPTION_TEXT},
    {"position", "WHERE", "in the cooker, for all or in order: upper:4,lower:4",
     .kind = OPTION_TEXT},
    {"controls", "N", "so many more, cooked with them and never inoculated", .kind = OPTION_TEXT},
    {"gauge", "PRESSURE", "of a new cook: 15psi, 1bar", .kind = OPTION_TEXT},
    {"minutes", "TIME", "of a new cook, at pressure: 90, 2h30", .kind = OPTION_TEXT},
    {"altitude", "HEIGHT", "of a new cook: 1500m, 5000ft", .kind = OPTION_TEXT},
    {"dry", "WEIGHT", "dry grain in one vessel", .kind = OPTION_TEXT},
    {"water", "WEIGHT", "water added to it", .kind = OPTION_TEXT},
    {"soak", "TIME", "how long the grain was soaked: 18h", .kind = OPTION_TEXT},
    {"dose", "AMOUNT", "of starter in one vessel: 4ml, 80g; a bare number of pieces",
     .kind = OPTION_TEXT},
    {"use", "USE", "what they are for: expand, bulk ...", .kind = OPTION_TEXT},
    {"like", "BATCH", "take over from this batch, not from the last", .kind = OPTION_TEXT},
    {"label", "LABEL", "of the batch; else the next number", .kind = OPTION_TEXT},
    {"at", "MOMENT", "of inoculation: 2026-03-01, yesterday; else now", .kind = OPTION_TEXT},
    {"note", "WORDS", "anything to remember", .kind = OPTION_TEXT},
    {"no-input", NULL, "never ask; fail and name the option that would have answered",
     .kind = OPTION_FLAG},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

static const enum record kinds[] = {RECORD_STARTER, RECORD_COOK, RECORD_SESSION, RECORD_LOT,
                                    RECORD_PLACE};
enum { KINDS = sizeof kinds / sizeof *kinds };

/* ---- saying it ------------------------------------------------------------------------------- */

static void say_vessels(const struct draft *draft, const struct batch_saved *saved)
{
    struct screen *out = &draft->app->out;
    struct text labels;
    char date[MOMENT_ROOM];

    screen_say(out, 0, 2, ROLE_STRONG, "%s: %zu x %s, %s, inoculated %s.", draft->batch.label,
               draft->vessels, view_vessel_name(&draft->told, saved->vessels[0].kind),
               view_batch_words(&draft->told, &draft->batch), moment_write_day(draft->at, date));
    text_init(&labels);
    view_vessels(&labels, saved->vessels, draft->vessels);
    if (draft->controls > 0) {
        text_puts(&labels, "; controls, never inoculated: ");
        view_vessels(&labels, saved->vessels + draft->vessels, draft->controls);
    }
    screen_say(out, 0, 2, ROLE_PLAIN, "Label them %s.", labels.bytes);
    text_release(&labels);
}

/* "New: starter S1, cook C1. Shared: session N2." */
static void say_records(const struct draft *draft, enum pick pick, const char *lead)
{
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < KINDS; i++) {
        const union any_record *row = draft_row((struct draft *)draft, kinds[i]);
        if (draft->pick[kinds[i]] == pick && row->named.label[0] != '\0')
            text_printf(&text, "%s%s %s", text.length > 0 ? ", " : "", record_types[kinds[i]].name,
                        row->named.label);
    }
    if (text.length > 0)
        screen_say(&draft->app->out, 0, 2, ROLE_PLAIN, "%s: %s.", lead, text.bytes);
    text_release(&text);
}

static void say_dates(const struct draft *draft, const struct batch_saved *saved)
{
    struct screen *out = &draft->app->out;
    const struct vessel_forecast *course = &saved->course;
    int64_t day = moment_day(draft->at);
    char from[MOMENT_ROOM], to[MOMENT_ROOM];

    if (course->known && isfinite(course->full.low) && isfinite(course->full.high))
        screen_say(out, 0, 2, ROLE_PLAIN, "White through between %s and %s, as the forecast goes.",
                   view_day(day + (int64_t)floor(course->full.low), from),
                   view_day(day + (int64_t)ceil(course->full.high), to));
    screen_say(out, 0, 2, ROLE_PLAIN, "First look: %s. Then: jarside look %s",
               view_day(saved->first_look, from), draft->batch.label);
}

static void tell(const struct draft *draft, const struct batch_saved *saved)
{
    struct screen *out = &draft->app->out;
    say_vessels(draft, saved);
    say_records(draft, PICK_NEW, "New");
    say_records(draft, PICK_EXISTING, "Known already");
    if (draft->taken.length > 0 && draft->has_last)
        screen_say(out, 0, 2, ROLE_QUIET, "Taken over from %s: %s.", draft->last.label,
                   draft->taken.bytes);
    if (draft->first.length > 0)
        screen_say(out, 0, 2, ROLE_QUIET, "%s.", draft->first.bytes);
    if (draft->note.length > 0)
        screen_say(out, 0, 2, ROLE_QUIET, "Kept as a note: %s.", draft->note.bytes);
    say_dates(draft, saved);
}

/* ---- JSON ------------------------------------------------------------------------------------ */

static json_t *records_json(const struct draft *draft, bool only_new)
{
    json_t *object = json_object();
    for (size_t i = 0; i < KINDS; i++) {
        const union any_record *row = draft_row((struct draft *)draft, kinds[i]);
        if (!only_new || draft->pick[kinds[i]] == PICK_NEW)
            object = view_json_put(object, record_types[kinds[i]].name,
                                   view_json_text(row->named.label));
    }
    return object;
}

static json_t *batch_json(const struct draft *draft, const struct batch_saved *saved)
{
    const struct vessel_forecast *course = &saved->course;
    int64_t day = moment_day(draft->at);
    bool dated = course->known && isfinite(course->full.high);
    return json_pack("{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}",
                     "schema", 1, "batch", view_json_text(draft->batch.label), "at",
                     view_json_moment(draft->at), "species", view_json_text(draft->batch.species),
                     "grain", view_json_text(draft->lot.grain), "kind",
                     view_json_text(saved->vessels[0].kind), "vessels",
                     view_json_vessels(saved->vessels, draft->vessels), "controls",
                     view_json_vessels(saved->vessels + draft->vessels, draft->controls), "records",
                     records_json(draft, false), "new", records_json(draft, true), "taken_over",
                     view_json_parts(draft->taken.bytes), "note", view_json_text(draft->batch.note),
                     "first_look", view_json_day(saved->first_look), "full_from",
                     view_json_day(dated ? day + (int64_t)floor(course->full.low) : 0), "full_to",
                     view_json_day(dated ? day + (int64_t)ceil(course->full.high) : 0));
}

/* ---- the command ----------------------------------------------------------------------------- */

/* Starter and batch must be the same mushroom, or one of the two is a slip. */
static enum status check_species(const struct draft *draft)
{
    const char *of_starter = draft->starter.species, *of_batch = draft->batch.species;
    if (draft->pick[RECORD_STARTER] != PICK_EXISTING || of_starter[0] == '\0' ||
        of_batch[0] == '\0' || strcmp(of_starter, of_batch) == 0)
        return STATUS_OK;
    return app_usage(draft->app, "starter %s is %s, and the batch %s; one of the two is a slip",
                     draft->starter.label, view_species_name(&draft->told, of_starter),
                     view_species_name(&draft->told, of_batch));
}

static enum status fill(struct draft *draft)
{
    struct app *app = draft->app;
    bool guided = app->arguments.operand_count == 0 &&
                  arguments_value(&app->arguments, "count") == NULL &&
                  arguments_value(&app->arguments, "like") == NULL;
    enum status status;

    if ((status = batch_options(draft)) != STATUS_OK ||
        (status = batch_words(draft, app->arguments.operands, app->arguments.operand_count)) !=
            STATUS_OK ||
        (status = batch_find_last(draft)) != STATUS_OK)
        return status;
    if (guided && (status = batch_ask(draft, true)) != STATUS_OK)
        return status;
    if ((status = batch_last(draft)) != STATUS_OK)
        return status;
    batch_shape(draft);
    if ((status = batch_ask(draft, false)) != STATUS_OK)
        return status;
    batch_settle(draft);
    return check_species(draft);
}

static enum status start(struct draft *draft)
{
    struct batch_saved saved = {NULL, 0, {0}, 0};
    enum status status = fill(draft);
    if (status == STATUS_OK)
        status = batch_save(draft, &saved);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&draft->app->arguments, "json"))
        return app_json(draft->app, batch_json(draft, &saved), false);
    tell(draft, &saved);
    return app_flush(draft->app);
}

static void draft_init(struct draft *draft, struct app *app)
{
    *draft = (struct draft){.app = app, .told = app_told(app), .shape = RULES_NONE};
    known_vessel_init(&draft->measured);
    for (size_t i = 0; i < KINDS; i++)
        record_init(kinds[i], draft_row(draft, kinds[i]));
    record_init(RECORD_BATCH, &draft->batch);
    record_init(RECORD_BATCH, &draft->last);
    text_init(&draft->note);
    text_init(&draft->taken);
    text_init(&draft->first);
}

static enum status run_batch(struct app *app)
{
    struct draft draft;
    enum status status = app_open(app, JOURNAL_CREATE);
    if (status != STATUS_OK)
        return status;
    draft_init(&draft, app);
    status = start(&draft);
    text_release(&draft.note);
    text_release(&draft.taken);
    text_release(&draft.first);
    return status;
}

const struct command command_batch = {
    .name = "batch",
    .summary = "starts a batch: so many vessels of a grain, a cook, a starter; labelled",
    .operands = "[WORDS...]",
    .detail =
        "The number comes first: jarside batch 8 quart jars rye oyster, 15 psi 90 min. What is not "
        "said is taken over from the last batch where it still fits, and that is told. Labels of "
        "the journal (a starter S1, a cook C4, a place) may stand among the words. Without words "
        "it "
        "asks.",
    .options = options,
    .run = run_batch,
};
