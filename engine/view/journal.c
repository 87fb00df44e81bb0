/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/journal.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/plan.h"

#define FORMAT(...) arena_format(view->arena, __VA_ARGS__)

void view_get(struct journal_view *view, enum record record, int64_t id, void *row)
{
    record_init(record, row);
    if (id != 0)
        (void)journal_get(view->journal, record, id, view->arena, row);
}

/* ---- words ----------------------------------------------------------------------------------- */

/* The text as a string in the arena; it is released. */
static const char *taken(struct journal_view *view, struct text *text)
{
    const char *copy = arena_copy(view->arena, text->bytes, text->length);
    text_release(text);
    return copy;
}

/* The words of a template of a tree, which is released. */
static const char *said(struct journal_view *view, const char *template, json_t *tree)
{
    struct text text;
    text_init(&text);
    view_words(&text, template, tree);
    json_decref(tree);
    return taken(view, &text);
}

/* Its first letter small, unless the name goes on in capitals ("PP bottle"). */
const char *view_name(struct journal_view *view, enum word_list list, const char *id)
{
    struct list_word word;
    for (size_t i = 0; (word = list_word(view->rules, list, i)).id != NULL; i++)
        if (strcmp(word.id, id) == 0) {
            char *name = arena_string(view->arena, word.name);
            if (!isupper((unsigned char)name[0]) || !isupper((unsigned char)name[1]))
                name[0] = (char)tolower((unsigned char)name[0]);
            return name;
        }
    return id;
}

const char *view_batch_words(struct journal_view *view, const struct batch *batch)
{
    struct lot lot;
    const char *species = view_name(view, LIST_SPECIES, batch->species);
    view_get(view, RECORD_LOT, batch->lot, &lot);
    const char *grain = view_name(view, LIST_GRAINS, lot.grain);
    if (species[0] == '\0')
        species = "unknown mushroom";
    return grain[0] != '\0' ? FORMAT("%s on %s", species, grain) : species;
}

const char *view_label(struct journal_view *view, enum record record, int64_t id)
{
    union any_record row = {.named = {0, ""}};
    if (record_has_label(record))
        view_get(view, record, id, &row);
    return row.named.label;
}

const char *view_vessels(struct arena *arena, const struct vessel *vessels, size_t count)
{
    const char *words = "";
    for (size_t i = 0, last; i < count; i = last + 1) {
        for (last = i; last + 1 < count && vessels[last + 1].batch == vessels[last].batch &&
                       vessels[last + 1].number == vessels[last].number + 1;)
            last++;
        words = arena_format(arena, "%s%s%s", words, i > 0 ? ", " : "", vessels[i].label);
        if (last > i)
            words = arena_format(arena, "%s%s%s", words, last == i + 1 ? ", " : " to ",
                                 vessels[last].label);
    }
    return words;
}

bool view_forecast_days(const struct batch *batch, const struct vessel_forecast *forecast,
                        const struct range *range, int64_t *from, int64_t *to)
{
    int64_t start = moment_day(batch->at);
    bool known = forecast->known && isfinite(range->high);
    *from = known ? start + (int64_t)floor(range->low) : 0;
    *to = known ? start + (int64_t)ceil(range->high) : 0;
    return known;
}

const char *view_cook_words(struct journal_view *view, const struct cook *cook)
{
    return said(view, "words.cook", view_record_json(view, RECORD_COOK, cook));
}

/* ---- JSON ------------------------------------------------------------------------------------ */

json_t *view_json_moment(struct moment moment)
{
    char room[MOMENT_ROOM];
    return moment_known(moment) ? json_string(moment_write(moment, room)) : json_null();
}

json_t *view_json_day(int64_t day)
{
    char room[MOMENT_ROOM];
    return day != 0 ? json_string(day_write(day, DAY_ISO, room)) : json_null();
}

json_t *view_json_vessels(const struct vessel *vessels, size_t count)
{
    json_t *labels = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(labels, view_json_text(vessels[i].label));
    return labels;
}

/* ---- one record, whatever its kind ----------------------------------------------------------- */

/* A value as people read it; "" when there is none. */
static const char *column_words(struct journal_view *view, const struct column *column,
                                const void *row)
{
    struct text text;
    if (column->dimension == DIM_NONE)
        return journal_show_column(view->journal, column, row, view->arena);
    text_init(&text);
    if (!isnan(*(const double *)column_member(column, row)))
        quantity_show(&text, *(const double *)column_member(column, row), column->dimension);
    return taken(view, &text);
}

/* As JSON; `words` are those of journal_show_column. */
static json_t *column_json(const struct column *column, const void *row, const char *words)
{
    const void *value = column_member(column, row);
    switch (column->kind) {
    case COLUMN_REAL:
        return view_json_number(*(const double *)value);
    case COLUMN_INTEGER:
        return json_integer(*(const int64_t *)value);
    case COLUMN_FLAG:
        return json_boolean(*(const bool *)value);
    case COLUMN_WORD:
        return json_string(words);
    case COLUMN_REFERENCE:
        if (*(const int64_t *)value != 0 && !record_has_label(column->refers))
            return json_integer(*(const int64_t *)value);
        break;
    default:
        break;
    }
    return view_json_text(words);
}

/* What a starter was made from. */
static struct page parents_of(struct journal_view *view, int64_t starter)
{
    struct page page;
    (void)journal_page(view->journal, RECORD_PARENT, "starter = ?1", starter, 0, view->arena,
                       &page);
    return page;
}

/* Another starter, or the grain of a vessel. */
static const char *parent_label(struct journal_view *view, const struct parent *parent)
{
    return parent->vessel != 0 ? view_label(view, RECORD_VESSEL, parent->vessel)
                               : view_label(view, RECORD_STARTER, parent->parent);
}

static struct page belonging(struct journal_view *view, enum record record, enum record of,
                             int64_t id)
{
    enum { MOST = 1000 };
    struct page page;
    (void)query_belonging(view->journal, record, of, id, MOST, view->arena, &page);
    return page;
}

/* Whether it counts as lost, removed or not. */
static bool lost_of(const struct vessel *vessel)
{
    return vessel->fate == FATE_CONTAMINATED || vessel->fate == FATE_STUCK;
}

/* What there is to say of a vessel beside its columns. */
static const char *add_vessel(struct journal_view *view, const struct vessel *vessel,
                              json_t *object)
{
    struct batch batch;
    struct look look;
    view_get(view, RECORD_BATCH, vessel->batch, &batch);
    view_get(view, RECORD_LOOK, vessel->last_look, &look);
    if (look.id != 0)
        json_object_set_new(object, "_look", view_record_json(view, RECORD_LOOK, &look));
    view_json_add(object, "_day:l _lost:b _gone:b",
                  (json_int_t)moment_days_between(batch.at, view->now), lost_of(vessel),
                  vessel_gone(vessel));
    return vessel->control ? "a control" : "never looked at";
}

/* What it was made from: "bought, S1, B3-2". */
static const char *parents_words(struct journal_view *view, const struct starter *starter)
{
    const char *words = starter->source;
    const struct page parents = parents_of(view, starter->id);
    for (size_t i = 0; i < parents.count; i++)
        words = FORMAT("%s%s%s", words, words[0] != '\0' ? ", " : "",
                       parent_label(view, page_row(&parents, i)));
    return words;
}

json_t *view_record_json(struct journal_view *view, enum record record, const void *row)
{
    const union any_record *any = row;
    json_t *object = json_object(), *told = json_array();
    if (!record_has_label(record))
        json_object_set_new(object, "id", json_integer(any->named.id));
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        const char *words = column_words(view, column, row);
        const bool idle = column->derived || column->kind == COLUMN_LABEL || words[0] == '\0' ||
                          (column->kind == COLUMN_FLAG && strcmp(words, "no") == 0);
        if (!idle)
            view_json_row(told, "name:s words:w", column->name, words);
        json_object_set_new(object, column->name, column_json(column, row, words));
        if (column->list != LIST_NONE)
            words = view_name(view, column->list, *(const char *const *)column_member(column, row));
        if (column->list != LIST_NONE || column->dimension != DIM_NONE)
            json_object_set_new(object, FORMAT("_%s", column->name), view_json_text(words));
    }
    const char *what = record == RECORD_STARTER  ? parents_words(view, &any->starter)
                       : record == RECORD_BATCH  ? view_batch_words(view, &any->batch)
                       : record == RECORD_VESSEL ? add_vessel(view, &any->vessel, object)
                                                 : "";
    view_json_add(object, "_what:w _columns:o", what, told);
    return object;
}

/* ---- lists ----------------------------------------------------------------------------------- */

/* What became of the vessels of a record. */
static json_t *tally_json(struct journal_view *view, enum record record, int64_t id)
{
    json_t *tally;
    (void)query_tally(view->journal, record, id, &tally);
    return tally;
}

json_t *view_records_json(struct journal_view *view, const struct page *page)
{
    json_t *records = json_array();
    for (size_t i = 0; i < page->count; i++) {
        const union any_record *row = page_row(page, i);
        json_t *object = view_record_json(view, page->record, row);
        if (record_has_label(page->record) && page->record != RECORD_VESSEL)
            view_json_add(object, "vessels:o", tally_json(view, page->record, row->named.id));
        json_array_append_new(records, object);
    }
    return records;
}

json_t *view_list_json(struct journal_view *view, const struct page *page)
{
    return view_json("schema:i kind:s total:z records:o", 1, record_types[page->record].name,
                     page->total, view_records_json(view, page));
}

const char *view_mother(struct journal_view *view, int64_t starter)
{
    struct vessel vessel;
    const struct page page = parents_of(view, starter);
    const struct parent *parents = page.rows;
    if (page.count == 0 || parents->vessel == 0)
        return "";
    view_get(view, RECORD_VESSEL, parents->vessel, &vessel);
    return FORMAT(" (grain of %s%s%s)", vessel.label, lost_of(&vessel) ? ", which counts as " : "",
                  lost_of(&vessel) ? fate_words[vessel.fate] : "");
}

const char *view_children(struct journal_view *view, enum record record, int64_t id)
{
    const struct page children = belonging(view, RECORD_STARTER, record, id);
    const char *words = "";
    for (size_t i = 0; i < children.count; i++) {
        const struct starter *child = page_row(&children, i);
        const struct page batches = belonging(view, RECORD_BATCH, RECORD_STARTER, child->id);
        words = FORMAT("%s%s%s", words, i > 0 ? ", " : "", child->label);
        for (size_t k = 0; k < batches.count; k++)
            words = FORMAT("%s%s%s%s", words, k > 0 ? ", " : " (in batch ",
                           ((const struct batch *)page_row(&batches, k))->label,
                           k + 1 == batches.count ? ")" : "");
    }
    return words;
}

/* ---- losses ---------------------------------------------------------------------------------- */

json_t *view_losses_json(struct journal_view *view, const struct losses_asked *asked)
{
    const double cost = asked->cost, yield = asked->yield;
    const int64_t since = moment_known(asked->since) ? asked->since.seconds : INT64_MIN;
    static const char *const names[] = {"month", "species", "starter"};
    json_t *root = view_json("schema:i", 1), *tables = json_array();
    json_int_t sound = 0, lost = 0;
    for (size_t by = 0; by < sizeof names / sizeof *names; by++) {
        json_t *rows, *row;
        size_t index;
        (void)query_losses(view->journal, names[by], asked->batches, since, &rows);
        sound = lost = 0;
        json_array_foreach(rows, index, row)
        {
            const char *key = json_string_value(json_object_get(row, names[by]));
            sound += json_integer_value(json_object_get(row, "sound"));
            lost += json_integer_value(json_object_get(row, "lost"));
            view_json_add(row, "_key:w",
                          key != NULL && strcmp(names[by], "species") == 0
                              ? view_name(view, LIST_SPECIES, key)
                              : key);
        }
        view_json_row(tables, "by:s rows:o", names[by], json_incref(rows));
        json_object_set_new(root, names[by], rows);
    }
    double each = sound > 0 ? cost * (double)(sound + lost) / (double)sound : NAN;
    view_json_add(root, "cost_lost:n cost_each:n yielded:n yield_lost:n _tables:o _lost:l _ended:l",
                  cost * (double)lost, each, yield * (double)sound, yield * (double)lost, tables,
                  lost, sound + lost);
    return root;
}

/* ---- histories ------------------------------------------------------------------------------- */

/* Whose history it is. */
struct subject {
    struct journal_view *view;
    enum record record;
    const union any_record *row;
    struct batch batch; /* of a vessel; a batch itself: days count from it */
    bool dated;         /* there is one */
    struct history history;
};

/* Coverage as it was seen and as it is forecast, up to when it is to be full and all was seen; null where
 * there is neither. Of a batch the forecast is that of its first vessel, unshaken. */
static json_t *coverage_chart(const struct subject *of, const struct page *vessels)
{
    enum { LEAST = 14, MOST = 180 };
    struct journal_view *view = of->view;
    struct range band[COURSE_POINTS];
    struct vessel_course course = {band, 0, 0};
    struct vessel vessel;
    struct vessel_forecast forecast = {0};
    json_t *seen = json_array();
    double last = LEAST;

    for (size_t i = 0; i < of->history.count; i++) {
        const struct history_entry *entry = &of->history.entries[i];
        double day = (double)moment_days_between(of->batch.at, entry->at);
        double coverage =
            entry->kind == RECORD_LOOK ? look_coverage(view->rules, &entry->is.look) : NAN;
        view_get(view, RECORD_VESSEL, entry->vessel, &vessel);
        if (entry->overruled || isnan(coverage) || day < 0.0 || day > MOST || vessel.control)
            continue; /* nothing is to grow in a control */
        view_json_row(seen, "x:n y:n mark:s", day, coverage, lost_of(&vessel) ? "x" : "O");
        last = fmax(last, day);
    }
    if (of->record == RECORD_VESSEL)
        vessel = of->row->vessel;
    else if (vessels->count > 0) {
        vessel = *(const struct vessel *)vessels->rows;
        vessel.id = 0;
    }
    const bool forecast_for = of->record == RECORD_VESSEL || vessels->count > 0;
    for (int pass = 0; forecast_for && pass < 2; pass++) { /* how far it reaches, and its course */
        (void)vessel_forecast_of(view->journal, view->rules, &of->batch, &vessel, &forecast,
                                 pass > 0 ? &course : NULL);
        if (pass > 0 || !forecast.known)
            break;
        if (isfinite(forecast.full.high))
            last = fmax(last, fmin(ceil(forecast.full.high), MOST));
        course.count = COURSE_POINTS;
        course.every = last / (COURSE_POINTS - 1);
    }
    if (course.count > 0 || json_array_size(seen) > 0)
        return view_coverage_chart(course.count > 0 ? band : NULL, last, seen);
    json_decref(seen);
    return json_null();
}

/* "s 7, 9, 12 to 20": numbers drawn together as labels are. */
static const char *ids_words(struct journal_view *view, const int64_t *ids, size_t count)
{
    struct vessel *named = arena_array(view->arena, count, sizeof *named);
    for (size_t i = 0; i < count; i++)
        named[i] = (struct vessel){.number = ids[i], .label = FORMAT("%lld", (long long)ids[i])};
    return FORMAT("%s %s", count > 1 ? "s" : "", view_vessels(view->arena, named, count));
}

/* An entry in words; `ids` are those by which looks and events are corrected. */
static const char *entry_words(struct journal_view *view, const struct history_entry *entry,
                               const char *ids)
{
    json_t *tree = view_record_json(view, entry->kind, &entry->is);
    view_json_add(tree, "_of:s _ids:s _overruled:b", record_types[entry->kind].name, ids,
                  entry->overruled);
    return said(view, "words.entry", tree);
}

static int by_number(const void *left, const void *right)
{
    const struct vessel *a = left, *b = right;
    return (a->number > b->number) - (a->number < b->number);
}

struct line { /* of a history: what was done or said alike on a day, of a vessel or of several */
    const char *key;
    struct history_entry entry;
    struct vessel *vessels;
    int64_t *ids;
    size_t vessel_count, id_count;
};

/* What entries of a batch have in common that are told in one line. Looks at vessels to keep may say it in
 * other words, which are told together. */
static const char *line_key(const struct subject *of, const struct history_entry *entry)
{
    struct journal_view *view = of->view;
    const struct look *look = &entry->is.look;
    const bool keep =
        entry->kind == RECORD_LOOK && strcmp(look->action, action_name(ACTION_KEEP)) == 0;
    return of->record != RECORD_BATCH
               ? FORMAT("%d %lld", entry->kind, (long long)entry->id)
               : FORMAT("%lld %d %d %d %s %s", (long long)moment_day(entry->at), entry->kind,
                        entry->vessel == 0, entry->overruled,
                        keep ? look->finding : entry_words(view, entry, ""), keep ? look->by : "");
}

/* The lines of a history. */
static json_t *entries_told(const struct subject *of)
{
    struct journal_view *view = of->view;
    json_t *told = json_array();
    struct line *lines = NULL;
    size_t count = 0, at;
    for (size_t i = 0; i < of->history.count; i++) {
        const struct history_entry *entry = &of->history.entries[i];
        const char *key = line_key(of, entry), *also = entry->is.look.words;
        for (at = 0; at < count && strcmp(lines[at].key, key) != 0;)
            at++;
        if (at == count)
            *arena_push(view->arena, lines, count) = (struct line){.key = key, .entry = *entry};
        struct line *line = &lines[at];
        struct look *look = &line->entry.is.look;
        if (entry->kind == RECORD_LOOK && strstr(look->words, also) == NULL)
            look->words =
                FORMAT("%s%s%s", look->words, look->words[0] != '\0' ? "\"; \"" : "", also);
        *arena_push(view->arena, line->ids, line->id_count) = entry->id;
        if (entry->vessel != 0)
            view_get(view, RECORD_VESSEL, entry->vessel,
                     arena_push(view->arena, line->vessels, line->vessel_count));
    }
    for (at = 0; at < count; at++) {
        const struct line *line = &lines[at];
        char day[MOMENT_ROOM];
        const char *when = moment_write_day(line->entry.at, day);
        const char *words =
            entry_words(view, &line->entry, ids_words(view, line->ids, line->id_count));
        if (of->record == RECORD_BATCH && line->vessel_count > 0) {
            qsort(line->vessels, line->vessel_count, sizeof *line->vessels, by_number);
            words = FORMAT("%s: %s", view_vessels(view->arena, line->vessels, line->vessel_count),
                           words);
        }
        if (of->dated)
            when = FORMAT("%s  day %lld", when,
                          (long long)moment_days_between(of->batch.at, line->entry.at));
        view_json_row(told, "when:w what:w", when, words);
    }
    return told;
}

/* A walk over starters. */
struct family {
    struct journal_view *view;
    bool up;       /* to what each was made from, not to what was made from it */
    int64_t *told; /* those that were met already */
    size_t count, left;
};

/* The starters made from a starter, as rows that lead to them. */
static struct page children_as_parents(struct journal_view *view, int64_t id)
{
    const struct page page = belonging(view, RECORD_STARTER, RECORD_STARTER, id);
    struct parent *rows = arena_array(view->arena, page.count, sizeof *rows);
    for (size_t i = 0; i < page.count; i++)
        rows[i].parent = *(const int64_t *)page_row(&page, i);
    return (struct page){RECORD_PARENT, rows, page.count, page.count};
}

/* What a starter was made from, or what was made from it: [{label, from: the same of theirs}]. A screen says
 * each but once, and where the grain of a vessel came from, too, under "_on". */
static json_t *relatives(struct family *family, int64_t id, int depth)
{
    enum { DEEPEST = 20 };
    struct journal_view *view = family->view;
    json_t *list = json_array();
    const struct page parents = family->up ? parents_of(view, id) : children_as_parents(view, id);
    for (size_t i = 0; i < parents.count && depth <= DEEPEST; i++) {
        const struct parent parent = *(const struct parent *)page_row(&parents, i);
        const bool grain = parent.vessel != 0;
        struct batch batch = {.starter = parent.parent};
        struct vessel vessel;
        struct starter starter;
        bool again = false;
        view_get(view, RECORD_VESSEL, parent.vessel, &vessel);
        if (grain)
            view_get(view, RECORD_BATCH, vessel.batch, &batch);
        view_get(view, RECORD_STARTER, batch.starter, &starter);
        for (size_t k = 0; k < family->count; k++)
            again = again || family->told[k] == batch.starter;
        *arena_push(view->arena, family->told, family->count) = batch.starter;
        const bool on = batch.starter != 0 && !(grain && again) && family->left > 0;
        family->left -= on;
        json_t *further = on ? relatives(family, batch.starter, depth + 1) : json_array();
        view_json_row(list, "label:w from:o _depth:i _grown:w _starter:o _again:b _on:o",
                      parent_label(view, &parent), grain ? json_array() : json_incref(further),
                      2 * depth, grain ? starter.label : "",
                      view_record_json(view, RECORD_STARTER, &starter), again, further);
    }
    return list;
}

/* What a vessel or a batch is made of: "starter S1, cook C2 (103 kPa for 90 min), lot L1". */
static const char *from_words(struct journal_view *view, const struct batch *batch)
{
    struct cook cook;
    json_t *tree = view_record_json(view, RECORD_BATCH, batch);
    view_get(view, RECORD_COOK, batch->cook, &cook);
    view_json_add(tree, "_mother:s _cooked:w", view_mother(view, batch->starter),
                  view_cook_words(view, &cook));
    const char *words = said(view, "words.from", tree);
    return words[0] != '\0' ? words + strlen(", ") : words;
}

/* What stands for a vessel only: its batch and what is ahead. */
static void add_vessel_history(const struct subject *of, json_t *root)
{
    struct journal_view *view = of->view;
    const struct vessel *vessel = &of->row->vessel;
    struct vessel_forecast forecast = {0};
    int64_t from, to;
    (void)vessel_forecast_of(view->journal, view->rules, &of->batch, vessel, &forecast, NULL);
    view_forecast_days(&of->batch, &forecast, &forecast.full, &from, &to);
    view_json_add(root, "batch:o day:l full_from:o full_to:o _kind:w _children:w",
                  view_record_json(view, RECORD_BATCH, &of->batch),
                  (json_int_t)moment_days_between(of->batch.at, view->now), view_json_day(from),
                  view_json_day(to), view_name(view, LIST_VESSELS, vessel->kind),
                  view_children(view, RECORD_VESSEL, vessel->id));
}

/* What stands for a starter only: its forebears and its offspring. */
static void add_family(struct journal_view *view, int64_t id, json_t *root)
{
    enum { MOST = 1000 };
    struct family up = {view, true, NULL, 0, MOST}, down = {view, false, NULL, 0, MOST};
    json_t *from = relatives(&up, id, 1), *into = relatives(&down, id, 1), *made = json_array();
    const json_t *child;
    size_t index;
    json_array_foreach(into, index, child)
    {
        json_array_append(made, json_object_get(child, "label"));
    }
    view_json_add(root, "from:o made_from_it:o _families:o", from, made,
                  json_pack("[{s:s, s:O}, {s:s, s:o}]", "_lead", "from", "_on", from, "_lead",
                            "into", "_on", into));
}

json_t *view_history_json(struct journal_view *view, enum record record, const void *row,
                          size_t limit)
{
    enum { MOST_VESSELS = 200 };
    struct subject of = {.view = view, .record = record, .row = row};
    const bool one = record == RECORD_VESSEL, whole = record == RECORD_BATCH;
    const struct batch *batch = &of.batch;
    const int64_t id = of.row->named.id;
    struct page vessels = {0};
    char day[MOMENT_ROOM];
    json_t *events = json_array();
    json_t *root = view_json("schema:i kind:s record:o", 1, record_types[record].name,
                             view_record_json(view, record, row));

    of.dated = one || whole;
    if (whole)
        of.batch = of.row->batch;
    if (one) {
        view_get(view, RECORD_BATCH, of.row->vessel.batch, &of.batch);
        add_vessel_history(&of, root);
    }
    if (record == RECORD_STARTER)
        add_family(view, id, root);
    if (!one)
        view_json_add(root, "vessels:o", tally_json(view, record, id));
    if (!of.dated && record != RECORD_PLACE) {
        const struct page batches = belonging(view, RECORD_BATCH, record, id);
        json_t *list = view_list_json(view, &batches);
        json_object_set(root, "batches", json_object_get(list, "records"));
        json_object_set_new(root, "_batches", list);
    }
    (void)history_of(view->journal, record, row, limit, view->arena, &of.history);
    for (size_t k = 0; k < of.history.count; k++) {
        const struct history_entry *entry = &of.history.entries[k];
        json_t *age =
            of.dated ? json_integer(moment_days_between(batch->at, entry->at)) : json_null();
        view_json_row(events, "kind:s at:o day:o counts:b record:o", record_types[entry->kind].name,
                      view_json_moment(entry->at), age, !entry->overruled,
                      view_record_json(view, entry->kind, &entry->is));
    }
    view_json_add(root, "earlier:z events:o _entries:o _width:i _today:s", of.history.earlier,
                  events, entries_told(&of), of.dated ? 20 : 12, moment_write_day(view->now, day));
    if (whole) {
        (void)query_belonging(view->journal, RECORD_VESSEL, RECORD_BATCH, id, MOST_VESSELS,
                              view->arena, &vessels);
        json_object_set_new(root, "_vessels", view_list_json(view, &vessels));
    }
    if (of.dated)
        view_json_add(root, "_batch:w _from:w _note:w _starter:w _start:s _control:b _chart:o",
                      view_batch_words(view, batch), from_words(view, batch),
                      one ? of.row->vessel.note : batch->note,
                      view_label(view, RECORD_STARTER, batch->starter),
                      moment_write_day(batch->at, day), one && of.row->vessel.control,
                      coverage_chart(&of, &vessels));
    return root;
}
