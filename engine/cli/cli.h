/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_CLI_H
#define JARSIDE_CLI_CLI_H

/*
 * The whole command line: finds the command, reads its options, runs it, and
 * makes sure that what was written arrived. Returns the exit status. Sets the
 * locale's LC_CTYPE (only that, so that decimals keep their point) and ignores
 * SIGPIPE, so that whoever closes the output meets an orderly end, not a sudden one.
 */
int cli_main(int argc, char **argv);

#endif
