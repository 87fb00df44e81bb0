/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/search.h"

/* What to do: tests that would settle it, what to change, and the next batch. */

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
    size_t set = reasoner_set_of(reasoner, (int)cause);
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
static void ask_suspects(const struct review_work *work, const struct review_culprit *culprit,
                         struct contest *contest)
{
    const struct rules *rules = work->rules;
    contest->count = culprit->suspect_count < HYPOTHESES ? culprit->suspect_count : HYPOTHESES;
    for (size_t h = 0; h < contest->count; h++) {
        const struct review_suspect *suspect = &culprit->suspects[h];
        enum scope scope = factor_kinds[work->dataset->factors[suspect->factor].kind].scope;
        double *share = &contest->causes[h * rules->cause_count], all = 0.0;
        contest->p[h] = suspect->p / culprit->p;
        for (size_t k = 0; k < culprit->cause_count; k++)
            if (rules->causes[culprit->causes[k].cause].scope == scope)
                all += share[culprit->causes[k].cause] = culprit->causes[k].p;
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
    if (x < y || x > y)
        return x < y ? 1 : -1;
    return (first->observable > second->observable) - (first->observable < second->observable);
}

/* The tests that tell the hypotheses of a contest apart, best first; ends the contest. */
static struct review_trial *choose_trials(const struct reasoner *reasoner, struct contest *contest,
                                          struct arena *arena, size_t *count)
{
    static const double worth_it = 0.02; /* bits */
    const struct rules *rules = reasoner_rules(reasoner);
    size_t causes = rules->cause_count;
    struct review_trial *trials = arena_array(arena, rules->observable_count, sizeof *trials);

    *count = 0;
    for (size_t o = 0; o < rules->observable_count && contest->count > 1; o++) {
        const struct observable *test = &rules->observables[o];
        size_t values = test->value_count;
        if (test->class != CLASS_TEST)
            continue;
        double *answers = calloc(contest->count * values + 1, sizeof *answers);
        for (size_t h = 0; h < contest->count; h++)
            for (size_t c = 0; c < causes; c++)
                if (contest->causes[h * causes + c] > 0.0)
                    add_answers(reasoner, o, c, contest->causes[h * causes + c],
                                &answers[h * values]);
        double bits = information(contest, answers, values);
        free(answers);
        if (bits >= worth_it)
            trials[(*count)++] =
                (struct review_trial){.observable = o,
                                      .bits = bits,
                                      .cost = test->effort + test->delay_days * rules->review.wait,
                                      .delay_days = test->delay_days};
    }
    if (*count > 1)
        qsort(trials, *count, sizeof *trials, better);
    free(contest->causes);
    return trials;
}

static struct contest contest_new(const struct rules *rules)
{
    return (struct contest){.causes =
                                calloc(HYPOTHESES * (rules->cause_count + 1), sizeof(double))};
}

struct review_trial *review_tell_apart(const struct reasoner *reasoner,
                                       const struct review_cause *causes, size_t count,
                                       struct arena *arena, size_t *trial_count)
{
    const struct rules *rules = reasoner_rules(reasoner);
    struct contest contest = contest_new(rules);
    double all = 0.0;
    contest.count = count < HYPOTHESES ? count : HYPOTHESES;
    for (size_t h = 0; h < contest.count; h++)
        all += contest.p[h] = causes[h].p;
    for (size_t h = 0; h < contest.count; h++) {
        contest.p[h] /= all;
        contest.causes[h * rules->cause_count + causes[h].cause] = 1.0;
    }
    return choose_trials(reasoner, &contest, arena, trial_count);
}

/* ---- what to change ----------------------------------------------------------------------------- */

static int saves_more(const void *a, const void *b)
{
    const struct review_change *first = a, *second = b;
    if (first->saved < second->saved || first->saved > second->saved)
        return first->saved < second->saved ? 1 : -1;
    return (first->culprit > second->culprit) - (first->culprit < second->culprit);
}

void review_choose_trials(struct review_work *work)
{
    struct review *review = work->review;
    review->changes = arena_array(work->arena, review->culprit_count, sizeof *review->changes);
    for (size_t k = 0; k < review->culprit_count; k++) {
        struct review_culprit *culprit = &review->culprits[k];
        if (culprit->suspect_count > 1) {
            struct contest contest = contest_new(work->rules);
            ask_suspects(work, culprit, &contest);
            culprit->trials =
                choose_trials(work->reasoner, &contest, work->arena, &culprit->trial_count);
        } else {
            culprit->trials =
                review_tell_apart(work->reasoner, culprit->causes, culprit->cause_count,
                                  work->arena, &culprit->trial_count);
        }
        struct review_change *change = &review->changes[review->change_count++];
        *change = (struct review_change){
            .culprit = k, .cause = RULES_NONE, .saved = culprit->saved * culprit->p};
        if (culprit->cause_count > 0) {
            change->cause = (int)culprit->causes[0].cause;
            change->p = culprit->causes[0].p;
        }
    }
    if (review->change_count > 1)
        qsort(review->changes, review->change_count, sizeof *review->changes, saves_more);
}

/* ---- the next batch ----------------------------------------------------------------------------- */

/*
 * The next batch, so that what went together goes apart.
 *
 * A grain lot, a starter, a shelf can be used again: each gets an arm in which it
 * is the only suspect, beside an arm without any, all in one new cook and one new
 * sitting. A cook or a sitting is over: if none of the others fails again, it was
 * that. Where all suspects are over, the next time is laid out so that they can be
 * told apart: two of each, crossed.
 */

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

/* A level of the factor that is above suspicion: it lost least of those with some vessels; LEVEL_NONE. */
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
static struct review_arm *arm_add(const struct review_work *work, struct review_plan *plan,
                                  bool control)
{
    struct review_arm *arm = &plan->arms[plan->arm_count++];
    *arm = (struct review_arm){
        .vessels = control ? 1 : plan->each,
        .control = control,
        .levels = arena_array(work->arena, plan->factor_count, sizeof *arm->levels),
        .fresh = arena_array(work->arena, plan->factor_count, sizeof *arm->fresh)};
    for (size_t c = 0; c < plan->factor_count; c++)
        arm->levels[c] = LEVEL_NONE;
    return arm;
}

/* The arm in which suspect `only` is the only one (plan->factor_count: none is). */
static void arm_with(const struct review_work *work, struct review_plan *plan, size_t only,
                     bool control)
{
    const struct review_culprit *culprit = &work->review->culprits[plan->culprit];
    struct review_arm *arm = arm_add(work, plan, control);
    for (size_t c = 0; c < plan->factor_count; c++) {
        if (c == only)
            arm->levels[c] = culprit->suspects[c].level;
        else if (lasts(work->dataset->factors[plan->factors[c]].kind))
            arm->levels[c] = trusted(work->review, plan->factors[c]);
        arm->fresh[c] = arm->levels[c] == LEVEL_NONE ? 1 : 0;
    }
}

static void fill_arms(const struct review_work *work, struct review_plan *plan)
{
    plan->crossed = true;
    for (size_t c = 0; c < plan->factor_count; c++)
        plan->crossed = plan->crossed && !lasts(work->dataset->factors[plan->factors[c]].kind);
    if (plan->crossed) {
        /* Two of each that is over, crossed: four arms separate three factors (a half of 2^3). */
        enum { TWO = 2 };
        for (unsigned a = 1; a <= TWO; a++) {
            for (unsigned b = 1; b <= TWO; b++) {
                struct review_arm *arm = arm_add(work, plan, false);
                for (size_t i = 0; i < plan->factor_count; i++)
                    arm->fresh[i] = i == 0 ? a : i == 1 ? b : a == b ? 1 : 2;
            }
            if (factor_kinds[work->dataset->factors[plan->factors[0]].kind].control)
                arm_add(work, plan, true)->fresh[0] = a;
        }
        return;
    }
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = work->dataset->factors[plan->factors[c]].kind;
        if (!lasts(kind))
            continue;
        arm_with(work, plan, c, false);
        if (factor_kinds[kind].control && plan->arm_count < ARMS_MOST - 2)
            arm_with(work, plan, c, true);
    }
    arm_with(work, plan, plan->factor_count, false);
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

void review_plan_next(struct review_work *work)
{
    enum { COLUMNS = 3 };
    struct review *review = work->review;

    review->plans = arena_array(work->arena, review->culprit_count, sizeof *review->plans);
    for (size_t k = 0; k < review->culprit_count; k++) {
        const struct review_culprit *culprit = &review->culprits[k];
        struct review_plan *plan = &review->plans[review->plan_count];
        size_t columns = culprit->suspect_count < COLUMNS ? culprit->suspect_count : COLUMNS;
        if (columns < 2)
            continue;
        size_t *factors = arena_array(work->arena, columns, sizeof *factors);
        for (size_t c = 0; c < columns; c++)
            factors[c] = culprit->suspects[c].factor;
        *plan = (struct review_plan){.culprit = k, .factors = factors, .factor_count = columns};
        plan->arms = arena_array(work->arena, ARMS_MOST, sizeof *plan->arms);
        /* An arm fails from so many losses on: the fewest vessels that keep both errors below what is
         * wanted, or the most there may be. */
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
        fill_arms(work, plan);
        review->plan_count += !planned(review, plan);
    }
}
