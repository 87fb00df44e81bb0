/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_EXCHANGE_H
#define JARSIDE_CLI_EXCHANGE_H

#include "cli/app.h"

/*
 * The invented season that comes with the program, for trying things out.
 */

/* Builds it into a new journal at `path`, left open as app->journal. The rules are loaded already. */
enum status demo_at(struct app *app, const char *path);

/* The same for the time of one command: in a folder of its own, which is gone when this returns;
 * what is open of it works until it is closed. */
enum status demo_for_now(struct app *app);

#endif
