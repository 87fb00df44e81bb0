/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/dates.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

enum { DAY_SECONDS = 86400, NOON_HOUR = 12, MOST_DAYS_AGO = 36500 };
/* 1900-01-01 and 9999-12-31, the end of what four digits of a year can say. */
static const int64_t EARLIEST = -2208988800, LATEST = 253402300799;

struct wall { /* what the clock and the calendar show */
    int year, month, day, hour, minute, second;
};

/* Days since 1970-01-01 of a day of the proleptic Gregorian calendar. */
static int64_t day_of(int year, int month, int day)
{
    struct tm tm = {.tm_year = year - 1900, .tm_mon = month - 1, .tm_mday = day};
    return (int64_t)timegm(&tm) / DAY_SECONDS;
}

static bool real_wall(const struct wall *wall)
{
    struct tm tm = {.tm_year = wall->year - 1900, .tm_mon = wall->month - 1, .tm_mday = wall->day};
    if (wall->year < 1900 || wall->year > 9999 || wall->month < 1 || wall->month > 12 ||
        wall->day < 1 || wall->hour < 0 || wall->hour > 23 || wall->minute < 0 ||
        wall->minute > 59 || wall->second < 0 || wall->second > 60)
        return false;
    timegm(&tm); /* puts a 30th of February right, so that it is found out */
    return tm.tm_mday == wall->day && tm.tm_mon == wall->month - 1;
}

/* The same wall time with a known offset. */
static struct moment at_offset(const struct wall *wall, int offset)
{
    int64_t minutes = (int64_t)wall->hour * 60 + wall->minute;
    int64_t seconds =
        day_of(wall->year, wall->month, wall->day) * DAY_SECONDS + minutes * 60 + wall->second;
    return (struct moment){seconds - (int64_t)offset * 60, offset};
}

/* With the offset that the local time zone has then. */
static struct moment at_local(const struct wall *wall)
{
    struct tm tm = {.tm_year = wall->year - 1900,
                    .tm_mon = wall->month - 1,
                    .tm_mday = wall->day,
                    .tm_hour = wall->hour,
                    .tm_min = wall->minute,
                    .tm_sec = wall->second,
                    .tm_isdst = -1};
    time_t seconds = mktime(&tm);
    return (struct moment){(int64_t)seconds, (int)(tm.tm_gmtoff / 60)};
}

static int64_t floor_days(int64_t seconds)
{
    return seconds >= 0 ? seconds / DAY_SECONDS : -((DAY_SECONDS - 1 - seconds) / DAY_SECONDS);
}

/* False when outside the years that can be written. */
static bool wall_of(struct moment moment, struct wall *wall)
{
    if (!moment_known(moment) || moment.offset <= -1440 || moment.offset >= 1440 ||
        moment.seconds < EARLIEST + DAY_SECONDS || moment.seconds > LATEST - DAY_SECONDS)
        return false;
    time_t shown = (time_t)(moment.seconds + (int64_t)moment.offset * 60);
    struct tm tm;
    if (gmtime_r(&shown, &tm) == NULL)
        return false;
    *wall = (struct wall){tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday,
                          tm.tm_hour,        tm.tm_min,     tm.tm_sec};
    return true;
}

/* ---- reading --------------------------------------------------------------------------------- */

/* Reads exactly `digits` digits; NULL when they are not there. */
static const char *number(const char *at, int digits, int *value)
{
    *value = 0;
    for (int i = 0; i < digits; i++, at++) {
        if (!isdigit((unsigned char)*at))
            return NULL;
        *value = *value * 10 + (*at - '0');
    }
    return at;
}

static const char *read_date(const char *at, struct wall *wall)
{
    at = number(at, 4, &wall->year);
    at = at != NULL && *at == '-' ? number(at + 1, 2, &wall->month) : NULL;
    return at != NULL && *at == '-' ? number(at + 1, 2, &wall->day) : NULL;
}

static const char *read_clock(const char *at, struct wall *wall)
{
    at = number(at, 2, &wall->hour);
    at = at != NULL && *at == ':' ? number(at + 1, 2, &wall->minute) : NULL;
    wall->second = 0;
    if (at != NULL && *at == ':')
        at = number(at + 1, 2, &wall->second);
    return at;
}

/* "Z", "+01:00", "-0330", or nothing, which leaves `has` false. */
static const char *read_offset(const char *at, bool *has, int *offset)
{
    int hours = 0, minutes = 0;
    *has = *at != '\0';
    *offset = 0;
    if (*at == 'Z' || *at == 'z')
        return at + 1;
    if (*at != '+' && *at != '-')
        return at;
    int sign = *at == '-' ? -1 : 1;
    at = number(at + 1, 2, &hours);
    if (at != NULL)
        at = number(at + (*at == ':'), 2, &minutes);
    if (hours > 23 || minutes > 59)
        return NULL;
    *offset = sign * (hours * 60 + minutes);
    return at;
}

static bool read_iso(const char *text, struct moment *moment)
{
    struct wall wall = {.hour = NOON_HOUR};
    bool has_offset = false;
    int offset = 0;
    const char *at = read_date(text, &wall);
    if (at != NULL && (*at == 'T' || *at == 't' || *at == ' ')) {
        at = read_clock(at + 1, &wall);
        at = at != NULL ? read_offset(at, &has_offset, &offset) : NULL;
    }
    if (at == NULL || *at != '\0' || !real_wall(&wall))
        return false;
    *moment = has_offset ? at_offset(&wall, offset) : at_local(&wall);
    return true;
}

/* The clock of a day that lies `ago` days before now. */
static struct moment days_ago(struct moment now, int64_t ago, int hour, int minute)
{
    struct wall wall = {.year = 1970, .month = 1, .day = 1};
    struct moment noon = {(moment_day(now) - ago) * DAY_SECONDS + DAY_SECONDS / 2, 0};
    wall_of(noon, &wall);
    wall.hour = hour;
    wall.minute = minute;
    return at_local(&wall);
}

/* "3 days ago". */
static bool read_days_ago(const char *text, int *days)
{
    char unit[8] = "", ago[8] = "", *rest = NULL;
    int end = 0;
    if (strlen(text) > 32 || !isdigit((unsigned char)text[0]))
        return false;
    long read = strtol(text, &rest, 10);
    *days = read <= MOST_DAYS_AGO ? (int)read : 0;
    return read <= MOST_DAYS_AGO && sscanf(rest, "%7s %7s%n", unit, ago, &end) == 2 &&
           rest[end] == '\0' && strncasecmp(unit, "day", 3) == 0 && strcasecmp(ago, "ago") == 0;
}

static bool read_words(const char *text, struct moment now, struct moment *moment)
{
    struct wall clock = {0};
    int days = 0;
    if (strcasecmp(text, "now") == 0 || strcasecmp(text, "today") == 0) {
        *moment = now;
        return true;
    }
    if (strcasecmp(text, "yesterday") == 0) {
        *moment = days_ago(now, 1, NOON_HOUR, 0);
        return true;
    }
    const char *at = read_clock(text, &clock);
    if (at != NULL && *at == '\0' && clock.hour < 24 && clock.minute < 60) {
        *moment = days_ago(now, 0, clock.hour, clock.minute);
        return true;
    }
    if (!read_days_ago(text, &days))
        return false;
    *moment = days_ago(now, days, NOON_HOUR, 0);
    return true;
}

bool moment_read(const char *text, struct moment now, struct moment *moment)
{
    struct moment read = moment_unknown();
    struct wall wall;
    while (isspace((unsigned char)*text))
        text++;
    if (!read_iso(text, &read) && !(moment_known(now) && read_words(text, now, &read)))
        return false;
    if (!wall_of(read, &wall))
        return false;
    *moment = read;
    return true;
}

struct moment moment_now(void)
{
    struct moment moment;
    const char *said = getenv("JARSIDE_NOW");
    if (said != NULL && moment_read(said, moment_unknown(), &moment))
        return moment;
    time_t seconds = time(NULL);
    struct tm tm = {0};
    localtime_r(&seconds, &tm);
    return (struct moment){(int64_t)seconds, (int)(tm.tm_gmtoff / 60)};
}

/* ---- writing, days --------------------------------------------------------------------------- */

const char *moment_write(struct moment moment, char room[MOMENT_ROOM])
{
    struct wall wall;
    room[0] = '\0';
    if (!wall_of(moment, &wall))
        return room;
    int offset = abs(moment.offset);
    snprintf(room, MOMENT_ROOM, "%04u-%02u-%02uT%02u:%02u:%02u%c%02u:%02u",
             (unsigned)wall.year % 10000, (unsigned)wall.month % 100, (unsigned)wall.day % 100,
             (unsigned)wall.hour % 100, (unsigned)wall.minute % 100, (unsigned)wall.second % 100,
             moment.offset < 0 ? '-' : '+', (unsigned)offset / 60 % 100, (unsigned)offset % 60);
    return room;
}

const char *moment_write_day(struct moment moment, char room[MOMENT_ROOM])
{
    moment_write(moment, room);
    if (room[0] != '\0')
        room[strlen("0000-00-00")] = '\0';
    return room;
}

int64_t moment_day(struct moment moment)
{
    struct wall wall;
    return wall_of(moment, &wall) ? floor_days(moment.seconds + (int64_t)moment.offset * 60) : 0;
}

struct moment moment_of_day(int64_t day)
{
    struct wall wall;
    if (day < EARLIEST / DAY_SECONDS + 2 || day > LATEST / DAY_SECONDS - 2 ||
        !wall_of((struct moment){day * DAY_SECONDS + DAY_SECONDS / 2, 0}, &wall))
        return moment_unknown();
    return at_local(&wall);
}

int64_t moment_days_between(struct moment from, struct moment to)
{
    return moment_day(to) - moment_day(from);
}
