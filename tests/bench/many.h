/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_BENCH_MANY_H
#define JARSIDE_TESTS_BENCH_MANY_H

/* A hundred thousand descriptions, with their text and without it. */
#include "bench/descriptions.h"
#include "triage/triage.h"

enum { MANY_LINES = 100000, MANY_CASES = 1000, MANY_ROUNDS = 21 };

static inline double seconds_of(const struct rusage *usage)
{
    return (double)(usage->ru_utime.tv_sec + usage->ru_stime.tv_sec) +
           (double)(usage->ru_utime.tv_usec + usage->ru_stime.tv_usec) / 1e6;
}

static inline void bench_lines(const char *program, const char *folder, struct descriptions *d)
{
    char *words[] = {(char *)program, (char[]){"judge"}, (char[]){"--lines"}, NULL};
    char *many = in_folder(folder, "many"), *few = in_folder(folder, "few"),
         *none = in_folder(folder, "one");
    struct rusage usage;
    char note[96];
    size_t bytes = descriptions_write(d, many, MANY_LINES);
    double start = now();
    if (!run(words, many, "/dev/null", NULL, &usage))
        die("cannot judge many lines");
    double wall = (now() - start) / 1e3, spent = seconds_of(&usage);
    snprintf(note, sizeof note, "once, %d lines of %zu bytes, %.1f s of processor", MANY_LINES,
             bytes / MANY_LINES, spent);
    row("judge --lines", MANY_LINES / spent, "1/s", "20000", note);
    row("  by the clock on the wall", MANY_LINES / wall, "1/s", "", "the same run");
    row("  peak resident memory", (double)usage.ru_maxrss / 1024.0, "MiB", "", "kernel's count");
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
    double times[MANY_ROUNDS];
    posterior_init(&posterior, reasoner);
    for (size_t round = 0; round < MANY_ROUNDS; round++) {
        double start = clock_ms(CLOCK_THREAD_CPUTIME_ID);
        for (size_t i = 0; i < MANY_CASES; i++)
            reason_posterior(reasoner, &cases[i], -1.0, &posterior);
        times[round] = clock_ms(CLOCK_THREAD_CPUTIME_ID) - start;
    }
    double first = times[0];
    row("posteriors, of 1000 different cases", MANY_CASES / median(times, MANY_ROUNDS) * 1e3, "1/s",
        "200000", "median of 21 rounds, processor time");
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
