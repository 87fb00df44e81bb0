/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/forecast.h"

#include <gsl/gsl_math.h>
#include <math.h>

enum process_error cardinals_check(const struct cardinals *cardinals)
{
    const struct bounded all[] = {{PROCESS_GROWTH_CELSIUS, EXACT(cardinals->t_min)},
                                  {PROCESS_GROWTH_CELSIUS, EXACT(cardinals->t_opt)},
                                  {PROCESS_GROWTH_CELSIUS, EXACT(cardinals->t_max)}};
    enum process_error error = limit_check_each(all, 3, NULL);
    if (error != PROCESS_OK)
        return error;
    return cardinals->t_opt < cardinals->t_max &&
                   cardinals->t_opt > 0.5 * (cardinals->t_min + cardinals->t_max)
               ? PROCESS_OK
               : PROCESS_CARDINALS;
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

/* The four that are doubtful, exact: of a course. The temperature is added to every one of them. */
typedef double inputs[FORECAST_INPUTS];

static struct range input_range(const struct forecast *forecast, enum forecast_input input)
{
    const double doubt = forecast->temperature_doubt;
    const struct range ranges[FORECAST_INPUTS] = {
        forecast->rate, forecast->points, forecast->lag, {-doubt, 0.0, doubt}};
    return ranges[input];
}

enum process_error forecast_check(const struct forecast *forecast)
{
    const struct bounded ranges[] = {{PROCESS_GROWTH_RATE, forecast->rate},
                                     {PROCESS_LAG, forecast->lag},
                                     {PROCESS_POINTS, forecast->points},
                                     {PROCESS_POINTS, EXACT(forecast->kernels)},
                                     {PROCESS_VOLUME, EXACT(forecast->volume)}};
    enum process_error error = cardinals_check(&forecast->cardinals);
    error = error ? error : limit_check_each(ranges, sizeof ranges / sizeof *ranges, NULL);
    if (error == PROCESS_OK && forecast->warmth_count == 0)
        return PROCESS_EMPTY;
    for (size_t i = 0; error == PROCESS_OK && i < forecast->warmth_count; i++) {
        const struct warmth *at = &forecast->warmth[i];
        error = limit_check(PROCESS_GROWTH_CELSIUS, at->celsius);
        if (!error && (!isfinite(at->day) || (i > 0 && at->day <= at[-1].day)))
            error = PROCESS_TIME_ORDER;
    }
    for (size_t i = 0; error == PROCESS_OK && i < forecast->shake_count; i++) {
        const struct shake *shake = &forecast->shakes[i];
        const struct bounded of[] = {{PROCESS_DAYS, EXACT(shake->day)},
                                     {PROCESS_SHAKE_FACTOR, EXACT(shake->factor)},
                                     {PROCESS_LAG, EXACT(shake->pause)}};
        error = limit_check_each(of, 3, NULL);
        if (!error && i > 0 && shake->day <= shake[-1].day)
            error = PROCESS_TIME_ORDER;
    }
    if (error == PROCESS_OK &&
        !(forecast->temperature_doubt >= 0.0 && forecast->temperature_doubt <= 10.0))
        error = PROCESS_GROWTH_CELSIUS;
    return error;
}

/* Integral of f over a straight line of temperature that lasts `days`: Gauss-Legendre, 5 points. */
static double line_time(const struct cardinals *cardinals, double from, double to, double days)
{
    static const double at[3] = {0.0, 0.5384693101056831, 0.9061798459386640};
    static const double weight[3] = {0.5688888888888889, 0.4786286704993665, 0.2369268850561891};
    double middle = 0.5 * (from + to), half = 0.5 * (to - from);
    double sum = weight[0] * cardinals_factor(cardinals, middle);
    for (int i = 1; i < 3; i++)
        sum += weight[i] * (cardinals_factor(cardinals, middle - half * at[i]) +
                            cardinals_factor(cardinals, middle + half * at[i]));
    return 0.5 * days * sum;
}

/* Days at the best temperature that the time from day 0 to `day` is worth, all so much `warmer`. */
static double best_days(const struct forecast *forecast, double warmer, double day)
{
    const struct warmth *warmth = forecast->warmth;
    const struct cardinals *cardinals = &forecast->cardinals;
    size_t last = forecast->warmth_count - 1;
    double before = fmin(day, warmth[0].day), after = day - fmax(0.0, warmth[last].day);
    double sum =
        before > 0.0 ? before * cardinals_factor(cardinals, warmth[0].celsius + warmer) : 0.0;
    for (size_t i = 0; i < last && warmth[i].day < day; i++) {
        double start = fmax(0.0, warmth[i].day), end = fmin(day, warmth[i + 1].day);
        if (end <= start)
            continue;
        double slope =
            (warmth[i + 1].celsius - warmth[i].celsius) / (warmth[i + 1].day - warmth[i].day);
        double base = warmth[i].celsius + warmer - slope * warmth[i].day;
        sum += line_time(cardinals, base + slope * start, base + slope * end, end - start);
    }
    if (after > 0.0)
        sum += after * cardinals_factor(cardinals, warmth[last].celsius + warmer);
    return sum;
}

/* Share covered by growth from `points` per cm3 that has had `days` at the best temperature. */
static double covered(const struct forecast *forecast, double rate, double points, double days)
{
    if (!(days > 0.0))
        return 0.0;
    double centimetres = 0.1 * rate * days;
    return avrami_volume(points, centimetres / colony_edge_stretch(points * forecast->volume));
}

/* Coverage in per cent on `day` of the course with these inputs. */
static double course_coverage(const struct forecast *forecast, const inputs with, double day)
{
    const double rate = with[FORECAST_RATE], warmer = with[FORECAST_TEMPERATURE];
    double bare = 1.0; /* share left by the stages before */
    double points = with[FORECAST_POINTS], start = 0.0, wait = with[FORECAST_LAG];
    for (size_t i = 0; i < forecast->shake_count && forecast->shakes[i].day < day; i++) {
        const struct shake *shake = &forecast->shakes[i];
        double now = best_days(forecast, warmer, shake->day);
        double bare_now = bare * (1.0 - covered(forecast, rate, points, now - start - wait));
        /* Colonised kernels are what spreads: with none there is nothing to gain or to pause. */
        double most = (1.0 - bare_now) * forecast->kernels;
        if (most <= points)
            continue;
        bare = bare_now;
        points = fmin(points * shake->factor, most);
        start = now;
        wait = shake->pause;
    }
    double last = covered(forecast, rate, points, best_days(forecast, warmer, day) - start - wait);
    return 100.0 * (1.0 - bare * (1.0 - last));
}

/* ---- inputs as ranges ------------------------------------------------------------------------ */

static const double last_day = 730.0;
/* As far as z can be read off a coverage before rounding makes it 100 per cent. */
static const double z_all = 3.3;

const char *const forecast_input_names[] = {"growth rate", "dose", "lag", "temperature"};
const char *const pace_names[] = {"ahead", "on time", "slow", "stalled"};

static double z_of(double coverage)
{
    return coverage < 100.0 ? fmin(z_all, cbrt(-log1p(-coverage / 100.0))) : z_all;
}

static double coverage_of(double z)
{
    if (z >= z_all)
        return 100.0;
    return z <= 0.0 ? 0.0 : -100.0 * expm1(-z * z * z);
}

static void central(const struct forecast *forecast, inputs with)
{
    for (int i = 0; i < FORECAST_INPUTS; i++)
        with[i] = input_range(forecast, (enum forecast_input)i).central;
}

void forecast_coverage(const struct forecast *forecast, double day, struct range *coverage)
{
    inputs with;
    central(forecast, with);
    double middle = z_of(course_coverage(forecast, with, day)), down = 0.0, up = 0.0;
    for (int i = 0; i < FORECAST_INPUTS; i++) {
        const struct range range = input_range(forecast, (enum forecast_input)i);
        double least = 0.0, most = 0.0;
        for (int end = 0; end < 2; end++) {
            with[i] = end == 0 ? range.low : range.high;
            double deviation = z_of(course_coverage(forecast, with, day)) - middle;
            least = fmin(least, deviation);
            most = fmax(most, deviation);
        }
        with[i] = range.central;
        down += least * least;
        up += most * most;
    }
    coverage->central = coverage_of(middle);
    coverage->low = coverage_of(middle - sqrt(down));
    coverage->high = coverage_of(middle + sqrt(up));
}

enum band { BAND_SLOW, BAND_CENTRAL, BAND_FAST };

static double band_at(const struct forecast *forecast, enum band band, double day)
{
    struct range coverage;
    forecast_coverage(forecast, day, &coverage);
    return band == BAND_SLOW ? coverage.low : band == BAND_FAST ? coverage.high : coverage.central;
}

/* First day on which the band has `coverage`, to a hundredth; INFINITY if not within two years.
 * Coverage never falls, so halving the interval finds it whatever the steps in the curve. */
static double band_day(const struct forecast *forecast, enum band band, double coverage)
{
    double before = 0.0, after = 1.0;
    while (band_at(forecast, band, after) < coverage) {
        if (after >= last_day)
            return INFINITY;
        before = after;
        after = fmin(last_day, 1.5 * after);
    }
    while (after - before > 0.01) {
        double middle = 0.5 * (before + after);
        if (band_at(forecast, band, middle) < coverage)
            before = middle;
        else
            after = middle;
    }
    return after;
}

enum process_error forecast_days(const struct forecast *forecast, double coverage,
                                 struct range *days)
{
    enum process_error error = limit_check(PROCESS_COVERAGE, coverage);
    *days = (struct range){INFINITY, INFINITY, INFINITY};
    if (error != PROCESS_OK)
        return error;
    double middle = band_day(forecast, BAND_CENTRAL, coverage);
    if (isinf(middle))
        return PROCESS_UNREACHED;
    days->central = middle;
    days->low = band_day(forecast, BAND_FAST, coverage);
    days->high = band_day(forecast, BAND_SLOW, coverage);
    return PROCESS_OK;
}

static struct forecast_reason reason_for(const struct forecast *forecast, enum forecast_input input,
                                         double day, double seen)
{
    const struct range range = input_range(forecast, input);
    inputs with;
    struct forecast_reason reason = {input, NAN, INFINITY};
    /* Where to look for the value that fits: from hopeless to best. Of temperatures colder or
     * hotter, whichever side of its best the place is on. */
    const double to_best = forecast->cardinals.t_opt - forecast->warmth[0].celsius;
    const double ends[FORECAST_INPUTS][2] = {
        [FORECAST_RATE] = {fmax(0.05, range.central / 50.0), fmin(200.0, range.central * 50.0)},
        [FORECAST_POINTS] = {fmax(1e-6, range.central / 1e4), fmin(1e3, range.central * 1e4)},
        [FORECAST_LAG] = {60.0, 0.0},
        [FORECAST_TEMPERATURE] = {to_best >= 0.0 ? -25.0 : 25.0, to_best},
    };
    double slow = ends[input][0], fast = ends[input][1], *value = &with[input];
    /* Nothing and everything are met by many values: aim just inside to find the nearest. */
    const double aim = fmin(98.0, fmax(0.5, seen));
    central(forecast, with);
    *value = slow;
    if (!(course_coverage(forecast, with, day) <= aim))
        return reason;
    *value = fast;
    if (!(aim <= course_coverage(forecast, with, day)))
        return reason;
    for (int i = 0; i < 60; i++) {
        *value = input == FORECAST_RATE || input == FORECAST_POINTS ? sqrt(slow * fast)
                                                                    : 0.5 * (slow + fast);
        if (course_coverage(forecast, with, day) < aim)
            slow = *value;
        else
            fast = *value;
    }
    reason.needed = 0.5 * (slow + fast);
    /* How far a value is from its range, in half widths; roots are taken on a log scale. */
    const bool ratio = input == FORECAST_RATE || input == FORECAST_POINTS;
    const bool more = reason.needed > range.central;
    const double half = ratio  ? log(more ? range.high / range.central : range.central / range.low)
                        : more ? range.high - range.central
                               : range.central - range.low;
    const double away = ratio ? log(reason.needed / range.central) : reason.needed - range.central;
    reason.stretch = half > 0.0 ? fabs(away) / half : INFINITY;
    return reason;
}

enum process_error forecast_judge(const struct forecast *forecast, double day, double seen,
                                  double still_days, struct pace_verdict *verdict)
{
    static const double step = 10.0, still_enough = 7.0, twice = 2.0;
    enum process_error error;
    if ((error = limit_check(PROCESS_DAYS, day)) != PROCESS_OK ||
        (error = limit_check(PROCESS_COVERAGE, seen)) != PROCESS_OK)
        return error;
    *verdict = (struct pace_verdict){.pace = PACE_ON_TIME};
    forecast_coverage(forecast, day, &verdict->expected);
    verdict->times_late = day / band_day(forecast, BAND_CENTRAL, fmax(1.0, fmin(seen, 95.0)));
    verdict->wait_until =
        twice * band_day(forecast, BAND_CENTRAL, fmin(seen + step, FORECAST_FULL));
    for (size_t i = 0; i < FORECAST_INPUTS; i++) {
        struct forecast_reason reason = reason_for(forecast, (enum forecast_input)i, day, seen);
        size_t at = i;
        for (; at > 0 && verdict->reasons[at - 1].stretch > reason.stretch; at--)
            verdict->reasons[at] = verdict->reasons[at - 1];
        verdict->reasons[at] = reason;
    }
    verdict->explained = verdict->reasons[0].stretch < FORECAST_EXPLAINS;
    bool full = seen >= 95.0;
    if (seen > verdict->expected.high)
        verdict->pace = PACE_AHEAD;
    else if (seen < verdict->expected.low && !full)
        verdict->pace = day >= verdict->wait_until ? PACE_STALLED : PACE_SLOW;
    if (!full && still_days >= still_enough) {
        double then = band_at(forecast, BAND_CENTRAL, fmax(0.0, day - still_days));
        if (verdict->expected.central - then >= step && seen < verdict->expected.central)
            verdict->pace = PACE_STALLED;
    }
    return PROCESS_OK;
}
