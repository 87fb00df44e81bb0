/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A mapping and the table of what may stand in it; what a single value must be. */
#include "knowledge/fields_internal.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

const struct bounds ANY = {-INFINITY, INFINITY, false, false, ""};
const struct bounds POSITIVE = {0, INFINITY, true, false, "above 0"};
const struct bounds NOT_NEGATIVE = {0, INFINITY, false, false, "of 0 or more"};
const struct bounds SHARE = {0, 1, false, false, "from 0 to 1"};
const struct bounds CHANCE = {0, 1, true, true, "above 0 and below 1"};
const struct bounds PER_CENT = {0, 100, false, false, "from 0 to 100"};

enum { MOST_FIELDS = 64, LONGEST_ID = 63 };

const char *names_joined(struct loader *loader, const char *const *names, size_t count)
{
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < count; i++)
        text_printf(&text, "%s%s", i ? ", " : "", names[i]);
    const char *joined = text.failed ? NULL : arena_copy(loader->scratch, text.bytes, text.length);
    text_release(&text);
    return joined ? joined : "";
}

/* ---- mappings -------------------------------------------------------------------------------- */

static bool shape_has(const struct shape *shape, const char *key)
{
    for (size_t i = 0; i < shape->count; i++)
        if (!strcmp(shape->fields[i].key, key))
            return true;
    return false;
}

static void refuse_key(struct loader *loader, const struct shape *shape, const struct node *key)
{
    const char *names[MOST_FIELDS];
    size_t count = shape->count < MOST_FIELDS ? shape->count : MOST_FIELDS;
    for (size_t i = 0; i < count; i++)
        names[i] = shape->fields[i].key;
    const char *quoted = fault_quote(&loader->faults, key->text);
    const char *nearest = fault_nearest(&loader->faults, key->text, names, count);
    if (nearest)
        fault_error(&loader->faults, node_at(key), "unknown key '%s' in %s; did you mean '%s'?",
                    quoted, shape->what, nearest);
    else
        fault_error(&loader->faults, node_at(key), "unknown key '%s' in %s; it may hold %s", quoted,
                    shape->what, names_joined(loader, names, count));
}

void shape_read(struct loader *loader, const struct shape *shape, const struct node *map,
                void *item)
{
    if (map->kind != NODE_MAP) {
        fault_error(&loader->faults, node_at(map), "%s is %s here; it must be a mapping of keys",
                    shape->what, node_kind_name(map));
        return;
    }
    for (const struct node *entry = map->first; entry; entry = entry->next)
        if (!shape_has(shape, entry->key->text))
            refuse_key(loader, shape, entry->key);
    for (size_t i = 0; i < shape->count; i++) {
        const struct field *field = &shape->fields[i];
        const struct node *value = node_entry(map, field->key);
        if (value)
            field->read(loader, field, value, item);
        else if (field->required)
            fault_error(&loader->faults, node_at(map), "%s needs '%s'; add it", shape->what,
                        field->key);
    }
}

void *field_place(const struct field *field, void *item)
{
    return (char *)item + field->offset;
}

/* ---- single values --------------------------------------------------------------------------- */

static bool is_empty(const struct node *node)
{
    return !node->text[strspn(node->text, " \t\n")] ||
           (!node->quoted && (!strcmp(node->text, "~") || !strcmp(node->text, "null")));
}

bool expect_kind(struct loader *loader, const struct node *node, enum node_kind kind,
                 const char *key)
{
    const struct node wanted = {.kind = (uint8_t)kind};
    if (node->kind == kind)
        return true;
    bool empty = node->kind == NODE_TEXT && is_empty(node);
    bool colon = node->kind == NODE_MAP && kind == NODE_TEXT;
    fault_error(&loader->faults, node_at(node), "'%s' is %s; it must be %s%s", key,
                empty ? "empty" : node_kind_name(node), node_kind_name(&wanted),
                colon ? ", in quotes if it holds a colon" : "");
    return false;
}

bool expect_text(struct loader *loader, const struct node *node, const char *key, const char **text)
{
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    if (is_empty(node)) {
        fault_error(&loader->faults, node_at(node), "'%s' is empty; write a text or take it out",
                    key);
        return false;
    }
    size_t length = strlen(node->text);
    while (length && strchr(" \t\n", node->text[length - 1])) /* of a block */
        length--;
    *text = node->text[length] ? arena_copy(loader->keep, node->text, length) : node->text;
    return *text != NULL;
}

/* The whole text as a finite decimal number. The program never leaves the numeric "C" locale. */
static bool parse_number(const char *text, double *number)
{
    char *end;
    if (!*text || text[strspn(text, "+-.0123456789eE")])
        return false;
    *number = strtod(text, &end);
    return end != text && !*end && isfinite(*number);
}

static bool within(const struct bounds *bounds, double number)
{
    return (bounds->low_is_out ? number > bounds->low : number >= bounds->low) &&
           (bounds->high_is_out ? number < bounds->high : number <= bounds->high);
}

static void refuse_number(struct loader *loader, const struct node *node, const char *key,
                          const struct bounds *bounds)
{
    const char *space = *bounds->says ? " " : "";
    if (node->kind != NODE_TEXT)
        fault_error(&loader->faults, node_at(node), "'%s' is %s; it must be a number%s%s", key,
                    node_kind_name(node), space, bounds->says);
    else
        fault_error(&loader->faults, node_at(node), "'%s' is '%s'; it must be a number%s%s", key,
                    fault_quote(&loader->faults, node->text), space, bounds->says);
}

bool expect_number(struct loader *loader, const struct node *node, const char *key,
                   const struct bounds *bounds, double *number)
{
    double value;
    if (node->kind != NODE_TEXT || !parse_number(node->text, &value) || !within(bounds, value)) {
        refuse_number(loader, node, key, bounds);
        return false;
    }
    *number = value;
    return true;
}

bool expect_choice(struct loader *loader, const struct node *node, const char *key,
                   const struct words *words, size_t *choice)
{
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    for (size_t i = 0; i < words->count; i++)
        if (!strcmp(words->list[i], node->text)) {
            *choice = i;
            return true;
        }
    const char *nearest = fault_nearest(&loader->faults, node->text, words->list, words->count);
    fault_error(&loader->faults, node_at(node), "'%s' is '%s'%s%s", key,
                fault_quote(&loader->faults, node->text),
                nearest ? fault_hint(&loader->faults, nearest) : "; it must be one of ",
                nearest ? "" : names_joined(loader, words->list, words->count));
    return false;
}

bool expect_id(struct loader *loader, const struct node *key_node)
{
    const char *id = key_node->text;
    size_t length = strlen(id);
    if (*id >= 'a' && *id <= 'z' && length <= LONGEST_ID &&
        length == strspn(id, "abcdefghijklmnopqrstuvwxyz0123456789_"))
        return true;
    fault_error(&loader->faults, node_at(key_node),
                "'%s' is no id; an id begins with a small letter and goes on with small letters, "
                "digits and underscores, %d at most",
                fault_quote(&loader->faults, id), LONGEST_ID);
    return false;
}

const struct node *expect_items(struct loader *loader, const struct node *node, const char *key,
                                size_t *count)
{
    *count = 0;
    if (node->kind == NODE_TEXT && !is_empty(node)) {
        *count = 1;
        return node;
    }
    if (!expect_kind(loader, node, NODE_LIST, key))
        return NULL;
    if (!node->count)
        fault_error(&loader->faults, node_at(node), "'%s' is an empty list; take it out", key);
    *count = node->count;
    return node->first;
}

/* The word of the scale, or NULL; then a fault with the nearest is told. */
static const struct word *scale_word(struct loader *loader, const struct node *node,
                                     const char *key, const struct word *scale, size_t scale_count,
                                     const struct bounds *bounds)
{
    const char *names[MOST_FIELDS];
    size_t count = scale_count < MOST_FIELDS ? scale_count : MOST_FIELDS;
    for (size_t i = 0; i < count; i++) {
        if (!strcmp(scale[i].word, node->text))
            return &scale[i];
        names[i] = scale[i].word;
    }
    const char *quoted = fault_quote(&loader->faults, node->text);
    const char *nearest = fault_nearest(&loader->faults, node->text, names, count);
    if (nearest)
        fault_error(&loader->faults, node_at(node), "'%s' is '%s'; did you mean '%s'?", key, quoted,
                    nearest);
    else
        fault_error(&loader->faults, node_at(node),
                    "'%s' is '%s'; it must be a number %s, or one of %s", key, quoted, bounds->says,
                    names_joined(loader, names, count));
    return NULL;
}

bool expect_scaled(struct loader *loader, const struct node *node, const char *key,
                   const struct word *scale, size_t scale_count, const struct bounds *bounds,
                   double *number, const char **word)
{
    *word = NULL;
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    if (parse_number(node->text, number) && within(bounds, *number))
        return true;
    const struct word *found = scale_word(loader, node, key, scale, scale_count, bounds);
    if (!found)
        return false;
    *number = found->number;
    *word = found->word;
    return true;
}
