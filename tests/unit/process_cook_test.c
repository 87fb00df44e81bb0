/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include "process/cook.h"
#include "support/test.h"

static const struct organism organisms[] = {
    {.d_minutes = {0.5, 0.7, 1.0},
     .z = {6.0, 6.1, 7.0},
     .reference = 120.0,
     .per_gram = {1, 100, 1e4}},
    {.d_minutes = {3, 4, 8},
     .z = {7.8, 10, 12.2},
     .reference = 121.1,
     .per_gram = {1, 10, 100},
     .role = ORGANISM_INDICATOR},
};

static struct cook_setup bag_cook(void)
{
    return (struct cook_setup){
        .steam = {15 * STEAM_KPA_PER_PSI, 0, NAN, NAN, 0},
        .air = {0, 0, 0.05},
        .come_up = {0, 40, 60},
        .cool = {0, 0, 30},
        .diffusivity = {1.3e-7, 2.5e-7, 4e-7},
        .hold = 150,
        .start_celsius = 20,
        .body = heat_brick(0.20, 0.12, 0.08),
        .conductance = 1000,
        .heat_capacity = 2e6,
        .dry_grams = 782,
        .vessels = 10,
        .target = 1e-3,
        .adequate_f0 = 12,
        .adequate_diffusivity = 2e-7,
        .organisms = organisms,
        .organism_count = 2,
    };
}

static struct cook_setup jar_cook(void)
{
    struct cook_setup setup = bag_cook();
    setup.body = heat_cylinder(0.044, 0.12);
    setup.conductance = 300;
    setup.dry_grams = 350;
    setup.hold = 90;
    return setup;
}

static struct cook_result computed(const struct cook_setup *setup)
{
    struct cook_result result;
    double value;
    assert_int_equal(cook_check(setup, &value), PROCESS_OK);
    cook_compute(setup, &result);
    return result;
}

TEST(ranges_are_ordered_and_chances_are_chances)
{
    (void)state;
    struct cook_setup setup = bag_cook();
    struct cook_result result = computed(&setup);

    assert_true(result.f0.low < result.f0.central && result.f0.central < result.f0.high);
    assert_true(result.core.low < result.core.central && result.core.central < result.core.high);
    assert_true(result.chance.low <= result.chance.central &&
                result.chance.central <= result.chance.high);
    assert_true(result.minutes_needed.low < result.minutes_needed.central &&
                result.minutes_needed.central < result.minutes_needed.high);
    assert_true(result.chance_mean > result.chance.low && result.chance_mean < result.chance.high);
    assert_true(result.chance_any_mean >= result.chance_mean);
    for (size_t i = 0; i < COOK_INPUTS; i++) {
        assert_true(result.leans[i].bad <= result.leans[i].good);
        assert_true(result.leans[i].bad <= result.margin + 1e-9);
        assert_true(result.leans[i].good >= result.margin - 1e-9);
        if (i > 0)
            assert_true(result.leans[i - 1].good - result.leans[i - 1].bad >=
                        result.leans[i].good - result.leans[i].bad);
    }
}

/* Common practice, no source: 15 psi for two and a half hours serves a bag of about 1.4 kg, 90
 * minutes a quart jar. */
TEST(the_trade_rule_is_adequate_or_marginal)
{
    (void)state;
    const struct cook_setup cooks[] = {bag_cook(), jar_cook()};
    for (size_t i = 0; i < 2; i++) {
        struct cook_setup high = cooks[i];
        struct cook_result sea = computed(&cooks[i]), mountain;
        assert_true(sea.verdict == COOK_ADEQUATE || sea.verdict == COOK_MARGINAL);
        assert_int_equal(sea.leans[0].input, COOK_DIFFUSIVITY);
        /* Neither safe nor lost beyond doubt: the physics does not know that much. */
        assert_true(sea.chance_mean > 0.01 && sea.chance_mean < 0.5);
        assert_true(sea.chance.low < 1e-6 && sea.chance.high > 0.5);

        high.steam.altitude_m = 1600;
        mountain = computed(&high);
        assert_true(mountain.f0.central < 0.6 * sea.f0.central);
        assert_true(mountain.chance_mean > 1.25 * sea.chance_mean);
        assert_true(mountain.minutes_needed.central > sea.minutes_needed.central);
        assert_true(mountain.verdict >= sea.verdict);
        assert_true(fabs(mountain.steam.central - 118.09) < 0.05);
    }
}

TEST(every_wrong_turn_makes_it_worse)
{
    (void)state;
    struct cook_setup good = jar_cook();
    double best = computed(&good).chance_mean;
    struct cook_setup worse[6];
    for (size_t i = 0; i < 6; i++)
        worse[i] = good;
    worse[0].hold = 45;
    worse[1].air = (struct range){0.1, 0.25, 0.5};
    worse[2].body = heat_thicken(&good.body, 1.5);
    worse[3].start_celsius = 2;
    worse[4].steam.gauge_kpa = 10 * STEAM_KPA_PER_PSI;
    worse[5].conductance = 20;
    for (size_t i = 0; i < 6; i++)
        assert_true(computed(&worse[i]).chance_mean > best);
}

TEST(the_minutes_needed_are_enough)
{
    (void)state;
    struct cook_setup setup = jar_cook();
    setup.cool = (struct range){0, 0, 0};
    struct cook_result result = computed(&setup);
    /* The middle figure is that of the verdict's cautious diffusivity. */
    setup.diffusivity.central = setup.adequate_diffusivity;
    setup.hold = result.minutes_needed.central;
    result = computed(&setup);
    assert_true(fabs(result.margin) < 0.05);
    assert_true(fabs(log10(result.chance.central / setup.target)) < 0.05);

    /* Boiling steam does not do it within a day when the spores are hardy. */
    setup.steam.gauge_kpa = 0;
    assert_true(isinf(computed(&setup).minutes_needed.high));
    assert_int_equal(computed(&setup).verdict, COOK_NOT_ENOUGH);
}

TEST(what_is_known_exactly_has_no_range)
{
    (void)state;
    struct cook_setup setup = bag_cook();
    struct organism sure = {.d_minutes = {0.7, 0.7, 0.7},
                            .z = {6.1, 6.1, 6.1},
                            .reference = 120.0,
                            .per_gram = {100, 100, 100}};
    setup.organisms = &sure;
    setup.organism_count = 1;
    setup.air = (struct range){0, 0, 0};
    setup.come_up = (struct range){40, 40, 40};
    setup.cool = (struct range){0, 0, 0};
    setup.diffusivity = (struct range){1.6e-7, 1.6e-7, 1.6e-7};
    struct cook_result result = computed(&setup);
    assert_true(result.f0.low == result.f0.high);
    assert_true(fabs(result.chance_mean - result.chance.central) < 1e-9);
    assert_true(fabs(result.leans[0].good - result.leans[0].bad) < 1e-9);
    /* Half known. */
    setup.diffusivity.high = 4e-7;
    assert_true(computed(&setup).chance_mean < result.chance_mean);
}

TEST(no_time_kills_nothing)
{
    (void)state;
    struct cook_setup setup = bag_cook();
    setup.hold = 0;
    setup.come_up = (struct range){0, 0, 0};
    setup.cool = (struct range){0, 0, 0};
    struct cook_result result = computed(&setup);
    assert_true(result.f0.high == 0.0);
    assert_true(result.core.central == 20.0);
    assert_true(result.chance_mean > 0.999);
}

TEST(the_course_can_be_drawn)
{
    (void)state;
    double core[221], outside[221];
    struct cook_setup setup = bag_cook();
    cook_course(&setup, 2.5e-7, 1.0, core, outside, 221);
    assert_true(core[0] == 20 && outside[0] == 20);
    for (size_t i = 0; i < 221; i++)
        assert_true(core[i] <= outside[i] + 1e-9);
    assert_true(fabs(outside[60] - 120.955) < 1e-3);
    assert_true(fabs(outside[220] - 99.974) < 0.01);
}

TEST(a_probe_needs_no_heat_model)
{
    (void)state;
    struct cook_setup setup = bag_cook();
    struct cook_probe probe;
    struct cook_result result;
    cook_probe_init(&probe, &setup, 10);
    assert_int_equal(cook_probe_finish(&probe, &setup, 0.5, &result), PROCESS_EMPTY);
    for (int minute = 0; minute <= 30; minute++)
        assert_int_equal(cook_probe_add(&probe, minute, 121.1), PROCESS_OK);
    assert_int_equal(cook_probe_add(&probe, 30, 121.1), PROCESS_TIME_ORDER);
    assert_int_equal(cook_probe_finish(&probe, &setup, 0.5, &result), PROCESS_OK);
    assert_true(fabs(result.f0.central - 30) < 1e-9);
    assert_true(result.f0.low < 30 && result.f0.low > 26 && result.f0.high < 34);
    assert_int_equal(result.verdict, COOK_ADEQUATE);
    assert_true(result.chance_mean < 1e-6);
    assert_int_equal(result.leans[0].input, COOK_RESISTANCE);
    /* The same readings through the model's own rules: 30 min at 121.1 over D at 121.1. */
    double d = 0.7 * pow(10, -1.1 / 6.1);
    assert_true(fabs(result.kills[0].log_reduction.central - 30 / d) < 1e-6);

    cook_probe_init(&probe, &setup, 10);
    for (int minute = 0; minute <= 30; minute++)
        assert_int_equal(cook_probe_add(&probe, minute, 100), PROCESS_OK);
    assert_int_equal(cook_probe_finish(&probe, &setup, 0.5, &result), PROCESS_OK);
    assert_int_equal(result.verdict, COOK_NOT_ENOUGH);
    assert_true(result.chance_mean > 0.99);
}

TEST(faults_name_what_is_off)
{
    (void)state;
    struct {
        struct cook_setup setup;
        enum process_error fault;
        double value;
    } cases[10];
    for (size_t i = 0; i < 10; i++)
        cases[i].setup = bag_cook();
    cases[0].setup.steam.altitude_m = 20000, cases[0].fault = PROCESS_ALTITUDE,
    cases[0].value = 20000;
    cases[1].setup.hold = -5, cases[1].fault = PROCESS_HOLD_MINUTES, cases[1].value = -5;
    cases[2].setup.come_up.high = 700, cases[2].fault = PROCESS_COME_UP_MINUTES,
    cases[2].value = 700;
    cases[3].setup.diffusivity.low = 1e-9, cases[3].fault = PROCESS_DIFFUSIVITY,
    cases[3].value = 1e-9;
    cases[4].setup.body = heat_brick(0.2, 0.1, 0.001), cases[4].fault = PROCESS_THICKNESS,
    cases[4].value = 0.001;
    cases[5].setup.steam.rated_kpa = 70, cases[5].fault = PROCESS_RATED_GAUGE,
    cases[5].value = 15 * STEAM_KPA_PER_PSI;
    cases[6].setup.dry_grams = 0, cases[6].fault = PROCESS_GRAIN_GRAMS, cases[6].value = 0;
    cases[7].setup.target = 0, cases[7].fault = PROCESS_TARGET_CHANCE, cases[7].value = 0;
    cases[8].setup.vessels = 0.5, cases[8].fault = PROCESS_VESSEL_COUNT, cases[8].value = 0.5;
    cases[9].setup.organism_count = 0, cases[9].fault = PROCESS_EMPTY, cases[9].value = 0;
    for (size_t i = 0; i < 10; i++) {
        double value = NAN;
        assert_int_equal(cook_check(&cases[i].setup, &value), cases[i].fault);
        assert_true(fabs(value - cases[i].value) < 1e-12);
    }
    /* Steam that is no steam any more: the temperature is told. */
    struct cook_setup cold = bag_cook();
    double value = NAN;
    cold.steam.gauge_kpa = 0;
    cold.air = (struct range){0, 0.5, 0.9};
    assert_int_equal(cook_check(&cold, &value), PROCESS_VESSEL_STEAM);
    assert_true(value > 40 && value < 60);
}

int main(void)
{
    return tests_run("cook", NULL, NULL);
}
