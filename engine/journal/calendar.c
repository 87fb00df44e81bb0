/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/calendar.h"

#include <inttypes.h>
#include <string.h>
#include <time.h>

#include "base/numbers.h"

struct calendar {
    struct journal *journal;
    const struct calendar_options *options;
    struct arena *arena;
    struct text *out;
    struct text words; /* of the property that is being put together */
    struct diags *diags;
};

/* RFC 5545, 3.1: no line is longer than 75 bytes without its end, and none is cut within a
 * character. */
static void put(struct calendar *calendar, const char *line)
{
    enum { LONGEST = 75 };
    size_t left = strlen(line), room = LONGEST;
    for (; left > room; room = LONGEST - 1) { /* the space counts */
        size_t piece = room;
        while (piece > 1 && ((unsigned char)line[piece] & 0xC0) == 0x80)
            piece--;
        text_add(calendar->out, line, piece);
        text_puts(calendar->out, "\r\n ");
        line += piece;
        left -= piece;
    }
    text_printf(calendar->out, "%s\r\n", line);
}

/* RFC 5545, 3.3.11: backslash, comma and semicolon are escaped. What cannot be shown is made safe
 * first: a label may hold anything. */
static void put_words(struct calendar *calendar, const char *property)
{
    static const struct text_safe_options options = {.limit = 4000};
    struct text safe, line;
    text_init(&safe);
    text_init(&line);
    text_safe(&safe, calendar->words.bytes, calendar->words.length, &options);
    text_printf(&line, "%s:", property);
    for (size_t i = 0; i < safe.length; i++) {
        if (strchr("\\,;", safe.bytes[i]) != NULL) /* safe text has no NUL */
            text_puts(&line, "\\");
        text_add(&line, safe.bytes + i, 1);
    }
    put(calendar, line.bytes);
    text_release(&line);
    text_release(&safe);
    text_clear(&calendar->words);
}

/* ---- events ---------------------------------------------------------------------------------- */

/* "B3-1, B3-2 (shake), B3-7 (wait)" */
static void put_description(struct calendar *calendar, const struct vessel *vessels, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const struct vessel *vessel = &vessels[i];
        text_printf(&calendar->words, "%s%s", i > 0 ? ", " : "", vessel->label);
        if (vessel->due_for[0] == '\0')
            continue;
        text_puts(&calendar->words, " (");
        for (const char *at = vessel->due_for; *at != '\0'; at++)
            text_add(&calendar->words, *at == '_' ? " " : at, 1); /* a word of the rules */
        text_puts(&calendar->words, ")");
    }
    put_words(calendar, "DESCRIPTION");
}

static void put_date(struct calendar *calendar, const char *property, int64_t day)
{
    char room[MOMENT_ROOM];
    put(calendar, arena_format(calendar->arena, "%s;VALUE=DATE:%s", property,
                               day_write(day, DAY_COMPACT, room)));
}

static enum status put_event(struct calendar *calendar, const struct vessel *vessels, size_t count)
{
    struct batch batch;
    int64_t day = vessels[0].due;
    time_t now = (time_t)calendar->options->now.seconds;
    struct tm utc;
    char stamp[32];
    enum status status = journal_get(calendar->journal, RECORD_BATCH, vessels[0].batch,
                                     calendar->arena, &batch, calendar->diags);
    if (status != STATUS_OK)
        return status;
    put(calendar, "BEGIN:VEVENT");
    char room[MOMENT_ROOM];
    const char *at = moment_write(batch.at, room);
    put(calendar, arena_format(calendar->arena, "UID:%016" PRIx64 "-%lld@jarside",
                               (fnv_hash(fnv_hash(FNV_START, batch.label, strlen(batch.label)), at,
                                         strlen(at))),
                               (long long)day));
    strftime(stamp, sizeof stamp, "DTSTAMP:%Y%m%dT%H%M%SZ", gmtime_r(&now, &utc));
    put(calendar, stamp);
    put_date(calendar, "DTSTART", day);
    put_date(calendar, "DTEND", day + 1);
    text_printf(&calendar->words, "Look at %s: %zu vessel%s", batch.label, count,
                count == 1 ? "" : "s");
    put_words(calendar, "SUMMARY");
    put_description(calendar, vessels, count);
    put(calendar, "TRANSP:TRANSPARENT");
    int remind = calendar->options->remind;
    if (remind >= 0) {
        put(calendar, "BEGIN:VALARM");
        put(calendar, "ACTION:DISPLAY");
        put(calendar, arena_format(calendar->arena, "TRIGGER:PT%dH%dM", remind / 60, remind % 60));
        text_printf(&calendar->words, "%s: %zu to look at", batch.label, count);
        put_words(calendar, "DESCRIPTION");
        put(calendar, "END:VALARM");
    }
    put(calendar, "END:VEVENT");
    return STATUS_OK;
}

enum status calendar_text(struct journal *journal, const struct calendar_options *options,
                          struct text *out, size_t *events, struct diags *diags)
{
    struct calendar calendar = {
        .journal = journal, .options = options, .arena = arena_new(), .out = out, .diags = diags};
    *events = 0;
    text_init(&calendar.words);
    text_puts(out, "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Jarside//Journal//EN\r\n"
                   "CALSCALE:GREGORIAN\r\nMETHOD:PUBLISH\r\n");
    struct vessel *vessels = NULL;
    size_t count = 0, end = 0;
    enum status status = journal_due(calendar.journal, calendar.options->until, calendar.arena,
                                     &vessels, &count, calendar.diags);
    for (size_t begin = 0; begin < count && status == STATUS_OK; begin = end) {
        for (end = begin + 1; end < count && vessels[end].due == vessels[begin].due &&
                              vessels[end].batch == vessels[begin].batch;)
            end++;
        status = put_event(&calendar, vessels + begin, end - begin);
        ++*events;
    }
    put(&calendar, "END:VCALENDAR");
    text_release(&calendar.words);
    arena_free(calendar.arena);
    return status;
}
