/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What units_read.c reads, as PCRE2 source. The pieces are string literals put
 * together by the compiler; groups that must not give back what they took are
 * atomic, as the reader never goes back into a number.
 */
#include "base/units.h"

/* ---- numbers -----------------------------------------------------------------------------------
 */

#define ONES  "(?:one|two|three|four|five|six|seven|eight|nine)\\b"
#define TENS  "(?:twen|thir|for|fif|six|seven|eigh|nine)ty\\b"
#define TEENS "(?:ten|eleven|twelve|(?:thir|four|fif|six|seven|eigh|nine)teen)\\b"
/* One to ninety-nine. */
#define WORDS "(?:" TENS "(?:[- ]" ONES ")?|" TEENS "|" ONES ")"
/* A comma groups thousands before exactly three figures, else it is a decimal comma. */
#define DIGITS   "(?:(?:[1-9]\\d{0,2}(?:,\\d{3})+(?!\\d|,\\d)|\\d+)(?:[.,]\\d+)?|\\.\\d+)"
#define RATIO    "\\d{1,3}/[1-9]\\d{0,2}(?!\\d)"
#define HUNDREDS "(?:" WORDS "|a(?= hundred\\b))(?: hundred\\b(?:(?: and)? " WORDS ")?)?"
#define SOME     "(?:an? )?(?:couple(?: of)?|few|dozen)\\b|several\\b"
#define SIGN     "(?:(?<![\\w)])[-+]|minus )?"
#define AND_PART " and (?:a half|a quarter|three quarters)\\b"
#define PLAIN                                                                                      \
    "(?>" SIGN "(?:" RATIO "|(?:" DIGITS "(?:[- ]" RATIO ")?|" HUNDREDS ")(?:" AND_PART            \
    ")?)|" SOME ")"
#define SIMPLE "(?>" DIGITS "|" WORDS ")"

/* Halves and quarters of a unit; shares, which are quantities by themselves. */
#define PART "(?:(?:an?|one|two|three)[- ])?(?:half|quarters?)\\b(?:(?: of)? an?\\b)?"
#define SHARE                                                                                      \
    "(?>(?:an?|" ONES                                                                              \
    ")[- ](?:half|quarters?|thirds?|fourths?|fifths?|sixths?|eighths?|tenths?)\\b"                 \
    "|half\\b|quarter\\b)"

/* ---- a quantity around its units ---------------------------------------------------------------
 */

/* Never from inside a number such as 1.5 or 1,500. */
#define START     "(?<!\\d|\\d[.,/:])"
#define SEPARATOR "(?: ?- ?| to | or )"
#define NO_BARE_A "(?<!\\ba|\\ban)"
#define END       "(?!\\w)"
/* A bare number: not an article or a part alone, and nothing hangs on it. */
#define BARE "(?!\\w|[.,/]\\d)"
#define BARE_NO_PART                                                                               \
    "(?<!\\ba|\\ban|(?<!and a )half|(?<!and a )quarter|(?<!and three )quarters)"                   \
    "(?![- ](?:half|quarters?|thirds?|fourths?|fifths?|sixths?|eighths?|tenths?)\\b)" BARE

#define JOINED(units) "[ -]?(?<![a-z])(?:" units ")"
#define FROM(units)                                                                                \
    "(?:(?:" PART "|" PLAIN "|an?)(?:" JOINED(units) END                                           \
        ")?" NO_BARE_A SEPARATOR "|between " SIMPLE "(?:" JOINED(units) END ")? and )?"
#define OR_MORE "(?: or (?:two|three)\\b)?"
#define REQUIRED(units, tail)                                                                      \
    START FROM(units) "(?:" PART "|" PLAIN "|an?)" JOINED(units) "(?:" tail "|" END ")" OR_MORE
#define OPTIONAL(units, tail)                                                                      \
    START FROM(units) "(?:" PART "|" PLAIN "|an?)(?:" JOINED(units) "(?:" tail "|" END ")" OR_MORE \
                                                                    "|" BARE_NO_PART ")"

/* ---- the dimensions ----------------------------------------------------------------------------
 */

#define DAYS "d|days?|nights?|wks?|weeks?|fortnights?|mos?|months?|yrs?|years?|h|hrs?|hours?"
/* "2 weeks and 3 days": the lookbehind lets only weeks and months have days. */
#define DAYS_TAIL "(?<=k|ks|th|ths)(?: and)? " SIMPLE JOINED("d|days?") END "|" AND_PART

#define MINUTES "m|mins?|minutes?|h|hrs?|hours?|secs?|seconds|days?"
#define MINUTES_TAIL                                                                               \
    "(?<=h|r|rs)(?:(?:(?: and)? )?" SIMPLE JOINED("m|mins?|minutes?") END                          \
        "|[0-5]\\d" BARE "| [0-5]\\d" BARE                                                         \
        "(?=$|[.,;:!?)]| (?:at|in|for|under|with|on)\\b))|" AND_PART

#define DEGREE "\xC2\xB0"
#define CELSIUS                                                                                    \
    "(?:(?:" DEGREE                                                                                \
    "|deg(?:ree)?s?\\b) ?|deg(?=[cf]\\b))?(?:c|f|k|celsius|centigrade|fahrenheit|kelvin)" END      \
    "|" DEGREE "|deg(?:ree)?s?"

#define GAUGE                                                                                      \
    "(?:psig?|p\\.s\\.i\\.|lbs?|pounds?|bar[sg]?|[km]pa|kgf?/cm2)" END                             \
    "(?: per square inch\\b)?(?: (?:of )?pressure\\b(?![- ]c))?"

#define PRESSURE "hpa|mbar|millibars?|mm ?hg|torr|in ?hg|inches of mercury|atm|kpa|bar|psia?"

#define METRES "m|metres?|meters?|masl|km|ft|foot|feet|miles?"

#define GRAMS "g|gms?|grams?|kgs?|kilos?|kilograms?|lbs?|pounds?|oz|ounces?"
#define GRAMS_TAIL                                                                                 \
    "(?<=lb|lbs|pound|pounds)(?:(?: and)? )?" SIMPLE JOINED("oz|ounces?") END                      \
        "|(?<=kg|kgs|lo|los|kilogram|kilograms)(?:(?: and)? )?" SIMPLE JOINED("g|grams?") END      \
        "|" AND_PART

#define LITRES                                                                                     \
    "l|ltrs?|lit(?:re|er)s?|mls?|millilit(?:re|er)s?|ccs?|cl|dl|pts?|pints?|qts?|quarts?|gals?"    \
    "|gallons?|cups?|fl ?oz|fluid ounces?"

#define PERCENT "%|(?:per ?cent|pct)" END
#define PERCENT_FROM                                                                               \
    "(?:(?:" SHARE "|" PLAIN "(?:" JOINED(PERCENT) ")?)" SEPARATOR "|between " SIMPLE              \
                                                   "(?:" JOINED(PERCENT) ")? and )?"
#define PERCENT_OPTIONAL                                                                           \
    START PERCENT_FROM "(?:" SHARE "|" PLAIN "(?:" JOINED(PERCENT) "|" BARE "))"
#define PERCENT_REQUIRED START PERCENT_FROM "(?:" SHARE "|" PLAIN JOINED(PERCENT) "|" RATIO BARE ")"

#define NUMBERS                                                                                    \
    START "(?:(?:" SHARE "|" PLAIN ")" SEPARATOR "|between " SIMPLE " and )?(?:" SHARE "|" PLAIN   \
          ")" BARE

#define NO_TAIL "(?!)"

const char *quantity_pattern(enum dimension dimension, bool unit_required)
{
    static const char *const PATTERNS[DIM_COUNT][2] = {
        [DIM_NONE] = {NUMBERS, NUMBERS},
        [DIM_DAYS] = {OPTIONAL(DAYS, DAYS_TAIL), REQUIRED(DAYS, DAYS_TAIL)},
        [DIM_MINUTES] = {OPTIONAL(MINUTES, MINUTES_TAIL), REQUIRED(MINUTES, MINUTES_TAIL)},
        [DIM_PERCENT] = {PERCENT_OPTIONAL, PERCENT_REQUIRED},
        [DIM_CELSIUS] = {OPTIONAL(CELSIUS, NO_TAIL), REQUIRED(CELSIUS, NO_TAIL)},
        [DIM_GAUGE_KPA] = {OPTIONAL(GAUGE, AND_PART), REQUIRED(GAUGE, AND_PART)},
        [DIM_PRESSURE_KPA] = {OPTIONAL(PRESSURE, AND_PART), REQUIRED(PRESSURE, AND_PART)},
        [DIM_METRES] = {OPTIONAL(METRES, AND_PART), REQUIRED(METRES, AND_PART)},
        [DIM_GRAMS] = {OPTIONAL(GRAMS, GRAMS_TAIL), REQUIRED(GRAMS, GRAMS_TAIL)},
        [DIM_LITRES] = {OPTIONAL(LITRES, AND_PART), REQUIRED(LITRES, AND_PART)},
    };
    return dimension < DIM_COUNT ? PATTERNS[dimension][unit_required ? 1 : 0] : "(?!)";
}
