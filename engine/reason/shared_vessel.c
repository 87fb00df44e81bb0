/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One vessel of a batch: its likelihood by which shared causes reached it, and what it is in the end. */
#include "reason/shared_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/rows_internal.h"

bool view_init(struct vessel_view *view, const struct reasoner *reasoner)
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

void view_release(struct vessel_view *view)
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

void view_common_given(struct vessel_view *view, const bool *shared, double *ln)
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

void view_conclude(const struct vessel_view *view, const double *chance, double *finding,
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
