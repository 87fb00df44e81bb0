/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROMPT_INPUT_INTERNAL_H
#define JARSIDE_PROMPT_INPUT_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

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
