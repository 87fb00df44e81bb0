/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/probe.h"

#include <ctype.h>
#include <math.h>
#include <regex.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/dates.h"

enum {
    NAME_LIMIT = 64, /* bytes of a column name that are looked at */
    LONGEST = 4096,  /* field */
};

static const char blank[] = "is blank; every reading needs a number here";
static const char no_unit[] =
    "has no unit; head the column 'temperature_C' or 'temperature_F', or say which it is";
static const char decimal_comma[] = "has a decimal comma; write a point, a comma separates columns";

/* ---- cells: each returns NULL, or what is wrong with the text --------------------------------- */

/* A decimal number at the front; "inf" and hexadecimal ones, which strtod takes, are refused. */
static const char *read_number(const char *text, double *number, const char **rest)
{
    size_t digits = strspn(text, "+-.0123456789eE");
    char *end = NULL;
    *number = strtod(text, &end);
    if (end == text || end > text + digits || !isfinite(*number))
        return "is not a number";
    *rest = end;
    return *end == ',' ? decimal_comma : NULL;
}

/* As written; in minutes since midnight or since 1970-01-01, UTC or local. */
static const char *read_time(const char *text, enum probe_time *kind, double *number)
{
    static const char unreadable[] =
        "is not a time; minutes, 14:05, 2025-03-01 or 2025-03-01T14:05:30 are understood";
    static const double noon = 12.0 * 60.0 * 60.0; /* of a day without a clock */
    const char *at = NULL;
    double seconds = 0;
    int64_t day = 0;
    int offset = 0;
    if (text[0] == '\0')
        return blank;
    if (strlen(text) > 4 && text[4] == '-') {
        *kind = PROBE_DATE;
        at = day_read(text, &day);
        if (at != NULL && *at == '\0')
            seconds = noon;
        else
            at = at != NULL && (*at == 'T' || *at == ' ') ? clock_read(at + 1, &seconds) : NULL;
        if (at != NULL && *at != '\0')
            at = offset_read(at, &offset);
        *number = 1440.0 * (double)day + seconds / 60.0 - offset;
    } else if (strlen(text) > 2 && text[2] == ':') {
        *kind = PROBE_TIME_OF_DAY;
        at = clock_read(text, &seconds);
        *number = seconds / 60.0;
    } else {
        *kind = PROBE_NUMBER;
        if (read_number(text, number, &at) == decimal_comma)
            return decimal_comma;
    }
    return at != NULL && *at == '\0' ? NULL : unreadable;
}

static const char *read_temperature(const char *text, double *number, enum probe_unit *unit)
{
    static const char degree[] = "\xC2\xB0";
    const char *at = NULL;
    const char *problem = text[0] == '\0' ? blank : read_number(text, number, &at);
    if (problem != NULL)
        return problem;
    at += strspn(at, " ");
    if (strncmp(at, degree, 2) == 0)
        at += 2;
    if ((*at | 0x20) == 'c' && at[1] == '\0')
        *unit = PROBE_CELSIUS;
    else if ((*at | 0x20) == 'f' && at[1] == '\0')
        *unit = PROBE_FAHRENHEIT;
    else if (*at != '\0')
        return "is not a temperature; give a number, if you like with C or F after it";
    return NULL;
}

/* ---- the header ------------------------------------------------------------------------------ */

static bool named(const char *name, const char *pattern)
{
    regex_t compiled;
    if (regcomp(&compiled, pattern, REG_EXTENDED | REG_ICASE | REG_NOSUB) != 0)
        memory_exhausted(); /* nothing else can be wrong */
    const bool found = regexec(&compiled, name, 0, NULL, 0) == 0;
    regfree(&compiled);
    return found;
}

static void read_name(struct probe_log *log, size_t column, const char *name)
{
    if (log->celsius_column == SIZE_MAX && named(name, "temp|probe|core|celsius|fahrenheit")) {
        log->celsius_column = column;
        if (named(name, "fahrenheit|deg ?f|\xC2\xB0\x66|[[(]f[])]|.[_ ]f$"))
            log->unit = PROBE_FAHRENHEIT;
        else if (named(name, "celsius|deg ?c|\xC2\xB0\x63|[[(]c[])]|.[_ ]c$"))
            log->unit = PROBE_CELSIUS;
    } else if (log->time_column == SIZE_MAX && named(name, "time|date|min|sec|hour|day")) {
        log->time_column = column;
        log->minutes_per_unit = named(name, "sec|[[(]s[])]|._s$")    ? 1.0 / 60
                                : named(name, "hour|[[(]h[])]|._h$") ? 60
                                : named(name, "day|[[(]d[])]|._d$")  ? 1440
                                                                     : 1;
    }
}

/* A first row is a header when its first field is no time. */
static bool is_header(const char *text)
{
    enum probe_time kind;
    double number;
    return read_time(text, &kind, &number) != NULL && text[0] != '\0' &&
           !isdigit((unsigned char)text[0]) && strchr("-.+", text[0]) == NULL;
}

/* ---- rows ------------------------------------------------------------------------------------ */

/* Tells what is wrong; STATUS_DATA once that is too much to go on. */
static enum status fault(struct probe_log *log, struct position at, const struct csv_field *field,
                         const char *problem)
{
    if (field != NULL)
        diags_error(log->diags, at, "'%.*s' %s", NAME_LIMIT, field->text, problem);
    else
        diags_error(log->diags, at, "%s", problem);
    return diags_errors(log->diags) < DIAG_KEEP ? STATUS_OK : STATUS_DATA;
}

/* The temperature in degC; else what is wrong with it. */
static const char *take_temperature(struct probe_log *log, const char *text, double *celsius)
{
    enum probe_unit unit = PROBE_UNKNOWN;
    double number = 0;
    const char *problem = read_temperature(text, &number, &unit);
    if (problem != NULL)
        return problem;
    if (unit != PROBE_UNKNOWN && log->unit != PROBE_UNKNOWN && unit != log->unit)
        return "is in a different unit from the readings before; one log, one unit";
    if (log->unit == PROBE_UNKNOWN)
        log->unit = unit;
    if (log->unit == PROBE_UNKNOWN)
        return no_unit;
    *celsius = log->unit == PROBE_FAHRENHEIT ? (number - 32.0) / 1.8 : number;
    return *celsius < -40.0 || *celsius > 200.0
               ? "is not a temperature a cook can have; give one between -40 and 200 degC"
               : NULL;
}

/* Takes a reading whose cells could be read; else what is wrong with its time. */
static const char *take_reading(struct probe_log *log, enum probe_time kind, double time,
                                double celsius)
{
    static const double day = 1440.0;
    double now = kind == PROBE_NUMBER ? time * log->minutes_per_unit : time;
    if (log->rows++ == 0) {
        log->kind = kind;
        log->first = log->last = now;
    } else if (kind != log->kind) {
        return "times are written in two ways; one log, one way";
    }
    /* A time of day that falls by more than half a day has passed midnight. */
    if (kind == PROBE_TIME_OF_DAY && now + log->days < log->last - day / 2.0)
        log->days += day;
    log->last = now + log->days;
    if (!log->sink.reading(log->sink.context, log->last - log->first, celsius))
        return "time stands still or runs backwards; each reading must be later than the one "
               "before";
    log->readings++;
    return NULL;
}

static enum status take_row(void *context, const struct csv_row *row)
{
    static const double latest = 1e10; /* beyond any date in minutes, and any log in any unit */
    struct probe_log *log = context;
    enum probe_time kind = PROBE_NUMBER;
    double number = 0, celsius = 0;
    enum status status = STATUS_OK;
    if (row->count == 1 && strchr(row->fields[0].text, ';') != NULL) {
        fault(log, csv_at(row, SIZE_MAX), NULL,
              "columns are separated by ';'; a comma separates columns, a point decimals");
        return STATUS_DATA;
    }
    bool first = !log->columns_known;
    log->columns_known = true;
    if (first && is_header(row->fields[0].text)) {
        log->time_column = log->celsius_column = SIZE_MAX;
        for (size_t i = 0; i < row->count; i++)
            read_name(log, i, row->fields[i].text);
        if (log->time_column != SIZE_MAX && log->celsius_column != SIZE_MAX)
            return STATUS_OK;
        fault(log, csv_at(row, SIZE_MAX), NULL,
              log->time_column == SIZE_MAX
                  ? "no column is named as a time; name one 'time' or 'minutes'"
                  : "no column is named as a temperature; name one 'temperature_C' or "
                    "'temperature_F'");
        return STATUS_DATA;
    }
    if (log->time_column >= row->count || log->celsius_column >= row->count)
        return fault(log, csv_at(row, SIZE_MAX), NULL,
                     "a row needs a time and a temperature, with a comma between them");
    const struct csv_field *time = &row->fields[log->time_column];
    const struct csv_field *temperature = &row->fields[log->celsius_column];
    const char *late = read_time(time->text, &kind, &number);
    if (late == NULL && !(fabs(number) <= latest))
        late = "is not a time in a log; count from its beginning";
    const char *hot = take_temperature(log, temperature->text, &celsius);
    if (late != NULL)
        status = fault(log, csv_at(row, log->time_column), time, late);
    if (hot != NULL && status == STATUS_OK)
        status = fault(log, csv_at(row, log->celsius_column), temperature, hot);
    if (hot == no_unit)
        return STATUS_DATA; /* none of the others would have one either */
    if (late != NULL || hot != NULL)
        return status;
    late = take_reading(log, kind, number, celsius);
    return late != NULL ? fault(log, csv_at(row, log->time_column), NULL, late) : STATUS_OK;
}

/* ---- the log --------------------------------------------------------------------------------- */

void probe_init(struct probe_log *log, const char *file, enum probe_unit unit,
                const struct probe_sink *sink, struct diags *diags)
{
    *log = (struct probe_log){.file = file,
                              .sink = *sink,
                              .unit = unit,
                              .diags = diags,
                              .celsius_column = 1,
                              .minutes_per_unit = 1.0};
}

struct csv_table probe_table(struct probe_log *log)
{
    return (struct csv_table){
        .file = log->file, .separator = ',', .longest = LONGEST, .context = log, .row = take_row};
}

enum status probe_finish(struct probe_log *log)
{
    if (diags_errors(log->diags) == 0 && log->readings < 2)
        diags_error(log->diags, (struct position){log->file, 0, 0},
                    "a log needs at least two readings");
    return diags_errors(log->diags) == 0 ? STATUS_OK : STATUS_DATA;
}
