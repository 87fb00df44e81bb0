/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers in figures and in words, without their units. */
#include <math.h>
#include <string.h>

#include "base/units_internal.h"

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

size_t number_read_simple(const char *folded, size_t length, double *value)
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

bool number_part_at(const char *folded, size_t length)
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

size_t number_read_share(const char *folded, size_t length, double *value)
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

size_t number_read(const char *folded, size_t length, struct number *number)
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

const char *number_word(size_t index)
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
