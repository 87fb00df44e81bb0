/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/compute.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "reason/reason.h"
#include "triage/physics.h"
#include "triage/triage.h"

/* What the facts say, in the terms of the physics. `used` marks the feeds that were said. */
struct said {
    struct known_cook cook;
    struct known_growth growth;
    struct shake shake;
    double day, coverage, still, shaken_days;
    bool used[FEEDS_COUNT];
    bool hedged[FEEDS_COUNT];
};

/* `said` points into itself afterwards (a shake): do not copy it. */
static void said_read(struct said *said, const struct reasoner *reasoner,
                      const struct evidence *evidence, const struct fact *facts, size_t count);

/* ==== said ==================================================================================== */

/* The facts of a case in the terms of the physics. */

/* The one value said to hold, or RULES_NONE. */
static int value_said(const struct fact *fact)
{
    uint32_t seen = fact->observation.seen;
    int value = 0;

    if (seen == 0 || (seen & (seen - 1)) != 0)
        return RULES_NONE;
    while ((seen >>= 1) != 0)
        value++;
    return value;
}

/* The quantity said, or what the rules give for the value said; NAN for neither. */
static double number_said(const struct rules *rules, const struct fact *fact)
{
    int value = value_said(fact);

    if (fact->has_number)
        return 0.5 * (fact->number.lo + fact->number.hi);
    return value == RULES_NONE ? NAN : rules->observables[fact->observable].values[value].parameter;
}

static int starter_said(const struct rules *rules, int value)
{
    for (size_t i = 0; i < rules->starter_count; i++)
        if (value != RULES_NONE && rules->starters[i].value == (size_t)value)
            return (int)i;
    return RULES_NONE;
}

static void take_number(struct said *said, enum feeds feeds, double number)
{
    switch (feeds) {
    case FEEDS_DAY:
        said->day = number;
        break;
    case FEEDS_COVERAGE:
        said->coverage = number;
        break;
    case FEEDS_STALLED_DAYS:
        said->still = number;
        break;
    case FEEDS_COOK_GAUGE:
        said->cook.gauge = number;
        break;
    case FEEDS_COOK_MINUTES:
        said->cook.minutes = number;
        break;
    case FEEDS_ALTITUDE:
        said->cook.altitude = number;
        break;
    case FEEDS_AIR:
        said->cook.air = number;
        break;
    case FEEDS_VESSEL_MASS:
        said->cook.vessel.grams = number;
        break;
    case FEEDS_DRY_MASS:
        said->cook.grain.dry = number;
        break;
    case FEEDS_WATER_MASS:
        said->cook.grain.water = number;
        break;
    case FEEDS_MOISTURE:
        said->cook.grain.moisture = number;
        break;
    case FEEDS_TEMPERATURE:
        said->growth.temperature = number;
        break;
    case FEEDS_DOSE:
        said->growth.dose_relative = number;
        break;
    case FEEDS_SHAKEN_DAYS:
        said->shaken_days = number;
        break;
    default:
        break;
    }
}

static bool take_choice(const struct rules *rules, struct said *said, enum feeds feeds,
                        const struct fact *fact)
{
    int value = value_said(fact);
    const char *id =
        value == RULES_NONE ? "" : rules->observables[fact->observable].values[value].id;

    switch (feeds) {
    case FEEDS_SPECIES:
        said->growth.species = rules_species(rules, id);
        return said->growth.species != RULES_NONE;
    case FEEDS_GRAIN:
        said->cook.grain.kind = rules_grain(rules, id);
        return said->cook.grain.kind != RULES_NONE;
    case FEEDS_VESSEL:
        said->cook.vessel.kind = rules_vessel(rules, id);
        return said->cook.vessel.kind != RULES_NONE;
    case FEEDS_LOAD:
        said->cook.packing = value;
        return value != RULES_NONE;
    case FEEDS_STARTER_KIND:
        said->growth.starter = starter_said(rules, value);
        return said->growth.starter != RULES_NONE;
    default:
        return false;
    }
}

/* A shake that was said helps or costs what the forecast says it does. */
static void add_shake(struct said *said, const struct forecast_rules *rules)
{
    if (!(said->shaken_days >= 0.0 && said->day > said->shaken_days))
        return;
    said->shake =
        (struct shake){said->day - said->shaken_days, rules->shake_factor, rules->shake_pause};
    said->growth.shakes = &said->shake;
    said->growth.shake_count = 1;
}

static void said_read(struct said *said, const struct reasoner *reasoner,
                      const struct evidence *evidence, const struct fact *facts, size_t count)
{
    const struct rules *rules = reasoner_rules(reasoner);

    *said = (struct said){.day = NAN, .coverage = NAN, .still = NAN, .shaken_days = NAN};
    known_cook_init(&said->cook);
    known_growth_init(&said->growth);
    for (size_t i = 0; i < count; i++) {
        enum feeds feeds = rules->observables[facts[i].observable].feeds;
        double number = number_said(rules, &facts[i]);
        if (feeds == FEEDS_NONE)
            continue;
        said->used[feeds] = take_choice(rules, said, feeds, &facts[i]) || !isnan(number);
        said->hedged[feeds] = facts[i].observation.hedged != 0;
        if (!isnan(number))
            take_number(said, feeds, number);
    }
    if (isnan(said->cook.gauge) && rules->cook.no_pressure.count > 0 &&
        reason_holds(reasoner, &rules->cook.no_pressure, evidence))
        said->cook.gauge = 0.0;
    if (rules->forecast.dose_usual > 0.0)
        said->growth.dose_relative /= rules->forecast.dose_usual;
    said->growth.vessel = said->cook.vessel;
    said->growth.grain = said->cook.grain;
    add_shake(said, &rules->forecast);
}

/* ==== cook memo =============================================================================== */

enum { PLACES = 512 };

struct place {
    bool kept;
    struct known_cook known;
    struct cook_result result;
};

/* Each cook has one place, and takes it from whichever had it before. */
struct cook_memo {
    struct place places[PLACES];
};

struct cook_memo *cook_memo_new(void)
{
    return calloc(1, sizeof(struct cook_memo));
}

void cook_memo_free(struct cook_memo *memo)
{
    free(memo);
}

/* FNV-1a over the bytes. Where bytes between the members differ a cook is computed once more. */
static struct place *place_of(struct cook_memo *memo, const struct known_cook *known)
{
    const unsigned char *bytes = (const unsigned char *)known;
    uint32_t hash = 2166136261u;
    for (size_t i = 0; i < sizeof *known; i++)
        hash = (hash ^ bytes[i]) * 16777619u;
    return &memo->places[hash % PLACES];
}

enum process_error cook_memo_compute(struct cook_memo *memo, const struct known_cook *known,
                                     const struct cook_setup *setup, struct cook_result *result)
{
    struct place *place = memo != NULL ? place_of(memo, known) : NULL;

    /* Bytes between the members that differ cost a computation and change nothing. */
    /* NOLINTNEXTLINE(bugprone-suspicious-memory-comparison,cert-exp42-c,cert-flp37-c) */
    if (place != NULL && place->kept && memcmp(&place->known, known, sizeof *known) == 0) {
        *result = place->result;
        return PROCESS_OK;
    }
    enum process_error fault = cook_compute(setup, result);
    if (place != NULL && fault == PROCESS_OK) {
        place->kept = true;
        memcpy(&place->known, known, sizeof *known);
        place->result = *result;
    }
    return fault;
}

/* ==== compute ================================================================================= */

struct work {
    const struct reasoner *reasoner;
    const struct rules *rules;
    const struct evidence *evidence;
    struct cook_memo *memo;
    struct arena *arena;
    struct said said;
    struct computed *computed;
    size_t count, room;
    bool no_memory; /* what is missing is not known to be absent */
};

/* ---- moving a cause -------------------------------------------------------------------------- */

static double logit(double p)
{
    static const double sure = 0.998;
    p = fmin(sure, fmax(1.0 - sure, p));
    return log(p / (1.0 - p));
}

/* Index of the set of this cause alone, or of no cause for RULES_NONE. */
static size_t set_of(const struct reasoner *reasoner, int cause)
{
    for (size_t i = 0; i < reasoner_set_count(reasoner); i++) {
        int causes[2];
        reasoner_set(reasoner, i, causes);
        if (causes[0] == cause && causes[1] == RULES_NONE)
            return i;
    }
    return 0;
}

static double likelihood(const struct work *work, size_t observable, size_t set)
{
    const struct observation *said = &work->evidence->observations[observable];
    size_t values = work->rules->observables[observable].value_count;
    double sum = 0.0;

    for (size_t v = 0; v < values; v++) {
        uint32_t bit = UINT32_C(1) << v;
        bool possible = said->seen != 0 ? (said->seen & bit) != 0 : (said->absent & bit) == 0;
        if (possible)
            sum += reasoner_likelihood(work->reasoner, NULL, observable, v, 0, set);
    }
    return sum;
}

/* What the rules weigh already of the circumstances a computation used. */
static double weighed_already(const struct work *work, size_t cause, const enum feeds *feeds,
                              size_t count)
{
    size_t with = set_of(work->reasoner, (int)cause), without = set_of(work->reasoner, RULES_NONE);
    double sum = 0.0;

    for (size_t i = 0; i < count; i++) {
        int observable = work->rules->feeder[feeds[i]];
        if (observable == RULES_NONE || !work->said.used[feeds[i]] ||
            work->rules->observables[observable].kind == KIND_SEVERAL)
            continue;
        double a = likelihood(work, (size_t)observable, with);
        double b = likelihood(work, (size_t)observable, without);
        if (a > 0.0 && b > 0.0)
            sum += log(a / b);
    }
    return work->rules->calibration.tau * sum;
}

static bool hedged_any(const struct said *said, const enum feeds *feeds, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (said->used[feeds[i]] && said->hedged[feeds[i]])
            return true;
    return false;
}

/* Adds a move for every cause that this kind of figure moves. NAN: it is not known. */
static void move_causes(struct work *work, enum moved_by moved_by, double chance,
                        const enum feeds *feeds, size_t feed_count, const char *say,
                        const char *assumed)
{
    const struct move *move = &work->rules->moves[moved_by];

    for (size_t c = 0; c < work->rules->cause_count && work->count < work->room; c++) {
        if (work->rules->causes[c].moved_by != moved_by)
            continue;
        double shift = 0.0, replaces = 0.0;
        if (!isnan(chance) && move->trust > 0.0) {
            double trust = move->trust;
            if (hedged_any(&work->said, feeds, feed_count))
                trust *= work->rules->calibration.hedge;
            shift = trust * (logit(chance) - logit(move->usual));
            shift = fmin(move->most, fmax(-move->most, shift));
            replaces = weighed_already(work, c, feeds, feed_count);
        }
        work->computed[work->count++] = (struct computed){c, shift, replaces, say, assumed};
    }
}

/* A finished line into the arena; NULL when there is none or no memory, which is noted. */
static const char *keep(struct work *work, struct text *text)
{
    bool none = !text->failed && text->length == 0;
    const char *kept = text->failed || none ? NULL : arena_string(work->arena, text->bytes);
    work->no_memory = work->no_memory || (!kept && !none);
    text_release(text);
    return kept;
}

/* Whether a computation gave a result; lack of memory for it is noted. */
static bool done(struct work *work, enum process_error fault)
{
    work->no_memory = work->no_memory || fault == PROCESS_MEMORY;
    return fault == PROCESS_OK;
}

/* ---- the cook -------------------------------------------------------------------------------- */

/* As far as a grower needs it, without exponents: what is below the last digit is "under" it. */
static void put_minutes(struct text *out, double minutes)
{
    if (minutes < 0.1)
        text_puts(out, "under 0.1");
    else
        text_printf(out, minutes < 10.0 ? "%.1f" : "%.0f", minutes);
}

static void put_chance(struct text *out, double chance)
{
    double percent = 100.0 * chance;
    if (percent < 0.1)
        text_puts(out, "under 0.1 %");
    else if (percent > 99.9)
        text_puts(out, "over 99.9 %");
    else
        text_printf(out, percent < 10.0 ? "%.1f %%" : "%.0f %%", percent);
}

static void say_cook(const struct work *work, const struct cook_setup *setup,
                     const struct cook_result *result, struct text *say)
{
    double fungal = 0.0;

    text_printf(say, "%.0f minutes at ", setup->hold);
    quantity_show(say, setup->steam.gauge_kpa, DIM_GAUGE_KPA);
    text_printf(say, ", %.0f m: steam %.1f degC, F0 ", setup->steam.altitude_m,
                result->steam.central);
    put_minutes(say, result->f0.central);
    text_puts(say, " min (");
    put_minutes(say, result->f0.low);
    text_puts(say, " to ");
    put_minutes(say, result->f0.high);
    text_puts(say, "); live spores are left in ");
    put_chance(say, result->chance_mean);
    text_puts(say, " of such vessels");
    for (size_t i = 0; i < setup->organism_count; i++)
        if (work->rules->organisms[i].role == ORGANISM_FUNGUS)
            fungal = fmax(fungal, result->kills[i].chance_mean);
    text_puts(say, ", fungal ones in ");
    put_chance(say, fungal);
}

static void compute_cook(struct work *work)
{
    static const enum feeds feeds[] = {FEEDS_COOK_GAUGE,  FEEDS_COOK_MINUTES, FEEDS_ALTITUDE,
                                       FEEDS_AIR,         FEEDS_LOAD,         FEEDS_VESSEL,
                                       FEEDS_VESSEL_MASS, FEEDS_GRAIN};
    struct cook_organism organisms[COOK_MAX_ORGANISMS];
    struct physics_refusal refusal;
    struct cook_result result;
    struct cook_setup setup;
    struct text say, assumed;
    double chance = NAN;

    text_init(&say);
    text_init(&assumed);
    enum physics_answer answer =
        physics_cook(work->rules, &work->said.cook, &setup, organisms, &assumed, &refusal);
    if (answer == PHYSICS_OK &&
        done(work, cook_memo_compute(work->memo, &work->said.cook, &setup, &result))) {
        chance = result.chance_mean;
        say_cook(work, &setup, &result, &say);
    } else {
        physics_explain(&say, answer, &refusal);
        text_clear(&assumed);
    }
    const char *said = keep(work, &say), *with = keep(work, &assumed);
    if (answer != PHYSICS_NO_RULES && said != NULL)
        move_causes(work, MOVED_SURVIVORS, chance, feeds, sizeof feeds / sizeof *feeds, said, with);
}

/* ---- the mix --------------------------------------------------------------------------------- */

static void compute_mix(struct work *work)
{
    static const enum feeds feeds[] = {FEEDS_MOISTURE, FEEDS_DRY_MASS, FEEDS_WATER_MASS,
                                       FEEDS_GRAIN};
    const struct known_grain *grain = &work->said.cook.grain;
    struct moisture_band band = physics_band(work->rules, grain->kind);
    double doubt = fmax(0.1, work->rules->forecast.moisture_doubt);
    struct text say, assumed;

    text_init(&assumed);
    double moisture = physics_moisture(work->rules, grain, &assumed);
    const char *with = keep(work, &assumed);
    if (isnan(moisture) || isnan(band.lo))
        return;
    text_init(&say);
    text_printf(&say, "moisture %.1f %%; the band to aim for is %.3g to %.3g %%", moisture, band.lo,
                band.hi);
    if (!isnan(band.raw_limit))
        text_printf(&say, ", a raw kernel holds %.3g %%", band.raw_limit);
    const char *said = keep(work, &say);
    if (said == NULL)
        return;
    move_causes(work, MOVED_WET, moisture_chance_above(moisture, doubt, band.hi), feeds,
                sizeof feeds / sizeof *feeds, said, with);
    move_causes(work, MOVED_DRY, 1.0 - moisture_chance_above(moisture, doubt, band.lo), feeds,
                sizeof feeds / sizeof *feeds, said, with);
}

/* ---- growth ---------------------------------------------------------------------------------- */

static const enum feeds warmth_feeds[] = {FEEDS_TEMPERATURE, FEEDS_SPECIES};
static const enum feeds dose_feeds[] = {FEEDS_DOSE, FEEDS_STARTER_KIND};

/* Day at which the central course has this coverage; INFINITY when never. */
static double day_of(const struct forecast *forecast, double coverage)
{
    struct range days;
    return forecast_days(forecast, coverage, &days) == PROCESS_OK ? days.central : INFINITY;
}

/*
 * Chance that one input holds the vessel up: the share of the delay (on a log
 * scale) that goes away when it is put right. Where nothing is late there is
 * nothing to explain; where all is on time the circumstance itself must do.
 */
static double share_of_delay(const struct said *said, const struct pace_verdict *pace,
                             double as_said, double put_right, double circumstance)
{
    static const double none = 0.02, white = 95.0, hardly_late = 0.05;
    double delay = log(said->day / put_right), explained = log(as_said / put_right);

    if (said->coverage >= white || pace->pace == PACE_AHEAD || !(delay > hardly_late))
        return none;
    if (pace->pace == PACE_ON_TIME)
        return circumstance;
    return isinf(as_said) ? 1.0 : fmin(1.0, fmax(0.0, explained / delay));
}

/* What a dose alone makes likely: one for two at the usual one. */
static double small_dose(double relative)
{
    return 1.0 / (1.0 + relative * relative);
}

static void say_growth(struct text *say, const struct said *said, const struct pace_verdict *pace,
                       double celsius)
{
    text_printf(say, "%.0f %% white on day %.0f at %.0f degC is %s", said->coverage, said->day,
                celsius, pace_name(pace->pace));
    text_printf(say, "; %.0f %% was due, %.0f to %.0f", pace->expected.central, pace->expected.low,
                pace->expected.high);
}

/* Coverage and day are known: what holds it up, if anything does. */
static bool compute_pace(struct work *work, const struct forecast *forecast, const char *with)
{
    const struct said *said = &work->said;
    double celsius = forecast->warmth[0].celsius, best = forecast->cardinals.t_opt;
    struct forecast ideal = *forecast;
    struct warmth at_best = {0.0, best};
    struct pace_verdict pace;
    struct text say;

    if (isnan(said->day) || isnan(said->coverage) ||
        !done(work, forecast_judge(forecast, said->day, said->coverage, said->still, &pace)))
        return false;
    double coverage = fmin(95.0, fmax(1.0, said->coverage));
    double as_said = day_of(forecast, coverage);
    text_init(&say);
    say_growth(&say, said, &pace, celsius);
    const char *line = keep(work, &say);
    if (line == NULL)
        return false;
    ideal.warmth = &at_best;
    double lost = 1.0 - cardinals_factor(&forecast->cardinals, celsius);
    double share = share_of_delay(said, &pace, as_said, day_of(&ideal, coverage), lost);
    if (said->used[FEEDS_TEMPERATURE] && celsius < best)
        move_causes(work, MOVED_COLD, share, warmth_feeds, 2, line, with);
    double relative = said->growth.dose_relative;
    if (!isnan(relative) && relative > 0.0) {
        ideal = *forecast;
        ideal.points.low /= relative;
        ideal.points.central /= relative;
        ideal.points.high /= relative;
        share =
            share_of_delay(said, &pace, as_said, day_of(&ideal, coverage), small_dose(relative));
        move_causes(work, MOVED_DOSE, share, dose_feeds, 2, line, with);
    }
    return true;
}

/* Above its best, heat harms long before it slows: rivals and bacteria gain first. */
static void compute_heat(struct work *work, const struct forecast *forecast)
{
    double celsius = work->said.growth.temperature;
    const struct cardinals *cardinals = &forecast->cardinals;
    struct text say;

    if (!work->said.used[FEEDS_TEMPERATURE] || !(celsius > cardinals->t_opt))
        return;
    text_init(&say);
    text_printf(&say, "%.0f degC is above the %.0f that suit this mushroom best; at %.0f it stops",
                celsius, cardinals->t_opt, cardinals->t_max);
    const char *line = keep(work, &say);
    double share = (celsius - cardinals->t_opt) / (cardinals->t_max - cardinals->t_opt);
    if (line != NULL)
        move_causes(work, MOVED_WARM, fmin(1.0, share), warmth_feeds, 2, line, NULL);
}

/* Only the circumstances are known: how far from their best they are. */
static void compute_circumstances(struct work *work, const struct forecast *forecast)
{
    const struct said *said = &work->said;
    double relative = said->growth.dose_relative;

    if (said->used[FEEDS_TEMPERATURE] && said->growth.temperature < forecast->cardinals.t_opt) {
        double celsius = said->growth.temperature;
        double factor = cardinals_factor(&forecast->cardinals, celsius);
        struct text say;
        text_init(&say);
        text_printf(&say,
                    "at %.0f degC this mushroom grows at %.0f %% of its best pace (%.0f degC)",
                    celsius, 100.0 * factor, forecast->cardinals.t_opt);
        const char *line = keep(work, &say);
        if (line != NULL)
            move_causes(work, MOVED_COLD, 1.0 - factor, warmth_feeds, 2, line, NULL);
    }
    if (!isnan(relative) && relative > 0.0) {
        struct text say;
        text_init(&say);
        text_printf(&say, "the dose was %.2g times the usual one", relative);
        const char *line = keep(work, &say);
        if (line != NULL)
            move_causes(work, MOVED_DOSE, small_dose(relative), dose_feeds, 2, line, NULL);
    }
}

static void compute_growth(struct work *work)
{
    struct physics_refusal refusal;
    struct forecast forecast;
    struct warmth constant;
    struct text assumed;

    text_init(&assumed);
    enum physics_answer answer =
        physics_growth(work->rules, &work->said.growth, &forecast, &constant, &assumed, &refusal);
    const char *with = keep(work, &assumed);
    if (answer != PHYSICS_OK)
        return;
    compute_heat(work, &forecast);
    if (!compute_pace(work, &forecast, with))
        compute_circumstances(work, &forecast);
}

bool compute_moves(const struct reasoner *reasoner, const struct evidence *evidence,
                   const struct fact *facts, size_t fact_count, struct cook_memo *memo,
                   struct arena *arena, struct moves *moves)
{
    struct work work = {
        .reasoner = reasoner,
        .rules = reasoner_rules(reasoner),
        .evidence = evidence,
        .memo = memo,
        .arena = arena,
        .computed = moves->list,
        .room = moves->room,
    };

    said_read(&work.said, reasoner, evidence, facts, fact_count);
    compute_cook(&work);
    compute_mix(&work);
    compute_growth(&work);
    moves->count = work.count;
    return !work.no_memory;
}

void compute_shifts(const struct computed *computed, size_t count, struct prior_shift *shifts)
{
    for (size_t i = 0; i < count; i++)
        shifts[i] =
            (struct prior_shift){computed[i].cause, computed[i].log_odds - computed[i].replaces};
}
