/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Slips: a column of a record, or a further look, deed or outcome that takes the place of one. */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/assign.h"
#include "cli/commands.h"
#include "cli/labels.h"
#include "journal/consult.h"
#include "voice/journal.h"
#include "voice/verdict.h"

static const struct option options[] = {
    {"at", "MOMENT", "when it is corrected, if not now"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

struct correcting {
    struct app *app;
    struct journal_told told;
    struct moment at;
    const char *const *words; /* of the command, less those that were read */
    size_t count;
};

/* ---- records with a label -------------------------------------------------------------------- */

static const char *facts_of(enum record record, const union any_record *row)
{
    return record == RECORD_BATCH     ? row->batch.facts
           : record == RECORD_COOK    ? row->cook.facts
           : record == RECORD_SESSION ? row->session.facts
                                      : "";
}

static enum exit_status correct_columns(struct correcting *correcting, enum record record,
                                        const char *label)
{
    struct app *app = correcting->app;
    struct assignment assignments[ASSIGN_MOST];
    union any_record row = {.named = {0, ""}};
    size_t many = 0;
    enum exit_status fault = EXIT_FINE;

    for (size_t i = 0; i < correcting->count && fault == EXIT_FINE; i++) {
        fault = labels_find(app, record, label, app->arena, &row);
        if (fault == EXIT_FINE)
            fault = assign_read(app, record, correcting->words[i], facts_of(record, &row),
                                app->arena, assignments, &many);
        for (size_t k = 0; k < many && fault == EXIT_FINE; k++) {
            enum status status =
                journal_correct(app->journal, record, row.named.label, assignments[k].column,
                                assignments[k].value, correcting->at, app->diags);
            fault = status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
            if (strcmp(assignments[k].column, "label") == 0)
                label = assignments[k].value;
        }
    }
    return fault;
}

static enum exit_status tell_record(struct correcting *correcting, enum record record, int64_t id)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    enum status status = journal_get(app->journal, record, id, app->arena, &row, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app,
                        json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind",
                                  record_types[record].name, "did", "corrected", "record",
                                  voice_record_json(&correcting->told, record, &row)),
                        false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: corrected; what it was is kept.",
               record_types[record].name, row.named.label);
    voice_record(&app->out, &correcting->told, record, &row);
    return app_flush(app);
}

static enum exit_status correct_record(struct correcting *correcting, enum record record,
                                       const char *label)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    enum exit_status fault = labels_find(app, record, label, app->arena, &row);
    if (fault != EXIT_FINE)
        return fault;
    if (correcting->count == 0)
        return app_usage(app, "correct what of it? For instance: jarside correct %s note='...'",
                         label);
    int64_t id = row.named.id;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    fault = correct_columns(correcting, record, row.named.label);
    if (fault != EXIT_FINE) {
        journal_rollback(app->journal);
        return fault;
    }
    status = journal_commit(app->journal, app->diags);
    return status == STATUS_OK ? tell_record(correcting, record, id) : app_fail(app, status);
}

/* ---- rows that are only added to ------------------------------------------------------------- */

/* "12", or the label of a vessel for its newest one. */
static enum exit_status find_row(struct correcting *correcting, enum record record,
                                 const char *word, union any_record *row)
{
    struct app *app = correcting->app;
    struct survey survey = survey_all(record, 1);
    struct vessel vessel = {.id = 0};
    struct page page;
    char *end = NULL;
    long long id = strtoll(word, &end, 10);

    if (isdigit((unsigned char)word[0]) && *end == '\0') {
        enum status status = journal_get(app->journal, record, id, app->arena, row, app->diags);
        return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
    }
    enum exit_status fault = labels_find(app, RECORD_VESSEL, word, app->arena, &vessel);
    if (fault != EXIT_FINE)
        return fault;
    survey.vessel = vessel.id;
    enum status status = survey_page(app->journal, &survey, app->arena, &page, app->diags);
    if (status == STATUS_OK && page.count == 0)
        return app_usage(app, "%s has no %s to correct", vessel.label, record_types[record].name);
    if (status == STATUS_OK)
        status = journal_get(app->journal, record, page.ids[0], app->arena, row, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

static enum exit_status said(struct correcting *correcting, const char *what, long long id,
                             const char *vessel)
{
    struct app *app = correcting->app;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app,
                        json_pack("{s:i, s:s, s:I, s:o, s:s}", "schema", 1, "kind", what, "id",
                                  (json_int_t)id, "vessel", voice_json_text(vessel), "did",
                                  "corrected"),
                        false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN,
               "%s: %s %lld no longer counts; it stays in the journal.", vessel, what, id);
    return app_flush(app);
}

static enum exit_status correct_deed(struct correcting *correcting, const char *word)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    struct vessel vessel = {.id = 0};
    enum exit_status fault = find_row(correcting, RECORD_DEED, word, &row);

    if (fault != EXIT_FINE)
        return fault;
    if (correcting->count != 1 || strcmp(correcting->words[0], deed_words[DEED_WITHDRAW]) != 0)
        return app_usage(app, "a deed is taken back whole: jarside correct deed %s withdraw", word);
    struct deed deed = {.vessel = row.deed.vessel,
                        .at = correcting->at,
                        .kind = DEED_WITHDRAW,
                        .detail = "",
                        .corrects = row.deed.id};
    enum status status = journal_begin(app->journal, app->diags);
    if (status == STATUS_OK)
        status = journal_add(app->journal, RECORD_DEED, &deed, app->diags);
    if (status == STATUS_OK)
        status =
            journal_get(app->journal, RECORD_VESSEL, deed.vessel, app->arena, &vessel, app->diags);
    /* It is back, and nobody has planned a look at it. */
    if (status == STATUS_OK && vessel.state != VESSEL_DISCARDED && vessel.state != VESSEL_USED &&
        vessel.due == 0)
        status = journal_set_due(app->journal, vessel.id, moment_day(correcting->at),
                                 "back on record", app->diags);
    if (status == STATUS_OK)
        status = journal_commit(app->journal, app->diags);
    else
        journal_rollback(app->journal);
    return status == STATUS_OK ? said(correcting, "deed", (long long)deed.corrects, vessel.label)
                               : app_fail(app, status);
}

static enum exit_status correct_outcome(struct correcting *correcting, const char *word)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    const char *words = arena_join(correcting->app->arena, correcting->words, correcting->count);
    enum exit_status fault = find_row(correcting, RECORD_OUTCOME, word, &row);

    if (fault != EXIT_FINE)
        return fault;
    if (words == NULL || words[0] == '\0')
        return app_usage(app, "what did it turn out to be instead?");
    int finding = assign_finding(app, words);
    if (finding == RULES_NONE)
        return EXIT_USAGE;
    struct outcome outcome = row.outcome;
    outcome.id = 0;
    outcome.at = correcting->at;
    outcome.finding = app->rules->findings[finding].id;
    outcome.status = status_name(app->rules->findings[finding].status);
    outcome.corrects = row.outcome.id;
    enum status status = journal_add(app->journal, RECORD_OUTCOME, &outcome, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    return said(correcting, "outcome", (long long)outcome.corrects,
                voice_label(&correcting->told, RECORD_VESSEL, outcome.vessel));
}

/* The vessel is judged anew from the words, as if the old look had not been, on the day of the old. */
static enum exit_status correct_look(struct correcting *correcting, const char *word)
{
    struct app *app = correcting->app;
    struct consultation consultation;
    const struct verdict *verdict = NULL;
    union any_record row = {.named = {0, ""}};
    struct look look;
    const char *words = arena_join(correcting->app->arena, correcting->words, correcting->count);
    enum exit_status fault = find_row(correcting, RECORD_LOOK, word, &row);

    if (fault != EXIT_FINE)
        return fault;
    if (words == NULL || words[0] == '\0')
        return app_usage(app, "what was seen instead? Say it in your own words");
    const struct consult_request request = {
        .label = voice_label(&correcting->told, RECORD_VESSEL, row.look.vessel),
        .now = row.look.at,
        .corrects = row.look.id};
    enum status status =
        consult_vessel(app->journal, &request, app->triage, app->arena, &consultation, app->diags);
    if (status == STATUS_OK)
        status = triage_tell(app->triage, words, strlen(words), app->diags);
    if (status == STATUS_OK)
        status = consult_save(app->journal, &consultation, app->triage, words, app->arena, &look,
                              &verdict, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (arguments_flag(&app->arguments, "json"))
        return said(correcting, "look", (long long)row.look.id, request.label);
    const struct told told = {app->rules, app->triage, verdict};
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: look %lld takes the place of look %lld.",
               request.label, (long long)look.id, (long long)row.look.id);
    voice_verdict(&app->out, &told, false);
    return app_flush(app);
}

/* ---- which ----------------------------------------------------------------------------------- */

/* The one kind of record that has this label; RECORD_COUNT with a message when none or several have. */
static enum record kind_of(struct correcting *correcting, const char *label)
{
    static const enum record kinds[] = {RECORD_VESSEL, RECORD_BATCH,   RECORD_STARTER, RECORD_COOK,
                                        RECORD_LOT,    RECORD_SESSION, RECORD_PLACE};
    enum record kind = RECORD_COUNT;
    const char *found = NULL;
    int64_t id = 0;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        if (!labels_has(correcting->app, kinds[i], label, correcting->app->arena, &id, &found))
            continue;
        if (kind != RECORD_COUNT) {
            app_usage(correcting->app,
                      "'%s' is a %s and a %s; say which: jarside correct %s %s ...", label,
                      record_types[kind].name, record_types[kinds[i]].name, record_types[kind].name,
                      label);
            return RECORD_COUNT;
        }
        kind = kinds[i];
    }
    if (kind == RECORD_COUNT)
        app_usage(correcting->app,
                  "nothing in the journal is called '%s'; 'jarside list' shows what "
                  "there is",
                  label);
    return kind;
}

static enum exit_status correct(struct correcting *correcting)
{
    struct app *app = correcting->app;
    enum exit_status fault = app_moment(app, "at", &correcting->at);
    correcting->words = app->arguments.operands;
    correcting->count = app->arguments.operand_count;
    if (fault != EXIT_FINE)
        return fault;
    enum record record = correcting->count > 1 ? labels_kind(correcting->words[0]) : RECORD_COUNT;
    if (record != RECORD_COUNT) {
        correcting->words++;
        correcting->count--;
    }
    if (correcting->count == 0)
        return app_usage(app, "correct what? For instance: jarside correct B3 species=oyster, or: "
                              "jarside correct deed 4 withdraw");
    const char *label = *correcting->words++;
    correcting->count--;
    if (record == RECORD_LOOK)
        return correct_look(correcting, label);
    if (record == RECORD_DEED)
        return correct_deed(correcting, label);
    if (record == RECORD_OUTCOME)
        return correct_outcome(correcting, label);
    if (record == RECORD_PARENT || record == RECORD_EDIT)
        return app_usage(app, "a %s is not corrected", record_types[record].name);
    if (record == RECORD_COUNT && (record = kind_of(correcting, label)) == RECORD_COUNT)
        return EXIT_USAGE;
    return correct_record(correcting, record, label);
}

static enum exit_status run_correct(struct app *app)
{
    struct correcting correcting = {.app = app};
    enum exit_status fault = app_open(app, JOURNAL_WRITE);
    if (fault != EXIT_FINE)
        return fault;
    correcting.told = app_told(app);
    return correct(&correcting);
}

const struct command command_correct = {
    .name = "correct",
    .summary = "mends a slip; what was there before is kept",
    .operands = "[KIND] LABEL COLUMN=VALUE...",
    .detail = "Of a record: jarside correct C4 gauge=12psi. Of a look, told anew: jarside correct "
              "look 12 WORDS... A deed that did not happen: jarside correct deed 4 withdraw. An "
              "outcome: jarside correct outcome 3 FINDING. In place of a "
              "number the label of a vessel means its newest.",
    .options = options,
    .run = run_correct,
};
