/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "language/phrases.h"

/* The text as it is matched: folded, cut into clauses, with a map back to what was typed. */

struct builder {
    struct working *out;
    const char *at;       /* in the folded text, which has two spaces before it and after it */
    const size_t *origin; /* of the byte there */
    const char *text;
    size_t length;
};

static bool is_digit(int c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(int c)
{
    return (c >= 'a' && c <= 'z') || c >= 0x80;
}

bool is_word(int c)
{
    return is_digit(c) || is_letter(c);
}

/* The folded byte `step` away, or a space beyond either end. */
static int near(const struct builder *b, long step)
{
    return (unsigned char)b->at[step];
}

static size_t utf8_size(unsigned char first)
{
    return first < 0x80 ? 1 : first < 0xE0 ? 2 : first < 0xF0 ? 3 : 4;
}

static void put(struct working *out, char byte, size_t from, size_t until)
{
    out->bytes[out->length] = byte;
    out->from[out->length] = (uint32_t)from;
    out->until[out->length] = (uint32_t)until;
    out->length++;
}

static void put_space(struct builder *b)
{
    struct working *out = b->out;
    if (out->length && out->bytes[out->length - 1] != ' ' && out->bytes[out->length - 1] != '\n')
        put(out, ' ', *b->origin, *b->origin);
}

static void put_cut(struct builder *b, enum cut_kind kind)
{
    struct working *out = b->out;
    while (out->length && out->bytes[out->length - 1] == ' ')
        out->length--;
    if (!out->length)
        return;
    if (out->bytes[out->length - 1] == '\n') {
        if (out->cuts[out->cut_count - 1].kind < kind)
            out->cuts[out->cut_count - 1].kind = kind;
        return;
    }
    out->cuts[out->cut_count++] = (struct cut){.at = (uint32_t)out->length, .kind = kind};
    put(out, '\n', *b->origin, *b->origin);
}

static void put_character(struct builder *b)
{
    size_t size = utf8_size((unsigned char)*b->at);
    size_t from = *b->origin;
    size_t after = b->origin[size]; /* where the character ends in the given text */
    size_t own = from + utf8_size((unsigned char)b->text[from]);
    size_t until = after > from ? after : own < b->length ? own : b->length;
    for (size_t i = 0; i < size; i++)
        put(b->out, b->at[i], from, until);
    b->at += size - 1;
    b->origin += size - 1;
}

/* Letters in a row before (step -1) or after (step 1) the current byte; 2 is many. */
static int letters_beside(const struct builder *b, long step)
{
    return !is_letter(near(b, step)) ? 0 : !is_letter(near(b, 2 * step)) ? 1 : 2;
}

static void put_point(struct builder *b)
{
    int before = near(b, -1);
    int after = near(b, 1);
    bool decimal = is_digit(after) && !is_letter(before); /* 1.5 and .5 */
    bool initial =
        letters_beside(b, -1) == 1 && (letters_beside(b, 1) == 1 || !is_word(after)); /* p.s.i. */
    bool trails_off = before == '.' || after == '.'; /* ... and the thought goes on */
    if (decimal || (initial && !trails_off))
        put_character(b);
    else
        put_cut(b, trails_off ? CUT_SOFT : CUT_HARD);
}

static void put_dash(struct builder *b)
{
    int before = near(b, -1);
    int after = near(b, 1);
    bool in_word = is_word(before) && is_word(after);
    bool minus = before == ' ' && is_digit(after);
    bool range = is_digit(near(b, -2)) && before == ' ' && after == ' ' && is_digit(near(b, 2));
    if (in_word || minus || range)
        put_character(b);
    else if (is_word(before))
        put_space(b); /* green- and black-spotted */
    else
        put_cut(b, CUT_SOFT);
}

/* "Smell: none" goes on after the colon; after more words than a label has, it is a pause. */
static void put_colon(struct builder *b)
{
    enum { LABEL_WORDS = 3 };
    const struct working *out = b->out;
    unsigned words = 0;
    for (size_t i = out->length; i-- > 0 && out->bytes[i] != '\n' && words <= LABEL_WORDS;)
        words += out->bytes[i] == ' ' || i == 0 || out->bytes[i - 1] == '\n';
    if (words <= LABEL_WORDS)
        put_space(b);
    else
        put_cut(b, CUT_SOFT);
}

static void put_sign(struct builder *b)
{
    const char c = *b->at;
    const bool in_number = (c == ',' || c == ':') && is_digit(near(b, -1)) && is_digit(near(b, 1));
    if (c == ' ' || strchr("\"*#_=^\\&", c)) { /* what only sets words apart */
        put_space(b);
    } else if (c == '.') {
        put_point(b);
    } else if (c == '-') {
        put_dash(b);
    } else if (c == '\'') {
        if (is_word(near(b, -1)) && is_letter(near(b, 1)))
            put_character(b);
    } else if (c == ':' && !in_number) {
        put_colon(b);
    } else if (strchr(",()[]{}|;!?", c) && !in_number) {
        put_cut(b, c == '?' ? CUT_QUESTION : strchr(";!", c) ? CUT_HARD : CUT_SOFT);
    } else {
        put_character(b);
    }
}

/* Line ends fold to spaces and NUL ends strings: both are made harmless before folding. */
static char *plain_copy(const char *text, size_t length, struct arena *arena)
{
    char *copy = arena_copy(arena, text, length);
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)copy[i] < ' ' || copy[i] == 0x7F)
            copy[i] = copy[i] && strchr("\n\r\v\f", copy[i]) ? ';' : ' ';
    return copy;
}

static void working_room(struct working *working, size_t room, struct arena *arena)
{
    working->bytes = arena_room(arena, room + 1, 1);
    working->from = arena_room(arena, room + 1, sizeof *working->from);
    working->until = arena_room(arena, room + 1, sizeof *working->until);
    working->cuts = arena_room(arena, room, sizeof *working->cuts);
    working->length = 0;
    working->cut_count = 0;
}

static void working_end(struct working *working, size_t at)
{
    working->bytes[working->length] = '\0';
    working->from[working->length] = working->until[working->length] = (uint32_t)at;
}

static enum status check_text(const char *text, size_t length, struct diags *diags)
{
    const struct position nowhere = {0};
    if (length > READER_MAX_TEXT)
        return diags_fail(
            diags, STATUS_DATA, nowhere,
            "the text is %zu bytes long; at most %d can be read at once, so tell it in parts",
            length, (int)READER_MAX_TEXT);
    size_t valid = utf8_valid_prefix(text, length);
    if (valid != length)
        return diags_fail(diags, STATUS_DATA, nowhere,
                          "byte %zu of the text is not UTF-8; plain text is expected", valid + 1);
    return STATUS_OK;
}

enum status working_build(struct working *working, const char *text, size_t length,
                          struct arena *arena, struct diags *diags)
{
    enum status status = check_text(text, length, diags);
    if (status != STATUS_OK)
        return status;
    static const char margin[] = "  ";
    char *copy = plain_copy(text, length, arena);
    size_t *origin SCOPED_FREE = NULL;
    TEXT(folded);
    text_puts(&folded, margin);
    (void)text_fold(&folded, copy, length, &origin); /* it is UTF-8 */
    const size_t end = folded.length;
    text_puts(&folded, margin);
    working_room(working, end, arena);
    struct builder b = {working, folded.bytes + strlen(margin), origin, copy, length};
    for (; b.at < folded.bytes + end; b.at++, b.origin++)
        (is_word((unsigned char)*b.at) ? put_character : put_sign)(&b);
    while (working->length && working->bytes[working->length - 1] == ' ')
        working->length--;
    working_end(working, length);
    return STATUS_OK;
}

void working_correct(struct working *working, const struct correction *corrections, size_t count,
                     struct arena *arena)
{
    struct working old = *working;
    size_t room = old.length + 1;
    for (size_t i = 0; i < count; i++)
        room += corrections[i].length;
    working_room(working, room, arena);
    size_t next = 0;
    size_t cut = 0;
    for (uint32_t at = 0; at < old.length;) {
        while (cut < old.cut_count && old.cuts[cut].at < at)
            cut++; /* it fell */
        if (cut < old.cut_count && old.cuts[cut].at == at)
            working->cuts[working->cut_count++] =
                (struct cut){.at = (uint32_t)working->length, .kind = old.cuts[cut++].kind};
        if (next < count && corrections[next].start == at) {
            const struct correction *c = &corrections[next++];
            for (size_t i = 0; i < c->length; i++)
                put(working, c->word[i], old.from[c->start], old.until[c->end - 1]);
            at = c->end;
        } else {
            put(working, old.bytes[at], old.from[at], old.until[at]);
            at++;
        }
    }
    working_end(working, old.from[old.length]);
}

/* Does something told of the vessel begin between these places? Then it stands, whatever is put right around it:
 * "day 5, no wait, green, day 6". */
static bool tells(const struct job *job, uint32_t from, uint32_t to)
{
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *at = &job->matches.items[i];
        if ((at->role == ROLE_VALUE || at->role == ROLE_STATEMENT) && at->start >= from &&
            at->start < to)
            return true;
    }
    return false;
}

/* A value behind a correction that takes the place of one before it: "king oyster, no wait, lion's mane". Only that
 * one is taken out; what was told between the two stands, and so does what is salient in the same words.
 * A bare "no" may as well deny what follows, so more than one word is needed. */
static bool value_restarts(const struct job *job, const struct match *cue, uint32_t near,
                           struct correction *found)
{
    const struct match *was = NULL, *now = NULL;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *at = &job->matches.items[i];
        if (at->role == ROLE_VALUE && at->start >= cue->end && at->start <= near &&
            job->reader->rules->observables[at->observable].kind != KIND_SEVERAL &&
            (now == NULL || at->start < now->start))
            now = at;
    }
    for (size_t i = 0; i < job->matches.count && now != NULL; i++) {
        const struct match *at = &job->matches.items[i];
        if (at->role == ROLE_VALUE && at->observable == now->observable && at->end <= cue->start &&
            (was == NULL || at->start > was->start))
            was = at;
    }
    if (was == NULL || was->item == now->item ||
        memchr(job->working.bytes + cue->start, ' ', cue->end - cue->start) == NULL)
        return false;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *at = &job->matches.items[i];
        if (at->role == ROLE_VALUE && at->start < was->end && at->end > was->start &&
            job->reader->rules->observables[at->observable].values[at->item].salient)
            return false;
    }
    *found = (struct correction){was->start, was->end, "", 0};
    return true;
}

bool job_restarts(struct job *job)
{
    enum { WORDS_BETWEEN = 3 }; /* "no wait, it was day 6" */
    struct correction *list = arena_array(job->scratch, job->matches.count, sizeof *list);
    size_t count = 0, after = 0;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        if (match->role != ROLE_CORRECTION)
            continue;
        while (after < job->token_count && job->tokens[after].start < match->end)
            after++;
        size_t was = after; /* the figure before it, with its unit */
        while (was > 0 && job->tokens[was - 1].end > match->start)
            was--;
        const bool unit = was > 1 && !job->tokens[was - 1].figure && job->tokens[was - 2].figure;
        was -= unit ? 2 : 1;
        size_t now = after; /* the figure behind it */
        while (now < job->token_count && now < after + WORDS_BETWEEN && !job->tokens[now].figure)
            now++;
        const size_t near = after + WORDS_BETWEEN - 1;
        if (was < job->token_count && now < job->token_count && job->tokens[was].figure &&
            job->tokens[now].figure && !tells(job, match->end, job->tokens[now].start) &&
            (!unit || (now + 1 < job->tokens[now].clause && !job->tokens[now + 1].figure)))
            list[count] =
                (struct correction){job->tokens[was].start, job->tokens[now].start, "", 0};
        else if (after >= job->token_count ||
                 !value_restarts(
                     job, match,
                     job->tokens[near < job->token_count ? near : job->token_count - 1].start,
                     &list[count]))
            continue;
        count += count == 0 || list[count].start >= list[count - 1].end;
    }
    if (count > 0)
        working_correct(&job->working, list, count, job->scratch);
    return count > 0;
}

uint32_t clause_end(const char *bytes, uint32_t at)
{
    while (bytes[at] != '\0' && bytes[at] != '\n')
        at++;
    return at;
}

struct span working_span(const struct working *working, uint32_t start, uint32_t end)
{
    if (end <= start)
        return (struct span){working->from[start], working->from[start]};
    return (struct span){working->from[start], working->until[end - 1]};
}

/* ---- what negations and hedges reach ----------------------------------------------------- */

/* What each negation and hedge reaches.
 *
 * A negation denies the first thing said after it and what is joined to that: "no green dust", "no
 * green, black or pink". It ends with its clause, at a breaking word ("not slimy but wet") and
 * where an unknown word stands between ("not opened it, green dust"), since it may belong to that.
 * Denying too much is the dangerous mistake: it makes a sick vessel look sound. So where it is not
 * plain what is denied the thing counts as seen, in doubt, and the negation is shown back. */

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
static void list_items(struct pass *p)
{
    const struct job *job = p->job;
    const struct working *w = &job->working;
    p->items = arena_room(job->scratch, job->matches.count + job->token_count + w->cut_count,
                          sizeof *p->items);
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
}

/* ---- hedges ------------------------------------------------------------------------------ */

static bool ends_scope(const struct item *item)
{
    return item->kind == ITEM_CUT || is_role(item, ROLE_BREAK) || is_role(item, ROLE_EXCEPTION);
}

/* Numbers are left alone beside something else: what is doubted in "day 12, I think it is green" is
 * the green, and "maybe 12 days" is the phrases' matter. */
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

/* A hedge weakens its own stretch of the sentence; if nothing is said there, the next, or, if it
 * stands all alone, the last: "green dust, I think", but not "green dust, is that bad?". */
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

static void deny(struct pass *p, struct match *match)
{
    match->denied = true;
    p->last = match;
    p->either = p->also = false;
}

static void deny_first(struct pass *p, size_t at)
{
    struct match *match = p->items[at].match;
    if (match->role == ROLE_NUMBER && p->words) {
        p->blocked = true; /* "nothing after 12 days": the days are not what is denied */
        return;
    }
    if (match->role == ROLE_STATEMENT || p->blocked || match->denied || p->negations % 2 == 0) {
        match->hedged = true; /* counts as seen, in doubt */
        match->denied = false;
        mark_negations(p, at, false);
        forget(p);
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
    if (p->last->role == ROLE_STATEMENT) {
        if (by_or && match->role == ROLE_VALUE && !match->denied)
            deny(p, match);
        else
            forget(p);
    } else if (only_where(p, match) && !only_where(p, p->last)) {
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

/* Whether the list after a comma goes on being denied: "no green, black or pink", "no green, black,
 * pink", but not "no green, white all over". Each part must be bare; it takes an "or" before the
 * last, or two more of the kind. */
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
            if (parts && item->kind == ITEM_UNKNOWN) { /* "or anything of that sort" */
                p->list_until = at;
                return true;
            }
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
        /* Of a mushroom or a grain nobody says that there is none: "my reishi had nothing". */
        enum feeds feeds = is_role(item, ROLE_VALUE)
                               ? p->job->reader->rules->observables[item->match->observable].feeds
                               : FEEDS_NONE;
        if (!is_role(item, ROLE_VALUE) || item->match->denied ||
            (feeds >= FEEDS_SPECIES && feeds <= FEEDS_VESSEL) ||
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
    /* It can answer ("none"), with nothing after it but "so far". */
    bool looks_back =
        p->negations % 2 == 1 && !p->last && !p->blocked && p->items[p->negation].match->answers;
    for (size_t i = p->negation + 1; looks_back && i < at; i++)
        looks_back = is_role(&p->items[i], ROLE_IGNORE);
    if (looks_back && (p->said ? deny_before(p) : deny_question(p)))
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

static void meet_negation(struct pass *p, size_t at)
{
    /* "No dots no powder": the same word again after one other, which it has done with. */
    const struct match *first = p->items[p->negation].match, *again = p->items[at].match;
    const char *bytes = p->job->working.bytes;
    bool said_again =
        p->negations && p->words == 1 && again->end - again->start == first->end - first->start &&
        !memcmp(bytes + first->start, bytes + again->start, first->end - first->start);
    if (p->negations && !p->last && !p->blocked && !said_again) {
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
    const struct token *token = p->job->tokens;
    while (token < p->job->tokens + p->job->token_count && token->start < match->start)
        token++;
    if (match->role == ROLE_STATEMENT && token->start == match->start &&
        (token->roles >> ROLE_NEGATION & 1)) { /* as in "no smell": "or sourness" goes on with it */
        forget(p);
        p->negation = at;
        p->negations = 1;
        p->last = p->items[at].match;
    }
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
            bool unknown = item->kind == ITEM_UNKNOWN || is_role(item, ROLE_OTHERS);
            if (unknown && p->last)
                forget(p);
            else if (unknown)
                p->blocked = true;
        }
    }
    end_clause(p, p->count);
}

/* ---- whose it is ------------------------------------------------------------------------- */

static void add_elsewhere(struct job *job, uint32_t start, uint32_t end)
{
    *arena_push(job->list_arena, job->list->elsewhere, job->list->elsewhere_count) =
        working_span(&job->working, start, end);
}

/* "The neighbour went green, this one is white": what is seen where something else is the subject
 * of the clause is understood, but says nothing of this vessel. Only at the front of a clause is it
 * the subject: in "next to my last jar there is green dust" the dust is here. Circumstances may be
 * shared. An answer is about what its question is about until it says "this one". */
static void leave_to_others(struct pass *p)
{
    const struct rules *rules = p->job->reader->rules;
    enum question_subject about =
        p->job->asked != RULES_NONE ? rules->observables[p->job->asked].subject : SUBJECT_VESSEL;
    bool said = false;                        /* something in this clause already */
    bool elsewhere = about != SUBJECT_VESSEL; /* the subject is something else */
    bool plainly = false;                     /* and it was named */
    uint32_t from = 0;                        /* since here */
    struct match none = {0}, *subject = &none;
    for (size_t i = 0; i < p->count; i++) {
        const struct item *item = &p->items[i];
        if (ends_scope(item) || is_role(item, ROLE_HERE)) {
            if (elsewhere)
                add_elsewhere(p->job, from, item->start);
            if (is_role(item, ROLE_HERE))
                about = SUBJECT_VESSEL;
            elsewhere = about != SUBJECT_VESSEL;
            said = plainly = false;
            from = item->start;
        } else if (is_role(item, ROLE_OTHERS) && !said) {
            from = elsewhere ? from : item->start;
            elsewhere = plainly = true;
            subject = item->match;
            /* "Kernels look dusty" says all of it by itself. */
            subject->used = i + 1 == p->count || ends_scope(&p->items[i + 1]);
        } else if (is_content(item) && elsewhere) {
            struct match *match = item->match;
            const struct observable *seen =
                match->role == ROLE_STATEMENT ? NULL : &rules->observables[match->observable];
            match->swallowed = seen == NULL || seen->class == CLASS_SIGN;
            if (!plainly && about == SUBJECT_MAKING && match->role == ROLE_VALUE && !match->denied)
                match->swallowed = match->swallowed && !seen->values[match->item].salient;
            match->elsewhere = match->swallowed;
            subject->used = subject->used || match->swallowed;
        } else if (is_role(item, ROLE_VALUE) && !said &&
                   rules->observables[item->match->observable].feeds == FEEDS_SIBLINGS_PLACE) {
            from = elsewhere ? from : item->start;
            elsewhere = plainly = true;
            subject = item->match;
        }
        said = said || is_content(item) || item->kind == ITEM_UNKNOWN;
    }
    if (elsewhere)
        add_elsewhere(p->job, from, (uint32_t)p->job->working.length);
}

/* ---- what is asked ----------------------------------------------------------------------- */

/* "Can I eat it?" says nothing of the vessel: its words do not weigh, nor those around it where
 * nothing else is said. */
static void leave_questions(struct pass *p)
{
    const struct working *w = &p->job->working;
    size_t from = 0; /* of the clause */
    for (size_t to = 0; to <= p->count; to++) {
        if (to < p->count && p->items[to].kind != ITEM_CUT)
            continue;
        bool content = false;
        for (size_t i = from; i < to; i++)
            content = content || is_content(&p->items[i]);
        for (size_t i = from; i < to; i++)
            if (is_role(&p->items[i], ROLE_QUESTION)) {
                const struct match *asked = p->items[i].match;
                const uint32_t start = content ? asked->start : p->items[from].start;
                const uint32_t end = content ? asked->end : clause_end(w->bytes, asked->end);
                struct reading_list *list = p->job->list;
                *arena_push(p->job->list_arena, list->questions, list->question_count) =
                    working_span(w, start, end);
            }
        from = to + 1;
    }
}

/* ---- fears that came to nothing ---------------------------------------------------------- */

/* "There was green by the lid. It was the lamp": what was feared of this vessel, up to two
 * sentences back, is understood and says nothing. Not where the harmless thing is itself in doubt
 * or denied, and nothing that is said after it: "... but now there is powder" stands. */
static void take_back(struct pass *p)
{
    enum { SENTENCES = 2 };
    const struct observable *all = p->job->reader->rules->observables;
    for (size_t i = 0; i < p->count; i++) {
        const struct match *why = p->items[i].match;
        if (!is_role(&p->items[i], ROLE_VALUE) || why->denied || why->hedged || why->elsewhere ||
            !all[why->observable].values[why->item].withdraws)
            continue;
        unsigned sentences = 0;
        for (size_t k = i; k-- > 0;) {
            const struct item *item = &p->items[k];
            if (item->kind == ITEM_CUT && item->cut != CUT_SOFT && ++sentences > SENTENCES)
                break;
            if (!is_role(item, ROLE_VALUE) || item->match->denied ||
                !all[item->match->observable].withdrawn ||
                all[item->match->observable].values[item->match->item].base >= 0.5)
                continue;
            item->match->swallowed = true;
            add_elsewhere(p->job, item->match->start, item->match->end);
        }
    }
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

void job_clauses(struct job *job)
{
    struct pass pass = {.job = job};
    list_items(&pass);
    apply_hedges(&pass);
    apply_negations(&pass);
    leave_to_others(&pass);
    leave_questions(&pass);
    take_back(&pass);
    join_alternatives(&pass);
}
