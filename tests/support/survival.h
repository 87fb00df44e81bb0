/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cases of survival, one by one, for the tests. */
#ifndef JARSIDE_TESTS_SURVIVAL_H
#define JARSIDE_TESTS_SURVIVAL_H

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/statistics.h"

struct survival_case {
    double time;
    bool lost;
};

/* The cases as a table of times, in which each group has a row. */
enum { TIMES = 4096 };
static inline size_t rows_of(const struct survival_case *cases, const size_t *group, size_t count,
                             size_t groups, struct survival_row *rows)
{
    size_t times = 0;
    double last = -1.0;
    for (;;) {
        double next = INFINITY;
        for (size_t i = 0; i < count; i++)
            if (cases[i].time > last)
                next = fmin(next, cases[i].time);
        if (isinf(next))
            break;
        for (size_t g = 0; g < groups; g++)
            rows[g * TIMES + times] = (struct survival_row){next, 0, 0};
        for (size_t i = 0; i < count; i++)
            if (cases[i].time == next) {
                struct survival_row *row = &rows[(group != NULL ? group[i] : 0) * TIMES + times];
                ++*(cases[i].lost ? &row->lost : &row->censored);
            }
        last = next;
        times++;
    }
    for (size_t g = 1; g < groups; g++)
        memmove(&rows[g * times], &rows[g * TIMES], times * sizeof *rows);
    return times;
}

static inline struct survival_curve curve_of_cases(struct arena *arena,
                                                   const struct survival_case *cases, size_t count)
{
    struct survival_row *rows = calloc(TIMES, sizeof *rows);
    struct survival_curve curve = survival_curve(arena, rows, rows_of(cases, NULL, count, 1, rows));
    free(rows);
    return curve;
}

static inline struct strata_test logrank_of_cases(const struct survival_case *cases,
                                                  const size_t *group, size_t count, size_t groups)
{
    struct survival_row *rows = calloc(TIMES * groups, sizeof *rows);
    size_t times = rows_of(cases, group, count, groups, rows);
    struct strata_test test = survival_logrank(rows, times, groups);
    free(rows);
    return test;
}

#endif
