/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reason/shared.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/model.h"

#define NO_SET SIZE_MAX

/* What is being inferred. T, the causes of shared scope that reached a vessel, is
 * written as the index of a reasoner's set, so arrays "by set" hold it too. */
struct inference {
    const struct reasoner *reasoner;
    const struct shared_batch *batch;
    struct shared_posterior *result;
    struct arena *arena;          /* of the arrays below */
    struct posterior common, own; /* of the common facts, and of one vessel's */
    double *common_mass;          /* by set: P(E0, S), normalised */

    double *odds;  /* per suspect: o_z */
    double *ln;    /* per set of suspects: ln P(E, Z) as it grows */
    double *prior; /* per set of suspects: P(Z) */

    /* Of the vessel looked at. */
    const double *joint;       /* either posterior's */
    double log_evidence;       /* its, less that of the common facts */
    bool *possible;            /* per finding */
    bool *can;                 /* per suspect: whether it can reach the vessel */
    bool *shared, *acts;       /* per cause: it reaches a group, and can be */
    size_t *reached;           /* per set its T; NO_SET where the set cannot be */
    double *mass;              /* by set: P(E, S) over the possible findings, normalised */
    double *ln_given;          /* by T: ln P(E|T) - ln P(E0|T) */
    double *ln_chance;         /* by Z_v, an index of a set: ln sum_T P(T|Z,v) P(E|T) / P(E0|T) */
    double *by_t, *other_by_t; /* sums */
};

/* ---- one vessel: its likelihood by which shared causes reached it ---------------------------- */

static bool cause_acts(const struct cause *cause, const struct shared_vessel *vessel)
{
    return !vessel->control || cause->shown_by_control;
}

/* The T of each set: those of its causes that are shared. */
static void find_reached(struct inference *work)
{
    const struct reasoner *reasoner = work->reasoner;
    for (size_t s = 0; s < reasoner->set_count; s++) {
        int reached[SET_MAX_CAUSES];
        bool can_be = true;
        for (int k = 0; k < SET_MAX_CAUSES; k++) {
            const int member = reasoner->sets[s][k];
            reached[k] = member >= 0 && work->shared[member] ? member : RULES_NONE;
            can_be = can_be && (member < 0 || work->acts[member]);
        }
        work->reached[s] =
            can_be ? set_index(reasoner->cause_count, reached[0], reached[1]) : NO_SET;
    }
}

/* Adds up what the sets hold over those that look alike from their T. */
static void sum_by_t(const struct inference *work, const double *by_set, double *by_t)
{
    memset(by_t, 0, work->reasoner->set_count * sizeof *by_t);
    for (size_t s = 0; s < work->reasoner->set_count; s++)
        if (work->reached[s] != NO_SET)
            by_t[work->reached[s]] += by_set[s];
}

static double ln_ratio(double a, double b)
{
    return a > 0.0 && b > 0.0 ? log(a / b) : -INFINITY;
}

/* P(T|Z,v) for T part of Z_v, both as indices of sets. */
static double reaches(const struct reasoner *reasoner, size_t z, size_t t)
{
    double chance = 1.0;
    for (int k = 0; k < SET_MAX_CAUSES; k++) {
        int cause = reasoner->sets[z][k];
        if (cause < 0)
            continue;
        double reach = fmin(1.0, fmax(LEAST_CHANCE, reasoner->rules->causes[cause].reach));
        bool holds = reasoner->sets[t][0] == cause || reasoner->sets[t][1] == cause;
        chance *= holds ? reach : 1.0 - reach;
    }
    return chance;
}

/* The sets that are part of a set, itself among them; returns how many (1, 2 or 4). */
static size_t parts_of(const struct reasoner *reasoner, size_t set, size_t parts[4])
{
    int a = reasoner->sets[set][0], b = reasoner->sets[set][1];
    size_t count = 0, n = reasoner->cause_count;
    parts[count++] = 0;
    if (a >= 0)
        parts[count++] = set_index(n, a, RULES_NONE);
    if (b >= 0) {
        parts[count++] = set_index(n, b, RULES_NONE);
        parts[count++] = set;
    }
    return count;
}

static void look_at(struct inference *work, const struct shared_vessel *vessel)
{
    const struct rules *rules = work->reasoner->rules;
    work->joint = work->common.joint;
    work->log_evidence = 0.0;
    if (vessel->observations) {
        struct evidence evidence = {.observations = vessel->observations};
        reason_posterior(work->reasoner, &evidence, -1.0, &work->own);
        work->joint = work->own.joint;
        work->log_evidence = work->own.log_evidence - work->common.log_evidence;
    }
    for (size_t f = 0; f < rules->finding_count; f++)
        work->possible[f] =
            (vessel->finding == RULES_NONE || vessel->finding == (int)f) &&
            (vessel->statuses == 0 || (vessel->statuses >> rules->findings[f].status & 1));
    for (size_t i = 0; i < work->result->suspect_count; i++) {
        const struct suspect *suspect = &work->result->suspects[i];
        const struct cause *cause = &rules->causes[suspect->cause];
        work->can[i] = vessel->group[cause->scope] == suspect->group && cause_acts(cause, vessel);
    }
    const struct reasoner *reasoner = work->reasoner;
    for (size_t c = 0; c < reasoner->cause_count; c++) {
        const struct cause *cause = &rules->causes[c];
        /* Of a scope the vessel is in no group of, a cause is its own affair. */
        work->shared[c] = cause->scope != SCOPE_VESSEL && vessel->group[cause->scope] != RULES_NONE;
        work->acts[c] = cause_acts(cause, vessel);
    }
    find_reached(work);
    size_t findings = reasoner->finding_count;
    for (size_t s = 0; s < reasoner->set_count; s++) {
        const double *row = work->joint + s * findings;
        work->mass[s] = 0.0;
        for (size_t f = 0; f < findings; f++)
            work->mass[s] += work->possible[f] ? row[f] : 0.0;
    }
    sum_by_t(work, work->common_mass, work->other_by_t);
    sum_by_t(work, work->mass, work->by_t);
    for (size_t t = 0; t < reasoner->set_count; t++)
        work->ln_given[t] = work->log_evidence + ln_ratio(work->by_t[t], work->other_by_t[t]);
    for (size_t z = 0; z < reasoner->set_count; z++) {
        if (work->reached[z] != z) /* not all of it is shared and can reach the vessel */
            continue;
        size_t parts[4], count = parts_of(reasoner, z, parts);
        double high = -INFINITY, sum = 0.0;
        for (size_t i = 0; i < count; i++)
            high = fmax(high, work->ln_given[parts[i]]);
        for (size_t i = 0; i < count && high > -INFINITY; i++)
            sum += reaches(reasoner, z, parts[i]) * exp(work->ln_given[parts[i]] - high);
        work->ln_chance[z] = sum > 0.0 ? high + log(sum) : -INFINITY;
    }
}

static size_t times(const struct shared_vessel *vessel)
{
    return vessel->alike == 0 ? 1 : vessel->alike;
}

/* ---- the batch ------------------------------------------------------------------------------- */

/* However far a cause reaches less than its prior would need, it is not taken for granted. */
static const double MOST_PRIOR = 0.95;

/* Suspects and the sets of them; false when there are too many. */
static bool find_suspects(struct inference *work)
{
    const struct rules *rules = work->reasoner->rules;
    const struct shared_batch *batch = work->batch;
    struct shared_posterior *result = work->result;
    size_t groups = batch->vessel_count; /* at most as many as vessels */
    size_t *counts = arena_array(work->arena, groups * SCOPE_VESSEL, sizeof *counts);
    for (size_t scope = 0; scope < SCOPE_VESSEL; scope++)
        for (size_t v = 0; v < groups; v++)
            if (batch->vessels[v].group[scope] >= 0)
                counts[scope * groups + (size_t)batch->vessels[v].group[scope]] +=
                    times(&batch->vessels[v]);
    result->suspects = calloc(SHARED_MOST_SUSPECTS, sizeof *result->suspects);
    for (size_t c = 0; c < rules->cause_count; c++) {
        enum scope scope = rules->causes[c].scope;
        for (size_t g = 0; scope != SCOPE_VESSEL && g < groups; g++) {
            if (counts[scope * groups + g] == 0)
                continue;
            if (result->suspect_count == SHARED_MOST_SUSPECTS)
                return false;
            result->suspects[result->suspect_count++] = (struct suspect){
                .cause = c, .group = (int)g, .vessels = counts[scope * groups + g]};
        }
    }
    result->set_count = set_total(result->suspect_count);
    result->sets = calloc(result->set_count, sizeof *result->sets);
    for (size_t z = 0; z < result->set_count; z++)
        set_members(result->suspect_count, z, result->sets[z].suspects);
    return true;
}

/* The set of causes that the suspects of a set stand for, of those that `can` flags (NULL: all). */
static size_t causes_of(const struct inference *work, const struct suspect_set *set,
                        const bool *can)
{
    int causes[2] = {RULES_NONE, RULES_NONE};
    size_t count = 0;
    for (int k = 0; k < 2; k++) {
        int index = set->suspects[k];
        if (index < 0 || (can && !can[index]))
            continue;
        int cause = (int)work->result->suspects[index].cause;
        if (count == 0 || causes[0] != cause)
            causes[count++] = cause;
    }
    return set_index(work->reasoner->cause_count, causes[0], causes[1]);
}

/* ln P(E0|T) with T those causes of a set that are suspects anywhere, by set. */
static const double *common_given(struct inference *work)
{
    const struct reasoner *reasoner = work->reasoner;
    double *ln = arena_array(work->arena, reasoner->set_count, sizeof *ln);
    memset(work->acts, true, reasoner->cause_count);
    for (size_t i = 0; i < work->result->suspect_count; i++)
        work->shared[work->result->suspects[i].cause] = true;
    find_reached(work);
    sum_by_t(work, work->common_mass, work->by_t);
    sum_by_t(work, reasoner->set_prior, work->other_by_t);
    for (size_t t = 0; t < reasoner->set_count; t++)
        ln[t] = work->common.log_evidence + ln_ratio(work->by_t[t], work->other_by_t[t]);
    return ln;
}

/* ln P(Z) P(E0|Z), and P(Z) apart. */
static void begin(struct inference *work)
{
    struct shared_posterior *result = work->result;
    const double *given = common_given(work);
    double total = 0.0;
    for (size_t i = 0; i < result->suspect_count; i++) {
        const struct cause *cause = &work->reasoner->rules->causes[result->suspects[i].cause];
        double reach = fmin(1.0, fmax(LEAST_CHANCE, cause->reach));
        double p = fmin(MOST_PRIOR, fmax(LEAST_CHANCE, cause->prior / reach));
        double ln = log(p / (1.0 - p)), most = log((1.0 - LEAST_CHANCE) / LEAST_CHANCE);
        for (size_t j = 0; j < work->batch->shift_count; j++) {
            const struct shared_shift *shift = &work->batch->shifts[j];
            if (shift->cause == result->suspects[i].cause &&
                (shift->group == RULES_NONE || shift->group == result->suspects[i].group))
                ln += shift->log_odds;
        }
        work->odds[i] = exp(fmin(most, fmax(-most, ln)));
    }
    for (size_t z = 0; z < result->set_count; z++) {
        work->prior[z] = 1.0;
        for (int k = 0; k < 2; k++)
            if (result->sets[z].suspects[k] >= 0)
                work->prior[z] *= work->odds[result->sets[z].suspects[k]];
        total += work->prior[z];
    }
    for (size_t z = 0; z < result->set_count; z++) {
        work->prior[z] /= total;
        work->ln[z] = log(work->prior[z]) + given[causes_of(work, &result->sets[z], NULL)];
    }
}

static void take_room(struct inference *work)
{
    struct shared_posterior *result = work->result;
    const struct reasoner *reasoner = work->reasoner;
    size_t sets = reasoner->set_count;
    double **const by_set[] = {&work->common_mass, &work->mass, &work->ln_given,
                               &work->ln_chance,   &work->by_t, &work->other_by_t};
    for (size_t i = 0; i < sizeof by_set / sizeof *by_set; i++)
        *by_set[i] = arena_array(work->arena, sets, sizeof(double));
    work->reached = arena_array(work->arena, sets, sizeof *work->reached);
    work->possible = arena_array(work->arena, reasoner->finding_count, sizeof *work->possible);
    work->odds = arena_array(work->arena, result->suspect_count, sizeof *work->odds);
    work->can = arena_array(work->arena, result->suspect_count, sizeof *work->can);
    work->shared = arena_array(work->arena, reasoner->cause_count, sizeof *work->shared);
    work->acts = arena_array(work->arena, reasoner->cause_count, sizeof *work->acts);
    work->ln = arena_array(work->arena, result->set_count, sizeof *work->ln);
    work->prior = arena_array(work->arena, result->set_count, sizeof *work->prior);
}

static bool infer(struct inference *work)
{
    const struct shared_batch *batch = work->batch;
    const struct reasoner *reasoner = work->reasoner;
    const struct evidence common = {.observations = batch->common};
    if (!find_suspects(work))
        return false;
    take_room(work);
    reason_posterior(reasoner, &common, -1.0, &work->common);
    for (size_t s = 0; s < reasoner->set_count; s++)
        work->common_mass[s] =
            row_sum(work->common.joint + s * reasoner->finding_count, reasoner->finding_count);
    begin(work);
    for (size_t v = 0; v < batch->vessel_count; v++) {
        look_at(work, &work->batch->vessels[v]);
        for (size_t z = 0; z < work->result->set_count; z++)
            work->ln[z] += (double)times(&batch->vessels[v]) *
                           work->ln_chance[causes_of(work, &work->result->sets[z], work->can)];
    }
    /* Reads what is asked for off ln P(E, Z). False: nothing could have brought this about. */
    struct shared_posterior *result = work->result;
    double high = -INFINITY, total = 0.0;
    for (size_t z = 0; z < result->set_count; z++)
        high = fmax(high, work->ln[z]);
    if (!isfinite(high))
        return false;
    for (size_t z = 0; z < result->set_count; z++)
        total += result->sets[z].p = exp(work->ln[z] - high);
    for (size_t z = 0; z < result->set_count; z++) {
        struct suspect_set *set = &result->sets[z];
        set->p /= total;
        for (int k = 0; k < 2; k++)
            if (set->suspects[k] >= 0)
                result->suspects[set->suspects[k]].p += set->p;
    }
    for (size_t i = 0; i < result->suspect_count; i++)
        result->suspects[i].p = fmin(1.0, result->suspects[i].p);
    return true;
}

enum status reason_shared(const struct reasoner *reasoner, const struct shared_batch *batch,
                          struct shared_posterior *posterior)
{
    struct inference work = {
        .reasoner = reasoner, .batch = batch, .result = posterior, .arena = arena_new()};
    *posterior = (struct shared_posterior){0};
    posterior_init(&work.common, reasoner, NULL);
    posterior_init(&work.own, reasoner, NULL);
    bool inferred = infer(&work);
    posterior_release(&work.common);
    posterior_release(&work.own);
    arena_free(work.arena);
    if (!inferred)
        shared_release(posterior);
    return inferred ? STATUS_OK : STATUS_DATA;
}

void shared_release(struct shared_posterior *posterior)
{
    free(posterior->suspects);
    free(posterior->sets);
    *posterior = (struct shared_posterior){0};
}
