/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Why it is there. */
#include <string.h>

#include "knowledge/fields_internal.h"

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
            fault_error(&loader->faults, node_at(node), "'%s' is no test; 'settle' names tests",
                        test->id);
    }
}

static const struct bounds SHARE_ABOVE_0 = {0, 1, true, false, "above 0, up to 1"};

static const struct field FIELDS[] = {
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
static const struct shape CAUSE = SHAPE("a cause", FIELDS);

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
