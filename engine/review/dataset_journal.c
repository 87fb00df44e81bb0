/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "journal/consult.h"
#include "process/cook.h"
#include "process/moisture.h"
#include "review/dataset.h"
#include "triage/physics.h"
#include "triage/triage.h"

/* The vessels of a journal. */

/* ---- bands -------------------------------------------------------------------------------------- */

/*
 * What process/ makes of the figures in a record, coarse enough that several cooks, mixes or shelves
 * share one: a small number, or LEVEL_NONE when the figures do not tell. `moves` takes how far each of
 * up to two computations moves the causes it bears on (rules/rules.h, struct move), natural log of
 * the odds.
 */
enum { COMPUTED = 3 };
static const struct {
    enum factor_kind kind;
    enum moved_by moved[2];
    const char *names[3];
} computed[COMPUTED] = {
    {FACTOR_LETHALITY, {MOVED_SURVIVORS, MOVED_NONE}, {"adequate", "marginal", "not enough"}},
    {FACTOR_MOISTURE,
     {MOVED_WET, MOVED_DRY},
     {"below the band", "within the band", "above the band"}},
    {FACTOR_DOSE,
     {MOVED_DOSE, MOVED_NONE},
     {"under half the usual", "about usual", "over twice the usual"}}};

/* As triage/physics.h. */
static double moved(const struct rules *rules, enum moved_by by, double chance)
{
    return physics_shift(&rules->moves[by], rules->moves[by].trust, chance);
}

/* Of one kind of vessel with so many grams in a cook of such grain: cook_verdict. Growers cook the same
 * way again and again: those that were computed are remembered. */
static uint32_t band_of_cook(const struct rules *rules, struct cook_memo *cooks,
                             const struct cook *cook, int vessel, double grams, int grain,
                             double moves[2])
{
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct physics_refusal refusal;
    struct cook_result result;
    struct cook_setup setup;
    struct known_cook known;

    if (isnan(cook->gauge) || isnan(cook->minutes))
        return LEVEL_NONE;
    vessel_cook_of(rules, cook, vessel, grams, grain, &known);
    if (physics_cook(rules, &known, &setup, organisms, NULL, &refusal) != PHYSICS_OK)
        return LEVEL_NONE;
    physics_cooked(cooks, &known, &setup, &result);
    moves[0] = moved(rules, MOVED_SURVIVORS, result.chance_mean);
    return (uint32_t)result.verdict;
}

/* Below, within or above the band of the grain. */
static uint32_t band_of_mix(const struct rules *rules, const struct batch *batch,
                            const struct lot *lot, double moves[2])
{
    struct known_grain grain = KNOWN_GRAIN;
    double doubt = fmax(0.1, rules->forecast.moisture_doubt);

    grain.kind = lot != NULL ? rules_grain(rules, lot->grain) : RULES_NONE;
    grain.own_moisture = lot != NULL ? lot->moisture : NAN;
    grain.dry = batch->dry;
    grain.water = batch->water;
    double moisture = physics_moisture(rules, &grain, NULL);
    struct moisture_band band = physics_band(rules, grain.kind);
    if (isnan(moisture) || isnan(band.lo))
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_WET, moisture_chance_above(moisture, doubt, band.hi));
    moves[1] = moved(rules, MOVED_DRY, 1.0 - moisture_chance_above(moisture, doubt, band.lo));
    return moisture < band.lo ? 0 : moisture > band.hi ? 2 : 1;
}

/* ---- records ------------------------------------------------------------------------------------ */

/* Records of one kind, by rising id. */
struct records {
    void *rows;
    size_t count;
};

struct filling { /* a dataset while it is filled */
    struct journal *journal;
    const struct rules *rules;
    struct arena *arena;
    struct records of[RECORD_COUNT];
    const struct vessel **vessels; /* those that are in */
    const struct batch **batches;  /* of each, or NULL */
    size_t count;
    struct cook_memo *cooks;
    struct intake *intake;
    size_t columns[FACTOR_KINDS];
    int64_t starter, parent, line; /* of the vessel before */
};

/* The first member of each record is its id. */
static int by_id(const void *a, const void *b)
{
    int64_t first = *(const int64_t *)a, second = *(const int64_t *)b;
    return (first > second) - (first < second);
}

/* NULL for none. */
static const void *record_of(const struct filling *filling, enum record record, int64_t id)
{
    const struct records *of = &filling->of[record];
    return of->count > 0 && id != 0
               ? bsearch(&id, of->rows, of->count, record_types[record].size, by_id)
               : NULL;
}

static const char *label_of(const struct filling *filling, enum record record, int64_t id)
{
    const void *row = record_of(filling, record, id);
    return row != NULL ? ((const union any_record *)row)->named.label : "";
}

/* ---- what a vessel has -------------------------------------------------------------------------- */

static void put(const struct filling *filling, enum factor_kind kind, const char *word)
{
    intake_word(filling->intake, filling->columns[kind], word, strlen(word));
}

/* An ancestor so many steps back from a starter, as far as is known; a loop is no ancestry, and ends. */
static int64_t ancestor_of(const struct filling *filling, int64_t starter, size_t steps)
{
    const struct records *parents = &filling->of[RECORD_PARENT];
    const struct parent *rows = parents->rows;
    for (size_t k = 0; k < steps; k++) {
        int64_t parent = 0;
        for (size_t p = 0; p < parents->count && parent == 0; p++)
            if (rows[p].starter == starter &&
                record_of(filling, RECORD_STARTER, rows[p].parent) != NULL)
                parent = rows[p].parent;
        if (parent == 0)
            break;
        starter = parent;
    }
    return starter;
}

/* What a band is computed from. */
static uint32_t band_of(const struct filling *filling, enum factor_kind kind, size_t i,
                        double moves[2])
{
    const struct rules *rules = filling->rules;
    const struct vessel *vessel = filling->vessels[i];
    const struct batch *batch = filling->batches[i];

    if (batch == NULL)
        return LEVEL_NONE;
    const struct lot *lot = record_of(filling, RECORD_LOT, batch->lot);
    int grain = lot != NULL ? rules_grain(rules, lot->grain) : RULES_NONE;
    int vessel_kind = rules_vessel(rules, vessel->kind);
    if (kind == FACTOR_MOISTURE)
        return band_of_mix(rules, batch, lot, moves);
    if (kind == FACTOR_LETHALITY) {
        const struct cook *cook = record_of(filling, RECORD_COOK, batch->cook);
        return cook != NULL ? band_of_cook(rules, filling->cooks, cook, vessel_kind, vessel->grams,
                                           grain, moves)
                            : LEVEL_NONE;
    }
    const struct starter *starter = record_of(filling, RECORD_STARTER, batch->starter);
    int starter_kind = RULES_NONE;
    for (size_t s = 0; starter != NULL && s < rules->starter_count; s++)
        if (strcmp(rules->starters[s].id, starter->kind) == 0)
            starter_kind = (int)s;
    double grams =
        physics_grams(rules, &(struct known_vessel){.kind = vessel_kind, .grams = vessel->grams});
    /* Half and twice: the spread of what books call usual. Expert judgement. */
    static const double small = 0.5, large = 2.0;

    if (starter_kind == RULES_NONE || isnan(batch->inoculum) || isnan(grams))
        return LEVEL_NONE;
    double litres = grams / 1000.0 / physics_bulk(rules, grain);
    double relative = batch->inoculum / (rules->starters[starter_kind].usual * litres);
    if (!isfinite(relative) || relative < 0.0)
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_DOSE, 1.0 / (1.0 + relative * relative));
    return relative < small ? 0 : relative > large ? 2 : 1;
}

static void put_bands(const struct filling *filling, size_t i)
{
    for (size_t k = 0; k < COMPUTED; k++) {
        double moves[2] = {0.0, 0.0};
        uint32_t band = band_of(filling, computed[k].kind, i, moves);
        if (band == LEVEL_NONE || (computed[k].kind == FACTOR_DOSE && filling->vessels[i]->control))
            continue;
        put(filling, computed[k].kind, computed[k].names[band]);
        intake_shift(filling->intake, filling->columns[computed[k].kind], computed[k].moved, moves);
    }
}

/* Where it stands from an age on, and how warm that is. */
static void put_place(const struct filling *filling, int64_t id, int32_t age)
{
    const struct place *place = record_of(filling, RECORD_PLACE, id);
    int feeder = filling->rules->feeder[FEEDS_TEMPERATURE];
    const char *label = place != NULL ? place->label : "", *warmth = "";
    if (place != NULL && feeder != RULES_NONE && !isnan(place->celsius)) {
        const struct observable *temperature = &filling->rules->observables[feeder];
        int bin = rules_bin(temperature, place->celsius);
        warmth = bin != RULES_NONE ? temperature->values[bin].label : "";
    }
    intake_stay(filling->intake, filling->columns[FACTOR_PLACE], label, strlen(label), age);
    intake_stay(filling->intake, filling->columns[FACTOR_TEMPERATURE], warmth, strlen(warmth), age);
}

static int32_t day_of(struct moment moment)
{
    int64_t day = moment_known(moment) ? moment_day(moment) : DAY_NONE;
    return day > DAY_NONE && day < INT32_MAX ? (int32_t)day : DAY_NONE;
}

/* Controls have no session, starter or dose. */
static void take_vessel(struct filling *filling, size_t i)
{
    enum { LONGEST_LINE = 64 };
    const struct vessel *vessel = filling->vessels[i];
    const struct batch *batch = filling->batches[i];
    int known = rules_vessel(filling->rules, vessel->kind);
    struct intake_vessel taken = {vessel->label, (uint8_t)vessel->fate, vessel->control,
                                  batch != NULL ? day_of(batch->at) : DAY_NONE,
                                  day_of(vessel->ended)};
    if (vessel->fate == FATE_OPEN && vessel->state == VESSEL_DISCARDED)
        taken.fate = FATE_COUNT; /* it broke, or was recorded by mistake: nobody knows */
    (void)intake_vessel(filling->intake, &taken);
    put_place(filling, vessel->place, 0);
    put(filling, FACTOR_BATCH, label_of(filling, RECORD_BATCH, vessel->batch));
    put(filling, FACTOR_POSITION, vessel->position);
    put(filling, FACTOR_LID, vessel->lid);
    put(filling, FACTOR_BAG, vessel->bag);
    put(filling, FACTOR_SPOT, vessel->spot);
    put(filling, FACTOR_VESSEL,
        known != RULES_NONE ? filling->rules->vessels[known].name : vessel->kind);
    intake_number(filling->intake, filling->columns[FACTOR_GRAMS], vessel->grams);
    put_bands(filling, i);
    if (batch == NULL)
        return;
    put(filling, FACTOR_COOK, label_of(filling, RECORD_COOK, batch->cook));
    put(filling, FACTOR_LOT, label_of(filling, RECORD_LOT, batch->lot));
    if (vessel->control)
        return;
    put(filling, FACTOR_SESSION, label_of(filling, RECORD_SESSION, batch->session));
    put(filling, FACTOR_STARTER, label_of(filling, RECORD_STARTER, batch->starter));
    if (batch->starter != filling->starter) {
        filling->starter = batch->starter;
        filling->parent = ancestor_of(filling, batch->starter, 1);
        filling->line = ancestor_of(filling, batch->starter, LONGEST_LINE);
    }
    put(filling, FACTOR_PARENT, label_of(filling, RECORD_STARTER, filling->parent));
    put(filling, FACTOR_LINE, label_of(filling, RECORD_STARTER, filling->line));
    intake_number(filling->intake, filling->columns[FACTOR_SEQUENCE], vessel->sequence);
}

/* ---- which vessels, and where they were moved --------------------------------------------------- */

static void choose_vessels(struct filling *filling, const struct dataset_wanted *wanted)
{
    const struct records *all = &filling->of[RECORD_VESSEL];
    filling->vessels = arena_array(filling->arena, all->count, sizeof *filling->vessels);
    filling->batches = arena_array(filling->arena, all->count, sizeof *filling->batches);
    for (size_t i = 0; i < all->count; i++) {
        const struct vessel *vessel = &((const struct vessel *)all->rows)[i];
        const struct batch *batch = record_of(filling, RECORD_BATCH, vessel->batch);
        int32_t day = batch != NULL ? day_of(batch->at) : DAY_NONE;
        if ((wanted->since != DAY_NONE && day < wanted->since) ||
            (wanted->batch != NULL &&
             (batch == NULL || strcasecmp(batch->label, wanted->batch) != 0)))
            continue;
        filling->vessels[filling->count] = vessel;
        filling->batches[filling->count++] = batch;
    }
}

static int by_vessel_id(const void *id, const void *vessel)
{
    return by_id(id, *(const struct vessel *const *)vessel);
}

/* The place of a vessel among those that are in, or SIZE_MAX. */
static size_t vessel_index(const struct filling *filling, int64_t id)
{
    const struct vessel **found = NULL;
    if (filling->count > 0)
        found = bsearch(&id, filling->vessels, filling->count, sizeof(void *), by_vessel_id);
    return found != NULL ? (size_t)(found - filling->vessels) : SIZE_MAX;
}

static int by_day(const void *a, const void *b)
{
    const struct event *first = a, *second = b;
    int32_t x = day_of(first->at), y = day_of(second->at);
    return x != y ? (x > y) - (x < y) : (first->id > second->id) - (first->id < second->id);
}

/* Its moves before its end took a vessel from where it was put. */
static enum status put_moves(const struct filling *filling, size_t i, struct arena *scratch)
{
    int32_t begun = filling->batches[i] != NULL ? day_of(filling->batches[i]->at) : DAY_NONE;
    int32_t ended = day_of(filling->vessels[i]->ended);
    struct event *events = NULL;
    size_t count = 0;
    enum status status = journal_standing(filling->journal, RECORD_EVENT, filling->vessels[i]->id,
                                          scratch, (void **)&events, &count);
    if (count > 1)
        qsort(events, count, sizeof *events, by_day);
    for (size_t k = 0; k < count; k++) {
        int32_t day = day_of(events[k].at);
        if (events[k].kind == EVENT_MOVE && day != DAY_NONE && begun != DAY_NONE &&
            (ended == DAY_NONE || day < ended))
            put_place(filling, events[k].place, day > begun ? day - begun : 0);
    }
    return status;
}

/* ---- what they turned out to be ----------------------------------------------------------------- */

/* How likely the look thought its finding: from {"findings": {"id": p}}, or its leading kind's. */
static double sure_of(const struct look *look)
{
    json_t *root = json_loads(look->posterior, 0, NULL);
    const json_t *p = json_object_get(json_object_get(root, "findings"), look->finding);
    double sure = json_is_number(p) ? json_number_value(p) : look->contaminated;
    json_decref(root);
    return sure;
}

/* The signs among what a look kept; NULL when it kept none. */
static const struct observation *signs_of(const struct filling *filling, const char *facts_kept,
                                          struct arena *scratch)
{
    const struct fact *facts = NULL;
    struct observation *seen = NULL;
    size_t count = 0;
    if (facts_read(filling->rules, facts_kept, scratch, &facts, &count) != STATUS_OK)
        return NULL;
    for (size_t f = 0; f < count; f++) {
        if (filling->rules->observables[facts[f].observable].class != CLASS_SIGN)
            continue;
        if (seen == NULL)
            seen = arena_array(filling->arena, filling->rules->observable_count, sizeof *seen);
        seen[facts[f].observable] = facts[f].observation;
    }
    return seen;
}

/* What the looks of lost vessels say, then, over that, the outcomes that were confirmed. */
static enum status fill_findings(const struct filling *filling, struct dataset *dataset)
{
    enum { SIGNS_KEPT = 5000 }; /* vessels of which signs are read: they take a kilobyte each */
    int16_t *finding = arena_array(filling->arena, filling->count, sizeof *finding);
    float *sure = arena_array(filling->arena, filling->count, sizeof *sure);
    const struct observation **seen = arena_array(filling->arena, filling->count, sizeof *seen);
    struct arena *scratch = arena_new();
    enum status status = STATUS_OK;

    for (size_t i = 0; i < filling->count && status == STATUS_OK; i++) {
        const struct vessel *vessel = filling->vessels[i];
        struct look look;
        finding[i] = RULES_NONE;
        if (vessel->last_look == 0 ||
            (vessel->fate != FATE_CONTAMINATED && vessel->fate != FATE_STUCK))
            continue;
        status = journal_get(filling->journal, RECORD_LOOK, vessel->last_look, scratch, &look);
        if (status == STATUS_OK) {
            finding[i] = (int16_t)rules_finding(filling->rules, look.finding);
            sure[i] = (float)sure_of(&look);
            if (filling->count <= SIGNS_KEPT)
                seen[i] = signs_of(filling, look.facts, scratch);
        }
        arena_reset(scratch);
    }
    arena_free(scratch);
    if (status != STATUS_OK)
        return status;
    const struct records *outcomes = &filling->of[RECORD_OUTCOME];
    for (size_t k = 0; k < outcomes->count; k++) { /* by rising id: the newest stays */
        const struct outcome *outcome = &((const struct outcome *)outcomes->rows)[k];
        size_t i = vessel_index(filling, outcome->vessel);
        if (i == SIZE_MAX || strcmp(outcome->status, WITHDRAWN) == 0)
            continue;
        finding[i] = (int16_t)rules_finding(filling->rules, outcome->finding);
        sure[i] = 1.0F;
    }
    dataset->finding = finding;
    dataset->sure = sure;
    dataset->seen = seen;
    return STATUS_OK;
}

/* What notes on places and on what was done say of dated changes. */
static void add_changes(const struct filling *filling, struct dataset *dataset)
{
    const struct records *places = &filling->of[RECORD_PLACE];
    const struct records *events = &filling->of[RECORD_EVENT];
    size_t f = dataset_factor(dataset, FACTOR_PLACE);
    for (size_t p = 0; p < places->count && f < dataset->factor_count; p++) {
        const struct place *place = &((const struct place *)places->rows)[p];
        for (uint32_t level = 0; level < dataset->factors[f].level_count; level++)
            if (strcmp(dataset->factors[f].levels[level], place->label) == 0)
                (void)dataset_add_changes(dataset, place->note, level, filling->arena);
    }
    for (size_t i = 0; i < events->count; i++) {
        const struct event *event = &((const struct event *)events->rows)[i];
        if (event->kind != EVENT_WITHDRAW && event->detail[0] != '\0')
            (void)dataset_add_changes(dataset, event->detail, LEVEL_NONE, filling->arena);
    }
}

/* Takes out an ancestry that parts the vessels as another does: each is a coarser one of those before
 * it, so that as many levels are the same levels. */
static void drop_same_ancestry(struct dataset *dataset, struct arena *arena)
{
    struct factor *kept = arena_array(arena, dataset->factor_count, sizeof *kept);
    size_t count = 0, before = 0; /* levels of the ancestry before */
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *factor = &dataset->factors[f];
        if (factor_kinds[factor->kind].origin == FACTOR_STARTER) {
            if (factor->level_count == before)
                continue;
            before = factor->level_count;
        }
        kept[count++] = *factor;
    }
    dataset->factors = kept;
    dataset->factor_count = count;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
}

enum status dataset_from_journal(struct journal *journal, const struct rules *rules,
                                 const struct dataset_wanted *wanted, struct arena *arena,
                                 struct dataset *dataset)
{
    static const enum record needed[] = {RECORD_STARTER, RECORD_PARENT, RECORD_LOT,   RECORD_COOK,
                                         RECORD_SESSION, RECORD_PLACE,  RECORD_BATCH, RECORD_VESSEL,
                                         RECORD_EVENT,   RECORD_OUTCOME};
    static const enum factor_kind columns[] = {
        FACTOR_COOK,      FACTOR_STARTER,  FACTOR_SESSION, FACTOR_PLACE,      FACTOR_LOT,
        FACTOR_BATCH,     FACTOR_PARENT,   FACTOR_LINE,    FACTOR_POSITION,   FACTOR_VESSEL,
        FACTOR_LID,       FACTOR_BAG,      FACTOR_SPOT,    FACTOR_SEQUENCE,   FACTOR_GRAMS,
        FACTOR_LETHALITY, FACTOR_MOISTURE, FACTOR_DOSE,    FACTOR_TEMPERATURE};
    struct filling filling = {.journal = journal,
                              .rules = rules,
                              .arena = arena,
                              .intake = intake_new(wanted->today, arena)};
    struct arena *scratch = arena_new();
    enum status status = STATUS_OK;

    *dataset = (struct dataset){.today = wanted->today};
    for (size_t k = 0; k < sizeof needed / sizeof *needed && status == STATUS_OK; k++) {
        struct records *records = &filling.of[needed[k]];
        status = journal_all(journal, needed[k], NULL, 0, arena, &records->rows, &records->count);
    }
    choose_vessels(&filling, wanted);
    for (size_t k = 0; k < sizeof columns / sizeof *columns; k++)
        filling.columns[columns[k]] = intake_column(filling.intake, columns[k], NULL);
    filling.cooks = cook_memo_new();
    for (size_t i = 0; i < filling.count && status == STATUS_OK; i++) {
        take_vessel(&filling, i);
        status = put_moves(&filling, i, scratch);
        arena_reset(scratch);
    }
    arena_free(scratch);
    cook_memo_free(filling.cooks);
    if (status != STATUS_OK)
        return status;
    *dataset = intake_finish(filling.intake);
    drop_same_ancestry(dataset, arena);
    add_changes(&filling, dataset);
    return fill_findings(&filling, dataset);
}
