/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/course.h"

#include <math.h>
#include <string.h>

#include "base/arena.h"
#include "base/text.h"
#include "triage/physics.h"

const char course_first_word[] = "first look";

enum { MOST_SHAKES = 16 };

struct known_course { /* what is handed to the forecast, with room for what it points to */
    struct known_growth growth;
    struct shake shakes[MOST_SHAKES];
};

static int starter_kind(const struct rules *rules, const char *id)
{
    for (size_t i = 0; i < rules->starter_count; i++)
        if (strcmp(rules->starters[i].id, id) == 0)
            return (int)i;
    return RULES_NONE;
}

/* A dose counts only when it is told in the unit its starter is measured in. */
static void take_dose(const struct rules *rules, const struct batch *batch,
                      struct known_growth *growth)
{
    static const char *const units[] = {
        [STARTER_ML] = "ml", [STARTER_GRAMS] = "g", [STARTER_PIECES] = ""};
    if (growth->starter == RULES_NONE || !(batch->dose > 0.0))
        return;
    if (strcmp(units[rules->starters[growth->starter].unit], batch->unit) == 0)
        growth->dose = batch->dose;
}

static enum status take_batch(struct journal *journal, const struct rules *rules,
                              const struct batch *batch, struct arena *arena,
                              struct known_growth *growth, struct diags *diags)
{
    struct starter starter;
    struct lot lot;
    enum status status = STATUS_OK;

    growth->species = rules_species(rules, batch->species);
    if (batch->starter != 0) {
        status = journal_get(journal, RECORD_STARTER, batch->starter, arena, &starter, diags);
        if (status == STATUS_OK)
            growth->starter = starter_kind(rules, starter.kind);
    }
    if (status == STATUS_OK && batch->lot != 0) {
        status = journal_get(journal, RECORD_LOT, batch->lot, arena, &lot, diags);
        if (status == STATUS_OK)
            growth->grain.kind = rules_grain(rules, lot.grain);
    }
    take_dose(rules, batch, growth);
    return status;
}

static enum status take_place(struct journal *journal, int64_t id, struct arena *arena,
                              struct known_growth *growth, struct diags *diags)
{
    struct place place;
    if (id == 0)
        return STATUS_OK;
    enum status status = journal_get(journal, RECORD_PLACE, id, arena, &place, diags);
    if (status == STATUS_OK)
        growth->temperature = place.celsius;
    return status;
}

static bool withdrawn(const struct deed *deeds, size_t count, int64_t id)
{
    for (size_t i = 0; i < count; i++)
        if (deeds[i].corrects == id)
            return true;
    return false;
}

static enum status take_shakes(struct journal *journal, const struct rules *rules,
                               const struct batch *batch, const struct vessel *vessel,
                               struct arena *arena, struct known_course *known, struct diags *diags)
{
    const struct forecast_rules *given = &rules->forecast;
    void *rows = NULL;
    size_t count = 0;
    enum status status =
        journal_all(journal, RECORD_DEED, "vessel", vessel->id, arena, &rows, &count, diags);
    const struct deed *deeds = rows;
    double last = -1.0;

    for (size_t i = 0; status == STATUS_OK && i < count; i++) {
        double day = (double)moment_days_between(batch->at, deeds[i].at);
        if (deeds[i].kind != DEED_SHAKE || withdrawn(deeds, count, deeds[i].id) || day <= last ||
            day < 0.0 || known->growth.shake_count == MOST_SHAKES)
            continue;
        known->shakes[known->growth.shake_count++] =
            (struct shake){day, given->shake_factor, given->shake_pause};
        last = day;
    }
    known->growth.shakes = known->shakes;
    return status;
}

static const struct range never = {INFINITY, INFINITY, INFINITY};

static void compute(const struct rules *rules, const struct known_growth *growth,
                    struct course *course)
{
    struct range from = never, to = never;
    struct physics_refusal refusal;
    struct forecast forecast;
    struct warmth constant;
    struct text assumed;

    text_init(&assumed);
    course->known =
        physics_growth(rules, growth, &forecast, &constant, &assumed, &refusal) == PHYSICS_OK;
    text_release(&assumed);
    if (!course->known)
        return;
    (void)forecast_days(&forecast, 1.0, &course->visible);
    (void)forecast_days(&forecast, FORECAST_FULL, &course->full);
    (void)forecast_days(&forecast, rules->forecast.shake_lo, &from);
    (void)forecast_days(&forecast, rules->forecast.shake_hi, &to);
    course->shake = (struct range){from.central, 0.5 * (from.central + to.central), to.central};
}

/*
 * The first look falls on the day on which growth should show: earlier there is
 * nothing to tell. But a week without a look is too long, for what should not be
 * there shows itself within it.
 */
static void choose_first_look(struct course *course)
{
    static const double longest = 7.0;
    double due = course->known ? ceil(course->visible.central) : course->look_every;
    course->first_look = fmin(longest, fmax(course->look_every, due));
}

enum status course_of(struct journal *journal, const struct rules *rules, const struct batch *batch,
                      const struct vessel *vessel, struct course *course, struct diags *diags)
{
    struct arena *arena = arena_new(NULL);
    struct known_course known;
    double every = rules->forecast.look_every;

    *course = (struct course){
        .visible = never, .shake = never, .full = never, .look_every = every > 0.0 ? every : 3.0};
    if (arena == NULL)
        return STATUS_MEMORY;
    known_growth_init(&known.growth);
    known.growth.vessel.kind = rules_vessel(rules, vessel->kind);
    known.growth.vessel.grams = vessel->grams;
    enum status status = take_batch(journal, rules, batch, arena, &known.growth, diags);
    if (status == STATUS_OK)
        status = take_place(journal, vessel->stands != 0 ? vessel->stands : vessel->place, arena,
                            &known.growth, diags);
    if (status == STATUS_OK && vessel->id != 0)
        status = take_shakes(journal, rules, batch, vessel, arena, &known, diags);
    if (status == STATUS_OK && !vessel->control)
        compute(rules, &known.growth, course);
    choose_first_look(course);
    arena_free(arena);
    return status;
}

int64_t course_first_day(const struct course *course, const struct batch *batch)
{
    return moment_day(batch->at) + (int64_t)course->first_look;
}
