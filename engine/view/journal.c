/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/journal.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/charts.h"
#include "view/screen.h"

#define FORMAT(...) arena_format(view->arena, __VA_ARGS__)

enum status view_get(const struct journal_view *view, enum record record, int64_t id, void *row)
{
    return journal_get(view->journal, record, id, view->arena, row);
}

/* ---- words ----------------------------------------------------------------------------------- */

/* The text as a string in the arena; it is released. */
static const char *taken(const struct journal_view *view, struct text *text)
{
    const char *copy = arena_copy(view->arena, text->bytes, text->length);
    text_release(text);
    return copy;
}

/* The words of a template of a tree, which is released. */
static const char *said(const struct journal_view *view, const char *template, json_t *tree)
{
    struct text text;
    text_init(&text);
    view_words(&text, template, tree);
    json_decref(tree);
    return taken(view, &text);
}

static const char *list_name(const struct rules *rules, enum word_list list, const char *id)
{
    for (size_t i = 0; list_word(rules, list, i).id != NULL; i++)
        if (strcmp(list_word(rules, list, i).id, id) == 0)
            return list_word(rules, list, i).name;
    return id;
}

/* Its first letter small, unless the name goes on in capitals ("PP bottle"). */
const char *view_name(const struct journal_view *view, enum word_list list, const char *id)
{
    const char *name = list_name(view->rules, list, id);
    if (name == id || !isupper((unsigned char)name[0]) || isupper((unsigned char)name[1]))
        return name;
    char *copy = arena_string(view->arena, name);
    copy[0] = (char)tolower((unsigned char)copy[0]);
    return copy;
}

const char *view_batch_words(const struct journal_view *view, const struct batch *batch)
{
    struct lot lot = {.grain = ""};
    const char *species = view_name(view, LIST_SPECIES, batch->species);
    if (batch->lot != 0)
        (void)view_get(view, RECORD_LOT, batch->lot, &lot);
    const char *grain = view_name(view, LIST_GRAINS, lot.grain);
    if (species[0] == '\0')
        species = "unknown mushroom";
    return grain[0] != '\0' ? FORMAT("%s on %s", species, grain) : species;
}

static bool has_label(enum record record)
{
    return record_types[record].columns[0].kind == COLUMN_LABEL;
}

const char *view_label(const struct journal_view *view, enum record record, int64_t id)
{
    union any_record row;
    if (id == 0 || !has_label(record) || view_get(view, record, id, &row) != STATUS_OK)
        return "";
    return row.named.label;
}

void view_vessels(struct text *out, const struct vessel *vessels, size_t count)
{
    for (size_t i = 0; i < count;) {
        size_t last = i;
        while (last + 1 < count && vessels[last + 1].batch == vessels[last].batch &&
               vessels[last + 1].number == vessels[last].number + 1)
            last++;
        text_printf(out, "%s%s", i > 0 ? ", " : "", vessels[i].label);
        if (last > i)
            text_printf(out, "%s%s", last == i + 1 ? ", " : " to ", vessels[last].label);
        i = last + 1;
    }
}

const char *view_day(int64_t day, char room[MOMENT_ROOM])
{
    return moment_write_day(moment_of_day(day), room);
}

const char *view_purpose(const char *id, char room[PURPOSE_ROOM])
{
    snprintf(room, PURPOSE_ROOM, "%s", id);
    for (char *at = room; *at != '\0'; at++)
        if (*at == '_')
            *at = ' ';
    return room;
}

const char *view_when(int64_t day, int64_t today, char room[WHEN_ROOM])
{
    static const char *const near[] = {"yesterday", "today", "tomorrow"};
    long long ahead = (long long)(day - today);
    char date[MOMENT_ROOM];

    if (ahead >= -1 && ahead <= 1)
        snprintf(room, WHEN_ROOM, "%s", near[ahead + 1]);
    else if (ahead < 0)
        snprintf(room, WHEN_ROOM, "%s, %lld days ago", view_day(day, date), -ahead);
    else
        snprintf(room, WHEN_ROOM, "%s, in %lld days", view_day(day, date), ahead);
    return room;
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

static const char *day_of(const struct journal_view *view, struct moment moment)
{
    char room[MOMENT_ROOM];
    return arena_string(view->arena, moment_write_day(moment, room));
}

static const char *quantity_of(const struct journal_view *view, double value,
                               enum dimension dimension)
{
    struct text text;
    text_init(&text);
    if (!isnan(value))
        quantity_show(&text, value, dimension);
    return taken(view, &text);
}

const char *view_cook_words(const struct journal_view *view, const struct cook *cook)
{
    struct text text;
    text_init(&text);
    if (!isnan(cook->gauge))
        quantity_show(&text, cook->gauge, DIM_GAUGE_KPA);
    else
        text_puts(&text, list_name(view->rules, LIST_METHODS, cook->method));
    if (!isnan(cook->minutes)) {
        text_puts(&text, text.length > 0 ? " for " : "");
        quantity_show(&text, cook->minutes, DIM_MINUTES);
    }
    if (cook->load[0] != '\0')
        text_printf(&text, "%s%s", text.length > 0 ? ", " : "",
                    list_name(view->rules, LIST_LOADS, cook->load));
    return taken(view, &text);
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
    return day != 0 ? json_string(view_day(day, room)) : json_null();
}

/* The label of a record; null for id 0 and for what is not there, NULL when it cannot be read. */
static json_t *label_json(const struct journal_view *view, enum record record, int64_t id)
{
    union any_record row;
    if (id == 0)
        return json_null();
    enum status status = view_get(view, record, id, &row);
    return status == STATUS_OK      ? view_json_text(row.named.label)
           : status == STATUS_USAGE ? json_null()
                                    : NULL;
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
static const char *column_words(const struct journal_view *view, const struct column *column,
                                const void *row)
{
    return column->dimension != DIM_NONE
               ? quantity_of(view, *(const double *)column_member(column, row), column->dimension)
               : journal_show_column(view->journal, column, row, view->arena);
}

void view_record(struct screen *screen, const struct journal_view *view, enum record record,
                 const void *row)
{
    enum { LABEL_COLUMNS = 12 };
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (column->derived || column->kind == COLUMN_LABEL)
            continue;
        const char *value = column_words(view, column, row);
        bool idle = column->kind == COLUMN_FLAG && !*(const bool *)column_member(column, row);
        if (value[0] != '\0' && !idle)
            screen_row(screen, 2, LABEL_COLUMNS, column->name, value);
    }
}

static json_t *column_json(const struct journal_view *view, const struct column *column,
                           const void *row)
{
    const void *value = column_member(column, row);
    switch (column->kind) {
    case COLUMN_LABEL:
    case COLUMN_TEXT:
        return view_json_text(*(const char *const *)value);
    case COLUMN_REAL:
        return view_json_number(*(const double *)value);
    case COLUMN_INTEGER:
        return json_integer(*(const int64_t *)value);
    case COLUMN_DAY:
        return view_json_day(*(const int64_t *)value);
    case COLUMN_FLAG:
        return json_boolean(*(const bool *)value);
    case COLUMN_MOMENT:
        return view_json_moment(*(const struct moment *)value);
    case COLUMN_WORD:
        return json_string(column->words[*(const unsigned *)value]);
    case COLUMN_REFERENCE:
        break;
    }
    int64_t id = *(const int64_t *)value;
    return id != 0 && !has_label(column->refers) ? json_integer(id)
                                                 : label_json(view, column->refers, id);
}

json_t *view_record_json(const struct journal_view *view, enum record record, const void *row)
{
    json_t *object = json_object();
    if (!has_label(record))
        view_json_put(object, "id", json_integer(*(const int64_t *)row));
    for (const struct column *column = record_types[record].columns; column->name; column++)
        object = view_json_put(object, column->name, column_json(view, column, row));
    return object;
}

/* ---- lists ----------------------------------------------------------------------------------- */

static json_t *tally_json(const struct vessel_tally *tally)
{
    json_t *states = json_object(), *fates = json_object(), *parts = json_array();
    for (size_t i = 0; i <= VESSEL_USED; i++) {
        view_json_put(states, vessel_state_words[i], json_integer((json_int_t)tally->state[i]));
        if (tally->well[i] > 0)
            view_json_row(parts, "count:z of:s", tally->well[i], vessel_state_words[i]);
    }
    size_t shelved = 0; /* lost, and not taken away yet */
    for (size_t i = 0; i < VESSEL_DISCARDED; i++)
        shelved += tally->state[i] - tally->well[i];
    if (tally_lost(tally) > shelved)
        view_json_row(parts, "count:z of:s", tally_lost(tally) - shelved, "lost");
    if (shelved > 0)
        view_json_row(parts, "count:z of:s", shelved, "to remove");
    for (size_t i = 0; i < FATE_COUNT; i++)
        view_json_put(fates, fate_words[i], json_integer((json_int_t)tally->fate[i]));
    return view_json("vessels:z lost:z state:o fate:o controls:z controls_lost:z _parts:o",
                     tally->vessels, tally_lost(tally), states, fates, tally->controls,
                     tally->controls_lost, parts);
}

/* "8 (6 growing, 1 isolated, 1 lost, 1 to remove), 1 control" */
static const char *tally_words(const struct journal_view *view, const struct vessel_tally *tally)
{
    return said(view, "words.tally", tally_json(tally));
}

/* Records that vessels are counted of. */
static bool counted(enum record record)
{
    return has_label(record) && record != RECORD_VESSEL;
}

enum { MOST_VESSELS = 200, MOST_BATCHES = 40, DEEPEST = 20, MOST_TOLD = 100 };

/* What a starter was made from: another one, or the grain of a vessel. */
static const char *parent_label(const struct journal_view *view, const struct parent *parent)
{
    return parent->vessel != 0 ? view_label(view, RECORD_VESSEL, parent->vessel)
                               : view_label(view, RECORD_STARTER, parent->parent);
}

const char *view_mother(const struct journal_view *view, int64_t starter)
{
    struct vessel vessel;
    void *rows = NULL;
    size_t count = 0;
    if (journal_all(view->journal, RECORD_PARENT, "starter", starter, view->arena, &rows, &count) !=
            STATUS_OK ||
        count == 0 || ((const struct parent *)rows)->vessel == 0 ||
        view_get(view, RECORD_VESSEL, ((const struct parent *)rows)->vessel, &vessel) != STATUS_OK)
        return "";
    bool lost = vessel.fate == FATE_CONTAMINATED || vessel.fate == FATE_STUCK;
    return FORMAT(" (grain of %s%s%s)", vessel.label, lost ? ", which counts as " : "",
                  lost ? fate_words[vessel.fate] : "");
}

const char *view_children(const struct journal_view *view, enum record record, int64_t id)
{
    struct page children, batches;
    const char *words = "";
    if (survey_of(view->journal, RECORD_STARTER, record, id, 0, view->arena, &children))
        return "";
    for (size_t i = 0; i < children.count; i++) {
        words = FORMAT("%s%s%s", words, i > 0 ? ", " : "",
                       view_label(view, RECORD_STARTER, children.ids[i]));
        if (survey_of(view->journal, RECORD_BATCH, RECORD_STARTER, children.ids[i], MOST_BATCHES,
                      view->arena, &batches))
            return "";
        for (size_t k = 0; k < batches.count; k++)
            words = FORMAT("%s%s%s%s", words, k > 0 ? ", " : " (in batch ",
                           view_label(view, RECORD_BATCH, batches.ids[k]),
                           k + 1 == batches.count ? ")" : "");
    }
    return words;
}

static const char *parents_cell(const struct journal_view *view, const struct starter *starter)
{
    void *rows = NULL;
    size_t count = 0;
    const char *words = starter->source;
    if (journal_all(view->journal, RECORD_PARENT, "starter", starter->id, view->arena, &rows,
                    &count) != STATUS_OK)
        return "";
    for (size_t i = 0; i < count; i++)
        words = FORMAT("%s%s%s", words, words[0] != '\0' ? ", " : "",
                       parent_label(view, &((const struct parent *)rows)[i]));
    return words;
}

/* Whether it counts as lost, removed or not. */
static bool lost_of(const struct vessel *vessel)
{
    return vessel->fate == FATE_CONTAMINATED || vessel->fate == FATE_STUCK;
}

static enum status add_words(const struct journal_view *view, enum record record,
                             const union any_record *row, json_t *object);

/* A record with its words, as templates need it; NULL when it cannot be read. */
static json_t *told_record(const struct journal_view *view, enum record record, int64_t id,
                           union any_record *row)
{
    if (view_get(view, record, id, row) != STATUS_OK)
        return NULL;
    json_t *object = view_record_json(view, record, row);
    (void)add_words(view, record, row, object);
    return object;
}

/* What lists show of a record beside its columns, and the words of columns that the rules or a unit have
 * words for: under keys for templates. */
static enum status add_words(const struct journal_view *view, enum record record,
                             const union any_record *row, json_t *object)
{
    const struct vessel *vessel = &row->vessel;
    enum status status = STATUS_OK;
    struct batch batch;
    union any_record look;
    const char *what = NULL;

    for (const struct column *column = record_types[record].columns; column->name; column++) {
        const char *words =
            column->list != LIST_NONE
                ? view_name(view, column->list, *(const char *const *)column_member(column, row))
            : column->dimension != DIM_NONE ? column_words(view, column, row)
                                            : NULL;
        if (words != NULL)
            json_object_set_new(object, FORMAT("_%s", column->name), view_json_text(words));
    }
    switch (record) {
    case RECORD_STARTER:
        what = parents_cell(view, &row->starter);
        break;
    case RECORD_COOK:
        what = view_cook_words(view, &row->cook);
        break;
    case RECORD_BATCH:
        what = view_batch_words(view, &row->batch);
        break;
    case RECORD_EVENT:
        what = said(view, "words.event", json_incref(object));
        break;
    case RECORD_VESSEL:
        what = vessel->control ? "a control" : "never looked at";
        if (vessel->last_look != 0)
            what = said(view, "words.newest",
                        told_record(view, RECORD_LOOK, vessel->last_look, &look));
        status = view_get(view, RECORD_BATCH, vessel->batch, &batch);
        if (status == STATUS_OK)
            json_object_set_new(object, "_day",
                                json_integer(moment_days_between(batch.at, view->now)));
        json_object_set_new(object, "_lost", json_boolean(lost_of(vessel)));
        json_object_set_new(object, "_gone", json_boolean(vessel_gone(vessel)));
        break;
    default:
        break;
    }
    if (what != NULL)
        json_object_set_new(object, "_what", view_json_text(what));
    return status;
}

/* The records of a page; for faces with their words. */
static json_t *list_tree(const struct journal_view *view, enum record record,
                         const struct page *page, bool faces, enum status *status)
{
    json_t *records = json_array();
    union any_record row;
    *status = STATUS_OK;
    for (size_t i = 0; i < page->count; i++) {
        struct vessel_tally tally = {0};
        *status = view_get(view, record, page->ids[i], &row);
        if (*status == STATUS_OK && counted(record))
            *status = survey_tally(view->journal, record, page->ids[i], &tally);
        json_t *object =
            *status == STATUS_OK ? view_record_json(view, record, &row) : json_object();
        if (*status == STATUS_OK && faces)
            *status = add_words(view, record, &row, object);
        if (*status != STATUS_OK) {
            json_decref(object);
            json_decref(records);
            return NULL;
        }
        if (counted(record))
            object = view_json_put(object, "vessels", tally_json(&tally));
        if (counted(record) && faces)
            view_json_put(object, "_counts", json_string(tally_words(view, &tally)));
        records = view_json_append(records, object);
    }
    return records;
}

json_t *view_list_json(const struct journal_view *view, enum record record, const struct page *page,
                       enum status *status)
{
    return list_tree(view, record, page, false, status);
}

static enum status say_list(struct face *face, const struct journal_view *view, enum record record,
                            const struct page *page)
{
    enum status status;
    json_t *records = list_tree(view, record, page, true, &status);
    if (status == STATUS_OK)
        view_say_taken(face, FORMAT("list.%s", record_types[record].name),
                       view_json("records:o count:l total:l", records, (json_int_t)page->count,
                                 (json_int_t)page->total));
    return status;
}

enum status view_list(struct screen *screen, const struct journal_view *view, enum record record,
                      const struct page *page)
{
    struct face face = {.screen = screen};
    enum status status = say_list(&face, view, record, page);
    if (status == STATUS_OK && page->total > page->count)
        screen_say(screen, 0, 2, ROLE_QUIET, "These are the newest %zu of %zu; --limit shows more.",
                   page->count, page->total);
    return status;
}

/* ---- losses ---------------------------------------------------------------------------------- */

json_t *view_losses_json(const struct journal_view *view, const struct losses_asked *asked,
                         enum status *status)
{
    const double cost = asked->cost, yield = asked->yield;
    const int64_t since = moment_known(asked->since) ? asked->since.seconds : INT64_MIN;
    static const char *const names[LOSSES_BY] = {"month", "species", "starter"};
    json_t *root = view_json("schema:i", 1), *tables = json_array();
    size_t sound = 0, lost = 0;
    *status = STATUS_OK;
    for (enum losses_by by = 0; by < LOSSES_BY && *status == STATUS_OK; by++) {
        size_t count;
        json_t *rows = json_array();
        struct losses *losses;
        *status =
            survey_losses(view->journal, by, view->arena, asked->batches, since, &losses, &count);
        sound = lost = 0;
        for (size_t i = 0; i < count; i++) {
            const size_t *fate = losses[i].fate;
            size_t lost_here = fate[FATE_STUCK] + fate[FATE_CONTAMINATED] + fate[FATE_UNTOLD];
            size_t ended = lost_here + fate[FATE_SOUND];
            const char *key = by == LOSSES_BY_SPECIES ? view_name(view, LIST_SPECIES, losses[i].key)
                                                      : losses[i].key;
            sound += fate[FATE_SOUND];
            lost += lost_here;
            json_t *row = view_json_put(json_object(), names[by], view_json_text(losses[i].key));
            view_json_add(row, "open:z sound:z lost:z _key:w _all:z _share:n", fate[FATE_OPEN],
                          fate[FATE_SOUND], lost_here, key, fate[FATE_OPEN] + ended,
                          (double)lost_here / (double)ended);
            json_array_append_new(rows, row);
        }
        view_json_row(tables, "by:s rows:o", names[by], json_incref(rows));
        root = view_json_put(root, names[by], rows);
    }
    double each = sound > 0 ? cost * (double)(sound + lost) / (double)sound : NAN;
    view_json_add(root, "cost_lost:n cost_each:n yielded:n yield_lost:n _tables:o _lost:z _ended:z",
                  cost * (double)lost, each, yield * (double)sound, yield * (double)lost, tables,
                  lost, sound + lost);
    return root;
}

enum status view_losses(struct screen *screen, const struct journal_view *view,
                        const struct losses_asked *asked)
{
    enum status status;
    json_t *tree = view_losses_json(view, asked, &status);
    if (status == STATUS_OK)
        view_say(&(struct face){.screen = screen}, "losses", tree);
    json_decref(tree);
    return status;
}

/* ---- histories ------------------------------------------------------------------------------- */

enum { JSON_MOST_BATCHES = 1000 };

/* All that is read for the history of one record, for both ways of showing it. */
struct history_report {
    enum record record;
    const union any_record *row;
    struct history history;
    struct batch batch;              /* of a vessel; a batch itself */
    bool dated;                      /* there is one: days count from it */
    struct vessel_forecast forecast; /* of a vessel */
    struct vessel_tally tally;       /* of the vessels of anything else */
    struct page vessels;             /* of a batch */
    struct range *band; /* of a vessel or batch: COURSE_POINTS of it up to `last`, or NULL */
    double last;
    struct chart_point *seen; /* what looks saw of it */
    size_t seen_count;
    struct page batches;  /* made with it: of anything but vessels, batches and places */
    struct page children; /* of a starter */
};

/* Coverage as it was seen and as it is forecast, up to when it is to be full and all was seen. Of a batch
 * the forecast is that of its first vessel, unshaken. */
static enum status read_run(const struct journal_view *view, struct history_report *report)
{
    static const double least = 14.0, most = 180.0;
    struct vessel_course course = {.count = COURSE_POINTS};
    struct vessel vessel;
    struct vessel_forecast forecast;
    enum status status = STATUS_OK;

    report->last = least;
    for (size_t i = 0; i < report->history.count && status == STATUS_OK; i++) {
        const struct history_entry *entry = &report->history.entries[i];
        double day = (double)moment_days_between(report->batch.at, entry->at);
        double coverage =
            entry->kind == RECORD_LOOK ? look_coverage(view->rules, &entry->is.look) : NAN;
        if (entry->overruled || isnan(coverage) || day < 0.0 || day > most)
            continue;
        status = view_get(view, RECORD_VESSEL, entry->vessel, &vessel);
        if (status != STATUS_OK || vessel.control) /* nothing is to grow there */
            continue;
        *arena_push(view->arena, report->seen, report->seen_count) =
            (struct chart_point){day, coverage, lost_of(&vessel) ? 'x' : 'O'};
        report->last = fmax(report->last, day);
    }
    if (report->record == RECORD_VESSEL)
        vessel = report->row->vessel;
    else if (status == STATUS_OK && report->vessels.count > 0)
        status = view_get(view, RECORD_VESSEL, report->vessels.ids[0], &vessel);
    else
        return status;
    vessel.id = report->record == RECORD_VESSEL ? vessel.id : 0;
    if (status == STATUS_OK)
        status = vessel_forecast_of(view->journal, view->rules, &report->batch, &vessel, &forecast,
                                    NULL);
    if (status != STATUS_OK || !forecast.known)
        return status;
    if (isfinite(forecast.full.high))
        report->last = fmax(report->last, fmin(ceil(forecast.full.high), most));
    course.coverage = report->band = arena_array(view->arena, COURSE_POINTS, sizeof *report->band);
    course.every = report->last / (COURSE_POINTS - 1);
    return vessel_forecast_of(view->journal, view->rules, &report->batch, &vessel, &forecast,
                              &course);
}

static enum status read_history(const struct journal_view *view, enum record record,
                                const void *row, size_t limit, size_t batches,
                                struct history_report *report)
{
    struct journal *journal = view->journal;
    struct arena *arena = view->arena;
    bool vessel = record == RECORD_VESSEL, made = !vessel && record != RECORD_BATCH;

    *report = (struct history_report){.record = record, .row = row, .dated = !made};
    int64_t id = report->row->named.id;
    if (record == RECORD_BATCH)
        report->batch = report->row->batch;
    enum status status = history_of(journal, record, row, limit, arena, &report->history);
    if (status == STATUS_OK && vessel)
        status = view_get(view, RECORD_BATCH, report->row->vessel.batch, &report->batch);
    if (status == STATUS_OK && vessel)
        status = vessel_forecast_of(journal, view->rules, &report->batch, &report->row->vessel,
                                    &report->forecast, NULL);
    if (status == STATUS_OK && record == RECORD_BATCH)
        status = survey_of(journal, RECORD_VESSEL, RECORD_BATCH, id, MOST_VESSELS, arena,
                           &report->vessels);
    if (status == STATUS_OK && report->dated)
        status = read_run(view, report);
    if (status == STATUS_OK && record == RECORD_STARTER)
        status = survey_of(journal, RECORD_STARTER, record, id, 0, arena, &report->children);
    if (status == STATUS_OK && !vessel)
        status = survey_tally(journal, record, id, &report->tally);
    if (status == STATUS_OK && made && record != RECORD_PLACE)
        status = survey_of(journal, RECORD_BATCH, record, id, batches, arena, &report->batches);
    return status;
}

/* `ids` is " 7" or "s 7, 9", by which looks and events are corrected. */
static const char *entry_words(const struct journal_view *view, const struct history_entry *entry,
                               const char *ids)
{
    json_t *tree = view_record_json(view, entry->kind, &entry->is);
    (void)add_words(view, entry->kind, &entry->is, tree);
    view_json_add(tree, "_of:s _ids:s _overruled:b", record_types[entry->kind].name, ids,
                  entry->overruled);
    return said(view, "words.entry", tree);
}

static int by_number(const void *left, const void *right)
{
    const struct vessel *a = left, *b = right;
    return (a->number > b->number) - (a->number < b->number);
}

/* "s 7, 9, 12 to 20" */
static const char *ids_words(const struct journal_view *view, const int64_t *ids, size_t count)
{
    const char *words = count > 1 ? "s" : "";
    for (size_t i = 0, last; i < count; i = last + 1) {
        for (last = i; last + 1 < count && ids[last + 1] == ids[last] + 1;)
            last++;
        words = FORMAT("%s%s %lld", words, i > 0 ? "," : "", (long long)ids[i]);
        if (last > i)
            words = FORMAT("%s%s %lld", words, last == i + 1 ? "," : " to", (long long)ids[last]);
    }
    return words;
}

/* Whether two entries of one day say the same, whatever their vessel. Of vessels to keep that holds in other
 * words, too, which are told together. */
static bool alike(const struct history_entry *entry, const char *words,
                  const struct history_entry *other, const char *other_words)
{
    const struct look *a = &entry->is.look, *b = &other->is.look;
    if (entry->kind != other->kind || (entry->vessel == 0) != (other->vessel == 0))
        return false;
    if (entry->kind == RECORD_LOOK && strcmp(a->action, action_name(ACTION_KEEP)) == 0)
        return strcmp(a->action, b->action) == 0 && strcmp(a->finding, b->finding) == 0 &&
               strcmp(a->by, b->by) == 0 && entry->overruled == other->overruled;
    return strcmp(words, other_words) == 0;
}

/* The lines of a history: of a batch, what was done or said alike of several vessels on a day is one. */
static json_t *entries_told(const struct journal_view *view, const struct history_report *report)
{
    const struct history *history = &report->history;
    json_t *told = json_array();
    bool *done = arena_array(view->arena, history->count + 1, sizeof *done);
    const char **plain = arena_array(view->arena, history->count + 1, sizeof *plain);
    bool whole = report->record == RECORD_BATCH;

    for (size_t i = 0; whole && i < history->count; i++)
        plain[i] = entry_words(view, &history->entries[i], "");
    for (size_t i = 0; i < history->count; i++) {
        struct history_entry all = history->entries[i], *entry = &history->entries[i];
        const char *when = day_of(view, entry->at);
        struct vessel *vessels = NULL;
        int64_t *ids = NULL;
        size_t vessel_count = 0, id_count = 0;
        if (done[i])
            continue;
        for (size_t k = i; k < history->count; k++) {
            const struct history_entry *other = &history->entries[k];
            if (moment_day(other->at) != moment_day(entry->at) || (k > i && !whole))
                break;
            if (done[k] || (k > i && !alike(entry, plain[i], other, plain[k])))
                continue;
            const char *also = other->is.look.words;
            if (entry->kind == RECORD_LOOK && strstr(all.is.look.words, also) == NULL)
                all.is.look.words = FORMAT("%s%s%s", all.is.look.words,
                                           all.is.look.words[0] != '\0' ? "\"; \"" : "", also);
            done[k] = true;
            *arena_push(view->arena, ids, id_count) = other->id;
            struct vessel *vessel = arena_push(view->arena, vessels, vessel_count);
            if (other->vessel == 0 ||
                view_get(view, RECORD_VESSEL, other->vessel, vessel) != STATUS_OK)
                vessel_count--;
        }
        const char *words = entry_words(view, &all, ids_words(view, ids, id_count));
        if (whole && vessel_count > 0) {
            struct text labels;
            text_init(&labels);
            qsort(vessels, vessel_count, sizeof *vessels, by_number);
            view_vessels(&labels, vessels, vessel_count);
            words = FORMAT("%s: %s", taken(view, &labels), words);
        }
        if (report->dated)
            when = FORMAT("%s  day %lld", when,
                          (long long)moment_days_between(report->batch.at, entry->at));
        view_json_row(told, "when:w what:w", when, words);
    }
    return told;
}

struct tree { /* of starters, up or down; each told once */
    struct screen *screen;
    const struct journal_view *view;
    int64_t *told;
    size_t count;
};

static bool tell_once(struct tree *tree, int64_t id)
{
    for (size_t i = 0; i < tree->count; i++)
        if (tree->told[i] == id)
            return false;
    *arena_push(tree->view->arena, tree->told, tree->count) = id;
    return tree->count < MOST_TOLD;
}

static void say_starter(struct tree *tree, const char *lead, const char *label, int64_t id,
                        size_t depth, bool told)
{
    const struct journal_view *view = tree->view;
    struct starter starter;
    if (view_get(view, RECORD_STARTER, id, &starter) != STATUS_OK)
        return;
    const char *name =
        label != NULL ? FORMAT("%s, grown from %s", label, starter.label) : starter.label;
    screen_say(tree->screen, 2 * depth, 2, ROLE_PLAIN, "%s %s%s%s%s%s%s", lead, name,
               moment_known(starter.made) ? ", made " : "", day_of(view, starter.made),
               starter.source[0] != '\0' ? ", from " : "", starter.source,
               told ? "; see above" : "");
}

/* Where a starter came from, the nearest first; each generation indented. */
static enum status say_ancestors(struct tree *tree, int64_t id, size_t depth)
{
    const struct journal_view *view = tree->view;
    void *rows = NULL;
    size_t count = 0;
    enum status status =
        journal_all(view->journal, RECORD_PARENT, "starter", id, view->arena, &rows, &count);
    for (size_t i = 0; i < count && status == STATUS_OK && depth < DEEPEST; i++) {
        const struct parent *parent = &((const struct parent *)rows)[i];
        struct vessel vessel;
        struct batch batch = {.starter = parent->parent};
        if (parent->vessel != 0 &&
            (status = view_get(view, RECORD_VESSEL, parent->vessel, &vessel)) == STATUS_OK)
            status = view_get(view, RECORD_BATCH, vessel.batch, &batch);
        const char *label = parent->vessel != 0 ? parent_label(view, parent) : NULL;
        if (status == STATUS_OK && batch.starter == 0)
            screen_say(tree->screen, 2 * depth, 2, ROLE_PLAIN, "from %s", label);
        if (status != STATUS_OK || batch.starter == 0)
            continue;
        bool first = tell_once(tree, batch.starter);
        say_starter(tree, "from", label, batch.starter, depth, !first);
        if (first)
            status = say_ancestors(tree, batch.starter, depth + 1);
    }
    return status;
}

/* What was made from a starter, and from that; each generation indented. */
static enum status say_descendants(struct tree *tree, int64_t id, size_t depth)
{
    struct page children;
    const struct journal_view *view = tree->view;
    enum status status =
        survey_of(view->journal, RECORD_STARTER, RECORD_STARTER, id, 0, view->arena, &children);
    for (size_t i = 0; i < children.count && status == STATUS_OK && depth < DEEPEST; i++) {
        bool first = tell_once(tree, children.ids[i]);
        say_starter(tree, "into", NULL, children.ids[i], depth, !first);
        if (first)
            status = say_descendants(tree, children.ids[i], depth + 1);
    }
    return status;
}

/* The parents of a starter: [{"label", "from": [the same of theirs]}]. */
static json_t *ancestors_json(const struct journal_view *view, int64_t id, size_t depth,
                              enum status *status)
{
    void *rows = NULL;
    size_t count = 0;
    json_t *from = json_array();
    if (depth < DEEPEST && *status == STATUS_OK)
        *status =
            journal_all(view->journal, RECORD_PARENT, "starter", id, view->arena, &rows, &count);
    for (size_t i = 0; i < count && *status == STATUS_OK; i++) {
        const struct parent *parent = &((const struct parent *)rows)[i];
        json_t *label = view_json_text(parent_label(view, parent));
        from = view_json_append(
            from, view_json("label:o from:o", label,
                            parent->vessel != 0
                                ? json_array()
                                : ancestors_json(view, parent->parent, depth + 1, status)));
    }
    return from;
}

/* What a vessel or a batch is made of: "starter S1, cook C2 (103 kPa for 90 min), lot L1". */
static const char *from_words(const struct journal_view *view, const struct batch *batch)
{
    struct cook cook;
    json_t *tree = view_record_json(view, RECORD_BATCH, batch);
    view_json_put(tree, "_mother", json_string(view_mother(view, batch->starter)));
    if (batch->cook != 0 && view_get(view, RECORD_COOK, batch->cook, &cook) == STATUS_OK)
        view_json_put(tree, "_cooked", view_json_text(view_cook_words(view, &cook)));
    const char *words = said(view, "words.from", tree);
    return words[0] != '\0' ? words + strlen(", ") : words;
}

/* What the tree of a history has for faces only. */
static enum status add_told(const struct journal_view *view, const struct history_report *report,
                            json_t *root)
{
    const struct vessel *vessel = &report->row->vessel;
    const struct batch *batch = &report->batch;
    const bool one = report->record == RECORD_VESSEL;
    const char *starter = view_label(view, RECORD_STARTER, batch->starter);
    char when[WHEN_ROOM], purpose[PURPOSE_ROOM];
    json_t *record = json_object_get(root, "record");

    view_json_add(root, "_entries:o _history:b _drawn:b _width:i _seen:i",
                  entries_told(view, report), report->history.count > 0,
                  report->band != NULL || report->seen_count > 0, report->dated ? 20 : 12,
                  (int)report->seen_count);
    if (report->dated)
        view_json_add(root, "_batch:w _from:w _note:w _starter:w _start:s _control:b",
                      view_batch_words(view, batch), from_words(view, batch),
                      one ? vessel->note : batch->note, starter, day_of(view, batch->at),
                      one && vessel->control);
    if (!one) {
        view_json_add(root, "_tally:s _batches:l _into:b", tally_words(view, &report->tally),
                      (json_int_t)report->batches.total, report->batches.count > 0);
        return STATUS_OK;
    }
    view_json_add(root, "_kind:w _children:w _when:s _purpose:s",
                  view_name(view, LIST_VESSELS, vessel->kind),
                  view_children(view, RECORD_VESSEL, vessel->id),
                  view_when(vessel->due, moment_day(view->now), when),
                  view_purpose(vessel->due_for, purpose));
    return add_words(view, RECORD_VESSEL, report->row, record);
}

static json_t *history_tree(const struct journal_view *view, const struct history_report *report,
                            bool faces, enum status *status)
{
    const enum record record = report->record;
    json_t *root = view_json("schema:i kind:s record:o", 1, record_types[record].name,
                             view_record_json(view, record, report->row));
    if (record == RECORD_VESSEL) {
        int64_t from, to;
        view_forecast_days(&report->batch, &report->forecast, &report->forecast.full, &from, &to);
        root = view_json_put(root, "batch", view_record_json(view, RECORD_BATCH, &report->batch));
        root = view_json_put(root, "day",
                             json_integer(moment_days_between(report->batch.at, view->now)));
        root = view_json_put(root, "full_from", view_json_day(from));
        root = view_json_put(root, "full_to", view_json_day(to));
    }
    if (record == RECORD_STARTER) {
        json_t *made = json_array();
        for (size_t i = 0; i < report->children.count; i++)
            made =
                view_json_append(made, label_json(view, RECORD_STARTER, report->children.ids[i]));
        root = view_json_put(root, "from", ancestors_json(view, report->row->named.id, 0, status));
        root = view_json_put(root, "made_from_it", made);
    }
    if (record != RECORD_VESSEL)
        root = view_json_put(root, "vessels", tally_json(&report->tally));
    if (!faces && *status == STATUS_OK && counted(record) && record != RECORD_PLACE &&
        record != RECORD_BATCH)
        root = view_json_put(root, "batches",
                             view_list_json(view, RECORD_BATCH, &report->batches, status));
    if (*status == STATUS_OK && faces)
        *status = add_told(view, report, root);
    if (*status != STATUS_OK) {
        json_decref(root);
        return NULL;
    }
    root = view_json_put(root, "earlier", json_integer((json_int_t)report->history.earlier));
    json_t *entries = json_array();
    for (size_t k = 0; !faces && k < report->history.count; k++) {
        const struct history_entry *entry = &report->history.entries[k];
        json_t *day = report->dated ? json_integer(moment_days_between(report->batch.at, entry->at))
                                    : json_null();
        entries = view_json_append(
            entries, view_json("kind:s at:o day:o counts:b record:o",
                               record_types[entry->kind].name, view_json_moment(entry->at), day,
                               !entry->overruled, view_record_json(view, entry->kind, &entry->is)));
    }
    return view_json_put(root, "events", entries);
}

json_t *view_history_json(const struct journal_view *view, enum record record, const void *row,
                          size_t limit, enum status *status)
{
    struct history_report report;
    if ((*status = read_history(view, record, row, limit, JSON_MOST_BATCHES, &report)))
        return NULL;
    return history_tree(view, &report, false, status);
}

/* What the parts of a history are drawn from. */
struct drawing {
    const struct journal_view *view;
    const struct history_report *report;
    enum status *status;
};

static void draw_part(struct face *face, const char *name, const json_t *root)
{
    const struct drawing *drawing = face->of;
    const struct journal_view *view = drawing->view;
    const struct history_report *report = drawing->report;
    struct tree up = {face->screen, view, NULL, 0}, down = up;

    (void)root;
    if (*drawing->status != STATUS_OK)
        return;
    if (strcmp(name, "coverage") == 0 && face->page != NULL)
        svg_coverage(face->page, report->band, report->last, report->seen, report->seen_count);
    else if (strcmp(name, "coverage") == 0)
        chart_coverage(face->screen, report->band, report->last, report->seen, report->seen_count);
    else if (strcmp(name, "record") == 0)
        view_record(face->screen, view, report->record, report->row);
    else if (strcmp(name, "vessels") == 0 && face->page != NULL)
        *drawing->status = say_list(face, view, RECORD_VESSEL, &report->vessels);
    else if (strcmp(name, "vessels") == 0)
        *drawing->status = view_list(face->screen, view, RECORD_VESSEL, &report->vessels);
    else if (strcmp(name, "batches") == 0)
        *drawing->status = view_list(face->screen, view, RECORD_BATCH, &report->batches);
    else if (report->record == RECORD_STARTER) {
        *drawing->status = say_ancestors(&up, report->row->starter.id, 1);
        if (*drawing->status == STATUS_OK)
            *drawing->status = say_descendants(&down, report->row->starter.id, 1);
    }
}

/* On a screen or a page, as that template has it. */
static enum status say_history(struct screen *screen, struct text *page, const char *template,
                               const struct journal_view *view, enum record record, const void *row,
                               size_t limit)
{
    struct history_report report;
    enum status status = read_history(view, record, row, limit, MOST_BATCHES, &report);
    const struct drawing drawing = {view, &report, &status};
    struct face face = {screen, page, draw_part, &drawing};
    if (status == STATUS_OK)
        view_say_taken(&face, template, history_tree(view, &report, true, &status));
    return status;
}

enum status view_history(struct screen *screen, const struct journal_view *view, enum record record,
                         const void *row, size_t limit)
{
    const char *template = record == RECORD_VESSEL  ? "history.vessel"
                           : record == RECORD_BATCH ? "history.batch"
                                                    : "history.around";
    return say_history(screen, NULL, template, view, record, row, limit);
}

enum status view_history_html(struct text *html, const struct journal_view *view,
                              enum record record, const void *row, size_t limit, enum paper paper)
{
    sheet_begin(html, ((const union any_record *)row)->named.label, paper, "style.history");
    enum status status = say_history(NULL, html, "history.page", view, record, row, limit);
    html_end(html);
    return status;
}
