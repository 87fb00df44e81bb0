/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records around batches, and what is shown of them: lists, histories, what is due, labels. */
#include <ctype.h>
#include <math.h>
#include <string.h>
#include <strings.h>

#include "cli/app.h"
#include "journal/exchange.h"

/* ---- recording a starter, lot, cook, session or place ------------------------------------------ */

enum status record_tell(struct app *app, enum record record, const char *label, const char *did,
                        const char *further)
{
    union any_record row;
    labels_find(app, record, label, &row);
    return app_tell(app, "record",
                    view_json("schema:i kind:s did:s record:o _label:s _further:s", 1,
                              record_types[record].name, did,
                              view_record_json(&app->view, record, &row), row.named.label,
                              further));
}

/* The record of that label; or a new one with it, or with the next label where there is none. */
static void find_or_name(struct app *app, enum record record, const char *label,
                         union any_record *row)
{
    const int64_t id = label != NULL ? labels_id(app, record, label) : 0;
    record_init(record, row);
    if (id != 0)
        app_get(app, record, id, row);
    else if (label != NULL)
        row->named.label = label;
    else
        app_name(app, record, row);
}

static bool is_given(const struct column *column, const union any_record *row)
{
    const void *member = column_member(column, row);
    return column->kind == COLUMN_REAL ? !isnan(*(const double *)member)
                                       : (*(const char *const *)member)[0] != '\0';
}

/* Words, read as those of a batch are: what a column of the record holds goes there, the rest is
 * returned, "" for none. Whether anything was understood. */
static bool read_words(struct app *app, enum record record, const char *words,
                       union any_record *row, const char **unread)
{
    const struct rules *rules = app->rules;
    const struct reading_list list = app_reading(app, words);
    bool any = false;

    *unread = "";
    for (size_t i = 0; i < list.reading_count; i++) {
        const struct reading *reading = &list.readings[i];
        const struct observable *observable = &rules->observables[reading->observable];
        const struct column *at = record_types[record].columns;
        const int seen = single_value(reading->seen);
        const char *words_of = span_words(app->arena, list.text, reading->span);
        while (at->name != NULL && (at->feeds == FEEDS_NONE || at->feeds != observable->feeds))
            at++;
        const bool number = at->kind == COLUMN_REAL && reading->has_number;
        if (at->name != NULL && row->named.id != 0 && is_given(at, row)) /* that stays as it is */
            app_stop(app, "'%s' should be COLUMN=VALUE: %s %s has its %s already", words_of,
                     record_types[record].name, row->named.label, at->name);
        const bool holds = number || (seen != RULES_NONE && at->kind != COLUMN_REAL);
        const bool fact = seen != RULES_NONE && observable->class == CLASS_CIRCUMSTANCE &&
                          (record == RECORD_COOK || record == RECORD_SESSION); /* of it */
        const char *name = at->name != NULL && holds ? at->name : fact ? observable->id : NULL;
        const char *value = name == at->name && number
                                ? reading_figure(app, reading, observable->dimension)
                            : name != NULL ? observable->values[seen].id
                                           : NULL;
        any = any || name != NULL;
        if (name != NULL)
            assign(app, record, arena_format(app->arena, "%s=%s", name, value), row, app->given.at);
        else
            words_add(app, unread, "; ", "%s", words_of);
    }
    for (size_t i = 0; i < list.unread_count; i++)
        words_add(app, unread, "; ", "%s", span_words(app->arena, list.text, list.unread[i].span));
    return any;
}

/* "from the mill, bought 20 January" of a record that has such columns; the date was taken from the
 * words before. They are left without it. Whether anything was said of that. */
static bool take_origin(struct app *app, enum record record, const char **words,
                        union any_record *row)
{
    static const char *const leads[][2] = {{"from ", "source"}, {"bought", "bought"}};
    bool any = false;
    for (size_t i = 0; i < sizeof leads / sizeof *leads; i++) {
        const char *at = strstr(*words, leads[i][0]);
        if (at == NULL || record_column(record, leads[i][1]) == SIZE_MAX ||
            (at > *words && strchr(" ,", at[-1]) == NULL))
            continue;
        const char *said = at + strlen(leads[i][0]),
                   *end = said + (i == 0 ? strcspn(said, ",") : 0);
        assign(app, record,
               i == 0 ? arena_format(app->arena, "source=%.*s", (int)(end - said), said)
                      : arena_format(app->arena, "bought=%s",
                                     moment_write_day(app->given.at, MOMENT_WORDS)),
               row, app->given.at);
        *words = arena_format(app->arena, "%.*s%s", (int)(at - *words), *words, end);
        any = true;
    }
    return any;
}

static enum status run_record(struct app *app)
{
    enum { NAME_COLUMNS = 12 };
    const char *const *words = app->operands, *altitude = config_word(app, "altitude");
    const size_t count = app->operand_count;
    const enum record record = count > 0 ? labels_kind(words[0]) : RECORD_COUNT;
    union any_record row;

    if (record > RECORD_PLACE) /* the first kinds are those around a batch */
        app_stop(app, "record what? A starter, lot, cook, session or place; for instance: "
                      "jarside record cook C4 gauge=14psi minutes=95");
    if (count == 2 && (strcmp(words[1], "help") == 0 || strcmp(words[1], "?") == 0)) {
        screen_say(&app->out, 0, 2, ROLE_STRONG, "A %s may hold:", words[0]);
        for (const struct column *at = record_types[record].columns; at->name != NULL; at++)
            if (!at->derived && !at->internal)
                screen_row(&app->out, 2, NAME_COLUMNS, at->name, assign_what(app, at));
        return app_flush(app);
    }
    /* "15 psi 90 min": figures, and no label */
    static const unsigned figures = 1U << DIM_GAUGE_KPA | 1U << DIM_MINUTES | 1U << DIM_CELSIUS;
    const size_t named =
        count > 1 && strchr(words[1], '=') == NULL &&
                !is_quantity(arena_join(app->arena, words + 1, count - 1), figures, false)
            ? 2
            : 1;
    const char *plain = "", *unread = "";
    for (size_t i = named; i < count; i++)
        if (strchr(words[i], '=') == NULL)
            words_add(app, &plain, " ", "%s", words[i]);
    plain = option_take_date(app, plain);
    plain += strspn(plain, " ");
    find_or_name(app, record, named == 2 ? words[1] : NULL, &row);
    const bool there = row.named.id != 0;
    if (count == 1)
        app_stop(app, "what is known of the %s? For instance: jarside record %s %s", words[0],
                 words[0], record == RECORD_COOK ? "15 psi 90 min" : "help");
    if (count == named && there)
        return record_tell(app, record, row.named.label, "as recorded", "");
    app_begin(app);
    for (size_t i = named; i < count; i++)
        if (strchr(words[i], '=') != NULL)
            assign(app, record, words[i], &row, app->given.at);
    const bool origin = take_origin(app, record, &plain, &row);
    if (plain[0] != '\0' && !read_words(app, record, plain, &row, &unread) && !origin)
        app_stop(app, "'%s' should be COLUMN=VALUE", plain);
    if (unread[0] != '\0') {
        const struct column *columns = record_types[record].columns;
        const char *note =
            *(const char *const *)column_member(&columns[record_column(record, "note")], &row);
        assign(app, record,
               arena_format(app->arena, "note=%s%s%s", note, note[0] != '\0' ? "; " : "", plain),
               &row, app->given.at);
    }
    if (!there && record == RECORD_COOK && isnan(row.cook.altitude) && altitude != NULL)
        assign(app, record, arena_format(app->arena, "altitude=%s", altitude), &row, app->given.at);
    if (!there)
        app_add(app, record, &row);
    app_commit(app);
    if (unread[0] != '\0' && !app->given.json)
        app_aside(app, "Not understood: '%s'; all of it is saved as its note.", unread);
    return record_tell(app, record, row.named.label, there ? "corrected" : "recorded", "");
}

/* ---- starters -------------------------------------------------------------------------------- */

/* Whether a starter is the ancestor itself, or came from it, however far back. */
static bool descends(struct app *app, int64_t starter, int64_t ancestor)
{
    struct starter found;
    const char *condition =
        arena_format(app->arena,
                     "id = %lld AND id IN (WITH RECURSIVE line(id) AS (VALUES (?1) UNION SELECT"
                     " p.parent FROM parent AS p JOIN line ON p.starter = line.id) SELECT id"
                     " FROM line)",
                     (long long)ancestor);
    return app_newest(app, RECORD_STARTER, condition, starter, &found);
}

/* What a label says that a starter was made from: the grain of a vessel, unless something speaks
 * against that, or a starter; and as what it is, or would be, a starter itself. */
static struct parent made_from(struct app *app, const char *label, struct starter *parent)
{
    struct vessel vessel = {.id = 0};
    if (labels_id(app, RECORD_VESSEL, label) != 0)
        starter_of_vessel(app, label, &vessel, parent);
    else
        labels_find(app, RECORD_STARTER, label, parent);
    return (struct parent){.vessel = vessel.id, .parent = vessel.id == 0 ? parent->id : 0};
}

/* Mushroom and kind of a starter, from words or a kind's id; what is not understood, or "". */
static const char *starter_words(struct app *app, const char *const *words, size_t count,
                                 union any_record *row)
{
    const char *text = "", *odd;
    for (size_t i = 0; i < count; i++) {
        const char *kind = list_id(app->rules, LIST_STARTERS, words[i]);
        if (kind != NULL)
            row->starter.kind = kind;
        else
            words_add(app, &text, " ", "%s", words[i]);
    }
    (void)read_words(app, RECORD_STARTER, text, row, &odd);
    return odd;
}

static void take_words(struct app *app, const char *const *words, size_t count,
                       union any_record *row)
{
    const char *odd = starter_words(app, words, count, row);
    if (odd[0] != '\0')
        app_stop(app,
                 "'%s' is not understood; name the mushroom and the kind, for instance: jarside "
                 "starter S2 oyster liquid culture --from S1. A label has a figure in it (S2), a "
                 "hyphen or capitals only (OY-A, OYA)",
                 odd);
}

/* "S2", "LC-4", what was named before; "OY-syr" and "OYX" unless a mushroom or kind is called
 * so. */
static bool is_label(struct app *app, const char *word)
{
    union any_record ignored;
    if (has_figures(word) || labels_id(app, RECORD_STARTER, word) != 0)
        return true;
    const bool capitals =
        word[0] != '\0' && word[strcspn(word, "abcdefghijklmnopqrstuvwxyz ")] == '\0';
    record_init(RECORD_STARTER, &ignored);
    return (capitals || strpbrk(word, "-_") != NULL) &&
           starter_words(app, &word, 1, &ignored)[0] != '\0';
}

struct ancestry {
    struct texts from; /* labels of starters and vessels */
    const char *words; /* no record: "a friend"; "" for none */
};

/* "... from S1 and B1-3", "... from plate P4", "... from a friend": what it was made from stands
 * last. A plate not yet on record is one when that was said; words that name no record are told.
 * How many words stand before. */
static size_t take_from(struct app *app, const char *const *words, size_t count,
                        struct ancestry *ancestry)
{
    struct texts *from = &ancestry->from;
    const char *kind = "";
    size_t before = 0;
    *ancestry = (struct ancestry){.words = ""};
    while (before < count && strcasecmp(words[before], "from") != 0)
        before++;
    for (size_t i = before + 1; i < count; i++) {
        union any_record parent;
        const bool there = labels_id(app, RECORD_STARTER, words[i]) != 0 ||
                           labels_id(app, RECORD_VESSEL, words[i]) != 0;
        const bool label = there || (isalpha((unsigned char)words[i][0]) && has_figures(words[i]));
        if (!label && kind[0] != '\0')
            words_add(app, &ancestry->words, " ", "%s", kind);
        if (!label) {
            kind = strcasecmp(words[i], "and") != 0 || kind[0] != '\0' ? words[i] : "";
            continue;
        }
        if (!there && !app->given.fresh)
            app_stop(app, "nothing in the journal is called '%s'; --new records it as a starter",
                     words[i]);
        if (!there) {
            find_or_name(app, RECORD_STARTER, words[i], &parent);
            take_words(app, &kind, 1, &parent);
            app_add(app, RECORD_STARTER, &parent);
        }
        kind = "";
        *arena_push(app->arena, from->words, from->count) = words[i];
    }
    if (kind[0] != '\0')
        words_add(app, &ancestry->words, " ", "%s", kind);
    for (size_t i = 0; i < app->given.from.count; i++)
        *arena_push(app->arena, from->words, from->count) = app->given.from.words[i];
    return before;
}

static enum status run_starter(struct app *app)
{
    const struct given *given = &app->given;
    const char *const columns[][2] = {{"species", given->species},
                                      {"kind", given->kind},
                                      {"source", given->source},
                                      {"note", given->note}};
    const char *const *words = app->operands;
    size_t count = app->operand_count;
    const char *told = NULL;
    struct ancestry ancestry;
    struct starter parent;
    union any_record row;

    bool named = count > 0 && is_label(app, words[0]);
    find_or_name(app, RECORD_STARTER, named ? words[0] : NULL, &row);
    app_begin(app);
    count = take_from(app, words, count, &ancestry);
    const struct texts from = ancestry.from;
    if (row.named.id != 0 && ancestry.words[0] != '\0')
        app_stop(app, "'%s' names no record; jarside correct %s source='%s' keeps it",
                 ancestry.words, row.named.label, ancestry.words);
    if (row.named.id != 0 && (count > 1 || from.count == 0))
        app_stop(app,
                 "starter %s is there already; 'jarside correct %s COLUMN=VALUE' corrects it, "
                 "--from names what it came from",
                 row.named.label, row.named.label);
    if (row.named.id == 0) {
        take_words(app, words + named, count - named, &row);
        row.starter.made = given->at;
        for (size_t i = 0; i < sizeof columns / sizeof *columns; i++)
            if (columns[i][1] != NULL)
                assign(app, RECORD_STARTER,
                       arena_format(app->arena, "%s=%s", columns[i][0], columns[i][1]), &row,
                       given->at);
        if (from.count > 0) { /* the mushroom is that of the first; of a vessel it is the grain */
            const struct parent first = made_from(app, from.words[0], &parent);
            if (row.starter.species[0] == '\0')
                row.starter.species = parent.species;
            if (row.starter.kind[0] == '\0' && first.vessel != 0)
                row.starter.kind = parent.kind;
            if (!given->json && parent.species[0] != '\0' &&
                strcmp(row.starter.species, parent.species) != 0)
                app_warn(app,
                         "%s is %s, and what it is made from %s. If one of them is wrong: jarside "
                         "correct %s species=%s",
                         row.named.label, row.starter.species, parent.species, row.named.label,
                         parent.species);
        }
        const bool source = row.starter.source[0] == '\0' && from.count == 0;
        const char **kept = source ? &row.starter.source : &row.starter.note;
        if (ancestry.words[0] != '\0') {
            told = source ? "its source" : "a note";
            words_add(app, kept, "; ", "%s", ancestry.words);
        }
        app_add(app, RECORD_STARTER, &row);
    }
    for (size_t i = 0; i < from.count; i++) {
        struct parent link = made_from(app, from.words[i], &parent);
        link.starter = row.named.id;
        if (link.parent != 0 && descends(app, link.parent, link.starter))
            app_stop(app, "%s was itself made from %s; check both labels", parent.label,
                     row.named.label);
        app_add(app, RECORD_PARENT, &link);
    }
    app_commit(app);
    if (told != NULL && !app->given.json)
        app_aside(app, "'%s' names no record: saved as %s.", ancestry.words, told);
    return record_tell(app, RECORD_STARTER, row.named.label, "recorded", "");
}

/* ---- list, search, history --------------------------------------------------------------------- */

/* A result as a page to print, to where --html says. */
static enum status tell_sheet(struct app *app, const char *title, const char *name, json_t *tree)
{
    view_page(&app->out.out, title,
              arena_format(app->arena, "%s %s", paper_words[app->given.paper], name),
              arena_format(app->arena, "%s.page", name), tree);
    return app_page(app, &app->out.out, "");
}

static enum status run_list(struct app *app)
{
    enum { USUAL = 20, USUAL_OF_BATCH = 200 };
    const struct given *given = &app->given;
    const char *word = app->operand_count > 0 ? app->operands[0] : NULL, *of = given->batch;
    const bool filtered = given->state >= 0 || given->fate >= 0;
    enum record record = RECORD_BATCH;
    struct batch batch = {.id = 0};
    const char *condition = "1";

    if (of != NULL || filtered)
        record = RECORD_VESSEL;
    if (word != NULL && (record = labels_kind(word)) == RECORD_COUNT) {
        if (labels_id(app, RECORD_BATCH, word) == 0)
            app_stop(app,
                     "list what? batches, vessels, starters, lots, cooks, sessions, places, "
                     "looks, events, outcomes, edits, or a batch; not '%s'",
                     word);
        of = word; /* "B3" lists its vessels */
        record = RECORD_VESSEL;
    }
    if (of != NULL)
        labels_find(app, RECORD_BATCH, of, &batch);
    if (filtered && record != RECORD_VESSEL)
        app_stop(app, "only vessels have a state or a fate");
    if (of != NULL && record != RECORD_VESSEL && !record_of_vessel(record))
        app_stop(app, "--batch goes with vessels, looks, events and outcomes");
    if (of != NULL)
        condition = record == RECORD_VESSEL ? "batch = ?1"
                                            : "vessel IN (SELECT id FROM vessel WHERE batch = ?1)";
    if (given->state >= 0)
        condition = arena_format(app->arena, "%s AND state = '%s'", condition,
                                 vessel_state_words[given->state]);
    if (given->fate >= 0)
        condition =
            arena_format(app->arena, "%s AND fate = '%s'", condition, fate_words[given->fate]);
    const size_t limit = given->limit != SIZE_MAX ? given->limit
                         : of != NULL             ? USUAL_OF_BATCH
                                                  : USUAL;
    const struct page page =
        journal_page(app->journal, record, condition, batch.id, limit, app->arena);
    if (page.count == 0 && !app->given.json)
        app_say(app, "The journal has none of that kind.");
    return app_tell(app, "list", view_list_json(&app->view, &page));
}

static enum status run_search(struct app *app)
{
    const char **words = NULL;
    size_t count = 0;

    for (size_t i = 0; i < app->operand_count; i++) {
        const char *at = app->operands[i];
        for (at += strspn(at, " \t\n"); *at != '\0'; at += strspn(at, " \t\n")) {
            size_t length = strcspn(at, " \t\n");
            *arena_push(app->arena, words, count) = arena_copy(app->arena, at, length);
            at += length;
        }
    }
    if (count == 0)
        app_stop(app, "search for what? For instance: jarside search greasy S1");
    const struct hits hits =
        query_search(app->journal, words, count,
                     app->given.limit > 0 ? app->given.limit : SIZE_MAX / 2, app->arena);
    json_t *groups = json_array();
    for (size_t i = 0; i < hits.count; i++)
        view_json_row(groups, "kind:s records:o", record_types[hits.pages[i].record].name,
                      view_records_json(&app->view, &hits.pages[i]));
    return app_tell(app, "found", view_json("schema:i more:b found:o", 1, hits.more, groups));
}

/* B1-3..5, B1 3 5 */
static enum status several_histories(struct app *app)
{
    const struct chosen chosen = labels_vessels(app, app->operands, app->operand_count);
    for (size_t i = 0; i < chosen.count; i++) {
        if (i > 0)
            screen_blank(&app->out);
        view_say_taken(
            &(struct face){.screen = &app->out}, "history.vessel",
            view_history_json(&app->view, RECORD_VESSEL, &chosen.vessels[i], app->given.limit));
    }
    return app_flush(app);
}

/* The kind said, or the first that has such a label: what one looks at most comes first. */
static enum status run_history(struct app *app)
{
    const char *const *words = app->operands, *html_path = app->given.html;
    const size_t count = app->operand_count, limit = app->given.limit;
    enum record kind = RECORD_COUNT, kinds[RECORD_COUNT];
    union any_record row;

    if (count == 0)
        app_stop(app, "%s", app->command->wrong);
    if (html_path == NULL && !app->given.json &&
        (labels_leading(app, words, count) > 1 || strstr(words[0], "..")))
        return several_histories(app);
    if (count > 2)
        app_stop(app, "%s", app->command->wrong);
    const char *label = words[count - 1];
    if (count == 2 && ((kind = labels_kind(words[0])) == RECORD_COUNT || !record_has_label(kind)))
        app_stop(app,
                 "unknown kind '%s'; it can be vessel, batch, starter, cook, session, lot or place",
                 words[0]);
    const size_t found = kind == RECORD_COUNT ? labels_kinds(app, label, kinds) : 0;
    if (found > 0)
        kind = kinds[0];
    if (kind == RECORD_COUNT && strchr(label, '-') != NULL)
        kind = RECORD_VESSEL; /* the nearest is named */
    if (kind == RECORD_COUNT)
        app_stop(app, "nothing in the journal is called '%s'; 'jarside list' shows what there is",
                 label);
    labels_find(app, kind, label, &row);
    if (html_path == NULL || app->given.json) {
        json_t *also = json_array();
        for (size_t i = 1; i < found; i++)
            json_array_append_new(also, json_string(record_types[kinds[i]].name));
        json_t *tree = view_history_json(&app->view, kind, &row, limit);
        view_json_add(tree, "_also:o", also);
        return app_tell(app,
                        kind == RECORD_VESSEL  ? "history.vessel"
                        : kind == RECORD_BATCH ? "history.batch"
                                               : "history.around",
                        tree);
    }
    if (kind != RECORD_BATCH && kind != RECORD_VESSEL)
        app_stop(app, "--html goes with a batch or a vessel; '%s' is neither", label);
    return tell_sheet(app, row.named.label, "history",
                      view_history_json(&app->view, kind, &row, limit));
}

/* ---- losses ---------------------------------------------------------------------------------- */

/* The batches that the operands name; none for all. */
static const struct batch *batches_named(struct app *app, size_t *count)
{
    *count = app->operand_count;
    struct batch *batches = arena_array(app->arena, *count + 1, sizeof *batches);
    for (size_t i = 0; i < *count; i++)
        labels_find(app, RECORD_BATCH, app->operands[i], &batches[i]);
    return batches;
}

static enum status run_stats(struct app *app)
{
    struct losses_asked asked = {app->given.cost, app->given.yield, "", moment_unknown()};
    size_t count = 0;
    const struct batch *batches = batches_named(app, &count);
    for (size_t i = 0; i < count; i++)
        words_add(app, &asked.batches, ", ", "%lld", (long long)batches[i].id);
    asked.batches = arena_format(app->arena, "[%s]", asked.batches);
    if (app->given.since != NULL)
        asked.since = option_moment(app, "--since ", app->given.since);
    return app_tell(app, "losses", view_losses_json(&app->view, &asked));
}

/* ---- what is due, and labels: what one looks up before going to the shelves -------------------- */

static enum status write_calendar(struct app *app)
{
    const struct calendar_options how = {
        .now = moment_now(), .until = INT64_MAX, .remind = app->given.remind};
    const char *path = app->given.ics;
    size_t days = 0;

    (void)calendar_text(app->journal, &how, &app->out.out, &days);
    app_write(app, path, &app->out.out, app->given.force);
    if (strcmp(path, "-") == 0)
        return STATUS_OK;
    if (days == 0)
        app_say(app, "Nothing is due: %s is an empty calendar.", path);
    else
        app_say(app, "%zu day%s of looks written to %s.", days, days == 1 ? "" : "s", path);
    return app_flush(app);
}

static enum status run_due(struct app *app)
{
    const char *words = arena_join(app->arena, app->operands, app->operand_count);
    struct moment day;

    if (app->operand_count > 0 && labels_id(app, RECORD_BATCH, app->operands[0]) == 0 &&
        (strcasecmp(words, "tomorrow") == 0 || moment_read(words, moment_now(), &day))) {
        option_read(app, option_row(app->command, "by"), words, &app->given.by);
        app->operand_count = 0;
    }
    struct due_asked asked = {.day = app->given.by, .limit = app->given.limit};
    if (app->given.ics != NULL && app->operand_count > 0)
        app_stop(app, "a calendar is of all batches; leave '%s' out", app->operands[0]);
    if (app->given.ics != NULL)
        return write_calendar(app);
    asked.batches = batches_named(app, &asked.batch_count);
    if (app->given.html != NULL && !app->given.json) {
        return tell_sheet(app,
                          arena_format(app->arena, "Vessels to look at on %s",
                                       moment_write_day(app->view.now, MOMENT_WORDS)),
                          "due", view_due_json(&app->view, &asked));
    }
    return app_tell(app, app->given.sheet ? "due.sheet" : "due", view_due_json(&app->view, &asked));
}

/* Of the vessels named; of those of the newest batch when none are. */
static enum status run_labels(struct app *app)
{
    const struct given *given = &app->given;
    struct batch newest;

    if (app->operand_count == 0 && !app_newest(app, RECORD_BATCH, NULL, 0, &newest))
        app_stop(app, "there is no batch yet; 'jarside batch' starts one");
    const struct chosen chosen = app->operand_count == 0
                                     ? labels_vessels(app, &newest.label, 1)
                                     : labels_vessels(app, app->operands, app->operand_count);
    if (app->given.json)
        return app_json(
            app, view_json("schema:i labels:o", 1, view_json_vessels(chosen.vessels, chosen.count)),
            true);
    if (given->html == NULL) {
        view_labels(&app->out, &app->view, chosen.vessels, chosen.count);
        return app_flush(app);
    }
    enum label_sheet sheet = given->labels >= 0             ? (enum label_sheet)given->labels
                             : given->paper == PAPER_LETTER ? SHEET_LETTER_30
                                                            : SHEET_A4_21;
    if (given->skip >= label_sheet_room(sheet))
        app_wrong(app, "skip", "a sheet of %s has %zu labels", label_sheets[sheet],
                  label_sheet_room(sheet));
    view_labels_html(&app->out.out, &app->view, chosen.vessels, chosen.count, sheet, given->skip,
                     given->cut);
    return app_page(app, &app->out.out, "");
}

const struct command record_commands[] = {
    {"starter", run_starter, NEEDS_CREATE, .json = true},
    {"record", run_record, NEEDS_CREATE, .json = true},
    {"due", run_due, NEEDS_READ, .wrong = "--by DATE looks ahead", .json = true},
    {"list", run_list, NEEDS_READ, .wrong = "list one thing at a time", .json = true},
    {"history", run_history, NEEDS_READ,
     .wrong = "the history of what? For instance: jarside history B3-7, or: jarside history S1",
     .json = true},
    {"stats", run_stats, NEEDS_READ, .wrong = "'jarside review' finds what the losses share",
     .json = true},
    {"search", run_search, NEEDS_READ, .json = true},
    {"labels", run_labels, NEEDS_READ, .json = true},
    {0},
};
