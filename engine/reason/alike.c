/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reason/alike.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdbool.h>

static bool tally_holds(const struct tally *tally)
{
    return tally->lost >= 0.0 && tally->lost <= tally->total && isfinite(tally->total);
}

/* ln B(a + lost, b + kept) - ln B(a, b); the variant that returns its error never ends a program. */
static double log_chance(const struct tally *tally, double a, double b)
{
    gsl_sf_result seen, unseen;
    if (gsl_sf_lnbeta_e(a + tally->lost, b + (tally->total - tally->lost), &seen) != GSL_SUCCESS ||
        gsl_sf_lnbeta_e(a, b, &unseen) != GSL_SUCCESS)
        return NAN;
    return seen.val - unseen.val;
}

double alike_log_bayes_factor(const struct tally *groups, size_t count, double a, double b)
{
    struct tally all = {0.0, 0.0};
    double apart = 0.0;
    size_t told = 0;

    if (!(a > 0.0) || !(b > 0.0) || !isfinite(a) || !isfinite(b))
        return NAN;
    for (size_t g = 0; g < count; g++) {
        if (!tally_holds(&groups[g]))
            return NAN;
        if (groups[g].total == 0.0)
            continue;
        apart += log_chance(&groups[g], a, b);
        all.lost += groups[g].lost;
        all.total += groups[g].total;
        told++;
    }
    return told < 2 ? 0.0 : apart - log_chance(&all, a, b);
}
