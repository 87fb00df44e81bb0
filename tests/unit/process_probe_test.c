/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "process/probe.h"
#include "support/test.h"

struct readings {
    double minutes[64], celsius[64];
    size_t count;
    double last;
};

static bool keep(void *context, double minutes, double celsius)
{
    struct readings *readings = context;
    if (readings->count > 0 && minutes <= readings->last)
        return false;
    if (readings->count < 64) {
        readings->minutes[readings->count] = minutes;
        readings->celsius[readings->count] = celsius;
    }
    readings->last = minutes;
    readings->count++;
    return true;
}

/* The first fault as "line:column: message", or "" when the log was read whole. */
static const char *read_log(const char *text, enum probe_unit unit, struct readings *readings)
{
    static char message[512];
    const struct probe_sink sink = {readings, keep};
    struct diags *diags = diags_new();
    struct probe_log log;

    memset(readings, 0, sizeof *readings);
    probe_init(&log, "log.csv", unit, &sink, diags);
    const struct csv_table table = probe_table(&log);
    struct csv_reader *reader = csv_reader_new(&table, diags);
    enum status status = csv_reader_feed(reader, text, strlen(text));
    if (status == STATUS_OK)
        status = csv_reader_finish(reader);
    if (status == STATUS_OK)
        status = probe_finish(&log);
    assert_int_equal(status, diags_errors(diags) > 0 ? STATUS_DATA : STATUS_OK);
    message[0] = '\0';
    if (diags_kept(diags) > 0) {
        const struct diag *diag = diags_get(diags, 0);
        assert_string_equal(diag->at.file, "log.csv");
        snprintf(message, sizeof message, "%zu:%zu: %s", diag->at.line, diag->at.column,
                 diag->message);
    }
    csv_reader_free(reader);
    diags_free(diags);
    return message;
}

TEST(logs_of_many_shapes_are_read)
{
    (void)state;
    static const struct {
        const char *text;
        enum probe_unit unit;
    } same[] = {
        {"minutes,temperature_C\n0,20\n1.5,100\n", PROBE_UNKNOWN},
        {"0,20\n1.5,100\n", PROBE_CELSIUS},
        {"0,20 C\n1.5,100C\n", PROBE_UNKNOWN},
        {"0,68\n1.5,212\n", PROBE_FAHRENHEIT},
        {"Time (s),Core temp (F)\r\n10,68\r\n100,212\r\n", PROBE_UNKNOWN},
        {"probe \xC2\xB0"
         "C,note,hours\n20,x,0\n100,\"a, b\",0.025\n",
         PROBE_UNKNOWN},
        {"time,temp degC\n23:59,20\n00:00:30,100\n", PROBE_UNKNOWN},
        {"time,temp\n2024-02-29T23:59:00Z,20C\n2024-03-01T00:00:30Z,100C\n", PROBE_UNKNOWN},
        {"date,temp_c\n2025-03-30 01:00:00+01:00,20\n2025-03-30 02:01:30+02:00,100\n",
         PROBE_UNKNOWN},
        {"minutes,temperature\n\n5,68\xC2\xB0"
         "F\n\n6.5,212 F\n",
         PROBE_UNKNOWN},
    };
    for (size_t i = 0; i < sizeof same / sizeof *same; i++) {
        struct readings readings;
        assert_string_equal(read_log(same[i].text, same[i].unit, &readings), "");
        assert_int_equal(readings.count, 2);
        assert_true(readings.minutes[0] == 0);
        assert_true(fabs(readings.minutes[1] - 1.5) < 1e-6);
        assert_true(fabs(readings.celsius[0] - 20) < 1e-9);
        assert_true(fabs(readings.celsius[1] - 100) < 1e-9);
    }
}

TEST(faults_are_told_with_their_place)
{
    (void)state;
    static const struct {
        const char *text, *fault;
    } bad[] = {
        {"minutes,temp_c\n0,20\n1,hot\n", "3:3: 'hot' is not a number"},
        {"minutes,temp_c\n0,20\n1,\n", "3:3: '' is blank; every reading needs a number here"},
        {"minutes,temp_c\n0,20\n1\n",
         "3:1: a row needs a time and a temperature, with a comma between them"},
        {"minutes,temp_c\n0,20\nx,21\n", "3:1: 'x' is not a time; minutes, 14:05, 2025-03-01 or "
                                         "2025-03-01T14:05:30 are understood"},
        {"minutes,temp_c\n0,\"20,5\"\n",
         "2:3: '20,5' has a decimal comma; write a point, a comma separates columns"},
        {"minutes,temp_c\n5,20\n5,21\n", "3:1: time stands still or runs backwards; each reading "
                                         "must be later than the one before"},
        {"minutes,temp_c\n0,20\n1,70F\n",
         "3:3: '70F' is in a different unit from the readings before; one log, one unit"},
        {"minutes,temp\n0,20\n",
         "2:3: '20' has no unit; head the column 'temperature_C' or 'temperature_F', or say which "
         "it is"},
        {"minutes,temp_c\n0,20\n1,9999\n",
         "3:3: '9999' is not a temperature a cook can have; give one between -40 and 200 degC"},
        {"minutes,temp_c\n0,20\n1,inf\n", "3:3: 'inf' is not a number"},
        {"minutes,temp_c\n0,20\n1,nan\n", "3:3: 'nan' is not a number"},
        {"minutes,temp_c\n0,20\n0x10,25\n", "3:1: '0x10' is not a time; minutes, 14:05, 2025-03-01 "
                                            "or 2025-03-01T14:05:30 are understood"},
        {"minutes,temp_c\n0,20\n00:05,25\n",
         "3:1: times are written in two ways; one log, one way"},
        {"minutes,weight\n0,20\n",
         "1:1: no column is named as a temperature; name one 'temperature_C' or 'temperature_F'"},
        {"a,temp_c\n0,20\n", "1:1: no column is named as a time; name one 'time' or 'minutes'"},
        {"minutes,temp_c\n", "0:0: a log needs at least two readings"},
        {"", "0:0: a log needs at least two readings"},
        {"minutes,temp_c\n0,2\"0\n",
         "2:4: a quote where none may stand, or one that is never closed; within quotes write a "
         "quote twice"},
        {"minutes;temp_c\n0;20\n",
         "1:1: columns are separated by ';'; a comma separates columns, a point decimals"},
        {"2025-13-01T10:00,20\n",
         "1:1: '2025-13-01T10:00' is not a time; minutes, 14:05, 2025-03-01 or "
         "2025-03-01T14:05:30 are understood"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct readings readings;
        const char *fault = read_log(bad[i].text, PROBE_UNKNOWN, &readings);
        assert_string_equal(fault, bad[i].fault);
    }
}

TEST(bad_rows_do_not_hide_the_good_ones)
{
    (void)state;
    struct readings readings;
    read_log("minutes,temp_c\n0,20\n1,x\n2,22\n3,\n4,24\n", PROBE_UNKNOWN, &readings);
    assert_int_equal(readings.count, 3);
    assert_true(readings.minutes[2] == 4);
}

TEST(a_flood_of_faults_ends_the_reading)
{
    (void)state;
    struct readings readings = {.count = 0};
    struct probe_sink sink = {&readings, keep};
    struct diags *diags = diags_new();
    struct probe_log log;
    probe_init(&log, NULL, PROBE_CELSIUS, &sink, diags);
    const struct csv_table table = probe_table(&log);
    struct csv_reader *reader = csv_reader_new(&table, diags);
    enum status status = STATUS_OK;
    size_t fed = 0;
    for (; fed < 1000000 && status == STATUS_OK; fed++)
        status = csv_reader_feed(reader, "x,y\n", 4);
    assert_int_equal(status, STATUS_DATA);
    assert_true(fed < 2000); /* the head is looked at first */
    csv_reader_free(reader);
    diags_free(diags);
}

int main(void)
{
    return tests_run("probe logs", NULL, NULL);
}
