/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * M(A) of siblings.h: the chance of all counts when the causes A act.
 *
 * Vessels that were kept need no quadrature over the background q, since each has
 * the factor 1 - q; nor do lost ones that nothing in A can reach, each a factor
 * q. Both go into the Beta that q is integrated over, exactly, so that what is
 * left to the rule is the product over the lost vessels within reach:
 *
 *   M = B(a + k0, b + K) / B(a, b)
 *       E_lambda [ prod (1 - lambda)^kept  E_q prod (1 - (1 - q)(1 - lambda))^lost ].
 *
 * Binomial coefficients are left out: they are the same for every A.
 */
#include "reason/siblings_internal.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>

#include "reason/beta_rule_internal.h"

enum { Q_NODES = 20, LAMBDA_NODES = 8 };

/* What a cell is to a cause: out of its reach; within; and at the same position. */
enum way { WAY_OUT, WAY_WITHIN, WAY_NEAR, WAY_COUNT };

/* ln(1 - lambda) at the points of its rule; one point, 0 everywhere, for a cause that is not there. */
struct lambda {
    double ln_spared[WAY_COUNT][LAMBDA_NODES];
    double weight[LAMBDA_NODES];
    size_t count;
};

/* The counts of one layer by what their cell is to either cause. */
struct sums {
    double lost[WAY_COUNT][WAY_COUNT], kept[WAY_COUNT][WAY_COUNT];
    double kept_in_all;
};

static struct tally tally_of(const struct sibling_cell *cell, enum layer layer)
{
    double sound = cell->clean + cell->stuck;
    if (cell->control != (layer == LAYER_CONTROLS))
        return (struct tally){0.0, 0.0};
    if (layer == LAYER_STUCK)
        return (struct tally){cell->stuck, sound};
    return (struct tally){cell->contaminated, sound + cell->contaminated};
}

static enum way way_to(const struct sibling_cell *cell, const struct suspected *cause,
                       enum layer layer)
{
    if (!cause || cause->loses[layer].share == 0.0 || !(cell->shares >> cause->kin & 1))
        return WAY_OUT;
    return cell->shares >> KIN_POSITION & 1 ? WAY_NEAR : WAY_WITHIN;
}

static void sums_add(const struct chance_of_counts *of, const struct suspected *one,
                     const struct suspected *other, enum layer layer, struct sums *sums)
{
    *sums = (struct sums){.kept_in_all = 0.0};
    for (size_t i = 0; i < of->count; i++) {
        const struct sibling_cell *cell = &of->cells[i];
        struct tally tally = tally_of(cell, layer);
        enum way x = way_to(cell, one, layer), y = way_to(cell, other, layer);
        sums->lost[x][y] += tally.lost;
        sums->kept[x][y] += tally.total - tally.lost;
        sums->kept_in_all += tally.total - tally.lost;
    }
}

static bool lambda_find(const struct chance_of_counts *of, const struct suspected *cause,
                        enum layer layer, struct lambda *lambda)
{
    const struct loses *loses = cause ? &cause->loses[layer] : NULL;
    double nodes[LAMBDA_NODES];

    *lambda = (struct lambda){.weight = {1.0}, .count = 1};
    if (!loses || loses->share == 0.0)
        return true;
    lambda->count = LAMBDA_NODES;
    if (!beta_rule(of->reach_seen * loses->share, of->reach_seen * (1.0 - loses->share),
                   LAMBDA_NODES, nodes, lambda->weight))
        return false;
    for (size_t j = 0; j < LAMBDA_NODES; j++) {
        double spared = log1p(-fmin(nodes[j], 1.0 - 1e-12)); /* a node may round up to 1 */
        lambda->ln_spared[WAY_WITHIN][j] = spared;
        lambda->ln_spared[WAY_NEAR][j] = loses->near_power * spared;
    }
    return true;
}

static double log_sum(const double *ln, size_t count)
{
    double high = ln[0];
    for (size_t i = 1; i < count; i++)
        high = fmax(high, ln[i]);
    double sum = exp(ln[0] - high);
    for (size_t i = 1; i < count; i++)
        sum += exp(ln[i] - high);
    return high + log(sum);
}

/* ln of [...] above, for one point of either lambda. */
static double at_point(const struct sums *sums, const struct lambda *one, size_t j,
                       const struct lambda *other, size_t l, const double *nodes,
                       const double *weights)
{
    double ln[Q_NODES], kept = 0.0;

    for (size_t i = 0; i < Q_NODES; i++)
        ln[i] = log(weights[i]);
    for (size_t x = 0; x < WAY_COUNT; x++) {
        for (size_t y = 0; y < WAY_COUNT; y++) {
            if (x == WAY_OUT && y == WAY_OUT)
                continue;
            double ln_spared = one->ln_spared[x][j] + other->ln_spared[y][l];
            double spared = exp(ln_spared), lost = sums->lost[x][y];
            kept += sums->kept[x][y] * ln_spared;
            for (size_t i = 0; lost > 0.0 && i < Q_NODES; i++)
                ln[i] += lost * log1p(-(1.0 - nodes[i]) * spared);
        }
    }
    return kept + log_sum(ln, Q_NODES);
}

/* ln B(a + k0, b + K) - ln B(a, b). */
static double background(const struct chance_of_counts *of, double lost, double kept)
{
    gsl_sf_result seen, unseen;
    if (gsl_sf_lnbeta_e(of->a + lost, of->b + kept, &seen) != GSL_SUCCESS ||
        gsl_sf_lnbeta_e(of->a, of->b, &unseen) != GSL_SUCCESS)
        return NAN;
    return seen.val - unseen.val;
}

static double layer_chance(const struct chance_of_counts *of, const struct suspected *one,
                           const struct suspected *other, enum layer layer)
{
    double ln[LAMBDA_NODES * LAMBDA_NODES] = {0.0}, nodes[Q_NODES], weights[Q_NODES];
    struct lambda lambda_one, lambda_other;
    struct sums sums;

    sums_add(of, one, other, layer, &sums);
    double out = sums.lost[WAY_OUT][WAY_OUT];
    double ln_background = background(of, out, sums.kept_in_all);
    if (!lambda_find(of, one, layer, &lambda_one) || !lambda_find(of, other, layer, &lambda_other))
        return NAN;
    if (lambda_one.count * lambda_other.count == 1)
        return ln_background;
    if (!beta_rule(of->a + out, of->b + sums.kept_in_all, Q_NODES, nodes, weights))
        return NAN;
    for (size_t j = 0; j < lambda_one.count; j++)
        for (size_t l = 0; l < lambda_other.count; l++)
            ln[j * lambda_other.count + l] =
                log(lambda_one.weight[j]) + log(lambda_other.weight[l]) +
                at_point(&sums, &lambda_one, j, &lambda_other, l, nodes, weights);
    return ln_background + log_sum(ln, lambda_one.count * lambda_other.count);
}

double siblings_chance(const struct chance_of_counts *of, const struct suspected *one,
                       const struct suspected *other)
{
    double ln = 0.0;
    for (int layer = 0; layer < LAYER_COUNT; layer++)
        ln += layer_chance(of, one, other, (enum layer)layer);
    return ln;
}
