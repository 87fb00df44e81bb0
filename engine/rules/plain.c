/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "base/text.h"
#include "rules/load.h"

/*
 * The plain part of YAML, which nearly all rule files keep to: mappings and lists by indentation or in
 * brackets; texts on one line, bare or in quotes without escapes; ">-" without blank lines.
 *
 * Whatever else stands in a file, and every fault, makes plain_read give up, and the file is read by
 * libyaml, which takes five times as long. So nothing is decided here but what is plain beyond
 * doubt, and nothing is told. tests/unit/rules_plain_test.c holds the two side by side.
 */

enum { KEY_MOST = 1000 }; /* bytes: libyaml looks no farther for the colon */

struct plain {
    struct loader *loader;
    const struct file *file;
    const char *at, *end;
    const char *line;    /* where this line begins */
    uint32_t number;     /* of the line */
    const char *counted; /* on this line up to here there are so many characters: */
    size_t points;
    bool lost; /* what stands here is not plain */
};

static struct node *lose(struct plain *p)
{
    p->lost = true;
    return NULL;
}

/* The byte `ahead`; the end of the file is as good as a line's. */
static char look(const struct plain *p, size_t ahead)
{
    return (size_t)(p->end - p->at) > ahead ? p->at[ahead] : '\n';
}

static bool ends_word(char c)
{
    return c == ' ' || c == '\n';
}

static size_t column(const struct plain *p)
{
    return (size_t)(p->at - p->line);
}

static void skip_spaces(struct plain *p)
{
    while (p->at < p->end && *p->at == ' ')
        p->at++;
}

/* To the end of the line, if nothing but a comment is left on it. */
static bool at_line_end(struct plain *p)
{
    bool space = p->at == p->line || p->at[-1] == ' ';
    skip_spaces(p);
    space = space || p->at[-1] == ' ';
    if (look(p, 0) == '#' && space) {
        const char *stop = memchr(p->at, '\n', (size_t)(p->end - p->at));
        p->at = stop ? stop : p->end;
    }
    return look(p, 0) == '\n';
}

/* From the end of a line to the next thing that is no comment. False at the end of the file. */
static bool next_thing(struct plain *p)
{
    while (p->at < p->end && at_line_end(p)) {
        if (p->at == p->end)
            return false;
        p->line = ++p->at;
        p->number++;
        size_t left = (size_t)(p->end - p->at);
        if (left >= 3 && (!memcmp(p->at, "---", 3) || !memcmp(p->at, "...", 3))) {
            lose(p);
            return false;
        }
    }
    return p->at < p->end;
}

static struct node *node_here(struct plain *p, enum node_kind kind)
{
    struct loader *loader = p->loader;
    if (loader->nodes_left == 0)
        return lose(p);
    loader->nodes_left--;
    struct node *node = arena_alloc(loader->scratch, sizeof *node);
    if (p->counted < p->line || p->counted > p->at) {
        p->counted = p->line;
        p->points = 0;
    }
    for (; p->counted < p->at; p->counted++)
        p->points += ((unsigned char)*p->counted & 0xC0) != 0x80;
    *node = (struct node){.kind = (uint8_t)kind,
                          .file = p->file->path,
                          .line = p->number,
                          .column = (uint32_t)p->points + 1};
    return node;
}

static void append(struct node *parent, struct node **last, struct node *child)
{
    if (*last)
        (*last)->next = child;
    else
        parent->first = child;
    *last = child;
    parent->count++;
}

/* ---- texts ----------------------------------------------------------------------------------- */

/* In quotes: up to the same quote on the same line, where only '' stands for something else. */
static struct node *quoted(struct plain *p)
{
    struct node *node = node_here(p, NODE_TEXT);
    const char quote = *p->at++, *start = p->at;
    struct text text;
    if (!node)
        return NULL;
    text_init(&text);
    for (;; p->at++) {
        char c = look(p, 0);
        if (c == '\n' || (c == '\\' && quote == '"')) {
            text_release(&text);
            return lose(p);
        }
        if (c != quote)
            continue;
        text_add(&text, start, (size_t)(p->at - start));
        if (quote == '"' || look(p, 1) != '\'')
            break;
        start = ++p->at; /* of two the second stays */
    }
    p->at++;
    document_text(p->loader, node, text.bytes, text.length);
    node->quoted = true;
    text_release(&text);
    return node;
}

/* Bare: up to what ends it, which is left standing. `ends` are the signs that do so in brackets. */
static struct node *bare(struct plain *p, const char *ends)
{
    const char *start = p->at;
    char first = look(p, 0);
    if (strchr("&*!|>%@`\"'#,[]{}", first) || (strchr("-?:", first) && ends_word(look(p, 1))) ||
        (*ends && strchr("?:", first)))
        return lose(p);
    struct node *node = node_here(p, NODE_TEXT);
    const char *behind = p->at;
    for (char c; node && (c = look(p, 0)) != '\n'; p->at++) {
        if ((c >= 'a' && c <= 'z') || c == '_' || (c >= '0' && c <= '9') ||
            (c >= 'A' && c <= 'Z')) { /* most are, and none means anything */
            behind = p->at + 1;
            continue;
        }
        if (c == ':' && (ends_word(look(p, 1)) || (*ends && strchr(",?[]{}", look(p, 1)))))
            break;
        if (*ends && c == '?')
            return lose(p);
        if ((c == '#' && p->at[-1] == ' ') || (*ends && strchr(ends, c)))
            break;
        if (c != ' ')
            behind = p->at + 1;
    }
    if (!node || behind == start)
        return lose(p);
    document_text(p->loader, node, start, (size_t)(behind - start));
    return node;
}

static struct node *text_here(struct plain *p, const char *ends)
{
    return look(p, 0) == '"' || look(p, 0) == '\'' ? quoted(p) : bare(p, ends);
}

/* ">-": the lines that stand deeper than `indent`, as one. */
static struct node *folded(struct plain *p, size_t indent)
{
    struct node *node = node_here(p, NODE_TEXT);
    struct text text;
    size_t depth = 0;
    p->at += 2;
    if (!node || look(p, 0) != '\n' || p->at == p->end)
        return lose(p);
    text_init(&text);
    for (;;) {
        const char *line = p->at + 1;
        size_t spaces = 0;
        while (line + spaces < p->end && line[spaces] == ' ')
            spaces++;
        if (line + spaces == p->end || line[spaces] == '\n' || spaces <= indent)
            break;
        depth = depth ? depth : spaces;
        if (spaces != depth)
            lose(p);
        const char *stop = memchr(line, '\n', (size_t)(p->end - line));
        stop = stop ? stop : p->end;
        text_puts(&text, text.length ? " " : "");
        text_add(&text, line + spaces, (size_t)(stop - line) - spaces);
        p->line = line;
        p->at = stop;
        p->number++;
        if (stop[-1] == ' ')
            lose(p); /* spaces at the end of a line stay */
        if (stop == p->end)
            break;
    }
    if (text.length == 0)
        lose(p);
    if (!p->lost)
        document_text(p->loader, node, text.bytes, text.length);
    node->quoted = true;
    text_release(&text);
    return p->lost ? NULL : node;
}

/* A bare text goes on in the lines below it that stand deeper than `indent`. */
static void go_on(struct plain *p, size_t indent, struct node *node)
{
    struct text text;
    size_t first = 0;
    text_init(&text);
    while (p->at < p->end) {
        const char *line = p->at + 1, *stop = memchr(line, '\n', (size_t)(p->end - line));
        size_t spaces = 0, length = (size_t)((stop ? stop : p->end) - line);
        while (spaces < length && line[spaces] == ' ')
            spaces++;
        if (spaces == length || spaces <= indent || line[spaces] == '#')
            break;
        if (first == 0)
            text_puts(&text, node->text);
        first = text.length;
        text_puts(&text, " ");
        for (size_t i = spaces; i < length; i++)
            if ((line[i] == ':' && (i + 1 == length || line[i + 1] == ' ')) ||
                (line[i] == '#' && line[i - 1] == ' '))
                lose(p);
        p->line = line;
        p->at = line + length;
        p->number++;
        while (line[length - 1] == ' ')
            length--;
        text_add(&text, line + spaces, length - spaces);
    }
    if (text.length > first)
        document_text(p->loader, node, text.bytes, text.length);
    text_release(&text);
}

/* ---- lists and mappings ---------------------------------------------------------------------- */

/* A key, its colon behind it, within so many bytes of its line. */
static struct node *key_here(struct plain *p, const struct node *map, struct names *keys,
                             const char *ends)
{
    const char *start = p->at;
    struct node *key = text_here(p, ends);
    if (!key || look(p, 0) != ':' || !ends_word(look(p, 1)) || p->at - start > KEY_MOST ||
        (!key->quoted && p->at[-1] == ' ') || !strcmp(key->text, "<<") ||
        document_repeats(p->loader, map, keys, key->text))
        return lose(p);
    p->at++;
    return key;
}

static struct node *in_brackets(struct plain *p, unsigned depth)
{
    bool map = look(p, 0) == '{';
    char close = map ? '}' : ']';
    struct node *node = node_here(p, map ? NODE_MAP : NODE_LIST), *last = NULL;
    struct names keys = {0};
    if (!node || depth == DOCUMENT_MAX_DEPTH)
        return lose(p);
    p->at++;
    for (;;) {
        const struct node *key = NULL;
        if (at_line_end(p) && !next_thing(p))
            return lose(p);
        if (look(p, 0) == close)
            break;
        if (map && !(key = key_here(p, node, &keys, ",[]{}")))
            return NULL;
        if (map && at_line_end(p) && !next_thing(p))
            return lose(p);
        char c = look(p, 0);
        struct node *child =
            c == '[' || c == '{' ? in_brackets(p, depth + 1) : text_here(p, ",[]{}");
        if (!child)
            return NULL;
        child->key = key;
        append(node, &last, child);
        if (at_line_end(p) && !next_thing(p))
            return lose(p);
        if (look(p, 0) == close)
            break;
        if (look(p, 0) != ',')
            return lose(p);
        p->at++;
    }
    p->at++;
    return node;
}

static bool at_dash(const struct plain *p)
{
    return look(p, 0) == '-' && ends_word(look(p, 1));
}

/* Whether a key begins here: a text with a colon behind it on the same line. */
static bool at_key(const struct plain *p)
{
    const char *stop = memchr(p->at, '\n', (size_t)(p->end - p->at));
    const char *at = p->at, *end = stop ? stop : p->end;
    if (look(p, 0) == '[' || look(p, 0) == '{')
        return false;
    if (look(p, 0) == '"' || look(p, 0) == '\'') {
        const char *close = memchr(at + 1, *at, (size_t)(end - at) - 1);
        at = close ? close + 1 : end;
        return at < end && *at == ':';
    }
    while ((at = memchr(at, ':', (size_t)(end - at))) != NULL)
        if (++at == end || *at == ' ')
            return true;
    return false;
}

static struct node *by_indent(struct plain *p, size_t indent, unsigned depth);

/* What follows a key or a dash at column `indent`; then the next thing is looked for. */
static struct node *value_behind(struct plain *p, size_t indent, bool dash, unsigned depth)
{
    struct node *node = NULL;
    if (at_line_end(p)) { /* on the lines below; a list may stand as deep as its key */
        if (!next_thing(p) || column(p) + (!dash && at_dash(p)) <= indent ||
            !(at_dash(p) || at_key(p)))
            return lose(p);
        return by_indent(p, column(p), depth);
    }
    if (dash && (at_dash(p) || at_key(p)))
        return by_indent(p, column(p), depth);
    if (look(p, 0) == '>' && look(p, 1) == '-')
        node = folded(p, indent);
    else if (look(p, 0) == '[' || look(p, 0) == '{')
        node = in_brackets(p, depth);
    else
        node = text_here(p, "");
    if (node && node->kind == NODE_TEXT && !node->quoted && look(p, 0) == '\n')
        go_on(p, indent, node);
    if (!node || !at_line_end(p) || (next_thing(p) && column(p) > indent)) /* the text goes on */
        return lose(p);
    return p->lost ? NULL : node;
}

/* A list or a mapping that begins here, each line of it at this column. */
static struct node *by_indent(struct plain *p, size_t indent, unsigned depth)
{
    bool list = at_dash(p);
    struct names keys = {0};
    struct node *node =
        depth < DOCUMENT_MAX_DEPTH ? node_here(p, list ? NODE_LIST : NODE_MAP) : NULL;
    struct node *last = NULL;
    /* A list that stands as deep as its key ends with the next key. */
    while (node && p->at < p->end && column(p) == indent && (!list || at_dash(p))) {
        const struct node *key = NULL;
        if (list)
            p->at++;
        else if (!(key = key_here(p, node, &keys, "")))
            return NULL;
        struct node *child = value_behind(p, indent, list, depth + 1);
        if (!child)
            return NULL;
        child->key = key;
        append(node, &last, child);
    }
    return !node || p->lost || (p->at < p->end && column(p) > indent) ? lose(p) : node;
}

/* Tabs, and what libyaml takes for the end of a line or the beginning of a file. */
static bool has_odd_signs(const char *bytes, size_t length)
{
    static const char *const odd[] = {"\t",           "\r",           "\xC2\x85",
                                      "\xE2\x80\xA8", "\xE2\x80\xA9", "\xEF\xBB\xBF"};
    for (size_t i = 0; i < sizeof odd / sizeof *odd; i++) {
        const char *at = bytes, *end = bytes + length;
        size_t size = strlen(odd[i]);
        for (; (at = memchr(at, odd[i][0], (size_t)(end - at))) != NULL; at++)
            if ((size_t)(end - at) >= size && !memcmp(at, odd[i], size))
                return true;
    }
    return false;
}

const struct node *plain_read(struct loader *loader, const struct file *file, size_t skip)
{
    struct plain p = {.loader = loader,
                      .file = file,
                      .at = file->bytes + skip,
                      .end = file->bytes + file->length,
                      .line = file->bytes + skip,
                      .number = 1};
    size_t left = loader->nodes_left, length = file->length - skip;
    if (has_odd_signs(p.at, length) ||
        (length >= 3 && (!memcmp(p.at, "---", 3) || !memcmp(p.at, "...", 3))))
        return NULL;
    const struct node *root = next_thing(&p) && column(&p) == 0 && !at_dash(&p) && at_key(&p)
                                  ? by_indent(&p, 0, 0)
                                  : NULL;
    if (root && p.at == p.end && !p.lost)
        return root;
    loader->nodes_left = left;
    return NULL;
}
