/* SPDX-License-Identifier: GPL-3.0-or-later */

#include "reason/model.h"
#include "support/naive.h"
#include "support/random_base.h"
#include "support/test.h"

static void assert_agrees(const struct reasoner *reasoner, const struct posterior *posterior,
                          const struct naive *naive, double tolerance)
{
    const struct rules *rules = reasoner_rules(reasoner);
    assert_int_equal(reasoner->set_count, naive->set_count);
    for (size_t s = 0; s < naive->set_count; s++) {
        size_t same = naive_set_of(naive, reasoner->sets[s]);
        assert_true(same < naive->set_count);
        for (size_t f = 0; f < rules->finding_count; f++)
            assert_close(posterior->joint[s * rules->finding_count + f], naive->joint[same][f],
                         tolerance);
    }
    for (size_t f = 0; f < rules->finding_count; f++)
        assert_close(posterior->finding[f], naive->finding[f], tolerance);
    for (size_t c = 0; c < rules->cause_count; c++)
        assert_close(posterior->cause[c], naive->cause[c], tolerance);
    assert_close(posterior->no_cause, naive->no_cause, tolerance);
    assert_close(posterior->log_evidence, naive->log_evidence, 100 * tolerance);
}

static void assert_normalised(const struct rules *rules, const struct posterior *posterior)
{
    double findings = 0, statuses = 0, hazards = 0;
    for (size_t f = 0; f < rules->finding_count; f++)
        findings += posterior->finding[f];
    for (size_t k = 0; k < FINDING_STATUS_COUNT; k++)
        statuses += posterior->status[k];
    for (size_t k = 0; k < HAZARD_COUNT; k++)
        hazards += posterior->hazard[k];
    assert_close(findings, 1, 1e-12);
    assert_close(statuses, 1, 1e-12);
    assert_close(hazards, 1, 1e-12);
}

/* Two different causes, in either order. */
static struct pair_shift random_pair(struct dice *dice, size_t causes)
{
    size_t one = dice_below(dice, causes), step = 1 + dice_below(dice, causes - 1);
    return (struct pair_shift){
        .causes = {one, (one + step) % causes},
        .log_odds = 10.0 * (dice_share(dice) - 0.5),
    };
}

/* One random base, several random evidences on it. */
static void check_random(struct dice *dice, const struct random_size *size, double telling,
                         double tolerance)
{
    struct rule_base *base = random_base(dice, size);
    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct posterior posterior;
    struct naive *naive = malloc(sizeof *naive);
    struct observation observations[BASE_OBSERVABLES];
    struct prior_shift shifts[3];
    struct pair_shift pairs[2];
    assert_non_null(reasoner);
    assert_non_null(naive);
    posterior_init(&posterior, reasoner, NULL);

    for (int round = 0; round < 5; round++) {
        struct evidence evidence = {
            .observations = observations, .shifts = shifts, .pair_shifts = pairs};
        random_evidence(base, dice, telling, observations);
        if (size->causes > 0)
            for (; evidence.shift_count < dice_below(dice, 4); evidence.shift_count++)
                shifts[evidence.shift_count] = (struct prior_shift){
                    .cause = dice_below(dice, size->causes),
                    .log_odds = 30.0 * (dice_share(dice) - 0.5),
                };
        if (size->causes > 1)
            for (; evidence.pair_shift_count < dice_below(dice, 3); evidence.pair_shift_count++)
                pairs[evidence.pair_shift_count] = random_pair(dice, size->causes);
        double tau = round == 0 ? 0.37 : -1;
        naive_posterior(&base->rules, &evidence,
                        round == 0 ? 0.37L : (long double)base->rules.calibration.tau, naive);
        reason_posterior(reasoner, &evidence, tau, &posterior);
        assert_agrees(reasoner, &posterior, naive, tolerance);
        assert_normalised(&base->rules, &posterior);
    }
    posterior_release(&posterior);
    reasoner_free(reasoner);
    base_free(base);
    free(naive);
}

TEST(agrees_with_the_formulas_on_random_bases)
{
    (void)state;
    struct dice dice = {20240229};
    for (int i = 0; i < 300; i++) {
        struct random_size size = {
            .findings = 1 + dice_below(&dice, 6),
            .causes = dice_below(&dice, 6),
            .observables = 1 + dice_below(&dice, 7),
            .values = 2 + dice_below(&dice, 5),
            .species = dice_below(&dice, 4),
            .groups = dice_below(&dice, 3),
        };
        check_random(&dice, &size, 0.6, 1e-12);
    }
}

/*
 * So many conflicting values that products leave the range of a double: the
 * logarithms take over. They run to ten thousand, of which a double keeps eleven
 * or twelve places behind the point; hence the wider tolerance.
 */
TEST(agrees_where_products_would_vanish)
{
    (void)state;
    struct dice dice = {77};
    struct random_size size = {.findings = 6,
                               .causes = 3,
                               .observables = 70,
                               .values = 30,
                               .species = 3,
                               .absolute = true};
    for (int i = 0; i < 4; i++)
        check_random(&dice, &size, 1.0, 1e-10);
}

TEST(likelihoods_are_those_of_the_formulas)
{
    (void)state;
    struct dice dice = {5};
    struct random_size size = {
        .findings = 4, .causes = 4, .observables = 6, .values = 5, .species = 3, .groups = 1};
    struct rule_base *base = random_base(&dice, &size);
    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct observation observations[BASE_OBSERVABLES] = {{0}};
    struct evidence evidence = {.observations = observations};
    size_t feeder = (size_t)base->rules.feeder[FEEDS_SPECIES];

    for (uint32_t named = 0; named < 8; named++) {
        observations[feeder].seen = named;
        int species = naive_species(&base->rules, &evidence);
        for (size_t s = 0; s < reasoner->set_count; s++) {
            for (size_t k = 0; k < size.observables * size.findings; k++) {
                size_t i = k / size.findings, f = k % size.findings;
                long double row[RULES_MAX_VALUES];
                naive_row(&base->rules, species, i, f, reasoner->sets[s], row);
                for (size_t v = 0; v < base->observables[i].value_count; v++)
                    assert_close(reasoner_likelihood(reasoner, &evidence, i, v, f, s), row[v],
                                 1e-14);
            }
        }
    }
    reasoner_free(reasoner);
    base_free(base);
}

/* The same base with its observables in another order; only ties may look at the order. */
TEST(order_of_observables_does_not_matter)
{
    (void)state;
    struct dice dice = {31};
    struct random_size size = {
        .findings = 5, .causes = 4, .observables = 7, .values = 4, .species = 0, .groups = 2};
    for (int round = 0; round < 20; round++) {
        struct rule_base *base = random_base(&dice, &size), *turned = malloc(sizeof *turned);
        struct observation said[BASE_OBSERVABLES], said_turned[BASE_OBSERVABLES];
        size_t n = base->rules.observable_count;
        *turned = *base;
        random_evidence(base, &dice, 0.9, said);
        for (size_t i = 0; i < n; i++) {
            turned->observables[i] = base->observables[n - 1 - i];
            said_turned[i] = said[n - 1 - i];
        }
        for (size_t f = 0; f < size.findings; f++)
            for (size_t k = 0; k < base->findings[f].look_count; k++)
                turned->looks[f][k].observable = n - 1 - base->looks[f][k].observable;
        for (size_t c = 0; c < size.causes; c++)
            for (size_t k = 0; k < base->causes[c].weigh_count; k++)
                turned->weighs[c][k].observable = n - 1 - base->weighs[c][k].observable;
        turned->rules.observables = turned->observables;
        turned->rules.findings = turned->findings;
        turned->rules.causes = turned->causes;
        for (size_t f = 0; f < size.findings; f++)
            turned->findings[f].looks = turned->looks[f];
        for (size_t c = 0; c < size.causes; c++)
            turned->causes[c].weighs = turned->weighs[c];

        struct reasoner *one = reasoner_new(&base->rules), *other = reasoner_new(&turned->rules);
        struct posterior first, second;
        posterior_init(&first, one, NULL);
        posterior_init(&second, other, NULL);
        reason_posterior(one, &(struct evidence){.observations = said}, -1, &first);
        reason_posterior(other, &(struct evidence){.observations = said_turned}, -1, &second);
        for (size_t f = 0; f < size.findings; f++)
            assert_close(first.finding[f], (long double)second.finding[f], 1e-13);
        for (size_t c = 0; c < size.causes; c++)
            assert_close(first.cause[c], (long double)second.cause[c], 1e-13);
        posterior_release(&first);
        posterior_release(&second);
        reasoner_free(one);
        reasoner_free(other);
        base_free(base);
        base_free(turned);
    }
}

/* Two findings, two observables that say the same: with overlap 1 the weaker adds nothing. */
TEST(overlap_runs_from_independent_to_the_same)
{
    (void)state;
    const double overlaps[] = {0, 0.6, 1}, half[] = {0.5, 0.5};
    for (size_t k = 0; k < 3; k++) {
        struct rule_base *base = base_new();
        int group = (int)base_group(base, overlaps[k]);
        size_t strong = base_observable(base, KIND_ONE, 2, half);
        size_t weak = base_observable(base, KIND_ONE, 2, half);
        size_t a = base_finding(base, FINDING_CLEAN, 1);
        size_t b = base_finding(base, FINDING_CONTAMINATED, 1);
        base->observables[strong].group = base->observables[weak].group = group;
        base_look(base, a, strong, 0, 0.9);
        base_look(base, b, strong, 0, 0.1);
        base_look(base, a, weak, 0, 0.8);
        base_look(base, b, weak, 0, 0.4);
        struct observation said[2] = {{.seen = 1}, {.seen = 1}};
        struct reasoner *reasoner = reasoner_new(&base->rules);
        struct posterior posterior;
        posterior_init(&posterior, reasoner, NULL);
        reason_posterior(reasoner, &(struct evidence){.observations = said}, -1, &posterior);
        double odds = posterior.finding[a] / posterior.finding[b];
        assert_close(odds, 9.0L * powl(2.0L, 1.0L - (long double)overlaps[k]), 1e-9);
        posterior_release(&posterior);
        reasoner_free(reasoner);
        base_free(base);
    }
}

/* By hand: of two findings one shows the mark with 0.5, the other with 0.1; four in five who see it
 * say so. Silence has the chance 1 - 0.8 x 0.5 = 0.6 with the one and 0.92 with the other. */
TEST(silence_has_its_own_chance)
{
    (void)state;
    const double marks[] = {0.3, 0.3};
    struct rule_base *base = base_new();
    size_t mark = base_observable(base, KIND_SEVERAL, 2, marks);
    size_t a = base_finding(base, FINDING_CONTAMINATED, 1);
    size_t b = base_finding(base, FINDING_CLEAN, 1);
    base_look(base, a, mark, 0, 0.5);
    base_look(base, b, mark, 0, 0.1);
    base->rules.calibration.silence = 0.8;
    struct observation said = {.silent = 1};
    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct posterior posterior;
    posterior_init(&posterior, reasoner, NULL);
    reason_posterior(reasoner, &(struct evidence){.observations = &said}, -1, &posterior);
    assert_close(posterior.finding[a] / posterior.finding[b], 0.6L / 0.92L, 1e-12);
    said.seen = 1; /* what is seen is not silent, whatever the mask says */
    reason_posterior(reasoner, &(struct evidence){.observations = &said}, -1, &posterior);
    assert_close(posterior.finding[a] / posterior.finding[b], 5.0L, 1e-12);
    posterior_release(&posterior);
    reasoner_free(reasoner);
    base_free(base);
}

TEST(nothing_said_leaves_the_prior)
{
    (void)state;
    const double shares[] = {0.3, 0.7};
    struct rule_base *base = base_new();
    base_observable(base, KIND_ONE, 2, shares);
    size_t a = base_finding(base, FINDING_CLEAN, 3);
    size_t b = base_finding(base, FINDING_CONTAMINATED, 1);
    base_look(base, a, 0, 0, 0.9);
    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct posterior posterior;
    struct observation said = {.seen = 3, .hedged = 3}; /* "one or the other": nothing */
    posterior_init(&posterior, reasoner, NULL);
    reason_posterior(reasoner, NULL, -1, &posterior);
    assert_close(posterior.finding[a], 0.75L, 1e-15);
    assert_close(posterior.status[FINDING_CONTAMINATED], 0.25L, 1e-15);
    reason_posterior(reasoner, &(struct evidence){.observations = &said}, -1, &posterior);
    assert_close(posterior.finding[b], 0.25L, 1e-15);
    assert_close(posterior.log_evidence, 0.0L, 1e-15);
    assert_close(posterior.no_cause, 1.0L, 1e-15);
    posterior_release(&posterior);
    reasoner_free(reasoner);
    base_free(base);
}

TEST(a_sharper_list_leaves_each_status_what_it_has)
{
    (void)state;
    struct rule_base *base = base_new();
    base_finding(base, FINDING_CLEAN, 1);
    base_finding(base, FINDING_CLEAN, 3);
    base_finding(base, FINDING_CONTAMINATED, 4);
    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct posterior posterior;
    double shown[3];
    posterior_init(&posterior, reasoner, NULL);
    reason_posterior(reasoner, NULL, -1, &posterior);
    base->rules.calibration.sharpness = 2;
    reason_sharpen(reasoner, &posterior, shown);
    assert_close(shown[0], 0.5L * 1 / 10, 1e-15);
    assert_close(shown[1], 0.5L * 9 / 10, 1e-15);
    assert_close(shown[2], 0.5L, 1e-15);
    base->rules.calibration.lapse = 0.2;
    reason_sharpen(reasoner, &posterior, shown);
    assert_close(shown[0], 0.5L * (0.8L * 1 / 10 + 0.2L * 1 / 4), 1e-15);
    assert_close(shown[1], 0.5L * (0.8L * 9 / 10 + 0.2L * 3 / 4), 1e-15);
    assert_close(shown[2], 0.5L, 1e-15);
    base->rules.calibration.sharpness = 1;
    base->rules.calibration.lapse = 0;
    reason_sharpen(reasoner, &posterior, shown);
    for (size_t f = 0; f < 3; f++)
        assert_close(shown[f], posterior.finding[f], 1e-15);
    posterior_release(&posterior);
    reasoner_free(reasoner);
    base_free(base);
}

int main(void)
{
    return tests_run("reason posterior", NULL, NULL);
}
