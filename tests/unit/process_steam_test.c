/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>
#include <string.h>

#include "process/heat.h"
#include "support/test.h"

static const struct steam_conditions fifteen_psi = {
    .gauge_kpa = 15 * STEAM_KPA_PER_PSI, .altitude_m = 0, .barometer_kpa = NAN, .rated_kpa = NAN};

static double celsius_of(struct steam_conditions conditions)
{
    double celsius = NAN;
    assert_int_equal(steam_celsius(&conditions, &celsius), PROCESS_OK);
    return celsius;
}

TEST(saturation_inverts_itself)
{
    (void)state;
    for (double celsius = 1.0; celsius < 373.0; celsius += 7.3) {
        double kpa, back;
        assert_int_equal(steam_pressure(celsius, &kpa), PROCESS_OK);
        assert_int_equal(steam_temperature(kpa, &back), PROCESS_OK);
        assert_true(fabs(back - celsius) < 1e-9);
    }
}

TEST(height_barometer_and_air_cool_the_steam)
{
    (void)state;
    struct steam_conditions conditions = fifteen_psi;
    double sea = celsius_of(conditions);
    assert_true(fabs(sea - 120.955) < 0.001);

    conditions.altitude_m = 1600;
    double high = celsius_of(conditions);
    assert_true(high < sea - 2.0);

    double standard;
    assert_int_equal(steam_outside(&conditions, &standard), PROCESS_OK);
    conditions.altitude_m = 0;
    conditions.barometer_kpa = standard;
    assert_true(fabs(celsius_of(conditions) - high) < 1e-12);

    conditions = fifteen_psi;
    conditions.air_share = 0.10;
    assert_true(fabs(celsius_of(conditions) - 117.641) < 0.001);
}

TEST(gauge_needed_gives_that_temperature)
{
    (void)state;
    struct steam_conditions conditions = fifteen_psi;
    conditions.altitude_m = 2000;
    conditions.air_share = 0.05;
    assert_int_equal(steam_gauge_needed(&conditions, 118.0, &conditions.gauge_kpa), PROCESS_OK);
    assert_true(fabs(celsius_of(conditions) - 118.0) < 1e-9);
}

TEST(bounds_are_refused_and_named)
{
    (void)state;
    struct steam_conditions conditions = fifteen_psi;
    double untouched = -1.0;
    char message[256];

    conditions.altitude_m = 12000;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_ALTITUDE);
    conditions = fifteen_psi;
    conditions.gauge_kpa = 400;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_GAUGE);
    conditions.gauge_kpa = -1;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_GAUGE);
    conditions.gauge_kpa = NAN;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_GAUGE);
    conditions = fifteen_psi;
    conditions.barometer_kpa = 1013;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_BAROMETER);
    conditions = fifteen_psi;
    conditions.rated_kpa = 90;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_RATED_GAUGE);
    conditions.rated_kpa = 103;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_OK);
    untouched = -1.0;
    conditions = fifteen_psi;
    conditions.gauge_kpa = 0;
    conditions.air_share = 0.9;
    assert_int_equal(steam_celsius(&conditions, &untouched), PROCESS_VESSEL_STEAM);
    assert_true(untouched == -1.0);
    assert_int_equal(steam_temperature(0.0, &untouched), PROCESS_SATURATION_KPA);
    assert_int_equal(steam_pressure(-5.0, &untouched), PROCESS_SATURATION_CELSIUS);

    limit_message(message, sizeof message, PROCESS_ALTITUDE, 12000);
    assert_string_equal(message, "altitude 12000 m is out of range; between -2000 and 11000 "
                                 "(the lowest layer of the standard atmosphere, ISO 2533:1975)");
}

TEST(every_fault_has_words)
{
    (void)state;
    for (int fault = 1; fault < PROCESS_COUNT; fault++) {
        char message[256];
        int length = limit_message(message, sizeof message, (enum process_error)fault, 1.0);
        assert_in_range(length, 10, (int)sizeof message - 1);
        assert_null(strstr(message, "unknown fault"));
        const struct limit *limit = limit_of((enum process_error)fault);
        if (limit == NULL)
            continue;
        assert_true(limit->lo < limit->hi);
        assert_int_equal(limit_check((enum process_error)fault, limit->lo), PROCESS_OK);
        assert_int_equal(limit_check((enum process_error)fault, limit->hi), PROCESS_OK);
        assert_int_equal(limit_check((enum process_error)fault, limit->lo - 1.0), fault);
        assert_int_equal(limit_check((enum process_error)fault, NAN), fault);
    }
    assert_null(limit_of(PROCESS_OK));
    struct range falling = {2, 1, 3};
    assert_int_equal(limit_check_each(&(struct bounded){PROCESS_LAG, falling}, 1, NULL),
                     PROCESS_RANGE_ORDER);
}

int main(void)
{
    return tests_run("steam and limits", NULL, NULL);
}
