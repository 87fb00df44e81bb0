/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/journal.h"
#include "voice/whole_json.h"

/* ---- names ----------------------------------------------------------------------------------- */

/*
 * A name as it stands within a sentence: its first letter small, unless the name
 * goes on in capitals ("PP bottle").
 */
static const char *within(const struct journal_told *told, const char *name)
{
    char *copy = arena_string(told->arena, name);
    if (copy == NULL)
        return name;
    if (isupper((unsigned char)copy[0]) && !isupper((unsigned char)copy[1]))
        copy[0] = (char)tolower((unsigned char)copy[0]);
    return copy;
}

const char *voice_species_name(const struct journal_told *told, const char *id)
{
    int index = rules_species(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->species[index].name);
}

const char *voice_grain_name(const struct journal_told *told, const char *id)
{
    int index = rules_grain(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->grains[index].name);
}

const char *voice_vessel_name(const struct journal_told *told, const char *id)
{
    int index = rules_vessel(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->vessels[index].name);
}

const char *voice_finding_name(const struct journal_told *told, const char *id)
{
    int index = rules_finding(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->findings[index].name);
}

const char *voice_cause_name(const struct journal_told *told, const char *id)
{
    int index = rules_cause(told->rules, id);
    return index == RULES_NONE ? id : within(told, told->rules->causes[index].name);
}

const char *voice_batch_words(const struct journal_told *told, const struct batch *batch)
{
    struct lot lot = {.grain = ""};
    const char *species = voice_species_name(told, batch->species);
    if (batch->lot != 0)
        (void)journal_get(told->journal, RECORD_LOT, batch->lot, told->arena, &lot, told->diags);
    const char *grain = voice_grain_name(told, lot.grain);
    if (species[0] == '\0')
        species = "unknown mushroom";
    const char *words =
        grain[0] != '\0' ? arena_format(told->arena, "%s on %s", species, grain) : species;
    return words != NULL ? words : "";
}

const char *voice_label(const struct journal_told *told, enum record record, int64_t id)
{
    union any_record row;

    if (id == 0 || record_types[record].columns[0].kind != COLUMN_LABEL ||
        journal_get(told->journal, record, id, told->arena, &row, told->diags) != STATUS_OK)
        return "";
    return row.named.label;
}

/* ---- vessels --------------------------------------------------------------------------------- */

static bool follows(const struct vessel *before, const struct vessel *after)
{
    return before->batch == after->batch && before->number + 1 == after->number;
}

void voice_vessels(struct text *out, const struct vessel *vessels, size_t count)
{
    for (size_t i = 0; i < count;) {
        size_t last = i;
        while (last + 1 < count && follows(&vessels[last], &vessels[last + 1]))
            last++;
        text_printf(out, "%s%s", i > 0 ? ", " : "", vessels[i].label);
        if (last > i)
            text_printf(out, "%s%s", last == i + 1 ? ", " : " to ", vessels[last].label);
        i = last + 1;
    }
}

/* ---- days and quantities --------------------------------------------------------------------- */

const char *voice_day(int64_t day, char room[MOMENT_ROOM])
{
    return moment_write_day(moment_of_day(day), room);
}

const char *voice_when(int64_t day, int64_t today, char room[WHEN_ROOM])
{
    static const char *const near[] = {"yesterday", "today", "tomorrow"};
    long long ahead = (long long)(day - today);
    char date[MOMENT_ROOM];

    if (ahead >= -1 && ahead <= 1)
        snprintf(room, WHEN_ROOM, "%s", near[ahead + 1]);
    else if (ahead < 0)
        snprintf(room, WHEN_ROOM, "%s, %lld days ago", voice_day(day, date), -ahead);
    else
        snprintf(room, WHEN_ROOM, "%s, in %lld days", voice_day(day, date), ahead);
    return room;
}

const char *voice_quantity(const struct journal_told *told, double value, enum dimension dimension)
{
    struct text text;
    if (isnan(value))
        return "";
    text_init(&text);
    quantity_show(&text, value, dimension);
    const char *copy = text.failed ? NULL : arena_copy(told->arena, text.bytes, text.length);
    text_release(&text);
    return copy != NULL ? copy : "";
}

static const char *feeder_label(const struct rules *rules, enum feeds feeds, const char *id)
{
    int observable = rules->feeder[feeds];
    int value = observable != RULES_NONE && id[0] != '\0'
                    ? rules_value(&rules->observables[observable], id)
                    : RULES_NONE;
    return value == RULES_NONE ? id : rules->observables[observable].values[value].label;
}

const char *voice_cook_words(const struct journal_told *told, const struct cook *cook)
{
    struct text text;
    text_init(&text);
    if (!isnan(cook->gauge))
        quantity_show(&text, cook->gauge, DIM_GAUGE_KPA);
    else if (cook->method[0] != '\0')
        text_puts(&text, feeder_label(told->rules, FEEDS_COOK_METHOD, cook->method));
    if (!isnan(cook->minutes)) {
        text_puts(&text, text.length > 0 ? " for " : "");
        quantity_show(&text, cook->minutes, DIM_MINUTES);
    }
    if (cook->load[0] != '\0')
        text_printf(&text, "%s%s", text.length > 0 ? ", " : "",
                    feeder_label(told->rules, FEEDS_LOAD, cook->load));
    const char *copy = text.failed ? NULL : arena_copy(told->arena, text.bytes, text.length);
    text_release(&text);
    return copy != NULL ? copy : "";
}

/* ---- JSON ------------------------------------------------------------------------------------ */

json_t *voice_json_moment(struct moment moment)
{
    char room[MOMENT_ROOM];
    return moment_known(moment) ? json_string(moment_write(moment, room)) : json_null();
}

json_t *voice_json_day(int64_t day)
{
    char room[MOMENT_ROOM];
    return day != 0 ? json_string(voice_day(day, room)) : json_null();
}

json_t *voice_json_text(const char *text)
{
    struct text safe;
    if (text == NULL || text[0] == '\0')
        return json_null();
    if (utf8_valid_prefix(text, strlen(text)) == strlen(text))
        return json_string(text);
    text_init(&safe);
    text_safe(&safe, text, strlen(text), &(struct text_safe_options){.keep_newlines = true});
    json_t *json = safe.failed ? NULL : json_stringn(safe.bytes, safe.length);
    text_release(&safe);
    return json;
}

json_t *voice_json_label(const struct journal_told *told, enum record record, int64_t id)
{
    union any_record row;
    if (id == 0)
        return json_null();
    enum status status = journal_get(told->journal, record, id, told->arena, &row, told->diags);
    if (status == STATUS_USAGE)
        return json_null();
    return status == STATUS_OK ? voice_json_text(row.named.label) : NULL;
}

json_t *voice_json_vessels(const struct vessel *vessels, size_t count)
{
    json_t *labels = json_array();
    for (size_t i = 0; i < count; i++)
        labels = voice_json_append(labels, voice_json_text(vessels[i].label));
    return labels;
}
