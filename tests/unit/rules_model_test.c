/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the small rule base in tiny-rules becomes in memory, kind by kind. */

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/diag.h"
#include "base/units.h"
#include "rules/rules.h"
#include "support/test.h"

static const char *const TINY[] = {"tests/unit/tiny-rules"};

static int load_tiny(void **state)
{
    struct diags *diags = diags_new();
    enum status status = STATUS_INTERNAL;
    struct rules *rules = rules_load(TINY, 1, diags, &status);
    for (size_t i = 0; i < diags_kept(diags); i++)
        print_message("%s\n", diags_get(diags, i)->message);
    assert_non_null(rules);
    assert_int_equal(status, STATUS_OK);
    assert_int_equal(diags_errors(diags), 0);
    assert_int_equal(diags_warnings(diags), 0);
    diags_free(diags);
    *state = rules;
    return 0;
}

static int free_tiny(void **state)
{
    rules_free(*state);
    return 0;
}

static void assert_near(double got, double want)
{
    assert_true(fabs(got - want) <= 1e-12 * (1 + fabs(want)));
}

static const struct observable *observable(const struct rules *rules, const char *id)
{
    int index = rules_observable(rules, id);
    assert_int_not_equal(index, RULES_NONE);
    return &rules->observables[index];
}

TEST(test_names_and_numbers)
{
    const struct rules *rules = *state;
    assert_string_equal(rules->name, "Tiny rules");
    assert_string_equal(rules->version, "1.2.3");
    assert_int_equal(strlen(rules->hash), 16);
    assert_int_equal(rules->scale.frequency_count, 3);
    assert_string_equal(rules->scale.frequency[2].word, "rarely");
    assert_near(rules->scale.frequency[2].number, 0.05);
    assert_near(rules->scale.weight[0].number, 3);
    assert_near(rules->calibration.tau, 0.8);
    assert_string_equal(rules->calibration.fitted_by, "nobody");
    assert_near(rules->calibration.siblings.most, 2);
    assert_near(rules->calibration.siblings.usual, 0.2);
    assert_near(rules->calibration.siblings.usual_seen, 4);
    assert_near(rules->calibration.siblings.reach_seen, 6);
    assert_int_equal(rules->group_count, 1);
    assert_near(rules->groups[0].overlap, 0.5);
}

TEST(test_sources_and_citations)
{
    const struct rules *rules = *state;
    assert_int_equal(rules->source_count, 2);
    assert_string_equal(rules->sources[0].id, "book");
    assert_string_equal(rules->sources[0].year, "2001");
    assert_false(rules->sources[0].weak);
    assert_true(rules->sources[1].weak);
    assert_string_equal(rules->sources[1].where, "Nowhere");

    const struct citation *own = &rules->findings[rules_finding(rules, "crust")].cites;
    assert_int_equal(own->count, 1);
    assert_int_equal(own->sources[0], 1);
    assert_true(own->from_memory);
    assert_false(own->expert_judgement);
}

TEST(test_signs)
{
    const struct rules *rules = *state;
    assert_int_equal(rules->observable_count, 9);
    const struct observable *tint = observable(rules, "tint");
    assert_string_equal(tint->label, "tints");
    assert_string_equal(tint->ask, "Which tints do you see?");
    assert_string_equal(tint->why, "It tells most.");
    assert_int_equal(tint->class, CLASS_SIGN);
    assert_int_equal(tint->kind, KIND_SEVERAL);
    assert_int_equal(tint->group, 0);
    assert_int_equal(tint->gate, GATE_NONE);
    assert_near(tint->effort, 1);
    assert_true(tint->cites.expert_judgement);
    assert_int_equal(tint->at.line, 3);
    assert_int_equal(tint->at.column, 3);
    assert_int_equal(tint->value_count, 2);
    assert_near(tint->values[0].base, 0.05);
    assert_string_equal(tint->values[0].look, "Brick red.");
    assert_true(isnan(tint->values[0].parameter));

    const struct observable *surface = observable(rules, "surface");
    assert_int_equal(surface->gate, GATE_UNSOLICITED);
    assert_near(surface->effort, 1.5);
    assert_int_equal(observable(rules, "blank")->class, CLASS_TEST);
    assert_near(observable(rules, "blank")->delay_days, 7);
    assert_near(observable(rules, "packing")->values[1].parameter, 2);
    assert_int_equal(rules_observable(rules, "nothing"), RULES_NONE);
    assert_int_equal(rules_value(tint, "blue"), 1);
    assert_int_equal(rules_value(tint, "green"), RULES_NONE);
}

TEST(test_bins_have_no_gaps)
{
    const struct rules *rules = *state;
    const struct observable *day = observable(rules, "day");
    assert_int_equal(day->kind, KIND_NUMBER);
    assert_int_equal(day->dimension, DIM_DAYS);
    assert_int_equal(day->feeds, FEEDS_DAY);
    assert_int_equal(rules->feeder[FEEDS_DAY], rules_observable(rules, "day"));
    assert_int_equal(rules->feeder[FEEDS_DOSE], RULES_NONE);
    assert_near(day->values[0].from, 0);
    assert_near(day->values[0].below, 8);
    assert_near(day->values[1].from, 8);
    assert_near(day->values[2].below, 100);
    assert_int_equal(rules_bin(day, 0), 0);
    assert_int_equal(rules_bin(day, 7.99), 0);
    assert_int_equal(rules_bin(day, 8), 1);
    assert_int_equal(rules_bin(day, 100), 2);
    assert_int_equal(rules_bin(day, 100.01), RULES_NONE);
    assert_int_equal(rules_bin(day, -0.01), RULES_NONE);
    assert_int_equal(rules_bin(day, NAN), RULES_NONE);
}

TEST(test_phrases_are_kept)
{
    const struct rules *rules = *state;
    const struct value *red = &observable(rules, "tint")->values[0];
    assert_int_equal(red->phrases.count, 2);
    assert_string_equal(red->phrases.list[0], "{reddish} ... {spot}");
    assert_string_equal(red->phrases.list[1], "red");
    assert_int_equal(red->phrases.at[1].line, 12);

    const struct observable *day = observable(rules, "day");
    assert_string_equal(day->phrases.list[0], "day {n}");
    assert_string_equal(day->phrases.list[1], "{q} old");
    /* A pattern has a slash before it. */
    assert_string_equal(observable(rules, "surface")->values[1].phrases.list[0],
                        "/rough \\p{L}{0,3}");
    assert_int_equal(rules->language.list_count, 9);
    assert_string_equal(rules->language.lists[0].id, "spot");
    assert_int_equal(rules->language.lists[0].items.count, 2);
    assert_string_equal(rules->language.lists[1].items.list[0], "[{deep}] red|reddish");
    assert_string_equal(rules->language.same.list[0], "blue|azure");
    assert_string_equal(rules->language.fillers.list[0], "the");
    assert_string_equal(rules->language.apart.list[0], "spots");
}

TEST(test_values_from_a_list)
{
    const struct rules *rules = *state;
    const struct observable *which = observable(rules, "species");
    assert_int_equal(which->value_count, rules->species_count);
    for (size_t i = 0; i < which->value_count; i++) {
        assert_string_equal(which->values[i].id, rules->species[i].id);
        assert_string_equal(which->values[i].label, rules->species[i].name);
        assert_ptr_equal(which->values[i].phrases.list, rules->species[i].phrases.list);
    }
    assert_near(which->values[0].base, 0.75); /* 0.6 of 0.8 */
    assert_int_equal(observable(rules, "grain")->value_count, 2);
    assert_int_equal(observable(rules, "vessel")->value_count, 2);
}

TEST(test_findings)
{
    const struct rules *rules = *state;
    assert_int_equal(rules->finding_count, 2);
    int crust = rules_finding(rules, "crust");
    int plain = rules_finding(rules, "plain");
    const struct finding *finding = &rules->findings[crust];
    assert_int_equal(finding->status, FINDING_CONTAMINATED);
    assert_int_equal(finding->hazard, HAZARD_SPORING);
    assert_near(finding->reveal, 0.9);
    assert_int_equal(finding->look_count, 6);
    assert_string_equal(finding->looks[0].word, "mostly");
    assert_near(finding->looks[0].number, 0.9);
    assert_null(finding->looks[1].word);
    assert_near(finding->looks[1].number, 0.125);
    assert_true(finding->looks[1].cites.common_practice); /* the block's own */
    assert_false(finding->looks[1].cites.from_memory);
    assert_true(finding->looks[2].cites.from_memory); /* the finding's */
    assert_int_equal(finding->step_count[ACTION_KEEP], 0);
    assert_int_equal(finding->step_count[ACTION_DISCARD], 2);
    assert_string_equal(finding->steps[ACTION_DISCARD][1], "Throw it away.");
    assert_null(rules->findings[plain].also);
    assert_int_equal(rules->findings[plain].differ_count, 1);
    assert_int_equal(rules->findings[plain].differs[0].from, crust);
}

TEST(test_causes)
{
    const struct rules *rules = *state;
    const struct cause *cause = &rules->causes[rules_cause(rules, "short_cook")];
    assert_int_equal(cause->scope, SCOPE_COOK);
    assert_int_equal(cause->moved_by, MOVED_SURVIVORS);
    assert_near(cause->prior, 0.1);
    assert_near(cause->reach, 0.75);
    assert_true(cause->reach_near == 0);
    assert_true(cause->shown_by_control);
    assert_int_equal(cause->grow_count, 2);
    assert_int_equal(cause->grows[0].finding, rules_finding(rules, "crust"));
    assert_near(cause->grows[0].rate, 5.5);
    assert_int_equal(cause->grows_cites.count, 1);
    assert_int_equal(cause->weigh_count, 4);
    assert_string_equal(cause->weighs[1].word, "up");
    assert_near(cause->weighs[1].number, 3);
    assert_near(cause->weighs[3].number, 12);
    assert_int_equal(cause->settle_count, 1);
    assert_int_equal(cause->settle[0], rules_observable(rules, "blank"));
    assert_int_equal(cause->change_count, 2);
}

TEST(test_what_it_grows_on)
{
    const struct rules *rules = *state;
    const struct species *amber = &rules->species[rules_species(rules, "amber")];
    const struct species *birch = &rules->species[rules_species(rules, "birch")];
    assert_near(amber->growth.t_opt, 24);
    assert_near(amber->growth.rate.hi, 5);
    assert_int_equal(amber->growth.cites.count, 1);
    assert_int_equal(amber->normal_count, 1);
    assert_int_equal(amber->normal[0].finding, rules_finding(rules, "plain"));
    assert_near(amber->normal[0].claim.number, 0.5);
    assert_true(isnan(birch->growth.t_opt));
    assert_true(isnan(birch->growth.full.hi));
    assert_true(isnan(rules->grains[rules_grain(rules, "rice")].raw_limit));
    assert_near(rules->grains[0].target.hi, 52);
    const struct vessel_kind *pot = &rules->vessels[rules_vessel(rules, "pot")];
    const struct vessel_kind *sack = &rules->vessels[rules_vessel(rules, "sack")];
    assert_int_equal(pot->shape, SHAPE_CYLINDER);
    assert_near(pot->height, 0.12);
    assert_true(isnan(pot->sides[0]));
    assert_int_equal(sack->shape, SHAPE_BRICK);
    assert_near(sack->sides[2], 0.08);
    assert_true(isnan(sack->litres));
}

TEST(test_cautions_stand_by_rank)
{
    const struct rules *rules = *state;
    assert_int_equal(rules->caution_count, 3);
    const struct caution *first = &rules->cautions[0];
    assert_string_equal(first->id, "keep_shut");
    assert_int_equal(first->hazards, 1u << HAZARD_SPORING | 1u << HAZARD_TOXIGENIC);
    assert_int_equal(first->statuses, 1u << FINDING_CONTAMINATED);
    assert_int_equal(first->finding_count, 1);
    assert_near(first->at_least, 0.1);
    assert_int_equal(first->when.count, 2);
    assert_int_equal(first->when.observables[0], rules_observable(rules, "tint"));
    assert_int_equal(first->when.values[0], 3);
    assert_int_equal(first->when.values[1], 2);
    assert_string_equal(rules->cautions[1].id, "afterwards"); /* of one rank: order of the file */
    assert_int_equal(rules->cautions[1].actions, 1u << ACTION_ISOLATE | 1u << ACTION_DISCARD);
    assert_true(rules->cautions[2].always);
}

TEST(test_decision)
{
    const struct rules *rules = *state;
    const struct decision_rules *decision = &rules->decision;
    assert_string_equal(decision->action_label[ACTION_ISOLATE], "Isolate");
    assert_near(decision->keep_wrong, 1);
    assert_near(decision->keep_wrong_hazard[HAZARD_TOXIGENIC], 3);
    assert_near(decision->isolate_days, 2);
    assert_near(decision->neighbours, 6);
    assert_int_equal(decision->use_count, 1);
    assert_near(decision->uses[0].loss_each, 0.8);
    assert_int_equal(decision->floor_count, 2);
    assert_false(decision->floors[0].forbids_keep);
    assert_int_equal(decision->floors[0].action, ACTION_DISCARD);
    assert_near(decision->floors[0].contaminated_above, 1);
    assert_int_equal(decision->floors[0].when.count, 2);
    assert_int_equal(decision->floors[0].unless[0].values[0], 1);
    assert_true(decision->floors[1].forbids_keep);
    assert_near(decision->floors[1].contaminated_above, 0.1);
    assert_true(decision->floors[1].cites.expert_judgement); /* the decision's */
    assert_int_equal(decision->next_step_count, 2);
    assert_int_equal(decision->next_steps[0].finding_count, 1);
    assert_int_equal(decision->next_steps[1].when.count, 0);
}

TEST(test_process_physics)
{
    const struct rules *rules = *state;
    assert_int_equal(rules->organism_count, 1);
    assert_int_equal(rules->organisms[0].role, ORGANISM_SPORE_FORMER);
    assert_near(rules->organisms[0].d_minutes.central, 0.7);
    assert_near(rules->cook.diffusivity.low, 1.3e-7);
    assert_near(rules->cook.judged_f0, 12);
    assert_near(rules->cook.probe_gap, 10);
    assert_int_equal(rules->cook.packing_count, 2);
    assert_int_equal(rules->cook.packings[1].value, 1);
    assert_near(rules->cook.packings[1].thickness, 1.4);
    assert_int_equal(rules->cook.no_pressure.count, 1);
    assert_int_equal(rules->starter_count, 1);
    assert_int_equal(rules->starters[0].value, 0);
    assert_near(rules->starters[0].points.high, 30);
    assert_near(rules->forecast.shake.hi, 40);
    assert_near(rules->forecast.fill_most, 0.75);
    assert_near(rules->moves[MOVED_SURVIVORS].trust, 0.8);
    assert_near(rules->moves[MOVED_WET].most, 0);
}

TEST(test_language)
{
    const struct rules *rules = *state;
    const struct language *language = &rules->language;
    assert_int_equal(language->negations.count, 2);
    assert_string_equal(language->negations.list[0], "no");
    assert_int_equal(language->where_count, 1);
    assert_int_equal(language->where[0], rules_observable(rules, "surface"));
    assert_int_equal(language->statement_count, 1);
    const struct statement *statement = &language->statements[0];
    assert_string_equal(statement->phrases.list[1], "no {spot}");
    assert_int_equal(statement->seen.values[0], 1);
    assert_int_equal(statement->absent.observables[0], rules_observable(rules, "tint"));
    assert_int_equal(statement->other_count, 1);
}

TEST(test_enums_have_names)
{
    (void)state;
    assert_string_equal(action_name(ACTION_DISCARD), "discard");
    assert_string_equal(status_name(FINDING_STUCK), "stuck");
    assert_string_equal(hazard_name(HAZARD_TOXIGENIC), "toxigenic");
    assert_string_equal(scope_name(SCOPE_GRAIN_LOT), "grain_lot");
    assert_string_equal(scope_name(SCOPE_VESSEL), "vessel");
}

int main(void)
{
    return tests_run("rules model", load_tiny, free_tiny);
}
