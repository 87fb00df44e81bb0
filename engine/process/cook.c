/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/cook.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#include "process/heat.h"

const char *const cook_input_names[COOK_INPUTS] = {
    [COOK_DIFFUSIVITY] = "how fast heat gets through the grain",
    [COOK_COME_UP] = "the come-up",
    [COOK_AIR] = "air left in the cooker",
    [COOK_COOLING] = "kill while cooling",
    [COOK_LOAD] = "how many spores the grain carries",
    [COOK_RESISTANCE] = "how hardy those spores are",
};

/* ---- checks ---------------------------------------------------------------------------------- */

static enum process_error check_organisms(const struct cook_setup *setup, double *value)
{
    enum process_error error = PROCESS_OK;
    *value = (double)setup->organism_count;
    if (setup->organism_count == 0 || setup->organism_count > COOK_MAX_ORGANISMS)
        return PROCESS_EMPTY;
    for (size_t i = 0; i < setup->organism_count && !error; i++) {
        const struct organism *organism = &setup->organisms[i];
        const struct bounded ranges[] = {{PROCESS_DECIMAL_TIME, organism->d_minutes},
                                         {PROCESS_Z_VALUE, organism->z},
                                         {PROCESS_LOAD, organism->per_gram},
                                         {PROCESS_REFERENCE_CELSIUS, EXACT(organism->reference)}};
        error = limit_check_each(ranges, sizeof ranges / sizeof *ranges, value);
    }
    return error;
}

static enum process_error check_steam(const struct cook_setup *setup, double *value)
{
    struct steam_conditions steam = setup->steam;
    double celsius;
    const struct bounded air = {PROCESS_AIR_SHARE, setup->air};
    enum process_error error = limit_check_each(&air, 1, value);
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
    const struct bounded ranges[] = {
        {PROCESS_COME_UP_MINUTES, setup->come_up},
        {PROCESS_COOL_MINUTES, setup->cool},
        {PROCESS_DIFFUSIVITY, setup->diffusivity},
        {PROCESS_DIFFUSIVITY, EXACT(setup->adequate_diffusivity)},
        {PROCESS_HOLD_MINUTES, EXACT(setup->hold)},
        {PROCESS_START_CELSIUS, EXACT(setup->start_celsius)},
        {PROCESS_GRAIN_GRAMS, EXACT(setup->dry_grams)},
        {PROCESS_VESSEL_COUNT, EXACT(setup->vessels)},
        {PROCESS_TARGET_CHANCE, EXACT(setup->target)},
    };
    const struct heat_properties properties = {setup->diffusivity.central, setup->heat_capacity,
                                               setup->conductance};
    struct heat_model model;
    enum process_error error = check_steam(setup, value);
    error = error ? error : limit_check_each(ranges, sizeof ranges / sizeof *ranges, value);
    error = error ? error : check_organisms(setup, value);
    if (error != PROCESS_OK)
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

/* ---- ends and courses ------------------------------------------------------------------------ */

/* The three points of a range. For every input BAD is the end that lets more organisms live. */
enum cook_end { COOK_BAD, COOK_CENTRAL, COOK_GOOD, COOK_ENDS };

/* Weights of the three points: Keefer & Bodily 1983. */
static double end_weight(enum cook_end end)
{
    return end == COOK_CENTRAL ? 0.63 : 0.185;
}

static enum cook_end opposite(enum cook_end end)
{
    return (enum cook_end)(COOK_GOOD - end);
}

/* Of a range whose low end is the bad one; of others the opposite end is asked for. */
static double at_end(const struct range *range, enum cook_end end)
{
    return end == COOK_BAD ? range->low : end == COOK_GOOD ? range->high : range->central;
}

static void put(struct range *range, enum cook_end end, double value)
{
    *(end == COOK_BAD ? &range->low : end == COOK_GOOD ? &range->high : &range->central) = value;
}

/* One exact course of the temperature. */
struct course {
    double diffusivity, come_up, air, hold, cool;
};

static struct course course_at(const struct cook_setup *setup, enum cook_end diffusivity,
                               enum cook_end come_up, enum cook_end air, enum cook_end cool)
{
    return (struct course){
        .diffusivity = at_end(&setup->diffusivity, diffusivity),
        .come_up = at_end(&setup->come_up, come_up),
        .air = at_end(&setup->air, opposite(air)),
        .hold = setup->hold,
        .cool = at_end(&setup->cool, cool),
    };
}

/* Equivalent minutes of one course: F0, and for each organism at one of its z. */
struct doses {
    double f0;
    double organisms[COOK_MAX_ORGANISMS];
    double core; /* degC at its end */
};

typedef double factors[COOK_MAX_ORGANISMS]; /* on the kill of each organism */

/* A cook that is being computed. */
struct cooking {
    const struct cook_setup *setup;
    struct doses node[COOK_NODES]; /* at rising diffusivities */
    double node_ln[COOK_NODES];    /* ln of those */
    size_t nodes;
    struct doses central;
    struct heat_model model; /* of the last diffusivity, which is often the next one, too */
    double diffusivity;
    factors moved[COOK_INPUTS][COOK_ENDS]; /* by come-up, air, cooling and resistance alone */
};

enum { CORNERS = 4 };

/* The temperature around the vessel: straight lines for come-up, hold, cooling; the points. */
static size_t course_history(struct cooking *work, const struct course *course,
                             struct heat_point history[CORNERS])
{
    struct steam_conditions steam = work->setup->steam;
    double hot = NAN, outside = NAN, boiling = NAN;
    steam.air_share = course->air;
    (void)steam_celsius(&steam, &hot);
    (void)steam_outside(&steam, &outside);
    (void)steam_temperature(outside, &boiling);
    double full = 60.0 * course->come_up, off = full + 60.0 * course->hold;
    history[0] = (struct heat_point){0.0, course->come_up > 0.0 ? work->setup->start_celsius : hot};
    history[1] = (struct heat_point){full, hot};
    history[2] = (struct heat_point){off, hot};
    history[3] = (struct heat_point){off + 60.0 * course->cool, fmin(hot, boiling)};
    return course->cool > 0.0 ? 4 : 3;
}

static void course_core(struct cooking *work, const struct course *course, double step,
                        double *core, size_t count, double *outside)
{
    const struct heat_properties properties = {course->diffusivity, work->setup->heat_capacity,
                                               work->setup->conductance};
    struct heat_point history[CORNERS];
    size_t points = course_history(work, course, history);
    if (work->diffusivity != course->diffusivity)
        (void)heat_model(&work->setup->body, &properties, &work->model);
    work->diffusivity = course->diffusivity;
    (void)heat_curve(&work->model, work->setup->start_celsius, history, points, 60.0 * step, true,
                     core, count, outside);
}

void cook_course(const struct cook_setup *setup, double diffusivity, double step_minutes,
                 double *core, double *outside, size_t count)
{
    struct cooking work = {.setup = setup};
    struct course course = course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_GOOD);
    course.diffusivity = diffusivity;
    course_core(&work, &course, step_minutes, core, count, outside);
}

/* Ample for the fourth-order rule: F0 to one part in ten thousand. The longest cook that limits.h
 * allows has fewer points. */
static const double STEP_MINUTES = 1.0;
enum { POINTS = 2700 };

/* What a course is worth at the ends `from` to `to` of the organisms' z. */
static void course_doses(struct cooking *work, const struct course *course, enum cook_end from,
                         enum cook_end to, struct doses *doses)
{
    double length = course->come_up + course->hold + course->cool;
    size_t steps = (size_t)ceil(length / STEP_MINUTES), count = steps + 1;
    double step = steps > 0 ? length / (double)steps : STEP_MINUTES;
    double core[POINTS], total[POINTS];
    course_core(work, course, step, core, count, NULL);
    /* cppcheck-suppress ctuuninitvar ; it is filled here */
    for (enum cook_end z = from; z <= to; z++, doses++) {
        lethality_curve(core, count, step, LETHALITY_F0_CELSIUS, LETHALITY_F0_Z, total);
        doses->f0 = total[steps];
        doses->core = core[steps];
        for (size_t i = 0; i < work->setup->organism_count; i++) {
            const struct organism *organism = &work->setup->organisms[i];
            lethality_curve(core, count, step, organism->reference, at_end(&organism->z, z), total);
            doses->organisms[i] = total[steps];
        }
    }
}

/* Steps after the start at which this dose is reached, with parts of a step; past the end the core
 * is taken to stay as hot as it was there. */
static double steps_needed(const double *total, size_t count, double dose)
{
    size_t at = 1;
    while (at + 1 < count && total[at] < dose)
        at++;
    double gain = total[at] - total[at - 1];
    if (gain > 0.0)
        return fmax(0.0, (double)(at - 1) + (dose - total[at - 1]) / gain);
    return total[at] < dose ? INFINITY : (double)(at - 1);
}

/* ---- survivors ------------------------------------------------------------------------------- */

/*
 * The model in one place: survivors of an organism are
 *   load x 10^-(dose / D x factor),
 * `factor` gathering what moves the kill in proportion (come-up, air, resistance).
 */
static bool counts(const struct organism *organism)
{
    return organism->role != ORGANISM_INDICATOR;
}

static double log_reduction_of(const struct organism *organism, double dose, double factor)
{
    return dose * factor / organism->d_minutes.central;
}

static double load_of(const struct cook_setup *setup, const struct organism *organism,
                      enum cook_end load)
{
    return setup->dry_grams * at_end(&organism->per_gram, opposite(load));
}

/* Log reductions to spare over the target for the organism with the least. */
static double margin_of(const struct cook_setup *setup, const struct doses *doses,
                        const factors factor, enum cook_end load)
{
    double least = INFINITY;
    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct organism *organism = &setup->organisms[i];
        double wanted = NAN;
        if (!counts(organism))
            continue;
        (void)survivors_target(load_of(setup, organism, load), setup->target, &wanted);
        least = fmin(least, log_reduction_of(organism, doses->organisms[i], factor[i]) - wanted);
    }
    return least;
}

/* Minutes at pressure on this course until the survivors that count are few enough. */
static double minutes_needed(struct cooking *work, const struct course *course,
                             const factors resistance, enum cook_end load)
{
    /* Hold simulated: nearly always the first suffices. After the longest the core is at the
     * steam's. */
    static const double search_minutes[] = {150.0, 600.0}, longest_minutes = 1440.0;
    const struct cook_setup *setup = work->setup;
    struct course held = *course;
    double longest = 0.0;
    bool within = false; /* all doses are reached before the end */
    held.cool = 0.0;
    for (size_t search = 0; search < 2 && !within; search++) {
        held.hold = search_minutes[search];
        size_t count = (size_t)ceil((held.come_up + held.hold) / STEP_MINUTES) + 1;
        double core[POINTS], total[POINTS];
        longest = 0.0;
        within = true;
        course_core(work, &held, STEP_MINUTES, core, count, NULL);
        for (size_t i = 0; i < setup->organism_count; i++) {
            const struct organism *organism = &setup->organisms[i];
            double reductions = NAN;
            if (!counts(organism))
                continue;
            (void)survivors_target(load_of(setup, organism, load), setup->target, &reductions);
            lethality_curve(core, count, STEP_MINUTES, organism->reference, organism->z.central,
                            total);
            double dose = reductions * organism->d_minutes.central / resistance[i];
            within = within && total[count - 2] >= dose;
            longest = fmax(longest, STEP_MINUTES * steps_needed(total, count, dose));
        }
    }
    double minutes = fmax(0.0, longest - held.come_up);
    return minutes > longest_minutes ? INFINITY : minutes;
}

/* Fills kills' ranges and the overall chance at one end. */
static void fill_end(const struct cook_setup *setup, const struct doses *doses,
                     const factors factor, enum cook_end end, struct cook_result *result)
{
    double all = 0.0;
    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct organism *organism = &setup->organisms[i];
        struct cook_kill *kill = &result->kills[i];
        double reductions = log_reduction_of(organism, doses->organisms[i], factor[i]);
        double left = survivors(load_of(setup, organism, end), reductions);
        put(&kill->log_reduction, end, reductions);
        put(&kill->survivors, opposite(end), left);
        put(&kill->chance, opposite(end), survivors_chance(left));
        if (counts(organism))
            all += left;
    }
    put(&result->chance, opposite(end), survivors_chance(all));
    put(&result->f0, end, doses->f0);
}

/* Among the first `count` leans, widest first. */
static void add_lean(struct cook_result *result, size_t count, enum cook_input input, double bad,
                     double good)
{
    size_t at = count;
    for (; at > 0 && result->leans[at - 1].good - result->leans[at - 1].bad < good - bad; at--)
        result->leans[at] = result->leans[at - 1];
    result->leans[at] = (struct cook_lean){input, bad, good};
}

/* Adds one point of the means: everything exact, weighted; `share` of each organism survives. */
static void add_point(const struct cook_setup *setup, const factors share, enum cook_end load,
                      double weight, struct cook_result *result)
{
    double all = 0.0;
    for (size_t i = 0; i < setup->organism_count; i++) {
        double left = load_of(setup, &setup->organisms[i], load) * share[i];
        result->kills[i].chance_mean += weight * survivors_chance(left);
        if (counts(&setup->organisms[i]))
            all += left;
    }
    result->chance_mean += weight * survivors_chance(all);
    result->chance_any_mean += weight * survivors_chance(all * setup->vessels);
}

/* Weights that add up to 1 may round to a little more. */
static void bound_means(const struct cook_setup *setup, struct cook_result *result)
{
    for (size_t i = 0; i < setup->organism_count; i++)
        result->kills[i].chance_mean = fmin(1.0, result->kills[i].chance_mean);
    result->chance_mean = fmin(1.0, result->chance_mean);
    result->chance_any_mean = fmin(1.0, result->chance_any_mean);
}

/* ---- all courses the answer is made from ----------------------------------------------------- */

/* Courses at five diffusivities: the ends, the middle, and the geometric means between. */
static void fill_nodes(struct cooking *work)
{
    const struct range *range = &work->setup->diffusivity;
    const double nodes[COOK_NODES] = {range->low, sqrt(range->low * range->central), range->central,
                                      sqrt(range->central * range->high), range->high};
    struct course course =
        course_at(work->setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
    for (size_t i = 0; i < COOK_NODES; i++) {
        double ln = log(nodes[i]);
        if (work->nodes > 0 && ln - work->node_ln[work->nodes - 1] < 1e-6)
            continue;
        course.diffusivity = nodes[i];
        course_doses(work, &course, COOK_CENTRAL, COOK_CENTRAL, &work->node[work->nodes]);
        if (nodes[i] <= range->central * (1.0 + 1e-9))
            work->central = work->node[work->nodes];
        work->node_ln[work->nodes++] = ln;
    }
}

/* One input at its ends, all others central. */
static void move_alone(struct cooking *work, enum cook_input input)
{
    const enum cook_end c = COOK_CENTRAL;
    const struct course middle = course_at(work->setup, c, c, c, c);
    for (int end = 0; end < COOK_ENDS; end++) {
        enum cook_end e = (enum cook_end)end;
        struct course course = course_at(work->setup, c, input == COOK_COME_UP ? e : c,
                                         input == COOK_AIR ? e : c, input == COOK_COOLING ? e : c);
        struct doses doses = work->central;
        if (course.come_up != middle.come_up || course.air != middle.air ||
            course.cool != middle.cool)
            course_doses(work, &course, c, c, &doses);
        for (size_t i = 0; i < work->setup->organism_count; i++) {
            double central = work->central.organisms[i];
            work->moved[input][end][i] = central > 0.0 ? doses.organisms[i] / central : 1.0;
        }
    }
}

/* ---- the mean over what is uncertain --------------------------------------------------------- */

enum { QUANTILES = 33 };

/* Doses at the quantile p of the diffusivity, in straight lines between the nodes on log scales. */
static void doses_at(const struct cooking *work, double p, struct doses *doses)
{
    static const double z_of_95 = 1.6448536269514722;
    const struct range *range = &work->setup->diffusivity;
    double z = gsl_cdf_ugaussian_Pinv(p);
    double side = z < 0.0 ? log(range->central / range->low) : log(range->high / range->central);
    double ln = log(range->central) + side * z / z_of_95;
    size_t at = 0;
    *doses = work->central;
    if (work->nodes < 2)
        return;
    while (at + 2 < work->nodes && work->node_ln[at + 1] < ln)
        at++;
    double share = (ln - work->node_ln[at]) / (work->node_ln[at + 1] - work->node_ln[at]);
    share = fmin(1.0, fmax(0.0, share)); /* beyond the range nothing is known; stay at its end */
    for (size_t i = 0; i < work->setup->organism_count; i++) {
        double low = fmax(1e-300, work->node[at].organisms[i]);
        double high = fmax(1e-300, work->node[at + 1].organisms[i]);
        doses->organisms[i] = exp((1.0 - share) * log(low) + share * log(high));
    }
}

/* Adds what one diffusivity makes likely, over the ends of come-up, air, resistance and load. */
static void add_doses(const struct cooking *work, const struct doses *doses, double weight_of_all,
                      struct cook_result *result)
{
    const struct cook_setup *setup = work->setup;
    for (unsigned point = 0; point < COOK_ENDS * COOK_ENDS * COOK_ENDS; point++) {
        const enum cook_end come_up = (enum cook_end)(point % COOK_ENDS),
                            air = (enum cook_end)(point / COOK_ENDS % COOK_ENDS),
                            resistance = (enum cook_end)(point / (COOK_ENDS * COOK_ENDS));
        double weight =
            weight_of_all * end_weight(come_up) * end_weight(air) * end_weight(resistance);
        factors share;
        for (size_t i = 0; i < setup->organism_count; i++) {
            double factor = work->moved[COOK_COME_UP][come_up][i] * work->moved[COOK_AIR][air][i] *
                            work->moved[COOK_RESISTANCE][resistance][i];
            share[i] =
                survivors(1.0, log_reduction_of(&setup->organisms[i], doses->organisms[i], factor));
        }
        for (int load = 0; load < COOK_ENDS; load++)
            add_point(setup, share, (enum cook_end)load, weight * end_weight((enum cook_end)load),
                      result);
    }
}

/* ---- the answer ------------------------------------------------------------------------------ */

static void fill_ends(struct cooking *work, struct cook_result *result)
{
    for (int end = 0; end < COOK_ENDS; end++) {
        enum cook_end e = (enum cook_end)end;
        struct course course = course_at(work->setup, e, e, e, e), held = course;
        struct doses doses = work->central, at_hold;
        struct steam_conditions steam = work->setup->steam;
        const double *resistance = work->moved[COOK_RESISTANCE][e];
        double hot = NAN;
        steam.air_share = course.air;
        held.cool = 0.0;
        (void)steam_celsius(&steam, &hot);
        if (e != COOK_CENTRAL)
            course_doses(work, &course, COOK_CENTRAL, COOK_CENTRAL, &doses);
        at_hold = doses;
        if (course.cool > 0.0)
            course_doses(work, &held, COOK_CENTRAL, COOK_CENTRAL, &at_hold);
        fill_end(work->setup, &doses, resistance, e, result);
        put(&result->steam, e, hot);
        put(&result->core, e, at_hold.core);
        /* The middle figure is advice: it stands on the diffusivity the verdict stands on. */
        if (e == COOK_CENTRAL)
            course.diffusivity =
                fmax(work->setup->diffusivity.low,
                     fmin(work->setup->adequate_diffusivity, work->setup->diffusivity.high));
        put(&result->minutes_needed, opposite(e), minutes_needed(work, &course, resistance, e));
    }
}

static void fill_leans(const struct cooking *work, struct cook_result *result)
{
    static const enum cook_input alone[] = {COOK_COME_UP, COOK_AIR, COOK_COOLING, COOK_RESISTANCE};
    const struct cook_setup *setup = work->setup;
    const struct doses *central = &work->central;
    const double *unmoved = work->moved[COOK_RESISTANCE][COOK_CENTRAL];
    size_t count = 0;
    add_lean(result, count++, COOK_DIFFUSIVITY,
             margin_of(setup, &work->node[0], unmoved, COOK_CENTRAL),
             margin_of(setup, &work->node[work->nodes - 1], unmoved, COOK_CENTRAL));
    for (size_t i = 0; i < sizeof alone / sizeof *alone; i++)
        add_lean(result, count++, alone[i],
                 margin_of(setup, central, work->moved[alone[i]][COOK_BAD], COOK_CENTRAL),
                 margin_of(setup, central, work->moved[alone[i]][COOK_GOOD], COOK_CENTRAL));
    add_lean(result, count++, COOK_LOAD, margin_of(setup, central, unmoved, COOK_BAD),
             margin_of(setup, central, unmoved, COOK_GOOD));
    result->margin = margin_of(setup, central, unmoved, COOK_CENTRAL);
}

void cook_compute(const struct cook_setup *setup, struct cook_result *result)
{
    struct cooking work = {.setup = setup};
    struct course cautious =
        course_at(setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
    struct doses doses;
    *result = (struct cook_result){.margin = 0.0};
    fill_nodes(&work);
    move_alone(&work, COOK_COME_UP);
    move_alone(&work, COOK_AIR);
    move_alone(&work, COOK_COOLING);
    /* The resistance, D and z together, at its ends. */
    const struct course middle =
        course_at(work.setup, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL, COOK_CENTRAL);
    factors *factor = work.moved[COOK_RESISTANCE];
    struct doses at_z[COOK_ENDS];
    course_doses(&work, &middle, COOK_BAD, COOK_GOOD, at_z);
    for (size_t i = 0; i < work.setup->organism_count; i++) {
        const struct range *d = &work.setup->organisms[i].d_minutes;
        double central = at_z[COOK_CENTRAL].organisms[i];
        double a = 1.0, b = 1.0;
        /* A small z is bad below the reference temperature and good above it. */
        if (central > 0.0) {
            a = at_z[COOK_BAD].organisms[i] / central;
            b = at_z[COOK_GOOD].organisms[i] / central;
        }
        factor[COOK_BAD][i] = fmin(1.0, fmin(a, b)) * d->central / d->high;
        factor[COOK_CENTRAL][i] = 1.0;
        factor[COOK_GOOD][i] = fmax(1.0, fmax(a, b)) * d->central / d->low;
    }
    fill_ends(&work, result);
    cautious.cool = 0.0;
    cautious.diffusivity = setup->adequate_diffusivity;
    course_doses(&work, &cautious, COOK_CENTRAL, COOK_CENTRAL, &doses);
    result->f0_adequate_at = doses.f0;
    /* Of the minutes it advises, so that advice, chance and verdict say the same. */
    result->verdict = setup->hold >= result->minutes_needed.central ? COOK_ADEQUATE
                      : work.central.f0 >= setup->adequate_f0       ? COOK_MARGINAL
                                                                    : COOK_NOT_ENOUGH;
    fill_leans(&work, result);
    for (int q = 0; q < QUANTILES; q++) {
        doses_at(&work, (q + 0.5) / QUANTILES, &doses);
        add_doses(&work, &doses, 1.0 / QUANTILES, result);
    }
    bound_means(setup, result);
}

/* ---- a cook that was measured in the core: no heat model, the readings as they come ---------- */

void cook_probe_init(struct cook_probe *probe, const struct cook_setup *setup, double longest_gap)
{
    lethality_init(&probe->f0, LETHALITY_F0_CELSIUS, LETHALITY_F0_Z, longest_gap);
    probe->organism_count = setup->organism_count;
    for (size_t i = 0; i < setup->organism_count; i++)
        lethality_init(&probe->organisms[i], setup->organisms[i].reference,
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
static double probe_factor(double z, double doubt, enum cook_end end)
{
    double sign = end == COOK_BAD ? -1.0 : end == COOK_GOOD ? 1.0 : 0.0;
    return lethality_rate(sign * doubt, 0.0, z);
}

enum process_error cook_probe_finish(const struct cook_probe *probe, const struct cook_setup *setup,
                                     double doubt, struct cook_result *result)
{
    struct cooking work = {.setup = setup};
    struct doses *doses = &work.central;
    /* By how D is at its end (the readings are what they are, so z stays central), by the probe's
     * doubt, which stands in the place of the air, and by both. */
    factors *death = work.moved[COOK_RESISTANCE], *reading = work.moved[COOK_AIR], both[COOK_ENDS];
    enum process_error error = lethality_finish(&probe->f0, &doses->f0);
    if (error != PROCESS_OK)
        return error;
    *result = (struct cook_result){.steam = {NAN, NAN, NAN}, .minutes_needed = {NAN, NAN, NAN}};
    for (size_t i = 0; i < setup->organism_count; i++)
        doses->organisms[i] = (double)probe->organisms[i].minutes;
    for (int e = 0; e < COOK_ENDS; e++) {
        const enum cook_end end = (enum cook_end)e;
        struct doses shifted = *doses;
        shifted.f0 *= probe_factor(LETHALITY_F0_Z, doubt, end);
        for (size_t i = 0; i < setup->organism_count; i++) {
            const struct organism *organism = &setup->organisms[i];
            const struct range *d = &organism->d_minutes;
            death[end][i] = end == COOK_CENTRAL ? 1.0 : d->central / at_end(d, opposite(end));
            reading[end][i] = probe_factor(organism->z.central, doubt, end);
            both[end][i] = death[end][i] * reading[end][i];
            work.moved[COOK_COME_UP][end][i] = 1.0;
        }
        fill_end(setup, &shifted, both[end], end, result);
    }
    result->core = (struct range){probe->f0.lowest, probe->f0.last_celsius, probe->f0.highest};
    result->f0_adequate_at = result->f0.low;
    result->verdict = result->f0.low >= setup->adequate_f0    ? COOK_ADEQUATE
                      : result->f0.high >= setup->adequate_f0 ? COOK_MARGINAL
                                                              : COOK_NOT_ENOUGH;
    result->margin = margin_of(setup, doses, both[COOK_CENTRAL], COOK_CENTRAL);
    add_lean(result, 0, COOK_RESISTANCE, margin_of(setup, doses, death[COOK_BAD], COOK_CENTRAL),
             margin_of(setup, doses, death[COOK_GOOD], COOK_CENTRAL));
    add_lean(result, 1, COOK_LOAD, margin_of(setup, doses, both[COOK_CENTRAL], COOK_BAD),
             margin_of(setup, doses, both[COOK_CENTRAL], COOK_GOOD));
    for (size_t i = 2; i < COOK_INPUTS; i++)
        result->leans[i] = (struct cook_lean){COOK_INPUTS, 0.0, 0.0};
    add_doses(&work, doses, 1.0, result);
    bound_means(setup, result);
    return PROCESS_OK;
}
