/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROMPT_INPUT_H
#define JARSIDE_PROMPT_INPUT_H

#include <stdbool.h>
#include <stddef.h>

/* Lines from a grower: GNU Readline on a terminal, plain lines elsewhere.
 *
 * Readline keeps its state in globals, so one such thing can be open at a time. */
struct lines; /* opaque */

/* Takes the terminal; NULL while another is open and, unless `plain_ok`, where nobody sits at it. */
struct lines *lines_open(bool plain_ok);
/* Restores the terminal, and ends the program if a signal asked for it. NULL is fine. */
void lines_close(struct lines *lines);
bool lines_is_terminal(const struct lines *lines);

/* What Tab completes from now on; the words are borrowed until the next call. */
void lines_offer(struct lines *lines, const char *const *words, size_t count);

enum line_result {
    READ_LINE,        /* a line was given */
    READ_INTERRUPTED, /* ^C: the line was dropped */
    READ_RESIZED,     /* the window changed size; ask again */
    READ_END,         /* ^D or the end of the stream */
    READ_KILLED,      /* a signal asks the program to end; lines_close does */
    READ_FAILED,
};

/* Reads one line; on READ_LINE `*line` is malloc'd and the caller's. */
enum line_result lines_read(struct lines *lines, const char *prompt, char **line);
/* Takes white space off both ends, in place; returns the line. */
char *line_trim(char *line);

enum line_answer {
    LINE_GIVEN, /* something was typed */
    LINE_EMPTY, /* Enter alone: the default stands */
    LINE_LEFT,  /* ^C, ^D, or the terminal went away: leave all as it was */
};

/* Puts "question [standing]: " (no brackets when standing is NULL or empty) and reads one line.
 * `words` are what Tab completes. On LINE_GIVEN `*answer` is malloc'd, without white space around
 * it, and the caller's. Both texts must be safe to show. */
enum line_answer lines_ask(struct lines *lines, const char *question, const char *standing,
                           const char *const *words, size_t count, char **answer);

/* Puts a question that "y" or "yes" affirms; anything else, and leaving, is no. */
bool lines_confirm(struct lines *lines, const char *question);

#endif
