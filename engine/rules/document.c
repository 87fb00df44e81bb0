/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dirent.h>
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <yaml.h>

#include "base/filing.h"
#include "base/text.h"
#include "rules/load.h"

/* ---- names -------------------------------------------------------------------------------- */

bool names_add(struct names *names, const char *name, struct arena *arena, size_t *number)
{
    const uint32_t found = hashed_add(&names->index, arena, hash_of(name, strlen(name)));
    const bool fresh = found == names->count;
    if (fresh)
        *arena_push(arena, names->list, names->count) = name;
    if (number)
        *number = found;
    return fresh;
}

int names_find(const struct names *names, const char *name)
{
    return (int)hashed_find(&names->index,
                            hash_of(name, strlen(name))); /* NO_INDEX is RULES_NONE */
}

/* ---- what is wrong --------------------------------------------------------------------------- */

enum {
    COMPARED_MOST = 4096, /* names, for the nearest one */
    QUOTE_BYTES = 60,
    EXCERPT_POINTS = 76, /* fits a terminal */
};

void load_tell(struct loader *loader, enum diag_kind kind, struct position at, const char *format,
               ...)
{
    loader->errors += kind == DIAG_ERROR;
    if (loader->problem_count == PROBLEMS_MOST)
        return;
    FORMATTED(message, format);
    struct problem *problem = &loader->problems[loader->problem_count++];
    *problem = (struct problem){kind, at, arena_format(loader->scratch, "%.599s", message), 0};
    for (size_t i = 0; at.file && i < loader->file_count; i++)
        if (loader->files[i].path == at.file)
            problem->file = i + 1;
}

/* A file or folder the system does not let us read. */
static void unreadable(struct loader *loader, const char *path)
{
    load_error(loader, (struct position){0}, "cannot read '%s': %s", load_quote(loader, path),
               strerror(errno));
    loader->unreadable = true;
}

const char *load_quote(struct loader *loader, const char *text)
{
    if (strlen(text) <= QUOTE_BYTES)
        return text;
    return arena_format(loader->scratch, "%.*s...", (int)utf8_valid_prefix(text, QUOTE_BYTES),
                        text);
}

const char *load_suggest(struct loader *loader, const char *word, const char *const *names,
                         size_t count, const char *otherwise)
{
    bool pointless = loader->problem_count == PROBLEMS_MOST || count > COMPARED_MOST;
    return pointless ? otherwise : diag_suggest(loader->scratch, word, names, count, otherwise);
}

static int by_place(const void *left, const void *right)
{
    const struct problem *a = left, *b = right;
    int by = ORDER(a->file, b->file); /* those without a file come first */
    by = by ? by : ORDER(a->at.line, b->at.line);
    by = by ? by : ORDER(a->at.column, b->at.column);
    by = by ? by : strcmp(a->message, b->message);
    return by ? by : ORDER(a->kind, b->kind);
}

/* Steps over `points` characters of UTF-8. */
static const char *skip_points(const char *bytes, const char *end, size_t points)
{
    for (; points && bytes < end; points--)
        do
            bytes++;
        while (bytes < end && ((unsigned char)*bytes & 0xC0) == 0x80);
    return bytes;
}

/* The line a problem stands on, or the part of it around the problem. */
static void attach_excerpt(const struct file *file, const struct position *at, struct diags *diags)
{
    const char *line = file->bytes;
    const char *end = file->bytes + file->length;
    for (size_t n = 1; line && n < at->line; n++) {
        line = memchr(line, '\n', (size_t)(end - line));
        line = line ? line + 1 : NULL;
    }
    if (!line || !at->line || !at->column)
        return;
    const char *stop = memchr(line, '\n', (size_t)(end - line));
    end = stop ? stop : end;
    if (end > line && end[-1] == '\r')
        end--;
    size_t length = (size_t)(end - line);
    if (!length || utf8_valid_prefix(line, length) < length)
        return;
    size_t before = at->column - 1;
    size_t skip = before > EXCERPT_POINTS / 2 ? before - EXCERPT_POINTS / 2 : 0;
    if (utf8_count(line, length) <= EXCERPT_POINTS)
        skip = 0;
    const char *from = skip_points(line, end, skip);
    const char *until = skip_points(from, end, EXCERPT_POINTS);
    char *excerpt SCOPED_FREE = text_format("%.*s", (int)(until - from), from);
    if (*excerpt)
        diags_excerpt(diags, excerpt, before - skip + 1);
}

enum status loader_finish(struct loader *loader, struct diags *diags)
{
    struct problem *problems = loader->problems;
    size_t count = loader->problem_count;
    enum status status = loader->unreadable ? STATUS_IO : loader->errors ? STATUS_DATA : STATUS_OK;
    qsort(problems, count, sizeof *problems, by_place);
    for (size_t i = 0; i < count; i++) {
        const struct problem *problem = &problems[i];
        if (i && !by_place(problem, problem - 1))
            continue; /* what several users of one shared block complain about */
        bool shown = diags_kept(diags) < DIAG_KEEP;
        diags_add(diags, problem->kind, problem->at, "%s", problem->message);
        if (shown && problem->file)
            attach_excerpt(&loader->files[problem->file - 1], &problem->at, diags);
    }
    arena_free(loader->scratch);
    return status;
}

void loader_init(struct loader *loader, struct arena *keep, const struct rules *rules)
{
    *loader = (struct loader){.keep = keep,
                              .scratch = arena_new(),
                              .rules = rules,
                              .nodes_left = DOCUMENT_MAX_NODES,
                              .hash = FNV_START,
                              .quantity = DIM_COUNT};
}

/* ---- files ----------------------------------------------------------------------------------- */

static bool ends_in_yaml(const char *name)
{
    size_t length = strlen(name);
    return length > 5 && !strcmp(name + length - 5, ".yaml");
}

/* False when the walk through the folders is to stop. */
static bool add_file(struct loader *loader, const char *path, size_t folder)
{
    if (loader->file_count == FILES_MAX_COUNT) {
        load_error(loader, (struct position){0},
                   "more than %d .yaml files; name a folder that holds only rules or cases",
                   FILES_MAX_COUNT);
        return false;
    }
    *arena_push(loader->scratch, loader->files, loader->file_count) =
        (struct file){.path = path, .folder = folder};
    return true;
}

static bool walk_into(struct loader *loader, const char *path, size_t folder, unsigned depth)
{
    if (depth > FILES_MAX_DEPTH) {
        loader->unreadable = true;
        load_error(
            loader, (struct position){0},
            "folders nest more than %d deep at '%s'; a link may point back to its own folder",
            FILES_MAX_DEPTH, load_quote(loader, path));
        return false;
    }
    DIR *stream = opendir(path);
    if (!stream) {
        unreadable(loader, path);
        return true;
    }
    bool going = true;
    const char *slash = *path && path[strlen(path) - 1] == '/' ? "" : "/";
    errno = 0;
    /* No other thread knows this stream, and readdir_r is deprecated. */
    /* cppcheck-suppress readdirCalled */
    for (struct dirent *entry; going && (entry = readdir(stream)) != NULL; errno = 0) {
        struct stat about;
        if (entry->d_name[0] == '.')
            continue;
        const char *found = arena_format(loader->keep, "%s%s%s", path, slash, entry->d_name);
        bool missing = stat(found, &about) != 0; /* a broken link */
        if (!missing && S_ISDIR(about.st_mode))
            going = walk_into(loader, found, folder, depth + 1);
        else if (ends_in_yaml(entry->d_name) && missing)
            unreadable(loader, found);
        else if (ends_in_yaml(entry->d_name))
            going = add_file(loader, found, folder);
    }
    if (going && errno)
        unreadable(loader, path);
    closedir(stream);
    return going;
}

static int by_path(const void *left, const void *right)
{
    return strcmp(((const struct file *)left)->path, ((const struct file *)right)->path);
}

void files_find(struct loader *loader, const char *path, size_t folder)
{
    size_t first = loader->file_count;
    struct stat about;
    if (stat(path, &about) != 0)
        unreadable(loader, path);
    else if (!S_ISDIR(about.st_mode))
        add_file(loader, arena_string(loader->keep, path), folder);
    else if (walk_into(loader, path, folder, 0) && loader->file_count > first)
        qsort(loader->files + first, loader->file_count - first, sizeof *loader->files, by_path);
}

/* False, and told, if it cannot be or is too large. */
static bool file_read(struct loader *loader, struct file *file)
{
    const struct position at = {.file = file->path};
    const size_t left = FILES_MAX_TOTAL - loader->total;
    const size_t most = left < FILES_MAX_BYTES ? left : FILES_MAX_BYTES;
    file->bytes = filing_whole(file->path, most, loader->scratch, &file->length);
    if (file->bytes) {
        memcpy(file->bytes + file->length, "\n", 2);
        loader->total += file->length;
    } else if (errno == EINVAL) {
        loader->unreadable = true;
        load_error(loader, (struct position){0}, "cannot read '%s': it is not a file of text",
                   load_quote(loader, file->path));
    } else if (errno != EFBIG) {
        unreadable(loader, file->path);
    } else if (most == FILES_MAX_BYTES) {
        load_error(loader, at, "larger than %d MiB; split it into several files",
                   FILES_MAX_BYTES / 1024 / 1024);
    } else {
        load_error(loader, at, "with this file there is more than %d MiB; that is too much",
                   FILES_MAX_TOTAL / 1024 / 1024);
    }
    return file->bytes != NULL;
}

/* ---- what keeps a file from being a document ------------------------------------------------- */

/* libyaml gives no place for what is not text, so it is looked for here, and found first. */
static struct position place_of(const struct file *file, size_t offset)
{
    const char *line = file->bytes, *end = file->bytes + offset, *newline;
    size_t number = 1;
    for (; (newline = memchr(line, '\n', (size_t)(end - line))) != NULL; number++)
        line = newline + 1;
    return (struct position){file->path, number, utf8_count(line, (size_t)(end - line)) + 1};
}

/* Whether the file is UTF-8 without control characters; told, with its place, if not. */
static bool is_text(struct loader *loader, struct file *file)
{
    enum { BLOCK = 64 };
    size_t valid = utf8_valid_prefix(file->bytes, file->length);
    unsigned char all = 0;
    for (size_t i = 0; i < valid; i++) {
        for (unsigned char odd = 0; i + BLOCK < valid; i += BLOCK) { /* nearly all are fine */
            const unsigned char *block = (const unsigned char *)file->bytes + i;
            for (size_t k = 0; k < BLOCK; k++) {
                odd |=
                    (unsigned char)(((block[k] < ' ') & (block[k] != '\n')) | (block[k] == 0x7F));
                all |= block[k];
            }
            if (odd)
                break;
        }
        unsigned char byte = (unsigned char)file->bytes[i];
        all |= byte;
        /* Of the ASCII controls YAML 1.1 (5.1) allows the line ends and tabs. */
        if ((byte >= ' ' && byte != 0x7F) || byte == '\n' || byte == '\r' || byte == '\t')
            continue;
        load_error(loader, place_of(file, i), "control character 0x%02X; a rule file is plain text",
                   (unsigned)byte);
        return false;
    }
    if (valid < file->length)
        load_error(loader, place_of(file, valid),
                   "byte 0x%02X is not UTF-8 here; save the file as UTF-8",
                   (unsigned)(unsigned char)file->bytes[valid]);
    file->ascii = all < 0x80;
    return valid == file->length;
}

/* What usually lies behind libyaml's complaint. */
static const struct advice {
    const char *problem; /* how it begins */
    const char *advice;
} ADVICE[] = {
    {"mapping values are not allowed",
     "put a text with a colon in it in quotes, and see that keys of one mapping line up"},
    {"found character that cannot start any token",
     "indent with spaces, not tabs, and put a text that begins with @, ` or % in quotes"},
    {"found a tab character", "indent with spaces, not tabs"},
    {"did not find expected key", "keys of one mapping must line up"},
    {"did not find expected '-'", "the dashes of one list must line up"},
    {"could not find expected ':'", "a key needs a colon and a space after it"},
    {"did not find expected ','", "a bracket is not closed, or an entry needs a comma before it"},
    {"found unknown escape character", "put patterns in single quotes, not double ones"},
    {"found unexpected end of stream", "a quote or bracket is not closed"},
    {"found unexpected document indicator", "a quote is not closed"},
    {"did not find expected alphabetic or numeric character",
     "put a text that begins with * or & in quotes"},
    {"did not find expected node content", "something is missing here"},
    {"did not find expected <document start>", "put the text in quotes"},
};

static void syntax_error(struct loader *loader, const yaml_parser_t *parser,
                         const struct file *file)
{
    if (parser->error == YAML_MEMORY_ERROR)
        memory_exhausted();
    const char *problem = parser->problem ? parser->problem : "it cannot be read";
    const char *advice = "see that quotes and brackets are closed and that entries line up";
    for (size_t i = sizeof ADVICE / sizeof *ADVICE; i-- > 0;)
        if (!strncmp(problem, ADVICE[i].problem, strlen(ADVICE[i].problem)))
            advice = ADVICE[i].advice;
    struct position at = {file->path, parser->problem_mark.line + 1,
                          parser->problem_mark.column + 1};
    if (parser->error == YAML_READER_ERROR)
        at = place_of(file, parser->problem_offset < file->length ? parser->problem_offset
                                                                  : file->length);
    if (parser->context && parser->context_mark.line != parser->problem_mark.line)
        load_error(loader, at, "not YAML: %s %s from line %zu; %s", problem, parser->context,
                   parser->context_mark.line + 1, advice);
    else
        load_error(loader, at, "not YAML: %s; %s", problem, advice);
}

/* ---- events to nodes ------------------------------------------------------------------------- */

/* Texts are copied at once; no event outlives its node. */

enum {
    FEW_KEYS = 16, /* of a mapping: compared one by one */
};

struct anchor {
    const struct node *node; /* NULL while it is being read: an alias to it would hold itself */
    size_t weight;           /* nodes in it, those behind aliases counted each time */
};

struct reading {
    yaml_parser_t parser;
    const struct file *file;
    struct loader *loader;
    struct names anchor_names;
    struct anchor *anchors; /* by number of the name */
    size_t anchor_count;
    bool stopped; /* an error after which reading on makes no sense */
};

struct position node_at(const struct node *node)
{
    return (struct position){node->file, node->line, node->column};
}

const struct node *node_entry(const struct node *map, const char *key)
{
    const struct node *entry = map->kind == NODE_MAP ? map->first : NULL;
    while (entry && (entry->key->text[0] != key[0] || strcmp(entry->key->text, key) != 0))
        entry = entry->next;
    return entry;
}

const char *const node_kind_names[] = {"text", "a list", "a mapping"};

/* The next event, which the caller deletes; false when reading has stopped. */
static bool next_event(struct reading *reading, yaml_event_t *event)
{
    if (reading->stopped)
        return false;
    if (yaml_parser_parse(&reading->parser, event))
        return true;
    reading->stopped = true;
    syntax_error(reading->loader, &reading->parser, reading->file);
    return false;
}

/* Takes `weight` nodes off what is left. */
static bool spend(struct reading *reading, const struct node *node, size_t weight)
{
    if (weight <= reading->loader->nodes_left) {
        reading->loader->nodes_left -= weight;
        return true;
    }
    node_error(reading->loader, node,
               "more than %d values in all; an alias may stand for far more than it seems",
               DOCUMENT_MAX_NODES);
    reading->stopped = true;
    return false;
}

/* A name may be used anew: later aliases mean the later node. */
static void anchor_set(struct reading *reading, const yaml_char_t *name, const struct node *node,
                       size_t weight)
{
    struct arena *scratch = reading->loader->scratch;
    size_t number;
    if (!name)
        return;
    if (names_add(&reading->anchor_names, arena_string(scratch, (const char *)name), scratch,
                  &number))
        (void)arena_push(scratch, reading->anchors, reading->anchor_count);
    reading->anchors[number] = (struct anchor){node, weight};
}

/* The node shares what is below the anchored one. */
static void read_alias(struct reading *reading, struct node *node, const char *name)
{
    const struct names *names = &reading->anchor_names;
    int number = names_find(names, name);
    const struct anchor *anchor = number < 0 ? NULL : &reading->anchors[number];
    if (anchor && anchor->node) {
        if (spend(reading, node, anchor->weight - 1)) {
            const struct node place = *node;
            *node = *anchor->node;
            node->line = place.line;
            node->column = place.column;
            node->key = node->next = NULL;
        }
        return;
    }
    reading->stopped = true;
    if (anchor)
        node_error(reading->loader, node,
                   "alias '*%s' stands inside what it stands for; write the values out",
                   load_quote(reading->loader, name));
    else
        node_error(reading->loader, node, "unknown alias '*%s'%s",
                   load_quote(reading->loader, name),
                   load_suggest(reading->loader, name, names->list, names->count, ""));
}

static void refuse_tag(struct reading *reading, const yaml_char_t *tag, const struct node *node)
{
    if (tag)
        node_error(reading->loader, node, "tags such as '%s' are not read; leave it out",
                   load_quote(reading->loader, (const char *)tag));
}

static void read_scalar(struct reading *reading, struct node *node, const yaml_event_t *event)
{
    const char *value = (const char *)event->data.scalar.value;
    size_t length = event->data.scalar.length;
    refuse_tag(reading, event->data.scalar.tag, node);
    if (memchr(value, '\0', length)) {
        node_error(reading->loader, node, "the text holds a NUL character; take it out");
        length = strlen(value);
    }
    node->text = arena_copy(reading->loader->keep, value, length);
    node->quoted = event->data.scalar.style != YAML_PLAIN_SCALAR_STYLE;
    anchor_set(reading, event->data.scalar.anchor, node, 1);
}

/* Whether a mapping has the key already. `keys` is filled once there are too many to compare. */
static bool document_repeats(struct loader *loader, const struct node *map, struct names *keys,
                             const char *key)
{
    if (map->count < FEW_KEYS)
        return node_entry(map, key) != NULL;
    for (const struct node *entry = keys->count ? NULL : map->first; entry; entry = entry->next)
        names_add(keys, entry->key->text, loader->scratch, NULL);
    return !names_add(keys, key, loader->scratch, NULL);
}

/* Whether the key may stand; told if not. */
static bool key_stands(struct reading *reading, const struct node *map, struct names *keys,
                       const struct node *key)
{
    if (key->kind != NODE_TEXT)
        node_error(reading->loader, key, "%s cannot be a key; a key is a text",
                   node_kind_names[key->kind]);
    else if (!key->quoted && !strcmp(key->text, "<<"))
        node_error(reading->loader, key, "merge keys are not read; write the entries out");
    else if (document_repeats(reading->loader, map, keys, key->text))
        node_error(reading->loader, key,
                   "key '%s' stands twice in this mapping; take one out or rename it",
                   load_quote(reading->loader, key->text));
    else
        return true;
    return false;
}

static struct node *read_node(struct reading *reading, const yaml_event_t *event, unsigned depth);

/* The node of the next event; NULL at the end of the list or mapping, or when reading stopped. */
static struct node *read_next(struct reading *reading, unsigned depth)
{
    yaml_event_t event;
    if (!next_event(reading, &event))
        return NULL;
    bool end = event.type == YAML_SEQUENCE_END_EVENT || event.type == YAML_MAPPING_END_EVENT;
    struct node *node = end ? NULL : read_node(reading, &event, depth);
    yaml_event_delete(&event);
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

static void read_children(struct reading *reading, struct node *parent, unsigned depth)
{
    struct node *last = NULL;
    struct names keys = {0};
    for (struct node *child; (child = read_next(reading, depth)) != NULL;) {
        if (parent->kind == NODE_MAP) {
            const struct node *key = child;
            /* The value is read in any case, to find what is wrong with it. */
            child = read_next(reading, depth);
            if (!child)
                return;
            if (!key_stands(reading, parent, &keys, key))
                continue;
            child->key = key;
        }
        append(parent, &last, child);
    }
}

/* NULL when reading has stopped. */
static struct node *read_node(struct reading *reading, const yaml_event_t *event, unsigned depth)
{
    bool is_map = event->type == YAML_MAPPING_START_EVENT;
    struct node *node = arena_alloc(reading->loader->scratch, sizeof *node);
    *node = (struct node){.kind = is_map                                     ? NODE_MAP
                                  : event->type == YAML_SEQUENCE_START_EVENT ? NODE_LIST
                                                                             : NODE_TEXT,
                          .file = reading->file->path,
                          .line = (uint32_t)event->start_mark.line + 1,
                          .column = (uint32_t)event->start_mark.column + 1};
    if (!spend(reading, node, 1))
        return NULL;
    if (event->type == YAML_ALIAS_EVENT) {
        read_alias(reading, node, (const char *)event->data.alias.anchor);
    } else if (node->kind == NODE_TEXT) {
        read_scalar(reading, node, event);
    } else if (depth == DOCUMENT_MAX_DEPTH) {
        node_error(reading->loader, node, "nested more than %d deep; make it flatter",
                   DOCUMENT_MAX_DEPTH);
        reading->stopped = true;
    } else {
        const yaml_char_t *anchor =
            is_map ? event->data.mapping_start.anchor : event->data.sequence_start.anchor;
        size_t left = reading->loader->nodes_left;
        refuse_tag(reading, is_map ? event->data.mapping_start.tag : event->data.sequence_start.tag,
                   node);
        anchor_set(reading, anchor, NULL, 0);
        read_children(reading, node, depth + 1);
        anchor_set(reading, anchor, node, left - reading->loader->nodes_left + 1);
    }
    return reading->stopped ? NULL : node;
}

/* One document, with a mapping at its root. */
static const struct node *read_document(struct reading *reading)
{
    struct node *root = NULL;
    bool end = false, begun = false;
    yaml_event_t event;
    while (!end && next_event(reading, &event)) {
        end = event.type == YAML_STREAM_END_EVENT;
        if (event.type == YAML_DOCUMENT_START_EVENT && begun) {
            load_error(reading->loader,
                       (struct position){reading->file->path, event.start_mark.line + 1,
                                         event.start_mark.column + 1},
                       "a second document begins here; one file holds one");
            reading->stopped = true;
        }
        begun = begun || event.type == YAML_DOCUMENT_START_EVENT;
        if (event.type == YAML_ALIAS_EVENT || event.type == YAML_SCALAR_EVENT ||
            event.type == YAML_SEQUENCE_START_EVENT || event.type == YAML_MAPPING_START_EVENT)
            root = read_node(reading, &event, 0);
        yaml_event_delete(&event);
        if (root && root->kind != NODE_MAP && !end) {
            node_error(reading->loader, root, "the file is %s; it must be a mapping of keys",
                       node_kind_names[root->kind]);
            root = NULL;
        }
    }
    return reading->stopped ? NULL : root;
}

/* ---- the plain part ---------------------------------------------------------------------------- */

/* The plain part of YAML, which nearly all rule files keep to: mappings and lists by indentation or
 * in brackets; texts on one line, bare or in quotes without escapes; ">-" without blank lines.
 *
 * Whatever else stands in a file, and every fault, makes plain_read give up, and the file is read
 * by libyaml, which takes five times as long. So nothing is decided here but what is plain beyond
 * doubt, and nothing is told. tests/unit/rules_plain_test.c holds the two side by side. */

enum {
    KEY_MOST = 1000, /* bytes: libyaml looks no farther for the colon */
};

/* After the last byte stands a line end. */
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

static bool ends_word(char c)
{
    return c == ' ' || c == '\n';
}

static size_t column(const struct plain *p)
{
    return (size_t)(p->at - p->line);
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
    struct node *node = arena_room(loader->scratch, 1, sizeof *node);
    *node = (struct node){.kind = (uint8_t)kind,
                          .file = p->file->path,
                          .line = p->number,
                          .column = (uint32_t)p->points + 1};
    return node;
}

/* ---- texts ----------------------------------------------------------------------------------- */

/* In quotes: up to the same quote on the same line, where only '' stands for something else. */
static struct node *quoted(struct plain *p)
{
    struct node *node = node_here(p, NODE_TEXT);
    const char quote = *p->at, *start = ++p->at;
    bool doubled = false;
    if (!node)
        return NULL;
    for (;; p->at += 2, doubled = true) {
        p->at += strcspn(p->at, quote == '"' ? "\"\\\n" : "'\n");
        if (*p->at != quote)
            return lose(p);
        if (quote == '"' || p->at[1] != '\'')
            break;
    }
    char *copy = arena_copy(p->loader->keep, start, (size_t)(p->at - start));
    node->text = copy;
    node->quoted = true;
    for (; doubled && start < p->at; start += 1 + (*start == '\'')) { /* of two one stays */
        *copy++ = *start;
        *copy = '\0';
    }
    p->at++;
    return node;
}

/* Bare: up to what ends it, which is left standing. In brackets more does. */
static struct node *bare(struct plain *p, bool inside)
{
    const char *start = p->at, first = *start;
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
    const char *behind = p->at;
    while (behind > start && behind[-1] == ' ')
        behind--;
    if (behind == start)
        return lose(p);
    node->text = arena_copy(p->loader->keep, start, (size_t)(behind - start));
    return node;
}

static struct node *text_here(struct plain *p, bool inside)
{
    return *p->at == '"' || *p->at == '\'' ? quoted(p) : bare(p, inside);
}

/* The lines below this one that stand deeper than `indent`, added to a text. Of a ">-" they stand
 * equally deep and mean nothing else; of a bare text a comment ends it, and nothing in it may look
 * like a key. */
static void join_lines(struct plain *p, size_t indent, bool folded, struct text *text)
{
    size_t depth = 0;
    while (p->at < p->end) {
        const char *line = p->at + 1;
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
    p->at += 2;
    if (!node || *p->at != '\n' || p->at == p->end)
        return lose(p);
    TEXT(text);
    join_lines(p, indent, true, &text);
    if (text.length == 0)
        lose(p);
    node->text = arena_copy(p->loader->keep, text.bytes, text.length);
    node->quoted = true;
    return p->lost ? NULL : node;
}

/* A bare text goes on in the lines below it that stand deeper than `indent`. */
static void go_on(struct plain *p, size_t indent, struct node *node)
{
    TEXT(text);
    text_puts(&text, node->text);
    const size_t first = text.length;
    join_lines(p, indent, false, &text);
    if (text.length > first)
        node->text = arena_copy(p->loader->keep, text.bytes, text.length);
}

/* ---- lists and mappings ---------------------------------------------------------------------- */

/* A key, its colon after it, within so many bytes of its line. */
static struct node *key_here(struct plain *p, const struct node *map, struct names *keys,
                             bool inside)
{
    const char *start = p->at;
    struct node *key = text_here(p, inside);
    if (!key || *p->at != ':' || !ends_word(p->at[1]) || p->at - start > KEY_MOST ||
        (!key->quoted && p->at[-1] == ' '))
        return lose(p);
    p->at++;
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

/* Whether a key begins here: a text with a colon after it on the same line. */
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

/* The root of a file, `skip` bytes left out; NULL when there is more to the file than the plain
 * part, or anything wrong with it. */
static const struct node *plain_read(struct loader *loader, struct file *file, size_t skip)
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
    file->plain = root && p.at == p.end && !p.lost;
    if (file->plain)
        return root;
    loader->nodes_left = left;
    return NULL;
}

/* FNV-1a, eight bytes at a time. */
static uint64_t file_hash(uint64_t hash, const struct file *file)
{
    uint64_t word = 0;
    size_t at = 0;
    for (; file->length - at >= sizeof word; at += sizeof word) {
        memcpy(&word, file->bytes + at, sizeof word);
        hash = (hash ^ word) * FNV_PRIME;
        hash ^= hash >> 32;
    }
    return fnv_hash(hash, file->bytes + at, file->length - at);
}

const struct node *document_read(struct loader *loader, struct file *file)
{
    if (!file_read(loader, file) || !is_text(loader, file))
        return NULL;
    /* A byte order mark is let pass: editors write it unasked. */
    size_t skip = file->length >= 3 && !memcmp(file->bytes, "\xEF\xBB\xBF", 3) ? 3 : 0;
    struct reading reading = {.file = file, .loader = loader};
    loader->hash = file_hash(loader->hash, file);
    const struct node *plain = loader->by_library ? NULL : plain_read(loader, file, skip);
    if (plain)
        return plain;
    if (!yaml_parser_initialize(&reading.parser))
        memory_exhausted();
    yaml_parser_set_encoding(&reading.parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&reading.parser, (const unsigned char *)file->bytes + skip,
                                 file->length - skip);
    const struct node *root = read_document(&reading);
    yaml_parser_delete(&reading.parser);
    return root;
}
