/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_SAID_INTERNAL_H
#define JARSIDE_TRIAGE_SAID_INTERNAL_H

#include <stdbool.h>

#include "reason/reason.h"
#include "triage/physics.h"
#include "triage/triage.h"

/* What the facts say, in the terms of the physics. `used` marks the feeds that were said. */
struct said {
    struct known_cook cook;
    struct known_growth growth;
    struct shake shake;
    double day, coverage, still, shaken_days;
    bool used[FEEDS_COUNT];
    bool hedged[FEEDS_COUNT];
};

/* `said` points into itself afterwards (a shake): do not copy it. */
void said_read(struct said *said, const struct reasoner *reasoner, const struct evidence *evidence,
               const struct fact *facts, size_t count);

#endif
