/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_CONSULT_INTERNAL_H
#define JARSIDE_JOURNAL_CONSULT_INTERNAL_H

#include "journal/consult.h"

/* While a triage is opened on a vessel: consult.c and its helpers only. */
struct opening {
    struct journal *journal;
    const struct rules *rules;
    struct triage *triage;
    struct arena *arena;
    struct diags *diags;
    struct consultation *at;
};

/* consult_facts.c: what the columns of the journal and its texts of facts say. */
enum status consult_columns(struct opening *opening);

/* consult_looks.c: what earlier looks saw and judged. Fills the consultation's looks first. */
enum status consult_looks(struct opening *opening);

/* consult_siblings.c: what became of the others. */
enum status consult_siblings(struct opening *opening);

/* Of a one-of whose values carry a parameter: the last value whose parameter is not above `figure`,
 * which stands for good. */
enum status consult_reached(struct opening *opening, enum feeds feeds, double figure,
                            const char *words);

#endif
