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
#include "process/probe.h"
#include "view/plan.h"

/* ==== measure ================================================================================= */

enum status option_refused(struct app *app, const struct physics_refusal *refusal)
{
    char message[256];

    if (refusal->fault == FAULT_MEMORY)
        return STATUS_MEMORY;
    limit_message(message, sizeof message, refusal->fault, refusal->value);
    diags_error(app->diags, (struct position){NULL, 0, 0}, "%s", message);
    return STATUS_DATA;
}

/* ---- one option at a time: until every command fills its struct from its table ---------------- */

static enum status one(struct app *app, struct option option, void *target)
{
    const char *word = arguments_value(&app->arguments, option.name);
    return word != NULL ? option_read(app, &option, word, target) : STATUS_OK;
}

enum status option_quantity(struct app *app, const char *name, enum dimension dimension,
                            double *value)
{
    return one(app, (struct option){.name = name, .kind = OPTION_QUANTITY, .dimension = dimension},
               value);
}

enum status option_amount(struct app *app, const char *name, enum dimension dimension,
                          double *value)
{
    return one(app, (struct option){.name = name, .kind = OPTION_AMOUNT, .dimension = dimension},
               value);
}

enum status option_species(struct app *app, int *index)
{
    return one(app, (struct option){.name = "species", .kind = OPTION_ID, .list = LIST_SPECIES},
               index);
}

enum status option_grain(struct app *app, int *index)
{
    return one(app, (struct option){.name = "grain", .kind = OPTION_ID, .list = LIST_GRAINS},
               index);
}

enum status option_mix(struct app *app, struct known_grain *grain)
{
    enum status status = option_grain(app, &grain->kind);

    if (status == STATUS_OK)
        status = option_amount(app, "own-moisture", DIM_PERCENT, &grain->own_moisture);
    if (status == STATUS_OK)
        status = option_amount(app, "moisture", DIM_PERCENT, &grain->moisture);
    if (status == STATUS_OK)
        status = option_amount(app, "dry", DIM_GRAMS, &grain->dry);
    if (status == STATUS_OK)
        status = option_amount(app, "water", DIM_GRAMS, &grain->water);
    return status;
}

enum status option_vessel(struct app *app, struct known_vessel *vessel)
{
    enum status status = one(app, (struct option){.name = "vessel", .kind = OPTION_VESSEL}, vessel);
    return status == STATUS_OK ? option_amount(app, "mass", DIM_GRAMS, &vessel->grams) : status;
}

enum status option_date(struct app *app, const char *name, const char **date)
{
    *date = NULL;
    return one(app, (struct option){.name = name, .kind = OPTION_DATE}, date);
}

enum status app_limit(struct app *app, size_t *limit)
{
    return one(app, (struct option){.name = "limit", .kind = OPTION_COUNT}, limit);
}

enum status app_moment(struct app *app, const char *name, struct moment *moment)
{
    *moment = moment_now();
    return one(app, (struct option){.name = name, .kind = OPTION_MOMENT}, moment);
}

enum status app_table(struct app *app, enum record *record)
{
    return one(app, (struct option){.name = "table", .kind = OPTION_TABLE}, record);
}

static enum status feed_log(FILE *file, struct probe_reader *reader, struct diags *diags,
                            const char *path)
{
    static const size_t size = 65536;
    char *block = malloc(size);
    enum status status = block != NULL ? STATUS_OK : STATUS_MEMORY;
    size_t got;

    while (status == STATUS_OK && (got = fread(block, 1, size, file)) > 0)
        status = probe_reader_feed(reader, block, got);
    free(block);
    if (status == STATUS_OK && ferror(file)) {
        diags_error(diags, (struct position){path, 0, 0}, "cannot be read: %s", strerror(errno));
        status = STATUS_IO;
    }
    return status == STATUS_OK ? probe_reader_finish(reader) : status;
}

enum status read_log(struct app *app, const char *path,
                     bool (*reading)(void *context, double minutes, double celsius), void *context)
{
    const char *unit = arguments_value(&app->arguments, "probe-unit");
    struct probe_options options = {path, PROBE_UNKNOWN};
    struct probe_sink sink = {context, reading};
    bool standard = strcmp(path, "-") == 0;

    if (unit != NULL && strcmp(unit, "C") != 0 && strcmp(unit, "F") != 0)
        return app_error(app, STATUS_DATA, "--probe-unit", "'%s' is neither C nor F", unit);
    if (unit != NULL)
        options.unit = *unit == 'C' ? PROBE_CELSIUS : PROBE_FAHRENHEIT;
    FILE *file = standard ? stdin : fopen(path, "rb");
    if (file == NULL) {
        diags_error(app->diags, (struct position){path, 0, 0}, "cannot be opened: %s",
                    strerror(errno));
        return STATUS_IO;
    }
    struct probe_reader *reader = probe_reader_new(&options, &sink, app->diags);
    enum status status = reader != NULL ? feed_log(file, reader, app->diags, path) : STATUS_MEMORY;
    probe_reader_free(reader);
    if (!standard)
        fclose(file);
    return status;
}

/* ==== labels ================================================================================== */

/* ---- one record ------------------------------------------------------------------------------ */

static const char *in_capitals(const char *label, struct arena *arena)
{
    char *copy = arena_string(arena, label);
    for (char *at = copy; at != NULL && *at != '\0'; at++)
        *at = (char)toupper((unsigned char)*at);
    return copy != NULL ? copy : label;
}

bool labels_has(struct app *app, enum record record, const char *label, struct arena *arena,
                int64_t *id, const char **found)
{
    *found = label;
    if (journal_has(app->journal, record, label, id))
        return true;
    *found = in_capitals(label, arena);
    return journal_has(app->journal, record, *found, id);
}

enum status labels_find(struct app *app, enum record record, const char *label, struct arena *arena,
                        void *row)
{
    const char *found = label;
    int64_t id = 0;
    enum status status = labels_has(app, record, label, arena, &id, &found)
                             ? journal_get(app->journal, record, id, arena, row, app->diags)
                             : journal_find(app->journal, record, label, arena, row, app->diags);
    return status;
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
    struct arena *arena;
    struct chosen *chosen;
    size_t room;
    struct batch batch; /* that bare numbers count within; id 0 for none */
    bool open;          /* it was named, and none of its vessels so far */
};

static enum status choose(struct choice *choice, const struct vessel *vessel)
{
    struct chosen *chosen = choice->chosen;
    for (size_t i = 0; i < chosen->count; i++)
        if (chosen->vessels[i].id == vessel->id)
            return STATUS_OK;
    if (chosen->count == choice->room) {
        size_t room = choice->room == 0 ? 16 : 2 * choice->room;
        chosen->vessels =
            arena_grow(choice->arena, chosen->vessels, choice->room, room, sizeof *chosen->vessels);
        choice->room = room;
    }
    if (chosen->vessels == NULL)
        return STATUS_MEMORY;
    chosen->vessels[chosen->count++] = *vessel;
    return STATUS_OK;
}

static enum status choose_batch(struct choice *choice)
{
    struct app *app = choice->app;
    void *rows = NULL;
    size_t count = 0;
    enum status status = journal_all(app->journal, RECORD_VESSEL, "batch", choice->batch.id,
                                     choice->arena, &rows, &count, app->diags);
    enum status fault = status;

    choice->chosen->whole = true;
    for (size_t i = 0; i < count && fault == STATUS_OK; i++)
        fault = choose(choice, (const struct vessel *)rows + i);
    return fault;
}

static enum status close_batch(struct choice *choice)
{
    if (!choice->open)
        return STATUS_OK;
    choice->open = false;
    return choose_batch(choice);
}

/* The vessel of that number in the batch at hand. Its label is that of the batch, a hyphen and the
 * number, unless somebody relabelled it. */
static enum status choose_number(struct choice *choice, long number)
{
    struct app *app = choice->app;
    struct vessel vessel = {.id = 0};
    const char *label = arena_format(choice->arena, "%s-%ld", choice->batch.label, number);
    int64_t id = 0;
    bool found = false;

    if (label == NULL)
        return STATUS_MEMORY;
    if (journal_has(app->journal, RECORD_VESSEL, label, &id)) {
        enum status fault = labels_find(app, RECORD_VESSEL, label, choice->arena, &vessel);
        return fault == STATUS_OK ? choose(choice, &vessel) : fault;
    }
    struct walk *walk =
        journal_walk(app->journal, RECORD_VESSEL, "batch", choice->batch.id, app->diags);
    while (!found && walk != NULL && walk_next(walk, &vessel))
        found = vessel.number == number;
    id = vessel.id;
    enum status status = walk_end(walk);
    if (status == STATUS_OK && found)
        status = journal_get(app->journal, RECORD_VESSEL, id, choice->arena, &vessel, app->diags);
    if (status != STATUS_OK)
        return status;
    return found ? choose(choice, &vessel)
                 : app_usage(app, "there is no vessel %ld in %s", number, choice->batch.label);
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
    enum status fault = labels_find(app, RECORD_VESSEL, label, choice->arena, &vessel);
    if (fault == STATUS_OK)
        fault = choose(choice, &vessel);
    if (fault != STATUS_OK)
        return fault;
    choice->open = false;
    enum status status = journal_get(app->journal, RECORD_BATCH, vessel.batch, choice->arena,
                                     &choice->batch, app->diags);
    return status;
}

/* "B3-3..7" or "B3-3..B3-7": from the one to the other. */
static enum status choose_span(struct choice *choice, const char *word, const char *dots)
{
    struct app *app = choice->app;
    const char *first = arena_copy(choice->arena, word, (size_t)(dots - word));
    const char *last = dots + 2;
    long from, to;

    if (first == NULL)
        return STATUS_MEMORY;
    enum status status = choose_vessel(choice, first);
    if (status != STATUS_OK)
        return status;
    from = (long)choice->chosen->vessels[choice->chosen->count - 1].number;
    if (!read_range(last, &to, &to)) {
        struct vessel vessel;
        status = labels_find(app, RECORD_VESSEL, last, choice->arena, &vessel);
        if (status == STATUS_OK && vessel.batch != choice->batch.id)
            status = app_usage(app, "'%s' begins and ends in different batches", word);
        if (status != STATUS_OK)
            return status;
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

    if (labels_has(app, RECORD_VESSEL, word, choice->arena, &id, &found)) {
        enum status status = close_batch(choice);
        return status == STATUS_OK ? choose_vessel(choice, found) : status;
    }
    if (labels_has(app, RECORD_BATCH, word, choice->arena, &id, &found)) {
        enum status status = close_batch(choice);
        if (status == STATUS_OK)
            status = labels_find(app, RECORD_BATCH, found, choice->arena, &choice->batch);
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
                           struct arena *arena, struct chosen *chosen)
{
    struct choice choice = {.app = app, .arena = arena, .chosen = chosen};
    enum status status = STATUS_OK;

    *chosen = (struct chosen){NULL, 0, false};
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        char *rest = arena_string(arena, words[i]);
        if (rest == NULL)
            return STATUS_MEMORY;
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

/* ---- words of the rules ---------------------------------------------------------------------- */

enum { LIST_MOST_WORDS = 256 };

struct names { /* ids, and what people call them */
    const char *ids[LIST_MOST_WORDS];
    const char *names[LIST_MOST_WORDS];
    size_t count;
};

static void name(struct names *names, const char *id, const char *called)
{
    if (names->count < LIST_MOST_WORDS) {
        names->ids[names->count] = id;
        names->names[names->count++] = called;
    }
}

static enum status read_word(struct app *app, const struct column *column, const char *typed,
                             const char **value)
{
    struct list_word word;
    struct names names = {.count = 0};
    *value = "";
    if (typed[0] == '\0' || strcasecmp(typed, "unknown") == 0)
        return STATUS_OK;
    for (size_t i = 0; (word = list_word(app->rules, column->list, i)).id != NULL; i++)
        name(&names, word.id, word.name);
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

/* ---- numbers and moments --------------------------------------------------------------------- */

/* A bare number is in the unit the journal keeps; with a unit it is converted. */
static enum status read_number(struct app *app, const struct column *column, const char *typed,
                               struct arena *arena, const char **value)
{
    struct quantity quantity;
    struct text folded;
    size_t used = 0;
    char *end = NULL;

    (void)strtod(typed, &end);
    *value = typed;
    if (*end == '\0' && end != typed)
        return STATUS_OK;
    text_init(&folded);
    bool text = text_fold(&folded, typed, strlen(typed), NULL);
    bool read = text && folded.length > 0 &&
                quantity_read(folded.bytes, folded.length, column->dimension, &quantity, &used) ==
                    QUANTITY_OK &&
                used == folded.length;
    text_release(&folded);
    if (!read)
        return app_usage(app, "'%s=%s' is no quantity; the journal keeps it in %s", column->name,
                         typed, dimension_unit(column->dimension));
    *value = arena_format(arena, "%.10g", 0.5 * (quantity.lo + quantity.hi));
    return *value != NULL ? STATUS_OK : STATUS_MEMORY;
}

static enum status read_moment(struct app *app, const char *column, const char *typed,
                               struct arena *arena, const char **value)
{
    struct moment moment;
    char room[MOMENT_ROOM];

    *value = "";
    if (typed[0] == '\0' || strcasecmp(typed, "unknown") == 0)
        return STATUS_OK;
    if (!moment_read(typed, moment_now(), &moment))
        return app_usage(app, "'%s=%s' is no moment; write 2026-03-01 18:30, yesterday ...", column,
                         typed);
    *value = arena_string(arena, moment_write(moment, room));
    return *value != NULL ? STATUS_OK : STATUS_MEMORY;
}

static enum status read_value(struct app *app, const struct column *column, const char *typed,
                              struct arena *arena, const char **value)
{
    *value = typed;
    if (column->kind == COLUMN_MOMENT)
        return read_moment(app, column->name, typed, arena, value);
    if (column->list != LIST_NONE)
        return read_word(app, column, typed, value);
    if (column->dimension != DIM_NONE && typed[0] != '\0')
        return read_number(app, column, typed, arena, value);
    return STATUS_OK;
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
                             const char *facts, struct arena *arena, struct assignment *assignment)
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
    *assignment =
        (struct assignment){"facts", text.failed ? NULL : arena_string(arena, text.bytes)};
    text_release(&text);
    return assignment->value != NULL ? STATUS_OK : STATUS_MEMORY;
}

enum status assign_read(struct app *app, enum record record, const char *typed, const char *facts,
                        struct arena *arena, struct assignment assignments[ASSIGN_MOST],
                        size_t *count)
{
    const char *equals = strchr(typed, '=');
    if (equals == NULL || equals == typed)
        return app_usage(app, "'%s' should be COLUMN=VALUE", typed);
    const char *name = arena_copy(arena, typed, (size_t)(equals - typed));
    if (name == NULL)
        return STATUS_MEMORY;
    size_t index = record_column(record, name);
    *count = 1;
    if (record == RECORD_BATCH && strcmp(name, "dose") == 0 &&
        split_dose(equals + 1, arena, assignments, count))
        return STATUS_OK;
    if (index != SIZE_MAX) {
        const struct column *column = &record_types[record].columns[index];
        assignments[0].column = column->name;
        return read_value(app, column, equals + 1, arena, &assignments[0].value);
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

struct match {
    size_t found[LIST_MOST_WORDS]; /* all that are as like as the best */
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
    const char *others[LIST_MOST_WORDS];
    struct names names = {.count = 0};
    for (size_t i = 0; i < rules->finding_count && i < LIST_MOST_WORDS; i++) {
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
