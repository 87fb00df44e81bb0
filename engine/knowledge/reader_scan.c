/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Matches: which phrases are worth trying on a clause, and where they match. */
#include <string.h>

#include "knowledge/reader_internal.h"

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
