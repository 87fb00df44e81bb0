/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ids as they are written -> the index of what they name. */
#include <string.h>

#include "knowledge/fields_internal.h"

enum { FEW = RULES_MAX_VALUES }; /* names that a message lists */

/* What would be right instead of `name`: the nearest, or all when they are few. */
static const char *instead(struct loader *loader, const char *name, const char *const *names,
                           size_t count)
{
    const char *nearest = fault_nearest(&loader->faults, name, names, count);
    const char *listed = NULL;
    if (nearest)
        return fault_hint(&loader->faults, nearest);
    if (count && count <= FEW)
        listed =
            arena_format(loader->scratch, "; there are %s", names_joined(loader, names, count));
    return listed ? listed : "; nothing has a name near it";
}

bool find_item(struct loader *loader, enum item_kind kind, const struct node *node, size_t *index)
{
    const struct names *ids = &loader->rules->memory->ids[kind];
    if (!expect_kind(loader, node, NODE_TEXT, item_kind_name(kind)))
        return false;
    int found = names_find(ids, node->text);
    if (found == RULES_NONE) {
        fault_error(&loader->faults, node_at(node), "unknown %s '%s'%s", item_kind_name(kind),
                    fault_quote(&loader->faults, node->text),
                    instead(loader, node->text, ids->list, ids->count));
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
    fault_error(&loader->faults, node_at(node), "unknown value '%s' of '%s'%s",
                fault_quote(&loader->faults, node->text), observable->id,
                instead(loader, node->text, names, observable->value_count));
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
