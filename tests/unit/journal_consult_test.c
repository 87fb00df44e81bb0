/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Judging at a vessel with what is on record. Shipped rules; all vessels are invented. */
#include "support/fixture.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "journal/consult.h"
#include "reason/siblings.h"
#include "support/journal_case.h"
#include "support/test.h"

struct bench { /* shipped rules over a fresh journal: one batch of V1-1 to V1-9 */
    struct fixture *j;
    struct consultation at;
    int64_t batch, cook, vessel[10];
};

/* ---- the bench ------------------------------------------------------------------------------- */

static void fill(struct bench *b)
{
    b->cook = put(b->j, RECORD_COOK,
                  "label=C4; method=pressure; gauge=103.4; minutes=90; altitude=1500; air=0.15; "
                  "load=packed; facts=cooling=opened_hot nonsense=1 rubbish; "
                  "at=2026-02-27T12:00:00Z");
    put(b->j, RECORD_STARTER, "label=LC1; kind=liquid_culture; made=2026-01-20T12:00:00Z");
    put(b->j, RECORD_LOT, "label=G1; grain=rye");
    put(b->j, RECORD_SESSION, "label=N2; facts=flame=none");
    put(b->j, RECORD_PLACE, "label=closet; celsius=16");
    b->batch = put(b->j, RECORD_BATCH,
                   "label=V1; at=2026-03-01T12:00:00Z; species=oyster; starter=LC1; lot=G1; "
                   "cook=C4; session=N2; dry=300; water=240; soak=720; inoculum=1; unit=ml; "
                   "purpose=expand");
    for (int number = 1; number <= 9; number++)
        b->vessel[number] = put(b->j, RECORD_VESSEL,
                                "label=V1-%d; batch=V1; number=%d; kind=quart_jar; grams=600; "
                                "place=closet; position=lower; control=%s",
                                number, number, number == 9 ? "yes" : "no");
}

static int setup(void **state)
{
    struct bench *b = calloc(1, sizeof *b);
    void *part = NULL;
    assert_non_null(b);
    journal_setup(&part);
    b->j = part;
    fixture_read(b->j, "rules");
    fixture_judges(b->j);
    fill(b);
    *state = b;
    return 0;
}

static int teardown(void **state)
{
    struct bench *b = *state;
    void *part = b->j;
    fixture_tear_down(&part);
    free(b);
    return 0;
}

/* The message of the last fault, or "". */
static const char *last_fault(const struct bench *b)
{
    size_t kept = diags_kept(b->j->diags);
    return kept > 0 ? diags_get(b->j->diags, kept - 1)->message : "";
}

static enum status try_open(struct bench *b, const char *label, const char *when, int64_t corrects)
{
    const struct consult_request request = {.label = label, .now = on(when), .corrects = corrects};
    diags_clear(b->j->diags);
    return consult_vessel(b->j->journal, &request, b->j->triage, b->j->arena, &b->at);
}

static void open_at(struct bench *b, const char *label, const char *when)
{
    if (try_open(b, label, when, 0) != STATUS_OK)
        fail_msg("%s: %s", label, first_fault(b->j));
}

static void say(struct bench *b, const char *words)
{
    assert_int_equal(triage_tell(b->j->triage, words, strlen(words), b->j->diags), STATUS_OK);
}

static const struct verdict *judge(struct bench *b)
{
    const struct verdict *verdict = triage_judge(b->j->triage);
    assert_non_null(verdict);
    return verdict;
}

static struct look look_at(struct bench *b, const char *label, const char *when, const char *words,
                           int64_t corrects)
{
    struct look look;
    const struct verdict *verdict = NULL;
    assert_int_equal(try_open(b, label, when, corrects), STATUS_OK);
    say(b, words);
    assert_int_equal(
        consult_save(b->j->journal, &b->at, b->j->triage, words, b->j->arena, &look, &verdict),
        STATUS_OK);
    return look;
}

/* "value value (words) origin" of what is known of a sign, "" when nothing is. */
static const char *known(struct bench *b, const char *sign)
{
    int index = rules_observable(b->j->rules, sign);
    assert_int_not_equal(index, RULES_NONE);
    const struct observable *observable = &b->j->rules->observables[index];
    const struct fact *fact = triage_fact(b->j->triage, (size_t)index);
    const char *text = "";
    if (!fact)
        return text;
    for (size_t v = 0; v < observable->value_count; v++)
        if (fact->observation.seen >> v & 1)
            text = arena_format(b->j->arena, "%s%s ", text, observable->values[v].id);
    return arena_format(b->j->arena, "%s(%s) %s", text, fact->words, origin_names[fact->origin]);
}

#define assert_known(b, sign, expected) assert_string_equal(known(b, sign), expected)

/* ---- the columns ----------------------------------------------------------------------------- */

TEST_WITH(columns_become_facts, setup, teardown)
{
    struct bench *b = *state;
    open_at(b, "V1-1", "2026-03-13T12:00:00Z");
    assert_known(b, "species", "oyster (batch V1) journal");
    assert_known(b, "grain", "rye (grain G1) journal");
    assert_known(b, "vessel", "quart_jar (vessel V1-1) journal");
    assert_known(b, "vessel_mass", "under_700 (vessel V1-1: 600 g (1.32 lb)) journal");
    assert_known(b, "day", "d8_14 (vessel V1-1: 12 days) journal");
    assert_known(b, "cook_method", "pressure (cook C4) journal");
    assert_known(b, "cook_gauge", "kpa90_up (cook C4: 103 kPa (15 psi)) journal");
    assert_known(b, "cook_minutes", "m75_119 (cook C4: 90 min) journal");
    assert_known(b, "venting", "not_vented (cook C4) journal");
    assert_known(b, "load", "packed (cook C4) journal");
    assert_known(b, "cooling", "opened_hot (cook C4) journal");
    assert_known(b, "flame", "none (session N2) journal");
    assert_known(b, "position", "lower (vessel V1-1) journal");
    assert_known(b, "starter_kind", "liquid_culture (starter LC1) journal");
    assert_known(b, "starter_age", "d31_90 (starter LC1: 40 days) journal");
    assert_known(b, "wait_before", "d0_2 (cook C4: 2 days) journal");
    assert_known(b, "dose", "small (batch V1: 1 ml) journal");
    assert_known(b, "temperature", "c15_18 (place closet: 16 °C (61 °F)) journal");
    assert_known(b, "soak_hours", "m360_1440 (batch V1: 12 h) journal");
    assert_string_equal(known(b, "coverage"), "");
    /* What the rules do not know is told, and stops nothing. */
    assert_int_equal(diags_warnings(b->j->diags), 1);
    assert_non_null(strstr(last_fault(b), "cook C4: no sign is called 'nonsense'"));
    const struct stakes *stakes = triage_stakes(b->j->triage);
    assert_true(stakes->neighbours == 8);
    assert_string_equal(b->j->rules->decision.uses[stakes->use].id, "expand");
}

TEST_WITH(what_was_never_inoculated_knows_no_starter, setup, teardown)
{
    struct bench *b = *state;
    open_at(b, "V1-9", "2026-03-13T12:00:00Z");
    assert_string_equal(known(b, "species"), "");
    assert_string_equal(known(b, "starter_kind"), "");
    assert_string_equal(known(b, "flame"), "");
    assert_known(b, "cook_method", "pressure (cook C4) journal");
}

TEST_WITH(what_is_said_now_stands_over_the_journal, setup, teardown)
{
    struct bench *b = *state;
    open_at(b, "V1-1", "2026-03-13T12:00:00Z");
    say(b, "the closet is 24C, cooked at 10 psi");
    assert_known(b, "temperature", "c21_26 (closet is 24C) text");
    assert_non_null(strstr(known(b, "cook_gauge"), "kpa55_89"));
    size_t mark = triage_mark(b->j->triage);
    triage_unknown(b->j->triage, (size_t)rules_observable(b->j->rules, "dose"));
    assert_string_equal(known(b, "dose"), "");
    triage_return(b->j->triage, mark);
    assert_known(b, "dose", "small (batch V1: 1 ml) journal");
    triage_reset(b->j->triage);
    assert_string_equal(known(b, "dose"), "");
}

TEST_WITH(only_what_can_be_looked_at_is_opened, setup, teardown)
{
    struct bench *b = *state;
    assert_int_equal(try_open(b, "V1-77", "2026-03-13T12:00:00Z", 0), STATUS_USAGE);
    assert_int_equal(try_open(b, "V1-1", "2026-02-13T12:00:00Z", 0), STATUS_USAGE);
    assert_non_null(strstr(last_fault(b), "was not there yet"));
    struct look look = look_at(b, "V1-2", "2026-03-10T12:00:00Z", "all white", 0);
    assert_int_equal(try_open(b, "V1-1", "2026-03-13T12:00:00Z", look.id), STATUS_USAGE);
    assert_non_null(strstr(last_fault(b), "is not one of V1-1's"));
    add_event(b->j, b->vessel[3], "2026-03-10T12:00:00Z", EVENT_DISCARD, 0, 0);
    assert_int_equal(try_open(b, "V1-3", "2026-03-13T12:00:00Z", 0), STATUS_USAGE);
    assert_non_null(strstr(last_fault(b), "discarded already"));
}

/* ---- earlier looks --------------------------------------------------------------------------- */

TEST_WITH(a_look_is_kept_as_it_was, setup, teardown)
{
    struct bench *b = *state;
    struct look kept, look = look_at(b, "V1-1", "2026-03-10T12:00:00Z",
                                     "day 9, 40 percent, thick white, even", 0);
    assert_int_equal(journal_get(b->j->journal, RECORD_LOOK, look.id, b->j->arena, &kept),
                     STATUS_OK);
    assert_true(kept.coverage == 40.0);
    assert_string_equal(kept.words, "day 9, 40 percent, thick white, even");
    assert_string_equal(kept.rules, b->j->rules->hash);
    assert_string_not_equal(kept.program, "");
    assert_non_null(strstr(kept.facts, "\"sign\":\"coverage\""));
    assert_non_null(strstr(kept.posterior, "\"findings\":{"));
    assert_true(kept.contaminated > 0.0 && kept.contaminated < 1.0);
    const struct vessel vessel = vessel_of(b->j, b->vessel[1]);
    assert_int_equal(vessel.last_look, look.id);
    assert_true(vessel.due > moment_day(on("2026-03-10T12:00:00Z")));
    assert_string_not_equal(vessel.due_for, "");
}

/* The worst that could happen: what was seen is forgotten because it is not said again. */
TEST_WITH(a_sporing_growth_once_seen_is_never_kept, setup, teardown)
{
    struct bench *b = *state;
    struct look look = look_at(b, "V1-1", "2026-03-12T12:00:00Z", "green powdery patch", 0);
    assert_string_equal(look.action, "discard");
    const char *const later[] = {"thick white all over, nothing odd anywhere, smells fine",
                                 "no green, no powder, 100 percent white, healthy", "all fine",
                                 "day 20"};
    for (size_t i = 0; i < sizeof later / sizeof *later; i++) {
        open_at(b, "V1-1", "2026-03-20T12:00:00Z");
        assert_false(consult_sound(&b->at));
        say(b, later[i]);
        assert_int_equal(judge(b)->decision.action, ACTION_DISCARD);
        assert_non_null(strstr(known(b, "colour"), "green"));
    }
    /* Not even by denying it in an answer, or by saying that one does not know. */
    open_at(b, "V1-1", "2026-03-20T12:00:00Z");
    size_t colour = (size_t)rules_observable(b->j->rules, "colour");
    assert_int_equal(triage_answer(b->j->triage, colour, "white", b->j->diags), STATUS_OK);
    assert_int_equal(judge(b)->decision.action, ACTION_DISCARD);
    triage_unknown(b->j->triage, colour);
    assert_int_equal(judge(b)->decision.action, ACTION_DISCARD);
    /* A correction does it, and so does an outcome that says it was nothing. */
    struct look corrected =
        look_at(b, "V1-1", "2026-03-12T12:00:00Z",
                "thick white, even, 60 percent, dry glass, nothing odd", look.id);
    assert_string_equal(corrected.action, "keep");
    open_at(b, "V1-1", "2026-03-20T12:00:00Z");
    assert_true(consult_sound(&b->at));
    assert_string_equal(known(b, "colour"), "");
}

TEST_WITH(an_outcome_clears_or_convicts, setup, teardown)
{
    struct bench *b = *state;
    struct outcome outcome;
    (void)look_at(b, "V1-1", "2026-03-12T12:00:00Z", "green powdery patch", 0);
    record_init(RECORD_OUTCOME, &outcome);
    outcome.vessel = b->vessel[1];
    outcome.at = on("2026-03-14T12:00:00Z");
    outcome.finding = "healthy_growth";
    outcome.status = "clean";
    add(b->j, RECORD_OUTCOME, &outcome);
    open_at(b, "V1-1", "2026-03-20T12:00:00Z");
    say(b, "100 percent, thick white, nothing odd");
    assert_int_equal(judge(b)->decision.action, ACTION_KEEP);
    record_init(RECORD_OUTCOME, &outcome);
    outcome.vessel = b->vessel[2];
    outcome.at = on("2026-03-14T12:00:00Z");
    outcome.finding = "pale_mould";
    outcome.status = "contaminated";
    add(b->j, RECORD_OUTCOME, &outcome);
    open_at(b, "V1-2", "2026-03-20T12:00:00Z");
    assert_false(consult_sound(&b->at));
    say(b, "100 percent, thick white, nothing odd");
    assert_int_not_equal(judge(b)->decision.action, ACTION_KEEP);
}

TEST_WITH(doubt_does_not_outlive_a_plain_denial, setup, teardown)
{
    struct bench *b = *state;
    (void)look_at(b, "V1-1", "2026-03-10T12:00:00Z", "maybe a bit green, 40 percent", 0);
    open_at(b, "V1-1", "2026-03-12T12:00:00Z");
    assert_memory_equal(known(b, "colour"), "green ", 6);
    say(b, "no green, 50 percent white");
    assert_memory_not_equal(known(b, "colour"), "green ", 6);
}

TEST_WITH(circumstances_last_and_passing_signs_do_not, setup, teardown)
{
    struct bench *b = *state;
    (void)look_at(b, "V1-1", "2026-03-10T12:00:00Z",
                  "30 percent, thick white, inoculated in a still air box, room is 19C", 0);
    open_at(b, "V1-1", "2026-03-13T12:00:00Z");
    assert_known(b, "inoculation_place", "still_air (look of 10 March) journal");
    assert_known(b, "temperature", "c15_18 (place closet: 16 °C (61 °F)) journal");
    assert_string_equal(known(b, "growth_look"), "");
    assert_string_equal(known(b, "coverage"), "");
}

/* ---- change ---------------------------------------------------------------------------------- */

TEST_WITH(a_standstill_shows_between_two_looks, setup, teardown)
{
    struct bench *b = *state;
    (void)look_at(b, "V1-1", "2026-03-10T12:00:00Z", "40 percent, white", 0);
    open_at(b, "V1-1", "2026-03-12T12:00:00Z");
    say(b, "40 percent");
    assert_string_equal(known(b, "progress"), ""); /* two days: too soon to tell by eye */
    open_at(b, "V1-1", "2026-03-18T12:00:00Z");
    say(b, "43 percent");
    assert_known(b, "progress",
                 "none (40 % at the look of 10 March, 43 % now, 8 days later) computed");
    assert_known(b, "stalled", "d7_13 (40 % at the look of 10 March already) computed");
    say(b, "it still grows steadily");
    assert_non_null(strstr(known(b, "progress"), "text"));
}

TEST_WITH(growth_has_a_pace, setup, teardown)
{
    struct bench *b = *state;
    (void)look_at(b, "V1-1", "2026-03-10T12:00:00Z", "20 percent, white", 0);
    const struct {
        const char *said, *pace;
    } rows[] = {{"26 percent", "slow "}, {"50 percent", "steady "}, {"90 percent", "fast_growth "}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        open_at(b, "V1-1", "2026-03-16T12:00:00Z");
        say(b, rows[i].said);
        assert_memory_equal(known(b, "progress"), rows[i].pace, strlen(rows[i].pace));
        assert_string_equal(known(b, "stalled"), "");
    }
    /* What is white all through stands still for a good reason, and what has not begun has no pace. */
    (void)look_at(b, "V1-2", "2026-03-10T12:00:00Z", "100 percent white", 0);
    open_at(b, "V1-2", "2026-03-20T12:00:00Z");
    say(b, "100 percent");
    assert_string_equal(known(b, "stalled"), "");
    assert_string_equal(known(b, "progress"), "");
}

TEST_WITH(the_day_trouble_was_first_seen, setup, teardown)
{
    struct bench *b = *state;
    (void)look_at(b, "V1-1", "2026-03-05T12:00:00Z", "10 percent, white, no odd patches", 0);
    open_at(b, "V1-1", "2026-03-08T12:00:00Z");
    say(b, "a green patch");
    assert_known(b, "first_seen", "d4_7 (not there yet at the look of 5 March) computed");
    (void)look_at(b, "V1-1", "2026-03-08T12:00:00Z", "one odd patch, 20 percent", 0);
    open_at(b, "V1-1", "2026-03-20T12:00:00Z");
    assert_known(b, "first_seen", "d4_7 (look of 8 March) computed");
}

TEST_WITH(a_patch_that_stayed_is_asked_about_first, setup, teardown)
{
    struct bench *b = *state;
    (void)look_at(b, "V1-1", "2026-03-08T12:00:00Z", "one odd white patch, 30 percent", 0);
    open_at(b, "V1-1", "2026-03-10T12:00:00Z");
    say(b, "one odd white patch, 40 percent");
    assert_string_equal(known(b, "spot_change"), "");
    const struct question *next = triage_next(b->j->triage, AIM_ACTION);
    if (next != NULL)
        assert_string_equal(b->j->rules->observables[next->observable].id, "spot_change");
    const struct verdict *verdict = judge(b);
    if (!verdict->settled)
        assert_string_equal(b->j->rules->observables[verdict->questions[0].observable].id,
                            "spot_change");
}

/* ---- siblings -------------------------------------------------------------------------------- */

/* Another batch, from another cook, whose vessels are all sound. */
static void add_sound_batch(struct bench *b)
{
    int64_t batch = add_batch(b->j, "V2", add_cook(b->j, "C5"));
    for (int64_t number = 1; number <= 11; number++) {
        int64_t vessel = add_vessel(b->j, batch, number, 0);
        (void)add_look(b->j, vessel, "2026-03-14T12:00:00Z", "keep", "clean", 0);
    }
}

static void lose(struct bench *b, int64_t from, int64_t to)
{
    for (int64_t number = from; number <= to; number++)
        (void)add_look(b->j, b->vessel[number], "2026-03-12T12:00:00Z", "discard", "contaminated",
                       0);
}

static const struct sibling_evidence *siblings_of(const struct verdict *verdict,
                                                  enum relation relation)
{
    for (size_t i = 0; i < verdict->sibling_count; i++)
        if (verdict->siblings[i].group->relation == relation)
            return &verdict->siblings[i];
    return NULL;
}

static double chance_of(struct bench *b, const struct verdict *verdict, const char *cause)
{
    for (size_t i = 0; i < b->j->rules->cause_count; i++)
        if ((int)verdict->causes[i].index == rules_cause(b->j->rules, cause))
            return verdict->causes[i].p;
    return NAN;
}

TEST_WITH(siblings_move_the_causes_they_share, setup, teardown)
{
    struct bench *b = *state;
    add_sound_batch(b);
    lose(b, 2, 7);
    (void)add_look(b->j, b->vessel[8], "2026-03-13T12:00:00Z", "keep", "clean", 0);
    open_at(b, "V1-1", "2026-03-15T12:00:00Z");
    say(b, "wet rot at the bottom, greasy grain");
    const struct verdict *verdict = judge(b);
    const struct sibling_evidence *cook = siblings_of(verdict, RELATION_COOK);
    assert_non_null(cook);
    assert_string_equal(cook->name, "cook C4");
    assert_true(cook->group->own.lost == 6 && cook->group->own.total == 7);
    assert_true(cook->group->rest.lost == 0 && cook->group->rest.total == 11);
    assert_true(cook->cause_count > 0 && cook->causes[0].log_odds > 0.0);
    double with = chance_of(b, verdict, "under_sterilised");
    struct consult_request alone = b->at.request;
    alone.without_siblings = true;
    assert_int_equal(consult_vessel(b->j->journal, &alone, b->j->triage, b->j->arena, &b->at),
                     STATUS_OK);
    say(b, "wet rot at the bottom, greasy grain");
    verdict = judge(b);
    assert_int_equal(verdict->sibling_count, 0);
    assert_true(with > chance_of(b, verdict, "under_sterilised"));
}

TEST_WITH(what_was_counted_is_not_asked, setup, teardown)
{
    struct bench *b = *state;
    add_sound_batch(b);
    lose(b, 2, 7);
    open_at(b, "V1-1", "2026-03-15T12:00:00Z");
    say(b, "green patch");
    size_t cook = (size_t)rules_observable(b->j->rules, "siblings_cook");
    for (int asked = 0; asked < 60; asked++) {
        const struct question *next = NULL;
        next = triage_next(b->j->triage, AIM_CAUSE);
        if (next == NULL)
            break;
        assert_true(next->observable != cook);
        triage_unknown(b->j->triage, next->observable);
    }
}

TEST_WITH(the_word_of_the_grower_stands_over_the_count, setup, teardown)
{
    struct bench *b = *state;
    add_sound_batch(b);
    lose(b, 2, 7);
    open_at(b, "V1-1", "2026-03-15T12:00:00Z");
    size_t before = triage_evidence(b->j->triage)->shift_count;
    assert_int_equal(
        triage_set(b->j->triage, "siblings_cook", "all_fine", (struct position){0}, b->j->diags),
        STATUS_OK);
    assert_true(triage_evidence(b->j->triage)->shift_count < before);
    assert_true(siblings_of(judge(b), RELATION_COOK)->left_out);
    assert_false(siblings_of(judge(b), RELATION_STARTER)->left_out);
}

/* A growing sibling last looked at young has told part of its story: it counts for a part. */
TEST_WITH(the_young_count_in_part, setup, teardown)
{
    struct bench *b = *state;
    struct consult_others others;
    double clean = 0.0;
    (void)add_look(b->j, b->vessel[2], "2026-03-05T12:00:00Z", "keep", "clean", 0);
    (void)add_look(b->j, b->vessel[3], "2026-03-12T12:00:00Z", "keep", "clean", 0);
    (void)add_look(b->j, b->vessel[4], "2026-03-12T12:00:00Z", "isolate", "contaminated", 0);
    open_at(b, "V1-1", "2026-03-13T12:00:00Z"); /* day 12: whole from day 8 */
    assert_int_equal(consult_count(b->j->journal, &b->at, b->j->arena, &others), STATUS_OK);
    for (size_t i = 0; i < others.count; i++) {
        clean += others.cells[i].clean;
        assert_true(others.cells[i].contaminated == 0.0);
    }
    assert_true(fabs(clean - 1.5) < 1e-9);
}

/* ---- when to look again ---------------------------------------------------------------------- */

static int64_t days_to_next(struct bench *b, const char *label, const char *when, const char *words,
                            const char *why)
{
    (void)look_at(b, label, when, words, 0);
    assert_string_equal(b->at.vessel.due_for, why);
    return b->at.vessel.due - moment_day(on(when));
}

TEST_WITH(the_next_look_has_a_day_and_a_reason, setup, teardown)
{
    struct bench *b = *state;
    assert_int_equal(days_to_next(b, "V1-3", "2026-03-20T12:00:00Z",
                                  "100 percent, thick white, nothing odd", "use"),
                     14);
    int64_t days = days_to_next(b, "V1-4", "2026-03-02T12:00:00Z",
                                "nothing white yet, nothing odd, all fine", "first growth");
    assert_true(days > 3 && days <= 7);
    (void)add_vessel(b->j, add_batch(b->j, "V2", add_cook(b->j, "C5")), 1, 0);
    assert_int_equal(
        days_to_next(b, "V2-1", "2026-03-12T12:00:00Z", "slow, 30 percent, wet", "isolate"),
        (int64_t)b->j->rules->decision.isolate_days);
    assert_int_equal(
        days_to_next(b, "V1-1", "2026-03-12T12:00:00Z", "green powdery patch", "discard"), 0);
}

int main(void)
{
    return tests_run("a triage at a vessel", NULL, NULL);
}
