/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "rules/load.h"

/* Kind by kind: what may stand in an item, and what is wrong with one as a whole. */

#define WORDS(name, ...)                                                                           \
    static const char *const name##_LIST[] = {__VA_ARGS__};                                        \
    static const struct words name = {name##_LIST, sizeof name##_LIST / sizeof *name##_LIST}

/* ---- the rule base itself, words for numbers, fitted numbers --------------------------------- */

static const struct field RULES_FIELDS[] = {
    TEXT("name", REQUIRED, offsetof(struct rules, name)),
    TEXT("version", REQUIRED, offsetof(struct rules, version)),
};
static const struct shape RULES = SHAPE("'rules'", RULES_FIELDS);

/* A mapping from words to numbers. */
static void read_words(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    struct word *words = expect_entries(loader, node, NODE_MAP, sizeof *words);
    size_t used = 0;
    for (const struct node *entry = words ? node->first : NULL; entry; entry = entry->next) {
        words[used].word = entry->key->text;
        used += expect_number(loader, entry, entry->key->text, field->bounds, &words[used].number);
    }
    field_list(field, item, words, used);
}

#define SCALE(member) offsetof(struct rules, scale.member)

static const struct field SCALE_FIELDS[] = {
    {KEY("frequency", REQUIRED, read_words, SCALE(frequency)), .count = SCALE(frequency_count),
     .bounds = &CHANCE},
    {KEY("weight", REQUIRED, read_words, SCALE(weight)), .count = SCALE(weight_count),
     .bounds = &POSITIVE},
};
static const struct shape SCALE_SHAPE = SHAPE("'scale'", SCALE_FIELDS);

#define CALIBRATION(member) offsetof(struct rules, calibration.member)

static const struct field SIBLINGS_FIELDS[] = {
    NUMBER_OR("most", REQUIRED, CALIBRATION(siblings.most), NOT_NEGATIVE, 0),
    NUMBER_OR("usual", REQUIRED, CALIBRATION(siblings.usual), CHANCE, 0),
    NUMBER_OR("usual_seen", REQUIRED, CALIBRATION(siblings.usual_seen), POSITIVE, 0),
    NUMBER_OR("reach_seen", REQUIRED, CALIBRATION(siblings.reach_seen), POSITIVE, 0),
};
static const struct shape SIBLINGS = SHAPE("'siblings'", SIBLINGS_FIELDS);

static const struct field WORDS_FIELDS[] = {
    NUMBER_OR("group_power", REQUIRED, CALIBRATION(words.group_power), NOT_NEGATIVE, 0),
    NUMBER_OR("finding_power", REQUIRED, CALIBRATION(words.finding_power), NOT_NEGATIVE, 0),
    NUMBER_OR("cause_power", OPTIONAL, CALIBRATION(words.cause_power), NOT_NEGATIVE, 0),
    NUMBER_OR("usual", REQUIRED, CALIBRATION(words.usual), POSITIVE, 0),
    NUMBER_OR("status_prior", REQUIRED, CALIBRATION(words.status_prior), POSITIVE, 0),
    NUMBER_OR("finding_prior", REQUIRED, CALIBRATION(words.finding_prior), POSITIVE, 0),
    NUMBER_OR("term_most", REQUIRED, CALIBRATION(words.term_most), POSITIVE, 0),
    NUMBER_OR("sound_most", REQUIRED, CALIBRATION(words.sound_most), POSITIVE, 0),
    NUMBER_OR("most", REQUIRED, CALIBRATION(words.most), POSITIVE, 0),
};
static const struct shape WORDS = SHAPE("'words'", WORDS_FIELDS);

static const struct field CALIBRATION_FIELDS[] = {
    NUMBER("tau", REQUIRED, CALIBRATION(tau), SHARE_ABOVE_0),
    NUMBER("hedge", REQUIRED, CALIBRATION(hedge), SHARE),
    NUMBER_OR("silence", OPTIONAL, CALIBRATION(silence), SHARE, 0),
    NUMBER_OR("silence_after", OPTIONAL, CALIBRATION(silence_after), NOT_NEGATIVE, 0),
    INNER("siblings", OPTIONAL, SIBLINGS),
    INNER("words", OPTIONAL, WORDS),
    TEXT("fitted_by", OPTIONAL, CALIBRATION(fitted_by)),
};
static const struct shape CALIBRATION_SHAPE = SHAPE("'calibration'", CALIBRATION_FIELDS);

/* ---- sources, groups ------------------------------------------------------------------------- */

static const struct field SOURCE_FIELDS[] = {
    TEXT("author", REQUIRED, offsetof(struct source, author)),
    TEXT("title", REQUIRED, offsetof(struct source, title)),
    TEXT("year", REQUIRED, offsetof(struct source, year)),
    TEXT("where", REQUIRED, offsetof(struct source, where)),
    FLAG("weak", offsetof(struct source, weak)),
};
static const struct shape SOURCE = SHAPE("a source", SOURCE_FIELDS);

/* A claim is to be looked up: a bracket stands for a title nobody gave, "n.d." for a year nobody looked for. */
static void check_source(struct loader *loader, const struct item *item, void *made)
{
    const struct source *source = made;
    if (source->title && source->title[0] == '[')
        node_error(loader, item->node, "the title of '%s' describes a work; give its own",
                   source->id);
    if (source->author && strstr(source->author, "no author"))
        node_error(loader, item->node,
                   "'%s' has no author; give the person or the body that answers for it",
                   source->id);
    int digits = 0;
    for (const char *at = source->year; at && *at && digits < 4; at++)
        digits = *at >= '0' && *at <= '9' ? digits + 1 : 0;
    if (source->year && digits < 4)
        node_error(loader, item->node,
                   "'%s' has no year; give it, or the year in which an undated page was read",
                   source->id);
}

static const struct field GROUP_FIELDS[] = {
    NUMBER("overlap", REQUIRED, offsetof(struct group, overlap), SHARE),
};
static const struct shape GROUP = SHAPE("a group", GROUP_FIELDS);

/* ---- species, grains, vessels ---------------------------------------------------------------- */

#define SPECIES(member) offsetof(struct species, member)

static const struct field GROWTH_FIELDS[] = {
    CITATION("source", OPTIONAL, SPECIES(growth.cites)),
    NUMBER("t_min", OPTIONAL, SPECIES(growth.t_min), ANY),
    NUMBER("t_opt", OPTIONAL, SPECIES(growth.t_opt), ANY),
    NUMBER("t_max", OPTIONAL, SPECIES(growth.t_max), ANY),
    PAIR("rate", OPTIONAL, SPECIES(growth.rate_lo), POSITIVE),
    PAIR("lag", OPTIONAL, SPECIES(growth.lag_lo), NOT_NEGATIVE),
    PAIR("full_days", OPTIONAL, SPECIES(growth.full_lo), POSITIVE),
};
static const struct shape GROWTH = SHAPE("'growth'", GROWTH_FIELDS);

static void read_growth(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct species *species = item;
    struct growth *growth = &species->growth;
    growth->cites = species->cites;
    shape_read(loader, field->shape, node, item);
    if (growth->t_min >= growth->t_opt || growth->t_opt >= growth->t_max)
        node_error(loader, node, "'t_min', 't_opt' and 't_max' are %g, %g and %g; they must rise",
                   growth->t_min, growth->t_opt, growth->t_max);
}

static const struct field SPECIES_FIELDS[] = {
    CITATION("source", REQUIRED, SPECIES(cites)),
    TEXT("name", REQUIRED, SPECIES(name)),
    TEXT("latin", REQUIRED, SPECIES(latin)),
    NUMBER("base", REQUIRED, SPECIES(base), POSITIVE),
    FIELD("phrases", OPTIONAL, read_phrases, SPECIES(phrases)),
    {KEY("growth", OPTIONAL, read_growth, 0), .shape = &GROWTH},
    LATER("normal", OPTIONAL), /* load_normal */
    TEXT("note", OPTIONAL, SPECIES(note)),
};
static const struct shape SPECIES_SHAPE = SHAPE("a species", SPECIES_FIELDS);

/* {finding: {sign: {value: how often}, source: ...}} */
static void read_normal(struct loader *loader, const struct node *node, struct species *species)
{
    struct normal_look *list = NULL;
    size_t count = 0, finding;
    if (!expect_kind(loader, node, NODE_MAP, "normal"))
        return;
    struct citation inherited = citation_of(loader, node, species->cites);
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        if (!strcmp(entry->key->text, "source") ||
            !find_item(loader, ITEM_FINDING, entry->key, &finding))
            continue;
        struct claims claims = claims_read(loader, entry, CLAIM_FREQUENCY, inherited);
        for (size_t i = 0; i < claims.count; i++)
            *arena_push(loader->keep, list, count) = (struct normal_look){finding, claims.list[i]};
    }
    species->normal = list;
    species->normal_count = count;
}

void load_normal(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_SPECIES];
    struct species *species = loader->arrays[ITEM_SPECIES];
    for (size_t i = 0; i < items->count; i++) {
        const struct node *node = node_entry(items->list[i].node, "normal");
        if (node)
            read_normal(loader, node, &species[i]);
    }
}

#define GRAIN(member) offsetof(struct grain, member)

static const struct field GRAIN_FIELDS[] = {
    CITATION("source", REQUIRED, GRAIN(cites)),
    TEXT("name", REQUIRED, GRAIN(name)),
    NUMBER("base", REQUIRED, GRAIN(base), POSITIVE),
    FIELD("phrases", OPTIONAL, read_phrases, GRAIN(phrases)),
    NUMBER("moisture", REQUIRED, GRAIN(moisture), PER_CENT),
    PAIR("target", REQUIRED, GRAIN(target_lo), PER_CENT),
    NUMBER("raw_limit", OPTIONAL, GRAIN(raw_limit), PER_CENT),
    NUMBER("bulk", REQUIRED, GRAIN(bulk), POSITIVE),
    TEXT("note", OPTIONAL, GRAIN(note)),
};
static const struct shape GRAIN_SHAPE = SHAPE("a grain", GRAIN_FIELDS);

WORDS(BODY_WORDS, "cylinder", "brick");

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

#define VESSEL(member) offsetof(struct vessel_kind, member)

static const struct field VESSEL_FIELDS[] = {
    CITATION("source", REQUIRED, VESSEL(cites)),
    TEXT("name", REQUIRED, VESSEL(name)),
    NUMBER("base", REQUIRED, VESSEL(base), POSITIVE),
    FIELD("phrases", OPTIONAL, read_phrases, VESSEL(phrases)),
    CHOICE("shape", REQUIRED, VESSEL(shape), BODY_WORDS),
    NUMBER("litres", OPTIONAL, VESSEL(litres), POSITIVE),
    NUMBER("radius", OPTIONAL, VESSEL(radius), POSITIVE),
    NUMBER("height", OPTIONAL, VESSEL(height), POSITIVE),
    {KEY("sides", OPTIONAL, read_sides, VESSEL(sides)), .reals = 3, .absent = NAN},
    NUMBER("mass", REQUIRED, VESSEL(mass_kg), POSITIVE),
    NUMBER("wall_h", REQUIRED, VESSEL(wall_h), POSITIVE),
};
static const struct shape VESSEL_SHAPE = SHAPE("a vessel", VESSEL_FIELDS);

/* A shape has its own measures and not the other's. */
static void check_vessel(struct loader *loader, const struct item *item, void *made)
{
    static const struct {
        const char *key;
        enum vessel_shape shape;
    } measures[] = {{"radius", SHAPE_CYLINDER}, {"height", SHAPE_CYLINDER}, {"sides", SHAPE_BRICK}};
    const struct vessel_kind *vessel = made;
    const char *name = BODY_WORDS.list[vessel->shape];
    const struct node *shape = node_entry(item->node, "shape");
    if (!shape || shape->kind != NODE_TEXT || strcmp(shape->text, name) != 0)
        return; /* told already */
    for (size_t i = 0; i < sizeof measures / sizeof *measures; i++) {
        bool given = node_entry(item->node, measures[i].key) != NULL;
        if (given != (measures[i].shape == vessel->shape))
            load_error(loader, vessel->at, "a %s has %s '%s'; %s", name, given ? "no" : "a",
                       measures[i].key, given ? "take it out" : "add it");
    }
}

/* ---- observables: signs, circumstances, tests ------------------------------------------------ */

enum { MINIMUM_VALUES = 2 };
static const double SHARES_OFF = 0.02; /* how far shares may add up to something else than 1 */

WORDS(KIND_WORDS, "one", "several", "number");
WORDS(GATE_WORDS, "none", "unsolicited", "never_asked");
WORDS(LIST_WORDS, "species", "grains", "vessels"); /* in the order of what they feed */

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
    [FEEDS_SPEED] = {"speed", KIND_ONE, DIM_NONE},
    [FEEDS_CONTROLS] = {"controls", KIND_ONE, DIM_NONE},
    [FEEDS_INOCULATED] = {"inoculated", KIND_ONE, DIM_NONE},
    [FEEDS_LOST_ALIKE] = {"lost_alike", KIND_ONE, DIM_NONE},
    [FEEDS_LOST_ONES] = {"lost_ones", KIND_ONE, DIM_NONE},
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
        node_error(loader, node, "what feeds '%s' must be of kind '%s'", names[choice],
                   KIND_WORDS.list[FEEDS[choice].kind]);
    else if (observable->kind == KIND_NUMBER && observable->dimension != FEEDS[choice].dimension)
        node_error(loader, node, "what feeds '%s' must be in '%s'", names[choice],
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

static void check_shares(struct loader *loader, const struct observable *observable,
                         const struct node *node)
{
    double sum = 0;
    if (observable->kind == KIND_SEVERAL || !observable->value_count)
        return;
    for (size_t i = 0; i < observable->value_count; i++)
        sum += observable->values[i].base;
    if (observable->value_count < MINIMUM_VALUES)
        node_error(loader, node, "'%s' has one value only; a question needs two", observable->id);
    else if (fabs(sum - 1) > SHARES_OFF)
        node_error(loader, node,
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
        struct value *value = &values[i];
        bool last = i + 1 == observable->value_count;
        value->from = from;
        if (last && !isnan(value->below))
            load_error(loader, value->at, "the last bin reaches to 'max'; take 'below' out of it");
        if (last)
            value->below = observable->max;
        if (isnan(value->below))
            load_error(loader, value->at, "bin '%s' needs 'below', where the next one begins",
                       value->id);
        else if (!(value->below > from && value->below <= observable->max))
            load_error(loader, value->at,
                       "bin '%s' goes from %g to below %g; bins must rise from 'min' to 'max'",
                       value->id, from, value->below);
        else
            from = value->below;
    }
}

#define VALUE(member) offsetof(struct value, member)

static const struct field VALUE_FIELDS[] = {
    TEXT("label", REQUIRED, VALUE(label)),
    TEXT("look", OPTIONAL, VALUE(look)),
    FIELD("base", REQUIRED, read_frequency, VALUE(base)),
    NUMBER("below", OPTIONAL, VALUE(below), ANY),
    NUMBER("parameter", OPTIONAL, VALUE(parameter), ANY),
    FLAG("salient", VALUE(salient)),
    FLAG("withdraws", VALUE(withdraws)),
    FIELD("phrases", OPTIONAL, read_phrases, VALUE(phrases)),
    FIELD("answers", OPTIONAL, read_phrases, VALUE(answers)),
};
static const struct shape VALUE_SHAPE = SHAPE("a value", VALUE_FIELDS);

static void check_value(struct loader *loader, const struct observable *observable,
                        const struct value *value, const struct node *node)
{
    const struct node *below = node_entry(node, "below");
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
    size_t errors = loader->errors, count = 0;
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    if (node->count > RULES_MAX_VALUES) {
        node_error(loader, node, "%u values; there may be %d at most", (unsigned)node->count,
                   RULES_MAX_VALUES);
        return;
    }
    struct value *values = arena_array(loader->keep, node->count, sizeof *values);
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct value *value = &values[count];
        if (!expect_id(loader, entry->key))
            continue;
        *value = (struct value){.id = entry->key->text, .at = node_at(entry->key), .from = NAN};
        shape_clear(&VALUE_SHAPE, value);
        shape_read(loader, &VALUE_SHAPE, entry, value);
        check_value(loader, observable, value, entry);
        count++;
    }
    observable->values = values;
    observable->value_count = count;
    if (loader->errors != errors)
        return; /* sums and bins of what is broken mean nothing */
    check_shares(loader, observable, node->key);
    if (observable->kind == KIND_NUMBER)
        set_bins(loader, observable, values);
}

#define VALUE_OF(one)                                                                              \
    (struct value)                                                                                 \
    {                                                                                              \
        .id = (one)->id, .label = (one)->name, .base = (one)->base, .phrases = (one)->phrases,     \
        .at = (one)->at, .from = NAN, .below = NAN, .parameter = NAN                               \
    }

/* Values from the list of species, grains or vessels. */
static void read_values_from(struct loader *loader, const struct field *field,
                             const struct node *node, void *item)
{
    const struct rules *rules = loader->rules;
    const size_t counts[] = {rules->species_count, rules->grain_count, rules->vessel_count};
    struct observable *observable = item;
    size_t list;
    double sum = 0;
    if (!expect_choice(loader, node, field->key, &LIST_WORDS, &list))
        return;
    size_t count = counts[list];
    if (count > RULES_MAX_VALUES) {
        node_error(loader, node, "%zu %s; there may be %d at most", count, node->text,
                   RULES_MAX_VALUES);
        return;
    }
    struct value *values = arena_array(loader->keep, count, sizeof *values);
    for (size_t i = 0; i < count; i++) {
        values[i] = list == 0   ? VALUE_OF(&rules->species[i])
                    : list == 1 ? VALUE_OF(&rules->grains[i])
                                : VALUE_OF(&rules->vessels[i]);
        sum += values[i].base;
    }
    /* Shares of a list need not add up to 1: an overlay may add to it. */
    for (size_t i = 0; i < count && sum > 0; i++)
        values[i].base /= sum;
    observable->values = values;
    observable->value_count = count;
}

#define OBSERVABLE(member) offsetof(struct observable, member)

static const struct field OBSERVABLE_FIELDS[] = {
    CITATION("source", REQUIRED, OBSERVABLE(cites)),
    TEXT("label", REQUIRED, OBSERVABLE(label)),
    FIELD("ask", REQUIRED, read_question, OBSERVABLE(ask)),
    TEXT("look", OPTIONAL, OBSERVABLE(look)),
    TEXT("why", OPTIONAL, OBSERVABLE(why)),
    CHOICE("kind", REQUIRED, OBSERVABLE(kind), KIND_WORDS),
    OWN("unit", OPTIONAL, read_unit),
    NUMBER("min", OPTIONAL, OBSERVABLE(min), ANY),
    NUMBER("max", OPTIONAL, OBSERVABLE(max), ANY),
    OWN("feeds", OPTIONAL, read_feeds),
    FLAG("lasts", OBSERVABLE(lasts)),
    FLAG("withdrawn", OBSERVABLE(withdrawn)),
    CHOICE("gate", OPTIONAL, OBSERVABLE(gate), GATE_WORDS),
    NUMBER_OR("effort", OPTIONAL, OBSERVABLE(effort), NOT_NEGATIVE, 1),
    NUMBER_OR("delay_days", OPTIONAL, OBSERVABLE(delay_days), NOT_NEGATIVE, 0),
    {KEY("group", OPTIONAL, read_index, OBSERVABLE(group)), .kind = ITEM_GROUP},
    OWN("values", OPTIONAL, read_values),
    OWN("values_from", OPTIONAL, read_values_from),
    LATER("phrases", OPTIONAL), /* once it is known what {q} stands for */
};
static const struct shape OBSERVABLE_SHAPES[] = {SHAPE("a sign", OBSERVABLE_FIELDS),
                                                 SHAPE("a circumstance", OBSERVABLE_FIELDS),
                                                 SHAPE("a test", OBSERVABLE_FIELDS)};

static void read_own_phrases(struct loader *loader, struct observable *observable,
                             const struct node *node)
{
    static const struct field phrases =
        FIELD("phrases", OPTIONAL, read_phrases, OBSERVABLE(phrases));
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

static void check_observable(struct loader *loader, const struct item *item, void *made)
{
    struct observable *observable = made;
    enum feeds feeds = observable->feeds;
    if (item->node->kind == NODE_MAP) {
        read_own_phrases(loader, observable, item->node);
        check_keys(loader, observable, item->node);
    }
    if (feeds == FEEDS_NONE)
        return;
    /* What a computation takes from a list must be of that list, index for index. */
    if (feeds >= FEEDS_SPECIES && feeds <= FEEDS_VESSEL) {
        const char *list = LIST_WORDS.list[feeds - FEEDS_SPECIES];
        const struct node *from = node_entry(item->node, "values_from");
        if (!from || from->kind != NODE_TEXT || strcmp(from->text, list) != 0)
            load_error(loader, observable->at, "what feeds '%s' must have 'values_from: %s'",
                       FEEDS[feeds].name, list);
    }
    int *feeder = &loader->made->feeder[feeds];
    const struct observable *all = loader->made->observables;
    if (*feeder != RULES_NONE)
        load_error(loader, observable->at, "'%s' and '%s' both feed '%s'; one may", all[*feeder].id,
                   observable->id, FEEDS[feeds].name);
    *feeder = (int)(observable - all);
}

/* ---- findings -------------------------------------------------------------------------------- */

static void read_looks(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    const struct finding *finding = item;
    struct claims claims = claims_read(loader, node, CLAIM_FREQUENCY, finding->cites);
    field_list(field, item, claims.list, claims.count);
}

static void read_differs(struct loader *loader, const struct field *field, const struct node *node,
                         void *item)
{
    struct difference *differs = expect_entries(loader, node, NODE_MAP, sizeof *differs);
    size_t count = 0;
    for (const struct node *entry = differs ? node->first : NULL; entry; entry = entry->next)
        count += find_item(loader, ITEM_FINDING, entry->key, &differs[count].from) &&
                 expect_text(loader, entry, entry->key->text, &differs[count].how);
    field_list(field, item, differs, count);
}

#define FINDING(member) offsetof(struct finding, member)
#define STEPS(name, action)                                                                        \
    LIST(name, OPTIONAL, read_texts, FINDING(steps[action]), FINDING(step_count[action]))

static const struct field DO_FIELDS[] = {
    STEPS("keep", ACTION_KEEP),
    STEPS("isolate", ACTION_ISOLATE),
    STEPS("discard", ACTION_DISCARD),
};
static const struct shape DO = SHAPE("'do'", DO_FIELDS);

static const struct field FINDING_FIELDS[] = {
    LATER("id", REQUIRED),
    CITATION("source", REQUIRED, FINDING(cites)),
    TEXT("name", REQUIRED, FINDING(name)),
    TEXT("also", OPTIONAL, FINDING(also)),
    TEXT("what", REQUIRED, FINDING(what)),
    CHOICE("status", REQUIRED, FINDING(status), STATUS_WORDS),
    CHOICE("hazard", REQUIRED, FINDING(hazard), HAZARD_WORDS),
    NUMBER("base", REQUIRED, FINDING(base), NOT_NEGATIVE),
    NUMBER("reveal", REQUIRED, FINDING(reveal), SHARE),
    NUMBER("kept_worth", REQUIRED, FINDING(kept_worth), SHARE),
    NUMBER_OR("too_soon", OPTIONAL, FINDING(too_soon), SHARE, 0),
    NUMBER("spread", REQUIRED, FINDING(spread), SHARE),
    LIST("looks", REQUIRED, read_looks, FINDING(looks), FINDING(look_count)),
    LIST("differs", OPTIONAL, read_differs, FINDING(differs), FINDING(differ_count)),
    INNER("do", REQUIRED, DO),
};
static const struct shape FINDING_SHAPE = SHAPE("a finding", FINDING_FIELDS);

/* What is contaminated is never worth keeping: the words of a file may not say so by a slip. */
static void check_finding(struct loader *loader, const struct item *item, void *made)
{
    const struct finding *finding = made;
    (void)item;
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

/* ---- causes ---------------------------------------------------------------------------------- */

static void read_grows(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    struct cause *cause = item;
    struct growth_rate *grows = expect_entries(loader, node, NODE_MAP, sizeof *grows);
    size_t count = 0;
    for (const struct node *entry = grows ? node->first : NULL; entry; entry = entry->next) {
        struct growth_rate *rate = &grows[count];
        rate->at = node_at(entry->key);
        count += strcmp(entry->key->text, "source") != 0 &&
                 find_item(loader, ITEM_FINDING, entry->key, &rate->finding) &&
                 expect_number(loader, entry, entry->key->text, &POSITIVE, &rate->rate);
    }
    field_list(field, item, grows, count);
    cause->grows_cites = citation_of(loader, node, cause->cites);
}

static void read_weighs(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    const struct cause *cause = item;
    struct claims claims = claims_read(loader, node, CLAIM_WEIGHT, cause->cites);
    field_list(field, item, claims.list, claims.count);
}

static void read_settle(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    const struct cause *cause = item;
    read_indices(loader, field, node, item);
    for (size_t i = 0; i < cause->settle_count; i++) {
        const struct observable *test = &loader->rules->observables[cause->settle[i]];
        if (test->class != CLASS_TEST)
            node_error(loader, node, "'%s' is not a test; 'settle' names tests", test->id);
    }
}

#define CAUSE(member) offsetof(struct cause, member)

static const struct field CAUSE_FIELDS[] = {
    LATER("id", REQUIRED),
    CITATION("source", REQUIRED, CAUSE(cites)),
    TEXT("name", REQUIRED, CAUSE(name)),
    TEXT("what", REQUIRED, CAUSE(what)),
    CHOICE("scope", REQUIRED, CAUSE(scope), SCOPE_WORDS),
    NUMBER("prior", REQUIRED, CAUSE(prior), CHANCE),
    NUMBER_OR("reach", OPTIONAL, CAUSE(reach), SHARE_ABOVE_0, 1),
    NUMBER_OR("reach_near", OPTIONAL, CAUSE(reach_near), SHARE_ABOVE_0, 0),
    FLAG("shown_by_control", CAUSE(shown_by_control)),
    CHOICE("moved_by", OPTIONAL, CAUSE(moved_by), MOVED_WORDS),
    LIST("grows", REQUIRED, read_grows, CAUSE(grows), CAUSE(grow_count)),
    LIST("weighs", OPTIONAL, read_weighs, CAUSE(weighs), CAUSE(weigh_count)),
    LIST("change", REQUIRED, read_texts, CAUSE(change), CAUSE(change_count)),
    REFERENCES("settle", OPTIONAL, read_settle, CAUSE(settle), CAUSE(settle_count),
               ITEM_OBSERVABLE),
};
static const struct shape CAUSE_SHAPE = SHAPE("a cause", CAUSE_FIELDS);

/* ---- cautions -------------------------------------------------------------------------------- */

#define CAUTION(member) offsetof(struct caution, member)

static const struct field CAUTION_FIELDS[] = {
    CITATION("source", REQUIRED, CAUTION(cites)),
    TEXT("text", REQUIRED, CAUTION(text)),
    FIELD("rank", REQUIRED, read_rank, CAUTION(rank)),
    FLAG("always", CAUTION(always)),
    SET("hazards", CAUTION(hazards), HAZARD_WORDS),
    SET("statuses", CAUTION(statuses), STATUS_WORDS),
    REFERENCES("findings", OPTIONAL, read_indices, CAUTION(findings), CAUTION(finding_count),
               ITEM_FINDING),
    NUMBER_OR("at_least", OPTIONAL, CAUTION(at_least), SHARE, 0),
    SET("actions", CAUTION(actions), ACTION_WORDS),
    FIELD("when", OPTIONAL, read_condition, CAUTION(when)),
};
static const struct shape CAUTION_SHAPE = SHAPE("a caution", CAUTION_FIELDS);

/* A caution that never shows is worse than none: its author thinks it does. */
static void check_caution(struct loader *loader, const struct item *item, void *made)
{
    const struct caution *caution = made;
    bool by_mass = caution->hazards || caution->statuses || caution->finding_count;
    if (item->node->kind != NODE_MAP)
        return;
    if (!by_mass && !caution->actions && !caution->when.count && !caution->always)
        load_error(loader, caution->at,
                   "caution '%s' is never shown; give it 'hazards', 'statuses', 'findings', "
                   "'actions', 'when', or 'always: true'",
                   caution->id);
    if (by_mass && !node_entry(item->node, "at_least"))
        load_error(loader, caution->at,
                   "caution '%s' needs 'at_least': how likely what it names must be", caution->id);
}

/* By rank; those of one rank stay in the order of the files. */
void sort_cautions(struct loader *loader)
{
    struct caution *cautions = loader->arrays[ITEM_CAUTION];
    for (size_t i = 1; i < loader->made->caution_count; i++) {
        struct caution moving = cautions[i];
        size_t at = i;
        for (; at > 0 && cautions[at - 1].rank > moving.rank; at--)
            cautions[at] = cautions[at - 1];
        cautions[at] = moving;
    }
}

/* ---- the decision ---------------------------------------------------------------------------- */

#define DECISION(member)   offsetof(struct rules, decision.member)
#define LOSS(name, member) NUMBER(name, REQUIRED, DECISION(member), NOT_NEGATIVE)
#define ACTION(action)                                                                             \
    {                                                                                              \
        TEXT("label", REQUIRED, DECISION(action_label[action])),                                   \
            TEXT("say", REQUIRED, DECISION(action_say[action]))                                    \
    }

static const struct field KEEP_FIELDS[] = ACTION(ACTION_KEEP);
static const struct field ISOLATE_FIELDS[] = ACTION(ACTION_ISOLATE);
static const struct field DISCARD_FIELDS[] = ACTION(ACTION_DISCARD);
static const struct shape KEEP = SHAPE("'keep'", KEEP_FIELDS);
static const struct shape ISOLATE = SHAPE("'isolate'", ISOLATE_FIELDS);
static const struct shape DISCARD = SHAPE("'discard'", DISCARD_FIELDS);

static const struct field ACTION_FIELDS[] = {
    INNER("keep", REQUIRED, KEEP),
    INNER("isolate", REQUIRED, ISOLATE),
    INNER("discard", REQUIRED, DISCARD),
};
static const struct shape ACTIONS = SHAPE("'actions'", ACTION_FIELDS);

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

static const struct field USE_FIELDS[] = {
    TEXT("label", REQUIRED, offsetof(struct use, label)),
    NUMBER("loss_each", REQUIRED, offsetof(struct use, loss_each), NOT_NEGATIVE),
};
static const struct shape USE = SHAPE("a use", USE_FIELDS);

static void read_uses(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    struct use *uses = expect_entries(loader, node, NODE_MAP, sizeof *uses);
    size_t count = 0;
    for (const struct node *entry = uses ? node->first : NULL; entry; entry = entry->next)
        if (expect_id(loader, entry->key)) {
            uses[count].id = entry->key->text;
            shape_read(loader, &USE, entry, &uses[count++]);
        }
    field_list(field, item, uses, count);
}

/* The id of an entry of a list, which no entry before it has; "" if it has none. */
static const char *entry_id(struct loader *loader, const struct node *entry, const char *what,
                            struct names *ids)
{
    const struct node *id = node_entry(entry, "id");
    if (!id || !expect_kind(loader, id, NODE_TEXT, "id") || !expect_id(loader, id))
        return "";
    if (!names_add(ids, id->text, loader->scratch, NULL))
        node_error(loader, id, "%s '%s' stands twice; rename one", what, id->text);
    return id->text;
}

/* A floor may force caution, never trust. */
WORDS(FORCED_WORDS, "isolate", "discard");
WORDS(FORBIDDEN_WORDS, "keep");

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
    struct floor_rule *floor = item;
    size_t choice;
    floor->forbids_keep = expect_choice(loader, node, field->key, &FORBIDDEN_WORDS, &choice);
}

#define FLOOR(member) offsetof(struct floor_rule, member)

static const struct field EXCEPTION = FIELD("unless", OPTIONAL, read_condition, 0);

/* One condition, or a list of them. */
static void read_exceptions(struct loader *loader, const struct field *field,
                            const struct node *node, void *item)
{
    bool listed = node->kind == NODE_LIST;
    size_t count = listed ? node->count : 1;
    struct condition *unless = arena_array(loader->keep, count, sizeof *unless);
    const struct node *entry = listed ? node->first : node;
    for (size_t k = 0; k < count; k++, entry = entry->next)
        read_condition(loader, &EXCEPTION, entry, &unless[k]);
    field_list(field, item, unless, count);
}

static const struct field FLOOR_FIELDS[] = {
    LATER("id", REQUIRED),
    CITATION("source", OPTIONAL, FLOOR(cites)),
    OWN("action", OPTIONAL, read_forced),
    OWN("forbids", OPTIONAL, read_forbids),
    FIELD("when", OPTIONAL, read_condition, FLOOR(when)),
    LIST("unless", OPTIONAL, read_exceptions, FLOOR(unless), FLOOR(unless_count)),
    NUMBER_OR("contaminated_above", OPTIONAL, FLOOR(contaminated_above), SHARE, 1),
    REFERENCES("likely", OPTIONAL, read_indices, FLOOR(likely), FLOOR(likely_count), ITEM_FINDING),
    NUMBER_OR("likely_above", OPTIONAL, FLOOR(likely_above), SHARE, 1),
    NUMBER_OR("unread_above", OPTIONAL, FLOOR(unread_above), NOT_NEGATIVE, 0),
    FLAG("after_objection", FLOOR(after_objection)),
    TEXT("say", REQUIRED, FLOOR(say)),
};
static const struct shape FLOOR_SHAPE = SHAPE("a floor", FLOOR_FIELDS);

static void read_floors(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    const struct rules *rules = item;
    struct names ids = {0};
    struct floor_rule *floors = expect_entries(loader, node, NODE_LIST, sizeof *floors);
    size_t count = 0;
    for (const struct node *entry = floors ? node->first : NULL; entry; entry = entry->next) {
        struct floor_rule *floor = &floors[count++];
        *floor = (struct floor_rule){.cites = rules->decision.cites, .at = node_at(entry)};
        floor->id = entry_id(loader, entry, "floor", &ids);
        shape_clear(&FLOOR_SHAPE, floor);
        shape_read(loader, &FLOOR_SHAPE, entry, floor);
        if (entry->kind != NODE_MAP)
            continue;
        if (!node_entry(entry, "action") == !node_entry(entry, "forbids"))
            node_error(loader, entry, "a floor needs either 'action: discard' or 'forbids: keep'");
        if (!node_entry(entry, "likely") != !node_entry(entry, "likely_above"))
            node_error(loader, entry, "'likely' and 'likely_above' go together; add the other");
        if (!node_entry(entry, "when") && !node_entry(entry, "contaminated_above") &&
            !node_entry(entry, "likely"))
            node_error(loader, entry,
                       "a floor needs 'when' or 'contaminated_above'; without, it never applies");
    }
    field_list(field, item, floors, count);
}

#define NEXT_STEP(member) offsetof(struct next_step, member)

static const struct field NEXT_STEP_FIELDS[] = {
    LATER("id", REQUIRED),
    FIELD("when", OPTIONAL, read_condition, NEXT_STEP(when)),
    REFERENCES("findings", OPTIONAL, read_indices, NEXT_STEP(findings), NEXT_STEP(finding_count),
               ITEM_FINDING),
    TEXT("say", REQUIRED, NEXT_STEP(say)),
    NUMBER("days", OPTIONAL, NEXT_STEP(days), NOT_NEGATIVE),
};
static const struct shape NEXT_STEP_SHAPE = SHAPE("a next step", NEXT_STEP_FIELDS);

static void read_next_steps(struct loader *loader, const struct field *field,
                            const struct node *node, void *item)
{
    struct names ids = {0};
    if (!expect_kind(loader, node, NODE_LIST, field->key))
        return;
    struct next_step *steps = arena_array(loader->keep, node->count, sizeof *steps);
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct next_step *step = &steps[count++];
        step->at = node_at(entry);
        step->id = entry_id(loader, entry, "next step", &ids);
        shape_clear(&NEXT_STEP_SHAPE, step);
        shape_read(loader, &NEXT_STEP_SHAPE, entry, step);
    }
    if (!count || steps[count - 1].when.count || steps[count - 1].finding_count)
        node_error(loader, node,
                   "the last next step must hold always, without 'when' and 'findings'");
    field_list(field, item, steps, count);
}

#define ASKED_IF(member) offsetof(struct asked_if, member)

static const struct field ASKED_IF_FIELDS[] = {
    REFERENCES("ask", REQUIRED, read_indices, ASKED_IF(observables), ASKED_IF(observable_count),
               ITEM_OBSERVABLE),
    FIELD("when", OPTIONAL, read_condition, ASKED_IF(when)),
    FIELD("unless", OPTIONAL, read_condition, ASKED_IF(unless)),
};
static const struct shape ASKED_IF_SHAPE = SHAPE("an entry of 'asked_if'", ASKED_IF_FIELDS);

static void read_asked_if(struct loader *loader, const struct field *field, const struct node *node,
                          void *item)
{
    struct asked_if *list = expect_entries(loader, node, NODE_LIST, sizeof *list);
    size_t count = 0;
    for (const struct node *entry = list ? node->first : NULL; entry; entry = entry->next) {
        shape_clear(&ASKED_IF_SHAPE, &list[count]);
        shape_read(loader, &ASKED_IF_SHAPE, entry, &list[count++]);
    }
    field_list(field, item, list, count);
}

static const struct field DECISION_FIELDS[] = {
    CITATION("source", REQUIRED, DECISION(cites)),
    INNER("actions", REQUIRED, ACTIONS),
    INNER("keep_wrong", REQUIRED, KEEP_WRONG),
    INNER("isolate", REQUIRED, ISOLATE_LOSS),
    LOSS("discard_effort", discard_effort),
    LOSS("effort_loss", effort_loss),
    NUMBER("settled", REQUIRED, DECISION(settled), SHARE),
    LOSS("neighbours", neighbours),
    LIST("uses", OPTIONAL, read_uses, DECISION(uses), DECISION(use_count)),
    LIST("floors", OPTIONAL, read_floors, DECISION(floors), DECISION(floor_count)),
    LIST("next_steps", REQUIRED, read_next_steps, DECISION(next_steps), DECISION(next_step_count)),
    LIST("asked_if", OPTIONAL, read_asked_if, DECISION(asked_if), DECISION(asked_if_count)),
};
static const struct shape DECISION_SHAPE = SHAPE("'decision'", DECISION_FIELDS);

/* ---- what the process physics is told -------------------------------------------------------- */

WORDS(ROLE_WORDS, "spore_former", "fungus", "indicator");

#define ORGANISM(member) offsetof(struct organism, member)

static const struct field ORGANISM_FIELDS[] = {
    CITATION("source", REQUIRED, ORGANISM(cites)),
    TEXT("name", REQUIRED, ORGANISM(name)),
    CHOICE("role", REQUIRED, ORGANISM(role), ROLE_WORDS),
    RANGE("d", REQUIRED, ORGANISM(d_minutes), POSITIVE),
    NUMBER("reference", REQUIRED, ORGANISM(reference), ANY),
    RANGE("z", REQUIRED, ORGANISM(z), POSITIVE),
    RANGE("per_gram", REQUIRED, ORGANISM(per_gram), NOT_NEGATIVE),
    TEXT("note", OPTIONAL, ORGANISM(note)),
};
static const struct shape ORGANISM_SHAPE = SHAPE("an organism", ORGANISM_FIELDS);

/* What feeds it, or NULL, told: then the file speaks of values that nothing has. */
static const struct observable *fed_by(struct loader *loader, enum feeds feeds, struct position at)
{
    const char *name = FEEDS[feeds].name;
    int feeder = loader->rules->feeder[feeds];
    if (feeder != RULES_NONE)
        return &loader->rules->observables[feeder];
    load_error(loader, at, "no circumstance feeds '%s'; give one 'feeds: %s'", name, name);
    return NULL;
}

/* The value of what feeds a computation that a key names. */
static bool fed_value(struct loader *loader, enum feeds feeds, struct position at,
                      const struct node *key, size_t *value)
{
    const struct observable *fed = fed_by(loader, feeds, at);
    if (!fed || !find_value(loader, fed, key, value))
        return false;
    use_values(loader, (size_t)(fed - loader->rules->observables), UINT32_C(1) << *value);
    return true;
}

static void read_packing(struct loader *loader, const struct field *field, const struct node *node,
                         void *item)
{
    struct packing *packings = expect_entries(loader, node, NODE_MAP, sizeof *packings);
    size_t count = 0;
    for (const struct node *entry = packings ? node->first : NULL; entry; entry = entry->next)
        count +=
            fed_value(loader, FEEDS_LOAD, node_at(node), entry->key, &packings[count].value) &&
            expect_number(loader, entry, entry->key->text, &POSITIVE, &packings[count].thickness);
    field_list(field, item, packings, count);
}

#define COOK(member) offsetof(struct rules, cook.member)

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
    CITATION("source", REQUIRED, COOK(cites)),
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
    LIST("packing", OPTIONAL, read_packing, COOK(packings), COOK(packing_count)),
    FIELD("no_pressure", OPTIONAL, read_condition, COOK(no_pressure)),
};
static const struct shape COOK_SHAPE = SHAPE("'cook'", COOK_FIELDS);

WORDS(UNIT_WORDS, "ml", "grams", "pieces");

#define STARTER(member) offsetof(struct starter_kind, member)

static const struct field STARTER_FIELDS[] = {
    CITATION("source", REQUIRED, STARTER(cites)),
    TEXT("name", REQUIRED, STARTER(name)),
    CHOICE("unit", REQUIRED, STARTER(unit), UNIT_WORDS),
    NUMBER("usual", REQUIRED, STARTER(usual), POSITIVE),
    RANGE("points", REQUIRED, STARTER(points), POSITIVE),
    RANGE("lag", REQUIRED, STARTER(lag), NOT_NEGATIVE),
};
static const struct shape STARTER_SHAPE = SHAPE("a starter", STARTER_FIELDS);

static void check_starter(struct loader *loader, const struct item *item, void *made)
{
    struct starter_kind *starter = made;
    fed_value(loader, FEEDS_STARTER_KIND, item->at, item->node->key, &starter->value);
}

#define FORECAST(member) offsetof(struct rules, forecast.member)

static const struct field SHAKE_FIELDS[] = {
    PAIR("between", REQUIRED, FORECAST(shake_lo), PER_CENT),
    NUMBER("factor", REQUIRED, FORECAST(shake_factor), POSITIVE),
    NUMBER("pause", REQUIRED, FORECAST(shake_pause), NOT_NEGATIVE),
};
static const struct shape SHAKE = SHAPE("'shake'", SHAKE_FIELDS);

static const struct field FORECAST_FIELDS[] = {
    CITATION("source", REQUIRED, FORECAST(cites)),
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

static const struct field MOVE_FIELDS[] = {
    NUMBER("usual", REQUIRED, offsetof(struct move, usual), CHANCE),
    NUMBER("trust", REQUIRED, offsetof(struct move, trust), NOT_NEGATIVE),
    NUMBER("most", REQUIRED, offsetof(struct move, most), NOT_NEGATIVE),
};
static const struct shape MOVE = SHAPE("a move", MOVE_FIELDS);

/* Their ids are what a cause is moved by. */
void load_moves(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_MOVE];
    for (size_t i = 0; i < items->count; i++) {
        const struct node *node = items->list[i].node;
        size_t moved;
        if (expect_choice(loader, node->key, "moves", &MOVED_WORDS, &moved))
            shape_read(loader, &MOVE, node, &loader->made->moves[moved]);
    }
}

/* ---- review, learned ------------------------------------------------------------------------- */

#define REVIEW(member) offsetof(struct rules, review.member)

static const struct field REVIEW_FIELDS[] = {
    CITATION("source", REQUIRED, REVIEW(cites)),
    NUMBER_OR("false_alarm", REQUIRED, REVIEW(false_alarm), CHANCE, 0.05),
    NUMBER_OR("bayes_factor", REQUIRED, REVIEW(bayes_factor), POSITIVE, 10),
    NUMBER_OR("watched", REQUIRED, REVIEW(watched), NOT_NEGATIVE, 21),
    NUMBER_OR("wait", REQUIRED, REVIEW(wait), NOT_NEGATIVE, 0.5),
};
static const struct shape REVIEW_SHAPE = SHAPE("'review'", REVIEW_FIELDS);

/* "[seen, of]": seen in so many of so many. */
static bool expect_share(struct loader *loader, const struct node *node, double *seen, double *of)
{
    const char *key = node->key->text;
    size_t count = 0;
    const struct node *entry = expect_items(loader, node, key, &count);
    if (!entry)
        return false;
    if (count != 2) {
        node_error(loader, node, "'%s' should be [seen, of], such as [4, 5]", key);
        return false;
    }
    if (!expect_number(loader, entry, key, &NOT_NEGATIVE, seen) ||
        !expect_number(loader, entry->next, key, &NOT_NEGATIVE, of))
        return false;
    if (*seen > *of)
        node_error(loader, node, "'%s' is seen in %g of %g; it cannot be more than all", key, *seen,
                   *of);
    return *seen <= *of;
}

static bool read_counts(struct loader *loader, const struct node *node, struct learned_sign *sign)
{
    size_t value;
    if (!find_item(loader, ITEM_OBSERVABLE, node->key, &sign->observable) ||
        !expect_kind(loader, node, NODE_MAP, node->key->text))
        return false;
    const struct observable *observable = &loader->rules->observables[sign->observable];
    sign->seen = arena_array(loader->keep, observable->value_count, sizeof *sign->seen);
    sign->of = arena_array(loader->keep, observable->value_count, sizeof *sign->of);
    for (const struct node *entry = node->first; entry; entry = entry->next)
        if (find_value(loader, observable, entry->key, &value))
            expect_share(loader, entry, &sign->seen[value], &sign->of[value]);
    return true;
}

static void read_signs(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    size_t room = 0, count = 0, finding;
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    for (const struct node *entry = node->first; entry; entry = entry->next)
        room += entry->count;
    struct learned_sign *signs = arena_array(loader->keep, room, sizeof *signs);
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        if (!find_item(loader, ITEM_FINDING, entry->key, &finding) ||
            !expect_kind(loader, entry, NODE_MAP, entry->key->text))
            continue;
        for (const struct node *sign = entry->first; sign; sign = sign->next) {
            signs[count].finding = finding;
            count += read_counts(loader, sign, &signs[count]);
        }
    }
    field_list(field, item, signs, count);
}

static void read_causes(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct learned_cause *causes = expect_entries(loader, node, NODE_MAP, sizeof *causes);
    size_t count = 0;
    for (const struct node *entry = causes ? node->first : NULL; entry; entry = entry->next)
        count += find_item(loader, ITEM_CAUSE, entry->key, &causes[count].cause) &&
                 expect_share(loader, entry, &causes[count].seen, &causes[count].of);
    field_list(field, item, causes, count);
}

#define LEARNED(member) offsetof(struct rules, learned.member)

static const struct field LEARNED_FIELDS[] = {
    CITATION("source", REQUIRED, LEARNED(cites)),
    NUMBER_OR("strength", REQUIRED, LEARNED(strength), POSITIVE, 0),
    NUMBER_OR("vessels", REQUIRED, LEARNED(vessels), NOT_NEGATIVE, 0),
    LIST("signs", OPTIONAL, read_signs, LEARNED(signs), LEARNED(sign_count)),
    LIST("causes", OPTIONAL, read_causes, LEARNED(causes), LEARNED(cause_count)),
};
static const struct shape LEARNED_SHAPE = SHAPE("'learned'", LEARNED_FIELDS);

/* ---- statements ------------------------------------------------------------------------------ */

static void read_others(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    const struct statement *statement = item;
    read_indices(loader, field, node, item);
    for (size_t i = 0; i < statement->other_count; i++) {
        const struct observable *other = &loader->rules->observables[statement->others[i]];
        if (other->kind != KIND_SEVERAL)
            node_error(loader, node,
                       "'%s' is not of kind 'several'; only of such can the others be absent",
                       other->id);
    }
}

static const struct field STATEMENT_FIELDS[] = {
    FIELD("phrases", REQUIRED, read_phrases, offsetof(struct statement, phrases)),
    FIELD("seen", OPTIONAL, read_condition, offsetof(struct statement, seen)),
    FIELD("absent", OPTIONAL, read_condition, offsetof(struct statement, absent)),
    REFERENCES("others_absent", OPTIONAL, read_others, offsetof(struct statement, others),
               offsetof(struct statement, other_count), ITEM_OBSERVABLE),
    FIELD("alone", OPTIONAL, read_flag, offsetof(struct statement, alone)),
    FIELD("overall", OPTIONAL, read_flag, offsetof(struct statement, overall)),
};
static const struct shape STATEMENT_SHAPE = SHAPE("a statement", STATEMENT_FIELDS);

static void check_statement(struct loader *loader, const struct item *item, void *made)
{
    const struct statement *statement = made;
    if (!statement->seen.count && !statement->absent.count && !statement->other_count &&
        item->node->kind == NODE_MAP)
        load_error(loader, statement->at,
                   "statement '%s' says nothing; give it 'seen', 'absent' or 'others_absent'",
                   statement->id);
}

/* ---- what growers ask ------------------------------------------------------------------------ */

#define REPLY(member) offsetof(struct reply, member)

static const struct field REPLY_FIELDS[] = {
    SET("actions", REPLY(actions), ACTION_WORDS),
    SET("statuses", REPLY(statuses), STATUS_WORDS),
    FIELD("when", OPTIONAL, read_condition, REPLY(when)),
    TEXT("say", REQUIRED, REPLY(say)),
};
static const struct shape REPLY_SHAPE = SHAPE("an answer", REPLY_FIELDS);

static void read_replies(struct loader *loader, const struct field *field, const struct node *node,
                         void *item)
{
    struct reply *replies = expect_entries(loader, node, NODE_LIST, sizeof *replies);
    size_t count = 0;
    for (const struct node *entry = replies ? node->first : NULL; entry; entry = entry->next) {
        shape_clear(&REPLY_SHAPE, &replies[count]);
        shape_read(loader, &REPLY_SHAPE, entry, &replies[count++]);
    }
    const struct reply *last = count ? &replies[count - 1] : NULL;
    if (!last || last->actions || last->statuses || last->when.count)
        node_error(loader, node, "the last answer must fit always: only 'say'");
    field_list(field, item, replies, count);
}

static const struct field QUESTION_FIELDS[] = {
    FIELD("phrases", REQUIRED, read_phrases, offsetof(struct own_question, phrases)),
    LIST("answers", REQUIRED, read_replies, offsetof(struct own_question, replies),
         offsetof(struct own_question, reply_count)),
};
static const struct shape QUESTION_SHAPE = SHAPE("a question", QUESTION_FIELDS);

/* ---- the tables of kinds --------------------------------------------------------------------- */

#define OBSERVABLE_KEYS "signs", "circumstances", "tests"
#define KIND(what, key, shape_of, type, list_of, length, check_with)                               \
    {                                                                                              \
        .name = (what), .keys = {key}, .shape = (shape_of), .size = sizeof(type),                  \
        .id = offsetof(type, id), .at = offsetof(type, at),                                        \
        .list = offsetof(struct rules, list_of), .count = offsetof(struct rules, length),          \
        .check = (check_with)                                                                      \
    }

/* In the order of enum item_kind. */
const struct kind KINDS[ITEM_KINDS] = {
    KIND("source", "sources", &SOURCE, struct source, sources, source_count, check_source),
    KIND("group", "groups", &GROUP, struct group, groups, group_count, NULL),
    KIND("species", "species", &SPECIES_SHAPE, struct species, species, species_count, NULL),
    KIND("grain", "grains", &GRAIN_SHAPE, struct grain, grains, grain_count, NULL),
    KIND("vessel", "vessels", &VESSEL_SHAPE, struct vessel_kind, vessels, vessel_count,
         check_vessel),
    KIND("sign", OBSERVABLE_KEYS, OBSERVABLE_SHAPES, struct observable, observables,
         observable_count, check_observable),
    KIND("finding", "finding", &FINDING_SHAPE, struct finding, findings, finding_count,
         check_finding),
    KIND("cause", "cause", &CAUSE_SHAPE, struct cause, causes, cause_count, NULL),
    KIND("caution", "cautions", &CAUTION_SHAPE, struct caution, cautions, caution_count,
         check_caution),
    KIND("organism", "organisms", &ORGANISM_SHAPE, struct organism, organisms, organism_count,
         NULL),
    KIND("starter", "starters", &STARTER_SHAPE, struct starter_kind, starters, starter_count,
         check_starter),
    {.name = "move", .keys = {"moves"}},
    {.name = "word"},
    KIND("statement", NULL, &STATEMENT_SHAPE, struct statement, language.statements,
         language.statement_count, check_statement),
    KIND("question", "questions", &QUESTION_SHAPE, struct own_question, questions, question_count,
         NULL),
    {.name = "key"},
};

const struct whole WHOLES[WHOLE_COUNT] = {
    {"rules", &RULES, true},
    {"scale", &SCALE_SHAPE, true},
    {"calibration", &CALIBRATION_SHAPE, true},
    {"decision", &DECISION_SHAPE, true},
    {"cook", &COOK_SHAPE, false},
    {"forecast", &FORECAST_SHAPE, false},
    {"review", &REVIEW_SHAPE, false},
    {"learned", &LEARNED_SHAPE, false},
};
