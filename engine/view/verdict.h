/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_VERDICT_H
#define JARSIDE_VIEW_VERDICT_H

#include <jansson.h>
#include <stdbool.h>

#include "rules/rules.h"
#include "triage/triage.h"
#include "view/screen.h"
#include "view/tree.h"

/* A verdict in words, and as JSON.
 *
 * The order is fixed: an answer to the grower's own question, the action, and the cautions for
 * health before any handling step. */
struct judged { /* a case and its verdict, passed together */
    const struct rules *rules;
    const struct triage *triage;
    const struct verdict *verdict;
};

/* The whole verdict. In brief it is at most 20 lines of 80 columns beside words that were not
 * understood: the action and why, the three likeliest contents, three causes unless it is sound,
 * three cautions, the steps; what is left out is counted. */
enum verdict_form {
    VERDICT_BRIEF,
    VERDICT_TALK,  /* the same in a conversation, which has said already what was not understood */
    VERDICT_WHOLE, /* with all cautions and all that led to it */
};
enum { CAUTION_FIRST_RANK = 10 }; /* cautions of a lower rank stand before any handling step */
void view_verdict(struct screen *screen, const struct judged *judged, enum verdict_form form);
/* Part of a verdict, by its template: "causes", what the figures say, tests, what to change;
 * "reply" to a question the grower asked, if any; "standing", which findings lead and whether the
 * action is settled; "standing.causes", which causes lead. */
void view_judged(struct screen *screen, const struct judged *judged, const char *name);
/* What was heard, for the templates "understood" (everything known so far, a line each, and what
 * was taken as absent), "understood.since" (how the last words were taken), "unread" (what was said
 * and not understood) and "unclear" (that, and what contradicts; nothing when all is clear): of the
 * facts those that have changed since the observations were `before` (one per observable; NULL:
 * all), of the words not understood those from the nth on. */
json_t *view_heard_json(const struct judged *judged, const struct observation *before, size_t nth);
void view_heard(struct screen *screen, const char *name, const struct judged *judged,
                const struct observation *before, size_t nth);

/* Appends the values of a fact: "green, white; nothing else", "dry or normal", "not wet". */
void view_values(struct text *out, const struct observable *observable, const struct fact *fact);

/* One line, tab-separated: action, leading finding, its probability. */
void view_verdict_line(struct screen *screen, const struct judged *judged);

/* The verdict as JSON, schema 1 (README.md, "For programs"). New reference. */
json_t *view_verdict_json(const struct judged *judged);

/* Shows all that is known of a finding, cause, sign, species, grain, vessel, caution or source with
 * this id (of several with one id, each), sources included. False when nothing has it. */
bool view_show(struct screen *screen, const struct rules *rules, const char *id);

/* Every id by kind, with its name. */
void view_show_all(struct screen *screen, const struct rules *rules);

/* Ids of every kind, and names ("": too long to be typed), for suggestions: writes at most
 * `most` of each and returns how many. */
size_t view_ids(const struct rules *rules, const char **ids, const char **names, size_t most);

#endif
