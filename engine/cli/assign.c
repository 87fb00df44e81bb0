/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/assign.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "base/units.h"

/* ---- what a column holds --------------------------------------------------------------------- */

enum list { /* of the rules, that a word must be in */
            LIST_NONE,
            LIST_SPECIES,
            LIST_GRAINS,
            LIST_VESSELS,
            LIST_STARTERS,
            LIST_USES,
            LIST_METHODS,
            LIST_LOADS,
            LIST_POSITIONS,
};

static const struct meaning {
    enum record record;
    const char *column;
    enum dimension dimension; /* of a number; DIM_COUNT for none */
    enum list list;
} meanings[] = {
    {RECORD_STARTER, "species", DIM_COUNT, LIST_SPECIES},
    {RECORD_STARTER, "kind", DIM_COUNT, LIST_STARTERS},
    {RECORD_LOT, "grain", DIM_COUNT, LIST_GRAINS},
    {RECORD_LOT, "moisture", DIM_PERCENT, LIST_NONE},
    {RECORD_COOK, "method", DIM_COUNT, LIST_METHODS},
    {RECORD_COOK, "load", DIM_COUNT, LIST_LOADS},
    {RECORD_COOK, "gauge", DIM_GAUGE_KPA, LIST_NONE},
    {RECORD_COOK, "minutes", DIM_MINUTES, LIST_NONE},
    {RECORD_COOK, "altitude", DIM_METRES, LIST_NONE},
    {RECORD_PLACE, "celsius", DIM_CELSIUS, LIST_NONE},
    {RECORD_BATCH, "species", DIM_COUNT, LIST_SPECIES},
    {RECORD_BATCH, "dry", DIM_GRAMS, LIST_NONE},
    {RECORD_BATCH, "water", DIM_GRAMS, LIST_NONE},
    {RECORD_BATCH, "soak", DIM_MINUTES, LIST_NONE},
    {RECORD_BATCH, "purpose", DIM_COUNT, LIST_USES},
    {RECORD_VESSEL, "kind", DIM_COUNT, LIST_VESSELS},
    {RECORD_VESSEL, "grams", DIM_GRAMS, LIST_NONE},
    {RECORD_VESSEL, "position", DIM_COUNT, LIST_POSITIONS},
};

static const struct meaning *meaning_of(enum record record, const char *column)
{
    for (size_t i = 0; i < sizeof meanings / sizeof *meanings; i++)
        if (meanings[i].record == record && strcmp(meanings[i].column, column) == 0)
            return &meanings[i];
    return NULL;
}

/* ---- words of the rules ---------------------------------------------------------------------- */

enum { MOST_NAMES = 256 };

struct names { /* ids, and what people call them */
    const char *ids[MOST_NAMES];
    const char *names[MOST_NAMES];
    size_t count;
};

static void name(struct names *names, const char *id, const char *called)
{
    if (names->count < MOST_NAMES) {
        names->ids[names->count] = id;
        names->names[names->count++] = called;
    }
}

static void name_values(struct names *names, const struct rules *rules, enum feeds feeds)
{
    int feeder = rules->feeder[feeds];
    if (feeder == RULES_NONE)
        return;
    const struct observable *observable = &rules->observables[feeder];
    for (size_t i = 0; i < observable->value_count; i++)
        name(names, observable->values[i].id, observable->values[i].label);
}

static void name_list(struct names *names, const struct rules *rules, enum list list)
{
    switch (list) {
    case LIST_SPECIES:
        for (size_t i = 0; i < rules->species_count; i++)
            name(names, rules->species[i].id, rules->species[i].name);
        break;
    case LIST_GRAINS:
        for (size_t i = 0; i < rules->grain_count; i++)
            name(names, rules->grains[i].id, rules->grains[i].name);
        break;
    case LIST_VESSELS:
        for (size_t i = 0; i < rules->vessel_count; i++)
            name(names, rules->vessels[i].id, rules->vessels[i].name);
        break;
    case LIST_STARTERS:
        for (size_t i = 0; i < rules->starter_count; i++)
            name(names, rules->starters[i].id, rules->starters[i].name);
        break;
    case LIST_USES:
        for (size_t i = 0; i < rules->decision.use_count; i++)
            name(names, rules->decision.uses[i].id, rules->decision.uses[i].label);
        break;
    case LIST_METHODS:
        name_values(names, rules, FEEDS_COOK_METHOD);
        break;
    case LIST_LOADS:
        name_values(names, rules, FEEDS_LOAD);
        break;
    case LIST_POSITIONS:
        name_values(names, rules, FEEDS_POSITION);
        break;
    case LIST_NONE:
        break;
    }
}

static enum exit_status read_word(struct app *app, const struct meaning *meaning, const char *typed,
                                  const char **value)
{
    struct names names = {.count = 0};
    *value = "";
    if (typed[0] == '\0' || strcasecmp(typed, "unknown") == 0)
        return EXIT_FINE;
    name_list(&names, app->rules, meaning->list);
    for (size_t i = 0; i < names.count; i++)
        if (strcasecmp(typed, names.ids[i]) == 0 || strcasecmp(typed, names.names[i]) == 0) {
            *value = names.ids[i];
            return EXIT_FINE;
        }
    const char *near = diag_nearest(typed, names.ids, names.count);
    if (near == NULL)
        near = names.count > 0 ? names.ids[0] : "unknown";
    return app_usage(app, "no %s '%s' in the rules; for instance '%s'", meaning->column, typed,
                     near);
}

/* ---- numbers and moments --------------------------------------------------------------------- */

/* A bare number is in the unit the journal keeps; with a unit it is converted. */
static enum exit_status read_number(struct app *app, const struct meaning *meaning,
                                    const char *typed, struct arena *arena, const char **value)
{
    struct quantity quantity;
    struct text folded;
    size_t used = 0;
    char *end = NULL;

    (void)strtod(typed, &end);
    *value = typed;
    if (*end == '\0' && end != typed)
        return EXIT_FINE;
    text_init(&folded);
    bool text = text_fold(&folded, typed, strlen(typed), NULL) == TEXT_FOLD_OK;
    bool read = text && folded.length > 0 &&
                quantity_read(folded.bytes, folded.length, meaning->dimension, &quantity, &used) ==
                    QUANTITY_OK &&
                used == folded.length;
    text_release(&folded);
    if (!read)
        return app_usage(app, "'%s=%s' is no quantity; the journal keeps it in %s", meaning->column,
                         typed, dimension_unit(meaning->dimension));
    *value = arena_format(arena, "%.10g", 0.5 * (quantity.lo + quantity.hi));
    return *value != NULL ? EXIT_FINE : app_fail(app, STATUS_MEMORY);
}

static enum exit_status read_moment(struct app *app, const char *column, const char *typed,
                                    struct arena *arena, const char **value)
{
    struct moment moment;
    char room[MOMENT_ROOM];

    *value = "";
    if (typed[0] == '\0' || strcasecmp(typed, "unknown") == 0)
        return EXIT_FINE;
    if (!moment_read(typed, moment_now(), &moment))
        return app_usage(app, "'%s=%s' is no moment; write 2026-03-01 18:30, yesterday ...", column,
                         typed);
    *value = arena_string(arena, moment_write(moment, room));
    return *value != NULL ? EXIT_FINE : app_fail(app, STATUS_MEMORY);
}

static enum exit_status read_value(struct app *app, enum record record, const struct column *column,
                                   const char *typed, struct arena *arena, const char **value)
{
    const struct meaning *meaning = meaning_of(record, column->name);
    *value = typed;
    if (column->kind == COLUMN_MOMENT)
        return read_moment(app, column->name, typed, arena, value);
    if (meaning != NULL && meaning->list != LIST_NONE)
        return read_word(app, meaning, typed, value);
    if (meaning != NULL && typed[0] != '\0')
        return read_number(app, meaning, typed, arena, value);
    return EXIT_FINE;
}

/* ---- the whole ------------------------------------------------------------------------------- */

/* "4ml" is a dose and its unit. */
static bool split_dose(const char *typed, struct arena *arena, struct assignment assignments[2],
                       size_t *count)
{
    static const char *const units[] = {"ml", "g"};
    char *end = NULL;
    double dose = strtod(typed, &end);
    while (end != typed && *end == ' ')
        end++;
    for (size_t i = 0; i < sizeof units / sizeof *units && end != typed; i++) {
        if (strcmp(end, units[i]) != 0)
            continue;
        assignments[0] = (struct assignment){"dose", arena_format(arena, "%.10g", dose)};
        assignments[1] = (struct assignment){"unit", units[i]};
        *count = 2;
        return assignments[0].value != NULL;
    }
    return false;
}

static enum exit_status unknown_column(struct app *app, enum record record, const char *column)
{
    const char *names[32] = {NULL};
    size_t count = 0;
    for (const struct column *at = record_types[record].columns; at->name != NULL && count < 32;
         at++)
        if (!at->derived)
            names[count++] = at->name;
    const char *near = diag_nearest(column, names, count);
    if (near != NULL)
        return app_usage(app, "a %s has no '%s'; did you mean '%s'?", record_types[record].name,
                         column, near);
    struct text all;
    text_init(&all);
    for (size_t i = 0; i < count; i++)
        text_printf(&all, "%s%s", i > 0 ? ", " : "", names[i]);
    enum exit_status fault =
        app_usage(app, "a %s has no '%s'; it has %s", record_types[record].name, column, all.bytes);
    text_release(&all);
    return fault;
}

/* A sign of the rules: one more fact, in place of an older one about the same. */
static enum exit_status read_fact(struct app *app, const char *sign, const char *value,
                                  const char *facts, struct arena *arena,
                                  struct assignment *assignment)
{
    struct reading reading;
    size_t length = strlen(sign);
    struct text text;
    enum status status = reader_set(app->reader, sign, value, &reading, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    text_init(&text);
    for (const char *at = facts; *at != '\0';) {
        size_t word = strcspn(at, " ");
        bool older = word > length && strncmp(at, sign, length) == 0 && at[length] == '=';
        if (word > 0 && !older)
            text_printf(&text, "%.*s ", (int)word, at);
        at += word;
        at += strspn(at, " ");
    }
    text_printf(&text, "%s=%s", sign, value);
    *assignment =
        (struct assignment){"facts", text.failed ? NULL : arena_string(arena, text.bytes)};
    text_release(&text);
    return assignment->value != NULL ? EXIT_FINE : app_fail(app, STATUS_MEMORY);
}

enum exit_status assign_read(struct app *app, enum record record, const char *typed,
                             const char *facts, struct arena *arena,
                             struct assignment assignments[ASSIGN_MOST], size_t *count)
{
    const char *equals = strchr(typed, '=');
    if (equals == NULL || equals == typed)
        return app_usage(app, "'%s' should be COLUMN=VALUE", typed);
    const char *name = arena_copy(arena, typed, (size_t)(equals - typed));
    if (name == NULL)
        return app_fail(app, STATUS_MEMORY);
    size_t index = record_column(record, name);
    *count = 1;
    if (record == RECORD_BATCH && strcmp(name, "dose") == 0 &&
        split_dose(equals + 1, arena, assignments, count))
        return EXIT_FINE;
    if (index != SIZE_MAX) {
        const struct column *column = &record_types[record].columns[index];
        assignments[0].column = column->name;
        return read_value(app, record, column, equals + 1, arena, &assignments[0].value);
    }
    if (record_column(record, "facts") == SIZE_MAX ||
        rules_observable(app->rules, name) == RULES_NONE)
        return unknown_column(app, record, name);
    return read_fact(app, name, equals + 1, facts, arena, &assignments[0]);
}

/* ---- findings and causes --------------------------------------------------------------------- */

/* Folded, with the underscores of ids as blanks: how words are compared. */
static bool fold_into(struct text *out, const char *words)
{
    text_clear(out);
    if (text_fold(out, words, strlen(words), NULL) != TEXT_FOLD_OK)
        return false;
    for (size_t i = 0; i < out->length; i++)
        if (out->bytes[i] == '_')
            out->bytes[i] = ' ';
    return out->length > 0;
}

enum likeness { UNLIKE, WITHIN, AT_FRONT, SAME };

static enum likeness likeness(struct text *room, const char *words, const char *called)
{
    if (called == NULL || !fold_into(room, called))
        return UNLIKE;
    const char *found = strstr(room->bytes, words);
    if (found == NULL)
        return UNLIKE;
    return found != room->bytes ? WITHIN : strlen(words) == strlen(room->bytes) ? SAME : AT_FRONT;
}

struct match {
    size_t found[MOST_NAMES]; /* all that are as like as the best */
    size_t count;
};

static void find_match(const char *words, const struct names *names, const char *const *others,
                       struct match *match)
{
    struct text wanted, room;
    enum likeness best = WITHIN;

    text_init(&wanted);
    text_init(&room);
    match->count = 0;
    bool text = fold_into(&wanted, words);
    for (size_t i = 0; text && i < names->count; i++) {
        const char *called[] = {names->ids[i], names->names[i], others != NULL ? others[i] : NULL};
        enum likeness like = UNLIKE;
        for (size_t k = 0; k < sizeof called / sizeof *called; k++) {
            enum likeness by_this = likeness(&room, wanted.bytes, called[k]);
            like = by_this > like ? by_this : like;
        }
        if (like > best) {
            best = like;
            match->count = 0;
        }
        if (like == best)
            match->found[match->count++] = i;
    }
    text_release(&wanted);
    text_release(&room);
}

static int several(struct app *app, const char *words, const struct names *names,
                   const struct match *match)
{
    struct text list;
    text_init(&list);
    for (size_t i = 0; i < match->count && i < 6; i++)
        text_printf(&list, "%s%s", i > 0 ? ", " : "", names->ids[match->found[i]]);
    app_usage(app, "'%s' could be %s; say which", words, list.bytes);
    text_release(&list);
    return RULES_NONE;
}

static int match_name(struct app *app, const char *what, const char *words,
                      const struct names *names, const char *const *others)
{
    struct match match;
    find_match(words, names, others, &match);
    if (match.count == 1)
        return (int)match.found[0];
    if (match.count > 1)
        return several(app, words, names, &match);
    const char *near = diag_nearest(words, names->ids, names->count);
    if (near == NULL)
        near = diag_nearest(words, names->names, names->count);
    if (near != NULL)
        app_usage(app, "no %s '%s'; did you mean '%s'?", what, words, near);
    else
        app_usage(app, "no %s '%s'; 'jarside show' lists them", what, words);
    return RULES_NONE;
}

int assign_finding(struct app *app, const char *words)
{
    const struct rules *rules = app->rules;
    const char *others[MOST_NAMES];
    struct names names = {.count = 0};
    for (size_t i = 0; i < rules->finding_count && i < MOST_NAMES; i++) {
        others[i] = rules->findings[i].also;
        name(&names, rules->findings[i].id, rules->findings[i].name);
    }
    return match_name(app, "finding", words, &names, others);
}

int assign_cause(struct app *app, const char *words)
{
    struct names names = {.count = 0};
    for (size_t i = 0; i < app->rules->cause_count; i++)
        name(&names, app->rules->causes[i].id, app->rules->causes[i].name);
    return match_name(app, "cause", words, &names, NULL);
}
