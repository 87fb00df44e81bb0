/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "review/check_internal.h"
#include "review/conditional_internal.h"
#include "review/table.h"

enum status table_fisher(struct counts first, struct counts second, double level,
                         struct table_fisher *result)
{
    const struct counts both[] = {first, second};
    struct counts sum;
    struct conditional conditional;

    if (!level_fine(level) || !counts_sum(both, 2, &sum))
        return STATUS_USAGE;
    conditional_range(first.total, second.total, sum.lost, &conditional.least, &conditional.count);
    double *log_chance = calloc(conditional.count, sizeof *log_chance);
    if (!log_chance)
        return STATUS_MEMORY;
    conditional_fill(first.total, second.total, sum.lost, log_chance);
    conditional.log_chance = log_chance;
    conditional_test(&conditional, first.lost, level, result);
    free(log_chance);
    return STATUS_OK;
}
