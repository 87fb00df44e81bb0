/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_SHARED_INTERNAL_H
#define JARSIDE_REASON_SHARED_INTERNAL_H

#include "reason/reason_internal.h"
#include "reason/shared.h"

/*
 * What one vessel says, by T, the causes of shared scope that reached it. T is
 * written as the index of a reasoner's set, so arrays "by set" hold it too.
 */
struct vessel_view {
    const struct reasoner *reasoner;
    struct posterior common, own; /* of the common facts, and of one vessel's */
    const double *joint;          /* of the vessel looked at: either one's */
    double log_evidence;          /* its, less that of the common facts */
    bool *possible;               /* per finding */
    size_t *reached;              /* per set its T; VIEW_NONE where the set cannot be */
    double *mass;                 /* by set: P(E, S) over the possible findings, normalised */
    double *ln_given;             /* by T: ln P(E|T) - ln P(E0|T) */
    double *ln_chance;   /* by Z_v, an index of a set: ln sum_T P(T|Z,v) P(E|T) / P(E0|T) */
    double *common_mass; /* as mass, of the common facts */
    double *by_t, *prior_by_t, *common_by_t; /* sums */
};

#define VIEW_NONE SIZE_MAX

bool view_init(struct vessel_view *view, const struct reasoner *reasoner);
void view_release(struct vessel_view *view);

/* Takes in the facts common to all, before any vessel. */
enum status view_common(struct vessel_view *view, const struct observation *common);
/* ln P(E0|T) with T those causes of a set that `shared` flags, by set; to `ln`. */
void view_common_given(struct vessel_view *view, const bool *shared, double *ln);
/* Turns to a vessel: fills everything from `joint` on. */
enum status view_look(struct vessel_view *view, const struct shared_vessel *vessel);

/*
 * What the vessel looked at is, when its Z_v has the chances `chance` (by set):
 * P(f) to `finding` and P(c reached it) to `cause`.
 */
void view_conclude(const struct vessel_view *view, const double *chance, double *finding,
                   double *cause);

/* Per vessel the index of the first one exactly like it; false when out of memory. */
bool shared_find_alike(const struct shared_batch *batch, size_t observables, size_t *first);

#endif
