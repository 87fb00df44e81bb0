/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/measure.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "process/probe.h"
#include "voice/plan.h"

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
    enum text_fold_result fold = text_fold(&folded, words, strlen(words), NULL);
    if (fold == TEXT_FOLD_MEMORY) {
        text_release(&folded);
        return app_fail(app, STATUS_MEMORY);
    }
    const char *bytes = folded.bytes != NULL ? folded.bytes : "";
    enum quantity_fault fault =
        fold == TEXT_FOLD_OK ? quantity_read(bytes, folded.length, dimension, &quantity, &used)
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
    struct tm read;

    *date = arguments_value(&app->arguments, name);
    if (*date != NULL && !voice_date_read(*date, &read))
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
