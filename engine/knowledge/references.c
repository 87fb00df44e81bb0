/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ids as they are written -> the index of what they name. */
#include <string.h>

#include "knowledge/fields_internal.h"

bool find_item(struct loader *loader, enum item_kind kind, const struct node *node, size_t *index)
{
    const struct names *ids = &loader->rules->memory->ids[kind];
    if (!expect_kind(loader, node, NODE_TEXT, item_kind_name(kind)))
        return false;
    int found = names_find(ids, node->text);
    if (found == RULES_NONE) {
        fault_error(&loader->faults, node_at(node), "unknown %s '%s'%s", item_kind_name(kind),
                    fault_quote(&loader->faults, node->text),
                    fault_hint(&loader->faults, names_nearest(ids, node->text)));
        return false;
    }
    *index = (size_t)found;
    return true;
}

static void refuse_value(struct loader *loader, const struct observable *observable,
                         const struct node *node)
{
    const char *names[RULES_MAX_VALUES];
    for (size_t i = 0; i < observable->value_count; i++)
        names[i] = observable->values[i].id;
    fault_error(
        &loader->faults, node_at(node), "unknown value '%s' of '%s'%s",
        fault_quote(&loader->faults, node->text), observable->id,
        fault_hint(&loader->faults, diag_nearest(node->text, names, observable->value_count)));
}

bool find_value(struct loader *loader, const struct observable *observable, const struct node *node,
                size_t *value)
{
    if (!expect_kind(loader, node, NODE_TEXT, observable->id))
        return false;
    int found = rules_value(observable, node->text);
    if (found != RULES_NONE)
        *value = (size_t)found;
    else if (observable->value_count) /* one without is broken itself, and told */
        refuse_value(loader, observable, node);
    return found != RULES_NONE;
}

void use_values(struct loader *loader, size_t observable, uint32_t mask)
{
    if (loader->value_used)
        loader->value_used[observable] |= mask;
}
