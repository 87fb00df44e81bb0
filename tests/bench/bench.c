/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Timings, printed as figures; tests never time anything.
 *
 *     bench PROGRAM [keep]
 *
 * Each figure is the median of repeated runs, with its spread, its unit and how
 * it was taken, beside the one that was kept (figures.h). Memory is the peak resident set of the child as the kernel counts it.
 */
#include "bench/figures.h"

#include "base/diag.h"
#include "bench/beside.h"
#include "bench/larger.h"
#include "bench/many.h"
#include "language/reader.h"
#include "process/cook.h"
#include "process/probe.h"
#include "reason/reason.h"
#include "reason/shared.h"
#include "reason/siblings.h"
#include "rules/rules.h"
#include "triage/physics.h"
#include "triage/triage.h"

enum { RUNS = 31, LOOPS = 200 };

static const char description[] = "day 12, stopped at a third for ten days, no smell, greenish "
                                  "dust by the port, cooked 90 min at "
                                  "15 psi";

/* ---- the program as a process ---------------------------------------------------------------- */

static void bench_process(const char *program, const char *scratch)
{
    double times[RUNS];
    struct rusage usage;
    char *words[] = {(char *)program, (char[]){"judge"}, (char[]){"--json"}, (char *)description,
                     NULL};
    for (size_t i = 0; i < RUNS; i++) {
        double start = now();
        if (!run(words, NULL, "/dev/null", NULL, &usage))
            die("cannot run the program");
        times[i] = now() - start;
    }
    row_of("load all rules and judge, as a process", times, RUNS, "ms", "12", "");
    double count = instructions(words, NULL, scratch);
    if (count > 0.0)
        row("  instructions", count / 1e6, "M", "90", "callgrind");
    else
        row_missing("  instructions", "valgrind is not here");
    row("  peak resident memory", (double)usage.ru_maxrss / 1024.0, "MiB", "20", "kernel's count");
}

/* ---- the parts ------------------------------------------------------------------------------- */

struct parts {
    struct rules *rules;
    struct reader *reader;
    struct reasoner *reasoner;
    struct triage *triage;
    struct posterior posterior;
};

static void load_parts(struct parts *parts, struct diags *diags)
{
    double times[RUNS];
    char *folder = rules_find_shipped();
    const char *const folders[] = {folder};
    for (size_t i = 0; i < RUNS; i++) {
        double start = now();
        parts->rules = folder != NULL ? rules_load(folders, 1, diags, NULL) : NULL;
        times[i] = now() - start;
        if (parts->rules == NULL)
            die("cannot load the rules");
        if (i + 1 < RUNS)
            rules_free(parts->rules);
    }
    row_of("read and check the rule files", times, RUNS, "ms", "", "");
    double start = now();
    parts->reader = reader_new(parts->rules, diags);
    row("compile the phrases", now() - start, "ms", "", "once");
    start = now();
    parts->reasoner = reasoner_new(parts->rules);
    row("compile the inference tables", now() - start, "ms", "", "once");
    if (parts->reader == NULL || parts->reasoner == NULL)
        die("cannot compile the rules");
    parts->triage = triage_new(parts->rules, parts->reader, parts->reasoner);
    posterior_init(&parts->posterior, parts->reasoner, NULL);
    free(folder);
}

static void bench_parts(struct parts *parts, struct diags *diags)
{
    double read[LOOPS], computed[LOOPS], posterior[LOOPS], decision[LOOPS], question[LOOPS],
        verdict[LOOPS];
    const struct stakes stakes = *triage_stakes(parts->triage);
    struct decision decided;
    struct question questions[4];
    for (size_t i = 0; i < LOOPS; i++) {
        triage_reset(parts->triage);
        /* A new one each time: one that is kept recalls what it made of the same answers. */
        posterior_release(&parts->posterior);
        posterior_init(&parts->posterior, parts->reasoner, NULL);
        double t0 = now();
        triage_tell(parts->triage, description, strlen(description), diags);
        double t1 = now();
        const struct evidence *evidence = triage_evidence(parts->triage);
        double computed_at = now();
        reason_posterior(parts->reasoner, evidence, -1, &parts->posterior);
        double t2 = now();
        reason_decide(parts->reasoner, evidence, &parts->posterior, &stakes, &decided);
        double t3 = now();
        const struct inquiry inquiry = {AIM_ACTION, .most = 4};
        reason_questions(parts->reasoner, evidence, &parts->posterior, &stakes, &inquiry,
                         questions);
        double t4 = now();
        triage_judge(parts->triage);
        double t5 = now();
        read[i] = t1 - t0;
        computed[i] = computed_at - t1;
        posterior[i] = t2 - computed_at;
        decision[i] = t3 - t2;
        question[i] = t4 - t3;
        verdict[i] = t5 - t4;
    }
    double sum = median(posterior, LOOPS) + median(decision, LOOPS) + median(question, LOOPS);
    row_of("read one description", read, LOOPS, "ms", "", "");
    row_of("what the figures say (a cook)", computed, LOOPS, "ms", "", "");
    row_of("posterior", posterior, LOOPS, "ms", "", "");
    row_of("decision", decision, LOOPS, "ms", "", "");
    row_of("next question", question, LOOPS, "ms", "", "");
    row("  the three together", sum, "ms", "1", "sum of medians");
    row_of("whole verdict, explanation included", verdict, LOOPS, "ms", "", "");
}

/* ---- the others ------------------------------------------------------------------------------- */

/* Everything is shared with somebody, and some with nobody else: all causes are moved. */
static void bench_siblings(const struct reasoner *reasoner)
{
    struct sibling_cell cells[1 << RELATION_COUNT];
    size_t count = sizeof cells / sizeof *cells;
    double times[RUNS];
    for (size_t i = 0; i < count; i++)
        cells[i] = (struct sibling_cell){
            .shares = (uint32_t)i, .clean = 8, .stuck = 1, .contaminated = i % 3 == 0 ? 4 : 0};
    for (size_t i = 0; i < RUNS; i++) {
        struct sibling_pattern pattern;
        double start = now();
        struct arena *arena = arena_new();
        if (siblings_weigh(reasoner, cells, count, arena, &pattern) != STATUS_OK)
            die("cannot weigh siblings");
        times[i] = now() - start;
        arena_free(arena);
    }
    row_of("siblings of a vessel, all they can share", times, RUNS, "ms", "", "");
}

/* A batch of vessels that all differ: each has signs of its own and an outcome. */
static void bench_batch(const struct reasoner *reasoner)
{
    enum { VESSELS = 3000 };
    const struct rules *rules = reasoner_rules(reasoner);
    size_t room = rules->observable_count;
    struct observation *said = calloc(VESSELS * room, sizeof *said);
    struct shared_vessel *vessels = calloc(VESSELS, sizeof *vessels);
    struct shared_posterior posterior;
    if (said == NULL || vessels == NULL)
        die("out of memory");
    for (size_t v = 0; v < VESSELS; v++) {
        vessels[v] = (struct shared_vessel){
            .observations = said + v * room,
            .finding = RULES_NONE,
            .statuses = 1U << (v % 7 == 0 ? FINDING_CONTAMINATED : FINDING_CLEAN),
        };
        for (size_t k = 0; k < 3; k++)
            said[v * room + (v + 7 * k) % room].seen = 1;
    }
    const struct shared_batch batch = {.vessels = vessels, .vessel_count = VESSELS};
    double start = now();
    if (reason_shared(reasoner, &batch, &posterior) != STATUS_OK)
        die("cannot infer shared causes");
    row("shared causes of a batch of 3000", now() - start, "ms", "", "once");
    shared_release(&posterior);
    free(vessels);
    free(said);
}

/* ---- process physics -------------------------------------------------------------------------- */

static void bench_cook(const struct rules *rules)
{
    struct physics_refusal refusal;
    struct cook_result result;
    struct cook_setup setup;
    struct known_cook known;
    double times[RUNS];

    known = (struct known_cook)KNOWN_COOK;
    known.gauge = 15 * STEAM_KPA_PER_PSI;
    known.minutes = 150;
    known.altitude = 1600;
    known.vessel.kind = physics_nearest_vessel(rules, SHAPE_BRICK, 1360, NAN);
    for (size_t i = 0; i < RUNS; i++) {
        double start = now();
        if (physics_cook(rules, &known, &setup, NULL, &refusal) != PHYSICS_OK)
            die("cannot compute a cook");
        cook_compute(&setup, &result);
        times[i] = now() - start;
    }
    row_of("one cook with its ranges", times, RUNS, "ms", "5", "");
}

static bool add_reading(void *context, double minutes, double celsius)
{
    return cook_probe_add(context, minutes, celsius) == PROCESS_OK;
}

/* A log of a million rows, made block by block so that making it is not timed. */
static void bench_log(const struct rules *rules, struct diags *diags)
{
    enum { ROWS = 1000000, BLOCK = 1000 };
    static char block[BLOCK * 32];
    struct physics_refusal refusal;
    struct known_cook known;
    struct cook_setup setup;
    struct cook_probe probe;
    double spent = 0;

    known = (struct known_cook)KNOWN_COOK;
    known.minutes = 0;
    if (physics_cook(rules, &known, &setup, NULL, &refusal) != PHYSICS_OK)
        die("cannot set up a cook");
    cook_probe_init(&probe, &setup, 10);
    const struct probe_sink sink = {&probe, add_reading};
    struct probe_log log;
    probe_init(&log, NULL, PROBE_CELSIUS, &sink, diags);
    const struct csv_table table = probe_table(&log);
    struct csv_reader *reader = csv_reader_new(&table, diags);
    for (int first = 0; first < ROWS; first += BLOCK) {
        size_t length = 0;
        for (int i = first; i < first + BLOCK; i++)
            length += (size_t)snprintf(block + length, sizeof block - length, "%.3f,%.2f\n",
                                       0.005 * i, 100 + 0.01 * (i % 2000));
        double start = now();
        if (csv_reader_feed(reader, block, length) != STATUS_OK)
            die("cannot read a log");
        spent += now() - start;
    }
    if (csv_reader_finish(reader) != STATUS_OK || probe_finish(&log) != STATUS_OK)
        die("cannot read a log");
    csv_reader_free(reader);
    row("a probe log of a million rows", spent, "ms", "1000", "once");
}

int main(int argc, char **argv)
{
    struct parts parts = {0};
    struct diags *diags = diags_new();
    if (argc < 2 || diags == NULL)
        die("usage: bench PROGRAM [keep]");
    char folder[] = "/tmp/jarside-bench-XXXXXX";
    if (mkdtemp(folder) == NULL)
        die("cannot make a scratch folder");
    heading("One vessel");
    bench_process(argv[1], in_folder(folder, "told"));
    load_parts(&parts, diags);
    bench_parts(&parts, diags);
    bench_siblings(parts.reasoner);
    bench_batch(parts.reasoner);
    bench_cook(parts.rules);
    bench_log(parts.rules, diags);
    heading("Many vessels, on one core");
    bench_many(argv[1], folder, parts.triage, parts.reasoner, diags);
    heading("Rules eight times larger");
    bench_larger(folder, description, diags);
    heading("Beside others, in the same run");
    bench_soybean(folder, diags);
    bench_statistics(folder);
    remove_folder(folder);
    figures_end(argc > 2);
    posterior_release(&parts.posterior);
    triage_free(parts.triage);
    reasoner_free(parts.reasoner);
    reader_free(parts.reader);
    rules_free(parts.rules);
    diags_free(diags);
    return EXIT_SUCCESS;
}
