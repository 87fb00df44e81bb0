/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the columns of the journal to facts of a triage. */
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "journal/consult_internal.h"
#include "triage/physics.h"

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
    return triage_recall(opening->triage, &recalled);
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
    return triage_recall(opening->triage, &recalled);
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
    enum status status = words.failed ? STATUS_MEMORY : triage_recall(opening->triage, &recalled);
    text_release(&words);
    return status;
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
    return isinf(best) ? STATUS_OK : triage_recall(opening->triage, &recalled);
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
    struct deed *deeds = NULL;
    size_t count = 0;
    double days = NAN;
    enum status status =
        journal_all(opening->journal, RECORD_DEED, "vessel", opening->at->vessel.id, opening->arena,
                    (void **)&deeds, &count, opening->diags);
    for (size_t i = 0; i < count; i++) {
        bool stands = deeds[i].kind == DEED_SHAKE;
        for (size_t k = i + 1; k < count; k++)
            stands = stands && deeds[k].corrects != deeds[i].id;
        if (stands)
            days = days_from(deeds[i].at, opening->at->request.now);
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
