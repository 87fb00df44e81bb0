/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_APP_JOURNAL_H
#define JARSIDE_CLI_APP_JOURNAL_H

#include "cli/app.h"
#include "journal/journal.h"
#include "voice/journal.h"

/*
 * The journal as commands meet it: which file, opened how, and when things
 * happened.
 */

/*
 * Opens the journal that --journal names, else journal_default_path, into
 * app->journal, where it is closed at the end. A journal that is already open stays
 * so. On a fault the diagnostics are shown and the exit status says which;
 * EXIT_FINE otherwise. Where there is none yet (READ, WRITE) the message says how
 * to start one.
 */
enum exit_status app_journal(struct app *app, enum journal_access access);
/* What a command of the journal begins with: the rules, the journal, and app->arena for all it reads
 * on the way. What is there already stays. */
enum exit_status app_open(struct app *app, enum journal_access access);
/* For telling of what was opened so; its moment is now. */
struct journal_told app_told(const struct app *app);

/* The path of that journal, malloc'd, for what does not open it. */
enum exit_status app_journal_path(struct app *app, char **path);

/* The table that --table names, which was given; a fault of use when there is none such. */
enum exit_status app_table(struct app *app, enum record *record);

/* The number from 0 on that --limit says; `limit` stays as it is when it was not given. */
enum exit_status app_limit(struct app *app, size_t *limit);

/*
 * The moment that the option `name` ("at") says, as moment_read takes it; now when it
 * was not given. A fault of use when it is no moment, or lies in the future.
 */
enum exit_status app_moment(struct app *app, const char *name, struct moment *moment);

#endif
