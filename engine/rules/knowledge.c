/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "rules/load.h"

/* Kind by kind: how the tables of rules.h are read, and what is wrong with an item as a whole. */

#define WORDS(name, ...)                                                                           \
    static const char *const name##_LIST[] = {__VA_ARGS__};                                        \
    static const struct terms name = {name##_LIST, sizeof name##_LIST / sizeof *name##_LIST, 0}

/* ---- what stands before the entries of lists and mappings ------------------------------------ */

/* Each at the beginning of the struct. */

static bool head_word(struct loader *loader, const struct node *entry, void *made)
{
    (void)loader;
    *(const char **)made = entry->key->text;
    return true;
}

static bool head_id(struct loader *loader, const struct node *entry, void *made)
{
    return expect_id(loader, entry->key) && head_word(loader, entry, made);
}

static bool head_finding(struct loader *loader, const struct node *entry, void *made)
{
    return strcmp(entry->key->text, "source") != 0 &&
           find_item(loader, ITEM_FINDING, entry->key, made);
}

static bool head_cause(struct loader *loader, const struct node *entry, void *made)
{
    return find_item(loader, ITEM_CAUSE, entry->key, made);
}

/* Of a list: an id among the keys, and where the entry stands. */
static bool head_listed(struct loader *loader, const struct node *entry, void *made)
{
    const struct node *id = node_entry(entry, "id");
    *(struct listed *)made = (struct listed){"", node_at(entry)};
    if (id && expect_kind(loader, id, NODE_TEXT, "id") && expect_id(loader, id))
        ((struct listed *)made)->id = id->text;
    return true;
}

/* ---- the rule base itself, words for numbers, fitted numbers --------------------------------- */

SHAPE(rules, "'rules'", ROWS(rules, RULES_TABLE));

SINGLES(chance, word, head_word, number, NUMBER_OR(CHANCE, 0));
SINGLES(factor, word, head_word, number, NUMBER_OR(POSITIVE, 0));

SHAPE(scale, "'scale'", ROWS(scale, SCALE_TABLE));
SHAPE(sibling_rules, "'siblings'", ROWS(sibling_rules, SIBLINGS_TABLE));
SHAPE(word_calibration, "'words'", ROWS(word_calibration, WORDS_TABLE));
SHAPE(calibration, "'calibration'", ROWS(calibration, CALIBRATION_TABLE));

/* ---- sources, groups ------------------------------------------------------------------------- */

SHAPE(source, "a source", ROWS(source, SOURCE_TABLE));
SHAPE(group, "a group", ROWS(group, GROUP_TABLE));

/* A claim is to be looked up: a bracket stands for a title nobody gave, "n.d." for a year nobody
 * looked for. */
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

/* ---- species, grains, vessels ---------------------------------------------------------------- */

SHAPE(growth, "'growth'", ROWS(growth, GROWTH_TABLE));
SHAPE(species, "a species",
      ROWS(species, SPECIES_TABLE) KEY("normal", MAY, .read = NULL)); /* load_normal */
SHAPE(grain, "a grain", ROWS(grain, GRAIN_TABLE));

static void check_species(struct loader *loader, const struct item *item, void *made)
{
    struct species *species = made;
    struct growth *growth = &species->growth;
    const struct node *node = node_entry(item->node, "growth");
    if (!node)
        return;
    if (!node_entry(node, "source"))
        growth->cites = species->cites;
    if (growth->t_min >= growth->t_opt || growth->t_opt >= growth->t_max)
        node_error(loader, node, "'t_min', 't_opt' and 't_max' are %g, %g and %g; they must rise",
                   growth->t_min, growth->t_opt, growth->t_max);
}

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

WORDS(BODY_WORDS, "cylinder", "brick");

static READER(read_sides)
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

SHAPE(vessel_kind, "a vessel",
      ROWS(vessel_kind, VESSEL_TABLE)
          KEY("sides", MAY, .read = read_sides, .offset = offsetof(struct vessel_kind, sides),
              .reals = 3, .absent = NAN));

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
WORDS(SUBJECT_WORDS, "vessel", "making", "others");
WORDS(GATE_WORDS, "none", "unsolicited", "never_asked");
static const struct terms DIMENSION_WORDS = {dimension_names, DIM_COUNT, 0};
WORDS(LIST_WORDS, "species", "grains", "vessels"); /* in the order of what they feed */

#define FEED_ROW(name, said, kind, dimension) {KIND_##kind, DIM_##dimension},
static const struct feed {
    enum observable_kind kind;
    enum dimension dimension;
} FED[FEEDS_COUNT] = {FEEDS(FEED_ROW)};
#define FEED_NAME(name, said, ...) said,
WORDS(FEED_WORDS, FEEDS(FEED_NAME));

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

SHAPE(value, "a value", ROWS(value, VALUE_TABLE));

static bool head_value(struct loader *loader, const struct node *entry, void *made)
{
    *(struct value *)made = (struct value){.at = node_at(entry->key), .from = NAN};
    return head_id(loader, entry, made);
}

ENTRIES(value, NODE_MAP, .head = head_value);

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
    if (value->prevails && observable->kind != KIND_ONE)
        load_error(loader, value->at,
                   "'prevails' is for 'kind: one', of whose values one stands; take it out");
    if (!isnan(value->parameter) && observable->feeds == FEEDS_NONE)
        load_error(loader, value->at,
                   "'parameter' is for what feeds a computation; take it out or add 'feeds'");
}

static READER(read_values)
{
    struct observable *observable = item;
    size_t errors = loader->errors;
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    if (node->count > RULES_MAX_VALUES) {
        node_error(loader, node, "%u values; there may be %d at most", (unsigned)node->count,
                   RULES_MAX_VALUES);
        return;
    }
    read_entries(loader, field, node, item);
    const struct node *entry = node->first;
    for (size_t i = 0; i < observable->value_count; i++, entry = entry->next) {
        const struct value *value = &observable->values[i];
        while (entry->key->text != value->id) /* it had no id */
            entry = entry->next;
        check_value(loader, observable, value, entry);
        observable->salient |= (uint32_t)value->salient << i;
        observable->prevailing |= (uint32_t)value->prevails << i;
    }
    if (loader->errors != errors)
        return; /* sums and bins of what is broken mean nothing */
    check_shares(loader, observable, node->key);
    if (observable->kind == KIND_NUMBER)
        set_bins(loader, observable, (struct value *)observable->values);
}

#define VALUE_OF(one)                                                                              \
    (struct value)                                                                                 \
    {                                                                                              \
        .id = (one)->id, .label = (one)->name, .base = (one)->base, .phrases = (one)->phrases,     \
        .at = (one)->at, .from = NAN, .below = NAN, .parameter = NAN                               \
    }

/* Values from the list of species, grains or vessels. */
static READER(read_values_from)
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

static const struct field observable_fields[] = {
    ROWS(observable, OBSERVABLE_TABLE) KEY("values_from", MAY, .read = read_values_from)
        KEY("phrases", MAY, .read = NULL) /* once it is known what {q} stands for */
};
#define OBSERVABLE(said)                                                                           \
    {                                                                                              \
        said, observable_fields, sizeof observable_fields / sizeof *observable_fields              \
    }
static const struct shape observable_shapes[] = {OBSERVABLE("a sign"), OBSERVABLE("a circumstance"),
                                                 OBSERVABLE("a test")};

static void read_own_phrases(struct loader *loader, struct observable *observable,
                             const struct node *node)
{
    static const struct field phrases = {.key = "phrases",
                                         .offset = offsetof(struct observable, phrases)};
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
    const struct node *node = node_entry(item->node, "feeds");
    if (observable->kind != FED[feeds].kind)
        node_error(loader, node, "what feeds '%s' must be of kind '%s'", FEED_WORDS.list[feeds],
                   KIND_WORDS.list[FED[feeds].kind]);
    else if (observable->kind == KIND_NUMBER && observable->dimension != FED[feeds].dimension)
        node_error(loader, node, "what feeds '%s' must be in '%s'", FEED_WORDS.list[feeds],
                   dimension_names[FED[feeds].dimension]);
    /* What a computation takes from a list must be of that list, index for index. */
    if (feeds >= FEEDS_SPECIES && feeds <= FEEDS_VESSEL) {
        const char *list = LIST_WORDS.list[feeds - FEEDS_SPECIES];
        const struct node *from = node_entry(item->node, "values_from");
        if (!from || from->kind != NODE_TEXT || strcmp(from->text, list) != 0)
            load_error(loader, observable->at, "what feeds '%s' must have 'values_from: %s'",
                       FEED_WORDS.list[feeds], list);
    }
    int *feeder = &loader->made->feeder[feeds];
    const struct observable *all = loader->made->observables;
    if (*feeder != RULES_NONE)
        load_error(loader, observable->at, "'%s' and '%s' both feed '%s'; one may", all[*feeder].id,
                   observable->id, FEED_WORDS.list[feeds]);
    *feeder = (int)(observable - all);
}

/* ---- findings -------------------------------------------------------------------------------- */

SINGLES(difference, difference, head_finding, how, TEXT);

#define STEPS(name, action)                                                                        \
    KEY(name, MAY, .read = read_texts, .offset = offsetof(struct finding, steps[action]),          \
        .count = offsetof(struct finding, step_count[action]))
SHAPE(steps, "'do'",
      STEPS("keep", ACTION_KEEP) STEPS("isolate", ACTION_ISOLATE) STEPS("discard", ACTION_DISCARD));
SHAPE(finding, "a finding",
      KEY("id", MUST, .read = NULL) ROWS(finding, FINDING_TABLE)
          KEY("do", MUST, .read = read_shape, .shape = &steps_shape));

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

SINGLES(growth_rate, growth_rate, head_finding, rate, NUMBER_OR(POSITIVE, 0));

SHAPE(cause, "a cause", KEY("id", MUST, .read = NULL) ROWS(cause, CAUSE_TABLE));

static void check_cause(struct loader *loader, const struct item *item, void *made)
{
    struct cause *cause = made;
    const struct node *grows = node_entry(item->node, "grows"),
                      *settle = node_entry(item->node, "settle");
    cause->grows_cites = grows ? citation_of(loader, grows, cause->cites) : cause->cites;
    for (size_t i = 0; i < cause->settle_count; i++) {
        const struct observable *test = &loader->rules->observables[cause->settle[i]];
        if (test->class != CLASS_TEST)
            node_error(loader, settle, "'%s' is not a test; 'settle' names tests", test->id);
    }
}

/* ---- cautions -------------------------------------------------------------------------------- */

SHAPE(caution, "a caution", ROWS(caution, CAUTION_TABLE));

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

#define SAYS(name, action)                                                                         \
    SHAPE(name, "'" #name "'",                                                                     \
          KEY("label", MUST, .read = read_text,                                                    \
              .offset = offsetof(struct decision_rules, action_label[action]))                     \
              KEY("say", MUST, .read = read_text,                                                  \
                  .offset = offsetof(struct decision_rules, action_say[action])))
SAYS(keep, ACTION_KEEP);
SAYS(isolate, ACTION_ISOLATE);
SAYS(discard, ACTION_DISCARD);
#define WITHIN(name, need, inner) KEY(name, need, .read = read_shape, .shape = &inner##_shape)
SHAPE(actions, "'actions'",
      WITHIN("keep", MUST, keep) WITHIN("isolate", MUST, isolate) WITHIN("discard", MUST, discard));

#define LOSS(name, member)                                                                         \
    {.key = (name),                                                                                \
     .required = true,                                                                             \
     .offset = offsetof(struct decision_rules, member),                                            \
     READ_NUMBER(NOT_NEGATIVE)},
SHAPE(keep_wrong, "'keep_wrong'",
      LOSS("base", keep_wrong) LOSS("none", keep_wrong_hazard[HAZARD_NONE])
          LOSS("irritant", keep_wrong_hazard[HAZARD_IRRITANT])
              LOSS("sporing", keep_wrong_hazard[HAZARD_SPORING])
                  LOSS("toxigenic", keep_wrong_hazard[HAZARD_TOXIGENIC]));
SHAPE(isolate_loss, "'isolate'", ROWS(decision_rules, ISOLATE_TABLE));

SHAPE(use, "a use", ROWS(use, USE_TABLE));
ENTRIES(use, NODE_MAP, .head = head_id);

/* A floor may force caution, never trust. */
WORDS(FORBIDDEN_WORDS, "keep");
static const char *const forced[] = {"isolate", "discard"};
static const struct terms FORCED_WORDS = {forced, 2, ACTION_ISOLATE};

/* One condition, or a list of them. */
static READER(read_exceptions)
{
    static const struct field exception = {.key = "unless"};
    bool listed = node->kind == NODE_LIST;
    size_t count = listed ? node->count : 1;
    struct condition *unless = arena_array(loader->keep, count, sizeof *unless);
    const struct node *entry = listed ? node->first : node;
    for (size_t k = 0; k < count; k++, entry = entry->next)
        read_condition(loader, &exception, entry, &unless[k]);
    field_list(field, item, unless, count);
}

SHAPE(floor_rule, "a floor", KEY("id", MUST, .read = NULL) ROWS(floor_rule, FLOOR_TABLE));

static void check_floor(struct loader *loader, const struct node *entry, void *made)
{
    struct floor_rule *floor = made;
    if (!node_entry(entry, "source"))
        floor->cites = loader->rules->decision.cites;
    if (entry->kind != NODE_MAP)
        return;
    if (!node_entry(entry, "action") == !node_entry(entry, "forbids"))
        node_error(loader, entry, "a floor needs either 'action: discard' or 'forbids: keep'");
    if (!node_entry(entry, "likely") != !node_entry(entry, "likely_above"))
        node_error(loader, entry, "'likely' and 'likely_above' go together; add the other");
    if (!node_entry(entry, "when") && !node_entry(entry, "contaminated_above") &&
        !node_entry(entry, "likely"))
        node_error(loader, entry,
                   "a floor needs 'when' or 'contaminated_above'; without, it never applies");
}

ENTRIES(floor_rule, NODE_LIST, .head = head_listed, .check = check_floor);

SHAPE(next_step, "a next step", KEY("id", MUST, .read = NULL) ROWS(next_step, NEXT_STEP_TABLE));

static void check_next_steps(struct loader *loader, const struct node *node, const void *list,
                             size_t count)
{
    const struct next_step *steps = list;
    if (!count || steps[count - 1].when.count || steps[count - 1].finding_count)
        node_error(loader, node,
                   "the last next step must hold always, without 'when' and 'findings'");
}

ENTRIES(next_step, NODE_LIST, .head = head_listed, .check_all = check_next_steps);

SHAPE(asked_if, "an entry of 'asked_if'", ROWS(asked_if, ASKED_IF_TABLE));
ENTRIES(asked_if, NODE_LIST, .head = NULL);

SHAPE(decision, "'decision'",
      ROWS(decision_rules, DECISION_TABLE) WITHIN("actions", MUST, actions)
          WITHIN("keep_wrong", MUST, keep_wrong) WITHIN("isolate", MUST, isolate_loss));

/* ---- what the process physics is told -------------------------------------------------------- */

WORDS(ROLE_WORDS, "spore_former", "fungus", "indicator");
SHAPE(organism, "an organism", ROWS(organism, ORGANISM_TABLE));

/* What feeds it, or NULL, told: then the file speaks of values that nothing has. */
static const struct observable *fed_by(struct loader *loader, enum feeds feeds, struct position at)
{
    const char *name = FEED_WORDS.list[feeds];
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

static bool head_load(struct loader *loader, const struct node *entry, void *made)
{
    return fed_value(loader, FEEDS_LOAD, node_at(entry), entry->key, made);
}

SINGLES(packing, packing, head_load, thickness, NUMBER_OR(POSITIVE, 0));

SHAPE(judged, "'judged'", ROWS(cook_rules, JUDGED_TABLE));
SHAPE(probe, "'probe'", ROWS(cook_rules, PROBE_TABLE));
SHAPE(cook, "'cook'",
      ROWS(cook_rules, COOK_TABLE) WITHIN("judged", MAY, judged) WITHIN("probe", MAY, probe));

WORDS(UNIT_WORDS, "ml", "grams", "pieces");
SHAPE(starter_kind, "a starter", ROWS(starter_kind, STARTER_TABLE));

static void check_starter(struct loader *loader, const struct item *item, void *made)
{
    struct starter_kind *starter = made;
    fed_value(loader, FEEDS_STARTER_KIND, item->at, item->node->key, &starter->value);
}

SHAPE(shake, "'shake'", ROWS(forecast_rules, SHAKE_TABLE));
SHAPE(forecast, "'forecast'", ROWS(forecast_rules, FORECAST_TABLE) WITHIN("shake", MAY, shake));
SHAPE(move, "a move", ROWS(move, MOVE_TABLE));

/* Their ids are what a cause is moved by. */
void load_moves(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_MOVE];
    for (size_t i = 0; i < items->count; i++) {
        const struct node *node = items->list[i].node;
        size_t moved;
        if (expect_choice(loader, node->key, "moves", &MOVED_WORDS, &moved))
            shape_read(loader, &move_shape, node, &loader->made->moves[moved]);
    }
}

/* ---- review, learned ------------------------------------------------------------------------- */

SHAPE(review, "'review'", ROWS(review_rules, REVIEW_TABLE));

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

static READER(read_signs)
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

static READER(read_share)
{
    struct learned_cause *cause = item;
    (void)field;
    (void)expect_share(loader, node, &cause->seen, &cause->of);
}

SINGLES(learned_cause, learned_cause, head_cause, cause, BY(read_share));

SHAPE(learned, "'learned'", ROWS(learned, LEARNED_TABLE));

/* ---- statements, what growers ask ------------------------------------------------------------ */

SHAPE(statement, "a statement", ROWS(statement, STATEMENT_TABLE));

static void check_statement(struct loader *loader, const struct item *item, void *made)
{
    const struct statement *statement = made;
    const struct node *others = node_entry(item->node, "others_absent");
    for (size_t i = 0; i < statement->other_count; i++) {
        const struct observable *other = &loader->rules->observables[statement->others[i]];
        if (other->kind != KIND_SEVERAL)
            node_error(loader, others,
                       "'%s' is not of kind 'several'; only of such can the others be absent",
                       other->id);
    }
    if (!statement->seen.count && !statement->absent.count && !statement->other_count &&
        item->node->kind == NODE_MAP)
        load_error(loader, statement->at,
                   "statement '%s' says nothing; give it 'seen', 'absent' or 'others_absent'",
                   statement->id);
}

SHAPE(reply, "an answer", ROWS(reply, REPLY_TABLE));

static void check_replies(struct loader *loader, const struct node *node, const void *list,
                          size_t count)
{
    const struct reply *last = count ? (const struct reply *)list + count - 1 : NULL;
    if (!last || last->actions || last->statuses || last->when.count)
        node_error(loader, node, "the last answer must fit always: only 'say'");
}

ENTRIES(reply, NODE_LIST, .head = NULL, .check_all = check_replies);

SHAPE(own_question, "a question", ROWS(own_question, QUESTION_TABLE));

/* ---- what stands at the top of a file -------------------------------------------------------- */

#define ITEMS(name_of, key_of, form_of, kind_of, shape_of, type, list_of, length, check_with, ...) \
    {                                                                                              \
        .key = (key_of), .form = (form_of), .kind = (kind_of), .name = (name_of),                  \
        .shape = &(shape_of), .size = sizeof(type), .into = offsetof(struct rules, list_of),       \
        .count = offsetof(struct rules, length), .check = (check_with), __VA_ARGS__                \
    }
#define MANY(name, key, kind, type, list, length, check)                                           \
    ITEMS(name, key, SECTION_MANY, kind, type##_shape, struct type, list, length, check, .class = 0)
#define ONE(name, kind, list, length, check)                                                       \
    ITEMS(#name, #name, SECTION_ONE, kind, name##_shape, struct name, list, length, check,         \
          .class = 0)
#define OBSERVED(key, which)                                                                       \
    ITEMS("sign", key, SECTION_MANY, ITEM_OBSERVABLE, observable_shapes[which], struct observable, \
          observables, observable_count, check_observable, .class = (which))
#define WHOLE(member, need)                                                                        \
    {                                                                                              \
        .key = #member, .form = SECTION_WHOLE, .kind = ITEM_WHOLE, .name = "key",                  \
        .shape = &member##_shape, .into = offsetof(struct rules, member), .required = (need)       \
    }

const struct section SECTIONS[SECTION_COUNT] = {
    {"rules", SECTION_WHOLE, ITEM_WHOLE, "key", &rules_shape, .required = true},
    WHOLE(scale, MUST),
    WHOLE(calibration, MUST),
    MANY("source", "sources", ITEM_SOURCE, source, sources, source_count, check_source),
    MANY("group", "groups", ITEM_GROUP, group, groups, group_count, NULL),
    MANY("species", "species", ITEM_SPECIES, species, species, species_count, check_species),
    MANY("grain", "grains", ITEM_GRAIN, grain, grains, grain_count, NULL),
    MANY("vessel", "vessels", ITEM_VESSEL, vessel_kind, vessels, vessel_count, check_vessel),
    OBSERVED("signs", CLASS_SIGN),
    OBSERVED("circumstances", CLASS_CIRCUMSTANCE),
    OBSERVED("tests", CLASS_TEST),
    ONE(finding, ITEM_FINDING, findings, finding_count, check_finding),
    ONE(cause, ITEM_CAUSE, causes, cause_count, check_cause),
    MANY("caution", "cautions", ITEM_CAUTION, caution, cautions, caution_count, check_caution),
    MANY("organism", "organisms", ITEM_ORGANISM, organism, organisms, organism_count, NULL),
    MANY("starter", "starters", ITEM_STARTER, starter_kind, starters, starter_count, check_starter),
    {.key = "moves", .kind = ITEM_MOVE, .name = "move"}, /* load_moves */
    {.key = "language", .form = SECTION_LANGUAGE},
    {.kind = ITEM_WORDS, .name = "word"}, /* within: load_language */
    MANY("statement", NULL, ITEM_STATEMENT, statement, language.statements,
         language.statement_count, check_statement),
    MANY("question", "questions", ITEM_QUESTION, own_question, questions, question_count, NULL),
    WHOLE(decision, MUST),
    WHOLE(cook, MAY),
    WHOLE(forecast, MAY),
    WHOLE(review, MAY),
    WHOLE(learned, MAY),
};
