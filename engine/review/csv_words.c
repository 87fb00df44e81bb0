/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/csv_words_internal.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

void csv_trim(const char **bytes, size_t *length)
{
    static const char white[] = " \t\r\n";
    while (*length > 0 && strchr(white, (*bytes)[0]) != NULL && (*bytes)[0] != '\0') {
        ++*bytes;
        --*length;
    }
    while (*length > 0 && strchr(white, (*bytes)[*length - 1]) != NULL &&
           (*bytes)[*length - 1] != '\0')
        --*length;
}

/* ---- columns --------------------------------------------------------------------------------- */

static const struct {
    const char *name;
    struct csv_role role;
} columns[] = {
    {"vessel", {.use = CSV_LABEL}},
    {"label", {.use = CSV_LABEL}},
    {"name", {.use = CSV_LABEL}},
    {"id", {.use = CSV_LABEL}},
    {"jar", {.use = CSV_LABEL}},
    {"bag", {.use = CSV_LABEL}},
    {"lost", {.use = CSV_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
    {"contaminated", {.use = CSV_FATE, .yes = FATE_CONTAMINATED, .no = FATE_SOUND}},
    {"contam", {.use = CSV_FATE, .yes = FATE_CONTAMINATED, .no = FATE_SOUND}},
    {"bad", {.use = CSV_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
    {"failed", {.use = CSV_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
    {"ok", {.use = CSV_FATE, .yes = FATE_SOUND, .no = FATE_UNTOLD}},
    {"good", {.use = CSV_FATE, .yes = FATE_SOUND, .no = FATE_UNTOLD}},
    {"clean", {.use = CSV_FATE, .yes = FATE_SOUND, .no = FATE_CONTAMINATED}},
    {"fate", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"outcome", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"result", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"status", {.use = CSV_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
    {"begun", {.use = CSV_ENTERED}},
    {"started", {.use = CSV_ENTERED}},
    {"inoculated", {.use = CSV_ENTERED}},
    {"made", {.use = CSV_ENTERED}},
    {"date", {.use = CSV_ENTERED}},
    {"at", {.use = CSV_ENTERED}},
    {"ended", {.use = CSV_ENDED}},
    {"lost on", {.use = CSV_ENDED}},
    {"used on", {.use = CSV_ENDED}},
    {"discarded on", {.use = CSV_ENDED}},
    {"control", {.use = CSV_CONTROL}},
    {"uninoculated", {.use = CSV_CONTROL}},
    {"cook", {.use = CSV_FACTOR, .kind = FACTOR_COOK}},
    {"starter", {.use = CSV_FACTOR, .kind = FACTOR_STARTER}},
    {"culture", {.use = CSV_FACTOR, .kind = FACTOR_STARTER}},
    {"session", {.use = CSV_FACTOR, .kind = FACTOR_SESSION}},
    {"sitting", {.use = CSV_FACTOR, .kind = FACTOR_SESSION}},
    {"place", {.use = CSV_FACTOR, .kind = FACTOR_PLACE}},
    {"shelf", {.use = CSV_FACTOR, .kind = FACTOR_PLACE}},
    {"lot", {.use = CSV_FACTOR, .kind = FACTOR_LOT}},
    {"grain lot", {.use = CSV_FACTOR, .kind = FACTOR_LOT}},
    {"sack", {.use = CSV_FACTOR, .kind = FACTOR_LOT}},
    {"batch", {.use = CSV_FACTOR, .kind = FACTOR_BATCH}},
    {"mix", {.use = CSV_FACTOR, .kind = FACTOR_BATCH}},
    {"position", {.use = CSV_FACTOR, .kind = FACTOR_POSITION}},
    {"kind", {.use = CSV_FACTOR, .kind = FACTOR_VESSEL}},
    {"vessel kind", {.use = CSV_FACTOR, .kind = FACTOR_VESSEL}},
    {"note", {.use = CSV_IGNORED}},
    {"notes", {.use = CSV_IGNORED}},
};

struct csv_role csv_role_of(const char *name)
{
    enum { LONGEST = 64 };
    char plain[LONGEST];
    size_t length = strlen(name);
    csv_trim(&name, &length);
    snprintf(plain, sizeof plain, "%.*s", (int)(length < LONGEST ? length : LONGEST - 1), name);
    for (char *at = plain; *at != '\0'; at++)
        if (*at == '_' || *at == '-')
            *at = ' ';
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++)
        if (strcasecmp(columns[i].name, plain) == 0)
            return columns[i].role;
    return (struct csv_role){.use = CSV_FACTOR, .kind = FACTOR_OTHER};
}

/* ---- values ---------------------------------------------------------------------------------- */

static bool is_word(const char *word, size_t length, const char *known)
{
    return strlen(known) == length && strncasecmp(word, known, length) == 0;
}

bool csv_yes(const char *word, size_t length)
{
    static const char *const known[] = {"yes", "y", "true", "1", "x"};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_word(word, length, known[i]))
            return true;
    return false;
}

static bool csv_no(const char *word, size_t length)
{
    static const char *const known[] = {"no", "n", "false", "0"};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_word(word, length, known[i]))
            return true;
    return false;
}

bool csv_fate(const struct csv_role *role, const char *word, size_t length, uint8_t *fate)
{
    static const struct {
        const char *word;
        enum fate fate;
    } known[] = {
        {"lost", FATE_UNTOLD},
        {"bad", FATE_UNTOLD},
        {"failed", FATE_UNTOLD},
        {"discarded", FATE_UNTOLD},
        {"dead", FATE_UNTOLD},
        {"untold", FATE_UNTOLD},
        {"contaminated", FATE_CONTAMINATED},
        {"contam", FATE_CONTAMINATED},
        {"stuck", FATE_STUCK},
        {"stalled", FATE_STUCK},
        {"ok", FATE_SOUND},
        {"okay", FATE_SOUND},
        {"fine", FATE_SOUND},
        {"good", FATE_SOUND},
        {"clean", FATE_SOUND},
        {"sound", FATE_SOUND},
        {"used", FATE_SOUND},
        {"healthy", FATE_SOUND},
        {"open", FATE_OPEN},
        {"growing", FATE_OPEN},
        {"isolated", FATE_OPEN},
        {"waiting", FATE_OPEN},
    };
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_word(word, length, known[i].word)) {
            *fate = (uint8_t)known[i].fate;
            return true;
        }
    if (csv_yes(word, length))
        *fate = role->yes;
    else if (csv_no(word, length))
        *fate = role->no;
    return *fate != FATE_COUNT;
}

/* ---- days ------------------------------------------------------------------------------------ */

static bool digits(const char *bytes, size_t count, int *number)
{
    *number = 0;
    for (size_t i = 0; i < count; i++) {
        if (bytes[i] < '0' || bytes[i] > '9')
            return false;
        *number = *number * 10 + (bytes[i] - '0');
    }
    return true;
}

/* Days from 1970-01-01 of the Gregorian calendar, years counted from March. */
static int32_t day_number(int year, int month, int day)
{
    enum { DAYS_OF_400_YEARS = 146097, DAYS_TO_1970 = 719468 };
    int years = year - (month <= 2);
    int era = years / 400, of_era = years % 400;
    int of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    return era * DAYS_OF_400_YEARS + of_era * 365 + of_era / 4 - of_era / 100 + of_year -
           DAYS_TO_1970;
}

bool csv_day(const char *word, size_t length, int32_t *day)
{
    static const int longest[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int year, month, of_month;
    if (length < 10 || word[4] != '-' || word[7] != '-' || !digits(word, 4, &year) ||
        !digits(word + 5, 2, &month) || !digits(word + 8, 2, &of_month) || year < 1900 ||
        month < 1 || month > 12 || of_month < 1 || of_month > longest[month - 1] ||
        (length > 10 && word[10] != 'T' && word[10] != ' '))
        return false;
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    if (month == 2 && of_month == 29 && !leap)
        return false;
    *day = day_number(year, month, of_month);
    return true;
}
