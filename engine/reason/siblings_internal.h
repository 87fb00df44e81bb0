/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_SIBLINGS_INTERNAL_H
#define JARSIDE_REASON_SIBLINGS_INTERNAL_H

#include "reason/siblings.h"

/*
 * A way of being lost: contaminated; stuck, of what is not contaminated; and
 * contaminated though never inoculated.
 */
enum layer { LAYER_CONTAMINATED, LAYER_STUCK, LAYER_CONTROLS, LAYER_COUNT };

/* How much of what it reaches a cause loses, in one layer. */
struct loses {
    double share;      /* E lambda; 0: it does not act there */
    double near_power; /* at the same position 1 - lambda' = (1 - lambda)^near_power */
};

struct suspected {
    size_t cause;
    enum kin kin;
    double spared; /* e */
    struct loses loses[LAYER_COUNT];
};

/* Everything M(A) needs. */
struct chance_of_counts {
    const struct sibling_cell *cells;
    size_t count;
    double a, b, reach_seen;
};

/* ln M(A), A = {one, other}, either of which may be NULL; NAN when no rule was found. */
double siblings_chance(const struct chance_of_counts *of, const struct suspected *one,
                       const struct suspected *other);

#endif
