/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_EXCHANGE_H
#define JARSIDE_CLI_EXCHANGE_H

#include "cli/app.h"

/* Builds the invented season that comes with the program into a journal of its own, for the time of
 * one command: left open as app->journal, and gone once that is closed. The rules are loaded already. */
void demo_for_now(struct app *app);

#endif
