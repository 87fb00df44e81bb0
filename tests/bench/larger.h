/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_BENCH_LARGER_H
#define JARSIDE_TESTS_BENCH_LARGER_H

/* A rule base with eight times the findings, signs and circumstances: make-larger. */
#include "bench/figures.h"
#include "language/reader.h"
#include "triage/triage.h"

enum { LARGER_RUNS = 5 };

static inline struct rules *larger_load(const char *folder, struct diags *diags)
{
    const char *const folders[] = {folder};
    struct rules *rules = NULL;
    double times[LARGER_RUNS];
    for (size_t i = 0; i < LARGER_RUNS; i++) {
        rules_free(rules);
        diags_clear(diags);
        double start = now();
        rules = rules_load(folders, 1, diags, NULL);
        times[i] = now() - start;
        if (rules == NULL)
            die("cannot load the larger rules");
    }
    row_of("read and check the rule files", times, LARGER_RUNS, "ms", "", "");
    return rules;
}

/* Judging one description, part by part. */
static inline void larger_judge(struct triage *triage, const struct reasoner *reasoner,
                                const char *description, struct diags *diags)
{
    struct posterior posterior;
    double read[LARGER_RUNS], alone[LARGER_RUNS], whole[LARGER_RUNS];
    for (size_t i = 0; i < LARGER_RUNS; i++) {
        triage_reset(triage);
        double t0 = now();
        posterior_init(&posterior, reasoner, NULL);
        if (triage_tell(triage, description, strlen(description), diags) != STATUS_OK)
            die("cannot read a description");
        double t1 = now();
        const struct evidence *evidence = triage_evidence(triage);
        double t2 = now();
        reason_posterior(reasoner, evidence, -1.0, &posterior);
        double t3 = now();
        if (triage_judge(triage) == NULL)
            die("cannot judge");
        whole[i] = now() - t3;
        read[i] = t1 - t0;
        alone[i] = t3 - t2;
        posterior_release(&posterior);
    }
    row_of("read one description", read, LARGER_RUNS, "ms", "", "");
    row_of("posterior", alone, LARGER_RUNS, "ms", "", "");
    row_of("whole verdict", whole, LARGER_RUNS, "ms", "", "");
}

static inline void bench_larger(const char *folder, const char *description, struct diags *diags)
{
    struct rusage usage;
    char *shipped = rules_find_shipped();
    char *words[] = {(char[]){"tests/bench/make-larger"}, shipped, (char *)folder, NULL};
    if (shipped == NULL || !run(words, NULL, NULL, NULL, &usage))
        die("cannot make the larger rules");
    struct rules *rules = larger_load(in_folder(folder, "rules"), diags);
    double start = now();
    struct reader *reader = reader_new(rules, diags);
    row("compile the phrases", now() - start, "ms", "", "once");
    start = now();
    struct reasoner *reasoner = reasoner_new(rules);
    row("compile the inference tables", now() - start, "ms", "", "once");
    struct triage *triage =
        reader != NULL && reasoner != NULL ? triage_new(rules, reader, reasoner) : NULL;
    if (triage == NULL)
        die("cannot compile the larger rules");
    larger_judge(triage, reasoner, description, diags);
    triage_free(triage);
    reasoner_free(reasoner);
    reader_free(reader);
    rules_free(rules);
    free(shipped);
}

#endif
