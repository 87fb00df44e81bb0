/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_FEED_H
#define JARSIDE_CLI_FEED_H

#include "cli/app.h"

/*
 * Writes the looks that are due as a calendar to `path` ("-": standard output) and
 * says so. Takes --remind and --force from the command's options, if it has
 * them, and opens the journal.
 */
enum exit_status feed_write(struct app *app, const char *path);

#endif
