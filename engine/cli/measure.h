/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_MEASURE_H
#define JARSIDE_CLI_MEASURE_H

#include "base/units.h"
#include "cli/app.h"
#include "process/limits.h"
#include "triage/physics.h"

/*
 * Options that are quantities, vessels, dates, logs: what the planning commands
 * share. An option not given leaves its target untouched. What cannot be read or
 * cannot be is a fault of the data given (EXIT_DATA) that names the option.
 */

/* A quantity with its unit; a range stands for its middle. A bare number is accepted for minutes,
 * days, per cent and counts only, where no two units are in use. */
enum exit_status option_quantity(struct app *app, const char *name, enum dimension dimension,
                                 double *value);
/* The same for something that may not be negative. */
enum exit_status option_amount(struct app *app, const char *name, enum dimension dimension,
                               double *value);

/* The index of an id in a list of the rules; the nearest is suggested. */
enum exit_status option_species(struct app *app, int *index);
enum exit_status option_grain(struct app *app, int *index);

/*
 * --vessel: an id; bag:1.36kg or jar:500g (the nearest kind, filled so); jar:1quart (by volume);
 * bag:20x12x8cm or jar:9x12cm (diameter and height of the filled grain). --mass says the grams.
 */
enum exit_status option_vessel(struct app *app, struct known_vessel *vessel);

/* Grain: --grain, --own-moisture, --moisture, --dry, --water. */
enum exit_status option_mix(struct app *app, struct known_grain *grain);

/* An ISO date; NULL when not given. */
enum exit_status option_date(struct app *app, const char *name, const char **date);

/*
 * Reads a temperature log (process/probe.h), handing each reading to `reading`. `path` may be "-".
 * --probe-unit says C or F when the log does not.
 */
enum exit_status read_log(struct app *app, const char *path,
                          bool (*reading)(void *context, double minutes, double celsius),
                          void *context);

/* Adds a fault of an option's value and fails with EXIT_DATA. */
enum exit_status option_fault(struct app *app, const char *name, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The bound an option broke. */
enum exit_status option_refused(struct app *app, const struct physics_refusal *refusal);

#endif
