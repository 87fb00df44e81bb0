/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_TABLE_H
#define JARSIDE_VOICE_TABLE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "voice/screen.h"

/*
 * Rows in columns, as wide as they need to be. Of what does not fit the last
 * column is cut, with an ellipsis; where not even its heading fits, each row becomes a
 * few wrapped lines. Cells are made safe on their way in.
 */
enum { TABLE_MOST = 10 };

struct table {
    struct arena *arena;
    const char *const *headings;
    size_t columns;
    bool ascii;
    const char *(*rows)[TABLE_MOST];
    size_t count, room;
    size_t widths[TABLE_MOST];
    bool failed; /* out of memory: rows are missing */
};

/* An empty table for this screen. `headings` must outlive it; at most TABLE_MOST of them. */
void table_init(struct table *table, const struct screen *screen, const char *const *headings,
                size_t columns, struct arena *arena);
/* One row: as many cells as there are headings; NULL counts as empty. Copied into the arena. */
void table_row(struct table *table, const char *const *cells);
/* Writes the headings and the rows; nothing for no rows. */
void table_show(const struct table *table, struct screen *screen);

#endif
