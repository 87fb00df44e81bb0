/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where losses gather: every factor by level, with its intervals and its test. */
#include <math.h>
#include <stdlib.h>

#include "reason/alike.h"
#include "review/factors_internal.h"
#include "review/search_internal.h"

static const double usual_level = 0.95;

/* ---- one factor ------------------------------------------------------------------------------ */

static void count_levels(const struct review_work *work, size_t f, struct review_level *levels,
                         size_t *unknown)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *of = &dataset->factors[f];
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (work->standing[i] == STANDING_OUT)
            continue;
        if (of->level[i] == LEVEL_NONE) {
            *unknown += !dataset->control[i];
            continue;
        }
        struct review_level *level = &levels[of->level[i]];
        struct counts *counts = dataset->control[i] ? &level->controls : &level->counts;
        counts->total++;
        counts->lost += work->standing[i] == STANDING_LOST;
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

/* Leaves the levels that some vessel has; returns how many. */
static size_t keep_met(struct review_level *levels, size_t count)
{
    size_t kept = 0;
    for (size_t l = 0; l < count; l++)
        if (levels[l].counts.total > 0 || levels[l].controls.total > 0)
            levels[kept++] = levels[l];
    return kept;
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
        level->log_bayes = alike_log_bayes_factor(groups, 2, 1.0, 1.0);
    }
}

/*
 * Drawing tables of a hundred thousand vessels takes long and tells little more than chi-square
 * does where every group is large: there that is taken.
 */
static enum status test_levels(struct review_factor *factor, const struct counts *groups,
                               size_t count, size_t vessels)
{
    enum { MANY = 20000 };
    static const double enough = 5.0; /* expected in each cell (Cochran 1954, Biometrics 10:417) */
    struct table_effort effort = table_effort_usual();
    struct table_chi_square quick;
    enum status status = table_chi_square(groups, count, &quick);

    if (status == STATUS_OK && vessels > MANY && quick.least_expected >= enough) {
        factor->approximate = true;
        factor->test = (struct table_test){.p = quick.p};
        return STATUS_OK;
    }
    if (vessels > MANY)
        effort.exact_steps = 0, effort.tables = 1000;
    return status == STATUS_OK ? table_groups(groups, count, &effort, &factor->test) : status;
}

static enum status ask_factor(const struct review_work *work, struct review_factor *factor)
{
    size_t count = factor->level_count;
    struct counts *groups = malloc((count + 1) * sizeof *groups), all = {0, 0};
    struct tally *tallies = malloc((count + 1) * sizeof *tallies);
    enum status status = STATUS_MEMORY;

    (void)work;
    if (groups != NULL && tallies != NULL) {
        for (size_t l = 0; l < count; l++) {
            groups[l] = factor->levels[l].counts;
            tallies[l] = tally_of(groups[l]);
            all.lost += groups[l].lost;
            all.total += groups[l].total;
        }
        judge_levels(factor, all);
        factor->log_bayes = alike_log_bayes_factor(tallies, count, 1.0, 1.0);
        status = test_levels(factor, groups, count, all.total);
    }
    free(groups);
    free(tallies);
    return status;
}

static enum status count_factor(struct review_work *work, size_t f)
{
    const struct factor *of = &work->dataset->factors[f];
    struct review_factor *factor = &work->review->factors[f];

    *factor = (struct review_factor){.factor = f,
                                     .q = NAN,
                                     .within = work->dataset->factor_count,
                                     .within_p = NAN,
                                     .entangled = NAN};
    factor->levels = arena_array(work->arena, of->level_count, sizeof *factor->levels);
    if (factor->levels == NULL)
        return STATUS_MEMORY;
    for (uint32_t l = 0; l < of->level_count; l++)
        factor->levels[l].level = l;
    count_levels(work, f, factor->levels, &factor->unknown);
    factor->level_count = keep_met(factor->levels, of->level_count);
    if (factor->level_count > 1)
        qsort(factor->levels, factor->level_count, sizeof *factor->levels, worse_first);
    return ask_factor(work, factor);
}

/* ---- all of them ----------------------------------------------------------------------------- */

/* How many levels have a vessel that counts; below two there is no question. */
static size_t levels_grown(const struct review_factor *factor)
{
    size_t grown = 0;
    for (size_t l = 0; l < factor->level_count; l++)
        grown += factor->levels[l].counts.total > 0;
    return grown;
}

static enum status adjust(struct review_work *work)
{
    size_t count = work->dataset->factor_count;
    double *p = malloc((count + 1) * sizeof *p);
    if (p == NULL)
        return STATUS_MEMORY;
    for (size_t f = 0; f < count; f++)
        p[f] = levels_grown(&work->review->factors[f]) > 1 ? work->review->factors[f].test.p : NAN;
    enum status status = counts_adjust(p, count, p);
    for (size_t f = 0; f < count; f++)
        work->review->factors[f].q = p[f];
    free(p);
    return status;
}

enum status review_count_factors(struct review_work *work)
{
    size_t count = work->dataset->factor_count;
    enum status status = STATUS_OK;

    work->review->factors = arena_array(work->arena, count, sizeof *work->review->factors);
    if (work->review->factors == NULL)
        return STATUS_MEMORY;
    for (size_t f = 0; f < count && status == STATUS_OK; f++) {
        status = count_factor(work, f);
        review_tell(work, "comparing", f + 1, count);
    }
    return status == STATUS_OK ? adjust(work) : status;
}
