/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reason/bayes_factor.h"

#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdbool.h>

double beta_ln_ratio(double a, double b, double lost, double kept)
{
    gsl_sf_result seen, unseen;
    /* The variant that returns its error never ends a program. */
    if (gsl_sf_lnbeta_e(a + lost, b + kept, &seen) != GSL_SUCCESS ||
        gsl_sf_lnbeta_e(a, b, &unseen) != GSL_SUCCESS)
        return NAN;
    return seen.val - unseen.val;
}

double bayes_factor_ln(const struct tally *groups, size_t count, double a, double b)
{
    struct tally all = {0.0, 0.0};
    double apart = 0.0;
    size_t told = 0;
    if (!(a > 0.0) || !(b > 0.0) || !isfinite(a) || !isfinite(b))
        return NAN;
    for (size_t g = 0; g < count; g++) {
        double lost = groups[g].lost, total = groups[g].total;
        if (!(lost >= 0.0 && lost <= total && isfinite(total)))
            return NAN;
        if (total == 0.0)
            continue;
        apart += beta_ln_ratio(a, b, lost, total - lost);
        all.lost += lost;
        all.total += total;
        told++;
    }
    return told < 2 ? 0.0 : apart - beta_ln_ratio(a, b, all.lost, all.total - all.lost);
}

/* Gauss-Jacobi by the eigenvalues of the recurrence's tridiagonal matrix (Golub &
 * Welsch 1969, Mathematics of Computation 23, 221-230), found by implicit QL, of
 * the eigenvectors only the first components. GSL's rule of the same kind scales by gamma
 * functions of a and b, which overflow for counts of some hundred vessels. */

enum { MOST_TURNS = 60 };

/* One sweep of rotations from `high` up to `low`, chasing the bulge; `first` turns along. */
static void sweep(size_t low, size_t high, double *d, double *e, double *first)
{
    double g = (d[low + 1] - d[low]) / (2.0 * e[low]);
    double r = sqrt(g * g + 1.0), s = 1.0, c = 1.0, p = 0.0;
    g = d[high] - d[low] + e[low] / (g + copysign(r, g));
    for (size_t i = high; i-- > low;) {
        double f = s * e[i], h = c * e[i];
        r = sqrt(f * f + g * g); /* of numbers below one: nothing overflows */
        e[i + 1] = r;
        if (r == 0.0) { /* it fell apart in two */
            d[i + 1] -= p;
            e[high] = 0.0;
            return;
        }
        s = f / r;
        c = g / r;
        g = d[i + 1] - p;
        r = (d[i] - g) * s + 2.0 * c * h;
        p = s * r;
        d[i + 1] = g + p;
        g = c * r - h;
        double turned = first[i + 1];
        first[i + 1] = s * first[i] + c * turned;
        first[i] = c * first[i] - s * turned;
    }
    d[low] -= p;
    e[low] = g;
    e[high] = 0.0;
}

bool beta_rule(double a, double b, size_t count, double *nodes, double *weights)
{
    double beside[BETA_RULE_MOST];
    /* The matrix of the orthonormal polynomials of x^(a-1) (1-x)^(b-1) on [0, 1]:
     * those of Jacobi's (1-t)^(b-1) (1+t)^(a-1) with x = (1 + t)/2. */
    double s = a + b - 2.0, difference = a - b; /* A + B and B - A of Jacobi's exponents A, B */
    for (size_t k = 0; k < count; k++) {
        double n = (double)k, m = 2.0 * n + s;
        double centre = k == 0 ? difference / (s + 2.0) : difference * s / (m * (m + 2.0));
        nodes[k] = 0.5 * (1.0 + centre);
        n += 1.0; /* between this row and the next */
        m += 2.0;
        double squared = k == 0 ? 4.0 * a * b / (m * m * (m + 1.0))
                                : 4.0 * n * (n + a - 1.0) * (n + b - 1.0) * (n + s) /
                                      (m * m * (m + 1.0) * (m - 1.0));
        beside[k] = 0.5 * sqrt(squared);
    }
    beside[count - 1] = 0.0;
    for (size_t i = 0; i < count; i++)
        weights[i] = i == 0 ? 1.0 : 0.0;
    for (size_t low = 0; low < count; low++) {
        for (int turn = 0;; turn++) {
            size_t high = low;
            while (high + 1 < count &&
                   fabs(beside[high]) > DBL_EPSILON * (fabs(nodes[high]) + fabs(nodes[high + 1])))
                high++;
            if (high == low)
                break;
            if (turn == MOST_TURNS)
                return false;
            sweep(low, high, nodes, beside, weights);
        }
    }
    for (size_t i = 0; i < count; i++)
        weights[i] *= weights[i];
    for (size_t i = 1; i < count; i++) { /* rising */
        double node = nodes[i], weight = weights[i];
        size_t k = i;
        for (; k > 0 && nodes[k - 1] > node; k--) {
            nodes[k] = nodes[k - 1];
            weights[k] = weights[k - 1];
        }
        nodes[k] = node;
        weights[k] = weight;
    }
    return true;
}
