/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Blocks of claims: how often, or how much more often, a value is seen. */
#include <string.h>

#include "knowledge/fields_internal.h"

/* The probabilities that one-of claims give their values may exceed 1 by this much, no more. */
static const double SUM_MOST = 1.1;

struct block { /* the claims about one observable */
    struct loader *loader;
    const struct observable *observable;
    size_t index;
    enum claim_scale scale;
    struct citation cites;
};

static bool is_source(const struct node *entry)
{
    return !strcmp(entry->key->text, "source");
}

/* Room for all claims there can be: a few too many where a block has its own source. */
static size_t count_claims(const struct node *block)
{
    size_t count = 0;
    for (const struct node *entry = block->first; entry; entry = entry->next)
        if (!is_source(entry) && entry->kind == NODE_MAP)
            count += entry->count;
    return count;
}

static bool claim_read(const struct block *block, const struct node *entry, struct claim *claim)
{
    struct loader *loader = block->loader;
    const struct scale *scale = &loader->rules->scale;
    *claim = (struct claim){
        .observable = block->index, .cites = block->cites, .at = node_at(entry->key)};
    if (!find_value(loader, block->observable, entry->key, &claim->value))
        return false;
    use_values(loader, block->index, UINT32_C(1) << claim->value);
    if (block->scale == CLAIM_FREQUENCY)
        return expect_scaled(loader, entry, entry->key->text, scale->frequency,
                             scale->frequency_count, &CHANCE, &claim->number, &claim->word);
    return expect_scaled(loader, entry, entry->key->text, scale->weight, scale->weight_count,
                         &POSITIVE, &claim->number, &claim->word);
}

/* Exactly one value of a one-of holds, so what is claimed of them must leave room for the rest. */
static void check_sum(const struct block *block, const struct node *node,
                      const struct claim *claims, size_t count)
{
    double sum = 0;
    if (block->scale != CLAIM_FREQUENCY || block->observable->kind == KIND_SEVERAL ||
        count == block->observable->value_count)
        return;
    for (size_t i = 0; i < count; i++)
        sum += claims[i].number;
    if (sum > SUM_MOST)
        fault_error(&block->loader->faults, node_at(node->key),
                    "the probabilities of '%s' add up to %.3g; exactly one value holds, so lower "
                    "them to 1, or name all its values",
                    block->observable->id, sum);
}

/* Returns how many claims it put at `claims`. */
static size_t block_read(struct block *block, const struct node *node, struct claim *claims)
{
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next)
        if (!is_source(entry) && claim_read(block, entry, &claims[count]))
            count++;
    check_sum(block, node, claims, count);
    return count;
}

struct claims claims_read(struct loader *loader, const struct node *node, enum claim_scale scale,
                          struct citation inherited)
{
    struct claims claims = {0};
    if (!expect_kind(loader, node, NODE_MAP, node->key->text))
        return claims;
    /* A `source` here ends all the blocks that have none of their own. */
    inherited = citation_of(loader, node, inherited);
    size_t room = count_claims(node);
    claims.list = room ? arena_array(loader->keep, room, sizeof *claims.list) : NULL;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct block block = {.loader = loader, .scale = scale};
        if (is_source(entry) || !find_item(loader, ITEM_OBSERVABLE, entry->key, &block.index) ||
            !expect_kind(loader, entry, NODE_MAP, entry->key->text) || !claims.list)
            continue;
        block.observable = &loader->rules->observables[block.index];
        block.cites = citation_of(loader, entry, inherited);
        claims.count += block_read(&block, entry, claims.list + claims.count);
    }
    return claims;
}
