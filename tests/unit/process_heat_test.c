/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>
#include <stdlib.h>

#include "process/heat.h"
#include "support/test.h"

enum { COUNT = 601 }; /* 150 minutes in steps of 15 s */

static struct heat_model bag_model(void)
{
    struct heat_body bag = heat_brick(0.20, 0.12, 0.08);
    struct heat_properties properties = {2.5e-7, 2e6, 1000};
    struct heat_model model;
    assert_int_equal(heat_model(&bag, &properties, &model), PROCESS_OK);
    return model;
}

TEST(theta_falls_from_one_to_nothing)
{
    (void)state;
    struct heat_model model = bag_model();
    double before = 1.0;
    assert_true(heat_theta(&model, 0.0) == 1.0);
    assert_true(heat_theta(&model, -5.0) == 1.0);
    for (double seconds = 1.0; seconds < 1e5; seconds *= 1.1) {
        double theta = heat_theta(&model, seconds);
        assert_true(theta <= before + 1e-11);
        assert_true(theta >= 0.0);
        before = theta;
    }
    assert_true(before < 1e-12);
}

TEST(thin_walls_heat_faster_than_thick_ones)
{
    (void)state;
    struct heat_body jar = heat_cylinder(0.044, 0.12), thick = heat_thicken(&jar, 1.5);
    struct heat_properties free_wall = {2.5e-7, 2e6, INFINITY}, glass = {2.5e-7, 2e6, 300};
    struct heat_model a, b, c;
    assert_int_equal(heat_model(&jar, &free_wall, &a), PROCESS_OK);
    assert_int_equal(heat_model(&jar, &glass, &b), PROCESS_OK);
    assert_int_equal(heat_model(&thick, &glass, &c), PROCESS_OK);
    assert_true(heat_theta(&a, 3600) < heat_theta(&b, 3600));
    assert_true(heat_theta(&b, 3600) < heat_theta(&c, 3600));
}

/* Duhamel's integral by adding up many small steps, without the table. */
static double slow_duhamel(const struct heat_model *model, double seconds)
{
    static const double ramp = 2400, from = 20, to = 121;
    double celsius = from;
    const int parts = 20000;
    for (int i = 0; i < parts; i++) {
        double at = ramp * (i + 0.5) / parts;
        if (at < seconds)
            celsius += (to - from) / parts * (1.0 - heat_theta(model, seconds - at));
    }
    return celsius;
}

TEST(ramps_agree_with_many_small_steps)
{
    (void)state;
    static double core[COUNT];
    struct heat_model model = bag_model();
    const struct heat_point history[] = {{0, 20}, {2400, 121}, {9000, 121}};

    assert_int_equal(heat_curve(&model, 20, history, 3, 15, false, core, COUNT, NULL), PROCESS_OK);
    assert_true(core[0] == 20.0);
    for (size_t i = 40; i < COUNT; i += 140)
        assert_true(fabs(core[i] - slow_duhamel(&model, 15.0 * (double)i)) < 1e-4);
}

TEST(corners_between_steps_do_not_matter)
{
    (void)state;
    static double a[COUNT], b[COUNT / 3 + 1];
    struct heat_model model = bag_model();
    const struct heat_point history[] = {{0, 20}, {1111.1, 121}, {6007.3, 121}, {7777.7, 100}};

    assert_int_equal(heat_curve(&model, 20, history, 4, 15, false, a, COUNT, NULL), PROCESS_OK);
    assert_int_equal(heat_curve(&model, 20, history, 4, 45, false, b, COUNT / 3 + 1, NULL),
                     PROCESS_OK);
    for (size_t i = 0; i < COUNT / 3; i++)
        assert_true(fabs(a[3 * i] - b[i]) < 2e-4);
}

TEST(a_jump_is_the_limit_of_a_steep_ramp)
{
    (void)state;
    static double jump[COUNT], ramp[COUNT];
    struct heat_model model = bag_model();
    const struct heat_point sudden[] = {{0, 20}, {600, 20}, {600, 121}, {9000, 121}};
    const struct heat_point steep[] = {{0, 20}, {599.5, 20}, {600.5, 121}, {9000, 121}};

    assert_int_equal(heat_curve(&model, 20, sudden, 4, 15, false, jump, COUNT, NULL), PROCESS_OK);
    assert_int_equal(heat_curve(&model, 20, steep, 4, 15, false, ramp, COUNT, NULL), PROCESS_OK);
    for (size_t i = 0; i < COUNT; i += 30)
        assert_true(fabs(jump[i] - ramp[i]) < 1e-3);
}

TEST(cooling_never_leaves_the_core_above_its_steam)
{
    (void)state;
    static double capped[COUNT], loose[COUNT];
    struct heat_model model = bag_model();
    const struct heat_point history[] = {{0, 20}, {2400, 121}, {6000, 121}, {7800, 100}};
    bool differs = false;

    assert_int_equal(heat_curve(&model, 20, history, 4, 15, true, capped, COUNT, NULL), PROCESS_OK);
    assert_int_equal(heat_curve(&model, 20, history, 4, 15, false, loose, COUNT, NULL), PROCESS_OK);
    for (size_t i = 0; i < COUNT; i++) {
        double seconds = 15.0 * (double)i;
        double outside = seconds < 2400   ? 20 + 101 * seconds / 2400
                         : seconds < 6000 ? 121
                         : seconds < 7800 ? 121 - 21 * (seconds - 6000) / 1800
                                          : 100;
        assert_true(capped[i] <= outside + 1e-9);
        assert_true(capped[i] <= loose[i] + 1e-12);
        differs = differs || loose[i] > outside + 1.0;
    }
    assert_true(differs);
}

TEST(absurd_bodies_and_histories_are_refused)
{
    (void)state;
    struct heat_body speck = heat_brick(0.2, 0.1, 0.0001), good = heat_brick(0.2, 0.1, 0.1);
    struct heat_properties properties = {2e-7, 2e6, 1000}, slow = {1e-9, 2e6, 1000},
                           insulated = {2e-7, 2e6, 0};
    struct heat_point back[] = {{0, 20}, {100, 121}, {90, 121}}, nan_point[] = {{0, NAN}};
    struct heat_model model;
    double core[4];

    assert_int_equal(heat_model(&speck, &properties, &model), PROCESS_THICKNESS);
    assert_int_equal(heat_model(&good, &slow, &model), PROCESS_DIFFUSIVITY);
    assert_int_equal(heat_model(&good, &insulated, &model), PROCESS_CONDUCTANCE);
    assert_int_equal(heat_model(&good, &properties, &model), PROCESS_OK);
    assert_int_equal(heat_curve(&model, 20, back, 3, 15, false, core, 4, NULL), PROCESS_TIME_ORDER);
    assert_int_equal(heat_curve(&model, 20, nan_point, 1, 15, false, core, 4, NULL),
                     PROCESS_PROBE_CELSIUS);
    assert_int_equal(heat_curve(&model, 20, back, 0, 15, false, core, 4, NULL), PROCESS_EMPTY);
    assert_int_equal(heat_curve(&model, 20, back, 2, 0, false, core, 4, NULL), PROCESS_EMPTY);
}

TEST(extreme_biot_numbers_have_roots)
{
    (void)state;
    for (double biot = 1e-9; biot < 1e12; biot *= 97.0)
        for (int kind = HEAT_SLAB; kind <= HEAT_CYLINDER; kind++) {
            struct heat_series series;
            assert_int_equal(heat_series((enum heat_direction_kind)kind, biot, &series),
                             PROCESS_OK);
            for (size_t i = 1; i < HEAT_TERMS; i++)
                assert_true(series.zeta[i] > series.zeta[i - 1]);
            assert_true(isfinite(series.c[0]) && series.c[0] >= 1.0 - 1e-9);
        }
}

int main(void)
{
    return tests_run("heat", NULL, NULL);
}
