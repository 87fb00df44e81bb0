/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "review/monitor.h"

enum { THRESHOLD_MOST = 1000000 };

/* ---- run length ------------------------------------------------------------------------------ */

/*
 * From sum s the chain reaches s - 1 before it signals with some chance b; let `lost` be 1 - b, and
 * `steps` the mean number of vessels until either. From s one vessel leads to s - 1, or to s + up
 * and from there, level by level, down to s again:
 *   steps(s) = (1 + p A) / (1 - p B),   b(s) = (1 - p) / (1 - p B),   1 - b(s) = p (1 - B) / (1 - p B)
 * where A and 1 - B are the same for the way from s + up down to s. At 0 there is no step down:
 *   run length = (1 + p A) / (p (1 - B)).
 * Only sums and products of positive numbers: nothing cancels, however long the run.
 */
struct level {
    double steps, lost;
};

/* The way down over `from`, `from` - 1, ... `to`, to the level below `to`. */
static struct level way_down(const struct level *levels, size_t from, size_t to)
{
    struct level way = {0.0, 0.0};

    for (size_t s = from; s >= to && s > 0; s--) {
        way.steps += (1.0 - way.lost) * levels[s].steps;
        way.lost += (1.0 - way.lost) * levels[s].lost;
    }
    return way;
}

static double run_length(size_t up, size_t threshold, double p, struct level *levels)
{
    for (size_t s = threshold; s-- > 0;) {
        struct level way = {0.0, 1.0}; /* a loss signals at once */
        if (up < threshold - s)
            way = way_down(levels, s + up, s + 1);
        if (s == 0)
            return (1.0 + p * way.steps) / (p * way.lost);
        double leave = 1.0 - p + p * way.lost; /* 1 - p B */
        levels[s].steps = (1.0 + p * way.steps) / leave;
        levels[s].lost = p * way.lost / leave;
    }
    return NAN;
}

double monitor_run_length(size_t up, size_t threshold, double rate)
{
    if (up < 1 || threshold < 1 || threshold > THRESHOLD_MOST || !(rate >= 0.0 && rate <= 1.0))
        return NAN;
    if (rate == 0.0)
        return INFINITY;
    struct level *levels = calloc(threshold, sizeof *levels);
    if (!levels)
        return NAN;
    double length = run_length(up, threshold, rate, levels);
    free(levels);
    return length;
}

/* ---- the plan -------------------------------------------------------------------------------- */

static double weight_ratio(double usual, double raised)
{
    return log(raised / usual) / -log((1.0 - raised) / (1.0 - usual));
}

/* The raised rate for which the ratio of the weights is `up`: it falls as the rate rises. */
static double raised_for(double usual, size_t up)
{
    double low = usual, high = 1.0;

    for (int step = 0; step < 100; step++) {
        double middle = 0.5 * (low + high);
        if (middle <= usual || middle >= 1.0)
            break;
        if (weight_ratio(usual, middle) > (double)up)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

static size_t steps_up(double usual, double raised)
{
    double most = ceil((1.0 - usual) / usual) - 1.0; /* at the ratio itself p1 is p0 */
    double nearest = round(weight_ratio(usual, raised));

    return (size_t)fmax(1.0, fmin(nearest, most));
}

static enum status find_threshold(struct monitor_plan *plan, double run)
{
    size_t low = 1, high = 1; /* below `low` is too little */

    for (;;) {
        double length = monitor_run_length(plan->up, high, plan->usual);
        if (isnan(length))
            return high > THRESHOLD_MOST ? STATUS_USAGE : STATUS_MEMORY;
        if (length >= run)
            break;
        low = high + 1;
        high *= 2;
    }
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (monitor_run_length(plan->up, middle, plan->usual) >= run)
            high = middle;
        else
            low = middle + 1;
    }
    plan->threshold = low;
    return STATUS_OK;
}

enum status monitor_plan(double usual, double raised, double run, struct monitor_plan *plan)
{
    if (!(usual >= 0.001 && usual <= 0.45) || !(raised >= 1.2 * usual && raised < 1.0) ||
        !(run >= 1.0 && run <= 1e7))
        return STATUS_USAGE;

    struct monitor_plan made = {.usual = usual, .up = steps_up(usual, raised)};
    made.raised = raised_for(usual, made.up);
    made.step = -log((1.0 - made.raised) / (1.0 - usual));
    enum status status = find_threshold(&made, run);
    if (status != STATUS_OK)
        return status;
    made.run_usual = monitor_run_length(made.up, made.threshold, usual);
    made.run_raised = monitor_run_length(made.up, made.threshold, made.raised);
    *plan = made;
    return STATUS_OK;
}

/* ---- running it ------------------------------------------------------------------------------ */

size_t monitor_episodes(const struct monitor_plan *plan, const bool *lost, size_t count,
                        size_t *sums, struct monitor_episode *episodes, size_t most)
{
    struct monitor_episode now = {0};
    size_t sum = 0, found = 0;
    bool signalled = false;

    for (size_t i = 0; i < count; i++) {
        if (sum == 0)
            now = (struct monitor_episode){.began = i};
        sum = lost[i] ? sum + plan->up : sum > 0 ? sum - 1 : 0;
        if (sum > now.highest) {
            now.highest = sum;
            now.worst = i;
        }
        if (!signalled && sum >= plan->threshold) {
            signalled = true;
            now.signalled = i;
            found++;
        }
        if (signalled && (sum == 0 || i + 1 == count)) {
            now.ended = sum == 0 ? i : count;
            if (found <= most)
                episodes[found - 1] = now;
            signalled = false;
        }
        if (sums)
            sums[i] = sum;
    }
    return found;
}
