/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_MOISTURE_H
#define JARSIDE_PROCESS_MOISTURE_H

#include "process/limits.h"

/* How wet the grain is: mass balance, nothing else.
 *
 * Moisture is in per cent wet basis, water / (water + dry matter), unless a name says dry basis,
 * water / dry matter. Masses in grams. Grain as bought holds water already (8 to 15 %), which
 * recipes tend to forget: "grain" below is as bought, at its own moisture. */
double moisture_dry_basis(double wet_basis); /* per cent to per cent */

/* Moisture after adding `water` to `grain`. Refused above 70 %. */
enum process_error moisture_mixed(double grain, double grain_moisture, double water,
                                  double *moisture);
/* Moisture of grain soaked, simmered and drained, from its weight before and after. */
enum process_error moisture_soaked(double before, double grain_moisture, double after,
                                   double *moisture);
/* Water to add to `grain` to reach `target`; PROCESS_MOISTURE_DROP when it is wetter already. */
enum process_error moisture_water_for(double grain, double grain_moisture, double target,
                                      double *water);
/* Grain and water that make `hydrated` grams at `target`. */
enum process_error moisture_recipe(double hydrated, double grain_moisture, double target,
                                   double *grain, double *water);

/* A band to aim for and what the raw kernel can hold (NAN when unknown), per cent wet basis. */
struct moisture_band {
    double lo, hi, raw_limit;
};
enum moisture_place { MOISTURE_BELOW, MOISTURE_WITHIN, MOISTURE_ABOVE };

struct moisture_verdict {
    enum moisture_place place;
    double correction; /* grams of water to add (positive) or to lose (negative) to reach the nearer
                          end; 0 within */
    double free_water; /* grams the raw kernel has no room for: it stays outside until cooking opens
                          the grain */
};
void moisture_judge(double grain, double grain_moisture, double moisture,
                    const struct moisture_band *band, struct moisture_verdict *verdict);

/* Chance that the true moisture lies above `edge` when it was computed as `moisture` with a
 * standard deviation of `doubt` points (normal distribution). */
double moisture_chance_above(double moisture, double doubt, double edge);

/* Share of a vessel of `litres` that `hydrated` grams fill at `bulk` kg/l. */
double moisture_fill(double hydrated, double bulk, double litres);

#endif
