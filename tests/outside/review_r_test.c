/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The review's statistics against R, live: random questions from a fixed seed and R's classic data
 * sets go through review_r.R in one run, and every answer is computed again.
 */
#include <stdbool.h>

#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "reason/siblings.h"
#include "review/statistics.h"
#include "support/survival.h"
#include "support/test.h"

enum { NUMBERS_MOST = 20000 };

struct answers {
    double *numbers;
    size_t count;
};

struct conversation {
    struct scratch scratch;
    char **lines; /* "kind numbers|answers" */
    size_t count;
};

/* ---- questions ------------------------------------------------------------------------------- */

static unsigned below(gsl_rng *rng, unsigned count)
{
    return (unsigned)gsl_rng_uniform_int(rng, count);
}

/* Lost and kept of a group: often moderate, sometimes one-sided. */
static void ask_group(FILE *file, gsl_rng *rng, unsigned most)
{
    unsigned total = below(rng, most + 1), lost = below(rng, total + 1);
    if (below(rng, 6) == 0)
        lost = below(rng, 2) ? 0 : total;
    fprintf(file, " %u %u", lost, total - lost);
}

static void ask_groups(FILE *file, gsl_rng *rng, const char *kind, unsigned groups, unsigned most)
{
    fputs(kind, file);
    /* The first two hold one lost and one kept at least, so that R has something to test. */
    fprintf(file, " %u %u", 1 + below(rng, most), 1 + below(rng, most));
    fprintf(file, " %u %u", 1 + below(rng, most), 1 + below(rng, most));
    for (unsigned i = 2; i < groups; i++)
        fprintf(file, " %u %u", 1 + below(rng, most), below(rng, most));
    fputc('\n', file);
}

static void ask_strata(FILE *file, gsl_rng *rng, const char *kind, unsigned groups, unsigned strata,
                       unsigned most)
{
    for (unsigned i = 0; i < groups * strata; i++) {
        if (i == 0)
            fputs(kind, file);
        if (i % groups == 0) { /* R wants two vessels in a stratum */
            fprintf(file, " %u %u", 1 + below(rng, most), 1 + below(rng, most));
            continue;
        }
        ask_group(file, rng, most);
    }
    fputc('\n', file);
}

static void ask_times(FILE *file, gsl_rng *rng, unsigned count, unsigned groups)
{
    unsigned days = 3 + below(rng, 60);
    for (unsigned i = 0; i < count; i++) {
        fprintf(file, " %.17g %d", (1 + below(rng, days)) / (groups ? 1.0 : 4.0),
                i == 0 || below(rng, 3) > 0);
        if (groups)
            fprintf(file, " %u", i < groups ? i : below(rng, groups));
    }
    fputc('\n', file);
}

static void ask_counts(FILE *file, gsl_rng *rng)
{
    static const double levels[] = {0.5, 0.8, 0.9, 0.95, 0.99, 0.999};

    for (int i = 0; i < 120; i++) {
        unsigned n = 1 + below(rng, i % 3 ? 60 : 100000), x = below(rng, n + 1);
        fprintf(file, "interval %u %u %g\n", x, n, levels[below(rng, 6)]);
        fprintf(file, "tails %u %u %.17g\n", x, n,
                i % 2 ? gsl_rng_uniform(rng) : (x + 0.5) / (n + 1.0));
    }
    for (int i = 0; i < 20; i++) {
        unsigned count = 1 + below(rng, 60);
        fputs("adjust", file);
        for (unsigned k = 0; k < count; k++)
            fprintf(file, " %.17g", below(rng, 3) ? gsl_rng_uniform(rng) : below(rng, 20) / 1000.0);
        fputc('\n', file);
    }
}

static void ask_tables(FILE *file, gsl_rng *rng)
{
    for (int i = 0; i < 60; i++) {
        ask_groups(file, rng, "groups", 3 + below(rng, 7), 3 + below(rng, 7));
        ask_groups(file, rng, "groups", 3 + below(rng, 5), 60);
        ask_groups(file, rng, "bayes 1 1", 2 + below(rng, 20), 30);
        ask_groups(file, rng, "bayes 0.5 4.5", 2 + below(rng, 20), 30);
    }
    for (int i = 0; i < 8; i++)
        ask_groups(file, rng, "groups", 3, 60);
    for (int i = 0; i < 60; i++)
        ask_groups(file, rng, "pair", 2, 30);
}

static void ask_questions(FILE *file)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    char kind[32];

    assert_non_null(rng);
    gsl_rng_set(rng, 20250301);
    ask_counts(file, rng);
    ask_tables(file, rng);
    for (int i = 0; i < 60; i++)
        ask_strata(file, rng, "strata 2", 2, 2 + below(rng, 12), 4 + below(rng, 20));
    for (int i = 0; i < 40; i++) {
        unsigned groups = 3 + below(rng, 5);
        snprintf(kind, sizeof kind, "strata %u", groups);
        ask_strata(file, rng, kind, groups, 2 + below(rng, 10), 20);
    }
    for (int i = 0; i < 30; i++) {
        fprintf(file, "curve");
        ask_times(file, rng, 5 + below(rng, 200), 0);
        unsigned groups = 2 + below(rng, 5);
        fprintf(file, "logrank %u", groups);
        ask_times(file, rng, 30 + below(rng, 200), groups);
    }
    for (int i = 0; i < 40; i++) {
        fprintf(file, "limits %u %.17g 0.00135\n", 1 + below(rng, 60), gsl_rng_uniform(rng));
    }
    gsl_rng_free(rng);
}

/* ---- asking R -------------------------------------------------------------------------------- */

static void keep(struct conversation *talk, char *line)
{
    char **lines = realloc(talk->lines, (talk->count + 1) * sizeof *lines);
    assert_non_null(lines);
    talk->lines = lines;
    talk->lines[talk->count++] = line;
}

static void ask_r(struct conversation *talk)
{
    char command[1024];
    char *line = NULL;
    size_t room = 0;

    FILE *file = fopen(scratch_path(&talk->scratch, "questions"), "w");
    assert_non_null(file);
    ask_questions(file);
    assert_int_equal(fclose(file), 0);
    snprintf(command, sizeof command, "Rscript --vanilla tests/outside/review_r.R '%s'",
             scratch_path(&talk->scratch, "questions"));
    FILE *answers = popen(command, "r");
    assert_non_null(answers);
    while (getline(&line, &room, answers) > 0) {
        keep(talk, line);
        line = NULL;
        room = 0;
    }
    free(line);
    assert_int_equal(pclose(answers), 0);
}

static int start(void **state)
{
    struct conversation *talk = calloc(1, sizeof *talk);

    assert_non_null(talk);
    *state = talk;
    scratch_make(&talk->scratch);
    ask_r(talk);
    return 0;
}

static int end(void **state)
{
    struct conversation *talk = *state;

    for (size_t i = 0; i < talk->count; i++)
        free(talk->lines[i]);
    free(talk->lines);
    scratch_remove(&talk->scratch);
    free(talk);
    return 0;
}

/* ---- comparing ------------------------------------------------------------------------------- */

struct comparison {
    const char *kind, *with;
    double q[NUMBERS_MOST], r[NUMBERS_MOST]; /* the question's numbers and R's answers */
    size_t asked, answered;
    const char *line;
    size_t questions, figures;
    double worst;  /* absolute up to 1, relative above */
    double errors; /* of drawn ones: most standard errors off */
    size_t drawn;
};

static size_t read_numbers(const char *text, double *numbers)
{
    size_t count = 0;

    while (*text && *text != '|' && *text != '\n') {
        char *end;
        if (*text == ' ') {
            text++;
        } else if (strncmp(text, "NA", 2) == 0 && text[2] != 'N') {
            numbers[count++] = NAN;
            text += 2;
        } else {
            assert_true(count < NUMBERS_MOST);
            numbers[count++] = strtod(text, &end);
            assert_ptr_not_equal(text, end);
            text = end;
        }
    }
    return count;
}

/* R's answer at `place` against ours, to one part in a million. */
static void near(struct comparison *c, size_t place, double got)
{
    double want = c->r[place];

    assert_true(place < c->answered);
    c->figures++;
    if (got == want || (isnan(got) && isnan(want)))
        return;
    double difference = fabs(got - want);
    if (!(difference <= 1e-6 * fabs(want) + 1e-13))
        fail_msg("%s, answer %zu: got %.12g, R says %.12g; %.300s", c->kind, place, got, want,
                 c->line);
    double scaled = difference / fmax(1.0, fabs(want));
    if (scaled > c->worst)
        c->worst = scaled;
}

typedef void (*comparing)(struct comparison *c);

static void with_r(struct conversation *talk, const char *kind, const char *with, comparing compare)
{
    struct comparison *c = calloc(1, sizeof *c);
    size_t length = strlen(kind);

    assert_non_null(c);
    c->kind = kind;
    c->with = with;
    for (size_t i = 0; i < talk->count; i++) {
        c->line = talk->lines[i];
        const char *bar = strchr(c->line, '|');
        assert_non_null(bar);
        if (strncmp(c->line, kind, length) != 0 || c->line[length] != ' ')
            continue;
        c->asked = read_numbers(c->line + length, c->q);
        c->answered = read_numbers(bar + 1, c->r);
        compare(c);
        c->questions++;
    }
    assert_true(c->questions > 0);
    if (c->figures > 0)
        fprintf(stderr, "# R %s: %zu questions, %zu figures, largest difference %.2g\n", with,
                c->questions, c->figures, c->worst);
    if (c->drawn > 0)
        fprintf(stderr, "# R %s, by drawing: %zu tables, furthest off %.2f standard errors\n", with,
                c->drawn, c->errors);
    free(c);
}

/* ---- each kind ------------------------------------------------------------------------------- */

static struct counts counts_of(double lost, double kept)
{
    return (struct counts){(size_t)lost, (size_t)lost + (size_t)kept};
}

static void compare_interval(struct comparison *c)
{
    struct counts counts = {(size_t)c->q[0], (size_t)c->q[1]};
    struct interval exact = counts_interval_exact(counts, c->q[2]);
    struct interval wilson = counts_interval_wilson(counts, c->q[2]);
    near(c, 0, exact.low);
    near(c, 1, exact.high);
    near(c, 2, wilson.low);
    near(c, 3, wilson.high);
}

static void compare_tails(struct comparison *c)
{
    struct counts counts = {(size_t)c->q[0], (size_t)c->q[1]};
    near(c, 0, counts_chance_above(counts, c->q[2]));
    near(c, 1, counts_chance_below(counts, c->q[2]));
}

static void compare_adjust(struct comparison *c)
{
    double adjusted[NUMBERS_MOST];
    counts_adjust(c->q, c->asked, adjusted);
    for (size_t i = 0; i < c->asked; i++)
        near(c, i, adjusted[i]);
}

static size_t groups_of(const struct comparison *c, size_t from, struct counts *groups)
{
    size_t count = (c->asked - from) / 2;
    for (size_t i = 0; i < count; i++)
        groups[i] = counts_of(c->q[from + 2 * i], c->q[from + 2 * i + 1]);
    return count;
}

static void compare_pair(struct comparison *c)
{
    struct counts groups[2] = {{0, 0}};
    (void)groups_of(c, 0, groups);
    near(c, 0, table_test(groups, 2).p);
}

/* R draws as many tables as ours at most: each has its error. */
static void compare_groups(struct comparison *c)
{
    struct counts groups[64] = {{0, 0}};
    size_t count = groups_of(c, 0, groups);
    struct table_test test = table_test(groups, count);
    if (test.method == TABLE_CHI_SQUARE) {
        near(c, 1, test.p);
        return;
    }
    assert_int_equal(test.method, TABLE_DRAWN);
    double error = sqrt(c->r[0] * (1.0 - c->r[0]) * (1.0 / (double)test.tables + 1.0 / 20000.0));
    double off = fabs(test.p - c->r[0]) / (error + 1.0 / (double)test.tables);
    if (!(off < 4.5))
        fail_msg("drawn %.6g, R says %.6g: %.2f errors; %.300s", test.p, c->r[0], off, c->line);
    c->drawn++;
    c->errors = fmax(c->errors, off);
}

static void compare_bayes(struct comparison *c)
{
    struct tally groups[64];
    size_t count = (c->asked - 2) / 2;
    for (size_t i = 0; i < count; i++) {
        double lost = c->q[2 + 2 * i], kept = c->q[3 + 2 * i];
        groups[i] = (struct tally){lost, lost + kept};
    }
    near(c, 0, bayes_factor_ln(groups, count, c->q[0], c->q[1]));
}

static void compare_strata(struct comparison *c)
{
    struct counts cells[256];
    struct strata_test result;
    size_t groups = (size_t)c->q[0], count = (c->asked - 1) / 2;

    for (size_t i = 0; i < count; i++)
        cells[i] = counts_of(c->q[1 + 2 * i], c->q[2 + 2 * i]);
    assert_true(strata_groups(cells, groups, count / groups, &result));
    if (result.strata == 0) { /* R divides 0 by 0 */
        assert_true(isnan(c->r[0]) && result.p == 1.0);
        return;
    }
    near(c, 0, result.statistic);
    near(c, 1, result.p);
    near(c, 2, (double)result.freedom);
}

static void compare_curve(struct comparison *c)
{
    static struct survival_case cases[NUMBERS_MOST / 2];
    struct arena *arena = arena_new();
    size_t count = c->asked / 2;

    for (size_t i = 0; i < count; i++)
        cases[i] = (struct survival_case){c->q[2 * i], c->q[2 * i + 1] > 0.0};
    struct survival_curve curve = curve_of_cases(arena, cases, count);
    assert_int_equal(c->answered, 1 + 4 * curve.count);
    near(c, 0, isinf(curve.median) ? NAN : curve.median);
    for (size_t i = 0; i < curve.count; i++) {
        const struct survival_step *step = &curve.steps[i];
        near(c, 1 + 4 * i, step->time);
        near(c, 2 + 4 * i, (double)step->at_risk);
        near(c, 3 + 4 * i, (double)step->lost);
        near(c, 4 + 4 * i, step->survival);
    }
    arena_free(arena);
}

static void compare_logrank(struct comparison *c)
{
    static struct survival_case cases[NUMBERS_MOST / 3];
    static size_t group[NUMBERS_MOST / 3];
    size_t groups = (size_t)c->q[0], count = (c->asked - 1) / 3;

    for (size_t i = 0; i < count; i++) {
        cases[i] = (struct survival_case){c->q[1 + 3 * i], c->q[2 + 3 * i] > 0.0};
        group[i] = (size_t)c->q[3 + 3 * i];
    }
    struct strata_test result = logrank_of_cases(cases, group, count, groups);
    near(c, 0, result.statistic);
    near(c, 1, result.p);
    assert_int_equal(result.freedom, groups - 1);
}

static void compare_limits(struct comparison *c)
{
    struct counts batch = {0, (size_t)c->q[0]};
    struct monitor_point point = monitor_point(batch, c->q[1], c->q[2]);
    near(c, 0, point.from_below);
    near(c, 1, point.from_above);
}

/* ---- as tests -------------------------------------------------------------------------------- */

#define AGAINST_R(kind, with)                                                                      \
    TEST(kind##_as_in_r)                                                                           \
    {                                                                                              \
        with_r(*state, #kind, with, compare_##kind);                                               \
    }
AGAINST_R(interval, "binom.test and prop.test")
AGAINST_R(tails, "pbinom")
AGAINST_R(pair, "fisher.test")
AGAINST_R(groups, "chisq.test, groups x 2")
AGAINST_R(bayes, "lbeta (Bayes factor)")
AGAINST_R(adjust, "p.adjust")
AGAINST_R(strata, "mantelhaen.test, groups x 2 x K")
AGAINST_R(curve, "survfit")
AGAINST_R(logrank, "survdiff")
AGAINST_R(limits, "pbinom (chart limits)")

int main(void)
{
    /* cmocka calls a skipped test "not ok", so the whole plan is skipped instead. */
    if (system("Rscript --vanilla -e 'library(survival)' >/dev/null 2>&1") != 0) {
        puts("1..0 # SKIP Rscript or its package survival is not here: nothing to compare with");
        return 0;
    }
    return tests_run("review against R", start, end);
}
