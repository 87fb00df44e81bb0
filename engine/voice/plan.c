/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the three kinds of plan share when they are told. */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "voice/plan_internal.h"

json_t *plan_range(const struct range *range)
{
    return json_pack("{s:o, s:o, s:o}", "low", voice_json_number(range->low), "central",
                     voice_json_number(range->central), "high", voice_json_number(range->high));
}

const char *plan_chance(double chance, char room[CHANCE_ROOM])
{
    if (chance > 0.99)
        snprintf(room, CHANCE_ROOM, "over 99 %%");
    else if (chance >= 0.1)
        snprintf(room, CHANCE_ROOM, "%.0f %%", 100.0 * chance);
    else if (chance >= 0.001)
        snprintf(room, CHANCE_ROOM, "%.2g %%", 100.0 * chance);
    else
        snprintf(room, CHANCE_ROOM, "under 1 in 1000");
    return room;
}

/* `count` decimal digits at `text`; -1 when they are not. */
static int digits(const char *text, int count)
{
    int number = 0;

    for (int i = 0; i < count; i++) {
        if (text[i] < '0' || text[i] > '9')
            return -1;
        number = 10 * number + (text[i] - '0');
    }
    return number;
}

bool voice_date_read(const char *text, struct tm *date)
{
    static const int days[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};

    if (strlen(text) != DATE_ROOM - 1 || text[4] != '-' || text[7] != '-')
        return false;
    int year = digits(text, 4), month = digits(text + 5, 2), day = digits(text + 8, 2);
    if (year < 1900 || month < 1 || month > 12 || day < 1 || day > days[month - 1])
        return false;
    /* At noon in UTC, so that no change of clocks can move the date. */
    *date = (struct tm){.tm_year = year - 1900, .tm_mon = month - 1, .tm_mday = day, .tm_hour = 12};
    return true;
}

const char *voice_date(const char *start, double days, char room[DATE_ROOM])
{
    struct tm date;

    room[0] = '\0';
    if (start == NULL || !isfinite(days) || !voice_date_read(start, &date))
        return room;
    time_t noon = timegm(&date) + (time_t)lround(days) * 86400;
    if (gmtime_r(&noon, &date) != NULL)
        strftime(room, DATE_ROOM, "%Y-%m-%d", &date);
    return room;
}
