/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_LOOK_H
#define JARSIDE_CLI_LOOK_H

#include "cli/app.h"
#include "journal/consult.h"
#include "view/verdict.h"

/*
 * Looks at vessels of the journal, as commands take them.
 *
 * cmd_look.c saves them; cmd_judge.c only asks what a look would come to;
 * look_batch.c takes a whole batch.
 */
struct looking {
    struct app *app;
    struct moment at;
    int64_t corrects;
    bool without_siblings;
    const struct consult_others *others; /* counted already; or NULL */
    const char *words;                   /* what the grower said of it; "" when they have yet to */
};

/* Opens the triage on a vessel and tells it the words. The label is taken in capitals too. Faults are
 * shown. */
enum status look_open(const struct looking *looking, const char *label,
                      struct consultation *consultation);
enum status look_tell(const struct looking *looking, const char *words);

/* Whether anything about the vessel is known that does not come from the journal. */
bool look_says_something(const struct triage *triage);
/* What was said, fact by fact, where there was no one text. In the arena; NULL when out of memory. */
const char *look_said(const struct looking *looking);

/* "Saved: look 12 on B3-7; next look 14 March (wait)." */
void look_say_saved(const struct looking *looking, const struct consultation *consultation,
                    const struct look *look);
/* The verdict with "look", "vessel", "saved_at", "next_look" and "next_look_for" added. New
 * reference; NULL when out of memory. */
json_t *look_json(const struct looking *looking, const struct consultation *consultation,
                  const struct look *look, const struct verdict *verdict);

/* Opens the conversation on a vessel whose triage is open; `finished` tells whether the grower went
 * through with it. */
enum status look_converse(const struct looking *looking, const struct consultation *consultation,
                          bool *finished);

/* One sentence for a whole batch. */
enum status look_at_batch(struct looking *looking, const struct batch *batch);

#endif
