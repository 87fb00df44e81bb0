/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_FACTS_H
#define JARSIDE_TRIAGE_FACTS_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"
#include "triage/triage.h"

/*
 * Facts as JSON, and back: how a verdict shows what was understood, and how a look
 * is kept.
 *
 *     [{"sign": "day", "value": "d8_14", "seen": true, "from": "day 12", "origin": "text",
 *       "hedged": false, "number": {"lo": 12, "hi": 12, "unit": "d"}}, ...]
 *
 * One row a value that was seen or denied. Values that records remembered have
 * the origin "journal" and stand `from` there.
 */

/* All that is known now. New reference; NULL out of memory. */
json_t *facts_json(const struct triage *triage);

/* One observable of a kept array, its rows put together. */
struct kept_fact {
    size_t observable;
    struct observation observation;
    bool has_number;
    struct quantity number;
};

/*
 * Reads such an array: what was said then, not what was remembered or worked out
 * then. What the rules no longer know is left out. STATUS_DATA when the text is
 * no such array, STATUS_MEMORY.
 */
enum status facts_read(const struct rules *rules, const char *text, struct arena *arena,
                       const struct kept_fact **facts, size_t *count);

#endif
