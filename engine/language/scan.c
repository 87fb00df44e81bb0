/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "language/reader_internal.h"

/* ==== reader scan ============================================================================= */

/* Matches: which phrases are worth trying on a clause, and where they match. */

/*
 * A pattern may take this many steps in all, and so many more per byte of text:
 * enough for any phrase that moves on, far too few for one that backtracks
 * without end. Translating a pattern to machine code costs about as much as
 * interpreting it over TRANSLATE_AFTER bytes.
 */
enum {
    STEPS_FREE = 20000,
    STEPS_PER_BYTE = 60,
    DEPTH_LIMIT = 2000,
    HEAP_LIMIT_KIB = 1024,
    TRANSLATE_AFTER = 16 * 1024,
};

/* ---- one pattern ------------------------------------------------------------------------- */

struct match *match_add(struct match_list *list)
{
    if (list->count == MATCH_MOST) {
        list->full = true;
        return NULL;
    }
    if (list->count == list->room) {
        size_t room = list->room ? list->room * 2 : 64;
        struct match *grown =
            arena_grow(list->arena, list->items, list->count, room, sizeof *grown);
        if (!grown)
            return NULL;
        list->items = grown;
        list->room = room;
    }
    struct match *match = &list->items[list->count++];
    *match = (struct match){0};
    return match;
}

/* Whether one of the groups in `mask` took part in the match, which set `count` of them. */
static bool took_part(const PCRE2_SIZE *groups, size_t count, uint32_t mask)
{
    for (size_t i = 1; i < count; i++)
        if ((mask >> i & 1) && groups[2 * i] != PCRE2_UNSET)
            return true;
    return false;
}

static void take_groups(struct match *match, const struct pattern *pattern,
                        const PCRE2_SIZE *groups, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        PCRE2_SIZE start = groups[2 * i];
        PCRE2_SIZE end = groups[2 * i + 1];
        if (start == PCRE2_UNSET || end <= start)
            continue;
        if (pattern->quantity >> i & 1) {
            match->q_start = (uint32_t)start;
            match->q_end = (uint32_t)end;
        }
        if ((pattern->gap >> i & 1) && match->gap_count < MATCH_GAPS && start >= match->start) {
            match->gaps[match->gap_count].start = (uint32_t)start;
            match->gaps[match->gap_count++].end = (uint32_t)end;
        }
    }
    match->over = took_part(groups, count, pattern->over);
    match->under = took_part(groups, count, pattern->under);
}

static enum status note_limit(struct job *job, const struct pattern *pattern)
{
    struct limit_hit *hit = arena_alloc(job->scratch, sizeof *hit);
    if (!hit)
        return STATUS_MEMORY;
    hit->pattern = pattern;
    hit->next = job->limits;
    job->limits = hit;
    return STATUS_OK;
}

static void maybe_translate(struct pattern *pattern, size_t length)
{
    pattern->scanned += length;
    if (pattern->translated || pattern->scanned < TRANSLATE_AFTER)
        return;
    pattern->translated = true; /* tried once; without it matching is only slower */
    (void)pcre2_jit_compile(pattern->code, PCRE2_JIT_COMPLETE);
}

static void set_limits(struct reader *reader, size_t length)
{
    pcre2_set_match_limit(reader->limits, (uint32_t)(STEPS_FREE + STEPS_PER_BYTE * length));
    pcre2_set_depth_limit(reader->limits, DEPTH_LIMIT);
    pcre2_set_heap_limit(reader->limits, HEAP_LIMIT_KIB);
}

static bool degree_at(const struct working *w, size_t at)
{
    return at + 1 < w->length && (unsigned char)w->bytes[at] == 0xC2 &&
           (unsigned char)w->bytes[at + 1] == 0xB0;
}

/* Whether a letter that is not ASCII hangs on a match; the pattern itself looks for the others. */
static bool cuts_word(const struct working *w, size_t start, size_t end)
{
    bool before = start && (unsigned char)w->bytes[start - 1] >= 0x80 &&
                  !(start > 1 && degree_at(w, start - 2));
    bool after = end < w->length && (unsigned char)w->bytes[end] >= 0x80 && !degree_at(w, end);
    return before || after;
}

static enum status take_match(struct job *job, const struct pattern *pattern, size_t count,
                              struct match_list *into)
{
    const PCRE2_SIZE *groups = pcre2_get_ovector_pointer(job->reader->found);
    if (cuts_word(&job->working, groups[0], groups[1]) ||
        (pattern->role == ROLE_NUMBER && !took_part(groups, count, pattern->quantity)))
        return STATUS_OK;
    struct match *match = match_add(into);
    if (!match)
        return into->full ? STATUS_DATA : STATUS_MEMORY;
    match->start = (uint32_t)groups[0];
    match->end = (uint32_t)groups[1];
    match->role = pattern->role;
    match->observable = pattern->observable;
    match->item = pattern->item;
    match->asked = pattern->role <= ROLE_NUMBER && (int)pattern->observable == job->asked;
    take_groups(match, pattern, groups, count);
    return STATUS_OK;
}

enum status job_run(struct job *job, struct pattern *pattern, uint32_t from, uint32_t to,
                    struct match_list *into)
{
    struct reader *r = job->reader;
    enum status status = pattern_ready(r, pattern);
    if (status != STATUS_OK)
        return status;
    maybe_translate(pattern, to - from);
    set_limits(r, to - from);
    for (PCRE2_SIZE at = from; at < to && status == STATUS_OK;) {
        int count = pcre2_match(pattern->code, (PCRE2_SPTR)job->working.bytes, to, at,
                                PCRE2_NO_UTF_CHECK | PCRE2_NOTEMPTY, r->found, r->limits);
        if (count == PCRE2_ERROR_NOMATCH)
            return STATUS_OK;
        if (count == PCRE2_ERROR_NOMEMORY)
            return STATUS_MEMORY;
        if (count < 0)
            return note_limit(job, pattern);
        const PCRE2_SIZE *groups = pcre2_get_ovector_pointer(r->found);
        if (groups[1] <= at || groups[1] <= groups[0])
            return STATUS_OK; /* \K can put the start behind the end; such a match says nothing */
        at = groups[1];
        status = take_match(job, pattern, count ? (size_t)count : MATCH_GROUPS, into);
    }
    return status;
}

/* ---- which patterns ---------------------------------------------------------------------- */

struct clause { /* of the working text, and what it holds */
    uint32_t from, to;
    size_t first_token, end_token;
    signed char gates[DIM_COUNT]; /* a quantity: 1 there is one, -1 there is none, 0 not looked */
};

/* Whether the clause holds a quantity with its unit that a pattern cannot do without. */
static bool gate_open(struct job *job, struct clause *clause, enum dimension gate)
{
    if (gate == DIM_COUNT)
        return true;
    if (clause->gates[gate])
        return clause->gates[gate] > 0;
    clause->gates[gate] = -1;
    for (size_t i = clause->first_token; i < clause->end_token; i++) {
        const struct token *token = &job->tokens[i];
        if (token->counts &&
            quantity_end(job->reader, job->working.bytes, clause->to, token->start, gate, true)) {
            clause->gates[gate] = 1;
            break;
        }
    }
    return clause->gates[gate] > 0;
}

static enum status run_in(struct job *job, struct clause *clause, uint32_t number)
{
    struct pattern *pattern = &job->reader->patterns[number];
    if (job->asked == RULES_NONE && (pattern->role == ROLE_YES || pattern->role == ROLE_NO))
        return STATUS_OK;
    if (!gate_open(job, clause, pattern->gate))
        return STATUS_OK;
    return job_run(job, pattern, clause->from, clause->to, &job->matches);
}

/* Tells the patterns that wait for a literal; one all of whose sets were met is run. */
static enum status tell_users(struct job *job, struct clause *clause, const struct literal *literal)
{
    struct reader *r = job->reader;
    const struct literal_user *users = r->prefilter.users + literal->users;
    enum status status = STATUS_OK;
    for (uint32_t i = 0; i < literal->user_count && status == STATUS_OK; i++) {
        const struct literal_user *user = &users[i];
        struct prefilter_state *state = &r->states[user->pattern];
        if (state->scan != r->scan)
            *state = (struct prefilter_state){.scan = r->scan};
        if (state->seen & user->bit)
            continue;
        state->seen |= user->bit;
        if (state->seen == user->all)
            status = run_in(job, clause, user->pattern);
    }
    return status;
}

static bool stands_at(const struct literal *literal, uint64_t word, const char *at, size_t left)
{
    return literal->head == prefilter_first(word, literal->length) && literal->length <= left &&
           (literal->length <= sizeof word || !memcmp(literal->text, at, literal->length));
}

/* Looks up the literals whose key has this hash at one place, which begins with `word`. */
static enum status meet_literals(struct job *job, struct clause *clause, uint32_t hash,
                                 uint64_t word, const char *at)
{
    struct reader *r = job->reader;
    const uint32_t *bucket = &r->prefilter.buckets[prefilter_bucket(hash)];
    size_t left = (size_t)(job->working.bytes + clause->to - at);
    enum status status = STATUS_OK;
    for (uint32_t i = bucket[0]; i < bucket[1] && status == STATUS_OK; i++) {
        struct literal *literal = &r->prefilter.literals[i];
        if (!stands_at(literal, word, at, left) || literal->scan == r->scan)
            continue;
        literal->scan = r->scan;
        status = tell_users(job, clause, literal);
    }
    return status;
}

void reader_next_scan(struct reader *reader)
{
    if (++reader->scan == 0) { /* once in four thousand million clauses */
        memset(reader->states, 0, reader->pattern_count * sizeof *reader->states);
        for (size_t i = 0; i < reader->prefilter.literal_count; i++)
            reader->prefilter.literals[i].scan = 0;
        memset(reader->memos, 0, sizeof reader->memos);
        reader->scan = 1;
    }
}

/* Looks up what may begin at one place. */
static enum status scan_place(struct job *job, struct clause *clause, const char *at)
{
    const struct prefilter *filter = &job->reader->prefilter;
    uint64_t word = prefilter_word(at);
    unsigned kinds = filter->kinds[prefilter_pair(word)];
    enum status status = STATUS_OK;
    for (size_t kind = 0; kinds >> kind && status == STATUS_OK; kind++) {
        uint32_t hash = prefilter_hash(word, kind);
        if ((kinds >> kind & 1) && (filter->keys[hash / 64] >> hash % 64 & 1))
            status = meet_literals(job, clause, hash, word, at);
    }
    return status;
}

static enum status scan_clause(struct job *job, struct clause *clause)
{
    const struct prefilter *filter = &job->reader->prefilter;
    const char *bytes = job->working.bytes;
    enum status status = STATUS_OK;
    reader_next_scan(job->reader);
    for (size_t i = 0; i < filter->always_count && status == STATUS_OK; i++)
        status = run_in(job, clause, filter->always[i]);
    for (uint32_t at = clause->from; at < clause->to && status == STATUS_OK; at++)
        status = scan_place(job, clause, bytes + at);
    return status;
}

/* A word may play several parts; the one that changes most is taken. */
static enum status add_word_roles(struct job *job)
{
    static const enum role order[] = {ROLE_NEGATION, ROLE_HEDGE, ROLE_BREAK, ROLE_EXCEPTION,
                                      ROLE_OR,       ROLE_AND,   ROLE_YES,   ROLE_NO};
    for (size_t i = 0; i < job->token_count; i++) {
        const struct token *token = &job->tokens[i];
        for (size_t j = 0; token->roles && j < sizeof order / sizeof *order; j++) {
            if (!(token->roles >> order[j] & 1))
                continue;
            if (order[j] >= ROLE_YES && job->asked == RULES_NONE)
                continue;
            struct match *match = match_add(&job->matches);
            if (!match)
                return job->matches.full ? STATUS_DATA : STATUS_MEMORY;
            match->start = token->start;
            match->end = token->end;
            match->role = order[j];
            match->word = true;
            match->answers = token->roles >> ROLE_NO & 1;
            break;
        }
    }
    return STATUS_OK;
}

enum status job_scan(struct job *job)
{
    const struct working *w = &job->working;
    job->matches = (struct match_list){.arena = job->scratch};
    job->limits = NULL;
    enum status status = add_word_roles(job);
    size_t token = 0;
    for (size_t i = 0; i <= w->cut_count && status == STATUS_OK; i++) {
        struct clause clause = {.from = i ? w->cuts[i - 1].at + 1 : 0, .first_token = token};
        clause.to = i < w->cut_count ? w->cuts[i].at : (uint32_t)w->length;
        while (token < job->token_count && job->tokens[token].start < clause.to)
            token++;
        clause.end_token = token;
        status = scan_clause(job, &clause);
    }
    return status;
}

/* ==== reader resolve ========================================================================== */

/* Which matches stand: a quantity goes to one phrase, and the longer match wins. */

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

/* ==== reader check ============================================================================ */

/* For `rules check`: finds phrases that backtrack without end before a sentence does. */

/*
 * Each phrase is tried on text made of its own letters, nearly matching again
 * and again, which is what drives a careless pattern to try every way of
 * cutting it up. A sound one needs a few steps per byte.
 */
enum {
    TRIAL_BYTES = 1024,
    TRIAL_STEPS = 60 * TRIAL_BYTES,
    TRIAL_BODIES = 6,
    TRIAL_KINDS = 2 * TRIAL_BODIES, /* each with two endings */
};

/* What stands for a class in the letters of a pattern. */
static char sample_of(char escape)
{
    switch (escape) {
    case 'w':
    case 'S':
    case 'D':
        return 'a';
    case 's':
    case 'W':
        return ' ';
    case 'd':
        return '1';
    default:
        return escape;
    }
}

/* The last byte of what opens a group, "(?:", "(?i:", "(?<=" and their like; of "(?<name>" and "("
 * only the part before the name. */
static const char *group_opening(const char *s)
{
    if (s[1] != '?')
        return s;
    s++;
    while (s[1] && strchr("imsxnJ-^", s[1]))
        s++;
    if (s[1] == '<' && (s[2] == '=' || s[2] == '!'))
        return s + 2;
    return s[1] && strchr(":=!>|", s[1]) ? s + 1 : s;
}

/* "1 d", "1 kpa", as folded text has it. */
static void put_sample_quantity(struct text *out, enum dimension dimension)
{
    text_puts(out, "1 ");
    for (const char *unit = dimension_unit(dimension); *unit; unit++) {
        char c = (char)(*unit >= 'A' && *unit <= 'Z' ? *unit + 'a' - 'A' : *unit);
        text_add(out, &c, 1);
    }
}

/* The letters of a pattern without its syntax. */
static void plain_letters(struct text *out, const struct pattern *pattern)
{
    bool name = false;
    bool unit_required;
    for (const char *s = pattern->source; *s; s++) {
        size_t macro = quantity_macro(s, &unit_required);
        if (macro) {
            put_sample_quantity(out, pattern->dimension);
            s += macro - 1;
        } else if (*s == '(') {
            s = group_opening(s);
        } else if (*s == '<' || *s == '{') {
            name = true;
        } else if (*s == '>' || *s == '}') {
            name = false;
        } else if (*s == '\\' && s[1]) {
            char sample = sample_of(*++s);
            text_add(out, &sample, 1);
        } else if (*s == '|') {
            text_puts(out, " ");
        } else if (!name && !strchr(")[]?*+^$.", *s)) {
            text_add(out, s, 1);
        }
    }
}

static void repeat(struct text *out, const char *unit, size_t length)
{
    while (length && !out->failed && out->length + length <= TRIAL_BYTES)
        text_add(out, unit, length);
}

static void trial_text(struct text *out, int kind, const struct text *letters)
{
    size_t first = letters->length ? strcspn(letters->bytes, " ") : 0;
    text_clear(out);
    switch (kind % TRIAL_BODIES) {
    case 0:
        repeat(out, letters->bytes, letters->length);
        break;
    case 1:
        repeat(out, letters->bytes, letters->length ? 1 : 0);
        break;
    case 2:
        repeat(out, letters->bytes, first);
        break;
    case 3:
        for (size_t i = 0; first && i < TRIAL_BYTES / (first + 1); i++) {
            text_add(out, letters->bytes, first);
            text_puts(out, " ");
        }
        break;
    case 4:
        repeat(out, "1 ", 2);
        break;
    default:
        repeat(out, "a", 1);
    }
    /* Nothing matches the first, so hopes are disappointed: in the middle of a word, where no phrase
     * may end, or behind it. The rest keeps PCRE2 from seeing at once that a letter it needs is
     * missing. */
    text_puts(out, kind < TRIAL_BODIES ? "\x7F" : "_\x7F");
    text_add(out, letters->bytes, letters->length);
}

static bool gives_up(struct reader *reader, const struct pattern *pattern, const struct text *text)
{
    size_t at = 0;
    reader_next_scan(reader);
    while (at < text->length) {
        int count = pcre2_match(pattern->code, (PCRE2_SPTR)text->bytes, text->length, at,
                                PCRE2_NO_UTF_CHECK | PCRE2_NO_JIT, reader->found, reader->limits);
        if (count < 0)
            return count != PCRE2_ERROR_NOMATCH;
        size_t end = pcre2_get_ovector_pointer(reader->found)[1];
        at = end > at ? end : at + 1;
    }
    return false;
}

struct trial { /* what patterns are tried with */
    struct reader *reader;
    struct diags *diags;
    struct text letters, text;
};

static void try_out(struct trial *trial, struct pattern *pattern)
{
    enum status status = pattern_ready(trial->reader, pattern);
    if (status == STATUS_INTERNAL) /* taken for sound, but it is not */
        status = pattern_try(trial->reader, pattern, trial->diags);
    if (status != STATUS_OK)
        return;
    text_clear(&trial->letters);
    plain_letters(&trial->letters, pattern);
    bool slow = false;
    for (int kind = 0; kind < TRIAL_KINDS && !slow; kind++) {
        trial_text(&trial->text, kind, &trial->letters);
        slow = !trial->text.failed && gives_up(trial->reader, pattern, &trial->text);
    }
    const char *shown =
        slow ? quantities_as_written(pattern->source, trial->reader->scratch) : NULL;
    if (shown)
        diags_warn(trial->diags, pattern->at,
                   "the pattern '%s' tries too many ways to match; let its repeated parts "
                   "begin with different letters",
                   shown);
}

/* What may stand before a quantity is part of the phrases that hold one; here each is tried by itself,
 * so that it is told where it stands. */
static void try_list(struct trial *trial, const struct phrases *phrases)
{
    for (size_t i = 0; i < phrases->count && !trial->text.failed; i++) {
        struct pattern pattern = {
            .source = phrases->list[i], .role = ROLE_IGNORE, .dimension = DIM_COUNT};
        if (phrases->at)
            pattern.at = phrases->at[i];
        try_out(trial, &pattern);
        pcre2_code_free(pattern.code);
    }
}

void reader_check_patterns(struct reader *reader, struct diags *diags)
{
    const struct language *l = &reader->rules->language;
    struct trial trial = {.reader = reader, .diags = diags};
    text_init(&trial.letters);
    text_init(&trial.text);
    pcre2_set_match_limit(reader->limits, TRIAL_STEPS);
    try_list(&trial, &l->over);
    try_list(&trial, &l->under);
    try_list(&trial, &l->about);
    for (size_t i = 0; i < reader->pattern_count && !trial.letters.failed && !trial.text.failed;
         i++)
        try_out(&trial, &reader->patterns[i]);
    text_release(&trial.letters);
    text_release(&trial.text);
}
