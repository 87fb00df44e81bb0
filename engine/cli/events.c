/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is done with vessels (move, shake, isolate, return, discard, use), what they turned out to
 * be (confirm), that it was not so (correct event, look, outcome), and the way back (undo). */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/app.h"
#include "journal/exchange.h"
#include "view/verdict.h"

/* The newest look at a vessel that stands; false when there is none. */
static bool last_look(struct app *app, const struct vessel *vessel, struct look *look)
{
    if (vessel->last_look != 0)
        app_get(app, RECORD_LOOK, vessel->last_look, look);
    return vessel->last_look != 0;
}

/* ---- what may not be done -------------------------------------------------------------------- */

/* A vessel that its last look did not call fit to keep, or that counts as contaminated, is not
 * shaken, used or put back among the others. Nothing but a fresh look lifts that. */
enum objection {
    OBJECTION_NONE,
    OBJECTION_STATE, /* it is done already, or the vessel is gone */
    OBJECTION_RISK,  /* it is not safe to do */
};

/* The newest event of a kind that no later one withdraws. */
static bool newest_event(struct app *app, const struct vessel *vessel, enum event_kind kind,
                         struct event *found)
{
    const char *condition = arena_format(app->arena, "%s AND kind = '%s'",
                                         journal_standing[RECORD_EVENT], event_words[kind]);
    return app_newest(app, RECORD_EVENT, condition, vessel->id, found);
}

/* The words of the template "objection" for a reason, with what else it says of the vessel. */
static const char *objection_words(struct app *app, const struct vessel *vessel, const char *why,
                                   json_t *further)
{
    view_json_add(further, "why:s label:s state:s", why, vessel->label,
                  vessel_state_words[vessel->state]);
    return view_said(&app->view, "objection", further);
}

const char *vessel_risk(struct app *app, const struct vessel *vessel, enum event_kind kind)
{
    struct event isolated;
    struct look look;
    const bool looked = last_look(app, vessel, &look);
    const bool unseen = kind == EVENT_RETURN &&
                        newest_event(app, vessel, EVENT_ISOLATE, &isolated) &&
                        (!looked || look.at.seconds < isolated.at.seconds);
    const bool risky = looked && strcmp(look.action, action_name(ACTION_KEEP)) != 0;
    const char *why = risky                                                      ? "risky"
                      : vessel->fate == FATE_CONTAMINATED                        ? "lost"
                      : unseen                                                   ? "unseen"
                      : kind != EVENT_RETURN && vessel->state == VESSEL_ISOLATED ? "isolated"
                      : kind == EVENT_USE && vessel->control                     ? "control"
                                                                                 : NULL;
    return why == NULL ? NULL
                       : objection_words(app, vessel, why,
                                         risky ? view_record_json(&app->view, RECORD_LOOK, &look)
                                               : json_object());
}

/* What speaks against it, and why ("B1-3: ..."), in the arena. */
static enum objection object(struct app *app, const struct vessel *vessel, enum event_kind kind,
                             const char **why)
{
    const enum event_kind end = vessel->state == VESSEL_USED ? EVENT_USE : EVENT_DISCARD;
    const bool gone = vessel_gone(vessel);
    struct event event = {.id = 0};
    struct batch batch;

    app_get(app, RECORD_BATCH, vessel->batch, &batch);
    const bool ended = gone && newest_event(app, vessel, end, &event);
    const char *state = gone                                                        ? "gone"
                        : kind == EVENT_ISOLATE && vessel->state == VESSEL_ISOLATED ? "again"
                        : kind == EVENT_RETURN && vessel->state != VESSEL_ISOLATED  ? "among"
                        : moment_day(app->given.at) < moment_day(batch.at)          ? "early"
                                                                                    : NULL;
    *why = NULL;
    if (state != NULL)
        *why = objection_words(app, vessel, state,
                               view_json("event:l at:o", (json_int_t)event.id,
                                         view_json_moment(ended ? event.at : batch.at)));
    else if (kind == EVENT_SHAKE || kind == EVENT_USE || kind == EVENT_RETURN)
        *why = vessel_risk(app, vessel, kind);
    return state != NULL ? OBJECTION_STATE : *why != NULL ? OBJECTION_RISK : OBJECTION_NONE;
}

/* ---- doing it -------------------------------------------------------------------------------- */

/* What each comes to: how it is told, and why there is a next look. */
static const struct {
    const char *done, *due_for;
} acts[EVENT_COUNT] = {
    [EVENT_MOVE] = {"moved to ", NULL},
    [EVENT_SHAKE] = {"shaken", "after the shake"},
    [EVENT_ISOLATE] = {"isolated", "isolated"},
    [EVENT_RETURN] = {"put back among the others", "back among the others"},
    [EVENT_DISCARD] = {"discarded, closed", ""},
    [EVENT_USE] = {"used", ""},
};

/* Leaves out of a whole batch what the event does not fit (what is gone already). A vessel that was
 * named, and any risk, stops everything: half of it done is a trap. */
static void check_vessels(struct app *app, enum event_kind kind, struct chosen *chosen)
{
    enum objection worst = OBJECTION_NONE;
    size_t kept = 0;

    for (size_t i = 0; i < chosen->count; i++) {
        const char *why = NULL;
        enum objection objection = object(app, &chosen->vessels[i], kind, &why);
        if (objection == OBJECTION_NONE)
            chosen->vessels[kept++] = chosen->vessels[i];
        if (objection == OBJECTION_NONE || (chosen->whole && objection == OBJECTION_STATE))
            continue;
        app_usage(app, "%s", why);
        worst = objection > worst ? objection : worst;
    }
    chosen->count = kept;
    if (worst == OBJECTION_NONE && kept == 0)
        app_stop(app, "there is no vessel left to %s", event_words[kind]);
    if (worst != OBJECTION_NONE && kept > 0)
        app_usage(app, "nothing was recorded");
    if (worst != OBJECTION_NONE)
        app_quit(app, worst == OBJECTION_RISK ? STATUS_CHECK : STATUS_USAGE);
}

/* The day of the next look after it; 0 when there is nothing left to look at. */
static int64_t next_look(const struct app *app, enum event_kind kind)
{
    const struct rules *rules = app->rules;
    double days = kind == EVENT_SHAKE
                      ? fmax(rules->forecast.look_every, rules->forecast.shake_pause)
                  : kind == EVENT_ISOLATE ? rules->decision.isolate_days
                  : kind == EVENT_RETURN  ? rules->forecast.look_every
                                          : NAN;
    int64_t today = moment_day(app->view.now);
    int64_t day = isnan(days) ? 0 : moment_day(app->given.at) + (int64_t)ceil(days);
    return day != 0 && day < today ? today : day; /* what was done long ago is looked at now */
}

static enum status tell(struct app *app, const struct event *event, const struct chosen *chosen,
                        const struct place *place, const char *noted)
{
    const enum event_kind kind = event->kind;
    struct look look, risky = {.contaminated = -1.0};
    const char *to_discard = NULL; /* the first isolated whose last look said so */
    const char *bare = NULL;       /* the first that was shaken before anything grew */
    const char *unseen = NULL;     /* the first that was used or shaken and never looked at */

    for (size_t i = 0; i < chosen->count; i++) {
        if (!last_look(app, &chosen->vessels[i], &look)) {
            if (unseen == NULL && (kind == EVENT_USE || kind == EVENT_SHAKE))
                unseen = chosen->vessels[i].label;
            continue;
        }
        if (look.contaminated > risky.contaminated)
            risky = look;
        if (bare == NULL && kind == EVENT_SHAKE && look_coverage(app->rules, &look) < NOTHING_YET)
            bare = chosen->vessels[i].label;
        if (to_discard == NULL && kind == EVENT_ISOLATE &&
            strcmp(look.action, action_name(ACTION_DISCARD)) == 0)
            to_discard = chosen->vessels[i].label;
    }
    /* What was sold, given away, used or a slip of the pen is not thrown away. */
    const bool thrown = kind == EVENT_DISCARD && event->because <= BECAUSE_BROKEN;
    json_t *cautions =
        thrown ? view_handling_json(app->rules, risky.id != 0 ? &risky : NULL) : json_array();
    return app_tell(
        app, "event",
        view_json(
            "schema:i event:s at:o vessels:o place:w look_again:o cautions:o note:w "
            "_labels:s _first:s _done:s _day:s _new:b _noted:s _bare:s _unseen:s _to_discard:s",
            1, event_words[kind], view_json_moment(app->given.at),
            view_json_vessels(chosen->vessels, chosen->count), place->label,
            view_json_day(next_look(app, kind)), cautions, event->detail,
            app_vessels(app, chosen->vessels, chosen->count), chosen->vessels[0].label,
            acts[kind].done, moment_write_day(app->given.at, MOMENT_WORDS), chosen->new_place,
            noted, bare, unseen, to_discard));
}

/* "broken", "because they were wet and stank": why, of the list, as far as the usual words for it
 * tell; what else was said stays as a note. */
static void read_reason(struct app *app, const char *words, struct event *event)
{
    if (strncasecmp(words, "because ", 8) == 0)
        words += 8;
    event->because = because_of_words(app->rules, words, app->arena);
    if (event->because == BECAUSE_UNTOLD || strcasecmp(because_words[event->because], words) != 0)
        event->detail = event->detail[0] == '\0'
                            ? words
                            : arena_format(app->arena, "%s; %s", words, event->detail);
}

/* Words as people put them around labels: "B1-1 to B1-4" is a range, "B1-2 and B1-3" are two, "B1
 * all" is all of it. Other words stay; how many there are then. */
static size_t plain_labels(struct app *app, const char *const *words, size_t count,
                           const char ***plain)
{
    size_t kept = 0;
    *plain = NULL;
    for (size_t i = 0; i < count; i++) {
        const bool between = i > 0 && i + 1 < count;
        const bool numbered = between && has_figures(words[i - 1]) && has_figures(words[i + 1]);
        if (numbered && strcasecmp(words[i], "to") == 0 &&
            labels_id(app, RECORD_BATCH, words[i - 1]) == 0 &&
            labels_id(app, RECORD_BATCH, words[i + 1]) == 0) {
            (*plain)[kept - 1] = arena_format(app->arena, "%s..%s", words[i - 1], words[i + 1]);
            i++;
        } else if ((numbered && (strcasecmp(words[i], "and") == 0 || strcmp(words[i], "&") == 0)) ||
                   (i > 0 && strcasecmp(words[i], "all") == 0 &&
                    labels_id(app, RECORD_BATCH, words[i - 1]) != 0)) {
            continue;
        } else {
            *arena_push(app->arena, *plain, kept) = words[i];
        }
    }
    return kept;
}

/* Words after the labels are a note, told in `noted`; not what has a figure, for that was meant as
 * a label. How many words are left. */
static size_t take_note(struct app *app, const char *const *words, size_t count,
                        struct event *event, const char **noted)
{
    const size_t labels = labels_leading(app, words, count);
    const bool joiner = labels + 1 < count && (strcasecmp(words[labels], "to") == 0 ||
                                               strcasecmp(words[labels], "and") == 0);
    if (words == NULL || labels == count)
        return count;
    /* A label that is not there is told; a number that is no vessel's measures ("2 kg"). */
    const char *first = words[labels + joiner];
    if (has_figures(first) && (joiner || !is_figures(first)))
        return count;
    *noted = arena_join(app->arena, words + labels, count - labels);
    event->detail = event->detail[0] != '\0'
                        ? arena_format(app->arena, "%s; %s", *noted, event->detail)
                        : *noted;
    return labels;
}

/* Where to: a place that is there, or a new one, id 0. */
static void read_place(struct app *app, const char *label, struct place *place)
{
    int64_t id = labels_id(app, RECORD_PLACE, label);
    if (id == 0 && labels_id(app, RECORD_VESSEL, label) != 0)
        app_stop(app, "where to? For instance: jarside move %s closet", label);
    if (id == 0)
        labels_check_place(app, place->label = label, app->given.fresh);
    else
        app_get(app, RECORD_PLACE, id, place);
}

static enum status run_event(struct app *app)
{
    const char **words = NULL, *noted = NULL;
    size_t count = plain_labels(app, app->operands, app->operand_count, &words);
    struct event event;
    struct place place;

    record_init(RECORD_EVENT, &event);
    record_init(RECORD_PLACE, &place);
    while (strcmp(event_words[event.kind], app->command->name) != 0)
        event.kind++;
    event.at = app->given.at;
    event.detail = app->given.note != NULL ? app->given.note : "";
    if (event.kind == EVENT_MOVE) { /* the last word says where to */
        if (count < 2)
            app_stop(app, "which vessel, and where to? For instance: jarside move B3-7 closet");
        const char *label = words[--count];
        if (count > 1 && is_figures(label) && names_a_place(app, words[count - 1])) /* shelf 2 */
            label = arena_join(app->arena, words + --count, 2);
        const size_t labels = labels_leading(app, words, count);
        if (count > labels &&
            (strcasecmp(words[count - 1], "to") == 0 || strcasecmp(words[count - 1], "into") == 0))
            count--; /* "move B1-2 to closet" */
        if (count > labels && !has_figures(words[labels]))
            app_stop(app,
                     "'%s' is no vessel, and '%s' would be the place; anything else goes "
                     "after --note",
                     arena_join(app->arena, words + labels, count - labels), label);
        read_place(app, label, &place);
    }
    if (event.kind == EVENT_DISCARD) { /* what follows the labels is why */
        size_t labels = labels_leading(app, words, count);
        const char *why = arena_join(app->arena, words + labels, count - labels);
        bool mistyped = has_figures(why); /* a label is no reason */
        if (app->given.because != NULL)
            why = app->given.because;
        if (why[0] != '\0' && (!mistyped || app->given.because != NULL))
            read_reason(app, why, &event);
        else if (event.detail[0] != '\0') /* --note "dropped it" says it, too */
            event.because = because_of_words(app->rules, event.detail, app->arena);
        count = mistyped ? count : labels;
    }
    if (event.kind != EVENT_MOVE && event.kind != EVENT_DISCARD)
        count = take_note(app, words, count, &event, &noted);
    struct chosen chosen = labels_vessels(app, words, count);
    check_vessels(app, event.kind, &chosen);
    /* A whole batch is thrown away on purpose, not by leaving out a number. */
    if (event.kind == EVENT_DISCARD && chosen.whole && !app->given.sure && !app->given.force)
        confirm_or_stop(
            app, true, arena_format(app->arena, "Discard all %zu of them", chosen.count),
            arena_format(app->arena, "that is %zu vessels at once; add --yes if all are to go",
                         chosen.count));
    app_begin(app);
    chosen.new_place = event.kind == EVENT_MOVE && place.id == 0;
    if (chosen.new_place)
        app_add(app, RECORD_PLACE, &place);
    for (size_t i = 0; i < chosen.count; i++) {
        struct event row = event;
        row.vessel = chosen.vessels[i].id;
        row.place = place.id;
        app_add(app, RECORD_EVENT, &row);
        if (acts[event.kind].due_for != NULL)
            app_due(app, row.vessel, next_look(app, event.kind), acts[event.kind].due_for);
    }
    app_commit(app);
    return tell(app, &event, &chosen, &place, noted);
}

/* ==== confirm ================================================================================= */

/* What it turned out to be, by words; asked for at a terminal where there are none. */
static void set_finding(struct app *app, struct outcome *outcome, const char *words)
{
    if (words[0] == '\0') {
        struct names names;
        names_of(app, LIST_FINDINGS, &names);
        words = ask_once(app, "What did it turn out to be (Tab shows the findings)", names.ids,
                         names.count);
        if (words == NULL)
            app_stop(app, "what did it turn out to be? For instance: jarside confirm B3-7 %s",
                     names.count > 0 ? names.ids[0] : "FINDING");
    }
    const struct finding *finding = &app->rules->findings[assign_named(app, LIST_FINDINGS, words)];
    outcome->finding = finding->id;
    outcome->status = status_name(finding->status);
}

static enum status run_confirm(struct app *app)
{
    /* Labels come first; what follows is the finding. */
    const size_t labels = labels_leading(app, app->operands, app->operand_count);
    const struct chosen chosen = labels_vessels(app, app->operands, labels);
    struct outcome outcome;

    record_init(RECORD_OUTCOME, &outcome);
    outcome.at = app->given.at;
    outcome.how = app->given.how != NULL ? app->given.how : "";
    set_finding(app, &outcome,
                arena_join(app->arena, app->operands + labels, app->operand_count - labels));
    if (app->given.cause != NULL)
        outcome.cause = app->rules->causes[assign_named(app, LIST_CAUSES, app->given.cause)].id;
    app_begin(app);
    for (size_t i = 0; i < chosen.count; i++) {
        struct outcome row = outcome, earlier = {.id = 0};
        row.vessel = chosen.vessels[i].id;
        (void)app_newest(app, RECORD_OUTCOME, journal_standing[RECORD_OUTCOME], row.vessel,
                         &earlier);
        row.corrects = earlier.id; /* the newest word stands */
        app_add(app, RECORD_OUTCOME, &row);
        app_get(app, RECORD_VESSEL, row.vessel, &chosen.vessels[i]);
        /* What was planned for it came of what it was taken for. */
        if (chosen.vessels[i].fate == FATE_CONTAMINATED && !vessel_gone(&chosen.vessels[i]))
            app_due(app, row.vessel, moment_day(app->given.at), action_name(ACTION_DISCARD));
    }
    app_commit(app);
    const struct vessel *still = NULL; /* among the others although it is lost */
    json_t *made = json_array();
    for (size_t i = 0; i < chosen.count && still == NULL; i++) {
        const struct vessel *vessel = &chosen.vessels[i];
        if (vessel->fate != FATE_CONTAMINATED)
            continue;
        view_json_row(made, "label:s children:w", vessel->label,
                      view_children(&app->view, RECORD_VESSEL, vessel->id));
        still = vessel_gone(vessel) ? NULL : vessel;
    }
    return app_tell(
        app, "confirmed",
        view_json("schema:i vessels:o finding:s status:s cause:w how:w at:o _labels:s _name:s "
                  "_why:w _made:o _still:s _state:s",
                  1, view_json_vessels(chosen.vessels, chosen.count), outcome.finding,
                  outcome.status, outcome.cause, outcome.how, view_json_moment(outcome.at),
                  app_vessels(app, chosen.vessels, chosen.count),
                  view_name(&app->view, LIST_FINDINGS, outcome.finding),
                  view_name(&app->view, LIST_CAUSES, outcome.cause), made,
                  still != NULL ? still->label : NULL,
                  still != NULL ? vessel_state_words[still->state] : NULL));
}

/* ==== correct ================================================================================= */

static enum status correct_record(struct app *app, enum record record, const char *label,
                                  const char *const *words, size_t count)
{
    union any_record row = {.named = {0, ""}};

    labels_find(app, record, label, &row);
    if (count == 0)
        app_stop(app, "correct what about it? For instance: jarside correct %s note='...'", label);
    for (size_t i = 0; i < count; i++)
        if (record == RECORD_VESSEL && strchr(words[i], '=') == NULL)
            app_stop(
                app,
                "'%s' should be COLUMN=VALUE. If the last thing recorded was a mistake: jarside "
                "undo. If a look at %s was: jarside correct look %s \"what you saw\", or "
                "withdraw. To keep the words: jarside correct %s note='...'",
                words[i], label, label, label);
    app_begin(app);
    for (size_t i = 0; i < count; i++)
        assign(app, record, words[i], &row, app->given.at);
    app_get(app, record, row.named.id, &row); /* it may have another label now */
    app_commit(app);
    return record_tell(app, record, row.named.label, "corrected", "; the old value is kept");
}

/* Of a row that is only added to, by "12", or by a vessel's label for its newest that stands. */
static void find_row(struct app *app, enum record record, const char *word, union any_record *row)
{
    struct vessel vessel;

    if (is_figures(word)) {
        app_get(app, record, strtoll(word, NULL, 10), row);
        return;
    }
    labels_find(app, RECORD_VESSEL, word, &vessel);
    if (!app_newest(app, record, journal_standing[record], vessel.id, row))
        app_stop(app, "%s has no %s to correct", vessel.label, record_types[record].name);
}

static enum status say_corrected(struct app *app, enum record record, int64_t id,
                                 const char *vessel)
{
    return app_tell(app, "corrected",
                    view_json("schema:i kind:s id:l vessel:w did:s", 1, record_types[record].name,
                              (json_int_t)id, vessel, "corrected"));
}

/* It did not happen, was not seen, is not so: a further row says that. */
static enum status withdraw(struct app *app, enum record record, const union any_record *old)
{
    union any_record row;
    struct vessel vessel;

    record_init(record, &row);
    row.dated.vessel = old->dated.vessel;
    row.dated.at = app->given.at;
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
    if (!vessel_gone(&vessel) && (vessel.due == 0 || record != RECORD_EVENT))
        app_due(app, vessel.id, moment_day(app->given.at), "back on record");
    app_commit(app);
    return say_corrected(app, record, old->named.id, vessel.label);
}

/* The vessel is judged anew from the words on the day of the old look, as if that had not been. */
static enum status correct_look(struct app *app, const char *words, const struct look *old)
{
    const char *label = view_label(&app->view, RECORD_VESSEL, old->vessel);
    const struct consult_request request = {.label = label, .now = old->at, .corrects = old->id};
    struct consultation consultation;
    struct judged told = {app->rules, NULL, NULL};
    struct look look;

    app_compile(app);
    told.triage = app->triage;
    look_open(app, &request, &consultation);
    app_must(app, triage_tell(app->triage, words, strlen(words), app->diags));
    app_must(app, consult_save(app->journal, &consultation, app->triage, words, app->arena, &look,
                               &told.verdict));
    if (app->given.json)
        return say_corrected(app, RECORD_LOOK, old->id, label);
    app_say(app, "%s: look %lld takes the place of look %lld.", label, (long long)look.id,
            (long long)old->id);
    view_verdict(&app->out, &told, VERDICT_BRIEF);
    return app_flush(app);
}

static enum status correct_row(struct app *app, enum record record, const char *label,
                               const char *words)
{
    union any_record row;

    find_row(app, record, label, &row);
    if (strcmp(words, event_words[EVENT_WITHDRAW]) == 0)
        return withdraw(app, record, &row);
    if (record == RECORD_EVENT)
        app_stop(app, "an event can only be withdrawn: jarside correct event %s withdraw", label);
    if (words[0] == '\0')
        app_stop(app, "what instead? For instance: jarside correct %s %s %s, or withdraw",
                 record_types[record].name, label,
                 record == RECORD_LOOK ? "\"half white, nothing odd\"" : "FINDING");
    if (record == RECORD_LOOK)
        return correct_look(app, words, &row.look);
    struct outcome outcome = row.outcome;
    outcome.id = 0;
    outcome.at = app->given.at;
    outcome.corrects = row.outcome.id;
    set_finding(app, &outcome, words);
    app_add(app, RECORD_OUTCOME, &outcome);
    return say_corrected(app, record, row.outcome.id,
                         view_label(&app->view, RECORD_VESSEL, outcome.vessel));
}

static enum status run_correct(struct app *app)
{
    const char *const *words = app->operands;
    size_t count = app->operand_count, read = 0;
    enum record record = count > 1 ? labels_kind(words[0]) : RECORD_COUNT, kinds[RECORD_COUNT];

    read += record != RECORD_COUNT;
    if (read == count)
        app_stop(app, "correct what? For instance: jarside correct B3 species=oyster, or: "
                      "jarside correct event 4 withdraw");
    const char *label = words[read++];
    words += read;
    count -= read;
    if (record == RECORD_PARENT || record == RECORD_EDIT)
        app_stop(app, "no %s can be corrected", record_types[record].name);
    if (record_of_vessel(record))
        return correct_row(app, record, label, arena_join(app->arena, words, count));
    if (strstr(label, "..") != NULL && !app->given.json) { /* B3-2..4 note=... */
        const struct chosen chosen = labels_vessels(app, &label, 1);
        enum status status = STATUS_OK;
        app_begin(app);
        for (size_t i = 0; i < chosen.count && status == STATUS_OK; i++)
            status = correct_record(app, RECORD_VESSEL, chosen.vessels[i].label, words, count);
        app_commit(app);
        return status;
    }
    size_t found = record == RECORD_COUNT ? labels_kinds(app, label, kinds) : 1;
    if (found == 0)
        app_stop(app, "nothing in the journal is called '%s'; 'jarside list' shows what there is",
                 label);
    if (found > 1)
        app_stop(app, "'%s' is a %s and a %s; say which: jarside correct %s %s ...", label,
                 record_types[kinds[0]].name, record_types[kinds[1]].name,
                 record_types[kinds[0]].name, label);
    return correct_record(app, record == RECORD_COUNT ? kinds[0] : record, label, words, count);
}

/* ==== undo ==================================================================================== */

static enum status run_undo(struct app *app)
{
    struct undone undone;
    const char *rows = "";

    (void)undo_last(app->journal, app->view.now, app->arena, &undone);
    for (size_t i = 0; i < RECORD_COUNT; i++)
        if (undone.rows[i] > 0)
            words_add(app, &rows, ", ", "%zu %s%s", undone.rows[i], record_types[i].name,
                      undone.rows[i] == 1 ? ""
                      : i == RECORD_BATCH ? "es"
                                          : "s");
    return app_tell(app, "undone",
                    view_json("schema:i undone:s at:o about:w before:w _day:s _rows:s", 1,
                              undone.words, view_json_moment(undone.at), undone.label,
                              undone.before, moment_write_day(undone.at, MOMENT_WORDS), rows));
}

const struct command event_commands[] = {
    {"move", run_event, NEEDS_WRITE, .json = true},
    {"shake", run_event, NEEDS_WRITE, .json = true},
    {"isolate", run_event, NEEDS_WRITE, .json = true},
    {"return", run_event, NEEDS_WRITE, .json = true},
    {"discard", run_event, NEEDS_WRITE, .json = true},
    {"use", run_event, NEEDS_WRITE, .json = true},
    {"confirm", run_confirm, NEEDS_WRITE, .json = true},
    {"correct", run_correct, NEEDS_WRITE, .json = true},
    {"undo", run_undo, NEEDS_WRITE,
     .wrong = "'jarside undo' undoes the last command; repeat it to undo the one before",
     .json = true},
    {0},
};
