/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/options.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/dates.h"
#include "base/text.h"
#include "cli/app.h"
#include "triage/physics.h"

static const struct position nowhere = {0};

const struct option *option_find(const struct option *table, const char *word)
{
    bool dashes = strncmp(word, "--", 2) == 0;
    size_t length = dashes ? strcspn(word + 2, "=") : 0;
    for (; table != NULL && table->name != NULL; table++)
        if (dashes
                ? strlen(table->name) == length && strncmp(table->name, word + 2, length) == 0
                : word[0] == '-' && word[1] != '\0' && word[1] == table->letter && word[2] == '\0')
            return table;
    return NULL;
}

static enum status unknown(const struct option *own, const struct option *common, const char *word,
                           struct diags *diags)
{
    const struct option *both[] = {own, common};
    const char *names[64];
    size_t count = 0;
    for (size_t t = 0; t < 2; t++)
        for (const struct option *o = both[t]; o != NULL && o->name != NULL && count < 64; o++)
            names[count++] = o->name;
    const char *near = diag_nearest(word + strspn(word, "-"), names, count);
    if (near != NULL)
        diags_error(diags, nowhere, "unknown option '%s'; did you mean '--%s'?", word, near);
    else
        diags_error(diags, nowhere, "unknown option '%s'; --help lists them", word);
    return STATUS_USAGE;
}

/* One option at argv[*at]; moves *at to its value if that stands apart. */
static enum status read_option(struct arguments *arguments, int argc, char **argv, int *at,
                               const struct option *own, const struct option *common,
                               struct diags *diags)
{
    const char *word = argv[*at];
    const char *equals = strchr(word, '=');
    const struct option *option = option_find(own, word);
    if (option == NULL)
        option = option_find(common, word);
    if (option == NULL)
        return unknown(own, common, word, diags);

    const char *value = equals != NULL ? equals + 1 : NULL;
    if (option->argument == NULL && value != NULL) {
        diags_error(diags, nowhere, "'--%s' takes no value", option->name);
        return STATUS_USAGE;
    }
    if (option->argument != NULL && value == NULL) {
        if (*at + 1 >= argc) {
            diags_error(diags, nowhere, "'--%s' needs a value: %s", option->name, option->argument);
            return STATUS_USAGE;
        }
        value = argv[++*at];
    }
    arguments->given[arguments->given_count++] = (struct option_given){option, value};
    return STATUS_OK;
}

enum status arguments_read(struct arguments *arguments, int argc, char **argv,
                           const struct option *own, const struct option *common,
                           struct diags *diags)
{
    size_t room = argc > 0 ? (size_t)argc : 1;
    memset(arguments, 0, sizeof *arguments);
    arguments->given = calloc(room, sizeof *arguments->given);
    arguments->operands = calloc(room, sizeof *arguments->operands);
    arguments->texts = calloc(room, sizeof *arguments->texts);
    bool only_operands = false;
    for (int i = 0; i < argc; i++) {
        const char *word = argv[i];
        if (only_operands || word[0] != '-' || word[1] == '\0') {
            arguments->operands[arguments->operand_count++] = word;
        } else if (strcmp(word, "--") == 0) {
            only_operands = true;
        } else {
            enum status status = read_option(arguments, argc, argv, &i, own, common, diags);
            if (status != STATUS_OK)
                return status;
        }
    }
    return STATUS_OK;
}

void arguments_release(struct arguments *arguments)
{
    free(arguments->given);
    free(arguments->operands);
    free(arguments->texts);
    memset(arguments, 0, sizeof *arguments);
}

/* ---- numbers and quantities ------------------------------------------------------------------ */

static double read_number(struct app *app, const struct option *option, const char *word)
{
    double high = option->high != 0.0 ? option->high : INFINITY;
    char *end = NULL;
    double number = strtod(word, &end);
    bool whole = option->kind != OPTION_COUNT || word[strspn(word, "+-0123456789")] == '\0';
    if (end != word && *end == '\0' && whole && number >= option->low && number <= high)
        return number;
    const char *what = option->kind == OPTION_COUNT ? "whole number" : "number";
    if (isinf(high))
        app_stop(app, "not a %s: '--%s %s'; it can be %g or more", what, option->name, word,
                 option->low);
    app_stop(app, "not a %s from %g to %.15g: '--%s %s'", what, option->low, high, option->name,
             word);
}

/* A bare number is accepted where no two units are in use and a guess would not be off by far. */
static const struct {
    const char *examples;
    bool needs_unit;
    const char *setting; /* that says the unit of a bare number */
} dimensions[DIM_COUNT] = {
    [DIM_CELSIUS] = {"22C or 72F", true, "temperature"},
    [DIM_GAUGE_KPA] = {"14psi, 1bar or 97kPa", true, "pressure"},
    [DIM_PRESSURE_KPA] = {"1013hPa, 29.9inHg or 101kPa", true, NULL},
    [DIM_METRES] = {"700m or 2300ft", true, NULL},
    [DIM_GRAMS] = {"700g, 2.2kg or 4lb", true, "weight"},
    [DIM_LITRES] = {"3ml, 1l or 1pint", true, NULL},
    [DIM_MINUTES] = {"95 or 1h35", false, NULL},
    [DIM_DAYS] = {"12 or 2 weeks", false, NULL},
    [DIM_PERCENT] = {"40%", false, NULL},
    [DIM_NONE] = {"2.5", false, NULL},
};

const char *option_unit(struct app *app, enum dimension dimension)
{
    const char *setting = dimensions[dimension].setting;
    return setting != NULL ? config_word(app, setting) : NULL;
}

double option_measure(struct app *app, const char *name, const char *words, enum option_kind kind,
                      enum dimension dimension)
{
    const char *examples = dimensions[dimension].examples;
    struct quantity quantity;
    struct text folded;
    size_t used = 0;

    text_init(&folded);
    enum quantity_error error =
        text_fold(&folded, words, strlen(words), NULL)
            ? quantity_read(folded.bytes, folded.length, dimension, &quantity, &used)
            : QUANTITY_NO_NUMBER;
    bool whole = error == QUANTITY_OK && used == folded.length;
    text_release(&folded);
    if (error == QUANTITY_NO_NUMBER)
        app_wrong(app, name, "not a quantity: '%s'; for instance %s", words, examples);
    if (!whole)
        app_wrong(app, name, "only part of '%s' makes sense; for instance %s", words, examples);
    const char *unit = option_unit(app, dimension);
    if (!quantity.unit_given && unit != NULL)
        return option_measure(app, name, arena_format(app->arena, "%s %s", words, unit), kind,
                              dimension);
    if (!quantity.unit_given && dimensions[dimension].needs_unit &&
        (quantity.lo != 0.0 || dimension == DIM_CELSIUS))
        app_wrong(app, name, "'%s' has no unit; for instance %s", words, examples);
    double value = 0.5 * (quantity.lo + quantity.hi);
    if (kind == OPTION_AMOUNT && value < 0.0)
        app_wrong(app, name, "'%s' is negative; it can be 0 or more", words);
    return value;
}

/* ---- words ----------------------------------------------------------------------------------- */

enum { LIST_MOST_WORDS = 256 };

static size_t list_ids(const struct rules *rules, enum word_list list, const char **ids)
{
    size_t count = 0;
    while (count < LIST_MOST_WORDS && (ids[count] = list_word(rules, list, count).id) != NULL)
        count++;
    return count;
}

int option_id(struct app *app, const char *name, const char *word, enum word_list list)
{
    const char *ids[LIST_MOST_WORDS];
    size_t count = list_ids(app->rules, list, ids);
    for (size_t i = 0; i < count; i++)
        if (strcmp(ids[i], word) == 0)
            return (int)i;
    bool shown = list == LIST_SPECIES || list == LIST_GRAINS || count == 0; /* by 'show' */
    app_unknown(app, name, name, word, ids, count,
                shown ? "'jarside show' lists what there is"
                      : arena_format(app->arena, "did you mean '%s'?", ids[0]));
}

const char *option_words(struct app *app, const char *const *words, size_t count,
                         const char *separator)
{
    const char *all = count > 0 ? words[0] : "";
    for (size_t i = 1; i < count; i++)
        all = arena_format(app->arena, "%s%s%s", all, separator, words[i]);
    return all;
}

static int read_choice(struct app *app, const struct option *option, const char *word)
{
    size_t count = 0;
    for (; option->words[count] != NULL; count++)
        if (strcasecmp(option->words[count], word) == 0)
            return (int)count;
    app_unknown(app, NULL, option->name, word, option->words, count,
                arena_format(app->arena, "it can be %s or %s",
                             option_words(app, option->words, count - 1, ", "),
                             option->words[count - 1]));
}

static enum record read_table(struct app *app, const char *name)
{
    const char *names[RECORD_COUNT];
    for (int i = 0; i < RECORD_COUNT; i++) {
        names[i] = record_types[i].name;
        if (strcmp(names[i], name) == 0)
            return (enum record)i;
    }
    app_unknown(
        app, NULL, "table", name, names, RECORD_COUNT,
        arena_format(app->arena, "there are: %s", option_words(app, names, RECORD_COUNT, " ")));
}

/* ---- times ----------------------------------------------------------------------------------- */

/* A clock a little behind that of another machine makes no moment of today an error. */
enum { CLOCK_SLACK = 24 * 60 * 60 };

static struct moment read_moment(struct app *app, const char *name, const char *said)
{
    struct moment now = moment_now(), moment;
    if (!moment_read(said, now, &moment))
        app_stop(app,
                 "not a date I can read: '--%s %s'; write 2026-03-01 18:30, 2026-03-01, 18:30, "
                 "yesterday or '3 days ago'",
                 name, said);
    if (moment.seconds > now.seconds + CLOCK_SLACK)
        app_stop(app, "'--%s %s' is in the future", name, said);
    return moment;
}

/* What moment_read knows; and tomorrow, when nothing has happened yet. */
static int64_t read_day(struct app *app, const char *name, const char *said)
{
    struct moment moment = moment_now();
    bool tomorrow = strcmp(said, "tomorrow") == 0;
    if (!tomorrow && !moment_read(said, moment, &moment))
        app_stop(app, "not a date I can read: '--%s %s'; write 2026-03-01, yesterday or tomorrow",
                 name, said);
    return moment_day(moment) + tomorrow;
}

static int read_clock(struct app *app, const char *name, const char *said)
{
    int minutes = 0;
    bool right = strlen(said) == 5 && said[2] == ':';
    for (size_t i = 0; i < 5 && right; i++)
        right = i == 2 || isdigit((unsigned char)said[i]);
    if (right)
        minutes =
            60 * (10 * (said[0] - '0') + said[1] - '0') + 10 * (said[3] - '0') + said[4] - '0';
    if (!right || minutes >= 24 * 60 || said[3] > '5')
        app_stop(app, "not a time of day: '--%s %s'; write 09:00", name, said);
    return minutes;
}

/* ---- vessels --------------------------------------------------------------------------------- */

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

static bool measured(const char *words, enum dimension dimension, double *value)
{
    struct quantity quantity;
    size_t used = 0, length = strlen(words);

    if (quantity_read(words, length, dimension, &quantity, &used) != QUANTITY_OK ||
        used != length || !quantity.unit_given || !(quantity.lo > 0.0))
        return false;
    *value = 0.5 * (quantity.lo + quantity.hi);
    return true;
}

/*
 * An id; bag:2.2kg or jar:500g (the nearest kind, filled so); jar:1litre (by volume);
 * bag:20x12x8cm or jar:9x12cm (diameter and height of the filled grain).
 */
static void read_vessel(struct app *app, const char *name, const char *word,
                        struct known_vessel *vessel)
{
    static const char examples[] =
        "an id from 'jarside show', bag:2.2kg, jar:1litre, bag:20x12x8cm or jar:9x12cm";
    double sides[3] = {NAN, NAN, NAN}, litres = NAN;
    bool bag = strncmp(word, "bag:", 4) == 0, jar = strncmp(word, "jar:", 4) == 0;
    const char *size = word + 4;

    if (!bag && !jar) {
        const char *ids[LIST_MOST_WORDS];
        size_t count = list_ids(app->rules, LIST_VESSELS, ids);
        if ((vessel->kind = rules_vessel(app->rules, word)) != RULES_NONE)
            return;
        app_unknown(app, name, "vessel", word, ids, count,
                    arena_format(app->arena, "it can be %s", examples));
    }
    vessel->own_shape = bag ? SHAPE_BRICK : SHAPE_CYLINDER;
    if (strchr(size, 'x') != NULL && read_sides(size, sides) == (bag ? 3 : 2)) {
        if (jar)
            sides[0] *= 0.5; /* the diameter is what one measures */
        memcpy(vessel->own, sides, sizeof sides);
        return;
    }
    if (measured(size, DIM_GRAMS, &vessel->grams))
        vessel->kind = physics_nearest_vessel(app->rules, vessel->own_shape, vessel->grams);
    else if (jar && measured(size, DIM_LITRES, &litres))
        vessel->kind = nearest_by_litres(app->rules, litres);
    if (vessel->kind == RULES_NONE)
        app_wrong(app, name, "not the size of a vessel: '%s'; it can be %s", size, examples);
}

/* ---- filling --------------------------------------------------------------------------------- */

void option_read(struct app *app, const struct option *option, const char *word, void *target)
{
    const char *name = option->name, *end = NULL;
    int64_t day = 0;
    double number;

    switch (option->kind) {
    case OPTION_FLAG:
        *(bool *)target = true;
        break;
    case OPTION_TEXT:
        *(const char **)target = word;
        break;
    case OPTION_TEXTS:
        break;
    case OPTION_COUNT:
        number = read_number(app, option, word);
        *(size_t *)target = number < (double)SIZE_MAX ? (size_t)number : SIZE_MAX;
        break;
    case OPTION_NUMBER:
        *(double *)target = read_number(app, option, word);
        break;
    case OPTION_QUANTITY:
    case OPTION_AMOUNT:
        *(double *)target = option_measure(app, name, word, option->kind, option->dimension);
        break;
    case OPTION_DATE:
        *(const char **)target = word;
        if ((end = day_read(word, &day)) == NULL || *end != '\0')
            app_wrong(app, name, "not a date I can read: '%s'; for instance 2025-03-31", word);
        break;
    case OPTION_DAY:
        *(int64_t *)target = read_day(app, name, word);
        break;
    case OPTION_MOMENT:
        *(struct moment *)target = read_moment(app, name, word);
        break;
    case OPTION_CLOCK:
        *(int *)target = read_clock(app, name, word);
        break;
    case OPTION_CHOICE:
        *(int *)target = read_choice(app, option, word);
        break;
    case OPTION_ID:
        *(int *)target = option_id(app, name, word, option->list);
        break;
    case OPTION_VESSEL:
        read_vessel(app, name, word, target);
        break;
    case OPTION_TABLE:
        *(enum record *)target = read_table(app, word);
        break;
    }
}

void options_fill_from(struct app *app, const struct option *table, void *target)
{
    struct arguments *arguments = &app->arguments;

    for (const struct option *row = table; row != NULL && row->name != NULL; row++) {
        char *place = (char *)target + row->target;
        struct texts texts = {arguments->texts + arguments->text_count, 0};
        const struct option_given *last = NULL;
        if (row->kind == OPTION_MOMENT)
            *(struct moment *)(void *)place = moment_now();
        for (size_t i = 0; i < arguments->given_count; i++)
            if (arguments->given[i].option == row) {
                last = &arguments->given[i];
                if (row->kind == OPTION_TEXTS)
                    texts.words[texts.count++] = last->value;
            }
        arguments->text_count += texts.count;
        if (row->kind == OPTION_TEXTS)
            *(struct texts *)(void *)place = texts;
        else if (last != NULL)
            option_read(app, row, last->value, place);
        else if (row->settled && config_word(app, row->name) != NULL)
            option_read(app, row, config_word(app, row->name), place);
    }
}

void options_fill(struct app *app, void *target)
{
    options_fill_from(app, app->command->options, target);
}
