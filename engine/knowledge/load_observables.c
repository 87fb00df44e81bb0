/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Signs, circumstances and tests: questions and their values. */
#include <math.h>
#include <string.h>

#include "knowledge/fields_internal.h"

enum { LEAST_VALUES = 2 };
static const double SHARES_OFF = 0.02; /* how far shares may add up to something else than 1 */

/* ---- choices --------------------------------------------------------------------------------- */

#define WORDS(name, list) static const struct words name = {list, sizeof(list) / sizeof *(list)}

static const char *const kinds[] = {"one", "several", "number"};
static const char *const gates[] = {"none", "unsolicited", "never_asked"};
WORDS(KIND_WORDS, kinds);
WORDS(GATE_WORDS, gates);

/* What a computation may take or records tell, and what it needs: other kinds or units would be wrong numbers. */
static const struct feed {
    const char *name;
    enum observable_kind kind;
    enum dimension dimension;
} FEEDS[FEEDS_COUNT] = {
    [FEEDS_NONE] = {"none", KIND_ONE, DIM_NONE},
    [FEEDS_DAY] = {"day", KIND_NUMBER, DIM_DAYS},
    [FEEDS_COVERAGE] = {"coverage", KIND_NUMBER, DIM_PERCENT},
    [FEEDS_STALLED_DAYS] = {"stalled_days", KIND_NUMBER, DIM_DAYS},
    [FEEDS_SPECIES] = {"species", KIND_ONE, DIM_NONE},
    [FEEDS_GRAIN] = {"grain", KIND_ONE, DIM_NONE},
    [FEEDS_VESSEL] = {"vessel", KIND_ONE, DIM_NONE},
    [FEEDS_COOK_GAUGE] = {"cook_gauge", KIND_NUMBER, DIM_GAUGE_KPA},
    [FEEDS_COOK_MINUTES] = {"cook_minutes", KIND_NUMBER, DIM_MINUTES},
    [FEEDS_ALTITUDE] = {"altitude", KIND_NUMBER, DIM_METRES},
    [FEEDS_LOAD] = {"load", KIND_ONE, DIM_NONE},
    [FEEDS_AIR] = {"air", KIND_ONE, DIM_NONE},
    [FEEDS_VESSEL_MASS] = {"vessel_mass", KIND_NUMBER, DIM_GRAMS},
    [FEEDS_DRY_MASS] = {"dry_mass", KIND_NUMBER, DIM_GRAMS},
    [FEEDS_WATER_MASS] = {"water_mass", KIND_NUMBER, DIM_GRAMS},
    [FEEDS_MOISTURE] = {"moisture", KIND_NUMBER, DIM_PERCENT},
    [FEEDS_TEMPERATURE] = {"temperature", KIND_NUMBER, DIM_CELSIUS},
    [FEEDS_DOSE] = {"dose", KIND_ONE, DIM_NONE},
    [FEEDS_STARTER_KIND] = {"starter_kind", KIND_ONE, DIM_NONE},
    [FEEDS_SHAKEN_DAYS] = {"shaken_days", KIND_NUMBER, DIM_DAYS},
    [FEEDS_COOK_METHOD] = {"cook_method", KIND_ONE, DIM_NONE},
    [FEEDS_SOAK] = {"soak", KIND_NUMBER, DIM_MINUTES},
    [FEEDS_POSITION] = {"position", KIND_ONE, DIM_NONE},
    [FEEDS_STARTER_AGE] = {"starter_age", KIND_NUMBER, DIM_DAYS},
    [FEEDS_WAIT_BEFORE] = {"wait_before", KIND_NUMBER, DIM_DAYS},
    [FEEDS_FIRST_SEEN] = {"first_seen", KIND_NUMBER, DIM_DAYS},
    [FEEDS_PATCHES] = {"patches", KIND_ONE, DIM_NONE},
    [FEEDS_PROGRESS] = {"progress", KIND_ONE, DIM_NONE},
    [FEEDS_SPOT_CHANGE] = {"spot_change", KIND_ONE, DIM_NONE},
    [FEEDS_JUDGED_BEFORE] = {"judged_before", KIND_ONE, DIM_NONE},
    [FEEDS_SIBLINGS_COOK] = {"siblings_cook", KIND_ONE, DIM_NONE},
    [FEEDS_SIBLINGS_LOT] = {"siblings_lot", KIND_ONE, DIM_NONE},
    [FEEDS_SIBLINGS_SESSION] = {"siblings_session", KIND_ONE, DIM_NONE},
    [FEEDS_SIBLINGS_STARTER] = {"siblings_starter", KIND_ONE, DIM_NONE},
    [FEEDS_SIBLINGS_PLACE] = {"siblings_place", KIND_ONE, DIM_NONE},
    [FEEDS_CONTROLS] = {"controls", KIND_ONE, DIM_NONE},
};

static void read_feeds(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    const char *names[FEEDS_COUNT];
    for (size_t i = 0; i < FEEDS_COUNT; i++)
        names[i] = FEEDS[i].name;
    const struct words words = {names, FEEDS_COUNT};
    struct observable *observable = item;
    size_t choice;
    if (!expect_choice(loader, node, field->key, &words, &choice))
        return;
    observable->feeds = (enum feeds)choice;
    if (choice == FEEDS_NONE)
        return;
    if (observable->kind != FEEDS[choice].kind)
        fault_error(&loader->faults, node_at(node), "what feeds '%s' must be of kind '%s'",
                    FEEDS[choice].name, kinds[FEEDS[choice].kind]);
    else if (observable->kind == KIND_NUMBER && observable->dimension != FEEDS[choice].dimension)
        fault_error(&loader->faults, node_at(node), "what feeds '%s' must be in '%s'",
                    FEEDS[choice].name, dimension_name(FEEDS[choice].dimension));
}

static void read_unit(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    const char *names[DIM_COUNT];
    for (size_t i = 0; i < DIM_COUNT; i++)
        names[i] = dimension_name((enum dimension)i);
    const struct words words = {names, DIM_COUNT};
    struct observable *observable = item;
    size_t choice;
    if (expect_choice(loader, node, field->key, &words, &choice))
        observable->dimension = (enum dimension)choice;
}

/* ---- shares and bins ------------------------------------------------------------------------- */

static void check_shares(struct loader *loader, const struct observable *observable,
                         struct position at)
{
    double sum = 0;
    if (observable->kind == KIND_SEVERAL || !observable->value_count)
        return;
    for (size_t i = 0; i < observable->value_count; i++)
        sum += observable->values[i].base;
    if (observable->value_count < LEAST_VALUES)
        fault_error(&loader->faults, at, "'%s' has one value only; a question needs two",
                    observable->id);
    else if (fabs(sum - 1) > SHARES_OFF)
        fault_error(&loader->faults, at,
                    "the bases of '%s' add up to %.3g; exactly one value holds, so they must add "
                    "up to 1",
                    observable->id, sum);
}

/* Bins follow one another from min to max: each begins where the one before it ends. */
static void set_bins(struct loader *loader, struct observable *observable, struct value *values)
{
    double from = observable->min;
    if (observable->min >= observable->max)
        fault_error(&loader->faults, observable->at,
                    "'min' is %g and 'max' is %g; max must be more", observable->min,
                    observable->max);
    if (!(observable->min < observable->max))
        return; /* or one is missing, and told */
    for (size_t i = 0; i < observable->value_count; i++) {
        bool last = i + 1 == observable->value_count;
        values[i].from = from;
        if (last && !isnan(values[i].below))
            fault_error(&loader->faults, values[i].at,
                        "the last bin reaches to 'max'; take 'below' out of it");
        if (last)
            values[i].below = observable->max;
        if (isnan(values[i].below))
            fault_error(&loader->faults, values[i].at,
                        "bin '%s' needs 'below', where the next one begins", values[i].id);
        else if (!(values[i].below > from && values[i].below <= observable->max))
            fault_error(&loader->faults, values[i].at,
                        "bin '%s' goes from %g to below %g; bins must rise from 'min' to 'max'",
                        values[i].id, from, values[i].below);
        else
            from = values[i].below;
    }
}

/* ---- values ---------------------------------------------------------------------------------- */

static const struct field VALUE_FIELDS[] = {
    FIELD("label", REQUIRED, read_text, offsetof(struct value, label)),
    FIELD("look", OPTIONAL, read_text, offsetof(struct value, look)),
    FIELD("base", REQUIRED, read_frequency, offsetof(struct value, base)),
    NUMBER("below", OPTIONAL, offsetof(struct value, below), ANY),
    NUMBER("parameter", OPTIONAL, offsetof(struct value, parameter), ANY),
    FIELD("salient", OPTIONAL, read_flag, offsetof(struct value, salient)),
    FIELD("phrases", OPTIONAL, read_phrases, offsetof(struct value, phrases)),
};
static const struct shape VALUE = SHAPE("a value", VALUE_FIELDS);

static void check_value(struct loader *loader, const struct observable *observable,
                        const struct value *value, const struct node *node)
{
    const struct node *below = node->kind == NODE_MAP ? node_entry(node, "below") : NULL;
    if (!strcmp(value->id, "source"))
        fault_error(&loader->faults, value->at,
                    "a value cannot be called 'source', which ends a block of claims; rename it");
    if (below && observable->kind != KIND_NUMBER)
        fault_error(&loader->faults, node_at(below),
                    "'below' is for the bins of a number; take it out");
    if (value->salient && observable->kind != KIND_SEVERAL)
        fault_error(
            &loader->faults, value->at,
            "'salient' is for 'kind: several', whose values are spoken of one by one; take it out");
    if (!isnan(value->parameter) && observable->feeds == FEEDS_NONE)
        fault_error(&loader->faults, value->at,
                    "'parameter' is for what feeds a computation; take it out or add 'feeds'");
}

static void read_values(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct observable *observable = item;
    size_t errors = loader->faults.errors;
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    if (node->count > RULES_MAX_VALUES) {
        fault_error(&loader->faults, node_at(node), "%u values; there may be %d at most",
                    (unsigned)node->count, RULES_MAX_VALUES);
        return;
    }
    struct value *values = arena_array(loader->keep, node->count, sizeof *values);
    if (!values)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct value *value = &values[count];
        if (!expect_id(loader, entry->key))
            continue;
        *value = (struct value){.id = entry->key->text,
                                .at = node_at(entry->key),
                                .from = NAN,
                                .below = NAN,
                                .parameter = NAN};
        shape_read(loader, &VALUE, entry, value);
        check_value(loader, observable, value, entry);
        count++;
    }
    observable->values = values;
    observable->value_count = count;
    if (loader->faults.errors != errors)
        return; /* sums and bins of what is broken mean nothing */
    check_shares(loader, observable, node_at(node->key));
    if (observable->kind == KIND_NUMBER)
        set_bins(loader, observable, values);
}

/* ---- values from a list of species, grains or vessels ---------------------------------------- */

static const char *const lists[] = {"species", "grains", "vessels"};
WORDS(LIST_WORDS, lists);

static struct value value_of_species(const struct species *species)
{
    return (struct value){.id = species->id,
                          .label = species->name,
                          .base = species->base,
                          .phrases = species->phrases,
                          .at = species->at};
}

static struct value value_of_grain(const struct grain *grain)
{
    return (struct value){.id = grain->id,
                          .label = grain->name,
                          .base = grain->base,
                          .phrases = grain->phrases,
                          .at = grain->at};
}

static struct value value_of_vessel(const struct vessel_kind *vessel)
{
    return (struct value){.id = vessel->id,
                          .label = vessel->name,
                          .base = vessel->base,
                          .phrases = vessel->phrases,
                          .at = vessel->at};
}

static void read_values_from(struct loader *loader, const struct field *field,
                             const struct node *node, void *item)
{
    const struct rules *rules = loader->rules;
    const size_t counts[] = {rules->species_count, rules->grain_count, rules->vessel_count};
    struct observable *observable = item;
    size_t list;
    if (!expect_choice(loader, node, field->key, &LIST_WORDS, &list))
        return;
    if (counts[list] > RULES_MAX_VALUES) {
        fault_error(&loader->faults, node_at(node), "%zu %s; there may be %d at most", counts[list],
                    lists[list], RULES_MAX_VALUES);
        return;
    }
    struct value *values = arena_array(loader->keep, counts[list], sizeof *values);
    double sum = 0;
    for (size_t i = 0; values && i < counts[list]; i++) {
        values[i] = list == 0   ? value_of_species(&rules->species[i])
                    : list == 1 ? value_of_grain(&rules->grains[i])
                                : value_of_vessel(&rules->vessels[i]);
        values[i].from = values[i].below = values[i].parameter = NAN;
        sum += values[i].base;
    }
    /* Shares of a list need not add up to 1: an overlay may add to it. */
    for (size_t i = 0; values && i < counts[list] && sum > 0; i++)
        values[i].base /= sum;
    observable->values = values;
    observable->value_count = values ? counts[list] : 0;
}

/* ---- observables ----------------------------------------------------------------------------- */

static const struct field FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, offsetof(struct observable, cites)),
    FIELD("label", REQUIRED, read_text, offsetof(struct observable, label)),
    FIELD("ask", REQUIRED, read_question, offsetof(struct observable, ask)),
    FIELD("look", OPTIONAL, read_text, offsetof(struct observable, look)),
    FIELD("why", OPTIONAL, read_text, offsetof(struct observable, why)),
    CHOICE("kind", REQUIRED, offsetof(struct observable, kind), KIND_WORDS),
    OWN("unit", OPTIONAL, read_unit),
    NUMBER("min", OPTIONAL, offsetof(struct observable, min), ANY),
    NUMBER("max", OPTIONAL, offsetof(struct observable, max), ANY),
    OWN("feeds", OPTIONAL, read_feeds),
    FIELD("lasts", OPTIONAL, read_flag, offsetof(struct observable, lasts)),
    CHOICE("gate", OPTIONAL, offsetof(struct observable, gate), GATE_WORDS),
    NUMBER("effort", OPTIONAL, offsetof(struct observable, effort), NOT_NEGATIVE),
    NUMBER("delay_days", OPTIONAL, offsetof(struct observable, delay_days), NOT_NEGATIVE),
    REFERENCE("group", OPTIONAL, offsetof(struct observable, group), ITEM_GROUP),
    OWN("values", OPTIONAL, read_values),
    OWN("values_from", OPTIONAL, read_values_from),
    LATER("phrases", OPTIONAL), /* once it is known what {q} stands for */
};
static const struct shape SIGN = SHAPE("a sign", FIELDS);
static const struct shape CIRCUMSTANCE = SHAPE("a circumstance", FIELDS);
static const struct shape TEST = SHAPE("a test", FIELDS);

static void read_own_phrases(struct loader *loader, struct observable *observable,
                             const struct node *node)
{
    static const struct field phrases =
        FIELD("phrases", OPTIONAL, read_phrases, offsetof(struct observable, phrases));
    const struct node *entry = node_entry(node, "phrases");
    if (!entry || observable->kind != KIND_NUMBER)
        return;
    loader->quantity = observable->dimension;
    read_phrases(loader, &phrases, entry, observable);
    loader->quantity = DIM_COUNT;
}

/* What a kind needs and what it has no use for. */
static void check_keys(struct loader *loader, const struct observable *observable,
                       const struct node *node)
{
    static const char *const of_numbers[] = {"phrases", "unit", "min", "max"};
    bool number = observable->kind == KIND_NUMBER;
    for (size_t i = 0; i < 4; i++) {
        const struct node *entry = node_entry(node, of_numbers[i]);
        if (number && !entry && i > 0)
            fault_error(&loader->faults, observable->at, "a number needs '%s'; add it",
                        of_numbers[i]);
        else if (!number && entry)
            fault_error(&loader->faults, node_at(entry->key),
                        "'%s' is for numbers only; take it out, or make it 'kind: number'",
                        of_numbers[i]);
    }
    const struct node *delay = node_entry(node, "delay_days");
    if (delay && observable->class != CLASS_TEST)
        fault_error(&loader->faults, node_at(delay->key),
                    "'delay_days' is for tests only; take it out");
    bool own = node_entry(node, "values") != NULL;
    const struct node *from = node_entry(node, "values_from");
    if (!own && !from)
        fault_error(&loader->faults, observable->at, "'%s' needs 'values'; add them",
                    observable->id);
    if (own && from)
        fault_error(&loader->faults, node_at(from->key),
                    "'values' and 'values_from' stand side by side; keep one");
    if (from && observable->kind != KIND_ONE)
        fault_error(&loader->faults, node_at(from->key), "'values_from' is for 'kind: one' only");
}

/* What a computation takes from a list must be of that list, index for index. */
static void check_feeds(struct loader *loader, const struct observable *observable,
                        const struct node *node)
{
    if (observable->feeds < FEEDS_SPECIES || observable->feeds > FEEDS_VESSEL)
        return;
    const char *list = lists[observable->feeds - FEEDS_SPECIES];
    const struct node *from = node_entry(node, "values_from");
    if (!from || from->kind != NODE_TEXT || strcmp(from->text, list) != 0)
        fault_error(&loader->faults, observable->at, "what feeds '%s' must have 'values_from: %s'",
                    FEEDS[observable->feeds].name, list);
}

/* ---- one observable -------------------------------------------------------------------------- */

static void set_feeder(struct loader *loader, size_t index)
{
    const struct observable *observable = &loader->made->observables[index];
    int *feeder = &loader->made->feeder[observable->feeds];
    if (observable->feeds == FEEDS_NONE)
        return;
    if (*feeder != RULES_NONE)
        fault_error(&loader->faults, observable->at, "'%s' and '%s' both feed '%s'; one may",
                    loader->made->observables[*feeder].id, observable->id,
                    FEEDS[observable->feeds].name);
    *feeder = (int)index;
}

static void load_one(struct loader *loader, const struct item *item, struct observable *observable)
{
    static const struct shape *const shapes[] = {&SIGN, &CIRCUMSTANCE, &TEST};
    *observable = (struct observable){.id = item->id,
                                      .class = item->class,
                                      .at = item->at,
                                      .lasts = item->class != CLASS_SIGN,
                                      .min = NAN,
                                      .max = NAN,
                                      .group = RULES_NONE,
                                      .effort = 1};
    shape_read(loader, shapes[item->class], item->node, observable);
    if (item->node->kind != NODE_MAP)
        return;
    read_own_phrases(loader, observable, item->node);
    check_keys(loader, observable, item->node);
    check_feeds(loader, observable, item->node);
}

void load_observables(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_OBSERVABLE];
    struct observable *observables = items_array(loader, ITEM_OBSERVABLE, sizeof *observables);
    loader->made->observables = observables;
    loader->made->observable_count = observables ? items->count : 0;
    if (observables)
        loader->value_used = arena_array(loader->scratch, items->count, sizeof(uint32_t));
    for (size_t i = 0; i < loader->made->observable_count; i++) {
        load_one(loader, &items->list[i], &observables[i]);
        set_feeder(loader, i);
    }
}
