/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/review.h"

#include <math.h>
#include <stdlib.h>

#include "review/search.h"

/* ---- how long vessels lasted, by what leads ----------------------------------------------------- */

enum { LONGEST = 3650 }; /* days; who watches longer has mistaken a date */

/* Days until a vessel was lost or last seen sound; -1 when it says nothing about time. */
static int32_t time_of(const struct dataset *dataset, size_t vessel)
{
    int32_t entered = dataset->entered[vessel], ended = dataset->ended[vessel];
    uint8_t fate = dataset->fate[vessel];

    if (fate == FATE_OPEN)
        ended = dataset->today;
    if (fate == FATE_COUNT || entered == DAY_NONE || ended == DAY_NONE || ended < entered ||
        ended > dataset->today || (int64_t)ended - entered > LONGEST)
        return -1;
    return ended - entered;
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

/* The curve of a level: its own, or the last one, of the rest. */
static size_t curve_of(const struct review_time *time, uint32_t level)
{
    size_t c = 0;
    while (c + 1 < time->curve_count && time->curves[c].level != level)
        c++;
    return c;
}

static void make_time(struct review_work *work)
{
    enum { TIMES = LONGEST + 1 };
    const struct dataset *dataset = work->dataset;
    struct review *review = work->review;
    struct review_time *time = &review->time;
    const uint32_t *level = NULL;

    *time = (struct review_time){
        .factor = dataset->factor_count,
        .curves = arena_array(work->arena, REVIEW_CURVES + 1, sizeof *time->curves)};
    if (review->culprit_count > 0) {
        time->factor = review->culprits[0].suspects[0].factor;
        level = dataset->factors[time->factor].level;
        choose_curves(work, time);
    } else {
        time->curves[time->curve_count++].level = LEVEL_NONE;
    }
    struct survival_row *rows = calloc(time->curve_count * TIMES, sizeof *rows);
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t days = time_of(dataset, i);
        if (dataset->control[i])
            continue;
        if (days < 0 || (level != NULL && level[i] == LEVEL_NONE)) {
            time->left_out++;
            continue;
        }
        size_t c = level != NULL ? curve_of(time, level[i]) : 0;
        struct survival_row *row = &rows[c * TIMES + (size_t)days];
        time->cases++;
        ++*(work->standing[i] == STANDING_LOST ? &row->lost : &row->censored);
    }
    for (size_t c = 0; c < time->curve_count; c++) {
        for (size_t t = 0; t < TIMES; t++)
            rows[c * TIMES + t].time = (double)t;
        time->curves[c].curve = survival_curve(work->arena, &rows[c * TIMES], TIMES);
    }
    if (time->curve_count > 1)
        time->logrank = survival_logrank(rows, TIMES, time->curve_count);
    free(rows);
}

/* ---- batch by batch ----------------------------------------------------------------------------- */

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

/* Whether a culprit, of whatever name, reaches the vessel. */
static bool is_reached(const struct review *review, size_t vessel)
{
    for (size_t k = 0; k < review->culprit_count; k++)
        for (size_t s = 0; s < review->culprits[k].suspect_count; s++) {
            const struct review_suspect *suspect = &review->culprits[k].suspects[s];
            if (review->dataset->factors[suspect->factor].level[vessel] == suspect->level)
                return true;
        }
    return false;
}

static void make_batches(struct review_work *work)
{
    const struct dataset *dataset = work->dataset;
    struct review *review = work->review;

    if (dataset->batch >= dataset->factor_count)
        return;
    size_t count = review->batch_count = dataset->factors[dataset->batch].level_count;
    review->batches = arena_array(work->arena, count, sizeof *review->batches);
    for (uint32_t b = 0; b < count; b++) {
        review->batches[b].level = b;
        review->batches[b].day = DAY_NONE;
    }
    const uint32_t *level = dataset->factors[dataset->batch].level;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (level[i] == LEVEL_NONE)
            continue;
        struct review_batch *batch = &review->batches[level[i]];
        int32_t day = dataset->entered[i];
        if (day != DAY_NONE && (batch->day == DAY_NONE || day < batch->day))
            batch->day = day;
        batch->open += dataset->fate[i] == FATE_OPEN && !dataset->control[i];
        if (work->standing[i] == STANDING_OUT)
            continue;
        count_vessel(dataset->control[i] ? &batch->controls : &batch->counts, work->standing[i]);
    }
    if (count > 1)
        qsort(review->batches, count, sizeof *review->batches, sooner);
    /* The centre is that of the vessels that no culprit reaches: with them it would hide what they did. */
    struct counts usual = {0, 0}, all = {0, 0};
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (level[i] != LEVEL_NONE && work->standing[i] != STANDING_OUT && !dataset->control[i]) {
            count_vessel(&all, work->standing[i]);
            if (!is_reached(review, i))
                count_vessel(&usual, work->standing[i]);
        }
    usual = usual.total > 0 ? usual : all;
    review->centre = usual.total > 0 ? (double)usual.lost / (double)usual.total : NAN;
    for (size_t b = 0; b < count; b++) /* no chart where nothing counts */
        review->batches[b].point =
            usual.total > 0
                ? monitor_point(review->batches[b].counts, review->centre, MONITOR_THREE_SIGMA)
                : (struct monitor_point){.share = NAN};
}

/* ---- since when it went wrong ------------------------------------------------------------------- */

static int by_day(const void *a, const void *b)
{
    int32_t first = ((const struct review_day *)a)->day,
            second = ((const struct review_day *)b)->day;
    return (first > second) - (first < second);
}

/* The vessels by the days on which they were started. */
static void list_days(const struct review_work *work, struct review_watch *watch)
{
    const struct dataset *dataset = work->dataset;
    struct review_day *days = arena_array(work->arena, dataset->vessel_count, sizeof *days);
    size_t kept = 0;
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (work->standing[i] != STANDING_OUT && !dataset->control[i] &&
            dataset->entered[i] != DAY_NONE && dataset->entered[i] <= dataset->today) {
            days[watch->vessels].day = dataset->entered[i];
            count_vessel(&days[watch->vessels++].counts, work->standing[i]);
        }
    if (watch->vessels > 1)
        qsort(days, watch->vessels, sizeof *days, by_day);
    for (size_t i = 1; i < watch->vessels; i++)
        if (days[i].day == days[kept].day) {
            days[kept].counts.lost += days[i].counts.lost;
            days[kept].counts.total++;
        } else {
            days[++kept] = days[i];
        }
    watch->days = days;
    watch->count = watch->vessels > 0 ? kept + 1 : 0;
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

static void make_watch(struct review_work *work)
{
    enum { EPISODES = 16, MANY = 500000 };
    struct review_watch *watch = &work->review->watch;
    double usual = usual_rate(work->review);

    *watch = (struct review_watch){.since = DAY_NONE};
    if (work->dataset->vessel_count > MANY)
        return;
    list_days(work, watch);
    watch->asked = watch->vessels >= REVIEW_FEWEST;
    if (!watch->asked)
        return;
    watch->plan =
        monitor_plan(usual, fmin(0.9, fmax(2.0 * usual, usual + 0.15)),
                     fmax(100.0, (double)watch->vessels / work->rules->review.false_alarm));
    watch->episodes = arena_array(work->arena, EPISODES, sizeof *watch->episodes);
    double sum = 0.0;
    size_t began = 0;
    bool signalled = false;
    for (size_t d = 0; d < watch->count; d++) {
        struct review_day *day = &watch->days[d];
        began = sum > 0.0 ? began : d;
        sum = day->sum = monitor_add(&watch->plan, sum, day->counts);
        signalled = signalled || sum >= watch->plan.threshold;
        if (!signalled || (sum > 0.0 && d + 1 < watch->count))
            continue;
        signalled = false;
        if (watch->episode_count < EPISODES)
            watch->episodes[watch->episode_count++] =
                (struct review_episode){began, sum > 0.0 ? watch->count : d};
    }
    if (watch->episode_count > 0)
        watch->since = watch->days[watch->episodes[watch->episode_count - 1].began].day;
}

/* ---- totals and limits -------------------------------------------------------------------------- */

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
        if (work->standing[i] != STANDING_OUT)
            count_vessel(dataset->control[i] ? &totals->controls : &totals->counts,
                         work->standing[i]);
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
    size_t f = 0;
    while (f < work->dataset->factor_count && isnan(work->review->factors[f].q))
        f++;
    if (f == work->dataset->factor_count)
        limits |= REVIEW_NO_FACTOR;
    if (totals->batches == 1)
        limits |= REVIEW_ONE_BATCH;
    if (work->review->time.cases == 0)
        limits |= REVIEW_NO_TIMES;
    return limits;
}

/* ---- the whole ---------------------------------------------------------------------------------- */

void review_tell(const struct review_work *work, const char *what, size_t done, size_t all)
{
    if (work->progress != NULL && work->progress->tell != NULL && all > 0)
        work->progress->tell(work->progress->context, what, (double)done / (double)all);
}

static void call_culprits(struct review_work *work)
{
    const struct review_rules *rules = &work->rules->review;
    struct review_rule rule = {.level = rules->false_alarm,
                               .bayes_factor = rules->bayes_factor,
                               .watched = rules->watched};
    for (size_t c = 0; c < work->rules->cause_count; c++)
        rule.prior[work->rules->causes[c].scope] += work->rules->causes[c].prior;
    review_find_culprits(work->dataset, &rule, work->arena, work->review);
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

    *review = (struct review){.dataset = dataset,
                              .rules = work.rules,
                              .totals = {.first = DAY_NONE, .last = DAY_NONE},
                              .centre = NAN};
    work.standing = search_standing(dataset, work.rules->review.watched, arena, &totals->young);
    count_totals(&work, totals);
    totals->exact = counts_interval_exact(totals->counts, 0.95);
    review_count_factors(&work);
    review_hold_still(&work);
    review_find_aliases(&work);
    call_culprits(&work);
    make_time(&work);
    make_batches(&work);
    make_watch(&work);
    totals->batches = review->batch_count;
    enum status status = review_judge_causes(&work);
    if (status != STATUS_OK)
        return status;
    review_choose_trials(&work);
    review_plan_next(&work);
    review->limits = find_limits(&work);
    return STATUS_OK;
}
