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

enum exit_status option_fault(struct app *app, const char *name, const char *format, ...)
{
    char message[512], place[64];
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);
    snprintf(place, sizeof place, "--%s", name);
    diags_error(app->diags, (struct position){place, 0, 0}, "%s", message);
    return app_fail(app, STATUS_DATA);
}

enum exit_status option_refused(struct app *app, const struct physics_refusal *refusal)
{
    char message[256];

    if (refusal->fault == FAULT_MEMORY)
        return app_fail(app, STATUS_MEMORY);
    limit_message(message, sizeof message, refusal->fault, refusal->value);
    diags_error(app->diags, (struct position){NULL, 0, 0}, "%s", message);
    return app_fail(app, STATUS_DATA);
}

/* ---- quantities ------------------------------------------------------------------------------ */

static const char *unit_examples(enum dimension dimension)
{
    switch (dimension) {
    case DIM_CELSIUS:
        return "24C or 75F";
    case DIM_GAUGE_KPA:
        return "15psi, 1bar or 103kPa";
    case DIM_PRESSURE_KPA:
        return "1013hPa, 29.9inHg or 101kPa";
    case DIM_METRES:
        return "1500m or 5000ft";
    case DIM_GRAMS:
        return "885g, 1.4kg or 3lb";
    case DIM_LITRES:
        return "4ml, 1l or 1quart";
    case DIM_MINUTES:
        return "90 or 2h30";
    case DIM_DAYS:
        return "12 or 2 weeks";
    case DIM_PERCENT:
        return "40%";
    default:
        return "a number";
    }
}

/* Units of which two are in use and a guess would be off by far. */
static bool needs_unit(enum dimension dimension)
{
    return dimension == DIM_CELSIUS || dimension == DIM_GAUGE_KPA ||
           dimension == DIM_PRESSURE_KPA || dimension == DIM_METRES || dimension == DIM_GRAMS ||
           dimension == DIM_LITRES;
}

static enum exit_status read_quantity(struct app *app, const char *name, const char *words,
                                      enum dimension dimension, double *value)
{
    struct quantity quantity;
    struct text folded;
    size_t used = 0;

    text_init(&folded);
    enum quantity_fault fault =
        text_fold(&folded, words, strlen(words), NULL)
            ? quantity_read(folded.bytes, folded.length, dimension, &quantity, &used)
            : QUANTITY_NO_NUMBER;
    bool whole = fault == QUANTITY_OK && used == folded.length;
    text_release(&folded);
    if (fault == QUANTITY_NO_NUMBER)
        return option_fault(app, name, "'%s' is no quantity; for instance %s", words,
                            unit_examples(dimension));
    if (fault != QUANTITY_OK || !whole)
        return option_fault(app, name, "'%s' is not understood as a whole; for instance %s", words,
                            unit_examples(dimension));
    if (!quantity.unit_given && needs_unit(dimension) &&
        (quantity.lo != 0.0 || dimension == DIM_CELSIUS))
        return option_fault(app, name, "'%s' has no unit; for instance %s", words,
                            unit_examples(dimension));
    *value = 0.5 * (quantity.lo + quantity.hi);
    return EXIT_FINE;
}

enum exit_status option_quantity(struct app *app, const char *name, enum dimension dimension,
                                 double *value)
{
    const char *words = arguments_value(&app->arguments, name);
    return words == NULL ? EXIT_FINE : read_quantity(app, name, words, dimension, value);
}

enum exit_status option_amount(struct app *app, const char *name, enum dimension dimension,
                               double *value)
{
    double read = NAN;
    enum exit_status fault = option_quantity(app, name, dimension, &read);

    if (fault != EXIT_FINE || isnan(read))
        return fault;
    if (read < 0.0)
        return option_fault(app, name, "'%s' is negative; from 0 on",
                            arguments_value(&app->arguments, name));
    *value = read;
    return EXIT_FINE;
}

/* ---- lists of the rules ---------------------------------------------------------------------- */

enum { MOST_NAMES = 256 };

static enum exit_status unknown_name(struct app *app, const char *option, const char *word,
                                     const char *const *names, size_t count)
{
    const char *near = diag_nearest(word, names, count);
    if (near != NULL)
        return option_fault(app, option, "no '%s' in the rules; did you mean '%s'?", word, near);
    return option_fault(app, option, "no '%s' in the rules; 'jarside show' lists what there is",
                        word);
}

enum exit_status option_species(struct app *app, int *index)
{
    const char *word = arguments_value(&app->arguments, "species");
    const char *names[MOST_NAMES];
    size_t count = 0;

    if (word == NULL || (*index = rules_species(app->rules, word)) != RULES_NONE)
        return EXIT_FINE;
    for (; count < app->rules->species_count && count < MOST_NAMES; count++)
        names[count] = app->rules->species[count].id;
    return unknown_name(app, "species", word, names, count);
}

enum exit_status option_grain(struct app *app, int *index)
{
    const char *word = arguments_value(&app->arguments, "grain");
    const char *names[MOST_NAMES];
    size_t count = 0;

    if (word == NULL || (*index = rules_grain(app->rules, word)) != RULES_NONE)
        return EXIT_FINE;
    for (; count < app->rules->grain_count && count < MOST_NAMES; count++)
        names[count] = app->rules->grains[count].id;
    return unknown_name(app, "grain", word, names, count);
}

enum exit_status option_mix(struct app *app, struct known_grain *grain)
{
    enum exit_status fault = option_grain(app, &grain->kind);

    if (fault == EXIT_FINE)
        fault = option_amount(app, "own-moisture", DIM_PERCENT, &grain->own_moisture);
    if (fault == EXIT_FINE)
        fault = option_amount(app, "moisture", DIM_PERCENT, &grain->moisture);
    if (fault == EXIT_FINE)
        fault = option_amount(app, "dry", DIM_GRAMS, &grain->dry);
    if (fault == EXIT_FINE)
        fault = option_amount(app, "water", DIM_GRAMS, &grain->water);
    return fault;
}

/* ---- vessels --------------------------------------------------------------------------------- */

static const char vessel_examples[] =
    "an id of 'jarside show', bag:1.36kg, jar:1quart, bag:20x12x8cm or jar:9x12cm";

/* "20x12x8cm": numbers between x, then a unit of length. How many; 0 when it is none of that. */
static size_t read_sides(const char *words, double metres[3])
{
    static const struct {
        const char *name;
        double metres;
    } units[] = {{"mm", 0.001}, {"cm", 0.01}, {"m", 1.0}, {"in", 0.0254}};
    size_t count = 0;
    char *end = NULL;

    for (;; words = end + 1) {
        double number = strtod(words, &end);
        if (end == words || count == 3 || !(number > 0.0 && number < 1e4))
            return 0;
        metres[count++] = number;
        if (*end != 'x' && *end != 'X')
            break;
    }
    for (size_t unit = 0; unit < sizeof units / sizeof *units; unit++) {
        if (strcmp(end, units[unit].name) != 0)
            continue;
        for (size_t i = 0; i < count; i++)
            metres[i] *= units[unit].metres;
        return count;
    }
    return 0;
}

static int nearest_by_litres(const struct rules *rules, double litres)
{
    int nearest = RULES_NONE;
    double least = INFINITY;

    for (size_t i = 0; i < rules->vessel_count; i++) {
        double apart = fabs(log(rules->vessels[i].litres / litres));
        if (apart < least) { /* never for a vessel without a brim volume: NAN */
            least = apart;
            nearest = (int)i;
        }
    }
    return nearest;
}

static bool quietly(const char *words, enum dimension dimension, double *value)
{
    struct quantity quantity;
    size_t used = 0, length = strlen(words);

    if (quantity_read(words, length, dimension, &quantity, &used) != QUANTITY_OK ||
        used != length || !quantity.unit_given || !(quantity.lo > 0.0))
        return false;
    *value = 0.5 * (quantity.lo + quantity.hi);
    return true;
}

static enum exit_status measured_vessel(struct app *app, const char *words, enum vessel_shape shape,
                                        struct known_vessel *vessel)
{
    double sides[3] = {NAN, NAN, NAN}, litres = NAN;
    size_t wanted = shape == SHAPE_CYLINDER ? 2 : 3;

    vessel->own_shape = shape;
    if (strchr(words, 'x') != NULL && read_sides(words, sides) == wanted) {
        if (shape == SHAPE_CYLINDER)
            sides[0] *= 0.5; /* the diameter is what one measures */
        memcpy(vessel->own, sides, sizeof sides);
        return EXIT_FINE;
    }
    if (quietly(words, DIM_GRAMS, &vessel->grams))
        vessel->kind = physics_nearest_vessel(app->rules, shape, vessel->grams);
    else if (shape == SHAPE_CYLINDER && quietly(words, DIM_LITRES, &litres))
        vessel->kind = nearest_by_litres(app->rules, litres);
    if (vessel->kind == RULES_NONE)
        return option_fault(app, "vessel", "'%s' is no size of a vessel; %s", words,
                            vessel_examples);
    return EXIT_FINE;
}

enum exit_status option_vessel(struct app *app, struct known_vessel *vessel)
{
    const char *word = arguments_value(&app->arguments, "vessel");
    const char *names[MOST_NAMES];
    size_t count = 0;
    enum exit_status fault = option_amount(app, "mass", DIM_GRAMS, &vessel->grams);
    double said = vessel->grams;

    if (fault != EXIT_FINE || word == NULL)
        return fault;
    if (strncmp(word, "bag:", 4) == 0)
        fault = measured_vessel(app, word + 4, SHAPE_BRICK, vessel);
    else if (strncmp(word, "jar:", 4) == 0)
        fault = measured_vessel(app, word + 4, SHAPE_CYLINDER, vessel);
    else if ((vessel->kind = rules_vessel(app->rules, word)) == RULES_NONE) {
        for (; count < app->rules->vessel_count && count < MOST_NAMES; count++)
            names[count] = app->rules->vessels[count].id;
        const char *near = diag_nearest(word, names, count);
        return near != NULL
                   ? option_fault(app, "vessel", "no '%s' in the rules; did you mean '%s'?", word,
                                  near)
                   : option_fault(app, "vessel", "'%s' is no vessel; %s", word, vessel_examples);
    }
    if (!isnan(said))
        vessel->grams = said;
    return fault;
}

/* ---- dates and logs -------------------------------------------------------------------------- */

enum exit_status option_date(struct app *app, const char *name, const char **date)
{
    int64_t day;
    const char *end = NULL;
    *date = arguments_value(&app->arguments, name);
    if (*date != NULL && ((end = day_read(*date, &day)) == NULL || *end != '\0'))
        return option_fault(app, name, "'%s' is no date; for instance 2025-03-31", *date);
    return EXIT_FINE;
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

enum exit_status read_log(struct app *app, const char *path,
                          bool (*reading)(void *context, double minutes, double celsius),
                          void *context)
{
    const char *unit = arguments_value(&app->arguments, "probe-unit");
    struct probe_options options = {path, PROBE_UNKNOWN};
    struct probe_sink sink = {context, reading};
    bool standard = strcmp(path, "-") == 0;

    if (unit != NULL && strcmp(unit, "C") != 0 && strcmp(unit, "F") != 0)
        return option_fault(app, "probe-unit", "'%s' is neither C nor F", unit);
    if (unit != NULL)
        options.unit = *unit == 'C' ? PROBE_CELSIUS : PROBE_FAHRENHEIT;
    FILE *file = standard ? stdin : fopen(path, "rb");
    if (file == NULL) {
        diags_error(app->diags, (struct position){path, 0, 0}, "cannot be opened: %s",
                    strerror(errno));
        return app_fail(app, STATUS_IO);
    }
    struct probe_reader *reader = probe_reader_new(&options, &sink, app->diags);
    enum status status = reader != NULL ? feed_log(file, reader, app->diags, path) : STATUS_MEMORY;
    probe_reader_free(reader);
    if (!standard)
        fclose(file);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
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

enum exit_status labels_find(struct app *app, enum record record, const char *label,
                             struct arena *arena, void *row)
{
    const char *found = label;
    int64_t id = 0;
    enum status status = labels_has(app, record, label, arena, &id, &found)
                             ? journal_get(app->journal, record, id, arena, row, app->diags)
                             : journal_find(app->journal, record, label, arena, row, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
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

static enum exit_status choose(struct choice *choice, const struct vessel *vessel)
{
    struct chosen *chosen = choice->chosen;
    for (size_t i = 0; i < chosen->count; i++)
        if (chosen->vessels[i].id == vessel->id)
            return EXIT_FINE;
    if (chosen->count == choice->room) {
        size_t room = choice->room == 0 ? 16 : 2 * choice->room;
        chosen->vessels =
            arena_grow(choice->arena, chosen->vessels, choice->room, room, sizeof *chosen->vessels);
        choice->room = room;
    }
    if (chosen->vessels == NULL)
        return app_fail(choice->app, STATUS_MEMORY);
    chosen->vessels[chosen->count++] = *vessel;
    return EXIT_FINE;
}

static enum exit_status choose_batch(struct choice *choice)
{
    struct app *app = choice->app;
    void *rows = NULL;
    size_t count = 0;
    enum status status = journal_all(app->journal, RECORD_VESSEL, "batch", choice->batch.id,
                                     choice->arena, &rows, &count, app->diags);
    enum exit_status fault = status == STATUS_OK ? EXIT_FINE : app_fail(app, status);

    choice->chosen->whole = true;
    for (size_t i = 0; i < count && fault == EXIT_FINE; i++)
        fault = choose(choice, (const struct vessel *)rows + i);
    return fault;
}

static enum exit_status close_batch(struct choice *choice)
{
    if (!choice->open)
        return EXIT_FINE;
    choice->open = false;
    return choose_batch(choice);
}

/* The vessel of that number in the batch at hand. Its label is that of the batch, a hyphen and the
 * number, unless somebody relabelled it. */
static enum exit_status choose_number(struct choice *choice, long number)
{
    struct app *app = choice->app;
    struct vessel vessel = {.id = 0};
    const char *label = arena_format(choice->arena, "%s-%ld", choice->batch.label, number);
    int64_t id = 0;
    bool found = false;

    if (label == NULL)
        return app_fail(app, STATUS_MEMORY);
    if (journal_has(app->journal, RECORD_VESSEL, label, &id)) {
        enum exit_status fault = labels_find(app, RECORD_VESSEL, label, choice->arena, &vessel);
        return fault == EXIT_FINE ? choose(choice, &vessel) : fault;
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
        return app_fail(app, status);
    return found ? choose(choice, &vessel)
                 : app_usage(app, "there is no vessel %ld in %s", number, choice->batch.label);
}

static enum exit_status choose_range(struct choice *choice, long from, long to)
{
    enum { MOST = 10000 };
    enum exit_status fault = EXIT_FINE;
    if (choice->batch.id == 0)
        return app_usage(choice->app, "%ld of which batch? For instance: B3 %ld", from, from);
    if (to < from || to - from > MOST)
        return app_usage(choice->app, "'%ld to %ld' is no range of vessels", from, to);
    choice->open = false;
    for (long number = from; number <= to && fault == EXIT_FINE; number++)
        fault = choose_number(choice, number);
    return fault;
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

static enum exit_status choose_vessel(struct choice *choice, const char *label)
{
    struct app *app = choice->app;
    struct vessel vessel;
    enum exit_status fault = labels_find(app, RECORD_VESSEL, label, choice->arena, &vessel);
    if (fault == EXIT_FINE)
        fault = choose(choice, &vessel);
    if (fault != EXIT_FINE)
        return fault;
    choice->open = false;
    enum status status = journal_get(app->journal, RECORD_BATCH, vessel.batch, choice->arena,
                                     &choice->batch, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

/* "B3-3..7" or "B3-3..B3-7": from the one to the other. */
static enum exit_status choose_span(struct choice *choice, const char *word, const char *dots)
{
    struct app *app = choice->app;
    const char *first = arena_copy(choice->arena, word, (size_t)(dots - word));
    const char *last = dots + 2;
    long from, to;

    if (first == NULL)
        return app_fail(app, STATUS_MEMORY);
    enum exit_status fault = choose_vessel(choice, first);
    if (fault != EXIT_FINE)
        return fault;
    from = (long)choice->chosen->vessels[choice->chosen->count - 1].number;
    if (!read_range(last, &to, &to)) {
        struct vessel vessel;
        fault = labels_find(app, RECORD_VESSEL, last, choice->arena, &vessel);
        if (fault == EXIT_FINE && vessel.batch != choice->batch.id)
            fault = app_usage(app, "'%s' begins and ends in different batches", word);
        if (fault != EXIT_FINE)
            return fault;
        to = (long)vessel.number;
    }
    return choose_range(choice, from, to);
}

static enum exit_status choose_word(struct choice *choice, const char *word)
{
    struct app *app = choice->app;
    const char *found = NULL, *dots = strstr(word, "..");
    int64_t id = 0;
    long from, to;

    if (labels_has(app, RECORD_VESSEL, word, choice->arena, &id, &found)) {
        enum exit_status fault = close_batch(choice);
        return fault == EXIT_FINE ? choose_vessel(choice, found) : fault;
    }
    if (labels_has(app, RECORD_BATCH, word, choice->arena, &id, &found)) {
        enum exit_status fault = close_batch(choice);
        if (fault == EXIT_FINE)
            fault = labels_find(app, RECORD_BATCH, found, choice->arena, &choice->batch);
        choice->open = fault == EXIT_FINE;
        return fault;
    }
    if (read_range(word, &from, &to))
        return choose_range(choice, from, to);
    if (dots != NULL && dots != word)
        return choose_span(choice, word, dots);
    return choose_vessel(choice, word); /* which says what is wrong with it */
}

enum exit_status labels_vessels(struct app *app, const char *const *words, size_t count,
                                struct arena *arena, struct chosen *chosen)
{
    struct choice choice = {.app = app, .arena = arena, .chosen = chosen};
    enum exit_status fault = EXIT_FINE;

    *chosen = (struct chosen){NULL, 0, false};
    for (size_t i = 0; i < count && fault == EXIT_FINE; i++) {
        char *rest = arena_string(arena, words[i]);
        if (rest == NULL)
            return app_fail(app, STATUS_MEMORY);
        while (rest != NULL && fault == EXIT_FINE) {
            char *comma = strchr(rest, ',');
            if (comma != NULL)
                *comma = '\0';
            if (*rest != '\0')
                fault = choose_word(&choice, rest);
            rest = comma != NULL ? comma + 1 : NULL;
        }
    }
    if (fault == EXIT_FINE)
        fault = close_batch(&choice);
    if (fault == EXIT_FINE && chosen->count == 0)
        fault = app_usage(app, "which vessel? Give its label, for instance B3-7");
    return fault;
}

/* ==== assign ================================================================================== */

/* ---- words of the rules ---------------------------------------------------------------------- */

enum { ASSIGN_MOST_NAMES = 256 };

struct names { /* ids, and what people call them */
    const char *ids[ASSIGN_MOST_NAMES];
    const char *names[ASSIGN_MOST_NAMES];
    size_t count;
};

static void name(struct names *names, const char *id, const char *called)
{
    if (names->count < ASSIGN_MOST_NAMES) {
        names->ids[names->count] = id;
        names->names[names->count++] = called;
    }
}

static enum exit_status read_word(struct app *app, const struct column *column, const char *typed,
                                  const char **value)
{
    struct list_word word;
    struct names names = {.count = 0};
    *value = "";
    if (typed[0] == '\0' || strcasecmp(typed, "unknown") == 0)
        return EXIT_FINE;
    for (size_t i = 0; (word = list_word(app->rules, column->list, i)).id != NULL; i++)
        name(&names, word.id, word.name);
    for (size_t i = 0; i < names.count; i++)
        if (strcasecmp(typed, names.ids[i]) == 0 || strcasecmp(typed, names.names[i]) == 0) {
            *value = names.ids[i];
            return EXIT_FINE;
        }
    const char *near = diag_nearest(typed, names.ids, names.count);
    if (near == NULL)
        near = names.count > 0 ? names.ids[0] : "unknown";
    return app_usage(app, "no %s '%s' in the rules; for instance '%s'", column->name, typed, near);
}

/* ---- numbers and moments --------------------------------------------------------------------- */

/* A bare number is in the unit the journal keeps; with a unit it is converted. */
static enum exit_status read_number(struct app *app, const struct column *column, const char *typed,
                                    struct arena *arena, const char **value)
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

static enum exit_status read_value(struct app *app, const struct column *column, const char *typed,
                                   struct arena *arena, const char **value)
{
    *value = typed;
    if (column->kind == COLUMN_MOMENT)
        return read_moment(app, column->name, typed, arena, value);
    if (column->list != LIST_NONE)
        return read_word(app, column, typed, value);
    if (column->dimension != DIM_NONE && typed[0] != '\0')
        return read_number(app, column, typed, arena, value);
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
    size_t found[ASSIGN_MOST_NAMES]; /* all that are as like as the best */
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
    const char *others[ASSIGN_MOST_NAMES];
    struct names names = {.count = 0};
    for (size_t i = 0; i < rules->finding_count && i < ASSIGN_MOST_NAMES; i++) {
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
