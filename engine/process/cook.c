/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/cook.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stddef.h>
#include <stdlib.h>

/* The three points of a range. For every input BAD is the end that lets more organisms live. */
enum cook_end { COOK_BAD, COOK_CENTRAL, COOK_GOOD, COOK_ENDS };

/* One exact course of the temperature. */
struct cook_course {
    double diffusivity, come_up, air, hold, cool;
};
static struct cook_course cook_course_at(const struct cook_setup *setup, enum cook_end diffusivity,
                                         enum cook_end come_up, enum cook_end air,
                                         enum cook_end cool);

/*
 * What has been worked out of how the vessel takes heat. Most courses of a cook
 * differ in anything but the diffusivity, and finding the roots of a series takes
 * longer than following it.
 */
struct cook_heat {
    double diffusivity[COOK_NODES + 1];
    struct heat_model model[COOK_NODES + 1];
    size_t count;
};

/* Equivalent minutes of one course: F0, and for each organism at one of its z. */
struct cook_doses {
    double f0;
    double organisms[COOK_MAX_ORGANISMS];
    double core; /* degC at its end */
};
enum process_error cook_doses(const struct cook_setup *setup, struct cook_heat *heat,
                              const struct cook_course *course, struct cook_doses *doses);
/* The same course once for each end of the organisms' z. */
enum process_error cook_doses_by_z(const struct cook_setup *setup, struct cook_heat *heat,
                                   const struct cook_course *course,
                                   struct cook_doses doses[COOK_ENDS]);

/* Minutes at pressure on this course until the survivors that count are few enough. */
enum process_error cook_minutes_needed(const struct cook_setup *setup, struct cook_heat *heat,
                                       const struct cook_course *course,
                                       const double resistance[COOK_MAX_ORGANISMS],
                                       enum cook_end load, double *minutes);

/*
 * The model in one place: survivors of organism k are
 *   load x 10^-(dose / D x factor),
 * `factor` gathering what moves the kill in proportion (come-up, air, resistance).
 */
static double cook_log_reduction(const struct cook_organism *organism, double dose, double factor);
static double cook_load(const struct cook_setup *setup, const struct cook_organism *organism,
                        enum cook_end load);

/* Decades to spare over the target for the organism with the least. */
static double cook_margin(const struct cook_setup *setup, const struct cook_doses *doses,
                          const double factor[COOK_MAX_ORGANISMS], enum cook_end load);

/* Factor on each log reduction at the bad and good end of the resistance (D and z together), from
 * the doses of one course at the low, central and high z. */
static void cook_resistance(const struct cook_setup *setup, const struct cook_doses at_z[COOK_ENDS],
                            double factor[COOK_ENDS][COOK_MAX_ORGANISMS]);

/* Weights of the three points: Keefer & Bodily 1983. */
static double cook_weight(enum cook_end end);

/* Fills kills' ranges and the overall chance at one end. */
static void cook_fill_end(const struct cook_setup *setup, const struct cook_doses *doses,
                          const double factor[COOK_MAX_ORGANISMS], enum cook_end end,
                          struct cook_result *result);

static void cook_add_lean(struct cook_result *result, size_t at, enum cook_input input, double bad,
                          double good);

/* ==== cook kill =============================================================================== */

/* From equivalent minutes to survivors: the small rules all of a cook's answers share. */

static double cook_weight(enum cook_end end)
{
    return end == COOK_CENTRAL ? 0.63 : 0.185;
}

static double cook_log_reduction(const struct cook_organism *organism, double dose, double factor)
{
    return dose * factor / organism->d_minutes.central;
}

static double cook_load(const struct cook_setup *setup, const struct cook_organism *organism,
                        enum cook_end load)
{
    double per_gram = load == COOK_BAD    ? organism->per_gram.high
                      : load == COOK_GOOD ? organism->per_gram.low
                                          : organism->per_gram.central;
    return setup->dry_grams * per_gram;
}

static double cook_margin(const struct cook_setup *setup, const struct cook_doses *doses,
                          const double factor[COOK_MAX_ORGANISMS], enum cook_end load)
{
    double least = INFINITY;

    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        double wanted;
        if (!organism->counts || survivors_target(cook_load(setup, organism, load), setup->target,
                                                  &wanted) != PROCESS_OK)
            continue;
        double reached = cook_log_reduction(organism, doses->organisms[i], factor[i]);
        least = fmin(least, reached - wanted);
    }
    return least;
}

static void cook_resistance(const struct cook_setup *setup, const struct cook_doses at_z[COOK_ENDS],
                            double factor[COOK_ENDS][COOK_MAX_ORGANISMS])
{
    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        double middle = at_z[COOK_CENTRAL].organisms[i];
        double a = 1.0, b = 1.0;
        /* A small z is bad below the reference temperature and good above it. */
        if (middle > 0.0) {
            a = at_z[COOK_BAD].organisms[i] / middle;
            b = at_z[COOK_GOOD].organisms[i] / middle;
        }
        factor[COOK_BAD][i] =
            fmin(1.0, fmin(a, b)) * organism->d_minutes.central / organism->d_minutes.high;
        factor[COOK_CENTRAL][i] = 1.0;
        factor[COOK_GOOD][i] =
            fmax(1.0, fmax(a, b)) * organism->d_minutes.central / organism->d_minutes.low;
    }
}

static void put_low(struct range *range, enum cook_end end, double value)
{
    if (end == COOK_BAD)
        range->low = value;
    else if (end == COOK_GOOD)
        range->high = value;
    else
        range->central = value;
}

static void put_high(struct range *range, enum cook_end end, double value)
{
    if (end == COOK_BAD)
        range->high = value;
    else if (end == COOK_GOOD)
        range->low = value;
    else
        range->central = value;
}

static void cook_fill_end(const struct cook_setup *setup, const struct cook_doses *doses,
                          const double factor[COOK_MAX_ORGANISMS], enum cook_end end,
                          struct cook_result *result)
{
    double all = 0.0;

    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        struct cook_kill *kill = &result->kills[i];
        double decades = cook_log_reduction(organism, doses->organisms[i], factor[i]);
        double left = survivors(cook_load(setup, organism, end), decades);
        put_low(&kill->log_reduction, end, decades);
        put_high(&kill->survivors, end, left);
        put_high(&kill->chance, end, survivors_chance(left));
        if (organism->counts)
            all += left;
    }
    put_high(&result->chance, end, survivors_chance(all));
    put_low(&result->f0, end, doses->f0);
}

static void cook_add_lean(struct cook_result *result, size_t at, enum cook_input input, double bad,
                          double good)
{
    struct cook_lean lean = {input, bad, good};

    for (; at > 0 && result->leans[at - 1].good - result->leans[at - 1].bad < good - bad; at--)
        result->leans[at] = result->leans[at - 1];
    result->leans[at] = lean;
}

/* ==== cook result ============================================================================= */

/* The answer as a range: ends, leans, the mean over what is uncertain, the verdict. */

static const double probability_95 = 1.6448536269514722; /* z of the 95 % point */

/* All courses the answer is made from. */
struct cook_spread {
    double node_ln[COOK_NODES]; /* ln of the diffusivities, rising */
    struct cook_doses node[COOK_NODES];
    size_t nodes;
    struct cook_doses central;
    double come_up[COOK_ENDS][COOK_MAX_ORGANISMS]; /* factors on the kill */
    double air[COOK_ENDS][COOK_MAX_ORGANISMS];
    double cool[COOK_ENDS][COOK_MAX_ORGANISMS];
    double resistance[COOK_ENDS][COOK_MAX_ORGANISMS];
    struct cook_heat heat;
};

static void ratios(const struct cook_setup *setup, const struct cook_doses *doses,
                   const struct cook_doses *central, double factor[COOK_MAX_ORGANISMS])
{
    for (size_t i = 0; i < setup->organism_count; i++)
        factor[i] = central->organisms[i] > 0.0 ? doses->organisms[i] / central->organisms[i] : 1.0;
}

/* One input at its ends, all others central: factors on the kill of each organism. */
static enum process_error one_at_a_time(const struct cook_setup *setup, struct cook_spread *spread,
                                        enum cook_input input,
                                        double factor[COOK_ENDS][COOK_MAX_ORGANISMS])
{
    const struct cook_doses *central = &spread->central;

    for (int end = 0; end < COOK_ENDS; end++) {
        enum cook_end e = (enum cook_end)end, c = COOK_CENTRAL;
        struct cook_course course =
            cook_course_at(setup, c, input == COOK_COME_UP ? e : c, input == COOK_AIR ? e : c,
                           input == COOK_COOLING ? e : c);
        struct cook_course middle = cook_course_at(setup, c, c, c, c);
        struct cook_doses doses = *central;
        bool moved = course.come_up != middle.come_up || course.air != middle.air ||
                     course.cool != middle.cool;
        if (moved) {
            enum process_error error = cook_doses(setup, &spread->heat, &course, &doses);
            if (error != PROCESS_OK)
                return error;
        }
        ratios(setup, &doses, central, factor[end]);
    }
    return PROCESS_OK;
}

/* Courses at five diffusivities: the ends, the middle, and the geometric means between. */
static enum process_error fill_nodes(const struct cook_setup *setup, struct cook_spread *spread)
{
    const struct range *range = &setup->diffusivity;
    const double nodes[COOK_NODES] = {range->low, sqrt(range->low * range->central), range->central,
                                      sqrt(range->central * range->high), range->high};

    for (size_t i = 0; i < COOK_NODES; i++) {
        double ln = log(nodes[i]);
        if (spread->nodes > 0 && ln - spread->node_ln[spread->nodes - 1] < 1e-6)
            continue;
        struct cook_course course =
            cook_course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
        course.diffusivity = nodes[i];
        enum process_error error =
            cook_doses(setup, &spread->heat, &course, &spread->node[spread->nodes]);
        if (error != PROCESS_OK)
            return error;
        if (nodes[i] <= range->central * (1.0 + 1e-9))
            spread->central = spread->node[spread->nodes];
        spread->node_ln[spread->nodes++] = ln;
    }
    return PROCESS_OK;
}

static enum process_error fill_spread(const struct cook_setup *setup, struct cook_spread *spread)
{
    struct cook_course middle =
        cook_course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
    struct cook_doses at_z[COOK_ENDS];
    enum process_error error = fill_nodes(setup, spread);

    if (error != PROCESS_OK ||
        (error = one_at_a_time(setup, spread, COOK_COME_UP, spread->come_up)) != PROCESS_OK ||
        (error = one_at_a_time(setup, spread, COOK_AIR, spread->air)) != PROCESS_OK ||
        (error = one_at_a_time(setup, spread, COOK_COOLING, spread->cool)) != PROCESS_OK)
        return error;
    if ((error = cook_doses_by_z(setup, &spread->heat, &middle, at_z)) != PROCESS_OK)
        return error;
    cook_resistance(setup, at_z, spread->resistance);
    return PROCESS_OK;
}

/* ---- the mean over what is uncertain --------------------------------------------------------- */

enum { QUANTILES = 33 };

/* Doses at the quantile p of the diffusivity, in straight lines between the nodes on log scales. */
static void doses_at(const struct cook_setup *setup, const struct cook_spread *spread, double p,
                     struct cook_doses *doses)
{
    const struct range *range = &setup->diffusivity;
    double z = gsl_cdf_ugaussian_Pinv(p);
    double side = z < 0.0 ? log(range->central / range->low) : log(range->high / range->central);
    double ln = log(range->central) + side * z / probability_95;
    size_t at = 0;

    *doses = spread->central;
    if (spread->nodes < 2)
        return;
    while (at + 2 < spread->nodes && spread->node_ln[at + 1] < ln)
        at++;
    double share = (ln - spread->node_ln[at]) / (spread->node_ln[at + 1] - spread->node_ln[at]);
    share = fmin(1.0, fmax(0.0, share)); /* beyond the range nothing is known; stay at its end */
    for (size_t i = 0; i < setup->organism_count; i++) {
        double low = fmax(1e-300, spread->node[at].organisms[i]);
        double high = fmax(1e-300, spread->node[at + 1].organisms[i]);
        doses->organisms[i] = exp((1.0 - share) * log(low) + share * log(high));
    }
}

struct means {
    double kill[COOK_MAX_ORGANISMS];
    double vessel, any;
};

/* What share of each organism lives through, with come-up, air and resistance at these ends. */
static void live_through(const struct cook_setup *setup, const struct cook_spread *spread,
                         const struct cook_doses *doses, const enum cook_end at[3],
                         double share[COOK_MAX_ORGANISMS])
{
    for (size_t i = 0; i < setup->organism_count; i++) {
        double factor =
            spread->come_up[at[0]][i] * spread->air[at[1]][i] * spread->resistance[at[2]][i];
        double decades = cook_log_reduction(&setup->organisms[i], doses->organisms[i], factor);
        share[i] = survivors(1.0, decades);
    }
}

/* Adds one point of the sum: everything exact, weighted. */
static void add_point(const struct cook_setup *setup, const double share[COOK_MAX_ORGANISMS],
                      enum cook_end load, double weight, struct means *means)
{
    double all = 0.0;

    for (size_t i = 0; i < setup->organism_count; i++) {
        double left = cook_load(setup, &setup->organisms[i], load) * share[i];
        means->kill[i] += weight * survivors_chance(left);
        if (setup->organisms[i].counts)
            all += left;
    }
    means->vessel += weight * survivors_chance(all);
    means->any += weight * survivors_chance_any(all, setup->vessels);
}

/* Adds what one diffusivity makes likely. */
static void add_doses(const struct cook_setup *setup, const struct cook_spread *spread,
                      const struct cook_doses *doses, struct means *means)
{
    const unsigned points = COOK_ENDS * COOK_ENDS * COOK_ENDS;

    for (unsigned point = 0; point < points; point++) {
        const enum cook_end at[3] = {
            (enum cook_end)(point % COOK_ENDS),
            (enum cook_end)(point / COOK_ENDS % COOK_ENDS),
            (enum cook_end)(point / (COOK_ENDS * COOK_ENDS)),
        };
        double weight = cook_weight(at[0]) * cook_weight(at[1]) * cook_weight(at[2]) / QUANTILES;
        double share[COOK_MAX_ORGANISMS];
        live_through(setup, spread, doses, at, share);
        for (int load = 0; load < COOK_ENDS; load++)
            add_point(setup, share, (enum cook_end)load, weight * cook_weight((enum cook_end)load),
                      means);
    }
}

static void average(const struct cook_setup *setup, const struct cook_spread *spread,
                    struct cook_result *result)
{
    struct means means = {.vessel = 0.0};

    for (int q = 0; q < QUANTILES; q++) {
        struct cook_doses doses;
        doses_at(setup, spread, (q + 0.5) / QUANTILES, &doses);
        add_doses(setup, spread, &doses, &means);
    }
    for (size_t i = 0; i < setup->organism_count; i++)
        result->kills[i].chance_mean = fmin(1.0, means.kill[i]);
    result->chance_mean = fmin(1.0, means.vessel);
    result->chance_any_mean = fmin(1.0, means.any);
}

/* ---- ends, leans, verdict -------------------------------------------------------------------- */

static enum process_error fill_ends(const struct cook_setup *setup, struct cook_spread *spread,
                                    struct cook_result *result)
{
    for (int end = 0; end < COOK_ENDS; end++) {
        enum cook_end e = (enum cook_end)end;
        struct cook_course course = cook_course_at(setup, e, e, e, e), held = course;
        struct cook_doses doses = spread->central, at_hold;
        struct steam_conditions steam = setup->steam;
        double hot, minutes;
        enum process_error error;

        steam.air_share = course.air;
        held.cool = 0.0;
        if ((error = steam_celsius(&steam, &hot)) != PROCESS_OK ||
            (e != COOK_CENTRAL &&
             (error = cook_doses(setup, &spread->heat, &course, &doses)) != PROCESS_OK))
            return error;
        at_hold = doses;
        if ((course.cool > 0.0 &&
             (error = cook_doses(setup, &spread->heat, &held, &at_hold)) != PROCESS_OK) ||
            (error = cook_minutes_needed(setup, &spread->heat, &course, spread->resistance[e], e,
                                         &minutes)) != PROCESS_OK)
            return error;
        cook_fill_end(setup, &doses, spread->resistance[e], e, result);
        if (e == COOK_BAD) {
            result->steam.low = hot;
            result->core.low = at_hold.core;
            result->minutes_needed.high = minutes;
        } else if (e == COOK_GOOD) {
            result->steam.high = hot;
            result->core.high = at_hold.core;
            result->minutes_needed.low = minutes;
        } else {
            result->steam.central = hot;
            result->core.central = at_hold.core;
            result->minutes_needed.central = minutes;
        }
    }
    return PROCESS_OK;
}

static void fill_leans(const struct cook_setup *setup, const struct cook_spread *spread,
                       struct cook_result *result)
{
    const struct cook_doses *central = &spread->central;
    const double *unmoved = spread->resistance[COOK_CENTRAL];
    const struct cook_doses *slow = &spread->node[0], *fast = &spread->node[spread->nodes - 1];
    size_t at = 0;

    cook_add_lean(result, at++, COOK_DIFFUSIVITY, cook_margin(setup, slow, unmoved, COOK_CENTRAL),
                  cook_margin(setup, fast, unmoved, COOK_CENTRAL));
    const struct {
        enum cook_input input;
        const double (*factor)[COOK_MAX_ORGANISMS];
    } moved[] = {
        {COOK_COME_UP, spread->come_up},
        {COOK_AIR, spread->air},
        {COOK_COOLING, spread->cool},
        {COOK_RESISTANCE, spread->resistance},
    };
    for (size_t i = 0; i < sizeof moved / sizeof *moved; i++)
        cook_add_lean(result, at++, moved[i].input,
                      cook_margin(setup, central, moved[i].factor[COOK_BAD], COOK_CENTRAL),
                      cook_margin(setup, central, moved[i].factor[COOK_GOOD], COOK_CENTRAL));
    cook_add_lean(result, at++, COOK_LOAD, cook_margin(setup, central, unmoved, COOK_BAD),
                  cook_margin(setup, central, unmoved, COOK_GOOD));
    result->margin = cook_margin(setup, central, unmoved, COOK_CENTRAL);
}

static enum process_error judge(const struct cook_setup *setup, struct cook_spread *spread,
                                struct cook_result *result)
{
    struct cook_course course =
        cook_course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
    struct cook_doses doses;

    course.cool = 0.0;
    course.diffusivity = setup->adequate_diffusivity;
    enum process_error error = cook_doses(setup, &spread->heat, &course, &doses);
    if (error != PROCESS_OK)
        return error;
    result->f0_adequate_at = doses.f0;
    double best = spread->node[spread->nodes - 1].f0;
    result->verdict = doses.f0 >= setup->adequate_f0 ? COOK_ADEQUATE
                      : best >= setup->adequate_f0   ? COOK_MARGINAL
                                                     : COOK_NOT_ENOUGH;
    return PROCESS_OK;
}

enum process_error cook_compute(const struct cook_setup *setup, struct cook_result *result)
{
    struct cook_spread spread = {.nodes = 0};
    enum process_error error;

    *result = (struct cook_result){.margin = 0.0};
    if ((error = fill_spread(setup, &spread)) != PROCESS_OK ||
        (error = fill_ends(setup, &spread, result)) != PROCESS_OK ||
        (error = judge(setup, &spread, result)) != PROCESS_OK)
        return error;
    fill_leans(setup, &spread, result);
    average(setup, &spread, result);
    return PROCESS_OK;
}

/* ==== cook probe ============================================================================== */

/* A cook that was measured in the core: no heat model, the readings as they come. */

void cook_probe_init(struct cook_probe *probe, const struct cook_setup *setup, double longest_gap)
{
    lethality_init(&probe->f0, LETHALITY_F0_CELSIUS, LETHALITY_F0_Z, longest_gap);
    probe->organism_count = setup->organism_count;
    for (size_t i = 0; i < setup->organism_count; i++)
        lethality_init(&probe->organisms[i], setup->organisms[i].reference_celsius,
                       setup->organisms[i].z.central, longest_gap);
}

enum process_error cook_probe_add(struct cook_probe *probe, double minutes, double celsius)
{
    enum process_error error = lethality_add(&probe->f0, minutes, celsius);

    /* The others see the same readings, so they accept what the first did. */
    for (size_t i = 0; error == PROCESS_OK && i < probe->organism_count; i++)
        error = lethality_add(&probe->organisms[i], minutes, celsius);
    return error;
}

/* Factor on the kill when the probe reads `doubt` K too high (bad) or too low (good). */
static double probe_factor(const struct cook_organism *organism, double doubt, enum cook_end end)
{
    double sign = end == COOK_BAD ? -1.0 : end == COOK_GOOD ? 1.0 : 0.0;
    return lethality_rate(sign * doubt, 0.0, organism->z.central);
}

/* Factor when D is at an end; the readings are what they are, so z stays central. */
static double death_factor(const struct cook_organism *organism, enum cook_end end)
{
    return end == COOK_BAD    ? organism->d_minutes.central / organism->d_minutes.high
           : end == COOK_GOOD ? organism->d_minutes.central / organism->d_minutes.low
                              : 1.0;
}

static void average_probe(const struct cook_setup *setup, const struct cook_doses *doses,
                          double doubt, struct cook_result *result)
{
    double vessel = 0.0, any = 0.0;

    for (int probe = 0; probe < COOK_ENDS; probe++)
        for (int death = 0; death < COOK_ENDS; death++)
            for (int load = 0; load < COOK_ENDS; load++) {
                double weight = cook_weight((enum cook_end)probe) *
                                cook_weight((enum cook_end)death) *
                                cook_weight((enum cook_end)load);
                double all = 0.0;
                for (size_t i = 0; i < setup->organism_count; i++) {
                    const struct cook_organism *organism = &setup->organisms[i];
                    double factor = probe_factor(organism, doubt, (enum cook_end)probe) *
                                    death_factor(organism, (enum cook_end)death);
                    double left =
                        survivors(cook_load(setup, organism, (enum cook_end)load),
                                  cook_log_reduction(organism, doses->organisms[i], factor));
                    result->kills[i].chance_mean += weight * survivors_chance(left);
                    if (organism->counts)
                        all += left;
                }
                vessel += weight * survivors_chance(all);
                any += weight * survivors_chance_any(all, setup->vessels);
            }
    result->chance_mean = vessel;
    result->chance_any_mean = any;
}

enum process_error cook_probe_finish(const struct cook_probe *probe, const struct cook_setup *setup,
                                     double doubt, struct cook_result *result)
{
    struct cook_doses doses = {.core = probe->f0.last_celsius};
    double factor[COOK_ENDS][COOK_MAX_ORGANISMS], death[COOK_ENDS][COOK_MAX_ORGANISMS];
    enum process_error error = lethality_finish(&probe->f0, &doses.f0);

    if (error != PROCESS_OK)
        return error;
    *result = (struct cook_result){.steam = {NAN, NAN, NAN}, .minutes_needed = {NAN, NAN, NAN}};
    for (size_t i = 0; i < setup->organism_count; i++)
        doses.organisms[i] = lethality_minutes(&probe->organisms[i]);
    for (int end = 0; end < COOK_ENDS; end++) {
        struct cook_doses shifted = doses;
        double sign = end == COOK_BAD ? -1.0 : end == COOK_GOOD ? 1.0 : 0.0;
        shifted.f0 *= lethality_rate(sign * doubt, 0.0, LETHALITY_F0_Z);
        for (size_t i = 0; i < setup->organism_count; i++) {
            death[end][i] = death_factor(&setup->organisms[i], (enum cook_end)end);
            factor[end][i] =
                death[end][i] * probe_factor(&setup->organisms[i], doubt, (enum cook_end)end);
        }
        cook_fill_end(setup, &shifted, factor[end], (enum cook_end)end, result);
    }
    result->core = (struct range){probe->f0.lowest, probe->f0.last_celsius, probe->f0.highest};
    result->f0_adequate_at = result->f0.low;
    result->verdict = result->f0.low >= setup->adequate_f0    ? COOK_ADEQUATE
                      : result->f0.high >= setup->adequate_f0 ? COOK_MARGINAL
                                                              : COOK_NOT_ENOUGH;
    result->margin = cook_margin(setup, &doses, factor[COOK_CENTRAL], COOK_CENTRAL);
    cook_add_lean(result, 0, COOK_RESISTANCE,
                  cook_margin(setup, &doses, death[COOK_BAD], COOK_CENTRAL),
                  cook_margin(setup, &doses, death[COOK_GOOD], COOK_CENTRAL));
    cook_add_lean(result, 1, COOK_LOAD, cook_margin(setup, &doses, factor[COOK_CENTRAL], COOK_BAD),
                  cook_margin(setup, &doses, factor[COOK_CENTRAL], COOK_GOOD));
    for (size_t i = 2; i < COOK_INPUTS; i++)
        result->leans[i] = (struct cook_lean){COOK_INPUTS, 0.0, 0.0};
    average_probe(setup, &doses, doubt, result);
    return PROCESS_OK;
}

/* ==== cook ==================================================================================== */

/* What a cook is asked, its temperature course, and the time it would need. */

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

static enum process_error check_one(enum process_error bound, double number, double *value)
{
    *value = number;
    return limit_check(bound, number);
}

static enum process_error check_range(enum process_error bound, const struct range *range,
                                      double *value)
{
    *value = limit_check(bound, range->low) != PROCESS_OK ? range->low : range->high;
    return limit_check_range(bound, range);
}

static enum process_error check_organisms(const struct cook_setup *setup, double *value)
{
    enum process_error error;

    *value = (double)setup->organism_count;
    if (setup->organism_count == 0 || setup->organism_count > COOK_MAX_ORGANISMS)
        return PROCESS_EMPTY;
    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        if ((error = check_range(PROCESS_DECIMAL_TIME, &organism->d_minutes, value)) !=
                PROCESS_OK ||
            (error = check_range(PROCESS_Z_VALUE, &organism->z, value)) != PROCESS_OK ||
            (error = check_range(PROCESS_LOAD, &organism->per_gram, value)) != PROCESS_OK ||
            (error = check_one(PROCESS_REFERENCE_CELSIUS, organism->reference_celsius, value)) !=
                PROCESS_OK)
            return error;
    }
    return PROCESS_OK;
}

static enum process_error check_steam(const struct cook_setup *setup, double *value)
{
    struct steam_conditions steam = setup->steam;
    double celsius;
    enum process_error error = check_range(PROCESS_AIR_SHARE, &setup->air, value);

    for (int i = 0; i < 2 && error == PROCESS_OK; i++) {
        steam.air_share = i == 0 ? setup->air.low : setup->air.high;
        error = steam_celsius(&steam, &celsius);
        *value = error == PROCESS_ALTITUDE    ? steam.altitude_m
                 : error == PROCESS_BAROMETER ? steam.barometer_kpa
                                              : steam.gauge_kpa;
    }
    if (error == PROCESS_VESSEL_STEAM || error == PROCESS_SATURATION_KPA) {
        double outside = NAN;
        (void)steam_outside(&steam, &outside);
        *value = NAN;
        (void)steam_temperature((1.0 - steam.air_share) * (steam.gauge_kpa + outside), value);
    }
    return error;
}

enum process_error cook_check(const struct cook_setup *setup, double *value)
{
    enum process_error error;
    struct heat_model model;
    struct heat_properties properties = {setup->diffusivity.central, setup->heat_capacity,
                                         setup->conductance};

    if ((error = check_steam(setup, value)) != PROCESS_OK ||
        (error = check_range(PROCESS_COME_UP_MINUTES, &setup->come_up, value)) != PROCESS_OK ||
        (error = check_range(PROCESS_COOL_MINUTES, &setup->cool, value)) != PROCESS_OK ||
        (error = check_range(PROCESS_DIFFUSIVITY, &setup->diffusivity, value)) != PROCESS_OK ||
        (error = check_one(PROCESS_DIFFUSIVITY, setup->adequate_diffusivity, value)) !=
            PROCESS_OK ||
        (error = check_one(PROCESS_HOLD_MINUTES, setup->hold, value)) != PROCESS_OK ||
        (error = check_one(PROCESS_START_CELSIUS, setup->start_celsius, value)) != PROCESS_OK ||
        (error = check_one(PROCESS_GRAIN_GRAMS, setup->dry_grams, value)) != PROCESS_OK ||
        (error = check_one(PROCESS_VESSEL_COUNT, setup->vessels, value)) != PROCESS_OK ||
        (error = check_one(PROCESS_TARGET_CHANCE, setup->target, value)) != PROCESS_OK ||
        (error = check_organisms(setup, value)) != PROCESS_OK)
        return error;
    error = heat_model(&setup->body, &properties, &model);
    *value = error == PROCESS_CONDUCTANCE     ? setup->conductance
             : error == PROCESS_HEAT_CAPACITY ? setup->heat_capacity
                                              : 0.0;
    for (size_t i = 0; error == PROCESS_THICKNESS && i < setup->body.count; i++)
        if (limit_check(PROCESS_THICKNESS, 2.0 * setup->body.directions[i].length) != PROCESS_OK)
            *value = 2.0 * setup->body.directions[i].length;
    return error;
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

static struct cook_course cook_course_at(const struct cook_setup *setup, enum cook_end diffusivity,
                                         enum cook_end come_up, enum cook_end air,
                                         enum cook_end cool)
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

static enum process_error course_history(const struct cook_setup *setup,
                                         const struct cook_course *course,
                                         struct heat_point history[CORNERS], size_t *points)
{
    struct steam_conditions steam = setup->steam;
    double hot, outside, boiling;
    enum process_error error;

    steam.air_share = course->air;
    if ((error = steam_celsius(&steam, &hot)) != PROCESS_OK ||
        (error = steam_outside(&steam, &outside)) != PROCESS_OK ||
        (error = steam_temperature(outside, &boiling)) != PROCESS_OK)
        return error;
    double full = 60.0 * course->come_up, off = full + 60.0 * course->hold;
    history[0] = (struct heat_point){0.0, course->come_up > 0.0 ? setup->start_celsius : hot};
    history[1] = (struct heat_point){full, hot};
    history[2] = (struct heat_point){off, hot};
    history[3] = (struct heat_point){off + 60.0 * course->cool, fmin(hot, boiling)};
    *points = course->cool > 0.0 ? 4 : 3;
    return PROCESS_OK;
}

/* The model at this diffusivity, made if need be; the last place is taken again and again. */
static enum process_error heat_at(const struct cook_setup *setup, struct cook_heat *heat,
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
    enum process_error error = heat_model(&setup->body, &properties, &heat->model[at]);
    if (error == PROCESS_OK) {
        heat->diffusivity[at] = diffusivity;
        heat->count = at + 1;
        *model = &heat->model[at];
    }
    return error;
}

static enum process_error course_core(const struct cook_setup *setup, struct cook_heat *heat,
                                      const struct cook_course *course, double step, double *core,
                                      size_t count)
{
    struct heat_point history[CORNERS];
    const struct heat_model *model;
    size_t points;
    enum process_error error;

    if ((error = heat_at(setup, heat, course->diffusivity, &model)) != PROCESS_OK ||
        (error = course_history(setup, course, history, &points)) != PROCESS_OK)
        return error;
    return heat_curve(model, setup->start_celsius, history, points, 60.0 * step, true, core, count);
}

enum process_error cook_course(const struct cook_setup *setup, double diffusivity,
                               double step_minutes_, double *core, double *outside, size_t count)
{
    struct cook_course course =
        cook_course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_GOOD);
    struct heat_point history[CORNERS];
    struct cook_heat heat = {.count = 0};
    size_t points;
    enum process_error error;

    course.diffusivity = diffusivity;
    if ((error = course_core(setup, &heat, &course, step_minutes_, core, count)) != PROCESS_OK ||
        (error = course_history(setup, &course, history, &points)) != PROCESS_OK)
        return error;
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
static enum process_error course_doses(const struct cook_setup *setup, struct cook_heat *heat,
                                       const struct cook_course *course, bool all_z,
                                       struct cook_doses *doses)
{
    double length = course->come_up + course->hold + course->cool;
    size_t steps = (size_t)ceil(length / step_minutes), count = steps + 1;
    double step = steps > 0 ? length / (double)steps : step_minutes;
    double *core = calloc(count, sizeof *core), *total = calloc(count, sizeof *total);
    enum process_error error = PROCESS_MEMORY;

    if (core != NULL && total != NULL)
        error = course_core(setup, heat, course, step, core, count);
    if (error == PROCESS_OK && !all_z)
        take_doses(setup, core, total, steps, step, COOK_CENTRAL, doses);
    for (int z = 0; error == PROCESS_OK && all_z && z < COOK_ENDS; z++)
        take_doses(setup, core, total, steps, step, (enum cook_end)z, &doses[z]);
    free(core);
    free(total);
    return error;
}

enum process_error cook_doses(const struct cook_setup *setup, struct cook_heat *heat,
                              const struct cook_course *course, struct cook_doses *doses)
{
    return course_doses(setup, heat, course, false, doses);
}

enum process_error cook_doses_by_z(const struct cook_setup *setup, struct cook_heat *heat,
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

enum process_error cook_minutes_needed(const struct cook_setup *setup, struct cook_heat *heat,
                                       const struct cook_course *course,
                                       const double resistance[COOK_MAX_ORGANISMS],
                                       enum cook_end load, double *minutes)
{
    struct cook_course held = *course;
    held.hold = search_minutes;
    held.cool = 0.0;
    size_t count = (size_t)ceil((held.come_up + held.hold) / step_minutes) + 1;
    double *core = calloc(count, sizeof *core), *total = calloc(count, sizeof *total);
    enum process_error error = PROCESS_MEMORY;
    double longest = 0.0;

    if (core != NULL && total != NULL)
        error = course_core(setup, heat, &held, step_minutes, core, count);
    for (size_t i = 0; error == PROCESS_OK && i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        double decades;
        if (!organism->counts)
            continue;
        error = survivors_target(cook_load(setup, organism, load), setup->target, &decades);
        lethality_curve(core, count, step_minutes, organism->reference_celsius, organism->z.central,
                        total);
        double dose = decades * organism->d_minutes.central / resistance[i];
        longest = fmax(longest, step_minutes * steps_needed(total, count, dose));
    }
    if (error == PROCESS_OK) {
        *minutes = fmax(0.0, longest - held.come_up);
        if (*minutes > longest_minutes)
            *minutes = INFINITY;
    }
    free(core);
    free(total);
    return error;
}
