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
    struct arena *arena; /* of all below */
    struct shared_vessel *vessels;
    struct shared_shift *shifts; /* by what was computed, of the causes it bears on */
    struct observation *common;  /* what is known of all of them */
    size_t count, shift_count;
};

/* One shift for each cause that a computed factor of this origin moves, by the level of the vessel. */
static void shift_causes(const struct review_work *work, enum factor_kind origin, size_t vessel,
                         struct request *request)
{
    const struct dataset *dataset = work->dataset;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *computed = &dataset->factors[f];
        if (computed->log_odds == NULL || factor_kinds[computed->kind].origin != origin ||
            computed->level[vessel] == LEVEL_NONE)
            continue;
        for (size_t c = 0; c < work->rules->cause_count; c++)
            for (size_t m = 0; m < 2; m++)
                if (work->rules->causes[c].moved_by == computed->moved[m] &&
                    computed->moved[m] != MOVED_NONE)
                    *arena_push(request->arena, request->shifts,
                                request->shift_count) = (struct shared_shift){
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

/* Answers the request: of each cause the chance that it acted in some group; all 0 where nothing is known
 * but that they were lost. */
static enum status infer(const struct review_work *work, struct request *request, double *share)
{
    const struct shared_batch batch = {.vessels = request->vessels,
                                       .vessel_count = request->count,
                                       .common = request->common,
                                       .shifts = request->shifts,
                                       .shift_count = request->shift_count};
    struct shared_posterior posterior;
    size_t observables = work->rules->observable_count;
    bool tells = false;
    memset(share, 0, work->rules->cause_count * sizeof *share);
    for (size_t i = 0; i < request->shift_count; i++)
        tells = tells || fabs(request->shifts[i].log_odds) > 0.0;
    for (size_t o = 0; o < observables; o++)
        tells = tells || request->common[o].seen != 0;
    for (size_t i = 0; i < request->count; i++) {
        struct shared_vessel *vessel = &request->vessels[i];
        tells = tells || vessel->finding != RULES_NONE || vessel->observations != NULL ||
                vessel->control;
        if (vessel->observations == NULL)
            continue;
        struct observation *both = arena_array(request->arena, observables, sizeof *both);
        for (size_t o = 0; o < observables; o++)
            both[o] = request->common[o].seen != 0 ? request->common[o] : vessel->observations[o];
        vessel->observations = both;
    }
    enum status status = tells ? reason_shared(work->reasoner, &batch, &posterior) : STATUS_OK;
    if (!tells || status != STATUS_OK)
        return status;
    for (size_t s = 0; s < posterior.suspect_count; s++)
        share[posterior.suspects[s].cause] =
            fmax(share[posterior.suspects[s].cause], posterior.suspects[s].p);
    shared_release(&posterior);
    return STATUS_OK;
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

/* ---- the causes of some vessels ----------------------------------------------------------------- */

/* The chains of the vessels of each level of a factor, of all vessels for NULL: where each begins, and behind
 * each vessel the `next`, up to LEVEL_NONE. */
static uint32_t *chain(const struct dataset *dataset, const struct factor *of, uint32_t *next)
{
    size_t levels = of != NULL ? of->level_count : 1;
    uint32_t *first = malloc(levels * sizeof *first);
    for (size_t l = 0; l < levels; l++)
        first[l] = LEVEL_NONE;
    for (size_t i = dataset->vessel_count; i-- > 0;) {
        uint32_t level = of != NULL ? of->level[i] : 0;
        if (level == LEVEL_NONE)
            continue;
        next[i] = first[level];
        first[level] = (uint32_t)i;
    }
    return first;
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

/* Of the vessels of a chain the share of each cause. They are one group of the scope of a factor; for NULL a
 * batch, grouped by what they have. */
static enum status judge(const struct review_work *work, const struct factor *of, uint32_t first,
                         const uint32_t *next, double *share)
{
    static const enum factor_kind kinds[SCOPES] = {
        [SCOPE_COOK] = FACTOR_COOK,       [SCOPE_MIX] = FACTOR_BATCH,
        [SCOPE_GRAIN_LOT] = FACTOR_LOT,   [SCOPE_SESSION] = FACTOR_SESSION,
        [SCOPE_STARTER] = FACTOR_STARTER, [SCOPE_PLACE] = FACTOR_PLACE,
        [SCOPE_VESSEL] = FACTOR_KINDS, /* of a vessel alone there is none */
    };
    const struct dataset *dataset = work->dataset;
    struct groups groups[SCOPES] = {0};
    struct request request = {.arena = arena_new()};
    size_t room = 0;

    for (uint32_t i = first; i != LEVEL_NONE; i = next[i])
        room++;
    request.vessels = arena_array(request.arena, room, sizeof *request.vessels);
    request.common =
        arena_array(request.arena, work->rules->observable_count, sizeof *request.common);
    for (uint32_t i = first; i != LEVEL_NONE; i = next[i]) {
        if (work->standing[i] == STANDING_OUT)
            continue;
        if (request.count == 0) {
            shift_causes(work, of != NULL ? factor_kinds[of->kind].origin : FACTOR_COOK, i,
                         &request);
            if (of == NULL)
                shift_causes(work, FACTOR_BATCH, i, &request);
            else if (factor_kinds[of->kind].scope == SCOPE_PLACE)
                tell_place(work, i, request.common);
        }
        int *group = request_add(work, i, &request);
        for (size_t s = 0; s < SCOPES; s++) {
            size_t f = dataset_factor(dataset, kinds[s]);
            if (of != NULL)
                group[s] = factor_kinds[of->kind].scope == s ? 0 : RULES_NONE;
            else if (f < dataset->factor_count)
                group[s] = group_of(&groups[s], dataset->factors[f].level[i]);
        }
    }
    if (of == NULL)
        tell_alike(work, &request);
    enum status status = infer(work, &request, share);
    arena_free(request.arena);
    return status;
}

/* Of each suspect the causes of its scope, by how likely it is among them. */
static enum status judge_culprit(const struct review_work *work, struct review_culprit *culprit)
{
    const struct dataset *dataset = work->dataset;
    size_t causes = work->rules->cause_count;
    uint32_t *next = malloc(dataset->vessel_count * sizeof *next);
    double *share = calloc(2 * causes + 1, sizeof *share), *all = share + causes;
    enum status status = STATUS_OK;
    for (size_t s = 0; s < culprit->suspect_count && status == STATUS_OK; s++) {
        const struct review_suspect *suspect = &culprit->suspects[s];
        const struct factor *of = &dataset->factors[suspect->factor];
        double sum = 0.0;
        if (factor_kinds[of->kind].scope == SCOPE_VESSEL)
            continue;
        uint32_t *first = chain(dataset, of, next);
        status = judge(work, of, first[suspect->level], next, share);
        free(first);
        for (size_t c = 0; c < causes; c++)
            sum += share[c];
        for (size_t c = 0; c < causes && sum > 0.0; c++)
            all[c] += suspect->p / culprit->p * share[c] / sum;
    }
    culprit->causes = review_list_causes(work->rules, all, work->arena, &culprit->cause_count);
    free(share);
    free(next);
    return status;
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

/* The batches that lost most. */
static enum status judge_batches(struct review_work *work)
{
    struct review *review = work->review;
    const struct dataset *dataset = work->dataset;
    struct review_batch **worst = malloc(review->batch_count * sizeof *worst);
    double *share = malloc((work->rules->cause_count + 1) * sizeof *share);
    uint32_t *next = malloc(dataset->vessel_count * sizeof *next);
    uint32_t *first = chain(dataset, &dataset->factors[dataset->batch], next);
    enum status status = STATUS_OK;

    for (size_t b = 0; b < review->batch_count; b++)
        worst[b] = &review->batches[b];
    if (review->batch_count > 1)
        qsort(worst, review->batch_count, sizeof *worst, more_lost);
    size_t asked =
        review->batch_count < REVIEW_BATCHES_JUDGED ? review->batch_count : REVIEW_BATCHES_JUDGED;
    for (size_t k = 0; k < asked && worst[k]->counts.lost > 0 && status == STATUS_OK; k++) {
        status = judge(work, NULL, first[worst[k]->level], next, share);
        worst[k]->causes =
            review_list_causes(work->rules, share, work->arena, &worst[k]->cause_count);
        review_tell(work, "looking for shared causes", k + 1, asked);
    }
    free(worst);
    free(share);
    free(next);
    free(first);
    return status;
}

/* One batch, or none that did well to compare with: all of them as one account. */
static enum status judge_as_one(struct review_work *work)
{
    struct review *review = work->review;
    struct review_account *account = &review->account;
    double *share = malloc((work->rules->cause_count + 1) * sizeof *share);
    uint32_t *next = malloc(work->dataset->vessel_count * sizeof *next);
    uint32_t *first = chain(work->dataset, NULL, next);
    account->counts = review->totals.counts;
    account->controls = review->totals.controls;
    enum status status = judge(work, NULL, first[0], next, share);
    account->causes = review_list_causes(work->rules, share, work->arena, &account->cause_count);
    account->trials = review_tell_apart(work->reasoner, account->causes, account->cause_count,
                                        work->arena, &account->trial_count);
    account_drop_done(work->rules, NULL, account);
    free(share);
    free(next);
    free(first);
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
