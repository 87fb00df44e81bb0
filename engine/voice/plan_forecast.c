/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/chart.h"
#include "voice/plan_internal.h"
#include "voice/whole_json.h"

enum { COURSE = 61 };

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
    double low[COURSE], central[COURSE], high[COURSE], seen[COURSE];
    double last = last_day(told);

    for (size_t i = 0; i < COURSE; i++) {
        struct range coverage;
        double day = last * (double)i / (COURSE - 1);
        forecast_coverage(told->forecast, day, &coverage);
        low[i] = coverage.low;
        central[i] = coverage.central;
        high[i] = coverage.high;
        seen[i] = NAN;
    }
    if (told->judged) {
        size_t at = (size_t)lround(told->day / last * (COURSE - 1));
        /* Two neighbours, so that whichever column falls here shows it. */
        seen[at] = told->seen;
        if (at + 1 < COURSE)
            seen[at + 1] = told->seen;
    }
    const struct chart_series series[] = {
        {low, COURSE, '.', "the slow and the fast end"},
        {high, COURSE, '.', NULL},
        {central, COURSE, '*', "as is likeliest"},
        {seen, COURSE, 'O', "what was seen"},
    };
    const struct chart chart = {0, last, 0, 100, "days", "% white", series, told->judged ? 4 : 3};
    screen_heading(screen, "Coverage");
    chart_draw(screen, &chart, 10);
}

static void say_days(struct screen *screen, const struct forecast_told *told, const char *what,
                     const struct range *days)
{
    char from[DATE_ROOM], to[DATE_ROOM], high[32];

    if (isinf(days->central)) {
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: never under these conditions.", what);
        return;
    }
    if (isinf(days->high))
        snprintf(high, sizeof high, "no end in sight");
    else
        snprintf(high, sizeof high, "%.0f", ceil(days->high));
    voice_date(told->start, floor(days->low), from);
    voice_date(told->start, ceil(days->high), to);
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
    char date[DATE_ROOM];

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
    voice_date(told->start, ceil(pace->wait_until), date);
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
    char date[DATE_ROOM];
    struct text line;

    text_init(&line);
    for (int look = 1; look <= MOST_LOOKS && (look - 1) * every < last; look++) {
        double day = look * every;
        text_printf(&line, "%s%.0f", look > 1 ? ", " : "", day);
        if (voice_date(told->start, day, date)[0] != '\0')
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

void voice_forecast(struct screen *screen, const struct forecast_told *told)
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
        array = voice_json_append(array,
                                  json_pack("{s:i, s:f, s:f, s:f}", "day", day, "low", coverage.low,
                                            "central", coverage.central, "high", coverage.high));
    }
    return array;
}

static json_t *reasons_json(const struct pace_verdict *pace)
{
    json_t *array = json_array();

    for (size_t i = 0; array != NULL && i < FORECAST_INPUTS; i++)
        array = voice_json_append(array,
                                  json_pack("{s:s, s:o, s:o}", "input",
                                            forecast_input_name(pace->reasons[i].input), "needed",
                                            voice_json_number(pace->reasons[i].needed), "stretch",
                                            voice_json_number(pace->reasons[i].stretch)));
    return array;
}

static json_t *pace_json(const struct forecast_told *told)
{
    const struct pace_verdict *pace = &told->pace;

    if (!told->judged)
        return json_null();
    return json_pack("{s:s, s:f, s:f, s:o, s:o, s:o, s:b, s:o}", "pace", pace_name(pace->pace),
                     "day", told->day, "seen", told->seen, "expected", plan_range(&pace->expected),
                     "times_late", voice_json_number(pace->times_late), "wait_until",
                     voice_json_number(pace->wait_until), "explained", pace->explained, "reasons",
                     reasons_json(pace));
}

json_t *voice_forecast_json(const struct forecast_told *told)
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
        "nothing_seen", voice_json_number(nothing), "not_full", voice_json_number(not_full),
        "published_days", "low", voice_json_number(species->growth.full_lo), "high",
        voice_json_number(species->growth.full_hi), "points_per_cm3",
        plan_range(&told->forecast->points), "rate_mm_day", plan_range(&told->forecast->rate),
        "days", days_json(told), "seen", pace_json(told), "assumed",
        voice_json_parts(told->assumed));
}
