/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which faults are called, and what cannot be told apart from them.
 *
 * Sets of faults grow one fault at a time. The most evident level is not always
 * in the best set: a grain lot that happened to meet two bad cooks may look worse
 * than either. So the best few sets of each size are kept, and the one with the
 * most evidence wins.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/saved_internal.h"
#include "review/search_internal.h"

enum { BEAM = 4, RIVALS = 16, LOOKED_AT = 32 };
static const unsigned every = ~0U; /* fault of a set */

struct set { /* of faults, in the order in which they were called */
    size_t picks[REVIEW_FAULTS];
    size_t count;
    double weight;
};

struct beam { /* sets of one size, heaviest first */
    struct set sets[BEAM];
    size_t count;
};

static void cover_set(struct search *search, const struct set *set)
{
    memset(search->cover, 0, search->dataset->vessel_count);
    for (size_t j = 0; j < set->count; j++)
        search_cover(search, &search->candidates[set->picks[j]], 1U << j);
}

/*
 * Two names for one fault: whichever is set aside takes the other's support away. Two faults that
 * are there both keep theirs.
 */
static bool one_fault(const struct search *search, unsigned mask, size_t a, size_t b)
{
    const struct candidate *first = &search->candidates[a], *second = &search->candidates[b];
    struct candidate alone = *first;
    search_weigh_one(search, mask, second, &alone);
    if (search_supports(search, &alone))
        return false;
    alone = *second;
    search_weigh_one(search, mask, first, &alone);
    return !search_supports(search, &alone);
}

static bool listed(const size_t *list, size_t count, size_t item)
{
    for (size_t i = 0; i < count; i++)
        if (list[i] == item)
            return true;
    return false;
}

/* The heaviest candidate that is called (or supported at least) and not in the list; SIZE_MAX. */
static size_t heaviest(const struct search *search, const size_t *except, size_t except_count,
                       bool called)
{
    size_t best = SIZE_MAX;
    for (size_t c = 0; c < search->count; c++) {
        const struct candidate *candidate = &search->candidates[c];
        if (!(called ? search_calls : search_supports)(search, candidate) ||
            (best != SIZE_MAX && candidate->weight <= search->candidates[best].weight) ||
            listed(except, except_count, c))
            continue;
        best = c;
    }
    return best;
}

/* ---- growing --------------------------------------------------------------------------------- */

/* The candidates called now, heaviest first, each fault by one name only. */
static size_t best_calls(const struct search *search, size_t picks[BEAM])
{
    size_t seen[RIVALS], seen_count = 0, count = 0;
    while (count < BEAM && seen_count < RIVALS) {
        size_t best = heaviest(search, seen, seen_count, true);
        if (best == SIZE_MAX)
            break;
        bool named = false;
        for (size_t k = 0; k < count && !named; k++)
            named = one_fault(search, every, picks[k], best);
        seen[seen_count++] = best;
        if (!named)
            picks[count++] = best;
    }
    return count;
}

static bool same_set(const struct set *a, const struct set *b)
{
    for (size_t j = 0; j < a->count; j++)
        if (!listed(b->picks, b->count, a->picks[j]))
            return false;
    return a->count == b->count;
}

/* Puts it into its place; of two orders of one set the heavier stays. */
static void beam_put(struct beam *beam, const struct set *set)
{
    for (size_t i = 0; i < beam->count; i++)
        if (same_set(&beam->sets[i], set)) {
            if (beam->sets[i].weight >= set->weight)
                return;
            memmove(&beam->sets[i], &beam->sets[i + 1], (beam->count - i - 1) * sizeof *beam->sets);
            beam->count--;
            break;
        }
    size_t at = beam->count;
    while (at > 0 && beam->sets[at - 1].weight < set->weight)
        at--;
    if (at == BEAM)
        return;
    size_t moved = (beam->count < BEAM ? beam->count : BEAM - 1) - at;
    memmove(&beam->sets[at + 1], &beam->sets[at], moved * sizeof *beam->sets);
    beam->sets[at] = *set;
    beam->count = beam->count < BEAM ? beam->count + 1 : BEAM;
}

/* Adds to `next` what the set becomes by one fault more, or to `best` if nothing more is called. */
static enum status grow(struct search *search, const struct set *set, struct beam *next,
                        struct set *best, bool *found)
{
    size_t picks[BEAM], count = 0;
    cover_set(search, set);
    enum status status = search_weigh(search, every);
    if (status == STATUS_OK && set->count < REVIEW_FAULTS)
        count = best_calls(search, picks);
    for (size_t k = 0; k < count; k++) {
        const struct candidate *candidate = &search->candidates[picks[k]];
        struct set more = *set;
        more.picks[more.count++] = picks[k];
        more.weight += candidate->weight;
        beam_put(next, &more);
    }
    if (count == 0 && (!*found || set->weight > best->weight)) {
        *best = *set;
        *found = true;
    }
    return status;
}

static enum status best_set(struct search *search, struct set *best, size_t *asked)
{
    struct beam beam = {.count = 1};
    enum status status = STATUS_OK;
    bool found = false;

    for (bool first = true; beam.count > 0 && status == STATUS_OK; first = false) {
        struct beam next = {.count = 0};
        for (size_t i = 0; i < beam.count && status == STATUS_OK; i++)
            status = grow(search, &beam.sets[i], &next, best, &found);
        if (first)
            *asked = search->asked;
        beam = next;
    }
    return status;
}

/* ---- looking back ---------------------------------------------------------------------------- */

/* Takes faults out that the later ones explain. */
static void drop_explained(struct search *search, struct set *set)
{
    for (size_t j = 0; j < set->count;) {
        struct candidate alone = search->candidates[set->picks[j]];
        cover_set(search, set);
        search_weigh_one(search, every & ~(1U << j), NULL, &alone);
        if (search_supports(search, &alone)) {
            j++;
            continue;
        }
        for (size_t k = j + 1; k < set->count; k++)
            set->picks[k - 1] = set->picks[k];
        set->count--;
        j = 0;
    }
}

/* ---- telling --------------------------------------------------------------------------------- */

/* The computed level that all vessels of a candidate have: why it may have failed. */
static void find_why(const struct search *search, struct review_suspect *suspect)
{
    const struct dataset *dataset = search->dataset;
    const struct factor *of = &dataset->factors[suspect->factor];
    suspect->why_factor = dataset->factor_count;
    suspect->why_level = LEVEL_NONE;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *why = &dataset->factors[f];
        uint32_t level = LEVEL_NONE;
        bool one = true;
        if (f == suspect->factor || factor_kind_origin(why->kind) != of->kind)
            continue;
        for (size_t i = 0; i < dataset->vessel_count && one; i++)
            if (of->level[i] == suspect->level && why->level[i] != LEVEL_NONE) {
                one = level == LEVEL_NONE || level == why->level[i];
                level = why->level[i];
            }
        if (one && level != LEVEL_NONE) {
            suspect->why_factor = f;
            suspect->why_level = level;
            return;
        }
    }
}

static struct review_suspect suspect_of(const struct search *search,
                                        const struct candidate *candidate)
{
    struct review_suspect suspect = {
        .factor = candidate->factor,
        .level = candidate->level,
        .p = candidate->weight,
        .inside = candidate->inside,
        .controls = candidate->controls,
        .outside = candidate->outside,
        .test_p = candidate->test_p,
        .q = candidate->q,
        .log_bayes = candidate->log_bayes,
    };
    find_why(search, &suspect);
    return suspect;
}

/* From weights to probabilities: one of these, or none. */
static double share_out(struct review_suspect *suspects, size_t count)
{
    double sum = 0.0, most = 0.0;
    for (size_t i = 0; i < count; i++)
        most = fmax(most, suspects[i].p);
    for (size_t i = 0; i < count; i++)
        sum += exp(suspects[i].p - most);
    double all = sum + exp(-most);
    for (size_t i = 0; i < count; i++)
        suspects[i].p = exp(suspects[i].p - most) / all;
    return sum / all;
}

/* The one called and its rivals, likeliest first: those that are a tenth as likely, or for which the
 * counts speak a tenth as loud, at least. */
static enum status tell_fault(struct search *search, const struct set *set, size_t j,
                              struct arena *arena, struct review_fault *fault)
{
    static const double tenth = 2.302585092994046; /* ln 10 */
    unsigned mask = every & ~(1U << j);
    size_t lead = set->picks[j], names[RIVALS], seen[LOOKED_AT], count = 0, seen_count = 0;

    cover_set(search, set);
    if (search_weigh(search, mask) != STATUS_OK)
        return STATUS_MEMORY;
    const struct candidate *first = &search->candidates[lead];
    while (count < RIVALS && seen_count < LOOKED_AT) {
        size_t next = heaviest(search, seen, seen_count, false);
        if (next == SIZE_MAX)
            break;
        seen[seen_count++] = next;
        const struct candidate *rival = &search->candidates[next];
        if (next == lead || ((rival->log_bayes >= first->log_bayes - tenth ||
                              rival->weight >= first->weight - tenth) &&
                             one_fault(search, mask, lead, next)))
            names[count++] = next;
    }
    fault->suspects = arena_array(arena, count, sizeof *fault->suspects);
    if (fault->suspects == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < count; i++) /* p and q of the counts that are told, not of the call's */
        fault->suspects[i] = suspect_of(search, &search->candidates[names[i]]);
    fault->suspect_count = count;
    fault->p = share_out(fault->suspects, count);
    saved_estimate(&fault->suspects[0], fault);
    return STATUS_OK;
}

static int surer(const void *a, const void *b)
{
    const struct review_fault *first = a, *second = b;
    double x = first->suspects[0].log_bayes, y = second->suspects[0].log_bayes;
    return (x < y) - (x > y);
}

/* What comes nearest to being called, once all faults are set aside. */
static enum status tell_near(struct search *search, const struct set *set, struct arena *arena,
                             struct review_suspect **near, size_t *near_count)
{
    size_t seen[REVIEW_NEAR];
    enum { SOME = 3 };                                      /* vessels; fewer tell nothing */
    static const double worth_telling = 1.0986122886681098; /* ln 3 */
    cover_set(search, set);
    enum status status = search_weigh(search, every);
    *near_count = 0;
    *near = arena_array(arena, REVIEW_NEAR, sizeof **near);
    if (*near == NULL)
        return STATUS_MEMORY;
    while (*near_count < REVIEW_NEAR && status == STATUS_OK) {
        size_t best = SIZE_MAX;
        for (size_t c = 0; c < search->count; c++)
            if (search->candidates[c].log_bayes > worth_telling &&
                search->candidates[c].inside.total >= SOME && !listed(seen, *near_count, c) &&
                (best == SIZE_MAX ||
                 search->candidates[c].weight > search->candidates[best].weight))
                best = c;
        if (best == SIZE_MAX)
            break;
        seen[*near_count] = best;
        (*near)[(*near_count)++] = suspect_of(search, &search->candidates[best]);
    }
    for (size_t i = 0; i < *near_count; i++)
        (void)share_out(&(*near)[i], 1);
    return status;
}

enum status review_faults(const struct dataset *dataset, const struct review_rule *rule,
                          struct arena *arena, struct review_fault **faults, size_t *count,
                          struct review_suspect **near, size_t *near_count, size_t *asked)
{
    struct search search;
    struct set set = {.count = 0};

    *count = *near_count = *asked = 0;
    enum status status = search_init(&search, dataset, rule, arena);
    if (status == STATUS_OK)
        status = best_set(&search, &set, asked);
    if (status != STATUS_OK)
        return status;
    drop_explained(&search, &set);
    *faults = arena_array(arena, set.count, sizeof **faults);
    if (*faults == NULL)
        return STATUS_MEMORY;
    for (size_t j = 0; j < set.count && status == STATUS_OK; j++)
        status = tell_fault(&search, &set, j, arena, &(*faults)[j]);
    *count = set.count;
    if (status == STATUS_OK && set.count > 1)
        qsort(*faults, set.count, sizeof **faults, surer);
    return status == STATUS_OK ? tell_near(&search, &set, arena, near, near_count) : status;
}
