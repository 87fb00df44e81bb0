/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What would settle it: the tests of the rule base, by what they would tell.
 *
 * Between suspects the question is which of them it was; with one suspect, which
 * of its causes. The rule base says how each cause bears on a test's answers, so
 * the chance of an answer under a hypothesis is the mean over its causes, and the
 * expected information is
 *   I = sum_h P(h) sum_a P(a|h) log2 (P(a|h) / P(a)).
 */
#include <math.h>
#include <stdlib.h>

#include "review/factors_internal.h"

enum { HYPOTHESES = 16 };

struct contest { /* between hypotheses */
    size_t count;
    double p[HYPOTHESES];
    double *causes; /* of each hypothesis the share of each cause: [h * cause_count + c] */
};

/* ---- how a cause bears on an answer ----------------------------------------------------------- */

/* The set of one cause alone. */
static size_t set_of(const struct reasoner *reasoner, size_t cause)
{
    int causes[2];
    for (size_t s = 0; s < reasoner_set_count(reasoner); s++) {
        reasoner_set(reasoner, s, causes);
        if (causes[0] == (int)cause && causes[1] == RULES_NONE)
            return s;
    }
    return 0;
}

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
static void add_answers(const struct review_work *work, size_t observable, size_t cause,
                        double weight, double *answers)
{
    const struct rules *rules = work->rules;
    size_t values = rules->observables[observable].value_count;
    size_t set = set_of(work->reasoner, cause);
    double all = 0.0;

    for (size_t f = 0; f < rules->finding_count; f++)
        all += grows(rules, cause, f);
    for (size_t f = 0; f < rules->finding_count && all > 0.0; f++) {
        double share = weight * grows(rules, cause, f) / all;
        for (size_t v = 0; v < values && share > 0.0; v++)
            answers[v] += share * reasoner_likelihood(work->reasoner, NULL, observable, v, f, set);
    }
}

/* ---- the questions --------------------------------------------------------------------------- */

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

/* The suspects, each with the causes of its scope as the fault's vessels weigh them. */
static void ask_suspects(const struct review_work *work, const struct review_fault *fault,
                         struct contest *contest)
{
    const struct rules *rules = work->rules;
    contest->count = fault->suspect_count < HYPOTHESES ? fault->suspect_count : HYPOTHESES;
    for (size_t h = 0; h < contest->count; h++) {
        const struct review_suspect *suspect = &fault->suspects[h];
        enum scope scope = factor_kind_scope(work->dataset->factors[suspect->factor].kind);
        double *share = &contest->causes[h * rules->cause_count], all = 0.0;
        contest->p[h] = suspect->p / fault->p;
        for (size_t k = 0; k < fault->cause_count; k++)
            if (rules->causes[fault->causes[k].cause].scope == scope)
                all += share[fault->causes[k].cause] = fault->causes[k].p;
        for (size_t c = 0; c < rules->cause_count && all > 0.0; c++)
            share[c] /= all;
        if (all == 0.0)
            usual_shares(rules, scope, share);
    }
}

/* The causes of the one suspect, each a hypothesis. */
static void ask_causes(const struct review_work *work, const struct review_fault *fault,
                       struct contest *contest)
{
    double all = 0.0;
    contest->count = fault->cause_count < HYPOTHESES ? fault->cause_count : HYPOTHESES;
    for (size_t h = 0; h < contest->count; h++)
        all += contest->p[h] = fault->causes[h].p;
    for (size_t h = 0; h < contest->count; h++) {
        contest->p[h] /= all;
        contest->causes[h * work->rules->cause_count + fault->causes[h].cause] = 1.0;
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

/* What one test would tell; false when there is no memory. */
static bool try_test(const struct review_work *work, const struct contest *contest,
                     size_t observable, struct review_trial *trial)
{
    const struct observable *test = &work->rules->observables[observable];
    size_t values = test->value_count, causes = work->rules->cause_count;
    double *answers = arena_array(work->arena, contest->count * values, sizeof *answers);
    if (answers == NULL)
        return false;
    for (size_t h = 0; h < contest->count; h++)
        for (size_t c = 0; c < causes; c++)
            if (contest->causes[h * causes + c] > 0.0)
                add_answers(work, observable, c, contest->causes[h * causes + c],
                            &answers[h * values]);
    *trial = (struct review_trial){
        .observable = observable,
        .bits = information(contest, answers, values),
        .cost = test->effort + test->delay_days * work->rules->review.wait,
        .delay_days = test->delay_days,
    };
    return true;
}

static int better(const void *a, const void *b)
{
    const struct review_trial *first = a, *second = b;
    double x = first->bits / fmax(first->cost, 1e-3), y = second->bits / fmax(second->cost, 1e-3);
    if (x < y || x > y)
        return x < y ? 1 : -1;
    return (first->observable > second->observable) - (first->observable < second->observable);
}

static enum status choose(const struct review_work *work, struct review_fault *fault)
{
    static const double worth_it = 0.02; /* bits */
    const struct rules *rules = work->rules;
    struct contest contest = {
        .causes = calloc(HYPOTHESES * (rules->cause_count + 1), sizeof *contest.causes)};
    fault->trials = arena_array(work->arena, rules->observable_count, sizeof *fault->trials);
    enum status status =
        contest.causes != NULL && fault->trials != NULL ? STATUS_OK : STATUS_MEMORY;

    if (status == STATUS_OK)
        (fault->suspect_count > 1 ? ask_suspects : ask_causes)(work, fault, &contest);
    for (size_t o = 0; o < rules->observable_count && status == STATUS_OK; o++) {
        struct review_trial *trial = &fault->trials[fault->trial_count];
        if (rules->observables[o].class != CLASS_TEST || contest.count < 2)
            continue;
        if (!try_test(work, &contest, o, trial))
            status = STATUS_MEMORY;
        else
            fault->trial_count += trial->bits >= worth_it;
    }
    if (status == STATUS_OK && fault->trial_count > 1)
        qsort(fault->trials, fault->trial_count, sizeof *fault->trials, better);
    free(contest.causes);
    return status;
}

/* ---- what to change -------------------------------------------------------------------------- */

static int saves_more(const void *a, const void *b)
{
    const struct review_change *first = a, *second = b;
    if (first->saved < second->saved || first->saved > second->saved)
        return first->saved < second->saved ? 1 : -1;
    return (first->fault > second->fault) - (first->fault < second->fault);
}

static enum status list_changes(struct review_work *work)
{
    struct review *review = work->review;
    review->changes = arena_array(work->arena, review->fault_count, sizeof *review->changes);
    if (review->changes == NULL)
        return STATUS_MEMORY;
    for (size_t k = 0; k < review->fault_count; k++) {
        const struct review_fault *fault = &review->faults[k];
        struct review_change *change = &review->changes[review->change_count++];
        *change = (struct review_change){
            .fault = k, .cause = RULES_NONE, .saved = fault->saved * fault->p};
        if (fault->cause_count > 0) {
            change->cause = (int)fault->causes[0].cause;
            change->p = fault->causes[0].p;
        }
    }
    if (review->change_count > 1)
        qsort(review->changes, review->change_count, sizeof *review->changes, saves_more);
    return STATUS_OK;
}

enum status review_choose_trials(struct review_work *work)
{
    enum status status = STATUS_OK;
    for (size_t k = 0; k < work->review->fault_count && status == STATUS_OK; k++)
        status = choose(work, &work->review->faults[k]);
    return status == STATUS_OK ? list_changes(work) : status;
}
