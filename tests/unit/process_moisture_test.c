/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include "process/moisture.h"
#include "support/test.h"

static const struct moisture_band band = {45, 52, 42.9};

TEST(recipes_weigh_what_they_should)
{
    (void)state;
    double grain, water, moisture;
    assert_int_equal(moisture_recipe(1360, 12, 48, &grain, &water), PROCESS_OK);
    assert_true(fabs(grain + water - 1360) < 1e-9);
    assert_int_equal(moisture_mixed(grain, 12, water, &moisture), PROCESS_OK);
    assert_true(fabs(moisture - 48) < 1e-9);
}

TEST(soaking_is_weighing_twice)
{
    (void)state;
    double mixed, soaked;
    assert_int_equal(moisture_mixed(1000, 12, 750, &mixed), PROCESS_OK);
    assert_int_equal(moisture_soaked(1000, 12, 1750, &soaked), PROCESS_OK);
    assert_true(mixed == soaked);
    assert_int_equal(moisture_soaked(1000, 12, 900, &soaked), PROCESS_MOISTURE_DROP);
}

TEST(the_band_says_how_much_to_correct)
{
    (void)state;
    struct moisture_verdict verdict;
    double moisture;

    moisture_judge(885, 12, 42.74, &band, &verdict);
    assert_int_equal(verdict.place, MOISTURE_BELOW);
    assert_int_equal(moisture_mixed(885, 12, 475 + verdict.correction, &moisture), PROCESS_OK);
    assert_true(fabs(moisture - 45) < 0.02);
    assert_true(verdict.free_water == 0.0);

    assert_int_equal(moisture_mixed(1000, 12, 1100, &moisture), PROCESS_OK);
    moisture_judge(1000, 12, moisture, &band, &verdict);
    assert_int_equal(verdict.place, MOISTURE_ABOVE);
    assert_true(verdict.correction < 0);
    assert_true(fabs(verdict.free_water - (1100 + 120 - 880 * 0.7513)) < 0.5);
    assert_int_equal(moisture_mixed(1000, 12, 1100 + verdict.correction, &moisture), PROCESS_OK);
    assert_true(fabs(moisture - 52) < 1e-9);

    struct moisture_band unknown = {45, 52, NAN};
    moisture_judge(1000, 12, 48, &unknown, &verdict);
    assert_int_equal(verdict.place, MOISTURE_WITHIN);
    assert_true(verdict.correction == 0 && verdict.free_water == 0);
}

TEST(doubt_spreads_the_chance)
{
    (void)state;
    assert_true(moisture_chance_above(50, 0, 55) == 0.0);
    assert_true(moisture_chance_above(56, 0, 55) == 1.0);
    assert_true(fabs(moisture_chance_above(55, 2, 55) - 0.5) < 1e-12);
    assert_true(fabs(moisture_chance_above(57, 2, 55) - 0.841344746) < 1e-8);
}

TEST(absurd_mixes_are_refused)
{
    (void)state;
    double result = -1;
    assert_int_equal(moisture_mixed(0, 12, 475, &result), PROCESS_MASS);
    assert_int_equal(moisture_mixed(-5, 12, 475, &result), PROCESS_MASS);
    assert_int_equal(moisture_mixed(885, 12, -1, &result), PROCESS_MASS);
    assert_int_equal(moisture_mixed(885, NAN, 475, &result), PROCESS_MOISTURE);
    assert_int_equal(moisture_mixed(885, 12, 5000, &result), PROCESS_MOISTURE);
    assert_int_equal(moisture_water_for(885, 14, 12, &result), PROCESS_MOISTURE_DROP);
    assert_int_equal(moisture_water_for(885, 14, 90, &result), PROCESS_MOISTURE);
    assert_true(result == -1);
    assert_true(fabs(moisture_fill(700, 0.72, 0.95) - 1.0234) < 1e-3);
}

int main(void)
{
    return tests_run("moisture", NULL, NULL);
}
