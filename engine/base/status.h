/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_STATUS_H
#define JARSIDE_BASE_STATUS_H

/*
 * What a function that can fail returns, and what the program exits with.
 *
 * Functions below cli/ and prompt/ never print and never exit: they return a
 * status and, where a person should read why, add a line to a diagnostic list
 * (base/diag.h). The numbers of the exit statuses follow sysexits.h where it
 * has one and are documented in README.md.
 */
enum status {
    STATUS_OK = 0,
    STATUS_DATA,     /* what was read is not what it should be */
    STATUS_USAGE,    /* the caller's words are off */
    STATUS_IO,       /* the file system, a pipe or the journal said no */
    STATUS_CLOSED,   /* whoever read the output has closed it and wants no more */
    STATUS_MEMORY,   /* an allocation failed */
    STATUS_INTERNAL, /* a bug: an invariant does not hold */
};

enum exit_status {
    EXIT_FINE = 0,
    EXIT_CHECK_FAILED = 1, /* the program worked; what it checked did not hold */
    EXIT_USAGE = 2,
    EXIT_DATA = 65,
    EXIT_INTERNAL = 70,
    EXIT_IO = 74,
    EXIT_CLOSED = 141, /* 128 + SIGPIPE: what a shell says of a program that SIGPIPE ended */
};

/* The exit status for a status; memory exhaustion and bugs are EXIT_INTERNAL. */
enum exit_status status_exit(enum status status);

#endif
