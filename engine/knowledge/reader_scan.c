/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Words and matches: which phrases are worth trying on a text, and where they match. */
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

/* ---- tokens -----------------------------------------------------------------------------------
 */

/* Letters, digits and whatever is not ASCII; a degree sign only ends a word. */
static size_t word_length(const char *bytes, size_t length)
{
    size_t at = 0;
    while (at < length) {
        unsigned char c = (unsigned char)bytes[at];
        bool word = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c >= 0x80;
        if (c == 0xC2 && at + 1 < length && (unsigned char)bytes[at + 1] == 0xB0)
            break;
        if (!word &&
            !(c == '\'' && at && at + 1 < length && bytes[at + 1] >= 'a' && bytes[at + 1] <= 'z'))
            break;
        at++;
    }
    return at;
}

enum status job_tokens(struct job *job)
{
    const struct working *w = &job->working;
    size_t room = 0;
    for (size_t at = 0; at < w->length; room++) {
        size_t size = word_length(w->bytes + at, w->length - at);
        at += size ? size : 1;
    }
    job->tokens = arena_array(job->scratch, room, sizeof *job->tokens);
    job->token_count = 0;
    if (!job->tokens)
        return STATUS_MEMORY;
    for (size_t at = 0; at < w->length;) {
        size_t size = word_length(w->bytes + at, w->length - at);
        if (size) {
            const struct lexeme *lexeme = lexicon_find(&job->reader->lexicon, w->bytes + at, size);
            job->tokens[job->token_count++] = (struct token){.start = (uint32_t)at,
                                                             .end = (uint32_t)(at + size),
                                                             .roles = lexeme ? lexeme->roles : 0};
        }
        at += size ? size : 1;
    }
    return STATUS_OK;
}

/* ---- matches ----------------------------------------------------------------------------------
 */

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
        if (!grown) {
            list->failed = true;
            return NULL;
        }
        list->items = grown;
        list->room = room;
    }
    struct match *match = &list->items[list->count++];
    *match = (struct match){0};
    return match;
}

static bool took_part(const PCRE2_SIZE *groups, int count, uint32_t mask)
{
    for (int i = 1; i < count && i < 32; i++)
        if ((mask >> i & 1) && groups[2 * i] != PCRE2_UNSET)
            return true;
    return false;
}

static void take_groups(struct match *match, const struct pattern *pattern,
                        const PCRE2_SIZE *groups, int count)
{
    for (int i = 1; i < count && i < 32; i++) {
        PCRE2_SIZE start = groups[2 * i];
        PCRE2_SIZE end = groups[2 * i + 1];
        if (start == PCRE2_UNSET || end <= start)
            continue;
        if (pattern->quantity >> i & 1) {
            match->q_start = (uint32_t)start;
            match->q_end = (uint32_t)end;
        }
        if ((pattern->gap >> i & 1) && match->gap_count < MATCH_GAPS) {
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

enum status job_run(struct job *job, struct pattern *pattern, struct match_list *into)
{
    struct reader *r = job->reader;
    const struct working *w = &job->working;
    enum status status = pattern_ready(r, pattern);
    if (status != STATUS_OK)
        return status;
    maybe_translate(pattern, w->length);
    for (PCRE2_SIZE at = 0; at < w->length;) {
        int count = pcre2_match(pattern->code, (PCRE2_SPTR)w->bytes, w->length, at,
                                PCRE2_NO_UTF_CHECK | PCRE2_NOTEMPTY, r->found, r->limits);
        if (count == PCRE2_ERROR_NOMATCH)
            return STATUS_OK;
        if (count == PCRE2_ERROR_NOMEMORY)
            return STATUS_MEMORY;
        if (count < 0)
            return note_limit(job, pattern);
        const PCRE2_SIZE *groups = pcre2_get_ovector_pointer(r->found);
        /* \K in a lookahead can put the start behind the end; such a match says nothing. */
        if (groups[1] <= groups[0])
            return STATUS_OK;
        at = groups[1];
        if (cuts_word(w, groups[0], groups[1]) ||
            (pattern->role == ROLE_NUMBER && !took_part(groups, count, pattern->quantity)))
            continue;
        struct match *match = match_add(into);
        if (!match)
            return into->full ? STATUS_DATA : STATUS_MEMORY;
        match->start = (uint32_t)groups[0];
        match->end = (uint32_t)groups[1];
        match->role = pattern->role;
        match->observable = pattern->observable;
        match->item = pattern->item;
        take_groups(match, pattern, groups, count);
    }
    return STATUS_OK;
}

enum status job_quantity(struct job *job, enum dimension dimension, bool unit_required,
                         struct pattern **found)
{
    struct reader *r = job->reader;
    struct pattern *pattern = unit_required ? &r->gates[dimension] : &r->bare[dimension];
    *found = pattern;
    if (pattern->source)
        return STATUS_OK;
    pattern->role = ROLE_NUMBER;
    pattern->source =
        arena_format(r->memory, "(?<q>%s)", quantity_pattern(dimension, unit_required));
    return pattern->source ? STATUS_OK : STATUS_MEMORY;
}

/* Whether the text holds a quantity that the pattern cannot do without. */
static enum status pass_gate(struct job *job, enum dimension gate, bool *open)
{
    struct pattern *pattern = NULL;
    *open = true;
    if (gate == DIM_COUNT)
        return STATUS_OK;
    if (!job->gates[gate]) {
        enum status status = job_quantity(job, gate, true, &pattern);
        if (status == STATUS_OK)
            status = pattern_ready(job->reader, pattern);
        if (status != STATUS_OK)
            return status;
        maybe_translate(pattern, job->working.length);
        int count = pcre2_match(pattern->code, (PCRE2_SPTR)job->working.bytes, job->working.length,
                                0, PCRE2_NO_UTF_CHECK, job->reader->found, job->reader->limits);
        job->gates[gate] = count == PCRE2_ERROR_NOMATCH ? -1 : 1;
    }
    *open = job->gates[gate] > 0;
    return STATUS_OK;
}

/* ---- which patterns ---------------------------------------------------------------------------
 */

static void set_limits(struct reader *reader, size_t length)
{
    pcre2_set_match_limit(reader->limits, (uint32_t)(STEPS_FREE + STEPS_PER_BYTE * length));
    pcre2_set_depth_limit(reader->limits, DEPTH_LIMIT);
    pcre2_set_heap_limit(reader->limits, HEAP_LIMIT_KIB);
}

static enum status run_once(struct job *job, uint32_t number)
{
    struct reader *r = job->reader;
    struct pattern *pattern = &r->patterns[number];
    if (r->stamps[number] == r->scan)
        return STATUS_OK;
    r->stamps[number] = r->scan;
    if (job->asked == RULES_NONE && (pattern->role == ROLE_YES || pattern->role == ROLE_NO))
        return STATUS_OK;
    bool open = true;
    enum status status = pass_gate(job, pattern->gate, &open);
    return status == STATUS_OK && open ? job_run(job, pattern, &job->matches) : status;
}

static enum status run_worthwhile(struct job *job)
{
    const struct prefilter *filter = &job->reader->prefilter;
    const char *bytes = job->working.bytes;
    size_t length = job->working.length;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < filter->always_count && status == STATUS_OK; i++)
        status = run_once(job, filter->always[i]);
    for (size_t at = 0; at + LITERAL_KEY <= length && status == STATUS_OK; at++) {
        uint32_t index = filter->buckets[prefilter_bucket(bytes + at)];
        while (index != NO_INDEX && status == STATUS_OK) {
            const struct literal *literal = &filter->literals[index];
            if (job->reader->stamps[literal->pattern] != job->reader->scan &&
                literal->length <= length - at &&
                !memcmp(literal->text, bytes + at, literal->length))
                status = run_once(job, literal->pattern);
            index = literal->next;
        }
    }
    return status;
}

/* A word may play several parts; the one that changes most is taken. */
static enum status add_word_roles(struct job *job)
{
    static const enum role order[] = {ROLE_NEGATION, ROLE_HEDGE, ROLE_BREAK, ROLE_OR,
                                      ROLE_AND,      ROLE_YES,   ROLE_NO};
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
            break;
        }
    }
    return STATUS_OK;
}

enum status job_scan(struct job *job)
{
    struct reader *r = job->reader;
    job->matches = (struct match_list){.arena = job->scratch};
    job->limits = NULL;
    memset(job->gates, 0, sizeof job->gates);
    if (++r->scan == 0) { /* once in four thousand million texts */
        memset(r->stamps, 0, r->pattern_count * sizeof *r->stamps);
        r->scan = 1;
    }
    set_limits(r, job->working.length);
    enum status status = add_word_roles(job);
    return status == STATUS_OK ? run_worthwhile(job) : status;
}
