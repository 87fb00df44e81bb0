/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/compute.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/numbers.h"
#include "base/text.h"

struct work {
    const struct reasoner *reasoner;
    const struct rules *rules;
    const struct evidence *evidence;
    struct cook_memo *memo;
    struct arena *arena;
    /* What the facts say, in the terms of the physics; NAN and RULES_NONE where they do not. */
    bool said[FEEDS_COUNT], hedged[FEEDS_COUNT];
    struct known_cook cook;
    struct known_growth growth; /* points to `shake` */
    struct shake shake;
    double day, coverage, still, shaken_days;
    struct computed *moves;
    size_t count;
};

/* ---- the facts in the terms of the physics --------------------------------------------------- */

#define PLACE(member) offsetof(struct work, member)

/* Where the number that feeds a computation goes; 0 for none. */
static const size_t NUMBERS[FEEDS_COUNT] = {
    [FEEDS_DAY] = PLACE(day),
    [FEEDS_COVERAGE] = PLACE(coverage),
    [FEEDS_STALLED_DAYS] = PLACE(still),
    [FEEDS_COOK_GAUGE] = PLACE(cook.gauge),
    [FEEDS_COOK_MINUTES] = PLACE(cook.minutes),
    [FEEDS_ALTITUDE] = PLACE(cook.altitude),
    [FEEDS_AIR] = PLACE(cook.air),
    [FEEDS_VESSEL_MASS] = PLACE(cook.vessel.grams),
    [FEEDS_DRY_MASS] = PLACE(cook.grain.dry),
    [FEEDS_WATER_MASS] = PLACE(cook.grain.water),
    [FEEDS_MOISTURE] = PLACE(cook.grain.moisture),
    [FEEDS_TEMPERATURE] = PLACE(growth.temperature),
    [FEEDS_DOSE] = PLACE(growth.dose_relative),
    [FEEDS_SHAKEN_DAYS] = PLACE(shaken_days),
};

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

static int starter_said(const struct rules *rules, int value)
{
    for (size_t i = 0; i < rules->starter_count; i++)
        if (value != RULES_NONE && rules->starters[i].value == (size_t)value)
            return (int)i;
    return RULES_NONE;
}

/* The index that a choice stands for, or RULES_NONE. */
static int take_choice(struct work *work, enum feeds feeds, size_t observable, int value)
{
    const struct rules *rules = work->rules;
    const char *id = value == RULES_NONE ? "" : rules->observables[observable].values[value].id;
    switch (feeds) {
    case FEEDS_SPECIES:
        return work->growth.species = rules_species(rules, id);
    case FEEDS_GRAIN:
        return work->cook.grain.kind = rules_grain(rules, id);
    case FEEDS_VESSEL:
        return work->cook.vessel.kind = rules_vessel(rules, id);
    case FEEDS_LOAD:
        return work->cook.packing = value;
    case FEEDS_STARTER_KIND:
        return work->growth.starter = starter_said(rules, value);
    default:
        return RULES_NONE;
    }
}

/* ---- cooks computed before ------------------------------------------------------------------- */

/* Each cook has one place, and takes it from whichever had it before. */
struct cook_memo {
    struct cook_place {
        bool kept;
        struct known_cook known;
        struct cook_result result;
    } places[512];
};

struct cook_memo *cook_memo_new(void)
{
    return calloc(1, sizeof(struct cook_memo));
}

void cook_memo_free(struct cook_memo *memo)
{
    free(memo);
}

enum process_error cook_recalled(struct cook_memo *memo, const struct known_cook *known,
                                 const struct cook_setup *setup, struct cook_result *result)
{
    if (memo == NULL)
        return cook_compute(setup, result);
    struct cook_place *place = &memo->places[fnv_hash(FNV_START, known, sizeof *known) %
                                             (sizeof memo->places / sizeof *memo->places)];
    /* Bytes between the members that differ cost a computation and change nothing. */
    /* NOLINTNEXTLINE(bugprone-suspicious-memory-comparison,cert-exp42-c,cert-flp37-c) */
    if (place->kept && memcmp(&place->known, known, sizeof *known) == 0) {
        *result = place->result;
        return PROCESS_OK;
    }
    enum process_error error = cook_compute(setup, result);
    place->kept = error == PROCESS_OK;
    memcpy(&place->known, known, sizeof *known);
    place->result = *result;
    return error;
}

/* ---- moving a cause -------------------------------------------------------------------------- */

static double logit(double p)
{
    static const double sure = 0.998;
    p = fmin(sure, fmax(1.0 - sure, p));
    return log(p / (1.0 - p));
}

double compute_shift(const struct move *move, double trust, double chance)
{
    if (isnan(chance) || !(move->trust > 0.0))
        return 0.0;
    double shift = trust * (logit(chance) - logit(move->usual));
    return fmin(move->most, fmax(-move->most, shift));
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

/* Adds a move for every cause that this kind of figure moves. NAN: it is not known. */
static void move_causes(struct work *work, enum moved_by moved_by, double chance,
                        const enum feeds *feeds, size_t feed_count, const char *say,
                        const char *assumed)
{
    const struct move *move = &work->rules->moves[moved_by];
    double trust = move->trust;
    for (size_t i = 0; i < feed_count; i++)
        if (work->said[feeds[i]] && work->hedged[feeds[i]]) {
            trust *= work->rules->calibration.hedge;
            break;
        }
    for (size_t c = 0; c < work->rules->cause_count; c++) {
        if (work->rules->causes[c].moved_by != moved_by || work->count == work->rules->cause_count)
            continue;
        double shift = 0.0, replaces = 0.0;
        if (!isnan(chance) && move->trust > 0.0) {
            shift = compute_shift(move, trust, chance);
            /* What the rules weigh already of the circumstances a computation used. */
            size_t with = reasoner_set_of(work->reasoner, (int)c),
                   without = reasoner_set_of(work->reasoner, RULES_NONE);
            double sum = 0.0;
            for (size_t i = 0; i < feed_count; i++) {
                int observable = work->rules->feeder[feeds[i]];
                if (observable == RULES_NONE || !work->said[feeds[i]] ||
                    work->rules->observables[observable].kind == KIND_SEVERAL)
                    continue;
                double a = likelihood(work, (size_t)observable, with);
                double b = likelihood(work, (size_t)observable, without);
                if (a > 0.0 && b > 0.0)
                    sum += log(a / b);
            }
            replaces = work->rules->calibration.tau * sum;
        }
        work->moves[work->count++] = (struct computed){c, shift, replaces, say, assumed};
    }
}

/* A finished line into the arena; NULL when there is none. */
static const char *keep(struct work *work, struct text *text)
{
    const char *kept = text->length > 0 ? arena_string(work->arena, text->bytes) : NULL;
    text_release(text);
    return kept;
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
        physics_cook(work->rules, &work->cook, &setup, organisms, &assumed, &refusal);
    if (answer == PHYSICS_OK &&
        cook_recalled(work->memo, &work->cook, &setup, &result) == PROCESS_OK) {
        chance = result.chance_mean;
        double fungal = 0.0;
        text_printf(&say, "%.0f minutes at ", setup.hold);
        quantity_show(&say, setup.steam.gauge_kpa, DIM_GAUGE_KPA);
        text_printf(&say, ", %.0f m: steam %.1f degC, F0 ", setup.steam.altitude_m,
                    result.steam.central);
        put_minutes(&say, result.f0.central);
        text_puts(&say, " min (");
        put_minutes(&say, result.f0.low);
        text_puts(&say, " to ");
        put_minutes(&say, result.f0.high);
        text_puts(&say, "); live spores are left in ");
        put_chance(&say, result.chance_mean);
        text_puts(&say, " of such vessels");
        for (size_t i = 0; i < setup.organism_count; i++)
            if (work->rules->organisms[i].role == ORGANISM_FUNGUS)
                fungal = fmax(fungal, result.kills[i].chance_mean);
        text_puts(&say, ", fungal ones in ");
        put_chance(&say, fungal);
    } else {
        physics_explain(&say, answer, &refusal);
        text_clear(&assumed);
    }
    const char *said = keep(work, &say), *with = keep(work, &assumed);
    if (answer != PHYSICS_NO_RULES && said != NULL)
        move_causes(work, MOVED_SURVIVORS, chance, feeds, sizeof feeds / sizeof *feeds, said, with);
}

static void compute_mix(struct work *work)
{
    static const enum feeds feeds[] = {FEEDS_MOISTURE, FEEDS_DRY_MASS, FEEDS_WATER_MASS,
                                       FEEDS_GRAIN};
    const struct known_grain *grain = &work->cook.grain;
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

/* Chance that one input holds the vessel up: the share of the delay (on a log
 * scale) that goes away when it is put right. Where nothing is late there is
 * nothing to explain; where all is on time the circumstance itself must do, and
 * so it must where a vessel is ahead of it and late all the same: then it is
 * not that of all its days, as a cold that came last week is not. */
static double share_of_delay(const struct work *work, enum pace pace, double as_said,
                             double put_right, double circumstance)
{
    static const double none = 0.02, white = 95.0, hardly_late = 0.05;
    double delay = log(work->day / put_right), explained = log(as_said / put_right);
    if (work->coverage >= white || !(delay > hardly_late))
        return none;
    if (pace == PACE_ON_TIME || pace == PACE_AHEAD)
        return circumstance;
    return isinf(as_said) ? 1.0 : fmin(1.0, fmax(0.0, explained / delay));
}

/* What a dose alone makes likely: one for two at the usual one. */
static double small_dose(double relative)
{
    return 1.0 / (1.0 + relative * relative);
}

/* Coverage and day are known: what holds it up, if anything does. */
static bool compute_pace(struct work *work, const struct forecast *forecast, const char *with)
{
    double celsius = forecast->warmth[0].celsius, best = forecast->cardinals.t_opt;
    double relative = work->growth.dose_relative;
    struct forecast ideal = *forecast;
    struct warmth at_best = {0.0, best};
    struct pace_verdict pace;
    if (isnan(work->day) || isnan(work->coverage) ||
        forecast_judge(forecast, work->day, work->coverage, work->still, &pace) != PROCESS_OK)
        return false;
    double coverage = fmin(95.0, fmax(1.0, work->coverage));
    double as_said = day_of(forecast, coverage);
    const char *line = arena_format(
        work->arena, "%.0f %% white on day %.0f at %.0f degC is %s; %.0f %% was due, %.0f to %.0f",
        work->coverage, work->day, celsius, pace_name(pace.pace), pace.expected.central,
        pace.expected.low, pace.expected.high);
    if (work->said[FEEDS_TEMPERATURE] && celsius < best) {
        ideal.warmth = &at_best;
        double lost = 1.0 - cardinals_factor(&forecast->cardinals, celsius);
        double share = share_of_delay(work, pace.pace, as_said, day_of(&ideal, coverage), lost);
        move_causes(work, MOVED_COLD, share, warmth_feeds, 2, line, with);
    }
    if (relative > 0.0) {
        ideal = *forecast;
        ideal.points.low /= relative;
        ideal.points.central /= relative;
        ideal.points.high /= relative;
        double share = share_of_delay(work, pace.pace, as_said, day_of(&ideal, coverage),
                                      small_dose(relative));
        move_causes(work, MOVED_DOSE, share, dose_feeds, 2, line, with);
    }
    return true;
}

/* Above its best, heat harms long before it slows: rivals and bacteria gain first. */
static void compute_heat(struct work *work, const struct cardinals *cardinals)
{
    double celsius = work->growth.temperature;
    if (!work->said[FEEDS_TEMPERATURE] || !(celsius > cardinals->t_opt))
        return;
    double share = (celsius - cardinals->t_opt) / (cardinals->t_max - cardinals->t_opt);
    move_causes(
        work, MOVED_WARM, fmin(1.0, share), warmth_feeds, 2,
        arena_format(work->arena,
                     "%.0f degC is above the %.0f that suit this mushroom best; at %.0f it stops",
                     celsius, cardinals->t_opt, cardinals->t_max),
        NULL);
}

static void compute_growth(struct work *work)
{
    struct physics_refusal refusal;
    struct forecast forecast;
    struct warmth constant;
    struct text assumed;
    text_init(&assumed);
    enum physics_answer answer =
        physics_growth(work->rules, &work->growth, &forecast, &constant, &assumed, &refusal);
    const char *with = keep(work, &assumed);
    if (answer != PHYSICS_OK)
        return;
    compute_heat(work, &forecast.cardinals);
    if (!compute_pace(work, &forecast, with)) {
        /* Only the circumstances are known: how far from their best they are. */
        double relative = work->growth.dose_relative, celsius = work->growth.temperature;
        if (work->said[FEEDS_TEMPERATURE] && celsius < forecast.cardinals.t_opt) {
            double factor = cardinals_factor(&forecast.cardinals, celsius);
            move_causes(
                work, MOVED_COLD, 1.0 - factor, warmth_feeds, 2,
                arena_format(
                    work->arena,
                    "at %.0f degC this mushroom grows at %.0f %% of its best pace (%.0f degC)",
                    celsius, 100.0 * factor, forecast.cardinals.t_opt),
                NULL);
        }
        if (relative > 0.0)
            move_causes(
                work, MOVED_DOSE, small_dose(relative), dose_feeds, 2,
                arena_format(work->arena, "the dose was %.2g times the usual one", relative), NULL);
    }
}

/* What the facts say, in the terms of the physics. */
static void take_facts(struct work *work, const struct fact *facts, size_t fact_count)
{
    work->day = work->coverage = work->still = work->shaken_days = NAN;
    known_cook_init(&work->cook);
    known_growth_init(&work->growth);
    for (size_t i = 0; i < fact_count; i++) {
        const struct observable *observable = &work->rules->observables[facts[i].observable];
        int value = value_said(&facts[i]);
        double number = facts[i].has_number   ? 0.5 * (facts[i].number.lo + facts[i].number.hi)
                        : value == RULES_NONE ? NAN
                                              : observable->values[value].parameter;
        enum feeds feeds = observable->feeds;
        if (feeds == FEEDS_NONE)
            continue;
        work->said[feeds] =
            take_choice(work, feeds, facts[i].observable, value) != RULES_NONE || !isnan(number);
        work->hedged[feeds] = facts[i].observation.hedged != 0;
        if (!isnan(number) && NUMBERS[feeds] != 0)
            *(double *)(void *)((char *)work + NUMBERS[feeds]) = number;
    }
    if (work->rules->forecast.dose_usual > 0.0)
        work->growth.dose_relative /= work->rules->forecast.dose_usual;
    work->growth.vessel = work->cook.vessel;
    work->growth.grain = work->cook.grain;
    /* A shake that was said helps or costs what the forecast says it does. */
    if (work->shaken_days >= 0.0 && work->day > work->shaken_days) {
        work->shake =
            (struct shake){work->day - work->shaken_days, work->rules->forecast.shake_factor,
                           work->rules->forecast.shake_pause};
        work->growth.shakes = &work->shake;
        work->growth.shake_count = 1;
    }
}

double compute_most(const struct rules *rules, const struct fact *facts, size_t count, double day,
                    double enough)
{
    /* Of what was not said the rare is left out: whoever grows a morel says so. */
    static const double rare = 0.02, unusual = 0.1;
    struct work work = {.rules = rules};
    int index = rules->feeder[FEEDS_STARTER_KIND];
    double most = NAN;
    if (index == RULES_NONE)
        return NAN;
    const struct observable *kinds = &rules->observables[index];
    take_facts(&work, facts, count);
    for (size_t s = 0; s < rules->species_count; s++) {
        if (work.growth.species == RULES_NONE ? rules->species[s].base < rare
                                              : work.growth.species != (int)s)
            continue;
        for (size_t k = 0; k < rules->starter_count; k++) {
            if (work.growth.starter == RULES_NONE
                    ? kinds->values[rules->starters[k].value].base < unusual
                    : work.growth.starter != (int)k)
                continue;
            struct known_growth growth = work.growth;
            struct physics_refusal refusal;
            struct forecast forecast;
            struct warmth constant;
            struct range coverage;
            growth.species = (int)s;
            growth.starter = (int)k;
            growth.temperature =
                rules->species[s].growth.t_opt; /* today's is not that of all days */
            if (physics_growth(rules, &growth, &forecast, &constant, NULL, &refusal) != PHYSICS_OK)
                continue;
            forecast_coverage(&forecast, day, &coverage);
            most = fmax(most, coverage.high); /* of NAN and a number fmax takes the number */
            if (most >= enough)
                return most;
        }
    }
    return most;
}

size_t compute_moves(const struct reasoner *reasoner, const struct evidence *evidence,
                     const struct fact *facts, size_t fact_count, struct cook_memo *memo,
                     struct arena *arena, struct computed *moves)
{
    struct work work = {.reasoner = reasoner,
                        .rules = reasoner_rules(reasoner),
                        .evidence = evidence,
                        .memo = memo,
                        .arena = arena,
                        .moves = moves};
    const struct rules *rules = work.rules;
    take_facts(&work, facts, fact_count);
    if (isnan(work.cook.gauge) && rules->cook.no_pressure.count > 0 &&
        reason_holds(work.reasoner, &rules->cook.no_pressure, work.evidence))
        work.cook.gauge = 0.0;
    compute_cook(&work);
    compute_mix(&work);
    compute_growth(&work);
    return work.count;
}
