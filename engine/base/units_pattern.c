/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What units_read.c reads, as PCRE2 source. The pieces are string literals put
 * together by the compiler; groups that must not give back what they took are
 * atomic, as the reader never goes back into a number. What stands in several
 * places is defined once and called by its name, so that a phrase compiles in a
 * third of the time.
 */
#include "base/units.h"

/* Numbers. */

#define ONES  "(?:one|two|three|four|five|six|seven|eight|nine)\\b"
#define TENS  "(?:twen|thir|for|fif|six|seven|eigh|nine)ty\\b"
#define TEENS "(?:ten|eleven|twelve|(?:thir|four|fif|six|seven|eigh|nine)teen)\\b"
/* One to ninety-nine. */
#define WORDS   "(?&quantity_words)"
#define DEFINED "(?(DEFINE)(?<quantity_words>" TENS "(?:[- ]" ONES ")?|" TEENS "|" ONES "))"
/* A comma groups thousands before exactly three figures, else it is a decimal comma. */
#define DIGITS   "(?:(?:[1-9]\\d{0,2}(?:,\\d{3})+(?!\\d|,\\d)|\\d+)(?:[.,]\\d+)?|(?<!\\w)\\.\\d+)"
#define RATIO    "\\d{1,3}/[1-9]\\d{0,2}(?!\\d)"
#define HUNDREDS "(?:" WORDS "|a(?= hundred\\b))(?: hundred\\b(?:(?: and)? " WORDS ")?)?"
#define SOME     "(?:an? )?(?:couple(?: of)?|few|dozen)\\b|several\\b"
#define SIGN     "(?:(?<![\\w)])[-+]|minus )?"
#define AND_PART " and (?:a half|a quarter|three quarters)\\b"
#define FIGURES  DIGITS "(?:[- ]" RATIO ")?"
#define PLAIN    "(?>" SIGN "(?:" RATIO "|(?:" FIGURES "|" HUNDREDS ")(?:" AND_PART ")?)|" SOME ")"
#define SIMPLE   "(?>" DIGITS "|" WORDS ")"

/* Halves and quarters of a unit; shares, which are quantities by themselves. */
#define PART      "(?:(?:an?|one|two|three)[- ](?:half|quarters?)|half|quarter)\\b(?:(?: of)? an?\\b)?"
#define FRACTIONS "(?:half|quarters?|thirds?|fourths?|fifths?|sixths?|eighths?|tenths?)\\b"
#define SHARE     "(?>(?:an?|" ONES ")[- ]" FRACTIONS "|half\\b|quarter\\b)"

/*
 * A quantity: one item or two, the first closed by a separator, the last by its
 * unit. Both are one piece of pattern, run once or twice; that the last one was
 * not closed by a separator is seen from the byte before the end. Longer chains
 * are not taken: on text made of nothing else they would cost its square.
 */

/* Never from inside a number such as 1.5 or a range such as 2-3: it was tried from its start. */
#define START DEFINED FIRST "(?<!\\d|\\d[.,/:-]|\\d - )"
/* How a number, or "between", can begin: most words of a text are told from one at a glance. */
#define FIRST     "(?=[-+.\\d]|an?\\b|be|co|do|ei|el|fe|fi|fo|ha|mi|ni|on|qu|se|si|te|th|tw)"
#define SEPARATOR "(?: ?- ?| to | or )"
#define ITEMS(name, item)                                                                          \
    "(?(DEFINE)(?<quantity_" name ">" item "))(?&quantity_" name ")(?&quantity_" name ")?(?<![ "   \
    "-])"
#define END           "(?!\\w)"
#define JOINED(units) "[ -]?(?<![a-z])(?:" units ")"

/* A bare number: neither a letter nor another number nor any unit hangs on it. */
#define CLEAN "(?!\\w|[.,/]\\d)"
#define ANY_UNIT                                                                                   \
    "(?![ -]?(?<![a-z])(?:%|" DEGREE "|(?:" DAYS "|" MINUTES "|" SCALES "|deg(?:ree)?s?|" GRAMS    \
    "|" METRES "|per ?cent|pct|psi[ag]?|bar[gs]?|[hkm]pa|mbar|millibars?|mm ?hg|torr|in "          \
    "?hg|inches of mercury"                                                                        \
    "|atm|kgf?/cm2|" LITRES ")\\b))"
#define BARE CLEAN ANY_UNIT
/* Behind a number that is not an article or a part of a unit alone. */
#define WHOLE       "(?<!\\ba|\\ban|(?<!and a )half|(?<!and a )quarter|(?<!and three )quarters)"
#define BARE_NUMBER WHOLE "(?!(?<=[a-z])[- ]" FRACTIONS ")" BARE

#define BETWEEN(units) "(?:between " SIMPLE "(?:" JOINED(units) END ")?(?!" AND_PART ") and )?"
/* Where a sign would end the word before, an item does not run into it. */
#define APART   "(?<![%" DEGREE "])"
#define OR_MORE "(?: or (?:two|three)\\b)?"
#define ITEM(units, tail)                                                                          \
    APART "(?:" PART "|" PLAIN "|an?)(?:(?:" JOINED(units) END                                     \
        "|" WHOLE ")" SEPARATOR "|" JOINED(units) "(?:" tail "|" END ")" OR_MORE
#define REQUIRED(units, tail) START BETWEEN(units) ITEMS("item", ITEM(units, tail) ")")
#define OPTIONAL(units, tail)                                                                      \
    START BETWEEN(units) ITEMS("loose", ITEM(units, tail) "|" BARE_NUMBER ")")

/* The dimensions. */

#define DAYS "d|days?|nights?|wks?|weeks?|fortnights?|mos?|months?|yrs?|years?|h|hrs?|hours?"
/* "2 weeks and 3 days": the lookbehind lets only weeks and months have days. */
#define DAYS_TAIL "(?<=k|ks|th|ths)(?: and)? " SIMPLE JOINED("d|days?") END "|" AND_PART

#define MINUTES "m|mins?|minutes?|h|hrs?|hours?|secs?|seconds|days?"
#define MINUTES_TAIL                                                                               \
    "(?<=h|r|rs)(?:(?:(?: and)? )?" SIMPLE JOINED("m|mins?|minutes?") END                          \
        "|[0-5]\\d" CLEAN "| [0-5]\\d" CLEAN                                                       \
        "(?=$|[.,;:!?)]| (?:at|in|for|under|with|on)\\b))|" AND_PART

#define DEGREE "\xC2\xB0"
#define SCALES "c|f|k|celsius|centigrade|fahrenheit|kelvin"
#define CELSIUS                                                                                    \
    "(?:(?:" DEGREE "|deg(?:ree)?s?\\b) ?|deg(?=[cf]\\b))?(?:" SCALES ")" END "|" DEGREE           \
    "|deg(?:ree)?s?"

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

#define PERCENT              "%|(?:per ?cent|pct)" END
#define BETWEEN_SHARES(unit) "(?:between (?:" SHARE "|" SIMPLE unit "(?!" AND_PART ")) and )?"
/* A share is closed by itself. */
#define PERCENT_ITEM                                                                               \
    APART "(?:" SHARE "(?:" SEPARATOR ")?|" PLAIN "(?:(?:" JOINED(PERCENT) ")?" SEPARATOR          \
                                                                           "|" JOINED(PERCENT)
#define PERCENT_OPTIONAL                                                                           \
    START BETWEEN_SHARES("(?:" JOINED(PERCENT) ")?") ITEMS("loose", PERCENT_ITEM "|" BARE "))")
#define PERCENT_REQUIRED                                                                           \
    START BETWEEN_SHARES("(?:" JOINED(PERCENT) ")?") ITEMS("item", PERCENT_ITEM ")|" RATIO BARE ")")

#define NUMBERS                                                                                    \
    START BETWEEN_SHARES("") ITEMS("loose", "(?:" SHARE "|" PLAIN ")(?:" SEPARATOR "|" CLEAN ")")

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
