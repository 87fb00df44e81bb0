/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>
#include <stdlib.h>

#include "process/forecast.h"
#include "support/test.h"

static const struct warmth room = {0, 24};

static struct forecast oyster_forecast(void)
{
    return (struct forecast){
        .cardinals = {5, 28, 36},
        .rate = {4.5, 6, 8},
        .points = {0.008, 0.02, 0.06},
        .lag = {1, 2, 3},
        .temperature_doubt = 2,
        .volume = 1900,
        .kernels = 20,
        .warmth = &room,
        .warmth_count = 1,
    };
}

/* An exact course: nothing is doubtful. */
static struct forecast oyster(void)
{
    struct forecast forecast = oyster_forecast();
    forecast.rate = (struct range){6, 6, 6};
    forecast.lag = (struct range){2, 2, 2};
    forecast.points = (struct range){0.02, 0.02, 0.02};
    forecast.temperature_doubt = 0;
    return forecast;
}

static double coverage_on(const struct forecast *forecast, double day)
{
    struct range coverage;
    forecast_coverage(forecast, day, &coverage);
    return coverage.central;
}

TEST(cardinals_that_cannot_be_are_refused)
{
    (void)state;
    /* The best temperature below the middle: the equation turns negative at 6 degC. */
    struct cardinals low = {5, 18, 35}, backwards = {30, 25, 35}, good = {5, 28, 36};
    assert_int_equal(cardinals_check(&low), PROCESS_CARDINALS);
    assert_int_equal(cardinals_check(&backwards), PROCESS_CARDINALS);
    assert_int_equal(cardinals_check(&good), PROCESS_OK);
    assert_true(cardinals_factor(&good, 5) == 0 && cardinals_factor(&good, 36) == 0);
    assert_true(cardinals_factor(&good, -40) == 0 && cardinals_factor(&good, 99) == 0);
    assert_true(fabs(cardinals_factor(&good, 28) - 1) < 1e-15);
    for (double celsius = 5.5; celsius < 36; celsius += 0.5) {
        double factor = cardinals_factor(&good, celsius);
        assert_true(factor > 0 && factor <= 1 + 1e-15);
    }
}

TEST(coverage_rises_and_cold_delays_it)
{
    (void)state;
    struct warmth cold = {0, 15};
    struct forecast warm = oyster(), cool = oyster();
    double before = 0;
    cool.warmth = &cold;
    assert_int_equal(forecast_check(&warm), PROCESS_OK);
    for (double day = 0; day < 40; day += 0.5) {
        double now = coverage_on(&warm, day);
        assert_true(now >= before && now <= 100);
        assert_true(coverage_on(&cool, day) <= now);
        before = now;
    }
    assert_true(coverage_on(&warm, 2.0) == 0);
    assert_true(before > 99.9);
}

TEST(a_log_of_one_temperature_is_that_temperature)
{
    (void)state;
    struct warmth log[] = {{-1, 24}, {3, 24}, {7.5, 24}, {9, 24}};
    struct forecast constant = oyster(), logged = oyster();
    logged.warmth = log;
    logged.warmth_count = 4;
    assert_int_equal(forecast_check(&logged), PROCESS_OK);
    for (double day = 0; day < 30; day += 0.7)
        assert_true(fabs(coverage_on(&constant, day) - coverage_on(&logged, day)) < 1e-9);
}

TEST(a_cold_night_costs_what_it_takes)
{
    (void)state;
    /* Two days at no growth at all, then as usual: the course is two days late. */
    struct warmth log[] = {{0, 2}, {2, 2}, {2.0001, 24}};
    struct forecast constant = oyster(), logged = oyster();
    logged.warmth = log;
    logged.warmth_count = 3;
    for (double day = 3; day < 20; day += 1)
        assert_true(fabs(coverage_on(&constant, day - 2) - coverage_on(&logged, day)) < 0.01);
}

TEST(shaking_early_enough_helps)
{
    (void)state;
    struct shake once = {5.5, 15, 1.5}, too_soon = {1, 15, 1.5};
    struct forecast still = oyster(), shaken = oyster();
    shaken.shakes = &once;
    shaken.shake_count = 1;
    assert_int_equal(forecast_check(&shaken), PROCESS_OK);
    assert_true(coverage_on(&shaken, 5.5) == coverage_on(&still, 5.5));
    assert_true(coverage_on(&shaken, 6.5) < coverage_on(&still, 6.5));
    double full_shaken = 0, full_still = 0;
    while (coverage_on(&shaken, full_shaken) < 99)
        full_shaken += 0.05;
    while (coverage_on(&still, full_still) < 99)
        full_still += 0.05;
    assert_true(full_shaken < full_still - 0.5);
    /* Before anything has grown there is nothing to spread and nothing is lost. */
    shaken.shakes = &too_soon;
    assert_true(coverage_on(&shaken, 10) == coverage_on(&still, 10));
}

/* ---- walls: the stretch against a simulated box ---------------------------------------------- */

static uint64_t
next_random(uint64_t *seed) /* xorshift64*, so that the test is the same everywhere */
{
    *seed ^= *seed >> 12;
    *seed ^= *seed << 25;
    *seed ^= *seed >> 27;
    return *seed * UINT64_C(2685821657736338717);
}

static double uniform(uint64_t *seed)
{
    return (double)(next_random(seed) >> 11) / 9007199254740992.0;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Radius at which `count` random points in 20 x 12 x 8 cm cover 99 % of random probes. */
static double simulated_radius(size_t count, uint64_t *seed)
{
    enum { PROBES = 3000 };
    static double nearest[PROBES], points[2000][3];
    static const double sides[3] = {20, 12, 8};

    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 3; k++)
            points[i][k] = sides[k] * uniform(seed);
    for (size_t i = 0; i < PROBES; i++) {
        double probe[3], least = INFINITY;
        for (int k = 0; k < 3; k++)
            probe[k] = sides[k] * uniform(seed);
        for (size_t j = 0; j < count; j++) {
            double dx = probe[0] - points[j][0], dy = probe[1] - points[j][1],
                   dz = probe[2] - points[j][2];
            least = fmin(least, dx * dx + dy * dy + dz * dz);
        }
        nearest[i] = sqrt(least);
    }
    qsort(nearest, PROBES, sizeof *nearest, by_size);
    return nearest[PROBES * 99 / 100];
}

TEST(walls_delay_as_much_as_in_simulated_boxes)
{
    (void)state;
    static const size_t counts[] = {20, 200, 2000};
    uint64_t seed = 20250101;
    for (size_t i = 0; i < 3; i++) {
        size_t runs = i == 0 ? 120 : i == 1 ? 30 : 6;
        double sum = 0, points = (double)counts[i] / 1920;
        for (size_t run = 0; run < runs; run++)
            sum += simulated_radius(counts[i], &seed);
        double free_radius = cbrt(-log(0.01) / (4.0 / 3.0 * 3.14159265358979 * points));
        double stretch = sum / (double)runs / free_radius;
        assert_true(fabs(stretch - colony_edge_stretch((double)counts[i])) < 0.05);
    }
}

/* ---- forecasts ------------------------------------------------------------------------------- */

TEST(bands_hold_the_middle)
{
    (void)state;
    struct forecast forecast = oyster_forecast();
    struct range coverage, days, half;
    assert_int_equal(forecast_check(&forecast), PROCESS_OK);
    for (double day = 0; day < 40; day += 1) {
        forecast_coverage(&forecast, day, &coverage);
        assert_true(coverage.low <= coverage.central && coverage.central <= coverage.high);
    }
    assert_int_equal(forecast_days(&forecast, FORECAST_FULL, &days), PROCESS_OK);
    assert_int_equal(forecast_days(&forecast, 50, &half), PROCESS_OK);
    assert_true(days.low < days.central && days.central < days.high);
    assert_true(half.central < days.central && half.high < days.high);
    assert_true(days.central > 10 && days.central < 21);

    struct warmth cold = {0, 15}, frost = {0, 3};
    struct range later;
    forecast.warmth = &cold;
    assert_int_equal(forecast_days(&forecast, FORECAST_FULL, &later), PROCESS_OK);
    assert_true(later.central > 1.5 * days.central);
    forecast.warmth = &frost;
    assert_int_equal(forecast_days(&forecast, FORECAST_FULL, &later), PROCESS_UNREACHED);
}

TEST(pace_is_named)
{
    (void)state;
    struct forecast forecast = oyster_forecast();
    struct pace_verdict verdict;
    struct range half;
    assert_int_equal(forecast_days(&forecast, 50, &half), PROCESS_OK);

    assert_int_equal(forecast_judge(&forecast, half.central, 50, NAN, &verdict), PROCESS_OK);
    assert_int_equal(verdict.pace, PACE_ON_TIME);
    assert_true(fabs(verdict.times_late - 1) < 0.01);
    assert_true(verdict.explained);
    assert_int_equal(forecast_judge(&forecast, 4, 90, NAN, &verdict), PROCESS_OK);
    assert_int_equal(verdict.pace, PACE_AHEAD);
    assert_int_equal(forecast_judge(&forecast, half.high + 1, 40, NAN, &verdict), PROCESS_OK);
    assert_int_equal(verdict.pace, PACE_SLOW);
    assert_int_equal(forecast_judge(&forecast, 30, 10, NAN, &verdict), PROCESS_OK);
    assert_int_equal(verdict.pace, PACE_STALLED);
    assert_true(verdict.wait_until < 30);
    /* A week without a change while growth was due. */
    assert_int_equal(forecast_judge(&forecast, half.central + 3, 30, 8, &verdict), PROCESS_OK);
    assert_int_equal(verdict.pace, PACE_STALLED);
    /* Full is full: it cannot stall. */
    assert_int_equal(forecast_judge(&forecast, 60, 100, 20, &verdict), PROCESS_OK);
    assert_int_equal(verdict.pace, PACE_ON_TIME);
    assert_int_equal(forecast_judge(&forecast, -1, 10, NAN, &verdict), PROCESS_DAYS);
    assert_int_equal(forecast_judge(&forecast, 10, 101, NAN, &verdict), PROCESS_COVERAGE);
}

TEST(the_odd_input_is_found)
{
    (void)state;
    struct forecast forecast = oyster_forecast();
    struct pace_verdict verdict;
    struct forecast colony = oyster();

    /* Everything well known but the dose, which was far too small. */
    forecast.rate = (struct range){5.9, 6, 6.1};
    forecast.lag = (struct range){1.9, 2, 2.1};
    forecast.temperature_doubt = 0.2;
    forecast.points = (struct range){0.005, 0.02, 0.08};
    colony.points = (struct range){0.005, 0.005, 0.005};
    double seen = coverage_on(&colony, 12);
    assert_int_equal(forecast_judge(&forecast, 12, seen, NAN, &verdict), PROCESS_OK);
    assert_int_equal(verdict.reasons[0].input, FORECAST_POINTS);
    assert_true(fabs(verdict.reasons[0].needed - 0.005) < 1e-4);
    assert_true(fabs(verdict.reasons[0].stretch - 1) < 0.01);
    assert_true(verdict.explained);

    /* The same sight when the temperature is the doubtful thing. */
    forecast.points = (struct range){0.019, 0.02, 0.021};
    forecast.temperature_doubt = 4;
    assert_int_equal(forecast_judge(&forecast, 12, seen, NAN, &verdict), PROCESS_OK);
    assert_int_equal(verdict.reasons[0].input, FORECAST_TEMPERATURE);
    assert_true(verdict.reasons[0].needed < 0);

    /* Nothing in reach explains a bare vessel after six weeks. */
    assert_int_equal(forecast_judge(&forecast, 42, 0, NAN, &verdict), PROCESS_OK);
    assert_int_equal(verdict.pace, PACE_STALLED);
    assert_false(verdict.explained);
}

TEST(odd_colonies_are_refused)
{
    (void)state;
    struct forecast colony = oyster();
    struct warmth back[] = {{3, 20}, {2, 20}};
    struct shake shakes[] = {{5, 10, 1}, {5, 10, 1}};
    colony.warmth_count = 0;
    assert_int_equal(forecast_check(&colony), PROCESS_EMPTY);
    colony.warmth = back;
    colony.warmth_count = 2;
    assert_int_equal(forecast_check(&colony), PROCESS_TIME_ORDER);
    colony = oyster();
    colony.shakes = shakes;
    colony.shake_count = 2;
    assert_int_equal(forecast_check(&colony), PROCESS_TIME_ORDER);
    shakes[1] = (struct shake){6, 0.5, 1};
    assert_int_equal(forecast_check(&colony), PROCESS_SHAKE_FACTOR);
    colony = oyster();
    colony.rate.central = -1;
    assert_int_equal(forecast_check(&colony), PROCESS_GROWTH_RATE);
    struct forecast forecast = oyster_forecast();
    forecast.points.high = 0.001;
    assert_int_equal(forecast_check(&forecast), PROCESS_RANGE_ORDER);
    for (int i = 0; i < FORECAST_INPUTS; i++)
        assert_non_null(forecast_input_names[i]);
    assert_string_equal(pace_names[PACE_ON_TIME], "on time");
}

int main(void)
{
    return tests_run("growth and forecast", NULL, NULL);
}
