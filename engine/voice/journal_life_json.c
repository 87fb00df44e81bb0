/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "voice/journal.h"
#include "voice/whole_json.h"

enum { MOST_BATCHES = 1000, DEEPEST = 20 };

static json_t *event_json(const struct journal_told *told, const struct event *event,
                          const struct batch *batch)
{
    json_t *record = voice_record_json(told, event->kind, &event->is);
    json_t *day = batch != NULL
                      ? json_integer((json_int_t)moment_days_between(batch->at, event->at))
                      : json_null();
    return json_pack("{s:s, s:o, s:o, s:b, s:o}", "kind", record_types[event->kind].name, "at",
                     voice_json_moment(event->at), "day", day, "counts", !event->overruled,
                     "record", record);
}

static json_t *events_json(const struct journal_told *told, const struct life *life,
                           const struct batch *batch)
{
    json_t *events = json_array();
    for (size_t i = 0; i < life->count; i++)
        events = voice_json_append(events, event_json(told, &life->events[i], batch));
    return events;
}

/* {"label", "from": [the same of its parents]}. */
static json_t *ancestor_json(const struct journal_told *told, int64_t id, size_t depth,
                             enum status *status)
{
    void *rows = NULL;
    size_t count = 0;
    json_t *from = json_array();
    if (depth < DEEPEST && *status == STATUS_OK)
        *status = journal_all(told->journal, RECORD_PARENT, "starter", id, told->arena, &rows,
                              &count, told->diags);
    for (size_t i = 0; i < count && *status == STATUS_OK; i++) {
        int64_t parent = ((const struct parent *)rows)[i].parent;
        from = voice_json_append(from, ancestor_json(told, parent, depth + 1, status));
    }
    return json_pack("{s:o, s:o}", "label", voice_json_label(told, RECORD_STARTER, id), "from",
                     from);
}

static enum status add_family(json_t **json, const struct journal_told *told, int64_t id)
{
    struct page children;
    enum status status = survey_children(told->journal, id, told->arena, &children, told->diags);
    if (status != STATUS_OK)
        return status;
    json_t *made = json_array(), *self = ancestor_json(told, id, 0, &status);
    for (size_t i = 0; i < children.count; i++)
        made = voice_json_append(made, voice_json_label(told, RECORD_STARTER, children.ids[i]));
    *json = voice_json_put(*json, "from", json_incref(json_object_get(self, "from")));
    *json = voice_json_put(*json, "made_from_it", made);
    json_decref(self);
    return status;
}

static enum status add_batches(json_t **json, const struct journal_told *told, enum record record,
                               int64_t id)
{
    struct page page = {NULL, 0, 0};
    struct vessel_tally tally;
    enum status status = survey_tally(told->journal, record, id, &tally, told->diags);
    if (status == STATUS_OK && record != RECORD_PLACE && record != RECORD_BATCH)
        status = survey_batches(told->journal, record, id, MOST_BATCHES, told->arena, &page,
                                told->diags);
    if (status != STATUS_OK)
        return status;
    *json = voice_json_put(*json, "vessels", voice_tally_json(&tally));
    if (record != RECORD_PLACE && record != RECORD_BATCH)
        *json =
            voice_json_put(*json, "batches", voice_list_json(told, RECORD_BATCH, &page, &status));
    return status;
}

static enum status add_course(json_t **json, const struct journal_told *told,
                              const struct batch *batch, const struct vessel *vessel)
{
    struct course course;
    int64_t day = moment_day(batch->at);
    enum status status = course_of(told->journal, told->rules, batch, vessel, &course, told->diags);
    bool known = status == STATUS_OK && course.known && isfinite(course.full.high);
    *json = voice_json_put(*json, "full_from",
                           voice_json_day(known ? day + (int64_t)floor(course.full.low) : 0));
    *json = voice_json_put(*json, "full_to",
                           voice_json_day(known ? day + (int64_t)ceil(course.full.high) : 0));
    return status;
}

static enum status fill_vessel(json_t **json, const struct journal_told *told,
                               const struct vessel *vessel, size_t limit, struct life *life,
                               struct batch *batch)
{
    enum status status =
        journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, batch, told->diags);
    if (status == STATUS_OK)
        status = life_of_vessel(told->journal, vessel, limit, told->arena, life, told->diags);
    if (status != STATUS_OK)
        return status;
    *json = voice_json_put(*json, "batch", voice_record_json(told, RECORD_BATCH, batch));
    *json = voice_json_put(*json, "day",
                           json_integer((json_int_t)moment_days_between(batch->at, told->now)));
    return add_course(json, told, batch, vessel);
}

json_t *voice_life_json(const struct journal_told *told, enum record record, const void *row,
                        size_t limit, enum status *status)
{
    const struct {
        int64_t id;
        const char *label;
    } *named = row;
    struct life life = {NULL, 0, 0};
    struct batch batch;
    bool dated = record == RECORD_VESSEL || record == RECORD_BATCH;
    json_t *json = json_pack("{s:i, s:s, s:o}", "schema", 1, "kind", record_types[record].name,
                             "record", voice_record_json(told, record, row));

    if (record == RECORD_VESSEL) {
        *status = fill_vessel(&json, told, row, limit, &life, &batch);
    } else if (record == RECORD_BATCH) {
        batch = *(const struct batch *)row;
        *status = life_of_batch(told->journal, row, limit, told->arena, &life, told->diags);
    } else {
        *status = life_of_record(told->journal, record, named->label, limit, told->arena, &life,
                                 told->diags);
    }
    if (*status == STATUS_OK && record == RECORD_STARTER)
        *status = add_family(&json, told, named->id);
    if (*status == STATUS_OK && record != RECORD_VESSEL)
        *status = add_batches(&json, told, record, named->id);
    if (*status != STATUS_OK) {
        json_decref(json);
        return NULL;
    }
    json = voice_json_put(json, "earlier", json_integer((json_int_t)life.earlier));
    json = voice_json_put(json, "events", events_json(told, &life, dated ? &batch : NULL));
    return json;
}
