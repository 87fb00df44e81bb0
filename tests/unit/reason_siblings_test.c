/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the others say of a vessel: against sums over everything that can have happened, and in kind. */

#include "reason/model.h"
#include "reason/siblings.h"
#include "support/fixture.h"
#include "support/naive.h"
#include "support/random_base.h"
#include "support/test.h"

static struct arena *arena; /* of all patterns */

#define BIT(relation) (UINT32_C(1) << (relation))

/* ---- once more, by counting ------------------------------------------------------------------- */

enum { LAYERS = 3, MOST_CELLS = 4 };

/* E x^n (1-x)^m over a Beta(a, b). */
static long double moment(long double a, long double b, long double n, long double m)
{
    return expl(lgammal(a + n) + lgammal(b + m) - lgammal(a + b + n + m) - lgammal(a) - lgammal(b) +
                lgammal(a + b));
}

struct plain { /* one cause in one layer: the mean of lambda, and whom it can reach */
    long double share;
    uint32_t relation;
};

struct naive_world {
    const struct rules *rules;
    const struct sibling_cell *cells;
    size_t count;
};

static void naive_statuses(const struct rules *rules, int cause, long double *p)
{
    long double row[BASE_FINDINGS];
    for (size_t f = 0; f < rules->finding_count; f++) {
        row[f] = (long double)rules->findings[f].base;
        for (size_t g = 0; cause >= 0 && g < rules->causes[cause].grow_count; g++)
            if (rules->causes[cause].grows[g].finding == f)
                row[f] += (long double)rules->causes[cause].grows[g].rate;
    }
    naive_share(row, rules->finding_count);
    p[0] = p[1] = p[2] = 0;
    for (size_t f = 0; f < rules->finding_count; f++)
        p[rules->findings[f].status] += row[f];
}

static struct plain naive_plain(const struct rules *rules, int cause, int layer)
{
    long double with[3], without[3];
    if (cause < 0)
        return (struct plain){0, 0};
    const struct cause *at = &rules->causes[cause];
    naive_statuses(rules, cause, with);
    naive_statuses(rules, -1, without);
    long double reach = (long double)at->reach;
    long double spoils = 1 - (1 - with[FINDING_CONTAMINATED]) / (1 - without[FINDING_CONTAMINATED]);
    spoils = spoils > 0 ? spoils : 0;
    long double stops = 1 - with[FINDING_CLEAN] / (1 - with[FINDING_CONTAMINATED]) /
                                (without[FINDING_CLEAN] / (1 - without[FINDING_CONTAMINATED]));
    stops = stops > 0 ? stops : 0;
    long double share =
        layer == 1 ? stops * reach * (1 - spoils) / (1 - reach * spoils) : reach * spoils;
    if (layer == 2 && !at->shown_by_control)
        share = 0;
    return (struct plain){share > 1e-6L ? share : 0, share > 1e-6L ? BIT(at->scope) : 0};
}

/*
 * The chance of the lost ones, each lost by the background, or else by the one cause, or else by the
 * other: summed over how many of each cell went which way. `x`, `y`: lost and spared so far of q and
 * of either lambda.
 */
static long double naive_ways(const struct naive_world *world, int layer,
                              const struct plain causes[2], size_t cell, long double x[3],
                              long double y[3])
{
    const struct sibling_rules *rules = &world->rules->calibration.siblings;
    if (cell == world->count) {
        long double n = (long double)rules->usual_seen, m = (long double)rules->reach_seen;
        long double u = (long double)rules->usual;
        long double product = moment(u * n, (1 - u) * n, x[0], y[0]);
        for (int c = 0; c < 2; c++)
            if (causes[c].share > 0)
                product *=
                    moment(causes[c].share * m, (1 - causes[c].share) * m, x[c + 1], y[c + 1]);
        return product;
    }
    const struct sibling_cell *at = &world->cells[cell];
    if (at->control != (layer == 2))
        return naive_ways(world, layer, causes, cell + 1, x, y);
    unsigned lost = (unsigned)(layer == 1 ? at->stuck : at->contaminated);
    long double kept = (long double)(at->clean + (layer == 1 ? 0 : at->stuck));
    bool one = at->shares & causes[0].relation, other = at->shares & causes[1].relation;
    long double sum = 0;
    for (unsigned by_one = 0; by_one <= (one ? lost : 0); by_one++) {
        for (unsigned by_other = 0; by_other <= (other ? lost - by_one : 0); by_other++) {
            unsigned by_chance = lost - by_one - by_other;
            long double ways = tgammal(lost + 1.0L) / tgammal(by_one + 1.0L) /
                               tgammal(by_other + 1.0L) / tgammal(by_chance + 1.0L);
            long double lost_by[3] = {x[0] + by_chance, x[1] + by_one, x[2] + by_other};
            long double spared_by[3] = {y[0] + kept + by_one + by_other,
                                        y[1] + (one ? kept + by_other : 0),
                                        y[2] + (other ? kept : 0)};
            sum += ways * naive_ways(world, layer, causes, cell + 1, lost_by, spared_by);
        }
    }
    return sum;
}

/* M({a, b}). */
static long double naive_chance(const struct naive_world *world, int a, int b)
{
    long double product = 1;
    for (int layer = 0; layer < LAYERS; layer++) {
        const struct plain causes[2] = {naive_plain(world->rules, a, layer),
                                        naive_plain(world->rules, b, layer)};
        product *= naive_ways(world, layer, causes, 0, (long double[3]){0}, (long double[3]){0});
    }
    return product;
}

static long double naive_spared(const struct rules *rules, int cause)
{
    long double reach = (long double)rules->causes[cause].reach;
    long double prior = (long double)rules->causes[cause].prior;
    long double e = reach > prior ? prior * (1 - reach) / (reach - prior) : 1;
    return e < 1 ? e : 1;
}

/* L({a, b}), over sets of the causes in `moved`. */
static long double naive_likelihood_of(const struct naive_world *world, const int *moved,
                                       size_t count, int a, int b)
{
    long double sum = naive_chance(world, a, b), weight = 1;
    if (b >= 0)
        return sum;
    for (size_t i = 0; i < count; i++) {
        if (moved[i] == a)
            continue;
        long double e = naive_spared(world->rules, moved[i]);
        sum += e * naive_chance(world, a >= 0 ? a : moved[i], a >= 0 ? moved[i] : -1);
        weight += e;
        for (size_t k = i + 1; a < 0 && k < count; k++) {
            long double both = e * naive_spared(world->rules, moved[k]);
            sum += both * naive_chance(world, moved[i], moved[k]);
            weight += both;
        }
    }
    return sum / weight;
}

static long double kept_within(long double ln, double most)
{
    return naive_within(ln, -(long double)most, (long double)most);
}

static void assert_pattern(const struct naive_world *world, const struct sibling_pattern *pattern)
{
    double most = world->rules->calibration.siblings.most;
    int moved[BASE_CAUSES];
    for (size_t i = 0; i < pattern->cause_count; i++)
        moved[i] = (int)pattern->shifts[i].cause;
    long double none = naive_likelihood_of(world, moved, pattern->cause_count, -1, -1);
    for (size_t i = 0; i < pattern->cause_count; i++) {
        long double ln =
            logl(naive_likelihood_of(world, moved, pattern->cause_count, moved[i], -1) / none);
        assert_true(fabsl(kept_within(ln, most) - (long double)pattern->shifts[i].log_odds) <
                    1e-9L);
    }
    assert_int_equal(pattern->pair_count, pattern->cause_count * (pattern->cause_count - 1) / 2);
    for (size_t i = 0, at = 0; i < pattern->cause_count; i++) {
        for (size_t k = i + 1; k < pattern->cause_count; k++, at++) {
            long double ln = logl(naive_chance(world, moved[i], moved[k]) / none);
            long double rest =
                (long double)(pattern->shifts[i].log_odds + pattern->shifts[k].log_odds);
            assert_true(fabsl(kept_within(ln, most) - rest -
                              (long double)pattern->pairs[at].log_odds) < 1e-9L);
        }
    }
}

/* Up to three of each outcome in up to four cells: nine in reach are summed exactly by eight points. */
static size_t random_cells(struct dice *dice, struct sibling_cell *cells)
{
    size_t count = 1 + dice_below(dice, MOST_CELLS), left = 9;
    for (size_t i = 0; i < count; i++) {
        double counts[3];
        for (int k = 0; k < 3; k++) {
            size_t n = dice_below(dice, 4);
            n = n < left ? n : left;
            left -= n;
            counts[k] = (double)n;
        }
        cells[i] = (struct sibling_cell){
            .shares = (uint32_t)dice_bits(dice) & (BIT(RELATION_POSITION) - 1),
            .control = dice_chance(dice, 0.3),
            .clean = counts[0],
            .stuck = counts[1],
            .contaminated = counts[2],
        };
    }
    return count;
}

TEST(agrees_with_counting_all_ways)
{
    (void)state;
    struct dice dice = {19080612};
    const struct random_size size = {.findings = 5, .causes = 4, .observables = 1, .values = 2};
    for (int round = 0; round < 60; round++) {
        struct rule_base *base = random_base(&dice, &size);
        for (size_t f = 0; f < 3; f++) { /* one of each status, and none impossible */
            base->findings[f].status = (enum finding_status)f;
            base->findings[f].base = 0.1 + dice_share(&dice);
        }
        for (size_t c = 0; c < 4; c++) {
            base->causes[c].scope = (enum scope)dice_below(&dice, SCOPE_COUNT);
            base->causes[c].reach = 0.1 + 0.9 * dice_share(&dice);
            base->causes[c].prior = 0.01 + 0.3 * dice_share(&dice);
            base->causes[c].shown_by_control = dice_chance(&dice, 0.5);
        }
        base->rules.calibration.siblings = (struct sibling_rules){
            .most = 1 + 9 * dice_share(&dice),
            .usual = 0.05 + 0.5 * dice_share(&dice),
            .usual_seen = 0.5 + 10 * dice_share(&dice),
            .reach_seen = 1 + 10 * dice_share(&dice),
        };
        struct reasoner *reasoner = reasoner_new(&base->rules);
        struct sibling_cell cells[MOST_CELLS];
        size_t count = random_cells(&dice, cells);
        struct naive_world world = {&base->rules, cells, count};
        struct sibling_pattern pattern;
        assert_non_null(reasoner);
        assert_int_equal(siblings_weigh(reasoner, cells, count, arena, &pattern), STATUS_OK);
        assert_pattern(&world, &pattern);
        reasoner_free(reasoner);
        base_free(base);
    }
}

/* ---- on the shipped rules ---------------------------------------------------------------------- */

enum { COOKED = BIT(RELATION_COOK), STARTED = BIT(RELATION_STARTER), PLACED = BIT(RELATION_PLACE) };

static struct sibling_pattern pattern_of(const struct fixture *shipped,
                                         const struct sibling_cell *cells, size_t count)
{
    struct reasoner *reasoner = reasoner_new(shipped->rules);
    struct sibling_pattern pattern;
    assert_non_null(reasoner);
    assert_int_equal(siblings_weigh(reasoner, cells, count, arena, &pattern), STATUS_OK);
    for (size_t i = 0; i < pattern.cause_count; i++)
        assert_true(fabs(pattern.shifts[i].log_odds) <= shipped->rules->calibration.siblings.most);
    reasoner_free(reasoner);
    return pattern;
}

static double shift_of(const struct fixture *shipped, const struct sibling_pattern *pattern,
                       const char *cause)
{
    for (size_t i = 0; i < pattern->cause_count; i++)
        if ((int)pattern->shifts[i].cause == rules_cause(shipped->rules, cause))
            return pattern->shifts[i].log_odds;
    fail_msg("%s is not moved", cause);
    return NAN;
}

TEST(losses_of_one_cook_point_at_the_cook)
{
    const struct fixture *shipped = *state;
    const struct sibling_cell cells[] = {{.shares = COOKED, .clean = 2, .contaminated = 6},
                                         {.shares = STARTED, .clean = 11}};
    struct sibling_pattern pattern = pattern_of(shipped, cells, 2);
    assert_int_equal(pattern.group_count, 2);
    assert_int_equal(pattern.groups[0].relation, RELATION_COOK);
    assert_int_equal(pattern.groups[0].kind, PATTERN_MORE);
    assert_true(pattern.groups[0].own.lost == 6 && pattern.groups[0].own.total == 8);
    assert_true(pattern.groups[0].rest.lost == 0 && pattern.groups[0].rest.total == 11);
    assert_true(pattern.groups[0].log_bayes_factor > 2);
    assert_true(pattern.groups[0].highest > 1.5);
    assert_int_equal(pattern.groups[1].kind, PATTERN_LESS);
    assert_true(pattern.groups[1].highest < -2);
    assert_true(shift_of(shipped, &pattern, "under_sterilised") > 1.5);
    assert_true(shift_of(shipped, &pattern, "starter_contaminated") < -2);
}

TEST(what_always_went_together_is_not_told_apart)
{
    const struct fixture *shipped = *state;
    const struct sibling_cell together[] = {
        {.shares = COOKED | STARTED, .clean = 2, .contaminated = 6}, {.clean = 11}};
    const struct sibling_cell apart[] = {
        {.shares = COOKED | STARTED, .clean = 1, .contaminated = 6},
        {.shares = COOKED, .clean = 1}};
    const struct sibling_cell with_control[] = {
        {.shares = COOKED | STARTED, .clean = 1, .contaminated = 6},
        {.shares = COOKED, .control = true, .clean = 1}};
    struct sibling_pattern pattern = pattern_of(shipped, together, 2);
    assert_int_equal(pattern.groups[0].aliased, STARTED);
    assert_int_equal(pattern.groups[1].aliased, COOKED);
    double cook = shift_of(shipped, &pattern, "under_sterilised");
    double starter = shift_of(shipped, &pattern, "starter_contaminated");
    assert_true(cook > 1.5 && fabs(cook - starter) < 0.1); /* alike but for what they lose */
    pattern = pattern_of(shipped, apart, 2);
    assert_int_equal(pattern.groups[0].aliased, 0);
    pattern = pattern_of(shipped, with_control, 2); /* nobody inoculated it */
    assert_int_equal(pattern.groups[0].aliased, STARTED);
}

/* Two explanations of one pattern are not both believed. */
TEST(one_explanation_is_enough)
{
    const struct fixture *shipped = *state;
    const struct sibling_cell cells[] = {
        {.shares = COOKED | STARTED, .clean = 1, .contaminated = 7}, {.clean = 20}};
    struct sibling_pattern pattern = pattern_of(shipped, cells, 2);
    struct reasoner *reasoner = reasoner_new(shipped->rules);
    int cook = rules_cause(shipped->rules, "under_sterilised");
    int starter = rules_cause(shipped->rules, "starter_contaminated");
    struct evidence evidence = {.shifts = pattern.shifts, .shift_count = pattern.cause_count};
    struct posterior posterior;
    double both[2];
    posterior_init(&posterior, reasoner, NULL);
    for (size_t round = 0; round < 2; round++) {
        evidence.pair_shifts = pattern.pairs;
        evidence.pair_shift_count = round * pattern.pair_count;
        reason_posterior(reasoner, &evidence, -1, &posterior);
        both[round] = 0;
        for (size_t s = 0; s < reasoner->set_count; s++) {
            const int *causes = reasoner->sets[s];
            if ((causes[0] == cook && causes[1] == starter) ||
                (causes[0] == starter && causes[1] == cook))
                for (size_t f = 0; f < shipped->rules->finding_count; f++)
                    both[round] += posterior.joint[s * shipped->rules->finding_count + f];
        }
    }
    assert_true(both[1] < 0.1 && both[0] > 2 * both[1]);
    posterior_release(&posterior);
    reasoner_free(reasoner);
}

TEST(a_control_speaks_for_and_against_what_it_can_show)
{
    const struct fixture *shipped = *state;
    struct sibling_cell cells[] = {{.shares = COOKED | STARTED, .clean = 1, .contaminated = 6},
                                   {.shares = COOKED, .control = true}};
    struct sibling_pattern without = pattern_of(shipped, cells, 1);
    cells[1].clean = 2;
    struct sibling_pattern clean = pattern_of(shipped, cells, 2);
    cells[1].clean = 0;
    cells[1].contaminated = 2;
    struct sibling_pattern spoilt = pattern_of(shipped, cells, 2);
    assert_true(shift_of(shipped, &clean, "under_sterilised") <
                shift_of(shipped, &without, "under_sterilised") - 0.5);
    assert_true(shift_of(shipped, &spoilt, "under_sterilised") >
                shift_of(shipped, &without, "under_sterilised") + 0.5);
    assert_true(shift_of(shipped, &clean, "starter_contaminated") >
                shift_of(shipped, &without, "starter_contaminated"));
    assert_true(shift_of(shipped, &spoilt, "starter_contaminated") <
                shift_of(shipped, &without, "starter_contaminated"));
    struct sibling_pattern alone = pattern_of(shipped, &cells[1], 1);
    assert_int_equal(alone.group_count, 1);
    assert_int_equal(alone.groups[0].kind, PATTERN_NO_OTHERS);
    assert_true(alone.groups[0].controls.lost == 2);
    assert_true(shift_of(shipped, &alone, "under_sterilised") > 1);
}

TEST(stuck_ones_speak_of_what_stops_growth)
{
    const struct fixture *shipped = *state;
    const struct sibling_cell cells[] = {{.shares = COOKED | PLACED, .clean = 1, .stuck = 6},
                                         {.shares = COOKED, .clean = 6},
                                         {.clean = 20, .stuck = 1, .contaminated = 1}};
    struct sibling_pattern pattern = pattern_of(shipped, cells, 3);
    assert_true(shift_of(shipped, &pattern, "too_cold") > 2);
    assert_true(shift_of(shipped, &pattern, "under_sterilised") < -2);
}

TEST(a_position_is_compared_with_its_cook)
{
    const struct fixture *shipped = *state;
    const struct sibling_cell there[] = {
        {.shares = COOKED | BIT(RELATION_POSITION), .contaminated = 3},
        {.shares = COOKED, .clean = 8},
        {.clean = 20, .contaminated = 1}};
    struct sibling_pattern pattern = pattern_of(shipped, there, 3);
    assert_int_equal(pattern.groups[1].relation, RELATION_POSITION);
    assert_int_equal(pattern.groups[1].kind, PATTERN_MORE);
    assert_true(pattern.groups[1].rest.total == 8);
    assert_true(shift_of(shipped, &pattern, "uneven_heat") > 1);
    assert_true(shift_of(shipped, &pattern, "under_sterilised") < -1);
}

/* More of the same goes on in the same direction, up to the bound, and in any numbers. */
TEST(counts_of_any_size_are_weighed)
{
    const struct fixture *shipped = *state;
    double lost = -10, kept = 10;
    for (double n = 1; n < 1e6; n *= 3) {
        struct sibling_cell cells[] = {{.shares = COOKED, .contaminated = n}, {.clean = 10 * n}};
        struct sibling_pattern pattern = pattern_of(shipped, cells, 2);
        double shift = shift_of(shipped, &pattern, "under_sterilised");
        assert_true(shift >= lost - 1e-6);
        lost = shift;
        cells[0] = (struct sibling_cell){.shares = COOKED, .clean = n};
        pattern = pattern_of(shipped, cells, 2);
        shift = shift_of(shipped, &pattern, "under_sterilised");
        assert_true(shift <= kept + 1e-6);
        kept = shift;
    }
    assert_true(lost > 2.5 && kept == -shipped->rules->calibration.siblings.most);
}

TEST(nothing_said_moves_nothing)
{
    const struct fixture *shipped = *state;
    struct sibling_pattern pattern = pattern_of(shipped, NULL, 0);
    assert_int_equal(pattern.group_count + pattern.cause_count + pattern.pair_count, 0);
    const struct sibling_cell rest[] = {{.clean = 5, .contaminated = 5}};
    pattern = pattern_of(shipped, rest, 1);
    assert_int_equal(pattern.group_count + pattern.cause_count, 0);
}

TEST(what_cannot_be_counted_is_refused)
{
    const struct fixture *shipped = *state;
    struct reasoner *reasoner = reasoner_new(shipped->rules);
    const double wrong[] = {-1, NAN, INFINITY};
    for (size_t i = 0; i < 3; i++) {
        struct sibling_pattern pattern;
        struct sibling_cell cell = {.shares = COOKED, .clean = wrong[i], .stuck = 2};
        assert_int_equal(siblings_weigh(reasoner, &cell, 1, arena, &pattern), STATUS_DATA);
        assert_int_equal(pattern.group_count, 0);
        assert_null(pattern.shifts);
    }
    reasoner_free(reasoner);
}

/* A rule base that assumes nothing of siblings. */
TEST(without_assumptions_nothing_moves)
{
    (void)state;
    struct rule_base *base = base_new();
    base_finding(base, FINDING_CLEAN, 1);
    base_finding(base, FINDING_CONTAMINATED, 1);
    base_cause(base, 0.1);
    struct reasoner *reasoner = reasoner_new(&base->rules);
    struct sibling_cell cell = {.shares = COOKED, .contaminated = 5};
    struct sibling_pattern pattern;
    assert_int_equal(siblings_weigh(reasoner, &cell, 1, arena, &pattern), STATUS_OK);
    assert_int_equal(pattern.cause_count, 0);
    reasoner_free(reasoner);
    base_free(base);
}

int main(void)
{
    arena = arena_new();
    int failed = tests_run("reason siblings", shipped_setup, fixture_tear_down);
    arena_free(arena);
    return failed;
}
