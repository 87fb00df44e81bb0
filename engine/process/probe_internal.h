/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_PROBE_INTERNAL_H
#define JARSIDE_PROCESS_PROBE_INTERNAL_H

#include <stddef.h>

#include "process/probe.h"

enum probe_time_kind { PROBE_TIME_NUMBER, PROBE_TIME_OF_DAY, PROBE_TIME_DATE };

struct probe_time {
    enum probe_time_kind kind;
    double number; /* as written; minutes since midnight; minutes since 1970-01-01 UTC or local */
};

/* Both return NULL when the whole of the text was read, else what is wrong with it. */
const char *probe_read_time(const char *text, size_t length, struct probe_time *time);
const char *probe_read_temperature(const char *text, size_t length, double *number,
                                   enum probe_unit *unit);

#endif
