/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/journal.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "view/screen.h"
#include "view/tree.h"
#include "view/verdict.h"

#define FORMAT(...) arena_format(view->arena, __VA_ARGS__)

/* One record, its texts in the arena (journal_get); an empty one for the id 0. */
static void view_get(struct journal_view *view, enum record record, int64_t id, void *row)
{
    record_init(record, row);
    if (id != 0)
        (void)journal_get(view->journal, record, id, view->arena, row);
}

/* ---- words ----------------------------------------------------------------------------------- */

const char *view_said(struct journal_view *view, const char *template, json_t *tree)
{
    TEXT(text);
    view_words(&text, template, tree);
    json_decref(tree);
    return arena_string(view->arena, text.bytes);
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
        arena_append(arena, &words, ", ", "%s", vessels[i].label);
        if (last > i)
            arena_append(arena, &words, last == i + 1 ? ", " : " to ", "%s", vessels[last].label);
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
    return view_said(view, "words.cook", view_record_json(view, RECORD_COOK, cook));
}

/* ---- JSON ------------------------------------------------------------------------------------ */

json_t *view_json_moment(struct moment moment)
{
    return moment_known(moment) ? json_string(moment_write(moment, MOMENT_WORDS)) : json_null();
}

json_t *view_json_day(int64_t day)
{
    return day != 0 ? json_string(day_write(day, DAY_ISO, MOMENT_WORDS)) : json_null();
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
    if (column->dimension == DIM_NONE)
        return journal_show_column(view->journal, column, row, view->arena);
    TEXT(text);
    if (!isnan(*(const double *)column_member(column, row)))
        quantity_show(&text, *(const double *)column_member(column, row), column->dimension);
    return arena_string(view->arena, text.bytes);
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

static struct page parents_of(struct journal_view *view, int64_t starter)
{
    return journal_page(view->journal, RECORD_PARENT, "starter = ?1", starter, 0, view->arena);
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
    return query_belonging(view->journal, record, of, id, MOST, view->arena);
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
        arena_append(view->arena, &words, ", ", "%s", parent_label(view, page_row(&parents, i)));
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

json_t *view_records_json(struct journal_view *view, const struct page *page)
{
    json_t *records = json_array();
    for (size_t i = 0; i < page->count; i++) {
        const union any_record *row = page_row(page, i);
        json_t *object = view_record_json(view, page->record, row);
        if (record_has_label(page->record) && page->record != RECORD_VESSEL)
            view_json_add(object, "vessels:o",
                          query_tally(view->journal, page->record, row->named.id));
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
        arena_append(view->arena, &words, ", ", "%s", child->label);
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
        json_t *rows = query_losses(view->journal, names[by], asked->batches, since), *row;
        size_t index;
        sound = lost = 0;
        json_array_foreach (rows, index, row) {
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

struct subject {
    struct journal_view *view;
    enum record record;
    const union any_record *row;
    struct batch batch; /* of a vessel; a batch itself: days count from it */
    bool dated;         /* there is one */
    struct history history;
};

/* Coverage as it was seen and as it is forecast, up to when it is to be full and all was seen; null
 * where there is neither. Of a batch the forecast is that of its first vessel, unshaken. */
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
    return view_said(view, "words.entry", tree);
}

static int by_number(const void *left, const void *right)
{
    const struct vessel *a = left, *b = right;
    return ORDER(a->number, b->number);
}

struct line { /* of a history: what was done or said alike on a day, of a vessel or of several */
    const char *key;
    struct history_entry entry;
    struct vessel *vessels;
    int64_t *ids;
    size_t vessel_count, id_count;
};

/* What entries of a batch have in common that are told in one line. Looks at vessels to keep may
 * say it in other words, which are told together. */
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
            arena_append(view->arena, &look->words, "\"; \"", "%s", also);
        *arena_push(view->arena, line->ids, line->id_count) = entry->id;
        if (entry->vessel != 0)
            view_get(view, RECORD_VESSEL, entry->vessel,
                     arena_push(view->arena, line->vessels, line->vessel_count));
    }
    for (at = 0; at < count; at++) {
        const struct line *line = &lines[at];
        const char *when = moment_write_day(line->entry.at, MOMENT_WORDS);
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

/* What a starter was made from, or what was made from it: [{label, from: the same of theirs}]. A
 * screen says each but once, and where the grain of a vessel came from, too, under "_on". */
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

const char *view_inoculum(struct arena *arena, const struct batch *batch)
{
    const char *unit = batch->unit[0] != '\0'  ? batch->unit
                       : batch->inoculum > 1.0 ? "pieces"
                                               : "piece";
    return batch->inoculum > 0.0 ? arena_format(arena, "%g %s", batch->inoculum, unit) : "";
}

/* What a vessel or a batch is made of: "starter S1, cook C2 (103 kPa for 90 min), lot L1". */
static const char *from_words(struct journal_view *view, const struct batch *batch)
{
    struct cook cook;
    json_t *tree = view_record_json(view, RECORD_BATCH, batch);
    view_get(view, RECORD_COOK, batch->cook, &cook);
    view_json_add(tree, "_mother:s _cooked:w _inoculum:w", view_mother(view, batch->starter),
                  view_cook_words(view, &cook), view_inoculum(view->arena, batch));
    const char *words = view_said(view, "words.from", tree);
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
    json_array_foreach (into, index, child) {
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
        view_json_add(root, "vessels:o", query_tally(view->journal, record, id));
    if (!of.dated && record != RECORD_PLACE) {
        const struct page batches = belonging(view, RECORD_BATCH, record, id);
        json_t *list = view_list_json(view, &batches);
        json_object_set(root, "batches", json_object_get(list, "records"));
        json_object_set_new(root, "_batches", list);
    }
    of.history = history_of(view->journal, record, row, limit, view->arena);
    const struct history_entry *entry = of.history.entries;
    json_t *events = view_json_rows(
        k, of.history.count, "kind:s at:o day:o counts:b record:o",
        record_types[entry[k].kind].name, view_json_moment(entry[k].at),
        of.dated ? json_integer(moment_days_between(batch->at, entry[k].at)) : json_null(),
        !entry[k].overruled, view_record_json(view, entry[k].kind, &entry[k].is));
    view_json_add(root, "earlier:z events:o _entries:o _width:i _today:s", of.history.earlier,
                  events, entries_told(&of), of.dated ? 20 : 12,
                  moment_write_day(view->now, MOMENT_WORDS));
    if (whole) {
        vessels = query_belonging(view->journal, RECORD_VESSEL, RECORD_BATCH, id, MOST_VESSELS,
                                  view->arena);
        json_object_set_new(root, "_vessels", view_list_json(view, &vessels));
    }
    if (of.dated)
        view_json_add(root, "_batch:w _from:w _note:w _starter:w _start:s _control:b _chart:o",
                      view_batch_words(view, batch), from_words(view, batch),
                      one ? of.row->vessel.note : batch->note,
                      view_label(view, RECORD_STARTER, batch->starter),
                      moment_write_day(batch->at, MOMENT_WORDS), one && of.row->vessel.control,
                      coverage_chart(&of, &vessels));
    return root;
}

/* ---- what to mind when a vessel is thrown away, told from its last look ------------------------ */

/* Where nothing is known of what is inside, the cautions about contaminated vessels hold as if it
 * were: nobody throws away what is sound. */
static bool applies(const struct rules *rules, const struct caution *caution,
                    const json_t *findings)
{
    double mass = 0.0;
    if (caution->always) /* it is about verdicts, and there is none here */
        return false;
    for (size_t f = 0; f < rules->finding_count && findings != NULL; f++)
        if (caution_is_about(caution, rules, f))
            mass += json_number_value(json_object_get(findings, rules->findings[f].id));
    return (caution->actions >> ACTION_DISCARD & 1) ||
           (caution->rank < CAUTION_FIRST_RANK &&
            (findings == NULL ? caution->statuses != 0 : mass > 0.0 && mass >= caution->at_least));
}

json_t *view_handling_json(const struct rules *rules, const struct look *look)
{
    json_t *texts = json_array();
    json_t *posterior = look != NULL ? json_loads(look->posterior, 0, NULL) : NULL;
    const json_t *findings = json_object_get(posterior, "findings"); /* id: chance */
    for (size_t i = 0; i < rules->caution_count; i++)
        if (applies(rules, &rules->cautions[i], findings))
            json_array_append_new(texts, json_string(rules->cautions[i].text));
    json_decref(posterior);
    return texts;
}

/* ---- what is due ------------------------------------------------------------------------------- */

struct run {
    struct batch batch;
    struct vessel_forecast forecast;
};

static struct run run_of(struct journal_view *view, const struct vessel *vessel)
{
    struct run run = {.forecast = {0}};
    view_get(view, RECORD_BATCH, vessel->batch, &run.batch);
    (void)vessel_forecast_of(view->journal, view->rules, &run.batch, vessel, &run.forecast, NULL);
    return run;
}

/* Dates a vessel that came without a day: its first look is where the forecast has it; the next one
 * some days after the last, or at once when that did not say keep. False for an imported one that
 * nobody ever looked at and that should have been over long ago: it is no look that is due, but
 * word of what became of it. */
static bool date_vessel(struct journal_view *view, const struct run *run, struct vessel *vessel)
{
    enum { LONG = 30, RUN = 60 }; /* days; the longest run, where none is forecast */
    const struct vessel_forecast *forecast = &run->forecast;
    struct look look;
    if (vessel->last_look == 0) {
        vessel->due = vessel_forecast_first_day(forecast, &run->batch);
        vessel->due_for = FIRST_LOOK;
        const bool known = forecast->known && isfinite(forecast->full.high);
        return (double)moment_days_between(run->batch.at, view->now) <
               (known ? forecast->full.high : RUN) + LONG;
    }
    view_get(view, RECORD_LOOK, vessel->last_look, &look);
    const bool keep = strcmp(look.action, action_name(ACTION_KEEP)) == 0;
    vessel->due = moment_day(look.at) + (keep ? (int64_t)forecast->look_every : 0);
    vessel->due_for = keep ? "look again" : look.action;
    return true;
}

static int by_day(const void *left, const void *right)
{
    const struct vessel *a = left, *b = right;
    int order = ORDER(a->due, b->due);
    order = order != 0 ? order : ORDER(a->batch, b->batch);
    order = order != 0 ? order : strcmp(a->due_for, b->due_for);
    return order != 0 ? order : ORDER(a->number, b->number);
}

/* "oyster on rye, day 9, at closet": where they stand apart, each place with its vessels. */
static const char *group_words(struct journal_view *view, const struct run *of,
                               const struct vessel *vessels, size_t count)
{
    const char *words =
        arena_format(view->arena, "%s, day %lld", view_batch_words(view, &of->batch),
                     (long long)moment_days_between(of->batch.at, view->now));
    for (size_t i = 0, run; i < count; i += run) {
        const struct vessel *at = &vessels[i];
        for (run = 1; i + run < count && at[run].stands == at->stands;)
            run++;
        const char *place = view_label(view, RECORD_PLACE, at->stands);
        if (place[0] != '\0')
            words = arena_format(view->arena, "%s, %s%sat %s", words,
                                 run < count ? view_vessels(view->arena, at, run) : "",
                                 run < count ? " " : "", place);
    }
    return words;
}

/* Vessels of one batch with the same day and reason stand together, with what the forecast expects
 * of the batch. "_shake" is a day on which to shake that is still ahead. */
static json_t *group_json(struct journal_view *view, const struct vessel *vessels, size_t count)
{
    const struct run run = run_of(view, vessels);
    const struct range *ripe = &run.forecast.shake;
    const int64_t due = vessels->due, today = moment_day(view->now);
    const int64_t start = moment_day(run.batch.at);
    int64_t shake[2], full[2];
    const bool shaken_some_day =
        view_forecast_days(&run.batch, &run.forecast, ripe, &shake[0], &shake[1]);
    const int64_t middle = shaken_some_day ? start + (int64_t)ripe->central : INT64_MAX;
    json_t *boxes = view_json_rows(k, count, "number:l control:b", (json_int_t)vessels[k].number,
                                   vessels[k].control);
    const bool gone = strcmp(vessels->due_for, action_name(ACTION_DISCARD)) == 0;
    /* Where nothing grows yet, a day that has passed is no day to shake on. */
    const bool late = strcmp(vessels->due_for, FIRST_GROWTH) == 0 && middle <= today;
    const bool ahead = shaken_some_day && !late && start + (int64_t)ripe->high >= today;
    view_forecast_days(&run.batch, &run.forecast, &run.forecast.full, &full[0], &full[1]);
    return view_json(
        "due:o overdue_days:l why:w batch:w vessels:o species:w age_days:l shake_from:o shake_to:o "
        "full_from:o full_to:o _labels:w _what:w _gone:b _shake:o _boxes:o _now:b",
        view_json_day(due), (json_int_t)(today > due ? today - due : 0), vessels->due_for,
        run.batch.label, view_json_vessels(vessels, count), run.batch.species,
        (json_int_t)moment_days_between(run.batch.at, view->now), view_json_day(shake[0]),
        view_json_day(shake[1]), view_json_day(full[0]), view_json_day(full[1]),
        view_vessels(view->arena, vessels, count), group_words(view, &run, vessels, count), gone,
        view_json_day(ahead ? middle : 0), boxes, due == today);
}

/* Vessels that are due by a day stay, the first due first; how many. The first day of the others
 * goes to `next` (0: none), and how many were silent for long to `silent`, with their batches. */
static size_t keep_due(struct journal_view *view, const struct due_asked *asked,
                       struct vessel *vessels, size_t count, int64_t *next, size_t *silent,
                       const char **silent_of)
{
    struct run run = {.batch.id = 0};
    size_t kept = 0;
    int64_t unheard = 0; /* the last batch with a silent one */
    for (size_t i = 0; i < count; i++) {
        struct vessel *vessel = &vessels[i];
        bool wanted = asked->batch_count == 0;
        for (size_t b = 0; b < asked->batch_count; b++)
            wanted = wanted || asked->batches[b].id == vessel->batch;
        if (!wanted)
            continue;
        if (vessel->due == 0 && vessel->batch != run.batch.id)
            run = run_of(view, vessel);
        if (vessel->due == 0 && !date_vessel(view, &run, vessel)) {
            *silent += 1;
            if (unheard != vessel->batch)
                arena_append(view->arena, silent_of, ", ", "%s", run.batch.label);
            unheard = vessel->batch;
        } else if (vessel->due <= asked->day)
            vessels[kept++] = *vessel;
        else
            *next = *next == 0 || vessel->due < *next ? vessel->due : *next;
    }
    array_sort(vessels, kept, by_day);
    return kept;
}

json_t *view_due_json(struct journal_view *view, const struct due_asked *asked)
{
    size_t silent = 0;
    int64_t next = 0;
    const char *silent_of = "";
    json_t *groups = json_array();
    bool controls = false;
    const struct page growing = journal_page(view->journal, RECORD_VESSEL,
                                             "state IN ('growing', 'isolated')", 0, 0, view->arena);
    struct vessel *vessels = growing.rows;
    size_t count = keep_due(view, asked, vessels, growing.count, &next, &silent, &silent_of);
    const bool all = asked->limit == 0 || asked->batch_count > 0 || count <= asked->limit;
    const size_t shown = all ? count : asked->limit;
    for (size_t i = 0, together; i < shown; i += together) {
        const struct vessel *first = &vessels[i];
        bool told = false; /* what is ahead of its batch */
        for (together = 0; i + together < shown; together++) {
            const struct vessel *vessel = &first[together];
            if (vessel->due != first->due || vessel->batch != first->batch ||
                strcmp(vessel->due_for, first->due_for) != 0)
                break;
            controls = controls || vessel->control;
        }
        for (size_t k = 0; k < i; k++)
            told = told || (vessels[k].batch == first->batch &&
                            strcmp(vessels[k].due_for, action_name(ACTION_DISCARD)) != 0);
        json_t *group = group_json(view, first, together);
        view_json_add(group, "_told:b _new:b", told, i == 0 || first[-1].due != first->due);
        json_array_append_new(groups, group);
    }
    const int64_t today = moment_day(view->now);
    return view_json("schema:i today:o vessels:z more:z next:o silent:z silent_of:w due:o "
                     "_controls:b _today:o",
                     1, view_json_day(today), shown, count - shown,
                     view_json_day(count > 0 ? 0 : next), silent, silent_of, groups, controls,
                     view_json_day(today));
}

/* ---- labels ------------------------------------------------------------------------------------ */

/* What stands on one label. */
static json_t *label_json(struct journal_view *view, const struct vessel *vessel)
{
    enum { LARGE = 10 }; /* a short name stands in large letters */
    struct batch batch;
    view_get(view, RECORD_BATCH, vessel->batch, &batch);
    const char *lot = view_label(view, RECORD_LOT, batch.lot);
    const char *starter = vessel->control ? "" : view_label(view, RECORD_STARTER, batch.starter);
    const char *date = arena_string(view->arena, moment_write_day(batch.at, MOMENT_WORDS));
    const char *what = vessel->control ? "control, not inoculated" : view_batch_words(view, &batch);
    const char *with = FORMAT("%s %s %s", view_label(view, RECORD_COOK, batch.cook), starter,
                              view_label(view, RECORD_SESSION, batch.session));
    lot = lot[0] != '\0' ? FORMAT("lot %s", lot) : "";
    return view_json("label:t what:t date:s lot:t with:t large:b first:t last:t", vessel->label,
                     what, date, lot, with,
                     utf8_width(vessel->label, strlen(vessel->label)) <= LARGE,
                     FORMAT("%s   %s", vessel->label, date), FORMAT("%s  %s", with, lot));
}

/* The labels, so many together, after so many empty places. */
static json_t *labels_json(struct journal_view *view, const struct vessel *vessels, size_t count,
                           size_t skip, size_t together)
{
    json_t *groups = json_array(), *group = NULL;
    for (size_t i = 0; i < skip + count; i++) {
        if (i % together == 0)
            view_json_row(groups, "labels:o", group = json_array());
        json_array_append_new(group, i < skip ? view_json("blank:b", true)
                                              : label_json(view, &vessels[i - skip]));
    }
    return groups;
}

/* Side by side, three lines each between two rules. */
void view_labels(struct screen *screen, struct journal_view *view, const struct vessel *vessels,
                 size_t count)
{
    enum { STICKER = 34 };
    const size_t across = screen->width >= 2 * STICKER + 1 ? 2 : 1;
    view_say_taken(&(struct face){.screen = screen}, "labels",
                   view_json("rows:o", labels_json(view, vessels, count, 0, across)));
}

/* ---- on sheets of labels ----------------------------------------------------------------------- */

/* Their measures stand in their style sheets. */
static const struct {
    const char *styles;
    size_t room;
} layouts[] = {
    [SHEET_A4_21] = {"a4 labels-21", 21},
    [SHEET_A4_24] = {"a4 labels-24", 24},
    [SHEET_LETTER_30] = {"letter labels-30", 30},
};
const char *const label_sheets[] = {
    [SHEET_A4_21] = "63.5x38.1", [SHEET_A4_24] = "70x37", [SHEET_LETTER_30] = "66.7x25.4", NULL};

size_t label_sheet_room(enum label_sheet sheet)
{
    return layouts[sheet].room;
}

void view_labels_html(struct text *html, struct journal_view *view, const struct vessel *vessels,
                      size_t count, enum label_sheet sheet, size_t skip, bool cut)
{
    view_page(html, "Labels", layouts[sheet].styles, "labels.page",
              view_json("sheets:o cut:b",
                        labels_json(view, vessels, count, skip, layouts[sheet].room), cut));
}
