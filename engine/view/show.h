/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_SHOW_H
#define JARSIDE_VIEW_SHOW_H

#include <stdbool.h>

#include "rules/rules.h"
#include "view/screen.h"

/* Shows all that is known of a finding, cause, sign, species, grain, vessel, caution or source with
 * this id (of several with one id, each), sources included. False when nothing has it. */
bool view_show(struct screen *screen, const struct rules *rules, const char *id);

/* Every id by kind, with its name. */
void view_show_all(struct screen *screen, const struct rules *rules);

/* Ids of every kind, for suggestions: writes at most `most` into `ids` and returns how many. */
size_t view_ids(const struct rules *rules, const char **ids, size_t most);

#endif
