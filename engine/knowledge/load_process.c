/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the process physics is told: organisms, the cook, starters, the forecast, moves. */
#include <math.h>
#include <string.h>

#include "knowledge/fields_internal.h"

/* ---- organisms ------------------------------------------------------------------------------- */

static const char *const roles[] = {"spore_former", "fungus", "indicator"};
static const struct words ROLE_WORDS = {roles, sizeof roles / sizeof *roles};

static const struct field ORGANISM_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, offsetof(struct organism, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct organism, name)),
    CHOICE("role", REQUIRED, offsetof(struct organism, role), ROLE_WORDS),
    RANGE("d", REQUIRED, offsetof(struct organism, d_minutes), POSITIVE),
    NUMBER("reference", REQUIRED, offsetof(struct organism, reference), ANY),
    RANGE("z", REQUIRED, offsetof(struct organism, z), POSITIVE),
    RANGE("per_gram", REQUIRED, offsetof(struct organism, per_gram), NOT_NEGATIVE),
    FIELD("note", OPTIONAL, read_text, offsetof(struct organism, note)),
};
static const struct shape ORGANISM = SHAPE("an organism", ORGANISM_FIELDS);

static void load_organisms(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_ORGANISM];
    struct organism *organisms = items_array(loader, ITEM_ORGANISM, sizeof *organisms);
    for (size_t i = 0; organisms && i < items->count; i++) {
        organisms[i] = (struct organism){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &ORGANISM, items->list[i].node, &organisms[i]);
    }
    loader->made->organisms = organisms;
    loader->made->organism_count = organisms ? items->count : 0;
}

/* ---- values of what feeds a computation ------------------------------------------------------ */

/* What feeds it, or NULL, told: then the file speaks of values that nothing has. */
static const struct observable *fed_by(struct loader *loader, enum feeds feeds, const char *name,
                                       struct position at, size_t *index)
{
    int feeder = loader->rules->feeder[feeds];
    if (feeder == RULES_NONE) {
        fault_error(&loader->faults, at, "no circumstance feeds '%s'; give one 'feeds: %s'", name,
                    name);
        return NULL;
    }
    *index = (size_t)feeder;
    return &loader->rules->observables[feeder];
}

/* ---- the cook -------------------------------------------------------------------------------- */

#define COOK(member) offsetof(struct cook_rules, member)

static void read_packing(struct loader *loader, const struct field *field, const struct node *node,
                         void *item)
{
    struct cook_rules *cook = item;
    size_t index;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    const struct observable *load = fed_by(loader, FEEDS_LOAD, "load", node_at(node), &index);
    struct packing *packings = arena_array(loader->keep, node->count, sizeof *packings);
    if (!load || !packings)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct packing *packing = &packings[count];
        if (!find_value(loader, load, entry->key, &packing->value))
            continue;
        use_values(loader, index, UINT32_C(1) << packing->value);
        count += expect_number(loader, entry, entry->key->text, &POSITIVE, &packing->thickness);
    }
    cook->packings = packings;
    cook->packing_count = count;
}

static const struct field JUDGED_FIELDS[] = {
    NUMBER("f0", REQUIRED, COOK(judged_f0), POSITIVE),
    NUMBER("diffusivity", REQUIRED, COOK(judged_diffusivity), POSITIVE),
};
static const struct shape JUDGED = SHAPE("'judged'", JUDGED_FIELDS);

static const struct field PROBE_FIELDS[] = {
    NUMBER("doubt", REQUIRED, COOK(probe_doubt), NOT_NEGATIVE),
    NUMBER("gap", REQUIRED, COOK(probe_gap), POSITIVE),
};
static const struct shape PROBE = SHAPE("'probe'", PROBE_FIELDS);

static const struct field COOK_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, COOK(cites)),
    RANGE("diffusivity", REQUIRED, COOK(diffusivity), POSITIVE),
    INNER("judged", OPTIONAL, JUDGED),
    NUMBER("heat_capacity", OPTIONAL, COOK(heat_capacity), POSITIVE),
    RANGE("come_up", OPTIONAL, COOK(come_up), NOT_NEGATIVE),
    NUMBER("come_up_doubt", OPTIONAL, COOK(come_up_doubt), SHARE),
    NUMBER("cool", OPTIONAL, COOK(cool), NOT_NEGATIVE),
    NUMBER("start", OPTIONAL, COOK(start), ANY),
    RANGE("air", OPTIONAL, COOK(air), SHARE),
    NUMBER("air_doubt", OPTIONAL, COOK(air_doubt), POSITIVE),
    NUMBER("target", OPTIONAL, COOK(target), CHANCE),
    NUMBER("rated", OPTIONAL, COOK(rated), POSITIVE),
    INNER("probe", OPTIONAL, PROBE),
    OWN("packing", OPTIONAL, read_packing),
    FIELD("no_pressure", OPTIONAL, read_condition, COOK(no_pressure)),
};
static const struct shape COOK_SHAPE = SHAPE("'cook'", COOK_FIELDS);

static void load_cook(struct loader *loader)
{
    const struct range unknown = {NAN, NAN, NAN};
    const struct item *item = catalogue_whole(loader, "cook");
    loader->made->cook = (struct cook_rules){.diffusivity = unknown,
                                             .judged_diffusivity = NAN,
                                             .judged_f0 = NAN,
                                             .heat_capacity = NAN,
                                             .come_up = unknown,
                                             .come_up_doubt = NAN,
                                             .cool = NAN,
                                             .start = NAN,
                                             .air = unknown,
                                             .air_doubt = NAN,
                                             .target = NAN,
                                             .rated = NAN,
                                             .probe_doubt = NAN,
                                             .probe_gap = NAN};
    if (item)
        shape_read(loader, &COOK_SHAPE, item->node, &loader->made->cook);
}

/* ---- starters -------------------------------------------------------------------------------- */

static const char *const units[] = {"ml", "grams", "pieces"};
static const struct words UNIT_WORDS = {units, sizeof units / sizeof *units};

static const struct field STARTER_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, offsetof(struct starter_kind, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct starter_kind, name)),
    CHOICE("unit", REQUIRED, offsetof(struct starter_kind, unit), UNIT_WORDS),
    NUMBER("usual", REQUIRED, offsetof(struct starter_kind, usual), POSITIVE),
    RANGE("points", REQUIRED, offsetof(struct starter_kind, points), POSITIVE),
    RANGE("lag", REQUIRED, offsetof(struct starter_kind, lag), NOT_NEGATIVE),
};
static const struct shape STARTER = SHAPE("a starter", STARTER_FIELDS);

static void load_starters(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_STARTER];
    struct starter_kind *starters = items_array(loader, ITEM_STARTER, sizeof *starters);
    for (size_t i = 0; starters && i < items->count; i++) {
        const struct item *item = &items->list[i];
        size_t index;
        starters[i] = (struct starter_kind){.id = item->id, .at = item->at};
        shape_read(loader, &STARTER, item->node, &starters[i]);
        const struct observable *kind =
            fed_by(loader, FEEDS_STARTER_KIND, "starter_kind", item->at, &index);
        if (kind && find_value(loader, kind, item->node->key, &starters[i].value))
            use_values(loader, index, UINT32_C(1) << starters[i].value);
    }
    loader->made->starters = starters;
    loader->made->starter_count = starters ? items->count : 0;
}

/* ---- the forecast ---------------------------------------------------------------------------- */

#define FORECAST(member) offsetof(struct forecast_rules, member)

static const struct field SHAKE_FIELDS[] = {
    PAIR("between", REQUIRED, FORECAST(shake_lo), FORECAST(shake_hi), PER_CENT),
    NUMBER("factor", REQUIRED, FORECAST(shake_factor), POSITIVE),
    NUMBER("pause", REQUIRED, FORECAST(shake_pause), NOT_NEGATIVE),
};
static const struct shape SHAKE = SHAPE("'shake'", SHAKE_FIELDS);

static const struct field FORECAST_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, FORECAST(cites)),
    NUMBER("kernels", OPTIONAL, FORECAST(kernels), POSITIVE),
    NUMBER("temperature", OPTIONAL, FORECAST(temperature), ANY),
    NUMBER("temperature_doubt", OPTIONAL, FORECAST(temperature_doubt), NOT_NEGATIVE),
    INNER("shake", OPTIONAL, SHAKE),
    NUMBER("look_every", OPTIONAL, FORECAST(look_every), POSITIVE),
    NUMBER("coverage_doubt", OPTIONAL, FORECAST(coverage_doubt), POSITIVE),
    NUMBER("dose_usual", OPTIONAL, FORECAST(dose_usual), POSITIVE),
    NUMBER("moisture_doubt", OPTIONAL, FORECAST(moisture_doubt), NOT_NEGATIVE),
    NUMBER("fill_most", OPTIONAL, FORECAST(fill_most), SHARE),
};
static const struct shape FORECAST_SHAPE = SHAPE("'forecast'", FORECAST_FIELDS);

static void load_forecast(struct loader *loader)
{
    const struct item *item = catalogue_whole(loader, "forecast");
    loader->made->forecast = (struct forecast_rules){.kernels = NAN,
                                                     .temperature_doubt = NAN,
                                                     .temperature = NAN,
                                                     .shake_lo = NAN,
                                                     .shake_hi = NAN,
                                                     .shake_factor = NAN,
                                                     .shake_pause = NAN,
                                                     .look_every = NAN,
                                                     .coverage_doubt = NAN,
                                                     .dose_usual = NAN,
                                                     .moisture_doubt = NAN,
                                                     .fill_most = NAN};
    if (item)
        shape_read(loader, &FORECAST_SHAPE, item->node, &loader->made->forecast);
}

/* ---- moves ----------------------------------------------------------------------------------- */

static const struct field MOVE_FIELDS[] = {
    NUMBER("usual", REQUIRED, offsetof(struct move, usual), CHANCE),
    NUMBER("trust", REQUIRED, offsetof(struct move, trust), NOT_NEGATIVE),
    NUMBER("most", REQUIRED, offsetof(struct move, most), NOT_NEGATIVE),
};
static const struct shape MOVE = SHAPE("a move", MOVE_FIELDS);

static void load_moves(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_MOVE];
    for (size_t i = 0; i < items->count; i++) {
        const struct node *node = items->list[i].node;
        size_t moved;
        if (expect_choice(loader, node->key, "moves", &MOVED_WORDS, &moved))
            shape_read(loader, &MOVE, node, &loader->made->moves[moved]);
    }
}

void load_process(struct loader *loader)
{
    load_organisms(loader);
    load_cook(loader);
    load_starters(loader);
    load_forecast(loader);
    load_moves(loader);
}
