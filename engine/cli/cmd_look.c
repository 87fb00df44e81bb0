/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Recording a look: what was seen, what it comes to, when to look again. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "cli/commands.h"
#include "cli/labels.h"
#include "cli/look_internal.h"
#include "prompt/prompt.h"
#include "voice/journal.h"

static const struct option options[] = {
    {"at", "MOMENT", "when it was: 2026-03-01 18:30, yesterday, '3 days ago'; else now"},
    {"corrects", "LOOK", "the number of an earlier look that this one takes the place of"},
    {"no-input", NULL, "never ask; fail and say what is missing"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

/* ---- parts that others use ------------------------------------------------------------------- */

/* Warnings of what is on record and not understood are worth seeing, and stop nothing. */
static void show_warnings(struct app *app)
{
    if (diags_kept(app->diags) == 0)
        return;
    screen_diags(&app->err, app->diags);
    (void)screen_flush(&app->err, stderr);
    diags_clear(app->diags);
}

enum exit_status look_open(const struct looking *looking, const char *label,
                           struct consultation *consultation)
{
    struct app *app = looking->app;
    int64_t id = 0;
    struct consult_request request = {.label = label,
                                      .now = looking->at,
                                      .without_siblings = looking->without_siblings,
                                      .others = looking->others,
                                      .corrects = looking->corrects};
    (void)labels_has(app, RECORD_VESSEL, label, app->arena, &id, &request.label);
    if (id == 0)
        request.label = label; /* named in the message as it was typed */
    enum status status =
        consult_vessel(app->journal, &request, app->triage, app->arena, consultation, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    show_warnings(app);
    return EXIT_FINE;
}

enum exit_status look_tell(const struct looking *looking, const char *words)
{
    struct app *app = looking->app;
    enum status status = triage_tell(app->triage, words, strlen(words), app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

bool look_says_something(const struct triage *triage)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    for (size_t i = 0; i < count; i++)
        if (facts[i].origin != ORIGIN_JOURNAL && facts[i].origin != ORIGIN_COMPUTED)
            return true;
    return false;
}

const char *look_said(const struct looking *looking)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(looking->app->triage, &facts);
    const char *words = "";
    for (size_t i = 0; words != NULL && i < count; i++)
        if (facts[i].origin != ORIGIN_JOURNAL && facts[i].origin != ORIGIN_COMPUTED &&
            facts[i].words[0] != '\0')
            words = arena_format(looking->app->arena, "%s%s%s", words, words[0] != '\0' ? "; " : "",
                                 facts[i].words);
    return words;
}

/* "B3-7, day 12, oyster on rye": the vessel, for headings. In the arena. */
static const char *heading(const struct looking *looking, const struct consultation *consultation)
{
    struct app *app = looking->app;
    const struct journal_told told = {app->journal, app->rules, app->arena, app->diags,
                                      looking->at};
    const char *isolated = consultation->vessel.state == VESSEL_ISOLATED ? ", isolated" : "";
    const char *control = consultation->vessel.control ? ", never inoculated" : "";
    const char *batch = voice_batch_words(&told, &consultation->batch);
    return isnan(consultation->day)
               ? arena_format(app->arena, "%s, %s%s%s", consultation->vessel.label, batch, control,
                              isolated)
               : arena_format(app->arena, "%s, day %.0f, %s%s%s", consultation->vessel.label,
                              consultation->day, batch, control, isolated);
}

void look_say_saved(const struct looking *looking, const struct consultation *consultation,
                    const struct look *look)
{
    char day[CONSULT_DAY_ROOM];
    screen_say(&looking->app->out, 0, 2, ROLE_PLAIN, "Saved: look %lld on %s; next look %s (%s).",
               (long long)look->id, consultation->vessel.label,
               consult_day(moment_of_day(consultation->vessel.due), looking->at, day),
               consultation->vessel.due_for);
}

json_t *look_json(const struct looking *looking, const struct consultation *consultation,
                  const struct look *look, const struct verdict *verdict)
{
    const struct told told = {looking->app->rules, looking->app->triage, verdict};
    json_t *json = voice_verdict_json(&told);
    json_t *saved = json_pack("{s:I, s:s, s:o, s:o, s:s}", "look", (json_int_t)look->id, "vessel",
                              consultation->vessel.label, "at", voice_json_moment(look->at),
                              "next_look", voice_json_day(consultation->vessel.due),
                              "next_look_for", consultation->vessel.due_for);
    bool ok = json != NULL && saved != NULL && json_object_update(json, saved) == 0;
    json_decref(saved);
    if (ok)
        return json;
    json_decref(json);
    return NULL;
}

/* What stands on record of earlier looks, in a line. */
static const char *record_line(const struct looking *looking,
                               const struct consultation *consultation)
{
    char day[CONSULT_DAY_ROOM];
    if (consultation->look_count == 0)
        return "no look is on record yet";
    const struct look *last = &consultation->looks[consultation->look_count - 1];
    return arena_format(looking->app->arena, "last look %s: %s",
                        consult_day(last->at, looking->at, day), last->action);
}

enum exit_status look_converse(const struct looking *looking,
                               const struct consultation *consultation, bool *finished)
{
    struct app *app = looking->app;
    const char *about =
        arena_format(app->arena, "%s; %s. 'leave' saves the look, ^D saves nothing.",
                     heading(looking, consultation), record_line(looking, consultation));
    const struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .about = about,
        .finished = finished,
    };
    *finished = false;
    enum status status = prompt_converse(&opening, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

/* ---- one vessel ------------------------------------------------------------------------------ */

static enum exit_status save(const struct looking *looking, struct consultation *consultation,
                             const char *words)
{
    struct app *app = looking->app;
    struct look look;
    const struct verdict *verdict = NULL;
    enum status status = consult_save(app->journal, consultation, app->triage, words, app->arena,
                                      &look, &verdict, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, look_json(looking, consultation, &look, verdict), false);
    if (looking->words[0] != '\0') { /* a conversation has shown it already */
        const struct told told = {app->rules, app->triage, verdict};
        screen_say(&app->out, 0, 2, ROLE_STRONG, "%s", heading(looking, consultation));
        voice_findings(&app->out, &told, 2);
        voice_siblings_briefly(&app->out, &told);
        voice_verdict_action(&app->out, &told);
    }
    look_say_saved(looking, consultation, &look);
    return app_flush(app);
}

static enum exit_status not_saved(const struct looking *looking)
{
    screen_say(&looking->app->out, 0, 2, ROLE_PLAIN, "Nothing was saved.");
    return app_flush(looking->app);
}

static enum exit_status talk_over(struct looking *looking, struct consultation *consultation)
{
    struct app *app = looking->app;
    bool finished = false;
    if (arguments_flag(&app->arguments, "no-input") || !isatty(STDIN_FILENO) ||
        !isatty(STDOUT_FILENO))
        return app_usage(app,
                         "what was seen is missing; for instance: "
                         "jarside look %s \"40 percent, thick white, nothing odd\"",
                         consultation->vessel.label);
    size_t opened = triage_mark(app->triage);
    enum exit_status fault = look_converse(looking, consultation, &finished);
    if (fault != EXIT_FINE)
        return fault;
    if (!finished || triage_mark(app->triage) == opened)
        return not_saved(looking);
    const char *words = look_said(looking);
    return words != NULL ? save(looking, consultation, words) : app_fail(app, STATUS_MEMORY);
}

static enum exit_status nothing_understood(const struct looking *looking)
{
    struct app *app = looking->app;
    const struct verdict *verdict = triage_judge(app->triage);
    if (verdict != NULL) {
        const struct told told = {app->rules, app->triage, verdict};
        voice_unclear(&app->err, &told);
        (void)screen_flush(&app->err, stderr);
    }
    return app_usage(app,
                     "'%s' says nothing about the vessel, so nothing was saved; for instance: "
                     "\"40 percent, thick white, nothing odd\"",
                     looking->words);
}

static enum exit_status look_at_vessel(struct looking *looking, const char *label)
{
    struct app *app = looking->app;
    struct consultation consultation;
    enum exit_status fault = look_open(looking, label, &consultation);
    if (fault != EXIT_FINE)
        return fault;
    if (looking->words[strspn(looking->words, " \t\r\n")] == '\0')
        return talk_over(looking, &consultation);
    fault = look_tell(looking, looking->words);
    if (fault != EXIT_FINE)
        return fault;
    if (!look_says_something(app->triage))
        return nothing_understood(looking);
    return save(looking, &consultation, looking->words);
}

/* ---- the command ----------------------------------------------------------------------------- */

static enum exit_status read_corrects(struct looking *looking)
{
    const char *said = arguments_value(&looking->app->arguments, "corrects");
    char *end = NULL;
    if (said == NULL)
        return EXIT_FINE;
    errno = 0;
    long long id = strtoll(said, &end, 10);
    if (end == said || *end != '\0' || errno != 0 || id <= 0)
        return app_usage(looking->app, "'--corrects %s' is not the number of a look", said);
    looking->corrects = id;
    return EXIT_FINE;
}

static enum exit_status look(struct looking *looking)
{
    struct app *app = looking->app;
    const char *label = app->arguments.operands[0], *found = label;
    int64_t id = 0;
    struct batch batch;
    enum exit_status fault = app_moment(app, "at", &looking->at);
    if (fault == EXIT_FINE)
        fault = read_corrects(looking);
    if (fault != EXIT_FINE)
        return fault;
    looking->words =
        arena_join(app->arena, app->arguments.operands + 1, app->arguments.operand_count - 1);
    if (looking->words == NULL)
        return app_fail(app, STATUS_MEMORY);
    if (labels_has(app, RECORD_VESSEL, label, app->arena, &id, &found) ||
        !labels_has(app, RECORD_BATCH, label, app->arena, &id, &found))
        return look_at_vessel(looking, label);
    fault = labels_find(app, RECORD_BATCH, found, app->arena, &batch);
    return fault == EXIT_FINE ? look_at_batch(looking, &batch) : fault;
}

static enum exit_status run_look(struct app *app)
{
    struct looking looking = {.app = app};
    if (app->arguments.operand_count == 0)
        return app_usage(app, "which vessel? For instance: jarside look B3-7 \"green patch\"");
    enum exit_status fault = app_open(app, JOURNAL_WRITE);
    if (fault != EXIT_FINE)
        return fault;
    return look(&looking);
}

const struct command command_look = {
    .name = "look",
    .summary = "judges what you see at a vessel of the journal, and records it",
    .operands = "VESSEL|BATCH [TEXT...]",
    .detail =
        "TEXT is what you see, in your own words; without it you are asked. Of a whole batch: "
        "jarside look B3 \"all fine except 3 and 7: green patch\"",
    .options = options,
    .run = run_look,
};
