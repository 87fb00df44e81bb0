/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/units.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

/* A spelling of a unit in folded text, and what makes it canonical: value * factor + offset. */
struct unit {
    const char *name;
    enum dimension dimension;
    double factor, offset;
};

/* The longest unit of `dimension` that stands at the start and ends there; NULL if none does. */
static const struct unit *unit_at(const char *folded, size_t length, enum dimension dimension);
/* Whether a unit of any dimension but this one stands there and ends there. */
static bool unit_of_others_at(const char *folded, size_t length, enum dimension dimension);

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
static size_t number_read(const char *folded, size_t length, struct number *number);
/* Digits or number words up to ninety-nine, without a sign. */
static size_t number_read_simple(const char *folded, size_t length, double *value);
/* "half", "two thirds" as a share of one. */
static size_t number_read_share(const char *folded, size_t length, double *value);
/* Whether the word at the start names a part: "half", "quarters", "third". */
static bool number_part_at(const char *folded, size_t length);

/* The words of numbers, one after the other; NULL: no more. */
static const char *number_word(size_t index);

/* The length of the first of `words` that `folded` starts with, 0 if none; NULL ends the list. */
static size_t word_at(const char *folded, size_t length, const char *const *words);
/* Whether a letter, a digit or an underscore stands at the start. */
static bool word_continues(const char *folded, size_t length);

/* ==== units table ============================================================================= */

/* The spellings of units and their factors: NIST SP 811 (2008), appendix B.8. */

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

static const struct unit DAYS[] = {
    {"d", DIM_DAYS, 1, 0},
    {"day", DIM_DAYS, 1, 0},
    {"days", DIM_DAYS, 1, 0},
    {"night", DIM_DAYS, 1, 0},
    {"nights", DIM_DAYS, 1, 0},
    {"wk", DIM_DAYS, 7, 0},
    {"wks", DIM_DAYS, 7, 0},
    {"week", DIM_DAYS, 7, 0},
    {"weeks", DIM_DAYS, 7, 0},
    {"fortnight", DIM_DAYS, 14, 0},
    {"fortnights", DIM_DAYS, 14, 0},
    {"mo", DIM_DAYS, MONTH_DAYS, 0},
    {"mos", DIM_DAYS, MONTH_DAYS, 0},
    {"month", DIM_DAYS, MONTH_DAYS, 0},
    {"months", DIM_DAYS, MONTH_DAYS, 0},
    {"yr", DIM_DAYS, 12 * MONTH_DAYS, 0},
    {"yrs", DIM_DAYS, 12 * MONTH_DAYS, 0},
    {"year", DIM_DAYS, 12 * MONTH_DAYS, 0},
    {"years", DIM_DAYS, 12 * MONTH_DAYS, 0},
    {"h", DIM_DAYS, 1.0 / 24, 0},
    {"hr", DIM_DAYS, 1.0 / 24, 0},
    {"hrs", DIM_DAYS, 1.0 / 24, 0},
    {"hour", DIM_DAYS, 1.0 / 24, 0},
    {"hours", DIM_DAYS, 1.0 / 24, 0},
};

static const struct unit MINUTES[] = {
    {"m", DIM_MINUTES, 1, 0},
    {"min", DIM_MINUTES, 1, 0},
    {"mins", DIM_MINUTES, 1, 0},
    {"minute", DIM_MINUTES, 1, 0},
    {"minutes", DIM_MINUTES, 1, 0},
    {"h", DIM_MINUTES, 60, 0},
    {"hr", DIM_MINUTES, 60, 0},
    {"hrs", DIM_MINUTES, 60, 0},
    {"hour", DIM_MINUTES, 60, 0},
    {"hours", DIM_MINUTES, 60, 0},
    {"sec", DIM_MINUTES, 1.0 / 60, 0},
    {"secs", DIM_MINUTES, 1.0 / 60, 0},
    {"seconds", DIM_MINUTES, 1.0 / 60, 0}, /* not "second": that is the one after the first */
    {"day", DIM_MINUTES, 1440, 0},
    {"days", DIM_MINUTES, 1440, 0},
};

static const struct unit PERCENT[] = {
    {"%", DIM_PERCENT, 1, 0},
    {"percent", DIM_PERCENT, 1, 0},
    {"per cent", DIM_PERCENT, 1, 0},
    {"pct", DIM_PERCENT, 1, 0},
};

static const struct unit CELSIUS[] = {
    {"c", DIM_CELSIUS, 1, 0},
    {"celsius", DIM_CELSIUS, 1, 0},
    {"centigrade", DIM_CELSIUS, 1, 0},
    {"f", DIM_CELSIUS, 5.0 / 9, -160.0 / 9},
    {"fahrenheit", DIM_CELSIUS, 5.0 / 9, -160.0 / 9},
    {"k", DIM_CELSIUS, 1, -273.15},
    {"kelvin", DIM_CELSIUS, 1, -273.15},
};

static const struct unit GAUGE[] = {
    {"psi", DIM_GAUGE_KPA, PSI_KPA, 0},
    {"psig", DIM_GAUGE_KPA, PSI_KPA, 0},
    {"p.s.i.", DIM_GAUGE_KPA, PSI_KPA, 0},
    {"lb", DIM_GAUGE_KPA, PSI_KPA, 0},
    {"lbs", DIM_GAUGE_KPA, PSI_KPA, 0},
    {"pound", DIM_GAUGE_KPA, PSI_KPA, 0},
    {"pounds", DIM_GAUGE_KPA, PSI_KPA, 0},
    {"bar", DIM_GAUGE_KPA, 100, 0},
    {"bars", DIM_GAUGE_KPA, 100, 0},
    {"barg", DIM_GAUGE_KPA, 100, 0},
    {"kpa", DIM_GAUGE_KPA, 1, 0},
    {"mpa", DIM_GAUGE_KPA, 1000, 0},
    {"kg/cm2", DIM_GAUGE_KPA, KGF_CM2_KPA, 0},
    {"kgf/cm2", DIM_GAUGE_KPA, KGF_CM2_KPA, 0},
};

static const struct unit PRESSURE[] = {
    {"hpa", DIM_PRESSURE_KPA, 0.1, 0},
    {"mbar", DIM_PRESSURE_KPA, 0.1, 0},
    {"millibar", DIM_PRESSURE_KPA, 0.1, 0},
    {"millibars", DIM_PRESSURE_KPA, 0.1, 0},
    {"mmhg", DIM_PRESSURE_KPA, MMHG_KPA, 0},
    {"mm hg", DIM_PRESSURE_KPA, MMHG_KPA, 0},
    {"torr", DIM_PRESSURE_KPA, ATM_KPA / 760, 0},
    {"inhg", DIM_PRESSURE_KPA, INHG_KPA, 0},
    {"in hg", DIM_PRESSURE_KPA, INHG_KPA, 0},
    {"inches of mercury", DIM_PRESSURE_KPA, INHG_KPA, 0},
    {"atm", DIM_PRESSURE_KPA, ATM_KPA, 0},
    {"kpa", DIM_PRESSURE_KPA, 1, 0},
    {"bar", DIM_PRESSURE_KPA, 100, 0},
    {"psi", DIM_PRESSURE_KPA, PSI_KPA, 0},
    {"psia", DIM_PRESSURE_KPA, PSI_KPA, 0},
};

static const struct unit METRES[] = {
    {"m", DIM_METRES, 1, 0},           {"metre", DIM_METRES, 1, 0},
    {"metres", DIM_METRES, 1, 0},      {"meter", DIM_METRES, 1, 0},
    {"meters", DIM_METRES, 1, 0},      {"masl", DIM_METRES, 1, 0},
    {"km", DIM_METRES, 1000, 0},       {"ft", DIM_METRES, 0.3048, 0},
    {"foot", DIM_METRES, 0.3048, 0},   {"feet", DIM_METRES, 0.3048, 0},
    {"mile", DIM_METRES, 1609.344, 0}, {"miles", DIM_METRES, 1609.344, 0},
};

static const struct unit GRAMS[] = {
    {"g", DIM_GRAMS, 1, 0},
    {"gm", DIM_GRAMS, 1, 0},
    {"gms", DIM_GRAMS, 1, 0},
    {"gram", DIM_GRAMS, 1, 0},
    {"grams", DIM_GRAMS, 1, 0},
    {"kg", DIM_GRAMS, 1000, 0},
    {"kgs", DIM_GRAMS, 1000, 0},
    {"kilo", DIM_GRAMS, 1000, 0},
    {"kilos", DIM_GRAMS, 1000, 0},
    {"kilogram", DIM_GRAMS, 1000, 0},
    {"kilograms", DIM_GRAMS, 1000, 0},
    {"lb", DIM_GRAMS, POUND_G, 0},
    {"lbs", DIM_GRAMS, POUND_G, 0},
    {"pound", DIM_GRAMS, POUND_G, 0},
    {"pounds", DIM_GRAMS, POUND_G, 0},
    {"oz", DIM_GRAMS, POUND_G / 16, 0},
    {"ounce", DIM_GRAMS, POUND_G / 16, 0},
    {"ounces", DIM_GRAMS, POUND_G / 16, 0},
};

static const struct unit LITRES[] = {
    {"l", DIM_LITRES, 1, 0},
    {"ltr", DIM_LITRES, 1, 0},
    {"ltrs", DIM_LITRES, 1, 0},
    {"litre", DIM_LITRES, 1, 0},
    {"litres", DIM_LITRES, 1, 0},
    {"liter", DIM_LITRES, 1, 0},
    {"liters", DIM_LITRES, 1, 0},
    {"ml", DIM_LITRES, 0.001, 0},
    {"mls", DIM_LITRES, 0.001, 0},
    {"millilitre", DIM_LITRES, 0.001, 0},
    {"millilitres", DIM_LITRES, 0.001, 0},
    {"milliliter", DIM_LITRES, 0.001, 0},
    {"milliliters", DIM_LITRES, 0.001, 0},
    {"cc", DIM_LITRES, 0.001, 0},
    {"ccs", DIM_LITRES, 0.001, 0},
    {"cl", DIM_LITRES, 0.01, 0},
    {"dl", DIM_LITRES, 0.1, 0},
    {"pt", DIM_LITRES, GALLON_L / 8, 0},
    {"pts", DIM_LITRES, GALLON_L / 8, 0},
    {"pint", DIM_LITRES, GALLON_L / 8, 0},
    {"pints", DIM_LITRES, GALLON_L / 8, 0},
    {"qt", DIM_LITRES, GALLON_L / 4, 0},
    {"qts", DIM_LITRES, GALLON_L / 4, 0},
    {"quart", DIM_LITRES, GALLON_L / 4, 0},
    {"quarts", DIM_LITRES, GALLON_L / 4, 0},
    {"gal", DIM_LITRES, GALLON_L, 0},
    {"gals", DIM_LITRES, GALLON_L, 0},
    {"gallon", DIM_LITRES, GALLON_L, 0},
    {"gallons", DIM_LITRES, GALLON_L, 0},
    {"cup", DIM_LITRES, GALLON_L / 16, 0},
    {"cups", DIM_LITRES, GALLON_L / 16, 0},
    {"floz", DIM_LITRES, GALLON_L / 128, 0},
    {"fl oz", DIM_LITRES, GALLON_L / 128, 0},
    {"fluid ounce", DIM_LITRES, GALLON_L / 128, 0},
    {"fluid ounces", DIM_LITRES, GALLON_L / 128, 0},
};

#define TABLE(units)                                                                               \
    {                                                                                              \
        units, sizeof(units) / sizeof((units)[0])                                                  \
    }

static const struct {
    const struct unit *units;
    size_t count;
} TABLES[DIM_COUNT] = {
    [DIM_DAYS] = TABLE(DAYS),       [DIM_MINUTES] = TABLE(MINUTES),
    [DIM_PERCENT] = TABLE(PERCENT), [DIM_CELSIUS] = TABLE(CELSIUS),
    [DIM_GAUGE_KPA] = TABLE(GAUGE), [DIM_PRESSURE_KPA] = TABLE(PRESSURE),
    [DIM_METRES] = TABLE(METRES),   [DIM_GRAMS] = TABLE(GRAMS),
    [DIM_LITRES] = TABLE(LITRES),
};

static bool word_continues(const char *folded, size_t length)
{
    if (length == 0)
        return false;
    const char byte = folded[0];
    return (byte >= 'a' && byte <= 'z') || (byte >= '0' && byte <= '9') || byte == '_' ||
           ((unsigned char)byte >= 0x80 && strncmp(folded, DEGREE, length < 2 ? length : 2) != 0);
}

static size_t text_at(const char *folded, size_t length, const char *word)
{
    if (length == 0 || folded[0] != word[0]) /* nearly always: there are many words to try */
        return 0;
    const size_t size = strlen(word);
    return size <= length && memcmp(folded, word, size) == 0 ? size : 0;
}

static size_t word_at(const char *folded, size_t length, const char *const *words)
{
    for (; *words; words++) {
        const size_t size = text_at(folded, length, *words);
        if (size && !word_continues(folded + size, length - size))
            return size;
    }
    return 0;
}

/* 2h30, 1lb8oz: a large unit may run into the smaller one's figures; the caller looks at them. */
static bool runs_on(const struct unit *unit, char next)
{
    const bool large = (unit->dimension == DIM_MINUTES && unit->factor == 60) ||
                       (unit->dimension == DIM_GRAMS && unit->factor > 100);
    return large && next >= '0' && next <= '9';
}

static bool unit_ends(const struct unit *unit, const char *rest, size_t length)
{
    return unit->name[0] == '%' || !word_continues(rest, length);
}

/* The longest of one dimension that stands here; `runs`: it may also run into figures. */
static const struct unit *find(const char *folded, size_t length, size_t dimension, bool runs)
{
    const struct unit *longest = NULL;
    size_t most = 0;
    for (size_t i = 0; i < TABLES[dimension].count; i++) {
        const struct unit *unit = &TABLES[dimension].units[i];
        const size_t size = text_at(folded, length, unit->name);
        if (size > most && (unit_ends(unit, folded + size, length - size) ||
                            (runs && size < length && runs_on(unit, folded[size])))) {
            longest = unit;
            most = size;
        }
    }
    return longest;
}

static const struct unit *unit_at(const char *folded, size_t length, enum dimension dimension)
{
    return find(folded, length, dimension, true);
}

static bool unit_of_others_at(const char *folded, size_t length, enum dimension dimension)
{
    for (size_t other = 0; other < DIM_COUNT; other++)
        if (other != (size_t)dimension && find(folded, length, other, false))
            return true;
    return false;
}

const char *quantity_word(size_t index)
{
    for (size_t dimension = 0; dimension < DIM_COUNT; dimension++) {
        if (index < TABLES[dimension].count)
            return TABLES[dimension].units[index].name;
        index -= TABLES[dimension].count;
    }
    return number_word(index);
}

/* ==== units number ============================================================================ */

/* Numbers in figures and in words, without their units. */

/* Figures beyond this are read as this: still finite, and far outside what anyone can mean. */
static const double LARGEST = 1e15;

static bool is_digit(const char *folded, size_t length, size_t at)
{
    return at < length && folded[at] >= '0' && folded[at] <= '9';
}

static size_t count_digits(const char *folded, size_t length, size_t at)
{
    size_t count = 0;
    while (is_digit(folded, length, at + count))
        count++;
    return count;
}

/* Bytes of "1,500" or "1,500,000" at the start; 0 when its commas do not group thousands. */
static size_t grouped_length(const char *folded, size_t length)
{
    const size_t head = count_digits(folded, length, 0);
    if (head < 1 || head > 3 || folded[0] == '0')
        return 0;
    size_t at = head;
    while (at < length && folded[at] == ',' && is_digit(folded, length, at + 1)) {
        if (count_digits(folded, length, at + 1) != 3)
            return 0;
        at += 4;
    }
    return at > head ? at : 0;
}

/* Fifteen figures are exact in a double, and so is the power of ten they are divided by. */
static double digits_value(const char *whole, size_t whole_length, const char *part,
                           size_t part_length)
{
    enum { EXACT = 15 };
    double value = 0;
    double scale = 1;
    int figures = 0;
    for (size_t i = 0; i < whole_length; i++) {
        if (whole[i] == ',')
            continue;
        value = value * 10 + (whole[i] - '0');
        if (value > LARGEST)
            return LARGEST;
        figures += value > 0 ? 1 : 0;
    }
    for (size_t i = 0; i < part_length && figures < EXACT && scale < LARGEST; i++) {
        value = value * 10 + (part[i] - '0');
        scale *= 10;
        figures += value > 0 ? 1 : 0;
    }
    return value / scale;
}

static size_t read_digits(const char *folded, size_t length, double *value)
{
    const size_t grouped = grouped_length(folded, length);
    const size_t whole = grouped ? grouped : count_digits(folded, length, 0);
    size_t part = 0;
    if (whole < length && (folded[whole] == '.' || (folded[whole] == ',' && whole > 0)))
        part = count_digits(folded, length, whole + 1);
    if (whole == 0 && part == 0)
        return 0;
    *value = digits_value(folded, whole, part ? folded + whole + 1 : folded, part);
    return part ? whole + 1 + part : whole;
}

/* "3/4": three figures over up to three, the lower one not starting with a nought. */
static size_t read_ratio(const char *folded, size_t length, double *value)
{
    const size_t above = count_digits(folded, length, 0);
    if (above < 1 || above > 3 || above >= length || folded[above] != '/')
        return 0;
    const size_t below = count_digits(folded, length, above + 1);
    if (below < 1 || below > 3 || folded[above + 1] == '0')
        return 0;
    *value = digits_value(folded, above, "", 0) / digits_value(folded + above + 1, below, "", 0);
    return above + 1 + below;
}

struct word {
    const char *spelling;
    double value;
};

static const struct word ONES[] = {
    {"one", 1}, {"two", 2},   {"three", 3}, {"four", 4}, {"five", 5},
    {"six", 6}, {"seven", 7}, {"eight", 8}, {"nine", 9}, {NULL, 0},
};

static const struct word TEENS[] = {
    {"ten", 10},      {"eleven", 11},   {"twelve", 12},  {"thirteen", 13},
    {"fourteen", 14}, {"fifteen", 15},  {"sixteen", 16}, {"seventeen", 17},
    {"eighteen", 18}, {"nineteen", 19}, {NULL, 0},
};

static const struct word TENS[] = {
    {"twenty", 20},  {"thirty", 30}, {"forty", 40},  {"fifty", 50}, {"sixty", 60},
    {"seventy", 70}, {"eighty", 80}, {"ninety", 90}, {NULL, 0},
};

static const struct word FRACTIONS[] = {
    {"half", 2},    {"quarter", 4}, {"quarters", 4}, {"third", 3}, {"thirds", 3}, {"fourth", 4},
    {"fourths", 4}, {"fifth", 5},   {"fifths", 5},   {"sixth", 6}, {"sixths", 6}, {"eighth", 8},
    {"eighths", 8}, {"tenth", 10},  {"tenths", 10},  {NULL, 0},
};

static size_t read_word(const char *folded, size_t length, const struct word *words, double *value)
{
    for (; words->spelling; words++) {
        if (length == 0 || folded[0] != words->spelling[0]) /* nearly always */
            continue;
        const char *const alone[] = {words->spelling, NULL};
        const size_t size = word_at(folded, length, alone);
        if (size) {
            *value = words->value;
            return size;
        }
    }
    return 0;
}

static bool is_joint(const char *folded, size_t length, size_t at)
{
    return at < length && (folded[at] == ' ' || folded[at] == '-');
}

/* One to ninety-nine in words. */
static size_t read_below_hundred(const char *folded, size_t length, double *value)
{
    double ones = 0;
    size_t used = read_word(folded, length, TENS, value);
    if (used && is_joint(folded, length, used)) {
        const size_t more = read_word(folded + used + 1, length - used - 1, ONES, &ones);
        if (more) {
            *value += ones;
            return used + 1 + more;
        }
    }
    if (!used)
        used = read_word(folded, length, TEENS, value);
    return used ? used : read_word(folded, length, ONES, value);
}

static size_t number_read_simple(const char *folded, size_t length, double *value)
{
    const size_t used = read_digits(folded, length, value);
    return used ? used : read_below_hundred(folded, length, value);
}

static size_t read_article(const char *folded, size_t length)
{
    static const char *const ARTICLES[] = {"an", "a", NULL};
    return word_at(folded, length, ARTICLES);
}

/* "a hundred", "two hundred and fifty", and what is below a hundred. */
static size_t read_hundreds(const char *folded, size_t length, double *value)
{
    static const char *const HUNDRED[] = {" hundred", NULL};
    static const char *const AND[] = {" and", NULL};
    double count = 1;
    size_t used = read_below_hundred(folded, length, &count);
    const bool article = !used && length > 0 && folded[0] == 'a';
    size_t at = article ? 1 : used;
    const size_t hundred = at ? word_at(folded + at, length - at, HUNDRED) : 0;
    if (!hundred) {
        *value = count;
        return used;
    }
    at += hundred;
    *value = count * 100;
    size_t next = at + word_at(folded + at, length - at, AND);
    if (next < length && folded[next] == ' ') {
        double rest = 0;
        const size_t more = read_below_hundred(folded + next + 1, length - next - 1, &rest);
        if (more) {
            *value += rest;
            return next + 1 + more;
        }
    }
    return at;
}

/* "a couple of", "a few", "several", "a dozen": some of them are ranges. */
static size_t read_some(const char *folded, size_t length, struct number *number)
{
    static const struct {
        const char *words[3];
        double lo, hi;
    } SOME[] = {
        {{"couple of", "couple", NULL}, 2, 2},
        {{"few", NULL, NULL}, 2, 5},
        {{"several", NULL, NULL}, 3, 7},
        {{"dozen", NULL, NULL}, 12, 12},
    };
    size_t at = read_article(folded, length);
    if (at && (at >= length || folded[at++] != ' '))
        return 0;
    for (size_t i = 0; i < sizeof SOME / sizeof SOME[0]; i++) {
        const size_t size = word_at(folded + at, length - at, SOME[i].words);
        if (size) {
            *number = (struct number){NUMBER_PLAIN, SOME[i].lo, SOME[i].hi};
            return at + size;
        }
    }
    return 0;
}

static bool number_part_at(const char *folded, size_t length)
{
    double parts = 0;
    return read_word(folded, length, FRACTIONS, &parts) > 0;
}

/* "half", "a quarter", "two thirds"; only halves and quarters stand without a count. */
static size_t read_part(const char *folded, size_t length, struct number *number)
{
    double count = 1;
    double parts = 0;
    size_t at = read_article(folded, length);
    if (!at)
        at = read_word(folded, length, ONES, &count);
    if (at && !is_joint(folded, length, at))
        return 0;
    const size_t start = at ? at + 1 : 0;
    const size_t size = read_word(folded + start, length - start, FRACTIONS, &parts);
    static const char *const ALONE[] = {"half", "quarter", NULL};
    if (!size || (!at && !word_at(folded, length, ALONE)))
        return 0;
    *number = (struct number){NUMBER_PART, count / parts, count / parts};
    return start + size;
}

static size_t number_read_share(const char *folded, size_t length, double *value)
{
    struct number number = {0};
    const size_t used = read_part(folded, length, &number);
    *value = number.lo;
    return used;
}

/* "2 1/2", "two and a half": the part behind a whole. */
static size_t read_rest(const char *folded, size_t length, bool figures, double *rest)
{
    static const struct word RESTS[] = {
        {" and a half", 0.5}, {" and a quarter", 0.25}, {" and three quarters", 0.75}, {NULL, 0}};
    size_t used = 0;
    double words = 0;
    if (figures && is_joint(folded, length, 0))
        used = read_ratio(folded + 1, length - 1, rest);
    used += used ? 1 : 0;
    used += read_word(folded + used, length - used, RESTS, &words);
    *rest += words;
    return used;
}

static size_t read_sign(const char *folded, size_t length, double *sign)
{
    static const char *const MINUS[] = {"minus", NULL};
    const size_t word = word_at(folded, length, MINUS);
    *sign = word || (length && folded[0] == '-') ? -1 : 1;
    if (word)
        return word < length && folded[word] == ' ' ? word + 1 : 0;
    return length && (folded[0] == '-' || folded[0] == '+') ? 1 : 0;
}

static size_t number_read(const char *folded, size_t length, struct number *number)
{
    *number = (struct number){0};
    double sign = 1;
    double value = 0;
    const size_t start = read_sign(folded, length, &sign);
    if (!start && !is_digit(folded, length, 0)) {
        size_t used = read_part(folded, length, number);
        used = used ? used : read_some(folded, length, number);
        if (used)
            return used;
    }
    const char *at = folded + start;
    const size_t left = length - start;
    enum number_kind kind = NUMBER_RATIO;
    size_t used = read_ratio(at, left, &value);
    if (!used) {
        double rest = 0;
        kind = NUMBER_PLAIN;
        used = read_digits(at, left, &value);
        const bool figures = used > 0;
        used = used ? used : read_hundreds(at, left, &value);
        if (used)
            used += read_rest(at + used, left - used, figures, &rest);
        value += rest;
    }
    if (!used && !start) {
        used = read_article(folded, length);
        kind = NUMBER_ARTICLE;
        value = 1;
    }
    if (!used)
        return 0;
    *number = (struct number){kind, sign * value, sign * value};
    return start + used;
}

static const char *number_word(size_t index)
{
    static const char *const OTHERS[] = {"hundred", "couple",  "dozen",   "few",    "several",
                                         "minus",   "between", "degrees", "degree", "pressure"};
    static const struct word *const LISTS[] = {ONES, TEENS, TENS, FRACTIONS};
    for (size_t list = 0; list < sizeof LISTS / sizeof LISTS[0]; list++)
        for (const struct word *word = LISTS[list]; word->spelling; word++)
            if (index-- == 0)
                return word->spelling;
    return index < sizeof OTHERS / sizeof OTHERS[0] ? OTHERS[index] : NULL;
}

/* ==== units read ============================================================================== */

/* A number and its unit, alone or as the ends of a range. */

struct item {
    struct number number;
    bool named;    /* a unit stood there, though it may be no more than "degrees" */
    bool has_unit; /* and it was plain which */
    bool has_tail; /* something followed the unit: it can no longer be the start of a range */
    double factor, offset;
    double more; /* from the tail: the 8 oz of "1 lb 8 oz", in canonical units */
};

/* Where reading stands. */
struct cursor {
    const char *text;
    size_t length;
    size_t at;
    enum dimension dimension;
    bool unit_required; /* at the number that is read, or at the end of its range */
};

static const char *here(const struct cursor *cursor)
{
    return cursor->text + cursor->at;
}

static size_t left(const struct cursor *cursor)
{
    return cursor->length - cursor->at;
}

static bool next_is(const struct cursor *cursor, char byte)
{
    return left(cursor) > 0 && *here(cursor) == byte;
}

static bool digit_next(const struct cursor *cursor)
{
    return left(cursor) > 0 && *here(cursor) >= '0' && *here(cursor) <= '9';
}

static bool take(struct cursor *cursor, const char *word)
{
    const char *const words[] = {word, NULL};
    const size_t used = word_at(here(cursor), left(cursor), words);
    cursor->at += used;
    return used > 0;
}

static bool take_any(struct cursor *cursor, const char *const *words)
{
    const size_t used = word_at(here(cursor), left(cursor), words);
    cursor->at += used;
    return used > 0;
}

/* Between a number and its unit: a space, a hyphen, or nothing after a figure. */
static bool take_joint(struct cursor *cursor)
{
    if (next_is(cursor, ' ') || next_is(cursor, '-')) {
        cursor->at++;
        return true;
    }
    return cursor->at > 0 &&
           !(cursor->text[cursor->at - 1] >= 'a' && cursor->text[cursor->at - 1] <= 'z');
}

/* A bare number ends here: neither letters nor another number hang on it. */
static bool ends_clean(const struct cursor *cursor)
{
    const size_t more = left(cursor);
    if (word_continues(here(cursor), more))
        return false;
    const char *next = here(cursor);
    return !(more > 1 && (next[0] == '.' || next[0] == ',' || next[0] == '/') && next[1] >= '0' &&
             next[1] <= '9');
}

/* ---- units ----------------------------------------------------------------------------------- */

/* "15 lb pressure", "15 pounds per square inch"; but not the pressure of "pressure cooked". */
static void take_pressure_words(struct cursor *cursor)
{
    static const char *const OF_PRESSURE[] = {" of pressure", " pressure", NULL};
    static const char *const COOK[] = {" c", "-c", NULL};
    (void)take(cursor, " per square inch");
    const size_t used = word_at(here(cursor), left(cursor), OF_PRESSURE);
    const char *after = here(cursor) + used;
    const size_t room = left(cursor) - used;
    for (size_t i = 0; used && COOK[i]; i++) {
        if (room >= 2 && memcmp(after, COOK[i], 2) == 0)
            return;
    }
    cursor->at += used;
}

/* The sign or word for degrees, after which the scale may follow. */
static bool take_degrees(struct cursor *cursor)
{
    static const char *const DEGREES[] = {"degrees", "degree", "degs", "deg", NULL};
    if (left(cursor) >= 2 && memcmp(here(cursor), "\xC2\xB0", 2) == 0) {
        cursor->at += 2;
        return true;
    }
    if (take_any(cursor, DEGREES))
        return true;
    struct cursor glued = *cursor; /* "degc" */
    static const char *const GLUED[] = {"degc", "degf", NULL};
    if (!take_any(&glued, GLUED))
        return false;
    cursor->at += 3;
    return true;
}

static bool take_unit(struct cursor *cursor, struct item *item)
{
    struct cursor ahead = *cursor;
    if (!take_joint(&ahead))
        return false;
    const bool degrees = cursor->dimension == DIM_CELSIUS && take_degrees(&ahead);
    struct cursor scale = ahead;
    if (degrees && next_is(&scale, ' '))
        scale.at++;
    const struct unit *unit = unit_at(here(&scale), left(&scale), cursor->dimension);
    if (!unit) {
        if (!degrees || word_continues(here(&ahead), left(&ahead)))
            return false;
        item->named = true; /* "75 degrees" */
        *cursor = ahead;
        return true;
    }
    scale.at += strlen(unit->name);
    item->named = item->has_unit = true;
    item->factor = unit->factor;
    item->offset = unit->offset;
    if (cursor->dimension == DIM_GAUGE_KPA)
        take_pressure_words(&scale);
    *cursor = scale;
    return true;
}

/* ---- tails ----------------------------------------------------------------------------------- */

/* A smaller unit that may follow a larger one without a comma. */
struct smaller {
    enum dimension dimension;
    double least; /* the larger unit is at least this */
    double factor;
    const char *words[6];
};

static const struct smaller SMALLER[] = {
    {DIM_DAYS, 7, 1, {"d", "day", "days", NULL}},
    {DIM_MINUTES, 60, 1, {"m", "min", "mins", "minute", "minutes", NULL}},
    {DIM_GRAMS, 1000, 1, {"g", "gram", "grams", NULL}},
    {DIM_GRAMS, 453, 453.59237 / 16, {"oz", "ounce", "ounces", NULL}},
};

static bool larger_fits(const struct smaller *smaller, const struct item *item)
{
    if (smaller->dimension == DIM_GRAMS) /* pounds have ounces, kilograms have grams */
        return smaller->least <= item->factor && item->factor < smaller->least + 1;
    if (smaller->dimension == DIM_MINUTES)
        return item->factor == smaller->least;
    return item->factor == 7 || (item->factor > 30 && item->factor < 31);
}

static bool take_smaller(struct cursor *cursor, struct item *item)
{
    for (size_t i = 0; i < sizeof SMALLER / sizeof SMALLER[0]; i++) {
        const struct smaller *smaller = &SMALLER[i];
        if (smaller->dimension != cursor->dimension || !larger_fits(smaller, item))
            continue;
        struct cursor ahead = *cursor;
        const bool and = take(&ahead, " and");
        if (next_is(&ahead, ' '))
            ahead.at++;
        else if (and)
            continue;
        double count = 0;
        const size_t used = number_read_simple(here(&ahead), left(&ahead), &count);
        ahead.at += used;
        if (used && take_joint(&ahead) && take_any(&ahead, smaller->words)) {
            item->more = count * smaller->factor;
            *cursor = ahead;
            return true;
        }
    }
    return false;
}

/* "2 h 30", "2h30": minutes after hours need no unit where nothing else can be meant. */
static bool take_minutes(struct cursor *cursor, struct item *item)
{
    static const char *const AFTER[] = {" at", " in", " for", " under", " with", " on", NULL};
    struct cursor ahead = *cursor;
    const bool space = next_is(&ahead, ' ');
    if (cursor->dimension != DIM_MINUTES || item->factor != 60)
        return false;
    ahead.at += space ? 1 : 0;
    if (left(&ahead) < 2 || !digit_next(&ahead) || *here(&ahead) > '5')
        return false;
    double minutes = (*here(&ahead) - '0') * 10;
    ahead.at++;
    if (!digit_next(&ahead))
        return false;
    minutes += *here(&ahead) - '0';
    ahead.at++;
    if (!ends_clean(&ahead))
        return false;
    if (space && left(&ahead) > 0 && !strchr(".,;:!?)", *here(&ahead)) &&
        !word_at(here(&ahead), left(&ahead), AFTER))
        return false;
    item->more = minutes;
    *cursor = ahead;
    return true;
}

/* "an hour and a half": the share of the unit, or 0. */
static double take_share(struct cursor *cursor)
{
    if (take(cursor, " and a half"))
        return 0.5;
    if (take(cursor, " and a quarter"))
        return 0.25;
    return take(cursor, " and three quarters") ? 0.75 : 0;
}

static bool take_tail(struct cursor *cursor, struct item *item)
{
    if (take_smaller(cursor, item) || take_minutes(cursor, item))
        return true;
    if (cursor->dimension == DIM_CELSIUS || cursor->dimension == DIM_PERCENT)
        return false;
    const double share = take_share(cursor);
    item->more = share * item->factor;
    return share > 0;
}

/* ---- items and ranges ------------------------------------------------------------------------ */

/* "half an hour", "a quarter of an hour": the words between a part and its unit. */
static bool take_part_joint(struct cursor *cursor, const struct number *number)
{
    static const char *const OF[] = {" of an", " of a", " an", " a", NULL};
    const double parts = number->lo * 4;
    if (parts != floor(parts) || parts > 3) /* thirds of a unit are more often ordinals */
        return false;
    (void)take_any(cursor, OF);
    return true;
}

/* A share of one, in per cent. */
static void share_out(struct item *item)
{
    item->named = item->has_unit = true;
    item->factor = 100;
}

static enum quantity_fault unit_fault(const struct cursor *cursor)
{
    struct cursor ahead = *cursor;
    if (cursor->dimension != DIM_NONE && take_joint(&ahead) &&
        (unit_of_others_at(here(&ahead), left(&ahead), cursor->dimension) || take_degrees(&ahead)))
        return QUANTITY_WRONG_UNIT;
    return ends_clean(cursor) ? QUANTITY_OK : QUANTITY_UNKNOWN_UNIT;
}

/* "twenty thirds": a number word that only counts the parts behind it. */
static bool counts_parts(const struct cursor *cursor)
{
    const char last = cursor->text[cursor->at - 1];
    return last >= 'a' && last <= 'z' && (next_is(cursor, ' ') || next_is(cursor, '-')) &&
           number_part_at(here(cursor) + 1, left(cursor) - 1);
}

static bool take_separator(struct cursor *cursor)
{
    static const char *const WORDS[] = {" to ", " or ", " - ", " -", "- ", "-", NULL};
    for (size_t i = 0; WORDS[i]; i++) {
        const size_t size = strlen(WORDS[i]);
        if (left(cursor) >= size && memcmp(here(cursor), WORDS[i], size) == 0) {
            cursor->at += size;
            return true;
        }
    }
    return false;
}

/* Without a unit: a share is one of itself in per cent, an article is no number at all. */
static enum quantity_fault accept_bare(const struct cursor *cursor, struct item *item)
{
    if (item->number.kind == NUMBER_ARTICLE)
        return QUANTITY_NO_NUMBER;
    const bool part = item->number.kind == NUMBER_PART;
    const bool percent = cursor->dimension == DIM_PERCENT;
    if (percent && (part || item->number.kind == NUMBER_RATIO))
        share_out(item);
    if (part && percent)
        return QUANTITY_OK;
    if (cursor->dimension != DIM_NONE && !percent && (part || counts_parts(cursor)))
        return QUANTITY_NO_NUMBER;
    struct cursor ahead = *cursor;
    if (cursor->unit_required && !item->named && !take_separator(&ahead))
        return QUANTITY_UNKNOWN_UNIT; /* whatever else stands here */
    return unit_fault(cursor);
}

static enum quantity_fault read_item(struct cursor *cursor, struct item *item)
{
    *item = (struct item){.factor = 1};
    const size_t used = number_read(here(cursor), left(cursor), &item->number);
    if (!used)
        return QUANTITY_NO_NUMBER;
    struct cursor ahead = *cursor;
    ahead.at += used;
    const struct cursor bare = ahead;
    const bool part = item->number.kind == NUMBER_PART;
    const bool whole = cursor->dimension == DIM_PERCENT && item->number.kind <= NUMBER_PART;
    if (cursor->dimension != DIM_NONE && !whole &&
        (!part || take_part_joint(&ahead, &item->number)) && take_unit(&ahead, item)) {
        item->has_tail = take_tail(&ahead, item);
        if (ahead.text[ahead.at - 1] == '%' || !word_continues(here(&ahead), left(&ahead))) {
            *cursor = ahead;
            return QUANTITY_OK;
        }
        *item = (struct item){.number = item->number, .factor = 1};
    }
    *cursor = bare;
    return accept_bare(cursor, item);
}

static double ends_min(double a, double b)
{
    return a < b ? a : b;
}

static double ends_max(double a, double b)
{
    return a > b ? a : b;
}

/* A bare gauge pressure: a canner reads 10 to 15 psi, which is 0.7 to 1 bar or 70 to 100 kPa; nothing
 * in its range can be meant by the same figure in another unit. */
static double bare_gauge_factor(double figure)
{
    static const double PSI = 6.894757293168361;
    static const double BAR = 100;
    return figure < 4 ? BAR : figure < 40 ? PSI : 1;
}

/* In canonical units. A bare temperature below 45 is Celsius: no grower's room is colder than
 * 45 degrees Fahrenheit, none warmer than 45 Celsius. The higher end of a range decides. */
static void settle(enum dimension dimension, struct item *lo, struct item *hi,
                   struct quantity *quantity)
{
    if (!lo->has_unit && hi->has_unit && !(lo->number.kind == NUMBER_PART && hi->factor == 100)) {
        lo->factor = hi->factor;
        lo->offset = hi->offset;
    } else if (lo->has_unit && !hi->has_unit) {
        hi->factor = lo->factor;
        hi->offset = lo->offset;
    }
    const bool given = lo->has_unit || hi->has_unit;
    if (dimension == DIM_CELSIUS && !given && ends_max(lo->number.hi, hi->number.hi) >= 45) {
        lo->factor = hi->factor = 5.0 / 9;
        lo->offset = hi->offset = -160.0 / 9;
    }
    if (dimension == DIM_GAUGE_KPA && !given)
        lo->factor = hi->factor = bare_gauge_factor(ends_max(lo->number.hi, hi->number.hi));
    const double a = lo->number.lo * lo->factor + lo->offset + lo->more;
    const double b = hi->number.hi * hi->factor + hi->offset + hi->more;
    quantity->lo = ends_min(a, b);
    quantity->hi = ends_max(a, b);
    quantity->unit_given = given;
}

/* The start of "between 2 and 3 weeks", up to and with the "and". */
static bool read_between(struct cursor *cursor, struct item *lo)
{
    struct cursor ahead = *cursor;
    *lo = (struct item){.factor = 1};
    if (!take(&ahead, "between") || !next_is(&ahead, ' '))
        return false;
    ahead.at++;
    double value = 0;
    size_t used = 0;
    if (ahead.dimension == DIM_NONE || ahead.dimension == DIM_PERCENT)
        used = number_read_share(here(&ahead), left(&ahead), &value);
    lo->number.kind = used ? NUMBER_PART : NUMBER_PLAIN;
    if (!used)
        used = number_read_simple(here(&ahead), left(&ahead), &value);
    lo->number.lo = lo->number.hi = value;
    if (!used)
        return false;
    ahead.at += used;
    if (lo->number.kind == NUMBER_PART && ahead.dimension == DIM_PERCENT)
        share_out(lo);
    else if (ahead.dimension != DIM_NONE)
        (void)take_unit(&ahead, lo);
    struct cursor tail = ahead;
    if ((lo->number.kind != NUMBER_PART && take_share(&tail) > 0) || !take(&ahead, " and") ||
        !next_is(&ahead, ' '))
        return false;
    ahead.at++;
    *cursor = ahead;
    return true;
}

/* "a week or two": the second number shares the unit of the first. */
static void take_or_more(struct cursor *cursor, const struct item *lo, struct item *hi)
{
    static const struct {
        const char *words;
        double value;
    } MORE[] = {{" or two", 2}, {" or three", 3}};
    const bool may = lo->has_unit && cursor->dimension != DIM_PERCENT;
    for (size_t i = 0; may && i < sizeof MORE / sizeof MORE[0]; i++) {
        if (take(cursor, MORE[i].words)) {
            *hi = *lo;
            hi->number.lo = hi->number.hi = MORE[i].value;
            return;
        }
    }
}

/* An item, or two with a separator between them; the second may have to name its unit. */
static enum quantity_fault read_range(struct cursor *cursor, struct item *lo, struct item *hi)
{
    const enum quantity_fault fault = read_item(cursor, lo);
    if (fault != QUANTITY_OK)
        return fault;
    *hi = *lo;
    struct cursor ahead = *cursor;
    struct item next;
    if (!lo->has_tail && take_separator(&ahead) && read_item(&ahead, &next) == QUANTITY_OK &&
        (next.named || !cursor->unit_required)) {
        *hi = next;
        *cursor = ahead;
    }
    return QUANTITY_OK;
}

/* The whole of it, from where the cursor stands to behind its last word. */
static enum quantity_fault read_quantity(struct cursor *cursor, struct item *lo, struct item *hi)
{
    struct item from;
    const bool between = read_between(cursor, &from);
    const enum quantity_fault fault = read_range(cursor, lo, hi);
    if (fault != QUANTITY_OK)
        return fault;
    if (cursor->unit_required && !hi->named)
        return QUANTITY_UNKNOWN_UNIT;
    if (between)
        *lo = from;
    take_or_more(cursor, hi, hi);
    return QUANTITY_OK;
}

enum quantity_fault quantity_read(const char *folded, size_t length, enum dimension dimension,
                                  struct quantity *quantity, size_t *used)
{
    struct cursor cursor = {.text = folded, .length = length, .dimension = dimension};
    struct item lo;
    struct item hi;
    *quantity = (struct quantity){0};
    const enum quantity_fault fault = read_quantity(&cursor, &lo, &hi);
    *used = fault == QUANTITY_NO_NUMBER ? 0 : cursor.at;
    if (fault == QUANTITY_OK)
        settle(dimension, &lo, &hi, quantity);
    return fault;
}

/* ---- quantities inside a text ---------------------------------------------------------------- */

static bool digit_at(const char *text, size_t at)
{
    return text[at] >= '0' && text[at] <= '9';
}

/* Inside a number such as 1.5 or a range such as 2-3: it begins earlier. */
static bool inside_number(const char *text, size_t at)
{
    if (at >= 1 && digit_at(text, at - 1))
        return true;
    if (at >= 2 && text[at - 1] && strchr(".,/:-", text[at - 1]) && digit_at(text, at - 2))
        return true;
    return at >= 4 && !memcmp(text + at - 3, " - ", 3) && digit_at(text, at - 4);
}

/* A sign or a point belongs to the word before; so does what follows "%" or a degree sign. */
static bool hangs_on_word(const char *text, size_t at)
{
    const char before = at ? text[at - 1] : ' ';
    if (before == '%' || (at >= 2 && !memcmp(text + at - 2, "\xC2\xB0", 2)))
        return true;
    if (!text[at] || !strchr("+-.", text[at]))
        return false;
    return word_continues(&before, 1) || (before == ')' && text[at] != '.');
}

size_t quantity_at(const char *folded, size_t length, size_t at, enum dimension dimension,
                   bool unit_required)
{
    if (at >= length || inside_number(folded, at) || hangs_on_word(folded, at))
        return 0;
    struct cursor cursor = {.text = folded + at,
                            .length = length - at,
                            .dimension = dimension,
                            .unit_required = unit_required && dimension != DIM_NONE};
    struct item lo;
    struct item hi;
    return read_quantity(&cursor, &lo, &hi) == QUANTITY_OK ? cursor.at : 0;
}

/* ==== units =================================================================================== */

/* The dimensions: their names, and how a value is shown to people. */

struct dimension_row {
    const char *name, *unit;
};

static const struct dimension_row DIMENSIONS[DIM_COUNT] = {
    [DIM_NONE] = {"none", ""},
    [DIM_DAYS] = {"days", "d"},
    [DIM_MINUTES] = {"minutes", "min"},
    [DIM_PERCENT] = {"percent", "%"},
    [DIM_CELSIUS] = {"celsius", "degC"},
    [DIM_GAUGE_KPA] = {"gauge_kpa", "kPa"},
    [DIM_PRESSURE_KPA] = {"pressure_kpa", "kPa"},
    [DIM_METRES] = {"metres", "m"},
    [DIM_GRAMS] = {"grams", "g"},
    [DIM_LITRES] = {"litres", "l"},
};

const char *dimension_unit(enum dimension dimension)
{
    return dimension < DIM_COUNT ? DIMENSIONS[dimension].unit : "";
}

const char *dimension_name(enum dimension dimension)
{
    return dimension < DIM_COUNT ? DIMENSIONS[dimension].name : "";
}

/* Three significant digits, whole from 100 on, never an exponent, no trailing zeros. */
static void show_number(struct text *out, double value)
{
    char digits[64];
    const double size = fabs(value);
    const int decimals = size < 0.9995 ? 3 : size < 9.995 ? 2 : size < 99.95 ? 1 : 0;
    if (!(size < 1e15)) {
        text_puts(out, isnan(value) ? "unknown" : "beyond measure");
        return;
    }
    (void)snprintf(digits, sizeof digits, "%.*f", decimals, value);
    size_t length = strlen(digits);
    if (decimals > 0) {
        while (digits[length - 1] == '0')
            length--;
        if (digits[length - 1] == '.')
            length--;
    }
    if (length == 2 && memcmp(digits, "-0", 2) == 0)
        text_puts(out, "0");
    else
        text_add(out, digits, length);
}

static void show_unit(struct text *out, double value, const char *unit)
{
    show_number(out, value);
    text_puts(out, unit);
}

/* The same value in the other system, in brackets. */
static void show_other(struct text *out, double value, const char *unit)
{
    text_puts(out, " (");
    show_unit(out, value, unit);
    text_puts(out, ")");
}

static void show_days(struct text *out, double days)
{
    const double hours = round(days * 24);
    if (days > 0 && days < 0.99 && hours > 0) /* under a day hours say more than a decimal */
        show_unit(out, hours, hours == 1 ? " hour" : " hours");
    else
        show_unit(out, days, days == 1 ? " day" : " days");
}

static void show_minutes(struct text *out, double minutes)
{
    const double whole = round(minutes);
    if (whole <= 120 || whole >= 1e9) {
        show_unit(out, minutes, " min");
        return;
    }
    text_printf(out, "%.0f h", floor(whole / 60));
    if (fmod(whole, 60) > 0)
        text_printf(out, " %.0f min", fmod(whole, 60));
}

static void show_grams(struct text *out, double grams)
{
    if (fabs(grams) < 1000)
        show_unit(out, grams, " g");
    else
        show_unit(out, grams / 1000, " kg");
    if (fabs(grams) < 453.59237)
        show_other(out, grams / 28.349523125, " oz");
    else
        show_other(out, grams / 453.59237, " lb");
}

static void show_litres(struct text *out, double litres)
{
    if (fabs(litres) < 0.1) { /* a dose: growers measure these in millilitres everywhere */
        show_unit(out, litres * 1000, " ml");
        return;
    }
    show_unit(out, litres, " l");
    const double quarts = litres / 0.946352946;
    show_other(out, quarts, fabs(quarts - 1) < 0.005 ? " US quart" : " US quarts");
}

void quantity_show(struct text *out, double value, enum dimension dimension)
{
    switch (dimension) {
    case DIM_DAYS:
        show_days(out, value);
        break;
    case DIM_MINUTES:
        show_minutes(out, value);
        break;
    case DIM_PERCENT:
        show_unit(out, value, "%");
        break;
    case DIM_CELSIUS:
        show_unit(out, value,
                  " \xC2\xB0"
                  "C");
        show_other(out, round(value * 1.8 + 32),
                   " \xC2\xB0"
                   "F");
        break;
    case DIM_GAUGE_KPA:
    case DIM_PRESSURE_KPA:
        show_unit(out, value, " kPa");
        show_other(out, value / 6.894757293168361, " psi");
        break;
    case DIM_METRES:
        show_unit(out, value, " m");
        show_other(out, round(value / 0.3048), " ft");
        break;
    case DIM_GRAMS:
        show_grams(out, value);
        break;
    case DIM_LITRES:
        show_litres(out, value);
        break;
    case DIM_NONE:
    case DIM_COUNT:
        show_number(out, value);
        break;
    }
}
