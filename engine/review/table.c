/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/table.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "review/check_internal.h"
#include "review/conditional_internal.h"
#include "review/table_internal.h"

struct table_effort table_effort_usual(void)
{
    return (struct table_effort){
        .exact_steps = 100000, .tables = 10000, .draws = 20000000, .enough = 100, .seed = 1};
}

double *table_log_factorials(size_t most)
{
    double *table = calloc(most + 1, sizeof *table);
    long double sum = 0.0L;

    if (!table)
        return NULL;
    for (size_t n = 1; n <= most; n++) {
        sum += log((double)n);
        table[n] = (double)sum;
    }
    return table;
}

/* ---- groups against lost or not -------------------------------------------------------------- */

static int larger_first(const void *left, const void *right)
{
    const struct counts *a = left, *b = right;

    if (a->total != b->total)
        return (a->total < b->total) - (a->total > b->total);
    return (a->lost < b->lost) - (a->lost > b->lost);
}

/* Fills `sizes` and `taken` (room for all) from the groups that are not empty. */
static void fill_margins(struct margins *margins, struct counts *groups, size_t count,
                         struct counts sum)
{
    bool rather_kept = sum.lost > sum.total - sum.lost;

    qsort(groups, count, sizeof *groups, larger_first);
    while (margins->groups < count && groups[margins->groups].total > 0) {
        struct counts group = groups[margins->groups];
        margins->sizes[margins->groups] = group.total;
        margins->taken[margins->groups++] = rather_kept ? group.total - group.lost : group.lost;
    }
    margins->total = sum.total;
    margins->take = rather_kept ? sum.total - sum.lost : sum.lost;
}

/* Two groups need no network: their tables form one row. */
static enum status test_pair(const struct margins *margins, struct table_test *result)
{
    struct conditional pair;
    size_t m = margins->sizes[0], n = margins->sizes[1];

    conditional_range(m, n, margins->take, &pair.least, &pair.count);
    double *log_chance = calloc(pair.count, sizeof *log_chance);
    if (!log_chance)
        return STATUS_MEMORY;
    conditional_fill(m, n, margins->take, log_chance);
    pair.log_chance = log_chance;
    *result =
        (struct table_test){.p = conditional_two_sided(&pair, margins->taken[0]), .exact = true};
    free(log_chance);
    return STATUS_OK;
}

static enum status test_margins(const struct margins *margins, const struct table_effort *effort,
                                struct table_test *result)
{
    bool settled = false;
    double p = NAN;

    if (margins->groups < 2 || margins->take == 0) {
        *result = (struct table_test){.p = 1.0, .exact = true};
        return STATUS_OK;
    }
    if (margins->groups == 2)
        return test_pair(margins, result);
    enum status status = table_network(margins, effort->exact_steps, &settled, &p);
    if (status != STATUS_OK)
        return status;
    if (!settled)
        return table_draw(margins, effort, result);
    *result = (struct table_test){.p = p, .exact = true};
    return STATUS_OK;
}

enum status table_groups(const struct counts *groups, size_t count,
                         const struct table_effort *effort, struct table_test *result)
{
    struct counts sum;

    if (effort->tables < 1 || !counts_sum(groups, count, &sum))
        return STATUS_USAGE;
    size_t room = count ? count : 1;
    struct counts *sorted = calloc(room, sizeof *sorted);
    struct margins margins = {.sizes = calloc(room, sizeof *margins.sizes),
                              .taken = calloc(room, sizeof *margins.taken)};
    enum status status = STATUS_MEMORY;
    if (sorted && margins.sizes && margins.taken) {
        for (size_t i = 0; i < count; i++)
            sorted[i] = groups[i];
        fill_margins(&margins, sorted, count, sum);
        status = test_margins(&margins, effort, result);
    }
    free(sorted);
    free(margins.sizes);
    free(margins.taken);
    return status;
}

/* ---- the quick one --------------------------------------------------------------------------- */

enum status table_chi_square(const struct counts *groups, size_t count,
                             struct table_chi_square *result)
{
    struct counts sum;
    double statistic = 0.0, least = INFINITY;
    size_t filled = 0;

    if (!counts_sum(groups, count, &sum))
        return STATUS_USAGE;
    double lost = (double)sum.lost, kept = (double)(sum.total - sum.lost);
    for (size_t i = 0; i < count; i++) {
        double size = (double)groups[i].total;
        if (groups[i].total == 0)
            continue;
        filled++;
        double expected = size * lost / (lost + kept);
        double off = (double)groups[i].lost - expected;
        least = fmin(least, fmin(expected, size - expected));
        if (lost > 0.0 && kept > 0.0)
            statistic += off * off / expected + off * off / (size - expected);
    }
    bool alike = filled < 2 || lost == 0.0 || kept == 0.0;
    *result = (struct table_chi_square){
        .statistic = alike ? 0.0 : statistic,
        .p = alike ? 1.0 : gsl_cdf_chisq_Q(statistic, (double)(filled - 1)),
        .freedom = alike ? 0 : filled - 1,
        .least_expected = filled > 0 ? least : 0.0,
    };
    return STATUS_OK;
}
