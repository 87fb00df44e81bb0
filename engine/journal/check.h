/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_CHECK_H
#define JARSIDE_JOURNAL_CHECK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "journal/journal.h"
#include "rules/rules.h"

/*
 * Everything about a journal that can be wrong, looked for without changing it.
 *
 * The file: SQLite's own integrity check, references that lead nowhere. What
 * stands in it: values that the columns do not allow, text that is none, dates
 * that cannot be or come in an impossible order, corrections that do not fit
 * what they correct, notes of a look that do not parse, and everything derived
 * compared with a fresh derivation. With rules, also words that they do not
 * know: those are warnings, since a journal outlives its rules.
 */
struct check_fault {
    bool warning;
    enum record record;  /* RECORD_COUNT: the file itself */
    int64_t id;          /* of the record; 0 when it is about the file */
    const char *label;   /* of the record, safe to show; "" when it has none */
    const char *message; /* safe to show; valid during the call */
};

struct check_sink {
    void *context;
    void (*tell)(void *context, const struct check_fault *fault);
};

struct check_tally {
    size_t errors, warnings;
    size_t records; /* looked at */
};

/* `rules` may be NULL. STATUS_OK when the check could be done, whatever it found;
 * a file whose pages are damaged is told and looked at no further. */
enum status check_journal(struct journal *journal, const struct rules *rules, struct moment now,
                          const struct check_sink *sink, struct check_tally *tally,
                          struct diags *diags);

#endif
