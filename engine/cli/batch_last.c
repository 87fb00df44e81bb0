/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a batch takes over from the one before it, or from the one it is like: all
 * that was not told and still fits. It is said, so that nothing is taken over
 * unseen.
 */
#include <math.h>
#include <string.h>

#include "cli/batch_internal.h"

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
    draft_add(&draft->taken, "%s", voice_species_name(&draft->told, draft->batch.species));
}

static void take_vessel(struct draft *draft, const struct before *before)
{
    const struct rules *rules = draft->app->rules;
    int kind = rules_vessel(rules, before->vessel.kind);
    bool fits = kind != RULES_NONE &&
                (draft->shape == RULES_NONE || (int)rules->vessels[kind].shape == draft->shape);
    if (draft->measured.kind == RULES_NONE && fits) {
        draft->measured.kind = kind;
        draft_add(&draft->taken, "%s", voice_vessel_name(&draft->told, before->vessel.kind));
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
    draft_add(&draft->taken, "%s of lot %s", voice_grain_name(&draft->told, before->lot.grain),
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
    const char *words = voice_cook_words(&draft->told, cook);
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

enum exit_status batch_find_last(struct draft *draft)
{
    struct app *app = draft->app;
    const char *like = arguments_value(&app->arguments, "like");
    struct survey survey = survey_all(RECORD_BATCH, 1);
    struct page page;

    if (like != NULL) {
        draft->has_last = true;
        return labels_find(app, RECORD_BATCH, like, app->arena, &draft->last);
    }
    enum status status = survey_page(app->journal, &survey, app->arena, &page, app->diags);
    if (status == STATUS_OK && page.count > 0) {
        draft->has_last = true;
        status = journal_get(app->journal, RECORD_BATCH, page.ids[0], app->arena, &draft->last,
                             app->diags);
    }
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

enum exit_status batch_last(struct draft *draft)
{
    struct before before = {.batch = draft->last};
    if (!draft->has_last) {
        record_init(RECORD_BATCH, &before.batch);
        record_init(RECORD_VESSEL, &before.vessel);
        take_species(draft, &before); /* from the starter that was named */
        return EXIT_FINE;
    }
    enum status status = read_before(draft, &before);
    if (status != STATUS_OK)
        return app_fail(draft->app, status);
    take_species(draft, &before);
    take_vessel(draft, &before);
    take_lot(draft, &before);
    take_starter(draft, &before);
    take_cook(draft, &before);
    take_recipe(draft, &before);
    take_place(draft, &before);
    take_session(draft, &before);
    return EXIT_FINE;
}
