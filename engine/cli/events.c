/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is done with vessels (move, shake, isolate, return, discard, use), what they turned out to
 * be (confirm), and slips (correct).
 */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/assign.h"
#include "cli/cli.h"
#include "journal/consult.h"
#include "prompt/input.h"
#include "view/verdict.h"

/* ---- what may not be done -------------------------------------------------------------------- */

/*
 * A vessel that its last look did not call fit to keep, or that counts as contaminated, is not
 * shaken, used or put back among the others. Nothing but a fresh look lifts that.
 */
struct objection {
    enum objection_kind {
        OBJECTION_NONE,
        OBJECTION_STATE, /* it is done already, or the vessel is gone */
        OBJECTION_RISK,  /* it is not safe to do */
    } kind;
    const char *why; /* in the arena: "B1-3: ..." */
};

/* The newest look at a vessel that stands; false when there is none. */
static bool last_look(const struct app *app, const struct vessel *vessel, struct look *look)
{
    return vessel->last_look != 0 && journal_get(app->journal, RECORD_LOOK, vessel->last_look,
                                                 app->arena, look, app->diags) == STATUS_OK;
}

/* The newest event of a kind that no later one withdraws. */
static bool newest_event(const struct app *app, int64_t vessel, enum event_kind kind,
                         struct event *found)
{
    void *rows = NULL;
    size_t count = 0;
    if (journal_all(app->journal, RECORD_EVENT, "vessel", vessel, app->arena, &rows, &count,
                    app->diags) != STATUS_OK)
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

/* It is gone: since when, and what to do if that is a slip. */
static const char *gone(const struct app *app, const struct vessel *vessel)
{
    const char *how = vessel_state_words[vessel->state];
    struct event event;
    char day[MOMENT_ROOM];

    if (!newest_event(app, vessel->id, vessel->state == VESSEL_USED ? EVENT_USE : EVENT_DISCARD,
                      &event))
        return arena_format(app->arena, "%s was %s already", vessel->label, how);
    return arena_format(app->arena,
                        "%s was %s on %s; if that is a slip: jarside correct deed %lld withdraw",
                        vessel->label, how, moment_write_day(event.at, day), (long long)event.id);
}

/* Why it is not safe; NULL when nothing speaks against it. */
static const char *risk(const struct app *app, const struct vessel *vessel, enum event_kind kind)
{
    const char *label = vessel->label;
    struct event isolated;
    struct look look;
    char day[MOMENT_ROOM];
    bool looked = last_look(app, vessel, &look);

    if (looked && strcmp(look.action, action_name(ACTION_KEEP)) != 0)
        return arena_format(app->arena,
                            "%s: its last look, on %s, said %s (%s likeliest). Look again before "
                            "anything else: jarside look %s",
                            label, moment_write_day(look.at, day), look.action,
                            view_name(&app->view, LIST_FINDINGS, look.finding), label);
    if (vessel->fate == FATE_CONTAMINATED)
        return arena_format(app->arena,
                            "%s counts as contaminated. If that is a slip, correct the outcome or "
                            "look again; 'jarside life %s' tells more",
                            label, label);
    if (kind == EVENT_RETURN && newest_event(app, vessel->id, EVENT_ISOLATE, &isolated) &&
        (!looked || look.at.seconds < isolated.at.seconds))
        return arena_format(
            app->arena, "%s was not looked at since it was isolated; look first: jarside look %s",
            label, label);
    if (kind != EVENT_RETURN && vessel->state == VESSEL_ISOLATED)
        return arena_format(app->arena,
                            "%s stands isolated; look at it, and if all is well: jarside return %s",
                            label, label);
    if (kind == EVENT_USE && vessel->control)
        return arena_format(app->arena, "%s is a control and was never inoculated", label);
    return NULL;
}

static enum status object(const struct app *app, const struct vessel *vessel, enum event_kind kind,
                          struct moment at, struct objection *objection)
{
    const char *why = NULL;
    enum objection_kind objects = OBJECTION_STATE;
    struct batch batch;
    enum status status =
        journal_get(app->journal, RECORD_BATCH, vessel->batch, app->arena, &batch, app->diags);
    if (status != STATUS_OK)
        return status;
    if (vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED) {
        why = gone(app, vessel);
    } else if (kind == EVENT_ISOLATE && vessel->state == VESSEL_ISOLATED) {
        why = arena_format(app->arena, "%s is isolated already", vessel->label);
    } else if (kind == EVENT_RETURN && vessel->state != VESSEL_ISOLATED) {
        why = arena_format(app->arena, "%s is not isolated", vessel->label);
    } else if (moment_day(at) < moment_day(batch.at)) {
        why = arena_format(app->arena, "%s was not there yet at that time; batch %s", vessel->label,
                           batch.label);
    } else if (kind == EVENT_SHAKE || kind == EVENT_USE || kind == EVENT_RETURN) {
        objects = OBJECTION_RISK;
        why = risk(app, vessel, kind);
    }
    *objection = (struct objection){why != NULL ? objects : OBJECTION_NONE, why};
    return STATUS_OK;
}

/* ---- doing it -------------------------------------------------------------------------------- */

struct event_options {
    struct moment at;
    const char *note;
    bool force, json;
};
#define AT(member) .target = offsetof(struct event_options, member)

static const struct option discard_options[] = {
    {"force", NULL, "a whole batch, without asking", OPTION_FLAG, AT(force)},
    {"at", "MOMENT", "when: 2026-03-01 18:30, yesterday, '3 days ago'; else now", OPTION_MOMENT,
     AT(at)},
    {"note", "WORDS", "anything to remember", OPTION_TEXT, AT(note)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

struct doing { /* one run of one of these commands */
    struct app *app;
    struct event_options given;
    enum event_kind kind;
    struct place place;    /* of a move */
    struct chosen chosen;  /* less what was passed over */
    char due[MOMENT_ROOM]; /* ISO date of the next look, or "" */
};

/*
 * Leaves out of a whole batch what the event does not fit (what is gone already).
 * A vessel that was named, and any risk, stops everything: half of it done is a trap.
 */
static enum status check_vessels(struct doing *doing)
{
    struct app *app = doing->app;
    struct chosen *chosen = &doing->chosen;
    enum objection_kind worst = OBJECTION_NONE;
    size_t kept = 0;

    for (size_t i = 0; i < chosen->count; i++) {
        struct objection objection;
        enum status status =
            object(app, &chosen->vessels[i], doing->kind, doing->given.at, &objection);
        if (status != STATUS_OK)
            return status;
        if (objection.kind == OBJECTION_NONE)
            chosen->vessels[kept++] = chosen->vessels[i];
        if (objection.kind == OBJECTION_NONE ||
            (chosen->whole && objection.kind == OBJECTION_STATE))
            continue;
        app_usage(app, "%s", objection.why);
        worst = objection.kind > worst ? objection.kind : worst;
    }
    chosen->count = kept;
    if (worst == OBJECTION_NONE)
        return kept > 0 ? STATUS_OK
                        : app_usage(app, "there is no vessel left to %s", event_words[doing->kind]);
    if (kept > 0)
        app_usage(app, "nothing was recorded");
    return worst == OBJECTION_RISK ? STATUS_CHECK : STATUS_USAGE;
}

/* A whole batch is thrown away on purpose, not by leaving out a number. */
static enum status confirm_discard(struct doing *doing)
{
    char question[128];
    if (doing->kind != EVENT_DISCARD || !doing->chosen.whole || doing->given.force)
        return STATUS_OK;
    struct lines *lines = lines_open();
    if (lines == NULL)
        return app_usage(doing->app, "that is %zu vessels at once; say --force if all are to go",
                         doing->chosen.count);
    snprintf(question, sizeof question, "Discard all %zu of them", doing->chosen.count);
    bool sure = lines_confirm(lines, question);
    lines_close(lines);
    return sure ? STATUS_OK : app_usage(doing->app, "nothing was recorded");
}

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
    return isnan(days) ? 0 : moment_day(doing->given.at) + (int64_t)ceil(days);
}

static enum status record_event(struct doing *doing, const struct vessel *vessel)
{
    struct app *app = doing->app;
    struct event event;
    const char *why = "";

    record_init(RECORD_EVENT, &event);
    event.vessel = vessel->id;
    event.at = doing->given.at;
    event.kind = doing->kind;
    event.place = doing->place.id;
    event.detail = doing->given.note;
    enum status status = journal_add(app->journal, RECORD_EVENT, &event, app->diags);
    if (status != STATUS_OK || doing->kind == EVENT_MOVE)
        return status;
    int64_t day = next_look(doing, &why);
    if (day != 0)
        view_day(day, doing->due);
    return journal_set_due(app->journal, vessel->id, day, why, app->diags);
}

static enum status record_all(struct doing *doing)
{
    struct app *app = doing->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return status;
    if (doing->kind == EVENT_MOVE && doing->place.id == 0)
        status = journal_add(app->journal, RECORD_PLACE, &doing->place, app->diags);
    for (size_t i = 0; i < doing->chosen.count && status == STATUS_OK; i++)
        status = record_event(doing, &doing->chosen.vessels[i]);
    return app_commit(app, status);
}

/* ---- saying it ------------------------------------------------------------------------------- */

/* The step of the rules that an event goes by: they call it by the same word. */
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
        if (last_look(doing->app, &doing->chosen.vessels[i], &other) &&
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
        if (!last_look(doing->app, vessel, &look) ||
            strcmp(look.action, action_name(ACTION_DISCARD)) != 0)
            continue;
        screen_say(&doing->app->out, 0, 2, ROLE_WARN,
                   "The last look at %s said discard. Closed and out: jarside discard %s",
                   vessel->label, vessel->label);
        return;
    }
}

static enum status tell_json(const struct doing *doing)
{
    json_t *cautions = NULL;
    struct look look;

    if (doing->kind == EVENT_DISCARD)
        cautions = view_handling_json(doing->app->rules, riskiest_look(doing, &look));
    else if (doing->kind == EVENT_SHAKE)
        cautions = json_pack("[s]", usual_caution(doing));
    else
        cautions = json_array();
    return app_json(doing->app,
                    json_pack("{s:i, s:s, s:o, s:o, s:o, s:o, s:o}", "schema", 1, "deed",
                              event_words[doing->kind], "at", view_json_moment(doing->given.at),
                              "vessels",
                              view_json_vessels(doing->chosen.vessels, doing->chosen.count),
                              "place", view_json_text(doing->place.label), "look_again",
                              view_json_text(doing->due), "cautions", cautions),
                    false);
}

static enum status tell(const struct doing *doing)
{
    static const char *const done[] = {
        [EVENT_MOVE] = "moved to ",
        [EVENT_SHAKE] = "shaken",
        [EVENT_ISOLATE] = "isolated",
        [EVENT_RETURN] = "put back among the others",
        [EVENT_DISCARD] = "discarded, closed",
        [EVENT_USE] = "used",
    };
    struct app *app = doing->app;
    char day[MOMENT_ROOM];
    struct text vessels;
    struct look look;

    if (doing->given.json)
        return tell_json(doing);
    text_init(&vessels);
    view_vessels(&vessels, doing->chosen.vessels, doing->chosen.count);
    if (doing->kind == EVENT_DISCARD)
        view_handling(&app->out, app->rules, riskiest_look(doing, &look));
    if (doing->kind == EVENT_SHAKE)
        screen_item(&app->out, 0, "!", ROLE_WARN, usual_caution(doing));
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: %s%s, %s.", vessels.bytes, done[doing->kind],
               doing->place.label, moment_write_day(doing->given.at, day));
    text_release(&vessels);
    if (doing->due[0] != '\0')
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Look again by %s: jarside look %s", doing->due,
                   doing->chosen.vessels[0].label);
    if (doing->kind == EVENT_ISOLATE)
        say_short_of_it(doing);
    return app_flush(app);
}

/* ---- the commands ---------------------------------------------------------------------------- */

/* The last operand of a move says where to; a place not yet known is a new one. */
static enum status read_place(struct doing *doing, const char *label)
{
    const char *found = label;
    int64_t id = 0;

    record_init(RECORD_PLACE, &doing->place);
    if (labels_has(doing->app, RECORD_PLACE, label, &id, &found))
        return labels_find(doing->app, RECORD_PLACE, found, &doing->place);
    if (labels_has(doing->app, RECORD_VESSEL, label, &id, &found))
        return app_usage(doing->app, "where to? For instance: jarside move %s closet", label);
    doing->place.label = label;
    return STATUS_OK;
}

static enum status run_event(struct app *app)
{
    struct doing doing = {.app = app,
                          .kind = *(const enum event_kind *)app->command->data,
                          .given.note = "",
                          .place.label = ""};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    enum status status;

    if ((status = app_open(app, JOURNAL_WRITE)) || (status = options_fill(app, &doing.given)))
        return status;
    if (doing.kind == EVENT_MOVE && count < 2)
        return app_usage(app, "which vessel, and where to? For instance: jarside move B3-7 closet");
    if (doing.kind == EVENT_MOVE && (status = read_place(&doing, words[--count])))
        return status;
    if ((status = labels_vessels(app, words, count, &doing.chosen)) ||
        (status = check_vessels(&doing)) || (status = confirm_discard(&doing)) ||
        (status = record_all(&doing)))
        return status;
    return tell(&doing);
}

static const enum event_kind move = EVENT_MOVE, shake = EVENT_SHAKE, isolate = EVENT_ISOLATE,
                             put_back = EVENT_RETURN, discard = EVENT_DISCARD, use = EVENT_USE;

const struct command command_move = {
    .name = "move",
    .summary = "records that vessels stand elsewhere now",
    .operands = "VESSEL... PLACE",
    .detail =
        "A place not yet known is a new one. Vessels: B3-7, B3 3 7, B3-3..7, or B3 for all of it.",
    .options = discard_options + 1,
    .data = &move,
    .run = run_event,
};

const struct command command_shake = {
    .name = "shake",
    .summary = "records that vessels were broken up and shaken",
    .operands = "VESSEL...",
    .detail = "Refused for a vessel that its last look did not call fit to keep.",
    .options = discard_options + 1,
    .data = &shake,
    .run = run_event,
};

const struct command command_isolate = {
    .name = "isolate",
    .summary = "records that vessels were put apart, closed",
    .operands = "VESSEL...",
    .options = discard_options + 1,
    .data = &isolate,
    .run = run_event,
};

const struct command command_return = {
    .name = "return",
    .summary = "records that isolated vessels went back among the others",
    .operands = "VESSEL...",
    .detail = "Only after a look that came since and said keep.",
    .options = discard_options + 1,
    .data = &put_back,
    .run = run_event,
};

const struct command command_discard = {
    .name = "discard",
    .summary = "records that vessels were thrown away, closed, and says what to mind",
    .operands = "VESSEL...",
    .detail = "A whole batch (B3) asks first; --force answers for a program.",
    .options = discard_options,
    .data = &discard,
    .run = run_event,
};

const struct command command_use = {
    .name = "use",
    .summary = "records that vessels were used",
    .operands = "VESSEL...",
    .detail = "Refused for a vessel that its last look did not call fit to keep.",
    .options = discard_options + 1,
    .data = &use,
    .run = run_event,
};

/* ==== confirm ================================================================================= */

struct confirming {
    struct app *app;
    struct chosen chosen;
    struct outcome outcome; /* but for the vessel */
    const char *cause, *how;
    bool json;
};
#define AT(member) .target = offsetof(struct confirming, member)

static const struct option confirm_options[] = {
    {"cause", "CAUSE", "why, when that is known as well", OPTION_TEXT, AT(cause)},
    {"how", "WORDS", "how it is known: opened outdoors, plated ...", OPTION_TEXT, AT(how)},
    {"at", "MOMENT", "when it was found out; else now", OPTION_MOMENT, AT(outcome.at)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

/* Labels come first; what follows is the finding. */
static size_t labels_at_front(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    const char *found = NULL;
    size_t count = arguments->operand_count > 0 ? 1 : 0;
    int64_t id = 0;
    while (count < arguments->operand_count) {
        const char *word = arguments->operands[count];
        bool number = word[strspn(word, "0123456789-.,")] == '\0';
        if (!number && !labels_has(app, RECORD_VESSEL, word, &id, &found))
            break;
        count++;
    }
    return count;
}

/* What it turned out to be, asked for at a terminal; NULL when nobody says. */
static const char *ask_finding(struct app *app)
{
    enum { MOST = 128 };
    const char *words[MOST];
    size_t count = 0;
    char *answer = NULL;
    struct lines *lines = lines_open();

    if (lines == NULL)
        return NULL;
    for (size_t i = 0; i < app->rules->finding_count && count < MOST; i++)
        words[count++] = app->rules->findings[i].id;
    enum line_answer how = lines_ask(lines, "What did it turn out to be (Tab shows the findings)",
                                     NULL, words, count, &answer);
    lines_close(lines);
    const char *copy = how == LINE_GIVEN ? arena_string(app->arena, answer) : NULL;
    free(answer);
    return copy;
}

static enum status set_finding(struct app *app, struct outcome *outcome, const char *words)
{
    int finding = RULES_NONE;
    enum status status = assign_finding(app, words, &finding);
    if (status != STATUS_OK)
        return status;
    outcome->finding = app->rules->findings[finding].id;
    outcome->status = status_name(app->rules->findings[finding].status);
    return STATUS_OK;
}

static enum status read_finding(struct confirming *confirming, size_t from)
{
    struct app *app = confirming->app;
    const struct rules *rules = app->rules;
    const char *words =
        arena_join(app->arena, app->arguments.operands + from, app->arguments.operand_count - from);
    int cause = RULES_NONE;
    enum status status;

    if (words[0] == '\0' && (words = ask_finding(app)) == NULL)
        return app_usage(app, "what did it turn out to be? For instance: jarside confirm B3-7 %s",
                         rules->finding_count > 0 ? rules->findings[0].id : "FINDING");
    if ((status = set_finding(app, &confirming->outcome, words)))
        return status;
    confirming->outcome.how = confirming->how;
    if (confirming->cause == NULL)
        return STATUS_OK;
    status = assign_cause(app, confirming->cause, &cause);
    if (status == STATUS_OK)
        confirming->outcome.cause = rules->causes[cause].id;
    return status;
}

static enum status record_outcomes(struct confirming *confirming)
{
    struct app *app = confirming->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < confirming->chosen.count && status == STATUS_OK; i++) {
        struct outcome outcome = confirming->outcome;
        struct vessel *vessel = &confirming->chosen.vessels[i];
        outcome.vessel = vessel->id;
        status = journal_add(app->journal, RECORD_OUTCOME, &outcome, app->diags);
        if (status == STATUS_OK)
            status = journal_get(app->journal, RECORD_VESSEL, outcome.vessel, app->arena, vessel,
                                 app->diags);
    }
    return app_commit(app, status);
}

/* What still stands among the others although it is lost. */
static void say_still_there(const struct confirming *confirming)
{
    for (size_t i = 0; i < confirming->chosen.count; i++) {
        const struct vessel *vessel = &confirming->chosen.vessels[i];
        if (vessel->fate == FATE_CONTAMINATED && vessel->state != VESSEL_DISCARDED &&
            vessel->state != VESSEL_USED) {
            screen_say(&confirming->app->out, 0, 2, ROLE_WARN,
                       "%s is still on record as %s. Closed and out: jarside discard %s",
                       vessel->label, vessel_state_words[vessel->state], vessel->label);
            return;
        }
    }
}

static enum status tell_confirmed(const struct confirming *confirming)
{
    struct app *app = confirming->app;
    const struct chosen *chosen = &confirming->chosen;
    const struct outcome *outcome = &confirming->outcome;
    struct text labels;

    if (confirming->json)
        return app_json(app,
                        json_pack("{s:i, s:o, s:s, s:s, s:o, s:o, s:o}", "schema", 1, "vessels",
                                  view_json_vessels(chosen->vessels, chosen->count), "finding",
                                  outcome->finding, "status", outcome->status, "cause",
                                  view_json_text(outcome->cause), "how",
                                  view_json_text(outcome->how), "at",
                                  view_json_moment(outcome->at)),
                        false);
    text_init(&labels);
    view_vessels(&labels, chosen->vessels, chosen->count);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: confirmed as %s (%s)%s%s.", labels.bytes,
               view_name(&app->view, LIST_FINDINGS, outcome->finding), outcome->status,
               outcome->cause[0] != '\0' ? ", because of: " : "",
               view_name(&app->view, LIST_CAUSES, outcome->cause));
    text_release(&labels);
    say_still_there(confirming);
    return app_flush(app);
}

static enum status run_confirm(struct app *app)
{
    struct confirming confirming = {.app = app, .how = ""};
    enum status status = app_open(app, JOURNAL_WRITE);
    if (status != STATUS_OK)
        return status;
    record_init(RECORD_OUTCOME, &confirming.outcome);
    size_t labels = labels_at_front(app);
    if ((status = options_fill(app, &confirming)) ||
        (status = labels_vessels(app, app->arguments.operands, labels, &confirming.chosen)) ||
        (status = read_finding(&confirming, labels)) || (status = record_outcomes(&confirming)))
        return status;
    return tell_confirmed(&confirming);
}

const struct command command_confirm = {
    .name = "confirm",
    .summary = "records what a vessel turned out to be",
    .operands = "VESSEL... FINDING",
    .detail = "A finding by its id, its name or a part of the name; 'jarside show' lists them. "
              "--how says how it is known. It feeds the post-mortem and what the rules learn. "
              "Never open a suspect vessel to find out.",
    .options = confirm_options,
    .run = run_confirm,
};

/* ==== correct ================================================================================= */

/* Slips: a column of a record, or a further look, event or outcome that takes the place of one. */

struct correcting {
    struct app *app;
    struct moment at;
    bool json;
    const char *const *words; /* of the command, less those that were read */
    size_t count;
};
#define AT(member) .target = offsetof(struct correcting, member)

static const struct option correct_options[] = {
    {"at", "MOMENT", "when it is corrected, if not now", OPTION_MOMENT, AT(at)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

/* ---- records with a label -------------------------------------------------------------------- */

static enum status correct_columns(struct correcting *correcting, enum record record,
                                   const char *label)
{
    struct app *app = correcting->app;
    struct assignment assignments[ASSIGN_MOST];
    union any_record row = {.named = {0, ""}};
    size_t many = 0;
    enum status status = STATUS_OK;

    for (size_t i = 0; i < correcting->count && status == STATUS_OK; i++) {
        if ((status = labels_find(app, record, label, &row)) ||
            (status = assign_read(app, record, correcting->words[i], &row, assignments, &many)))
            return status;
        for (size_t k = 0; k < many && status == STATUS_OK; k++) {
            status = journal_correct(app->journal, record, row.named.label, assignments[k].column,
                                     assignments[k].value, correcting->at, app->diags);
            if (strcmp(assignments[k].column, "label") == 0)
                label = assignments[k].value;
        }
    }
    return status;
}

static enum status correct_record(struct correcting *correcting, enum record record,
                                  const char *label)
{
    struct app *app = correcting->app;
    union any_record row = {.named = {0, ""}};
    enum status status = labels_find(app, record, label, &row);
    if (status != STATUS_OK)
        return status;
    if (correcting->count == 0)
        return app_usage(app, "correct what of it? For instance: jarside correct %s note='...'",
                         label);
    if ((status = journal_begin(app->journal, app->diags)))
        return status;
    status = app_commit(app, correct_columns(correcting, record, row.named.label));
    if (status == STATUS_OK)
        status = journal_get(app->journal, record, row.named.id, app->arena, &row, app->diags);
    if (status != STATUS_OK)
        return status;
    if (correcting->json)
        return app_json(app,
                        json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind",
                                  record_types[record].name, "did", "corrected", "record",
                                  view_record_json(&app->view, record, &row)),
                        false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: corrected; what it was is kept.",
               record_types[record].name, row.named.label);
    view_record(&app->out, &app->view, record, &row);
    return app_flush(app);
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
    int64_t id = strtoll(word, &end, 10);
    enum status status;

    if (!isdigit((unsigned char)word[0]) || *end != '\0') {
        if ((status = labels_find(app, RECORD_VESSEL, word, &vessel)))
            return status;
        survey.vessel = vessel.id;
        if ((status = survey_page(app->journal, &survey, app->arena, &page, app->diags)))
            return status;
        if (page.count == 0)
            return app_usage(app, "%s has no %s to correct", vessel.label,
                             record_types[record].name);
        id = page.ids[0];
    }
    return journal_get(app->journal, record, id, app->arena, row, app->diags);
}

static enum status said(struct correcting *correcting, const char *what, long long id,
                        const char *vessel)
{
    struct app *app = correcting->app;
    if (correcting->json)
        return app_json(app,
                        json_pack("{s:i, s:s, s:I, s:o, s:s}", "schema", 1, "kind", what, "id",
                                  (json_int_t)id, "vessel", view_json_text(vessel), "did",
                                  "corrected"),
                        false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN,
               "%s: %s %lld no longer counts; it stays in the journal.", vessel, what, id);
    return app_flush(app);
}

static enum status correct_event(struct correcting *correcting, const char *word,
                                 const struct event *old)
{
    struct app *app = correcting->app;
    struct vessel vessel = {.id = 0};
    enum status status;

    if (correcting->count != 1 || strcmp(correcting->words[0], event_words[EVENT_WITHDRAW]) != 0)
        return app_usage(app, "a deed is taken back whole: jarside correct deed %s withdraw", word);
    struct event event = {.vessel = old->vessel,
                          .at = correcting->at,
                          .kind = EVENT_WITHDRAW,
                          .detail = "",
                          .corrects = old->id};
    if ((status = journal_begin(app->journal, app->diags)))
        return status;
    status = journal_add(app->journal, RECORD_EVENT, &event, app->diags);
    if (status == STATUS_OK)
        status =
            journal_get(app->journal, RECORD_VESSEL, event.vessel, app->arena, &vessel, app->diags);
    /* It is back, and nobody has planned a look at it. */
    if (status == STATUS_OK && vessel.state != VESSEL_DISCARDED && vessel.state != VESSEL_USED &&
        vessel.due == 0)
        status = journal_set_due(app->journal, vessel.id, moment_day(correcting->at),
                                 "back on record", app->diags);
    status = app_commit(app, status);
    return status == STATUS_OK ? said(correcting, "deed", (long long)old->id, vessel.label)
                               : status;
}

static enum status correct_outcome(struct correcting *correcting, const char *words,
                                   const struct outcome *old)
{
    struct app *app = correcting->app;
    struct outcome outcome = *old;
    enum status status;

    if (words[0] == '\0')
        return app_usage(app, "what did it turn out to be instead?");
    outcome.id = 0;
    outcome.at = correcting->at;
    outcome.corrects = old->id;
    if ((status = set_finding(app, &outcome, words)) ||
        (status = journal_add(app->journal, RECORD_OUTCOME, &outcome, app->diags)))
        return status;
    return said(correcting, "outcome", (long long)old->id,
                view_label(&app->view, RECORD_VESSEL, outcome.vessel));
}

/* The vessel is judged anew from the words, as if the old look had not been, on the day of the old. */
static enum status correct_look(struct correcting *correcting, const char *words,
                                const struct look *old)
{
    struct app *app = correcting->app;
    struct consultation consultation;
    const struct verdict *verdict = NULL;
    struct look look;
    enum status status;

    if (words[0] == '\0')
        return app_usage(app, "what was seen instead? Say it in your own words");
    const struct consult_request request = {.label =
                                                view_label(&app->view, RECORD_VESSEL, old->vessel),
                                            .now = old->at,
                                            .corrects = old->id};
    if ((status = consult_vessel(app->journal, &request, app->triage, app->arena, &consultation,
                                 app->diags)) ||
        (status = triage_tell(app->triage, words, strlen(words), app->diags)) ||
        (status = consult_save(app->journal, &consultation, app->triage, words, app->arena, &look,
                               &verdict, app->diags)))
        return status;
    if (correcting->json)
        return said(correcting, "look", (long long)old->id, request.label);
    const struct judged told = {app->rules, app->triage, verdict};
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: look %lld takes the place of look %lld.",
               request.label, (long long)look.id, (long long)old->id);
    view_verdict(&app->out, &told, false);
    return app_flush(app);
}

/* ---- which ----------------------------------------------------------------------------------- */

/* The one kind of record that has this label. */
static enum status kind_of(struct app *app, const char *label, enum record *kind)
{
    static const enum record kinds[] = {RECORD_VESSEL, RECORD_BATCH,   RECORD_STARTER, RECORD_COOK,
                                        RECORD_LOT,    RECORD_SESSION, RECORD_PLACE};
    const char *found = NULL;
    int64_t id = 0;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        if (!labels_has(app, kinds[i], label, &id, &found))
            continue;
        if (*kind != RECORD_COUNT)
            return app_usage(app, "'%s' is a %s and a %s; say which: jarside correct %s %s ...",
                             label, record_types[*kind].name, record_types[kinds[i]].name,
                             record_types[*kind].name, label);
        *kind = kinds[i];
    }
    return *kind != RECORD_COUNT
               ? STATUS_OK
               : app_usage(app,
                           "nothing in the journal is called '%s'; 'jarside list' shows what "
                           "there is",
                           label);
}

static enum status run_correct(struct app *app)
{
    struct correcting correcting = {.app = app};
    const struct arguments *arguments = &app->arguments;
    union any_record row = {.named = {0, ""}};
    enum status status;

    if ((status = app_open(app, JOURNAL_WRITE)) || (status = options_fill(app, &correcting)))
        return status;
    size_t read = 0;
    enum record record =
        arguments->operand_count > 1 ? labels_kind(arguments->operands[0]) : RECORD_COUNT;
    if (record != RECORD_COUNT)
        read++;
    if (read == arguments->operand_count)
        return app_usage(app, "correct what? For instance: jarside correct B3 species=oyster, or: "
                              "jarside correct deed 4 withdraw");
    const char *label = arguments->operands[read++];
    correcting.words = arguments->operands + read;
    correcting.count = arguments->operand_count - read;
    if (record == RECORD_PARENT || record == RECORD_EDIT)
        return app_usage(app, "a %s is not corrected", record_types[record].name);
    if (record == RECORD_LOOK || record == RECORD_EVENT || record == RECORD_OUTCOME) {
        const char *words = arena_join(app->arena, correcting.words, correcting.count);
        if ((status = find_row(&correcting, record, label, &row)))
            return status;
        return record == RECORD_LOOK    ? correct_look(&correcting, words, &row.look)
               : record == RECORD_EVENT ? correct_event(&correcting, label, &row.event)
                                        : correct_outcome(&correcting, words, &row.outcome);
    }
    if (record == RECORD_COUNT && (status = kind_of(app, label, &record)))
        return status;
    return correct_record(&correcting, record, label);
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
