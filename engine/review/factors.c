/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/bayes_factor.h"
#include "review/search.h"

/* ---- one factor: its levels, their intervals, its test ------------------------------------------ */

static const double usual_level = 0.95;

static void count_levels(const struct review_work *work, size_t f, struct review_level *levels,
                         size_t *unknown)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *of = &dataset->factors[f];
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (work->standing[i] == STANDING_OUT)
            continue;
        if (of->level[i] == LEVEL_NONE)
            *unknown += !dataset->control[i];
        /* One that was moved was in danger in each place, and lost in the last. */
        size_t s = of->stays != NULL ? of->first_stay[i] : 0;
        size_t last = of->stays != NULL ? of->first_stay[i + 1] - 1 : 0;
        for (; s <= last; s++) {
            uint32_t l = s < last ? of->stays[s].level : of->level[i];
            enum standing standing = s < last ? STANDING_SOUND : work->standing[i];
            if (l != LEVEL_NONE)
                count_vessel(dataset->control[i] ? &levels[l].controls : &levels[l].counts,
                             standing);
        }
    }
}

static int worse_first(const void *a, const void *b)
{
    const struct review_level *first = a, *second = b;
    double x = (double)first->counts.lost * (double)second->counts.total;
    double y = (double)second->counts.lost * (double)first->counts.total;
    if (first->counts.total == 0 || second->counts.total == 0)
        x = (double)first->counts.total, y = (double)second->counts.total;
    if (x < y || x > y)
        return x < y ? 1 : -1;
    if (first->counts.total != second->counts.total)
        return first->counts.total < second->counts.total ? 1 : -1;
    return (first->level > second->level) - (first->level < second->level);
}

static struct tally tally_of(struct counts counts)
{
    return (struct tally){(double)counts.lost, (double)counts.total};
}

static void judge_levels(struct review_factor *factor, struct counts all)
{
    for (size_t l = 0; l < factor->level_count; l++) {
        struct review_level *level = &factor->levels[l];
        struct counts rest = {all.lost - level->counts.lost, all.total - level->counts.total};
        const struct tally groups[] = {tally_of(level->counts), tally_of(rest)};
        level->exact = counts_interval_exact(level->counts, usual_level);
        level->wilson = counts_interval_wilson(level->counts, usual_level);
        level->log_bayes = bayes_factor_ln(groups, 2, 1.0, 1.0);
    }
}

/*
 * Drawing tables of a hundred thousand vessels takes long and tells little more than chi-square
 * does where every group is large: there that is taken.
 */
static void test_levels(struct review_factor *factor, const struct counts *groups, size_t count,
                        size_t vessels)
{
    enum { MANY = 20000 };
    static const double enough = 5.0; /* expected in each cell (Cochran 1954, Biometrics 10:417) */
    struct table_effort effort = table_effort_usual();
    struct table_chi_square quick;

    (void)table_chi_square(groups, count, &quick);
    if (vessels > MANY && quick.smallest_expected >= enough) {
        factor->approximate = true;
        factor->test = (struct table_test){.p = quick.p};
        return;
    }
    if (vessels > MANY)
        effort.exact_steps = 0, effort.tables = 1000;
    (void)table_groups(groups, count, &effort, &factor->test);
}

static void count_factor(struct review_work *work, size_t f)
{
    const struct factor *of = &work->dataset->factors[f];
    struct review_factor *factor = &work->review->factors[f];

    *factor = (struct review_factor){.factor = f,
                                     .q = NAN,
                                     .within = work->dataset->factor_count,
                                     .within_p = NAN,
                                     .entangled = NAN};
    factor->levels = arena_array(work->arena, of->level_count, sizeof *factor->levels);
    for (uint32_t l = 0; l < of->level_count; l++)
        factor->levels[l].level = l;
    count_levels(work, f, factor->levels, &factor->unknown);
    for (size_t l = 0; l < of->level_count; l++) /* those that some vessel has */
        if (factor->levels[l].counts.total > 0 || factor->levels[l].controls.total > 0)
            factor->levels[factor->level_count++] = factor->levels[l];
    if (factor->level_count > 1)
        qsort(factor->levels, factor->level_count, sizeof *factor->levels, worse_first);
    size_t count = factor->level_count;
    struct counts *groups = malloc((count + 1) * sizeof *groups), all = {0, 0};
    struct tally *tallies = malloc((count + 1) * sizeof *tallies);

    for (size_t i = 0; i < count; i++) {
        groups[i] = factor->levels[i].counts;
        tallies[i] = tally_of(groups[i]);
        all.lost += groups[i].lost;
        all.total += groups[i].total;
    }
    judge_levels(factor, all);
    factor->log_bayes = bayes_factor_ln(tallies, count, 1.0, 1.0);
    test_levels(factor, groups, count, all.total);
    free(groups);
    free(tallies);
}

void review_count_factors(struct review_work *work)
{
    size_t count = work->dataset->factor_count;
    double *p = malloc((count + 1) * sizeof *p);

    work->review->factors = arena_array(work->arena, count, sizeof *work->review->factors);
    for (size_t f = 0; f < count; f++) {
        const struct review_factor *factor = &work->review->factors[f];
        size_t grown = 0; /* levels with a vessel that counts; below two there is no question */
        count_factor(work, f);
        for (size_t l = 0; l < factor->level_count; l++)
            grown += factor->levels[l].counts.total > 0;
        /* Where vessels count twice a table says nothing; the search does. */
        p[f] = grown > 1 && work->dataset->factors[f].stays == NULL ? factor->test.p : NAN;
        review_tell(work, "comparing", f + 1, count);
    }
    (void)counts_adjust(p, count, p);
    for (size_t f = 0; f < count; f++)
        work->review->factors[f].q = p[f];
    free(p);
}

/* ---- two factors against one another ------------------------------------------------------------ */

/* Over the vessels that count and are no controls. */
struct cross {
    size_t rows, columns; /* levels */
    struct counts *cells; /* rows x columns */
    size_t total;
};
enum { CROSS_ROOM = 1 << 14 };

/* False when there are more cells than vessels (and than CROSS_ROOM). */
static bool cross_make(const struct review_work *work, size_t first, size_t second,
                       struct cross *cross)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *row = &dataset->factors[first], *column = &dataset->factors[second];

    *cross = (struct cross){.rows = row->level_count, .columns = column->level_count};
    size_t most = dataset->vessel_count > CROSS_ROOM ? dataset->vessel_count : CROSS_ROOM;
    if (cross->rows == 0 || cross->columns == 0 || cross->rows > most / cross->columns)
        return false;
    cross->cells = calloc(cross->rows * cross->columns, sizeof *cross->cells);
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (work->standing[i] == STANDING_OUT || dataset->control[i] ||
            row->level[i] == LEVEL_NONE || column->level[i] == LEVEL_NONE)
            continue;
        count_vessel(&cross->cells[row->level[i] * cross->columns + column->level[i]],
                     work->standing[i]);
        cross->total++;
    }
    return true;
}

static size_t cell(const struct cross *cross, size_t row, size_t column)
{
    return cross->cells[row * cross->columns + column].total;
}

/* Cramer's V (1946): sqrt(chi-square / (n (min(rows, columns) - 1))), empty ones left out; 0 where every
 * column has vessels of one row only. */
static double cross_entangled(const struct cross *cross)
{
    size_t rows = 0, columns = 0;
    double sum = 0.0, *of_column = calloc(cross->columns, sizeof *of_column);
    bool nested = true;

    for (size_t c = 0; c < cross->columns; c++) {
        size_t met = 0;
        for (size_t r = 0; r < cross->rows; r++) {
            of_column[c] += (double)cell(cross, r, c);
            met += cell(cross, r, c) > 0;
        }
        columns += met > 0;
        nested = nested && met <= 1;
    }
    for (size_t r = 0; r < cross->rows; r++) {
        double of_row = 0.0;
        for (size_t c = 0; c < cross->columns; c++)
            of_row += (double)cell(cross, r, c);
        rows += of_row > 0.0;
        for (size_t c = 0; c < cross->columns; c++) {
            double n = (double)cell(cross, r, c);
            if (n > 0.0)
                sum += n * n / (of_row * of_column[c]);
        }
    }
    free(of_column);
    size_t smaller = rows < columns ? rows : columns;
    /* chi-square is n (sum n_rc^2 / (n_r n_c) - 1) */
    return smaller > 1 && !nested ? sqrt(fmax(0.0, sum - 1.0) / (double)(smaller - 1)) : 0.0;
}

/* ---- held still: which hides behind which ------------------------------------------------------- */

/* One of them was computed from the other, or both from the same. */
static bool related(const struct review_work *work, size_t a, size_t b)
{
    enum factor_kind first = factor_kinds[work->dataset->factors[a].kind].origin;
    enum factor_kind second = factor_kinds[work->dataset->factors[b].kind].origin;
    return first == second && first != FACTOR_OTHER;
}

static void test_within(const struct cross *cross, struct review_factor *factor)
{
    struct strata_cell *cells = malloc((cross->rows * cross->columns + 1) * sizeof *cells);
    struct strata_test test;
    size_t count = 0;

    for (size_t r = 0; r < cross->rows; r++)
        for (size_t c = 0; c < cross->columns; c++)
            if (cell(cross, r, c) > 0)
                cells[count++] = (struct strata_cell){
                    .group = r, .stratum = c, .counts = cross->cells[r * cross->columns + c]};
    /* What cannot be computed is left out. */
    if (strata_groups(cells, count, cross->rows, cross->columns, &test) == STATUS_OK) {
        factor->within_p = test.p;
        factor->within_strata = test.strata;
    }
    free(cells);
}

enum { ASKED = 8 }; /* the factors that look worst; each is crossed with each */

/* Of the factors that look bad, those with the most evidence for rates of their own. */
static size_t worst_factors(const struct review_work *work, size_t asked[ASKED])
{
    static const double looks_bad = 0.05;
    const struct review_factor *factors = work->review->factors;
    size_t count = 0;

    for (size_t f = 0; f < work->dataset->factor_count; f++) {
        size_t at = count;
        if (!(factors[f].test.p <= looks_bad))
            continue;
        while (at > 0 && factors[asked[at - 1]].log_bayes < factors[f].log_bayes)
            at--;
        if (at == ASKED)
            continue;
        count = count < ASKED ? count + 1 : ASKED;
        memmove(&asked[at + 1], &asked[at], (count - at - 1) * sizeof *asked);
        asked[at] = f;
    }
    return count;
}

void review_hold_still(struct review_work *work)
{
    size_t asked[ASKED], count = worst_factors(work, asked);
    for (size_t k = 0; k < count; k++) {
        struct review_factor *factor = &work->review->factors[asked[k]];
        /* What it is most confounded with, and the same question within the levels of that. */
        static const double noticeable = 0.3; /* of Cramer's V */
        struct cross best = {0};
        double most = noticeable;

        for (size_t i = 0; i < count; i++) {
            /* What holds others still was not computed from another. */
            enum factor_kind kind = work->dataset->factors[asked[i]].kind;
            struct cross cross;
            if (asked[i] == asked[k] || related(work, asked[k], asked[i]) ||
                (kind != FACTOR_OTHER && factor_kinds[kind].origin != kind) ||
                !cross_make(work, asked[k], asked[i], &cross))
                continue;
            double entangled = cross_entangled(&cross);
            if (entangled > most) {
                free(best.cells);
                best = cross;
                most = entangled;
                factor->within = asked[i];
            } else {
                free(cross.cells);
            }
        }
        if (factor->within < work->dataset->factor_count) {
            factor->entangled = most;
            test_within(&best, factor);
        }
        free(best.cells);
    }
}

/* ---- alike: what cannot be told apart ----------------------------------------------------------- */

/* The row a column meets most, or the column a row does; SIZE_MAX for none. */
static size_t most_met(const struct cross *cross, bool of_column, size_t at)
{
    size_t best = SIZE_MAX, most = 0;
    for (size_t k = 0; k < (of_column ? cross->rows : cross->columns); k++) {
        size_t met = of_column ? cell(cross, k, at) : cell(cross, at, k);
        if (met > most) {
            most = met;
            best = k;
        }
    }
    return best;
}

/* Vessels in pairs of levels that mostly meet one another; 0 unless there are two such pairs. */
static size_t together(const struct cross *cross)
{
    size_t vessels = 0, pairs = 0;
    for (size_t r = 0; r < cross->rows; r++) {
        size_t c = most_met(cross, false, r);
        if (c == SIZE_MAX || most_met(cross, true, c) != r)
            continue;
        vessels += cell(cross, r, c);
        pairs++;
    }
    return pairs > 1 ? vessels : 0;
}

/* Every `step`th vessel: those in which each level meets the one it met first, of those that have both. */
static struct review_alias agree(const struct review_work *work, size_t a, size_t b, size_t step,
                                 uint32_t *there, uint32_t *back)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *first = &dataset->factors[a], *second = &dataset->factors[b];
    struct review_alias alias = {.first = a, .second = b};

    memset(there, 0xff, first->level_count * sizeof *there); /* LEVEL_NONE */
    memset(back, 0xff, second->level_count * sizeof *back);
    for (size_t i = 0; i < dataset->vessel_count; i += step) {
        uint32_t x = first->level[i], y = second->level[i];
        if (work->standing[i] == STANDING_OUT || dataset->control[i] || x == LEVEL_NONE ||
            y == LEVEL_NONE)
            continue;
        if (there[x] == LEVEL_NONE)
            there[x] = y;
        if (back[y] == LEVEL_NONE)
            back[y] = x;
        alias.of++;
        alias.together += there[x] == y && back[y] == x;
    }
    return alias;
}

/* Most pairs differ so plainly that a sample shows it; only the others are looked at in full. */
static struct review_alias compare(const struct review_work *work, size_t a, size_t b,
                                   uint32_t *there, uint32_t *back)
{
    enum { SAMPLE = 4096 };
    static const double hopeful = 0.7;
    struct cross cross;
    struct review_alias alias =
        agree(work, a, b, work->dataset->vessel_count / SAMPLE + 1, there, back);

    if ((double)alias.together < hopeful * (double)alias.of)
        return alias;
    if (!cross_make(work, a, b, &cross))
        return agree(work, a, b, 1, there, back);
    alias.together = together(&cross);
    alias.of = cross.total;
    free(cross.cells);
    return alias;
}

void review_find_aliases(struct review_work *work)
{
    static const double nearly = 0.95;
    struct review *review = work->review;
    size_t count = work->dataset->factor_count, room = 0, most = 1;

    for (size_t f = 0; f < count; f++)
        if (work->dataset->factors[f].level_count > most)
            most = work->dataset->factors[f].level_count;
    uint32_t *there = malloc(most * sizeof *there), *back = malloc(most * sizeof *back);
    for (size_t a = 0; a < count; a++) {
        for (size_t b = a + 1; b < count; b++) {
            if (related(work, a, b) || review->factors[a].level_count < 2 ||
                review->factors[b].level_count < 2)
                continue;
            struct review_alias alias = compare(work, a, b, there, back);
            if (alias.of == 0 || (double)alias.together < nearly * (double)alias.of)
                continue;
            if (review->alias_count == room) {
                room = 2 * room + 4;
                review->aliases = arena_grow(work->arena, review->aliases, review->alias_count,
                                             room, sizeof *review->aliases);
            }
            review->aliases[review->alias_count++] = alias;
        }
        review_tell(work, "looking for what always went together", a + 1, count);
    }
    free(there);
    free(back);
}
