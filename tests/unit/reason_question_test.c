/* SPDX-License-Identifier: GPL-3.0-or-later */

#include "reason/reason.h"
#include "support/naive.h"
#include "support/random_base.h"
#include "support/test.h"

/* ---- against brute force --------------------------------------------------------------------- */

static bool silent(const struct observation *said)
{
    return !said->seen && !said->absent;
}

static const struct question *find(const struct question *questions, size_t count,
                                   size_t observable)
{
    for (size_t i = 0; i < count; i++)
        if (questions[i].observable == observable)
            return &questions[i];
    return NULL;
}

static void check_question(struct trial *trial, size_t observable, const struct question *action,
                           const struct question *cause)
{
    struct naive_question want = naive_question(&trial->base->rules, &trial->evidence, trial->said,
                                                &trial->stakes, observable);
    if (action) {
        assert_close(action->gain, want.gain, 1e-10);
        assert_close(action->turns, want.turns, 1e-10);
        assert_close(action->bits, want.finding_bits, 1e-9);
    } else {
        assert_true(want.turns < 1e-12L);
    }
    if (cause)
        assert_close(cause->bits, want.cause_bits, 1e-9);
    else
        assert_true(want.cause_bits < 0.0011L);
}

static size_t ask(const struct trial *trial, const struct inquiry *inquiry,
                  struct question *questions)
{
    return reason_questions(trial->reasoner, &trial->evidence, &trial->posterior, &trial->stakes,
                            inquiry, questions);
}

TEST(values_agree_with_every_answer_tried)
{
    (void)state;
    struct dice dice = {424242};
    size_t checked = 0, turning = 0;
    for (int round = 0; round < 250; round++) {
        struct trial trial;
        struct question action[BASE_OBSERVABLES], cause[BASE_OBSERVABLES];
        trial_random(&trial, &dice, 0.5);
        trial.base->rules.decision.settled = 0;
        size_t actions =
            ask(&trial, &(struct inquiry){AIM_ACTION, .most = BASE_OBSERVABLES}, action);
        size_t causes = ask(&trial, &(struct inquiry){AIM_CAUSE, .most = BASE_OBSERVABLES}, cause);
        for (size_t i = 0; i < trial.base->rules.observable_count; i++) {
            if (!silent(&trial.said[i]))
                continue;
            const struct question *found = find(action, actions, i);
            check_question(&trial, i, found, find(cause, causes, i));
            checked++;
            turning += found != NULL;
        }
        const struct observable *observables = trial.base->rules.observables;
        for (size_t k = 1; k < actions;
             k++) /* the best per effort first, a tenth of a glance at least */
            assert_true(action[k - 1].gain /
                            fmax(0.1, observables[action[k - 1].observable].effort) >=
                        action[k].gain / fmax(0.1, observables[action[k].observable].effort));
        trial_end(&trial);
    }
    assert_true(checked > 300 && turning > 100); /* the draw must not be empty */
}

/* ---- single rules ---------------------------------------------------------------------------- */

/* Clean against contaminated; one observable tells them apart, one tells nothing. */
enum { TELLS = 0, MUTE = 1 };

static struct trial plain_trial(void)
{
    const double half[] = {0.5, 0.5};
    struct trial trial = {.base = base_new(), .stakes = {1, 0, RULES_NONE, 0}};
    struct decision_rules *rules = &trial.base->rules.decision;
    base_observable(trial.base, KIND_ONE, 2, half);
    base_observable(trial.base, KIND_ONE, 2, half);
    base_finding(trial.base, FINDING_CLEAN, 1);
    base_finding(trial.base, FINDING_CONTAMINATED, 1);
    trial.base->findings[1].hazard = HAZARD_IRRITANT;
    base_look(trial.base, 0, TELLS, 0, 0.95);
    base_look(trial.base, 1, TELLS, 0, 0.05);
    rules->keep_wrong = 3;
    rules->isolate_delay = 1;
    rules->effort_loss = 0.002;
    rules->settled = 0.02;
    return trial;
}

static size_t plain_ask(struct trial *trial, enum aim aim, bool tests, const bool *skip,
                        struct question *questions)
{
    trial->reasoner = reasoner_new(&trial->base->rules);
    assert_non_null(trial->reasoner);
    posterior_init(&trial->posterior, trial->reasoner, NULL);
    trial->evidence = (struct evidence){.observations = trial->said};
    reason_posterior(trial->reasoner, &trial->evidence, -1, &trial->posterior);
    size_t count = ask(trial, &(struct inquiry){aim, tests, skip, 8, NULL, false}, questions);
    posterior_release(&trial->posterior);
    reasoner_free(trial->reasoner);
    return count;
}

TEST(only_a_question_that_could_turn_the_action_is_asked)
{
    (void)state;
    struct question questions[8];
    struct trial trial = plain_trial();
    size_t count = plain_ask(&trial, AIM_ACTION, false, NULL, questions);
    assert_int_equal(count, 1);
    assert_int_equal(questions[0].observable, TELLS);
    /* Even odds: discard costs 0.5. With probability 1/2 the answer is "clean", 0.95 sure, and
     * keeping then costs 0.05 x 3 against 0.95. */
    assert_close(questions[0].gain, 0.5L * (0.95L - 0.15L) - 0.002L, 1e-12);
    assert_close(questions[0].turns, 0.5L, 1e-12);

    bool skip[2] = {true, false};
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, skip, questions), 0);
    trial.said[TELLS].seen = 1;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    base_free(trial.base);
}

TEST(nothing_is_asked_once_a_turn_is_unlikely)
{
    (void)state;
    struct question questions[8];
    struct trial trial = plain_trial();
    trial.base->findings[0].base = 0.0005; /* the clean answer: 5 % for others, hardly more */
    trial.base->looks[1][0].number = 0.0001;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    trial.base->rules.decision.settled = 0;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 1);
    assert_true(questions[0].turns > 0 && questions[0].turns < 0.02);
    base_free(trial.base);
}

TEST(an_open_denial_leaves_the_rest_to_ask)
{
    (void)state;
    const double rare[] = {0.2, 0.2, 0.2};
    struct question questions[8];
    struct trial trial = plain_trial();
    size_t marks = base_observable(trial.base, KIND_SEVERAL, 3, rare);
    base_look(trial.base, 0, marks, 1, 0.02);
    base_look(trial.base, 1, marks, 1, 0.9);
    trial.said[TELLS].seen = 2;
    trial.said[marks].absent = 1; /* "not the first": the second may still be there */
    trial.base->findings[1].base = 0.05;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 1);
    assert_int_equal(questions[0].observable, marks);
    trial.said[marks].absent = 7; /* none at all: nothing left to ask */
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    trial.said[marks] = (struct observation){.seen = 4}; /* one was seen: the question is settled */
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    base_free(trial.base);
}

TEST(smell_is_not_asked_for_once_spores_are_likely)
{
    (void)state;
    struct question questions[8];
    struct trial trial = plain_trial();
    struct observable *tells = &trial.base->observables[TELLS];
    tells->gate = GATE_UNSOLICITED;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 1);
    trial.base->findings[1].hazard = HAZARD_SPORING; /* half the mass */
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    trial.base->findings[1].hazard = HAZARD_TOXIGENIC;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    trial.base->findings[1].base = 0.4; /* two in seven: below three in ten */
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 1);
    tells->gate = GATE_NEVER_ASKED;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    trial.base->findings[1].hazard = HAZARD_NONE;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    base_free(trial.base);
}

TEST(tests_come_only_when_asked_for)
{
    (void)state;
    struct question questions[8];
    struct trial trial = plain_trial();
    trial.base->observables[TELLS].class = CLASS_TEST;
    assert_int_equal(plain_ask(&trial, AIM_ACTION, false, NULL, questions), 0);
    assert_int_equal(plain_ask(&trial, AIM_ACTION, true, NULL, questions), 1);
    base_free(trial.base);
}

TEST(causes_are_asked_by_bits_per_effort)
{
    (void)state;
    struct question questions[8];
    const double half[] = {0.5, 0.5};
    struct trial trial = plain_trial();
    size_t sharp = base_observable(trial.base, KIND_ONE, 2, half);
    size_t cause = base_cause(trial.base, 0.3);
    base_grow(trial.base, cause, 1, 5);
    base_weigh(trial.base, cause, MUTE, 0, 3);
    base_weigh(trial.base, cause, sharp, 0, 4);
    trial.said[TELLS].seen = 2;
    assert_int_equal(plain_ask(&trial, AIM_CAUSE, false, NULL, questions), 2);
    assert_int_equal(questions[0].observable, sharp);
    trial.base->observables[sharp].effort = 5;
    assert_int_equal(plain_ask(&trial, AIM_CAUSE, false, NULL, questions), 2);
    assert_int_equal(questions[0].observable, MUTE);
    base_free(trial.base);
}

int main(void)
{
    return tests_run("reason question", NULL, NULL);
}
