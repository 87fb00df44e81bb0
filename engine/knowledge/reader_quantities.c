/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Quantities in phrases.
 *
 * A phrase such as "soaked {q}" is compiled with two callouts where its quantity
 * stands: at the first quantity_end is asked whether one begins there, at the
 * second whether it ends there. So all phrases share one reader of quantities,
 * and what it found at a place is found once, however many phrases ask.
 */
#include "base/text.h"
#include "knowledge/reader_internal.h"

/* A callout's number: whether a unit is demanded, of which dimension, at which end. */
enum { CALLOUT_FIRST = 1, CALLOUT_LAST = CALLOUT_FIRST + 4 * DIM_COUNT - 1 };

struct place {
    enum dimension dimension;
    bool unit_required;
    bool end;
};

static unsigned number_of(struct place place)
{
    return CALLOUT_FIRST + 4u * (unsigned)place.dimension + (place.unit_required ? 2u : 0u) +
           (place.end ? 1u : 0u);
}

static struct place place_of(unsigned number)
{
    unsigned bits = number - CALLOUT_FIRST;
    return (struct place){(enum dimension)(bits / 4), bits & 2, bits & 1};
}

/* Most places are told from the start of one by their first byte. */
static bool may_begin(char c)
{
    return (c >= '0' && c <= '9') || (c && strchr("abcdefhmnoqst+-.", c));
}

uint32_t quantity_end(struct reader *reader, const char *bytes, uint32_t to, uint32_t at,
                      enum dimension dimension, bool unit_required)
{
    if (at >= to || !may_begin(bytes[at]))
        return 0;
    unsigned kind = number_of((struct place){dimension, unit_required, false});
    struct quantity_memo *memo = &reader->memos[(at * 8 + kind) % QUANTITY_MEMOS];
    if (memo->scan != reader->scan || memo->at != at || memo->kind != kind) {
        size_t length = quantity_at(bytes, to, at, dimension, unit_required);
        *memo = (struct quantity_memo){.scan = reader->scan,
                                       .at = at,
                                       .kind = kind,
                                       .end = length ? at + (uint32_t)length : 0};
    }
    return memo->end;
}

int quantity_callout(pcre2_callout_block *block, void *data)
{
    struct reader *reader = data;
    if (block->callout_number < CALLOUT_FIRST || block->callout_number > CALLOUT_LAST)
        return 0; /* one of an author's own */
    struct place place = place_of(block->callout_number);
    uint32_t at = (uint32_t)block->current_position;
    if (place.end)
        return at != reader->quantity_end;
    reader->quantity_end =
        quantity_end(reader, (const char *)block->subject, (uint32_t)block->subject_length, at,
                     place.dimension, place.unit_required);
    return reader->quantity_end == 0;
}

void quantity_put(struct text *out, enum dimension dimension, bool unit_required)
{
    struct place begin = {dimension, unit_required, false};
    struct place end = {dimension, unit_required, true};
    text_printf(out, "(?<q>(?C%u)(?>.+?(?C%u)))", number_of(begin), number_of(end));
}

size_t quantity_macro(const char *source, bool *unit_required)
{
    *unit_required = !strncmp(source, QUANTITY_WITH_UNIT, sizeof QUANTITY_WITH_UNIT - 1);
    if (*unit_required)
        return sizeof QUANTITY_WITH_UNIT - 1;
    return strncmp(source, QUANTITY_ANY, sizeof QUANTITY_ANY - 1) ? 0 : sizeof QUANTITY_ANY - 1;
}

char *quantities_as_written(const char *source, struct arena *arena)
{
    struct text text;
    text_init(&text);
    while (*source) {
        bool unit_required;
        size_t macro = quantity_macro(source, &unit_required);
        if (macro)
            text_puts(&text, unit_required ? "{q}" : "{n}");
        else
            text_add(&text, source, 1);
        source += macro ? macro : 1;
    }
    char *copy = text.failed ? NULL : arena_copy(arena, text.length ? text.bytes : "", text.length);
    text_release(&text);
    return copy;
}
