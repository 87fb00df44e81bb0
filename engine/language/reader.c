/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "language/reader.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/text.h"
#include "language/phrases.h"

/* ---- quantities as observations ---------------------------------------------------------- */

/* Nobody who says "over two weeks" means a year. A bound is read as a stretch beside the number: a
 * third more or less of it, on a temperature scale, which has no natural zero, some degrees. */
static const double STRETCH = 0.3;
static const double STRETCH_DEGREES = 4.0;

/* Moves a quantity by "over" and "under"; the bins it touches. False when it lies outside what can
 * be. */
static bool number_bins(const struct observable *observable, bool over, bool under,
                        struct quantity *quantity, uint32_t *bins)
{
    if (!(quantity->lo >= observable->min && quantity->hi <= observable->max))
        return false;
    double width =
        observable->dimension == DIM_CELSIUS ? STRETCH_DEGREES : STRETCH * fabs(quantity->hi);
    if (over && !under) {
        quantity->hi = fmin(quantity->hi + width, observable->max);
    } else if (under && !over) {
        quantity->lo = fmax(quantity->lo - width, observable->min);
        /* the number itself is excluded */
        quantity->hi = fmax(nextafter(quantity->hi, -INFINITY), quantity->lo);
    }
    *bins = rules_bins(observable, quantity->lo, quantity->hi);
    return true;
}

/* "the age lies between 0 days and 730 days": what would be possible. */
static const char *number_limits(const struct observable *observable, struct arena *arena)
{
    TEXT(text);
    text_printf(&text, "%s lies between ", observable->label);
    quantity_show(&text, observable->min, observable->dimension);
    text_puts(&text, " and ");
    quantity_show(&text, observable->max, observable->dimension);
    return arena_copy(arena, text.bytes, text.length);
}

/* ---- which matches stand: a quantity goes to one phrase, and the longer wins -------------- */

static uint32_t accounted(const struct match *match)
{
    uint32_t length = match->end - match->start;
    for (unsigned i = 0; i < match->gap_count; i++)
        length -= match->gaps[i].end - match->gaps[i].start;
    return length;
}

/* Longest first; of one length, what was asked for first, then the order of the files. */
static int by_claim(const void *left, const void *right)
{
    const struct match *a = *(const struct match *const *)left;
    const struct match *b = *(const struct match *const *)right;
    int order = ORDER(accounted(b), accounted(a));
    order = order ? order : (int)b->asked - (int)a->asked;
    order = order ? order : ORDER(a->observable, b->observable);
    return order ? order : ORDER(a->start, b->start);
}

static void settle_numbers(struct job *job)
{
    struct match_list *list = &job->matches;
    struct match **claims = arena_array(job->scratch, list->count, sizeof *claims);
    unsigned char *taken = arena_array(job->scratch, job->working.length, 1);
    size_t count = 0;
    for (size_t i = 0; i < list->count; i++)
        if (list->items[i].role == ROLE_NUMBER)
            claims[count++] = &list->items[i];
    array_sort(claims, count, by_claim);
    for (size_t i = 0; i < count; i++) {
        struct match *match = claims[i];
        uint32_t length = match->q_end - match->q_start;
        if (memchr(taken + match->q_start, 1, length))
            match->dropped = true;
        else
            memset(taken + match->q_start, 1, length);
    }
}

static int by_place(const void *left, const void *right)
{
    const struct match *a = left;
    const struct match *b = right;
    int order = ORDER(a->start, b->start);
    order = order ? order : ORDER(b->end, a->end);
    order = order ? order : (int)a->role - (int)b->role;
    order = order ? order : ORDER(a->observable, b->observable);
    order = order ? order : ORDER(a->item, b->item);
    return order ? order : (int)a->gap_count - (int)b->gap_count;
}

/* What a match accounts for: it has so many pieces and one more, with the gaps between. */
static uint32_t piece_start(const struct match *match, unsigned i)
{
    return i ? match->gaps[i - 1].end : match->start;
}

static uint32_t piece_end(const struct match *match, unsigned i)
{
    return i < match->gap_count ? match->gaps[i].start : match->end;
}

static void drop_contained(struct job *job)
{
    const struct match_list *list = &job->matches;
    /* Of the pieces that begin at each byte, where the longest ends. */
    uint32_t *ends = arena_array(job->scratch, job->working.length + 1, sizeof *ends);
    uint32_t before = 0; /* farthest end of the pieces that start earlier */
    uint32_t at = 0;
    for (size_t i = 0; i < list->count; i++)
        for (unsigned g = 0; g <= list->items[i].gap_count; g++) {
            uint32_t *end = &ends[piece_start(&list->items[i], g)];
            *end = piece_end(&list->items[i], g) > *end ? piece_end(&list->items[i], g) : *end;
        }
    for (size_t i = 0; i < list->count; i++) {
        struct match *match = &list->items[i];
        for (; at < match->start; at++)
            before = ends[at] > before ? ends[at] : before;
        match->dropped =
            match->role != ROLE_QUESTION && /* that takes nothing from what it is part of */
            (before >= match->end || ends[at] > match->end);
    }
}

static void compact(struct match_list *list)
{
    size_t kept = 0;
    for (size_t i = 0; i < list->count; i++)
        if (!list->items[i].dropped)
            list->items[kept++] = list->items[i];
    list->count = kept;
}

/* Of the same words, what they say of a sign goes before the part they play in the sentence: a
 * value may be called "none". And a phrase goes before a word: "no" in "no, it is green" denies
 * nothing. An answer speaks of what was asked, except for what is salient, and "is it dead?" says
 * nothing. */
static void settle_places(const struct rules *rules, struct match_list *list)
{
    if (list->count == 0)
        return;
    struct match *end = list->items + list->count;
    for (struct match *first = list->items, *behind; first < end; first = behind) {
        bool content = false, phrase = false, question = false, named = false;
        for (behind = first;
             behind < end && behind->start == first->start && behind->end == first->end; behind++) {
            content = content || behind->role <= ROLE_STATEMENT;
            phrase = phrase || !behind->word;
            question = question || behind->role == ROLE_QUESTION;
            named = named || behind->named;
        }
        for (struct match *m = first; m < behind && behind - first > 1; m++) {
            bool again = m > first && !m[-1].dropped && m[-1].role == m->role &&
                         m[-1].observable == m->observable && m[-1].item == m->item;
            bool salient =
                m->role == ROLE_VALUE && rules->observables[m->observable].values[m->item].salient;
            m->dropped =
                again || (question ? m->role != ROLE_QUESTION
                                   : (content && m->role > ROLE_STATEMENT) || (phrase && m->word) ||
                                         (named && !m->asked && !salient));
        }
    }
    compact(list);
}

/* "Filter is not wet" denies "filter wet"; "filter is fine but grains wet" was no match at all, nor
 * is "see spots" in "see no spots", of which a statement takes the end. */
static void settle_gaps(struct match_list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        struct match *match = &list->items[i], *end = list->items + list->count;
        for (unsigned gap = 0; gap < match->gap_count; gap++)
            for (struct match *inside = match; inside < end && inside->start < match->gaps[gap].end;
                 inside++) {
                if (inside->start < match->gaps[gap].start)
                    continue;
                match->dropped =
                    match->dropped || inside->role == ROLE_BREAK ||
                    (inside->role == ROLE_STATEMENT && inside->end > match->gaps[gap].end);
                if (inside->role == ROLE_NEGATION) {
                    match->denied = !match->denied;
                    inside->used = true;
                    inside->until = match->end;
                }
            }
    }
    compact(list);
}

/* "My grain, is it ok to shake": what runs into a question is no match at all. */
static void settle_questions(struct job *job)
{
    struct match_list *list = &job->matches;
    uint32_t *begins = NULL; /* of the question that has the byte: its start and one */
    for (size_t i = 0; i < list->count; i++) {
        const struct match *match = &list->items[i];
        if (match->role != ROLE_QUESTION)
            continue;
        if (begins == NULL)
            begins = arena_array(job->scratch, job->working.length, sizeof *begins);
        for (uint32_t at = match->start; at < match->end; at++)
            begins[at] = match->start + 1;
    }
    for (size_t i = 0; begins != NULL && i < list->count; i++) {
        struct match *match = &list->items[i];
        match->dropped = match->role <= ROLE_STATEMENT && match->end > match->start &&
                         begins[match->end - 1] > match->start + 1;
    }
    compact(list);
}

/* ---- tokens ------------------------------------------------------------------------------ */

/* Marks the tokens that matches account for, all of the word. Without `all`, a negation that denied
 * nothing accounts for nothing, nor a subject of nothing. */
static void cover(struct job *job, bool all)
{
    char *covered = arena_array(job->scratch, job->working.length, 1);
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        bool idle = match->aside ||
                    ((match->role == ROLE_NEGATION || match->role == ROLE_OTHERS) && !match->used);
        for (unsigned g = 0; g <= match->gap_count && (all || !idle); g++)
            memset(covered + piece_start(match, g), 1, piece_end(match, g) - piece_start(match, g));
    }
    for (size_t i = 0; i < job->token_count; i++) {
        struct token *token = &job->tokens[i];
        token->covered = !memchr(covered + token->start, 0, token->end - token->start);
    }
}

/* What praise of the whole may stand beside: figures, and what nearly every vessel shows. */
static bool says_little(const struct job *job, const struct match *match)
{
    static const double usual = 0.5;
    return match->role == ROLE_NUMBER || match->role == ROLE_IGNORE ||
           (match->role == ROLE_VALUE &&
            (job->reader->rules->observables[match->observable].kind == KIND_NUMBER ||
             job->reader->rules->observables[match->observable].values[match->item].base >= usual));
}

/* Whether a match is all that was said but for what says little: "all fine, day 5, 20 % white". */
static bool is_alone(const struct job *job, const struct match *match)
{
    const struct match *items = job->matches.items;
    bool alone = job->asked == RULES_NONE;
    for (size_t t = 0; t < job->token_count && alone; t++) {
        const struct token *token = &job->tokens[t];
        alone = token->filler || (match->start <= token->start && match->end >= token->end);
        for (size_t i = 0; i < job->matches.count && !alone; i++)
            alone = says_little(job, &items[i]) && items[i].start <= token->start &&
                    items[i].end >= token->end;
    }
    return alone;
}

/* An answer that begins with a plain word for none. Where that is all of its clause it answers the
 * question and says nothing else: "clean", "nowt". What follows is about something else, "none, it
 * is all one growth", unless it says how: "none, it just fades", "none, but cloudy". */
static void settle_none(struct job *job)
{
    const struct working *w = &job->working;
    const char *clause = memchr(w->bytes, '\n', w->length);
    const size_t end = clause != NULL ? (size_t)(clause - w->bytes) : w->length;
    if (job->token_count == 0 || !(job->tokens[0].roles >> ROLE_NO & 1))
        return;
    const bool whole = job->tokens[0].end == end;
    const bool alone = (job->tokens[0].roles >> ROLE_NONE & 1) &&
                       job->reader->rules->observables[job->asked].kind == KIND_ONE;
    bool how = false;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        size_t before = 0; /* the token after the one before it */
        while (before < job->token_count && job->tokens[before].start < match->start)
            before++;
        how = how ||
              (match->asked && before > 0 && (job->tokens[before - 1].roles >> ROLE_BREAK & 1));
    }
    for (size_t i = 0; i < job->matches.count; i++) {
        struct match *match = &job->matches.items[i];
        if (match->role > ROLE_STATEMENT)
            continue;
        if (match->start < end && whole && !match->asked)
            match->dropped = true;
        if (alone && match->asked &&
            (how ? match->end <= job->tokens[0].end : whole && match->start > end))
            match->dropped = true;
    }
    compact(&job->matches);
}

/* Keeps the matches that stand, in order of start. */
static void resolve(struct job *job)
{
    struct match_list *list = &job->matches;
    const struct working *w = &job->working;
    const size_t name_end =
        w->cut_count > 1 ? w->cuts[1].at : w->length; /* "Pleurotus, the grey" */
    if (job->asked != RULES_NONE)
        settle_none(job);
    /* A judgement of the whole, in passing, says something only where nothing else is said. */
    for (size_t i = 0; i < list->count; i++) {
        struct match *match = &list->items[i];
        match->dropped = match->role == ROLE_STATEMENT &&
                         job->reader->rules->language.statements[match->item].alone &&
                         !is_alone(job, match);
        /* An answer is about this vessel, not about what is worked out or told of a whole batch;
         * and a colour is part of a mushroom's name. */
        if (job->asked != RULES_NONE && match->role <= ROLE_NUMBER && !match->asked)
            match->dropped =
                job->reader->rules->observables[match->observable].gate == GATE_NEVER_ASKED ||
                (job->asked == job->reader->rules->feeder[FEEDS_SPECIES] &&
                 match->observable != (uint32_t)job->asked && match->end <= name_end);
    }
    compact(list);
    settle_numbers(job);
    compact(list);
    array_sort(list->items, list->count, by_place);
    drop_contained(job);
    compact(list);
    settle_places(job->reader->rules, list);
    settle_gaps(list);
    settle_questions(job);
    cover(job, true);
}

/* ---- readings, and what was not understood ----------------------------------------------- */

static const char NOTE_UNCLEAR[] = "it is not plain what is denied here; say what you do see";

struct output {
    struct job *job;
    struct reading_list *list;
    bool unknown; /* some word was not understood */
    struct arena *arena;
    struct hashed said; /* readings without a number */
    uint32_t *named;    /* per observable: values any reading speaks of */
};

static bool is_unknown(const struct token *token)
{
    return !token->covered && !(token->roles >> ROLE_IGNORE & 1);
}

/* What was already said in the same way is not said again. */
static void add_reading(struct output *out, struct reading reading)
{
    const uint32_t key[] = {(uint32_t)reading.observable, reading.seen, reading.absent,
                            (uint32_t)reading.hedged * 2 + reading.others};
    const size_t before = out->said.count;
    out->named[reading.observable] |= reading.seen | reading.absent;
    if (reading.has_number ||
        hashed_add(&out->said, out->job->scratch, hash_of(key, sizeof key)) == before)
        *arena_push(out->arena, out->list->readings, out->list->reading_count) = reading;
}

static struct unread *add_unread(struct output *out, struct span span, enum unread_reason reason,
                                 const char *note)
{
    struct unread *added = arena_push(out->arena, out->list->unread, out->list->unread_count);
    *added = (struct unread){.span = span, .reason = reason, .note = note};
    return added;
}

static struct reading reading_of(const struct output *out, const struct match *match)
{
    return (struct reading){.observable = match->observable,
                            .hedged = match->hedged,
                            .span = working_span(&out->job->working, match->start, match->end)};
}

static void add_number(struct output *out, const struct match *match)
{
    const struct observable *o = &out->job->reader->rules->observables[match->observable];
    const char *folded = out->job->working.bytes + match->q_start;
    const size_t length = match->q_end - match->q_start;
    struct reading reading = reading_of(out, match);
    size_t used = 0;
    uint32_t bins = 0;
    if (quantity_read(folded, length, o->dimension, &reading.number, &used) != QUANTITY_OK ||
        used != length) {
        add_unread(out, reading.span, UNREAD_UNKNOWN, NULL);
    } else if (!number_bins(o, match->over, match->under, &reading.number, &bins)) {
        add_unread(out, reading.span, UNREAD_IMPOSSIBLE, number_limits(o, out->arena));
    } else {
        reading.has_number = !match->denied;
        *(match->denied ? &reading.absent : &reading.seen) = bins;
        if (match->denied)
            reading.number = (struct quantity){0};
        add_reading(out, reading);
    }
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

static void add_statement(struct output *out, const struct match *match)
{
    const struct statement *s = &out->job->reader->rules->language.statements[match->item];
    for (size_t i = 0; i < s->seen.count; i++)
        if (of_several(out, s->seen.observables[i]))
            add_seen(out, match, i);
    /* "Looks good" denies nothing beside words not understood: they may be what is wrong. */
    for (size_t i = 0; i < s->absent.count && !(s->overall && out->unknown); i++) {
        struct reading reading = reading_of(out, match);
        reading.observable = s->absent.observables[i];
        reading.absent = s->absent.values[i];
        bool other = false;
        for (size_t k = 0; k < s->other_count; k++)
            other = other || s->others[k] == reading.observable;
        if (!other)
            add_reading(out, reading);
    }
}

/* "No other colour" is read last: it denies what nothing else in the text speaks of, all of it or
 * those the statement lists as absent. So is what a statement says of a one-of: "looks good" means
 * no odd patch, unless one is named. */
static void add_others(struct output *out, const struct match *match)
{
    const struct rules *rules = out->job->reader->rules;
    const struct statement *s = &rules->language.statements[match->item];
    if (s->overall && out->unknown)
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

/* A value, with its alternatives: "steam or pressure", or one phrase that stands for several
 * values. Returns the number of matches taken. */
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

static void add_readings(struct output *out)
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
            else
                add_number(out, match);
            i++;
        }
    }
    for (size_t i = 0; i < list->count; i++)
        if (list->items[i].role == ROLE_STATEMENT && !list->items[i].swallowed)
            add_others(out, &list->items[i]);
}

/* ---- what was not understood ------------------------------------------------------------- */

static bool cut_between(const struct working *w, uint32_t from, uint32_t to)
{
    return memchr(w->bytes + from, '\n', to - from) != NULL;
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
            struct unread *unread =
                add_unread(out, working_span(&job->working, first->start, last->end),
                           UNREAD_UNKNOWN, unclear ? NOTE_UNCLEAR : NULL);
            /* Whether an objection stands before it in its clause; "only 40 %" is none. */
            const struct token *t = first;
            for (; t > job->tokens && !cut_between(&job->working, t[-1].end, t->start); t--) {
                char c = job->working.bytes[t->start];
                if ((t[-1].roles >> ROLE_OBJECTION & 1) && !(c >= '0' && c <= '9'))
                    unread->objected = true;
            }
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

static void add_limits(struct output *out)
{
    const struct job *job = out->job;
    for (const struct limit_hit *hit = job->limits; hit; hit = hit->next) {
        const struct phrase *pattern = hit->phrase;
        const char *of = pattern->role <= ROLE_NUMBER
                             ? job->reader->rules->observables[pattern->observable].label
                             : "the language list";
        /* Where the rules keep no place of a pattern its own text tells which it is. */
        const char *which = pattern->at.file ? arena_format(out->arena, "%s:%zu", pattern->at.file,
                                                            pattern->at.line)
                                             : arena_format(out->arena, "'%s'", pattern->source);
        add_unread(out, (struct span){0, job->length}, UNREAD_LIMIT,
                   arena_format(out->arena,
                                "the text is too tangled for a phrase of %s (%s); say it in "
                                "shorter sentences",
                                of, which));
    }
}

static int by_span(const void *left, const void *right)
{
    const struct unread *a = left;
    const struct unread *b = right;
    int order = ORDER(a->span.start, b->span.start);
    return order ? order : (int)a->reason - (int)b->reason;
}

/* ---- all together ------------------------------------------------------------------------ */

/* Fills the list from what stands. */
static void readings(struct job *job, struct reading_list *list)
{
    struct output out = {.job = job, .list = list, .arena = job->list_arena};
    const size_t observables = job->reader->rules->observable_count;
    out.named = arena_array(job->scratch, observables, sizeof *out.named);
    for (size_t i = 0; i < job->token_count; i++)
        out.unknown = out.unknown || is_unknown(&job->tokens[i]);
    const struct bare_answer *answer = &job->bare_answer;
    if (answer->note)
        add_unread(&out, answer->span, UNREAD_UNKNOWN, answer->note);
    else if (answer->given) /* "no" to the question */
        add_reading(&out, (struct reading){.observable = (size_t)job->asked,
                                           .seen = answer->seen,
                                           .absent = answer->absent,
                                           .hedged = answer->hedged,
                                           .span = answer->span});
    add_readings(&out);
    add_limits(&out);
    for (size_t i = 0, at = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        while (match->unclear && at < job->token_count && job->tokens[at].start < match->start)
            at++;
        for (; match->unclear && at < job->token_count && job->tokens[at].start < match->end; at++)
            job->tokens[at].unclear = true;
    }
    add_unknown(&out);
    array_sort(list->unread, list->unread_count, by_span);
    uint32_t asked_until = 0;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        list->corrects = list->corrects || match->role == ROLE_CORRECTION;
        if (match->role != ROLE_QUESTION || match->end <= asked_until)
            continue; /* what is part of another asks no more than that */
        uint32_t end = clause_end(job->working.bytes, match->end); /* "is this contam" */
        asked_until = match->end;
        list->question = (int)match->item;
        list->question_span = working_span(&job->working, match->start, end);
    }
}

/* ---- what only an answer may say: names of values, a quantity by itself, yes and no ------ */

/* Where the answer has a name of a value. '^' before it and '$' after it are ends of a clause. */
static void find_name(struct job *job, uint32_t value, const char *name, bool alone)
{
    struct working wanted;
    size_t length = strlen(name);
    const bool first = name[0] == '^', last = length > 0 && name[length - 1] == '$';
    if (working_build(&wanted, name + first, length - first - last, job->scratch, NULL) !=
            STATUS_OK ||
        !wanted.length)
        return;
    const struct working *w = &job->working;
    for (size_t at = 0; at + wanted.length <= w->length; at++) {
        if (memcmp(w->bytes + at, wanted.bytes, wanted.length) != 0)
            continue;
        size_t end = at + wanted.length;
        if ((at && is_word((unsigned char)w->bytes[at - 1])) ||
            (end < w->length && is_word((unsigned char)w->bytes[end])) ||
            (first && at && w->bytes[at - 1] != '\n') ||
            (last && end < w->length && w->bytes[end] != '\n'))
            continue;
        *match_add(&job->matches) = (struct match){.start = (uint32_t)at,
                                                   .end = (uint32_t)end,
                                                   .role = ROLE_VALUE,
                                                   .observable = (uint32_t)job->asked,
                                                   .item = value,
                                                   .asked = true,
                                                   .named = alone};
        at = end;
    }
}

/* ---- not knowing ------------------------------------------------------------------------- */

/* Behind a phrase of the rules at the front of a folded text, or NULL. Apostrophes do not matter;
 * '$' is the end of the text or of its clause. */
static const char *behind(const char *at, const char *phrase)
{
    while (*phrase != '\0' && *at != '\0') {
        if (*at == '\'' || *phrase == '\'') {
            at += *at == '\'';
            phrase += *phrase == '\'';
        } else if (*at == *phrase) {
            at++;
            phrase++;
        } else {
            break;
        }
    }
    const bool ends = strcmp(phrase, " $") == 0 || strcmp(phrase, "$") == 0;
    if (ends)
        return *at == '\0' || strchr(",.;!", *at) != NULL ? at : NULL;
    return *phrase == '\0' && !isalnum((unsigned char)*at) && *at != '\'' ? at : NULL;
}

bool reader_does_not_know(const struct rules *rules, const char *line, const char **rest)
{
    static const char *const leads[] = {"i",  "im",  "i am", "ive", "i have",   "sorry",
                                        "um", "hmm", "well", "oh",  "honestly", "really"};
    /* What follows without a comma, and is more than of what. */
    static const char goes_on[] = "like|maybe|mebbe|probably|prob|perhaps|but|kinda|just|looks|"
                                  "mostly|mainly|say|id|i'd|i";
    const char *said_of = NULL; /* what follows the words for not knowing */
    TEXT(said);
    text_fold(&said, line, strlen(line), NULL);
    const char *at = said.bytes, *next;
    for (size_t i = 0; i < sizeof leads / sizeof *leads; i++)
        if ((next = behind(at, leads[i])) != NULL && *next != '\0') {
            at = next + strspn(next, ", ");
            i = (size_t)-1; /* from the first again: "sorry, i am unsure" */
        }
    for (size_t i = 0; i < rules->language.unknown.count; i++) {
        next = behind(at, rules->language.unknown.list[i]);
        said_of = next != NULL && (said_of == NULL || next > said_of) ? next : said_of;
    }
    *rest = line + strcspn(line, ",.;");
    *rest += strspn(*rest, ",.; ");
    if (said_of == NULL || said.length != strlen(line))
        return said_of != NULL;
    said_of += strspn(said_of, " ");
    const size_t length = strcspn(said_of, " ");
    const bool either = csv_named("if|whether", said_of, length) >= 0 &&
                        strstr(said_of, " or ") != NULL && strstr(said_of, " or not") == NULL;
    if (either || csv_named(goes_on, said_of, length) >= 0)
        *rest = line + (said_of - said.bytes);
    return true;
}

/* ---- a place in the list of values ------------------------------------------------------- */

bool reader_counts(const struct observable *asked)
{
    for (size_t v = 0; v < asked->value_count; v++)
        for (size_t k = 0; k < asked->values[v].answers.count; k++) {
            const char *answer = asked->values[v].answers.list[k];
            if (answer[strspn(answer, "0123456789")] == '\0')
                return true;
        }
    return false;
}

uint32_t reader_chosen(const struct observable *asked, const char *text, bool *guessed)
{
    static const char about[] =
        "option|options|number|answer|no|nr|the|one|and|or|i|i'd|id|say|its|it's|that|is";
    static const char guess[] = "think|guess|maybe|probably|perhaps|suppose|?";
    static const char ordinals[] = "first|second|third|fourth|fifth|sixth|seventh|eighth";
    static const char between[] = " \t\r\n,;.:()#&+";
    uint32_t chosen = 0;
    bool denied = false;
    *guessed = false;
    if (asked->kind == KIND_NUMBER || reader_counts(asked))
        return 0;
    for (size_t length; *(text += strspn(text, between)) != '\0'; text += length) {
        length = *text == '?' ? 1 : strcspn(text, " \t\r\n,;.:()#&+?");
        char *end;
        unsigned long number = isdigit((unsigned char)*text) ? strtoul(text, &end, 10) : 0;
        if (number > 0 && end != text + length)
            return 0;
        if (number == 0 && !denied)
            number = (unsigned long)csv_named(ordinals, text, length) + 1; /* 0: none of them */
        denied = length == 2 && strncmp(text, "no", length) == 0;          /* "no second" is none */
        if (number > asked->value_count)
            return 0;
        if (number > 0)
            chosen |= UINT32_C(1) << (number - 1);
        else if (csv_named(guess, text, length) >= 0)
            *guessed = true;
        else if (csv_named(about, text, length) < 0)
            return 0;
    }
    return chosen;
}

/* What the answer chooses by place, clause by clause: "4 and white". */
static void find_places(struct job *job)
{
    static const char and[] = " and ";
    const struct observable *o = &job->reader->rules->observables[job->asked];
    const char *bytes = job->working.bytes;
    for (size_t at = 0, end, next; at < job->working.length; at = next) {
        for (end = at; end < job->working.length && bytes[end] != '\n' &&
                       strncmp(bytes + end, and, strlen(and)) != 0;)
            end++;
        next = end + (end < job->working.length && bytes[end] == ' ' ? strlen(and) : 1);
        bool guessed = false;
        uint32_t chosen =
            reader_chosen(o, arena_copy(job->scratch, bytes + at, end - at), &guessed);
        for (uint32_t v = 0; v < o->value_count; v++)
            if (chosen >> v & 1)
                *match_add(&job->matches) = (struct match){.start = (uint32_t)at,
                                                           .end = (uint32_t)end,
                                                           .role = ROLE_VALUE,
                                                           .observable = (uint32_t)job->asked,
                                                           .item = v,
                                                           .hedged = guessed,
                                                           .asked = true,
                                                           .named = true};
    }
}

/* "At 30%" or "4 days" to a question that takes no number: it is about the question, and not a statement about
 * whatever sign happens to be measured in per cent or days. "60 F" and "4 days old" say what they are. */
static void drop_stray_number(struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    const struct working *w = &job->working;
    uint32_t end = w->cut_count ? w->cuts[0].at : (uint32_t)w->length;
    struct match_list *list = &job->matches;
    size_t content = 0;
    while (content < list->count && list->items[content].role > ROLE_STATEMENT)
        content++;
    if (o->kind == KIND_NUMBER || content == list->count ||
        list->items[content].role != ROLE_NUMBER || list->items[content].start >= end)
        return;
    const struct match *number = &list->items[content];
    const enum dimension dimension = job->reader->rules->observables[number->observable].dimension;
    if ((dimension != DIM_NONE && dimension != DIM_PERCENT && dimension != DIM_DAYS &&
         dimension != DIM_MINUTES) ||
        number->end > number->q_end)
        return;
    for (size_t i = 0; i < job->token_count && job->tokens[i].start < end; i++) {
        const struct token *token = &job->tokens[i];
        bool inside = token->start >= number->q_start && token->end <= number->q_end;
        if (!inside && !(token->roles >> ROLE_IGNORE & 1))
            return;
    }
    for (size_t i = content + 1; i < list->count; i++)
        list->items[i - 1] = list->items[i];
    list->count--;
    cover(job, true);
}

/* ---- yes and no -------------------------------------------------------------------------- */

enum {
    SAYS_NO = 1 << ROLE_NO | 1 << ROLE_NEGATION,
    SAYS_YES = 1 << ROLE_YES,
    SAYS_WHEN = 1 << ROLE_EXCEPTION, /* "was white before" names no value called before */
    SAYS_BARELY = 1 << ROLE_YES | 1 << ROLE_NEGATION, /* no name, though it may stand for one */
};

static uint32_t first_word_roles(struct reader *reader, const char *name)
{
    char word[32];
    size_t length = 0;
    while (length < sizeof word && name[length] && name[length] != ' ' && name[length] != '_') {
        char c = name[length];
        word[length++] = c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
    }
    return word_roles(reader, word, length);
}

/* The values that the plain word answers, as bits; else the one whose name begins with it. */
static uint32_t value_like(const struct job *job, uint32_t wanted)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    uint32_t found = 0, plainly = 0;
    for (size_t i = 0; i < o->value_count; i++) {
        if ((first_word_roles(job->reader, o->values[i].label) |
             first_word_roles(job->reader, o->values[i].id)) &
            wanted)
            found |= UINT32_C(1) << i;
        for (size_t k = 0; k < o->values[i].answers.count; k++) {
            const char *answer = o->values[i].answers.list[k];
            if (strchr(answer, ' ') == NULL &&
                (first_word_roles(job->reader, answer) & wanted & SAYS_BARELY))
                plainly |= UINT32_C(1) << i;
        }
    }
    if (plainly != 0)
        return plainly;
    return found & (found - 1) ? 0 : found;
}

/* What the first clause says by itself: 1 yes, -1 no, 0 neither, when it holds nothing but that and
 * words that do not matter. "Not normal" is neither. */
static int bare_answer(const struct job *job, uint32_t end, bool *hedged)
{
    bool yes = false;
    bool no = false;     /* "none", "fine" */
    bool denied = false; /* "didn't" (notice any) */
    for (size_t i = 0; i < job->token_count && job->tokens[i].start < end; i++)
        if (!job->tokens[i].covered && !(job->tokens[i].roles & UINT32_C(1) << ROLE_IGNORE))
            return 0;
    for (size_t i = 0; i < job->matches.count && job->matches.items[i].start < end; i++) {
        const struct match *match = &job->matches.items[i];
        if (match->role <= ROLE_STATEMENT)
            return 0;
        *hedged = *hedged || match->role == ROLE_HEDGE;
        yes = yes || match->role == ROLE_YES;
        no = no || match->role == ROLE_NO || match->answers;
        denied = denied || (match->role == ROLE_NEGATION && !match->answers);
    }
    if (no && denied)
        return 0;
    return no || denied ? -1 : yes ? 1 : 0;
}

static bool speaks_of_asked(const struct job *job, const struct match *match)
{
    const size_t asked = (size_t)job->asked;
    if (match->role <= ROLE_NUMBER)
        return match->observable == asked;
    if (match->role != ROLE_STATEMENT)
        return false;
    const struct statement *s = &job->reader->rules->language.statements[match->item];
    bool speaks = false;
    for (size_t i = 0; i < s->seen.count; i++)
        speaks = speaks || s->seen.observables[i] == asked;
    for (size_t i = 0; i < s->absent.count; i++)
        speaks = speaks || s->absent.observables[i] == asked;
    return speaks;
}

/* Whether something is denied in the first clause: "definitely not". */
static bool denies_within(const struct job *job, uint32_t end)
{
    for (size_t k = 0; k < job->token_count && job->tokens[k].start < end; k++)
        if (job->tokens[k].roles >> ROLE_NEGATION & 1)
            return true;
    return false;
}

static void yes_no(struct job *job)
{
    const struct working *w = &job->working;
    struct bare_answer *answer = &job->bare_answer;
    uint32_t end = w->cut_count ? w->cuts[0].at : (uint32_t)w->length;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        answer->needless = answer->needless || speaks_of_asked(job, match);
        if (match->start == 0 && match->role >= ROLE_YES && match->role <= ROLE_NO &&
            (!match->word || (match->role == ROLE_YES && !denies_within(job, end))))
            end = match->end; /* "nope bone dry", "no it is dry", "yes every day" */
    }
    cover(job, true);
    int said = bare_answer(job, end, &answer->hedged);
    for (size_t i = 0; said && i < job->matches.count && job->matches.items[i].start < end; i++)
        job->matches.items[i].used = true;
    cover(job, false);
    /* "Fine" is no place: where something is, only a denial says. */
    const struct language *l = &job->reader->rules->language;
    for (size_t i = 0; i < l->where_count && said < 0; i++) {
        if (l->where[i] == (size_t)job->asked && !denies_within(job, end))
            said = 0;
    }
    if (!said || answer->needless)
        return;
    const struct observable *o = &job->reader->rules->observables[job->asked];
    uint32_t all = rules_all_values(o);
    uint32_t like_no = value_like(job, SAYS_NO), like_yes = value_like(job, SAYS_YES);
    if (o->kind == KIND_SEVERAL && said < 0)
        answer->absent = all;
    else if (o->kind == KIND_SEVERAL)
        answer->seen = o->value_count == 1 ? all : 0;
    else if (said < 0)
        answer->seen = like_no;
    else if (like_yes)
        answer->seen = like_yes;
    else if (o->value_count == 2 && like_no)
        answer->seen = all & ~like_no;
    answer->span = working_span(&job->working, 0, end);
    answer->given = true;
    if (answer->seen || answer->absent)
        return;
    TEXT(text);
    for (size_t i = 0; i < o->value_count; i++)
        text_printf(&text, "%s%s", i ? "; " : "name one of these: ", o->values[i].label);
    answer->note = o->kind == KIND_NUMBER ? "say a number"
                                          : arena_copy(job->list_arena, text.bytes, text.length);
}

/* ---- settings: sign=value, as on the command line and in case files ---------------------- */

static char *trimmed(struct arena *arena, const char *text, size_t length)
{
    while (length && (text[0] == ' ' || text[0] == '\t')) {
        text++;
        length--;
    }
    while (length && (text[length - 1] == ' ' || text[length - 1] == '\t'))
        length--;
    return arena_copy(arena, text, length);
}

static enum status set_values(const struct observable *o, const char *value, struct position at,
                              struct arena *scratch, struct reading *reading, struct diags *diags)
{
    for (const char *from = value;; from++) {
        size_t length = strcspn(from, ",");
        const char *id = trimmed(scratch, from, length);
        bool denied = *id == '-';
        id += denied;
        int index = rules_value(o, id);
        if (index == RULES_NONE) {
            const char *names[RULES_MAX_VALUES], *all = "";
            for (size_t i = 0; i < o->value_count; i++)
                arena_append(scratch, &all, ", ", "%s", names[i] = o->values[i].id);
            all = arena_format(scratch, "; it takes %s%s",
                               o->kind == KIND_NUMBER ? "a quantity or one of: " : "", all);
            return diags_fail(diags, STATUS_USAGE, at, "'%s' has no value '%s'%s", o->id, id,
                              diag_suggest(scratch, id, names, o->value_count, all));
        }
        uint32_t bit = UINT32_C(1) << index;
        if ((denied ? reading->seen : reading->absent) & bit)
            return diags_fail(diags, STATUS_USAGE, at,
                              "'%s' is both set and denied for '%s'; keep one", id, o->id);
        *(denied ? &reading->absent : &reading->seen) |= bit;
        from += length;
        if (!*from)
            return STATUS_OK;
    }
}

/* STATUS_DATA: the value is no quantity at all, so it may be the name of a bin. */
static enum status set_quantity(const struct observable *o, const char *value, struct position at,
                                struct arena *scratch, struct reading *reading, struct diags *diags)
{
    bool whole;
    const enum quantity_error fault = quantity_of(value, o->dimension, &reading->number, &whole);
    if (whole && number_bins(o, false, false, &reading->number, &reading->seen)) {
        reading->has_number = true;
        return STATUS_OK;
    }
    reading->number = (struct quantity){0};
    if (whole)
        return diags_fail(diags, STATUS_USAGE, at, "'%s' cannot be '%s'; %s", o->id, value,
                          number_limits(o, scratch));
    if ((fault != QUANTITY_WRONG_UNIT && fault != QUANTITY_UNKNOWN_UNIT) ||
        rules_value(o, value) != RULES_NONE)
        return STATUS_DATA;
    return diags_fail(diags, STATUS_USAGE, at, "'%s' takes no such unit as in '%s'; give it in %s",
                      o->id, value, dimension_names[o->dimension]);
}

static void blank(char *words, const struct span *spans, size_t count)
{
    for (size_t i = 0; i < count; i++)
        memset(words + spans[i].start, '.', spans[i].end - spans[i].start);
}

char *reader_own_words(const struct reading_list *list, size_t length, bool questions,
                       struct arena *arena)
{
    char *words = arena_copy(arena, list->text, length);
    blank(words, list->elsewhere, list->elsewhere_count);
    if (!questions)
        blank(words, list->questions, list->question_count);
    return words;
}

enum status reader_set(struct reader *reader, const char *sign, const char *value,
                       struct position at, struct reading *reading, struct diags *diags)
{
    const struct rules *rules = reader->rules;
    struct arena *scratch = reader->scratch;
    arena_reset(scratch);
    *reading = (struct reading){.span = {0, strlen(value)}};
    int index = rules_observable(rules, sign);
    if (index == RULES_NONE) {
        const char **names = arena_array(scratch, rules->observable_count, sizeof *names);
        for (size_t i = 0; i < rules->observable_count; i++)
            names[i] = rules->observables[i].id;
        return diags_fail(diags, STATUS_USAGE, at, "no sign is called '%s'%s", sign,
                          diag_suggest(scratch, sign, names, rules->observable_count,
                                       "; 'rules check' names the rules in use"));
    }
    const struct observable *o = &rules->observables[index];
    reading->observable = (size_t)index;
    char *word = trimmed(scratch, value, strlen(value));
    size_t length = strlen(word);
    if (length && word[length - 1] == '?') {
        reading->hedged = true;
        word[length - 1] = '\0';
    }
    if (!*word)
        return diags_fail(diags, STATUS_USAGE, at, "'%s' is set to nothing; name a value", o->id);
    if (o->kind == KIND_NUMBER) {
        enum status status = set_quantity(o, word, at, scratch, reading, diags);
        if (status != STATUS_DATA)
            return status;
    }
    return set_values(o, word, at, scratch, reading, diags);
}

/* ---- the whole --------------------------------------------------------------------------- */

struct reader *reader_new(const struct rules *rules, struct diags *diags)
{
    struct reader *reader = calloc(1, sizeof *reader);
    reader->rules = rules;
    reader->memory = arena_new();
    reader->scratch = arena_new();
    if (!phrases_build(reader, diags)) {
        reader_free(reader);
        return NULL;
    }
    return reader;
}

void reader_free(struct reader *reader)
{
    if (!reader)
        return;
    patterns_close(reader);
    sb_stemmer_delete(reader->stemmer);
    arena_free(reader->scratch);
    arena_free(reader->memory);
    free(reader);
}

/* The question's own words may come back in the answer and say nothing: "nothing moves". */
static void ignore_question_words(struct job *job)
{
    enum { WORD_LEAST = 4 }; /* letters of what is no mere particle */
    struct working asked;
    const char *ask = job->reader->rules->observables[job->asked].ask;
    if (ask == NULL || working_build(&asked, ask, strlen(ask), job->scratch, NULL) != STATUS_OK)
        return;
    for (size_t at = 0, size; at < asked.length; at += size + 1) {
        for (size = 0; at + size < asked.length && is_word((unsigned char)asked.bytes[at + size]);)
            size++;
        for (size_t i = 0; size >= WORD_LEAST && i < job->token_count; i++)
            if (job->tokens[i].end - job->tokens[i].start >= size &&
                memcmp(job->working.bytes + job->tokens[i].start, asked.bytes + at, size) == 0)
                job->tokens[i].roles |= UINT32_C(1) << ROLE_IGNORE;
    }
}

/* Whether a statement about the vessel says it, which "no" alone would not: "no odd ones", but not
 * "no change". */
static bool is_stated(const struct job *job)
{
    bool stated = false;
    if (job->reader->rules->observables[job->asked].subject == SUBJECT_OTHERS)
        return false;
    for (size_t i = 0; i < job->matches.count; i++)
        stated =
            stated || (job->matches.items[i].role == ROLE_STATEMENT &&
                       !job->reader->rules->language.statements[job->matches.items[i].item].alone);
    return stated;
}

static enum status read_as(struct reader *reader, int asked, const char *text, size_t length,
                           struct arena *arena, struct reading_list *list, struct diags *diags)
{
    arena_reset(reader->scratch);
    struct job job = {.reader = reader,
                      .text = text,
                      .length = length,
                      .asked = asked,
                      .scratch = reader->scratch,
                      .list = list,
                      .list_arena = arena};
    *list = (struct reading_list){.text = text, .question = RULES_NONE};
    enum status status = working_build(&job.working, text, length, job.scratch, diags);
    if (status != STATUS_OK)
        return status;
    for (int round = 0; !round || (round < 3 && (job_restarts(&job) || job_slips(&job)));
         round++) { /* again without what was taken back, and without slips */
        job_tokens(&job);
        if (asked != RULES_NONE)
            ignore_question_words(&job);
        job_scan(&job);
        for (uint32_t i = 0;
             asked != RULES_NONE && i < reader->rules->observables[asked].value_count; i++) {
            const struct value *value = &reader->rules->observables[asked].values[i];
            find_name(&job, i, value->label, false);
            if (!(first_word_roles(reader, value->id) & SAYS_WHEN))
                find_name(&job, i, value->id, false);
            for (size_t k = 0; k < value->answers.count; k++)
                if (!(first_word_roles(reader, value->answers.list[k]) & SAYS_BARELY) ||
                    (strchr(value->answers.list[k], ' ') != NULL && !is_stated(&job)))
                    find_name(&job, i, value->answers.list[k], true);
        }
        if (asked != RULES_NONE)
            find_places(&job);
        resolve(&job);
        if (asked != RULES_NONE)
            drop_stray_number(&job);
    }
    if (job.matches.full)
        return diags_fail(diags, STATUS_DATA, (struct position){0},
                          "the text says more than %d things; describe one vessel at a time",
                          (int)MATCH_MOST);
    job_clauses(&job);
    cover(&job, false);
    if (asked != RULES_NONE)
        yes_no(&job);
    readings(&job, list);
    return STATUS_OK;
}

enum status reader_read(struct reader *reader, const char *text, size_t length, struct arena *arena,
                        struct reading_list *list, struct diags *diags)
{
    return read_as(reader, RULES_NONE, text, length, arena, list, diags);
}

enum status reader_answer(struct reader *reader, size_t observable, const char *text, size_t length,
                          struct arena *arena, struct reading_list *list, struct diags *diags)
{
    if (observable >= reader->rules->observable_count)
        return STATUS_INTERNAL;
    return read_as(reader, (int)observable, text, length, arena, list, diags);
}
