/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_LEARNED_H
#define JARSIDE_KNOWLEDGE_LEARNED_H

#include <stddef.h>

#include "knowledge/citation.h"

/*
 * Counts of vessels whose outcome a grower confirmed. They are added to what the
 * files say as if that had been seen in `strength` vessels (a Dirichlet prior of
 * that size for a one-of, a Beta for each value of a several-of and each cause):
 *
 *   P'(v | f) = (strength P(v | f) + seen(v)) / (strength + of(v))
 *   pi_c'     = (strength pi_c + seen) / (strength + of)
 *
 * Source of the rule: Gelman and others, Bayesian Data Analysis, 2013, sections 2.4 and 3.4.
 */
struct learned_sign { /* of vessels that held the finding, in how many each value was seen */
    size_t finding, observable;
    double *seen, *of; /* per value of the observable */
};

struct learned_cause {
    size_t cause;
    double seen, of;
};

struct learned {
    double strength, vessels; /* vessels: how many were counted */
    const struct learned_sign *signs;
    size_t sign_count;
    const struct learned_cause *causes;
    size_t cause_count;
    struct citation cites;
};

#endif
