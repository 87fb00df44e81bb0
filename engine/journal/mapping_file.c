/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Maps as people write them: a YAML file, or a line of columns. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <yaml.h>

#include "base/filing.h"
#include "journal/mapping_internal.h"

enum { MOST_BYTES = 1 << 20, MOST_REPEATS = 64 };

struct map_reading {
    struct mapping *mapping;
    const char *path;
    yaml_document_t document;
    struct diags *diags;
    bool failed;
    size_t room; /* for translations */
};

/* ---- faults ---------------------------------------------------------------------------------- */

static struct position at(const struct map_reading *reading, const yaml_node_t *node)
{
    return (struct position){reading->path, node->start_mark.line + 1, node->start_mark.column + 1};
}

/* Where a fault stands, which makes the map one that cannot be used. */
static struct position wrong(struct map_reading *reading, const yaml_node_t *node)
{
    reading->failed = true;
    return at(reading, node);
}

/* The text of a node; NULL, and a fault, when it is none. */
static const char *text_of(struct map_reading *reading, const yaml_node_t *node)
{
    if (node->type == YAML_SCALAR_NODE &&
        strlen((const char *)node->data.scalar.value) == node->data.scalar.length)
        return (const char *)node->data.scalar.value;
    diags_error(reading->diags, wrong(reading, node), "a text should stand here");
    return NULL;
}

static const char *kept(struct map_reading *reading, const char *text)
{
    const char *copy = text != NULL ? arena_string(reading->mapping->arena, text) : NULL;
    reading->failed = reading->failed || copy == NULL;
    return copy;
}

static const char *folded(struct map_reading *reading, const char *text)
{
    const char *copy = text != NULL ? mapped_fold(reading->mapping->arena, text) : NULL;
    reading->failed = reading->failed || copy == NULL;
    return copy;
}

/* ---- names of ours --------------------------------------------------------------------------- */

static enum mapped field_named(const char *name)
{
    int i = 0;
    while (i < MAPPED_COUNT && strcmp(mapped_fields[i].name, name) != 0)
        i++;
    return (enum mapped)i;
}

static void unknown_field(struct diags *diags, struct position where, const char *name)
{
    const char *names[MAPPED_COUNT];
    struct text all;
    for (int i = 0; i < MAPPED_COUNT; i++)
        names[i] = mapped_fields[i].name;
    const char *near = diag_nearest(name, names, MAPPED_COUNT);
    if (near != NULL) {
        diags_error(diags, where, "no column of ours is called '%s'; did you mean '%s'?", name,
                    near);
        return;
    }
    text_init(&all);
    for (int i = 0; i < MAPPED_COUNT; i++)
        text_printf(&all, "%s%s", i > 0 ? " " : "", names[i]);
    diags_error(diags, where, "no column of ours is called '%s'; there are: %s", name, all.bytes);
    text_release(&all);
}

/* ---- the parts of the file ------------------------------------------------------------------- */

typedef void entry_reader(struct map_reading *reading, const yaml_node_t *key,
                          const yaml_node_t *value);

/* "columns:" with nothing but comments below it. */
static bool is_nothing(const yaml_node_t *node)
{
    return node->type == YAML_SCALAR_NODE && node->data.scalar.length == 0 &&
           node->data.scalar.style == YAML_PLAIN_SCALAR_STYLE;
}

/* Calls `read` for every entry of a mapping. */
static void each_entry(struct map_reading *reading, const yaml_node_t *node, entry_reader *read)
{
    if (is_nothing(node))
        return;
    if (node->type != YAML_MAPPING_NODE) {
        diags_error(reading->diags, wrong(reading, node),
                    "a list of 'name: value' should stand here");
        return;
    }
    for (const yaml_node_pair_t *pair = node->data.mapping.pairs.start;
         pair < node->data.mapping.pairs.top; pair++)
        read(reading, yaml_document_get_node(&reading->document, pair->key),
             yaml_document_get_node(&reading->document, pair->value));
}

/* The field that a key names; MAPPED_COUNT, and a fault, when there is none such. */
static enum mapped field_of(struct map_reading *reading, const yaml_node_t *key)
{
    const char *name = text_of(reading, key);
    enum mapped field = name != NULL ? field_named(name) : MAPPED_COUNT;
    if (name != NULL && field == MAPPED_COUNT) {
        unknown_field(reading->diags, at(reading, key), name);
        reading->failed = true;
    }
    return field;
}

static void read_column(struct map_reading *reading, const yaml_node_t *key,
                        const yaml_node_t *value)
{
    enum mapped field = field_of(reading, key);
    const char *heading = text_of(reading, value);
    if (field == MAPPED_COUNT || heading == NULL)
        return;
    if (reading->mapping->headings[field] != NULL)
        diags_error(reading->diags, wrong(reading, key), "'%s\' stands twice",
                    mapped_fields[field].name);
    reading->mapping->headings[field] = folded(reading, heading);
    reading->mapping->as_written[field] = kept(reading, heading);
}

static void read_same(struct map_reading *reading, const yaml_node_t *key, const yaml_node_t *value)
{
    enum mapped field = field_of(reading, key);
    const char *text = text_of(reading, value);
    if (field != MAPPED_COUNT && text != NULL)
        reading->mapping->same[field] = kept(reading, text);
}

static void read_dates(struct map_reading *reading, const yaml_node_t *value)
{
    const char *text = text_of(reading, value);
    char letters[4] = "";
    size_t count = 0;
    if (text == NULL)
        return;
    for (const char *c = text; *c != '\0' && count < 3; c++) /* "dd.mm.yyyy" means the same */
        if (strchr("dmyDMY", *c) != NULL && (c == text || strchr("./- ", c[-1]) != NULL))
            letters[count++] = (char)(*c | 0x20);
    if (strcmp(letters, "dmy") == 0)
        reading->mapping->dates = DATES_DAY_FIRST;
    else if (strcmp(letters, "mdy") == 0)
        reading->mapping->dates = DATES_MONTH_FIRST;
    else if (strcmp(letters, "ymd") == 0)
        reading->mapping->dates = DATES_YEAR_FIRST;
    else
        diags_error(
            reading->diags, wrong(reading, value),
            "'%s\' is no order of dates; write day/month/year, month/day/year or year-month-day",
            text);
}

static void read_repeats(struct map_reading *reading, const yaml_node_t *value)
{
    struct mapping *mapping = reading->mapping;
    if (value->type != YAML_SEQUENCE_NODE) {
        diags_error(reading->diags, wrong(reading, value),
                    "a list of headings in brackets should stand here");
        return;
    }
    mapping->repeats = arena_array(mapping->arena, MOST_REPEATS, sizeof *mapping->repeats);
    for (const yaml_node_item_t *item = value->data.sequence.items.start;
         mapping->repeats != NULL && item < value->data.sequence.items.top; item++) {
        const yaml_node_t *node = yaml_document_get_node(&reading->document, *item);
        if (mapping->repeat_count == MOST_REPEATS)
            diags_error(reading->diags, wrong(reading, node), "too many headings here");
        else
            mapping->repeats[mapping->repeat_count++] = folded(reading, text_of(reading, node));
    }
    reading->failed = reading->failed || mapping->repeats == NULL;
}

/* ---- translations ---------------------------------------------------------------------------- */

static bool knows(const struct mapping *mapping, enum mapped field, const char *meaning)
{
    struct mapped_result result;
    switch (mapped_fields[field].words) {
    case WORDS_RESULT:
        return mapped_meaning(mapping->rules, meaning, &result);
    case WORDS_SPECIES:
        return rules_species(mapping->rules, meaning) != RULES_NONE;
    case WORDS_GRAIN:
        return rules_grain(mapping->rules, meaning) != RULES_NONE;
    case WORDS_VESSEL:
        return rules_vessel(mapping->rules, meaning) != RULES_NONE;
    case WORDS_STARTER:
        for (size_t i = 0; i < mapping->rules->starter_count; i++)
            if (strcmp(mapping->rules->starters[i].id, meaning) == 0)
                return true;
        return false;
    case WORDS_FREE:
        break;
    }
    return true;
}

static void add_translation(struct map_reading *reading, enum mapped field, const char *word,
                            const char *meaning)
{
    struct mapping *mapping = reading->mapping;
    if (mapping->translation_count == reading->room) {
        size_t room = reading->room == 0 ? 16 : 2 * reading->room;
        struct translation *grown = arena_grow(mapping->arena, mapping->translations,
                                               mapping->translation_count, room, sizeof *grown);
        if (grown == NULL) {
            reading->failed = true;
            return;
        }
        mapping->translations = grown;
        reading->room = room;
    }
    mapping->translations[mapping->translation_count++] =
        (struct translation){field, folded(reading, word), kept(reading, meaning)};
}

static void read_values(struct map_reading *reading, const yaml_node_t *key,
                        const yaml_node_t *value)
{
    enum mapped field = field_of(reading, key);
    if (field == MAPPED_COUNT || is_nothing(value))
        return;
    if (value->type != YAML_MAPPING_NODE) {
        diags_error(reading->diags, wrong(reading, value),
                    "a list of 'word: meaning' should stand here");
        return;
    }
    for (const yaml_node_pair_t *pair = value->data.mapping.pairs.start;
         pair < value->data.mapping.pairs.top; pair++) {
        const yaml_node_t *word = yaml_document_get_node(&reading->document, pair->key);
        const yaml_node_t *meaning = yaml_document_get_node(&reading->document, pair->value);
        const char *theirs = text_of(reading, word), *ours = text_of(reading, meaning);
        if (theirs == NULL || ours == NULL)
            continue;
        if (!knows(reading->mapping, field, ours))
            diags_error(reading->diags, wrong(reading, meaning), "'%s' is no %s; %s", ours,
                        mapped_fields[field].name,
                        mapped_fields[field].words == WORDS_RESULT
                            ? "write growing, used, discarded or a finding as 'jarside show' lists "
                              "them"
                            : "'jarside show' lists what the rules know");
        add_translation(reading, field, theirs, ours);
    }
}

static void read_part(struct map_reading *reading, const yaml_node_t *key, const yaml_node_t *value)
{
    static const char *const parts[] = {"columns", "same", "dates", "repeat", "values"};
    const char *name = text_of(reading, key);
    if (name == NULL)
        return;
    if (strcmp(name, "columns") == 0) {
        each_entry(reading, value, read_column);
    } else if (strcmp(name, "same") == 0) {
        each_entry(reading, value, read_same);
    } else if (strcmp(name, "dates") == 0) {
        read_dates(reading, value);
    } else if (strcmp(name, "repeat") == 0) {
        read_repeats(reading, value);
    } else if (strcmp(name, "values") == 0) {
        each_entry(reading, value, read_values);
    } else {
        const char *near = diag_nearest(name, parts, sizeof parts / sizeof *parts);
        reading->failed = true;
        diags_error(reading->diags, at(reading, key),
                    "a map has no part '%s'; there are columns, same, dates, repeat and values%s%s",
                    name, near != NULL ? "; did you mean " : "", near != NULL ? near : "");
    }
}

/* ---- the whole ------------------------------------------------------------------------------- */

static bool given(const struct mapping *mapping, enum mapped field)
{
    return mapping->headings[field] != NULL || mapping->same[field] != NULL;
}

/* What a row needs, and records that nothing names. */
static void check_whole(struct map_reading *reading)
{
    const struct mapping *mapping = reading->mapping;
    struct position where = {reading->path, 0, 0};
    size_t faults = diags_errors(reading->diags);
    if (mapping->headings[MAPPED_VESSEL] == NULL && mapping->headings[MAPPED_NUMBER] == NULL)
        diags_error(reading->diags, where,
                    "no column tells the vessels; map 'vessel' (labels) or 'number' (within its "
                    "batch)");
    if (!given(mapping, MAPPED_BATCH))
        diags_error(reading->diags, where,
                    "nothing tells the batch; map 'batch', or give one for all under 'same'");
    for (int i = 0; i < MAPPED_COUNT; i++) {
        enum mapped label = mapped_label(mapped_fields[i].record);
        if (i == MAPPED_GRAIN || !given(mapping, (enum mapped)i) || label == MAPPED_COUNT ||
            label == MAPPED_VESSEL || given(mapping, label))
            continue;
        diags_error(reading->diags, where, "'%s' belongs to a %s, which nothing names; map '%s'",
                    mapped_fields[i].name, record_types[mapped_fields[i].record].name,
                    mapped_fields[label].name);
    }
    reading->failed = reading->failed || diags_errors(reading->diags) > faults;
}

static enum status parse(struct map_reading *reading, FILE *file)
{
    yaml_parser_t parser;
    if (yaml_parser_initialize(&parser) == 0)
        return STATUS_MEMORY;
    yaml_parser_set_input_file(&parser, file);
    enum status status = STATUS_OK;
    if (yaml_parser_load(&parser, &reading->document) == 0) {
        /* A fault it has no name for is lack of memory, too. */
        status = parser.error == YAML_MEMORY_ERROR || parser.error == YAML_NO_ERROR ? STATUS_MEMORY
                                                                                    : STATUS_DATA;
        if (status == STATUS_DATA)
            diags_error(reading->diags,
                        (struct position){reading->path, parser.problem_mark.line + 1,
                                          parser.problem_mark.column + 1},
                        "this is no YAML: %s",
                        parser.problem != NULL ? parser.problem : "unreadable");
    } else {
        const yaml_node_t *root = yaml_document_get_root_node(&reading->document);
        if (root == NULL)
            diags_error(reading->diags, (struct position){reading->path, 1, 1},
                        "the map is empty; 'jarside import FILE --guess' proposes one");
        else
            each_entry(reading, root, read_part);
        status = root == NULL ? STATUS_DATA : STATUS_OK;
        yaml_document_delete(&reading->document);
    }
    yaml_parser_delete(&parser);
    return status;
}

static enum status read_file(struct map_reading *reading)
{
    struct stat about;
    FILE *file = fopen(reading->path, "rb");
    if (file == NULL)
        return filing_refused(reading->path, "read", errno, reading->diags);
    enum status status = STATUS_DATA;
    if (fstat(fileno(file), &about) == 0 && S_ISREG(about.st_mode) && about.st_size <= MOST_BYTES)
        status = parse(reading, file);
    else
        diags_error(reading->diags, (struct position){reading->path, 0, 0},
                    "is no map: not a file, or longer than a mebibyte");
    fclose(file);
    return status;
}

/* "batch=Run,number=Bag no" */
static enum status read_line(struct map_reading *reading, const char *line)
{
    struct position nowhere = {NULL, 0, 0};
    char *copy = arena_string(reading->mapping->arena, line);
    for (char *item = copy, *next = NULL; item != NULL; item = next) {
        next = strchr(item, ',');
        if (next != NULL)
            *next++ = '\0';
        char *equals = strchr(item, '=');
        if (equals == NULL) {
            diags_error(reading->diags, nowhere, "'%s' is no 'ours=theirs'", item);
            return STATUS_USAGE;
        }
        *equals = '\0';
        item += strspn(item, " ");
        enum mapped field = field_named(item);
        if (field == MAPPED_COUNT) {
            unknown_field(reading->diags, nowhere, item);
            return STATUS_USAGE;
        }
        reading->mapping->headings[field] = folded(reading, equals + 1);
        reading->mapping->as_written[field] = kept(reading, equals + 1);
    }
    return copy != NULL ? STATUS_OK : STATUS_MEMORY;
}

struct mapping *mapping_new(const char *map, const struct rules *rules, struct diags *diags,
                            enum status *status)
{
    struct stat about;
    struct arena *arena = arena_new(NULL);
    struct mapping *mapping = arena != NULL ? arena_alloc(arena, sizeof *mapping) : NULL;
    bool line = strchr(map, '=') != NULL && stat(map, &about) != 0;
    *status = STATUS_MEMORY;
    if (mapping != NULL) {
        struct map_reading reading = {
            .mapping = mapping, .path = line ? NULL : map, .diags = diags};
        *mapping = (struct mapping){.arena = arena, .rules = rules};
        *status = line ? read_line(&reading, map) : read_file(&reading);
        if (*status == STATUS_OK && !reading.failed)
            check_whole(&reading);
        if (*status == STATUS_OK && reading.failed)
            *status = arena_exhausted(arena) ? STATUS_MEMORY : line ? STATUS_USAGE : STATUS_DATA;
    }
    if (*status == STATUS_OK)
        return mapping;
    arena_free(arena);
    return NULL;
}

void mapping_free(struct mapping *mapping)
{
    if (mapping != NULL)
        arena_free(mapping->arena);
}
