/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Why: the causes of a fault, and those that a batch's vessels share.
 *
 * reason/shared.h does the inference. Vessels that were judged alike and share
 * the same things are told to it once, with how many they are: a cook of a
 * thousand vessels takes no longer than one of ten.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/shared.h"
#include "review/factors_internal.h"
#include "review/search_internal.h"

enum { SCOPES = SCOPE_COUNT, GROUPS_MOST = 4 };

struct told { /* a vessel as the inference is told it; compared as bytes */
    int finding, control;
    uint32_t statuses;
    int group[SCOPES];
};

static uint32_t bit(enum finding_status status)
{
    return UINT32_C(1) << status;
}

static uint32_t statuses_of(uint8_t fate)
{
    switch (fate) {
    case FATE_SOUND:
        return bit(FINDING_CLEAN);
    case FATE_STUCK:
        return bit(FINDING_STUCK);
    case FATE_CONTAMINATED:
        return bit(FINDING_CONTAMINATED);
    case FATE_UNTOLD:
        return bit(FINDING_STUCK) | bit(FINDING_CONTAMINATED);
    default:
        return bit(FINDING_CLEAN) | bit(FINDING_STUCK);
    }
}

/* What became of it: its finding where that is likelier than not and fits its fate, else the fate. */
static struct told tell_vessel(const struct review_work *work, size_t vessel)
{
    static const double likely = 0.5;
    const struct dataset *dataset = work->dataset;
    struct told told;

    memset(&told, 0, sizeof told);
    for (size_t s = 0; s < SCOPES; s++)
        told.group[s] = RULES_NONE;
    told.finding = RULES_NONE;
    told.control = dataset->control[vessel];
    told.statuses = statuses_of(dataset->fate[vessel]);
    if (dataset->finding != NULL && dataset->finding[vessel] != RULES_NONE &&
        (double)dataset->sure[vessel] >= likely) {
        int finding = dataset->finding[vessel];
        uint32_t status = bit(work->rules->findings[finding].status);
        if (status != bit(FINDING_CLEAN) && (told.statuses & status) != 0)
            told.finding = finding;
    }
    return told;
}

static int by_bytes(const void *a, const void *b)
{
    return memcmp(a, b, sizeof(struct told));
}

/* Those that are alike, once. Returns how many; `vessels` has room for `count`. */
static size_t merge(struct told *told, size_t count, struct shared_vessel *vessels)
{
    size_t kinds = 0;
    if (count > 1)
        qsort(told, count, sizeof *told, by_bytes);
    for (size_t i = 0; i < count; i++) {
        if (i > 0 && by_bytes(&told[i - 1], &told[i]) == 0) {
            vessels[kinds - 1].alike++;
            continue;
        }
        vessels[kinds] = (struct shared_vessel){.finding = told[i].finding,
                                                .statuses = told[i].statuses,
                                                .control = told[i].control != 0,
                                                .alike = 1};
        memcpy(vessels[kinds].group, told[i].group, sizeof told[i].group);
        kinds++;
    }
    return kinds;
}

/* ---- what was computed moves the causes it bears on ------------------------------------------- */

struct shifts {
    struct shared_shift *list;
    size_t count, room;
};

/* One for each cause that a computed factor of this origin moves, by the level of the vessel. */
static void shift_causes(const struct review_work *work, enum factor_kind origin, size_t vessel,
                         struct shifts *shifts)
{
    const struct dataset *dataset = work->dataset;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *computed = &dataset->factors[f];
        if (computed->log_odds == NULL || factor_kind_origin(computed->kind) != origin ||
            computed->level[vessel] == LEVEL_NONE)
            continue;
        for (size_t c = 0; c < work->rules->cause_count && shifts->count < shifts->room; c++)
            for (size_t m = 0; m < 2; m++)
                if (work->rules->causes[c].moved_by == computed->moved[m] &&
                    computed->moved[m] != MOVED_NONE)
                    shifts->list[shifts->count++] = (struct shared_shift){
                        c, RULES_NONE, computed->log_odds[2 * (size_t)computed->level[vessel] + m]};
    }
}

/* What a place is known to be like: its temperature, as the answer to the question that feeds it. */
static void tell_place(const struct review_work *work, size_t vessel, struct observation *common)
{
    const struct dataset *dataset = work->dataset;
    size_t f = dataset_factor(dataset, FACTOR_TEMPERATURE);
    int feeder = work->rules->feeder[FEEDS_TEMPERATURE];
    if (f == dataset->factor_count || feeder == RULES_NONE ||
        dataset->factors[f].level[vessel] == LEVEL_NONE)
        return;
    const struct observable *temperature = &work->rules->observables[feeder];
    const char *label = dataset->factors[f].levels[dataset->factors[f].level[vessel]];
    for (size_t v = 0; v < temperature->value_count; v++)
        if (strcmp(temperature->values[v].label, label) == 0)
            common[feeder].seen = UINT32_C(1) << v;
}

/* ---- the causes of one suspect --------------------------------------------------------------- */

struct asked { /* what the inference takes, and what it gives */
    struct told *told;
    struct shared_vessel *vessels;
    struct shared_shift *shifts;
    struct observation *common; /* what is known of all of them */
    size_t count;
};

static bool asked_init(const struct review_work *work, size_t room, struct asked *asked)
{
    *asked =
        (struct asked){.told = malloc((room + 1) * sizeof *asked->told),
                       .vessels = calloc(room + 1, sizeof *asked->vessels),
                       .shifts = calloc(2 * work->rules->cause_count + 1, sizeof *asked->shifts),
                       .common = calloc(work->rules->observable_count + 1, sizeof *asked->common)};
    return asked->told != NULL && asked->vessels != NULL && asked->shifts != NULL &&
           asked->common != NULL;
}

static void asked_release(struct asked *asked)
{
    free(asked->told);
    free(asked->vessels);
    free(asked->shifts);
    free(asked->common);
}

static enum status infer(const struct review_work *work, struct asked *asked,
                         const struct shifts *shifts, struct shared_posterior *posterior)
{
    struct shared_batch batch = {.vessels = asked->vessels,
                                 .vessel_count = merge(asked->told, asked->count, asked->vessels),
                                 .common = asked->common,
                                 .shifts = shifts->list,
                                 .shift_count = shifts->count};
    return reason_shared(work->reasoner, &batch, false, posterior);
}

/* Adds the suspect's causes to `share` (one a cause of the rules), `weight` in all. */
static enum status causes_of_suspect(const struct review_work *work,
                                     const struct review_suspect *suspect, double weight,
                                     double *share)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *of = &dataset->factors[suspect->factor];
    enum scope scope = factor_kind_scope(of->kind);
    struct shared_posterior posterior;
    struct asked asked;
    double sum = 0.0;

    if (scope == SCOPE_VESSEL)
        return STATUS_OK;
    if (!asked_init(work, dataset->vessel_count, &asked)) {
        asked_release(&asked);
        return STATUS_MEMORY;
    }
    struct shifts shifts = {asked.shifts, 0, 2 * work->rules->cause_count};
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (work->standing[i] != STANDING_OUT && of->level[i] == suspect->level) {
            if (asked.count == 0) {
                shift_causes(work, factor_kind_origin(of->kind), i, &shifts);
                if (scope == SCOPE_PLACE)
                    tell_place(work, i, asked.common);
            }
            asked.told[asked.count] = tell_vessel(work, i);
            asked.told[asked.count++].group[scope] = 0;
        }
    enum status status = infer(work, &asked, &shifts, &posterior);
    if (status == STATUS_OK) {
        for (size_t s = 0; s < posterior.suspect_count; s++)
            sum += posterior.suspects[s].p;
        for (size_t s = 0; s < posterior.suspect_count && sum > 0.0; s++)
            share[posterior.suspects[s].cause] += weight * posterior.suspects[s].p / sum;
        shared_release(&posterior);
    }
    asked_release(&asked);
    return status;
}

static int likelier(const void *a, const void *b)
{
    const struct review_cause *first = a, *second = b;
    if (first->p < second->p || first->p > second->p)
        return first->p < second->p ? 1 : -1;
    return (first->cause > second->cause) - (first->cause < second->cause);
}

/* Those that are not negligible, likeliest first. */
static enum status list_causes(const struct review_work *work, const double *share,
                               struct review_cause **causes, size_t *count)
{
    static const double negligible = 0.005;
    *count = 0;
    *causes = arena_array(work->arena, work->rules->cause_count, sizeof **causes);
    if (*causes == NULL)
        return STATUS_MEMORY;
    for (size_t c = 0; c < work->rules->cause_count; c++)
        if (share[c] > negligible)
            (*causes)[(*count)++] = (struct review_cause){c, share[c]};
    if (*count > 1)
        qsort(*causes, *count, sizeof **causes, likelier);
    return STATUS_OK;
}

static enum status judge_fault(const struct review_work *work, struct review_fault *fault)
{
    double *share = calloc(work->rules->cause_count + 1, sizeof *share);
    enum status status = share != NULL ? STATUS_OK : STATUS_MEMORY;
    for (size_t s = 0; s < fault->suspect_count && status == STATUS_OK; s++)
        status =
            causes_of_suspect(work, &fault->suspects[s], fault->suspects[s].p / fault->p, share);
    if (status == STATUS_OK)
        status = list_causes(work, share, &fault->causes, &fault->cause_count);
    free(share);
    return status;
}

/* ---- the causes of one batch ----------------------------------------------------------------- */

/* The factor that holds the groups of a scope; factor_count when none does. */
static size_t factor_of_scope(const struct dataset *dataset, enum scope scope)
{
    static const enum factor_kind kinds[SCOPES] = {
        [SCOPE_COOK] = FACTOR_COOK,       [SCOPE_MIX] = FACTOR_BATCH,
        [SCOPE_GRAIN_LOT] = FACTOR_LOT,   [SCOPE_SESSION] = FACTOR_SESSION,
        [SCOPE_STARTER] = FACTOR_STARTER, [SCOPE_PLACE] = FACTOR_PLACE,
        [SCOPE_VESSEL] = FACTOR_KINDS,
    };
    return scope == SCOPE_VESSEL ? dataset->factor_count : dataset_factor(dataset, kinds[scope]);
}

/* Numbers the levels met in a batch from 0; RULES_NONE for those beyond GROUPS_MOST. */
struct groups {
    uint32_t levels[GROUPS_MOST];
    int count;
};

static int group_of(struct groups *groups, uint32_t level)
{
    if (level == LEVEL_NONE)
        return RULES_NONE;
    for (int g = 0; g < groups->count; g++)
        if (groups->levels[g] == level)
            return g;
    if (groups->count == GROUPS_MOST)
        return RULES_NONE;
    groups->levels[groups->count] = level;
    return groups->count++;
}

static void tell_batch(const struct review_work *work, const size_t *vessels, size_t count,
                       struct asked *asked)
{
    struct groups groups[SCOPES] = {0};
    asked->count = 0;
    for (size_t i = 0; i < count; i++) {
        struct told *told = &asked->told[asked->count++];
        *told = tell_vessel(work, vessels[i]);
        for (size_t s = 0; s < SCOPES; s++) {
            size_t f = factor_of_scope(work->dataset, (enum scope)s);
            if (f < work->dataset->factor_count)
                told->group[s] = group_of(&groups[s], work->dataset->factors[f].level[vessels[i]]);
        }
    }
}

static enum status judge_batch(const struct review_work *work, const size_t *vessels, size_t count,
                               struct review_batch *batch)
{
    struct asked asked;
    struct shared_posterior posterior;
    double *share = calloc(work->rules->cause_count + 1, sizeof *share);
    enum status status = STATUS_MEMORY;

    if (asked_init(work, count, &asked) && share != NULL) {
        struct shifts shifts = {asked.shifts, 0, 2 * work->rules->cause_count};
        shift_causes(work, FACTOR_COOK, vessels[0], &shifts);
        shift_causes(work, FACTOR_BATCH, vessels[0], &shifts);
        tell_batch(work, vessels, count, &asked);
        status = infer(work, &asked, &shifts, &posterior);
        if (status == STATUS_OK) {
            for (size_t s = 0; s < posterior.suspect_count; s++)
                share[posterior.suspects[s].cause] =
                    fmax(share[posterior.suspects[s].cause], posterior.suspects[s].p);
            shared_release(&posterior);
            status = list_causes(work, share, &batch->causes, &batch->cause_count);
        }
    }
    asked_release(&asked);
    free(share);
    return status;
}

/* ---- all of them ----------------------------------------------------------------------------- */

/* Vessels that count, sorted by batch: those of batch b stand from starts[b] to starts[b + 1]. */
static bool sort_by_batch(const struct review_work *work, size_t **vessels, size_t **starts)
{
    const struct factor *batch = &work->dataset->factors[work->dataset->batch];
    size_t count = work->dataset->vessel_count, levels = batch->level_count;
    *vessels = malloc((count + 1) * sizeof **vessels);
    *starts = calloc(levels + 2, sizeof **starts);
    if (*vessels == NULL || *starts == NULL)
        return false;
    /* Counted two places on: while they are put in place, each start moves up to its end. */
    for (size_t i = 0; i < count; i++)
        if (work->standing[i] != STANDING_OUT && batch->level[i] != LEVEL_NONE)
            (*starts)[batch->level[i] + 2]++;
    for (size_t l = 2; l < levels + 2; l++)
        (*starts)[l] += (*starts)[l - 1];
    for (size_t i = 0; i < count; i++)
        if (work->standing[i] != STANDING_OUT && batch->level[i] != LEVEL_NONE)
            (*vessels)[(*starts)[batch->level[i] + 1]++] = i;
    return true;
}

static int more_lost(const void *a, const void *b)
{
    const struct review_batch *const *first = a, *const *second = b;
    size_t x = (*first)->counts.lost, y = (*second)->counts.lost;
    if (x != y)
        return x < y ? 1 : -1;
    return (*first > *second) - (*first < *second);
}

static enum status judge_batches(struct review_work *work)
{
    struct review *review = work->review;
    struct review_batch **worst = malloc((review->batch_count + 1) * sizeof *worst);
    size_t *vessels = NULL, *starts = NULL;
    enum status status = STATUS_MEMORY;

    if (worst != NULL && sort_by_batch(work, &vessels, &starts)) {
        status = STATUS_OK;
        for (size_t b = 0; b < review->batch_count; b++)
            worst[b] = &review->batches[b];
        if (review->batch_count > 1)
            qsort(worst, review->batch_count, sizeof *worst, more_lost);
        size_t asked = review->batch_count < REVIEW_BATCHES_JUDGED ? review->batch_count
                                                                   : REVIEW_BATCHES_JUDGED;
        for (size_t k = 0; k < asked && worst[k]->counts.lost > 0 && status == STATUS_OK; k++) {
            uint32_t level = worst[k]->level;
            status = judge_batch(work, &vessels[starts[level]], starts[level + 1] - starts[level],
                                 worst[k]);
            review_tell(work, "looking for shared causes", k + 1, asked);
        }
    }
    free(worst);
    free(vessels);
    free(starts);
    return status;
}

enum status review_judge_causes(struct review_work *work)
{
    struct review *review = work->review;
    enum status status = STATUS_OK;
    for (size_t k = 0; k < review->fault_count && status == STATUS_OK; k++)
        status = judge_fault(work, &review->faults[k]);
    return status == STATUS_OK && review->batch_count > 0 ? judge_batches(work) : status;
}
