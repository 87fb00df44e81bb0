/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_PROBE_H
#define JARSIDE_PROCESS_PROBE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"

/*
 * A temperature log as CSV, read as a stream of any length in constant memory.
 *
 * The first row may name the columns; the one whose name has "time", "date",
 * "min", "sec", "hour" or "day" in it is the time, the one with "temp", "probe",
 * "core", "celsius" or "fahrenheit" the temperature. Without a header they are
 * the first and the second. Further columns are passed over.
 *
 * Times are numbers (minutes, unless the name says seconds, hours or days), ISO
 * 8601 dates with a time of day and perhaps an offset, or times of day alone,
 * which may pass midnight once a day. Temperatures are in the unit that the
 * column's name or the options give, or that stands behind each number; none
 * at all, or two that differ, is an error. A decimal comma is an error that says
 * so: a comma separates columns.
 *
 * Readings are handed on in minutes since the first and degC. Faults name line
 * and column; after DIAG_KEEP of them the reading stops.
 */
enum probe_unit { PROBE_UNKNOWN, PROBE_CELSIUS, PROBE_FAHRENHEIT };

struct probe_options {
    const char *file;     /* named in messages; may be NULL */
    enum probe_unit unit; /* when the log does not say; PROBE_UNKNOWN: then it must */
};

/* Takes one reading. False: time did not move on (the row is reported and left out). */
struct probe_sink {
    void *context;
    bool (*reading)(void *context, double minutes, double celsius);
};

struct probe_reader; /* opaque */

/* `diags` must outlive it. NULL when out of memory. */
struct probe_reader *probe_reader_new(const struct probe_options *options,
                                      const struct probe_sink *sink, struct diags *diags);
void probe_reader_free(struct probe_reader *reader);

/* STATUS_DATA once there is an error that stops the reading; feed on otherwise. */
enum status probe_reader_feed(struct probe_reader *reader, const char *bytes, size_t length);
/* STATUS_DATA when anything was wrong or there were no readings. */
enum status probe_reader_finish(struct probe_reader *reader);

#endif
