/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/draw_internal.h"

#include <math.h>
#include <stdlib.h>

uint32_t draw_below(gsl_rng *rng, uint32_t count)
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

bool alias_binomial(struct alias *alias, size_t n, double p, const double *log_factorial)
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

size_t alias_draw(const struct alias *alias, gsl_rng *rng)
{
    uint32_t column = draw_below(rng, (uint32_t)alias->count);
    double height = ((double)gsl_rng_get(rng) + 0.5) / 4294967296.0;

    return height < alias->share[column] ? column : alias->other[column];
}

void alias_release(struct alias *alias)
{
    free(alias->share);
    free(alias->other);
    *alias = (struct alias){0, NULL, NULL};
}
