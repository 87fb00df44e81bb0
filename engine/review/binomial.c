/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/binomial_internal.h"

#include <gsl/gsl_randist.h>

/* A term this much smaller than the sum no longer changes it, nor do those after it together. */
static const double NEGLIGIBLE = 1e-18;

double binomial_pmf(size_t x, size_t n, double p)
{
    return gsl_ran_binomial_pdf((unsigned)x, p, (unsigned)n);
}

double binomial_terms(size_t x, size_t n, double p)
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

double binomial_above(size_t x, size_t n, double p)
{
    if (x == 0)
        return 1.0;
    if ((double)x > p * (double)n)
        return upper(x, n, p);
    return 1.0 - upper(n - x + 1, n, 1.0 - p); /* x - 1 lost or fewer is n - x + 1 kept or more */
}
