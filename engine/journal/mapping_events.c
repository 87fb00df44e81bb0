/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a row tells of a vessel's life: what was done with it, and what became of it. */
#include <string.h>

#include "journal/mapping_row_internal.h"

static const struct position nowhere = {NULL, 0, 0};

static enum status take_deed(struct carrier *carrier, int64_t vessel, enum deed_kind kind,
                             struct moment at)
{
    struct deed *deeds = NULL, deed;
    size_t count = 0;
    enum status status = journal_all(carrier->journal, RECORD_DEED, "vessel", vessel,
                                     carrier->arena, (void **)&deeds, &count, carrier->own);
    for (size_t i = 0; i < count; i++)
        if (deeds[i].kind == kind && moment_day(deeds[i].at) == moment_day(at))
            return status;
    record_init(RECORD_DEED, &deed);
    deed.vessel = vessel;
    deed.kind = kind;
    deed.at = at;
    return status == STATUS_OK ? carrier_add(carrier, RECORD_DEED, &deed) : status;
}

static enum status take_deeds(struct carrier *carrier, int64_t vessel)
{
    static const struct {
        enum mapped field;
        enum deed_kind kind;
    } days[] = {{MAPPED_SHAKEN, DEED_SHAKE},
                {MAPPED_ISOLATED, DEED_ISOLATE},
                {MAPPED_USED, DEED_USE},
                {MAPPED_DISCARDED, DEED_DISCARD}};
    enum status status = STATUS_OK;
    for (size_t i = 0; i < sizeof days / sizeof *days && status == STATUS_OK; i++) {
        struct moment at;
        if (!carrier_said(carrier, days[i].field))
            continue;
        status = carrier_day(carrier, days[i].field, &at);
        if (status == STATUS_OK)
            status = take_deed(carrier, vessel, days[i].kind, at);
    }
    return status;
}

/* The day of a result: its own, else that on which the vessel was used or discarded. */
static enum status result_day(struct carrier *carrier, struct moment *at)
{
    static const enum mapped days[] = {MAPPED_ENDED, MAPPED_DISCARDED, MAPPED_USED};
    for (size_t i = 0; i < sizeof days / sizeof *days; i++)
        if (carrier_said(carrier, days[i]))
            return carrier_day(carrier, days[i], at);
    return carrier_lacks(carrier, MAPPED_ENDED, "a result needs a day; map 'ended'");
}

static enum status take_outcome(struct carrier *carrier, int64_t vessel,
                                const struct finding *finding, struct moment at)
{
    struct outcome *outcomes = NULL, outcome;
    size_t count = 0;
    enum status status = journal_all(carrier->journal, RECORD_OUTCOME, "vessel", vessel,
                                     carrier->arena, (void **)&outcomes, &count, carrier->own);
    if (status != STATUS_OK)
        return status;
    if (count > 0 && strcmp(outcomes[count - 1].finding, finding->id) == 0)
        return STATUS_OK;
    if (count > 0) {
        diags_error(carrier->own, nowhere, "%s is confirmed as '%.60s' already, and here '%.60s'",
                    carrier->label, outcomes[count - 1].finding, finding->id);
        carrier->blamed = MAPPED_RESULT;
        return STATUS_DATA;
    }
    record_init(RECORD_OUTCOME, &outcome);
    outcome.vessel = vessel;
    outcome.at = at;
    outcome.finding = finding->id;
    outcome.status = status_name(finding->status);
    outcome.how =
        arena_format(carrier->arena, "from a spreadsheet: %s", carrier->cells[MAPPED_RESULT]);
    return outcome.how != NULL ? carrier_add(carrier, RECORD_OUTCOME, &outcome) : STATUS_MEMORY;
}

static enum status take_result(struct carrier *carrier, int64_t vessel)
{
    struct mapped_result result;
    struct moment at;
    if (!carrier_said(carrier, MAPPED_RESULT))
        return STATUS_OK;
    if (!mapped_result(carrier->mapping, carrier->cells[MAPPED_RESULT], carrier->arena, &result))
        return carrier_wrong(carrier, MAPPED_RESULT,
                             "that is no finding; say in the map, under 'values', what it means");
    if (result.finding == NULL && !result.used && !result.discarded)
        return STATUS_OK;
    enum status status = result_day(carrier, &at);
    if (status == STATUS_OK && result.finding != NULL)
        status = take_outcome(carrier, vessel, result.finding, at);
    if (status == STATUS_OK && result.used)
        status = take_deed(carrier, vessel, DEED_USE, at);
    if (status == STATUS_OK && result.discarded)
        status = take_deed(carrier, vessel, DEED_DISCARD, at);
    return status;
}

enum status carrier_events(struct carrier *carrier, int64_t vessel)
{
    enum status status = take_deeds(carrier, vessel);
    return status == STATUS_OK ? take_result(carrier, vessel) : status;
}
