/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What mistakes cost, the floors above the sum, and what comes next when it is kept. */
#include <math.h>
#include <string.h>

#include "knowledge/fields_internal.h"

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
        fault_error(&loader->faults, node_at(id), "%s '%s' stands twice; rename one", what,
                    id->text);
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
        fault_error(&loader->faults, node_at(entry),
                    "a floor needs either 'action: discard' or 'forbids: keep'");
    if (!node_entry(entry, "when") && !node_entry(entry, "contaminated_above"))
        fault_error(&loader->faults, node_at(entry),
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
        fault_error(&loader->faults, node_at(node),
                    "the last next step must hold always, without 'when' and 'findings'");
    decision->next_steps = steps;
    decision->next_step_count = count;
}

/* ---- the whole ------------------------------------------------------------------------------- */

static const struct field FIELDS[] = {
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
static const struct shape DECISION_SHAPE = SHAPE("'decision'", FIELDS);

void load_decision(struct loader *loader)
{
    const struct item *item = catalogue_whole(loader, "decision");
    if (item)
        shape_read(loader, &DECISION_SHAPE, item->node, &loader->made->decision);
}
