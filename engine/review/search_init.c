/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Room for a search, and which computed levels only say why. */
#include <math.h>

#include "review/search_internal.h"

static const uint32_t mixed = LEVEL_NONE - 1; /* more than one level */

/* Notes that `from` was met together with `to`. */
static void meet(uint32_t *partners, uint32_t from, uint32_t to)
{
    if (partners[from] == LEVEL_NONE)
        partners[from] = to;
    else if (partners[from] != to)
        partners[from] = mixed;
}

static uint32_t *partners_new(struct arena *arena, size_t levels)
{
    uint32_t *partners = arena_array(arena, levels, sizeof *partners);
    for (size_t l = 0; partners != NULL && l < levels; l++)
        partners[l] = LEVEL_NONE;
    return partners;
}

static enum status find_same(const struct search *search, size_t computed, size_t origin,
                             bool *same, struct arena *arena)
{
    const struct dataset *dataset = search->dataset;
    const struct factor *from = &dataset->factors[computed], *of = &dataset->factors[origin];
    uint32_t *origins = partners_new(arena, from->level_count);
    uint32_t *back = partners_new(arena, of->level_count);

    if (origins == NULL || back == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (search->standing[i] == STANDING_OUT || from->level[i] == LEVEL_NONE ||
            of->level[i] == LEVEL_NONE)
            continue;
        meet(origins, from->level[i], of->level[i]);
        meet(back, of->level[i], from->level[i]);
    }
    for (uint32_t l = 0; l < from->level_count; l++)
        same[search->first[computed] + l] = origins[l] < mixed && back[origins[l]] == l;
    return STATUS_OK;
}

static enum status find_all_same(struct search *search, struct arena *arena)
{
    const struct dataset *dataset = search->dataset;
    bool *same = arena_array(arena, search->count, sizeof *same);
    enum status status = same != NULL ? STATUS_OK : STATUS_MEMORY;

    for (size_t f = 0; f < dataset->factor_count && status == STATUS_OK; f++) {
        enum factor_kind kind = dataset->factors[f].kind;
        size_t origin = dataset_factor(dataset, factor_kind_origin(kind));
        if (factor_kind_origin(kind) != kind && origin < dataset->factor_count)
            status = find_same(search, f, origin, same, arena);
    }
    search->same = same;
    return status;
}

static void name_candidates(struct search *search)
{
    const struct dataset *dataset = search->dataset;
    for (size_t f = 0; f < dataset->factor_count; f++)
        for (uint32_t l = 0; l < dataset->factors[f].level_count; l++)
            search->candidates[search->first[f] + l] = (struct candidate){.factor = f, .level = l};
}

/* The factors' levels share one fault among them, by how common faults of their scope are. */
static void share_prior(struct search *search)
{
    const struct dataset *dataset = search->dataset;
    const double *prior = search->rule->prior;
    double all = 0.0, sum = 0.0;
    for (size_t s = 0; s < SCOPE_COUNT; s++)
        all += prior[s];
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *of = &dataset->factors[f];
        double share = prior[factor_kind_scope(of->kind)];
        if (!(share > 0.0) || of->kind == FACTOR_OTHER)
            share = all > 0.0 ? all / SCOPE_COUNT : 1.0; /* as common as any */
        search->log_prior[f] = log(share);
        sum += share * (double)of->level_count;
    }
    for (size_t f = 0; f < dataset->factor_count; f++)
        search->log_prior[f] -= log(sum);
}

enum status search_init(struct search *search, const struct dataset *dataset,
                        const struct review_rule *rule, struct arena *arena)
{
    size_t count = 0;

    *search = (struct search){.dataset = dataset, .rule = rule};
    search->first = arena_array(arena, dataset->factor_count + 1, sizeof *search->first);
    if (search->first == NULL)
        return STATUS_MEMORY;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        search->first[f] = count;
        count += dataset->factors[f].level_count;
    }
    search->first[dataset->factor_count] = count;
    search->count = count;
    search->standing = search_standing(dataset, rule->watched, arena, NULL);
    search->cover = arena_array(arena, dataset->vessel_count, sizeof *search->cover);
    search->candidates = arena_array(arena, count, sizeof *search->candidates);
    search->room = arena_array(arena, count, sizeof *search->room);
    search->log_prior = arena_array(arena, dataset->factor_count, sizeof *search->log_prior);
    if (search->standing == NULL || search->cover == NULL || search->candidates == NULL ||
        search->room == NULL || search->log_prior == NULL)
        return STATUS_MEMORY;
    name_candidates(search);
    share_prior(search);
    return find_all_same(search, arena);
}
