/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_REASON_INTERNAL_H
#define JARSIDE_REASON_REASON_INTERNAL_H

#include <stddef.h>

#include "base/memory.h"
#include "reason/reason.h"

/*
 * What a reasoner holds. reason/ only.
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
    double *p;         /* [value][pattern][finding] */
    double *ln;        /* of the same */
    double *ln_not;    /* of 1 - p; several-of only */
    double *ln_silent; /* of 1 - m p, m = calibration.silence; likewise */
};

/* One observable, compiled. */
struct sight {
    size_t value_count;
    size_t pattern_count;
    size_t cause_count; /* that weigh on it: patterns 1 to this are of one of them alone */
    bool several;
    uint32_t all; /* a bit for each value */
    int group;
    const double *base;      /* per value: what is expected of anyone */
    const uint32_t *pattern; /* per set */
    struct chances plain;
};

struct reasoner {
    const struct rules *rules;
    struct arena *arena;
    size_t finding_count, cause_count, observable_count, set_count;
    int (*sets)[SET_MAX_CAUSES];   /* {}, then each cause, then each pair */
    const double *odds;            /* of each cause before any evidence */
    const double *set_prior;       /* P(S) with those */
    const double *given;           /* P(f | S), [set][finding] */
    struct sight *sights;          /* per observable */
    const struct chances **normal; /* [species][observable]; NULL where the plain ones hold */
    size_t most_patterns;
};

/* What was made of an observation, kept: most posteriors are of evidence that
 * differs from that of the one before in a single answer, and the same is said of
 * many vessels. */
struct recall {
    struct observation said;
    int species;
    const double *ln; /* ln l_i, [pattern][finding]; NULL: nothing yet */
    double strength;  /* range of ln l_i over the findings, no cause present */
    double *room;     /* where ln may stand */
    double power;     /* of what follows; NAN: nothing yet */
    double *ratio;    /* [pattern][finding], from pattern 1 up: what its causes make of it */
    double span;      /* how far the logarithms of those for one set can go from 0 */
};

/* An observation that says something, while a posterior is being computed. */
struct heard {
    size_t observable;
    double power; /* tau times its weight within its group */
    struct recall *recall;
};

/* Room a posterior computes in; belongs to the posterior. */
struct workspace {
    struct arena *arena; /* of everything in the posterior */
    double *set_prior;   /* P(S) as shifted */
    double *shift;       /* per cause: its shifts added up, then its odds as shifted */
    double *row;         /* per finding: what holds for every set */
    double *factor;      /* likewise, besides: for no cause, then for every set with each cause */
    struct heard *heard;
    size_t heard_count;
    struct recall *recalls; /* [observable][way] */
    size_t *turn;           /* per observable the way that is filled next */
    size_t ways;
};

/* Index of {a, b} among {}, the n singles and the pairs; RULES_NONE for either means absent. */
size_t set_index(size_t n, int a, int b);

struct observation observation_of(const struct evidence *evidence, size_t observable);
/* One-of: the values still possible. */
uint32_t observation_possible(const struct sight *sight, const struct observation *observation);
/* Whether it excludes or asserts anything at all. */
bool observation_tells(const struct sight *sight, const struct observation *observation);
/* reason_holds, where what was said in doubt may count as said. */
bool condition_holds(const struct reasoner *reasoner, const struct condition *condition,
                     const struct evidence *evidence, bool even_doubted);
/* The species that is plainly named, or RULES_NONE. */
int evidence_species(const struct reasoner *reasoner, const struct evidence *evidence);
const struct chances *sight_chances(const struct reasoner *reasoner, int species,
                                    size_t observable);
/* ln l_i as [pattern][finding]: in the tables where they hold it, else written to `room`. */
const double *observation_ln(const struct reasoner *reasoner, int species, size_t observable,
                             const struct observation *observation, double *room);
/* The range of ln l_i over the findings when no cause is present. */
double observation_strength(const struct reasoner *reasoner, const double *ln);

/* As posterior_init, keeping what was made of `ways` observations of each observable. */
void posterior_init_ways(struct posterior *posterior, const struct reasoner *reasoner, size_t ways);

/* Arithmetic on rows of numbers, four at a time: sums in four parts that do not
 * wait for one another, and loops of fixed length that a compiler turns into
 * vector instructions without being asked to. */
enum { ROW_STEP = 4 };

/* row *= by, element by element. */
static inline void row_times(double *restrict row, const double *restrict by, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] *= by[i + k];
    for (; i < count; i++)
        row[i] *= by[i];
}

/* row += of. */
static inline void row_add(double *restrict row, const double *restrict of, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] += of[i + k];
    for (; i < count; i++)
        row[i] += of[i];
}

/* row = by * a * b * c * d. */
static inline void row_product(double *restrict row, double by, const double *a, const double *b,
                               const double *c, const double *d, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] = by * a[i + k] * (b[i + k] * (c[i + k] * d[i + k]));
    for (; i < count; i++)
        row[i] = by * a[i] * (b[i] * (c[i] * d[i]));
}

static inline void row_scale(double *row, double by, size_t count)
{
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            row[i + k] *= by;
    for (; i < count; i++)
        row[i] *= by;
}

static inline double row_sum(const double *row, size_t count)
{
    double sums[ROW_STEP] = {0.0};
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            sums[k] += row[i + k];
    for (; i < count; i++)
        sums[0] += row[i];
    return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

/* to += row; returns the sum of the row. */
static inline double row_add_sum(double *restrict to, const double *restrict row, size_t count)
{
    double sums[ROW_STEP] = {0.0};
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++) {
            to[i + k] += row[i + k];
            sums[k] += row[i + k];
        }
    for (; i < count; i++) {
        to[i] += row[i];
        sums[0] += row[i];
    }
    return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

static inline double row_dot(const double *a, const double *b, size_t count)
{
    double sums[ROW_STEP] = {0.0};
    size_t i = 0;
    for (; i + ROW_STEP <= count; i += ROW_STEP)
        for (size_t k = 0; k < ROW_STEP; k++)
            sums[k] += a[i + k] * b[i + k];
    for (; i < count; i++)
        sums[0] += a[i] * b[i];
    return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

#endif
