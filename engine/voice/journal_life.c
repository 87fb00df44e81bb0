/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The life of a vessel, a batch, a starter ... as a timeline. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/journal.h"

enum { DATE_COLUMNS = 12, DAY_COLUMNS = 20, MOST_BATCHES = 40, DEEPEST = 20 };

/* ---- what it is ------------------------------------------------------------------------------ */

/* "cook C1 (103 kPa for 90 min), starter S1, session I1, lot G1". */
static void say_batch_records(struct screen *screen, const struct journal_told *told,
                              const struct batch *batch, size_t indent)
{
    struct cook cook;
    struct text text;

    text_init(&text);
    if (batch->starter != 0)
        text_printf(&text, ", starter %s", voice_label(told, RECORD_STARTER, batch->starter));
    if (batch->cook != 0 && journal_get(told->journal, RECORD_COOK, batch->cook, told->arena, &cook,
                                        told->diags) == STATUS_OK) {
        const char *what = voice_cook_words(told, &cook);
        text_printf(&text, ", cook %s%s%s%s", cook.label, what[0] != '\0' ? " (" : "", what,
                    what[0] != '\0' ? ")" : "");
    }
    if (batch->session != 0)
        text_printf(&text, ", session %s", voice_label(told, RECORD_SESSION, batch->session));
    if (batch->lot != 0)
        text_printf(&text, ", lot %s", voice_label(told, RECORD_LOT, batch->lot));
    if (text.length > 2)
        screen_say(screen, indent, 2, ROLE_PLAIN, "From %s.", text.bytes + 2);
    text_release(&text);
}

/* "Isolated; counts as contaminated since 2026-03-05". */
static const char *now_words(const struct journal_told *told, const struct vessel *vessel)
{
    bool lost = vessel->fate == FATE_CONTAMINATED || vessel->fate == FATE_STUCK;
    const char *state = vessel_state_words[vessel->state];
    char day[MOMENT_ROOM] = "";
    const char *since = moment_known(vessel->ended) ? " since " : "";
    moment_write_day(vessel->ended, day);
    const char *words = lost ? arena_format(told->arena, "%s; counts as %s%s%s", state,
                                            fate_words[vessel->fate], since, day)
                             : arena_format(told->arena, "%s%s%s", state, since, day);
    return words != NULL ? words : "";
}

static void say_course(struct screen *screen, const struct journal_told *told,
                       const struct batch *batch, const struct vessel *vessel)
{
    struct course course;
    char from[MOMENT_ROOM], to[MOMENT_ROOM], when[WHEN_ROOM];
    int64_t day = moment_day(batch->at);

    if (vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED)
        return;
    if (vessel->due != 0)
        screen_say(screen, 0, 2, ROLE_PLAIN, "Look due %s (%s).",
                   voice_when(vessel->due, moment_day(told->now), when), vessel->due_for);
    if (vessel->control ||
        course_of(told->journal, told->rules, batch, vessel, &course, told->diags) != STATUS_OK ||
        !course.known || !isfinite(course.full.high))
        return;
    screen_say(screen, 0, 2, ROLE_PLAIN, "The forecast has it white through from %s to %s.",
               voice_day(day + (int64_t)floor(course.full.low), from),
               voice_day(day + (int64_t)ceil(course.full.high), to));
}

/* ---- the timeline ---------------------------------------------------------------------------- */

static const char *event_words(const struct journal_told *told, const struct event *event)
{
    const struct look *look = &event->is.look;
    const struct outcome *outcome = &event->is.outcome;
    const struct edit *edit = &event->is.edit;
    const char *words = NULL;

    if (event->kind == RECORD_LOOK && look->words[0] != '\0')
        words = arena_format(told->arena, "look %lld, %s: %s. \"%s\"", (long long)event->id,
                             look->action, voice_finding_name(told, look->finding), look->words);
    else if (event->kind == RECORD_LOOK)
        words = arena_format(told->arena, "look %lld, %s: %s", (long long)event->id, look->action,
                             voice_finding_name(told, look->finding));
    else if (event->kind == RECORD_DEED)
        words = arena_format(told->arena, "%s (deed %lld)", voice_deed_words(told, &event->is.deed),
                             (long long)event->id);
    else if (event->kind == RECORD_OUTCOME)
        words = arena_format(told->arena, "confirmed: %s%s%s%s%s",
                             voice_finding_name(told, outcome->finding),
                             outcome->cause[0] != '\0' ? ", because of: " : "",
                             voice_cause_name(told, outcome->cause),
                             outcome->how[0] != '\0' ? ". " : "", outcome->how);
    else
        words = arena_format(told->arena, "corrected: %s was '%s', became '%s'", edit->column,
                             edit->was, edit->became);
    if (words != NULL && event->overruled)
        words = arena_format(told->arena, "[no longer counts] %s", words);
    return words != NULL ? words : "";
}

/* With the label of the vessel, where events of several stand together. */
static void say_event(struct screen *screen, const struct journal_told *told,
                      const struct event *event, const struct batch *batch, bool several)
{
    char date[MOMENT_ROOM], lead[MOMENT_ROOM + 24];
    const char *words = event_words(told, event);

    moment_write_day(event->at, date);
    if (batch != NULL)
        snprintf(lead, sizeof lead, "%s  day %lld", date,
                 (long long)moment_days_between(batch->at, event->at));
    else
        snprintf(lead, sizeof lead, "%s", date);
    if (several && event->vessel != 0)
        words = arena_format(told->arena, "%s: %s", voice_label(told, RECORD_VESSEL, event->vessel),
                             words);
    screen_row(screen, 0, batch != NULL ? DAY_COLUMNS : DATE_COLUMNS, lead,
               words != NULL ? words : "");
}

static void say_events(struct screen *screen, const struct journal_told *told,
                       const struct life *life, const struct batch *batch, bool several)
{
    if (life->earlier > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "%zu earlier ones are left out; --limit 0 shows all.",
                   life->earlier);
    for (size_t i = 0; i < life->count; i++)
        say_event(screen, told, &life->events[i], batch, several);
}

static void say_start(struct screen *screen, const struct journal_told *told,
                      const struct batch *batch, bool control)
{
    char date[MOMENT_ROOM], lead[MOMENT_ROOM + 24];
    const char *starter = voice_label(told, RECORD_STARTER, batch->starter);
    const char *words = control ? "cooked with the others, not inoculated"
                        : starter[0] != '\0'
                            ? arena_format(told->arena, "inoculated from %s", starter)
                            : "inoculated";
    snprintf(lead, sizeof lead, "%s  day 0", moment_write_day(batch->at, date));
    screen_row(screen, 0, DAY_COLUMNS, lead, words != NULL ? words : "");
}

/* ---- vessels and batches --------------------------------------------------------------------- */

static enum status life_of_one(struct screen *screen, const struct journal_told *told,
                               const struct vessel *vessel, size_t limit)
{
    struct batch batch;
    struct life life = {NULL, 0, 0};
    enum status status =
        journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, &batch, told->diags);
    if (status == STATUS_OK)
        status = life_of_vessel(told->journal, vessel, limit, told->arena, &life, told->diags);
    if (status != STATUS_OK)
        return status;
    const char *stands = voice_label(told, RECORD_PLACE, vessel->stands);
    screen_say(screen, 0, 2, ROLE_STRONG, "%s: %s, %s%s%s%s.", vessel->label,
               voice_vessel_name(told, vessel->kind), voice_batch_words(told, &batch),
               vessel->control ? ", a control" : "", stands[0] != '\0' ? ", in " : "", stands);
    screen_say(screen, 0, 2, ROLE_PLAIN, "It is %s.", now_words(told, vessel));
    say_batch_records(screen, told, &batch, 0);
    if (vessel->note[0] != '\0')
        screen_say(screen, 0, 2, ROLE_PLAIN, "Note: %s", vessel->note);
    screen_blank(screen);
    say_start(screen, told, &batch, vessel->control);
    say_events(screen, told, &life, &batch, false);
    screen_blank(screen);
    say_course(screen, told, &batch, vessel);
    return STATUS_OK;
}

static enum status life_of_many(struct screen *screen, const struct journal_told *told,
                                const struct batch *batch, size_t limit)
{
    struct survey survey = survey_all(RECORD_VESSEL, 200);
    struct vessel_tally tally;
    struct page page;
    struct life life = {NULL, 0, 0};
    enum status status =
        life_of_batch(told->journal, batch, limit, told->arena, &life, told->diags);
    if (status == STATUS_OK)
        status = survey_tally(told->journal, RECORD_BATCH, batch->id, &tally, told->diags);
    survey.batch = batch->id;
    if (status == STATUS_OK)
        status = survey_page(told->journal, &survey, told->arena, &page, told->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(screen, 0, 2, ROLE_STRONG, "%s: %s. %s.", batch->label,
               voice_batch_words(told, batch), voice_tally(told, &tally));
    say_batch_records(screen, told, batch, 0);
    if (batch->note[0] != '\0')
        screen_say(screen, 0, 2, ROLE_PLAIN, "Note: %s", batch->note);
    screen_blank(screen);
    say_start(screen, told, batch, false);
    say_events(screen, told, &life, batch, true);
    screen_blank(screen);
    return voice_list(screen, told, RECORD_VESSEL, &page);
}

/* ---- what vessels are made with -------------------------------------------------------------- */

/* Where a starter came from, the nearest first; each generation indented. */
static enum status say_ancestors(struct screen *screen, const struct journal_told *told, int64_t id,
                                 size_t depth)
{
    void *rows = NULL;
    size_t count = 0;
    enum status status = journal_all(told->journal, RECORD_PARENT, "starter", id, told->arena,
                                     &rows, &count, told->diags);
    for (size_t i = 0; i < count && status == STATUS_OK && depth < DEEPEST; i++) {
        struct starter starter;
        char date[MOMENT_ROOM];
        status = journal_get(told->journal, RECORD_STARTER, ((struct parent *)rows)[i].parent,
                             told->arena, &starter, told->diags);
        if (status != STATUS_OK)
            break;
        screen_say(screen, 2 * depth, 2, ROLE_PLAIN, "from %s%s%s%s%s", starter.label,
                   moment_known(starter.made) ? ", made " : "",
                   moment_write_day(starter.made, date), starter.source[0] != '\0' ? ", from " : "",
                   starter.source);
        status = say_ancestors(screen, told, starter.id, depth + 1);
    }
    return status;
}

static enum status say_family(struct screen *screen, const struct journal_told *told,
                              const struct starter *starter)
{
    struct page children = {NULL, 0, 0};
    enum status status = say_ancestors(screen, told, starter->id, 1);
    if (status == STATUS_OK)
        status = survey_children(told->journal, starter->id, told->arena, &children, told->diags);
    if (status != STATUS_OK || children.count == 0)
        return status;
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < children.count; i++)
        text_printf(&text, "%s%s", i > 0 ? ", " : "",
                    voice_label(told, RECORD_STARTER, children.ids[i]));
    screen_say(screen, 2, 2, ROLE_PLAIN, "Made from it: %s.", text.bytes);
    text_release(&text);
    return STATUS_OK;
}

static enum status say_batches(struct screen *screen, const struct journal_told *told,
                               enum record record, int64_t id)
{
    struct vessel_tally tally;
    struct page page;
    enum status status = survey_tally(told->journal, record, id, &tally, told->diags);
    if (status != STATUS_OK || record == RECORD_PLACE) {
        screen_say(screen, 0, 2, ROLE_PLAIN, "Vessels there now: %s.", voice_tally(told, &tally));
        return status;
    }
    status =
        survey_batches(told->journal, record, id, MOST_BATCHES, told->arena, &page, told->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(screen, 0, 2, ROLE_PLAIN, "It went into %zu batch%s; vessels: %s.", page.total,
               page.total == 1 ? "" : "es", voice_tally(told, &tally));
    if (page.count == 0)
        return STATUS_OK;
    screen_blank(screen);
    return voice_list(screen, told, RECORD_BATCH, &page);
}

static enum status life_around(struct screen *screen, const struct journal_told *told,
                               enum record record, const void *row, const char *label, size_t limit)
{
    struct life life = {NULL, 0, 0};
    enum status status =
        life_of_record(told->journal, record, label, limit, told->arena, &life, told->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(screen, 0, 2, ROLE_STRONG, "%s %s", record_types[record].name, label);
    voice_record(screen, told, record, row);
    if (record == RECORD_STARTER)
        status = say_family(screen, told, row);
    if (status == STATUS_OK)
        status = say_batches(screen, told, record, *(const int64_t *)row);
    if (life.count > 0)
        screen_blank(screen);
    say_events(screen, told, &life, NULL, false);
    return status;
}

enum status voice_life(struct screen *screen, const struct journal_told *told, enum record record,
                       const void *row, size_t limit)
{
    if (record == RECORD_VESSEL)
        return life_of_one(screen, told, row, limit);
    if (record == RECORD_BATCH)
        return life_of_many(screen, told, row, limit);
    const struct {
        int64_t id;
        const char *label;
    } *named = row; /* so every kind with a label begins */
    return life_around(screen, told, record, row, named->label, limit);
}
