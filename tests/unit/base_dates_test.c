/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Dates as people and files write them; moments are tested with the journal, which keeps them. */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/dates.h"
#include "support/test.h"

TEST(dates_in_a_stated_order)
{
    (void)state;
    static const struct {
        const char *text;
        enum date_order order;
        const char *means; /* "" for none */
    } cases[] = {
        {"5.3.26", DATES_DAY_FIRST, "2026-03-05T12:00:00+00:00"},
        {"3/4/2026 7:30", DATES_MONTH_FIRST, "2026-03-04T07:30:00+00:00"},
        {"3/4/2026", DATES_DAY_FIRST, "2026-04-03T12:00:00+00:00"},
        {"2026/03/04", DATES_YEAR_FIRST, "2026-03-04T12:00:00+00:00"},
        {"Mar 5 2026", DATES_DAY_FIRST, "2026-03-05T12:00:00+00:00"},
        {"5 March, 2026 18:05", DATES_MONTH_FIRST, "2026-03-05T18:05:00+00:00"},
        {"5 mar 2026", DATES_ISO, "2026-03-05T12:00:00+00:00"},
        {"2026-03-05 18:30", DATES_DAY_FIRST, "2026-03-05T18:30:00+00:00"},
        {"2026-03-05T18:30:00.75+01:00", DATES_MONTH_FIRST, "2026-03-05T18:30:00+01:00"},
        {"3/4/2026", DATES_ISO, ""},
        {"14/2/2026", DATES_MONTH_FIRST, ""},
        {"30/2/2026", DATES_DAY_FIRST, ""},
        {"2026-02-30", DATES_YEAR_FIRST, ""},
        {"5 Ma 2026", DATES_DAY_FIRST, ""},
        {"5.3", DATES_DAY_FIRST, ""},
        {"5.3.26 25:00", DATES_DAY_FIRST, ""},
        {"5.3.20261", DATES_DAY_FIRST, ""},
        {"", DATES_DAY_FIRST, ""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char room[MOMENT_ROOM];
        struct moment moment = moment_unknown();
        assert_int_equal(moment_read_in(cases[i].text, cases[i].order, &moment),
                         cases[i].means[0] != '\0');
        assert_string_equal(moment_write(moment, room), cases[i].means);
    }
}

TEST(days_are_written_in_every_style)
{
    (void)state;
    static const char *const leap[] = {"2024-02-29", "20240229", "29 February 2024", "29 February"};
    char room[MOMENT_ROOM];
    for (int style = DAY_ISO; style <= DAY_NO_YEAR; style++) {
        assert_string_equal(day_write(19782, (enum day_style)style, room), leap[style]);
        assert_string_equal(day_write(INT32_MIN, (enum day_style)style, room), "");
        assert_string_equal(day_write(INT64_MAX, (enum day_style)style, room), "");
    }
    assert_string_equal(day_write(-25567, DAY_ISO, room), "1900-01-01");
    assert_string_equal(day_write(2932896, DAY_ISO, room), "9999-12-31");
}

TEST(parts_are_read_from_the_front)
{
    (void)state;
    int64_t day = 0;
    double seconds = 0;
    int minutes = 0;
    assert_string_equal(day_read("1970-03-01T18:30", &day), "T18:30");
    assert_int_equal(day, 59);
    assert_null(day_read("2023-02-29", &day));
    assert_null(day_read("1899-12-31", &day));
    assert_null(day_read("2023-2-29", &day));
    assert_string_equal(clock_read("18:30:05.25Z", &seconds), "Z");
    assert_true(seconds == 66605.25);
    assert_string_equal(clock_read("24:00", &seconds), "");
    assert_null(clock_read("24:01", &seconds));
    assert_null(clock_read("9:30", &seconds));
    assert_null(clock_read("09:60", &seconds));
    assert_string_equal(offset_read("-0330", &minutes), "");
    assert_int_equal(minutes, -210);
    assert_string_equal(offset_read("+01 CET", &minutes), " CET");
    assert_int_equal(minutes, 60);
    assert_null(offset_read("+24:00", &minutes));
    assert_null(offset_read("", &minutes));
}

/* As people say them on a Wednesday, 4 March 2026. */
TEST(dates_in_words)
{
    (void)state;
    static const struct {
        const char *locale, *text, *means; /* "" for none */
    } cases[] = {
        {"C", "28 Feb", "2026-02-28"},
        {"C", "Feb 28", "2026-02-28"},
        {"C", "2/28/26", "2026-02-28"},
        {"C", "28.2.", "2026-02-28"},
        {"C", "December 24", "2025-12-24"},
        {"C", "last tuesday", "2026-03-03"},
        {"C", "on Mon", "2026-03-02"},
        {"C", "wednesday", "2026-03-04"},
        {"C", "last wed", "2026-02-25"},
        {"C", "2 weeks ago", "2026-02-18"},
        {"C", "1/2/26", ""},
        {"en_US.UTF-8", "1/2/26", "2026-01-02"},
        {"C", "30 Feb", ""},
        {"en_GB.UTF-8", "1/2/26", "2026-02-01"},
        {"C", "someday", ""},
        {"C", "2/2/26", "2026-02-02"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char room[MOMENT_ROOM];
        struct moment now = moment_unknown(), moment = moment_unknown();
        assert_true(moment_read("2026-03-04T18:30:00Z", now, &now));
        setenv("LC_ALL", cases[i].locale, 1);
        assert_int_equal(moment_read(cases[i].text, now, &moment), cases[i].means[0] != '\0');
        assert_string_equal(moment_write_day(moment, room), cases[i].means);
    }
    unsetenv("LC_ALL");
}

int main(void)
{
    setenv("TZ", "UTC", 1);
    tzset();
    return tests_run("dates", NULL, NULL);
}
