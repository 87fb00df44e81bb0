/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What each negation and hedge reaches.
 *
 * A negation denies the first thing said after it and what is joined to that:
 * "no green dust", "no green, black or pink". It ends with its clause, at a
 * breaking word ("not slimy but wet") and where an unknown word stands between
 * ("not opened it, green dust"), since it may belong to that. Denying too much
 * is the dangerous mistake: it makes a sick vessel look sound. So where it is
 * not plain what is denied the thing counts as seen, in doubt, and the negation
 * is shown back.
 */
#include <string.h>

#include "knowledge/reader_internal.h"

enum item_kind { ITEM_MATCH, ITEM_FILLER, ITEM_UNKNOWN, ITEM_CUT };

struct item {
    enum item_kind kind;
    enum cut_kind cut;
    uint32_t start;
    struct match *match;
};

struct pass {
    struct job *job;
    struct item *items;
    size_t count;
    /* the negation under way */
    size_t negation;    /* item of the first one */
    unsigned negations; /* in a row; 0: none under way */
    bool blocked;       /* an unknown word came between */
    struct match *last; /* what it denied last, or NULL while it has denied nothing */
    uint32_t aside;     /* where the last thing left out ends */
    bool either, also;  /* "or", "and" since then */
    unsigned words;     /* since the last thing said */
    unsigned either_at; /* how many of them stood before the last "or" */
    /* the clause under way */
    size_t clause;               /* its first item */
    bool said;                   /* something was said in it */
    size_t list_until;           /* up to this item a list is known to go on */
    size_t asked_from, asked_to; /* items of the question just before; equal: there is none */
};

static bool is_content(const struct item *item)
{
    return item->kind == ITEM_MATCH && item->match->role <= ROLE_STATEMENT;
}

static bool is_role(const struct item *item, enum role role)
{
    return item->kind == ITEM_MATCH && item->match->role == role;
}

static bool only_where(const struct pass *p, const struct match *match)
{
    const struct language *l = &p->job->reader->rules->language;
    for (size_t i = 0; match->role == ROLE_VALUE && i < l->where_count; i++)
        if (l->where[i] == match->observable)
            return true;
    return false;
}

static bool same_subject(const struct pass *p, const struct match *a, const struct match *b)
{
    const struct observable *all = p->job->reader->rules->observables;
    if (a->role != ROLE_VALUE || b->role != ROLE_VALUE)
        return false;
    return a->observable == b->observable || (all[a->observable].group != RULES_NONE &&
                                              all[a->observable].group == all[b->observable].group);
}

/* ---- items ------------------------------------------------------------------------------- */

/* Matches, words without one and cuts, in order. Words in the gap of a match are part of it. */
static enum status list_items(struct pass *p)
{
    const struct job *job = p->job;
    const struct working *w = &job->working;
    p->items = arena_array(job->scratch, job->matches.count + job->token_count + w->cut_count,
                           sizeof *p->items);
    if (!p->items)
        return STATUS_MEMORY;
    size_t m = 0;
    size_t t = 0;
    uint32_t reach = 0;
    for (size_t c = 0; c <= w->cut_count; c++) {
        uint32_t stop = c < w->cut_count ? w->cuts[c].at : (uint32_t)w->length;
        for (;;) {
            uint32_t match_at = m < job->matches.count ? job->matches.items[m].start : UINT32_MAX;
            uint32_t token_at = t < job->token_count ? job->tokens[t].start : UINT32_MAX;
            if (match_at <= token_at && match_at < stop) {
                struct match *match = &job->matches.items[m++];
                p->items[p->count++] =
                    (struct item){.kind = ITEM_MATCH, .start = match->start, .match = match};
                reach = match->end > reach ? match->end : reach;
            } else if (token_at < stop) {
                const struct token *token = &job->tokens[t++];
                if (!token->covered && token->start >= reach)
                    p->items[p->count++] = (struct item){
                        .kind = token->roles >> ROLE_IGNORE & 1 ? ITEM_FILLER : ITEM_UNKNOWN,
                        .start = token->start};
            } else {
                break;
            }
        }
        if (c < w->cut_count)
            p->items[p->count++] =
                (struct item){.kind = ITEM_CUT, .cut = w->cuts[c].kind, .start = stop};
    }
    return STATUS_OK;
}

/* ---- hedges ------------------------------------------------------------------------------ */

static bool ends_scope(const struct item *item)
{
    return item->kind == ITEM_CUT || is_role(item, ROLE_BREAK) || is_role(item, ROLE_EXCEPTION);
}

/*
 * Numbers are left alone beside something else: what is doubted in "day 12, I
 * think it is green" is the green, and "maybe 12 days" is the phrases' matter.
 */
static void hedge_range(struct pass *p, size_t from, size_t to)
{
    bool other = false;
    for (size_t i = from; i < to; i++)
        other = other || (is_content(&p->items[i]) && !is_role(&p->items[i], ROLE_NUMBER));
    for (size_t i = from; i < to; i++)
        if (is_content(&p->items[i]) && !(other && is_role(&p->items[i], ROLE_NUMBER)))
            p->items[i].match->hedged = true;
}

struct stretch { /* of a sentence, between two cuts or breaks */
    size_t from, to;
    size_t others; /* words that are neither hedges nor say anything */
    bool hedged, content, unknown;
};

static struct stretch next_stretch(const struct pass *p, size_t from)
{
    struct stretch s = {.from = from};
    for (s.to = from; s.to < p->count && !ends_scope(&p->items[s.to]); s.to++) {
        const struct item *item = &p->items[s.to];
        s.hedged = s.hedged || is_role(item, ROLE_HEDGE);
        s.content = s.content || is_content(item);
        s.unknown = s.unknown || item->kind == ITEM_UNKNOWN;
        s.others += !is_content(item) && !is_role(item, ROLE_HEDGE);
    }
    return s;
}

/*
 * A hedge weakens its own stretch of the sentence; if nothing is said there,
 * the next, or, if it stands all alone, the last: "green dust, I think", but
 * not "green dust, is that bad?".
 */
static void apply_hedges(struct pass *p)
{
    struct stretch told = {0}; /* the last of this sentence with something said */
    bool pending = false;      /* a hedge that has met nothing to weaken yet */
    bool aside = false;        /* it stood all alone: "..., I think" */
    for (struct stretch s = {0}; s.from <= p->count; s.from = s.to + 1) {
        s = next_stretch(p, s.from);
        const struct item *end = s.to < p->count ? &p->items[s.to] : NULL;
        bool cut = !end || end->kind == ITEM_CUT;
        bool asked = end && cut && end->cut == CUT_QUESTION;
        pending = pending || s.hedged;
        aside = s.hedged ? !s.others : aside && !s.others;
        if (s.content) {
            if (pending || asked)
                hedge_range(p, s.from, s.to);
            told = s;
            pending = false;
        } else if (s.unknown && !s.hedged) {
            pending = false; /* it was about what is not understood */
        }
        if (cut && !(end && end->cut == CUT_SOFT)) {
            if (pending && aside)
                hedge_range(p, told.from, told.to);
            pending = false;
            told = (struct stretch){0};
        }
    }
}

/* ---- negations --------------------------------------------------------------------------- */

static void forget(struct pass *p)
{
    p->negations = 0;
    p->blocked = p->either = p->also = false;
    p->last = NULL;
    p->aside = 0;
}

static void mark_negations(struct pass *p, size_t until, bool used)
{
    for (size_t i = p->negation; i < until; i++)
        if (is_role(&p->items[i], ROLE_NEGATION) && !p->items[i].match->used) {
            p->items[i].match->used = used;
            p->items[i].match->unclear = !used;
        }
}

/* Counts as seen, in doubt. */
static void leave_open(struct pass *p, size_t at)
{
    p->items[at].match->hedged = true;
    p->items[at].match->denied = false;
    mark_negations(p, at, false);
    forget(p);
}

static void deny(struct pass *p, struct match *match)
{
    match->denied = true;
    p->last = match;
    p->either = p->also = false;
}

/* The first thing said after a negation. */
static void deny_first(struct pass *p, size_t at)
{
    struct match *match = p->items[at].match;
    if (match->role == ROLE_NUMBER && p->words) {
        p->blocked = true; /* "nothing after 12 days": the days are not what is denied */
        return;
    }
    if (match->role == ROLE_STATEMENT || p->blocked || match->denied || p->negations % 2 == 0) {
        leave_open(p, at);
        return;
    }
    mark_negations(p, at, true);
    deny(p, match);
}

/* Something said after what was denied: is it denied too? */
static void deny_further(struct pass *p, size_t at)
{
    struct match *match = p->items[at].match;
    /* "Or any black", but not "or it is black". */
    bool by_or = p->either && p->words - p->either_at <= 2;
    bool joined =
        by_or || (!p->words && same_subject(p, p->last, match)) ||
        (p->also && same_subject(p, p->last, match) && p->last->observable == match->observable);
    if (match->role == ROLE_NUMBER)
        return;
    if (only_where(p, match) && !only_where(p, p->last)) {
        match->swallowed = true;
    } else if (joined && match->role == ROLE_VALUE && !match->denied) {
        deny(p, match);
    } else if ((!p->words || match->start < p->aside) && match->role == ROLE_VALUE) {
        match->aside = true; /* "no green patches": of the patches nothing is said */
        p->aside = match->end;
    } else {
        forget(p);
    }
}

static bool skip_fillers(const struct pass *p, size_t *at)
{
    while (*at < p->count && p->items[*at].kind == ITEM_FILLER)
        ++*at;
    return *at < p->count;
}

/*
 * Whether the list after a comma goes on being denied: "no green, black or
 * pink", "no green, black, pink", but not "no green, white all over". Each
 * part must be bare; it takes an "or" before the last, or two more of the kind.
 */
static bool list_goes_on(struct pass *p, size_t at)
{
    size_t parts = 0;
    bool either = false;
    if (at < p->list_until)
        return true;
    while (at < p->count) {
        const struct item *item = &p->items[at];
        if (is_role(item, ROLE_OR)) {
            either = true;
            at++;
            if (!skip_fillers(p, &at))
                return false;
            item = &p->items[at];
        }
        if (!is_content(item) || !same_subject(p, p->last, item->match))
            return false;
        if (!either && item->match->observable != p->last->observable && parts)
            return false;
        while (at < p->count && is_content(&p->items[at]) &&
               same_subject(p, p->last, p->items[at].match))
            at++;
        parts++;
        bool end = !skip_fillers(p, &at) || ends_scope(&p->items[at]);
        bool last = end && (either || at >= p->count || p->items[at].kind != ITEM_CUT ||
                            p->items[at].cut != CUT_SOFT);
        if (last && !either && parts < 2)
            return false;
        if (last) {
            p->list_until = at;
            return true;
        }
        if (end)
            at++;
        else if (!is_role(&p->items[at], ROLE_OR))
            return false;
    }
    return false;
}

/* Whether the negation under way can answer ("none"), with nothing after it but "so far". */
static bool may_look_back(const struct pass *p, size_t end)
{
    for (size_t i = p->negation + 1; i < end; i++)
        if (!is_role(&p->items[i], ROLE_IGNORE))
            return false;
    return p->items[p->negation].match->answers;
}

/* "Green: none": a negation with nothing after it looks back. */
static bool deny_before(struct pass *p)
{
    const struct match *denied = NULL;
    bool gap = true; /* fillers may stand before the next one */
    for (size_t i = p->negation; i-- > p->clause;) {
        const struct item *item = &p->items[i];
        if (item->kind == ITEM_FILLER && gap)
            continue;
        if (is_role(item, ROLE_OR) && denied) {
            gap = true;
            continue;
        }
        if (!is_role(item, ROLE_VALUE) || item->match->denied ||
            (denied && !same_subject(p, denied, item->match) && item->match->end <= denied->start))
            break;
        if (only_where(p, item->match)) {
            item->match->swallowed = true;
            continue;
        }
        item->match->denied = true;
        denied = item->match;
        gap = false;
    }
    return denied != NULL;
}

/* "Any green? No." */
static bool deny_question(struct pass *p)
{
    bool any = false;
    for (size_t i = p->asked_from; i < p->asked_to; i++) {
        struct match *match = p->items[i].match;
        if (!is_role(&p->items[i], ROLE_VALUE) || match->denied)
            continue;
        match->hedged = false;
        if (only_where(p, match))
            match->swallowed = true;
        else
            match->denied = any = true;
    }
    return any;
}

/* Whether the next stretch says nothing but where: "no green but at the port". */
static bool says_only_where(const struct pass *p, size_t at)
{
    bool where = false;
    for (; at < p->count && !ends_scope(&p->items[at]); at++) {
        if (!is_content(&p->items[at]))
            continue;
        if (!only_where(p, p->items[at].match))
            return false;
        where = true;
    }
    return where;
}

/* "No green except a speck", "until today": there is some. It counts as seen, in doubt. */
static void lift_denial(struct pass *p, size_t at)
{
    for (size_t i = p->negation; i < at; i++) {
        if (is_role(&p->items[i], ROLE_VALUE) && p->items[i].match->denied) {
            p->items[i].match->denied = false;
            p->items[i].match->hedged = true;
        } else if (is_role(&p->items[i], ROLE_NEGATION)) {
            p->items[i].match->used = false;
            p->items[i].match->unclear = true;
        }
    }
}

static void end_clause(struct pass *p, size_t at)
{
    if (p->negations % 2 == 1 && !p->last && !p->blocked && may_look_back(p, at) &&
        (p->said ? deny_before(p) : deny_question(p)))
        mark_negations(p, at, true);
    forget(p);
    p->words = 0;
    p->said = false;
    p->clause = at + 1;
}

static void meet_cut(struct pass *p, size_t at)
{
    const struct item *item = &p->items[at];
    if (item->cut == CUT_SOFT && p->last && list_goes_on(p, at + 1)) {
        p->either = true;
        p->either_at = p->words;
        return;
    }
    size_t from = p->clause;
    if (p->last && at + 1 < p->count && is_role(&p->items[at + 1], ROLE_EXCEPTION))
        lift_denial(p, at); /* "no green, except near the lid" */
    end_clause(p, at);
    p->asked_from = from;
    p->asked_to = item->cut == CUT_QUESTION ? at : from;
}

/* "No dots no powder": the same word again after one other, which it has done with. */
static bool said_again(const struct pass *p, size_t at)
{
    const struct match *first = p->items[p->negation].match, *again = p->items[at].match;
    uint32_t length = first->end - first->start;
    return p->words == 1 && again->end - again->start == length &&
           memcmp(p->job->working.bytes + first->start, p->job->working.bytes + again->start,
                  length) == 0;
}

static void meet_negation(struct pass *p, size_t at)
{
    if (p->negations && !p->last && !p->blocked && !said_again(p, at)) {
        p->negations++;
        return;
    }
    forget(p);
    p->negation = at;
    p->negations = 1;
    p->words = 0;
}

static void meet_content(struct pass *p, size_t at)
{
    const struct match *match = p->items[at].match;
    uint32_t until = p->negations ? p->items[p->negation].match->until : 0;
    if (until && match->start >= until)
        forget(p); /* it stood in the gap of a match that is over */
    if (p->negations && !p->last)
        deny_first(p, at);
    else if (p->negations)
        deny_further(p, at);
    /* What denies nothing itself still keeps apart what stands around it. */
    p->words = match->swallowed || match->aside || match->role == ROLE_NUMBER ? 1 : 0;
    p->said = true;
}

static void apply_negations(struct pass *p)
{
    for (size_t i = 0; i < p->count; i++) {
        const struct item *item = &p->items[i];
        if (item->kind == ITEM_CUT) {
            meet_cut(p, i);
        } else if (is_content(item)) {
            meet_content(p, i);
        } else if (is_role(item, ROLE_NEGATION)) {
            meet_negation(p, i);
        } else if (ends_scope(item)) {
            if (p->last && (is_role(item, ROLE_EXCEPTION) || says_only_where(p, i + 1)))
                lift_denial(p, i);
            end_clause(p, i);
        } else {
            if (is_role(item, ROLE_OR)) {
                p->either = true;
                p->either_at = p->words;
            }
            p->words++;
            p->also = p->also || is_role(item, ROLE_AND);
            if (item->kind == ITEM_UNKNOWN && p->last)
                forget(p);
            else if (item->kind == ITEM_UNKNOWN)
                p->blocked = true;
        }
    }
    end_clause(p, p->count);
}

/* ---- alternatives ------------------------------------------------------------------------ */

/* "Steam or pressure" is one of the two; "green or black", where both may hold, is doubt. */
static void join_alternatives(struct pass *p)
{
    for (size_t i = 0; i + 2 < p->count; i++) {
        size_t at = i + 1;
        if (!is_content(&p->items[i]) || !skip_fillers(p, &at) || !is_role(&p->items[at], ROLE_OR))
            continue;
        at++;
        if (!skip_fillers(p, &at) || !is_content(&p->items[at]))
            continue;
        struct match *a = p->items[i].match;
        struct match *b = p->items[at].match;
        if (a->role != b->role || a->role == ROLE_STATEMENT || a->observable != b->observable ||
            a->denied || b->denied)
            continue;
        if (p->job->reader->rules->observables[a->observable].kind == KIND_SEVERAL)
            a->hedged = b->hedged = true;
        else
            a->or_next = true;
    }
}

enum status job_clauses(struct job *job)
{
    struct pass pass = {.job = job};
    enum status status = list_items(&pass);
    if (status != STATUS_OK)
        return status;
    apply_hedges(&pass);
    apply_negations(&pass);
    join_alternatives(&pass);
    return job_cover(job, false);
}
