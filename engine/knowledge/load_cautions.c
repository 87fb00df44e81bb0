/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Health and safety: what is said, and when. */
#include "knowledge/fields_internal.h"

static const struct field FIELDS[] = {
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
static const struct shape CAUTION = SHAPE("a caution", FIELDS);

/* A caution that never shows is worse than none: its author thinks it does. */
static void check_triggers(struct loader *loader, const struct caution *caution,
                           const struct node *node)
{
    bool by_mass = caution->hazards || caution->statuses || caution->finding_count;
    if (node->kind != NODE_MAP)
        return;
    if (!by_mass && !caution->actions && !caution->when.count && !caution->always)
        fault_error(&loader->faults, caution->at,
                    "caution '%s' is never shown; give it 'hazards', 'statuses', 'findings', "
                    "'actions', 'when', or 'always: true'",
                    caution->id);
    if (by_mass && !node_entry(node, "at_least"))
        fault_error(&loader->faults, caution->at,
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
