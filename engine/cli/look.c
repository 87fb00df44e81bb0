/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/look.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "cli/assign.h"
#include "cli/cli.h"
#include "journal/query.h"
#include "prompt/prompt.h"
#include "view/journal.h"
#include "view/screen.h"

/* ==== look batch ============================================================================== */

/*
 * One sentence for a whole batch.
 *
 * What is said of the rest is told to a triage at each vessel, as if it had been said
 * of that vessel alone, and recorded as such: the grower looked and saw that. It
 * clears nothing: vessels that are isolated, or that a look has judged anything but
 * fit to keep, are left out and named.
 *
 * Each is judged knowing what is said of the others. So there are two passes in one
 * transaction: in the first every vessel is judged for itself, then its siblings
 * are counted and all is taken back; the second judges with these counts and stays.
 */

struct row { /* one vessel and what became of its look */
    struct vessel vessel;
    const struct selection_part *part; /* NULL for the rest */
    enum row_state { ROW_GONE, ROW_OPEN, ROW_SAVED, ROW_LEFT_OUT, ROW_TO_DESCRIBE } state;
    enum action action;
    double contaminated;
    int64_t look;
    struct consult_others others; /* what the first pass made of its siblings */
    const char *forced;           /* the sentence of the floor that decided, or "" */
    const char *findings;
};

struct walkthrough {
    struct looking *looking;
    const struct batch *batch;
    struct selection selection;
    struct row *rows;
    size_t count;
    json_t *looks;          /* with --json */
    bool alone;             /* the first pass */
    const size_t *cautions; /* of the gravest look: those before any handling step */
    size_t caution_count;
    double gravest;
};

static struct row *row_numbered(struct walkthrough *walk, int64_t number)
{
    for (size_t i = 0; i < walk->count; i++)
        if (walk->rows[i].vessel.number == number)
            return &walk->rows[i];
    return NULL;
}

/* ---- who is meant ---------------------------------------------------------------------------- */

static enum status read_rows(struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    void *rows = NULL;
    enum status status = journal_all(app->journal, RECORD_VESSEL, "batch", walk->batch->id,
                                     app->arena, &rows, &walk->count, app->diags);
    if (status != STATUS_OK)
        return status;
    const struct vessel *vessels = rows;
    walk->rows = arena_array(app->arena, walk->count, sizeof *walk->rows);
    if (walk->rows == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < walk->count; i++) {
        bool gone = vessels[i].state == VESSEL_DISCARDED || vessels[i].state == VESSEL_USED;
        walk->rows[i] = (struct row){.vessel = vessels[i],
                                     .part = selection_part_of(&walk->selection, vessels[i].number),
                                     .state = gone ? ROW_GONE : ROW_OPEN,
                                     .forced = "",
                                     .findings = ""};
    }
    return STATUS_OK;
}

static enum status check_named(struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    for (size_t i = 0; i < walk->selection.part_count; i++)
        for (size_t k = 0; k < walk->selection.parts[i].count; k++) {
            int64_t number = walk->selection.parts[i].numbers[k];
            const struct row *row = row_numbered(walk, number);
            if (row == NULL)
                return app_usage(app, "there is no vessel %lld in %s; nothing was saved",
                                 (long long)number, walk->batch->label);
            if (row->state == ROW_GONE)
                return app_usage(app, "%s was %s already; nothing was saved", row->vessel.label,
                                 vessel_state_words[row->vessel.state]);
        }
    return STATUS_OK;
}

/* ---- looking --------------------------------------------------------------------------------- */

static void note(struct walkthrough *walk, struct row *row, const struct look *look,
                 const struct verdict *verdict)
{
    const struct rules *rules = walk->looking->app->rules;
    int floor = verdict->decision.floor;
    row->state = ROW_SAVED;
    row->action = verdict->decision.action;
    row->contaminated = look->contaminated;
    row->look = look->id;
    row->forced = floor != RULES_NONE ? rules->decision.floors[floor].say : "";
    row->findings = rules->findings[verdict->findings[0].index].name;
    if (row->action == ACTION_KEEP || row->contaminated < walk->gravest)
        return;
    size_t *cautions =
        arena_array(walk->looking->app->arena, verdict->caution_count, sizeof *cautions);
    if (cautions == NULL)
        return;
    memcpy(cautions, verdict->cautions, verdict->caution_count * sizeof *cautions);
    walk->gravest = row->contaminated;
    walk->cautions = cautions;
    walk->caution_count = verdict->caution_count;
}

static enum status save_row(struct walkthrough *walk, struct row *row,
                            struct consultation *consultation, const char *words)
{
    struct app *app = walk->looking->app;
    struct look look;
    const struct verdict *verdict = NULL;
    enum status status = consult_save(app->journal, consultation, app->triage, words, app->arena,
                                      &look, &verdict, app->diags);
    if (status != STATUS_OK)
        return status;
    note(walk, row, &look, verdict);
    row->vessel.due = consultation->vessel.due;
    if (walk->looks != NULL && !walk->alone &&
        json_array_append_new(walk->looks,
                              look_json(walk->looking, consultation, &look, verdict)) != 0)
        return STATUS_MEMORY;
    return STATUS_OK;
}

static enum status look_at_row(struct walkthrough *walk, struct row *row, const char *words,
                               bool rest)
{
    struct app *app = walk->looking->app;
    struct consultation consultation;
    walk->looking->without_siblings = walk->alone;
    walk->looking->others = walk->alone ? NULL : &row->others;
    enum status status = look_open(walk->looking, row->vessel.label, &consultation);
    walk->looking->others = NULL;
    if (status != STATUS_OK)
        return status;
    if (rest && !consult_sound(&consultation)) {
        row->state = ROW_LEFT_OUT;
        return STATUS_OK;
    }
    status = look_tell(walk->looking, words);
    if (status == STATUS_OK && !look_says_something(app->triage))
        status = app_usage(app, "'%s' says nothing about a vessel; nothing was saved", words);
    return status == STATUS_OK ? save_row(walk, row, &consultation, words) : status;
}

static enum status look_at_described(struct walkthrough *walk)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < walk->count && status == STATUS_OK; i++) {
        struct row *row = &walk->rows[i];
        if (row->state != ROW_OPEN || row->part == NULL)
            continue;
        if (row->part->words[0] == '\0')
            row->state = ROW_TO_DESCRIBE;
        else
            status = look_at_row(walk, row, row->part->words, false);
    }
    return status;
}

static enum status look_at_rest(struct walkthrough *walk)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < walk->count && status == STATUS_OK; i++)
        if (walk->rows[i].state == ROW_OPEN && walk->rows[i].part == NULL)
            status = look_at_row(walk, &walk->rows[i], walk->selection.words, true);
    return status;
}

static enum status look_once(struct walkthrough *walk)
{
    enum status status = look_at_described(walk);
    return status == STATUS_OK ? look_at_rest(walk) : status;
}

/* After the first pass: what each one's siblings came to; then all is as before it. */
static enum status count_siblings(struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    struct consultation consultation;
    enum status fault = STATUS_OK;
    for (size_t i = 0; i < walk->count && fault == STATUS_OK; i++) {
        struct row *row = &walk->rows[i];
        if (row->state != ROW_SAVED)
            continue;
        consultation = (struct consultation){
            .vessel = row->vessel,
            .day = (double)moment_days_between(walk->batch->at, walk->looking->at)};
        enum status status =
            consult_count(app->journal, &consultation, app->arena, &row->others, app->diags);
        fault = status;
        row->state = ROW_OPEN;
    }
    walk->gravest = 0.0;
    walk->cautions = NULL;
    walk->caution_count = 0;
    return fault;
}

static enum status first_pass(struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return status;
    walk->alone = true;
    enum status fault = look_once(walk);
    if (fault == STATUS_OK)
        fault = count_siblings(walk);
    journal_rollback(app->journal);
    walk->alone = false;
    return fault;
}

static enum status look_at_all(struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    enum status fault = first_pass(walk);
    enum status status = fault == STATUS_OK ? journal_begin(app->journal, app->diags) : STATUS_OK;
    if (fault != STATUS_OK)
        return fault;
    if (status != STATUS_OK)
        return status;
    fault = look_once(walk);
    if (fault != STATUS_OK) {
        journal_rollback(app->journal);
        return fault;
    }
    status = journal_commit(app->journal, app->diags);
    return status;
}

/* ---- saying it ------------------------------------------------------------------------------- */

/* The labels of rows that a test picks, runs drawn together; how many. */
static size_t put_rows(const struct walkthrough *walk, struct text *out, enum row_state state,
                       const enum action *action)
{
    struct vessel *picked = arena_array(walk->looking->app->arena, walk->count, sizeof *picked);
    size_t count = 0;
    for (size_t i = 0; picked != NULL && i < walk->count; i++)
        if (walk->rows[i].state == state && (action == NULL || walk->rows[i].action == *action))
            picked[count++] = walk->rows[i].vessel;
    if (count > 0)
        view_vessels(out, picked, count);
    return count;
}

static void say_kept(const struct walkthrough *walk)
{
    static const enum action keep = ACTION_KEEP;
    struct app *app = walk->looking->app;
    char day[MOMENT_ROOM];
    int64_t due = 0;
    struct text labels;
    text_init(&labels);
    size_t count = put_rows(walk, &labels, ROW_SAVED, &keep);
    for (size_t i = 0; i < walk->count; i++)
        if (walk->rows[i].state == ROW_SAVED && walk->rows[i].action == ACTION_KEEP &&
            (due == 0 || walk->rows[i].vessel.due < due))
            due = walk->rows[i].vessel.due;
    if (count > 0)
        screen_say(&app->out, 0, 2, ROLE_KEEP, "%s: %s. Next look %s.", labels.bytes,
                   app->rules->decision.action_label[ACTION_KEEP],
                   consult_day(moment_of_day(due), walk->looking->at, day));
    text_release(&labels);
}

static void say_others(const struct walkthrough *walk)
{
    static const enum role roles[ACTION_COUNT] = {[ACTION_KEEP] = ROLE_KEEP,
                                                  [ACTION_ISOLATE] = ROLE_ISOLATE,
                                                  [ACTION_DISCARD] = ROLE_DISCARD};
    struct app *app = walk->looking->app;
    for (size_t i = 0; i < walk->count; i++) {
        const struct row *row = &walk->rows[i];
        if (row->state != ROW_SAVED || row->action == ACTION_KEEP)
            continue;
        char percent[PERCENT_ROOM];
        screen_say(&app->out, 0, 2, roles[row->action], "%s: %s. %s; contaminated %s. %s",
                   row->vessel.label, app->rules->decision.action_label[row->action], row->findings,
                   view_percent(row->contaminated, percent), row->forced);
    }
}

/* Before anybody touches anything; the later ones are with each vessel. */
static void say_cautions(const struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    for (size_t i = 0; i < walk->caution_count; i++) {
        const struct caution *caution = &app->rules->cautions[walk->cautions[i]];
        if (caution->rank < CAUTION_FIRST_RANK)
            screen_item(&app->out, 0, "!", ROLE_WARN, caution->text);
    }
}

static void say_rest(const struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    struct text labels;
    text_init(&labels);
    if (put_rows(walk, &labels, ROW_LEFT_OUT, NULL) > 0)
        screen_say(
            &app->out, 0, 2, ROLE_ISOLATE,
            "Not covered: %s. What is isolated or under suspicion is not cleared in passing; "
            "look at it on its own.",
            labels.bytes);
    text_clear(&labels);
    size_t to_describe = put_rows(walk, &labels, ROW_TO_DESCRIBE, NULL);
    if (to_describe > 0)
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Still to be described: %s.", labels.bytes);
    text_release(&labels);
}

static enum status say_all(const struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    size_t saved = 0;
    for (size_t i = 0; i < walk->count; i++)
        saved += walk->rows[i].state == ROW_SAVED;
    say_cautions(walk);
    say_others(walk);
    say_kept(walk);
    say_rest(walk);
    if (walk->caution_count > 0)
        screen_say(&app->out, 0, 2, ROLE_PLAIN,
                   "What to do with one, step by step: jarside judge --vessel LABEL --explain");
    screen_say(&app->out, 0, 2, ROLE_PLAIN, saved == 1 ? "Saved: %zu look." : "Saved: %zu looks.",
               saved);
    return app_flush(app);
}

static json_t *labels_json(const struct walkthrough *walk, enum row_state state)
{
    json_t *array = json_array();
    for (size_t i = 0; i < walk->count; i++)
        if (walk->rows[i].state == state)
            array = view_json_append(array, view_json_text(walk->rows[i].vessel.label));
    return array;
}

static enum status tell_json(struct walkthrough *walk)
{
    json_t *json = json_pack("{s:i, s:s, s:O, s:o, s:o}", "schema", 1, "batch", walk->batch->label,
                             "looks", walk->looks, "not_covered", labels_json(walk, ROW_LEFT_OUT),
                             "to_describe", labels_json(walk, ROW_TO_DESCRIBE));
    return app_json(walk->looking->app, json, false);
}

/* ---- those still to be described ------------------------------------------------------------- */

static enum status ask_one(struct walkthrough *walk, struct row *row)
{
    struct app *app = walk->looking->app;
    struct consultation consultation;
    bool finished = false;
    screen_blank(&app->out);
    walk->looking->without_siblings = false;
    enum status status = look_open(walk->looking, row->vessel.label, &consultation);
    size_t opened = triage_mark(app->triage);
    if (status == STATUS_OK)
        status = look_converse(walk->looking, &consultation, &finished);
    if (status != STATUS_OK)
        return status;
    if (!finished || triage_mark(app->triage) == opened) {
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Nothing was saved for %s.", row->vessel.label);
        return app_flush(app);
    }
    const char *words = look_said(walk->looking);
    status = words != NULL ? save_row(walk, row, &consultation, words) : STATUS_MEMORY;
    if (status != STATUS_OK)
        return status;
    struct look look = {.id = row->look};
    look_say_saved(walk->looking, &consultation, &look);
    return app_flush(app);
}

static enum status ask_rest(struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    enum status status = STATUS_OK;
    if (arguments_flag(&app->arguments, "no-input") || !isatty(STDIN_FILENO) ||
        !isatty(STDOUT_FILENO))
        return STATUS_OK;
    for (size_t i = 0; i < walk->count && status == STATUS_OK; i++)
        if (walk->rows[i].state == ROW_TO_DESCRIBE)
            status = ask_one(walk, &walk->rows[i]);
    return status;
}

/* ---- together -------------------------------------------------------------------------------- */

static enum status walk_through(struct walkthrough *walk)
{
    struct app *app = walk->looking->app;
    enum status status = selection_read(walk->looking->words, walk->batch->label, app->arena,
                                        &walk->selection, app->diags);
    if (status != STATUS_OK)
        return status;
    enum status fault = read_rows(walk);
    if (fault == STATUS_OK)
        fault = check_named(walk);
    if (fault == STATUS_OK)
        fault = look_at_all(walk);
    if (fault != STATUS_OK)
        return fault;
    if (walk->looks != NULL)
        return tell_json(walk);
    fault = say_all(walk);
    return fault == STATUS_OK ? ask_rest(walk) : fault;
}

enum status look_at_batch(struct looking *looking, const struct batch *batch)
{
    struct app *app = looking->app;
    struct walkthrough walk = {.looking = looking, .batch = batch};
    if (looking->words[strspn(looking->words, " \t\r\n")] == '\0')
        return app_usage(app,
                         "what was seen is missing; for instance: "
                         "jarside look %s \"all fine except 3 and 7: green patch\"",
                         batch->label);
    if (looking->corrects != 0)
        return app_usage(app, "--corrects goes with one vessel, not with a batch");
    if (arguments_flag(&app->arguments, "json") && (walk.looks = json_array()) == NULL)
        return STATUS_MEMORY;
    enum status status = walk_through(&walk);
    json_decref(walk.looks);
    return status;
}

/* ==== look ==================================================================================== */

/* Recording a look: what was seen, what it comes to, when to look again. */

static const struct option options[] = {
    {"at", "MOMENT", "when it was: 2026-03-01 18:30, yesterday, '3 days ago'; else now",
     .kind = OPTION_TEXT},
    {"corrects", "LOOK", "the number of an earlier look that this one takes the place of",
     .kind = OPTION_TEXT},
    {"no-input", NULL, "never ask; fail and say what is missing", .kind = OPTION_FLAG},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
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

enum status look_open(const struct looking *looking, const char *label,
                      struct consultation *consultation)
{
    struct app *app = looking->app;
    int64_t id = 0;
    struct consult_request request = {.label = label,
                                      .now = looking->at,
                                      .without_siblings = looking->without_siblings,
                                      .others = looking->others,
                                      .corrects = looking->corrects};
    (void)labels_has(app, RECORD_VESSEL, label, &id, &request.label);
    if (id == 0)
        request.label = label; /* named in the message as it was typed */
    enum status status =
        consult_vessel(app->journal, &request, app->triage, app->arena, consultation, app->diags);
    if (status != STATUS_OK)
        return status;
    show_warnings(app);
    return STATUS_OK;
}

enum status look_tell(const struct looking *looking, const char *words)
{
    struct app *app = looking->app;
    enum status status = triage_tell(app->triage, words, strlen(words), app->diags);
    return status;
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
    const char *batch = view_batch_words(&told, &consultation->batch);
    return isnan(consultation->day)
               ? arena_format(app->arena, "%s, %s%s%s", consultation->vessel.label, batch, control,
                              isolated)
               : arena_format(app->arena, "%s, day %.0f, %s%s%s", consultation->vessel.label,
                              consultation->day, batch, control, isolated);
}

void look_say_saved(const struct looking *looking, const struct consultation *consultation,
                    const struct look *look)
{
    char day[MOMENT_ROOM];
    screen_say(&looking->app->out, 0, 2, ROLE_PLAIN, "Saved: look %lld on %s; next look %s (%s).",
               (long long)look->id, consultation->vessel.label,
               consult_day(moment_of_day(consultation->vessel.due), looking->at, day),
               consultation->vessel.due_for);
}

json_t *look_json(const struct looking *looking, const struct consultation *consultation,
                  const struct look *look, const struct verdict *verdict)
{
    const struct told told = {looking->app->rules, looking->app->triage, verdict};
    json_t *json = view_verdict_json(&told);
    json_t *saved = json_pack("{s:I, s:s, s:o, s:o, s:s}", "look", (json_int_t)look->id, "vessel",
                              consultation->vessel.label, "at", view_json_moment(look->at),
                              "next_look", view_json_day(consultation->vessel.due), "next_look_for",
                              consultation->vessel.due_for);
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
    char day[MOMENT_ROOM];
    if (consultation->look_count == 0)
        return "no look is on record yet";
    const struct look *last = &consultation->looks[consultation->look_count - 1];
    return arena_format(looking->app->arena, "last look %s: %s",
                        consult_day(last->at, looking->at, day), last->action);
}

enum status look_converse(const struct looking *looking, const struct consultation *consultation,
                          bool *finished)
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
    return status;
}

/* ---- one vessel ------------------------------------------------------------------------------ */

static enum status save(const struct looking *looking, struct consultation *consultation,
                        const char *words)
{
    struct app *app = looking->app;
    struct look look;
    const struct verdict *verdict = NULL;
    enum status status = consult_save(app->journal, consultation, app->triage, words, app->arena,
                                      &look, &verdict, app->diags);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, look_json(looking, consultation, &look, verdict), false);
    if (looking->words[0] != '\0') { /* a conversation has shown it already */
        const struct told told = {app->rules, app->triage, verdict};
        screen_say(&app->out, 0, 2, ROLE_STRONG, "%s", heading(looking, consultation));
        view_findings(&app->out, &told, 2);
        view_siblings_briefly(&app->out, &told);
        view_verdict_action(&app->out, &told);
    }
    look_say_saved(looking, consultation, &look);
    return app_flush(app);
}

static enum status not_saved(const struct looking *looking)
{
    screen_say(&looking->app->out, 0, 2, ROLE_PLAIN, "Nothing was saved.");
    return app_flush(looking->app);
}

static enum status talk_over(struct looking *looking, struct consultation *consultation)
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
    enum status status = look_converse(looking, consultation, &finished);
    if (status != STATUS_OK)
        return status;
    if (!finished || triage_mark(app->triage) == opened)
        return not_saved(looking);
    const char *words = look_said(looking);
    return words != NULL ? save(looking, consultation, words) : STATUS_MEMORY;
}

static enum status nothing_understood(const struct looking *looking)
{
    struct app *app = looking->app;
    const struct verdict *verdict = triage_judge(app->triage);
    if (verdict != NULL) {
        const struct told told = {app->rules, app->triage, verdict};
        view_unclear(&app->err, &told);
        (void)screen_flush(&app->err, stderr);
    }
    return app_usage(app,
                     "'%s' says nothing about the vessel, so nothing was saved; for instance: "
                     "\"40 percent, thick white, nothing odd\"",
                     looking->words);
}

static enum status look_at_vessel(struct looking *looking, const char *label)
{
    struct app *app = looking->app;
    struct consultation consultation;
    enum status status = look_open(looking, label, &consultation);
    if (status != STATUS_OK)
        return status;
    if (looking->words[strspn(looking->words, " \t\r\n")] == '\0')
        return talk_over(looking, &consultation);
    status = look_tell(looking, looking->words);
    if (status != STATUS_OK)
        return status;
    if (!look_says_something(app->triage))
        return nothing_understood(looking);
    return save(looking, &consultation, looking->words);
}

/* ---- the command ----------------------------------------------------------------------------- */

static enum status read_corrects(struct looking *looking)
{
    const char *said = arguments_value(&looking->app->arguments, "corrects");
    char *end = NULL;
    if (said == NULL)
        return STATUS_OK;
    errno = 0;
    long long id = strtoll(said, &end, 10);
    if (end == said || *end != '\0' || errno != 0 || id <= 0)
        return app_usage(looking->app, "'--corrects %s' is not the number of a look", said);
    looking->corrects = id;
    return STATUS_OK;
}

static enum status look(struct looking *looking)
{
    struct app *app = looking->app;
    const char *label = app->arguments.operands[0], *found = label;
    int64_t id = 0;
    struct batch batch;
    enum status status = app_moment(app, "at", &looking->at);
    if (status == STATUS_OK)
        status = read_corrects(looking);
    if (status != STATUS_OK)
        return status;
    looking->words =
        arena_join(app->arena, app->arguments.operands + 1, app->arguments.operand_count - 1);
    if (looking->words == NULL)
        return STATUS_MEMORY;
    if (labels_has(app, RECORD_VESSEL, label, &id, &found) ||
        !labels_has(app, RECORD_BATCH, label, &id, &found))
        return look_at_vessel(looking, label);
    status = labels_find(app, RECORD_BATCH, found, &batch);
    return status == STATUS_OK ? look_at_batch(looking, &batch) : status;
}

static enum status run_look(struct app *app)
{
    struct looking looking = {.app = app};
    if (app->arguments.operand_count == 0)
        return app_usage(app, "which vessel? For instance: jarside look B3-7 \"green patch\"");
    enum status status = app_open(app, JOURNAL_WRITE);
    if (status != STATUS_OK)
        return status;
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
