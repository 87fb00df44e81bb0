/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rules/load.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"

/* ---- documents to items ---------------------------------------------------------------------- */

/* The section of a kind: of observables the first of three. */
static const struct section *section_of(enum rule_kind kind)
{
    const struct section *section = SECTIONS;
    while (section->kind != kind || !section->name)
        section++;
    return section;
}

const char *kind_name(enum rule_kind kind)
{
    return section_of(kind)->name;
}

/* Later folders replace what earlier ones said. */
static void item_put(struct loader *loader, const struct section *section, struct item item)
{
    struct item_list *items = &loader->items[section->kind];
    size_t index;
    item.section = section;
    if (names_add(&loader->made->memory->ids[section->kind], item.id, loader->keep, &index)) {
        (void)arena_push(loader->scratch, items->list, items->count);
    } else if (items->list[index].folder == item.folder) {
        const struct position *first = &items->list[index].at;
        load_error(loader, item.at,
                   "%s '%s' is defined twice, first at %s:%zu; rename or remove one", section->name,
                   item.id, first->file, first->line);
    }
    items->list[index] = item;
}

static void put_below(struct loader *loader, const struct section *section, const struct node *map,
                      size_t folder)
{
    const char *key = map->key->text;
    if (section->form == SECTION_WHOLE) {
        item_put(loader, section,
                 (struct item){.id = key, map, node_at(map->key), .folder = folder});
        return;
    }
    if (!expect_kind(loader, map, NODE_MAP, key))
        return;
    const struct node *id = node_entry(map, "id");
    if (section->form == SECTION_LANGUAGE) {
        const struct node *words = node_entry(map, "words");
        const struct node *statements = node_entry(map, "statements");
        *arena_push(loader->scratch, loader->languages.list, loader->languages.count) = map;
        if (words)
            put_below(loader, section_of(ITEM_WORDS), words, folder);
        if (statements)
            put_below(loader, section_of(ITEM_STATEMENT), statements, folder);
    } else if (section->form == SECTION_MANY) {
        for (const struct node *entry = map->first; entry; entry = entry->next)
            if (expect_id(loader, entry->key))
                item_put(loader, section,
                         (struct item){
                             .id = entry->key->text, entry, node_at(entry->key), .folder = folder});
    } else if (!id) {
        node_error(loader, map, "a %s needs 'id'; add it", key);
    } else if (expect_kind(loader, id, NODE_TEXT, "id") && expect_id(loader, id)) {
        item_put(loader, section,
                 (struct item){.id = id->text, map, node_at(id), .folder = folder});
    }
}

static void put_section(struct loader *loader, const struct node *entry, size_t folder)
{
    const char *names[SECTION_COUNT], *key = entry->key->text;
    size_t count = 0;
    for (size_t i = 0; i < SECTION_COUNT; i++) {
        if (!SECTIONS[i].key)
            continue;
        names[count++] = SECTIONS[i].key;
        if (!strcmp(SECTIONS[i].key, key)) {
            put_below(loader, &SECTIONS[i], entry, folder);
            return;
        }
    }
    node_error(
        loader, entry->key, "unknown key '%s' at the top of a file%s", load_quote(loader, key),
        load_suggest(loader, key, names, count, "; FORMAT.md lists those that may stand there"));
}

/* ---- phrases --------------------------------------------------------------------------------- */

/* Whether {name} may stand in the phrase; told if not. What a list holds is for the reader. */
static bool brace_stands(struct loader *loader, const struct node *node, const char *name)
{
    const struct names *lists = &loader->rules->memory->ids[ITEM_WORDS];
    if (!strcmp(name, "q") || !strcmp(name, "n")) {
        if (loader->quantity == DIM_COUNT)
            node_error(loader, node,
                       "{%s} stands only in the phrases of a number itself, not in those of its "
                       "values or of anything else",
                       name);
        return loader->quantity != DIM_COUNT;
    }
    int found = names_find(lists, name);
    if (found != RULES_NONE && loader->list_used) {
        loader->list_used[found] = true;
        return true;
    }
    node_error(loader, node, "there is no list '{%s}'%s", load_quote(loader, name),
               load_suggest(loader, name, lists->list, lists->count,
                            "; there are {q}, {n} and the lists in language.words"));
    return false;
}

const char *read_phrase(struct loader *loader, const struct node *node)
{
    const char *source;
    if (node->kind == NODE_MAP) { /* only these two know what is behind the braces of a pattern */
        const struct node *entry = node_entry(node, "pattern");
        const struct node *more[] = {node_entry(node, "at"), node_entry(node, "with")};
        const char *words[] = {"", ""};
        if (!entry || node->count != 1u + (more[0] != NULL) + (more[1] != NULL)) {
            node_error(loader, node,
                       "a phrase is words, or a mapping with 'pattern', 'at', 'with' and no more");
            return NULL;
        }
        if (!expect_text(loader, entry, "pattern", &source) ||
            (more[0] && !expect_text(loader, more[0], "at", &words[0])) ||
            (more[1] && !expect_text(loader, more[1], "with", &words[1])))
            return NULL;
        if (loader->quantity == DIM_COUNT && (strstr(source, "{q}") || strstr(source, "{n}")))
            return brace_stands(loader, entry, strstr(source, "{q}") ? "q" : "n") ? source : NULL;
        return more[0] || more[1]
                   ? arena_format(loader->keep, "/%s\t%s\t%s", source, words[0], words[1])
                   : arena_format(loader->keep, "/%s", source);
    }
    if (!expect_text(loader, node, "phrase", &source))
        return NULL;
    for (const char *open = strchr(source, '{'); open; open = strchr(open + 1, '{')) {
        char name[64];
        size_t length = strcspn(open + 1, "}");
        length = length < sizeof name ? length : sizeof name - 1;
        memcpy(name, open + 1, length);
        name[length] = '\0';
        if (!brace_stands(loader, node, name))
            return NULL;
    }
    return source[0] == '/' ? source + 1 : source; /* a slash is no word, but means a pattern */
}

/* ---- language -------------------------------------------------------------------------------- */

/* The words the program itself must know. Every mention of `language` adds to the lists. */

SHAPE(language, "'language'",
      ROWS(language, LANGUAGE_TABLE) KEY("words", MAY, .read = NULL)
          KEY("statements", MAY, .read = NULL)); /* items of their own */

static void load_lists(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_WORDS];
    struct named_list *lists = arena_array(loader->keep, items->count, sizeof *lists);
    static const struct field field = {.key = "words",
                                       .offset = offsetof(struct named_list, items)};
    for (size_t i = 0; i < items->count; i++) {
        lists[i].id = items->list[i].id;
        read_phrases(loader, &field, items->list[i].node, &lists[i]);
    }
    loader->made->language.lists = lists;
    loader->made->language.list_count = items->count;
}

static void load_language(struct loader *loader)
{
    load_lists(loader);
    for (size_t i = 0; i < loader->languages.count; i++)
        shape_read(loader, &language_shape, loader->languages.list[i], &loader->made->language);
}

/* ---- items to the model ---------------------------------------------------------------------- */

static void load_whole(struct loader *loader, const struct section *section)
{
    int index = names_find(&loader->made->memory->ids[ITEM_WHOLE], section->key);
    void *made = (char *)loader->made + section->into;
    shape_clear(section->shape, made);
    if (index != RULES_NONE)
        shape_read(loader, section->shape, loader->items[ITEM_WHOLE].list[index].node, made);
    else if (section->required)
        load_error(loader, (struct position){0},
                   "no file has '%s'; FORMAT.md shows what stands in it", section->key);
}

/* All items of the kind. */
static void load_items(struct loader *loader, const struct section *of)
{
    const struct item_list *items = &loader->items[of->kind];
    char *array = arena_array(loader->keep, items->count, of->size);
    loader->arrays[of->kind] = array;
    memcpy((char *)loader->made + of->into, &array, sizeof array);
    memcpy((char *)loader->made + of->count, &items->count, sizeof items->count);
    for (size_t i = 0; i < items->count; i++) {
        const struct item *item = &items->list[i];
        const struct section *section = item->section;
        char *made = array + i * of->size;
        *(struct listed *)made = (struct listed){item->id, item->at};
        shape_clear(section->shape, made);
        if (of->kind == ITEM_OBSERVABLE) {
            struct observable *observable = (void *)made;
            observable->class = section->class;
            observable->lasts = section->class != CLASS_SIGN;
            observable->group = RULES_NONE;
        }
        shape_read(loader, section->shape, item->node, made);
        if (section->check)
            section->check(loader, item, made);
    }
}

static void load_model(struct loader *loader)
{
    const struct item_list *items = loader->items;
    loader->source_used =
        arena_array(loader->scratch, items[ITEM_SOURCE].count, sizeof *loader->source_used);
    loader->value_used =
        arena_array(loader->scratch, items[ITEM_OBSERVABLE].count, sizeof *loader->value_used);
    loader->list_used = arena_array(loader->scratch, items[ITEM_WORDS].count, sizeof(bool));
    if (!items[ITEM_OBSERVABLE].count)
        load_error(loader, (struct position){0}, "no file has 'signs'; add some");
    if (!items[ITEM_FINDING].count)
        load_error(loader, (struct position){0}, "no file has a 'finding'; add some");
    for (size_t i = 0; i < FEEDS_COUNT; i++)
        loader->made->feeder[i] = RULES_NONE;
    for (const struct section *section = SECTIONS; section < SECTIONS + SECTION_COUNT; section++)
        if (section->form == SECTION_WHOLE)
            load_whole(loader, section);
        else if (section->shape && !loader->arrays[section->kind])
            load_items(loader, section);
    load_normal(loader);
    sort_cautions(loader);
    load_moves(loader);
    load_language(loader);
}

/* ---- the model as a whole -------------------------------------------------------------------- */

static bool is_grown(const struct rules *rules, size_t finding)
{
    for (size_t c = 0; c < rules->cause_count; c++)
        for (size_t i = 0; i < rules->causes[c].grow_count; i++)
            if (rules->causes[c].grows[i].finding == finding)
                return true;
    return false;
}

static void check_finding(struct loader *loader, const struct finding *finding, bool grown)
{
    /* What is clean needs no cause; anything else has one, and the grower asks for it. */
    if (!grown && finding->base <= 0)
        load_warning(loader, finding->at,
                     "no cause grows '%s' and its base is 0: it is never found; give it a base, or "
                     "add it to the 'grows' of its causes",
                     finding->id);
    else if (!grown && finding->status != FINDING_CLEAN)
        load_warning(loader, finding->at,
                     "no cause grows '%s'; add it to the 'grows' of its causes", finding->id);
    /* Every finding can be isolated or discarded, and all but the contaminated ones kept. */
    for (enum action action = 0; action < ACTION_COUNT; action++)
        if (!finding->step_count[action] &&
            (action != ACTION_KEEP || finding->status != FINDING_CONTAMINATED))
            load_warning(loader, finding->at, "'%s' has no steps for '%s'; add them under 'do'",
                         finding->id, action_name(action));
}

/* Values of what feeds a computation are used by it. Of the others, those that nothing mentions
 * change nothing: answering them is wasted effort. */
static void check_values(struct loader *loader, const struct observable *observable, uint32_t used)
{
    if (observable->feeds != FEEDS_NONE)
        return;
    if (!used)
        load_warning(loader, observable->at,
                     "nothing uses '%s'; say in a finding or a cause what it tells, or take it out",
                     observable->id);
    for (size_t v = 0; used && v < observable->value_count; v++)
        if (!(used >> v & 1))
            load_warning(loader, observable->values[v].at,
                         "nothing uses value '%s' of '%s'; say in a finding or a cause what it "
                         "tells, or take it out",
                         observable->values[v].id, observable->id);
}

/* What nobody causes, uses or cites. Only asked when the parts have no errors. */
static void check_rules(struct loader *loader)
{
    const struct rules *rules = loader->rules;
    const struct item_list *words = &loader->items[ITEM_WORDS];
    for (size_t i = 0; i < rules->finding_count; i++)
        check_finding(loader, &rules->findings[i], is_grown(rules, i));
    for (size_t i = 0; i < rules->observable_count; i++)
        check_values(loader, &rules->observables[i], loader->value_used[i]);
    for (size_t i = 0; i < rules->source_count; i++)
        if (!loader->source_used[i])
            load_warning(loader, rules->sources[i].at,
                         "nothing cites source '%s'; cite it or take it out", rules->sources[i].id);
    for (size_t i = 0; i < words->count; i++)
        /* Words of spreadsheets, places and conversations are read by themselves (FORMAT.md). */
        if (!loader->list_used[i] && strncmp(words->list[i].id, "result_", 7) != 0 &&
            strncmp(words->list[i].id, "sheet_", 6) != 0 &&
            strncmp(words->list[i].id, "talk_", 5) != 0 &&
            strncmp(words->list[i].id, "remark_", 7) != 0 &&
            strcmp(words->list[i].id, "place_words") != 0 &&
            strcmp(words->list[i].id, "piece_words") != 0)
            load_warning(loader, words->list[i].at,
                         "no phrase has '{%s}'; use it or take the words out", words->list[i].id);
}

/* ---- loading --------------------------------------------------------------------------------- */

/* Reads every file, whatever is wrong with the others. False when what is read is not the whole. */
static bool read_files(struct loader *loader)
{
    bool whole = true;
    for (size_t i = 0; i < loader->file_count; i++) {
        struct file *file = &loader->files[i];
        size_t errors = loader->errors;
        const struct node *root = document_read(loader, file);
        for (const struct node *entry = root ? root->first : NULL; entry; entry = entry->next)
            put_section(loader, entry, file->folder);
        if (!root && loader->errors != errors)
            whole = false;
        else if (!root)
            load_warning(loader, (struct position){file->path, 1, 1},
                         "the file says nothing; put back what stood in it, or remove it");
    }
    snprintf(loader->made->hash, sizeof loader->made->hash, "%016llx",
             (unsigned long long)loader->hash);
    return whole;
}

static void load_folders(struct loader *loader, const char *const *folders, size_t folder_count)
{
    for (size_t i = 0; i < folder_count; i++)
        files_find(loader, folders[i], i);
    if (!loader->errors && (!loader->file_count || loader->files[0].folder != 0))
        load_error(loader, (struct position){0},
                   "no .yaml file in '%s'; name the folder that holds the rules",
                   load_quote(loader, folder_count ? folders[0] : ""));
    /* With a file missing, every id it defines would seem unknown: its own error comes first. */
    if (!read_files(loader) || loader->unreadable || !loader->file_count)
        return;
    load_model(loader);
    if (!loader->errors)
        check_rules(loader);
}

struct rules *rules_load(const char *const *folders, size_t folder_count, struct diags *diags,
                         enum status *status)
{
    /* The rule base holds the arena that holds it. */
    struct arena *keep = arena_new();
    struct rules *rules = arena_alloc(keep, sizeof *rules);
    rules->memory = arena_alloc(keep, sizeof *rules->memory);
    rules->memory->arena = keep;
    struct loader loader;
    loader_init(&loader, keep, rules);
    loader.made = rules;
    for (size_t i = 0; i < folder_count; i++)
        *arena_push(keep, rules->folders, rules->folder_count) = arena_string(keep, folders[i]);
    load_folders(&loader, folders, folder_count);
    enum status result = loader_finish(&loader, diags);
    if (result != STATUS_OK) {
        arena_free(keep);
        rules = NULL;
    }
    if (status)
        *status = result;
    return rules;
}

/* ==== case files: read with the tables that the rule files are read with ===================== */

struct case_reading {
    struct loader loader;
    struct labelled_case *list;
    size_t count;
    struct names ids;
};

/* "expand:10": what for, and how many. */
static READER(read_use)
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
static READER(read_settings)
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

/* A label is whole or not there at all: half of one would be scored as if it were. An account of a
 * batch is labelled with its causes alone. */
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

static READER(read_case)
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

static READER(read_cases)
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

enum status entries_load(const char *path, struct arena *arena, const struct plain_entry **entries,
                         size_t *count, struct diags *diags)
{
    struct loader loader;
    struct plain_entry *list = NULL;
    *count = 0;
    loader_init(&loader, arena, NULL);
    files_find(&loader, path, 0);
    const struct node *root =
        loader.file_count == 1 ? document_read(&loader, &loader.files[0]) : NULL;
    for (const struct node *node = root ? root->first : NULL; node; node = node->next)
        if (expect_kind(&loader, node, NODE_TEXT, node->key->text))
            *arena_push(arena, list, *count) = (struct plain_entry){
                node->key->text, node->text, node_at(node->key), node_at(node)};
    *entries = list;
    return loader_finish(&loader, diags);
}
