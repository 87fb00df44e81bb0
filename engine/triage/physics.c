/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/physics.h"

#include <math.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/memory.h"
#include "base/units.h"

/* What was said, or else what is assumed. */
static double said_or(double said, double assumed)
{
    return isnan(said) ? assumed : said;
}

enum { DEGREES_ROOM = 24 };

/* "20 degC", or in the other scale where the grower reads that. */
static const char *degrees(double celsius, int decimals, char room[DEGREES_ROOM])
{
    char letter;
    const double shown = degrees_shown(celsius, &letter);
    snprintf(room, DEGREES_ROOM, "%.*f deg%c", decimals, shown, letter);
    return room;
}

/* Adds a part to what was assumed; NULL keeps no account. */
__attribute__((format(printf, 2, 3))) static void assume(struct text *assumed, const char *format,
                                                         ...)
{
    if (assumed == NULL)
        return;
    FORMATTED(words, format);
    text_printf(assumed, "%s%s", assumed->length > 0 ? "; " : "", words);
}

/* ---- grain and vessel ------------------------------------------------------------------------ */

struct moisture_band physics_band(const struct rules *rules, int grain)
{
    struct moisture_band band = {INFINITY, -INFINITY, NAN};
    if (grain != RULES_NONE) {
        const struct grain *kind = &rules->grains[grain];
        return (struct moisture_band){kind->target.lo, kind->target.hi, kind->raw_limit};
    }
    for (size_t i = 0; i < rules->grain_count; i++) {
        band.lo = fmin(band.lo, rules->grains[i].target.lo);
        band.hi = fmax(band.hi, rules->grains[i].target.hi);
    }
    if (rules->grain_count == 0)
        band.lo = band.hi = NAN;
    return band;
}

/* Of a grain, or the mean of all by how common they are. */
static double grain_mean(const struct rules *rules, int grain, size_t place)
{
    double sum = 0.0, share = 0.0;
    for (size_t i = 0; i < rules->grain_count; i++) {
        const struct grain *kind = &rules->grains[i];
        double number = *(const double *)(const void *)((const char *)kind + place);
        if (grain == (int)i)
            return number;
        sum += kind->base * number;
        share += kind->base;
    }
    return share > 0.0 ? sum / share : NAN;
}

double physics_own_moisture(const struct rules *rules, const struct known_grain *grain)
{
    return said_or(grain->own_moisture,
                   grain_mean(rules, grain->kind, offsetof(struct grain, moisture)));
}

double physics_bulk(const struct rules *rules, int grain)
{
    return grain_mean(rules, grain, offsetof(struct grain, bulk));
}

double physics_moisture(const struct rules *rules, const struct known_grain *grain,
                        struct text *assumed)
{
    double moisture;
    if (!isnan(grain->moisture))
        return grain->moisture;
    double own = physics_own_moisture(rules, grain);
    if (isnan(grain->dry) || isnan(grain->water) ||
        moisture_mixed(grain->dry, own, grain->water, &moisture) != PROCESS_OK)
        return NAN;
    if (isnan(grain->own_moisture))
        assume(assumed, "the grain as bought at %.3g %%", own);
    return moisture;
}

int physics_nearest_vessel(const struct rules *rules, enum vessel_shape shape, double grams,
                           double litres)
{
    int nearest = RULES_NONE;
    double least = INFINITY;
    for (size_t i = 0; i < rules->vessel_count; i++) {
        const struct vessel_kind *kind = &rules->vessels[i];
        double apart =
            fabs(isnan(litres) ? log(1000.0 * kind->mass_kg / grams) : log(kind->litres / litres));
        if ((kind->shape == shape || !isnan(litres)) && apart < least) { /* NAN, too, is no less */
            least = apart;
            nearest = (int)i;
        }
    }
    return nearest;
}

/* ---- a vessel by its size ----------------------------------------------------------------------- */

static bool measured(const char *words, enum dimension dimension, double *value)
{
    struct quantity quantity;
    size_t used = 0, length = strlen(words);

    if (quantity_read(words, length, dimension, &quantity, &used) != QUANTITY_OK ||
        used != length || !quantity.unit_given || !(quantity.lo > 0.0))
        return false;
    *value = 0.5 * (quantity.lo + quantity.hi);
    return true;
}

/* "20x12x8cm", of a jar "9x12cm": so many numbers between x, then a unit of length. */
static bool read_sides(const char *words, size_t count, double metres[3])
{
    static const char names[] = "cm|mm|m|in|inch|inches";
    static const double units[] = {0.01, 0.001, 1.0, 0.0254, 0.0254, 0.0254}; /* metres */
    char *end = (char *)words;
    for (size_t i = 0; i < count; i++, words = end + 1) {
        metres[i] = strtod(words, &end);
        if (end == words || !(metres[i] > 0.0 && metres[i] < 1e4) || (i + 1 < count && *end != 'x'))
            return false;
    }
    end += strspn(end, " ");
    const int unit = csv_named(names, end, strlen(end));
    for (size_t i = 0; unit >= 0 && i < count; i++)
        metres[i] *= units[unit];
    return unit >= 0;
}

/* The size in words that name a bag or a jar, before it ("bag:2.2kg") or after it ("2.5 kg bag"), in
 * `room`; whether they do. */
static bool size_of(const char *words, const char *name, char *room)
{
    size_t length = strlen(words), lead = strlen(name);
    if (strncmp(words, name, lead) == 0 && strchr(": ", words[lead]) != NULL) {
        words += lead + strspn(words + lead, ": ");
        length = strlen(words);
    } else {
        length -= length > lead && words[length - 1] == 's';
        if (length <= lead || strncmp(words + length - lead, name, lead) != 0)
            return false;
        length -= lead;
    }
    while (length > 0 && strchr(" -", words[length - 1]) != NULL)
        length--;
    memcpy(room, words, length);
    room[length] = '\0';
    return true;
}

bool physics_read_vessel(const struct rules *rules, const char *words, struct known_vessel *vessel)
{
    char size[64];
    double sides[3] = {NAN, NAN, NAN};
    if (strlen(words) >= sizeof size)
        return false;
    bool bag = size_of(words, "bag", size), jar = !bag && size_of(words, "jar", size);
    if (!bag && !jar)
        memcpy(size, words, strlen(words) + 1); /* "500 ml": volumes are those of jars */
    vessel->own_shape = bag ? SHAPE_BRICK : SHAPE_CYLINDER;
    if ((bag || jar) && read_sides(size, bag ? 3 : 2, sides)) {
        if (jar)
            sides[0] *= 0.5; /* the diameter is what one measures */
        memcpy(vessel->own, sides, sizeof sides);
        return true;
    }
    if ((bag || jar) && measured(size, DIM_GRAMS, &vessel->grams))
        vessel->kind = physics_nearest_vessel(rules, vessel->own_shape, vessel->grams, NAN);
    else if (!bag && measured(size, DIM_LITRES, &vessel->litres))
        vessel->kind = physics_nearest_vessel(rules, SHAPE_CYLINDER, NAN, vessel->litres);
    return vessel->kind != RULES_NONE;
}

double physics_grams(const struct rules *rules, const struct known_vessel *vessel)
{
    if (!isnan(vessel->grams) || vessel->kind == RULES_NONE)
        return vessel->grams;
    return 1000.0 * rules->vessels[vessel->kind].mass_kg;
}

/* Body, conductance and grams of what was said about the vessel. */
static bool vessel_of(const struct rules *rules, const struct known_vessel *said, double bulk,
                      struct cook_setup *setup, double *grams, struct text *assumed)
{
    static const double pi = 3.14159265358979323846;
    struct known_vessel vessel = *said;
    const double *size = vessel.own;
    bool own = !isnan(size[0]), round = vessel.own_shape == SHAPE_CYLINDER;
    if (vessel.kind == RULES_NONE && own) {
        double litres = round ? 1000.0 * pi * size[0] * size[0] * size[1]
                              : 1000.0 * size[0] * size[1] * size[2];
        if (isnan(vessel.grams))
            vessel.grams = 1000.0 * bulk * litres;
        vessel.kind = physics_nearest_vessel(rules, vessel.own_shape, vessel.grams, NAN);
    } else if (vessel.kind == RULES_NONE) {
        /* The commonest kind, when nothing was said. */
        for (size_t i = 0; i < rules->vessel_count; i++)
            if (vessel.kind == RULES_NONE ||
                rules->vessels[i].base > rules->vessels[vessel.kind].base)
                vessel.kind = (int)i;
        if (vessel.kind != RULES_NONE)
            assume(assumed, "%s", rules->vessels[vessel.kind].name);
    }
    if (vessel.kind == RULES_NONE)
        return false;
    const struct vessel_kind *kind = &rules->vessels[vessel.kind];
    /* Filled with more or less than usual: a jar higher, a bag larger every way. */
    double ratio = isnan(vessel.grams) ? 1.0 : vessel.grams / (1000.0 * kind->mass_kg);
    double scale = cbrt(ratio);
    if (own)
        setup->body =
            round ? heat_cylinder(size[0], size[1]) : heat_brick(size[0], size[1], size[2]);
    else if (kind->shape == SHAPE_CYLINDER)
        setup->body = heat_cylinder(kind->radius, kind->height * ratio);
    else
        setup->body =
            heat_brick(kind->sides[0] * scale, kind->sides[1] * scale, kind->sides[2] * scale);
    setup->conductance = kind->wall_h;
    *grams = physics_grams(rules, &vessel);
    return true;
}

void physics_explain(struct text *out, enum physics_answer answer,
                     const struct physics_refusal *refusal)
{
    static const char *const missing[] = {
        [PHYSICS_NO_RULES] = "the rules hold no assumptions to compute this from",
        [PHYSICS_NO_COOK] = "the cook is unknown: neither pressure nor minutes were said",
        [PHYSICS_NO_MINUTES] = "the cook is unknown: the minutes at pressure were not said",
        [PHYSICS_NO_SPECIES] = "the mushroom is unknown, or how fast it grows",
    };
    char message[256];
    if (answer == PHYSICS_REFUSED)
        limit_message(message, sizeof message, refusal->fault, refusal->value);
    if (answer != PHYSICS_OK)
        text_puts(out, answer == PHYSICS_REFUSED ? message : missing[answer]);
}

/* ---- the cook -------------------------------------------------------------------------------- */

/* Grams of grain as bought in one vessel that holds `grams` hydrated. */
static double dry_grams(const struct rules *rules, const struct known_grain *grain, double grams)
{
    double grain_moisture = physics_own_moisture(rules, grain), dry, water;
    double target = physics_moisture(rules, grain, NULL);
    if (!isnan(grain->dry))
        return grain->dry;
    if (isnan(target)) {
        struct moisture_band band = physics_band(rules, grain->kind);
        target = 0.5 * (band.lo + band.hi);
    }
    return moisture_recipe(grams, grain_moisture, target, &dry, &water) == PROCESS_OK ? dry : grams;
}

enum physics_answer physics_cook(const struct rules *rules, const struct known_cook *known,
                                 struct cook_setup *setup, struct text *assumed,
                                 struct physics_refusal *refusal)
{
    const struct cook_rules *cook = &rules->cook;
    double grams = NAN, bulk = physics_bulk(rules, known->grain.kind);
    char room[DEGREES_ROOM];
    *refusal = (struct physics_refusal){PROCESS_OK, NAN};
    if (isnan(known->minutes))
        return isnan(known->gauge) ? PHYSICS_NO_COOK : PHYSICS_NO_MINUTES;
    /* Zero where the rules have no such block. */
    if (!(cook->diffusivity.central > 0.0) || rules->organism_count == 0)
        return PHYSICS_NO_RULES;
    *setup = (struct cook_setup){
        .hold = known->minutes,
        .diffusivity = cook->diffusivity,
        .adequate_f0 = cook->judged_f0,
        .adequate_diffusivity = cook->judged_diffusivity,
        .heat_capacity = cook->heat_capacity,
        .vessels = said_or(known->vessels, 1.0),
        .target = said_or(known->target, cook->target),
    };
    if (!vessel_of(rules, &known->vessel, bulk, setup, &grams, assumed))
        return PHYSICS_NO_RULES;
    if (isnan(known->gauge))
        assume(assumed, "15 psi at the gauge");
    for (size_t i = 0; i < rules->cook.packing_count; i++)
        if (known->packing >= 0 && rules->cook.packings[i].value == (size_t)known->packing)
            setup->body = heat_thicken(&setup->body, rules->cook.packings[i].thickness);
    setup->steam = (struct steam_conditions){
        .gauge_kpa = said_or(known->gauge, 15.0 * STEAM_KPA_PER_PSI),
        .altitude_m = said_or(known->altitude, 0.0),
        .barometer_kpa = known->barometer,
        .rated_kpa = known->rated,
    };
    double air_doubt = cook->air_doubt >= 1.0 ? cook->air_doubt : 1.0, up = known->come_up;
    setup->air = isnan(known->air) ? cook->air
                                   : (struct range){known->air / air_doubt, known->air,
                                                    fmin(0.9, known->air * air_doubt)};
    setup->come_up = isnan(up) ? cook->come_up
                               : (struct range){up * (1.0 - cook->come_up_doubt), up,
                                                up * (1.0 + cook->come_up_doubt)};
    setup->cool = (struct range){0.0, 0.0, said_or(known->cool, cook->cool)};
    setup->start_celsius = said_or(known->start, cook->start);
    setup->organisms = rules->organisms;
    setup->organism_count =
        rules->organism_count < COOK_MAX_ORGANISMS ? rules->organism_count : COOK_MAX_ORGANISMS;
    setup->dry_grams = dry_grams(rules, &known->grain, grams);
    if (isnan(known->altitude) && isnan(known->barometer))
        assume(assumed, "sea level");
    if (isnan(known->come_up))
        assume(assumed, "come-up of %.0f to %.0f min", cook->come_up.low, cook->come_up.high);
    if (isnan(known->air))
        assume(assumed, "up to %.0f %% air left in", 100.0 * cook->air.high);
    if (isnan(known->start))
        assume(assumed, "grain at %s when loaded", degrees(cook->start, 0, room));
    assume(assumed, "heat through the grain at %.2g to %.2g m2/s", cook->diffusivity.low,
           cook->diffusivity.high);
    refusal->fault = cook_check(setup, &refusal->value);
    return refusal->fault == PROCESS_OK ? PHYSICS_OK : PHYSICS_REFUSED;
}

/* ---- the spawn run --------------------------------------------------------------------------- */

/* How many points begin in the vessel. */
static bool starter_points(const struct rules *rules, const struct known_growth *known,
                           double litres, struct range *points, struct range *lag,
                           struct text *assumed)
{
    int index = known->starter;
    if (index == RULES_NONE && rules->starter_count > 0) {
        index = 0; /* the first of the file is the commonest */
        assume(assumed, "%s", rules->starters[0].name);
    }
    if (index == RULES_NONE)
        return false;
    const struct starter_kind *starter = &rules->starters[index];
    static const char *const units[] = {"ml", "g", "pieces"};
    double dose = known->dose;
    if (isnan(dose)) {
        dose = starter->usual * litres * said_or(known->dose_relative, 1.0);
        assume(assumed, "about %.2g %s of it in a vessel", dose, units[starter->unit]);
    }
    double each = dose / (1000.0 * litres);
    *points = (struct range){starter->points.low * each, starter->points.central * each,
                             starter->points.high * each};
    lag->low += starter->lag.low;
    lag->central += starter->lag.central;
    lag->high += starter->lag.high;
    return true;
}

enum physics_answer physics_growth(const struct rules *rules, const struct known_growth *known,
                                   struct forecast *forecast, struct warmth *constant,
                                   struct text *assumed, struct physics_refusal *refusal)
{
    const struct forecast_rules *given = &rules->forecast;
    struct cook_setup body;
    double grams = NAN, bulk = physics_bulk(rules, known->grain.kind);
    *refusal = (struct physics_refusal){PROCESS_OK, NAN};
    if (known->species == RULES_NONE)
        return PHYSICS_NO_SPECIES;
    const struct growth *growth = &rules->species[known->species].growth;
    if (!(growth->rate.lo > 0.0) || !(growth->rate.hi > 0.0) || isnan(growth->t_opt) ||
        isnan(growth->lag.lo) || isnan(growth->lag.hi))
        return PHYSICS_NO_SPECIES;
    if (!(given->kernels > 0.0) || !vessel_of(rules, &known->vessel, bulk, &body, &grams, assumed))
        return PHYSICS_NO_RULES;
    double litres = grams / 1000.0 / bulk;
    *forecast = (struct forecast){
        .cardinals = {growth->t_min, growth->t_opt, growth->t_max},
        .rate = {growth->rate.lo, sqrt(growth->rate.lo * growth->rate.hi), growth->rate.hi},
        .lag = {growth->lag.lo, 0.5 * (growth->lag.lo + growth->lag.hi), growth->lag.hi},
        .temperature_doubt = given->temperature_doubt,
        .volume = 1000.0 * litres,
        .kernels = given->kernels,
        .warmth = known->warmth,
        .warmth_count = known->warmth_count,
        .shakes = known->shakes,
        .shake_count = known->shake_count,
    };
    if (!starter_points(rules, known, litres, &forecast->points, &forecast->lag, assumed))
        return PHYSICS_NO_RULES;
    if (known->warmth == NULL) {
        *constant = (struct warmth){0.0, said_or(known->temperature, given->temperature)};
        forecast->warmth = constant;
        forecast->warmth_count = 1;
        char room[DEGREES_ROOM];
        if (isnan(known->temperature))
            assume(assumed, "%s", degrees(given->temperature, 0, room));
    }
    refusal->fault = forecast_check(forecast);
    refusal->value = refusal->fault == PROCESS_POINTS   ? forecast->points.central
                     : refusal->fault == PROCESS_VOLUME ? forecast->volume
                                                        : forecast->warmth[0].celsius;
    return refusal->fault == PROCESS_OK ? PHYSICS_OK : PHYSICS_REFUSED;
}

/* ==== how what is computed moves causes ======================================================= */

struct work {
    const struct reasoner *reasoner;
    const struct rules *rules;
    const struct evidence *evidence;
    struct cook_memo *memo;
    struct arena *arena;
    /* What the facts say, in the terms of the physics; NAN and RULES_NONE where they do not. */
    uint64_t said, hedged; /* a bit for each enum feeds: */
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

/* Likewise the value that was chosen: of a list of the rules it is the place there. */
static const size_t CHOICES[FEEDS_COUNT] = {
    [FEEDS_SPECIES] = PLACE(growth.species),      [FEEDS_GRAIN] = PLACE(cook.grain.kind),
    [FEEDS_VESSEL] = PLACE(cook.vessel.kind),     [FEEDS_LOAD] = PLACE(cook.packing),
    [FEEDS_STARTER_KIND] = PLACE(growth.starter),
};

/* ---- cooks computed before ------------------------------------------------------------------- */

/* What a cook comes to, and how that is said. */
struct cooked {
    enum physics_answer answer;
    struct cook_result result;
    const char *say, *assumed; /* NULL: nothing */
};

enum { COOKS_MOST = 512 }; /* forgotten beyond */

struct cook_memo {
    pthread_mutex_t lock;
    struct arena *arena; /* of the cooks */
    struct hashed index;
    struct cooked *list;
    size_t count;
};

struct cook_memo *cook_memo_new(void)
{
    struct cook_memo *memo = calloc(1, sizeof *memo);
    memo->arena = arena_new();
    pthread_mutex_init(&memo->lock, NULL);
    return memo;
}

void cook_memo_free(struct cook_memo *memo)
{
    if (memo == NULL)
        return;
    pthread_mutex_destroy(&memo->lock);
    arena_free(memo->arena);
    free(memo);
}

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

static void put_cook(struct text *say, const struct rules *rules, const struct cook_setup *setup,
                     const struct cook_result *result)
{
    double fungal = 0.0;
    char room[DEGREES_ROOM];
    text_printf(say, "%.0f minutes at ", setup->hold);
    quantity_show(say, setup->steam.gauge_kpa, DIM_GAUGE_KPA);
    text_printf(say, ", %.0f m: steam %s, F0 ", setup->steam.altitude_m,
                degrees(result->steam.central, 1, room));
    put_minutes(say, result->f0.central);
    text_puts(say, " min (");
    put_minutes(say, result->f0.low);
    text_puts(say, " to ");
    put_minutes(say, result->f0.high);
    text_puts(say, "); live spores are left in ");
    put_chance(say, result->chance_mean);
    text_puts(say, " of such vessels");
    for (size_t i = 0; i < setup->organism_count; i++)
        if (rules->organisms[i].role == ORGANISM_FUNGUS)
            fungal = fmax(fungal, result->kills[i].chance_mean);
    text_puts(say, ", fungal ones in ");
    put_chance(say, fungal);
}

/* A finished line into an arena; NULL when there is none. */
static const char *keep(struct arena *arena, const char *line)
{
    return line != NULL && *line != '\0' ? arena_string(arena, line) : NULL;
}

static struct cooked cooked_new(const struct rules *rules, const struct known_cook *known,
                                struct arena *arena)
{
    struct cooked cooked = {.result = {.chance_mean = NAN}};
    struct physics_refusal refusal;
    struct cook_setup setup;
    TEXT(say);
    TEXT(assumed);
    cooked.answer = physics_cook(rules, known, &setup, &assumed, &refusal);
    if (cooked.answer == PHYSICS_OK) {
        cook_compute(&setup, &cooked.result);
        put_cook(&say, rules, &setup, &cooked.result);
        cooked.assumed = keep(arena, assumed.bytes);
    } else {
        physics_explain(&say, cooked.answer, &refusal);
    }
    cooked.say = keep(arena, say.bytes);
    return cooked;
}

enum physics_answer physics_cooked(struct cook_memo *memo, const struct rules *rules,
                                   const struct known_cook *known, struct cook_result *result,
                                   struct arena *arena, const char **say, const char **assumed)
{
    /* Bytes between the members that differ cost a computation and change nothing. */
    const uint64_t hash = hash_of(known, sizeof *known);
    pthread_mutex_lock(&memo->lock);
    uint32_t number = hashed_find(&memo->index, hash);
    if (number == NO_INDEX) { /* others need not wait while it is computed */
        struct arena *own SCOPED_ARENA = arena_new();
        pthread_mutex_unlock(&memo->lock);
        struct cooked made = cooked_new(rules, known, own);
        pthread_mutex_lock(&memo->lock);
        if (memo->count == COOKS_MOST) {
            arena_reset(memo->arena);
            memo->index = (struct hashed){0};
            memo->count = 0;
        }
        number = hashed_add(&memo->index, memo->arena, hash);
        made.say = keep(memo->arena, made.say);
        made.assumed = keep(memo->arena, made.assumed);
        if (number == memo->count)
            *arena_push(memo->arena, memo->list, memo->count) = made;
    }
    const struct cooked *cooked = &memo->list[number];
    const enum physics_answer answer = cooked->answer;
    *result = cooked->result;
    if (arena != NULL) {
        *say = keep(arena, cooked->say);
        *assumed = keep(arena, cooked->assumed);
    }
    pthread_mutex_unlock(&memo->lock);
    return answer;
}

/* ---- moving a cause -------------------------------------------------------------------------- */

static double logit(double p)
{
    static const double sure = 0.998;
    p = fmin(sure, fmax(1.0 - sure, p));
    return log(p / (1.0 - p));
}

double physics_shift(const struct move *move, double trust, double chance)
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

#define FED(by) (UINT64_C(1) << FEEDS_##by)
_Static_assert(FEEDS_COUNT <= 64, "a bit for each");
/* The circumstances that each figure is computed from. */
static const uint64_t MOVERS[MOVED_COUNT] = {
    [MOVED_SURVIVORS] = FED(COOK_GAUGE) | FED(COOK_MINUTES) | FED(ALTITUDE) | FED(AIR) | FED(LOAD) |
                        FED(VESSEL) | FED(VESSEL_MASS) | FED(GRAIN),
    [MOVED_WET] = FED(MOISTURE) | FED(DRY_MASS) | FED(WATER_MASS) | FED(GRAIN),
    [MOVED_DRY] = FED(MOISTURE) | FED(DRY_MASS) | FED(WATER_MASS) | FED(GRAIN),
    [MOVED_COLD] = FED(TEMPERATURE) | FED(SPECIES),
    [MOVED_WARM] = FED(TEMPERATURE) | FED(SPECIES),
    [MOVED_DOSE] = FED(DOSE) | FED(STARTER_KIND),
};

/* Adds a move for every cause that this kind of figure moves. NAN: it is not known. */
static void move_causes(struct work *work, enum moved_by moved_by, double chance, const char *say,
                        const char *assumed)
{
    const struct move *move = &work->rules->moves[moved_by];
    const uint64_t movers = MOVERS[moved_by] & work->said;
    const bool doubted = (movers & work->hedged) != 0;
    const double trust = move->trust * (doubted ? work->rules->calibration.hedge : 1.0);
    for (size_t c = 0; c < work->rules->cause_count; c++) {
        if (work->rules->causes[c].moved_by != moved_by || work->count == work->rules->cause_count)
            continue;
        double shift = 0.0, replaces = 0.0;
        if (!isnan(chance) && move->trust > 0.0) {
            shift = physics_shift(move, trust, chance);
            /* What the rules weigh already of the circumstances a computation used. */
            const size_t with = SET_OF((int)c), without = SET_OF(RULES_NONE);
            double sum = 0.0;
            for (uint64_t left = movers; left != 0; left &= left - 1) {
                int observable = work->rules->feeder[__builtin_ctzll(left)];
                if (observable == RULES_NONE ||
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

/* ---- the cook -------------------------------------------------------------------------------- */

static void compute_cook(struct work *work)
{
    struct cook_result result;
    const char *say = NULL, *assumed = NULL;
    if (physics_cooked(work->memo, work->rules, &work->cook, &result, work->arena, &say,
                       &assumed) != PHYSICS_NO_RULES &&
        say != NULL)
        move_causes(work, MOVED_SURVIVORS, result.chance_mean, say, assumed);
}

static void compute_mix(struct work *work)
{
    const struct known_grain *grain = &work->cook.grain;
    struct moisture_band band = physics_band(work->rules, grain->kind);
    double doubt = fmax(0.1, work->rules->forecast.moisture_doubt);
    TEXT(say);
    TEXT(assumed);
    double moisture = physics_moisture(work->rules, grain, &assumed);
    if (isnan(moisture) || isnan(band.lo))
        return;
    text_printf(&say, "moisture %.1f %%; the band to aim for is %.3g to %.3g %%", moisture, band.lo,
                band.hi);
    if (!isnan(band.raw_limit))
        text_printf(&say, ", a raw kernel holds %.3g %%", band.raw_limit);
    const char *said = keep(work->arena, say.bytes), *with = keep(work->arena, assumed.bytes);
    move_causes(work, MOVED_WET, moisture_chance_above(moisture, doubt, band.hi), said, with);
    move_causes(work, MOVED_DRY, 1.0 - moisture_chance_above(moisture, doubt, band.lo), said, with);
}

/* ---- growth ---------------------------------------------------------------------------------- */

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

/* What cold or a small dose has to do with it. Where coverage and day are known, how much of the delay each
 * explains; else how far from its best it is by itself. */
static void compute_pace(struct work *work, const struct forecast *forecast, const char *with)
{
    const double celsius = forecast->warmth[0].celsius, best = forecast->cardinals.t_opt;
    const double relative = work->growth.dose_relative;
    const double coverage = fmin(95.0, fmax(1.0, work->coverage));
    const struct warmth at_best = {0.0, best};
    struct pace_verdict pace;
    char room[DEGREES_ROOM], room_best[DEGREES_ROOM];
    const char *line = NULL;
    double as_said = NAN;
    if (!isnan(work->day) && !isnan(work->coverage) &&
        forecast_judge(forecast, work->day, work->coverage, work->still, &pace) == PROCESS_OK) {
        as_said = day_of(forecast, coverage);
        line = arena_format(
            work->arena, "%.0f %% white on day %.0f at %s is %s; %.0f %% was due, %.0f to %.0f",
            work->coverage, work->day, degrees(celsius, 0, room), pace_names[pace.pace],
            pace.expected.central, pace.expected.low, pace.expected.high);
    }
    const double factor = cardinals_factor(&forecast->cardinals, celsius);
    struct forecast warmer = *forecast, fuller = *forecast;
    warmer.warmth = &at_best;
    fuller.points.low /= relative;
    fuller.points.central /= relative;
    fuller.points.high /= relative;
    const struct {
        bool holds;
        enum moved_by moved_by;
        const struct forecast *put_right;
        double alone; /* what it makes likely by itself; of a dose, one for two at the usual one */
        const char *say;
    } inputs[] = {
        {(work->said & FED(TEMPERATURE)) && celsius < best, MOVED_COLD, &warmer, 1.0 - factor,
         arena_format(work->arena, "at %s this mushroom grows at %.0f %% of its best pace (%s)",
                      degrees(celsius, 0, room), 100.0 * factor, degrees(best, 0, room_best))},
        {relative > 0.0, MOVED_DOSE, &fuller, 1.0 / (1.0 + relative * relative),
         arena_format(work->arena, "the dose was %.2g times the usual one", relative)},
    };
    for (size_t i = 0; i < sizeof inputs / sizeof *inputs; i++) {
        double share = inputs[i].alone;
        if (!inputs[i].holds)
            continue;
        if (line != NULL)
            share = share_of_delay(work, pace.pace, as_said, day_of(inputs[i].put_right, coverage),
                                   share);
        move_causes(work, inputs[i].moved_by, share, line != NULL ? line : inputs[i].say,
                    line != NULL ? with : NULL);
    }
}

static void compute_growth(struct work *work)
{
    struct physics_refusal refusal;
    struct forecast forecast;
    struct warmth constant;
    TEXT(assumed);
    if (physics_growth(work->rules, &work->growth, &forecast, &constant, &assumed, &refusal) !=
        PHYSICS_OK)
        return;
    const char *with = keep(work->arena, assumed.bytes);
    const struct cardinals *cardinals = &forecast.cardinals;
    const double celsius = work->growth.temperature;
    /* Above its best, heat harms long before it slows: rivals and bacteria gain first. */
    if ((work->said & FED(TEMPERATURE)) && celsius > cardinals->t_opt) {
        char room[DEGREES_ROOM], best[DEGREES_ROOM], most[DEGREES_ROOM];
        double share = (celsius - cardinals->t_opt) / (cardinals->t_max - cardinals->t_opt);
        move_causes(work, MOVED_WARM, fmin(1.0, share),
                    arena_format(work->arena,
                                 "%s is above the %s that suit this mushroom best; at %s it stops",
                                 degrees(celsius, 0, room), degrees(cardinals->t_opt, 0, best),
                                 degrees(cardinals->t_max, 0, most)),
                    NULL);
    }
    compute_pace(work, &forecast, with);
}

/* What the facts say, in the terms of the physics. */
static void take_facts(struct work *work, const struct fact *facts, size_t fact_count)
{
    static const struct known_cook no_cook = KNOWN_COOK; /* with zeros between its members */
    work->day = work->coverage = work->still = work->shaken_days = NAN;
    memcpy(&work->cook, &no_cook, sizeof no_cook);
    work->growth = (struct known_growth)KNOWN_GROWTH;
    for (size_t i = 0; i < fact_count; i++) {
        const struct observable *observable = &work->rules->observables[facts[i].observable];
        const uint32_t seen = facts[i].observation.seen;
        /* The one value said to hold. */
        const int value = single_value(seen);
        double number = facts[i].has_number   ? 0.5 * (facts[i].number.lo + facts[i].number.hi)
                        : value == RULES_NONE ? NAN
                                              : observable->values[value].parameter;
        enum feeds feeds = observable->feeds;
        if (feeds == FEEDS_NONE)
            continue;
        int choice = feeds == FEEDS_STARTER_KIND ? RULES_NONE : value;
        for (size_t k = 0; feeds == FEEDS_STARTER_KIND && k < work->rules->starter_count; k++)
            choice = (int)work->rules->starters[k].value == value ? (int)k : choice;
        const bool known = (CHOICES[feeds] != 0 && choice != RULES_NONE) || !isnan(number);
        work->said |= (uint64_t)known << feeds;
        work->hedged |= (uint64_t)(facts[i].observation.hedged != 0) << feeds;
        if (CHOICES[feeds] != 0)
            *(int *)(void *)((char *)work + CHOICES[feeds]) = choice;
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

/* Coverage in per cent by `day` of the fastest published run, which was perhaps shaken and of more starter: straight
 * in Avrami's scale from the shortest lag. NAN where none is known. */
static double published_by(const struct species *species, double day)
{
    const double lag = species->growth.lag.lo, full = species->growth.full.lo;
    const double z = full > lag ? fmax(0.0, day - lag) / (full - lag) : NAN;
    return 100.0 - 100.0 * pow(1.0 - FORECAST_FULL / 100.0, z * z * z);
}

/* The most that a culture could cover by `day`, per cent: the fast end of the forecast or the fastest published, over
 * every species and starter that the facts leave open; or any of them that is at least `enough`. NAN where nothing can
 * be forecast. */
static double most_by(const struct rules *rules, const struct fact *facts, size_t count, double day,
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
        most = fmax(most, published_by(&rules->species[s], day));
        if (most >= enough)
            return most;
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

/* What feeds it, or NULL where nothing was said of that. */
static const struct fact *fact_of(const struct rules *rules, const struct fact *facts, size_t count,
                                  enum feeds feeds)
{
    for (size_t i = 0; i < count; i++)
        if ((int)facts[i].observable == rules->feeder[feeds])
            return &facts[i];
    return NULL;
}

/* Between what bounds a fact lies: its number's, or those of the bins it may lie in. */
static bool bounds_of(const struct rules *rules, const struct fact *fact, double *lo, double *hi)
{
    if (fact == NULL || fact->observation.seen == 0)
        return false;
    const struct observable *observable = &rules->observables[fact->observable];
    *lo = NAN, *hi = NAN;
    for (size_t v = 0; v < observable->value_count; v++)
        if ((fact->observation.seen >> v & 1) != 0) {
            *lo = fmin(*lo, observable->values[v].from);
            *hi = fmax(*hi, fmin(observable->values[v].below, observable->max));
        }
    if (fact->has_number) {
        *lo = fact->number.lo;
        *hi = fact->number.hi;
    }
    return true;
}

bool physics_too_fast(const struct rules *rules, const struct fact *facts, size_t count,
                      double *coverage, double *day)
{
    static const double least = 40.0, by_eye = 15.0, stretched = 1.15, day_more = 0.5;
    const struct fact *still = fact_of(rules, facts, count, FEEDS_STALLED_DAYS);
    double unused;
    if (!bounds_of(rules, fact_of(rules, facts, count, FEEDS_COVERAGE), coverage, &unused) ||
        !bounds_of(rules, fact_of(rules, facts, count, FEEDS_DAY), &unused, day) ||
        *coverage < least)
        return false;
    if (still != NULL && still->has_number &&
        0.5 * (still->number.lo + still->number.hi) >= *day) /* then the day is another's */
        return false;
    return *coverage - by_eye >
           most_by(rules, facts, count, stretched * *day + day_more, *coverage - by_eye);
}

size_t physics_moves(const struct reasoner *reasoner, const struct evidence *evidence,
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
