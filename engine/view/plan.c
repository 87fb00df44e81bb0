/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/plan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/dates.h"
#include "view/charts.h"
#include "view/tree.h"

/* An ISO 8601 date some days after `start`; "" when there is none. */
static json_t *date_after(const char *start, double days)
{
    char room[MOMENT_ROOM];
    int64_t day;
    bool known = start != NULL && fabs(days) < 1e7 && day_read(start, &day) != NULL;
    return json_string(day_write(known ? day + lround(days) : INT64_MIN, DAY_ISO, room));
}

/* ---- a cook ---------------------------------------------------------------------------------- */

enum { COURSE = 121 }; /* points of a drawn course */

struct course {
    double core[COURSE], slow[COURSE], outside[COURSE];
    double minutes;
};

/* False where there is nothing to draw. */
static bool course_of(const struct cook_report *cook, struct course *course)
{
    const struct cook_setup *setup = &cook->setup;
    double unused[COURSE];

    course->minutes = setup->come_up.central + setup->hold + setup->cool.high;
    double step = course->minutes / (COURSE - 1);
    return !cook->measured && step > 0.0 &&
           cook_course(setup, setup->diffusivity.central, step, course->core, course->outside,
                       COURSE) == PROCESS_OK &&
           cook_course(setup, setup->diffusivity.low, step, course->slow, unused, COURSE) ==
               PROCESS_OK;
}

static void draw_course(struct face *face, const char *name, const json_t *tree)
{
    struct course course;
    (void)name, (void)tree;
    if (!course_of(face->of, &course))
        return;
    const struct chart_series series[] = {
        {course.outside, COURSE, '-', "the steam"},
        {course.slow, COURSE, '.', "the core, if it heats slowly"},
        {course.core, COURSE, '*', "the core, most likely"},
    };
    screen_heading(face->screen, "Temperature in the middle of the grain");
    chart_draw(face->screen,
               &(struct chart){0, course.minutes, 20, 125, "min", "degC", series, 3, NULL, 0}, 10);
}

/* "5.8 log reductions short of the aim", "20 log reductions beyond the aim" */
static json_t *margin(double logs)
{
    return logs > 100.0 ? json_string("over 100 log reductions beyond the aim")
                        : json_sprintf("%.2g log reductions %s the aim", fabs(logs),
                                       logs < 0.0 ? "short of" : "beyond");
}

static json_t *leans_json(const struct cook_result *result)
{
    static const char *const ids[COOK_INPUTS] = {"diffusivity", "come_up", "air",
                                                 "cooling",     "load",    "resistance"};
    json_t *leans = json_array();
    for (size_t i = 0; i < COOK_INPUTS && result->leans[i].input < COOK_INPUTS; i++) {
        const struct cook_lean *lean = &result->leans[i];
        view_json_row(leans, "on:s say:s bad:n good:n _bad:o _good:o", ids[lean->input],
                      cook_input_name(lean->input), lean->bad, lean->good, margin(lean->bad),
                      margin(lean->good));
    }
    return leans;
}

/* What the rules note of the likeliest survivor of each kind that spoils a vessel. */
static json_t *notes_json(const struct cook_report *cook)
{
    json_t *notes = json_array();
    for (int role = ORGANISM_SPORE_FORMER; role <= ORGANISM_FUNGUS; role++) {
        const struct organism *likeliest = NULL;
        double chance = -1.0;
        for (size_t i = 0; i < cook->setup.organism_count; i++) {
            const struct organism *organism = &cook->rules->organisms[i];
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

static json_t *organisms_json(const struct cook_report *cook)
{
    static const char *const roles[] = {"spore_former", "fungus", "indicator"};
#define OF struct cook_kill
    static const struct field fields[] = {RANGE("log_reduction", log_reduction),
                                          RANGE("survivors", survivors), RANGE("chance", chance),
                                          REAL("chance_mean", chance_mean), FIELDS_END};
#undef OF
    json_t *array = json_array();

    for (size_t i = 0; i < cook->setup.organism_count; i++) {
        const struct organism *organism = &cook->rules->organisms[i];
        json_t *row =
            view_json("id:s name:s role:s", organism->id, organism->name, roles[organism->role]);
        json_array_append_new(array, view_fields_json(row, fields, &cook->result.kills[i]));
    }
    return array;
}

static json_t *course_json(const struct cook_report *cook)
{
    struct course course;
    json_t *array = json_array();

    if (!course_of(cook, &course))
        return array;
    for (size_t i = 0; i < COURSE; i += 4)
        view_json_row(array, "minute:n steam:n core:n core_slow:n",
                      course.minutes * (double)i / (COURSE - 1), course.outside[i], course.core[i],
                      course.slow[i]);
    return array;
}

/* What is told of the cook here and of the same at sea level. */
static json_t *figures_json(const struct cook_setup *setup, const struct cook_result *result)
{
    static const char *const verdicts[] = {"adequate", "marginal", "not enough"};
#define OF struct cook_result
    static const struct field chance[] = {REAL("low", chance.low), REAL("central", chance.central),
                                          REAL("high", chance.high), REAL("mean", chance_mean),
                                          FIELDS_END};
    static const struct field none[] = {FIELDS_END};
    static const struct field fields[] = {REAL("steam_celsius", steam.central),
                                          RANGE("steam", steam),
                                          RANGE("core", core),
                                          RANGE("f0", f0),
                                          REAL("f0_cautious", f0_adequate_at),
                                          FIELD_MORE("verdict", WORD, OF, verdict, verdicts),
                                          {"chance_not_sterile", FIELD_OBJECT, 0, chance},
                                          {"chance_any", FIELD_OBJECT, 0, none}, /* below */
                                          RANGE("minutes_needed", minutes_needed),
                                          REAL("margin_decades", margin),
                                          FIELDS_END};
#undef OF
    json_t *figures = view_fields_json(json_object(), fields, result);
    view_json_put(figures, "chance_any",
                  view_json("vessels:n mean:n", setup->vessels, result->chance_any_mean));
    return figures;
}

/* The same at sea level, with the gauge that would make up for the altitude. */
static json_t *sea_json(const struct cook_report *cook)
{
    const struct cook_result *here = &cook->result;
    double gauge;
    if (!cook->has_sea)
        return json_null();
    json_t *sea = figures_json(&cook->setup, &cook->sea);
    view_json_put(sea, "_here",
                  view_json("steam:n f0:n chance:n", here->steam.central, here->f0.central,
                            here->chance_mean));
    if (steam_gauge_needed(&cook->setup.steam, cook->sea.steam.central, &gauge) == PROCESS_OK)
        view_json_add(sea, "_gauge:n _within:b", gauge, gauge <= cook->rated);
    return sea;
}

json_t *view_cook_json(const struct cook_report *cook)
{
#define OF struct cook_report
    static const struct field conditions[] = {REAL("gauge_kpa", setup.steam.gauge_kpa),
                                              REAL("outside_kpa", outside),
                                              REAL("minutes", setup.hold),
                                              REAL("target", setup.target),
                                              TEXT("vessel", vessel),
                                              FLAG("measured", measured),
                                              REAL("_barometer", setup.steam.barometer_kpa),
                                              REAL("_altitude", setup.steam.altitude_m),
                                              REAL("_adequate", setup.adequate_f0),
                                              FIELDS_END};
#undef OF
#define OF struct lethality
    static const struct field probe[] = {FIELD("readings", COUNT, OF, readings),
                                         FIELD("gaps", COUNT, OF, gaps),
                                         REAL("gap_minutes", gap_minutes), FIELDS_END};
#undef OF
    const struct lethality *log = &cook->probe.f0;
    const struct range *steam = &cook->result.steam;
    json_t *root = figures_json(&cook->setup, &cook->result);

    view_json_put(root, "schema", json_integer(1));
    view_fields_json(root, conditions, cook);
    if (cook->measured)
        view_json_put(root, "probe",
                      view_json_put(view_fields_json(json_object(), probe, log), "_minutes",
                                    json_real(log->last_time - log->first_time)));
    json_object_update_new(
        root, json_pack("{s:o, s:o, s:o, s:o, s:o, s:[s, s], s:o, s:o, s:b, s:o}", "organisms",
                        organisms_json(cook), "leans", leans_json(&cook->result), "course",
                        course_json(cook), "sea_level", sea_json(cook), "assumed",
                        view_json_parts(cook->assumed), "cautions",
                        "The cooker's manual comes first; never go beyond the pressure it allows.",
                        "This is not a calculator for canning food.", "_notes", notes_json(cook),
                        "_fahrenheit", view_json_number(1.8 * steam->central + 32.0), "_air",
                        steam->high - steam->low > 0.3, "_one_in",
                        view_json_number(1.0 / cook->setup.target)));
    return root;
}

void view_cook(struct screen *screen, const struct cook_report *cook)
{
    struct face face = {.screen = screen, .part = draw_course, .of = cook};
    view_say_taken(&face, "cook", view_cook_json(cook));
}

/* ---- a spawn run ----------------------------------------------------------------------------- */

/* The day at which the drawing ends: a little after the slow end is full. */
static double last_day(const struct forecast_report *spawn)
{
    double last = spawn->reached ? 1.1 * spawn->full.central + 2.0 : 30.0;
    if (spawn->reached && isfinite(spawn->full.high))
        last = spawn->full.high + 2.0;
    if (spawn->judged)
        last = fmax(last, spawn->day + 2.0);
    return ceil(fmin(last, 180.0));
}

static void draw_coverage(struct face *face, const char *name, const json_t *tree)
{
    const struct forecast_report *spawn = face->of;
    struct range band[COURSE_POINTS];
    double last = last_day(spawn);

    (void)name, (void)tree;
    for (size_t i = 0; i < COURSE_POINTS; i++)
        forecast_coverage(&spawn->forecast, last * (double)i / (COURSE_POINTS - 1), &band[i]);
    screen_heading(face->screen, "Coverage");
    chart_coverage(face->screen, band, last, &(struct chart_point){spawn->day, spawn->seen, 'O'},
                   spawn->judged ? 1 : 0);
}

static json_t *pace_json(const struct forecast_report *spawn)
{
#define OF struct forecast_report
    static const struct field fields[] = {REAL("day", day),
                                          REAL("seen", seen),
                                          RANGE("expected", pace.expected),
                                          REAL("times_late", pace.times_late),
                                          REAL("wait_until", pace.wait_until),
                                          FLAG("explained", pace.explained),
                                          FIELDS_END};
#undef OF
    json_t *reasons = json_array();

    if (!spawn->judged)
        return json_null();
    for (size_t i = 0; i < FORECAST_INPUTS; i++) {
        const struct forecast_reason *reason = &spawn->pace.reasons[i];
        view_json_row(reasons, "input:s needed:n stretch:n _times:n",
                      forecast_input_name(reason->input), reason->needed, reason->stretch,
                      reason->needed / spawn->forecast.points.central);
    }
    json_t *pace = view_json("pace:s _wait_date:o", pace_name(spawn->pace.pace),
                             date_after(spawn->start, ceil(spawn->pace.wait_until)));
    return view_json_put(view_fields_json(pace, fields, spawn), "reasons", reasons);
}

/* The days on which to look, with their dates where they have any. */
static json_t *looks_json(const struct forecast_report *spawn)
{
    enum { MOST_LOOKS = 8 };
    double every = spawn->look_every, last = spawn->reached ? spawn->full.central : 21.0;
    json_t *looks = json_array();
    for (int look = 1; look <= MOST_LOOKS && (look - 1) * every < last; look++)
        view_json_row(looks, "day:n date:o", look * every, date_after(spawn->start, look * every));
    return looks;
}

json_t *view_forecast_json(const struct forecast_report *spawn)
{
#define OF struct forecast_report
    static const struct field figures[] = {TEXT("species", species_id),
                                           TEXT("start", start),
                                           RANGE("first_growth_days", visible),
                                           RANGE("shake_days", shake),
                                           RANGE("full_days", full),
                                           REAL("look_every_days", look_every),
                                           FIELDS_END};
    static const struct field inputs[] = {
        RANGE("points_per_cm3", forecast.points), RANGE("rate_mm_day", forecast.rate),
        REAL("_lag", forecast.lag.central), FLAG("_reached", reached), FIELDS_END};
#undef OF
    static const char *const dated[] = {"first_growth_days", "shake_days", "full_days"};
    const struct range *const days[] = {&spawn->visible, &spawn->shake, &spawn->full};
    const struct growth *growth = &spawn->species->growth;
    json_t *root = view_fields_json(view_json("schema:i", 1), figures, spawn);

    for (size_t i = 0; i < sizeof dated / sizeof *dated; i++)
        view_json_add(json_object_get(root, dated[i]), "_from:o _to:o",
                      date_after(spawn->start, floor(days[i]->low)),
                      date_after(spawn->start, ceil(days[i]->high)));
    view_json_put(root, "stop_waiting_days",
                  view_json("nothing_seen:n not_full:n", spawn->nothing_seen, spawn->not_full));
    view_json_put(root, "published_days",
                  view_json("low:n high:n", growth->full_lo, growth->full_hi));
    view_fields_json(root, inputs, spawn);
    json_t *array = json_array();
    double last = last_day(spawn);

    for (int day = 0; day <= last; day++) {
        struct range coverage;
        forecast_coverage(&spawn->forecast, day, &coverage);
        view_json_row(array, "day:i low:n central:n high:n", day, coverage.low, coverage.central,
                      coverage.high);
    }
    view_json_add(root, "days:o seen:o assumed:o _looks:o _species:s _vessel:s _shaken:b", array,
                  pace_json(spawn), view_json_parts(spawn->assumed), looks_json(spawn),
                  spawn->species->name, spawn->vessel != NULL ? spawn->vessel : "one vessel",
                  spawn->forecast.shake_count > 0);
    return root;
}

void view_forecast(struct screen *screen, const struct forecast_report *spawn)
{
    struct face face = {.screen = screen, .part = draw_coverage, .of = spawn};
    view_say_taken(&face, "forecast", view_forecast_json(spawn));
}

/* ---- hydration ----------------------------------------------------------------------------------- */

/* The sources of the grain's target range and limit; as people cite them, or their ids. */
static json_t *sources_json(const struct mix_report *mix, bool cited)
{
    json_t *sources = json_array();
    for (size_t i = 0; mix->grain != NULL && i < mix->grain->cites.count; i++) {
        const struct source *source = &mix->rules->sources[mix->grain->cites.sources[i]];
        json_array_append_new(sources, cited ? json_sprintf("%s %s", source->author, source->year)
                                             : json_string(source->id));
    }
    if (cited && mix->grain != NULL && mix->grain->cites.expert_judgement)
        json_array_append_new(sources, json_string("judgement"));
    return sources;
}

json_t *view_mix_json(const struct mix_report *mix)
{
    static const char *const places[] = {"below", "within", "above"};
#define OF struct moisture_band
    static const struct field band[] = {REAL("low", lo), REAL("high", hi),
                                        REAL("raw_limit", raw_limit), FIELDS_END};
#undef OF
#define OF struct mix_report
    static const struct field fields[] = {TEXT("grain", grain_id),
                                          REAL("dry_g", dry),
                                          REAL("water_g", water),
                                          REAL("own_moisture", own_moisture),
                                          REAL("moisture", moisture),
                                          REAL("dry_basis", dry_basis),
                                          REAL("target", target),
                                          FIELD_MORE("band", OBJECT, OF, band, band),
                                          FIELD_MORE("place", WORD, OF, verdict.place, places),
                                          REAL("correction_g", verdict.correction),
                                          REAL("free_water_g", verdict.free_water),
                                          REAL("fill", fill),
                                          FLAG("recipe", recipe),
                                          FIELD("assumed", PARTS, OF, assumed),
                                          FLAG("_drained", drained),
                                          REAL("_vessels", vessels),
                                          FIELDS_END};
#undef OF
    double most = mix->rules->forecast.fill_most > 0.0 ? mix->rules->forecast.fill_most : 0.75;
    double wet = mix->dry + mix->water;
    json_t *root = view_fields_json(view_json("schema:i", 1), fields, mix);
    view_json_add(
        root,
        "sources:o _sources:o _vessel:s _crowded:b _each:n _dry_each:n _times:n _correction:n",
        sources_json(mix, false), sources_json(mix, true),
        mix->vessel != NULL ? mix->vessel : "The vessel", mix->fill > most, wet / mix->vessels,
        mix->dry / mix->vessels, wet / mix->dry, fabs(mix->verdict.correction));
    return root;
}

void view_mix(struct screen *screen, const struct mix_report *mix)
{
    view_say_taken(&(struct face){.screen = screen}, "mix", view_mix_json(mix));
}
