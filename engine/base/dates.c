/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/dates.h"

#include <ctype.h>
#include <langinfo.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

enum { DAY_SECONDS = 86400, NOON = DAY_SECONDS / 2, MOST_DAYS_AGO = 36500 };
/* 1900-01-01 and 9999-12-31, the end of what four digits of a year can say. */
enum { EARLIEST_DAY = -25567, LATEST_DAY = 2932896 };

static const char *const months[] = {"January",   "February", "March",    "April",
                                     "May",       "June",     "July",     "August",
                                     "September", "October",  "November", "December"};

/* The calendar's view of a day; false when outside the years that can be written. */
static bool date_of(int64_t day, struct tm *date)
{
    if (day < EARLIEST_DAY || day > LATEST_DAY) /* before it is multiplied: it may be any number */
        return false;
    time_t seconds = (time_t)day * DAY_SECONDS;
    return gmtime_r(&seconds, date) != NULL;
}

/* False when no such day exists. */
static bool day_of(int year, int month, int number, int64_t *day)
{
    struct tm date = {.tm_year = year - 1900, .tm_mon = month - 1, .tm_mday = number};
    if (year < 1900 || year > 9999 || month < 1 || month > 12 || number < 1)
        return false;
    *day = (int64_t)timegm(&date) / DAY_SECONDS; /* which puts a 30th of February right */
    return date.tm_mday == number;
}

/* The wall clock of the local time zone, which knows the offset of that day. */
static struct moment at_local(int64_t day, int64_t seconds)
{
    struct tm tm = {0};
    if (!date_of(day, &tm))
        return moment_unknown();
    tm.tm_hour = (int)(seconds / 3600);
    tm.tm_min = (int)(seconds / 60 % 60);
    tm.tm_sec = (int)(seconds % 60);
    tm.tm_isdst = -1;
    int64_t local = (int64_t)mktime(&tm);
    return (struct moment){local, (int)(tm.tm_gmtoff / 60)};
}

/* Seconds since 1970 on the wall, a day short of the years that can be written at either end: an
 * offset may move it. */
static bool wall_of(struct moment moment, int64_t *day, int64_t *seconds)
{
    if (!moment_known(moment) || moment.offset <= -1440 || moment.offset >= 1440 ||
        moment.seconds < (EARLIEST_DAY + 1) * (int64_t)DAY_SECONDS ||
        moment.seconds >= LATEST_DAY * (int64_t)DAY_SECONDS)
        return false;
    int64_t shown = moment.seconds + (int64_t)moment.offset * 60;
    *day = shown / DAY_SECONDS - (shown % DAY_SECONDS < 0);
    *seconds = shown - *day * DAY_SECONDS;
    return true;
}

/* ---- reading --------------------------------------------------------------------------------- */

/* Reads exactly `digits` digits; NULL when they are not there, or `at` is NULL. */
static const char *number(const char *at, int digits, int *value)
{
    *value = 0;
    for (int i = 0; at != NULL && i < digits; i++, at++) {
        if (!isdigit((unsigned char)*at))
            return NULL;
        *value = *value * 10 + (*at - '0');
    }
    return at;
}

/* The same after a sign. */
static const char *part(const char *at, char sign, int *value)
{
    return at != NULL && *at == sign ? number(at + 1, 2, value) : NULL;
}

const char *day_read(const char *text, int64_t *day)
{
    int year, month, of_month;
    const char *end = part(part(number(text, 4, &year), '-', &month), '-', &of_month);
    return end != NULL && day_of(year, month, of_month, day) ? end : NULL;
}

const char *clock_read(const char *text, double *seconds)
{
    int hour, minute, second = 0;
    double unit = 1, fraction = 0;
    const char *at = part(number(text, 2, &hour), ':', &minute);
    if (at != NULL && *at == ':')
        at = number(at + 1, 2, &second);
    if (at == NULL || hour > 24 || minute > 59 || second > 60 ||
        (hour == 24 && minute + second > 0))
        return NULL;
    if (*at == '.')
        for (at++; isdigit((unsigned char)*at); at++)
            fraction += (unit /= 10) * (*at - '0');
    *seconds = 3600 * hour + 60 * minute + second + fraction;
    return at;
}

const char *offset_read(const char *text, int *minutes)
{
    int hours, rest = 0;
    *minutes = 0;
    if (*text == 'Z' || *text == 'z')
        return text + 1;
    if (*text != '+' && *text != '-')
        return NULL;
    const char *at = number(text + 1, 2, &hours);
    if (at != NULL && (*at == ':' || isdigit((unsigned char)*at)))
        at = number(at + (*at == ':'), 2, &rest);
    if (at == NULL || hours > 23 || rest > 59)
        return NULL;
    *minutes = (*text == '-' ? -1 : 1) * (hours * 60 + rest);
    return at;
}

static bool read_iso(const char *text, struct moment *moment)
{
    int64_t day;
    double seconds = NOON;
    int offset = 0;
    const char *at = day_read(text, &day);
    if (at != NULL && (*at == 'T' || *at == 't' || *at == ' '))
        at = clock_read(at + 1, &seconds);
    else if (at != NULL && *at != '\0')
        return false;
    if (at == NULL || seconds >= DAY_SECONDS)
        return false;
    bool local = *at == '\0';
    if (!local && ((at = offset_read(at, &offset)) == NULL || *at != '\0'))
        return false;
    *moment = local ? at_local(day, (int64_t)seconds)
                    : (struct moment){day * DAY_SECONDS + (int64_t)seconds - (int64_t)offset * 60,
                                      offset};
    return true;
}

/* "3 days ago", "2 weeks ago". */
static bool read_days_ago(const char *text, int *days)
{
    char unit[8] = "", ago[8] = "", *rest = NULL;
    int end = 0;
    if (strlen(text) > 32 || !isdigit((unsigned char)text[0]))
        return false;
    long read = strtol(text, &rest, 10);
    if (read > MOST_DAYS_AGO || sscanf(rest, "%7s %7s%n", unit, ago, &end) != 2 ||
        rest[end] != '\0' || strcasecmp(ago, "ago") != 0)
        return false;
    bool weeks = strncasecmp(unit, "week", 4) == 0;
    *days = (int)read * (weeks ? 7 : 1);
    return *days <= MOST_DAYS_AGO && (weeks || strncasecmp(unit, "day", 3) == 0);
}

/* "tuesday", "last tue", "on Tuesday": the newest one, and with "last" one before today. */
static bool read_weekday(const char *text, struct moment now, int *days)
{
    static const char *const names[] = {
        "thursday", "friday",  "saturday", "sunday",
        "monday",   "tuesday", "wednesday"}; /* day 0 was the first */
    bool last = strncasecmp(text, "last ", 5) == 0;
    text += last ? 5 : strncasecmp(text, "on ", 3) == 0 ? 3 : 0;
    size_t length = strlen(text);
    for (int i = 0; i < 7 && length >= 3; i++)
        if (length <= strlen(names[i]) && strncasecmp(names[i], text, length) == 0) {
            *days = (int)(((moment_day(now) - i) % 7 + 7) % 7);
            *days += last && *days == 0 ? 7 : 0;
            return true;
        }
    return false;
}

static bool read_words(const char *text, struct moment now, struct moment *moment)
{
    double seconds = NOON;
    int days = 0;
    const char *at = clock_read(text, &seconds);
    if (strcasecmp(text, "now") == 0 || strcasecmp(text, "today") == 0) {
        *moment = now;
        return true;
    }
    if (strcasecmp(text, "yesterday") == 0)
        days = 1;
    else if (!(at != NULL && *at == '\0' && seconds < DAY_SECONDS) && !read_days_ago(text, &days) &&
             !read_weekday(text, now, &days))
        return false;
    *moment = at_local(moment_day(now) - days, (int64_t)seconds);
    return true;
}

enum date_order dates_usual(void)
{
    const char *said = getenv("JARSIDE_DATES");
    if (said != NULL && said[0] != '\0')
        return said[0] == 'd'   ? DATES_DAY_FIRST
               : said[0] == 'm' ? DATES_MONTH_FIRST
               : said[0] == 'y' ? DATES_YEAR_FIRST
                                : DATES_ISO;
    locale_t locale = newlocale(LC_TIME_MASK, "", (locale_t)0);
    const char *name = getenv("LC_ALL"), *format = "";
    name = name != NULL && name[0] != '\0' ? name : getenv("LC_TIME");
    name = name != NULL && name[0] != '\0' ? name : getenv("LANG");
    bool plain = name == NULL || name[0] == 'C' || strcmp(name, "POSIX") == 0 || name[0] == '\0';
    if (locale != (locale_t)0 && !plain)
        format = nl_langinfo_l(D_FMT, locale);
    else if (!plain) /* named, but not on this machine: only one country begins with the month */
        format = strncmp(name, "en_US", 5) == 0 ? "%m" : "%d";
    enum date_order order = strncmp(format, "%m", 2) == 0   ? DATES_MONTH_FIRST
                            : strncmp(format, "%d", 2) == 0 ? DATES_DAY_FIRST
                                                            : DATES_ISO;
    if (locale != (locale_t)0)
        freelocale(locale);
    return order;
}

/* "28 Feb", "2/28/26", "28.2.": as the locale orders them, and where it does not say only what can
 * be read in one way. Without a year it is the newest such day. */
static bool read_local(const char *text, struct moment now, struct moment *moment)
{
    char whole[48];
    size_t length = strlen(text), separators = 0;
    while (length > 0 && strchr(" .,", text[length - 1]) != NULL)
        length--;
    for (size_t i = 0; i < length; i++)
        separators += strchr("./-, ", text[i]) != NULL && strchr("./-, ", text[i + 1]) == NULL;
    if (length == 0 ||
        length > 32 || /* "26-01-01" begins with a day to some, with a year to others */
        (separators == 2 && strspn(text, "0123456789-") >= length))
        return false;
    for (int ago = 0; ago < (separators == 1 ? 2 : 1); ago++) {
        char today[MOMENT_ROOM];
        struct moment read[2];
        enum date_order order = dates_usual();
        moment_write_day(now, today);
        snprintf(whole, sizeof whole, separators == 1 ? "%.*s/%ld" : "%.*s", (int)length, text,
                 strtol(today, NULL, 10) - ago);
        bool day_first = moment_read_in(whole, DATES_DAY_FIRST, &read[0]);
        bool month_first = moment_read_in(whole, DATES_MONTH_FIRST, &read[1]);
        if (day_first && month_first && read[0].seconds != read[1].seconds &&
            order != DATES_DAY_FIRST && order != DATES_MONTH_FIRST)
            return false;
        if (!day_first && !month_first)
            continue;
        *moment = read[month_first && (!day_first || order == DATES_MONTH_FIRST)];
        if (separators != 1 || moment_days_between(now, *moment) <= 0)
            return true;
    }
    return false;
}

bool moment_read(const char *text, struct moment now, struct moment *moment)
{
    struct moment read = moment_unknown();
    int64_t day, seconds;
    while (isspace((unsigned char)*text))
        text++;
    if ((!read_iso(text, &read) &&
         !(moment_known(now) && (read_words(text, now, &read) || read_local(text, now, &read)))) ||
        !wall_of(read, &day, &seconds))
        return false;
    *moment = read;
    return true;
}

/* A number of up to four digits or the name of a month, at least three letters of it. */
static const char *read_part(const char *at, int *part, bool *named)
{
    size_t length = 0;
    *part = 0;
    *named = isalpha((unsigned char)*at) != 0;
    if (!*named) {
        for (; length < 4 && isdigit((unsigned char)at[length]); length++)
            *part = *part * 10 + (at[length] - '0');
        return length > 0 && !isdigit((unsigned char)at[length]) ? at + length : NULL;
    }
    while (isalpha((unsigned char)at[length]))
        length++;
    for (int i = 0; i < 12 && length >= 3; i++)
        if (strlen(months[i]) >= length && strncasecmp(months[i], at, length) == 0)
            *part = i + 1;
    return *part != 0 ? at + length : NULL;
}

bool moment_read_in(const char *text, enum date_order order, struct moment *moment)
{
    static const int places[][3] = {/* of year, month and day */
                                    [DATES_ISO] = {0, 1, 2},
                                    [DATES_DAY_FIRST] = {2, 1, 0},
                                    [DATES_MONTH_FIRST] = {2, 0, 1},
                                    [DATES_YEAR_FIRST] = {0, 1, 2}};
    int parts[3];
    size_t digits[3];
    bool named[3];
    char written[64];
    const char *at = text;
    if (isdigit((unsigned char)text[0]) && strlen(text) >= 10 && text[4] == '-')
        return moment_read(text, moment_unknown(), moment);
    for (int i = 0; i < 3; i++) {
        size_t between = i > 0 ? strspn(at, "./-, ") : 1;
        const char *from = at + (i > 0 ? between : 0);
        at = between > 0 ? read_part(from, &parts[i], &named[i]) : NULL;
        if (at == NULL)
            return false;
        digits[i] = (size_t)(at - from);
    }
    if (order == DATES_ISO && !named[0] && !named[1])
        return false; /* without a word about it only a named month is beyond doubt */
    if (named[0] || (named[1] && digits[0] != 4)) /* "Mar 5 2026", "5 March 2026", "2 Nov 25" */
        order = named[1] ? DATES_DAY_FIRST : DATES_MONTH_FIRST;
    int year = parts[places[order][0]], month = parts[places[order][1]];
    int of_month = parts[places[order][2]];
    size_t year_digits = digits[places[order][0]];
    at += strspn(at, " ,T");
    if (strlen(at) > 8 || of_month > 31 || month > 12 || (year_digits != 2 && year_digits != 4))
        return false;
    snprintf(written, sizeof written, "%04d-%02d-%02d%s%s%s", year < 100 ? year + 2000 : year,
             month, of_month, *at != '\0' ? "T" : "", *at != '\0' && at[1] == ':' ? "0" : "", at);
    return moment_read(written, moment_unknown(), moment);
}

bool moment_read_near(const char *text, enum date_order order, struct moment known,
                      struct moment *moment)
{
    size_t length = strlen(text);
    bool found = false;
    while (length > 0 && strchr(" .,/-", text[length - 1]) != NULL)
        length--;
    if (length == 0 || length > 24 || !moment_known(known))
        return false;
    int year = (int)strtol(moment_write_day(known, MOMENT_WORDS), NULL, 10);
    for (int i = year - 1; i <= year + 1; i++) {
        struct moment read;
        char whole[48];
        if (order == DATES_YEAR_FIRST)
            snprintf(whole, sizeof whole, "%d/%.*s", i, (int)length, text);
        else
            snprintf(whole, sizeof whole, "%.*s/%d", (int)length, text, i);
        if (!moment_read_in(whole, order, &read))
            continue;
        if (!found || llabs(read.seconds - known.seconds) < llabs(moment->seconds - known.seconds))
            *moment = read;
        found = true;
    }
    return found;
}

struct moment moment_now(void)
{
    struct moment moment = moment_unknown();
    const char *said = getenv("JARSIDE_NOW");
    if (said != NULL && said[0] != '\0') {
        moment_read(said, moment_unknown(), &moment);
        return moment;
    }
    time_t seconds = time(NULL);
    struct tm tm = {0};
    localtime_r(&seconds, &tm);
    moment = (struct moment){(int64_t)seconds, (int)(tm.tm_gmtoff / 60)};
    int64_t day, of_day;
    return wall_of(moment, &day, &of_day) ? moment : moment_unknown();
}

/* ---- writing, days --------------------------------------------------------------------------- */

const char *day_write(int64_t day, enum day_style style, char room[MOMENT_ROOM])
{
    struct tm date;
    room[0] = '\0';
    if (!date_of(day, &date))
        return room;
    if (style == DAY_NO_YEAR)
        snprintf(room, MOMENT_ROOM, "%d %s", date.tm_mday, months[date.tm_mon]);
    else if (style == DAY_WORDS)
        snprintf(room, MOMENT_ROOM, "%d %s %d", date.tm_mday, months[date.tm_mon],
                 date.tm_year + 1900);
    else
        strftime(room, MOMENT_ROOM, style == DAY_COMPACT ? "%Y%m%d" : "%Y-%m-%d", &date);
    return room;
}

const char *moment_write_day(struct moment moment, char room[MOMENT_ROOM])
{
    int64_t day, seconds;
    room[0] = '\0';
    return wall_of(moment, &day, &seconds) ? day_write(day, DAY_ISO, room) : room;
}

const char *moment_write(struct moment moment, char room[MOMENT_ROOM])
{
    int64_t day, seconds;
    room[0] = '\0';
    if (!wall_of(moment, &day, &seconds))
        return room;
    size_t length = strlen(day_write(day, DAY_ISO, room));
    unsigned clock = (unsigned)seconds, offset = (unsigned)abs(moment.offset);
    snprintf(room + length, MOMENT_ROOM - length, "T%02u:%02u:%02u%c%02u:%02u", clock / 3600 % 100,
             clock / 60 % 60, clock % 60, moment.offset < 0 ? '-' : '+', offset / 60 % 100,
             offset % 60);
    return room;
}

int64_t moment_day(struct moment moment)
{
    int64_t day, seconds;
    return wall_of(moment, &day, &seconds) ? day : 0;
}

struct moment moment_of_day(int64_t day)
{
    return day < EARLIEST_DAY + 2 || day > LATEST_DAY - 2 ? moment_unknown() : at_local(day, NOON);
}

int64_t moment_days_between(struct moment from, struct moment to)
{
    return moment_day(to) - moment_day(from);
}
