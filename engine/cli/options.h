/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_OPTIONS_H
#define JARSIDE_CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/units.h"
#include "journal/record.h"

/*
 * Command lines, read by table: the table that parses is the table that helps, checks and fills
 * the struct of the command. A row reads
 *
 *     {"gauge", "PRESSURE", "of a new cook: 14psi, 1bar", OPTION_AMOUNT,
 *      .target = offsetof(struct given, gauge), .dimension = DIM_GAUGE_KPA},
 *
 * and {0} ends the table. The command begins: struct given given = {...what holds when nothing is
 * said...}; options_fill(app, &given). A value that makes no sense ends the program with a message.
 */
struct app;

enum option_kind {
    OPTION_FLAG,     /* bool: whether it was given */
    OPTION_TEXT,     /* const char *, as typed; what it means is the command's business */
    OPTION_TEXTS,    /* struct texts: every time it was given, in order */
    OPTION_COUNT,    /* size_t from `low` to `high` (0: no bound) */
    OPTION_NUMBER,   /* double from `low` to `high` (0: no bound) */
    OPTION_QUANTITY, /* double in the unit of its dimension; a range stands for its middle */
    OPTION_AMOUNT,   /* the same, not negative */
    OPTION_DATE,     /* const char *: an ISO date */
    OPTION_DAY,      /* int64_t: the day of any moment (moment_day), or of tomorrow */
    OPTION_MOMENT,   /* struct moment, not in the future; now when it was not given */
    OPTION_CLOCK,    /* int: minutes after midnight */
    OPTION_CHOICE,   /* int: which of `words` */
    OPTION_ID,       /* int: which of a list of the rules, by its id */
    OPTION_VESSEL,   /* struct known_vessel; a row for its grams goes behind it */
    OPTION_TABLE,    /* enum record, by its name */
};

struct option {
    const char *name;     /* without dashes; NULL ends a table */
    const char *argument; /* what stands behind it, for help; NULL for a flag */
    const char *help;
    enum option_kind kind;
    size_t target;            /* offset in the command's struct */
    enum dimension dimension; /* of a quantity, an amount */
    enum word_list list;      /* of an id */
    double low, high;         /* of a count, a number */
    const char *const *words; /* of a choice; ends with NULL */
    char letter;              /* 'h' for one that is also -h; or 0 */
    bool settled;             /* the setting of that name stands for it when it is not given */
};

struct texts {
    const char **words;
    size_t count;
};

struct option_given {
    const struct option *option;
    const char *value; /* NULL for a flag */
};

struct arguments {
    struct option_given *given; /* in order; points into argv */
    size_t given_count;
    const char **operands;
    size_t operand_count;
    const char **texts; /* what OPTION_TEXTS point into */
    size_t text_count;
};

/* The option that "--name", "--name=value" or "-n" names; NULL when the table has none. */
const struct option *option_find(const struct option *table, const char *word);

/*
 * Reads `argv` (without the command's own name) by two tables: the command's
 * and the common one. "--name value", "--name=value", "-h", "--" and "-" are
 * understood; options and operands may mix. STATUS_USAGE with a message in
 * `diags`, the nearest name suggested.
 */
enum status arguments_read(struct arguments *arguments, int argc, char **argv,
                           const struct option *own, const struct option *common,
                           struct diags *diags);
void arguments_release(struct arguments *arguments);

/*
 * Fills `target` with the options given of the command at hand, in the order of its table, and
 * checks them. What was not given stays as it is, but for moments. Ids and vessels
 * need the rules, so a table with such rows is read after app_load.
 */
void options_fill(struct app *app, void *target);
/* The same from any table. */
void options_fill_from(struct app *app, const struct option *table, void *target);

/* One value into the place it is for, checked. */
void option_read(struct app *app, const struct option *option, const char *word, void *target);

/* A quantity or an amount whose dimension only the rest of the command line tells; `name` is that
 * of the option, for the message. */
double option_measure(struct app *app, const char *name, const char *words, enum option_kind kind,
                      enum dimension dimension);

/* The unit that the settings give a bare number of a dimension, or NULL. */
const char *option_unit(struct app *app, enum dimension dimension);

/* The index of an id in a list of the rules; the nearest is suggested. */
int option_id(struct app *app, const char *name, const char *word, enum word_list list);

/* "oyster, rye, wheat": the first `count` words with a separator between, in the arena. */
const char *option_words(struct app *app, const char *const *words, size_t count,
                         const char *separator);

#endif
