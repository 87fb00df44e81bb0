/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/table.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/numbers.h"
#include "review/statistics.h"

/*
 * How many of the lost fall to the first of two groups when all margins are given: a distribution
 * over `count` whole numbers from `least` up, by its logarithm at odds ratio 1, up to a constant.
 * It is log-concave, so nearly all of it lies round one peak.
 */
struct conditional {
    size_t least, count;
    const double *log_chance;
};

/* log C(m, k) C(n, t - k) less a constant, k from max(0, t - n) to min(m, t): t lost among m + n.
 * Writes `count` values, as conditional_range says. */
static void conditional_range(size_t m, size_t n, size_t t, size_t *least, size_t *count);
static void conditional_fill(size_t m, size_t n, size_t t, double *log_chance);

/* The two-sided p of odds ratio 1 when `seen` fell to the first group (table.h). */
static double conditional_two_sided(const struct conditional *conditional, size_t seen);

/* Whole numbers at random, exactly even, from a generator that gives 32 bits (gsl_rng_mt19937). */

/* 0 to count - 1, count above 0 (Lemire 2019, ACM Trans Model Comput Simul 29:3). */
static uint32_t draw_below(gsl_rng *rng, uint32_t count);

/* Any distribution over 0 to count - 1 in constant time (Walker 1977; Vose 1991). */
struct alias {
    size_t count;
    double *share;
    uint32_t *other;
};

/* Binomial over 0 to n at rate p, 0 < p < 1; `log_factorial` up to n. False without memory; then
 * there is nothing to release. */
static bool alias_binomial(struct alias *alias, size_t n, double p, const double *log_factorial);
static size_t alias_draw(const struct alias *alias, gsl_rng *rng);
static void alias_release(struct alias *alias);

/* A table made ready: no empty group, at least two groups, and `taken` counts the rarer of lost and
 * not lost, at least one. */
struct margins {
    size_t *sizes; /* largest first */
    size_t *taken;
    size_t groups, total, take;
};

/* log of n! for n = 0 to `most`; NULL without memory. The caller frees it. */
static double *table_log_factorials(size_t most);

/* What a table may be likelier than ours by and still count as no likelier, in its logarithm. */
#define TABLE_TIE 1e-7

/* The exact p. `settled` is false, and p not set, when it took more than `steps`. */
enum status table_network(const struct margins *margins, size_t steps, bool *settled, double *p);

/* The drawn p. */
enum status table_draw(const struct margins *margins, const struct table_effort *effort,
                       struct table_test *result);

/* A number that p is certainly not above. `log_factorial` up to the largest size. */
static double table_bound(const struct margins *margins, const double *log_factorial);

/* ==== conditional ============================================================================= */

/* exp(-45) = 3e-20 of the peak: what lies further down changes no sum in its last digit. */
static const double DEEP = 45.0;

/* What a table may be likelier than ours by and still count as no likelier. */
static const double TIE = 1e-7;

static void conditional_range(size_t m, size_t n, size_t t, size_t *least, size_t *count)
{
    size_t most = t < m ? t : m;

    *least = t > n ? t - n : 0;
    *count = most - *least + 1;
}

static void conditional_fill(size_t m, size_t n, size_t t, double *log_chance)
{
    size_t least, count;
    conditional_range(m, n, t, &least, &count);

    log_chance[0] = 0.0;
    for (size_t i = 1; i < count; i++) {
        double k = (double)(least + i); /* from k - 1 to k */
        double up = ((double)m - k + 1.0) * ((double)t - k + 1.0);
        double down = k * ((double)n - (double)t + k);
        log_chance[i] = log_chance[i - 1] + log(up / down);
    }
}

/* Where the rising steps end. */
static size_t peak(const struct conditional *c)
{
    size_t low = 0, high = c->count - 1;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (c->log_chance[middle + 1] > c->log_chance[middle])
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* The whole, in units of the peak. */
static double sum_all(const struct conditional *c, size_t top)
{
    double sum = 0.0;

    for (size_t i = top; i < c->count && c->log_chance[i] - c->log_chance[top] >= -DEEP; i++)
        sum += exp(c->log_chance[i] - c->log_chance[top]);
    for (size_t i = top; i-- > 0 && c->log_chance[i] - c->log_chance[top] >= -DEEP;)
        sum += exp(c->log_chance[i] - c->log_chance[top]);
    return sum;
}

/* A tail may be tiny: it is summed from the place outwards, in its units. */
static double tail(const struct conditional *c, size_t place, bool up)
{
    double sum = 0.0;

    for (size_t i = place; i < c->count; i = up ? i + 1 : i - 1) { /* below 0 wraps, and ends it */
        double chance = exp(c->log_chance[i] - c->log_chance[place]);
        sum += chance;
        if (chance < 1e-18 * sum)
            break;
    }
    return sum;
}

/* Everything no likelier than the place: two tails that begin where the steps from the peak have
 * come down to it. `all` in units of `top`. */
static double no_likelier(const struct conditional *c, size_t place, size_t top, double all)
{
    const double *log_chance = c->log_chance;
    double bound = log_chance[place] + log1p(TIE);
    double sum = 0.0;

    if (log_chance[top] <= bound)
        return 1.0;
    size_t low = 0, high = top; /* the last on the left that counts is before `low` */
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (log_chance[middle] <= bound)
            low = middle + 1;
        else
            high = middle;
    }
    if (low > 0)
        sum += tail(c, low - 1, false) * exp(log_chance[low - 1] - log_chance[top]);
    low = top;
    high = c->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (log_chance[middle] <= bound)
            high = middle;
        else
            low = middle + 1;
    }
    if (low < c->count)
        sum += tail(c, low, true) * exp(log_chance[low] - log_chance[top]);
    return fmin(1.0, sum / all);
}

static double conditional_two_sided(const struct conditional *c, size_t seen)
{
    size_t top = peak(c);

    return no_likelier(c, seen - c->least, top, sum_all(c, top));
}

/* ==== draw ==================================================================================== */

static uint32_t draw_below(gsl_rng *rng, uint32_t count)
{
    uint64_t product = (uint64_t)gsl_rng_get(rng) * count;

    if ((uint32_t)product < count) {
        /* The first 2^32 mod count of the low halves would favour some numbers. */
        uint32_t uneven = (uint32_t)(-count) % count;
        while ((uint32_t)product < uneven)
            product = (uint64_t)gsl_rng_get(rng) * count;
    }
    return (uint32_t)(product >> 32);
}

/* Fills a column that is too low from one that is too high, until all are level. */
static void level_columns(struct alias *alias, uint32_t *stack)
{
    size_t low = 0,
           high = alias->count; /* the low ones from the left, the high ones from the right */

    for (size_t i = 0; i < alias->count; i++) {
        alias->other[i] = (uint32_t)i;
        if (alias->share[i] < 1.0)
            stack[low++] = (uint32_t)i;
        else
            stack[--high] = (uint32_t)i;
    }
    while (low > 0 && high < alias->count) {
        uint32_t poor = stack[--low], rich = stack[high];
        alias->other[poor] = rich;
        alias->share[rich] -= 1.0 - alias->share[poor];
        if (alias->share[rich] < 1.0) {
            high++;
            stack[low++] = rich;
        }
    }
    /* What is left is level but for rounding. */
    while (low > 0)
        alias->share[stack[--low]] = 1.0;
    while (high < alias->count)
        alias->share[stack[high++]] = 1.0;
}

static bool alias_binomial(struct alias *alias, size_t n, double p, const double *log_factorial)
{
    size_t count = n + 1;
    uint32_t *stack = calloc(count, sizeof *stack);

    *alias = (struct alias){count, calloc(count, sizeof *alias->share),
                            calloc(count, sizeof *alias->other)};
    if (!stack || !alias->share || !alias->other) {
        free(stack);
        alias_release(alias);
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        double log_chance = log_factorial[n] - log_factorial[i] - log_factorial[n - i] +
                            (double)i * log(p) + (double)(n - i) * log1p(-p);
        alias->share[i] = (double)count * exp(log_chance);
    }
    level_columns(alias, stack);
    free(stack);
    return true;
}

static size_t alias_draw(const struct alias *alias, gsl_rng *rng)
{
    uint32_t column = draw_below(rng, (uint32_t)alias->count);
    double height = ((double)gsl_rng_get(rng) + 0.5) / 4294967296.0;

    return height < alias->share[column] ? column : alias->other[column];
}

static void alias_release(struct alias *alias)
{
    free(alias->share);
    free(alias->other);
    *alias = (struct alias){0, NULL, NULL};
}

/* ==== table bound ============================================================================= */

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
    const double *log_factorial;
    double log_odds; /* of X against N - X */
    double ours;     /* t */
    double whole;    /* log C(N, X) */
};

static double log_choose(const struct bound *b, size_t n, size_t x)
{
    return b->log_factorial[n] - b->log_factorial[x] - b->log_factorial[n - x];
}

/* log of w(x)^(1 - a) r^x. */
static double log_part(const struct bound *b, size_t n, size_t x, double a)
{
    return (1.0 - a) * (log_choose(b, n, x) + (double)x * b->log_odds);
}

/* log of its sum over x. */
static double log_factor(const struct bound *b, size_t n, double a)
{
    double top = log_part(b, n, 0, a), sum = 0.0;

    for (size_t x = 1; x <= n; x++)
        top = fmax(top, log_part(b, n, x, a));
    for (size_t x = 0; x <= n; x++) {
        double below = log_part(b, n, x, a) - top;
        if (below > -45.0) /* the rest is past the last digit */
            sum += exp(below);
    }
    return top + log(fmax(1.0, sum)); /* the top itself gives 1 */
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

static double table_bound(const struct margins *margins, const double *log_factorial)
{
    size_t take = margins->take, rest = margins->total - take;
    struct bound bound = {
        .margins = margins,
        .log_factorial = log_factorial,
        .log_odds = log((double)take / (double)rest),
        .ours = TABLE_TIE,
        .whole = gsl_sf_lnchoose((unsigned)margins->total, (unsigned)take),
    };

    for (size_t i = 0; i < margins->groups; i++)
        bound.ours += log_choose(&bound, margins->sizes[i], margins->taken[i]);
    /* The bound is convex in a. */
    struct minimum least = minimum_between(log_bound, &bound, 0.0, STEEPEST, NEAR_ENOUGH);
    /* A ceiling below the least double is lifted, for 0 would say "impossible". */
    return fmin(1.0, fmax(1e-300, exp(least.value)));
}

/* ==== table draw ============================================================================== */

/*
 * Tables with given margins, drawn at random. To take X of N vessels evenly, each is first taken by
 * itself with a chance a little below X / N: a binomial number in each group. That set is an even
 * one of its size; vessels not in it are then added evenly until there are X. (Should it be too
 * large already, it is thrown away.) So a table costs its groups and some standard deviations of
 * additions instead of X.
 */

/* How far below X the start aims, in standard deviations: 1 start in 160 is thrown away. */
static const double AIM = 2.5;

struct sampler {
    const struct margins *margins;
    gsl_rng *rng;
    struct alias *alias; /* of each distinct size */
    size_t aliases;
    size_t *which;   /* group -> alias */
    size_t *first;   /* group -> its first vessel */
    uint32_t *owner; /* vessel -> group */
    size_t *taken;   /* of each group, the first ones of its vessels */
    double start;    /* chance of each vessel at the start; 0: begin with none */
    double *log_factorial;
};

static void release(struct sampler *s)
{
    for (size_t i = 0; i < s->aliases; i++)
        alias_release(&s->alias[i]);
    if (s->rng)
        gsl_rng_free(s->rng);
    free(s->alias);
    free(s->which);
    free(s->first);
    free(s->owner);
    free(s->taken);
    free(s->log_factorial);
}

/* Vessels added to a start, or all of them where there is none. */
static double additions(const struct margins *m)
{
    double take = (double)m->take, total = (double)m->total;

    return fmin(take, AIM * sqrt(take * (1.0 - take / total)));
}

static double start_chance(const struct margins *m)
{
    double aim = (double)m->take - additions(m);

    /* Adding costs about as much as a binomial number. */
    return aim > (double)m->groups ? aim / (double)m->total : 0.0;
}

/* Sizes stand in falling order, so equal ones are neighbours and share their table. */
static bool prepare_alias(struct sampler *s)
{
    const struct margins *m = s->margins;

    for (size_t i = 0; i < m->groups; i++) {
        if (i == 0 || m->sizes[i] != m->sizes[i - 1]) {
            if (!alias_binomial(&s->alias[s->aliases], m->sizes[i], s->start, s->log_factorial))
                return false;
            s->aliases++;
        }
        s->which[i] = s->aliases - 1;
    }
    return true;
}

static bool prepare(struct sampler *s, unsigned long seed)
{
    const struct margins *m = s->margins;

    s->rng = gsl_rng_alloc(gsl_rng_mt19937);
    s->alias = calloc(m->groups, sizeof *s->alias);
    s->which = calloc(m->groups, sizeof *s->which);
    s->first = calloc(m->groups, sizeof *s->first);
    s->owner = calloc(m->total, sizeof *s->owner);
    s->taken = calloc(m->groups, sizeof *s->taken);
    s->log_factorial = table_log_factorials(m->sizes[0]);
    if (!s->rng || !s->alias || !s->which || !s->first || !s->owner || !s->taken ||
        !s->log_factorial)
        return false;
    gsl_rng_set(s->rng, seed);
    for (size_t group = 0, vessel = 0; group < m->groups; group++) {
        s->first[group] = vessel;
        for (size_t i = 0; i < m->sizes[group]; i++)
            s->owner[vessel++] = (uint32_t)group;
    }
    s->start = start_chance(m);
    return s->start == 0.0 || prepare_alias(s);
}

/* The number taken at the start. */
static size_t draw_start(struct sampler *s)
{
    const struct margins *m = s->margins;
    size_t sum = 0;

    if (s->start == 0.0) {
        memset(s->taken, 0, m->groups * sizeof *s->taken);
        return 0;
    }
    do {
        sum = 0;
        for (size_t i = 0; i < m->groups; i++)
            sum += s->taken[i] = alias_draw(&s->alias[s->which[i]], s->rng);
    } while (sum > m->take);
    return sum;
}

static void draw_table(struct sampler *s)
{
    const struct margins *m = s->margins;

    for (size_t sum = draw_start(s); sum < m->take;) {
        size_t vessel = draw_below(s->rng, (uint32_t)m->total);
        size_t group = s->owner[vessel];
        /* Which of its vessels a group has lost does not matter: say, its first ones. */
        if (vessel - s->first[group] >= s->taken[group]) {
            s->taken[group]++;
            sum++;
        }
    }
}

/* log of the table's chance but for a constant. */
static double log_chance(const struct sampler *s, const size_t *taken)
{
    const struct margins *m = s->margins;
    double sum = 0.0;

    for (size_t i = 0; i < m->groups; i++)
        sum -= s->log_factorial[taken[i]] + s->log_factorial[m->sizes[i] - taken[i]];
    return sum;
}

/* How many tables of so many single numbers the effort allows. */
static size_t allowance(const struct table_effort *effort, double numbers)
{
    const double least = 200.0; /* fewer would say nothing at all */
    double allowed = effort->draws > 0 ? fmax(least, (double)effort->draws / numbers) : INFINITY;

    return allowed < (double)effort->tables ? (size_t)allowed : effort->tables;
}

/* p and its error from what was drawn. */
static void tell_drawn(size_t hits, size_t tables, size_t enough, struct table_test *result)
{
    double p = enough > 0 && hits >= enough ? (double)hits / (double)tables
                                            : (double)(hits + 1) / (double)(tables + 1);

    *result = (struct table_test){
        .p = p,
        .at_most = hits == 0,
        .standard_error = sqrt(p * (1.0 - p) / (double)tables),
        .tables = tables,
        .hits = hits,
    };
}

/* After this many tables without a hit it is worth asking how far out ours lies. */
enum { FIRST_LOOK = 100 };

static bool far_out(const struct sampler *s, size_t most, double *bound)
{
    *bound = table_bound(s->margins, s->log_factorial);
    return *bound < 1.0 / (double)(most + 1);
}

static void draw_tables(struct sampler *s, const struct table_effort *effort,
                        struct table_test *result)
{
    const struct margins *m = s->margins;
    size_t most = allowance(effort, (double)m->groups + additions(m));
    size_t hits = 0, tables = 0;
    double ours = log_chance(s, m->taken) + TABLE_TIE, bound;

    while (tables < most && (effort->enough == 0 || hits < effort->enough)) {
        draw_table(s);
        tables++;
        if (log_chance(s, s->taken) <= ours)
            hits++;
        if (hits == 0 && tables == FIRST_LOOK && far_out(s, most, &bound)) {
            *result = (struct table_test){.p = bound, .at_most = true, .tables = tables};
            return;
        }
    }
    tell_drawn(hits, tables, effort->enough, result);
}

enum status table_draw(const struct margins *margins, const struct table_effort *effort,
                       struct table_test *result)
{
    struct sampler sampler = {.margins = margins};
    bool ready = prepare(&sampler, effort->seed);

    if (ready)
        draw_tables(&sampler, effort, result);
    release(&sampler);
    return ready ? STATUS_OK : STATUS_MEMORY;
}

/* ==== table network =========================================================================== */

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

static double table_network_log_choose(const struct network *net, size_t n, size_t k)
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
                double part = table_network_log_choose(net, size, x);
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
        double ends = table_network_log_choose(net, net->left[stage], to_take);
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
        double part = table_network_log_choose(net, size, x);
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

static void table_network_release(struct network *net)
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

static bool table_network_prepare(struct network *net)
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
        net->bound += table_network_log_choose(net, m->sizes[i], m->taken[i]);
    net->bound += TABLE_TIE;
    net->whole = table_network_log_choose(net, m->total, m->take);
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
    enum status status = table_network_prepare(&net) ? follow(&net, steps, settled) : STATUS_MEMORY;
    *p = fmin(1.0, net.p);
    table_network_release(&net);
    return status;
}

/* ==== table =================================================================================== */

struct table_effort table_effort_usual(void)
{
    return (struct table_effort){
        .exact_steps = 100000, .tables = 10000, .draws = 20000000, .enough = 100, .seed = 1};
}

static double *table_log_factorials(size_t most)
{
    double *table = calloc(most + 1, sizeof *table);
    long double sum = 0.0L;

    if (!table)
        return NULL;
    for (size_t n = 1; n <= most; n++) {
        sum += log((double)n);
        table[n] = (double)sum;
    }
    return table;
}

/* ---- groups against lost or not -------------------------------------------------------------- */

static int larger_first(const void *left, const void *right)
{
    const struct counts *a = left, *b = right;

    if (a->total != b->total)
        return (a->total < b->total) - (a->total > b->total);
    return (a->lost < b->lost) - (a->lost > b->lost);
}

/* Fills `sizes` and `taken` (room for all) from the groups that are not empty. */
static void fill_margins(struct margins *margins, struct counts *groups, size_t count,
                         struct counts sum)
{
    bool rather_kept = sum.lost > sum.total - sum.lost;

    qsort(groups, count, sizeof *groups, larger_first);
    while (margins->groups < count && groups[margins->groups].total > 0) {
        struct counts group = groups[margins->groups];
        margins->sizes[margins->groups] = group.total;
        margins->taken[margins->groups++] = rather_kept ? group.total - group.lost : group.lost;
    }
    margins->total = sum.total;
    margins->take = rather_kept ? sum.total - sum.lost : sum.lost;
}

/* Two groups need no network: their tables form one row. */
static enum status test_pair(const struct margins *margins, struct table_test *result)
{
    struct conditional pair;
    size_t m = margins->sizes[0], n = margins->sizes[1];

    conditional_range(m, n, margins->take, &pair.least, &pair.count);
    double *log_chance = calloc(pair.count, sizeof *log_chance);
    if (!log_chance)
        return STATUS_MEMORY;
    conditional_fill(m, n, margins->take, log_chance);
    pair.log_chance = log_chance;
    *result =
        (struct table_test){.p = conditional_two_sided(&pair, margins->taken[0]), .exact = true};
    free(log_chance);
    return STATUS_OK;
}

static enum status test_margins(const struct margins *margins, const struct table_effort *effort,
                                struct table_test *result)
{
    bool settled = false;
    double p = NAN;

    if (margins->groups < 2 || margins->take == 0) {
        *result = (struct table_test){.p = 1.0, .exact = true};
        return STATUS_OK;
    }
    if (margins->groups == 2)
        return test_pair(margins, result);
    enum status status = table_network(margins, effort->exact_steps, &settled, &p);
    if (status != STATUS_OK)
        return status;
    if (!settled)
        return table_draw(margins, effort, result);
    *result = (struct table_test){.p = p, .exact = true};
    return STATUS_OK;
}

enum status table_groups(const struct counts *groups, size_t count,
                         const struct table_effort *effort, struct table_test *result)
{
    struct counts sum;

    if (effort->tables < 1 || !counts_sum(groups, count, &sum))
        return STATUS_USAGE;
    size_t room = count ? count : 1;
    struct counts *sorted = calloc(room, sizeof *sorted);
    struct margins margins = {.sizes = calloc(room, sizeof *margins.sizes),
                              .taken = calloc(room, sizeof *margins.taken)};
    enum status status = STATUS_MEMORY;
    if (sorted && margins.sizes && margins.taken) {
        for (size_t i = 0; i < count; i++)
            sorted[i] = groups[i];
        fill_margins(&margins, sorted, count, sum);
        status = test_margins(&margins, effort, result);
    }
    free(sorted);
    free(margins.sizes);
    free(margins.taken);
    return status;
}

/* ---- the quick one --------------------------------------------------------------------------- */

enum status table_chi_square(const struct counts *groups, size_t count,
                             struct table_chi_square *result)
{
    struct counts sum;
    double statistic = 0.0, least = INFINITY;
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
        least = fmin(least, fmin(expected, size - expected));
        if (lost > 0.0 && kept > 0.0)
            statistic += off * off / expected + off * off / (size - expected);
    }
    bool alike = filled < 2 || lost == 0.0 || kept == 0.0;
    *result = (struct table_chi_square){
        .statistic = alike ? 0.0 : statistic,
        .p = alike ? 1.0 : gsl_cdf_chisq_Q(statistic, (double)(filled - 1)),
        .freedom = alike ? 0 : filled - 1,
        .least_expected = filled > 0 ? least : 0.0,
    };
    return STATUS_OK;
}
