/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/shared.h"
#include "review/search.h"

/* Why: the causes of a culprit, and those that a batch's vessels share; reason/shared.h infers them. */

enum { SCOPES = SCOPE_COUNT, GROUPS_MOST = 4 };

/* ---- what the inference is asked ---------------------------------------------------------------- */

struct request {
    struct shared_vessel *vessels;
    struct shared_shift *shifts; /* by what was computed, of the causes it bears on */
    struct observation *common;  /* what is known of all of them */
    size_t count, shift_count;
    bool tells; /* something but whether they were lost */
};

static struct request request_new(const struct review_work *work, size_t room)
{
    return (struct request){
        .vessels = calloc(room + 1, sizeof(struct shared_vessel)),
        .shifts = calloc(2 * work->rules->cause_count + 1, sizeof(struct shared_shift)),
        .common = calloc(work->rules->observable_count + 1, sizeof(struct observation))};
}

/* One shift for each cause that a computed factor of this origin moves, by the level of the vessel. */
static void shift_causes(const struct review_work *work, enum factor_kind origin, size_t vessel,
                         struct request *request)
{
    const struct dataset *dataset = work->dataset;
    size_t room = 2 * work->rules->cause_count;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *computed = &dataset->factors[f];
        if (computed->log_odds == NULL || factor_kinds[computed->kind].origin != origin ||
            computed->level[vessel] == LEVEL_NONE)
            continue;
        for (size_t c = 0; c < work->rules->cause_count && request->shift_count < room; c++)
            for (size_t m = 0; m < 2; m++)
                if (work->rules->causes[c].moved_by == computed->moved[m] &&
                    computed->moved[m] != MOVED_NONE)
                    request->shifts[request->shift_count++] = (struct shared_shift){
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

/* Adds a vessel; returns where its groups go. What became of it is its finding where that is likelier than
 * not and fits its fate, else the fate. Signs are looked at in so many only: each takes a posterior of its
 * own. */
static int *request_add(const struct review_work *work, size_t vessel, struct request *request)
{
    enum { SIGNS_MOST = 64 };
    static const double likely = 0.5;
    static const uint32_t statuses[FATE_COUNT + 1] = {
        [FATE_OPEN] = 1U << FINDING_CLEAN | 1U << FINDING_STUCK,
        [FATE_SOUND] = 1U << FINDING_CLEAN,
        [FATE_STUCK] = 1U << FINDING_STUCK,
        [FATE_CONTAMINATED] = 1U << FINDING_CONTAMINATED,
        [FATE_UNTOLD] = 1U << FINDING_STUCK | 1U << FINDING_CONTAMINATED,
        [FATE_COUNT] = 1U << FINDING_CLEAN | 1U << FINDING_STUCK,
    };
    const struct dataset *dataset = work->dataset;
    struct shared_vessel *added = &request->vessels[request->count];
    *added = (struct shared_vessel){.finding = RULES_NONE,
                                    .statuses = statuses[dataset->fate[vessel]],
                                    .control = dataset->control[vessel]};
    for (size_t s = 0; s < SCOPES; s++)
        added->group[s] = RULES_NONE;
    if (dataset->finding != NULL && dataset->finding[vessel] != RULES_NONE &&
        (double)dataset->sure[vessel] >= likely) {
        enum finding_status status = work->rules->findings[dataset->finding[vessel]].status;
        if (status != FINDING_CLEAN && (added->statuses >> status & 1) != 0)
            added->finding = dataset->finding[vessel];
    }
    if (dataset->seen != NULL && request->count < SIGNS_MOST)
        added->observations = dataset->seen[vessel];
    request->count++;
    request->tells = request->tells || added->finding != RULES_NONE ||
                     added->observations != NULL || added->control;
    return added->group;
}

/* Whether one kind of growth took them or several, as the answer to the question that says it. */
static void tell_alike(const struct review_work *work, struct request *request)
{
    enum { FEW = 3 };
    int feeder = work->rules->feeder[FEEDS_LOST_ALIKE], first = RULES_NONE;
    size_t found = 0;
    double kinds = 1.0;
    for (size_t i = 0; i < request->count; i++) {
        int finding = request->vessels[i].finding;
        if (finding == RULES_NONE)
            continue;
        first = found++ == 0 ? finding : first;
        kinds = finding != first ? 2.0 : kinds;
    }
    if (feeder == RULES_NONE || found < FEW)
        return;
    const struct observable *alike = &work->rules->observables[feeder];
    for (size_t v = 0; v < alike->value_count; v++)
        if (alike->values[v].parameter >= kinds && alike->values[v].parameter <= kinds)
            request->common[feeder].seen = UINT32_C(1) << v;
}

/* What is seen in a vessel together with what is known of all; in the arena of the review. */
static const struct observation *with_common(const struct review_work *work,
                                             const struct request *request,
                                             const struct observation *seen)
{
    size_t count = work->rules->observable_count;
    struct observation *both = arena_array(work->arena, count, sizeof *both);
    for (size_t o = 0; o < count; o++)
        both[o] = request->common[o].seen != 0 ? request->common[o] : seen[o];
    return both;
}

/* Answers the request and releases it; no suspects where nothing is known but that they were lost. */
static enum status infer(const struct review_work *work, struct request *request,
                         struct shared_posterior *posterior)
{
    struct shared_batch batch = {.vessels = request->vessels,
                                 .vessel_count = request->count,
                                 .common = request->common,
                                 .shifts = request->shifts,
                                 .shift_count = request->shift_count};
    enum status status = STATUS_OK;
    *posterior = (struct shared_posterior){0};
    for (size_t i = 0; i < request->shift_count; i++)
        request->tells = request->tells || fabs(request->shifts[i].log_odds) > 0.0;
    for (size_t o = 0; o < work->rules->observable_count; o++)
        request->tells = request->tells || request->common[o].seen != 0;
    for (size_t i = 0; i < request->count; i++)
        if (request->vessels[i].observations != NULL)
            request->vessels[i].observations =
                with_common(work, request, request->vessels[i].observations);
    if (request->tells)
        status = reason_shared(work->reasoner, &batch, posterior);
    free(request->vessels);
    free(request->shifts);
    free(request->common);
    return status;
}

static int likelier(const void *a, const void *b)
{
    const struct review_cause *first = a, *second = b;
    if (first->p < second->p || first->p > second->p)
        return first->p < second->p ? 1 : -1;
    return (first->cause > second->cause) - (first->cause < second->cause);
}

struct review_cause *review_list_causes(const struct rules *rules, const double *share,
                                        struct arena *arena, size_t *count)
{
    static const double negligible = 0.005;
    struct review_cause *causes = arena_array(arena, rules->cause_count, sizeof *causes);
    *count = 0;
    for (size_t c = 0; c < rules->cause_count; c++)
        if (share[c] > negligible)
            causes[(*count)++] = (struct review_cause){c, share[c]};
    if (*count > 1)
        qsort(causes, *count, sizeof *causes, likelier);
    return causes;
}

/* ---- the causes of one culprit ------------------------------------------------------------------ */

/* Adds the suspect's causes to `share` (one a cause of the rules), `weight` in all. */
static enum status add_causes(const struct review_work *work, const struct review_suspect *suspect,
                              double weight, double *share)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *of = &dataset->factors[suspect->factor];
    enum scope scope = factor_kinds[of->kind].scope;
    struct shared_posterior posterior;
    double sum = 0.0;

    if (scope == SCOPE_VESSEL)
        return STATUS_OK;
    struct request request = request_new(work, dataset->vessel_count);
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (work->standing[i] == STANDING_OUT || of->level[i] != suspect->level)
            continue;
        if (request.count == 0)
            shift_causes(work, factor_kinds[of->kind].origin, i, &request);
        if (request.count == 0 && scope == SCOPE_PLACE)
            tell_place(work, i, request.common);
        request_add(work, i, &request)[scope] = 0;
    }
    enum status status = infer(work, &request, &posterior);
    if (status != STATUS_OK)
        return status;
    for (size_t s = 0; s < posterior.suspect_count; s++)
        sum += posterior.suspects[s].p;
    for (size_t s = 0; s < posterior.suspect_count && sum > 0.0; s++)
        share[posterior.suspects[s].cause] += weight * posterior.suspects[s].p / sum;
    shared_release(&posterior);
    return STATUS_OK;
}

static enum status judge_culprit(const struct review_work *work, struct review_culprit *culprit)
{
    double *share = calloc(work->rules->cause_count + 1, sizeof *share);
    enum status status = STATUS_OK;
    for (size_t s = 0; s < culprit->suspect_count && status == STATUS_OK; s++)
        status =
            add_causes(work, &culprit->suspects[s], culprit->suspects[s].p / culprit->p, share);
    if (status == STATUS_OK)
        culprit->causes =
            review_list_causes(work->rules, share, work->arena, &culprit->cause_count);
    free(share);
    return status;
}

/* ---- the causes of one batch -------------------------------------------------------------------- */

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

/* Of the vessels of a chain: from one to that in its place of `next`, until there is none. */
static enum status judge_batch(const struct review_work *work, uint32_t first, const uint32_t *next,
                               struct review_cause **causes, size_t *cause_count)
{
    const struct dataset *dataset = work->dataset;
    struct groups groups[SCOPES] = {0};
    struct request request = request_new(work, dataset->vessel_count);
    struct shared_posterior posterior;

    for (uint32_t i = first; i < dataset->vessel_count; i = next[i]) {
        if (work->standing[i] == STANDING_OUT)
            continue;
        if (request.count == 0) {
            shift_causes(work, FACTOR_COOK, i, &request);
            shift_causes(work, FACTOR_BATCH, i, &request);
        }
        int *group = request_add(work, i, &request);
        for (size_t s = 0; s < SCOPES; s++) {
            static const enum factor_kind kinds[SCOPES] = {
                [SCOPE_COOK] = FACTOR_COOK,       [SCOPE_MIX] = FACTOR_BATCH,
                [SCOPE_GRAIN_LOT] = FACTOR_LOT,   [SCOPE_SESSION] = FACTOR_SESSION,
                [SCOPE_STARTER] = FACTOR_STARTER, [SCOPE_PLACE] = FACTOR_PLACE,
                [SCOPE_VESSEL] = FACTOR_KINDS,
            };
            size_t f = dataset_factor(dataset, kinds[s]); /* none of a vessel alone */
            if (f < dataset->factor_count)
                group[s] = group_of(&groups[s], dataset->factors[f].level[i]);
        }
    }
    tell_alike(work, &request);
    enum status status = infer(work, &request, &posterior);
    if (status != STATUS_OK)
        return status;
    double *share = calloc(work->rules->cause_count + 1, sizeof *share);
    for (size_t s = 0; s < posterior.suspect_count; s++)
        share[posterior.suspects[s].cause] =
            fmax(share[posterior.suspects[s].cause], posterior.suspects[s].p);
    shared_release(&posterior);
    *causes = review_list_causes(work->rules, share, work->arena, cause_count);
    free(share);
    return STATUS_OK;
}

/* ---- all of them -------------------------------------------------------------------------------- */

static int more_lost(const void *a, const void *b)
{
    const struct review_batch *const *first = a, *const *second = b;
    size_t x = (*first)->counts.lost, y = (*second)->counts.lost;
    if (x != y)
        return x < y ? 1 : -1;
    return (*first > *second) - (*first < *second);
}

/* The chains of the vessels of each batch; where each begins. */
static uint32_t *chain_batches(const struct dataset *dataset, uint32_t *next)
{
    const struct factor *of = &dataset->factors[dataset->batch];
    uint32_t *first = malloc(of->level_count * sizeof *first);
    for (size_t b = 0; b < of->level_count; b++)
        first[b] = LEVEL_NONE;
    for (size_t i = dataset->vessel_count; i-- > 0;)
        if (of->level[i] != LEVEL_NONE) {
            next[i] = first[of->level[i]];
            first[of->level[i]] = (uint32_t)i;
        }
    return first;
}

static enum status judge_batches(struct review_work *work)
{
    struct review *review = work->review;
    struct review_batch **worst = malloc(review->batch_count * sizeof *worst);
    uint32_t *next = malloc(work->dataset->vessel_count * sizeof *next);
    uint32_t *first = chain_batches(work->dataset, next);
    enum status status = STATUS_OK;

    for (size_t b = 0; b < review->batch_count; b++)
        worst[b] = &review->batches[b];
    if (review->batch_count > 1)
        qsort(worst, review->batch_count, sizeof *worst, more_lost);
    size_t asked =
        review->batch_count < REVIEW_BATCHES_JUDGED ? review->batch_count : REVIEW_BATCHES_JUDGED;
    for (size_t k = 0; k < asked && worst[k]->counts.lost > 0 && status == STATUS_OK; k++) {
        status = judge_batch(work, first[worst[k]->level], next, &worst[k]->causes,
                             &worst[k]->cause_count);
        review_tell(work, "looking for shared causes", k + 1, asked);
    }
    free(worst);
    free(next);
    free(first);
    return status;
}

/* One batch, or none that did well to compare with: all of them as one account. */
static enum status judge_as_one(struct review_work *work)
{
    struct review *review = work->review;
    struct review_account *account = &review->account;
    account->counts = review->totals.counts;
    account->controls = review->totals.controls;
    uint32_t *next = malloc(work->dataset->vessel_count * sizeof *next);
    for (uint32_t i = 0; i < work->dataset->vessel_count; i++)
        next[i] = i + 1;
    enum status status = judge_batch(work, 0, next, &account->causes, &account->cause_count);
    free(next);
    if (status == STATUS_OK)
        account->trials = review_tell_apart(work->reasoner, account->causes, account->cause_count,
                                            work->arena, &account->trial_count);
    account_drop_done(work->rules, NULL, account);
    return status;
}

enum status review_judge_causes(struct review_work *work)
{
    struct review *review = work->review;
    struct counts counts = review->totals.counts;
    enum status status = STATUS_OK;
    for (size_t k = 0; k < review->culprit_count && status == STATUS_OK; k++)
        status = judge_culprit(work, &review->culprits[k]);
    if (status == STATUS_OK && review->batch_count > 0)
        status = judge_batches(work);
    if (status == STATUS_OK && counts.lost > 0 &&
        (review->batch_count == 1 || counts.lost == counts.total))
        status = judge_as_one(work);
    return status;
}
