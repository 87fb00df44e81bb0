/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two factors against one another: which hides behind which, and which cannot be told apart. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review/factors_internal.h"
#include "review/search_internal.h"
#include "review/strata.h"

/* ---- the cross ------------------------------------------------------------------------------- */

/* Two factors against one another, over the vessels that count and are no controls. */
struct cross {
    size_t rows, columns; /* levels */
    struct counts *cells; /* rows x columns */
    size_t total;
};
enum { CROSS_LEAST = 1 << 14 };

/* False when there are more cells than vessels (and than CROSS_LEAST), or no memory. */
static bool cross_make(const struct review_work *work, size_t first, size_t second,
                       struct cross *cross)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *row = &dataset->factors[first], *column = &dataset->factors[second];

    *cross = (struct cross){.rows = row->level_count, .columns = column->level_count};
    size_t most = dataset->vessel_count > CROSS_LEAST ? dataset->vessel_count : CROSS_LEAST;
    if (cross->rows == 0 || cross->columns == 0 || cross->rows > most / cross->columns)
        return false;
    cross->cells = calloc(cross->rows * cross->columns, sizeof *cross->cells);
    if (cross->cells == NULL)
        return false;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (work->standing[i] == STANDING_OUT || dataset->control[i] ||
            row->level[i] == LEVEL_NONE || column->level[i] == LEVEL_NONE)
            continue;
        struct counts *cell = &cross->cells[row->level[i] * cross->columns + column->level[i]];
        cell->total++;
        cell->lost += work->standing[i] == STANDING_LOST;
        cross->total++;
    }
    return true;
}

static void cross_release(struct cross *cross)
{
    free(cross->cells);
}

static size_t cell(const struct cross *cross, size_t row, size_t column)
{
    return cross->cells[row * cross->columns + column].total;
}

static size_t column_total(const struct cross *cross, size_t column)
{
    size_t total = 0;
    for (size_t r = 0; r < cross->rows; r++)
        total += cell(cross, r, column);
    return total;
}

static size_t row_total(const struct cross *cross, size_t row)
{
    size_t total = 0;
    for (size_t c = 0; c < cross->columns; c++)
        total += cell(cross, row, c);
    return total;
}

/* Cramer's V (1946): sqrt(chi-square / (n (min(rows, columns) - 1))), empty ones left out. */
static double cross_entangled(const struct cross *cross)
{
    size_t rows = 0, columns = 0;
    double sum = 0.0;
    double *of_column = calloc(cross->columns, sizeof *of_column);

    if (of_column == NULL)
        return NAN;
    for (size_t c = 0; c < cross->columns; c++)
        columns += (of_column[c] = (double)column_total(cross, c)) > 0.0;
    for (size_t r = 0; r < cross->rows; r++) {
        double of_row = (double)row_total(cross, r);
        rows += of_row > 0.0;
        for (size_t c = 0; c < cross->columns; c++) {
            double n = (double)cell(cross, r, c);
            if (n > 0.0)
                sum += n * n / (of_row * of_column[c]);
        }
    }
    free(of_column);
    size_t least = rows < columns ? rows : columns;
    /* chi-square is n (sum n_rc^2 / (n_r n_c) - 1) */
    return least > 1 ? sqrt(fmax(0.0, sum - 1.0) / (double)(least - 1)) : 0.0;
}

/* Whether every column has vessels of one row only. */
static bool cross_nested(const struct cross *cross)
{
    for (size_t c = 0; c < cross->columns; c++) {
        size_t met = 0;
        for (size_t r = 0; r < cross->rows; r++)
            met += cell(cross, r, c) > 0;
        if (met > 1)
            return false;
    }
    return true;
}

/* ---- held still ------------------------------------------------------------------------------ */

/* One of them was computed from the other, or both from the same. */
static bool akin(const struct review_work *work, size_t a, size_t b)
{
    enum factor_kind first = factor_kind_origin(work->dataset->factors[a].kind);
    enum factor_kind second = factor_kind_origin(work->dataset->factors[b].kind);
    return first == second && first != FACTOR_OTHER;
}

static enum status test_within(const struct cross *cross, struct review_factor *factor)
{
    struct strata_cell *cells = malloc((cross->rows * cross->columns + 1) * sizeof *cells);
    struct strata_test test;
    size_t count = 0;

    if (cells == NULL)
        return STATUS_MEMORY;
    for (size_t r = 0; r < cross->rows; r++)
        for (size_t c = 0; c < cross->columns; c++)
            if (cell(cross, r, c) > 0)
                cells[count++] = (struct strata_cell){
                    .group = r, .stratum = c, .counts = cross->cells[r * cross->columns + c]};
    enum status status = strata_groups(cells, count, cross->rows, cross->columns, &test);
    free(cells);
    if (status == STATUS_INTERNAL) /* it could not be computed: then it is not told */
        return STATUS_OK;
    if (status == STATUS_OK) {
        factor->within_p = test.p;
        factor->within_strata = test.strata;
    }
    return status;
}

/* A factor that others are held still by: one that was not computed from another, and met the vessels. */
static bool holds(const struct review_work *work, size_t f, size_t other)
{
    enum factor_kind kind = work->dataset->factors[other].kind;
    return other != f && !akin(work, f, other) &&
           (kind == FACTOR_OTHER || factor_kind_origin(kind) == kind);
}

/* Finds what the factor is most entangled with among `others`, and asks again within its levels. */
static enum status hold_still(struct review_work *work, size_t f, const size_t *others,
                              size_t count)
{
    struct review_factor *factor = &work->review->factors[f];
    static const double noticeable = 0.3; /* of Cramer's V */
    struct cross best = {0};
    double most = noticeable;

    for (size_t k = 0; k < count; k++) {
        struct cross cross;
        if (!holds(work, f, others[k]) || !cross_make(work, f, others[k], &cross))
            continue;
        double entangled = cross_nested(&cross) ? 0.0 : cross_entangled(&cross);
        if (entangled > most) {
            cross_release(&best);
            best = cross;
            most = entangled;
            factor->within = others[k];
        } else {
            cross_release(&cross);
        }
    }
    enum status status = STATUS_OK;
    if (factor->within < work->dataset->factor_count) {
        factor->entangled = most;
        status = test_within(&best, factor);
    }
    cross_release(&best);
    return status;
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

enum status review_hold_still(struct review_work *work)
{
    size_t asked[ASKED], count = worst_factors(work, asked);
    enum status status = STATUS_OK;
    for (size_t k = 0; k < count && status == STATUS_OK; k++)
        status = hold_still(work, asked[k], asked, count);
    return status;
}

/* ---- alike ----------------------------------------------------------------------------------- */

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
    cross_release(&cross);
    return alias;
}

static size_t levels_met(const struct review_work *work, size_t factor)
{
    return work->review->factors[factor].level_count;
}

static enum status keep_alias(struct review_work *work, const struct review_alias *alias,
                              size_t *room)
{
    struct review *review = work->review;
    if (review->alias_count == *room) {
        size_t more = 2 * *room + 4;
        struct review_alias *aliases =
            arena_grow(work->arena, review->aliases, *room, more, sizeof *aliases);
        if (aliases == NULL)
            return STATUS_MEMORY;
        review->aliases = aliases;
        *room = more;
    }
    review->aliases[review->alias_count++] = *alias;
    return STATUS_OK;
}

static size_t most_levels(const struct dataset *dataset)
{
    size_t most = 1;
    for (size_t f = 0; f < dataset->factor_count; f++)
        if (dataset->factors[f].level_count > most)
            most = dataset->factors[f].level_count;
    return most;
}

enum status review_find_aliases(struct review_work *work)
{
    static const double nearly = 0.95;
    size_t count = work->dataset->factor_count, room = 0, most = most_levels(work->dataset);
    uint32_t *there = malloc(most * sizeof *there), *back = malloc(most * sizeof *back);
    enum status status = there != NULL && back != NULL ? STATUS_OK : STATUS_MEMORY;

    for (size_t a = 0; a < count && status == STATUS_OK; a++) {
        for (size_t b = a + 1; b < count && status == STATUS_OK; b++) {
            if (akin(work, a, b) || levels_met(work, a) < 2 || levels_met(work, b) < 2)
                continue;
            struct review_alias alias = compare(work, a, b, there, back);
            if (alias.of > 0 && (double)alias.together >= nearly * (double)alias.of)
                status = keep_alias(work, &alias, &room);
        }
        review_tell(work, "looking for what always went together", a + 1, count);
    }
    free(there);
    free(back);
    return status;
}
