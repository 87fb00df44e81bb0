/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review as its journal grows. */
#include "bench/figures.h"

#include "bench/review_table.h"
#include "reason/reason.h"
#include "rules/rules.h"

static void bench_review(const struct reasoner *reasoner)
{
    static const size_t sizes[] = {1000, 10000, 100000, 1000000};
    for (size_t s = 0; s < sizeof sizes / sizeof *sizes; s++) {
        struct review_table table;
        struct review review;
        struct arena *arena = arena_new();
        char what[64];
        if (arena == NULL || !table_make(&table, sizes[s]))
            die("cannot make a table");
        double start = now();
        if (review_make(&table.dataset, reasoner, NULL, arena, &review) != STATUS_OK ||
            review.culprit_count == 0)
            die("cannot review a table");
        snprintf(what, sizeof what, "a review of %zu vessels with 40 factors", sizes[s]);
        row(what, now() - start, "ms", sizes[s] == 100000 ? "2000" : "", "once");
        row("  memory it took beside the table", (double)arena_used(arena) / 1048576.0, "MiB", "",
            "as its arena counts");
        arena_free(arena);
        table_release(&table);
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
