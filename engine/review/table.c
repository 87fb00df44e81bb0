/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/table.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "base/numbers.h"

/* A table made ready: no empty group, at least two groups, and `taken` counts the rarer of lost and
 * not lost, at least one. */
struct margins {
    size_t *sizes; /* largest first, so equal ones are neighbours */
    size_t *taken;
    size_t groups, total, take;
    double *log_factorial; /* log of n!, up to the largest size or the total where that is needed */
};

/* What a table may be likelier than ours by and still count as no likelier, in its logarithm. */
static const double TIE = 1e-7;

static double log_choose(const struct margins *m, size_t n, size_t x)
{
    return m->log_factorial[n] - m->log_factorial[x] - m->log_factorial[n - x];
}

/* ---- two groups --------------------------------------------------------------------------------- */

/* Two groups need no network: their tables form one row, known by what the first has lost. */
static double test_pair(const struct margins *m)
{
    size_t first = m->sizes[0], second = m->sizes[1], take = m->take;
    double whole = log_choose(m, m->total, take), counted = 0.0, others = 0.0;
    double bound =
        log_choose(m, first, m->taken[0]) + log_choose(m, second, m->taken[1]) + TIE - whole;

    for (size_t x = take > second ? take - second : 0; x <= take && x <= first; x++) {
        double chance = log_choose(m, first, x) + log_choose(m, second, take - x) - whole;
        *(chance <= bound ? &counted : &others) += exp(chance);
    }
    return counted / (counted + others);
}

/* ---- more groups: the network ------------------------------------------------------------------- */

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
    double *longest, *shortest; /* [stage][still to take]: extreme sums to the end */
    size_t *left;               /* vessels in the groups from a stage on */
    struct layer now, next;
    double bound; /* a sum up to this counts */
    double whole; /* log C(N, X) */
    double p;
    size_t steps;
};

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

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
            double most = -INFINITY, minimum = INFINITY;
            for (size_t x = 0; x <= smaller(size, to_take); x++) {
                double part = log_choose(m, size, x);
                most = fmax(most, part + longest[to_take - x]);
                minimum = fmin(minimum, part + shortest[to_take - x]);
            }
            net->longest[stage * width + to_take] = most;
            net->shortest[stage * width + to_take] = minimum;
        }
    }
}

static void push(struct layer *layer, struct bundle bundle)
{
    if (layer->count == layer->room) {
        layer->room = layer->room > 0 ? 2 * layer->room : 1024;
        layer->bundles = realloc(layer->bundles, layer->room * sizeof *layer->bundles);
    }
    layer->bundles[layer->count++] = bundle;
}

/* Settles a bundle if all or none of its ends count, else keeps it. `taken` includes its own. */
static void place(struct network *net, size_t stage, size_t taken, struct bundle bundle)
{
    const struct margins *m = net->margins;
    size_t to_take = m->take - taken;
    size_t at = stage * (m->take + 1) + to_take;

    if (bundle.value + net->shortest[at] > net->bound)
        return;
    if (bundle.value + net->longest[at] <= net->bound) {
        double ends = log_choose(m, net->left[stage], to_take);
        net->p += bundle.ways * exp(bundle.value + ends - net->whole);
        return;
    }
    push(&net->next, bundle);
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

/* All bundles that have taken `taken` after this stage. */
static void reach(struct network *net, size_t stage, size_t taken)
{
    const struct margins *m = net->margins;
    size_t size = m->sizes[stage];

    if (m->take - taken > net->left[stage + 1]) /* the rest could not be taken any more */
        return;
    for (size_t x = 0; x <= smaller(size, taken); x++) {
        double part = log_choose(m, size, x);
        size_t from = net->now.first[taken - x], to = net->now.first[taken - x + 1];
        for (size_t i = from; i < to; i++) {
            struct bundle bundle = net->now.bundles[i];
            /* NOLINTNEXTLINE(clang-analyzer-core.uninitialized.Assign): bundles up to first[] are filled */
            bundle.value += part;
            place(net, stage + 1, taken, bundle);
        }
        net->steps += to - from;
    }
}

/* False when it took more than `steps`. */
static bool follow(struct network *net, size_t steps)
{
    const struct margins *m = net->margins;

    push(&net->now, (struct bundle){0.0, 1.0});
    for (size_t k = 1; k <= m->take + 1; k++)
        net->now.first[k] = 1;
    for (size_t stage = 0; stage < m->groups; stage++) {
        net->next.count = 0;
        for (size_t taken = 0; taken <= m->take; taken++) {
            size_t first = net->next.first[taken] = net->next.count;
            reach(net, stage, taken);
            if (net->steps > steps)
                return false;
            merge(&net->next, first);
        }
        net->next.first[m->take + 1] = net->next.count;
        struct layer done = net->now;
        net->now = net->next;
        net->next = done;
    }
    return true;
}

/* The exact p; NAN when it took more than `steps`. */
static double test_network(const struct margins *m, size_t steps)
{
    struct network net = {.margins = m};
    size_t cells = (m->groups + 1) * (m->take + 1);

    struct arena *arena = arena_new();
    net.longest = arena_array(arena, cells, sizeof *net.longest);
    net.shortest = arena_array(arena, cells, sizeof *net.shortest);
    net.left = arena_array(arena, m->groups + 1, sizeof *net.left);
    net.now.first = arena_array(arena, m->take + 2, sizeof *net.now.first);
    net.next.first = arena_array(arena, m->take + 2, sizeof *net.next.first);
    for (size_t i = m->groups; i-- > 0;)
        net.left[i] = net.left[i + 1] + m->sizes[i];
    for (size_t i = 0; i < m->groups; i++)
        net.bound += log_choose(m, m->sizes[i], m->taken[i]);
    net.bound += TIE;
    net.whole = log_choose(m, m->total, m->take);
    find_bounds(&net);
    bool settled = follow(&net, steps);
    free(net.now.bundles);
    free(net.next.bundles);
    arena_free(arena);
    return settled ? fmin(1.0, net.p) : NAN;
}

/* ---- a ceiling for tables far out --------------------------------------------------------------- */

/*
 * A table far out in the tail need not be drawn for: its p has a ceiling. With w(x) = C(n, x) for
 * each group and t the sum of our log w, the chance of sum log w <= t among the tables with X lost
 * is at most, for any 0 <= a < 1 and any odds r > 0,
 *   exp(a t) prod_i [sum_x w(x)^(1 - a) r^x] / (C(N, X) r^X)
 * (Chernoff 1952, Ann Math Stat 23:493: exp(a (t - sum log w)) is at least 1 where it counts, and
 * (r^sum x / r^X) is 1 where X are lost). r = (X / (N - X))^(1 - a) keeps the weight near tables
 * with X lost; a is chosen to make the bound small, and need not be the best one.
 */

static const double STEEPEST = 0.999, NEAR_ENOUGH = 0.0012; /* of a */

struct bound {
    const struct margins *margins;
    double log_odds; /* of X against N - X */
    double ours;     /* t */
    double whole;    /* log C(N, X) */
};

/* log of the sum of w(x)^(1 - a) r^x over x, in units of the largest so far. */
static double log_factor(const struct bound *b, size_t n, double a)
{
    double top = 0.0, sum = 0.0;

    for (size_t x = 0; x <= n; x++) {
        double part = (1.0 - a) * (log_choose(b->margins, n, x) + (double)x * b->log_odds);
        if (x == 0 || part > top) {
            sum = sum * exp(top - part) + 1.0;
            top = part;
        } else {
            sum += exp(part - top);
        }
    }
    return top + log(sum);
}

static double log_bound(void *context, double a)
{
    const struct bound *b = context;
    const struct margins *m = b->margins;
    double sum = a * b->ours - b->whole - (1.0 - a) * (double)m->take * b->log_odds;

    for (size_t i = 0; i < m->groups;) { /* equal sizes are neighbours */
        size_t first = i;
        while (i < m->groups && m->sizes[i] == m->sizes[first])
            i++;
        sum += (double)(i - first) * log_factor(b, m->sizes[first], a);
    }
    return sum;
}

/* A number that p is certainly not above. */
static double ceiling(const struct margins *m)
{
    struct bound bound = {
        .margins = m,
        .log_odds = log((double)m->take / (double)(m->total - m->take)),
        .ours = TIE,
        .whole = gsl_sf_lnchoose((unsigned)m->total, (unsigned)m->take),
    };

    for (size_t i = 0; i < m->groups; i++)
        bound.ours += log_choose(m, m->sizes[i], m->taken[i]);
    /* The bound is convex in a. */
    struct minimum best = minimum_between(log_bound, &bound, 0.0, STEEPEST, NEAR_ENOUGH);
    /* A ceiling below the smallest double is lifted, for 0 would say "impossible". */
    return fmin(1.0, fmax(1e-300, exp(best.value)));
}

/* ---- tables drawn at random --------------------------------------------------------------------- */

/* X of N vessels are lost one by one, each as likely as any other that is left. */
struct sampler {
    const struct margins *margins;
    gsl_rng *rng;
    size_t *first;   /* group -> its first vessel */
    uint32_t *owner; /* vessel -> group */
    size_t *taken;   /* of each group, the first ones of its vessels */
};

static struct sampler sampler_of(const struct margins *m, unsigned long seed, struct arena *arena)
{
    struct sampler s = {
        .margins = m,
        .rng = gsl_rng_alloc(gsl_rng_mt19937),
        .first = arena_array(arena, m->groups, sizeof *s.first),
        .owner = arena_array(arena, m->total, sizeof *s.owner),
        .taken = arena_array(arena, m->groups, sizeof *s.taken),
    };

    if (s.rng == NULL)
        memory_exhausted();
    gsl_rng_set(s.rng, seed);
    for (size_t group = 0, vessel = 0; group < m->groups; group++) {
        s.first[group] = vessel;
        for (size_t i = 0; i < m->sizes[group]; i++)
            s.owner[vessel++] = (uint32_t)group;
    }
    return s;
}

/* log of the table's chance but for a constant. */
static double log_chance(const struct margins *m, const size_t *taken)
{
    double sum = 0.0;
    for (size_t i = 0; i < m->groups; i++)
        sum -= m->log_factorial[taken[i]] + m->log_factorial[m->sizes[i] - taken[i]];
    return sum;
}

static struct table_test draw_tables(struct sampler *s, const struct table_effort *effort)
{
    enum {
        FIRST_LOOK = 100
    }; /* tables without a hit, when it is worth asking how far out ours lies */
    const struct margins *m = s->margins;
    const double fewest = 200.0; /* less would say nothing at all */
    double allowed = effort->draws > 0
                         ? fmax(fewest, (double)effort->draws / (double)(m->groups + m->take))
                         : INFINITY;

    size_t most = allowed < (double)effort->tables ? (size_t)allowed : effort->tables, hits = 0,
           tables = 0;
    double ours = log_chance(m, m->taken) + TIE;

    while (tables < most && (effort->enough == 0 || hits < effort->enough)) {
        memset(s->taken, 0, m->groups * sizeof *s->taken);
        for (size_t sum = 0; sum < m->take;) {
            size_t vessel = gsl_rng_uniform_int(s->rng, m->total);
            size_t group = s->owner[vessel];
            /* Which of its vessels a group has lost does not matter: say, its first ones. */
            if (vessel - s->first[group] >= s->taken[group]) {
                s->taken[group]++;
                sum++;
            }
        }
        tables++;
        hits += log_chance(m, s->taken) <= ours;
        if (hits == 0 && tables == FIRST_LOOK) {
            double bound = ceiling(m);
            if (bound < 1.0 / (double)(most + 1))
                return (struct table_test){.p = bound, .at_most = true, .tables = tables};
        }
    }
    double p = effort->enough > 0 && hits >= effort->enough
                   ? (double)hits / (double)tables
                   : (double)(hits + 1) / (double)(tables + 1);
    return (struct table_test){
        .p = p,
        .at_most = hits == 0,
        .standard_error = sqrt(p * (1.0 - p) / (double)tables),
        .tables = tables,
        .hits = hits,
    };
}

/* ---- groups against lost or not ----------------------------------------------------------------- */

struct table_effort table_effort_usual(void)
{
    return (struct table_effort){
        .exact_steps = 100000, .tables = 10000, .draws = 20000000, .enough = 100, .seed = 1};
}

static int larger_first(const void *left, const void *right)
{
    const struct counts *a = left, *b = right;

    if (a->total != b->total)
        return (a->total < b->total) - (a->total > b->total);
    return (a->lost < b->lost) - (a->lost > b->lost);
}

static double *log_factorials(size_t most, struct arena *arena)
{
    double *table = arena_array(arena, most + 1, sizeof *table);
    long double sum = 0.0L;
    for (size_t n = 1; n <= most; n++) {
        sum += log((double)n);
        table[n] = (double)sum;
    }
    return table;
}

enum status table_groups(const struct counts *groups, size_t count,
                         const struct table_effort *effort, struct table_test *result)
{
    struct counts sum;
    if (effort->tables < 1 || !counts_sum(groups, count, &sum))
        return STATUS_USAGE;
    struct arena *arena = arena_new();
    bool rather_kept = sum.lost > sum.total - sum.lost;
    struct counts *sorted = arena_array(arena, count, sizeof *sorted);
    struct margins margins = {.sizes = arena_array(arena, count, sizeof *margins.sizes),
                              .taken = arena_array(arena, count, sizeof *margins.taken),
                              .total = sum.total,
                              .take = rather_kept ? sum.total - sum.lost : sum.lost};
    for (size_t i = 0; i < count; i++)
        sorted[i] = groups[i];
    if (count > 1)
        qsort(sorted, count, sizeof *sorted, larger_first);
    while (margins.groups < count && sorted[margins.groups].total > 0) {
        struct counts group = sorted[margins.groups];
        margins.sizes[margins.groups] = group.total;
        margins.taken[margins.groups++] = rather_kept ? group.total - group.lost : group.lost;
    }
    *result = (struct table_test){.p = 1.0, .exact = true};
    if (margins.groups == 2 && margins.take > 0) {
        margins.log_factorial = log_factorials(margins.total, arena);
        result->p = test_pair(&margins);
    } else if (margins.groups > 2 && margins.take > 0) {
        /* Whether the bounds of every stage are worth it: at most vessels times taken steps. */
        double most = (double)effort->exact_steps * BOUND_STEPS, width = (double)(margins.take + 1);
        bool fits = (double)margins.total * width <= most && (double)margins.groups * width <= most;
        margins.log_factorial = log_factorials(fits ? margins.total : margins.sizes[0], arena);
        result->p = fits ? test_network(&margins, effort->exact_steps) : NAN;
        if (isnan(result->p)) {
            struct sampler sampler = sampler_of(&margins, effort->seed, arena);
            *result = draw_tables(&sampler, effort);
            gsl_rng_free(sampler.rng);
        }
    }
    arena_free(arena);
    return STATUS_OK;
}

/* ---- the quick one ------------------------------------------------------------------------------ */

enum status table_chi_square(const struct counts *groups, size_t count,
                             struct table_chi_square *result)
{
    struct counts sum;
    double statistic = 0.0, smallest = INFINITY;
    size_t filled = 0;

    if (!counts_sum(groups, count, &sum))
        return STATUS_USAGE;
    double lost = (double)sum.lost, kept = (double)(sum.total - sum.lost);
    for (size_t i = 0; i < count; i++) {
        double size = (double)groups[i].total;
        if (groups[i].total == 0)
            continue;
        filled++;
        double expected = size * lost / (lost + kept);
        double off = (double)groups[i].lost - expected;
        smallest = fmin(smallest, fmin(expected, size - expected));
        if (lost > 0.0 && kept > 0.0)
            statistic += off * off / expected + off * off / (size - expected);
    }
    bool alike = filled < 2 || lost == 0.0 || kept == 0.0;
    *result = (struct table_chi_square){
        .statistic = alike ? 0.0 : statistic,
        .p = alike ? 1.0 : gsl_cdf_chisq_Q(statistic, (double)(filled - 1)),
        .freedom = alike ? 0 : filled - 1,
        .smallest_expected = filled > 0 ? smallest : 0.0,
    };
    return STATUS_OK;
}
