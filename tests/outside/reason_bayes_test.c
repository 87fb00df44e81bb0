/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Published worked examples of Bayes' rule, each put as a small rule base. */
#include "outside/process_check.h"

#include "reason/reason.h"
#include "support/rule_base.h"

struct example {
    struct rule_base *base;
    struct observation said[24];
    struct reasoner *reasoner;
    struct posterior posterior;
};

static const double halves[] = {0.5, 0.5};

static struct example example_new(void)
{
    return (struct example){.base = base_new()};
}

static void example_judge(struct example *example)
{
    struct evidence evidence = {.observations = example->said};
    example->reasoner = reasoner_new(&example->base->rules);
    assert_non_null(example->reasoner);
    posterior_init(&example->posterior, example->reasoner, NULL);
    reason_posterior(example->reasoner, &evidence, -1, &example->posterior);
}

static void example_free(struct example *example)
{
    posterior_release(&example->posterior);
    reasoner_free(example->reasoner);
    base_free(example->base);
}

/* P(ill | a positive test) with that prevalence, sensitivity and share of false positives. */
static double screening(double prevalence, double sensitivity, double false_positives)
{
    struct example example = example_new();
    size_t test = base_observable(example.base, KIND_ONE, 2, halves);
    size_t ill = base_finding(example.base, FINDING_CONTAMINATED, prevalence);
    size_t well = base_finding(example.base, FINDING_CLEAN, 1 - prevalence);
    base_look(example.base, ill, test, 0, sensitivity);
    base_look(example.base, well, test, 0, false_positives);
    example.said[test].seen = 1;
    example_judge(&example);
    double p = example.posterior.finding[ill];
    example_free(&example);
    return p;
}

TEST(mammography)
{
    (void)state;
    struct outside check = {
        .source = "Eddy 1982, in Kahneman, Slovic & Tversky, Judgment under Uncertainty, as put by "
                  "Gigerenzer & Hoffrage 1995, Psychological Review 102:684 (1 %, 80 %, 9.6 %; the "
                  "answer 7.8 % from memory)"};
    outside_near(&check, "P(cancer | positive)", screening(0.01, 0.80, 0.096), 0.078, 0.0005);
    outside_close(&check);
}

TEST(one_in_a_thousand)
{
    (void)state;
    struct outside check = {
        .source = "Casscells, Schoenberger & Graboys 1978, N Engl J Med 299:999 (prevalence 1 in "
                  "1000, false positives 5 %, none missed: 2 %)"};
    outside_near(&check, "P(ill | positive)", screening(0.001, 1.0, 0.05), 0.02, 0.0005);
    outside_close(&check);
}

TEST(weather)
{
    (void)state;
    struct outside check = {
        .source = "Witten & Frank, Data Mining, chapter 4: the weather data, counts unsmoothed, "
                  "for a day that is sunny, cool, humid and windy (0.0053 and 0.0206; 20.5 %)"};
    static const double yes[] = {2.0 / 9, 3.0 / 9, 3.0 / 9, 3.0 / 9};
    static const double no[] = {3.0 / 5, 1.0 / 5, 4.0 / 5, 3.0 / 5};
    struct example example = example_new();
    size_t play = base_finding(example.base, FINDING_CLEAN, 9);
    size_t stay = base_finding(example.base, FINDING_STUCK, 5);
    for (size_t i = 0; i < 4; i++) {
        size_t sign = base_observable(example.base, KIND_ONE, 2, halves);
        base_look(example.base, play, sign, 0, yes[i]);
        base_look(example.base, stay, sign, 0, no[i]);
        example.said[sign].seen = 1;
    }
    example_judge(&example);
    double evidence = exp(example.posterior.log_evidence);
    outside_near(&check, "likelihood of yes", evidence * example.posterior.finding[play], 0.0053,
                 0.00005);
    outside_near(&check, "likelihood of no", evidence * example.posterior.finding[stay], 0.0206,
                 0.00005);
    outside_near(&check, "P(yes)", example.posterior.finding[play], 0.2045826514, 1e-10);
    outside_close(&check);
    example_free(&example);
}

/*
 * A penny comes down heads twenty times. Theories: unbiased, or double-headed
 * with prior odds of one in ten thousand. The report rounds 3.01 decibans a toss
 * to 3; that is what is allowed for.
 */
TEST(double_headed_penny)
{
    (void)state;
    enum { TOSSES = 20 };
    struct outside check = {
        .source = "Good, Michie & Timms 1945, General Report on Tunny, page 39, 21(g): 3 decibans "
                  "a toss, 60 in all, 40 down before and 20 up after, 100 to 1 on"};
    struct weight_of_evidence weights[TOSSES];
    struct explanation explained = {.weights = weights};
    struct example example = example_new();
    size_t doubled = base_finding(example.base, FINDING_STUCK, 1);
    size_t fair = base_finding(example.base, FINDING_CLEAN, 10000);
    double gained = 0;
    for (size_t i = 0; i < TOSSES; i++) {
        size_t toss = base_observable(example.base, KIND_ONE, 2, halves);
        base_look(example.base, doubled, toss, 0, 1.0);
        base_look(example.base, fair, toss, 0, 0.5);
        example.said[toss].seen = 1;
    }
    example_judge(&example);
    reason_explain(example.reasoner, &(struct evidence){.observations = example.said},
                   &example.posterior, &explained);
    assert_int_equal(explained.leader, doubled);
    assert_int_equal(explained.weight_count, TOSSES);
    for (size_t i = 0; i < TOSSES; i++) {
        outside_near(&check, "decibans a toss", weights[i].decibans, 3, 0.011);
        gained += weights[i].decibans;
    }
    double odds = example.posterior.finding[doubled] / example.posterior.finding[fair];
    outside_near(&check, "decibans gained", gained, 60, 0.011 * TOSSES);
    outside_near(&check, "decibans of the odds", 10 * log10(odds), 20, 0.011 * TOSSES);
    outside_close(&check);
    example_free(&example);
}

int main(void)
{
    return tests_run("reason bayes", NULL, NULL);
}
