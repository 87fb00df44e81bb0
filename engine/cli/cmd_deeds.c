/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is done with vessels: move, shake, isolate, return, discard, use. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/commands.h"
#include "cli/deed_guard.h"
#include "cli/labels.h"
#include "prompt/lines.h"
#include "voice/whole_json.h"

#define COMMON_ROWS                                                                                \
    {"at", "MOMENT", "when: 2026-03-01 18:30, yesterday, '3 days ago'; else now"},                 \
        {"note", "WORDS", "anything to remember"}, {"json", NULL, "print JSON"},                   \
    {                                                                                              \
        NULL, NULL, NULL                                                                           \
    }

static const struct option options[] = {COMMON_ROWS};
static const struct option discard_options[] = {
    {"force", NULL, "a whole batch, without asking"},
    COMMON_ROWS,
};

struct doing { /* one run of one of these commands */
    struct app *app;
    struct journal_told told;
    enum deed_kind kind;
    struct moment at;
    const char *detail;
    struct place place;   /* of a move */
    struct chosen chosen; /* less what was passed over */
    const char *due;      /* ISO date of the next look, or "" */
    char due_room[MOMENT_ROOM];
};

/* ---- may it be done? ------------------------------------------------------------------------- */

/*
 * Leaves out of a whole batch what the deed does not fit (what is gone already).
 * A vessel that was named, and any risk, stops everything: half a deed is a trap.
 */
static enum exit_status check_vessels(struct doing *doing)
{
    struct chosen *chosen = &doing->chosen;
    enum objection_kind worst = OBJECTION_NONE;
    size_t kept = 0;

    for (size_t i = 0; i < chosen->count; i++) {
        struct objection objection;
        enum status status =
            deed_objection(&doing->told, &chosen->vessels[i], doing->kind, doing->at, &objection);
        if (status != STATUS_OK)
            return app_fail(doing->app, status);
        if (objection.kind == OBJECTION_NONE)
            chosen->vessels[kept++] = chosen->vessels[i];
        if (objection.kind == OBJECTION_NONE ||
            (chosen->whole && objection.kind == OBJECTION_STATE))
            continue;
        diags_error(doing->app->diags, (struct position){0}, "%s", objection.why);
        worst = objection.kind > worst ? objection.kind : worst;
    }
    chosen->count = kept;
    if (worst == OBJECTION_NONE && kept == 0)
        return app_usage(doing->app, "there is no vessel left to %s", deed_words[doing->kind]);
    if (worst == OBJECTION_NONE)
        return EXIT_FINE;
    if (kept > 0)
        diags_error(doing->app->diags, (struct position){0}, "nothing was recorded");
    enum exit_status fault = app_fail(doing->app, STATUS_USAGE);
    return worst == OBJECTION_RISK ? EXIT_CHECK_FAILED : fault;
}

/* A whole batch is thrown away on purpose, not by leaving out a number. */
static enum exit_status confirm_discard(struct doing *doing)
{
    struct app *app = doing->app;
    char question[128];
    if (doing->kind != DEED_DISCARD || !doing->chosen.whole ||
        arguments_flag(&app->arguments, "force"))
        return EXIT_FINE;
    struct lines *lines = lines_open();
    if (lines == NULL)
        return app_usage(app, "that is %zu vessels at once; say --force if all are to go",
                         doing->chosen.count);
    snprintf(question, sizeof question, "Discard all %zu of them", doing->chosen.count);
    bool sure = lines_confirm(lines, question);
    lines_close(lines);
    return sure ? EXIT_FINE : app_usage(app, "nothing was recorded");
}

/* ---- doing it -------------------------------------------------------------------------------- */

/* When to look next, after this deed; 0 when there is nothing left to look at. */
static int64_t next_look(const struct doing *doing, const char **why)
{
    const struct rules *rules = doing->app->rules;
    double days = NAN;

    if (doing->kind == DEED_SHAKE) {
        *why = "after the shake";
        days = fmax(rules->forecast.look_every, rules->forecast.shake_pause);
    } else if (doing->kind == DEED_ISOLATE) {
        *why = "isolated";
        days = rules->decision.isolate_days;
    } else if (doing->kind == DEED_RETURN) {
        *why = "back among the others";
        days = rules->forecast.look_every;
    }
    return isnan(days) ? 0 : moment_day(doing->at) + (int64_t)ceil(days);
}

static enum status record_deed(struct doing *doing, const struct vessel *vessel)
{
    struct journal *journal = doing->app->journal;
    struct deed deed;
    const char *why = "";

    record_init(RECORD_DEED, &deed);
    deed.vessel = vessel->id;
    deed.at = doing->at;
    deed.kind = doing->kind;
    deed.place = doing->place.id;
    deed.detail = doing->detail;
    enum status status = journal_add(journal, RECORD_DEED, &deed, doing->app->diags);
    if (status != STATUS_OK || doing->kind == DEED_MOVE)
        return status;
    int64_t day = next_look(doing, &why);
    doing->due = day != 0 ? voice_day(day, doing->due_room) : "";
    return journal_set_due(journal, vessel->id, day, why, doing->app->diags);
}

static enum exit_status record_all(struct doing *doing)
{
    struct journal *journal = doing->app->journal;
    enum status status = journal_begin(journal, doing->app->diags);
    if (status != STATUS_OK)
        return app_fail(doing->app, status);
    if (doing->kind == DEED_MOVE && doing->place.id == 0)
        status = journal_add(journal, RECORD_PLACE, &doing->place, doing->app->diags);
    for (size_t i = 0; i < doing->chosen.count && status == STATUS_OK; i++)
        status = record_deed(doing, &doing->chosen.vessels[i]);
    if (status == STATUS_OK)
        status = journal_commit(journal, doing->app->diags);
    else
        journal_rollback(journal);
    return status == STATUS_OK ? EXIT_FINE : app_fail(doing->app, status);
}

/* ---- saying it ------------------------------------------------------------------------------- */

/* The step of the rules that a deed goes by: they call it by the same word. */
static const char *usual_caution(const struct doing *doing)
{
    const struct decision_rules *decision = &doing->app->rules->decision;
    for (size_t i = 0; i < decision->next_step_count; i++)
        if (strcmp(decision->next_steps[i].id, deed_words[doing->kind]) == 0)
            return decision->next_steps[i].say;
    return "";
}

static const struct look *riskiest_look(const struct doing *doing, struct look *look)
{
    struct look other;
    bool any = false;
    for (size_t i = 0; i < doing->chosen.count; i++)
        if (deed_last_look(&doing->told, &doing->chosen.vessels[i], &other) &&
            (!any || other.contaminated > look->contaminated)) {
            *look = other;
            any = true;
        }
    return any ? look : NULL;
}

/* Isolating is less than some last look asked for. */
static void say_short_of_it(const struct doing *doing)
{
    for (size_t i = 0; i < doing->chosen.count; i++) {
        struct look look;
        const struct vessel *vessel = &doing->chosen.vessels[i];
        if (!deed_last_look(&doing->told, vessel, &look) ||
            strcmp(look.action, action_name(ACTION_DISCARD)) != 0)
            continue;
        screen_say(&doing->app->out, 0, 2, ROLE_WARN,
                   "The last look at %s said discard. Closed and out: jarside discard %s",
                   vessel->label, vessel->label);
        return;
    }
}

static void say_done(const struct doing *doing, const char *vessels)
{
    static const char *const done[] = {
        [DEED_MOVE] = "moved",
        [DEED_SHAKE] = "shaken",
        [DEED_ISOLATE] = "isolated",
        [DEED_RETURN] = "put back among the others",
        [DEED_DISCARD] = "discarded, closed",
        [DEED_USE] = "used",
    };
    char day[MOMENT_ROOM];
    const char *where = doing->kind == DEED_MOVE ? " to " : "";
    screen_say(&doing->app->out, 0, 2, ROLE_PLAIN, "%s: %s%s%s, %s.", vessels, done[doing->kind],
               where, doing->kind == DEED_MOVE ? doing->place.label : "",
               moment_write_day(doing->at, day));
    if (doing->due != NULL && doing->due[0] != '\0')
        screen_say(&doing->app->out, 0, 2, ROLE_PLAIN, "Look again by %s: jarside look %s",
                   doing->due, doing->chosen.vessels[0].label);
}

static enum exit_status tell_json(const struct doing *doing)
{
    json_t *cautions = json_array();
    struct look look;

    if (doing->kind == DEED_DISCARD) {
        json_decref(cautions);
        cautions = voice_handling_json(doing->app->rules, riskiest_look(doing, &look));
    } else if (doing->kind == DEED_SHAKE) {
        cautions = voice_json_append(cautions, json_string(usual_caution(doing)));
    }
    json_t *json = json_pack("{s:i, s:s, s:o, s:o, s:o, s:o, s:o}", "schema", 1, "deed",
                             deed_words[doing->kind], "at", voice_json_moment(doing->at), "vessels",
                             voice_json_vessels(doing->chosen.vessels, doing->chosen.count),
                             "place", voice_json_text(doing->place.label), "look_again",
                             voice_json_text(doing->due), "cautions", cautions);
    return app_json(doing->app, json, false);
}

static enum exit_status tell(const struct doing *doing)
{
    struct app *app = doing->app;
    struct text vessels;
    struct look look;

    if (arguments_flag(&app->arguments, "json"))
        return tell_json(doing);
    text_init(&vessels);
    voice_vessels(&vessels, doing->chosen.vessels, doing->chosen.count);
    if (doing->kind == DEED_DISCARD)
        voice_handling(&app->out, app->rules, riskiest_look(doing, &look));
    if (doing->kind == DEED_SHAKE)
        screen_item(&app->out, 0, "!", ROLE_WARN, usual_caution(doing));
    say_done(doing, vessels.failed ? "" : vessels.bytes);
    if (doing->kind == DEED_ISOLATE)
        say_short_of_it(doing);
    text_release(&vessels);
    return app_flush(app);
}

/* ---- the commands ---------------------------------------------------------------------------- */

/* The last operand of a move says where to; a place not yet known is a new one. */
static enum exit_status read_place(struct doing *doing, const char *label)
{
    const char *found = label;
    int64_t id = 0;

    record_init(RECORD_PLACE, &doing->place);
    if (labels_has(doing->app, RECORD_PLACE, label, doing->told.arena, &id, &found))
        return labels_find(doing->app, RECORD_PLACE, found, doing->told.arena, &doing->place);
    if (labels_has(doing->app, RECORD_VESSEL, label, doing->told.arena, &id, &found))
        return app_usage(doing->app, "where to? For instance: jarside move %s closet", label);
    doing->place.label = label;
    return EXIT_FINE;
}

static enum exit_status run_with(struct doing *doing)
{
    struct app *app = doing->app;
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    const char *note = arguments_value(&app->arguments, "note");
    enum exit_status fault = app_moment(app, "at", &doing->at);

    doing->detail = note != NULL ? note : "";
    doing->place.label = "";
    doing->told = app_told(app);
    if (fault == EXIT_FINE && doing->kind == DEED_MOVE) {
        if (count < 2)
            return app_usage(app,
                             "which vessel, and where to? For instance: jarside move B3-7 closet");
        fault = read_place(doing, words[--count]);
    }
    if (fault == EXIT_FINE)
        fault = labels_vessels(app, words, count, doing->told.arena, &doing->chosen);
    if (fault == EXIT_FINE)
        fault = check_vessels(doing);
    if (fault == EXIT_FINE)
        fault = confirm_discard(doing);
    if (fault == EXIT_FINE)
        fault = record_all(doing);
    return fault == EXIT_FINE ? tell(doing) : fault;
}

static enum exit_status run(struct app *app, enum deed_kind kind)
{
    struct doing doing = {.app = app, .kind = kind};
    enum exit_status fault = app_open(app, JOURNAL_WRITE);
    if (fault != EXIT_FINE)
        return fault;
    return run_with(&doing);
}

static enum exit_status run_move(struct app *app)
{
    return run(app, DEED_MOVE);
}

static enum exit_status run_shake(struct app *app)
{
    return run(app, DEED_SHAKE);
}

static enum exit_status run_isolate(struct app *app)
{
    return run(app, DEED_ISOLATE);
}

static enum exit_status run_return(struct app *app)
{
    return run(app, DEED_RETURN);
}

static enum exit_status run_discard(struct app *app)
{
    return run(app, DEED_DISCARD);
}

static enum exit_status run_use(struct app *app)
{
    return run(app, DEED_USE);
}

const struct command command_move = {
    .name = "move",
    .summary = "records that vessels stand elsewhere now",
    .operands = "VESSEL... PLACE",
    .detail =
        "A place not yet known is a new one. Vessels: B3-7, B3 3 7, B3-3..7, or B3 for all of it.",
    .options = options,
    .run = run_move,
};

const struct command command_shake = {
    .name = "shake",
    .summary = "records that vessels were broken up and shaken",
    .operands = "VESSEL...",
    .detail = "Refused for a vessel that its last look did not call fit to keep.",
    .options = options,
    .run = run_shake,
};

const struct command command_isolate = {
    .name = "isolate",
    .summary = "records that vessels were put apart, closed",
    .operands = "VESSEL...",
    .options = options,
    .run = run_isolate,
};

const struct command command_return = {
    .name = "return",
    .summary = "records that isolated vessels went back among the others",
    .operands = "VESSEL...",
    .detail = "Only after a look that came since and said keep.",
    .options = options,
    .run = run_return,
};

const struct command command_discard = {
    .name = "discard",
    .summary = "records that vessels were thrown away, closed, and says what to mind",
    .operands = "VESSEL...",
    .detail = "A whole batch (B3) asks first; --force answers for a program.",
    .options = discard_options,
    .run = run_discard,
};

const struct command command_use = {
    .name = "use",
    .summary = "records that vessels were used",
    .operands = "VESSEL...",
    .detail = "Refused for a vessel that its last look did not call fit to keep.",
    .options = options,
    .run = run_use,
};
