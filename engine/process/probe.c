/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/probe.h"

#include <ctype.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"

enum probe_time_kind { PROBE_TIME_NUMBER, PROBE_TIME_OF_DAY, PROBE_TIME_DATE };

struct probe_time {
    enum probe_time_kind kind;
    double number; /* as written; minutes since midnight; minutes since 1970-01-01 UTC or local */
};

/* Both return NULL when the whole of the text was read, else what is wrong with it. */
static const char *probe_read_time(const char *text, size_t length, struct probe_time *time);
static const char *probe_read_temperature(const char *text, size_t length, double *number,
                                          enum probe_unit *unit);

/* ==== probe cell ============================================================================== */

/* One cell of a temperature log: a number, a time of day, a date, a temperature. */

enum { CELL_LIMIT = 40 }; /* no number or date is longer */

static const char blank[] = "is blank; every reading needs a number here";
static const char decimal_comma[] = "has a decimal comma; write a point, a comma separates columns";

struct cell {
    const char *at, *end;
};

/* Exactly `digits` decimal digits. */
static bool take_digits(struct cell *cell, int digits, int *number)
{
    if (cell->end - cell->at < digits)
        return false;
    *number = 0;
    for (int i = 0; i < digits; i++) {
        char c = cell->at[i];
        if (c < '0' || c > '9')
            return false;
        *number = 10 * *number + (c - '0');
    }
    cell->at += digits;
    return true;
}

static bool take(struct cell *cell, char wanted)
{
    if (cell->at == cell->end || *cell->at != wanted)
        return false;
    cell->at++;
    return true;
}

/*
 * Plain digits with at most one point, no more than 15 of them: a whole number
 * and a power of ten that are both exact, so their quotient is the nearest double.
 */
static bool take_plain(struct cell *cell, double *number)
{
    static const double powers[] = {1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                    1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    const char *at = cell->at;
    bool negative = at < cell->end && *at == '-', point = false;
    int64_t whole = 0;
    int digits = 0, behind = 0;

    for (at += negative; at < cell->end; at++) {
        if (*at == '.' && !point) {
            point = true;
        } else if (*at >= '0' && *at <= '9' && digits < 15) {
            whole = 10 * whole + (*at - '0');
            digits++;
            behind += point;
        } else {
            break;
        }
    }
    if (digits == 0 || (at < cell->end && strchr("0123456789.eE", *at) != NULL))
        return false;
    *number = (double)(negative ? -whole : whole) / powers[behind];
    cell->at = at;
    return true;
}

/* Any decimal number. Its characters are picked first because strtod also takes "inf" and hex. */
static bool take_any(struct cell *cell, double *number)
{
    char copy[CELL_LIMIT];
    size_t length = 0;

    while (cell->at + length < cell->end && length < sizeof copy - 1 &&
           strchr("+-.0123456789eE", cell->at[length]) != NULL) {
        copy[length] = cell->at[length];
        length++;
    }
    copy[length] = '\0';
    char *stop;
    *number = strtod(copy, &stop);
    if (stop == copy || !isfinite(*number))
        return false;
    cell->at += stop - copy;
    return true;
}

/* A number; NULL or what is wrong. */
static const char *take_number(struct cell *cell, double *number)
{
    if (!take_plain(cell, number) && !take_any(cell, number))
        return "is no number";
    return cell->at < cell->end && *cell->at == ',' ? decimal_comma : NULL;
}

/* HH:MM, HH:MM:SS, HH:MM:SS.fff */
static bool take_clock(struct cell *cell, double *minutes)
{
    int hour, minute, second = 0, digit;
    double part = 0.0, unit = 1.0;

    if (!take_digits(cell, 2, &hour) || !take(cell, ':') || !take_digits(cell, 2, &minute))
        return false;
    if (take(cell, ':') && !take_digits(cell, 2, &second))
        return false;
    if (take(cell, '.')) {
        while (take_digits(cell, 1, &digit)) {
            unit /= 10.0;
            part += unit * digit;
        }
    }
    if (hour > 24 || minute > 59 || second > 60)
        return false;
    *minutes = 60.0 * hour + minute + (second + part) / 60.0;
    return true;
}

/* Days from 1970-01-01 in the proleptic Gregorian calendar. */
static long days_from_epoch(int year, int month, int day)
{
    long y = month <= 2 ? year - 1 : year;
    long era = (y >= 0 ? y : y - 399) / 400, of_era = y - era * 400;
    long of_year = (153L * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

static bool take_date(struct cell *cell, double *minutes)
{
    int year, month, day;

    if (!take_digits(cell, 4, &year) || !take(cell, '-') || !take_digits(cell, 2, &month) ||
        !take(cell, '-') || !take_digits(cell, 2, &day))
        return false;
    if (month < 1 || month > 12 || day < 1 || day > 31)
        return false;
    *minutes = 1440.0 * (double)days_from_epoch(year, month, day);
    return true;
}

/* Z, +HH:MM, +HHMM, +HH; nothing at all is local time. */
static bool take_offset(struct cell *cell, double *minutes)
{
    int hour, minute = 0;

    if (cell->at == cell->end || take(cell, 'Z'))
        return true;
    double sign = *cell->at == '-' ? 1.0 : -1.0;
    if (!take(cell, '+') && !take(cell, '-'))
        return false;
    if (!take_digits(cell, 2, &hour))
        return false;
    (void)take(cell, ':');
    if (cell->at < cell->end && !take_digits(cell, 2, &minute))
        return false;
    *minutes += sign * (60.0 * hour + minute);
    return true;
}

static const char *probe_read_time(const char *text, size_t length, struct probe_time *time)
{
    static const char unreadable[] =
        "is no time; minutes, 14:05 or 2025-03-01T14:05:30 are understood";
    struct cell cell = {text, text + length};
    double clock;

    if (length == 0)
        return blank;
    if (length > 4 && text[4] == '-') {
        time->kind = PROBE_TIME_DATE;
        if (!take_date(&cell, &time->number) || (!take(&cell, 'T') && !take(&cell, ' ')) ||
            !take_clock(&cell, &clock))
            return unreadable;
        time->number += clock;
        if (!take_offset(&cell, &time->number) || cell.at != cell.end)
            return unreadable;
        return NULL;
    }
    if (length > 2 && text[2] == ':') {
        time->kind = PROBE_TIME_OF_DAY;
        return take_clock(&cell, &time->number) && cell.at == cell.end ? NULL : unreadable;
    }
    time->kind = PROBE_TIME_NUMBER;
    const char *problem = take_number(&cell, &time->number);
    if (problem == decimal_comma)
        return problem;
    return problem == NULL && cell.at == cell.end ? NULL : unreadable;
}

static const char *probe_read_temperature(const char *text, size_t length, double *number,
                                          enum probe_unit *unit)
{
    static const char degree[] = "\xC2\xB0";
    struct cell cell = {text, text + length};

    if (length == 0)
        return blank;
    const char *problem = take_number(&cell, number);
    if (problem != NULL)
        return problem;
    while (take(&cell, ' ')) {
    }
    if (cell.end - cell.at >= 2 && memcmp(cell.at, degree, 2) == 0)
        cell.at += 2;
    if (cell.end - cell.at == 1 && (*cell.at == 'C' || *cell.at == 'c'))
        *unit = PROBE_CELSIUS;
    else if (cell.end - cell.at == 1 && (*cell.at == 'F' || *cell.at == 'f'))
        *unit = PROBE_FAHRENHEIT;
    else if (cell.at != cell.end)
        return "is no temperature; a number, perhaps with C or F behind it";
    return NULL;
}

/* ==== probe =================================================================================== */

enum { NAME_LIMIT = 64 }; /* bytes of a column name that are looked at */

struct probe_reader {
    struct csv_stream *csv;
    struct probe_options options;
    struct probe_sink sink;
    struct diags *diags;
    size_t time_column, celsius_column; /* as numbered in the file, from 0 */
    bool columns_known;
    enum probe_unit unit;    /* of the temperatures; PROBE_UNKNOWN until something says */
    double minutes_per_unit; /* of a bare number in the time column */
    /* the row being read */
    bool has_time, has_temperature, row_bad, row_is_header, row_has_semicolon;
    struct probe_time time;
    double celsius;
    size_t time_line, time_at; /* position of its time */
    /* across rows */
    bool started;
    enum probe_time_kind kind; /* of the first time; all others must be of it */
    double first, last, day_offset;
    size_t readings;
};

static bool fault(struct probe_reader *reader, size_t line, size_t column, const char *problem,
                  const struct csv_field *field)
{
    struct position at = {reader->options.file, line, column};

    if (field != NULL)
        diags_error(reader->diags, at, "'%.*s' %s",
                    (int)(field->length < NAME_LIMIT ? field->length : NAME_LIMIT), field->bytes,
                    problem);
    else
        diags_error(reader->diags, at, "%s", problem);
    reader->row_bad = true;
    return diags_errors(reader->diags) < DIAG_KEEP;
}

/* ---- the header ------------------------------------------------------------------------------ */

static void lower_name(const struct csv_field *field, char name[NAME_LIMIT])
{
    size_t length = field->length < NAME_LIMIT - 1 ? field->length : NAME_LIMIT - 1;

    for (size_t i = 0; i < length; i++)
        name[i] = (char)tolower((unsigned char)field->bytes[i]);
    name[length] = '\0';
}

static bool has_any(const char *name, const char *const *words)
{
    for (; *words != NULL; words++)
        if (strstr(name, *words) != NULL)
            return true;
    return false;
}

static bool ends_with(const char *name, const char *end)
{
    size_t length = strlen(name), tail = strlen(end);
    return length > tail && strcmp(name + length - tail, end) == 0;
}

static enum probe_unit unit_in_name(const char *name)
{
    static const char *const celsius[] = {"celsius",
                                          "degc",
                                          "deg c",
                                          "\xC2\xB0"
                                          "c",
                                          "(c)",
                                          "[c]",
                                          NULL};
    static const char *const fahrenheit[] = {"fahrenheit",
                                             "degf",
                                             "deg f",
                                             "\xC2\xB0"
                                             "f",
                                             "(f)",
                                             "[f]",
                                             NULL};
    if (has_any(name, fahrenheit) || ends_with(name, "_f") || ends_with(name, " f"))
        return PROBE_FAHRENHEIT;
    if (has_any(name, celsius) || ends_with(name, "_c") || ends_with(name, " c"))
        return PROBE_CELSIUS;
    return PROBE_UNKNOWN;
}

static double minutes_in_name(const char *name)
{
    static const char *const seconds[] = {"sec", "(s)", "[s]", NULL};
    static const char *const hours[] = {"hour", "(h)", "[h]", NULL};
    static const char *const days[] = {"day", "(d)", "[d]", NULL};

    if (has_any(name, seconds) || ends_with(name, "_s"))
        return 1.0 / 60.0;
    if (has_any(name, hours) || ends_with(name, "_h"))
        return 60.0;
    return has_any(name, days) || ends_with(name, "_d") ? 1440.0 : 1.0;
}

static void read_name(struct probe_reader *reader, const struct csv_field *field)
{
    static const char *const times[] = {"time", "date", "min", "sec", "hour", "day", NULL};
    static const char *const temperatures[] = {"temp",    "probe",      "core",
                                               "celsius", "fahrenheit", NULL};
    char name[NAME_LIMIT];

    lower_name(field, name);
    if (has_any(name, temperatures) && reader->celsius_column == SIZE_MAX) {
        enum probe_unit unit = unit_in_name(name);
        reader->celsius_column = field->index;
        if (unit != PROBE_UNKNOWN)
            reader->unit = unit;
    } else if (has_any(name, times) && reader->time_column == SIZE_MAX) {
        reader->time_column = field->index;
        reader->minutes_per_unit = minutes_in_name(name);
    }
}

/* A first row is a header when its first field is no time. */
static bool is_header(const struct csv_field *field)
{
    struct probe_time time;
    return probe_read_time(field->bytes, field->length, &time) != NULL && field->length > 0 &&
           !isdigit((unsigned char)field->bytes[0]) && field->bytes[0] != '-' &&
           field->bytes[0] != '.' && field->bytes[0] != '+';
}

static bool finish_header(struct probe_reader *reader, size_t line)
{
    reader->row_is_header = false;
    reader->columns_known = true;
    if (reader->time_column == SIZE_MAX)
        return fault(reader, line, 1, "no column is named as a time; name one 'time' or 'minutes'",
                     NULL) &&
               false;
    if (reader->celsius_column == SIZE_MAX)
        return fault(reader, line, 1,
                     "no column is named as a temperature; name one 'temperature_C' or "
                     "'temperature_F'",
                     NULL) &&
               false;
    return true;
}

/* ---- rows ------------------------------------------------------------------------------------ */

static bool read_temperature(struct probe_reader *reader, const struct csv_field *field)
{
    enum probe_unit unit = PROBE_UNKNOWN;
    double number;
    const char *problem = probe_read_temperature(field->bytes, field->length, &number, &unit);

    reader->has_temperature = true;
    if (problem != NULL)
        return fault(reader, field->line, field->column, problem, field);
    if (unit != PROBE_UNKNOWN && reader->unit != PROBE_UNKNOWN && unit != reader->unit)
        return fault(reader, field->line, field->column,
                     "is in another unit than the readings before; one log, one unit", field);
    if (reader->unit == PROBE_UNKNOWN)
        reader->unit = unit;
    if (reader->unit == PROBE_UNKNOWN) {
        fault(reader, field->line, field->column,
              "has no unit; head the column 'temperature_C' or 'temperature_F', or say which it is",
              field);
        return false;
    }
    reader->celsius = reader->unit == PROBE_FAHRENHEIT ? (number - 32.0) / 1.8 : number;
    if (reader->celsius < -40.0 || reader->celsius > 200.0)
        return fault(reader, field->line, field->column,
                     "is no temperature of a cook; between -40 and 200 degC", field);
    return true;
}

static bool read_time(struct probe_reader *reader, const struct csv_field *field)
{
    static const double latest = 1e10; /* beyond any date in minutes, and any log in any unit */
    const char *problem = probe_read_time(field->bytes, field->length, &reader->time);

    if (problem == NULL && !(fabs(reader->time.number) <= latest))
        problem = "is no time of a log; count from its beginning";
    reader->has_time = true;
    reader->time_line = field->line;
    reader->time_at = field->column;
    return problem == NULL || fault(reader, field->line, field->column, problem, field);
}

static bool on_field(void *context, const struct csv_field *field)
{
    struct probe_reader *reader = context;

    if (field->index == 0)
        reader->row_has_semicolon = memchr(field->bytes, ';', field->length) != NULL;
    if (field->index == 0 && !reader->columns_known) {
        reader->row_is_header = is_header(field);
        if (!reader->row_is_header) {
            reader->time_column = 0;
            reader->celsius_column = 1;
            reader->columns_known = true;
        }
    }
    if (reader->row_is_header) {
        read_name(reader, field);
        return true;
    }
    if (field->index == reader->time_column)
        return read_time(reader, field);
    return field->index != reader->celsius_column || read_temperature(reader, field);
}

/* Minutes of this row's time since the first row's; false when it is of another kind. */
static bool elapsed(struct probe_reader *reader, double *minutes)
{
    static const double day = 1440.0;
    double now = reader->time.kind == PROBE_TIME_NUMBER
                     ? reader->time.number * reader->minutes_per_unit
                     : reader->time.number;

    if (!reader->started) {
        reader->started = true;
        reader->kind = reader->time.kind;
        reader->first = reader->last = now;
    } else if (reader->kind != reader->time.kind) {
        return false;
    }
    /* A time of day that falls by more than half a day has passed midnight. */
    if (reader->kind == PROBE_TIME_OF_DAY && now + reader->day_offset < reader->last - day / 2.0)
        reader->day_offset += day;
    now += reader->day_offset;
    reader->last = now;
    *minutes = now - reader->first;
    return true;
}

static bool on_row(void *context, size_t fields, size_t line)
{
    struct probe_reader *reader = context;
    bool bad = reader->row_bad, complete = reader->has_time && reader->has_temperature;
    double minutes;

    if (fields == 1 && reader->row_has_semicolon) {
        fault(reader, line, 1,
              "columns are separated by ';'; a comma separates columns, a point "
              "decimals",
              NULL);
        return false;
    }
    if (reader->row_is_header)
        return finish_header(reader, line);
    reader->row_bad = reader->has_time = reader->has_temperature = false;
    if (bad)
        return true;
    if (!complete) {
        bool on = fault(reader, line, 1,
                        "a row needs a time and a temperature, with a comma between them", NULL);
        reader->row_bad = false;
        return on;
    }
    const char *problem = NULL;
    if (!elapsed(reader, &minutes))
        problem = "times are written in two ways; one log, one way";
    else if (!reader->sink.reading(reader->sink.context, minutes, reader->celsius))
        problem = "time stands still or runs backwards; each reading must be later than the one "
                  "before";
    else
        reader->readings++;
    bool on = problem == NULL || fault(reader, reader->time_line, reader->time_at, problem, NULL);
    reader->row_bad = false;
    return on;
}

/* ---- the stream ------------------------------------------------------------------------------ */

struct probe_reader *probe_reader_new(const struct probe_options *options,
                                      const struct probe_sink *sink, struct diags *diags)
{
    struct probe_reader *reader = calloc(1, sizeof *reader);
    struct csv_sink rows = {reader, on_field, on_row};

    if (reader == NULL || (reader->csv = csv_stream_new(&rows, ',')) == NULL) {
        free(reader);
        return NULL;
    }
    reader->options = *options;
    reader->unit = options->unit;
    reader->sink = *sink;
    reader->diags = diags;
    reader->time_column = reader->celsius_column = SIZE_MAX;
    reader->minutes_per_unit = 1.0;
    return reader;
}

void probe_reader_free(struct probe_reader *reader)
{
    if (reader == NULL)
        return;
    csv_stream_free(reader->csv);
    free(reader);
}

static enum status answer(struct probe_reader *reader, enum csv_outcome outcome)
{
    struct position at = {reader->options.file, 0, 0};

    csv_stream_position(reader->csv, &at.line, &at.column);
    switch (outcome) {
    case CSV_READ:
        return STATUS_OK;
    case CSV_STOPPED:
        return STATUS_DATA;
    case CSV_MALFORMED:
        diags_error(reader->diags, at,
                    "this is not a table of comma-separated values (RFC 4180); quotes stand "
                    "around whole fields");
        return STATUS_DATA;
    case CSV_TOO_LONG:
        diags_error(reader->diags, at,
                    "a field is longer than %d bytes; this is no log of readings", CSV_FIELD_LIMIT);
        return STATUS_DATA;
    default:
        return STATUS_MEMORY;
    }
}

enum status probe_reader_feed(struct probe_reader *reader, const char *bytes, size_t length)
{
    return answer(reader, csv_stream_feed(reader->csv, bytes, length));
}

enum status probe_reader_finish(struct probe_reader *reader)
{
    enum status status = answer(reader, csv_stream_finish(reader->csv));

    if (status != STATUS_OK)
        return status;
    if (diags_errors(reader->diags) > 0)
        return STATUS_DATA;
    if (reader->readings < 2) {
        struct position at = {reader->options.file, 0, 0};
        diags_error(reader->diags, at, "a log needs at least two readings");
        return STATUS_DATA;
    }
    return STATUS_OK;
}
