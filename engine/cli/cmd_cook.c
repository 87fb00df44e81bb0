/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "cli/commands.h"
#include "cli/measure.h"
#include "voice/plan.h"

static const struct option options[] = {
    {"gauge", "PRESSURE", "what the gauge or weight says: 15psi, 1bar, 103kPa"},
    {"rated", "PRESSURE", "what the cooker is rated for; nothing beyond it is computed"},
    {"minutes", "TIME", "at full pressure: 150, 2h30"},
    {"altitude", "HEIGHT", "above the sea: 1600m, 5000ft"},
    {"barometer", "PRESSURE",
     "local air pressure, not reduced to sea level; instead of --altitude"},
    {"vessel", "VESSEL", "an id, bag:1.36kg, jar:1quart, bag:20x12x8cm, jar:9x12cm"},
    {"mass", "WEIGHT", "hydrated grain in one vessel"},
    {"vessels", "N", "how many in the cook"},
    {"load", "HOW", "how they stand in the cooker: an answer to the question about its load"},
    {"grain", "GRAIN", "an id, for its water and weight"},
    {"moisture", "PERCENT", "of the hydrated grain"},
    {"dry", "WEIGHT", "of grain as bought in one vessel"},
    {"start", "TEMPERATURE", "of the grain when loaded"},
    {"come-up", "TIME", "from cold to full pressure"},
    {"cool", "TIME", "from full pressure to boiling, undisturbed"},
    {"air", "PERCENT", "of air left in the cooker: 0 after ten minutes of full steam"},
    {"target", "CHANCE", "aimed for that a vessel is not sterile: 0.001"},
    {"probe", "FILE", "a log of the core's temperature (CSV: time, temperature); '-' for input"},
    {"probe-unit", "C|F", "when the log does not say"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

static enum exit_status read_load(struct app *app, int *packing)
{
    const char *word = arguments_value(&app->arguments, "load");
    int feeder = app->rules->feeder[FEEDS_LOAD];
    const char *names[RULES_MAX_VALUES];

    if (word == NULL)
        return EXIT_FINE;
    if (feeder == RULES_NONE)
        return option_fault(app, "load", "the rules know nothing of loads");
    const struct observable *load = &app->rules->observables[feeder];
    if ((*packing = rules_value(load, word)) != RULES_NONE)
        return EXIT_FINE;
    for (size_t i = 0; i < load->value_count; i++)
        names[i] = load->values[i].id;
    const char *near = diag_nearest(word, names, load->value_count);
    return option_fault(app, "load", "no load '%s'; did you mean '%s'?", word,
                        near != NULL ? near : names[0]);
}

static enum exit_status read_known(struct app *app, struct known_cook *known)
{
    const struct {
        const char *name;
        enum dimension dimension;
        double *value;
    } amounts[] = {
        {"gauge", DIM_GAUGE_KPA, &known->gauge},
        {"rated", DIM_GAUGE_KPA, &known->rated},
        {"minutes", DIM_MINUTES, &known->minutes},
        {"barometer", DIM_PRESSURE_KPA, &known->barometer},
        {"come-up", DIM_MINUTES, &known->come_up},
        {"cool", DIM_MINUTES, &known->cool},
        {"air", DIM_PERCENT, &known->air},
        {"target", DIM_NONE, &known->target},
        {"vessels", DIM_NONE, &known->vessels},
    };
    enum exit_status fault = EXIT_FINE;

    known_cook_init(known);
    for (size_t i = 0; i < sizeof amounts / sizeof *amounts && fault == EXIT_FINE; i++)
        fault = option_amount(app, amounts[i].name, amounts[i].dimension, amounts[i].value);
    known->air /= 100.0;
    if (fault == EXIT_FINE)
        fault = option_quantity(app, "altitude", DIM_METRES, &known->altitude);
    if (fault == EXIT_FINE)
        fault = option_quantity(app, "start", DIM_CELSIUS, &known->start);
    if (fault == EXIT_FINE)
        fault = option_vessel(app, &known->vessel);
    if (fault == EXIT_FINE)
        fault = option_mix(app, &known->grain);
    return fault == EXIT_FINE ? read_load(app, &known->packing) : fault;
}

static bool add_reading(void *context, double minutes, double celsius)
{
    return cook_probe_add(context, minutes, celsius) == PROCESS_OK;
}

/* The same cook by the sea, for comparison; FAULT_EMPTY when it is there already. */
static enum process_fault at_sea_level(const struct cook_setup *setup, double outside,
                                       struct cook_result *sea)
{
    static const double sea_level_kpa = 101.325, near = 1.0;
    struct cook_setup there = *setup;
    double value;

    if (fabs(outside - sea_level_kpa) < near)
        return FAULT_EMPTY;
    there.steam.altitude_m = 0.0;
    there.steam.barometer_kpa = NAN;
    enum process_fault fault = cook_check(&there, &value);
    return fault != PROCESS_OK ? fault : cook_compute(&there, sea);
}

static enum exit_status tell(struct app *app, const struct cook_told *told)
{
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, voice_cook_json(told), false);
    voice_cook(&app->out, told);
    return app_flush(app);
}

static enum exit_status compute_probe(struct app *app, const char *path, struct cook_told *told,
                                      struct cook_probe *probe, struct cook_result *result)
{
    const struct cook_rules *rules = &app->rules->cook;

    cook_probe_init(probe, told->setup, rules->probe_gap > 0.0 ? rules->probe_gap : INFINITY);
    enum exit_status fault = read_log(app, path, add_reading, probe);
    if (fault != EXIT_FINE)
        return fault;
    struct physics_refusal refusal = {
        cook_probe_finish(probe, told->setup, rules->probe_doubt > 0.0 ? rules->probe_doubt : 0.0,
                          result),
        NAN};
    if (refusal.fault != PROCESS_OK)
        return option_refused(app, &refusal);
    told->probe = probe;
    return EXIT_FINE;
}

static enum exit_status compute(struct app *app, struct cook_told *told, struct cook_probe *probe,
                                struct cook_result *result, struct cook_result *sea)
{
    const char *path = arguments_value(&app->arguments, "probe");

    told->result = result;
    if (path != NULL)
        return compute_probe(app, path, told, probe, result);
    struct physics_refusal refusal = {cook_compute(told->setup, result), NAN};
    if (refusal.fault != PROCESS_OK)
        return option_refused(app, &refusal);
    enum process_fault fault = at_sea_level(told->setup, told->outside, sea);
    if (fault == PROCESS_OK)
        told->sea = sea;
    return fault == FAULT_MEMORY ? app_fail(app, STATUS_MEMORY) : EXIT_FINE;
}

static enum exit_status prepare(struct app *app, struct known_cook *known, struct cook_setup *setup,
                                struct cook_organism *organisms, struct text *assumed)
{
    struct physics_refusal refusal;
    bool probe = arguments_value(&app->arguments, "probe") != NULL;

    /* A log tells pressure and time by what they did; the setup then counts for the load only. */
    if (probe && isnan(known->minutes))
        known->minutes = 0.0;
    if (!probe && (isnan(known->minutes) || isnan(known->gauge)))
        return app_usage(app, "give --gauge and --minutes, or --probe; for instance: "
                              "jarside cook --gauge 15psi --minutes 150 --vessel bag:1.36kg");
    enum physics_answer answer =
        physics_cook(app->rules, known, setup, organisms, assumed, &refusal);
    if (answer == PHYSICS_OK)
        return EXIT_FINE;
    if (answer == PHYSICS_REFUSED)
        return option_refused(app, &refusal);
    struct text why;
    text_init(&why);
    physics_explain(&why, answer, &refusal);
    enum exit_status fault =
        app_usage(app, "%s", why.bytes != NULL ? why.bytes : "it cannot be computed");
    text_release(&why);
    return fault;
}

static enum exit_status run_cook(struct app *app)
{
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct cook_result result, sea;
    struct cook_setup setup;
    struct cook_probe probe;
    struct known_cook known;
    struct text assumed;

    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; see 'jarside cook --help'",
                         app->arguments.operands[0]);
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault == EXIT_FINE)
        fault = read_known(app, &known);
    if (fault != EXIT_FINE)
        return fault;
    text_init(&assumed);
    fault = prepare(app, &known, &setup, organisms, &assumed);
    if (fault == EXIT_FINE && assumed.failed)
        fault = app_fail(app, STATUS_MEMORY);
    struct cook_told told = {.rules = app->rules, .known = &known, .setup = &setup, .assumed = ""};
    if (fault == EXIT_FINE) {
        told.assumed = assumed.bytes;
        if (known.vessel.kind != RULES_NONE)
            told.vessel = app->rules->vessels[known.vessel.kind].name;
        (void)steam_outside(&setup.steam, &told.outside);
        fault = compute(app, &told, &probe, &result, &sea);
    }
    if (fault == EXIT_FINE)
        fault = tell(app, &told);
    text_release(&assumed);
    return fault;
}

const struct command command_cook = {
    .name = "cook",
    .summary = "works out what a cook does: steam, core, F0, survivors, minutes needed",
    .operands = "",
    .detail =
        "Example: jarside cook --gauge 15psi --altitude 1600m --vessel bag:1.36kg --minutes "
        "150. Ranges and what the answer leans on are always shown. Never exceed the pressure "
        "in the cooker's manual; this is not a calculator for canning food.",
    .options = options,
    .run = run_cook,
};
