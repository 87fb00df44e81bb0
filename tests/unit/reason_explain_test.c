/* SPDX-License-Identifier: GPL-3.0-or-later */

#include "reason/reason.h"
#include "support/naive.h"
#include "support/random_base.h"
#include "support/test.h"

enum { MOST_TURNS = 400 };

static const struct naive *naively(struct trial *trial)
{
    naive_posterior(&trial->base->rules, &trial->evidence,
                    (long double)trial->base->rules.calibration.tau, trial->naive);
    return trial->naive;
}

static enum action naive_action(struct trial *trial)
{
    return naive_decide(&trial->base->rules, &trial->evidence, naively(trial)->finding,
                        &trial->stakes)
        .action;
}

/* ---- weights of evidence --------------------------------------------------------------------- */

static void check_weights(struct trial *trial)
{
    struct weight_of_evidence weights[BASE_OBSERVABLES];
    struct explanation explained = {.weights = weights};
    size_t told = 0;
    reason_explain(trial->reasoner, &trial->evidence, &trial->posterior, &explained);
    for (size_t f = 0; f < trial->base->rules.finding_count; f++) {
        assert_true(trial->posterior.finding[f] <= trial->posterior.finding[explained.leader]);
        if (f != explained.leader)
            assert_true(trial->posterior.finding[f] <= trial->posterior.finding[explained.rival]);
    }
    const long double *p = naively(trial)->finding;
    long double with = log10l(p[explained.leader] / p[explained.rival]);
    for (size_t k = 0; k < explained.weight_count; k++) {
        struct observation *said = &trial->said[weights[k].observable], kept = *said;
        *said = (struct observation){0};
        p = naively(trial)->finding;
        *said = kept;
        long double want = 10 * (with - log10l(p[explained.leader] / p[explained.rival]));
        assert_close(weights[k].decibans, want, 1e-9);
        if (k > 0)
            assert_true(fabs(weights[k].decibans) <= fabs(weights[k - 1].decibans));
    }
    for (size_t i = 0; i < trial->base->rules.observable_count; i++)
        told += naive_tells(&trial->base->observables[i], &trial->said[i]);
    assert_int_equal(explained.weight_count, told);
}

TEST(weights_are_what_leaving_one_out_costs)
{
    (void)state;
    struct dice dice = {808};
    for (int round = 0; round < 100; round++) {
        struct trial trial;
        trial_random(&trial, &dice, 0.6);
        check_weights(&trial);
        trial_end(&trial);
    }
}

/* Independent answers: each weight is the likelihood ratio itself. */
TEST(weights_of_independent_answers_are_likelihood_ratios)
{
    (void)state;
    const double half[] = {0.5, 0.5};
    struct trial trial = {.base = base_new()};
    struct weight_of_evidence weights[2];
    struct explanation explained = {.weights = weights};
    for (size_t i = 0; i < 2; i++)
        base_observable(trial.base, KIND_ONE, 2, half);
    base_finding(trial.base, FINDING_CLEAN, 1);
    base_finding(trial.base, FINDING_CONTAMINATED, 1);
    base_look(trial.base, 0, 0, 0, 0.8);
    base_look(trial.base, 1, 0, 0, 0.08);
    base_look(trial.base, 0, 1, 0, 0.2);
    base_look(trial.base, 1, 1, 0, 0.4);
    trial.said[0].seen = trial.said[1].seen = 1;
    trial_judge(&trial);
    reason_explain(trial.reasoner, &trial.evidence, &trial.posterior, &explained);
    assert_int_equal(explained.leader, 0);
    assert_int_equal(explained.rival, 1);
    assert_close(weights[0].decibans, 10, 1e-9);
    assert_close(weights[1].decibans, -10 * log10l(2), 1e-9);
    trial_end(&trial);
}

/* ---- turns ----------------------------------------------------------------------------------- */

static const struct turn *find(const struct turn *turns, size_t count, size_t observable,
                               size_t value, bool answered)
{
    for (size_t i = 0; i < count; i++)
        if (turns[i].observable == observable && turns[i].value == value &&
            turns[i].answered == answered)
            return &turns[i];
    return NULL;
}

struct expected { /* of one observable: what each value would lead to, and how likely it is */
    enum action action[RULES_MAX_VALUES + 1];
    long double p[RULES_MAX_VALUES + 1];
    bool real[RULES_MAX_VALUES + 1];
};

/* An answer that was given: what it could have been, by the rate of slips. */
static void expect_mistaken(struct trial *trial, size_t i, struct expected *expected)
{
    const struct observable *of = &trial->base->observables[i];
    struct observation was = trial->said[i], plain = was;
    uint32_t stated = was.seen | was.absent;
    bool several = of->kind == KIND_SEVERAL;
    uint32_t all = (uint32_t)((UINT64_C(1) << of->value_count) - 1);
    uint32_t held = several || was.seen ? was.seen : all & ~was.absent;
    long double sum = 0, count = 0;

    for (size_t v = 0; v <= of->value_count; v++) {
        bool none = v == of->value_count;
        uint32_t bit = none ? 0 : UINT32_C(1) << v;
        expected->real[v] = none ? several && was.seen : several ? held != bit : !(held & bit);
        if (!expected->real[v])
            continue;
        struct observation other = {
            .seen = bit, .absent = several ? stated & ~bit : 0, .silent = was.silent & ~bit};
        trial->said[i] = other;
        expected->action[v] = naive_action(trial);
        trial->said[i] = (struct observation){0};
        expected->p[v] =
            naive_predicted(&trial->base->rules, &trial->evidence, naively(trial), i, &other);
        sum += expected->p[v];
        count++;
    }
    plain.hedged = 0;
    trial->said[i] = (struct observation){0};
    long double own =
        naive_predicted(&trial->base->rules, &trial->evidence, naively(trial), i, &plain);
    trial->said[i] = was;
    long double slip = was.hedged ? 1 - (long double)trial->base->rules.calibration.hedge : 0.05L;
    for (size_t v = 0; v <= of->value_count; v++)
        expected->p[v] *= slip / count / (own * (1 - slip) + slip / count * sum);
}

/* One that was not: the answers it could get. */
static void expect_asked(struct trial *trial, size_t i, struct expected *expected)
{
    const struct observable *of = &trial->base->observables[i];
    struct observation said, so_far = trial->said[i];
    long double sum = 0;
    for (size_t k = 0; naive_answer(of, k, &said); k++) {
        expected->real[k] = true;
        expected->p[k] =
            naive_answered(&trial->base->rules, &trial->evidence, naively(trial), i, &said);
        sum += expected->p[k];
        trial->said[i] = said;
        expected->action[k] = naive_action(trial);
        trial->said[i] = so_far;
    }
    for (size_t k = 0; k <= of->value_count; k++)
        expected->p[k] /= sum;
}

static size_t turns_of(const struct trial *trial, struct turn *turns, size_t most)
{
    struct turns found = {turns, most, 0};
    const struct inquiry inquiry = {AIM_ACTION, .turns = &found};
    struct question none;
    reason_questions(trial->reasoner, &trial->evidence, &trial->posterior, &trial->stakes, &inquiry,
                     &none);
    return found.count;
}

static size_t check_turns(struct trial *trial)
{
    struct turn turns[MOST_TURNS];
    size_t seen = 0;
    size_t count = turns_of(trial, turns, MOST_TURNS);
    enum action present = naive_action(trial);
    for (size_t i = 0; i < trial->base->rules.observable_count; i++) {
        struct expected expected = {{0}, {0}, {0}};
        bool told = (trial->said[i].seen || trial->said[i].absent) &&
                    naive_tells(&trial->base->observables[i], &trial->said[i]);
        if (!told && (trial->said[i].seen || trial->said[i].absent))
            continue;
        if (told)
            expect_mistaken(trial, i, &expected);
        else
            expect_asked(trial, i, &expected);
        for (size_t v = 0; v <= trial->base->observables[i].value_count; v++) {
            const struct turn *turn = find(turns, count, i, v, told);
            if (!expected.real[v] || expected.action[v] == present || expected.p[v] < 0.001L) {
                assert_null(turn);
                continue;
            }
            assert_non_null(turn);
            assert_close(turn->probability, expected.p[v], 1e-10);
            assert_int_equal(turn->action, expected.action[v]);
            seen++;
        }
    }
    for (size_t k = 1; k < count; k++)
        assert_true(turns[k - 1].probability >= turns[k].probability);
    return seen;
}

TEST(turns_agree_with_every_answer_changed)
{
    (void)state;
    struct dice dice = {1729};
    size_t seen = 0;
    for (int round = 0; round < 100; round++) {
        struct trial trial;
        trial_random(&trial, &dice, 0.6);
        seen += check_turns(&trial);
        trial_end(&trial);
    }
    assert_true(seen > 100);
}

TEST(the_likeliest_turns_are_kept)
{
    (void)state;
    struct dice dice = {3};
    for (int round = 0; round < 20; round++) {
        struct turn all[MOST_TURNS], few[3];
        struct trial trial;
        trial_random(&trial, &dice, 0.6);
        size_t count = turns_of(&trial, all, MOST_TURNS);
        size_t kept = turns_of(&trial, few, 3);
        assert_int_equal(kept, count < 3 ? count : 3);
        for (size_t k = 0; k < kept; k++) {
            assert_int_equal(few[k].observable, all[k].observable);
            assert_int_equal(few[k].value, all[k].value);
        }
        trial_end(&trial);
    }
}

/* What must not be asked is not dangled before the grower either. */
TEST(gated_questions_and_tests_turn_nothing)
{
    (void)state;
    const double half[] = {0.5, 0.5};
    for (int round = 0; round < 3; round++) {
        struct trial trial = {.base = base_new(), .stakes = {1, 0, RULES_NONE, 0}};
        struct turn turns[4];
        size_t sign = base_observable(trial.base, KIND_ONE, 2, half);
        base_finding(trial.base, FINDING_CLEAN, 1);
        base_finding(trial.base, FINDING_CONTAMINATED, 1);
        trial.base->findings[1].hazard = HAZARD_TOXIGENIC;
        base_look(trial.base, 0, sign, 0, 0.99);
        base_look(trial.base, 1, sign, 0, 0.01);
        trial.base->rules.decision.keep_wrong = 3;
        trial.base->rules.decision.isolate_delay = 1;
        if (round == 1)
            trial.base->observables[sign].gate = GATE_UNSOLICITED;
        if (round == 2)
            trial.base->observables[sign].class = CLASS_TEST;
        trial_judge(&trial);
        assert_int_equal(turns_of(&trial, turns, 4), round == 0 ? 1 : 0);
        trial_end(&trial);
    }
}

int main(void)
{
    return tests_run("reason explain", NULL, NULL);
}
