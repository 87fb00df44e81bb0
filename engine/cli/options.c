/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What options and settings say, checked: each is a row of a table (app.h). */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "base/dates.h"
#include "base/text.h"
#include "cli/app.h"
#include "rules/rules.h"
#include "triage/physics.h"

/* ---- words ----------------------------------------------------------------------------------- */

void names_of(struct app *app, enum word_list list, struct names *names)
{
    for (names->count = 0; names->count < MOST_NAMES; names->count++) {
        const struct list_word word = list_word(app->rules, list, names->count);
        if (word.id == NULL)
            break;
        names->ids[names->count] = word.id;
        names->names[names->count] = word.name;
        names->also[names->count] =
            list == LIST_FINDINGS ? app->rules->findings[names->count].also : NULL;
    }
}

const char *words_joined(struct app *app, const char *const *words, size_t count,
                         const char *separator, size_t most)
{
    const char *all = "";
    for (size_t i = 0; i < count && i < most; i++)
        words_add(app, &all, separator, "%s", words[i]);
    return all;
}

const char *reading_figure(struct app *app, const struct reading *reading, enum dimension dimension)
{
    return arena_format(app->arena, "%.10g%s", 0.5 * (reading->number.lo + reading->number.hi),
                        dimension_units[dimension]);
}

int option_id(struct app *app, const char *name, const char *word, enum word_list list)
{
    struct names names;
    names_of(app, list, &names);
    for (size_t i = 0; i < names.count; i++)
        if (strcmp(names.ids[i], word) == 0)
            return (int)i;
    bool shown = list == LIST_SPECIES || list == LIST_GRAINS || names.count == 0; /* by 'show' */
    app_unknown(app, name, name, word, names.ids, names.count,
                shown ? "'jarside show' lists what there is"
                      : arena_format(app->arena, "did you mean '%s'?", names.ids[0]));
}

static int read_choice(struct app *app, const struct option *option, const char *word)
{
    size_t count = 0;
    for (; option->words[count] != NULL; count++)
        if (strcasecmp(option->words[count], word) == 0)
            return (int)count;
    app_unknown(app, NULL, option->name, word, option->words, count,
                arena_format(app->arena, "it can be %s or %s",
                             words_joined(app, option->words, count, ", ", count - 1),
                             option->words[count - 1]));
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

bool is_quantity(const char *words, unsigned which, bool whole)
{
    struct quantity quantity;
    bool all;
    for (unsigned d = 0; d < DIM_COUNT; d++)
        if ((which >> d & 1) != 0 &&
            quantity_of(words, (enum dimension)d, &quantity, &all) == QUANTITY_OK &&
            quantity.unit_given && (!whole || all))
            return true;
    return false;
}

const char *config_unit(struct app *app, enum dimension dimension)
{
    const char *setting = dimensions[dimension].setting;
    return setting != NULL ? config_word(app, setting) : NULL;
}

double option_measure(struct app *app, const char *name, const char *words, enum option_kind kind,
                      enum dimension dimension)
{
    const char *examples = dimensions[dimension].examples;
    struct quantity quantity;
    bool whole;

    if (quantity_of(words, dimension, &quantity, &whole) == QUANTITY_NO_NUMBER)
        app_wrong(app, name, "not a quantity: '%s'; for instance %s", words, examples);
    if (!whole)
        app_wrong(app, name, "only part of '%s' makes sense; for instance %s", words, examples);
    const char *unit = config_unit(app, dimension);
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

/* ---- times ----------------------------------------------------------------------------------- */

struct moment option_moment(struct app *app, const char *what, const char *words)
{
    struct moment moment;
    if (!moment_read(words, moment_now(), &moment))
        app_stop(app,
                 "not a date I can read: '%s%s'; write 2026-03-01 18:30, 2026-03-01, 18:30, "
                 "yesterday or '3 days ago'",
                 what, words);
    return moment;
}

/* Whether so many words can be a date: "yesterday" and "2026-05-01" alone, "may" and "18:30" not. */
static bool may_be_date(const char *text, size_t words)
{
    enum { SHORTEST = 6 }; /* "friday"; a shorter one may be a name */
    const size_t length = strlen(text);
    return words > 1 || (length >= SHORTEST && (isalpha((unsigned char)text[0]) ||
                                                strspn(text, "0123456789-") == length));
}

const char *option_take_date(struct app *app, const char *words)
{
    enum { MOST_WORDS = 3 }; /* "3 days ago" */
    static const char between[] = " ,;";
    const struct moment now = moment_now();
    char *text = arena_string(app->arena, words);
    bool done = false; /* "soaked" stands before: it was done then, and this was not */
    if (moment_day(app->given.at) != moment_day(now)) /* --at says it */
        return words;
    for (char *at = text + strspn(text, between); *at != '\0'; at += strspn(at, between)) {
        char *from = at + (strncasecmp(at, "on ", 3) == 0 ? 3 : 0), *end = from, *taken = NULL;
        for (size_t count = 1; count <= MOST_WORDS && !done; count++) {
            struct moment moment;
            end += strcspn(end, between);
            const char *piece = arena_copy(app->arena, from, (size_t)(end - from));
            if (may_be_date(piece, count) && moment_read(piece, now, &moment) &&
                moment.seconds <= now.seconds) {
                app->given.at = moment;
                taken = end;
            }
            if (*end++ != ' ')
                break;
        }
        if (taken != NULL) {
            memset(at, ' ', (size_t)(taken - at));
            break;
        }
        const size_t length = strcspn(at, between);
        done = length > 4 && strncasecmp(at + length - 2, "ed", 2) == 0 &&
               strncasecmp(at, "in", 2) != 0; /* "inoculated", "injected" */
        at += length;
    }
    return text;
}

/* ---- vessels --------------------------------------------------------------------------------- */

/* An id; bag:2.2kg or jar:500g (the nearest kind, filled so); jar:1litre (by volume); bag:20x12x8cm
 * or jar:9x12cm (diameter and height of the filled grain). */
static void read_vessel(struct app *app, const char *name, const char *word,
                        struct known_vessel *vessel)
{
    static const char examples[] =
        "an id from 'jarside show', bag:2.2kg, jar:1litre, bag:20x12x8cm or jar:9x12cm";
    struct names names;
    bool sized = strncmp(word, "bag:", 4) == 0 || strncmp(word, "jar:", 4) == 0;
    vessel->kind = sized ? RULES_NONE : rules_vessel(app->rules, word);
    if (vessel->kind != RULES_NONE || physics_read_vessel(app->rules, word, vessel))
        return;
    if (sized) { /* "jar:quart" */
        const char *id =
            list_id(app->rules, LIST_VESSELS, arena_format(app->arena, "%s %.3s", word + 4, word));
        vessel->kind = id != NULL ? rules_vessel(app->rules, id) : RULES_NONE;
    }
    if (vessel->kind != RULES_NONE)
        return;
    if (sized)
        app_wrong(app, name, "not the size of a vessel: '%s'; it can be %s", word + 4, examples);
    names_of(app, LIST_VESSELS, &names);
    app_unknown(app, name, "vessel", word, names.ids, names.count,
                arena_format(app->arena, "it can be %s", examples));
}

/* ---- the table ------------------------------------------------------------------------------- */

static const char *const degree_words[] = {"C", "F", NULL};
static const char *const colours[] = {"auto", "always", "never", NULL};
const char *const paper_words[] = {[PAPER_A4] = "a4", [PAPER_LETTER] = "letter", NULL};
#define AS_NAME(upper, record, ...) #record,
static const char *const tables[] = {RECORDS(AS_NAME) NULL};
const char *const keep_words[] = {"neither", "journal", "file", NULL};

#define GIVEN(member) .target = offsetof(struct given, member)
static const struct option options[] = {
    /* What some commands mean by a name. */
    {"altitude", OPTION_QUANTITY, GIVEN(cook.altitude), "cook", DIM_METRES, .settled = true,
     .feeds = FEEDS_ALTITUDE},
    {"grain", OPTION_TEXT, GIVEN(grain), "batch", .list = LIST_GRAINS},
    {"dry", OPTION_AMOUNT, GIVEN(cook.grain.dry), "hydration", DIM_GRAMS, .bare = true},
    {"inoculum", OPTION_TEXT, GIVEN(inoculum), "forecast", .feeds = FEEDS_DOSE},
    {"limit", OPTION_COUNT, GIVEN(limit), "due", .usual = "500"},
    {"limit", OPTION_COUNT, GIVEN(limit), "history", .usual = "100"},
    {"limit", OPTION_COUNT, GIVEN(limit), "search", .usual = "10"},
    {"sheet", OPTION_CHOICE, GIVEN(labels), "labels", .words = label_sheets},
    {"species", OPTION_ID, GIVEN(mushroom), "forecast", .list = LIST_SPECIES, .bare = true,
     .settled = true, .feeds = FEEDS_SPECIES},
    {"start", OPTION_DATE, GIVEN(start), "forecast"},
    {"starter", OPTION_ID, GIVEN(spawn), "forecast", .list = LIST_STARTERS,
     .feeds = FEEDS_STARTER_KIND},
    {"target", OPTION_AMOUNT, GIVEN(target), "hydration", DIM_PERCENT},
    {"use", OPTION_ID, GIVEN(purpose), "batch", .list = LIST_USES},
    {"vessel", OPTION_TEXT, GIVEN(vessel), "forecast", .list = LIST_VESSELS, .bare = true,
     .feeds = FEEDS_VESSEL}, /* or a label */
    {"vessel", OPTION_TEXT, GIVEN(vessel), "judge"},
#define TEXT_ROW(member, name) {name, OPTION_TEXT, GIVEN(member)},
#define FLAG_ROW(member, name) {name, OPTION_FLAG, GIVEN(member)},
    TEXT_OPTIONS(TEXT_ROW) FLAG_OPTIONS(FLAG_ROW){"changed", OPTION_TEXTS, GIVEN(changed)},
    {"from", OPTION_TEXTS, GIVEN(from)},
    {"set", OPTION_TEXTS, GIVEN(set)},
    {"shake", OPTION_TEXTS, GIVEN(shake)},
    {"species", OPTION_TEXT, GIVEN(species), .list = LIST_SPECIES},
    {"starter", OPTION_TEXT, GIVEN(starter)},
    {"use", OPTION_TEXT, GIVEN(use)},
    /* A vessel, its grain, its cook. */
    {"vessel", OPTION_VESSEL, GIVEN(cook.vessel), .list = LIST_VESSELS, .bare = true,
     .feeds = FEEDS_VESSEL},
    {"mass", OPTION_AMOUNT, GIVEN(cook.vessel.grams), .dimension = DIM_GRAMS,
     .feeds = FEEDS_VESSEL_MASS},
    {"vessels", OPTION_AMOUNT, GIVEN(cook.vessels)},
    {"grain", OPTION_ID, GIVEN(cook.grain.kind), .list = LIST_GRAINS, .bare = true,
     .feeds = FEEDS_GRAIN},
    {"own-moisture", OPTION_AMOUNT, GIVEN(cook.grain.own_moisture), .dimension = DIM_PERCENT},
    {"moisture", OPTION_AMOUNT, GIVEN(cook.grain.moisture), .dimension = DIM_PERCENT,
     .feeds = FEEDS_MOISTURE},
    {"dry", OPTION_AMOUNT, GIVEN(cook.grain.dry), .dimension = DIM_GRAMS, .feeds = FEEDS_DRY_MASS},
    {"water", OPTION_AMOUNT, GIVEN(cook.grain.water), .dimension = DIM_GRAMS,
     .feeds = FEEDS_WATER_MASS},
    {"before", OPTION_AMOUNT, GIVEN(before), .dimension = DIM_GRAMS},
    {"after", OPTION_AMOUNT, GIVEN(after), .dimension = DIM_GRAMS},
    {"soak", OPTION_AMOUNT, GIVEN(soak), .dimension = DIM_MINUTES, .feeds = FEEDS_SOAK},
    {"gauge", OPTION_AMOUNT, GIVEN(cook.gauge), .dimension = DIM_GAUGE_KPA, .bare = true,
     .feeds = FEEDS_COOK_GAUGE},
    {"rated", OPTION_AMOUNT, GIVEN(cook.rated), .dimension = DIM_GAUGE_KPA},
    {"minutes", OPTION_AMOUNT, GIVEN(cook.minutes), .dimension = DIM_MINUTES, .bare = true,
     .feeds = FEEDS_COOK_MINUTES},
    {"altitude", OPTION_QUANTITY, GIVEN(cook.altitude), .dimension = DIM_METRES},
    {"barometer", OPTION_AMOUNT, GIVEN(cook.barometer), .dimension = DIM_PRESSURE_KPA},
    {"load", OPTION_ID, GIVEN(cook.packing), .list = LIST_LOADS, .bare = true, .feeds = FEEDS_LOAD},
    {"start", OPTION_QUANTITY, GIVEN(cook.start), .dimension = DIM_CELSIUS},
    {"come-up", OPTION_AMOUNT, GIVEN(cook.come_up), .dimension = DIM_MINUTES},
    {"cool", OPTION_AMOUNT, GIVEN(cook.cool), .dimension = DIM_MINUTES},
    {"air", OPTION_AMOUNT, GIVEN(cook.air), .dimension = DIM_PERCENT},
    {"target", OPTION_AMOUNT, GIVEN(cook.target)},
    /* How it grows. */
    {"temp", OPTION_QUANTITY, GIVEN(temp), .dimension = DIM_CELSIUS, .bare = true,
     .feeds = FEEDS_TEMPERATURE},
    {"day", OPTION_AMOUNT, GIVEN(day), .dimension = DIM_DAYS, .bare = true, .feeds = FEEDS_DAY},
    {"seen", OPTION_AMOUNT, GIVEN(seen), .dimension = DIM_PERCENT, .bare = true,
     .feeds = FEEDS_COVERAGE},
    {"still", OPTION_AMOUNT, GIVEN(still), .dimension = DIM_DAYS},
    /* Times, numbers, words of a list. */
    {"at", OPTION_MOMENT, GIVEN(at), .usual = "now"},
    {"by", OPTION_DAY, GIVEN(by), .usual = "today"},
    {"remind", OPTION_CLOCK, GIVEN(remind)},
    {"count", OPTION_COUNT, GIVEN(count), .high = MOST_VESSELS, .usual = "0"},
    {"controls", OPTION_COUNT, GIVEN(controls), .high = MOST_VESSELS, .usual = "0"},
    {"skip", OPTION_COUNT, GIVEN(skip), .usual = "0"},
    {"corrects", OPTION_COUNT, GIVEN(corrects), .low = 1, .high = INT32_MAX},
    {"limit", OPTION_COUNT, GIVEN(limit)},
    {"least", OPTION_COUNT, GIVEN(least), .low = 1, .high = 1000, .usual = "2"},
    {"jobs", OPTION_NUMBER, GIVEN(jobs), .low = 1, .high = MOST_JOBS, .usual = "1"},
    {"neighbours", OPTION_NUMBER, GIVEN(neighbours), .high = 1e6},
    {"worth", OPTION_NUMBER, GIVEN(worth), .low = 1e-3, .high = 1e6},
    {"cost", OPTION_AMOUNT, GIVEN(cost)},
    {"yield", OPTION_AMOUNT, GIVEN(yield), .dimension = DIM_GRAMS},
    {"state", OPTION_CHOICE, GIVEN(state), .words = vessel_state_words},
    {"fate", OPTION_CHOICE, GIVEN(fate), .words = fate_words},
    {"paper", OPTION_CHOICE, GIVEN(paper), .words = paper_words, .settled = true, .usual = "a4"},
    {"keep", OPTION_CHOICE, GIVEN(keep), .words = keep_words},
    {"probe-unit", OPTION_CHOICE, GIVEN(probe_unit), .words = degree_words},
    {"table", OPTION_CHOICE, GIVEN(table), .words = tables},
    /* What any command takes; --json those whose row says so. */
    {"json", OPTION_FLAG, GIVEN(json), .common = true},
    {"rules", OPTION_TEXTS, GIVEN(rules), .common = true},
    {"journal", OPTION_TEXT, GIVEN(journal), .common = true},
    {"color", OPTION_CHOICE, GIVEN(color), .words = colours, .common = true},
    {"quiet", OPTION_FLAG, GIVEN(quiet), .letter = 'q', .common = true},
    {"help", OPTION_FLAG, GIVEN(help), .letter = 'h', .common = true},
    {"version", OPTION_FLAG, GIVEN(version), .letter = 'V', .common = true},
    {0},
};

/* ---- filling --------------------------------------------------------------------------------- */

void option_read(struct app *app, const struct option *option, const char *word, void *target)
{
    /* A clock a little behind that of another machine makes no moment of today an error. */
    enum { CLOCK_SLACK = 24 * 60 * 60 };
    const char *name = option->name, *end = NULL;
    const bool tomorrow = strcmp(word, "tomorrow") == 0;
    struct moment moment = moment_now();
    int64_t day = 0;
    double number = 0.0;

    switch (option->kind) {
    case OPTION_FLAG:
        *(bool *)target = true;
        break;
    case OPTION_TEXT:
        *(const char **)target = word;
        break;
    case OPTION_TEXTS: {
        struct texts *texts = target;
        *arena_push(app->arena, texts->words, texts->count) = word;
        break;
    }
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
    case OPTION_DAY: /* what moment_read knows; and tomorrow, when nothing has happened yet */
        if (!tomorrow && !moment_read(word, moment, &moment))
            app_stop(app,
                     "not a date I can read: '--%s %s'; write 2026-03-01, yesterday or tomorrow",
                     name, word);
        *(int64_t *)target = moment_day(moment) + tomorrow;
        break;
    case OPTION_MOMENT:
        moment = option_moment(app, arena_format(app->arena, "--%s ", name), word);
        if (moment.seconds > moment_now().seconds + CLOCK_SLACK)
            app_stop(app, "'--%s %s' is in the future", name, word);
        *(struct moment *)target = moment;
        break;
    case OPTION_CLOCK:
        end = strlen(word) == strlen("18:30") ? clock_read(word, &number) : NULL;
        if (end == NULL || *end != '\0' || number >= 24.0 * 3600.0)
            app_stop(app, "not a time of day: '--%s %s'; write 09:00", name, word);
        *(int *)target = (int)(number / 60.0);
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
    }
}

/* What an option holds that was not given, and says nothing for that, unless that is 0. */
static const struct {
    const void *is;
    size_t size;
} absent[OPTION_VESSEL + 1] = {
    [OPTION_NUMBER] = {&(const double){NAN}, sizeof(double)},
    [OPTION_QUANTITY] = {&(const double){NAN}, sizeof(double)},
    [OPTION_AMOUNT] = {&(const double){NAN}, sizeof(double)},
    [OPTION_CLOCK] = {&(const int){RULES_NONE}, sizeof(int)},
    [OPTION_CHOICE] = {&(const int){RULES_NONE}, sizeof(int)},
    [OPTION_ID] = {&(const int){RULES_NONE}, sizeof(int)},
    [OPTION_COUNT] = {&(const size_t){SIZE_MAX}, sizeof(size_t)},
    [OPTION_VESSEL] = {&(const struct known_vessel)KNOWN_VESSEL, sizeof(struct known_vessel)},
};

const struct option *option_row(const struct command *command, const char *name)
{
    const struct option *row = options;
    while (row->name != NULL &&
           (strcmp(row->name, name) != 0 ||
            (row->of != NULL && (command == NULL || strcmp(row->of, command->name) != 0))))
        row++;
    return row->name != NULL ? row : NULL;
}

void options_fill(struct app *app, bool common)
{
    char *given = (char *)&app->given;
    struct help_line line = {.common = common};
    for (const struct option *row = options; row->name != NULL; row++)
        if (row->common == common && absent[row->kind].is != NULL)
            memcpy(given + row->target, absent[row->kind].is, absent[row->kind].size);
    while (option_next(app, app->command, &line)) {
        const struct option *row = line.option;
        const char *said = row->settled ? config_word(app, row->name) : NULL;
        if (row->common != common)
            continue;
        said = said != NULL ? said : row->usual;
        for (size_t i = 0; i < app->option_count; i++)
            if (app->options[i].option == row) {
                said = app->options[i].value;
                if (row->kind == OPTION_TEXTS)
                    option_read(app, row, said, given + row->target);
            }
        if (said != NULL && row->kind != OPTION_TEXTS)
            option_read(app, row, said, given + row->target);
    }
}

/* ---- operands that are options --------------------------------------------------------------- */

/* What the words are as the value of an option that goes without its name; NULL for nothing. */
static const char *value_meant(struct app *app, const struct option *option, const char *words)
{
    static const double longest = 240.0; /* of what takes minutes */
    const bool quantity = option->kind == OPTION_QUANTITY || option->kind == OPTION_AMOUNT;
    /* As a vessel of a batch is named, "jar:1litre". */
    const bool placed = strchr(words, ':') != NULL && strchr(words, ' ') == NULL;
    if (quantity && is_quantity(words, 1U << DIM_METRES, true) &&
        is_quantity(words, 1U << DIM_MINUTES, true)) /* "95m" is a time, "700m" a height */
        return option->dimension == (strtod(words, NULL) > longest ? DIM_METRES : DIM_MINUTES)
                   ? words
                   : NULL;
    if (quantity && option->dimension != DIM_NONE) /* the "half" of a half-gallon jar is no share */
        return has_figures(words) && is_quantity(words, 1U << option->dimension, true) ? words
                                                                                       : NULL;
    if (option->kind == OPTION_DATE) {
        int64_t day;
        const char *end = day_read(words, &day);
        return end != NULL && *end == '\0' ? words : NULL;
    }
    if (!option->bare)
        return NULL;
    const bool vessel = option->list == LIST_VESSELS;
    if (vessel && placed)
        return words;
    return list_id(app->rules, option->list, words);
}

static bool is_said(const struct app *app, const struct option *option)
{
    for (size_t i = 0; i < app->option_count; i++)
        if (app->options[i].option == option)
            return true;
    return false;
}

/* The option that the words are meant for, and the words as its value: the one that goes without
 * its name, or the only one they could be of; NULL when they are nothing of the kind. */
static const struct option *meant_option(struct app *app, const char **words)
{
    const struct option *only = NULL;
    const char *names = "", *value = NULL;
    size_t count = 0;
    for (struct help_line line = {.common = false}; option_next(app, app->command, &line);) {
        const char *as = value_meant(app, line.option, *words);
        const bool said = is_said(app, line.option);
        if (as == NULL)
            continue;
        if (line.option->bare && !said)
            return *words = as, line.option;
        count++;
        only = line.option;
        value = as;
        if (!said)
            words_add(app, &names, " or ", "--%s '%s'", line.option->name, *words);
    }
    if (count > 0 && names[0] == '\0')
        app_stop(app, "'%s' is one too many: --%s was said already", *words, only->name);
    if (count > 1)
        app_stop(app, "what is '%s'? Say which: %s", *words, names);
    return count == 1 ? (*words = value, only) : NULL;
}

/* Ends the command because of a word that is none of all these; but a plain word that is like no
 * name is left out, and told, where others were understood. */
static void not_meant(struct app *app, const char *word)
{
    struct names names;
    const char **near = NULL;
    size_t count = 0;
    for (struct help_line line = {.common = false}; option_next(app, app->command, &line);) {
        if (!line.option->bare || line.option->dimension != DIM_NONE)
            continue;
        names_of(app, line.option->list, &names);
        for (size_t i = 0; i < names.count; i++)
            *arena_push(app->arena, near, count) = names.ids[i];
    }
    if (app->option_count == 0 || has_figures(word) || diag_nearest(word, near, count) != NULL)
        app_unknown(app, NULL, "grain or vessel", word, near, count,
                    arena_format(app->arena, "and no figure with its unit; see 'jarside %s --help'",
                                 app->command->name));
    screen_say(&app->err, 0, 0, ROLE_WARN, "Not understood, so left out: '%s'.", word);
    (void)screen_flush(&app->err, stderr);
}

/* The option of the command that takes what words say of such an observable; NULL for none. */
static const struct option *fed_option(struct app *app, enum feeds feeds)
{
    for (struct help_line line = {.common = false}; option_next(app, app->command, &line);)
        if (feeds != FEEDS_NONE && line.option->feeds == feeds)
            return line.option;
    return NULL;
}

/* Words that are no option one by one, read as words about a vessel. */
static void take_sentence(struct app *app, const char *words)
{
    const struct reading_list list = app_reading(app, words);
    for (size_t i = 0; i < list.reading_count; i++) {
        const struct reading *reading = &list.readings[i];
        const struct observable *observable = &app->rules->observables[reading->observable];
        const struct condition *unpressed = &app->rules->cook.no_pressure;
        const int value = single_value(reading->seen);
        bool no_pressure = false; /* "boiling" */
        for (size_t c = 0; c < unpressed->count; c++)
            no_pressure = no_pressure || (unpressed->observables[c] == reading->observable &&
                                          (unpressed->values[c] & reading->seen) != 0);
        const struct option *option =
            fed_option(app, no_pressure ? FEEDS_COOK_GAUGE : observable->feeds);
        if (!no_pressure && observable->feeds == FEEDS_COOK_METHOD)
            continue; /* "pressure cooked": the gauge tells more */
        const char *said = span_words(app->arena, words, reading->span);
        if (option == NULL || (value == RULES_NONE && !reading->has_number)) {
            not_meant(app, said);
            continue;
        }
        if (no_pressure)
            said = "0";
        else if (reading->has_number && !is_quantity(said, 1U << option->dimension, true))
            said = reading_figure(app, reading, option->dimension);
        else if (!reading->has_number && option->feeds != FEEDS_DOSE) /* that in its unit: "3ml" */
            said = observable->values[value].id;
        *arena_push(app->arena, app->options, app->option_count) =
            (struct option_given){option, said};
    }
    const struct option *vessels = option_row(app->command, "vessels");
    for (size_t i = 0; i < list.unread_count; i++) {
        const struct span *span = &list.unread[i].span;
        const char *unread = span_words(app->arena, words, *span);
        const bool number = is_figures(unread);
        if (!number || vessels == NULL || i > 0 || !is_said(app, fed_option(app, FEEDS_VESSEL))) {
            const char *word = words + span->start; /* "quart_jra", of which "jra" is unread */
            while (word > words && word[-1] != ' ')
                word--;
            not_meant(app, arena_copy(app->arena, word, strcspn(word, " ")));
            continue;
        }
        *arena_push(app->arena, app->options, app->option_count) =
            (struct option_given){vessels, unread}; /* "12 quart jars" */
    }
    if (list.unread_count + list.reading_count == 0)
        not_meant(app, words);
}

/* So many operands from one on, without a comma behind them. */
static const char *joined(struct app *app, size_t from, size_t count)
{
    char *words = arena_join(app->arena, app->operands + from, count);
    const size_t length = strlen(words);
    if (length > 0 && words[length - 1] == ',')
        words[length - 1] = '\0';
    return words;
}

/* The option that takes a vessel, where the words are one by its size; else NULL. */
static const struct option *sized_vessel(struct app *app, const char *words)
{
    struct known_vessel vessel = KNOWN_VESSEL;
    return strstr(words, "bag") != NULL && physics_read_vessel(app->rules, words, &vessel)
               ? fed_option(app, FEEDS_VESSEL)
               : NULL;
}

/* A label of the journal, or written like one: "B3", "C12b". */
static bool is_label(struct app *app, const char *word)
{
    static const enum record labelled[] = {RECORD_BATCH, RECORD_VESSEL, RECORD_COOK};
    bool known = isalpha((unsigned char)word[0]) && isdigit((unsigned char)word[1]);
    if (!known && access(app_journal_path(app), F_OK) == 0) {
        app_open(app, JOURNAL_READ);
        for (size_t i = 0; i < sizeof labelled / sizeof *labelled; i++)
            known = known || labels_id(app, labelled[i], word) != 0;
    }
    return known;
}

/* The id of the starter that the words name and say nothing else, "liquid culture", "of spawn"; NULL for none. */
static const char *starter_named(struct app *app, const char *words)
{
    const int observable = app->rules->feeder[FEEDS_STARTER_KIND];
    const size_t of = strncmp(words, "of ", 3) == 0 ? 3 : 0;
    if (has_figures(words) || observable == RULES_NONE)
        return NULL;
    const struct reading_list list =
        app_reading(app, arena_format(app->arena, "with %s", words + of));
    const int value = list.reading_count == 1 && list.unread_count == 0 &&
                              (int)list.readings[0].observable == observable
                          ? single_value(list.readings[0].seen)
                          : RULES_NONE;
    return value != RULES_NONE ? app->rules->observables[observable].values[value].id : NULL;
}

/* An amount and the starter it is of, "3 agar wedges", "2 ml spore syringe": both options, and how many words. */
static size_t take_starter(struct app *app, size_t from, size_t left)
{
    const struct option *amount = fed_option(app, FEEDS_DOSE);
    const struct option *starter = fed_option(app, FEEDS_STARTER_KIND);
    if (amount == NULL || starter == NULL)
        return 0;
    for (size_t figures = 1; figures < left && figures <= 2; figures++) {
        const char *value = joined(app, from, figures);
        if (!is_figures(value) && !is_quantity(value, 1U << DIM_LITRES | 1U << DIM_GRAMS, true))
            continue;
        for (size_t words = left - figures; words > 0; words--) {
            const char *id = starter_named(app, joined(app, from + figures, words));
            if (id == NULL)
                continue;
            *arena_push(app->arena, app->options, app->option_count) =
                (struct option_given){amount, value};
            *arena_push(app->arena, app->options, app->option_count) =
                (struct option_given){starter, id};
            return figures + words;
        }
    }
    return 0;
}

void options_take_operands(struct app *app)
{
    enum { MOST_WORDS = 4 }; /* "2 kg", "quart jar", "5 lb bags", "2 hours 30 minutes" */
    const bool labels = strstr(help_of(app->command->name).operands, "LABEL") != NULL;
    const char *rest = "";
    size_t kept = 0;
    for (size_t i = 0, words; i < app->operand_count; i += words) {
        const size_t left =
            app->operand_count - i < MOST_WORDS ? app->operand_count - i : MOST_WORDS;
        const struct option *option = NULL;
        const char *value = NULL;
        if ((words = take_starter(app, i, left)) > 0)
            continue;
        for (words = left; option == NULL && words > 1; words -= option == NULL)
            option = sized_vessel(app, value = joined(app, i, words)); /* "5 lb bags" */
        for (words = option != NULL ? words : 0; option == NULL && words < left;) {
            value = joined(app, i, ++words);
            option = meant_option(app, &value);
        }
        for (size_t more = words + 1;
             option != NULL && option->dimension == DIM_MINUTES && more <= left; more++)
            if (value_meant(app, option, joined(app, i, more)) != NULL) {
                value = joined(app, i, more); /* "2 hours", and "30 minutes" with it */
                words = more;
            }
        if (option != NULL)
            *arena_push(app->arena, app->options, app->option_count) =
                (struct option_given){option, value};
        else if (labels && kept == 0 && is_label(app, app->operands[i]))
            app->operands[kept++] = app->operands[i];
        else
            words_add(app, &rest, " ", "%s", app->operands[i]);
        words = option != NULL ? words : 1;
    }
    app->operand_count = kept;
    if (rest[0] != '\0')
        take_sentence(app, rest);
}

/* ==== settings ================================================================================ */

/* The settings: one YAML file of plain entries. The table is what may stand in it, what is checked,
 * what the help says and what 'jarside config' shows. A setting with an environment variable
 * reaches whoever asks for that; the variable itself wins. */
enum { UNIT_SETTINGS = 3 }; /* the first of them */
static const struct option settings[SETTINGS + 1] = {
    {"temperature", OPTION_CHOICE, .words = degree_words},
    {"pressure", OPTION_CHOICE, .words = (const char *const[]){"psi", "bar", "kPa", NULL}},
    {"weight", OPTION_CHOICE, .words = (const char *const[]){"g", "kg", "lb", "oz", NULL}},
    {"altitude", OPTION_QUANTITY, .dimension = DIM_METRES},
    {"place", .kind = OPTION_TEXT},
    {"species", OPTION_ID, .list = LIST_SPECIES},
    {"paper", OPTION_CHOICE, .words = paper_words},
    {"dates", OPTION_CHOICE,
     .words = (const char *const[]){"day/month/year", "month/day/year", "year/month/day", NULL}},
    {"station", OPTION_TEXT, .high = 3}, /* so many letters at most */
    {"person", .kind = OPTION_TEXT},
};
static const char *const environment[SETTINGS] = {
    [0] = "JARSIDE_TEMPERATURE", [1] = "JARSIDE_PRESSURE", [2] = "JARSIDE_WEIGHT",
    [7] = "JARSIDE_DATES",       [8] = "JARSIDE_STATION",  [9] = "JARSIDE_PERSON"};

/* Its row; SETTINGS when there is none. */
static size_t find(const char *name, size_t length)
{
    size_t i = 0;
    while (i < SETTINGS &&
           (strlen(settings[i].name) != length || memcmp(settings[i].name, name, length) != 0))
        i++;
    return i;
}

static _Noreturn void no_setting(struct app *app, const char *name)
{
    const char *names[SETTINGS];
    for (size_t i = 0; i < SETTINGS; i++)
        names[i] = settings[i].name;
    app_unknown(app, NULL, "setting", name, names, SETTINGS,
                arena_format(app->arena, "there are %s",
                             words_joined(app, names, SETTINGS, ", ", SETTINGS)));
}

/* Ends the program, with the place in the file, unless the value is a right one. Ids can only be
 * checked when the rules are there. */
static void check(struct app *app, size_t setting)
{
    const struct option *row = &settings[setting];
    const char *word = app->settings[setting].word;
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz";
    struct known_vessel read = KNOWN_VESSEL; /* the largest of what is read */
    if (word == NULL || (row->kind == OPTION_ID && app->rules == NULL))
        return;
    app->reading = app->settings[setting].at;
    if (row->high > 0.0 &&
        (strlen(word) > (size_t)row->high || word[strspn(word, letters)] != '\0'))
        app_wrong(app, row->name, "'%s' should be one to three letters", word);
    if (word[0] == '\0')
        app_wrong(app, row->name, "'%s' is empty; leave the line out instead", row->name);
    for (const char *at = word; *at != '\0'; at++)
        if (iscntrl((unsigned char)*at))
            app_wrong(app, row->name, "'%s' should be one line of text", row->name);
    option_read(app, row, word, &read);
    app->reading = (struct position){0};
}

/* Beside the overlay of rules; NULL without a home. In the arena. */
static const char *config_path(struct app *app)
{
    char *path SCOPED_FREE = rules_own_path("XDG_CONFIG_HOME", ".config", "config.yaml");
    return path != NULL ? arena_string(app->arena, path) : NULL;
}

void config_read(struct app *app)
{
    const char *path = config_path(app);
    const struct plain_entry *entries = NULL;
    size_t count = 0;
    memset(app->settings, 0, sizeof app->settings);
    if (path == NULL || access(path, F_OK) != 0)
        return;
    app_must(app, entries_load(path, app->arena, &entries, &count, app->diags));
    for (size_t i = 0; i < count; i++) {
        size_t setting = find(entries[i].key, strlen(entries[i].key));
        app->reading = entries[i].key_at;
        if (setting < SETTINGS)
            app->settings[setting] = (struct setting){entries[i].text, entries[i].at};
        else
            no_setting(app, arena_format(app->arena, "%.60s", entries[i].key));
    }
    app->reading = (struct position){0};
    for (size_t i = 0; i < SETTINGS; i++) {
        check(app, i);
        /* What JSON says does not hang on the units that somebody likes to read. */
        if (environment[i] != NULL && app->settings[i].word != NULL &&
            !(i < UNIT_SETTINGS && app->given.json))
            setenv(environment[i], app->settings[i].word, 0);
    }
}

const char *config_word(struct app *app, const char *name)
{
    size_t setting = find(name, strlen(name));
    if (setting < SETTINGS)
        check(app, setting);
    return setting < SETTINGS ? app->settings[setting].word : NULL;
}

void config_recall(struct app *app)
{
    const char *altitude = config_word(app, "altitude");
    int sign = app->rules->feeder[FEEDS_ALTITUDE];
    if (altitude != NULL && sign != RULES_NONE)
        app_must(app, triage_recall_setting(app->triage, app->rules->observables[sign].id, altitude,
                                            arena_format(app->arena, "settings: %s", altitude),
                                            app->diags));
}

/* ---- the command ----------------------------------------------------------------------------- */

static void put_entry(struct text *file, size_t setting, const char *word)
{
    bool plain = isalnum((unsigned char)word[0]);
    for (const char *at = word; *at != '\0'; at++)
        plain = plain && (isalnum((unsigned char)*at) || strchr("._/-", *at) != NULL);
    text_printf(file, "%s: %s", settings[setting].name, plain ? "" : "'");
    for (const char *at = word; *at != '\0'; at++)
        text_printf(file, "%s%c", *at == '\'' ? "'" : "", *at);
    text_puts(file, plain ? "\n" : "'\n");
}

/* The file as it is, but for this setting: comments and the order of lines stay, unless it is
 * written in another way than a line a setting. */
static void write_setting(struct app *app, size_t setting)
{
    const char *path = config_path(app), *word = app->settings[setting].word;
    FILE *old = path != NULL ? fopen(path, "r") : NULL;
    char *line = NULL;
    size_t room = 0, stood = app->settings[setting].at.line;
    bool by_lines = true;

    if (path == NULL)
        app_stop(app, "no home folder to keep settings in; set XDG_CONFIG_HOME");
    TEXT(file);
    for (size_t number = 1; old != NULL && getline(&line, &room, old) > 0; number++) {
        by_lines = by_lines && strchr(" {-\"'?", line[0]) == NULL;
        if (number != stood)
            text_printf(&file, "%s%s", line, strchr(line, '\n') == NULL ? "\n" : "");
        else if (word != NULL)
            put_entry(&file, setting, word);
    }
    free(line);
    if (old != NULL)
        (void)fclose(old);
    if (!by_lines)
        text_clear(&file);
    for (size_t i = 0; i < SETTINGS; i++)
        if (app->settings[i].word != NULL && (!by_lines || (i == setting && stood == 0)))
            put_entry(&file, i, app->settings[i].word);
    app_keep(app, path, &file);
    config_read(app); /* on other lines now */
}

static enum status show(struct app *app, const char *path, size_t only)
{
    json_t *all = json_object(), *rows = json_array();
    struct help_line line = {.common = false};
    for (size_t i = 0; i < SETTINGS && help_next(app, "settings", &line); i++) {
        const char *variable = environment[i], *word = app->settings[i].word;
        const char *said = variable != NULL ? getenv(variable) : NULL;
        const bool outside = said != NULL && (word == NULL || strcmp(said, word) != 0);
        word = outside ? said : word;
        json_object_set_new(all, settings[i].name,
                            word != NULL ? view_json_text(word) : json_null());
        if (only == SETTINGS || only == i)
            view_json_row(rows, "name:s value:s from:s says:s", settings[i].name, word,
                          outside ? variable : NULL, line.says);
    }
    return app_tell(app, "config",
                    view_json("schema:i file:o settings:o _rows:o _one:b", 1,
                              path != NULL ? view_json_text(path) : json_null(), all, rows,
                              only != SETTINGS));
}

static enum status run_config(struct app *app)
{
    size_t only = SETTINGS;
    for (size_t i = 0; i < SETTINGS; i++)
        check(app, i);
    for (size_t i = 0; i < app->operand_count; i++) {
        const char *word = app->operands[i], *equals = strchr(word, '=');
        size_t length = equals != NULL ? (size_t)(equals - word) : strlen(word);
        size_t setting = find(word, length);
        if (setting == SETTINGS)
            no_setting(app, arena_copy(app->arena, word, length));
        const char *next = i + 1 < app->operand_count ? app->operands[i + 1] : "=";
        if (equals == NULL && strchr(next, '=') == NULL && find(next, strlen(next)) == SETTINGS) {
            equals = arena_format(app->arena, "=%s", next); /* "temperature F" */
            i++;
        } else if (equals == NULL) {
            only = setting;
            continue;
        }
        const struct position at = app->settings[setting].at;
        app->settings[setting] = (struct setting){equals[1] != '\0' ? equals + 1 : NULL, {0}};
        check(app, setting);
        app->settings[setting].at = at;
        write_setting(app, setting);
        if (!app->given.json)
            app_say(app, equals[1] != '\0' ? "%s is now %s." : "%s is no longer set.",
                    settings[setting].name, equals + 1);
    }
    if (app->operand_count > 0 && only == SETTINGS && !app->given.json)
        return app_flush(app);
    return show(app, config_path(app), only);
}

const struct command config_commands[] = {
    {"config", run_config, NEEDS_RULES, .json = true},
    {0},
};
