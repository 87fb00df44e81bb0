/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "base/text.h"
#include "language/reader_internal.h"

/* ==== reader literals ========================================================================= */

/*
 * The letters a pattern cannot do without.
 *
 * Most phrases have nothing to do with most texts. If every match of a pattern
 * must contain one of a few strings, and the text holds none of them, the
 * pattern need not be run. This reads the common part of PCRE2's syntax and
 * keeps, for every piece, the strings it can be (`whole`, if they are few) or a
 * set of which one is always inside (`required`). What it does not know makes it
 * say less, never something wrong.
 */

enum {
    SET_MOST = 64,
    PRODUCT_MOST = 16,
    TEXT_MOST = 40,
    DEPTH_MOST = 40,
    CLASS_MOST = 4,
    SOUND_LONGEST = 2000
};

struct cursor {
    const char *at;
    const char *end;
    struct arena *arena;
    struct lexicon *lexicon;
    struct literals nothing; /* the empty string */
    unsigned depth;
    bool lost;    /* syntax this does not read: nothing is known of the whole pattern */
    bool asserts; /* something besides its letters matters */
    bool doubt;   /* syntax this reads, but PCRE2 may have something against */
    bool failed;  /* out of memory */
};

static struct literals read_alternatives(struct cursor *c);

static const struct literals ANYTHING = {0};

static struct literal_set set_new(struct cursor *c, size_t room)
{
    struct literal_set set = {.room = room};
    set.items = arena_array(c->arena, room, sizeof *set.items);
    c->failed = c->failed || !set.items;
    return set;
}

static void set_put(struct literal_set *set, const char *text, uint32_t length)
{
    set->items[set->count++] = (struct literal_text){.text = text, .length = length};
}

static struct literals one_text(struct cursor *c, const char *text, uint32_t length)
{
    struct literals one = {.exact = true, .whole = set_new(c, 1)};
    if (!c->failed)
        set_put(&one.whole, text, length);
    return one;
}

/* Shared, since it is needed often; its room is full, so nothing is ever added to it. */
static struct literals nothing(const struct cursor *c)
{
    return c->nothing;
}

static struct literals one_byte(struct cursor *c, char byte)
{
    if (byte >= 'A' && byte <= 'Z')
        byte = (char)(byte - 'A' + 'a');
    char *copy = arena_copy(c->arena, &byte, 1);
    c->failed = c->failed || !copy;
    return copy ? one_text(c, copy, 1) : ANYTHING;
}

static uint32_t shortest(const struct literal_set *set)
{
    uint32_t least = set->count ? UINT32_MAX : 0;
    for (size_t i = 0; i < set->count; i++)
        if (set->items[i].length < least)
            least = set->items[i].length;
    return least;
}

/* Longer strings are rarer; beyond six letters fewer of them matter more. */
static bool tells_more(const struct literal_set *a, const struct literal_set *b)
{
    uint32_t length_a = shortest(a) < 6 ? shortest(a) : 6;
    uint32_t length_b = shortest(b) < 6 ? shortest(b) : 6;
    if (length_a != length_b)
        return length_a > length_b;
    return length_a && a->count < b->count;
}

static void learn(struct cursor *c, const struct literals *piece)
{
    if (!c->lexicon || !piece->exact)
        return;
    for (size_t i = 0; i < piece->whole.count; i++)
        lexicon_learn(c->lexicon, piece->whole.items[i].text, piece->whole.items[i].length);
}

/* Both sets; `a` is added to where it has room for it, since what it was is not needed any more. */
static struct literal_set merged(struct cursor *c, struct literal_set a,
                                 const struct literal_set *b)
{
    struct literal_set both = a;
    if (a.count + b->count > a.room) {
        both = set_new(c, 2 * (a.count + b->count));
        if (c->failed)
            return both;
        for (size_t i = 0; i < a.count; i++)
            set_put(&both, a.items[i].text, a.items[i].length);
    }
    for (size_t i = 0; i < b->count; i++)
        set_put(&both, b->items[i].text, b->items[i].length);
    return both;
}

/* Every string of `a` followed by every string of `b`; false when they are too many or too long. */
static bool cross(struct cursor *c, const struct literal_set *a, const struct literal_set *b,
                  struct literal_set *out)
{
    if (a->count * b->count > PRODUCT_MOST)
        return false;
    struct literal_set product = set_new(c, a->count * b->count);
    for (size_t i = 0; i < a->count && !c->failed; i++) {
        for (size_t j = 0; j < b->count; j++) {
            uint32_t first = a->items[i].length;
            uint32_t length = first + b->items[j].length;
            if (length > TEXT_MOST)
                return false;
            if (!first || length == first) {
                set_put(&product, first ? a->items[i].text : b->items[j].text, length);
                continue;
            }
            char *text = arena_alloc(c->arena, length + 1u);
            if (!text) {
                c->failed = true;
                return false;
            }
            memcpy(text, a->items[i].text, first);
            memcpy(text + first, b->items[j].text, length - first);
            set_put(&product, text, length);
        }
    }
    *out = product;
    return !c->failed;
}

/* The most telling set of a piece; an empty one when nothing is known. */
static struct literal_set must_have(const struct literals *piece)
{
    return piece->exact ? piece->whole : piece->required[0];
}

/* Keeps the most telling sets, in order. */
static void require(struct literals *sum, struct literal_set set)
{
    if (shortest(&set) < LITERAL_SHORTEST)
        return;
    for (size_t i = 0; i < REQUIRED_MOST; i++) {
        if (i < sum->required_count && !tells_more(&set, &sum->required[i]))
            continue;
        struct literal_set pushed = sum->required[i];
        sum->required[i] = set;
        if (i == sum->required_count) {
            sum->required_count++;
            return;
        }
        set = pushed;
    }
}

/* `sum` followed by `next`: while both are exact the strings grow, else their sets are kept. */
static void append(struct cursor *c, struct literals *sum, struct literal_set *run,
                   const struct literals *next)
{
    struct literal_set longer;
    if (next->exact && cross(c, run, &next->whole, &longer)) {
        *run = longer;
        return;
    }
    struct literals ended = {.exact = true, .whole = *run};
    learn(c, &ended);
    require(sum, *run);
    sum->exact = false;
    if (next->exact) {
        *run = next->whole;
        return;
    }
    for (size_t i = 0; i < next->required_count; i++)
        require(sum, next->required[i]);
    *run = nothing(c).whole;
}

/* ---- atoms ------------------------------------------------------------------------------- */

static bool next_is(const struct cursor *c, const char *text)
{
    size_t length = strlen(text);
    return (size_t)(c->end - c->at) >= length && !memcmp(c->at, text, length);
}

static void skip_past(struct cursor *c, char stop)
{
    while (c->at < c->end && *c->at != stop)
        c->at++;
    if (c->at < c->end)
        c->at++;
    else
        c->lost = true;
}

/* After "(?": what kind of group, leaving the cursor at its contents. False: nothing inside to
 * read. */
static bool group_head(struct cursor *c, bool *asserts)
{
    *asserts = false;
    if (next_is(c, "=") || next_is(c, "!")) {
        *asserts = true;
        c->at++;
    } else if (next_is(c, "<=") || next_is(c, "<!")) {
        *asserts = c->doubt = true; /* it may be too long to look behind */
        c->at += 2;
    } else if (next_is(c, ":") || next_is(c, ">")) {
        c->at++;
    } else if (next_is(c, "<") || next_is(c, "P<")) {
        c->doubt = c->doubt || !next_is(c, "<gap>");
        skip_past(c, '>');
    } else {
        c->lost = true;
        return false;
    }
    return true;
}

/* To behind the bracket that ends the group at hand. */
static void skip_group(struct cursor *c)
{
    unsigned open = 1;
    bool in_class = false;
    for (; c->at < c->end && open; c->at++) {
        if (*c->at == '\\')
            c->at += c->at + 1 < c->end;
        else if (in_class)
            in_class = *c->at != ']';
        else if (*c->at == '[')
            in_class = true;
        else
            open += (*c->at == '(') - (unsigned)(*c->at == ')');
    }
    c->lost = c->lost || open;
}

/* (*SKIP), (*FAIL) and the like only take matches away; others, such as (*ACCEPT), end them early. */
static struct literals read_verb(struct cursor *c)
{
    static const char *const known[] = {"*SKIP)", "*FAIL)", "*F)", "*PRUNE)", "*COMMIT)"};
    c->asserts = c->doubt = true;
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (next_is(c, known[i])) {
            c->at += strlen(known[i]);
            return ANYTHING;
        }
    c->lost = true;
    return ANYTHING;
}

static struct literals read_group(struct cursor *c)
{
    bool asserts = false;
    struct lexicon *lexicon = c->lexicon;
    if (next_is(c, "*"))
        return read_verb(c);
    if (next_is(c, "?<q>")) { /* a quantity; one that somebody wrote by hand may hold anything */
        c->doubt =
            c->doubt || (!next_is(c, &QUANTITY_WITH_UNIT[1]) && !next_is(c, &QUANTITY_ANY[1]));
        skip_group(c);
        return ANYTHING;
    }
    if (++c->depth > DEPTH_MOST) {
        c->lost = true;
        return ANYTHING;
    }
    if (next_is(c, "?")) {
        c->at++;
        if (!group_head(c, &asserts))
            return ANYTHING;
    }
    if (asserts) {
        c->lexicon = NULL;
        c->asserts = true;
    }
    struct literals inside = read_alternatives(c);
    c->lexicon = lexicon;
    c->depth--;
    if (c->at >= c->end) {
        c->lost = true;
        return ANYTHING;
    }
    c->at++; /* the bracket */
    if (asserts)
        c->doubt = c->doubt || (c->at < c->end && strchr("?*+{", *c->at));
    return asserts ? nothing(c) : inside;
}

static struct literals read_escape(struct cursor *c)
{
    if (c->at >= c->end) {
        c->lost = true;
        return ANYTHING;
    }
    char e = *c->at++;
    if (strchr("bBAGzZK", e)) {
        c->asserts = true;
        c->doubt = c->doubt || (e != 'b' && e != 'B') || (c->at < c->end && strchr("?*+{", *c->at));
        return nothing(c);
    }
    if (e == 's')
        return one_text(c, " ", 1);
    if (strchr("dDwWSn", e)) /* n: no clause holds one, but a pattern can look behind for it */
        return ANYTHING;
    c->doubt = c->doubt || (e >= 'A' && e <= 'Z') || (e >= 'a' && e <= 'z');
    if (strchr("NRhHvVX", e))
        return ANYTHING;
    if ((e >= '0' && e <= '9') || (e >= 'a' && e <= 'z') || (e >= 'A' && e <= 'Z')) {
        if (e == 'p' || e == 'P' || e == 'x' || e == 'k' || e == 'g') {
            if (next_is(c, "{"))
                skip_past(c, '}');
            else if (e != 'p' && e != 'P')
                c->lost = true;
            else
                c->at += c->at < c->end;
            return ANYTHING;
        }
        c->lost = true;
        return ANYTHING;
    }
    return one_byte(c, e);
}

static bool in_order(char from, char to)
{
    return from <= to && ((from >= 'a' && to <= 'z') || (from >= '0' && to <= '9'));
}

/* A class of up to CLASS_MOST plain characters is that many strings; any other is anything. */
static struct literals read_class(struct cursor *c)
{
    struct literals found = {.exact = true, .whole = set_new(c, CLASS_MOST)};
    if (next_is(c, "^")) {
        found.exact = false;
        c->at++;
    }
    if (c->at < c->end && strchr(":.=", *c->at)) /* [:alpha:] is none: its brackets are missing */
        c->doubt = true;
    for (bool first = true; c->at < c->end && (first || *c->at != ']'); first = false) {
        char byte = *c->at++;
        if (byte == '[') {
            c->lost = true; /* a named class, or a bracket better escaped */
        } else if (byte == '\\') {
            found.exact = found.exact && c->at < c->end && !(*c->at >= 'a' && *c->at <= 'z') &&
                          !(*c->at >= 'A' && *c->at <= 'Z');
            byte = c->at < c->end ? *c->at++ : byte;
            c->doubt = c->doubt || !strchr("wds.-/%[]+*?()^$|", byte);
        } else if (byte == '-' && !first && c->at < c->end && *c->at != ']') {
            found.exact = false;
            c->doubt = c->doubt || c->at[-3] == '\\' || !in_order(c->at[-2], *c->at);
        }
        if ((unsigned char)byte >= 0x80 || found.whole.count == CLASS_MOST)
            found.exact = false;
        if (found.exact && !c->failed) {
            struct literals one = one_byte(c, byte);
            if (one.exact && !c->failed)
                set_put(&found.whole, one.whole.items[0].text, 1);
        }
    }
    if (c->at < c->end)
        c->at++;
    else
        c->lost = true;
    return found.exact ? found : ANYTHING;
}

static bool is_plain(char byte)
{
    return (byte >= 'a' && byte <= 'z') || (byte >= '0' && byte <= '9') || byte == ' ' ||
           byte == '-' || byte == '\'';
}

/* Several plain letters at once; the last is left when a repeat follows, since that is its own. */
static struct literals read_run(struct cursor *c)
{
    const char *start = c->at;
    while (c->at < c->end && is_plain(*c->at) && c->at - start < TEXT_MOST)
        c->at++;
    if (c->at - start > 1 && c->at < c->end && strchr("?*+{", *c->at))
        c->at--;
    return one_text(c, start, (uint32_t)(c->at - start));
}

static struct literals read_atom(struct cursor *c)
{
    if (is_plain(*c->at))
        return read_run(c);
    char byte = *c->at++;
    switch (byte) {
    case '(':
        return read_group(c);
    case '[':
        return read_class(c);
    case '\\':
        return read_escape(c);
    case '^':
    case '$':
        c->asserts = true;
        c->doubt = c->doubt || (c->at < c->end && strchr("?*+{", *c->at));
        return nothing(c);
    case '.':
        return ANYTHING;
    case '?':
    case '*':
    case '+':
        c->lost = true; /* there is nothing to repeat */
        return ANYTHING;
    default:
        c->doubt = c->doubt || byte == '{' || (unsigned char)byte >= 0x80;
        if ((unsigned char)byte >= 0x80)
            return ANYTHING;
        return one_byte(c, byte);
    }
}

/* ---- repeats, sequences, alternatives ---------------------------------------------------- */

static bool read_count(struct cursor *c, bool *may_be_none, bool *at_most_one)
{
    const char *close = memchr(c->at, '}', (size_t)(c->end - c->at));
    if (!close || c->at + 1 >= c->end || c->at[1] < '0' || c->at[1] > '9')
        return false; /* a brace that stands for itself */
    *may_be_none = c->at[1] == '0';
    *at_most_one = next_is(c, "{0,1}") || next_is(c, "{1}") || next_is(c, "{1,1}");
    bool one = close == c->at + 2;
    bool two = close == c->at + 4 && c->at[2] == ',' && in_order(c->at[1], c->at[3]);
    bool open = close == c->at + 3 && c->at[2] == ',';
    c->doubt = c->doubt || !(one || two || open);
    c->at = close + 1;
    return true;
}

static struct literals read_repeated(struct cursor *c)
{
    struct literals atom = read_atom(c);
    bool may_be_none = false;
    bool at_most_one = true;
    bool repeated = true;
    if (c->failed || c->lost || c->at >= c->end)
        return atom;
    if (next_is(c, "?") || next_is(c, "*") || next_is(c, "+")) {
        may_be_none = *c->at != '+';
        at_most_one = *c->at == '?';
        c->at++;
    } else if (!next_is(c, "{") || !read_count(c, &may_be_none, &at_most_one)) {
        repeated = false;
    }
    if (!repeated)
        return atom;
    if (next_is(c, "?") || next_is(c, "+")) /* lazy, possessive */
        c->at++;
    c->doubt = c->doubt || (c->at < c->end && strchr("?*+{", *c->at));
    if (at_most_one && may_be_none && atom.exact && atom.whole.count < SET_MOST) {
        struct literals none = nothing(c);
        atom.whole = merged(c, atom.whole, &none.whole);
        return atom;
    }
    if (at_most_one && !may_be_none)
        return atom;
    learn(c, &atom);
    if (may_be_none)
        return ANYTHING;
    struct literals some = {0};
    require(&some, must_have(&atom));
    return some;
}

static struct literals read_sequence(struct cursor *c)
{
    struct literals sum = {.exact = true};
    struct literal_set run = nothing(c).whole;
    while (c->at < c->end && *c->at != '|' && *c->at != ')' && !c->lost && !c->failed) {
        struct literals next = read_repeated(c);
        if (!c->failed)
            append(c, &sum, &run, &next);
    }
    if (c->lost || c->failed)
        return ANYTHING;
    if (sum.exact) {
        sum.whole = run;
        return sum;
    }
    struct literals ended = {.exact = true, .whole = run};
    learn(c, &ended);
    require(&sum, run);
    return sum;
}

/* Drops what is there twice: alternatives often go on in the same words. */
static void set_thin(struct literal_set *set)
{
    size_t kept = 0;
    for (size_t i = 0; i < set->count; i++) {
        const struct literal_text *item = &set->items[i];
        size_t j = 0;
        while (j < kept && (set->items[j].length != item->length ||
                            memcmp(set->items[j].text, item->text, item->length) != 0))
            j++;
        if (j == kept)
            set->items[kept++] = *item;
    }
    set->count = kept;
}

static void either(struct cursor *c, struct literals *sum, const struct literals *next)
{
    struct literal_set a = must_have(sum);
    struct literal_set b = must_have(next);
    if (a.count + b.count > SET_MOST) {
        set_thin(&a);
        set_thin(&b);
    }
    bool fits = a.count + b.count <= SET_MOST;
    bool exact = sum->exact && next->exact && fits;
    if (!exact) {
        learn(c, sum);
        learn(c, next);
    }
    struct literal_set both = {0};
    if (exact || (fits && shortest(&a) && shortest(&b)))
        both = merged(c, a, &b);
    *sum = (struct literals){.exact = exact};
    if (exact)
        sum->whole = both;
    else
        require(sum, both);
}

static struct literals read_alternatives(struct cursor *c)
{
    struct literals sum = read_sequence(c);
    while (c->at < c->end && *c->at == '|' && !c->lost && !c->failed) {
        c->at++;
        struct literals next = read_sequence(c);
        if (!c->lost && !c->failed)
            either(c, &sum, &next);
    }
    return sum;
}

bool literals_find(const char *source, struct arena *arena, struct lexicon *lexicon,
                   struct literals *literals)
{
    struct cursor c = {
        .at = source, .end = source + strlen(source), .arena = arena, .lexicon = lexicon};
    c.nothing = one_text(&c, "", 0);
    *literals = ANYTHING;
    if (!c.failed)
        *literals = read_alternatives(&c);
    if (c.failed)
        return false;
    if (c.lost || c.at < c.end) {
        *literals = ANYTHING;
        return true;
    }
    learn(&c, literals);
    literals->plain = !c.asserts;
    literals->sound = !c.doubt && c.end - source < SOUND_LONGEST;
    if (literals->exact)
        require(literals, literals->whole);
    return true;
}

/* ==== reader prefilter ======================================================================== */

/*
 * Which patterns could match at all.
 *
 * Gathered as lists while the rules are read, then laid out so that a scan reads
 * memory in order: a place in a text is looked up some hundred times in each
 * description, and what that costs is waiting for memory.
 */

/* A string and who needs it, while they are gathered. */
struct gathered_literal {
    const char *text;
    uint32_t length;
    uint32_t bucket;
    uint32_t users; /* the last gathered; NO_INDEX ends every list here */
    uint32_t user_count;
    uint32_t next; /* in the same bucket */
};

struct gathered_user {
    struct literal_user user;
    uint32_t next; /* of the same literal */
};

struct gathering {
    struct arena *arena;
    struct gathered_literal *literals;
    size_t literal_count, literal_room;
    struct gathered_user *users;
    size_t user_count, user_room;
    uint32_t buckets[PREFILTER_BUCKETS];
};

/* Makes room for one more; `items` as they are, or NULL when out of memory. */
static void *grown(struct arena *arena, void *items, size_t used, size_t *room, size_t size)
{
    if (used < *room)
        return items;
    size_t larger = *room ? 2 * *room : 512;
    void *moved = arena_grow(arena, items, used, larger, size);
    if (moved)
        *room = larger;
    return moved;
}

struct gathering *prefilter_begin(struct arena *scratch)
{
    struct gathering *gathering = arena_alloc(scratch, sizeof *gathering);
    if (!gathering)
        return NULL;
    *gathering = (struct gathering){.arena = scratch};
    for (size_t i = 0; i < PREFILTER_BUCKETS; i++)
        gathering->buckets[i] = NO_INDEX;
    return gathering;
}

static bool add_always(struct prefilter *filter, struct arena *memory, uint32_t pattern)
{
    uint32_t *always =
        grown(memory, filter->always, filter->always_count, &filter->always_room, sizeof *always);
    if (!always)
        return false;
    filter->always = always;
    always[filter->always_count++] = pattern;
    return true;
}

/* The first eight bytes of a string, or all of them and zeros. */
static uint64_t head_of(const char *text, uint32_t length)
{
    char padded[8] = {0};
    memcpy(padded, text, length < 8 ? length : 8);
    return prefilter_word(padded);
}

/* The longest key it has. */
static size_t kind_of(uint32_t length)
{
    size_t kind = LITERAL_KEYS - 1;
    while (kind > 0 && prefilter_key(kind) > length)
        kind--;
    return kind;
}

static uint32_t hash_of(const struct literal_text *text)
{
    return prefilter_hash(head_of(text->text, text->length), kind_of(text->length));
}

/* The literal of this text, made if need be; NULL when out of memory. */
static struct gathered_literal *literal_of(struct gathering *g, const struct literal_text *text)
{
    uint32_t bucket = prefilter_bucket(hash_of(text));
    for (uint32_t i = g->buckets[bucket]; i != NO_INDEX; i = g->literals[i].next)
        if (g->literals[i].length == text->length &&
            !memcmp(g->literals[i].text, text->text, text->length))
            return &g->literals[i];
    struct gathered_literal *literals =
        grown(g->arena, g->literals, g->literal_count, &g->literal_room, sizeof *literals);
    const char *copy = arena_copy(g->arena, text->text, text->length);
    if (!literals || !copy)
        return NULL;
    g->literals = literals;
    struct gathered_literal *literal = &literals[g->literal_count];
    *literal = (struct gathered_literal){.text = copy,
                                         .length = text->length,
                                         .bucket = bucket,
                                         .users = NO_INDEX,
                                         .next = g->buckets[bucket]};
    g->buckets[bucket] = (uint32_t)g->literal_count++;
    return literal;
}

static bool add_user(struct gathering *g, struct literal_user user, const struct literal_text *text)
{
    struct gathered_literal *literal = literal_of(g, text);
    struct gathered_user *users =
        grown(g->arena, g->users, g->user_count, &g->user_room, sizeof *users);
    if (!literal || !users)
        return false;
    g->users = users;
    users[g->user_count] = (struct gathered_user){.user = user, .next = literal->users};
    literal->users = (uint32_t)g->user_count++;
    literal->user_count++;
    return true;
}

bool prefilter_add(struct prefilter *filter, struct gathering *gathering, struct arena *memory,
                   uint32_t pattern, const struct literals *literals)
{
    if (!literals->required_count)
        return add_always(filter, memory, pattern);
    unsigned char all = (unsigned char)((1u << literals->required_count) - 1);
    for (size_t i = 0; i < literals->required_count; i++) {
        const struct literal_set *set = &literals->required[i];
        struct literal_user user = {
            .pattern = pattern, .all = all, .bit = (unsigned char)(1u << i)};
        for (size_t j = 0; j < set->count; j++)
            if (!add_user(gathering, user, &set->items[j]))
                return false;
    }
    return true;
}

/* Moves one literal and its users to where the scan looks for them. */
static bool place(struct prefilter *filter, const struct gathering *g, struct arena *memory,
                  const struct gathered_literal *from, struct literal *to, uint32_t *user)
{
    struct literal_text text = {.text = from->text, .length = from->length};
    uint32_t hash = hash_of(&text);
    *to = (struct literal){.head = head_of(from->text, from->length),
                           .length = from->length,
                           .users = *user,
                           .user_count = from->user_count};
    if (from->length > sizeof to->head)
        to->text = arena_copy(memory, from->text, from->length);
    for (uint32_t i = from->users; i != NO_INDEX; i = g->users[i].next)
        filter->users[(*user)++] = g->users[i].user;
    filter->kinds[prefilter_pair(to->head)] |= (unsigned char)(1u << kind_of(from->length));
    filter->keys[hash / 64] |= UINT64_C(1) << hash % 64;
    return to->text || from->length <= sizeof to->head;
}

bool prefilter_finish(struct prefilter *filter, const struct gathering *g, struct arena *memory)
{
    filter->literals = arena_array(memory, g->literal_count, sizeof *filter->literals);
    filter->users = arena_array(memory, g->user_count, sizeof *filter->users);
    if (!filter->literals || !filter->users)
        return false;
    uint32_t user = 0;
    for (size_t b = 0; b < PREFILTER_BUCKETS; b++) {
        filter->buckets[b] = (uint32_t)filter->literal_count;
        for (uint32_t i = g->buckets[b]; i != NO_INDEX; i = g->literals[i].next)
            if (!place(filter, g, memory, &g->literals[i],
                       &filter->literals[filter->literal_count++], &user))
                return false;
    }
    filter->buckets[PREFILTER_BUCKETS] = (uint32_t)filter->literal_count;
    return true;
}

/* ==== reader patterns ========================================================================= */

/* Phrases -> compiled patterns and single words. */

/* ---- one pattern ------------------------------------------------------------------------- */

static bool has_capital(const char *source)
{
    for (const char *s = source; *s; s++)
        if (((*s >= 'A' && *s <= 'Z') || (unsigned char)*s >= 0x80) &&
            (s == source || s[-1] != '\\'))
            return true;
    return false;
}

static const char OPENING[] = "(?<q>";

/* Word boundaries around, and what may stand before a quantity in front of every one. */
static char *dressed(const struct reader *reader, const struct pattern *pattern,
                     struct arena *arena)
{
    struct text text;
    const char *source = pattern->source;
    text_init(&text);
    text_puts(&text, "(?<!\\w)(?:");
    for (const char *q = strstr(source, OPENING); q; q = strstr(source, OPENING)) {
        bool unit_required;
        size_t macro = pattern->dimension < DIM_COUNT ? quantity_macro(q, &unit_required) : 0;
        text_add(&text, source, (size_t)(q - source));
        text_puts(&text, reader->quantity_prefix);
        if (macro)
            quantity_put(&text, pattern->dimension, unit_required);
        else
            text_puts(&text, OPENING);
        source = q + (macro ? macro : sizeof OPENING - 1);
    }
    text_puts(&text, source);
    text_puts(&text, ")(?!\\w)");
    char *copy = text.failed ? NULL : arena_copy(arena, text.bytes, text.length);
    text_release(&text);
    return copy;
}

/* The groups of each name, as bits; a group numbered above 31 is not seen. */
static void note_groups(struct pattern *pattern)
{
    uint32_t count = 0;
    uint32_t size = 0;
    PCRE2_SPTR table = NULL;
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMECOUNT, &count);
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMEENTRYSIZE, &size);
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMETABLE, &table);
    for (uint32_t i = 0; i < count; i++, table += size) {
        unsigned number = (unsigned)table[0] << 8 | table[1];
        const char *name = (const char *)table + 2;
        uint32_t bit = number < MATCH_GROUPS ? UINT32_C(1) << number : 0;
        if (!strcmp(name, "q"))
            pattern->quantity |= bit;
        else if (!strcmp(name, "gap"))
            pattern->gap |= bit;
        else if (!strcmp(name, "over"))
            pattern->over |= bit;
        else if (!strcmp(name, "under"))
            pattern->under |= bit;
    }
}

static pcre2_code *compile(struct reader *reader, const char *source, bool capitals, int *error,
                           size_t *offset)
{
    uint32_t options = PCRE2_UTF | PCRE2_DUPNAMES | PCRE2_MULTILINE | PCRE2_NEVER_BACKSLASH_C;
    return pcre2_compile((PCRE2_SPTR)source, PCRE2_ZERO_TERMINATED,
                         options | (capitals ? PCRE2_CASELESS : 0), error, offset,
                         reader->compiling);
}

/* Of what PCRE2 says when it does not compile a pattern: the fault is not the pattern's. */
static bool out_of_memory(int error)
{
    return error == PCRE2_ERROR_HEAP_FAILED || error == PCRE2_ERROR_NOMEMORY;
}

/* The fault is looked for again in what the author wrote, so that the caret stands right: there
 * {q} is as good as any three letters. */
static enum status tell_fault(struct reader *reader, const struct pattern *pattern, int error,
                              struct diags *diags)
{
    int own_error = 0;
    size_t offset = 0;
    char *shown = quantities_as_written(pattern->source, reader->scratch);
    if (!shown)
        return STATUS_MEMORY;
    pcre2_code *code = compile(reader, shown, false, &own_error, &offset);
    bool placed = code == NULL;
    pcre2_code_free(code);
    PCRE2_UCHAR message[128] = "";
    pcre2_get_error_message(placed ? own_error : error, message, sizeof message);
    diags_error(diags, pattern->at, "the pattern '%s' does not compile: %s", shown,
                (const char *)message);
    if (placed)
        diags_excerpt(diags, shown, utf8_count(shown, offset) + 1);
    return STATUS_DATA;
}

/* Compiles the pattern; `error` is PCRE2's when there is no code afterwards. */
static enum status compile_dressed(struct reader *reader, struct pattern *pattern, int *error)
{
    size_t offset = 0;
    char *source = dressed(reader, pattern, reader->scratch);
    if (!source)
        return STATUS_MEMORY;
    pattern->code = compile(reader, source, has_capital(pattern->source), error, &offset);
    if (!pattern->code)
        return out_of_memory(*error) ? STATUS_MEMORY : STATUS_INTERNAL;
    note_groups(pattern);
    return STATUS_OK;
}

enum status pattern_try(struct reader *reader, struct pattern *pattern, struct diags *diags)
{
    int error = 0;
    enum status status = compile_dressed(reader, pattern, &error);
    if (status == STATUS_INTERNAL)
        return tell_fault(reader, pattern, error, diags);
    if (status == STATUS_OK && pattern->role == ROLE_NUMBER && !pattern->quantity) {
        diags_error(diags, pattern->at,
                    "the phrase '%s' of a number holds no quantity; write {q} or {n} in it",
                    pattern->source);
        return STATUS_DATA;
    }
    return status;
}

enum status pattern_ready(struct reader *reader, struct pattern *pattern)
{
    int error = 0;
    /* It was sure to compile; only memory can be short. */
    return pattern->code ? STATUS_OK : compile_dressed(reader, pattern, &error);
}

static struct pattern *pattern_new(struct reader *reader)
{
    if (reader->pattern_count == reader->pattern_room) {
        size_t room = reader->pattern_room ? reader->pattern_room * 2 : 512;
        struct pattern *grown = arena_grow(reader->memory, reader->patterns, reader->pattern_count,
                                           room, sizeof *grown);
        if (!grown)
            return NULL;
        reader->patterns = grown;
        reader->pattern_room = room;
    }
    return &reader->patterns[reader->pattern_count++];
}

/* ---- from the rules ---------------------------------------------------------------------- */

struct source_list { /* the phrases of one thing */
    struct phrases phrases;
    enum role role;
    size_t observable, item;
};

static bool all_single_words(const struct literals *literals)
{
    if (!literals->exact || !literals->plain)
        return false;
    for (size_t i = 0; i < literals->whole.count; i++)
        for (uint32_t j = 0; j < literals->whole.items[i].length; j++) {
            char c = literals->whole.items[i].text[j];
            if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '\''))
                return false;
        }
    return true;
}

static bool add_words(struct reader *reader, const struct literals *literals, enum role role)
{
    for (size_t i = 0; i < literals->whole.count; i++) {
        const struct literal_text *item = &literals->whole.items[i];
        if (!item->length)
            continue;
        struct lexeme *lexeme = lexicon_add(&reader->lexicon, item->text, item->length);
        if (!lexeme)
            return false;
        lexeme->roles |= UINT32_C(1) << role;
    }
    return true;
}

/* A phrase becomes words of the lexicon when it is no more than that, else a pattern. */
static enum status add_phrase(struct reader *reader, const struct source_list *list, size_t index,
                              struct diags *diags)
{
    const char *source = list->phrases.list[index];
    struct literals literals;
    /* Words that need no understanding need not be understood when mistyped. */
    struct lexicon *lexicon = list->role <= ROLE_HEDGE ? &reader->lexicon : NULL;
    if (!literals_find(source, reader->scratch, lexicon, &literals) || reader->lexicon.failed)
        return STATUS_MEMORY;
    if (list->role > ROLE_STATEMENT && all_single_words(&literals))
        return add_words(reader, &literals, list->role) ? STATUS_OK : STATUS_MEMORY;
    if (list->role == ROLE_OBJECTION) {
        diags_error(diags, list->phrases.at ? list->phrases.at[index] : (struct position){0},
                    "'%s' is more than a word; only single words stand under 'objections'", source);
        return STATUS_DATA;
    }
    uint32_t number = (uint32_t)reader->pattern_count;
    struct pattern *pattern = pattern_new(reader);
    if (!pattern)
        return STATUS_MEMORY;
    *pattern = (struct pattern){
        .source = source, .role = list->role, .item = list->item, .observable = list->observable};
    pattern->dimension = pattern->gate = DIM_COUNT;
    if (list->phrases.at)
        pattern->at = list->phrases.at[index];
    if (list->role <= ROLE_NUMBER)
        pattern->dimension = reader->rules->observables[list->observable].dimension;
    if (list->role == ROLE_NUMBER && strstr(source, QUANTITY_WITH_UNIT))
        pattern->gate = pattern->dimension;
    bool sure = literals.sound && (list->role != ROLE_NUMBER || strstr(source, OPENING));
    enum status status = sure ? STATUS_OK : pattern_try(reader, pattern, diags);
    if (status != STATUS_OK)
        return status;
    return prefilter_add(&reader->prefilter, reader->gathering, reader->memory, number, &literals)
               ? STATUS_OK
               : STATUS_MEMORY;
}

/* Goes on after a pattern that does not compile, so that all of them are told at once. */
static enum status add_phrases(struct reader *reader, struct source_list list, struct diags *diags)
{
    enum status worst = STATUS_OK;
    for (size_t i = 0; i < list.phrases.count; i++) {
        enum status status = add_phrase(reader, &list, i, diags);
        if (status == STATUS_MEMORY)
            return status;
        if (status != STATUS_OK)
            worst = status;
    }
    arena_reset(reader->scratch);
    return worst;
}

static enum status add_observable(struct reader *reader, size_t index, struct diags *diags)
{
    const struct observable *o = &reader->rules->observables[index];
    enum status worst =
        add_phrases(reader, (struct source_list){o->phrases, ROLE_NUMBER, index, 0}, diags);
    for (size_t i = 0; i < o->value_count && worst != STATUS_MEMORY; i++) {
        const struct value *v = &o->values[i];
        enum status status =
            add_phrases(reader, (struct source_list){v->phrases, ROLE_VALUE, index, i}, diags);
        if (status != STATUS_OK)
            worst = status;
    }
    return worst;
}

static enum status add_language(struct reader *reader, struct diags *diags)
{
    const struct language *l = &reader->rules->language;
    const struct source_list lists[] = {
        {l->negations, ROLE_NEGATION, 0, 0},
        {l->hedges, ROLE_HEDGE, 0, 0},
        {l->breaks, ROLE_BREAK, 0, 0},
        {l->exceptions, ROLE_EXCEPTION, 0, 0},
        {l->alternatives, ROLE_OR, 0, 0},
        {l->additions, ROLE_AND, 0, 0},
        {l->objections, ROLE_OBJECTION, 0, 0},
        {l->ignore, ROLE_IGNORE, 0, 0},
        {l->yes, ROLE_YES, 0, 0},
        {l->no, ROLE_NO, 0, 0},
    };
    enum status worst = STATUS_OK;
    for (size_t i = 0; i < sizeof lists / sizeof *lists && worst != STATUS_MEMORY; i++) {
        enum status status = add_phrases(reader, lists[i], diags);
        if (status != STATUS_OK)
            worst = status;
    }
    for (size_t i = 0; i < l->statement_count && worst != STATUS_MEMORY; i++) {
        const struct statement *s = &l->statements[i];
        enum status status =
            add_phrases(reader, (struct source_list){s->phrases, ROLE_STATEMENT, 0, i}, diags);
        if (status != STATUS_OK)
            worst = status;
    }
    return worst;
}

/* The words of quantities, which stand in no phrase. */
static bool learn_quantities(struct reader *reader)
{
    const char *word;
    for (size_t i = 0; (word = quantity_word(i)); i++)
        lexicon_learn(&reader->lexicon, word, strlen(word));
    return !reader->lexicon.failed;
}

static bool add_spared(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    for (size_t i = 0; i < l->spared.count; i++) {
        struct literals literals;
        if (!literals_find(l->spared.list[i], reader->scratch, NULL, &literals))
            return false;
        for (size_t j = 0; literals.exact && j < literals.whole.count; j++) {
            const struct literal_text *item = &literals.whole.items[j];
            struct lexeme *lexeme = lexicon_add(&reader->lexicon, item->text, item->length);
            if (!lexeme)
                return false;
            lexeme->spared = true;
        }
    }
    return true;
}

/* One of these, as an alternative to what stands before. */
static void put_list(struct text *text, const char *open, const struct phrases *phrases)
{
    if (phrases->count && text->bytes[text->length - 1] == ')')
        text_puts(text, "|");
    for (size_t i = 0; i < phrases->count; i++)
        text_printf(text, "%s%s", i ? "|" : open, phrases->list[i]);
    text_puts(text, phrases->count ? ")" : "");
}

/* "about", "at least", "under", all optional, as PCRE2 has them. */
static bool build_prefix(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    struct text text;
    text_init(&text);
    if (l->over.count || l->under.count || l->about.count) {
        text_puts(&text, "(?:(?:");
        put_list(&text, "(?<over>", &l->over);
        put_list(&text, "(?<under>", &l->under);
        put_list(&text, "(?:", &l->about);
        text_puts(&text, ") ?){0,2}");
    }
    reader->quantity_prefix =
        text.failed ? NULL : arena_copy(reader->memory, text.length ? text.bytes : "", text.length);
    text_release(&text);
    return reader->quantity_prefix != NULL;
}

/* All the phrases; what they cannot do without is gathered. */
static enum status add_all(struct reader *reader, struct diags *diags)
{
    enum status worst = STATUS_OK;
    for (size_t i = 0; i < reader->rules->observable_count && worst != STATUS_MEMORY; i++) {
        enum status status = add_observable(reader, i, diags);
        if (status != STATUS_OK)
            worst = status;
    }
    if (worst == STATUS_MEMORY)
        return worst;
    enum status status = add_language(reader, diags);
    if (status != STATUS_OK)
        return status;
    return add_spared(reader) && learn_quantities(reader) ? worst : STATUS_MEMORY;
}

enum status patterns_build(struct reader *reader, struct diags *diags)
{
    struct arena *gathered = arena_new();
    enum status status = STATUS_MEMORY;
    if (gathered && build_prefix(reader) && (reader->gathering = prefilter_begin(gathered)))
        status = add_all(reader, diags);
    if (status == STATUS_OK) {
        reader->states = arena_array(reader->memory, reader->pattern_count, sizeof *reader->states);
        if (!reader->states ||
            !prefilter_finish(&reader->prefilter, reader->gathering, reader->memory))
            status = STATUS_MEMORY;
    }
    reader->gathering = NULL;
    arena_free(gathered);
    return status;
}
