/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is done with vessels (move, shake, isolate, return, discard, use), what they turned out to
 * be (confirm), and corrections (correct).
 */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/assign.h"
#include "cli/cli.h"
#include "cli/look.h"
#include "journal/consult.h"
#include "journal/mapping.h"
#include "view/verdict.h"

/* The newest look at a vessel that stands; false when there is none. */
static bool last_look(struct app *app, const struct vessel *vessel, struct look *look)
{
    if (vessel->last_look != 0)
        app_get(app, RECORD_LOOK, vessel->last_look, look);
    return vessel->last_look != 0;
}

/* ---- what may not be done -------------------------------------------------------------------- */

/*
 * A vessel that its last look did not call fit to keep, or that counts as contaminated, is not
 * shaken, used or put back among the others. Nothing but a fresh look lifts that.
 */
enum objection {
    OBJECTION_NONE,
    OBJECTION_STATE, /* it is done already, or the vessel is gone */
    OBJECTION_RISK,  /* it is not safe to do */
};

/* The newest event of a kind that no later one withdraws. */
static bool newest_event(struct app *app, int64_t vessel, enum event_kind kind, struct event *found)
{
    struct event *events = NULL;
    size_t count = 0;
    app_must(app, journal_standing(app->journal, RECORD_EVENT, vessel, app->arena, (void **)&events,
                                   &count, app->diags));
    while (count > 0 && events[count - 1].kind != kind)
        count--;
    if (count > 0)
        *found = events[count - 1];
    return count > 0;
}

const char *vessel_risk(struct app *app, const struct vessel *vessel, enum event_kind kind)
{
    const char *label = vessel->label;
    struct event isolated;
    struct look look;
    char day[MOMENT_ROOM];
    bool looked = last_look(app, vessel, &look);

    if (looked && strcmp(look.action, action_name(ACTION_KEEP)) != 0)
        return arena_format(app->arena,
                            "%s: its last look, on %s, said %s (most likely %s). Look again before "
                            "anything else: jarside look %s",
                            label, moment_write_day(look.at, day), look.action,
                            view_name(&app->view, LIST_FINDINGS, look.finding), label);
    if (vessel->fate == FATE_CONTAMINATED)
        return arena_format(app->arena,
                            "%s counts as contaminated. If that is a mistake, correct the outcome "
                            "or look again; 'jarside history %s' shows why",
                            label, label);
    if (kind == EVENT_RETURN && newest_event(app, vessel->id, EVENT_ISOLATE, &isolated) &&
        (!looked || look.at.seconds < isolated.at.seconds))
        return arena_format(app->arena,
                            "there is no look at %s since it was isolated; look first: jarside "
                            "look %s",
                            label, label);
    if (kind != EVENT_RETURN && vessel->state == VESSEL_ISOLATED)
        return arena_format(app->arena,
                            "%s is isolated; look at it, and if all is well: jarside return %s",
                            label, label);
    if (kind == EVENT_USE && vessel->control)
        return arena_format(app->arena, "%s is a control and was never inoculated", label);
    return NULL;
}

/* What speaks against it, and why ("B1-3: ..."), in the arena. */
static enum objection object(struct app *app, const struct vessel *vessel, enum event_kind kind,
                             struct moment at, const char **why)
{
    enum event_kind end = vessel->state == VESSEL_USED ? EVENT_USE : EVENT_DISCARD;
    const char *label = vessel->label, *how = vessel_state_words[vessel->state];
    struct event event;
    struct batch batch;
    char day[MOMENT_ROOM];

    app_get(app, RECORD_BATCH, vessel->batch, &batch);
    if (vessel_gone(vessel) && newest_event(app, vessel->id, end, &event)) {
        *why = arena_format(
            app->arena,
            "%s was %s on %s; if that is a mistake: jarside correct event %lld withdraw", label,
            how, moment_write_day(event.at, day), (long long)event.id);
    } else if (vessel_gone(vessel)) {
        *why = arena_format(app->arena, "%s was %s already", label, how);
    } else if (kind == EVENT_ISOLATE && vessel->state == VESSEL_ISOLATED) {
        *why = arena_format(app->arena, "%s is isolated already", label);
    } else if (kind == EVENT_RETURN && vessel->state != VESSEL_ISOLATED) {
        *why = arena_format(app->arena, "%s is not isolated", label);
    } else if (moment_day(at) < moment_day(batch.at)) {
        *why = arena_format(app->arena, "%s was not there yet at that time; batch %s", label,
                            batch.label);
    } else if (kind == EVENT_SHAKE || kind == EVENT_USE || kind == EVENT_RETURN) {
        *why = vessel_risk(app, vessel, kind);
        return *why != NULL ? OBJECTION_RISK : OBJECTION_NONE;
    } else {
        return OBJECTION_NONE;
    }
    return OBJECTION_STATE;
}

/* ---- doing it -------------------------------------------------------------------------------- */

struct doing { /* one run of one of these commands */
    struct app *app;
    struct moment at;
    const char *note;
    int because;        /* which of because_words, less one; -1 when not said */
    const char *reason; /* the same in the grower's words, or NULL */
    bool force, fresh, json;
    enum event_kind kind;
    struct place place;   /* of a move */
    struct chosen chosen; /* less what was passed over */
    const char *due;      /* ISO date of the next look, or "" */
};
#define AT(member) .target = offsetof(struct doing, member)

#define EVENT_OPTIONS                                                                              \
    {"at", "MOMENT", "when: 2026-03-01 18:30, yesterday, '28 Feb'; else now", OPTION_MOMENT,       \
     AT(at)},                                                                                      \
        {"note", "WORDS", "anything to remember", OPTION_TEXT, AT(note)},                          \
        {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},                                       \
    {                                                                                              \
        0                                                                                          \
    }

static const struct option event_options[] = {EVENT_OPTIONS};
static const struct option move_options[] = {
    {"new", NULL, "the place is a new one, although there is one called nearly so", OPTION_FLAG,
     AT(fresh)},
    EVENT_OPTIONS};
static const struct option discard_options[] = {
    {"yes", NULL, "a whole batch, without asking", OPTION_FLAG, AT(force)},
    {"force", NULL, "the same", OPTION_FLAG, AT(force)},
    {"because", "REASON",
     "contaminated, stuck, broken, sold, given, used, slip (recorded by mistake); or what was seen",
     OPTION_TEXT, AT(reason)},
    EVENT_OPTIONS};
#undef AT

/*
 * Leaves out of a whole batch what the event does not fit (what is gone already).
 * A vessel that was named, and any risk, stops everything: half of it done is a trap.
 */
static void check_vessels(struct doing *doing)
{
    struct app *app = doing->app;
    struct chosen *chosen = &doing->chosen;
    enum objection worst = OBJECTION_NONE;
    size_t kept = 0;

    for (size_t i = 0; i < chosen->count; i++) {
        const char *why = NULL;
        enum objection objection = object(app, &chosen->vessels[i], doing->kind, doing->at, &why);
        if (objection == OBJECTION_NONE)
            chosen->vessels[kept++] = chosen->vessels[i];
        if (objection == OBJECTION_NONE || (chosen->whole && objection == OBJECTION_STATE))
            continue;
        app_usage(app, "%s", why);
        worst = objection > worst ? objection : worst;
    }
    chosen->count = kept;
    if (worst == OBJECTION_NONE && kept == 0)
        app_stop(app, "there is no vessel left to %s", event_words[doing->kind]);
    if (worst != OBJECTION_NONE && kept > 0)
        app_usage(app, "nothing was recorded");
    app_must(app, worst == OBJECTION_RISK    ? STATUS_CHECK
                  : worst == OBJECTION_STATE ? STATUS_USAGE
                                             : STATUS_OK);
}

static void record_event(struct doing *doing, const struct vessel *vessel)
{
    struct app *app = doing->app;
    const struct rules *rules = app->rules;
    struct event event;
    const char *why = "";
    double days = NAN; /* to the next look; unless there is nothing left to look at */
    char room[MOMENT_ROOM];

    record_init(RECORD_EVENT, &event);
    event.vessel = vessel->id;
    event.at = doing->at;
    event.kind = doing->kind;
    event.place = doing->place.id;
    event.detail = doing->note;
    event.because = (enum because)(doing->because + 1);
    app_add(app, RECORD_EVENT, &event);
    if (doing->kind == EVENT_MOVE)
        return;
    if (doing->kind == EVENT_SHAKE) {
        why = "after the shake";
        days = fmax(rules->forecast.look_every, rules->forecast.shake_pause);
    } else if (doing->kind == EVENT_ISOLATE) {
        why = "isolated";
        days = rules->decision.isolate_days;
    } else if (doing->kind == EVENT_RETURN) {
        why = "back among the others";
        days = rules->forecast.look_every;
    }
    int64_t today = moment_day(app->view.now);
    int64_t day = isnan(days) ? 0 : moment_day(doing->at) + (int64_t)ceil(days);
    day = day != 0 && day < today ? today : day; /* what was done long ago is looked at now */
    if (day != 0)
        doing->due = arena_string(app->arena, view_day(day, room));
    app_must(app, journal_set_due(app->journal, vessel->id, day, why, app->diags));
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
    const struct chosen *chosen = &doing->chosen;
    char day[MOMENT_ROOM];
    struct look look, risky = {.contaminated = -1.0};
    const char *to_discard = NULL; /* the first whose last look said so */

    for (size_t i = 0; i < chosen->count; i++) {
        if (!last_look(app, &chosen->vessels[i], &look))
            continue;
        if (look.contaminated > risky.contaminated)
            risky = look;
        if (to_discard == NULL && strcmp(look.action, action_name(ACTION_DISCARD)) == 0)
            to_discard = chosen->vessels[i].label;
    }
    const struct look *riskiest = risky.id != 0 ? &risky : NULL;

    if (doing->json) {
        json_t *cautions = doing->kind == EVENT_DISCARD ? view_handling_json(app->rules, riskiest)
                           : doing->kind == EVENT_SHAKE ? json_pack("[s]", usual_caution(doing))
                                                        : json_array();
        return app_json(app, json_pack("{s:i, s:s, s:o, s:o, s:o, s:o, s:o}", "schema", 1, "event",
                                       event_words[doing->kind], "at", view_json_moment(doing->at),
                                       "vessels", view_json_vessels(chosen->vessels, chosen->count),
                                       "place", view_json_text(doing->place.label), "look_again",
                                       view_json_text(doing->due), "cautions", cautions));
    }
    if (doing->kind == EVENT_DISCARD)
        view_handling(&app->out, app->rules, riskiest);
    if (doing->kind == EVENT_SHAKE)
        screen_item(&app->out, 0, "!", ROLE_WARN, usual_caution(doing));
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: %s%s, %s.",
               app_vessels(app, chosen->vessels, chosen->count), done[doing->kind],
               doing->place.label, moment_write_day(doing->at, day));
    if (doing->due[0] != '\0')
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Look again by %s: jarside look %s", doing->due,
                   chosen->vessels[0].label);
    if (doing->kind == EVENT_ISOLATE && to_discard != NULL)
        screen_say(&app->out, 0, 2, ROLE_WARN,
                   "The last look at %s said discard. Closed and out: jarside discard %s",
                   to_discard, to_discard);
    return app_flush(app);
}

/* ---- the commands ---------------------------------------------------------------------------- */

/* "broken", "because they were wet and stank": why, of the list, as far as the usual words for it tell;
 * what else was said stays as a note. */
static void read_reason(struct doing *doing, const char *words)
{
    struct app *app = doing->app;
    if (strncasecmp(words, "because ", 8) == 0)
        words += 8;
    enum because because = because_of_words(app->rules, words, app->arena);
    doing->because = (int)because - 1;
    if (because != BECAUSE_UNTOLD && strcasecmp(because_words[because], words) == 0)
        return;
    doing->note =
        doing->note[0] == '\0' ? words : arena_format(app->arena, "%s; %s", words, doing->note);
}

static enum status run_event(struct app *app)
{
    struct doing doing = {.app = app, .because = -1, .note = "", .due = ""};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    int64_t id = 0;

    while (strcmp(event_words[doing.kind], app->command->name) != 0)
        doing.kind++;
    app_open(app, JOURNAL_WRITE);
    options_fill(app, &doing);
    record_init(RECORD_PLACE, &doing.place);
    if (doing.kind == EVENT_MOVE) { /* the last word says where to; a new place is made */
        if (count < 2)
            app_stop(app, "which vessel, and where to? For instance: jarside move B3-7 closet");
        const char *label = words[--count], *found = label;
        if (labels_has(app, RECORD_PLACE, label, &id, &found))
            app_get(app, RECORD_PLACE, id, &doing.place);
        else if (labels_has(app, RECORD_VESSEL, label, &id, &found))
            app_stop(app, "where to? For instance: jarside move %s closet", label);
        else
            labels_check_new(app, RECORD_PLACE, doing.place.label = label, doing.fresh);
    }
    if (doing.kind == EVENT_DISCARD) { /* what follows the labels is why */
        size_t labels = labels_leading(app, words, count);
        const char *why = arena_join(app->arena, words + labels, count - labels);
        if (strpbrk(why, "0123456789") != NULL) { /* a label mistyped is no reason */
            labels = count;
            why = "";
        }
        if (doing.reason != NULL)
            why = doing.reason;
        if (why[0] != '\0')
            read_reason(&doing, why);
        count = labels;
    }
    doing.chosen = labels_vessels(app, words, count);
    check_vessels(&doing);
    /* A whole batch is thrown away on purpose, not by leaving out a number. */
    if (doing.kind == EVENT_DISCARD && doing.chosen.whole && !doing.force)
        confirm_or_stop(
            app, true, arena_format(app->arena, "Discard all %zu of them", doing.chosen.count),
            arena_format(app->arena, "that is %zu vessels at once; add --yes if all are to go",
                         doing.chosen.count));
    app_begin(app);
    if (doing.kind == EVENT_MOVE && doing.place.id == 0)
        app_add(app, RECORD_PLACE, &doing.place);
    for (size_t i = 0; i < doing.chosen.count; i++)
        record_event(&doing, &doing.chosen.vessels[i]);
    app_commit(app);
    return tell(&doing);
}

/* ==== confirm ================================================================================= */

struct confirming {
    struct outcome outcome; /* but for the vessel */
    const char *cause;
    bool json;
};
#define AT(member) .target = offsetof(struct confirming, member)

static const struct option confirm_options[] = {
    {"cause", "CAUSE", "why, when that is known as well", OPTION_TEXT, AT(cause)},
    {"how", "WORDS", "how it is known: opened outdoors, plated ...", OPTION_TEXT, AT(outcome.how)},
    {"at", "MOMENT", "when it was found out; else now", OPTION_MOMENT, AT(outcome.at)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

/* What it turned out to be, asked for at a terminal; NULL when nobody says. */
static const char *ask_finding(struct app *app)
{
    size_t count = app->rules->finding_count;
    const char **words = arena_array(app->arena, count, sizeof *words);
    for (size_t i = 0; i < count; i++)
        words[i] = app->rules->findings[i].id;
    return ask_once(app, "What did it turn out to be (Tab shows the findings)", words, count);
}

static void set_finding(struct app *app, struct outcome *outcome, const char *words)
{
    const struct finding *finding = &app->rules->findings[assign_named(app, LIST_FINDINGS, words)];
    outcome->finding = finding->id;
    outcome->status = status_name(finding->status);
}

static enum status run_confirm(struct app *app)
{
    const char *const *operands = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    struct confirming given = {.json = false};
    struct outcome *outcome = &given.outcome;

    app_open(app, JOURNAL_WRITE);
    record_init(RECORD_OUTCOME, outcome);
    /* Labels come first; what follows is the finding. */
    size_t labels = labels_leading(app, operands, count);
    options_fill(app, &given);
    const struct chosen chosen = labels_vessels(app, operands, labels);
    const char *words = arena_join(app->arena, operands + labels, count - labels);
    if (words[0] == '\0' && (words = ask_finding(app)) == NULL)
        app_stop(app, "what did it turn out to be? For instance: jarside confirm B3-7 %s",
                 app->rules->finding_count > 0 ? app->rules->findings[0].id : "FINDING");
    set_finding(app, outcome, words);
    if (given.cause != NULL)
        outcome->cause = app->rules->causes[assign_named(app, LIST_CAUSES, given.cause)].id;
    app_begin(app);
    for (size_t i = 0; i < chosen.count; i++) {
        struct outcome row = *outcome;
        struct outcome *earlier = NULL;
        size_t known = 0;
        row.vessel = chosen.vessels[i].id;
        app_must(app, journal_standing(app->journal, RECORD_OUTCOME, row.vessel, app->arena,
                                       (void **)&earlier, &known, app->diags));
        row.corrects = known > 0 ? earlier[known - 1].id : 0; /* the newest word stands */
        app_add(app, RECORD_OUTCOME, &row);
        app_get(app, RECORD_VESSEL, row.vessel, &chosen.vessels[i]);
    }
    app_commit(app);
    if (given.json)
        return app_json(app, json_pack("{s:i, s:o, s:s, s:s, s:o, s:o, s:o}", "schema", 1,
                                       "vessels", view_json_vessels(chosen.vessels, chosen.count),
                                       "finding", outcome->finding, "status", outcome->status,
                                       "cause", view_json_text(outcome->cause), "how",
                                       view_json_text(outcome->how), "at",
                                       view_json_moment(outcome->at)));
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: confirmed as %s (%s)%s%s.",
               app_vessels(app, chosen.vessels, chosen.count),
               view_name(&app->view, LIST_FINDINGS, outcome->finding), outcome->status,
               outcome->cause[0] != '\0' ? ", caused by: " : "",
               view_name(&app->view, LIST_CAUSES, outcome->cause));
    for (size_t i = 0; i < chosen.count; i++) { /* still among the others although it is lost */
        const struct vessel *vessel = &chosen.vessels[i];
        if (vessel->fate == FATE_CONTAMINATED)
            look_warn_children(app, vessel);
        if (vessel->fate != FATE_CONTAMINATED || vessel_gone(vessel))
            continue;
        screen_say(&app->out, 0, 2, ROLE_WARN,
                   "%s is still on record as %s. Closed and out: jarside discard %s", vessel->label,
                   vessel_state_words[vessel->state], vessel->label);
        break;
    }
    return app_flush(app);
}

/* ==== correct ================================================================================= */

/* A column of a record, or a further look, event or outcome that takes the place of one. */

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

static enum status correct_record(struct correcting *correcting, enum record record,
                                  const char *label)
{
    struct app *app = correcting->app;
    struct assignment assignments[ASSIGN_MOST];
    union any_record row = {.named = {0, ""}};

    labels_find(app, record, label, &row);
    if (correcting->count == 0)
        app_stop(app, "correct what about it? For instance: jarside correct %s note='...'", label);
    app_begin(app);
    for (size_t i = 0; i < correcting->count; i++) {
        size_t many = assign_read(app, record, correcting->words[i], &row, assignments);
        for (size_t k = 0; k < many; k++)
            app_must(app,
                     journal_correct(app->journal, record, row.named.label, assignments[k].column,
                                     assignments[k].value, correcting->at, app->diags));
        app_get(app, record, row.named.id, &row); /* under its new label, if it has one */
    }
    app_commit(app);
    if (correcting->json)
        return app_json(app, json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind",
                                       record_types[record].name, "did", "corrected", "record",
                                       view_record_json(&app->view, record, &row)));
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: corrected; the old value is kept.",
               record_types[record].name, row.named.label);
    view_record(&app->out, &app->view, record, &row);
    return app_flush(app);
}

/* ---- rows that are only added to ------------------------------------------------------------- */

/* "12", or the label of a vessel for its newest one that stands. */
static void find_row(struct app *app, enum record record, const char *word, union any_record *row)
{
    struct vessel vessel = {.id = 0};
    void *rows = NULL;
    size_t count = 0, size = record_types[record].size;
    char *end = NULL;
    int64_t id = strtoll(word, &end, 10);

    if (!isdigit((unsigned char)word[0]) || *end != '\0') {
        labels_find(app, RECORD_VESSEL, word, &vessel);
        app_must(app, journal_standing(app->journal, record, vessel.id, app->arena, &rows, &count,
                                       app->diags));
        if (count == 0)
            app_stop(app, "%s has no %s to correct", vessel.label, record_types[record].name);
        memcpy(row, (const char *)rows + (count - 1) * size, size);
    } else {
        app_get(app, record, id, row);
    }
}

static enum status said(struct correcting *correcting, enum record record, int64_t id,
                        const char *vessel)
{
    struct app *app = correcting->app;
    if (correcting->json)
        return app_json(app, json_pack("{s:i, s:s, s:I, s:o, s:s}", "schema", 1, "kind",
                                       record_types[record].name, "id", (json_int_t)id, "vessel",
                                       view_json_text(vessel), "did", "corrected"));
    screen_say(&app->out, 0, 2, ROLE_PLAIN,
               "%s: %s %lld no longer counts; it stays in the journal.", vessel,
               record_types[record].name, (long long)id);
    return app_flush(app);
}

/* It did not happen, was not seen, is not so: a further row says that. */
static enum status withdraw(struct correcting *correcting, enum record record,
                            const union any_record *old)
{
    struct app *app = correcting->app;
    union any_record row;
    struct vessel vessel = {.id = 0};

    record_init(record, &row);
    row.dated.vessel = old->dated.vessel;
    row.dated.at = correcting->at;
    if (record == RECORD_EVENT) {
        row.event.kind = EVENT_WITHDRAW;
        row.event.corrects = old->event.id;
    } else if (record == RECORD_LOOK) {
        row.look.action = WITHDRAWN;
        row.look.corrects = old->look.id;
    } else {
        row.outcome.finding = old->outcome.finding;
        row.outcome.status = WITHDRAWN;
        row.outcome.corrects = old->outcome.id;
    }
    app_begin(app);
    app_add(app, record, &row);
    app_get(app, RECORD_VESSEL, row.dated.vessel, &vessel);
    /* It is back, or what was planned for it came of that look. */
    if (!vessel_gone(&vessel) && (vessel.due == 0 || record == RECORD_LOOK))
        app_must(app, journal_set_due(app->journal, vessel.id, moment_day(correcting->at),
                                      "back on record", app->diags));
    app_commit(app);
    return said(correcting, record, old->named.id, vessel.label);
}

/* The vessel is judged anew from the words, as if the old look had not been, on the day of the old. */
static enum status correct_look(struct correcting *correcting, const char *words,
                                const struct look *old)
{
    struct app *app = correcting->app;
    struct consultation consultation;
    struct judged told = {app->rules, app->triage, NULL};
    struct look look;

    const struct consult_request request = {.label =
                                                view_label(&app->view, RECORD_VESSEL, old->vessel),
                                            .now = old->at,
                                            .corrects = old->id};
    app_must(app, consult_vessel(app->journal, &request, app->triage, app->arena, &consultation,
                                 app->diags));
    app_must(app, triage_tell(app->triage, words, strlen(words), app->diags));
    app_must(app, consult_save(app->journal, &consultation, app->triage, words, app->arena, &look,
                               &told.verdict, app->diags));
    if (correcting->json)
        return said(correcting, RECORD_LOOK, old->id, request.label);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: look %lld takes the place of look %lld.",
               request.label, (long long)look.id, (long long)old->id);
    view_verdict(&app->out, &told, VERDICT_BRIEF);
    return app_flush(app);
}

static enum status correct_row(struct correcting *correcting, enum record record, const char *label)
{
    struct app *app = correcting->app;
    const char *words = arena_join(app->arena, correcting->words, correcting->count);
    const char *kind = record_types[record].name;
    union any_record row;

    find_row(app, record, label, &row);
    if (strcmp(words, event_words[EVENT_WITHDRAW]) == 0)
        return withdraw(correcting, record, &row);
    if (record == RECORD_EVENT)
        app_stop(app, "an event can only be withdrawn: jarside correct event %s withdraw", label);
    if (words[0] == '\0')
        app_stop(app, "what instead? For instance: jarside correct %s %s %s, or withdraw", kind,
                 label, record == RECORD_LOOK ? "\"half white, nothing odd\"" : "FINDING");
    if (record == RECORD_LOOK)
        return correct_look(correcting, words, &row.look);
    struct outcome outcome = row.outcome;
    outcome.id = 0;
    outcome.at = correcting->at;
    outcome.corrects = row.outcome.id;
    set_finding(app, &outcome, words);
    app_add(app, RECORD_OUTCOME, &outcome);
    return said(correcting, record, row.outcome.id,
                view_label(&app->view, RECORD_VESSEL, outcome.vessel));
}

/* ---- which ----------------------------------------------------------------------------------- */

/* The one kind of record that has this label. */
static enum record kind_of(struct app *app, const char *label)
{
    static const enum record kinds[] = {RECORD_VESSEL, RECORD_BATCH,   RECORD_STARTER, RECORD_COOK,
                                        RECORD_LOT,    RECORD_SESSION, RECORD_PLACE};
    enum record kind = RECORD_COUNT;
    const char *found = NULL;
    int64_t id = 0;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        if (!labels_has(app, kinds[i], label, &id, &found))
            continue;
        if (kind != RECORD_COUNT)
            app_stop(app, "'%s' is a %s and a %s; say which: jarside correct %s %s ...", label,
                     record_types[kind].name, record_types[kinds[i]].name, record_types[kind].name,
                     label);
        kind = kinds[i];
    }
    if (kind == RECORD_COUNT)
        app_stop(app, "nothing in the journal is called '%s'; 'jarside list' shows what there is",
                 label);
    return kind;
}

static enum status run_correct(struct app *app)
{
    struct correcting correcting = {.app = app};
    const char *const *operands = app->arguments.operands;
    size_t count = app->arguments.operand_count;

    app_open(app, JOURNAL_WRITE);
    options_fill(app, &correcting);
    enum record record = count > 1 ? labels_kind(operands[0]) : RECORD_COUNT;
    size_t read = record != RECORD_COUNT ? 1 : 0;
    if (read == count)
        app_stop(app, "correct what? For instance: jarside correct B3 species=oyster, or: "
                      "jarside correct event 4 withdraw");
    const char *label = operands[read++];
    correcting.words = operands + read;
    correcting.count = count - read;
    if (record == RECORD_PARENT || record == RECORD_EDIT)
        app_stop(app, "a %s cannot be corrected", record_types[record].name);
    if (record_of_vessel(record))
        return correct_row(&correcting, record, label);
    if (strstr(label, "..") != NULL && !correcting.json) { /* B3-2..4 note=... */
        const struct chosen chosen = labels_vessels(app, &label, 1);
        enum status status = STATUS_OK;
        app_begin(app);
        for (size_t i = 0; i < chosen.count && status == STATUS_OK; i++)
            status = correct_record(&correcting, RECORD_VESSEL, chosen.vessels[i].label);
        app_commit(app);
        return status;
    }
    return correct_record(&correcting, record == RECORD_COUNT ? kind_of(app, label) : record,
                          label);
}

/* ==== undo ==================================================================================== */

static const struct option undo_options[] = {
    {"json", NULL, "print JSON", OPTION_FLAG, .target = 0},
    {0},
};

static enum status run_undo(struct app *app)
{
    bool json = false;
    struct undone undone;
    const char *rows = "";
    char day[MOMENT_ROOM];

    app_open(app, JOURNAL_WRITE);
    options_fill(app, &json);
    if (app->arguments.operand_count > 0)
        app_stop(app,
                 "unexpected argument '%s'; 'jarside undo' takes back the last act, and again "
                 "the one before",
                 app->arguments.operands[0]);
    app_must(app, undo_last(app->journal, app->view.now, app->arena, &undone, app->diags));
    if (json)
        return app_json(app, json_pack("{s:i, s:s, s:o, s:o, s:o}", "schema", 1, "undone",
                                       undone.words, "at", view_json_moment(undone.at), "about",
                                       view_json_text(undone.label), "before",
                                       view_json_text(undone.before)));
    for (size_t i = 0; i < RECORD_COUNT; i++)
        if (undone.rows[i] > 0)
            rows = arena_format(app->arena, "%s%s%zu %s%s", rows, rows[0] != '\0' ? ", " : ": ",
                                undone.rows[i], record_types[i].name,
                                undone.rows[i] == 1 ? ""
                                : i == RECORD_BATCH ? "es"
                                                    : "s");
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "Undone: jarside %s (of %s)%s.", undone.words,
               moment_write_day(undone.at, day), rows);
    if (undone.before != NULL)
        screen_say(&app->out, 0, 2, ROLE_QUIET, "The one before is: jarside %s", undone.before);
    return app_flush(app);
}

const struct command event_commands[] = {
    {"move", "records that vessels were moved to another place", "VESSEL... PLACE",
     "A place not yet known is a new one. Vessels: B3-7, B3 3 7, B3-3..7, or B3 for all of it.",
     move_options, run_event},
    {"shake", "records that vessels were broken up and shaken", "VESSEL...",
     "Refused for a vessel whose last look did not say keep.", event_options, run_event},
    {"isolate", "records that vessels were isolated, closed", "VESSEL...", NULL, event_options,
     run_event},
    {"return", "records that isolated vessels went back among the others", "VESSEL...",
     "Only after a later look that said keep.", event_options, run_event},
    {"discard", "records that vessels were thrown away, closed, and says what to watch out for",
     "VESSEL... [WHY]",
     "A whole batch (B3) asks first; --yes answers for a program. WHY, or --because: broken, sold, "
     "used, or what was seen: sour rot.",
     discard_options, run_event},
    {"use", "records that vessels were used", "VESSEL...",
     "Refused for a vessel whose last look did not say keep.", event_options, run_event},
    {"confirm", "records what a vessel turned out to be", "VESSEL... FINDING",
     "A finding by its id, its name or a part of the name; 'jarside show' lists them. --how says "
     "how it is known. The review and what the rules learn are built on it. Never open a suspect "
     "vessel to find out.",
     confirm_options, run_confirm},
    {"correct", "corrects a record; what was there before is kept", "[KIND] LABEL COLUMN=VALUE...",
     "A record: jarside correct C4 gauge=12psi. A look, described anew: jarside correct look 12 "
     "WORDS... An outcome: jarside correct outcome 3 FINDING. Any of these, or an event, that was "
     "not so: jarside correct event 4 withdraw. In place of a number, the label of a vessel means "
     "its "
     "newest one.",
     correct_options, run_correct},
    {"undo", "takes back the last act; again, the one before", "",
     "Whatever the last command recorded is taken out again, and what it changed is as it was "
     "before. That it was undone stays in the history.",
     undo_options, run_undo},
    {0},
};
