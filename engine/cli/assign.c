/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/assign.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "base/units.h"

/* ==== labels ================================================================================== */

bool labels_has(struct app *app, enum record record, const char *label, int64_t *id,
                const char **found)
{
    *found = label;
    if (journal_has(app->journal, record, label, id))
        return true;
    char *capitals = arena_string(app->arena, label);
    for (char *at = capitals; *at != '\0'; at++)
        *at = (char)toupper((unsigned char)*at);
    *found = capitals;
    return journal_has(app->journal, record, capitals, id);
}

enum status labels_find(struct app *app, enum record record, const char *label, void *row)
{
    const char *found = label;
    int64_t id = 0;
    return labels_has(app, record, label, &id, &found)
               ? journal_get(app->journal, record, id, app->arena, row, app->diags)
               : journal_find(app->journal, record, label, app->arena, row, app->diags);
}

enum record labels_kind(const char *word)
{
    for (size_t i = 0; i < RECORD_COUNT; i++) {
        const char *name = record_types[i].name;
        size_t length = strlen(name);
        if (strncmp(word, name, length) == 0 &&
            (word[length] == '\0' || strcmp(word + length, "s") == 0 ||
             strcmp(word + length, "es") == 0))
            return (enum record)i;
    }
    return RECORD_COUNT;
}

/* ---- several vessels ------------------------------------------------------------------------- */

struct choice { /* while the words are read */
    struct app *app;
    struct chosen *chosen;
    struct batch batch; /* that bare numbers count within; id 0 for none */
    bool open;          /* it was named, and none of its vessels so far */
};

static void choose(struct choice *choice, const struct vessel *vessel)
{
    struct chosen *chosen = choice->chosen;
    for (size_t i = 0; i < chosen->count; i++)
        if (chosen->vessels[i].id == vessel->id)
            return;
    *arena_push(choice->app->arena, chosen->vessels, chosen->count) = *vessel;
}

/* A batch that was named, and none of its vessels, means all of them. */
static enum status close_batch(struct choice *choice)
{
    struct app *app = choice->app;
    void *rows = NULL;
    size_t count = 0;
    if (!choice->open)
        return STATUS_OK;
    choice->open = false;
    choice->chosen->whole = true;
    enum status status = journal_all(app->journal, RECORD_VESSEL, "batch", choice->batch.id,
                                     app->arena, &rows, &count, app->diags);
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        choose(choice, (const struct vessel *)rows + i);
    return status;
}

/* The vessel of that number in the batch at hand. Its label is that of the batch, a hyphen and the
 * number, unless somebody relabelled it. */
static enum status choose_number(struct choice *choice, long number)
{
    struct app *app = choice->app;
    struct vessel vessel = {.id = 0};
    const char *label = arena_format(app->arena, "%s-%ld", choice->batch.label, number);
    int64_t id = 0;

    if (!journal_has(app->journal, RECORD_VESSEL, label, &id)) {
        bool found = false;
        struct walk *walk =
            journal_walk(app->journal, RECORD_VESSEL, "batch", choice->batch.id, false, app->diags);
        while (!found && walk_next(walk, &vessel))
            found = vessel.number == number;
        id = vessel.id;
        enum status status = walk_end(walk);
        if (status != STATUS_OK)
            return status;
        if (!found)
            return app_usage(app, "there is no vessel %ld in %s", number, choice->batch.label);
    }
    enum status status =
        journal_get(app->journal, RECORD_VESSEL, id, app->arena, &vessel, app->diags);
    if (status == STATUS_OK)
        choose(choice, &vessel);
    return status;
}

static enum status choose_range(struct choice *choice, long from, long to)
{
    enum { MOST = 10000 };
    enum status status = STATUS_OK;
    if (choice->batch.id == 0)
        return app_usage(choice->app, "%ld of which batch? For instance: B3 %ld", from, from);
    if (to < from || to - from > MOST)
        return app_usage(choice->app, "'%ld to %ld' is no range of vessels", from, to);
    choice->open = false;
    for (long number = from; number <= to && status == STATUS_OK; number++)
        status = choose_number(choice, number);
    return status;
}

/* "7", "3-7", "3..7": numbers within the batch at hand. */
static bool read_range(const char *word, long *from, long *to)
{
    char *end = NULL;
    if (!isdigit((unsigned char)word[0]))
        return false;
    *from = *to = strtol(word, &end, 10);
    if (*end == '\0')
        return true;
    if (*end == '-')
        end++;
    else if (strncmp(end, "..", 2) == 0)
        end += 2;
    else
        return false;
    if (!isdigit((unsigned char)*end))
        return false;
    *to = strtol(end, &end, 10);
    return *end == '\0';
}

static enum status choose_vessel(struct choice *choice, const char *label)
{
    struct app *app = choice->app;
    struct vessel vessel;
    enum status status = labels_find(app, RECORD_VESSEL, label, &vessel);
    if (status != STATUS_OK)
        return status;
    choose(choice, &vessel);
    choice->open = false;
    return journal_get(app->journal, RECORD_BATCH, vessel.batch, app->arena, &choice->batch,
                       app->diags);
}

/* "B3-3..7" or "B3-3..B3-7": from the one to the other. */
static enum status choose_span(struct choice *choice, const char *word, const char *dots)
{
    struct app *app = choice->app;
    const char *last = dots + 2;
    struct vessel vessel;
    long to;
    enum status status = choose_vessel(choice, arena_copy(app->arena, word, (size_t)(dots - word)));
    if (status != STATUS_OK)
        return status;
    long from = (long)choice->chosen->vessels[choice->chosen->count - 1].number;
    if (!read_range(last, &to, &to)) {
        if ((status = labels_find(app, RECORD_VESSEL, last, &vessel)))
            return status;
        if (vessel.batch != choice->batch.id)
            return app_usage(app, "'%s' begins and ends in different batches", word);
        to = (long)vessel.number;
    }
    return choose_range(choice, from, to);
}

static enum status choose_word(struct choice *choice, const char *word)
{
    struct app *app = choice->app;
    const char *found = NULL, *dots = strstr(word, "..");
    int64_t id = 0;
    long from, to;
    enum status status;

    if (labels_has(app, RECORD_VESSEL, word, &id, &found)) {
        status = close_batch(choice);
        return status == STATUS_OK ? choose_vessel(choice, found) : status;
    }
    if (labels_has(app, RECORD_BATCH, word, &id, &found)) {
        status = close_batch(choice);
        if (status == STATUS_OK)
            status = labels_find(app, RECORD_BATCH, found, &choice->batch);
        choice->open = status == STATUS_OK;
        return status;
    }
    if (read_range(word, &from, &to))
        return choose_range(choice, from, to);
    if (dots != NULL && dots != word)
        return choose_span(choice, word, dots);
    return choose_vessel(choice, word); /* which says what is wrong with it */
}

enum status labels_vessels(struct app *app, const char *const *words, size_t count,
                           struct chosen *chosen)
{
    struct choice choice = {.app = app, .chosen = chosen};
    enum status status = STATUS_OK;

    *chosen = (struct chosen){NULL, 0, false};
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        char *rest = arena_string(app->arena, words[i]);
        while (rest != NULL && status == STATUS_OK) {
            char *comma = strchr(rest, ',');
            if (comma != NULL)
                *comma = '\0';
            if (*rest != '\0')
                status = choose_word(&choice, rest);
            rest = comma != NULL ? comma + 1 : NULL;
        }
    }
    if (status == STATUS_OK)
        status = close_batch(&choice);
    if (status == STATUS_OK && chosen->count == 0)
        status = app_usage(app, "which vessel? Give its label, for instance B3-7");
    return status;
}

/* ==== assign ================================================================================== */

enum { MOST_NAMES = 256 };

struct names { /* of a list of the rules: ids, and what people call them */
    const char *ids[MOST_NAMES];
    const char *names[MOST_NAMES];
    size_t count;
};

static void read_names(const struct rules *rules, enum word_list list, struct names *names)
{
    struct list_word word;
    for (names->count = 0; names->count < MOST_NAMES; names->count++) {
        if ((word = list_word(rules, list, names->count)).id == NULL)
            break;
        names->ids[names->count] = word.id;
        names->names[names->count] = word.name;
    }
}

static enum status read_word(struct app *app, const struct column *column, const char *typed,
                             const char **value)
{
    struct names names;
    read_names(app->rules, column->list, &names);
    for (size_t i = 0; i < names.count; i++)
        if (strcasecmp(typed, names.ids[i]) == 0 || strcasecmp(typed, names.names[i]) == 0) {
            *value = names.ids[i];
            return STATUS_OK;
        }
    const char *near = diag_nearest(typed, names.ids, names.count);
    if (near == NULL)
        near = names.count > 0 ? names.ids[0] : "unknown";
    return app_usage(app, "no %s '%s' in the rules; for instance '%s'", column->name, typed, near);
}

/* A bare number is in the unit the journal keeps; with a unit it is converted. */
static enum status read_number(struct app *app, const struct column *column, const char *typed,
                               const char **value)
{
    struct quantity quantity;
    struct text folded;
    size_t used = 0;
    char *end = NULL;

    (void)strtod(typed, &end);
    if (*end == '\0' && end != typed)
        return STATUS_OK;
    text_init(&folded);
    bool read = text_fold(&folded, typed, strlen(typed), NULL) && folded.length > 0 &&
                quantity_read(folded.bytes, folded.length, column->dimension, &quantity, &used) ==
                    QUANTITY_OK &&
                used == folded.length;
    text_release(&folded);
    if (!read)
        return app_usage(app, "'%s=%s' is no quantity; the journal keeps it in %s", column->name,
                         typed, dimension_unit(column->dimension));
    *value = arena_format(app->arena, "%.10g", 0.5 * (quantity.lo + quantity.hi));
    return STATUS_OK;
}

static enum status read_value(struct app *app, const struct column *column, const char *typed,
                              const char **value)
{
    bool unknown = typed[0] == '\0' || strcasecmp(typed, "unknown") == 0;
    struct moment moment;
    char room[MOMENT_ROOM];

    *value = typed;
    if (column->kind == COLUMN_MOMENT || column->list != LIST_NONE) {
        if (unknown)
            *value = "";
        else if (column->list != LIST_NONE)
            return read_word(app, column, typed, value);
        else if (!moment_read(typed, moment_now(), &moment))
            return app_usage(app, "'%s=%s' is no moment; write 2026-03-01 18:30, yesterday ...",
                             column->name, typed);
        else
            *value = arena_string(app->arena, moment_write(moment, room));
        return STATUS_OK;
    }
    if (column->dimension != DIM_NONE && typed[0] != '\0')
        return read_number(app, column, typed, value);
    return STATUS_OK;
}

/* "4ml" is a dose and its unit. */
static bool split_dose(const char *typed, struct arena *arena, struct assignment assignments[2])
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
        return true;
    }
    return false;
}

static enum status unknown_column(struct app *app, enum record record, const char *column)
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
    enum status status =
        app_usage(app, "a %s has no '%s'; it has %s", record_types[record].name, column, all.bytes);
    text_release(&all);
    return status;
}

/* A sign of the rules: one more fact, in place of an older one about the same. */
static enum status read_fact(struct app *app, const char *sign, const char *value,
                             const char *facts, const char **all)
{
    struct reading reading;
    size_t length = strlen(sign);
    struct text text;
    enum status status = reader_set(app->reader, sign, value, &reading, app->diags);
    if (status != STATUS_OK)
        return status;
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
    *all = arena_string(app->arena, text.bytes);
    text_release(&text);
    return STATUS_OK;
}

enum status assign_read(struct app *app, enum record record, const char *typed, const void *row,
                        struct assignment assignments[ASSIGN_MOST], size_t *count)
{
    const char *equals = strchr(typed, '=');
    if (equals == NULL || equals == typed)
        return app_usage(app, "'%s' should be COLUMN=VALUE", typed);
    const char *name = arena_copy(app->arena, typed, (size_t)(equals - typed));
    const struct column *columns = record_types[record].columns;
    size_t index = record_column(record, name), facts = record_column(record, "facts");
    *count = 1;
    if (record == RECORD_BATCH && strcmp(name, "dose") == 0 &&
        split_dose(equals + 1, app->arena, assignments)) {
        *count = 2;
        return STATUS_OK;
    }
    if (index != SIZE_MAX) {
        assignments[0].column = columns[index].name;
        return read_value(app, &columns[index], equals + 1, &assignments[0].value);
    }
    if (facts == SIZE_MAX || rules_observable(app->rules, name) == RULES_NONE)
        return unknown_column(app, record, name);
    assignments[0].column = "facts";
    return read_fact(app, name, equals + 1,
                     *(const char *const *)column_member(&columns[facts], row),
                     &assignments[0].value);
}

/* ---- findings and causes --------------------------------------------------------------------- */

/* Folded, with the underscores of ids as blanks: how words are compared. */
static bool fold_into(struct text *out, const char *words)
{
    text_clear(out);
    if (!text_fold(out, words, strlen(words), NULL))
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

/* All that are as like as the best; how many. */
static size_t find_match(const char *words, const struct names *names, const char *const *others,
                         size_t found[MOST_NAMES])
{
    struct text wanted, room;
    enum likeness best = WITHIN;
    size_t count = 0;

    text_init(&wanted);
    text_init(&room);
    bool text = fold_into(&wanted, words);
    for (size_t i = 0; text && i < names->count; i++) {
        const char *called[] = {names->ids[i], names->names[i], others[i]};
        enum likeness like = UNLIKE;
        for (size_t k = 0; k < sizeof called / sizeof *called; k++) {
            enum likeness by_this = likeness(&room, wanted.bytes, called[k]);
            like = by_this > like ? by_this : like;
        }
        if (like > best) {
            best = like;
            count = 0;
        }
        if (like == best)
            found[count++] = i;
    }
    text_release(&wanted);
    text_release(&room);
    return count;
}

static enum status match_name(struct app *app, const char *what, const char *words,
                              const struct names *names, const char *const *others, int *index)
{
    size_t found[MOST_NAMES] = {0}, count = find_match(words, names, others, found);
    *index = (int)found[0];
    if (count == 1)
        return STATUS_OK;
    if (count > 1) {
        struct text list;
        text_init(&list);
        for (size_t i = 0; i < count && i < 6; i++)
            text_printf(&list, "%s%s", i > 0 ? ", " : "", names->ids[found[i]]);
        enum status status = app_usage(app, "'%s' could be %s; say which", words, list.bytes);
        text_release(&list);
        return status;
    }
    const char *near = diag_nearest(words, names->ids, names->count);
    if (near == NULL)
        near = diag_nearest(words, names->names, names->count);
    if (near != NULL)
        return app_usage(app, "no %s '%s'; did you mean '%s'?", what, words, near);
    return app_usage(app, "no %s '%s'; 'jarside show' lists them", what, words);
}

enum status assign_finding(struct app *app, const char *words, int *index)
{
    const char *others[MOST_NAMES];
    struct names names;
    read_names(app->rules, LIST_FINDINGS, &names);
    for (size_t i = 0; i < names.count; i++)
        others[i] = app->rules->findings[i].also;
    return match_name(app, "finding", words, &names, others, index);
}

enum status assign_cause(struct app *app, const char *words, int *index)
{
    static const char *const others[MOST_NAMES] = {NULL};
    struct names names;
    read_names(app->rules, LIST_CAUSES, &names);
    return match_name(app, "cause", words, &names, others, index);
}
