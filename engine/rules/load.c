/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "rules/fields.h"
#include "rules/rules.h"

/* ==== catalogue =============================================================================== */

/* Documents -> items by kind and id, later folders replacing what earlier ones said. */

enum form {
    FORM_MANY,     /* a mapping from ids to items */
    FORM_ONE,      /* one item, with its id in it */
    FORM_WHOLE,    /* stands once; the key is its id */
    FORM_LANGUAGE, /* lists that add up, and items within */
};

static const struct section {
    const char *key;
    enum form form;
    enum item_kind kind;
    enum observable_class class;
} SECTIONS[] = {
    {"rules", FORM_WHOLE, ITEM_WHOLE, 0},
    {"scale", FORM_WHOLE, ITEM_WHOLE, 0},
    {"calibration", FORM_WHOLE, ITEM_WHOLE, 0},
    {"sources", FORM_MANY, ITEM_SOURCE, 0},
    {"groups", FORM_MANY, ITEM_GROUP, 0},
    {"signs", FORM_MANY, ITEM_OBSERVABLE, CLASS_SIGN},
    {"circumstances", FORM_MANY, ITEM_OBSERVABLE, CLASS_CIRCUMSTANCE},
    {"tests", FORM_MANY, ITEM_OBSERVABLE, CLASS_TEST},
    {"finding", FORM_ONE, ITEM_FINDING, 0},
    {"cause", FORM_ONE, ITEM_CAUSE, 0},
    {"species", FORM_MANY, ITEM_SPECIES, 0},
    {"grains", FORM_MANY, ITEM_GRAIN, 0},
    {"vessels", FORM_MANY, ITEM_VESSEL, 0},
    {"cautions", FORM_MANY, ITEM_CAUTION, 0},
    {"organisms", FORM_MANY, ITEM_ORGANISM, 0},
    {"cook", FORM_WHOLE, ITEM_WHOLE, 0},
    {"starters", FORM_MANY, ITEM_STARTER, 0},
    {"forecast", FORM_WHOLE, ITEM_WHOLE, 0},
    {"moves", FORM_MANY, ITEM_MOVE, 0},
    {"decision", FORM_WHOLE, ITEM_WHOLE, 0},
    {"review", FORM_WHOLE, ITEM_WHOLE, 0},
    {"learned", FORM_WHOLE, ITEM_WHOLE, 0},
    {"language", FORM_LANGUAGE, ITEM_WORDS, 0},
};
enum { SECTION_COUNT = sizeof SECTIONS / sizeof *SECTIONS };

/* ---- one item -------------------------------------------------------------------------------- */

/* The place of an item with a new id, or NULL. */
static struct item *item_append(struct loader *loader, struct item_list *items)
{
    if (items->count == items->room) {
        size_t room = items->room ? items->room * 2 : 16;
        struct item *list =
            arena_grow(loader->scratch, items->list, items->count, room, sizeof *list);
        if (!list)
            return NULL;
        items->list = list;
        items->room = room;
    }
    return &items->list[items->count++];
}

static void item_put(struct loader *loader, enum item_kind kind, struct item item)
{
    struct item_list *items = &loader->items[kind];
    size_t index;
    bool fresh;
    if (!names_add(&loader->made->memory->ids[kind], item.id, loader->keep, &index, &fresh))
        return;
    struct item *place = fresh ? item_append(loader, items) : &items->list[index];
    if (!place)
        return;
    if (!fresh && place->folder == item.folder)
        load_error(loader, item.at,
                   "%s '%s' is defined twice, first at %s:%zu; rename or remove one",
                   item_kind_name(kind), item.id, place->at.file, place->at.line);
    *place = item;
}

static void put_many(struct loader *loader, const struct section *section, const struct node *map,
                     size_t folder)
{
    if (!expect_kind(loader, map, NODE_MAP, map->key->text))
        return;
    for (const struct node *entry = map->first; entry; entry = entry->next)
        if (expect_id(loader, entry->key))
            item_put(loader, section->kind,
                     (struct item){.id = entry->key->text,
                                   .node = entry,
                                   .at = node_at(entry->key),
                                   .folder = folder,
                                   .class = section->class});
}

static void put_one(struct loader *loader, const struct section *section, const struct node *map,
                    size_t folder)
{
    if (!expect_kind(loader, map, NODE_MAP, section->key))
        return;
    const struct node *id = node_entry(map, "id");
    if (!id)
        node_error(loader, map, "a %s needs 'id'; add it", section->key);
    else if (expect_kind(loader, id, NODE_TEXT, "id") && expect_id(loader, id))
        item_put(loader, section->kind,
                 (struct item){.id = id->text, .node = map, .at = node_at(id), .folder = folder});
}

/* ---- language -------------------------------------------------------------------------------- */

static void put_language(struct loader *loader, const struct node *map, size_t folder)
{
    static const struct section parts[] = {{"words", FORM_MANY, ITEM_WORDS, 0},
                                           {"statements", FORM_MANY, ITEM_STATEMENT, 0}};
    struct node_list *languages = &loader->languages;
    if (!expect_kind(loader, map, NODE_MAP, "language"))
        return;
    if (languages->count == languages->room) {
        size_t room = languages->room ? languages->room * 2 : 4;
        const struct node **list = arena_grow(loader->scratch, languages->list, languages->count,
                                              room, sizeof(struct node *));
        if (!list)
            return;
        languages->list = list;
        languages->room = room;
    }
    languages->list[languages->count++] = map;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        const struct node *part = node_entry(map, parts[i].key);
        if (part)
            put_many(loader, &parts[i], part, folder);
    }
}

/* ---- documents ------------------------------------------------------------------------------- */

static void refuse_section(struct loader *loader, const struct node *key)
{
    const char *names[SECTION_COUNT];
    for (size_t i = 0; i < SECTION_COUNT; i++)
        names[i] = SECTIONS[i].key;
    const char *nearest = load_nearest(loader, key->text, names, SECTION_COUNT);
    node_error(
        loader, key, "unknown key '%s' at the top of a file%s", load_quote(loader, key->text),
        nearest ? load_hint(loader, nearest) : "; FORMAT.md lists those that may stand there");
}

static const struct section *section_named(const char *key)
{
    for (size_t i = 0; i < SECTION_COUNT; i++)
        if (!strcmp(SECTIONS[i].key, key))
            return &SECTIONS[i];
    return NULL;
}

void catalogue_add(struct loader *loader, const struct node *root, size_t folder)
{
    for (const struct node *entry = root->first; entry; entry = entry->next) {
        const struct section *section = section_named(entry->key->text);
        if (!section)
            refuse_section(loader, entry->key);
        else if (section->form == FORM_MANY)
            put_many(loader, section, entry, folder);
        else if (section->form == FORM_ONE)
            put_one(loader, section, entry, folder);
        else if (section->form == FORM_LANGUAGE)
            put_language(loader, entry, folder);
        else
            item_put(loader, section->kind,
                     (struct item){.id = section->key,
                                   .node = entry,
                                   .at = node_at(entry->key),
                                   .folder = folder});
    }
}

const struct item *catalogue_whole(const struct loader *loader, const char *id)
{
    int index = names_find(&loader->rules->memory->ids[ITEM_WHOLE], id);
    return index == RULES_NONE ? NULL : &loader->items[ITEM_WHOLE].list[index];
}

void *items_array(struct loader *loader, enum item_kind kind, size_t size)
{
    size_t count = loader->items[kind].count;
    return count ? arena_array(loader->keep, count, size) : NULL;
}

/* ==== load scale ============================================================================== */

/* The rule base's own name, the words for numbers, fitted numbers, groups of signs. */

/* ---- rules ----------------------------------------------------------------------------------- */

static const struct field RULES_FIELDS[] = {
    FIELD("name", REQUIRED, read_text, offsetof(struct rules, name)),
    FIELD("version", REQUIRED, read_text, offsetof(struct rules, version)),
};
static const struct shape RULES = SHAPE("'rules'", RULES_FIELDS);

/* ---- scale ----------------------------------------------------------------------------------- */

/* A mapping from words to numbers. */
static void read_words(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct word *words = arena_array(loader->keep, node->count, sizeof *words);
    if (!words)
        return;
    size_t used = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        words[used].word = entry->key->text;
        used += expect_number(loader, entry, entry->key->text, field->bounds, &words[used].number);
    }
    *(const struct word **)field_place(field, item) = words;
    *(size_t *)(void *)((char *)item + field->count) = used;
}

static const struct field SPOKEN_FIELDS[] = {
    NUMBER("at_least", REQUIRED, offsetof(struct word, number), SHARE),
    FIELD("say", REQUIRED, read_text, offsetof(struct word, word)),
};
static const struct shape SPOKEN = SHAPE("a spoken probability", SPOKEN_FIELDS);

static void read_spoken(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct scale *scale = item;
    if (!expect_kind(loader, node, NODE_LIST, field->key))
        return;
    struct word *words = arena_array(loader->keep, node->count, sizeof *words);
    if (!words)
        return;
    size_t used = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next, used++) {
        shape_read(loader, &SPOKEN, entry, &words[used]);
        if (used && words[used].number >= words[used - 1].number)
            node_error(
                loader, entry,
                "'at_least' rises from %g to %g; spoken probabilities stand in falling order",
                words[used - 1].number, words[used].number);
    }
    if (!used || words[used - 1].number > 0)
        node_error(loader, node,
                   "the last spoken probability must have 'at_least: 0.0', to cover all");
    scale->spoken = words;
    scale->spoken_count = used;
}

#define WORDS(name, member, length, within)                                                        \
    {                                                                                              \
        .key = (name), .required = REQUIRED, .read = read_words, .bounds = &(within),              \
        .offset = offsetof(struct scale, member), .count = offsetof(struct scale, length)          \
    }

static const struct field SCALE_FIELDS[] = {
    WORDS("frequency", frequency, frequency_count, CHANCE),
    WORDS("weight", weight, weight_count, POSITIVE),
    OWN("spoken", REQUIRED, read_spoken),
};
static const struct shape SCALE = SHAPE("'scale'", SCALE_FIELDS);

/* ---- calibration ----------------------------------------------------------------------------- */

static const struct bounds TAU = {0, 1, true, false, "above 0, up to 1"};

#define SIBLINGS_PLACE(member) offsetof(struct calibration, siblings.member)

static const struct field SIBLINGS_FIELDS[] = {
    NUMBER("most", REQUIRED, SIBLINGS_PLACE(most), NOT_NEGATIVE),
    NUMBER("usual", REQUIRED, SIBLINGS_PLACE(usual), CHANCE),
    NUMBER("usual_seen", REQUIRED, SIBLINGS_PLACE(usual_seen), POSITIVE),
    NUMBER("reach_seen", REQUIRED, SIBLINGS_PLACE(reach_seen), POSITIVE),
};
static const struct shape SIBLINGS = SHAPE("'siblings'", SIBLINGS_FIELDS);

static const struct field CALIBRATION_FIELDS[] = {
    NUMBER("tau", REQUIRED, offsetof(struct calibration, tau), TAU),
    NUMBER("hedge", REQUIRED, offsetof(struct calibration, hedge), SHARE),
    NUMBER("silence", OPTIONAL, offsetof(struct calibration, silence), SHARE),
    NUMBER("silence_after", OPTIONAL, offsetof(struct calibration, silence_after), NOT_NEGATIVE),
    INNER("siblings", OPTIONAL, SIBLINGS),
    FIELD("fitted_by", OPTIONAL, read_text, offsetof(struct calibration, fitted_by)),
};
static const struct shape CALIBRATION = SHAPE("'calibration'", CALIBRATION_FIELDS);

/* ---- groups ---------------------------------------------------------------------------------- */

static const struct field GROUP_FIELDS[] = {
    NUMBER("overlap", REQUIRED, offsetof(struct group, overlap), SHARE),
};
static const struct shape GROUP = SHAPE("a group", GROUP_FIELDS);

void load_groups(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_GROUP];
    struct group *groups = items_array(loader, ITEM_GROUP, sizeof *groups);
    for (size_t i = 0; groups && i < items->count; i++) {
        groups[i] = (struct group){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &GROUP, items->list[i].node, &groups[i]);
    }
    loader->made->groups = groups;
    loader->made->group_count = groups ? items->count : 0;
}

static void load_whole(struct loader *loader, const char *id, const struct shape *shape, void *into)
{
    const struct item *item = catalogue_whole(loader, id);
    if (item)
        shape_read(loader, shape, item->node, into);
}

void load_scale(struct loader *loader)
{
    struct rules *made = loader->made;
    load_whole(loader, "rules", &RULES, made);
    load_whole(loader, "scale", &SCALE, &made->scale);
    load_whole(loader, "calibration", &CALIBRATION, &made->calibration);
}

/* ==== load sources ============================================================================ */

/* Works cited, and the citations that end each claim. */

static const struct field FIELDS[] = {
    FIELD("author", REQUIRED, read_text, offsetof(struct source, author)),
    FIELD("title", REQUIRED, read_text, offsetof(struct source, title)),
    FIELD("year", REQUIRED, read_text, offsetof(struct source, year)),
    FIELD("where", OPTIONAL, read_text, offsetof(struct source, where)),
    FIELD("weak", OPTIONAL, read_flag, offsetof(struct source, weak)),
};
static const struct shape SOURCE = SHAPE("a source", FIELDS);

void load_sources(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_SOURCE];
    struct source *sources = items_array(loader, ITEM_SOURCE, sizeof *sources);
    for (size_t i = 0; sources && i < items->count; i++) {
        sources[i] = (struct source){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &SOURCE, items->list[i].node, &sources[i]);
    }
    loader->made->sources = sources;
    loader->made->source_count = sources ? items->count : 0;
    loader->source_used =
        items->count ? arena_array(loader->scratch, items->count, sizeof(bool)) : NULL;
}

/* ---- citations ------------------------------------------------------------------------------- */

/* The flag that a mark sets, or NULL: then it is an id. */
static bool *mark_of(struct citation *citation, const char *text)
{
    if (!strcmp(text, "expert judgement"))
        return &citation->expert_judgement;
    if (!strcmp(text, "common practice, no source"))
        return &citation->common_practice;
    if (!strcmp(text, "from memory"))
        return &citation->from_memory;
    return NULL;
}

/* A mark misspelt, or cut in two by its own comma, is no unknown source. */
static bool looks_like_mark(struct loader *loader, const struct node *node)
{
    static const char *const marks[] = {"expert judgement", "common practice, no source",
                                        "from memory"};
    const char *meant = load_nearest(loader, node->text, marks, 3);
    if (!strcmp(node->text, "common practice") || !strcmp(node->text, "no source"))
        meant = marks[1];
    if (!meant)
        return false;
    node_error(loader, node, "unknown source '%s'; write '%s', in quotes within a list",
               load_quote(loader, node->text), meant);
    return true;
}

static void cite(struct loader *loader, const struct node *node, struct citation *citation,
                 size_t *sources)
{
    size_t index;
    bool *mark = node->kind == NODE_TEXT ? mark_of(citation, node->text) : NULL;
    if (mark)
        *mark = true;
    else if (node->kind == NODE_TEXT &&
             names_find(&loader->rules->memory->ids[ITEM_SOURCE], node->text) == RULES_NONE &&
             looks_like_mark(loader, node))
        return;
    else if (find_item(loader, ITEM_SOURCE, node, &index)) {
        sources[citation->count++] = index;
        if (loader->source_used)
            loader->source_used[index] = true;
    }
}

void read_citation(struct loader *loader, const struct field *field, const struct node *node,
                   void *item)
{
    struct citation *place = field_place(field, item);
    struct citation citation = {0};
    size_t count;
    const struct node *entry = expect_items(loader, node, field->key, &count);
    size_t *sources = count ? arena_array(loader->keep, count, sizeof *sources) : NULL;
    if (!sources)
        return;
    for (; count; count--, entry = entry->next)
        cite(loader, entry, &citation, sources);
    citation.sources = sources;
    *place = citation;
}

struct citation citation_of(struct loader *loader, const struct node *block,
                            struct citation inherited)
{
    static const struct field source = OWN("source", OPTIONAL, read_citation);
    const struct node *node = node_entry(block, "source");
    struct citation citation = {0};
    if (!node)
        return inherited;
    read_citation(loader, &source, node, &citation);
    return citation;
}

/* ==== phrases ================================================================================= */

/* Phrases and the macros in them: {q}, {n}, {gap} and the words of language.words. */

/* Expanded: words in words in words can stand for more than any memory holds. */
enum { LONGEST_PHRASE = 64 * 1024, MOST_EXPANDED = 16 * 1024 * 1024, DEEPEST_WORDS = 16 };

struct expansion {
    struct loader *loader;
    const struct node *phrase; /* for messages */
    struct text out;
    unsigned depth; /* of words in words */
    bool failed;
};

static void expand(struct expansion *expansion, const char *source);

/* ---- the macros ------------------------------------------------------------------------------ */

static void put_quantity(struct expansion *expansion, bool unit_required)
{
    struct loader *loader = expansion->loader;
    if (loader->quantity == DIM_COUNT) {
        node_error(loader, expansion->phrase,
                   "{%s} stands only in the phrases of a number itself, not in those of its "
                   "values or of anything else",
                   unit_required ? "q" : "n");
        expansion->failed = true;
        return;
    }
    text_puts(&expansion->out, unit_required ? QUANTITY_WITH_UNIT : QUANTITY_ANY);
}

static void refuse_macro(struct expansion *expansion, const char *name)
{
    struct loader *loader = expansion->loader;
    const struct names *words = &loader->rules->memory->ids[ITEM_WORDS];
    const char *nearest = load_nearest(loader, name, words->list, words->count);
    node_error(loader, expansion->phrase, "unknown macro '{%s}'%s", load_quote(loader, name),
               nearest ? load_hint(loader, nearest)
                       : "; there are {q}, {n}, {gap} and the names in language.words");
    expansion->failed = true;
}

/* Whether the words may be expanded here; told if not. */
static bool words_stand(struct expansion *expansion, const char *name, int found)
{
    struct loader *loader = expansion->loader;
    if (loader->macro_open[found])
        node_error(loader, expansion->phrase,
                   "the words '%s' stand for themselves; take '{%s}' out of them", name, name);
    else if (expansion->depth == DEEPEST_WORDS)
        node_error(loader, expansion->phrase,
                   "words hold words more than %d deep; write some of them out", DEEPEST_WORDS);
    else
        return true;
    expansion->failed = true;
    return false;
}

static void put_alternatives(struct expansion *expansion, const char *name, const struct node *node)
{
    struct loader *loader = expansion->loader;
    size_t count;
    const struct node *entry = expect_items(loader, node, name, &count);
    text_puts(&expansion->out, "(?:");
    for (; count && !expansion->failed; count--, entry = entry->next) {
        const char *word;
        if (expect_text(loader, entry, name, &word))
            expand(expansion, word);
        else
            expansion->failed = true;
        text_puts(&expansion->out, count > 1 ? "|" : "");
    }
    text_puts(&expansion->out, ")");
}

/* The alternatives of language.words.NAME, themselves expanded. */
static void put_words(struct expansion *expansion, const char *name)
{
    struct loader *loader = expansion->loader;
    int found = names_find(&loader->rules->memory->ids[ITEM_WORDS], name);
    if (found == RULES_NONE || !loader->macro_open) {
        refuse_macro(expansion, name);
        return;
    }
    loader->macro_used[found] = true;
    if (!words_stand(expansion, name, found))
        return;
    loader->macro_open[found] = true;
    expansion->depth++;
    put_alternatives(expansion, name, loader->items[ITEM_WORDS].list[found].node);
    expansion->depth--;
    loader->macro_open[found] = false;
}

/* ---- finding them ---------------------------------------------------------------------------- */

/* The length of a macro at `source`, braces included, or 0: `{0,3}` is none. */
static size_t macro_length(const char *source)
{
    if (source[0] != '{' || source[1] < 'a' || source[1] > 'z')
        return 0;
    size_t length = 1 + strspn(source + 1, "abcdefghijklmnopqrstuvwxyz0123456789_");
    return source[length] == '}' ? length + 1 : 0;
}

/* An escape with what belongs to it: \p{L} holds no macro. */
static size_t escape_length(const char *source)
{
    if (!source[1])
        return 1;
    size_t length = 2;
    if (source[2] == '{' && strchr("pPxoNgk", source[1])) {
        size_t inside = strcspn(source + 2, "}");
        length += inside + (source[2 + inside] == '}');
    }
    return length;
}

/* A character class, from its bracket to the closing one. */
static size_t class_length(const char *source)
{
    size_t length = 1 + (source[1] == '^');
    length += source[length] == ']';
    while (source[length] && source[length] != ']')
        length += source[length] == '\\' ? escape_length(source + length) : 1;
    return length + (source[length] == ']');
}

/* Writes what a macro stands for; returns how much of the source it took. */
static size_t put_macro(struct expansion *expansion, const char *source, size_t length)
{
    char name[64];
    size_t inside = length - 2;
    if (inside >= sizeof name)
        inside = sizeof name - 1;
    memcpy(name, source + 1, inside);
    name[inside] = '\0';
    if (!strcmp(name, "q") || !strcmp(name, "n")) {
        put_quantity(expansion, *name == 'q');
    } else if (!strcmp(name, "gap")) {
        text_puts(&expansion->out, "(?<gap>(?:\\S+ ){0,4}?)");
        length += source[length] == ' '; /* the words of a gap bring their spaces */
    } else {
        put_words(expansion, name);
    }
    return length;
}

static void check_length(struct expansion *expansion)
{
    struct loader *loader = expansion->loader;
    if (expansion->out.length <= LONGEST_PHRASE &&
        expansion->out.length + loader->expanded <= MOST_EXPANDED)
        return;
    if (expansion->out.length > LONGEST_PHRASE)
        node_error(loader, expansion->phrase,
                   "the phrase is longer than %d KiB with its macros; make it shorter",
                   LONGEST_PHRASE / 1024);
    else
        node_error(loader, expansion->phrase,
                   "up to here the phrases with their macros are longer than %d MiB in all; "
                   "use fewer macros",
                   MOST_EXPANDED / 1024 / 1024);
    expansion->failed = true;
}

static void expand(struct expansion *expansion, const char *source)
{
    while (*source && !expansion->failed) {
        size_t length = macro_length(source);
        if (length) {
            source += put_macro(expansion, source, length);
            continue;
        }
        length = strcspn(source, "{\\[");
        if (*source == '\\')
            length = escape_length(source);
        else if (*source == '[')
            length = class_length(source);
        else if (*source == '{')
            length = 1;
        text_add(&expansion->out, source, length);
        source += length;
        check_length(expansion);
    }
}

const char *phrase_expand(struct loader *loader, const struct node *node)
{
    const char *source;
    if (!expect_text(loader, node, "phrase", &source))
        return NULL;
    if (!strchr(source, '{'))
        return source;
    struct expansion expansion = {.loader = loader, .phrase = node};
    text_init(&expansion.out);
    expand(&expansion, source);
    if (expansion.out.failed)
        loader->faults.no_memory = true;
    const char *phrase = expansion.failed || expansion.out.failed
                             ? NULL
                             : arena_copy(loader->keep, expansion.out.bytes, expansion.out.length);
    loader->expanded += expansion.out.length; /* failed ones cost as much */
    text_release(&expansion.out);
    return phrase;
}

void load_words(struct loader *loader)
{
    size_t count = loader->items[ITEM_WORDS].count;
    loader->quantity = DIM_COUNT;
    if (!count)
        return;
    loader->macro_open = arena_array(loader->scratch, count, sizeof(bool));
    loader->macro_used = arena_array(loader->scratch, count, sizeof(bool));
}

/* ==== load language =========================================================================== */

/* The words the program itself must know. Every mention of `language` adds to the lists. */

/* ---- lists ----------------------------------------------------------------------------------- */

static void add_where(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    struct language *language = item;
    const struct language before = *language;
    language->where_count = 0;
    read_indices(loader, field, node, language);
    size_t count = before.where_count + language->where_count;
    size_t *all = count ? arena_array(loader->keep, count, sizeof *all) : NULL;
    if (!all)
        return;
    for (size_t i = 0; i < count; i++)
        all[i] = i < before.where_count ? before.where[i] : language->where[i - before.where_count];
    language->where = all;
    language->where_count = count;
}

#define LANGUAGE_WORDS(member)                                                                     \
    FIELD(#member, OPTIONAL, read_phrases, offsetof(struct language, member))

static const struct field LANGUAGE_FIELDS[] = {
    LATER("words", OPTIONAL),      /* by the catalogue and phrases.c */
    LATER("statements", OPTIONAL), /* below, once all are known */
    LANGUAGE_WORDS(negations),
    LANGUAGE_WORDS(hedges),
    LANGUAGE_WORDS(breaks),
    LANGUAGE_WORDS(exceptions),
    LANGUAGE_WORDS(objections),
    LANGUAGE_WORDS(ignore),
    LANGUAGE_WORDS(alternatives),
    LANGUAGE_WORDS(additions),
    LANGUAGE_WORDS(about),
    LANGUAGE_WORDS(over),
    LANGUAGE_WORDS(under),
    LANGUAGE_WORDS(yes),
    LANGUAGE_WORDS(no),
    LANGUAGE_WORDS(spared),
    REFERENCES("where", OPTIONAL, add_where, offsetof(struct language, where),
               offsetof(struct language, where_count), ITEM_OBSERVABLE),
};
static const struct shape LANGUAGE = SHAPE("'language'", LANGUAGE_FIELDS);

/* ---- statements ------------------------------------------------------------------------------ */

static void read_others(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    const struct statement *statement = item;
    read_indices(loader, field, node, item);
    for (size_t i = 0; i < statement->other_count; i++) {
        const struct observable *other = &loader->rules->observables[statement->others[i]];
        if (other->kind != KIND_SEVERAL)
            node_error(loader, node,
                       "'%s' is not of kind 'several'; only of such can the others be absent",
                       other->id);
    }
}

static const struct field STATEMENT_FIELDS[] = {
    FIELD("phrases", REQUIRED, read_phrases, offsetof(struct statement, phrases)),
    FIELD("seen", OPTIONAL, read_condition, offsetof(struct statement, seen)),
    FIELD("absent", OPTIONAL, read_condition, offsetof(struct statement, absent)),
    REFERENCES("others_absent", OPTIONAL, read_others, offsetof(struct statement, others),
               offsetof(struct statement, other_count), ITEM_OBSERVABLE),
    FIELD("alone", OPTIONAL, read_flag, offsetof(struct statement, alone)),
    FIELD("overall", OPTIONAL, read_flag, offsetof(struct statement, overall)),
};
static const struct shape STATEMENT = SHAPE("a statement", STATEMENT_FIELDS);

static void load_statements(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_STATEMENT];
    struct statement *statements = items_array(loader, ITEM_STATEMENT, sizeof *statements);
    for (size_t i = 0; statements && i < items->count; i++) {
        struct statement *statement = &statements[i];
        *statement = (struct statement){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &STATEMENT, items->list[i].node, statement);
        if (!statement->seen.count && !statement->absent.count && !statement->other_count &&
            items->list[i].node->kind == NODE_MAP)
            load_error(loader, statement->at,
                       "statement '%s' says nothing; give it 'seen', 'absent' or 'others_absent'",
                       statement->id);
    }
    loader->made->language.statements = statements;
    loader->made->language.statement_count = statements ? items->count : 0;
}

void load_language(struct loader *loader)
{
    for (size_t i = 0; i < loader->languages.count; i++)
        shape_read(loader, &LANGUAGE, loader->languages.list[i], &loader->made->language);
    load_statements(loader);
}

/* ==== load learned ============================================================================ */

/* What a grower's own confirmed outcomes add to what the files say. */

#define LEARNED(member) offsetof(struct learned, member)

/* "[seen, of]": seen in so many of so many. */
static bool expect_share(struct loader *loader, const struct node *node, double *seen, double *of)
{
    size_t count = 0;
    const struct node *entry = expect_items(loader, node, node->key->text, &count);
    if (!entry)
        return false;
    if (count != 2) {
        node_error(loader, node, "'%s' should be [seen, of], such as [4, 5]", node->key->text);
        return false;
    }
    if (!expect_number(loader, entry, node->key->text, &NOT_NEGATIVE, seen) ||
        !expect_number(loader, entry->next, node->key->text, &NOT_NEGATIVE, of))
        return false;
    if (*seen > *of)
        node_error(loader, node, "'%s' is seen in %g of %g; it cannot be more than all",
                   node->key->text, *seen, *of);
    return *seen <= *of;
}

static bool read_counts(struct loader *loader, const struct node *node, struct learned_sign *sign)
{
    const struct observable *observable = NULL;
    if (!find_item(loader, ITEM_OBSERVABLE, node->key, &sign->observable) ||
        !expect_kind(loader, node, NODE_MAP, node->key->text))
        return false;
    observable = &loader->rules->observables[sign->observable];
    sign->seen = arena_array(loader->keep, observable->value_count, sizeof *sign->seen);
    sign->of = arena_array(loader->keep, observable->value_count, sizeof *sign->of);
    for (const struct node *entry = node->first; sign->seen && sign->of && entry;
         entry = entry->next) {
        size_t value;
        if (find_value(loader, observable, entry->key, &value))
            expect_share(loader, entry, &sign->seen[value], &sign->of[value]);
    }
    return sign->seen && sign->of;
}

static void read_signs(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    struct learned *learned = item;
    size_t room = 0;
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    for (const struct node *entry = node->first; entry; entry = entry->next)
        room += entry->count;
    struct learned_sign *signs = arena_array(loader->keep, room, sizeof *signs);
    for (const struct node *entry = node->first; signs && entry; entry = entry->next) {
        size_t finding;
        if (!find_item(loader, ITEM_FINDING, entry->key, &finding) ||
            !expect_kind(loader, entry, NODE_MAP, entry->key->text))
            continue;
        for (const struct node *sign = entry->first; sign; sign = sign->next) {
            signs[learned->sign_count].finding = finding;
            learned->sign_count += read_counts(loader, sign, &signs[learned->sign_count]);
        }
    }
    learned->signs = signs;
}

static void read_causes(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    struct learned *learned = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct learned_cause *causes = arena_array(loader->keep, node->count, sizeof *causes);
    for (const struct node *entry = node->first; causes && entry; entry = entry->next) {
        struct learned_cause *cause = &causes[learned->cause_count];
        if (find_item(loader, ITEM_CAUSE, entry->key, &cause->cause))
            learned->cause_count += expect_share(loader, entry, &cause->seen, &cause->of);
    }
    learned->causes = causes;
}

static const struct field LEARNED_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, LEARNED(cites)),
    NUMBER("strength", REQUIRED, LEARNED(strength), POSITIVE),
    NUMBER("vessels", REQUIRED, LEARNED(vessels), NOT_NEGATIVE),
    OWN("signs", OPTIONAL, read_signs),
    OWN("causes", OPTIONAL, read_causes),
};
static const struct shape LEARNED_SHAPE = SHAPE("'learned'", LEARNED_FIELDS);

void load_learned(struct loader *loader)
{
    const struct item *item = catalogue_whole(loader, "learned");
    if (item)
        shape_read(loader, &LEARNED_SHAPE, item->node, &loader->made->learned);
}

/* ==== load review ============================================================================= */

/* When a review of many vessels calls a fault. */

#define REVIEW(member) offsetof(struct review_rules, member)

static const struct field REVIEW_FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, REVIEW(cites)),
    NUMBER("false_alarm", REQUIRED, REVIEW(false_alarm), CHANCE),
    NUMBER("bayes_factor", REQUIRED, REVIEW(bayes_factor), POSITIVE),
    NUMBER("watched", REQUIRED, REVIEW(watched), NOT_NEGATIVE),
    NUMBER("wait", REQUIRED, REVIEW(wait), NOT_NEGATIVE),
};
static const struct shape REVIEW_SHAPE = SHAPE("'review'", REVIEW_FIELDS);

void load_review(struct loader *loader)
{
    const struct item *item = catalogue_whole(loader, "review");
    loader->made->review =
        (struct review_rules){.false_alarm = 0.05, .bayes_factor = 10, .watched = 21, .wait = 0.5};
    if (item)
        shape_read(loader, &REVIEW_SHAPE, item->node, &loader->made->review);
}

/* ==== check =================================================================================== */

/* The rule base as a whole: what nobody causes, uses or cites. Warnings, not errors. */

/* ---- findings -------------------------------------------------------------------------------- */

static bool is_grown(const struct rules *rules, size_t finding)
{
    for (size_t c = 0; c < rules->cause_count; c++)
        for (size_t i = 0; i < rules->causes[c].grow_count; i++)
            if (rules->causes[c].grows[i].finding == finding)
                return true;
    return false;
}

/* What is clean needs no cause; anything else has one, and the grower asks for it. */
static void check_grown(struct loader *loader, size_t index)
{
    const struct finding *finding = &loader->rules->findings[index];
    if (is_grown(loader->rules, index))
        return;
    if (finding->base <= 0)
        load_warning(loader, finding->at,
                     "no cause grows '%s' and its base is 0: it is never found; give it a base, or "
                     "add it to the 'grows' of its causes",
                     finding->id);
    else if (finding->status != FINDING_CLEAN)
        load_warning(loader, finding->at,
                     "no cause grows '%s'; add it to the 'grows' of its causes", finding->id);
}

/* Every finding can be isolated or discarded, and all but the contaminated ones kept. */
static void check_steps(struct loader *loader, const struct finding *finding)
{
    for (int action = 0; action < ACTION_COUNT; action++) {
        if (finding->step_count[action] ||
            (action == ACTION_KEEP && finding->status == FINDING_CONTAMINATED))
            continue;
        load_warning(loader, finding->at, "'%s' has no steps for '%s'; add them under 'do'",
                     finding->id, action_name((enum action)action));
    }
}

/* ---- what is not used ------------------------------------------------------------------------ */

/*
 * Values of what feeds a computation are used by it. Of the others, those that
 * nothing mentions change nothing: answering them is wasted effort.
 */
static void check_values(struct loader *loader, size_t index)
{
    const struct observable *observable = &loader->rules->observables[index];
    if (observable->feeds != FEEDS_NONE)
        return;
    if (!loader->value_used[index]) {
        load_warning(loader, observable->at,
                     "nothing uses '%s'; say in a finding or a cause what it tells, or take it out",
                     observable->id);
        return;
    }
    for (size_t v = 0; v < observable->value_count; v++)
        if (!(loader->value_used[index] >> v & 1))
            load_warning(loader, observable->values[v].at,
                         "nothing uses value '%s' of '%s'; say in a finding or a cause what it "
                         "tells, or take it out",
                         observable->values[v].id, observable->id);
}

static void check_sources(struct loader *loader)
{
    for (size_t i = 0; i < loader->rules->source_count; i++)
        if (!loader->source_used[i])
            load_warning(loader, loader->rules->sources[i].at,
                         "nothing cites source '%s'; cite it or take it out",
                         loader->rules->sources[i].id);
}

static void check_words(struct loader *loader)
{
    const struct item_list *words = &loader->items[ITEM_WORDS];
    for (size_t i = 0; i < words->count; i++)
        if (!loader->macro_used[i])
            load_warning(loader, words->list[i].at,
                         "no phrase has '{%s}'; use it or take the words out", words->list[i].id);
}

void check_rules(struct loader *loader)
{
    for (size_t i = 0; i < loader->rules->finding_count; i++) {
        check_grown(loader, i);
        check_steps(loader, &loader->rules->findings[i]);
    }
    for (size_t i = 0; i < loader->rules->observable_count; i++)
        check_values(loader, i);
    check_sources(loader);
    check_words(loader);
}

/* ==== load ==================================================================================== */

/* A rule base from its folders. See load_internal.h for the steps. */

/* ---- files ----------------------------------------------------------------------------------- */

static void find_files(struct loader *loader, const char *const *folders, size_t folder_count)
{
    for (size_t i = 0; i < folder_count; i++)
        files_find(&loader->files, folders[i], i, &loader->faults);
    if (loader->faults.errors)
        return;
    if (!loader->files.count || loader->files.list[0].folder != 0)
        load_error(loader, (struct position){0},
                   "no .yaml file in '%s'; name the folder that holds the rules",
                   load_quote(loader, folder_count ? folders[0] : ""));
}

/* Reads every file, whatever is wrong with the others. False when what is read is not the whole. */
static bool read_files(struct loader *loader, struct rules *rules)
{
    uint64_t hash = FNV_START;
    bool whole = true;
    for (size_t i = 0; i < loader->files.count; i++) {
        struct file *file = &loader->files.list[i];
        size_t errors = loader->faults.errors;
        const struct node *root = NULL;
        if (file_read(&loader->files, file, &loader->faults))
            root = document_read(file, &loader->room, &loader->faults);
        if (root)
            catalogue_add(loader, root, file->folder);
        else if (loader->faults.errors != errors)
            whole = false;
        else
            load_warning(loader, (struct position){file->path, 1, 1},
                         "the file says nothing; put back what stood in it, or remove it");
        hash = fnv_hash(hash, file->bytes ? file->bytes : "", file->length);
    }
    snprintf(rules->hash, sizeof rules->hash, "%016llx", (unsigned long long)hash);
    return whole;
}

/* ---- the model ------------------------------------------------------------------------------- */

static void require_whole(struct loader *loader, const char *key)
{
    if (!catalogue_whole(loader, key))
        load_error(loader, (struct position){0},
                   "no file has '%s'; FORMAT.md shows what stands in it", key);
}

static void require_parts(struct loader *loader)
{
    require_whole(loader, "rules");
    require_whole(loader, "scale");
    require_whole(loader, "decision");
    require_whole(loader, "calibration");
    if (!loader->items[ITEM_OBSERVABLE].count)
        load_error(loader, (struct position){0}, "no file has 'signs'; add some");
    if (!loader->items[ITEM_FINDING].count)
        load_error(loader, (struct position){0}, "no file has a 'finding'; add some");
}

/* What is referred to comes before what refers to it. */
static void load_model(struct loader *loader)
{
    for (size_t i = 0; i < FEEDS_COUNT; i++)
        loader->made->feeder[i] = RULES_NONE;
    load_scale(loader);
    load_sources(loader);
    load_groups(loader);
    load_words(loader);
    load_species(loader);
    load_grains(loader);
    load_vessels(loader);
    load_observables(loader);
    load_findings(loader);
    load_causes(loader);
    load_normal(loader);
    load_cautions(loader);
    load_decision(loader);
    load_process(loader);
    load_review(loader);
    load_learned(loader);
    load_language(loader);
}

static void load_folders(struct loader *loader, const char *const *folders, size_t folder_count)
{
    find_files(loader, folders, folder_count);
    /* With a file missing, every id it defines would seem unknown: its own fault comes first. */
    if (!read_files(loader, loader->made) || loader->faults.unreadable || !loader->files.count)
        return;
    require_parts(loader);
    load_model(loader);
    if (!loader->faults.errors && !arena_exhausted(loader->keep) &&
        !arena_exhausted(loader->scratch))
        check_rules(loader);
}

/* ---- memory and status ----------------------------------------------------------------------- */

/* The rule base holds the arena that holds it. */
static struct rules *rules_new(struct arena *arena)
{
    struct rules *rules = arena_alloc(arena, sizeof *rules);
    struct rules_memory *memory = arena_alloc(arena, sizeof *memory);
    if (!rules || !memory)
        return NULL;
    memory->arena = arena;
    rules->memory = memory;
    return rules;
}

void loader_init(struct loader *loader, struct arena *keep, struct arena *scratch,
                 const struct rules *rules)
{
    *loader = (struct loader){
        .keep = keep,
        .scratch = scratch,
        .faults = {.arena = scratch},
        .files = {.keep = keep, .scratch = scratch},
        .room = {.keep = keep, .scratch = scratch, .nodes_left = DOCUMENT_MAX_NODES},
        .rules = rules,
        .quantity = DIM_COUNT,
    };
}

enum status loader_status(const struct loader *loader)
{
    if (loader->faults.no_memory || arena_exhausted(loader->keep) ||
        arena_exhausted(loader->scratch))
        return STATUS_MEMORY;
    if (loader->faults.unreadable)
        return STATUS_IO;
    return loader->faults.errors ? STATUS_DATA : STATUS_OK;
}

static enum status load_into(struct arena *keep, struct arena *scratch, const char *const *folders,
                             size_t folder_count, struct diags *diags, struct rules **rules)
{
    struct loader loader;
    *rules = rules_new(keep);
    if (!*rules)
        return STATUS_MEMORY;
    loader_init(&loader, keep, scratch, *rules);
    loader.made = *rules;
    load_folders(&loader, folders, folder_count);
    /* Without memory much seems to be missing that is there: those are no faults of the files. */
    if (loader_status(&loader) != STATUS_MEMORY)
        faults_tell(&loader.faults, &loader.files, diags);
    return loader_status(&loader); /* only now: telling takes memory, too */
}

struct rules *rules_load(const char *const *folders, size_t folder_count, struct diags *diags,
                         enum status *status)
{
    struct arena *keep = arena_new();
    struct arena *scratch = arena_new();
    struct rules *rules = NULL;
    enum status result = load_into(keep, scratch, folders, folder_count, diags, &rules);
    arena_free(scratch);
    if (result != STATUS_OK) {
        arena_free(keep);
        rules = NULL;
    }
    if (status)
        *status = result;
    return rules;
}
