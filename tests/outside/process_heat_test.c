/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Conduction and lethality against handbook coefficients and closed forms. */
#include "outside/process_check.h"

#include <gsl/gsl_math.h>
#include <gsl/gsl_sf_expint.h>
#include <stdlib.h>

#include "process/heat.h"

TEST(eigenvalue_table)
{
    (void)state;
    struct outside check = {.source = "Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, "
                                      "table 5.1 (slab and long cylinder, four decimals)"};
    static const struct {
        double biot, slab[2], cylinder[2];
    } rows[] = {
        {0.1, {0.3111, 1.0161}, {0.4417, 1.0246}},      {1, {0.8603, 1.1191}, {1.2558, 1.2071}},
        {10, {1.4289, 1.2620}, {2.1795, 1.5677}},       {100, {1.5552, 1.2731}, {2.3809, 1.6015}},
        {INFINITY, {1.5708, 1.2732}, {2.4048, 1.6020}},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct heat_series series;
        assert_int_equal(heat_series(HEAT_SLAB, rows[i].biot, &series), PROCESS_OK);
        outside_near(&check, "slab zeta1", series.zeta[0], rows[i].slab[0], 1e-4);
        outside_near(&check, "slab C1", series.c[0], rows[i].slab[1], 1e-4);
        assert_int_equal(heat_series(HEAT_CYLINDER, rows[i].biot, &series), PROCESS_OK);
        outside_near(&check, "cylinder zeta1", series.zeta[0], rows[i].cylinder[0], 1e-4);
        outside_near(&check, "cylinder C1", series.c[0], rows[i].cylinder[1], 1e-4);
    }
    outside_close(&check);
}

/* A body of one direction whose Biot number is as asked. L = 0.1 m, alpha = 2e-7 m2/s. */
static double theta_of(enum heat_direction_kind kind, double biot, double fourier)
{
    static const double length = 0.1, alpha = 2e-7, capacity = 2e6;
    struct heat_body body = {.directions = {{kind, length}}, .count = 1};
    struct heat_properties properties = {alpha, capacity, biot * alpha * capacity / length};
    struct heat_model model;

    assert_int_equal(heat_model(&body, &properties, &model), PROCESS_OK);
    return heat_theta(&model, fourier * length * length / alpha);
}

TEST(centre_theta_table)
{
    (void)state;
    struct outside check = {
        .source = "Carslaw & Jaeger, Conduction of Heat in Solids, 1959: centre of slab and long "
                  "cylinder, series of 150 terms summed with R 4.2.2"};
    static const struct {
        double biot, fourier, slab, cylinder;
    } rows[] = {
        {INFINITY, 0.2, 0.77231161, 0.50148686}, {INFINITY, 0.5, 0.37077743, 0.08888972},
        {INFINITY, 1.0, 0.10797704, 0.00493230}, {10, 0.5, 0.45464056, 0.14580006},
        {1, 0.2, 0.95064178, 0.87017424},        {1, 0.5, 0.77252638, 0.54858620},
        {1, 1.0, 0.53385940, 0.24937971},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        outside_near(&check, "slab", theta_of(HEAT_SLAB, rows[i].biot, rows[i].fourier),
                     rows[i].slab, 1e-8);
        outside_near(&check, "cylinder", theta_of(HEAT_CYLINDER, rows[i].biot, rows[i].fourier),
                     rows[i].cylinder, 1e-8);
    }
    outside_close(&check);
}

TEST(ball_formula)
{
    (void)state;
    struct outside check = {.source = "Ball & Olson, Sterilization in Food Technology, 1957: f and "
                                      "j of conduction, surface at steam temperature"};
    static const double a = 0.044, b = 0.06, alpha = 2.5e-7;
    struct heat_properties properties = {alpha, 2e6, INFINITY};
    struct heat_body jar = heat_cylinder(a, 2 * b), bag = heat_brick(0.2, 0.12, 0.08);
    struct heat_model model;
    /* When one term is left. */
    double late = 4 * 3600.0, later = 5 * 3600.0;

    assert_int_equal(heat_model(&jar, &properties, &model), PROCESS_OK);
    double f = (later - late) / log10(heat_theta(&model, late) / heat_theta(&model, later));
    double j = heat_theta(&model, late) * pow(10.0, late / f);
    outside_near(&check, "f of a finite cylinder", f * alpha * (1 / (a * a) + 0.42665 / (b * b)),
                 0.39815, 5e-6);
    outside_near(&check, "j of a finite cylinder", j, 2.03970, 1e-5);

    late = 20 * 3600.0;
    later = 22 * 3600.0;
    assert_int_equal(heat_model(&bag, &properties, &model), PROCESS_OK);
    f = (later - late) / log10(heat_theta(&model, late) / heat_theta(&model, later));
    j = heat_theta(&model, late) * pow(10.0, late / f);
    outside_near(&check, "f of a brick", f * alpha * (1 / 0.01 + 1 / 0.0036 + 1 / 0.0016), 0.9332,
                 5e-6);
    outside_near(&check, "j of a brick", j, 2.06410, 1e-5);
    outside_close(&check);
}

enum { STEPS_A_MINUTE = 8 };

/* Core temperature and F0 at the end of `minutes` in steam of 121.0 degC, from 20 degC. */
static void step_cook(const struct heat_body *body, double alpha, double conductance,
                      double capacity, size_t minutes, double *celsius, double *f0)
{
    struct heat_properties properties = {alpha, capacity, conductance};
    struct heat_point history = {0.0, 121.0};
    struct heat_model model;
    size_t count = minutes * STEPS_A_MINUTE + 1;
    double *core = calloc(count, sizeof *core), *total = calloc(count, sizeof *total);

    assert_non_null(core);
    assert_non_null(total);
    assert_int_equal(heat_model(body, &properties, &model), PROCESS_OK);
    assert_int_equal(
        heat_curve(&model, 20.0, &history, 1, 60.0 / STEPS_A_MINUTE, false, core, count, NULL),
        PROCESS_OK);
    lethality_curve(core, count, 1.0 / STEPS_A_MINUTE, 121.1, 10.0, total);
    *celsius = core[count - 1];
    *f0 = total[count - 1];
    free(core);
    free(total);
}

TEST(end_to_end)
{
    (void)state;
    struct outside check = {
        .source = "conduction series and F0 by adaptive quadrature with R 4.2.2 and SciPy 1.10.1, "
                  "steam 121.0 degC from 20 degC (degC and minutes)"};
    struct heat_body slab = {.directions = {{HEAT_SLAB, 0.04}}, .count = 1};
    const struct {
        struct heat_body body;
        double alpha, conductance, capacity;
        size_t minutes;
        double celsius, f0;
    } rows[] = {
        {slab, 2e-7, INFINITY, 2e6, 120, 107.042402, 0.525867},
        {heat_cylinder(0.044, 0.12), 2.5e-7, INFINITY, 2e6, 90, 119.552632, 14.728492},
        {heat_cylinder(0.044, 0.12), 2.5e-7, 333.0, 2e6, 90, 119.034008, 11.782063},
        {heat_brick(0.20, 0.12, 0.08), 2e-7, INFINITY, 2e6, 150, 118.597401, 16.690517},
        {heat_brick(0.20, 0.12, 0.08), 1.3e-7, INFINITY, 2e6, 150, 109.855703, 1.199676},
        {heat_brick(0.20, 0.12, 0.08), 3e-7, INFINITY, 2e6, 150, 120.738754, 50.599460},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double celsius, f0;
        step_cook(&rows[i].body, rows[i].alpha, rows[i].conductance, rows[i].capacity,
                  rows[i].minutes, &celsius, &f0);
        outside_near(&check, "core", celsius, rows[i].celsius, 1e-6);
        outside_near(&check, "F0", f0, rows[i].f0, 1e-6);
    }
    outside_close(&check);
}

enum { LAST_CELSIUS, LAST_F0, RESULTS };

/* A whole cook: come-up in a straight line, hold, cooling in one to 100 degC. */
static void cook(const struct heat_body *body, double alpha, double steam, double come_up,
                 double hold, double cool, double result[RESULTS])
{
    struct heat_properties properties = {alpha, 2e6, INFINITY};
    double a = come_up * 60, b = (come_up + hold) * 60, c = (come_up + hold + cool) * 60;
    struct heat_point history[] = {{0, come_up > 0 ? 20 : steam}, {a, steam}, {b, steam}, {c, 100}};
    struct heat_model model;
    size_t count = (size_t)((come_up + hold + cool) * STEPS_A_MINUTE) + 1;
    double *core = calloc(count, sizeof *core), *total = calloc(count, sizeof *total);

    assert_non_null(core);
    assert_non_null(total);
    assert_int_equal(heat_model(body, &properties, &model), PROCESS_OK);
    assert_int_equal(heat_curve(&model, 20.0, history, cool > 0 ? 4 : 3, 60.0 / STEPS_A_MINUTE,
                                true, core, count, NULL),
                     PROCESS_OK);
    lethality_curve(core, count, 1.0 / STEPS_A_MINUTE, 121.1, 10.0, total);
    result[LAST_CELSIUS] = core[count - 1];
    result[LAST_F0] = total[count - 1];
    free(core);
    free(total);
}

/* tests/outside/data/whole_cooks.csv tells how it was made. */
TEST(whole_cooks)
{
    (void)state;
    struct outside check = {
        .source = "whole cooks (come-up, hold, capped cooling) mode by mode with numpy 1.24.2, "
                  "tests/outside/data/whole_cooks.csv (degC and minutes)"};
    FILE *file = fopen("tests/outside/data/whole_cooks.csv", "r");
    char line[256], name[16];
    double alpha, steam, come_up, hold, cool, celsius, f0, result[RESULTS];

    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL) {
        if (sscanf(line, "%15[^,],%lf,%lf,%lf,%lf,%lf,%lf,%lf", name, &alpha, &steam, &come_up,
                   &hold, &cool, &celsius, &f0) != 8)
            continue;
        struct heat_body body = name[0] == 'b'   ? heat_brick(0.20, 0.12, 0.08)
                                : name[0] == 'j' ? heat_cylinder(0.044, 0.12)
                                                 : heat_brick(0.17, 0.13, 0.12);
        cook(&body, alpha, steam, come_up, hold, cool, result);
        outside_near(&check, "core", result[LAST_CELSIUS], celsius, 1e-5);
        /* Where the cap begins the curve has a corner, which both methods step across. */
        outside_near(&check, "F0", result[LAST_F0], f0, cool > 0 ? 2e-3 : 1e-4);
    }
    fclose(file);
    assert_int_equal(check.compared, 2 * 60);
    outside_close(&check);
}

TEST(lethal_rate_table)
{
    (void)state;
    struct outside check = {.source = "lethal rates for 121.1 degC, z = 10 K (Ball 1923; Stumbo, "
                                      "Thermobacteriology in Food Processing, 1973), six decimals"};
    static const double rows[][2] = {
        {100, 0.007762}, {105, 0.024547}, {110, 0.077625}, {115, 0.245471},
        {116, 0.309030}, {118, 0.489779}, {120, 0.776247}, {121, 0.977237},
        {121.1, 1.0},    {122, 1.230269}, {124, 1.949845}, {125, 2.454709},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        outside_near(&check, "L", lethality_rate(rows[i][0], 121.1, 10.0), rows[i][1], 0.6e-6);
    outside_close(&check);
}

TEST(closed_forms)
{
    (void)state;
    struct outside check = {.source = "closed forms: a ramp, F = (10/ln 10)(1 - 10^-2.11); an "
                                      "exponential approach, by the exponential integral E1"};
    struct lethality sum;
    double minutes;

    lethality_init(&sum, 121.1, 10.0, INFINITY);
    assert_int_equal(lethality_add(&sum, 0.0, 100.0), PROCESS_OK);
    assert_int_equal(lethality_add(&sum, 21.1, 121.1), PROCESS_OK);
    assert_int_equal(lethality_finish(&sum, &minutes), PROCESS_OK);
    outside_near(&check, "ramp in one line", minutes, 4.309233, 0.6e-6);
    outside_near(&check, "ramp in one line", minutes, 10.0 / M_LN10 * (1.0 - pow(10.0, -2.11)),
                 1e-12);

    static const double published[][2] = {{60, 7.866711}, {90, 33.039259}, {120, 62.500237}};
    static const double j = 2.0, span = 101.1, f = 30.0;
    static double core[120 * STEPS_A_MINUTE + 1], total[120 * STEPS_A_MINUTE + 1];
    for (size_t i = 0; i < sizeof core / sizeof *core; i++)
        core[i] = 121.1 - j * span * pow(10.0, -(double)i / STEPS_A_MINUTE / f);
    lethality_curve(core, sizeof core / sizeof *core, 1.0 / STEPS_A_MINUTE, 121.1, 10.0, total);
    for (size_t i = 0; i < 3; i++) {
        double b0 = M_LN10 / 10.0 * j * span, b = b0 * pow(10.0, -published[i][0] / f);
        double exact = f / M_LN10 * (gsl_sf_expint_E1(b) - gsl_sf_expint_E1(b0));
        outside_near(&check, "approach, E1", exact, published[i][1], 0.6e-6);
        outside_near(&check, "approach", total[(size_t)published[i][0] * STEPS_A_MINUTE], exact,
                     1e-6);
    }
    outside_close(&check);
}

TEST(indicator_survival_and_kill)
{
    (void)state;
    struct outside check = {
        .source = "ISO 11138-3 indicators, N = 1e5, D121 = 1.5 min: survival time (log10 N - 2) D "
                  "= 4.5 min leaves 1e2, kill time (log10 N + 4) D = 13.5 min leaves 1e-4"};

    outside_near(&check, "survival time", log10(survivors(1e5, 4.5 / 1.5)), 2.0, 1e-12);
    outside_near(&check, "kill time", log10(survivors(1e5, 13.5 / 1.5)), -4.0, 1e-12);
    outside_near(&check, "chance at the kill time", survivors_chance(survivors(1e5, 9.0)), 1e-4,
                 1e-8);
    outside_close(&check);
}

TEST(chance_of_a_survivor)
{
    (void)state;
    struct outside check = {.source = "1 - exp(-N0 10^-LR), N0 = 1e6, LR 6, 9, 12; F0 for a chance "
                                      "of 1e-3 = D (log10 N0 + 3)"};
    double log_reduction;

    outside_near(&check, "LR 6", survivors_chance(survivors(1e6, 6)), 0.632121, 0.6e-6);
    outside_near(&check, "LR 9", survivors_chance(survivors(1e6, 9)), 9.995e-4, 0.6e-7);
    outside_near(&check, "LR 12", survivors_chance(survivors(1e6, 12)), 1.0e-6, 1e-11);
    assert_int_equal(survivors_target(1e6, 1e-3, &log_reduction), PROCESS_OK);
    for (double d = 0.5; d <= 1.5; d += 0.5)
        outside_near(&check, "F0 for 1e-3", d * log_reduction, 9.0 * d, 0.001 * d);
    outside_close(&check);
}

TEST(kill_with_its_own_z)
{
    (void)state;
    struct outside check = {
        .source = "Kort et al. 2005, AEM 71:3556: isolate A163, D120 = 0.7 min, z = 6.1; 48.89 min "
                  "at 115 degC is F0 = 12 but only 10.58 of the 25.97 logs of 12 min at 121.1"};
    const double d = 0.7;

    outside_near(&check, "F0", 48.89 * lethality_rate(115, 121.1, 10), 12.0, 0.002);
    outside_near(&check, "at 115", 48.89 * lethality_rate(115, 120, 6.1) / d, 10.58, 0.01);
    outside_near(&check, "at 121.1", 12 * lethality_rate(121.1, 120, 6.1) / d, 25.97, 0.01);
    outside_close(&check);
}

int main(void)
{
    return tests_run("heat and lethality against published figures", NULL, NULL);
}
