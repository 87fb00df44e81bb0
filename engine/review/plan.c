/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The next batch, so that what went together goes apart.
 *
 * A grain lot, a starter, a shelf can be used again: each gets an arm in which it
 * is the only suspect, beside an arm without any, all in one new cook and one new
 * sitting. A cook or a sitting is over: if none of the others fails again, it was
 * that. Where all suspects are over, the next time is laid out so that they can be
 * told apart: two of each, crossed.
 */
#include <math.h>

#include "review/factors_internal.h"

enum { ARMS_MOST = 9, FEWEST = 2, MOST = 12 };
static const double error_wanted = 0.10;

/* Whether a level can be used again: a sack can, a sitting is over. */
static bool lasts(enum factor_kind kind)
{
    switch (factor_kind_origin(kind)) {
    case FACTOR_COOK:
    case FACTOR_SESSION:
    case FACTOR_BATCH:
        return false;
    default:
        return true;
    }
}

/* ---- how many vessels ------------------------------------------------------------------------ */

/* The larger chance of a wrong reading when an arm of `count` is taken to fail from `from` losses on. */
static double wrong(size_t count, size_t from, double failing, double usual)
{
    double missed = counts_chance_below((struct counts){from - 1, count}, failing);
    double blamed = counts_chance_above((struct counts){from, count}, usual);
    return fmax(missed, blamed);
}

/* The fewest vessels an arm that keep both errors below what is wanted, or the most there may be. */
static void size_arms(const struct review_suspect *suspect, struct review_plan *plan)
{
    double failing = ((double)suspect->inside.lost + 1.0) / ((double)suspect->inside.total + 2.0);
    double usual = ((double)suspect->outside.lost + 1.0) / ((double)suspect->outside.total + 2.0);

    plan->error = 1.0;
    for (size_t count = FEWEST; count <= MOST && plan->error > error_wanted; count++)
        for (size_t from = 1; from <= count; from++) {
            double error = wrong(count, from, failing, usual);
            if (error < plan->error) {
                plan->error = error;
                plan->each = count;
                plan->fails_from = from;
            }
        }
}

/* ---- arms ------------------------------------------------------------------------------------ */

/* A level of the factor that is above suspicion: it lost least of those with some vessels; LEVEL_NONE. */
static uint32_t trusted(const struct review *review, size_t factor)
{
    enum { SOME = 5 };
    const struct review_factor *of = &review->factors[factor];
    for (size_t l = of->level_count; l-- > 0;) {
        bool suspected = of->levels[l].counts.total < SOME;
        for (size_t k = 0; k < review->fault_count && !suspected; k++)
            for (size_t s = 0; s < review->faults[k].suspect_count; s++)
                suspected =
                    suspected || (review->faults[k].suspects[s].factor == factor &&
                                  review->faults[k].suspects[s].level == of->levels[l].level);
        if (!suspected)
            return of->levels[l].level;
    }
    return LEVEL_NONE;
}

struct arm_room {
    uint32_t *levels;
    unsigned *fresh;
};

static bool arm_add(const struct review_work *work, struct review_plan *plan, bool control,
                    struct arm_room *room)
{
    room->levels = arena_array(work->arena, plan->factor_count, sizeof *room->levels);
    room->fresh = arena_array(work->arena, plan->factor_count, sizeof *room->fresh);
    if (room->levels == NULL || room->fresh == NULL)
        return false;
    plan->arms[plan->arm_count++] = (struct review_arm){.vessels = control ? 1 : plan->each,
                                                        .control = control,
                                                        .levels = room->levels,
                                                        .fresh = room->fresh};
    return true;
}

/* The arm in which suspect `only` is the only one (plan->factor_count: none is). */
static bool arm_with(const struct review_work *work, const struct review_fault *fault,
                     struct review_plan *plan, size_t only, bool control)
{
    struct arm_room room;
    if (!arm_add(work, plan, control, &room))
        return false;
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = work->dataset->factors[plan->factors[c]].kind;
        room.levels[c] = LEVEL_NONE;
        if (c == only)
            room.levels[c] = fault->suspects[c].level;
        else if (lasts(kind))
            room.levels[c] = trusted(work->review, plan->factors[c]);
        room.fresh[c] = room.levels[c] == LEVEL_NONE ? 1 : 0;
    }
    return true;
}

/* Two of each that is over, crossed: four arms part three factors, each from each (a half of 2^3). */
static bool cross_arms(const struct review_work *work, struct review_plan *plan)
{
    enum { TWO = 2 };
    for (unsigned a = 1; a <= TWO; a++) {
        struct arm_room room;
        for (unsigned b = 1; b <= TWO; b++) {
            if (!arm_add(work, plan, false, &room))
                return false;
            for (size_t c = 0; c < plan->factor_count; c++) {
                room.levels[c] = LEVEL_NONE;
                room.fresh[c] = c == 0 ? a : c == 1 ? b : a == b ? 1 : 2;
            }
        }
        if (!factor_kind_control(work->dataset->factors[plan->factors[0]].kind))
            continue;
        if (!arm_add(work, plan, true, &room))
            return false;
        for (size_t c = 0; c < plan->factor_count; c++) {
            room.levels[c] = LEVEL_NONE;
            room.fresh[c] = c == 0 ? a : 0;
        }
    }
    return true;
}

/* ---- plans ----------------------------------------------------------------------------------- */

static bool fill_arms(const struct review_work *work, const struct review_fault *fault,
                      struct review_plan *plan)
{
    bool fine = true, any = false;
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = work->dataset->factors[plan->factors[c]].kind;
        any = any || lasts(kind);
    }
    plan->crossed = !any;
    if (plan->crossed)
        return cross_arms(work, plan);
    for (size_t c = 0; c < plan->factor_count && fine; c++) {
        enum factor_kind kind = work->dataset->factors[plan->factors[c]].kind;
        if (!lasts(kind))
            continue;
        fine = arm_with(work, fault, plan, c, false);
        if (fine && factor_kind_control(kind) && plan->arm_count < ARMS_MOST - 2)
            fine = arm_with(work, fault, plan, c, true);
    }
    return fine && arm_with(work, fault, plan, plan->factor_count, false);
}

/* Crossed plans are alike whatever is suspected: one of them is enough. */
static bool planned(const struct review *review, const struct review_plan *plan)
{
    for (size_t p = 0; p < review->plan_count; p++) {
        const struct review_plan *other = &review->plans[p];
        bool same = plan->crossed && other->crossed && plan->factor_count == other->factor_count;
        for (size_t c = 0; c < plan->factor_count && same; c++)
            same = plan->factors[c] == other->factors[c];
        if (same)
            return true;
    }
    return false;
}

static enum status plan_fault(struct review_work *work, size_t k)
{
    enum { COLUMNS = 3 };
    struct review *review = work->review;
    const struct review_fault *fault = &review->faults[k];
    struct review_plan *plan = &review->plans[review->plan_count];
    size_t columns = fault->suspect_count < COLUMNS ? fault->suspect_count : COLUMNS;
    size_t *factors = arena_array(work->arena, columns, sizeof *factors);

    *plan = (struct review_plan){.fault = k, .factors = factors, .factor_count = columns};
    plan->arms = arena_array(work->arena, ARMS_MOST, sizeof *plan->arms);
    if (factors == NULL || plan->arms == NULL)
        return STATUS_MEMORY;
    for (size_t c = 0; c < columns; c++)
        factors[c] = fault->suspects[c].factor;
    size_arms(&fault->suspects[0], plan);
    if (!fill_arms(work, fault, plan))
        return STATUS_MEMORY;
    review->plan_count += !planned(review, plan);
    return STATUS_OK;
}

enum status review_plan_next(struct review_work *work)
{
    struct review *review = work->review;
    enum status status = STATUS_OK;
    review->plans = arena_array(work->arena, review->fault_count, sizeof *review->plans);
    if (review->plans == NULL)
        return STATUS_MEMORY;
    for (size_t k = 0; k < review->fault_count && status == STATUS_OK; k++)
        if (review->faults[k].suspect_count > 1)
            status = plan_fault(work, k);
    return status;
}
