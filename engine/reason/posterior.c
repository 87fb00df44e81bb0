/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Exact enumeration of P(finding, cause set | evidence).
 *
 * Each observation contributes a factor that depends on the finding and on the
 * pattern of its causes in the set (reason_internal.h). What holds of every set,
 * the factor of pattern 0, is gathered per finding first; then only the sets
 * that hold one of the observation's causes are corrected. Factors are
 * multiplied as they are while no product can leave the range of a double, which
 * is nearly always; otherwise the same sums are made of logarithms.
 */
#include "reason/reason_internal.h"
#include "reason/rows_internal.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Products of factors span less than e^600 (a double spans e^1400) or are made of logarithms. */
static const double SAFE_SPAN = 600.0;

/* ---- room ------------------------------------------------------------------------------------ */

/* What is kept of each observable: a line of a long list has it from others. */
enum { WAYS = 64 };

static bool workspace_arrays(struct workspace *work, const struct reasoner *reasoner, size_t ways)
{
    size_t observables = reasoner->observable_count;

    work->ways = ways;
    work->heard = calloc(observables + 1, sizeof *work->heard);
    work->recalls = calloc(observables * ways + 1, sizeof *work->recalls);
    work->ratios = calloc(observables * ways + 1, sizeof *work->ratios);
    work->recall_turn = calloc(2 * observables + 1, sizeof *work->recall_turn);
    work->kept = malloc((2 * reasoner->room + 1) * sizeof *work->kept);
    work->more = arena_new(NULL);
    if (!work->heard || !work->recalls || !work->ratios || !work->recall_turn || !work->kept ||
        !work->more)
        return false;
    work->ratios_turn = work->recall_turn + observables;
    double *next = work->kept;
    for (size_t i = 0; i < observables; i++) { /* the others get theirs when they are used */
        size_t cells = reasoner->sights[i].pattern_count * reasoner->finding_count;
        work->recalls[i * ways].room = next;
        work->ratios[i * ways].ratio = next + cells;
        next += 2 * cells;
    }
    for (size_t i = 0; i < observables * ways; i++)
        work->ratios[i].power = NAN;
    return true;
}

bool posterior_init_ways(struct posterior *posterior, const struct reasoner *reasoner, size_t ways)
{
    size_t findings = reasoner->finding_count, sets = reasoner->set_count;
    size_t causes = reasoner->cause_count;
    size_t numbers = 2 * findings + 2 * causes + findings * (sets + causes + 1) + sets;
    double *block = calloc(numbers + 1, sizeof *block);
    struct workspace *work = calloc(1, sizeof *work);
    *posterior = (struct posterior){.finding = block, .work = work};
    if (!block || !work || !workspace_arrays(work, reasoner, ways)) {
        posterior_release(posterior);
        return false;
    }
    posterior->cause = posterior->finding + findings;
    posterior->joint = posterior->cause + causes;
    work->set_prior = posterior->joint + findings * sets;
    work->shift = work->set_prior + sets;
    work->row = work->shift + causes;
    work->factor = work->row + findings;
    return true;
}

bool posterior_init(struct posterior *posterior, const struct reasoner *reasoner)
{
    return posterior_init_ways(posterior, reasoner, WAYS);
}

void posterior_release(struct posterior *posterior)
{
    if (posterior->work) {
        free(posterior->work->heard);
        free(posterior->work->recalls);
        free(posterior->work->ratios);
        free(posterior->work->recall_turn);
        free(posterior->work->kept);
        arena_free(posterior->work->more);
    }
    free(posterior->work);
    free(posterior->finding);
    *posterior = (struct posterior){0};
}

/* ---- what is heard, and how much it counts --------------------------------------------------- */

static void hear(const struct reasoner *reasoner, const struct evidence *evidence, double tau,
                 struct workspace *work)
{
    int species = evidence_species(reasoner, evidence);

    work->heard_count = 0;
    for (size_t i = 0; i < reasoner->observable_count; i++) {
        const struct sight *sight = &reasoner->sights[i];
        struct observation said = observation_of(evidence, i);
        if (!observation_tells(sight, &said))
            continue;
        const struct recall *recall = recall_of(reasoner, work, species, i, &said);
        work->heard[work->heard_count++] = (struct heard){
            .observable = i,
            .recall = recall,
            .ln = recall->ln,
            .strength = recall->strength,
            .power = tau,
        };
    }
}

/* Within a group the k-th strongest counts (1 - overlap)^k; among equals the first in the files. */
static void discount_groups(const struct reasoner *reasoner, struct workspace *work)
{
    for (size_t i = 0; i < work->heard_count; i++) {
        int group = reasoner->sights[work->heard[i].observable].group;
        if (group < 0)
            continue;
        for (size_t j = 0; j < work->heard_count; j++) {
            if (j == i || reasoner->sights[work->heard[j].observable].group != group)
                continue;
            double theirs = work->heard[j].strength, own = work->heard[i].strength;
            if (theirs > own || (theirs == own && j < i))
                work->heard[i].power *= 1.0 - reasoner->rules->groups[group].overlap;
        }
    }
}

/* P(S), its odds moved by the shifts. */
static const double *shifted_prior(const struct reasoner *reasoner, const struct evidence *evidence,
                                   struct workspace *work)
{
    if (!evidence || (evidence->shift_count == 0 && evidence->pair_shift_count == 0))
        return reasoner->set_prior;

    const double most = (1.0 - LEAST_CHANCE) / LEAST_CHANCE;
    memset(work->shift, 0, reasoner->cause_count * sizeof *work->shift);
    for (size_t i = 0; i < evidence->shift_count; i++)
        work->shift[evidence->shifts[i].cause] += evidence->shifts[i].log_odds;
    for (size_t c = 0; c < reasoner->cause_count; c++)
        work->shift[c] = fmin(most, fmax(1.0 / most, reasoner->odds[c] * exp(work->shift[c])));
    for (size_t s = 0; s < reasoner->set_count; s++) {
        work->set_prior[s] = 1.0;
        for (int k = 0; k < SET_MAX_CAUSES; k++)
            if (reasoner->sets[s][k] >= 0)
                work->set_prior[s] *= work->shift[reasoner->sets[s][k]];
    }
    for (size_t i = 0; i < evidence->pair_shift_count; i++) {
        const struct pair_shift *pair = &evidence->pair_shifts[i];
        work->set_prior[set_index(reasoner->cause_count, (int)pair->causes[0],
                                  (int)pair->causes[1])] *= exp(pair->log_odds);
    }
    row_scale(work->set_prior, 1.0 / row_sum(work->set_prior, reasoner->set_count),
              reasoner->set_count);
    return work->set_prior;
}

/* ---- the sum --------------------------------------------------------------------------------- */

/* ln of what all sets share, per finding, its highest taken off and returned. */
static double shared_row(const struct reasoner *reasoner, struct workspace *work, double *span)
{
    size_t findings = reasoner->finding_count;
    double low = DBL_MAX, high = -DBL_MAX;

    memset(work->row, 0, findings * sizeof *work->row);
    for (size_t i = 0; i < work->heard_count; i++) {
        double power = work->heard[i].power;
        const double *ln = work->heard[i].ln;
        for (size_t f = 0; f < findings; f++)
            work->row[f] += power * ln[f];
    }
    for (size_t f = 0; f < findings; f++) {
        low = work->row[f] < low ? work->row[f] : low;
        high = work->row[f] > high ? work->row[f] : high;
    }
    for (size_t f = 0; f < findings; f++)
        work->row[f] -= high;
    *span = high - low;
    return high;
}

/* What every set with this cause has over those without it; 1 for RULES_NONE. */
static double *factor_of(const struct workspace *work, int cause, size_t findings)
{
    return work->factor + (size_t)(cause + 1) * findings;
}

static void cause_factors(const struct reasoner *reasoner, struct workspace *work)
{
    size_t findings = reasoner->finding_count;

    for (size_t i = 0; i < (1 + reasoner->cause_count) * findings; i++)
        work->factor[i] = 1.0;
    for (size_t c = 0; c < reasoner->cause_count; c++) {
        double *factor = factor_of(work, (int)c, findings);
        for (size_t i = 0; i < work->heard_count; i++) {
            size_t pattern = reasoner->sights[work->heard[i].observable].pattern[1 + c];
            if (pattern != 0)
                row_times(factor, work->heard[i].ratio + pattern * findings, findings);
        }
    }
}

/* What pairs make of the factors of their two causes, where both weigh on an observation. */
static void pair_factors(const struct reasoner *reasoner, const struct workspace *work,
                         double *joint)
{
    size_t findings = reasoner->finding_count;

    for (size_t i = 0; i < work->heard_count; i++) {
        const struct sight *sight = &reasoner->sights[work->heard[i].observable];
        if (sight->cause_count < 2)
            continue;
        for (size_t s = 1 + reasoner->cause_count; s < reasoner->set_count; s++)
            if (sight->pattern[s] > sight->cause_count)
                row_times(joint + s * findings, work->heard[i].ratio + sight->pattern[s] * findings,
                          findings);
    }
}

/* joint = P(S) P(f|S) times all factors, or false when that could leave the range of a double. */
static bool multiply(const struct reasoner *reasoner, struct workspace *work, const double *prior,
                     double span, double *joint)
{
    size_t findings = reasoner->finding_count;

    for (size_t i = 0; i < work->heard_count; i++) {
        const struct ratios *ratios = ratios_of(reasoner, work, &work->heard[i]);
        work->heard[i].ratio = ratios->ratio;
        span += ratios->span;
    }
    if (!(span < SAFE_SPAN))
        return false;
    for (size_t f = 0; f < findings; f++)
        work->row[f] = exp(work->row[f]);
    cause_factors(reasoner, work);
    for (size_t s = 0; s < reasoner->set_count; s++) {
        const int *causes = reasoner->sets[s];
        row_product(joint + s * findings, prior[s], reasoner->given + s * findings, work->row,
                    factor_of(work, causes[0], findings), factor_of(work, causes[1], findings),
                    findings);
    }
    pair_factors(reasoner, work, joint);
    return true;
}

/* The same from logarithms; returns the ln that was taken off. */
static double add_logarithms(const struct reasoner *reasoner, struct workspace *work,
                             const double *prior, double *joint)
{
    size_t findings = reasoner->finding_count, cells = reasoner->set_count * findings;
    double high = -DBL_MAX;

    for (size_t s = 0; s < reasoner->set_count; s++) {
        double *row = joint + s * findings;
        for (size_t f = 0; f < findings; f++)
            row[f] = log(prior[s]) + log(reasoner->given[s * findings + f]);
        for (size_t i = 0; i < work->heard_count; i++) {
            const struct heard *heard = &work->heard[i];
            const double *ln =
                heard->ln + reasoner->sights[heard->observable].pattern[s] * findings;
            for (size_t f = 0; f < findings; f++)
                row[f] += heard->power * ln[f];
        }
    }
    for (size_t k = 0; k < cells; k++)
        high = fmax(high, joint[k]);
    for (size_t k = 0; k < cells; k++)
        joint[k] = exp(joint[k] - high);
    return high;
}

/* Reads the marginals off the joint and normalises all; returns ln of the sum. */
static double summarise(const struct reasoner *reasoner, struct posterior *posterior)
{
    size_t findings = reasoner->finding_count, cells = reasoner->set_count * findings;

    memset(posterior->finding, 0, findings * sizeof *posterior->finding);
    memset(posterior->cause, 0, reasoner->cause_count * sizeof *posterior->cause);
    for (size_t s = 0; s < reasoner->set_count; s++) {
        const double *row = posterior->joint + s * findings;
        double mass = row_add_sum(posterior->finding, row, findings);
        for (int k = 0; k < SET_MAX_CAUSES; k++)
            if (reasoner->sets[s][k] >= 0)
                posterior->cause[reasoner->sets[s][k]] += mass;
    }
    double total = row_sum(posterior->finding, findings);
    row_scale(posterior->joint, 1.0 / total, cells);
    row_scale(posterior->finding, 1.0 / total, findings);
    row_scale(posterior->cause, 1.0 / total, reasoner->cause_count);
    posterior->no_cause = row_sum(posterior->joint, findings);
    return log(total);
}

/* Masses of the statuses and hazards from those of the findings. */
static void sum_kinds(const struct reasoner *reasoner, struct posterior *posterior)
{
    memset(posterior->status, 0, sizeof posterior->status);
    memset(posterior->hazard, 0, sizeof posterior->hazard);
    for (size_t f = 0; f < reasoner->finding_count; f++) {
        const struct finding *finding = &reasoner->rules->findings[f];
        posterior->status[finding->status] += posterior->finding[f];
        posterior->hazard[finding->hazard] += posterior->finding[f];
    }
}

enum status reason_posterior(const struct reasoner *reasoner, const struct evidence *evidence,
                             double tau, struct posterior *posterior)
{
    struct workspace *work = posterior->work;
    double span;

    if (!work || reasoner->finding_count == 0)
        return STATUS_INTERNAL;
    if (tau < 0.0)
        tau = reasoner->rules->calibration.tau;

    hear(reasoner, evidence, tau, work);
    discount_groups(reasoner, work);
    const double *prior = shifted_prior(reasoner, evidence, work);
    double taken = shared_row(reasoner, work, &span);
    if (!multiply(reasoner, work, prior, span, posterior->joint))
        taken = add_logarithms(reasoner, work, prior, posterior->joint);
    posterior->log_evidence = taken + summarise(reasoner, posterior);
    sum_kinds(reasoner, posterior);
    return STATUS_OK;
}
