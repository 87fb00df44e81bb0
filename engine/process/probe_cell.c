/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One cell of a temperature log: a number, a time of day, a date, a temperature. */
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "process/probe_internal.h"

enum { CELL_LIMIT = 40 }; /* no number or date is longer */

static const char blank[] = "is blank; every reading needs a number here";
static const char decimal_comma[] = "has a decimal comma; write a point, a comma separates columns";

struct cell {
    const char *at, *end;
};

/* Exactly `digits` decimal digits. */
static bool take_digits(struct cell *cell, int digits, int *number)
{
    if (cell->end - cell->at < digits)
        return false;
    *number = 0;
    for (int i = 0; i < digits; i++) {
        char c = cell->at[i];
        if (c < '0' || c > '9')
            return false;
        *number = 10 * *number + (c - '0');
    }
    cell->at += digits;
    return true;
}

static bool take(struct cell *cell, char wanted)
{
    if (cell->at == cell->end || *cell->at != wanted)
        return false;
    cell->at++;
    return true;
}

/*
 * Plain digits with at most one point, no more than 15 of them: a whole number
 * and a power of ten that are both exact, so their quotient is the nearest double.
 */
static bool take_plain(struct cell *cell, double *number)
{
    static const double powers[] = {1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                    1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    const char *at = cell->at;
    bool negative = at < cell->end && *at == '-', point = false;
    int64_t whole = 0;
    int digits = 0, behind = 0;

    for (at += negative; at < cell->end; at++) {
        if (*at == '.' && !point) {
            point = true;
        } else if (*at >= '0' && *at <= '9' && digits < 15) {
            whole = 10 * whole + (*at - '0');
            digits++;
            behind += point;
        } else {
            break;
        }
    }
    if (digits == 0 || (at < cell->end && strchr("0123456789.eE", *at) != NULL))
        return false;
    *number = (double)(negative ? -whole : whole) / powers[behind];
    cell->at = at;
    return true;
}

/* Any decimal number. Its characters are picked first because strtod also takes "inf" and hex. */
static bool take_any(struct cell *cell, double *number)
{
    char copy[CELL_LIMIT];
    size_t length = 0;

    while (cell->at + length < cell->end && length < sizeof copy - 1 &&
           strchr("+-.0123456789eE", cell->at[length]) != NULL) {
        copy[length] = cell->at[length];
        length++;
    }
    copy[length] = '\0';
    char *stop;
    *number = strtod(copy, &stop);
    if (stop == copy || !isfinite(*number))
        return false;
    cell->at += stop - copy;
    return true;
}

/* A number; NULL or what is wrong. */
static const char *take_number(struct cell *cell, double *number)
{
    if (!take_plain(cell, number) && !take_any(cell, number))
        return "is no number";
    return cell->at < cell->end && *cell->at == ',' ? decimal_comma : NULL;
}

/* HH:MM, HH:MM:SS, HH:MM:SS.fff */
static bool take_clock(struct cell *cell, double *minutes)
{
    int hour, minute, second = 0, digit;
    double part = 0.0, unit = 1.0;

    if (!take_digits(cell, 2, &hour) || !take(cell, ':') || !take_digits(cell, 2, &minute))
        return false;
    if (take(cell, ':') && !take_digits(cell, 2, &second))
        return false;
    if (take(cell, '.')) {
        while (take_digits(cell, 1, &digit)) {
            unit /= 10.0;
            part += unit * digit;
        }
    }
    if (hour > 24 || minute > 59 || second > 60)
        return false;
    *minutes = 60.0 * hour + minute + (second + part) / 60.0;
    return true;
}

/* Days from 1970-01-01 in the proleptic Gregorian calendar. */
static long days_from_epoch(int year, int month, int day)
{
    long y = month <= 2 ? year - 1 : year;
    long era = (y >= 0 ? y : y - 399) / 400, of_era = y - era * 400;
    long of_year = (153L * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

static bool take_date(struct cell *cell, double *minutes)
{
    int year, month, day;

    if (!take_digits(cell, 4, &year) || !take(cell, '-') || !take_digits(cell, 2, &month) ||
        !take(cell, '-') || !take_digits(cell, 2, &day))
        return false;
    if (month < 1 || month > 12 || day < 1 || day > 31)
        return false;
    *minutes = 1440.0 * (double)days_from_epoch(year, month, day);
    return true;
}

/* Z, +HH:MM, +HHMM, +HH; nothing at all is local time. */
static bool take_offset(struct cell *cell, double *minutes)
{
    int hour, minute = 0;

    if (cell->at == cell->end || take(cell, 'Z'))
        return true;
    double sign = *cell->at == '-' ? 1.0 : -1.0;
    if (!take(cell, '+') && !take(cell, '-'))
        return false;
    if (!take_digits(cell, 2, &hour))
        return false;
    (void)take(cell, ':');
    if (cell->at < cell->end && !take_digits(cell, 2, &minute))
        return false;
    *minutes += sign * (60.0 * hour + minute);
    return true;
}

const char *probe_read_time(const char *text, size_t length, struct probe_time *time)
{
    static const char unreadable[] =
        "is no time; minutes, 14:05 or 2025-03-01T14:05:30 are understood";
    struct cell cell = {text, text + length};
    double clock;

    if (length == 0)
        return blank;
    if (length > 4 && text[4] == '-') {
        time->kind = PROBE_TIME_DATE;
        if (!take_date(&cell, &time->number) || (!take(&cell, 'T') && !take(&cell, ' ')) ||
            !take_clock(&cell, &clock))
            return unreadable;
        time->number += clock;
        if (!take_offset(&cell, &time->number) || cell.at != cell.end)
            return unreadable;
        return NULL;
    }
    if (length > 2 && text[2] == ':') {
        time->kind = PROBE_TIME_OF_DAY;
        return take_clock(&cell, &time->number) && cell.at == cell.end ? NULL : unreadable;
    }
    time->kind = PROBE_TIME_NUMBER;
    const char *problem = take_number(&cell, &time->number);
    if (problem == decimal_comma)
        return problem;
    return problem == NULL && cell.at == cell.end ? NULL : unreadable;
}

const char *probe_read_temperature(const char *text, size_t length, double *number,
                                   enum probe_unit *unit)
{
    static const char degree[] = "\xC2\xB0";
    struct cell cell = {text, text + length};

    if (length == 0)
        return blank;
    const char *problem = take_number(&cell, number);
    if (problem != NULL)
        return problem;
    while (take(&cell, ' ')) {
    }
    if (cell.end - cell.at >= 2 && memcmp(cell.at, degree, 2) == 0)
        cell.at += 2;
    if (cell.end - cell.at == 1 && (*cell.at == 'C' || *cell.at == 'c'))
        *unit = PROBE_CELSIUS;
    else if (cell.end - cell.at == 1 && (*cell.at == 'F' || *cell.at == 'f'))
        *unit = PROBE_FAHRENHEIT;
    else if (cell.at != cell.end)
        return "is no temperature; a number, perhaps with C or F behind it";
    return NULL;
}
