/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/plan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/dates.h"
#include "view/tree.h"

/* An ISO 8601 date some days after `start`; "" when there is none. */
static json_t *date_after(const char *start, double days)
{
    char room[MOMENT_ROOM];
    int64_t day;
    bool known = start != NULL && fabs(days) < 1e7 && day_read(start, &day) != NULL;
    return json_string(day_write(known ? day + lround(days) : INT64_MIN, DAY_ISO, room));
}

/* ---- charts ----------------------------------------------------------------------------------- */

static json_t *series(const char *mark, const char *label, json_t *values)
{
    return view_json("mark:s label:s values:o", mark, label, values);
}

json_t *view_coverage_chart(const struct range *band, double last, json_t *points)
{
    json_t *values[3] = {json_array(), json_array(), json_array()}, *all = json_array();
    bool lost = false, fine = false;
    for (size_t i = 0; band != NULL && i < COURSE_POINTS; i++) {
        json_array_append_new(values[0], json_real(band[i].low));
        json_array_append_new(values[1], json_real(band[i].high));
        json_array_append_new(values[2], json_real(band[i].central));
    }
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *mark = json_object_get(json_array_get(points, i), "mark");
        lost = lost || json_string_value(mark)[0] == 'x';
        fine = fine || json_string_value(mark)[0] != 'x';
    }
    json_array_append_new(all, series(".", band != NULL ? "slowest and fastest" : NULL, values[0]));
    json_array_append_new(all, series(".", NULL, values[1]));
    json_array_append_new(all, series("*", band != NULL ? "most likely" : NULL, values[2]));
    if (fine)
        json_array_append_new(all, series("O", "seen", json_null()));
    if (lost)
        json_array_append_new(all, series("x", "seen in a vessel that is lost", json_null()));
    return view_json("x:s y:s to:n low:i high:i series:o points:o", "days", "% colonised", last, 0,
                     100, all, points);
}

/* ---- a cook ---------------------------------------------------------------------------------- */

/* The course of the core, for programs, and as a chart in the scale that the grower reads; an empty array
 * and nothing where there is none to compute. */
static void add_course(json_t *root, const struct cook_report *cook)
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
    json_t *all = json_pack("[o, o, o]", series("-", "the steam", steam),
                            series(".", "the core, if it heats slowly", late),
                            series("*", "the core, most likely", likely));
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
    json_t *array = json_array();

    for (size_t i = 0; i < cook->setup.organism_count; i++) {
        const struct organism *organism = &cook->rules->organisms[i];
        const struct cook_kill *kill = &cook->result.kills[i];
        view_json_row(array,
                      "id:s name:s role:s log_reduction:r survivors:r chance:r chance_mean:n",
                      organism->id, organism->name, roles[organism->role], &kill->log_reduction,
                      &kill->survivors, &kill->chance, kill->chance_mean);
    }
    return array;
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
static json_t *sea_json(const struct cook_report *cook)
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
        view_json_add(sea, "_gauge:n _within:b", gauge, gauge <= cook->rated);
    return sea;
}

json_t *view_cook_json(const struct cook_report *cook)
{
    const struct cook_setup *setup = &cook->setup;
    const struct lethality *log = &cook->probe.f0;
    const struct range *steam = &cook->result.steam;
    json_t *root = figures_json(setup, &cook->result);
    json_t *cautions = json_pack(
        "[s, s]", "The cooker's manual comes first; never go beyond the pressure it allows.",
        "This is not a calculator for canning food.");

    view_json_add(root, "schema:i gauge_kpa:n outside_kpa:n minutes:n target:n vessel:s measured:b",
                  1, setup->steam.gauge_kpa, cook->outside, setup->hold, setup->target,
                  cook->vessel, cook->measured);
    if (cook->measured)
        json_object_set_new(root, "probe",
                            view_json("readings:z gaps:z gap_minutes:n _minutes:n", log->readings,
                                      log->gaps, log->gap_minutes,
                                      log->last_time - log->first_time));
    view_json_add(root, "organisms:o leans:o", organisms_json(cook), leans_json(&cook->result));
    add_course(root, cook);
    view_json_add(root,
                  "sea_level:o assumed:o cautions:o _barometer:n _altitude:n _adequate:n _notes:o "
                  "_reference:n _air:b _one_in:n",
                  sea_json(cook), view_json_parts(cook->assumed), cautions,
                  setup->steam.barometer_kpa, setup->steam.altitude_m, setup->adequate_f0,
                  notes_json(cook), 121.1, steam->high - steam->low > 0.3, 1.0 / setup->target);
    return root;
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

static json_t *pace_json(const struct forecast_report *spawn)
{
    const struct pace_verdict *pace = &spawn->pace;
    json_t *reasons = json_array();

    for (size_t i = 0; i < FORECAST_INPUTS; i++) {
        const struct forecast_reason *reason = &pace->reasons[i];
        view_json_row(reasons, "input:s needed:n stretch:n _times:n",
                      forecast_input_name(reason->input), reason->needed, reason->stretch,
                      reason->needed / spawn->forecast.points.central);
    }
    return view_json("pace:s day:n seen:n expected:r times_late:n wait_until:n explained:b "
                     "reasons:o _wait_date:o",
                     pace_name(pace->pace), spawn->day, spawn->seen, &pace->expected,
                     pace->times_late, pace->wait_until, pace->explained, reasons,
                     date_after(spawn->start, ceil(pace->wait_until)));
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

static json_t *days_json(const struct forecast_report *spawn, const struct range *days)
{
    return view_json("low:n central:n high:n _from:o _to:o", days->low, days->central, days->high,
                     date_after(spawn->start, floor(days->low)),
                     date_after(spawn->start, ceil(days->high)));
}

json_t *view_forecast_json(const struct forecast_report *spawn)
{
    const struct growth *growth = &spawn->species->growth;
    const struct forecast *forecast = &spawn->forecast;
    struct range band[COURSE_POINTS];
    const double last = last_day(spawn);
    json_t *course = json_array(), *seen = json_array();
    json_t *stop = view_json("nothing_seen:n not_full:n", spawn->nothing_seen, spawn->not_full);

    for (int day = 0; day <= last; day++) {
        struct range coverage;
        forecast_coverage(forecast, day, &coverage);
        view_json_row(course, "day:i low:n central:n high:n", day, coverage.low, coverage.central,
                      coverage.high);
    }
    json_t *root = view_json(
        "schema:i species:s start:s first_growth_days:o shake_days:o full_days:o look_every_days:n "
        "stop_waiting_days:o published_days:o points_per_cm3:r rate_mm_day:r days:o seen:o "
        "assumed:o",
        1, spawn->species_id, spawn->start, days_json(spawn, &spawn->visible),
        days_json(spawn, &spawn->shake), days_json(spawn, &spawn->full), spawn->look_every, stop,
        view_json("low:n high:n", growth->full.lo, growth->full.hi), &forecast->points,
        &forecast->rate, course, spawn->judged ? pace_json(spawn) : json_null(),
        view_json_parts(spawn->assumed));
    for (size_t i = 0; i < COURSE_POINTS; i++)
        forecast_coverage(forecast, last * (double)i / (COURSE_POINTS - 1), &band[i]);
    if (spawn->judged)
        view_json_row(seen, "x:n y:n mark:s", spawn->day, spawn->seen, "O");
    view_json_add(root, "_chart:o _lag:n _reached:b _looks:o _species:s _vessel:s _shaken:b",
                  view_coverage_chart(band, last, seen), forecast->lag.central, spawn->reached,
                  looks_json(spawn), spawn->species->name,
                  spawn->vessel != NULL ? spawn->vessel : "one vessel", forecast->shake_count > 0);
    return root;
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
    const struct moisture_band *band = &mix->band;
    double most = mix->rules->forecast.fill_most > 0.0 ? mix->rules->forecast.fill_most : 0.75;
    double wet = mix->dry + mix->water;
    json_t *root = view_json(
        "schema:i grain:s dry_g:n water_g:n own_moisture:n moisture:n dry_basis:n target:n band:o "
        "place:s correction_g:n free_water_g:n fill:n recipe:b assumed:o sources:o",
        1, mix->grain_id, mix->dry, mix->water, mix->own_moisture, mix->moisture, mix->dry_basis,
        mix->target, view_json("low:n high:n raw_limit:n", band->lo, band->hi, band->raw_limit),
        places[mix->verdict.place], mix->verdict.correction, mix->verdict.free_water, mix->fill,
        mix->recipe, view_json_parts(mix->assumed), sources_json(mix, false));
    view_json_add(root,
                  "_drained:b _vessels:n _sources:o _vessel:s _crowded:b _each:n _dry_each:n "
                  "_times:n _correction:n",
                  mix->drained, mix->vessels, sources_json(mix, true),
                  mix->vessel != NULL ? mix->vessel : "The vessel", mix->fill > most,
                  wet / mix->vessels, mix->dry / mix->vessels, wet / mix->dry,
                  fabs(mix->verdict.correction));
    return root;
}
