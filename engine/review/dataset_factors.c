/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the vessels of a journal share: records, words, and what is computed from them. */
#include <math.h>
#include <string.h>

#include "review/bands_internal.h"
#include "review/filling_internal.h"

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

static uint64_t hash_of(const void *bytes, size_t length)
{
    const unsigned char *byte = bytes;
    uint64_t hashed = UINT64_C(0xcbf29ce484222325); /* FNV-1a */
    for (size_t i = 0; i < length; i++)
        hashed = (hashed ^ byte[i]) * UINT64_C(0x100000001b3);
    return hashed;
}

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
    struct cook_kept *kept = &filling->cooks[hash_of(&key, sizeof key) % COOKS_KEPT];
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
