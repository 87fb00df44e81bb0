/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_CALENDAR_H
#define JARSIDE_JOURNAL_CALENDAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/text.h"
#include "journal/journal.h"

/* The looks that are due, as a calendar (RFC 5545) that other programs show.
 *
 * One event a batch and day, all-day, that names the vessels and why they are to
 * be looked at. Its UID stays the same for as long as the batch is due on that
 * day, so that a calendar which reads the file again moves nothing twice. It
 * takes no time of the day from anybody. With a `remind`, minutes after midnight,
 * an alarm goes off then; -1 for none. */
enum { CALENDAR_NO_ALARM = -1 };

struct calendar_options {
    struct moment now; /* DTSTAMP: the same journal and `now` give the same bytes */
    int64_t until;     /* days since 1970-01-01: later looks are left out; INT64_MAX for all */
    int remind;
};

/* Appends the calendar; `events` receives how many there are. Without any it is a calendar all the
 * same, for those who fetch it again and again. */
enum status calendar_text(struct journal *journal, const struct calendar_options *options,
                          struct text *out, size_t *events, struct diags *diags);

#endif
