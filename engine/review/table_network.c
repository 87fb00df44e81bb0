/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/table_internal.h"

/* Sums of the same logarithms in another order differ by far less. */
static const double SAME = 1e-10;

/* Finding the bounds costs so much less a step than following a bundle. */
enum { BOUND_STEPS = 16 };

/* Partial tables with the same number taken so far and the same chance. */
struct bundle {
    double value; /* sum of log C(n, x) so far */
    double ways;
};

/* The bundles of one stage, those that have taken k from first[k] to first[k + 1]. */
struct layer {
    struct bundle *bundles;
    size_t count, room;
    size_t *first;
};

struct network {
    const struct margins *margins;
    double *log_factorial;
    double *longest, *shortest; /* [stage][still to take]: extreme sums to the end */
    size_t *left;               /* vessels in the groups from a stage on */
    struct layer now, next;
    double bound; /* a sum up to this counts */
    double whole; /* log C(N, X) */
    double p;
    size_t steps;
};

static double log_choose(const struct network *net, size_t n, size_t k)
{
    return net->log_factorial[n] - net->log_factorial[k] - net->log_factorial[n - k];
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* ---- bounds ---------------------------------------------------------------------------------- */

/* From the last group back: the best and the worst that can still be added. */
static void find_bounds(struct network *net)
{
    const struct margins *m = net->margins;
    size_t width = m->take + 1;

    for (size_t to_take = 0; to_take < width; to_take++) {
        net->longest[m->groups * width + to_take] = to_take == 0 ? 0.0 : -INFINITY;
        net->shortest[m->groups * width + to_take] = to_take == 0 ? 0.0 : INFINITY;
    }
    for (size_t stage = m->groups; stage-- > 0;) {
        const double *longest = net->longest + (stage + 1) * width;
        const double *shortest = net->shortest + (stage + 1) * width;
        size_t size = m->sizes[stage];
        for (size_t to_take = 0; to_take < width; to_take++) {
            double most = -INFINITY, least = INFINITY;
            for (size_t x = 0; x <= smaller(size, to_take); x++) {
                double part = log_choose(net, size, x);
                most = fmax(most, part + longest[to_take - x]);
                least = fmin(least, part + shortest[to_take - x]);
            }
            net->longest[stage * width + to_take] = most;
            net->shortest[stage * width + to_take] = least;
        }
    }
}

/* ---- following ------------------------------------------------------------------------------- */

static bool push(struct layer *layer, struct bundle bundle)
{
    if (layer->count == layer->room) {
        size_t room = layer->room ? 2 * layer->room : 1024;
        struct bundle *grown = realloc(layer->bundles, room * sizeof *grown);
        if (!grown)
            return false;
        layer->bundles = grown;
        layer->room = room;
    }
    layer->bundles[layer->count++] = bundle;
    return true;
}

/* Settles a bundle if all or none of its ends count, else keeps it. `taken` includes its own. */
static bool place(struct network *net, size_t stage, size_t taken, struct bundle bundle)
{
    const struct margins *m = net->margins;
    size_t to_take = m->take - taken;
    size_t at = stage * (m->take + 1) + to_take;

    if (bundle.value + net->shortest[at] > net->bound)
        return true;
    if (bundle.value + net->longest[at] <= net->bound) {
        double ends = log_choose(net, net->left[stage], to_take);
        net->p += bundle.ways * exp(bundle.value + ends - net->whole);
        return true;
    }
    return push(&net->next, bundle);
}

static int by_value(const void *left, const void *right)
{
    double a = ((const struct bundle *)left)->value, b = ((const struct bundle *)right)->value;
    return (a > b) - (a < b);
}

/* Joins bundles of the same chance among those from `first` on. */
static void merge(struct layer *layer, size_t first)
{
    struct bundle *bundles = layer->bundles;
    size_t kept = first;

    if (layer->count - first < 2)
        return;
    qsort(bundles + first, layer->count - first, sizeof *bundles, by_value);
    for (size_t i = first + 1; i < layer->count; i++) {
        if (bundles[i].value - bundles[kept].value <= SAME)
            bundles[kept].ways += bundles[i].ways;
        else
            bundles[++kept] = bundles[i];
    }
    layer->count = kept + 1;
}

/* All bundles that have taken `taken` after this stage. False without memory. */
static bool reach(struct network *net, size_t stage, size_t taken)
{
    size_t size = net->margins->sizes[stage], left = net->left[stage + 1];

    if (net->margins->take - taken > left) /* the rest could not be taken any more */
        return true;
    for (size_t x = 0; x <= smaller(size, taken); x++) {
        double part = log_choose(net, size, x);
        size_t from = net->now.first[taken - x], to = net->now.first[taken - x + 1];
        for (size_t i = from; i < to; i++) {
            struct bundle bundle = net->now.bundles[i];
            bundle.value += part;
            if (!place(net, stage + 1, taken, bundle))
                return false;
        }
        net->steps += to - from;
    }
    return true;
}

static enum status follow(struct network *net, size_t steps, bool *settled)
{
    const struct margins *m = net->margins;

    if (!push(&net->now, (struct bundle){0.0, 1.0}))
        return STATUS_MEMORY;
    for (size_t k = 1; k <= m->take + 1; k++)
        net->now.first[k] = 1;
    for (size_t stage = 0; stage < m->groups; stage++) {
        net->next.count = 0;
        for (size_t taken = 0; taken <= m->take; taken++) {
            size_t first = net->next.first[taken] = net->next.count;
            if (!reach(net, stage, taken))
                return STATUS_MEMORY;
            if (net->steps > steps)
                return STATUS_OK;
            merge(&net->next, first);
        }
        net->next.first[m->take + 1] = net->next.count;
        struct layer done = net->now;
        net->now = net->next;
        net->next = done;
    }
    *settled = true;
    return STATUS_OK;
}

/* ---- start and end --------------------------------------------------------------------------- */

static void release(struct network *net)
{
    free(net->log_factorial);
    free(net->longest);
    free(net->shortest);
    free(net->left);
    free(net->now.bundles);
    free(net->now.first);
    free(net->next.bundles);
    free(net->next.first);
}

static bool prepare(struct network *net)
{
    const struct margins *m = net->margins;
    size_t cells = (m->groups + 1) * (m->take + 1);

    net->log_factorial = table_log_factorials(m->total);
    net->longest = calloc(cells, sizeof *net->longest);
    net->shortest = calloc(cells, sizeof *net->shortest);
    net->left = calloc(m->groups + 1, sizeof *net->left);
    net->now.first = calloc(m->take + 2, sizeof *net->now.first);
    net->next.first = calloc(m->take + 2, sizeof *net->next.first);
    if (!net->log_factorial || !net->longest || !net->shortest || !net->left || !net->now.first ||
        !net->next.first)
        return false;
    for (size_t i = m->groups; i-- > 0;)
        net->left[i] = net->left[i + 1] + m->sizes[i];
    for (size_t i = 0; i < m->groups; i++)
        net->bound += log_choose(net, m->sizes[i], m->taken[i]);
    net->bound += TABLE_TIE;
    net->whole = log_choose(net, m->total, m->take);
    find_bounds(net);
    return true;
}

enum status table_network(const struct margins *margins, size_t steps, bool *settled, double *p)
{
    struct network net = {.margins = margins};

    *settled = false;
    /* Bounds of every stage: as many steps as vessels times taken, at the most. */
    if ((double)margins->total * (double)(margins->take + 1) > (double)steps * BOUND_STEPS ||
        (double)margins->groups * (double)(margins->take + 1) > (double)steps * BOUND_STEPS)
        return STATUS_OK;
    enum status status = prepare(&net) ? follow(&net, steps, settled) : STATUS_MEMORY;
    *p = fmin(1.0, net.p);
    release(&net);
    return status;
}
