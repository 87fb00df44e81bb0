/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_PLAN_INTERNAL_H
#define JARSIDE_VOICE_PLAN_INTERNAL_H

#include "voice/plan.h"

/* null for what is not finite. New references. */
json_t *plan_number(double number);
json_t *plan_range(const struct range *range);
/* An array of the parts of "a; b; c". */
json_t *plan_parts(const char *parts);

/* "about 12 %", "under 1 in 1000", "nearly certain": a chance as one says it. */
enum { CHANCE_ROOM = 40 };
const char *plan_chance(double chance, char room[CHANCE_ROOM]);

#endif
