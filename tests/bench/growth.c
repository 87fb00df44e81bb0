/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review as its journal grows. */
#include <sys/resource.h>

#include "bench/figures.h"

#include "bench/review_table.h"
#include "reason/reason.h"
#include "rules/rules.h"

/* The most memory the process has had, in MiB. */
static double peak(void)
{
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    return (double)usage.ru_maxrss / 1024.0;
}

/* Processor time so far, in milliseconds: others may be at work as well. */
static double worked(void)
{
    return 1000.0 * (double)clock() / CLOCKS_PER_SEC;
}

static void bench_review(const struct reasoner *reasoner)
{
    static const size_t sizes[] = {1000, 10000, 100000, 1000000};
    for (size_t s = 0; s < sizeof sizes / sizeof *sizes; s++) {
        struct review_table table;
        struct review review;
        struct arena *arena = arena_new();
        char what[64];
        table_make(&table, sizes[s]);
        double before = peak(), start = now(), start_work = worked();
        if (review_make(&table.dataset, reasoner, NULL, arena, &review) != STATUS_OK ||
            review.culprit_count == 0)
            die("cannot review a table");
        snprintf(what, sizeof what, "a review of %zu vessels with 40 factors", sizes[s]);
        double work = worked() - start_work;
        row(what, now() - start, "ms", "", "once");
        row("  processor time", work, "ms", sizes[s] == 1000000 ? "2000" : "", "once");
        row("  memory it took beside the table", peak() - before, "MiB",
            sizes[s] == 1000000 ? "64" : "", "resident, at its peak");
        arena_free(arena);
        arena_free(table.arena);
    }
}

int main(void)
{
    char *folder = rules_find_shipped();
    const char *const folders[] = {folder};
    struct diags *diags = diags_new();
    struct rules *rules = NULL;
    if (folder != NULL && diags != NULL)
        rules = rules_load(folders, 1, diags, NULL);
    struct reasoner *reasoner = rules != NULL ? reasoner_new(rules) : NULL;
    if (reasoner == NULL)
        die("cannot load the rules");
    heading("A review as its journal grows");
    bench_review(reasoner);
    reasoner_free(reasoner);
    rules_free(rules);
    diags_free(diags);
    free(folder);
    return EXIT_SUCCESS;
}
