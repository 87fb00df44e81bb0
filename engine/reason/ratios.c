/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the causes in a set make of an observation's likelihood.
 *
 * With l_S the likelihood under the set S, to the power the observation counts
 * with, a cause a alone makes l_a / l_{} of it, and a pair what each makes times
 *
 *   l_{a,b} l_{} / (l_a l_b),
 *
 * which is 1 unless both weigh on the observable. So the sets need the product
 * over the observations once a cause, not once a set.
 */
#include "reason/reason_internal.h"

#include <math.h>

static bool same_observation(const struct observation *a, const struct observation *b)
{
    return a->seen == b->seen && a->absent == b->absent && a->hedged == b->hedged &&
           a->silent == b->silent;
}

/* Without memory the first way, which has room from the beginning, is all there is. */
static double *room_for(const struct reasoner *reasoner, struct workspace *work, size_t observable)
{
    size_t cells = reasoner->sights[observable].pattern_count * reasoner->finding_count;
    return arena_array(work->more, cells, sizeof(double));
}

/* The way that is taken next, in turn: until all are, those behind it are empty. */
static size_t next_way(const struct workspace *work, size_t *turn)
{
    size_t way = *turn;
    *turn = way + 1 < work->ways ? way + 1 : 0;
    return way;
}

const struct recall *recall_of(const struct reasoner *reasoner, struct workspace *work, int species,
                               size_t observable, const struct observation *said)
{
    struct recall *ways = work->recalls + observable * work->ways;

    for (size_t i = 0; i < work->ways && ways[i].ln; i++)
        if (ways[i].species == species && same_observation(&ways[i].said, said))
            return &ways[i];
    struct recall *oldest = &ways[next_way(work, &work->recall_turn[observable])];
    if (!oldest->room)
        oldest->room = room_for(reasoner, work, observable);
    if (!oldest->room)
        oldest = &ways[0];
    oldest->said = *said;
    oldest->species = species;
    oldest->ln = observation_ln(reasoner, species, observable, said, oldest->room);
    oldest->strength =
        reasoner->sights[observable].group < 0 ? 0.0 : observation_strength(reasoner, oldest->ln);
    return oldest;
}

/* ratio = exp(power (over - under)), a row each; returns how far from 0 a logarithm goes. */
static double row_ratio(const double *over, const double *under, double power, size_t count,
                        double *ratio)
{
    double most = 0.0;
    for (size_t i = 0; i < count; i++) {
        double ln = power * (over[i] - under[i]);
        most = fabs(ln) > most ? fabs(ln) : most;
        /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference): the first way has room */
        ratio[i] = exp(ln);
    }
    return most;
}

/* The same of ln_ab + ln_none over ln_a + ln_b. */
static double row_joint_ratio(const double *ln[4], double power, size_t count, double *ratio)
{
    double most = 0.0;
    for (size_t i = 0; i < count; i++) {
        double both = power * (ln[0][i] - ln[1][i] - ln[2][i] + ln[3][i]);
        most = fabs(both) > most ? fabs(both) : most;
        ratio[i] = exp(both); /* NOLINT(clang-analyzer-core.NullDereference): likewise */
    }
    return most;
}

/* Patterns 1 and up; returns how far the logarithms of those for one set go from 0. */
static double ratios_fill(const struct sight *sight, size_t findings, const double *ln,
                          double power, double *ratio)
{
    double alone = 0.0, together = 0.0;
    for (size_t p = 1; p < sight->pattern_count; p++) {
        const double *own = ln + p * findings;
        int causes[SET_MAX_CAUSES];
        set_members(sight->cause_count, p, causes);
        if (causes[1] < 0) {
            alone = fmax(alone, row_ratio(own, ln, power, findings, ratio + p * findings));
            continue;
        }
        const double *of[4] = {own, ln + (1 + (size_t)causes[0]) * findings,
                               ln + (1 + (size_t)causes[1]) * findings, ln};
        together = fmax(together, row_joint_ratio(of, power, findings, ratio + p * findings));
    }
    return 2.0 * alone + together;
}

const struct ratios *ratios_of(const struct reasoner *reasoner, struct workspace *work,
                               const struct heard *heard)
{
    const struct recall *recall = heard->recall;
    struct ratios *ways = work->ratios + heard->observable * work->ways;

    for (size_t i = 0; i < work->ways && !isnan(ways[i].power); i++)
        if (ways[i].power == heard->power && ways[i].species == recall->species &&
            same_observation(&ways[i].said, &recall->said))
            return &ways[i];
    struct ratios *oldest = &ways[next_way(work, &work->ratios_turn[heard->observable])];
    if (!oldest->ratio)
        oldest->ratio = room_for(reasoner, work, heard->observable);
    if (!oldest->ratio)
        oldest = &ways[0];
    oldest->said = recall->said;
    oldest->species = recall->species;
    oldest->power = heard->power;
    oldest->span = ratios_fill(&reasoner->sights[heard->observable], reasoner->finding_count,
                               heard->ln, heard->power, oldest->ratio);
    return oldest;
}
