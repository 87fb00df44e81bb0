/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/statistics.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool counts_fine(struct counts counts)
{
    return counts.lost <= counts.total && counts.total <= COUNTS_MOST;
}

static bool level_fine(double level)
{
    return level > 0.0 && level < 1.0;
}

/* ---- binomial chances -------------------------------------------------------------------------- */

/*
 * Of x among n at rate p, 0 < p < 1, x <= n <= COUNTS_MOST.
 *
 * Tails are summed term by term from x away from the mean, each term from the one before. GSL's
 * incomplete beta function gives up where n is large and x near the mean; a sum does not, needs
 * only some standard deviations of terms, and gives the derivative beside it.
 */

/* A term this much smaller than the sum no longer changes it, nor do those after it together. */
static const double NEGLIGIBLE = 1e-18;

static double binomial_pmf(size_t x, size_t n, double p)
{
    return gsl_ran_binomial_pdf((unsigned)x, p, (unsigned)n);
}

/* The terms from x up, in units of the first. */
static double binomial_terms(size_t x, size_t n, double p)
{
    double odds = p / (1.0 - p), term = 1.0, sum = 1.0;

    for (size_t k = x; k < n; k++) {
        term *= odds * (double)(n - k) / (double)(k + 1);
        sum += term;
        if (term < NEGLIGIBLE * sum)
            break;
    }
    return sum;
}

/* Upwards from above the mean the terms fall at once. */
static double upper(size_t x, size_t n, double p)
{
    return binomial_pmf(x, n, p) * binomial_terms(x, n, p);
}

/* ---- intervals ---------------------------------------------------------------------------------- */

/*
 * The rate at which x or more of n have the chance `tail`, below one half; 0 < x, so the rate is
 * below x / n and the terms of the tail fall. Newton's method on logarithms, held within a bracket
 * that shrinks: log of a tail against log of the rate is nearly straight. Its slope,
 * d log P(X >= x) / d log p = x pmf(x) / P(X >= x), is x over the tail in units of its first term.
 */
static double rate_at_tail(size_t x, size_t n, double tail)
{
    double low = 0.0, high = (double)x / (double)n;
    double p = (double)x / (double)(n + 1), target = log(tail);

    for (int step = 0; step < 200; step++) {
        double terms = binomial_terms(x, n, p);
        double off = log(binomial_pmf(x, n, p) * terms) - target;

        if (off > 0.0)
            high = p;
        else
            low = p;
        double next = p * exp(-off * terms / (double)x);
        if (!(next > low && next < high))
            next = 0.5 * (low + high);
        if (fabs(next - p) <= 1e-14 * p)
            return next;
        p = next;
    }
    return p;
}

struct interval counts_interval_exact(struct counts counts, double level)
{
    if (!counts_fine(counts) || !level_fine(level))
        return (struct interval){NAN, NAN};

    size_t x = counts.lost, n = counts.total;
    double tail = 0.5 * (1.0 - level);
    struct interval interval = {0.0, 1.0};
    if (x > 0)
        interval.low = rate_at_tail(x, n, tail);
    if (x < n) /* the other end is the lower one of those not lost */
        interval.high = 1.0 - rate_at_tail(n - x, n, tail);
    return interval;
}

struct interval counts_interval_wilson(struct counts counts, double level)
{
    if (!counts_fine(counts) || !level_fine(level))
        return (struct interval){NAN, NAN};

    double x = (double)counts.lost, n = (double)counts.total;
    double z = gsl_cdf_ugaussian_Qinv(0.5 * (1.0 - level)), zz = z * z;
    if (counts.total == 0)
        return (struct interval){0.0, 1.0};
    double middle = x + 0.5 * zz;
    double half = z * sqrt(x * (n - x) / n + 0.25 * zz);
    /* At the ends the true values are 0 and 1; rounding must not pass them. */
    return (struct interval){
        counts.lost == 0 ? 0.0 : (middle - half) / (n + zz),
        counts.lost == counts.total ? 1.0 : (middle + half) / (n + zz),
    };
}

/* ---- tails ----------------------------------------------------------------------------------- */

double counts_chance_above(struct counts counts, double rate)
{
    if (!counts_fine(counts) || !(rate >= 0.0 && rate <= 1.0))
        return NAN;
    if (rate == 0.0 || rate == 1.0) /* all is settled */
        return counts.lost == 0 || rate == 1.0 ? 1.0 : 0.0;
    if (counts.lost == 0)
        return 1.0;
    if ((double)counts.lost > rate * (double)counts.total)
        return upper(counts.lost, counts.total, rate);
    return 1.0 - upper(counts.total - counts.lost + 1, counts.total,
                       1.0 - rate); /* x - 1 lost or fewer is n - x + 1 kept or more */
}

double counts_chance_below(struct counts counts, double rate)
{
    if (!counts_fine(counts) || !(rate >= 0.0 && rate <= 1.0))
        return NAN;
    return counts_chance_above((struct counts){counts.total - counts.lost, counts.total},
                               1.0 - rate);
}

/* ---- many questions -------------------------------------------------------------------------- */

enum status counts_adjust(const double *p, size_t count, double *adjusted)
{
    for (size_t i = 0; i < count; i++)
        if (p[i] < 0.0 || p[i] > 1.0)
            return STATUS_USAGE;
    double *asked = calloc(count + 1, sizeof *asked), smallest = 1.0;
    size_t *place = malloc((count + 1) * sizeof *place);
    size_t *order = malloc((count + 1) * sizeof *order), m = 0;
    for (size_t i = 0; i < count; i++)
        if (!isnan(p[i])) {
            asked[m] = p[i];
            place[m++] = i;
        } else {
            adjusted[i] = NAN;
        }
    gsl_sort_index(order, asked, 1, m);
    for (size_t rank = m; rank > 0; rank--) {
        smallest = fmin(smallest, asked[order[rank - 1]] * (double)m / (double)rank);
        adjusted[place[order[rank - 1]]] = smallest;
    }
    free(asked);
    free(place);
    free(order);
    return STATUS_OK;
}

bool counts_sum(const struct counts *groups, size_t count, struct counts *sum)
{
    *sum = (struct counts){0, 0};
    for (size_t i = 0; i < count; i++) {
        if (!counts_fine(groups[i]))
            return false;
        sum->lost += groups[i].lost;
        sum->total += groups[i].total;
        if (sum->total > COUNTS_MOST)
            return false;
    }
    return true;
}

/* ---- strata ------------------------------------------------------------------------------------- */

/*
 * V is, stratum by stratum, f (N diag(n_i) - n_i n_j) with f = K (N - K) / (N^2 (N - 1)) for K lost
 * of N: the Laplacian of a graph in which groups that share a stratum are joined. It is never
 * written down: V x takes one pass over the cells, and V x = d is solved by conjugate gradients
 * (Hestenes & Stiefel 1952). V has no inverse, but d lies where it has one: constants on each
 * island are its only null space, and d sums to 0 on each.
 */
struct problem {
    const struct strata_cell *cells;
    size_t count, groups, strata;
    struct counts *sums; /* of each stratum */
    double *factor;      /* f, 0 of a stratum that tells nothing */
    double *along;       /* of each stratum: sum of n x, while multiplying */
    double *diagonal;    /* of V */
    double *off;         /* d */
    double *x, *residual, *scaled, *direction, *image;
    size_t *leader; /* of each group: towards the leader of its island */
    size_t *anchor; /* of each stratum: the first group seen in it */
};

/* Below this share of d the residual no longer moves the statistic, which feels its square. */
static const double SMALL = 1e-12, SMALL_ENOUGH = 1e-5;

static void allocate(struct problem *p, struct arena *arena)
{
    p->sums = arena_array(arena, p->strata, sizeof *p->sums);
    p->factor = arena_array(arena, p->strata, sizeof *p->factor);
    p->along = arena_array(arena, p->strata, sizeof *p->along);
    p->anchor = arena_array(arena, p->strata, sizeof *p->anchor);
    p->leader = arena_array(arena, p->groups, sizeof *p->leader);
    double **const of_groups[] = {&p->diagonal, &p->off,       &p->x,    &p->residual,
                                  &p->scaled,   &p->direction, &p->image};
    for (size_t i = 0; i < sizeof of_groups / sizeof of_groups[0]; i++)
        *of_groups[i] = arena_array(arena, p->groups, sizeof(double));
}

static bool sum_up(struct problem *p)
{
    for (size_t i = 0; i < p->count; i++) {
        const struct strata_cell *cell = &p->cells[i];
        if (!counts_fine(cell->counts) || cell->group >= p->groups || cell->stratum >= p->strata)
            return false;
        p->sums[cell->stratum].lost += cell->counts.lost;
        p->sums[cell->stratum].total += cell->counts.total;
        if (p->sums[cell->stratum].total > COUNTS_MOST)
            return false;
    }
    return true;
}

static size_t leader_of(size_t *leader, size_t group)
{
    while (leader[group] != group)
        group = leader[group] = leader[leader[group]];
    return group;
}

static void prepare_groups(struct problem *p)
{
    for (size_t i = 0; i < p->count; i++) {
        const struct strata_cell *cell = &p->cells[i];
        double n = (double)cell->counts.total, all = (double)p->sums[cell->stratum].total;
        if (p->factor[cell->stratum] == 0.0)
            continue;
        double expected = n * (double)p->sums[cell->stratum].lost / all;
        p->off[cell->group] += (double)cell->counts.lost - expected;
        p->diagonal[cell->group] += p->factor[cell->stratum] * n * (all - n);
    }
}

static double dot(const double *a, const double *b, size_t count)
{
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
        sum += a[i] * b[i];
    return sum;
}

/* The residual over the diagonal, and their product. */
static double scale(struct problem *p)
{
    for (size_t i = 0; i < p->groups; i++)
        p->scaled[i] = p->diagonal[i] > 0.0 ? p->residual[i] / p->diagonal[i] : 0.0;
    return dot(p->residual, p->scaled, p->groups);
}

static bool solve(struct problem *p)
{
    memcpy(p->residual, p->off, p->groups * sizeof *p->residual);
    double start = scale(p), now = start;
    memcpy(p->direction, p->scaled, p->groups * sizeof *p->direction);

    for (size_t step = 0; step < 2 * p->groups + 20 && now > start * SMALL * SMALL; step++) {
        memset(p->along, 0, p->strata * sizeof *p->along);
        memset(p->image, 0, p->groups * sizeof *p->image);
        for (size_t j = 0; j < p->count; j++) {
            const struct strata_cell *cell = &p->cells[j];
            p->along[cell->stratum] += (double)cell->counts.total * p->direction[cell->group];
        }
        for (size_t j = 0; j < p->count; j++) {
            const struct strata_cell *cell = &p->cells[j];
            size_t k = cell->stratum;
            p->image[cell->group] +=
                p->factor[k] * (double)cell->counts.total *
                ((double)p->sums[k].total * p->direction[cell->group] - p->along[k]);
        }
        double curve = dot(p->direction, p->image, p->groups);
        if (!(curve > 0.0))
            break;
        for (size_t i = 0; i < p->groups; i++) {
            p->x[i] += now / curve * p->direction[i];
            p->residual[i] -= now / curve * p->image[i];
        }
        double next = scale(p);
        for (size_t i = 0; i < p->groups; i++)
            p->direction[i] = p->scaled[i] + next / now * p->direction[i];
        now = next;
    }
    return now <= start * SMALL_ENOUGH * SMALL_ENOUGH;
}

static enum status compute(struct problem *p, struct strata_test *result)
{
    *result = (struct strata_test){.p = 1.0};
    for (size_t k = 0; k < p->strata; k++) {
        double n = (double)p->sums[k].total, lost = (double)p->sums[k].lost;
        if (lost > 0.0 && lost < n)
            p->factor[k] = lost * (n - lost) / (n * n * (n - 1.0));
    }
    /* The groups of each stratum are joined. One with a single group compares nothing. */
    for (size_t j = 0; j < p->groups; j++)
        p->leader[j] = j;
    for (size_t j = 0; j < p->strata; j++)
        p->anchor[j] = p->groups;
    for (size_t j = 0; j < p->count; j++) {
        const struct strata_cell *cell = &p->cells[j];
        size_t *anchor = &p->anchor[cell->stratum];
        if (p->factor[cell->stratum] == 0.0 || cell->counts.total == 0)
            continue;
        if (*anchor == p->groups)
            *anchor = cell->group;
        if (*anchor != cell->group)
            p->along[cell->stratum] = 1.0; /* a mark, until there is something to multiply */
        size_t a = leader_of(p->leader, *anchor), b = leader_of(p->leader, cell->group);
        p->leader[a > b ? a : b] = a < b ? a : b;
    }
    for (size_t j = 0; j < p->strata; j++)
        if (p->along[j] == 0.0)
            p->factor[j] = 0.0;
    for (size_t k = 0; k < p->strata; k++)
        result->strata += p->factor[k] > 0.0;
    for (size_t i = 0; i < p->groups; i++) {
        size_t leader = leader_of(p->leader, i);
        if (leader == i)
            continue;
        result->groups++;
        result->islands += p->x[leader] == 0.0; /* counted once: marked as above */
        p->x[leader] = 1.0;
    }
    memset(p->x, 0, p->groups * sizeof *p->x);
    result->freedom = result->groups; /* every compared group but one on each island */
    result->groups += result->islands;
    if (result->freedom == 0)
        return STATUS_OK;
    prepare_groups(p);
    if (!solve(p))
        return STATUS_INTERNAL;
    result->statistic = fmax(0.0, dot(p->off, p->x, p->groups));
    result->p = gsl_cdf_chisq_Q(result->statistic, (double)result->freedom);
    return STATUS_OK;
}

enum status strata_groups(const struct strata_cell *cells, size_t count, size_t groups,
                          size_t strata, struct strata_test *result)
{
    struct problem problem = {.cells = cells, .count = count, .groups = groups, .strata = strata};
    if (groups > COUNTS_MOST || strata > COUNTS_MOST)
        return STATUS_USAGE;
    struct arena *arena = arena_new();
    allocate(&problem, arena);
    enum status status = sum_up(&problem) ? compute(&problem, result) : STATUS_USAGE;
    arena_free(arena);
    return status;
}

/* ---- how long until a loss ----------------------------------------------------------------------- */

/* For qsort, of structures that begin with a struct survival_case. */
static int survival_by_time(const void *left, const void *right)
{
    const struct survival_case *a = left, *b = right;
    return (a->time > b->time) - (a->time < b->time);
}

static bool survival_fine(const struct survival_case *cases, size_t count)
{
    if (count > COUNTS_MOST)
        return false;
    for (size_t i = 0; i < count; i++)
        if (!isfinite(cases[i].time) || cases[i].time < 0.0)
            return false;
    return true;
}

/* First time at which S is 1/2 or less, the middle of the stretch where it is 1/2 exactly: products
 * like 3/4 x 2/3 miss it by rounding. */
static double median_of(const struct survival_curve *curve)
{
    const double rounding = 1e-12;
    size_t at = 0;

    while (at < curve->count && curve->steps[at].survival > 0.5 + rounding)
        at++;
    if (at == curve->count)
        return INFINITY;
    size_t past = at;
    while (past < curve->count && curve->steps[past].survival >= 0.5 - rounding)
        past++;
    return 0.5 * (curve->steps[at].time + curve->steps[past < curve->count ? past : at].time);
}

enum status survival_curve(struct arena *arena, const struct survival_case *cases, size_t count,
                           struct survival_curve *curve)
{
    if (!survival_fine(cases, count))
        return STATUS_USAGE;
    struct survival_case *sorted = malloc((count + 1) * sizeof *sorted);
    size_t distinct = 0;
    for (size_t i = 0; i < count; i++)
        sorted[i] = cases[i];
    qsort(sorted, count, sizeof *sorted, survival_by_time);
    for (size_t i = 0; i < count; i++)
        distinct += i == 0 || sorted[i].time != sorted[i - 1].time;
    *curve = (struct survival_curve){.cases = count};
    curve->steps = arena_array(arena, distinct, sizeof *curve->steps);
    double survival = 1.0;
    for (size_t k = 0; k < count;) {
        struct survival_step *step = &curve->steps[curve->count++];
        *step = (struct survival_step){.time = sorted[k].time, .at_risk = count - k};
        for (; k < count && sorted[k].time == step->time; k++)
            step->lost += sorted[k].lost;
        survival *= (double)(step->at_risk - step->lost) / (double)step->at_risk;
        step->survival = survival;
        curve->lost += step->lost;
    }
    free(sorted);
    curve->median = median_of(curve);
    return STATUS_OK;
}

/* ---- do groups last alike? ----------------------------------------------------------------------- */

struct member {
    struct survival_case is; /* first, for survival_by_time */
    size_t group;
};

/* Each time is a stratum, in which those at risk are compared. */
enum status survival_logrank(const struct survival_case *cases, const size_t *group, size_t count,
                             size_t groups, struct strata_test *result)
{
    if (!survival_fine(cases, count))
        return STATUS_USAGE;
    for (size_t i = 0; i < count; i++)
        if (group[i] >= groups)
            return STATUS_USAGE;
    struct arena *arena = arena_new();
    struct member *sorted = arena_array(arena, count, sizeof *sorted);
    struct counts *at_risk = arena_array(arena, groups, sizeof *at_risk);
    struct strata_cell *cells = NULL;
    size_t cell_count = 0, times = 0;
    for (size_t i = 0; i < count; i++) {
        sorted[i] = (struct member){cases[i], group[i]};
        at_risk[group[i]].total++;
    }
    if (count > 1)
        qsort(sorted, count, sizeof *sorted, survival_by_time);
    for (size_t j = 0; j < count; times++) {
        size_t first = j;
        for (; j < count && sorted[j].is.time == sorted[first].is.time; j++)
            at_risk[sorted[j].group].lost += sorted[j].is.lost;
        for (size_t g = 0; g < groups; g++) {
            *arena_push(arena, cells, cell_count) = (struct strata_cell){g, times, at_risk[g]};
            at_risk[g].lost = 0;
        }
        for (size_t k = first; k < j; k++)
            at_risk[sorted[k].group].total--;
    }
    enum status status = strata_groups(cells, cell_count, groups, times, result);
    arena_free(arena);
    return status;
}

/* ---- a chart of batches -------------------------------------------------------------------------- */

/* Batches come in few sizes: limits once found are kept for the size they hold for. */
enum { SIZES_KEPT = 256 };

struct limits {
    size_t total; /* 0: nothing kept yet */
    double from_below, from_above;
};

double monitor_centre(const struct counts *batches, size_t count)
{
    double lost = 0.0, total = 0.0;

    for (size_t i = 0; i < count; i++) {
        lost += (double)batches[i].lost;
        total += (double)batches[i].total;
    }
    return total > 0.0 ? lost / total : NAN;
}

/* The smallest count that many or more of which are as rare as `tail`; total + 1 if none is. */
static size_t first_rare(size_t total, double centre, double tail)
{
    size_t low = 0, high = total + 1;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (counts_chance_above((struct counts){middle, total}, centre) <= tail)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

enum status monitor_chart(const struct counts *batches, size_t count, double centre, double tail,
                          struct monitor_point *points)
{
    struct limits kept[SIZES_KEPT] = {{0, 0.0, 0.0}};

    if (!(centre >= 0.0 && centre <= 1.0) || !(tail > 0.0 && tail <= 0.5))
        return STATUS_USAGE;
    for (size_t i = 0; i < count; i++)
        if (!counts_fine(batches[i]))
            return STATUS_USAGE;
    for (size_t i = 0; i < count; i++) {
        size_t total = batches[i].total;
        struct limits *limits = &kept[total % SIZES_KEPT];
        if (total == 0) {
            points[i] = (struct monitor_point){.share = NAN, .from_below = -1.0, .from_above = 1.0};
            continue;
        }
        if (limits->total != total) /* so many lost or fewer are so many kept or more */
            *limits = (struct limits){.total = total,
                                      .from_below = (double)total -
                                                    (double)first_rare(total, 1.0 - centre, tail),
                                      .from_above = (double)first_rare(total, centre, tail)};
        double lost = (double)batches[i].lost;
        points[i] = (struct monitor_point){
            .share = lost / (double)total,
            .from_below = limits->from_below,
            .from_above = limits->from_above,
            .below = lost <= limits->from_below,
            .above = lost >= limits->from_above,
        };
    }
    return STATUS_OK;
}

/* ---- a running sum ------------------------------------------------------------------------------- */

enum { THRESHOLD_MOST = 1000000 };

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
    double length = run_length(up, threshold, rate, levels);
    free(levels);
    return length;
}

static double weight_ratio(double usual, double raised)
{
    return log(raised / usual) / -log((1.0 - raised) / (1.0 - usual));
}

/* The smallest threshold whose mean run is long enough; 0 when it would be out of range. */
static size_t find_threshold(const struct monitor_plan *plan, double run)
{
    size_t low = 1, high = 1; /* below `low` is too little */

    for (; !(monitor_run_length(plan->up, high, plan->usual) >= run); high *= 2) {
        if (high > THRESHOLD_MOST)
            return 0;
        low = high + 1;
    }
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (monitor_run_length(plan->up, middle, plan->usual) >= run)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

enum status monitor_plan(double usual, double raised, double run, struct monitor_plan *plan)
{
    if (!(usual >= 0.001 && usual <= 0.45) || !(raised >= 1.2 * usual && raised < 1.0) ||
        !(run >= 1.0 && run <= 1e7))
        return STATUS_USAGE;

    double most = ceil((1.0 - usual) / usual) - 1.0; /* at the ratio itself p1 is p0 */
    struct monitor_plan made = {
        .usual = usual, .up = (size_t)fmax(1.0, fmin(round(weight_ratio(usual, raised)), most))};
    /* The raised rate for which the ratio of the weights is `up`: it falls as the rate rises. */
    double low = usual, high = 1.0;

    for (int step = 0; step < 100; step++) {
        double middle = 0.5 * (low + high);
        if (middle <= usual || middle >= 1.0)
            break;
        if (weight_ratio(usual, middle) > (double)made.up)
            low = middle;
        else
            high = middle;
    }
    made.raised = 0.5 * (low + high);
    made.step = -log((1.0 - made.raised) / (1.0 - usual));
    made.threshold = find_threshold(&made, run);
    if (made.threshold == 0)
        return STATUS_USAGE;
    made.run_usual = monitor_run_length(made.up, made.threshold, usual);
    *plan = made;
    return STATUS_OK;
}

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
