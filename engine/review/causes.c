/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/shared.h"
#include "review/review.h"

/* Why: the causes of a culprit, and those that a batch's vessels share; reason/shared.h infers
 * them. And what to do: tests that would settle it, what to change, and the next batch. */

enum { SCOPES = SCOPE_COUNT, GROUPS_MOST = 4 };

/* ---- what would settle it ----------------------------------------------------------------------- */

/*
 * What would settle it: the tests of the rule base, by what they would tell.
 *
 * Between suspects the question is which of them it was; with one suspect, which
 * of its causes. The rule base says how each cause bears on a test's answers, so
 * the chance of an answer under a hypothesis is the mean over its causes, and the
 * expected information is
 *   I = sum_h P(h) sum_a P(a|h) log2 (P(a|h) / P(a)).
 */

enum { HYPOTHESES = 16 };

struct contest { /* between hypotheses */
    size_t count;
    double p[HYPOTHESES];
    double *causes; /* of each hypothesis the share of each cause: [h * cause_count + c] */
};

/* P(finding | cause), of findings that are losses; not normalised. */
static double grows(const struct rules *rules, size_t cause, size_t finding)
{
    double rate = rules->findings[finding].base;
    if (rules->findings[finding].status == FINDING_CLEAN)
        return 0.0;
    for (size_t g = 0; g < rules->causes[cause].grow_count; g++)
        if (rules->causes[cause].grows[g].finding == finding)
            rate += rules->causes[cause].grows[g].rate;
    return rate;
}

/* Adds `weight` times the chances of a test's answers, one or another finding having grown. */
static void add_answers(const struct reasoner *reasoner, size_t observable, size_t cause,
                        double weight, double *answers)
{
    const struct rules *rules = reasoner_rules(reasoner);
    size_t values = rules->observables[observable].value_count;
    const size_t set = SET_OF((int)cause);
    double all = 0.0;

    for (size_t f = 0; f < rules->finding_count; f++)
        all += grows(rules, cause, f);
    for (size_t f = 0; f < rules->finding_count && all > 0.0; f++) {
        double share = weight * grows(rules, cause, f) / all;
        for (size_t v = 0; v < values && share > 0.0; v++)
            answers[v] += share * reasoner_likelihood(reasoner, NULL, observable, v, f, set);
    }
}

/* How the causes of a scope share it before more is known. */
static void usual_shares(const struct rules *rules, enum scope scope, double *share)
{
    double all = 0.0;
    for (size_t c = 0; c < rules->cause_count; c++)
        if (rules->causes[c].scope == scope)
            all += rules->causes[c].prior;
    for (size_t c = 0; c < rules->cause_count; c++)
        share[c] =
            rules->causes[c].scope == scope && all > 0.0 ? rules->causes[c].prior / all : 0.0;
}

/* The suspects, each with the causes of its scope as the culprit's vessels weigh them. */
static void ask_suspects(const struct review *review, const struct review_culprit *culprit,
                         struct contest *contest)
{
    const struct rules *rules = review->rules;
    contest->count = culprit->suspect_count < HYPOTHESES ? culprit->suspect_count : HYPOTHESES;
    for (size_t h = 0; h < contest->count; h++) {
        const struct review_suspect *suspect = &culprit->suspects[h];
        enum scope scope = factor_kinds[review->dataset->factors[suspect->factor].kind].scope;
        double *share = &contest->causes[h * rules->cause_count], all = 0.0;
        contest->p[h] = suspect->p / culprit->p;
        for (size_t k = 0; k < culprit->why.cause_count; k++)
            if (rules->causes[culprit->why.causes[k].cause].scope == scope)
                all += share[culprit->why.causes[k].cause] = culprit->why.causes[k].p;
        for (size_t c = 0; c < rules->cause_count && all > 0.0; c++)
            share[c] /= all;
        if (all == 0.0)
            usual_shares(rules, scope, share);
    }
}

static double information(const struct contest *contest, const double *answers, size_t values)
{
    double bits = 0.0;
    for (size_t v = 0; v < values; v++) {
        double all = 0.0;
        for (size_t h = 0; h < contest->count; h++)
            all += contest->p[h] * answers[h * values + v];
        for (size_t h = 0; h < contest->count; h++) {
            double p = answers[h * values + v];
            if (p > 0.0 && contest->p[h] > 0.0)
                bits += contest->p[h] * p * log2(p / all);
        }
    }
    return fmax(0.0, bits);
}

static int better(const void *a, const void *b)
{
    const struct review_trial *first = a, *second = b;
    double x = first->bits / fmax(first->cost, 1e-3), y = second->bits / fmax(second->cost, 1e-3);
    return x < y || x > y ? ORDER(y, x) : ORDER(first->observable, second->observable);
}

/* The tests that tell the hypotheses of a contest apart, best first. */
static void choose_trials(const struct reasoner *reasoner, const struct contest *contest,
                          struct arena *arena, struct review_why *why)
{
    static const double worth_it = 0.02; /* bits */
    const struct rules *rules = reasoner_rules(reasoner);
    size_t causes = rules->cause_count;
    why->trials = arena_array(arena, rules->observable_count, sizeof *why->trials);
    why->trial_count = 0;
    for (size_t o = 0; o < rules->observable_count && contest->count > 1; o++) {
        const struct observable *test = &rules->observables[o];
        size_t values = test->value_count;
        if (test->class != CLASS_TEST)
            continue;
        double *answers SCOPED_FREE = memory_array(contest->count * values, sizeof *answers);
        for (size_t h = 0; h < contest->count; h++)
            for (size_t c = 0; c < causes; c++)
                if (contest->causes[h * causes + c] > 0.0)
                    add_answers(reasoner, o, c, contest->causes[h * causes + c],
                                &answers[h * values]);
        double bits = information(contest, answers, values);
        if (bits >= worth_it)
            why->trials[why->trial_count++] =
                (struct review_trial){.observable = o,
                                      .bits = bits,
                                      .cost = test->effort + test->delay_days * rules->review.wait,
                                      .delay_days = test->delay_days};
    }
    array_sort(why->trials, why->trial_count, better);
}

/* Of the causes. */
static void tell_apart(const struct reasoner *reasoner, struct arena *arena, struct review_why *why)
{
    const struct rules *rules = reasoner_rules(reasoner);
    double *shares SCOPED_FREE = memory_array(HYPOTHESES * rules->cause_count, sizeof *shares);
    struct contest contest = {.causes = shares};
    double all = 0.0;
    contest.count = why->cause_count < HYPOTHESES ? why->cause_count : HYPOTHESES;
    for (size_t h = 0; h < contest.count; h++)
        all += contest.p[h] = why->causes[h].p;
    for (size_t h = 0; h < contest.count; h++) {
        contest.p[h] /= all;
        contest.causes[h * rules->cause_count + why->causes[h].cause] = 1.0;
    }
    choose_trials(reasoner, &contest, arena, why);
}

void account_choose_trials(const struct reasoner *reasoner, const struct observation *observations,
                           struct arena *arena, struct review_account *account)
{
    struct review_why *why = &account->why;
    int controls = reasoner_rules(reasoner)->feeder[FEEDS_CONTROLS];
    size_t kept = 0;
    tell_apart(reasoner, arena, why);
    for (size_t t = 0; t < why->trial_count; t++) {
        size_t observable = why->trials[t].observable;
        bool done = account->controls.total > 0 && (int)observable == controls;
        if (!done && (observations == NULL || observations[observable].seen == 0))
            why->trials[kept++] = why->trials[t];
    }
    why->trial_count = kept;
}

/* ---- what the inference is asked ---------------------------------------------------------------- */

struct request {
    struct arena *arena; /* of all below */
    struct shared_vessel *vessels;
    struct shared_shift *shifts; /* by what was computed, of the causes it bears on */
    struct observation *common;  /* what is known of all of them */
    size_t count, shift_count;
};

/* One shift for each cause that a computed factor of this origin moves, by the vessel's level. */
static void shift_causes(const struct review *review, enum factor_kind origin, size_t vessel,
                         struct request *request)
{
    const struct dataset *dataset = review->dataset;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *computed = &dataset->factors[f];
        if (computed->log_odds == NULL || factor_kinds[computed->kind].origin != origin ||
            computed->level[vessel] == LEVEL_NONE)
            continue;
        for (size_t c = 0; c < review->rules->cause_count; c++)
            for (size_t m = 0; m < 2; m++)
                if (review->rules->causes[c].moved_by == computed->moved[m] &&
                    computed->moved[m] != MOVED_NONE)
                    *arena_push(request->arena, request->shifts,
                                request->shift_count) = (struct shared_shift){
                        c, RULES_NONE, computed->log_odds[2 * (size_t)computed->level[vessel] + m]};
    }
}

/* What a place is known to be like: its temperature, as the answer to the question it feeds. */
static void tell_place(const struct review *review, size_t vessel, struct observation *common)
{
    const struct dataset *dataset = review->dataset;
    size_t f = dataset_factor(dataset, FACTOR_TEMPERATURE);
    int feeder = review->rules->feeder[FEEDS_TEMPERATURE];
    if (f == dataset->factor_count || feeder == RULES_NONE ||
        dataset->factors[f].level[vessel] == LEVEL_NONE)
        return;
    const struct observable *temperature = &review->rules->observables[feeder];
    const char *label = dataset->factors[f].levels[dataset->factors[f].level[vessel]];
    for (size_t v = 0; v < temperature->value_count; v++)
        if (strcmp(temperature->values[v].label, label) == 0)
            common[feeder].seen = UINT32_C(1) << v;
}

/* Adds a vessel; returns where its groups go. What became of it is its finding where that is
 * likelier than not and fits its fate, else the fate. Signs are looked at in so many only: each
 * takes a posterior of its own. */
static int *request_add(const struct review *review, size_t vessel, struct request *request)
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
    const struct dataset *dataset = review->dataset;
    struct shared_vessel *added = &request->vessels[request->count];
    *added = (struct shared_vessel){.finding = RULES_NONE,
                                    .statuses = statuses[dataset->fate[vessel]],
                                    .control = dataset->control[vessel]};
    for (size_t s = 0; s < SCOPES; s++)
        added->group[s] = RULES_NONE;
    if (dataset->finding != NULL && dataset->finding[vessel] != RULES_NONE &&
        (double)dataset->sure[vessel] >= likely) {
        enum finding_status status = review->rules->findings[dataset->finding[vessel]].status;
        if (status != FINDING_CLEAN && (added->statuses >> status & 1) != 0)
            added->finding = dataset->finding[vessel];
    }
    if (dataset->seen != NULL && request->count < SIGNS_MOST)
        added->observations = dataset->seen[vessel];
    request->count++;
    return added->group;
}

/* Whether one kind of growth took them or several, as the answer to the question that says it. */
static void tell_alike(const struct review *review, struct request *request)
{
    enum { FEW = 3 };
    int feeder = review->rules->feeder[FEEDS_LOST_ALIKE], first = RULES_NONE;
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
    const struct observable *alike = &review->rules->observables[feeder];
    for (size_t v = 0; v < alike->value_count; v++)
        if (alike->values[v].parameter >= kinds && alike->values[v].parameter <= kinds)
            request->common[feeder].seen = UINT32_C(1) << v;
}

/* Answers the request: of each cause the chance that it acted in some group; all 0 where nothing is
 * known but that they were lost. */
static enum status infer(const struct review *review, struct request *request, double *share)
{
    const struct shared_batch batch = {.vessels = request->vessels,
                                       .vessel_count = request->count,
                                       .common = request->common,
                                       .shifts = request->shifts,
                                       .shift_count = request->shift_count};
    struct shared_posterior posterior;
    size_t observables = review->rules->observable_count;
    bool tells = false;
    memset(share, 0, review->rules->cause_count * sizeof *share);
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
    enum status status = tells ? reason_shared(review->reasoner, &batch, &posterior) : STATUS_OK;
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
    int by_p = ORDER(second->p, first->p);
    return by_p != 0 ? by_p : ORDER(first->cause, second->cause);
}

void review_list_causes(const struct rules *rules, const double *share, struct arena *arena,
                        struct review_why *why)
{
    static const double negligible = 0.005;
    why->causes = arena_array(arena, rules->cause_count, sizeof *why->causes);
    why->cause_count = 0;
    for (size_t c = 0; c < rules->cause_count; c++)
        if (share[c] > negligible)
            why->causes[why->cause_count++] = (struct review_cause){c, share[c]};
    array_sort(why->causes, why->cause_count, likelier);
}

/* ---- the causes of some vessels ----------------------------------------------------------------- */

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

/* Of the vessels of a chain the share of each cause. They are one group of the scope of a factor;
 * for NULL a batch, grouped by what they have. */
static enum status judge(const struct review *review, const struct factor *of,
                         const struct chains *chains, uint32_t level, double *share)
{
    static const enum factor_kind kinds[SCOPES] = {
        [SCOPE_COOK] = FACTOR_COOK,       [SCOPE_MIX] = FACTOR_BATCH,
        [SCOPE_GRAIN_LOT] = FACTOR_LOT,   [SCOPE_SESSION] = FACTOR_SESSION,
        [SCOPE_STARTER] = FACTOR_STARTER, [SCOPE_PLACE] = FACTOR_PLACE,
        [SCOPE_VESSEL] = FACTOR_KINDS, /* of a vessel alone there is none */
    };
    const struct dataset *dataset = review->dataset;
    struct groups groups[SCOPES] = {0};
    struct request request = {.arena = arena_new()};
    size_t room = 0;

    for (uint32_t i = chains->first[level]; i != LEVEL_NONE; i = chains->next[i])
        room++;
    request.vessels = arena_array(request.arena, room, sizeof *request.vessels);
    request.common =
        arena_array(request.arena, review->rules->observable_count, sizeof *request.common);
    for (uint32_t i = chains->first[level]; i != LEVEL_NONE; i = chains->next[i]) {
        if (review->standing[i] == STANDING_OUT)
            continue;
        if (request.count == 0) {
            shift_causes(review, of != NULL ? factor_kinds[of->kind].origin : FACTOR_COOK, i,
                         &request);
            if (of == NULL)
                shift_causes(review, FACTOR_BATCH, i, &request);
            else if (factor_kinds[of->kind].scope == SCOPE_PLACE)
                tell_place(review, i, request.common);
        }
        int *group = request_add(review, i, &request);
        for (size_t s = 0; s < SCOPES; s++) {
            size_t f = dataset_factor(dataset, kinds[s]);
            if (of != NULL)
                group[s] = factor_kinds[of->kind].scope == s ? 0 : RULES_NONE;
            else if (f < dataset->factor_count)
                group[s] = group_of(&groups[s], dataset->factors[f].level[i]);
        }
    }
    if (of == NULL)
        tell_alike(review, &request);
    enum status status = infer(review, &request, share);
    arena_free(request.arena);
    return status;
}

/* Of each suspect the causes of its scope, by how likely it is among them. */
static enum status judge_culprit(const struct review *review, struct review_culprit *culprit)
{
    const struct dataset *dataset = review->dataset;
    size_t causes = review->rules->cause_count;
    double *share SCOPED_FREE = memory_array(2 * causes, sizeof *share), *all = share + causes;
    struct arena *arena SCOPED_ARENA = arena_new();
    enum status status = STATUS_OK;
    for (size_t s = 0; s < culprit->suspect_count && status == STATUS_OK; s++) {
        const struct review_suspect *suspect = &culprit->suspects[s];
        const struct factor *of = &dataset->factors[suspect->factor];
        double sum = 0.0;
        if (factor_kinds[of->kind].scope == SCOPE_VESSEL)
            continue;
        const struct chains chains = chain_vessels(dataset, of, arena);
        status = judge(review, of, &chains, suspect->level, share);
        arena_reset(arena);
        for (size_t c = 0; c < causes; c++)
            sum += share[c];
        for (size_t c = 0; c < causes && sum > 0.0; c++)
            all[c] += suspect->p / culprit->p * share[c] / sum;
    }
    review_list_causes(review->rules, all, review->arena, &culprit->why);
    return status;
}

/* ---- all of them -------------------------------------------------------------------------------- */

static int more_lost(const void *a, const void *b)
{
    const struct review_batch *const *first = a, *const *second = b;
    int by_lost = ORDER((*second)->counts.lost, (*first)->counts.lost);
    return by_lost != 0 ? by_lost : ORDER(*first, *second);
}

/* The batches that lost most; and where there is only one, or none that did well to compare with,
 * all of them as one account. */
static enum status judge_batches(struct review *review)
{
    const struct dataset *dataset = review->dataset;
    const struct counts counts = review->totals.counts;
    struct review_account *account = &review->account;
    struct arena *arena SCOPED_ARENA = arena_new();
    struct review_batch **worst = arena_array(arena, review->batch_count, sizeof(void *));
    double *share = arena_array(arena, review->rules->cause_count, sizeof *share);
    const struct chains chains = chain_vessels(
        dataset, review->batch_count > 0 ? &dataset->factors[dataset->batch] : NULL, arena);
    enum status status = STATUS_OK;

    for (size_t b = 0; b < review->batch_count; b++)
        worst[b] = &review->batches[b];
    array_sort(worst, review->batch_count, more_lost);
    size_t asked =
        review->batch_count < REVIEW_BATCHES_JUDGED ? review->batch_count : REVIEW_BATCHES_JUDGED;
    for (size_t k = 0; k < asked && worst[k]->counts.lost > 0 && status == STATUS_OK; k++) {
        status = judge(review, NULL, &chains, worst[k]->level, share);
        review_list_causes(review->rules, share, review->arena, &worst[k]->why);
        progress_tell(review->progress, "looking for shared causes",
                      (k + 1) * dataset->vessel_count, asked * dataset->vessel_count);
    }
    if (status == STATUS_OK && counts.lost > 0 &&
        (review->batch_count == 1 || counts.lost == counts.total)) {
        const struct chains one = chain_vessels(dataset, NULL, arena);
        account->counts = counts;
        account->controls = review->totals.controls;
        status = judge(review, NULL, &one, 0, share);
        review_list_causes(review->rules, share, review->arena, &account->why);
        account_choose_trials(review->reasoner, NULL, review->arena, account);
    }
    return status;
}

/* ---- what to change ----------------------------------------------------------------------------- */

double review_saves(const struct review_culprit *culprit)
{
    return culprit->saved * culprit->p;
}

static void choose_all_trials(struct review *review)
{
    review->changes = arena_array(review->arena, review->culprit_count, sizeof *review->changes);
    for (size_t k = 0; k < review->culprit_count; k++) {
        struct review_culprit *culprit = &review->culprits[k];
        if (culprit->suspect_count > 1) {
            double *shares SCOPED_FREE =
                memory_array(HYPOTHESES * review->rules->cause_count, sizeof *shares);
            struct contest contest = {.causes = shares};
            ask_suspects(review, culprit, &contest);
            choose_trials(review->reasoner, &contest, review->arena, &culprit->why);
        } else {
            tell_apart(review->reasoner, review->arena, &culprit->why);
        }
        size_t at = k;
        for (; at > 0 &&
               review_saves(&review->culprits[review->changes[at - 1]]) < review_saves(culprit);
             at--)
            review->changes[at] = review->changes[at - 1];
        review->changes[at] = k;
    }
}

/* ---- the next batch ----------------------------------------------------------------------------- */

/* The next batch, so that what went together goes apart.
 *
 * A grain lot, a starter, a shelf can be used again: each gets an arm in which it is the only
 * suspect, beside an arm without any, all in one new cook and one new sitting. A cook or a sitting
 * is over: if none of the others fails again, it was that. Where all suspects are over, the next
 * time is laid out so that they can be told apart: two of each, crossed. */

enum { ARMS_MOST = 9, FEWEST = 2, MOST = 12 };
static const double error_wanted = 0.10;

/* Whether a level can be used again: a sack can, a sitting is over. */
static bool lasts(enum factor_kind kind)
{
    enum factor_kind origin = factor_kinds[kind].origin;
    return origin != FACTOR_COOK && origin != FACTOR_SESSION && origin != FACTOR_BATCH &&
           origin != FACTOR_CHANGE;
}

bool review_calls(const struct review *review, size_t factor, uint32_t level)
{
    for (size_t k = 0; k < review->culprit_count; k++)
        for (size_t s = 0; s < review->culprits[k].suspect_count; s++)
            if (review->culprits[k].suspects[s].factor == factor &&
                review->culprits[k].suspects[s].level == level)
                return true;
    return false;
}

/* A level of the factor that is above suspicion: it lost least of some vessels; or LEVEL_NONE. */
static uint32_t trusted(const struct review *review, size_t factor)
{
    enum { SOME = 5 };
    const struct review_factor *of = &review->factors[factor];
    for (size_t l = of->level_count; l-- > 0;) {
        if (of->levels[l].counts.total >= SOME &&
            !review_calls(review, factor, of->levels[l].level))
            return of->levels[l].level;
    }
    return LEVEL_NONE;
}

/* An empty arm: levels of none, no new ones. */
static struct review_arm *arm_add(const struct review *review, struct review_plan *plan,
                                  bool control)
{
    struct review_arm *arm = &plan->arms[plan->arm_count++];
    *arm = (struct review_arm){
        .vessels = control ? 1 : plan->each,
        .control = control,
        .levels = arena_array(review->arena, plan->factor_count, sizeof *arm->levels),
        .fresh = arena_array(review->arena, plan->factor_count, sizeof *arm->fresh)};
    for (size_t c = 0; c < plan->factor_count; c++)
        arm->levels[c] = LEVEL_NONE;
    return arm;
}

/* The arm in which suspect `only` is the only one (plan->factor_count: none is). */
static void arm_with(const struct review *review, struct review_plan *plan, size_t only,
                     bool control)
{
    const struct review_culprit *culprit = &review->culprits[plan->culprit];
    struct review_arm *arm = arm_add(review, plan, control);
    for (size_t c = 0; c < plan->factor_count; c++) {
        if (c == only)
            arm->levels[c] = culprit->suspects[c].level;
        else if (lasts(review->dataset->factors[plan->factors[c]].kind))
            arm->levels[c] = trusted(review, plan->factors[c]);
        arm->fresh[c] = arm->levels[c] == LEVEL_NONE ? 1 : 0;
    }
}

static void fill_arms(const struct review *review, struct review_plan *plan)
{
    plan->crossed = true;
    for (size_t c = 0; c < plan->factor_count; c++)
        plan->crossed = plan->crossed && !lasts(review->dataset->factors[plan->factors[c]].kind);
    if (plan->crossed) {
        /* Two of each that is over, crossed: four arms separate three factors (a half of 2^3). */
        enum { TWO = 2 };
        for (unsigned a = 1; a <= TWO; a++) {
            for (unsigned b = 1; b <= TWO; b++) {
                struct review_arm *arm = arm_add(review, plan, false);
                for (size_t i = 0; i < plan->factor_count; i++)
                    arm->fresh[i] = i == 0 ? a : i == 1 ? b : a == b ? 1 : 2;
            }
            if (factor_kinds[review->dataset->factors[plan->factors[0]].kind].control)
                arm_add(review, plan, true)->fresh[0] = a;
        }
        return;
    }
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = review->dataset->factors[plan->factors[c]].kind;
        if (!lasts(kind))
            continue;
        arm_with(review, plan, c, false);
        if (factor_kinds[kind].control && plan->arm_count < ARMS_MOST - 2)
            arm_with(review, plan, c, true);
    }
    arm_with(review, plan, plan->factor_count, false);
}

/* Crossed plans are alike whatever is suspected: one of them is enough. */
static bool planned(const struct review *review, const struct review_plan *plan)
{
    bool same = false;
    for (size_t p = 0; p < review->plan_count && !same; p++) {
        const struct review_plan *other = &review->plans[p];
        same = plan->crossed && other->crossed && plan->factor_count == other->factor_count &&
               memcmp(plan->factors, other->factors, plan->factor_count * sizeof(size_t)) == 0;
    }
    return same;
}

static void plan_next(struct review *review)
{
    enum { COLUMNS = 3 };

    review->plans = arena_array(review->arena, review->culprit_count, sizeof *review->plans);
    for (size_t k = 0; k < review->culprit_count; k++) {
        const struct review_culprit *culprit = &review->culprits[k];
        struct review_plan *plan = &review->plans[review->plan_count];
        size_t columns = culprit->suspect_count < COLUMNS ? culprit->suspect_count : COLUMNS;
        if (columns < 2)
            continue;
        size_t *factors = arena_array(review->arena, columns, sizeof *factors);
        for (size_t c = 0; c < columns; c++)
            factors[c] = culprit->suspects[c].factor;
        *plan = (struct review_plan){.culprit = k, .factors = factors, .factor_count = columns};
        plan->arms = arena_array(review->arena, ARMS_MOST, sizeof *plan->arms);
        /* An arm fails from so many losses on: the fewest vessels that keep both errors below what
         * is wanted, or the most there may be. */
        double failing = ((double)culprit->suspects[0].inside.lost + 1.0) /
                         ((double)culprit->suspects[0].inside.total + 2.0);
        double usual = ((double)culprit->suspects[0].outside.lost + 1.0) /
                       ((double)culprit->suspects[0].outside.total + 2.0);

        plan->error = 1.0;
        for (size_t count = FEWEST; count <= MOST && plan->error > error_wanted; count++)
            for (size_t from = 1; from <= count; from++) {
                double missed = counts_chance_below((struct counts){from - 1, count}, failing);
                double blamed = counts_chance_above((struct counts){from, count}, usual);
                double error = fmax(missed, blamed);
                if (error < plan->error) {
                    plan->error = error;
                    plan->each = count;
                    plan->fails_from = from;
                }
            }
        fill_arms(review, plan);
        review->plan_count += !planned(review, plan);
    }
}

enum status review_explain(struct review *review)
{
    enum status status = STATUS_OK;
    for (size_t k = 0; k < review->culprit_count && status == STATUS_OK; k++)
        status = judge_culprit(review, &review->culprits[k]);
    if (status == STATUS_OK)
        status = judge_batches(review);
    if (status == STATUS_OK) {
        choose_all_trials(review);
        plan_next(review);
    }
    return status;
}
