/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/heat.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "process/heat_internal.h"

/*
 * Duhamel's integral for straight lines. With S(t) the integral of theta, the
 * centre lags its surroundings by
 *   sum over jumps   J theta(t - s)
 * + sum over lines   slope [S(t - start) - S(t - end)],
 * so a whole cook of a few lines costs a few look-ups a step. S is tabulated
 * once, by Simpson's rule, and read between its entries as the cubic that has
 * theta for its slope at both ends.
 */
struct integral {
    double step;
    size_t count;  /* entries */
    double *theta; /* theta at each entry */
    double *sum;   /* integral up to it */
};

static void integral_release(struct integral *table)
{
    free(table->theta);
    free(table->sum);
}

static enum process_fault integral_fill(struct integral *table, const struct heat_model *model,
                                        double step, size_t count)
{
    struct heat_walk walk;

    if (count > SIZE_MAX / sizeof(double) / 2)
        return FAULT_MEMORY;
    *table = (struct integral){.step = step, .count = count};
    table->theta = malloc(count * sizeof *table->theta);
    table->sum = malloc(count * sizeof *table->sum);
    if (table->theta == NULL || table->sum == NULL) {
        integral_release(table);
        return FAULT_MEMORY;
    }
    heat_walk_start(&walk, model, 0.5 * step);
    table->theta[0] = 1.0;
    table->sum[0] = 0.0;
    for (size_t i = 1; i < count; i++) {
        double middle = heat_walk_on(&walk);
        table->theta[i] = heat_walk_on(&walk);
        table->sum[i] =
            table->sum[i - 1] + step / 6.0 * (table->theta[i - 1] + 4.0 * middle + table->theta[i]);
    }
    return PROCESS_OK;
}

static double integral_at(const struct integral *table, double seconds)
{
    if (seconds <= 0.0)
        return 0.0;
    double place = seconds / table->step;
    size_t i = (size_t)place;
    if (i + 1 >= table->count)
        return table->sum[table->count - 1];
    double x = place - (double)i;
    double rise = table->sum[i + 1] - table->sum[i];
    double left = table->step * table->theta[i] - rise;
    double right = rise - table->step * table->theta[i + 1];
    return table->sum[i] + x * rise + x * (1.0 - x) * (left * (1.0 - x) + right * x);
}

static enum process_fault history_check(const struct heat_point *history, size_t points)
{
    if (points == 0)
        return FAULT_EMPTY;
    for (size_t i = 0; i < points; i++) {
        if (!isfinite(history[i].celsius) || !isfinite(history[i].seconds))
            return FAULT_PROBE_CELSIUS;
        if (i > 0 && history[i].seconds < history[i - 1].seconds)
            return FAULT_TIME_ORDER;
    }
    return PROCESS_OK;
}

/* The temperature around the vessel at `seconds`, and by how much the centre is behind it. */
static double surroundings(const struct heat_model *model, const struct integral *table,
                           double start, const struct heat_point *history, size_t points,
                           double seconds, double *behind)
{
    double outside = history[0].celsius;

    *behind = outside != start ? (outside - start) * heat_theta(model, seconds) : 0.0;
    for (size_t i = 1; i < points && history[i - 1].seconds < seconds; i++) {
        const struct heat_point *from = &history[i - 1], *to = &history[i];
        double length = to->seconds - from->seconds;
        if (length == 0.0) {
            *behind += (to->celsius - from->celsius) * heat_theta(model, seconds - to->seconds);
            outside = to->celsius;
            continue;
        }
        double slope = (to->celsius - from->celsius) / length;
        double end = fmin(seconds, to->seconds);
        outside = from->celsius + slope * (end - from->seconds);
        if (slope != 0.0)
            *behind += slope * (integral_at(table, seconds - from->seconds) -
                                integral_at(table, seconds - end));
    }
    return outside;
}

enum process_fault heat_curve(const struct heat_model *model, double start_celsius,
                              const struct heat_point *history, size_t points, double step,
                              bool cap, double *core, size_t count)
{
    struct integral table;
    enum process_fault fault = history_check(history, points);

    if (fault != PROCESS_OK)
        return fault;
    if (count == 0 || !(step > 0.0))
        return FAULT_EMPTY;
    if ((fault = integral_fill(&table, model, step, count + 1)) != PROCESS_OK)
        return fault;
    for (size_t i = 0; i < count; i++) {
        double behind;
        double outside =
            surroundings(model, &table, start_celsius, history, points, (double)i * step, &behind);
        core[i] = outside - behind;
        if (cap && core[i] > outside)
            core[i] = outside;
    }
    integral_release(&table);
    return PROCESS_OK;
}
