/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROMPT_INPUT_H
#define JARSIDE_PROMPT_INPUT_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Questions of one line each, for commands that lack a fact.
 *
 * Only where a person sits at both ends. Reading is that of the conversation
 * (Readline, Tab, history); one such thing can be open at a time.
 */
struct lines; /* opaque */

/* NULL where there is no terminal, or no memory. lines_close restores the terminal; NULL is fine. */
struct lines *lines_open(void);
void lines_close(struct lines *lines);

enum line_answer {
    LINE_GIVEN, /* something was typed */
    LINE_EMPTY, /* Enter alone: the default stands */
    LINE_LEFT,  /* ^C, ^D, or the terminal went away: leave all as it was */
};

/*
 * Puts "question [standing]: " (no brackets when standing is NULL or empty) and
 * reads one line. `words` are what Tab completes. On LINE_GIVEN `*answer` is
 * malloc'd, without white space around it, and the caller's. Both texts must be
 * safe to show.
 */
enum line_answer lines_ask(struct lines *lines, const char *question, const char *standing,
                           const char *const *words, size_t count, char **answer);

/* Puts a question that "y" or "yes" affirms; anything else, and leaving, is no. */
bool lines_confirm(struct lines *lines, const char *question);

/*
 * Lines from a grower: GNU Readline on a terminal, plain lines elsewhere.
 *
 * Readline keeps its state in globals, so there can be one input at a time;
 * input_open returns NULL while another is open.
 */
struct input;

enum input_result {
    INPUT_LINE,        /* a line was given */
    INPUT_INTERRUPTED, /* ^C: the line was dropped */
    INPUT_RESIZED,     /* the window changed size; ask again */
    INPUT_END,         /* ^D or the end of the stream */
    INPUT_KILLED,      /* a signal asks the program to end; input_signal tells which */
    INPUT_FAULT,       /* reading failed */
};

/* Takes the terminal; gives it back. */
struct input *input_open(void);
void input_close(struct input *input);

/* Whether a person sits at a terminal at both ends. */
bool input_is_terminal(const struct input *input);
int input_signal(const struct input *input);

/* What Tab completes from now on; the words are borrowed until the next call. */
void input_offer(struct input *input, const char *const *words, size_t count);

/* Reads one line; on INPUT_LINE `*line` is malloc'd and the caller's. */
enum input_result input_line(struct input *input, const char *prompt, char **line);

#endif
