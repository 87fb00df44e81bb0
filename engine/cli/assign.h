/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_ASSIGN_H
#define JARSIDE_CLI_ASSIGN_H

#include "base/memory.h"
#include "base/units.h"
#include "cli/app.h"
#include "process/limits.h"
#include "triage/physics.h"

/*
 * Options that are quantities, vessels, dates, logs: what the planning commands
 * share. An option not given leaves its target untouched. What cannot be read or
 * cannot be is a fault of the data given (STATUS_DATA) that names the option.
 */

/* A quantity with its unit; a range stands for its middle. A bare number is accepted for minutes,
 * days, per cent and counts only, where no two units are in use. */
enum status option_quantity(struct app *app, const char *name, enum dimension dimension,
                            double *value);
/* The same for something that may not be negative. */
enum status option_amount(struct app *app, const char *name, enum dimension dimension,
                          double *value);

/* The index of an id in a list of the rules; the nearest is suggested. */
enum status option_species(struct app *app, int *index);
enum status option_grain(struct app *app, int *index);

/*
 * --vessel: an id; bag:1.36kg or jar:500g (the nearest kind, filled so); jar:1quart (by volume);
 * bag:20x12x8cm or jar:9x12cm (diameter and height of the filled grain). --mass says the grams.
 */
enum status option_vessel(struct app *app, struct known_vessel *vessel);

/* Grain: --grain, --own-moisture, --moisture, --dry, --water. */
enum status option_mix(struct app *app, struct known_grain *grain);

/* An ISO date; NULL when not given. */
enum status option_date(struct app *app, const char *name, const char **date);

/*
 * Reads a temperature log (process/probe.h), handing each reading to `reading`. `path` may be "-".
 * --probe-unit says C or F when the log does not.
 */
enum status read_log(struct app *app, const char *path,
                     bool (*reading)(void *context, double minutes, double celsius), void *context);

/* Until every command fills its struct from its table: what options_fill does, one at a time. */
enum status app_limit(struct app *app, size_t *limit);
enum status app_moment(struct app *app, const char *name, struct moment *moment);
enum status app_table(struct app *app, enum record *record);

/* The bound an option broke. */
enum status option_refused(struct app *app, const struct physics_refusal *refusal);

/*
 * Records by the labels that people type. The journal must be open.
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

/* STATUS_USAGE with a message that names what is not known. At least one vessel is chosen. */
enum status labels_vessels(struct app *app, const char *const *words, size_t count,
                           struct chosen *chosen);

/* One record of a kind into `row`; the nearest label is suggested. */
enum status labels_find(struct app *app, enum record record, const char *label, void *row);
/* Whether there is one; `found` receives the label as it is written (borrowed from the arena). */
bool labels_has(struct app *app, enum record record, const char *label, int64_t *id,
                const char **found);

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

enum { ASSIGN_MOST = 2 }; /* one may set two columns: dose=4ml, the dose and its unit */

/*
 * Reads one for a kind of record. A sign of the rules in place of a column (venting=...) is a
 * further fact: it sets `facts` to those of `row` so far with this added. Messages name the nearest.
 */
enum status assign_read(struct app *app, enum record record, const char *typed, const void *row,
                        struct assignment assignments[ASSIGN_MOST], size_t *count);

/* The index of a finding, a cause by what somebody calls it: its id, its name or one of its other
 * names, or an unambiguous part of these; the nearest is suggested. */
enum status assign_finding(struct app *app, const char *words, int *index);
enum status assign_cause(struct app *app, const char *words, int *index);

#endif
