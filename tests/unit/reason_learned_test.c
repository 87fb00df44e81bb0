/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Counts of confirmed outcomes are added to what the files say, as the formula of rules.h has it. */

#include <math.h>

#include "base/diag.h"
#include "reason/reason.h"
#include "support/test.h"

struct pair { /* the shipped rules, and the same with something over them */
    struct scratch scratch;
    struct diags *diags;
    struct rules *plain, *over;
    struct reasoner *before, *after;
};

static void load(struct pair *pair, const char *content)
{
    pair->diags = diags_new();
    scratch_make(&pair->scratch);
    scratch_write(&pair->scratch, "learned.yaml", content);
    const char *const folders[] = {"rules", pair->scratch.path};
    pair->plain = rules_load(folders, 1, pair->diags, NULL);
    pair->over = rules_load(folders, 2, pair->diags, NULL);
    if (pair->over == NULL)
        fail_msg("%s", diags_get(pair->diags, 0)->message);
    pair->before = reasoner_new(pair->plain);
    pair->after = reasoner_new(pair->over);
    assert_non_null(pair->before);
    assert_non_null(pair->after);
}

static void unload(struct pair *pair)
{
    reasoner_free(pair->before);
    reasoner_free(pair->after);
    rules_free(pair->plain);
    rules_free(pair->over);
    diags_free(pair->diags);
    scratch_remove(&pair->scratch);
}

TEST(a_one_of_is_dirichlet)
{
    (void)state;
    struct pair pair;
    load(&pair, "learned:\n"
                "  source: from memory\n"
                "  strength: 20\n"
                "  vessels: 5\n"
                "  signs:\n"
                "    wet_rot:\n"
                "      liquid: {none: [0, 5], wall_beads: [0, 5], clear_drops: [0, 5],"
                " clear_pool: [1, 5], cloudy_pool: [4, 5]}\n");
    size_t finding = (size_t)rules_finding(pair.plain, "wet_rot");
    size_t liquid = (size_t)rules_observable(pair.plain, "liquid");
    const struct observable *observable = &pair.plain->observables[liquid];
    double sum = 0;
    for (size_t v = 0; v < observable->value_count; v++) {
        double was = reasoner_likelihood(pair.before, NULL, liquid, v, finding, 0);
        double is = reasoner_likelihood(pair.after, NULL, liquid, v, finding, 0);
        double seen = v == (size_t)rules_value(observable, "cloudy_pool")  ? 4
                      : v == (size_t)rules_value(observable, "clear_pool") ? 1
                                                                           : 0;
        assert_true(fabs(is - (20 * was + seen) / 25) < 1e-6); /* the least chance moves a little */
        sum += is;
    }
    assert_true(fabs(sum - 1) < 1e-12);
    unload(&pair);
}

TEST(a_several_of_is_beta_by_value)
{
    (void)state;
    struct pair pair;
    load(&pair, "learned:\n"
                "  source: from memory\n"
                "  strength: 10\n"
                "  vessels: 4\n"
                "  signs:\n"
                "    green_mould: {colour: {yellow: [3, 4]}}\n");
    size_t finding = (size_t)rules_finding(pair.plain, "green_mould");
    size_t colour = (size_t)rules_observable(pair.plain, "colour");
    const struct observable *observable = &pair.plain->observables[colour];
    for (size_t v = 0; v < observable->value_count; v++) {
        double was = reasoner_likelihood(pair.before, NULL, colour, v, finding, 0);
        double is = reasoner_likelihood(pair.after, NULL, colour, v, finding, 0);
        bool counted = v == (size_t)rules_value(observable, "yellow");
        assert_true(fabs(is - (counted ? (10 * was + 3) / 14 : was)) < 1e-12);
    }
    unload(&pair);
}

/* The prior of a cause by counts is that of a rule base which states the same number. */
TEST(a_cause_is_beta)
{
    (void)state;
    struct pair pair;
    struct evidence nothing = {0};
    struct posterior before, after;
    load(&pair, "learned:\n"
                "  source: from memory\n"
                "  strength: 20\n"
                "  vessels: 9\n"
                "  causes: {breach: [6, 9]}\n");
    struct observation *none = calloc(pair.plain->observable_count, sizeof *none);
    assert_non_null(none);
    nothing.observations = none;
    posterior_init(&before, pair.before, NULL);
    posterior_init(&after, pair.after, NULL);
    size_t breach = (size_t)rules_cause(pair.plain, "breach");
    double prior = pair.plain->causes[breach].prior, now = (20 * prior + 6) / 29;
    /* The same move, asked for as a shift of the odds. */
    struct prior_shift shift = {breach, log(now / (1 - now)) - log(prior / (1 - prior))};
    struct evidence shifted = {.observations = none, .shifts = &shift, .shift_count = 1};
    reason_posterior(pair.before, &shifted, -1, &before);
    reason_posterior(pair.after, &nothing, -1, &after);
    for (size_t c = 0; c < pair.plain->cause_count; c++)
        assert_true(fabs(before.cause[c] - after.cause[c]) < 1e-12);
    posterior_release(&before);
    posterior_release(&after);
    free(none);
    unload(&pair);
}

int main(void)
{
    return tests_run("reason_learned", NULL, NULL);
}
