/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_BENCH_BESIDE_H
#define JARSIDE_TESTS_BENCH_BESIDE_H

/* The same work by R and scikit-learn on the same data, and how many times as long it took them. */
#include <math.h>

#include "base/memory.h"
#include "bench/figures.h"
#include "reason/model.h"
#include "review/statistics.h"
#include "support/survival.h"

enum { BESIDE_RUNS = 31, SOYBEAN_SIGNS = 64, SOYBEAN_DISEASES = 32, SURVIVORS = 300 };

static inline void row_ratio(const char *what, double theirs, double ours, const char *unit,
                             const char *method)
{
    char note[128];
    snprintf(note, sizeof note, "they %.4g %s, we %.4g; %s", theirs, unit, ours, method);
    row(what, theirs / ours, "times", "", note);
}

/* Runs a script on the scratch folder and reads what it told. */
static inline FILE *script_told(const char *with, const char *script, const char *folder)
{
    struct rusage usage;
    char *told = in_folder(folder, "told");
    char *words[] = {(char *)with, (char *)script, (char *)folder, NULL};
    return run(words, NULL, told, "/dev/null", &usage) ? fopen(told, "r") : NULL;
}

/* ---- the Soybean diseases ---------------------------------------------------------------------- */

struct soybean {
    struct rules *rules;
    struct reasoner *reasoner;
    struct observation *said; /* [case][observable] */
    size_t cases, first;      /* and the finding that the scripts call the first */
};

static inline bool soybean_read(struct soybean *s, FILE *file)
{
    size_t signs, diseases, place[SOYBEAN_SIGNS], room = s->rules->observable_count;
    char name[64];
    if (fscanf(file, "%*[^\n] %zu %zu %zu", &signs, &diseases, &s->cases) != 3 ||
        signs > SOYBEAN_SIGNS)
        return false;
    for (size_t d = 0; d < diseases && fscanf(file, "%63s", name) == 1; d++)
        if (d == 0)
            s->first = (size_t)rules_finding(s->rules, name);
    for (size_t i = 0; i < signs && fscanf(file, "%63s", name) == 1; i++)
        place[i] = (size_t)rules_observable(s->rules, name);
    s->said = calloc(s->cases * room, sizeof *s->said);
    for (size_t c = 0; s->said != NULL && c < s->cases; c++) {
        int value;
        for (size_t i = 0; i < signs && fscanf(file, "%d", &value) == 1; i++)
            if (value >= 0)
                s->said[c * room + place[i]].seen = UINT32_C(1) << value;
        for (size_t d = 0; d < diseases + 2; d++)
            if (fscanf(file, "%*s") != 0)
                return false;
    }
    return s->said != NULL;
}

/* Milliseconds for all the cases, and the sum of the first finding's posteriors to compare. */
static inline double soybean_ours(const struct soybean *s, const char *what, double *sum)
{
    double times[BESIDE_RUNS];
    struct posterior posterior;
    posterior_init(&posterior, s->reasoner, NULL);
    for (size_t i = 0; i < BESIDE_RUNS; i++) {
        double start = now();
        *sum = 0.0;
        for (size_t c = 0; c < s->cases; c++) {
            struct evidence evidence = {.observations = s->said + c * s->rules->observable_count};
            reason_posterior(s->reasoner, &evidence, -1.0, &posterior);
            *sum += posterior.finding[s->first];
        }
        times[i] = now() - start;
    }
    posterior_release(&posterior);
    row_of(what, times, BESIDE_RUNS, "ms", "", "341 posteriors");
    return median(times, BESIDE_RUNS);
}

static inline void soybean_theirs(const char *what, const char *with, const char *script,
                                  const char *folder, double ours, double sum)
{
    double theirs = 0.0, their_sum = NAN;
    FILE *told = script_told(with, script, folder);
    if (told == NULL || fscanf(told, "%lf %lf", &theirs, &their_sum) != 2)
        row_missing(what, "not installed here");
    else if (!(fabs(their_sum - sum) < 1e-6 * sum))
        row_missing(what, "their posteriors are others");
    else
        row_ratio(what, theirs, ours, "ms", "without sets of causes on either side");
    if (told != NULL)
        fclose(told);
}

/* Takes the causes out of the rules, so that P(f) alone is what comes before the signs; it stays what it was,
 * the sum of P(S) P(f|S), which is the posterior of no evidence. */
static inline void soybean_strip(struct soybean *s)
{
    struct posterior nothing;
    posterior_init(&nothing, s->reasoner, NULL);
    reason_posterior(s->reasoner, NULL, -1.0, &nothing);
    struct finding *findings = (struct finding *)s->rules->findings; /* these rules are our own */
    for (size_t f = 0; f < s->rules->finding_count; f++)
        findings[f].base = nothing.finding[f];
    posterior_release(&nothing);
    reasoner_free(s->reasoner);
    s->rules->cause_count = 0;
    s->reasoner = reasoner_new(s->rules);
}

static inline void bench_soybean(const char *folder, struct diags *diags)
{
    struct soybean s = {.rules = NULL};
    struct rusage usage;
    char *inside = in_folder(folder, "soybean"), *rules = in_folder(folder, "soybean/rules");
    char *make[] = {(char[]){"tests/outside/data/make-soybean"}, inside, NULL};
    const char *const folders[] = {rules};
    run((char *[]){(char[]){"mkdir"}, inside, NULL}, NULL, NULL, NULL, &usage);
    FILE *cases = run(make, NULL, "/dev/null", "/dev/null", &usage)
                      ? fopen(in_folder(folder, "soybean/cases.txt"), "r")
                      : NULL;
    if (cases == NULL) {
        row_missing("Soybean diseases", "R with e1071 and mlbench is not here");
        return;
    }
    s.rules = rules_load(folders, 1, diags, NULL);
    s.reasoner = s.rules != NULL ? reasoner_new(s.rules) : NULL;
    if (s.reasoner == NULL || !soybean_read(&s, cases))
        die("cannot read the Soybean cases");
    double sum, with = soybean_ours(&s, "Soybean diseases, 191 sets of causes each", &sum);
    size_t sets = s.reasoner->set_count;
    soybean_strip(&s);
    double ours = soybean_ours(&s, "Soybean diseases, without sets", &sum);
    row("  a set more takes", 1e6 * (with - ours) / (double)(s.cases * (sets - 1)), "ns", "",
        "of the difference");
    soybean_theirs("  R, e1071 naiveBayes", "Rscript", "tests/bench/soybean.R", inside, ours, sum);
    soybean_theirs("  Python, scikit-learn CategoricalNB", "/usr/bin/python3",
                   "tests/bench/soybean.py", inside, ours, sum);
    fclose(cases);
    free(s.said);
    reasoner_free(s.reasoner);
    rules_free(s.rules);
}

/* ---- statistics ------------------------------------------------------------------------------- */

struct tables { /* the same as in statistics.R */
    struct arena *arena;
    struct survival_case cases[SURVIVORS];
    size_t group[SURVIVORS];
};

static inline double do_two(struct tables *tables)
{
    static const struct counts two[] = {{12, 40}, {5, 45}};
    (void)tables;
    return table_test(two, 2).p;
}

static inline double do_groups(struct tables *tables)
{
    static const struct counts six[] = {{30, 200}, {50, 200}, {10, 200},
                                        {80, 200}, {20, 200}, {40, 200}};
    (void)tables;
    return table_test(six, 6).p;
}

static inline double do_survival(struct tables *tables)
{
    struct survival_curve curve = curve_of_cases(tables->arena, tables->cases, SURVIVORS);
    return curve.steps[curve.count - 1].survival;
}

static inline double do_logrank(struct tables *tables)
{
    return logrank_of_cases(tables->cases, tables->group, SURVIVORS, 3).p;
}

static const struct statistic {
    const char *name, *what;
    double (*work)(struct tables *tables);
} statistics[] = {
    {"two", "  Fisher's test of two groups", do_two},
    {"groups", "  chi-square test of six groups", do_groups},
    {"survival", "  Kaplan & Meier's curve of 300", do_survival},
    {"logrank", "  the log-rank test of 300 in three groups", do_logrank},
};

/* Microseconds a call; what it comes to is left in `value`. */
static inline double statistic_ours(const struct statistic *statistic, struct tables *tables,
                                    double *value)
{
    enum { CALLS = 100 };
    double times[BESIDE_RUNS];
    for (size_t i = 0; i < BESIDE_RUNS; i++) {
        double start = now();
        for (size_t k = 0; k < CALLS; k++) {
            arena_reset(tables->arena);
            *value = statistic->work(tables);
        }
        times[i] = 1e3 * (now() - start) / CALLS;
    }
    return median(times, BESIDE_RUNS);
}

static inline void bench_statistics(const char *folder)
{
    struct tables tables = {.arena = arena_new()};
    for (size_t i = 0; i < SURVIVORS; i++) {
        tables.cases[i] = (struct survival_case){(double)(i * 37 % 60 + 1), i % 3 == 0};
        tables.group[i] = i / 7 % 3;
    }
    FILE *told = script_told("Rscript", "tests/bench/statistics.R", folder);
    if (told == NULL)
        row_missing("Statistics beside R", "R with survival is not here");
    for (size_t i = 0; told != NULL && i < sizeof statistics / sizeof *statistics; i++) {
        const struct statistic *statistic = &statistics[i];
        double theirs, their_value, value, ours = statistic_ours(statistic, &tables, &value);
        char name[32];
        if (fscanf(told, "%31s %lf %lf", name, &theirs, &their_value) != 3 ||
            strcmp(name, statistic->name) != 0)
            row_missing(statistic->what, "R said nothing of it");
        else if (!(fabs(their_value - value) < 1e-6 * fabs(value)))
            row_missing(statistic->what, "R comes to something else");
        else
            row_ratio(statistic->what, theirs, ours, "us", "R's own function, medians");
    }
    if (told != NULL)
        fclose(told);
    arena_free(tables.arena);
}

#endif
