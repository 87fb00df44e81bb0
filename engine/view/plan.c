/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/plan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/dates.h"
#include "view/charts.h"
#include "view/screen.h"

#define SAY(...) screen_say(screen, 0, 2, ROLE_PLAIN, __VA_ARGS__)

enum { ROOM = 64 };

/* An ISO 8601 date some days after `start`; "" when there is none. */
static const char *date_after(const char *start, double days, char room[ROOM])
{
    int64_t day;
    bool known = start != NULL && fabs(days) < 1e7 && day_read(start, &day) != NULL;
    return day_write(known ? day + lround(days) : INT64_MIN, DAY_ISO, room);
}

/* "about 12 %", "under 1 in 1000", "nearly certain": a chance as one says it. */
static const char *chance_words(double chance, char room[ROOM])
{
    if (chance > 0.99)
        snprintf(room, ROOM, "over 99 %%");
    else if (chance >= 0.1)
        snprintf(room, ROOM, "%.0f %%", 100.0 * chance);
    else if (chance >= 0.001)
        snprintf(room, ROOM, "%.2g %%", 100.0 * chance);
    else
        snprintf(room, ROOM, "under 1 in 1000");
    return room;
}

/* "700 g (1 lb 9 oz)" */
static const char *quantity_words(double value, enum dimension dimension, char room[ROOM])
{
    struct text show;
    text_init(&show);
    quantity_show(&show, value, dimension);
    snprintf(room, ROOM, "%s", show.bytes);
    text_release(&show);
    return room;
}

static void say_assumed(struct screen *screen, const char *assumed)
{
    if (assumed[0] != '\0')
        screen_say(screen, 0, 2, ROLE_QUIET, "Assumed: %s.", assumed);
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

static void draw_course(struct screen *screen, const struct cook_report *cook)
{
    struct course course;
    if (!course_of(cook, &course))
        return;
    const struct chart_series series[] = {
        {course.outside, COURSE, '-', "the steam"},
        {course.slow, COURSE, '.', "the core, if it heats slowly"},
        {course.core, COURSE, '*', "the core, most likely"},
    };
    screen_heading(screen, "Temperature in the middle of the grain");
    chart_draw(screen,
               &(struct chart){0, course.minutes, 20, 125, "min", "degC", series, 3, NULL, 0}, 10);
}

static void say_core(struct screen *screen, const struct cook_report *cook)
{
    const struct range *core = &cook->result.core, *f0 = &cook->result.f0;
    const struct lethality *log = &cook->probe.f0;

    if (cook->measured)
        SAY("The probe read %.1f to %.1f °C in %zu readings over %.0f minutes.", core->low,
            core->high, log->readings, log->last_time - log->first_time);
    else
        SAY("At the end of that time its middle is at about %.1f °C (%.1f to %.1f).", core->central,
            core->low, core->high);
    if (cook->measured && log->gaps > 0)
        SAY("The log has %zu gap%s, %.0f minutes in all. Across a gap only the cooler end is "
            "counted.",
            log->gaps, log->gaps == 1 ? "" : "s", log->gap_minutes);
    SAY("F0, in equivalent minutes at 121.1 °C: about %.3g (%.2g to %.3g).", f0->central, f0->low,
        f0->high);
}

/* "59 log reductions (0.1 to over 100)". Beyond a hundred more figures mean nothing. */
static const char *reduction_words(const struct range *logs, char room[ROOM])
{
    static const double most = 100.0;
    char high[ROOM] = "over 100", central[ROOM] = "over 100";

    if (logs->low > most)
        return "over 100 log reductions";
    if (logs->high <= most)
        snprintf(high, ROOM, "%.2g", logs->high);
    if (logs->central <= most)
        snprintf(central, ROOM, "%.2g", logs->central);
    snprintf(room, ROOM, "%.10s log reductions (%.2g to %.10s)", central, logs->low, high);
    return room;
}

static void say_chances(struct screen *screen, const struct cook_report *cook)
{
    const struct cook_result *result = &cook->result;
    char mean[ROOM], low[ROOM], high[ROOM];

    screen_heading(screen, "What may survive");
    for (size_t i = 0; i < cook->setup.organism_count; i++)
        screen_say(screen, 2, 2, ROLE_PLAIN, "%s: in %s of vessels; %s",
                   cook->rules->organisms[i].name, chance_words(result->kills[i].chance_mean, mean),
                   reduction_words(&result->kills[i].log_reduction, low));
    screen_blank(screen);
    SAY("Chance that a vessel is not sterile: %s averaged over all that is unknown (%s to %s).",
        chance_words(result->chance_mean, mean), chance_words(result->chance.low, low),
        chance_words(result->chance.high, high));
    if (cook->setup.vessels > 1.0)
        SAY("Chance that at least one of %.0f is not sterile: %s.", cook->setup.vessels,
            chance_words(result->chance_any_mean, mean));
}

static void say_minutes(struct screen *screen, const char *lead, const struct range *minutes)
{
    char high[ROOM] = "more than a day";

    if (isnan(minutes->central))
        return;
    if (!isinf(minutes->high))
        snprintf(high, ROOM, "%.0f", minutes->high);
    if (isinf(minutes->central))
        SAY("%s: more than a day.", lead);
    else
        SAY("%s: about %.0f (%.0f to %s).", lead, minutes->central, minutes->low, high);
}

static void say_sea_level(struct screen *screen, const struct cook_report *cook)
{
    const struct cook_result *here = &cook->result, *sea = &cook->sea;
    char one[ROOM], other[ROOM];
    double needed;

    if (!cook->has_sea)
        return;
    if (steam_gauge_needed(&cook->setup.steam, sea->steam.central, &needed) == PROCESS_OK) {
        if (needed <= cook->rated)
            SAY("For the temperature at sea level the gauge would have to read %s, which is within "
                "the rating.",
                quantity_words(needed, DIM_GAUGE_KPA, one));
        else
            SAY("More pressure would make up for the altitude, but never exceed what the cooker's "
                "manual allows. Add minutes instead.");
    }
    screen_heading(screen, "The same at sea level");
    SAY("Steam %.1f °C instead of %.1f; F0 about %.3g instead of %.3g; chance of a vessel that is "
        "not sterile %s instead of %s.",
        sea->steam.central, here->steam.central, sea->f0.central, here->f0.central,
        chance_words(sea->chance_mean, one), chance_words(here->chance_mean, other));
    say_minutes(screen, "Minutes needed there", &sea->minutes_needed);
}

/* "5.8 log reductions short of the aim", "20 log reductions beyond it" */
static const char *margin_words(double logs, char room[ROOM])
{
    if (logs < 0.0)
        snprintf(room, ROOM, "%.2g log reductions short of the aim", -logs);
    else if (logs > 100.0)
        snprintf(room, ROOM, "over 100 log reductions beyond the aim");
    else
        snprintf(room, ROOM, "%.2g log reductions beyond the aim", logs);
    return room;
}

static void say_certainty(struct screen *screen, const struct cook_report *cook)
{
    const struct cook_lean *leans = cook->result.leans;
    char bad[ROOM], good[ROOM];

    screen_heading(screen, "Uncertainty");
    SAY("It depends most on %s: at worst %s, at best %s.", cook_input_name(leans[0].input),
        margin_words(leans[0].bad, bad), margin_words(leans[0].good, good));
    SAY("Then on %s: %s, or %s.", cook_input_name(leans[1].input), margin_words(leans[1].bad, bad),
        margin_words(leans[1].good, good));
    if (!cook->measured)
        SAY("A temperature probe in the middle of a vessel would settle most of it: give its log "
            "with --probe.");
    /* The likeliest survivor of each kind that spoils a vessel. */
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
            SAY("%s", likeliest->note);
    }
    say_assumed(screen, cook->assumed);
    screen_say(screen, 0, 2, ROLE_QUIET,
               "The cooker's manual comes first. This is not a calculator for canning food.");
}

void view_cook(struct screen *screen, const struct cook_report *cook)
{
    static const char *const heads[] = {"Adequate", "Marginal", "Not enough"};
    const struct cook_result *result = &cook->result;
    char aim[ROOM];

    if (cook->vessel != NULL && !cook->measured)
        SAY("%s, %.0f minutes at pressure.", cook->vessel, cook->setup.hold);
    if (!cook->measured) {
        const struct steam_conditions *steam = &cook->setup.steam;
        const struct range *celsius = &cook->result.steam;
        bool barometer = !isnan(steam->barometer_kpa);
        char gauge[ROOM], outside[ROOM], air[ROOM] = "";

        quantity_words(steam->gauge_kpa, DIM_GAUGE_KPA, gauge);
        if (barometer)
            quantity_words(steam->barometer_kpa, DIM_PRESSURE_KPA, outside);
        else
            quantity_words(steam->altitude_m, DIM_METRES, outside);
        if (celsius->high - celsius->low > 0.3)
            snprintf(air, ROOM, " (%.1f to %.1f, depending on the air left in it)", celsius->low,
                     celsius->high);
        SAY("Steam at %s%s%s%s: %.1f °C (%.1f °F)%s.", gauge,
            barometer ? " and a barometer reading of " : " and ", outside,
            barometer ? "" : " above sea level", celsius->central, 1.8 * celsius->central + 32.0,
            air);
    }
    if (cook->measured)
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "%s: the probe's F0 is at least %.3g minutes; %.3g are required.",
                   heads[result->verdict], result->f0_adequate_at, cook->setup.adequate_f0);
    else if (isinf(result->minutes_needed.central))
        screen_say(screen, 0, 2, ROLE_STRONG, "%s: on a cautious estimate a day would not do.",
                   heads[result->verdict]);
    else
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "%s: a cautious estimate asks for %.0f minutes; this is %.0f.",
                   heads[result->verdict], result->minutes_needed.central, cook->setup.hold);
    draw_course(screen, cook);
    screen_blank(screen);
    say_core(screen, cook);
    say_chances(screen, cook);
    snprintf(aim, ROOM, "Minutes needed here for 1 unsterile in %.0f", 1.0 / cook->setup.target);
    say_minutes(screen, aim, &result->minutes_needed);
    if (!cook->measured)
        say_sea_level(screen, cook);
    say_certainty(screen, cook);
}

static json_t *organisms_json(const struct cook_report *cook)
{
    static const char *const roles[] = {"spore_former", "fungus", "indicator"};
    static const struct field fields[] = {
        FIELD("log_reduction", RANGE, struct cook_kill, log_reduction),
        FIELD("survivors", RANGE, struct cook_kill, survivors),
        FIELD("chance", RANGE, struct cook_kill, chance),
        FIELD("chance_mean", NUMBER, struct cook_kill, chance_mean),
        FIELDS_END,
    };
    json_t *array = json_array();

    for (size_t i = 0; i < cook->setup.organism_count; i++) {
        const struct organism *organism = &cook->rules->organisms[i];
        json_t *row = json_pack("{s:s, s:s, s:s}", "id", organism->id, "name", organism->name,
                                "role", roles[organism->role]);
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
        view_json_row(array, "{s:f, s:f, s:f, s:f}", "minute",
                      course.minutes * (double)i / (COURSE - 1), "steam", course.outside[i], "core",
                      course.core[i], "core_slow", course.slow[i]);
    return array;
}

/* What is told of the cook here and of the same at sea level. */
static json_t *figures_json(const struct cook_setup *setup, const struct cook_result *result)
{
    static const char *const verdicts[] = {"adequate", "marginal", "not enough"};
    static const struct field chance[] = {
        FIELD("low", NUMBER, struct cook_result, chance.low),
        FIELD("central", NUMBER, struct cook_result, chance.central),
        FIELD("high", NUMBER, struct cook_result, chance.high),
        FIELD("mean", NUMBER, struct cook_result, chance_mean),
        FIELDS_END,
    };
    static const struct field fields[] = {
        FIELD("steam_celsius", NUMBER, struct cook_result, steam.central),
        FIELD("steam", RANGE, struct cook_result, steam),
        FIELD("core", RANGE, struct cook_result, core),
        FIELD("f0", RANGE, struct cook_result, f0),
        FIELD("f0_cautious", NUMBER, struct cook_result, f0_adequate_at),
        FIELD_MORE("verdict", WORD, struct cook_result, verdict, verdicts),
        {"chance_not_sterile", FIELD_OBJECT, 0, chance},
        {"chance_any", FIELD_OBJECT, 0, chance + 4},
        FIELD("minutes_needed", RANGE, struct cook_result, minutes_needed),
        FIELD("margin_decades", NUMBER, struct cook_result, margin),
        FIELDS_END,
    };
    json_t *figures = view_fields_json(json_object(), fields, result);
    json_t *any = json_object_get(figures, "chance_any");
    view_json_put(any, "vessels", view_json_number(setup->vessels));
    view_json_put(any, "mean", view_json_number(result->chance_any_mean));
    return figures;
}

json_t *view_cook_json(const struct cook_report *cook)
{
    static const struct field conditions[] = {
        FIELD("gauge_kpa", NUMBER, struct cook_report, setup.steam.gauge_kpa),
        FIELD("outside_kpa", NUMBER, struct cook_report, outside),
        FIELD("minutes", NUMBER, struct cook_report, setup.hold),
        FIELD("target", NUMBER, struct cook_report, setup.target),
        FIELD("vessel", TEXT, struct cook_report, vessel),
        FIELD("measured", FLAG, struct cook_report, measured),
        FIELDS_END,
    };
    static const struct field probe[] = {
        FIELD("readings", COUNT, struct lethality, readings),
        FIELD("gaps", COUNT, struct lethality, gaps),
        FIELD("gap_minutes", NUMBER, struct lethality, gap_minutes),
        FIELDS_END,
    };
    json_t *root = figures_json(&cook->setup, &cook->result);

    view_json_put(root, "schema", json_integer(1));
    view_fields_json(root, conditions, cook);
    if (cook->measured)
        view_json_put(root, "probe", view_fields_json(json_object(), probe, &cook->probe.f0));
    view_json_put(root, "organisms", organisms_json(cook));
    static const char *const ids[COOK_INPUTS] = {"diffusivity", "come_up", "air",
                                                 "cooling",     "load",    "resistance"};
    json_t *array = json_array();

    for (size_t i = 0; i < COOK_INPUTS && cook->result.leans[i].input < COOK_INPUTS; i++)
        view_json_row(array, "{s:s, s:s, s:o, s:o}", "on", ids[cook->result.leans[i].input], "say",
                      cook_input_name(cook->result.leans[i].input), "bad",
                      view_json_number(cook->result.leans[i].bad), "good",
                      view_json_number(cook->result.leans[i].good));
    view_json_put(root, "leans", array);
    view_json_put(root, "course", course_json(cook));
    view_json_put(root, "sea_level",
                  cook->has_sea ? figures_json(&cook->setup, &cook->sea) : json_null());
    view_json_put(root, "assumed", view_json_parts(cook->assumed));
    return view_json_put(
        root, "cautions",
        json_pack("[s, s]",
                  "The cooker's manual comes first; never go beyond the pressure it allows.",
                  "This is not a calculator for canning food."));
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

static void draw_coverage(struct screen *screen, const struct forecast_report *spawn)
{
    struct range band[COURSE_POINTS];
    double last = last_day(spawn);

    for (size_t i = 0; i < COURSE_POINTS; i++)
        forecast_coverage(&spawn->forecast, last * (double)i / (COURSE_POINTS - 1), &band[i]);
    screen_heading(screen, "Coverage");
    chart_coverage(screen, band, last, &(struct chart_point){spawn->day, spawn->seen, 'O'},
                   spawn->judged ? 1 : 0);
}

static void say_days(struct screen *screen, const struct forecast_report *spawn, const char *what,
                     const struct range *days)
{
    char from[ROOM], to[ROOM], high[ROOM] = "open-ended", dates[2 * ROOM] = "";

    if (isinf(days->central)) {
        SAY("%s: never under these conditions.", what);
        return;
    }
    if (!isinf(days->high))
        snprintf(high, ROOM, "%.0f", ceil(days->high));
    date_after(spawn->start, floor(days->low), from);
    date_after(spawn->start, ceil(days->high), to);
    if (from[0] != '\0' && to[0] != '\0')
        snprintf(dates, sizeof dates, ", %.30s to %.30s", from, to);
    SAY("%s: day %.0f (%.0f to %s)%s.", what, days->central, floor(days->low), high, dates);
}

static void say_pace(struct screen *screen, const struct forecast_report *spawn)
{
    const struct pace_verdict *pace = &spawn->pace;
    static const char *const heads[] = {"Ahead", "On time", "Slow", "Stalled"};
    char date[ROOM];

    screen_heading(screen, heads[pace->pace]);
    SAY("On day %.3g it is %.0f %% colonised; expected: %.0f %% (%.0f to %.0f).", spawn->day,
        spawn->seen, pace->expected.central, pace->expected.low, pace->expected.high);
    if (pace->pace != PACE_ON_TIME) {
        const struct forecast_reason *best = &spawn->pace.reasons[0];
        const struct forecast *forecast = &spawn->forecast;

        if (!spawn->pace.explained)
            SAY("Neither temperature, inoculation rate, lag nor strain explains it. Look for "
                "another cause: judge it by what you see.");
        else if (best->input == FORECAST_TEMPERATURE)
            SAY("Temperature explains it best: %.1f degrees %s than you said would explain it.",
                fabs(best->needed), best->needed < 0 ? "colder" : "warmer");
        else if (best->input == FORECAST_POINTS)
            SAY("The inoculation rate explains it best: %.2g times the assumed points of growth.",
                best->needed / forecast->points.central);
        else if (best->input == FORECAST_LAG)
            SAY("A late start explains it best: a lag of %.1f days instead of %.1f.", best->needed,
                forecast->lag.central);
        else
            SAY("The strain's growth rate explains it best: %.1f mm a day at its best temperature "
                "instead of %.1f.",
                best->needed, forecast->rate.central);
    }
    if (spawn->seen >= 95.0 || pace->pace == PACE_AHEAD)
        return;
    date_after(spawn->start, ceil(pace->wait_until), date);
    if (!isfinite(pace->wait_until))
        SAY("It cannot grow under these conditions: do not wait.");
    else if (pace->pace == PACE_STALLED)
        SAY("It has had all the time it could need. Do not wait; judge it by what you see.");
    else
        SAY("Wait until day %.0f%s%s%s: if nothing has moved by then, stop waiting.",
            ceil(pace->wait_until), date[0] != '\0' ? " (" : "", date, date[0] != '\0' ? ")" : "");
}

void view_forecast(struct screen *screen, const struct forecast_report *spawn)
{
    const struct species *species = spawn->species;

    screen_say(screen, 0, 2, ROLE_STRONG, "%s on grain, %s", species->name,
               spawn->vessel != NULL ? spawn->vessel : "one vessel");
    say_days(screen, spawn, "First visible growth", &spawn->visible);
    if (spawn->forecast.shake_count == 0)
        say_days(screen, spawn, "Shake, if you shake", &spawn->shake);
    say_days(screen, spawn, "Fully colonised, ready to use", &spawn->full);
    if (species->growth.full_hi > 0.0)
        screen_say(screen, 0, 2, ROLE_QUIET, "Published for this species: %.0f to %.0f days.",
                   species->growth.full_lo, species->growth.full_hi);
    draw_coverage(screen, spawn);
    if (spawn->judged)
        say_pace(screen, spawn);
    screen_blank(screen);
    enum { MOST_LOOKS = 8 };
    double every = spawn->look_every, last = spawn->reached ? spawn->full.central : 21.0;
    char date[ROOM];
    struct text line;

    text_init(&line);
    for (int look = 1; look <= MOST_LOOKS && (look - 1) * every < last; look++) {
        text_printf(&line, "%s%.0f", look > 1 ? ", " : "Look on day ", look * every);
        if (date_after(spawn->start, look * every, date)[0] != '\0')
            text_printf(&line, " (%s)", date);
    }
    text_puts(&line, line.length > 0 ? "." : "");
    screen_text(screen, 0, 2, ROLE_PLAIN, &line);
    if (spawn->reached && !spawn->judged)
        SAY("If nothing grows by day %.0f, or it is not fully colonised by day %.0f, stop "
            "waiting and judge it by what you see.",
            ceil(spawn->nothing_seen), ceil(spawn->not_full));
    SAY("Look without moving it. Break and shake only while all is clean, never when you see a "
        "colour or a wet patch.");
    say_assumed(screen, spawn->assumed);
}

static json_t *pace_json(const struct forecast_report *spawn)
{
    static const struct field fields[] = {
        FIELD("day", NUMBER, struct forecast_report, day),
        FIELD("seen", NUMBER, struct forecast_report, seen),
        FIELD("expected", RANGE, struct forecast_report, pace.expected),
        FIELD("times_late", NUMBER, struct forecast_report, pace.times_late),
        FIELD("wait_until", NUMBER, struct forecast_report, pace.wait_until),
        FIELD("explained", FLAG, struct forecast_report, pace.explained),
        FIELDS_END,
    };
    json_t *reasons = json_array();

    if (!spawn->judged)
        return json_null();
    for (size_t i = 0; i < FORECAST_INPUTS; i++) {
        const struct forecast_reason *reason = &spawn->pace.reasons[i];
        view_json_row(reasons, "{s:s, s:o, s:o}", "input", forecast_input_name(reason->input),
                      "needed", view_json_number(reason->needed), "stretch",
                      view_json_number(reason->stretch));
    }
    json_t *pace = json_pack("{s:s}", "pace", pace_name(spawn->pace.pace));
    return view_json_put(view_fields_json(pace, fields, spawn), "reasons", reasons);
}

json_t *view_forecast_json(const struct forecast_report *spawn)
{
    static const struct field figures[] = {
        FIELD("species", TEXT, struct forecast_report, species_id),
        FIELD("start", TEXT, struct forecast_report, start),
        FIELD("first_growth_days", RANGE, struct forecast_report, visible),
        FIELD("shake_days", RANGE, struct forecast_report, shake),
        FIELD("full_days", RANGE, struct forecast_report, full),
        FIELD("look_every_days", NUMBER, struct forecast_report, look_every),
        FIELDS_END,
    };
    static const struct field inputs[] = {
        FIELD("points_per_cm3", RANGE, struct forecast_report, forecast.points),
        FIELD("rate_mm_day", RANGE, struct forecast_report, forecast.rate),
        FIELDS_END,
    };
    const struct growth *growth = &spawn->species->growth;
    json_t *root = view_fields_json(json_pack("{s:i}", "schema", 1), figures, spawn);

    view_json_put(root, "stop_waiting_days",
                  json_pack("{s:o, s:o}", "nothing_seen", view_json_number(spawn->nothing_seen),
                            "not_full", view_json_number(spawn->not_full)));
    view_json_put(root, "published_days",
                  json_pack("{s:o, s:o}", "low", view_json_number(growth->full_lo), "high",
                            view_json_number(growth->full_hi)));
    view_fields_json(root, inputs, spawn);
    json_t *array = json_array();
    double last = last_day(spawn);

    for (int day = 0; day <= last; day++) {
        struct range coverage;
        forecast_coverage(&spawn->forecast, day, &coverage);
        view_json_row(array, "{s:i, s:f, s:f, s:f}", "day", day, "low", coverage.low, "central",
                      coverage.central, "high", coverage.high);
    }
    view_json_put(root, "days", array);
    view_json_put(root, "seen", pace_json(spawn));
    return view_json_put(root, "assumed", view_json_parts(spawn->assumed));
}

/* ---- hydration ----------------------------------------------------------------------------------- */

static const char *const place_names[] = {"below", "within", "above"};

/* What is to be weighed. */
static void say_recipe(struct screen *screen, const struct mix_report *mix)
{
    char grams[ROOM];

    screen_say(screen, 0, 2, ROLE_STRONG, "For %.3g %% moisture weigh out", mix->target);
    screen_say(screen, 2, 2, ROLE_PLAIN, "grain as bought: %s",
               quantity_words(mix->dry, DIM_GRAMS, grams));
    screen_say(screen, 2, 2, ROLE_PLAIN, "water: %s", quantity_words(mix->water, DIM_GRAMS, grams));
    if (mix->vessels > 1.0) {
        quantity_words((mix->dry + mix->water) / mix->vessels, DIM_GRAMS, grams);
        screen_say(screen, 2, 2, ROLE_PLAIN, "per vessel: %s of wet grain", grams);
        quantity_words(mix->dry / mix->vessels, DIM_GRAMS, grams);
        screen_say(screen, 2, 2, ROLE_PLAIN, "which is %s before hydration", grams);
    }
    SAY("If you soak and drain instead: it is right at %.3g times the weight before soaking.",
        (mix->dry + mix->water) / mix->dry);
}

/* What was weighed. */
static void say_moisture(struct screen *screen, const struct mix_report *mix)
{
    enum moisture_place place = mix->verdict.place;
    char grams[ROOM];

    screen_say(screen, 0, 2, ROLE_STRONG,
               "Moisture: %.1f %% of the wet weight (%.1f %% on a dry basis).", mix->moisture,
               mix->dry_basis);
    if (isnan(mix->band.lo))
        return;
    screen_say(screen, 0, 2, ROLE_STRONG, "That is %s the target range, %.3g to %.3g %%.",
               place_names[place], mix->band.lo, mix->band.hi);
    quantity_words(fabs(mix->verdict.correction), DIM_GRAMS, grams);
    if (place == MOISTURE_BELOW)
        SAY("To reach the lower end add %s of water.", grams);
    if (place == MOISTURE_ABOVE)
        SAY("To reach the upper end it must lose %s of water: drain and air it, then weigh again.",
            grams);
}

void view_mix(struct screen *screen, const struct mix_report *mix)
{
    double most = mix->rules->forecast.fill_most > 0.0 ? mix->rules->forecast.fill_most : 0.75;
    bool crowded = mix->fill > most;
    char grams[ROOM];

    if (mix->recipe)
        say_recipe(screen, mix);
    else
        say_moisture(screen, mix);
    /* Where the water is differs between grain that was drained and grain that is cooked in its water. */
    if (mix->drained)
        SAY("Weighed after draining: the water is in the kernels, and none stands free.");
    else if (mix->verdict.free_water > 0.0)
        SAY("Put in raw with its water, %s of it stands free before the cook: raw kernels take up "
            "water to about %.3g %% moisture, and the rest once heat has opened the starch.%s",
            quantity_words(mix->verdict.free_water, DIM_GRAMS, grams), mix->band.raw_limit,
            mix->recipe ? " Simmered and drained to the same weight, none does." : "");
    if (!isnan(mix->fill))
        screen_say(screen, 0, 2, crowded ? ROLE_WARN : ROLE_PLAIN, "%s: filled to %.0f %%%s",
                   mix->vessel != NULL ? mix->vessel : "The vessel", 100.0 * mix->fill,
                   crowded ? ", too full to shake and to breathe; use more vessels." : ".");
    screen_say(screen, 0, 2, ROLE_QUIET,
               "This counts the grain's own water, %.3g %%. Recipes that leave it out give a lower "
               "figure for the same grain.",
               mix->own_moisture);
    if (mix->grain != NULL) {
        const struct citation *cites = &mix->grain->cites;
        struct text line;

        text_init(&line);
        for (size_t i = 0; i < cites->count; i++) {
            const struct source *source = &mix->rules->sources[cites->sources[i]];
            text_printf(&line, "%s%s %s", i > 0 ? "; " : "", source->author, source->year);
        }
        if (cites->expert_judgement)
            text_printf(&line, "%sjudgement", line.length > 0 ? "; " : "");
        if (line.length > 0)
            screen_say(screen, 0, 2, ROLE_QUIET, "Target range and limit from: %s.", line.bytes);
        text_release(&line);
    }
    say_assumed(screen, mix->assumed);
}

json_t *view_mix_json(const struct mix_report *mix)
{
    static const struct field band[] = {
        FIELD("low", NUMBER, struct moisture_band, lo),
        FIELD("high", NUMBER, struct moisture_band, hi),
        FIELD("raw_limit", NUMBER, struct moisture_band, raw_limit),
        FIELDS_END,
    };
    static const struct field fields[] = {
        FIELD("grain", TEXT, struct mix_report, grain_id),
        FIELD("dry_g", NUMBER, struct mix_report, dry),
        FIELD("water_g", NUMBER, struct mix_report, water),
        FIELD("own_moisture", NUMBER, struct mix_report, own_moisture),
        FIELD("moisture", NUMBER, struct mix_report, moisture),
        FIELD("dry_basis", NUMBER, struct mix_report, dry_basis),
        FIELD("target", NUMBER, struct mix_report, target),
        FIELD_MORE("band", OBJECT, struct mix_report, band, band),
        FIELD_MORE("place", WORD, struct mix_report, verdict.place, place_names),
        FIELD("correction_g", NUMBER, struct mix_report, verdict.correction),
        FIELD("free_water_g", NUMBER, struct mix_report, verdict.free_water),
        FIELD("fill", NUMBER, struct mix_report, fill),
        FIELD("recipe", FLAG, struct mix_report, recipe),
        FIELD("assumed", PARTS, struct mix_report, assumed),
        FIELDS_END,
    };
    json_t *sources = json_array();

    for (size_t i = 0; mix->grain != NULL && i < mix->grain->cites.count; i++)
        json_array_append_new(sources,
                              json_string(mix->rules->sources[mix->grain->cites.sources[i]].id));
    json_t *root = view_fields_json(json_pack("{s:i}", "schema", 1), fields, mix);
    return view_json_put(root, "sources", sources);
}
