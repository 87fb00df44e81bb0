/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_DATES_H
#define JARSIDE_BASE_DATES_H

#include <stdbool.h>
#include <stdint.h>

/* Moments: when something happened, and what the clock on the wall said.
 *
 * ISO 8601 local time with its offset from UTC, to the second. Order of events is the order in
 * which they were recorded, never that of their moments: a clock may go back. Days are those of the
 * wall calendar where the moment was recorded, so that an hour of daylight saving never makes a
 * day. */
struct moment {
    int64_t seconds; /* since 1970-01-01T00:00:00Z; MOMENT_UNKNOWN when not known */
    int offset;      /* minutes east of UTC, -1439 to 1439 */
};

#define MOMENT_UNKNOWN INT64_MIN
/* Years 1900 to 9999; what a grower could mean is far narrower, and `journal check` says so. */
enum { MOMENT_ROOM = 32 };
/* Such room for one call; what is written there stays to the end of the block. */
#define MOMENT_WORDS ((char[MOMENT_ROOM]){""})

static inline struct moment moment_unknown(void)
{
    return (struct moment){MOMENT_UNKNOWN, 0};
}
static inline bool moment_known(struct moment moment)
{
    return moment.seconds != MOMENT_UNKNOWN;
}

/* The system clock and the local time zone; $JARSIDE_NOW (ISO 8601) stands in its place when set,
 * for records written later and for tests. Unknown when that cannot be read, or the zone ($TZ) lies
 * a day or more from UTC. */
struct moment moment_now(void);

/* Reads "2026-03-01T18:30:00+01:00", "2026-03-01 18:30", "2026-03-01" (noon), "18:30" (today),
 * "now", "today", "yesterday", "3 days ago", "last tuesday", in any case; "28 Feb" and "2/28/26" in
 * the order of the locale (LC_TIME), the newest such day without a year. Without an offset the
 * local time zone's is taken, daylight saving of that day included; a time that the clock skips is
 * the one an hour later. False, and `moment` untouched, when it is none of these or no such day
 * exists. */
bool moment_read(const char *text, struct moment now, struct moment *moment);

/* How a table writes its dates. */
enum date_order { DATES_ISO, DATES_DAY_FIRST, DATES_MONTH_FIRST, DATES_YEAR_FIRST };

/* How the grower does: as $JARSIDE_DATES says (day/month/year), else the locale (LC_TIME);
 * DATES_ISO where neither does. */
enum date_order dates_usual(void);

/* Reads a date as people write it, with or without a time of day after it: "5.3.26", "Mar 5 2026",
 * "5 March 2026 7:30". ISO 8601 is understood whatever the order, and a named month settles which
 * number is the day; years have two or four figures, those of two are in the 2000s. False when it
 * is none in that order. */
bool moment_read_in(const char *text, enum date_order order, struct moment *moment);
/* "5.1.", a day without its year in that order: the one nearest to a day that is known. */
bool moment_read_near(const char *text, enum date_order order, struct moment known,
                      struct moment *moment);

/* "2026-03-01T18:30:00+01:00" and "2026-03-01" into `room`, which is returned; "" when unknown. */
const char *moment_write(struct moment moment, char room[MOMENT_ROOM]);
const char *moment_write_day(struct moment moment, char room[MOMENT_ROOM]);

/* The wall-calendar day as days since 1970-01-01; and noon of such a day in the local time zone. */
int64_t moment_day(struct moment moment);
struct moment moment_of_day(int64_t day);

/* Calendar days from one moment to a later one; negative when it is earlier. Both known. */
int64_t moment_days_between(struct moment from, struct moment to);

enum day_style {
    DAY_ISO,     /* 2026-03-01 */
    DAY_COMPACT, /* 20260301 */
    DAY_WORDS,   /* 1 March 2026 */
    DAY_NO_YEAR, /* 1 March */
};

/* Days since 1970-01-01 as a date into `room`, which is returned; "" outside the years above. */
const char *day_write(int64_t day, enum day_style style, char room[MOMENT_ROOM]);

/* The parts of ISO 8601, each from the start of `text`; what stands after it, or NULL when the
 * text does not begin so: a day that exists, "18:30", "18:30:05" or "18:30:05.25" as seconds since
 * midnight (24:00 included), "Z", "+01:00", "-0330" or "+01" as minutes east. */
const char *day_read(const char *text, int64_t *day);
const char *clock_read(const char *text, double *seconds);
const char *offset_read(const char *text, int *minutes);

#endif
