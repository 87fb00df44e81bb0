/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The engine against e1071's naiveBayes on a public problem of diagnosis: the
 * Soybean diseases, 19 of them by 35 signs with many cells missing. Rules are made of the counts of the
 * odd rows, loaded from YAML like any others, and asked about the even rows. R runs live
 * (data/make-soybean says how the rule base is made to mean the same model).
 */
#include "outside/process_check.h"

#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/diag.h"
#include "reason/reason.h"
#include "support/test.h"

enum { MOST_SIGNS = 64, MOST_DISEASES = 32, NAME = 64 };

struct soybean {
    struct scratch scratch;
    struct diags *diags;
    struct rules *rules;
    struct reasoner *reasoner;
    FILE *cases;
    char versions[256];
    size_t signs, diseases, rows;
    size_t sign[MOST_SIGNS], disease[MOST_DISEASES]; /* the file's order -> the rule base's */
};

/* One row of the file: values of the signs, what it is, what e1071 says. */
struct row {
    int value[MOST_SIGNS];
    int truth, named;
    double posterior[MOST_DISEASES];
};

static void run_r(const char *folder)
{
    int status = 0;
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        execl("tests/outside/data/make-soybean", "make-soybean", folder, (char *)NULL);
        _exit(127);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
        fail_msg("make-soybean failed; it needs r-base-core, r-cran-e1071 and r-cran-mlbench");
}

static void read_names(struct soybean *s)
{
    char name[NAME];
    assert_non_null(fgets(s->versions, sizeof s->versions, s->cases));
    s->versions[strcspn(s->versions, "\n")] = '\0';
    assert_int_equal(fscanf(s->cases, "%zu %zu %zu", &s->signs, &s->diseases, &s->rows), 3);
    assert_true(s->signs <= MOST_SIGNS && s->diseases <= MOST_DISEASES);
    for (size_t d = 0; d < s->diseases; d++) {
        assert_int_equal(fscanf(s->cases, "%63s", name), 1);
        int found = rules_finding(s->rules, name);
        assert_true(found >= 0);
        s->disease[d] = (size_t)found;
    }
    for (size_t i = 0; i < s->signs; i++) {
        assert_int_equal(fscanf(s->cases, "%63s", name), 1);
        int found = rules_observable(s->rules, name);
        assert_true(found >= 0);
        s->sign[i] = (size_t)found;
    }
}

static void read_row(const struct soybean *s, struct row *row)
{
    for (size_t i = 0; i < s->signs; i++)
        assert_int_equal(fscanf(s->cases, "%d", &row->value[i]), 1);
    assert_int_equal(fscanf(s->cases, "%d %d", &row->truth, &row->named), 2);
    for (size_t d = 0; d < s->diseases; d++)
        assert_int_equal(fscanf(s->cases, "%lf", &row->posterior[d]), 1);
}

static int setup(void **state)
{
    struct soybean *s = calloc(1, sizeof *s);
    assert_non_null(s);
    scratch_make(&s->scratch);
    run_r(s->scratch.path);
    const char *folder = scratch_path(&s->scratch, "rules");
    s->diags = diags_new();
    s->rules = rules_load(&folder, 1, s->diags, NULL);
    for (size_t i = 0; i < diags_kept(s->diags) && !s->rules; i++)
        print_error("%s\n", diags_get(s->diags, i)->message);
    assert_non_null(s->rules);
    s->reasoner = reasoner_new(s->rules);
    assert_non_null(s->reasoner);
    s->cases = fopen(scratch_path(&s->scratch, "cases.txt"), "r");
    assert_non_null(s->cases);
    read_names(s);
    *state = s;
    return 0;
}

static int teardown(void **state)
{
    struct soybean *s = *state;
    fclose(s->cases);
    reasoner_free(s->reasoner);
    rules_free(s->rules);
    diags_free(s->diags);
    scratch_remove(&s->scratch);
    free(s);
    return 0;
}

static size_t top(const struct soybean *s, const double *finding)
{
    size_t best = 0;
    for (size_t d = 1; d < s->diseases; d++)
        if (finding[s->disease[d]] > finding[s->disease[best]])
            best = d;
    return best;
}

/* Where the true one stands among the diseases, from 0. */
static size_t rank_of(const struct soybean *s, const double *finding, int truth)
{
    size_t before = 0;
    for (size_t d = 0; d < s->diseases; d++)
        before += finding[s->disease[d]] > finding[s->disease[truth]];
    return before;
}

static void print_beside(size_t right, size_t in_three, size_t rows)
{
    fprintf(
        stderr,
        "# Soybean, odd rows learned, even rows asked: %zu of %zu right (%.1f %%), %zu among the "
        "first three\n"
        "# beside it: Weka 3.6.14, NaiveBayes, run once by hand: on this "
        "split 309 of 341, in ten folds 635 of 683 (93.0 %%)\n"
        "# published: Friedman, Geiger & Goldszmidt 1997, Machine Learning 29, 131-163, 562 "
        "complete cases: "
        "naive Bayes 91.3 %%, tree-augmented 92.2 %%, C4.5 92.0 %% (from memory)\n"
        "# published: Michalski & Chilausky 1980, 15 diseases, 340 other cases: rules learned from "
        "examples "
        "97.6 %%, rules told by experts 71.8 %% (from memory)\n",
        right, rows, 100.0 * (double)right / (double)rows, in_three);
}

TEST(posteriors_are_those_of_e1071)
{
    struct soybean *s = *state;
    char source[512];
    struct observation *said = calloc(s->rules->observable_count, sizeof *said);
    struct posterior posterior;
    struct row row;
    size_t right = 0, same = 0, in_three = 0, missing = 0;
    double log_score = 0.0;

    assert_int_equal(s->signs, 35);
    assert_int_equal(s->diseases, 19);
    assert_int_equal(s->rules->finding_count, 19);
    assert_int_equal(s->rules->cause_count, 19);
    snprintf(source, sizeof source, "%s, naiveBayes(laplace = 1), live", s->versions);
    struct outside check = {.source = source};
    assert_non_null(said);
    posterior_init(&posterior, s->reasoner, NULL);
    for (size_t r = 0; r < s->rows; r++) {
        read_row(s, &row);
        memset(said, 0, s->rules->observable_count * sizeof *said);
        for (size_t i = 0; i < s->signs; i++) {
            missing += row.value[i] < 0;
            if (row.value[i] >= 0)
                said[s->sign[i]].seen = UINT32_C(1) << row.value[i];
        }
        reason_posterior(s->reasoner, &(struct evidence){.observations = said}, -1, &posterior);
        for (size_t d = 0; d < s->diseases; d++)
            outside_near(&check, "P(disease)", posterior.finding[s->disease[d]], row.posterior[d],
                         1e-9);
        right += top(s, posterior.finding) == (size_t)row.truth;
        same += top(s, posterior.finding) == (size_t)row.named;
        in_three += rank_of(s, posterior.finding, row.truth) < 3;
        log_score -= log(posterior.finding[s->disease[row.truth]]);
    }
    outside_close(&check);
    print_beside(right, in_three, s->rows);
    assert_int_equal(s->rows, 341);
    assert_true(missing > 1000);
    assert_int_equal(same, s->rows);
    assert_int_equal(right, 309);
    assert_int_equal(in_three, 335);
    assert_true(fabs(log_score / (double)s->rows - 0.4429554427) < 1e-9);
    posterior_release(&posterior);
    free(said);
}

int main(void)
{
    return tests_run("soybean", setup, teardown);
}
