/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/dataset.h"

#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/numbers.h"
#include "journal/journal.h"
#include "process/cook.h"
#include "process/moisture.h"
#include "rules/rules.h"
#include "triage/physics.h"

/*
 * Bands: what process/ makes of the figures in a record, coarse enough that
 * several cooks, mixes or shelves share one.
 *
 * A band is a small number, or LEVEL_NONE when the figures do not tell. `moves`
 * takes how far each of up to two computations moves the causes it bears on
 * (knowledge/rules.h, struct move), natural log of the odds.
 */
struct bands {
    enum moved_by moved[2];
    size_t count;
    const char *const *names;
};

extern const struct bands bands_lethality, bands_moisture, bands_dose;

/* Of one kind of vessel with so many grams in a cook of such grain: cook_verdict. */
static uint32_t band_of_cook(const struct rules *rules, const struct cook *cook, int vessel,
                             double grams, int grain, double moves[2]);
/* Of a mix: below, within or above the band of its grain. */
static uint32_t band_of_mix(const struct rules *rules, const struct batch *batch,
                            const struct lot *lot, double moves[2]);
/* Of a dose in a vessel of so many grams: under half, about, over twice the usual one. */
static uint32_t band_of_dose(const struct rules *rules, const struct batch *batch, int starter_kind,
                             int grain, double grams, double moves[2]);

/* A dataset on its way out of a journal. */

/* Records of one kind, by rising id. */
struct records {
    void *rows;
    size_t count, size;
};

struct filling { /* a dataset while it is filled */
    struct journal *journal;
    const struct rules *rules;
    struct arena *arena;
    struct diags *diags;
    struct dataset *dataset;
    struct records of[RECORD_COUNT];
    const struct vessel **vessels; /* those that are in */
    size_t count;
    int16_t *finding; /* of each vessel that is in, and how sure */
    float *sure;
    struct cook_kept *cooks; /* of dataset_factors.c */
    struct factor *factors;
    size_t factor_count;
};

/* The record at an index; the index of the record with an id, SIZE_MAX; and the record itself, NULL. */
static const void *record_at(const struct records *records, size_t index);
static size_t record_index(const struct records *records, int64_t id);
static const void *record_of(const struct filling *filling, enum record record, int64_t id);
/* The batch of a vessel that is in. */
static const struct batch *batch_of(const struct filling *filling, size_t i);

/* Adds every factor that the records tell. */
enum status filling_add_factors(struct filling *filling);

/* ==== bands =================================================================================== */

static const char *const lethality_names[] = {"adequate", "marginal", "not enough"};
static const char *const moisture_names[] = {"below the band", "within the band", "above the band"};
static const char *const dose_names[] = {"under half the usual", "about usual",
                                         "over twice the usual"};

const struct bands bands_lethality = {{MOVED_SURVIVORS, MOVED_NONE}, 3, lethality_names};
const struct bands bands_moisture = {{MOVED_WET, MOVED_DRY}, 3, moisture_names};
const struct bands bands_dose = {{MOVED_DOSE, MOVED_NONE}, 3, dose_names};

static double logit(double p)
{
    static const double sure = 0.998;
    p = fmin(sure, fmax(1.0 - sure, p));
    return log(p / (1.0 - p));
}

/* As triage/compute.h: trust (logit p - logit usual), at most so far. */
static double moved(const struct rules *rules, enum moved_by by, double chance)
{
    const struct move *move = &rules->moves[by];
    if (isnan(chance) || !(move->trust > 0.0))
        return 0.0;
    double shift = move->trust * (logit(chance) - logit(move->usual));
    return fmin(move->most, fmax(-move->most, shift));
}

/* ---- the cook -------------------------------------------------------------------------------- */

static uint32_t band_of_cook(const struct rules *rules, const struct cook *cook, int vessel,
                             double grams, int grain, double moves[2])
{
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct physics_refusal refusal;
    struct cook_result result;
    struct cook_setup setup;
    struct known_cook known;
    struct text assumed;
    double value;

    moves[0] = moves[1] = 0.0;
    if (isnan(cook->gauge) || isnan(cook->minutes))
        return LEVEL_NONE;
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
    text_init(&assumed);
    enum physics_answer answer = physics_cook(rules, &known, &setup, organisms, &assumed, &refusal);
    text_release(&assumed);
    if (answer != PHYSICS_OK || cook_check(&setup, &value) != PROCESS_OK ||
        cook_compute(&setup, &result) != PROCESS_OK)
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_SURVIVORS, result.chance_mean);
    return (uint32_t)result.verdict;
}

/* ---- the mix --------------------------------------------------------------------------------- */

static uint32_t band_of_mix(const struct rules *rules, const struct batch *batch,
                            const struct lot *lot, double moves[2])
{
    struct known_grain grain;
    struct text assumed;
    double doubt = fmax(0.1, rules->forecast.moisture_doubt);

    moves[0] = moves[1] = 0.0;
    known_grain_init(&grain);
    grain.kind = lot != NULL ? rules_grain(rules, lot->grain) : RULES_NONE;
    grain.own_moisture = lot != NULL ? lot->moisture : NAN;
    grain.dry = batch->dry;
    grain.water = batch->water;
    text_init(&assumed);
    double moisture = physics_moisture(rules, &grain, &assumed);
    text_release(&assumed);
    struct moisture_band band = physics_band(rules, grain.kind);
    if (isnan(moisture) || isnan(band.lo))
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_WET, moisture_chance_above(moisture, doubt, band.hi));
    moves[1] = moved(rules, MOVED_DRY, 1.0 - moisture_chance_above(moisture, doubt, band.lo));
    return moisture < band.lo ? 0 : moisture > band.hi ? 2 : 1;
}

/* ---- the dose -------------------------------------------------------------------------------- */

static uint32_t band_of_dose(const struct rules *rules, const struct batch *batch, int starter_kind,
                             int grain, double grams, double moves[2])
{
    /* Half and twice: the spread of what books call usual. Expert judgement. */
    static const double small = 0.5, large = 2.0;

    moves[0] = moves[1] = 0.0;
    if (starter_kind == RULES_NONE || isnan(batch->dose) || isnan(grams))
        return LEVEL_NONE;
    double litres = grams / 1000.0 / physics_bulk(rules, grain);
    double relative = batch->dose / (rules->starters[starter_kind].usual * litres);
    if (!isfinite(relative) || relative < 0.0)
        return LEVEL_NONE;
    moves[0] = moved(rules, MOVED_DOSE, 1.0 / (1.0 + relative * relative));
    return relative < small ? 0 : relative > large ? 2 : 1;
}

/* ==== dataset parts =========================================================================== */

/* ---- words and their numbers ------------------------------------------------------------------ */

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
static bool grow(struct interner *interner)
{
    size_t room = interner->room * 2;
    const char **words =
        arena_grow(interner->arena, interner->words, interner->count, room, sizeof *words);
    size_t *lengths =
        arena_grow(interner->arena, interner->lengths, interner->count, room, sizeof *lengths);
    uint32_t *slots = arena_array(interner->arena, room * 2, sizeof *slots);
    if (words == NULL || lengths == NULL || slots == NULL)
        return false;
    interner->words = words;
    interner->lengths = lengths;
    interner->slots = slots;
    interner->slot_count = room * 2;
    interner->room = room;
    for (size_t i = 0; i < interner->count; i++)
        slots[slot_of(interner, words[i], lengths[i])] = (uint32_t)i + 1;
    return true;
}

struct interner *interner_new(struct arena *arena)
{
    enum { FIRST = 8 };
    struct interner *interner = arena_alloc(arena, sizeof *interner);
    if (interner == NULL)
        return NULL;
    *interner = (struct interner){.arena = arena, .room = FIRST / 2};
    return grow(interner) ? interner : NULL;
}

bool interner_put(struct interner *interner, const char *word, size_t length, uint32_t *number)
{
    *number = LEVEL_NONE;
    if (length == 0)
        return true;
    size_t slot = slot_of(interner, word, length);
    if (interner->slots[slot] == 0) {
        if (interner->count == interner->room) {
            if (!grow(interner))
                return false;
            slot = slot_of(interner, word, length);
        }
        const char *copy = arena_copy(interner->arena, word, length);
        if (copy == NULL)
            return false;
        interner->words[interner->count] = copy;
        interner->lengths[interner->count] = length;
        interner->slots[slot] = (uint32_t)++interner->count;
    }
    *number = interner->slots[slot] - 1;
    return true;
}

size_t interner_count(const struct interner *interner)
{
    return interner->count;
}

const char *const *interner_words(const struct interner *interner)
{
    return interner->words;
}

/* ---- factors ----------------------------------------------------------------------------------- */

enum status factor_add(struct factor *factors, size_t *count, struct factor factor, uint32_t *level,
                       size_t vessels, struct arena *arena)
{
    uint32_t *numbers = arena_array(arena, factor.level_count, sizeof *numbers);
    const char **labels = arena_array(arena, factor.level_count, sizeof *labels);
    double *log_odds = NULL;
    uint32_t met = 0;

    if (factor.log_odds != NULL)
        log_odds = arena_array(arena, 2 * factor.level_count, sizeof *log_odds);
    if (numbers == NULL || labels == NULL || (factor.log_odds != NULL && log_odds == NULL))
        return STATUS_MEMORY;
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            numbers[level[i]] = 1;
    for (size_t l = 0; l < factor.level_count; l++) {
        if (numbers[l] == 0)
            continue;
        labels[met] = factor.levels[l];
        if (log_odds != NULL)
            memcpy(&log_odds[2 * (size_t)met], &factor.log_odds[2 * l], 2 * sizeof *log_odds);
        numbers[l] = met++;
    }
    if (met == 0)
        return STATUS_OK;
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            level[i] = numbers[level[i]];
    factor.levels = labels;
    factor.level = level;
    factor.level_count = met;
    factor.log_odds = log_odds;
    factors[(*count)++] = factor;
    return STATUS_OK;
}

bool factor_parts_alike(const struct factor *first, const struct factor *second, size_t vessels)
{
    enum { MOST = 4096 };
    uint32_t there[MOST], back[MOST];
    if (first->level_count > MOST || second->level_count > MOST)
        return false;
    memset(there, 0xff, sizeof there);
    memset(back, 0xff, sizeof back);
    for (size_t i = 0; i < vessels; i++) {
        uint32_t a = first->level[i], b = second->level[i];
        if (a == LEVEL_NONE || b == LEVEL_NONE) {
            if (a != b)
                return false;
            continue;
        }
        if ((there[a] != LEVEL_NONE && there[a] != b) || (back[b] != LEVEL_NONE && back[b] != a))
            return false;
        there[a] = b;
        back[b] = a;
    }
    return true;
}

/* ---- remarks ------------------------------------------------------------------------------------ */

enum status dataset_say(struct dataset *dataset, struct arena *arena, const char *format, ...)
{
    char words[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    const char **remarks = arena_grow(arena, dataset->remarks, dataset->remark_count,
                                      dataset->remark_count + 1, sizeof *remarks);
    if (remarks == NULL || (remarks[dataset->remark_count] = arena_string(arena, words)) == NULL)
        return STATUS_MEMORY;
    dataset->remarks = remarks;
    dataset->remark_count++;
    return STATUS_OK;
}

enum status dataset_remark(struct dataset *dataset, struct arena *arena)
{
    size_t future = 0, backwards = 0, undated = 0;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t entered = dataset->entered[i], ended = dataset->ended[i];
        undated += entered == DAY_NONE;
        future += entered > dataset->today || ended > dataset->today;
        backwards += entered != DAY_NONE && ended != DAY_NONE && ended < entered;
    }
    if (future > 0)
        status = dataset_say(dataset, arena,
                             "%zu %s a date in the future: left out of all that goes by time.",
                             future, future == 1 ? "vessel has" : "vessels have");
    if (backwards > 0 && status == STATUS_OK)
        status = dataset_say(dataset, arena,
                             "%zu %s before the day of inoculation: left out of all that goes by "
                             "time.",
                             backwards, backwards == 1 ? "vessel ended" : "vessels ended");
    if (undated > 0 && undated < dataset->vessel_count && status == STATUS_OK)
        status = dataset_say(dataset, arena,
                             "%zu %s no day of inoculation: left out of all that goes by time.",
                             undated, undated == 1 ? "vessel has" : "vessels have");
    return status;
}

/* ==== dataset factors ========================================================================= */

/* What the vessels of a journal share: records, words, and what is computed from them. */

/* ---- factors that are records ---------------------------------------------------------------- */

static int64_t id_of(const struct filling *filling, enum factor_kind kind, size_t i)
{
    const struct vessel *vessel = filling->vessels[i];
    const struct batch *batch = batch_of(filling, i);
    bool grown = !vessel->control;

    if (kind == FACTOR_PLACE)
        return vessel->stood != 0 ? vessel->stood : vessel->stands;
    if (kind == FACTOR_BATCH)
        return vessel->batch;
    if (batch == NULL)
        return 0;
    switch (kind) {
    case FACTOR_COOK:
        return batch->cook;
    case FACTOR_LOT:
        return batch->lot;
    case FACTOR_STARTER:
        return grown ? batch->starter : 0;
    case FACTOR_SESSION:
        return grown ? batch->session : 0;
    default:
        return 0;
    }
}

static const char *label_of(enum record record, const void *row)
{
    size_t column = record_column(record, "label");
    const char *const *label =
        (const void *)((const char *)row + record_types[record].columns[column].offset);
    return *label;
}

static enum status add_records(struct filling *filling, enum factor_kind kind, enum record record)
{
    const struct records *records = &filling->of[record];
    const char **labels = arena_array(filling->arena, records->count, sizeof *labels);
    uint32_t *level = arena_array(filling->arena, filling->count, sizeof *level);

    if (labels == NULL || level == NULL)
        return STATUS_MEMORY;
    for (size_t r = 0; r < records->count; r++)
        labels[r] = label_of(record, record_at(records, r));
    for (size_t i = 0; i < filling->count; i++) {
        int64_t id = id_of(filling, kind, i);
        size_t index = id != 0 ? record_index(records, id) : SIZE_MAX;
        level[i] = index != SIZE_MAX ? (uint32_t)index : LEVEL_NONE;
    }
    return factor_add(filling->factors, &filling->factor_count,
                      (struct factor){.kind = kind,
                                      .name = factor_kind_name(kind),
                                      .levels = labels,
                                      .level_count = records->count},
                      level, filling->count, filling->arena);
}

/* ---- where starters come from ----------------------------------------------------------------- */

/* Of each starter its first known parent, as an index; SIZE_MAX for none. NULL when out of memory. */
static const size_t *parents_of(const struct filling *filling)
{
    const struct records *starters = &filling->of[RECORD_STARTER];
    const struct records *parents = &filling->of[RECORD_PARENT];
    size_t *parent_of = arena_array(filling->arena, starters->count, sizeof *parent_of);
    if (parent_of == NULL)
        return NULL;
    for (size_t s = 0; s < starters->count; s++)
        parent_of[s] = SIZE_MAX;
    for (size_t p = 0; p < parents->count; p++) {
        const struct parent *parent = record_at(parents, p);
        size_t starter = record_index(starters, parent->starter);
        if (starter != SIZE_MAX && parent_of[starter] == SIZE_MAX)
            parent_of[starter] = record_index(starters, parent->parent);
    }
    return parent_of;
}

/* Some steps back from a starter, as far as is known; a loop is no ancestry, and ends. */
static size_t ancestor_of(const size_t *parent_of, size_t starter, size_t steps)
{
    for (size_t k = 0; k < steps && parent_of[starter] != SIZE_MAX; k++)
        starter = parent_of[starter];
    return starter;
}

/* A factor of ancestors, from the factor of starters; nothing when no two starters share one. */
static enum status add_ancestors(struct filling *filling, enum factor_kind kind, size_t steps)
{
    const struct records *starters = &filling->of[RECORD_STARTER];
    const char **labels = arena_array(filling->arena, starters->count, sizeof *labels);
    uint32_t *level = arena_array(filling->arena, filling->count, sizeof *level);
    uint32_t *ancestor = arena_array(filling->arena, starters->count, sizeof *ancestor);

    const size_t *parent_of = parents_of(filling);

    if (labels == NULL || level == NULL || ancestor == NULL || parent_of == NULL)
        return STATUS_MEMORY;
    for (size_t s = 0; s < starters->count; s++) {
        labels[s] = label_of(RECORD_STARTER, record_at(starters, s));
        ancestor[s] = (uint32_t)ancestor_of(parent_of, s, steps);
    }
    for (size_t i = 0; i < filling->count; i++) {
        int64_t id = id_of(filling, FACTOR_STARTER, i);
        size_t index = id != 0 ? record_index(starters, id) : SIZE_MAX;
        level[i] = index != SIZE_MAX ? ancestor[index] : LEVEL_NONE;
    }
    struct factor factor = {.kind = kind,
                            .name = factor_kind_name(kind),
                            .levels = labels,
                            .level_count = starters->count,
                            .level = level};
    for (size_t f = 0; f < filling->factor_count; f++)
        if (factor_kind_origin(filling->factors[f].kind) == FACTOR_STARTER &&
            factor_parts_alike(&filling->factors[f], &factor, filling->count))
            return STATUS_OK;
    return factor_add(filling->factors, &filling->factor_count, factor, level, filling->count,
                      filling->arena);
}

/* ---- factors that are words ------------------------------------------------------------------- */

static const char *word_of(const struct filling *filling, enum factor_kind kind, size_t i)
{
    const struct vessel *vessel = filling->vessels[i];
    if (kind == FACTOR_POSITION)
        return vessel->position;
    int known = rules_vessel(filling->rules, vessel->kind);
    return known != RULES_NONE ? filling->rules->vessels[known].name : vessel->kind;
}

static enum status add_words(struct filling *filling, enum factor_kind kind)
{
    uint32_t *level = arena_array(filling->arena, filling->count, sizeof *level);
    struct interner *words = interner_new(filling->arena);
    if (level == NULL || words == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < filling->count; i++) {
        const char *word = word_of(filling, kind, i);
        if (!interner_put(words, word, strlen(word), &level[i]))
            return STATUS_MEMORY;
    }
    return factor_add(filling->factors, &filling->factor_count,
                      (struct factor){.kind = kind,
                                      .name = factor_kind_name(kind),
                                      .levels = interner_words(words),
                                      .level_count = interner_count(words)},
                      level, filling->count, filling->arena);
}

/* ---- factors that are computed ----------------------------------------------------------------- */

/*
 * Growers cook the same way again and again: a cook that was computed is remembered by all that went
 * into it, in a place that its figures choose.
 */
enum { COOKS_KEPT = 1024 };
struct cook_key {
    uint64_t figures[5];   /* bits of the doubles: what is not known equals itself */
    int64_t vessel, grain; /* whole, so that the key has no gaps */
    char load[32];
};
struct cook_kept {
    struct cook_key key;
    uint32_t band;
    double moves[2];
    bool filled;
};

static uint32_t kept_band(const struct filling *filling, const struct cook *cook, int vessel,
                          double grams, int grain, double moves[2])
{
    const double figures[] = {cook->gauge, cook->minutes, cook->altitude, cook->air, grams};
    struct cook_key key;
    memset(&key, 0, sizeof key);
    memcpy(key.figures, figures, sizeof key.figures);
    key.vessel = vessel;
    key.grain = grain;
    if (strlen(cook->load) >= sizeof key.load)
        return band_of_cook(filling->rules, cook, vessel, grams, grain, moves);
    memcpy(key.load, cook->load, strlen(cook->load));
    struct cook_kept *kept = &filling->cooks[fnv_hash(FNV_START, &key, sizeof key) % COOKS_KEPT];
    if (!kept->filled || memcmp(&kept->key, &key, sizeof key) != 0) {
        kept->band = band_of_cook(filling->rules, cook, vessel, grams, grain, kept->moves);
        kept->key = key;
        kept->filled = true;
    }
    memcpy(moves, kept->moves, sizeof kept->moves);
    return kept->band;
}

/* What a band is computed from; vessels of one batch, kind and filling share it. */
static uint32_t band_of(const struct filling *filling, enum factor_kind kind, size_t i,
                        double moves[2])
{
    const struct rules *rules = filling->rules;
    const struct vessel *vessel = filling->vessels[i];
    const struct batch *batch = batch_of(filling, i);
    const struct lot *lot = batch != NULL ? record_of(filling, RECORD_LOT, batch->lot) : NULL;
    int grain = lot != NULL ? rules_grain(rules, lot->grain) : RULES_NONE;
    int vessel_kind = rules_vessel(rules, vessel->kind);

    if (batch == NULL)
        return LEVEL_NONE;
    if (kind == FACTOR_MOISTURE)
        return band_of_mix(rules, batch, lot, moves);
    if (kind == FACTOR_LETHALITY) {
        const struct cook *cook = record_of(filling, RECORD_COOK, batch->cook);
        return cook != NULL ? kept_band(filling, cook, vessel_kind, vessel->grams, grain, moves)
                            : LEVEL_NONE;
    }
    const struct starter *starter = record_of(filling, RECORD_STARTER, batch->starter);
    int starter_kind = RULES_NONE;
    for (size_t s = 0; starter != NULL && s < rules->starter_count; s++)
        if (strcmp(rules->starters[s].id, starter->kind) == 0)
            starter_kind = (int)s;
    double grams = vessel->grams;
    if (isnan(grams) && vessel_kind != RULES_NONE)
        grams = 1000.0 * rules->vessels[vessel_kind].mass_kg;
    return band_of_dose(rules, batch, starter_kind, grain, grams, moves);
}

static bool like_before(const struct filling *filling, size_t i)
{
    if (i == 0)
        return false;
    const struct vessel *a = filling->vessels[i - 1], *b = filling->vessels[i];
    return a->batch == b->batch && strcmp(a->kind, b->kind) == 0 &&
           (a->grams <= b->grams && a->grams >= b->grams);
}

static enum status add_bands(struct filling *filling, enum factor_kind kind,
                             const struct bands *bands)
{
    uint32_t *level = arena_array(filling->arena, filling->count, sizeof *level), band = LEVEL_NONE;
    double *log_odds = arena_array(filling->arena, 2 * bands->count, sizeof *log_odds);
    size_t *met = arena_array(filling->arena, bands->count, sizeof *met);
    double moves[2] = {0.0, 0.0};

    if (level == NULL || log_odds == NULL || met == NULL)
        return STATUS_MEMORY;
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
    for (size_t b = 0; b < bands->count; b++) {
        double vessels = met[b] > 0 ? (double)met[b] : 1.0;
        log_odds[2 * b] /= vessels;
        log_odds[2 * b + 1] /= vessels;
    }
    struct factor factor = {.kind = kind,
                            .name = factor_kind_name(kind),
                            .levels = bands->names,
                            .level_count = bands->count,
                            .moved = {bands->moved[0], bands->moved[1]},
                            .log_odds = log_odds};
    return factor_add(filling->factors, &filling->factor_count, factor, level, filling->count,
                      filling->arena);
}

static enum status add_temperatures(struct filling *filling)
{
    int feeder = filling->rules->feeder[FEEDS_TEMPERATURE];
    if (feeder == RULES_NONE)
        return STATUS_OK;
    const struct observable *temperature = &filling->rules->observables[feeder];
    const char **labels = arena_array(filling->arena, temperature->value_count, sizeof *labels);
    uint32_t *level = arena_array(filling->arena, filling->count, sizeof *level);
    if (labels == NULL || level == NULL)
        return STATUS_MEMORY;
    for (size_t v = 0; v < temperature->value_count; v++)
        labels[v] = temperature->values[v].label;
    for (size_t i = 0; i < filling->count; i++) {
        const struct place *place =
            record_of(filling, RECORD_PLACE, id_of(filling, FACTOR_PLACE, i));
        int bin = place != NULL && !isnan(place->celsius) ? rules_bin(temperature, place->celsius)
                                                          : RULES_NONE;
        level[i] = bin != RULES_NONE ? (uint32_t)bin : LEVEL_NONE;
    }
    return factor_add(filling->factors, &filling->factor_count,
                      (struct factor){.kind = FACTOR_TEMPERATURE,
                                      .name = factor_kind_name(FACTOR_TEMPERATURE),
                                      .levels = labels,
                                      .level_count = temperature->value_count},
                      level, filling->count, filling->arena);
}

/* ---- the whole -------------------------------------------------------------------------------- */

enum status filling_add_factors(struct filling *filling)
{
    static const struct {
        enum factor_kind kind;
        enum record record;
    } records[] = {{FACTOR_COOK, RECORD_COOK},       {FACTOR_STARTER, RECORD_STARTER},
                   {FACTOR_SESSION, RECORD_SESSION}, {FACTOR_PLACE, RECORD_PLACE},
                   {FACTOR_LOT, RECORD_LOT},         {FACTOR_BATCH, RECORD_BATCH}};
    enum { PARENTS = 1, LONGEST_LINE = 64 };
    enum status status = STATUS_OK;

    filling->factors = arena_array(filling->arena, FACTOR_KINDS, sizeof *filling->factors);
    filling->cooks = arena_array(filling->arena, COOKS_KEPT, sizeof *filling->cooks);
    if (filling->factors == NULL || filling->cooks == NULL)
        return STATUS_MEMORY;
    for (size_t k = 0; k < sizeof records / sizeof *records && status == STATUS_OK; k++)
        status = add_records(filling, records[k].kind, records[k].record);
    if (status == STATUS_OK)
        status = add_ancestors(filling, FACTOR_PARENT, PARENTS);
    if (status == STATUS_OK)
        status = add_ancestors(filling, FACTOR_LINE, LONGEST_LINE);
    if (status == STATUS_OK)
        status = add_words(filling, FACTOR_POSITION);
    if (status == STATUS_OK)
        status = add_words(filling, FACTOR_VESSEL);
    if (status == STATUS_OK)
        status = add_bands(filling, FACTOR_LETHALITY, &bands_lethality);
    if (status == STATUS_OK)
        status = add_bands(filling, FACTOR_MOISTURE, &bands_moisture);
    if (status == STATUS_OK)
        status = add_bands(filling, FACTOR_DOSE, &bands_dose);
    return status == STATUS_OK ? add_temperatures(filling) : status;
}

/* ==== dataset journal ========================================================================= */

/* All vessels of a journal in one table. */

static const void *record_at(const struct records *records, size_t index)
{
    return (const char *)records->rows + index * records->size;
}

/* The index of the record with an id, by halving; SIZE_MAX. The first member of each is its id. */
static size_t record_index(const struct records *records, int64_t id)
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

static const void *record_of(const struct filling *filling, enum record record, int64_t id)
{
    size_t index = id != 0 ? record_index(&filling->of[record], id) : SIZE_MAX;
    return index != SIZE_MAX ? record_at(&filling->of[record], index) : NULL;
}

static const struct batch *batch_of(const struct filling *filling, size_t i)
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
    struct arena *scratch = arena_new();
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

/* ==== dataset ================================================================================= */

static const struct kind {
    const char *name;
    enum scope scope;
    enum factor_kind origin;
    bool control;
} kinds[FACTOR_KINDS] = {
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
    [FACTOR_OTHER] = {"column", SCOPE_VESSEL, FACTOR_OTHER, false},
};

const char *factor_kind_name(enum factor_kind kind)
{
    return kinds[kind].name;
}

enum scope factor_kind_scope(enum factor_kind kind)
{
    return kinds[kind].scope;
}

enum factor_kind factor_kind_origin(enum factor_kind kind)
{
    return kinds[kind].origin;
}

bool factor_kind_control(enum factor_kind kind)
{
    return kinds[kind].control;
}

size_t dataset_factor(const struct dataset *dataset, enum factor_kind kind)
{
    size_t at = 0;
    while (at < dataset->factor_count && dataset->factors[at].kind != kind)
        at++;
    return at;
}
