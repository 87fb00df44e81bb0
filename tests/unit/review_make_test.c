/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review whole, on invented laboratories whose culprits are known. */
#include <math.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "reason/reason.h"
#include "review/review.h"
#include "support/fixture.h"
#include "support/labs.h"
#include "support/test.h"

enum { COOK = 0, STARTER = 1, SESSION = 2, BATCH = 5 }; /* factors of a lab */

struct bench {
    struct fixture *shipped;
    struct lab lab;
};

static int setup(void **state)
{
    struct bench *bench = calloc(1, sizeof *bench);
    void *shipped = NULL;
    assert_non_null(bench);
    assert_int_equal(shipped_setup(&shipped), 0);
    bench->shipped = shipped;
    fixture_judges(bench->shipped);
    *state = bench;
    return 0;
}

static int teardown(void **state)
{
    struct bench *bench = *state;
    void *shipped = bench->shipped;
    fixture_tear_down(&shipped);
    free(bench);
    return 0;
}

static struct review review_of(struct bench *bench)
{
    struct review review;
    assert_int_equal(review_make(&bench->lab.dataset, bench->shipped->reasoner, NULL,
                                 bench->shipped->arena, &review),
                     STATUS_OK);
    return review;
}

/* ---- parts ----------------------------------------------------------------------------------- */

/* P(as many or more) against GSL's hypergeometric distribution. */
TEST(test_tail)
{
    static const struct counts cases[][2] = {
        {{8, 10}, {11, 110}}, {{3, 4}, {1, 4}}, {{20, 20}, {0, 30}}, {{40, 100}, {300, 1000}}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        struct counts in = cases[c][0], out = cases[c][1];
        unsigned lost = (unsigned)(in.lost + out.lost);
        unsigned kept = (unsigned)(in.total + out.total) - lost;
        double expected =
            gsl_cdf_hypergeometric_Q((unsigned)in.lost - 1, lost, kept, (unsigned)in.total);
        assert_true(fabs(search_tail(in, out) - expected) <= 1e-9 * expected + 1e-15);
    }
    assert_true(search_tail((struct counts){1, 10}, (struct counts){2, 10}) >= 1.0);
}

/* Against a rest so large that its rate is known: n (quantile of the beta distribution - r0). */
TEST(test_saved)
{
    struct review_culprit culprit;
    struct review_suspect suspect = {.inside = {14, 20}, .outside = {1000000, 10000000}};
    (void)state;
    saved_estimate(&suspect, &culprit);
    assert_true(fabs(culprit.saved - 20 * (15.0 / 22.0 - 0.1)) < 0.01);
    assert_true(fabs(culprit.saved_low - 20 * (gsl_cdf_beta_Pinv(0.05, 15, 7) - 0.1)) < 0.03);
    /* Above that 14.7, but no more can be saved than were lost. */
    assert_true(20 * (gsl_cdf_beta_Pinv(0.95, 15, 7) - 0.1) > 14.0);
    assert_true(fabs(culprit.saved_high - 14.0) < 1e-9);
    suspect.outside.lost = 3000000;
    saved_estimate(&suspect, &culprit);
    assert_true(fabs(culprit.saved_high - 20 * (gsl_cdf_beta_Pinv(0.95, 15, 7) - 0.3)) < 0.03);
    suspect.outside.lost = 1000000;
    suspect.controls = (struct counts){2, 4}; /* they are no loss to anyone */
    saved_estimate(&suspect, &culprit);
    assert_true(culprit.saved <= 12.0 && culprit.saved_high <= 12.0);
    suspect = (struct review_suspect){.inside = {0, 5}, .outside = {50, 100}};
    saved_estimate(&suspect, &culprit);
    assert_true(culprit.saved <= 0.0 && culprit.saved_low <= 0.0);
}

/* ---- the whole ------------------------------------------------------------------------------- */

TEST(test_one_culprit)
{
    struct bench *bench = *state;
    const struct lab_culprit culprit = {COOK, 2, 0.8};
    lab_make(&bench->lab, 7, &culprit);
    struct review review = review_of(bench);
    assert_int_equal(review.limits, 0);
    assert_int_equal(review.totals.vessels, LAB_BATCHES * LAB_EACH);
    assert_int_equal(review.totals.controls.total, LAB_BATCHES / 4);
    assert_int_equal(review.culprit_count, 1);
    const struct review_culprit *called = &review.culprits[0];
    assert_int_equal(called->suspect_count, 1);
    assert_int_equal(called->suspects[0].factor, COOK);
    assert_int_equal(called->suspects[0].level, 2);
    assert_true(called->p > 0.95 && called->p < 1.0);
    assert_true(called->saved_low <= called->saved && called->saved <= called->saved_high);
    assert_true(called->why.cause_count > 0);
    for (size_t c = 0; c < called->why.cause_count; c++)
        assert_int_equal(review.rules->causes[called->why.causes[c].cause].scope, SCOPE_COOK);
    /* Its two batches are told from it; and they are what lies outside the limits, if any is. */
    for (size_t b = 0; b < review.batch_count; b++)
        assert_true(!review.batches[b].point.above || review.batches[b].level / 2 == 2);
    assert_int_equal(review.factors[COOK].levels[0].level, 2); /* worst first */
    assert_int_equal(review.time.factor, COOK);
    assert_int_equal(review.time.curves[0].level, 2);
    assert_int_equal(review.time.cases, LAB_BATCHES * LAB_EACH);
    assert_int_equal(review.changes[0], 0);
    assert_int_equal(review.plan_count, 0);
}

TEST(test_trials)
{
    struct bench *bench = *state;
    const struct lab_culprit culprit = {COOK, 2, 0.8};
    lab_make(&bench->lab, 7, &culprit);
    struct review review = review_of(bench);
    const struct review_culprit *called = &review.culprits[0];
    double entropy = 0.0, all = 0.0, before = INFINITY;
    for (size_t c = 0; c < called->why.cause_count; c++)
        all += called->why.causes[c].p;
    for (size_t c = 0; c < called->why.cause_count; c++)
        entropy -= called->why.causes[c].p / all * log2(called->why.causes[c].p / all);
    assert_true(called->why.trial_count > 0);
    for (size_t t = 0; t < called->why.trial_count; t++) {
        const struct review_trial *trial = &called->why.trials[t];
        assert_int_equal(review.rules->observables[trial->observable].class, CLASS_TEST);
        assert_true(trial->bits > 0.0 && trial->bits <= entropy + 1e-9);
        assert_true(trial->bits / trial->cost <= before);
        before = trial->bits / trial->cost;
    }
}

/* Sessions that follow cooks to the vessel: one culprit, two names, and a plan that parts them. */
TEST(test_alias)
{
    struct bench *bench = *state;
    const struct lab_culprit culprit = {STARTER, 1, 0.8};
    lab_make(&bench->lab, 11, &culprit);
    for (size_t i = 0; i < bench->lab.dataset.vessel_count; i++)
        bench->lab.levels[SESSION][i] = bench->lab.levels[STARTER][i];
    bench->lab.factors[SESSION].level_count = bench->lab.factors[STARTER].level_count;
    struct review review = review_of(bench);
    bool said = false;
    for (size_t a = 0; a < review.alias_count; a++)
        said = said || (review.aliases[a].first == STARTER && review.aliases[a].second == SESSION &&
                        review.aliases[a].together == review.aliases[a].of);
    assert_true(said);
    assert_int_equal(review.culprit_count, 1);
    assert_int_equal(review.culprits[0].suspect_count, 2);
    double p = review.culprits[0].suspects[0].p + review.culprits[0].suspects[1].p;
    assert_true(fabs(p - review.culprits[0].p) < 1e-9);
    assert_int_equal(review.plan_count, 1);
    const struct review_plan *plan = &review.plans[0];
    assert_true(plan->error <= 0.1 && plan->fails_from >= 1 && plan->fails_from <= plan->each);
    bool with = false, without = false; /* the starter again, and another beside it */
    for (size_t a = 0; a < plan->arm_count; a++)
        for (size_t c = 0; c < plan->factor_count; c++)
            if (plan->factors[c] == STARTER && !plan->arms[a].control) {
                with = with || plan->arms[a].levels[c] == 1;
                without = without || plan->arms[a].levels[c] != 1;
            }
    assert_true(with && without);
}

TEST(test_limits)
{
    struct bench *bench = *state;
    const struct lab_culprit none = {.factor = LAB_FACTORS};
    lab_make(&bench->lab, 3, &none);
    struct dataset *dataset = &bench->lab.dataset;
    memset(bench->lab.fate, FATE_SOUND, sizeof bench->lab.fate);
    assert_int_equal(review_of(bench).limits, REVIEW_NOTHING_LOST);
    memset(bench->lab.fate, FATE_STUCK, sizeof bench->lab.fate);
    struct review lost = review_of(bench);
    assert_int_equal(lost.limits, REVIEW_ALL_LOST);
    assert_int_equal(lost.culprit_count, 0);
    memset(bench->lab.fate, FATE_COUNT, sizeof bench->lab.fate);
    assert_true(review_of(bench).limits & REVIEW_NOTHING_COUNTS);
    dataset->factor_count = 0;
    dataset->batch = 0;
    assert_true(review_of(bench).limits & REVIEW_NO_FACTOR);
    dataset->vessel_count = 0;
    assert_int_equal(review_of(bench).limits, REVIEW_EMPTY);
}

/* The same vessels in another order are the same vessels. */
TEST(test_order)
{
    struct bench *bench = *state;
    const struct lab_culprit culprit = {STARTER, 3, 0.7};
    lab_make(&bench->lab, 19, &culprit);
    struct review before = review_of(bench);
    size_t count = bench->lab.dataset.vessel_count;
    for (size_t i = 0; i < count / 2; i++) {
        size_t j = count - 1 - i;
        uint8_t fate = bench->lab.fate[i];
        bool control = bench->lab.control[i];
        int32_t ended = bench->lab.ended[i];
        bench->lab.fate[i] = bench->lab.fate[j];
        bench->lab.control[i] = bench->lab.control[j];
        bench->lab.ended[i] = bench->lab.ended[j];
        bench->lab.fate[j] = fate;
        bench->lab.control[j] = control;
        bench->lab.ended[j] = ended;
        for (size_t f = 0; f < LAB_FACTORS; f++) {
            uint32_t level = bench->lab.levels[f][i];
            bench->lab.levels[f][i] = bench->lab.levels[f][j];
            bench->lab.levels[f][j] = level;
        }
    }
    struct review after = review_of(bench);
    assert_int_equal(after.culprit_count, before.culprit_count);
    for (size_t k = 0; k < after.culprit_count; k++) {
        assert_int_equal(after.culprits[k].suspects[0].factor,
                         before.culprits[k].suspects[0].factor);
        assert_true(fabs(after.culprits[k].p - before.culprits[k].p) < 1e-12);
        assert_true(fabs(after.culprits[k].saved - before.culprits[k].saved) < 1e-9);
    }
    assert_true(fabs(after.time.logrank.p - before.time.logrank.p) < 1e-12);
}

int main(void)
{
    return tests_run("review make", setup, teardown);
}
