/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From what was said to what the physics is asked, and how its answers move causes; on the shipped
 * rules. */

#include <math.h>
#include <string.h>

#include "support/test.h"
#include "triage/physics.h"

struct shelf { /* what every test needs */
    struct rules *rules;
    struct reasoner *reasoner;
    struct arena *arena;
};

static int open_shelf(void **state)
{
    static struct shelf shelf;
    static const char *const folders[] = {"rules"};
    struct diags *diags = diags_new();
    enum status status;

    shelf.rules = rules_load(folders, 1, diags, &status);
    diags_free(diags);
    if (shelf.rules == NULL)
        return -1;
    shelf.reasoner = reasoner_new(shelf.rules);
    shelf.arena = arena_new();
    *state = &shelf;
    return shelf.reasoner != NULL && shelf.arena != NULL ? 0 : -1;
}

static int close_shelf(void **state)
{
    struct shelf *shelf = *state;
    reasoner_free(shelf->reasoner);
    arena_free(shelf->arena);
    rules_free(shelf->rules);
    return 0;
}

/* ---- physics --------------------------------------------------------------------------------- */

static struct cook_result cook_of(const struct shelf *shelf, const struct known_cook *known)
{
    struct physics_refusal refusal;
    struct cook_result result;
    struct cook_setup setup;
    assert_int_equal(physics_cook(shelf->rules, known, &setup, NULL, &refusal), PHYSICS_OK);
    cook_compute(&setup, &result);
    return result;
}

/* Common practice, no source: 15 psi for 150 minutes for a bag of 1.36 kg, 90 for a quart jar. */
TEST(the_trade_rule_with_the_shipped_numbers)
{
    const struct shelf *shelf = *state;
    const struct {
        double grams, minutes;
        enum vessel_shape shape;
    } cooks[] = {{1360, 150, SHAPE_BRICK}, {550, 90, SHAPE_CYLINDER}};

    for (size_t i = 0; i < 2; i++) {
        struct known_cook known;
        known = (struct known_cook)KNOWN_COOK;
        known.gauge = 15 * STEAM_KPA_PER_PSI;
        known.minutes = cooks[i].minutes;
        known.vessel.kind =
            physics_nearest_vessel(shelf->rules, cooks[i].shape, cooks[i].grams, NAN);
        struct cook_result sea = cook_of(shelf, &known);
        assert_int_equal(sea.verdict, COOK_ADEQUATE);
        assert_true(sea.chance_mean < 0.05 && sea.minutes_needed.central <= cooks[i].minutes);
        known.altitude = 1600;
        struct cook_result high = cook_of(shelf, &known);
        assert_true(high.f0.central < 0.6 * sea.f0.central);
        assert_true(high.chance_mean > 1.25 * sea.chance_mean);
        /* Half the time leaves it open, and then the grain decides. */
        known.minutes = 0.5 * cooks[i].minutes;
        high = cook_of(shelf, &known);
        assert_int_not_equal(high.verdict, COOK_ADEQUATE);
        assert_int_equal(high.leans[0].input, COOK_DIFFUSIVITY);
        assert_true(high.chance_mean > 0.05 && high.chance_mean < 0.9);
    }
}

TEST(gaps_are_filled_and_told)
{
    const struct shelf *shelf = *state;
    struct physics_refusal refusal;
    struct known_cook known;
    struct cook_setup setup;
    struct text assumed;

    known = (struct known_cook)KNOWN_COOK;
    assert_int_equal(physics_cook(shelf->rules, &known, &setup, NULL, &refusal), PHYSICS_NO_COOK);
    known.gauge = 100;
    assert_int_equal(physics_cook(shelf->rules, &known, &setup, NULL, &refusal),
                     PHYSICS_NO_MINUTES);
    known.minutes = 90;
    text_init(&assumed);
    assert_int_equal(physics_cook(shelf->rules, &known, &setup, &assumed, &refusal), PHYSICS_OK);
    assert_non_null(strstr(assumed.bytes, "sea level"));
    assert_non_null(strstr(assumed.bytes, "come-up"));
    text_clear(&assumed);
    known.gauge = 900;
    assert_int_equal(physics_cook(shelf->rules, &known, &setup, NULL, &refusal), PHYSICS_REFUSED);
    assert_int_equal(refusal.fault, PROCESS_GAUGE);
    physics_explain(&assumed, PHYSICS_REFUSED, &refusal);
    assert_non_null(strstr(assumed.bytes, "206.9"));
    text_release(&assumed);
}

TEST(vessels_fill_and_grow)
{
    const struct shelf *shelf = *state;
    struct known_cook known, fuller, own;
    known = (struct known_cook)KNOWN_COOK;
    known.gauge = 100;
    known.minutes = 90;
    known.vessel.kind = physics_nearest_vessel(shelf->rules, SHAPE_BRICK, 1360, NAN);
    fuller = known;
    fuller.vessel.grams = 2000;
    assert_true(cook_of(shelf, &fuller).f0.central < cook_of(shelf, &known).f0.central);
    own = known;
    own.vessel.kind = RULES_NONE;
    own.vessel.own_shape = SHAPE_BRICK;
    own.vessel.own[0] = 0.25, own.vessel.own[1] = 0.15, own.vessel.own[2] = 0.04;
    assert_true(cook_of(shelf, &own).f0.central > cook_of(shelf, &known).f0.central);
    assert_int_equal(physics_nearest_vessel(shelf->rules, SHAPE_CYLINDER, 1e9, NAN) == RULES_NONE,
                     0);
}

TEST(an_oyster_bag_is_white_in_time)
{
    const struct shelf *shelf = *state;
    struct physics_refusal refusal;
    struct known_growth known;
    struct forecast forecast;
    struct warmth constant;
    struct range warm, cold;

    known = (struct known_growth)KNOWN_GROWTH;
    assert_int_equal(physics_growth(shelf->rules, &known, &forecast, &constant, NULL, &refusal),
                     PHYSICS_NO_SPECIES);
    known.species = rules_species(shelf->rules, "oyster");
    known.vessel.kind = physics_nearest_vessel(shelf->rules, SHAPE_BRICK, 1360, NAN);
    known.dose = 4;
    known.temperature = 24;
    assert_int_equal(physics_growth(shelf->rules, &known, &forecast, &constant, NULL, &refusal),
                     PHYSICS_OK);
    assert_int_equal(forecast_days(&forecast, FORECAST_FULL, &warm), PROCESS_OK);
    assert_true(warm.central >= 10 && warm.central <= 21);
    known.temperature = 15;
    assert_int_equal(physics_growth(shelf->rules, &known, &forecast, &constant, NULL, &refusal),
                     PHYSICS_OK);
    assert_int_equal(forecast_days(&forecast, FORECAST_FULL, &cold), PROCESS_OK);
    assert_true(cold.central > 1.5 * warm.central);
}

/*
 * Every species that has growth numbers is white through in time at its best temperature, and
 * within a factor of two of the published span: like species differ by that much between studies.
 */
TEST(every_species_can_be_forecast)
{
    const struct shelf *shelf = *state;
    for (size_t i = 0; i < shelf->rules->species_count; i++) {
        struct physics_refusal refusal;
        struct known_growth known;
        struct forecast forecast;
        struct warmth constant;
        struct range days;
        known = (struct known_growth)KNOWN_GROWTH;
        known.species = (int)i;
        known.temperature = shelf->rules->species[i].growth.t_opt;
        enum physics_answer answer =
            physics_growth(shelf->rules, &known, &forecast, &constant, NULL, &refusal);
        if (answer == PHYSICS_NO_SPECIES)
            continue;
        assert_int_equal(answer, PHYSICS_OK);
        assert_int_equal(forecast_days(&forecast, FORECAST_FULL, &days), PROCESS_OK);
        const struct growth *growth = &shelf->rules->species[i].growth;
        if (growth->full.hi > 0.0 &&
            !(days.central >= 0.5 * growth->full.lo && days.central <= 2.0 * growth->full.hi))
            fail_msg("%s: day %.1f, published %.0f to %.0f", shelf->rules->species[i].id,
                     days.central, growth->full.lo, growth->full.hi);
    }
}

/* ---- moves ----------------------------------------------------------------------------------- */

enum { MOST_FACTS = 8, MOST_MOVES = 24 };

struct story { /* a case in the making */
    struct fact facts[MOST_FACTS];
    size_t count;
    struct observation observations[256];
    struct evidence evidence;
};

static void tell_number(const struct shelf *shelf, struct story *story, enum feeds feeds,
                        double number)
{
    int observable = shelf->rules->feeder[feeds];
    assert_int_not_equal(observable, RULES_NONE);
    int bin = rules_bin(&shelf->rules->observables[observable], number);
    struct fact fact = {
        .observable = (size_t)observable, .has_number = true, .number = {number, number, true}};
    fact.observation.seen = bin == RULES_NONE ? 0 : UINT32_C(1) << bin;
    story->observations[observable] = fact.observation;
    story->facts[story->count++] = fact;
}

static void tell_value(const struct shelf *shelf, struct story *story, enum feeds feeds,
                       const char *id)
{
    int observable = shelf->rules->feeder[feeds];
    assert_int_not_equal(observable, RULES_NONE);
    int value = rules_value(&shelf->rules->observables[observable], id);
    assert_int_not_equal(value, RULES_NONE);
    struct fact fact = {.observable = (size_t)observable};
    fact.observation.seen = UINT32_C(1) << value;
    story->observations[observable] = fact.observation;
    story->facts[story->count++] = fact;
}

static size_t moves_of(const struct shelf *shelf, struct story *story, struct computed *moves)
{
    assert_true(shelf->rules->observable_count <= 256);
    story->evidence = (struct evidence){.observations = story->observations};
    assert_true(shelf->rules->cause_count <= MOST_MOVES);
    struct cook_memo *memo = cook_memo_new(); /* nothing is remembered */
    size_t count = physics_moves(shelf->reasoner, &story->evidence, story->facts, story->count,
                                 memo, shelf->arena, moves);
    cook_memo_free(memo);
    return count;
}

/* The shift of the first cause moved by this; NAN when none is. */
static double shift_of(const struct shelf *shelf, struct story *story, enum moved_by moved_by)
{
    struct computed moves[MOST_MOVES];
    size_t count = moves_of(shelf, story, moves);
    for (size_t i = 0; i < count; i++)
        if (shelf->rules->causes[moves[i].cause].moved_by == moved_by) {
            assert_non_null(moves[i].say);
            return moves[i].log_odds;
        }
    return NAN;
}

/* What the posterior of the cause becomes with the facts, shifts included; before any sign. */
static double belief(const struct shelf *shelf, struct story *story, enum moved_by moved_by)
{
    struct computed moves[MOST_MOVES];
    struct prior_shift shifts[MOST_MOVES];
    struct posterior posterior;
    size_t count = moves_of(shelf, story, moves);
    double p = NAN;

    for (size_t i = 0; i < count; i++)
        shifts[i] = (struct prior_shift){moves[i].cause, moves[i].log_odds - moves[i].replaces};
    story->evidence.shifts = shifts;
    story->evidence.shift_count = count;
    posterior_init(&posterior, shelf->reasoner, NULL);
    reason_posterior(shelf->reasoner, &story->evidence, -1.0, &posterior);
    for (size_t c = 0; c < shelf->rules->cause_count; c++)
        if (shelf->rules->causes[c].moved_by == moved_by)
            p = posterior.cause[c];
    posterior_release(&posterior);
    return p;
}

static struct story cook_story(const struct shelf *shelf, double psi, double minutes, double metres)
{
    struct story story = {.count = 0};
    tell_number(shelf, &story, FEEDS_COOK_GAUGE, psi * STEAM_KPA_PER_PSI);
    tell_number(shelf, &story, FEEDS_COOK_MINUTES, minutes);
    tell_number(shelf, &story, FEEDS_ALTITUDE, metres);
    tell_value(shelf, &story, FEEDS_VESSEL, "quart_jar");
    return story;
}

TEST(a_worse_cook_is_believed_more_in)
{
    const struct shelf *shelf = *state;
    struct story nothing = {.count = 0};
    struct story good = cook_story(shelf, 15, 180, 0), usual = cook_story(shelf, 15, 60, 0),
                 high = cook_story(shelf, 15, 60, 1500), weak = cook_story(shelf, 10, 45, 1500);
    double p_nothing = belief(shelf, &nothing, MOVED_SURVIVORS),
           p_good = belief(shelf, &good, MOVED_SURVIVORS),
           p_usual = belief(shelf, &usual, MOVED_SURVIVORS),
           p_high = belief(shelf, &high, MOVED_SURVIVORS),
           p_weak = belief(shelf, &weak, MOVED_SURVIVORS);

    assert_true(p_good < p_usual && p_usual < p_high && p_high < p_weak);
    assert_true(p_good < p_nothing && p_weak > p_nothing);
}

/* Far more cooks than are remembered, each asked for twice. */
TEST(a_cook_computed_before_moves_the_same)
{
    const struct shelf *shelf = *state;
    struct cook_memo *memo = cook_memo_new();
    struct computed fresh[MOST_MOVES], recalled[MOST_MOVES];
    assert_non_null(memo);
    for (int round = 0; round < 2; round++) {
        for (int minutes = 40; minutes < 130; minutes++) {
            struct story story = cook_story(shelf, 15, minutes, 300);
            size_t count = moves_of(shelf, &story, fresh);
            for (int again = 0; again < 2; again++) {
                assert_int_equal(physics_moves(shelf->reasoner, &story.evidence, story.facts,
                                               story.count, memo, shelf->arena, recalled),
                                 count);
                for (size_t i = 0; i < count; i++) {
                    assert_true(recalled[i].log_odds == fresh[i].log_odds);
                    assert_string_equal(recalled[i].say, fresh[i].say);
                }
            }
        }
    }
    cook_memo_free(memo);
}

TEST(the_stated_weight_has_the_right_sign)
{
    const struct shelf *shelf = *state;
    struct story high = cook_story(shelf, 15, 45, 1500), good = cook_story(shelf, 15, 180, 0);
    assert_true(shift_of(shelf, &high, MOVED_SURVIVORS) > 0.3);
    assert_true(shift_of(shelf, &good, MOVED_SURVIVORS) < -0.3);
}

TEST(an_unknown_cook_says_so_and_moves_nothing)
{
    const struct shelf *shelf = *state;
    struct story story = {.count = 0};
    struct computed moves[MOST_MOVES];
    size_t count = moves_of(shelf, &story, moves);
    assert_int_equal(count, 1);
    assert_true(moves[0].log_odds == 0.0);
    assert_non_null(strstr(moves[0].say, "unknown"));
}

TEST(the_mix_moves_both_ways)
{
    const struct shelf *shelf = *state;
    struct story wet = {.count = 0}, dry = {.count = 0};
    tell_number(shelf, &wet, FEEDS_DRY_MASS, 500);
    tell_number(shelf, &wet, FEEDS_WATER_MASS, 600);
    tell_number(shelf, &dry, FEEDS_DRY_MASS, 500);
    tell_number(shelf, &dry, FEEDS_WATER_MASS, 200);
    assert_true(shift_of(shelf, &wet, MOVED_WET) > 1.0);
    assert_true(shift_of(shelf, &wet, MOVED_DRY) < 0.0);
    assert_true(shift_of(shelf, &dry, MOVED_DRY) > 1.0);
    assert_true(shift_of(shelf, &dry, MOVED_WET) < 0.0);
}

TEST(cold_is_weighed_against_the_species)
{
    const struct shelf *shelf = *state;
    struct story cold = {.count = 0}, warm = {.count = 0};
    tell_value(shelf, &cold, FEEDS_SPECIES, "oyster");
    tell_number(shelf, &cold, FEEDS_TEMPERATURE, 14);
    tell_value(shelf, &warm, FEEDS_SPECIES, "oyster");
    tell_number(shelf, &warm, FEEDS_TEMPERATURE, 25);
    assert_true(belief(shelf, &cold, MOVED_COLD) > 3.0 * belief(shelf, &warm, MOVED_COLD));
}

TEST(observed_coverage_replaces_the_guess)
{
    const struct shelf *shelf = *state;
    struct story late = {.count = 0};
    tell_value(shelf, &late, FEEDS_SPECIES, "oyster");
    tell_number(shelf, &late, FEEDS_TEMPERATURE, 15);
    tell_number(shelf, &late, FEEDS_DAY, 20);
    struct story in_time = late;
    tell_number(shelf, &late, FEEDS_COVERAGE, 40);
    tell_number(shelf, &in_time, FEEDS_COVERAGE, 95);
    /* Behind, and the cold explains it; white in spite of the cold. */
    assert_true(belief(shelf, &late, MOVED_COLD) > belief(shelf, &in_time, MOVED_COLD));
    struct computed moves[MOST_MOVES];
    size_t count = moves_of(shelf, &late, moves);
    bool told = false;
    for (size_t i = 0; i < count; i++)
        told = told || strstr(moves[i].say, "was due") != NULL;
    assert_true(told);
}

TEST(doubtful_words_move_less)
{
    const struct shelf *shelf = *state;
    struct story sure = {.count = 0};
    tell_number(shelf, &sure, FEEDS_DRY_MASS, 500);
    tell_number(shelf, &sure, FEEDS_WATER_MASS, 600);
    struct story doubtful = sure;
    for (size_t i = 0; i < doubtful.count; i++)
        doubtful.facts[i].observation.hedged = doubtful.facts[i].observation.seen;
    assert_true(shift_of(shelf, &doubtful, MOVED_WET) <= shift_of(shelf, &sure, MOVED_WET));
}

int main(void)
{
    return tests_run("physics in the triage", open_shelf, close_shelf);
}
