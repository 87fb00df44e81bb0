/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_NAIVE_H
#define JARSIDE_TESTS_NAIVE_H

#include "reason/reason.h"
#include "support/random_base.h"
#include "support/rule_base.h"

/*
 * The model of reason/reason.h once more, straight from its formulas: no tables,
 * no patterns, no short cuts, long double. Slow, and independent of the engine.
 */
enum { NAIVE_SETS = 1 + BASE_CAUSES + BASE_CAUSES * (BASE_CAUSES - 1) / 2 };

struct naive {
    size_t set_count;
    int sets[NAIVE_SETS][2];
    long double joint[NAIVE_SETS][BASE_FINDINGS];
    long double finding[BASE_FINDINGS];
    long double cause[BASE_CAUSES];
    long double no_cause;
    long double log_evidence;
};

static const long double NAIVE_LEAST = 1e-6L;

static inline long double naive_within(long double x, long double low, long double high)
{
    return x < low ? low : x > high ? high : x;
}

static inline void naive_share(long double *row, size_t count)
{
    long double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += row[i];
    for (size_t i = 0; i < count; i++)
        row[i] = sum > 0 ? row[i] / sum : 1.0L / (long double)count;
    sum = 0;
    for (size_t i = 0; i < count; i++) {
        if (row[i] < NAIVE_LEAST)
            row[i] = NAIVE_LEAST;
        sum += row[i];
    }
    for (size_t i = 0; i < count; i++)
        row[i] /= sum;
}

static inline void naive_tidy(const struct observable *of, long double *row)
{
    if (of->kind != KIND_SEVERAL) {
        naive_share(row, of->value_count);
        return;
    }
    for (size_t v = 0; v < of->value_count; v++)
        row[v] = naive_within(row[v], NAIVE_LEAST, 1 - NAIVE_LEAST);
}

static inline void naive_base(const struct observable *of, long double *row)
{
    for (size_t v = 0; v < of->value_count; v++)
        row[v] = (long double)of->values[v].base;
    naive_tidy(of, row);
}

static inline void naive_state(const struct observable *of, const long double *stated,
                               long double *row)
{
    long double named = 0, unnamed = 0;
    size_t unnamed_count = 0;
    for (size_t v = 0; v < of->value_count; v++) {
        if (stated[v] >= 0) {
            named += stated[v];
        } else {
            unnamed += row[v];
            unnamed_count++;
        }
    }
    long double left = named < 1 ? 1 - named : 0;
    for (size_t v = 0; v < of->value_count; v++) {
        if (stated[v] >= 0)
            row[v] = stated[v];
        else if (of->kind != KIND_SEVERAL)
            row[v] = unnamed > 0 ? row[v] * left / unnamed : left / (long double)unnamed_count;
    }
    naive_tidy(of, row);
}

/* The species that is plainly named, or -1. */
static inline int naive_species(const struct rules *rules, const struct evidence *evidence)
{
    int feeder = rules->feeder[FEEDS_SPECIES];
    if (feeder < 0)
        return -1;
    const struct observation *said = &evidence->observations[feeder];
    for (size_t s = 0; s < rules->species_count; s++)
        if (said->seen == UINT32_C(1) << s && !(said->hedged & said->seen))
            return (int)s;
    return -1;
}

/* P(i = v | f, S) for every v. */
static inline void naive_row(const struct rules *rules, int species, size_t observable,
                             size_t finding, const int set[2], long double *row)
{
    const struct observable *of = &rules->observables[observable];
    long double stated[RULES_MAX_VALUES];
    bool any = false;

    if ((int)observable == rules->feeder[FEEDS_SPECIES])
        species = -1; /* naming a species says nothing more about which it is */
    naive_base(of, row);
    for (size_t v = 0; v < RULES_MAX_VALUES; v++)
        stated[v] = -1;
    for (size_t k = 0; k < rules->findings[finding].look_count; k++)
        if (rules->findings[finding].looks[k].observable == observable)
            stated[rules->findings[finding].looks[k].value] =
                (long double)rules->findings[finding].looks[k].number;
    naive_state(of, stated, row);
    for (size_t v = 0; v < RULES_MAX_VALUES; v++)
        stated[v] = -1;
    for (size_t k = 0; species >= 0 && k < rules->species[species].normal_count; k++) {
        const struct normal_look *normal = &rules->species[species].normal[k];
        if (normal->finding == finding && normal->claim.observable == observable) {
            stated[normal->claim.value] = (long double)normal->claim.number;
            any = true;
        }
    }
    if (any)
        naive_state(of, stated, row);

    bool weighed = false;
    long double factor[RULES_MAX_VALUES];
    for (size_t v = 0; v < RULES_MAX_VALUES; v++)
        factor[v] = 1;
    for (int k = 0; k < 2; k++) {
        if (set[k] < 0)
            continue;
        const struct cause *cause = &rules->causes[set[k]];
        for (size_t w = 0; w < cause->weigh_count; w++) {
            if (cause->weighs[w].observable != observable)
                continue;
            factor[cause->weighs[w].value] *=
                naive_within((long double)cause->weighs[w].number, 1e-6L, 1e6L);
            weighed = true;
        }
    }
    if (!weighed)
        return;
    for (size_t v = 0; v < of->value_count; v++) {
        if (of->kind == KIND_SEVERAL) {
            long double odds = row[v] / (1 - row[v]) * factor[v];
            row[v] = odds / (1 + odds);
        } else {
            row[v] *= factor[v];
        }
    }
    naive_tidy(of, row);
}

/* l_i(f, S) of one observation. */
static inline long double naive_likelihood(const struct rules *rules, int species,
                                           size_t observable, const struct observation *said,
                                           size_t finding, const int set[2])
{
    const struct observable *of = &rules->observables[observable];
    long double row[RULES_MAX_VALUES], expected[RULES_MAX_VALUES];
    long double c = (long double)rules->calibration.hedge;

    naive_row(rules, species, observable, finding, set, row);
    naive_base(of, expected);
    if (of->kind == KIND_SEVERAL) {
        long double product = 1;
        for (size_t v = 0; v < of->value_count; v++) {
            bool hedged = said->hedged >> v & 1;
            if (said->seen >> v & 1)
                product *= hedged ? c * row[v] + (1 - c) * expected[v] : row[v];
            if (said->absent >> v & 1)
                product *= hedged ? c * (1 - row[v]) + (1 - c) * (1 - expected[v]) : 1 - row[v];
            if (said->silent & ~(said->seen | said->absent) & UINT32_C(1) << v)
                product *= 1 - (long double)rules->calibration.silence * row[v];
        }
        return product;
    }
    long double sum = 0, sum_expected = 0;
    for (size_t v = 0; v < of->value_count; v++) {
        bool possible = (said->seen ? said->seen >> v : ~said->absent >> v) & 1;
        sum += possible ? row[v] : 0;
        sum_expected += possible ? expected[v] : 0;
    }
    bool hedged = said->hedged & (said->seen | said->absent);
    return hedged ? c * sum + (1 - c) * sum_expected : sum;
}

static inline bool naive_tells(const struct observable *of, const struct observation *said)
{
    uint32_t all = (uint32_t)((UINT64_C(1) << of->value_count) - 1);
    if (of->kind == KIND_SEVERAL)
        return said->seen || said->absent || said->silent;
    return said->seen ? said->seen != all : said->absent && said->absent != all;
}

static inline long double naive_strength(const struct rules *rules, int species, size_t observable,
                                         const struct observation *said)
{
    static const int none[2] = {RULES_NONE, RULES_NONE};
    long double low = INFINITY, high = -INFINITY;
    for (size_t f = 0; f < rules->finding_count; f++) {
        long double ln = logl(naive_likelihood(rules, species, observable, said, f, none));
        low = ln < low ? ln : low;
        high = ln > high ? ln : high;
    }
    return high - low;
}

/* (1 - overlap)^k, k the number of stronger observations in the same group. */
static inline long double naive_weight(const struct rules *rules, const struct evidence *evidence,
                                       size_t observable)
{
    int species = naive_species(rules, evidence), group = rules->observables[observable].group;
    long double weight = 1;
    if (group < 0)
        return 1;
    long double own =
        naive_strength(rules, species, observable, &evidence->observations[observable]);
    for (size_t j = 0; j < rules->observable_count; j++) {
        const struct observation *said = &evidence->observations[j];
        if (j == observable || rules->observables[j].group != group ||
            !naive_tells(&rules->observables[j], said))
            continue;
        long double theirs = naive_strength(rules, species, j, said);
        if (theirs > own || (theirs == own && j < observable))
            weight *= 1 - (long double)rules->groups[group].overlap;
    }
    return weight;
}

static inline long double naive_odds(const struct rules *rules, const struct evidence *evidence,
                                     size_t cause)
{
    long double p =
        naive_within((long double)rules->causes[cause].prior, NAIVE_LEAST, 1 - NAIVE_LEAST);
    long double ln = logl(p / (1 - p));
    for (size_t k = 0; k < evidence->shift_count; k++)
        if (evidence->shifts[k].cause == cause)
            ln += (long double)evidence->shifts[k].log_odds;
    long double most = (1 - NAIVE_LEAST) / NAIVE_LEAST;
    return naive_within(expl(ln), 1 / most, most);
}

static inline bool naive_in_set(const int set[2], size_t cause)
{
    return set[0] == (int)cause || set[1] == (int)cause;
}

static inline void naive_prior(const struct rules *rules, const struct evidence *evidence,
                               struct naive *naive)
{
    long double total = 0, odds[NAIVE_SETS];
    naive->set_count = 0;
    for (int a = -1; a < (int)rules->cause_count; a++) {
        for (int b = a < 0 ? -1 : a; b < (int)rules->cause_count; b++) {
            if (a < 0 && b >= 0)
                break;
            int *set = naive->sets[naive->set_count++];
            set[0] = a;
            set[1] = b == a ? RULES_NONE : b;
        }
    }
    for (size_t s = 0; s < naive->set_count; s++) {
        odds[s] = 1;
        for (int k = 0; k < 2; k++)
            if (naive->sets[s][k] >= 0)
                odds[s] *= naive_odds(rules, evidence, (size_t)naive->sets[s][k]);
        for (size_t k = 0; k < evidence->pair_shift_count; k++)
            if (naive_in_set(naive->sets[s], evidence->pair_shifts[k].causes[0]) &&
                naive_in_set(naive->sets[s], evidence->pair_shifts[k].causes[1]))
                odds[s] *= expl((long double)evidence->pair_shifts[k].log_odds);
        total += odds[s];
    }
    for (size_t s = 0; s < naive->set_count; s++) {
        long double row[BASE_FINDINGS];
        for (size_t f = 0; f < rules->finding_count; f++) {
            row[f] = (long double)rules->findings[f].base;
            for (int k = 0; k < 2; k++) {
                if (naive->sets[s][k] < 0)
                    continue;
                const struct cause *cause = &rules->causes[naive->sets[s][k]];
                for (size_t g = 0; g < cause->grow_count; g++)
                    if (cause->grows[g].finding == f)
                        row[f] += (long double)cause->grows[g].rate;
            }
        }
        naive_share(row, rules->finding_count);
        for (size_t f = 0; f < rules->finding_count; f++)
            naive->joint[s][f] = logl(odds[s] / total) + logl(row[f]);
    }
}

static inline void naive_posterior(const struct rules *rules, const struct evidence *evidence,
                                   long double tau, struct naive *naive)
{
    int species = naive_species(rules, evidence);
    long double high = -INFINITY, total = 0;

    memset(naive, 0, sizeof *naive);
    naive_prior(rules, evidence, naive);
    for (size_t i = 0; i < rules->observable_count; i++) {
        const struct observation *said = &evidence->observations[i];
        if (!naive_tells(&rules->observables[i], said))
            continue;
        long double weight = naive_weight(rules, evidence, i);
        for (size_t s = 0; s < naive->set_count; s++)
            for (size_t f = 0; f < rules->finding_count; f++)
                naive->joint[s][f] +=
                    tau * weight *
                    logl(naive_likelihood(rules, species, i, said, f, naive->sets[s]));
    }
    for (size_t s = 0; s < naive->set_count; s++)
        for (size_t f = 0; f < rules->finding_count; f++)
            high = naive->joint[s][f] > high ? naive->joint[s][f] : high;
    for (size_t s = 0; s < naive->set_count; s++)
        for (size_t f = 0; f < rules->finding_count; f++)
            total += expl(naive->joint[s][f] - high);
    naive->log_evidence = high + logl(total);
    for (size_t s = 0; s < naive->set_count; s++) {
        for (size_t f = 0; f < rules->finding_count; f++) {
            long double p = expl(naive->joint[s][f] - high) / total;
            naive->joint[s][f] = p;
            naive->finding[f] += p;
            for (int k = 0; k < 2; k++)
                if (naive->sets[s][k] >= 0)
                    naive->cause[naive->sets[s][k]] += p;
            if (naive->sets[s][0] < 0)
                naive->no_cause += p;
        }
    }
}

/* The naive set that holds the same causes as a reasoner's set. */
static inline size_t naive_set_of(const struct naive *naive, const int causes[2])
{
    for (size_t s = 0; s < naive->set_count; s++)
        if (naive->sets[s][0] == causes[0] && naive->sets[s][1] == causes[1])
            return s;
    return naive->set_count;
}

/*
 * Expected losses, floors and the value of a question once more, from the
 * formulas: every plan is enumerated, every answer is a new naive posterior.
 */
struct naive_decision {
    long double loss[ACTION_COUNT];
    enum action action;
};

static inline long double naive_loss(const struct rules *rules, const struct stakes *stakes,
                                     enum action action, size_t finding)
{
    const struct finding *of = &rules->findings[finding];
    const struct decision_rules *d = &rules->decision;
    if (action == ACTION_DISCARD)
        return (long double)(stakes->worth * of->kept_worth + d->discard_effort);
    if (of->status != FINDING_CONTAMINATED)
        return 0;
    long double uses = stakes->use < 0 ? 0
                                       : (long double)d->uses[stakes->use].loss_each *
                                             (long double)stakes->use_count;
    return (long double)(stakes->worth * d->keep_wrong + d->keep_wrong_hazard[of->hazard] +
                         stakes->neighbours * of->spread) +
           uses;
}

/* Isolate, then `shown` if trouble shows and `hidden` if it does not. */
static inline long double naive_plan(const struct rules *rules, const struct stakes *stakes,
                                     const long double *p, enum action shown, enum action hidden)
{
    long double sum = 0;
    for (size_t f = 0; f < rules->finding_count; f++) {
        const struct finding *of = &rules->findings[f];
        bool bad = of->status == FINDING_CONTAMINATED;
        long double reveal = bad ? (long double)of->reveal : 0;
        long double wait = (long double)rules->decision.isolate_delay;
        if (bad)
            wait += (long double)(rules->decision.isolate_spread * stakes->neighbours * of->spread);
        sum += p[f] * (wait + reveal * naive_loss(rules, stakes, shown, f) +
                       (1 - reveal) * naive_loss(rules, stakes, hidden, f));
    }
    return sum;
}

static inline bool naive_holds(const struct rules *rules, const struct condition *condition,
                               const struct evidence *evidence, bool even_doubted)
{
    for (size_t i = 0; i < condition->count; i++) {
        const struct observation *said = &evidence->observations[condition->observables[i]];
        bool several = rules->observables[condition->observables[i]].kind == KIND_SEVERAL;
        uint32_t plain = said->seen & ~(even_doubted ? 0 : said->hedged),
                 listed = condition->values[i];
        bool sure = said->seen && plain == said->seen && (said->seen & listed) == said->seen;
        if (several ? !(plain & listed) : !sure)
            return false;
    }
    return true;
}

static inline struct naive_decision naive_decide(const struct rules *rules,
                                                 const struct evidence *evidence,
                                                 const long double *p, const struct stakes *stakes)
{
    struct naive_decision decision = {{0}, ACTION_DISCARD};
    bool allowed[ACTION_COUNT] = {true, true, true}, keep_forbidden = false;
    long double bad = 0;
    int forced = -1;

    decision.loss[ACTION_ISOLATE] = INFINITY;
    for (size_t f = 0; f < rules->finding_count; f++) {
        decision.loss[ACTION_KEEP] += p[f] * naive_loss(rules, stakes, ACTION_KEEP, f);
        decision.loss[ACTION_DISCARD] += p[f] * (naive_loss(rules, stakes, ACTION_DISCARD, f) +
                                                 stakes->worth * rules->findings[f].too_soon);
        bad += rules->findings[f].status == FINDING_CONTAMINATED ? p[f] : 0;
    }
    for (int plan = 0; plan < 4; plan++) {
        enum action shown = plan & 1 ? ACTION_KEEP : ACTION_DISCARD;
        enum action hidden = plan & 2 ? ACTION_KEEP : ACTION_DISCARD;
        long double loss = naive_plan(rules, stakes, p, shown, hidden);
        if (loss < decision.loss[ACTION_ISOLATE])
            decision.loss[ACTION_ISOLATE] = loss;
    }
    for (size_t i = 0; i < rules->decision.floor_count; i++) {
        const struct floor_rule *floor = &rules->decision.floors[i];
        bool applies =
            (floor->contaminated_above < 1 && bad > (long double)floor->contaminated_above) ||
            (floor->when.count && naive_holds(rules, &floor->when, evidence, floor->forbids_keep));
        for (size_t k = 0; k < floor->unless_count; k++)
            applies = applies && !naive_holds(rules, &floor->unless[k], evidence, false);
        if (applies && floor->forbids_keep)
            keep_forbidden = true;
        if (applies && !floor->forbids_keep && (int)floor->action > forced)
            forced = (int)floor->action;
    }
    if (forced == ACTION_KEEP && keep_forbidden)
        forced = -1;
    allowed[ACTION_KEEP] = !keep_forbidden;
    for (int a = 0; forced >= 0 && a < ACTION_COUNT; a++)
        allowed[a] = a == forced;
    long double best = INFINITY;
    for (int a = ACTION_DISCARD; a >= ACTION_KEEP; a--) {
        if (allowed[a] && decision.loss[a] < best) {
            best = decision.loss[a];
            decision.action = (enum action)a;
        }
    }
    return decision;
}

/* ---- the value of a question ----------------------------------------------------------------- */

struct naive_question {
    long double gain, finding_bits, cause_bits, turns;
};

/* The k-th answer to a question nothing was said about; false when there are no more. */
static inline bool naive_answer(const struct observable *of, size_t k, struct observation *said)
{
    uint32_t all = (uint32_t)((UINT64_C(1) << of->value_count) - 1);
    bool several = of->kind == KIND_SEVERAL;
    if (k >= of->value_count + (several ? 1 : 0))
        return false;
    *said = (struct observation){0};
    if (several) {
        said->seen = k < of->value_count ? UINT32_C(1) << k : 0;
        said->absent = all & ~said->seen;
    } else {
        said->seen = UINT32_C(1) << k;
    }
    return true;
}

static inline long double naive_predicted(const struct rules *rules,
                                          const struct evidence *evidence,
                                          const struct naive *naive, size_t observable,
                                          const struct observation *said)
{
    int species = naive_species(rules, evidence);
    long double p = 0;
    for (size_t s = 0; s < naive->set_count; s++)
        for (size_t f = 0; f < rules->finding_count; f++)
            p += naive->joint[s][f] *
                 naive_likelihood(rules, species, observable, said, f, naive->sets[s]);
    return p;
}

/* P(answer), nothing said of the observable so far, though some of it may be passed over in silence:
 * what is found after all then had to be there and go unspoken. */
static inline long double naive_answered(const struct rules *rules, const struct evidence *evidence,
                                         const struct naive *naive, size_t observable,
                                         const struct observation *answer)
{
    const struct observation *so_far = &evidence->observations[observable];
    int species = naive_species(rules, evidence);
    long double p = 0;
    for (size_t s = 0; s < naive->set_count; s++)
        for (size_t f = 0; f < rules->finding_count; f++)
            p += naive->joint[s][f] *
                 naive_likelihood(rules, species, observable, answer, f, naive->sets[s]) /
                 (so_far->silent
                      ? naive_likelihood(rules, species, observable, so_far, f, naive->sets[s])
                      : 1);
    for (size_t v = 0; v < rules->observables[observable].value_count; v++)
        if (so_far->silent & answer->seen & UINT32_C(1) << v)
            p *= 1 - (long double)rules->calibration.silence;
    return p;
}

static inline long double naive_set_mass(const struct naive *naive, size_t set, size_t findings)
{
    long double mass = 0;
    for (size_t f = 0; f < findings; f++)
        mass += naive->joint[set][f];
    return mass;
}

/* What the sum alone would choose. */
static inline enum action naive_unforced(const struct naive_decision *decision)
{
    enum action least = ACTION_KEEP;
    for (int a = ACTION_ISOLATE; a <= ACTION_DISCARD; a++)
        if (decision->loss[a] < decision->loss[least])
            least = (enum action)a;
    return least;
}

/* `observations` is the evidence's own array; it is put back as it was. */
static inline struct naive_question naive_question(const struct rules *rules,
                                                   struct evidence *evidence,
                                                   struct observation *observations,
                                                   const struct stakes *stakes, size_t observable)
{
    const struct observable *of = &rules->observables[observable];
    struct naive *now = malloc(sizeof *now), *then = malloc(sizeof *then);
    struct naive_question question = {0, 0, 0, 0};
    struct observation said, so_far = observations[observable];
    long double total = 0, tau = (long double)rules->calibration.tau;
    assert(now && then);

    naive_posterior(rules, evidence, tau, now);
    struct naive_decision present = naive_decide(rules, evidence, now->finding, stakes);
    for (size_t k = 0; naive_answer(of, k, &said); k++) {
        long double p = naive_answered(rules, evidence, now, observable, &said);
        long double finding_bits = 0, cause_bits = 0;
        observations[observable] = said;
        naive_posterior(rules, evidence, tau, then);
        struct naive_decision next = naive_decide(rules, evidence, then->finding, stakes);
        observations[observable] = so_far;
        for (size_t f = 0; f < rules->finding_count; f++)
            if (then->finding[f] > 0)
                finding_bits += then->finding[f] * log2l(then->finding[f] / now->finding[f]);
        for (size_t s = 0; s < now->set_count; s++) {
            long double after = naive_set_mass(then, s, rules->finding_count);
            if (after > 0)
                cause_bits += after * log2l(after / naive_set_mass(now, s, rules->finding_count));
        }
        const enum action was = naive_unforced(&present), then_free = naive_unforced(&next);
        long double saved = next.loss[present.action] - next.loss[next.action];
        if (next.loss[was] - next.loss[then_free] > saved)
            saved = next.loss[was] - next.loss[then_free];
        total += p;
        question.finding_bits += p * finding_bits;
        question.cause_bits += p * cause_bits;
        if (next.action != present.action || then_free != was) {
            question.turns += p;
            question.gain += saved > 0 ? p * saved : 0;
        }
    }
    question.gain = question.gain / total - (long double)(of->effort * rules->decision.effort_loss);
    question.finding_bits /= total;
    question.cause_bits /= total;
    question.turns /= total;
    free(now);
    free(then);
    return question;
}

/* ---- a case against which it is held ----------------------------------------------------------- */

struct trial { /* a case of a random base, judged */
    struct rule_base *base;
    struct reasoner *reasoner;
    struct posterior posterior;
    struct observation said[BASE_OBSERVABLES];
    struct evidence evidence;
    struct stakes stakes;
    struct naive *naive;
};

static inline void trial_judge(struct trial *trial)
{
    trial->reasoner = reasoner_new(&trial->base->rules);
    assert_non_null(trial->reasoner);
    posterior_init(&trial->posterior, trial->reasoner, NULL);
    trial->evidence = (struct evidence){.observations = trial->said};
    reason_posterior(trial->reasoner, &trial->evidence, -1, &trial->posterior);
}

static inline void trial_random(struct trial *trial, struct dice *dice, double said)
{
    const struct random_size size = random_small(dice);
    trial->base = random_base(dice, &size);
    random_decision(trial->base, dice);
    trial->stakes = random_stakes(trial->base, dice);
    random_evidence(trial->base, dice, said, trial->said);
    trial_judge(trial);
    trial->naive = malloc(sizeof *trial->naive);
    assert_non_null(trial->naive);
}

static inline void trial_end(struct trial *trial)
{
    posterior_release(&trial->posterior);
    reasoner_free(trial->reasoner);
    base_free(trial->base);
    free(trial->naive);
}

#endif
