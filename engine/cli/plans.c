/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/cli.h"
#include "process/probe.h"
#include "triage/physics.h"
#include "view/plan.h"

/* Plans: what a cook does, what to weigh, when the grain will be white. */

/* ---- what they share ------------------------------------------------------------------------- */

static enum status begin(struct app *app)
{
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; see 'jarside %s --help'",
                         app->arguments.operands[0], app->command->name);
    return app_load(app, NULL, 0);
}

static enum status refused(struct app *app, enum process_error fault, double value)
{
    char message[256];
    limit_message(message, sizeof message, fault, value);
    return app_error(app, STATUS_DATA, NULL, "%s", message);
}

/* Reads a temperature log (process/probe.h), handing each reading to `reading`. `path` may be "-".
 * --probe-unit says C or F when the log does not. */
static enum status read_log(struct app *app, const char *path,
                            bool (*reading)(void *context, double minutes, double celsius),
                            void *context)
{
    const char *unit = arguments_value(&app->arguments, "probe-unit");
    const struct probe_sink sink = {context, reading};
    struct probe_log log;
    if (unit != NULL && strcmp(unit, "C") != 0 && strcmp(unit, "F") != 0)
        return app_error(app, STATUS_DATA, "--probe-unit", "'%s' is neither C nor F", unit);
    probe_init(&log, path,
               unit == NULL     ? PROBE_UNKNOWN
               : unit[0] == 'C' ? PROBE_CELSIUS
                                : PROBE_FAHRENHEIT,
               &sink, app->diags);
    const struct csv_table table = probe_table(&log);
    enum status status = csv_read(&table, strcmp(path, "-") == 0 ? stdin : NULL, NULL, app->diags);
    return status == STATUS_OK ? probe_finish(&log) : status;
}

/* What physics answered: STATUS_OK, or the exit status after saying why not. */
static enum status answered(struct app *app, enum physics_answer answer,
                            const struct physics_refusal *refusal)
{
    struct text why;
    if (answer == PHYSICS_OK)
        return STATUS_OK;
    if (answer == PHYSICS_REFUSED)
        return refused(app, refusal->fault, refusal->value);
    text_init(&why);
    physics_explain(&why, answer, refusal);
    enum status status = app_usage(app, "%s", why.bytes);
    text_release(&why);
    return status;
}

static const char *vessel_name(const struct app *app, const struct known_vessel *vessel)
{
    return vessel->kind != RULES_NONE ? app->rules->vessels[vessel->kind].name : NULL;
}

/* ---- cook ------------------------------------------------------------------------------------ */

struct cook_request {
    struct known_cook known;
    const char *probe, *unit;
    bool json;
};

#define TARGET(member) .target = offsetof(struct cook_request, member)
static const struct option cook_options[] = {
    {"gauge", "PRESSURE", "what the gauge or weight says: 15psi, 1bar, 103kPa", OPTION_AMOUNT,
     TARGET(known.gauge), .dimension = DIM_GAUGE_KPA},
    {"rated", "PRESSURE", "what the cooker is rated for; nothing beyond it is computed",
     OPTION_AMOUNT, TARGET(known.rated), .dimension = DIM_GAUGE_KPA},
    {"minutes", "TIME", "at full pressure: 150, 2h30", OPTION_AMOUNT, TARGET(known.minutes),
     .dimension = DIM_MINUTES},
    {"altitude", "HEIGHT", "above the sea: 1600m, 5000ft", OPTION_QUANTITY, TARGET(known.altitude),
     .dimension = DIM_METRES},
    {"barometer", "PRESSURE", "local air pressure, not reduced to sea level; instead of --altitude",
     OPTION_AMOUNT, TARGET(known.barometer), .dimension = DIM_PRESSURE_KPA},
    {"vessel", "VESSEL", "an id, bag:1.36kg, jar:1quart, bag:20x12x8cm, jar:9x12cm", OPTION_VESSEL,
     TARGET(known.vessel)},
    {"mass", "WEIGHT", "hydrated grain in one vessel", OPTION_AMOUNT, TARGET(known.vessel.grams),
     .dimension = DIM_GRAMS},
    {"vessels", "N", "how many in the cook", OPTION_AMOUNT, TARGET(known.vessels)},
    {"load", "HOW", "how they stand in the cooker: an answer to the question about its load",
     OPTION_ID, TARGET(known.packing), .list = LIST_LOADS},
    {"grain", "GRAIN", "an id, for its water and weight", OPTION_ID, TARGET(known.grain.kind),
     .list = LIST_GRAINS},
    {"moisture", "PERCENT", "of the hydrated grain", OPTION_AMOUNT, TARGET(known.grain.moisture),
     .dimension = DIM_PERCENT},
    {"dry", "WEIGHT", "of grain as bought in one vessel", OPTION_AMOUNT, TARGET(known.grain.dry),
     .dimension = DIM_GRAMS},
    {"start", "TEMPERATURE", "of the grain when loaded", OPTION_QUANTITY, TARGET(known.start),
     .dimension = DIM_CELSIUS},
    {"come-up", "TIME", "from cold to full pressure", OPTION_AMOUNT, TARGET(known.come_up),
     .dimension = DIM_MINUTES},
    {"cool", "TIME", "from full pressure to boiling, undisturbed", OPTION_AMOUNT,
     TARGET(known.cool), .dimension = DIM_MINUTES},
    {"air", "PERCENT", "of air left in the cooker: 0 after ten minutes of full steam",
     OPTION_AMOUNT, TARGET(known.air), .dimension = DIM_PERCENT},
    {"target", "CHANCE", "aimed for that a vessel is not sterile: 0.001", OPTION_AMOUNT,
     TARGET(known.target)},
    {"probe", "FILE", "a log of the core's temperature (CSV: time, temperature); '-' for input",
     OPTION_TEXT, TARGET(probe)},
    {"probe-unit", "C|F", "when the log does not say", OPTION_TEXT, TARGET(unit)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};
#undef TARGET

static bool add_reading(void *context, double minutes, double celsius)
{
    return cook_probe_add(context, minutes, celsius) == PROCESS_OK;
}

static enum status compute_probe(struct app *app, const char *path, struct cook_report *cook)
{
    const struct cook_rules *rules = &app->rules->cook;
    double doubt = rules->probe_doubt > 0.0 ? rules->probe_doubt : 0.0;

    cook->measured = true;
    cook_probe_init(&cook->probe, &cook->setup,
                    rules->probe_gap > 0.0 ? rules->probe_gap : INFINITY);
    enum status status = read_log(app, path, add_reading, &cook->probe);
    if (status != STATUS_OK)
        return status;
    enum process_error fault = cook_probe_finish(&cook->probe, &cook->setup, doubt, &cook->result);
    return fault == PROCESS_OK ? STATUS_OK : refused(app, fault, NAN);
}

/* The same cook by the sea, for comparison, unless it is there already. */
static void compute_sea(struct cook_report *cook)
{
    static const double sea_level_kpa = 101.325, near = 1.0;
    struct cook_setup there = cook->setup;
    double value;

    there.steam.altitude_m = 0.0;
    there.steam.barometer_kpa = NAN;
    cook->has_sea = fabs(cook->outside - sea_level_kpa) >= near &&
                    cook_check(&there, &value) == PROCESS_OK &&
                    cook_compute(&there, &cook->sea) == PROCESS_OK;
}

static enum status compute_cook(struct app *app, const struct cook_request *request,
                                struct cook_report *cook)
{
    (void)steam_outside(&cook->setup.steam, &cook->outside);
    if (request->probe != NULL)
        return compute_probe(app, request->probe, cook);
    enum process_error fault = cook_compute(&cook->setup, &cook->result);
    if (fault != PROCESS_OK)
        return refused(app, fault, NAN);
    compute_sea(cook);
    return STATUS_OK;
}

static enum status run_cook(struct app *app)
{
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct physics_refusal refusal;
    struct cook_request request = {.json = false};
    struct known_cook *known = &request.known;
    struct cook_report cook = {.rules = app->rules};
    struct text assumed;
    enum status status;

    known_cook_init(known);
    if ((status = begin(app)) || (status = options_fill(app, &request)))
        return status;
    known->air /= 100.0;
    /* A log tells pressure and time by what they did; the setup then counts for the load only. */
    if (request.probe != NULL && isnan(known->minutes))
        known->minutes = 0.0;
    if (request.probe == NULL && (isnan(known->minutes) || isnan(known->gauge)))
        return app_usage(app, "give --gauge and --minutes, or --probe; for instance: "
                              "jarside cook --gauge 15psi --minutes 150 --vessel bag:1.36kg");
    text_init(&assumed);
    enum physics_answer answer =
        physics_cook(app->rules, known, &cook.setup, organisms, &assumed, &refusal);
    cook.rules = app->rules;
    cook.rated = isnan(known->rated) ? app->rules->cook.rated : known->rated;
    cook.assumed = assumed.bytes;
    cook.vessel = vessel_name(app, &known->vessel);
    if (!(status = answered(app, answer, &refusal)) &&
        !(status = compute_cook(app, &request, &cook))) {
        if (request.json)
            status = app_json(app, view_cook_json(&cook), false);
        else {
            view_cook(&app->out, &cook);
            status = app_flush(app);
        }
    }
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
    .options = cook_options,
    .run = run_cook,
};

/* ---- mix ------------------------------------------------------------------------------------- */

struct mix_request {
    struct known_grain grain;
    struct known_vessel vessel;
    double before, after, target, vessels;
    bool json;
};

#define TARGET(member) .target = offsetof(struct mix_request, member)
static const struct option mix_options[] = {
    {"dry", "WEIGHT", "of grain as bought", OPTION_AMOUNT, TARGET(grain.dry),
     .dimension = DIM_GRAMS},
    {"water", "WEIGHT", "of water added and not drained; a millilitre is a gram", OPTION_AMOUNT,
     TARGET(grain.water), .dimension = DIM_GRAMS},
    {"before", "WEIGHT", "of grain before soaking and draining", OPTION_AMOUNT, TARGET(before),
     .dimension = DIM_GRAMS},
    {"after", "WEIGHT", "of the same afterwards", OPTION_AMOUNT, TARGET(after),
     .dimension = DIM_GRAMS},
    {"grain", "GRAIN", "an id, for its own water and its band", OPTION_ID, TARGET(grain.kind),
     .list = LIST_GRAINS},
    {"own-moisture", "PERCENT", "of the grain as bought, if it was measured", OPTION_AMOUNT,
     TARGET(grain.own_moisture), .dimension = DIM_PERCENT},
    {"target", "PERCENT", "moisture to aim for; else the middle of the grain's band", OPTION_AMOUNT,
     TARGET(target), .dimension = DIM_PERCENT},
    {"vessel", "VESSEL", "what it goes into: an id, bag:1.36kg, jar:1quart", OPTION_VESSEL,
     TARGET(vessel)},
    {"mass", "WEIGHT", "hydrated grain in one vessel", OPTION_AMOUNT, TARGET(vessel.grams),
     .dimension = DIM_GRAMS},
    {"vessels", "N", "how many vessels", OPTION_AMOUNT, TARGET(vessels)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};
#undef TARGET

static enum status check_mix(struct app *app, const struct mix_request *mix)
{
    if (mix->vessels < 1.0)
        return app_error(app, STATUS_DATA, "--vessels", "at least one vessel");
    if (isnan(mix->before) != isnan(mix->after))
        return app_usage(app, "--before and --after go together: the same grain, weighed twice");
    if (!isnan(mix->grain.dry) && !isnan(mix->grain.water) && !isnan(mix->before))
        return app_usage(app, "give either --dry and --water or --before and --after, not both");
    if (!isnan(mix->grain.water) && isnan(mix->grain.dry))
        return app_usage(app, "--water needs --dry: how much grain as bought it went with");
    return STATUS_OK;
}

/* Weighed already: what moisture it makes. */
static enum status weighed(struct app *app, const struct mix_request *mix,
                           struct mix_report *report)
{
    double own = report->own_moisture;
    enum process_error fault;

    if (!isnan(mix->before)) {
        report->dry = mix->before;
        report->water = mix->after - mix->before;
        fault = moisture_soaked(mix->before, own, mix->after, &report->moisture);
        if (fault == PROCESS_MOISTURE_DROP)
            return app_error(app, STATUS_DATA, "--after",
                             "lighter after soaking than before; weigh both drained "
                             "of water that runs off");
    } else {
        report->dry = mix->grain.dry;
        report->water = mix->grain.water;
        fault = moisture_mixed(report->dry, own, report->water, &report->moisture);
    }
    double wet =
        100.0 * (report->water + report->dry * own / 100.0) / (report->water + report->dry);
    report->target = NAN;
    return fault == PROCESS_OK ? STATUS_OK
                               : refused(app, fault, fault == PROCESS_MOISTURE ? wet : report->dry);
}

/* To be weighed: from the grain there is, or from the vessels to fill. */
static enum status recipe(struct app *app, const struct mix_request *mix, struct mix_report *report)
{
    double each = physics_grams(app->rules, &mix->vessel), own = report->own_moisture;
    enum process_error fault;

    report->recipe = true;
    report->moisture = report->target;
    if (!isnan(mix->grain.dry)) {
        report->dry = mix->grain.dry;
        fault = moisture_water_for(report->dry, own, report->target, &report->water);
    } else if (!isnan(each)) {
        fault = moisture_recipe(each * report->vessels, own, report->target, &report->dry,
                                &report->water);
    } else {
        return app_usage(app, "give --dry and --water, or --before and --after, or a --vessel to "
                              "fill; for instance: jarside mix --grain rye --vessel jar:1quart "
                              "--vessels 6");
    }
    return fault == PROCESS_OK
               ? STATUS_OK
               : refused(app, fault, fault == PROCESS_MOISTURE ? report->target : report->dry);
}

static enum status run_mix(struct app *app)
{
    struct mix_request mix = {.before = NAN, .after = NAN, .target = NAN, .vessels = NAN};
    enum status status;

    known_grain_init(&mix.grain);
    known_vessel_init(&mix.vessel);
    if ((status = begin(app)) || (status = options_fill(app, &mix)) ||
        (status = check_mix(app, &mix)))
        return status;
    const struct rules *rules = app->rules;
    struct mix_report report = {
        .rules = rules,
        .own_moisture = physics_own_moisture(rules, &mix.grain),
        .band = physics_band(rules, mix.grain.kind),
        .vessels = isnan(mix.vessels) ? 1.0 : mix.vessels,
        .fill = NAN,
        .vessel = vessel_name(app, &mix.vessel),
        .assumed = !isnan(mix.grain.own_moisture) ? ""
                   : mix.grain.kind != RULES_NONE
                       ? "grain as bought with the water usual in trade"
                       : "grain as bought with the water usual in trade; the bands of all grains",
    };
    if (mix.grain.kind != RULES_NONE) {
        report.grain = &rules->grains[mix.grain.kind];
        report.grain_id = report.grain->id;
    }
    report.target = isnan(mix.target) ? 0.5 * (report.band.lo + report.band.hi) : mix.target;
    if (isnan(report.own_moisture) || isnan(report.target))
        return app_usage(app, "the rules hold no grain to compute this from");
    bool done = !isnan(mix.before) || (!isnan(mix.grain.dry) && !isnan(mix.grain.water));
    status = done ? weighed(app, &mix, &report) : recipe(app, &mix, &report);
    if (status != STATUS_OK)
        return status;
    report.dry_basis = moisture_dry_basis(report.moisture);
    moisture_judge(report.dry, report.own_moisture, report.moisture, &report.band, &report.verdict);
    if (mix.vessel.kind != RULES_NONE && rules->vessels[mix.vessel.kind].litres > 0.0)
        report.fill = moisture_fill((report.dry + report.water) / report.vessels,
                                    physics_bulk(rules, mix.grain.kind),
                                    rules->vessels[mix.vessel.kind].litres);
    if (mix.json)
        return app_json(app, view_mix_json(&report), false);
    view_mix(&app->out, &report);
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

/* ---- forecast -------------------------------------------------------------------------------- */

enum { MOST_SHAKES = 16, MOST_WARMTH = 4096 };

struct forecast_request {
    struct known_growth known;
    const char *dose, *temperatures, *unit, *start;
    struct texts shaken;
    double day, seen, still;
    bool json;
    /* Read from these. */
    struct shake shakes[MOST_SHAKES];
    struct warmth warmth[MOST_WARMTH];
};

#define TARGET(member) .target = offsetof(struct forecast_request, member)
static const struct option forecast_options[] = {
    {"species", "SPECIES", "an id: oyster, shiitake ...", OPTION_ID, TARGET(known.species),
     .list = LIST_SPECIES},
    {"temp", "TEMPERATURE", "where it stands: 24C, 75F", OPTION_QUANTITY, TARGET(known.temperature),
     .dimension = DIM_CELSIUS},
    {"temps", "FILE", "a log of it instead (CSV: time, temperature), from the day of inoculation",
     OPTION_TEXT, TARGET(temperatures)},
    {"probe-unit", "C|F", "when the log does not say", OPTION_TEXT, TARGET(unit)},
    {"starter", "KIND", "its kind: an answer to the question about the starter", OPTION_ID,
     TARGET(known.starter), .list = LIST_STARTERS},
    {"dose", "AMOUNT", "in one vessel: 4ml, 100g; a bare number of pieces of agar", OPTION_TEXT,
     TARGET(dose)},
    {"vessel", "VESSEL", "an id, bag:1.36kg, jar:1quart", OPTION_VESSEL, TARGET(known.vessel)},
    {"mass", "WEIGHT", "hydrated grain in one vessel", OPTION_AMOUNT, TARGET(known.vessel.grams),
     .dimension = DIM_GRAMS},
    {"grain", "GRAIN", "an id", OPTION_ID, TARGET(known.grain.kind), .list = LIST_GRAINS},
    {"shake", "DAY", "a day it was or will be shaken; may be repeated", OPTION_TEXTS,
     TARGET(shaken)},
    {"start", "DATE", "of inoculation: 2025-03-31, to be told dates", OPTION_DATE, TARGET(start)},
    {"day", "DAY", "with --seen: how many days after inoculation", OPTION_AMOUNT, TARGET(day),
     .dimension = DIM_DAYS},
    {"seen", "PERCENT", "how much is white", OPTION_AMOUNT, TARGET(seen), .dimension = DIM_PERCENT},
    {"still", "DAYS", "for how long nothing has moved", OPTION_AMOUNT, TARGET(still),
     .dimension = DIM_DAYS},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};
#undef TARGET

/* The dose is told in the starter's unit; without a starter the unit tells which it must be. */
static enum status read_dose(struct app *app, struct forecast_request *run)
{
    static const enum dimension dimensions[] = {
        [STARTER_ML] = DIM_LITRES, [STARTER_GRAMS] = DIM_GRAMS, [STARTER_PIECES] = DIM_NONE};
    int starter = run->known.starter == RULES_NONE ? 0 : run->known.starter;
    double dose = NAN;

    if (app->rules->starter_count == 0)
        return app_usage(app, "the rules hold no starters to compute this from");
    if (run->dose == NULL)
        return STATUS_OK;
    enum starter_unit unit = app->rules->starters[starter].unit;
    enum status status =
        option_measure(app, "dose", run->dose, OPTION_AMOUNT, dimensions[unit], &dose);
    run->known.dose = unit == STARTER_ML ? 1000.0 * dose : dose;
    if (status == STATUS_OK && !(dose > 0.0))
        return app_error(app, STATUS_DATA, "--dose", "a dose is more than nothing");
    return status;
}

static enum status read_shakes(struct app *app, struct forecast_request *run)
{
    const struct forecast_rules *rules = &app->rules->forecast;

    for (size_t i = 0; i < run->shaken.count; i++) {
        const char *word = run->shaken.words[i];
        char *end = NULL;
        double day = strtod(word, &end);
        if (i == MOST_SHAKES)
            return app_error(app, STATUS_DATA, "--shake", "at most %d shakes", MOST_SHAKES);
        if (end == word || *end != '\0' || !(day >= 0.0 && day <= 730.0))
            return app_error(app, STATUS_DATA, "--shake", "'%s' is no day from 0 to 730", word);
        if (i > 0 && day <= run->shakes[i - 1].day)
            return app_error(app, STATUS_DATA, "--shake", "'%s' is not after the shake before it",
                             word);
        run->shakes[i] = (struct shake){day, rules->shake_factor, rules->shake_pause};
    }
    run->known.shakes = run->shakes;
    run->known.shake_count = run->shaken.count;
    return STATUS_OK;
}

/* A log is thinned to one reading an hour or so: growth does not feel more. */
static bool add_warmth(void *context, double minutes, double celsius)
{
    static const double hour = 1.0 / 24.0;
    struct forecast_request *run = context;
    size_t *count = &run->known.warmth_count;
    double day = minutes / 1440.0, last = *count > 0 ? run->warmth[*count - 1].day : -1.0;

    if (day <= last)
        return false;
    if (*count == 0 || (day >= last + hour && *count < MOST_WARMTH))
        run->warmth[(*count)++] = (struct warmth){day, celsius};
    return true;
}

static enum status read_run(struct app *app, struct forecast_request *run)
{
    enum status status;

    known_growth_init(&run->known);
    run->day = run->seen = run->still = NAN;
    if ((status = options_fill(app, run)) || (status = read_dose(app, run)) ||
        (status = read_shakes(app, run)))
        return status;
    if (run->temperatures != NULL && !isnan(run->known.temperature))
        return app_usage(app, "give either --temp or --temps, not both");
    if (run->temperatures != NULL) {
        run->known.warmth = run->warmth;
        if ((status = read_log(app, run->temperatures, add_warmth, run)))
            return status;
    }
    if (run->known.species == RULES_NONE)
        return app_usage(app, "give --species; for instance: jarside forecast --species oyster "
                              "--temp 24C --dose 4ml --vessel bag:1.36kg");
    if (isnan(run->day) != isnan(run->seen))
        return app_usage(app, "--day and --seen go together: how white it was on which day");
    return STATUS_OK;
}

static enum process_error compute_run(struct forecast_report *report,
                                      const struct forecast_request *run)
{
    static const struct range never = {INFINITY, INFINITY, INFINITY};
    const struct forecast_rules *rules = &report->rules->forecast;
    const struct forecast *forecast = &report->forecast;
    struct range from = never, to = never;

    report->visible = report->full = never;
    (void)forecast_days(forecast, 1.0, &report->visible);
    report->reached = forecast_days(forecast, FORECAST_FULL, &report->full) == PROCESS_OK;
    (void)forecast_days(forecast, rules->shake_lo, &from);
    (void)forecast_days(forecast, rules->shake_hi, &to);
    report->shake = (struct range){from.central, 0.5 * (from.central + to.central), to.central};
    report->look_every = rules->look_every > 0.0 ? rules->look_every : 3.0;
    /* Strains of one species differ by a factor of two: beyond twice the likeliest day is too long. */
    report->nothing_seen = report->reached ? 2.0 * report->visible.central : INFINITY;
    report->not_full = report->reached ? 2.0 * report->full.central : INFINITY;
    report->judged = !isnan(run->day);
    report->day = run->day;
    report->seen = run->seen;
    return report->judged ? forecast_judge(forecast, run->day, run->seen, run->still, &report->pace)
                          : PROCESS_OK;
}

static enum status tell_run(struct app *app, const struct forecast_request *run)
{
    struct forecast_report report = {
        .rules = app->rules,
        .species = &app->rules->species[run->known.species],
        .species_id = app->rules->species[run->known.species].id,
        .start = run->start,
        .vessel = vessel_name(app, &run->known.vessel),
    };
    struct physics_refusal refusal;
    struct warmth constant;
    struct text assumed;

    text_init(&assumed);
    enum status status = answered(
        app,
        physics_growth(app->rules, &run->known, &report.forecast, &constant, &assumed, &refusal),
        &refusal);
    report.assumed = assumed.bytes;
    if (status == STATUS_OK) {
        enum process_error fault = compute_run(&report, run);
        if (fault != PROCESS_OK)
            status = refused(app, fault, fault == PROCESS_COVERAGE ? run->seen : run->day);
    }
    if (status == STATUS_OK && run->json) {
        status = app_json(app, view_forecast_json(&report), false);
    } else if (status == STATUS_OK) {
        view_forecast(&app->out, &report);
        status = app_flush(app);
    }
    text_release(&assumed);
    return status;
}

static enum status run_forecast(struct app *app)
{
    struct forecast_request *run = calloc(1, sizeof *run);
    enum status status;

    if (!(status = begin(app)) && !(status = read_run(app, run)))
        status = tell_run(app, run);
    free(run);
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
