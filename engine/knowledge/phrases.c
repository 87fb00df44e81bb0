/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Phrases and the macros in them: {q}, {n}, {gap} and the words of language.words. */
#include <string.h>

#include "base/text.h"
#include "knowledge/fields_internal.h"

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
        fault_error(&loader->faults, node_at(expansion->phrase),
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
    const char *nearest = fault_nearest(&loader->faults, name, words->list, words->count);
    fault_error(&loader->faults, node_at(expansion->phrase), "unknown macro '{%s}'%s",
                fault_quote(&loader->faults, name),
                nearest ? fault_hint(&loader->faults, nearest)
                        : "; there are {q}, {n}, {gap} and the names in language.words");
    expansion->failed = true;
}

/* Whether the words may be expanded here; told if not. */
static bool words_stand(struct expansion *expansion, const char *name, int found)
{
    struct loader *loader = expansion->loader;
    if (loader->macro_open[found])
        fault_error(&loader->faults, node_at(expansion->phrase),
                    "the words '%s' stand for themselves; take '{%s}' out of them", name, name);
    else if (expansion->depth == DEEPEST_WORDS)
        fault_error(&loader->faults, node_at(expansion->phrase),
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
        fault_error(&loader->faults, node_at(expansion->phrase),
                    "the phrase is longer than %d KiB with its macros; make it shorter",
                    LONGEST_PHRASE / 1024);
    else
        fault_error(&loader->faults, node_at(expansion->phrase),
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
