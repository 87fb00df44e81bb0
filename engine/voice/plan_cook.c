/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "voice/chart.h"
#include "voice/plan_internal.h"
#include "voice/whole_json.h"

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

void voice_cook(struct screen *screen, const struct cook_told *told)
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
        array = voice_json_append(
            array, json_pack("{s:s, s:s, s:s, s:o, s:o, s:o, s:o}", "id", organism->id, "name",
                             organism->name, "role", role_name(organism->role), "log_reduction",
                             plan_range(&kill->log_reduction), "survivors",
                             plan_range(&kill->survivors), "chance", plan_range(&kill->chance),
                             "chance_mean", voice_json_number(kill->chance_mean)));
    }
    return array;
}

static json_t *leans_json(const struct cook_result *result)
{
    json_t *array = json_array();

    for (size_t i = 0; array != NULL && i < COOK_INPUTS && result->leans[i].input < COOK_INPUTS;
         i++)
        array = voice_json_append(array, json_pack("{s:s, s:s, s:o, s:o}", "on",
                                                   lean_id(result->leans[i].input), "say",
                                                   cook_input_name(result->leans[i].input), "bad",
                                                   voice_json_number(result->leans[i].bad), "good",
                                                   voice_json_number(result->leans[i].good)));
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
        array = voice_json_append(array, json_pack("{s:f, s:f, s:f, s:f}", "minute",
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
        "steam_celsius", voice_json_number(result->steam.central), "steam",
        plan_range(&result->steam), "core", plan_range(&result->core), "f0",
        plan_range(&result->f0), "f0_cautious", voice_json_number(result->f0_adequate_at),
        "verdict", cook_verdict_name(result->verdict), "chance_not_sterile", "low",
        voice_json_number(result->chance.low), "central", voice_json_number(result->chance.central),
        "high", voice_json_number(result->chance.high), "mean",
        voice_json_number(result->chance_mean), "chance_any", "vessels",
        voice_json_number(setup->vessels), "mean", voice_json_number(result->chance_any_mean),
        "minutes_needed", plan_range(&result->minutes_needed), "margin_decades",
        voice_json_number(result->margin));
}

json_t *voice_cook_json(const struct cook_told *told)
{
    const struct cook_setup *setup = told->setup;
    json_t *cook = figures_json(setup, told->result);

    cook = voice_json_put(cook, "schema", json_integer(1));
    cook = voice_json_put(cook, "gauge_kpa", voice_json_number(setup->steam.gauge_kpa));
    cook = voice_json_put(cook, "outside_kpa", voice_json_number(told->outside));
    cook = voice_json_put(cook, "minutes", voice_json_number(setup->hold));
    cook = voice_json_put(cook, "target", voice_json_number(setup->target));
    cook = voice_json_put(cook, "vessel",
                          told->vessel != NULL ? json_string(told->vessel) : json_null());
    cook = voice_json_put(cook, "measured", json_boolean(told->probe != NULL));
    if (told->probe != NULL)
        cook = voice_json_put(cook, "probe",
                              json_pack("{s:I, s:I, s:f}", "readings",
                                        (json_int_t)told->probe->f0.readings, "gaps",
                                        (json_int_t)told->probe->f0.gaps, "gap_minutes",
                                        told->probe->f0.gap_minutes));
    cook = voice_json_put(cook, "organisms", organisms_json(told));
    cook = voice_json_put(cook, "leans", leans_json(told->result));
    cook = voice_json_put(cook, "course", course_json(told));
    cook = voice_json_put(cook, "sea_level",
                          told->sea != NULL ? figures_json(setup, told->sea) : json_null());
    cook = voice_json_put(cook, "assumed", voice_json_parts(told->assumed));
    cook = voice_json_put(
        cook, "cautions",
        json_pack("[s, s]",
                  "The cooker's manual comes first; never go beyond the pressure it allows.",
                  "This is not a calculator for canning food."));
    return cook;
}
