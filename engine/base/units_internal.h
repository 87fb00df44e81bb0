/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_UNITS_INTERNAL_H
#define JARSIDE_BASE_UNITS_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/units.h"

/* A spelling of a unit in folded text, and what makes it canonical: value * factor + offset. */
struct unit {
    const char *name;
    enum dimension dimension;
    double factor, offset;
};

/* The longest unit of `dimension` that stands at the start and ends there; NULL if none does. */
const struct unit *unit_at(const char *folded, size_t length, enum dimension dimension);
/* Whether a unit of any dimension but this one stands there and ends there. */
bool unit_of_others_at(const char *folded, size_t length, enum dimension dimension);

/* What stood where a number was expected. */
enum number_kind {
    NUMBER_NONE,
    NUMBER_ARTICLE, /* "a": one, but only in front of a unit */
    NUMBER_PART,    /* "half", "two thirds": a share, or a part of a unit */
    NUMBER_RATIO,   /* "3/4" */
    NUMBER_PLAIN,
};

struct number {
    enum number_kind kind;
    double lo, hi; /* "a few" is a range */
};

/* Reads a number at the start of folded text; returns the bytes used, 0 for none. */
size_t number_read(const char *folded, size_t length, struct number *number);
/* Digits or number words up to ninety-nine, without a sign. */
size_t number_read_simple(const char *folded, size_t length, double *value);
/* "half", "two thirds" as a share of one. */
size_t number_read_share(const char *folded, size_t length, double *value);
/* Whether the word at the start names a part: "half", "quarters", "third". */
bool number_part_at(const char *folded, size_t length);

/* The words of numbers, one after the other; NULL: no more. */
const char *number_word(size_t index);

/* The length of the first of `words` that `folded` starts with, 0 if none; NULL ends the list. */
size_t word_at(const char *folded, size_t length, const char *const *words);
/* Whether a letter, a digit or an underscore stands at the start. */
bool word_continues(const char *folded, size_t length);

#endif
