/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_CLI_H
#define JARSIDE_CLI_CLI_H

#include "cli/app.h"

/*
 * The whole command line: finds the command, reads its options, runs it, and
 * makes sure that what was written arrived. Returns the exit status. Sets the
 * locale's LC_CTYPE (only that, so that decimals keep their point) and ignores
 * SIGPIPE, so that whoever closes the output meets an orderly end, not a sudden one.
 */
int cli_main(int argc, char **argv);

/* One command a file: cmd_NAME.c defines command_NAME; cli.c lists them. */
extern const struct command command_ask;
extern const struct command command_judge;
extern const struct command command_show;
extern const struct command command_cook;
extern const struct command command_mix;
extern const struct command command_forecast;
extern const struct command command_batch;
extern const struct command command_look;
extern const struct command command_move;
extern const struct command command_shake;
extern const struct command command_isolate;
extern const struct command command_return;
extern const struct command command_discard;
extern const struct command command_use;
extern const struct command command_confirm;
extern const struct command command_starter;
extern const struct command command_record;
extern const struct command command_correct;
extern const struct command command_list;
extern const struct command command_search;
extern const struct command command_life;
extern const struct command command_due;
extern const struct command command_labels;
extern const struct command command_rules_check;
extern const struct command command_rules_test;
extern const struct command command_rules_words;
extern const struct command command_review;
extern const struct command command_rules_learn;
extern const struct command command_journal_demo;
extern const struct command command_export;
extern const struct command command_import;
extern const struct command command_backup;
extern const struct command command_restore;
extern const struct command command_journal_check;
extern const struct command command_help;
extern const struct command command_version;

#endif
