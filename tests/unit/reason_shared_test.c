/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Shared causes of a batch: against a sum over everything that can be so of every vessel, and in kind. */

#include "reason/shared.h"
#include "support/fixture.h"
#include "support/naive.h"
#include "support/random_base.h"
#include "support/test.h"

/* ---- by brute force ---------------------------------------------------------------------------- */

enum {
    MOST_VESSELS = 4,
    MOST_SUSPECTS = 12,
    MOST_SETS = 1 + MOST_SUSPECTS * (MOST_SUSPECTS + 1) / 2
};

/* P(E_v, S, f) of each vessel, and what of it the common facts alone make. */
struct brute_vessel {
    const struct shared_vessel *vessel;
    struct naive all, common, nothing;
};

struct brute {
    const struct rules *rules;
    const struct shared_batch *batch;
    const struct shared_posterior *engine; /* for its list of suspects and sets only */
    size_t vessels;                        /* written out: alike ones stand singly */
    struct brute_vessel vessel[MOST_VESSELS];
    long double total, z[MOST_SETS];
    size_t now_z;
};

static bool brute_shared(const struct brute *brute, const struct shared_vessel *vessel, int cause)
{
    enum scope scope = brute->rules->causes[cause].scope;
    return scope != SCOPE_VESSEL && vessel->group[scope] != RULES_NONE;
}

static bool brute_can(const struct brute *brute, const struct shared_vessel *vessel, int cause)
{
    return cause < 0 || !vessel->control || brute->rules->causes[cause].shown_by_control;
}

/* Whether two sets of causes hold the same causes of shared scope. */
static bool brute_same(const struct brute *brute, const struct shared_vessel *vessel,
                       const int a[2], const int b[2])
{
    for (int k = 0; k < 2; k++) {
        if (a[k] >= 0 && brute_shared(brute, vessel, a[k]) && b[0] != a[k] && b[1] != a[k])
            return false;
        if (b[k] >= 0 && brute_shared(brute, vessel, b[k]) && a[0] != b[k] && a[1] != b[k])
            return false;
    }
    return true;
}

/* Sum over findings, and over the sets that look like this one from their T. */
static long double brute_sum(const struct brute *brute, const struct brute_vessel *at,
                             const struct naive *of, const int t[2])
{
    long double sum = 0;
    for (size_t s = 0; s < of->set_count; s++) {
        const int *set = of->sets[s];
        if (!brute_same(brute, at->vessel, set, t) || !brute_can(brute, at->vessel, set[0]) ||
            !brute_can(brute, at->vessel, set[1]))
            continue;
        for (size_t f = 0; f < brute->rules->finding_count; f++)
            sum += of->joint[s][f];
    }
    return sum;
}

/* P(T|Z,v) P(E,S,f|T) / P(E0|T) of one vessel in one state. */
static long double brute_factor(const struct brute *brute, const struct brute_vessel *at, size_t z,
                                size_t s, size_t f)
{
    const int *set = at->all.sets[s];
    const struct shared_vessel *vessel = at->vessel;
    enum finding_status status = brute->rules->findings[f].status;
    long double chance = 1;
    bool explained[2] = {false, false};

    if ((vessel->finding != RULES_NONE && vessel->finding != (int)f) ||
        (vessel->statuses && !(vessel->statuses >> status & 1)))
        return 0;
    for (int k = 0; k < 2; k++) {
        int index = brute->engine->sets[z].suspects[k];
        if (index < 0)
            continue;
        int cause = (int)brute->engine->suspects[index].cause;
        if (vessel->group[brute->rules->causes[cause].scope] !=
                brute->engine->suspects[index].group ||
            !brute_can(brute, vessel, cause))
            continue;
        long double reach = (long double)brute->rules->causes[cause].reach;
        bool reached = set[0] == cause || set[1] == cause;
        chance *= reached ? reach : 1 - reach;
        for (int m = 0; m < 2; m++)
            explained[m] = explained[m] || set[m] == cause;
    }
    for (int m = 0; m < 2; m++)
        if (!brute_can(brute, vessel, set[m]) ||
            (set[m] >= 0 && brute_shared(brute, vessel, set[m]) && !explained[m]))
            return 0;
    long double e = at->all.joint[s][f] * expl(at->all.log_evidence);
    long double e0 = brute_sum(brute, at, &at->common, set) * expl(at->common.log_evidence);
    return chance * e / e0; /* both over the prior of T, which falls out */
}

static void brute_vessels(struct brute *brute, size_t v, long double weight)
{
    if (v == brute->vessels) {
        brute->total += weight;
        brute->z[brute->now_z] += weight;
        return;
    }
    const struct brute_vessel *at = &brute->vessel[v];
    for (size_t s = 0; s < at->all.set_count; s++) {
        for (size_t f = 0; f < brute->rules->finding_count; f++) {
            long double factor = brute_factor(brute, at, brute->now_z, s, f);
            if (factor == 0)
                continue;
            brute_vessels(brute, v + 1, weight * factor);
        }
    }
}

static long double brute_odds(const struct brute *brute, const struct suspect *suspect)
{
    const struct cause *cause = &brute->rules->causes[suspect->cause];
    long double p = (long double)cause->prior / (long double)cause->reach;
    p = naive_within(p, NAIVE_LEAST, 0.95L);
    long double odds = p / (1 - p);
    for (size_t i = 0; i < brute->batch->shift_count; i++)
        if (brute->batch->shifts[i].cause == suspect->cause &&
            (brute->batch->shifts[i].group == RULES_NONE ||
             brute->batch->shifts[i].group == suspect->group))
            odds *= expl((long double)brute->batch->shifts[i].log_odds);
    return odds;
}

/* P(E0|T), T the causes of a set of suspects; every cause with a suspect is shared here. */
static long double brute_common(const struct brute *brute, const struct suspect_set *set)
{
    const struct shared_posterior *engine = brute->engine;
    struct naive *common = malloc(sizeof *common), *nothing = malloc(sizeof *nothing);
    struct observation unsaid[BASE_OBSERVABLES] = {{0}};
    long double sum = 0, prior = 0;
    naive_posterior(
        brute->rules,
        &(struct evidence){.observations = brute->batch->common ? brute->batch->common : unsaid},
        (long double)brute->rules->calibration.tau, common);
    naive_posterior(brute->rules, &(struct evidence){.observations = unsaid}, 1, nothing);
    for (size_t s = 0; s < common->set_count; s++) {
        bool same = true;
        for (size_t c = 0; c < brute->rules->cause_count; c++) {
            bool listed = false, wanted = false;
            for (size_t i = 0; i < engine->suspect_count; i++)
                listed = listed || engine->suspects[i].cause == c;
            for (int k = 0; k < 2; k++)
                wanted = wanted ||
                         (set->suspects[k] >= 0 && engine->suspects[set->suspects[k]].cause == c);
            bool has = common->sets[s][0] == (int)c || common->sets[s][1] == (int)c;
            same = same && (!listed || has == wanted);
        }
        for (size_t f = 0; same && f < brute->rules->finding_count; f++) {
            sum += common->joint[s][f] * expl(common->log_evidence);
            prior += nothing->joint[s][f];
        }
    }
    free(common);
    free(nothing);
    return sum / prior;
}

static void brute_all(struct brute *brute)
{
    for (size_t z = 0; z < brute->engine->set_count; z++) {
        const struct suspect_set *set = &brute->engine->sets[z];
        long double weight = brute_common(brute, set);
        for (int k = 0; k < 2; k++)
            if (set->suspects[k] >= 0)
                weight *= brute_odds(brute, &brute->engine->suspects[set->suspects[k]]);
        brute->now_z = z;
        brute_vessels(brute, 0, weight);
    }
}

static void brute_add(struct brute *brute, size_t original)
{
    struct brute_vessel *at = &brute->vessel[brute->vessels];
    struct observation unsaid[BASE_OBSERVABLES] = {{0}};
    const struct observation *common = brute->batch->common ? brute->batch->common : unsaid;
    long double tau = (long double)brute->rules->calibration.tau;
    at->vessel = &brute->batch->vessels[original];
    const struct observation *all = at->vessel->observations ? at->vessel->observations : common;
    naive_posterior(brute->rules, &(struct evidence){.observations = all}, tau, &at->all);
    naive_posterior(brute->rules, &(struct evidence){.observations = common}, tau, &at->common);
    brute->vessels++;
}

static void assert_as_by_force(const struct brute *brute)
{
    const struct shared_posterior *got = brute->engine;
    for (size_t z = 0; z < got->set_count; z++)
        assert_true(fabsl((long double)got->sets[z].p - brute->z[z] / brute->total) < 1e-12L);
    for (size_t i = 0; i < got->suspect_count; i++) {
        long double p = 0;
        for (size_t z = 0; z < got->set_count; z++)
            if (got->sets[z].suspects[0] == (int)i || got->sets[z].suspects[1] == (int)i)
                p += brute->z[z] / brute->total;
        assert_true(fabsl((long double)got->suspects[i].p - p) < 1e-12L);
    }
}

static void random_vessel(struct dice *dice, const struct rule_base *base,
                          const struct observation *common, size_t vessels, struct observation *own,
                          struct shared_vessel *vessel)
{
    *vessel = (struct shared_vessel){.finding = RULES_NONE, .control = dice_chance(dice, 0.2)};
    for (int scope = 0; scope < SCOPE_COUNT; scope++)
        vessel->group[scope] = dice_chance(dice, 0.15)  ? RULES_NONE
                               : dice_chance(dice, 0.7) ? 0
                                                        : (int)dice_below(dice, vessels);
    if (dice_chance(dice, 0.8)) {
        random_evidence(base, dice, 0.5, own);
        for (size_t i = 0; i < base->rules.observable_count; i++)
            if (common && (common[i].seen || common[i].absent || common[i].silent))
                own[i] = common[i];
        vessel->observations = own;
    }
    if (dice_chance(dice, 0.2))
        vessel->finding = (int)dice_below(dice, base->rules.finding_count);
    else if (dice_chance(dice, 0.3))
        vessel->statuses = UINT32_C(1)
                           << base->findings[dice_below(dice, base->rules.finding_count)].status;
}

static void check_random_batch(struct dice *dice)
{
    const struct random_size size = {
        .findings = 3, .causes = 3, .observables = 3, .values = 3, .groups = dice_below(dice, 2)};
    struct rule_base *base = random_base(dice, &size);
    struct observation common[BASE_OBSERVABLES], own[MOST_VESSELS][BASE_OBSERVABLES];
    struct shared_vessel vessels[MOST_VESSELS];
    struct shared_shift shifts[2] = {{0}};
    bool any_common = dice_chance(dice, 0.7);
    for (size_t c = 0; c < size.causes; c++) {
        base->causes[c].scope = (enum scope)dice_below(dice, SCOPE_COUNT);
        base->causes[c].reach = dice_chance(dice, 0.2) ? 1.0 : 0.1 + 0.9 * dice_share(dice);
        base->causes[c].prior = 0.01 + 0.4 * dice_share(dice);
        base->causes[c].shown_by_control = dice_chance(dice, 0.5);
    }
    random_evidence(base, dice, 0.4, common);
    struct shared_batch batch = {.vessels = vessels,
                                 .vessel_count = 1 + dice_below(dice, 3),
                                 .common = any_common ? common : NULL,
                                 .shifts = shifts,
                                 .shift_count = dice_below(dice, 3)};
    for (size_t i = 0; i < batch.shift_count; i++)
        shifts[i] = (struct shared_shift){.cause = dice_below(dice, size.causes),
                                          .group = dice_chance(dice, 0.5) ? RULES_NONE : 0,
                                          .log_odds = 4 * (dice_share(dice) - 0.5)};
    for (size_t v = 0; v < batch.vessel_count; v++)
        random_vessel(dice, base, any_common ? common : NULL, batch.vessel_count, own[v],
                      &vessels[v]);
    if (batch.vessel_count < 3 && dice_chance(dice, 0.3))
        vessels[0].alike = 2;

    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct shared_posterior posterior;
    struct brute *brute = calloc(1, sizeof *brute);
    assert_non_null(reasoner);
    assert_non_null(brute);
    assert_int_equal(reason_shared(reasoner, &batch, &posterior), STATUS_OK);
    assert_true(posterior.suspect_count <= MOST_SUSPECTS);
    *brute = (struct brute){.rules = &base->rules, .batch = &batch, .engine = &posterior};
    for (size_t v = 0; v < batch.vessel_count; v++)
        for (size_t k = 0; k < (vessels[v].alike ? vessels[v].alike : 1); k++)
            brute_add(brute, v);
    brute_all(brute);
    assert_as_by_force(brute);
    free(brute);
    shared_release(&posterior);
    reasoner_free(reasoner);
    base_free(base);
}

TEST(agrees_with_brute_force)
{
    (void)state;
    struct dice dice = {17630101};
    for (int i = 0; i < 150; i++)
        check_random_batch(&dice);
}

/* A single vessel that every cause reaches is judged as it is on its own. */
TEST(one_vessel_is_judged_as_on_its_own)
{
    (void)state;
    struct dice dice = {31};
    const struct random_size size = {.findings = 4, .causes = 4, .observables = 5, .values = 4};
    for (int i = 0; i < 20; i++) {
        struct rule_base *base = random_base(&dice, &size);
        struct observation said[BASE_OBSERVABLES];
        for (size_t c = 0; c < size.causes; c++)
            base->causes[c].prior = 0.01 + 0.3 * dice_share(&dice); /* all of scope cook */
        random_evidence(base, &dice, 0.6, said);
        struct reasoner *reasoner = reasoner_new(&base->rules);
        struct shared_vessel vessel = {.observations = said, .finding = RULES_NONE};
        struct shared_batch batch = {.vessels = &vessel, .vessel_count = 1};
        struct shared_posterior shared;
        struct posterior alone;
        posterior_init(&alone, reasoner, NULL);
        reason_posterior(reasoner, &(struct evidence){.observations = said}, -1, &alone);
        assert_int_equal(reason_shared(reasoner, &batch, &shared), STATUS_OK);
        for (size_t c = 0; c < size.causes; c++)
            assert_true(fabs(shared.suspects[c].p - alone.cause[c]) < 1e-12);
        /* Said of the batch or of its only vessel, it is the same. */
        batch.common = said;
        struct shared_posterior other;
        assert_int_equal(reason_shared(reasoner, &batch, &other), STATUS_OK);
        for (size_t c = 0; c < size.causes; c++)
            assert_true(fabs(shared.suspects[c].p - other.suspects[c].p) < 1e-12);
        shared_release(&shared);
        shared_release(&other);
        posterior_release(&alone);
        reasoner_free(reasoner);
        base_free(base);
    }
}

/* ---- on the shipped rules ---------------------------------------------------------------------- */

static double suspicion(const struct fixture *shipped, const struct shared_posterior *posterior,
                        const char *cause, int group)
{
    for (size_t i = 0; i < posterior->suspect_count; i++)
        if ((int)posterior->suspects[i].cause == rules_cause(shipped->rules, cause) &&
            posterior->suspects[i].group == group)
            return posterior->suspects[i].p;
    fail_msg("%s of group %d is no suspect", cause, group);
    return NAN;
}

static struct shared_vessel vessel_with(uint32_t statuses, size_t alike)
{
    return (struct shared_vessel){.finding = RULES_NONE, .statuses = statuses, .alike = alike};
}

enum { FINE = 1U << FINDING_CLEAN, SPOILT = 1U << FINDING_CONTAMINATED };

static struct shared_posterior infer(const struct fixture *shipped,
                                     const struct shared_vessel *vessels, size_t count)
{
    struct reasoner *reasoner = reasoner_new(shipped->rules);
    struct shared_batch batch = {.vessels = vessels, .vessel_count = count};
    struct shared_posterior posterior;
    assert_int_equal(reason_shared(reasoner, &batch, &posterior), STATUS_OK);
    reasoner_free(reasoner);
    return posterior;
}

TEST(a_batch_that_spoiled_has_a_cause_and_one_that_did_not_has_none)
{
    const struct fixture *shipped = *state;
    struct shared_vessel bad[] = {vessel_with(FINE, 1), vessel_with(SPOILT, 9)};
    struct shared_vessel good[] = {vessel_with(FINE, 9), vessel_with(SPOILT, 1)};
    struct shared_posterior posterior = infer(shipped, bad, 2);
    assert_true(posterior.sets[0].p < 0.01);
    double cook = suspicion(shipped, &posterior, "under_sterilised", 0);
    double cold = suspicion(shipped, &posterior, "too_cold", 0);
    assert_true(cook > 0.2 && cold < 0.1);
    shared_release(&posterior);
    posterior = infer(shipped, good, 2);
    assert_true(posterior.sets[0].p > 0.2);
    assert_true(suspicion(shipped, &posterior, "under_sterilised", 0) < 0.02);
    shared_release(&posterior);
}

/* Two cooks, one starter: only one of the cooks went bad. */
TEST(two_cooks_tell_the_cook_from_the_starter)
{
    const struct fixture *shipped = *state;
    struct shared_vessel vessels[] = {vessel_with(SPOILT, 7), vessel_with(FINE, 8)};
    vessels[1].group[SCOPE_COOK] = 1;
    struct shared_posterior posterior = infer(shipped, vessels, 2);
    assert_true(suspicion(shipped, &posterior, "under_sterilised", 0) > 0.5);
    assert_true(suspicion(shipped, &posterior, "under_sterilised", 1) < 0.05);
    assert_true(suspicion(shipped, &posterior, "starter_contaminated", 0) < 0.05);
    shared_release(&posterior);
}

TEST(a_clean_control_clears_the_cook)
{
    const struct fixture *shipped = *state;
    struct shared_vessel vessels[] = {vessel_with(SPOILT, 6), vessel_with(FINE, 2),
                                      vessel_with(FINE, 2)};
    struct shared_posterior without = infer(shipped, vessels, 2);
    vessels[2].control = true;
    struct shared_posterior with = infer(shipped, vessels, 3);
    assert_true(suspicion(shipped, &with, "under_sterilised", 0) <
                0.3 * suspicion(shipped, &without, "under_sterilised", 0));
    assert_true(suspicion(shipped, &with, "starter_contaminated", 0) >
                suspicion(shipped, &without, "starter_contaminated", 0));
    shared_release(&without);
    shared_release(&with);
}

/* Said once of the cook and known of all its vessels, it counts once. */
TEST(common_facts_count_once)
{
    const struct fixture *shipped = *state;
    const struct rules *rules = shipped->rules;
    struct observation *common = calloc(rules->observable_count, sizeof *common);
    int minutes = rules_observable(rules, "cook_minutes");
    assert_non_null(common);
    assert_true(minutes >= 0);
    common[minutes].seen = 1;
    struct reasoner *reasoner = reasoner_new(rules);
    double p[2];
    for (size_t i = 0; i < 2; i++) {
        struct shared_vessel vessels[] = {vessel_with(0, i == 0 ? 1 : 50)};
        vessels[0].observations = common;
        struct shared_batch batch = {.vessels = vessels, .vessel_count = 1, .common = common};
        struct shared_posterior posterior;
        assert_int_equal(reason_shared(reasoner, &batch, &posterior), STATUS_OK);
        p[i] = suspicion(shipped, &posterior, "under_sterilised", 0);
        shared_release(&posterior);
    }
    assert_true(p[0] > 0.2 && fabs(p[0] - p[1]) < 1e-9);
    reasoner_free(reasoner);
    free(common);
}

/* One entry that stands for five, five that are the same, and other ones between them. */
TEST(the_same_again_is_counted)
{
    const struct fixture *shipped = *state;
    const struct rules *rules = shipped->rules;
    struct observation *said = calloc(3 * rules->observable_count, sizeof *said);
    assert_non_null(said);
    for (size_t k = 0; k < 3; k++) /* the same twice, in two places, and another */
        said[k * rules->observable_count].seen = k == 2 ? 2 : 1;
    struct shared_vessel apart[9], together[3];
    for (size_t v = 0; v < 9; v++) {
        apart[v] = vessel_with(v % 3 == 2 ? FINE : SPOILT, 1);
        if (v % 3 < 2)
            apart[v].observations = said + (v % 3) * rules->observable_count;
    }
    apart[8].observations = said + 2 * rules->observable_count;
    together[0] = apart[0];
    together[0].alike = 6;
    together[1] = apart[2];
    together[1].alike = 2;
    together[2] = apart[8];
    struct shared_posterior one = infer(shipped, apart, 9), other = infer(shipped, together, 3);
    assert_int_equal(one.set_count, other.set_count);
    for (size_t z = 0; z < one.set_count; z++)
        assert_true(fabs(one.sets[z].p - other.sets[z].p) < 1e-12);
    shared_release(&one);
    shared_release(&other);
    free(said);
}

TEST(thousands_of_vessels_stay_finite)
{
    const struct fixture *shipped = *state;
    struct shared_vessel vessels[] = {vessel_with(SPOILT, 100000), vessel_with(FINE, 300000)};
    struct shared_posterior posterior = infer(shipped, vessels, 2);
    double sum = 0;
    for (size_t z = 0; z < posterior.set_count; z++)
        sum += posterior.sets[z].p;
    assert_true(fabs(sum - 1) < 1e-12);
    for (size_t i = 0; i < posterior.suspect_count; i++)
        assert_true(posterior.suspects[i].p >= 0.0 && posterior.suspects[i].p <= 1.0);
    shared_release(&posterior);
}

TEST(no_vessels_and_too_many_suspects)
{
    const struct fixture *shipped = *state;
    struct reasoner *reasoner = reasoner_new(shipped->rules);
    struct shared_posterior posterior;
    struct shared_batch batch = {.vessel_count = 0};
    assert_int_equal(reason_shared(reasoner, &batch, &posterior), STATUS_OK);
    assert_int_equal(posterior.suspect_count, 0);
    assert_true(posterior.sets[0].p == 1.0);
    shared_release(&posterior);
    struct shared_vessel apart[SHARED_MOST_SUSPECTS];
    for (size_t v = 0; v < SHARED_MOST_SUSPECTS; v++) {
        apart[v] = vessel_with(SPOILT, 1);
        apart[v].group[SCOPE_COOK] = (int)v;
    }
    batch = (struct shared_batch){.vessels = apart, .vessel_count = SHARED_MOST_SUSPECTS};
    assert_int_equal(reason_shared(reasoner, &batch, &posterior), STATUS_DATA);
    assert_null(posterior.suspects);
    reasoner_free(reasoner);
}

int main(void)
{
    return tests_run("reason shared", shipped_setup, fixture_tear_down);
}
