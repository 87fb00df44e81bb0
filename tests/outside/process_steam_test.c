/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Steam and air pressure against published tables and an independent program. */
#include "outside/process_check.h"

#include <stdlib.h>
#include <string.h>

#include "process/heat.h"

static double boil(double kpa)
{
    double celsius = NAN;
    assert_int_equal(steam_temperature(kpa, &celsius), PROCESS_OK);
    return celsius;
}

static double press(double celsius)
{
    double kpa = NAN;
    assert_int_equal(steam_pressure(celsius, &kpa), PROCESS_OK);
    return kpa;
}

static double vessel(double psi, double geopotential_m, double air_share)
{
    struct steam_conditions conditions = {psi * STEAM_KPA_PER_PSI, 0.0, NAN, NAN, air_share};
    double celsius = NAN;
    assert_int_equal(steam_air_pressure(geopotential_m, &conditions.barometer_kpa), PROCESS_OK);
    assert_int_equal(steam_celsius(&conditions, &celsius), PROCESS_OK);
    return celsius;
}

TEST(iapws_verification_tables)
{
    (void)state;
    struct outside check = {.source = "IAPWS R7-97(2012), tables 35 and 36 (all nine digits)"};
    static const double table35[][2] = {
        {300.0, 0.353658941e-2}, {500.0, 0.263889776e1}, {600.0, 0.123443146e2}};
    static const double table36[][2] = {
        {0.1, 0.372755919e3}, {1.0, 0.453035632e3}, {10.0, 0.584149488e3}};

    for (size_t i = 0; i < 3; i++) {
        double mpa = press(table35[i][0] - 273.15) / 1000.0;
        outside_near(&check, "p(T)", mpa / table35[i][1], 1.0, 0.5e-8);
        double kelvin = boil(table36[i][0] * 1000.0) + 273.15;
        outside_near(&check, "T(p)", kelvin / table36[i][1], 1.0, 0.5e-8);
    }
    outside_close(&check);
}

TEST(standard_atmosphere_tables)
{
    (void)state;
    struct outside check = {
        .source = "ISO 2533:1975 and US Standard Atmosphere 1976, pressure tables (kPa)"};
    static const struct {
        double metres, geopotential, geometric;
    } rows[] = {
        {0, 101.3250, 101.3250},  {500, 95.4608, 95.4613},  {1000, 89.8746, 89.8763},
        {1500, 84.5560, 84.5597}, {2000, 79.4952, 79.5014}, {3000, 70.1085, 70.1211},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double kpa;
        assert_int_equal(steam_air_pressure(rows[i].metres, &kpa), PROCESS_OK);
        outside_near(&check, "p(H)", kpa, rows[i].geopotential, 0.6e-4);
        assert_int_equal(steam_air_pressure(steam_geopotential(rows[i].metres), &kpa), PROCESS_OK);
        outside_near(&check, "p(Z)", kpa, rows[i].geometric, 0.6e-4);
    }
    outside_close(&check);
}

static double fahrenheit(double psi, double feet)
{
    return vessel(psi, feet * 0.3048, 0.0) * 1.8 + 32.0;
}

TEST(canner_altitude_bands)
{
    (void)state;
    struct outside check = {
        .source = "USDA altitude bands for pressure canners: Pacific Northwest Extension PNW 421 "
                  "and charts after the USDA guide; each is to give 240 degF"};
    static const struct {
        double feet, psi;
    } tops[] = {{2000, 11}, {4000, 12}, {6000, 13}, {8000, 14}, {10000, 15}},
      bottoms[] = {{0, 11}, {2000, 12}, {4000, 13}, {6000, 14}, {8000, 15}};

    /* At the top of a band, and on the coast, 0.8 below to 1.6 above 240. */
    for (size_t i = 0; i < 5; i++)
        outside_near(&check, "band top, degF", fahrenheit(tops[i].psi, tops[i].feet), 240.4, 1.2);
    outside_near(&check, "coast, degF", fahrenheit(11, 0), 240.4, 1.2);
    /* Just above each step the next pound has been added: on the safe side, by no more than it. */
    for (size_t i = 0; i < 5; i++)
        outside_near(&check, "band bottom, degF", fahrenheit(bottoms[i].psi, bottoms[i].feet),
                     241.5, 1.5);
    /* "10 lb" weights are said to act at 10.5 psi, which is to serve to 1000 ft. */
    outside_near(&check, "weight, degF", fahrenheit(10.5, 0), 240.4, 1.2);
    outside_near(&check, "weight, degF", fahrenheit(10.5, 1000), 240.4, 1.2);
    outside_close(&check);
}

TEST(air_discharge_table)
{
    (void)state;
    struct outside check = {.source = "Perkins, Principles and Methods of Sterilization, 1969, "
                                      "table of incomplete air discharge (degC, rounded there)"};
    static const double left[] = {0.0, 1.0 / 3.0, 0.5, 2.0 / 3.0, 1.0};
    static const double rows[][6] = {
        {5, 109, 100, 94, 90, 72},
        {10, 115, 109, 105, 100, 90},
        {15, 121, 115, 112, 109, 100},
        {20, 126, 121, 118, 115, 109},
    };

    for (size_t i = 0; i < 4; i++)
        for (size_t j = 0; j < 5; j++) {
            double total = rows[i][0] * STEAM_KPA_PER_PSI + 101.325;
            double share = left[j] * 101.325 / total;
            outside_near(&check, "steam with air", vessel(rows[i][0], 0.0, share), rows[i][j + 1],
                         1.2);
        }
    outside_close(&check);
}

/* tests/outside/data/steam_iapws.csv: psi, metres, kelvin. Lines that start with # tell how it was
 * made. */
TEST(independent_program)
{
    (void)state;
    struct outside check = {.source =
                                "python3-iapws 1.5.3-1 (Debian), saturation temperature, "
                                "5 to 30 psi, 0 to 3500 m; tests/outside/data/steam_iapws.csv"};
    FILE *file = fopen("tests/outside/data/steam_iapws.csv", "r");
    char line[256];

    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL) {
        char *end;
        if (line[0] == '#' || line[0] == 'p')
            continue;
        double psi = strtod(line, &end);
        assert_int_equal(*end, ',');
        double metres = strtod(end + 1, &end);
        assert_int_equal(*end, ',');
        double kelvin = strtod(end + 1, &end);
        outside_near(&check, "steam", vessel(psi, metres, 0.0) + 273.15, kelvin, 0.01);
    }
    fclose(file);
    assert_true(check.compared >= 100);
    outside_close(&check);
}

int main(void)
{
    return tests_run("steam against published tables", NULL, NULL);
}
