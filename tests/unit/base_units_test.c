/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Quantities as people write them, read by themselves and found in a text. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "support/test.h"

static const double PSI = 6.894757293168361;
static const double POUND = 453.59237;
static const double QUART = 0.946352946;

#define F(x) (((x)-32) / 1.8)

struct row {
    const char *text; /* as typed; folded before reading */
    enum dimension dimension;
    double lo, hi;
    bool unit;        /* a unit was given */
    const char *rest; /* what must be left over, folded */
};

/* clang-format off */
static const struct row ROWS[] = {
    {"15 psi", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, ""},
    {"15psi", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, ""},
    {"15 PSI for 90 min", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, " for 90 min"},
    {"15 lb pressure", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, ""},
    {"15 lbs", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, ""},
    {"15 pounds of pressure", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, ""},
    {"15 pounds per square inch", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, ""},
    {"15 psi pressure cooker", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, " pressure cooker"},
    {"15-psi cook", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, true, " cook"},
    {"1 bar", DIM_GAUGE_KPA, 100, 100, true, ""},
    {"103 kPa", DIM_GAUGE_KPA, 103, 103, true, ""},
    {"0.1 MPa", DIM_GAUGE_KPA, 100, 100, true, ""},
    {"1 kg/cm²", DIM_GAUGE_KPA, 98.0665, 98.0665, true, ""},
    {"12-15 psi", DIM_GAUGE_KPA, 12 * PSI, 15 * PSI, true, ""},
    {"15", DIM_GAUGE_KPA, 15 * PSI, 15 * PSI, false, ""},
    {"10-15", DIM_GAUGE_KPA, 10 * PSI, 15 * PSI, false, ""},
    {"1", DIM_GAUGE_KPA, 100, 100, false, ""},
    {"103", DIM_GAUGE_KPA, 103, 103, false, ""},
    {"900 psi", DIM_GAUGE_KPA, 900 * PSI, 900 * PSI, true, ""},

    {"90 min", DIM_MINUTES, 90, 90, true, ""},
    {"90min.", DIM_MINUTES, 90, 90, true, "."},
    {"90m", DIM_MINUTES, 90, 90, true, ""},
    {"1.5 hours", DIM_MINUTES, 90, 90, true, ""},
    {"1,5 h", DIM_MINUTES, 90, 90, true, ""},
    {"1½ hours", DIM_MINUTES, 90, 90, true, ""},
    {"1 1/2 hours", DIM_MINUTES, 90, 90, true, ""},
    {"½ hour", DIM_MINUTES, 30, 30, true, ""},
    {"an hour", DIM_MINUTES, 60, 60, true, ""},
    {"an hour and a half", DIM_MINUTES, 90, 90, true, ""},
    {"one and a half hours", DIM_MINUTES, 90, 90, true, ""},
    {"two and a half hours", DIM_MINUTES, 150, 150, true, ""},
    {"half an hour", DIM_MINUTES, 30, 30, true, ""},
    {"a half hour", DIM_MINUTES, 30, 30, true, ""},
    {"half-hour", DIM_MINUTES, 30, 30, true, ""},
    {"a quarter of an hour", DIM_MINUTES, 15, 15, true, ""},
    {"three quarters of an hour", DIM_MINUTES, 45, 45, true, ""},
    {"three-quarters of an hour", DIM_MINUTES, 45, 45, true, ""},
    {"2 h 30", DIM_MINUTES, 150, 150, true, ""},
    {"2h30", DIM_MINUTES, 150, 150, true, ""},
    {"2h30m", DIM_MINUTES, 150, 150, true, ""},
    {"2 hours 30 minutes", DIM_MINUTES, 150, 150, true, ""},
    {"2 hours and 30 minutes", DIM_MINUTES, 150, 150, true, ""},
    {"2 h 30 at 15 psi", DIM_MINUTES, 150, 150, true, " at 15 psi"},
    {"2 hours 15 psi", DIM_MINUTES, 120, 120, true, " 15 psi"},
    {"2 hours, 30 jars", DIM_MINUTES, 120, 120, true, ", 30 jars"},
    {"2 hours and 30 jars", DIM_MINUTES, 120, 120, true, " and 30 jars"},
    {"90-120 minutes", DIM_MINUTES, 90, 120, true, ""},
    {"90 – 120 min", DIM_MINUTES, 90, 120, true, ""},
    {"90 min to 2 h", DIM_MINUTES, 90, 120, true, ""},
    {"an hour to 90 minutes", DIM_MINUTES, 60, 90, true, ""},
    {"half an hour to an hour", DIM_MINUTES, 30, 60, true, ""},
    {"an hour or two", DIM_MINUTES, 60, 120, true, ""},
    {"between 90 and 120 min", DIM_MINUTES, 90, 120, true, ""},
    {"120-90 minutes", DIM_MINUTES, 90, 120, true, ""},
    {"45 seconds", DIM_MINUTES, 0.75, 0.75, true, ""},
    {"90", DIM_MINUTES, 90, 90, false, ""},
    {"a hundred and twenty minutes", DIM_MINUTES, 120, 120, true, ""},
    {"two hundred minutes", DIM_MINUTES, 200, 200, true, ""},
    {"90 min 20 min", DIM_MINUTES, 90, 90, true, " 20 min"},
    {"24 hours", DIM_MINUTES, 1440, 1440, true, ""},

    {"2 to 3 weeks", DIM_DAYS, 14, 21, true, ""},
    {"2-3 weeks old", DIM_DAYS, 14, 21, true, " old"},
    {"two to three weeks", DIM_DAYS, 14, 21, true, ""},
    {"two or three days", DIM_DAYS, 2, 3, true, ""},
    {"between two and three weeks", DIM_DAYS, 14, 21, true, ""},
    {"10 days to 2 weeks", DIM_DAYS, 10, 14, true, ""},
    {"a week to ten days", DIM_DAYS, 7, 10, true, ""},
    {"two weeks", DIM_DAYS, 14, 14, true, ""},
    {"two-week-old", DIM_DAYS, 14, 14, true, "-old"},
    {"12-day-old", DIM_DAYS, 12, 12, true, "-old"},
    {"ten days", DIM_DAYS, 10, 10, true, ""},
    {"a week", DIM_DAYS, 7, 7, true, ""},
    {"a week and a half", DIM_DAYS, 10.5, 10.5, true, ""},
    {"a week or two", DIM_DAYS, 7, 14, true, ""},
    {"a week or so", DIM_DAYS, 7, 7, true, " or so"},
    {"a fortnight", DIM_DAYS, 14, 14, true, ""},
    {"couple of days", DIM_DAYS, 2, 2, true, ""},
    {"a couple of days", DIM_DAYS, 2, 2, true, ""},
    {"a few days", DIM_DAYS, 2, 5, true, ""},
    {"several weeks", DIM_DAYS, 21, 49, true, ""},
    {"a month", DIM_DAYS, 30.4375, 30.4375, true, ""},
    {"2 weeks and 3 days", DIM_DAYS, 17, 17, true, ""},
    {"2 weeks 3 days", DIM_DAYS, 17, 17, true, ""},
    {"two weeks and three days", DIM_DAYS, 17, 17, true, ""},
    {"3 days 2 weeks", DIM_DAYS, 3, 3, true, " 2 weeks"},
    {"36 hours", DIM_DAYS, 1.5, 1.5, true, ""},
    {"a year", DIM_DAYS, 365.25, 365.25, true, ""},
    {"12", DIM_DAYS, 12, 12, false, ""},
    {"12 - 15 psi", DIM_DAYS, 12, 12, false, " - 15 psi"},
    {"12, green", DIM_DAYS, 12, 12, false, ", green"},
    {"12.", DIM_DAYS, 12, 12, false, "."},
    {"twelve", DIM_DAYS, 12, 12, false, ""},
    {"twenty-one days", DIM_DAYS, 21, 21, true, ""},
    {"twenty one days", DIM_DAYS, 21, 21, true, ""},
    {"ninety-nine days", DIM_DAYS, 99, 99, true, ""},
    {"-3", DIM_DAYS, -3, -3, false, ""},
    {"-3 days", DIM_DAYS, -3, -3, true, ""},
    {"−3 days", DIM_DAYS, -3, -3, true, ""},
    {"minus three days", DIM_DAYS, -3, -3, true, ""},
    {"+3 days", DIM_DAYS, 3, 3, true, ""},
    {"0", DIM_DAYS, 0, 0, false, ""},
    {"2½ weeks", DIM_DAYS, 17.5, 17.5, true, ""},
    {"3 w/ lids", DIM_DAYS, 3, 3, false, " w/ lids"},

    {"40 percent", DIM_PERCENT, 40, 40, true, ""},
    {"40%", DIM_PERCENT, 40, 40, true, ""},
    {"40 % done", DIM_PERCENT, 40, 40, true, " done"},
    {"40 per cent", DIM_PERCENT, 40, 40, true, ""},
    {"30-40%", DIM_PERCENT, 30, 40, true, ""},
    {"30% to 40%", DIM_PERCENT, 30, 40, true, ""},
    {"forty percent", DIM_PERCENT, 40, 40, true, ""},
    {"a third", DIM_PERCENT, 100.0 / 3, 100.0 / 3, true, ""},
    {"one-third", DIM_PERCENT, 100.0 / 3, 100.0 / 3, true, ""},
    {"half", DIM_PERCENT, 50, 50, true, ""},
    {"a half", DIM_PERCENT, 50, 50, true, ""},
    {"half of it", DIM_PERCENT, 50, 50, true, " of it"},
    {"two thirds", DIM_PERCENT, 200.0 / 3, 200.0 / 3, true, ""},
    {"two-thirds", DIM_PERCENT, 200.0 / 3, 200.0 / 3, true, ""},
    {"3/4", DIM_PERCENT, 75, 75, true, ""},
    {"¾", DIM_PERCENT, 75, 75, true, ""},
    {"⅔", DIM_PERCENT, 200.0 / 3, 200.0 / 3, true, ""},
    {"three quarters", DIM_PERCENT, 75, 75, true, ""},
    {"three-fourths", DIM_PERCENT, 75, 75, true, ""},
    {"a quarter to a third", DIM_PERCENT, 25, 100.0 / 3, true, ""},
    {"half to two thirds", DIM_PERCENT, 50, 200.0 / 3, true, ""},
    {"half to 60%", DIM_PERCENT, 50, 60, true, ""},
    {"nine tenths", DIM_PERCENT, 90, 90, true, ""},
    {"1/2 %", DIM_PERCENT, 0.5, 0.5, true, ""},
    {"between a third and a half", DIM_PERCENT, 100.0 / 3, 50, true, ""},
    {"40%done", DIM_PERCENT, 40, 40, true, "done"},
    {"a tenth", DIM_PERCENT, 10, 10, true, ""},
    {"40", DIM_PERCENT, 40, 40, false, ""},
    {"100%", DIM_PERCENT, 100, 100, true, ""},

    {"58F", DIM_CELSIUS, F(58), F(58), true, ""},
    {"58 °F", DIM_CELSIUS, F(58), F(58), true, ""},
    {"58º F", DIM_CELSIUS, F(58), F(58), true, ""},
    {"58℉", DIM_CELSIUS, F(58), F(58), true, ""},
    {"58 degrees fahrenheit", DIM_CELSIUS, F(58), F(58), true, ""},
    {"58 deg F", DIM_CELSIUS, F(58), F(58), true, ""},
    {"75 degrees", DIM_CELSIUS, F(75), F(75), false, ""},
    {"75°", DIM_CELSIUS, F(75), F(75), false, ""},
    {"75 degrees for", DIM_CELSIUS, F(75), F(75), false, " for"},
    {"24C", DIM_CELSIUS, 24, 24, true, ""},
    {"24 °C", DIM_CELSIUS, 24, 24, true, ""},
    {"24 degC", DIM_CELSIUS, 24, 24, true, ""},
    {"24 degrees celsius", DIM_CELSIUS, 24, 24, true, ""},
    {"24 centigrade", DIM_CELSIUS, 24, 24, true, ""},
    {"24", DIM_CELSIUS, 24, 24, false, ""},
    {"44", DIM_CELSIUS, 44, 44, false, ""},
    {"45", DIM_CELSIUS, F(45), F(45), false, ""},
    {"68-75F", DIM_CELSIUS, F(68), F(75), true, ""},
    {"68 to 75", DIM_CELSIUS, F(68), F(75), false, ""},
    {"20-24°C", DIM_CELSIUS, 20, 24, true, ""},
    {"20°C to 24°C", DIM_CELSIUS, 20, 24, true, ""},
    {"-5C", DIM_CELSIUS, -5, -5, true, ""},
    {"-5 to -2 C", DIM_CELSIUS, -5, -2, true, ""},
    {"297.15 K", DIM_CELSIUS, 24, 24, true, ""},

    {"1,500 m", DIM_METRES, 1500, 1500, true, ""},
    {"1500m", DIM_METRES, 1500, 1500, true, ""},
    {"5000ft", DIM_METRES, 1524, 1524, true, ""},
    {"5,000 feet", DIM_METRES, 1524, 1524, true, ""},
    {"1.5 km", DIM_METRES, 1500, 1500, true, ""},
    {"a mile", DIM_METRES, 1609.344, 1609.344, true, ""},
    {"1,234,567 m", DIM_METRES, 1234567, 1234567, true, ""},
    {"1,500.25 m", DIM_METRES, 1500.25, 1500.25, true, ""},

    {"1.4kg", DIM_GRAMS, 1400, 1400, true, ""},
    {"1,5 kg", DIM_GRAMS, 1500, 1500, true, ""},
    {"0,500 kg", DIM_GRAMS, 500, 500, true, ""},
    {".5 kg", DIM_GRAMS, 500, 500, true, ""},
    {"half a kilo", DIM_GRAMS, 500, 500, true, ""},
    {"3 lb", DIM_GRAMS, 3 * POUND, 3 * POUND, true, ""},
    {"3lbs", DIM_GRAMS, 3 * POUND, 3 * POUND, true, ""},
    {"five-pound bag", DIM_GRAMS, 5 * POUND, 5 * POUND, true, " bag"},
    {"1 lb 8 oz", DIM_GRAMS, 1.5 * POUND, 1.5 * POUND, true, ""},
    {"1lb8oz", DIM_GRAMS, 1.5 * POUND, 1.5 * POUND, true, ""},
    {"1 pound and 8 ounces", DIM_GRAMS, 1.5 * POUND, 1.5 * POUND, true, ""},
    {"a pound and a half", DIM_GRAMS, 1.5 * POUND, 1.5 * POUND, true, ""},
    {"1 kg 200 g", DIM_GRAMS, 1200, 1200, true, ""},
    {"300 g 2 oz", DIM_GRAMS, 300, 300, true, " 2 oz"},
    {"3/4 lb", DIM_GRAMS, 0.75 * POUND, 0.75 * POUND, true, ""},

    {"4ml", DIM_LITRES, 0.004, 0.004, true, ""},
    {"10 cc", DIM_LITRES, 0.01, 0.01, true, ""},
    {"2 quarts", DIM_LITRES, 2 * QUART, 2 * QUART, true, ""},
    {"a quart", DIM_LITRES, QUART, QUART, true, ""},
    {"three quarts", DIM_LITRES, 3 * QUART, 3 * QUART, true, ""},
    {"half a pint", DIM_LITRES, QUART / 4, QUART / 4, true, ""},
    {"1.5 l", DIM_LITRES, 1.5, 1.5, true, ""},
    {"a litre and a half", DIM_LITRES, 1.5, 1.5, true, ""},
    {"1 US", DIM_LITRES, 1, 1, false, " us"},
    {"8 fl oz", DIM_LITRES, QUART / 4, QUART / 4, true, ""},

    {"840 hPa", DIM_PRESSURE_KPA, 84, 84, true, ""},
    {"1013 mbar", DIM_PRESSURE_KPA, 101.3, 101.3, true, ""},
    {"760 mmHg", DIM_PRESSURE_KPA, 101.3250144354, 101.3250144354, true, ""},
    {"29.92 inHg", DIM_PRESSURE_KPA, 29.92 * 3.386389, 29.92 * 3.386389, true, ""},
    {"1 atm", DIM_PRESSURE_KPA, 101.325, 101.325, true, ""},

    {"12 jars", DIM_NONE, 12, 12, false, " jars"},
    {"a dozen jars", DIM_NONE, 12, 12, false, " jars"},
    {"2 or 3", DIM_NONE, 2, 3, false, ""},
    {"half", DIM_NONE, 0.5, 0.5, false, ""},
    {"0,125", DIM_NONE, 0.125, 0.125, false, ""},
    {"12,5000", DIM_NONE, 12.5, 12.5, false, ""},
    {"two hundred and fifty", DIM_NONE, 250, 250, false, ""},
};
/* clang-format on */

static struct text folded(const char *typed)
{
    struct text text;
    text_init(&text);
    assert_true(text_fold(&text, typed, strlen(typed), NULL));
    return text;
}

static void assert_near(const char *typed, double got, double expected)
{
    const double slack = 1e-9 * (fabs(expected) > 1 ? fabs(expected) : 1);
    if (!(fabs(got - expected) <= slack))
        fail_msg("'%s' reads as %.12g, not %.12g", typed, got, expected);
}

TEST(test_reads_what_people_write)
{
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        const struct row *row = &ROWS[i];
        struct text text = folded(row->text);
        struct quantity quantity;
        size_t used = 0;
        enum quantity_error fault =
            quantity_read(text.bytes, text.length, row->dimension, &quantity, &used);
        if (fault != QUANTITY_OK)
            fail_msg("'%s' is not read in %s: fault %d", row->text, dimension_names[row->dimension],
                     (int)fault);
        assert_near(row->text, quantity.lo, row->lo);
        assert_near(row->text, quantity.hi, row->hi);
        if (quantity.unit_given != row->unit)
            fail_msg("'%s': unit %s given", row->text, quantity.unit_given ? "was" : "was not");
        assert_string_equal(text.bytes + used, row->rest);
        text_release(&text);
    }
}

/* What a phrase finds is what the reader reads, as far as it names its unit where it must. */
TEST(test_finds_what_it_reads)
{
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        const struct row *row = &ROWS[i];
        struct text text = folded(row->text);
        const size_t expected = text.length - strlen(row->rest);
        /* "75 degrees" names no scale, but a unit stands there. */
        const bool unit = row->unit || row->dimension == DIM_NONE || strstr(row->text, "degrees") ||
                          strstr(text.bytes, "\xC2\xB0");
        if (quantity_at(text.bytes, text.length, 0, row->dimension, false) != expected)
            fail_msg("'%s' in %s: not found as it is read", row->text,
                     dimension_names[row->dimension]);
        if (quantity_at(text.bytes, text.length, 0, row->dimension, true) != (unit ? expected : 0))
            fail_msg("'%s' in %s: not found as it is read, unit required", row->text,
                     dimension_names[row->dimension]);
        text_release(&text);
    }
}

static const struct {
    const char *text;
    size_t at, length;
    enum dimension dimension;
    bool unit_required;
} PLACES[] = {
    {"day 12", 4, 2, DIM_DAYS, false},
    {"day 12", 5, 0, DIM_DAYS, false},   /* not inside a number */
    {"1.5 l", 2, 0, DIM_LITRES, true},   /* nor behind its point */
    {"2-3 weeks", 0, 9, DIM_DAYS, true}, /* a range as a whole, */
    {"2-3 weeks", 2, 0, DIM_DAYS, true}, /* not its end */
    {"2 - 3 weeks", 4, 0, DIM_DAYS, true},
    {"d21", 1, 2, DIM_DAYS, false},  /* hanging on a letter */
    {"g2-3", 2, 0, DIM_DAYS, false}, /* that hyphen is no sign */
    {"room -3 c", 5, 4, DIM_CELSIUS, true},
    {"x.5 l", 1, 0, DIM_LITRES, true},
    {"at .5 l", 3, 4, DIM_LITRES, true},
    {"50%12 days", 3, 0, DIM_DAYS, true}, /* the sign ends the word before */
    {"2 days - 5", 0, 6, DIM_DAYS, true}, /* as far as units are named */
    {"2 days - 5", 0, 10, DIM_DAYS, false},
    {"2 days or two", 0, 13, DIM_DAYS, true},
    {"12 psi", 0, 0, DIM_DAYS, false},
    {"12", 0, 0, DIM_DAYS, true},
    {"half or two", 0, 4, DIM_PERCENT, true},
    {"12", 2, 0, DIM_NONE, false}, /* the end of the text */
    {"", 0, 0, DIM_NONE, false},
};

TEST(test_places)
{
    (void)state;
    for (size_t i = 0; i < sizeof PLACES / sizeof PLACES[0]; i++) {
        const size_t found = quantity_at(PLACES[i].text, strlen(PLACES[i].text), PLACES[i].at,
                                         PLACES[i].dimension, PLACES[i].unit_required);
        if (found != PLACES[i].length)
            fail_msg("'%s' at %zu: %zu bytes, not %zu", PLACES[i].text, PLACES[i].at, found,
                     PLACES[i].length);
    }
}

/* ---- agreement on what nobody thought of ----------------------------------------------------- */

static const char *const PIECES[] = {
    "1",        "2",      "12",      "90",       "1.5",   "1,5",         "1,500", "0",
    "3/4",      "1/2",    "-",       " - ",      " ",     " ",           " ",     "a",
    "an",       "half",   "quarter", "quarters", "third", "thirds",      "one",   "two",
    "three",    "twenty", "fifteen", "hundred",  "and",   " and ",       " to ",  " or ",
    "between ", "of",     "couple",  "few",      "minus", ".",           ",",     "/",
    "d",        "days",   "week",    "weeks",    "h",     "hour",        "hours", "min",
    "m",        "%",      "percent", "psi",      "lb",    "lbs",         "kg",    "oz",
    "g",        "ft",     "l",       "ml",       "quart", "c",           "f",     "degrees",
    "°",        "bar",    "hpa",     "pressure", " at",   " and a half", "s",     "x",
};

/* The same sequence on every machine: Knuth's MMIX generator, its high bits. */
static unsigned next_random(uint64_t *seed)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u;
    return (unsigned)(*seed >> 33);
}

static void make_phrase(uint64_t *seed, char *phrase, size_t room)
{
    size_t length = 0;
    for (unsigned pieces = 1 + next_random(seed) % 7; pieces > 0; pieces--) {
        const char *piece = PIECES[next_random(seed) % (sizeof PIECES / sizeof PIECES[0])];
        const size_t size = strlen(piece);
        if (length + size + 1 >= room || (length && phrase[length - 1] == ' ' && *piece == ' '))
            continue; /* folded text has no two spaces in a row */
        memcpy(phrase + length, piece, size);
        length += size;
    }
    phrase[length] = '\0';
}

/* What was found is handed to the reader cut out; it must read all of it. */
static void assert_cut_is_read(enum dimension dimension, bool required, const char *phrase,
                               size_t at)
{
    const size_t length = quantity_at(phrase, strlen(phrase), at, dimension, required);
    if (!length)
        return;
    struct quantity quantity;
    size_t used = 0;
    assert_true(at + length <= strlen(phrase));
    const enum quantity_error fault =
        quantity_read(phrase + at, length, dimension, &quantity, &used);
    if (fault != QUANTITY_OK || used != length)
        fail_msg("'%s' in %s%s: %zu bytes are found, of which the reader reads %zu (%d)", phrase,
                 dimension_names[dimension], required ? ", unit required" : "", length, used,
                 (int)fault);
    assert_true(quantity.lo <= quantity.hi);
}

/* What the reader reads from the start is found there. */
static void assert_read_is_found(enum dimension dimension, const char *phrase)
{
    struct quantity quantity;
    size_t used = 0;
    if (quantity_read(phrase, strlen(phrase), dimension, &quantity, &used) == QUANTITY_OK &&
        quantity_at(phrase, strlen(phrase), 0, dimension, false) != used)
        fail_msg("'%s' in %s: %zu bytes are read, but not found", phrase,
                 dimension_names[dimension], used);
}

TEST(test_finds_and_reads_alike_on_random_phrases)
{
    (void)state;
    uint64_t seed = 1;
    for (int i = 0; i < DIM_COUNT; i++) {
        for (int round = 0; round < 20000; round++) {
            char phrase[100];
            make_phrase(&seed, phrase, sizeof phrase);
            for (size_t at = 0; phrase[at]; at++) {
                assert_cut_is_read((enum dimension)i, false, phrase, at);
                assert_cut_is_read((enum dimension)i, true, phrase, at);
            }
            assert_read_is_found((enum dimension)i, phrase);
        }
    }
}

/* Whoever knows these words takes them for no slip of another. */
TEST(test_words_of_quantities)
{
    (void)state;
    static const char *const SOME[] = {"days", "psi", "fl oz", "twenty", "half", "couple"};
    size_t count = 0;
    size_t found = 0;
    for (const char *word; (word = quantity_word(count)); count++)
        for (size_t i = 0; i < sizeof SOME / sizeof SOME[0]; i++)
            found += strcmp(word, SOME[i]) == 0;
    assert_true(found >= sizeof SOME / sizeof SOME[0]);
    assert_null(quantity_word(count + 1));
}

static const struct {
    const char *text;
    enum dimension dimension;
    enum quantity_error fault;
} REFUSED[] = {
    {"", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"-", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"green", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"a", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"a jar", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"ag", DIM_GRAMS, QUANTITY_NO_NUMBER},
    {"am", DIM_METRES, QUANTITY_NO_NUMBER},
    {"tenth day", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"third week", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"a third week", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"half", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"minus", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"minus -3", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"--3", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"day 3", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"12xyz", DIM_DAYS, QUANTITY_UNKNOWN_UNIT},
    {"1e400", DIM_DAYS, QUANTITY_UNKNOWN_UNIT},
    {"1.2.3", DIM_DAYS, QUANTITY_UNKNOWN_UNIT},
    {"1/0", DIM_PERCENT, QUANTITY_UNKNOWN_UNIT},
    {"0x10", DIM_NONE, QUANTITY_UNKNOWN_UNIT},
    {"12 psi", DIM_DAYS, QUANTITY_WRONG_UNIT},
    {"12psi", DIM_DAYS, QUANTITY_WRONG_UNIT},
    {"12 days", DIM_GAUGE_KPA, QUANTITY_WRONG_UNIT},
    {"12 degrees", DIM_DAYS, QUANTITY_WRONG_UNIT},
    {"three quarters", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"a percent", DIM_PERCENT, QUANTITY_NO_NUMBER},
    {"between", DIM_DAYS, QUANTITY_NO_NUMBER},
    {"5 kg", DIM_LITRES, QUANTITY_WRONG_UNIT},
};

TEST(test_refuses_what_is_no_quantity)
{
    (void)state;
    for (size_t i = 0; i < sizeof REFUSED / sizeof REFUSED[0]; i++) {
        struct text text = folded(REFUSED[i].text);
        struct quantity quantity;
        size_t used = 99;
        const enum dimension dimension = REFUSED[i].dimension;
        const enum quantity_error fault =
            quantity_read(text.bytes, text.length, dimension, &quantity, &used);
        if (fault != REFUSED[i].fault)
            fail_msg("'%s': fault %d, not %d", REFUSED[i].text, (int)fault, (int)REFUSED[i].fault);
        assert_true(used <= text.length);
        if (quantity_at(text.bytes, text.length, 0, dimension, true) && dimension != DIM_NONE)
            fail_msg("'%s' is found in %s", REFUSED[i].text, dimension_names[dimension]);
        text_release(&text);
    }
}

TEST(test_endless_figures_stay_finite)
{
    (void)state;
    char digits[401];
    memset(digits, '9', 400);
    digits[400] = '\0';
    struct quantity quantity;
    size_t used = 0;
    assert_int_equal(quantity_read(digits, 400, DIM_DAYS, &quantity, &used), QUANTITY_OK);
    assert_int_equal(used, 400);
    assert_true(isfinite(quantity.lo) && quantity.lo >= 1e15);
    memset(digits, '0', 400);
    digits[0] = '1';
    digits[1] = '.';
    digits[399] = '7';
    assert_int_equal(quantity_read(digits, 400, DIM_DAYS, &quantity, &used), QUANTITY_OK);
    assert_int_equal(used, 400);
    assert_true(quantity.lo == 1.0);
}

static void assert_shown(double value, enum dimension dimension, const char *expected)
{
    struct text out;
    text_init(&out);
    quantity_show(&out, value, dimension);
    assert_string_equal(out.bytes, expected);
    text_release(&out);
}

TEST(test_shows_both_systems)
{
    (void)state;
    assert_shown(15 * PSI, DIM_GAUGE_KPA, "103 kPa (15 psi)");
    assert_shown(24, DIM_CELSIUS, "24 °C (75 °F)");
    assert_shown(F(58), DIM_CELSIUS, "14.4 °C (58 °F)");
    assert_shown(-0.0001, DIM_CELSIUS, "0 °C (32 °F)");
    assert_shown(12, DIM_DAYS, "12 days");
    assert_shown(1, DIM_DAYS, "1 day");
    assert_shown(0.25, DIM_DAYS, "6 hours");
    assert_shown(0, DIM_DAYS, "0 days");
    assert_shown(90, DIM_MINUTES, "90 min");
    assert_shown(150, DIM_MINUTES, "2 h 30 min");
    assert_shown(180, DIM_MINUTES, "3 h");
    assert_shown(100.0 / 3, DIM_PERCENT, "33.3%");
    assert_shown(1500, DIM_METRES, "1500 m (4921 ft)");
    assert_shown(1361, DIM_GRAMS, "1.36 kg (3 lb)");
    assert_shown(0.004, DIM_LITRES, "4 ml");
    assert_shown(0.946352946, DIM_LITRES, "0.946 l (1 US quart)");
    assert_shown(2, DIM_LITRES, "2 l (2.11 US quarts)");
    assert_shown(1e300, DIM_NONE, "beyond measure");
    assert_shown((double)NAN, DIM_NONE, "unknown");
}

TEST(test_dimensions_have_names)
{
    (void)state;
    for (int i = 0; i < DIM_COUNT; i++) {
        const enum dimension dimension = (enum dimension)i;
        assert_true(dimension_names[dimension][0] != '\0');
        assert_non_null(dimension_units[dimension]);
    }
    assert_string_equal(dimension_units[DIM_GAUGE_KPA], "kPa");
}

int main(void)
{
    return tests_run("units", NULL, NULL);
}
