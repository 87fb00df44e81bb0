/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is known after what was said: merging, clashes, answers, marks. */
#include "support/fixture.h"
#include "support/test.h"
#include "support/triage_case.h"

IN_A_CASE(values_of_several_add_up)
{
    struct consultation *c = *state;
    tell(c, "red and dusty");
    assert_known(c, TINT, RED, 0, 0);
    tell(c, "also blue, no teal");
    assert_known(c, TINT, RED | BLUE, TEAL, 0);
    assert_known(c, TEXTURE, DUSTY, 0, 0);
    assert_string_equal(fact_about(c, TINT).words, "red; blue; teal");
    assert_int_equal(fact_about(c, TINT).origin, ORIGIN_TEXT);
}

IN_A_CASE(the_newest_of_one_replaces)
{
    struct consultation *c = *state;
    tell(c, "moist, day 5");
    tell(c, "dry, day 12");
    assert_known(c, DAMP, ARID, 0, 0);
    assert_known(c, AGE, GROWN, 0, 0);
    assert_true(fact_about(c, AGE).has_number);
    assert_true(fact_about(c, AGE).number.lo == 12);
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
}

IN_A_CASE(a_denial_completes_what_was_said_of_one)
{
    struct consultation *c = *state;
    tell(c, "not moist");
    assert_known(c, DAMP, 0, MOIST, 0);
    tell(c, "not dry");
    assert_known(c, DAMP, 0, MOIST | ARID, 0);
    triage_reset(c->triage);
    tell(c, "dry or moist");
    assert_known(c, DAMP, ARID | MOIST, 0, 0);
    tell(c, "not moist");
    assert_known(c, DAMP, ARID, 0, 0);
    tell(c, "not dry"); /* nothing left of the old: the newest stands */
    assert_known(c, DAMP, 0, ARID, 0);
}

IN_A_CASE(one_text_narrows_itself_down)
{
    struct consultation *c = *state;
    tell(c, "dry or moist. not dry");
    assert_known(c, DAMP, MOIST, 0, 0);
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
}

IN_A_CASE(one_text_that_contradicts_itself_keeps_both)
{
    struct consultation *c = *state;
    tell(c, "moist. dry. day 3. day 30");
    assert_known(c, DAMP, ARID | MOIST, 0, 0);
    assert_known(c, AGE, YOUNG | OLD, 0, 0);
    assert_false(fact_about(c, AGE).has_number);
    assert_int_equal(triage_heard(c->triage).clash_count, 2);
    assert_int_equal(triage_heard(c->triage).clashes[0].observable, DAMP);
    assert_string_equal(triage_heard(c->triage).clashes[0].first, "moist");
    assert_string_equal(triage_heard(c->triage).clashes[0].second, "dry");
    assert_string_equal(triage_heard(c->triage).clashes[1].first, "day 3");
    answer(c, DAMP, "dry");
    answer(c, AGE, "30");
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
    assert_known(c, DAMP, ARID, 0, 0);
    assert_known(c, AGE, OLD, 0, 0);
}

IN_A_CASE(a_value_seen_and_denied_counts_as_neither)
{
    struct consultation *c = *state;
    tell(c, "red, dusty");
    tell(c, "no red");
    assert_known(c, TINT, 0, 0, 0);
    assert_known(c, TEXTURE, DUSTY, 0, 0);
    assert_int_equal(triage_heard(c->triage).clash_count, 1);
    assert_int_equal(triage_heard(c->triage).clashes[0].observable, TINT);
    assert_string_equal(triage_heard(c->triage).clashes[0].first, "red");
    assert_string_equal(triage_heard(c->triage).clashes[0].second, "red");
    answer(c, TINT, "red");
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
    assert_known(c, TINT, RED, BLUE | TEAL | PALE, 0);
    triage_reset(c->triage);
    tell(c, "blue, no red, red");
    assert_known(c, TINT, BLUE, 0, 0);
    assert_int_equal(triage_heard(c->triage).clash_count, 1);
    tell(c, "red, really"); /* a third statement settles it too */
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
    assert_known(c, TINT, BLUE | RED, 0, 0);
}

IN_A_CASE(no_other_gives_way_to_what_is_named)
{
    struct consultation *c = *state;
    tell(c, "red");
    tell(c, "no other tint");
    assert_known(c, TINT, RED, BLUE | TEAL | PALE, 0);
    tell(c, "now blue as well");
    assert_known(c, TINT, RED | BLUE, TEAL | PALE, 0);
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
}

IN_A_CASE(doubt_gives_way_to_plain_words)
{
    struct consultation *c = *state;
    tell(c, "maybe red");
    assert_known(c, TINT, RED, 0, RED);
    tell(c, "red");
    assert_known(c, TINT, RED, 0, 0);
    tell(c, "maybe no red"); /* contradicts nothing, changes nothing */
    assert_known(c, TINT, RED, 0, 0);
    tell(c, "maybe moist. dry");
    assert_known(c, DAMP, ARID, 0, 0);
    triage_reset(c->triage);
    tell(c, "maybe moist");
    assert_known(c, DAMP, MOIST, 0, MOIST);
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
}

IN_A_CASE(facts_stand_in_the_order_they_were_said)
{
    struct consultation *c = *state;
    tell(c, "moist");
    tell(c, "red");
    tell(c, "dry");
    assert_int_equal(triage_heard(c->triage).fact_count, 2);
    assert_int_equal(triage_heard(c->triage).facts[0].observable, DAMP);
    assert_int_equal(triage_heard(c->triage).facts[1].observable, TINT);
}

IN_A_CASE(what_was_not_understood_is_kept)
{
    struct consultation *c = *state;
    tell(c, "red with a gizmo");
    tell(c, "day 5000");
    assert_int_equal(triage_heard(c->triage).unclear_count, 2);
    assert_string_equal(triage_heard(c->triage).unclear[0].words, "with a gizmo");
    assert_int_equal(triage_heard(c->triage).unclear[0].reason, UNREAD_UNKNOWN);
    assert_int_equal(triage_heard(c->triage).unclear[1].reason, UNREAD_IMPOSSIBLE);
    assert_non_null(triage_heard(c->triage).unclear[1].note);
    triage_reset(c->triage);
    assert_int_equal(triage_heard(c->triage).unclear_count, 0);
}

IN_A_CASE(words_are_safe_to_show)
{
    struct consultation *c = *state;
    tell(c, "red\x1b[31m, lid \x1b[0m damp");
    const struct heard all = triage_heard(c->triage);
    assert_true(all.fact_count > 0);
    for (size_t i = 0; i < all.fact_count; i++)
        assert_null(strchr(all.facts[i].words, '\x1b'));
}

/* ---- answers --------------------------------------------------------------------------------- */

IN_A_CASE(an_answer_in_full_says_what_was_not_seen)
{
    struct consultation *c = *state;
    answer(c, TINT, "1, 4");
    assert_known(c, TINT, RED | PALE, BLUE | TEAL, 0);
    assert_string_equal(fact_about(c, TINT).words, "red; pale");
    assert_int_equal(fact_about(c, TINT).origin, ORIGIN_ANSWER);
    answer(c, TEXTURE, "slimy");
    assert_known(c, TEXTURE, SLICK, DUSTY, 0);
    answer(c, ODOUR, "none");
    assert_known(c, ODOUR, 0, SHARP | STALE, 0);
    answer(c, WHERE, "maybe at the top");
    assert_known(c, WHERE, TOP, FOOT, TOP);
}

IN_A_CASE(an_answer_keeps_what_was_seen_before)
{
    struct consultation *c = *state;
    tell(c, "blue");
    answer(c, TINT, "red");
    assert_known(c, TINT, RED | BLUE, TEAL | PALE, 0);
}

IN_A_CASE(an_answer_by_number_or_word_or_quantity)
{
    struct consultation *c = *state;
    answer(c, DAMP, "3");
    assert_known(c, DAMP, MOIST, 0, 0);
    assert_string_equal(fact_about(c, DAMP).words, "moist");
    answer(c, DAMP, "as usual");
    assert_known(c, DAMP, USUAL, 0, 0);
    answer(c, AGE, "12");
    assert_known(c, AGE, GROWN, 0, 0);
    assert_true(fact_about(c, AGE).number.lo == 12);
}

IN_A_CASE(an_answer_may_say_other_things)
{
    struct consultation *c = *state;
    answer(c, DAMP, "it is red");
    assert_known(c, DAMP, 0, 0, 0);
    assert_known(c, TINT, RED, 0, 0);
}

IN_A_CASE(an_answer_that_says_nothing_is_refused)
{
    struct consultation *c = *state;
    const char *const nonsense[] = {"", "gizmo", "0", "5", "99999999999999999999", "1 gizmo"};
    for (size_t i = 0; i < COUNT_OF(nonsense); i++)
        assert_int_equal(triage_answer(c->triage, TINT, nonsense[i], c->small.diags), STATUS_USAGE);
    assert_int_equal(triage_heard(c->triage).unclear_count, 0);
    assert_known(c, TINT, 0, 0, 0);
}

IN_A_CASE(not_knowing_erases_and_sets_nothing)
{
    struct consultation *c = *state;
    triage_unknown(c->triage, TINT);
    assert_known(c, TINT, 0, 0, 0);
    tell(c, "red");
    triage_unknown(c->triage, TINT);
    assert_known(c, TINT, RED, 0, 0);
    tell(c, "blue");
    assert_known(c, TINT, RED | BLUE, 0, 0);
    triage_forget(c->triage, TINT);
    assert_known(c, TINT, 0, 0, 0);
}

/* ---- settings, cases ------------------------------------------------------------------------- */

static struct fact setting_about(const struct fixture *loaded, const char *sign)
{
    const struct heard all = triage_heard(loaded->triage);
    for (size_t i = 0; i < all.fact_count; i++)
        if (strcmp(loaded->rules->observables[all.facts[i].observable].id, sign) == 0)
            return all.facts[i];
    fail_msg("nothing is known of '%s'", sign);
    return (struct fact){0};
}

TEST_WITH(settings_are_said_where_they_stand, loaded_setup, fixture_tear_down)
{
    struct fixture *loaded = *state;
    struct position at = {"case.yaml", 7, 3};
    size_t warned = diags_errors(loaded->diags);
    assert_int_equal(triage_set(loaded->triage, "tint", "red,-blue", at, loaded->diags), STATUS_OK);
    struct fact fact = setting_about(loaded, "tint");
    const struct observable *tint = &loaded->rules->observables[fact.observable];
    assert_int_equal(fact.observation.seen, 1U << rules_value(tint, "red"));
    assert_int_equal(fact.observation.absent, 1U << rules_value(tint, "blue"));
    assert_int_equal(fact.origin, ORIGIN_SET);
    assert_string_equal(fact.words, "tint=red,-blue");

    assert_int_equal(triage_set(loaded->triage, "tnt", "red", at, loaded->diags), STATUS_USAGE);
    assert_int_equal(diags_errors(loaded->diags), warned + 1);
    const struct diag *last = diags_get(loaded->diags, diags_kept(loaded->diags) - 1);
    assert_string_equal(last->at.file, "case.yaml");
    assert_int_equal(last->at.line, 7);
}

TEST_WITH(a_case_brings_its_stakes, loaded_setup, fixture_tear_down)
{
    struct fixture *loaded = *state;
    const struct case_setting settings[] = {{"day", "12", {0}}, {"tint", "blue?", {0}}};
    struct labelled_case labelled = {.text = "red",
                                     .settings = settings,
                                     .setting_count = 2,
                                     .neighbours = 12,
                                     .worth = NAN,
                                     .use = "expand",
                                     .use_count = 10};
    struct stakes *stakes = triage_stakes(loaded->triage);
    assert_int_equal(triage_case(loaded->triage, &labelled, loaded->diags), STATUS_OK);
    assert_true(setting_about(loaded, "day").number.lo == 12);
    assert_int_equal(setting_about(loaded, "tint").observation.seen, 3);
    assert_true(stakes->worth == 1 && stakes->neighbours == 12 && stakes->use_count == 10);
    assert_int_equal(stakes->use, 0);
    triage_reset(loaded->triage);
    assert_true(stakes->neighbours == 6 && stakes->use == RULES_NONE);
}

IN_A_CASE(an_objection_stands_whatever_is_said_later)
{
    struct consultation *c = *state;
    tell(c, "red, but slick");
    assert_false(triage_evidence(c->triage)->objected);
    tell(c, "red, but zork");
    assert_true(triage_evidence(c->triage)->objected);
    tell(c, "day 12");
    answer(c, DAMP, "moist");
    assert_true(triage_evidence(c->triage)->objected);
    tell(c, "pale");
    assert_true(triage_evidence(c->triage)->objected);
    triage_reset(c->triage);
    assert_false(triage_evidence(c->triage)->objected);
}

IN_A_CASE(a_text_that_is_refused_changes_nothing)
{
    struct consultation *c = *state;
    tell(c, "red");
    assert_int_equal(triage_tell(c->triage, "blue \xFF\xFE", 7, c->small.diags), STATUS_DATA);
    assert_true(diags_errors(c->small.diags) > 0);
    assert_known(c, TINT, RED, 0, 0);
}

/* ---- marks ----------------------------------------------------------------------------------- */

IN_A_CASE(going_back_is_exact)
{
    struct consultation *c = *state;
    tell(c, "red");
    size_t first = triage_mark(c->triage);
    tell(c, "blue. gizmo");
    answer(c, DAMP, "3");
    size_t second = triage_mark(c->triage);
    triage_unknown(c->triage, TINT);
    tell(c, "no red");
    triage_return(c->triage, second);
    assert_known(c, TINT, RED | BLUE, 0, 0);
    assert_known(c, DAMP, MOIST, 0, 0);
    triage_return(c->triage, first);
    assert_known(c, TINT, RED, 0, 0);
    assert_known(c, DAMP, 0, 0, 0);
    assert_int_equal(triage_heard(c->triage).unclear_count, 0);
    assert_int_equal(triage_heard(c->triage).clash_count, 0);
    triage_return(c->triage, second + 100); /* a mark that is no longer there */
    assert_known(c, TINT, RED, 0, 0);
}

/* ---- silence --------------------------------------------------------------------------------- */

/* Red and blue are spoken of by whoever sees them; three signs make a description. */
static int silence_setup(void **state)
{
    struct consultation *c = malloc(sizeof *c);
    assert_non_null(c);
    consultation_prepare(c);
    c->small.observables[TINT].salient = RED | BLUE;
    c->small.rules.calibration.silence = 0.8;
    c->small.rules.calibration.silence_after = 3;
    consultation_open(c);
    *state = c;
    return 0;
}

TEST_WITH(silence_tells_after_a_description, silence_setup, consultation_teardown)
{
    struct consultation *c = *state;
    assert_int_equal(triage_silent(c->triage, TINT), 0); /* nothing was said */
    tell(c, "moist, day 5, dusty");
    assert_int_equal(triage_silent(c->triage, TINT), RED | BLUE);
    assert_int_equal(triage_evidence(c->triage)->observations[TINT].silent, RED | BLUE);
    assert_int_equal(fact_about(c, TINT).observation.absent, 0); /* but nobody said so */
    assert_int_equal(triage_heard(c->triage).fact_count, 3);
    tell(c, "maybe red, no blue");
    assert_int_equal(triage_silent(c->triage, TINT), 0); /* both are spoken of now */
    triage_forget(c->triage, TINT);
    assert_int_equal(triage_silent(c->triage, TINT), RED | BLUE);
}

TEST_WITH(silence_tells_later_where_something_alarms, silence_setup, consultation_teardown)
{
    struct consultation *c = *state;
    tell(c, "moist");
    assert_int_equal(triage_silent(c->triage, TINT), RED | BLUE); /* one sign, and it is none */
    tell(c, "red");
    assert_int_equal(triage_silent(c->triage, TINT), 0); /* beside red two signs are too few */
    tell(c, "dusty");
    assert_int_equal(triage_silent(c->triage, TINT), BLUE);
}

TEST_WITH(silence_counts_only_in_free_text, silence_setup, consultation_teardown)
{
    struct consultation *c = *state;
    answer(c, DAMP, "moist");
    answer(c, AGE, "5 days");
    answer(c, TEXTURE, "dusty");
    assert_int_equal(triage_silent(c->triage, TINT), 0); /* each was asked for */
    tell(c, "moist, day 5, dusty");
    assert_int_equal(triage_silent(c->triage, TINT), RED | BLUE);
    size_t mark = triage_mark(c->triage);
    triage_unknown(c->triage, TINT);
    assert_int_equal(triage_silent(c->triage, TINT), 0);
    triage_return(c->triage, mark);
}

TEST_WITH(silence_leaves_the_question_open, silence_setup, consultation_teardown)
{
    struct consultation *c = *state;
    tell(c, "usual dampness, day 5, no dust");
    double unsaid = judge(c)->status[FINDING_CLEAN];
    bool asked = false;
    for (size_t i = 0; i < judge(c)->question_count; i++)
        asked = asked || judge(c)->questions[i].observable == TINT;
    assert_true(asked);
    answer(c, TINT, "red");
    assert_known(c, TINT, RED, BLUE | TEAL | PALE, 0);
    assert_true(judge(c)->findings[0].index == SPOILT && unsaid > 0.5);
}

/* Many statements: the log grows, and words do not pile up without end. */
IN_A_CASE(a_long_consultation_stays_whole)
{
    struct consultation *c = *state;
    static const char *const texts[] = {"red, moist", "no red, dry", "blue and slimy, day 3",
                                        "maybe teal", "pale, gizmo", "day 40. day 2"};
    for (size_t i = 0; i < 600; i++)
        tell(c, texts[i % COUNT_OF(texts)]);
    assert_known(c, AGE, YOUNG | OLD, 0, 0);
    assert_true(strlen(fact_about(c, TINT).words) < 300);
    triage_return(c->triage, 0);
    assert_int_equal(triage_heard(c->triage).fact_count, 0);
}

int main(void)
{
    return tests_run("triage facts", NULL, NULL);
}
