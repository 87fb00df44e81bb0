/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All vessels of a journal in one table. */
#include <jansson.h>
#include <string.h>

#include "review/filling_internal.h"

const void *record_at(const struct records *records, size_t index)
{
    return (const char *)records->rows + index * records->size;
}

/* The index of the record with an id, by halving; SIZE_MAX. The first member of each is its id. */
size_t record_index(const struct records *records, int64_t id)
{
    size_t low = 0, high = records->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int64_t at = *(const int64_t *)record_at(records, middle);
        if (at == id)
            return middle;
        if (at < id)
            low = middle + 1;
        else
            high = middle;
    }
    return SIZE_MAX;
}

const void *record_of(const struct filling *filling, enum record record, int64_t id)
{
    size_t index = id != 0 ? record_index(&filling->of[record], id) : SIZE_MAX;
    return index != SIZE_MAX ? record_at(&filling->of[record], index) : NULL;
}

const struct batch *batch_of(const struct filling *filling, size_t i)
{
    return record_of(filling, RECORD_BATCH, filling->vessels[i]->batch);
}

static enum status read_records(struct filling *filling)
{
    static const enum record needed[] = {RECORD_STARTER, RECORD_PARENT,  RECORD_LOT,
                                         RECORD_COOK,    RECORD_SESSION, RECORD_PLACE,
                                         RECORD_BATCH,   RECORD_VESSEL};
    enum status status = STATUS_OK;
    for (size_t k = 0; k < sizeof needed / sizeof *needed && status == STATUS_OK; k++) {
        struct records *records = &filling->of[needed[k]];
        records->size = record_types[needed[k]].size;
        status = journal_all(filling->journal, needed[k], NULL, 0, filling->arena, &records->rows,
                             &records->count, filling->diags);
    }
    return status;
}

/* ---- vessels --------------------------------------------------------------------------------- */

static int32_t day_of(struct moment moment)
{
    int64_t day = moment_known(moment) ? moment_day(moment) : DAY_NONE;
    return day > DAY_NONE && day < INT32_MAX ? (int32_t)day : DAY_NONE;
}

static enum status choose_vessels(struct filling *filling, int32_t since)
{
    const struct records *all = &filling->of[RECORD_VESSEL];
    filling->vessels = arena_array(filling->arena, all->count, sizeof *filling->vessels);
    if (filling->vessels == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < all->count; i++) {
        const struct vessel *vessel = record_at(all, i);
        const struct batch *batch = record_of(filling, RECORD_BATCH, vessel->batch);
        int32_t day = batch != NULL ? day_of(batch->at) : DAY_NONE;
        if (since == DAY_NONE || (day != DAY_NONE && day >= since))
            filling->vessels[filling->count++] = vessel;
    }
    return STATUS_OK;
}

static enum status fill_vessels(struct filling *filling)
{
    size_t count = filling->count;
    struct dataset *dataset = filling->dataset;
    const char **labels = arena_array(filling->arena, count, sizeof *labels);
    uint8_t *fate = arena_array(filling->arena, count, sizeof *fate);
    bool *control = arena_array(filling->arena, count, sizeof *control);
    int32_t *entered = arena_array(filling->arena, count, sizeof *entered);
    int32_t *ended = arena_array(filling->arena, count, sizeof *ended);

    if (labels == NULL || fate == NULL || control == NULL || entered == NULL || ended == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < count; i++) {
        const struct vessel *vessel = filling->vessels[i];
        const struct batch *batch = batch_of(filling, i);
        labels[i] = vessel->label;
        fate[i] = (uint8_t)vessel->fate;
        control[i] = vessel->control;
        entered[i] = batch != NULL ? day_of(batch->at) : DAY_NONE;
        ended[i] = day_of(vessel->ended);
    }
    dataset->vessel_count = count;
    dataset->labels = labels;
    dataset->fate = fate;
    dataset->control = control;
    dataset->entered = entered;
    dataset->ended = ended;
    return STATUS_OK;
}

/* ---- findings -------------------------------------------------------------------------------- */

/* How likely the look thought its finding: from {"findings": {"id": p}}, or its leading kind's. */
static double sure_of(const struct look *look)
{
    json_t *root = json_loads(look->posterior, 0, NULL);
    const json_t *p = json_object_get(json_object_get(root, "findings"), look->finding);
    double sure = json_is_number(p) ? json_number_value(p) : look->contaminated;
    json_decref(root);
    return sure;
}

/* What the looks of lost vessels say, then, over that, the outcomes that were confirmed. */
static enum status fill_findings(struct filling *filling)
{
    int16_t *finding = arena_array(filling->arena, filling->count, sizeof *finding);
    float *sure = arena_array(filling->arena, filling->count, sizeof *sure);
    struct arena *scratch = arena_new(NULL);
    enum status status =
        finding != NULL && sure != NULL && scratch != NULL ? STATUS_OK : STATUS_MEMORY;

    for (size_t i = 0; i < filling->count && status == STATUS_OK; i++) {
        const struct vessel *vessel = filling->vessels[i];
        struct look look;
        finding[i] = RULES_NONE;
        if (vessel->last_look == 0 ||
            (vessel->fate != FATE_CONTAMINATED && vessel->fate != FATE_STUCK))
            continue;
        status = journal_get(filling->journal, RECORD_LOOK, vessel->last_look, scratch, &look,
                             filling->diags);
        if (status == STATUS_OK) {
            finding[i] = (int16_t)rules_finding(filling->rules, look.finding);
            sure[i] = (float)sure_of(&look);
        }
        arena_reset(scratch);
    }
    arena_free(scratch);
    filling->dataset->finding = filling->finding = finding;
    filling->dataset->sure = filling->sure = sure;
    return status;
}

static size_t vessel_index(const struct filling *filling, int64_t id)
{
    size_t low = 0, high = filling->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (filling->vessels[middle]->id < id)
            low = middle + 1;
        else
            high = middle;
    }
    return low < filling->count && filling->vessels[low]->id == id ? low : SIZE_MAX;
}

static enum status fill_outcomes(struct filling *filling)
{
    struct outcome outcome;
    struct walk *walk = journal_walk(filling->journal, RECORD_OUTCOME, NULL, 0, filling->diags);
    if (walk == NULL)
        return STATUS_IO;
    while (walk_next(walk, &outcome)) { /* by rising id: the newest stays */
        size_t i = vessel_index(filling, outcome.vessel);
        if (i == SIZE_MAX)
            continue;
        filling->finding[i] = (int16_t)rules_finding(filling->rules, outcome.finding);
        filling->sure[i] = 1.0F;
    }
    return walk_end(walk);
}

/* ---- the whole -------------------------------------------------------------------------------- */

typedef enum status filling_part(struct filling *filling);

enum status dataset_from_journal(struct journal *journal, const struct rules *rules, int32_t since,
                                 int32_t today, struct arena *arena, struct dataset *dataset,
                                 struct diags *diags)
{
    struct filling filling = {
        .journal = journal, .rules = rules, .arena = arena, .diags = diags, .dataset = dataset};
    *dataset = (struct dataset){.today = today};
    static filling_part *const parts[] = {fill_vessels, fill_findings, fill_outcomes,
                                          filling_add_factors};
    enum status status = read_records(&filling);
    if (status == STATUS_OK)
        status = choose_vessels(&filling, since);
    for (size_t p = 0; p < sizeof parts / sizeof *parts && status == STATUS_OK; p++)
        status = parts[p](&filling);
    dataset->factors = filling.factors;
    dataset->factor_count = filling.factor_count;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
    return status == STATUS_OK ? dataset_remark(dataset, arena) : status;
}
