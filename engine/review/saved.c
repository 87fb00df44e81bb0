/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/saved_internal.h"

#include <math.h>

enum { POINTS = 256 };

struct
    rate { /* a posterior, as weights of evenly spaced rates; `below` runs up to each, inclusive */
    double from, step;
    double weight[POINTS], below[POINTS];
};

static void rate_init(struct rate *rate, struct counts counts)
{
    double a = 1.0 + (double)counts.lost, b = 1.0 + (double)(counts.total - counts.lost);
    double mean = a / (a + b), spread = sqrt(mean * (1.0 - mean) / (a + b + 1.0));
    static const double wide =
        9.0; /* beyond so many standard deviations lies nothing that counts */
    double low = fmax(0.0, mean - wide * spread), high = fmin(1.0, mean + wide * spread);
    double most = -INFINITY, sum = 0.0;

    rate->step = (high - low) / POINTS;
    rate->from = low + rate->step / 2.0;
    for (size_t i = 0; i < POINTS; i++) {
        double r = rate->from + (double)i * rate->step;
        rate->weight[i] = (a - 1.0) * log(r) + (b - 1.0) * log1p(-r);
        most = fmax(most, rate->weight[i]);
    }
    for (size_t i = 0; i < POINTS; i++)
        sum += rate->weight[i] = exp(rate->weight[i] - most);
    for (size_t i = 0; i < POINTS; i++) {
        rate->weight[i] /= sum;
        rate->below[i] = rate->weight[i] + (i > 0 ? rate->below[i - 1] : 0.0);
    }
}

/* P(rate <= r), the weights spread evenly round their points. */
static double rate_below(const struct rate *rate, double r)
{
    double at = (r - rate->from) / rate->step + 0.5;
    if (at <= 0.0)
        return 0.0;
    if (at >= POINTS)
        return 1.0;
    size_t i = (size_t)at;
    return rate->below[i] - rate->weight[i] * (1.0 - (at - (double)i));
}

/* The difference that the first exceeds the second by, at a share of all cases. */
static double difference_at(const struct rate *first, const struct rate *second, double share)
{
    double low = -1.0, high = 1.0;
    for (int turn = 0; turn < 40; turn++) {
        double middle = (low + high) / 2.0, below = 0.0;
        for (size_t i = 0; i < POINTS; i++)
            below += second->weight[i] *
                     rate_below(first, second->from + (double)i * second->step + middle);
        if (below < share)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2.0;
}

static double rate_mean(const struct rate *rate)
{
    double mean = 0.0;
    for (size_t i = 0; i < POINTS; i++)
        mean += rate->weight[i] * (rate->from + (double)i * rate->step);
    return mean;
}

void saved_estimate(const struct review_suspect *suspect, struct review_fault *fault)
{
    struct counts grown = {suspect->inside.lost - suspect->controls.lost,
                           suspect->inside.total - suspect->controls.total};
    double n = (double)grown.total, most = (double)grown.lost;
    struct rate inside, outside;

    rate_init(&inside, suspect->inside);
    rate_init(&outside, suspect->outside);
    double mean = rate_mean(&inside) - rate_mean(&outside);
    fault->saved_low = fmin(most, fmax(0.0, n * difference_at(&inside, &outside, 0.05)));
    fault->saved = fmin(most, fmax(0.0, n * mean));
    fault->saved_high = fmin(most, fmax(0.0, n * difference_at(&inside, &outside, 0.95)));
}
