/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/review.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/search.h"

/* ==== plan ==================================================================================== */

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
    switch (factor_kind_origin(kind)) {
    case FACTOR_COOK:
    case FACTOR_SESSION:
    case FACTOR_BATCH:
        return false;
    default:
        return true;
    }
}

/* ---- how many vessels ------------------------------------------------------------------------ */

/* The larger chance of a wrong reading when an arm of `count` is taken to fail from `from` losses on. */
static double wrong(size_t count, size_t from, double failing, double usual)
{
    double missed = counts_chance_below((struct counts){from - 1, count}, failing);
    double blamed = counts_chance_above((struct counts){from, count}, usual);
    return fmax(missed, blamed);
}

/* The fewest vessels an arm that keep both errors below what is wanted, or the most there may be. */
static void size_arms(const struct review_suspect *suspect, struct review_plan *plan)
{
    double failing = ((double)suspect->inside.lost + 1.0) / ((double)suspect->inside.total + 2.0);
    double usual = ((double)suspect->outside.lost + 1.0) / ((double)suspect->outside.total + 2.0);

    plan->error = 1.0;
    for (size_t count = FEWEST; count <= MOST && plan->error > error_wanted; count++)
        for (size_t from = 1; from <= count; from++) {
            double error = wrong(count, from, failing, usual);
            if (error < plan->error) {
                plan->error = error;
                plan->each = count;
                plan->fails_from = from;
            }
        }
}

/* ---- arms ------------------------------------------------------------------------------------ */

/* A level of the factor that is above suspicion: it lost least of those with some vessels; LEVEL_NONE. */
static uint32_t trusted(const struct review *review, size_t factor)
{
    enum { SOME = 5 };
    const struct review_factor *of = &review->factors[factor];
    for (size_t l = of->level_count; l-- > 0;) {
        bool suspected = of->levels[l].counts.total < SOME;
        for (size_t k = 0; k < review->culprit_count && !suspected; k++)
            for (size_t s = 0; s < review->culprits[k].suspect_count; s++)
                suspected =
                    suspected || (review->culprits[k].suspects[s].factor == factor &&
                                  review->culprits[k].suspects[s].level == of->levels[l].level);
        if (!suspected)
            return of->levels[l].level;
    }
    return LEVEL_NONE;
}

struct arm_room {
    uint32_t *levels;
    unsigned *fresh;
};

static bool arm_add(const struct review_work *work, struct review_plan *plan, bool control,
                    struct arm_room *room)
{
    room->levels = arena_array(work->arena, plan->factor_count, sizeof *room->levels);
    room->fresh = arena_array(work->arena, plan->factor_count, sizeof *room->fresh);
    if (room->levels == NULL || room->fresh == NULL)
        return false;
    plan->arms[plan->arm_count++] = (struct review_arm){.vessels = control ? 1 : plan->each,
                                                        .control = control,
                                                        .levels = room->levels,
                                                        .fresh = room->fresh};
    return true;
}

/* The arm in which suspect `only` is the only one (plan->factor_count: none is). */
static bool arm_with(const struct review_work *work, const struct review_culprit *culprit,
                     struct review_plan *plan, size_t only, bool control)
{
    struct arm_room room;
    if (!arm_add(work, plan, control, &room))
        return false;
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = work->dataset->factors[plan->factors[c]].kind;
        room.levels[c] = LEVEL_NONE;
        if (c == only)
            room.levels[c] = culprit->suspects[c].level;
        else if (lasts(kind))
            room.levels[c] = trusted(work->review, plan->factors[c]);
        room.fresh[c] = room.levels[c] == LEVEL_NONE ? 1 : 0;
    }
    return true;
}

/* Two of each that is over, crossed: four arms part three factors, each from each (a half of 2^3). */
static bool cross_arms(const struct review_work *work, struct review_plan *plan)
{
    enum { TWO = 2 };
    for (unsigned a = 1; a <= TWO; a++) {
        struct arm_room room;
        for (unsigned b = 1; b <= TWO; b++) {
            if (!arm_add(work, plan, false, &room))
                return false;
            for (size_t c = 0; c < plan->factor_count; c++) {
                room.levels[c] = LEVEL_NONE;
                room.fresh[c] = c == 0 ? a : c == 1 ? b : a == b ? 1 : 2;
            }
        }
        if (!factor_kind_control(work->dataset->factors[plan->factors[0]].kind))
            continue;
        if (!arm_add(work, plan, true, &room))
            return false;
        for (size_t c = 0; c < plan->factor_count; c++) {
            room.levels[c] = LEVEL_NONE;
            room.fresh[c] = c == 0 ? a : 0;
        }
    }
    return true;
}

/* ---- plans ----------------------------------------------------------------------------------- */

static bool fill_arms(const struct review_work *work, const struct review_culprit *culprit,
                      struct review_plan *plan)
{
    bool fine = true, any = false;
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = work->dataset->factors[plan->factors[c]].kind;
        any = any || lasts(kind);
    }
    plan->crossed = !any;
    if (plan->crossed)
        return cross_arms(work, plan);
    for (size_t c = 0; c < plan->factor_count && fine; c++) {
        enum factor_kind kind = work->dataset->factors[plan->factors[c]].kind;
        if (!lasts(kind))
            continue;
        fine = arm_with(work, culprit, plan, c, false);
        if (fine && factor_kind_control(kind) && plan->arm_count < ARMS_MOST - 2)
            fine = arm_with(work, culprit, plan, c, true);
    }
    return fine && arm_with(work, culprit, plan, plan->factor_count, false);
}

/* Crossed plans are alike whatever is suspected: one of them is enough. */
static bool planned(const struct review *review, const struct review_plan *plan)
{
    for (size_t p = 0; p < review->plan_count; p++) {
        const struct review_plan *other = &review->plans[p];
        bool same = plan->crossed && other->crossed && plan->factor_count == other->factor_count;
        for (size_t c = 0; c < plan->factor_count && same; c++)
            same = plan->factors[c] == other->factors[c];
        if (same)
            return true;
    }
    return false;
}

static enum status plan_culprit(struct review_work *work, size_t k)
{
    enum { COLUMNS = 3 };
    struct review *review = work->review;
    const struct review_culprit *culprit = &review->culprits[k];
    struct review_plan *plan = &review->plans[review->plan_count];
    size_t columns = culprit->suspect_count < COLUMNS ? culprit->suspect_count : COLUMNS;
    size_t *factors = arena_array(work->arena, columns, sizeof *factors);

    *plan = (struct review_plan){.culprit = k, .factors = factors, .factor_count = columns};
    plan->arms = arena_array(work->arena, ARMS_MOST, sizeof *plan->arms);
    if (factors == NULL || plan->arms == NULL)
        return STATUS_MEMORY;
    for (size_t c = 0; c < columns; c++)
        factors[c] = culprit->suspects[c].factor;
    size_arms(&culprit->suspects[0], plan);
    if (!fill_arms(work, culprit, plan))
        return STATUS_MEMORY;
    review->plan_count += !planned(review, plan);
    return STATUS_OK;
}

enum status review_plan_next(struct review_work *work)
{
    struct review *review = work->review;
    enum status status = STATUS_OK;
    review->plans = arena_array(work->arena, review->culprit_count, sizeof *review->plans);
    if (review->plans == NULL)
        return STATUS_MEMORY;
    for (size_t k = 0; k < review->culprit_count && status == STATUS_OK; k++)
        if (review->culprits[k].suspect_count > 1)
            status = plan_culprit(work, k);
    return status;
}

/* ==== trials ================================================================================== */

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

/* The suspects, each with the causes of its scope as the culprit's vessels weigh them. */
static void ask_suspects(const struct review_work *work, const struct review_culprit *culprit,
                         struct contest *contest)
{
    const struct rules *rules = work->rules;
    contest->count = culprit->suspect_count < HYPOTHESES ? culprit->suspect_count : HYPOTHESES;
    for (size_t h = 0; h < contest->count; h++) {
        const struct review_suspect *suspect = &culprit->suspects[h];
        enum scope scope = factor_kind_scope(work->dataset->factors[suspect->factor].kind);
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

/* The causes of the one suspect, each a hypothesis. */
static void ask_causes(const struct review_work *work, const struct review_culprit *culprit,
                       struct contest *contest)
{
    double all = 0.0;
    contest->count = culprit->cause_count < HYPOTHESES ? culprit->cause_count : HYPOTHESES;
    for (size_t h = 0; h < contest->count; h++)
        all += contest->p[h] = culprit->causes[h].p;
    for (size_t h = 0; h < contest->count; h++) {
        contest->p[h] /= all;
        contest->causes[h * work->rules->cause_count + culprit->causes[h].cause] = 1.0;
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

static enum status choose(const struct review_work *work, struct review_culprit *culprit)
{
    static const double worth_it = 0.02; /* bits */
    const struct rules *rules = work->rules;
    struct contest contest = {
        .causes = calloc(HYPOTHESES * (rules->cause_count + 1), sizeof *contest.causes)};
    culprit->trials = arena_array(work->arena, rules->observable_count, sizeof *culprit->trials);
    enum status status =
        contest.causes != NULL && culprit->trials != NULL ? STATUS_OK : STATUS_MEMORY;

    if (status == STATUS_OK)
        (culprit->suspect_count > 1 ? ask_suspects : ask_causes)(work, culprit, &contest);
    for (size_t o = 0; o < rules->observable_count && status == STATUS_OK; o++) {
        struct review_trial *trial = &culprit->trials[culprit->trial_count];
        if (rules->observables[o].class != CLASS_TEST || contest.count < 2)
            continue;
        if (!try_test(work, &contest, o, trial))
            status = STATUS_MEMORY;
        else
            culprit->trial_count += trial->bits >= worth_it;
    }
    if (status == STATUS_OK && culprit->trial_count > 1)
        qsort(culprit->trials, culprit->trial_count, sizeof *culprit->trials, better);
    free(contest.causes);
    return status;
}

/* ---- what to change -------------------------------------------------------------------------- */

static int saves_more(const void *a, const void *b)
{
    const struct review_change *first = a, *second = b;
    if (first->saved < second->saved || first->saved > second->saved)
        return first->saved < second->saved ? 1 : -1;
    return (first->culprit > second->culprit) - (first->culprit < second->culprit);
}

static enum status list_changes(struct review_work *work)
{
    struct review *review = work->review;
    review->changes = arena_array(work->arena, review->culprit_count, sizeof *review->changes);
    if (review->changes == NULL)
        return STATUS_MEMORY;
    for (size_t k = 0; k < review->culprit_count; k++) {
        const struct review_culprit *culprit = &review->culprits[k];
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
    return STATUS_OK;
}

enum status review_choose_trials(struct review_work *work)
{
    enum status status = STATUS_OK;
    for (size_t k = 0; k < work->review->culprit_count && status == STATUS_OK; k++)
        status = choose(work, &work->review->culprits[k]);
    return status == STATUS_OK ? list_changes(work) : status;
}

/* ==== timeline ================================================================================ */

/* When losses showed: how long vessels lasted, by what leads, and which batches stand out. */

static const double usual_level = 0.95;

/* ---- how long -------------------------------------------------------------------------------- */

/* What a vessel says about time: false when it says nothing. */
static bool case_of(const struct dataset *dataset, size_t vessel, struct survival_case *one)
{
    int32_t entered = dataset->entered[vessel], ended = dataset->ended[vessel];
    uint8_t fate = dataset->fate[vessel];
    bool lost = fate == FATE_STUCK || fate == FATE_CONTAMINATED || fate == FATE_UNTOLD;

    if (dataset->control[vessel] || fate == FATE_COUNT || entered == DAY_NONE ||
        entered > dataset->today)
        return false;
    if (ended == DAY_NONE && fate != FATE_OPEN)
        return false;
    if (fate == FATE_OPEN)
        ended = dataset->today;
    if (ended < entered || ended > dataset->today)
        return false;
    *one = (struct survival_case){(double)ended - (double)entered, lost};
    return true;
}

struct cases {
    struct survival_case *cases;
    size_t *group; /* curve that each belongs to */
    size_t count;
};

/* The curve of a level: its own, or the last one, of the rest. */
static size_t curve_of(const struct review_time *time, uint32_t level)
{
    size_t c = 0;
    while (c + 1 < time->curve_count && time->curves[c].level != level)
        c++;
    return c;
}

static void gather(const struct review_work *work, struct review_time *time, struct cases *cases)
{
    const struct dataset *dataset = work->dataset;
    const uint32_t *level =
        time->factor < dataset->factor_count ? dataset->factors[time->factor].level : NULL;

    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (dataset->control[i])
            continue;
        if (!case_of(dataset, i, &cases->cases[cases->count]) ||
            (level != NULL && level[i] == LEVEL_NONE)) {
            time->left_out++;
            continue;
        }
        cases->group[cases->count++] = level != NULL ? curve_of(time, level[i]) : 0;
    }
    time->cases = cases->count;
}

static enum status draw_curve(const struct review_work *work, const struct cases *all,
                              struct survival_case *room, size_t group,
                              struct survival_curve *curve)
{
    size_t count = 0;
    for (size_t i = 0; i < all->count; i++)
        if (all->group[i] == group)
            room[count++] = all->cases[i];
    return survival_curve(work->arena, room, count, usual_level, SURVIVAL_LOG_LOG, curve);
}

/* Levels called as culprits first, then those with the most vessels; the rest is one curve. */
static void choose_curves(const struct review_work *work, struct review_time *time)
{
    const struct review *review = work->review;
    const struct review_factor *factor = &review->factors[time->factor];

    for (size_t k = 0; k < review->culprit_count && time->curve_count + 1 < REVIEW_CURVES; k++)
        if (review->culprits[k].suspects[0].factor == time->factor)
            time->curves[time->curve_count++].level = review->culprits[k].suspects[0].level;
    size_t called = time->curve_count;
    if (factor->level_count <= REVIEW_CURVES)
        for (size_t l = 0; l < factor->level_count; l++) {
            bool there = factor->levels[l].counts.total == 0;
            for (size_t c = 0; c < called && !there; c++)
                there = time->curves[c].level == factor->levels[l].level;
            if (!there)
                time->curves[time->curve_count++].level = factor->levels[l].level;
        }
    else
        time->curves[time->curve_count++].level = LEVEL_NONE;
}

static enum status draw_curves(struct review_work *work)
{
    struct review_time *time = &work->review->time;
    size_t count = work->dataset->vessel_count;
    struct cases cases = {.cases = malloc((count + 1) * sizeof *cases.cases),
                          .group = malloc((count + 1) * sizeof *cases.group)};
    struct survival_case *room = malloc((count + 1) * sizeof *room);
    enum status status = STATUS_MEMORY;

    if (cases.cases != NULL && cases.group != NULL && room != NULL) {
        gather(work, time, &cases);
        status = STATUS_OK;
        for (size_t c = 0; c < time->curve_count && status == STATUS_OK; c++)
            status = draw_curve(work, &cases, room, c, &time->curves[c].curve);
        if (status == STATUS_OK && time->curve_count > 1)
            status = survival_logrank(work->arena, cases.cases, cases.group, cases.count,
                                      time->curve_count, &time->logrank);
    }
    free(cases.cases);
    free(cases.group);
    free(room);
    return status;
}

static enum status make_time(struct review_work *work)
{
    struct review *review = work->review;
    struct review_time *time = &review->time;

    *time = (struct review_time){.factor = work->dataset->factor_count};
    time->curves = arena_array(work->arena, REVIEW_CURVES + 1, sizeof *time->curves);
    if (time->curves == NULL)
        return STATUS_MEMORY;
    if (review->culprit_count > 0) {
        time->factor = review->culprits[0].suspects[0].factor;
        choose_curves(work, time);
    } else {
        time->curves[time->curve_count++].level = LEVEL_NONE;
    }
    return draw_curves(work);
}

/* ---- batch by batch -------------------------------------------------------------------------- */

static int sooner(const void *a, const void *b)
{
    const struct review_batch *first = a, *second = b;
    if (first->day != second->day) /* those without a day last */
        return first->day == DAY_NONE     ? 1
               : second->day == DAY_NONE  ? -1
               : first->day < second->day ? -1
                                          : 1;
    return (first->level > second->level) - (first->level < second->level);
}

static void count_batches(const struct review_work *work, struct review_batch *batches)
{
    const struct dataset *dataset = work->dataset;
    const uint32_t *level = dataset->factors[dataset->batch].level;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (level[i] == LEVEL_NONE)
            continue;
        struct review_batch *batch = &batches[level[i]];
        int32_t day = dataset->entered[i];
        if (day != DAY_NONE && (batch->day == DAY_NONE || day < batch->day))
            batch->day = day;
        batch->open += dataset->fate[i] == FATE_OPEN && !dataset->control[i];
        if (work->standing[i] == STANDING_OUT)
            continue;
        struct counts *counts = dataset->control[i] ? &batch->controls : &batch->counts;
        counts->total++;
        counts->lost += work->standing[i] == STANDING_LOST;
    }
}

static enum status chart_batches(struct review *review)
{
    struct counts *counts = malloc((review->batch_count + 1) * sizeof *counts);
    struct monitor_point *points = calloc(review->batch_count + 1, sizeof *points);
    enum status status = STATUS_MEMORY;

    if (counts != NULL && points != NULL) {
        for (size_t b = 0; b < review->batch_count; b++)
            counts[b] = review->batches[b].counts;
        review->centre = monitor_centre(counts, review->batch_count);
        status = STATUS_OK;
        if (!isnan(review->centre))
            status = monitor_chart(counts, review->batch_count, review->centre, MONITOR_THREE_SIGMA,
                                   points);
        for (size_t b = 0; b < review->batch_count && status == STATUS_OK; b++)
            if (isnan(review->centre))
                review->batches[b].point.share = NAN;
            else
                review->batches[b].point = points[b];
    }
    free(counts);
    free(points);
    return status;
}

static enum status make_batches(struct review_work *work)
{
    const struct dataset *dataset = work->dataset;
    struct review *review = work->review;

    review->centre = NAN;
    if (dataset->batch >= dataset->factor_count)
        return STATUS_OK;
    size_t count = dataset->factors[dataset->batch].level_count;
    review->batches = arena_array(work->arena, count, sizeof *review->batches);
    if (review->batches == NULL)
        return STATUS_MEMORY;
    for (uint32_t b = 0; b < count; b++) {
        review->batches[b].level = b;
        review->batches[b].day = DAY_NONE;
    }
    count_batches(work, review->batches);
    if (count > 1)
        qsort(review->batches, count, sizeof *review->batches, sooner);
    review->batch_count = count;
    return chart_batches(review);
}

enum status review_watch_time(struct review_work *work)
{
    enum status status = make_time(work);
    if (status == STATUS_OK)
        status = make_batches(work);
    return status == STATUS_OK ? review_watch_sum(work) : status;
}

/* ==== watch =================================================================================== */

/* Since when it went wrong: a running sum over single vessels in order of time. */

struct slot { /* of a vessel in time */
    int32_t day;
    uint32_t batch;
    size_t vessel;
};

static int watch_sooner(const void *a, const void *b)
{
    const struct slot *first = a, *second = b;
    if (first->day != second->day)
        return first->day < second->day ? -1 : 1;
    if (first->batch != second->batch)
        return first->batch < second->batch ? -1 : 1;
    return (first->vessel > second->vessel) - (first->vessel < second->vessel);
}

static size_t list_vessels(const struct review_work *work, struct slot *places)
{
    const struct dataset *dataset = work->dataset;
    const uint32_t *batch =
        dataset->batch < dataset->factor_count ? dataset->factors[dataset->batch].level : NULL;
    size_t count = 0;
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (work->standing[i] != STANDING_OUT && !dataset->control[i] &&
            dataset->entered[i] != DAY_NONE && dataset->entered[i] <= dataset->today)
            places[count++] = (struct slot){dataset->entered[i], batch != NULL ? batch[i] : 0, i};
    if (count > 1)
        qsort(places, count, sizeof *places, watch_sooner);
    return count;
}

static bool is_lost(const struct review_work *work, const struct slot *place)
{
    return work->standing[place->vessel] == STANDING_LOST;
}

/* Within a batch and day the order is not known: its losses are spread evenly over it. */
static void spread(const struct review_work *work, const struct slot *places, size_t count,
                   size_t *vessels)
{
    size_t lost = 0, next_lost = 0, next_kept = 0;
    for (size_t i = 0; i < count; i++)
        lost += is_lost(work, &places[i]);
    for (size_t i = 0; i < count; i++) {
        bool takes_lost = (i + 1) * lost / count > i * lost / count;
        size_t *next = takes_lost ? &next_lost : &next_kept;
        while (is_lost(work, &places[*next]) != takes_lost)
            ++*next;
        vessels[i] = places[(*next)++].vessel;
    }
}

static void order_vessels(const struct review_work *work, const struct slot *places, size_t count,
                          size_t *vessels)
{
    for (size_t from = 0, to; from < count; from = to) {
        to = from + 1;
        while (to < count && places[to].day == places[from].day &&
               places[to].batch == places[from].batch)
            to++;
        spread(work, &places[from], to - from, &vessels[from]);
    }
}

/* The rate of what no culprit explains, within what a plan can be made for. */
static double usual_rate(const struct review *review)
{
    struct counts usual = review->totals.counts;
    for (size_t k = 0; k < review->culprit_count; k++) {
        struct counts outside = review->culprits[k].suspects[0].outside;
        if (outside.total > 0 && outside.lost * usual.total < usual.lost * outside.total)
            usual = outside;
    }
    double rate = ((double)usual.lost + 0.5) / ((double)usual.total + 1.0);
    return fmin(0.4, fmax(0.01, rate));
}

static enum status run_sum(struct review_work *work, const size_t *vessels, size_t count)
{
    enum { EPISODES = 16 };
    struct review_watch *watch = &work->review->watch;
    size_t *sums = arena_array(work->arena, count, sizeof *sums);
    bool *lost = arena_array(work->arena, count, sizeof *lost);
    watch->episodes = arena_array(work->arena, EPISODES, sizeof *watch->episodes);
    if (sums == NULL || lost == NULL || watch->episodes == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < count; i++)
        lost[i] = work->standing[vessels[i]] == STANDING_LOST;
    size_t met = monitor_episodes(&watch->plan, lost, count, sums, watch->episodes, EPISODES);
    watch->episode_count = met < EPISODES ? met : EPISODES;
    watch->count = count;
    watch->vessels = vessels;
    watch->sums = sums;
    if (watch->episode_count > 0)
        watch->since =
            work->dataset->entered[vessels[watch->episodes[watch->episode_count - 1].began]];
    return STATUS_OK;
}

static enum status plan_and_run(struct review_work *work, const struct slot *places, size_t count)
{
    struct review_watch *watch = &work->review->watch;
    double usual = usual_rate(work->review);
    double raised = fmin(0.9, fmax(2.0 * usual, usual + 0.15));
    double run = fmax(100.0, (double)count / work->rules->review.false_alarm);

    enum status status = monitor_plan(usual, raised, run, &watch->plan);
    if (status == STATUS_USAGE) /* beyond what a plan can be made for */
        return STATUS_OK;
    if (status != STATUS_OK)
        return status;
    size_t *vessels = arena_array(work->arena, count, sizeof *vessels);
    if (vessels == NULL)
        return STATUS_MEMORY;
    order_vessels(work, places, count, vessels);
    watch->asked = true;
    return run_sum(work, vessels, count);
}

enum status review_watch_sum(struct review_work *work)
{
    struct slot *places = malloc((work->dataset->vessel_count + 1) * sizeof *places);
    enum status status = STATUS_OK;

    work->review->watch = (struct review_watch){.since = DAY_NONE};
    if (places == NULL)
        return STATUS_MEMORY;
    size_t count = list_vessels(work, places);
    if (count >= REVIEW_FEWEST)
        status = plan_and_run(work, places, count);
    free(places);
    return status;
}

/* ==== review ================================================================================== */

void review_tell(const struct review_work *work, const char *what, size_t done, size_t all)
{
    if (work->progress != NULL && work->progress->tell != NULL && all > 0)
        work->progress->tell(work->progress->context, what, (double)done / (double)all);
}

/* ---- totals ---------------------------------------------------------------------------------- */

static void add_day(struct review_totals *totals, int32_t day)
{
    if (day == DAY_NONE)
        return;
    if (totals->first == DAY_NONE || day < totals->first)
        totals->first = day;
    if (totals->last == DAY_NONE || day > totals->last)
        totals->last = day;
}

static void count_totals(const struct review_work *work, struct review_totals *totals)
{
    const struct dataset *dataset = work->dataset;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        bool counts = work->standing[i] != STANDING_OUT;
        struct counts *of = dataset->control[i] ? &totals->controls : &totals->counts;
        of->total += counts;
        of->lost += work->standing[i] == STANDING_LOST;
        if (dataset->control[i])
            continue;
        totals->vessels++;
        if (dataset->fate[i] < FATE_COUNT)
            totals->fate[dataset->fate[i]]++;
        else
            totals->unrecorded++;
        add_day(totals, dataset->entered[i]);
    }
}

static size_t batches_met(const struct dataset *dataset)
{
    return dataset->batch < dataset->factor_count ? dataset->factors[dataset->batch].level_count
                                                  : 0;
}

/* ---- limits ---------------------------------------------------------------------------------- */

static bool any_factor_parts(const struct review_work *work)
{
    for (size_t f = 0; f < work->dataset->factor_count; f++)
        if (!isnan(work->review->factors[f].q))
            return true;
    return false;
}

static unsigned find_limits(const struct review_work *work)
{
    const struct review_totals *totals = &work->review->totals;
    unsigned limits = 0;
    if (work->dataset->vessel_count == 0)
        return REVIEW_EMPTY;
    if (totals->counts.total == 0)
        limits |= REVIEW_NOTHING_COUNTS;
    else if (totals->counts.lost == 0)
        limits |= REVIEW_NOTHING_LOST;
    else if (totals->counts.lost == totals->counts.total)
        limits |= REVIEW_ALL_LOST;
    if (totals->counts.total > 0 && totals->counts.total < REVIEW_FEWEST)
        limits |= REVIEW_FEW;
    if (!any_factor_parts(work))
        limits |= REVIEW_NO_FACTOR;
    if (totals->batches == 1)
        limits |= REVIEW_ONE_BATCH;
    if (work->review->time.cases == 0)
        limits |= REVIEW_NO_TIMES;
    return limits;
}

/* ---- the whole ------------------------------------------------------------------------------- */

static enum status call_culprits(struct review_work *work)
{
    const struct review_rules *rules = &work->rules->review;
    struct review_rule rule = {.level = rules->false_alarm,
                               .bayes_factor = rules->bayes_factor,
                               .watched = rules->watched};
    for (size_t c = 0; c < work->rules->cause_count; c++)
        rule.prior[work->rules->causes[c].scope] += work->rules->causes[c].prior;
    struct review *review = work->review;
    return review_find_culprits(work->dataset, &rule, work->arena, &review->culprits,
                                &review->culprit_count, &review->near, &review->near_count,
                                &review->suspects_asked);
}

typedef enum status review_part(struct review_work *work);

static enum status conclude(struct review_work *work)
{
    static review_part *const parts[] = {
        review_count_factors, review_hold_still,   review_find_aliases,  call_culprits,
        review_watch_time,    review_judge_causes, review_choose_trials, review_plan_next,
    };
    enum status status = STATUS_OK;
    for (size_t i = 0; i < sizeof parts / sizeof *parts && status == STATUS_OK; i++)
        status = parts[i](work);
    return status;
}

enum status review_make(const struct dataset *dataset, const struct reasoner *reasoner,
                        const struct review_progress *progress, struct arena *arena,
                        struct review *review)
{
    struct review_work work = {.dataset = dataset,
                               .reasoner = reasoner,
                               .rules = reasoner_rules(reasoner),
                               .progress = progress,
                               .arena = arena,
                               .review = review};
    struct review_totals *totals = &review->totals;

    *review = (struct review){.dataset = dataset, .rules = work.rules, .centre = NAN};
    *totals = (struct review_totals){.first = DAY_NONE, .last = DAY_NONE};
    work.standing = search_standing(dataset, work.rules->review.watched, arena, &totals->young);
    if (work.standing == NULL)
        return STATUS_MEMORY;
    count_totals(&work, totals);
    totals->exact = counts_interval_exact(totals->counts, 0.95);
    totals->batches = batches_met(dataset);
    enum status status = conclude(&work);
    review->limits = find_limits(&work);
    return status;
}
