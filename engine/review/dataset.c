/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/dataset.h"

#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/numbers.h"
#include "process/cook.h"
#include "process/moisture.h"
#include "triage/compute.h"
#include "triage/triage.h"

/* ---- kinds of factors --------------------------------------------------------------------------- */

const struct factor_type factor_kinds[FACTOR_KINDS] = {
    [FACTOR_COOK] = {"cook", SCOPE_COOK, FACTOR_COOK, true},
    [FACTOR_LETHALITY] = {"computed cook", SCOPE_COOK, FACTOR_COOK, true},
    [FACTOR_POSITION] = {"position in the cooker", SCOPE_COOK, FACTOR_POSITION, true},
    [FACTOR_LOT] = {"grain lot", SCOPE_GRAIN_LOT, FACTOR_LOT, true},
    [FACTOR_BATCH] = {"batch", SCOPE_MIX, FACTOR_BATCH, true},
    [FACTOR_MOISTURE] = {"computed moisture", SCOPE_MIX, FACTOR_BATCH, true},
    [FACTOR_STARTER] = {"starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_PARENT] = {"parent of the starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_LINE] = {"line of the starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_DOSE] = {"dose of starter", SCOPE_VESSEL, FACTOR_BATCH, false},
    [FACTOR_SESSION] = {"session", SCOPE_SESSION, FACTOR_SESSION, false},
    [FACTOR_PLACE] = {"place", SCOPE_PLACE, FACTOR_PLACE, false},
    [FACTOR_TEMPERATURE] = {"temperature", SCOPE_PLACE, FACTOR_PLACE, false},
    [FACTOR_VESSEL] = {"kind of vessel", SCOPE_VESSEL, FACTOR_VESSEL, true},
    [FACTOR_LID] = {"lid", SCOPE_VESSEL, FACTOR_LID, true},
    [FACTOR_BAG] = {"bag lot", SCOPE_VESSEL, FACTOR_BAG, true},
    [FACTOR_SPOT] = {"spot on the shelf", SCOPE_PLACE, FACTOR_SPOT, false},
    [FACTOR_SEQUENCE] = {"order of inoculation", SCOPE_SESSION, FACTOR_SEQUENCE, false},
    [FACTOR_GRAMS] = {"grams of grain", SCOPE_COOK, FACTOR_GRAMS, true},
    [FACTOR_OTHER] = {"column", SCOPE_VESSEL, FACTOR_OTHER, false},
};

size_t dataset_factor(const struct dataset *dataset, enum factor_kind kind)
{
    size_t at = 0;
    while (at < dataset->factor_count && dataset->factors[at].kind != kind)
        at++;
    return at;
}

/* ---- words and their numbers -------------------------------------------------------------------- */

struct interner {
    struct arena *arena;
    const char **words;
    size_t *lengths;
    size_t count, room;
    uint32_t *slots; /* number + 1; 0 is free */
    size_t slot_count;
};

static size_t slot_of(const struct interner *interner, const char *word, size_t length)
{
    size_t slot = (size_t)fnv_hash(FNV_START, word, length) & (interner->slot_count - 1);
    while (interner->slots[slot] != 0) {
        size_t at = interner->slots[slot] - 1;
        if (interner->lengths[at] == length && memcmp(interner->words[at], word, length) == 0)
            break;
        slot = (slot + 1) & (interner->slot_count - 1);
    }
    return slot;
}

/* Room for twice as many; slots stay half empty. */
static void grow(struct interner *interner)
{
    size_t room = interner->room * 2, count = interner->count;
    /* NOLINTBEGIN(readability-suspicious-call-argument) */
    interner->words =
        arena_grow(interner->arena, interner->words, count, room, sizeof *interner->words);
    interner->lengths =
        arena_grow(interner->arena, interner->lengths, count, room, sizeof *interner->lengths);
    /* NOLINTEND(readability-suspicious-call-argument) */
    interner->slots = arena_array(interner->arena, room * 2, sizeof *interner->slots);
    interner->slot_count = room * 2;
    interner->room = room;
    for (size_t i = 0; i < count; i++)
        interner->slots[slot_of(interner, interner->words[i], interner->lengths[i])] =
            (uint32_t)i + 1;
}

struct interner *interner_new(struct arena *arena)
{
    enum { FIRST = 8 };
    struct interner *interner = arena_alloc(arena, sizeof *interner);
    *interner = (struct interner){.arena = arena, .room = FIRST / 2};
    grow(interner);
    return interner;
}

uint32_t interner_put(struct interner *interner, const char *word, size_t length)
{
    if (length == 0)
        return LEVEL_NONE;
    size_t slot = slot_of(interner, word, length);
    if (interner->slots[slot] == 0) {
        if (interner->count == interner->room) {
            grow(interner);
            slot = slot_of(interner, word, length);
        }
        interner->words[interner->count] = arena_copy(interner->arena, word, length);
        interner->lengths[interner->count] = length;
        interner->slots[slot] = (uint32_t)++interner->count;
    }
    return interner->slots[slot] - 1;
}

size_t interner_count(const struct interner *interner)
{
    return interner->count;
}

const char *const *interner_words(const struct interner *interner)
{
    return interner->words;
}

/* ---- factors and remarks ------------------------------------------------------------------------ */

void factor_add(struct factor *factors, size_t *count, struct factor factor, uint32_t *level,
                size_t vessels, struct arena *arena)
{
    uint32_t *numbers = arena_array(arena, factor.level_count, sizeof *numbers), met = 0;
    const char **labels = arena_array(arena, factor.level_count, sizeof *labels);
    double *log_odds = NULL;

    if (factor.log_odds != NULL)
        log_odds = arena_array(arena, 2 * factor.level_count, sizeof *log_odds);
    size_t stay_count = factor.first_stay != NULL ? factor.first_stay[vessels] : 0;
    struct stay *stays = arena_array(arena, stay_count, sizeof *stays);
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            numbers[level[i]] = 1;
    for (size_t s = 0; s < stay_count; s++)
        if (factor.stays[s].level != LEVEL_NONE)
            numbers[factor.stays[s].level] = 1;
    for (size_t l = 0; l < factor.level_count; l++) {
        if (numbers[l] == 0)
            continue;
        labels[met] = factor.levels[l];
        if (log_odds != NULL)
            memcpy(&log_odds[2 * (size_t)met], &factor.log_odds[2 * l], 2 * sizeof *log_odds);
        numbers[l] = met++;
    }
    if (met == 0)
        return;
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            level[i] = numbers[level[i]];
    for (size_t s = 0; s < stay_count; s++) {
        stays[s] = factor.stays[s];
        if (stays[s].level != LEVEL_NONE)
            stays[s].level = numbers[stays[s].level];
    }
    factor.stays = stay_count > 0 ? stays : NULL;
    factor.levels = labels;
    factor.level = level;
    factor.level_count = met;
    factor.log_odds = log_odds;
    factors[(*count)++] = factor;
}

static int by_number(const void *a, const void *b)
{
    double first = *(const double *)a, second = *(const double *)b;
    return (first > second) - (first < second);
}

void factor_add_thirds(struct factor *factors, size_t *count, struct factor factor,
                       const double *numbers, size_t vessels, struct arena *arena)
{
    enum { THIRDS = 3 };
    double *sorted = arena_array(arena, vessels, sizeof *sorted);
    uint32_t *level = arena_array(arena, vessels, sizeof *level);
    const char **labels = arena_array(arena, THIRDS, sizeof *labels);
    double highest[THIRDS] = {0.0}; /* of each third */
    size_t known = 0, from = 0;
    for (size_t i = 0; i < vessels; i++)
        if (!isnan(numbers[i]))
            sorted[known++] = numbers[i];
    if (known < THIRDS)
        return;
    qsort(sorted, known, sizeof *sorted, by_number);
    for (size_t third = 0; third < THIRDS; third++) {
        highest[third] = sorted[known * (third + 1) / THIRDS - 1];
        bool one = sorted[from] >= highest[third];
        labels[third] = one ? arena_format(arena, "%.6g", highest[third])
                            : arena_format(arena, "%.6g to %.6g", sorted[from], highest[third]);
        while (from + 1 < known && sorted[from] <= highest[third])
            from++;
    }
    if (highest[0] >= highest[THIRDS - 1])
        return; /* nearly all are alike */
    for (size_t i = 0; i < vessels; i++) {
        level[i] = LEVEL_NONE;
        for (uint32_t third = 0; third < THIRDS && level[i] == LEVEL_NONE; third++)
            if (numbers[i] <= highest[third])
                level[i] = third;
    }
    factor.levels = labels;
    factor.level_count = THIRDS;
    factor_add(factors, count, factor, level, vessels, arena);
}

void dataset_make_room(struct dataset *dataset, size_t count, struct arena *arena)
{
    dataset->vessel_count = count;
    dataset->labels = arena_array(arena, count, sizeof *dataset->labels);
    dataset->fate = arena_array(arena, count, sizeof *dataset->fate);
    dataset->control = arena_array(arena, count, sizeof *dataset->control);
    dataset->entered = arena_array(arena, count, sizeof *dataset->entered);
    dataset->ended = arena_array(arena, count, sizeof *dataset->ended);
}

void dataset_say(struct dataset *dataset, struct arena *arena, const char *format, ...)
{
    char words[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    const char **remarks = arena_grow(arena, dataset->remarks, dataset->remark_count,
                                      dataset->remark_count + 1, sizeof *remarks);
    remarks[dataset->remark_count++] = arena_string(arena, words);
    dataset->remarks = remarks;
}

void dataset_remark(struct dataset *dataset, struct arena *arena)
{
    size_t future = 0, backwards = 0, undated = 0;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t entered = dataset->entered[i], ended = dataset->ended[i];
        undated += entered == DAY_NONE;
        future += entered > dataset->today || ended > dataset->today;
        backwards += entered != DAY_NONE && ended != DAY_NONE && ended < entered;
    }
    if (future > 0)
        dataset_say(dataset, arena,
                    "%zu %s a date in the future: left out of all that goes by time.", future,
                    future == 1 ? "vessel has" : "vessels have");
    if (backwards > 0)
        dataset_say(dataset, arena,
                    "%zu %s before the day of inoculation: left out of all that goes by time.",
                    backwards, backwards == 1 ? "vessel ended" : "vessels ended");
    if (undated > 0 && undated < dataset->vessel_count)
        dataset_say(dataset, arena,
                    "%zu %s no day of inoculation: left out of all that goes by time.", undated,
                    undated == 1 ? "vessel has" : "vessels have");
}

/* ---- bands -------------------------------------------------------------------------------------- */

/*
 * What process/ makes of the figures in a record, coarse enough that several cooks, mixes or shelves
 * share one: a small number, or LEVEL_NONE when the figures do not tell. `moves` takes how far each of
 * up to two computations moves the causes it bears on (rules/rules.h, struct move), natural log of
 * the odds.
 */
struct bands {
    enum moved_by moved[2];
    const char *const names[3];
};

static const struct bands bands_lethality = {{MOVED_SURVIVORS, MOVED_NONE},
                                             {"adequate", "marginal", "not enough"}};
static const struct bands bands_moisture = {
    {MOVED_WET, MOVED_DRY}, {"below the band", "within the band", "above the band"}};
static const struct bands bands_dose = {
    {MOVED_DOSE, MOVED_NONE}, {"under half the usual", "about usual", "over twice the usual"}};

/* As triage/compute.h. */
static double moved(const struct rules *rules, enum moved_by by, double chance)
{
    return compute_shift(&rules->moves[by], rules->moves[by].trust, chance);
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
    memset(&known, 0, sizeof known); /* cooks are told apart by their bytes */
    known_cook_init(&known);
    known.vessel.kind = vessel;
    known.vessel.grams = grams;
    known.grain.kind = grain;
    known.gauge = cook->gauge;
    known.minutes = cook->minutes;
    known.altitude = cook->altitude;
    known.air = cook->air;
    if (rules->feeder[FEEDS_LOAD] != RULES_NONE)
        known.packing = rules_value(&rules->observables[rules->feeder[FEEDS_LOAD]], cook->load);
    if (physics_cook(rules, &known, &setup, organisms, NULL, &refusal) != PHYSICS_OK ||
        cook_recalled(cooks, &known, &setup, &result) != PROCESS_OK)
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_SURVIVORS, result.chance_mean);
    return (uint32_t)result.verdict;
}

/* Below, within or above the band of the grain. */
static uint32_t band_of_mix(const struct rules *rules, const struct batch *batch,
                            const struct lot *lot, double moves[2])
{
    struct known_grain grain;
    double doubt = fmax(0.1, rules->forecast.moisture_doubt);

    known_grain_init(&grain);
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
    size_t count, size;
};

struct filling { /* a dataset while it is filled from a journal */
    const struct rules *rules;
    struct arena *arena;
    struct records of[RECORD_COUNT];
    const struct vessel **vessels; /* those that are in */
    const struct batch **batches;  /* of each, or NULL */
    size_t count;
    struct factor *factors;
    size_t factor_count;
    struct stay *stays; /* places of each vessel, as numbers of records; NULL when none was moved */
    uint32_t *first_stay;
    struct cook_memo *cooks;
};

static const void *record_at(const struct records *records, size_t index)
{
    return (const char *)records->rows + index * records->size;
}

/* The first member of each record is its id. */
static int by_id(const void *a, const void *b)
{
    int64_t first = *(const int64_t *)a, second = *(const int64_t *)b;
    return (first > second) - (first < second);
}

static const void *record_of(const struct filling *filling, enum record record, int64_t id)
{
    const struct records *of = &filling->of[record];
    return of->count > 0 ? bsearch(&id, of->rows, of->count, of->size, by_id) : NULL;
}

/* The index of the record with an id, or SIZE_MAX. */
static size_t record_index(const struct filling *filling, enum record record, int64_t id)
{
    const char *row = record_of(filling, record, id), *rows = filling->of[record].rows;
    return row != NULL ? (size_t)(row - rows) / filling->of[record].size : SIZE_MAX;
}

static const char *label_of(enum record record, const void *row)
{
    size_t column = record_column(record, "label");
    const char *const *label =
        (const void *)((const char *)row + record_types[record].columns[column].offset);
    return *label;
}

/* ---- the factors of a journal ------------------------------------------------------------------- */

static uint32_t *levels_new(const struct filling *filling)
{
    return arena_array(filling->arena, filling->count, sizeof(uint32_t));
}

static void add(struct filling *filling, enum factor_kind kind, const char *const *labels,
                size_t count, uint32_t *level, const struct stay *stays)
{
    factor_add(filling->factors, &filling->factor_count,
               (struct factor){.kind = kind,
                               .name = factor_kinds[kind].name,
                               .levels = labels,
                               .level_count = count,
                               .stays = stays,
                               .first_stay = stays != NULL ? filling->first_stay : NULL},
               level, filling->count, filling->arena);
}

static int64_t id_of(const struct filling *filling, enum factor_kind kind, size_t i)
{
    const struct vessel *vessel = filling->vessels[i];
    const struct batch *batch = filling->batches[i];

    if (kind == FACTOR_PLACE)
        return vessel->stood != 0 ? vessel->stood : vessel->stands;
    if (kind == FACTOR_BATCH)
        return vessel->batch;
    if (batch == NULL || (vessel->control && !factor_kinds[kind].control))
        return 0;
    return kind == FACTOR_COOK      ? batch->cook
           : kind == FACTOR_LOT     ? batch->lot
           : kind == FACTOR_STARTER ? batch->starter
                                    : batch->session;
}

/* Of each vessel the index of its record, as a level. */
static uint32_t record_level(const struct filling *filling, enum factor_kind kind,
                             enum record record, size_t i)
{
    int64_t id = id_of(filling, kind, i);
    size_t index = id != 0 ? record_index(filling, record, id) : SIZE_MAX;
    return index != SIZE_MAX ? (uint32_t)index : LEVEL_NONE;
}

static const char **labels_of(const struct filling *filling, enum record record)
{
    const struct records *records = &filling->of[record];
    const char **labels = arena_array(filling->arena, records->count, sizeof *labels);
    for (size_t r = 0; r < records->count; r++)
        labels[r] = label_of(record, record_at(records, r));
    return labels;
}

static void add_records(struct filling *filling, enum factor_kind kind, enum record record)
{
    uint32_t *level = levels_new(filling);
    for (size_t i = 0; i < filling->count; i++)
        level[i] = record_level(filling, kind, record, i);
    add(filling, kind, labels_of(filling, record), filling->of[record].count, level,
        kind == FACTOR_PLACE ? filling->stays : NULL);
}

/* Of each starter its first known parent, as an index; SIZE_MAX for none. */
static const size_t *parents_of(const struct filling *filling)
{
    const struct records *starters = &filling->of[RECORD_STARTER];
    const struct records *parents = &filling->of[RECORD_PARENT];
    size_t *parent_of = arena_array(filling->arena, starters->count, sizeof *parent_of);
    for (size_t s = 0; s < starters->count; s++)
        parent_of[s] = SIZE_MAX;
    for (size_t p = 0; p < parents->count; p++) {
        const struct parent *parent = record_at(parents, p);
        size_t starter = record_index(filling, RECORD_STARTER, parent->starter);
        if (starter != SIZE_MAX && parent_of[starter] == SIZE_MAX)
            parent_of[starter] = record_index(filling, RECORD_STARTER, parent->parent);
    }
    return parent_of;
}

/* Whether two lists of levels part the vessels alike, by whatever names. */
static bool part_alike(const struct filling *filling, const struct factor *factor,
                       const uint32_t *level, size_t level_count)
{
    uint32_t *there = arena_array(filling->arena, factor->level_count, sizeof *there);
    uint32_t *back = arena_array(filling->arena, level_count, sizeof *back);
    for (size_t i = 0; i < filling->count; i++) { /* numbers from 1; 0 is not met yet */
        uint32_t a = factor->level[i], b = level[i];
        if (a == LEVEL_NONE && b == LEVEL_NONE)
            continue;
        if (a == LEVEL_NONE || b == LEVEL_NONE || (there[a] != 0 && there[a] != b + 1) ||
            (back[b] != 0 && back[b] != a + 1))
            return false;
        there[a] = b + 1;
        back[b] = a + 1;
    }
    return true;
}

/* A factor of ancestors some steps back from a starter, as far as is known; a loop is no ancestry, and
 * ends. Nothing when no two starters share one. */
static void add_ancestors(struct filling *filling, enum factor_kind kind, size_t steps)
{
    size_t starters = filling->of[RECORD_STARTER].count;
    const size_t *parent_of = parents_of(filling);
    uint32_t *level = levels_new(filling);

    for (size_t i = 0; i < filling->count; i++) {
        level[i] = record_level(filling, FACTOR_STARTER, RECORD_STARTER, i);
        for (size_t k = 0; level[i] != LEVEL_NONE && k < steps; k++)
            if (parent_of[level[i]] != SIZE_MAX)
                level[i] = (uint32_t)parent_of[level[i]];
    }
    for (size_t f = 0; f < filling->factor_count; f++)
        if (factor_kinds[filling->factors[f].kind].origin == FACTOR_STARTER &&
            part_alike(filling, &filling->factors[f], level, starters))
            return;
    add(filling, kind, labels_of(filling, RECORD_STARTER), starters, level, NULL);
}

static const char *word_of(const struct filling *filling, enum factor_kind kind, size_t i)
{
    const struct vessel *vessel = filling->vessels[i];
    if (kind == FACTOR_POSITION)
        return vessel->position;
    if (kind == FACTOR_LID)
        return vessel->lid;
    if (kind == FACTOR_BAG)
        return vessel->bag;
    if (kind == FACTOR_SPOT)
        return vessel->spot;
    int known = rules_vessel(filling->rules, vessel->kind);
    return known != RULES_NONE ? filling->rules->vessels[known].name : vessel->kind;
}

static void add_words(struct filling *filling, enum factor_kind kind)
{
    uint32_t *level = levels_new(filling);
    struct interner *words = interner_new(filling->arena);
    for (size_t i = 0; i < filling->count; i++) {
        const char *word = word_of(filling, kind, i);
        level[i] = interner_put(words, word, strlen(word));
    }
    add(filling, kind, interner_words(words), interner_count(words), level, NULL);
}

static void add_numbers(struct filling *filling, enum factor_kind kind)
{
    double *numbers = arena_array(filling->arena, filling->count, sizeof *numbers);
    for (size_t i = 0; i < filling->count; i++)
        numbers[i] = kind == FACTOR_GRAMS           ? filling->vessels[i]->grams
                     : filling->vessels[i]->control ? NAN
                                                    : filling->vessels[i]->sequence;
    factor_add_thirds(filling->factors, &filling->factor_count,
                      (struct factor){.kind = kind, .name = factor_kinds[kind].name}, numbers,
                      filling->count, filling->arena);
}

/* What a band is computed from; vessels of one batch, kind and filling share it. */
static uint32_t band_of(const struct filling *filling, enum factor_kind kind, size_t i,
                        double moves[2])
{
    const struct rules *rules = filling->rules;
    const struct vessel *vessel = filling->vessels[i];
    const struct batch *batch = filling->batches[i];

    moves[0] = moves[1] = 0.0;
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

static bool like_before(const struct filling *filling, size_t i)
{
    if (i == 0)
        return false;
    const struct vessel *a = filling->vessels[i - 1], *b = filling->vessels[i];
    return a->batch == b->batch && strcmp(a->kind, b->kind) == 0 &&
           (a->grams <= b->grams && a->grams >= b->grams);
}

static void add_bands(struct filling *filling, enum factor_kind kind, const struct bands *bands)
{
    enum { BANDS = sizeof bands->names / sizeof bands->names[0] };
    uint32_t *level = levels_new(filling), band = LEVEL_NONE;
    double log_odds[2 * BANDS] = {0.0}, moves[2] = {0.0, 0.0};
    size_t met[BANDS] = {0};

    for (size_t i = 0; i < filling->count; i++) {
        if (!like_before(filling, i))
            band = band_of(filling, kind, i, moves);
        level[i] = kind == FACTOR_DOSE && filling->vessels[i]->control ? LEVEL_NONE : band;
        if (level[i] == LEVEL_NONE)
            continue;
        met[band]++;
        log_odds[2 * (size_t)band] += moves[0];
        log_odds[2 * (size_t)band + 1] += moves[1];
    }
    for (size_t k = 0; k < (size_t)2 * BANDS; k++) {
        const size_t times = met[k / 2];
        log_odds[k] /= times > 0 ? (double)times : 1.0;
    }
    factor_add(filling->factors, &filling->factor_count,
               (struct factor){.kind = kind,
                               .name = factor_kinds[kind].name,
                               .levels = bands->names,
                               .level_count = BANDS,
                               .moved = {bands->moved[0], bands->moved[1]},
                               .log_odds = log_odds},
               level, filling->count, filling->arena);
}

static void add_factors(struct filling *filling)
{
    enum { PARENTS = 1, LONGEST_LINE = 64 };
    filling->factors = arena_array(filling->arena, FACTOR_KINDS, sizeof *filling->factors);
    add_records(filling, FACTOR_COOK, RECORD_COOK);
    add_records(filling, FACTOR_STARTER, RECORD_STARTER);
    add_records(filling, FACTOR_SESSION, RECORD_SESSION);
    add_records(filling, FACTOR_PLACE, RECORD_PLACE);
    add_records(filling, FACTOR_LOT, RECORD_LOT);
    add_records(filling, FACTOR_BATCH, RECORD_BATCH);
    add_ancestors(filling, FACTOR_PARENT, PARENTS);
    add_ancestors(filling, FACTOR_LINE, LONGEST_LINE);
    add_words(filling, FACTOR_POSITION);
    add_words(filling, FACTOR_VESSEL);
    add_words(filling, FACTOR_LID);
    add_words(filling, FACTOR_BAG);
    add_words(filling, FACTOR_SPOT);
    add_numbers(filling, FACTOR_SEQUENCE);
    add_numbers(filling, FACTOR_GRAMS);
    filling->cooks = cook_memo_new();
    add_bands(filling, FACTOR_LETHALITY, &bands_lethality);
    cook_memo_free(filling->cooks);
    add_bands(filling, FACTOR_MOISTURE, &bands_moisture);
    add_bands(filling, FACTOR_DOSE, &bands_dose);
    int feeder = filling->rules->feeder[FEEDS_TEMPERATURE];
    if (feeder == RULES_NONE)
        return;
    const struct observable *temperature = &filling->rules->observables[feeder];
    const char **labels = arena_array(filling->arena, temperature->value_count, sizeof *labels);
    uint32_t *level = levels_new(filling);
    for (size_t v = 0; v < temperature->value_count; v++)
        labels[v] = temperature->values[v].label;
    const struct records *places = &filling->of[RECORD_PLACE];
    uint32_t *bins = arena_array(filling->arena, places->count, sizeof *bins);
    for (size_t p = 0; p < places->count; p++) {
        double celsius = ((const struct place *)record_at(places, p))->celsius;
        int bin = isnan(celsius) ? RULES_NONE : rules_bin(temperature, celsius);
        bins[p] = bin != RULES_NONE ? (uint32_t)bin : LEVEL_NONE;
    }
    for (size_t i = 0; i < filling->count; i++) {
        uint32_t place = record_level(filling, FACTOR_PLACE, RECORD_PLACE, i);
        level[i] = place != LEVEL_NONE ? bins[place] : LEVEL_NONE;
    }
    size_t count = filling->stays != NULL ? filling->first_stay[filling->count] : 0;
    struct stay *stays = arena_array(filling->arena, count, sizeof *stays);
    for (size_t s = 0; s < count; s++) {
        stays[s] = filling->stays[s];
        if (stays[s].level != LEVEL_NONE)
            stays[s].level = bins[stays[s].level];
    }
    add(filling, FACTOR_TEMPERATURE, labels, temperature->value_count, level,
        filling->stays != NULL ? stays : NULL);
}

/* ---- the vessels of a journal ------------------------------------------------------------------- */

static int32_t day_of(struct moment moment)
{
    int64_t day = moment_known(moment) ? moment_day(moment) : DAY_NONE;
    return day > DAY_NONE && day < INT32_MAX ? (int32_t)day : DAY_NONE;
}

static void choose_vessels(struct filling *filling, int32_t since)
{
    const struct records *all = &filling->of[RECORD_VESSEL];
    filling->vessels = arena_array(filling->arena, all->count, sizeof *filling->vessels);
    filling->batches = arena_array(filling->arena, all->count, sizeof *filling->batches);
    for (size_t i = 0; i < all->count; i++) {
        const struct vessel *vessel = record_at(all, i);
        const struct batch *batch = record_of(filling, RECORD_BATCH, vessel->batch);
        int32_t day = batch != NULL ? day_of(batch->at) : DAY_NONE;
        if (since != DAY_NONE && (day == DAY_NONE || day < since))
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

struct moving {
    size_t vessel;
    int64_t event;
    int32_t day;
    uint32_t place;
    bool withdrawn;
};

static int by_vessel_and_day(const void *a, const void *b)
{
    const struct moving *first = a, *second = b;
    if (first->vessel != second->vessel)
        return first->vessel < second->vessel ? -1 : 1;
    if (first->day != second->day)
        return first->day < second->day ? -1 : 1;
    return (first->event > second->event) - (first->event < second->event);
}

static enum status read_moves(const struct filling *filling, struct journal *journal,
                              struct moving **moves, size_t *count, struct diags *diags)
{
    struct walk *walk = journal_walk(journal, RECORD_EVENT, NULL, 0, false, diags);
    struct event event;
    while (walk_next(walk, &event)) { /* by rising id: what is withdrawn came before */
        size_t vessel = vessel_index(filling, event.vessel);
        for (size_t m = *count; event.kind == EVENT_WITHDRAW && m-- > 0;)
            if ((*moves)[m].event <= event.corrects) {
                (*moves)[m].withdrawn |= (*moves)[m].event == event.corrects;
                break;
            }
        if (event.kind != EVENT_MOVE || vessel == SIZE_MAX)
            continue;
        size_t place = record_index(filling, RECORD_PLACE, event.place);
        *arena_push(filling->arena, *moves, *count) =
            (struct moving){.vessel = vessel,
                            .event = event.id,
                            .day = day_of(event.at),
                            .place = place != SIZE_MAX ? (uint32_t)place : LEVEL_NONE};
    }
    return walk_end(walk);
}

/* Where each vessel stood and from when: where it was put, then where moves before its end took it. */
static enum status fill_stays(struct filling *filling, struct journal *journal, struct diags *diags)
{
    struct moving *moves = NULL;
    size_t count = 0, at = 0, moved = 0;
    uint32_t stay = 0;
    enum status status = read_moves(filling, journal, &moves, &count, diags);
    if (count > 1)
        qsort(moves, count, sizeof *moves, by_vessel_and_day);
    struct stay *stays = arena_array(filling->arena, filling->count + count, sizeof *stays);
    filling->first_stay = arena_array(filling->arena, filling->count + 1, sizeof(uint32_t));
    for (size_t i = 0; i < filling->count; i++) {
        const struct vessel *vessel = filling->vessels[i];
        int32_t begun = filling->batches[i] != NULL ? day_of(filling->batches[i]->at) : DAY_NONE;
        int32_t ended = day_of(vessel->ended);
        size_t put =
            vessel->place != 0 ? record_index(filling, RECORD_PLACE, vessel->place) : SIZE_MAX;
        uint32_t first = stay;
        stays[stay++] = (struct stay){put != SIZE_MAX ? (uint32_t)put : LEVEL_NONE, 0};
        for (; at < count && moves[at].vessel == i; at++) {
            if (moves[at].withdrawn || moves[at].day == DAY_NONE || begun == DAY_NONE ||
                (ended != DAY_NONE && moves[at].day >= ended))
                continue;
            int32_t from = moves[at].day > begun ? moves[at].day - begun : 0;
            if (from > stays[stay - 1].from)
                stay++;
            stays[stay - 1] = (struct stay){moves[at].place, stay - 1 > first ? from : 0};
        }
        moved += stay - first > 1;
        filling->first_stay[i + 1] = stay;
    }
    filling->stays = moved > 0 ? stays : NULL;
    return status;
}

static void fill_vessels(const struct filling *filling, struct dataset *dataset)
{
    dataset_make_room(dataset, filling->count, filling->arena);
    for (size_t i = 0; i < filling->count; i++) {
        const struct vessel *vessel = filling->vessels[i];
        dataset->labels[i] = vessel->label;
        dataset->fate[i] = (uint8_t)vessel->fate;
        if (vessel->fate == FATE_OPEN && vessel->state == VESSEL_DISCARDED)
            dataset->fate[i] = FATE_COUNT; /* it broke, or was recorded by mistake: nobody knows */
        dataset->control[i] = vessel->control;
        dataset->entered[i] =
            filling->batches[i] != NULL ? day_of(filling->batches[i]->at) : DAY_NONE;
        dataset->ended[i] = day_of(vessel->ended);
    }
}

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
    const struct kept_fact *facts = NULL;
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
enum {
    SIGNS_KEPT = 5000
}; /* vessels of a journal of which signs are read: they take a kilobyte each */
static enum status fill_findings(const struct filling *filling, struct journal *journal,
                                 struct dataset *dataset, struct diags *diags)
{
    int16_t *finding = arena_array(filling->arena, filling->count, sizeof *finding);
    float *sure = arena_array(filling->arena, filling->count, sizeof *sure);
    const struct observation **seen = arena_array(filling->arena, filling->count, sizeof *seen);
    struct arena *scratch = arena_new();
    enum status status = STATUS_OK;
    struct outcome outcome;

    for (size_t i = 0; i < filling->count && status == STATUS_OK; i++) {
        const struct vessel *vessel = filling->vessels[i];
        struct look look;
        finding[i] = RULES_NONE;
        if (vessel->last_look == 0 ||
            (vessel->fate != FATE_CONTAMINATED && vessel->fate != FATE_STUCK))
            continue;
        status = journal_get(journal, RECORD_LOOK, vessel->last_look, scratch, &look, diags);
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
    struct walk *walk = journal_walk(journal, RECORD_OUTCOME, NULL, 0, false, diags);
    while (walk_next(walk, &outcome)) { /* by rising id: the newest stays */
        size_t i = vessel_index(filling, outcome.vessel);
        if (i == SIZE_MAX || strcmp(outcome.status, WITHDRAWN) == 0)
            continue;
        finding[i] = (int16_t)rules_finding(filling->rules, outcome.finding);
        sure[i] = 1.0F;
    }
    dataset->finding = finding;
    dataset->sure = sure;
    dataset->seen = seen;
    return walk_end(walk);
}

enum status dataset_from_journal(struct journal *journal, const struct rules *rules, int32_t since,
                                 int32_t today, struct arena *arena, struct dataset *dataset,
                                 struct diags *diags)
{
    static const enum record needed[] = {RECORD_STARTER, RECORD_PARENT,  RECORD_LOT,
                                         RECORD_COOK,    RECORD_SESSION, RECORD_PLACE,
                                         RECORD_BATCH,   RECORD_VESSEL};
    struct filling filling = {.rules = rules, .arena = arena};

    *dataset = (struct dataset){.today = today};
    for (size_t k = 0; k < sizeof needed / sizeof *needed; k++) {
        struct records *records = &filling.of[needed[k]];
        records->size = record_types[needed[k]].size;
        enum status status =
            journal_all(journal, needed[k], NULL, 0, arena, &records->rows, &records->count, diags);
        if (status != STATUS_OK)
            return status;
    }
    choose_vessels(&filling, since);
    fill_vessels(&filling, dataset);
    enum status status = fill_findings(&filling, journal, dataset, diags);
    if (status == STATUS_OK)
        status = fill_stays(&filling, journal, diags);
    add_factors(&filling);
    dataset->factors = filling.factors;
    dataset->factor_count = filling.factor_count;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
    dataset_remark(dataset, arena);
    return status;
}
