/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_PROBE_H
#define JARSIDE_PROCESS_PROBE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/csv.h"
#include "base/diag.h"

/* A temperature log as CSV, taken row by row in constant memory.
 *
 * The first row may name the columns; the one whose name has "time", "date", "min", "sec", "hour"
 * or "day" in it is the time, the one with "temp", "probe", "core", "celsius" or "fahrenheit" the
 * temperature. Without a header they are the first and the second. Further columns are passed over.
 *
 * Times are numbers (minutes, unless the name says seconds, hours or days), ISO 8601 dates with a
 * time of day and perhaps an offset, or times of day alone, which may pass midnight once a day.
 * Temperatures are in the unit that the column's name or the caller gives, or that stands after
 * each number; none at all, or two that differ, is an error. A decimal comma is an error that says
 * so: a comma separates columns.
 *
 * Readings are handed on in minutes since the first and degC. Faults name line and column; after
 * DIAG_KEEP of them the reading stops. */
enum probe_unit { PROBE_UNKNOWN, PROBE_CELSIUS, PROBE_FAHRENHEIT };

/* Takes one reading. False: time did not move on (the row is reported and left out). */
struct probe_sink {
    void *context;
    bool (*reading)(void *context, double minutes, double celsius);
};

enum probe_time { PROBE_NUMBER, PROBE_TIME_OF_DAY, PROBE_DATE };

struct probe_log { /* set by probe_init; all but the first three are its own */
    const char *file;
    struct probe_sink sink;
    enum probe_unit unit; /* of the temperatures; PROBE_UNKNOWN until something says */
    struct diags *diags;
    bool columns_known;
    size_t time_column, celsius_column;
    double minutes_per_unit;  /* of a bare number in the time column */
    size_t readings, rows;    /* taken; with a time, whether taken or not */
    enum probe_time kind;     /* of the first time; all others must be of it */
    double first, last, days; /* in minutes; midnights passed */
};

/* Ready to take a log; `file` is named in messages and may be NULL. */
void probe_init(struct probe_log *log, const char *file, enum probe_unit unit,
                const struct probe_sink *sink, struct diags *diags);
/* What csv_read or a csv_reader reads it by. */
struct csv_table probe_table(struct probe_log *log);
/* Once all is read: STATUS_DATA when anything was wrong or there were no readings. */
enum status probe_finish(struct probe_log *log);

#endif
