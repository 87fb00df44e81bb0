/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_REVIEW_INTERNAL_H
#define JARSIDE_VOICE_REVIEW_INTERNAL_H

#include "voice/review.h"

/* Says a text as a paragraph and empties it. */
void review_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                struct text *text);

#endif
