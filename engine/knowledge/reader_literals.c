/* SPDX-License-Identifier: GPL-3.0-or-later */
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
#include <string.h>

#include "knowledge/reader_internal.h"

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
