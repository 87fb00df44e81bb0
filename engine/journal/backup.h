/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_BACKUP_H
#define JARSIDE_JOURNAL_BACKUP_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/status.h"
#include "journal/journal.h"

/*
 * Copies of the whole journal, and the way back.
 *
 * A backup is one SQLite file, mode 0600, with nothing beside it. It is taken
 * while others read and write, and holds the journal as it stood at one moment.
 */

/* Writes a backup. The copy is checked before it takes its name: a damaged journal gives none, and
 * STATUS_DATA. */
enum status backup_write(struct journal *journal, const char *path, bool replace,
                         struct diags *diags);

/*
 * Puts what the backup holds in the place of the journal at `path`, in one step.
 *
 * A backup that is damaged, from a newer version or of another program is
 * refused, and nothing is touched. What was at `path` before is kept beside it
 * under a dated name, which `kept` receives (malloc'd; NULL when there was none):
 * a journal as a checked copy, a damaged file as it was. Other processes that
 * have the journal open go on with what was restored.
 */
enum status backup_restore(const char *backup, const char *path, struct moment now, char **kept,
                           struct diags *diags);

#endif
