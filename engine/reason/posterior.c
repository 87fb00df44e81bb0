/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <string.h>

#include "reason/model.h"

/* ---- the posterior: exact enumeration of P(finding, cause set | evidence) -------------------- */

/*
 * Each observation contributes a factor that depends on the finding and on the
 * pattern of its causes in the set (model.h). What holds of every set,
 * the factor of pattern 0, is gathered per finding first. With l_S the likelihood
 * under the set S, to the power the observation counts with, a cause a alone
 * makes l_a / l_{} of it, and a pair what each makes times
 *
 *   l_{a,b} l_{} / (l_a l_b),
 *
 * which is 1 unless both weigh on the observable. So the sets need the product
 * over the observations once a cause, not once a set. Factors are multiplied as
 * they are while no product can leave the range of a double, which is nearly
 * always; otherwise the same sums are made of logarithms.
 */

/* What was made of an observation, kept: most posteriors are of evidence that
 * differs from that of the one before in a single answer, and the same is said of
 * many vessels. */
struct recall {
    size_t observable;
    struct observation said;
    int species;      /* RULES_NONE where it makes no difference */
    const double *ln; /* ln l_i, [pattern][finding] */
    double strength;  /* range of ln l_i over the findings, no cause present */
    struct ratios {
        double power;  /* that it counts with; NAN: nothing yet */
        double *ratio; /* [pattern][finding], from pattern 1 up: what its causes make of it */
        double span;   /* how far the logarithms of those for one set can go from 0 */
    } ratios[4];       /* it counts less behind stronger signs of its group */
    size_t turn;       /* of those, which is filled next */
};

/* An observation that says something, while a posterior is being computed. */
struct heard {
    size_t observable;
    double power; /* tau times its weight within its group */
    struct recall *recall;
    const struct ratios *ratios;
};

/* Room a posterior computes in; belongs to the posterior. */
struct workspace {
    struct arena *arena; /* of everything in the posterior */
    double *row;         /* per finding: what holds for every set */
    double *base;        /* likewise: and for every set with one cause */
    double *sum;         /* likewise: over the sets with one cause */
    double *factor;      /* likewise, besides: for no cause, then for every set with each cause */
    double *shift;       /* per cause: what its shifts add up to; what they make of its odds */
    double *moved;       /* per set: P(S) times that, not scaled to sum 1 */
    struct heard *heard;
    size_t heard_count;
    bool *paired; /* per set: a pair in it weighs on something heard, or is shifted */
    double
        *together; /* [set][finding], where it does: what the two make of it beside their factors */
    struct arena *kept;
    struct recall **recalls; /* in `kept`, as are these; open addressing */
    size_t recall_count;
};

/* Products of factors span less than e^600 (a double spans e^1400) or are made of logarithms. */
static const double SAFE_SPAN = 600.0;

enum {
    RECALLS_MOST = 4096, /* more than one text or journal tells apart */
    RECALLS_ROOM = 2 * RECALLS_MOST,
};

static void forget_recalls(struct workspace *work)
{
    arena_reset(work->kept);
    work->recall_count = 0;
    work->recalls = arena_array(work->kept, RECALLS_ROOM, sizeof(struct recall *));
}

void posterior_init(struct posterior *posterior, const struct reasoner *reasoner)
{
    size_t findings = reasoner->finding_count, sets = reasoner->set_count;
    size_t causes = reasoner->cause_count, observables = reasoner->observable_count;
    struct arena *arena = arena_new();
    struct workspace *work = arena_alloc(arena, sizeof *work);
    *work = (struct workspace){
        .arena = arena,
        .row = arena_array(arena, findings, sizeof(double)),
        .base = arena_array(arena, findings, sizeof(double)),
        .sum = arena_array(arena, findings, sizeof(double)),
        .factor = arena_array(arena, findings * (causes + 1), sizeof(double)),
        .shift = arena_array(arena, causes, sizeof(double)),
        .moved = arena_array(arena, sets, sizeof(double)),
        .heard = arena_array(arena, observables, sizeof *work->heard),
        .paired = arena_array(arena, sets, sizeof *work->paired),
        .together = arena_room(arena, findings * sets, sizeof(double)),
        .kept = arena_new(),
    };
    forget_recalls(work);
    *posterior = (struct posterior){
        .finding = arena_array(arena, findings, sizeof(double)),
        .cause = arena_array(arena, causes, sizeof(double)),
        .joint = arena_room(arena, findings * sets, sizeof(double)),
        .work = work,
    };
}

void posterior_release(struct posterior *posterior)
{
    if (posterior->work) {
        arena_free(posterior->work->kept);
        arena_free(posterior->work->arena);
    }
    *posterior = (struct posterior){0};
}

/* Where an observation is kept, or would be. */
static struct recall **recall_place(const struct workspace *work, size_t observable, int species,
                                    const struct observation *said)
{
    uint64_t key = ((uint64_t)said->seen << 32 | said->absent) ^
                   ((uint64_t)said->hedged << 16) * 5 ^ ((uint64_t)said->silent << 8) * 3;
    key = (key ^ observable ^ (uint64_t)(species + 1) << 48) * UINT64_C(0x9E3779B97F4A7C15);
    size_t at = key >> 40 & (RECALLS_ROOM - 1);
    for (const struct recall *recall; (recall = work->recalls[at]) != NULL;
         at = (at + 1) & (RECALLS_ROOM - 1))
        if (recall->observable == observable && recall->species == species &&
            recall->said.seen == said->seen && recall->said.absent == said->absent &&
            recall->said.hedged == said->hedged && recall->said.silent == said->silent)
            break;
    return &work->recalls[at];
}

/* What an observation means, made if it is not kept. */
static struct recall *recall_of(const struct reasoner *reasoner, struct workspace *work,
                                int species, size_t observable, const struct observation *said)
{
    const struct sight *sight = &reasoner->sights[observable];
    if (sight_chances(reasoner, species, observable) == &sight->plain)
        species = RULES_NONE;
    struct recall **place = recall_place(work, observable, species, said);
    struct recall *recall = *place;
    if (recall != NULL)
        return recall;
    recall = *place = arena_alloc(work->kept, sizeof *recall);
    work->recall_count++;
    double *room =
        arena_array(work->kept, sight->pattern_count * reasoner->finding_count, sizeof *room);
    *recall = (struct recall){.observable = observable,
                              .said = *said,
                              .species = species,
                              .ln = observation_ln(reasoner, species, observable, said, room)};
    recall->strength = sight->group < 0 ? 0.0 : observation_strength(reasoner, recall->ln);
    for (size_t i = 0; i < sizeof recall->ratios / sizeof *recall->ratios; i++)
        recall->ratios[i].power = NAN;
    return recall;
}

/* What the causes of each pattern make of the likelihood to a power, made if it is not kept. */
static const struct ratios *ratios_of(const struct reasoner *reasoner, struct workspace *work,
                                      const struct heard *heard)
{
    enum { KEPT = sizeof heard->recall->ratios / sizeof *heard->recall->ratios };
    const struct sight *sight = &reasoner->sights[heard->observable];
    size_t findings = reasoner->finding_count;
    struct recall *recall = heard->recall;
    const double *none = recall->ln;
    double alone = 0.0, together = 0.0;
    for (size_t i = 0; i < KEPT; i++)
        if (recall->ratios[i].power == heard->power)
            return &recall->ratios[i];
    struct ratios *ratios = &recall->ratios[recall->turn];
    recall->turn = (recall->turn + 1) % KEPT;
    if (!ratios->ratio)
        ratios->ratio = arena_room(work->kept, sight->pattern_count * findings, sizeof(double));
    for (size_t p = 1; p < sight->pattern_count; p++) {
        const double *own = none + p * findings;
        double *ratio = ratios->ratio + p * findings;
        int causes[SET_MAX_CAUSES];
        set_members(sight->cause_count, p, causes);
        const double *a = none + (size_t)(1 + causes[0]) * findings;
        const double *b = none + (size_t)(1 + causes[1]) * findings;
        bool pair = causes[1] >= 0;
        double *most = pair ? &together : &alone;
        for (size_t f = 0; f < findings; f++) {
            double ln = heard->power * (pair ? own[f] - a[f] - b[f] + none[f] : own[f] - none[f]);
            *most = fmax(*most, fabs(ln));
            ratio[f] = exp(ln);
        }
    }
    ratios->power = heard->power;
    ratios->span = 2.0 * alone + together;
    return ratios;
}

static size_t pair_set(const struct reasoner *reasoner, const struct pair_shift *pair)
{
    return set_index(reasoner->cause_count, (int)pair->causes[0], (int)pair->causes[1]);
}

/* What the shifts make of the odds of each cause and of P(S); returns the latter's sum. */
static double shift_odds(const struct reasoner *reasoner, const struct evidence *evidence,
                         struct workspace *work)
{
    const double most = (1.0 - LEAST_CHANCE) / LEAST_CHANCE;
    memset(work->shift, 0, reasoner->cause_count * sizeof *work->shift);
    memcpy(work->moved, reasoner->set_prior, reasoner->set_count * sizeof *work->moved);
    bool shifted = evidence && evidence->pair_shift_count > 0;
    for (size_t i = 0; evidence && i < evidence->shift_count; i++)
        work->shift[evidence->shifts[i].cause] += evidence->shifts[i].log_odds;
    for (size_t c = 0; c < reasoner->cause_count; c++) {
        double odds = reasoner->odds[c], shift = work->shift[c];
        shifted = shifted || shift != 0.0;
        work->shift[c] =
            shift == 0.0 ? 1.0 : fmin(most, fmax(1.0 / most, odds * exp(shift))) / odds;
    }
    if (!shifted) /* they sum to 1 as they are */
        return 1.0;
    for (size_t s = 1; s < reasoner->set_count; s++)
        for (int k = 0; k < SET_MAX_CAUSES && reasoner->sets[s][k] >= 0; k++)
            work->moved[s] *= work->shift[reasoner->sets[s][k]];
    for (size_t i = 0; evidence && i < evidence->pair_shift_count; i++)
        work->moved[pair_set(reasoner, &evidence->pair_shifts[i])] *=
            exp(evidence->pair_shifts[i].log_odds);
    return row_sum(work->moved, reasoner->set_count);
}

/* ln of what all sets share, per finding, its highest taken off and returned. */
FOR_WIDE_VECTORS static double shared_row(const struct reasoner *reasoner,
                                          const struct evidence *evidence, struct workspace *work,
                                          double *span)
{
    size_t findings = reasoner->finding_count;
    double low = DBL_MAX, high = -DBL_MAX;
    for (size_t f = 0; f < findings; f++)
        work->row[f] = evidence && evidence->words ? evidence->words[f] : 0.0;
    for (size_t i = 0; i < work->heard_count; i++)
        row_add_times(work->row, work->heard[i].recall->ln, work->heard[i].power, findings);
    for (size_t f = 0; f < findings; f++) {
        low = work->row[f] < low ? work->row[f] : low;
        high = work->row[f] > high ? work->row[f] : high;
    }
    for (size_t f = 0; f < findings; f++)
        work->row[f] -= high;
    *span = high - low;
    return high;
}

static inline void add_to_causes(const struct reasoner *reasoner, size_t set, double mass,
                                 struct posterior *posterior)
{
    for (int k = 0; k < SET_MAX_CAUSES; k++)
        if (reasoner->sets[set][k] >= 0)
            posterior->cause[reasoner->sets[set][k]] += mass;
}

/* What every set with this cause has over those without it; 1 for RULES_NONE. */
static double *factor_of(const struct workspace *work, int cause, size_t findings)
{
    return work->factor + (size_t)(cause + 1) * findings;
}

/* The factors of each cause, and of the pairs that make something else together. */
FOR_WIDE_VECTORS static void factors_find(const struct reasoner *reasoner,
                                          const struct evidence *evidence, struct workspace *work)
{
    size_t findings = reasoner->finding_count,
           pair_shifts = evidence ? evidence->pair_shift_count : 0;
    memset(work->paired, 0, reasoner->set_count * sizeof *work->paired);
    for (int c = RULES_NONE; c < (int)reasoner->cause_count; c++)
        row_fill(factor_of(work, c, findings), c < 0 ? 1.0 : work->shift[c], findings);
    for (size_t i = 0; i < work->heard_count; i++) {
        const struct sight *sight = &reasoner->sights[work->heard[i].observable];
        const double *ratio = work->heard[i].ratios->ratio;
        for (size_t c = 0; c < sight->cause_count; c++)
            row_times(factor_of(work, sight->causes[c], findings), ratio += findings, findings);
        for (size_t k = 0; k < sight->pair_count; k++) {
            double *together = work->together + sight->pairs[k] * findings;
            ratio += findings;
            if (work->paired[sight->pairs[k]])
                row_times(together, ratio, findings);
            else
                memcpy(together, ratio, findings * sizeof *together);
            work->paired[sight->pairs[k]] = true;
        }
    }
    for (size_t i = 0; i < pair_shifts; i++) {
        size_t set = pair_set(reasoner, &evidence->pair_shifts[i]);
        if (!work->paired[set])
            row_fill(work->together + set * findings, 1.0, findings);
        row_scale(work->together + set * findings, exp(evidence->pair_shifts[i].log_odds),
                  findings);
        work->paired[set] = true;
    }
}

/* P(f, E) over all sets, but for what was taken off the row: of the sets with one cause the factors of the other are
 * added up, then comes its own. */
FOR_WIDE_VECTORS static void findings_sum(const struct reasoner *reasoner,
                                          struct posterior *posterior)
{
    struct workspace *work = posterior->work;
    size_t findings = reasoner->finding_count, size = findings * sizeof(double);
    int causes = (int)reasoner->cause_count;
    const double *prior = reasoner->prior, *pair = prior + (size_t)(1 + causes) * findings;
    const double *together = work->together + (pair - prior);
    const bool *paired = work->paired + 1 + causes;
    memcpy(posterior->finding, prior, size);
    for (int a = 0; a < causes; a++) {
        memcpy(work->sum, prior += findings, size);
        for (int b = a + 1; b < causes; b++, pair += findings, together += findings) {
            const double *other = factor_of(work, b, findings);
            if (*paired++)
                row_add_product_of_three(work->sum, pair, other, together, findings);
            else
                row_add_product(work->sum, pair, other, findings);
        }
        row_add_product(posterior->finding, work->sum, factor_of(work, a, findings), findings);
    }
    row_times(posterior->finding, work->row, findings);
}

/* joint = P(f,S) times all factors and `scale`, and its sums over causes. */
FOR_WIDE_VECTORS static void sets_multiply(const struct reasoner *reasoner, double scale,
                                           struct posterior *posterior)
{
    struct workspace *work = posterior->work;
    size_t findings = reasoner->finding_count;
    int first = RULES_NONE - 1; /* cause of `base` */
    row_scale(work->row, scale, findings);
    for (size_t s = 0; s < reasoner->set_count; s++) {
        const int *causes = reasoner->sets[s];
        const int own = causes[1] >= 0 ? causes[0] : RULES_NONE;
        if (own != first)
            row_product(work->base, work->row, factor_of(work, first = own, findings), findings);
        double *row = posterior->joint + s * findings;
        double mass = row_product_sum(row, reasoner->prior + s * findings, work->base,
                                      factor_of(work, causes[causes[1] >= 0], findings), findings);
        if (work->paired[s]) {
            row_times(row, work->together + s * findings, findings);
            mass = row_sum(row, findings);
        }
        add_to_causes(reasoner, s, mass, posterior);
    }
}

/* The same from logarithms, where products would leave the range of a double: joint, findings and causes,
 * scaled to sum 1. Returns ln of what the sum was. */
static double add_logarithms(const struct reasoner *reasoner, const struct evidence *evidence,
                             struct posterior *posterior)
{
    const struct workspace *work = posterior->work;
    size_t findings = reasoner->finding_count, cells = reasoner->set_count * findings;
    double *joint = posterior->joint, high = -DBL_MAX;
    for (size_t s = 0; s < reasoner->set_count; s++) {
        double *row = joint + s * findings;
        for (size_t f = 0; f < findings; f++)
            row[f] = log(work->moved[s]) + log(reasoner->given[s * findings + f]) +
                     (evidence && evidence->words ? evidence->words[f] : 0.0);
        for (size_t i = 0; i < work->heard_count; i++) {
            const struct heard *heard = &work->heard[i];
            const double *ln =
                heard->recall->ln + reasoner->sights[heard->observable].pattern[s] * findings;
            for (size_t f = 0; f < findings; f++)
                row[f] += heard->power * ln[f];
        }
    }
    for (size_t k = 0; k < cells; k++)
        high = fmax(high, joint[k]);
    for (size_t k = 0; k < cells; k++)
        joint[k] = exp(joint[k] - high);
    double total = row_sum(joint, cells);
    row_scale(joint, 1.0 / total, cells);
    memset(posterior->finding, 0, findings * sizeof *posterior->finding);
    for (size_t s = 0; s < reasoner->set_count; s++)
        add_to_causes(reasoner, s, row_add_sum(posterior->finding, joint + s * findings, findings),
                      posterior);
    posterior->no_cause = row_sum(joint, findings);
    return high + log(total);
}

/* Of the findings alone, or with `whole` of causes and sets, too. */
static void posterior_find(const struct reasoner *reasoner, const struct evidence *evidence,
                           double tau, bool whole, struct posterior *posterior)
{
    struct workspace *work = posterior->work;
    size_t findings = reasoner->finding_count;
    double span;
    if (tau < 0.0)
        tau = reasoner->rules->calibration.tau;
    int species = evidence_species(reasoner, evidence);
    if (work->recall_count > RECALLS_MOST)
        forget_recalls(work);
    work->heard_count = 0;
    for (size_t i = 0; i < reasoner->observable_count; i++) {
        struct observation said = observation_of(evidence, i);
        if ((said.seen | said.absent | said.silent) != 0 &&
            observation_tells(&reasoner->sights[i], &said))
            work->heard[work->heard_count++] =
                (struct heard){i, tau, recall_of(reasoner, work, species, i, &said), NULL};
    }
    /* Within a group the k-th strongest counts (1 - overlap)^k; among equals the first in the files. */
    for (size_t i = 0; i < work->heard_count; i++) {
        int group = reasoner->sights[work->heard[i].observable].group;
        if (group < 0)
            continue;
        for (size_t j = 0; j < work->heard_count; j++) {
            if (j == i || reasoner->sights[work->heard[j].observable].group != group)
                continue;
            double theirs = work->heard[j].recall->strength, own = work->heard[i].recall->strength;
            if (theirs > own || (theirs == own && j < i))
                work->heard[i].power *= 1.0 - reasoner->rules->groups[group].overlap;
        }
    }
    double prior_sum = shift_odds(reasoner, evidence, work);
    double sum = shared_row(reasoner, evidence, work, &span); /* its ln */
    for (size_t i = 0; i < work->heard_count; i++) {
        work->heard[i].ratios = ratios_of(reasoner, work, &work->heard[i]);
        span += work->heard[i].ratios->span;
    }
    memset(posterior->cause, 0, reasoner->cause_count * sizeof *posterior->cause);
    if (span < SAFE_SPAN) {
        for (size_t f = 0; f < findings; f++)
            work->row[f] = exp(work->row[f]);
        factors_find(reasoner, evidence, work);
        findings_sum(reasoner, posterior);
        double total = row_sum(posterior->finding, findings);
        row_scale(posterior->finding, 1.0 / total, findings);
        posterior->no_cause = row_dot(work->row, reasoner->prior, findings) / total;
        if (whole)
            sets_multiply(reasoner, 1.0 / total, posterior);
        sum += log(total);
    } else {
        sum = add_logarithms(reasoner, evidence, posterior);
    }
    posterior->log_evidence = sum - log(prior_sum);
    memset(posterior->status, 0, sizeof posterior->status);
    memset(posterior->hazard, 0, sizeof posterior->hazard);
    for (size_t f = 0; f < findings; f++) {
        const struct finding *finding = &reasoner->rules->findings[f];
        posterior->status[finding->status] += posterior->finding[f];
        posterior->hazard[finding->hazard] += posterior->finding[f];
    }
}

void reason_posterior(const struct reasoner *reasoner, const struct evidence *evidence, double tau,
                      struct posterior *posterior)
{
    posterior_find(reasoner, evidence, tau, true, posterior);
}

void reason_findings(const struct reasoner *reasoner, const struct evidence *evidence, double tau,
                     struct posterior *posterior)
{
    posterior_find(reasoner, evidence, tau, false, posterior);
}
