/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Matches that stand -> readings, and the words nothing understood. */
#include <stdlib.h>
#include <string.h>

#include "knowledge/reader_internal.h"

static const char NOTE_UNCLEAR[] = "it is not plain what is denied here; say what you do see";

struct output {
    struct job *job;
    bool unknown; /* some word was not understood */
    struct arena *arena;
    struct reading *readings;
    size_t reading_count;
    struct unread *unread;
    size_t unread_count;
    uint32_t *named;  /* per observable: values any reading speaks of */
    uint32_t *chains; /* per observable: its last reading without a number; NO_INDEX: none */
    uint32_t *before; /* per reading: the one before it in its chain */
};

static bool is_unknown(const struct token *token)
{
    return !token->covered && !(token->roles >> ROLE_IGNORE & 1);
}

static bool any_unknown(const struct job *job)
{
    size_t i = 0;
    while (i < job->token_count && !is_unknown(&job->tokens[i]))
        i++;
    return i < job->token_count;
}

/* ---- readings ---------------------------------------------------------------------------- */

static bool says_same(const struct reading *a, const struct reading *b)
{
    return a->seen == b->seen && a->absent == b->absent && a->hedged == b->hedged &&
           a->others == b->others;
}

/* What was already said in the same way is not said again; so chains stay short. */
static void add_reading(struct output *out, struct reading reading)
{
    size_t observable = reading.observable;
    out->named[observable] |= reading.seen | reading.absent;
    if (!reading.has_number) {
        for (uint32_t i = out->chains[observable]; i != NO_INDEX; i = out->before[i])
            if (says_same(&out->readings[i], &reading))
                return;
        out->before[out->reading_count] = out->chains[observable];
        out->chains[observable] = (uint32_t)out->reading_count;
    }
    out->readings[out->reading_count++] = reading;
}

static void add_unread(struct output *out, struct span span, enum unread_reason reason,
                       const char *note)
{
    out->unread[out->unread_count++] =
        (struct unread){.span = span, .reason = reason, .note = note};
}

static struct reading reading_of(const struct output *out, const struct match *match)
{
    return (struct reading){.observable = match->observable,
                            .hedged = match->hedged,
                            .span = working_span(&out->job->working, match->start, match->end)};
}

static bool add_number(struct output *out, const struct match *match)
{
    const struct observable *o = &out->job->reader->rules->observables[match->observable];
    const char *folded = out->job->working.bytes + match->q_start;
    struct reading reading = reading_of(out, match);
    uint32_t bins = 0;
    const char *note = NULL;
    switch (number_read_bins(o, folded, match->q_end - match->q_start, match->over, match->under,
                             &reading.number, &bins)) {
    case NUMBER_FINE:
        reading.has_number = !match->denied;
        reading.seen = match->denied ? 0 : bins;
        reading.absent = match->denied ? bins : 0;
        if (match->denied)
            reading.number = (struct quantity){0};
        add_reading(out, reading);
        return true;
    case NUMBER_IMPOSSIBLE:
        note = number_limits(o, out->arena);
        add_unread(out, reading.span, UNREAD_IMPOSSIBLE, note);
        return note != NULL;
    default:
        add_unread(out, reading.span, UNREAD_UNKNOWN, NULL);
        return true;
    }
}

static bool lists(const size_t *indices, size_t count, size_t index)
{
    for (size_t i = 0; i < count; i++)
        if (indices[i] == index)
            return true;
    return false;
}

static bool of_several(const struct output *out, size_t observable)
{
    return out->job->reader->rules->observables[observable].kind == KIND_SEVERAL;
}

static void add_seen(struct output *out, const struct match *match, size_t which)
{
    const struct statement *s = &out->job->reader->rules->language.statements[match->item];
    struct reading reading = reading_of(out, match);
    reading.observable = s->seen.observables[which];
    reading.seen = s->seen.values[which];
    add_reading(out, reading);
}

/* "Looks good" denies nothing beside words that nothing understood: they may be what is wrong. */
static bool is_believed(const struct output *out, const struct statement *statement)
{
    return !(statement->overall && out->unknown);
}

static void add_statement(struct output *out, const struct match *match)
{
    const struct statement *s = &out->job->reader->rules->language.statements[match->item];
    for (size_t i = 0; i < s->seen.count; i++)
        if (of_several(out, s->seen.observables[i]))
            add_seen(out, match, i);
    for (size_t i = 0; i < s->absent.count && is_believed(out, s); i++) {
        struct reading reading = reading_of(out, match);
        reading.observable = s->absent.observables[i];
        reading.absent = s->absent.values[i];
        if (!lists(s->others, s->other_count, reading.observable))
            add_reading(out, reading);
    }
}

/*
 * "No other colour" is read last: it denies what nothing else in the text
 * speaks of, all of it or those the statement lists as absent. So is what a
 * statement says of a one-of: "looks good" means no odd patch, unless one is named.
 */
static void add_others(struct output *out, const struct match *match)
{
    const struct rules *rules = out->job->reader->rules;
    const struct statement *s = &rules->language.statements[match->item];
    if (!is_believed(out, s))
        return;
    for (size_t i = 0; i < s->seen.count; i++)
        if (!of_several(out, s->seen.observables[i]) && !out->named[s->seen.observables[i]])
            add_seen(out, match, i);
    for (size_t i = 0; i < s->other_count; i++) {
        struct reading reading = reading_of(out, match);
        reading.observable = s->others[i];
        reading.others = true;
        reading.absent = rules_all_values(&rules->observables[reading.observable]);
        for (size_t j = 0; j < s->absent.count; j++)
            if (s->absent.observables[j] == reading.observable)
                reading.absent = s->absent.values[j];
        reading.absent &= ~out->named[reading.observable];
        if (reading.absent)
            add_reading(out, reading);
    }
}

/*
 * A value, with its alternatives: "steam or pressure", or one phrase that
 * stands for several values. Returns the number of matches taken.
 */
static size_t add_value(struct output *out, const struct match *matches, size_t left)
{
    const struct match *first = matches;
    struct reading reading = reading_of(out, first);
    bool one = out->job->reader->rules->observables[first->observable].kind != KIND_SEVERAL;
    uint32_t bits = UINT32_C(1) << first->item;
    size_t taken = 1;
    bool go_on = first->or_next;
    for (; taken < left; taken++) {
        const struct match *next = &matches[taken];
        bool same_words = next->start == first->start && next->end == first->end;
        bool mine = next->role == ROLE_VALUE && next->observable == first->observable;
        if (next->role != ROLE_VALUE && next->role != ROLE_NUMBER && next->role != ROLE_STATEMENT)
            continue;
        if (!mine || !one || !(go_on || same_words) || next->denied != first->denied)
            break;
        bits |= UINT32_C(1) << next->item;
        go_on = next->or_next;
        reading.hedged = reading.hedged || next->hedged;
        reading.span.end = working_span(&out->job->working, next->start, next->end).end;
    }
    *(first->denied ? &reading.absent : &reading.seen) = bits;
    add_reading(out, reading);
    return taken;
}

static bool add_readings(struct output *out)
{
    const struct match_list *list = &out->job->matches;
    for (size_t i = 0; i < list->count;) {
        const struct match *match = &list->items[i];
        if (match->swallowed || match->aside || match->role > ROLE_STATEMENT) {
            i++;
        } else if (match->role == ROLE_VALUE) {
            i += add_value(out, match, list->count - i);
        } else {
            if (match->role == ROLE_STATEMENT)
                add_statement(out, match);
            else if (!add_number(out, match))
                return false;
            i++;
        }
    }
    for (size_t i = 0; i < list->count; i++)
        if (list->items[i].role == ROLE_STATEMENT)
            add_others(out, &list->items[i]);
    return true;
}

/* ---- what was not understood ------------------------------------------------------------- */

static void mark_unclear(struct job *job)
{
    size_t t = 0;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        if (!match->unclear)
            continue;
        while (t < job->token_count && job->tokens[t].start < match->start)
            t++;
        for (; t < job->token_count && job->tokens[t].start < match->end; t++)
            job->tokens[t].unclear = true;
    }
}

static bool cut_between(const struct working *w, uint32_t from, uint32_t to)
{
    return memchr(w->bytes + from, '\n', to - from) != NULL;
}

/* Whether an objection stands before it in its clause; "only 40 %" is none. */
static bool is_objected(const struct job *job, const struct token *token)
{
    const struct working *w = &job->working;
    for (; token > job->tokens && !cut_between(w, token[-1].end, token->start); token--)
        if ((token[-1].roles >> ROLE_OBJECTION & 1) &&
            !(w->bytes[token->start] >= '0' && w->bytes[token->start] <= '9'))
            return true;
    return false;
}

/* Unknown words side by side are one span; words that need no understanding may stand between. */
static void add_unknown(struct output *out)
{
    const struct job *job = out->job;
    const uint32_t filling =
        UINT32_C(1) << ROLE_IGNORE | UINT32_C(1) << ROLE_OR | UINT32_C(1) << ROLE_AND;
    const struct token *first = NULL;
    const struct token *last = NULL;
    bool unclear = false;
    for (size_t i = 0; i <= job->token_count; i++) {
        const struct token *token = i < job->token_count ? &job->tokens[i] : NULL;
        bool filler = token && (token->roles & filling);
        bool unknown = token && is_unknown(token);
        if (first && (!token || (!unknown && !filler) ||
                      cut_between(&job->working, token[-1].end, token->start))) {
            add_unread(out, working_span(&job->working, first->start, last->end), UNREAD_UNKNOWN,
                       unclear ? NOTE_UNCLEAR : NULL);
            out->unread[out->unread_count - 1].objected = is_objected(job, first);
            first = NULL;
            unclear = false;
        }
        if (unknown) {
            first = first ? first : token;
            last = token;
            unclear = unclear || token->unclear;
        }
    }
}

static bool add_limits(struct output *out)
{
    const struct job *job = out->job;
    for (const struct limit_hit *hit = job->limits; hit; hit = hit->next) {
        const struct pattern *pattern = hit->pattern;
        const char *of = pattern->role <= ROLE_NUMBER
                             ? job->reader->rules->observables[pattern->observable].label
                             : "the language list";
        /* Where the rules keep no place of a pattern its own text tells which it is. */
        const char *which = pattern->at.file ? arena_format(out->arena, "%s:%zu", pattern->at.file,
                                                            pattern->at.line)
                                             : arena_format(out->arena, "'%s'", pattern->source);
        const char *note =
            which ? arena_format(out->arena,
                                 "the text is too tangled for a phrase of %s (%s); say it in "
                                 "shorter sentences",
                                 of, which)
                  : NULL;
        if (!note)
            return false;
        add_unread(out, (struct span){0, job->length}, UNREAD_LIMIT, note);
    }
    return true;
}

static int by_span(const void *left, const void *right)
{
    const struct unread *a = left;
    const struct unread *b = right;
    if (a->span.start != b->span.start)
        return a->span.start < b->span.start ? -1 : 1;
    return (int)a->reason - (int)b->reason;
}

/* "No" to the question. */
static void add_bare_answer(struct output *out)
{
    const struct bare_answer *answer = &out->job->bare_answer;
    if (answer->note)
        add_unread(out, answer->span, UNREAD_UNKNOWN, answer->note);
    else if (answer->given)
        add_reading(out, (struct reading){.observable = (size_t)out->job->asked,
                                          .seen = answer->seen,
                                          .absent = answer->absent,
                                          .hedged = answer->hedged,
                                          .span = answer->span});
}

/* ---- all together ------------------------------------------------------------------------ */

static bool output_room(struct output *out)
{
    const struct job *job = out->job;
    const struct rules *rules = job->reader->rules;
    size_t readings = 1; /* a plain answer */
    size_t unread = job->token_count + 1;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        readings++;
        unread += match->role == ROLE_NUMBER;
        if (match->role == ROLE_STATEMENT) {
            const struct statement *s = &rules->language.statements[match->item];
            readings += s->seen.count + s->absent.count + s->other_count;
        }
    }
    for (const struct limit_hit *hit = job->limits; hit; hit = hit->next)
        unread++;
    out->readings = arena_array(out->arena, readings, sizeof *out->readings);
    out->unread = arena_array(out->arena, unread, sizeof *out->unread);
    out->before = arena_array(job->scratch, readings, sizeof *out->before);
    out->named = arena_array(job->scratch, rules->observable_count, sizeof *out->named);
    out->chains = arena_array(job->scratch, rules->observable_count, sizeof *out->chains);
    if (!out->readings || !out->unread || !out->before || !out->named || !out->chains)
        return false;
    memset(out->chains, 0xFF, rules->observable_count * sizeof *out->chains);
    return true;
}

enum status job_readings(struct job *job, struct reading_list *list)
{
    struct output out = {.job = job, .arena = job->list_arena, .unknown = any_unknown(job)};
    if (!output_room(&out))
        return STATUS_MEMORY;
    add_bare_answer(&out);
    if (!add_readings(&out) || !add_limits(&out))
        return STATUS_MEMORY;
    mark_unclear(job);
    add_unknown(&out);
    if (out.unread_count > 1)
        qsort(out.unread, out.unread_count, sizeof *out.unread, by_span);
    list->text = job->text;
    list->readings = out.readings;
    list->reading_count = out.reading_count;
    list->unread = out.unread;
    list->unread_count = out.unread_count;
    return STATUS_OK;
}
