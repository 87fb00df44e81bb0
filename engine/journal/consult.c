/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/consult.h"

#include <jansson.h>
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "base/text.h"
#include "journal/sql.h"
#include "reason/siblings.h"
#include "triage/physics.h"
#include "triage/triage.h"

/* While a triage is opened on a vessel: consult.c and its helpers only. */
struct opening {
    struct journal *journal;
    const struct rules *rules;
    struct triage *triage;
    struct arena *arena;
    struct diags *diags;
    struct consultation *at;
};

/* consult_facts.c: what the columns of the journal and its texts of facts say. */
enum status consult_columns(struct opening *opening);

/* consult_looks.c: what earlier looks saw and judged. Fills the consultation's looks first. */
enum status consult_looks(struct opening *opening);

/* consult_siblings.c: what became of the others. */
enum status consult_siblings(struct opening *opening);

/* Of a one-of whose values carry a parameter: the last value whose parameter is not above `figure`,
 * which stands for good. */
enum status consult_reached(struct opening *opening, enum feeds feeds, double figure,
                            const char *words);

/* ==== course ================================================================================== */

const char FIRST_LOOK[] = "first look";

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

static bool withdrawn(const struct event *events, size_t count, int64_t id)
{
    for (size_t i = 0; i < count; i++)
        if (events[i].corrects == id)
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
        journal_all(journal, RECORD_EVENT, "vessel", vessel->id, arena, &rows, &count, diags);
    const struct event *events = rows;
    double last = -1.0;

    for (size_t i = 0; status == STATUS_OK && i < count; i++) {
        double day = (double)moment_days_between(batch->at, events[i].at);
        if (events[i].kind != EVENT_SHAKE || withdrawn(events, count, events[i].id) ||
            day <= last || day < 0.0 || known->growth.shake_count == MOST_SHAKES)
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
                    struct vessel_forecast *course)
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
static void choose_first_look(struct vessel_forecast *course)
{
    static const double longest = 7.0;
    double due = course->known ? ceil(course->visible.central) : course->look_every;
    course->first_look = fmin(longest, fmax(course->look_every, due));
}

enum status vessel_forecast_of(struct journal *journal, const struct rules *rules,
                               const struct batch *batch, const struct vessel *vessel,
                               struct vessel_forecast *course, struct diags *diags)
{
    struct arena *arena = arena_new();
    struct known_course known;
    double every = rules->forecast.look_every;

    *course = (struct vessel_forecast){
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

int64_t vessel_forecast_first_day(const struct vessel_forecast *course, const struct batch *batch)
{
    return moment_day(batch->at) + (int64_t)course->first_look;
}

/* ==== consult facts =========================================================================== */

/* From the columns of the journal to facts of a triage. */

struct sources { /* what the batch names; ids 0 where it names none */
    struct cook cook;
    struct session session;
    struct starter starter;
    struct lot lot;
    struct place place;
};

/* ---- one fact -------------------------------------------------------------------------------- */

static const struct observable *fed_by(const struct opening *opening, enum feeds feeds,
                                       size_t *index)
{
    int feeder = opening->rules->feeder[feeds];
    *index = feeder != RULES_NONE ? (size_t)feeder : 0;
    return feeder != RULES_NONE ? &opening->rules->observables[feeder] : NULL;
}

/* The facts that hold a single value of the observable that feeds it, by its id; nothing when there
 * is none. `words` say where it stands. */
static enum status choice(struct opening *opening, enum feeds feeds, const char *id,
                          const char *words)
{
    size_t index;
    const struct observable *observable = fed_by(opening, feeds, &index);
    int value = observable != NULL && id[0] != '\0' ? rules_value(observable, id) : RULES_NONE;
    if (value == RULES_NONE)
        return STATUS_OK;
    const struct recalled recalled = {
        .observable = index, .observation = {.seen = UINT32_C(1) << value}, .words = words};
    triage_recall(opening->triage, &recalled);
    return STATUS_OK;
}

enum status consult_reached(struct opening *opening, enum feeds feeds, double figure,
                            const char *words)
{
    size_t index, reached = 0;
    const struct observable *observable = fed_by(opening, feeds, &index);
    if (observable == NULL || isnan(figure))
        return STATUS_OK;
    for (size_t v = 0; v < observable->value_count; v++)
        if (observable->values[v].parameter <= figure)
            reached = v;
    const struct recalled recalled = {.observable = index,
                                      .observation = {.seen = UINT32_C(1) << reached},
                                      .words = words,
                                      .stands = true};
    triage_recall(opening->triage, &recalled);
    return STATUS_OK;
}

/* A number, with what it is in words behind where it stands. */
static enum status number_known(struct opening *opening, enum feeds feeds, double number,
                                const char *where)
{
    size_t index;
    const struct observable *observable = fed_by(opening, feeds, &index);
    int bin = observable != NULL && !isnan(number) ? rules_bin(observable, number) : RULES_NONE;
    struct text words;
    if (bin == RULES_NONE)
        return STATUS_OK;
    text_init(&words);
    text_printf(&words, "%s: ", where);
    quantity_show(&words, number, observable->dimension);
    const struct recalled recalled = {
        .observable = index,
        .observation = {.seen = UINT32_C(1) << bin},
        .has_number = true,
        .number = {number, number, true},
        .words = words.bytes,
    };
    triage_recall(opening->triage, &recalled);
    text_release(&words);
    return STATUS_OK;
}

/* A figure behind a one-of: the value whose parameter is nearest by its ratio. */
static enum status figure_known(struct opening *opening, enum feeds feeds, double figure,
                                const char *words)
{
    static const double least = 1e-3;
    size_t index, nearest = 0;
    double best = INFINITY;
    const struct observable *observable = fed_by(opening, feeds, &index);
    if (observable == NULL || isnan(figure))
        return STATUS_OK;
    for (size_t v = 0; v < observable->value_count; v++) {
        double off = fabs(log(fmax(figure, least) / fmax(observable->values[v].parameter, least)));
        if (off < best) {
            best = off;
            nearest = v;
        }
    }
    const struct recalled recalled = {
        .observable = index,
        .observation = {.seen = UINT32_C(1) << nearest},
        .has_number = true,
        .number = {figure, figure, true},
        .words = words,
    };
    if (!isinf(best))
        triage_recall(opening->triage, &recalled);
    return STATUS_OK;
}

/* ---- circumstances written as SIGN=VALUE ----------------------------------------------------- */

/* What the rules no longer know is told, and left out. */
static enum status setting_known(struct opening *opening, const char *sign, const char *value,
                                 const char *where)
{
    struct diags *faults = diags_new();
    if (faults == NULL)
        return STATUS_MEMORY;
    enum status status = triage_recall_setting(opening->triage, sign, value, where, faults);
    if (status != STATUS_OK && status != STATUS_MEMORY) {
        for (size_t i = 0; i < diags_kept(faults); i++)
            diags_warn(opening->diags, (struct position){0}, "%s: %s", where,
                       diags_get(faults, i)->message);
        status = STATUS_OK;
    }
    diags_free(faults);
    return status;
}

static enum status settings_known(struct opening *opening, const char *facts, const char *where)
{
    static const char spaces[] = " \t\r\n";
    enum status status = STATUS_OK;
    for (const char *at = facts + strspn(facts, spaces); *at != '\0' && status == STATUS_OK;
         at += strspn(at, spaces)) {
        size_t length = strcspn(at, spaces);
        char *sign = arena_copy(opening->arena, at, length);
        char *equals = sign != NULL ? strchr(sign, '=') : NULL;
        if (sign == NULL)
            return STATUS_MEMORY;
        if (equals != NULL) {
            *equals = '\0';
            status = setting_known(opening, sign, equals + 1, where);
        }
        at += length;
    }
    return status;
}

/* ---- the parts of a batch -------------------------------------------------------------------- */

static const char *called(struct opening *opening, const char *what, const char *label)
{
    const char *name = arena_format(opening->arena, "%s %s", what, label);
    return name != NULL ? name : what;
}

static enum status cook_known(struct opening *opening, const struct cook *cook)
{
    enum status status;
    if (cook->id == 0)
        return STATUS_OK;
    const char *where = called(opening, "cook", cook->label);
    (void)((status = choice(opening, FEEDS_COOK_METHOD, cook->method, where)) ||
           (status = number_known(opening, FEEDS_COOK_GAUGE, cook->gauge, where)) ||
           (status = number_known(opening, FEEDS_COOK_MINUTES, cook->minutes, where)) ||
           (status = number_known(opening, FEEDS_ALTITUDE, cook->altitude, where)) ||
           (status = figure_known(opening, FEEDS_AIR, cook->air, where)) ||
           (status = choice(opening, FEEDS_LOAD, cook->load, where)) ||
           (status = settings_known(opening, cook->facts, where)));
    return status;
}

/* Times the usual dose, in the terms of the observable; NAN when it cannot be known. */
static double dose_figure(const struct opening *opening, const struct starter *starter)
{
    static const char *const units[] = {
        [STARTER_ML] = "ml", [STARTER_GRAMS] = "g", [STARTER_PIECES] = ""};
    const struct rules *rules = opening->rules;
    const struct batch *batch = &opening->at->batch;
    struct known_vessel vessel;
    known_vessel_init(&vessel);
    vessel.kind = rules_vessel(rules, opening->at->vessel.kind);
    vessel.grams = opening->at->vessel.grams;
    double grams = physics_grams(rules, &vessel);
    for (size_t i = 0; i < rules->starter_count; i++) {
        const struct starter_kind *kind = &rules->starters[i];
        if (strcmp(kind->id, starter->kind) != 0 || strcmp(units[kind->unit], batch->unit) != 0)
            continue;
        double litres = grams / 1000.0 / physics_bulk(rules, RULES_NONE);
        double usual = kind->usual * litres;
        return usual > 0.0 ? batch->dose / usual * rules->forecast.dose_usual : NAN;
    }
    return NAN;
}

static double days_from(struct moment from, struct moment to)
{
    return moment_known(from) && moment_known(to) ? (double)moment_days_between(from, to) : NAN;
}

static enum status starter_known(struct opening *opening, const struct sources *sources)
{
    const struct batch *batch = &opening->at->batch;
    const struct starter *starter = &sources->starter;
    const char *where = called(opening, "batch", batch->label);
    enum status status = choice(opening, FEEDS_SPECIES, batch->species, where);
    if (status == STATUS_OK)
        status = number_known(opening, FEEDS_WAIT_BEFORE, days_from(sources->cook.at, batch->at),
                              called(opening, "cook", sources->cook.label));
    if (status != STATUS_OK || starter->id == 0)
        return status;
    const char *from = called(opening, "starter", starter->label);
    const char *dose = arena_format(opening->arena, "batch %s: %g%s%s", batch->label, batch->dose,
                                    batch->unit[0] != '\0' ? " " : "", batch->unit);
    if (dose == NULL)
        return STATUS_MEMORY;
    if (batch->species[0] == '\0')
        status = choice(opening, FEEDS_SPECIES, starter->species, from);
    (void)(status || (status = choice(opening, FEEDS_STARTER_KIND, starter->kind, from)) ||
           (status = number_known(opening, FEEDS_STARTER_AGE, days_from(starter->made, batch->at),
                                  from)) ||
           (status = figure_known(opening, FEEDS_DOSE, dose_figure(opening, starter), dose)));
    return status;
}

static enum status mix_known(struct opening *opening, const struct lot *lot)
{
    const struct batch *batch = &opening->at->batch;
    const char *where = called(opening, "batch", batch->label);
    enum status status = STATUS_OK;
    if (lot->id != 0)
        status = choice(opening, FEEDS_GRAIN, lot->grain, called(opening, "grain", lot->label));
    (void)(status || (status = number_known(opening, FEEDS_DRY_MASS, batch->dry, where)) ||
           (status = number_known(opening, FEEDS_WATER_MASS, batch->water, where)) ||
           (status = number_known(opening, FEEDS_SOAK, batch->soak, where)));
    return status;
}

/* The days since the last shake that was not taken back. */
static enum status shake_known(struct opening *opening)
{
    struct event *events = NULL;
    size_t count = 0;
    double days = NAN;
    enum status status =
        journal_all(opening->journal, RECORD_EVENT, "vessel", opening->at->vessel.id,
                    opening->arena, (void **)&events, &count, opening->diags);
    for (size_t i = 0; i < count; i++) {
        bool stands = events[i].kind == EVENT_SHAKE;
        for (size_t k = i + 1; k < count; k++)
            stands = stands && events[k].corrects != events[i].id;
        if (stands)
            days = days_from(events[i].at, opening->at->request.now);
    }
    return status != STATUS_OK
               ? status
               : number_known(opening, FEEDS_SHAKEN_DAYS, days >= 0.0 ? days : NAN, "shaken");
}

static enum status vessel_known(struct opening *opening, const struct place *place)
{
    const struct vessel *vessel = &opening->at->vessel;
    const char *where = called(opening, "vessel", vessel->label);
    enum status status = choice(opening, FEEDS_VESSEL, vessel->kind, where);
    (void)(status || (status = number_known(opening, FEEDS_VESSEL_MASS, vessel->grams, where)) ||
           (status = choice(opening, FEEDS_POSITION, vessel->position, where)) ||
           (status = number_known(opening, FEEDS_DAY, opening->at->day, where)));
    if (status == STATUS_OK && place->id != 0)
        status = number_known(opening, FEEDS_TEMPERATURE, place->celsius,
                              called(opening, "place", place->label));
    return status != STATUS_OK ? status : shake_known(opening);
}

/* ---- together -------------------------------------------------------------------------------- */

static enum status read_one(struct opening *opening, enum record record, int64_t id, void *row)
{
    record_init(record, row);
    return id == 0 ? STATUS_OK
                   : journal_get(opening->journal, record, id, opening->arena, row, opening->diags);
}

static enum status read_sources(struct opening *opening, struct sources *sources)
{
    const struct batch *batch = &opening->at->batch;
    enum status status;
    (void)((status = read_one(opening, RECORD_COOK, batch->cook, &sources->cook)) ||
           (status = read_one(opening, RECORD_SESSION, batch->session, &sources->session)) ||
           (status = read_one(opening, RECORD_STARTER, batch->starter, &sources->starter)) ||
           (status = read_one(opening, RECORD_LOT, batch->lot, &sources->lot)) ||
           (status = read_one(opening, RECORD_PLACE, opening->at->vessel.stands, &sources->place)));
    return status;
}

enum status consult_columns(struct opening *opening)
{
    struct sources sources;
    const struct batch *batch = &opening->at->batch;
    enum status status = read_sources(opening, &sources);
    (void)(status || (status = cook_known(opening, &sources.cook)) ||
           (status = mix_known(opening, &sources.lot)) ||
           (status = vessel_known(opening, &sources.place)) ||
           (status =
                settings_known(opening, batch->facts, called(opening, "batch", batch->label))));
    if (status != STATUS_OK || opening->at->vessel.control)
        return status; /* what was never inoculated knows no starter, and no hand */
    (void)((status = starter_known(opening, &sources)) ||
           (sources.session.id != 0 &&
            (status = settings_known(opening, sources.session.facts,
                                     called(opening, "session", sources.session.label)))));
    return status;
}

/* ==== consult looks =========================================================================== */

/*
 * What earlier looks say today.
 *
 *   lasting   observables that last (rules.h) keep what was last said of them
 *   salient   a salient value that was once seen stays seen
 *   judged    the highest chance of contamination at any look: what feeds judged_before
 *   change    each look goes to the triage, for what has changed since (triage.h)
 *
 * A look counts while no later one corrects it, and until a confirmed outcome after
 * it says that nothing grew there that should not.
 */

/* ---- which looks stand ----------------------------------------------------------------------- */

static enum status newest_outcome(struct opening *opening, struct outcome *newest)
{
    struct outcome *all = NULL;
    size_t count = 0;
    enum status status =
        journal_all(opening->journal, RECORD_OUTCOME, "vessel", opening->at->vessel.id,
                    opening->arena, (void **)&all, &count, opening->diags);
    record_init(RECORD_OUTCOME, newest);
    for (size_t i = 0; i < count; i++) {
        bool stands = true;
        for (size_t k = i + 1; k < count; k++)
            stands = stands && all[k].corrects != all[i].id;
        if (stands)
            *newest = all[i];
    }
    return status;
}

/* Whether the outcome says that what was feared was not so: then earlier looks no longer count. */
static bool clears(const struct outcome *outcome)
{
    return outcome->id != 0 && strcmp(outcome->status, status_name(FINDING_CONTAMINATED)) != 0;
}

static bool look_stands(const struct opening *opening, const struct look *all, size_t count,
                        size_t at, const struct outcome *outcome)
{
    if (all[at].id == opening->at->request.corrects)
        return false;
    for (size_t k = at + 1; k < count; k++)
        if (all[k].corrects == all[at].id)
            return false;
    return !clears(outcome) || all[at].at.seconds > outcome->at.seconds;
}

static enum status standing(struct opening *opening, const struct outcome *outcome)
{
    struct look *all = NULL;
    size_t count = 0, kept = 0;
    bool own = opening->at->request.corrects == 0;
    enum status status =
        journal_all(opening->journal, RECORD_LOOK, "vessel", opening->at->vessel.id, opening->arena,
                    (void **)&all, &count, opening->diags);
    struct look *looks = arena_array(opening->arena, count, sizeof *looks);
    if (status != STATUS_OK || looks == NULL)
        return status != STATUS_OK ? status : STATUS_MEMORY;
    for (size_t i = 0; i < count; i++) {
        own = own || all[i].id == opening->at->request.corrects;
        if (look_stands(opening, all, count, i, outcome))
            looks[kept++] = all[i];
    }
    opening->at->looks = looks;
    opening->at->look_count = kept;
    if (own)
        return STATUS_OK;
    diags_error(opening->diags, (struct position){0}, "look %lld is not one of %s's",
                (long long)opening->at->request.corrects, opening->at->vessel.label);
    return STATUS_USAGE;
}

/* ---- what they judged ------------------------------------------------------------------------ */

static void judge_worst(struct consultation *at, const struct outcome *outcome)
{
    at->judged = NAN;
    at->worst = NULL;
    if (outcome->id != 0)
        at->judged = clears(outcome) ? 0.0 : 1.0;
    for (size_t i = 0; i < at->look_count; i++) {
        const struct look *look = &at->looks[i];
        bool discard = strcmp(look->action, action_name(ACTION_DISCARD)) == 0;
        double chance = discard ? 1.0 : look->contaminated;
        if (chance > at->judged || isnan(at->judged)) {
            at->judged = chance;
            at->worst = look;
        }
    }
}

static const char *look_called(struct opening *opening, const struct look *look)
{
    char day[MOMENT_ROOM];
    return arena_format(opening->arena, "look of %s",
                        consult_day(look->at, opening->at->request.now, day));
}

static enum status judged_known(struct opening *opening)
{
    const struct look *worst = opening->at->worst;
    if (isnan(opening->at->judged))
        return STATUS_OK;
    const char *words = worst != NULL ? arena_format(opening->arena, "%s: %s",
                                                     look_called(opening, worst), worst->action)
                                      : "as confirmed";
    return words == NULL
               ? STATUS_MEMORY
               : consult_reached(opening, FEEDS_JUDGED_BEFORE, opening->at->judged, words);
}

/* ---- what they saw --------------------------------------------------------------------------- */

static uint32_t salient_values(const struct observable *observable)
{
    uint32_t salient = 0;
    for (size_t v = 0; v < observable->value_count; v++)
        if (observable->values[v].salient)
            salient |= UINT32_C(1) << v;
    return salient;
}

static bool patch_seen(const struct observable *observable, const struct observation *seen)
{
    bool any = false;
    if (observable->feeds != FEEDS_PATCHES || seen->hedged != 0)
        return false;
    for (size_t v = 0; v < observable->value_count; v++) {
        if ((seen->seen >> v & 1) == 0)
            continue;
        if (!(observable->values[v].parameter > 0.0))
            return false;
        any = true;
    }
    return any;
}

/* What was seen plainly has happened; what was seen with doubt gives way to what is said now. */
static enum status salient_known(struct opening *opening, const struct kept_fact *fact,
                                 uint32_t salient, const char *words)
{
    uint32_t seen = fact->observation.seen & salient;
    uint32_t plain = seen & ~fact->observation.hedged, doubted = seen & fact->observation.hedged;
    struct recalled recalled = {
        .observable = fact->observable, .words = words, .observation = {.seen = plain}};
    enum status status = STATUS_OK;
    recalled.stands = true;
    if (plain != 0)
        triage_recall(opening->triage, &recalled);
    if (status != STATUS_OK || doubted == 0)
        return status;
    recalled.stands = false;
    recalled.observation = (struct observation){.seen = doubted, .hedged = doubted};
    triage_recall(opening->triage, &recalled);
    return STATUS_OK;
}

static enum status fact_known(struct opening *opening, const struct kept_fact *fact,
                              const char *words, struct earlier *earlier)
{
    const struct observable *observable = &opening->rules->observables[fact->observable];
    uint32_t salient = salient_values(observable);
    if (observable->feeds == FEEDS_COVERAGE && fact->has_number)
        earlier->coverage = 0.5 * (fact->number.lo + fact->number.hi);
    earlier->trouble = earlier->trouble ||
                       (fact->observation.seen & ~fact->observation.hedged & salient) != 0 ||
                       patch_seen(observable, &fact->observation);
    if (!observable->lasts)
        return salient_known(opening, fact, salient, words);
    const struct recalled recalled = {
        .observable = fact->observable,
        .observation = fact->observation,
        .has_number = fact->has_number,
        .number = fact->number,
        .words = words,
    };
    triage_recall(opening->triage, &recalled);
    return STATUS_OK;
}

static enum status look_known(struct opening *opening, const struct look *look)
{
    const struct kept_fact *facts = NULL;
    size_t count = 0;
    const char *words = look_called(opening, look);
    double days = (double)moment_days_between(opening->at->batch.at, look->at);
    struct earlier earlier = {.day = days, .coverage = look->coverage, .words = words};
    if (words == NULL)
        return STATUS_MEMORY;
    enum status status = facts_read(opening->rules, look->facts, opening->arena, &facts, &count);
    if (status == STATUS_DATA) {
        diags_warn(opening->diags, (struct position){0}, "the facts of look %lld are not readable",
                   (long long)look->id);
        status = STATUS_OK;
    }
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        status = fact_known(opening, &facts[i], words, &earlier);
    if (status == STATUS_OK)
        triage_earlier(opening->triage, &earlier);
    return status;
}

enum status consult_looks(struct opening *opening)
{
    struct outcome outcome;
    enum status status = newest_outcome(opening, &outcome);
    if (status == STATUS_OK)
        status = standing(opening, &outcome);
    if (status != STATUS_OK)
        return status;
    judge_worst(opening->at, &outcome);
    for (size_t i = 0; i < opening->at->look_count && status == STATUS_OK; i++)
        status = look_known(opening, &opening->at->looks[i]);
    return status == STATUS_OK ? judged_known(opening) : status;
}

/* ==== consult siblings ======================================================================== */

/*
 * The others, counted for reason/siblings.h.
 *
 * Counted is what has told its story: vessels that were lost for a known reason or
 * proved sound, and growing ones that were found fit to keep. Of these one that was
 * last looked at much younger than ours has told only part of it: from two thirds of
 * our age it counts whole, before that in proportion. To leave the young out would
 * count the losses and forget what they were lost from. Isolated ones, and those
 * discarded without a word, have told nothing.
 *
 * Only vessels of batches that share something with ours, and of the latest batches,
 * are looked at: what a cook is held against is what was made about the same time,
 * and a journal of many years stays quick.
 */

static const double OLD_ENOUGH = 2.0 / 3.0;

/* Bits are those of enum relation; what was never inoculated shares neither hand nor starter. */
static const char counting[] =
    "WITH own AS (SELECT b.id AS batch, b.cook, b.session, b.starter, b.lot, v.stood, v.position,"
    " v.control FROM vessel AS v JOIN batch AS b ON b.id = v.batch WHERE v.id = ?1),"
    " near AS (SELECT id FROM (SELECT id FROM batch ORDER BY id DESC LIMIT 400)"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.cook = own.cook"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.session = own.session"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.starter = own.starter"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.lot = own.lot"
    " UNION SELECT batch FROM own)"
    " SELECT ifnull(b.cook = own.cook, 0), b.id = own.batch, ifnull(b.lot = own.lot, 0),"
    " ifnull(b.session = own.session, 0) AND NOT v.control AND NOT own.control,"
    " ifnull(b.starter = own.starter, 0) AND NOT v.control AND NOT own.control,"
    " ifnull(v.stood = own.stood, 0),"
    " ifnull(b.cook = own.cook, 0) AND v.position <> '' AND v.position = own.position,"
    " v.control,"
    " CASE WHEN v.fate = 'contaminated' THEN 2 WHEN v.fate = 'stuck' THEN 1 ELSE 0 END AS became,"
    " sum(CASE WHEN v.fate = 'open' THEN max(0.0, min(1.0, (l.at - b.at) / ?2)) ELSE 1.0 END)"
    " FROM near JOIN batch AS b ON b.id = near.id JOIN vessel AS v ON v.batch = b.id"
    " LEFT JOIN look AS l ON l.id = v.last_look CROSS JOIN own"
    " WHERE v.id <> ?1 AND (v.fate IN ('sound', 'stuck', 'contaminated')"
    " OR (v.fate = 'open' AND v.state = 'growing' AND l.action = 'keep'))"
    " GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9";

static const enum relation kin_columns[] = {RELATION_COOK,    RELATION_MIX,     RELATION_GRAIN_LOT,
                                            RELATION_SESSION, RELATION_STARTER, RELATION_PLACE,
                                            RELATION_POSITION};
enum { RELATION_COLUMNS = sizeof kin_columns / sizeof *kin_columns };

static struct sibling_cell read_cell(sqlite3_stmt *statement)
{
    struct sibling_cell cell = {.control = sqlite3_column_int(statement, RELATION_COLUMNS) != 0};
    for (int i = 0; i < RELATION_COLUMNS; i++)
        if (sqlite3_column_int(statement, i) != 0)
            cell.shares |= UINT32_C(1) << kin_columns[i];
    double count = sqlite3_column_double(statement, RELATION_COLUMNS + 2);
    int became = sqlite3_column_int(statement, RELATION_COLUMNS + 1);
    *(became == 2 ? &cell.contaminated : became == 1 ? &cell.stuck : &cell.clean) = count;
    return cell;
}

static enum status refused(struct opening *opening)
{
    return journal_fault(opening->journal, "count the siblings in", opening->diags);
}

static enum status read_cells(struct opening *opening, sqlite3_stmt *statement,
                              struct sibling_cell **cells, size_t *count)
{
    size_t room = 0;
    int code;
    *cells = NULL;
    *count = 0;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        if (*count == room) {
            room = room == 0 ? 32 : 2 * room;
            *cells = arena_grow(opening->arena, *cells, *count, room, sizeof **cells);
            if (*cells == NULL)
                return STATUS_MEMORY;
        }
        (*cells)[(*count)++] = read_cell(statement);
    }
    return code == SQLITE_DONE ? STATUS_OK : refused(opening);
}

static enum status count_cells(struct opening *opening, struct sibling_cell **cells, size_t *count)
{
    static const double day = 86400.0;
    sqlite3_stmt *statement = NULL;
    double age = fmax(1.0, isnan(opening->at->day) ? 0.0 : opening->at->day) * day * OLD_ENOUGH;
    enum status status;
    if (sqlite3_prepare_v2(journal_database(opening->journal), counting, -1, &statement, NULL) !=
            SQLITE_OK ||
        sqlite3_bind_int64(statement, 1, opening->at->vessel.id) != SQLITE_OK ||
        sqlite3_bind_double(statement, 2, age) != SQLITE_OK)
        status = refused(opening);
    else
        status = read_cells(opening, statement, cells, count);
    sqlite3_finalize(statement);
    return status;
}

/* ---- what the groups are called -------------------------------------------------------------- */

/* "cook C4"; NULL for a group the vessel has none of. */
static enum status name_of(struct opening *opening, const char *what, enum record record,
                           int64_t id, const char **name)
{
    union any_record row;
    *name = NULL;
    if (id == 0)
        return STATUS_OK;
    enum status status =
        journal_get(opening->journal, record, id, opening->arena, &row, opening->diags);
    if (status != STATUS_OK)
        return status;
    *name = arena_format(opening->arena, "%s %s", what, row.named.label);
    return *name != NULL ? STATUS_OK : STATUS_MEMORY;
}

/* "the middle in cook C4", as the rules call the position. */
static const char *position_name(const struct opening *opening, const char *cook)
{
    int index = opening->rules->feeder[FEEDS_POSITION];
    const char *position = opening->at->vessel.position;
    if (position[0] == '\0' || cook == NULL)
        return NULL;
    const struct observable *observable =
        index != RULES_NONE ? &opening->rules->observables[index] : NULL;
    int value = observable != NULL ? rules_value(observable, position) : RULES_NONE;
    return arena_format(opening->arena, "%s, %s", cook,
                        value != RULES_NONE ? observable->values[value].label : position);
}

enum status consult_siblings(struct opening *opening)
{
    const struct batch *batch = &opening->at->batch;
    const char *names[RELATION_COUNT] = {0};
    const struct consult_others *given = opening->at->request.others;
    struct sibling_cell *cells = NULL;
    size_t count = 0;
    enum status status = STATUS_OK;
    names[RELATION_MIX] = arena_format(opening->arena, "batch %s", batch->label);
    if (given != NULL) {
        cells = given->cells;
        count = given->count;
    } else if ((status = count_cells(opening, &cells, &count)) != STATUS_OK) {
        return status;
    }
    (void)((status = name_of(opening, "cook", RECORD_COOK, batch->cook, &names[RELATION_COOK])) ||
           (status = name_of(opening, "session", RECORD_SESSION, batch->session,
                             &names[RELATION_SESSION])) ||
           (status = name_of(opening, "starter", RECORD_STARTER, batch->starter,
                             &names[RELATION_STARTER])) ||
           (status =
                name_of(opening, "grain", RECORD_LOT, batch->lot, &names[RELATION_GRAIN_LOT])) ||
           (status = name_of(opening, "place", RECORD_PLACE, opening->at->vessel.stood,
                             &names[RELATION_PLACE])));
    names[RELATION_POSITION] = position_name(opening, names[RELATION_COOK]);
    return status == STATUS_OK && count > 0 ? triage_siblings(opening->triage, cells, count, names)
                                            : status;
}

enum status consult_count(struct journal *journal, struct consultation *consultation,
                          struct arena *arena, struct consult_others *others, struct diags *diags)
{
    struct opening opening = {
        .journal = journal, .arena = arena, .diags = diags, .at = consultation};
    return count_cells(&opening, &others->cells, &others->count);
}

/* ==== consult save ============================================================================ */

/* The look that a verdict comes to, and the day of the next one. */

/* ---- when to look again ---------------------------------------------------------------------- */

/* What the forecast has due after today, and before `days` from now. */
static void event_sooner(double event, double age, const char *word, double *days, const char **why)
{
    double in = ceil(event) - age;
    if (in >= 1.0 && in < *days) {
        *days = in;
        *why = word;
    }
}

static double coverage_said(const struct triage *triage)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    for (size_t i = 0; i < count; i++)
        if ((int)facts[i].observable == triage_rules(triage)->feeder[FEEDS_COVERAGE] &&
            facts[i].has_number)
            return 0.5 * (facts[i].number.lo + facts[i].number.hi);
    return NAN;
}

static bool fed(const struct triage *triage, enum feeds feeds)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    for (size_t i = 0; i < count; i++)
        if ((int)facts[i].observable == triage_rules(triage)->feeder[feeds])
            return true;
    return false;
}

/* How white it is as far as the looks and what is said now tell; 0 when nobody said. */
static double white(const struct consultation *consultation, const struct triage *triage)
{
    double coverage = 0.0, said = coverage_said(triage);
    for (size_t i = 0; i < consultation->look_count; i++)
        if (!isnan(consultation->looks[i].coverage))
            coverage = consultation->looks[i].coverage;
    return isnan(said) ? coverage : said;
}

/*
 * Where the forecast knows better than a plain number of days: there is nothing to
 * see before the first growth can show, but a week without a look is too long
 * (course.h); and what is due sooner is not waited for.
 */
static void forecast_says(const struct vessel_forecast *course, const struct triage *triage,
                          double age, double coverage, double *days, const char **why)
{
    const struct rules *rules = triage_rules(triage);
    if (!course->known || isnan(age))
        return;
    if (coverage <= 0.0 && age < course->first_look && course->first_look - age > *days) {
        *days = course->first_look - age;
        *why = "first growth";
        return;
    }
    if (coverage < rules->forecast.shake_hi && !fed(triage, FEEDS_SHAKEN_DAYS))
        event_sooner(course->shake.low, age, "time to shake", days, why);
    event_sooner(course->full.central, age, "white through", days, why);
}

/* The days a next step of the rules has of its own, which then stand; NAN for none. */
static double step_days(const struct rules *rules, const struct verdict *verdict, const char **why)
{
    int index = verdict->decision.next_step;
    if (index == RULES_NONE)
        return NAN;
    *why = rules->decision.next_steps[index].id;
    return rules->decision.next_steps[index].days;
}

static int64_t next_day(const struct consultation *consultation, struct triage *triage,
                        const struct verdict *verdict, const struct vessel_forecast *course,
                        const char **why)
{
    const struct rules *rules = triage_rules(triage);
    int64_t today = moment_day(consultation->request.now);
    *why = action_name(verdict->decision.action);
    if (verdict->decision.action == ACTION_DISCARD)
        return today;
    if (verdict->decision.action == ACTION_ISOLATE)
        return today + (int64_t)ceil(rules->decision.isolate_days);
    double days = step_days(rules, verdict, why);
    if (isnan(days)) {
        days = course->look_every;
        forecast_says(course, triage, consultation->day, white(consultation, triage), &days, why);
    }
    return today + (int64_t)fmax(1.0, ceil(days));
}

/*
 * When to look again, as a wall-calendar day, and the word for why: after discard at
 * once, until it is gone; after isolate decision.isolate_days later; after keep the
 * days that the next step has of its own, else forecast.look_every, but sooner where
 * the forecast has something due (time to shake, white through), and later where it
 * has nothing to show yet (first growth).
 */
static enum status next_look(struct journal *journal, const struct consultation *consultation,
                             struct triage *triage, const struct verdict *verdict, int64_t *day,
                             const char **why, struct diags *diags)
{
    struct vessel_forecast course;
    enum status status = vessel_forecast_of(journal, triage_rules(triage), &consultation->batch,
                                            &consultation->vessel, &course, diags);
    *day = 0;
    if (status == STATUS_OK)
        *day = next_day(consultation, triage, verdict, &course, why);
    return status;
}

/* ---- what is kept ---------------------------------------------------------------------------- */

/* Takes the reference; NULL when out of memory. */
static const char *json_kept(json_t *json, struct arena *arena)
{
    char *text = json_text(json, JSON_COMPACT | JSON_REAL_PRECISION(9), NULL);
    const char *kept = text != NULL ? arena_string(arena, text) : NULL;
    free(text);
    json_decref(json);
    return kept;
}

static bool put_chance(json_t *object, const char *id, double p)
{
    return json_object_set_new(object, id, json_real(round(p * 1e6) / 1e6)) == 0;
}

static json_t *posterior_json(const struct rules *rules, const struct verdict *verdict)
{
    json_t *findings = json_object(), *causes = json_object();
    bool ok = findings != NULL && causes != NULL;
    for (size_t i = 0; ok && i < rules->finding_count; i++)
        ok = put_chance(findings, rules->findings[verdict->findings[i].index].id,
                        verdict->findings[i].p);
    for (size_t i = 0; ok && i < rules->cause_count; i++)
        ok = put_chance(causes, rules->causes[verdict->causes[i].index].id, verdict->causes[i].p);
    json_t *posterior = json_pack("{s:o?, s:o?}", "findings", findings, "causes", causes);
    if (ok)
        return posterior;
    json_decref(posterior);
    return NULL;
}

static enum finding_status likeliest(const struct verdict *verdict)
{
    enum finding_status best = FINDING_CLEAN;
    for (int s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        if (verdict->status[s] > verdict->status[best])
            best = (enum finding_status)s;
    return best;
}

static enum status look_fill(const struct consultation *consultation, const struct triage *triage,
                             const struct verdict *verdict, struct arena *arena, struct look *look)
{
    const struct rules *rules = triage_rules(triage);
    const struct decision *decision = &verdict->decision;
    look->vessel = consultation->vessel.id;
    look->at = consultation->request.now;
    look->corrects = consultation->request.corrects;
    look->facts = json_kept(facts_json(triage), arena);
    look->coverage = coverage_said(triage);
    look->action = action_name(decision->action);
    if (decision->next_step != RULES_NONE)
        look->next_step = rules->decision.next_steps[decision->next_step].id;
    if (decision->floor != RULES_NONE)
        look->forced_by = rules->decision.floors[decision->floor].id;
    look->finding = rules->findings[verdict->findings[0].index].id;
    look->status = status_name(likeliest(verdict));
    look->contaminated = verdict->status[FINDING_CONTAMINATED];
    look->posterior = json_kept(posterior_json(rules, verdict), arena);
    look->rules = rules->hash;
    look->program = JARSIDE_VERSION;
    return look->facts != NULL && look->posterior != NULL ? STATUS_OK : STATUS_MEMORY;
}

enum status consult_save(struct journal *journal, struct consultation *consultation,
                         struct triage *triage, const char *words, struct arena *arena,
                         struct look *look, const struct verdict **verdict, struct diags *diags)
{
    const char *why = "";
    int64_t day = 0;
    record_init(RECORD_LOOK, look);
    *verdict = triage_judge(triage);
    if (*verdict == NULL)
        return STATUS_MEMORY;
    look->words = words;
    enum status status = look_fill(consultation, triage, *verdict, arena, look);
    if (status == STATUS_OK)
        status = next_look(journal, consultation, triage, *verdict, &day, &why, diags);
    if (status == STATUS_OK && (status = journal_begin(journal, diags)) == STATUS_OK) {
        status = journal_add(journal, RECORD_LOOK, look, diags);
        if (status == STATUS_OK)
            status = journal_set_due(journal, consultation->vessel.id, day, why, diags);
        if (status == STATUS_OK)
            status = journal_commit(journal, diags);
        else
            journal_rollback(journal);
    }
    consultation->vessel.due = day;
    consultation->vessel.due_for = why;
    return status;
}

/* ==== consult ================================================================================= */

const char *consult_day(struct moment day, struct moment now, char room[MOMENT_ROOM])
{
    char iso[MOMENT_ROOM], today[MOMENT_ROOM];
    if (!moment_known(day))
        return day_write(INT64_MIN, DAY_WORDS, room);
    bool same_year = strncmp(moment_write_day(day, iso), moment_write_day(now, today), 4) == 0;
    return day_write(moment_day(day), same_year ? DAY_NO_YEAR : DAY_WORDS, room);
}

/* ---- opening --------------------------------------------------------------------------------- */

static enum status vessel_found(struct opening *opening)
{
    struct consultation *at = opening->at;
    enum status status = journal_find(opening->journal, RECORD_VESSEL, at->request.label,
                                      opening->arena, &at->vessel, opening->diags);
    if (status == STATUS_OK)
        status = journal_get(opening->journal, RECORD_BATCH, at->vessel.batch, opening->arena,
                             &at->batch, opening->diags);
    if (status != STATUS_OK)
        return status;
    at->day = (double)moment_days_between(at->batch.at, at->request.now);
    if (at->day < 0.0) {
        char day[MOMENT_ROOM];
        diags_error(opening->diags, (struct position){0},
                    "%s was not there yet: its batch began on %s", at->vessel.label,
                    consult_day(at->batch.at, at->request.now, day));
        return STATUS_USAGE;
    }
    if (at->vessel.state != VESSEL_DISCARDED && at->vessel.state != VESSEL_USED)
        return STATUS_OK;
    diags_error(opening->diags, (struct position){0},
                "%s was %s already; there is nothing to look at", at->vessel.label,
                vessel_state_words[at->vessel.state]);
    return STATUS_USAGE;
}

/* What it is for, and how many stand beside it. */
static enum status stakes_known(struct opening *opening)
{
    const struct decision_rules *decision = &opening->rules->decision;
    struct stakes *stakes = triage_stakes(opening->triage);
    const struct vessel *vessel = &opening->at->vessel;
    double beside = 0.0;
    struct vessel other;
    for (size_t i = 0; i < decision->use_count; i++) {
        if (strcmp(decision->uses[i].id, opening->at->batch.purpose) != 0)
            continue;
        stakes->use = (int)i;
        stakes->use_count = 1.0;
    }
    if (vessel->stands == 0)
        return STATUS_OK;
    struct walk *walk = journal_walk_back(opening->journal, RECORD_VESSEL, "stands", vessel->stands,
                                          opening->diags);
    enum { ENOUGH = 1000 };
    for (size_t seen = 0; walk != NULL && seen < ENOUGH && walk_next(walk, &other); seen++)
        if (other.id != vessel->id && other.state == VESSEL_GROWING)
            beside += 1.0;
    if (walk == NULL)
        return STATUS_IO;
    stakes->neighbours = beside;
    return walk_end(walk);
}

enum status consult_vessel(struct journal *journal, const struct consult_request *request,
                           struct triage *triage, struct arena *arena,
                           struct consultation *consultation, struct diags *diags)
{
    struct opening opening = {.journal = journal,
                              .rules = triage_rules(triage),
                              .triage = triage,
                              .arena = arena,
                              .diags = diags,
                              .at = consultation};
    enum status status;
    *consultation = (struct consultation){.request = *request, .day = NAN, .judged = NAN};
    triage_reset(triage);
    (void)((status = vessel_found(&opening)) || (status = consult_columns(&opening)) ||
           (status = consult_looks(&opening)) || (status = stakes_known(&opening)) ||
           (!request->without_siblings && (status = consult_siblings(&opening))));
    return status;
}

bool consult_sound(const struct consultation *consultation)
{
    if (consultation->vessel.state != VESSEL_GROWING)
        return false;
    if (consultation->judged >= 1.0)
        return false;
    if (consultation->look_count == 0)
        return true;
    const struct look *last = &consultation->looks[consultation->look_count - 1];
    return strcmp(last->action, action_name(ACTION_KEEP)) == 0;
}
