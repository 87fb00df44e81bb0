/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_SUPPORT_JOURNAL_CASE_H
#define JARSIDE_TESTS_SUPPORT_JOURNAL_CASE_H

/* Short ways to fill the journal of a test. */
#include "journal/journal.h"
#include "support/fixture.h"

/* The message of the first fault, or "". */
static inline const char *first_fault(const struct fixture *c)
{
    return diags_kept(c->diags) > 0 ? diags_get(c->diags, 0)->message : "";
}

static inline struct moment on(const char *text)
{
    struct moment moment = moment_unknown();
    assert_true(moment_read(text, moment_unknown(), &moment));
    return moment;
}

static inline void add(struct fixture *c, enum record record, void *row)
{
    if (journal_add(c->journal, record, row) != STATUS_OK)
        fail_msg("%s: %s", record_types[record].name, first_fault(c));
}

/* Adds a record from its columns as people write them, "label=C4; gauge=103"; returns its id. */
__attribute__((format(printf, 3, 4))) static inline int64_t
put(struct fixture *c, enum record record, const char *format, ...)
{
    char columns[512], *rest = columns;
    union any_record row;
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(columns, sizeof columns, format, arguments);
    va_end(arguments);
    record_init(record, &row);
    for (char *part; (part = strsep(&rest, ";")) != NULL;) {
        const char *name = strsep(&part, "=");
        name += strspn(name, " ");
        const size_t column = record_column(record, name);
        assert_true(column != SIZE_MAX);
        if (journal_read_column(c->journal, &record_types[record].columns[column], part, c->arena,
                                &row) != STATUS_OK)
            fail_msg("%s: %s", name, first_fault(c));
    }
    add(c, record, &row);
    return row.named.id;
}

static inline int64_t add_cook(struct fixture *c, const char *label)
{
    return put(c, RECORD_COOK, "label=%s", label);
}

static inline int64_t add_place(struct fixture *c, const char *label)
{
    return put(c, RECORD_PLACE, "label=%s", label);
}

static inline int64_t add_batch(struct fixture *c, const char *label, int64_t cook)
{
    struct batch batch;
    record_init(RECORD_BATCH, &batch);
    batch.label = label;
    batch.at = on("2026-03-01T12:00:00Z");
    batch.cook = cook;
    add(c, RECORD_BATCH, &batch);
    return batch.id;
}

static inline int64_t add_vessel(struct fixture *c, int64_t batch, int64_t number, int64_t place)
{
    struct vessel vessel;
    char label[32];
    record_init(RECORD_VESSEL, &vessel);
    snprintf(label, sizeof label, "V%lld-%lld", (long long)batch, (long long)number);
    vessel.label = label;
    vessel.batch = batch;
    vessel.number = number;
    vessel.place = place;
    add(c, RECORD_VESSEL, &vessel);
    return vessel.id;
}

static inline int64_t add_look(struct fixture *c, int64_t vessel, const char *at,
                               const char *action, const char *status, int64_t corrects)
{
    struct look look;
    record_init(RECORD_LOOK, &look);
    look.vessel = vessel;
    look.at = on(at);
    look.action = action;
    look.status = status;
    look.corrects = corrects;
    add(c, RECORD_LOOK, &look);
    return look.id;
}

static inline int64_t add_event(struct fixture *c, int64_t vessel, const char *at,
                                enum event_kind kind, int64_t place, int64_t corrects)
{
    struct event event;
    record_init(RECORD_EVENT, &event);
    event.vessel = vessel;
    event.at = on(at);
    event.kind = kind;
    event.place = place;
    event.corrects = corrects;
    add(c, RECORD_EVENT, &event);
    return event.id;
}

static inline struct vessel vessel_of(struct fixture *c, int64_t id)
{
    struct vessel vessel;
    assert_int_equal(journal_get(c->journal, RECORD_VESSEL, id, c->arena, &vessel), STATUS_OK);
    return vessel;
}

#endif
