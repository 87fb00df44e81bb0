/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_MEMORY_H
#define JARSIDE_BASE_MEMORY_H

#include <stdbool.h>

/*
 * Whether the system has refused this program memory since it began.
 *
 * Every function checks what it asked for and does without; but one that goes on where it should
 * have given up makes an answer that lacks something and looks whole. So before an answer is shown,
 * a file gets its name or an act is recorded, this is asked once more.
 *
 * The linker leads the program's own requests through memory.c (--wrap in the Makefile). What a
 * library asks for does not pass here; libraries say it by what they return.
 */
bool memory_refused(void);

/* Leads Jansson's requests through here as well. Call it before the first JSON is made. */
void memory_watch_json(void);

#endif
