/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/app.h"
#include "process/probe.h"
#include "triage/physics.h"
#include "view/plan.h"

/* Plans: what a cook does, what to weigh, when the grain will be fully colonised. */

/* ---- what they share ------------------------------------------------------------------------- */

/* Ends the command unless physics was content with what it was given. */
static void must_compute(struct app *app, enum process_error error, double value)
{
    char message[256];
    if (error == PROCESS_OK)
        return;
    limit_message(message, sizeof message, error, value);
    app_quit(app, app_error(app, STATUS_DATA, NULL, "%s", message));
}

/* The same of what the rules fill; what had to be assumed, in the arena. */
static const char *must_answer(struct app *app, enum physics_answer answer,
                               const struct physics_refusal *refusal, struct text *words)
{
    if (answer == PHYSICS_REFUSED)
        must_compute(app, refusal->fault, refusal->value);
    if (answer != PHYSICS_OK) {
        text_clear(words);
        physics_explain(words, answer, refusal);
        app_stop(app, "%s", words->bytes);
    }
    const char *assumed = arena_string(app->arena, words->bytes);
    text_release(words);
    return assumed;
}

/* Reads a temperature log (process/probe.h), handing each reading to `reading`. `path` may be "-".
 * --probe-unit says C or F when the log does not. */
static void read_log(struct app *app, const char *path, const char *unit,
                     bool (*reading)(void *context, double minutes, double celsius), void *context)
{
    const struct probe_sink sink = {context, reading};
    struct probe_log log;
    if (unit != NULL && strcmp(unit, "C") != 0 && strcmp(unit, "F") != 0)
        app_wrong(app, "probe-unit", "'%s' should be C or F", unit);
    probe_init(&log, path,
               unit == NULL     ? PROBE_UNKNOWN
               : unit[0] == 'C' ? PROBE_CELSIUS
                                : PROBE_FAHRENHEIT,
               &sink, app->diags);
    const struct csv_table table = probe_table(&log);
    app_must(app, csv_read(&table, strcmp(path, "-") == 0 ? stdin : NULL, NULL, app->diags));
    app_must(app, probe_finish(&log));
}

static const char *vessel_name(const struct app *app, const struct known_vessel *vessel)
{
    return vessel->kind != RULES_NONE ? app->rules->vessels[vessel->kind].name : NULL;
}

/* ---- cook ------------------------------------------------------------------------------------ */

struct cook_request {
    struct known_cook known;
    const char *probe, *unit;
};

#define AT(member) .target = offsetof(struct cook_request, member)
static const struct option cook_options[] = {
    {"gauge", OPTION_AMOUNT, AT(known.gauge), .dimension = DIM_GAUGE_KPA},
    {"rated", OPTION_AMOUNT, AT(known.rated), .dimension = DIM_GAUGE_KPA},
    {"minutes", OPTION_AMOUNT, AT(known.minutes), .dimension = DIM_MINUTES},
    {"altitude", OPTION_QUANTITY, AT(known.altitude), .dimension = DIM_METRES, .settled = true},
    {"barometer", OPTION_AMOUNT, AT(known.barometer), .dimension = DIM_PRESSURE_KPA},
    {"vessel", OPTION_VESSEL, AT(known.vessel)},
    {"mass", OPTION_AMOUNT, AT(known.vessel.grams), .dimension = DIM_GRAMS},
    {"vessels", OPTION_AMOUNT, AT(known.vessels)},
    {"load", OPTION_ID, AT(known.packing), .list = LIST_LOADS},
    {"grain", OPTION_ID, AT(known.grain.kind), .list = LIST_GRAINS},
    {"moisture", OPTION_AMOUNT, AT(known.grain.moisture), .dimension = DIM_PERCENT},
    {"dry", OPTION_AMOUNT, AT(known.grain.dry), .dimension = DIM_GRAMS},
    {"start", OPTION_QUANTITY, AT(known.start), .dimension = DIM_CELSIUS},
    {"come-up", OPTION_AMOUNT, AT(known.come_up), .dimension = DIM_MINUTES},
    {"cool", OPTION_AMOUNT, AT(known.cool), .dimension = DIM_MINUTES},
    {"air", OPTION_AMOUNT, AT(known.air), .dimension = DIM_PERCENT},
    {"target", OPTION_AMOUNT, AT(known.target)},
    {"probe", OPTION_TEXT, AT(probe)},
    {"probe-unit", OPTION_TEXT, AT(unit)},
    {0},
};
#undef AT

static bool add_reading(void *context, double minutes, double celsius)
{
    return cook_probe_add(context, minutes, celsius) == PROCESS_OK;
}

static void compute_cook(struct app *app, const struct cook_request *request,
                         struct cook_report *cook)
{
    static const double sea_level_kpa = 101.325, near = 1.0;
    const struct cook_rules *rules = &app->rules->cook;
    double doubt = rules->probe_doubt > 0.0 ? rules->probe_doubt : 0.0;
    double gap = rules->probe_gap > 0.0 ? rules->probe_gap : INFINITY, value;

    (void)steam_outside(&cook->setup.steam, &cook->outside);
    if (request->probe != NULL) {
        cook->measured = true;
        cook_probe_init(&cook->probe, &cook->setup, gap);
        read_log(app, request->probe, request->unit, add_reading, &cook->probe);
        must_compute(app, cook_probe_finish(&cook->probe, &cook->setup, doubt, &cook->result), NAN);
        return;
    }
    must_compute(app, cook_compute(&cook->setup, &cook->result), NAN);
    /* The same cook at sea level, for comparison, unless it is there already. */
    struct cook_setup there = cook->setup;
    there.steam.altitude_m = 0.0;
    there.steam.barometer_kpa = NAN;
    cook->has_sea = fabs(cook->outside - sea_level_kpa) >= near &&
                    cook_check(&there, &value) == PROCESS_OK &&
                    cook_compute(&there, &cook->sea) == PROCESS_OK;
}

static enum status run_cook(struct app *app)
{
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct physics_refusal refusal;
    struct cook_request request;
    struct known_cook *known = &request.known;
    struct cook_report cook = {.measured = false};
    struct text assumed;

    known_cook_init(known);
    options_fill(app, cook_options, &request);
    known->air /= 100.0;
    /* A log tells pressure and time by what they did; the setup then counts for the load only. */
    if (request.probe != NULL && isnan(known->minutes))
        known->minutes = 0.0;
    if (request.probe == NULL && (isnan(known->minutes) || isnan(known->gauge)))
        app_stop(app, "give --gauge and --minutes, or --probe; for instance: "
                      "jarside cook --gauge 14psi --minutes 95 --vessel jar:1litre");
    text_init(&assumed);
    cook.assumed = must_answer(
        app, physics_cook(app->rules, known, &cook.setup, organisms, &assumed, &refusal), &refusal,
        &assumed);
    cook.rules = app->rules;
    cook.rated = isnan(known->rated) ? app->rules->cook.rated : known->rated;
    cook.vessel = vessel_name(app, &known->vessel);
    compute_cook(app, &request, &cook);
    if (app->common.json)
        return app_json(app, view_cook_json(&cook));
    view_cook(&app->out, &cook);
    return app_flush(app);
}

/* ---- hydration ------------------------------------------------------------------------------- */

struct hydration_request {
    struct known_grain grain;
    struct known_vessel vessel;
    double before, after, target, vessels;
};

#define AT(member) .target = offsetof(struct hydration_request, member)
static const struct option hydration_options[] = {
    {"dry", OPTION_AMOUNT, AT(grain.dry), .dimension = DIM_GRAMS},
    {"water", OPTION_AMOUNT, AT(grain.water), .dimension = DIM_GRAMS},
    {"before", OPTION_AMOUNT, AT(before), .dimension = DIM_GRAMS},
    {"after", OPTION_AMOUNT, AT(after), .dimension = DIM_GRAMS},
    {"grain", OPTION_ID, AT(grain.kind), .list = LIST_GRAINS},
    {"own-moisture", OPTION_AMOUNT, AT(grain.own_moisture), .dimension = DIM_PERCENT},
    {"target", OPTION_AMOUNT, AT(target), .dimension = DIM_PERCENT},
    {"vessel", OPTION_VESSEL, AT(vessel)},
    {"mass", OPTION_AMOUNT, AT(vessel.grams), .dimension = DIM_GRAMS},
    {"vessels", OPTION_AMOUNT, AT(vessels)},
    {0},
};
#undef AT

/* What was weighed, and the moisture it makes. */
static void weighed(struct app *app, const struct hydration_request *given,
                    struct mix_report *report)
{
    double own = report->own_moisture;
    enum process_error error;

    if (!isnan(given->before)) {
        report->dry = given->before;
        report->water = given->after - given->before;
        error = moisture_soaked(given->before, own, given->after, &report->moisture);
        if (error == PROCESS_MOISTURE_DROP)
            app_wrong(app, "after",
                      "lighter after soaking than before; weigh both drained of water that runs "
                      "off");
    } else {
        report->dry = given->grain.dry;
        report->water = given->grain.water;
        error = moisture_mixed(report->dry, own, report->water, &report->moisture);
    }
    double wet =
        100.0 * (report->water + report->dry * own / 100.0) / (report->water + report->dry);
    report->target = NAN;
    must_compute(app, error, error == PROCESS_MOISTURE ? wet : report->dry);
}

/* What to weigh: from the grain there is, or from the vessels to fill. */
static void recipe(struct app *app, const struct hydration_request *given,
                   struct mix_report *report)
{
    double each = physics_grams(app->rules, &given->vessel), own = report->own_moisture;
    enum process_error error;

    report->recipe = true;
    report->moisture = report->target;
    if (!isnan(given->grain.dry)) {
        report->dry = given->grain.dry;
        error = moisture_water_for(report->dry, own, report->target, &report->water);
    } else if (!isnan(each)) {
        error = moisture_recipe(each * report->vessels, own, report->target, &report->dry,
                                &report->water);
    } else {
        app_stop(app, "give --dry and --water, or --before and --after, or a --vessel to fill; "
                      "for instance: jarside hydration --grain wheat --vessel jar:1litre "
                      "--vessels 5");
    }
    must_compute(app, error, error == PROCESS_MOISTURE ? report->target : report->dry);
}

static enum status run_hydration(struct app *app)
{
    struct hydration_request given;
    const struct known_grain *grain = &given.grain;

    known_grain_init(&given.grain);
    options_fill(app, hydration_options, &given);
    bool soaked = !isnan(given.before), mixed = !isnan(grain->dry) && !isnan(grain->water);
    if (given.vessels < 1.0)
        app_wrong(app, "vessels", "at least one vessel");
    if (soaked != !isnan(given.after))
        app_stop(app, "--before and --after go together: the same grain, weighed twice");
    if (mixed && soaked)
        app_stop(app, "give either --dry and --water or --before and --after, not both");
    if (!isnan(grain->water) && isnan(grain->dry))
        app_stop(app, "--water needs --dry: how much grain as bought it went with");
    const struct rules *rules = app->rules;
    struct mix_report report = {
        .rules = rules,
        .own_moisture = physics_own_moisture(rules, grain),
        .band = physics_band(rules, grain->kind),
        .vessels = isnan(given.vessels) ? 1.0 : given.vessels,
        .fill = NAN,
        .vessel = vessel_name(app, &given.vessel),
        .assumed = !isnan(grain->own_moisture) ? ""
                   : grain->kind != RULES_NONE
                       ? "grain as bought, with its usual water content"
                       : "grain as bought, with its usual water content; the bands of all grains",
    };
    if (grain->kind != RULES_NONE) {
        report.grain = &rules->grains[grain->kind];
        report.grain_id = report.grain->id;
    }
    report.target = isnan(given.target) ? 0.5 * (report.band.lo + report.band.hi) : given.target;
    if (isnan(report.own_moisture) || isnan(report.target))
        app_stop(app, "the rules hold no grain to compute this from");
    (soaked || mixed ? weighed : recipe)(app, &given, &report);
    report.dry_basis = moisture_dry_basis(report.moisture);
    moisture_judge(report.dry, report.own_moisture, report.moisture, &report.band, &report.verdict);
    report.drained = soaked;
    if (soaked)
        report.verdict.free_water = 0.0; /* it ran off */
    if (given.vessel.kind != RULES_NONE && rules->vessels[given.vessel.kind].litres > 0.0)
        report.fill = moisture_fill((report.dry + report.water) / report.vessels,
                                    physics_bulk(rules, grain->kind),
                                    rules->vessels[given.vessel.kind].litres);
    return app_tell(app, "mix", view_mix_json(&report));
}

/* ---- forecast -------------------------------------------------------------------------------- */

enum { MOST_SHAKES = 16, MOST_WARMTH = 4096 };

struct forecast_request {
    struct known_growth known;
    const char *inoculum, *temperatures, *unit, *start;
    struct texts shaken;
    double day, seen, still;
    /* Read from these. */
    struct shake shakes[MOST_SHAKES];
    struct warmth warmth[MOST_WARMTH];
};

#define AT(member) .target = offsetof(struct forecast_request, member)
static const struct option forecast_options[] = {
    {"species", OPTION_ID, AT(known.species), .list = LIST_SPECIES, .settled = true},
    {"temp", OPTION_QUANTITY, AT(known.temperature), .dimension = DIM_CELSIUS},
    {"temps", OPTION_TEXT, AT(temperatures)},
    {"probe-unit", OPTION_TEXT, AT(unit)},
    {"starter", OPTION_ID, AT(known.starter), .list = LIST_STARTERS},
    {"inoculum", OPTION_TEXT, AT(inoculum)},
    {"vessel", OPTION_VESSEL, AT(known.vessel)},
    {"mass", OPTION_AMOUNT, AT(known.vessel.grams), .dimension = DIM_GRAMS},
    {"grain", OPTION_ID, AT(known.grain.kind), .list = LIST_GRAINS},
    {"shake", OPTION_TEXTS, AT(shaken)},
    {"start", OPTION_DATE, AT(start)},
    {"day", OPTION_AMOUNT, AT(day), .dimension = DIM_DAYS},
    {"seen", OPTION_AMOUNT, AT(seen), .dimension = DIM_PERCENT},
    {"still", OPTION_AMOUNT, AT(still), .dimension = DIM_DAYS},
    {0},
};
#undef AT

/* The amount is told in the starter's unit; without a starter the unit tells which it must be. */
static void read_inoculum(struct app *app, struct forecast_request *run)
{
    static const enum dimension dimensions[] = {
        [STARTER_ML] = DIM_LITRES, [STARTER_GRAMS] = DIM_GRAMS, [STARTER_PIECES] = DIM_NONE};
    int starter = run->known.starter == RULES_NONE ? 0 : run->known.starter;

    if (app->rules->starter_count == 0)
        app_stop(app, "the rules hold no starters to compute this from");
    if (run->inoculum == NULL)
        return;
    enum starter_unit unit = app->rules->starters[starter].unit;
    double amount = option_measure(app, "inoculum", run->inoculum, OPTION_AMOUNT, dimensions[unit]);
    run->known.dose = unit == STARTER_ML ? 1000.0 * amount : amount;
    if (!(amount > 0.0))
        app_wrong(app, "inoculum", "the amount must be more than 0");
}

static void read_shakes(struct app *app, struct forecast_request *run)
{
    const struct forecast_rules *rules = &app->rules->forecast;

    for (size_t i = 0; i < run->shaken.count; i++) {
        const char *word = run->shaken.words[i];
        char *end = NULL;
        double day = strtod(word, &end);
        if (i == MOST_SHAKES)
            app_wrong(app, "shake", "at most %d shakes", MOST_SHAKES);
        if (end == word || *end != '\0' || !(day >= 0.0 && day <= 730.0))
            app_wrong(app, "shake", "not a day from 0 to 730: '%s'", word);
        if (i > 0 && day <= run->shakes[i - 1].day)
            app_wrong(app, "shake", "'%s' is not after the shake before it", word);
        run->shakes[i] = (struct shake){day, rules->shake_factor, rules->shake_pause};
    }
    run->known.shakes = run->shakes;
    run->known.shake_count = run->shaken.count;
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

/* The batch or vessel of the journal that is meant, by the operand or by --vessel, which is then taken
 * out of the options; NULL for none. */
static const char *take_label(struct app *app)
{
    struct option_given *kept = arena_array(app->arena, app->option_count + 1, sizeof *kept);
    const char *label = app->operand_count > 0 ? app->operands[0] : NULL;
    size_t count = 0;
    for (size_t i = 0; i < app->option_count; i++) {
        const char *value = app->options[i].value;
        if (label == NULL && strcmp(app->options[i].option->name, "vessel") == 0 &&
            strchr(value, ':') == NULL && rules_vessel(app->rules, value) == RULES_NONE &&
            access(app_journal_path(app), F_OK) == 0) {
            app_open(app, JOURNAL_READ);
            if (labels_id(app, RECORD_VESSEL, value) != 0 ||
                labels_id(app, RECORD_BATCH, value) != 0) {
                label = value;
                continue;
            }
        }
        kept[count++] = app->options[i];
    }
    app->options = kept;
    app->option_count = count;
    return label;
}

/* What the journal knows of it stands where nothing was said on the command line. */
static void recall_growth(struct app *app, const char *label, struct forecast_request *run)
{
    struct known_growth *known = &run->known, of;
    struct vessel vessel;
    struct batch batch;
    char day[MOMENT_ROOM];

    app_open(app, JOURNAL_READ);
    const int64_t whole = labels_id(app, RECORD_BATCH, label);
    if (whole != 0) {
        size_t count = 0;
        const struct vessel *all = app_all(app, RECORD_VESSEL, "batch", whole, &count);
        vessel = all[0];
    } else {
        labels_find(app, RECORD_VESSEL, label, &vessel);
    }
    app_get(app, RECORD_BATCH, vessel.batch, &batch);
    if (vessel.control)
        app_stop(app, "%s is a control and was never inoculated: nothing grows in it",
                 vessel.label);
    app_must(app, vessel_growth_of(app->journal, app->rules, &batch, &vessel, app->arena, &of,
                                   app->diags));
    known->species = of.species;
    known->starter = known->starter == RULES_NONE ? of.starter : known->starter;
    if (known->vessel.kind == RULES_NONE && isnan(known->vessel.own[0]))
        known->vessel.kind = of.vessel.kind;
    if (isnan(known->vessel.grams))
        known->vessel.grams = of.vessel.grams;
    if (known->grain.kind == RULES_NONE)
        known->grain.kind = of.grain.kind;
    if (isnan(known->temperature) && run->temperatures == NULL)
        known->temperature = of.temperature;
    known->dose = of.dose;
    if (run->shaken.count == 0) {
        known->shake_count = of.shake_count < MOST_SHAKES ? of.shake_count : MOST_SHAKES;
        for (size_t i = 0; i < known->shake_count; i++)
            run->shakes[i] = of.shakes[i];
        known->shakes = run->shakes;
    }
    if (run->start == NULL)
        run->start = arena_string(app->arena, moment_write_day(batch.at, day));
    if (known->species == RULES_NONE)
        app_stop(app,
                 "what is grown in %s is not recorded; add --species, or: jarside correct %s "
                 "species=oyster",
                 label, batch.label);
}

static enum status run_forecast(struct app *app)
{
    struct forecast_request *run = arena_alloc(app->arena, sizeof *run);
    const char *label = take_label(app);
    struct forecast_report report = {.judged = false};
    struct physics_refusal refusal;
    struct warmth constant;
    struct text assumed;

    known_growth_init(&run->known);
    options_fill(app, forecast_options, run);
    read_shakes(app, run);
    if (label != NULL)
        recall_growth(app, label, run);
    read_inoculum(app, run);
    if (run->temperatures != NULL && !isnan(run->known.temperature))
        app_stop(app, "give either --temp or --temps, not both");
    if (run->temperatures != NULL) {
        run->known.warmth = run->warmth;
        read_log(app, run->temperatures, run->unit, add_warmth, run);
    }
    if (run->known.species == RULES_NONE)
        app_stop(app, "give --species; for instance: jarside forecast --species shiitake "
                      "--temp 22C --inoculum 3ml --vessel bag:2.2kg");
    if (isnan(run->day) != isnan(run->seen))
        app_stop(app, "--day and --seen go together: how white it was on which day");
    report.rules = app->rules;
    report.species = &app->rules->species[run->known.species];
    report.species_id = report.species->id;
    report.start = run->start;
    report.vessel = vessel_name(app, &run->known.vessel);
    text_init(&assumed);
    report.assumed = must_answer(
        app,
        physics_growth(app->rules, &run->known, &report.forecast, &constant, &assumed, &refusal),
        &refusal, &assumed);
    enum process_error error = compute_run(&report, run);
    must_compute(app, error, error == PROCESS_COVERAGE ? run->seen : run->day);
    if (app->common.json)
        return app_json(app, view_forecast_json(&report));
    view_forecast(&app->out, &report);
    return app_flush(app);
}

const struct command plan_commands[] = {
    {"cook", cook_options, run_cook, NEEDS_RULES, .json = true, .own = true},
    {"hydration", hydration_options, run_hydration, NEEDS_RULES, .json = true, .own = true},
    {"forecast", forecast_options, run_forecast, NEEDS_RULES, .json = true, .own = true},
    {0},
};
