/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_REVIEW_STYLE_INTERNAL_H
#define JARSIDE_VOICE_REVIEW_STYLE_INTERNAL_H

/* The style of the page of a review. */
extern const char review_style[];

#endif
