/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which matches stand: a quantity goes to one phrase, and the longer match wins. */
#include <stdlib.h>
#include <string.h>

#include "knowledge/reader_internal.h"

/* A run of bytes that a match accounts for; a match with gaps has several. */
struct piece {
    uint32_t start, end;
};

static uint32_t accounted(const struct match *match)
{
    uint32_t length = match->end - match->start;
    for (unsigned i = 0; i < match->gap_count; i++)
        length -= match->gaps[i].end - match->gaps[i].start;
    return length;
}

static int compare_u32(uint32_t a, uint32_t b)
{
    return (a > b) - (a < b);
}

/* ---- numbers ----------------------------------------------------------------------------- */

/* Longest first; of one length, what was asked for first, then the order of the files. */
static int by_claim(const void *left, const void *right)
{
    const struct match *a = *(const struct match *const *)left;
    const struct match *b = *(const struct match *const *)right;
    int order = compare_u32(accounted(b), accounted(a));
    if (!order)
        order = (int)b->asked - (int)a->asked;
    if (!order)
        order = (a->observable > b->observable) - (a->observable < b->observable);
    return order ? order : compare_u32(a->start, b->start);
}

static enum status settle_numbers(struct job *job)
{
    struct match_list *list = &job->matches;
    struct match **claims = arena_array(job->scratch, list->count, sizeof *claims);
    unsigned char *taken = arena_array(job->scratch, job->working.length, 1);
    if (!claims || !taken)
        return STATUS_MEMORY;
    size_t count = 0;
    for (size_t i = 0; i < list->count; i++)
        if (list->items[i].role == ROLE_NUMBER)
            claims[count++] = &list->items[i];
    if (count > 1)
        qsort(claims, count, sizeof(struct match *), by_claim);
    for (size_t i = 0; i < count; i++) {
        struct match *match = claims[i];
        uint32_t length = match->q_end - match->q_start;
        if (memchr(taken + match->q_start, 1, length))
            match->dropped = true;
        else
            memset(taken + match->q_start, 1, length);
    }
    return STATUS_OK;
}

/* ---- containment ------------------------------------------------------------------------- */

static int by_place(const void *left, const void *right)
{
    const struct match *a = left;
    const struct match *b = right;
    int order = compare_u32(a->start, b->start);
    if (!order)
        order = compare_u32(b->end, a->end);
    if (!order)
        order = (int)a->role - (int)b->role;
    if (!order)
        order = (a->observable > b->observable) - (a->observable < b->observable);
    return order ? order : (a->item > b->item) - (a->item < b->item);
}

static int by_start(const void *left, const void *right)
{
    const struct piece *a = left;
    const struct piece *b = right;
    int order = compare_u32(a->start, b->start);
    return order ? order : compare_u32(b->end, a->end);
}

/* Without `all`, a negation that denied nothing accounts for nothing. */
static struct piece *pieces_of(const struct match_list *list, bool all, struct arena *arena,
                               size_t *count)
{
    struct piece *pieces = arena_array(arena, list->count, (MATCH_GAPS + 1) * sizeof *pieces);
    *count = 0;
    for (size_t i = 0; pieces && i < list->count; i++) {
        const struct match *match = &list->items[i];
        uint32_t start = match->start;
        if (!all && (match->aside || (match->role == ROLE_NEGATION && !match->used)))
            continue;
        for (unsigned g = 0; g < match->gap_count; g++) {
            pieces[(*count)++] = (struct piece){start, match->gaps[g].start};
            start = match->gaps[g].end;
        }
        pieces[(*count)++] = (struct piece){start, match->end};
    }
    if (*count > 1)
        qsort(pieces, *count, sizeof *pieces, by_start);
    return pieces;
}

/* Both lists are in order of start, so the farthest end so far tells what lies inside. */
static enum status drop_contained(struct job *job)
{
    struct match_list *list = &job->matches;
    size_t piece_count = 0;
    struct piece *pieces = pieces_of(list, true, job->scratch, &piece_count);
    if (!pieces)
        return STATUS_MEMORY;
    uint32_t before = 0; /* farthest end of the pieces that start earlier */
    uint32_t same = 0;   /* and of those that start here */
    uint32_t here = 0;
    size_t next = 0;
    for (size_t i = 0; i < list->count; i++) {
        struct match *match = &list->items[i];
        if (match->start != here) {
            before = same > before ? same : before;
            same = 0;
            here = match->start;
        }
        for (; next < piece_count && pieces[next].start <= here; next++) {
            uint32_t *farthest = pieces[next].start < here ? &before : &same;
            if (pieces[next].end > *farthest)
                *farthest = pieces[next].end;
        }
        match->dropped = before >= match->end || same > match->end;
    }
    return STATUS_OK;
}

static void compact(struct match_list *list)
{
    size_t kept = 0;
    for (size_t i = 0; i < list->count; i++)
        if (!list->items[i].dropped)
            list->items[kept++] = list->items[i];
    list->count = kept;
}

static bool same_match(const struct match *a, const struct match *b)
{
    return a->start == b->start && a->end == b->end && a->role == b->role &&
           a->observable == b->observable && a->item == b->item;
}

static bool same_place(const struct match *a, const struct match *b)
{
    return a->start == b->start && a->end == b->end;
}

/*
 * Of the same words, what they say of a sign goes before the part they play in
 * the sentence: a value may be called "none". And a phrase goes before a word:
 * "no" in "no, it is green" denies nothing.
 */
static void drop_outranked(struct match *matches, size_t count)
{
    bool content = false;
    bool phrase = false;
    for (size_t i = 0; i < count; i++) {
        content = content || matches[i].role <= ROLE_STATEMENT;
        phrase = phrase || !matches[i].word;
    }
    for (size_t i = 0; i < count; i++)
        matches[i].dropped = (content && matches[i].role > ROLE_STATEMENT) ||
                             (phrase && matches[i].word) ||
                             (i && same_match(&matches[i - 1], &matches[i]));
}

static void settle_places(struct match_list *list)
{
    size_t first = 0;
    for (size_t i = 1; i <= list->count; i++) {
        if (i < list->count && same_place(&list->items[first], &list->items[i]))
            continue;
        if (i - first > 1)
            drop_outranked(list->items + first, i - first);
        first = i;
    }
    compact(list);
}

/* ---- gaps -------------------------------------------------------------------------------- */

static size_t first_from(const struct match_list *list, uint32_t start)
{
    size_t low = 0;
    size_t high = list->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (list->items[middle].start < start)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* "Filter is not wet" denies "filter wet"; "filter is fine but grains wet" was no match at all. */
static void settle_gap(struct match_list *list, struct match *match, unsigned gap)
{
    size_t i = first_from(list, match->gaps[gap].start);
    for (; i < list->count && list->items[i].start < match->gaps[gap].end; i++) {
        struct match *inside = &list->items[i];
        match->dropped = match->dropped || inside->role == ROLE_BREAK;
        if (inside->role == ROLE_NEGATION) {
            match->denied = !match->denied;
            inside->used = true;
            inside->until = match->end;
        }
    }
}

static void settle_gaps(struct match_list *list)
{
    for (size_t i = 0; i < list->count; i++)
        for (unsigned gap = 0; gap < list->items[i].gap_count; gap++)
            settle_gap(list, &list->items[i], gap);
    compact(list);
}

/* ---- tokens ------------------------------------------------------------------------------ */

/* Pieces in order of start: a token is accounted for when pieces reach over all of it. */
enum status job_cover(struct job *job, bool all)
{
    size_t count = 0;
    struct piece *pieces = pieces_of(&job->matches, all, job->scratch, &count);
    if (!pieces)
        return STATUS_MEMORY;
    size_t next = 0;
    uint32_t from = 0;
    uint32_t reach = 0; /* everything in [from, reach) is accounted for */
    for (size_t i = 0; i < job->token_count; i++) {
        struct token *token = &job->tokens[i];
        for (; next < count && pieces[next].start < token->end; next++) {
            if (pieces[next].start > reach) {
                from = pieces[next].start;
                reach = pieces[next].end;
            } else if (pieces[next].end > reach) {
                reach = pieces[next].end;
            }
        }
        token->covered = from <= token->start && reach >= token->end;
    }
    return STATUS_OK;
}

/* What says something only where nothing else is said: a judgement of the whole, in passing. */
static void drop_not_alone(struct job *job)
{
    struct match_list *list = &job->matches;
    size_t kept = 0;
    for (size_t i = 0; i < list->count; i++) {
        const struct match *match = &list->items[i];
        bool whole = job->asked == RULES_NONE && job->token_count > 0 &&
                     match->start <= job->tokens[0].start &&
                     match->end >= job->tokens[job->token_count - 1].end;
        if (whole || match->role != ROLE_STATEMENT ||
            !job->reader->rules->language.statements[match->item].alone)
            list->items[kept++] = *match;
    }
    list->count = kept;
}

enum status job_resolve(struct job *job)
{
    struct match_list *list = &job->matches;
    drop_not_alone(job);
    enum status status = settle_numbers(job);
    if (status != STATUS_OK)
        return status;
    compact(list);
    if (list->count > 1)
        qsort(list->items, list->count, sizeof *list->items, by_place);
    status = drop_contained(job);
    if (status != STATUS_OK)
        return status;
    compact(list);
    settle_places(list);
    settle_gaps(list);
    return job_cover(job, true);
}
