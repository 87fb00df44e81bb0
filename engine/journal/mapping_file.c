/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <yaml.h>

#include "base/csv.h"
#include "base/filing.h"
#include "base/text.h"
#include "journal/mapping_internal.h"

/* ==== mapping fields ========================================================================== */

/* What a column of a spreadsheet may be, and what its dates and words say. */

#define FREE DIM_NONE, WORDS_FREE

const struct mapped_field mapped_fields[MAPPED_COUNT] = {
    [MAPPED_VESSEL] = {"vessel", RECORD_VESSEL, "label", FREE,
                       "vessel|jar|bag|label|vessel id|jar id|bag id|container|unit|tag|code"},
    [MAPPED_NUMBER] = {"number", RECORD_VESSEL, "number", FREE,
                       "number|no|nr|#|bag no|jar no|vessel no|bag number|jar number|bag #|jar #"},
    [MAPPED_BATCH] = {"batch", RECORD_BATCH, "label", FREE,
                      "batch|run|batch id|batch no|run no|lot run|series|round"},
    [MAPPED_INOCULATED] = {"inoculated", RECORD_BATCH, "at", FREE,
                           "inoculated|inoculation|inoculation date|date inoculated|inoc|inoc date|"
                           "started|start|start date|date"},
    [MAPPED_SPECIES] = {"species", RECORD_BATCH, "species", DIM_NONE, WORDS_SPECIES,
                        "species|mushroom|strain|variety|culture species|kind of mushroom"},
    [MAPPED_STARTER] = {"starter", RECORD_STARTER, "label", FREE,
                        "starter|culture|lc|syringe|mother|source|inoculum|liquid culture|plate"},
    [MAPPED_STARTER_KIND] = {"starter_kind", RECORD_STARTER, "kind", DIM_NONE, WORDS_STARTER,
                             "starter kind|starter type|inoculum type|culture type"},
    [MAPPED_LOT] = {"lot", RECORD_LOT, "label", FREE,
                    "lot|grain lot|sack|grain sack|grain bag|grain batch"},
    [MAPPED_GRAIN] = {"grain", RECORD_LOT, "grain", DIM_NONE, WORDS_GRAIN,
                      "grain|grain type|substrate|kind of grain"},
    [MAPPED_COOK] = {"cook", RECORD_COOK, "label", FREE,
                     "cook|cooker run|cook run|autoclave run|pc run|load|cook no|cooker load|"
                     "steam run"},
    [MAPPED_COOKED] = {"cooked", RECORD_COOK, "at", FREE,
                       "cooked|cook date|date cooked|pc date|autoclave date|steamed"},
    [MAPPED_MINUTES] = {"minutes", RECORD_COOK, "minutes", DIM_MINUTES, WORDS_FREE,
                        "minutes|cook time|time at pressure|pc time|cook minutes|duration|min"},
    [MAPPED_GAUGE] = {"gauge", RECORD_COOK, "gauge", DIM_GAUGE_KPA, WORDS_FREE,
                      "pressure|gauge|psi|kpa|bar|cook pressure"},
    [MAPPED_SESSION] = {"session", RECORD_SESSION, "label", FREE,
                        "session|sitting|work session|inoculation session"},
    [MAPPED_PLACE] = {"place", RECORD_PLACE, "label", FREE,
                      "place|shelf|location|rack|room|tent|where|position on shelf"},
    [MAPPED_CELSIUS] = {"celsius", RECORD_PLACE, "celsius", DIM_CELSIUS, WORDS_FREE,
                        "temperature|temp|celsius|room temperature"},
    [MAPPED_KIND] = {"kind", RECORD_VESSEL, "kind", DIM_NONE, WORDS_VESSEL,
                     "vessel type|container type|vessel kind|jar size|bag size|size|type|jar type|"
                     "bag type"},
    [MAPPED_GRAMS] = {"grams", RECORD_VESSEL, "grams", DIM_GRAMS, WORDS_FREE,
                      "weight|grams|mass|wet weight|fill weight|net weight"},
    [MAPPED_CONTROL] = {"control", RECORD_VESSEL, "control", FREE,
                        "control|uninoculated|blank|control jar|control bag"},
    [MAPPED_DRY] = {"dry", RECORD_BATCH, "dry", DIM_GRAMS, WORDS_FREE,
                    "dry grain|dry weight|dry|grain weight"},
    [MAPPED_WATER] = {"water", RECORD_BATCH, "water", DIM_GRAMS, WORDS_FREE,
                      "water|water added|added water"},
    [MAPPED_DOSE] = {"dose", RECORD_BATCH, "dose", FREE, "dose|ml|amount|volume|amount of starter"},
    [MAPPED_ISOLATED] = {"isolated", RECORD_EVENT, NULL, FREE, "isolated|quarantined|set apart"},
    [MAPPED_SHAKEN] = {"shaken", RECORD_EVENT, NULL, FREE,
                       "shaken|shake|break and shake|shake date|date shaken|broken up"},
    [MAPPED_USED] = {"used", RECORD_EVENT, NULL, FREE,
                     "used|used on|date used|spawned|spawned on|to bulk"},
    [MAPPED_DISCARDED] = {"discarded", RECORD_EVENT, NULL, FREE,
                          "discarded|tossed|thrown out|binned|date discarded|discarded on"},
    [MAPPED_RESULT] = {"result", RECORD_OUTCOME, NULL, DIM_NONE, WORDS_RESULT,
                       "result|outcome|status|contamination|contam|what happened|state|finding|"
                       "verdict|fate|problem"},
    [MAPPED_ENDED] = {"ended", RECORD_OUTCOME, NULL, FREE,
                      "ended|end|end date|seen on|found on|date found|date seen|result date|"
                      "finished|date lost|lost on"},
    [MAPPED_NOTE] = {"note", RECORD_VESSEL, "note", FREE,
                     "note|notes|remarks|remark|comment|comments"},
};

enum mapped mapped_label(enum record record)
{
    for (int i = 0; i < MAPPED_COUNT; i++)
        if (mapped_fields[i].record == record && mapped_fields[i].column != NULL &&
            strcmp(mapped_fields[i].column, "label") == 0)
            return (enum mapped)i;
    return MAPPED_COUNT;
}

bool mapped_is_date(enum mapped field)
{
    const struct mapped_field *mapped = &mapped_fields[field];
    if (mapped->column == NULL)
        return mapped->words == WORDS_FREE; /* events but the result are days */
    const struct column *columns = record_types[mapped->record].columns;
    return columns[record_column(mapped->record, mapped->column)].kind == COLUMN_MOMENT;
}

/* ---- words ----------------------------------------------------------------------------------- */

const char *mapped_fold(struct arena *arena, const char *text)
{
    struct text folded;
    text_init(&folded);
    const char *result = NULL;
    if (text_fold(&folded, text, strlen(text), NULL) && !folded.failed) {
        const char *at = folded.bytes;
        size_t length = folded.length;
        while (length > 0 && at[length - 1] == ' ')
            length--;
        while (length > 0 && *at == ' ')
            at++, length--;
        result = arena_copy(arena, at, length);
    }
    text_release(&folded);
    return result;
}

static const char *translated(const struct mapping *mapping, enum mapped field, const char *folded)
{
    for (size_t i = 0; i < mapping->translation_count; i++)
        if (mapping->translations[i].field == field &&
            strcmp(mapping->translations[i].word, folded) == 0)
            return mapping->translations[i].meaning;
    return NULL;
}

static bool is_name(struct arena *arena, const char *name, const char *folded)
{
    const char *other = name != NULL ? mapped_fold(arena, name) : NULL;
    return other != NULL && strcmp(other, folded) == 0;
}

struct named_id {
    const char *id, *name, *also;
};

/* The i-th of what a vocabulary names; false beyond the last. */
static bool entry(const struct rules *rules, enum vocabulary words, size_t i,
                  struct named_id *named)
{
    *named = (struct named_id){0};
    if (words == WORDS_SPECIES && i < rules->species_count)
        *named = (struct named_id){rules->species[i].id, rules->species[i].name,
                                   rules->species[i].latin};
    else if (words == WORDS_GRAIN && i < rules->grain_count)
        *named = (struct named_id){rules->grains[i].id, rules->grains[i].name, NULL};
    else if (words == WORDS_VESSEL && i < rules->vessel_count)
        *named = (struct named_id){rules->vessels[i].id, rules->vessels[i].name, NULL};
    else if (words == WORDS_STARTER && i < rules->starter_count)
        *named = (struct named_id){rules->starters[i].id, rules->starters[i].name, NULL};
    else if (words == WORDS_RESULT && i < rules->finding_count)
        *named = (struct named_id){rules->findings[i].id, rules->findings[i].name, NULL};
    return named->id != NULL;
}

static const char *named_in_rules(const struct rules *rules, enum vocabulary words,
                                  const char *folded, struct arena *arena)
{
    struct named_id named;
    for (size_t i = 0; entry(rules, words, i, &named); i++)
        if (strcmp(named.id, folded) == 0 || is_name(arena, named.name, folded) ||
            is_name(arena, named.also, folded))
            return named.id;
    return NULL;
}

/* The one value that the reader hears in the text as an answer to what feeds a quantity. */
static const char *heard(const struct rules *rules, struct reader *reader, enum vocabulary words,
                         const char *text, struct arena *arena)
{
    static const enum feeds feeds[] = {[WORDS_SPECIES] = FEEDS_SPECIES,
                                       [WORDS_GRAIN] = FEEDS_GRAIN,
                                       [WORDS_VESSEL] = FEEDS_VESSEL,
                                       [WORDS_STARTER] = FEEDS_STARTER_KIND};
    int observable = rules->feeder[feeds[words]];
    struct reading_list list;
    struct diags *unheard = diags_new();
    const char *id = NULL;
    if (observable == RULES_NONE || unheard == NULL ||
        reader_answer(reader, (size_t)observable, text, strlen(text), arena, &list, unheard) !=
            STATUS_OK)
        list.reading_count = 0;
    for (size_t i = 0; i < list.reading_count && id == NULL; i++) {
        const struct reading *reading = &list.readings[i];
        const struct observable *asked = &rules->observables[observable];
        if (reading->observable != (size_t)observable || reading->hedged)
            continue;
        for (size_t v = 0; v < asked->value_count; v++)
            if (reading->seen == (uint32_t)1 << v)
                id = asked->values[v].id;
    }
    diags_free(unheard);
    return id;
}

const char *mapped_word(const struct mapping *mapping, struct reader *reader, enum mapped field,
                        const char *text, struct arena *arena)
{
    enum vocabulary words = mapped_fields[field].words;
    const char *folded = mapped_fold(arena, text);
    if (folded == NULL)
        return NULL;
    const char *id = translated(mapping, field, folded);
    if (id == NULL)
        id = named_in_rules(mapping->rules, words, folded, arena);
    return id != NULL ? id : heard(mapping->rules, reader, words, text, arena);
}

/* ---- results --------------------------------------------------------------------------------- */

bool mapped_meaning(const struct rules *rules, const char *meaning, struct mapped_result *result)
{
    *result = (struct mapped_result){0};
    for (const char *at = meaning; *(at += strspn(at, " ,")) != '\0';) {
        char word[64];
        size_t length = strcspn(at, " ,");
        snprintf(word, sizeof word, "%.*s", (int)(length < sizeof word ? length : 63), at);
        int finding = rules_finding(rules, word);
        if (finding != RULES_NONE && result->finding == NULL)
            result->finding = &rules->findings[finding];
        else if (strcmp(word, "used") == 0)
            result->used = true;
        else if (strcmp(word, "discarded") == 0)
            result->discarded = true;
        else if (strcmp(word, "growing") != 0)
            return false;
        at += length;
    }
    return true;
}

bool mapped_result(const struct mapping *mapping, const char *text, struct arena *arena,
                   struct mapped_result *result)
{
    const char *folded = mapped_fold(arena, text);
    if (folded == NULL)
        return false;
    const char *meaning = translated(mapping, MAPPED_RESULT, folded);
    if (meaning == NULL)
        meaning = named_in_rules(mapping->rules, WORDS_RESULT, folded, arena);
    return mapped_meaning(mapping->rules, meaning != NULL ? meaning : folded, result);
}

/* ==== mapping file ============================================================================ */

/* Maps as people write them: a YAML file, or a line of columns. */

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

static struct position file_at(const struct map_reading *reading, const yaml_node_t *node)
{
    return (struct position){reading->path, node->start_mark.line + 1, node->start_mark.column + 1};
}

/* Where a fault stands, which makes the map one that cannot be used. */
static struct position wrong(struct map_reading *reading, const yaml_node_t *node)
{
    reading->failed = true;
    return file_at(reading, node);
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
        unknown_field(reading->diags, file_at(reading, key), name);
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

static void file_read_part(struct map_reading *reading, const yaml_node_t *key,
                           const yaml_node_t *value)
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
        diags_error(reading->diags, file_at(reading, key),
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
            each_entry(reading, root, file_read_part);
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
    struct arena *arena = arena_new();
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

/* ==== mapping guess =========================================================================== */

/* A map proposed from headings and values, for a person to look over. */

enum { MOST_COLUMNS = 64, MOST_VALUES = 60, MOST_LENGTH = 80 };

struct sample { /* what stands in one column */
    const char *heading, *folded;
    const char *values[MOST_VALUES]; /* distinct, as written */
    size_t counts[MOST_VALUES];
    size_t count;
    bool more;                          /* distinct values than were kept */
    bool repeats;                       /* a value stands in two rows */
    bool whole;                         /* every value is a whole number */
    bool day_first, month_first, plain; /* dates that can only be so; ISO or with a named month */
    size_t dates, filled;
};

struct guess {
    struct csv_table reader;
    struct arena *arena;
    struct sample samples[MOST_COLUMNS];
    size_t column_count;
    size_t rows;
    int column_of[MAPPED_COUNT]; /* -1 for none */
    struct text *out;
};

/* ---- looking --------------------------------------------------------------------------------- */

static void look_at_date(struct sample *sample, const char *text)
{
    struct moment moment;
    bool plain = moment_read_in(text, DATES_ISO, &moment);
    bool day_first = moment_read_in(text, DATES_DAY_FIRST, &moment);
    bool month_first = moment_read_in(text, DATES_MONTH_FIRST, &moment);
    sample->dates += plain || day_first || month_first;
    sample->plain = sample->plain || plain;
    sample->day_first = sample->day_first || (day_first && !month_first);
    sample->month_first = sample->month_first || (month_first && !day_first);
}

static bool look_at_value(struct guess *guess, struct sample *sample, const char *text)
{
    sample->filled++;
    sample->whole = sample->whole && text[strspn(text, "0123456789")] == '\0';
    look_at_date(sample, text);
    for (size_t i = 0; i < sample->count; i++)
        if (strcmp(sample->values[i], text) == 0) {
            sample->counts[i]++;
            sample->repeats = true;
            return true;
        }
    if (sample->count == MOST_VALUES || strlen(text) > MOST_LENGTH) {
        sample->more = true;
        return true;
    }
    sample->values[sample->count] = arena_string(guess->arena, text);
    sample->counts[sample->count] = 1;
    return sample->values[sample->count++] != NULL;
}

static enum status look_at_row(void *context, const struct csv_row *row)
{
    struct guess *guess = context;
    bool header = guess->column_count == 0;
    if (header)
        guess->column_count = row->count < MOST_COLUMNS ? row->count : MOST_COLUMNS;
    else
        guess->rows++;
    for (size_t i = 0; i < guess->column_count && i < row->count; i++) {
        const char *text = row->fields[i].text + strspn(row->fields[i].text, " \t");
        struct sample *sample = &guess->samples[i];
        if (header) {
            *sample = (struct sample){.whole = true};
            sample->heading = arena_string(guess->arena, row->fields[i].text);
            sample->folded = mapped_fold(guess->arena, text);
            if (sample->heading == NULL || sample->folded == NULL)
                return STATUS_MEMORY;
        } else if (text[0] != '\0' && !look_at_value(guess, sample, text)) {
            return STATUS_MEMORY;
        }
    }
    return STATUS_OK;
}

/* ---- choosing -------------------------------------------------------------------------------- */

/* How well a heading fits: 100 less its place among those that suggest the field; half of that when
 * it only holds one as a word of its own; 0 when not at all. */
static int fit(const char *headings, const char *folded)
{
    int place = 0, best = 0;
    for (const char *at = headings; *at != '\0'; place++) {
        size_t length = strcspn(at, "|");
        const char *found = NULL;
        if (strlen(folded) == length && memcmp(folded, at, length) == 0)
            return 100 - place;
        for (const char *try = folded; length > 3 && *try != '\0' && found == NULL; try++)
            if (strncmp(try, at, length) == 0 && (try == folded || try[-1] == ' ') &&
                (try[length] == '\0' || strchr(" .:(?", try[length]) != NULL))
                found = try;
        if (found != NULL && 50 - place > best)
            best = 50 - place;
        at += length + (at[length] == '|');
    }
    return best;
}

static bool suits(const struct sample *sample, enum mapped field)
{
    if (mapped_is_date(field))
        return sample->filled == 0 || 2 * sample->dates >= sample->filled;
    if (field == MAPPED_NUMBER)
        return sample->whole;
    if (field == MAPPED_VESSEL)
        return !sample->repeats;
    return true;
}

/* The best pair of what is left, again and again. */
static void choose(struct guess *guess)
{
    bool taken[MOST_COLUMNS] = {false};
    for (int i = 0; i < MAPPED_COUNT; i++)
        guess->column_of[i] = -1;
    for (;;) {
        int best = 0, field = 0, column = 0;
        for (int i = 0; i < MAPPED_COUNT; i++)
            for (size_t k = 0; k < guess->column_count && guess->column_of[i] < 0; k++) {
                const struct sample *sample = &guess->samples[k];
                int fits = taken[k] || !suits(sample, (enum mapped)i)
                               ? 0
                               : fit(mapped_fields[i].headings, sample->folded);
                if (fits > best)
                    best = fits, field = i, column = (int)k;
            }
        if (best == 0)
            return;
        guess->column_of[field] = column;
        taken[column] = true;
    }
}

/* A column headed like a label, of whole numbers that come again in every batch, counts within it. */
static void number_for_label(struct guess *guess)
{
    if (guess->column_of[MAPPED_VESSEL] >= 0 || guess->column_of[MAPPED_NUMBER] >= 0)
        return;
    for (size_t k = 0; k < guess->column_count; k++) {
        bool used = false;
        for (int i = 0; i < MAPPED_COUNT; i++)
            used = used || guess->column_of[i] == (int)k;
        if (!used && guess->samples[k].whole && guess->samples[k].filled > 0 &&
            fit(mapped_fields[MAPPED_VESSEL].headings, guess->samples[k].folded) > 0)
            guess->column_of[MAPPED_NUMBER] = (int)k;
    }
}

/* ---- writing --------------------------------------------------------------------------------- */

/* A text in double quotes, as YAML has it. */
static void put_quoted(struct text *out, const char *text)
{
    text_puts(out, "\"");
    for (const char *at = text; *at != '\0'; at++) {
        if (*at == '"' || *at == '\\')
            text_printf(out, "\\%c", *at);
        else if ((unsigned char)*at < 0x20 || *at == 0x7f)
            text_printf(out, "\\x%02x", (unsigned)(unsigned char)*at);
        else
            text_add(out, at, 1);
    }
    text_puts(out, "\"");
}

/* For a comment: nothing in it may end the line. */
static void put_comment(struct text *out, const char *text)
{
    static const struct text_safe_options options = {.limit = MOST_LENGTH};
    text_safe(out, text, strlen(text), &options);
}

static void put_columns(struct guess *guess)
{
    struct text *out = guess->out;
    text_puts(out, "columns:\n");
    for (int i = 0; i < MAPPED_COUNT; i++)
        if (guess->column_of[i] >= 0) {
            text_printf(out, "  %s: ", mapped_fields[i].name);
            put_quoted(out, guess->samples[guess->column_of[i]].heading);
            text_puts(out, "\n");
        }
    for (size_t k = 0; k < guess->column_count; k++) {
        bool used = guess->samples[k].folded[0] == '\0';
        for (int i = 0; i < MAPPED_COUNT; i++)
            used = used || guess->column_of[i] == (int)k;
        if (used)
            continue;
        text_puts(out, "  # left out: ");
        put_comment(out, guess->samples[k].heading);
        text_puts(out, "\n");
    }
    if (guess->column_of[MAPPED_VESSEL] < 0 && guess->column_of[MAPPED_NUMBER] < 0)
        text_puts(out, "  # number: ?     no column seems to tell the vessels of a batch\n");
    if (guess->column_of[MAPPED_BATCH] < 0)
        text_puts(out, "  # batch: ?      no column seems to tell the batch\n");
    if (guess->column_of[MAPPED_INOCULATED] < 0)
        text_puts(out, "  # inoculated: ? no column seems to tell the day of inoculation\n");
}

static void put_dates(struct guess *guess)
{
    bool day_first = false, month_first = false, unclear = false;
    for (int i = 0; i < MAPPED_COUNT; i++) {
        if (guess->column_of[i] < 0 || !mapped_is_date((enum mapped)i))
            continue;
        const struct sample *sample = &guess->samples[guess->column_of[i]];
        day_first = day_first || sample->day_first;
        month_first = month_first || sample->month_first;
        unclear = unclear || (sample->dates > 0 && !sample->plain);
    }
    if (day_first && month_first)
        text_puts(guess->out, "dates: day/month/year   # some can only be month/day/year\n");
    else if (day_first)
        text_puts(guess->out, "dates: day/month/year\n");
    else if (month_first)
        text_puts(guess->out, "dates: month/day/year\n");
    else if (unclear)
        text_puts(guess->out,
                  "dates: day/month/year   # or month/day/year: the file does not tell\n");
}

/* Columns that a sheet with merged cells leaves empty below the first row. */
static void put_repeats(struct guess *guess)
{
    static const enum mapped shared[] = {MAPPED_BATCH, MAPPED_INOCULATED, MAPPED_COOK,
                                         MAPPED_STARTER};
    bool any = false;
    for (size_t i = 0; i < sizeof shared / sizeof *shared; i++) {
        int column = guess->column_of[shared[i]];
        if (column < 0 || 2 * guess->samples[column].filled > guess->rows)
            continue;
        text_puts(guess->out, any ? ", " : "repeat: [");
        put_quoted(guess->out, guess->samples[column].heading);
        any = true;
    }
    if (any)
        text_puts(guess->out, "]   # mostly empty: what stands above holds\n");
}

/* ---- words ----------------------------------------------------------------------------------- */

/* Plain words for what became of a vessel, as people write them. */
static const char *plain_result(const char *folded)
{
    static const char *const words[][2] = {
        {"used", "used"},        {"spawned", "used"},        {"in bulk", "used"},
        {"growing", "growing"},  {"running", "growing"},     {"ongoing", "growing"},
        {"ok", "growing"},       {"discarded", "discarded"}, {"tossed", "discarded"},
        {"binned", "discarded"}, {"trashed", "discarded"},   {"thrown out", "discarded"},
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcmp(folded, words[i][0]) == 0)
            return words[i][1];
    return NULL;
}

/* What the triage takes the words for; NULL when that is too doubtful to be proposed: a vessel that
 * may be contaminated is never proposed as clean. Without memory to tell, `out` counts as failed. */
static const struct finding *guessed(struct triage *triage, const char *value, struct text *out,
                                     double *p)
{
    static const double likely = 0.5, suspect = 0.1;
    const struct fact *facts = NULL;
    const struct finding *finding = NULL;
    struct diags *unheard = diags_new();
    const struct verdict *verdict = NULL;
    const struct rules *rules = triage_rules(triage);
    triage_reset(triage);
    enum status told =
        unheard != NULL ? triage_tell(triage, value, strlen(value), unheard) : STATUS_MEMORY;
    out->failed = out->failed || told == STATUS_MEMORY;
    if (told == STATUS_OK && triage_facts(triage, &facts) > 0)
        verdict = triage_judge(triage);
    if (verdict != NULL && verdict->findings[0].p >= likely) {
        *p = verdict->findings[0].p;
        finding = &rules->findings[verdict->findings[0].index];
        if (finding->status != FINDING_CONTAMINATED &&
            verdict->status[FINDING_CONTAMINATED] > suspect)
            finding = NULL;
    }
    triage_reset(triage);
    diags_free(unheard);
    return finding;
}

static void put_times(struct text *out, size_t count)
{
    if (count == 1)
        text_puts(out, "   # once");
    else
        text_printf(out, "   # %zu times", count);
}

static void put_result(struct guess *guess, struct triage *triage, const char *value, size_t count)
{
    struct text *out = guess->out;
    double p = 0;
    const char *folded = mapped_fold(guess->arena, value);
    const char *plain = folded != NULL ? plain_result(folded) : NULL;
    const struct finding *finding = plain == NULL ? guessed(triage, value, out, &p) : NULL;
    text_puts(out, plain != NULL || finding != NULL ? "    " : "    # ");
    put_quoted(out, value);
    if (plain != NULL)
        text_printf(out, ": %s", plain);
    else if (finding != NULL)
        text_printf(out, ": %s%s", finding->id,
                    finding->status == FINDING_CONTAMINATED ? " discarded" : "");
    else
        text_puts(out, ": ?");
    put_times(out, count);
    if (finding != NULL)
        text_printf(out, "; a guess, %.0f %%", 100.0 * p);
    text_puts(out, plain != NULL || finding != NULL ? "\n" : "; say what it was\n");
}

/* The words of a column that the rules would not know by themselves. */
static void put_words(struct guess *guess, const struct mapping *nothing, struct reader *reader,
                      struct triage *triage, enum mapped field, bool *any)
{
    const struct sample *sample = &guess->samples[guess->column_of[field]];
    bool headed = false;
    struct mapped_result result;
    for (size_t i = 0; i < sample->count; i++) {
        const char *value = sample->values[i];
        bool known = field == MAPPED_RESULT
                         ? mapped_result(nothing, value, guess->arena, &result)
                         : mapped_word(nothing, reader, field, value, guess->arena) != NULL;
        if (known)
            continue;
        if (!*any)
            text_puts(guess->out, "values:\n");
        if (!headed)
            text_printf(guess->out, "  %s:\n", mapped_fields[field].name);
        *any = headed = true;
        if (field == MAPPED_RESULT) {
            put_result(guess, triage, value, sample->counts[i]);
        } else {
            text_puts(guess->out, "    # ");
            put_quoted(guess->out, value);
            text_puts(guess->out, ": ?");
            put_times(guess->out, sample->counts[i]);
            text_puts(guess->out, "\n");
        }
    }
    if (headed && sample->more)
        text_puts(guess->out, "    # and more; only the first words are listed\n");
}

static void put_values(struct guess *guess, struct reader *reader, struct triage *triage)
{
    const struct mapping nothing = {.rules = triage_rules(triage)};
    bool any = false;
    for (int i = 0; i < MAPPED_COUNT; i++)
        if (guess->column_of[i] >= 0 && mapped_fields[i].words != WORDS_FREE)
            put_words(guess, &nothing, reader, triage, (enum mapped)i, &any);
}

enum status mapping_guess(const char *path, struct reader *reader, struct triage *triage,
                          struct text *out, struct diags *diags)
{
    struct guess *guess = calloc(1, sizeof *guess);
    if (guess == NULL || (guess->arena = arena_new()) == NULL) {
        free(guess);
        return STATUS_MEMORY;
    }
    guess->out = out;
    guess->reader =
        (struct csv_table){.file = path, .context = guess, .row = look_at_row, .utf8 = true};
    enum status status = csv_read(&guess->reader, NULL, NULL, diags);
    if (status == STATUS_OK && guess->column_count == 0) {
        diags_error(diags, (struct position){path, 1, 1},
                    "the file is empty; its first row should name the columns");
        status = STATUS_DATA;
    }
    if (status == STATUS_OK) {
        choose(guess);
        number_for_label(guess);
        text_puts(out, "# A map, guessed. Look it over and mend it, then rehearse:\n"
                       "#   jarside import SPREADSHEET --map THIS-FILE --dry-run\n");
        put_columns(guess);
        put_dates(guess);
        put_repeats(guess);
        put_values(guess, reader, triage);
        status = out->failed || arena_exhausted(guess->arena) ? STATUS_MEMORY : STATUS_OK;
    }
    arena_free(guess->arena);
    free(guess);
    return status;
}
