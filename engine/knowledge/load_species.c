/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is grown, on what, in what. */
#include <math.h>
#include <string.h>

#include "knowledge/fields_internal.h"

#define NAMED_BY(type) FIELD("phrases", OPTIONAL, read_phrases, offsetof(type, phrases))

/* ---- species --------------------------------------------------------------------------------- */

static const struct field GROWTH_FIELDS[] = {
    FIELD("source", OPTIONAL, read_citation, offsetof(struct growth, cites)),
    NUMBER("t_min", OPTIONAL, offsetof(struct growth, t_min), ANY),
    NUMBER("t_opt", OPTIONAL, offsetof(struct growth, t_opt), ANY),
    NUMBER("t_max", OPTIONAL, offsetof(struct growth, t_max), ANY),
    PAIR("rate", OPTIONAL, offsetof(struct growth, rate_lo), offsetof(struct growth, rate_hi),
         POSITIVE),
    PAIR("lag", OPTIONAL, offsetof(struct growth, lag_lo), offsetof(struct growth, lag_hi),
         NOT_NEGATIVE),
    PAIR("full_days", OPTIONAL, offsetof(struct growth, full_lo), offsetof(struct growth, full_hi),
         POSITIVE),
};
static const struct shape GROWTH = SHAPE("'growth'", GROWTH_FIELDS);

static void read_growth(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct species *species = item;
    struct growth *growth = &species->growth;
    (void)field;
    growth->cites = species->cites;
    shape_read(loader, &GROWTH, node, growth);
    if (growth->t_min >= growth->t_opt || growth->t_opt >= growth->t_max)
        fault_error(&loader->faults, node_at(node),
                    "'t_min', 't_opt' and 't_max' are %g, %g and %g; they must rise", growth->t_min,
                    growth->t_opt, growth->t_max);
}

static const struct field SPECIES_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, offsetof(struct species, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct species, name)),
    FIELD("latin", REQUIRED, read_text, offsetof(struct species, latin)),
    NUMBER("base", REQUIRED, offsetof(struct species, base), POSITIVE),
    NAMED_BY(struct species),
    OWN("growth", OPTIONAL, read_growth),
    LATER("normal", OPTIONAL), /* load_normal, once findings and signs are known */
    FIELD("note", OPTIONAL, read_text, offsetof(struct species, note)),
};
static const struct shape SPECIES = SHAPE("a species", SPECIES_FIELDS);

void load_species(struct loader *loader)
{
    const struct growth unknown = {.t_min = NAN,
                                   .t_opt = NAN,
                                   .t_max = NAN,
                                   .rate_lo = NAN,
                                   .rate_hi = NAN,
                                   .lag_lo = NAN,
                                   .lag_hi = NAN,
                                   .full_lo = NAN,
                                   .full_hi = NAN};
    const struct item_list *items = &loader->items[ITEM_SPECIES];
    struct species *species = items_array(loader, ITEM_SPECIES, sizeof *species);
    for (size_t i = 0; species && i < items->count; i++) {
        species[i] =
            (struct species){.id = items->list[i].id, .at = items->list[i].at, .growth = unknown};
        shape_read(loader, &SPECIES, items->list[i].node, &species[i]);
    }
    loader->species = species;
    loader->made->species = species;
    loader->made->species_count = species ? items->count : 0;
}

/* ---- what is normal on a species ------------------------------------------------------------- */

struct normals {
    struct normal_look *list;
    size_t count, room;
};

static bool normals_add(struct loader *loader, struct normals *normals, size_t finding,
                        struct claims claims)
{
    if (normals->count + claims.count > normals->room) {
        size_t room = (normals->count + claims.count) * 2;
        struct normal_look *list =
            arena_grow(loader->keep, normals->list, normals->count, room, sizeof *list);
        if (!list)
            return false;
        normals->list = list;
        normals->room = room;
    }
    for (size_t i = 0; i < claims.count; i++)
        normals->list[normals->count++] = (struct normal_look){finding, claims.list[i]};
    return true;
}

/* {finding: {sign: {value: how often}, source: ...}} */
static struct normals normals_read(struct loader *loader, const struct node *node,
                                   struct citation inherited)
{
    struct normals normals = {0};
    if (!expect_kind(loader, node, NODE_MAP, "normal"))
        return normals;
    inherited = citation_of(loader, node, inherited);
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        size_t finding;
        if (!strcmp(entry->key->text, "source") ||
            !find_item(loader, ITEM_FINDING, entry->key, &finding))
            continue;
        struct claims claims = claims_read(loader, entry, CLAIM_FREQUENCY, inherited);
        if (!normals_add(loader, &normals, finding, claims))
            break;
    }
    return normals;
}

void load_normal(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_SPECIES];
    for (size_t i = 0; i < loader->made->species_count; i++) {
        const struct node *map = items->list[i].node;
        const struct node *node = map->kind == NODE_MAP ? node_entry(map, "normal") : NULL;
        if (!node)
            continue;
        struct species *species = &loader->species[i];
        struct normals normals = normals_read(loader, node, species->cites);
        species->normal = normals.list;
        species->normal_count = normals.count;
    }
}

/* ---- grains ---------------------------------------------------------------------------------- */

static const struct field GRAIN_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, offsetof(struct grain, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct grain, name)),
    NUMBER("base", REQUIRED, offsetof(struct grain, base), POSITIVE),
    NAMED_BY(struct grain),
    NUMBER("moisture", REQUIRED, offsetof(struct grain, moisture), PER_CENT),
    PAIR("target", REQUIRED, offsetof(struct grain, target_lo), offsetof(struct grain, target_hi),
         PER_CENT),
    NUMBER("raw_limit", OPTIONAL, offsetof(struct grain, raw_limit), PER_CENT),
    NUMBER("bulk", REQUIRED, offsetof(struct grain, bulk), POSITIVE),
    FIELD("note", OPTIONAL, read_text, offsetof(struct grain, note)),
};
static const struct shape GRAIN = SHAPE("a grain", GRAIN_FIELDS);

void load_grains(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_GRAIN];
    struct grain *grains = items_array(loader, ITEM_GRAIN, sizeof *grains);
    for (size_t i = 0; grains && i < items->count; i++) {
        grains[i] =
            (struct grain){.id = items->list[i].id, .at = items->list[i].at, .raw_limit = NAN};
        shape_read(loader, &GRAIN, items->list[i].node, &grains[i]);
    }
    loader->made->grains = grains;
    loader->made->grain_count = grains ? items->count : 0;
}

/* ---- vessels --------------------------------------------------------------------------------- */

static const char *const shapes[] = {"cylinder", "brick"};
static const struct words SHAPE_WORDS = {shapes, 2};

static void read_sides(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    struct vessel_kind *vessel = item;
    if (node->kind != NODE_LIST || node->count != 3) {
        fault_error(&loader->faults, node_at(node),
                    "'%s' must be a list of three lengths in metres", field->key);
        return;
    }
    const struct node *entry = node->first;
    for (size_t i = 0; i < 3; i++, entry = entry->next)
        expect_number(loader, entry, field->key, &POSITIVE, &vessel->sides[i]);
}

static const struct field VESSEL_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, offsetof(struct vessel_kind, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct vessel_kind, name)),
    NUMBER("base", REQUIRED, offsetof(struct vessel_kind, base), POSITIVE),
    NAMED_BY(struct vessel_kind),
    CHOICE("shape", REQUIRED, offsetof(struct vessel_kind, shape), SHAPE_WORDS),
    NUMBER("litres", OPTIONAL, offsetof(struct vessel_kind, litres), POSITIVE),
    NUMBER("radius", OPTIONAL, offsetof(struct vessel_kind, radius), POSITIVE),
    NUMBER("height", OPTIONAL, offsetof(struct vessel_kind, height), POSITIVE),
    OWN("sides", OPTIONAL, read_sides),
    NUMBER("mass", REQUIRED, offsetof(struct vessel_kind, mass_kg), POSITIVE),
    NUMBER("wall_h", REQUIRED, offsetof(struct vessel_kind, wall_h), POSITIVE),
};
static const struct shape VESSEL = SHAPE("a vessel", VESSEL_FIELDS);

/* A shape has its own measures and not the other's. */
static void check_measures(struct loader *loader, const struct vessel_kind *vessel,
                           const struct node *node)
{
    static const struct {
        const char *key;
        enum vessel_shape shape;
    } measures[] = {{"radius", SHAPE_CYLINDER}, {"height", SHAPE_CYLINDER}, {"sides", SHAPE_BRICK}};
    const struct node *shape = node->kind == NODE_MAP ? node_entry(node, "shape") : NULL;
    if (!shape || shape->kind != NODE_TEXT || strcmp(shape->text, shapes[vessel->shape]) != 0)
        return; /* told already */
    for (size_t i = 0; i < sizeof measures / sizeof *measures; i++) {
        bool given = node_entry(node, measures[i].key) != NULL;
        if (given != (measures[i].shape == vessel->shape))
            fault_error(&loader->faults, vessel->at, "a %s has %s '%s'; %s", shapes[vessel->shape],
                        given ? "no" : "a", measures[i].key, given ? "take it out" : "add it");
    }
}

void load_vessels(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_VESSEL];
    struct vessel_kind *vessels = items_array(loader, ITEM_VESSEL, sizeof *vessels);
    for (size_t i = 0; vessels && i < items->count; i++) {
        vessels[i] = (struct vessel_kind){.id = items->list[i].id,
                                          .at = items->list[i].at,
                                          .litres = NAN,
                                          .radius = NAN,
                                          .height = NAN,
                                          .sides = {NAN, NAN, NAN}};
        shape_read(loader, &VESSEL, items->list[i].node, &vessels[i]);
        check_measures(loader, &vessels[i], items->list[i].node);
    }
    loader->made->vessels = vessels;
    loader->made->vessel_count = vessels ? items->count : 0;
}
