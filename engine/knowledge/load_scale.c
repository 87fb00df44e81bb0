/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rule base's own name, the words for numbers, fitted numbers, groups of signs. */
#include "knowledge/fields_internal.h"

/* ---- rules ----------------------------------------------------------------------------------- */

static const struct field RULES_FIELDS[] = {
    FIELD("name", REQUIRED, read_text, offsetof(struct rules, name)),
    FIELD("version", REQUIRED, read_text, offsetof(struct rules, version)),
};
static const struct shape RULES = SHAPE("'rules'", RULES_FIELDS);

/* ---- scale ----------------------------------------------------------------------------------- */

/* A mapping from words to numbers. */
static void read_words(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct word *words = arena_array(loader->keep, node->count, sizeof *words);
    if (!words)
        return;
    size_t used = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        words[used].word = entry->key->text;
        used += expect_number(loader, entry, entry->key->text, field->bounds, &words[used].number);
    }
    *(const struct word **)field_place(field, item) = words;
    *(size_t *)(void *)((char *)item + field->count) = used;
}

static const struct field SPOKEN_FIELDS[] = {
    NUMBER("at_least", REQUIRED, offsetof(struct word, number), SHARE),
    FIELD("say", REQUIRED, read_text, offsetof(struct word, word)),
};
static const struct shape SPOKEN = SHAPE("a spoken probability", SPOKEN_FIELDS);

static void read_spoken(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct scale *scale = item;
    if (!expect_kind(loader, node, NODE_LIST, field->key))
        return;
    struct word *words = arena_array(loader->keep, node->count, sizeof *words);
    if (!words)
        return;
    size_t used = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next, used++) {
        shape_read(loader, &SPOKEN, entry, &words[used]);
        if (used && words[used].number >= words[used - 1].number)
            fault_error(
                &loader->faults, node_at(entry),
                "'at_least' rises from %g to %g; spoken probabilities stand in falling order",
                words[used - 1].number, words[used].number);
    }
    if (!used || words[used - 1].number > 0)
        fault_error(&loader->faults, node_at(node),
                    "the last spoken probability must have 'at_least: 0.0', to cover all");
    scale->spoken = words;
    scale->spoken_count = used;
}

#define WORDS(name, member, length, within)                                                        \
    {                                                                                              \
        .key = (name), .required = REQUIRED, .read = read_words, .bounds = &(within),              \
        .offset = offsetof(struct scale, member), .count = offsetof(struct scale, length)          \
    }

static const struct field SCALE_FIELDS[] = {
    WORDS("frequency", frequency, frequency_count, CHANCE),
    WORDS("weight", weight, weight_count, POSITIVE),
    OWN("spoken", REQUIRED, read_spoken),
};
static const struct shape SCALE = SHAPE("'scale'", SCALE_FIELDS);

/* ---- calibration ----------------------------------------------------------------------------- */

static const struct bounds TAU = {0, 1, true, false, "above 0, up to 1"};

#define SIBLINGS_PLACE(member) offsetof(struct calibration, siblings.member)

static const struct field SIBLINGS_FIELDS[] = {
    NUMBER("most", REQUIRED, SIBLINGS_PLACE(most), NOT_NEGATIVE),
    NUMBER("usual", REQUIRED, SIBLINGS_PLACE(usual), CHANCE),
    NUMBER("usual_seen", REQUIRED, SIBLINGS_PLACE(usual_seen), POSITIVE),
    NUMBER("reach_seen", REQUIRED, SIBLINGS_PLACE(reach_seen), POSITIVE),
};
static const struct shape SIBLINGS = SHAPE("'siblings'", SIBLINGS_FIELDS);

static const struct field CALIBRATION_FIELDS[] = {
    NUMBER("tau", REQUIRED, offsetof(struct calibration, tau), TAU),
    NUMBER("hedge", REQUIRED, offsetof(struct calibration, hedge), SHARE),
    NUMBER("silence", OPTIONAL, offsetof(struct calibration, silence), SHARE),
    NUMBER("silence_after", OPTIONAL, offsetof(struct calibration, silence_after), NOT_NEGATIVE),
    INNER("siblings", OPTIONAL, SIBLINGS),
    FIELD("fitted_by", OPTIONAL, read_text, offsetof(struct calibration, fitted_by)),
};
static const struct shape CALIBRATION = SHAPE("'calibration'", CALIBRATION_FIELDS);

/* ---- groups ---------------------------------------------------------------------------------- */

static const struct field GROUP_FIELDS[] = {
    NUMBER("overlap", REQUIRED, offsetof(struct group, overlap), SHARE),
};
static const struct shape GROUP = SHAPE("a group", GROUP_FIELDS);

void load_groups(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_GROUP];
    struct group *groups = items_array(loader, ITEM_GROUP, sizeof *groups);
    for (size_t i = 0; groups && i < items->count; i++) {
        groups[i] = (struct group){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &GROUP, items->list[i].node, &groups[i]);
    }
    loader->made->groups = groups;
    loader->made->group_count = groups ? items->count : 0;
}

static void load_whole(struct loader *loader, const char *id, const struct shape *shape, void *into)
{
    const struct item *item = catalogue_whole(loader, id);
    if (item)
        shape_read(loader, shape, item->node, into);
}

void load_scale(struct loader *loader)
{
    struct rules *made = loader->made;
    load_whole(loader, "rules", &RULES, made);
    load_whole(loader, "scale", &SCALE, &made->scale);
    load_whole(loader, "calibration", &CALIBRATION, &made->calibration);
}
