/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From equivalent minutes to survivors: the small rules all of a cook's answers share. */
#include <math.h>

#include "process/cook_internal.h"

double cook_weight(enum cook_end end)
{
    return end == COOK_CENTRAL ? 0.63 : 0.185;
}

double cook_log_reduction(const struct cook_organism *organism, double dose, double factor)
{
    return dose * factor / organism->d_minutes.central;
}

double cook_load(const struct cook_setup *setup, const struct cook_organism *organism,
                 enum cook_end load)
{
    double per_gram = load == COOK_BAD    ? organism->per_gram.high
                      : load == COOK_GOOD ? organism->per_gram.low
                                          : organism->per_gram.central;
    return setup->dry_grams * per_gram;
}

double cook_margin(const struct cook_setup *setup, const struct cook_doses *doses,
                   const double factor[COOK_MAX_ORGANISMS], enum cook_end load)
{
    double least = INFINITY;

    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        double wanted;
        if (!organism->counts || survivors_target(cook_load(setup, organism, load), setup->target,
                                                  &wanted) != PROCESS_OK)
            continue;
        double reached = cook_log_reduction(organism, doses->organisms[i], factor[i]);
        least = fmin(least, reached - wanted);
    }
    return least;
}

void cook_resistance(const struct cook_setup *setup, const struct cook_doses at_z[COOK_ENDS],
                     double factor[COOK_ENDS][COOK_MAX_ORGANISMS])
{
    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        double middle = at_z[COOK_CENTRAL].organisms[i];
        double a = 1.0, b = 1.0;
        /* A small z is bad below the reference temperature and good above it. */
        if (middle > 0.0) {
            a = at_z[COOK_BAD].organisms[i] / middle;
            b = at_z[COOK_GOOD].organisms[i] / middle;
        }
        factor[COOK_BAD][i] =
            fmin(1.0, fmin(a, b)) * organism->d_minutes.central / organism->d_minutes.high;
        factor[COOK_CENTRAL][i] = 1.0;
        factor[COOK_GOOD][i] =
            fmax(1.0, fmax(a, b)) * organism->d_minutes.central / organism->d_minutes.low;
    }
}

static void put_low(struct range *range, enum cook_end end, double value)
{
    if (end == COOK_BAD)
        range->low = value;
    else if (end == COOK_GOOD)
        range->high = value;
    else
        range->central = value;
}

static void put_high(struct range *range, enum cook_end end, double value)
{
    if (end == COOK_BAD)
        range->high = value;
    else if (end == COOK_GOOD)
        range->low = value;
    else
        range->central = value;
}

void cook_fill_end(const struct cook_setup *setup, const struct cook_doses *doses,
                   const double factor[COOK_MAX_ORGANISMS], enum cook_end end,
                   struct cook_result *result)
{
    double all = 0.0;

    for (size_t i = 0; i < setup->organism_count; i++) {
        const struct cook_organism *organism = &setup->organisms[i];
        struct cook_kill *kill = &result->kills[i];
        double decades = cook_log_reduction(organism, doses->organisms[i], factor[i]);
        double left = survivors(cook_load(setup, organism, end), decades);
        put_low(&kill->log_reduction, end, decades);
        put_high(&kill->survivors, end, left);
        put_high(&kill->chance, end, survivors_chance(left));
        if (organism->counts)
            all += left;
    }
    put_high(&result->chance, end, survivors_chance(all));
    put_low(&result->f0, end, doses->f0);
}

void cook_add_lean(struct cook_result *result, size_t at, enum cook_input input, double bad,
                   double good)
{
    struct cook_lean lean = {input, bad, good};

    for (; at > 0 && result->leans[at - 1].good - result->leans[at - 1].bad < good - bad; at--)
        result->leans[at] = result->leans[at - 1];
    result->leans[at] = lean;
}
