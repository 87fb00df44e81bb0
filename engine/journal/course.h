/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_COURSE_H
#define JARSIDE_JOURNAL_COURSE_H

#include <stdbool.h>

#include "base/diag.h"
#include "base/range.h"
#include "base/status.h"
#include "journal/journal.h"
#include "knowledge/rules.h"

/*
 * What the forecast expects of a vessel in the journal, from its batch, grain,
 * starter, place and the shakes it has had. Days count from inoculation; what is
 * never reached is INFINITY. Where the forecast has nothing to say (no species, an
 * impossible figure) `known` is false and only `first_look` and `look_every` hold.
 */
struct course {
    bool known;
    struct range visible; /* first growth to be seen */
    struct range shake;   /* low to high: when there is enough to shake, and not too much */
    struct range full;    /* white through */
    double look_every;    /* days between looks */
    double first_look;    /* the day of the first */
};

/* The course of a vessel; one with id 0 stands for any of its batch. What reading failed with, or
 * STATUS_OK. */
enum status course_of(struct journal *journal, const struct rules *rules, const struct batch *batch,
                      const struct vessel *vessel, struct course *course, struct diags *diags);

/* The wall-calendar day of the first look at a vessel of this batch. */
int64_t course_first_day(const struct course *course, const struct batch *batch);

/* Why a first look is due, as the journal keeps it. */
extern const char course_first_word[];

#endif
