/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROMPT_PROMPT_H
#define JARSIDE_PROMPT_PROMPT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "rules/rules.h"
#include "triage/triage.h"
#include "view/screen.h"

/* The conversation: from what a grower sees to a verdict, a question at a time.
 *
 * On a terminal it uses GNU Readline (application name "jarside" for ~/.inputrc); elsewhere it
 * reads plain lines. It starts from free text or from questions, settles the action first, then
 * offers to look for the cause. */
struct prompt_opening {
    const struct rules *rules;
    struct triage *triage;    /* may already hold facts; keeps what is learnt */
    struct screen *screen;    /* of standard output */
    const char *const *words; /* a first description, or none */
    size_t word_count;
    const char *about; /* what is being looked at and what is on record of it, or NULL */
    bool *finished;    /* set when the grower leaves by a word, not by ^D; or NULL */
};

/* Runs until the grower leaves, the input ends, or it cannot be read or shown: STATUS_IO with a
 * message in `diags` when output fails, else STATUS_OK. Restores the terminal. */
enum status prompt_converse(const struct prompt_opening *opening, struct diags *diags);

#endif
