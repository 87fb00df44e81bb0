/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Recording a look: what was seen, what it comes to, when to look again. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/app.h"
#include "journal/remark.h"
#include "prompt/prompt.h"
#include "view/verdict.h"

/* ==== one vessel ============================================================================== */

void look_open(struct app *app, const struct consult_request *request,
               struct consultation *consultation)
{
    app_must(app, consult_vessel(app->journal, request, app->triage, app->arena, consultation));
    app_report(app); /* what is on record and not understood is worth seeing, and stops nothing */
}

/* What was said of the vessel now, fact by fact, in the arena; NULL when nothing was. */
static const char *all_said(struct app *app)
{
    const struct heard all = triage_heard(app->triage);
    const char *words = NULL;
    for (size_t i = 0; i < all.fact_count; i++) {
        if (!fact_said(&all.facts[i]))
            continue;
        words = words != NULL ? words : "";
        if (all.facts[i].words[0] != '\0')
            words_add(app, &words, "; ", "%s", all.facts[i].words);
    }
    return words;
}

/* "B3-7, day 12, oyster on rye": the vessel, for headings. In the arena. */
static const char *heading(struct app *app, const struct consultation *consultation)
{
    const struct vessel *vessel = &consultation->vessel;
    struct journal_view told = app->view;
    told.now = consultation->request.now;
    return view_said(&told, "look.heading",
                     view_json("label:w day:n batch:w mother:s control:b isolated:b", vessel->label,
                               consultation->day, view_batch_words(&told, &consultation->batch),
                               view_mother(&told, consultation->batch.starter), vessel->control,
                               vessel->state == VESSEL_ISOLATED));
}

/* The verdict with "look", "vessel", "at", "next_look" and "next_look_for" added. */
static json_t *look_json(const struct vessel *vessel, const struct look *look,
                         const struct judged *judged)
{
    json_t *json = view_verdict_json(judged);
    json_object_update_new(json, view_json("look:l vessel:s at:o next_look:o next_look_for:s",
                                           (json_int_t)look->id, vessel->label,
                                           view_json_moment(look->at), view_json_day(vessel->due),
                                           vessel->due_for));
    return json;
}

/* What the grower tells in a conversation about a vessel whose triage is open; NULL when they told
 * nothing or left before the end. */
static const char *converse(struct app *app, const struct consultation *consultation)
{
    const char *record = "no look is on record yet";
    size_t opened = triage_mark(app->triage);
    bool finished = false;

    if (consultation->look_count > 0) {
        const struct look *last = &consultation->looks[consultation->look_count - 1];
        record = arena_format(app->arena, "last look %s: %s",
                              consult_day(last->at, consultation->request.now, MOMENT_WORDS),
                              last->action);
    }
    const struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .about = arena_format(app->arena, "%s; %s. 'leave' saves the look, ^D saves nothing.",
                              heading(app, consultation), record),
        .finished = &finished,
    };
    app_must(app, prompt_converse(&opening, app->diags));
    if (!finished || triage_mark(app->triage) == opened)
        return NULL;
    const char *said = all_said(app);
    return said != NULL ? said : "";
}

static bool may_ask(const struct app *app)
{
    return !app->given.no_input && isatty(STDIN_FILENO) && isatty(STDOUT_FILENO);
}

static bool is_blank(const char *words)
{
    return words[strspn(words, " \t\r\n")] == '\0';
}

static struct judged save(struct app *app, struct consultation *consultation, const char *words,
                          struct look *look)
{
    struct judged judged = {app->rules, app->triage, NULL};
    app_must(app, consult_save(app->journal, consultation, app->triage, words, app->arena, look,
                               &judged.verdict));
    return judged;
}

static enum status look_at_vessel(struct app *app, const struct consult_request *request,
                                  const char *words)
{
    struct consultation consultation;
    const struct vessel *vessel = &consultation.vessel;
    bool talked = is_blank(words);
    struct look look;

    look_open(app, request, &consultation);
    if (talked && !may_ask(app))
        app_stop(app,
                 "what was seen is missing; for instance: "
                 "jarside look %s \"half white, fluffy, nothing odd\"",
                 vessel->label);
    if (talked && (words = converse(app, &consultation)) == NULL) {
        app_say(app, "Nothing was saved for %s.", vessel->label);
        return app_flush(app);
    }
    if (!talked)
        app_must(app, triage_tell(app->triage, words, strlen(words), app->diags));
    if (!talked && all_said(app) == NULL) {
        const struct judged told = {app->rules, app->triage, triage_judge(app->triage)};
        view_heard(&app->err, "unclear", &told, NULL, 0);
        (void)screen_flush(&app->err, stderr);
        app_stop(app,
                 "'%s' says nothing about the vessel, so nothing was saved; for instance: "
                 "\"half white, fluffy, nothing odd\"",
                 words);
    }
    const struct judged judged = save(app, &consultation, words, &look);
    const enum action action = judged.verdict->decision.action;
    if (app->given.json)
        return app_json(app, look_json(vessel, &look, &judged), true);
    if (!talked) { /* a conversation has shown it already */
        screen_say(&app->out, 0, 2, ROLE_STRONG, "%s", heading(app, &consultation));
        view_verdict(&app->out, &judged, VERDICT_BRIEF);
    }
    view_say_taken(
        &(struct face){.screen = &app->out}, "look.saved",
        view_json(
            "look:l label:s discard:b next:s due_for:s children:w", (json_int_t)look.id,
            vessel->label, action == ACTION_DISCARD,
            consult_day(moment_of_day(vessel->due), request->now, MOMENT_WORDS), vessel->due_for,
            action != ACTION_KEEP ? view_children(&app->view, RECORD_VESSEL, vessel->id) : ""));
    return app_flush(app);
}

/* ==== several vessels ========================================================================= */

/* One remark for a batch (journal/remark.h), or the same words for several vessels.
 *
 * What is said of a vessel is told to a triage at it, as if it had been said of that vessel alone,
 * and recorded as such: the grower looked and saw that. What is said of the rest clears nothing:
 * vessels that are isolated, or that a look has judged anything but fit to keep, are left out and
 * named; so is a control where the words tell of growth.
 *
 * Each is judged knowing what is said of the others. So there are two passes in one transaction: in
 * the first every vessel is judged for itself, then its siblings are counted and all is taken back;
 * the second judges with these counts and stays. */

struct row { /* one vessel and what became of its look */
    struct vessel vessel;
    const char *words; /* what is said of it; NULL for nothing */
    bool named;        /* and not only as one of the rest */
    enum row_state {
        ROW_GONE,
        ROW_OPEN,
        ROW_SAVED,
        ROW_LEFT_OUT,
        ROW_TO_DESCRIBE,
        ROW_UNSAID,
        ROW_MUTE, /* its words say nothing of a vessel */
    } state;
    enum action action;
    double day;
    struct consult_others others; /* what the first pass made of its siblings */
    json_t *told; /* of its look: what is said of it, and of any other that came out the same */
};

struct walkthrough {
    struct app *app;
    struct consult_request *request; /* of each in turn */
    const char *words;
    struct row *rows;
    size_t count;
    bool alone; /* the first pass */
    json_t *looks;
    json_t *cautions; /* of the gravest look */
    double gravest;
};

/* Whether a fact is one of those that plain growth has: seen, all that is seen of it, or a fault
 * that is denied. Where something good is denied ("it does not smell good"), something is wrong. */
static bool is_plain_fact(const struct rules *rules, const struct fact *fact)
{
    const struct observable *observable = &rules->observables[fact->observable];
    const struct condition *plain = &rules->decision.plain;
    const struct observation *said = &fact->observation;
    uint32_t good = 0;
    for (size_t k = 0; k < plain->count; k++)
        good |= plain->observables[k] == fact->observable ? plain->values[k] : 0;
    if (said->hedged != 0 || (said->seen & ~good) != 0)
        return false;
    return said->seen != 0 || observable->kind == KIND_NUMBER ||
           ((said->absent & good) == 0 &&
            ((said->absent & observable->salient) != 0 || __builtin_popcount(said->absent) > 1));
}

/* Whether words tell of growth and of nothing else, and every one was understood. */
static bool is_plain(struct app *app, const char *words)
{
    bool plain = false;
    triage_reset(app->triage);
    app_must(app, triage_tell(app->triage, words, strlen(words), app->diags));
    const struct heard all = triage_heard(app->triage);
    for (size_t i = 0; i < all.fact_count && all.unclear_count == 0; i++)
        if (all.facts[i].origin == ORIGIN_TEXT &&
            !(plain = is_plain_fact(app->rules, &all.facts[i])))
            break;
    return plain;
}

/* Who tells of a patch in one of a row has seen none in those that are plainly white. What is added
 * to somebody's words stands in square brackets. */
static void all_told(struct app *app, const char **words)
{
    if (is_plain(app, *words))
        *words = arena_format(app->arena, "%s [nothing odd]", *words);
}

/* The vessels of a batch, each with what the remark says of it. Those it names can be looked at. */
static void read_remark(struct walkthrough *walk, const struct batch *batch)
{
    struct app *app = walk->app;
    struct remark remark;
    const struct vessel *vessels =
        app_all(app, RECORD_VESSEL, "batch = ?1", batch->id, &walk->count);
    app_must(app, remark_read(app->rules, walk->words, batch->label, walk->count, app->arena,
                              &remark, app->diags));
    walk->rows = arena_array(app->arena, walk->count, sizeof *walk->rows);
    for (size_t i = 0; i < remark.group_count; i++)
        if (!remark.groups[i].controls)
            all_told(app, &remark.groups[i].words);
    all_told(app, &remark.words);
    for (size_t i = 0; i < walk->count; i++) {
        const struct vessel *vessel = &vessels[i];
        const struct remark_group *group =
            remark_group_of(&remark, vessel->number, vessel->control);
        bool said = group != NULL || remark.words[0] != '\0';
        walk->rows[i] = (struct row){.vessel = *vessel,
                                     .words = group != NULL ? group->words
                                              : said        ? remark.words
                                                            : NULL,
                                     .named = group != NULL,
                                     .state = vessel_gone(vessel) ? ROW_GONE
                                              : said              ? ROW_OPEN
                                                                  : ROW_UNSAID};
        if (group != NULL && !group->controls && vessel_gone(vessel))
            app_stop(app, "%s was %s already; nothing was saved", vessel->label,
                     vessel_state_words[vessel->state]);
    }
    for (size_t i = 0; i < remark.group_count; i++)
        for (size_t k = 0; k < remark.groups[i].count; k++) {
            bool there = false;
            for (size_t r = 0; r < walk->count && !there; r++)
                there = walk->rows[r].vessel.number == remark.groups[i].numbers[k];
            if (!there)
                app_stop(app, "there is no vessel %lld in %s; nothing was saved",
                         (long long)remark.groups[i].numbers[k], batch->label);
        }
}

/* ---- looking --------------------------------------------------------------------------------- */

/* "green; wet at the bottom": the values that the words were taken for. */
static const char *understood(struct app *app)
{
    const struct heard heard = triage_heard(app->triage);
    const char *all = "";
    for (const struct fact *fact = heard.facts; fact < heard.facts + heard.fact_count; fact++) {
        const struct observable *observable = &app->rules->observables[fact->observable];
        if (fact->origin != ORIGIN_TEXT || (!fact->has_number && fact->observation.seen == 0))
            continue;
        TEXT(values);
        if (fact->has_number)
            text_puts(&values, fact->words);
        else
            view_values(&values, observable, fact);
        words_add(app, &all, "; ", "%s: %s", observable->label, values.bytes);
    }
    return all;
}

static void save_row(struct walkthrough *walk, struct row *row, struct consultation *consultation)
{
    struct app *app = walk->app;
    struct look look;
    const struct heard all = triage_heard(app->triage);
    const char *taken = understood(app), *unread = "";
    char percent[PERCENT_ROOM], day[MOMENT_ROOM];
    for (size_t i = 0; i < all.unclear_count; i++)
        words_add(app, &unread, "; ", "%s", all.unclear[i].words);
    const struct judged judged = save(app, consultation, row->words, &look);
    const struct decision *decision = &judged.verdict->decision;
    const struct decision_rules *rules = &app->rules->decision;
    const struct finding *finding = &app->rules->findings[judged.verdict->findings[0].index];
    const bool keep = decision->action == ACTION_KEEP;
    row->state = ROW_SAVED;
    row->action = decision->action;
    if (walk->alone)
        return;
    json_t *json = look_json(&consultation->vessel, &look, &judged);
    row->told =
        view_json("action:s label:s words:s understood:s unread:w", action_name(row->action),
                  rules->action_label[row->action], row->words, taken, unread);
    if (keep)
        view_json_add(
            row->told, "next:s",
            consult_day(moment_of_day(consultation->vessel.due), walk->request->now, day));
    else
        view_json_add(row->told,
                      "finding:s unseen:b doubted:b open:b likely:b contaminated:s forced:s "
                      "because:o",
                      finding->name,
                      decision->floor != RULES_NONE &&
                          rules->floors[decision->floor].unless_told_count > 0,
                      finding->status != FINDING_CONTAMINATED,
                      look.contaminated / 2 > judged.verdict->findings[0].p,
                      look.contaminated > 0.5, view_percent(look.contaminated, percent),
                      decision->floor != RULES_NONE ? rules->floors[decision->floor].say : "",
                      finding->status != FINDING_CONTAMINATED
                          ? json_incref(json_object_get(json, "_striking"))
                          : NULL);
    if (!keep && look.contaminated >= walk->gravest) {
        walk->gravest = look.contaminated;
        json_decref(walk->cautions);
        walk->cautions = json_incref(json_object_get(json, "cautions"));
    }
    json_array_append_new(walk->looks, json);
}

/* Tells the words; ends the command where a number among them was understood as nothing. */
static void tell_words(struct app *app, const char *words)
{
    app_must(app, triage_tell(app->triage, words, strlen(words), app->diags));
    const struct reading_list list = app_reading(app, words);
    struct span *spans = arena_array(app->arena, list.reading_count, sizeof *spans);
    for (size_t i = 0; i < list.reading_count; i++)
        spans[i] = list.readings[i].span;
    const char *number = remark_leftover(words, spans, list.reading_count, app->arena);
    if (number != NULL)
        app_stop(app,
                 "what is %s in '%s'? Name vessels before what you say of them: \"all fine except "
                 "%s: green patch\". Nothing was saved",
                 number, words, number);
}

/* Whether a rule for what was never inoculated applies: "all white" is not meant of a control. */
static bool tells_of_growth(const struct app *app)
{
    const struct decision_rules *decision = &app->rules->decision;
    int inoculated = app->rules->feeder[FEEDS_INOCULATED];
    for (size_t i = 0; i < decision->floor_count; i++) {
        const struct condition *when = &decision->floors[i].when;
        for (size_t k = 0; k < when->count; k++)
            if ((int)when->observables[k] == inoculated &&
                reason_holds(app->reasoner, when, triage_evidence(app->triage)))
                return true;
    }
    return false;
}

static void look_at_row(struct walkthrough *walk, struct row *row)
{
    struct app *app = walk->app;
    struct consultation consultation;

    if (is_blank(row->words)) {
        row->state = ROW_TO_DESCRIBE;
        return;
    }
    struct consult_request request = *walk->request;
    request.label = row->vessel.label;
    request.without_siblings = walk->alone;
    request.others = walk->alone ? NULL : &row->others;
    look_open(app, &request, &consultation);
    row->day = consultation.day;
    tell_words(app, row->words);
    const char *rest;
    if (all_said(app) == NULL)
        row->state = reader_does_not_know(app->rules, row->words, &rest) ? ROW_UNSAID : ROW_MUTE;
    else if (!row->named &&
             (!consult_sound(&consultation) || (row->vessel.control && tells_of_growth(app))))
        row->state = ROW_LEFT_OUT;
    else
        save_row(walk, row, &consultation);
}

/* The rows in a state, and with an action unless that is ACTION_COUNT; how many. */
static size_t pick_rows(const struct walkthrough *walk, enum row_state state, enum action action,
                        struct vessel **picked)
{
    size_t count = 0;
    *picked = arena_array(walk->app->arena, walk->count, sizeof **picked);
    for (size_t i = 0; i < walk->count; i++)
        if (walk->rows[i].state == state &&
            (action == ACTION_COUNT || walk->rows[i].action == action))
            (*picked)[count++] = walk->rows[i].vessel;
    return count;
}

/* Several are only thrown away when somebody has said so. */
static void confirm_discards(struct walkthrough *walk)
{
    struct app *app = walk->app;
    struct vessel *picked = NULL;
    size_t count = pick_rows(walk, ROW_SAVED, ACTION_DISCARD, &picked);
    if (count < 2 || app->given.sure)
        return;
    const char *labels = app_vessels(app, picked, count);
    confirm_or_stop(
        app, !app->given.no_input && !app->given.json,
        arena_format(app->arena, "These words mean discard for %s. Record them", labels),
        arena_format(app->arena,
                     "these words mean discard for %zu vessels (%s); add --yes if they do. Nothing "
                     "was saved",
                     count, labels));
}

/* Words that say nothing of a vessel stop it all; what was clear is told, for it may not wait. */
static void stop_if_mute(const struct walkthrough *walk)
{
    struct app *app = walk->app;
    struct vessel *picked = NULL;
    const char *others = "";
    size_t count = pick_rows(walk, ROW_MUTE, ACTION_COUNT, &picked), mute = 0;
    if (count == 0)
        return;
    const char *labels = app_vessels(app, picked, count);
    while (walk->rows[mute].state != ROW_MUTE)
        mute++;
    for (enum action action = ACTION_KEEP; action < ACTION_COUNT; action++) {
        size_t many = action != ACTION_KEEP ? pick_rows(walk, ROW_SAVED, action, &picked) : 0;
        if (many > 0)
            others = arena_format(app->arena, "%s. Do not wait with %s: %s", others,
                                  app_vessels(app, picked, many),
                                  app->rules->decision.action_label[action]);
    }
    app_stop(app,
             "'%s' says nothing about a vessel (%s); nothing was saved. Say it in other words, or "
             "leave it out%s",
             walk->rows[mute].words, labels, others);
}

static void look_at_all(struct walkthrough *walk)
{
    struct app *app = walk->app;
    for (int pass = 0; pass < 2; pass++) {
        walk->alone = pass == 0;
        app_begin(app);
        for (int rest = 0; rest < 2; rest++) /* those that were described first, then the rest */
            for (size_t i = 0; i < walk->count; i++)
                if (walk->rows[i].state == ROW_OPEN && walk->rows[i].named != rest)
                    look_at_row(walk, &walk->rows[i]);
        stop_if_mute(walk);
        if (!walk->alone)
            break;
        for (size_t i = 0; i < walk->count; i++) { /* what the siblings of each came to */
            struct row *row = &walk->rows[i];
            struct consultation consultation = {.vessel = row->vessel, .day = row->day};
            if (row->state == ROW_SAVED)
                app_must(app, consult_count(app->journal, &consultation, app->arena, &row->others));
        }
        confirm_discards(walk);
        for (size_t i = 0; i < walk->count; i++)
            if (walk->rows[i].state == ROW_SAVED)
                walk->rows[i].state = ROW_OPEN;
        journal_rollback(app->journal);
    }
    app_commit(app);
}

/* ---- saying it ------------------------------------------------------------------------------- */

static json_t *labels_json(const struct walkthrough *walk, enum row_state state)
{
    struct vessel *picked = NULL;
    size_t count = pick_rows(walk, state, ACTION_COUNT, &picked);
    return view_json_vessels(picked, count);
}

/* "B1-1 to B1-4": the vessels in a state, for a sentence; NULL for none. */
static const char *labels_words(const struct walkthrough *walk, enum row_state state)
{
    struct vessel *picked = NULL;
    size_t count = pick_rows(walk, state, ACTION_COUNT, &picked);
    return count > 0 ? app_vessels(walk->app, picked, count) : NULL;
}

/* The vessels of which the same was said and came out, together. */
static json_t *groups_json(struct walkthrough *walk)
{
    struct app *app = walk->app;
    json_t *groups = json_array();
    for (size_t i = 0; i < walk->count; i++) {
        json_t *told = walk->rows[i].told, *children = told != NULL ? json_array() : NULL;
        struct vessel *alike = arena_array(app->arena, walk->count, sizeof *alike);
        size_t count = 0;
        for (size_t k = i; told != NULL && k < walk->count; k++) {
            if (!json_equal(told, walk->rows[k].told))
                continue;
            alike[count++] = walk->rows[k].vessel;
            if (walk->rows[k].action != ACTION_KEEP)
                view_json_row(children, "label:s children:w", walk->rows[k].vessel.label,
                              view_children(&app->view, RECORD_VESSEL, walk->rows[k].vessel.id));
            if (k > i) /* it is told with this one */
                json_decref(walk->rows[k].told);
            walk->rows[k].told = NULL;
        }
        if (told != NULL) {
            view_json_add(told, "labels:s _made:o", app_vessels(app, alike, count), children);
            json_array_append_new(groups, told);
        }
    }
    return groups;
}

/* The rows are looked at, told, and those still to be described are asked about. */
static enum status walk_through(struct walkthrough *walk, const char *batch)
{
    struct app *app = walk->app;
    walk->looks = json_array();
    walk->cautions = json_array();
    look_at_all(walk);
    const size_t saved = json_array_size(walk->looks);
    enum status status = app_tell(
        app, "looked",
        view_json("schema:i batch:s looks:o not_covered:o to_describe:o nothing_said:o "
                  "_cautions:o _groups:o _left_out:s _to_describe:s _unsaid:s _saved:z",
                  1, batch, walk->looks, labels_json(walk, ROW_LEFT_OUT),
                  labels_json(walk, ROW_TO_DESCRIBE), labels_json(walk, ROW_UNSAID), walk->cautions,
                  groups_json(walk), labels_words(walk, ROW_LEFT_OUT),
                  labels_words(walk, ROW_TO_DESCRIBE), labels_words(walk, ROW_UNSAID), saved));
    for (size_t i = 0; !app->given.json && may_ask(app) && i < walk->count && status == STATUS_OK;
         i++)
        if (walk->rows[i].state == ROW_TO_DESCRIBE) {
            screen_blank(&app->out);
            walk->request->label = walk->rows[i].vessel.label;
            status = look_at_vessel(app, walk->request, "");
        }
    return status;
}

/* ==== the command ============================================================================= */

/* What was seen of a batch, in one line; asked for where somebody is there. */
static const char *ask_remark(struct app *app, const char *batch)
{
    if (!may_ask(app))
        app_stop(app,
                 "what was seen is missing; for instance: "
                 "jarside look %s \"all fine except 3 and 7: green patch\"",
                 batch);
    app_aside(app, "For instance: all fine except 3 and 7: green patch");
    (void)app_flush(app);
    const char *words =
        ask_once(app, arena_format(app->arena, "What do you see in %s", batch), NULL, 0);
    if (words == NULL)
        app_stop(app, "nothing was saved");
    return words;
}

static enum status run_look(struct app *app)
{
    const char *const *operands = app->operands;
    const size_t count = app->operand_count;
    struct consult_request request = {
        .label = operands[0],
        .now = app->given.at,
        .corrects = app->given.corrects != SIZE_MAX ? (int64_t)app->given.corrects : 0};
    struct walkthrough walk = {.app = app, .request = &request};
    struct batch batch;

    labels_one_thing(app, operands[0]);
    const int64_t id = labels_id(app, RECORD_BATCH, operands[0]);
    const bool whole = id != 0;
    const size_t labels = whole ? 1 : labels_leading(app, operands, count);
    walk.words = arena_join(app->arena, operands + labels, count - labels);
    if (!whole && labels < 2 && strpbrk(operands[0], ".,") == NULL)
        return look_at_vessel(app, &request, walk.words);
    if (request.corrects != 0)
        app_stop(app, "--corrects goes with one vessel, not with several");
    if (whole) {
        app_get(app, RECORD_BATCH, id, &batch);
        if (is_blank(walk.words))
            walk.words = ask_remark(app, batch.label);
        read_remark(&walk, &batch);
        return walk_through(&walk, batch.label);
    }
    const struct chosen chosen = labels_vessels(app, operands, labels);
    if (is_blank(walk.words) && !may_ask(app))
        app_stop(app, "what was seen is missing; for instance: jarside look %s \"half white\"",
                 operands[0]);
    walk.count = chosen.count;
    walk.rows = arena_array(app->arena, chosen.count, sizeof *walk.rows);
    for (size_t i = 0; i < chosen.count; i++)
        walk.rows[i] = (struct row){
            .vessel = chosen.vessels[i], .words = walk.words, .named = true, .state = ROW_OPEN};
    app_get(app, RECORD_BATCH, chosen.vessels[0].batch, &batch);
    return walk_through(&walk, batch.label);
}

const struct command look_commands[] = {
    {"look", run_look, NEEDS_WRITE,
     .wrong = "which vessel? For instance: jarside look B3-7 \"green patch\"", .json = true,
     .judges = true},
    {0},
};
