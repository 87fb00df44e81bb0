/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A temperature log, in one piece and in small ones: the same readings, finite and in order. */
#include "process/probe.h"

#include "support/fuzz.h"

struct log {
    double minutes, sum;
    size_t count;
};

static bool take_reading(void *context, double minutes, double celsius)
{
    struct log *log = context;
    hold(isfinite(minutes) && isfinite(celsius), "a reading is finite");
    if (log->count && minutes <= log->minutes)
        return false;
    log->minutes = minutes;
    log->sum += minutes + celsius;
    log->count++;
    return true;
}

static enum status read_in(size_t piece, const uint8_t *bytes, size_t size, struct log *log)
{
    const struct probe_sink sink = {log, take_reading};
    struct diags *diags = diags_new();
    struct probe_log reading;
    probe_init(&reading, "log.csv", PROBE_CELSIUS, &sink, diags);
    const struct csv_table table = probe_table(&reading);
    enum status status = feed(&table, bytes, size, piece, diags);
    if (status == STATUS_OK)
        status = probe_finish(&reading);
    hold(status == STATUS_OK || status == STATUS_DATA, "a log is read or refused");
    hold(status != STATUS_OK || log->count, "a log that is read has readings");
    hold_diags(diags, status != STATUS_OK);
    diags_free(diags);
    return status;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct log whole = {0};
    struct log pieces = {0};
    enum status status = read_in(size ? size : 1, bytes, size, &whole);
    hold(read_in(3, bytes, size, &pieces) == status, "pieces come to the same outcome");
    hold(whole.count == pieces.count && !(whole.sum < pieces.sum || whole.sum > pieces.sum),
         "pieces hold the same readings");
    return 0;
}
