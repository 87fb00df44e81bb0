/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_DATASET_INTERNAL_H
#define JARSIDE_REVIEW_DATASET_INTERNAL_H

#include "review/dataset.h"

/* What both ways of filling a dataset need. */

/* ---- words and their numbers ------------------------------------------------------------------ */

struct interner; /* opaque; lives in an arena */
struct interner *interner_new(struct arena *arena);
/* The number of a word, from 0 in order of appearance; LEVEL_NONE for "". False when out of memory. */
bool interner_put(struct interner *interner, const char *word, size_t length, uint32_t *number);
size_t interner_count(const struct interner *interner);
const char *const *interner_words(const struct interner *interner);

/* ---- factors ----------------------------------------------------------------------------------- */

/* Appends it with the levels renumbered to those that some vessel has, in their order; nothing when
 * no vessel has any. `level`, of each vessel, is overwritten and becomes the factor's. */
enum status factor_add(struct factor *factors, size_t *count, struct factor factor, uint32_t *level,
                       size_t vessels, struct arena *arena);

/* Whether two factors part the vessels alike, by whatever names. */
bool factor_parts_alike(const struct factor *first, const struct factor *second, size_t vessels);

/* ---- remarks ------------------------------------------------------------------------------------ */

/* Adds what is odd about its days. */
enum status dataset_remark(struct dataset *dataset, struct arena *arena);
/* Adds a sentence. */
enum status dataset_say(struct dataset *dataset, struct arena *arena, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
