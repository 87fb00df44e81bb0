/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "review/binomial_internal.h"
#include "review/check_internal.h"
#include "review/monitor.h"

/* Batches come in few sizes: limits once found are kept for the size they hold for. */
enum { SIZES_KEPT = 256 };

struct limits {
    size_t total; /* 0: nothing kept yet */
    double from_below, from_above;
};

double monitor_centre(const struct counts *batches, size_t count)
{
    double lost = 0.0, total = 0.0;

    for (size_t i = 0; i < count; i++) {
        lost += (double)batches[i].lost;
        total += (double)batches[i].total;
    }
    return total > 0.0 ? lost / total : NAN;
}

static double above(size_t lost, size_t total, double centre)
{
    return counts_chance_above((struct counts){lost, total}, centre);
}

/* The smallest count that many or more of which are as rare as `tail`; total + 1 if none is. */
static size_t first_rare(size_t total, double centre, double tail)
{
    size_t low = 0, high = total + 1;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (above(middle, total, centre) <= tail)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

static struct limits find_limits(size_t total, double centre, double tail)
{
    /* So many lost or fewer are so many kept or more. */
    size_t kept = first_rare(total, 1.0 - centre, tail);

    return (struct limits){
        .total = total,
        .from_below = (double)total - (double)kept,
        .from_above = (double)first_rare(total, centre, tail),
    };
}

static struct monitor_point make_point(struct counts batch, double centre,
                                       const struct limits *limits)
{
    double total = (double)batch.total, lost = (double)batch.lost;
    double three = 3.0 * sqrt(centre * (1.0 - centre) / total);

    return (struct monitor_point){
        .share = lost / total,
        .normal = {fmax(0.0, centre - three), fmin(1.0, centre + three)},
        .from_below = limits->from_below,
        .from_above = limits->from_above,
        .chance_below = counts_chance_below(batch, centre),
        .chance_above = counts_chance_above(batch, centre),
        .below = lost <= limits->from_below,
        .above = lost >= limits->from_above,
    };
}

static const struct monitor_point EMPTY = {
    .share = NAN,
    .normal = {0.0, 1.0},
    .from_below = -1.0,
    .from_above = 1.0,
    .chance_below = 1.0,
    .chance_above = 1.0,
};

enum status monitor_chart(const struct counts *batches, size_t count, double centre, double tail,
                          struct monitor_point *points)
{
    struct limits kept[SIZES_KEPT] = {{0, 0.0, 0.0}};

    if (!(centre >= 0.0 && centre <= 1.0) || !(tail > 0.0 && tail <= 0.5))
        return STATUS_USAGE;
    for (size_t i = 0; i < count; i++)
        if (!counts_fine(batches[i]))
            return STATUS_USAGE;
    for (size_t i = 0; i < count; i++) {
        size_t total = batches[i].total;
        struct limits *limits = &kept[total % SIZES_KEPT];
        if (total == 0) {
            points[i] = EMPTY;
            continue;
        }
        if (limits->total != total)
            *limits = find_limits(total, centre, tail);
        points[i] = make_point(batches[i], centre, limits);
    }
    return STATUS_OK;
}
