/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/assign.h"
#include "cli/cli.h"
#include "view/plan.h"

/* ==== cook ==================================================================================== */

static const struct option options[] = {
    {"gauge", "PRESSURE", "what the gauge or weight says: 15psi, 1bar, 103kPa",
     .kind = OPTION_TEXT},
    {"rated", "PRESSURE", "what the cooker is rated for; nothing beyond it is computed",
     .kind = OPTION_TEXT},
    {"minutes", "TIME", "at full pressure: 150, 2h30", .kind = OPTION_TEXT},
    {"altitude", "HEIGHT", "above the sea: 1600m, 5000ft", .kind = OPTION_TEXT},
    {"barometer", "PRESSURE", "local air pressure, not reduced to sea level; instead of --altitude",
     .kind = OPTION_TEXT},
    {"vessel", "VESSEL", "an id, bag:1.36kg, jar:1quart, bag:20x12x8cm, jar:9x12cm",
     .kind = OPTION_TEXT},
    {"mass", "WEIGHT", "hydrated grain in one vessel", .kind = OPTION_TEXT},
    {"vessels", "N", "how many in the cook", .kind = OPTION_TEXT},
    {"load", "HOW", "how they stand in the cooker: an answer to the question about its load",
     .kind = OPTION_TEXT},
    {"grain", "GRAIN", "an id, for its water and weight", .kind = OPTION_TEXT},
    {"moisture", "PERCENT", "of the hydrated grain", .kind = OPTION_TEXT},
    {"dry", "WEIGHT", "of grain as bought in one vessel", .kind = OPTION_TEXT},
    {"start", "TEMPERATURE", "of the grain when loaded", .kind = OPTION_TEXT},
    {"come-up", "TIME", "from cold to full pressure", .kind = OPTION_TEXT},
    {"cool", "TIME", "from full pressure to boiling, undisturbed", .kind = OPTION_TEXT},
    {"air", "PERCENT", "of air left in the cooker: 0 after ten minutes of full steam",
     .kind = OPTION_TEXT},
    {"target", "CHANCE", "aimed for that a vessel is not sterile: 0.001", .kind = OPTION_TEXT},
    {"probe", "FILE", "a log of the core's temperature (CSV: time, temperature); '-' for input",
     .kind = OPTION_TEXT},
    {"probe-unit", "C|F", "when the log does not say", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

static enum status read_load(struct app *app, int *packing)
{
    const char *word = arguments_value(&app->arguments, "load");
    int feeder = app->rules->feeder[FEEDS_LOAD];
    const char *names[RULES_MAX_VALUES];

    if (word == NULL)
        return STATUS_OK;
    if (feeder == RULES_NONE)
        return app_error(app, STATUS_DATA, "--load", "the rules know nothing of loads");
    const struct observable *load = &app->rules->observables[feeder];
    if ((*packing = rules_value(load, word)) != RULES_NONE)
        return STATUS_OK;
    for (size_t i = 0; i < load->value_count; i++)
        names[i] = load->values[i].id;
    const char *near = diag_nearest(word, names, load->value_count);
    return app_error(app, STATUS_DATA, "--load", "no load '%s'; did you mean '%s'?", word,
                     near != NULL ? near : names[0]);
}

static enum status read_known(struct app *app, struct known_cook *known)
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
    enum status status = STATUS_OK;

    known_cook_init(known);
    for (size_t i = 0; i < sizeof amounts / sizeof *amounts && status == STATUS_OK; i++)
        status = option_amount(app, amounts[i].name, amounts[i].dimension, amounts[i].value);
    known->air /= 100.0;
    if (status == STATUS_OK)
        status = option_quantity(app, "altitude", DIM_METRES, &known->altitude);
    if (status == STATUS_OK)
        status = option_quantity(app, "start", DIM_CELSIUS, &known->start);
    if (status == STATUS_OK)
        status = option_vessel(app, &known->vessel);
    if (status == STATUS_OK)
        status = option_mix(app, &known->grain);
    return status == STATUS_OK ? read_load(app, &known->packing) : status;
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

static enum status tell(struct app *app, const struct cook_told *told)
{
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, view_cook_json(told), false);
    view_cook(&app->out, told);
    return app_flush(app);
}

static enum status compute_probe(struct app *app, const char *path, struct cook_told *told,
                                 struct cook_probe *probe, struct cook_result *result)
{
    const struct cook_rules *rules = &app->rules->cook;

    cook_probe_init(probe, told->setup, rules->probe_gap > 0.0 ? rules->probe_gap : INFINITY);
    enum status status = read_log(app, path, add_reading, probe);
    if (status != STATUS_OK)
        return status;
    struct physics_refusal refusal = {
        cook_probe_finish(probe, told->setup, rules->probe_doubt > 0.0 ? rules->probe_doubt : 0.0,
                          result),
        NAN};
    if (refusal.fault != PROCESS_OK)
        return option_refused(app, &refusal);
    told->probe = probe;
    return STATUS_OK;
}

static enum status compute(struct app *app, struct cook_told *told, struct cook_probe *probe,
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
    return fault == FAULT_MEMORY ? STATUS_MEMORY : STATUS_OK;
}

static enum status prepare(struct app *app, struct known_cook *known, struct cook_setup *setup,
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
        return STATUS_OK;
    if (answer == PHYSICS_REFUSED)
        return option_refused(app, &refusal);
    struct text why;
    text_init(&why);
    physics_explain(&why, answer, &refusal);
    enum status status =
        app_usage(app, "%s", why.bytes != NULL ? why.bytes : "it cannot be computed");
    text_release(&why);
    return status;
}

static enum status run_cook(struct app *app)
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
    enum status status = app_load(app, NULL, 0);
    if (status == STATUS_OK)
        status = read_known(app, &known);
    if (status != STATUS_OK)
        return status;
    text_init(&assumed);
    status = prepare(app, &known, &setup, organisms, &assumed);
    if (status == STATUS_OK && assumed.failed)
        status = STATUS_MEMORY;
    struct cook_told told = {.rules = app->rules, .known = &known, .setup = &setup, .assumed = ""};
    if (status == STATUS_OK) {
        told.assumed = assumed.bytes;
        if (known.vessel.kind != RULES_NONE)
            told.vessel = app->rules->vessels[known.vessel.kind].name;
        (void)steam_outside(&setup.steam, &told.outside);
        status = compute(app, &told, &probe, &result, &sea);
    }
    if (status == STATUS_OK)
        status = tell(app, &told);
    text_release(&assumed);
    return status;
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

/* ==== mix ===================================================================================== */

static const struct option mix_options[] = {
    {"dry", "WEIGHT", "of grain as bought", .kind = OPTION_TEXT},
    {"water", "WEIGHT", "of water added and not drained; a millilitre is a gram",
     .kind = OPTION_TEXT},
    {"before", "WEIGHT", "of grain before soaking and draining", .kind = OPTION_TEXT},
    {"after", "WEIGHT", "of the same afterwards", .kind = OPTION_TEXT},
    {"grain", "GRAIN", "an id, for its own water and its band", .kind = OPTION_TEXT},
    {"own-moisture", "PERCENT", "of the grain as bought, if it was measured", .kind = OPTION_TEXT},
    {"target", "PERCENT", "moisture to aim for; else the middle of the grain's band",
     .kind = OPTION_TEXT},
    {"vessel", "VESSEL", "what it goes into: an id, bag:1.36kg, jar:1quart", .kind = OPTION_TEXT},
    {"mass", "WEIGHT", "hydrated grain in one vessel", .kind = OPTION_TEXT},
    {"vessels", "N", "how many vessels", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

struct mix { /* what was said, and what becomes of it */
    struct known_grain grain;
    struct known_vessel vessel;
    double before, after, target, vessels;
};

static enum status read_said(struct app *app, struct mix *mix)
{
    known_grain_init(&mix->grain);
    known_vessel_init(&mix->vessel);
    mix->before = mix->after = mix->target = mix->vessels = NAN;
    enum status status = option_mix(app, &mix->grain);
    if (status == STATUS_OK)
        status = option_amount(app, "before", DIM_GRAMS, &mix->before);
    if (status == STATUS_OK)
        status = option_amount(app, "after", DIM_GRAMS, &mix->after);
    if (status == STATUS_OK)
        status = option_amount(app, "target", DIM_PERCENT, &mix->target);
    if (status == STATUS_OK)
        status = option_amount(app, "vessels", DIM_NONE, &mix->vessels);
    if (status == STATUS_OK)
        status = option_vessel(app, &mix->vessel);
    if (status == STATUS_OK && !isnan(mix->vessels) && mix->vessels < 1.0)
        status = app_error(app, STATUS_DATA, "--vessels", "at least one vessel");
    return status;
}

static enum status refused(struct app *app, enum process_fault fault, double value)
{
    struct physics_refusal refusal = {fault, value};
    return option_refused(app, &refusal);
}

/* Weighed already: what moisture it makes. */
static enum status weighed(struct app *app, struct mix *mix, struct mix_told *told)
{
    enum process_fault fault;

    if (!isnan(mix->before)) {
        told->dry = mix->before;
        told->water = mix->after - mix->before;
        fault = moisture_soaked(mix->before, told->own_moisture, mix->after, &told->moisture);
        if (fault == FAULT_MOISTURE_DROP)
            return app_error(app, STATUS_DATA, "--after",
                             "lighter after soaking than before; weigh both drained "
                             "of water that runs off");
    } else {
        told->dry = mix->grain.dry;
        told->water = mix->grain.water;
        fault = moisture_mixed(told->dry, told->own_moisture, told->water, &told->moisture);
    }
    if (fault != PROCESS_OK) {
        double wet = 100.0 * (told->water + told->dry * told->own_moisture / 100.0) /
                     (told->water + told->dry);
        return refused(app, fault, fault == FAULT_MOISTURE ? wet : told->dry);
    }
    moisture_judge(told->dry, told->own_moisture, told->moisture, &told->band, &told->verdict);
    return STATUS_OK;
}

/* To be weighed: from the grain there is, or from the vessels to fill. */
static enum status recipe(struct app *app, struct mix *mix, struct mix_told *told)
{
    double each = physics_grams(app->rules, &mix->vessel);
    enum process_fault fault;

    told->recipe = true;
    told->moisture = told->target;
    if (!isnan(mix->grain.dry)) {
        told->dry = mix->grain.dry;
        fault = moisture_water_for(told->dry, told->own_moisture, told->target, &told->water);
    } else if (!isnan(each)) {
        double all = each * (told->vessels > 0.0 ? told->vessels : 1.0);
        fault = moisture_recipe(all, told->own_moisture, told->target, &told->dry, &told->water);
    } else {
        return app_usage(app, "give --dry and --water, or --before and --after, or a --vessel to "
                              "fill; for instance: jarside mix --grain rye --vessel jar:1quart "
                              "--vessels 6");
    }
    if (fault != PROCESS_OK)
        return refused(app, fault, fault == FAULT_MOISTURE ? told->target : told->dry);
    moisture_judge(told->dry, told->own_moisture, told->moisture, &told->band, &told->verdict);
    return STATUS_OK;
}

static void headroom(struct app *app, const struct mix *mix, struct mix_told *told)
{
    told->fill = NAN;
    if (mix->vessel.kind == RULES_NONE)
        return;
    const struct vessel_kind *kind = &app->rules->vessels[mix->vessel.kind];
    double count = told->vessels > 0.0 ? told->vessels : 1.0;
    double bulk = physics_bulk(app->rules, mix->grain.kind);
    told->vessel = kind->name;
    if (!isnan(kind->litres) && kind->litres > 0.0)
        told->fill = moisture_fill((told->dry + told->water) / count, bulk, kind->litres);
}

static enum status mix_compute(struct app *app, struct mix *mix, struct mix_told *told)
{
    bool both = !isnan(mix->grain.dry) && !isnan(mix->grain.water);
    bool soaked = !isnan(mix->before) && !isnan(mix->after);

    if (isnan(mix->before) != isnan(mix->after))
        return app_usage(app, "--before and --after go together: the same grain, weighed twice");
    if (both && soaked)
        return app_usage(app, "give either --dry and --water or --before and --after, not both");
    if (!isnan(mix->grain.water) && isnan(mix->grain.dry))
        return app_usage(app, "--water needs --dry: how much grain as bought it went with");
    told->band = physics_band(app->rules, mix->grain.kind);
    told->own_moisture = physics_own_moisture(app->rules, &mix->grain);
    told->target = isnan(mix->target) ? 0.5 * (told->band.lo + told->band.hi) : mix->target;
    told->vessels = isnan(mix->vessels) ? 0.0 : mix->vessels;
    if (isnan(told->own_moisture) || isnan(told->target))
        return app_usage(app, "the rules hold no grain to mix_compute this from");
    enum status status = both || soaked ? weighed(app, mix, told) : recipe(app, mix, told);
    if (status == STATUS_OK)
        headroom(app, mix, told);
    return status;
}

static enum status run_mix(struct app *app)
{
    struct mix mix;

    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; see 'jarside mix --help'",
                         app->arguments.operands[0]);
    enum status status = app_load(app, NULL, 0);
    if (status == STATUS_OK)
        status = read_said(app, &mix);
    if (status != STATUS_OK)
        return status;
    struct mix_told told = {.rules = app->rules, .grain = &mix.grain, .assumed = ""};
    if (isnan(mix.grain.own_moisture))
        told.assumed =
            mix.grain.kind == RULES_NONE
                ? "grain as bought with the water usual in trade; the bands of all grains"
                : "grain as bought with the water usual in trade";
    status = mix_compute(app, &mix, &told);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, view_mix_json(&told), false);
    view_mix(&app->out, &told);
    return app_flush(app);
}

const struct command command_mix = {
    .name = "mix",
    .summary = "works out grain and water to weigh, or the moisture of what was weighed",
    .operands = "",
    .detail =
        "Examples: jarside mix --dry 885g --water 475g --grain millet; jarside mix --grain rye "
        "--vessel jar:1quart --vessels 6; jarside mix --before 1kg --after 1.7kg --grain oats.",
    .options = mix_options,
    .run = run_mix,
};

/* ==== forecast ================================================================================ */

static const struct option forecast_options[] = {
    {"species", "SPECIES", "an id: oyster, shiitake ...", .kind = OPTION_TEXT},
    {"temp", "TEMPERATURE", "where it stands: 24C, 75F", .kind = OPTION_TEXT},
    {"temps", "FILE", "a log of it instead (CSV: time, temperature), from the day of inoculation",
     .kind = OPTION_TEXT},
    {"probe-unit", "C|F", "when the log does not say", .kind = OPTION_TEXT},
    {"starter", "KIND", "its kind: an answer to the question about the starter",
     .kind = OPTION_TEXT},
    {"dose", "AMOUNT", "in one vessel: 4ml, 100g; a bare number of pieces of agar",
     .kind = OPTION_TEXT},
    {"vessel", "VESSEL", "an id, bag:1.36kg, jar:1quart", .kind = OPTION_TEXT},
    {"mass", "WEIGHT", "hydrated grain in one vessel", .kind = OPTION_TEXT},
    {"grain", "GRAIN", "an id", .kind = OPTION_TEXT},
    {"shake", "DAY", "a day it was or will be shaken; may be repeated", .kind = OPTION_TEXT},
    {"start", "DATE", "of inoculation: 2025-03-31, to be told dates", .kind = OPTION_TEXT},
    {"day", "DAY", "with --seen: how many days after inoculation", .kind = OPTION_TEXT},
    {"seen", "PERCENT", "how much is white", .kind = OPTION_TEXT},
    {"still", "DAYS", "for how long nothing has moved", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
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

static enum status read_starter(struct app *app, struct known_growth *known)
{
    const struct rules *rules = app->rules;
    const char *word = arguments_value(&app->arguments, "starter");
    const char *names[RULES_MAX_VALUES];
    size_t count = 0;

    if (word == NULL)
        return STATUS_OK;
    for (; count < rules->starter_count && count < RULES_MAX_VALUES; count++) {
        names[count] = rules->starters[count].id;
        if (strcmp(names[count], word) == 0)
            known->starter = (int)count;
    }
    if (known->starter != RULES_NONE)
        return STATUS_OK;
    const char *near = diag_nearest(word, names, count);
    return app_error(app, STATUS_DATA, "--starter", "no starter '%s'; did you mean '%s'?", word,
                     near != NULL ? near
                     : count > 0  ? names[0]
                                  : "");
}

/* The dose is told in the starter's unit; without a starter the unit tells which it must be. */
static enum status read_dose(struct app *app, struct known_growth *known)
{
    static const enum dimension dimensions[] = {
        [STARTER_ML] = DIM_LITRES, [STARTER_GRAMS] = DIM_GRAMS, [STARTER_PIECES] = DIM_NONE};
    int starter = known->starter == RULES_NONE ? 0 : known->starter;
    double dose = NAN;

    if (app->rules->starter_count == 0)
        return app_usage(app, "the rules hold no starters to forecast_compute this from");
    enum starter_unit unit = app->rules->starters[starter].unit;
    enum status status = option_amount(app, "dose", dimensions[unit], &dose);
    if (status != STATUS_OK || isnan(dose))
        return status;
    known->dose = unit == STARTER_ML ? 1000.0 * dose : dose;
    return known->dose > 0.0 ? STATUS_OK
                             : app_error(app, STATUS_DATA, "--dose", "a dose is more than nothing");
}

static enum status read_shakes(struct app *app, struct run *run)
{
    const struct forecast_rules *rules = &app->rules->forecast;
    const char *word = NULL;
    size_t count = 0;

    for (; (word = arguments_nth(&app->arguments, "shake", count)) != NULL; count++) {
        char *end = NULL;
        double day = strtod(word, &end);
        if (count == MOST_SHAKES)
            return app_error(app, STATUS_DATA, "--shake", "at most %d shakes", MOST_SHAKES);
        if (end == word || *end != '\0' || !(day >= 0.0 && day <= 730.0))
            return app_error(app, STATUS_DATA, "--shake", "'%s' is no day from 0 to 730", word);
        if (count > 0 && day <= run->shakes[count - 1].day)
            return app_error(app, STATUS_DATA, "--shake", "'%s' is not after the shake before it",
                             word);
        run->shakes[count] = (struct shake){day, rules->shake_factor, rules->shake_pause};
    }
    run->known.shakes = run->shakes;
    run->known.shake_count = count;
    return STATUS_OK;
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

static enum status read_warmth(struct app *app, struct run *run)
{
    const char *path = arguments_value(&app->arguments, "temps");
    enum status status = option_quantity(app, "temp", DIM_CELSIUS, &run->known.temperature);

    if (status != STATUS_OK || path == NULL)
        return status;
    if (!isnan(run->known.temperature))
        return app_usage(app, "give either --temp or --temps, not both");
    run->warmth = calloc(MOST_WARMTH, sizeof *run->warmth);
    if (run->warmth == NULL)
        return STATUS_MEMORY;
    status = read_log(app, path, add_warmth, run);
    run->known.warmth = run->warmth;
    run->known.warmth_count = run->warmth_count;
    return status;
}

static enum status forecast_read_said(struct app *app, struct run *run)
{
    struct known_growth *known = &run->known;
    enum status status;

    known_growth_init(known);
    run->day = run->seen = run->still = NAN;
    if ((status = option_species(app, &known->species)) != STATUS_OK ||
        (status = read_starter(app, known)) != STATUS_OK ||
        (status = read_dose(app, known)) != STATUS_OK ||
        (status = option_vessel(app, &known->vessel)) != STATUS_OK ||
        (status = option_grain(app, &known->grain.kind)) != STATUS_OK ||
        (status = read_shakes(app, run)) != STATUS_OK ||
        (status = option_amount(app, "day", DIM_DAYS, &run->day)) != STATUS_OK ||
        (status = option_amount(app, "seen", DIM_PERCENT, &run->seen)) != STATUS_OK ||
        (status = option_amount(app, "still", DIM_DAYS, &run->still)) != STATUS_OK ||
        (status = option_date(app, "start", &run->start)) != STATUS_OK ||
        (status = read_warmth(app, run)) != STATUS_OK)
        return status;
    if (known->species == RULES_NONE)
        return app_usage(app, "give --species; for instance: jarside forecast --species oyster "
                              "--temp 24C --dose 4ml --vessel bag:1.36kg");
    if (isnan(run->day) != isnan(run->seen))
        return app_usage(app, "--day and --seen go together: how white it was on which day");
    return STATUS_OK;
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

static enum status forecast_tell(struct app *app, const struct run *run, const char *assumed,
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
        return app_json(app, view_forecast_json(&told), false);
    view_forecast(&app->out, &told);
    return app_flush(app);
}

static enum status forecast_compute(struct app *app, const struct run *run)
{
    struct physics_refusal refusal;
    struct forecast forecast;
    struct warmth constant;
    struct text assumed;

    text_init(&assumed);
    enum physics_answer answer =
        physics_growth(app->rules, &run->known, &forecast, &constant, &assumed, &refusal);
    enum status status;
    if (assumed.failed) {
        status = STATUS_MEMORY;
    } else if (answer == PHYSICS_OK) {
        status = forecast_tell(app, run, assumed.bytes, &forecast);
    } else if (answer == PHYSICS_REFUSED) {
        status = option_refused(app, &refusal);
    } else {
        text_clear(&assumed);
        physics_explain(&assumed, answer, &refusal);
        status = app_usage(app, "%s", assumed.bytes != NULL ? assumed.bytes : "");
    }
    text_release(&assumed);
    return status;
}

static enum status run_forecast(struct app *app)
{
    struct run run = {.warmth = NULL};

    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; see 'jarside forecast --help'",
                         app->arguments.operands[0]);
    enum status status = app_load(app, NULL, 0);
    if (status == STATUS_OK)
        status = forecast_read_said(app, &run);
    if (status == STATUS_OK)
        status = forecast_compute(app, &run);
    free(run.warmth);
    return status;
}

const struct command command_forecast = {
    .name = "forecast",
    .summary = "works out when the grain will be white, when to shake, whether it keeps up",
    .operands = "",
    .detail =
        "Examples: jarside forecast --species oyster --temp 24C --dose 4ml --vessel bag:1.36kg; "
        "add --day 12 --seen 30% to hear whether that is on time.",
    .options = forecast_options,
    .run = run_forecast,
};
