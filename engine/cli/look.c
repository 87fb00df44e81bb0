/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Recording a look: what was seen, what it comes to, when to look again. */
#include "cli/look.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/assign.h"
#include "cli/cli.h"
#include "journal/query.h"
#include "prompt/prompt.h"

/* ==== one vessel ============================================================================== */

#define AT(member) .target = offsetof(struct looking, member)
static const struct option options[] = {
    {"at", "MOMENT", "when it was: 2026-03-01 18:30, yesterday, '3 days ago'; else now",
     OPTION_MOMENT, AT(at)},
    {"corrects", "LOOK", "the number of an earlier look that this one takes the place of",
     OPTION_TEXT, AT(corrected)},
    {"no-input", NULL, "never ask; fail and say what is missing", OPTION_FLAG, AT(no_input)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

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
    if (!labels_has(app, RECORD_VESSEL, label, &id, &request.label))
        request.label = label; /* named in the message as it was typed */
    enum status status =
        consult_vessel(app->journal, &request, app->triage, app->arena, consultation, app->diags);
    if (status == STATUS_OK)
        app_report(
            app); /* what is on record and not understood is worth seeing, and stops nothing */
    return status;
}

/* Whether a fact about the vessel does not come from the journal. */
static bool is_new(const struct fact *fact)
{
    return fact->origin != ORIGIN_JOURNAL && fact->origin != ORIGIN_COMPUTED;
}

static bool says_something(const struct triage *triage)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    for (size_t i = 0; i < count; i++)
        if (is_new(&facts[i]))
            return true;
    return false;
}

/* What was said, fact by fact, where there was no one text. In the arena. */
static const char *all_said(const struct app *app)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(app->triage, &facts);
    const char *words = "";
    for (size_t i = 0; i < count; i++)
        if (is_new(&facts[i]) && facts[i].words[0] != '\0')
            words = arena_format(app->arena, "%s%s%s", words, words[0] != '\0' ? "; " : "",
                                 facts[i].words);
    return words;
}

/* "B3-7, day 12, oyster on rye": the vessel, for headings. In the arena. */
static const char *heading(const struct looking *looking, const struct consultation *consultation)
{
    struct app *app = looking->app;
    struct journal_view told = app->view;
    char day[32] = "";
    told.now = looking->at;
    if (!isnan(consultation->day))
        snprintf(day, sizeof day, ", day %.0f", consultation->day);
    return arena_format(app->arena, "%s%s, %s%s%s", consultation->vessel.label, day,
                        view_batch_words(&told, &consultation->batch),
                        consultation->vessel.control ? ", never inoculated" : "",
                        consultation->vessel.state == VESSEL_ISOLATED ? ", isolated" : "");
}

/* "Saved: look 12 on B3-7; next look 14 March (wait)." */
static void say_saved(const struct looking *looking, const struct vessel *vessel, int64_t look)
{
    char day[MOMENT_ROOM];
    screen_say(&looking->app->out, 0, 2, ROLE_PLAIN, "Saved: look %lld on %s; next look %s (%s).",
               (long long)look, vessel->label,
               consult_day(moment_of_day(vessel->due), looking->at, day), vessel->due_for);
}

/* The verdict with "look", "vessel", "at", "next_look" and "next_look_for" added. */
static json_t *look_json(const struct looking *looking, const struct vessel *vessel,
                         const struct look *look, const struct verdict *verdict)
{
    const struct judged told = {looking->app->rules, looking->app->triage, verdict};
    json_t *json = view_verdict_json(&told);
    json_object_update_new(
        json, json_pack("{s:I, s:s, s:o, s:o, s:s}", "look", (json_int_t)look->id, "vessel",
                        vessel->label, "at", view_json_moment(look->at), "next_look",
                        view_json_day(vessel->due), "next_look_for", vessel->due_for));
    return json;
}

/* The conversation about a vessel whose triage is open; `said` is what the grower told, NULL when
 * they told nothing or left before the end. */
static enum status converse(const struct looking *looking, const struct consultation *consultation,
                            const char **said)
{
    struct app *app = looking->app;
    const char *record = "no look is on record yet";
    size_t opened = triage_mark(app->triage);
    bool finished = false;
    char day[MOMENT_ROOM];

    *said = NULL;
    if (consultation->look_count > 0) {
        const struct look *last = &consultation->looks[consultation->look_count - 1];
        record = arena_format(app->arena, "last look %s: %s",
                              consult_day(last->at, looking->at, day), last->action);
    }
    const struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .about = arena_format(app->arena, "%s; %s. 'leave' saves the look, ^D saves nothing.",
                              heading(looking, consultation), record),
        .finished = &finished,
    };
    enum status status = prompt_converse(&opening, app->diags);
    if (status == STATUS_OK && finished && triage_mark(app->triage) != opened)
        *said = all_said(app);
    return status;
}

/* Whether there is somebody to talk to. */
static bool may_ask(const struct looking *looking)
{
    return !looking->no_input && isatty(STDIN_FILENO) && isatty(STDOUT_FILENO);
}

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
    if (looking->json)
        return app_json(app, look_json(looking, &consultation->vessel, &look, verdict), false);
    if (looking->words[0] != '\0') { /* a conversation has shown it already */
        const struct judged told = {app->rules, app->triage, verdict};
        screen_say(&app->out, 0, 2, ROLE_STRONG, "%s", heading(looking, consultation));
        view_verdict(&app->out, &told, false);
    }
    say_saved(looking, &consultation->vessel, look.id);
    return app_flush(app);
}

static enum status look_at_vessel(struct looking *looking, const char *label)
{
    struct app *app = looking->app;
    struct consultation consultation;
    const char *words = looking->words;
    enum status status = look_open(looking, label, &consultation);
    if (status != STATUS_OK)
        return status;
    if (words[strspn(words, " \t\r\n")] == '\0') {
        if (!may_ask(looking))
            return app_usage(app,
                             "what was seen is missing; for instance: "
                             "jarside look %s \"40 percent, thick white, nothing odd\"",
                             consultation.vessel.label);
        status = converse(looking, &consultation, &words);
        if (status != STATUS_OK || words != NULL)
            return status == STATUS_OK ? save(looking, &consultation, words) : status;
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Nothing was saved.");
        return app_flush(app);
    }
    if ((status = triage_tell(app->triage, words, strlen(words), app->diags)))
        return status;
    if (says_something(app->triage))
        return save(looking, &consultation, words);
    const struct judged told = {app->rules, app->triage, triage_judge(app->triage)};
    view_unclear(&app->err, &told);
    (void)screen_flush(&app->err, stderr);
    return app_usage(app,
                     "'%s' says nothing about the vessel, so nothing was saved; for instance: "
                     "\"40 percent, thick white, nothing odd\"",
                     words);
}

/* ==== a whole batch =========================================================================== */

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
    struct app *app;
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

/* ---- who is meant ---------------------------------------------------------------------------- */

static enum status read_rows(struct walkthrough *walk)
{
    struct app *app = walk->app;
    void *rows = NULL;
    enum status status = journal_all(app->journal, RECORD_VESSEL, "batch", walk->batch->id,
                                     app->arena, &rows, &walk->count, app->diags);
    if (status != STATUS_OK)
        return status;
    const struct vessel *vessels = rows;
    walk->rows = arena_array(app->arena, walk->count, sizeof *walk->rows);
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
    for (size_t i = 0; i < walk->selection.part_count; i++)
        for (size_t k = 0; k < walk->selection.parts[i].count; k++) {
            int64_t number = walk->selection.parts[i].numbers[k];
            const struct row *row = NULL;
            for (size_t r = 0; r < walk->count && row == NULL; r++)
                if (walk->rows[r].vessel.number == number)
                    row = &walk->rows[r];
            if (row == NULL)
                return app_usage(walk->app, "there is no vessel %lld in %s; nothing was saved",
                                 (long long)number, walk->batch->label);
            if (row->state == ROW_GONE)
                return app_usage(walk->app, "%s was %s already; nothing was saved",
                                 row->vessel.label, vessel_state_words[row->vessel.state]);
        }
    return STATUS_OK;
}

/* ---- looking --------------------------------------------------------------------------------- */

static enum status save_row(struct walkthrough *walk, struct row *row,
                            struct consultation *consultation, const char *words)
{
    struct app *app = walk->app;
    struct look look;
    const struct verdict *verdict = NULL;
    enum status status = consult_save(app->journal, consultation, app->triage, words, app->arena,
                                      &look, &verdict, app->diags);
    if (status != STATUS_OK)
        return status;
    int floor = verdict->decision.floor;
    row->state = ROW_SAVED;
    row->action = verdict->decision.action;
    row->contaminated = look.contaminated;
    row->look = look.id;
    row->forced = floor != RULES_NONE ? app->rules->decision.floors[floor].say : "";
    row->findings = app->rules->findings[verdict->findings[0].index].name;
    row->vessel.due = consultation->vessel.due;
    if (row->action != ACTION_KEEP && row->contaminated >= walk->gravest) {
        size_t *cautions = arena_array(app->arena, verdict->caution_count, sizeof *cautions);
        memcpy(cautions, verdict->cautions, verdict->caution_count * sizeof *cautions);
        walk->gravest = row->contaminated;
        walk->cautions = cautions;
        walk->caution_count = verdict->caution_count;
    }
    if (walk->looks != NULL && !walk->alone)
        json_array_append_new(walk->looks,
                              look_json(walk->looking, &consultation->vessel, &look, verdict));
    return STATUS_OK;
}

static enum status look_at_row(struct walkthrough *walk, struct row *row)
{
    struct app *app = walk->app;
    struct looking *looking = walk->looking;
    const char *words = row->part != NULL ? row->part->words : walk->selection.words;
    struct consultation consultation;
    enum status status;

    looking->without_siblings = walk->alone;
    looking->others = walk->alone ? NULL : &row->others;
    status = look_open(looking, row->vessel.label, &consultation);
    looking->others = NULL;
    if (status != STATUS_OK)
        return status;
    if (row->part == NULL && !consult_sound(&consultation)) {
        row->state = ROW_LEFT_OUT;
        return STATUS_OK;
    }
    if ((status = triage_tell(app->triage, words, strlen(words), app->diags)))
        return status;
    if (!says_something(app->triage))
        return app_usage(app, "'%s' says nothing about a vessel; nothing was saved", words);
    return save_row(walk, row, &consultation, words);
}

/* Those that were described first, then the rest. */
static enum status look_once(struct walkthrough *walk)
{
    for (int rest = 0; rest < 2; rest++)
        for (size_t i = 0; i < walk->count; i++) {
            struct row *row = &walk->rows[i];
            enum status status = STATUS_OK;
            if (row->state != ROW_OPEN || (row->part == NULL) != rest)
                continue;
            if (row->part != NULL && row->part->words[0] == '\0')
                row->state = ROW_TO_DESCRIBE;
            else if ((status = look_at_row(walk, row)))
                return status;
        }
    return STATUS_OK;
}

/* After the first pass: what each one's siblings came to. */
static enum status count_siblings(struct walkthrough *walk)
{
    struct app *app = walk->app;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < walk->count && status == STATUS_OK; i++) {
        struct row *row = &walk->rows[i];
        if (row->state != ROW_SAVED)
            continue;
        struct consultation consultation = {
            .vessel = row->vessel,
            .day = (double)moment_days_between(walk->batch->at, walk->looking->at)};
        status = consult_count(app->journal, &consultation, app->arena, &row->others, app->diags);
        row->state = ROW_OPEN;
    }
    walk->gravest = 0.0;
    walk->cautions = NULL;
    walk->caution_count = 0;
    return status;
}

static enum status look_at_all(struct walkthrough *walk)
{
    struct app *app = walk->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return status;
    walk->alone = true;
    if ((status = look_once(walk)) == STATUS_OK)
        status = count_siblings(walk);
    journal_rollback(app->journal);
    walk->alone = false;
    if (status != STATUS_OK || (status = journal_begin(app->journal, app->diags)))
        return status;
    return app_commit(app, look_once(walk));
}

/* ---- saying it ------------------------------------------------------------------------------- */

/* The labels of rows that a test picks, runs drawn together; how many. */
static size_t put_rows(const struct walkthrough *walk, struct text *out, enum row_state state,
                       const enum action *action)
{
    struct vessel *picked = arena_array(walk->app->arena, walk->count, sizeof *picked);
    size_t count = 0;
    for (size_t i = 0; i < walk->count; i++)
        if (walk->rows[i].state == state && (action == NULL || walk->rows[i].action == *action))
            picked[count++] = walk->rows[i].vessel;
    if (count > 0)
        view_vessels(out, picked, count);
    return count;
}

static void say_kept(const struct walkthrough *walk)
{
    static const enum action keep = ACTION_KEEP;
    struct app *app = walk->app;
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
    struct app *app = walk->app;
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

/* Of the gravest look, before anybody touches anything; the later ones are with each vessel. */
static void say_cautions(const struct walkthrough *walk)
{
    struct app *app = walk->app;
    for (size_t i = 0; i < walk->caution_count; i++) {
        const struct caution *caution = &app->rules->cautions[walk->cautions[i]];
        if (caution->rank < CAUTION_FIRST_RANK)
            screen_item(&app->out, 0, "!", ROLE_WARN, caution->text);
    }
}

static void say_rest(const struct walkthrough *walk)
{
    struct app *app = walk->app;
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
    struct app *app = walk->app;
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
            json_array_append_new(array, json_string(walk->rows[i].vessel.label));
    return array;
}

/* ---- those still to be described ------------------------------------------------------------- */

static enum status ask_one(struct walkthrough *walk, struct row *row)
{
    struct app *app = walk->app;
    struct consultation consultation;
    const char *words = NULL;
    enum status status;

    screen_blank(&app->out);
    walk->looking->without_siblings = false;
    if ((status = look_open(walk->looking, row->vessel.label, &consultation)) ||
        (status = converse(walk->looking, &consultation, &words)))
        return status;
    if (words == NULL)
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Nothing was saved for %s.", row->vessel.label);
    else if ((status = save_row(walk, row, &consultation, words)))
        return status;
    else
        say_saved(walk->looking, &consultation.vessel, row->look);
    return app_flush(app);
}

static enum status walk_through(struct walkthrough *walk)
{
    struct app *app = walk->app;
    enum status status;

    if ((status = selection_read(walk->looking->words, walk->batch->label, app->arena,
                                 &walk->selection, app->diags)) ||
        (status = read_rows(walk)) || (status = check_named(walk)) || (status = look_at_all(walk)))
        return status;
    if (walk->looks != NULL)
        return app_json(app,
                        json_pack("{s:i, s:s, s:O, s:o, s:o}", "schema", 1, "batch",
                                  walk->batch->label, "looks", walk->looks, "not_covered",
                                  labels_json(walk, ROW_LEFT_OUT), "to_describe",
                                  labels_json(walk, ROW_TO_DESCRIBE)),
                        false);
    status = say_all(walk);
    for (size_t i = 0; may_ask(walk->looking) && i < walk->count && status == STATUS_OK; i++)
        if (walk->rows[i].state == ROW_TO_DESCRIBE)
            status = ask_one(walk, &walk->rows[i]);
    return status;
}

static enum status look_at_batch(struct looking *looking, const struct batch *batch)
{
    struct app *app = looking->app;
    struct walkthrough walk = {.app = app, .looking = looking, .batch = batch};
    if (looking->words[strspn(looking->words, " \t\r\n")] == '\0')
        return app_usage(app,
                         "what was seen is missing; for instance: "
                         "jarside look %s \"all fine except 3 and 7: green patch\"",
                         batch->label);
    if (looking->corrects != 0)
        return app_usage(app, "--corrects goes with one vessel, not with a batch");
    walk.looks = looking->json ? json_array() : NULL;
    enum status status = walk_through(&walk);
    json_decref(walk.looks);
    return status;
}

/* ==== the command ============================================================================= */

static enum status run_look(struct app *app)
{
    struct looking looking = {.app = app};
    const struct arguments *arguments = &app->arguments;
    const char *label = arguments->operands[0], *found = label;
    struct batch batch;
    int64_t id = 0;
    enum status status;

    if (arguments->operand_count == 0)
        return app_usage(app, "which vessel? For instance: jarside look B3-7 \"green patch\"");
    if ((status = app_open(app, JOURNAL_WRITE)) || (status = options_fill(app, &looking)))
        return status;
    if (looking.corrected != NULL) {
        char *end = NULL;
        looking.corrects = strtoll(looking.corrected, &end, 10);
        if (*end != '\0' || looking.corrects <= 0 || looking.corrects == INT64_MAX)
            return app_usage(app, "'--corrects %s' is not the number of a look", looking.corrected);
    }
    looking.words = arena_join(app->arena, arguments->operands + 1, arguments->operand_count - 1);
    if (labels_has(app, RECORD_VESSEL, label, &id, &found) ||
        !labels_has(app, RECORD_BATCH, label, &id, &found))
        return look_at_vessel(&looking, label);
    status = labels_find(app, RECORD_BATCH, found, &batch);
    return status == STATUS_OK ? look_at_batch(&looking, &batch) : status;
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
