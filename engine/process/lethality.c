/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/lethality.h"

#include <gsl/gsl_math.h>
#include <math.h>
#include <stdbool.h>

double lethality_rate(double celsius, double reference_celsius, double z)
{
    return exp(M_LN10 * (celsius - reference_celsius) / z);
}

/* Integral of the rate over a unit of time in which the temperature goes in a straight line, so that
 * the rate goes from `from` to `to` = from e^ratio. */
static double mean_rate(double from, double to, double ratio)
{
    /* The logarithmic mean; its series where the difference drowns in rounding. */
    if (fabs(ratio) < 1e-3)
        return 0.5 * (from + to) * (1.0 - ratio * ratio / 12.0);
    return (to - from) / ratio;
}

void lethality_init(struct lethality *sum, double reference_celsius, double z, double longest_gap)
{
    *sum = (struct lethality){
        .reference_celsius = reference_celsius,
        .z = z,
        .longest_gap = longest_gap,
        .lowest = INFINITY,
        .highest = -INFINITY,
    };
}

enum process_error lethality_add(struct lethality *sum, double minutes, double celsius)
{
    enum process_error error = limit_check(PROCESS_PROBE_CELSIUS, celsius);
    if (error != PROCESS_OK)
        return error;
    if (!isfinite(minutes) || (sum->readings > 0 && minutes <= sum->last_time))
        return PROCESS_TIME_ORDER;
    double rate = lethality_rate(celsius, sum->reference_celsius, sum->z);
    if (sum->readings == 0) {
        sum->first_time = minutes;
    } else {
        double length = minutes - sum->last_time;
        if (length > sum->longest_gap) {
            sum->gaps++;
            sum->gap_minutes += length;
            sum->minutes += length * fmin(rate, sum->last_rate);
        } else {
            double ratio = M_LN10 * (celsius - sum->last_celsius) / sum->z;
            sum->minutes += length * mean_rate(sum->last_rate, rate, ratio);
        }
    }
    sum->last_time = minutes;
    sum->last_celsius = celsius;
    sum->last_rate = rate;
    sum->lowest = fmin(sum->lowest, celsius);
    sum->highest = fmax(sum->highest, celsius);
    sum->readings++;
    return PROCESS_OK;
}

enum process_error lethality_finish(const struct lethality *sum, double *minutes)
{
    if (sum->readings < 2)
        return PROCESS_EMPTY;
    *minutes = (double)sum->minutes;
    return PROCESS_OK;
}

void lethality_curve(const double *celsius, size_t count, double step_minutes,
                     double reference_celsius, double z, double *total)
{
    double before = 0.0, here, next, after; /* rates at i-2, i-1, i, i+1 */
    if (count == 0)
        return;
    total[0] = 0.0;
    here = lethality_rate(celsius[0], reference_celsius, z);
    next = count > 1 ? lethality_rate(celsius[1], reference_celsius, z) : 0.0;
    for (size_t i = 1; i < count; i++) {
        double area;
        bool last = i + 1 == count;
        after = last ? 0.0 : lethality_rate(celsius[i + 1], reference_celsius, z);
        if (count < 3)
            area = mean_rate(here, next, log(next / here));
        else if (i == 1)
            area = (5.0 * here + 8.0 * next - after) / 12.0;
        else if (last)
            area = (5.0 * next + 8.0 * here - before) / 12.0;
        else
            area = (13.0 * (here + next) - before - after) / 24.0;
        total[i] = total[i - 1] + step_minutes * area;
        before = here;
        here = next;
        next = after;
    }
}

double survivors(double load, double log_reduction)
{
    return load * exp(-M_LN10 * log_reduction);
}

double survivors_chance(double expected)
{
    return -expm1(-expected);
}

enum process_error survivors_target(double load, double chance, double *log_reduction)
{
    enum process_error error = limit_check(PROCESS_TARGET_CHANCE, chance);
    if (error != PROCESS_OK)
        return error;
    double allowed = -log1p(-chance);
    *log_reduction = load > allowed ? log10(load / allowed) : 0.0;
    return PROCESS_OK;
}
