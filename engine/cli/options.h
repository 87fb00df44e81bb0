/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_OPTIONS_H
#define JARSIDE_CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"

/*
 * Command lines, read by table: the table that parses is the table that helps.
 */
struct option {
    const char *name;     /* without dashes; NULL ends a table */
    const char *argument; /* what stands behind it, for help; NULL for a flag */
    const char *help;
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
};

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

/* Whether the option was given, with a value or without. */
bool arguments_flag(const struct arguments *arguments, const char *name);
/* The last value given, or NULL. */
const char *arguments_value(const struct arguments *arguments, const char *name);
/* The nth value given (from 0), or NULL. */
const char *arguments_nth(const struct arguments *arguments, const char *name, size_t nth);

#endif
