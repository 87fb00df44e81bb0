/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_ASSIGN_H
#define JARSIDE_CLI_ASSIGN_H

#include "base/arena.h"
#include "cli/app_journal.h"

/*
 * "column=value" as people type it: quantities with their units, moments such as
 * "yesterday", words of the rules by id or name. The rules must be loaded.
 */
struct assignment {
    const char *column; /* of the record */
    const char *value;  /* as CSV would write it (journal/journal.h) */
};

enum { ASSIGN_MOST = 2 }; /* one may set two columns: dose=4ml, the dose and its unit */

/*
 * Reads one for a kind of record. A sign of the rules in place of a column (venting=...) is a
 * further fact: it sets `facts` to `facts` so far with this added. Messages name the nearest.
 */
enum exit_status assign_read(struct app *app, enum record record, const char *typed,
                             const char *facts, struct arena *arena,
                             struct assignment assignments[ASSIGN_MOST], size_t *count);

/* The id of a finding, a cause by what somebody calls it: its id, its name or one of its other
 * names, or an unambiguous part of these. RULES_NONE with a message that suggests the nearest. */
int assign_finding(struct app *app, const char *words);
int assign_cause(struct app *app, const char *words);

#endif
