/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_LOOK_H
#define JARSIDE_CLI_LOOK_H

#include "cli/app.h"
#include "journal/consult.h"
#include "view/verdict.h"

/* A look at a vessel of the journal: 'look' saves it, 'judge' only asks what it would come to. */
struct looking {
    struct app *app;
    struct moment at;
    const char *corrected; /* the option; */
    int64_t corrects;      /* and the look it names */
    bool without_siblings, no_input, json, sure;
    const struct consult_others *others; /* counted already; or NULL */
    const char *words;                   /* what the grower said of it; "" when they have yet to */
};

/* Opens the triage on a vessel. The label is taken in capitals too. */
void look_open(const struct looking *looking, const char *label, struct consultation *consultation);

/* Opens it as its last look did, and says again what that said: what the vessel is judged to be where
 * nobody says anything new. Nothing where no look counts. */
void look_again(const struct looking *looking, struct consultation *consultation);

/* Names what was made from a vessel that is not well; nothing when nothing was. */
void look_warn_children(struct app *app, const struct vessel *vessel);

#endif
