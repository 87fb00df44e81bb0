/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "base/memory.h"
#include "base/text.h"
#include "language/phrases.h"

/* Words and phrases.
 *
 * Words are compared by their stem (Snowball's English). All phrases are one trie: from a node
 * edges lead on by words, and branches by a quantity or over a gap. A list is all the words and
 * items it holds, what may be left out an edge past it. Only patterns are run one by one. */

/* ---- strings ----------------------------------------------------------------------------- */

static uint64_t mixed(uint64_t value)
{
    value *= UINT64_C(0x9E3779B97F4A7C15);
    return value ^ value >> 32;
}

uint32_t interned_find(const struct interned *set, const char *text, size_t length)
{
    return hashed_find(&set->index, hash_of(text, length));
}

uint32_t interned_add(struct interned *set, const char *text, size_t length)
{
    const uint32_t number = hashed_add(&set->index, set->memory, hash_of(text, length));
    if (number == set->count) {
        set->all = arena_more(set->memory, set->all, set->count, set->size);
        struct named *named = (void *)((char *)set->all + set->count++ * set->size);
        memset(named, 0, set->size);
        *named = (struct named){arena_copy(set->memory, text, length), (uint32_t)length};
    }
    return number;
}

/* ---- words and stems --------------------------------------------------------------------- */

struct lexeme { /* a word */
    struct named word;
    uint32_t stem;
    bool vocabulary;    /* stands in a phrase: a slip may be meant for it */
    bool spared;        /* no slip, whatever it is near to */
    bool stemmed;       /* its stem is known */
    signed char counts; /* it can begin a quantity: 1 yes, -1 no, 0 not looked yet */
    uint16_t units;     /* known once `counts` is: bit per dimension that has such a unit */
    uint16_t letters;   /* likewise: how many of a to z it begins with */
    uint32_t roles;     /* likewise: those of its stem */
    bool filler;        /* likewise */
    bool looked;        /* whether it is a slip; then of which word, or NO_INDEX */
    uint32_t meant;
};

struct stem {
    struct named name;
    uint32_t same; /* what it counts as: itself, or the first of language.same */
    uint32_t roles;
    bool filler;
};

enum element_kind { ELEMENT_WORD, ELEMENT_LIST, ELEMENT_QUANTITY, ELEMENT_GAP };

struct element { /* of a phrase */
    enum element_kind kind;
    bool optional;
    uint32_t id; /* a stem, a list, 2 * dimension + unit required, or whether a gap is seen */
};

struct sequence { /* an item of a list that is no single word */
    const struct element *elements;
    size_t count;
};

struct list { /* of words and phrases, which phrases name */
    struct named name;
    uint32_t *stems; /* of single words */
    struct sequence *items;
    size_t stem_count, item_count;
};

struct accepted { /* a phrase that ends at a node */
    uint32_t phrase, next;
};

struct branch { /* from a node of the trie, by a quantity or a gap */
    enum element_kind kind;
    uint32_t id, child, next;
};

/* Most nodes lead nowhere from most words. So each has a set of the words it may go on with, as
 * marks: a bit for each stem by its hash, one for quantities, and one for a node that a phrase may
 * end at. A place in a text has the marks of what stands there; without a common bit the node is
 * left out. */
enum { QUANTITY_MARK = 62, END_MARK = 63 };

struct node {
    uint64_t marks;
    uint32_t accepts;  /* the phrases that end here: first in the reader's accepts */
    uint32_t branches; /* first of them; NO_INDEX ends them */
};

struct edge { /* by a word; a word may lead from a node to several */
    uint64_t key;
    uint32_t child, next;
};

#define STEP (UINT32_C(1) << 31)
enum { EDGE_SLOTS = 1 << 15, EDGES_MOST = 1 << 20 }; /* EDGES_MOST: with the nodes */

struct trie {
    struct node *nodes;
    struct branch *branches;
    struct accepted *accepts;
    struct edge *edges; /* the first stands for none */
    uint32_t *slots;    /* of the edges, by the hash of their keys: first in each */
    size_t node_count, branch_count, accept_count, edge_count, edge_room;
    uint32_t bounds; /* the root of "about", "over" and "under" */
};

enum {
    WORD_LONGEST = 40,
    WORDS_MOST = 1 << 16, /* words of texts are remembered up to here: more than any language has */
};

enum { ELEMENTS_MOST = 32, GAP_SEEN = 0, GAP_UNSEEN = 1 };

static uint32_t stem_add(struct reader *reader, const char *name, size_t length)
{
    size_t before = reader->stems.count;
    uint32_t stem = interned_add(&reader->stems, name, length);
    if (stem == before)
        reader->stems.stems[stem].same = stem;
    return reader->stems.stems[stem].same;
}

/* Whether a word is its own stem by its last letters: a quarter are, and the stemmer is slow. */
static bool is_stem(const char *word, size_t length)
{
    char last = word[length - 1], before = length > 1 ? word[length - 2] : ' ';
    switch (last) {
    case 'd': /* of -ed; of -er, -or; of -ing, -ant, -ent; of -ion; of -ic; of -ism; of -al, -ful, -ll */
    case 'r':
        return before != 'e' && before != 'o';
    case 'g':
    case 't':
        return before != 'n';
    case 'n':
        return before != 'o';
    case 'c':
        return before != 'i';
    case 'm':
        return before != 's';
    case 'l':
        return !strchr("aul", before);
    default:
        return !strchr("eisy'", last);
    }
}

const char *stem_of(struct sb_stemmer *stemmer, const char *word, size_t *length)
{
    if (is_stem(word, *length) && !memchr(word, '\'', *length))
        return word;
    const char *stem =
        (const char *)sb_stemmer_stem(stemmer, (const sb_symbol *)word, (int)*length);
    if (!stem)
        memory_exhausted();
    *length = (size_t)sb_stemmer_length(stemmer);
    return stem;
}

/* The entry of a word, made if need be. In phrases (`own`) a new stem is one more that counts. */
static uint32_t word_add(struct reader *reader, const char *word, size_t length, bool own)
{
    uint32_t index = interned_add(&reader->words, word, length);
    struct lexeme *lexeme = &reader->words.lexemes[index];
    if (lexeme->stemmed && (!own || lexeme->stem != NO_INDEX))
        return index;
    lexeme->stemmed = true;
    char stem[WORD_LONGEST]; /* without apostrophes: "can't" is "cant" */
    size_t size = 0, stem_length = length;
    const char *bytes = length <= WORD_LONGEST ? stem_of(reader->stemmer, word, &stem_length) : "";
    for (size_t i = 0; i < stem_length && *bytes && size < WORD_LONGEST; i++)
        if (bytes[i] != '\'')
            stem[size++] = bytes[i];
    if (!size)
        lexeme->stem = own ? stem_add(reader, word, length) : NO_INDEX;
    else if (own)
        lexeme->stem = stem_add(reader, stem, size);
    else if ((lexeme->stem = interned_find(&reader->stems, stem, size)) != NO_INDEX)
        lexeme->stem = reader->stems.stems[lexeme->stem].same;
    return index;
}

/* The entry of a word of a text, or NO_INDEX. */
static uint32_t word_met(struct reader *reader, const char *word, size_t length)
{
    uint32_t index = interned_find(&reader->words, word, length);
    if (index == NO_INDEX ? reader->words.count < WORDS_MOST && length <= WORD_LONGEST
                          : !reader->words.lexemes[index].stemmed)
        index = word_add(reader, word, length, false);
    return index;
}

uint32_t stem_known(struct reader *reader, const char *word, size_t length)
{
    uint32_t index = word_met(reader, word, length);
    return index == NO_INDEX ? NO_INDEX : reader->words.lexemes[index].stem;
}

uint32_t word_roles(struct reader *reader, const char *word, size_t length)
{
    uint32_t stem = stem_known(reader, word, length);
    return stem == NO_INDEX ? 0 : reader->stems.stems[stem].roles;
}

static uint64_t mark_of(uint32_t stem)
{
    return UINT64_C(1) << mixed(stem) % QUANTITY_MARK;
}

uint32_t *stems_of(struct reader *reader, const char *words, size_t *count)
{
    uint32_t *stems = NULL;
    *count = 0;
    for (size_t length; *words; words += length + (words[length] == '|')) {
        length = strcspn(words, "|");
        uint32_t word = word_add(reader, words, length, true);
        *arena_push(reader->memory, stems, *count) = reader->words.lexemes[word].stem;
    }
    return stems;
}

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

/* ---- the trie ---------------------------------------------------------------------------- */

static uint32_t node_new(struct trie *t, struct arena *memory)
{
    *arena_push(memory, t->nodes, t->node_count) = (struct node){0, NO_INDEX, NO_INDEX};
    return (uint32_t)t->node_count - 1;
}

static uint64_t edge_key(uint32_t from, uint32_t step)
{
    return (uint64_t)from << 32 | step;
}

/* Those from the first node lie in the order of their stems: each word of a text asks for it. */
static size_t edge_slot(uint64_t key)
{
    return key < EDGE_SLOTS ? key : mixed(key) % EDGE_SLOTS;
}

static void edge_add(struct reader *reader, uint64_t key, uint32_t child)
{
    struct trie *t = reader->trie;
    uint32_t *slot = &t->slots[edge_slot(key)];
    if (t->edge_count == t->edge_room) {
        struct edge *old = t->edges;
        t->edge_room = old ? 2 * t->edge_room : (size_t)2 * EDGE_SLOTS;
        t->edges = arena_room(reader->memory, t->edge_room, sizeof *t->edges);
        if (old)
            memcpy(t->edges, old, t->edge_count * sizeof *old);
    }
    t->edges[t->edge_count] = (struct edge){key, child, *slot};
    *slot = (uint32_t)t->edge_count++;
}

static void add_accept(struct reader *reader, uint32_t node, uint32_t phrase)
{
    struct trie *t = reader->trie;
    *arena_push(reader->memory, t->accepts, t->accept_count) =
        (struct accepted){phrase, t->nodes[node].accepts};
    t->nodes[node].accepts = (uint32_t)t->accept_count - 1;
    t->nodes[node].marks |= UINT64_C(1) << END_MARK;
}

/* Nodes from which the next element of a phrase leads on: several after what may be left out. */
struct sources {
    uint32_t nodes[ELEMENTS_MOST + 1];
    size_t count;
};

static void sources_pass(struct sources *from, const struct element *element, uint32_t node)
{
    from->count = element->optional ? from->count : 0;
    from->nodes[from->count++] = node;
}

static bool lead_all(struct reader *reader, struct sources *from, struct sequence path, uint32_t to,
                     unsigned depth);

static void lead_word(struct reader *reader, const struct sources *from, uint32_t stem, uint32_t to)
{
    for (size_t i = 0; i < from->count; i++) {
        reader->trie->nodes[from->nodes[i]].marks |= mark_of(stem);
        edge_add(reader, edge_key(from->nodes[i], stem), to);
    }
}

/* Leads from nodes to a node by an element. False when its lists hold too much, or themselves. */
static bool lead(struct reader *reader, const struct sources *from, const struct element *element,
                 uint32_t to, unsigned depth)
{
    enum { DEPTH_MOST = 16 };
    struct trie *t = reader->trie;
    if (element->kind == ELEMENT_LIST) {
        const struct list list = reader->lists.lists[element->id];
        bool fine = depth < DEPTH_MOST && t->edge_count + t->node_count < EDGES_MOST;
        for (size_t i = 0; i < list.stem_count && fine; i++)
            lead_word(reader, from, list.stems[i], to);
        for (size_t i = 0; i < list.item_count && fine; i++) {
            struct sources own = *from;
            fine = lead_all(reader, &own, list.items[i], to, depth + 1);
        }
        return fine;
    }
    if (element->kind == ELEMENT_WORD)
        lead_word(reader, from, element->id, to);
    for (size_t i = 0; i < from->count && element->kind != ELEMENT_WORD; i++) {
        struct node *node = &t->nodes[from->nodes[i]];
        node->marks |= element->kind == ELEMENT_GAP ? UINT64_MAX : UINT64_C(1) << QUANTITY_MARK;
        *arena_push(reader->memory, t->branches, t->branch_count) =
            (struct branch){element->kind, element->id, to, node->branches};
        node->branches = (uint32_t)t->branch_count - 1;
    }
    return true;
}

/* The same by an item of a list. */
static bool lead_all(struct reader *reader, struct sources *from, struct sequence path, uint32_t to,
                     unsigned depth)
{
    bool fine = true;
    size_t needed = path.count; /* after the last that may not be left out */
    while (needed && path.elements[needed - 1].optional)
        needed--;
    for (size_t i = 0; i < path.count && fine; i++) {
        struct element element = path.elements[i];
        uint32_t next = i + 1 < path.count ? node_new(reader->trie, reader->memory) : to;
        element.id = element.kind == ELEMENT_GAP ? GAP_UNSEEN : element.id;
        fine = lead(reader, from, &element, next, depth);
        if (fine && next != to && i + 1 >= needed)
            fine = lead(reader, from, &element, to, depth);
        sources_pass(from, &element, next);
    }
    return fine;
}

static bool trie_add(struct reader *reader, uint32_t root, struct sequence path, uint32_t phrase)
{
    struct trie *t = reader->trie;
    struct sources from = {{root}, 1};
    uint32_t node = root;
    for (size_t i = 0; i < path.count; i++) {
        const struct element *element = &path.elements[i];
        /* Unlike that of a word: phrases that begin alike share it. */
        const uint64_t key = edge_key(node, STEP | (uint32_t)element->kind << 29 |
                                                (uint32_t)element->optional << 28 | element->id);
        uint32_t edge = t->slots[edge_slot(key)];
        while (edge && t->edges[edge].key != key)
            edge = t->edges[edge].next;
        node = edge ? t->edges[edge].child : node_new(t, reader->memory);
        if (!edge) {
            edge_add(reader, key, node);
            if (!lead(reader, &from, element, node, 0))
                return false;
        }
        sources_pass(&from, element, node);
    }
    for (size_t i = 0; i < from.count; i++)
        add_accept(reader, from.nodes[i], phrase);
    return true;
}

uint32_t phrase_new(struct reader *reader, const struct phrase *phrase)
{
    *arena_push(reader->memory, reader->phrases, reader->phrase_count) = *phrase;
    return (uint32_t)reader->phrase_count - 1;
}

/* ---- phrases as they are written --------------------------------------------------------- */

struct parse { /* of one phrase */
    struct reader *reader;
    const struct phrase *phrase;
    struct element elements[ELEMENTS_MOST];
    size_t count;
    unsigned gaps, quantities;
    bool wrong;
};

enum { LIST_ABOUT, LIST_OVER, LIST_UNDER, LIST_FIRST_NAMED };

static void parse_fault(struct parse *parse, const char *what)
{
    if (!parse->wrong)
        diags_error(parse->reader->diags, parse->phrase->at, "in the phrase '%s' %s",
                    parse->phrase->source, what);
    parse->wrong = parse->reader->wrong = true;
}

static void put_element(struct parse *parse, enum element_kind kind, uint32_t id)
{
    if (parse->count == ELEMENTS_MOST)
        parse_fault(parse, "stand too many words; make it shorter");
    else
        parse->elements[parse->count++] = (struct element){.kind = kind, .id = id};
}

/* Puts a single word into a list: it is known by its stem. */
static void list_stem(struct reader *reader, uint32_t number, uint32_t stem)
{
    struct list *list = &reader->lists.lists[number];
    for (size_t i = 0; i < list->stem_count; i++)
        if (list->stems[i] == stem)
            return;
    *arena_push(reader->memory, list->stems, list->stem_count) = stem;
}

static void add_alternatives(struct parse *parse, const struct phrase *phrase, const char *source,
                             size_t length, char between)
{
    for (size_t at = 0; at <= length;) {
        const char *end = between ? memchr(source + at, between, length - at) : NULL;
        size_t size = end ? (size_t)(end - source) - at : length - at;
        if (!size)
            parse_fault(parse, "a word is missing beside a '|'");
        else if (phrase->role == ROLE_LIST && word_length(source + at, size) == size) {
            uint32_t word = word_add(parse->reader, source + at, size, true);
            parse->reader->words.lexemes[word].vocabulary = true;
            list_stem(parse->reader, phrase->item, parse->reader->words.lexemes[word].stem);
        } else if (!phrase_add(parse->reader, phrase, source + at, size))
            parse->wrong = true;
        at += size + 1;
    }
}

/* A list without a name of its own, for alternatives and for what may be left out. */
static uint32_t nameless_list(struct parse *parse, const char *source, size_t length, char between)
{
    size_t before = parse->reader->lists.count;
    uint32_t list = interned_add(&parse->reader->lists, source, length);
    struct phrase item = *parse->phrase;
    item.role = ROLE_LIST;
    item.item = list;
    item.dimension = DIM_COUNT;
    if (list == before)
        add_alternatives(parse, &item, source, length, between);
    return list;
}

static void parse_words(struct parse *parse, const char *source, size_t length)
{
    for (size_t at = 0; at < length;) {
        size_t size = word_length(source + at, length - at);
        if (size) {
            uint32_t word = word_add(parse->reader, source + at, size, true);
            if (parse->phrase->role <= ROLE_HEDGE || parse->phrase->role == ROLE_LIST)
                parse->reader->words.lexemes[word].vocabulary = true;
            put_element(parse, ELEMENT_WORD, parse->reader->words.lexemes[word].stem);
        } else if (source[at] == '#' &&
                   (parse->phrase->role == ROLE_PATTERN || parse->phrase->role == ROLE_LIST)) {
            put_element(parse, ELEMENT_WORD, at ? parse->reader->glued : parse->reader->figure);
        } else if (!strchr("-'/.,&", source[at])) {
            parse_fault(parse, "stands a sign that means nothing there; a phrase is made of words, "
                               "a|b, [x], {list}, {q}, {n} and ..., or it is a pattern");
        }
        at += size ? size : 1;
    }
}

static void parse_braces(struct parse *parse, const char *name, size_t length)
{
    if (length == 1 && (*name == 'q' || *name == 'n')) {
        if (parse->phrase->dimension == DIM_COUNT)
            parse_fault(parse, "stands a quantity; only the phrases of a number have one");
        parse->quantities++;
        put_element(parse, ELEMENT_QUANTITY,
                    (uint32_t)parse->phrase->dimension * 2 + (*name == 'q'));
        return;
    }
    uint32_t list =
        interned_find(&parse->reader->lists, name - 1, length + 2); /* with its braces */
    if (list == NO_INDEX)
        parse_fault(parse, "stands a list that language.words does not have");
    else
        put_element(parse, ELEMENT_LIST, list);
}

static void parse_elements(struct parse *parse, const char *source, size_t length);

/* [x]: a word or a list that may be there, or several words. */
static void parse_optional(struct parse *parse, const char *source, size_t length)
{
    size_t first = parse->count;
    parse_elements(parse, source, length);
    if (parse->count == first || parse->wrong)
        return;
    if (parse->count > first + 1) {
        parse->count = first;
        put_element(parse, ELEMENT_LIST, nameless_list(parse, source, length, '\0'));
    }
    parse->elements[first].optional = true;
}

static void parse_elements(struct parse *parse, const char *source, size_t length)
{
    for (size_t at = 0; at < length && !parse->wrong;) {
        const char *s = source + at;
        size_t size = 0; /* up to the next space that is in no bracket */
        for (int depth = 0; at + size < length && (depth || s[size] != ' '); size++)
            if (s[size] <= ']') /* no letter */
                depth += (s[size] == '[') - (s[size] == ']');
        at += size + 1;
        if (!size)
            continue;
        if (*s == '[') {
            if (s[size - 1] != ']')
                parse_fault(parse, "a bracket is not closed, or hangs on a word");
            else
                parse_optional(parse, s + 1, size - 2);
        } else if (size == 3 && !memcmp(s, "...", 3)) {
            parse->gaps++;
            put_element(parse, ELEMENT_GAP, 0);
        } else if (memchr(s, '|', size)) {
            put_element(parse, ELEMENT_LIST, nameless_list(parse, s, size, '|'));
        } else if (*s == '{' && s[size - 1] == '}') {
            parse_braces(parse, s + 1, size - 2);
        } else {
            parse_words(parse, s, size);
        }
    }
}

/* A single word of a list is known by its stem; one with a role of its own plays it by itself. */
static bool add_single(struct reader *reader, const struct phrase *phrase, uint32_t stem)
{
    if (phrase->role == ROLE_LIST) {
        list_stem(reader, (uint32_t)phrase->item, stem);
        return true;
    }
    if (phrase->role <= ROLE_STATEMENT || phrase->role == ROLE_PATTERN)
        return false;
    reader->stems.stems[stem].roles |= UINT32_C(1) << phrase->role;
    return true;
}

bool phrase_add(struct reader *reader, const struct phrase *phrase, const char *source,
                size_t length)
{
    struct parse parse; /* of its elements only those that are there */
    parse.reader = reader;
    parse.phrase = phrase;
    parse.count = 0;
    parse.gaps = parse.quantities = 0;
    parse.wrong = false;
    if (!memchr(source, ' ', length) && !memchr(source, '[', length) &&
        memchr(source, '|', length)) {
        add_alternatives(&parse, phrase, source, length, '|');
        return !parse.wrong;
    }
    struct phrase anchored = *phrase; /* "^ x" begins its clause, "x $" ends it */
    parse.phrase = &anchored;
    anchored.first = length > 2 && !memcmp(source, "^ ", 2);
    anchored.last = length > 2 && !memcmp(source + length - 2, " $", 2);
    source += anchored.first ? 2 : 0;
    length -= 2u * anchored.first + 2u * anchored.last;
    if (length && word_length(source, length) == length)
        parse_words(&parse, source, length);
    else
        parse_elements(&parse, source, length);
    bool one_word = parse.count == 1 && parse.elements[0].kind == ELEMENT_WORD;
    size_t leading = 0;
    while (leading < parse.count && parse.elements[leading].optional)
        leading++;
    if (leading == parse.count || parse.elements[leading].kind == ELEMENT_GAP ||
        parse.elements[parse.count - 1].kind == ELEMENT_GAP)
        parse_fault(&parse, "nothing need be said; name a word at each end");
    if (parse.gaps > MATCH_GAPS)
        parse_fault(&parse, "stand more than two gaps");
    if (phrase->role == ROLE_NUMBER && !parse.quantities)
        parse_fault(&parse, "stands no quantity; write {q} or {n} in it");
    if ((phrase->role == ROLE_OBJECTION || phrase->role == ROLE_NONE) && !one_word)
        parse_fault(
            &parse,
            "stands more than a word; only single words stand under 'objections' and 'nones'");
    bool floats = !anchored.first && !anchored.last;
    if (parse.wrong || (floats && one_word && add_single(reader, phrase, parse.elements[0].id)))
        return !parse.wrong;
    struct sequence path = {parse.elements, parse.count};
    bool fine = true;
    if (phrase->role == ROLE_LIST) {
        struct list *list = &reader->lists.lists[phrase->item];
        path.elements = memcpy(arena_room(reader->memory, parse.count, sizeof *path.elements),
                               parse.elements, parse.count * sizeof *path.elements);
        *arena_push(reader->memory, list->items, list->item_count) = path;
        fine = floats;
    } else {
        fine = trie_add(reader, 0, path, phrase_new(reader, &anchored));
    }
    if (!fine)
        parse_fault(&parse, floats
                                ? "stand lists that hold too much, or name each other"
                                : "stands an end of the clause; only a phrase by itself has one");
    return fine;
}

/* ---- from the rules ---------------------------------------------------------------------- */

/* Goes on after a phrase that is wrong, so that all of them are told at once. */
static void add_phrases(struct reader *reader, const struct phrases *phrases, enum role role,
                        size_t observable, size_t item)
{
    for (size_t i = 0; i < phrases->count; i++) {
        struct phrase phrase = {.source = phrases->list[i],
                                .at = phrases->at ? phrases->at[i] : (struct position){0},
                                .role = role,
                                .observable = (uint32_t)observable,
                                .item = (uint32_t)item,
                                .dimension = DIM_COUNT};
        if (role == ROLE_NUMBER)
            phrase.dimension = reader->rules->observables[observable].dimension;
        if (phrase.source[0] == '/')
            pattern_add(reader, &phrase);
        else
            (void)phrase_add(reader, &phrase, phrase.source, strlen(phrase.source));
    }
}

/* Words that count as one, words that are no form of another, words that may stand anywhere. */
static void add_word_lists(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    for (size_t i = 0; i < l->apart.count; i++) {
        const char *word = l->apart.list[i];
        char stem[WORD_LONGEST]; /* as no other has */
        int size = snprintf(stem, sizeof stem, "=%s", word);
        uint32_t index = word_add(reader, word, strlen(word), false);
        reader->words.lexemes[index].stem =
            stem_add(reader, stem, size < WORD_LONGEST ? (size_t)size : WORD_LONGEST - 1);
    }
    for (size_t i = 0; i < l->same.count + l->fillers.count; i++) {
        bool same = i < l->same.count;
        uint32_t first = NO_INDEX;
        for (const char *at = same ? l->same.list[i] : l->fillers.list[i - l->same.count]; *at;) {
            size_t length = strcspn(at, "|");
            uint32_t word = word_add(reader, at, length, true);
            uint32_t stem = reader->words.lexemes[word].stem;
            first = first == NO_INDEX ? stem : first;
            if (same)
                reader->stems.stems[stem].same = reader->words.lexemes[word].stem = first;
            else
                reader->stems.stems[stem].filler = true;
            at += length + (at[length] == '|');
        }
    }
}

static void add_lists(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    const struct phrases *const bounds[] = {&l->about, &l->over, &l->under};
    struct interned *names = &reader->lists;
    interned_add(names, "{about}", 7);
    interned_add(names, "{over}", 6);
    interned_add(names, "{under}", 7);
    for (size_t i = 0; i < l->list_count; i++) { /* all names before any item: lists name lists */
        char key[64];
        (void)snprintf(key, sizeof key, "{%s}", l->lists[i].id);
        interned_add(names, key, strlen(key));
    }
    for (size_t i = 0; i < sizeof bounds / sizeof *bounds; i++)
        add_phrases(reader, bounds[i], ROLE_LIST, 0, i);
    for (size_t i = 0; i < l->list_count; i++)
        if (strncmp(l->lists[i].id, COLUMN_LEAD, strlen(COLUMN_LEAD)) != 0) /* no words of talk */
            add_phrases(reader, &l->lists[i].items, ROLE_LIST, 0, LIST_FIRST_NAMED + i);
    struct trie *t = reader->trie;
    t->bounds = node_new(t, reader->memory);
    for (uint32_t i = 0; i < LIST_FIRST_NAMED; i++) {
        const struct element bound = {.kind = ELEMENT_LIST, .id = i};
        const struct phrase phrase = {.role = ROLE_BOUND, .item = i};
        if (!trie_add(reader, t->bounds, (struct sequence){&bound, 1}, phrase_new(reader, &phrase)))
            reader->wrong = true;
    }
}

static void add_language(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    const struct {
        const struct phrases *phrases;
        enum role role;
    } lists[] = {
        {&l->negations, ROLE_NEGATION},
        {&l->hedges, ROLE_HEDGE},
        {&l->breaks, ROLE_BREAK},
        {&l->exceptions, ROLE_EXCEPTION},
        {&l->alternatives, ROLE_OR},
        {&l->additions, ROLE_AND},
        {&l->others, ROLE_OTHERS},
        {&l->here, ROLE_HERE},
        {&l->objections, ROLE_OBJECTION},
        {&l->nones, ROLE_NONE},
        {&l->corrections, ROLE_CORRECTION},
        {&l->ignore, ROLE_IGNORE},
        {&l->yes, ROLE_YES},
        {&l->no, ROLE_NO},
    };
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        add_phrases(reader, lists[i].phrases, lists[i].role, 0, 0);
    for (size_t i = 0; i < l->statement_count; i++)
        add_phrases(reader, &l->statements[i].phrases, ROLE_STATEMENT, 0, i);
    for (size_t i = 0; i < reader->rules->question_count; i++)
        add_phrases(reader, &reader->rules->questions[i].phrases, ROLE_QUESTION, 0, i);
    for (size_t i = 0; i < l->spared.count; i++) {
        const char *spared = l->spared.list[i]; /* stemmed when a text holds it */
        uint32_t word = interned_add(&reader->words, spared, strlen(spared));
        reader->words.lexemes[word].spared = true;
    }
}

/* A sign or one of these words; only plain ones can be part of a pattern. */
static void put_list(struct text *text, const char *open, const struct phrases *phrases)
{
    text_puts(text, open);
    for (size_t i = 0; i < phrases->count; i++)
        if (!phrases->list[i][strspn(phrases->list[i], "abcdefghijklmnopqrstuvwxyz '")])
            text_printf(text, "|%s", phrases->list[i]);
    text_puts(text, ")");
}

/* "About", "at least", "under", all optional, as PCRE2 has them. */
static void build_prefix(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    TEXT(text);
    put_list(&text, "(?:(?:(?<over>>", &l->over);
    put_list(&text, "|(?<under><", &l->under);
    put_list(&text, "|(?:~", &l->about);
    text_puts(&text, ") ?){0,2}");
    reader->quantity_prefix = arena_copy(reader->memory, text.bytes, text.length);
}

bool phrases_build(struct reader *reader, struct diags *diags)
{
    const struct rules *rules = reader->rules;
    reader->diags = diags;
    reader->words = (struct interned){.memory = reader->memory, .size = sizeof(struct lexeme)};
    reader->stems = (struct interned){.memory = reader->memory, .size = sizeof(struct stem)};
    reader->lists = (struct interned){.memory = reader->memory, .size = sizeof(struct list)};
    reader->stemmer = sb_stemmer_new("english", NULL);
    if (!reader->stemmer)
        memory_exhausted();
    patterns_open(reader);
    struct trie *t = reader->trie = arena_alloc(reader->memory, sizeof *reader->trie);
    t->slots = arena_array(reader->memory, EDGE_SLOTS, sizeof *t->slots);
    node_new(t, reader->memory);
    edge_add(reader, UINT64_MAX, 0);
    build_prefix(reader);
    reader->figure = stem_add(reader, "#", 1);
    reader->glued = stem_add(reader, "_#", 2);
    add_word_lists(reader);
    add_lists(reader);
    for (size_t i = 0; i < rules->observable_count; i++) {
        const struct observable *o = &rules->observables[i];
        add_phrases(reader, &o->phrases, ROLE_NUMBER, i, 0);
        for (size_t j = 0; j < o->value_count; j++)
            add_phrases(reader, &o->values[j].phrases, ROLE_VALUE, i, j);
    }
    add_language(reader);
    const char *words; /* of quantities, which stand in no phrase */
    for (size_t i = 0; (words = quantity_word(i)); i++)
        for (size_t at = 0; words[at];) {
            size_t length = word_length(words + at, strlen(words + at));
            if (length) {
                uint32_t word = word_add(reader, words + at, length, false);
                reader->words.lexemes[word].vocabulary = true;
            }
            at += length ? length : 1;
        }
    reader->bare = node_new(t, reader->memory);
    add_accept(reader, reader->bare,
               phrase_new(reader, &(struct phrase){.role = ROLE_NUMBER, .observable = NO_INDEX}));
    for (uint32_t i = 0; i < reader->words.count; i++) {
        const char first = reader->words.lexemes[i].word.text[0];
        if (reader->words.lexemes[i].vocabulary && first >= 'a' && first <= 'z')
            *arena_push(reader->memory, reader->by_letter[first - 'a'],
                        reader->letter_count[first - 'a']) = i;
    }
    reader->stem_in = arena_array(reader->memory, reader->stems.count, sizeof(uint32_t));
    reader->diags = NULL;
    return !reader->wrong;
}

/* ---- the words of a text ----------------------------------------------------------------- */

/* Whether a word can begin a quantity: "12", "two", "half", "a" (week); and its use as a unit. */
static void look_at_word(const char *word, size_t length, struct lexeme *lexeme)
{
    static const char unit[] = " days";
    char trial[48];
    struct quantity quantity;
    size_t used = 0;
    lexeme->counts = -1;
    lexeme->letters = (uint16_t)strspn(word, "abcdefghijklmnopqrstuvwxyz");
    if (length + sizeof unit <= sizeof trial) {
        memcpy(trial, word, length);
        memcpy(trial + length, unit, sizeof unit);
        if (quantity_read(trial, length + sizeof unit - 1, DIM_DAYS, &quantity, &used) ==
            QUANTITY_OK)
            lexeme->counts = 1;
    }
    for (size_t at = 0, size; at < length; at += size + 1) { /* "2h30", "week's" */
        size = 0;
        while (at + size < length && word[at + size] != '\'' &&
               !(word[at + size] >= '0' && word[at + size] <= '9'))
            size++;
        if (size)
            lexeme->units |= (uint16_t)quantity_dimensions(word + at, size);
    }
    if ((unsigned char)word[0] == 0xB0 || (length >= 3 && !memcmp(word, "deg", 3)))
        lexeme->units |= 1u << DIM_CELSIUS; /* the sign of degrees, without its first byte */
}

static void token_add(struct job *job, size_t at, size_t size)
{
    struct reader *reader = job->reader;
    const char *bytes = job->working.bytes;
    struct lexeme lost, *lexeme = &lost;
    uint32_t word = word_met(reader, bytes + at, size);
    if (word != NO_INDEX)
        lexeme = &reader->words.lexemes[word];
    else
        lost = (struct lexeme){.stem = NO_INDEX};
    if (!lexeme->counts) {
        look_at_word(bytes + at, size, lexeme);
        const struct stem *stem = &reader->stems.stems[lexeme->stem];
        lexeme->roles = lexeme->stem != NO_INDEX ? stem->roles : 0;
        lexeme->filler = lexeme->stem != NO_INDEX && stem->filler;
    }
    const bool figure = bytes[at] >= '0' && bytes[at] <= '9';
    struct token *token = &job->tokens[job->token_count++];
    *token = (struct token){.start = (uint32_t)at,
                            .end = (uint32_t)(at + size),
                            .stem = lexeme->stem,
                            .units = lexeme->units,
                            .letters = lexeme->letters,
                            .roles = lexeme->roles,
                            .filler = lexeme->filler,
                            .figure = figure,
                            .counts = lexeme->counts > 0 || figure};
    for (at += size; bytes[at] == '%' || bytes[at] == '/' || bytes[at] == ' '; at++)
        if (bytes[at] != ' ')
            token->units |= 1u << DIM_PERCENT;
}

/* Marks of what follows each word of a clause; after fillers, of what follows them, too. */
static void look_ahead(struct job *job, size_t first)
{
    const struct trie *t = job->reader->trie;
    uint64_t next = UINT64_C(1) << END_MARK;
    uint16_t units = 1u << DIM_NONE;
    for (size_t i = job->token_count; i-- > first;) {
        struct token *token = &job->tokens[i];
        units |= token->units;
        token->units = units;
        token->next = next;
        uint64_t own = token->stem == NO_INDEX ? 0 : mark_of(token->stem);
        own |= token->figure ? mark_of(job->reader->figure) : 0;
        token->marks = own;
        token->quantity = token->counts || (own & t->nodes[t->bounds].marks);
        own |= (uint64_t)token->quantity << QUANTITY_MARK;
        next = own | (token->filler ? next : UINT64_C(1) << END_MARK);
        token->clause = (uint32_t)job->token_count;
    }
}

void job_tokens(struct job *job)
{
    const struct working *w = &job->working;
    size_t first = 0; /* token of the clause under way */
    job->tokens = arena_room(job->scratch, w->length / 2 + 2, sizeof *job->tokens);
    job->token_count = 0;
    for (size_t at = 0; at <= w->length;) {
        size_t size = at < w->length ? word_length(w->bytes + at, w->length - at) : 0;
        if (size) {
            token_add(job, at, size);
        } else if (at == w->length || w->bytes[at] == '\n') {
            look_ahead(job, first);
            first = job->token_count;
        }
        at += size ? size : 1;
    }
}

/* ---- matches ----------------------------------------------------------------------------- */

struct match *match_add(struct match_list *list)
{
    if (list->count == MATCH_MOST) {
        list->full = true;
        list->count--;
    }
    struct match *match = arena_push(list->arena, list->items, list->count);
    *match = (struct match){0};
    return match;
}

enum {
    VISITS_MOST = 2000, /* of nodes of the trie, for phrases that begin at one word */
    FILLERS_MOST = 4,   /* between two words of a phrase */
    GAP_MOST = 4,       /* words */
};

struct walk { /* through the trie, from one word on */
    struct job *job;
    uint32_t start; /* the word */
    uint32_t end;   /* of its clause */
    unsigned visits;
    struct match found;        /* what has been met on the way */
    size_t first_match;        /* of those that begin here */
    uint32_t bound, bound_end; /* the longest "about" or "at least", and the word after it */
};

/* The phrase is there, up to the word before `end`. Of gaps the shortest that will do is taken. */
static void accept(struct walk *w, const struct phrase *phrase, uint32_t end)
{
    struct job *job = w->job;
    if ((phrase->first && w->start && job->tokens[w->start - 1].clause == w->end) ||
        (phrase->last && end != w->end))
        return;
    if (phrase->role == ROLE_PATTERN) {
        pattern_run(job, &job->reader->patterns[phrase->item], w->start);
        return;
    }
    if (phrase->role == ROLE_BOUND && end > w->bound_end) {
        w->bound = phrase->item;
        w->bound_end = end;
    }
    if (phrase->role == ROLE_BOUND ||
        (job->asked == RULES_NONE && (phrase->role == ROLE_YES || phrase->role == ROLE_NO)))
        return;
    struct match match = w->found;
    match.start = job->tokens[w->start].start;
    if (match.q_end && match.q_start < match.start)
        match.start = match.q_start; /* a sign before the figure */
    match.end = job->tokens[end - 1].end;
    if (match.q_end > match.end)
        match.end = match.q_end;
    match.role = phrase->role;
    match.observable = phrase->observable != NO_INDEX ? phrase->observable : (uint32_t)job->asked;
    match.item = phrase->item;
    match.asked = phrase->role <= ROLE_NUMBER && (int)match.observable == job->asked;
    for (size_t i = w->first_match; match.gap_count && i < job->matches.count; i++) {
        struct match *other = &job->matches.items[i];
        if (other->gap_count && other->role == match.role && other->item == match.item &&
            other->observable == match.observable) {
            if (match.end < other->end)
                *other = match;
            return;
        }
    }
    *match_add(&job->matches) = match;
}

static void visit(struct walk *w, uint32_t node, uint32_t at, uint32_t last, unsigned skipped);

/* Where a word leads from a node, and on from there. */
static void follow(struct walk *w, uint32_t node, uint32_t stem, uint32_t at)
{
    const struct trie *t = w->job->reader->trie;
    const uint64_t key = edge_key(node, stem), next = w->job->tokens[at - 1].next;
    for (uint32_t i = t->slots[edge_slot(key)]; i; i = t->edges[i].next)
        if (t->edges[i].key == key && (t->nodes[t->edges[i].child].marks & next))
            visit(w, t->edges[i].child, at, at, 0);
}

/* Past "about", "at least" and the like: where the quantity would begin. */
static uint32_t visit_bounds(struct walk *w, uint32_t at)
{
    const struct trie *t = w->job->reader->trie;
    for (unsigned round = 0; round < 2 && at < w->end; round++) {
        w->bound_end = 0;
        if (w->job->tokens[at].stem != NO_INDEX &&
            (w->job->tokens[at].marks & t->nodes[t->bounds].marks))
            follow(w, t->bounds, w->job->tokens[at].stem, at + 1);
        if (!w->bound_end)
            break;
        w->found.over = w->found.over || w->bound == LIST_OVER;
        w->found.under = w->found.under || w->bound == LIST_UNDER;
        at = w->bound_end;
    }
    return at;
}

/* The quantities of a branch and of those next to it, with what may stand before them. */
static void visit_quantities(struct walk *w, const struct branch *b, uint32_t at)
{
    const struct job *job = w->job;
    const struct branch *branches = job->reader->trie->branches;
    const char *bytes = job->working.bytes;
    const struct match before = w->found;
    at = visit_bounds(w, at);
    if (at < w->end && job->tokens[at].counts) {
        uint32_t start = job->tokens[at].start, from = start;
        uint32_t to = clause_end(bytes, job->tokens[w->end - 1].end);
        for (; from && !w->found.gap_count && strchr("<>~ ", bytes[from - 1]); from--) {
            if (bytes[from - 1] == ' ' && (from < 2 || !strchr("<>~", bytes[from - 2])))
                break;
            w->found.over = w->found.over || bytes[from - 1] == '>';
            w->found.under = w->found.under || bytes[from - 1] == '<';
        }
        if (start && strchr("+-.", bytes[start - 1]) && (start == 1 || bytes[start - 2] == ' '))
            start--;
        w->found.q_start = start;
        for (; b; b = b->next != NO_INDEX ? &branches[b->next] : NULL) {
            uint32_t behind = at;
            if (b->kind != ELEMENT_QUANTITY ||
                ((b->id & 1) && !(job->tokens[at].units >> b->id / 2 & 1)))
                continue;
            const size_t length =
                quantity_at(bytes, to, start, (enum dimension)(b->id / 2), b->id & 1);
            const uint32_t end = w->found.q_end = start + (uint32_t)length;
            while (behind < w->end && job->tokens[behind].start < end)
                behind++;
            if (length && job->tokens[behind - 1].end <= end)
                visit(w, b->child, behind, behind, 0);
        }
    }
    w->found = before;
}

static void visit_gap(struct walk *w, const struct branch *b, uint32_t at)
{
    const struct token *tokens = w->job->tokens;
    const unsigned gap = w->found.gap_count;
    for (uint32_t behind = at; behind <= at + GAP_MOST && behind < w->end; behind++) {
        if (!(w->job->reader->trie->nodes[b->child].marks & tokens[behind - 1].next))
            continue;
        if (behind > at && b->id == GAP_SEEN) {
            w->found.gap_count = gap + 1;
            w->found.gaps[gap].start = tokens[at - 1].end;
            w->found.gaps[gap].end = tokens[behind - 1].end;
        }
        visit(w, b->child, behind, behind, FILLERS_MOST);
    }
    w->found.gap_count = gap;
}

/* `last` is after the last word that was taken; since then some fillers may have been skipped. */
static void visit(struct walk *w, uint32_t node, uint32_t at, uint32_t last, unsigned skipped)
{
    const struct reader *r = w->job->reader;
    const struct trie *t = r->trie;
    const struct node *n = &t->nodes[node];
    if (++w->visits > VISITS_MOST)
        return;
    for (uint32_t i = at == last ? n->accepts : NO_INDEX; i != NO_INDEX; i = t->accepts[i].next)
        accept(w, &r->phrases[t->accepts[i].phrase], last);
    if (at >= w->end)
        return;
    const struct token *token = &w->job->tokens[at];
    if (n->branches != NO_INDEX && token->quantity)
        visit_quantities(w, &t->branches[n->branches], at);
    for (uint32_t i = n->branches; i != NO_INDEX; i = t->branches[i].next)
        if (t->branches[i].kind == ELEMENT_GAP)
            visit_gap(w, &t->branches[i], at);
    if ((n->marks & token->marks) && token->stem != NO_INDEX)
        follow(w, node, token->stem, at + 1);
    if (token->figure && (n->marks & token->marks))
        follow(w, node, r->figure, at + 1);
    if (token->filler && skipped < FILLERS_MOST && at + 1 < w->end &&
        (n->marks & token->next & ~(UINT64_C(1) << END_MARK)))
        visit(w, node, at + 1, last, skipped + 1);
}

/* All phrases that begin with the two halves of this word, written as one: "5mm", "day12". */
static void follow_halves(struct walk *w, uint32_t at, size_t length, uint32_t first,
                          uint32_t second)
{
    const struct trie *t = w->job->reader->trie;
    const uint64_t key = edge_key(0, first);
    for (uint32_t i = length && second != NO_INDEX ? t->slots[edge_slot(key)] : 0; i;
         i = t->edges[i].next)
        if (t->edges[i].key == key)
            follow(w, t->edges[i].child, second, at + 1);
}

static void visit_word(struct walk *w, uint32_t at)
{
    struct reader *r = w->job->reader;
    const struct trie *t = r->trie;
    const struct token *token = &w->job->tokens[at];
    const char *word = w->job->working.bytes + token->start;
    w->start = at;
    w->end = token->clause;
    w->visits = 0;
    w->first_match = w->job->matches.count;
    if (token->stem != NO_INDEX)
        follow(w, 0, token->stem, at + 1);
    if (token->figure) {
        size_t figures = strspn(word, "0123456789"), length = token->end - token->start;
        follow(w, 0, r->figure, at + 1);
        if (figures < length)
            follow_halves(w, at, length, r->figure,
                          stem_known(r, word + figures, length - figures));
    } else if (word[token->letters] >= '0' && word[token->letters] <= '9') {
        follow_halves(w, at, token->letters, stem_known(r, word, token->letters), r->glued);
    }
    if (token->quantity && t->nodes[0].branches != NO_INDEX)
        visit_quantities(w, &t->branches[t->nodes[0].branches], at);
}

/* A question about a number may be answered by nothing but a quantity: the first that fits it. For
 * days that is not the 90 of "90 min". */
static void find_bare(struct walk *w)
{
    struct job *job = w->job;
    const struct observable *o = &job->reader->rules->observables[job->asked];
    const struct branch bare = {ELEMENT_QUANTITY, 2 * (uint32_t)o->dimension, job->reader->bare,
                                NO_INDEX};
    for (size_t i = 0; i < job->token_count; i++) {
        struct quantity quantity;
        size_t used = 0, before = job->matches.count;
        w->start = (uint32_t)i;
        w->end = job->tokens[i].clause;
        w->visits = 0;
        visit_quantities(w, &bare, (uint32_t)i);
        if (job->matches.count == before)
            continue;
        const struct match *match = &job->matches.items[before];
        if (quantity_read(job->working.bytes + match->q_start, job->working.length - match->q_start,
                          o->dimension, &quantity, &used) == QUANTITY_OK &&
            used == match->q_end - match->q_start)
            return;
        job->matches.count = before;
    }
}

/* A word may play several parts; the one that changes most is taken: they are in that order. */
static void add_word_roles(struct job *job)
{
    const uint32_t answers = UINT32_C(1) << ROLE_YES | UINT32_C(1) << ROLE_NO;
    const uint32_t understood = UINT32_C(1) << ROLE_QUESTION | UINT32_C(1) << ROLE_IGNORE |
                                UINT32_C(1) << ROLE_OBJECTION | UINT32_C(1) << ROLE_NONE;
    for (size_t i = 0; i < job->token_count; i++) {
        const struct token *token = &job->tokens[i];
        uint32_t parts = token->roles & ~understood & ~(job->asked == RULES_NONE ? answers : 0);
        enum role role = ROLE_NEGATION;
        while (parts && !(parts >> role & 1))
            role++;
        if (parts)
            *match_add(&job->matches) = (struct match){.start = token->start,
                                                       .end = token->end,
                                                       .role = role,
                                                       .word = true,
                                                       .answers = token->roles >> ROLE_NO & 1};
    }
}

void job_scan(struct job *job)
{
    job->matches = (struct match_list){.arena = job->scratch};
    job->limits = NULL;
    job->reader->scan++;
    add_word_roles(job);
    struct walk walk = {.job = job};
    for (size_t i = 0; i < job->token_count; i++)
        visit_word(&walk, (uint32_t)i);
    if (job->asked != RULES_NONE && job->reader->rules->observables[job->asked].kind == KIND_NUMBER)
        find_bare(&walk);
    patterns_run(job);
}

/* ---- slips ------------------------------------------------------------------------------- */

/* English is full of words a letter apart: "bank" and "blank", "coats" and "coast". So a slip must
 * be of a kind that fingers and ears make: letters swapped, doubled or not, a vowel lost, added or
 * mistaken for another; in a long word any letter lost or added or wrong. The first letter is
 * seldom mistyped, the last carries the ending. Real words that remain are in language.spared. */
enum slip { SLIP_NONE, SLIP_SWAPPED, SLIP_LENGTH, SLIP_WRONG, SLIP_FAR };
enum {
    SLIP_SHORTEST = 4,
    MEANT_SHORTEST = 5,
    LONG_WORD = 7
}; /* above it any letter may be wrong, at it a neighbour on the keyboard */

/* Letters that come and go unheard. */
static bool is_soft(char c)
{
    return c && strchr("aeiouyh", c);
}

static bool beside_on_keyboard(char a, char b)
{
    static const char rows[] = "qwertyuiop.asdfghjkl..zxcvbnm"; /* eleven a row */
    const char *at = strchr(rows, a), *other = strchr(rows, b);
    if (!at || !other)
        return false;
    long rise = (at - rows) / 11 - (other - rows) / 11,
         run = (at - rows) % 11 - (other - rows) % 11;
    return rise >= -1 && rise <= 1 && run >= -1 && run <= 1;
}

/* How `typed` would come from `meant`, whose lengths differ by one at most. */
static enum slip slip_between(const char *typed, size_t length, const char *meant,
                              size_t meant_length)
{
    const char *longer = length > meant_length ? typed : meant;
    const char *other = longer == typed ? meant : typed;
    size_t least = length < meant_length ? length : meant_length, at = 0;
    while (at < least && typed[at] == meant[at])
        at++;
    if (at == least && length == meant_length)
        return SLIP_NONE;
    if (!at)
        return SLIP_FAR;
    size_t rest = least - at; /* that should be the same, from there or from after the slip */
    if (length != meant_length) {
        bool doubled = longer[at] == longer[at - 1];
        bool lost = doubled || (rest && (is_soft(longer[at]) || meant_length >= LONG_WORD));
        return lost && !memcmp(longer + at + 1, other + at, rest) ? SLIP_LENGTH : SLIP_FAR;
    }
    if (rest < 2)
        return SLIP_FAR;
    if (!memcmp(typed + at + 1, meant + at + 1, rest - 1)) {
        bool soft = is_soft(typed[at]) && is_soft(meant[at]);
        bool neighbours = length >= LONG_WORD && beside_on_keyboard(typed[at], meant[at]);
        return soft || neighbours || length > LONG_WORD ? SLIP_WRONG : SLIP_FAR;
    }
    bool swapped = typed[at] == meant[at + 1] && typed[at + 1] == meant[at] &&
                   !memcmp(typed + at + 2, meant + at + 2, rest - 2);
    return swapped && (rest > 2 || length >= LONG_WORD) ? SLIP_SWAPPED : SLIP_FAR;
}

/* The one word of the phrases that `word` is a slip of, or NO_INDEX. */
static uint32_t slip_of(const struct reader *reader, const char *word, size_t length)
{
    uint32_t meant = NO_INDEX;
    enum slip best = SLIP_FAR;
    bool several = false;
    const uint32_t *all = reader->by_letter[word[0] - 'a'];
    for (size_t k = reader->letter_count[word[0] - 'a']; k-- > 0;) {
        const uint32_t i = all[k];
        const struct lexeme *own = &reader->words.lexemes[i];
        const size_t other = own->word.length;
        if (other < MEANT_SHORTEST || other + 1 < length || other > length + 1)
            continue;
        enum slip slip = slip_between(word, length, own->word.text, other);
        if (slip == SLIP_NONE)
            return NO_INDEX; /* no slip at all */
        if (slip != SLIP_FAR && slip == best)
            several = several || own->stem != reader->words.lexemes[meant].stem;
        if (slip < best) {
            best = slip;
            meant = i;
            several = false;
        }
    }
    return several ? NO_INDEX : meant;
}

bool job_slips(struct job *job)
{
    const struct reader *r = job->reader;
    const struct working *w = &job->working;
    size_t count = 0;
    struct correction *corrections =
        arena_array(job->scratch, job->token_count, sizeof *corrections);
    for (size_t i = 0; i < job->token_count; i++) {
        const struct token *token = &job->tokens[i];
        const char *word = w->bytes + token->start;
        size_t length = token->end - token->start;
        if (token->covered || token->roles || token->stem != NO_INDEX || length < SLIP_SHORTEST ||
            length > WORD_LONGEST || token->letters < length)
            continue;
        uint32_t known = interned_find(&r->words, word, length);
        if (known == NO_INDEX || r->words.lexemes[known].vocabulary ||
            r->words.lexemes[known].spared)
            continue;
        struct lexeme *lexeme = &r->words.lexemes[known];
        if (!lexeme->looked)
            lexeme->meant = slip_of(r, word, length);
        lexeme->looked = true;
        uint32_t meant = lexeme->meant;
        if (meant != NO_INDEX)
            corrections[count++] =
                (struct correction){token->start, token->end, r->words.lexemes[meant].word.text,
                                    r->words.lexemes[meant].word.length};
    }
    if (count)
        working_correct(&job->working, corrections, count, job->scratch);
    return count > 0;
}
