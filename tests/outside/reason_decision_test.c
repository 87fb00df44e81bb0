/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Textbook decisions under uncertainty: expected values, the value of perfect
 * information and of a test.
 *
 * Drill is keep, and not to drill is discard; a dry site is a contaminated one.
 * Pay-offs become losses against the better action in each state, which changes
 * no difference between actions. The least expected loss is then the value of
 * perfect information. Isolating is priced out of reach.
 */
#include "outside/process_check.h"

#include "reason/reason.h"
#include "support/rule_base.h"

enum { TEST = 0, MOST_STATES = 3, MOST_RESULTS = 3 };

struct problem {
    size_t states, results;
    struct {
        double p;                    /* prior probability */
        bool dry;                    /* better not drilled */
        double regret;               /* of the wrong action there */
        double result[MOST_RESULTS]; /* P(result of the test | state) */
    } state[MOST_STATES];
};

struct solved {
    double drill, leave; /* expected losses */
    enum action action;
    double test_value; /* expected drop in loss by the test; 0 if no result matters */
    double turns;
    double posterior[MOST_RESULTS][MOST_STATES];
};

static void problem_build(struct rule_base *base, const struct problem *problem)
{
    const double even[] = {1, 1, 1};
    double worst = 0;
    base_observable(base, KIND_ONE, problem->results, even);
    base->rules.decision.isolate_delay = 1e9;
    for (size_t s = 0; s < problem->states; s++) {
        size_t f = base_finding(base, problem->state[s].dry ? FINDING_CONTAMINATED : FINDING_CLEAN,
                                problem->state[s].p);
        base->findings[f].kept_worth = problem->state[s].dry ? 0 : problem->state[s].regret;
        worst = problem->state[s].dry ? problem->state[s].regret : worst;
        for (size_t r = 0; r < problem->results; r++)
            base_look(base, f, TEST, r, problem->state[s].result[r]);
    }
    base->rules.decision.keep_wrong = worst;
}

static struct solved problem_solve(const struct problem *problem)
{
    struct rule_base *base = base_new();
    problem_build(base, problem);
    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct stakes stakes = {1, 0, RULES_NONE, 0};
    struct observation said = {0};
    struct evidence evidence = {.observations = &said};
    struct posterior posterior;
    struct decision decision;
    struct question question = {0};
    struct solved solved = {0};

    posterior_init(&posterior, reasoner, NULL);
    reason_posterior(reasoner, &evidence, -1, &posterior);
    reason_decide(reasoner, &evidence, &posterior, &stakes, &decision);
    const struct inquiry inquiry = {AIM_ACTION, .most = 1};
    size_t count = reason_questions(reasoner, &evidence, &posterior, &stakes, &inquiry, &question);
    if (count == 1)
        solved.test_value = question.gain;
    solved.turns = question.turns;
    solved.drill = decision.loss[ACTION_KEEP];
    solved.leave = decision.loss[ACTION_DISCARD];
    solved.action = decision.action;
    for (size_t r = 0; r < problem->results; r++) {
        said.seen = 1U << r;
        reason_posterior(reasoner, &evidence, -1, &posterior);
        for (size_t s = 0; s < problem->states; s++)
            solved.posterior[r][s] = posterior.finding[s];
    }
    posterior_release(&posterior);
    reasoner_free(reasoner);
    base_free(base);
    return solved;
}

/* Wet 0.4: 600 thousand if drilled; dry 0.6: 200 thousand lost. */
static struct problem partners(double good_if_wet, double good_if_dry)
{
    return (struct problem){
        .states = 2,
        .results = 2,
        .state = {{0.4, false, 600, {good_if_wet, 1 - good_if_wet}},
                  {0.6, true, 200, {good_if_dry, 1 - good_if_dry}}},
    };
}

TEST(partners_and_a_seismic_test)
{
    (void)state;
    struct outside check = {
        .source =
            "Samuelson & Marks, Managerial Economics, 7th edition (ISBN 9781118041581), chapter "
            "13: drilling earns 120 thousand; a perfect test is worth 120; record of 100 "
            "sites 30 20 10 40: 0.6 wet after a good test, 0.2 after a bad one, good half "
            "the time, then 280"};
    struct problem problem = partners(30.0 / 40, 20.0 / 60);
    struct solved solved = problem_solve(&problem);
    outside_near(&check, "earned by drilling", solved.leave - solved.drill, 120, 1e-9);
    outside_near(&check, "value of a perfect test", solved.drill, 120, 1e-9);
    outside_near(&check, "P(wet | good)", solved.posterior[0][0], 0.6, 1e-12);
    outside_near(&check, "P(wet | bad)", solved.posterior[1][0], 0.2, 1e-12);
    outside_near(&check, "P(bad)", solved.turns, 0.5, 1e-12);
    outside_near(&check, "value of the test", solved.test_value, 0.5 * 280 - 120, 1e-9);
    assert_int_equal(solved.action, ACTION_KEEP);
    outside_close(&check);
}

TEST(a_test_that_changes_nothing_is_worth_nothing)
{
    (void)state;
    struct outside check = {
        .source = "Samuelson & Marks, Managerial Economics, 7th edition (ISBN 9781118041581), page "
                  "551: a test with 0.5 and 0.375 after good and bad: drilled either way, worth "
                  "nothing"};
    struct problem problem = partners(0.1 / 0.4, 0.1 / 0.6);
    struct solved solved = problem_solve(&problem);
    outside_near(&check, "P(wet | good)", solved.posterior[0][0], 0.5, 1e-12);
    outside_near(&check, "P(wet | bad)", solved.posterior[1][0], 0.375, 1e-12);
    outside_near(&check, "value of the test", solved.test_value, 0, 1e-12);
    outside_near(&check, "chance that it turns the action", solved.turns, 0, 1e-12);
    outside_close(&check);
}

TEST(the_prototype_of_operations_research)
{
    (void)state;
    struct outside check = {
        .source = "Hillier & Lieberman, Introduction to Operations Research, Decision Analysis: "
                  "oil 0.25, pay-offs 700 and -100 against 90; perfect information 142.5; a survey "
                  "(0.6 and 0.2 favourable) leaves 1/2 and 1/7 and is worth 53 (53 from memory)"};
    struct problem problem = {
        .states = 2,
        .results = 2,
        .state = {{0.25, false, 700 - 90, {0.6, 0.4}}, {0.75, true, 100 + 90, {0.2, 0.8}}},
    };
    struct solved solved = problem_solve(&problem);
    outside_near(&check, "earned by drilling rather than selling", solved.leave - solved.drill,
                 100 - 90, 1e-9);
    outside_near(&check, "value of perfect information", solved.drill, 142.5, 1e-9);
    outside_near(&check, "P(oil | favourable)", solved.posterior[0][0], 1.0 / 2, 1e-12);
    outside_near(&check, "P(oil | unfavourable)", solved.posterior[1][0], 1.0 / 7, 1e-12);
    outside_near(&check, "P(unfavourable)", solved.turns, 0.7, 1e-12);
    outside_near(&check, "value of the survey", solved.test_value, 53, 1e-9);
    outside_close(&check);
}

TEST(the_wildcatter)
{
    (void)state;
    struct outside check = {
        .source = "Raiffa, Decision Analysis (1968), the oil wildcatter, in the figures of the "
                  "HUGIN manual (dry 0.5, wet 0.3, soaking 0.2; -70, 50, 200; soundings 0.1 0.3 "
                  "0.6, 0.3 0.4 0.3, 0.5 0.4 0.1): 20 without, 22.5 with soundings that cost 10 "
                  "(20 and 22.5 from memory)"};
    struct problem problem = {
        .states = 3,
        .results = 3,
        .state = {{0.5, true, 70, {0.1, 0.3, 0.6}},
                  {0.3, false, 50, {0.3, 0.4, 0.3}},
                  {0.2, false, 200, {0.5, 0.4, 0.1}}},
    };
    struct solved solved = problem_solve(&problem);
    outside_near(&check, "earned by drilling", solved.leave - solved.drill, 20, 1e-9);
    outside_near(&check, "value of the soundings", solved.test_value, 22.5 + 10 - 20, 1e-9);
    assert_int_equal(solved.action, ACTION_KEEP);
    outside_close(&check);
}

int main(void)
{
    return tests_run("reason decision", NULL, NULL);
}
