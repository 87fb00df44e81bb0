/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/statistics.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

static bool counts_fine(struct counts counts)
{
    return counts.lost <= counts.total && counts.total <= COUNTS_MOST;
}

static bool level_fine(double level)
{
    return level > 0.0 && level < 1.0;
}

/* ---- binomial chances -------------------------------------------------------------------------- */

/* Of x among n at rate p, 0 < p < 1, x <= n <= COUNTS_MOST.
 *
 * Tails are summed term by term from x away from the mean, each term from the one before. GSL's
 * incomplete beta function gives up where n is large and x near the mean; a sum does not, needs
 * only some standard deviations of terms, and gives the derivative beside it. */

static double binomial_pmf(size_t x, size_t n, double p)
{
    return gsl_ran_binomial_pdf((unsigned)x, p, (unsigned)n);
}

/* The terms from x up, in units of the first. Upwards from above the mean they fall at once. */
static double binomial_terms(size_t x, size_t n, double p)
{
    static const double too_small = 1e-18; /* to change the sum, with all after it */
    double odds = p / (1.0 - p), term = 1.0, sum = 1.0;
    for (size_t k = x; k < n && term >= too_small * sum; k++) {
        term *= odds * (double)(n - k) / (double)(k + 1);
        sum += term;
    }
    return sum;
}

double counts_chance_above(struct counts counts, double rate)
{
    size_t x = counts.lost, n = counts.total;
    if (!counts_fine(counts) || !(rate >= 0.0 && rate <= 1.0))
        return NAN;
    if (x == 0 || rate == 1.0)
        return 1.0;
    if (rate == 0.0)
        return 0.0;
    if ((double)x > rate * (double)n)
        return binomial_pmf(x, n, rate) * binomial_terms(x, n, rate);
    size_t kept = n - x + 1; /* x - 1 lost or fewer is n - x + 1 kept or more */
    return 1.0 - binomial_pmf(kept, n, 1.0 - rate) * binomial_terms(kept, n, 1.0 - rate);
}

double counts_chance_below(struct counts counts, double rate)
{
    if (!counts_fine(counts))
        return NAN;
    return counts_chance_above((struct counts){counts.total - counts.lost, counts.total},
                               1.0 - rate);
}

/* ---- intervals ---------------------------------------------------------------------------------- */

/* The rate at which x or more of n have the chance `tail`, below one half; 0 < x, so the rate is
 * below x / n and the terms of the tail fall. Newton's method on logarithms: log of a tail against
 * log of the rate is nearly straight and bends down, so that all steps but the first go up to the
 * root. Its slope, d log P(X >= x) / d log p = x pmf(x) / P(X >= x), is x over the tail in units of
 * its first term. */
static double rate_at_tail(size_t x, size_t n, double tail)
{
    double next = (double)x / (double)(n + 1), p;
    int steps = 0;
    do {
        p = next;
        double terms = binomial_terms(x, n, p);
        double off = log(binomial_pmf(x, n, p) * terms) - log(tail);
        next = p * exp(-off * terms / (double)x);
    } while (fabs(next - p) > 1e-14 * p && ++steps < 200);
    return next;
}

struct interval counts_interval_exact(struct counts counts, double level)
{
    size_t x = counts.lost, n = counts.total;
    double tail = 0.5 * (1.0 - level);
    if (!counts_fine(counts) || !level_fine(level))
        return (struct interval){NAN, NAN};
    return (struct interval){x > 0 ? rate_at_tail(x, n, tail) : 0.0,
                             x < n ? 1.0 - rate_at_tail(n - x, n, tail) : 1.0};
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

/* ---- many questions -------------------------------------------------------------------------- */

void counts_adjust(const double *p, size_t count, double *adjusted)
{
    double *asked SCOPED_FREE = memory_array(count, sizeof *asked), smallest = 1.0;
    size_t *order SCOPED_FREE = memory_array(count, sizeof *order), m = 0;
    for (size_t i = 0; i < count; i++) { /* what is not asked comes last */
        asked[i] = isnan(p[i]) ? INFINITY : p[i];
        adjusted[i] = p[i];
        m += isnan(p[i]) ? 0 : 1;
    }
    gsl_sort_index(order, asked, 1, count);
    for (size_t rank = m; rank > 0; rank--)
        adjusted[order[rank - 1]] = smallest =
            fmin(smallest, asked[order[rank - 1]] * (double)m / (double)rank);
}

/* ---- groups ------------------------------------------------------------------------------------- */

static double fisher(struct counts first, struct counts second)
{
    unsigned n1 = (unsigned)first.total, n2 = (unsigned)second.total;
    unsigned lost = (unsigned)(first.lost + second.lost);
    double ours = gsl_ran_hypergeometric_pdf((unsigned)first.lost, n1, n2, lost), p = 0.0;
    for (unsigned x = lost > n2 ? lost - n2 : 0; x <= lost && x <= n1; x++) {
        double chance = gsl_ran_hypergeometric_pdf(x, n1, n2, lost);
        p += chance <= ours * (1.0 + 1e-7) ? chance : 0.0;
    }
    return fmin(1.0, p);
}

/* Pearson's, given the rate of loss of all; groups that are empty tell nothing. */
static double chi_square(const struct counts *groups, size_t count, double rate)
{
    double sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        double expected = rate * (double)groups[i].total, off = (double)groups[i].lost - expected;
        sum += expected > 0.0 ? off * off / expected : 0.0;
    }
    return sum / (1.0 - rate);
}

/* All the vessels are shuffled as far as so many lost ones reach, time and again. */
static struct table_test draw_tables(const struct counts *groups, size_t count, struct counts all,
                                     double ours)
{
    enum { ENOUGH = 100, FEWEST = 19, MOST = 10000, WORK = 4000000 };
    size_t most = WORK / (count + all.lost), hits = 0, tables = 0, vessel = 0;
    most = most < FEWEST ? FEWEST : most > MOST ? MOST : most;
    uint32_t *owner SCOPED_FREE =
        memory_array(all.total, sizeof *owner); /* the group of each vessel */
    struct counts *drawn SCOPED_FREE = memory_array(count, sizeof *drawn);
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2); /* the same numbers each time */
    if (rng == NULL)
        memory_exhausted();
    for (size_t i = 0; i < count; i++) {
        drawn[i] = groups[i];
        for (size_t k = 0; k < groups[i].total; k++)
            owner[vessel++] = (uint32_t)i;
    }
    for (; tables < most && hits < ENOUGH; tables++) {
        for (size_t i = 0; i < count; i++)
            drawn[i].lost = 0;
        for (size_t i = 0; i < all.lost; i++) {
            size_t other = i + gsl_rng_uniform_int(rng, all.total - i);
            uint32_t lost = owner[other];
            owner[other] = owner[i];
            owner[i] = lost;
            drawn[lost].lost++;
        }
        hits +=
            chi_square(drawn, count, (double)all.lost / (double)all.total) >= ours * (1.0 - 1e-9);
    }
    gsl_rng_free(rng);
    double p =
        hits >= ENOUGH ? (double)hits / (double)tables : (double)(hits + 1) / (double)(tables + 1);
    return (struct table_test){TABLE_DRAWN, p, sqrt(p * (1.0 - p) / (double)tables), tables};
}

struct table_test table_test(const struct counts *groups, size_t count)
{
    static const double enough = 5.0;
    struct table_test test = {.p = 1.0};
    struct counts all = {0, 0}, first = {0, 0}, second = {0, 0};
    size_t filled = 0, smallest = COUNTS_MOST;
    for (size_t i = 0; i < count; i++) {
        all.lost += groups[i].lost;
        all.total += groups[i].total;
        if (groups[i].total == 0)
            continue;
        *(filled == 0 ? &first : &second) = groups[i];
        smallest = groups[i].total < smallest ? groups[i].total : smallest;
        filled++;
    }
    if (filled < 2 || all.lost == 0 || all.lost == all.total)
        return test;
    if (filled == 2) {
        test.p = fisher(first, second);
        return test;
    }
    double rate = (double)all.lost / (double)all.total;
    double ours = chi_square(groups, count, rate);
    if ((double)smallest * fmin(rate, 1.0 - rate) < enough)
        return draw_tables(groups, count, all, ours);
    test.method = TABLE_CHI_SQUARE;
    test.p = gsl_cdf_chisq_Q(ours, (double)(filled - 1));
    return test;
}

/* ---- strata ------------------------------------------------------------------------------------- */

/* V is, stratum by stratum, f (N diag(n_i) - n_i n_j) with f = K (N - K) / (N^2 (N - 1)) for K lost
 * of N: the Laplacian of a graph in which groups that share a stratum are joined. d' V^- d falls
 * out of eliminating one group after the other: what is left of the last group of each joined set
 * is 0, and costs a degree of freedom. */
struct strata {
    double *v, *d; /* groups x groups; of each group */
    size_t groups;
};

/* Adds what a stratum tells; false when it tells nothing. */
static bool add_stratum(const struct strata *s, const struct counts *cells)
{
    struct counts all = {0, 0};
    size_t filled = 0;
    for (size_t g = 0; g < s->groups; g++) {
        all.lost += cells[g].lost;
        all.total += cells[g].total;
        filled += cells[g].total > 0;
    }
    if (filled < 2 || all.lost == 0 || all.lost == all.total)
        return false;
    double n = (double)all.total, lost = (double)all.lost;
    double f = lost * (n - lost) / (n * n * (n - 1.0));
    for (size_t g = 0; g < s->groups; g++) {
        double own = (double)cells[g].total, *row = &s->v[g * s->groups];
        if (cells[g].total == 0)
            continue;
        s->d[g] += (double)cells[g].lost - own * lost / n;
        row[g] += f * n * own;
        for (size_t j = 0; j < s->groups; j++)
            row[j] -= f * own * (double)cells[j].total;
    }
    return true;
}

/* Takes group `at` out of those after it. */
static void eliminate(const struct strata *s, size_t at)
{
    const double *row = &s->v[at * s->groups];
    for (size_t i = at + 1; i < s->groups; i++) {
        double share = row[i] / row[at];
        if (share == 0.0)
            continue;
        s->d[i] -= share * s->d[at];
        for (size_t j = i; j < s->groups; j++)
            s->v[i * s->groups + j] -= share * row[j];
    }
}

bool strata_groups(const struct counts *cells, size_t groups, size_t strata,
                   struct strata_test *result)
{
    static const double nothing = 1e-9; /* of what a group had at first: rounding */
    *result = (struct strata_test){.p = 1.0};
    if (groups > STRATA_GROUPS_MOST)
        return false;
    struct arena *arena SCOPED_ARENA = arena_new();
    double *diagonal = arena_array(arena, groups, sizeof *diagonal);
    const struct strata s = {.v = arena_array(arena, groups * groups, sizeof(double)),
                             .d = arena_array(arena, groups, sizeof(double)),
                             .groups = groups};
    for (size_t k = 0; k < strata; k++)
        result->strata += add_stratum(&s, &cells[k * groups]);
    for (size_t g = 0; g < groups; g++)
        diagonal[g] = s.v[g * groups + g];
    for (size_t g = 0; g < groups; g++) {
        double left = s.v[g * groups + g];
        if (!(left > nothing * diagonal[g]))
            continue;
        result->statistic += s.d[g] * s.d[g] / left;
        result->freedom++;
        eliminate(&s, g);
    }
    if (result->freedom > 0)
        result->p = gsl_cdf_chisq_Q(result->statistic, (double)result->freedom);
    return true;
}

/* ---- how long until a loss ----------------------------------------------------------------------- */

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

struct survival_curve survival_curve(struct arena *arena, const struct survival_row *rows,
                                     size_t count)
{
    struct survival_curve curve = {.cases = 0};
    double survival = 1.0;
    for (size_t t = 0; t < count; t++) {
        curve.lost += rows[t].lost;
        curve.cases += rows[t].lost + rows[t].censored;
    }
    for (size_t t = 0, left = curve.cases; t < count; t++) {
        size_t ended = rows[t].lost + rows[t].censored;
        if (ended == 0)
            continue;
        survival *= (double)(left - rows[t].lost) / (double)left;
        *arena_push(arena, curve.steps, curve.count) =
            (struct survival_step){rows[t].time, left, rows[t].lost, survival};
        left -= ended;
    }
    curve.median = median_of(&curve);
    return curve;
}

/* Each time is a stratum, in which those at risk are compared. */
struct strata_test survival_logrank(const struct survival_row *rows, size_t times, size_t groups)
{
    struct arena *arena SCOPED_ARENA = arena_new();
    struct counts *cells = arena_array(arena, times * groups, sizeof *cells);
    struct strata_test test;
    for (size_t g = 0; g < groups; g++)
        for (size_t t = times, left = 0; t-- > 0;) {
            const struct survival_row *row = &rows[g * times + t];
            left += row->lost + row->censored;
            cells[t * groups + g] = (struct counts){row->lost, left};
        }
    (void)strata_groups(cells, groups, times, &test);
    return test;
}

/* ---- charts ------------------------------------------------------------------------------------- */

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

struct monitor_point monitor_point(struct counts batch, double centre, double tail)
{
    double lost = (double)batch.lost, total = (double)batch.total;
    if (batch.total == 0)
        return (struct monitor_point){.share = NAN, .from_below = -1.0, .from_above = 1.0};
    struct monitor_point point = {
        .share = lost / total, /* so many lost or fewer are so many kept or more */
        .from_below = total - (double)first_rare(batch.total, 1.0 - centre, tail),
        .from_above = (double)first_rare(batch.total, centre, tail)};
    point.below = lost <= point.from_below;
    point.above = lost >= point.from_above;
    return point;
}

struct monitor_plan monitor_plan(double usual, double raised, double run)
{
    struct monitor_plan plan = {.usual = usual,
                                .raised = raised,
                                .up = log(raised / usual),
                                .down = log((1.0 - usual) / (1.0 - raised)),
                                .run_usual = run};
    double fall = (1.0 - usual) * plan.down - usual * plan.up;
    for (int i = 0; i < 50; i++) /* e^h = 1 + h + run x fall: it closes in from below */
        plan.threshold = log1p(plan.threshold + run * fall);
    return plan;
}

double monitor_add(const struct monitor_plan *plan, double sum, struct counts vessels)
{
    for (size_t i = 0; i < vessels.total; i++) {
        bool lost = (i + 1) * vessels.lost / vessels.total > i * vessels.lost / vessels.total;
        sum = fmax(0.0, lost ? sum + plan->up : sum - plan->down);
    }
    return sum;
}
