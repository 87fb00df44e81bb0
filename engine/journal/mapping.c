/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/exchange.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/csv.h"
#include "base/dates.h"
#include "base/units.h"
#include "journal/sql.h"
#include "rules/load.h"

/* What stands for the batch where the labels of the vessels tell it. */
#define FROM_VESSEL "from vessel"

static const struct position nowhere = {NULL, 0, 0};

/* ==== what a column of theirs may be ========================================================== */

/* Its name in a map, and what it is a column of: from there come its kind, unit and words. */
#define ROLES(ROLE)                                                                                \
    ROLE(VESSEL, "vessel", RECORD_VESSEL, "label")                                                 \
    ROLE(NUMBER, "number", RECORD_VESSEL, "number")                                                \
    ROLE(BATCH, "batch", RECORD_BATCH, "label")                                                    \
    ROLE(INOCULATED, "inoculated", RECORD_BATCH, "at")                                             \
    ROLE(SPECIES, "species", RECORD_BATCH, "species")                                              \
    ROLE(STARTER, "starter", RECORD_STARTER, "label")                                              \
    ROLE(STARTER_KIND, "starter_kind", RECORD_STARTER, "kind")                                     \
    ROLE(LOT, "lot", RECORD_LOT, "label")                                                          \
    ROLE(GRAIN, "grain", RECORD_LOT, "grain")                                                      \
    ROLE(COOK, "cook", RECORD_COOK, "label")                                                       \
    ROLE(COOKED, "cooked", RECORD_COOK, "at")                                                      \
    ROLE(MINUTES, "minutes", RECORD_COOK, "minutes")                                               \
    ROLE(GAUGE, "gauge", RECORD_COOK, "gauge")                                                     \
    ROLE(SESSION, "session", RECORD_SESSION, "label")                                              \
    ROLE(PLACE, "place", RECORD_PLACE, "label")                                                    \
    ROLE(CELSIUS, "celsius", RECORD_PLACE, "celsius")                                              \
    ROLE(KIND, "kind", RECORD_VESSEL, "kind")                                                      \
    ROLE(GRAMS, "grams", RECORD_VESSEL, "grams")                                                   \
    ROLE(CONTROL, "control", RECORD_VESSEL, "control")                                             \
    ROLE(DRY, "dry", RECORD_BATCH, "dry")                                                          \
    ROLE(WATER, "water", RECORD_BATCH, "water")                                                    \
    ROLE(DOSE, "dose", RECORD_BATCH, "inoculum")                                                   \
    ROLE(ISOLATED, "isolated", RECORD_EVENT, "at")                                                 \
    ROLE(SHAKEN, "shaken", RECORD_EVENT, "at")                                                     \
    ROLE(USED, "used", RECORD_EVENT, "at")                                                         \
    ROLE(DISCARDED, "discarded", RECORD_EVENT, "at")                                               \
    ROLE(RESULT, "result", RECORD_OUTCOME, "finding")                                              \
    ROLE(ENDED, "ended", RECORD_OUTCOME, "at")                                                     \
    ROLE(NOTE, "note", RECORD_VESSEL, "note")

enum role {
#define AS_ENUM(role, ...) ROLE_##role,
    ROLES(AS_ENUM) ROLE_COUNT
};

static const struct role_type {
    const char *name;
    enum record record;
    const char *column;
    const char *headings; /* the list of the rules that suggests it, the likeliest first */
} roles[ROLE_COUNT] = {
#define AS_ROW(role, label, ...) {label, __VA_ARGS__, COLUMN_LEAD label},
    ROLES(AS_ROW)};

struct mapping {
    struct arena *arena;
    const struct rules *rules;
    const char *headings[ROLE_COUNT], *folded[ROLE_COUNT]; /* as written, folded; NULL for none */
    const char *same[ROLE_COUNT];                          /* NULL for none */
    const char *const *repeats;                            /* headings, as written */
    size_t repeat_count;
    enum date_order dates;
    struct translation {
        enum role role;
        const char *word; /* folded */
        const char *meaning;
    } * translations;
    size_t translation_count;
};

static const struct column *role_column(enum role role)
{
    const struct column *columns = record_types[roles[role].record].columns;
    return &columns[record_column(roles[role].record, roles[role].column)];
}

/* How well a heading fits: 100 less its place among those that suggest the role; half of that when
 * it only holds one as a word of its own; 0 when not at all. */
static int role_fit(const struct rules *rules, enum role role, const char *folded)
{
    const int index = rules_index(rules, ITEM_WORDS, roles[role].headings);
    int within = 0;
    for (size_t i = 0; index != RULES_NONE && i < rules->language.lists[index].items.count; i++) {
        const char *heading = rules->language.lists[index].items.list[i];
        if (strcmp(heading, folded) == 0)
            return 100 - (int)i;
        if (within == 0 && strlen(heading) > 3 &&
            words_stand(folded, heading, strlen(heading)) != NULL)
            within = 50 - (int)i;
    }
    return within;
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

static bool role_is_date(enum role role)
{
    return role_column(role)->kind == COLUMN_MOMENT;
}

/* ---- what their words mean ------------------------------------------------------------------- */

static const char *translated(const struct mapping *mapping, enum role role, const char *folded)
{
    for (size_t i = 0; i < mapping->translation_count; i++)
        if (mapping->translations[i].role == role &&
            strcmp(mapping->translations[i].word, folded) == 0)
            return mapping->translations[i].meaning;
    return NULL;
}

static struct meant role_meant(const struct mapping *mapping, struct reader *reader, enum role role,
                               const char *text, struct arena *arena)
{
    return word_meant(mapping->rules, reader, role_column(role), text,
                      translated(mapping, role, fold_trimmed(arena, text)), arena);
}

/* A result as the map says, a finding by its id or name, or the words of a meaning. */
static bool read_exactly(const struct mapping *mapping, const char *folded, struct result *result)
{
    const char *meaning = translated(mapping, ROLE_RESULT, folded);
    if (meaning == NULL)
        meaning = list_id(mapping->rules, LIST_FINDINGS, folded);
    return result_read(mapping->rules, meaning != NULL ? meaning : folded, result);
}

/* ==== maps ==================================================================================== */

/* As people write them: a YAML file, or a line of columns. */

static void read_dates(struct loader *loader, const struct field *field, const struct node *value,
                       void *item)
{
    static const char *const orders[] = {
        [DATES_DAY_FIRST] = "dmy", [DATES_MONTH_FIRST] = "mdy", [DATES_YEAR_FIRST] = "ymd"};
    struct mapping *mapping = item;
    char letters[4] = "";
    size_t count = 0;
    if (!expect_kind(loader, value, NODE_TEXT, field->key))
        return;
    for (const char *c = value->text; *c != '\0' && count < 3; c++) /* "dd.mm.yyyy" is the same */
        if (strchr("dmyDMY", *c) != NULL && (c == value->text || strchr("./- ", c[-1]) != NULL))
            letters[count++] = (char)(*c | 0x20);
    for (int order = DATES_DAY_FIRST; order <= DATES_YEAR_FIRST; order++)
        if (strcmp(letters, orders[order]) == 0)
            mapping->dates = (enum date_order)order;
    if (mapping->dates == DATES_ISO)
        node_error(loader, value,
                   "'%s' is not an order for dates; write day/month/year, month/day/year or "
                   "year-month-day",
                   load_quote(loader, value->text));
}

/* Nothing but comments may stand below "columns:". */
static bool is_empty(const struct node *node)
{
    return node->kind == NODE_TEXT && node->text[0] == '\0' && !node->quoted;
}

static void read_part(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    if (!is_empty(node))
        read_shape(loader, field, node, item);
}

static void read_meanings(struct loader *loader, const struct field *field, const struct node *of,
                          void *item);

#define AS_TEXT(role, label, ...)                                                                  \
    {.key = (label), .offset = ROLE_##role * sizeof(const char *), .read = read_text},
#define AS_MEANINGS(role, label, ...) {.key = (label), .read = read_meanings},
SHAPE(column, "the columns of a map", ROLES(AS_TEXT));
SHAPE(meaning, "the values of a map", ROLES(AS_MEANINGS));
SHAPE(map, "a map",
      KEY("columns", MAY, .read = read_part, .offset = offsetof(struct mapping, headings),
          .shape = &column_shape)
          KEY("same", MAY, .read = read_part, .offset = offsetof(struct mapping, same),
              .shape = &column_shape) KEY("dates", MAY, .read = read_dates)
              KEY("repeat", MAY, .read = read_texts, .offset = offsetof(struct mapping, repeats),
                  .count = offsetof(struct mapping, repeat_count))
                  KEY("values", MAY, .read = read_part, .shape = &meaning_shape));

/* What their words mean in a column of ours. */
static void read_meanings(struct loader *loader, const struct field *field, const struct node *of,
                          void *item)
{
    enum role role = (enum role)(field - meaning_fields);
    enum word_list list = role_column(role)->list;
    struct mapping *mapping = item;
    struct result result;
    struct meant sized;
    if (is_empty(of) || !expect_kind(loader, of, NODE_MAP, field->key))
        return;
    for (const struct node *value = of->first; value != NULL; value = value->next) {
        if (!expect_kind(loader, value, NODE_TEXT, value->key->text))
            continue;
        const char *id = list_id(mapping->rules, list, value->text);
        bool known =
            list == LIST_FINDINGS
                ? result_read(mapping->rules, value->text, &result)
                : list == LIST_NONE || (id != NULL && strcmp(id, value->text) == 0) ||
                      (list == LIST_VESSELS && size_read(mapping->rules, value->text, &sized));
        if (!known)
            node_error(loader, value, "'%s' is no %s; %s", load_quote(loader, value->text),
                       roles[role].name,
                       role == ROLE_RESULT
                           ? "write growing, used, discarded, contaminated, stuck, broken, "
                             "sold, given or a finding as 'jarside show' lists them"
                           : "'jarside show' lists what the rules know");
        *arena_push(mapping->arena, mapping->translations, mapping->translation_count) =
            (struct translation){role, fold_trimmed(mapping->arena, value->key->text), value->text};
    }
}

/* What a row needs, and records that nothing names. */
static void check_whole(struct loader *loader, const struct mapping *mapping, struct position at)
{
    bool given[ROLE_COUNT];
    for (int i = 0; i < ROLE_COUNT; i++)
        given[i] = mapping->headings[i] != NULL || mapping->same[i] != NULL;
    if (mapping->headings[ROLE_VESSEL] == NULL && mapping->headings[ROLE_NUMBER] == NULL)
        load_error(loader, at,
                   "no column says which vessel; map 'vessel' (labels) or 'number' (within its "
                   "batch)");
    if (!given[ROLE_BATCH])
        load_error(loader, at,
                   "nothing says which batch; map 'batch', or give one for all under 'same'");
    for (int i = 0; i < ROLE_COUNT; i++) {
        enum role label = label_of(roles[i].record);
        if (i != ROLE_GRAIN && given[i] && label != ROLE_COUNT && label != ROLE_VESSEL &&
            !given[label])
            load_error(loader, at, "'%s' belongs to a %s, which nothing names; map '%s'",
                       roles[i].name, record_types[roles[i].record].name, roles[label].name);
    }
}

static void read_file(struct loader *loader, struct mapping *mapping, const char *path)
{
    struct stat about;
    if (stat(path, &about) == 0 && S_ISDIR(about.st_mode)) {
        load_error(loader, (struct position){path, 0, 0}, "is not a map: it is a folder");
        return;
    }
    files_find(loader, path, 0);
    const struct node *root =
        loader->file_count > 0 ? document_read(loader, &loader->files[0]) : NULL;
    if (root != NULL)
        shape_read(loader, &map_shape, root, mapping);
    else if (loader->errors == 0)
        load_error(loader, (struct position){path, 1, 1},
                   "the map is empty; 'jarside import FILE --guess' proposes one");
}

/* "batch=Run,number=Bag no": the columns of a map. */
static void read_line(struct loader *loader, struct mapping *mapping, char *line)
{
    struct node columns = {.kind = NODE_MAP};
    for (char *item = line, *next = NULL; item != NULL; item = next) {
        next = strchr(item, ',');
        if (next != NULL)
            *next++ = '\0';
        char *equals = strchr(item, '=');
        if (equals == NULL) {
            load_error(loader, nowhere, "'%s' should be OURS=THEIRS", item);
            return;
        }
        *equals = '\0';
        struct node *key = arena_alloc(mapping->arena, sizeof *key);
        struct node *entry = arena_alloc(mapping->arena, sizeof *entry);
        *key = (struct node){.text = item + strspn(item, " ")};
        *entry = (struct node){.text = equals + 1, .key = key, .next = columns.first};
        columns.first = entry;
    }
    shape_read(loader, &column_shape, &columns, mapping->headings);
}

struct mapping *mapping_new(const char *map, const struct rules *rules, struct diags *diags,
                            enum status *status)
{
    struct stat about;
    struct arena *arena = arena_new();
    struct mapping *mapping = arena_alloc(arena, sizeof *mapping);
    struct loader loader;
    bool line = strchr(map, '=') != NULL && stat(map, &about) != 0;
    mapping->arena = arena;
    mapping->rules = rules;
    loader_init(&loader, arena, rules);
    if (line)
        read_line(&loader, mapping, arena_string(arena, map));
    else
        read_file(&loader, mapping, map);
    if (loader.errors == 0)
        check_whole(&loader, mapping, line ? nowhere : (struct position){map, 0, 0});
    for (int i = 0; i < ROLE_COUNT; i++)
        if (mapping->headings[i] != NULL)
            mapping->folded[i] = fold_trimmed(arena, mapping->headings[i]);
    *status = loader_finish(&loader, diags);
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

/* ==== a spreadsheet =========================================================================== */

/* A table of one row per vessel, as people keep it: titles may stand above the names of the
 * columns, which may come again, and between the vessels empty rows and sums. */
struct sheet {
    const struct rules *rules;
    const struct mapping *mapping;       /* whose headings it has; NULL while one is guessed at */
    struct arena *keep, *arena;          /* as long as the sheet; of the present row */
    size_t header;                       /* the row that names the columns, from 0 */
    size_t best;                         /* while that is looked for: how many headings it has */
    size_t row, column_count;            /* rows so far; columns of the header */
    const char *folded[CSV_MOST_FIELDS]; /* its headings */
};

/* The row that has most of the headings of the map; without one, of those that suggest some column
 * of ours, several at least. */
static enum status look_for_header(void *context, const struct csv_row *row)
{
    enum { MOST_ABOVE = 12 };
    struct sheet *sheet = context;
    size_t count = 0;
    for (size_t k = 0; k < row->count && sheet->row < MOST_ABOVE; k++) {
        const char *folded = fold_trimmed(sheet->arena, row->fields[k].text);
        bool suits = false;
        for (int i = 0; i < ROLE_COUNT && !suits && folded[0] != '\0'; i++)
            suits = sheet->mapping == NULL ? role_fit(sheet->rules, (enum role)i, folded) > 0
                                           : sheet->mapping->folded[i] != NULL &&
                                                 strcmp(sheet->mapping->folded[i], folded) == 0;
        count += suits;
    }
    if (count > sheet->best && (count > 1 || sheet->mapping != NULL)) {
        sheet->best = count;
        sheet->header = sheet->row;
    }
    sheet->row++;
    return STATUS_OK;
}

/* Why a row is of no vessel, NULL when it is: "" for the names of the columns, which are kept. */
static const char *no_vessel(struct sheet *sheet, const struct csv_row *row)
{
    size_t first = 0, cells = 0, again = 0, number = sheet->row++;
    if (number < sheet->header)
        return "above the names of the columns";
    while (first < row->count && row->fields[first].length == 0)
        first++;
    if (number == sheet->header) {
        sheet->column_count = row->count;
        for (size_t i = 0; i < row->count; i++)
            sheet->folded[i] = fold_trimmed(sheet->keep, row->fields[i].text);
        return "";
    }
    if (first == row->count)
        return "empty";
    for (size_t i = first; i < row->count; i++) {
        const char *folded = fold_trimmed(sheet->arena, row->fields[i].text);
        cells += folded[0] != '\0';
        again +=
            folded[0] != '\0' && i < sheet->column_count && strcmp(folded, sheet->folded[i]) == 0;
    }
    if (again == cells)
        return "the names of the columns again";
    const char *folded = fold_trimmed(sheet->arena, row->fields[first].text);
    const int totals = rules_index(sheet->rules, ITEM_WORDS, "sheet_totals");
    if (totals != RULES_NONE &&
        list_stands(&sheet->rules->language.lists[totals], folded) == folded)
        return "a row of sums";
    return NULL;
}

/* Gives each row to `take`, once it is known which of them names the columns. */
static enum status read_sheet(struct sheet *sheet, const char *path,
                              enum status (*take)(void *context, const struct csv_row *row),
                              const struct progress *progress, struct diags *diags)
{
    struct csv_table table = {
        .file = path, .utf8 = true, .trimmed = true, .context = sheet, .row = look_for_header};
    enum status status = csv_read(&table, NULL, NULL, diags);
    sheet->row = 0;
    table.row = take;
    if (status == STATUS_OK)
        status = csv_read(&table, NULL, progress, diags);
    if (status != STATUS_OK || sheet->row > 0)
        return status;
    return diags_fail(diags, STATUS_DATA, (struct position){path, 1, 1},
                      "the file is empty; its first row should name the columns");
}

/* ==== a row into the journal ================================================================== */

enum row_verdict { TAKEN, SKIPPED, REFUSED, VERDICTS };

struct taking {
    struct sheet sheet; /* first, for the functions of sheets */
    struct journal *journal;
    const struct mapping *mapping;
    struct reader *reader;
    const struct mapping_options *options;
    struct diags *diags;
    size_t column_of[ROLE_COUNT]; /* SIZE_MAX where none */
    bool repeats[CSV_MOST_FIELDS];
    const char *above[CSV_MOST_FIELDS]; /* what stood last in a column that repeats */
    /* The row. */
    struct arena *arena;
    struct diags *own;              /* what was wrong with it: the journal's, meanwhile */
    const char *cells[ROLE_COUNT];  /* "" where it says nothing */
    const char *label;              /* of the vessel, as far as it is known */
    enum role culprit;              /* which cell a fault is about; ROLE_COUNT for the row */
    bool news;                      /* something was added */
    struct moment inoculated;       /* unknown where nothing tells */
    double grams;                   /* in a vessel, by its size; or NAN */
    struct moment seen[ROLE_COUNT]; /* the last day that stood there whole */
    const char **remarks;
    size_t remark_count;
    size_t added[RECORD_COUNT];
    /* Of all rows. */
    json_int_t counts[VERDICTS], all_added[RECORD_COUNT];
    struct moment first, last;     /* inoculated, of those that were taken */
    json_t *read_as, *rows;        /* as they are told; of words in how many rows they stand */
    int64_t highest[RECORD_COUNT]; /* id before the import */
};

/* What is refused first is told of the row, and nothing more of it is recorded (sql.h): the
 * functions below go on, and need not be asked. */
static bool going(const struct taking *taking)
{
    return taking->journal->status == STATUS_OK;
}

static void blame(struct taking *taking, enum role role)
{
    if (going(taking))
        taking->culprit = role;
}
#define refuse(taking, role, ...)                                                                  \
    (blame(taking, role), (void)journal_refuse((taking)->journal, STATUS_DATA, __VA_ARGS__))

/* What the row was taken for, to be told with the sums when it is taken. */
#define remark(taking, ...)                                                                        \
    (*arena_push((taking)->arena, (taking)->remarks, (taking)->remark_count) =                     \
         arena_format((taking)->arena, __VA_ARGS__))

/* What is shown of a text: a JSON string. */
static json_t *shown(const char *words)
{
    TEXT(safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){.limit = 400});
    return json_string(safe.bytes);
}

static bool said(const struct taking *taking, enum role role)
{
    return taking->cells[role][0] != '\0';
}

static void wrong(struct taking *taking, enum role role, const char *right)
{
    refuse(taking, role, "%s is '%.60s'; %s", roles[role].name, taking->cells[role], right);
}

/* So long that nothing inoculated then can be growing still: the slowest spawn run that the rules
 * publish takes half of it. */
static bool is_long_ago(struct moment day, struct moment now)
{
    enum { LONG_AGO = 120 };
    return moment_days_between(day, now) > LONG_AGO;
}

static struct moment read_day(struct taking *taking, enum role role)
{
    enum { SLACK = 86400 };
    struct moment moment = moment_unknown();
    const char *text = taking->cells[role];
    enum date_order order = taking->mapping->dates;
    if (moment_read_in(text, order, &moment))
        taking->seen[role] = moment;
    else if (moment_read_near(text, order, taking->seen[role], &moment))
        remark(taking, "%s '%.30s' was read as %s, by the rows above", roles[role].name, text,
               moment_write_day(moment, MOMENT_WORDS));
    else
        wrong(taking, role,
              moment_read_near(text, order, taking->options->now, &moment)
                  ? "write the year as well; no row above tells it"
              : order != DATES_ISO || strspn(text, "0123456789") == 4
                  ? "there is no such day, in the order that the map says"
                  : "write 2026-03-01, or say 'dates: day/month/year' in the map");
    if (moment_known(moment) && moment.seconds > taking->options->now.seconds + SLACK)
        wrong(taking, role, "that lies in the future");
    return moment;
}

static const char *read_word(struct taking *taking, enum role role)
{
    const char *written = taking->cells[role];
    const struct meant meant =
        role_meant(taking->mapping, taking->reader, role, written, taking->arena);
    if (role == ROLE_KIND)
        taking->grams = meant.grams;
    if (meant.loosely)
        remark(taking, "%s '%.60s' was read as %s", roles[role].name, written, meant.id);
    if (meant.id == NULL)
        wrong(taking, role,
              role == ROLE_KIND
                  ? "write 1 litre, 500 ml or a 2.5 kg bag, or say in the map, under 'values', "
                    "what it is: jar:1litre, bag:2.5kg or an id of 'jarside show'"
                  : "the rules know no such; say in the map, under 'values', what it means");
    return meant.id != NULL ? meant.id : "";
}

static void read_cell(struct taking *taking, enum role role, void *row)
{
    const struct column *column = role_column(role);
    void *into = (char *)row + column->offset;
    const char *text = taking->cells[role], *folded = fold_trimmed(taking->arena, text);
    if (role == ROLE_DOSE) {
        struct batch *batch = row;
        batch->unit = inoculum_read(folded, &batch->inoculum);
        if (batch->unit == NULL)
            wrong(taking, role, "write a number and ml or g");
    } else if (column->list != LIST_NONE) {
        *(const char **)into = read_word(taking, role);
    } else if (column->dimension != DIM_NONE) {
        struct quantity quantity;
        size_t used = 0;
        if (quantity_read(folded, strlen(folded), column->dimension, &quantity, &used) ==
                QUANTITY_OK &&
            folded[used] == '\0' && quantity.lo == quantity.hi)
            *(double *)into = quantity.lo;
        else
            wrong(taking, role, "write one number and its unit");
    } else if (column->kind == COLUMN_MOMENT) {
        *(struct moment *)into = read_day(taking, role);
    } else if (column->kind == COLUMN_FLAG) {
        *(bool *)into = csv_named("yes|y|x|true|1|control", folded, strlen(folded)) >= 0;
        if (!*(bool *)into && csv_named("no|n|-|false|0", folded, strlen(folded)) < 0)
            wrong(taking, role, "write yes or no");
    } else if (going(taking)) {
        taking->culprit = role;
        journal_read_column(taking->journal, column, text, taking->arena, row);
    }
}

static void read_cells(struct taking *taking, enum record record, void *row)
{
    for (int i = 0; i < ROLE_COUNT && going(taking); i++)
        if (roles[i].record == record && said(taking, (enum role)i))
            read_cell(taking, (enum role)i, row);
}

/* ---- records that rows share ----------------------------------------------------------------- */

static void add(struct taking *taking, enum record record, void *row)
{
    const union any_record *any = row;
    if (going(taking) && record_has_label(record))
        /* NOLINTBEGIN(clang-analyzer-core.CallAndMessage): such a record begins with its label */
        label_check(taking->journal, record, any->named.label,
                    arena_format(taking->arena, "--prefix K calls it 'K-%.60s'", any->named.label));
    /* NOLINTEND(clang-analyzer-core.CallAndMessage) */
    if (!going(taking) || journal_add(taking->journal, record, row) != STATUS_OK)
        return;
    taking->added[record]++;
    taking->news = true;
}

/* Makes sure that the row says of a column what the journal does; of moments the day counts. */
static void agree(struct taking *taking, enum record record, const char *label,
                  const struct column *column, const void *row, const void *there)
{
    enum role role = role_of(record, column);
    if (column->derived || role == ROLE_COUNT || !said(taking, role) || !going(taking))
        return;
    taking->culprit = role;
    const char *given = journal_show_column(taking->journal, column, row, taking->arena);
    const char *present = journal_show_column(taking->journal, column, there, taking->arena);
    const struct moment *first = column_member(column, row), *second = column_member(column, there);
    if (given[0] == '\0' || strcmp(given, present) == 0)
        return;
    if (present[0] == '\0') {
        /* What was not known of a record may be told later: in a lower row, or in the sheet as it
         * has grown. It is kept as a correction. */
        journal_correct(taking->journal, record, label, column->name, given, taking->options->now);
        taking->news = true;
    } else if (column->kind != COLUMN_MOMENT || moment_day(*first) != moment_day(*second)) {
        refuse(taking, role, "%s '%.60s' has %s '%.80s' already, and here '%.80s'; %s",
               record_types[record].name, label, column->name, present, given,
               record == RECORD_BATCH && taking->mapping->headings[ROLE_BATCH] == NULL
                   ? "so they are several batches: map a column that tells them, or 'batch: "
                     "from vessel' under 'same' (A3 is of batch A)"
                   : "make them the same");
    }
}

/* Adds the record, or makes sure that it says what the one of its label says and becomes that. */
static void settle(struct taking *taking, enum record record, const char *label, void *row)
{
    struct journal *journal = taking->journal;
    int64_t id = query_number(
        journal,
        journal_sql(
            journal,
            "SELECT id FROM \"%s\" WHERE label = ?1 COLLATE NOCASE ORDER BY label <> ?1, id",
            record_types[record].name),
        "t", label);
    if (id == 0) {
        add(taking, record, row);
        return;
    }
    void *there = arena_alloc(taking->arena, record_types[record].size);
    if (journal_get(journal, record, id, taking->arena, there) != STATUS_OK)
        return;
    const char *called = ((const union any_record *)there)->named.label;
    if (strcmp(called, label) != 0)
        remark(taking, "%s '%.60s' was taken for '%.60s'", record_types[record].name, label,
               called);
    else if (id <= taking->highest[record] && record != RECORD_BATCH && record != RECORD_VESSEL &&
             record != RECORD_PLACE && taking->options->prefix == NULL)
        remark(taking, "%s '%.60s' is the one in the journal (--prefix K keeps them apart)",
               record_types[record].name, called);
    for (const struct column *column = record_types[record].columns; column->name; column++)
        if (column->kind != COLUMN_LABEL)
            agree(taking, record, called, column, row, there);
    memcpy(row, there, record_types[record].size);
}

/* What a batch needs that is new. */
static void complete_batch(struct taking *taking, struct batch *batch)
{
    const struct rules *rules = taking->mapping->rules;
    int feeder = rules->feeder[FEEDS_GRAIN];
    int64_t known = 0;
    if (!said(taking, ROLE_BATCH))
        refuse(taking, ROLE_BATCH, "batch is missing; every vessel is of a batch");
    /* A grain without a sack to its name is a circumstance of the batch. */
    if (said(taking, ROLE_GRAIN) && !said(taking, ROLE_LOT) && feeder != RULES_NONE)
        batch->facts = arena_format(taking->arena, "%s=%s", rules->observables[feeder].id,
                                    read_word(taking, ROLE_GRAIN));
    if (!moment_known(batch->at) &&
        !journal_has(taking->journal, RECORD_BATCH, taking->cells[ROLE_BATCH], &known))
        refuse(taking, ROLE_INOCULATED,
               "inoculated is missing; a new batch needs the day of inoculation");
}

/* The vessel's label and number, as far as they follow from one another. */
static void complete_vessel(struct taking *taking, struct vessel *vessel)
{
    enum role telling = taking->mapping->headings[ROLE_VESSEL] != NULL ? ROLE_VESSEL : ROLE_NUMBER;
    int64_t known = 0;
    if (isnan(vessel->grams))
        vessel->grams = taking->grams;
    if (!said(taking, ROLE_VESSEL) && !said(taking, ROLE_NUMBER))
        refuse(taking, telling, "%s is missing; nothing tells which vessel this is",
               roles[telling].name);
    if (!said(taking, ROLE_VESSEL))
        vessel->label = arena_format(taking->arena, "%s-%lld", taking->cells[ROLE_BATCH],
                                     (long long)vessel->number);
    taking->label = vessel->label;
    if (vessel->number == 0 && !journal_has(taking->journal, RECORD_VESSEL, vessel->label, &known))
        vessel->number = query_number(
            taking->journal, "SELECT coalesce(max(number), 0) + 1 FROM vessel WHERE batch = ?", "i",
            vessel->batch);
}

/* The records that the row names, each after what it refers to, added when new; the vessel's id. */
static int64_t take_records(struct taking *taking)
{
    int64_t ids[RECORD_COUNT] = {0};
    for (enum record record = 0; record <= RECORD_VESSEL && going(taking); record++) {
        enum role label = label_of(record);
        union any_record row;
        if (!said(taking, label) && record < RECORD_BATCH)
            continue;
        record_init(record, &row);
        for (const struct column *column = record_types[record].columns; column->name; column++)
            if (column->kind == COLUMN_REFERENCE && !column->derived)
                memcpy((char *)&row + column->offset, &ids[column->refers], sizeof *ids);
        read_cells(taking, record, &row);
        if (record == RECORD_BATCH && going(taking))
            complete_batch(taking, &row.batch);
        if (record == RECORD_VESSEL && going(taking))
            complete_vessel(taking, &row.vessel);
        if (!going(taking))
            break;
        taking->culprit = record == RECORD_VESSEL && !said(taking, label) ? ROLE_NUMBER : label;
        settle(taking, record, row.named.label, &row);
        ids[record] = row.named.id;
        if (record == RECORD_BATCH)
            taking->inoculated = row.batch.at;
    }
    return ids[RECORD_VESSEL];
}

/* What was done with a vessel, unless it is there on that day. */
static void take_event(struct taking *taking, int64_t vessel, enum event_kind kind,
                       struct moment at, enum because because, const char *detail)
{
    struct event event = {
        .vessel = vessel, .kind = kind, .at = at, .because = because, .detail = detail};
    if (query_number(taking->journal,
                     "SELECT count(*) FROM event WHERE vessel = ? AND kind = ?"
                     " AND (at + 60 * at_offset) / 86400 = ?",
                     "iti", vessel, event_words[kind], moment_day(at)) == 0)
        add(taking, RECORD_EVENT, &event);
}

static void take_outcome(struct taking *taking, int64_t vessel, const struct finding *finding,
                         struct moment at, const char *undated)
{
    const char *told = query_string(
        taking->journal, taking->arena,
        "SELECT finding FROM outcome WHERE vessel = ? ORDER BY id DESC LIMIT 1", "i", vessel);
    struct outcome outcome = {.vessel = vessel,
                              .at = at,
                              .finding = finding->id,
                              .status = status_name(finding->status),
                              .how = arena_format(taking->arena, "from a spreadsheet: %s%s%s",
                                                  taking->cells[ROLE_RESULT],
                                                  undated[0] != '\0' ? "; " : "", undated)};
    if (told == NULL)
        add(taking, RECORD_OUTCOME, &outcome);
    else if (strcmp(told, finding->id) != 0)
        refuse(taking, ROLE_RESULT, "%s is confirmed as '%.60s' already, and here '%.60s'",
               taking->label, told, finding->id);
}

/* The day of a result: its own, else that on which the vessel was used or discarded, else the last
 * one that is known, which `undated` says. */
static struct moment day_of_result(struct taking *taking, const char **undated)
{
    static const enum role own[] = {ROLE_ENDED, ROLE_DISCARDED, ROLE_USED};
    struct moment at = moment_unknown();
    *undated = "";
    for (size_t i = 0; i < sizeof own / sizeof *own; i++)
        if (said(taking, own[i]))
            return read_day(taking, own[i]);
    *undated = "the day is the last one that was written down";
    for (int i = 0; i < ROLE_COUNT; i++) {
        if (!role_is_date((enum role)i) || i == ROLE_COOKED || !said(taking, (enum role)i))
            continue;
        struct moment known = read_day(taking, (enum role)i);
        at = !moment_known(at) || known.seconds > at.seconds ? known : at;
    }
    if (!moment_known(at))
        refuse(taking, ROLE_ENDED, "ended is missing; a result needs a day; map 'ended'");
    return at;
}

static void take_cells(struct taking *taking)
{
    static const struct {
        enum role role;
        enum event_kind kind;
    } days[] = {{ROLE_SHAKEN, EVENT_SHAKE},
                {ROLE_ISOLATED, EVENT_ISOLATE},
                {ROLE_USED, EVENT_USE},
                {ROLE_DISCARDED, EVENT_DISCARD}};
    const char *folded = fold_trimmed(taking->arena, taking->cells[ROLE_RESULT]), *undated;
    struct result result = {0};
    int64_t vessel = take_records(taking);
    for (size_t i = 0; i < sizeof days / sizeof *days && going(taking); i++)
        if (said(taking, days[i].role))
            take_event(taking, vessel, days[i].kind, read_day(taking, days[i].role), BECAUSE_UNTOLD,
                       "");
    if (!going(taking) || !said(taking, ROLE_RESULT))
        return;
    if (!read_exactly(taking->mapping, folded, &result) &&
        !result_of_words(taking->mapping->rules, folded, &result))
        wrong(taking, ROLE_RESULT,
              "that is not a finding; say in the map, under 'values', what it means");
    if (result.growing && !result_is_gone(&result) &&
        is_long_ago(taking->inoculated, taking->options->now))
        remark(taking,
               "result '%.60s' was read as still growing, of a vessel inoculated long ago; if it "
               "is gone, say in the map, under 'values', that it was used or discarded",
               taking->cells[ROLE_RESULT]);
    if (result.finding == NULL && !result_is_gone(&result))
        return;
    struct moment at = day_of_result(taking, &undated);
    if (result.finding != NULL)
        take_outcome(taking, vessel, result.finding, at, undated);
    if (result.used)
        take_event(taking, vessel, EVENT_USE, at, BECAUSE_UNTOLD, undated);
    if (result.discarded || result.because != BECAUSE_UNTOLD)
        take_event(taking, vessel, EVENT_DISCARD, at, result.because, undated);
}

/* The column of that heading; SIZE_MAX, and a fault, when there is none. */
static size_t column_headed(struct taking *taking, const struct csv_row *row, const char *heading)
{
    const char *names[CSV_MOST_FIELDS], *folded = fold_trimmed(taking->arena, heading);
    for (size_t i = 0; i < row->count; i++) {
        names[i] = row->fields[i].text;
        if (strcmp(taking->sheet.folded[i], folded) == 0)
            return i;
    }
    diags_error(taking->diags, csv_at(row, SIZE_MAX), "no column is headed '%s'%s", heading,
                diag_suggest(taking->arena, heading, names, row->count, ""));
    return SIZE_MAX;
}

static enum status read_header(struct taking *taking, const struct csv_row *row)
{
    const struct mapping *mapping = taking->mapping;
    size_t before = diags_errors(taking->diags);
    for (int i = 0; i < ROLE_COUNT; i++)
        taking->column_of[i] = mapping->headings[i] != NULL
                                   ? column_headed(taking, row, mapping->headings[i])
                                   : SIZE_MAX;
    for (size_t i = 0; i < mapping->repeat_count; i++) {
        size_t column = column_headed(taking, row, mapping->repeats[i]);
        if (column != SIZE_MAX)
            taking->repeats[column] = true;
    }
    return diags_errors(taking->diags) == before ? STATUS_OK : STATUS_DATA;
}

/* The cell, or what stands above it, or what holds for all rows. */
static const char *cell(struct taking *taking, const struct csv_row *row, enum role role)
{
    size_t column = taking->column_of[role];
    const char *same = taking->mapping->same[role];
    if (column < row->count && row->fields[column].length > 0)
        return row->fields[column].text;
    if (column < CSV_MOST_FIELDS && taking->above[column] != NULL)
        return taking->above[column];
    return same != NULL ? same : "";
}

/* "A3": the batch is A and the vessel its third, where the map says "batch: from vessel". */
static void split_label(struct taking *taking)
{
    const char *label = taking->cells[ROLE_VESSEL];
    size_t length = strlen(label), lead = length;
    while (lead > 0 && isdigit((unsigned char)label[lead - 1]))
        lead--;
    if (taking->cells[ROLE_NUMBER][0] == '\0' && lead < length)
        taking->cells[ROLE_NUMBER] = label + lead;
    while (lead > 0 && strchr(" -_.#/", label[lead - 1]) != NULL)
        lead--;
    taking->cells[ROLE_BATCH] = arena_copy(taking->arena, label, lead);
}

static void report(struct taking *taking, struct position at, enum row_verdict verdict,
                   const char *why)
{
    enum { MOST_REFUSED = 50 };
    char day[MOMENT_ROOM];
    static const char *const verdicts[VERDICTS] = {"taken", "skipped", "refused"};
    if (++taking->counts[verdict] <= MOST_REFUSED ? verdict == REFUSED || taking->options->every_row
                                                  : taking->options->every_row)
        json_array_append_new(
            taking->rows,
            json_pack("{s:I, s:I, s:s, s:o, s:s, s:o}", "line", (json_int_t)at.line, "column",
                      (json_int_t)at.column, "verdict", verdicts[verdict], "label",
                      shown(taking->label), "inoculated",
                      verdict == TAKEN ? moment_write_day(taking->inoculated, day) : "", "why",
                      shown(why)));
}

/* A row that is refused leaves nothing, a row that is taken all of it. */
static enum status conclude_row(struct taking *taking, const struct csv_row *row,
                                enum status status)
{
    const char *why = diags_kept(taking->own) > 0 ? diags_get(taking->own, 0)->message : "";
    if (status == STATUS_OK) {
        for (size_t i = 0; i < taking->remark_count && taking->news; i++) {
            const json_t *rows = json_object_get(taking->read_as, taking->remarks[i]);
            json_object_set_new(taking->read_as, taking->remarks[i],
                                json_integer(json_integer_value(rows) + 1));
        }
        for (int i = 0; i < RECORD_COUNT; i++)
            taking->all_added[i] += (json_int_t)taking->added[i];
        if (taking->news && moment_known(taking->inoculated)) {
            const int64_t day = taking->inoculated.seconds;
            if (!moment_known(taking->first) || day < taking->first.seconds)
                taking->first = taking->inoculated;
            if (!moment_known(taking->last) || day > taking->last.seconds)
                taking->last = taking->inoculated;
        }
        report(taking, csv_at(row, SIZE_MAX), taking->news ? TAKEN : SKIPPED,
               taking->news ? "" : "there already");
        return STATUS_OK;
    }
    if (status != STATUS_DATA && status != STATUS_USAGE) {
        diags_error(taking->diags, csv_at(row, SIZE_MAX), "%s", why);
        return status;
    }
    taking->journal->status = STATUS_OK;
    report(
        taking,
        csv_at(row, taking->culprit != ROLE_COUNT ? taking->column_of[taking->culprit] : SIZE_MAX),
        REFUSED, why);
    return STATUS_OK;
}

static enum status take_row(void *context, const struct csv_row *row)
{
    struct taking *taking = context;
    arena_reset(taking->arena);
    diags_clear(taking->own);
    taking->label = "";
    taking->inoculated = moment_unknown();
    const char *why = no_vessel(&taking->sheet, row);
    if (why != NULL && why[0] == '\0')
        return read_header(taking, row);
    if (why != NULL) {
        report(taking, csv_at(row, SIZE_MAX), SKIPPED, why);
        return STATUS_OK;
    }
    for (size_t i = 0; i < row->count; i++)
        if (taking->repeats[i] && row->fields[i].length > 0)
            taking->above[i] = arena_string(taking->sheet.keep, row->fields[i].text);
    for (int i = 0; i < ROLE_COUNT; i++)
        taking->cells[i] = cell(taking, row, (enum role)i);
    if (taking->column_of[ROLE_BATCH] == SIZE_MAX &&
        strcmp(taking->cells[ROLE_BATCH], FROM_VESSEL) == 0)
        split_label(taking);
    for (int i = 0; i < ROLE_COUNT; i++) /* shelves are everybody's */
        if (strcmp(roles[i].column, "label") == 0 && i != ROLE_PLACE)
            taking->cells[i] =
                label_prefixed(taking->options->prefix, taking->cells[i], taking->arena);
    taking->culprit = ROLE_COUNT;
    taking->news = false;
    taking->grams = NAN;
    taking->remarks = NULL;
    taking->remark_count = 0;
    memset(taking->added, 0, sizeof taking->added);
    taking->journal->diags = taking->own;
    journal_work(taking->journal);
    take_cells(taking);
    enum status status = journal_finish(taking->journal);
    taking->journal->diags = taking->diags;
    return conclude_row(taking, row, status);
}

/* What came of all of it. */
static json_t *tell(struct taking *taking)
{
    json_t *added = json_object(), *read_as = json_array(), *rows;
    const char *words;
    char first[MOMENT_ROOM], last[MOMENT_ROOM];
    for (int i = 0; i < RECORD_COUNT; i++)
        json_object_set_new(added, record_types[i].name, json_integer(taking->all_added[i]));
    json_object_foreach (taking->read_as, words, rows) {
        json_array_append_new(read_as,
                              json_pack("{s:o, s:O}", "words", shown(words), "rows", rows));
    }
    return json_pack("{s:I, s:I, s:I, s:s, s:s, s:o, s:o, s:O}", "taken", taking->counts[TAKEN],
                     "skipped", taking->counts[SKIPPED], "refused", taking->counts[REFUSED],
                     "first_inoculated", moment_write_day(taking->first, first), "last_inoculated",
                     moment_write_day(taking->last, last), "added", added, "read_as", read_as,
                     "rows", taking->rows);
}

enum status mapping_import(struct journal *journal, struct mapping *mapping, struct reader *reader,
                           const char *path, const struct mapping_options *options, json_t **told)
{
    struct taking *taking SCOPED_FREE = memory_array(1, sizeof *taking);
    taking->journal = journal;
    taking->mapping = mapping;
    taking->reader = reader;
    taking->options = options;
    taking->diags = journal->diags;
    taking->arena = arena_new();
    taking->own = diags_new();
    taking->read_as = json_object();
    taking->rows = json_array();
    taking->first = taking->last = moment_unknown();
    taking->sheet = (struct sheet){.rules = mapping->rules,
                                   .mapping = mapping,
                                   .keep = mapping->arena,
                                   .arena = taking->arena};
    for (int i = 0; i < ROLE_COUNT; i++)
        taking->seen[i] = moment_unknown();
    journal_enter(journal);
    journal_work(journal);
    for (int i = 0; i < RECORD_COUNT; i++)
        taking->highest[i] = query_number(
            journal, journal_sql(journal, "SELECT max(id) FROM \"%s\"", record_types[i].name), "");
    if (journal->status == STATUS_OK)
        journal->status =
            read_sheet(&taking->sheet, path, take_row, options->progress, journal->diags);
    bool refused = taking->counts[REFUSED] > 0;
    bool wanted = options->partly && taking->counts[TAKEN] + taking->counts[SKIPPED] > 0;
    if (journal->status == STATUS_OK && (options->dry_run || (refused && !options->partly)))
        journal_rollback(journal);
    else
        journal_finish(journal);
    enum status status = journal_leave(journal);
    *told = status == STATUS_OK ? tell(taking) : NULL;
    json_decref(taking->read_as);
    json_decref(taking->rows);
    arena_free(taking->arena);
    diags_free(taking->own);
    return status == STATUS_OK && refused && !wanted ? STATUS_DATA : status;
}

/* ==== a map proposed from headings and values, for a person to look over ====================== */

enum {
    MOST_GUESSED = 64, /* columns that are looked at for a guess */
    MOST_VALUES = 60,  /* of one of them that are kept */
    MOST_LENGTH = 80,  /* of one of these */
};

struct sample { /* what stands in one column */
    const char *heading, *folded;
    json_t *values;                    /* as written, and how often each stands there */
    bool more;                         /* distinct values than were kept */
    bool repeats;                      /* a value stands in two rows */
    bool whole;                        /* every value is a whole number */
    size_t filled, dates, short_dates; /* cells; those with a day, with one that has no year */
    /* How many of these days can be read in each order, and the newest of them; of DATES_ISO those
     * that are beyond doubt. */
    size_t reads[DATES_YEAR_FIRST + 1];
    struct moment newest[DATES_YEAR_FIRST + 1];
    bool used; /* for some role */
};

struct guess {
    struct sheet sheet; /* first, for the functions of sheets */
    struct arena *arena;
    struct sample samples[MOST_GUESSED];
    size_t column_count, rows;
    const struct sample *of[ROLE_COUNT]; /* NULL for none */
    struct moment now;
    bool old; /* its newest day lies so far back that nothing of it can be growing */
    struct text *out;
    struct mapping nothing; /* a map that translates no word */
    struct reader *reader;
    struct triage *triage;
};

static void look_at_value(struct sample *sample, const char *text, struct moment now)
{
    bool whole = false, part = false;
    for (int order = DATES_ISO; order <= DATES_YEAR_FIRST; order++) {
        struct moment moment;
        const bool dated = moment_read_in(text, (enum date_order)order, &moment);
        if (dated
                ? moment_days_between(now, moment) > 1 /* nothing was written down before it was */
                : order == DATES_ISO ||
                      !moment_read_near(text, (enum date_order)order, now, &moment))
            continue;
        whole = whole || dated;
        part = part || !dated;
        sample->reads[order]++;
        if (dated && (!moment_known(sample->newest[order]) ||
                      moment.seconds > sample->newest[order].seconds))
            sample->newest[order] = moment;
    }
    sample->filled++;
    sample->whole = sample->whole && text[strspn(text, "0123456789")] == '\0';
    sample->dates += whole;
    sample->short_dates += part && !whole;
    const json_t *count = json_object_get(sample->values, text);
    sample->repeats = sample->repeats || count != NULL;
    if (count == NULL &&
        (json_object_size(sample->values) == MOST_VALUES || strlen(text) > MOST_LENGTH))
        sample->more = true;
    else
        json_object_set_new(sample->values, text, json_integer(json_integer_value(count) + 1));
}

static enum status look_at_row(void *context, const struct csv_row *row)
{
    struct guess *guess = context;
    const char *why = no_vessel(&guess->sheet, row);
    bool header = why != NULL && why[0] == '\0';
    if (why != NULL && !header)
        return STATUS_OK;
    if (header)
        guess->column_count = row->count < MOST_GUESSED ? row->count : MOST_GUESSED;
    guess->rows += !header;
    for (size_t i = 0; i < guess->column_count && i < row->count; i++) {
        const char *text = row->fields[i].text;
        struct sample *sample = &guess->samples[i];
        if (header) {
            *sample = (struct sample){.heading = arena_string(guess->arena, text),
                                      .folded = guess->sheet.folded[i],
                                      .values = json_object(),
                                      .whole = true};
            for (int order = DATES_ISO; order <= DATES_YEAR_FIRST; order++)
                sample->newest[order] = moment_unknown();
        }
        if (!header && text[0] != '\0')
            look_at_value(sample, text, guess->now);
    }
    return STATUS_OK;
}

static void use(struct guess *guess, struct sample *sample, enum role role)
{
    sample->used = true;
    guess->of[role] = sample;
}

/* The best pair of what is left, again and again. */
static void choose(struct guess *guess)
{
    struct sample *end = guess->samples + guess->column_count;
    for (int best = 1; best > 0;) {
        struct sample *fitting = NULL;
        enum role role = ROLE_COUNT;
        best = 0;
        for (int i = 0; i < ROLE_COUNT; i++)
            for (struct sample *at = guess->samples; at < end && guess->of[i] == NULL; at++) {
                /* What stands in the column must not contradict the role. */
                bool suits = role_is_date((enum role)i) ? 2 * at->dates >= at->filled
                             : i == ROLE_NUMBER         ? at->whole
                             : i == ROLE_VESSEL         ? !at->repeats
                                                        : true;
                int fits =
                    suits && !at->used ? role_fit(guess->sheet.rules, (enum role)i, at->folded) : 0;
                if (fits > best)
                    best = fits, role = (enum role)i, fitting = at;
            }
        if (best > 0)
            use(guess, fitting, role);
    }
    /* A column headed like a label, of whole numbers that come again in every batch, counts within
     * it; one headed like a number, of words that hardly come again, holds labels. */
    for (struct sample *at = guess->samples; at < end; at++) {
        bool headed = role_fit(guess->sheet.rules, ROLE_VESSEL, at->folded) > 0 ||
                      role_fit(guess->sheet.rules, ROLE_NUMBER, at->folded) > 0;
        if (guess->of[ROLE_VESSEL] == NULL && guess->of[ROLE_NUMBER] == NULL && !at->used &&
            at->filled > 0 && headed &&
            (at->whole || at->more || 4 * json_object_size(at->values) > 3 * at->filled))
            use(guess, at, at->whole ? ROLE_NUMBER : ROLE_VESSEL);
    }
    /* What belongs to a record that no column names: the temperature of no place. */
    for (int i = 0; i < ROLE_COUNT; i++) {
        enum role label = label_of(roles[i].record);
        if (i != ROLE_GRAIN && guess->of[i] != NULL && label != ROLE_COUNT &&
            label != ROLE_VESSEL && label != ROLE_BATCH && guess->of[label] == NULL) {
            guess->samples[guess->of[i] - guess->samples].used = false;
            guess->of[i] = NULL;
        }
    }
}

/* A text in double quotes, as YAML has it. */
static const char *quoted(const struct guess *guess, const char *text)
{
    size_t step = 1;
    int32_t point = 0;
    TEXT(out);
    for (const char *at = text; *at != '\0'; at += step > 0 ? step : 1) {
        step = 1;
        if (*at == '"' || *at == '\\')
            text_printf(&out, "\\%c", *at);
        else if ((step = text_treacherous(at, strlen(at), &point)) > 0)
            text_printf(&out, point < 0x10000 ? "\\u%04x" : "\\U%08x", (unsigned)point);
        else
            text_add(&out, at, 1);
    }
    return arena_format(guess->arena, "\"%s\"", out.bytes);
}

/* Whether the labels of the vessels end in numbers, with something before these: A3, R1-2. */
static bool tell_batch(const struct sample *labels)
{
    size_t count = 0;
    const char *label;
    json_t *unused;
    json_object_foreach (labels != NULL ? labels->values : NULL, label, unused) {
        (void)unused;
        count += isdigit((unsigned char)label[strlen(label) - 1]) &&
                 label[strspn(label, "0123456789")] != '\0';
    }
    return count > 0 && 4 * count > 3 * json_object_size(labels->values);
}

static void put_columns(struct guess *guess)
{
    static const struct text_safe_options safe = {.limit = MOST_LENGTH};
    struct text *out = guess->out;
    text_puts(out, "columns:\n");
    for (int i = 0; i < ROLE_COUNT; i++)
        if (guess->of[i] != NULL)
            text_printf(out, "  %s: %s\n", roles[i].name, quoted(guess, guess->of[i]->heading));
    for (size_t k = 0; k < guess->column_count; k++) {
        const struct sample *sample = &guess->samples[k];
        if (sample->used || sample->folded[0] == '\0')
            continue;
        text_puts(out, "  # left out: "); /* and nothing in it may end the line */
        text_safe(out, sample->heading, strlen(sample->heading), &safe);
        text_puts(out, "\n");
    }
    bool told = tell_batch(guess->of[ROLE_VESSEL]);
    if (guess->of[ROLE_VESSEL] == NULL && guess->of[ROLE_NUMBER] == NULL)
        text_puts(out, "  # number: ?     no column seems to tell the vessels of a batch\n");
    if (guess->of[ROLE_BATCH] == NULL && !told)
        text_puts(out, "  # batch: ?      no column seems to tell the batch\n");
    if (guess->of[ROLE_INOCULATED] == NULL)
        text_puts(out, "  # inoculated: ? no column seems to tell the day of inoculation\n");
    if (guess->of[ROLE_BATCH] == NULL && told)
        text_puts(out, "same:\n  batch: " FROM_VESSEL "   # A3 is number 3 of batch A\n");
}

/* In which order the dates stand: that in which most of them can be read, and among several the
 * grower's own. What is left in doubt is said. */
static void put_dates(struct guess *guess)
{
    static const char *const names[] = {[DATES_DAY_FIRST] = "day/month/year",
                                        [DATES_MONTH_FIRST] = "month/day/year",
                                        [DATES_YEAR_FIRST] = "year-month-day"};
    size_t reads[DATES_YEAR_FIRST + 1] = {0}, all = 0;
    int best = DATES_DAY_FIRST, other = DATES_ISO, usual = (int)dates_usual();
    struct moment newest = moment_unknown();
    for (int i = 0; i < ROLE_COUNT; i++) {
        const struct sample *sample = guess->of[i];
        if (sample == NULL || !role_is_date((enum role)i))
            continue;
        all += sample->dates + sample->short_dates;
        for (int order = DATES_ISO; order <= DATES_YEAR_FIRST; order++)
            reads[order] += sample->reads[order];
    }
    for (int order = DATES_MONTH_FIRST; order <= DATES_YEAR_FIRST; order++)
        best = reads[order] > reads[best] ? order : best;
    if (usual != DATES_ISO && reads[usual] == reads[best])
        best = usual;
    for (int order = DATES_YEAR_FIRST; order >= DATES_DAY_FIRST; order--)
        other = order != best && reads[order] == reads[best] ? order : other;
    for (int i = 0; i < ROLE_COUNT; i++) {
        const struct sample *sample = guess->of[i];
        if (sample != NULL && role_is_date((enum role)i) && moment_known(sample->newest[best]) &&
            (!moment_known(newest) || sample->newest[best].seconds > newest.seconds))
            newest = sample->newest[best];
    }
    guess->old = moment_known(newest) && is_long_ago(newest, guess->now);
    if (reads[DATES_ISO] == all)
        return;
    text_printf(guess->out, "dates: %s", names[best]);
    if (reads[best] < all)
        text_printf(guess->out, "   # %zu of %zu dates cannot be read so", all - reads[best], all);
    else if (other != DATES_ISO)
        text_printf(guess->out, "   # or %s: the file does not tell%s", names[other],
                    best == usual ? "; this is how your settings have it" : "");
    text_puts(guess->out, "\n");
}

/* Columns that a sheet with merged cells leaves empty below the first row. */
static void put_repeats(struct guess *guess)
{
    static const enum role shared_by[] = {ROLE_BATCH, ROLE_INOCULATED, ROLE_COOK, ROLE_STARTER};
    const char *before = "repeat: [";
    for (size_t i = 0; i < sizeof shared_by / sizeof *shared_by; i++) {
        const struct sample *sample = guess->of[shared_by[i]];
        if (sample == NULL || 2 * sample->filled > guess->rows)
            continue;
        text_printf(guess->out, "%s%s", before, quoted(guess, sample->heading));
        before = ", ";
    }
    if (before[0] == ',')
        text_puts(guess->out, "]   # mostly empty: what stands above holds\n");
}

/* What the triage takes the words for; NULL when that is too doubtful to be proposed: a vessel that
 * may be contaminated is never proposed as clean. */
static const struct finding *guess_finding(struct triage *triage, const char *value, double *p)
{
    static const double likely = 0.5, suspect = 0.1;
    const struct finding *finding = NULL;
    const struct verdict *verdict = NULL;
    struct diags *unheard = diags_new();
    triage_reset(triage);
    if (triage_tell(triage, value, strlen(value), unheard) == STATUS_OK &&
        triage_heard(triage).fact_count > 0)
        verdict = triage_judge(triage);
    if (verdict != NULL && verdict->findings[0].p >= likely) {
        *p = verdict->findings[0].p;
        finding = &triage_rules(triage)->findings[verdict->findings[0].index];
        if (finding->status != FINDING_CONTAMINATED &&
            verdict->status[FINDING_CONTAMINATED] > suspect)
            finding = NULL;
    }
    triage_reset(triage);
    diags_free(unheard);
    return finding;
}

/* What a result may mean, as a map writes it; NULL when nothing can be proposed. `p` is how likely
 * a finding is that the words do not name. */
static const char *guess_result(struct guess *guess, const char *value, double *p)
{
    struct result meaning = {0};
    if (!result_of_words(guess->sheet.rules, fold_trimmed(guess->arena, value), &meaning)) {
        meaning = (struct result){.finding = guess_finding(guess->triage, value, p)};
        if (meaning.finding == NULL)
            return NULL;
        meaning.discarded = meaning.finding->status == FINDING_CONTAMINATED;
    }
    const char *words[] = {meaning.finding != NULL ? meaning.finding->id : "",
                           because_words[meaning.because], meaning.used ? "used" : "",
                           meaning.discarded ? "discarded" : "",
                           !meaning.growing || result_is_gone(&meaning) ? ""
                           : guess->old                                 ? "used"
                                                                        : "growing"};
    return arena_join(guess->arena, words, sizeof words / sizeof *words);
}

/* What is said of a proposal: how sure it is, and what else it may be. */
static const char *doubt_about(const struct guess *guess, enum role role, const char *meaning,
                               double p)
{
    if (meaning == NULL)
        return role == ROLE_RESULT ? "; say what it was" : "";
    if (p > 0)
        return arena_format(guess->arena, "; a guess, %.0f %%", 100.0 * p);
    if (role != ROLE_RESULT)
        return "; read so";
    if (strcmp(meaning, "growing") == 0)
        return "; write used if it did well and is gone";
    return guess->old && strcmp(meaning, "used") == 0
               ? "; write growing if it still stands: the newest day is long ago"
               : "";
}

/* The words of a column that the rules would not know by themselves, and what they may mean. */
static void put_values(struct guess *guess, enum role role, bool *any)
{
    const struct sample *sample = guess->of[role];
    bool headed = false, results = role == ROLE_RESULT;
    struct result result;
    const char *value;
    json_t *count;
    json_object_foreach (sample->values, value, count) {
        const json_int_t times = json_integer_value(count);
        struct meant meant = {.id = NULL};
        double p = 0;
        if (!results)
            meant = role_meant(&guess->nothing, guess->reader, role, value, guess->arena);
        if (results ? read_exactly(&guess->nothing, fold_trimmed(guess->arena, value), &result)
                    : meant.id != NULL && !meant.loosely)
            continue;
        const char *meaning = results ? guess_result(guess, value, &p) : meant.id;
        if (!headed)
            text_printf(guess->out, "%s  %s:\n", *any ? "" : "values:\n", roles[role].name);
        *any = headed = true;
        text_printf(guess->out, "    %s%s: %s   # %s", meaning != NULL ? "" : "# ",
                    quoted(guess, value), meaning != NULL ? meaning : "?",
                    times == 1 ? "once"
                               : arena_format(guess->arena, "%lld times", (long long)times));
        text_printf(guess->out, "%s\n", doubt_about(guess, role, meaning, p));
    }
    if (headed && sample->more)
        text_puts(guess->out, "    # and more; only the first words are listed\n");
}

enum status mapping_guess(const char *path, struct reader *reader, struct triage *triage,
                          struct text *out, struct diags *diags)
{
    const struct rules *rules = triage_rules(triage);
    struct arena *arena SCOPED_ARENA = arena_new();
    struct guess *guess = arena_alloc(arena, sizeof *guess);
    bool any = false;
    guess->sheet = (struct sheet){.rules = rules, .keep = arena, .arena = arena};
    guess->arena = arena;
    guess->now = moment_now();
    guess->out = out;
    guess->nothing.rules = rules;
    guess->reader = reader;
    guess->triage = triage;
    enum status status = read_sheet(&guess->sheet, path, look_at_row, NULL, diags);
    if (status == STATUS_OK) {
        choose(guess);
        text_puts(out, "# A map, guessed. Look it over and mend it, then rehearse:\n"
                       "#   jarside import SPREADSHEET --map THIS-FILE --dry-run\n");
        put_columns(guess);
        put_dates(guess);
        put_repeats(guess);
        for (int i = 0; i < ROLE_COUNT; i++)
            if (guess->of[i] != NULL && role_column((enum role)i)->list != LIST_NONE)
                put_values(guess, (enum role)i, &any);
    }
    for (size_t k = 0; k < guess->column_count; k++)
        json_decref(guess->samples[k].values);
    return status;
}
