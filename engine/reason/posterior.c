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

/* Room a posterior computes in; belongs to the posterior. */
struct workspace {
    struct arena *arena; /* of everything in the posterior */
    double *row;         /* per finding: what holds for every set */
    double *base;        /* likewise: and for every set with one cause */
    double *sum;         /* likewise: over the sets with one cause */
    double *excess;      /* per cause and finding: the factor less 1, where it is not 1: */
    bool *moves;         /* per cause */
    double *factor;      /* likewise, besides: for no cause, then for every set with each cause */
    double *shift;       /* per cause: what its shifts add up to; what they make of its odds */
    double *moved;       /* per set: P(S) times that, not scaled to sum 1 */
    struct heard *heard;
    size_t heard_count;
    bool *paired;  /* per set: a pair in it weighs on something heard, or is shifted */
    size_t *pairs; /* those */
    size_t pair_count;
    double *together; /* [set][finding], where it does: what the two make beside their factors */
    struct recalls *recalls; /* its own, or another's */
    bool shares;
};

/* What was made of an observation: most posteriors are of evidence that differs from that of the one
 * before in a single answer, and the same is said of many vessels. */
struct recall {
    const double *ln; /* ln l_i, [pattern][finding] */
    const double *p;  /* l_i where the tables hold it or somebody asked for it, else NULL */
    double strength;  /* range of ln l_i over the findings, no cause present */
};

/* And of one that counts with a power: less behind stronger signs of its group. */
struct ratios {
    double *ratio; /* [pattern][finding], from pattern 1 up: what its causes make of it */
    double span;   /* how far the logarithms of those for one set can go from 0 */
};

/* An observation that says something, and how much it counts. */
struct heard {
    size_t observable;
    int group;
    struct recall *recall;
    double power;
    struct ratios ratios;
};

/* What was made of observations. */
struct recalls {
    struct arena *kept; /* of what follows */
    struct hashed index, ratio_index;
    struct recall **list;
    struct ratios *ratios;
    size_t count, ratio_count;
};

/* Products of factors span less than e^600 (a double spans e^1400) or are made of logarithms. */
static const double SAFE_SPAN = 600.0;

enum { RECALLS_MOST = 4096 }; /* forgotten beyond */

void posterior_init(struct posterior *posterior, const struct reasoner *reasoner,
                    const struct posterior *beside)
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
        .excess = arena_room(arena, findings * causes, sizeof(double)),
        .moves = arena_array(arena, causes, sizeof *work->moves),
        .factor = arena_array(arena, findings * (causes + 1), sizeof(double)),
        .shift = arena_array(arena, causes, sizeof(double)),
        .moved = arena_array(arena, sets, sizeof(double)),
        .heard = arena_array(arena, observables, sizeof *work->heard),
        .paired = arena_array(arena, sets, sizeof *work->paired),
        .pairs = arena_array(arena, sets, sizeof *work->pairs),
        .together = arena_room(arena, findings * sets, sizeof(double)),
        .recalls = beside ? beside->work->recalls : arena_alloc(arena, sizeof *work->recalls),
        .shares = beside != NULL,
    };
    if (!beside)
        work->recalls->kept = arena_new();
    *posterior = (struct posterior){
        .finding = arena_array(arena, findings, sizeof(double)),
        .cause = arena_array(arena, causes, sizeof(double)),
        .joint = arena_room(arena, findings * sets, sizeof(double)),
        .work = work,
    };
}

void posterior_release(struct posterior *posterior)
{
    struct workspace *work = posterior->work;
    if (work && !work->shares)
        arena_free(work->recalls->kept);
    if (work)
        arena_free(work->arena);
    *posterior = (struct posterior){0};
}

/* What an observation means, made if it is not kept. */
static struct recall *recall_of(const struct reasoner *reasoner, const struct posterior *posterior,
                                int species, size_t observable, const struct observation *said)
{
    const struct sight *sight = &reasoner->sights[observable];
    const struct chances *chances = sight_chances(reasoner, species, observable);
    struct recalls *recalls = posterior->work->recalls;
    size_t cells = sight->pattern_count * reasoner->finding_count;
    const struct {
        struct observation said;
        uint32_t observable;
        int species;
    } key = {*said, (uint32_t)observable, chances->species};
    const uint32_t number = hashed_add(&recalls->index, recalls->kept, hash_of(&key, sizeof key));
    if (number < recalls->count)
        return recalls->list[number];
    struct recall *recall = arena_alloc(recalls->kept, sizeof *recall);
    double *room = arena_room(recalls->kept, cells, sizeof *room);
    *arena_push(recalls->kept, recalls->list, recalls->count) = recall;
    recall->ln = observation_ln(reasoner, species, observable, said, room);
    if (recall->ln != room)
        recall->p = chances->p + (recall->ln - chances->ln);
    recall->strength = sight->group < 0 ? 0.0 : row_range(recall->ln, reasoner->finding_count);
    return recall;
}

FOR_WIDE_VECTORS const double *recall_p(const struct reasoner *reasoner,
                                        const struct posterior *posterior, int species,
                                        size_t observable, const struct observation *said)
{
    struct recall *recall = recall_of(reasoner, posterior, species, observable, said);
    const size_t cells = reasoner->sights[observable].pattern_count * reasoner->finding_count;
    if (recall->p == NULL) {
        double *p = arena_room(posterior->work->recalls->kept, cells, sizeof *p);
        row_exp(p, recall->ln, 1.0, cells);
        recall->p = p;
    }
    return recall->p;
}

/* What the causes of each pattern make of the likelihood to a power, made if it is not kept. */
FOR_WIDE_VECTORS static struct ratios ratios_of(const struct reasoner *reasoner,
                                                struct recalls *recalls, const struct heard *heard)
{
    const struct sight *sight = &reasoner->sights[heard->observable];
    size_t findings = reasoner->finding_count;
    const double *none = heard->recall->ln;
    double alone = 0.0, together = 0.0;
    const struct {
        const struct recall *of;
        double power;
    } key = {heard->recall, heard->power};
    const uint32_t number =
        hashed_add(&recalls->ratio_index, recalls->kept, hash_of(&key, sizeof key));
    if (number < recalls->ratio_count)
        return recalls->ratios[number];
    struct ratios *ratios = arena_push(recalls->kept, recalls->ratios, recalls->ratio_count);
    ratios->ratio = arena_room(recalls->kept, sight->pattern_count * findings, sizeof(double));
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
            ratio[f] = heard->power * (pair ? own[f] - a[f] - b[f] + none[f] : own[f] - none[f]);
            *most = fabs(ratio[f]) > *most ? fabs(ratio[f]) : *most;
        }
        row_exp(ratio, ratio, 1.0, findings);
    }
    ratios->span = 2.0 * alone + together;
    return *ratios;
}

/* Within a group the k-th strongest counts (1 - overlap)^k; among equals the first in the files. */
static void heard_rank(const struct reasoner *reasoner, struct heard *heard, size_t count)
{
    for (size_t i = 0; i < count; i++)
        for (size_t j = 0; heard[i].group >= 0 && j < count; j++) {
            const double own = heard[i].recall->strength, other = heard[j].recall->strength;
            if (heard[j].group == heard[i].group && (other > own || (other == own && j < i)))
                heard[i].power *= 1.0 - reasoner->rules->groups[heard[i].group].overlap;
        }
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

/* A pair makes this beside the factors of its causes. */
static inline void together_times(struct workspace *work, size_t set, const double *by,
                                  size_t findings)
{
    double *together = work->together + set * findings;
    if (work->paired[set]) {
        row_times(together, by, findings);
        return;
    }
    memcpy(together, by, findings * sizeof *together);
    work->paired[set] = true;
    work->pairs[work->pair_count++] = set;
}

/* The factor of all sets, of each cause, and of pairs that make something else together. */
FOR_WIDE_VECTORS static void factors_find(const struct reasoner *reasoner,
                                          const struct evidence *evidence, struct workspace *work)
{
    size_t findings = reasoner->finding_count;
    row_exp(work->row, work->row, 1.0, findings);
    for (size_t i = 0; i < work->pair_count; i++) /* of the posterior before */
        work->paired[work->pairs[i]] = false;
    work->pair_count = 0;
    for (int c = RULES_NONE; c < (int)reasoner->cause_count; c++) {
        row_fill(factor_of(work, c, findings), c < 0 ? 1.0 : work->shift[c], findings);
        if (c >= 0)
            work->moves[c] = work->shift[c] != 1.0;
    }
    for (size_t i = 0; i < work->heard_count; i++) {
        const struct sight *sight = &reasoner->sights[work->heard[i].observable];
        const double *ratio = work->heard[i].ratios.ratio;
        for (size_t c = 0; c < sight->cause_count; c++) {
            row_times(factor_of(work, sight->causes[c], findings), ratio += findings, findings);
            work->moves[sight->causes[c]] = true;
        }
        for (size_t k = 0; k < sight->pair_count; k++)
            together_times(work, sight->pairs[k], ratio += findings, findings);
    }
    for (size_t i = 0; evidence && i < evidence->pair_shift_count; i++) {
        row_fill(work->sum, exp(evidence->pair_shifts[i].log_odds), findings);
        together_times(work, pair_set(reasoner, &evidence->pair_shifts[i]), work->sum, findings);
    }
}

/*
 * P(f, E), but for what was taken off the row. Of most causes nothing was said, and their factor is 1. With d_c the
 * factor of c less 1,
 *
 *   sum_S P(f,S) prod_{c in S} (1 + d_c) = P(f) + sum_a d_a (P(f, a in S) + sum_{b > a} P(f,{a,b}) d_b),
 *
 * and only the others take time. What pairs make beside the factors of their causes is added.
 */
FOR_WIDE_VECTORS static void findings_sum(const struct reasoner *reasoner,
                                          struct posterior *posterior)
{
    struct workspace *work = posterior->work;
    const size_t findings = reasoner->finding_count, size = findings * sizeof(double);
    const size_t causes = reasoner->cause_count;
    const double *with = reasoner->prior_with;
    memcpy(posterior->finding, with, size);
    for (size_t a = causes; a-- > 0;) {
        if (!work->moves[a])
            continue;
        double *excess = work->excess + a * findings;
        const double *factor = factor_of(work, (int)a, findings);
        const double *pairs = reasoner->prior + set_index(causes, (int)a, (int)a) * findings;
        FOR_ROW(findings, AT(excess) = AT(factor) - 1.0);
        memcpy(work->sum, with + (1 + a) * findings, size);
        for (size_t b = a + 1; b < causes; b++)
            if (work->moves[b])
                row_add_product(work->sum, pairs + (b - a) * findings, work->excess + b * findings,
                                findings);
        row_add_product(posterior->finding, excess, work->sum, findings);
    }
    for (size_t i = 0; i < work->pair_count; i++) {
        const size_t set = work->pairs[i];
        const int *of = reasoner->sets[set];
        row_add_excess(posterior->finding, reasoner->prior + set * findings,
                       factor_of(work, of[0], findings), factor_of(work, of[1], findings),
                       work->together + set * findings, findings);
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
    const struct calibration *calibration = &reasoner->rules->calibration;
    int species = evidence_species(reasoner, evidence);
    if (work->recalls->ratio_count > RECALLS_MOST) {
        struct arena *kept = work->recalls->kept;
        arena_reset(kept);
        *work->recalls = (struct recalls){.kept = kept};
    }
    work->heard_count = 0;
    const struct observation *said = evidence ? evidence->observations : NULL;
    for (size_t i = 0; said && i < reasoner->observable_count; i++) {
        if ((said[i].seen | said[i].absent | said[i].silent) == 0 ||
            !observation_tells(&reasoner->sights[i], &said[i]))
            continue;
        const bool answered = evidence->answered && evidence->answered[i];
        work->heard[work->heard_count++] = (struct heard){
            .observable = i,
            .group = reasoner->sights[i].group,
            .recall = recall_of(reasoner, posterior, species, i, &said[i]),
            .power =
                (tau < 0.0 ? calibration->tau : tau) * (answered ? calibration->answered : 1.0),
        };
    }
    heard_rank(reasoner, work->heard, work->heard_count);
    double prior_sum = shift_odds(reasoner, evidence, work);
    double sum = shared_row(reasoner, evidence, work, &span); /* its ln */
    for (size_t i = 0; i < work->heard_count; i++) {
        work->heard[i].ratios = ratios_of(reasoner, work->recalls, &work->heard[i]);
        span += work->heard[i].ratios.span;
    }
    memset(posterior->cause, 0, reasoner->cause_count * sizeof *posterior->cause);
    if (span < SAFE_SPAN) {
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

void reason_sharpen(const struct reasoner *reasoner, const struct posterior *posterior,
                    double *shown)
{
    const struct rules *rules = reasoner->rules;
    const double lapse = rules->calibration.lapse;
    double sum[FINDING_STATUS_COUNT] = {0}, before[FINDING_STATUS_COUNT] = {0};
    for (size_t f = 0; f < rules->finding_count; f++) {
        shown[f] = pow(posterior->finding[f], rules->calibration.sharpness);
        sum[rules->findings[f].status] += shown[f];
        before[rules->findings[f].status] += reasoner->prior_with[f];
    }
    for (size_t f = 0; f < rules->finding_count; f++) {
        const enum finding_status status = rules->findings[f].status;
        const double read = sum[status] > 0 ? shown[f] / sum[status] : 0;
        shown[f] = posterior->status[status] *
                   ((1 - lapse) * read + lapse * reasoner->prior_with[f] / before[status]);
    }
}
