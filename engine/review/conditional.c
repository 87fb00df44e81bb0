/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/conditional_internal.h"

#include <math.h>
#include <stdbool.h>

/* exp(-45) = 3e-20 of the peak: what lies further down changes no sum in its last digit. */
static const double DEEP = 45.0;

/* What a table may be likelier than ours by and still count as no likelier. */
static const double TIE = 1e-7;

void conditional_range(size_t m, size_t n, size_t t, size_t *least, size_t *count)
{
    size_t most = t < m ? t : m;

    *least = t > n ? t - n : 0;
    *count = most - *least + 1;
}

void conditional_fill(size_t m, size_t n, size_t t, double *log_chance)
{
    size_t least, count;
    conditional_range(m, n, t, &least, &count);

    log_chance[0] = 0.0;
    for (size_t i = 1; i < count; i++) {
        double k = (double)(least + i); /* from k - 1 to k */
        double up = ((double)m - k + 1.0) * ((double)t - k + 1.0);
        double down = k * ((double)n - (double)t + k);
        log_chance[i] = log_chance[i - 1] + log(up / down);
    }
}

/* Where the rising steps end. */
static size_t peak(const struct conditional *c)
{
    size_t low = 0, high = c->count - 1;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (c->log_chance[middle + 1] > c->log_chance[middle])
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* The whole, in units of the peak. */
static double sum_all(const struct conditional *c, size_t top)
{
    double sum = 0.0;

    for (size_t i = top; i < c->count && c->log_chance[i] - c->log_chance[top] >= -DEEP; i++)
        sum += exp(c->log_chance[i] - c->log_chance[top]);
    for (size_t i = top; i-- > 0 && c->log_chance[i] - c->log_chance[top] >= -DEEP;)
        sum += exp(c->log_chance[i] - c->log_chance[top]);
    return sum;
}

/* A tail may be tiny: it is summed from the place outwards, in its units. */
static double tail(const struct conditional *c, size_t place, bool up)
{
    double sum = 0.0;

    for (size_t i = place; i < c->count; i = up ? i + 1 : i - 1) { /* below 0 wraps, and ends it */
        double chance = exp(c->log_chance[i] - c->log_chance[place]);
        sum += chance;
        if (chance < 1e-18 * sum)
            break;
    }
    return sum;
}

/* Everything no likelier than the place: two tails that begin where the steps from the peak have
 * come down to it. `all` in units of `top`. */
static double no_likelier(const struct conditional *c, size_t place, size_t top, double all)
{
    const double *log_chance = c->log_chance;
    double bound = log_chance[place] + log1p(TIE);
    double sum = 0.0;

    if (log_chance[top] <= bound)
        return 1.0;
    size_t low = 0, high = top; /* the last on the left that counts is before `low` */
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (log_chance[middle] <= bound)
            low = middle + 1;
        else
            high = middle;
    }
    if (low > 0)
        sum += tail(c, low - 1, false) * exp(log_chance[low - 1] - log_chance[top]);
    low = top;
    high = c->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (log_chance[middle] <= bound)
            high = middle;
        else
            low = middle + 1;
    }
    if (low < c->count)
        sum += tail(c, low, true) * exp(log_chance[low] - log_chance[top]);
    return fmin(1.0, sum / all);
}

double conditional_two_sided(const struct conditional *c, size_t seen)
{
    size_t top = peak(c);

    return no_likelier(c, seen - c->least, top, sum_all(c, top));
}
