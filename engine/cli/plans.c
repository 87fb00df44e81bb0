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
    if (answer != PHYSICS_OK) {
        text_clear(words);
        physics_explain(words, answer, refusal);
        app_quit(app, app_error(app, answer == PHYSICS_REFUSED ? STATUS_DATA : STATUS_USAGE, NULL,
                                "%s", words->bytes));
    }
    const char *assumed = arena_string(app->arena, words->bytes);
    text_release(words);
    return assumed;
}

/* Reads a temperature log (process/probe.h), handing each reading to `reading`. `path` may be "-".
 * --probe-unit says C or F when the log does not. */
static void read_log(struct app *app, const char *path,
                     bool (*reading)(void *context, double minutes, double celsius), void *context)
{
    const char *unit = app->given.probe_unit;
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

static bool add_reading(void *context, double minutes, double celsius)
{
    return cook_probe_add(context, minutes, celsius) == PROCESS_OK;
}

static void compute_cook(struct app *app, struct cook_report *cook)
{
    static const double sea_level_kpa = 101.325, near = 1.0;
    const struct cook_rules *rules = &app->rules->cook;
    double doubt = rules->probe_doubt > 0.0 ? rules->probe_doubt : 0.0;
    double gap = rules->probe_gap > 0.0 ? rules->probe_gap : INFINITY, value;

    (void)steam_outside(&cook->setup.steam, &cook->outside);
    if (app->given.probe != NULL) {
        cook->measured = true;
        cook_probe_init(&cook->probe, &cook->setup, gap);
        read_log(app, app->given.probe, add_reading, &cook->probe);
        must_compute(app, cook_probe_finish(&cook->probe, &cook->setup, doubt, &cook->result), NAN);
        return;
    }
    cook_compute(&cook->setup, &cook->result);
    /* The same cook at sea level, for comparison, unless it is there already. */
    struct cook_setup there = cook->setup;
    there.steam.altitude_m = 0.0;
    there.steam.barometer_kpa = NAN;
    cook->has_sea =
        fabs(cook->outside - sea_level_kpa) >= near && cook_check(&there, &value) == PROCESS_OK;
    if (cook->has_sea)
        cook_compute(&there, &cook->sea);
}

static enum status run_cook(struct app *app)
{
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct physics_refusal refusal;
    struct known_cook *known = &app->given.cook;
    const bool probe = app->given.probe != NULL;
    struct cook_report cook = {.measured = false};
    struct text assumed;

    known->air /= 100.0;
    /* A log tells pressure and time by what they did; the setup then counts for the load only. */
    if (probe && isnan(known->minutes))
        known->minutes = 0.0;
    if (!probe && (isnan(known->minutes) || isnan(known->gauge)))
        app_stop(app, "give --gauge and --minutes, or --probe; for instance: "
                      "jarside cook --gauge 14psi --minutes 95 --vessel jar:1litre");
    text_init(&assumed);
    cook.assumed = must_answer(
        app, physics_cook(app->rules, known, &cook.setup, organisms, &assumed, &refusal), &refusal,
        &assumed);
    cook.rules = app->rules;
    cook.rated = isnan(known->rated) ? app->rules->cook.rated : known->rated;
    cook.vessel = vessel_name(app, &known->vessel);
    compute_cook(app, &cook);
    return app_tell(app, "cook", view_cook_json(&cook));
}

/* ---- hydration ------------------------------------------------------------------------------- */

/* What was weighed, and the moisture it makes. */
static void weighed(struct app *app, struct mix_report *report)
{
    const struct given *given = &app->given;
    const struct known_grain *grain = &given->cook.grain;
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
        report->dry = grain->dry;
        report->water = grain->water;
        error = moisture_mixed(report->dry, own, report->water, &report->moisture);
    }
    double wet =
        100.0 * (report->water + report->dry * own / 100.0) / (report->water + report->dry);
    report->target = NAN;
    must_compute(app, error, error == PROCESS_MOISTURE ? wet : report->dry);
}

/* What to weigh: from the grain there is, or from the vessels to fill. */
static void recipe(struct app *app, struct mix_report *report)
{
    const double dry = app->given.cook.grain.dry;
    double each = physics_grams(app->rules, &app->given.cook.vessel), own = report->own_moisture;
    enum process_error error;

    report->recipe = true;
    report->moisture = report->target;
    if (!isnan(dry)) {
        report->dry = dry;
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
    const struct given *given = &app->given;
    const struct known_grain *grain = &given->cook.grain;
    const struct known_vessel *vessel = &given->cook.vessel;
    const double vessels = given->cook.vessels;
    bool soaked = !isnan(given->before), mixed = !isnan(grain->dry) && !isnan(grain->water);
    if (vessels < 1.0)
        app_wrong(app, "vessels", "at least one vessel");
    if (soaked != !isnan(given->after))
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
        .vessels = isnan(vessels) ? 1.0 : vessels,
        .fill = NAN,
        .vessel = vessel_name(app, vessel),
        .assumed = !isnan(grain->own_moisture) ? ""
                   : grain->kind != RULES_NONE
                       ? "grain as bought, with its usual water content"
                       : "grain as bought, with its usual water content; the bands of all grains",
    };
    if (grain->kind != RULES_NONE) {
        report.grain = &rules->grains[grain->kind];
        report.grain_id = report.grain->id;
    }
    report.target = isnan(given->target) ? 0.5 * (report.band.lo + report.band.hi) : given->target;
    if (isnan(report.own_moisture) || isnan(report.target))
        app_stop(app, "the rules hold no grain to compute this from");
    (soaked || mixed ? weighed : recipe)(app, &report);
    report.dry_basis = moisture_dry_basis(report.moisture);
    moisture_judge(report.dry, report.own_moisture, report.moisture, &report.band, &report.verdict);
    report.drained = soaked;
    if (soaked)
        report.verdict.free_water = 0.0; /* it ran off */
    if (vessel->kind != RULES_NONE && rules->vessels[vessel->kind].litres > 0.0)
        report.fill =
            moisture_fill((report.dry + report.water) / report.vessels,
                          physics_bulk(rules, grain->kind), rules->vessels[vessel->kind].litres);
    return app_tell(app, "mix", view_mix_json(&report));
}

/* ---- forecast -------------------------------------------------------------------------------- */

/* A log is thinned to one reading an hour or so: growth does not feel more. */
enum { MOST_WARMTH = 4096 };
struct warmth_log {
    struct arena *arena;
    struct warmth *warmth;
    size_t count;
};

static bool add_warmth(void *context, double minutes, double celsius)
{
    static const double hour = 1.0 / 24.0;
    struct warmth_log *log = context;
    double day = minutes / 1440.0, last = log->count > 0 ? log->warmth[log->count - 1].day : -1.0;

    if (day <= last)
        return false;
    if (log->count == 0 || (day >= last + hour && log->count < MOST_WARMTH))
        *arena_push(log->arena, log->warmth, log->count) = (struct warmth){day, celsius};
    return true;
}

/* The batch or vessel of the journal that is meant, by the operand or by --vessel; NULL for
 * none. */
static const char *label_meant(struct app *app)
{
    const char *said = app->given.vessel;
    if (app->operand_count > 0)
        return app->operands[0];
    if (said == NULL || strchr(said, ':') != NULL || rules_vessel(app->rules, said) != RULES_NONE ||
        access(app_journal_path(app), F_OK) != 0)
        return NULL;
    app_open(app, JOURNAL_READ);
    return labels_id(app, RECORD_VESSEL, said) != 0 || labels_id(app, RECORD_BATCH, said) != 0
               ? said
               : NULL;
}

/* What the journal knows of it, and the day of its inoculation. */
static const char *recall_growth(struct app *app, const char *label, struct known_growth *known)
{
    struct vessel vessel;
    struct batch batch;
    char day[MOMENT_ROOM];

    app_open(app, JOURNAL_READ);
    const int64_t whole = labels_id(app, RECORD_BATCH, label);
    size_t count = 0;
    if (whole != 0)
        vessel = *(const struct vessel *)app_all(app, RECORD_VESSEL, "batch = ?1", whole, &count);
    else
        labels_find(app, RECORD_VESSEL, label, &vessel);
    app_get(app, RECORD_BATCH, vessel.batch, &batch);
    if (vessel.control)
        app_stop(app, "%s is a control and was never inoculated: nothing grows in it",
                 vessel.label);
    (void)vessel_growth_of(app->journal, app->rules, &batch, &vessel, app->arena, known);
    if (known->species == RULES_NONE && app->given.mushroom == RULES_NONE)
        app_stop(app,
                 "what is grown in %s is not recorded; add --species, or: jarside correct %s "
                 "species=oyster",
                 label, batch.label);
    return arena_string(app->arena, moment_write_day(batch.at, day));
}

/* --vessel and --mass, --starter and --inoculum, whose unit is that of the starter; without a
 * starter that of the first. */
static void read_contents(struct app *app, const char *label, struct known_growth *known)
{
    static const enum dimension dimensions[] = {
        [STARTER_ML] = DIM_LITRES, [STARTER_GRAMS] = DIM_GRAMS, [STARTER_PIECES] = DIM_NONE};
    const struct given *given = &app->given;
    if (given->vessel != NULL && label != given->vessel) {
        const double grams = known->vessel.grams;
        option_read(app, option_row(NULL, "vessel"), given->vessel, &known->vessel);
        if (isnan(known->vessel.grams))
            known->vessel.grams = grams;
    }
    if (!isnan(given->cook.vessel.grams))
        known->vessel.grams = given->cook.vessel.grams;
    if (given->spawn != RULES_NONE)
        known->starter = given->spawn;
    if (app->rules->starter_count == 0)
        app_stop(app, "the rules hold no starters to compute this from");
    if (given->inoculum == NULL)
        return;
    enum starter_unit unit =
        app->rules->starters[known->starter == RULES_NONE ? 0 : known->starter].unit;
    double amount =
        option_measure(app, "inoculum", given->inoculum, OPTION_AMOUNT, dimensions[unit]);
    known->dose = unit == STARTER_ML ? 1000.0 * amount : amount;
    if (!(amount > 0.0))
        app_wrong(app, "inoculum", "the amount must be more than 0");
}

/* --shake: days in order. */
static void read_shakes(struct app *app, struct known_growth *known)
{
    enum { MOST_SHAKES = 16 };
    const struct forecast_rules *rules = &app->rules->forecast;
    const struct texts *said = &app->given.shake;
    struct shake *shakes = arena_array(app->arena, MOST_SHAKES, sizeof *shakes);

    for (size_t i = 0; i < said->count; i++) {
        const char *word = said->words[i];
        char *end = NULL;
        double day = strtod(word, &end);
        if (i == MOST_SHAKES)
            app_wrong(app, "shake", "at most %d shakes", MOST_SHAKES);
        if (end == word || *end != '\0' || !(day >= 0.0 && day <= 730.0))
            app_wrong(app, "shake", "not a day from 0 to 730: '%s'", word);
        if (i > 0 && day <= shakes[i - 1].day)
            app_wrong(app, "shake", "'%s' is not after the shake before it", word);
        shakes[i] = (struct shake){day, rules->shake_factor, rules->shake_pause};
    }
    if (said->count > 0) {
        known->shakes = shakes;
        known->shake_count = said->count;
    }
}

static enum process_error compute_run(struct forecast_report *report, const struct given *given)
{
    static const struct range never = {INFINITY, INFINITY, INFINITY};
    const struct forecast_rules *rules = &report->rules->forecast;
    const struct forecast *forecast = &report->forecast;
    struct range from = never, to = never;

    report->visible = report->full = never;
    (void)forecast_days(forecast, 1.0, &report->visible);
    report->reached = forecast_days(forecast, FORECAST_FULL, &report->full) == PROCESS_OK;
    (void)forecast_days(forecast, rules->shake.lo, &from);
    (void)forecast_days(forecast, rules->shake.hi, &to);
    report->shake = (struct range){from.central, 0.5 * (from.central + to.central), to.central};
    report->look_every = rules->look_every > 0.0 ? rules->look_every : 3.0;
    /* Strains of one species differ by a factor of two: beyond twice the likeliest day is too long. */
    report->nothing_seen = report->reached ? 2.0 * report->visible.central : INFINITY;
    report->not_full = report->reached ? 2.0 * report->full.central : INFINITY;
    report->judged = !isnan(given->day);
    report->day = given->day;
    report->seen = given->seen;
    return report->judged
               ? forecast_judge(forecast, given->day, given->seen, given->still, &report->pace)
               : PROCESS_OK;
}

/* What the journal knows stands where nothing was said on the command line. */
static enum status run_forecast(struct app *app)
{
    const struct given *given = &app->given;
    const char *label = label_meant(app), *start = NULL;
    struct forecast_report report = {.judged = false};
    struct warmth_log log = {.arena = app->arena};
    struct known_growth known = KNOWN_GROWTH;
    struct physics_refusal refusal;
    struct warmth constant;
    struct text assumed;

    if (label != NULL)
        start = recall_growth(app, label, &known);
    if (known.species == RULES_NONE)
        known.species = given->mushroom;
    read_contents(app, label, &known);
    if (known.species == RULES_NONE)
        app_stop(app, "give --species; for instance: jarside forecast --species shiitake "
                      "--temp 22C --inoculum 3ml --vessel bag:2.2kg");
    read_shakes(app, &known);
    if (given->cook.grain.kind != RULES_NONE)
        known.grain.kind = given->cook.grain.kind;
    if (given->temps != NULL && !isnan(given->temp))
        app_stop(app, "give either --temp or --temps, not both");
    if (given->temps != NULL || !isnan(given->temp))
        known.temperature = given->temp;
    if (given->temps != NULL) {
        read_log(app, given->temps, add_warmth, &log);
        known.warmth = log.warmth;
        known.warmth_count = log.count;
    }
    if (isnan(given->day) != isnan(given->seen))
        app_stop(app, "--day and --seen go together: how white it was on which day");
    report.rules = app->rules;
    report.species = &app->rules->species[known.species];
    report.species_id = report.species->id;
    report.start = given->start != NULL ? given->start : start;
    report.vessel = vessel_name(app, &known.vessel);
    text_init(&assumed);
    report.assumed = must_answer(
        app, physics_growth(app->rules, &known, &report.forecast, &constant, &assumed, &refusal),
        &refusal, &assumed);
    enum process_error error = compute_run(&report, given);
    must_compute(app, error, error == PROCESS_COVERAGE ? given->seen : given->day);
    return app_tell(app, "forecast", view_forecast_json(&report));
}

const struct command plan_commands[] = {
    {"cook", run_cook, NEEDS_RULES, .json = true, .figures = true},
    {"hydration", run_hydration, NEEDS_RULES, .json = true, .figures = true},
    {"forecast", run_forecast, NEEDS_RULES, .json = true, .figures = true},
    {0},
};
