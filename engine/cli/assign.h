/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_ASSIGN_H
#define JARSIDE_CLI_ASSIGN_H

#include "cli/app.h"

/*
 * Records by the labels that people type, and "column=value". The journal must be open. What makes no
 * sense ends the command with a message that names the nearest (cli/app.h).
 *
 * Labels are taken in capitals too ("b3-7" finds "B3-7") when no record is
 * written as typed. Vessels of one batch may be drawn together: "B3-3 B3-7",
 * "B3 3 7", "B3-3..7", "B3 3-7", "B3-3,7"; a batch alone means all its vessels.
 */
struct chosen {
    struct vessel *vessels; /* in the arena; each once, in the order named */
    size_t count;
    bool whole; /* a batch was named without its vessels */
};

/* At least one vessel is chosen. */
struct chosen labels_vessels(struct app *app, const char *const *words, size_t count);

/* How many of the words at the front name vessels: labels, and numbers, ranges and lists behind one. */
size_t labels_leading(struct app *app, const char *const *words, size_t count);

/* One record of a kind into `row`. */
void labels_find(struct app *app, enum record record, const char *label, void *row);
/* Whether there is one; `found` receives the label as it is written (borrowed from the arena). */
bool labels_has(struct app *app, enum record record, const char *label, int64_t *id,
                const char **found);

/* Ends the command where a new label is nearly one that is there, unless somebody is `sure`: "clost"
 * is no second closet. Labels with figures (S2, LC-9) are not compared. */
void labels_check_new(struct app *app, enum record record, const char *label, bool sure);

/* Why a vessel must not be shaken, used, put back or taken a starter from; NULL when nothing speaks
 * against it (events.c). In the arena. */
const char *vessel_risk(struct app *app, const struct vessel *vessel, enum event_kind kind);
/* A starter that is the grain of a vessel: the one on record, or a fresh row with what the vessel's
 * batch tells, id 0. What speaks against it ends the command. */
void starter_of_vessel(struct app *app, const char *label, struct vessel *vessel,
                       struct starter *starter);

/* The kind named by a word, singular or plural ("cook", "batches"); RECORD_COUNT when it is none. */
enum record labels_kind(const char *word);

/*
 * "column=value" as people type it: quantities with their units, moments such as
 * "yesterday", words of the rules by id or name. The rules must be loaded.
 */
struct assignment {
    const char *column; /* of the record */
    const char *value;  /* as CSV would write it (journal/journal.h) */
};

enum { ASSIGN_MOST = 2 }; /* one may set two columns: dose=4ml, the amount and its unit */

/* "3ml", "90g", "2" pieces: the amount, and its unit; NULL when it is none. */
const char *assign_inoculum(const char *word, double *amount);

/*
 * Reads one for a kind of record; how many columns it sets. A sign of the rules in place of a column
 * (venting=...) is a further fact: it sets `facts` to those of `row` so far with this added.
 */
size_t assign_read(struct app *app, enum record record, const char *typed, const void *row,
                   struct assignment assignments[ASSIGN_MOST]);

/* What a column may hold: its unit, its words or what it is, and its other names. */
const char *assign_what(struct app *app, const struct column *column);
/* Ends the command unless somebody at the terminal affirms the question: where nobody can be asked, or is to be
 * (`may_ask`), with `otherwise`, else with "nothing was saved". */
void confirm_or_stop(struct app *app, bool may_ask, const char *question, const char *otherwise);
/* An answer to a question, whose words Tab completes, in the arena; NULL where nobody gives one. */
const char *ask_once(struct app *app, const char *question, const char *const *words, size_t count);

/* What a kind of record may hold, a line a column: its other names, its unit or words. */
void assign_help(struct app *app, enum record record);

/* The index of a finding or a cause (LIST_FINDINGS, LIST_CAUSES) by what somebody calls it: its id, its name or one of its other
 * names, or an unambiguous part of these. */
size_t assign_named(struct app *app, enum word_list list, const char *words);

#endif
