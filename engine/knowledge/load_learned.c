/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a grower's own confirmed outcomes add to what the files say. */
#include <string.h>

#include "knowledge/fields_internal.h"

#define LEARNED(member) offsetof(struct learned, member)

/* "[seen, of]": seen in so many of so many. */
static bool expect_share(struct loader *loader, const struct node *node, double *seen, double *of)
{
    size_t count = 0;
    const struct node *entry = expect_items(loader, node, node->key->text, &count);
    if (!entry)
        return false;
    if (count != 2) {
        fault_error(&loader->faults, node_at(node), "'%s' should be [seen, of], such as [4, 5]",
                    node->key->text);
        return false;
    }
    if (!expect_number(loader, entry, node->key->text, &NOT_NEGATIVE, seen) ||
        !expect_number(loader, entry->next, node->key->text, &NOT_NEGATIVE, of))
        return false;
    if (*seen > *of)
        fault_error(&loader->faults, node_at(node),
                    "'%s' is seen in %g of %g; it cannot be more than all", node->key->text, *seen,
                    *of);
    return *seen <= *of;
}

static bool read_counts(struct loader *loader, const struct node *node, struct learned_sign *sign)
{
    const struct observable *observable = NULL;
    if (!find_item(loader, ITEM_OBSERVABLE, node->key, &sign->observable) ||
        !expect_kind(loader, node, NODE_MAP, node->key->text))
        return false;
    observable = &loader->rules->observables[sign->observable];
    sign->seen = arena_array(loader->keep, observable->value_count, sizeof *sign->seen);
    sign->of = arena_array(loader->keep, observable->value_count, sizeof *sign->of);
    for (const struct node *entry = node->first; sign->seen && sign->of && entry;
         entry = entry->next) {
        size_t value;
        if (find_value(loader, observable, entry->key, &value))
            expect_share(loader, entry, &sign->seen[value], &sign->of[value]);
    }
    return sign->seen && sign->of;
}

static void read_signs(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    struct learned *learned = item;
    size_t room = 0;
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    for (const struct node *entry = node->first; entry; entry = entry->next)
        room += entry->count;
    struct learned_sign *signs = arena_array(loader->keep, room, sizeof *signs);
    for (const struct node *entry = node->first; signs && entry; entry = entry->next) {
        size_t finding;
        if (!find_item(loader, ITEM_FINDING, entry->key, &finding) ||
            !expect_kind(loader, entry, NODE_MAP, entry->key->text))
            continue;
        for (const struct node *sign = entry->first; sign; sign = sign->next) {
            signs[learned->sign_count].finding = finding;
            learned->sign_count += read_counts(loader, sign, &signs[learned->sign_count]);
        }
    }
    learned->signs = signs;
}

static void read_causes(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct learned *learned = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct learned_cause *causes = arena_array(loader->keep, node->count, sizeof *causes);
    for (const struct node *entry = node->first; causes && entry; entry = entry->next) {
        struct learned_cause *cause = &causes[learned->cause_count];
        if (find_item(loader, ITEM_CAUSE, entry->key, &cause->cause))
            learned->cause_count += expect_share(loader, entry, &cause->seen, &cause->of);
    }
    learned->causes = causes;
}

static const struct field FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, LEARNED(cites)),
    NUMBER("strength", REQUIRED, LEARNED(strength), POSITIVE),
    NUMBER("vessels", REQUIRED, LEARNED(vessels), NOT_NEGATIVE),
    OWN("signs", OPTIONAL, read_signs),
    OWN("causes", OPTIONAL, read_causes),
};
static const struct shape LEARNED_SHAPE = SHAPE("'learned'", FIELDS);

void load_learned(struct loader *loader)
{
    const struct item *item = catalogue_whole(loader, "learned");
    if (item)
        shape_read(loader, &LEARNED_SHAPE, item->node, &loader->made->learned);
}
