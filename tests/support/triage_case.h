/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_TRIAGE_CASE_H
#define JARSIDE_TESTS_TRIAGE_CASE_H

#include "support/reader_rules.h"

#include <math.h>
#include <stdlib.h>

#include "triage/triage.h"

/*
 * The reader's small rule base with three invented findings, two causes, losses,
 * floors, cautions and a test, so that a whole consultation can be held on it.
 */
enum { SOUND, TIRED, SPOILT, FINDINGS };
enum { FIRST_CAUSE, SECOND_CAUSE, CAUSES };
enum { ALWAYS, ON_SPORES, ON_DISCARD, ON_SLICK, ON_TIRED, CAUTIONS };

struct consultation {
    struct small small;
    struct finding findings[FINDINGS];
    struct cause causes[CAUSES];
    struct caution cautions[CAUTIONS];
    struct floor_rule floors[1];
    struct use uses[1];
    struct group groups[1];
    struct reasoner *reasoner;
    struct triage *triage;
};

static inline void consultation_findings(struct consultation *c)
{
    static const struct claim sound[] = {
        {.observable = TINT, .value = 0, .number = 0.02},
        {.observable = TINT, .value = 1, .number = 0.02},
        {.observable = TINT, .value = 3, .number = 0.95},
        {.observable = DAMP, .value = 1, .number = 0.90},
        {.observable = TEXTURE, .value = 0, .number = 0.05},
        {.observable = ODOUR, .value = 0, .number = 0.05},
    };
    static const struct claim tired[] = {
        {.observable = TINT, .value = 0, .number = 0.02},
        {.observable = TINT, .value = 3, .number = 0.50},
        {.observable = AGE, .value = 2, .number = 0.80},
    };
    static const struct claim spoilt[] = {
        {.observable = TINT, .value = 0, .number = 0.70},
        {.observable = TINT, .value = 1, .number = 0.30},
        {.observable = TINT, .value = 3, .number = 0.40},
        {.observable = DAMP, .value = 2, .number = 0.80},
        {.observable = TEXTURE, .value = 0, .number = 0.60},
        {.observable = ODOUR, .value = 0, .number = 0.50},
    };
    static const char *const keep_sound[] = {"go on"};
    static const char *const keep_tired[] = {"warm it"};
    static const char *const wait_spoilt[] = {"set it apart", "look again"};
    static const char *const leave_spoilt[] = {"bag it"};
    static const char *const leave_tired[] = {"make room"};
    c->findings[SOUND] = (struct finding){.id = "sound",
                                          .status = FINDING_CLEAN,
                                          .base = 0.6,
                                          .kept_worth = 1,
                                          .looks = sound,
                                          .look_count = COUNT_OF(sound),
                                          .steps = {[ACTION_KEEP] = keep_sound},
                                          .step_count = {[ACTION_KEEP] = 1}};
    c->findings[TIRED] =
        (struct finding){.id = "tired",
                         .status = FINDING_STUCK,
                         .base = 0.2,
                         .kept_worth = 0.3,
                         .looks = tired,
                         .look_count = COUNT_OF(tired),
                         .steps = {[ACTION_KEEP] = keep_tired, [ACTION_DISCARD] = leave_tired},
                         .step_count = {[ACTION_KEEP] = 1, [ACTION_DISCARD] = 1}};
    c->findings[SPOILT] =
        (struct finding){.id = "spoilt",
                         .status = FINDING_CONTAMINATED,
                         .hazard = HAZARD_SPORING,
                         .base = 0.2,
                         .reveal = 0.8,
                         .spread = 0.1,
                         .looks = spoilt,
                         .look_count = COUNT_OF(spoilt),
                         .steps = {[ACTION_ISOLATE] = wait_spoilt, [ACTION_DISCARD] = leave_spoilt},
                         .step_count = {[ACTION_ISOLATE] = 2, [ACTION_DISCARD] = 1}};
}

static inline void consultation_causes(struct consultation *c)
{
    static const struct growth_rate spoils[] = {{.finding = SPOILT, .rate = 3}};
    static const struct growth_rate tires[] = {{.finding = TIRED, .rate = 3}};
    static const struct claim by_hand[] = {{.observable = MADE, .value = 0, .number = 4}};
    static const struct claim weak[] = {{.observable = FORCE, .value = 0, .number = 4}};
    c->causes[FIRST_CAUSE] = (struct cause){.id = "first",
                                            .prior = 0.2,
                                            .grows = spoils,
                                            .grow_count = 1,
                                            .weighs = by_hand,
                                            .weigh_count = 1};
    c->causes[SECOND_CAUSE] = (struct cause){.id = "second",
                                             .prior = 0.1,
                                             .grows = tires,
                                             .grow_count = 1,
                                             .weighs = weak,
                                             .weigh_count = 1};
}

static inline void consultation_cautions(struct consultation *c)
{
    static const size_t texture[] = {TEXTURE}, tired[] = {TIRED};
    static const uint32_t slick[] = {SLICK};
    c->cautions[ALWAYS] = (struct caution){.id = "always", .rank = 1, .always = true};
    c->cautions[ON_SPORES] = (struct caution){
        .id = "spores", .rank = 2, .hazards = 1U << HAZARD_SPORING, .at_least = 0.5};
    c->cautions[ON_DISCARD] =
        (struct caution){.id = "discard", .rank = 12, .actions = 1U << ACTION_DISCARD};
    c->cautions[ON_SLICK] =
        (struct caution){.id = "slick", .rank = 20, .when = {texture, slick, 1}};
    c->cautions[ON_TIRED] = (struct caution){
        .id = "tired", .rank = 30, .findings = tired, .finding_count = 1, .at_least = 0.3};
}

static inline void consultation_decision(struct consultation *c)
{
    static const size_t both[] = {TINT, TEXTURE};
    static const uint32_t red_dust[] = {RED, DUSTY};
    c->floors[0] = (struct floor_rule){.id = "red_dust",
                                       .action = ACTION_DISCARD,
                                       .contaminated_above = 1,
                                       .when = {both, red_dust, 2}};
    c->uses[0] = (struct use){.id = "expand", .label = "expanding", .loss_each = 0.8};
    c->small.rules.decision = (struct decision_rules){.keep_wrong = 1,
                                                      .keep_wrong_hazard = {[HAZARD_SPORING] = 2},
                                                      .isolate_delay = 0.06,
                                                      .isolate_spread = 0.15,
                                                      .discard_effort = 0.03,
                                                      .effort_loss = 0.002,
                                                      .settled = 0.02,
                                                      .neighbours = 6,
                                                      .uses = c->uses,
                                                      .use_count = 1,
                                                      .floors = c->floors,
                                                      .floor_count = 1};
}

/* Everything but the reader, the reasoner and the triage: a test may change things yet. */
static inline void consultation_prepare(struct consultation *c)
{
    *c = (struct consultation){.groups = {{.id = "look", .overlap = 0.5}}};
    small_init(&c->small);
    consultation_findings(c);
    consultation_causes(c);
    consultation_cautions(c);
    consultation_decision(c);
    struct rules *rules = &c->small.rules;
    rules->findings = c->findings;
    rules->finding_count = FINDINGS;
    rules->causes = c->causes;
    rules->cause_count = CAUSES;
    rules->cautions = c->cautions;
    rules->caution_count = CAUTIONS;
    rules->groups = c->groups;
    rules->group_count = 1;
    rules->calibration = (struct calibration){.tau = 1, .answered = 1, .hedge = 0.6};
    for (size_t i = 0; i < FEEDS_COUNT; i++)
        rules->feeder[i] = RULES_NONE;
    for (size_t i = 0; i < SMALL_COUNT; i++)
        c->small.observables[i].effort = 1;
    c->small.observables[FORCE].class = CLASS_TEST;
}

static inline void consultation_open(struct consultation *c)
{
    small_open(&c->small);
    c->reasoner = reasoner_new(&c->small.rules);
    assert_non_null(c->reasoner);
    c->triage = triage_new(&c->small.rules, c->small.reader, c->reasoner);
    assert_non_null(c->triage);
}

static inline int consultation_setup(void **state)
{
    struct consultation *c = malloc(sizeof *c);
    assert_non_null(c);
    consultation_prepare(c);
    consultation_open(c);
    *state = c;
    return 0;
}

static inline int consultation_teardown(void **state)
{
    struct consultation *c = *state;
    triage_free(c->triage);
    reasoner_free(c->reasoner);
    small_close(&c->small);
    free(c);
    return 0;
}

/* A test that is given a consultation of its own. */
#define IN_A_CASE(name) TEST_WITH(name, consultation_setup, consultation_teardown)

static inline void tell(struct consultation *c, const char *text)
{
    assert_int_equal(triage_tell(c->triage, text, strlen(text), c->small.diags), STATUS_OK);
}

static inline void answer(struct consultation *c, size_t observable, const char *text)
{
    assert_int_equal(triage_answer(c->triage, observable, text, c->small.diags), STATUS_OK);
}

/* What is known of an observable; all zero when nothing is. */
static inline struct fact fact_about(const struct consultation *c, size_t observable)
{
    const struct fact *fact = triage_fact(c->triage, observable);
    return fact ? *fact : (struct fact){.observable = observable, .words = ""};
}

static inline void assert_known(const struct consultation *c, size_t observable, uint32_t seen,
                                uint32_t absent, uint32_t hedged)
{
    struct observation got = fact_about(c, observable).observation;
    struct observation held = triage_evidence(c->triage)->observations[observable];
    if (got.seen != seen || got.absent != absent || got.hedged != hedged)
        fail_msg("observable %zu: seen %x, absent %x, hedged %x", observable, got.seen, got.absent,
                 got.hedged);
    assert_memory_equal(&got, &held, sizeof got);
}

static inline const struct verdict *judge(struct consultation *c)
{
    const struct verdict *verdict = triage_judge(c->triage);
    assert_non_null(verdict);
    return verdict;
}

static inline const struct question *next_of(struct consultation *c, enum aim aim)
{
    return triage_next(c->triage, aim);
}

#endif
