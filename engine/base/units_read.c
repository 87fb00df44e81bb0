/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A number and its unit, alone or as the ends of a range. */
#include <math.h>
#include <string.h>

#include "base/units_internal.h"

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
    static const char *const PRESSURE[] = {" of pressure", " pressure", NULL};
    static const char *const COOK[] = {" c", "-c", NULL};
    (void)take(cursor, " per square inch");
    const size_t used = word_at(here(cursor), left(cursor), PRESSURE);
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
