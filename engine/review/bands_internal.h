/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_BANDS_INTERNAL_H
#define JARSIDE_REVIEW_BANDS_INTERNAL_H

#include "journal/journal.h"
#include "knowledge/rules.h"

/*
 * Bands: what process/ makes of the figures in a record, coarse enough that
 * several cooks, mixes or shelves share one.
 *
 * A band is a small number, or LEVEL_NONE when the figures do not tell. `moves`
 * takes how far each of up to two computations moves the causes it bears on
 * (knowledge/rules.h, struct move), natural log of the odds.
 */
struct bands {
    enum moved_by moved[2];
    size_t count;
    const char *const *names;
};

extern const struct bands bands_lethality, bands_moisture, bands_dose;

/* Of one kind of vessel with so many grams in a cook of such grain: cook_verdict. */
uint32_t band_of_cook(const struct rules *rules, const struct cook *cook, int vessel, double grams,
                      int grain, double moves[2]);
/* Of a mix: below, within or above the band of its grain. */
uint32_t band_of_mix(const struct rules *rules, const struct batch *batch, const struct lot *lot,
                     double moves[2]);
/* Of a dose in a vessel of so many grams: under half, about, over twice the usual one. */
uint32_t band_of_dose(const struct rules *rules, const struct batch *batch, int starter_kind,
                      int grain, double grams, double moves[2]);

#endif
