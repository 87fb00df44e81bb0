/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_VERDICT_INTERNAL_H
#define JARSIDE_VOICE_VERDICT_INTERNAL_H

#include "voice/verdict.h"

/* Appends the values of a fact: "green, white; nothing else", "dry or normal", "not wet". */
void verdict_values(struct text *out, const struct observable *observable, const struct fact *fact);

#endif
