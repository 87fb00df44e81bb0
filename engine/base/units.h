/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_UNITS_H
#define JARSIDE_BASE_UNITS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

/* An uncertain number: the plausible low end, the middle, the plausible high end. */
struct range {
    double low, central, high;
};

/* Quantities as people write them: "15 psi", "1.4kg", "1 lb 8 oz", "2-3 weeks", "half an hour",
 * "72F", "5,000 ft". A comma followed by exactly three digits groups thousands; otherwise it is a
 * decimal comma.
 *
 * Inside the program every quantity is in the canonical unit of its dimension. Factors: NIST SP 811
 * (2008), appendix B.8, exact where the definition is. */
enum dimension {
    DIM_NONE,         /* a bare number */
    DIM_DAYS,         /* days; weeks, months (30.4375 d), hours */
    DIM_MINUTES,      /* minutes; hours, seconds, days */
    DIM_PERCENT,      /* 0 to 100; "a third", "half", "3/4" are understood */
    DIM_CELSIUS,      /* degrees Celsius; Fahrenheit, kelvin */
    DIM_GAUGE_KPA,    /* kilopascal above the air outside; psi, bar, kg/cm2 */
    DIM_PRESSURE_KPA, /* kilopascal absolute; hPa, mbar, mmHg, inHg, atm */
    DIM_METRES,       /* metres; feet, km */
    DIM_GRAMS,        /* grams; kg, lb, oz */
    DIM_LITRES,       /* litres; ml, US pint, quart, gallon, cup, fl oz */
    DIM_COUNT
};

struct quantity { /* a closed range in canonical units; lo == hi for one number */
    double lo, hi;
    bool unit_given; /* a unit stood there; false when the dimension's default was assumed */
};

enum quantity_error { QUANTITY_OK, QUANTITY_NO_NUMBER, QUANTITY_UNKNOWN_UNIT, QUANTITY_WRONG_UNIT };

/* Reads a quantity of `dimension` from the start of folded text (text_fold). `used` receives the
 * bytes consumed. A bare number takes the default unit of the dimension (for DIM_CELSIUS: below 45
 * means Celsius, from 45 Fahrenheit; for DIM_GAUGE_KPA: below 4 means bar, below 40 psi; with
 * unit_given false so that callers may say what was assumed).
 *
 * Numbers in words, fractions, ranges ("2-3", "two or three", "between 2 and 3") and a second,
 * smaller unit ("1 lb 8 oz", "2 h 30") are understood; "a few" is 2 to 5, "several" 3 to 7. lo <=
 * hi in any order of writing. Negative numbers are read as such and endless ones as 1e15: what is
 * possible is the caller's to say. A bare number with a unit of another dimension after it ("12
 * psi" in days) is QUANTITY_WRONG_UNIT, letters that are no unit hanging on it ("12xyz", "1e400")
 * are QUANTITY_UNKNOWN_UNIT; what stands apart from it is left to the caller, who sees it from
 * `used`. */
enum quantity_error quantity_read(const char *folded, size_t length, enum dimension dimension,
                                  struct quantity *quantity, size_t *used);

/* The same for words that are not folded; `whole`: they are nothing else. */
enum quantity_error quantity_of(const char *words, enum dimension dimension,
                                struct quantity *quantity, bool *whole);

/* The length of the quantity that begins at byte `at` of folded text, or 0: as quantity_read takes
 * it from there, but never from inside a number or a range ("2-3" does not hold a 3), nor where a
 * sign hangs on the word before. With `unit_required` its last number names a unit, except for
 * DIM_NONE. */
size_t quantity_at(const char *folded, size_t length, size_t at, enum dimension dimension,
                   bool unit_required);

/* The words quantities are made of, one by one: "days", "fl oz", "twenty"; NULL after the last. */
const char *quantity_word(size_t index);
/* The whole number below a million that words are, "6" or "six"; -1 when they are none. */
long count_read(const char *words);

/* A bit for each dimension that has a unit whose name is this word, or begins with it ("fl oz");
 * "third" is one of per cent. */
unsigned quantity_dimensions(const char *word, size_t length);

/* Appends the value as people read it: "103 kPa (15 psi)", both systems where growers use both;
 * that of $JARSIDE_TEMPERATURE (C, F), $JARSIDE_PRESSURE (psi, bar, kPa) or $JARSIDE_WEIGHT (g, kg,
 * lb, oz) first. */
void quantity_show(struct text *out, double value, enum dimension dimension);
/* A temperature in the scale that the grower reads, whose letter is told: 'C' or 'F'. */
double degrees_shown(double celsius, char *letter);
/* The short ASCII names of the canonical units, and what dimensions are called in rule files. */
extern const char *const dimension_units[DIM_COUNT]; /* "d", "min", "%", "degC" ... */
extern const char *const dimension_names[DIM_COUNT]; /* "days", "minutes" ... */

#endif
