/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_BENCH_MANY_H
#define JARSIDE_TESTS_BENCH_MANY_H

/* Thirty thousand descriptions, with their text and without it. */
#include "bench/descriptions.h"
#include "triage/triage.h"

enum { MANY_LINES = 30000, LINES_RUNS = 5, MANY_CASES = 1000, MANY_ROUNDS = 21 };

static inline double seconds_of(const struct rusage *usage)
{
    return (double)(usage->ru_utime.tv_sec + usage->ru_stime.tv_sec) +
           (double)(usage->ru_utime.tv_usec + usage->ru_stime.tv_usec) / 1e6;
}

/* Lines a second of processor time, several times over; with jobs, by the clock on the wall. */
static inline double bench_jobs(const char *program, const char *many, const char *jobs,
                                const char *what, const char *goal)
{
    char *words[] = {(char *)program,    (char[]){"judge"}, (char[]){"--lines"},
                     (char[]){"--jobs"}, (char *)jobs,      NULL};
    double rates[LINES_RUNS], walls[LINES_RUNS];
    struct rusage usage;
    for (size_t i = 0; i < LINES_RUNS; i++) {
        double start = now();
        if (!run(words, many, "/dev/null", "/dev/null", &usage))
            die("cannot judge many lines");
        walls[i] = MANY_LINES / ((now() - start) / 1e3);
        rates[i] = MANY_LINES / seconds_of(&usage);
    }
    row_of(what, *jobs == '1' ? rates : walls, LINES_RUNS, "1/s", goal,
           *jobs == '1' ? "processor time" : "by the clock on the wall");
    if (*jobs == '1')
        row("  peak resident memory", (double)usage.ru_maxrss / 1024.0, "MiB", "",
            "kernel's count");
    return median(walls, LINES_RUNS);
}

static inline void bench_lines(const char *program, const char *folder, struct descriptions *d)
{
    char *words[] = {(char *)program, (char[]){"judge"}, (char[]){"--lines"}, NULL};
    char *many = in_folder(folder, "many"), *few = in_folder(folder, "few"),
         *none = in_folder(folder, "one");
    descriptions_write(d, many, MANY_LINES);
    double one = bench_jobs(program, many, "1", "judge --lines", "40000");
    double two = bench_jobs(program, many, "2", "judge --lines --jobs 2", "");
    row("  times as many as with one", two / one, "times", "1.8", "medians");
    descriptions_write(d, few, 3000);
    descriptions_write(d, none, 1000);
    double count = instructions(words, few, in_folder(folder, "told")) -
                   instructions(words, none, in_folder(folder, "told"));
    if (count > 0.0)
        row("  instructions a line", count / 2000 / 1e3, "k", "",
            "callgrind, 3000 lines less 1000");
}

/* The evidence of so many descriptions, read beforehand. */
static inline struct evidence *many_cases(struct descriptions *d, struct triage *triage,
                                          struct diags *diags)
{
    static char line[16384];
    size_t room = triage_rules(triage)->observable_count;
    struct evidence *cases = calloc(MANY_CASES, sizeof *cases);
    for (size_t i = 0; cases != NULL && i < MANY_CASES; i++) {
        size_t length = descriptions_next(d, line, sizeof line);
        triage_reset(triage);
        if (triage_tell(triage, line, length, diags) != STATUS_OK)
            die("cannot read a description");
        const struct evidence *evidence = triage_evidence(triage);
        struct observation *observations = arena_array(d->arena, room, sizeof *observations);
        struct prior_shift *shifts =
            arena_array(d->arena, evidence->shift_count + 1, sizeof *shifts);
        if (observations == NULL || shifts == NULL)
            die("out of memory");
        memcpy(observations, evidence->observations, room * sizeof *observations);
        memcpy(shifts, evidence->shifts, evidence->shift_count * sizeof *shifts);
        cases[i] = (struct evidence){
            .observations = observations, .shifts = shifts, .shift_count = evidence->shift_count};
    }
    if (cases == NULL)
        die("out of memory");
    return cases;
}

static inline void bench_posteriors(const struct reasoner *reasoner, const struct evidence *cases)
{
    struct posterior posterior;
    double times[MANY_ROUNDS], alone[MANY_ROUNDS];
    posterior_init(&posterior, reasoner, NULL);
    for (size_t round = 0; round < MANY_ROUNDS; round++) {
        double start = clock_ms(CLOCK_THREAD_CPUTIME_ID);
        for (size_t i = 0; i < MANY_CASES; i++)
            reason_posterior(reasoner, &cases[i], -1.0, &posterior);
        times[round] = clock_ms(CLOCK_THREAD_CPUTIME_ID) - start;
    }
    for (size_t round = 0; round < MANY_ROUNDS; round++) {
        double start = clock_ms(CLOCK_THREAD_CPUTIME_ID);
        for (size_t i = 0; i < MANY_CASES; i++)
            reason_findings(reasoner, &cases[i], -1.0, &posterior);
        alone[round] = clock_ms(CLOCK_THREAD_CPUTIME_ID) - start;
    }
    double first = times[0];
    for (size_t round = 0; round < MANY_ROUNDS; round++) {
        times[round] = MANY_CASES / times[round] * 1e3;
        alone[round] = MANY_CASES / alone[round] * 1e3;
    }
    row_of("posteriors, of 1000 different cases", times, MANY_ROUNDS, "1/s", "250000",
           "processor time");
    row_of("  of the findings alone", alone, MANY_ROUNDS, "1/s", "250000", "processor time");
    row("  the first round, nothing kept yet", MANY_CASES / first * 1e3, "1/s", "", "once");
    posterior_release(&posterior);
}

static inline void bench_many(const char *program, const char *folder, struct triage *triage,
                              const struct reasoner *reasoner, struct diags *diags)
{
    struct descriptions d;
    descriptions_init(&d, triage_rules(triage), diags);
    bench_lines(program, folder, &d);
    struct evidence *cases = many_cases(&d, triage, diags);
    bench_posteriors(reasoner, cases);
    free(cases);
    descriptions_release(&d);
}

#endif
