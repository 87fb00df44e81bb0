/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/colony.h"

#include <gsl/gsl_math.h>
#include <math.h>

enum process_fault cardinals_check(const struct cardinals *cardinals)
{
    enum process_fault fault;
    if ((fault = limit_check(FAULT_GROWTH_CELSIUS, cardinals->t_min)) != PROCESS_OK ||
        (fault = limit_check(FAULT_GROWTH_CELSIUS, cardinals->t_opt)) != PROCESS_OK ||
        (fault = limit_check(FAULT_GROWTH_CELSIUS, cardinals->t_max)) != PROCESS_OK)
        return fault;
    if (!(cardinals->t_opt < cardinals->t_max) ||
        !(cardinals->t_opt > 0.5 * (cardinals->t_min + cardinals->t_max)))
        return FAULT_CARDINALS;
    return PROCESS_OK;
}

double cardinals_factor(const struct cardinals *cardinals, double celsius)
{
    double low = cardinals->t_min, best = cardinals->t_opt, high = cardinals->t_max;

    if (!(celsius > low && celsius < high))
        return 0.0;
    double above = celsius - low, span = best - low;
    double bracket = span * (celsius - best) - (best - high) * (best + low - 2.0 * celsius);
    return (celsius - high) * above * above / (span * bracket);
}

double avrami_volume(double points, double radius)
{
    return -expm1(-4.0 / 3.0 * M_PI * points * radius * radius * radius);
}

double colony_edge_stretch(double points_in_vessel)
{
    return 1.0 + 0.28 * pow(points_in_vessel / 20.0, -0.272);
}

enum process_fault colony_check(const struct colony *colony)
{
    enum process_fault fault = cardinals_check(&colony->cardinals);
    if (fault != PROCESS_OK ||
        (fault = limit_check(FAULT_GROWTH_RATE, colony->rate)) != PROCESS_OK ||
        (fault = limit_check(FAULT_LAG, colony->lag)) != PROCESS_OK ||
        (fault = limit_check(FAULT_POINTS, colony->points)) != PROCESS_OK ||
        (fault = limit_check(FAULT_POINTS, colony->kernels)) != PROCESS_OK ||
        (fault = limit_check(FAULT_VOLUME, colony->volume)) != PROCESS_OK)
        return fault;
    if (colony->warmth_count == 0)
        return FAULT_EMPTY;
    for (size_t i = 0; i < colony->warmth_count; i++) {
        const struct warmth *at = &colony->warmth[i];
        if ((fault = limit_check(FAULT_GROWTH_CELSIUS, at->celsius)) != PROCESS_OK)
            return fault;
        if (!isfinite(at->day) || (i > 0 && at->day <= colony->warmth[i - 1].day))
            return FAULT_TIME_ORDER;
    }
    for (size_t i = 0; i < colony->shake_count; i++) {
        const struct shake *shake = &colony->shakes[i];
        if ((fault = limit_check(FAULT_DAYS, shake->day)) != PROCESS_OK ||
            (fault = limit_check(FAULT_SHAKE_FACTOR, shake->factor)) != PROCESS_OK ||
            (fault = limit_check(FAULT_LAG, shake->pause)) != PROCESS_OK)
            return fault;
        if (i > 0 && shake->day <= colony->shakes[i - 1].day)
            return FAULT_TIME_ORDER;
    }
    return PROCESS_OK;
}

/* Integral of f over a straight line of temperature that lasts `days`: Gauss-Legendre, 5 points. */
static double line_time(const struct colony *colony, double from, double to, double days)
{
    static const double at[3] = {0.0, 0.5384693101056831, 0.9061798459386640};
    static const double weight[3] = {0.5688888888888889, 0.4786286704993665, 0.2369268850561891};
    double middle = 0.5 * (from + to), half = 0.5 * (to - from);
    double sum = weight[0] * cardinals_factor(&colony->cardinals, middle);

    for (int i = 1; i < 3; i++)
        sum += weight[i] * (cardinals_factor(&colony->cardinals, middle - half * at[i]) +
                            cardinals_factor(&colony->cardinals, middle + half * at[i]));
    return 0.5 * days * sum;
}

/* Days at the best temperature that the time from day 0 to `day` is worth. */
static double best_days(const struct colony *colony, double day)
{
    const struct warmth *warmth = colony->warmth;
    size_t last = colony->warmth_count - 1;
    double before = fmin(day, warmth[0].day);
    double first = cardinals_factor(&colony->cardinals, warmth[0].celsius + colony->warmer);
    double sum = before > 0.0 ? before * first : 0.0;

    for (size_t i = 0; i < last && warmth[i].day < day; i++) {
        double start = fmax(0.0, warmth[i].day), end = fmin(day, warmth[i + 1].day);
        if (end <= start)
            continue;
        double slope =
            (warmth[i + 1].celsius - warmth[i].celsius) / (warmth[i + 1].day - warmth[i].day);
        double base = warmth[i].celsius + colony->warmer - slope * warmth[i].day;
        sum += line_time(colony, base + slope * start, base + slope * end, end - start);
    }
    double after = day - fmax(0.0, warmth[last].day);
    if (after > 0.0)
        sum += after * cardinals_factor(&colony->cardinals, warmth[last].celsius + colony->warmer);
    return sum;
}

/* Share covered by growth from `points` per cm3 that has had `days` at the best temperature. */
static double covered(const struct colony *colony, double points, double days)
{
    if (!(days > 0.0))
        return 0.0;
    double centimetres = 0.1 * colony->rate * days;
    return avrami_volume(points, centimetres / colony_edge_stretch(points * colony->volume));
}

double colony_coverage(const struct colony *colony, double day)
{
    double bare = 1.0; /* share left by the stages before */
    double points = colony->points, start = 0.0, wait = colony->lag;

    for (size_t i = 0; i < colony->shake_count && colony->shakes[i].day < day; i++) {
        const struct shake *shake = &colony->shakes[i];
        double now = best_days(colony, shake->day);
        double bare_now = bare * (1.0 - covered(colony, points, now - start - wait));
        /* Colonised kernels are what spreads: with none there is nothing to gain or to pause. */
        double most = (1.0 - bare_now) * colony->kernels;
        if (most <= points)
            continue;
        bare = bare_now;
        points = fmin(points * shake->factor, most);
        start = now;
        wait = shake->pause;
    }
    double last = covered(colony, points, best_days(colony, day) - start - wait);
    return 100.0 * (1.0 - bare * (1.0 - last));
}
