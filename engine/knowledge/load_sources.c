/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Works cited, and the citations that end each claim. */
#include <string.h>

#include "knowledge/fields_internal.h"

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
    const char *meant = fault_nearest(&loader->faults, node->text, marks, 3);
    if (!strcmp(node->text, "common practice") || !strcmp(node->text, "no source"))
        meant = marks[1];
    if (!meant)
        return false;
    fault_error(&loader->faults, node_at(node),
                "unknown source '%s'; write '%s', in quotes within a list",
                fault_quote(&loader->faults, node->text), meant);
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
