/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Quantities as observations: what "over" and "under" do to them, their bins, what is possible. */
#include <math.h>

#include "base/text.h"
#include "knowledge/reader_internal.h"

/*
 * Nobody who says "over two weeks" means a year. A bound is read as a stretch
 * beside the number: a third more or less of it, on a temperature scale, which
 * has no natural zero, some degrees.
 */
static const double STRETCH = 0.3;
static const double STRETCH_DEGREES = 4.0;

static void stretch(const struct observable *o, struct quantity *q, bool over, bool under)
{
    double width = o->dimension == DIM_CELSIUS ? STRETCH_DEGREES : STRETCH * fabs(q->hi);
    if (over && !under) {
        q->hi = fmin(q->hi + width, o->max);
    } else if (under && !over) {
        q->lo = fmax(q->lo - width, o->min);
        q->hi = fmax(nextafter(q->hi, -INFINITY), q->lo); /* the number itself is excluded */
    }
}

enum number_fault number_read_bins(const struct observable *observable, const char *folded,
                                   size_t length, bool over, bool under, struct quantity *quantity,
                                   uint32_t *bins)
{
    size_t used = 0;
    *bins = 0;
    if (quantity_read(folded, length, observable->dimension, quantity, &used) != QUANTITY_OK ||
        used != length)
        return NUMBER_UNREADABLE;
    if (!(quantity->lo >= observable->min && quantity->hi <= observable->max))
        return NUMBER_IMPOSSIBLE;
    stretch(observable, quantity, over, under);
    for (size_t i = 0; i < observable->value_count; i++) {
        const struct value *bin = &observable->values[i];
        bool last = i + 1 == observable->value_count;
        if (quantity->hi >= bin->from && (quantity->lo < bin->below || last))
            *bins |= UINT32_C(1) << i;
    }
    return NUMBER_FINE;
}

const char *number_limits(const struct observable *observable, struct arena *arena)
{
    struct text text;
    text_init(&text);
    text_printf(&text, "%s lies between ", observable->label);
    quantity_show(&text, observable->min, observable->dimension);
    text_puts(&text, " and ");
    quantity_show(&text, observable->max, observable->dimension);
    const char *copy = text.failed ? NULL : arena_copy(arena, text.bytes, text.length);
    text_release(&text);
    return copy;
}
