/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/limits.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>

#define AS_LIMIT(name, what, lo, hi, unit, why)                                                    \
    [PROCESS_##name] = {(what), (lo), (hi), (unit), (why)},
static const struct limit limits[PROCESS_COUNT] = {PROCESS_LIMITS(AS_LIMIT)};

#define AS_TEXT(name, text) [PROCESS_##name] = (text),
static const char *const others[PROCESS_COUNT] = {PROCESS_REFUSALS(AS_TEXT)};

static bool is_range(enum process_error error)
{
    return error > PROCESS_OK && error < PROCESS_COUNT && limits[error].what != NULL;
}

const struct limit *limit_of(enum process_error error)
{
    return is_range(error) ? &limits[error] : NULL;
}

enum process_error limit_check(enum process_error bound, double value)
{
    if (!is_range(bound))
        return bound;
    /* Written so that a NaN fails. */
    return value >= limits[bound].lo && value <= limits[bound].hi ? PROCESS_OK : bound;
}

enum process_error limit_check_each(const struct bounded *ranges, size_t count, double *value)
{
    enum process_error error = PROCESS_OK;
    for (size_t i = 0; i < count && error == PROCESS_OK; i++) {
        const struct range *range = &ranges[i].range;
        const enum process_error bound = ranges[i].bound;
        const double end = limit_check(bound, range->low) != PROCESS_OK ? range->low : range->high;
        error = limit_check(bound, end);
        if (!(range->low <= range->central && range->central <= range->high) && !error)
            error = limit_check(bound, range->central) ? bound : PROCESS_RANGE_ORDER;
        if (value != NULL)
            *value = end;
    }
    return error;
}

int limit_message(char *out, size_t size, enum process_error error, double value)
{
    const struct limit *limit = limit_of(error);
    if (error == PROCESS_OK)
        return snprintf(out, size, "nothing is wrong");
    if (limit == NULL)
        return snprintf(out, size, "%s",
                        error < PROCESS_COUNT && others[error] ? others[error] : "unknown error");
    const char *space = limit->unit[0] == '\0' ? "" : " ";
    if (error == PROCESS_RATED_GAUGE)
        return snprintf(out, size, "%s %.6g kPa is above %s; never go beyond it", limit->what,
                        value, limit->why);
    if (isinf(limit->hi))
        return snprintf(out, size, "%s %.6g%s%s is out of range; at least %.6g (%s)", limit->what,
                        value, space, limit->unit, limit->lo, limit->why);
    return snprintf(out, size, "%s %.6g%s%s is out of range; between %.6g and %.6g (%s)",
                    limit->what, value, space, limit->unit, limit->lo, limit->hi, limit->why);
}
