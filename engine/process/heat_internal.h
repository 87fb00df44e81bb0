/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_HEAT_INTERNAL_H
#define JARSIDE_PROCESS_HEAT_INTERNAL_H

#include "process/heat.h"

/*
 * theta at even steps of time, each term from the one before by a factor: a
 * table of it costs multiplications where heat_theta would cost exponentials.
 * The factors' rounding adds up to less than 1e-12 over ten thousand steps.
 */
struct heat_walk {
    const struct heat_model *model;
    double step;
    size_t steps;                               /* taken so far */
    double term[HEAT_DIRECTIONS][HEAT_TERMS];   /* C exp(-zeta^2 Fo) as it is now */
    double factor[HEAT_DIRECTIONS][HEAT_TERMS]; /* what one step makes of it */
    size_t terms[HEAT_DIRECTIONS];              /* that are not negligible yet */
};

void heat_walk_start(struct heat_walk *walk, const struct heat_model *model, double step);
/* Goes one step on and returns theta there. */
double heat_walk_on(struct heat_walk *walk);

#endif
