/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_PLAN_INTERNAL_H
#define JARSIDE_VOICE_PLAN_INTERNAL_H

#include "voice/plan.h"
#include "voice/whole_json.h"

/* {"low", "central", "high"}, null for what is not finite. New reference. */
json_t *plan_range(const struct range *range);

/* "about 12 %", "under 1 in 1000", "nearly certain": a chance as one says it. */
enum { CHANCE_ROOM = 40 };
const char *plan_chance(double chance, char room[CHANCE_ROOM]);

#endif
