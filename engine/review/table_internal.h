/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_TABLE_INTERNAL_H
#define JARSIDE_REVIEW_TABLE_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "review/table.h"

/* A table made ready: no empty group, at least two groups, and `taken` counts the rarer of lost and
 * not lost, at least one. */
struct margins {
    size_t *sizes; /* largest first */
    size_t *taken;
    size_t groups, total, take;
};

/* log of n! for n = 0 to `most`; NULL without memory. The caller frees it. */
double *table_log_factorials(size_t most);

/* What a table may be likelier than ours by and still count as no likelier, in its logarithm. */
#define TABLE_TIE 1e-7

/* The exact p. `settled` is false, and p not set, when it took more than `steps`. */
enum status table_network(const struct margins *margins, size_t steps, bool *settled, double *p);

/* The drawn p. */
enum status table_draw(const struct margins *margins, const struct table_effort *effort,
                       struct table_test *result);

/* A number that p is certainly not above. `log_factorial` up to the largest size. */
double table_bound(const struct margins *margins, const double *log_factorial);

#endif
