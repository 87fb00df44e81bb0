/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_COMPUTE_H
#define JARSIDE_TRIAGE_COMPUTE_H

#include "base/memory.h"
#include "reason/reason.h"
#include "triage/physics.h"
#include "triage/triage.h"

/*
 * What process/ can compute from the facts of a case, and how it moves causes.
 *
 * A cause moves by what its `moved_by` names:
 *   survivors  p = mean chance that a vessel of this cook holds a live organism
 *   wet, dry   p = chance that the moisture lies above, below the grain's band
 *   cold       p = share of the growth rate lost to a temperature below the best;
 *              or, when the vessel is late for its day, the share of the delay
 *              that it explains
 *   warm       p = how far the temperature lies between the best and the highest
 *   dose       p = 1 / (1 + r^2), r times the usual dose; or, likewise, the share
 *                  of the delay
 * by
 *   log_odds = clamp(trust (logit p - logit usual), most)
 * where usual, trust, most are the rule base's `moves` and p is kept within 0.002
 * and 0.998. The computed figure stands in the place of the rule's cruder one,
 * never beside it: `replaces` is what the rules weigh already, tau ln P(said |
 * cause) / P(said | none) over the circumstances the computation used, and the
 * shift is log_odds - replaces.
 */

struct cook_memo; /* cook_memo_internal.h: cooks computed before, for the same rules; may be NULL */

struct moves {
    struct computed *list; /* the caller's */
    size_t room, count;
};

/*
 * Writes at most `room` moves into `moves` (strings in the arena). A cause whose
 * cook was not said gets a move of 0 that says so. False when out of memory: then
 * a move may be missing.
 */
bool compute_moves(const struct reasoner *reasoner, const struct evidence *evidence,
                   const struct fact *facts, size_t fact_count, struct cook_memo *memo,
                   struct arena *arena, struct moves *moves);

/* The shifts that these moves make, one for each: room for `count`. */
void compute_shifts(const struct computed *computed, size_t count, struct prior_shift *shifts);

/*
 * Cooks computed before. A cook takes a thousand times as long as a posterior, and
 * the same one comes again with every answer of a conversation and every vessel
 * of a batch. triage/ only.
 */
struct cook_memo; /* of one rule base */

/* NULL when out of memory. */
struct cook_memo *cook_memo_new(void);
void cook_memo_free(struct cook_memo *memo);

/* As cook_compute: `setup` is what physics_cook made of `known`. `memo` may be NULL. */
enum process_error cook_memo_compute(struct cook_memo *memo, const struct known_cook *known,
                                     const struct cook_setup *setup, struct cook_result *result);

#endif
