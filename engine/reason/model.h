/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_MODEL_H
#define JARSIDE_REASON_MODEL_H

#include <pthread.h>
#include <stddef.h>

#include "base/memory.h"
#include "base/rows.h"
#include "reason/reason.h"

/*
 * What a reasoner holds: the rule base as tables, everything that does not depend on evidence; and
 * what an observation means by them. For the files of reason/.
 *
 * Most observables are weighed by few causes, so most of the sets S look alike
 * to any one of them. A table therefore has one row per *pattern*, the causes in
 * S that weigh on this observable, and each set points to its pattern. Pattern 0
 * is "none of them" and is what nearly all sets have.
 *
 * Tables run over findings in their innermost index, so that the loops over a
 * set's findings read and write memory in order.
 */

enum { SET_MAX_CAUSES = 2 };

/* No probability of the model is below this, and none of a several-of value above 1 minus this. */
#define LEAST_CHANCE 1e-6

/* P(value | finding, pattern) of one observable, and its logarithms. */
struct chances {
    int species;       /* RULES_NONE: what is normal on it makes no difference */
    double *p;         /* [value][pattern][finding] */
    double *ln;        /* of the same */
    double *ln_not;    /* of 1 - p; several-of only */
    double *ln_silent; /* of 1 - m p, m = calibration.silence; likewise */
};

/* One observable, compiled. */
struct sight {
    size_t value_count;
    size_t pattern_count;
    size_t cause_count;  /* that weigh on it: patterns 1 to this are of one of them alone */
    const int *causes;   /* which */
    const size_t *pairs; /* the sets of two of them, in the order of their patterns */
    size_t pair_count;
    bool several;
    uint32_t all; /* a bit for each value */
    int group;
    const double *base;      /* per value: what is expected of anyone */
    const uint32_t *pattern; /* per set */
    const double *factors;   /* of the causes, [pattern][value] */
};

struct reasoner {
    const struct rules *rules;
    struct arena *arena;
    size_t finding_count, cause_count, observable_count, set_count;
    int (*sets)[SET_MAX_CAUSES]; /* {}, then each cause, then each pair */
    const double *odds;          /* of each cause before any evidence */
    const double *set_prior;     /* P(S) with those */
    const double *given;         /* P(f | S), [set][finding] */
    const double *prior;         /* P(f, S), likewise */
    const double *prior_with;    /* P(f), then P(f, c in S) of each cause c */
    struct sight *sights;        /* per observable */
    /* [no species, then each][observable]: made when it is asked for, under the lock */
    _Atomic(const struct chances *) *chances;
    pthread_mutex_t *lock;
};

/* Index of {a, b} among {}, the n singles and the pairs; RULES_NONE for either means absent. */
size_t set_index(size_t n, int a, int b);
/* How many sets there are of so many. */
size_t set_total(size_t causes);
/* The members of the set with that index; RULES_NONE where there is none. */
void set_members(size_t n, size_t index, int members[SET_MAX_CAUSES]);

/* What was said of an observable; nothing where there is no evidence. */
struct observation observation_of(const struct evidence *evidence, size_t observable);
/* One-of: the values still possible. */
uint32_t observation_possible(const struct sight *sight, const struct observation *observation);
/* Whether it excludes or asserts anything at all. */
bool observation_tells(const struct sight *sight, const struct observation *observation);
/* reason_holds, where what was said in doubt may count as said. */
bool condition_holds(const struct reasoner *reasoner, const struct condition *condition,
                     const struct evidence *evidence, bool even_doubted);
/* The species that is plainly named; RULES_NONE where none is. */
int evidence_species(const struct reasoner *reasoner, const struct evidence *evidence);
/* The tables that hold on it. */
const struct chances *sight_chances(const struct reasoner *reasoner, int species,
                                    size_t observable);
/* ln l_i as [pattern][finding]: in the tables where they hold it, else written to `room`. */
const double *observation_ln(const struct reasoner *reasoner, int species, size_t observable,
                             const struct observation *observation, double *room);

/* l_i of what may be said of an observable, [pattern][finding]; until the next posterior is computed. */
const double *recall_p(const struct reasoner *reasoner, const struct posterior *posterior,
                       int species, size_t observable, const struct observation *said);

#endif
