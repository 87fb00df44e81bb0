/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_CLI_H
#define JARSIDE_CLI_CLI_H

#include "cli/app.h"

/*
 * The whole command line: finds the command, reads its options, runs it, and
 * makes sure that what was written arrived. Exits with the status. Sets the
 * locale's LC_CTYPE (only that, so that decimals keep their point) and ignores
 * SIGPIPE, so that whoever closes the output meets an orderly end, not a sudden one.
 */
_Noreturn void cli_main(int argc, char **argv);

/* The commands of each file; the last one has no name. */
extern const struct command judge_commands[], plan_commands[], batch_commands[], look_commands[],
    event_commands[], record_commands[], exchange_commands[], rules_commands[], review_commands[],
    config_commands[], help_commands[], hidden_commands[];

/* The next command in the order of the help; the first after NULL, NULL after the last. */
const struct command *command_next(const struct command *command);
/* The command that is named first, in `words` words, or behind nothing but its options, whose number is
 * `leading`; NULL when none is. */
const struct command *command_behind(int argc, char **argv, int *leading, int *words);
/* What every command takes. */
extern const struct option common_options[];
/* What the program is, and what its exit statuses mean. */
extern const char help_about[], help_exit[];

#endif
