/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_PHYSICS_INTERNAL_H
#define JARSIDE_TRIAGE_PHYSICS_INTERNAL_H

#include <math.h>

#include "triage/physics.h"

/* What was said, or else what is assumed. */
static inline double physics_or(double said, double assumed)
{
    return isnan(said) ? assumed : said;
}

/* Adds a part to what was assumed; NULL keeps no account. */
void physics_assume(struct text *assumed, const char *words);

/* Body and conductance of what was said about the vessel into `setup`, and the grams in it. False
 * when neither the case nor the rules know a vessel. */
bool physics_vessel(const struct rules *rules, const struct known_vessel *said, double bulk,
                    struct cook_setup *setup, double *grams, struct text *assumed);

#endif
