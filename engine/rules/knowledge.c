/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "rules/fields.h"

/* ==== load observables ======================================================================== */

/* Signs, circumstances and tests: questions and their values. */

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
        node_error(loader, node, "what feeds '%s' must be of kind '%s'", FEEDS[choice].name,
                   kinds[FEEDS[choice].kind]);
    else if (observable->kind == KIND_NUMBER && observable->dimension != FEEDS[choice].dimension)
        node_error(loader, node, "what feeds '%s' must be in '%s'", FEEDS[choice].name,
                   dimension_name(FEEDS[choice].dimension));
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
        load_error(loader, at, "'%s' has one value only; a question needs two", observable->id);
    else if (fabs(sum - 1) > SHARES_OFF)
        load_error(loader, at,
                   "the bases of '%s' add up to %.3g; exactly one value holds, so they must add "
                   "up to 1",
                   observable->id, sum);
}

/* Bins follow one another from min to max: each begins where the one before it ends. */
static void set_bins(struct loader *loader, struct observable *observable, struct value *values)
{
    double from = observable->min;
    if (observable->min >= observable->max)
        load_error(loader, observable->at, "'min' is %g and 'max' is %g; max must be more",
                   observable->min, observable->max);
    if (!(observable->min < observable->max))
        return; /* or one is missing, and told */
    for (size_t i = 0; i < observable->value_count; i++) {
        bool last = i + 1 == observable->value_count;
        values[i].from = from;
        if (last && !isnan(values[i].below))
            load_error(loader, values[i].at,
                       "the last bin reaches to 'max'; take 'below' out of it");
        if (last)
            values[i].below = observable->max;
        if (isnan(values[i].below))
            load_error(loader, values[i].at, "bin '%s' needs 'below', where the next one begins",
                       values[i].id);
        else if (!(values[i].below > from && values[i].below <= observable->max))
            load_error(loader, values[i].at,
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
        load_error(loader, value->at,
                   "a value cannot be called 'source', which ends a block of claims; rename it");
    if (below && observable->kind != KIND_NUMBER)
        node_error(loader, below, "'below' is for the bins of a number; take it out");
    if (value->salient && observable->kind != KIND_SEVERAL)
        load_error(
            loader, value->at,
            "'salient' is for 'kind: several', whose values are spoken of one by one; take it out");
    if (!isnan(value->parameter) && observable->feeds == FEEDS_NONE)
        load_error(loader, value->at,
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
        node_error(loader, node, "%u values; there may be %d at most", (unsigned)node->count,
                   RULES_MAX_VALUES);
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
        node_error(loader, node, "%zu %s; there may be %d at most", counts[list], lists[list],
                   RULES_MAX_VALUES);
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
            load_error(loader, observable->at, "a number needs '%s'; add it", of_numbers[i]);
        else if (!number && entry)
            node_error(loader, entry->key,
                       "'%s' is for numbers only; take it out, or make it 'kind: number'",
                       of_numbers[i]);
    }
    const struct node *delay = node_entry(node, "delay_days");
    if (delay && observable->class != CLASS_TEST)
        node_error(loader, delay->key, "'delay_days' is for tests only; take it out");
    bool own = node_entry(node, "values") != NULL;
    const struct node *from = node_entry(node, "values_from");
    if (!own && !from)
        load_error(loader, observable->at, "'%s' needs 'values'; add them", observable->id);
    if (own && from)
        node_error(loader, from->key, "'values' and 'values_from' stand side by side; keep one");
    if (from && observable->kind != KIND_ONE)
        node_error(loader, from->key, "'values_from' is for 'kind: one' only");
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
        load_error(loader, observable->at, "what feeds '%s' must have 'values_from: %s'",
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
        load_error(loader, observable->at, "'%s' and '%s' both feed '%s'; one may",
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

/* ==== load findings =========================================================================== */

/* What may be in a vessel. */

static void read_looks(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    (void)field;
    struct finding *finding = item;
    struct claims claims = claims_read(loader, node, CLAIM_FREQUENCY, finding->cites);
    finding->looks = claims.list;
    finding->look_count = claims.count;
}

static void read_differs(struct loader *loader, const struct field *field, const struct node *node,
                         void *item)
{
    struct finding *finding = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct difference *differs = arena_array(loader->keep, node->count, sizeof *differs);
    if (!differs)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct difference *difference = &differs[count];
        if (find_item(loader, ITEM_FINDING, entry->key, &difference->from) &&
            expect_text(loader, entry, entry->key->text, &difference->how))
            count++;
    }
    finding->differs = differs;
    finding->differ_count = count;
}

#define STEPS(name, action)                                                                        \
    LIST(name, OPTIONAL, read_texts, offsetof(struct finding, steps[action]),                      \
         offsetof(struct finding, step_count[action]))

static const struct field DO_FIELDS[] = {
    STEPS("keep", ACTION_KEEP),
    STEPS("isolate", ACTION_ISOLATE),
    STEPS("discard", ACTION_DISCARD),
};
static const struct shape DO = SHAPE("'do'", DO_FIELDS);

static const struct field FINDINGS_FIELDS[] = {
    LATER("id", REQUIRED), /* by the catalogue */
    FIELD("source", REQUIRED, read_citation, offsetof(struct finding, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct finding, name)),
    FIELD("also", OPTIONAL, read_text, offsetof(struct finding, also)),
    FIELD("what", REQUIRED, read_text, offsetof(struct finding, what)),
    CHOICE("status", REQUIRED, offsetof(struct finding, status), STATUS_WORDS),
    CHOICE("hazard", REQUIRED, offsetof(struct finding, hazard), HAZARD_WORDS),
    NUMBER("base", REQUIRED, offsetof(struct finding, base), NOT_NEGATIVE),
    NUMBER("reveal", REQUIRED, offsetof(struct finding, reveal), SHARE),
    NUMBER("kept_worth", REQUIRED, offsetof(struct finding, kept_worth), SHARE),
    NUMBER("spread", REQUIRED, offsetof(struct finding, spread), SHARE),
    OWN("looks", REQUIRED, read_looks),
    OWN("differs", OPTIONAL, read_differs),
    INNER("do", REQUIRED, DO),
};
static const struct shape FINDING = SHAPE("a finding", FINDINGS_FIELDS);

/* What is contaminated is never worth keeping: the words of a file may not say so by a slip. */
static void check_status(struct loader *loader, const struct finding *finding)
{
    if (finding->status != FINDING_CONTAMINATED)
        return;
    if (finding->kept_worth > 0)
        load_error(loader, finding->at,
                   "'%s' is contaminated and yet has a 'kept_worth' of %g; it must be 0",
                   finding->id, finding->kept_worth);
    if (finding->step_count[ACTION_KEEP])
        load_error(loader, finding->at,
                   "'%s' is contaminated and yet has steps for 'keep'; take them out", finding->id);
}

void load_findings(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_FINDING];
    struct finding *findings = items_array(loader, ITEM_FINDING, sizeof *findings);
    for (size_t i = 0; findings && i < items->count; i++) {
        findings[i] = (struct finding){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &FINDING, items->list[i].node, &findings[i]);
        check_status(loader, &findings[i]);
    }
    loader->made->findings = findings;
    loader->made->finding_count = findings ? items->count : 0;
}

/* ==== load causes ============================================================================= */

/* Why it is there. */

static void read_grows(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    struct cause *cause = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct growth_rate *grows = arena_array(loader->keep, node->count, sizeof *grows);
    if (!grows)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct growth_rate *rate = &grows[count];
        rate->at = node_at(entry->key);
        if (strcmp(entry->key->text, "source") != 0 &&
            find_item(loader, ITEM_FINDING, entry->key, &rate->finding) &&
            expect_number(loader, entry, entry->key->text, &POSITIVE, &rate->rate))
            count++;
    }
    cause->grows = grows;
    cause->grow_count = count;
    cause->grows_cites = citation_of(loader, node, cause->cites);
}

static void read_weighs(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    (void)field;
    struct cause *cause = item;
    struct claims claims = claims_read(loader, node, CLAIM_WEIGHT, cause->cites);
    cause->weighs = claims.list;
    cause->weigh_count = claims.count;
}

static void read_settle(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    const struct cause *cause = item;
    read_indices(loader, field, node, item);
    for (size_t i = 0; i < cause->settle_count; i++) {
        const struct observable *test = &loader->rules->observables[cause->settle[i]];
        if (test->class != CLASS_TEST)
            node_error(loader, node, "'%s' is no test; 'settle' names tests", test->id);
    }
}

static const struct bounds SHARE_ABOVE_0 = {0, 1, true, false, "above 0, up to 1"};

static const struct field CAUSES_FIELDS[] = {
    LATER("id", REQUIRED), /* by the catalogue */
    FIELD("source", REQUIRED, read_citation, offsetof(struct cause, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct cause, name)),
    FIELD("what", REQUIRED, read_text, offsetof(struct cause, what)),
    CHOICE("scope", REQUIRED, offsetof(struct cause, scope), SCOPE_WORDS),
    NUMBER("prior", REQUIRED, offsetof(struct cause, prior), CHANCE),
    NUMBER("reach", OPTIONAL, offsetof(struct cause, reach), SHARE_ABOVE_0),
    NUMBER("reach_near", OPTIONAL, offsetof(struct cause, reach_near), SHARE_ABOVE_0),
    FIELD("shown_by_control", OPTIONAL, read_flag, offsetof(struct cause, shown_by_control)),
    CHOICE("moved_by", OPTIONAL, offsetof(struct cause, moved_by), MOVED_WORDS),
    OWN("grows", REQUIRED, read_grows),
    OWN("weighs", OPTIONAL, read_weighs),
    LIST("change", REQUIRED, read_texts, offsetof(struct cause, change),
         offsetof(struct cause, change_count)),
    REFERENCES("settle", OPTIONAL, read_settle, offsetof(struct cause, settle),
               offsetof(struct cause, settle_count), ITEM_OBSERVABLE),
};
static const struct shape CAUSE = SHAPE("a cause", CAUSES_FIELDS);

void load_causes(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_CAUSE];
    struct cause *causes = items_array(loader, ITEM_CAUSE, sizeof *causes);
    for (size_t i = 0; causes && i < items->count; i++) {
        causes[i] = (struct cause){.id = items->list[i].id, .reach = 1.0, .at = items->list[i].at};
        shape_read(loader, &CAUSE, items->list[i].node, &causes[i]);
    }
    loader->made->causes = causes;
    loader->made->cause_count = causes ? items->count : 0;
}

/* ==== load cautions =========================================================================== */

/* Health and safety: what is said, and when. */

static const struct field CAUTIONS_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, offsetof(struct caution, cites)),
    FIELD("text", REQUIRED, read_text, offsetof(struct caution, text)),
    FIELD("rank", REQUIRED, read_rank, offsetof(struct caution, rank)),
    FIELD("always", OPTIONAL, read_flag, offsetof(struct caution, always)),
    SET("hazards", OPTIONAL, offsetof(struct caution, hazards), HAZARD_WORDS),
    SET("statuses", OPTIONAL, offsetof(struct caution, statuses), STATUS_WORDS),
    REFERENCES("findings", OPTIONAL, read_indices, offsetof(struct caution, findings),
               offsetof(struct caution, finding_count), ITEM_FINDING),
    NUMBER("at_least", OPTIONAL, offsetof(struct caution, at_least), SHARE),
    SET("actions", OPTIONAL, offsetof(struct caution, actions), ACTION_WORDS),
    FIELD("when", OPTIONAL, read_condition, offsetof(struct caution, when)),
};
static const struct shape CAUTION = SHAPE("a caution", CAUTIONS_FIELDS);

/* A caution that never shows is worse than none: its author thinks it does. */
static void check_triggers(struct loader *loader, const struct caution *caution,
                           const struct node *node)
{
    bool by_mass = caution->hazards || caution->statuses || caution->finding_count;
    if (node->kind != NODE_MAP)
        return;
    if (!by_mass && !caution->actions && !caution->when.count && !caution->always)
        load_error(loader, caution->at,
                   "caution '%s' is never shown; give it 'hazards', 'statuses', 'findings', "
                   "'actions', 'when', or 'always: true'",
                   caution->id);
    if (by_mass && !node_entry(node, "at_least"))
        load_error(loader, caution->at,
                   "caution '%s' needs 'at_least': how likely what it names must be", caution->id);
}

/* By rank; those of one rank stay in the order of the files. */
static void sort_by_rank(struct caution *cautions, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        struct caution moving = cautions[i];
        size_t at = i;
        for (; at > 0 && cautions[at - 1].rank > moving.rank; at--)
            cautions[at] = cautions[at - 1];
        cautions[at] = moving;
    }
}

void load_cautions(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_CAUTION];
    struct caution *cautions = items_array(loader, ITEM_CAUTION, sizeof *cautions);
    for (size_t i = 0; cautions && i < items->count; i++) {
        cautions[i] = (struct caution){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &CAUTION, items->list[i].node, &cautions[i]);
        check_triggers(loader, &cautions[i], items->list[i].node);
    }
    loader->made->cautions = cautions;
    loader->made->caution_count = cautions ? items->count : 0;
    sort_by_rank(cautions, loader->made->caution_count);
}

/* ==== load decision =========================================================================== */

/* What mistakes cost, the floors above the sum, and what comes next when it is kept. */

#define DECISION(member) offsetof(struct decision_rules, member)

/* ---- actions --------------------------------------------------------------------------------- */

#define ACTION(action)                                                                             \
    FIELD("label", REQUIRED, read_text, DECISION(action_label[action])),                           \
        FIELD("say", REQUIRED, read_text, DECISION(action_say[action]))

static const struct field KEEP_FIELDS[] = {ACTION(ACTION_KEEP)};
static const struct field ISOLATE_FIELDS[] = {ACTION(ACTION_ISOLATE)};
static const struct field DISCARD_FIELDS[] = {ACTION(ACTION_DISCARD)};
static const struct shape KEEP = SHAPE("'keep'", KEEP_FIELDS);
static const struct shape ISOLATE = SHAPE("'isolate'", ISOLATE_FIELDS);
static const struct shape DISCARD = SHAPE("'discard'", DISCARD_FIELDS);

static const struct field ACTION_FIELDS[] = {
    INNER("keep", REQUIRED, KEEP),
    INNER("isolate", REQUIRED, ISOLATE),
    INNER("discard", REQUIRED, DISCARD),
};
static const struct shape ACTIONS = SHAPE("'actions'", ACTION_FIELDS);

/* ---- losses ---------------------------------------------------------------------------------- */

#define LOSS(name, member) NUMBER(name, REQUIRED, DECISION(member), NOT_NEGATIVE)

static const struct field KEEP_WRONG_FIELDS[] = {
    LOSS("base", keep_wrong),
    LOSS("none", keep_wrong_hazard[HAZARD_NONE]),
    LOSS("irritant", keep_wrong_hazard[HAZARD_IRRITANT]),
    LOSS("sporing", keep_wrong_hazard[HAZARD_SPORING]),
    LOSS("toxigenic", keep_wrong_hazard[HAZARD_TOXIGENIC]),
};
static const struct shape KEEP_WRONG = SHAPE("'keep_wrong'", KEEP_WRONG_FIELDS);

static const struct field ISOLATE_LOSS_FIELDS[] = {
    LOSS("delay", isolate_delay),
    LOSS("days", isolate_days),
    NUMBER("spread", REQUIRED, DECISION(isolate_spread), SHARE),
};
static const struct shape ISOLATE_LOSS = SHAPE("'isolate'", ISOLATE_LOSS_FIELDS);

/* ---- uses ------------------------------------------------------------------------------------ */

static const struct field USE_FIELDS[] = {
    FIELD("label", REQUIRED, read_text, offsetof(struct use, label)),
    NUMBER("loss_each", REQUIRED, offsetof(struct use, loss_each), NOT_NEGATIVE),
};
static const struct shape USE = SHAPE("a use", USE_FIELDS);

static void read_uses(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    struct decision_rules *decision = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct use *uses = arena_array(loader->keep, node->count, sizeof *uses);
    if (!uses)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next)
        if (expect_id(loader, entry->key)) {
            uses[count].id = entry->key->text;
            shape_read(loader, &USE, entry, &uses[count++]);
        }
    decision->uses = uses;
    decision->use_count = count;
}

/* ---- lists of things with an id -------------------------------------------------------------- */

/* The id of an entry of a list, which no entry before it has; "" if it has none. */
static const char *entry_id(struct loader *loader, const struct node *entry, const char *what,
                            struct names *ids)
{
    const struct node *id = entry->kind == NODE_MAP ? node_entry(entry, "id") : NULL;
    size_t number;
    bool fresh;
    if (!id || !expect_kind(loader, id, NODE_TEXT, "id") || !expect_id(loader, id) ||
        !names_add(ids, id->text, loader->scratch, &number, &fresh))
        return "";
    if (!fresh)
        node_error(loader, id, "%s '%s' stands twice; rename one", what, id->text);
    return id->text;
}

/* ---- floors ---------------------------------------------------------------------------------- */

/* A floor may force caution, never trust. */
static const char *const forced[] = {"isolate", "discard"};
static const struct words FORCED_WORDS = {forced, 2};

static void read_forced(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct floor_rule *floor = item;
    size_t choice;
    if (expect_choice(loader, node, field->key, &FORCED_WORDS, &choice))
        floor->action = choice == 0 ? ACTION_ISOLATE : ACTION_DISCARD;
}

static void read_forbids(struct loader *loader, const struct field *field, const struct node *node,
                         void *item)
{
    static const char *const keep[] = {"keep"};
    static const struct words words = {keep, 1};
    struct floor_rule *floor = item;
    size_t choice;
    floor->forbids_keep = expect_choice(loader, node, field->key, &words, &choice);
}

static const struct field FLOOR_FIELDS[] = {
    LATER("id", REQUIRED),
    FIELD("source", OPTIONAL, read_citation, offsetof(struct floor_rule, cites)),
    OWN("action", OPTIONAL, read_forced),
    OWN("forbids", OPTIONAL, read_forbids),
    FIELD("when", OPTIONAL, read_condition, offsetof(struct floor_rule, when)),
    FIELD("unless", OPTIONAL, read_condition, offsetof(struct floor_rule, unless)),
    NUMBER("contaminated_above", OPTIONAL, offsetof(struct floor_rule, contaminated_above), SHARE),
    NUMBER("unread_above", OPTIONAL, offsetof(struct floor_rule, unread_above), NOT_NEGATIVE),
    FIELD("after_objection", OPTIONAL, read_flag, offsetof(struct floor_rule, after_objection)),
    FIELD("say", REQUIRED, read_text, offsetof(struct floor_rule, say)),
};
static const struct shape FLOOR = SHAPE("a floor", FLOOR_FIELDS);

static void floor_read(struct loader *loader, const struct node *entry, struct floor_rule *floor)
{
    shape_read(loader, &FLOOR, entry, floor);
    if (entry->kind != NODE_MAP)
        return;
    if (!node_entry(entry, "action") == !node_entry(entry, "forbids"))
        node_error(loader, entry, "a floor needs either 'action: discard' or 'forbids: keep'");
    if (!node_entry(entry, "when") && !node_entry(entry, "contaminated_above"))
        node_error(loader, entry,
                   "a floor needs 'when' or 'contaminated_above'; without, it never applies");
}

static void read_floors(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct decision_rules *decision = item;
    struct names ids = {0};
    if (!expect_kind(loader, node, NODE_LIST, field->key) || !node->count)
        return;
    struct floor_rule *floors = arena_array(loader->keep, node->count, sizeof *floors);
    if (!floors)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next, count++) {
        floors[count] = (struct floor_rule){
            .cites = decision->cites, .contaminated_above = 1, .at = node_at(entry)};
        floors[count].id = entry_id(loader, entry, "floor", &ids);
        floor_read(loader, entry, &floors[count]);
    }
    decision->floors = floors;
    decision->floor_count = count;
}

/* ---- next steps ------------------------------------------------------------------------------ */

static const struct field STEP_FIELDS[] = {
    LATER("id", REQUIRED),
    FIELD("when", OPTIONAL, read_condition, offsetof(struct next_step, when)),
    REFERENCES("findings", OPTIONAL, read_indices, offsetof(struct next_step, findings),
               offsetof(struct next_step, finding_count), ITEM_FINDING),
    FIELD("say", REQUIRED, read_text, offsetof(struct next_step, say)),
    NUMBER("days", OPTIONAL, offsetof(struct next_step, days), NOT_NEGATIVE),
};
static const struct shape STEP = SHAPE("a next step", STEP_FIELDS);

static void read_steps(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    struct decision_rules *decision = item;
    struct names ids = {0};
    if (!expect_kind(loader, node, NODE_LIST, field->key))
        return;
    struct next_step *steps = arena_array(loader->keep, node->count, sizeof *steps);
    if (!steps)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next, count++) {
        steps[count] = (struct next_step){.at = node_at(entry), .days = NAN};
        steps[count].id = entry_id(loader, entry, "next step", &ids);
        shape_read(loader, &STEP, entry, &steps[count]);
    }
    if (!count || steps[count - 1].when.count || steps[count - 1].finding_count)
        node_error(loader, node,
                   "the last next step must hold always, without 'when' and 'findings'");
    decision->next_steps = steps;
    decision->next_step_count = count;
}

/* ---- the whole ------------------------------------------------------------------------------- */

static const struct field DECISION_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, DECISION(cites)),
    INNER("actions", REQUIRED, ACTIONS),
    INNER("keep_wrong", REQUIRED, KEEP_WRONG),
    INNER("isolate", REQUIRED, ISOLATE_LOSS),
    LOSS("discard_effort", discard_effort),
    LOSS("effort_loss", effort_loss),
    NUMBER("settled", REQUIRED, DECISION(settled), SHARE),
    LOSS("neighbours", neighbours),
    OWN("uses", OPTIONAL, read_uses),
    OWN("floors", OPTIONAL, read_floors),
    OWN("next_steps", REQUIRED, read_steps),
};
static const struct shape DECISION_SHAPE = SHAPE("'decision'", DECISION_FIELDS);

void load_decision(struct loader *loader)
{
    const struct item *item = catalogue_whole(loader, "decision");
    if (item)
        shape_read(loader, &DECISION_SHAPE, item->node, &loader->made->decision);
}

/* ==== load species ============================================================================ */

/* What is grown, on what, in what. */

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
        node_error(loader, node, "'t_min', 't_opt' and 't_max' are %g, %g and %g; they must rise",
                   growth->t_min, growth->t_opt, growth->t_max);
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
        node_error(loader, node, "'%s' must be a list of three lengths in metres", field->key);
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
            load_error(loader, vessel->at, "a %s has %s '%s'; %s", shapes[vessel->shape],
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

/* ==== load process ============================================================================ */

/* What the process physics is told: organisms, the cook, starters, the forecast, moves. */

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
        load_error(loader, at, "no circumstance feeds '%s'; give one 'feeds: %s'", name, name);
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
