/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reason/siblings.h"

#include <gsl/gsl_eigen.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_sf_gamma.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#include "reason/model.h"

/* ln B(a + lost, b + kept) - ln B(a, b); NAN when a or b is not above 0. */
static double beta_ln_ratio(double a, double b, double lost, double kept)
{
    gsl_sf_result seen, unseen;
    /* The variant that returns its error never ends a program. */
    if (gsl_sf_lnbeta_e(a + lost, b + kept, &seen) != GSL_SUCCESS ||
        gsl_sf_lnbeta_e(a, b, &unseen) != GSL_SUCCESS)
        return NAN;
    return seen.val - unseen.val;
}

double bayes_factor_ln(const struct tally *groups, size_t count, double a, double b)
{
    struct tally all = {0.0, 0.0};
    double apart = 0.0;
    size_t told = 0;
    if (!(a > 0.0) || !(b > 0.0) || !isfinite(a) || !isfinite(b))
        return NAN;
    for (size_t g = 0; g < count; g++) {
        double lost = groups[g].lost, total = groups[g].total;
        if (!(lost >= 0.0 && lost <= total && isfinite(total)))
            return NAN;
        if (total == 0.0)
            continue;
        apart += beta_ln_ratio(a, b, lost, total - lost);
        all.lost += lost;
        all.total += total;
        told++;
    }
    return told < 2 ? 0.0 : apart - beta_ln_ratio(a, b, all.lost, all.total - all.lost);
}

/* Gauss-Jacobi: the nodes are the eigenvalues of the recurrence's tridiagonal matrix (Golub & Welsch
 * 1969, Mathematics of Computation 23, 221-230), the weights one over the sum of the squares of the
 * orthonormal polynomials there. GSL's own rule of this kind scales by gamma functions of a and b,
 * which overflow for counts of some hundred vessels. */
void beta_rule(double a, double b, size_t count, double *nodes, double *weights)
{
    double centre[BETA_RULE_MOST] = {0.0}, beside[BETA_RULE_MOST] = {0.0};
    gsl_matrix *matrix = gsl_matrix_calloc(count, count);
    gsl_eigen_symm_workspace *room = gsl_eigen_symm_alloc(count);
    gsl_vector_view values = gsl_vector_view_array(nodes, count);
    if (matrix == NULL || room == NULL)
        memory_exhausted();
    /* The matrix of the orthonormal polynomials of x^(a-1) (1-x)^(b-1) on [0, 1]:
     * those of Jacobi's (1-t)^(b-1) (1+t)^(a-1) with x = (1 + t)/2. */
    double s = a + b - 2.0, difference = a - b; /* A + B and B - A of Jacobi's exponents A, B */
    for (size_t k = 0; k < count; k++) {
        double n = (double)k + 1.0, m = 2.0 * (double)k + s; /* n: between this row and the next */
        double middle = k == 0 ? difference / (s + 2.0) : difference * s / (m * (m + 2.0));
        m += 2.0;
        double squared = k == 0 ? 4.0 * a * b / (m * m * (m + 1.0))
                                : 4.0 * n * (n + a - 1.0) * (n + b - 1.0) * (n + s) /
                                      (m * m * (m + 1.0) * (m - 1.0));
        centre[k] = 0.5 * (1.0 + middle);
        beside[k] = 0.5 * sqrt(squared);
        gsl_matrix_set(matrix, k, k, centre[k]);
        if (k + 1 < count)
            gsl_matrix_set(matrix, k + 1, k, beside[k]); /* the lower half is read */
    }
    gsl_eigen_symm(matrix, &values.vector, room);
    gsl_sort(nodes, 1, count);
    for (size_t i = 0; i < count; i++) {
        double before = 0.0, here = 1.0, sum = 1.0;
        for (size_t k = 0; k + 1 < count; k++) {
            double next = (nodes[i] - centre[k]) * here - (k > 0 ? beside[k - 1] * before : 0.0);
            before = here;
            here = next / beside[k];
            sum += here * here;
        }
        weights[i] = 1.0 / sum;
    }
    gsl_eigen_symm_free(room);
    gsl_matrix_free(matrix);
}

/* A way of being lost: contaminated; stuck, of what is not contaminated; and
 * contaminated though never inoculated. */
enum layer { LAYER_CONTAMINATED, LAYER_STUCK, LAYER_CONTROLS, LAYER_COUNT };

enum { Q_NODES = 20, LAMBDA_NODES = 8, RULES_KEPT = 32 };

/* A rule over the background: that of beta_rule, with the logarithms of its weights. */
struct background {
    double a, b;
    double nodes[Q_NODES], ln_weights[Q_NODES];
};

/* Everything M(A) needs. */
struct chance_of_counts {
    const struct sibling_cell *cells;
    size_t count;
    double a, b, reach_seen;
    struct background *kept; /* rules made before: of causes that reach the same vessels */
    size_t kept_count;
};

/* ---- the chance of all counts ---------------------------------------------------------------- */

/*
 * M(A) of siblings.h, when the causes A act.
 *
 * Vessels that were kept need no quadrature over the background q, since each has
 * the factor 1 - q; nor do lost ones that nothing in A can reach, each a factor
 * q. Both go into the Beta that q is integrated over, exactly, so that what is
 * left to the rule is the product over the lost vessels within reach:
 *
 *   M = B(a + k0, b + K) / B(a, b)
 *       E_lambda [ prod (1 - lambda)^kept  E_q prod (1 - (1 - q)(1 - lambda))^lost ].
 *
 * Binomial coefficients are left out: they are the same for every A.
 */

/* What a cell is to a cause: out of its reach; within; and at the same position. */
enum way { WAY_OUT, WAY_WITHIN, WAY_NEAR, WAY_COUNT };

/* ln(1 - lambda) of one layer at the points of its rule; one point, 0 everywhere, for a cause that does
 * not act there. */
struct lambda {
    double ln_spared[WAY_COUNT][LAMBDA_NODES];
    double weight[LAMBDA_NODES];
    size_t count;
};
static const struct lambda no_lambda = {.weight = {1.0}, .count = 1};

struct suspected {
    size_t cause;
    enum relation relation;
    double spared; /* e */
    struct lambda lambda[LAYER_COUNT];
};

/* The counts of one layer by what their cell is to either cause. */
struct sums {
    double lost[WAY_COUNT][WAY_COUNT], kept[WAY_COUNT][WAY_COUNT];
    double kept_in_all;
    bool lost_within; /* some that were lost are within reach of either */
};

static struct tally tally_of(const struct sibling_cell *cell, enum layer layer)
{
    double sound = cell->clean + cell->stuck;
    if (cell->control != (layer == LAYER_CONTROLS))
        return (struct tally){0.0, 0.0};
    if (layer == LAYER_STUCK)
        return (struct tally){cell->stuck, sound};
    return (struct tally){cell->contaminated, sound + cell->contaminated};
}

static enum way way_to(const struct sibling_cell *cell, const struct suspected *cause,
                       enum layer layer)
{
    if (!cause || cause->lambda[layer].count == 1 || !(cell->shares >> cause->relation & 1))
        return WAY_OUT;
    return cell->shares >> RELATION_POSITION & 1 ? WAY_NEAR : WAY_WITHIN;
}

static void sums_add(const struct chance_of_counts *of, const struct suspected *one,
                     const struct suspected *other, enum layer layer, struct sums *sums)
{
    *sums = (struct sums){.kept_in_all = 0.0};
    for (size_t i = 0; i < of->count; i++) {
        const struct sibling_cell *cell = &of->cells[i];
        struct tally tally = tally_of(cell, layer);
        enum way x = way_to(cell, one, layer), y = way_to(cell, other, layer);
        sums->lost[x][y] += tally.lost;
        sums->lost_within =
            sums->lost_within || ((x != WAY_OUT || y != WAY_OUT) && tally.lost > 0.0);
        sums->kept[x][y] += tally.total - tally.lost;
        sums->kept_in_all += tally.total - tally.lost;
    }
}

static double log_sum(const double *ln, size_t count)
{
    double high = ln[0];
    for (size_t i = 1; i < count; i++)
        high = fmax(high, ln[i]);
    double sum = exp(ln[0] - high);
    for (size_t i = 1; i < count; i++)
        sum += exp(ln[i] - high);
    return high + log(sum);
}

/* The rule over Beta(a, b), made if it is not kept. */
static const struct background *background_of(struct chance_of_counts *of, double a, double b)
{
    double weights[Q_NODES];
    for (size_t i = 0; i < of->kept_count && i < RULES_KEPT; i++)
        if (of->kept[i].a == a && of->kept[i].b == b)
            return &of->kept[i];
    struct background *made = &of->kept[of->kept_count++ % RULES_KEPT];
    made->a = a;
    made->b = b;
    beta_rule(a, b, Q_NODES, made->nodes, weights);
    for (size_t i = 0; i < Q_NODES; i++)
        made->ln_weights[i] = log(weights[i]);
    return made;
}

/* ln of [...] above, for one point of either lambda. Without a rule nothing was lost that they could have reached. */
static double at_point(const struct sums *sums, const struct lambda *one, size_t j,
                       const struct lambda *other, size_t l, const struct background *rule)
{
    double ln[Q_NODES], kept = 0.0;
    if (rule != NULL)
        memcpy(ln, rule->ln_weights, sizeof ln);
    for (size_t x = 0; x < WAY_COUNT; x++) {
        for (size_t y = 0; y < WAY_COUNT; y++) {
            double lost = sums->lost[x][y];
            if ((x == WAY_OUT && y == WAY_OUT) || (lost == 0.0 && sums->kept[x][y] == 0.0))
                continue;
            double ln_spared = one->ln_spared[x][j] + other->ln_spared[y][l];
            kept += sums->kept[x][y] * ln_spared;
            if (rule == NULL || !(lost > 0.0))
                continue;
            double spared = exp(ln_spared);
            for (size_t i = 0; i < Q_NODES; i++)
                ln[i] += lost * log1p(-(1.0 - rule->nodes[i]) * spared);
        }
    }
    return rule != NULL ? kept + log_sum(ln, Q_NODES) : kept;
}

static double layer_chance(struct chance_of_counts *of, const struct suspected *one,
                           const struct suspected *other, enum layer layer)
{
    double ln[LAMBDA_NODES * LAMBDA_NODES] = {0.0};
    const struct lambda *first = one ? &one->lambda[layer] : &no_lambda;
    const struct lambda *second = other ? &other->lambda[layer] : &no_lambda;
    const struct background *rule = NULL;
    struct sums sums;
    sums_add(of, one, other, layer, &sums);
    double out = sums.lost[WAY_OUT][WAY_OUT];
    double ln_background = beta_ln_ratio(of->a, of->b, out, sums.kept_in_all);
    if (first->count * second->count == 1 || (!sums.lost_within && sums.kept_in_all == 0.0))
        return ln_background;
    if (sums.lost_within)
        rule = background_of(of, of->a + out, of->b + sums.kept_in_all);
    for (size_t j = 0; j < first->count; j++)
        for (size_t l = 0; l < second->count; l++)
            ln[j * second->count + l] = log(first->weight[j]) + log(second->weight[l]) +
                                        at_point(&sums, first, j, second, l, rule);
    return ln_background + log_sum(ln, first->count * second->count);
}

/* ln M(A), A = {one, other}, either of which may be NULL. */
static double siblings_chance(struct chance_of_counts *of, const struct suspected *one,
                              const struct suspected *other)
{
    double ln = 0.0;
    for (int layer = 0; layer < LAYER_COUNT; layer++)
        ln += layer_chance(of, one, other, (enum layer)layer);
    return ln;
}

/* Below this a cause is taken to lose nothing: it could not be told from the background. */
static const double LEAST_SHARE = 1e-6;

/* So many vessels that share something are weighed; the points of lambda tell no more apart. */
static const double COUNTED_MOST = 120.0;

/* ---- who is suspected ------------------------------------------------------------------------ */

/* The share of what it reaches that a cause turns from one side of a line to the other. */
static double turned(double sound_with, double sound_without)
{
    return sound_without > 0.0 ? fmax(0.0, 1.0 - sound_with / sound_without) : 0.0;
}

/* P(status | S) for the set with that index. */
static void outcomes_of(const struct reasoner *reasoner, size_t set, double p[FINDING_STATUS_COUNT])
{
    for (size_t f = 0; f < reasoner->finding_count; f++)
        p[reasoner->rules->findings[f].status] +=
            reasoner->given[set * reasoner->finding_count + f];
}

/* E lambda of either layer for a reach: [0] contaminated, [1] stuck of the rest. */
static void losses_of(const double with[FINDING_STATUS_COUNT],
                      const double without[FINDING_STATUS_COUNT], double reach, double share[2])
{
    double sound = 1.0 - with[FINDING_CONTAMINATED];
    double sound_without = 1.0 - without[FINDING_CONTAMINATED];
    double spoils = turned(sound, sound_without);
    double stops = turned(with[FINDING_CLEAN] / sound, without[FINDING_CLEAN] / sound_without);
    share[0] = reach * spoils;
    share[1] = stops * reach * (1.0 - spoils) / (1.0 - reach * spoils);
}

/* lambda about `share`, as sure as `seen` vessels make it; `near` at the same position. */
static struct lambda lambda_of(double share, double near, double seen)
{
    struct lambda lambda = no_lambda;
    double nodes[LAMBDA_NODES];
    if (!(share > LEAST_SHARE))
        return lambda;
    share = fmin(share, 1.0 - LEAST_SHARE);
    near = fmin(near, 1.0 - LEAST_SHARE);
    double power = log1p(-near) / log1p(-share); /* 1 - lambda' = (1 - lambda)^power */
    lambda.count = LAMBDA_NODES;
    beta_rule(seen * share, seen * (1.0 - share), LAMBDA_NODES, nodes, lambda.weight);
    for (size_t j = 0; j < LAMBDA_NODES; j++) {
        double spared = log1p(-fmin(nodes[j], 1.0 - 1e-12)); /* a node may round up to 1 */
        lambda.ln_spared[WAY_WITHIN][j] = spared;
        lambda.ln_spared[WAY_NEAR][j] = power * spared;
    }
    return lambda;
}

static struct suspected suspect_of(const struct reasoner *reasoner, size_t index, double seen)
{
    const struct cause *cause = &reasoner->rules->causes[index];
    double without[FINDING_STATUS_COUNT] = {0.0}, with[FINDING_STATUS_COUNT] = {0.0};
    double reach = fmin(1.0, fmax(LEAST_SHARE, cause->reach)), prior = cause->prior;
    double near = cause->reach_near > 0.0 ? fmin(1.0, cause->reach_near) : reach;
    double share[2], share_near[2];
    outcomes_of(reasoner, 0, without);
    outcomes_of(reasoner, 1 + index, with);
    losses_of(with, without, reach, share);
    losses_of(with, without, near, share_near);
    double spared = reach > prior ? prior * (1.0 - reach) / (reach - prior) : 1.0;
    struct suspected suspect = {
        .cause = index,
        .relation = (enum relation)cause->scope,
        .spared = fmin(1.0, spared),
        .lambda = {[LAYER_CONTAMINATED] = lambda_of(share[0], share_near[0], seen),
                   [LAYER_STUCK] = lambda_of(share[1], share_near[1], seen)},
    };
    suspect.lambda[LAYER_CONTROLS] =
        cause->shown_by_control ? suspect.lambda[LAYER_CONTAMINATED] : no_lambda;
    return suspect;
}

/* ---- what the counts say of sets of them ----------------------------------------------------- */

/* ln M of each set of suspects. */
struct table {
    const struct suspected *suspects;
    size_t count;
    double *ln;
};

/* ln(e^a + odds e^b), also where neither is within reach of a double. */
static double add_at(double a, double odds, double b)
{
    if (!(odds > 0.0))
        return a;
    double high = fmax(a, b);
    return high + log(exp(a - high) + odds * exp(b - high));
}

/* ln L of the set of this one alone, or for RULES_NONE of none. */
static double ln_chance(const struct table *table, int acts)
{
    const size_t own = set_index(table->count, acts, RULES_NONE);
    double sum = table->ln[own], weight = 1.0;
    for (size_t z = 0; z < set_total(table->count); z++) {
        double odds = 1.0;
        int of[SET_MAX_CAUSES];
        set_members(table->count, z, of);
        if (z == own || (acts != RULES_NONE && of[0] != acts && of[1] != acts))
            continue;
        for (int k = 0; k < SET_MAX_CAUSES && of[k] >= 0; k++)
            odds *= of[k] == acts ? 1.0 : table->suspects[of[k]].spared;
        sum = add_at(sum, odds, table->ln[z]);
        weight += odds;
    }
    return sum - log(weight);
}

static void shifts_find(const struct table *table, double most, struct sibling_pattern *pattern)
{
    const double none = ln_chance(table, RULES_NONE);
    pattern->cause_count = table->count;
    for (size_t i = 0; i < table->count; i++)
        pattern->shifts[i] = (struct prior_shift){
            table->suspects[i].cause, fmin(most, fmax(-most, ln_chance(table, (int)i) - none))};
    for (size_t z = 1 + table->count; z < set_total(table->count); z++) {
        int of[SET_MAX_CAUSES];
        set_members(table->count, z, of);
        const struct prior_shift *a = &pattern->shifts[of[0]], *b = &pattern->shifts[of[1]];
        const double both = fmin(most, fmax(-most, table->ln[z] - none));
        pattern->pairs[pattern->pair_count++] =
            (struct pair_shift){{a->cause, b->cause}, both - a->log_odds - b->log_odds};
    }
}

/* ---- what is shared, as one tells it --------------------------------------------------------- */

static double total_of(const struct sibling_cell *cell)
{
    return cell->clean + cell->stuck + cell->contaminated;
}

static void group_add(const struct sibling_cell *cell, struct sibling_group *group)
{
    bool shares = cell->shares >> group->relation & 1;
    /* A position is compared with the other positions of its cook. */
    bool compared = group->relation != RELATION_POSITION || (cell->shares >> RELATION_COOK & 1);
    if (cell->control ? !shares : !shares && !compared)
        return;
    struct tally *side = cell->control ? &group->controls : shares ? &group->own : &group->rest;
    side->lost += cell->contaminated + (cell->control ? 0.0 : cell->stuck);
    side->total += total_of(cell);
}

static void groups_find(const struct chance_of_counts *of, uint32_t shared,
                        struct sibling_pattern *pattern)
{
    for (int relation = 0; relation < RELATION_COUNT; relation++) {
        if (!(shared >> relation & 1))
            continue;
        struct sibling_group *group = &pattern->groups[pattern->group_count++];
        *group = (struct sibling_group){.relation = (enum relation)relation};
        for (size_t i = 0; i < of->count; i++)
            group_add(&of->cells[i], group);
        const struct tally both[] = {group->own, group->rest};
        group->log_bayes_factor = bayes_factor_ln(both, 2, of->a, of->b);
        const struct tally *own = &group->own, *rest = &group->rest;
        bool more = own->lost * rest->total > rest->lost * own->total;
        group->kind = own->total == 0.0                  ? PATTERN_NO_OTHERS
                      : rest->total == 0.0               ? PATTERN_ALONE
                      : !(group->log_bayes_factor > 0.0) ? PATTERN_ALIKE
                      : more                             ? PATTERN_MORE
                                                         : PATTERN_LESS;
        /* Relations that the same inoculated vessels share, every one of them. */
        const struct sibling_cell *cells = of->cells;
        uint32_t same = (UINT32_C(1) << RELATION_COUNT) - 1;
        bool any = false;
        for (size_t i = 0; i < of->count; i++) {
            if (cells[i].control || total_of(&cells[i]) == 0.0)
                continue;
            bool shares = cells[i].shares >> group->relation & 1;
            same &= shares ? cells[i].shares : ~cells[i].shares;
            any = any || shares;
        }
        group->aliased = any ? same & ~(UINT32_C(1) << group->relation) : 0;
    }
}

/* The highest level at which no more than COUNTED_MOST vessels are counted, no cell for more than it. */
static double level_of(const struct sibling_cell *cells, size_t count)
{
    double low = 0.0, high = COUNTED_MOST, level = INFINITY;
    for (int turn = 0; turn < 61; turn++) {
        double sum = 0.0;
        for (size_t i = 0; i < count; i++)
            if (cells[i].shares != 0)
                sum += fmin(level, total_of(&cells[i]));
        if (turn == 0 && sum <= COUNTED_MOST)
            return INFINITY;
        if (turn > 0 && sum <= COUNTED_MOST)
            low = level;
        else if (turn > 0)
            high = level;
        level = 0.5 * (low + high);
    }
    return low;
}

/* ---- the whole ------------------------------------------------------------------------------- */

/* The shifts of causes whose scope something shares; never of those of a vessel alone. */
static void weigh(const struct reasoner *reasoner, struct chance_of_counts of, uint32_t shared,
                  struct arena *arena, struct sibling_pattern *pattern)
{
    size_t causes = reasoner->cause_count, count = 0;
    struct suspected *suspects = arena_array(arena, causes, sizeof *suspects);
    struct sibling_cell *shortened = arena_array(arena, of.count, sizeof *shortened);
    const struct sibling_cell *cells = of.cells;
    double level = level_of(cells, of.count);
    for (size_t i = 0; i < of.count; i++) {
        double total = total_of(&cells[i]);
        double share = cells[i].shares != 0 && total > level ? level / total : 1.0;
        shortened[i] = cells[i];
        shortened[i].clean *= share;
        shortened[i].stuck *= share;
        shortened[i].contaminated *= share;
    }
    of.cells = shortened;
    of.kept = arena_room(arena, RULES_KEPT, sizeof *of.kept);
    for (size_t c = 0; c < causes; c++) {
        enum scope scope = reasoner->rules->causes[c].scope;
        if (scope != SCOPE_VESSEL && (shared >> scope & 1))
            suspects[count++] = suspect_of(reasoner, c, of.reach_seen);
    }
    const size_t sets = set_total(count);
    struct table table = {suspects, count, arena_array(arena, sets, sizeof *table.ln)};
    pattern->shifts = arena_array(arena, count, sizeof *pattern->shifts);
    pattern->pairs = arena_array(arena, sets, sizeof *pattern->pairs);
    for (size_t z = 0; z < sets; z++) {
        int acts[SET_MAX_CAUSES];
        set_members(count, z, acts);
        table.ln[z] = siblings_chance(&of, acts[0] < 0 ? NULL : &suspects[acts[0]],
                                      acts[1] < 0 ? NULL : &suspects[acts[1]]);
    }
    shifts_find(&table, reasoner->rules->calibration.siblings.most, pattern);
}

enum status siblings_weigh(const struct reasoner *reasoner, const struct sibling_cell *cells,
                           size_t count, struct arena *arena, struct sibling_pattern *pattern)
{
    const struct sibling_rules *rules = &reasoner->rules->calibration.siblings;
    struct chance_of_counts of = {
        .cells = cells,
        .count = count,
        .a = rules->usual * rules->usual_seen,
        .b = (1.0 - rules->usual) * rules->usual_seen,
        .reach_seen = rules->reach_seen,
    };
    uint32_t shared = 0;
    *pattern = (struct sibling_pattern){.group_count = 0};
    for (size_t i = 0; i < count; i++) {
        if (!(cells[i].clean >= 0.0 && cells[i].stuck >= 0.0 && cells[i].contaminated >= 0.0 &&
              isfinite(total_of(&cells[i]))))
            return STATUS_DATA;
        if (total_of(&cells[i]) > 0.0)
            shared |= cells[i].shares & ((UINT32_C(1) << RELATION_COUNT) - 1);
    }
    if (!(of.a > 0.0) || !(of.b > 0.0) || !(of.reach_seen > 0.0))
        return STATUS_OK; /* the rule base assumes nothing of siblings */
    groups_find(&of, shared, pattern);
    weigh(reasoner, of, shared, arena, pattern);
    /* How far the causes a group speaks of are moved. */
    for (size_t g = 0; g < pattern->group_count; g++) {
        struct sibling_group *group = &pattern->groups[g];
        double highest = -INFINITY, lowest = INFINITY;
        for (size_t i = 0; i < pattern->cause_count; i++) {
            const struct prior_shift *shift = &pattern->shifts[i];
            const struct cause *cause = &reasoner->rules->causes[shift->cause];
            bool speaks = group->relation == RELATION_POSITION
                              ? cause->reach_near > 0.0
                              : (enum relation)cause->scope == group->relation;
            highest = speaks ? fmax(highest, shift->log_odds) : highest;
            lowest = speaks ? fmin(lowest, shift->log_odds) : lowest;
        }
        group->highest = highest >= lowest ? highest : 0.0;
        group->lowest = highest >= lowest ? lowest : 0.0;
    }
    return STATUS_OK;
}
