/* SPDX-License-Identifier: GPL-3.0-or-later */

#include "reason/reason.h"
#include "support/naive.h"
#include "support/random_base.h"
#include "support/test.h"

/* A clean and a contaminated finding of equal weight; the observable leans without deciding. */
struct small {
    struct rule_base *base;
    struct reasoner *reasoner;
    struct posterior posterior;
    struct observation said[2];
    struct evidence evidence;
    struct stakes stakes;
    struct decision decision;
};

enum { SIGN = 0, MARKS = 1 }; /* a one-of of three values and a several-of of two */

static struct small small_new(void)
{
    const double thirds[] = {1.0 / 3, 1.0 / 3, 1.0 / 3}, rare[] = {0.1, 0.1};
    struct small small = {.base = base_new(), .stakes = {1, 0, RULES_NONE, 0}};
    struct decision_rules *rules = &small.base->rules.decision;
    base_observable(small.base, KIND_ONE, 3, thirds);
    base_observable(small.base, KIND_SEVERAL, 2, rare);
    base_finding(small.base, FINDING_CLEAN, 1);
    base_finding(small.base, FINDING_CONTAMINATED, 1);
    small.base->findings[1].hazard = HAZARD_SPORING;
    small.base->findings[1].reveal = 0.8;
    small.base->findings[1].spread = 0.1;
    base_look(small.base, 0, SIGN, 0, 0.9);
    base_look(small.base, 1, SIGN, 0, 0.05);
    rules->keep_wrong = 1;
    rules->keep_wrong_hazard[HAZARD_SPORING] = 2;
    rules->isolate_delay = 0.06;
    rules->isolate_spread = 0.15;
    rules->discard_effort = 0.03;
    return small;
}

static void small_judge(struct small *small)
{
    if (!small->reasoner) {
        small->reasoner = reasoner_new(&small->base->rules);
        assert_non_null(small->reasoner);
        posterior_init(&small->posterior, small->reasoner, NULL);
    }
    small->evidence.observations = small->said;
    reason_posterior(small->reasoner, &small->evidence, -1, &small->posterior);
    reason_decide(small->reasoner, &small->evidence, &small->posterior, &small->stakes,
                  &small->decision);
}

static void small_free(struct small *small)
{
    posterior_release(&small->posterior);
    reasoner_free(small->reasoner);
    base_free(small->base);
}

TEST(losses_are_those_of_the_formulas)
{
    (void)state;
    struct small small = small_new();
    small.stakes = (struct stakes){
        .worth = 4, .neighbours = 12, .use = (int)base_use(small.base, 0.8), .use_count = 10};
    small_judge(&small);

    double keep = 4 * 1.0 + 2 + 12 * 0.1 + 8, discard = 0.03; /* of the contaminated one */

    /* Even odds: after an uneventful look the vessel is clean with 1 / 1.2, yet ten uses hang on
     * it: 0.2 of 0.5 x 15.2 kept against 0.5 x 4.03 + 0.1 x 0.03 thrown away. */
    double waiting = 0.06 + 0.5 * 0.15 * 12 * 0.1;
    double shown = 0.5 * 0.8 * fmin(keep, discard);
    double hidden = fmin(0.5 * 0.2 * keep, 0.5 * 4.03 + 0.5 * 0.2 * discard);
    assert_close(small.decision.loss[ACTION_KEEP], 7.6L, 1e-14);
    assert_close(small.decision.loss[ACTION_DISCARD], 2.03L, 1e-14);
    assert_close(small.decision.loss[ACTION_ISOLATE], (long double)(waiting + shown + hidden),
                 1e-14);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    small_free(&small);
}

/* What is at stake moves the action on the same evidence. */
TEST(stakes_move_the_action)
{
    (void)state;
    struct small small = small_new();
    int use = (int)base_use(small.base, 0.8);
    small.base->findings[1].base = 0.3;
    small.said[SIGN].seen = 1; /* contaminated: 0.3 x 0.05 to 1 x 0.9, 1.6 % */
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_KEEP);
    small.stakes = (struct stakes){1, 20, use, 10};
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    small.said[SIGN].seen = 6; /* 0.3 x 0.95 to 1 x 0.1 */
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_DISCARD);
    small_free(&small);
}

TEST(floors_stand_above_the_sum)
{
    (void)state;
    struct small small = small_new();
    struct floor_rule *forbids = base_floor(small.base);
    forbids->forbids_keep = true;
    forbids->contaminated_above = 0.01;
    struct floor_rule *isolates = base_floor(small.base);
    isolates->action = ACTION_ISOLATE;
    isolates->when = base_condition(small.base, 1, (size_t)MARKS, UINT32_C(3));
    struct floor_rule *discards = base_floor(small.base);
    discards->action = ACTION_DISCARD;
    discards->when = base_condition(small.base, 1, (size_t)MARKS, UINT32_C(1));
    const struct condition exceptions[] = {
        base_condition(small.base, 1, (size_t)SIGN, UINT32_C(4)),
        base_condition(small.base, 1, (size_t)SIGN, UINT32_C(2)),
    };
    discards->unless = exceptions;
    discards->unless_count = 2;
    small.base->findings[1].base = 0.3;
    small.said[SIGN].seen = 1;

    small_judge(&small); /* 1.6 % is above the bound; the sum alone says keep */
    assert_true(small.decision.loss[ACTION_KEEP] < small.decision.loss[ACTION_ISOLATE]);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    assert_int_equal(small.decision.floor, 0);
    assert_true(small.decision.forbidden[ACTION_KEEP]);
    assert_false(small.decision.forbidden[ACTION_DISCARD]);

    small.said[MARKS].seen = 2; /* forces isolate, and is named before the one that forbids */
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    assert_int_equal(small.decision.floor, 1);

    small.said[MARKS].seen = 1; /* both force; the graver action */
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_DISCARD);
    assert_int_equal(small.decision.floor, 2);
    assert_true(small.decision.forbidden[ACTION_ISOLATE]);

    small.said[MARKS].hedged = 1; /* "maybe": not plain enough for a floor */
    small_judge(&small);
    assert_int_equal(small.decision.floor, 0);

    small.said[MARKS].hedged = 0; /* the exception holds */
    small.said[SIGN].seen = 4;
    small_judge(&small);
    assert_int_equal(small.decision.floor, 1);
    small.said[SIGN].seen = 2; /* and the other */
    small_judge(&small);
    assert_int_equal(small.decision.floor, 1);

    small.said[SIGN].seen = 6; /* "one of these" is not sure enough for the exception */
    small_judge(&small);
    assert_int_equal(small.decision.floor, 2);
    small_free(&small);
}

/* A floor that forbids what the losses would not have chosen anyway is not named. */
TEST(a_floor_that_changes_nothing_is_not_named)
{
    (void)state;
    struct small small = small_new();
    struct floor_rule *forbids = base_floor(small.base);
    forbids->forbids_keep = true;
    forbids->contaminated_above = 0.1;
    small.said[SIGN].seen = 2;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_DISCARD);
    assert_true(small.decision.forbidden[ACTION_KEEP]);
    assert_int_equal(small.decision.floor, RULES_NONE);
    small_free(&small);
}

/* Among words that nothing understood may be what is wrong. */
TEST(a_floor_may_ask_for_words_not_understood)
{
    (void)state;
    struct small small = small_new();
    struct floor_rule *forbids = base_floor(small.base);
    forbids->forbids_keep = true;
    forbids->contaminated_above = 0.01;
    forbids->unread_above = 2;
    small.base->findings[1].base = 0.3;
    small.said[SIGN].seen = 1;
    small.evidence.unread = 2;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_KEEP);
    small.evidence.unread = 3;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    assert_int_equal(small.decision.floor, 0);
    forbids->after_objection = true;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_KEEP);
    small.evidence.objected = true;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    small_free(&small);
}

/* Where all was understood, and nothing was said of a sign, not even that it is absent. */
TEST(a_floor_may_ask_that_nothing_was_told_of_a_sign)
{
    (void)state;
    struct small small = small_new();
    struct floor_rule *forces = base_floor(small.base);
    forces->action = ACTION_ISOLATE;
    forces->contaminated_above = 0.0;
    forces->unless_told = (size_t[]){SIGN};
    forces->unless_told_count = 1;
    forces->all_understood = true;
    small.base->findings[1].base = 0.3;
    small_judge(&small);
    assert_int_equal(small.decision.floor, 0);
    small.evidence.unread = 1;
    small_judge(&small);
    assert_int_equal(small.decision.floor, RULES_NONE);
    small.evidence.unread = 0;
    small.said[SIGN].absent = 4;
    small_judge(&small);
    assert_int_equal(small.decision.floor, RULES_NONE);
    small_free(&small);
}

/* It yields where what was seen alone speaks against contamination too. */
TEST(a_floor_may_yield_but_never_to_words_alone)
{
    (void)state;
    struct small small = small_new();
    struct floor_rule *forbids = base_floor(small.base);
    forbids->forbids_keep = true;
    forbids->when = base_condition(small.base, 1, (size_t)SIGN, UINT32_C(7));
    small.base->findings[1].base = 0.3;
    small.said[SIGN].seen = 1; /* contaminated: 1.6 % */
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    forbids->yields_below = 0.01;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_ISOLATE);
    forbids->yields_below = 0.02;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_KEEP);
    small.said[SIGN].seen = 6; /* contaminated as seen, and words that say the opposite */
    const double words[2] = {9.0, 0.0};
    small.evidence.words = words;
    small_judge(&small);
    assert_true(small.posterior.finding[1] < 0.01);
    assert_int_not_equal(small.decision.action, ACTION_KEEP);
    small_free(&small);
}

/* Thirty contaminated findings whose probabilities add up to a little more than 1. */
TEST(a_bound_of_one_is_never_exceeded)
{
    (void)state;
    struct small small = small_new();
    struct floor_rule *never = base_floor(small.base);
    never->action = ACTION_ISOLATE;
    small.base->findings[0].status = FINDING_CONTAMINATED;
    for (size_t k = 0; k < 28; k++)
        base_finding(small.base, FINDING_CONTAMINATED, 0.1 + (double)k / 7);
    for (uint32_t k = 1; k < 7; k++) {
        small.said[SIGN].seen = k;
        small_judge(&small);
        assert_int_equal(small.decision.floor, RULES_NONE);
        assert_int_equal(small.decision.action, ACTION_DISCARD);
    }
    small_free(&small);
}

TEST(keep_is_never_forced_over_a_floor_that_forbids_it)
{
    (void)state;
    struct small small = small_new();
    struct floor_rule *keeps = base_floor(small.base);
    keeps->action = ACTION_KEEP;
    keeps->when = base_condition(small.base, 1, (size_t)SIGN, UINT32_C(1));
    small.said[SIGN].seen = 1;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_KEEP);
    small_free(&small);

    small = small_new();
    keeps = base_floor(small.base);
    keeps->action = ACTION_KEEP;
    keeps->when = base_condition(small.base, 1, (size_t)SIGN, UINT32_C(1));
    struct floor_rule *forbids = base_floor(small.base);
    forbids->forbids_keep = true;
    forbids->contaminated_above = 0.01;
    small.base->findings[1].base = 0.3;
    small.said[SIGN].seen = 1;
    small_judge(&small);
    assert_int_not_equal(small.decision.action, ACTION_KEEP);
    assert_int_equal(small.decision.floor, 1);
    small_free(&small);
}

TEST(the_next_step_is_the_first_that_holds)
{
    (void)state;
    static const size_t other[] = {1}, leader[] = {0};
    struct small small = small_new();
    small.base->steps[0] = (struct next_step){.id = "a", .findings = other, .finding_count = 1};
    small.base->steps[1] = (struct next_step){
        .id = "b", .when = base_condition(small.base, 1, (size_t)MARKS, UINT32_C(1))};
    small.base->steps[2] = (struct next_step){.id = "c", .findings = leader, .finding_count = 1};
    small.base->rules.decision.next_step_count = 3;
    small.base->findings[1].base = 0.01;
    small.said[SIGN].seen = 1;
    small_judge(&small);
    assert_int_equal(small.decision.action, ACTION_KEEP);
    assert_int_equal(small.decision.next_step, 2);
    small.said[MARKS].seen = 1;
    small_judge(&small);
    assert_int_equal(small.decision.next_step, 1);
    small.said[SIGN].seen = 2;
    small_judge(&small);
    assert_int_not_equal(small.decision.action, ACTION_KEEP);
    assert_int_equal(small.decision.next_step, RULES_NONE);
    small_free(&small);
}

TEST(agrees_with_every_plan_enumerated)
{
    (void)state;
    struct dice dice = {11};
    for (int round = 0; round < 300; round++) {
        struct random_size size = {.findings = 2 + dice_below(&dice, 5),
                                   .causes = dice_below(&dice, 4),
                                   .observables = 1 + dice_below(&dice, 5),
                                   .values = 4,
                                   .species = 2 * dice_below(&dice, 2)};
        struct rule_base *base = random_base(&dice, &size);
        random_decision(base, &dice);
        struct stakes stakes = random_stakes(base, &dice);
        struct observation said[BASE_OBSERVABLES];
        struct evidence evidence = {.observations = said};
        struct reasoner *reasoner = reasoner_new(&base->rules);
        struct naive *naive = malloc(sizeof *naive);
        struct posterior posterior;
        struct decision decision;
        posterior_init(&posterior, reasoner, NULL);
        random_evidence(base, &dice, 0.5, said);
        reason_posterior(reasoner, &evidence, -1, &posterior);
        reason_decide(reasoner, &evidence, &posterior, &stakes, &decision);
        naive_posterior(&base->rules, &evidence, (long double)base->rules.calibration.tau, naive);
        struct naive_decision want = naive_decide(&base->rules, &evidence, naive->finding, &stakes);
        for (int a = 0; a < ACTION_COUNT; a++)
            assert_close(decision.loss[a], want.loss[a], 1e-11);
        assert_int_equal(decision.action, want.action);
        assert_false(decision.forbidden[decision.action]);
        posterior_release(&posterior);
        reasoner_free(reasoner);
        free(naive);
        base_free(base);
    }
}

int main(void)
{
    return tests_run("reason decide", NULL, NULL);
}
