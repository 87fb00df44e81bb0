/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What only a look at every row can tell: text, the notes of a look, and what is derived. */
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "journal/check_internal.h"

static void check_utf8(struct check *check, enum record record, const void *row)
{
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (column->kind != COLUMN_TEXT && column->kind != COLUMN_LABEL)
            continue;
        const char *text = *(const char *const *)(const void *)((const char *)row + column->offset);
        size_t length = strlen(text);
        if (utf8_valid_prefix(text, length) != length)
            check_error(check, record, *(const int64_t *)row, "'%s' is not text in UTF-8",
                        column->name);
    }
}

/* ---- notes of a look ------------------------------------------------------------------------- */

static void check_json(struct check *check, int64_t id, const char *column, const char *text,
                       int type)
{
    json_error_t fault;
    if (text[0] == '\0')
        return;
    json_t *json = json_loads(text, 0, &fault);
    if (json == NULL)
        check_error(check, RECORD_LOOK, id, "'%s' does not parse: %s at %d", column, fault.text,
                    fault.position);
    else if ((int)json_typeof(json) != type)
        check_error(check, RECORD_LOOK, id, "'%s' should be a JSON %s", column,
                    type == JSON_ARRAY ? "array" : "object");
    json_decref(json);
}

/* ---- derived --------------------------------------------------------------------------------- */

static void check_state(struct check *check, const struct vessel *vessel)
{
    struct vessel fresh;
    if (vessel_derive(check->journal, vessel->id, &fresh, check->diags) != STATUS_OK)
        return;
    const char *stale = NULL;
    if (fresh.state != vessel->state)
        stale = "state";
    else if (fresh.fate != vessel->fate)
        stale = "fate";
    else if (fresh.ended.seconds != vessel->ended.seconds)
        stale = "end";
    else if (fresh.last_look != vessel->last_look)
        stale = "last look";
    else if (fresh.stands != vessel->stands || fresh.stood != vessel->stood)
        stale = "place";
    if (stale != NULL)
        check_error(check, RECORD_VESSEL, vessel->id,
                    "the %s of %.200s is not what its looks, deeds and outcomes say", stale,
                    vessel->label);
    bool over = vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED;
    if (over && vessel->due != 0)
        check_error(check, RECORD_VESSEL, vessel->id,
                    "a look at %.200s is due, although it is gone", vessel->label);
}

/* ---- every row ------------------------------------------------------------------------------- */

static void check_row(struct check *check, enum record record, const void *row)
{
    const struct look *look = row;
    check->tally->records++;
    check_utf8(check, record, row);
    if (record == RECORD_VESSEL)
        check_state(check, row);
    if (record == RECORD_LOOK) {
        check_json(check, look->id, "facts", look->facts, JSON_ARRAY);
        check_json(check, look->id, "posterior", look->posterior, JSON_OBJECT);
    }
}

/* Rows that hold a word that is not known end a walk; check_columns has told of them. */
static void check_table(struct check *check, enum record record)
{
    void *row = malloc(record_types[record].size);
    struct diags *unheard = diags_new();
    struct walk *walk = row != NULL && unheard != NULL
                            ? journal_walk(check->journal, record, NULL, 0, unheard)
                            : NULL;
    if (walk == NULL)
        check->status = STATUS_MEMORY;
    while (walk != NULL && walk_next(walk, row))
        check_row(check, record, row);
    enum status status = walk_end(walk);
    if (status != STATUS_OK && status != STATUS_DATA && check->status == STATUS_OK) {
        check->status = status;
        for (size_t i = 0; i < diags_kept(unheard); i++)
            diags_error(check->diags, diags_get(unheard, i)->at, "%s",
                        diags_get(unheard, i)->message);
    }
    diags_free(unheard);
    free(row);
}

void check_content(struct check *check)
{
    for (int i = 0; i < RECORD_COUNT && check->status == STATUS_OK; i++)
        check_table(check, (enum record)i);
}
