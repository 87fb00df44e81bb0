/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "cli/commands.h"
#include "cli/labels.h"
#include "voice/journal.h"

static const struct option options[] = {
    {"limit", "N", "the newest N events of each kind, else 100; 0 for all"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

static enum exit_status show(struct app *app, const struct journal_told *told, enum record record,
                             const void *row, size_t limit)
{
    enum status status = STATUS_OK;
    if (arguments_flag(&app->arguments, "json")) {
        json_t *json = voice_life_json(told, record, row, limit, &status);
        return status == STATUS_OK ? app_json(app, json, false) : app_fail(app, status);
    }
    status = voice_life(&app->out, told, record, row, limit);
    return status == STATUS_OK ? app_flush(app) : app_fail(app, status);
}

/* The kind said, or the first that has such a label: what one looks at most comes first. */
static enum exit_status run_life(struct app *app)
{
    static const enum record kinds[] = {RECORD_VESSEL,  RECORD_BATCH, RECORD_STARTER, RECORD_COOK,
                                        RECORD_SESSION, RECORD_LOT,   RECORD_PLACE};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count, limit = 100;
    union any_record row;
    enum exit_status fault = app_open(app, JOURNAL_READ);

    if (fault == EXIT_FINE)
        fault = app_limit(app, &limit);
    if (fault != EXIT_FINE)
        return fault;
    const struct journal_told told = app_told(app);
    if (count < 1 || count > 2)
        return app_usage(app, "whose life? For instance: jarside life B3-7, or: jarside life S1");
    enum record asked = count == 2 ? labels_kind(words[0]) : RECORD_COUNT;
    if (count == 2 &&
        (asked == RECORD_COUNT || record_types[asked].columns[0].kind != COLUMN_LABEL))
        return app_usage(app,
                         "'%s' is no kind of record with a label; a vessel, batch, starter, cook, "
                         "session, lot or place",
                         words[0]);
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        const char *found = NULL;
        int64_t id = 0;
        if ((asked != RECORD_COUNT && kinds[i] != asked) ||
            !labels_has(app, kinds[i], words[count - 1], app->arena, &id, &found))
            continue;
        fault = labels_find(app, kinds[i], found, app->arena, &row);
        return fault == EXIT_FINE ? show(app, &told, kinds[i], &row, limit) : fault;
    }
    if (asked != RECORD_COUNT || strchr(words[count - 1], '-') != NULL) /* the nearest is named */
        return labels_find(app, asked != RECORD_COUNT ? asked : RECORD_VESSEL, words[count - 1],
                           app->arena, &row);
    return app_usage(app,
                     "nothing in the journal is called '%s'; 'jarside list' shows what there is",
                     words[count - 1]);
}

const struct command command_life = {
    .name = "life",
    .summary = "tells all that happened to a vessel, batch, starter, cook ...",
    .operands = "[KIND] LABEL",
    .detail =
        "Of a vessel its looks and deeds in order; of a starter what it came from and what became "
        "of all vessels it went into. The kind is only needed where two kinds share a label.",
    .options = options,
    .run = run_life,
};
