/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/life.h"

#include <stdlib.h>
#include <string.h>

#include "journal/survey.h"

struct living { /* while events are gathered */
    struct journal *journal;
    struct arena *arena;
    struct life *life;
    size_t room;
    struct diags *diags;
};

static struct event *add_event(struct living *living)
{
    struct life *life = living->life;
    if (life->count == living->room) {
        size_t room = living->room == 0 ? 32 : 2 * living->room;
        life->events =
            arena_grow(living->arena, life->events, living->room, room, sizeof *life->events);
        living->room = room;
    }
    return life->events != NULL ? &life->events[life->count++] : NULL;
}

/* Copies what every kind of event has out of its own row. */
static void fill(struct event *event, enum record kind)
{
    event->kind = kind;
    if (kind == RECORD_LOOK) {
        event->at = event->is.look.at;
        event->id = event->is.look.id;
        event->vessel = event->is.look.vessel;
    } else if (kind == RECORD_DEED) {
        event->at = event->is.deed.at;
        event->id = event->is.deed.id;
        event->vessel = event->is.deed.vessel;
    } else if (kind == RECORD_OUTCOME) {
        event->at = event->is.outcome.at;
        event->id = event->is.outcome.id;
        event->vessel = event->is.outcome.vessel;
    } else {
        event->at = event->is.edit.at;
        event->id = event->is.edit.id;
    }
}

static enum status gather(struct living *living, enum record kind, int64_t vessel, int64_t batch,
                          size_t limit)
{
    struct survey survey = survey_all(kind, limit);
    struct page page;
    survey.vessel = vessel;
    survey.batch = batch;
    enum status status = survey_page(living->journal, &survey, living->arena, &page, living->diags);
    for (size_t i = 0; i < page.count && status == STATUS_OK; i++) {
        struct event *event = add_event(living);
        if (event == NULL)
            return STATUS_MEMORY;
        memset(event, 0, sizeof *event);
        status = journal_get(living->journal, kind, page.ids[i], living->arena, &event->is,
                             living->diags);
        fill(event, kind);
    }
    living->life->earlier += page.total - page.count;
    return status;
}

static enum status gather_edits(struct living *living, enum record record, const char *label,
                                size_t limit)
{
    struct page page;
    enum status status =
        survey_edits(living->journal, record, label, limit, living->arena, &page, living->diags);
    for (size_t i = 0; i < page.count && status == STATUS_OK; i++) {
        struct event *event = add_event(living);
        if (event == NULL)
            return STATUS_MEMORY;
        memset(event, 0, sizeof *event);
        status = journal_get(living->journal, RECORD_EDIT, page.ids[i], living->arena, &event->is,
                             living->diags);
        fill(event, RECORD_EDIT);
    }
    return status;
}

static int64_t corrected_by(const struct event *event)
{
    return event->kind == RECORD_LOOK      ? event->is.look.corrects
           : event->kind == RECORD_DEED    ? event->is.deed.corrects
           : event->kind == RECORD_OUTCOME ? event->is.outcome.corrects
                                           : 0;
}

static int by_moment(const void *left, const void *right)
{
    const struct event *a = left, *b = right;
    if (a->at.seconds != b->at.seconds)
        return a->at.seconds < b->at.seconds ? -1 : 1;
    if (a->kind != b->kind)
        return a->kind < b->kind ? -1 : 1;
    return a->id < b->id ? -1 : a->id > b->id;
}

static int by_id(const void *left, const void *right)
{
    const struct event *a = left, *b = right;
    if (a->kind != b->kind)
        return a->kind < b->kind ? -1 : 1;
    return a->id < b->id ? -1 : a->id > b->id;
}

static void finish(struct life *life)
{
    if (life->events == NULL)
        return;
    qsort(life->events, life->count, sizeof *life->events, by_id);
    for (size_t i = 0; i < life->count; i++) {
        struct event key = {.kind = life->events[i].kind, .id = corrected_by(&life->events[i])};
        struct event *older =
            key.id != 0 ? bsearch(&key, life->events, life->count, sizeof key, by_id) : NULL;
        if (older != NULL)
            older->overruled = true;
    }
    qsort(life->events, life->count, sizeof *life->events, by_moment);
}

static enum status gather_all(struct living *living, int64_t vessel, int64_t batch, size_t limit)
{
    static const enum record kinds[] = {RECORD_LOOK, RECORD_DEED, RECORD_OUTCOME};
    enum status status = STATUS_OK;
    *living->life = (struct life){NULL, 0, 0};
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && status == STATUS_OK; i++)
        status = gather(living, kinds[i], vessel, batch, limit);
    return status;
}

enum status life_of_vessel(struct journal *journal, const struct vessel *vessel, size_t limit,
                           struct arena *arena, struct life *life, struct diags *diags)
{
    struct living living = {journal, arena, life, 0, diags};
    enum status status = gather_all(&living, vessel->id, 0, limit);
    if (status == STATUS_OK)
        status = gather_edits(&living, RECORD_VESSEL, vessel->label, limit);
    finish(life);
    return status;
}

enum status life_of_batch(struct journal *journal, const struct batch *batch, size_t limit,
                          struct arena *arena, struct life *life, struct diags *diags)
{
    struct living living = {journal, arena, life, 0, diags};
    enum status status = gather_all(&living, 0, batch->id, limit);
    if (status == STATUS_OK)
        status = gather_edits(&living, RECORD_BATCH, batch->label, limit);
    finish(life);
    return status;
}

enum status life_of_record(struct journal *journal, enum record record, const char *label,
                           size_t limit, struct arena *arena, struct life *life,
                           struct diags *diags)
{
    struct living living = {journal, arena, life, 0, diags};
    *life = (struct life){NULL, 0, 0};
    enum status status = gather_edits(&living, record, label, limit);
    finish(life);
    return status;
}
