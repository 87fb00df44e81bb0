/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Documents -> items by kind and id, later folders replacing what earlier ones said. */
#include <string.h>

#include "knowledge/fields_internal.h"

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
        fault_error(&loader->faults, item.at,
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
        fault_error(&loader->faults, node_at(map), "a %s needs 'id'; add it", section->key);
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
    const char *nearest = fault_nearest(&loader->faults, key->text, names, SECTION_COUNT);
    fault_error(&loader->faults, node_at(key), "unknown key '%s' at the top of a file%s",
                fault_quote(&loader->faults, key->text),
                nearest ? fault_hint(&loader->faults, nearest)
                        : "; FORMAT.md lists those that may stand there");
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
