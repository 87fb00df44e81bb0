/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/survival.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "review/check_internal.h"
#include "review/survival_internal.h"

int survival_by_time(const void *left, const void *right)
{
    const struct survival_case *a = left, *b = right;
    return (a->time > b->time) - (a->time < b->time);
}

bool survival_fine(const struct survival_case *cases, size_t count)
{
    if (count > COUNTS_MOST)
        return false;
    for (size_t i = 0; i < count; i++)
        if (!isfinite(cases[i].time) || cases[i].time < 0.0)
            return false;
    return true;
}

/* ---- the curve ------------------------------------------------------------------------------- */

/* `sum` is Greenwood's sum d / (n (n - d)): the variance of log S. */
static struct interval limits_of(double survival, double sum, double z, enum survival_scale scale)
{
    double error = z * sqrt(sum);

    if (survival <= 0.0)
        return (struct interval){NAN, NAN};
    if (survival >= 1.0)
        return (struct interval){1.0, 1.0};
    if (scale == SURVIVAL_LOG) {
        double high = survival * exp(error);
        return (struct interval){survival * exp(-error), high < 1.0 ? high : 1.0};
    }
    double ratio = exp(error / -log(survival));
    return (struct interval){pow(survival, ratio), pow(survival, 1.0 / ratio)};
}

static size_t distinct_times(const struct survival_case *sorted, size_t count)
{
    size_t distinct = 0;
    for (size_t i = 0; i < count; i++)
        distinct += i == 0 || sorted[i].time != sorted[i - 1].time;
    return distinct;
}

static void fill_steps(const struct survival_case *sorted, size_t count, double z,
                       enum survival_scale scale, struct survival_curve *curve)
{
    double survival = 1.0, sum = 0.0;

    for (size_t i = 0; i < count;) {
        struct survival_step *step = &curve->steps[curve->count++];
        *step = (struct survival_step){.time = sorted[i].time, .at_risk = count - i};
        for (; i < count && sorted[i].time == step->time; i++) {
            step->lost += sorted[i].lost;
            step->censored += !sorted[i].lost;
        }
        double n = (double)step->at_risk, d = (double)step->lost;
        survival *= (n - d) / n;
        sum += step->lost < step->at_risk ? d / (n * (n - d)) : INFINITY;
        step->survival = survival;
        step->standard_error = survival > 0.0 ? survival * sqrt(sum) : NAN;
        step->limits = limits_of(survival, sum, z, scale);
        curve->lost += step->lost;
    }
}

/* ---- the median ------------------------------------------------------------------------------ */

enum line { SURVIVAL, LOW, HIGH };

static double line_at(const struct survival_step *step, enum line line)
{
    if (line == SURVIVAL)
        return step->survival;
    if (isnan(
            step->limits.low)) /* S = 0 has no limits: low is no higher, of high nothing is known */
        return line == LOW ? 0.0 : 1.0;
    return line == LOW ? step->limits.low : step->limits.high;
}

/* First time at which a line is 1/2 or less, the middle of the stretch where it is 1/2 exactly:
 * products like 3/4 x 2/3 miss it by rounding. */
static double half_time(const struct survival_curve *curve, enum line line)
{
    const double rounding = 1e-12;

    for (size_t i = 0; i < curve->count; i++) {
        double value = line_at(&curve->steps[i], line);
        if (value > 0.5 + rounding)
            continue;
        if (value < 0.5 - rounding)
            return curve->steps[i].time;
        for (size_t k = i + 1; k < curve->count; k++)
            if (line_at(&curve->steps[k], line) < 0.5 - rounding)
                return 0.5 * (curve->steps[i].time + curve->steps[k].time);
        return curve->steps[i].time;
    }
    return INFINITY;
}

enum status survival_curve(struct arena *arena, const struct survival_case *cases, size_t count,
                           double level, enum survival_scale scale, struct survival_curve *curve)
{
    if (!level_fine(level) || !survival_fine(cases, count))
        return STATUS_USAGE;
    struct survival_case *sorted = calloc(count ? count : 1, sizeof *sorted);
    if (!sorted)
        return STATUS_MEMORY;
    for (size_t i = 0; i < count; i++)
        sorted[i] = cases[i];
    qsort(sorted, count, sizeof *sorted, survival_by_time);

    *curve = (struct survival_curve){.cases = count};
    curve->steps = arena_array(arena, distinct_times(sorted, count), sizeof *curve->steps);
    if (!curve->steps) {
        free(sorted);
        return STATUS_MEMORY;
    }
    fill_steps(sorted, count, gsl_cdf_ugaussian_Qinv(0.5 * (1.0 - level)), scale, curve);
    free(sorted);
    curve->median = half_time(curve, SURVIVAL);
    curve->median_limits = (struct interval){half_time(curve, LOW), half_time(curve, HIGH)};
    return STATUS_OK;
}

double survival_at(const struct survival_curve *curve, double time)
{
    size_t low = 0, high = curve->count; /* the steps up to `time` are those before `low` */

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (curve->steps[middle].time <= time)
            low = middle + 1;
        else
            high = middle;
    }
    return low == 0 ? 1.0 : curve->steps[low - 1].survival;
}
