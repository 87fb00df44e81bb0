/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/consult.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "journal/sql.h"
#include "reason/siblings.h"
#include "triage/physics.h"

/* ---- what a vessel was made of --------------------------------------------------------------- */

struct sources batch_sources(struct journal *journal, const struct batch *batch, int64_t place,
                             struct arena *arena)
{
    struct sources sources;
    const struct {
        enum record record;
        int64_t id;
        void *row;
    } wanted[] = {{RECORD_COOK, batch->cook, &sources.cook},
                  {RECORD_SESSION, batch->session, &sources.session},
                  {RECORD_STARTER, batch->starter, &sources.starter},
                  {RECORD_LOT, batch->lot, &sources.lot},
                  {RECORD_PLACE, place, &sources.place}};
    for (size_t i = 0; i < sizeof wanted / sizeof *wanted; i++) {
        record_init(wanted[i].record, wanted[i].row);
        if (wanted[i].id != 0)
            journal_get(journal, wanted[i].record, wanted[i].id, arena, wanted[i].row);
    }
    return sources;
}

/* The inoculum, where it is told in the unit its starter is measured in; else NAN. */
static double dose_of(const struct rules *rules, int kind, const struct batch *batch)
{
    static const char *const units[] = {
        [STARTER_ML] = "ml", [STARTER_GRAMS] = "g", [STARTER_PIECES] = ""};
    bool counts = kind != RULES_NONE && strcmp(units[rules->starters[kind].unit], batch->unit) == 0;
    return counts ? batch->inoculum : NAN;
}

double vessel_dose_of(const struct rules *rules, const struct sources *sources,
                      const struct batch *batch, const struct vessel *vessel, const char *grain)
{
    int kind = rules_index(rules, ITEM_STARTER, sources->starter.kind);
    struct known_vessel known = KNOWN_VESSEL;
    known.kind = rules_vessel(rules, vessel->kind);
    known.grams = vessel->grams;
    double litres =
        physics_grams(rules, &known) / 1000.0 / physics_bulk(rules, rules_grain(rules, grain));
    double usual = kind != RULES_NONE ? rules->starters[kind].usual * litres : NAN;
    return usual > 0.0 ? dose_of(rules, kind, batch) / usual : NAN;
}

/* ---- forecast -------------------------------------------------------------------------------- */

enum { MOST_SHAKES = 16 };

static void read_shakes(struct journal *journal, const struct rules *rules, int64_t vessel,
                        struct arena *arena, struct known_growth *growth)
{
    struct shake *shakes = arena_array(arena, MOST_SHAKES, sizeof *shakes);
    struct query query = query_begin(journal, sql_shaken_days, "i", vessel);
    while (query_next(&query))
        if (query_integer(&query, 0) >= 0 && growth->shake_count < MOST_SHAKES)
            shakes[growth->shake_count++] =
                (struct shake){(double)query_integer(&query, 0), rules->forecast.shake_factor,
                               rules->forecast.shake_pause};
    growth->shakes = shakes;
}

bool vessel_forecast_days(const struct rules *rules, const struct forecast *forecast,
                          struct vessel_forecast *days)
{
    struct range from, to;
    (void)forecast_days(forecast, 1.0, &days->visible);
    (void)forecast_days(forecast, rules->forecast.shake.lo, &from);
    (void)forecast_days(forecast, rules->forecast.shake.hi, &to);
    days->shake = (struct range){from.central, 0.5 * (from.central + to.central), to.central};
    return forecast_days(forecast, FORECAST_FULL, &days->full) == PROCESS_OK;
}

static void compute(const struct rules *rules, const struct known_growth *growth,
                    struct vessel_forecast *expected, struct vessel_course *course)
{
    struct physics_refusal refusal;
    struct forecast forecast;
    struct warmth constant;
    TEXT(assumed);
    expected->known =
        physics_growth(rules, growth, &forecast, &constant, &assumed, &refusal) == PHYSICS_OK;
    if (!expected->known)
        return;
    (void)vessel_forecast_days(rules, &forecast, expected);
    for (size_t i = 0; course != NULL && i < course->count; i++)
        forecast_coverage(&forecast, course->every * (double)i, &course->coverage[i]);
}

void vessel_cook_of(const struct rules *rules, const struct cook *cook, int vessel, double grams,
                    int grain, struct known_cook *known)
{
    const int load = rules->feeder[FEEDS_LOAD];
    memset(known, 0, sizeof *known);
    *known = (struct known_cook)KNOWN_COOK;
    known->vessel.kind = vessel;
    known->vessel.grams = grams;
    known->grain.kind = grain;
    known->gauge = cook->gauge;
    known->minutes = cook->minutes;
    known->altitude = cook->altitude;
    known->air = cook->air;
    if (load != RULES_NONE)
        known->packing = rules_value(&rules->observables[load], cook->load);
}

enum status vessel_growth_of(struct journal *journal, const struct rules *rules,
                             const struct batch *batch, const struct vessel *vessel,
                             struct arena *arena, struct known_growth *growth)
{
    *growth = (struct known_growth)KNOWN_GROWTH;
    journal_enter(journal);
    struct sources sources =
        batch_sources(journal, batch, vessel->stands != 0 ? vessel->stands : vessel->place, arena);
    if (vessel->id != 0)
        read_shakes(journal, rules, vessel->id, arena, growth);
    growth->vessel.kind = rules_vessel(rules, vessel->kind);
    growth->vessel.grams = vessel->grams;
    growth->species = rules_species(rules, batch->species);
    growth->starter = rules_index(rules, ITEM_STARTER, sources.starter.kind);
    growth->grain.kind = rules_grain(rules, sources.lot.grain);
    growth->temperature = sources.place.celsius;
    if (dose_of(rules, growth->starter, batch) > 0.0)
        growth->dose = batch->inoculum;
    return journal_leave(journal);
}

enum status vessel_forecast_of(struct journal *journal, const struct rules *rules,
                               const struct batch *batch, const struct vessel *vessel,
                               struct vessel_forecast *expected, struct vessel_course *course)
{
    static const struct range never = {INFINITY, INFINITY, INFINITY};
    /* A week without a look is too long: what should not be there shows itself within it. */
    static const double longest = 7.0;
    struct arena *arena SCOPED_ARENA = arena_new();
    struct known_growth growth;
    double every = rules->forecast.look_every;
    *expected = (struct vessel_forecast){
        .visible = never, .shake = never, .full = never, .look_every = every > 0.0 ? every : 3.0};
    enum status status = vessel_growth_of(journal, rules, batch, vessel, arena, &growth);
    if (status == STATUS_OK && !vessel->control)
        compute(rules, &growth, expected, course);
    if (course != NULL && !expected->known)
        course->count = 0;
    /* Before the day on which growth should show there is nothing to tell. */
    double due = expected->known ? ceil(expected->visible.central) : expected->look_every;
    expected->first_look = fmin(longest, fmax(expected->look_every, due));
    return status;
}

int64_t vessel_forecast_first_day(const struct vessel_forecast *expected, const struct batch *batch)
{
    return moment_day(batch->at) + (int64_t)expected->first_look;
}

/* ---- one fact -------------------------------------------------------------------------------- */

struct opening { /* while a triage is opened on a vessel */
    struct journal *journal;
    const struct rules *rules;
    struct triage *triage;
    struct arena *arena;
    struct consultation *at;
    struct sources sources;
};

static const struct observable *fed_by(const struct rules *rules, enum feeds feeds)
{
    return rules->feeder[feeds] != RULES_NONE ? &rules->observables[rules->feeder[feeds]] : NULL;
}

/* Tells the triage a value of the observable that is fed so, and a number unless that is NAN. */
static void recall(struct opening *opening, enum feeds feeds, int value, double number,
                   const char *words, bool for_good)
{
    if (value != RULES_NONE)
        triage_recall(opening->triage,
                      &(struct fact){.observable = (size_t)opening->rules->feeder[feeds],
                                     .observation = {.seen = UINT32_C(1) << value},
                                     .has_number = !isnan(number),
                                     .number = {isnan(number) ? 0.0 : number,
                                                isnan(number) ? 0.0 : number, !isnan(number)},
                                     .words = words},
                      for_good);
}

/* A value of the observable that is fed so, by its id. `words` say where it stands. */
static void recall_choice(struct opening *opening, enum feeds feeds, const char *id,
                          const char *words)
{
    const struct observable *observable = fed_by(opening->rules, feeds);
    int value = observable != NULL && id[0] != '\0' ? rules_value(observable, id) : RULES_NONE;
    recall(opening, feeds, value, NAN, words, false);
}

/* A number: its bin, with what it is in words behind where it stands; or, behind a one-of, the
 * value whose parameter is nearest by its ratio. */
static void recall_number(struct opening *opening, enum feeds feeds, double number,
                          const char *where)
{
    static const double smallest = 1e-3;
    int value = RULES_NONE;
    double best = INFINITY;
    const struct observable *observable = fed_by(opening->rules, feeds);
    if (observable == NULL || isnan(number))
        return;
    TEXT(words);
    text_puts(&words, where);
    if (observable->kind == KIND_NUMBER) {
        value = rules_bin(observable, number);
        text_puts(&words, ": ");
        quantity_show(&words, number, observable->dimension);
    }
    for (size_t v = 0; observable->kind == KIND_ONE && v < observable->value_count; v++) {
        double off =
            fabs(log(fmax(number, smallest) / fmax(observable->values[v].parameter, smallest)));
        if (off < best) {
            best = off;
            value = (int)v;
        }
    }
    recall(opening, feeds, value, number, words.bytes, false);
}

/* Circumstances written as "sign=value sign=value"; what the rules no longer know is told. */
static void recall_settings(struct opening *opening, const char *facts, const char *where)
{
    static const char spaces[] = " \t\r\n";
    struct diags *faults = diags_new();
    for (const char *at = facts + strspn(facts, spaces); *at != '\0'; at += strspn(at, spaces)) {
        size_t length = strcspn(at, spaces);
        char *sign = arena_copy(opening->arena, at, length);
        char *equals = strchr(sign, '=');
        at += length;
        if (equals == NULL)
            continue;
        *equals = '\0';
        (void)triage_recall_setting(opening->triage, sign, equals + 1, where, faults);
    }
    for (size_t i = 0; i < diags_kept(faults); i++)
        diags_warn(opening->journal->diags, (struct position){0}, "%s: %s", where,
                   diags_get(faults, i)->message);
    diags_free(faults);
}

/* ---- the columns of the journal -------------------------------------------------------------- */

static const char *called(struct opening *opening, const char *what, const char *label)
{
    return arena_format(opening->arena, "%s %s", what, label);
}

static double days_from(struct moment from, struct moment to)
{
    return moment_known(from) && moment_known(to) ? (double)moment_days_between(from, to) : NAN;
}

/* What the columns of a record tell, by the description; its further circumstances last. */
static void recall_record(struct opening *opening, enum record record, const void *row)
{
    const union any_record *any = row;
    const char *what = record == RECORD_LOT ? "grain" : record_types[record].name;
    if (any->named.id == 0)
        return;
    const char *where = called(opening, what, any->named.label);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        const void *member = column_member(column, row);
        if (column->settings)
            recall_settings(opening, *(const char *const *)member, where);
        else if (column->feeds != FEEDS_NONE && column->kind == COLUMN_REAL)
            recall_number(opening, column->feeds, *(const double *)member, where);
        else if (column->feeds != FEEDS_NONE)
            recall_choice(opening, column->feeds, *(const char *const *)member, where);
    }
}

static void recall_columns(struct opening *opening)
{
    const struct consultation *at = opening->at;
    const struct sources *sources = &opening->sources;
    opening->sources =
        batch_sources(opening->journal, &at->batch, at->vessel.stands, opening->arena);
    struct batch batch = at->batch;
    struct starter starter = sources->starter;
    const char *where = called(opening, "batch", batch.label);
    batch.species = batch.facts = ""; /* told further below */
    recall_record(opening, RECORD_COOK, &sources->cook);
    recall_record(opening, RECORD_LOT, &sources->lot);
    recall_record(opening, RECORD_BATCH, &batch);
    recall_record(opening, RECORD_VESSEL, &at->vessel);
    recall_number(opening, FEEDS_DAY, at->day, called(opening, "vessel", at->vessel.label));
    recall_record(opening, RECORD_PLACE, &sources->place);
    struct query query = query_begin(opening->journal, sql_shaken_days, "i", at->vessel.id);
    double shaken = NAN; /* days ago */
    while (query_next(&query))
        shaken = at->day - (double)query_integer(&query, 0);
    recall_number(opening, FEEDS_SHAKEN_DAYS, shaken >= 0.0 ? shaken : NAN, "shaken");
    recall_settings(opening, at->batch.facts, where);
    if (at->vessel.control)
        recall_number(opening, FEEDS_INOCULATED, 0.0, "a control");
    if (at->vessel.control)
        return; /* what was never inoculated knows no species, no starter, and no hand */
    recall_choice(opening, FEEDS_SPECIES, at->batch.species, where);
    if (at->batch.species[0] != '\0')
        starter.species = "";
    recall_number(opening, FEEDS_WAIT_BEFORE, days_from(sources->cook.at, batch.at),
                  called(opening, "cook", sources->cook.label));
    recall_record(opening, RECORD_STARTER, &starter);
    recall_number(opening, FEEDS_STARTER_AGE, days_from(starter.made, batch.at),
                  called(opening, "starter", starter.label));
    recall_number(opening, FEEDS_DOSE,
                  opening->rules->forecast.dose_usual *
                      vessel_dose_of(opening->rules, sources, &at->batch, &at->vessel, ""),
                  arena_format(opening->arena, "batch %s: %g%s%s", batch.label, batch.inoculum,
                               batch.unit[0] != '\0' ? " " : "", batch.unit));
    recall_record(opening, RECORD_SESSION, &sources->session);
}

/* ---- what earlier looks say today ------------------------------------------------------------ */

/*
 *   lasting   observables that last (rules.h) keep what was last said of them
 *   salient   a salient value that was once seen stays seen
 *   judged    the highest chance of contamination at any look: what feeds judged_before
 *   change    each look goes to the triage, for what has changed since (triage.h)
 *
 * A look counts while no later one corrects it, and until a confirmed outcome after
 * it says that nothing grew there that should not.
 */

/* Whether the outcome says that what was feared was not so: then earlier looks no longer count. */
static bool clears(const struct outcome *outcome)
{
    return outcome != NULL && strcmp(outcome->status, status_name(FINDING_CONTAMINATED)) != 0;
}

/* The looks that count, and the newest outcome that stands, or NULL. */
static const struct outcome *read_looks(struct opening *opening)
{
    struct journal *journal = opening->journal;
    struct consultation *at = opening->at;
    int64_t vessel = at->vessel.id, corrects = at->request.corrects;
    if (corrects != 0 && query_number(journal, "SELECT 1 FROM look WHERE id = ? AND vessel = ?",
                                      "ii", corrects, vessel) == 0)
        journal_refuse(journal, STATUS_USAGE, "look %lld is not one of %s's", (long long)corrects,
                       at->vessel.label);
    const struct page outcomes = journal_page(
        journal, RECORD_OUTCOME, journal_standing[RECORD_OUTCOME], vessel, 1, opening->arena);
    const struct page looks = journal_page(journal, RECORD_LOOK, journal_standing[RECORD_LOOK],
                                           vessel, 0, opening->arena);
    const struct outcome *outcome = outcomes.rows;
    struct look *kept = looks.rows;
    at->looks = kept;
    at->look_count = 0;
    for (size_t i = 0; i < looks.count; i++)
        if (kept[i].id != corrects &&
            (!clears(outcome) || kept[i].at.seconds > outcome->at.seconds))
            kept[at->look_count++] = kept[i];
    return outcome;
}

static const char *look_called(struct opening *opening, const struct look *look)
{
    return called(opening, "look of",
                  consult_day(look->at, opening->at->request.now, MOMENT_WORDS));
}

static void recall_judged(struct opening *opening, const struct outcome *outcome)
{
    struct consultation *at = opening->at;
    at->judged = outcome == NULL ? NAN : clears(outcome) ? 0.0 : 1.0;
    at->worst = NULL;
    for (size_t i = 0; i < at->look_count; i++) {
        const struct look *look = &at->looks[i];
        bool discard = strcmp(look->action, action_name(ACTION_DISCARD)) == 0;
        double chance = discard ? 1.0 : look->contaminated;
        if (chance > at->judged || isnan(at->judged)) {
            at->judged = chance;
            at->worst = look;
        }
    }
    const char *words = at->worst == NULL
                            ? "as confirmed"
                            : arena_format(opening->arena, "%s: %s",
                                           look_called(opening, at->worst), at->worst->action);
    /* Of a one-of whose values carry a parameter: the last value whose parameter is not above
     * `figure`, which stands for good. */
    const struct observable *observable = fed_by(opening->rules, FEEDS_JUDGED_BEFORE);
    size_t reached = 0;
    if (observable == NULL || isnan(at->judged))
        return;
    for (size_t v = 0; v < observable->value_count; v++)
        if (observable->values[v].parameter <= at->judged)
            reached = v;
    recall(opening, FEEDS_JUDGED_BEFORE, (int)reached, NAN, words, true);
}

static void recall_looks(struct opening *opening)
{
    const struct outcome *outcome = read_looks(opening);
    for (size_t i = 0; i < opening->at->look_count; i++) {
        const struct look *look = &opening->at->looks[i];
        const struct fact *facts = NULL;
        size_t count = 0;
        const char *words = look_called(opening, look);
        struct earlier earlier = {.day =
                                      (double)moment_days_between(opening->at->batch.at, look->at),
                                  .coverage = look->coverage,
                                  .words = words};
        if (facts_read(opening->rules, look->facts, opening->arena, &facts, &count) != STATUS_OK)
            diags_warn(opening->journal->diags, (struct position){0},
                       "the facts of look %lld are not readable", (long long)look->id);
        for (size_t k = 0; k < count; k++) {
            const struct observable *observable = &opening->rules->observables[facts[k].observable];
            const uint32_t faults = facts[k].observation.seen & observable->salient;
            const uint32_t doubted = faults & facts[k].observation.hedged,
                           plain = faults & ~doubted;
            if (observable->feeds == FEEDS_COVERAGE && facts[k].has_number)
                earlier.coverage = 0.5 * (facts[k].number.lo + facts[k].number.hi);
            earlier.trouble |= is_trouble(observable, &facts[k].observation);
            struct fact recalled = facts[k];
            recalled.words = words;
            if (observable->lasts) {
                triage_recall(opening->triage, &recalled, false);
                continue;
            }
            recalled.has_number = false;
            /* What was seen plainly has happened; what was seen with doubt gives way to what is
             * new. */
            if (plain != 0) {
                recalled.observation = (struct observation){.seen = plain};
                triage_recall(opening->triage, &recalled, true);
            }
            if (doubted != 0) {
                recalled.observation = (struct observation){.seen = doubted, .hedged = doubted};
                triage_recall(opening->triage, &recalled, false);
            }
        }
        triage_earlier(opening->triage, &earlier);
    }
    recall_judged(opening, outcome);
}

/* ---- what became of the others --------------------------------------------------------------- */

/* The others, counted for reason/siblings.h.
 *
 * Counted is what has told its story: vessels that were lost for a known reason or proved sound,
 * and growing ones that were found fit to keep. Of these one that was last looked at much younger
 * than ours has told only part of it: from two thirds of our age it counts whole, before that in
 * proportion. To leave the young out would count the losses and forget what they were lost from.
 * Isolated ones, and those discarded without a word, have told nothing.
 *
 * Only vessels of batches that share something with ours, and of the latest batches, are looked at:
 * what a cook is held against is what was made about the same time, and a journal of many years
 * stays quick. */

static const double OLD_ENOUGH = 2.0 / 3.0;

/* The relations in a cell of sql_siblings, from its highest bit down. */
static const enum relation relation_columns[] = {
    RELATION_COOK,    RELATION_MIX,   RELATION_GRAIN_LOT, RELATION_SESSION,
    RELATION_STARTER, RELATION_PLACE, RELATION_POSITION};

enum status consult_count(struct journal *journal, const struct consultation *consultation,
                          struct arena *arena, struct consult_others *others)
{
    enum { RELATIONS = sizeof relation_columns / sizeof *relation_columns, CONTROL_BIT = 2 };
    static const double day = 86400.0;
    double age = fmax(1.0, isnan(consultation->day) ? 0.0 : consultation->day) * day * OLD_ENOUGH;
    *others = (struct consult_others){NULL, 0};
    struct query query = query_begin(journal, sql_siblings, "id", consultation->vessel.id, age);
    while (query_next(&query)) {
        struct sibling_cell *cell = arena_push(arena, others->cells, others->count);
        *cell = (struct sibling_cell){0};
        const int64_t bits = query_integer(&query, 0);
        for (int i = 0; i < RELATIONS; i++)
            if (bits >> (CONTROL_BIT + RELATIONS - i) & 1)
                cell->shares |= UINT32_C(1) << relation_columns[i];
        cell->control = bits >> CONTROL_BIT & 1;
        *(bits & 2   ? &cell->contaminated
          : bits & 1 ? &cell->stuck
                     : &cell->clean) = sqlite3_column_double(query.statement, 1);
    }
    return journal_told(journal);
}

static void recall_siblings(struct opening *opening)
{
    const struct consultation *at = opening->at;
    const struct sources *sources = &opening->sources;
    const char *names[RELATION_COUNT] = {0}; /* NULL for a group the vessel has none of */
    struct consult_others others = {0};
    struct place stood = {.id = 0};
    if (at->request.others != NULL)
        others = *at->request.others;
    else
        consult_count(opening->journal, at, opening->arena, &others);
    if (at->vessel.stood != 0)
        journal_get(opening->journal, RECORD_PLACE, at->vessel.stood, opening->arena, &stood);
    if (opening->journal->status != STATUS_OK || others.count == 0)
        return;
    const struct {
        enum relation relation;
        const char *what, *label;
        int64_t id;
    } groups[] = {{RELATION_MIX, "batch", at->batch.label, at->batch.id},
                  {RELATION_COOK, "cook", sources->cook.label, sources->cook.id},
                  {RELATION_SESSION, "session", sources->session.label, sources->session.id},
                  {RELATION_STARTER, "starter", sources->starter.label, sources->starter.id},
                  {RELATION_GRAIN_LOT, "grain", sources->lot.label, sources->lot.id},
                  {RELATION_PLACE, "place", stood.label, stood.id}};
    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++)
        if (groups[i].id != 0)
            names[groups[i].relation] = called(opening, groups[i].what, groups[i].label);
    /* "cook C4, the middle", as the rules call the position. */
    const char *position = at->vessel.position, *cook = names[RELATION_COOK];
    const struct observable *observable = fed_by(opening->rules, FEEDS_POSITION);
    int value = observable != NULL ? rules_value(observable, position) : RULES_NONE;
    if (position[0] != '\0' && cook != NULL)
        names[RELATION_POSITION] =
            arena_format(opening->arena, "%s, %s", cook,
                         value != RULES_NONE ? observable->values[value].label : position);
    opening->journal->status = triage_siblings(opening->triage, others.cells, others.count, names);
}

/* ---- opening --------------------------------------------------------------------------------- */

const char *consult_day(struct moment day, struct moment now, char room[MOMENT_ROOM])
{
    char iso[MOMENT_ROOM], today[MOMENT_ROOM];
    if (!moment_known(day))
        return day_write(INT64_MIN, DAY_WORDS, room);
    bool same_year = strncmp(moment_write_day(day, iso), moment_write_day(now, today), 4) == 0;
    return day_write(moment_day(day), same_year ? DAY_NO_YEAR : DAY_WORDS, room);
}

static void find_vessel(struct opening *opening)
{
    struct journal *journal = opening->journal;
    struct consultation *at = opening->at;
    if (journal_find(journal, RECORD_VESSEL, at->request.label, opening->arena, &at->vessel) !=
            STATUS_OK ||
        journal_get(journal, RECORD_BATCH, at->vessel.batch, opening->arena, &at->batch) !=
            STATUS_OK)
        return;
    at->day = (double)moment_days_between(at->batch.at, at->request.now);
    if (at->day < 0.0)
        journal_refuse(journal, STATUS_USAGE, "%s was not there yet: its batch began on %s",
                       at->vessel.label, consult_day(at->batch.at, at->request.now, MOMENT_WORDS));
    if (vessel_gone(&at->vessel) && !(at->request.now.seconds <= at->vessel.ended.seconds))
        journal_refuse(journal, STATUS_USAGE, "%s was %s already; there is nothing to look at",
                       at->vessel.label, vessel_state_words[at->vessel.state]);
}

/* What it is for, and how many stand beside it. */
static void set_stakes(struct opening *opening)
{
    const struct decision_rules *decision = &opening->rules->decision;
    const struct vessel *vessel = &opening->at->vessel;
    struct stakes *stakes = triage_stakes(opening->triage);
    for (size_t i = 0; i < decision->use_count; i++) {
        if (strcmp(decision->uses[i].id, opening->at->batch.purpose) != 0)
            continue;
        stakes->use = (int)i;
        stakes->use_count = 1.0;
    }
    if (vessel->stands != 0)
        stakes->neighbours = (double)query_number(
            opening->journal,
            "SELECT count(*) FROM (SELECT id, state FROM vessel WHERE stands = ? ORDER BY id DESC"
            " LIMIT 1000) WHERE id <> ? AND state = 'growing'",
            "ii", vessel->stands, vessel->id);
}

enum status consult_vessel(struct journal *journal, const struct consult_request *request,
                           struct triage *triage, struct arena *arena,
                           struct consultation *consultation)
{
    struct opening opening = {.journal = journal,
                              .rules = triage_rules(triage),
                              .triage = triage,
                              .arena = arena,
                              .at = consultation};
    *consultation = (struct consultation){.request = *request, .day = NAN, .judged = NAN};
    triage_reset(triage);
    journal_enter(journal);
    find_vessel(&opening);
    if (journal->status == STATUS_OK) {
        recall_columns(&opening);
        recall_looks(&opening);
        set_stakes(&opening);
        if (!request->without_siblings)
            recall_siblings(&opening);
    }
    return journal_leave(journal);
}

bool consult_sound(const struct consultation *at)
{
    const struct look *last = at->look_count > 0 ? &at->looks[at->look_count - 1] : NULL;
    return at->vessel.state == VESSEL_GROWING && !(at->judged >= 1.0) &&
           (last == NULL || strcmp(last->action, action_name(ACTION_KEEP)) == 0);
}

/* ---- when to look again ---------------------------------------------------------------------- */

/* Coverage in per cent as facts tell it: the middle of a number, or `worded` that of what a word
 * stands for ("nothing white yet"); NAN when they do not. */
static double coverage_in(const struct rules *rules, const struct fact *facts, size_t count,
                          bool worded)
{
    const struct observable *sign = fed_by(rules, FEEDS_COVERAGE);
    for (size_t i = 0; i < count && sign != NULL; i++) {
        if (&rules->observables[facts[i].observable] != sign)
            continue;
        if (facts[i].has_number)
            return 0.5 * (facts[i].number.lo + facts[i].number.hi);
        for (size_t v = 0; v < sign->value_count && worded; v++)
            if (facts[i].observation.seen == UINT32_C(1) << v)
                return 0.5 * (sign->values[v].from + fmin(sign->values[v].below, sign->max));
    }
    return NAN;
}

double look_coverage(const struct rules *rules, const struct look *look)
{
    struct arena *arena SCOPED_ARENA = arena_new();
    const struct fact *facts = NULL;
    size_t count = 0;
    double coverage = look->coverage;
    if (isnan(coverage) && facts_read(rules, look->facts, arena, &facts, &count) == STATUS_OK)
        coverage = coverage_in(rules, facts, count, true);
    return coverage;
}

static double coverage_said(const struct triage *triage, bool worded)
{
    const struct heard all = triage_heard(triage);
    return coverage_in(triage_rules(triage), all.facts, all.fact_count, worded);
}

/* What the forecast has due after today, and before `days` from now. */
static void sooner(double event, double age, const char *word, double *days, const char **why)
{
    double in = ceil(event) - age;
    if (in >= 1.0 && in < *days) {
        *days = in;
        *why = word;
    }
}

/* When to look again, as a wall-calendar day, and the word for why: after discard at once, until it
 * is gone; after isolate decision.isolate_days later; after keep the days that the next step has of
 * its own, else forecast.look_every, but sooner where the forecast has something due (time to
 * shake, fully colonised), and later where it has nothing to show yet (first growth), though a week
 * without a look is too long. */
static int64_t next_day(const struct consultation *consultation, const struct triage *triage,
                        const struct decision *decision, const struct vessel_forecast *expected,
                        const char **why)
{
    const struct rules *rules = triage_rules(triage);
    int64_t today = moment_day(consultation->request.now);
    double age = consultation->day, days = NAN;
    /* How white it is as far as the looks and what is said now tell; 0 when nobody said. */
    double coverage = coverage_said(triage, true);
    for (size_t i = consultation->look_count; isnan(coverage) && i-- > 0;)
        coverage = look_coverage(rules, &consultation->looks[i]);
    bool bare = coverage < NOTHING_YET; /* and there is nothing to shake, whatever was forecast */
    coverage = isnan(coverage) ? 0.0 : coverage;
    *why = action_name(decision->action);
    if (decision->action == ACTION_DISCARD)
        return today;
    if (decision->action == ACTION_ISOLATE)
        return today + (int64_t)ceil(rules->decision.isolate_days);
    if (decision->next_step != RULES_NONE) {
        *why = rules->decision.next_steps[decision->next_step].id;
        days = rules->decision.next_steps[decision->next_step].days;
    }
    if (!isnan(days))
        return today + (int64_t)fmax(1.0, ceil(days));
    days = expected->look_every;
    bool foreseen = expected->known && !isnan(age);
    if (foreseen && coverage < NOTHING_YET && age < expected->first_look &&
        expected->first_look - age > days) {
        days = expected->first_look - age;
        *why = FIRST_GROWTH;
    } else if (foreseen && bare) {
        *why = FIRST_GROWTH;
    } else if (foreseen) {
        if (coverage < rules->forecast.shake.hi &&
            triage_fact(triage, (size_t)rules->feeder[FEEDS_SHAKEN_DAYS]) == NULL)
            sooner(expected->shake.low, age, "time to shake", &days, why);
        sooner(expected->full.central, age, "fully colonised", &days, why);
    }
    return today + (int64_t)fmax(1.0, ceil(days));
}

/* Whether one of its own batch was lost. */
static bool lost_nearby(const struct verdict *verdict)
{
    bool lost = false;
    for (size_t i = 0; i < verdict->sibling_count; i++) {
        const struct sibling_group *group = verdict->siblings[i].group;
        lost = lost ||
               (group->relation == RELATION_MIX && group->own.lost + group->controls.lost > 0.0);
    }
    return lost;
}

/* ---- the look that comes of it --------------------------------------------------------------- */

/* Takes the reference. */
static const char *json_kept(json_t *json, struct arena *arena)
{
    TEXT(text);
    json_write(&text, json, false);
    const char *kept = arena_string(arena, text.bytes);
    json_decref(json);
    return kept;
}

static void fill_look(const struct consultation *consultation, const struct triage *triage,
                      const struct verdict *verdict, struct arena *arena, struct look *look)
{
    const struct rules *rules = triage_rules(triage);
    const struct decision *decision = &verdict->decision;
    enum finding_status likeliest = FINDING_CLEAN;
    for (int s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        if (verdict->status[s] > verdict->status[likeliest])
            likeliest = (enum finding_status)s;
    look->vessel = consultation->vessel.id;
    look->at = consultation->request.now;
    look->corrects = consultation->request.corrects;
    look->facts = json_kept(facts_json(triage), arena);
    look->coverage = coverage_said(triage, false);
    look->action = action_name(decision->action);
    if (decision->next_step != RULES_NONE)
        look->next_step = rules->decision.next_steps[decision->next_step].id;
    if (decision->floor != RULES_NONE)
        look->forced_by = rules->decision.floors[decision->floor].id;
    look->finding = rules->findings[verdict->findings[0].index].id;
    look->status = status_name(likeliest);
    look->contaminated = verdict->status[FINDING_CONTAMINATED];
    json_t *findings = json_object(), *causes = json_object();
    for (size_t i = 0; i < rules->finding_count; i++)
        json_object_set_new(findings, rules->findings[verdict->findings[i].index].id,
                            json_real(round(verdict->findings[i].p * 1e6) / 1e6));
    for (size_t i = 0; i < rules->cause_count; i++)
        json_object_set_new(causes, rules->causes[verdict->causes[i].index].id,
                            json_real(round(verdict->causes[i].p * 1e6) / 1e6));
    look->posterior =
        json_kept(json_pack("{s:o, s:o}", "findings", findings, "causes", causes), arena);
    look->rules = rules->hash;
    look->program = JARSIDE_VERSION;
}

enum status consult_save(struct journal *journal, struct consultation *consultation,
                         struct triage *triage, const char *words, struct arena *arena,
                         struct look *look, const struct verdict **verdict)
{
    struct vessel *vessel = &consultation->vessel;
    struct vessel_forecast expected;
    record_init(RECORD_LOOK, look);
    *verdict = triage_judge(triage);
    look->words = words;
    fill_look(consultation, triage, *verdict, arena, look);
    journal_work(journal);
    vessel_forecast_of(journal, triage_rules(triage), &consultation->batch, vessel, &expected,
                       NULL);
    vessel->due =
        next_day(consultation, triage, &(*verdict)->decision, &expected, &vessel->due_for);
    const int64_t soon = moment_day(consultation->request.now) +
                         (int64_t)ceil(triage_rules(triage)->decision.isolate_days);
    if (vessel->due > soon && lost_nearby(*verdict)) /* kept, and watched */
        vessel->due = soon;
    journal_add(journal, RECORD_LOOK, look);
    if (!vessel_gone(vessel)) /* else it was a look of before */
        journal_set_due(journal, vessel->id, vessel->due, vessel->due_for);
    return journal_finish(journal);
}
