/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What an answer not yet given would make of things.
 *
 * Most answers can be looked at without a new enumeration. The joint, added up
 * over the sets that look alike to the observable asked about, is all that turns
 * an answer's likelihood into the findings' next posterior. Where the answer
 * would change how others count (a stronger sign in its group, a species with
 * its own normality, a statement it completes), the posterior is computed afresh.
 */
#include "reason/reason_internal.h"
#include "reason/rows_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- answers --------------------------------------------------------------------------------- */

bool observation_open(const struct sight *sight, const struct observation *observation)
{
    uint32_t left = sight->all & ~(observation->absent & ~observation->hedged);
    if (observation->seen & sight->all)
        return false;
    return sight->several ? left != 0 : (left & (left - 1)) != 0;
}

size_t answers_find(const struct sight *sight, const struct observation *so_far,
                    struct answer answers[MOST_ANSWERS])
{
    uint32_t denied = so_far->absent & ~so_far->hedged & sight->all;
    size_t count = 0;

    if (sight->several)
        answers[count++] = (struct answer){{.absent = sight->all}, sight->value_count};
    for (size_t v = 0; v < sight->value_count; v++) {
        uint32_t bit = UINT32_C(1) << v;
        if (denied & bit)
            continue;
        answers[count++] =
            (struct answer){{.seen = bit, .absent = sight->several ? sight->all & ~bit : 0}, v};
    }
    return count;
}

/* ---- the asker ------------------------------------------------------------------------------- */

/* P(S) of a posterior. */
static void sets_sum(const struct reasoner *reasoner, const struct posterior *posterior,
                     double *set)
{
    for (size_t s = 0; s < reasoner->set_count; s++)
        set[s] = row_sum(posterior->joint + s * reasoner->finding_count, reasoner->finding_count);
}

/* What counts now, and how strongly within its group. */
static void asker_hear(struct asker *asker)
{
    const struct reasoner *reasoner = asker->reasoner;
    const struct workspace *work = asker->trial.work;

    reason_posterior(reasoner, asker->now, -1.0, &asker->trial);
    for (size_t i = 0; i < reasoner->observable_count; i++)
        asker->strength[i] = NAN;
    for (size_t k = 0; k < work->heard_count; k++) {
        size_t heard = work->heard[k].observable;
        asker->strength[heard] = work->heard[k].strength;
        for (size_t s = 0; s < reasoner->rules->species_count; s++)
            if (reasoner->normal[s * reasoner->observable_count + heard])
                asker->species_matters = true;
    }
}

static bool asker_room(struct asker *asker)
{
    const struct reasoner *reasoner = asker->reasoner;
    size_t findings = reasoner->finding_count, sets = reasoner->set_count;
    size_t cells = reasoner->most_patterns * findings;

    asker->observations = calloc(reasoner->observable_count + 1, sizeof *asker->observations);
    asker->block =
        calloc(4 * cells + findings + 2 * sets + reasoner->observable_count, sizeof *asker->block);
    if (!posterior_init_ways(&asker->trial, reasoner, 1) || !asker->observations || !asker->block)
        return false;
    asker->mass = asker->block;
    asker->likelihood = asker->mass + cells;
    asker->room = asker->likelihood + cells;
    asker->before = asker->room + cells;
    asker->finding = asker->before + cells;
    asker->set = asker->finding + findings;
    asker->set_now = asker->set + sets;
    asker->strength = asker->set_now + sets;
    return true;
}

bool asker_init(struct asker *asker, const struct reasoner *reasoner,
                const struct evidence *evidence, const struct posterior *posterior,
                const struct stakes *stakes)
{
    *asker = (struct asker){
        .reasoner = reasoner,
        .now = evidence,
        .posterior = posterior,
        .stakes = stakes,
        .species = evidence_species(reasoner, evidence),
    };
    if (!asker_room(asker)) {
        asker_release(asker);
        return false;
    }
    if (evidence)
        asker->then = *evidence;
    asker->then.observations = asker->observations;
    for (size_t i = 0; i < reasoner->observable_count; i++)
        asker->observations[i] = observation_of(evidence, i);
    sets_sum(reasoner, posterior, asker->set_now);
    decide_on(reasoner, evidence, posterior->finding, stakes, &asker->decision);
    asker_hear(asker);
    return true;
}

void asker_release(struct asker *asker)
{
    posterior_release(&asker->trial);
    free(asker->observations);
    free(asker->block);
    *asker = (struct asker){0};
}

void mass_by_pattern(const struct reasoner *reasoner, const struct posterior *posterior,
                     size_t observable, double *mass)
{
    const struct sight *sight = &reasoner->sights[observable];
    size_t findings = reasoner->finding_count;

    if (sight->pattern_count == 1) {
        memcpy(mass, posterior->finding, findings * sizeof *mass);
        return;
    }
    memset(mass, 0, sight->pattern_count * findings * sizeof *mass);
    for (size_t s = 0; s < reasoner->set_count; s++)
        row_add(mass + sight->pattern[s] * findings, posterior->joint + s * findings, findings);
}

void asker_turn(struct asker *asker, size_t observable)
{
    mass_by_pattern(asker->reasoner, asker->posterior, observable, asker->mass);
}

/* ---- one answer ------------------------------------------------------------------------------ */

/* The likelihoods of an answer: of a one-of they stand in the tables. */
static const double *answer_likelihood(struct asker *asker, size_t observable,
                                       const struct answer *answer, const double *ln)
{
    const struct sight *sight = &asker->reasoner->sights[observable];
    size_t cells = sight->pattern_count * asker->reasoner->finding_count;

    if (!sight->several)
        return sight_chances(asker->reasoner, asker->species, observable)->p +
               answer->value * cells;
    for (size_t k = 0; k < cells; k++)
        asker->likelihood[k] = exp(ln[k]);
    return asker->likelihood;
}

/* What was passed over in silence is there with the chance that it would have been passed over. */
static double unspoken(const struct asker *asker, uint32_t found)
{
    double chance = 1.0;
    for (; found != 0; found &= found - 1)
        chance *= 1.0 - asker->reasoner->rules->calibration.silence;
    return chance;
}

/* P(answer) as things stand; given what was said of the observable already, if anything was. */
static double answer_weight(struct asker *asker, size_t observable, const struct answer *answer,
                            const double *likelihood)
{
    const struct sight *sight = &asker->reasoner->sights[observable];
    struct observation so_far = observation_of(asker->now, observable);
    size_t cells = sight->pattern_count * asker->reasoner->finding_count;
    double weight = 0.0;

    if (!observation_tells(sight, &so_far))
        return row_dot(asker->mass, likelihood, cells);
    const double *before =
        observation_ln(asker->reasoner, asker->species, observable, &so_far, asker->before);
    for (size_t k = 0; k < cells; k++)
        weight += asker->mass[k] * likelihood[k] / exp(before[k]);
    return weight * unspoken(asker, so_far.silent & answer->said.seen);
}

/*
 * The weight within its group an answer would have if it were the weakest there,
 * so that the others count as before; negative when it is not the weakest.
 */
static double weakest_weight(const struct asker *asker, size_t observable, const double *ln)
{
    const struct reasoner *reasoner = asker->reasoner;
    int group = reasoner->sights[observable].group;
    double weight = 1.0;

    if (group < 0)
        return weight;
    double strength = observation_strength(reasoner, ln);
    for (size_t i = 0; i < reasoner->observable_count; i++) {
        if (i == observable || reasoner->sights[i].group != group || isnan(asker->strength[i]))
            continue;
        if (strength > asker->strength[i] || (strength == asker->strength[i] && observable < i))
            return -1.0;
        weight *= 1.0 - reasoner->rules->groups[group].overlap;
    }
    return weight;
}

/* Findings and sets after the answer, from the joint as it stands. */
static void look_ahead(struct asker *asker, size_t observable, const double *factor, enum aim aim)
{
    const struct reasoner *reasoner = asker->reasoner;
    const struct sight *sight = &reasoner->sights[observable];
    size_t findings = reasoner->finding_count;

    memset(asker->finding, 0, findings * sizeof *asker->finding);
    for (size_t p = 0; p < sight->pattern_count; p++)
        for (size_t f = 0; f < findings; f++)
            asker->finding[f] += asker->mass[p * findings + f] * factor[p * findings + f];
    double share = 1.0 / row_sum(asker->finding, findings);
    row_scale(asker->finding, share, findings);
    for (size_t s = 0; aim == AIM_CAUSE && s < reasoner->set_count; s++)
        asker->set[s] = share * row_dot(asker->posterior->joint + s * findings,
                                        factor + sight->pattern[s] * findings, findings);
}

/* The same by a new enumeration. */
static void start_afresh(struct asker *asker)
{
    size_t findings = asker->reasoner->finding_count;

    reason_posterior(asker->reasoner, &asker->then, -1.0, &asker->trial);
    memcpy(asker->finding, asker->trial.finding, findings * sizeof *asker->finding);
    sets_sum(asker->reasoner, &asker->trial, asker->set);
}

/* Divergence of `then` from `now` in bits; never negative. */
static double divergence(const double *then, const double *now, size_t count)
{
    double bits = 0.0;
    for (size_t i = 0; i < count; i++)
        if (then[i] > 0.0 && now[i] > 0.0)
            bits += then[i] * log2(then[i] / now[i]);
    return bits > 0.0 ? bits : 0.0;
}

/* The likelihoods as they count: raised to a power. */
static const double *tempered(struct asker *asker, size_t cells, const double *ln, double power)
{
    for (size_t k = 0; k < cells; k++)
        asker->likelihood[k] = exp(power * ln[k]);
    return asker->likelihood;
}

void asker_look(struct asker *asker, size_t observable, const struct answer *answer, enum aim aim,
                struct outlook *outlook)
{
    const struct reasoner *reasoner = asker->reasoner;
    const struct sight *sight = &reasoner->sights[observable];
    struct observation so_far = observation_of(asker->now, observable);
    size_t cells = sight->pattern_count * reasoner->finding_count;
    bool names_species = reasoner->rules->feeder[FEEDS_SPECIES] == (int)observable;
    const double *ln =
        observation_ln(reasoner, asker->species, observable, &answer->said, asker->room);
    const double *likelihood = answer_likelihood(asker, observable, answer, ln);
    double weight = weakest_weight(asker, observable, ln);
    double power = reasoner->rules->calibration.tau * weight;

    outlook->weight = answer_weight(asker, observable, answer, likelihood);
    asker->observations[observable] = answer->said;
    if (weight < 0.0 || (names_species && asker->species_matters) ||
        observation_tells(sight, &so_far))
        start_afresh(asker);
    else
        look_ahead(asker, observable, power == 1.0 ? likelihood : tempered(asker, cells, ln, power),
                   aim);
    decide_on(reasoner, &asker->then, asker->finding, asker->stakes, &outlook->decision);
    asker->observations[observable] = so_far;

    const double *loss = outlook->decision.loss;
    outlook->saves = loss[asker->decision.action] - loss[outlook->decision.action];
    outlook->bits = aim == AIM_CAUSE ? divergence(asker->set, asker->set_now, reasoner->set_count)
                                     : divergence(asker->finding, asker->posterior->finding,
                                                  reasoner->finding_count);
}
