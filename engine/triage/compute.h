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

/* Cooks computed before. A cook takes a thousand times as long as a posterior, and
 * the same one comes again with every answer of a conversation and every vessel
 * of a batch. */
struct cook_memo; /* of one rule base */
struct cook_memo *cook_memo_new(void);
void cook_memo_free(struct cook_memo *memo);
/* As cook_compute: `setup` is what physics_cook made of `known`. `memo` may be NULL. */
enum process_error cook_recalled(struct cook_memo *memo, const struct known_cook *known,
                                 const struct cook_setup *setup, struct cook_result *result);

/* log_odds for p = `chance`, with a trust that may be less than the move's; 0 where it is NAN. */
double compute_shift(const struct move *move, double trust, double chance);

/* Writes the moves, at most one a cause, and returns how many; strings are in the
 * arena. A cause whose cook was not said gets a move of 0 that says so. `memo` may
 * be NULL. */
size_t compute_moves(const struct reasoner *reasoner, const struct evidence *evidence,
                     const struct fact *facts, size_t fact_count, struct cook_memo *memo,
                     struct arena *arena, struct computed *moves);

/* The most that a culture could cover by `day`, per cent: the fast end of the forecast, over every
 * species and starter that the facts leave open; or any of them that is at least `enough`. NAN where
 * nothing can be forecast. */
double compute_most(const struct rules *rules, const struct fact *facts, size_t count, double day,
                    double enough);

#endif
