/* SPDX-License-Identifier: GPL-3.0-or-later */
/* libyaml's events -> a tree of nodes. Texts are copied at once; no event outlives its node. */
#include "knowledge/document_internal.h"

#include <string.h>
#include <yaml.h>

#include "base/text.h"
#include "knowledge/document_faults_internal.h"
#include "knowledge/names_internal.h"
#include "knowledge/rules.h"

enum {
    SHORT_TEXT = 31, /* bytes: ids, words of the scale, marks */
    FEW_KEYS = 16,   /* of a mapping: compared one by one */
};

struct anchor {
    const struct node *node; /* NULL while it is being read: an alias to it would hold itself */
    size_t weight;           /* nodes in it, those behind aliases counted each time */
};

struct reading {
    yaml_parser_t parser;
    const struct file *file;
    struct document_room *room;
    struct faults *faults;
    struct names anchor_names;
    struct anchor *anchors; /* by number of the name */
    size_t anchor_room;
    bool stopped; /* a fault after which reading on makes no sense, or no memory */
};

static struct node *read_node(struct reading *reading, const yaml_event_t *event, unsigned depth);

static struct position event_at(const struct reading *reading, const yaml_event_t *event)
{
    return (struct position){reading->file->path, event->start_mark.line + 1,
                             event->start_mark.column + 1};
}

/* The next event, which the caller deletes; false when reading has stopped. */
static bool next_event(struct reading *reading, yaml_event_t *event)
{
    if (reading->stopped)
        return false;
    if (yaml_parser_parse(&reading->parser, event))
        return true;
    reading->stopped = true;
    document_syntax_fault(&reading->parser, reading->file, reading->faults);
    return false;
}

/* ---- nodes ----------------------------------------------------------------------------------- */

/* Takes `weight` nodes off what is left. */
static bool spend(struct reading *reading, struct position at, size_t weight)
{
    if (weight <= reading->room->nodes_left) {
        reading->room->nodes_left -= weight;
        return true;
    }
    fault_error(reading->faults, at,
                "more than %d values in all; an alias may stand for far more than it seems",
                DOCUMENT_MAX_NODES);
    reading->stopped = true;
    return false;
}

static struct node *node_new(struct reading *reading, const yaml_event_t *event,
                             enum node_kind kind)
{
    struct position at = event_at(reading, event);
    if (!spend(reading, at, 1))
        return NULL;
    struct node *node = arena_alloc(reading->room->scratch, sizeof *node);
    if (!node) {
        reading->stopped = true;
        return NULL;
    }
    *node = (struct node){.kind = (uint8_t)kind,
                          .file = at.file,
                          .line = (uint32_t)at.line,
                          .column = (uint32_t)at.column};
    return node;
}

/* ---- anchors and aliases --------------------------------------------------------------------- */

/* A name may be used anew: later aliases mean the later node. */
static struct anchor *anchor_slot(struct reading *reading, const char *name)
{
    struct arena *scratch = reading->room->scratch;
    const char *kept = arena_string(scratch, name);
    size_t number;
    bool fresh;
    if (!kept || !names_add(&reading->anchor_names, kept, scratch, &number, &fresh))
        return NULL;
    if (number >= reading->anchor_room) {
        size_t room = reading->anchor_room ? reading->anchor_room * 2 : 8;
        struct anchor *grown =
            arena_grow(scratch, reading->anchors, reading->anchor_room, room, sizeof *grown);
        if (!grown)
            return NULL;
        reading->anchors = grown;
        reading->anchor_room = room;
    }
    return &reading->anchors[number];
}

static void anchor_set(struct reading *reading, const yaml_char_t *name, const struct node *node,
                       size_t weight)
{
    if (!name)
        return;
    struct anchor *anchor = anchor_slot(reading, (const char *)name);
    if (anchor)
        *anchor = (struct anchor){node, weight};
    else
        reading->stopped = true;
}

static void refuse_alias(struct reading *reading, struct position at, const char *name, bool known)
{
    reading->stopped = true;
    if (known)
        fault_error(reading->faults, at,
                    "alias '*%s' stands inside what it stands for; write the values out",
                    fault_quote(reading->faults, name));
    else
        fault_error(reading->faults, at, "unknown alias '*%s'%s",
                    fault_quote(reading->faults, name),
                    fault_hint(reading->faults,
                               fault_nearest(reading->faults, name, reading->anchor_names.list,
                                             reading->anchor_names.count)));
}

/* A node of its own that shares what is below the anchored one. */
static struct node *read_alias(struct reading *reading, const yaml_event_t *event)
{
    const char *name = (const char *)event->data.alias.anchor;
    struct node *copy = node_new(reading, event, NODE_TEXT);
    if (!copy)
        return NULL;
    int number = names_find(&reading->anchor_names, name);
    const struct anchor *anchor = number < 0 ? NULL : &reading->anchors[number];
    if (!anchor || !anchor->node) {
        refuse_alias(reading, node_at(copy), name, anchor != NULL);
        return NULL;
    }
    if (!spend(reading, node_at(copy), anchor->weight - 1))
        return NULL;
    const struct node place = *copy;
    *copy = *anchor->node;
    copy->line = place.line;
    copy->column = place.column;
    copy->key = copy->next = NULL;
    return copy;
}

/* ---- texts, lists, mappings ------------------------------------------------------------------ */

static void refuse_tag(struct reading *reading, const yaml_char_t *tag, struct position at)
{
    if (tag)
        fault_error(reading->faults, at, "tags such as '%s' are not read; leave it out",
                    fault_quote(reading->faults, (const char *)tag));
}

/* A copy that outlives the event; one for all that are short and alike. */
static const char *text_kept(struct document_room *room, const char *text, size_t length)
{
    int known = length <= SHORT_TEXT && !text[length] ? names_find(&room->texts, text) : RULES_NONE;
    if (known != RULES_NONE)
        return room->texts.list[known];
    const char *copy = arena_copy(room->keep, text, length);
    size_t number;
    bool fresh;
    if (copy && length <= SHORT_TEXT &&
        !names_add(&room->texts, copy, room->scratch, &number, &fresh))
        return NULL;
    return copy;
}

static struct node *read_text(struct reading *reading, const yaml_event_t *event)
{
    const char *value = (const char *)event->data.scalar.value;
    size_t length = event->data.scalar.length;
    struct node *node = node_new(reading, event, NODE_TEXT);
    if (!node)
        return NULL;
    refuse_tag(reading, event->data.scalar.tag, node_at(node));
    if (memchr(value, '\0', length)) {
        fault_error(reading->faults, node_at(node), "the text holds a NUL character; take it out");
        length = strlen(value);
    }
    node->quoted = event->data.scalar.style != YAML_PLAIN_SCALAR_STYLE;
    node->text = text_kept(reading->room, value, length);
    if (!node->text) {
        reading->stopped = true;
        return NULL;
    }
    anchor_set(reading, event->data.scalar.anchor, node, 1);
    return node;
}

/* Hangs a child behind the last one. */
static void append(struct node *parent, struct node **last, struct node *child)
{
    if (*last)
        (*last)->next = child;
    else
        parent->first = child;
    *last = child;
    parent->count++;
}

static void read_items(struct reading *reading, struct node *list, unsigned depth)
{
    struct node *last = NULL;
    yaml_event_t event;
    while (next_event(reading, &event)) {
        bool end = event.type == YAML_SEQUENCE_END_EVENT;
        struct node *item = end ? NULL : read_node(reading, &event, depth);
        yaml_event_delete(&event);
        if (!item)
            return;
        append(list, &last, item);
    }
}

/* Whether a mapping has the key already. `keys` is filled once there are too many to compare. */
static bool key_repeats(struct reading *reading, const struct node *map, struct names *keys,
                        const char *key)
{
    struct arena *scratch = reading->room->scratch;
    size_t number;
    bool fresh;
    if (map->count < FEW_KEYS)
        return node_entry(map, key) != NULL;
    bool added = true;
    const struct node *entry = keys->count ? NULL : map->first;
    for (; entry && added; entry = entry->next)
        added = names_add(keys, entry->key->text, scratch, &number, &fresh);
    added = added && names_add(keys, key, scratch, &number, &fresh);
    reading->stopped = reading->stopped || !added;
    return added && !fresh;
}

/* Whether the key may stand; told if not. */
static bool key_stands(struct reading *reading, const struct node *map, struct names *keys,
                       const struct node *key)
{
    if (key->kind != NODE_TEXT) {
        fault_error(reading->faults, node_at(key), "%s cannot be a key; a key is a text",
                    node_kind_name(key));
        return false;
    }
    if (!key->quoted && !strcmp(key->text, "<<")) {
        fault_error(reading->faults, node_at(key),
                    "merge keys are not read; write the entries out");
        return false;
    }
    if (!key_repeats(reading, map, keys, key->text))
        return !reading->stopped;
    fault_error(reading->faults, node_at(key),
                "key '%s' stands twice in this mapping; take one out or rename it",
                fault_quote(reading->faults, key->text));
    return false;
}

static void read_entries(struct reading *reading, struct node *map, unsigned depth)
{
    struct node *last = NULL;
    struct names keys = {0};
    yaml_event_t event;
    while (next_event(reading, &event)) {
        bool end = event.type == YAML_MAPPING_END_EVENT;
        struct node *key = end ? NULL : read_node(reading, &event, depth);
        yaml_event_delete(&event);
        if (!key || !next_event(reading, &event))
            return;
        /* The value is read in any case, to find its faults. */
        struct node *value = read_node(reading, &event, depth);
        yaml_event_delete(&event);
        if (!value)
            return;
        if (key_stands(reading, map, &keys, key)) {
            value->key = key;
            append(map, &last, value);
        }
    }
}

static struct node *read_container(struct reading *reading, const yaml_event_t *event,
                                   unsigned depth)
{
    bool is_map = event->type == YAML_MAPPING_START_EVENT;
    struct node *node = node_new(reading, event, is_map ? NODE_MAP : NODE_LIST);
    if (!node)
        return NULL;
    if (depth == DOCUMENT_MAX_DEPTH) {
        fault_error(reading->faults, node_at(node), "nested more than %d deep; make it flatter",
                    DOCUMENT_MAX_DEPTH);
        reading->stopped = true;
        return NULL;
    }
    const yaml_char_t *anchor =
        is_map ? event->data.mapping_start.anchor : event->data.sequence_start.anchor;
    refuse_tag(reading, is_map ? event->data.mapping_start.tag : event->data.sequence_start.tag,
               node_at(node));
    size_t left = reading->room->nodes_left;
    anchor_set(reading, anchor, NULL, 0);
    if (is_map)
        read_entries(reading, node, depth + 1);
    else
        read_items(reading, node, depth + 1);
    anchor_set(reading, anchor, node, left - reading->room->nodes_left + 1);
    return reading->stopped ? NULL : node;
}

/* NULL when reading has stopped. */
static struct node *read_node(struct reading *reading, const yaml_event_t *event, unsigned depth)
{
    switch (event->type) {
    case YAML_ALIAS_EVENT:
        return read_alias(reading, event);
    case YAML_SCALAR_EVENT:
        return read_text(reading, event);
    default:
        return read_container(reading, event, depth);
    }
}

/* ---- the document ---------------------------------------------------------------------------- */

/* The events before the root: the stream's start and the document's. */
static struct node *read_root(struct reading *reading)
{
    struct node *root = NULL;
    yaml_event_t event;
    while (!root && next_event(reading, &event)) {
        bool end = event.type == YAML_STREAM_END_EVENT;
        if (!end && event.type != YAML_STREAM_START_EVENT &&
            event.type != YAML_DOCUMENT_START_EVENT)
            root = read_node(reading, &event, 0);
        yaml_event_delete(&event);
        if (end)
            return NULL;
    }
    return root;
}

static void refuse_more(struct reading *reading)
{
    yaml_event_t event;
    bool end = false;
    while (!end && next_event(reading, &event)) {
        end = event.type == YAML_STREAM_END_EVENT;
        if (event.type == YAML_DOCUMENT_START_EVENT) {
            fault_error(reading->faults, event_at(reading, &event),
                        "a second document begins here; one file holds one");
            reading->stopped = true;
        }
        yaml_event_delete(&event);
    }
}

static const struct node *read_document(struct reading *reading)
{
    struct node *root = read_root(reading);
    if (!root)
        return NULL;
    if (root->kind != NODE_MAP) {
        fault_error(reading->faults, node_at(root), "the file is %s; it must be a mapping of keys",
                    node_kind_name(root));
        root = NULL;
    }
    refuse_more(reading);
    return root;
}

const struct node *document_read(const struct file *file, struct document_room *room,
                                 struct faults *faults)
{
    /* A byte order mark is let pass: editors write it unasked. */
    size_t skip = file->length >= 3 && !memcmp(file->bytes, "\xEF\xBB\xBF", 3) ? 3 : 0;
    if (!document_is_text(file, faults))
        return NULL;
    struct reading reading = {.file = file, .room = room, .faults = faults};
    if (!yaml_parser_initialize(&reading.parser)) {
        faults->no_memory = true;
        return NULL;
    }
    yaml_parser_set_encoding(&reading.parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&reading.parser, (const unsigned char *)file->bytes + skip,
                                 file->length - skip);
    const struct node *root = read_document(&reading);
    yaml_parser_delete(&reading.parser);
    return reading.stopped ? NULL : root;
}

struct position node_at(const struct node *node)
{
    return (struct position){node->file, node->line, node->column};
}

const struct node *node_entry(const struct node *map, const char *key)
{
    for (const struct node *entry = map->first; entry; entry = entry->next)
        if (!strcmp(entry->key->text, key))
            return entry;
    return NULL;
}

const char *node_kind_name(const struct node *node)
{
    static const char *const names[] = {"text", "a list", "a mapping"};
    return names[node->kind];
}
