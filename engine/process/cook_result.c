/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The answer as a range: ends, leans, the mean over what is uncertain, the verdict. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stddef.h>

#include "process/cook_internal.h"

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
static enum process_fault one_at_a_time(const struct cook_setup *setup, struct cook_spread *spread,
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
            enum process_fault fault = cook_doses(setup, &spread->heat, &course, &doses);
            if (fault != PROCESS_OK)
                return fault;
        }
        ratios(setup, &doses, central, factor[end]);
    }
    return PROCESS_OK;
}

/* Courses at five diffusivities: the ends, the middle, and the geometric means between. */
static enum process_fault fill_nodes(const struct cook_setup *setup, struct cook_spread *spread)
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
        enum process_fault fault =
            cook_doses(setup, &spread->heat, &course, &spread->node[spread->nodes]);
        if (fault != PROCESS_OK)
            return fault;
        if (nodes[i] <= range->central * (1.0 + 1e-9))
            spread->central = spread->node[spread->nodes];
        spread->node_ln[spread->nodes++] = ln;
    }
    return PROCESS_OK;
}

static enum process_fault fill_spread(const struct cook_setup *setup, struct cook_spread *spread)
{
    struct cook_course middle =
        cook_course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
    struct cook_doses at_z[COOK_ENDS];
    enum process_fault fault = fill_nodes(setup, spread);

    if (fault != PROCESS_OK ||
        (fault = one_at_a_time(setup, spread, COOK_COME_UP, spread->come_up)) != PROCESS_OK ||
        (fault = one_at_a_time(setup, spread, COOK_AIR, spread->air)) != PROCESS_OK ||
        (fault = one_at_a_time(setup, spread, COOK_COOLING, spread->cool)) != PROCESS_OK)
        return fault;
    if ((fault = cook_doses_by_z(setup, &spread->heat, &middle, at_z)) != PROCESS_OK)
        return fault;
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

static enum process_fault fill_ends(const struct cook_setup *setup, struct cook_spread *spread,
                                    struct cook_result *result)
{
    for (int end = 0; end < COOK_ENDS; end++) {
        enum cook_end e = (enum cook_end)end;
        struct cook_course course = cook_course_at(setup, e, e, e, e), held = course;
        struct cook_doses doses = spread->central, at_hold;
        struct steam_conditions steam = setup->steam;
        double hot, minutes;
        enum process_fault fault;

        steam.air_share = course.air;
        held.cool = 0.0;
        if ((fault = steam_celsius(&steam, &hot)) != PROCESS_OK ||
            (e != COOK_CENTRAL &&
             (fault = cook_doses(setup, &spread->heat, &course, &doses)) != PROCESS_OK))
            return fault;
        at_hold = doses;
        if ((course.cool > 0.0 &&
             (fault = cook_doses(setup, &spread->heat, &held, &at_hold)) != PROCESS_OK) ||
            (fault = cook_minutes_needed(setup, &spread->heat, &course, spread->resistance[e], e,
                                         &minutes)) != PROCESS_OK)
            return fault;
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

static enum process_fault judge(const struct cook_setup *setup, struct cook_spread *spread,
                                struct cook_result *result)
{
    struct cook_course course =
        cook_course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
    struct cook_doses doses;

    course.cool = 0.0;
    course.diffusivity = setup->adequate_diffusivity;
    enum process_fault fault = cook_doses(setup, &spread->heat, &course, &doses);
    if (fault != PROCESS_OK)
        return fault;
    result->f0_adequate_at = doses.f0;
    double best = spread->node[spread->nodes - 1].f0;
    result->verdict = doses.f0 >= setup->adequate_f0 ? COOK_ADEQUATE
                      : best >= setup->adequate_f0   ? COOK_MARGINAL
                                                     : COOK_NOT_ENOUGH;
    return PROCESS_OK;
}

enum process_fault cook_compute(const struct cook_setup *setup, struct cook_result *result)
{
    struct cook_spread spread = {.nodes = 0};
    enum process_fault fault;

    *result = (struct cook_result){.margin = 0.0};
    if ((fault = fill_spread(setup, &spread)) != PROCESS_OK ||
        (fault = fill_ends(setup, &spread, result)) != PROCESS_OK ||
        (fault = judge(setup, &spread, result)) != PROCESS_OK)
        return fault;
    fill_leans(setup, &spread, result);
    average(setup, &spread, result);
    return PROCESS_OK;
}
