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

/* The place of the peak at log odds ratio theta: where the rising steps end. */
static size_t peak(const struct conditional *c, double theta)
{
    size_t low = 0, high = c->count - 1;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (c->log_chance[middle + 1] - c->log_chance[middle] + theta > 0.0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Sums over the distribution at log odds ratio theta, all in units of the peak. */
struct sums {
    double all, below, above; /* `below` and `above` both include the place itself */
    double first;             /* sum of (place - peak): for the mean */
    size_t peak;
};

static void add_place(struct sums *sums, size_t i, size_t place, double chance)
{
    sums->all += chance;
    if (i <= place)
        sums->below += chance;
    if (i >= place)
        sums->above += chance;
    sums->first += chance * ((double)i - (double)sums->peak);
}

static struct sums sum_at(const struct conditional *c, size_t place, double theta)
{
    struct sums sums = {.peak = peak(c, theta)};
    const double *log_chance = c->log_chance;
    double top = log_chance[sums.peak];

    for (size_t i = sums.peak; i < c->count; i++) {
        double deep = log_chance[i] - top + theta * ((double)i - (double)sums.peak);
        if (deep < -DEEP)
            break;
        add_place(&sums, i, place, exp(deep));
    }
    for (size_t i = sums.peak; i-- > 0;) {
        double deep = log_chance[i] - top - theta * ((double)sums.peak - (double)i);
        if (deep < -DEEP)
            break;
        add_place(&sums, i, place, exp(deep));
    }
    return sums;
}

/* The tails at odds ratio 1 may be tiny: they are summed from the place outwards, in its units. */
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

/* What is solved for in log odds ratio: rising functions whose root is wanted. */
enum wanted { MEAN, UPPER_TAIL, LOWER_TAIL };

static double excess(const struct conditional *c, size_t place, double theta, enum wanted wanted,
                     double target)
{
    struct sums sums = sum_at(c, place, theta);

    if (wanted == MEAN)
        return (double)sums.peak + sums.first / sums.all - (double)place;
    if (wanted == UPPER_TAIL)
        return sums.above / sums.all - target;
    return target - sums.below / sums.all;
}

/* Bisection with a widening start; each halving is cheap and none can fail. */
static double solve(const struct conditional *c, size_t place, enum wanted wanted, double target)
{
    double low = -1.0, high = 1.0;

    while (low > -1e3 && excess(c, place, low, wanted, target) > 0.0)
        low *= 2.0;
    while (high < 1e3 && excess(c, place, high, wanted, target) < 0.0)
        high *= 2.0;
    for (int step = 0; step < 60 && high - low > 1e-13; step++) {
        double middle = 0.5 * (low + high);
        if (excess(c, place, middle, wanted, target) < 0.0)
            low = middle;
        else
            high = middle;
    }
    return exp(0.5 * (low + high));
}

double conditional_two_sided(const struct conditional *c, size_t seen)
{
    size_t place = seen - c->least;
    struct sums null = sum_at(c, place, 0.0);

    return no_likelier(c, place, null.peak, null.all);
}

void conditional_test(const struct conditional *c, size_t seen, double level,
                      struct table_fisher *result)
{
    size_t place = seen - c->least, last = c->count - 1;
    double tail_chance = 0.5 * (1.0 - level);
    struct sums null = sum_at(c, place, 0.0);
    double unit = exp(c->log_chance[place] - c->log_chance[null.peak]) / null.all;

    *result = (struct table_fisher){1.0, 1.0, 1.0, NAN, {0.0, INFINITY}};
    if (last == 0)
        return;
    /* The larger tail from the whole, the smaller one by itself: a difference would lose it. */
    bool over = place > null.peak;
    result->less = fmin(1.0, over ? null.below / null.all : unit * tail(c, place, false));
    result->greater = fmin(1.0, over ? unit * tail(c, place, true) : null.above / null.all);
    result->two_sided = no_likelier(c, place, null.peak, null.all);
    result->odds_ratio = place == 0 ? 0.0 : place == last ? INFINITY : solve(c, place, MEAN, 0.0);
    if (place > 0)
        result->odds.low = solve(c, place, UPPER_TAIL, tail_chance);
    if (place < last)
        result->odds.high = solve(c, place, LOWER_TAIL, tail_chance);
}
