/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "language/reader.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "language/reader_internal.h"

/* ==== reader numbers ========================================================================== */

/* Quantities as observations: what "over" and "under" do to them, their bins, what is possible. */

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

/* ==== reader quantities ======================================================================= */

/*
 * Quantities in phrases.
 *
 * A phrase such as "soaked {q}" is compiled with two callouts where its quantity
 * stands: at the first quantity_end is asked whether one begins there, at the
 * second whether it ends there. So all phrases share one reader of quantities,
 * and what it found at a place is found once, however many phrases ask.
 */

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

/* ==== reader readings ========================================================================= */

/* Matches that stand -> readings, and the words nothing understood. */

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

/* ==== reader answer =========================================================================== */

/* What only an answer may say: the names of the values, a quantity by itself, yes and no. */

/* ---- names of values --------------------------------------------------------------------- */

static bool is_word(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c >= 0x80;
}

static enum status find_name(struct job *job, size_t value, const char *name)
{
    struct working wanted;
    enum status status = working_build(&wanted, name, strlen(name), job->scratch, NULL);
    if (status != STATUS_OK || !wanted.length)
        return status == STATUS_MEMORY ? status : STATUS_OK;
    const struct working *w = &job->working;
    for (size_t at = 0; at + wanted.length <= w->length; at++) {
        if (memcmp(w->bytes + at, wanted.bytes, wanted.length) != 0)
            continue;
        size_t end = at + wanted.length;
        if ((at && is_word((unsigned char)w->bytes[at - 1])) ||
            (end < w->length && is_word((unsigned char)w->bytes[end])))
            continue;
        struct match *match = match_add(&job->matches);
        if (!match)
            return job->matches.full ? STATUS_DATA : STATUS_MEMORY;
        match->start = (uint32_t)at;
        match->end = (uint32_t)end;
        match->role = ROLE_VALUE;
        match->observable = (size_t)job->asked;
        match->item = value;
        at = end;
    }
    return STATUS_OK;
}

/* ---- a quantity by itself ---------------------------------------------------------------- */

static struct pattern *bare_pattern(struct reader *r, enum dimension dimension)
{
    struct pattern *pattern = &r->bare[dimension];
    pattern->role = ROLE_NUMBER;
    pattern->source = QUANTITY_ANY;
    pattern->dimension = dimension;
    return pattern;
}

/* The first quantity that fits the question: for days, not the 90 of "90 min". */
static enum status find_bare(struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    const struct working *w = &job->working;
    struct pattern *pattern = bare_pattern(job->reader, o->dimension);
    struct match_list found = {.arena = job->scratch};
    pattern->observable = (size_t)job->asked;
    reader_next_scan(job->reader);
    enum status status = job_run(job, pattern, 0, (uint32_t)w->length, &found);
    for (size_t i = 0; status == STATUS_OK && i < found.count; i++) {
        struct quantity quantity;
        size_t used = 0;
        const struct match *match = &found.items[i];
        if (quantity_read(w->bytes + match->q_start, w->length - match->q_start, o->dimension,
                          &quantity, &used) != QUANTITY_OK ||
            used != match->q_end - match->q_start)
            continue;
        struct match *taken = match_add(&job->matches);
        if (!taken)
            return job->matches.full ? STATUS_DATA : STATUS_MEMORY;
        *taken = *match;
        taken->observable = (size_t)job->asked;
        taken->asked = true;
        break;
    }
    return status;
}

enum status job_answer(struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    enum status status = STATUS_OK;
    for (size_t i = 0; i < o->value_count && status == STATUS_OK; i++) {
        status = find_name(job, i, o->values[i].label);
        if (status == STATUS_OK)
            status = find_name(job, i, o->values[i].id);
    }
    if (status == STATUS_OK && o->kind == KIND_NUMBER)
        status = find_bare(job);
    return status;
}

/*
 * "At 30%" to a question that takes no number: it is about the question, and
 * not a statement about whatever sign happens to be measured in per cent.
 */
enum status job_stray_number(struct job *job)
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
        return STATUS_OK;
    const struct match *number = &list->items[content];
    for (size_t i = 0; i < job->token_count && job->tokens[i].start < end; i++) {
        const struct token *token = &job->tokens[i];
        bool inside = token->start >= number->q_start && token->end <= number->q_end;
        if (!inside && !(token->roles >> ROLE_IGNORE & 1))
            return STATUS_OK;
    }
    for (size_t i = content + 1; i < list->count; i++)
        list->items[i - 1] = list->items[i];
    list->count--;
    return job_cover(job, true);
}

/* ---- yes and no -------------------------------------------------------------------------- */

enum {
    SAYS_NO = 1 << ROLE_NO | 1 << ROLE_NEGATION,
    SAYS_YES = 1 << ROLE_YES,
};

/* The roles of the first word of a name. */
static uint32_t first_word_roles(const struct reader *reader, const char *name)
{
    char word[32];
    size_t length = 0;
    while (length < sizeof word && name[length] && name[length] != ' ' && name[length] != '_') {
        char c = name[length];
        word[length++] = c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
    }
    const struct lexeme *lexeme = lexicon_find(&reader->lexicon, word, length);
    return lexeme ? lexeme->roles : 0;
}

/* The one value whose name starts with such a word ("none", "not shaken"), as a bit. */
static uint32_t value_like(const struct job *job, uint32_t wanted)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    uint32_t found = 0;
    for (size_t i = 0; i < o->value_count; i++) {
        uint32_t roles = first_word_roles(job->reader, o->values[i].label) |
                         first_word_roles(job->reader, o->values[i].id);
        if (roles & wanted)
            found |= UINT32_C(1) << i;
    }
    return found & (found - 1) ? 0 : found;
}

static const char *choices(const struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    if (o->kind == KIND_NUMBER)
        return "say a number";
    struct text text;
    text_init(&text);
    text_puts(&text, "name one of these: ");
    for (size_t i = 0; i < o->value_count; i++)
        text_printf(&text, "%s%s", i ? "; " : "", o->values[i].label);
    const char *copy = text.failed ? NULL : arena_copy(job->list_arena, text.bytes, text.length);
    text_release(&text);
    return copy;
}

/*
 * What the first clause says by itself: 1 yes, -1 no, 0 neither, when it holds
 * nothing but that and words that do not matter. "Not normal" is neither.
 */
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

static void settle(struct job *job, int said)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    uint32_t all = rules_all_values(o);
    uint32_t like_no = value_like(job, SAYS_NO);
    uint32_t like_yes = value_like(job, SAYS_YES);
    struct bare_answer *answer = &job->bare_answer;
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
}

enum status job_yes_no(struct job *job)
{
    const struct working *w = &job->working;
    struct bare_answer *answer = &job->bare_answer;
    uint32_t end = w->cut_count ? w->cuts[0].at : (uint32_t)w->length;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        if (match->role <= ROLE_NUMBER && match->observable == (size_t)job->asked)
            answer->needless = true;
    }
    enum status status = job_cover(job, true);
    int said = status == STATUS_OK ? bare_answer(job, end, &answer->hedged) : 0;
    for (size_t i = 0; said && i < job->matches.count && job->matches.items[i].start < end; i++)
        job->matches.items[i].used = true;
    if (status == STATUS_OK)
        status = job_cover(job, false);
    if (!said)
        return status;
    if (status != STATUS_OK || answer->needless)
        return status;
    settle(job, said);
    answer->span = working_span(&job->working, 0, end);
    answer->given = true;
    if (!answer->seen && !answer->absent) {
        answer->note = choices(job);
        if (!answer->note)
            return STATUS_MEMORY;
    }
    return STATUS_OK;
}

/* ==== reader set ============================================================================== */

/* Settings: sign=value, as on the command line and in case files. */

static const struct position NOWHERE = {0};

static enum status unknown_sign(const struct rules *rules, const char *sign, struct arena *scratch,
                                struct diags *diags)
{
    const char **names = arena_array(scratch, rules->observable_count, sizeof *names);
    if (!names)
        return STATUS_MEMORY;
    for (size_t i = 0; i < rules->observable_count; i++)
        names[i] = rules->observables[i].id;
    const char *nearest = diag_nearest(sign, names, rules->observable_count);
    if (nearest)
        diags_error(diags, NOWHERE, "no sign is called '%s'; did you mean '%s'?", sign, nearest);
    else
        diags_error(diags, NOWHERE, "no sign is called '%s'; 'rules check' names the rules in use",
                    sign);
    return STATUS_USAGE;
}

static enum status unknown_value(const struct observable *o, const char *value, struct diags *diags)
{
    const char *names[RULES_MAX_VALUES];
    struct text list;
    text_init(&list);
    for (size_t i = 0; i < o->value_count; i++) {
        names[i] = o->values[i].id;
        text_printf(&list, "%s%s", i ? ", " : "", o->values[i].id);
    }
    const char *nearest = diag_nearest(value, names, o->value_count);
    if (list.failed) {
        text_release(&list);
        return STATUS_MEMORY;
    }
    if (nearest)
        diags_error(diags, NOWHERE, "'%s' has no value '%s'; did you mean '%s'?", o->id, value,
                    nearest);
    else
        diags_error(diags, NOWHERE, "'%s' has no value '%s'; it takes %s%s", o->id, value,
                    o->kind == KIND_NUMBER ? "a quantity or one of: " : "", list.bytes);
    text_release(&list);
    return STATUS_USAGE;
}

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

static enum status set_value(const struct observable *o, const char *word, struct reading *reading,
                             struct diags *diags)
{
    bool denied = word[0] == '-';
    const char *id = denied ? word + 1 : word;
    int value = rules_value(o, id);
    if (value == RULES_NONE)
        return unknown_value(o, id, diags);
    uint32_t bit = UINT32_C(1) << value;
    if ((denied ? reading->seen : reading->absent) & bit) {
        diags_error(diags, NOWHERE, "'%s' is both set and denied for '%s'; keep one", id, o->id);
        return STATUS_USAGE;
    }
    *(denied ? &reading->absent : &reading->seen) |= bit;
    return STATUS_OK;
}

static enum status set_values(const struct observable *o, const char *value, struct arena *scratch,
                              struct reading *reading, struct diags *diags)
{
    for (const char *at = value;;) {
        size_t length = strcspn(at, ",");
        char *word = trimmed(scratch, at, length);
        if (!word)
            return STATUS_MEMORY;
        enum status status = set_value(o, word, reading, diags);
        if (status != STATUS_OK)
            return status;
        if (!at[length])
            return STATUS_OK;
        at += length + 1;
    }
}

/* STATUS_DATA: the value is no quantity at all, so it may be the name of a bin. */
static enum status set_quantity(const struct observable *o, const char *value,
                                struct arena *scratch, struct reading *reading, struct diags *diags)
{
    struct text folded;
    size_t used = 0;
    text_init(&folded);
    (void)text_fold(&folded, value, strlen(value), NULL); /* of no text no quantity is read */
    enum quantity_error fault =
        quantity_read(folded.bytes, folded.length, o->dimension, &reading->number, &used);
    enum number_fault read = NUMBER_UNREADABLE;
    if (fault == QUANTITY_OK && used == folded.length)
        read = number_read_bins(o, folded.bytes, folded.length, false, false, &reading->number,
                                &reading->seen);
    bool wrong_unit = fault == QUANTITY_WRONG_UNIT || fault == QUANTITY_UNKNOWN_UNIT;
    text_release(&folded);
    if (read == NUMBER_FINE) {
        reading->has_number = true;
        return STATUS_OK;
    }
    reading->number = (struct quantity){0};
    if (read == NUMBER_IMPOSSIBLE) {
        const char *limits = number_limits(o, scratch);
        if (!limits)
            return STATUS_MEMORY;
        diags_error(diags, NOWHERE, "'%s' cannot be '%s'; %s", o->id, value, limits);
        return STATUS_USAGE;
    }
    if (!wrong_unit || rules_value(o, value) != RULES_NONE)
        return STATUS_DATA;
    diags_error(diags, NOWHERE, "'%s' takes no such unit as in '%s'; give it in %s", o->id, value,
                dimension_name(o->dimension));
    return STATUS_USAGE;
}

enum status reader_set(struct reader *reader, const char *sign, const char *value,
                       struct reading *reading, struct diags *diags)
{
    const struct rules *rules = reader->rules;
    struct arena *scratch = reader->scratch;
    arena_reset(scratch);
    *reading = (struct reading){.span = {0, strlen(value)}};
    int index = rules_observable(rules, sign);
    if (index == RULES_NONE)
        return unknown_sign(rules, sign, scratch, diags);
    const struct observable *o = &rules->observables[index];
    reading->observable = (size_t)index;
    char *word = trimmed(scratch, value, strlen(value));
    if (!word)
        return STATUS_MEMORY;
    size_t length = strlen(word);
    if (length && word[length - 1] == '?') {
        reading->hedged = true;
        word[length - 1] = '\0';
    }
    if (!*word) {
        diags_error(diags, NOWHERE, "'%s' is set to nothing; name a value", o->id);
        return STATUS_USAGE;
    }
    if (o->kind == KIND_NUMBER) {
        enum status status = set_quantity(o, word, scratch, reading, diags);
        if (status != STATUS_DATA)
            return status;
    }
    return set_values(o, word, scratch, reading, diags);
}

static void *pcre2_gets(size_t size, void *context)
{
    (void)context;
    return malloc(size);
}

static void pcre2_gives(void *block, void *context)
{
    (void)context;
    free(block);
}

/* ==== reader ================================================================================== */

/* The reader itself, and the order in which a text is read. */

/* ---- life -------------------------------------------------------------------------------- */

static bool reader_room(struct reader *reader)
{
    reader->memory = arena_new();
    reader->scratch = arena_new();
    /* What PCRE2 asks for passes base/memory.c as well. */
    pcre2_general_context *memory = pcre2_general_context_create(pcre2_gets, pcre2_gives, NULL);
    reader->compiling = pcre2_compile_context_create(memory);
    reader->limits = pcre2_match_context_create(memory);
    reader->found = pcre2_match_data_create(MATCH_GROUPS, memory);
    pcre2_general_context_free(memory);
    if (reader->limits)
        (void)pcre2_set_callout(reader->limits, quantity_callout, reader);
    return reader->memory && reader->scratch && reader->compiling && reader->limits &&
           reader->found && lexicon_init(&reader->lexicon, reader->memory);
}

struct reader *reader_new(const struct rules *rules, struct diags *diags)
{
    struct reader *reader = calloc(1, sizeof *reader);
    if (!reader)
        return NULL;
    reader->rules = rules;
    if (!reader_room(reader) || patterns_build(reader, diags) != STATUS_OK) {
        reader_free(reader);
        return NULL;
    }
    arena_reset(reader->scratch);
    return reader;
}

void reader_free(struct reader *reader)
{
    if (!reader)
        return;
    for (size_t i = 0; i < reader->pattern_count; i++)
        pcre2_code_free(reader->patterns[i].code);
    for (size_t i = 0; i < DIM_COUNT; i++)
        pcre2_code_free(reader->bare[i].code);
    pcre2_match_data_free(reader->found);
    pcre2_match_context_free(reader->limits);
    pcre2_compile_context_free(reader->compiling);
    arena_free(reader->scratch);
    arena_free(reader->memory);
    free(reader);
}

/* ---- reading ----------------------------------------------------------------------------- */

/* Words and matches; a second time when slips were put right. */
static enum status find_matches(struct job *job)
{
    bool again = true;
    enum status status = STATUS_OK;
    for (int round = 0; again && round < 2 && status == STATUS_OK; round++) {
        again = false;
        status = job_tokens(job);
        if (status == STATUS_OK)
            status = job_scan(job);
        if (status == STATUS_OK && job->asked != RULES_NONE)
            status = job_answer(job);
        if (status == STATUS_OK)
            status = job_resolve(job);
        if (status == STATUS_OK && job->asked != RULES_NONE)
            status = job_stray_number(job);
        if (status == STATUS_OK && round == 0)
            status = job_slips(job, &again);
    }
    return status;
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
                      .list_arena = arena};
    *list = (struct reading_list){.text = text};
    enum status status = working_build(&job.working, text, length, job.scratch, diags);
    if (status != STATUS_OK)
        return status;
    status = find_matches(&job);
    if (status == STATUS_DATA)
        diags_error(diags, (struct position){0},
                    "the text says more than %d things; describe one vessel at a time",
                    (int)MATCH_MOST);
    if (status == STATUS_OK)
        status = job_clauses(&job);
    if (status == STATUS_OK && asked != RULES_NONE)
        status = job_yes_no(&job);
    if (status == STATUS_OK)
        status = job_readings(&job, list);
    return status;
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
