/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reason/shared.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/reason_internal.h"

/*
 * What one vessel says, by T, the causes of shared scope that reached it. T is
 * written as the index of a reasoner's set, so arrays "by set" hold it too.
 */
struct vessel_view {
    const struct reasoner *reasoner;
    struct posterior common, own; /* of the common facts, and of one vessel's */
    const double *joint;          /* of the vessel looked at: either one's */
    double log_evidence;          /* its, less that of the common facts */
    bool *possible;               /* per finding */
    size_t *reached;              /* per set its T; VIEW_NONE where the set cannot be */
    double *mass;                 /* by set: P(E, S) over the possible findings, normalised */
    double *ln_given;             /* by T: ln P(E|T) - ln P(E0|T) */
    double *ln_chance;   /* by Z_v, an index of a set: ln sum_T P(T|Z,v) P(E|T) / P(E0|T) */
    double *common_mass; /* as mass, of the common facts */
    double *by_t, *prior_by_t, *common_by_t; /* sums */
};

#define VIEW_NONE SIZE_MAX

static bool view_init(struct vessel_view *view, const struct reasoner *reasoner);
static void view_release(struct vessel_view *view);

/* Takes in the facts common to all, before any vessel. */
enum status view_common(struct vessel_view *view, const struct observation *common);
/* ln P(E0|T) with T those causes of a set that `shared` flags, by set; to `ln`. */
static void view_common_given(struct vessel_view *view, const bool *shared, double *ln);
/* Turns to a vessel: fills everything from `joint` on. */
enum status view_look(struct vessel_view *view, const struct shared_vessel *vessel);

/*
 * What the vessel looked at is, when its Z_v has the chances `chance` (by set):
 * P(f) to `finding` and P(c reached it) to `cause`.
 */
static void view_conclude(const struct vessel_view *view, const double *chance, double *finding,
                          double *cause);

/* Per vessel the index of the first one exactly like it; false when out of memory. */
static bool shared_find_alike(const struct shared_batch *batch, size_t observables, size_t *first);

/* ==== shared vessel =========================================================================== */

/* One vessel of a batch: its likelihood by which shared causes reached it, and what it is in the end. */

static bool view_init(struct vessel_view *view, const struct reasoner *reasoner)
{
    size_t sets = reasoner->set_count;
    *view = (struct vessel_view){.reasoner = reasoner};
    view->possible = calloc(reasoner->finding_count + 1, sizeof *view->possible);
    view->reached = calloc(sets, sizeof *view->reached);
    view->mass = calloc(7 * sets, sizeof *view->mass);
    if (view->mass) {
        view->ln_given = view->mass + sets;
        view->ln_chance = view->ln_given + sets;
        view->by_t = view->ln_chance + sets;
        view->prior_by_t = view->by_t + sets;
        view->common_by_t = view->prior_by_t + sets;
        view->common_mass = view->common_by_t + sets;
    }
    return view->possible && view->reached && view->mass &&
           posterior_init(&view->common, reasoner) && posterior_init(&view->own, reasoner);
}

static void view_release(struct vessel_view *view)
{
    posterior_release(&view->common);
    posterior_release(&view->own);
    free(view->possible);
    free(view->reached);
    free(view->mass);
    *view = (struct vessel_view){.reasoner = NULL};
}

enum status view_common(struct vessel_view *view, const struct observation *common)
{
    struct evidence evidence = {.observations = common};
    enum status status = reason_posterior(view->reasoner, &evidence, -1.0, &view->common);
    size_t findings = view->reasoner->finding_count;
    for (size_t s = 0; s < view->reasoner->set_count; s++)
        view->common_mass[s] = row_sum(view->common.joint + s * findings, findings);
    return status;
}

/* ---- which causes reached it ----------------------------------------------------------------- */

static bool cause_acts(const struct cause *cause, const struct shared_vessel *vessel)
{
    return !vessel->control || cause->shown_by_control;
}

/* Of a scope the vessel is in no group of, a cause is its own affair. */
static bool cause_shared(const struct cause *cause, const struct shared_vessel *vessel)
{
    return cause->scope != SCOPE_VESSEL && vessel->group[cause->scope] != RULES_NONE;
}

static void find_reached(struct vessel_view *view, const struct shared_vessel *vessel)
{
    const struct reasoner *reasoner = view->reasoner;
    for (size_t s = 0; s < reasoner->set_count; s++) {
        int reached[SET_MAX_CAUSES];
        bool can_be = true;
        for (int k = 0; k < SET_MAX_CAUSES; k++) {
            int member = reasoner->sets[s][k];
            const struct cause *cause = member < 0 ? NULL : &reasoner->rules->causes[member];
            reached[k] = cause && cause_shared(cause, vessel) ? member : RULES_NONE;
            can_be = can_be && (!cause || cause_acts(cause, vessel));
        }
        view->reached[s] =
            can_be ? set_index(reasoner->cause_count, reached[0], reached[1]) : VIEW_NONE;
    }
}

static void find_possible(struct vessel_view *view, const struct shared_vessel *vessel)
{
    for (size_t f = 0; f < view->reasoner->finding_count; f++) {
        enum finding_status status = view->reasoner->rules->findings[f].status;
        view->possible[f] = (vessel->finding == RULES_NONE || vessel->finding == (int)f) &&
                            (vessel->statuses == 0 || (vessel->statuses >> status & 1));
    }
}

/* Adds up what the sets hold over those that look alike from their T. */
static void sum_by_t(const struct vessel_view *view, const double *by_set, double *by_t)
{
    memset(by_t, 0, view->reasoner->set_count * sizeof *by_t);
    for (size_t s = 0; s < view->reasoner->set_count; s++)
        if (view->reached[s] != VIEW_NONE)
            by_t[view->reached[s]] += by_set[s];
}

static double ln_ratio(double a, double b)
{
    return a > 0.0 && b > 0.0 ? log(a / b) : -INFINITY;
}

static void view_common_given(struct vessel_view *view, const bool *shared, double *ln)
{
    const struct reasoner *reasoner = view->reasoner;

    for (size_t s = 0; s < reasoner->set_count; s++) {
        int reached[SET_MAX_CAUSES];
        for (int k = 0; k < SET_MAX_CAUSES; k++) {
            int member = reasoner->sets[s][k];
            reached[k] = member >= 0 && shared[member] ? member : RULES_NONE;
        }
        view->reached[s] = set_index(reasoner->cause_count, reached[0], reached[1]);
    }
    sum_by_t(view, view->common_mass, view->by_t);
    sum_by_t(view, reasoner->set_prior, view->prior_by_t);
    for (size_t t = 0; t < reasoner->set_count; t++)
        ln[t] = view->common.log_evidence + ln_ratio(view->by_t[t], view->prior_by_t[t]);
}

/* ---- its likelihood -------------------------------------------------------------------------- */

static void find_given(struct vessel_view *view)
{
    const struct reasoner *reasoner = view->reasoner;
    size_t findings = reasoner->finding_count;

    sum_by_t(view, view->common_mass, view->common_by_t);
    for (size_t s = 0; s < reasoner->set_count; s++) {
        const double *row = view->joint + s * findings;
        view->mass[s] = 0.0;
        for (size_t f = 0; f < findings; f++)
            view->mass[s] += view->possible[f] ? row[f] : 0.0;
    }
    sum_by_t(view, view->mass, view->by_t);
    for (size_t t = 0; t < reasoner->set_count; t++)
        view->ln_given[t] = view->log_evidence + ln_ratio(view->by_t[t], view->common_by_t[t]);
}

static double reach_of(const struct reasoner *reasoner, int cause)
{
    return fmin(1.0, fmax(LEAST_CHANCE, reasoner->rules->causes[cause].reach));
}

static bool holds(const int causes[SET_MAX_CAUSES], int cause)
{
    return causes[0] == cause || causes[1] == cause;
}

/* P(T|Z,v) for T part of Z_v, both as indices of sets. */
static double reaches(const struct reasoner *reasoner, size_t z, size_t t)
{
    double chance = 1.0;
    for (int k = 0; k < SET_MAX_CAUSES; k++) {
        int cause = reasoner->sets[z][k];
        if (cause < 0)
            continue;
        double reach = reach_of(reasoner, cause);
        chance *= holds(reasoner->sets[t], cause) ? reach : 1.0 - reach;
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

static void find_chances(struct vessel_view *view)
{
    const struct reasoner *reasoner = view->reasoner;
    for (size_t z = 0; z < reasoner->set_count; z++) {
        if (view->reached[z] != z) /* not all of it is shared and can reach the vessel */
            continue;
        size_t parts[4], count = parts_of(reasoner, z, parts);
        double high = -INFINITY, sum = 0.0;
        for (size_t i = 0; i < count; i++)
            high = fmax(high, view->ln_given[parts[i]]);
        for (size_t i = 0; i < count && high > -INFINITY; i++)
            sum += reaches(reasoner, z, parts[i]) * exp(view->ln_given[parts[i]] - high);
        view->ln_chance[z] = sum > 0.0 ? high + log(sum) : -INFINITY;
    }
}

enum status view_look(struct vessel_view *view, const struct shared_vessel *vessel)
{
    view->joint = view->common.joint;
    view->log_evidence = 0.0;
    if (vessel->observations) {
        struct evidence evidence = {.observations = vessel->observations};
        enum status status = reason_posterior(view->reasoner, &evidence, -1.0, &view->own);
        if (status != STATUS_OK)
            return status;
        view->joint = view->own.joint;
        view->log_evidence = view->own.log_evidence - view->common.log_evidence;
    }
    find_reached(view, vessel);
    find_possible(view, vessel);
    find_given(view);
    find_chances(view);
    return STATUS_OK;
}

/* ---- what it is, in the end ------------------------------------------------------------------ */

/* P(T | everything), by set, to `by_t`. */
static void conclude_reached(const struct vessel_view *view, const double *chance, double *by_t)
{
    const struct reasoner *reasoner = view->reasoner;
    memset(by_t, 0, reasoner->set_count * sizeof *by_t);
    for (size_t z = 0; z < reasoner->set_count; z++) {
        size_t parts[4], count = parts_of(reasoner, z, parts);
        for (size_t i = 0; chance[z] > 0.0 && i < count; i++)
            by_t[parts[i]] += chance[z] * reaches(reasoner, z, parts[i]) *
                              exp(view->ln_given[parts[i]] - view->ln_chance[z]);
    }
}

static void view_conclude(const struct vessel_view *view, const double *chance, double *finding,
                          double *cause)
{
    const struct reasoner *reasoner = view->reasoner;
    size_t findings = reasoner->finding_count;
    double *reached = view->common_by_t;

    conclude_reached(view, chance, reached);
    memset(finding, 0, findings * sizeof *finding);
    memset(cause, 0, reasoner->cause_count * sizeof *cause);
    for (size_t s = 0; s < reasoner->set_count; s++) {
        size_t t = view->reached[s];
        if (t == VIEW_NONE || !(reached[t] > 0.0) || !(view->by_t[t] > 0.0))
            continue;
        double scale = reached[t] / view->by_t[t];
        for (size_t f = 0; f < findings; f++)
            finding[f] += view->possible[f] ? scale * view->joint[s * findings + f] : 0.0;
        for (int k = 0; k < SET_MAX_CAUSES; k++)
            if (reasoner->sets[s][k] >= 0)
                cause[reasoner->sets[s][k]] += scale * view->mass[s];
    }
}

/* ==== shared alike ============================================================================ */

/* Vessels of which exactly the same is known: looked at once, counted as often as they are. */

/* FNV-1a over words, for a table that lives as long as one call. */
static uint64_t mix(uint64_t hash, uint32_t word)
{
    return (hash ^ word) * UINT64_C(1099511628211);
}

static uint64_t hash_of(const struct shared_vessel *vessel, size_t observables)
{
    uint64_t hash = UINT64_C(14695981039346656037);

    for (int scope = 0; scope < SCOPE_COUNT; scope++)
        hash = mix(hash, (uint32_t)vessel->group[scope]);
    hash = mix(hash, (uint32_t)vessel->finding);
    hash = mix(mix(hash, vessel->statuses), vessel->control);
    for (size_t i = 0; vessel->observations && i < observables; i++) {
        const struct observation *said = &vessel->observations[i];
        if (said->seen | said->absent | said->hedged | said->silent)
            hash =
                mix(mix(mix(mix(mix(hash, (uint32_t)i), said->seen), said->absent), said->hedged),
                    said->silent);
    }
    return hash ^ hash >> 32;
}

static bool same(const struct shared_vessel *a, const struct shared_vessel *b, size_t observables)
{
    if (a->finding != b->finding || a->statuses != b->statuses || a->control != b->control ||
        memcmp(a->group, b->group, sizeof a->group) != 0)
        return false;
    if (a->observations == b->observations)
        return true;
    return a->observations && b->observations &&
           memcmp(a->observations, b->observations, observables * sizeof *a->observations) == 0;
}

static bool shared_find_alike(const struct shared_batch *batch, size_t observables, size_t *first)
{
    size_t room = 16;
    while (room < 2 * batch->vessel_count)
        room *= 2;
    size_t *slots = calloc(room, sizeof *slots); /* index of a vessel + 1; 0: free */
    if (!slots)
        return false;
    for (size_t v = 0; v < batch->vessel_count; v++) {
        const struct shared_vessel *vessel = &batch->vessels[v];
        size_t slot = (size_t)hash_of(vessel, observables) & (room - 1);
        while (slots[slot] != 0 && !same(vessel, &batch->vessels[slots[slot] - 1], observables))
            slot = (slot + 1) & (room - 1);
        if (slots[slot] == 0)
            slots[slot] = v + 1;
        first[v] = slots[slot] - 1;
    }
    free(slots);
    return true;
}

/* ==== shared ================================================================================== */

/* However far a cause reaches less than its prior would need, it is not taken for granted. */
static const double MOST_PRIOR = 0.95;

struct inference {
    const struct reasoner *reasoner;
    const struct shared_batch *batch;
    struct shared_posterior *result;
    struct vessel_view view;
    double *odds;    /* per suspect: o_z */
    double *ln;      /* per set of suspects: ln P(E, Z) as it grows; then P(Z|E) is in the result */
    double *prior;   /* per set of suspects: P(Z) */
    double *chance;  /* by set of causes: P(Z_v | E) */
    double *ln_of_t; /* by set of causes */
    bool *can;       /* per suspect: whether it can reach the vessel looked at */
    bool *shared;    /* per cause: whether it is a suspect anywhere */
    size_t *first;   /* per vessel: the first one exactly like it, itself if there is none */
    double *count;   /* per vessel: how many there are like it; only of first ones */
};

/* ---- checking -------------------------------------------------------------------------------- */

static bool vessel_holds(const struct rules *rules, const struct shared_vessel *vessel,
                         size_t vessels)
{
    for (int scope = 0; scope < SCOPE_COUNT; scope++)
        if (vessel->group[scope] < RULES_NONE ||
            (vessel->group[scope] >= 0 && (size_t)vessel->group[scope] >= vessels))
            return false;
    if (vessel->finding == RULES_NONE)
        return true;
    if (vessel->finding < 0 || (size_t)vessel->finding >= rules->finding_count)
        return false;
    enum finding_status status = rules->findings[vessel->finding].status;
    return vessel->statuses == 0 || (vessel->statuses >> status & 1);
}

static bool batch_holds(const struct rules *rules, const struct shared_batch *batch)
{
    for (size_t v = 0; v < batch->vessel_count; v++)
        if (!vessel_holds(rules, &batch->vessels[v], batch->vessel_count))
            return false;
    for (size_t i = 0; i < batch->shift_count; i++)
        if (batch->shifts[i].cause >= rules->cause_count || isnan(batch->shifts[i].log_odds))
            return false;
    return true;
}

/* ---- suspects -------------------------------------------------------------------------------- */

static size_t times(const struct shared_vessel *vessel)
{
    return vessel->alike == 0 ? 1 : vessel->alike;
}

/* Vessels by the group they are in, [scope][group] below SCOPE_VESSEL, to be freed; NULL when out
 * of memory. There are at most as many groups as vessels. */
static size_t *count_groups(const struct shared_batch *batch)
{
    size_t groups = batch->vessel_count;
    size_t *counts = calloc(groups + 1, SCOPE_VESSEL * sizeof *counts);
    for (size_t scope = 0; counts && scope < SCOPE_VESSEL; scope++)
        for (size_t v = 0; v < groups; v++)
            if (batch->vessels[v].group[scope] >= 0)
                counts[scope * groups + (size_t)batch->vessels[v].group[scope]] +=
                    times(&batch->vessels[v]);
    return counts;
}

/* Lists them, or only counts them while there is no list; one too many means there are too many. */
static size_t list_suspects(const struct rules *rules, size_t groups, const size_t *counts,
                            struct suspect *list)
{
    size_t count = 0;
    for (size_t c = 0; c < rules->cause_count; c++) {
        enum scope scope = rules->causes[c].scope;
        for (size_t g = 0; scope != SCOPE_VESSEL && g < groups; g++) {
            size_t vessels = counts[scope * groups + g];
            if (vessels == 0)
                continue;
            if (list)
                list[count] = (struct suspect){.cause = c, .group = (int)g, .vessels = vessels};
            if (++count > SHARED_MOST_SUSPECTS)
                return count;
        }
    }
    return count;
}

static enum status find_suspects(struct inference *work)
{
    const struct rules *rules = work->reasoner->rules;
    size_t *counts = count_groups(work->batch), groups = work->batch->vessel_count;
    enum status status = STATUS_MEMORY;

    if (counts) {
        size_t count = list_suspects(rules, groups, counts, NULL);
        work->result->suspects = calloc(count + 1, sizeof *work->result->suspects);
        if (count > SHARED_MOST_SUSPECTS) {
            status = STATUS_DATA;
        } else if (work->result->suspects) {
            list_suspects(rules, groups, counts, work->result->suspects);
            work->result->suspect_count = count;
            work->result->set_count = 1 + count + (count > 1 ? count * (count - 1) / 2 : 0);
            status = STATUS_OK;
        }
    }
    free(counts);
    return status;
}

static void list_sets(struct shared_posterior *result)
{
    size_t n = result->suspect_count, at = 0;
    result->sets[at++] = (struct suspect_set){.suspects = {RULES_NONE, RULES_NONE}};
    for (size_t i = 0; i < n; i++)
        result->sets[at++] = (struct suspect_set){.suspects = {(int)i, RULES_NONE}};
    for (size_t i = 0; i < n; i++)
        for (size_t k = i + 1; k < n; k++)
            result->sets[at++] = (struct suspect_set){.suspects = {(int)i, (int)k}};
}

/* ---- before any vessel ----------------------------------------------------------------------- */

static double odds_of(const struct inference *work, const struct suspect *suspect)
{
    const struct cause *cause = &work->reasoner->rules->causes[suspect->cause];
    double reach = fmin(1.0, fmax(LEAST_CHANCE, cause->reach));
    double p = fmin(MOST_PRIOR, fmax(LEAST_CHANCE, cause->prior / reach));
    double ln = log(p / (1.0 - p)), most = log((1.0 - LEAST_CHANCE) / LEAST_CHANCE);

    for (size_t i = 0; i < work->batch->shift_count; i++) {
        const struct shared_shift *shift = &work->batch->shifts[i];
        if (shift->cause == suspect->cause &&
            (shift->group == RULES_NONE || shift->group == suspect->group))
            ln += shift->log_odds;
    }
    return exp(fmin(most, fmax(-most, ln)));
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

/* ln P(Z) P(E0|Z), and P(Z) apart. */
static void begin(struct inference *work)
{
    struct shared_posterior *result = work->result;
    double total = 0.0;

    for (size_t i = 0; i < result->suspect_count; i++) {
        work->odds[i] = odds_of(work, &result->suspects[i]);
        work->shared[result->suspects[i].cause] = true;
    }
    view_common_given(&work->view, work->shared, work->ln_of_t);
    for (size_t z = 0; z < result->set_count; z++) {
        work->prior[z] = 1.0;
        for (int k = 0; k < 2; k++)
            if (result->sets[z].suspects[k] >= 0)
                work->prior[z] *= work->odds[result->sets[z].suspects[k]];
        total += work->prior[z];
    }
    for (size_t z = 0; z < result->set_count; z++) {
        work->prior[z] /= total;
        work->ln[z] = log(work->prior[z]) + work->ln_of_t[causes_of(work, &result->sets[z], NULL)];
    }
}

/* ---- the vessels ----------------------------------------------------------------------------- */

static void find_can(struct inference *work, const struct shared_vessel *vessel)
{
    for (size_t i = 0; i < work->result->suspect_count; i++) {
        const struct suspect *suspect = &work->result->suspects[i];
        const struct cause *cause = &work->reasoner->rules->causes[suspect->cause];
        work->can[i] = vessel->group[cause->scope] == suspect->group &&
                       (!vessel->control || cause->shown_by_control);
    }
}

static bool count_alike(struct inference *work)
{
    if (!shared_find_alike(work->batch, work->reasoner->observable_count, work->first))
        return false;
    for (size_t v = 0; v < work->batch->vessel_count; v++)
        work->count[work->first[v]] += (double)times(&work->batch->vessels[v]);
    return true;
}

static enum status take_vessel(struct inference *work, size_t index)
{
    const struct shared_vessel *vessel = &work->batch->vessels[index];
    if (work->first[index] != index)
        return STATUS_OK;
    enum status status = view_look(&work->view, vessel);
    if (status != STATUS_OK)
        return status;
    find_can(work, vessel);
    for (size_t z = 0; z < work->result->set_count; z++)
        work->ln[z] += work->count[index] *
                       work->view.ln_chance[causes_of(work, &work->result->sets[z], work->can)];
    return STATUS_OK;
}

static enum status conclude_vessel(struct inference *work, size_t index)
{
    const struct shared_vessel *vessel = &work->batch->vessels[index];
    size_t findings = work->reasoner->finding_count, causes = work->reasoner->cause_count;
    size_t first = work->first[index];
    double *finding = work->result->finding, *cause = work->result->cause;

    if (first != index) {
        memcpy(finding + index * findings, finding + first * findings, findings * sizeof *finding);
        memcpy(cause + index * causes, cause + first * causes, causes * sizeof *cause);
        return STATUS_OK;
    }
    enum status status = view_look(&work->view, vessel);
    if (status != STATUS_OK)
        return status;
    find_can(work, vessel);
    memset(work->chance, 0, work->reasoner->set_count * sizeof *work->chance);
    for (size_t z = 0; z < work->result->set_count; z++)
        work->chance[causes_of(work, &work->result->sets[z], work->can)] += work->result->sets[z].p;
    view_conclude(&work->view, work->chance, finding + index * findings, cause + index * causes);
    return STATUS_OK;
}

/* ---- the whole ------------------------------------------------------------------------------- */

static void conclude_suspect(struct inference *work, int index)
{
    const struct shared_posterior *result = work->result;
    double p = 0.0;

    for (size_t z = 0; z < result->set_count; z++) {
        const int *members = result->sets[z].suspects;
        if (members[0] == index || members[1] == index)
            p += result->sets[z].p;
    }
    work->result->suspects[index].p = fmin(1.0, p);
}

/* Reads what is asked for off ln P(E, Z). STATUS_DATA: nothing could have brought this about. */
static enum status conclude(struct inference *work)
{
    struct shared_posterior *result = work->result;
    double high = -INFINITY, total = 0.0;

    for (size_t z = 0; z < result->set_count; z++)
        high = fmax(high, work->ln[z]);
    if (!isfinite(high))
        return STATUS_DATA;
    for (size_t z = 0; z < result->set_count; z++)
        total += result->sets[z].p = exp(work->ln[z] - high);
    for (size_t z = 0; z < result->set_count; z++)
        result->sets[z].p /= total;
    for (size_t i = 0; i < result->suspect_count; i++)
        conclude_suspect(work, (int)i);
    return STATUS_OK;
}

static bool take_room(struct inference *work, bool each_vessel)
{
    struct shared_posterior *result = work->result;
    size_t vessels = work->batch->vessel_count, sets = work->reasoner->set_count;

    result->sets = calloc(result->set_count, sizeof *result->sets);
    work->odds = calloc(result->suspect_count + 1, sizeof *work->odds);
    work->ln = calloc(result->set_count, sizeof *work->ln);
    work->prior = calloc(result->set_count, sizeof *work->prior);
    work->chance = calloc(sets, sizeof *work->chance);
    work->ln_of_t = calloc(sets, sizeof *work->ln_of_t);
    work->can = calloc(result->suspect_count + 1, sizeof *work->can);
    work->shared = calloc(work->reasoner->cause_count + 1, sizeof *work->shared);
    work->first = calloc(vessels + 1, sizeof *work->first);
    work->count = calloc(vessels + 1, sizeof *work->count);
    if (each_vessel) {
        size_t findings = work->reasoner->finding_count, causes = work->reasoner->cause_count;
        result->finding = calloc(vessels + 1, (findings + 1) * sizeof *result->finding);
        result->cause = calloc(vessels + 1, (causes + 1) * sizeof *result->cause);
    }
    return result->sets && work->odds && work->ln && work->prior && work->chance && work->ln_of_t &&
           work->can && work->shared && work->first && work->count &&
           (!each_vessel || (result->finding && result->cause));
}

static void give_back(struct inference *work)
{
    view_release(&work->view);
    free(work->odds);
    free(work->ln);
    free(work->prior);
    free(work->chance);
    free(work->ln_of_t);
    free(work->can);
    free(work->shared);
    free(work->first);
    free(work->count);
}

static enum status infer(struct inference *work, bool each_vessel)
{
    const struct shared_batch *batch = work->batch;
    enum status status = find_suspects(work);

    if (status != STATUS_OK)
        return status;
    if (!take_room(work, each_vessel) || !view_init(&work->view, work->reasoner) ||
        !count_alike(work))
        return STATUS_MEMORY;
    list_sets(work->result);
    status = view_common(&work->view, batch->common);
    if (status == STATUS_OK)
        begin(work);
    for (size_t v = 0; status == STATUS_OK && v < batch->vessel_count; v++)
        status = take_vessel(work, v);
    if (status == STATUS_OK)
        status = conclude(work);
    for (size_t v = 0; status == STATUS_OK && each_vessel && v < batch->vessel_count; v++)
        status = conclude_vessel(work, v);
    return status;
}

enum status reason_shared(const struct reasoner *reasoner, const struct shared_batch *batch,
                          bool each_vessel, struct shared_posterior *posterior)
{
    struct inference work = {.reasoner = reasoner, .batch = batch, .result = posterior};

    *posterior = (struct shared_posterior){0};
    if (!batch_holds(reasoner->rules, batch))
        return STATUS_DATA;
    enum status status = infer(&work, each_vessel);
    give_back(&work);
    if (status != STATUS_OK)
        shared_release(posterior);
    return status;
}

void shared_release(struct shared_posterior *posterior)
{
    free(posterior->suspects);
    free(posterior->sets);
    free(posterior->finding);
    free(posterior->cause);
    *posterior = (struct shared_posterior){0};
}
