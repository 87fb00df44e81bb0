/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/review.h"

#include <math.h>

#include "review/factors_internal.h"
#include "review/search_internal.h"

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

static enum status call_faults(struct review_work *work)
{
    const struct review_rules *rules = &work->rules->review;
    struct review_rule rule = {.level = rules->false_alarm,
                               .bayes_factor = rules->bayes_factor,
                               .watched = rules->watched};
    for (size_t c = 0; c < work->rules->cause_count; c++)
        rule.prior[work->rules->causes[c].scope] += work->rules->causes[c].prior;
    struct review *review = work->review;
    return review_faults(work->dataset, &rule, work->arena, &review->faults, &review->fault_count,
                         &review->near, &review->near_count, &review->suspects_asked);
}

typedef enum status review_part(struct review_work *work);

static enum status conclude(struct review_work *work)
{
    static review_part *const parts[] = {
        review_count_factors, review_hold_still,   review_find_aliases,  call_faults,
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
