/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rules/cases.h"

#include <math.h>
#include <string.h>

#include "rules/load.h"

/* Case files: read with the tables that the rule files are read with. */

struct case_reading {
    struct loader loader;
    struct labelled_case *list;
    size_t count;
    struct names ids;
};

/* "expand:10": what for, and how many. */
static void read_use(struct loader *loader, const struct field *field, const struct node *node,
                     void *item)
{
    enum { USES_MOST = 32 };
    const struct decision_rules *decision = &loader->rules->decision;
    struct labelled_case *labelled = item;
    const char *names[USES_MOST];
    size_t count = decision->use_count < USES_MOST ? decision->use_count : USES_MOST;
    if (!expect_kind(loader, node, NODE_TEXT, field->key))
        return;
    size_t length = strcspn(node->text, ":");
    const char *name = arena_copy(loader->scratch, node->text, length);
    for (size_t i = 0; i < count; i++) {
        names[i] = decision->uses[i].id;
        if (!strcmp(names[i], name))
            labelled->use = names[i];
    }
    struct node number = *node;
    number.text += length + 1;
    if (!labelled->use)
        node_error(loader, node, "unknown use '%s'%s", load_quote(loader, name),
                   load_suggest(loader, name, names, count, ""));
    else if (node->text[length])
        expect_number(loader, &number, field->key, &POSITIVE, &labelled->use_count);
}

SHAPE(stakes, "'stakes'", ROWS(labelled_case, STAKES_TABLE) KEY("use", MAY, .read = read_use));

/* ---- one case -------------------------------------------------------------------------------- */

/* The sign is looked up to tell of slips early; what is set is for the reader to understand. */
static void read_settings(struct loader *loader, const struct field *field, const struct node *node,
                          void *item)
{
    struct labelled_case *labelled = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct case_setting *settings = arena_array(loader->keep, node->count, sizeof *settings);
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        size_t sign;
        settings[count] = (struct case_setting){.sign = entry->key->text, .at = node_at(entry)};
        if (find_item(loader, ITEM_OBSERVABLE, entry->key, &sign) &&
            expect_text(loader, entry, entry->key->text, &settings[count].value))
            count++;
    }
    labelled->settings = settings;
    labelled->setting_count = count;
}

SHAPE(labelled_case, "a case",
      ROWS(labelled_case, CASE_TABLE) KEY("set", MAY, .read = read_settings)
          KEY("stakes", MAY, .read = read_shape, .shape = &stakes_shape));

/* A label is whole or not there at all: half of one would be scored as if it were. An account of a batch
 * is labelled with its causes alone. */
static void check_case(struct case_reading *reading, const struct node *node,
                       const struct labelled_case *labelled)
{
    static const char *const label[] = {"findings", "actions", "source"};
    struct loader *loader = &reading->loader;
    bool labels = node_entry(node, "findings") || node_entry(node, "actions");
    for (size_t i = 0; labels && i < sizeof label / sizeof *label; i++)
        if (!node_entry(node, label[i]))
            node_error(loader, node, "a labelled case needs '%s'; add it", label[i]);
    if (!node_entry(node, "text") && !node_entry(node, "set"))
        node_error(loader, node, "a case needs 'text' or 'set': it says nothing");
    if (labelled->id && !names_add(&reading->ids, labelled->id, loader->scratch, NULL))
        node_error(loader, node_entry(node, "id"), "case '%s' stands twice; rename one",
                   labelled->id);
}

static void read_case(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    struct case_reading *reading = item;
    struct labelled_case *labelled = arena_push(loader->keep, reading->list, reading->count);
    (void)field;
    *labelled = (struct labelled_case){.text = "", .use_count = NAN, .at = node_at(node)};
    shape_clear(&labelled_case_shape, labelled);
    shape_read(loader, &labelled_case_shape, node, labelled);
    if (node->kind == NODE_MAP)
        check_case(reading, node, labelled);
}

static void read_cases(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    if (expect_kind(loader, node, NODE_LIST, field->key))
        for (const struct node *entry = node->first; entry; entry = entry->next)
            read_case(loader, field, entry, item);
}

SHAPE(case_file, "a case file",
      KEY("case", MAY, .read = read_case) KEY("cases", MAY, .read = read_cases));

enum status cases_load(const char *path, const struct rules *rules, struct arena *arena,
                       const struct labelled_case **cases, size_t *count, struct diags *diags)
{
    struct case_reading reading = {.list = NULL};
    struct loader *loader = &reading.loader;
    loader_init(loader, arena, rules);
    files_find(loader, path, 0);
    for (size_t i = 0; i < loader->file_count; i++) {
        const struct node *root = document_read(loader, &loader->files[i]);
        if (root)
            shape_read(loader, &case_file_shape, root, &reading);
    }
    if (!reading.count && !loader->errors)
        load_error(loader, (struct position){0},
                   "no case in '%s'; rules/FORMAT.md shows how one is written",
                   load_quote(loader, path));
    enum status status = loader_finish(loader, diags);
    *cases = status == STATUS_OK ? reading.list : NULL;
    *count = status == STATUS_OK ? reading.count : 0;
    return status;
}

/* ---- settings -------------------------------------------------------------------------------- */

enum status entries_load(const char *path, struct arena *arena, const struct entry **entries,
                         size_t *count, struct diags *diags)
{
    struct loader loader;
    struct entry *list = NULL;
    *count = 0;
    loader_init(&loader, arena, NULL);
    files_find(&loader, path, 0);
    const struct node *root =
        loader.file_count == 1 ? document_read(&loader, &loader.files[0]) : NULL;
    for (const struct node *node = root ? root->first : NULL; node; node = node->next)
        if (expect_kind(&loader, node, NODE_TEXT, node->key->text))
            *arena_push(arena, list, *count) =
                (struct entry){node->key->text, node->text, node_at(node->key), node_at(node)};
    *entries = list;
    return loader_finish(&loader, diags);
}
