/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/batch_internal.h"
#include "cli/commands.h"
#include "voice/whole_json.h"

static const struct option options[] = {
    {"count", "N", "how many vessels; or the first of the words"},
    {"vessel", "VESSEL", "what they are: an id, bag:1.36kg, jar:1quart"},
    {"mass", "WEIGHT", "hydrated grain in one vessel"},
    {"grain", "GRAIN", "an id, or unknown"},
    {"species", "SPECIES", "an id, or unknown"},
    {"starter", "LABEL", "what they were inoculated from; a label not yet known is a new one"},
    {"cook", "LABEL", "the cook they came from; of one that is there they share it"},
    {"session", "LABEL", "the sitting in which they were inoculated"},
    {"lot", "LABEL", "the sack of grain"},
    {"place", "LABEL", "where they stand"},
    {"position", "WHERE", "in the cooker, for all or in order: upper:4,lower:4"},
    {"controls", "N", "so many more, cooked with them and never inoculated"},
    {"gauge", "PRESSURE", "of a new cook: 15psi, 1bar"},
    {"minutes", "TIME", "of a new cook, at pressure: 90, 2h30"},
    {"altitude", "HEIGHT", "of a new cook: 1500m, 5000ft"},
    {"dry", "WEIGHT", "dry grain in one vessel"},
    {"water", "WEIGHT", "water added to it"},
    {"soak", "TIME", "how long the grain was soaked: 18h"},
    {"dose", "AMOUNT", "of starter in one vessel: 4ml, 80g; a bare number of pieces"},
    {"use", "USE", "what they are for: expand, bulk ..."},
    {"like", "BATCH", "take over from this batch, not from the last"},
    {"label", "LABEL", "of the batch; else the next number"},
    {"at", "MOMENT", "of inoculation: 2026-03-01, yesterday; else now"},
    {"note", "WORDS", "anything to remember"},
    {"no-input", NULL, "never ask; fail and name the option that would have answered"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
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
               draft->vessels, voice_vessel_name(&draft->told, saved->vessels[0].kind),
               voice_batch_words(&draft->told, &draft->batch), moment_write_day(draft->at, date));
    text_init(&labels);
    voice_vessels(&labels, saved->vessels, draft->vessels);
    if (draft->controls > 0) {
        text_puts(&labels, "; controls, never inoculated: ");
        voice_vessels(&labels, saved->vessels + draft->vessels, draft->controls);
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
    const struct course *course = &saved->course;
    int64_t day = moment_day(draft->at);
    char from[MOMENT_ROOM], to[MOMENT_ROOM];

    if (course->known && isfinite(course->full.low) && isfinite(course->full.high))
        screen_say(out, 0, 2, ROLE_PLAIN, "White through between %s and %s, as the forecast goes.",
                   voice_day(day + (int64_t)floor(course->full.low), from),
                   voice_day(day + (int64_t)ceil(course->full.high), to));
    screen_say(out, 0, 2, ROLE_PLAIN, "First look: %s. Then: jarside look %s",
               voice_day(saved->first_look, from), draft->batch.label);
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
            object = voice_json_put(object, record_types[kinds[i]].name,
                                    voice_json_text(row->named.label));
    }
    return object;
}

static json_t *batch_json(const struct draft *draft, const struct batch_saved *saved)
{
    const struct course *course = &saved->course;
    int64_t day = moment_day(draft->at);
    bool dated = course->known && isfinite(course->full.high);
    return json_pack(
        "{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "schema", 1,
        "batch", voice_json_text(draft->batch.label), "at", voice_json_moment(draft->at), "species",
        voice_json_text(draft->batch.species), "grain", voice_json_text(draft->lot.grain), "kind",
        voice_json_text(saved->vessels[0].kind), "vessels",
        voice_json_vessels(saved->vessels, draft->vessels), "controls",
        voice_json_vessels(saved->vessels + draft->vessels, draft->controls), "records",
        records_json(draft, false), "new", records_json(draft, true), "taken_over",
        voice_json_parts(draft->taken.bytes), "note", voice_json_text(draft->batch.note),
        "first_look", voice_json_day(saved->first_look), "full_from",
        voice_json_day(dated ? day + (int64_t)floor(course->full.low) : 0), "full_to",
        voice_json_day(dated ? day + (int64_t)ceil(course->full.high) : 0));
}

/* ---- the command ----------------------------------------------------------------------------- */

/* Starter and batch must be the same mushroom, or one of the two is a slip. */
static enum exit_status check_species(const struct draft *draft)
{
    const char *of_starter = draft->starter.species, *of_batch = draft->batch.species;
    if (draft->pick[RECORD_STARTER] != PICK_EXISTING || of_starter[0] == '\0' ||
        of_batch[0] == '\0' || strcmp(of_starter, of_batch) == 0)
        return EXIT_FINE;
    return app_usage(draft->app, "starter %s is %s, and the batch %s; one of the two is a slip",
                     draft->starter.label, voice_species_name(&draft->told, of_starter),
                     voice_species_name(&draft->told, of_batch));
}

static enum exit_status fill(struct draft *draft)
{
    struct app *app = draft->app;
    bool guided = app->arguments.operand_count == 0 &&
                  arguments_value(&app->arguments, "count") == NULL &&
                  arguments_value(&app->arguments, "like") == NULL;
    enum exit_status fault;

    if ((fault = batch_options(draft)) != EXIT_FINE ||
        (fault = batch_words(draft, app->arguments.operands, app->arguments.operand_count)) !=
            EXIT_FINE ||
        (fault = batch_find_last(draft)) != EXIT_FINE)
        return fault;
    if (guided && (fault = batch_ask(draft, true)) != EXIT_FINE)
        return fault;
    if ((fault = batch_last(draft)) != EXIT_FINE)
        return fault;
    batch_shape(draft);
    if ((fault = batch_ask(draft, false)) != EXIT_FINE)
        return fault;
    batch_settle(draft);
    return check_species(draft);
}

static enum exit_status start(struct draft *draft)
{
    struct batch_saved saved = {NULL, 0, {0}, 0};
    enum exit_status fault = fill(draft);
    if (fault == EXIT_FINE)
        fault = batch_save(draft, &saved);
    if (fault != EXIT_FINE)
        return fault;
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

static enum exit_status run_batch(struct app *app)
{
    struct draft draft;
    enum exit_status fault = app_open(app, JOURNAL_CREATE);
    if (fault != EXIT_FINE)
        return fault;
    draft_init(&draft, app);
    fault = start(&draft);
    text_release(&draft.note);
    text_release(&draft.taken);
    text_release(&draft.first);
    return fault;
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
