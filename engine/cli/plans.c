/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/app.h"
#include "process/cook.h"
#include "process/forecast.h"
#include "process/moisture.h"
#include "process/probe.h"
#include "triage/physics.h"

/* Plans: what a cook does, what to weigh, when the grain will be fully colonised.
 *
 * Every figure that is uncertain is told as a range with what it assumes, and no advice goes beyond
 * the pressure a cooker is rated for. JSON is schema 1 (README.md). */

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

/* The same of what the rules fill, with what had to be assumed. */
static void must_answer(struct app *app, enum physics_answer answer,
                        const struct physics_refusal *refusal, struct text *assumed)
{
    if (answer == PHYSICS_OK)
        return;
    text_clear(assumed);
    physics_explain(assumed, answer, refusal);
    app_quit(app, app_error(app, answer == PHYSICS_REFUSED ? STATUS_DATA : STATUS_USAGE, NULL, "%s",
                            assumed->bytes));
}

/* Reads a temperature log (process/probe.h), handing each reading to `reading`. `path` may be "-".
 * --probe-unit says C or F when the log does not. */
static void read_log(struct app *app, const char *path,
                     bool (*reading)(void *context, double minutes, double celsius), void *context)
{
    const struct probe_sink sink = {context, reading};
    struct probe_log log;
    probe_init(&log, path, (enum probe_unit)(app->given.probe_unit + 1), &sink, app->diags);
    const struct csv_table table = probe_table(&log);
    app_must(app, csv_read(&table, strcmp(path, "-") == 0 ? stdin : NULL, NULL, app->diags));
    app_must(app, probe_finish(&log));
}

static const char *vessel_name(const struct app *app, const struct known_vessel *vessel)
{
    return vessel->kind != RULES_NONE ? app->rules->vessels[vessel->kind].name : NULL;
}

/* ---- cook ------------------------------------------------------------------------------------ */

struct cooked {
    struct cook_setup setup;
    struct cook_result result;
    bool has_sea; /* `sea` holds the same at sea level; false when it is there already */
    struct cook_result sea;
    bool measured; /* the core was, with `probe` */
    struct cook_probe probe;
    double outside; /* kPa */
};

/* The course of the core, for programs, and as a chart in the scale that the grower reads; an empty
 * array and nothing where there is none to compute. */
static void add_course(json_t *root, const struct cooked *cook)
{
    enum { POINTS = 121, TOLD = 4 };
    const struct cook_setup *setup = &cook->setup;
    const double minutes = setup->come_up.central + setup->hold + setup->cool.high;
    const double step = minutes / (POINTS - 1);
    double core[POINTS], slow[POINTS], outside[POINTS], unused[POINTS];
    json_t *course = json_array(), *steam = json_array(), *late = json_array();
    json_t *likely = json_array();
    char letter;
    const double cold = degrees_shown(20, &letter), hot = degrees_shown(125, &letter);
    const bool known = !cook->measured && step > 0.0;
    if (known) {
        cook_course(setup, setup->diffusivity.central, step, core, outside, POINTS);
        cook_course(setup, setup->diffusivity.low, step, slow, unused, POINTS);
    }
    for (size_t i = 0; known && i < POINTS; i++) {
        if (i % TOLD == 0)
            view_json_row(course, "minute:n steam:n core:n core_slow:n", step * (double)i,
                          outside[i], core[i], slow[i]);
        json_array_append_new(steam, json_real(degrees_shown(outside[i], &letter)));
        json_array_append_new(late, json_real(degrees_shown(slow[i], &letter)));
        json_array_append_new(likely, json_real(degrees_shown(core[i], &letter)));
    }
    json_t *all = json_pack("[o, o, o]", view_series("-", "the steam", steam),
                            view_series(".", "the core, if it heats slowly", late),
                            view_series("*", "the core, most likely", likely));
    view_json_add(root, "course:o _chart:o", course,
                  known ? view_json("x:s y:s to:n low:n high:n series:o", "min",
                                    letter == 'F' ? "degF" : "degC", minutes, cold, hot,
                                    json_incref(all))
                        : json_null());
    json_decref(all);
}

/* What so many log reductions beyond the aim come to: "about 300 times too many spores live on". */
static json_t *margin(double logs)
{
    static const double much = 3.0, most = 6.0;
    const double times = pow(10.0, fabs(logs)), ten = pow(10.0, floor(fabs(logs)));
    return logs > much    ? json_string("far more than enough")
           : logs >= 0.0  ? json_string("enough")
           : logs < -most ? json_string("over a million times too many spores live on")
                          : json_sprintf("about %.0f times as many spores live on as should",
                                         times < 10.0 ? times : ten * round(times / ten));
}

static json_t *leans_json(const struct cook_result *result)
{
    static const char *const ids[COOK_INPUTS] = {"diffusivity", "come_up", "air",
                                                 "cooling",     "load",    "resistance"};
    json_t *leans = json_array();
    for (size_t i = 0; i < COOK_INPUTS && result->leans[i].input < COOK_INPUTS; i++) {
        const struct cook_lean *lean = &result->leans[i];
        view_json_row(leans, "on:s say:s bad:n good:n _bad:o _good:o", ids[lean->input],
                      cook_input_names[lean->input], lean->bad, lean->good, margin(lean->bad),
                      margin(lean->good));
    }
    return leans;
}

/* What the rules note of the likeliest survivor of each kind that spoils a vessel. */
static json_t *notes_json(const struct rules *rules, const struct cooked *cook)
{
    json_t *notes = json_array();
    for (int role = ORGANISM_SPORE_FORMER; role <= ORGANISM_FUNGUS; role++) {
        const struct organism *likeliest = NULL;
        double chance = -1.0;
        for (size_t i = 0; i < cook->setup.organism_count; i++) {
            const struct organism *organism = &rules->organisms[i];
            if ((int)organism->role != role || cook->result.kills[i].chance_mean <= chance)
                continue;
            chance = cook->result.kills[i].chance_mean;
            likeliest = organism;
        }
        if (likeliest != NULL && likeliest->note != NULL)
            json_array_append_new(notes, json_string(likeliest->note));
    }
    return notes;
}

static json_t *organisms_json(const struct rules *rules, const struct cooked *cook)
{
    static const char *const roles[] = {"spore_former", "fungus", "indicator"};
    const struct organism *organism = rules->organisms;
    const struct cook_kill *kill = cook->result.kills;
    return view_json_rows(i, cook->setup.organism_count,
                          "id:s name:s role:s log_reduction:r survivors:r chance:r chance_mean:n",
                          organism[i].id, organism[i].name, roles[organism[i].role],
                          &kill[i].log_reduction, &kill[i].survivors, &kill[i].chance,
                          kill[i].chance_mean);
}

/* What is told of the cook here and of the same at sea level. */
static json_t *figures_json(const struct cook_setup *setup, const struct cook_result *result)
{
    static const char *const verdicts[] = {"adequate", "marginal", "not enough"};
    json_t *chance = view_json("low:n central:n high:n mean:n", result->chance.low,
                               result->chance.central, result->chance.high, result->chance_mean);
    json_t *any = view_json("vessels:n mean:n", setup->vessels, result->chance_any_mean);
    return view_json("steam_celsius:n steam:r core:r f0:r f0_cautious:n verdict:s "
                     "chance_not_sterile:o chance_any:o minutes_needed:r margin_decades:n",
                     result->steam.central, &result->steam, &result->core, &result->f0,
                     result->f0_adequate_at, verdicts[result->verdict], chance, any,
                     &result->minutes_needed, result->margin);
}

/* The same at sea level, with the gauge that would make up for the altitude. */
static json_t *sea_json(const struct cooked *cook, double rated)
{
    const struct cook_result *here = &cook->result;
    double gauge;
    if (!cook->has_sea)
        return json_null();
    json_t *sea = figures_json(&cook->setup, &cook->sea);
    view_json_add(sea, "_here:o",
                  view_json("steam:n f0:n chance:n", here->steam.central, here->f0.central,
                            here->chance_mean));
    if (steam_gauge_needed(&cook->setup.steam, cook->sea.steam.central, &gauge) == PROCESS_OK)
        view_json_add(sea, "_gauge:n _within:b", gauge, gauge <= rated);
    return sea;
}

static bool add_reading(void *context, double minutes, double celsius)
{
    return cook_probe_add(context, minutes, celsius) == PROCESS_OK;
}

static void compute_cook(struct app *app, struct cooked *cook)
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

/* What the record of a cook says stands where nothing was said on the command line. */
static void recall_cook(struct app *app, const char *label, struct known_cook *known)
{
    struct known_cook of;
    struct cook cook;
    app_open(app, JOURNAL_READ);
    labels_find(app, RECORD_COOK, label, &cook);
    vessel_cook_of(app->rules, &cook, known->vessel.kind, known->vessel.grams, known->grain.kind,
                   &of);
    double *const to[] = {&known->gauge,   &known->minutes, &known->altitude, &known->air,
                          &known->come_up, &known->cool,    &known->vessels};
    const double from[] = {of.gauge,   of.minutes, of.altitude, of.air,
                           of.come_up, of.cool,    of.vessels};
    for (size_t i = 0; i < sizeof to / sizeof *to; i++)
        *to[i] = isnan(*to[i]) ? from[i] : *to[i];
    if (known->packing == RULES_NONE)
        known->packing = of.packing;
}

static enum status run_cook(struct app *app)
{
    static const double first_guess = 60.0, step = 5.0; /* minutes */
    struct physics_refusal refusal;
    struct known_cook *known = &app->given.cook;
    const bool probe = app->given.probe != NULL;
    const struct rules *rules = app->rules;
    struct cooked cook = {.measured = false};

    known->air /= 100.0;
    if (app->operand_count > 0)
        recall_cook(app, app->operands[0], known);
    /* A log tells pressure and time by what they did; the setup then counts for the load only. */
    if (probe && isnan(known->minutes))
        known->minutes = 0.0;
    if (!probe && isnan(known->gauge))
        app_stop(app, "give --gauge, or --probe; for instance: "
                      "jarside cook --gauge 14psi --minutes 95 --vessel jar:1litre");
    /* Without minutes it is asked how many are enough. */
    const bool how_long = isnan(known->minutes);
    if (how_long)
        known->minutes = first_guess;
    TEXT(assumed);
    for (bool again = how_long;; again = false) {
        text_clear(&assumed);
        must_answer(app, physics_cook(rules, known, &cook.setup, &assumed, &refusal), &refusal,
                    &assumed);
        compute_cook(app, &cook);
        if (!again || isnan(cook.result.minutes_needed.central))
            break;
        known->minutes = step * ceil(cook.result.minutes_needed.central / step);
    }
    const struct cook_setup *setup = &cook.setup;
    const struct lethality *log = &cook.probe.f0;
    const struct range *steam = &cook.result.steam;
    const double rated = isnan(known->rated) ? rules->cook.rated : known->rated;
    json_t *root = figures_json(setup, &cook.result);
    json_t *cautions = json_pack(
        "[s, s]", "The cooker's manual comes first; never go beyond the pressure it allows.",
        "This is not a calculator for canning food.");
    view_json_add(root, "schema:i gauge_kpa:n outside_kpa:n minutes:n target:n vessel:s measured:b",
                  1, setup->steam.gauge_kpa, cook.outside, setup->hold, setup->target,
                  vessel_name(app, &known->vessel), cook.measured);
    if (cook.measured)
        view_json_add(root, "probe:o",
                      view_json("readings:z gaps:z gap_minutes:n _minutes:n", log->readings,
                                log->gaps, log->gap_minutes, log->last_time - log->first_time));
    view_json_add(root, "organisms:o leans:o", organisms_json(rules, &cook),
                  leans_json(&cook.result));
    add_course(root, &cook);
    view_json_add(root,
                  "sea_level:o assumed:o cautions:o _barometer:n _altitude:n _adequate:n _notes:o "
                  "_reference:n _air:b _one_in:n _how_long:b _beyond:n",
                  sea_json(&cook, rated), view_json_parts(assumed.bytes), cautions,
                  setup->steam.barometer_kpa, setup->steam.altitude_m, setup->adequate_f0,
                  notes_json(rules, &cook), 121.1, steam->high - steam->low > 0.3,
                  1.0 / setup->target, how_long,
                  setup->steam.gauge_kpa > 1.05 * rated ? rated : NAN);
    return app_tell(app, "cook", root);
}

/* ---- hydration ------------------------------------------------------------------------------- */

struct mix { /* of all vessels; grams, per cent of the wet weight */
    double own, dry, water, moisture;
    double target; /* aimed for, where it is to be weighed out; else NAN */
};

/* The sources of the grain's target range and limit; as people cite them, or their ids. */
static json_t *sources_json(const struct rules *rules, const struct grain *grain, bool cited)
{
    json_t *sources = json_array();
    for (size_t i = 0; grain != NULL && i < grain->cites.count; i++) {
        const struct source *source = &rules->sources[grain->cites.sources[i]];
        json_array_append_new(sources, cited ? json_sprintf("%s %s", source->author, source->year)
                                             : json_string(source->id));
    }
    if (cited && grain != NULL && grain->cites.expert_judgement)
        json_array_append_new(sources, json_string("judgement"));
    return sources;
}

static void weighed(struct app *app, struct mix *mix)
{
    const struct given *given = &app->given;
    enum process_error error;

    mix->target = NAN;
    mix->dry = given->cook.grain.dry;
    mix->water = given->cook.grain.water;
    if (!isnan(given->before)) {
        mix->dry = given->before;
        mix->water = given->after - given->before;
        error = moisture_soaked(given->before, mix->own, given->after, &mix->moisture);
        if (error == PROCESS_MOISTURE_DROP)
            app_wrong(app, "after",
                      "lighter after soaking than before; weigh both drained of water that runs "
                      "off");
    } else {
        error = moisture_mixed(mix->dry, mix->own, mix->water, &mix->moisture);
    }
    const double wet = mix->dry + mix->water;
    must_compute(app, error,
                 error == PROCESS_MOISTURE
                     ? 100.0 * (mix->water + mix->dry * mix->own / 100.0) / wet
                     : mix->dry);
}

/* What to weigh: from the grain there is, or from so many vessels to fill. */
static void recipe(struct app *app, struct mix *mix, double vessels)
{
    const double each = physics_grams(app->rules, &app->given.cook.vessel);
    enum process_error error;

    mix->moisture = mix->target;
    mix->dry = app->given.cook.grain.dry;
    if (!isnan(mix->dry))
        error = moisture_water_for(mix->dry, mix->own, mix->target, &mix->water);
    else if (!isnan(each))
        error = moisture_recipe(each * vessels, mix->own, mix->target, &mix->dry, &mix->water);
    else
        app_stop(app, "give --dry and --water, or --before and --after, or a --vessel to fill; "
                      "for instance: jarside hydration --grain wheat --vessel jar:1litre "
                      "--vessels 5");
    must_compute(app, error, error == PROCESS_MOISTURE ? mix->target : mix->dry);
}

static enum status run_hydration(struct app *app)
{
    static const char *const places[] = {"below", "within", "above"};
    const struct given *given = &app->given;
    const struct known_grain *grain = &given->cook.grain;
    const struct known_vessel *vessel = &given->cook.vessel;
    const bool soaked = !isnan(given->before), mixed = !isnan(grain->dry) && !isnan(grain->water);
    if (given->cook.vessels < 1.0)
        app_wrong(app, "vessels", "at least one vessel");
    if (soaked != !isnan(given->after))
        app_stop(app, "--before and --after go together: the same grain, weighed twice");
    if (mixed && soaked)
        app_stop(app, "give either --dry and --water or --before and --after, not both");
    if (!isnan(grain->water) && isnan(grain->dry))
        app_stop(app, "--water needs --dry: how much grain as bought it went with");
    const struct rules *rules = app->rules;
    const struct moisture_band band = physics_band(rules, grain->kind);
    const double vessels = isnan(given->cook.vessels) ? 1.0 : given->cook.vessels;
    const double middle = 0.5 * (band.lo + band.hi);
    struct mix mix = {.own = physics_own_moisture(rules, grain),
                      .target = isnan(given->target) ? middle : given->target};
    if (isnan(mix.own) || isnan(mix.target))
        app_stop(app, "the rules hold no grain to compute this from");
    if (soaked || mixed)
        weighed(app, &mix);
    else
        recipe(app, &mix, vessels);
    struct moisture_verdict verdict;
    moisture_judge(mix.dry, mix.own, mix.moisture, &band, &verdict);
    if (soaked)
        verdict.free_water = 0.0; /* it ran off */
    const double wet = mix.dry + mix.water, filled = rules->forecast.fill_most;
    double fill = NAN; /* share of each vessel */
    if (vessel->kind != RULES_NONE && rules->vessels[vessel->kind].litres > 0.0)
        fill = moisture_fill(wet / vessels, physics_bulk(rules, grain->kind),
                             rules->vessels[vessel->kind].litres);
    const struct grain *kind = grain->kind != RULES_NONE ? &rules->grains[grain->kind] : NULL;
    const char *name = vessel_name(app, vessel);
    const char *assumed =
        !isnan(grain->own_moisture) ? ""
        : kind != NULL              ? "grain as bought, with its usual water content"
                       : "grain as bought, with its usual water content; the bands of all grains";
    json_t *root = view_json(
        "schema:i grain:s dry_g:n water_g:n own_moisture:n moisture:n dry_basis:n target:n band:o "
        "place:s correction_g:n free_water_g:n fill:n recipe:b assumed:o sources:o",
        1, kind != NULL ? kind->id : NULL, mix.dry, mix.water, mix.own, mix.moisture,
        moisture_dry_basis(mix.moisture), mix.target,
        view_json("low:n high:n raw_limit:n", band.lo, band.hi, band.raw_limit),
        places[verdict.place], verdict.correction, verdict.free_water, fill, !soaked && !mixed,
        view_json_parts(assumed), sources_json(rules, kind, false));
    view_json_add(root,
                  "_drained:b _vessels:n _sources:o _vessel:s _crowded:b _each:n _dry_each:n "
                  "_times:n _correction:n",
                  soaked, vessels, sources_json(rules, kind, true),
                  name != NULL ? name : "The vessel", fill > (filled > 0.0 ? filled : 0.75),
                  wet / vessels, mix.dry / vessels, wet / mix.dry, fabs(verdict.correction));
    return app_tell(app, "mix", root);
}

/* ---- forecast -------------------------------------------------------------------------------- */

struct run { /* a spawn run */
    struct forecast forecast;
    struct vessel_forecast days;
    bool reached;      /* the central course gets to full at all */
    const char *start; /* ISO date of day 0, or NULL */
};

/* An ISO 8601 date some days after `start`; "" when there is none. */
static json_t *date_after(const char *start, double days)
{
    int64_t day;
    bool known = start != NULL && fabs(days) < 1e7 && day_read(start, &day) != NULL;
    return json_string(day_write(known ? day + lround(days) : INT64_MIN, DAY_ISO, MOMENT_WORDS));
}

static json_t *pace_json(const struct run *run, const struct given *given,
                         const struct pace_verdict *pace)
{
    const struct forecast_reason *reason = pace->reasons;
    json_t *reasons =
        view_json_rows(i, FORECAST_INPUTS, "input:s needed:n stretch:n _times:n",
                       forecast_input_names[reason[i].input], reason[i].needed, reason[i].stretch,
                       reason[i].needed / run->forecast.points.central);
    return view_json("pace:s day:n seen:n expected:r times_late:n wait_until:n explained:b "
                     "reasons:o _wait_date:o",
                     pace_names[pace->pace], given->day, given->seen, &pace->expected,
                     pace->times_late, pace->wait_until, pace->explained, reasons,
                     date_after(run->start, ceil(pace->wait_until)));
}

/* The days on which to look, with their dates where they have any. */
static json_t *looks_json(const struct run *run, double every)
{
    enum { MOST_LOOKS = 8 };
    const double last = run->reached ? run->days.full.central : 21.0;
    json_t *looks = json_array();
    for (int look = 1; look <= MOST_LOOKS && (look - 1) * every < last; look++)
        view_json_row(looks, "day:n date:o", look * every, date_after(run->start, look * every));
    return looks;
}

static json_t *days_json(const struct run *run, const struct range *days)
{
    return view_json("low:n central:n high:n _from:o _to:o", days->low, days->central, days->high,
                     date_after(run->start, floor(days->low)),
                     date_after(run->start, ceil(days->high)));
}

/* What was seen is judged where `pace` is not NULL. */
static json_t *forecast_json(struct app *app, const struct run *run, const struct species *species,
                             const char *vessel, const char *assumed,
                             const struct pace_verdict *pace)
{
    const struct forecast *forecast = &run->forecast;
    const struct given *given = &app->given;
    const double looked = app->rules->forecast.look_every, every = looked > 0.0 ? looked : 3.0;
    /* Drawn to a little after the slow end is full, and what was seen. */
    const double full = !run->reached                   ? 28.0
                        : isfinite(run->days.full.high) ? run->days.full.high
                                                        : 1.1 * run->days.full.central;
    const double last = ceil(fmin(fmax(full, given->day) + 2.0, 180.0));
    struct range band[COURSE_POINTS], coverage;
    json_t *course = json_array(), *seen = json_array();
    /* Strains of one species differ by a factor of two: beyond twice the likeliest is too long. */
    json_t *stop = view_json("nothing_seen:n not_full:n",
                             run->reached ? 2.0 * run->days.visible.central : INFINITY,
                             run->reached ? 2.0 * run->days.full.central : INFINITY);

    for (int day = 0; day <= last; day++) {
        forecast_coverage(forecast, day, &coverage);
        view_json_row(course, "day:i low:n central:n high:n", day, coverage.low, coverage.central,
                      coverage.high);
    }
    json_t *root = view_json(
        "schema:i species:s start:s first_growth_days:o shake_days:o full_days:o look_every_days:n "
        "stop_waiting_days:o published_days:o points_per_cm3:r rate_mm_day:r days:o seen:o "
        "assumed:o",
        1, species->id, run->start, days_json(run, &run->days.visible),
        days_json(run, &run->days.shake), days_json(run, &run->days.full), every, stop,
        view_json("low:n high:n", species->growth.full.lo, species->growth.full.hi),
        &forecast->points, &forecast->rate, course,
        pace != NULL ? pace_json(run, given, pace) : json_null(), view_json_parts(assumed));
    for (size_t i = 0; i < COURSE_POINTS; i++)
        forecast_coverage(forecast, last * (double)i / (COURSE_POINTS - 1), &band[i]);
    if (pace != NULL)
        view_json_row(seen, "x:n y:n mark:s", given->day, given->seen, "O");
    view_json_add(root, "_chart:o _lag:n _reached:b _looks:o _species:s _vessel:s _shaken:b",
                  view_coverage_chart(band, last, seen), forecast->lag.central, run->reached,
                  looks_json(run, every), species->name, vessel != NULL ? vessel : "one vessel",
                  forecast->shake_count > 0);
    return root;
}

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

/* The batch or vessel of the journal that the operand or --vessel means; NULL for none. */
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
    return arena_string(app->arena, moment_write_day(batch.at, MOMENT_WORDS));
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

/* What the journal knows stands where nothing was said on the command line. */
static enum status run_forecast(struct app *app)
{
    const struct given *given = &app->given;
    const char *label = label_meant(app), *start = NULL;
    struct run run = {.reached = false};
    struct pace_verdict pace;
    struct warmth_log log = {.arena = app->arena};
    struct known_growth known = KNOWN_GROWTH;
    struct physics_refusal refusal;
    struct warmth constant;

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
    run.start = given->start != NULL ? given->start : start;
    TEXT(assumed);
    must_answer(app,
                physics_growth(app->rules, &known, &run.forecast, &constant, &assumed, &refusal),
                &refusal, &assumed);
    run.reached = vessel_forecast_days(app->rules, &run.forecast, &run.days);
    const bool judged = !isnan(given->day);
    const enum process_error error =
        judged ? forecast_judge(&run.forecast, given->day, given->seen, given->still, &pace)
               : PROCESS_OK;
    must_compute(app, error, error == PROCESS_COVERAGE ? given->seen : given->day);
    return app_tell(app, "forecast",
                    forecast_json(app, &run, &app->rules->species[known.species],
                                  vessel_name(app, &known.vessel), assumed.bytes,
                                  judged ? &pace : NULL));
}

const struct command plan_commands[] = {
    {"cook", run_cook, NEEDS_RULES, .json = true, .figures = true},
    {"hydration", run_hydration, NEEDS_RULES, .json = true, .figures = true},
    {"forecast", run_forecast, NEEDS_RULES, .json = true, .figures = true},
    {0},
};
