/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/deeds.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/assign.h"
#include "cli/cli.h"
#include "journal/consult.h"
#include "prompt/input.h"
#include "view/journal.h"
#include "view/screen.h"
#include "view/verdict.h"

/* ==== event guard ============================================================================== */

bool event_last_look(const struct journal_told *told, const struct vessel *vessel,
                     struct look *look)
{
    return vessel->last_look != 0 && journal_get(told->journal, RECORD_LOOK, vessel->last_look,
                                                 told->arena, look, told->diags) == STATUS_OK;
}

/* The newest event of a kind that no later one withdraws. */
static bool newest_event(const struct journal_told *told, int64_t vessel, enum event_kind kind,
                         struct event *found)
{
    void *rows = NULL;
    size_t count = 0;
    if (journal_all(told->journal, RECORD_EVENT, "vessel", vessel, told->arena, &rows, &count,
                    told->diags) != STATUS_OK)
        return false;
    const struct event *events = rows;
    for (size_t i = count; i-- > 0;) {
        bool stands = events[i].kind == kind;
        for (size_t k = i + 1; k < count && stands; k++)
            stands = events[k].corrects != events[i].id;
        if (stands) {
            *found = events[i];
            return true;
        }
    }
    return false;
}

static const char *date(struct moment moment, char room[MOMENT_ROOM])
{
    return moment_write_day(moment, room);
}

/* It is gone: say since when, and what to do if that is a slip. */
static const char *gone(const struct journal_told *told, const struct vessel *vessel)
{
    enum event_kind kind = vessel->state == VESSEL_USED ? EVENT_USE : EVENT_DISCARD;
    struct event event;
    char day[MOMENT_ROOM];

    if (!newest_event(told, vessel->id, kind, &event))
        return arena_format(told->arena, "%s was %s already", vessel->label,
                            vessel_state_words[vessel->state]);
    return arena_format(
        told->arena, "%s was %s on %s; if that is a slip: jarside correct deed %lld withdraw",
        vessel->label, vessel_state_words[vessel->state], date(event.at, day), (long long)event.id);
}

/* Isolated after the last look: nobody has looked since. */
static bool unseen_since_isolated(const struct journal_told *told, const struct vessel *vessel,
                                  const struct look *look)
{
    struct event event;
    return newest_event(told, vessel->id, EVENT_ISOLATE, &event) &&
           (look == NULL || look->at.seconds < event.at.seconds);
}

static const char *risk_of_look(const struct journal_told *told, const struct vessel *vessel,
                                const struct look *look)
{
    char day[MOMENT_ROOM];
    if (strcmp(look->action, action_name(ACTION_KEEP)) == 0)
        return NULL;
    return arena_format(told->arena,
                        "%s: its last look, on %s, said %s (%s likeliest). Look again before "
                        "anything else: jarside look %s",
                        vessel->label, date(look->at, day), look->action,
                        view_finding_name(told, look->finding), vessel->label);
}

static const char *risk(const struct journal_told *told, const struct vessel *vessel,
                        enum event_kind kind)
{
    struct look look;
    bool looked = event_last_look(told, vessel, &look);
    const char *why = looked ? risk_of_look(told, vessel, &look) : NULL;

    if (why != NULL)
        return why;
    if (vessel->fate == FATE_CONTAMINATED)
        return arena_format(told->arena,
                            "%s counts as contaminated. If that is a slip, correct the outcome or "
                            "look again; 'jarside life %s' tells more",
                            vessel->label, vessel->label);
    if (kind == EVENT_RETURN && unseen_since_isolated(told, vessel, looked ? &look : NULL))
        return arena_format(told->arena,
                            "%s was not looked at since it was isolated; look first: jarside look "
                            "%s",
                            vessel->label, vessel->label);
    if (kind != EVENT_RETURN && vessel->state == VESSEL_ISOLATED)
        return arena_format(told->arena,
                            "%s stands isolated; look at it, and if all is well: jarside return %s",
                            vessel->label, vessel->label);
    if (kind == EVENT_USE && vessel->control)
        return arena_format(told->arena, "%s is a control and was never inoculated", vessel->label);
    return NULL;
}

enum status event_objection(const struct journal_told *told, const struct vessel *vessel,
                            enum event_kind kind, struct moment at, struct objection *objection)
{
    struct batch batch;
    enum status status =
        journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, &batch, told->diags);
    *objection = (struct objection){OBJECTION_STATE, NULL};
    if (status != STATUS_OK)
        return status;
    if (vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED)
        objection->why = gone(told, vessel);
    else if (kind == EVENT_ISOLATE && vessel->state == VESSEL_ISOLATED)
        objection->why = arena_format(told->arena, "%s is isolated already", vessel->label);
    else if (kind == EVENT_RETURN && vessel->state != VESSEL_ISOLATED)
        objection->why = arena_format(told->arena, "%s is not isolated", vessel->label);
    else if (moment_day(at) < moment_day(batch.at))
        objection->why = arena_format(told->arena, "%s was not there yet at that time; batch %s",
                                      vessel->label, batch.label);
    else if (kind == EVENT_SHAKE || kind == EVENT_USE || kind == EVENT_RETURN)
        *objection = (struct objection){OBJECTION_RISK, risk(told, vessel, kind)};
    if (arena_exhausted(told->arena))
        return STATUS_MEMORY;
    if (objection->why == NULL)
        objection->kind = OBJECTION_NONE;
    return STATUS_OK;
}

/* ==== events =================================================================================== */

/* What is done with vessels: move, shake, isolate, return, discard, use. */

#define COMMON_ROWS                                                                                \
    {"at", "MOMENT", "when: 2026-03-01 18:30, yesterday, '3 days ago'; else now",                  \
     .kind = OPTION_TEXT},                                                                         \
        {"note", "WORDS", "anything to remember", .kind = OPTION_TEXT},                            \
        {"json", NULL, "print JSON", .kind = OPTION_FLAG},                                         \
    {                                                                                              \
        0                                                                                          \
    }

static const struct option options[] = {COMMON_ROWS};
static const struct option discard_options[] = {
    {"force", NULL, "a whole batch, without asking", .kind = OPTION_FLAG},
    COMMON_ROWS,
};

struct doing { /* one run of one of these commands */
    struct app *app;
    struct journal_told told;
    enum event_kind kind;
    struct moment at;
    const char *detail;
    struct place place;   /* of a move */
    struct chosen chosen; /* less what was passed over */
    const char *due;      /* ISO date of the next look, or "" */
    char due_room[MOMENT_ROOM];
};

/* ---- may it be done? ------------------------------------------------------------------------- */

/*
 * Leaves out of a whole batch what the event does not fit (what is gone already).
 * A vessel that was named, and any risk, stops everything: half a event is a trap.
 */
static enum status check_vessels(struct doing *doing)
{
    struct chosen *chosen = &doing->chosen;
    enum objection_kind worst = OBJECTION_NONE;
    size_t kept = 0;

    for (size_t i = 0; i < chosen->count; i++) {
        struct objection objection;
        enum status status =
            event_objection(&doing->told, &chosen->vessels[i], doing->kind, doing->at, &objection);
        if (status != STATUS_OK)
            return status;
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
        return app_usage(doing->app, "there is no vessel left to %s", event_words[doing->kind]);
    if (worst == OBJECTION_NONE)
        return STATUS_OK;
    if (kept > 0)
        diags_error(doing->app->diags, (struct position){0}, "nothing was recorded");
    enum status fault = STATUS_USAGE;
    return worst == OBJECTION_RISK ? STATUS_CHECK : fault;
}

/* A whole batch is thrown away on purpose, not by leaving out a number. */
static enum status confirm_discard(struct doing *doing)
{
    struct app *app = doing->app;
    char question[128];
    if (doing->kind != EVENT_DISCARD || !doing->chosen.whole ||
        arguments_flag(&app->arguments, "force"))
        return STATUS_OK;
    struct lines *lines = lines_open();
    if (lines == NULL)
        return app_usage(app, "that is %zu vessels at once; say --force if all are to go",
                         doing->chosen.count);
    snprintf(question, sizeof question, "Discard all %zu of them", doing->chosen.count);
    bool sure = lines_confirm(lines, question);
    lines_close(lines);
    return sure ? STATUS_OK : app_usage(app, "nothing was recorded");
}

/* ---- doing it -------------------------------------------------------------------------------- */

/* When to look next, after this event; 0 when there is nothing left to look at. */
static int64_t next_look(const struct doing *doing, const char **why)
{
    const struct rules *rules = doing->app->rules;
    double days = NAN;

    if (doing->kind == EVENT_SHAKE) {
        *why = "after the shake";
        days = fmax(rules->forecast.look_every, rules->forecast.shake_pause);
    } else if (doing->kind == EVENT_ISOLATE) {
        *why = "isolated";
        days = rules->decision.isolate_days;
    } else if (doing->kind == EVENT_RETURN) {
        *why = "back among the others";
        days = rules->forecast.look_every;
    }
    return isnan(days) ? 0 : moment_day(doing->at) + (int64_t)ceil(days);
}

static enum status record_event(struct doing *doing, const struct vessel *vessel)
{
    struct journal *journal = doing->app->journal;
    struct event event;
    const char *why = "";

    record_init(RECORD_EVENT, &event);
    event.vessel = vessel->id;
    event.at = doing->at;
    event.kind = doing->kind;
    event.place = doing->place.id;
    event.detail = doing->detail;
    enum status status = journal_add(journal, RECORD_EVENT, &event, doing->app->diags);
    if (status != STATUS_OK || doing->kind == EVENT_MOVE)
        return status;
    int64_t day = next_look(doing, &why);
    doing->due = day != 0 ? view_day(day, doing->due_room) : "";
    return journal_set_due(journal, vessel->id, day, why, doing->app->diags);
}

static enum status record_all(struct doing *doing)
{
    struct journal *journal = doing->app->journal;
    enum status status = journal_begin(journal, doing->app->diags);
    if (status != STATUS_OK)
        return status;
    if (doing->kind == EVENT_MOVE && doing->place.id == 0)
        status = journal_add(journal, RECORD_PLACE, &doing->place, doing->app->diags);
    for (size_t i = 0; i < doing->chosen.count && status == STATUS_OK; i++)
        status = record_event(doing, &doing->chosen.vessels[i]);
    if (status == STATUS_OK)
        status = journal_commit(journal, doing->app->diags);
    else
        journal_rollback(journal);
    return status;
}

/* ---- saying it ------------------------------------------------------------------------------- */

/* The step of the rules that a event goes by: they call it by the same word. */
static const char *usual_caution(const struct doing *doing)
{
    const struct decision_rules *decision = &doing->app->rules->decision;
    for (size_t i = 0; i < decision->next_step_count; i++)
        if (strcmp(decision->next_steps[i].id, event_words[doing->kind]) == 0)
            return decision->next_steps[i].say;
    return "";
}

static const struct look *riskiest_look(const struct doing *doing, struct look *look)
{
    struct look other;
    bool any = false;
    for (size_t i = 0; i < doing->chosen.count; i++)
        if (event_last_look(&doing->told, &doing->chosen.vessels[i], &other) &&
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
        if (!event_last_look(&doing->told, vessel, &look) ||
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
        [EVENT_MOVE] = "moved",
        [EVENT_SHAKE] = "shaken",
        [EVENT_ISOLATE] = "isolated",
        [EVENT_RETURN] = "put back among the others",
        [EVENT_DISCARD] = "discarded, closed",
        [EVENT_USE] = "used",
    };
    char day[MOMENT_ROOM];
    const char *where = doing->kind == EVENT_MOVE ? " to " : "";
    screen_say(&doing->app->out, 0, 2, ROLE_PLAIN, "%s: %s%s%s, %s.", vessels, done[doing->kind],
               where, doing->kind == EVENT_MOVE ? doing->place.label : "",
               moment_write_day(doing->at, day));
    if (doing->due != NULL && doing->due[0] != '\0')
        screen_say(&doing->app->out, 0, 2, ROLE_PLAIN, "Look again by %s: jarside look %s",
                   doing->due, doing->chosen.vessels[0].label);
}

static enum status tell_json(const struct doing *doing)
{
    json_t *cautions = json_array();
    struct look look;

    if (doing->kind == EVENT_DISCARD) {
        json_decref(cautions);
        cautions = view_handling_json(doing->app->rules, riskiest_look(doing, &look));
    } else if (doing->kind == EVENT_SHAKE) {
        cautions = view_json_append(cautions, json_string(usual_caution(doing)));
    }
    json_t *json = json_pack("{s:i, s:s, s:o, s:o, s:o, s:o, s:o}", "schema", 1, "deed",
                             event_words[doing->kind], "at", view_json_moment(doing->at), "vessels",
                             view_json_vessels(doing->chosen.vessels, doing->chosen.count), "place",
                             view_json_text(doing->place.label), "look_again",
                             view_json_text(doing->due), "cautions", cautions);
    return app_json(doing->app, json, false);
}

static enum status tell(const struct doing *doing)
{
    struct app *app = doing->app;
    struct text vessels;
    struct look look;

    if (arguments_flag(&app->arguments, "json"))
        return tell_json(doing);
    text_init(&vessels);
    view_vessels(&vessels, doing->chosen.vessels, doing->chosen.count);
    if (doing->kind == EVENT_DISCARD)
        view_handling(&app->out, app->rules, riskiest_look(doing, &look));
    if (doing->kind == EVENT_SHAKE)
        screen_item(&app->out, 0, "!", ROLE_WARN, usual_caution(doing));
    say_done(doing, vessels.failed ? "" : vessels.bytes);
    if (doing->kind == EVENT_ISOLATE)
        say_short_of_it(doing);
    text_release(&vessels);
    return app_flush(app);
}

/* ---- the commands ---------------------------------------------------------------------------- */

/* The last operand of a move says where to; a place not yet known is a new one. */
static enum status read_place(struct doing *doing, const char *label)
{
    const char *found = label;
    int64_t id = 0;

    record_init(RECORD_PLACE, &doing->place);
    if (labels_has(doing->app, RECORD_PLACE, label, doing->told.arena, &id, &found))
        return labels_find(doing->app, RECORD_PLACE, found, doing->told.arena, &doing->place);
    if (labels_has(doing->app, RECORD_VESSEL, label, doing->told.arena, &id, &found))
        return app_usage(doing->app, "where to? For instance: jarside move %s closet", label);
    doing->place.label = label;
    return STATUS_OK;
}

static enum status run_with(struct doing *doing)
{
    struct app *app = doing->app;
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    const char *note = arguments_value(&app->arguments, "note");
    enum status status = app_moment(app, "at", &doing->at);

    doing->detail = note != NULL ? note : "";
    doing->place.label = "";
    doing->told = app_told(app);
    if (status == STATUS_OK && doing->kind == EVENT_MOVE) {
        if (count < 2)
            return app_usage(app,
                             "which vessel, and where to? For instance: jarside move B3-7 closet");
        status = read_place(doing, words[--count]);
    }
    if (status == STATUS_OK)
        status = labels_vessels(app, words, count, doing->told.arena, &doing->chosen);
    if (status == STATUS_OK)
        status = check_vessels(doing);
    if (status == STATUS_OK)
        status = confirm_discard(doing);
    if (status == STATUS_OK)
        status = record_all(doing);
    return status == STATUS_OK ? tell(doing) : status;
}

static enum status run(struct app *app, enum event_kind kind)
{
    struct doing doing = {.app = app, .kind = kind};
    enum status status = app_open(app, JOURNAL_WRITE);
    if (status != STATUS_OK)
        return status;
    return run_with(&doing);
}

static enum status run_move(struct app *app)
{
    return run(app, EVENT_MOVE);
}

static enum status run_shake(struct app *app)
{
    return run(app, EVENT_SHAKE);
}

static enum status run_isolate(struct app *app)
{
    return run(app, EVENT_ISOLATE);
}

static enum status run_return(struct app *app)
{
    return run(app, EVENT_RETURN);
}

static enum status run_discard(struct app *app)
{
    return run(app, EVENT_DISCARD);
}

static enum status run_use(struct app *app)
{
    return run(app, EVENT_USE);
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

/* ==== confirm ================================================================================= */

static const struct option confirm_options[] = {
    {"cause", "CAUSE", "why, when that is known as well", .kind = OPTION_TEXT},
    {"how", "WORDS", "how it is known: opened outdoors, plated ...", .kind = OPTION_TEXT},
    {"at", "MOMENT", "when it was found out; else now", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

struct confirming {
    struct app *app;
    struct journal_told told;
    struct chosen chosen;
    struct outcome outcome; /* but for the vessel */
};

/* Labels come first; what follows is the finding. */
static size_t labels_at_front(struct confirming *confirming)
{
    const struct arguments *arguments = &confirming->app->arguments;
    const char *found = NULL;
    size_t count = arguments->operand_count > 0 ? 1 : 0;
    int64_t id = 0;
    while (count < arguments->operand_count) {
        const char *word = arguments->operands[count];
        bool number = word[strspn(word, "0123456789-.,")] == '\0';
        if (!number &&
            !labels_has(confirming->app, RECORD_VESSEL, word, confirming->app->arena, &id, &found))
            break;
        count++;
    }
    return count;
}

/* What it turned out to be, asked for at a terminal; NULL when nobody says. */
static const char *ask_finding(struct confirming *confirming)
{
    enum { MOST = 128 };
    const struct rules *rules = confirming->app->rules;
    const char *words[MOST];
    size_t count = 0;
    char *answer = NULL;
    struct lines *lines = lines_open();

    if (lines == NULL)
        return NULL;
    for (size_t i = 0; i < rules->finding_count && count < MOST; i++)
        words[count++] = rules->findings[i].id;
    enum line_answer how = lines_ask(lines, "What did it turn out to be (Tab shows the findings)",
                                     NULL, words, count, &answer);
    lines_close(lines);
    const char *copy = how == LINE_GIVEN ? arena_string(confirming->app->arena, answer) : NULL;
    free(answer);
    return copy;
}

static enum status read_finding(struct confirming *confirming, size_t from)
{
    struct app *app = confirming->app;
    const char *cause = arguments_value(&app->arguments, "cause");
    const char *how = arguments_value(&app->arguments, "how");
    const char *words =
        arena_join(app->arena, app->arguments.operands + from, app->arguments.operand_count - from);

    if (words == NULL)
        return STATUS_MEMORY;
    if (words[0] == '\0' && (words = ask_finding(confirming)) == NULL)
        return app_usage(app, "what did it turn out to be? For instance: jarside confirm B3-7 %s",
                         app->rules->finding_count > 0 ? app->rules->findings[0].id : "FINDING");
    int finding = assign_finding(app, words);
    if (finding == RULES_NONE)
        return STATUS_USAGE; /* and the message was shown */
    confirming->outcome.finding = app->rules->findings[finding].id;
    confirming->outcome.status = status_name(app->rules->findings[finding].status);
    confirming->outcome.how = how != NULL ? how : "";
    if (cause == NULL)
        return STATUS_OK;
    int index = assign_cause(app, cause);
    if (index == RULES_NONE)
        return STATUS_USAGE;
    confirming->outcome.cause = app->rules->causes[index].id;
    return STATUS_OK;
}

static enum status record(struct confirming *confirming)
{
    struct app *app = confirming->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < confirming->chosen.count && status == STATUS_OK; i++) {
        struct outcome outcome = confirming->outcome;
        outcome.vessel = confirming->chosen.vessels[i].id;
        status = journal_add(app->journal, RECORD_OUTCOME, &outcome, app->diags);
        if (status == STATUS_OK)
            status = journal_get(app->journal, RECORD_VESSEL, outcome.vessel, app->arena,
                                 &confirming->chosen.vessels[i], app->diags);
    }
    if (status == STATUS_OK)
        status = journal_commit(app->journal, app->diags);
    else
        journal_rollback(app->journal);
    return status;
}

static enum status confirm_tell_json(const struct confirming *confirming)
{
    const struct chosen *chosen = &confirming->chosen;
    return app_json(confirming->app,
                    json_pack("{s:i, s:o, s:s, s:s, s:o, s:o, s:o}", "schema", 1, "vessels",
                              view_json_vessels(chosen->vessels, chosen->count), "finding",
                              confirming->outcome.finding, "status", confirming->outcome.status,
                              "cause", view_json_text(confirming->outcome.cause), "how",
                              view_json_text(confirming->outcome.how), "at",
                              view_json_moment(confirming->outcome.at)),
                    false);
}

/* What still stands among the others although it is lost. */
static void say_still_there(const struct confirming *confirming)
{
    const struct chosen *chosen = &confirming->chosen;
    for (size_t i = 0; i < chosen->count; i++) {
        const struct vessel *vessel = &chosen->vessels[i];
        if (vessel->fate == FATE_CONTAMINATED && vessel->state != VESSEL_DISCARDED &&
            vessel->state != VESSEL_USED) {
            screen_say(&confirming->app->out, 0, 2, ROLE_WARN,
                       "%s is still on record as %s. Closed and out: jarside discard %s",
                       vessel->label, vessel_state_words[vessel->state], vessel->label);
            return;
        }
    }
}

static enum status confirm_tell(const struct confirming *confirming)
{
    struct app *app = confirming->app;
    const struct outcome *outcome = &confirming->outcome;
    struct text labels;

    if (arguments_flag(&app->arguments, "json"))
        return confirm_tell_json(confirming);
    text_init(&labels);
    view_vessels(&labels, confirming->chosen.vessels, confirming->chosen.count);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: confirmed as %s (%s)%s%s.", labels.bytes,
               view_finding_name(&confirming->told, outcome->finding), outcome->status,
               outcome->cause[0] != '\0' ? ", because of: " : "",
               view_cause_name(&confirming->told, outcome->cause));
    text_release(&labels);
    say_still_there(confirming);
    return app_flush(app);
}

static enum status confirm(struct confirming *confirming)
{
    struct app *app = confirming->app;
    size_t labels = labels_at_front(confirming);
    record_init(RECORD_OUTCOME, &confirming->outcome);
    enum status status = app_moment(app, "at", &confirming->outcome.at);
    if (status == STATUS_OK)
        status =
            labels_vessels(app, app->arguments.operands, labels, app->arena, &confirming->chosen);
    if (status == STATUS_OK)
        status = read_finding(confirming, labels);
    if (status == STATUS_OK)
        status = record(confirming);
    return status == STATUS_OK ? confirm_tell(confirming) : status;
}

static enum status run_confirm(struct app *app)
{
    struct confirming confirming = {.app = app};
    enum status status = app_open(app, JOURNAL_WRITE);
    if (status != STATUS_OK)
        return status;
    confirming.told = app_told(app);
    return confirm(&confirming);
}

const struct command command_confirm = {
    .name = "confirm",
    .summary = "records what a vessel turned out to be",
    .operands = "VESSEL... FINDING",
    .detail = "A finding by its id, its name or a part of the name; 'jarside show' lists them. "
              "--how says how it is known. It feeds the post-mortem and what the rules learn. "
              "Never open a "
              "suspect vessel to find out.",
    .options = confirm_options,
    .run = run_confirm,
};

/* ==== correct ================================================================================= */

/* Slips: a column of a record, or a further look, event or outcome that takes the place of one. */

static const struct option correct_options[] = {
    {"at", "MOMENT", "when it is corrected, if not now", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
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

static enum status correct_columns(struct correcting *correcting, enum record record,
                                   const char *label)
{
    struct app *app = correcting->app;
    struct assignment assignments[ASSIGN_MOST];
    union any_record row = {.named = {0, ""}};
    size_t many = 0;
    enum status fault = STATUS_OK;

    for (size_t i = 0; i < correcting->count && fault == STATUS_OK; i++) {
        fault = labels_find(app, record, label, app->arena, &row);
        if (fault == STATUS_OK)
            fault = assign_read(app, record, correcting->words[i], facts_of(record, &row),
                                app->arena, assignments, &many);
        for (size_t k = 0; k < many && fault == STATUS_OK; k++) {
            enum status status =
                journal_correct(app->journal, record, row.named.label, assignments[k].column,
                                assignments[k].value, correcting->at, app->diags);
            fault = status;
            if (strcmp(assignments[k].column, "label") == 0)
                label = assignments[k].value;
        }
    }
    return fault;
}

static enum status tell_record(struct correcting *correcting, enum record record, int64_t id)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    enum status status = journal_get(app->journal, record, id, app->arena, &row, app->diags);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app,
                        json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind",
                                  record_types[record].name, "did", "corrected", "record",
                                  view_record_json(&correcting->told, record, &row)),
                        false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: corrected; what it was is kept.",
               record_types[record].name, row.named.label);
    view_record(&app->out, &correcting->told, record, &row);
    return app_flush(app);
}

static enum status correct_record(struct correcting *correcting, enum record record,
                                  const char *label)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    enum status fault = labels_find(app, record, label, app->arena, &row);
    if (fault != STATUS_OK)
        return fault;
    if (correcting->count == 0)
        return app_usage(app, "correct what of it? For instance: jarside correct %s note='...'",
                         label);
    int64_t id = row.named.id;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return status;
    fault = correct_columns(correcting, record, row.named.label);
    if (fault != STATUS_OK) {
        journal_rollback(app->journal);
        return fault;
    }
    status = journal_commit(app->journal, app->diags);
    return status == STATUS_OK ? tell_record(correcting, record, id) : status;
}

/* ---- rows that are only added to ------------------------------------------------------------- */

/* "12", or the label of a vessel for its newest one. */
static enum status find_row(struct correcting *correcting, enum record record, const char *word,
                            union any_record *row)
{
    struct app *app = correcting->app;
    struct survey survey = survey_all(record, 1);
    struct vessel vessel = {.id = 0};
    struct page page;
    char *end = NULL;
    long long id = strtoll(word, &end, 10);

    if (isdigit((unsigned char)word[0]) && *end == '\0') {
        enum status status = journal_get(app->journal, record, id, app->arena, row, app->diags);
        return status;
    }
    enum status fault = labels_find(app, RECORD_VESSEL, word, app->arena, &vessel);
    if (fault != STATUS_OK)
        return fault;
    survey.vessel = vessel.id;
    enum status status = survey_page(app->journal, &survey, app->arena, &page, app->diags);
    if (status == STATUS_OK && page.count == 0)
        return app_usage(app, "%s has no %s to correct", vessel.label, record_types[record].name);
    if (status == STATUS_OK)
        status = journal_get(app->journal, record, page.ids[0], app->arena, row, app->diags);
    return status;
}

static enum status said(struct correcting *correcting, const char *what, long long id,
                        const char *vessel)
{
    struct app *app = correcting->app;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app,
                        json_pack("{s:i, s:s, s:I, s:o, s:s}", "schema", 1, "kind", what, "id",
                                  (json_int_t)id, "vessel", view_json_text(vessel), "did",
                                  "corrected"),
                        false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN,
               "%s: %s %lld no longer counts; it stays in the journal.", vessel, what, id);
    return app_flush(app);
}

static enum status correct_event(struct correcting *correcting, const char *word)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    struct vessel vessel = {.id = 0};
    enum status fault = find_row(correcting, RECORD_EVENT, word, &row);

    if (fault != STATUS_OK)
        return fault;
    if (correcting->count != 1 || strcmp(correcting->words[0], event_words[EVENT_WITHDRAW]) != 0)
        return app_usage(app, "a deed is taken back whole: jarside correct deed %s withdraw", word);
    struct event event = {.vessel = row.event.vessel,
                          .at = correcting->at,
                          .kind = EVENT_WITHDRAW,
                          .detail = "",
                          .corrects = row.event.id};
    enum status status = journal_begin(app->journal, app->diags);
    if (status == STATUS_OK)
        status = journal_add(app->journal, RECORD_EVENT, &event, app->diags);
    if (status == STATUS_OK)
        status =
            journal_get(app->journal, RECORD_VESSEL, event.vessel, app->arena, &vessel, app->diags);
    /* It is back, and nobody has planned a look at it. */
    if (status == STATUS_OK && vessel.state != VESSEL_DISCARDED && vessel.state != VESSEL_USED &&
        vessel.due == 0)
        status = journal_set_due(app->journal, vessel.id, moment_day(correcting->at),
                                 "back on record", app->diags);
    if (status == STATUS_OK)
        status = journal_commit(app->journal, app->diags);
    else
        journal_rollback(app->journal);
    return status == STATUS_OK ? said(correcting, "deed", (long long)event.corrects, vessel.label)
                               : status;
}

static enum status correct_outcome(struct correcting *correcting, const char *word)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    const char *words = arena_join(correcting->app->arena, correcting->words, correcting->count);
    enum status fault = find_row(correcting, RECORD_OUTCOME, word, &row);

    if (fault != STATUS_OK)
        return fault;
    if (words == NULL || words[0] == '\0')
        return app_usage(app, "what did it turn out to be instead?");
    int finding = assign_finding(app, words);
    if (finding == RULES_NONE)
        return STATUS_USAGE;
    struct outcome outcome = row.outcome;
    outcome.id = 0;
    outcome.at = correcting->at;
    outcome.finding = app->rules->findings[finding].id;
    outcome.status = status_name(app->rules->findings[finding].status);
    outcome.corrects = row.outcome.id;
    enum status status = journal_add(app->journal, RECORD_OUTCOME, &outcome, app->diags);
    if (status != STATUS_OK)
        return status;
    return said(correcting, "outcome", (long long)outcome.corrects,
                view_label(&correcting->told, RECORD_VESSEL, outcome.vessel));
}

/* The vessel is judged anew from the words, as if the old look had not been, on the day of the old. */
static enum status correct_look(struct correcting *correcting, const char *word)
{
    struct app *app = correcting->app;
    struct consultation consultation;
    const struct verdict *verdict = NULL;
    union any_record row = {.named = {0, ""}};
    struct look look;
    const char *words = arena_join(correcting->app->arena, correcting->words, correcting->count);
    enum status fault = find_row(correcting, RECORD_LOOK, word, &row);

    if (fault != STATUS_OK)
        return fault;
    if (words == NULL || words[0] == '\0')
        return app_usage(app, "what was seen instead? Say it in your own words");
    const struct consult_request request = {
        .label = view_label(&correcting->told, RECORD_VESSEL, row.look.vessel),
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
        return status;
    if (arguments_flag(&app->arguments, "json"))
        return said(correcting, "look", (long long)row.look.id, request.label);
    const struct told told = {app->rules, app->triage, verdict};
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: look %lld takes the place of look %lld.",
               request.label, (long long)look.id, (long long)row.look.id);
    view_verdict(&app->out, &told, false);
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

static enum status correct(struct correcting *correcting)
{
    struct app *app = correcting->app;
    enum status status = app_moment(app, "at", &correcting->at);
    correcting->words = app->arguments.operands;
    correcting->count = app->arguments.operand_count;
    if (status != STATUS_OK)
        return status;
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
    if (record == RECORD_EVENT)
        return correct_event(correcting, label);
    if (record == RECORD_OUTCOME)
        return correct_outcome(correcting, label);
    if (record == RECORD_PARENT || record == RECORD_EDIT)
        return app_usage(app, "a %s is not corrected", record_types[record].name);
    if (record == RECORD_COUNT && (record = kind_of(correcting, label)) == RECORD_COUNT)
        return STATUS_USAGE;
    return correct_record(correcting, record, label);
}

static enum status run_correct(struct app *app)
{
    struct correcting correcting = {.app = app};
    enum status status = app_open(app, JOURNAL_WRITE);
    if (status != STATUS_OK)
        return status;
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
    .options = correct_options,
    .run = run_correct,
};
