/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a verdict holds: action, ranking, cautions, steps, questions, tests, turns. */
#include "support/test.h"
#include "support/triage_case.h"

static bool cautioned(const struct verdict *verdict, size_t caution)
{
    for (size_t i = 0; i < verdict->caution_count; i++)
        if (verdict->cautions[i] == caution)
            return true;
    return false;
}

static bool asks(const struct verdict *verdict, size_t observable)
{
    for (size_t i = 0; i < verdict->question_count; i++)
        if (verdict->questions[i].observable == observable)
            return true;
    return false;
}

IN_A_CASE(rankings_are_complete_and_sorted)
{
    struct consultation *c = *state;
    tell(c, "red, moist");
    const struct verdict *verdict = judge(c);
    double sum = 0, statuses = 0;
    for (size_t i = 0; i < FINDINGS; i++) {
        sum += verdict->findings[i].p;
        assert_true(i == 0 || verdict->findings[i].p <= verdict->findings[i - 1].p);
    }
    for (size_t i = 0; i < FINDING_STATUS_COUNT; i++)
        statuses += verdict->status[i];
    assert_true(fabs(sum - 1) < 1e-12 && fabs(statuses - 1) < 1e-12);
    assert_int_equal(verdict->findings[0].index, SPOILT);
    assert_int_equal(verdict->explanation.leader, SPOILT);
    assert_int_equal(verdict->causes[0].index, FIRST_CAUSE);
    assert_true(verdict->causes[0].p >= verdict->causes[1].p);
    assert_int_equal(verdict->explanation.weight_count, 2);
}

IN_A_CASE(a_floor_is_named)
{
    struct consultation *c = *state;
    tell(c, "red and dusty");
    assert_int_equal(judge(c)->decision.floor, 0);
    assert_int_equal(judge(c)->decision.action, ACTION_DISCARD);
    triage_reset(c->triage);
    tell(c, "maybe red, dusty");
    assert_int_equal(judge(c)->decision.floor, RULES_NONE);
}

IN_A_CASE(cautions_fit_the_verdict)
{
    struct consultation *c = *state;
    tell(c, "pale, no other tint, usual dampness");
    const struct verdict *verdict = judge(c);
    assert_int_equal(verdict->decision.action, ACTION_KEEP);
    assert_int_equal(verdict->caution_count, 1);
    assert_int_equal(verdict->cautions[0], ALWAYS);
    tell(c, "maybe slimy"); /* doubt is enough for a caution */
    assert_true(cautioned(judge(c), ON_SLICK));
    tell(c, "red, moist");
    verdict = judge(c);
    assert_true(cautioned(verdict, ON_SPORES) && cautioned(verdict, ON_DISCARD));
    assert_false(cautioned(verdict, ON_TIRED));
    for (size_t i = 1; i < verdict->caution_count; i++)
        assert_true(c->cautions[verdict->cautions[i - 1]].rank <=
                    c->cautions[verdict->cautions[i]].rank);
}

IN_A_CASE(steps_are_those_of_what_drove_the_action)
{
    struct consultation *c = *state;
    tell(c, "pale, no other tint, usual dampness");
    const struct verdict *verdict = judge(c);
    assert_int_equal(verdict->decision.action, ACTION_KEEP);
    assert_int_equal(verdict->step_count, 1);
    assert_string_equal(verdict->steps[0], "go on");

    /* The sound one still leads, but what is feared says how to set it apart. */
    triage_reset(c->triage);
    verdict = judge(c);
    assert_int_equal(verdict->decision.action, ACTION_ISOLATE);
    assert_int_not_equal(verdict->findings[0].index, SPOILT);
    assert_int_equal(verdict->step_count, 2);
    assert_string_equal(verdict->steps[0], "set it apart");

    tell(c, "red, dusty, 30 days old, pale");
    verdict = judge(c);
    assert_int_equal(verdict->decision.action, ACTION_DISCARD);
    assert_string_equal(verdict->steps[0], "bag it");
}

IN_A_CASE(questions_leave_out_what_is_known_or_declined)
{
    struct consultation *c = *state;
    const struct verdict *verdict = judge(c);
    assert_false(verdict->settled);
    assert_true(asks(verdict, TINT) && asks(verdict, DAMP));
    assert_int_equal(next_of(c, AIM_ACTION)->observable, verdict->questions[0].observable);
    for (size_t i = 1; i < verdict->question_count; i++)
        assert_true(verdict->questions[i].gain <= verdict->questions[i - 1].gain);
    triage_unknown(c->triage, TINT);
    answer(c, DAMP, "moist");
    verdict = judge(c);
    assert_false(asks(verdict, TINT) || asks(verdict, DAMP) || asks(verdict, FORCE));
    for (size_t i = 0; i < verdict->turn_count; i++)
        assert_true(verdict->turns[i].answered || verdict->turns[i].observable != TINT);
    triage_forget(c->triage, TINT);
    assert_true(asks(judge(c), TINT));
}

IN_A_CASE(a_denial_is_not_asked_about_again)
{
    struct consultation *c = *state;
    answer(c, DAMP, "not dry");
    assert_known(c, DAMP, 0, ARID, 0);
    assert_false(asks(judge(c), DAMP));
    triage_reset(c->triage);
    tell(c, "not dry"); /* said unasked, the question is still worth putting */
    assert_true(asks(judge(c), DAMP));
}

IN_A_CASE(it_settles_and_goes_on_to_causes)
{
    struct consultation *c = *state;
    tell(c, "red and dusty");
    const struct verdict *verdict = judge(c);
    assert_true(verdict->settled);
    assert_null(next_of(c, AIM_ACTION));
    const struct question *next = next_of(c, AIM_CAUSE);
    assert_non_null(next);
    assert_int_equal(next->observable, MADE);
    assert_int_equal(verdict->test_count, 1);
    assert_int_equal(verdict->tests[0].observable, FORCE);
}

IN_A_CASE(turns_name_mistaken_and_unasked_answers)
{
    struct consultation *c = *state;
    size_t mistaken = 0;
    tell(c, "pale, no other tint, usual dampness");
    const struct verdict *verdict = judge(c);
    assert_true(verdict->turn_count > 0);
    for (size_t i = 0; i < verdict->turn_count; i++) {
        assert_int_not_equal(verdict->turns[i].action, verdict->decision.action);
        mistaken += verdict->turns[i].answered;
    }
    assert_true(mistaken > 0 && mistaken < verdict->turn_count);
}

IN_A_CASE(stakes_count)
{
    struct consultation *c = *state;
    tell(c, "pale, no other tint, usual dampness, not dusty");
    struct stakes *stakes = triage_stakes(c->triage);
    stakes->neighbours = 0;
    assert_int_equal(judge(c)->decision.action, ACTION_KEEP);
    stakes->neighbours = 200;
    stakes->use = 0;
    stakes->use_count = 50;
    assert_int_equal(judge(c)->decision.action, ACTION_ISOLATE);
}

/* Nothing said and every finding equally likely: never keep. */
IN_A_CASE(knowing_nothing_is_no_reason_to_keep)
{
    struct consultation *c = *state;
    assert_int_not_equal(judge(c)->decision.action, ACTION_KEEP);
    assert_int_equal(judge(c)->explanation.weight_count, 0);
}

IN_A_CASE(the_same_words_give_the_same_verdict)
{
    struct consultation *c = *state;
    double first[FINDINGS];
    for (int round = 0; round < 2; round++) {
        triage_reset(c->triage);
        tell(c, "red, moist. maybe slimy");
        const struct verdict *verdict = judge(c);
        for (size_t i = 0; i < FINDINGS; i++) {
            if (round == 1)
                assert_true(first[i] == verdict->findings[i].p);
            first[i] = verdict->findings[i].p;
        }
    }
}

IN_A_CASE(a_brief_judgement_decides_the_same)
{
    struct consultation *c = *state;
    static const char *const said[] = {"red, moist", "red and dusty", "pale, usual dampness", ""};
    for (size_t i = 0; i < COUNT_OF(said); i++) {
        triage_reset(c->triage);
        tell(c, said[i]);
        const struct verdict *verdict = judge(c);
        struct decision whole = verdict->decision;
        struct ranked findings[FINDINGS];
        memcpy(findings, verdict->findings, sizeof findings);
        verdict = triage_judge_briefly(c->triage);
        assert_non_null(verdict);
        assert_int_equal(verdict->decision.action, whole.action);
        assert_int_equal(verdict->decision.floor, whole.floor);
        assert_int_equal(verdict->decision.next_step, whole.next_step);
        assert_memory_equal(verdict->decision.loss, whole.loss, sizeof whole.loss);
        for (size_t f = 0; f < FINDINGS; f++) {
            assert_int_equal(verdict->findings[f].index, findings[f].index);
            assert_true(verdict->findings[f].p == findings[f].p);
        }
        assert_int_equal(verdict->question_count + verdict->turn_count + verdict->caution_count, 0);
    }
}

int main(void)
{
    return tests_run("triage verdict", NULL, NULL);
}
