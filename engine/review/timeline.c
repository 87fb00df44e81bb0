/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When losses showed: how long vessels lasted, by what leads, and which batches stand out. */
#include <math.h>
#include <stdlib.h>

#include "review/factors_internal.h"
#include "review/search_internal.h"

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

/* Levels called as faults first, then those with the most vessels; the rest is one curve. */
static void choose_curves(const struct review_work *work, struct review_time *time)
{
    const struct review *review = work->review;
    const struct review_factor *factor = &review->factors[time->factor];

    for (size_t k = 0; k < review->fault_count && time->curve_count + 1 < REVIEW_CURVES; k++)
        if (review->faults[k].suspects[0].factor == time->factor)
            time->curves[time->curve_count++].level = review->faults[k].suspects[0].level;
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
    if (review->fault_count > 0) {
        time->factor = review->faults[0].suspects[0].factor;
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
