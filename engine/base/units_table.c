/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The spellings of units and their factors: NIST SP 811 (2008), appendix B.8. */
#include <string.h>

#include "base/units_internal.h"

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

bool word_continues(const char *folded, size_t length)
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

size_t word_at(const char *folded, size_t length, const char *const *words)
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

const struct unit *unit_at(const char *folded, size_t length, enum dimension dimension)
{
    return find(folded, length, dimension, true);
}

bool unit_of_others_at(const char *folded, size_t length, enum dimension dimension)
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
