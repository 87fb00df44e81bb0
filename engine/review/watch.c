/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Since when it went wrong: a running sum over single vessels in order of time. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/factors_internal.h"
#include "review/search_internal.h"

struct slot { /* of a vessel in time */
    int32_t day;
    uint32_t batch;
    size_t vessel;
};

static int sooner(const void *a, const void *b)
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
        qsort(places, count, sizeof *places, sooner);
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

/* The rate of what no fault explains, within what a plan can be made for. */
static double usual_rate(const struct review *review)
{
    struct counts usual = review->totals.counts;
    for (size_t k = 0; k < review->fault_count; k++) {
        struct counts outside = review->faults[k].suspects[0].outside;
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
