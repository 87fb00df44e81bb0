/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Simulated laboratories: how often a culprit is called that is not there, and how
 * often one that is there is found and named first.
 *
 * The rule is stated in review.h and rules/review.yaml; the laboratories, with
 * their culprit of a stated size, in tests/support/labs.h.
 */
#include <stdio.h>

#include "review/review.h"
#include "support/labs.h"
#include "support/test.h"

enum { SOUND_LABS = 400, FAULTY_LABS = 200 };
static const double raised = 0.70;
static const struct review_rule rule = {.level = 0.05, .bayes_factor = 10.0, .watched = 21.0};

struct called { /* what a review of one lab called */
    size_t culprits;
    bool found, first;
};

static struct called review_lab(struct lab *lab, uint64_t seed, const struct lab_culprit *culprit)
{
    struct called called = {0};
    struct arena *arena = arena_new();

    lab_make(lab, seed, culprit);
    struct review found = {0};
    review_find_culprits(&lab->dataset, &rule, arena, &found);
    called.culprits = found.culprit_count;
    for (size_t k = 0; k < found.culprit_count; k++)
        for (size_t s = 0; s < found.culprits[k].suspect_count; s++) {
            const struct review_suspect *suspect = &found.culprits[k].suspects[s];
            bool same = suspect->factor == culprit->factor && suspect->level == culprit->level;
            called.found = called.found || same;
            called.first = called.first || (same && k == 0 && s == 0);
        }
    arena_free(arena);
    return called;
}

TEST(test_false_alarms)
{
    const struct lab_culprit none = {.factor = LAB_FACTORS};
    struct lab *lab = *state;
    size_t alarms = 0;
    for (uint64_t i = 0; i < SOUND_LABS; i++)
        alarms += review_lab(lab, 1000 + i, &none).culprits > 0;
    printf("# %zu of %d laboratories without a culprit have one called (at most 5 %% may)\n",
           alarms, SOUND_LABS);
    assert_true((double)alarms <= rule.level * SOUND_LABS);
}

/* A scope's culprit: all vessels of one level lose seven in ten where others lose one. */
static void find_planted(struct lab *lab, size_t factor)
{
    size_t found = 0, first = 0, others = 0;
    for (uint64_t i = 0; i < FAULTY_LABS; i++) {
        struct lab_culprit culprit = {factor, (uint32_t)(i % lab_plans[factor].levels), raised};
        struct called called = review_lab(lab, 100000 * (factor + 1) + i, &culprit);
        found += called.found;
        first += called.first;
        others += called.culprits - called.found;
    }
    printf("# %s: of %d planted (%.0f %% lost against %.0f %%) %zu found, %zu named first; %zu "
           "others called\n",
           factor_kinds[lab_plans[factor].kind].name, FAULTY_LABS, 100.0 * raised,
           100.0 * LAB_USUAL_LOSS, found, first, others);
    assert_true(10 * first >= 9 * FAULTY_LABS);
    assert_true((double)others <= 2.0 * rule.level * FAULTY_LABS);
}

TEST(test_planted)
{
    static const enum factor_kind kinds[] = {FACTOR_COOK, FACTOR_STARTER, FACTOR_SESSION,
                                             FACTOR_PLACE, FACTOR_LOT};
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
        for (size_t f = 0; f < LAB_FACTORS; f++)
            if (lab_plans[f].kind == kinds[k])
                find_planted(*state, f);
}

static int setup(void **state)
{
    *state = calloc(1, sizeof(struct lab));
    return *state == NULL;
}

static int teardown(void **state)
{
    free(*state);
    return 0;
}

int main(void)
{
    return tests_run("review labs", setup, teardown);
}
