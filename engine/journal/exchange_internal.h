/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_EXCHANGE_INTERNAL_H
#define JARSIDE_JOURNAL_EXCHANGE_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"
#include "journal/journal.h"

/* What export and import agree on. */

/* Whether CSV files hold the column: all but what the journal derives from other records. */
bool exchange_carries(enum record record, const struct column *column);
/* Whether it is the day of the next look, which files hold as a date. */
bool exchange_is_due(enum record record, const struct column *column);
/* Whether its values are words, that a spreadsheet may take for formulas. */
bool exchange_is_text(const struct column *column);
/* Whether records of the kind have labels to be known by. */
bool exchange_has_label(enum record record);

/* Appends a text with an apostrophe in front where one is needed. */
void exchange_guard(struct text *out, const char *bytes, size_t length);
/* How many bytes to leave out at the front of a text as it stands in a file: 1 or 0. */
size_t exchange_guarded(const char *bytes, size_t length);

/* Appends a value as a file holds it, but for guard and quotes. */
enum status exchange_show(struct journal *journal, enum record record, const struct column *column,
                          const void *row, struct text *out, struct diags *diags);

#endif
