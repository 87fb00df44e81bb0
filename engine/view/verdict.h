/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_VERDICT_H
#define JARSIDE_VIEW_VERDICT_H

#include <jansson.h>
#include <stdbool.h>

#include "rules/rules.h"
#include "triage/triage.h"
#include "view/screen.h"

/*
 * A verdict in words, and as JSON.
 *
 * The parts may be shown one by one (the prompt does). The order is fixed: the
 * action first, and the cautions for health before any handling step.
 */
struct judged { /* a case and its verdict, passed together */
    const struct rules *rules;
    const struct triage *triage;
    const struct verdict *verdict;
};

/* The action and why in a sentence: the likeliest finding, or the floor that decided. */
void view_action(struct screen *screen, const struct judged *judged);
/* The cautions that apply: those shown before any handling step, and the later ones. */
enum { CAUTION_FIRST_RANK = 10 };
void view_cautions_first(struct screen *screen, const struct judged *judged);
void view_cautions_later(struct screen *screen, const struct judged *judged);
/* The likeliest findings and causes, at most `most` of each, none below one per cent. */
void view_findings(struct screen *screen, const struct judged *judged, size_t most);
void view_causes(struct screen *screen, const struct judged *judged, size_t most);
/* What to do now, numbered. */
void view_steps(struct screen *screen, const struct judged *judged);
/* What to change next time, for the causes that are likely. */
void view_changes(struct screen *screen, const struct judged *judged);
/* Which answers weigh how much, for the leader against its best rival. */
void view_evidence(struct screen *screen, const struct judged *judged);
/* Which answers would turn the action. */
void view_turns(struct screen *screen, const struct judged *judged);
/* What process physics computed from the case, with its assumptions. */
void view_computed(struct screen *screen, const struct judged *judged);
/* Of what became of the vessel's siblings, the group that moves most, if it moves anything much. */
void view_siblings_briefly(struct screen *screen, const struct judged *judged);
/* Tests that would separate the leading causes. */
void view_tests(struct screen *screen, const struct judged *judged, size_t most);
/* Everything known so far, a line each. */
void view_understood(struct screen *screen, const struct judged *judged);
/* What has changed since the observations were `before` (one per observable): how the last words were taken. */
void view_understood_since(struct screen *screen, const struct judged *judged,
                           const struct observation *before);
/* What was said and not understood, from the nth such words on, and what contradicts; nothing when
 * all is clear. */
void view_unclear_since(struct screen *screen, const struct judged *judged, size_t nth);
void view_unclear(struct screen *screen, const struct judged *judged);
/* One or two lines: what leads, and whether the action is settled. */
void view_standing(struct screen *screen, const struct judged *judged);
/* The same for the causes, once the action is settled. */
void view_standing_causes(struct screen *screen, const struct judged *judged);

/* The whole: the action and why, what is likely inside, the cautions for health, what to do. In brief
 * at most three cautions, the others counted; explained with all of them and all that led to it. */
void view_verdict(struct screen *screen, const struct judged *judged, bool explain);

/* One line, tab-separated: action, leading finding, its probability. */
void view_verdict_line(struct screen *screen, const struct judged *judged);

/* "8 times as likely", "1.5 times less likely": what a natural logarithm of odds says. Into `room`. */
enum { ODDS_ROOM = 32 };
const char *view_odds(double log_odds, char room[ODDS_ROOM]);
/* "96 %", "under 1 %", "over 99 %": into `room`, which is returned. */
enum { PERCENT_ROOM = 16 };
const char *view_percent(double p, char room[PERCENT_ROOM]);

/* The verdict as JSON, schema 1 (README.md, "For programs"). New reference. */
json_t *view_verdict_json(const struct judged *judged);

#endif
