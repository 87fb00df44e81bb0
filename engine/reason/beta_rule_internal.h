/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_BETA_RULE_INTERNAL_H
#define JARSIDE_REASON_BETA_RULE_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Expectations over a Beta(a, b) as weighted sums: sum_i weights[i] f(nodes[i])
 * is exact for polynomials f of a degree up to 2 count - 1 (Gauss-Jacobi on
 * [0, 1], weights adding up to 1).
 */
enum { BETA_RULE_MOST = 32 };

/* Fills `count` (1 .. BETA_RULE_MOST) nodes, rising, and weights. False when it does not converge,
 * which no finite a, b > 0 is known to do. */
bool beta_rule(double a, double b, size_t count, double *nodes, double *weights);

#endif
