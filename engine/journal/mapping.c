/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/mapping_internal.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/csv.h"
#include "base/dates.h"
#include "base/units.h"
#include "journal/sql.h"
#include "rules/load.h"

static const struct position nowhere = {NULL, 0, 0};
#define RESULT_LEAD "result_"

/* ==== what a column of theirs may be ========================================================== */

const struct role_type roles[ROLE_COUNT] = {
#define AS_ROW(role, ...) {__VA_ARGS__},
    ROLES(AS_ROW)};

const struct column *role_column(enum role role)
{
    const struct column *columns = record_types[roles[role].record].columns;
    return &columns[record_column(roles[role].record, roles[role].column)];
}

int role_fit(enum role role, const char *folded)
{
    const char *headings = roles[role].headings;
    int place = csv_named(headings, folded, strlen(folded)), best = 0;
    if (place >= 0)
        return 100 - place;
    for (place = 0; *headings != '\0'; place++) {
        size_t length = strcspn(headings, "|");
        for (const char *at = folded; length > 3 && *at != '\0'; at++)
            if (strncmp(at, headings, length) == 0 && (at == folded || at[-1] == ' ') &&
                strchr(" .:(?", at[length]) != NULL && 50 - place > best)
                best = 50 - place;
        headings += length + (headings[length] == '|');
    }
    return best;
}

/* The role that is this column of a record; of a reference that which holds the label of what it
 * refers to, of the unit of a dose the dose. ROLE_COUNT when there is none. */
static enum role role_of(enum record record, const struct column *column)
{
    const char *name = column->name;
    int role = 0;
    if (column->kind == COLUMN_REFERENCE) {
        record = column->refers;
        name = "label";
    } else if (record == RECORD_BATCH && strcmp(name, "unit") == 0) {
        return ROLE_DOSE;
    }
    while (role < ROLE_COUNT &&
           (roles[role].record != record || strcmp(roles[role].column, name) != 0))
        role++;
    return (enum role)role;
}

/* The role that holds the label of a record; ROLE_COUNT for events and outcomes. */
static enum role label_of(enum record record)
{
    const struct column *first = record_types[record].columns;
    return first->kind == COLUMN_LABEL ? role_of(record, first) : ROLE_COUNT;
}

bool role_is_date(enum role role)
{
    return role_column(role)->kind == COLUMN_MOMENT;
}

/* ---- what their words mean ------------------------------------------------------------------- */

const char *sheet_fold(struct arena *arena, const char *text)
{
    struct text folded;
    text_init(&folded);
    text_fold(&folded, text, strlen(text), NULL);
    const char *at = folded.bytes + strspn(folded.bytes, " ");
    size_t length = strlen(at);
    while (length > 0 && at[length - 1] == ' ')
        length--;
    const char *copy = arena_copy(arena, at, length);
    text_release(&folded);
    return copy;
}

static const char *translated(const struct mapping *mapping, enum role role, const char *folded)
{
    for (size_t i = 0; i < mapping->translation_count; i++)
        if (mapping->translations[i].role == role &&
            strcmp(mapping->translations[i].word, folded) == 0)
            return mapping->translations[i].meaning;
    return NULL;
}

/* The id of the word of a list that has this id or name, or is this in Latin; NULL for none. */
static const char *named_in_rules(const struct rules *rules, enum word_list list,
                                  const char *folded, struct arena *arena)
{
    struct list_word word;
    for (size_t i = 0; (word = list_word(rules, list, i)).id != NULL; i++) {
        const char *latin = list == LIST_SPECIES ? rules->species[i].latin : NULL;
        if (strcmp(word.id, folded) == 0 || strcmp(sheet_fold(arena, word.name), folded) == 0 ||
            (latin != NULL && strcmp(sheet_fold(arena, latin), folded) == 0))
            return word.id;
    }
    return NULL;
}

/* The one value that the reader hears in the text as an answer to what feeds a quantity. */
static const char *heard(const struct rules *rules, struct reader *reader, enum word_list list,
                         const char *text, struct arena *arena)
{
    static const enum feeds feeds[] = {[LIST_SPECIES] = FEEDS_SPECIES,
                                       [LIST_GRAINS] = FEEDS_GRAIN,
                                       [LIST_VESSELS] = FEEDS_VESSEL,
                                       [LIST_STARTERS] = FEEDS_STARTER_KIND};
    int observable = rules->feeder[feeds[list]];
    struct reading_list readings = {0};
    struct diags *unheard = diags_new();
    const char *id = NULL;
    if (observable != RULES_NONE && reader_answer(reader, (size_t)observable, text, strlen(text),
                                                  arena, &readings, unheard) != STATUS_OK)
        readings.reading_count = 0;
    for (size_t i = 0; i < readings.reading_count && id == NULL; i++) {
        const struct reading *reading = &readings.readings[i];
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

const char *word_id(const struct mapping *mapping, struct reader *reader, enum role role,
                    const char *text, struct arena *arena)
{
    enum word_list list = role_column(role)->list;
    const char *folded = sheet_fold(arena, text), *id = translated(mapping, role, folded);
    if (id == NULL)
        id = named_in_rules(mapping->rules, list, folded, arena);
    return id != NULL ? id : heard(mapping->rules, reader, list, text, arena);
}

bool result_is_gone(const struct result *result)
{
    return result->used || result->discarded || result->because != BECAUSE_UNTOLD;
}

/* Adds a word of a meaning, as a map writes it; false when it is none. */
static bool add_meaning(const struct rules *rules, const char *word, struct result *result)
{
    int finding = rules_finding(rules, word);
    if (finding != RULES_NONE) {
        if (result->finding == NULL)
            result->finding = &rules->findings[finding];
        return true;
    }
    for (int i = BECAUSE_UNTOLD + 1; because_words[i] != NULL; i++)
        if (strcmp(word, because_words[i]) == 0 && i != BECAUSE_USED && i != BECAUSE_SLIP) {
            result->because = (enum because)i;
            return true;
        }
    bool *flag = strcmp(word, "used") == 0        ? &result->used
                 : strcmp(word, "discarded") == 0 ? &result->discarded
                 : strcmp(word, "growing") == 0   ? &result->growing
                                                  : NULL;
    if (flag != NULL)
        *flag = true;
    return flag != NULL;
}

/* The meaning of a result as a map writes it, "FINDING used"; false when a word of it is unknown. */
static bool read_meaning(const struct rules *rules, const char *meaning, struct result *result)
{
    *result = (struct result){0};
    for (const char *at = meaning; *(at += strspn(at, " ,")) != '\0';) {
        char word[64];
        size_t length = strcspn(at, " ,");
        snprintf(word, sizeof word, "%.*s", (int)(length < sizeof word ? length : 63), at);
        if (!add_meaning(rules, word, result))
            return false;
        at += length;
    }
    return true;
}

/* Where the words of a list stand in a folded text as words of their own; NULL for nowhere. */
static const char *find_words(const struct named_list *list, const char *folded)
{
    for (size_t i = 0; i < list->items.count; i++) {
        const char *words = list->items.list[i];
        size_t length = strlen(words);
        for (const char *at = folded; (at = strstr(at, words)) != NULL; at++)
            if ((at == folded || !isalnum((unsigned char)at[-1])) &&
                !isalnum((unsigned char)at[length]))
                return at;
    }
    return NULL;
}

/* Whether words of a result begin there: "no ..." may be what became of a vessel. */
static bool is_listed(const struct rules *rules, const char *folded)
{
    for (size_t i = 0; i < rules->language.list_count; i++)
        if (strncmp(rules->language.lists[i].id, RESULT_LEAD, strlen(RESULT_LEAD)) == 0 &&
            find_words(&rules->language.lists[i], folded) == folded)
            return true;
    return false;
}

bool read_usual_words(const struct rules *rules, const char *folded, struct result *result)
{
    bool any = false;
    *result = (struct result){0};
    for (const char *at = folded; (at = strstr(at, "no")) != NULL;
         at++) /* "not used", "no spots" */
        if ((at == folded || at[-1] == ' ') &&
            (strncmp(at, "no ", 3) == 0 || strncmp(at, "not ", 4) == 0) && !is_listed(rules, at))
            return false;
    for (size_t i = 0; i < rules->language.list_count; i++) {
        const struct named_list *list = &rules->language.lists[i];
        struct result alone = *result;
        if (strncmp(list->id, RESULT_LEAD, strlen(RESULT_LEAD)) != 0 ||
            find_words(list, folded) == NULL ||
            !add_meaning(rules, list->id + strlen(RESULT_LEAD), &alone))
            continue;
        bool whole = false;
        for (size_t k = 0; k < list->items.count && !whole; k++)
            whole = strcmp(list->items.list[k], folded) == 0;
        if (alone.growing && !result->growing && !whole)
            continue; /* "fine green dust" is not fine */
        *result = alone;
        any = true;
    }
    if (result->used && result->because == BECAUSE_CONTAMINATED)
        return false; /* which of them is for the grower to say */
    /* Which kind it is, where it is named, says more than that it was one; what grew and was lost is lost. */
    if (result->finding != NULL && result->finding->status == FINDING_CONTAMINATED)
        result->discarded = !result->used;
    if (result->finding != NULL || (result->used && result->because != BECAUSE_UNTOLD))
        result->because = BECAUSE_UNTOLD;
    return any;
}

enum because because_of_words(const struct rules *rules, const char *words, struct arena *arena)
{
    struct result result;
    const char *folded = sheet_fold(arena, words);
    for (int i = BECAUSE_UNTOLD + 1; because_words[i] != NULL; i++)
        if (strcmp(because_words[i], folded) == 0)
            return (enum because)i;
    if (!read_usual_words(rules, folded, &result))
        return BECAUSE_UNTOLD;
    return result.finding != NULL && result.finding->status == FINDING_CONTAMINATED
               ? BECAUSE_CONTAMINATED
               : result.because;
}

bool read_exactly(const struct mapping *mapping, const char *folded, struct arena *arena,
                  struct result *result)
{
    const char *meaning = translated(mapping, ROLE_RESULT, folded);
    if (meaning == NULL)
        meaning = named_in_rules(mapping->rules, LIST_FINDINGS, folded, arena);
    return read_meaning(mapping->rules, meaning != NULL ? meaning : folded, result);
}

/* ==== maps ==================================================================================== */

/* As people write them: a YAML file, or a line of columns. */
struct map_reading {
    struct mapping *mapping;
    struct loader loader;
    enum role role; /* whose words are being read */
};

typedef void entry_reader(struct map_reading *reading, const struct node *value);

/* Calls `read` for every entry of a mapping; "columns:" may have nothing but comments below it. */
static void each_entry(struct map_reading *reading, const struct node *node, entry_reader *read)
{
    if (node->kind == NODE_TEXT && node->text[0] == '\0' && !node->quoted)
        return;
    if (expect_kind(&reading->loader, node, NODE_MAP, node->key->text))
        for (const struct node *entry = node->first; entry != NULL; entry = entry->next)
            read(reading, entry);
}

static bool is_text(struct map_reading *reading, const struct node *value)
{
    return expect_kind(&reading->loader, value, NODE_TEXT,
                       value->key != NULL ? value->key->text : "a heading");
}

/* The role of that name; ROLE_COUNT, and a fault, when there is none such. */
static enum role find_role(struct map_reading *reading, struct position at, const char *name)
{
    const char *names[ROLE_COUNT];
    for (int i = 0; i < ROLE_COUNT; i++)
        if (strcmp(names[i] = roles[i].name, name) == 0)
            return (enum role)i;
    const char *all = arena_join(reading->mapping->arena, names, ROLE_COUNT);
    load_error(&reading->loader, at, "no column of ours is called '%s'%s", name,
               load_suggest(&reading->loader, name, names, ROLE_COUNT,
                            arena_format(reading->mapping->arena, "; there are: %s", all)));
    return ROLE_COUNT;
}

static enum role key_role(struct map_reading *reading, const struct node *value)
{
    return find_role(reading, node_at(value->key), value->key->text);
}

static void map_column(struct mapping *mapping, enum role role, const char *heading)
{
    mapping->headings[role] = sheet_fold(mapping->arena, heading);
    mapping->as_written[role] = heading;
}

static void read_column(struct map_reading *reading, const struct node *value)
{
    enum role role = key_role(reading, value);
    if (is_text(reading, value) && role != ROLE_COUNT)
        map_column(reading->mapping, role, value->text);
}

static void read_same(struct map_reading *reading, const struct node *value)
{
    enum role role = key_role(reading, value);
    if (is_text(reading, value) && role != ROLE_COUNT)
        reading->mapping->same[role] = value->text;
}

static void read_dates(struct map_reading *reading, const struct node *value)
{
    static const char *const orders[] = {
        [DATES_DAY_FIRST] = "dmy", [DATES_MONTH_FIRST] = "mdy", [DATES_YEAR_FIRST] = "ymd"};
    char letters[4] = "";
    size_t count = 0;
    if (!is_text(reading, value))
        return;
    for (const char *c = value->text; *c != '\0' && count < 3; c++) /* "dd.mm.yyyy" is the same */
        if (strchr("dmyDMY", *c) != NULL && (c == value->text || strchr("./- ", c[-1]) != NULL))
            letters[count++] = (char)(*c | 0x20);
    for (int order = DATES_DAY_FIRST; order <= DATES_YEAR_FIRST; order++)
        if (strcmp(letters, orders[order]) == 0) {
            reading->mapping->dates = (enum date_order)order;
            return;
        }
    node_error(
        &reading->loader, value,
        "'%s' is not an order for dates; write day/month/year, month/day/year or year-month-day",
        load_quote(&reading->loader, value->text));
}

static void read_repeats(struct map_reading *reading, const struct node *value)
{
    struct mapping *mapping = reading->mapping;
    if (!expect_kind(&reading->loader, value, NODE_LIST, value->key->text))
        return;
    for (const struct node *node = value->first; node != NULL; node = node->next)
        if (is_text(reading, node))
            *arena_push(mapping->arena, mapping->repeats, mapping->repeat_count) =
                sheet_fold(mapping->arena, node->text);
}

static bool knows(const struct mapping *mapping, enum role role, const char *meaning)
{
    struct result result;
    enum word_list list = role_column(role)->list;
    if (list == LIST_FINDINGS)
        return read_meaning(mapping->rules, meaning, &result);
    for (size_t i = 0; list != LIST_NONE; i++) {
        const char *id = list_word(mapping->rules, list, i).id;
        if (id == NULL || strcmp(id, meaning) == 0)
            return id != NULL;
    }
    return true;
}

static void read_translation(struct map_reading *reading, const struct node *value)
{
    struct mapping *mapping = reading->mapping;
    enum role role = reading->role;
    if (!is_text(reading, value))
        return;
    if (!knows(mapping, role, value->text))
        node_error(
            &reading->loader, value, "'%s' is no %s; %s", load_quote(&reading->loader, value->text),
            roles[role].name,
            role == ROLE_RESULT
                ? "write growing, used, discarded, contaminated, stuck, broken, sold, given or "
                  "a finding as 'jarside show' lists them"
                : "'jarside show' lists what the rules know");
    *arena_push(mapping->arena, mapping->translations, mapping->translation_count) =
        (struct translation){role, sheet_fold(mapping->arena, value->key->text), value->text};
}

static void read_values(struct map_reading *reading, const struct node *value)
{
    reading->role = key_role(reading, value);
    if (reading->role != ROLE_COUNT)
        each_entry(reading, value, read_translation);
}

static void read_part(struct map_reading *reading, const struct node *value)
{
    static const struct {
        const char *name;
        entry_reader *whole, *entry;
    } parts[] = {{"columns", NULL, read_column},
                 {"same", NULL, read_same},
                 {"dates", read_dates, NULL},
                 {"repeat", read_repeats, NULL},
                 {"values", NULL, read_values}};
    enum { PARTS = sizeof parts / sizeof *parts };
    const char *names[PARTS], *name = value->key->text;
    for (size_t i = 0; i < PARTS; i++) {
        if (strcmp(name, names[i] = parts[i].name) != 0)
            continue;
        if (parts[i].whole != NULL)
            parts[i].whole(reading, value);
        else
            each_entry(reading, value, parts[i].entry);
        return;
    }
    node_error(&reading->loader, value->key,
               "a map has no part '%s'; there are columns, same, dates, repeat and values%s",
               load_quote(&reading->loader, name),
               load_suggest(&reading->loader, name, names, PARTS, ""));
}

/* What a row needs, and records that nothing names. */
static void check_whole(struct map_reading *reading, struct position at)
{
    const struct mapping *mapping = reading->mapping;
    bool given[ROLE_COUNT];
    for (int i = 0; i < ROLE_COUNT; i++)
        given[i] = mapping->headings[i] != NULL || mapping->same[i] != NULL;
    if (mapping->headings[ROLE_VESSEL] == NULL && mapping->headings[ROLE_NUMBER] == NULL)
        load_error(&reading->loader, at,
                   "no column tells the vessels; map 'vessel' (labels) or 'number' (within its "
                   "batch)");
    if (!given[ROLE_BATCH])
        load_error(&reading->loader, at,
                   "nothing tells the batch; map 'batch', or give one for all under 'same'");
    for (int i = 0; i < ROLE_COUNT; i++) {
        enum role label = label_of(roles[i].record);
        if (i == ROLE_GRAIN || !given[i] || label == ROLE_COUNT || label == ROLE_VESSEL ||
            given[label])
            continue;
        load_error(&reading->loader, at, "'%s' belongs to a %s, which nothing names; map '%s'",
                   roles[i].name, record_types[roles[i].record].name, roles[label].name);
    }
}

static void read_file(struct map_reading *reading, const char *path)
{
    struct loader *loader = &reading->loader;
    struct stat about;
    if (stat(path, &about) == 0 && S_ISDIR(about.st_mode)) {
        load_error(loader, (struct position){path, 0, 0}, "is not a map: it is a folder");
        return;
    }
    files_find(loader, path, 0);
    const struct node *root =
        loader->file_count > 0 ? document_read(loader, &loader->files[0]) : NULL;
    for (const struct node *node = root != NULL ? root->first : NULL; node; node = node->next)
        read_part(reading, node);
    if (root == NULL && loader->errors == 0)
        load_error(loader, (struct position){path, 1, 1},
                   "the map is empty; 'jarside import FILE --guess' proposes one");
}

/* "batch=Run,number=Bag no" */
static void read_line(struct map_reading *reading, const char *line)
{
    char *copy = arena_string(reading->mapping->arena, line);
    for (char *item = copy, *next = NULL; item != NULL; item = next) {
        next = strchr(item, ',');
        if (next != NULL)
            *next++ = '\0';
        char *equals = strchr(item, '=');
        if (equals == NULL) {
            load_error(&reading->loader, nowhere, "'%s' is no 'ours=theirs'", item);
            return;
        }
        *equals = '\0';
        enum role role = find_role(reading, nowhere, item + strspn(item, " "));
        if (role != ROLE_COUNT)
            map_column(reading->mapping, role, equals + 1);
    }
}

struct mapping *mapping_new(const char *map, const struct rules *rules, struct diags *diags,
                            enum status *status)
{
    struct stat about;
    struct arena *arena = arena_new();
    struct mapping *mapping = arena_alloc(arena, sizeof *mapping);
    bool line = strchr(map, '=') != NULL && stat(map, &about) != 0;
    struct map_reading reading = {.mapping = mapping};
    *mapping = (struct mapping){.arena = arena, .rules = rules};
    loader_init(&reading.loader, arena, rules);
    if (line)
        read_line(&reading, map);
    else
        read_file(&reading, map);
    if (reading.loader.errors == 0)
        check_whole(&reading, line ? nowhere : (struct position){map, 0, 0});
    *status = loader_finish(&reading.loader, diags);
    if (*status == STATUS_OK)
        return mapping;
    *status = line ? STATUS_USAGE : *status;
    arena_free(arena);
    return NULL;
}

void mapping_free(struct mapping *mapping)
{
    if (mapping != NULL)
        arena_free(mapping->arena);
}

/* ==== a row into the journal ================================================================== */

struct sheet {
    struct journal *journal;
    const struct mapping *mapping;
    struct reader *reader;
    const struct mapping_options *options;
    struct mapping_tally *tally;
    struct diags *diags;
    /* The table. */
    size_t header, row;           /* the row that names the columns, and the present one, from 0 */
    size_t column_of[ROLE_COUNT]; /* SIZE_MAX where none */
    bool repeats[CSV_MOST_FIELDS];
    struct text above[CSV_MOST_FIELDS]; /* what stood last in a column that repeats */
    /* The row. */
    struct arena *arena;
    struct diags *own;             /* what was wrong with it, without a position */
    const char *cells[ROLE_COUNT]; /* "" where it says nothing */
    const char *label;             /* of the vessel, as far as it is known */
    enum role culprit;             /* which cell a fault is about; ROLE_COUNT for the row */
    bool news;                     /* something was added */
    size_t added[RECORD_COUNT];
    enum status status;
    struct text given, there; /* values that are compared */
};

/* What the functions below return: whether to go on; why not is in `status` and `own`. */
static bool ok(struct sheet *sheet, enum status status)
{
    sheet->status = status;
    return status == STATUS_OK;
}

__attribute__((format(printf, 3, 4))) static bool refuse(struct sheet *sheet, enum role role,
                                                         const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *why = text_vformat(format, arguments);
    va_end(arguments);
    diags_error(sheet->own, nowhere, "%s", why);
    free(why);
    sheet->culprit = role;
    return ok(sheet, STATUS_DATA);
}

static bool said(const struct sheet *sheet, enum role role)
{
    return sheet->cells[role][0] != '\0';
}

static bool wrong(struct sheet *sheet, enum role role, const char *right)
{
    return refuse(sheet, role, "%s is '%.60s'; %s", roles[role].name, sheet->cells[role], right);
}

static bool lacks(struct sheet *sheet, enum role role, const char *why)
{
    return refuse(sheet, role, "%s is missing; %s", roles[role].name, why);
}

static bool read_day(struct sheet *sheet, enum role role, struct moment *moment)
{
    enum { SLACK = 86400 };
    const char *text = sheet->cells[role];
    enum date_order order = sheet->mapping->dates;
    if (!moment_read_in(text, order, moment))
        return wrong(sheet, role,
                     order != DATES_ISO || strspn(text, "0123456789") == 4
                         ? "there is no such day, in the order that the map says"
                         : "write 2026-03-01, or say 'dates: day/month/year' in the map");
    return moment->seconds <= sheet->options->now.seconds + SLACK ||
           wrong(sheet, role, "that lies in the future");
}

/* "4 ml", "10g", "2": the unit is a word of its own in the journal. */
static bool read_dose(struct sheet *sheet, struct batch *batch)
{
    char number[32], *end = NULL;
    const char *text = sheet->cells[ROLE_DOSE];
    size_t length = strspn(text, "0123456789.,");
    const char *unit = sheet_fold(sheet->arena, text + length);
    snprintf(number, sizeof number, "%.*s", (int)length, text);
    for (char *at = number; *at != '\0'; at++)
        *at = *at == ',' ? '.' : *at;
    batch->inoculum = strtod(number, &end);
    if (csv_named("ml|cc", unit, strlen(unit)) >= 0)
        batch->unit = "ml";
    else if (csv_named("g|gram|grams", unit, strlen(unit)) >= 0)
        batch->unit = "g";
    else if (unit[0] != '\0')
        length = 0;
    return (length > 0 && length < sizeof number && *end == '\0') ||
           wrong(sheet, ROLE_DOSE, "write a number and ml or g");
}

static bool read_word(struct sheet *sheet, enum role role, const char **word)
{
    *word = word_id(sheet->mapping, sheet->reader, role, sheet->cells[role], sheet->arena);
    return *word != NULL ||
           wrong(sheet, role,
                 "the rules know no such; say in the map, under 'values', what it means");
}

static bool read_cell(struct sheet *sheet, enum role role, void *row)
{
    const struct column *column = role_column(role);
    void *into = (char *)row + column->offset;
    const char *text = sheet->cells[role];
    if (role == ROLE_DOSE)
        return read_dose(sheet, row);
    if (column->list != LIST_NONE)
        return read_word(sheet, role, into);
    if (column->dimension != DIM_NONE) {
        double *number = into;
        struct quantity quantity;
        size_t used = 0;
        const char *folded = sheet_fold(sheet->arena, sheet->cells[role]);
        if (quantity_read(folded, strlen(folded), column->dimension, &quantity, &used) !=
                QUANTITY_OK ||
            folded[used] != '\0' || quantity.lo != quantity.hi)
            return wrong(sheet, role, "write one number and its unit");
        *number = quantity.lo;
        return true;
    }
    if (column->kind == COLUMN_MOMENT)
        return read_day(sheet, role, into);
    if (column->kind == COLUMN_FLAG) {
        const char *folded = sheet_fold(sheet->arena, text);
        *(bool *)into = csv_named("yes|y|x|true|1|control", folded, strlen(folded)) >= 0;
        return *(bool *)into || csv_named("no|n|-|false|0", folded, strlen(folded)) >= 0 ||
               wrong(sheet, role, "write yes or no");
    }
    sheet->culprit = role;
    return ok(sheet,
              journal_read_column(sheet->journal, column, text, sheet->arena, row, sheet->own));
}

static bool read_cells(struct sheet *sheet, enum record record, void *row)
{
    for (int i = 0; i < ROLE_COUNT; i++)
        if (roles[i].record == record && said(sheet, (enum role)i) &&
            !read_cell(sheet, (enum role)i, row))
            return false;
    return true;
}

/* ---- records that rows share ----------------------------------------------------------------- */

/* Adds a record, checked first, since a journal that refuses one ends the whole transaction. */
static bool add(struct sheet *sheet, enum record record, void *row)
{
    if (!ok(sheet, row_check(sheet->journal, record, row, sheet->own)) ||
        !ok(sheet, journal_add(sheet->journal, record, row, sheet->own)))
        return false;
    sheet->added[record]++;
    return sheet->news = true;
}

/* Makes sure that the row says of a column what the journal does; of moments the day counts, since a
 * date is noon. */
static bool agree(struct sheet *sheet, enum record record, const char *label,
                  const struct column *column, const void *row, const void *there)
{
    enum role role = role_of(record, column);
    if (column->derived || role == ROLE_COUNT || !said(sheet, role))
        return true;
    sheet->culprit = role;
    text_clear(&sheet->given);
    text_clear(&sheet->there);
    if (!ok(sheet, journal_show_column(sheet->journal, column, row, &sheet->given, sheet->own)) ||
        !ok(sheet, journal_show_column(sheet->journal, column, there, &sheet->there, sheet->own)))
        return false;
    if (sheet->given.length == 0 || strcmp(sheet->given.bytes, sheet->there.bytes) == 0)
        return true;
    if (sheet->there.length == 0) {
        /* What was not known of a record may be told later: in a lower row, or in the sheet as it has grown.
         * It is kept as a correction. */
        void *filled = arena_alloc(sheet->arena, record_types[record].size);
        const char *value = arena_string(sheet->arena, sheet->given.bytes);
        return ok(sheet,
                  journal_find(sheet->journal, record, label, sheet->arena, filled, sheet->own)) &&
               ok(sheet, journal_read_column(sheet->journal, column, value, sheet->arena, filled,
                                             sheet->own)) &&
               ok(sheet, row_check(sheet->journal, record, filled, sheet->own)) &&
               ok(sheet, journal_correct(sheet->journal, record, label, column->name, value,
                                         sheet->options->now, sheet->own)) &&
               (sheet->news = true);
    }
    const struct moment *first = column_member(column, row), *second = column_member(column, there);
    if (column->kind == COLUMN_MOMENT && moment_day(*first) == moment_day(*second))
        return true;
    return refuse(sheet, role,
                  "%s '%.60s' has %s '%.80s' already, and here '%.80s'; make them the "
                  "same",
                  record_types[record].name, label, column->name, sheet->there.bytes,
                  sheet->given.bytes);
}

/* Adds the record, or makes sure that it says what the one of its label says and becomes that. */
static bool settle(struct sheet *sheet, enum record record, const char *label, void *row)
{
    int64_t id = 0;
    if (!journal_has(sheet->journal, record, label, &id))
        return add(sheet, record, row);
    void *there = arena_alloc(sheet->arena, record_types[record].size);
    if (!ok(sheet, journal_get(sheet->journal, record, id, sheet->arena, there, sheet->own)))
        return false;
    for (const struct column *column = record_types[record].columns; column->name; column++)
        if (!agree(sheet, record, label, column, row, there))
            return false;
    memcpy(row, there, record_types[record].size);
    return true;
}

/* The id of the record that the row names, added when it is new; 0 when it names none. */
static bool shared(struct sheet *sheet, enum record record, int64_t *id)
{
    enum role label = label_of(record);
    union any_record row;
    *id = 0;
    if (!said(sheet, label))
        return true;
    record_init(record, &row);
    if (!read_cells(sheet, record, &row))
        return false;
    sheet->culprit = label;
    bool settled = settle(sheet, record, sheet->cells[label], &row);
    *id = row.named.id;
    return settled;
}

static bool take_batch(struct sheet *sheet, struct batch *batch)
{
    const struct rules *rules = sheet->mapping->rules;
    int feeder = rules->feeder[FEEDS_GRAIN];
    int64_t known = 0;
    const char *label = sheet->cells[ROLE_BATCH], *grain = NULL;
    record_init(RECORD_BATCH, batch);
    if (label[0] == '\0')
        return lacks(sheet, ROLE_BATCH, "every vessel is of a batch");
    if (!shared(sheet, RECORD_STARTER, &batch->starter) ||
        !shared(sheet, RECORD_LOT, &batch->lot) || !shared(sheet, RECORD_COOK, &batch->cook) ||
        !shared(sheet, RECORD_SESSION, &batch->session) || !read_cells(sheet, RECORD_BATCH, batch))
        return false;
    if (said(sheet, ROLE_GRAIN) && !said(sheet, ROLE_LOT) && feeder != RULES_NONE) {
        if (!read_word(sheet, ROLE_GRAIN, &grain))
            return false;
        /* A grain without a sack to its name is a circumstance of the batch. */
        batch->facts = arena_format(sheet->arena, "%s=%s", rules->observables[feeder].id, grain);
    }
    if (!moment_known(batch->at) && !journal_has(sheet->journal, RECORD_BATCH, label, &known))
        return lacks(sheet, ROLE_INOCULATED, "a new batch needs the day of inoculation");
    sheet->culprit = ROLE_BATCH;
    return settle(sheet, RECORD_BATCH, label, batch);
}

static bool take_vessel(struct sheet *sheet, struct vessel *vessel)
{
    struct batch batch;
    int64_t known = 0;
    bool labelled = said(sheet, ROLE_VESSEL);
    record_init(RECORD_VESSEL, vessel);
    if (!take_batch(sheet, &batch) || !shared(sheet, RECORD_PLACE, &vessel->place) ||
        !read_cells(sheet, RECORD_VESSEL, vessel))
        return false;
    vessel->batch = batch.id;
    if (!labelled && !said(sheet, ROLE_NUMBER))
        return lacks(sheet,
                     sheet->mapping->headings[ROLE_VESSEL] != NULL ? ROLE_VESSEL : ROLE_NUMBER,
                     "nothing tells which vessel this is");
    if (!labelled)
        vessel->label = arena_format(sheet->arena, "%s-%lld", sheet->cells[ROLE_BATCH],
                                     (long long)vessel->number);
    sheet->label = vessel->label;
    if (vessel->number == 0 && !journal_has(sheet->journal, RECORD_VESSEL, vessel->label, &known) &&
        !ok(sheet, query_number(sheet->journal, &vessel->number, sheet->own,
                                "SELECT coalesce(max(number), 0) + 1 FROM vessel WHERE batch = ?",
                                "i", batch.id)))
        return false;
    sheet->culprit = labelled ? ROLE_VESSEL : ROLE_NUMBER;
    return settle(sheet, RECORD_VESSEL, vessel->label, vessel);
}

static bool take_event(struct sheet *sheet, int64_t vessel, enum event_kind kind, struct moment at,
                       enum because because, const char *detail)
{
    struct event *events = NULL, event;
    size_t count = 0;
    if (!ok(sheet, journal_all(sheet->journal, RECORD_EVENT, "vessel", vessel, sheet->arena,
                               (void **)&events, &count, sheet->own)))
        return false;
    for (size_t i = 0; i < count; i++)
        if (events[i].kind == kind && moment_day(events[i].at) == moment_day(at))
            return true;
    record_init(RECORD_EVENT, &event);
    event.vessel = vessel;
    event.kind = kind;
    event.at = at;
    event.because = because;
    event.detail = detail;
    return add(sheet, RECORD_EVENT, &event);
}

static bool take_outcome(struct sheet *sheet, int64_t vessel, const struct finding *finding,
                         struct moment at, const char *undated)
{
    struct outcome *outcomes = NULL, outcome;
    size_t count = 0;
    if (!ok(sheet, journal_all(sheet->journal, RECORD_OUTCOME, "vessel", vessel, sheet->arena,
                               (void **)&outcomes, &count, sheet->own)))
        return false;
    if (count > 0)
        return strcmp(outcomes[count - 1].finding, finding->id) == 0 ||
               refuse(sheet, ROLE_RESULT, "%s is confirmed as '%.60s' already, and here '%.60s'",
                      sheet->label, outcomes[count - 1].finding, finding->id);
    record_init(RECORD_OUTCOME, &outcome);
    outcome.vessel = vessel;
    outcome.at = at;
    outcome.finding = finding->id;
    outcome.status = status_name(finding->status);
    outcome.how = arena_format(sheet->arena, "from a spreadsheet: %s%s%s",
                               sheet->cells[ROLE_RESULT], undated[0] != '\0' ? "; " : "", undated);
    return add(sheet, RECORD_OUTCOME, &outcome);
}

static bool take_cells(struct sheet *sheet)
{
    static const struct {
        enum role role;
        enum event_kind kind;
    } days[] = {{ROLE_SHAKEN, EVENT_SHAKE},
                {ROLE_ISOLATED, EVENT_ISOLATE},
                {ROLE_USED, EVENT_USE},
                {ROLE_DISCARDED, EVENT_DISCARD}};
    struct vessel vessel;
    if (!take_vessel(sheet, &vessel))
        return false;
    for (size_t i = 0; i < sizeof days / sizeof *days; i++) {
        struct moment at;
        if (said(sheet, days[i].role) &&
            !(read_day(sheet, days[i].role, &at) &&
              take_event(sheet, vessel.id, days[i].kind, at, BECAUSE_UNTOLD, "")))
            return false;
    }
    struct result result;
    struct moment at = moment_unknown();
    if (!said(sheet, ROLE_RESULT))
        return true;
    const char *folded = sheet_fold(sheet->arena, sheet->cells[ROLE_RESULT]);
    if (!read_exactly(sheet->mapping, folded, sheet->arena, &result) &&
        !read_usual_words(sheet->mapping->rules, folded, &result))
        return wrong(sheet, ROLE_RESULT,
                     "that is not a finding; say in the map, under 'values', what it means");
    if (result.finding == NULL && !result_is_gone(&result))
        return true;
    /* Its own day, else that on which the vessel was used or discarded, else the last one that is known. */
    enum role day = said(sheet, ROLE_ENDED)       ? ROLE_ENDED
                    : said(sheet, ROLE_DISCARDED) ? ROLE_DISCARDED
                                                  : ROLE_USED;
    const char *undated = said(sheet, day) ? "" : "the day is the last one that was written down";
    if (said(sheet, day) && !read_day(sheet, day, &at))
        return false;
    for (int i = 0; i < ROLE_COUNT && undated[0] != '\0'; i++) {
        struct moment known;
        if (!role_is_date((enum role)i) || i == ROLE_COOKED || !said(sheet, (enum role)i))
            continue;
        if (!read_day(sheet, (enum role)i, &known))
            return false;
        at = !moment_known(at) || known.seconds > at.seconds ? known : at;
    }
    if (!moment_known(at))
        return lacks(sheet, ROLE_ENDED, "a result needs a day; map 'ended'");
    return (result.finding == NULL ||
            take_outcome(sheet, vessel.id, result.finding, at, undated)) &&
           (!result.used || take_event(sheet, vessel.id, EVENT_USE, at, BECAUSE_UNTOLD, undated)) &&
           (!(result.discarded || result.because != BECAUSE_UNTOLD) ||
            take_event(sheet, vessel.id, EVENT_DISCARD, at, result.because, undated));
}

/* ==== a spreadsheet =========================================================================== */

/* The column of that heading; SIZE_MAX, and a fault, when there is none. */
static size_t column_headed(struct sheet *sheet, const struct csv_row *row, const char *folded,
                            const char *as_written)
{
    const char *names[CSV_MOST_FIELDS];
    for (size_t i = 0; i < row->count; i++) {
        names[i] = row->fields[i].text;
        if (strcmp(sheet_fold(sheet->arena, names[i]), folded) == 0)
            return i;
    }
    const char *near = diag_nearest(as_written, names, row->count);
    diags_error(sheet->diags, csv_at(row, SIZE_MAX), "no column is headed '%s'%s%s%s", as_written,
                near != NULL ? "; did you mean '" : "", near != NULL ? near : "",
                near != NULL ? "'?" : "");
    return SIZE_MAX;
}

static bool is_blank(const char *text)
{
    return text[strspn(text, " \t\r\n")] == '\0';
}

/* The cell without blanks at its ends, or what stands above it, or what holds for all rows. */
static const char *cell(struct sheet *sheet, const struct csv_row *row, enum role role)
{
    size_t column = sheet->column_of[role];
    const char *same = sheet->mapping->same[role];
    const char *text = column < row->count ? row->fields[column].text : "";
    if (is_blank(text) && column < CSV_MOST_FIELDS && sheet->repeats[column])
        text = sheet->above[column].bytes;
    if (is_blank(text))
        return same != NULL ? same : "";
    text += strspn(text, " \t");
    size_t length = strlen(text);
    while (strchr(" \t", text[length - 1]) != NULL)
        length--;
    return arena_copy(sheet->arena, text, length);
}

static void report(struct sheet *sheet, struct position at, enum mapping_verdict verdict,
                   const char *why)
{
    const struct mapping_row row = {at, verdict, sheet->label, why};
    size_t *counts[] = {&sheet->tally->taken, &sheet->tally->skipped, &sheet->tally->refused};
    ++*counts[verdict];
    if (sheet->options->row != NULL)
        sheet->options->row(sheet->options->context, &row);
}

/* A row that is refused leaves nothing, a row that is taken all of it. */
static enum status conclude_row(struct sheet *sheet, const struct csv_row *row)
{
    if (sheet->status == STATUS_OK) {
        for (int i = 0; i < RECORD_COUNT; i++)
            sheet->tally->added[i] += sheet->added[i];
        report(sheet, csv_at(row, SIZE_MAX), sheet->news ? MAPPING_TAKEN : MAPPING_SKIPPED,
               sheet->news ? "" : "there already");
        return journal_execute(sheet->journal, "RELEASE one_row", sheet->diags);
    }
    if (sheet->status != STATUS_DATA && sheet->status != STATUS_USAGE) {
        for (size_t i = 0; i < diags_kept(sheet->own); i++)
            diags_error(sheet->diags, csv_at(row, SIZE_MAX), "%s",
                        diags_get(sheet->own, i)->message);
        return sheet->status;
    }
    size_t column = sheet->culprit != ROLE_COUNT ? sheet->column_of[sheet->culprit] : SIZE_MAX;
    report(sheet, csv_at(row, column), MAPPING_REFUSED,
           diags_kept(sheet->own) > 0 ? diags_get(sheet->own, 0)->message : "");
    return journal_execute(sheet->journal, "ROLLBACK TO one_row; RELEASE one_row", sheet->diags);
}

bool is_sums(const struct language *language, const struct csv_row *row, struct arena *arena)
{
    size_t first = 0;
    while (first < row->count && is_blank(row->fields[first].text))
        first++;
    const char *folded = sheet_fold(arena, first < row->count ? row->fields[first].text : "");
    for (size_t i = 0; i < language->list_count; i++)
        if (strcmp(language->lists[i].id, "sheet_totals") == 0 &&
            find_words(&language->lists[i], folded) == folded)
            return true;
    return false;
}

static enum status take_row(void *context, const struct csv_row *row)
{
    struct sheet *sheet = context;
    const struct mapping *mapping = sheet->mapping;
    bool blank = true;
    arena_reset(sheet->arena);
    diags_clear(sheet->own);
    sheet->label = "";
    if (sheet->row++ < sheet->header) {
        report(sheet, csv_at(row, SIZE_MAX), MAPPING_SKIPPED, "above the names of the columns");
        return STATUS_OK;
    }
    if (sheet->row == sheet->header + 1) {
        size_t before = diags_errors(sheet->diags);
        for (int i = 0; i < ROLE_COUNT; i++)
            sheet->column_of[i] =
                mapping->headings[i] == NULL
                    ? SIZE_MAX
                    : column_headed(sheet, row, mapping->headings[i], mapping->as_written[i]);
        for (size_t i = 0; i < mapping->repeat_count; i++) {
            size_t column = column_headed(sheet, row, mapping->repeats[i], mapping->repeats[i]);
            if (column != SIZE_MAX)
                sheet->repeats[column] = true;
        }
        return diags_errors(sheet->diags) == before ? STATUS_OK : STATUS_DATA;
    }
    for (size_t i = 0; i < row->count; i++) {
        const char *text = row->fields[i].text;
        if (is_blank(text))
            continue;
        blank = false;
        text_clear(&sheet->above[i]);
        if (sheet->repeats[i])
            text_puts(&sheet->above[i], text);
    }
    bool again = true;
    for (int i = 0; i < ROLE_COUNT; i++)
        if (mapping->headings[i] != NULL && sheet->column_of[i] < row->count)
            again = again && strcmp(sheet_fold(sheet->arena, row->fields[sheet->column_of[i]].text),
                                    mapping->headings[i]) == 0;
    const char *no_vessel = blank   ? "empty"
                            : again ? "the names of the columns again"
                            : is_sums(&mapping->rules->language, row, sheet->arena)
                                ? "a row of sums"
                                : NULL;
    if (no_vessel != NULL) {
        report(sheet, csv_at(row, SIZE_MAX), MAPPING_SKIPPED, no_vessel);
        return STATUS_OK;
    }
    for (int i = 0; i < ROLE_COUNT; i++)
        sheet->cells[i] = cell(sheet, row, (enum role)i);
    enum status status = journal_execute(sheet->journal, "SAVEPOINT one_row", sheet->diags);
    if (status != STATUS_OK)
        return status;
    sheet->culprit = ROLE_COUNT;
    sheet->news = false;
    sheet->status = STATUS_OK;
    memset(sheet->added, 0, sizeof sheet->added);
    (void)take_cells(sheet);
    return conclude_row(sheet, row);
}

/* The row that names the columns: titles may stand above it. */
struct headline {
    struct arena *arena;
    const struct mapping
        *mapping;      /* whose headings it has; NULL: several that suggest some column of ours */
    size_t row, found; /* rows so far; which of them it is */
    size_t best;       /* headings that it has */
};

static enum status look_for_headline(void *context, const struct csv_row *row)
{
    enum { MOST_ABOVE = 12 };
    struct headline *headline = context;
    size_t count = 0;
    for (size_t k = 0; k < row->count && headline->row < MOST_ABOVE; k++) {
        const char *folded = sheet_fold(headline->arena, row->fields[k].text);
        bool suits = false;
        for (int i = 0; i < ROLE_COUNT && !suits && folded[0] != '\0'; i++)
            suits = headline->mapping == NULL ? role_fit((enum role)i, folded) > 0
                    : headline->mapping->headings[i] != NULL
                        ? strcmp(headline->mapping->headings[i], folded) == 0
                        : false;
        count += suits;
    }
    if (count > headline->best && (count > 1 || headline->mapping != NULL)) {
        headline->best = count;
        headline->found = headline->row;
    }
    headline->row++;
    return STATUS_OK;
}

enum status find_headline(const char *path, const struct mapping *mapping, struct arena *arena,
                          size_t *found, struct diags *diags)
{
    struct headline headline = {.arena = arena, .mapping = mapping};
    const struct csv_table table = {
        .file = path, .utf8 = true, .context = &headline, .row = look_for_headline};
    enum status status = csv_read(&table, NULL, NULL, diags);
    *found = headline.found;
    return status;
}

enum status sheet_is_empty(const char *path, struct diags *diags)
{
    diags_error(diags, (struct position){path, 1, 1},
                "the file is empty; its first row should name the columns");
    return STATUS_DATA;
}

enum status mapping_import(struct journal *journal, struct mapping *mapping, struct reader *reader,
                           const char *path, const struct mapping_options *options,
                           struct mapping_tally *tally, struct diags *diags)
{
    *tally = (struct mapping_tally){0};
    enum status status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    struct sheet *sheet = calloc(1, sizeof *sheet);
    *sheet = (struct sheet){.journal = journal,
                            .mapping = mapping,
                            .reader = reader,
                            .options = options,
                            .tally = tally,
                            .diags = diags,
                            .arena = arena_new(),
                            .own = diags_new()};
    text_init(&sheet->given);
    text_init(&sheet->there);
    for (size_t i = 0; i < CSV_MOST_FIELDS; i++)
        text_init(&sheet->above[i]);
    const struct csv_table table = {.file = path, .utf8 = true, .context = sheet, .row = take_row};
    status = find_headline(path, mapping, sheet->arena, &sheet->header, diags);
    if (status == STATUS_OK)
        status = csv_read(&table, NULL, options->progress, diags);
    if (status == STATUS_OK && sheet->row == 0)
        status = sheet_is_empty(path, diags);
    if (status == STATUS_OK && !options->dry_run && (tally->refused == 0 || options->partly))
        status = journal_commit(journal, diags);
    else
        journal_rollback(journal);
    text_release(&sheet->given);
    text_release(&sheet->there);
    for (size_t i = 0; i < CSV_MOST_FIELDS; i++)
        text_release(&sheet->above[i]);
    arena_free(sheet->arena);
    diags_free(sheet->own);
    free(sheet);
    return status == STATUS_OK && tally->refused > 0 ? STATUS_DATA : status;
}
