/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_SHEET_H
#define JARSIDE_VOICE_SHEET_H

#include <stdbool.h>

#include "base/text.h"

/*
 * Pages to print: one HTML file without scripts, pictures or anything from
 * elsewhere. Text reaches them through html_text (voice/html.h).
 */
enum paper { PAPER_A4, PAPER_LETTER }; /* ISO 216; ANSI/ASME Y14.1 size A */

/* "a4" or "letter", in any case; false when it is neither. */
bool sheet_paper(const char *word, enum paper *paper);

/* Head and foot of a page. `style` is CSS, ours, after that of every page. */
void sheet_begin(struct text *html, const char *title, enum paper paper, const char *style);
void sheet_end(struct text *html);

#endif
