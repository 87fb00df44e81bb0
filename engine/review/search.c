/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/review.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/param.h>

/*
 * Which levels of which factors raise the losses?
 *
 * Time at risk. A vessel is in danger on each day of its age until it is lost, used or today. The
 * chance of a loss on a day, the hazard h(a), is the journal's own: losses over vessels at risk at
 * that age, smoothed over two days either way and drawn to a usual course by a prior. What a vessel
 * went through is its exposure, the sum of h over its days, so that the exposures of all add up to
 * the losses (Nelson 1972, Technometrics 14:945; as in the log-rank test). A vessel that changed
 * place is cut into pieces, each of which counts where it was.
 *
 * Batches. Losses of a batch go together. Those of batch b are Poisson with mean g E_b, E_b its
 * exposure and g its frailty, a gamma variable with mean 1 and variance f: negative binomial
 * (Greenwood & Yule 1920, J R Stat Soc 83:255). A level l that multiplies the hazard by t turns E_b
 * into m (E_b + (t - 1) E_bl), where m keeps the losses of all as many as they were. The logarithm of
 * the likelihood is then, but for what does not change,
 *
 *   O_l ln t + O ln m - sum_b (O_b + 1/f) ln(1 + f m (E_b + (t - 1) E_bl)),
 *
 * for levels that whole batches share as well as for those that part a batch; where f is large the
 * first have to show more, while the others are compared within batches.
 *
 * Drift. All losses may rise or fall over the season: E_b times exp(d s_b), s_b the time of the batch
 * from -1/2 to 1/2.
 *
 * The Bayes factor of a level is the mean of the likelihood over t, f and d by their priors, against
 * that without a level. Its weight is the logarithm of that times its prior: a journal has one
 * culprit on average, shared out over the levels by how common culprits of their scope are. The
 * odds, the sum of exp(weight) over all levels, say how much likelier these losses are with some
 * culprit than without one.
 *
 * By chance alone the odds exceed k in one journal of k at most (Ville 1939; Markov's inequality). In
 * simulated seasons without a fault it is one of 5 k or fewer, whatever the design
 * (tests/outside/review_seasons_test.c): so those that may be met in a share `level` are 1 / (5 level).
 */

enum { DRIFTS = 3, FRAILTIES = 4, RATIOS = 4, GRID = DRIFTS * FRAILTIES, BASES = 10, AGES = 128 };
/* Expert judgement, held against simulated seasons (tests/outside/review_seasons_test.c): losses
 * that treble over a season, or fall to a third; at a usual loss of one in ten, a correlation
 * within batches of 0.003 to 0.14 (about f / 10); faults that double losses or raise them
 * twelvefold. */
static const double drifts[DRIFTS] = {0.0, -1.2, 1.2}, drift_prior[DRIFTS] = {0.7, 0.15, 0.15};
static const double correlations[FRAILTIES] = {0.003, 0.025, 0.07, 0.15};
static const double frailty_prior[FRAILTIES] = {0.3, 0.2, 0.25, 0.25};
static const double ratios[RATIOS] = {2.0, 3.6, 6.5, 12.0}; /* equally likely */
/* Of reviews that are held, three have a culprit for one that has none. */
static const double usual_odds = 3.0;
/* Of drift and frailty: what is less likely is passed over. */
static const double negligible = 1e-4;

struct candidate {
    uint32_t factor, level;
    bool asked;  /* there is something inside and outside */
    bool raised; /* it lost more than expected */
    struct counts inside, outside, controls;
    struct added {
        double expected[DRIFTS];
        double score, own, shared; /* of the score test */
    } added;                       /* over its cells */
    uint32_t row;                  /* in search.sums */
    double log_bayes, weight, test_p, q;
};

struct piece { /* of a vessel's time, in one place */
    uint32_t vessel;
    float exposure;
    int16_t age; /* at its beginning */
    bool lost;   /* at its end */
    bool last;   /* of the vessel */
};

struct cell { /* what a level has of a batch */
    uint32_t level, batch;
    double exposure;
};

struct frame { /* the batches, with or without controls */
    bool controls;
    double *lost, *exposure; /* of each batch; the exposures add up to the losses */
    double *share;           /* of each drift and batch: what drift makes of its exposure */
    double sum, scale;       /* of the losses; of exposures */
    double frailty[FRAILTIES];
    double weight[GRID]; /* P(drift, frailty) without a culprit */
    /* sum_b (O_b + 1/f) ln(1 + f m E_b) at m = k / BASES, where the weight is not negligible */
    double base[GRID][BASES + 1];
    size_t best; /* the likeliest */
};

struct search {
    const struct dataset *dataset;
    const struct review_rule *rule;
    const uint8_t *standing;
    struct piece *pieces; /* batch by batch */
    size_t *batch;        /* of each batch its first piece; one more at the end */
    size_t batch_count;
    double *time;   /* of each batch, -1/2 to 1/2 */
    uint8_t *cover; /* of each piece: bit k when culprit k explains it */
    unsigned mask;  /* culprits whose pieces are set aside */
    struct candidate *candidates;
    size_t count;
    size_t *first; /* of each factor: its first candidate; one more at the end */
    bool *same; /* of each candidate: it is computed, and has the very vessels of one level of what
                   it was computed from. It says why, and is not asked itself. */
    uint32_t *
        *only; /* of a computed factor: the only level met by each of what it was computed from */
    double *log_prior;      /* of each level of each factor */
    struct frame frames[2]; /* of all, and without controls */
    size_t frame_count;
    struct cell *cells; /* of the factor that was gathered last, batch by batch */
    size_t cell_count;
    size_t *newest; /* of each of its levels: 1 + the index of its newest cell; 0 for none */
    double *sums;   /* of each raised level, grid point and ratio */
    bool small;     /* few enough cells to ask for pairs, and for levels that hardly stand out */
};

/* ---- time at risk ------------------------------------------------------------------------------- */

/* The stay after the one at an age. */
static uint32_t next_stay(const struct factor *factor, size_t vessel, int age)
{
    uint32_t s = factor->first_stay[vessel] + 1, end = factor->first_stay[vessel + 1];
    while (s < end && factor->stays[s].from <= age)
        s++;
    return s;
}

static uint32_t level_at(const struct factor *factor, const struct piece *piece)
{
    return factor->stays == NULL
               ? factor->level[piece->vessel]
               : factor->stays[next_stay(factor, piece->vessel, piece->age) - 1].level;
}

int32_t vessel_days(const struct dataset *dataset, size_t vessel)
{
    int32_t entered = dataset->entered[vessel], ended = dataset->ended[vessel];
    uint8_t fate = dataset->fate[vessel];
    if (fate == FATE_OPEN)
        ended = dataset->today;
    if (fate == FATE_COUNT || entered == DAY_NONE || ended == DAY_NONE || ended < entered ||
        ended > dataset->today)
        return -1;
    return (int64_t)ended - entered < INT32_MAX ? ended - entered : INT32_MAX;
}

/* Days in danger, as far as they are counted. */
static int age_of(const struct dataset *dataset, size_t vessel)
{
    int32_t days = vessel_days(dataset, vessel);
    return days < AGES ? days : AGES - 1;
}

/* What a vessel has gone through up to each age. */
static void find_hazard(const struct search *search, double exposure[AGES])
{
    static const double prior = 4.0; /* losses */
    const struct dataset *dataset = search->dataset;
    double risk[AGES + 1] = {0.0}, lost[AGES] = {0.0}, usual[AGES], known = 0.5, all = 1e-9;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int age = age_of(dataset, i);
        if (search->standing[i] == STANDING_OUT || age < 0)
            continue;
        risk[age]++;
        lost[age] += search->standing[i] == STANDING_LOST;
        known += search->standing[i] == STANDING_LOST;
    }
    for (int a = AGES - 1; a >= 0; a--) {
        /* Most contamination shows within two thirds of the time it is watched for, nearly all in
         * it. */
        double scale = search->rule->watched / 7.0;
        risk[a] += risk[a + 1];
        usual[a] =
            gsl_cdf_gamma_P(a + 0.5, 3.0, scale) - gsl_cdf_gamma_P(fmax(0.0, a - 0.5), 3.0, scale);
        all += usual[a] * risk[a];
    }
    double sum = 0.0;
    for (int a = 0; a < AGES; a++) {
        double d = prior * usual[a], n = prior * all / known;
        for (int k = -2; k <= 2; k++) {
            if (a + k < 0 || a + k >= AGES)
                continue;
            d += (3 - abs(k)) / 9.0 * lost[a + k];
            n += (3 - abs(k)) / 9.0 * risk[a + k];
        }
        exposure[a] = sum += d / n;
    }
}

/* The first age above `age` at which a vessel changed its level of some factor; AGES for none. */
static int next_change(const struct search *search, size_t vessel, int age)
{
    int next = AGES;
    const struct factor *factor = search->dataset->factors;
    for (size_t f = 0; f < search->dataset->factor_count; f++, factor++) {
        uint32_t s = factor->stays != NULL ? next_stay(factor, vessel, age) : 0;
        if (factor->stays != NULL && s < factor->first_stay[vessel + 1])
            next = MIN(next, factor->stays[s].from);
    }
    return next;
}

/* Puts the pieces of a vessel down; how many. */
static size_t cut_vessel(const struct search *search, size_t vessel, const double exposure[AGES],
                         struct piece *to)
{
    bool lost = search->standing[vessel] == STANDING_LOST;
    int age = age_of(search->dataset, vessel), from = age < 0 ? AGES : 0;
    /* Of unknown days: a sound one stood them all, a lost one half of them. */
    double all = age >= 0 ? exposure[age] : exposure[AGES - 1] / (lost ? 2.0 : 1.0), before = 0.0;
    size_t count = 0;
    for (bool last = false; !last; count++) {
        int next = next_change(search, vessel, from);
        last = next > age;
        double now = last ? all : exposure[next - 1];
        to[count] = (struct piece){.vessel = (uint32_t)vessel,
                                   .exposure = (float)(now - before),
                                   .age = (int16_t)from,
                                   .lost = lost && last,
                                   .last = last};
        before = now;
        from = next;
    }
    return count;
}

static void place_batches(struct search *search)
{
    double low = INFINITY, high = -INFINITY, *time = search->time;
    for (size_t b = 0; b < search->batch_count; b++) {
        size_t known = 0;
        for (size_t p = search->batch[b]; p < search->batch[b + 1]; p++) {
            int32_t day = search->dataset->entered[search->pieces[p].vessel];
            time[b] += day != DAY_NONE ? (double)day : 0.0;
            known += day != DAY_NONE;
        }
        time[b] = known > 0 ? time[b] / (double)known : NAN;
        low = fmin(low, time[b]);
        high = fmax(high, time[b]);
    }
    for (size_t b = 0; b < search->batch_count; b++)
        time[b] = high > low && !isnan(time[b]) ? (time[b] - low) / (high - low) - 0.5 : 0.0;
}

static void cut_pieces(struct search *search, struct arena *arena)
{
    const struct dataset *dataset = search->dataset;
    double exposure[AGES];

    find_hazard(search, exposure);
    const struct factor *batches =
        dataset->batch < dataset->factor_count ? &dataset->factors[dataset->batch] : NULL;
    struct arena *own SCOPED_ARENA = arena_new();
    const struct chains chains = chain_vessels(dataset, batches, own);
    size_t count = 0, room = dataset->vessel_count;
    for (size_t f = 0; f < dataset->factor_count; f++)
        if (dataset->factors[f].stays != NULL)
            room += dataset->factors[f].first_stay[dataset->vessel_count] - dataset->vessel_count;
    search->batch_count = batches != NULL ? batches->level_count + 1 : 1;
    search->batch = arena_array(arena, search->batch_count + 1, sizeof *search->batch);
    search->pieces = arena_array(arena, room, sizeof *search->pieces);
    search->cover = arena_array(arena, room, sizeof *search->cover);
    for (size_t b = 0; b < search->batch_count; b++) {
        for (uint32_t i = chains.first[b]; i != LEVEL_NONE; i = chains.next[i])
            if (search->standing[i] != STANDING_OUT)
                count += cut_vessel(search, i, exposure, &search->pieces[count]);
        search->batch[b + 1] = count;
    }
    search->time = arena_array(arena, search->batch_count, sizeof *search->time);
    place_batches(search);
}

/* ---- batches without a culprit ------------------------------------------------------------------ */

static bool set_aside(const struct search *search, size_t piece, const struct frame *frame)
{
    return (search->cover[piece] & search->mask) != 0 ||
           (!frame->controls && search->dataset->control[search->pieces[piece].vessel]);
}

/* Losses and exposure of each batch, and how drift would shift them. */
static void frame_expose(const struct search *search, struct frame *frame)
{
    size_t batches = search->batch_count;
    double exposure = 0.0, vessels = 0.0;
    frame->sum = 0.0;
    for (size_t b = 0; b < batches; b++) {
        frame->lost[b] = frame->exposure[b] = 0.0;
        for (size_t p = search->batch[b]; p < search->batch[b + 1]; p++)
            if (!set_aside(search, p, frame)) {
                frame->lost[b] += search->pieces[p].lost;
                frame->exposure[b] += (double)search->pieces[p].exposure;
                vessels += search->pieces[p].last;
            }
        frame->sum += frame->lost[b];
        exposure += frame->exposure[b];
    }
    frame->scale = exposure > 0.0 ? frame->sum / exposure : 0.0;
    double rate = fmin(0.9, fmax(0.02, frame->sum / fmax(1.0, vessels)));
    for (size_t f = 0; f < FRAILTIES; f++)
        frame->frailty[f] = correlations[f] * (1.0 - rate) / rate;
    for (size_t g = 0; g < DRIFTS; g++) {
        double all = 0.0, *share = &frame->share[g * batches];
        for (size_t b = 0; b < batches; b++)
            all += (share[b] = exp(drifts[g] * search->time[b])) * frame->exposure[b];
        for (size_t b = 0; b < batches; b++)
            share[b] *= all > 0.0 ? exposure / all : 1.0;
    }
    for (size_t b = 0; b < batches; b++)
        frame->exposure[b] *= frame->scale;
}

/* Adds up what the base m = j / BASES makes of the batches, at a grid point. */
static double base_sum(const struct search *search, const struct frame *frame, size_t k, size_t j)
{
    const double *share = &frame->share[k / FRAILTIES * search->batch_count];
    double v = frame->frailty[k % FRAILTIES], sum = 0.0;
    for (size_t b = 0; b < search->batch_count; b++) {
        double rise = v * frame->exposure[b] * share[b] / BASES;
        sum += (frame->lost[b] + 1.0 / v) * (double)log1pf((float)(rise * (double)j));
    }
    return sum;
}

/* P(drift, frailty) from the losses of the batches. */
static void frame_weigh(const struct search *search, struct frame *frame)
{
    double clumped[FRAILTIES] = {0.0}, drifted[DRIFTS] = {0.0}, most = -INFINITY, sum = 0.0;
    for (size_t f = 0; f < FRAILTIES; f++) { /* sum_j ln(1 + f j) below the losses of each batch */
        double v = frame->frailty[f], by = log(v), usual = gsl_sf_lngamma(1.0 / v);
        for (size_t b = 0; b < search->batch_count; b++)
            if (frame->lost[b] > 1.0)
                clumped[f] +=
                    frame->lost[b] * by + gsl_sf_lngamma(frame->lost[b] + 1.0 / v) - usual;
    }
    for (size_t g = 0; g < DRIFTS; g++)
        for (size_t b = 0; b < search->batch_count; b++)
            if (frame->lost[b] > 0.0)
                drifted[g] += frame->lost[b] * log(frame->share[g * search->batch_count + b]);
    frame->best = 0;
    for (size_t k = 0; k < GRID; k++) {
        frame->base[k][BASES] = base_sum(search, frame, k, BASES);
        frame->weight[k] = clumped[k % FRAILTIES] + drifted[k / FRAILTIES] - frame->base[k][BASES] +
                           log(drift_prior[k / FRAILTIES] * frailty_prior[k % FRAILTIES]);
        most = fmax(most, frame->weight[k]);
        frame->best = frame->weight[k] > frame->weight[frame->best] ? k : frame->best;
    }
    for (size_t k = 0; k < GRID; k++)
        sum += frame->weight[k] = exp(frame->weight[k] - most);
    for (size_t k = 0; k < GRID; k++) {
        frame->weight[k] /= sum;
        for (size_t j = 1; j < BASES && frame->weight[k] > negligible; j++)
            frame->base[k][j] = base_sum(search, frame, k, j);
    }
}

/* ---- levels ------------------------------------------------------------------------------------- */

static struct frame *frame_of(struct search *search, size_t f)
{
    bool controls = factor_kinds[search->dataset->factors[f].kind].control;
    return &search->frames[controls ? 0 : search->frame_count - 1];
}

static bool inside(const struct search *search, const struct candidate *candidate,
                   const struct piece *piece)
{
    const struct factor *of = &search->dataset->factors[candidate->factor];
    return level_at(of, piece) == candidate->level &&
           (!search->dataset->control[piece->vessel] || factor_kinds[of->kind].control);
}

/* The cells of a factor, and the counts of its levels. Of `within` (or NULL) only the vessels inside
 * belong to levels. The counts of all, within or not. */
static struct counts gather(struct search *search, size_t f, const struct candidate *within)
{
    const struct frame *frame = frame_of(search, f);
    const struct factor *of = &search->dataset->factors[f];
    struct counts all = {0, 0};

    search->cell_count = 0;
    memset(search->newest, 0, of->level_count * sizeof *search->newest);
    for (uint32_t b = 0; b < search->batch_count; b++)
        for (size_t p = search->batch[b]; p < search->batch[b + 1]; p++) {
            const struct piece *piece = &search->pieces[p];
            uint32_t level = level_at(of, piece);
            if (level == LEVEL_NONE || set_aside(search, p, frame))
                continue;
            all.total += piece->last; /* one of several places counts once in all */
            all.lost += piece->lost;
            if (within != NULL && !inside(search, within, piece))
                continue;
            size_t *newest = &search->newest[level];
            if (*newest == 0 || search->cells[*newest - 1].batch != b) {
                search->cells[search->cell_count++] = (struct cell){level, b, 0.0};
                *newest = search->cell_count;
            }
            search->cells[*newest - 1].exposure += (double)piece->exposure * frame->scale;
            struct candidate *candidate = &search->candidates[search->first[f] + level];
            candidate->inside.lost += piece->lost;
            candidate->inside.total++;
            if (search->dataset->control[piece->vessel]) {
                candidate->controls.lost += piece->lost;
                candidate->controls.total++;
            }
        }
    return all;
}

/* Adds up what a level has by itself, and what the score test asks. */
static void add_cells(struct search *search, size_t f)
{
    const struct frame *frame = frame_of(search, f);
    const double *share = &frame->share[frame->best / FRAILTIES * search->batch_count];
    double v = frame->frailty[frame->best % FRAILTIES];

    for (const struct cell *cell = search->cells; cell < search->cells + search->cell_count;
         cell++) {
        struct added *of = &search->candidates[search->first[f] + cell->level].added;
        double e = share[cell->batch] * cell->exposure;
        double w = 1.0 + v * share[cell->batch] * frame->exposure[cell->batch];
        for (size_t g = 0; g < DRIFTS; g++)
            of->expected[g] += frame->share[g * search->batch_count + cell->batch] * cell->exposure;
        of->score += e * ((1.0 + v * frame->lost[cell->batch]) / w);
        of->own += e - e * e * (v / w);
        of->shared += e * (1.0 / w);
    }
}

/* One-sided p of losses beyond the expected: the score of the likelihood at ratio 1, at the
 * likeliest drift and frailty, as far out as a Poisson number of the same variance. How many are
 * raised. */
static size_t score_levels(struct search *search, size_t f)
{
    const struct frame *frame = frame_of(search, f);
    struct candidate *candidates = &search->candidates[search->first[f]];
    const double *share = &frame->share[frame->best / FRAILTIES * search->batch_count];
    double v = frame->frailty[frame->best % FRAILTIES], all = 0.0;
    /* Of the many levels of a large table only those that stand out could count. */
    double least = search->small ? 0.5 : 3.0;
    uint32_t raised = 0;

    for (size_t b = 0; b < search->batch_count; b++)
        all += share[b] * frame->exposure[b] / (1.0 + v * share[b] * frame->exposure[b]);
    for (size_t l = 0; l < search->dataset->factors[f].level_count; l++) {
        struct candidate *of = &candidates[l];
        const struct added *sum = &of->added;
        double info = sum->own - sum->shared * sum->shared / all,
               off = (double)of->inside.lost - sum->score;
        of->raised = of->asked && info > 0.0 && off > least * sqrt(info);
        of->row = of->raised ? raised++ : 0;
        of->test_p = !of->asked                ? NAN
                     : info > 0.0 && off > 0.0 ? gsl_cdf_gamma_P(info, off + info, 1.0)
                                               : 1.0;
        of->log_bayes = of->weight = -INFINITY;
    }
    return raised;
}

/* Adds up what the cells of raised levels say at each grid point and ratio. */
static void add_falls(struct search *search, size_t f)
{
    const struct frame *frame = frame_of(search, f);
    const struct candidate *candidates = &search->candidates[search->first[f]];
    for (size_t c = 0; c < search->cell_count; c++) {
        const struct cell *cell = &search->cells[c];
        const struct candidate *of = &candidates[cell->level];
        double *sums = &search->sums[(size_t)of->row * GRID * RATIOS];
        for (size_t k = 0; k < GRID && of->raised; k++) {
            double share = frame->share[k / FRAILTIES * search->batch_count + cell->batch];
            double v = frame->frailty[k % FRAILTIES];
            for (size_t t = 0; t < RATIOS && frame->weight[k] > negligible; t++) {
                double over = ratios[t] - 1.0;
                double m =
                    frame->sum / (frame->sum + over * of->added.expected[k / FRAILTIES]) * share;
                sums[k * RATIOS + t] +=
                    (frame->lost[cell->batch] + 1.0 / v) *
                    (double)log1pf((float)(m * over * cell->exposure /
                                           (1.0 / v + m * frame->exposure[cell->batch])));
            }
        }
    }
}

/* The sum over batches at a base, between the two that were added up. */
static double base_at(const double base[BASES + 1], double m)
{
    size_t k = m < 1.0 ? (size_t)(m * BASES) : BASES - 1;
    return base[k] + (m * BASES - (double)k) * (base[k + 1] - base[k]);
}

static double log_bayes_of(const struct search *search, const struct frame *frame,
                           const struct candidate *of)
{
    const double *sums = &search->sums[(size_t)of->row * GRID * RATIOS];
    double mean = 0.0, most = 0.0, parts[GRID * RATIOS];
    for (size_t k = 0; k < GRID; k++)
        for (size_t t = 0; t < RATIOS; t++) {
            double over = ratios[t] - 1.0;
            double m = frame->sum / (frame->sum + over * of->added.expected[k / FRAILTIES]);
            double part = frame->weight[k] > negligible
                              ? (double)of->inside.lost * log(ratios[t]) + frame->sum * log(m) -
                                    base_at(frame->base[k], m) + frame->base[k][BASES] -
                                    sums[k * RATIOS + t]
                              : -INFINITY;
            parts[k * RATIOS + t] = part;
            most = fmax(most, part);
        }
    for (size_t k = 0; k < (size_t)GRID * RATIOS; k++)
        mean += frame->weight[k / RATIOS] / RATIOS * exp(parts[k] - most);
    return log(mean) + most;
}

/* Weighs the levels of a factor. */
static void weigh_factor(struct search *search, size_t f, const struct candidate *within)
{
    struct candidate *first = &search->candidates[search->first[f]];
    const struct candidate *end = &search->candidates[search->first[f + 1]];
    for (struct candidate *of = first; of < end; of++) {
        of->inside = of->controls = (struct counts){0, 0};
        of->added = (struct added){.score = 0.0};
    }
    const struct counts all = gather(search, f, within);
    add_cells(search, f);
    for (struct candidate *of = first; of < end; of++) {
        struct counts in = of->inside;
        of->outside =
            (struct counts){all.lost - in.lost, all.total > in.total ? all.total - in.total : 0};
        of->asked = in.total > 0 && all.total > in.total && !search->same[of - search->candidates];
    }
    size_t raised = score_levels(search, f);
    if (raised == 0)
        return;
    search->sums = calloc(raised * sizeof *search->sums, (size_t)GRID * RATIOS);
    add_falls(search, f);
    for (struct candidate *of = first; of < end; of++)
        if (of->raised) {
            of->log_bayes = log_bayes_of(search, frame_of(search, f), of);
            of->weight = of->log_bayes + search->log_prior[f];
        }
    free(search->sums);
}

/* Weighs every candidate, with the pieces of the culprits in `mask` set aside. */
static void search_weigh(struct search *search, unsigned mask)
{
    double *q SCOPED_FREE = memory_array(search->count, sizeof *q);
    search->mask = mask;
    for (size_t k = 0; k < search->frame_count; k++) {
        frame_expose(search, &search->frames[k]);
        frame_weigh(search, &search->frames[k]);
    }
    for (size_t f = 0; f < search->dataset->factor_count; f++)
        weigh_factor(search, f, NULL);
    for (size_t c = 0; c < search->count; c++)
        q[c] = search->candidates[c].test_p;
    counts_adjust(q, search->count, q);
    for (size_t c = 0; c < search->count; c++)
        search->candidates[c].q = q[c];
}

/* How much likelier the losses are with some culprit than without: the logarithm. */
static double log_odds(const struct search *search)
{
    double most = -INFINITY, sum = 0.0;
    for (size_t c = 0; c < search->count; c++)
        most = fmax(most, search->candidates[c].weight);
    for (size_t c = 0; c < search->count && most > -INFINITY; c++)
        sum += exp(search->candidates[c].weight - most);
    return most > -INFINITY ? most + log(sum) : -INFINITY;
}

/* ---- candidates --------------------------------------------------------------------------------- */

static const uint32_t mixed = LEVEL_NONE - 1; /* more than one level */

/* Which levels of a computed factor only say why: they have the very vessels of one level of what
 * it was computed from. */
static void find_same(struct search *search, size_t computed, size_t origin, struct arena *arena)
{
    const struct dataset *dataset = search->dataset;
    const struct factor *from = &dataset->factors[computed], *of = &dataset->factors[origin];
    uint32_t *origins = arena_array(arena, from->level_count, sizeof *origins);
    uint32_t *back = arena_array(arena, of->level_count, sizeof *back);

    memset(origins, 0xFF, from->level_count * sizeof *origins); /* LEVEL_NONE: none met */
    memset(back, 0xFF, of->level_count * sizeof *back);
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        uint32_t a = from->level[i], b = of->level[i];
        if (search->standing[i] == STANDING_OUT || a == LEVEL_NONE || b == LEVEL_NONE)
            continue;
        origins[a] = origins[a] == LEVEL_NONE || origins[a] == b ? b : mixed;
        back[b] = back[b] == LEVEL_NONE || back[b] == a ? a : mixed;
    }
    for (uint32_t l = 0; l < from->level_count; l++)
        search->same[search->first[computed] + l] = origins[l] < mixed && back[origins[l]] == l;
    search->only[computed] = back;
}

/* The factors' levels share one culprit among them, by how common culprits of their scope are. */
static void share_prior(struct search *search)
{
    static const double noted = 6.0; /* who notes a day has a reason to; expert judgement */
    const struct dataset *dataset = search->dataset;
    const double *prior = search->rule->prior;
    double all = 0.0, sum = 0.0;
    for (size_t s = 0; s < SCOPE_COUNT; s++)
        all += prior[s];
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *of = &dataset->factors[f];
        double share = prior[factor_kinds[of->kind].scope];
        if (!(share > 0.0) || of->kind == FACTOR_OTHER)
            share = all > 0.0 ? all / SCOPE_COUNT : 1.0; /* as common as any */
        if (of->kind == FACTOR_CHANGE)
            share *= noted;
        search->log_prior[f] = log(share);
        sum += share * (double)of->level_count;
    }
    for (size_t f = 0; f < dataset->factor_count; f++)
        search->log_prior[f] -= log(sum);
}

static void search_init(struct search *search, const struct dataset *dataset,
                        const struct review_rule *rule, struct arena *arena)
{
    enum { MANY = 50000 }; /* cells */
    size_t factors = dataset->factor_count, count = 0, levels = 1, cells = 0, most = 0, pieces;

    *search = (struct search){.dataset = dataset, .rule = rule};
    search->standing = search_standing(dataset, rule->watched, arena, NULL);
    search->frame_count = 1;
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (dataset->control[i] && search->standing[i] != STANDING_OUT)
            search->frame_count = 2;
    cut_pieces(search, arena);
    pieces = search->batch[search->batch_count];
    search->first = arena_array(arena, factors + 1, sizeof *search->first);
    for (size_t f = 0; f < factors; f++) {
        size_t own = dataset->factors[f].level_count;
        search->first[f] = count;
        count += own;
        levels = MAX(levels, own);
        cells += MIN(own * search->batch_count, pieces);
        most = MAX(most, MIN(own * search->batch_count, pieces));
    }
    search->first[factors] = search->count = count;
    search->candidates = arena_array(arena, count, sizeof *search->candidates);
    search->log_prior = arena_array(arena, factors, sizeof *search->log_prior);
    search->newest = arena_array(arena, levels, sizeof *search->newest);
    search->small = cells <= MANY;
    for (size_t k = 0; k < search->frame_count; k++) {
        struct frame *frame = &search->frames[k];
        frame->controls = k == 0;
        frame->lost = arena_array(arena, search->batch_count, sizeof(double));
        frame->exposure = arena_array(arena, search->batch_count, sizeof(double));
        frame->share = arena_array(arena, DRIFTS * search->batch_count, sizeof(double));
    }
    search->cells = arena_array(arena, most, sizeof *search->cells);
    share_prior(search);
    search->same = arena_array(arena, count, sizeof *search->same);
    search->only = arena_array(arena, factors, sizeof *search->only);
    for (size_t f = 0; f < factors; f++) {
        enum factor_kind kind = dataset->factors[f].kind;
        size_t origin = dataset_factor(dataset, factor_kinds[kind].origin);
        for (uint32_t l = 0; l < dataset->factors[f].level_count; l++)
            search->candidates[search->first[f] + l] =
                (struct candidate){.factor = (uint32_t)f, .level = l};
        if (factor_kinds[kind].origin != kind && origin < factors)
            find_same(search, f, origin, arena);
    }
}

/* ---- how vessels count -------------------------------------------------------------------------- */

struct chains chain_vessels(const struct dataset *dataset, const struct factor *of,
                            struct arena *arena)
{
    size_t levels = of != NULL ? of->level_count : 0;
    struct chains chains = {arena_room(arena, levels + 1, sizeof *chains.first),
                            arena_room(arena, dataset->vessel_count, sizeof *chains.next)};
    memset(chains.first, 0xFF, (levels + 1) * sizeof *chains.first); /* LEVEL_NONE */
    for (size_t i = dataset->vessel_count; i-- > 0;) {
        size_t level = of != NULL && of->level[i] != LEVEL_NONE ? of->level[i] : levels;
        chains.next[i] = chains.first[level];
        chains.first[level] = (uint32_t)i;
    }
    return chains;
}

uint8_t *search_standing(const struct dataset *dataset, double watched, struct arena *arena,
                         size_t *young)
{
    uint8_t *standing = arena_array(arena, dataset->vessel_count, sizeof *standing);
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t entered = dataset->entered[i];
        uint8_t fate = dataset->fate[i];
        bool lost = fate == FATE_STUCK || fate == FATE_CONTAMINATED || fate == FATE_UNTOLD;
        bool growing = fate == FATE_OPEN && entered != DAY_NONE && entered <= dataset->today;
        standing[i] = lost                            ? STANDING_LOST
                      : growing || fate == FATE_SOUND ? STANDING_SOUND /* so far */
                                                      : STANDING_OUT;
        if (young != NULL && growing && !dataset->control[i] &&
            (double)dataset->today - (double)entered < watched)
            ++*young;
    }
    return standing;
}

double search_tail(struct counts inside, struct counts outside)
{
    size_t lost = inside.lost + outside.lost, all = inside.total + outside.total;
    if (!((double)inside.lost * (double)all > (double)lost * (double)inside.total))
        return 1.0;
    return gsl_cdf_hypergeometric_Q((unsigned)inside.lost - 1, (unsigned)inside.total,
                                    (unsigned)outside.total, (unsigned)lost);
}

/* ---- vessels saved ------------------------------------------------------------------------------ */

/* The rate inside by which it exceeds the rate of the rest, at a share of all cases; both are
 * posteriors, Beta(1 + lost, 1 + kept). That of the rest, of many vessels as a rule, is taken at
 * three points (Gauss & Hermite); what lies below a rate inside is a binomial tail. */
static double excess_at(struct counts in, struct counts out, double share)
{
    static const double points[] = {-1.7320508075688772, 0.0, 1.7320508075688772};
    static const double weights[] = {1.0 / 6.0, 2.0 / 3.0, 1.0 / 6.0};
    double n = 2.0 + (double)out.total, mean = (1.0 + (double)out.lost) / n;
    double spread = sqrt(mean * (1.0 - mean) / (n + 1.0)), low = -1.0, high = 1.0;
    for (int turn = 0; turn < 40; turn++) {
        double middle = (low + high) / 2.0, below = 0.0;
        for (int k = 0; k < 3; k++) {
            double rate = fmin(1.0, fmax(0.0, mean + points[k] * spread + middle));
            below +=
                weights[k] * counts_chance_above((struct counts){in.lost + 1, in.total + 1}, rate);
        }
        *(below < share ? &low : &high) = middle;
    }
    return low;
}

void saved_estimate(const struct review_suspect *suspect, struct review_culprit *culprit)
{
    struct counts in = suspect->inside, out = suspect->outside;
    double most = (double)in.lost - (double)suspect->controls.lost;
    double n = (double)in.total - (double)suspect->controls.total;
    double mean = (1.0 + (double)in.lost) / (2.0 + (double)in.total) -
                  (1.0 + (double)out.lost) / (2.0 + (double)out.total);
    culprit->saved = fmin(most, fmax(0.0, n * mean));
    culprit->saved_low = fmin(most, fmax(0.0, n * excess_at(in, out, 0.05)));
    culprit->saved_high = fmin(most, fmax(0.0, n * excess_at(in, out, 0.95)));
}

/* ---- what is told of them ----------------------------------------------------------------------- */

/* `all`: the logarithm of the odds of some culprit against none, as weighed with it. */
static struct review_suspect suspect_of(const struct search *search,
                                        const struct candidate *candidate, double all)
{
    double usual = log(usual_odds), none = fmax(0.0, -all - usual);
    const struct dataset *dataset = search->dataset;
    size_t factors = dataset->factor_count;
    struct review_suspect suspect = {
        .factor = candidate->factor,
        .level = candidate->level,
        .p = exp(candidate->weight - all - none) / (exp(-none) + exp(-all - usual - none)),
        .inside = candidate->inside,
        .controls = candidate->controls,
        .outside = candidate->outside,
        .test_p = search_tail(candidate->inside, candidate->outside),
        .q = candidate->q,
        .log_bayes = candidate->log_bayes,
        .why_factor = factors,
        .why_level = LEVEL_NONE,
        .with_factor = factors,
        .with_level = LEVEL_NONE,
    };
    suspect.q = fmax(suspect.q, suspect.test_p);
    for (size_t f = factors; f-- > 0;)
        if (search->only[f] != NULL && /* a level of what it was computed from */
            factor_kinds[dataset->factors[f].kind].origin ==
                dataset->factors[suspect.factor].kind &&
            search->only[f][suspect.level] < mixed) {
            suspect.why_factor = f;
            suspect.why_level = search->only[f][suspect.level];
        }
    return suspect;
}

/* The heaviest candidate that is not in the list and has some evidence; SIZE_MAX. */
static size_t heaviest(const struct search *search, const size_t *except, size_t except_count,
                       double log_bayes)
{
    size_t best = SIZE_MAX;
    for (size_t c = 0; c < search->count; c++) {
        bool listed = false;
        for (size_t i = 0; i < except_count && !listed; i++)
            listed = except[i] == c;
        if (!listed && search->candidates[c].log_bayes >= log_bayes &&
            (best == SIZE_MAX || search->candidates[c].weight > search->candidates[best].weight))
            best = c;
    }
    return best;
}

/* Notes that a culprit explains the pieces inside two candidates (or one, twice). */
static void cover(struct search *search, const struct candidate *candidate,
                  const struct candidate *with, unsigned bit)
{
    for (size_t p = 0; p < search->batch[search->batch_count]; p++)
        if (inside(search, candidate, &search->pieces[p]) &&
            inside(search, with, &search->pieces[p]))
            search->cover[p] = (uint8_t)(search->cover[p] | bit);
}

/* Do the losses of a culprit gather at one level of another factor ("starter S2 on lot L3")? Then
 * that pair has more evidence than the culprit alone, even shared out over all levels it might have
 * met. That level, with the evidence of the pair; the culprit when it is nothing new. */
static struct candidate find_pair(struct search *search, const struct candidate *lead)
{
    static const double rare = 1.3862943611198906; /* ln 4: pairs are rarer than single culprits */
    const struct dataset *dataset = search->dataset;
    struct candidate best = *lead;
    size_t levels = 0;

    if (!search->small)
        return best;
    struct candidate *kept SCOPED_FREE = memory_array(search->count, sizeof *kept);
    memcpy(kept, search->candidates, search->count * sizeof *kept);
    for (size_t c = 0; c < search->count; c++)
        levels += kept[c].factor != lead->factor && kept[c].asked;
    double needed = lead->log_bayes + log((double)levels + 1.0) + rare;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        if (f == lead->factor || frame_of(search, f) != frame_of(search, lead->factor))
            continue;
        weigh_factor(search, f, lead);
        for (size_t c = search->first[f]; c < search->first[f + 1]; c++) {
            const struct candidate *pair = &search->candidates[c];
            if (pair->log_bayes > fmax(needed, best.log_bayes) &&
                pair->inside.total < kept[c].inside.total &&
                pair->inside.total < lead->inside.total)
                best = *pair;
        }
    }
    memcpy(search->candidates, kept, search->count * sizeof *kept);
    best.weight = best.log_bayes - needed + lead->weight;
    best.q = lead->q;
    return best;
}

/* Whether the evidence alone speaks for it. */
static bool supports(const struct search *search, size_t candidate)
{
    return search->candidates[candidate].log_bayes >= log(search->rule->bayes_factor);
}

/* Calls a candidate culprit number k: names it and what goes with it (names that have a tenth of
 * its weight at least), sets its pieces aside, and weighs again without those of `mask`. */
static void call(struct search *search, size_t lead, size_t k, unsigned mask, struct arena *arena,
                 struct review_culprit *culprit)
{
    enum { RIVALS = 16 };
    static const double tenth = 2.302585092994046; /* ln 10 */
    size_t names[RIVALS], named = 0;
    double all = log_odds(search), least = search->candidates[lead].weight - tenth;
    struct candidate called = search->candidates[lead], pair = find_pair(search, &called);
    struct review_suspect *suspects = arena_array(arena, RIVALS, sizeof *suspects);

    *culprit = (struct review_culprit){.suspects = suspects, .suspect_count = 1};
    for (size_t next = lead;
         named < RIVALS && next != SIZE_MAX && search->candidates[next].weight >= least;
         next = heaviest(search, names, named, 0.0)) {
        names[named] = next;
        suspects[named++] = suspect_of(search, &search->candidates[next], all);
    }
    if (pair.factor != called.factor) {
        suspects[0] = suspect_of(search, &pair, pair.weight + log1p(exp(all - pair.weight)));
        suspects[0].factor = called.factor;
        suspects[0].level = called.level;
        suspects[0].with_factor = pair.factor;
        suspects[0].with_level = pair.level;
        named = 1;
    }
    cover(search, &called, &pair, 1U << k);
    search_weigh(search, mask);
    for (size_t i = 1; i < named; i++) /* those that go with it */
        if (!supports(search, names[i]))
            suspects[culprit->suspect_count++] = suspects[i];
    for (size_t i = 0; i < culprit->suspect_count; i++)
        culprit->p += suspects[i].p;
    saved_estimate(&suspects[0], culprit);
}

static int surer(const void *a, const void *b)
{
    const struct review_culprit *first = a, *second = b;
    return ORDER(second->suspects[0].log_bayes, first->suspects[0].log_bayes);
}

/* Each again with the others set aside: what later ones explain is taken out. */
static void call_again(struct search *search, const size_t *leads, struct arena *arena,
                       struct review *review)
{
    size_t kept = 0;
    unsigned out = 0; /* culprits that were taken out */
    for (size_t k = 0; k < review->culprit_count; k++) {
        search_weigh(search, ~(out | 1U << k));
        if (supports(search, leads[k])) {
            call(search, leads[k], k, ~out, arena, &review->culprits[k]);
            review->culprits[kept++] = review->culprits[k];
        } else {
            out |= 1U << k;
        }
    }
    review->culprit_count = kept;
    search_weigh(search, ~out);
}

/* What comes nearest to being called, once all culprits are set aside. */
static void tell_near(struct search *search, struct arena *arena, struct review *review)
{
    enum { SOME = 3, LOOKED_AT = 4 * REVIEW_NEAR };         /* vessels; fewer tell nothing */
    static const double worth_telling = 1.0986122886681098; /* ln 3 */
    size_t seen[LOOKED_AT];
    review->near = arena_array(arena, REVIEW_NEAR, sizeof *review->near);
    for (size_t k = 0; k < LOOKED_AT && review->near_count < REVIEW_NEAR; k++) {
        seen[k] = heaviest(search, seen, k, worth_telling);
        if (seen[k] == SIZE_MAX)
            break;
        const struct candidate *near = &search->candidates[seen[k]];
        if (near->inside.total >= SOME)
            review->near[review->near_count++] = suspect_of(search, near, log_odds(search));
    }
}

/* Do the losses of the batches, against what they went through, go with their time? A straight line
 * through the ratios, each weighed by its exposure less what the batch shares; how far its slope
 * lies from 0 is judged by how far the batches lie from the line (t-test), so that it does not
 * matter how much batches differ by themselves. */
static void tell_drift(const struct search *search, struct review *review)
{
    enum { FEWEST = 6 }; /* batches */
    /* Of 20 seasons without drift at most one may be told to have some; as a rise is what a grower
     * has to act on, most of that is spent on it. */
    static const double rare_rise = 0.035, rare_fall = 0.008;
    const struct frame *frame = &search->frames[0];
    double rise = 0.0, fall = 0.0, start, slope, cov[3], off;
    double *line SCOPED_FREE =
        memory_array(3 * search->batch_count, sizeof *line); /* times, weights, ratios */
    size_t n = 0, room = search->batch_count;
    for (size_t f = 0; f < FRAILTIES; f++) {
        fall += frame->weight[FRAILTIES + f];
        rise += frame->weight[GRID - FRAILTIES + f];
    }
    double v = frame->frailty[frame->best % FRAILTIES];
    for (size_t b = 0; b < search->batch_count; b++)
        if (frame->exposure[b] > 0.0) {
            line[n] = search->time[b];
            line[room + n] = frame->exposure[b] / (1.0 + v * frame->exposure[b]);
            line[2 * room + n++] = frame->lost[b] / frame->exposure[b];
        }
    review->drift = (struct review_drift){.p = rise + fall, .rises = rise > fall, .test_p = 1.0};
    if (n >= FEWEST) {
        gsl_fit_wlinear(line, 1, &line[room], 1, &line[2 * room], 1, n, &start, &slope, &cov[0],
                        &cov[1], &cov[2], &off);
        double spread = sqrt(cov[2] * off / (double)(n - 2));
        review->drift.rises = slope > 0.0;
        if (spread > 0.0)
            review->drift.test_p = gsl_cdf_tdist_Q(fabs(slope) / spread, (double)(n - 2));
    }
    review->drift.called = review->drift.test_p <= (review->drift.rises ? rare_rise : rare_fall);
}

/* Culprits are called one after the other while the odds are such as chance does not give. Several
 * at once may hide one another, each making the batches seem to differ by themselves: so the search
 * looks some culprits ahead, and calls them together once the product of their odds is enough. */
void review_find_culprits(const struct dataset *dataset, const struct review_rule *rule,
                          struct arena *arena, struct review *review)
{
    enum { AHEAD = 4, MANY = 100000 }; /* vessels among which one hides no other */
    struct search search;
    size_t leads[REVIEW_CULPRITS], sure = 0;
    double enough = -log(5.0 * rule->level); /* logarithm of odds that are seldom met by chance */
    double ahead = 0.0;                      /* of those that are not sure yet */

    struct arena *own SCOPED_ARENA = arena_new(); /* of what is not told */
    search_init(&search, dataset, rule, own);
    search_weigh(&search, 0);
    for (size_t c = 0; c < search.count; c++)
        review->suspects_asked += search.candidates[c].asked;
    double all = log_odds(&search);
    review->culprits = arena_array(arena, REVIEW_CULPRITS, sizeof *review->culprits);
    while (review->culprit_count < REVIEW_CULPRITS && review->culprit_count < sure + AHEAD) {
        size_t lead = heaviest(&search, NULL, 0, 0.0);
        if (lead == SIZE_MAX)
            break;
        bool alone = review->culprit_count == sure && supports(&search, lead) && all >= enough;
        if (!alone && dataset->vessel_count > MANY)
            break;
        leads[review->culprit_count] = lead;
        call(&search, lead, review->culprit_count, ~0U, arena,
             &review->culprits[review->culprit_count]);
        review->culprit_count++;
        ahead += all;
        if (alone || ahead >= enough) {
            sure = review->culprit_count;
            ahead = 0.0;
        }
        all = log_odds(&search);
    }
    for (size_t p = 0; p < search.batch[search.batch_count]; p++)
        search.cover[p] &= (uint8_t)((1U << sure) - 1U);
    if (review->culprit_count > sure)
        search_weigh(&search, ~0U);
    review->culprit_count = sure;
    if (sure > 1) {
        call_again(&search, leads, arena, review);
        qsort(review->culprits, review->culprit_count, sizeof *review->culprits, surer);
    }
    tell_near(&search, arena, review);
    tell_drift(&search, review);
}
