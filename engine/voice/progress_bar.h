/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_PROGRESS_BAR_H
#define JARSIDE_VOICE_PROGRESS_BAR_H

#include <stdbool.h>
#include <stdio.h>

#include "journal/progress.h"

/*
 * One line on a terminal that says how far a long job has come, and goes away
 * when it ends. On anything but a terminal it is silent.
 */
struct progress_bar {
    FILE *stream;
    bool terminal;
    bool drawn; /* something stands on the line */
    int shown;  /* the share drawn last, per cent; -1 for none */
    int width;  /* of the terminal */
};

/* Does nothing visible yet. The bar must outlive whoever is told of it. */
void progress_bar_init(struct progress_bar *bar, FILE *stream);
/* What to hand to a long job. Jobs of a few hundred kilobytes are over before one could read a bar:
 * it shows nothing for a total below PROGRESS_BAR_LEAST. */
struct progress progress_bar_listener(struct progress_bar *bar);
/* Wipes the line. */
void progress_bar_clear(struct progress_bar *bar);

enum { PROGRESS_BAR_LEAST = 1 << 20 };

#endif
