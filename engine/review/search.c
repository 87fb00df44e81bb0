/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/search.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/bayes_factor.h"

/*
 * Which levels of which factors have a higher rate of loss of their own?
 *
 * A candidate is one level of one factor. Its weight is
 *
 *   w = ln [B(1+x, 1+n-x) B(1+X-x, 1+N-n-X+x) / B(1+X, 1+N-X)] + ln prior
 *
 * (x of n lost inside, X of N in all): the evidence that it has a rate of its own
 * (reason/alike.h), and a prior by which a journal has one culprit on average, shared
 * out over its levels by how common culprits of their scope are.
 *
 * A set of culprits parts the vessels: each culprit explains the vessels of its own
 * that those before it left over, and the rest has one rate. The evidence of the
 * set is then the sum of its steps, each among the vessels that are left.
 */
struct candidate {
    size_t factor;
    uint32_t level;
    bool asked; /* there is something inside and outside */
    struct counts inside, outside, controls;
    double log_bayes, weight, test_p, q;
};

struct search {
    const struct dataset *dataset;
    const struct review_rule *rule;
    const uint8_t *standing;
    uint8_t *cover; /* of each vessel: bit f when culprit f explains it */
    struct candidate *candidates;
    size_t count;
    size_t *first;    /* of each factor: its first candidate; one more at the end */
    const bool *same; /* of each candidate: it is computed, and has the very vessels of one level of
                         what it was computed from. It says why, and is not asked itself. */
    double *log_prior; /* of each level of each factor */
    double *room;      /* room for a number a candidate */
    size_t asked;
};

/* ---- vessels saved ------------------------------------------------------------------------------ */

enum { POINTS = 256 };

struct
    rate { /* a posterior, as weights of evenly spaced rates; `below` runs up to each, inclusive */
    double from, step;
    double weight[POINTS], below[POINTS];
};

static void rate_init(struct rate *rate, struct counts counts)
{
    double a = 1.0 + (double)counts.lost, b = 1.0 + (double)(counts.total - counts.lost);
    double mean = a / (a + b), spread = sqrt(mean * (1.0 - mean) / (a + b + 1.0));
    const double wide = 9.0; /* beyond so many standard deviations lies nothing that counts */
    double low = fmax(0.0, mean - wide * spread), high = fmin(1.0, mean + wide * spread);
    double most = -INFINITY, sum = 0.0;

    rate->step = (high - low) / POINTS;
    rate->from = low + rate->step / 2.0;
    for (size_t i = 0; i < POINTS; i++) {
        double r = rate->from + (double)i * rate->step;
        rate->weight[i] = (a - 1.0) * log(r) + (b - 1.0) * log1p(-r);
        most = fmax(most, rate->weight[i]);
    }
    for (size_t i = 0; i < POINTS; i++)
        sum += rate->weight[i] = exp(rate->weight[i] - most);
    for (size_t i = 0; i < POINTS; i++) {
        rate->weight[i] /= sum;
        rate->below[i] = rate->weight[i] + (i > 0 ? rate->below[i - 1] : 0.0);
    }
}

/* P(rate <= r), the weights spread evenly round their points. */
static double rate_below(const struct rate *rate, double r)
{
    double at = (r - rate->from) / rate->step + 0.5;
    if (at <= 0.0)
        return 0.0;
    if (at >= POINTS)
        return 1.0;
    size_t i = (size_t)at;
    return rate->below[i] - rate->weight[i] * (1.0 - (at - (double)i));
}

/* The difference that the first exceeds the second by, at a share of all cases. */
static double difference_at(const struct rate *first, const struct rate *second, double share)
{
    double low = -1.0, high = 1.0;
    for (int turn = 0; turn < 40; turn++) {
        double middle = (low + high) / 2.0, below = 0.0;
        for (size_t i = 0; i < POINTS; i++)
            below += second->weight[i] *
                     rate_below(first, second->from + (double)i * second->step + middle);
        if (below < share)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2.0;
}

static double rate_mean(const struct rate *rate)
{
    double mean = 0.0;
    for (size_t i = 0; i < POINTS; i++)
        mean += rate->weight[i] * (rate->from + (double)i * rate->step);
    return mean;
}

void saved_estimate(const struct review_suspect *suspect, struct review_culprit *culprit)
{
    struct counts grown = {suspect->inside.lost - suspect->controls.lost,
                           suspect->inside.total - suspect->controls.total};
    double n = (double)grown.total, most = (double)grown.lost;
    struct rate inside, outside;

    rate_init(&inside, suspect->inside);
    rate_init(&outside, suspect->outside);
    double mean = rate_mean(&inside) - rate_mean(&outside);
    culprit->saved_low = fmin(most, fmax(0.0, n * difference_at(&inside, &outside, 0.05)));
    culprit->saved = fmin(most, fmax(0.0, n * mean));
    culprit->saved_high = fmin(most, fmax(0.0, n * difference_at(&inside, &outside, 0.95)));
}

/* ---- candidates --------------------------------------------------------------------------------- */

static const uint32_t mixed = LEVEL_NONE - 1; /* more than one level */

/* Notes that `from` was met together with `to`. */
static void meet(uint32_t *partners, uint32_t from, uint32_t to)
{
    if (partners[from] == LEVEL_NONE)
        partners[from] = to;
    else if (partners[from] != to)
        partners[from] = mixed;
}

static uint32_t *partners_new(struct arena *arena, size_t levels)
{
    uint32_t *partners = arena_array(arena, levels, sizeof *partners);
    for (size_t l = 0; l < levels; l++)
        partners[l] = LEVEL_NONE;
    return partners;
}

/* Which levels of a computed factor only say why: they have the very vessels of one level of what it
 * was computed from. */
static void find_same(const struct search *search, size_t computed, size_t origin, bool *same,
                      struct arena *arena)
{
    const struct dataset *dataset = search->dataset;
    const struct factor *from = &dataset->factors[computed], *of = &dataset->factors[origin];
    uint32_t *origins = partners_new(arena, from->level_count);
    uint32_t *back = partners_new(arena, of->level_count);

    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (search->standing[i] == STANDING_OUT || from->level[i] == LEVEL_NONE ||
            of->level[i] == LEVEL_NONE)
            continue;
        meet(origins, from->level[i], of->level[i]);
        meet(back, of->level[i], from->level[i]);
    }
    for (uint32_t l = 0; l < from->level_count; l++)
        same[search->first[computed] + l] = origins[l] < mixed && back[origins[l]] == l;
}

/* The factors' levels share one culprit among them, by how common culprits of their scope are. */
static void share_prior(struct search *search)
{
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
        search->log_prior[f] = log(share);
        sum += share * (double)of->level_count;
    }
    for (size_t f = 0; f < dataset->factor_count; f++)
        search->log_prior[f] -= log(sum);
}

static void search_init(struct search *search, const struct dataset *dataset,
                        const struct review_rule *rule, struct arena *arena)
{
    size_t factors = dataset->factor_count, count = 0;

    *search = (struct search){.dataset = dataset, .rule = rule};
    search->first = arena_array(arena, factors + 1, sizeof *search->first);
    for (size_t f = 0; f < factors; f++) {
        search->first[f] = count;
        count += dataset->factors[f].level_count;
    }
    search->first[factors] = search->count = count;
    search->standing = search_standing(dataset, rule->watched, arena, NULL);
    search->cover = arena_array(arena, dataset->vessel_count, sizeof *search->cover);
    search->candidates = arena_array(arena, count, sizeof *search->candidates);
    search->room = arena_array(arena, count, sizeof *search->room);
    search->log_prior = arena_array(arena, factors, sizeof *search->log_prior);
    share_prior(search);
    bool *same = arena_array(arena, count, sizeof *same);
    search->same = same;
    for (size_t f = 0; f < factors; f++) {
        enum factor_kind kind = dataset->factors[f].kind;
        size_t origin = dataset_factor(dataset, factor_kinds[kind].origin);
        for (uint32_t l = 0; l < dataset->factors[f].level_count; l++)
            search->candidates[search->first[f] + l] = (struct candidate){.factor = f, .level = l};
        if (factor_kinds[kind].origin != kind && origin < factors)
            find_same(search, f, origin, same, arena);
    }
}

/* ---- how vessels count ----------------------------------------------------------------------- */

uint8_t *search_standing(const struct dataset *dataset, double watched, struct arena *arena,
                         size_t *young)
{
    uint8_t *standing = arena_array(arena, dataset->vessel_count, sizeof *standing);
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t entered = dataset->entered[i];
        standing[i] = STANDING_OUT;
        switch (dataset->fate[i]) {
        case FATE_SOUND:
            standing[i] = STANDING_SOUND;
            break;
        case FATE_STUCK:
        case FATE_CONTAMINATED:
        case FATE_UNTOLD:
            standing[i] = STANDING_LOST;
            break;
        case FATE_OPEN:
            if (entered != DAY_NONE && (double)dataset->today - (double)entered >= watched)
                standing[i] = STANDING_SOUND;
            else if (young != NULL && !dataset->control[i])
                ++*young;
            break;
        default:
            break;
        }
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
    candidate->log_bayes = candidate->asked ? bayes_factor_ln(groups, 2, 1.0, 1.0) : -INFINITY;
    if (candidate->asked && !higher(candidate))
        candidate->log_bayes = -fabs(candidate->log_bayes);
    candidate->weight = candidate->log_bayes + search->log_prior[candidate->factor];
    candidate->test_p = candidate->asked ? search_tail(candidate->inside, candidate->outside) : NAN;
}

/* Whether the evidence alone calls it; search_calls: with the number of questions asked. */
static bool search_supports(const struct search *search, const struct candidate *candidate)
{
    return candidate->asked && higher(candidate) &&
           candidate->log_bayes >= log(search->rule->bayes_factor) &&
           candidate->test_p <= search->rule->level;
}

static bool search_calls(const struct search *search, const struct candidate *candidate)
{
    return search_supports(search, candidate) && candidate->q <= search->rule->level;
}

/* ---- passes ---------------------------------------------------------------------------------- */

/* Takes one factor: its levels' sums, and of them the controls'. */
static void count_levels(const struct search *search, size_t factor, unsigned mask,
                         struct counts *all)
{
    const struct factor *of = &search->dataset->factors[factor];
    struct candidate *candidates = &search->candidates[search->first[factor]];
    bool shows = factor_kinds[of->kind].control;

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

/* Weighs every candidate among the vessels that no culprit of `mask` explains. */
static void search_weigh(struct search *search, unsigned mask)
{
    search->asked = 0;
    for (size_t f = 0; f < search->dataset->factor_count; f++) {
        struct counts all;
        count_levels(search, f, mask, &all);
        for (size_t c = search->first[f]; c < search->first[f + 1]; c++) {
            struct candidate *candidate = &search->candidates[c];
            candidate->outside.lost = all.lost - candidate->inside.lost;
            candidate->outside.total = all.total - candidate->inside.total;
            weigh(search, candidate);
            search->room[c] = candidate->asked ? candidate->test_p : NAN;
            search->asked += candidate->asked;
        }
    }
    (void)counts_adjust(search->room, search->count, search->room);
    for (size_t c = 0; c < search->count; c++)
        search->candidates[c].q = search->room[c];
}

static bool inside(const struct search *search, const struct candidate *candidate, size_t vessel)
{
    const struct factor *of = &search->dataset->factors[candidate->factor];
    return of->level[vessel] == candidate->level &&
           (!search->dataset->control[vessel] || factor_kinds[of->kind].control);
}

/* The same for one; `less` (may be NULL) is one whose vessels are left out too. q stays as it was. */
static void search_weigh_one(const struct search *search, unsigned mask,
                             const struct candidate *less, struct candidate *candidate)
{
    const struct factor *of = &search->dataset->factors[candidate->factor];
    bool shows = factor_kinds[of->kind].control;

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

/* Marks its vessels as explained by culprit `bit`. */
static void search_cover(struct search *search, const struct candidate *candidate, unsigned bit)
{
    for (size_t i = 0; i < search->dataset->vessel_count; i++)
        if (inside(search, candidate, i))
            search->cover[i] = (uint8_t)(search->cover[i] | bit);
}

/* ---- sets of culprits --------------------------------------------------------------------------- */

/*
 * Which culprits are called, and what cannot be told apart from them.
 *
 * Sets of culprits grow one culprit at a time. The most evident level is not always
 * in the best set: a grain lot that happened to meet two bad cooks may look worse
 * than either. So the best few sets of each size are kept, and the one with the
 * most evidence wins.
 */

enum { BEAM = 4, RIVALS = 16, LOOKED_AT = 32 };
static const unsigned every = ~0U; /* culprit of a set */

struct set { /* of culprits, in the order in which they were called */
    size_t picks[REVIEW_CULPRITS];
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
 * Two names for one culprit: whichever is set aside takes the other's support away. Two culprits that
 * are there both keep theirs.
 */
static bool one_culprit(const struct search *search, unsigned mask, size_t a, size_t b)
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
        /* NOLINTNEXTLINE(clang-analyzer-core.UndefinedBinaryOperatorResult): `count` of them are there */
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

/* The candidates called now, heaviest first, each culprit by one name only. */
static size_t best_calls(const struct search *search, size_t picks[BEAM])
{
    size_t seen[RIVALS], seen_count = 0, count = 0;
    while (count < BEAM && seen_count < RIVALS) {
        size_t best = heaviest(search, seen, seen_count, true);
        if (best == SIZE_MAX)
            break;
        bool named = false;
        for (size_t k = 0; k < count && !named; k++)
            named = one_culprit(search, every, picks[k], best);
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

/* Adds to `next` what the set becomes by one culprit more, or to `best` if nothing more is called. */
static void grow(struct search *search, const struct set *set, struct beam *next, struct set *best,
                 bool *found)
{
    size_t picks[BEAM], count = 0;
    cover_set(search, set);
    search_weigh(search, every);
    if (set->count < REVIEW_CULPRITS)
        count = best_calls(search, picks);
    for (size_t k = 0; k < count; k++) {
        struct set more = *set;
        more.picks[more.count++] = picks[k];
        more.weight += search->candidates[picks[k]].weight;
        beam_put(next, &more);
    }
    if (count == 0 && (!*found || set->weight > best->weight)) {
        *best = *set;
        *found = true;
    }
}

static struct set best_set(struct search *search, size_t *asked)
{
    struct beam beam = {.count = 1};
    struct set best = {.count = 0};
    bool found = false;

    for (bool first = true; beam.count > 0; first = false) {
        struct beam next = {.count = 0};
        for (size_t i = 0; i < beam.count; i++)
            grow(search, &beam.sets[i], &next, &best, &found);
        if (first)
            *asked = search->asked;
        beam = next;
    }
    return best;
}

/* Takes culprits out that the later ones explain. */
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

/* ---- what is told of them ----------------------------------------------------------------------- */

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
        if (f == suspect->factor || factor_kinds[why->kind].origin != of->kind)
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
static struct review_culprit tell_culprit(struct search *search, const struct set *set, size_t j,
                                          struct arena *arena)
{
    static const double tenth = 2.302585092994046; /* ln 10 */
    unsigned mask = every & ~(1U << j);
    size_t lead = set->picks[j], names[RIVALS], seen[LOOKED_AT], count = 0, seen_count = 0;
    struct review_culprit culprit = {.suspect_count = 0};

    cover_set(search, set);
    search_weigh(search, mask);
    const struct candidate *first = &search->candidates[lead];
    while (count < RIVALS && seen_count < LOOKED_AT) {
        size_t next = heaviest(search, seen, seen_count, false);
        if (next == SIZE_MAX)
            break;
        seen[seen_count++] = next;
        const struct candidate *rival = &search->candidates[next];
        if (next == lead || ((rival->log_bayes >= first->log_bayes - tenth ||
                              rival->weight >= first->weight - tenth) &&
                             one_culprit(search, mask, lead, next)))
            names[count++] = next;
    }
    culprit.suspects = arena_array(arena, count, sizeof *culprit.suspects);
    for (size_t i = 0; i < count; i++) /* p and q of the counts that are told, not of the call's */
        culprit.suspects[i] = suspect_of(search, &search->candidates[names[i]]);
    culprit.suspect_count = count;
    culprit.p = share_out(culprit.suspects, count);
    saved_estimate(&culprit.suspects[0], &culprit);
    return culprit;
}

static int surer(const void *a, const void *b)
{
    const struct review_culprit *first = a, *second = b;
    double x = first->suspects[0].log_bayes, y = second->suspects[0].log_bayes;
    return (x < y) - (x > y);
}

/* What comes nearest to being called, once all culprits are set aside. */
static void tell_near(struct search *search, const struct set *set, struct arena *arena,
                      struct review_found *found)
{
    enum { SOME = 3 };                                      /* vessels; fewer tell nothing */
    static const double worth_telling = 1.0986122886681098; /* ln 3 */
    size_t seen[REVIEW_NEAR];
    cover_set(search, set);
    search_weigh(search, every);
    found->near = arena_array(arena, REVIEW_NEAR, sizeof *found->near);
    while (found->near_count < REVIEW_NEAR) {
        size_t best = SIZE_MAX;
        for (size_t c = 0; c < search->count; c++)
            if (search->candidates[c].log_bayes > worth_telling &&
                search->candidates[c].inside.total >= SOME && !listed(seen, found->near_count, c) &&
                (best == SIZE_MAX ||
                 search->candidates[c].weight > search->candidates[best].weight))
                best = c;
        if (best == SIZE_MAX)
            break;
        seen[found->near_count] = best;
        found->near[found->near_count] = suspect_of(search, &search->candidates[best]);
        (void)share_out(&found->near[found->near_count++], 1);
    }
}

struct review_found review_find_culprits(const struct dataset *dataset,
                                         const struct review_rule *rule, struct arena *arena)
{
    struct review_found found = {.culprit_count = 0};
    struct search search;

    search_init(&search, dataset, rule, arena);
    struct set set = best_set(&search, &found.asked);
    drop_explained(&search, &set);
    found.culprits = arena_array(arena, set.count, sizeof *found.culprits);
    found.culprit_count = set.count;
    for (size_t j = 0; j < set.count; j++)
        found.culprits[j] = tell_culprit(&search, &set, j, arena);
    if (set.count > 1)
        qsort(found.culprits, set.count, sizeof *found.culprits, surer);
    tell_near(&search, &set, arena, &found);
    return found;
}
