/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rules/cases.h"

#include <math.h>
#include <string.h>

#include "rules/fields.h"

/* Case files: read with the tables and the faults that the rule files are read with. */

struct case_reading {
    struct loader loader;
    struct labelled_case *list;
    size_t count, room;
    struct names ids;
};

/* ---- stakes ---------------------------------------------------------------------------------- */

static const struct use *use_named(const struct rules *rules, const char *name, size_t length)
{
    for (size_t i = 0; i < rules->decision.use_count; i++) {
        const char *id = rules->decision.uses[i].id;
        if (strlen(id) == length && !strncmp(id, name, length))
            return &rules->decision.uses[i];
    }
    return NULL;
}

static void refuse_use(struct loader *loader, const struct node *node, size_t length)
{
    enum { MOST_USES = 32 };
    const char *names[MOST_USES];
    size_t count = loader->rules->decision.use_count;
    count = count < MOST_USES ? count : MOST_USES;
    for (size_t i = 0; i < count; i++)
        names[i] = loader->rules->decision.uses[i].id;
    const char *name = arena_copy(loader->scratch, node->text, length);
    if (name)
        node_error(loader, node, "unknown use '%s'%s", load_quote(loader, name),
                   load_hint(loader, load_nearest(loader, name, names, count)));
}

/* "expand:10": what for, and how many. */
static void read_use(struct loader *loader, const struct field *field, const struct node *node,
                     void *item)
{
    struct labelled_case *labelled = item;
    if (!expect_kind(loader, node, NODE_TEXT, field->key))
        return;
    size_t length = strcspn(node->text, ":");
    const struct use *use = use_named(loader->rules, node->text, length);
    if (!use) {
        refuse_use(loader, node, length);
        return;
    }
    labelled->use = use->id;
    if (!node->text[length])
        return;
    struct node number = *node;
    number.text += length + 1;
    expect_number(loader, &number, field->key, &POSITIVE, &labelled->use_count);
}

#define CASE(member) offsetof(struct labelled_case, member)

static const struct field STAKES_FIELDS[] = {
    NUMBER("neighbours", OPTIONAL, CASE(neighbours), NOT_NEGATIVE),
    NUMBER("worth", OPTIONAL, CASE(worth), POSITIVE),
    OWN("use", OPTIONAL, read_use),
};
static const struct shape STAKES = SHAPE("'stakes'", STAKES_FIELDS);

/* ---- one case -------------------------------------------------------------------------------- */

/* The sign is looked up to tell of slips early; what is set is for the reader to understand. */
static void read_settings(struct loader *loader, const struct field *field, const struct node *node,
                          void *item)
{
    struct labelled_case *labelled = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct case_setting *settings = arena_array(loader->keep, node->count, sizeof *settings);
    if (!settings)
        return;
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

static const struct field FIELDS[] = {
    FIELD("id", REQUIRED, read_text, CASE(id)),
    FIELD("text", OPTIONAL, read_text, CASE(text)),
    OWN("set", OPTIONAL, read_settings),
    INNER("stakes", OPTIONAL, STAKES),
    REFERENCES("findings", OPTIONAL, read_indices, CASE(findings), CASE(finding_count),
               ITEM_FINDING),
    REFERENCES("causes", OPTIONAL, read_indices, CASE(causes), CASE(cause_count), ITEM_CAUSE),
    SET("actions", OPTIONAL, CASE(actions), ACTION_WORDS),
    FIELD("source", OPTIONAL, read_text, CASE(source)),
    FIELD("note", OPTIONAL, read_text, CASE(note)),
};
static const struct shape LABELLED_CASE = SHAPE("a case", FIELDS);

/* A label is whole or not there at all: half of one would be scored as if it were. */
static void check_case(struct case_reading *reading, const struct node *node,
                       const struct labelled_case *labelled)
{
    static const char *const label[] = {"findings", "actions", "source"};
    struct loader *loader = &reading->loader;
    size_t number;
    bool fresh;
    bool labels =
        node_entry(node, "findings") || node_entry(node, "causes") || node_entry(node, "actions");
    for (size_t i = 0; labels && i < sizeof label / sizeof *label; i++)
        if (!node_entry(node, label[i]))
            node_error(loader, node, "a labelled case needs '%s'; add it", label[i]);
    if (!node_entry(node, "text") && !node_entry(node, "set"))
        node_error(loader, node, "a case needs 'text' or 'set': it says nothing");
    if (labelled->id &&
        names_add(&reading->ids, labelled->id, reading->loader.scratch, &number, &fresh) && !fresh)
        node_error(loader, node_entry(node, "id"), "case '%s' stands twice; rename one",
                   labelled->id);
}

static void case_read(struct case_reading *reading, const struct node *node)
{
    if (reading->count == reading->room) {
        size_t room = reading->room ? reading->room * 2 : 32;
        struct labelled_case *list =
            arena_grow(reading->loader.keep, reading->list, reading->count, room, sizeof *list);
        if (!list)
            return;
        reading->list = list;
        reading->room = room;
    }
    struct labelled_case *labelled = &reading->list[reading->count++];
    *labelled = (struct labelled_case){
        .text = "", .neighbours = NAN, .worth = NAN, .use_count = NAN, .at = node_at(node)};
    shape_read(&reading->loader, &LABELLED_CASE, node, labelled);
    if (node->kind == NODE_MAP)
        check_case(reading, node, labelled);
}

/* ---- files ----------------------------------------------------------------------------------- */

static void read_case(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    (void)loader, (void)field;
    case_read(item, node);
}

static void read_cases(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    if (expect_kind(loader, node, NODE_LIST, field->key))
        for (const struct node *entry = node->first; entry; entry = entry->next)
            case_read(item, entry);
}

static const struct field FILE_FIELDS[] = {
    OWN("case", OPTIONAL, read_case),
    OWN("cases", OPTIONAL, read_cases),
};
static const struct shape CASE_FILE = SHAPE("a case file", FILE_FIELDS);

static void read_files(struct case_reading *reading, const char *path)
{
    struct loader *loader = &reading->loader;
    files_find(&loader->files, path, 0, &loader->faults);
    for (size_t i = 0; i < loader->files.count; i++) {
        struct file *file = &loader->files.list[i];
        const struct node *root = NULL;
        if (file_read(&loader->files, file, &loader->faults))
            root = document_read(file, &loader->room, &loader->faults);
        if (root)
            shape_read(loader, &CASE_FILE, root, reading);
    }
    if (!reading->count && !loader->faults.errors)
        load_error(loader, (struct position){0},
                   "no case in '%s'; rules/FORMAT.md "
                   "shows how one is written",
                   load_quote(loader, path));
}

enum status cases_load(const char *path, const struct rules *rules, struct arena *arena,
                       const struct labelled_case **cases, size_t *count, struct diags *diags)
{
    struct arena *scratch = arena_new();
    *cases = NULL;
    *count = 0;
    if (!scratch)
        return STATUS_MEMORY;
    struct case_reading reading = {.list = NULL};
    loader_init(&reading.loader, arena, scratch, rules);
    read_files(&reading, path);
    if (loader_status(&reading.loader) != STATUS_MEMORY) /* see load.c */
        faults_tell(&reading.loader.faults, &reading.loader.files, diags);
    enum status status = loader_status(&reading.loader); /* only now: telling takes memory, too */
    if (status == STATUS_OK) {
        *cases = reading.list;
        *count = reading.count;
    }
    arena_free(scratch);
    return status;
}
