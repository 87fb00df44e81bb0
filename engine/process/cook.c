/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a cook is asked, its temperature course, and the time it would need. */
#include "process/cook.h"

#include <math.h>
#include <stdlib.h>

#include "process/cook_internal.h"

static const double step_minutes =
    1.0; /* ample for the fourth-order rule: F0 to one part in ten thousand */
static const double longest_minutes = 1440.0;
/* Hold simulated when looking for the time needed; after that the core is at steam temperature. */
static const double search_minutes = 600.0;

const char *cook_input_name(enum cook_input input)
{
    static const char *const names[COOK_INPUTS] = {
        [COOK_DIFFUSIVITY] = "how fast heat gets through the grain",
        [COOK_COME_UP] = "the come-up",
        [COOK_AIR] = "air left in the cooker",
        [COOK_COOLING] = "kill while cooling",
        [COOK_LOAD] = "how many spores the grain carries",
        [COOK_RESISTANCE] = "how hardy those spores are",
    };
    return names[input];
}

const char *cook_verdict_name(enum cook_verdict verdict)
{
    static const char *const names[] = {"adequate", "marginal", "not enough"};
    return names[verdict];
}

/* ---- checks ---------------------------------------------------------------------------------- */

static enum process_fault check_one(enum process_fault bound, double number, double *value)
{
    *value = number;
    return limit_check(bound, number);
}

static enum process_fault check_range(enum process_fault bound, const struct range *range,
                                      double *value)
{
    *value = limit_check(bound, range->low) != PROCESS_OK ? range->low : range->high;
    return limit_check_range(bound, range);
}

static enum process_fault check_organisms(const struct cook_setup *setup, double *value)
{
    enum process_fault fault;

    *value = (double)setup->organism_count;
    if (setup->organism_count == 0 || setup->organism_count > COOK_MAX_ORGANISMS)
        return FAULT_EMPTY;
    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        if ((fault = check_range(FAULT_DECIMAL_TIME, &organism->d_minutes, value)) != PROCESS_OK ||
            (fault = check_range(FAULT_Z_VALUE, &organism->z, value)) != PROCESS_OK ||
            (fault = check_range(FAULT_LOAD, &organism->per_gram, value)) != PROCESS_OK ||
            (fault = check_one(FAULT_REFERENCE_CELSIUS, organism->reference_celsius, value)) !=
                PROCESS_OK)
            return fault;
    }
    return PROCESS_OK;
}

static enum process_fault check_steam(const struct cook_setup *setup, double *value)
{
    struct steam_conditions steam = setup->steam;
    double celsius;
    enum process_fault fault = check_range(FAULT_AIR_SHARE, &setup->air, value);

    for (int i = 0; i < 2 && fault == PROCESS_OK; i++) {
        steam.air_share = i == 0 ? setup->air.low : setup->air.high;
        fault = steam_celsius(&steam, &celsius);
        *value = fault == FAULT_ALTITUDE    ? steam.altitude_m
                 : fault == FAULT_BAROMETER ? steam.barometer_kpa
                                            : steam.gauge_kpa;
    }
    if (fault == FAULT_VESSEL_STEAM || fault == FAULT_SATURATION_KPA) {
        double outside = NAN;
        (void)steam_outside(&steam, &outside);
        *value = NAN;
        (void)steam_temperature((1.0 - steam.air_share) * (steam.gauge_kpa + outside), value);
    }
    return fault;
}

enum process_fault cook_check(const struct cook_setup *setup, double *value)
{
    enum process_fault fault;
    struct heat_model model;
    struct heat_properties properties = {setup->diffusivity.central, setup->heat_capacity,
                                         setup->conductance};

    if ((fault = check_steam(setup, value)) != PROCESS_OK ||
        (fault = check_range(FAULT_COME_UP_MINUTES, &setup->come_up, value)) != PROCESS_OK ||
        (fault = check_range(FAULT_COOL_MINUTES, &setup->cool, value)) != PROCESS_OK ||
        (fault = check_range(FAULT_DIFFUSIVITY, &setup->diffusivity, value)) != PROCESS_OK ||
        (fault = check_one(FAULT_DIFFUSIVITY, setup->adequate_diffusivity, value)) != PROCESS_OK ||
        (fault = check_one(FAULT_HOLD_MINUTES, setup->hold, value)) != PROCESS_OK ||
        (fault = check_one(FAULT_START_CELSIUS, setup->start_celsius, value)) != PROCESS_OK ||
        (fault = check_one(FAULT_GRAIN_GRAMS, setup->dry_grams, value)) != PROCESS_OK ||
        (fault = check_one(FAULT_VESSEL_COUNT, setup->vessels, value)) != PROCESS_OK ||
        (fault = check_one(FAULT_TARGET_CHANCE, setup->target, value)) != PROCESS_OK ||
        (fault = check_organisms(setup, value)) != PROCESS_OK)
        return fault;
    fault = heat_model(&setup->body, &properties, &model);
    *value = fault == FAULT_CONDUCTANCE     ? setup->conductance
             : fault == FAULT_HEAT_CAPACITY ? setup->heat_capacity
                                            : 0.0;
    for (size_t i = 0; fault == FAULT_THICKNESS && i < setup->body.count; i++)
        if (limit_check(FAULT_THICKNESS, 2.0 * setup->body.directions[i].length) != PROCESS_OK)
            *value = 2.0 * setup->body.directions[i].length;
    return fault;
}

/* ---- the temperature course ------------------------------------------------------------------ */

static double low_is_bad(const struct range *range, enum cook_end end)
{
    return end == COOK_BAD ? range->low : end == COOK_GOOD ? range->high : range->central;
}

static double high_is_bad(const struct range *range, enum cook_end end)
{
    return end == COOK_BAD ? range->high : end == COOK_GOOD ? range->low : range->central;
}

struct cook_course cook_course_at(const struct cook_setup *setup, enum cook_end diffusivity,
                                  enum cook_end come_up, enum cook_end air, enum cook_end cool)
{
    return (struct cook_course){
        .diffusivity = low_is_bad(&setup->diffusivity, diffusivity),
        .come_up = low_is_bad(&setup->come_up, come_up),
        .air = high_is_bad(&setup->air, air),
        .hold = setup->hold,
        .cool = low_is_bad(&setup->cool, cool),
    };
}

enum { CORNERS = 4 };

static enum process_fault course_history(const struct cook_setup *setup,
                                         const struct cook_course *course,
                                         struct heat_point history[CORNERS], size_t *points)
{
    struct steam_conditions steam = setup->steam;
    double hot, outside, boiling;
    enum process_fault fault;

    steam.air_share = course->air;
    if ((fault = steam_celsius(&steam, &hot)) != PROCESS_OK ||
        (fault = steam_outside(&steam, &outside)) != PROCESS_OK ||
        (fault = steam_temperature(outside, &boiling)) != PROCESS_OK)
        return fault;
    double full = 60.0 * course->come_up, off = full + 60.0 * course->hold;
    history[0] = (struct heat_point){0.0, course->come_up > 0.0 ? setup->start_celsius : hot};
    history[1] = (struct heat_point){full, hot};
    history[2] = (struct heat_point){off, hot};
    history[3] = (struct heat_point){off + 60.0 * course->cool, fmin(hot, boiling)};
    *points = course->cool > 0.0 ? 4 : 3;
    return PROCESS_OK;
}

/* The model at this diffusivity, made if need be; the last place is taken again and again. */
static enum process_fault heat_at(const struct cook_setup *setup, struct cook_heat *heat,
                                  double diffusivity, const struct heat_model **model)
{
    const size_t room = sizeof heat->model / sizeof *heat->model;
    struct heat_properties properties = {diffusivity, setup->heat_capacity, setup->conductance};

    for (size_t i = 0; i < heat->count; i++) {
        *model = &heat->model[i];
        if (heat->diffusivity[i] == diffusivity)
            return PROCESS_OK;
    }
    size_t at = heat->count < room ? heat->count : room - 1;
    heat->count = at; /* until it is made */
    enum process_fault fault = heat_model(&setup->body, &properties, &heat->model[at]);
    if (fault == PROCESS_OK) {
        heat->diffusivity[at] = diffusivity;
        heat->count = at + 1;
        *model = &heat->model[at];
    }
    return fault;
}

static enum process_fault course_core(const struct cook_setup *setup, struct cook_heat *heat,
                                      const struct cook_course *course, double step, double *core,
                                      size_t count)
{
    struct heat_point history[CORNERS];
    const struct heat_model *model;
    size_t points;
    enum process_fault fault;

    if ((fault = heat_at(setup, heat, course->diffusivity, &model)) != PROCESS_OK ||
        (fault = course_history(setup, course, history, &points)) != PROCESS_OK)
        return fault;
    return heat_curve(model, setup->start_celsius, history, points, 60.0 * step, true, core, count);
}

enum process_fault cook_course(const struct cook_setup *setup, double diffusivity,
                               double step_minutes_, double *core, double *outside, size_t count)
{
    struct cook_course course =
        cook_course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_GOOD);
    struct heat_point history[CORNERS];
    struct cook_heat heat = {.count = 0};
    size_t points;
    enum process_fault fault;

    course.diffusivity = diffusivity;
    if ((fault = course_core(setup, &heat, &course, step_minutes_, core, count)) != PROCESS_OK ||
        (fault = course_history(setup, &course, history, &points)) != PROCESS_OK)
        return fault;
    for (size_t i = 0; i < count; i++) {
        double seconds = 60.0 * step_minutes_ * (double)i;
        size_t at = 1;
        while (at + 1 < points && history[at].seconds < seconds)
            at++;
        double length = history[at].seconds - history[at - 1].seconds;
        double share = length > 0.0 ? (seconds - history[at - 1].seconds) / length : 1.0;
        outside[i] = history[at - 1].celsius +
                     fmin(1.0, share) * (history[at].celsius - history[at - 1].celsius);
    }
    return PROCESS_OK;
}

static double z_at(const struct cook_organism *organism, enum cook_end z)
{
    return low_is_bad(&organism->z, z);
}

static void take_doses(const struct cook_setup *setup, const double *core, double *total,
                       size_t steps, double step, enum cook_end z, struct cook_doses *doses)
{
    lethality_curve(core, steps + 1, step, LETHALITY_F0_CELSIUS, LETHALITY_F0_Z, total);
    doses->f0 = total[steps];
    doses->core = core[steps];
    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        lethality_curve(core, steps + 1, step, organism->reference_celsius, z_at(organism, z),
                        total);
        doses->organisms[i] = total[steps];
    }
}

/* Into one `doses` for the central z, or into three for all. */
static enum process_fault course_doses(const struct cook_setup *setup, struct cook_heat *heat,
                                       const struct cook_course *course, bool all_z,
                                       struct cook_doses *doses)
{
    double length = course->come_up + course->hold + course->cool;
    size_t steps = (size_t)ceil(length / step_minutes), count = steps + 1;
    double step = steps > 0 ? length / (double)steps : step_minutes;
    double *core = calloc(count, sizeof *core), *total = calloc(count, sizeof *total);
    enum process_fault fault = FAULT_MEMORY;

    if (core != NULL && total != NULL)
        fault = course_core(setup, heat, course, step, core, count);
    if (fault == PROCESS_OK && !all_z)
        take_doses(setup, core, total, steps, step, COOK_CENTRAL, doses);
    for (int z = 0; fault == PROCESS_OK && all_z && z < COOK_ENDS; z++)
        take_doses(setup, core, total, steps, step, (enum cook_end)z, &doses[z]);
    free(core);
    free(total);
    return fault;
}

enum process_fault cook_doses(const struct cook_setup *setup, struct cook_heat *heat,
                              const struct cook_course *course, struct cook_doses *doses)
{
    return course_doses(setup, heat, course, false, doses);
}

enum process_fault cook_doses_by_z(const struct cook_setup *setup, struct cook_heat *heat,
                                   const struct cook_course *course,
                                   struct cook_doses doses[COOK_ENDS])
{
    return course_doses(setup, heat, course, true, doses);
}

/* ---- the time needed ------------------------------------------------------------------------- */

/* Steps after the start at which this organism is few enough, with parts of a step; past the end
 * the core is taken to stay as hot as it was there. */
static double steps_needed(const double *total, size_t count, double dose)
{
    size_t low = 0, high = count - 1;

    if (total[high] < dose) {
        double rate = count > 1 ? total[high] - total[high - 1] : 0.0;
        return rate > 0.0 ? (double)high + (dose - total[high]) / rate : INFINITY;
    }
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (total[middle] < dose)
            low = middle;
        else
            high = middle;
    }
    double gain = total[high] - total[low];
    return (double)low + (gain > 0.0 ? fmax(0.0, dose - total[low]) / gain : 0.0);
}

enum process_fault cook_minutes_needed(const struct cook_setup *setup, struct cook_heat *heat,
                                       const struct cook_course *course,
                                       const double resistance[COOK_MAX_ORGANISMS],
                                       enum cook_end load, double *minutes)
{
    struct cook_course held = *course;
    held.hold = search_minutes;
    held.cool = 0.0;
    size_t count = (size_t)ceil((held.come_up + held.hold) / step_minutes) + 1;
    double *core = calloc(count, sizeof *core), *total = calloc(count, sizeof *total);
    enum process_fault fault = FAULT_MEMORY;
    double longest = 0.0;

    if (core != NULL && total != NULL)
        fault = course_core(setup, heat, &held, step_minutes, core, count);
    for (size_t i = 0; fault == PROCESS_OK && i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        double decades;
        if (!organism->counts)
            continue;
        fault = survivors_target(cook_load(setup, organism, load), setup->target, &decades);
        lethality_curve(core, count, step_minutes, organism->reference_celsius, organism->z.central,
                        total);
        double dose = decades * organism->d_minutes.central / resistance[i];
        longest = fmax(longest, step_minutes * steps_needed(total, count, dose));
    }
    if (fault == PROCESS_OK) {
        *minutes = fmax(0.0, longest - held.come_up);
        if (*minutes > longest_minutes)
            *minutes = INFINITY;
    }
    free(core);
    free(total);
    return fault;
}
