/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Candidates and their weights: one pass over each factor. */
#include "review/search_internal.h"

#include <math.h>
#include <string.h>

#include "reason/alike.h"

/* ---- how vessels count ----------------------------------------------------------------------- */

static bool old_enough(const struct dataset *dataset, size_t vessel, double watched)
{
    int32_t entered = dataset->entered[vessel];
    return entered != DAY_NONE && (double)dataset->today - (double)entered >= watched;
}

static enum standing standing_of(const struct dataset *dataset, size_t vessel, double watched,
                                 bool *young)
{
    *young = false;
    switch (dataset->fate[vessel]) {
    case FATE_SOUND:
        return STANDING_SOUND;
    case FATE_STUCK:
    case FATE_CONTAMINATED:
    case FATE_UNTOLD:
        return STANDING_LOST;
    case FATE_OPEN:
        *young = !old_enough(dataset, vessel, watched);
        return *young ? STANDING_OUT : STANDING_SOUND;
    default:
        return STANDING_OUT;
    }
}

uint8_t *search_standing(const struct dataset *dataset, double watched, struct arena *arena,
                         size_t *young)
{
    uint8_t *standing = arena_array(arena, dataset->vessel_count, sizeof *standing);
    bool is_young;
    if (standing == NULL)
        return NULL;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        standing[i] = (uint8_t)standing_of(dataset, i, watched, &is_young);
        if (is_young && young != NULL && !dataset->control[i])
            ++*young;
    }
    return standing;
}

/* ---- weights --------------------------------------------------------------------------------- */

double search_tail(struct counts inside, struct counts outside)
{
    double x = (double)inside.lost, n = (double)inside.total;
    double lost = x + (double)outside.lost, all = n + (double)outside.total;
    static const double negligible = 1e-17;

    if (!(x * all > lost * n))
        return 1.0;
    double log_chance = lgamma(n + 1) - lgamma(x + 1) - lgamma(n - x + 1) + lgamma(all - n + 1) -
                        lgamma(lost - x + 1) - lgamma(all - n - lost + x + 1) - lgamma(all + 1) +
                        lgamma(lost + 1) + lgamma(all - lost + 1);
    double sum = 0.0, term = 1.0;
    /* Above the mean each term is smaller than the one before. */
    while (term > negligible * sum) {
        sum += term;
        term *= (n - x) * (lost - x) / ((x + 1) * (all - n - lost + x + 1));
        x++;
    }
    return fmin(1.0, exp(log_chance) * sum);
}

static bool higher(const struct candidate *candidate)
{
    return (double)candidate->inside.lost * (double)candidate->outside.total >
           (double)candidate->outside.lost * (double)candidate->inside.total;
}

static void weigh(const struct search *search, struct candidate *candidate)
{
    const struct tally groups[] = {
        {(double)candidate->inside.lost, (double)candidate->inside.total},
        {(double)candidate->outside.lost, (double)candidate->outside.total}};
    candidate->asked = candidate->inside.total > 0 && candidate->outside.total > 0 &&
                       !search->same[search->first[candidate->factor] + candidate->level];
    candidate->log_bayes =
        candidate->asked ? alike_log_bayes_factor(groups, 2, 1.0, 1.0) : -INFINITY;
    if (candidate->asked && !higher(candidate))
        candidate->log_bayes = -fabs(candidate->log_bayes);
    candidate->weight = candidate->log_bayes + search->log_prior[candidate->factor];
    candidate->test_p = candidate->asked ? search_tail(candidate->inside, candidate->outside) : NAN;
}

bool search_supports(const struct search *search, const struct candidate *candidate)
{
    return candidate->asked && higher(candidate) &&
           candidate->log_bayes >= log(search->rule->bayes_factor) &&
           candidate->test_p <= search->rule->level;
}

bool search_calls(const struct search *search, const struct candidate *candidate)
{
    return search_supports(search, candidate) && candidate->q <= search->rule->level;
}

/* ---- passes ---------------------------------------------------------------------------------- */

static void count_vessel(struct counts *counts, enum standing standing)
{
    counts->total++;
    counts->lost += standing == STANDING_LOST;
}

/* Takes one factor: its levels' sums, and of them the controls'. */
static void tally(const struct search *search, size_t factor, unsigned mask, struct counts *all)
{
    const struct factor *of = &search->dataset->factors[factor];
    struct candidate *candidates = &search->candidates[search->first[factor]];
    bool shows = factor_kind_control(of->kind);

    *all = (struct counts){0, 0};
    for (size_t l = 0; l < of->level_count; l++)
        candidates[l].inside = candidates[l].controls = (struct counts){0, 0};
    for (size_t i = 0; i < search->dataset->vessel_count; i++) {
        bool control = search->dataset->control[i];
        enum standing standing = search->standing[i];
        uint32_t level = of->level[i];
        if (standing == STANDING_OUT || level == LEVEL_NONE || (search->cover[i] & mask) != 0 ||
            (control && !shows))
            continue;
        count_vessel(all, standing);
        count_vessel(&candidates[level].inside, standing);
        if (control)
            count_vessel(&candidates[level].controls, standing);
    }
}

enum status search_weigh(struct search *search, unsigned mask)
{
    search->asked = 0;
    for (size_t f = 0; f < search->dataset->factor_count; f++) {
        struct counts all;
        tally(search, f, mask, &all);
        for (size_t c = search->first[f]; c < search->first[f + 1]; c++) {
            struct candidate *candidate = &search->candidates[c];
            candidate->outside.lost = all.lost - candidate->inside.lost;
            candidate->outside.total = all.total - candidate->inside.total;
            weigh(search, candidate);
            search->room[c] = candidate->asked ? candidate->test_p : NAN;
            search->asked += candidate->asked;
        }
    }
    enum status status = counts_adjust(search->room, search->count, search->room);
    for (size_t c = 0; c < search->count; c++)
        search->candidates[c].q = search->room[c];
    return status;
}

static bool inside(const struct search *search, const struct candidate *candidate, size_t vessel)
{
    const struct factor *of = &search->dataset->factors[candidate->factor];
    return of->level[vessel] == candidate->level &&
           (!search->dataset->control[vessel] || factor_kind_control(of->kind));
}

void search_weigh_one(const struct search *search, unsigned mask, const struct candidate *less,
                      struct candidate *candidate)
{
    const struct factor *of = &search->dataset->factors[candidate->factor];
    bool shows = factor_kind_control(of->kind);

    candidate->inside = candidate->outside = candidate->controls = (struct counts){0, 0};
    for (size_t i = 0; i < search->dataset->vessel_count; i++) {
        enum standing standing = search->standing[i];
        bool control = search->dataset->control[i];
        if (standing == STANDING_OUT || of->level[i] == LEVEL_NONE ||
            (search->cover[i] & mask) != 0 || (control && !shows) ||
            (less != NULL && inside(search, less, i)))
            continue;
        bool in = of->level[i] == candidate->level;
        count_vessel(in ? &candidate->inside : &candidate->outside, standing);
        if (in && control)
            count_vessel(&candidate->controls, standing);
    }
    weigh(search, candidate);
}

void search_cover(struct search *search, const struct candidate *candidate, unsigned bit)
{
    for (size_t i = 0; i < search->dataset->vessel_count; i++)
        if (inside(search, candidate, i))
            search->cover[i] = (uint8_t)(search->cover[i] | bit);
}
