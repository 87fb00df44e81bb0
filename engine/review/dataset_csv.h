/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_DATASET_CSV_H
#define JARSIDE_REVIEW_DATASET_CSV_H

#include "review/dataset.h"

/* What the columns of a grower's own table mean, by their names, and what stands in them. */

enum csv_use {
    CSV_FACTOR,
    CSV_LABEL,
    CSV_FATE,
    CSV_ENTERED,
    CSV_ENDED,
    CSV_CONTROL,
    CSV_IGNORED,
};

struct csv_role {
    enum csv_use use;
    enum factor_kind kind; /* of a factor */
    uint8_t yes, no;       /* of a fate: what "yes" and "no" mean in such a column */
};

/* Any other name is a factor of its own. */
struct csv_role csv_role_of(const char *name);

/* Takes white space off both ends. */
void csv_trim(const char **bytes, size_t *length);
/* False when the word says nothing about a fate. */
bool csv_fate(const struct csv_role *role, const char *word, size_t length, uint8_t *fate);
/* "yes", "y", "true", "1", "x". */
bool csv_yes(const char *word, size_t length);
/* An ISO 8601 date, whatever time of day stands behind it; false when it is none. */
bool csv_day(const char *word, size_t length, int32_t *day);

#endif
