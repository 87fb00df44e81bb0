/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/calendar.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* Everything is written as one line per property; folding is the last step. */
struct calendar {
    struct journal *journal;
    const struct calendar_options *options;
    struct arena *arena;
    struct text *out;
    struct text line, value;
    struct diags *diags;
    char stamp[sizeof "99999999T999999Z"];
};

/* ---- lines ----------------------------------------------------------------------------------- */

/* RFC 5545, 3.1: no line is longer than 75 bytes without its end, and none is cut within a
 * character. */
static void put_line(struct calendar *calendar)
{
    enum { LONGEST = 75 };
    const char *at = calendar->line.bytes;
    size_t left = calendar->line.length, room = LONGEST;
    while (left > room) {
        size_t piece = room;
        while (piece > 1 && ((unsigned char)at[piece] & 0xC0) == 0x80)
            piece--;
        text_add(calendar->out, at, piece);
        text_puts(calendar->out, "\r\n ");
        at += piece;
        left -= piece;
        room = LONGEST - 1; /* the space counts */
    }
    text_add(calendar->out, at, left);
    text_puts(calendar->out, "\r\n");
    text_clear(&calendar->line);
}

static void put(struct calendar *calendar, const char *property)
{
    text_puts(&calendar->line, property);
    put_line(calendar);
}

/* RFC 5545, 3.3.11: backslash, comma and semicolon are escaped. What cannot be shown is made safe
 * first: a label may hold anything. */
static void put_words(struct calendar *calendar, const char *property, const struct text *words)
{
    static const struct text_safe_options options = {.limit = 4000};
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words->bytes, words->length, &options);
    text_printf(&calendar->line, "%s:", property);
    for (size_t i = 0; i < safe.length; i++) {
        if (strchr("\\,;", safe.bytes[i]) != NULL) /* safe text has no NUL */
            text_add(&calendar->line, "\\", 1);
        text_add(&calendar->line, safe.bytes + i, 1);
    }
    calendar->out->failed = calendar->out->failed || safe.failed;
    text_release(&safe);
    put_line(calendar);
}

/* "20260301": days since 1970-01-01 as a DATE. */
static void put_date(struct calendar *calendar, const char *property, int64_t day)
{
    time_t seconds = (time_t)(day * 86400);
    struct tm tm;
    if (gmtime_r(&seconds, &tm) == NULL)
        return;
    text_printf(&calendar->line, "%s;VALUE=DATE:%04d%02d%02d", property, tm.tm_year + 1900,
                tm.tm_mon + 1, tm.tm_mday);
    put_line(calendar);
}

static void write_stamp(struct calendar *calendar)
{
    time_t seconds = (time_t)calendar->options->now.seconds;
    struct tm tm;
    if (gmtime_r(&seconds, &tm) == NULL ||
        strftime(calendar->stamp, sizeof calendar->stamp, "%Y%m%dT%H%M%SZ", &tm) == 0)
        snprintf(calendar->stamp, sizeof calendar->stamp, "19700101T000000Z");
}

/* ---- events ---------------------------------------------------------------------------------- */

/* Two growers who share a calendar both have a batch 1: the name and the day of inoculation go in. */
static uint64_t fingerprint(const struct batch *batch)
{
    uint64_t hash = 0xcbf29ce484222325U; /* FNV-1a, 64 bits */
    char room[MOMENT_ROOM];
    const char *const parts[] = {batch->label, moment_write(batch->at, room)};
    for (size_t i = 0; i < 2; i++)
        for (const char *at = parts[i]; *at != '\0'; at++)
            hash = (hash ^ (unsigned char)*at) * 0x100000001b3U;
    return hash;
}

/* "Look at B3: 3 vessels" */
static void put_summary(struct calendar *calendar, const struct batch *batch, size_t count)
{
    text_clear(&calendar->value);
    text_printf(&calendar->value, "Look at %s: %zu vessel%s", batch->label, count,
                count == 1 ? "" : "s");
    put_words(calendar, "SUMMARY", &calendar->value);
}

/* "B3-1, B3-2 (shake), B3-7 (wait)" */
static void put_description(struct calendar *calendar, const struct vessel *vessels, size_t count)
{
    text_clear(&calendar->value);
    for (size_t i = 0; i < count; i++) {
        const struct vessel *vessel = &vessels[i];
        text_printf(&calendar->value, "%s%s", i > 0 ? ", " : "", vessel->label);
        if (vessel->due_for[0] != '\0') {
            text_puts(&calendar->value, " (");
            for (const char *at = vessel->due_for; *at != '\0'; at++)
                text_add(&calendar->value, *at == '_' ? " " : at, 1); /* a word of the rules */
            text_puts(&calendar->value, ")");
        }
    }
    put_words(calendar, "DESCRIPTION", &calendar->value);
}

static void put_alarm(struct calendar *calendar, const struct batch *batch, size_t count)
{
    int remind = calendar->options->remind;
    if (remind < 0)
        return;
    put(calendar, "BEGIN:VALARM");
    put(calendar, "ACTION:DISPLAY");
    text_printf(&calendar->line, "TRIGGER:PT%dH%dM", remind / 60, remind % 60);
    put_line(calendar);
    text_clear(&calendar->value);
    text_printf(&calendar->value, "%s: %zu to look at", batch->label, count);
    put_words(calendar, "DESCRIPTION", &calendar->value);
    put(calendar, "END:VALARM");
}

static enum status put_event(struct calendar *calendar, const struct vessel *vessels, size_t count)
{
    struct batch batch;
    int64_t day = vessels[0].due;
    enum status status = journal_get(calendar->journal, RECORD_BATCH, vessels[0].batch,
                                     calendar->arena, &batch, calendar->diags);
    if (status != STATUS_OK)
        return status;
    put(calendar, "BEGIN:VEVENT");
    text_printf(&calendar->line, "UID:%016" PRIx64 "-%lld@jarside", fingerprint(&batch),
                (long long)day);
    put_line(calendar);
    text_printf(&calendar->line, "DTSTAMP:%s", calendar->stamp);
    put_line(calendar);
    put_date(calendar, "DTSTART", day);
    put_date(calendar, "DTEND", day + 1);
    put_summary(calendar, &batch, count);
    put_description(calendar, vessels, count);
    put(calendar, "TRANSP:TRANSPARENT");
    put_alarm(calendar, &batch, count);
    put(calendar, "END:VEVENT");
    return STATUS_OK;
}

static int by_day_batch_number(const void *left, const void *right)
{
    const struct vessel *a = left, *b = right;
    if (a->due != b->due)
        return a->due < b->due ? -1 : 1;
    if (a->batch != b->batch)
        return a->batch < b->batch ? -1 : 1;
    return a->number != b->number ? (a->number < b->number ? -1 : 1)
                                  : (a->id > b->id) - (a->id < b->id);
}

static enum status put_events(struct calendar *calendar, size_t *events)
{
    struct vessel *vessels = NULL;
    size_t count = 0, end = 0;
    enum status status = journal_due(calendar->journal, calendar->options->until, calendar->arena,
                                     &vessels, &count, calendar->diags);
    if (status == STATUS_OK && count > 0)
        qsort(vessels, count, sizeof *vessels, by_day_batch_number);
    *events = 0;
    for (size_t begin = 0; begin < count && status == STATUS_OK; begin = end) {
        for (end = begin + 1; end < count && vessels[end].due == vessels[begin].due &&
                              vessels[end].batch == vessels[begin].batch;)
            end++;
        status = put_event(calendar, vessels + begin, end - begin);
        ++*events;
    }
    return status;
}

/* ---- the whole ------------------------------------------------------------------------------- */

enum status calendar_text(struct journal *journal, const struct calendar_options *options,
                          struct text *out, size_t *events, struct diags *diags)
{
    size_t count = 0;
    struct calendar calendar = {
        .journal = journal, .options = options, .arena = arena_new(), .out = out, .diags = diags};
    if (calendar.arena == NULL)
        return STATUS_MEMORY;
    text_init(&calendar.line);
    text_init(&calendar.value);
    write_stamp(&calendar);
    put(&calendar, "BEGIN:VCALENDAR");
    put(&calendar, "VERSION:2.0");
    put(&calendar, "PRODID:-//Jarside//Journal//EN");
    put(&calendar, "CALSCALE:GREGORIAN");
    put(&calendar, "METHOD:PUBLISH");
    enum status status = put_events(&calendar, &count);
    put(&calendar, "END:VCALENDAR");
    *events = count;
    if (status == STATUS_OK && (out->failed || calendar.line.failed || calendar.value.failed))
        status = STATUS_MEMORY;
    text_release(&calendar.line);
    text_release(&calendar.value);
    arena_free(calendar.arena);
    return status;
}
