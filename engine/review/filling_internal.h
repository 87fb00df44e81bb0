/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_FILLING_INTERNAL_H
#define JARSIDE_REVIEW_FILLING_INTERNAL_H

#include "journal/journal.h"
#include "review/dataset_internal.h"

/* A dataset on its way out of a journal. */

/* Records of one kind, by rising id. */
struct records {
    void *rows;
    size_t count, size;
};

struct filling { /* a dataset while it is filled */
    struct journal *journal;
    const struct rules *rules;
    struct arena *arena;
    struct diags *diags;
    struct dataset *dataset;
    struct records of[RECORD_COUNT];
    const struct vessel **vessels; /* those that are in */
    size_t count;
    int16_t *finding; /* of each vessel that is in, and how sure */
    float *sure;
    struct cook_kept *cooks; /* of dataset_factors.c */
    struct factor *factors;
    size_t factor_count;
};

/* The record at an index; the index of the record with an id, SIZE_MAX; and the record itself, NULL. */
const void *record_at(const struct records *records, size_t index);
size_t record_index(const struct records *records, int64_t id);
const void *record_of(const struct filling *filling, enum record record, int64_t id);
/* The batch of a vessel that is in. */
const struct batch *batch_of(const struct filling *filling, size_t i);

/* Adds every factor that the records tell. */
enum status filling_add_factors(struct filling *filling);

#endif
