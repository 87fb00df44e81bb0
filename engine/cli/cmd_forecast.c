/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/commands.h"
#include "cli/measure.h"
#include "voice/plan.h"

static const struct option options[] = {
    {"species", "SPECIES", "an id: oyster, shiitake ..."},
    {"temp", "TEMPERATURE", "where it stands: 24C, 75F"},
    {"temps", "FILE", "a log of it instead (CSV: time, temperature), from the day of inoculation"},
    {"probe-unit", "C|F", "when the log does not say"},
    {"starter", "KIND", "its kind: an answer to the question about the starter"},
    {"dose", "AMOUNT", "in one vessel: 4ml, 100g; a bare number of pieces of agar"},
    {"vessel", "VESSEL", "an id, bag:1.36kg, jar:1quart"},
    {"mass", "WEIGHT", "hydrated grain in one vessel"},
    {"grain", "GRAIN", "an id"},
    {"shake", "DAY", "a day it was or will be shaken; may be repeated"},
    {"start", "DATE", "of inoculation: 2025-03-31, to be told dates"},
    {"day", "DAY", "with --seen: how many days after inoculation"},
    {"seen", "PERCENT", "how much is white"},
    {"still", "DAYS", "for how long nothing has moved"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

enum { MOST_SHAKES = 16, MOST_WARMTH = 4096 };

struct run { /* what was said */
    struct known_growth known;
    struct shake shakes[MOST_SHAKES];
    struct warmth *warmth; /* malloc'd */
    size_t warmth_count;
    double day, seen, still;
    const char *start;
};

static enum exit_status read_starter(struct app *app, struct known_growth *known)
{
    const struct rules *rules = app->rules;
    const char *word = arguments_value(&app->arguments, "starter");
    const char *names[RULES_MAX_VALUES];
    size_t count = 0;

    if (word == NULL)
        return EXIT_FINE;
    for (; count < rules->starter_count && count < RULES_MAX_VALUES; count++) {
        names[count] = rules->starters[count].id;
        if (strcmp(names[count], word) == 0)
            known->starter = (int)count;
    }
    if (known->starter != RULES_NONE)
        return EXIT_FINE;
    const char *near = diag_nearest(word, names, count);
    return option_fault(app, "starter", "no starter '%s'; did you mean '%s'?", word,
                        near != NULL ? near
                        : count > 0  ? names[0]
                                     : "");
}

/* The dose is told in the starter's unit; without a starter the unit tells which it must be. */
static enum exit_status read_dose(struct app *app, struct known_growth *known)
{
    static const enum dimension dimensions[] = {
        [STARTER_ML] = DIM_LITRES, [STARTER_GRAMS] = DIM_GRAMS, [STARTER_PIECES] = DIM_NONE};
    int starter = known->starter == RULES_NONE ? 0 : known->starter;
    double dose = NAN;

    if (app->rules->starter_count == 0)
        return app_usage(app, "the rules hold no starters to compute this from");
    enum starter_unit unit = app->rules->starters[starter].unit;
    enum exit_status fault = option_amount(app, "dose", dimensions[unit], &dose);
    if (fault != EXIT_FINE || isnan(dose))
        return fault;
    known->dose = unit == STARTER_ML ? 1000.0 * dose : dose;
    return known->dose > 0.0 ? EXIT_FINE : option_fault(app, "dose", "a dose is more than nothing");
}

static enum exit_status read_shakes(struct app *app, struct run *run)
{
    const struct forecast_rules *rules = &app->rules->forecast;
    const char *word = NULL;
    size_t count = 0;

    for (; (word = arguments_nth(&app->arguments, "shake", count)) != NULL; count++) {
        char *end = NULL;
        double day = strtod(word, &end);
        if (count == MOST_SHAKES)
            return option_fault(app, "shake", "at most %d shakes", MOST_SHAKES);
        if (end == word || *end != '\0' || !(day >= 0.0 && day <= 730.0))
            return option_fault(app, "shake", "'%s' is no day from 0 to 730", word);
        if (count > 0 && day <= run->shakes[count - 1].day)
            return option_fault(app, "shake", "'%s' is not after the shake before it", word);
        run->shakes[count] = (struct shake){day, rules->shake_factor, rules->shake_pause};
    }
    run->known.shakes = run->shakes;
    run->known.shake_count = count;
    return EXIT_FINE;
}

/* A log is thinned to one reading an hour or so: growth does not feel more. */
static bool add_warmth(void *context, double minutes, double celsius)
{
    static const double day = 1440.0, hour = 1.0 / 24.0;
    struct run *run = context;
    double last = run->warmth_count > 0 ? run->warmth[run->warmth_count - 1].day : -1.0;

    if (minutes / day <= last)
        return false;
    if (run->warmth_count > 0 && (minutes / day < last + hour || run->warmth_count == MOST_WARMTH))
        return true;
    run->warmth[run->warmth_count++] = (struct warmth){minutes / day, celsius};
    return true;
}

static enum exit_status read_warmth(struct app *app, struct run *run)
{
    const char *path = arguments_value(&app->arguments, "temps");
    enum exit_status fault = option_quantity(app, "temp", DIM_CELSIUS, &run->known.temperature);

    if (fault != EXIT_FINE || path == NULL)
        return fault;
    if (!isnan(run->known.temperature))
        return app_usage(app, "give either --temp or --temps, not both");
    run->warmth = calloc(MOST_WARMTH, sizeof *run->warmth);
    if (run->warmth == NULL)
        return app_fail(app, STATUS_MEMORY);
    fault = read_log(app, path, add_warmth, run);
    run->known.warmth = run->warmth;
    run->known.warmth_count = run->warmth_count;
    return fault;
}

static enum exit_status read_said(struct app *app, struct run *run)
{
    struct known_growth *known = &run->known;
    enum exit_status fault;

    known_growth_init(known);
    run->day = run->seen = run->still = NAN;
    if ((fault = option_species(app, &known->species)) != EXIT_FINE ||
        (fault = read_starter(app, known)) != EXIT_FINE ||
        (fault = read_dose(app, known)) != EXIT_FINE ||
        (fault = option_vessel(app, &known->vessel)) != EXIT_FINE ||
        (fault = option_grain(app, &known->grain.kind)) != EXIT_FINE ||
        (fault = read_shakes(app, run)) != EXIT_FINE ||
        (fault = option_amount(app, "day", DIM_DAYS, &run->day)) != EXIT_FINE ||
        (fault = option_amount(app, "seen", DIM_PERCENT, &run->seen)) != EXIT_FINE ||
        (fault = option_amount(app, "still", DIM_DAYS, &run->still)) != EXIT_FINE ||
        (fault = option_date(app, "start", &run->start)) != EXIT_FINE ||
        (fault = read_warmth(app, run)) != EXIT_FINE)
        return fault;
    if (known->species == RULES_NONE)
        return app_usage(app, "give --species; for instance: jarside forecast --species oyster "
                              "--temp 24C --dose 4ml --vessel bag:1.36kg");
    if (isnan(run->day) != isnan(run->seen))
        return app_usage(app, "--day and --seen go together: how white it was on which day");
    return EXIT_FINE;
}

static const struct range never = {INFINITY, INFINITY, INFINITY};

static enum process_fault fill(struct forecast_told *told, const struct run *run)
{
    const struct forecast_rules *rules = &told->rules->forecast;
    struct range from = never, to = never;

    told->visible = told->shake = told->full = never;
    (void)forecast_days(told->forecast, 1.0, &told->visible);
    told->reached = forecast_days(told->forecast, FORECAST_FULL, &told->full) == PROCESS_OK;
    (void)forecast_days(told->forecast, rules->shake_lo, &from);
    (void)forecast_days(told->forecast, rules->shake_hi, &to);
    told->shake = (struct range){from.central, 0.5 * (from.central + to.central), to.central};
    if (isnan(run->day))
        return PROCESS_OK;
    told->judged = true;
    told->day = run->day;
    told->seen = run->seen;
    return forecast_judge(told->forecast, run->day, run->seen, run->still, &told->pace);
}

static enum exit_status tell(struct app *app, const struct run *run, const char *assumed,
                             const struct forecast *forecast)
{
    struct forecast_told told = {
        .rules = app->rules,
        .known = &run->known,
        .forecast = forecast,
        .start = run->start,
        .assumed = assumed,
        .vessel = run->known.vessel.kind != RULES_NONE
                      ? app->rules->vessels[run->known.vessel.kind].name
                      : NULL,
    };
    struct physics_refusal refusal = {fill(&told, run), run->day};

    if (refusal.fault != PROCESS_OK) {
        if (refusal.fault == FAULT_COVERAGE)
            refusal.value = run->seen;
        return option_refused(app, &refusal);
    }
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, voice_forecast_json(&told), false);
    voice_forecast(&app->out, &told);
    return app_flush(app);
}

static enum exit_status compute(struct app *app, const struct run *run)
{
    struct physics_refusal refusal;
    struct forecast forecast;
    struct warmth constant;
    struct text assumed;

    text_init(&assumed);
    enum physics_answer answer =
        physics_growth(app->rules, &run->known, &forecast, &constant, &assumed, &refusal);
    enum exit_status fault;
    if (assumed.failed) {
        fault = app_fail(app, STATUS_MEMORY);
    } else if (answer == PHYSICS_OK) {
        fault = tell(app, run, assumed.bytes, &forecast);
    } else if (answer == PHYSICS_REFUSED) {
        fault = option_refused(app, &refusal);
    } else {
        text_clear(&assumed);
        physics_explain(&assumed, answer, &refusal);
        fault = app_usage(app, "%s", assumed.bytes != NULL ? assumed.bytes : "");
    }
    text_release(&assumed);
    return fault;
}

static enum exit_status run_forecast(struct app *app)
{
    struct run run = {.warmth = NULL};

    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; see 'jarside forecast --help'",
                         app->arguments.operands[0]);
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault == EXIT_FINE)
        fault = read_said(app, &run);
    if (fault == EXIT_FINE)
        fault = compute(app, &run);
    free(run.warmth);
    return fault;
}

const struct command command_forecast = {
    .name = "forecast",
    .summary = "works out when the grain will be white, when to shake, whether it keeps up",
    .operands = "",
    .detail =
        "Examples: jarside forecast --species oyster --temp 24C --dose 4ml --vessel bag:1.36kg; "
        "add --day 12 --seen 30% to hear whether that is on time.",
    .options = options,
    .run = run_forecast,
};
