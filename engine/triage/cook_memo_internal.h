/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_COOK_MEMO_INTERNAL_H
#define JARSIDE_TRIAGE_COOK_MEMO_INTERNAL_H

#include "triage/physics.h"

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
enum process_fault cook_memo_compute(struct cook_memo *memo, const struct known_cook *known,
                                     const struct cook_setup *setup, struct cook_result *result);

#endif
