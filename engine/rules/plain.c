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

enum {
    KEY_MOST = 1000, /* bytes: libyaml looks no farther for the colon */
    NODES_AT_ONCE = 64,
};

/*
 * Texts stay where they are in the bytes of the file, and a NUL is put behind each as soon as what stood
 * there has been read. Behind the last byte stands a line end.
 */
struct plain {
    struct loader *loader;
    const struct file *file;
    char *at, *end;
    char *line;      /* where this line begins */
    uint32_t number; /* of the line */
    char *text_end;  /* of the last text, still to be marked; or NULL */
    char *counted;   /* on this line up to here there are so many characters: */
    size_t points;
    struct node *fresh; /* room for so many more */
    size_t fresh_count;
    bool lost; /* what stands here is not plain */
};

static struct node *lose(struct plain *p)
{
    p->lost = true;
    return NULL;
}

static bool ends_word(char c)
{
    return c == ' ' || c == '\n';
}

static size_t column(const struct plain *p)
{
    return (size_t)(p->at - p->line);
}

static void mark_text(struct plain *p)
{
    if (p->text_end)
        *p->text_end = '\0';
    p->text_end = NULL;
}

/* To the end of the line, if nothing but a comment is left on it. */
static bool at_line_end(struct plain *p)
{
    while (*p->at == ' ')
        p->at++;
    if (*p->at == '#' && (p->at == p->line || p->at[-1] == ' '))
        p->at += strcspn(p->at, "\n");
    return *p->at == '\n';
}

/* From the end of a line to the next thing that is no comment. False at the end of the file. */
static bool next_thing(struct plain *p)
{
    while (at_line_end(p)) {
        if (p->at == p->end)
            return false;
        p->line = ++p->at;
        p->number++;
        if (!strncmp(p->at, "---", 3) || !strncmp(p->at, "...", 3)) {
            lose(p);
            return false;
        }
    }
    return true;
}

static struct node *node_here(struct plain *p, enum node_kind kind)
{
    struct loader *loader = p->loader;
    if (loader->nodes_left == 0)
        return lose(p);
    loader->nodes_left--;
    if (p->file->ascii || p->counted < p->line) {
        p->counted = p->file->ascii ? p->at : p->line;
        p->points = (size_t)(p->counted - p->line);
    }
    for (; p->counted < p->at; p->counted++)
        p->points += ((unsigned char)*p->counted & 0xC0) != 0x80;
    mark_text(p);
    if (p->fresh_count == 0) {
        p->fresh_count = NODES_AT_ONCE;
        p->fresh = arena_room(loader->scratch, NODES_AT_ONCE, sizeof *p->fresh);
    }
    p->fresh_count--;
    struct node *node = p->fresh++;
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
    const char quote = *p->at;
    char *start = ++p->at, *copy = NULL;
    size_t doubled = 0;
    if (!node)
        return NULL;
    for (;; p->at += 2, doubled++) {
        p->at += strcspn(p->at, quote == '"' ? "\"\\\n" : "'\n");
        if (*p->at != quote)
            return lose(p);
        if (quote == '"' || p->at[1] != '\'')
            break;
    }
    node->text = start;
    node->quoted = true;
    p->text_end = p->at++;
    if (doubled) { /* of two the second stays */
        node->text = copy = arena_room(p->loader->keep, (size_t)(p->text_end - start) + 1, 1);
        for (; start < p->text_end; start += 1 + (*start == '\''))
            *copy++ = *start;
        *copy = '\0';
    }
    return node;
}

/* Bare: up to what ends it, which is left standing. In brackets more does. */
static struct node *bare(struct plain *p, bool inside)
{
    char *start = p->at, first = *start;
    bool letter = (first >= 'a' && first <= 'z') || (first >= '0' && first <= '9');
    if (!letter &&
        (strchr("&*!|>%@`\"'#,[]{}", first) || (strchr("-?:", first) && ends_word(start[1])) ||
         (inside && strchr("?:", first))))
        return lose(p);
    struct node *node = node_here(p, NODE_TEXT);
    if (!node)
        return NULL;
    for (;; p->at++) {
        p->at += strcspn(p->at, inside ? ":#?,[]{}\n" : ":#\n");
        char c = *p->at, next = p->at[1];
        if (c == ':' && !ends_word(next) && !(inside && strchr(",?[]{}", next)))
            continue;
        if (c == '#' && p->at[-1] != ' ')
            continue;
        if (c == '?')
            return lose(p);
        break;
    }
    char *behind = p->at;
    while (behind > start && behind[-1] == ' ')
        behind--;
    if (behind == start)
        return lose(p);
    node->text = start;
    p->text_end = behind;
    return node;
}

static struct node *text_here(struct plain *p, bool inside)
{
    return *p->at == '"' || *p->at == '\'' ? quoted(p) : bare(p, inside);
}

/* The lines below this one that stand deeper than `indent`, added to a text. Of a ">-" they stand equally
 * deep and mean nothing else; of a bare text a comment ends it, and nothing in it may look like a key. */
static void join_lines(struct plain *p, size_t indent, bool folded, struct text *text)
{
    size_t depth = 0;
    while (p->at < p->end) {
        char *line = p->at + 1;
        size_t spaces = 0, length = line < p->end ? strcspn(line, "\n") : 0;
        while (spaces < length && line[spaces] == ' ')
            spaces++;
        if (spaces == length || spaces <= indent || (!folded && line[spaces] == '#'))
            break;
        depth = depth ? depth : spaces;
        if (folded && (spaces != depth || line[length - 1] == ' '))
            lose(p); /* spaces at either end of a line stay */
        for (size_t i = spaces; !folded && i < length; i++)
            if ((line[i] == ':' && ends_word(line[i + 1])) ||
                (line[i] == '#' && line[i - 1] == ' '))
                lose(p);
        p->line = line;
        p->at = line + length;
        p->number++;
        while (line[length - 1] == ' ')
            length--;
        text_puts(text, text->length ? " " : "");
        text_add(text, line + spaces, length - spaces);
    }
}

/* ">-": the lines that stand deeper than `indent`, as one. */
static struct node *folded(struct plain *p, size_t indent)
{
    struct node *node = node_here(p, NODE_TEXT);
    struct text text;
    p->at += 2;
    if (!node || *p->at != '\n' || p->at == p->end)
        return lose(p);
    text_init(&text);
    join_lines(p, indent, true, &text);
    if (text.length == 0)
        lose(p);
    node->text = arena_copy(p->loader->keep, text.bytes, text.length);
    node->quoted = true;
    text_release(&text);
    return p->lost ? NULL : node;
}

/* A bare text goes on in the lines below it that stand deeper than `indent`. */
static void go_on(struct plain *p, size_t indent, struct node *node)
{
    struct text text;
    size_t first = (size_t)(p->text_end - node->text);
    text_init(&text);
    text_add(&text, node->text, first);
    join_lines(p, indent, false, &text);
    if (text.length > first) {
        node->text = arena_copy(p->loader->keep, text.bytes, text.length);
        p->text_end = NULL;
    }
    text_release(&text);
}

/* ---- lists and mappings ---------------------------------------------------------------------- */

/* A key, its colon behind it, within so many bytes of its line. */
static struct node *key_here(struct plain *p, const struct node *map, struct names *keys,
                             bool inside)
{
    const char *start = p->at;
    struct node *key = text_here(p, inside);
    if (!key || *p->at != ':' || !ends_word(p->at[1]) || p->at - start > KEY_MOST ||
        (!key->quoted && p->at[-1] == ' '))
        return lose(p);
    p->at++;
    mark_text(p);
    if (!strcmp(key->text, "<<") || document_repeats(p->loader, map, keys, key->text))
        return lose(p);
    return key;
}

static struct node *in_brackets(struct plain *p, unsigned depth)
{
    bool map = *p->at == '{';
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
        if (*p->at == close)
            break;
        if (map && !(key = key_here(p, node, &keys, true)))
            return NULL;
        if (map && at_line_end(p) && !next_thing(p))
            return lose(p);
        char c = *p->at;
        struct node *child = c == '[' || c == '{' ? in_brackets(p, depth + 1) : text_here(p, true);
        if (!child)
            return NULL;
        child->key = key;
        append(node, &last, child);
        if (at_line_end(p) && !next_thing(p))
            return lose(p);
        if (*p->at == close)
            break;
        if (*p->at != ',')
            return lose(p);
        p->at++;
    }
    p->at++;
    return node;
}

static bool at_dash(const struct plain *p)
{
    return *p->at == '-' && ends_word(p->at[1]);
}

/* Whether a key begins here: a text with a colon behind it on the same line. */
static bool at_key(const struct plain *p)
{
    const char *at = p->at;
    if (*at == '[' || *at == '{')
        return false;
    if (*at == '"' || *at == '\'') {
        const char close[] = {*at, '\n', '\0'};
        at += 1 + strcspn(at + 1, close);
        return *at != '\n' && at[1] == ':';
    }
    for (;; at++) {
        at += strcspn(at, ":\n");
        if (*at == '\n' || ends_word(at[1]))
            return *at == ':';
    }
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
    if (*p->at == '>' && p->at[1] == '-')
        node = folded(p, indent);
    else if (*p->at == '[' || *p->at == '{')
        node = in_brackets(p, depth);
    else
        node = text_here(p, false);
    if (node && node->kind == NODE_TEXT && !node->quoted && *p->at == '\n')
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
        else if (!(key = key_here(p, node, &keys, false)))
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

const struct node *plain_read(struct loader *loader, struct file *file, size_t skip)
{
    struct plain p = {.loader = loader,
                      .file = file,
                      .at = file->bytes + skip,
                      .end = file->bytes + file->length,
                      .line = file->bytes + skip,
                      .counted = file->bytes + skip,
                      .number = 1};
    size_t left = loader->nodes_left, length = file->length - skip;
    if (has_odd_signs(p.at, length) || !strncmp(p.at, "---", 3) || !strncmp(p.at, "...", 3))
        return NULL;
    const struct node *root = next_thing(&p) && column(&p) == 0 && !at_dash(&p) && at_key(&p)
                                  ? by_indent(&p, 0, 0)
                                  : NULL;
    mark_text(&p);
    file->plain = root && p.at == p.end && !p.lost;
    if (file->plain)
        return root;
    loader->nodes_left = left;
    return NULL;
}
