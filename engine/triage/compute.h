/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_COMPUTE_H
#define JARSIDE_TRIAGE_COMPUTE_H

#include "base/arena.h"
#include "reason/reason.h"
#include "triage/triage.h"

/*
 * What process/ can compute from the facts of a case, and how it moves causes.
 *
 * A cause moves by what its `moved_by` names:
 *   survivors  p = mean chance that a vessel of this cook holds a live organism
 *   wet, dry   p = chance that the moisture lies above, below the grain's band
 *   cold, warm p = share of the growth rate lost to the temperature, on its side
 *                  of the species' best; or, when coverage and day are known,
 *                  the share of the delay that the temperature explains
 *   dose       p = 1 / (1 + r^2), r times the usual dose; or, likewise, the share
 *                  of the delay
 * by
 *   shift = clamp(trust (logit p - logit usual), most) - what is weighed already
 * where usual, trust, most are the rule base's `moves`, p is kept within 0.002
 * and 0.998, and "weighed already" is tau ln P(said | cause) / P(said | none) over
 * the circumstances the computation used: the computed figure stands in the place
 * of the rule's cruder one, never beside it.
 */

/*
 * Writes at most `room` moves into `computed` (strings in the arena) and returns
 * how many. A cause whose cook was not said gets a move of 0 that says so.
 */
size_t compute_moves(const struct reasoner *reasoner, const struct evidence *evidence,
                     const struct fact *facts, size_t fact_count, struct arena *arena,
                     struct computed *computed, size_t room);

#endif
