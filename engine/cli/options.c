/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/options.h"

#include <ctype.h>
#include <errno.h>
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

struct tables {
    const struct option *own, *common;
};

static const struct option *find_in(const struct option *table, const char *name, size_t length)
{
    for (; table != NULL && table->name != NULL; table++)
        if (strlen(table->name) == length && strncmp(table->name, name, length) == 0)
            return table;
    return NULL;
}

static const char *nearest(const struct tables *tables, const char *name)
{
    const char *names[64];
    size_t count = 0;
    const struct option *both[] = {tables->own, tables->common};
    for (size_t t = 0; t < 2; t++)
        for (const struct option *o = both[t]; o != NULL && o->name != NULL && count < 64; o++)
            names[count++] = o->name;
    return diag_nearest(name, names, count);
}

static enum status unknown(const struct tables *tables, const char *word, struct diags *diags)
{
    const char *near = nearest(tables, word + strspn(word, "-"));
    if (near != NULL)
        diags_error(diags, nowhere, "unknown option '%s'; did you mean '--%s'?", word, near);
    else
        diags_error(diags, nowhere, "unknown option '%s'; --help lists them", word);
    return STATUS_USAGE;
}

/* One option at argv[*at]; moves *at to its value if that stands apart. */
static enum status read_option(struct arguments *arguments, int argc, char **argv, int *at,
                               const struct tables *tables, struct diags *diags)
{
    const char *word = argv[*at];
    const char *name = strcmp(word, "-h") == 0 ? "help" : word + 2;
    const char *equals = strchr(name, '=');
    size_t length = equals != NULL ? (size_t)(equals - name) : strlen(name);
    const struct option *option = find_in(tables->own, name, length);
    if (option == NULL)
        option = find_in(tables->common, name, length);
    if (option == NULL || (word[1] != '-' && strcmp(word, "-h") != 0))
        return unknown(tables, word, diags);

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
    const struct tables tables = {own, common};
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
            enum status status = read_option(arguments, argc, argv, &i, &tables, diags);
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

bool arguments_flag(const struct arguments *arguments, const char *name)
{
    for (size_t i = 0; i < arguments->given_count; i++)
        if (strcmp(arguments->given[i].option->name, name) == 0)
            return true;
    return false;
}

const char *arguments_value(const struct arguments *arguments, const char *name)
{
    for (size_t i = arguments->given_count; i > 0; i--)
        if (strcmp(arguments->given[i - 1].option->name, name) == 0)
            return arguments->given[i - 1].value;
    return NULL;
}

/* ---- numbers and quantities ------------------------------------------------------------------ */

/* What is wrong with the value of an option. */
#define WRONG(app, name, ...)                                                                      \
    app_error(app, STATUS_DATA, option_place(name, (char[64]){0}), __VA_ARGS__)

static const char *option_place(const char *name, char place[64])
{
    snprintf(place, 64, "--%s", name);
    return place;
}

static enum status read_number(struct app *app, const struct option *option, const char *word,
                               double *number)
{
    double high = option->high != 0.0 ? option->high : INFINITY;
    char *end = NULL;
    double read = strtod(word, &end);
    bool whole = option->kind != OPTION_COUNT || word[strspn(word, "+-0123456789")] == '\0';
    if (end != word && *end == '\0' && whole && read >= option->low && read <= high) {
        *number = read;
        return STATUS_OK;
    }
    if (isinf(high))
        return app_usage(app, "'--%s %s' is no number from %g on", option->name, word, option->low);
    return app_usage(app, "'--%s %s' is no number from %g to %.15g", option->name, word,
                     option->low, high);
}

/* A bare number is accepted where no two units are in use and a guess would not be off by far. */
static const struct {
    const char *examples;
    bool needs_unit;
} dimensions[DIM_COUNT] = {
    [DIM_CELSIUS] = {"24C or 75F", true},
    [DIM_GAUGE_KPA] = {"15psi, 1bar or 103kPa", true},
    [DIM_PRESSURE_KPA] = {"1013hPa, 29.9inHg or 101kPa", true},
    [DIM_METRES] = {"1500m or 5000ft", true},
    [DIM_GRAMS] = {"885g, 1.4kg or 3lb", true},
    [DIM_LITRES] = {"4ml, 1l or 1quart", true},
    [DIM_MINUTES] = {"90 or 2h30", false},
    [DIM_DAYS] = {"12 or 2 weeks", false},
    [DIM_PERCENT] = {"40%", false},
    [DIM_NONE] = {"a number", false},
};

static enum status read_quantity(struct app *app, const char *name, const char *words,
                                 enum dimension dimension, double *value)
{
    const char *examples = dimensions[dimension].examples;
    struct quantity quantity;
    struct text folded;
    size_t used = 0;

    text_init(&folded);
    bool text = text_fold(&folded, words, strlen(words), NULL);
    enum quantity_error fault = text ? quantity_read(folded.bytes != NULL ? folded.bytes : "",
                                                     folded.length, dimension, &quantity, &used)
                                     : QUANTITY_NO_NUMBER;
    bool whole = fault == QUANTITY_OK && used == folded.length;
    text_release(&folded);
    if (fault == QUANTITY_NO_NUMBER)
        return WRONG(app, name, "'%s' is no quantity; for instance %s", words,
                     examples != NULL ? examples : "a number");
    if (!whole)
        return WRONG(app, name, "'%s' is not understood as a whole; for instance %s", words,
                     examples);
    if (!quantity.unit_given && dimensions[dimension].needs_unit &&
        (quantity.lo != 0.0 || dimension == DIM_CELSIUS))
        return WRONG(app, name, "'%s' has no unit; for instance %s", words, examples);
    *value = 0.5 * (quantity.lo + quantity.hi);
    return STATUS_OK;
}

enum status option_measure(struct app *app, const char *name, const char *words,
                           enum option_kind kind, enum dimension dimension, double *value)
{
    double read = NAN;
    enum status status = read_quantity(app, name, words, dimension, &read);
    if (status != STATUS_OK)
        return status;
    if (kind == OPTION_AMOUNT && read < 0.0)
        return WRONG(app, name, "'%s' is negative; from 0 on", words);
    *value = read;
    return STATUS_OK;
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

enum status option_id(struct app *app, const char *name, const char *word, enum word_list list,
                      int *index)
{
    const char *ids[LIST_MOST_WORDS];
    size_t count = list_ids(app->rules, list, ids);
    for (size_t i = 0; i < count; i++)
        if (strcmp(ids[i], word) == 0) {
            *index = (int)i;
            return STATUS_OK;
        }
    const char *near = diag_nearest(word, ids, count);
    if (list != LIST_SPECIES && list != LIST_GRAINS && count > 0) /* which show does not list */
        return WRONG(app, name, "no %s '%s'; did you mean '%s'?", name, word,
                     near != NULL ? near : ids[0]);
    if (near != NULL)
        return WRONG(app, name, "no '%s' in the rules; did you mean '%s'?", word, near);
    return WRONG(app, name, "no '%s' in the rules; 'jarside show' lists what there is", word);
}

static enum status read_choice(struct app *app, const struct option *option, const char *word,
                               int *index)
{
    size_t count = 0;
    for (; option->words[count] != NULL; count++)
        if (strcasecmp(option->words[count], word) == 0) {
            *index = (int)count;
            return STATUS_OK;
        }
    const char *near = diag_nearest(word, option->words, count);
    if (near != NULL)
        return app_usage(app, "no %s '%s'; did you mean '%s'?", option->name, word, near);
    struct text all;
    text_init(&all);
    for (size_t i = 0; i < count; i++)
        text_printf(&all, "%s%s", i == 0 ? "" : i + 1 < count ? ", " : " or ", option->words[i]);
    enum status status = app_usage(app, "'--%s %s' should be %s", option->name, word, all.bytes);
    text_release(&all);
    return status;
}

static enum status read_table(struct app *app, const char *name, enum record *record)
{
    const char *names[RECORD_COUNT];
    for (int i = 0; i < RECORD_COUNT; i++) {
        names[i] = record_types[i].name;
        if (strcmp(names[i], name) == 0) {
            *record = (enum record)i;
            return STATUS_OK;
        }
    }
    const char *near = diag_nearest(name, names, RECORD_COUNT);
    if (near != NULL)
        return app_usage(app, "no table '%s'; did you mean '%s'?", name, near);
    struct text all;
    text_init(&all);
    for (int i = 0; i < RECORD_COUNT; i++)
        text_printf(&all, "%s%s", i > 0 ? " " : "", names[i]);
    enum status status = app_usage(app, "no table '%s'; there are: %s", name, all.bytes);
    text_release(&all);
    return status;
}

/* ---- times ----------------------------------------------------------------------------------- */

/* A clock a little behind that of another machine makes no moment of today a fault. */
enum { CLOCK_SLACK = 24 * 60 * 60 };

static enum status read_moment(struct app *app, const char *name, const char *said,
                               struct moment *moment)
{
    struct moment now = moment_now();
    if (!moment_read(said, now, moment))
        return app_usage(app,
                         "'--%s %s' is no moment; write 2026-03-01 18:30, 2026-03-01, 18:30, "
                         "yesterday or '3 days ago'",
                         name, said);
    if (moment->seconds > now.seconds + CLOCK_SLACK)
        return app_usage(app, "'--%s %s' lies in the future", name, said);
    return STATUS_OK;
}

/* What moment_read knows; and tomorrow, which is no moment that anything happened at. */
static enum status read_day(struct app *app, const char *name, const char *said, int64_t *day)
{
    struct moment moment = moment_now();
    bool tomorrow = strcmp(said, "tomorrow") == 0;
    if (!tomorrow && !moment_read(said, moment, &moment))
        return app_usage(app, "'--%s %s' is no day; write 2026-03-01, yesterday or tomorrow", name,
                         said);
    *day = moment_day(moment) + tomorrow;
    return STATUS_OK;
}

static enum status read_clock(struct app *app, const char *name, const char *said, int *minutes)
{
    unsigned hour = 24, minute = 60;
    int used = 0;
    if (strlen(said) != 5 || !isdigit((unsigned char)said[0]) || !isdigit((unsigned char)said[3]) ||
        sscanf(said, "%2u:%2u%n", &hour, &minute, &used) != 2 || used != 5 || hour > 23 ||
        minute > 59)
        return app_usage(app, "'--%s %s' is no time of the day; write 09:00", name, said);
    *minutes = (int)(hour * 60 + minute);
    return STATUS_OK;
}

/* ---- vessels --------------------------------------------------------------------------------- */

/*
 * An id; bag:1.36kg or jar:500g (the nearest kind, filled so); jar:1quart (by volume);
 * bag:20x12x8cm or jar:9x12cm (diameter and height of the filled grain).
 */
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

static enum status read_vessel(struct app *app, const char *name, const char *word,
                               struct known_vessel *vessel)
{
    double sides[3] = {NAN, NAN, NAN}, litres = NAN;
    bool bag = strncmp(word, "bag:", 4) == 0, jar = strncmp(word, "jar:", 4) == 0;
    const char *size = word + 4;

    if (!bag && !jar) {
        const char *ids[LIST_MOST_WORDS];
        size_t count = list_ids(app->rules, LIST_VESSELS, ids);
        const char *near = diag_nearest(word, ids, count);
        if ((vessel->kind = rules_vessel(app->rules, word)) != RULES_NONE)
            return STATUS_OK;
        if (near != NULL)
            return WRONG(app, name, "no '%s' in the rules; did you mean '%s'?", word, near);
        return WRONG(app, name, "'%s' is no vessel; %s", word, vessel_examples);
    }
    vessel->own_shape = bag ? SHAPE_BRICK : SHAPE_CYLINDER;
    if (strchr(size, 'x') != NULL && read_sides(size, sides) == (bag ? 3 : 2)) {
        if (jar)
            sides[0] *= 0.5; /* the diameter is what one measures */
        memcpy(vessel->own, sides, sizeof sides);
        return STATUS_OK;
    }
    if (measured(size, DIM_GRAMS, &vessel->grams))
        vessel->kind = physics_nearest_vessel(app->rules, vessel->own_shape, vessel->grams);
    else if (jar && measured(size, DIM_LITRES, &litres))
        vessel->kind = nearest_by_litres(app->rules, litres);
    if (vessel->kind == RULES_NONE)
        return WRONG(app, name, "'%s' is no size of a vessel; %s", size, vessel_examples);
    return STATUS_OK;
}

/* ---- filling --------------------------------------------------------------------------------- */

enum status option_read(struct app *app, const struct option *option, const char *word,
                        void *target)
{
    const char *end = NULL;
    int64_t day = 0;
    double number = 0.0;
    enum status status = STATUS_OK;

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
        status = read_number(app, option, word, &number);
        if (status == STATUS_OK)
            *(size_t *)target = number < (double)SIZE_MAX ? (size_t)number : SIZE_MAX;
        break;
    case OPTION_NUMBER:
        status = read_number(app, option, word, target);
        break;
    case OPTION_QUANTITY:
    case OPTION_AMOUNT:
        status = option_measure(app, option->name, word, option->kind, option->dimension, target);
        break;
    case OPTION_DATE:
        *(const char **)target = word;
        if ((end = day_read(word, &day)) == NULL || *end != '\0')
            status = WRONG(app, option->name, "'%s' is no date; for instance 2025-03-31", word);
        break;
    case OPTION_DAY:
        status = read_day(app, option->name, word, target);
        break;
    case OPTION_MOMENT:
        status = read_moment(app, option->name, word, target);
        break;
    case OPTION_CLOCK:
        status = read_clock(app, option->name, word, target);
        break;
    case OPTION_CHOICE:
        status = read_choice(app, option, word, target);
        break;
    case OPTION_ID:
        status = option_id(app, option->name, word, option->list, target);
        break;
    case OPTION_VESSEL:
        status = read_vessel(app, option->name, word, target);
        break;
    case OPTION_TABLE:
        status = read_table(app, word, target);
        break;
    }
    return status;
}

enum status options_fill_from(struct app *app, const struct option *table, void *target)
{
    struct arguments *arguments = &app->arguments;
    enum status status = STATUS_OK;

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
        else if (last != NULL && (status = option_read(app, row, last->value, place)) != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

enum status options_fill(struct app *app, void *target)
{
    return options_fill_from(app, app->command->options, target);
}
