/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_LEARN_H
#define JARSIDE_REVIEW_LEARN_H

#include "base/diag.h"
#include "base/memory.h"
#include "base/text.h"
#include "journal/journal.h"
#include "rules/rules.h"

/*
 * What confirmed outcomes teach: counts for the `learned` section of a rule base.
 *
 * Every vessel with a standing outcome counts once: with the signs of its last
 * standing look before the outcome (of its last look, when none came before), as
 * the grower said them then, and with its cause when that is known. What was said
 * with doubt is not counted, nor what records or computations added. The counts
 * are made anew from the whole journal each time, so that nothing counts twice.
 */

enum { LEARN_STRENGTH = 20 }; /* vessels that the shipped figures count as; expert judgement */

/* Counts; arrays are in the arena. Outcomes of findings that the rules do not know are left out. */
enum status learn_count(struct journal *journal, const struct rules *rules, struct arena *arena,
                        struct learned *learned);

/* As a rule file: a comment that says what it is, and the section. */
void learn_write(const struct learned *learned, const struct rules *rules, const char *day,
                 struct text *yaml);

#endif
