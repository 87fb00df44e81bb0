/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/plan.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/charts.h"
#include "view/screen.h"

/* {"low", "central", "high"}, null for what is not finite. New reference. */
static json_t *plan_range(const struct range *range);

/* "about 12 %", "under 1 in 1000", "nearly certain": a chance as one says it. */
enum { CHANCE_ROOM = 40 };
static const char *plan_chance(double chance, char room[CHANCE_ROOM]);

/* ==== plan ==================================================================================== */

/* What the three kinds of plan share when they are told. */

static json_t *plan_range(const struct range *range)
{
    return json_pack("{s:o, s:o, s:o}", "low", view_json_number(range->low), "central",
                     view_json_number(range->central), "high", view_json_number(range->high));
}

static const char *plan_chance(double chance, char room[CHANCE_ROOM])
{
    if (chance > 0.99)
        snprintf(room, CHANCE_ROOM, "over 99 %%");
    else if (chance >= 0.1)
        snprintf(room, CHANCE_ROOM, "%.0f %%", 100.0 * chance);
    else if (chance >= 0.001)
        snprintf(room, CHANCE_ROOM, "%.2g %%", 100.0 * chance);
    else
        snprintf(room, CHANCE_ROOM, "under 1 in 1000");
    return room;
}

const char *view_date(const char *start, double days, char room[MOMENT_ROOM])
{
    int64_t day;
    const char *end = start != NULL && fabs(days) < 1e7 ? day_read(start, &day) : NULL;
    return day_write(end != NULL ? day + lround(days) : INT64_MIN, DAY_ISO, room);
}

/* ==== plan cook =============================================================================== */

enum { COURSE = 121 }; /* points of a drawn course */

struct course {
    double core[COURSE], slow[COURSE], outside[COURSE];
    double minutes;
};

/* FAULT_EMPTY where there is nothing to draw. */
static enum process_fault course_of(const struct cook_told *told, struct course *course)
{
    const struct cook_setup *setup = told->setup;
    double unused[COURSE];

    course->minutes = setup->come_up.central + setup->hold + setup->cool.high;
    double step = course->minutes / (COURSE - 1);
    if (told->probe != NULL || !(step > 0.0))
        return FAULT_EMPTY;
    enum process_fault fault =
        cook_course(setup, setup->diffusivity.central, step, course->core, course->outside, COURSE);
    return fault != PROCESS_OK
               ? fault
               : cook_course(setup, setup->diffusivity.low, step, course->slow, unused, COURSE);
}

/* ---- words ----------------------------------------------------------------------------------- */

static void say_place(struct screen *screen, const struct cook_told *told)
{
    const struct steam_conditions *steam = &told->setup->steam;
    struct text line;

    text_init(&line);
    text_puts(&line, "Steam at ");
    quantity_show(&line, steam->gauge_kpa, DIM_GAUGE_KPA);
    if (isnan(steam->barometer_kpa)) {
        text_puts(&line, " and ");
        quantity_show(&line, steam->altitude_m, DIM_METRES);
        text_puts(&line, " above the sea");
    } else {
        text_puts(&line, " where the barometer stands at ");
        quantity_show(&line, steam->barometer_kpa, DIM_PRESSURE_KPA);
    }
    text_puts(&line, ": ");
    text_printf(&line, "%.1f °C (%.1f °F)", told->result->steam.central,
                1.8 * told->result->steam.central + 32.0);
    if (told->result->steam.high - told->result->steam.low > 0.3)
        text_printf(&line, " (%.1f to %.1f, by the air left in it)", told->result->steam.low,
                    told->result->steam.high);
    if (!line.failed)
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s.", line.bytes);
    screen_done(screen, &line);
}

static void draw_course(struct screen *screen, const struct course *course)
{
    const struct chart_series series[] = {
        {course->outside, COURSE, '-', "the steam"},
        {course->slow, COURSE, '.', "the core, if heat goes slowly"},
        {course->core, COURSE, '*', "the core, as is likeliest"},
    };
    const struct chart chart = {0, course->minutes, 20, 125, "min", "degC", series, 3};

    screen_heading(screen, "The middle of the grain");
    chart_draw(screen, &chart, 10);
}

static void say_core(struct screen *screen, const struct cook_told *told)
{
    const struct cook_result *result = told->result;

    if (told->probe != NULL)
        screen_say(screen, 0, 2, ROLE_PLAIN,
                   "The probe read %.1f to %.1f °C in %zu readings over %.0f minutes.",
                   result->core.low, result->core.high, told->probe->f0.readings,
                   told->probe->f0.last_time - told->probe->f0.first_time);
    else
        screen_say(screen, 0, 2, ROLE_PLAIN,
                   "When the time is up its middle is at about %.1f °C, somewhere between %.1f and "
                   "%.1f.",
                   result->core.central, result->core.low, result->core.high);
    if (told->probe != NULL && told->probe->f0.gaps > 0)
        screen_say(screen, 0, 2, ROLE_PLAIN,
                   "The log has %zu gap%s, %.0f minutes in all. Across a gap only the cooler end "
                   "is counted.",
                   told->probe->f0.gaps, told->probe->f0.gaps == 1 ? "" : "s",
                   told->probe->f0.gap_minutes);
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "F0, the minutes at 121.1 °C it is worth: about %.3g, between %.2g and %.3g.",
               result->f0.central, result->f0.low, result->f0.high);
}

static void say_verdict(struct screen *screen, const struct cook_told *told)
{
    const struct cook_result *result = told->result;
    static const char *const heads[] = {"Adequate", "Marginal", "Not enough"};

    if (told->probe != NULL)
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "%s: the probe's F0 is at least %.3g minutes; %.3g are asked for.",
                   heads[result->verdict], result->f0_adequate_at, told->setup->adequate_f0);
    else
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "%s: a cautious reckoning gives F0 %.3g minutes; %.3g are asked for.",
                   heads[result->verdict], result->f0_adequate_at, told->setup->adequate_f0);
}

enum { DECADES_ROOM = 64 };

/* "59 decades (0.1 to over 100)". Beyond a hundred more figures mean nothing. */
static const char *decades_words(const struct range *decades, char room[DECADES_ROOM])
{
    static const double most = 100.0;
    char high[16] = "over 100";

    if (decades->low > most) {
        snprintf(room, DECADES_ROOM, "over 100 decades");
        return room;
    }
    if (decades->high <= most)
        snprintf(high, sizeof high, "%.2g", decades->high);
    if (decades->central > most)
        snprintf(room, DECADES_ROOM, "over 100 decades (%.2g to %s)", decades->low, high);
    else
        snprintf(room, DECADES_ROOM, "%.2g decades (%.2g to %s)", decades->central, decades->low,
                 high);
    return room;
}

static void say_chances(struct screen *screen, const struct cook_told *told)
{
    const struct cook_result *result = told->result;
    char mean[CHANCE_ROOM], low[CHANCE_ROOM], high[CHANCE_ROOM], any[CHANCE_ROOM];
    char kills[DECADES_ROOM];

    screen_heading(screen, "What may live through it");
    for (size_t i = 0; i < told->setup->organism_count; i++) {
        const struct cook_kill *kill = &result->kills[i];
        char words[96];
        snprintf(words, sizeof words, "in %s of vessels; kill %s",
                 plan_chance(kill->chance_mean, mean), decades_words(&kill->log_reduction, kills));
        screen_say(screen, 2, 2, ROLE_PLAIN, "%s: %s", told->rules->organisms[i].name, words);
    }
    screen_blank(screen);
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "Chance that a vessel is not sterile: %s, averaged over all that is not known; from "
               "%s to %s.",
               plan_chance(result->chance_mean, mean), plan_chance(result->chance.low, low),
               plan_chance(result->chance.high, high));
    if (told->setup->vessels > 1.0)
        screen_say(screen, 0, 2, ROLE_PLAIN, "That at least one of %.0f is not: %s.",
                   told->setup->vessels, plan_chance(result->chance_any_mean, any));
}

static void say_minutes(struct screen *screen, const char *lead, const struct range *minutes)
{
    char high[32];

    if (isnan(minutes->central))
        return;
    if (isinf(minutes->high))
        snprintf(high, sizeof high, "more than a day");
    else
        snprintf(high, sizeof high, "%.0f", minutes->high);
    if (isinf(minutes->central))
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: more than a day.", lead);
    else
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: about %.0f, from %.0f to %s.", lead,
                   minutes->central, minutes->low, high);
}

static void say_pressure(struct screen *screen, const struct cook_told *told)
{
    double rated = isnan(told->known->rated) ? told->rules->cook.rated : told->known->rated;
    struct steam_conditions steam = told->setup->steam;
    double needed;
    struct text show;

    if (told->probe != NULL || told->sea == NULL ||
        steam_gauge_needed(&steam, told->sea->steam.central, &needed) != PROCESS_OK)
        return;
    text_init(&show);
    quantity_show(&show, needed, DIM_GAUGE_KPA);
    if (!show.failed && needed <= rated)
        screen_say(
            screen, 0, 2, ROLE_PLAIN,
            "To be as hot as at sea level the gauge would have to read %s, within the rating.",
            show.bytes);
    else
        screen_say(screen, 0, 2, ROLE_PLAIN,
                   "More pressure would make up for the height, but never go beyond what the "
                   "cooker's manual allows. Add minutes instead.");
    screen_done(screen, &show);
}

static void say_sea(struct screen *screen, const struct cook_told *told)
{
    char here[CHANCE_ROOM], there[CHANCE_ROOM];

    if (told->sea == NULL)
        return;
    screen_heading(screen, "The same at sea level");
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "Steam %.1f °C instead of %.1f; F0 about %.3g instead of %.3g; chance of a vessel "
               "that is not sterile %s instead of %s.",
               told->sea->steam.central, told->result->steam.central, told->sea->f0.central,
               told->result->f0.central, plan_chance(told->sea->chance_mean, there),
               plan_chance(told->result->chance_mean, here));
    say_minutes(screen, "Minutes that would be needed there", &told->sea->minutes_needed);
}

/* What the rules say of the likeliest survivor of each kind that spoils a vessel. */
static void say_notes(struct screen *screen, const struct cook_told *told)
{
    for (int role = ORGANISM_SPORE_FORMER; role <= ORGANISM_FUNGUS; role++) {
        const struct organism *likeliest = NULL;
        double chance = -1.0;
        for (size_t i = 0; i < told->setup->organism_count; i++) {
            const struct organism *organism = &told->rules->organisms[i];
            if ((int)organism->role != role || told->result->kills[i].chance_mean <= chance)
                continue;
            chance = told->result->kills[i].chance_mean;
            likeliest = organism;
        }
        if (likeliest != NULL && likeliest->note != NULL)
            screen_say(screen, 0, 2, ROLE_PLAIN, "%s", likeliest->note);
    }
}

/* "falls 5.8 decades short of the aim", "goes 20 decades beyond it" */
static const char *margin_words(double decades, char room[DECADES_ROOM])
{
    static const double most = 100.0;

    if (decades < 0.0)
        snprintf(room, DECADES_ROOM, "falls %.2g decades short of the aim", -decades);
    else if (decades > most)
        snprintf(room, DECADES_ROOM, "goes over 100 decades beyond the aim");
    else
        snprintf(room, DECADES_ROOM, "goes %.2g decades beyond the aim", decades);
    return room;
}

static void say_lean(struct screen *screen, const struct cook_told *told)
{
    const struct cook_lean *lean = &told->result->leans[0], *second = &told->result->leans[1];
    char bad[DECADES_ROOM], good[DECADES_ROOM];

    screen_heading(screen, "How sure this is");
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "It leans most on %s: at its worst the kill %s, at its best it %s.",
               cook_input_name(lean->input), margin_words(lean->bad, bad),
               margin_words(lean->good, good));
    screen_say(screen, 0, 2, ROLE_PLAIN, "Next on %s: it %s, or %s.",
               cook_input_name(second->input), margin_words(second->bad, bad),
               margin_words(second->good, good));
    if (told->probe == NULL)
        screen_say(
            screen, 0, 2, ROLE_PLAIN,
            "A thermometer probe in the middle of a vessel would settle most of it: give its "
            "log with --probe.");
    say_notes(screen, told);
    if (told->assumed[0] != '\0')
        screen_say(screen, 0, 2, ROLE_QUIET, "Assumed: %s.", told->assumed);
    screen_say(screen, 0, 2, ROLE_QUIET,
               "The cooker's manual comes first. This is not a calculator for canning food.");
}

void view_cook(struct screen *screen, const struct cook_told *told)
{
    static const char lead[] = "Minutes at this pressure for the aim";
    struct course course;
    char aim[64];

    if (told->vessel != NULL && told->probe == NULL)
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s, %.0f minutes at pressure.", told->vessel,
                   told->setup->hold);
    if (told->probe == NULL)
        say_place(screen, told);
    say_verdict(screen, told);
    enum process_fault fault = course_of(told, &course);
    if (fault == PROCESS_OK)
        draw_course(screen, &course);
    else if (fault == FAULT_MEMORY)
        screen->out.failed = true;
    screen_blank(screen);
    say_core(screen, told);
    say_chances(screen, told);
    snprintf(aim, sizeof aim, "%s (1 vessel in %.0f)", lead, 1.0 / told->setup->target);
    say_minutes(screen, aim, &told->result->minutes_needed);
    say_pressure(screen, told);
    say_sea(screen, told);
    say_lean(screen, told);
}

/* ---- JSON ------------------------------------------------------------------------------------ */

static const char *role_name(enum organism_role role)
{
    static const char *const names[] = {"spore_former", "fungus", "indicator"};
    return names[role];
}

static const char *lean_id(enum cook_input input)
{
    static const char *const ids[COOK_INPUTS] = {"diffusivity", "come_up", "air",
                                                 "cooling",     "load",    "resistance"};
    return ids[input];
}

static json_t *organisms_json(const struct cook_told *told)
{
    json_t *array = json_array();

    for (size_t i = 0; array != NULL && i < told->setup->organism_count; i++) {
        const struct organism *organism = &told->rules->organisms[i];
        const struct cook_kill *kill = &told->result->kills[i];
        array = view_json_append(
            array, json_pack("{s:s, s:s, s:s, s:o, s:o, s:o, s:o}", "id", organism->id, "name",
                             organism->name, "role", role_name(organism->role), "log_reduction",
                             plan_range(&kill->log_reduction), "survivors",
                             plan_range(&kill->survivors), "chance", plan_range(&kill->chance),
                             "chance_mean", view_json_number(kill->chance_mean)));
    }
    return array;
}

static json_t *leans_json(const struct cook_result *result)
{
    json_t *array = json_array();

    for (size_t i = 0; array != NULL && i < COOK_INPUTS && result->leans[i].input < COOK_INPUTS;
         i++)
        array = view_json_append(array, json_pack("{s:s, s:s, s:o, s:o}", "on",
                                                  lean_id(result->leans[i].input), "say",
                                                  cook_input_name(result->leans[i].input), "bad",
                                                  view_json_number(result->leans[i].bad), "good",
                                                  view_json_number(result->leans[i].good)));
    return array;
}

static json_t *course_json(const struct cook_told *told)
{
    struct course course;
    enum process_fault fault = course_of(told, &course);
    json_t *array = fault != FAULT_MEMORY ? json_array() : NULL;

    if (array == NULL || fault != PROCESS_OK)
        return array;
    for (size_t i = 0; i < COURSE; i += 4)
        array = view_json_append(array, json_pack("{s:f, s:f, s:f, s:f}", "minute",
                                                  course.minutes * (double)i / (COURSE - 1),
                                                  "steam", course.outside[i], "core",
                                                  course.core[i], "core_slow", course.slow[i]));
    return array;
}

/* What is told of the cook here and of the same at sea level. */
static json_t *figures_json(const struct cook_setup *setup, const struct cook_result *result)
{
    return json_pack(
        "{s:o, s:o, s:o, s:o, s:o, s:s, s:{s:o, s:o, s:o, s:o}, s:{s:o, s:o}, s:o, s:o}",
        "steam_celsius", view_json_number(result->steam.central), "steam",
        plan_range(&result->steam), "core", plan_range(&result->core), "f0",
        plan_range(&result->f0), "f0_cautious", view_json_number(result->f0_adequate_at), "verdict",
        cook_verdict_name(result->verdict), "chance_not_sterile", "low",
        view_json_number(result->chance.low), "central", view_json_number(result->chance.central),
        "high", view_json_number(result->chance.high), "mean",
        view_json_number(result->chance_mean), "chance_any", "vessels",
        view_json_number(setup->vessels), "mean", view_json_number(result->chance_any_mean),
        "minutes_needed", plan_range(&result->minutes_needed), "margin_decades",
        view_json_number(result->margin));
}

json_t *view_cook_json(const struct cook_told *told)
{
    const struct cook_setup *setup = told->setup;
    json_t *cook = figures_json(setup, told->result);

    cook = view_json_put(cook, "schema", json_integer(1));
    cook = view_json_put(cook, "gauge_kpa", view_json_number(setup->steam.gauge_kpa));
    cook = view_json_put(cook, "outside_kpa", view_json_number(told->outside));
    cook = view_json_put(cook, "minutes", view_json_number(setup->hold));
    cook = view_json_put(cook, "target", view_json_number(setup->target));
    cook = view_json_put(cook, "vessel",
                         told->vessel != NULL ? json_string(told->vessel) : json_null());
    cook = view_json_put(cook, "measured", json_boolean(told->probe != NULL));
    if (told->probe != NULL)
        cook = view_json_put(cook, "probe",
                             json_pack("{s:I, s:I, s:f}", "readings",
                                       (json_int_t)told->probe->f0.readings, "gaps",
                                       (json_int_t)told->probe->f0.gaps, "gap_minutes",
                                       told->probe->f0.gap_minutes));
    cook = view_json_put(cook, "organisms", organisms_json(told));
    cook = view_json_put(cook, "leans", leans_json(told->result));
    cook = view_json_put(cook, "course", course_json(told));
    cook = view_json_put(cook, "sea_level",
                         told->sea != NULL ? figures_json(setup, told->sea) : json_null());
    cook = view_json_put(cook, "assumed", view_json_parts(told->assumed));
    cook = view_json_put(
        cook, "cautions",
        json_pack("[s, s]",
                  "The cooker's manual comes first; never go beyond the pressure it allows.",
                  "This is not a calculator for canning food."));
    return cook;
}

/* ==== plan forecast =========================================================================== */

enum { PLAN_FORECAST_COURSE = 61 };

static double look_every(const struct forecast_told *told)
{
    double every = told->rules->forecast.look_every;
    return every > 0.0 ? every : 3.0;
}

/* The day at which the drawing ends: a little after the slow end is full. */
static double last_day(const struct forecast_told *told)
{
    double last = told->reached ? 1.1 * told->full.central + 2.0 : 30.0;
    if (told->reached && isfinite(told->full.high))
        last = told->full.high + 2.0;
    if (told->judged)
        last = fmax(last, told->day + 2.0);
    return ceil(fmin(last, 180.0));
}

static void draw(struct screen *screen, const struct forecast_told *told)
{
    double low[PLAN_FORECAST_COURSE], central[PLAN_FORECAST_COURSE], high[PLAN_FORECAST_COURSE],
        seen[PLAN_FORECAST_COURSE];
    double last = last_day(told);

    for (size_t i = 0; i < PLAN_FORECAST_COURSE; i++) {
        struct range coverage;
        double day = last * (double)i / (PLAN_FORECAST_COURSE - 1);
        forecast_coverage(told->forecast, day, &coverage);
        low[i] = coverage.low;
        central[i] = coverage.central;
        high[i] = coverage.high;
        seen[i] = NAN;
    }
    if (told->judged) {
        size_t at = (size_t)lround(told->day / last * (PLAN_FORECAST_COURSE - 1));
        /* Two neighbours, so that whichever column falls here shows it. */
        seen[at] = told->seen;
        if (at + 1 < PLAN_FORECAST_COURSE)
            seen[at + 1] = told->seen;
    }
    const struct chart_series series[] = {
        {low, PLAN_FORECAST_COURSE, '.', "the slow and the fast end"},
        {high, PLAN_FORECAST_COURSE, '.', NULL},
        {central, PLAN_FORECAST_COURSE, '*', "as is likeliest"},
        {seen, PLAN_FORECAST_COURSE, 'O', "what was seen"},
    };
    const struct chart chart = {0, last, 0, 100, "days", "% white", series, told->judged ? 4 : 3};
    screen_heading(screen, "Coverage");
    chart_draw(screen, &chart, 10);
}

static void say_days(struct screen *screen, const struct forecast_told *told, const char *what,
                     const struct range *days)
{
    char from[MOMENT_ROOM], to[MOMENT_ROOM], high[32];

    if (isinf(days->central)) {
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: never under these conditions.", what);
        return;
    }
    if (isinf(days->high))
        snprintf(high, sizeof high, "no end in sight");
    else
        snprintf(high, sizeof high, "%.0f", ceil(days->high));
    view_date(told->start, floor(days->low), from);
    view_date(told->start, ceil(days->high), to);
    if (from[0] != '\0' && to[0] != '\0')
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: day %.0f, between %.0f and %s (%s to %s).", what,
                   days->central, floor(days->low), high, from, to);
    else
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: day %.0f, between %.0f and %s.", what,
                   days->central, floor(days->low), high);
}

static void say_reason(struct screen *screen, const struct forecast_told *told)
{
    const struct forecast_reason *best = &told->pace.reasons[0];
    const struct forecast *forecast = told->forecast;

    if (!told->pace.explained) {
        screen_say(
            screen, 0, 2, ROLE_PLAIN,
            "Neither temperature nor dose, lag or strain explains it within reason. Look for "
            "something else: judge it with what you see.");
        return;
    }
    switch (best->input) {
    case FORECAST_TEMPERATURE:
        screen_say(screen, 0, 2, ROLE_PLAIN,
                   "The temperature explains it best: %.1f degrees %s than said would do it.",
                   fabs(best->needed), best->needed < 0 ? "colder" : "warmer");
        break;
    case FORECAST_POINTS:
        screen_say(
            screen, 0, 2, ROLE_PLAIN,
            "The dose explains it best: %.2g times the points of growth that were counted on.",
            best->needed / forecast->points.central);
        break;
    case FORECAST_LAG:
        screen_say(screen, 0, 2, ROLE_PLAIN,
                   "The start explains it best: a lag of %.1f days instead of %.1f.", best->needed,
                   forecast->lag.central);
        break;
    default:
        screen_say(screen, 0, 2, ROLE_PLAIN,
                   "The strain's own pace explains it best: %.1f mm a day at its best temperature "
                   "instead of %.1f.",
                   best->needed, forecast->rate.central);
        break;
    }
}

static void say_pace(struct screen *screen, const struct forecast_told *told)
{
    const struct pace_verdict *pace = &told->pace;
    static const char *const heads[] = {"Ahead", "On time", "Slow", "Stalled"};
    char date[MOMENT_ROOM];

    screen_heading(screen, heads[pace->pace]);
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "On day %.3g it is %.0f %% white; %.0f %% was to be expected, %.0f to %.0f.",
               told->day, told->seen, pace->expected.central, pace->expected.low,
               pace->expected.high);
    if (pace->pace != PACE_ON_TIME)
        say_reason(screen, told);
    if (told->seen >= 95.0 || pace->pace == PACE_AHEAD)
        return;
    if (!isfinite(pace->wait_until)) {
        screen_say(screen, 0, 2, ROLE_PLAIN, "It cannot grow here: there is nothing to wait for.");
        return;
    }
    if (pace->pace == PACE_STALLED) {
        screen_say(
            screen, 0, 2, ROLE_PLAIN,
            "It has had the time it could need. Do not wait for it; judge it by what you see.");
        return;
    }
    view_date(told->start, ceil(pace->wait_until), date);
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "Wait until day %.0f%s%s%s: if nothing has moved by then, stop waiting.",
               ceil(pace->wait_until), date[0] != '\0' ? " (" : "", date,
               date[0] != '\0' ? ")" : "");
}

/* "Look on day 3 (2025-03-04), 6 (2025-03-07) ..." until it should be white. */
static void say_looks(struct screen *screen, const struct forecast_told *told)
{
    enum { MOST_LOOKS = 8 };
    double every = look_every(told), last = told->reached ? told->full.central : 21.0;
    char date[MOMENT_ROOM];
    struct text line;

    text_init(&line);
    for (int look = 1; look <= MOST_LOOKS && (look - 1) * every < last; look++) {
        double day = look * every;
        text_printf(&line, "%s%.0f", look > 1 ? ", " : "", day);
        if (view_date(told->start, day, date)[0] != '\0')
            text_printf(&line, " (%s)", date);
    }
    if (!line.failed && line.length > 0)
        screen_say(screen, 0, 2, ROLE_PLAIN, "Look on day %s.", line.bytes);
    screen_done(screen, &line);
}

/* Strains of one species differ by a factor of two: beyond twice the likeliest day is too long. */
static void say_limits(struct screen *screen, const struct forecast_told *told)
{
    if (!told->reached || told->judged)
        return;
    screen_say(
        screen, 0, 2, ROLE_PLAIN,
        "If nothing is to be seen by day %.0f, or it is not white by day %.0f, stop waiting and "
        "judge it by what you see.",
        ceil(2.0 * told->visible.central), ceil(2.0 * told->full.central));
}

void view_forecast(struct screen *screen, const struct forecast_told *told)
{
    const struct species *species = &told->rules->species[told->known->species];

    screen_say(screen, 0, 2, ROLE_STRONG, "%s on grain, %s", species->name,
               told->vessel != NULL ? told->vessel : "one vessel");
    say_days(screen, told, "First growth to be seen", &told->visible);
    if (told->known->shake_count == 0)
        say_days(screen, told, "Shake, if you shake", &told->shake);
    say_days(screen, told, "White through, ready to use", &told->full);
    if (species->growth.full_hi > 0.0)
        screen_say(screen, 0, 2, ROLE_QUIET, "Published for this species: %.0f to %.0f days.",
                   species->growth.full_lo, species->growth.full_hi);
    draw(screen, told);
    if (told->judged)
        say_pace(screen, told);
    screen_blank(screen);
    say_looks(screen, told);
    say_limits(screen, told);
    screen_say(
        screen, 0, 2, ROLE_PLAIN,
        "Look without moving it. Shake only while all is clean: never when a colour or a wet "
        "patch shows.");
    if (told->assumed[0] != '\0')
        screen_say(screen, 0, 2, ROLE_QUIET, "Assumed: %s.", told->assumed);
}

/* ---- JSON ------------------------------------------------------------------------------------ */

static json_t *days_json(const struct forecast_told *told)
{
    json_t *array = json_array();
    double last = last_day(told);

    for (int day = 0; array != NULL && day <= last; day++) {
        struct range coverage;
        forecast_coverage(told->forecast, day, &coverage);
        array = view_json_append(array,
                                 json_pack("{s:i, s:f, s:f, s:f}", "day", day, "low", coverage.low,
                                           "central", coverage.central, "high", coverage.high));
    }
    return array;
}

static json_t *reasons_json(const struct pace_verdict *pace)
{
    json_t *array = json_array();

    for (size_t i = 0; array != NULL && i < FORECAST_INPUTS; i++)
        array =
            view_json_append(array, json_pack("{s:s, s:o, s:o}", "input",
                                              forecast_input_name(pace->reasons[i].input), "needed",
                                              view_json_number(pace->reasons[i].needed), "stretch",
                                              view_json_number(pace->reasons[i].stretch)));
    return array;
}

static json_t *pace_json(const struct forecast_told *told)
{
    const struct pace_verdict *pace = &told->pace;

    if (!told->judged)
        return json_null();
    return json_pack("{s:s, s:f, s:f, s:o, s:o, s:o, s:b, s:o}", "pace", pace_name(pace->pace),
                     "day", told->day, "seen", told->seen, "expected", plan_range(&pace->expected),
                     "times_late", view_json_number(pace->times_late), "wait_until",
                     view_json_number(pace->wait_until), "explained", pace->explained, "reasons",
                     reasons_json(pace));
}

json_t *view_forecast_json(const struct forecast_told *told)
{
    const struct species *species = &told->rules->species[told->known->species];

    double nothing = told->reached ? 2.0 * told->visible.central : INFINITY;
    double not_full = told->reached ? 2.0 * told->full.central : INFINITY;

    return json_pack(
        "{s:i, s:s, s:o, s:o, s:o, s:o, s:f, s:{s:o, s:o}, s:{s:o, s:o}, s:o, s:o, s:o, s:o, s:o}",
        "schema", 1, "species", species->id, "start",
        told->start != NULL ? json_string(told->start) : json_null(), "first_growth_days",
        plan_range(&told->visible), "shake_days", plan_range(&told->shake), "full_days",
        plan_range(&told->full), "look_every_days", look_every(told), "stop_waiting_days",
        "nothing_seen", view_json_number(nothing), "not_full", view_json_number(not_full),
        "published_days", "low", view_json_number(species->growth.full_lo), "high",
        view_json_number(species->growth.full_hi), "points_per_cm3",
        plan_range(&told->forecast->points), "rate_mm_day", plan_range(&told->forecast->rate),
        "days", days_json(told), "seen", pace_json(told), "assumed",
        view_json_parts(told->assumed));
}

/* ==== plan mix ================================================================================ */

static const char *place_name(enum moisture_place place)
{
    static const char *const names[] = {"below", "within", "above"};
    return names[place];
}

/* "885 g (1 lb 15 oz)" with words before and behind. */
static void say_grams(struct screen *screen, size_t indent, const char *before, double grams,
                      const char *behind)
{
    struct text show;

    text_init(&show);
    quantity_show(&show, grams, DIM_GRAMS);
    if (!show.failed)
        screen_say(screen, indent, 2, ROLE_PLAIN, "%s%s%s", before, show.bytes, behind);
    screen_done(screen, &show);
}

static void say_recipe(struct screen *screen, const struct mix_told *told)
{
    double each = told->vessels > 0.0 ? told->vessels : 1.0;

    screen_say(screen, 0, 2, ROLE_STRONG, "For %.3g %% moisture weigh", told->target);
    say_grams(screen, 2, "dry grain: ", told->dry, ", as bought");
    say_grams(screen, 2, "water: ", told->water, "");
    if (each > 1.0) {
        say_grams(screen, 2, "into each vessel: ", (told->dry + told->water) / each,
                  " of the wet grain");
        say_grams(screen, 2, "which is ", told->dry / each, " of it dry");
    }
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "If you soak and drain instead: it is right when %.3g times as heavy as before.",
               (told->dry + told->water) / told->dry);
}

static void plan_mix_say_place(struct screen *screen, const struct mix_told *told)
{
    const struct moisture_band *band = &told->band;
    const struct moisture_verdict *verdict = &told->verdict;

    if (isnan(band->lo))
        return;
    if (verdict->place == MOISTURE_WITHIN)
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "That is within the band to aim for, %.3g to %.3g %%.", band->lo, band->hi);
    else
        screen_say(screen, 0, 2, ROLE_STRONG, "That is %s the band to aim for, %.3g to %.3g %%.",
                   place_name(verdict->place), band->lo, band->hi);
    if (verdict->place == MOISTURE_BELOW)
        say_grams(screen, 0, "To reach its lower end add ", verdict->correction, " of water.");
    if (verdict->place == MOISTURE_ABOVE)
        say_grams(screen, 0, "To reach its upper end it must lose ", -verdict->correction,
                  " of water: drain and air it, then weigh again.");
}

static void say_limit(struct screen *screen, const struct mix_told *told)
{
    if (isnan(told->band.raw_limit))
        return;
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "Raw kernels take up water to about %.3g %%. What is beyond it stands free until "
               "cooking opens the starch, so the band and this limit disagree: both are shown.",
               told->band.raw_limit);
    if (told->verdict.free_water > 0.0)
        say_grams(screen, 0, "Here that is ", told->verdict.free_water,
                  " of free water before the cook.");
}

static void say_fill(struct screen *screen, const struct mix_told *told)
{
    double most = told->rules->forecast.fill_most > 0.0 ? told->rules->forecast.fill_most : 0.75;

    if (isnan(told->fill))
        return;
    screen_say(screen, 0, 2, told->fill > most ? ROLE_WARN : ROLE_PLAIN, "%s: filled to %.0f %%%s",
               told->vessel != NULL ? told->vessel : "The vessel", 100.0 * told->fill,
               told->fill > most ? ", too full to shake and to breathe; use more vessels." : ".");
}

/* "Becker 1960; Stamets 2000": where band and limit come from. */
static void say_sources(struct screen *screen, const struct mix_told *told)
{
    struct text line;

    if (told->grain->kind == RULES_NONE)
        return;
    const struct citation *cites = &told->rules->grains[told->grain->kind].cites;
    text_init(&line);
    for (size_t i = 0; i < cites->count; i++) {
        const struct source *source = &told->rules->sources[cites->sources[i]];
        text_printf(&line, "%s%s %s", i > 0 ? "; " : "", source->author, source->year);
    }
    if (cites->expert_judgement)
        text_printf(&line, "%sjudgement", line.length > 0 ? "; " : "");
    if (!line.failed && line.length > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "Band and limit after: %s.", line.bytes);
    screen_done(screen, &line);
}

static json_t *sources_json(const struct mix_told *told)
{
    json_t *array = json_array();

    if (array == NULL || told->grain->kind == RULES_NONE)
        return array;
    const struct citation *cites = &told->rules->grains[told->grain->kind].cites;
    for (size_t i = 0; i < cites->count; i++)
        array = view_json_append(array, json_string(told->rules->sources[cites->sources[i]].id));
    return array;
}

void view_mix(struct screen *screen, const struct mix_told *told)
{
    if (told->recipe) {
        say_recipe(screen, told);
    } else {
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "Moisture: %.1f %% of the wet weight (%.1f %% of the dry matter).",
                   told->moisture, moisture_dry_basis(told->moisture));
        plan_mix_say_place(screen, told);
    }
    say_limit(screen, told);
    say_fill(screen, told);
    screen_say(
        screen, 0, 2, ROLE_QUIET,
        "Counted with the grain's own water, %.3g %%. Recipes that leave it out name a lower "
        "figure for the same mix.",
        told->own_moisture);
    say_sources(screen, told);
    if (told->assumed[0] != '\0')
        screen_say(screen, 0, 2, ROLE_QUIET, "Assumed: %s.", told->assumed);
}

json_t *view_mix_json(const struct mix_told *told)
{
    const char *grain =
        told->grain->kind != RULES_NONE ? told->rules->grains[told->grain->kind].id : NULL;

    return json_pack(
        "{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:{s:o, s:o, s:o}, s:s, s:o, s:o, s:o, s:b, s:o, "
        "s:o}",
        "schema", 1, "grain", grain != NULL ? json_string(grain) : json_null(), "dry_g",
        view_json_number(told->dry), "water_g", view_json_number(told->water), "own_moisture",
        view_json_number(told->own_moisture), "moisture", view_json_number(told->moisture),
        "dry_basis", view_json_number(moisture_dry_basis(told->moisture)), "target",
        told->recipe ? view_json_number(told->target) : json_null(), "band", "low",
        view_json_number(told->band.lo), "high", view_json_number(told->band.hi), "raw_limit",
        view_json_number(told->band.raw_limit), "place", place_name(told->verdict.place),
        "correction_g", view_json_number(told->verdict.correction), "free_water_g",
        view_json_number(told->verdict.free_water), "fill", view_json_number(told->fill), "recipe",
        told->recipe, "assumed", view_json_parts(told->assumed), "sources", sources_json(told));
}
