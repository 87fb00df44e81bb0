/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/units.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"

#define DEGREE "\xC2\xB0"

/* Exact by definition: the inch, the pound, standard gravity, the US gallon of 231 cubic inches. */
#define PSI_KPA     6.894757293168361
#define KGF_CM2_KPA 98.0665
#define ATM_KPA     101.325
#define POUND_G     453.59237
#define GALLON_L    3.785411784
/* Conventional values of SP 811. */
#define MMHG_KPA 0.133322387415
#define INHG_KPA 3.386389
/* A month is a twelfth of the mean Julian year of 365.25 days. */
#define MONTH_DAYS 30.4375

enum { SPELLINGS = 8 };

/* A unit with its spellings in folded text; canonical is value * factor + offset. */
static const struct unit {
    enum dimension dimension;
    double factor, offset;
    const char *names[SPELLINGS];
} UNITS[] = {
    {DIM_DAYS, 1, 0, {"d", "day", "days", "night", "nights"}},
    {DIM_DAYS, 7, 0, {"wk", "wks", "week", "weeks"}},
    {DIM_DAYS, 14, 0, {"fortnight", "fortnights"}},
    {DIM_DAYS, MONTH_DAYS, 0, {"mo", "mos", "month", "months"}},
    {DIM_DAYS, 12 * MONTH_DAYS, 0, {"yr", "yrs", "year", "years"}},
    {DIM_DAYS, 1.0 / 24, 0, {"h", "hr", "hrs", "hour", "hours"}},
    {DIM_MINUTES, 1, 0, {"m", "min", "mins", "minute", "minutes"}},
    {DIM_MINUTES, 60, 0, {"h", "hr", "hrs", "hour", "hours"}},
    {DIM_MINUTES, 1.0 / 60, 0, {"sec", "secs", "seconds"}}, /* the second is after the first */
    {DIM_MINUTES, 1440, 0, {"day", "days"}},
    {DIM_PERCENT, 1, 0, {"%", "percent", "per cent", "pct"}},
    {DIM_CELSIUS, 1, 0, {"c", "celsius", "centigrade"}},
    {DIM_CELSIUS, 5.0 / 9, -160.0 / 9, {"f", "fahrenheit"}},
    {DIM_CELSIUS, 1, -273.15, {"k", "kelvin"}},
    {DIM_GAUGE_KPA, PSI_KPA, 0, {"psi", "psig", "p.s.i.", "lb", "lbs", "pound", "pounds"}},
    {DIM_GAUGE_KPA, 100, 0, {"bar", "bars", "barg"}},
    {DIM_GAUGE_KPA, 1, 0, {"kpa"}},
    {DIM_GAUGE_KPA, 1000, 0, {"mpa"}},
    {DIM_GAUGE_KPA, KGF_CM2_KPA, 0, {"kg/cm2", "kgf/cm2"}},
    {DIM_PRESSURE_KPA, 0.1, 0, {"hpa", "mbar", "millibar", "millibars"}},
    {DIM_PRESSURE_KPA, MMHG_KPA, 0, {"mmhg", "mm hg"}},
    {DIM_PRESSURE_KPA, ATM_KPA / 760, 0, {"torr"}},
    {DIM_PRESSURE_KPA, INHG_KPA, 0, {"inhg", "in hg", "inches of mercury"}},
    {DIM_PRESSURE_KPA, ATM_KPA, 0, {"atm"}},
    {DIM_PRESSURE_KPA, 1, 0, {"kpa"}},
    {DIM_PRESSURE_KPA, 100, 0, {"bar"}},
    {DIM_PRESSURE_KPA, PSI_KPA, 0, {"psi", "psia"}},
    {DIM_METRES, 1, 0, {"m", "metre", "metres", "meter", "meters", "masl"}},
    {DIM_METRES, 1000, 0, {"km"}},
    {DIM_METRES, 0.3048, 0, {"ft", "foot", "feet"}},
    {DIM_METRES, 1609.344, 0, {"mile", "miles"}},
    {DIM_GRAMS, 1, 0, {"g", "gm", "gms", "gram", "grams"}},
    {DIM_GRAMS, 1000, 0, {"kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"}},
    {DIM_GRAMS, POUND_G, 0, {"lb", "lbs", "pound", "pounds"}},
    {DIM_GRAMS, POUND_G / 16, 0, {"oz", "ounce", "ounces"}},
    {DIM_LITRES, 1, 0, {"l", "ltr", "ltrs", "litre", "litres", "liter", "liters"}},
    {DIM_LITRES, 0.001, 0, {"ml", "mls", "millilitre", "millilitres", "milliliter", "milliliters"}},
    {DIM_LITRES, 0.001, 0, {"cc", "ccs"}},
    {DIM_LITRES, 0.01, 0, {"cl"}},
    {DIM_LITRES, 0.1, 0, {"dl"}},
    {DIM_LITRES, GALLON_L / 8, 0, {"pt", "pts", "pint", "pints"}},
    {DIM_LITRES, GALLON_L / 4, 0, {"qt", "qts", "quart", "quarts"}},
    {DIM_LITRES, GALLON_L, 0, {"gal", "gals", "gallon", "gallons"}},
    {DIM_LITRES, GALLON_L / 16, 0, {"cup", "cups"}},
    {DIM_LITRES, GALLON_L / 128, 0, {"floz", "fl oz", "fluid ounce", "fluid ounces"}},
};

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

/* Words for numbers, kind by kind, and their values: of parts, how many make a whole. */
enum { ONES = 0, TEENS = 9, TENS = 19, PARTS = 27, SOME = 42, NUMERALS_END = 46 };
static const char *const NUMERALS[] = {
    "one",       "two",      "three",    "four",   "five",     "six",      "seven",   "eight",
    "nine",      "ten",      "eleven",   "twelve", "thirteen", "fourteen", "fifteen", "sixteen",
    "seventeen", "eighteen", "nineteen", "twenty", "thirty",   "forty",    "fifty",   "sixty",
    "seventy",   "eighty",   "ninety",   "half",   "quarter",  "quarters", "third",   "thirds",
    "fourth",    "fourths",  "fifth",    "fifths", "sixth",    "sixths",   "eighth",  "eighths",
    "tenth",     "tenths",   "couple",   "few",    "several",  "dozen"};
static const double VALUES[] = {1,  2,  3,  4,  5,  6,  7,  8,  9,  10, 11, 12, 13, 14, 15, 16,
                                17, 18, 19, 20, 30, 40, 50, 60, 70, 80, 90, 2,  4,  4,  3,  3,
                                4,  4,  5,  5,  6,  6,  8,  8,  10, 10, 2,  2,  3,  12};

const char *quantity_word(size_t index)
{
    static const char *const OTHERS[] = {"hundred", "minus",  "between",
                                         "degrees", "degree", "pressure"};
    for (size_t i = 0; i < COUNT_OF(UNITS); i++)
        for (size_t name = 0; name < SPELLINGS && UNITS[i].names[name]; name++)
            if (index-- == 0)
                return UNITS[i].names[name];
    if (index < COUNT_OF(NUMERALS))
        return NUMERALS[index];
    index -= COUNT_OF(NUMERALS);
    return index < COUNT_OF(OTHERS) ? OTHERS[index] : NULL;
}

unsigned quantity_dimensions(const char *word, size_t length)
{
    unsigned dimensions = 0;
    for (size_t i = 0; i < COUNT_OF(UNITS); i++)
        for (size_t name = 0; name < SPELLINGS && UNITS[i].names[name]; name++)
            if (UNITS[i].names[name][0] == *word && !strncmp(UNITS[i].names[name], word, length))
                dimensions |= 1u << UNITS[i].dimension;
    for (size_t i = PARTS; i < SOME; i++) /* "a third" is so many per cent */
        if (strlen(NUMERALS[i]) == length && !memcmp(NUMERALS[i], word, length))
            dimensions |= 1u << DIM_PERCENT;
    return dimensions;
}

/* ---- taking words ---------------------------------------------------------------------------- */

/* Where reading stands. What takes something moves it, or leaves it where it is and says no. */
struct cursor {
    const char *at, *end, *start;
    enum dimension dimension;
    bool unit_required; /* at the number that is read, or at the end of its range */
};

static bool next_is(const struct cursor *cursor, char byte)
{
    return cursor->at < cursor->end && *cursor->at == byte;
}

static bool digit_at(const char *at, const char *end)
{
    return at < end && *at >= '0' && *at <= '9';
}

static bool is_letter(char byte)
{
    return byte >= 'a' && byte <= 'z';
}

/* Whether a letter, a digit or an underscore stands there. */
static bool word_continues(const char *at, const char *end)
{
    if (at >= end)
        return false;
    return is_letter(*at) || digit_at(at, end) || *at == '_' ||
           ((unsigned char)*at >= 0x80 && strncmp(at, DEGREE, end - at < 2 ? 1 : 2) != 0);
}

/* The length of `text` where it stands next, else 0. */
static size_t length_next(const struct cursor *cursor, const char *text)
{
    if (!next_is(cursor, text[0])) /* nearly always: there are many words to try */
        return 0;
    const size_t size = strlen(text);
    return size <= (size_t)(cursor->end - cursor->at) && !memcmp(cursor->at, text, size) ? size : 0;
}

static bool take_text(struct cursor *cursor, const char *text)
{
    const size_t size = length_next(cursor, text);
    cursor->at += size;
    return size > 0;
}

/* The place of the word that stands next and ends there, from `first` to `end`; -1 for none. */
static int take_word(struct cursor *cursor, const char *const *words, size_t first, size_t end)
{
    for (size_t i = first; i < end; i++) {
        const size_t size = length_next(cursor, words[i]);
        if (size && !word_continues(cursor->at + size, cursor->end)) {
            cursor->at += size;
            return (int)i;
        }
    }
    return -1;
}

#define LIST(...)                                                                                  \
    (const char *const[])                                                                          \
    {                                                                                              \
        __VA_ARGS__                                                                                \
    }
#define TAKE(cursor, ...)                                                                          \
    (take_word(cursor, LIST(__VA_ARGS__), 0, COUNT_OF(LIST(__VA_ARGS__))) >= 0)

/* A space or a hyphen. */
static bool take_gap(struct cursor *cursor)
{
    return take_text(cursor, " ") || take_text(cursor, "-");
}

/* Between a number and its unit: a space, a hyphen, or nothing after a figure. */
static bool take_joint(struct cursor *cursor)
{
    return take_gap(cursor) || (cursor->at > cursor->start && !is_letter(cursor->at[-1]));
}

/* ---- numbers without their units ------------------------------------------------------------- */

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

static size_t count_digits(const char *at, const char *end)
{
    size_t count = 0;
    while (digit_at(at + count, end))
        count++;
    return count;
}

/* Bytes of "1,500" or "1,500,000" at the start; 0 when its commas do not group thousands. */
static size_t grouped_length(const char *start, const char *end)
{
    const size_t head = count_digits(start, end);
    if (head < 1 || head > 3 || *start == '0')
        return 0;
    const char *at = start + head;
    for (; at < end && *at == ',' && digit_at(at + 1, end); at += 4)
        if (count_digits(at + 1, end) != 3)
            return 0;
    return at > start + head ? (size_t)(at - start) : 0;
}

/* Fifteen figures are exact in a double, and so is the power of ten they are divided by. Beyond
 * LARGEST it is LARGEST: still finite, and far outside what anyone can mean. */
static double digits_value(const char *whole, size_t whole_length, const char *part,
                           size_t part_length)
{
    enum { EXACT = 15 };
    static const double LARGEST = 1e15;
    double value = 0, scale = 1;
    int figures = 0;
    for (size_t i = 0; i < whole_length; i++) {
        if (whole[i] == ',')
            continue;
        value = value * 10 + (whole[i] - '0');
        if (value > LARGEST)
            return LARGEST;
        figures += value > 0;
    }
    for (size_t i = 0; i < part_length && figures < EXACT && scale < LARGEST; i++) {
        value = value * 10 + (part[i] - '0');
        scale *= 10;
        figures += value > 0;
    }
    return value / scale;
}

static bool take_digits(struct cursor *cursor, double *value)
{
    const char *at = cursor->at;
    const size_t grouped = grouped_length(at, cursor->end);
    const size_t whole = grouped ? grouped : count_digits(at, cursor->end);
    const char *point = at + whole;
    size_t part = 0;
    if (point < cursor->end && (*point == '.' || (*point == ',' && whole > 0)))
        part = count_digits(point + 1, cursor->end);
    if (whole == 0 && part == 0)
        return false;
    *value = digits_value(at, whole, part ? point + 1 : at, part);
    cursor->at = part ? point + 1 + part : point;
    return true;
}

/* "3/4": three figures over up to three, the lower one not starting with a nought. */
static bool take_ratio(struct cursor *cursor, double *value)
{
    const size_t above = count_digits(cursor->at, cursor->end);
    const char *slash = cursor->at + above;
    if (above < 1 || above > 3 || slash >= cursor->end || *slash != '/')
        return false;
    const size_t below = count_digits(slash + 1, cursor->end);
    if (below < 1 || below > 3 || slash[1] == '0')
        return false;
    *value = digits_value(cursor->at, above, "", 0) / digits_value(slash + 1, below, "", 0);
    cursor->at = slash + 1 + below;
    return true;
}

/* One to ninety-nine in words. */
static bool take_below_hundred(struct cursor *cursor, double *value)
{
    const int number = take_word(cursor, NUMERALS, ONES, PARTS);
    struct cursor ahead = *cursor;
    if (number < 0)
        return false;
    *value = VALUES[number];
    const int ones =
        number >= TENS && take_gap(&ahead) ? take_word(&ahead, NUMERALS, ONES, TEENS) : -1;
    if (ones >= 0) {
        *value += VALUES[ones];
        *cursor = ahead;
    }
    return true;
}

static bool take_simple(struct cursor *cursor, double *value)
{
    return take_digits(cursor, value) || take_below_hundred(cursor, value);
}

/* "a hundred", "two hundred and fifty", and what is below a hundred. */
static bool take_hundreds(struct cursor *cursor, double *value)
{
    struct cursor ahead = *cursor;
    *value = 1;
    const bool count = take_below_hundred(&ahead, value);
    if (count)
        *cursor = ahead;
    if ((!count && !take_text(&ahead, "a")) || !TAKE(&ahead, " hundred"))
        return count;
    *cursor = ahead;
    *value *= 100;
    double rest = 0;
    (void)TAKE(&ahead, " and");
    if (take_text(&ahead, " ") && take_below_hundred(&ahead, &rest)) {
        *value += rest;
        *cursor = ahead;
    }
    return true;
}

/* "a couple of", "a few", "several", "a dozen": some of them are ranges. */
static bool take_some(struct cursor *cursor, struct number *number)
{
    static const double MOST[] = {2, 5, 7, 12};
    struct cursor ahead = *cursor;
    if (TAKE(&ahead, "an", "a") && !take_text(&ahead, " "))
        return false;
    const int some = take_word(&ahead, NUMERALS, SOME, NUMERALS_END);
    if (some < 0)
        return false;
    if (some == SOME) /* a couple */
        (void)TAKE(&ahead, " of");
    *number = (struct number){NUMBER_PLAIN, VALUES[some], MOST[some - SOME]};
    *cursor = ahead;
    return true;
}

/* "half", "a quarter", "two thirds"; only halves and quarters stand without a count. */
static bool take_part(struct cursor *cursor, struct number *number)
{
    struct cursor ahead = *cursor;
    const int ones = take_word(&ahead, NUMERALS, ONES, TEENS);
    const bool counted = ones >= 0 || TAKE(&ahead, "an", "a");
    if (counted && !take_gap(&ahead))
        return false;
    const int part = take_word(&ahead, NUMERALS, PARTS, counted ? SOME : PARTS + 2);
    if (part < 0)
        return false;
    const double share = (ones >= 0 ? VALUES[ones] : 1) / VALUES[part];
    *number = (struct number){NUMBER_PART, share, share};
    *cursor = ahead;
    return true;
}

/* "two and a half", "an hour and half": the part after a whole, or 0. */
static double take_rest(struct cursor *cursor)
{
    static const char *const RESTS[] = {" and a quarter", " and a half", " and three quarters",
                                        " and quarter", " and half"};
    const int rest = take_word(cursor, RESTS, 0, 5);
    return (rest < 3 ? rest + 1 : rest - 2) / 4.0;
}

static bool take_number(struct cursor *cursor, struct number *number)
{
    struct cursor ahead = *cursor;
    double value = 0, more = 0;
    const bool minus = TAKE(&ahead, "minus");
    if (minus && !take_text(&ahead, " "))
        return false;
    const double sign = minus || next_is(cursor, '-') ? -1 : 1;
    if (!minus && !take_text(&ahead, "-"))
        (void)take_text(&ahead, "+");
    const bool bare = ahead.at == cursor->at;
    if (bare && !digit_at(cursor->at, cursor->end) &&
        (take_part(cursor, number) || take_some(cursor, number)))
        return true;
    enum number_kind kind = NUMBER_PLAIN;
    if (take_ratio(&ahead, &value)) {
        kind = NUMBER_RATIO;
    } else if (take_digits(&ahead, &value)) {
        struct cursor after = ahead;
        if (take_gap(&after) && take_ratio(&after, &more)) /* "2 1/2" */
            ahead = after;
        value += more + take_rest(&ahead);
    } else if (take_hundreds(&ahead, &value)) {
        value += take_rest(&ahead);
    } else if (bare && TAKE(&ahead, "an", "a")) {
        kind = NUMBER_ARTICLE;
        value = 1;
    } else {
        return false;
    }
    *number = (struct number){kind, sign * value, sign * value};
    if (kind == NUMBER_PLAIN && TAKE(&ahead, "-odd", "ish", "-ish")) { /* "ninety-odd", "90ish" */
        const bool odd = ahead.at[-1] == 'd';
        number->lo *= odd ? 1.0 : 0.95;
        number->hi *= odd ? 1.1 : 1.05;
    }
    *cursor = ahead;
    return true;
}

/* ---- a number and its unit ------------------------------------------------------------------- */

struct item {
    struct number number;
    bool named;    /* a unit stood there, though it may be no more than "degrees" */
    bool has_unit; /* and it was plain which */
    bool has_tail; /* something followed the unit: it can no longer be the start of a range */
    double factor, offset;
    double more; /* from the tail: the 8 oz of "1 lb 8 oz", in canonical units */
};

/* The longest unit of these dimensions, a bit for each, that stands next and ends there, and its
 * length. With `runs` a large one may run into the smaller one's figures (2h30, 1lb8oz), which the
 * caller looks at. */
static const struct unit *unit_next(const struct cursor *cursor, unsigned dimensions, bool runs,
                                    size_t *length)
{
    const struct unit *longest = NULL;
    *length = 0;
    for (size_t i = 0; i < COUNT_OF(UNITS); i++) {
        const struct unit *unit = &UNITS[i];
        if (!(dimensions >> unit->dimension & 1))
            continue;
        const bool large = (unit->dimension == DIM_MINUTES && unit->factor == 60) ||
                           (unit->dimension == DIM_GRAMS && unit->factor > 100);
        for (size_t name = 0; name < SPELLINGS && unit->names[name]; name++) {
            const size_t size = length_next(cursor, unit->names[name]);
            const char *after = cursor->at + size;
            if (size > *length && (*cursor->at == '%' || !word_continues(after, cursor->end) ||
                                   (runs && large && digit_at(after, cursor->end)))) {
                longest = unit;
                *length = size;
            }
        }
    }
    return longest;
}

/* The sign or word for degrees, after which the scale may follow. */
static bool take_degrees(struct cursor *cursor)
{
    if (take_text(cursor, DEGREE) || TAKE(cursor, "degrees", "degree", "degs", "deg"))
        return true;
    struct cursor glued = *cursor;
    const bool scale = TAKE(&glued, "degc", "degf");
    cursor->at += scale ? 3 : 0;
    return scale;
}

static bool take_unit(struct cursor *cursor, struct item *item)
{
    struct cursor ahead = *cursor;
    if (!take_joint(&ahead))
        return false;
    const bool degrees = cursor->dimension == DIM_CELSIUS && take_degrees(&ahead);
    struct cursor scale = ahead;
    if (degrees)
        (void)take_text(&scale, " ");
    size_t length;
    const struct unit *unit = unit_next(&scale, 1U << cursor->dimension, true, &length);
    if (!unit) {
        if (!degrees || word_continues(ahead.at, ahead.end))
            return false;
        item->named = true; /* "75 degrees" */
        *cursor = ahead;
        return true;
    }
    scale.at += length;
    item->named = item->has_unit = true;
    item->factor = unit->factor;
    item->offset = unit->offset;
    *cursor = scale;
    if (cursor->dimension == DIM_GAUGE_KPA) { /* "15 lb pressure", "15 pounds per square inch" */
        (void)TAKE(cursor, " per square inch");
        ahead = *cursor;
        if (TAKE(&ahead, " of pressure", " pressure") && !length_next(&ahead, " c") &&
            !length_next(&ahead, "-c")) /* not that of "pressure cooked" */
            *cursor = ahead;
    }
    return true;
}

/* A bare number ends here: neither letters nor another number hang on it. */
static bool ends_clean(const struct cursor *cursor)
{
    const char *at = cursor->at;
    return !word_continues(at, cursor->end) &&
           !((next_is(cursor, '.') || next_is(cursor, ',') || next_is(cursor, '/')) &&
             digit_at(at + 1, cursor->end));
}

/* A smaller unit that may follow a larger one without a comma. */
static bool take_smaller(struct cursor *cursor, struct item *item)
{
    static const struct {
        enum dimension dimension;
        double factor, smaller; /* pounds have ounces, kilograms have grams */
    } PAIRS[] = {{DIM_DAYS, 7, 1},
                 {DIM_DAYS, MONTH_DAYS, 1},
                 {DIM_MINUTES, 60, 1},
                 {DIM_GRAMS, 1000, 1},
                 {DIM_GRAMS, POUND_G, POUND_G / 16}};
    for (size_t i = 0; i < COUNT_OF(PAIRS); i++) {
        if (PAIRS[i].dimension != cursor->dimension || PAIRS[i].factor != item->factor)
            continue;
        struct cursor ahead = *cursor;
        double count = 0;
        size_t length;
        const bool and = TAKE(&ahead, " and");
        if ((!take_text(&ahead, " ") && and) || !take_simple(&ahead, &count) || !take_joint(&ahead))
            continue;
        const struct unit *unit = unit_next(&ahead, 1U << cursor->dimension, false, &length);
        if (unit && unit->factor == PAIRS[i].smaller) {
            item->more = count * unit->factor;
            ahead.at += length;
            *cursor = ahead;
            return true;
        }
    }
    return false;
}

/* "2 h 30", "2h30": minutes after hours need no unit where nothing else can be meant. */
static bool take_minutes(struct cursor *cursor, struct item *item)
{
    struct cursor ahead = *cursor;
    if (cursor->dimension != DIM_MINUTES || item->factor != 60)
        return false;
    const bool space = take_text(&ahead, " ");
    const char *digits = ahead.at;
    if (!digit_at(digits, ahead.end) || *digits > '5' || !digit_at(digits + 1, ahead.end))
        return false;
    ahead.at += 2;
    struct cursor after = ahead;
    if (!ends_clean(&ahead) || (space && ahead.at < ahead.end && !strchr(".,;:!?)", *ahead.at) &&
                                !TAKE(&after, " at", " in", " for", " under", " with", " on")))
        return false;
    item->more = (digits[0] - '0') * 10 + (digits[1] - '0');
    *cursor = ahead;
    return true;
}

static bool take_tail(struct cursor *cursor, struct item *item)
{
    if (take_smaller(cursor, item) || take_minutes(cursor, item))
        return true;
    if (cursor->dimension == DIM_CELSIUS || cursor->dimension == DIM_PERCENT)
        return false;
    const double share = take_rest(cursor);
    item->more = share * item->factor;
    return share > 0;
}

/* "half an hour", "a quarter of an hour": the words between a part and its unit. */
static bool take_part_joint(struct cursor *cursor, const struct number *number)
{
    const double parts = number->lo * 4;
    if (parts != floor(parts) || parts > 3) /* thirds of a unit are more often ordinals */
        return false;
    (void)TAKE(cursor, " of an", " of a", " an", " a");
    return true;
}

/* Between the ends of a range. */
static bool take_separator(struct cursor *cursor)
{
    return take_text(cursor, " to ") || take_text(cursor, " or ") || take_text(cursor, " - ") ||
           take_text(cursor, " -") || take_text(cursor, "- ") || take_text(cursor, "-");
}

static enum quantity_error read_item(struct cursor *cursor, struct item *item)
{
    *item = (struct item){.factor = 1};
    struct cursor ahead = *cursor;
    if (!take_number(&ahead, &item->number))
        return QUANTITY_NO_NUMBER;
    const struct cursor bare = ahead;
    const struct item unnamed = *item;
    const bool part = item->number.kind == NUMBER_PART;
    const bool whole = cursor->dimension == DIM_PERCENT && item->number.kind <= NUMBER_PART;
    if (cursor->dimension != DIM_NONE && !whole &&
        (!part || take_part_joint(&ahead, &item->number)) && take_unit(&ahead, item)) {
        item->has_tail = take_tail(&ahead, item);
        if (ahead.at[-1] == '%' || !word_continues(ahead.at, ahead.end)) {
            *cursor = ahead;
            return QUANTITY_OK;
        }
        *item = unnamed;
    }
    *cursor = bare;
    /* Without a unit: a share is one of itself in per cent, an article is no number at all. */
    if (item->number.kind == NUMBER_ARTICLE)
        return QUANTITY_NO_NUMBER;
    const bool percent = cursor->dimension == DIM_PERCENT;
    if (percent && (part || item->number.kind == NUMBER_RATIO)) {
        item->named = item->has_unit = true;
        item->factor = 100;
    }
    if (part && percent)
        return QUANTITY_OK;
    const bool has_units = cursor->dimension != DIM_NONE;
    ahead = *cursor; /* "twenty thirds": a number word that only counts the parts after it */
    if (has_units && !percent &&
        (part || (is_letter(cursor->at[-1]) && take_gap(&ahead) &&
                  take_word(&ahead, NUMERALS, PARTS, SOME) >= 0)))
        return QUANTITY_NO_NUMBER;
    ahead = *cursor;
    if (cursor->unit_required && !item->named && !take_separator(&ahead))
        return QUANTITY_UNKNOWN_UNIT; /* whatever else stands here */
    ahead = *cursor;
    if (has_units && take_joint(&ahead)) {
        size_t length;
        if (unit_next(&ahead, ~(1U << cursor->dimension), false, &length) || take_degrees(&ahead))
            return QUANTITY_WRONG_UNIT;
    }
    return ends_clean(cursor) ? QUANTITY_OK : QUANTITY_UNKNOWN_UNIT;
}

/* ---- ranges ---------------------------------------------------------------------------------- */

/* The start of "between 2 and 3 weeks", up to and with the "and". */
static bool take_between(struct cursor *cursor, struct item *lo)
{
    struct cursor ahead = *cursor;
    double value = 0;
    *lo = (struct item){.factor = 1};
    if (!TAKE(&ahead, "between") || !take_text(&ahead, " "))
        return false;
    const bool percent = ahead.dimension == DIM_PERCENT;
    const bool part = (percent || ahead.dimension == DIM_NONE) && take_part(&ahead, &lo->number);
    if (!part && !take_simple(&ahead, &value))
        return false;
    if (!part)
        lo->number = (struct number){NUMBER_PLAIN, value, value};
    if (part && percent)
        *lo = (struct item){.number = lo->number, .named = true, .has_unit = true, .factor = 100};
    else if (ahead.dimension != DIM_NONE)
        (void)take_unit(&ahead, lo);
    struct cursor tail = ahead;
    if ((!part && take_rest(&tail) > 0) || !TAKE(&ahead, " and") || !take_text(&ahead, " "))
        return false;
    *cursor = ahead;
    return true;
}

/* The whole of it: an item, or two with a separator, of which the second may have to have a
 * unit. */
static enum quantity_error read_quantity(struct cursor *cursor, struct item *lo, struct item *hi)
{
    struct item from, next;
    const bool between = take_between(cursor, &from);
    const enum quantity_error error = read_item(cursor, lo);
    if (error != QUANTITY_OK)
        return error;
    *hi = *lo;
    struct cursor ahead = *cursor;
    if (!lo->has_tail && take_separator(&ahead) && read_item(&ahead, &next) == QUANTITY_OK &&
        (next.named || !cursor->unit_required)) {
        *hi = next;
        *cursor = ahead;
    }
    if (cursor->unit_required && !hi->named)
        return QUANTITY_UNKNOWN_UNIT;
    if (between)
        *lo = from;
    if (hi->has_unit && cursor->dimension != DIM_PERCENT) { /* "a week or two" */
        const double more = TAKE(cursor, " or two") ? 2 : TAKE(cursor, " or three") ? 3 : 0;
        if (more > 0)
            hi->number.lo = hi->number.hi = more;
    }
    return QUANTITY_OK;
}

enum quantity_error quantity_read(const char *folded, size_t length, enum dimension dimension,
                                  struct quantity *quantity, size_t *used)
{
    struct cursor cursor = {folded, folded + length, folded, dimension, false};
    struct item lo, hi;
    *quantity = (struct quantity){0};
    const enum quantity_error error = read_quantity(&cursor, &lo, &hi);
    *used = error == QUANTITY_NO_NUMBER ? 0 : (size_t)(cursor.at - folded);
    if (error == QUANTITY_OK) {
        /* In canonical units. The higher end of a range decides what a bare number is. A
         * temperature below 45 is Celsius: no grower's room is colder than 45 degrees Fahrenheit,
         * none warmer than 45 Celsius. A canner reads 10 to 15 psi, which is 0.7 to 1 bar or 70 to
         * 100 kPa; nothing in its range can be meant by the same figure in another unit. */
        const double figure = fmax(lo.number.hi, hi.number.hi);
        const bool given = lo.has_unit || hi.has_unit;
        if (!lo.has_unit && hi.has_unit && !(lo.number.kind == NUMBER_PART && hi.factor == 100)) {
            lo.factor = hi.factor;
            lo.offset = hi.offset;
        } else if (lo.has_unit && !hi.has_unit) {
            hi.factor = lo.factor;
            hi.offset = lo.offset;
        } else if (!given && dimension == DIM_CELSIUS && figure >= 45) {
            lo.factor = hi.factor = 5.0 / 9;
            lo.offset = hi.offset = -160.0 / 9;
        } else if (!given && dimension == DIM_GAUGE_KPA) {
            lo.factor = hi.factor = figure < 4 ? 100 : figure < 40 ? PSI_KPA : 1;
        }
        const double a = lo.number.lo * lo.factor + lo.offset + lo.more;
        const double b = hi.number.hi * hi.factor + hi.offset + hi.more;
        *quantity = (struct quantity){fmin(a, b), fmax(a, b), given};
    }
    return error;
}

enum quantity_error quantity_of(const char *words, enum dimension dimension,
                                struct quantity *quantity, bool *whole)
{
    size_t used = 0;
    TEXT(folded);
    const enum quantity_error error =
        text_fold(&folded, words, strlen(words), NULL)
            ? quantity_read(folded.bytes, folded.length, dimension, quantity, &used)
            : QUANTITY_NO_NUMBER;
    *whole = error == QUANTITY_OK && used == folded.length;
    return error;
}

long count_read(const char *words)
{
    struct quantity quantity;
    bool whole;
    const bool read = quantity_of(words, DIM_NONE, &quantity, &whole) == QUANTITY_OK && whole;
    return read && quantity.lo >= 0.0 && quantity.lo >= quantity.hi && quantity.hi < 1e6 &&
                   quantity.hi <= floor(quantity.hi)
               ? (long)quantity.lo
               : -1;
}

size_t quantity_at(const char *folded, size_t length, size_t at, enum dimension dimension,
                   bool unit_required)
{
    const char *start = folded + at;
    /* Most places are told from the start of a quantity by their first byte. */
    if (at >= length || !*start || !strchr("0123456789abcdefhmnoqst+-.", *start))
        return 0;
    /* Inside a number such as 1.5 or a range such as 2-3: it begins earlier. */
    if ((at >= 1 && digit_at(start - 1, start)) ||
        (at >= 2 && start[-1] && strchr(".,/:-", start[-1]) && digit_at(start - 2, start)) ||
        (at >= 4 && !memcmp(start - 3, " - ", 3) && digit_at(start - 4, start)))
        return 0;
    /* A sign or a point belongs to the word before; so does what follows "%" or a degree sign. */
    const char before = at ? start[-1] : ' ';
    if (before == '%' || (at >= 2 && !memcmp(start - 2, DEGREE, 2)) ||
        (*start && strchr("+-.", *start) &&
         (word_continues(&before, &before + 1) || (before == ')' && *start != '.'))))
        return 0;
    struct cursor cursor = {start, folded + length, start, dimension,
                            unit_required && dimension != DIM_NONE};
    struct item lo, hi;
    return read_quantity(&cursor, &lo, &hi) == QUANTITY_OK ? (size_t)(cursor.at - start) : 0;
}

/* ---- what people see ------------------------------------------------------------------------- */

const char *const dimension_names[DIM_COUNT] = {"none",    "days",      "minutes",      "percent",
                                                "celsius", "gauge_kpa", "pressure_kpa", "metres",
                                                "grams",   "litres"};
const char *const dimension_units[DIM_COUNT] = {"",    "d",   "min", "%", "degC",
                                                "kPa", "kPa", "m",   "g", "l"};

/* Three significant digits, whole from 100 on, never an exponent, no trailing zeros. */
static void show(struct text *out, double value, const char *unit)
{
    const double size = fabs(value);
    const int decimals = size < 0.9995 ? 3 : size < 9.995 ? 2 : size < 99.95 ? 1 : 0;
    const size_t start = out->length;
    if (!(size < 1e15)) {
        text_puts(out, isnan(value) ? "unknown" : "beyond measure");
    } else {
        text_printf(out, "%.*f", decimals, value);
        while (decimals > 0 && out->bytes[out->length - 1] == '0')
            text_cut(out, out->length - 1);
        if (out->bytes[out->length - 1] == '.')
            text_cut(out, out->length - 1);
        if (strcmp(out->bytes + start, "-0") == 0) {
            text_cut(out, start);
            text_puts(out, "0");
        }
    }
    text_puts(out, unit);
}

/* Whether the variable names one of these units, separated by '|'. */
static bool prefers(const char *variable, const char *units)
{
    const char *said = getenv(variable);
    return said != NULL && said[0] != '\0' && csv_named(units, said, strlen(said)) >= 0;
}

double degrees_shown(double celsius, char *letter)
{
    *letter = prefers("JARSIDE_TEMPERATURE", "F") ? 'F' : 'C';
    return *letter == 'F' ? celsius * 1.8 + 32 : celsius;
}

void quantity_show(struct text *out, double value, enum dimension dimension)
{
    bool other_first = false;
    const char *unit = "", *other_unit = NULL; /* the same in the other system, in brackets */
    double other = 0;
    const double hours = round(value * 24), whole = round(value);
    if (dimension == DIM_DAYS && value > 0 && value < 0.99 && hours > 0) {
        value = hours; /* under a day hours say more than a decimal */
        unit = hours == 1 ? " hour" : " hours";
    } else if (dimension == DIM_DAYS) {
        unit = value == 1 ? " day" : " days";
    } else if (dimension == DIM_MINUTES && whole > 120 && whole < 1e9) {
        text_printf(out, "%.0f h", floor(whole / 60));
        if (fmod(whole, 60) > 0)
            text_printf(out, " %.0f min", fmod(whole, 60));
        return;
    } else if (dimension == DIM_MINUTES) {
        unit = " min";
    } else if (dimension == DIM_PERCENT) {
        unit = "%";
    } else if (dimension == DIM_CELSIUS) {
        other = round(value * 1.8 + 32);
        unit = " " DEGREE "C", other_unit = " " DEGREE "F";
        other_first = prefers("JARSIDE_TEMPERATURE", "F");
    } else if (dimension == DIM_GAUGE_KPA || dimension == DIM_PRESSURE_KPA) {
        other = value / PSI_KPA;
        const bool bar = prefers("JARSIDE_PRESSURE", "bar");
        value = bar ? value / 100 : value;
        unit = bar ? " bar" : " kPa", other_unit = " psi";
        other_first = prefers("JARSIDE_PRESSURE", "psi");
    } else if (dimension == DIM_METRES) {
        other = round(value / 0.3048);
        unit = " m", other_unit = " ft";
    } else if (dimension == DIM_GRAMS) {
        const bool kilos = !(fabs(value) < 1000), pounds = !(fabs(value) < POUND_G);
        other = value / (pounds ? POUND_G : 28.349523125);
        value = kilos ? value / 1000 : value;
        unit = kilos ? " kg" : " g", other_unit = pounds ? " lb" : " oz";
        other_first = prefers("JARSIDE_WEIGHT", "lb|oz");
    } else if (dimension == DIM_LITRES && fabs(value) < 0.1) {
        value *= 1000; /* a dose: growers measure these in millilitres everywhere */
        unit = " ml";
    } else if (dimension == DIM_LITRES) {
        other = value / 0.946352946;
        unit = " l", other_unit = fabs(other - 1) < 0.005 ? " US quart" : " US quarts";
    }
    show(out, other_first ? other : value, other_first ? other_unit : unit);
    if (other_unit == NULL)
        return;
    text_puts(out, " (");
    show(out, other_first ? value : other, other_first ? unit : other_unit);
    text_puts(out, ")");
}
