/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>
#include <strings.h>

#include "cli/app.h"
#include "cli/assign.h"
#include "cli/cli.h"
#include "journal/calendar.h"
#include "view/journal.h"
#include "view/screen.h"

/* Records around batches, and what the journal shows of them: lists, histories, what is due, labels. */

/* ---- recording a starter, lot, cook, session or place ------------------------------------------ */

struct recording {
    struct app *app;
    struct moment at;
    struct texts from;
    bool fresh;
    const char *species, *kind, *source, *note;
    bool json;
    enum record record;
    union any_record row;
    bool there; /* it is in the journal already */
    const char *label;
};

#define AT(member) .target = offsetof(struct recording, member)
static const struct option record_options[] = {
    {"at", "MOMENT", "when a change was made, if not now", OPTION_MOMENT, AT(at)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};

static const struct option starter_options[] = {
    {"from", "STARTER", "the starter or vessel it was made from; may be repeated", OPTION_TEXTS,
     AT(from)},
    {"new", NULL, "what it was made from is new to the journal, too", OPTION_FLAG, AT(fresh)},
    {"species", "SPECIES", "an id; else that of the starter it came from", OPTION_TEXT,
     AT(species)},
    {"kind", "KIND", "liquid_culture, plate ...", OPTION_TEXT, AT(kind)},
    {"source", "WORDS", "where it came from, if not from a starter in the journal", OPTION_TEXT,
     AT(source)},
    {"at", "MOMENT", "when it was made; else now", OPTION_MOMENT, AT(at)},
    {"note", "WORDS", "anything to remember", OPTION_TEXT, AT(note)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

static enum status tell(struct recording *recording, const char *what)
{
    struct app *app = recording->app;
    const char *kind = record_types[recording->record].name;
    labels_find(app, recording->record, recording->label, &recording->row);
    if (recording->json)
        return app_json(
            app, json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind", kind, "did", what, "record",
                           view_record_json(&app->view, recording->record, &recording->row)));
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: %s.", kind, recording->label, what);
    view_record(&app->out, &app->view, recording->record, &recording->row);
    return app_flush(app);
}

/* A "column=value" word: into the row, and as a correction of a record that is there. */
static void set_column(struct recording *recording, const char *typed)
{
    const struct column *columns = record_types[recording->record].columns;
    struct assignment assignments[ASSIGN_MOST];
    struct app *app = recording->app;
    size_t many = assign_read(app, recording->record, typed, &recording->row, assignments);

    for (size_t k = 0; k < many; k++) {
        const char *name = assignments[k].column, *value = assignments[k].value;
        app_must(app,
                 journal_read_column(app->journal, &columns[record_column(recording->record, name)],
                                     value, app->arena, &recording->row, app->diags));
        if (recording->there)
            app_must(app, journal_correct(app->journal, recording->record, recording->label, name,
                                          value, recording->at, app->diags));
    }
}

/* The label named, or the next one where there is none. */
static void find_or_name(struct recording *recording, const char *label)
{
    struct app *app = recording->app;
    int64_t id = 0;

    record_init(recording->record, &recording->row);
    recording->label = label;
    if (label == NULL)
        app_must(app, journal_next_label(app->journal, recording->record, app->arena,
                                         &recording->label, app->diags));
    else if (labels_has(app, recording->record, label, &id, &recording->label))
        app_get(app, recording->record, id, &recording->row);
    else
        recording->label = label;
    recording->there = id != 0;
    recording->row.named.label = recording->label;
}

static enum status run_record(struct app *app)
{
    struct recording recording = {.app = app};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;

    app_open(app, JOURNAL_CREATE);
    options_fill(app, &recording);
    recording.record = count > 0 ? labels_kind(words[0]) : RECORD_COUNT;
    if (recording.record != RECORD_STARTER && recording.record != RECORD_LOT &&
        recording.record != RECORD_COOK && recording.record != RECORD_SESSION &&
        recording.record != RECORD_PLACE)
        app_stop(app, "record what? A starter, lot, cook, session or place; for instance: "
                      "jarside record cook C4 gauge=14psi minutes=95");
    if (count == 2 && (strcmp(words[1], "help") == 0 || strcmp(words[1], "?") == 0)) {
        screen_say(&app->out, 0, 2, ROLE_STRONG, "A %s may hold:", words[0]);
        assign_help(app, recording.record);
        return app_flush(app);
    }
    size_t named = count > 1 && strchr(words[1], '=') == NULL ? 2 : 1;
    find_or_name(&recording, named == 2 ? words[1] : NULL);
    if (count == named && recording.there)
        return tell(&recording, "as recorded");
    app_begin(app);
    for (size_t i = named; i < count; i++)
        set_column(&recording, words[i]);
    bool cooked_here = !recording.there && recording.record == RECORD_COOK &&
                       isnan(recording.row.cook.altitude) && config_word(app, "altitude") != NULL;
    if (cooked_here)
        set_column(&recording,
                   arena_format(app->arena, "altitude=%s", config_word(app, "altitude")));
    if (!recording.there)
        app_add(app, recording.record, &recording.row);
    app_commit(app);
    return tell(&recording, recording.there ? "corrected" : "recorded");
}

/* ---- starters -------------------------------------------------------------------------------- */

/* Whether `ancestor` is the starter itself or what it came from, however far back. */
static bool descends(struct app *app, int64_t starter, int64_t ancestor, int depth)
{
    enum { DEEPEST = 100 };
    size_t count = 0;

    if (starter == ancestor || depth > DEEPEST)
        return true;
    const struct parent *parents = app_all(app, RECORD_PARENT, "starter", starter, &count);
    for (size_t i = 0; i < count; i++)
        if (descends(app, parents[i].parent, ancestor, depth + 1))
            return true;
    return false;
}

static void add_parents(struct recording *recording)
{
    const struct texts *from = &recording->from;
    struct app *app = recording->app;

    for (size_t i = 0; i < from->count; i++) {
        struct parent link = {.starter = recording->row.starter.id};
        struct starter parent;
        struct vessel vessel;
        const char *found = NULL;
        if (labels_has(app, RECORD_VESSEL, from->words[i], &link.vessel, &found)) {
            labels_find(app, RECORD_VESSEL, found, &vessel);
            const char *why = vessel_risk(app, &vessel, EVENT_USE);
            if (why != NULL && vessel.state != VESSEL_USED)
                app_must(app, app_error(app, STATUS_CHECK, NULL, "%s", why));
            app_add(app, RECORD_PARENT, &link);
            continue;
        }
        labels_find(app, RECORD_STARTER, from->words[i], &parent);
        if (descends(app, parent.id, link.starter, 0))
            app_stop(app, "%s was itself made from %s; check both labels", parent.label,
                     recording->label);
        link.parent = parent.id;
        app_add(app, RECORD_PARENT, &link);
    }
}

/* The words of the command, as a description would be read: mushroom and kind of starter. */
static void read_words(struct recording *recording, const char *const *words, size_t count)
{
    struct app *app = recording->app;
    const struct rules *rules = app->rules;
    struct starter *row = &recording->row.starter;
    const struct unclear *unclear = NULL;
    const struct fact *facts = NULL;
    const char *text = "", *odd = NULL;

    for (size_t i = 0; i < count; i++) {
        size_t kind = 0;
        while (kind < rules->starter_count && strcasecmp(rules->starters[kind].id, words[i]) != 0)
            kind++;
        if (kind < rules->starter_count)
            row->kind = rules->starters[kind].id;
        else
            text = arena_format(app->arena, "%s%s ", text, words[i]);
    }
    app_must(app, triage_tell(app->triage, text, strlen(text), app->diags));
    if (triage_unclear(app->triage, &unclear) > 0)
        odd = unclear[0].words;
    size_t known = triage_facts(app->triage, &facts);
    for (size_t i = 0; i < known && odd == NULL; i++) {
        const struct observable *observable = &rules->observables[facts[i].observable];
        size_t value = 0;
        while (value < observable->value_count && (facts[i].observation.seen >> value & 1) == 0)
            value++;
        if (value < observable->value_count && observable->feeds == FEEDS_SPECIES)
            row->species = observable->values[value].id;
        else if (value < observable->value_count && observable->feeds == FEEDS_STARTER_KIND)
            row->kind = observable->values[value].id;
        else
            odd = facts[i].words;
    }
    if (odd != NULL)
        app_stop(app,
                 "'%s' is not understood; name the mushroom and the kind, for instance: jarside "
                 "starter S2 oyster liquid culture --from S1",
                 odd);
}

static void make_starter(struct recording *recording, const char *const *words, size_t count)
{
    const struct {
        const char *column, *value;
    } given[] = {{"species", recording->species},
                 {"kind", recording->kind},
                 {"source", recording->source},
                 {"note", recording->note}};
    struct app *app = recording->app;
    struct starter parent;
    struct vessel vessel;

    read_words(recording, words, count);
    recording->row.starter.made = recording->at;
    for (size_t i = 0; i < sizeof given / sizeof *given; i++)
        if (given[i].value != NULL)
            set_column(recording,
                       arena_format(app->arena, "%s=%s", given[i].column, given[i].value));
    /* The mushroom is that of the first parent, when nothing else was said; of a vessel it is the grain. */
    if (recording->from.count > 0) {
        struct starter *row = &recording->row.starter;
        const char *found = NULL;
        int64_t id = 0;
        bool grain = labels_has(app, RECORD_VESSEL, recording->from.words[0], &id, &found);
        if (grain)
            starter_of_vessel(app, found, &vessel, &parent);
        else
            labels_find(app, RECORD_STARTER, recording->from.words[0], &parent);
        row->species = row->species[0] != '\0' ? row->species : parent.species;
        row->kind = row->kind[0] != '\0' || !grain ? row->kind : parent.kind;
    }
    app_begin(app);
    app_add(app, RECORD_STARTER, &recording->row);
    add_parents(recording);
    app_commit(app);
}

/* "... from S1 and B1-3", "... from plate P4": what it was made from stands last. A plate not yet on
 * record is one when that was said; how many words stand before. */
static size_t take_from(struct recording *recording, const char *const *words, size_t count)
{
    struct app *app = recording->app;
    const char **from = NULL, *kind = "";
    size_t before = 0, named = 0;
    while (before < count && strcasecmp(words[before], "from") != 0)
        before++;
    for (size_t i = before + 1; i < count; i++) {
        const char *found = NULL;
        int64_t id = 0;
        if (labels_has(app, RECORD_STARTER, words[i], &id, &found) ||
            labels_has(app, RECORD_VESSEL, words[i], &id, &found)) {
            *arena_push(app->arena, from, named) = found;
        } else if (strpbrk(words[i], "0123456789") != NULL && !recording->fresh) {
            app_stop(app, "nothing in the journal is called '%s'; --new records it as a starter",
                     words[i]);
        } else if (strpbrk(words[i], "0123456789") != NULL) {
            struct recording parent = {.app = app, .record = RECORD_STARTER};
            find_or_name(&parent, words[i]);
            read_words(&parent, &kind, 1);
            app_add(app, RECORD_STARTER, &parent.row);
            *arena_push(app->arena, from, named) = words[i];
        } else if (strcasecmp(words[i], "and") != 0) {
            kind = words[i];
        }
    }
    for (size_t i = 0; i < recording->from.count; i++)
        *arena_push(app->arena, from, named) = recording->from.words[i];
    recording->from = (struct texts){from, named};
    return before;
}

static enum status run_starter(struct app *app)
{
    struct recording recording = {.app = app, .record = RECORD_STARTER};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    const char *found = NULL;
    int64_t id = 0;

    app_open(app, JOURNAL_CREATE);
    options_fill(app, &recording);
    /* "S2", "LC-4": a word with a figure in it is a label, and what was named before is one, too. */
    bool named = count > 0 && (strpbrk(words[0], "0123456789") != NULL ||
                               labels_has(app, RECORD_STARTER, words[0], &id, &found));
    find_or_name(&recording, named ? words[0] : NULL);
    count = take_from(&recording, words, count);
    if (!recording.there)
        make_starter(&recording, words + named, count - named);
    else if (count > 1 || recording.from.count == 0)
        app_stop(app,
                 "starter %s is there already; 'jarside correct %s COLUMN=VALUE' corrects it, "
                 "--from names what it came from",
                 recording.label, recording.label);
    else
        add_parents(&recording);
    return tell(&recording, "recorded");
}

/* ---- list, search, history --------------------------------------------------------------------- */

static const char *const papers[] = {[PAPER_A4] = "a4", [PAPER_LETTER] = "letter", NULL};

/* Writes a page, which is released, and says so. */
static enum status write_page(struct app *app, const char *path, bool force, struct text *html)
{
    app_write(app, path, html, force);
    if (strcmp(path, "-") != 0)
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Written to %s.", path);
    return app_flush(app);
}

struct shown { /* which records of the journal, and how */
    const char *batch, *html;
    int state, fate, paper;
    size_t limit; /* SIZE_MAX when not said */
    bool force, json;
};

#define AT(member) .target = offsetof(struct shown, member)
static const struct option list_options[] = {
    {"batch", "BATCH", "vessels, looks, events or outcomes of this batch only", OPTION_TEXT,
     AT(batch)},
    {"state", "STATE", "vessels that are growing, isolated, discarded or used", OPTION_CHOICE,
     AT(state), .words = vessel_state_words},
    {"fate", "FATE", "vessels that are open, sound, stuck, contaminated or untold", OPTION_CHOICE,
     AT(fate), .words = fate_words},
    {"limit", "N", "the newest N, else 20; 0 for all", OPTION_COUNT, AT(limit)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};

static const struct option search_options[] = {
    {"limit", "N", "the newest N of each kind, else 10", OPTION_COUNT, AT(limit)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};

static const struct option history_options[] = {
    {"limit", "N", "the newest N entries of each kind, else 100; 0 for all", OPTION_COUNT,
     AT(limit)},
    {"html", "FILE", "of a batch or vessel, as a page with a chart; '-' for standard output",
     OPTION_TEXT, AT(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, AT(force)},
    {"paper", "PAPER", "a4 (the default) or letter", OPTION_CHOICE, AT(paper), .words = papers,
     .settled = true},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

static enum status run_list(struct app *app)
{
    enum { USUAL = 20, USUAL_OF_BATCH = 200 };
    struct shown given = {.state = SURVEY_ANY, .fate = SURVEY_ANY, .limit = SIZE_MAX};
    struct survey survey = survey_all(RECORD_BATCH, USUAL);
    const char *word = app->arguments.operand_count > 0 ? app->arguments.operands[0] : NULL;
    struct batch batch = {.id = 0};
    struct page page;
    int64_t id = 0;
    enum status status;

    app_open(app, JOURNAL_READ);
    options_fill(app, &given);
    if (app->arguments.operand_count > 1)
        app_stop(app, "list one thing at a time");
    bool filtered = given.state != SURVEY_ANY || given.fate != SURVEY_ANY;
    if (given.batch != NULL || filtered)
        survey.record = RECORD_VESSEL;
    if (word != NULL && (survey.record = labels_kind(word)) == RECORD_COUNT) {
        if (!labels_has(app, RECORD_BATCH, word, &id, &given.batch)) /* "B3" lists its vessels */
            app_stop(app,
                     "list what? batches, vessels, starters, lots, cooks, sessions, places, "
                     "looks, events, outcomes, edits, or a batch; not '%s'",
                     word);
        survey.record = RECORD_VESSEL;
    }
    if (given.batch != NULL)
        labels_find(app, RECORD_BATCH, given.batch, &batch);
    if (filtered && survey.record != RECORD_VESSEL)
        app_stop(app, "only vessels have a state or a fate");
    if (given.batch != NULL && survey.record != RECORD_VESSEL && survey.record != RECORD_LOOK &&
        survey.record != RECORD_EVENT && survey.record != RECORD_OUTCOME)
        app_stop(app, "--batch goes with vessels, looks, events and outcomes");
    survey.batch = batch.id;
    survey.state = given.state;
    survey.fate = given.fate;
    survey.limit = given.limit != SIZE_MAX ? given.limit
                   : survey.batch != 0     ? USUAL_OF_BATCH
                                           : USUAL;
    app_must(app, survey_page(app->journal, &survey, app->arena, &page, app->diags));
    if (given.json) {
        json_t *records = view_list_json(&app->view, survey.record, &page, &status);
        app_must(app, status);
        return app_json(app, json_pack("{s:i, s:s, s:I, s:o}", "schema", 1, "kind",
                                       record_types[survey.record].name, "total",
                                       (json_int_t)page.total, "records", records));
    }
    app_must(app, view_list(&app->out, &app->view, survey.record, &page));
    if (page.count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "The journal has none of that kind.");
    return app_flush(app);
}

static enum status run_search(struct app *app)
{
    struct shown given = {.limit = 10};
    const char **words = NULL;
    size_t count = 0;
    struct hits hits;
    enum status status = STATUS_OK;

    app_open(app, JOURNAL_READ);
    options_fill(app, &given);
    for (size_t i = 0; i < app->arguments.operand_count; i++) {
        const char *at = app->arguments.operands[i];
        for (at += strspn(at, " \t\n"); *at != '\0'; at += strspn(at, " \t\n")) {
            size_t length = strcspn(at, " \t\n");
            *arena_push(app->arena, words, count) = arena_copy(app->arena, at, length);
            at += length;
        }
    }
    if (count == 0)
        app_stop(app, "search for what? For instance: jarside search greasy S1");
    app_must(app,
             survey_search(app->journal, words, count, given.limit > 0 ? given.limit : SIZE_MAX / 2,
                           app->arena, &hits, app->diags));
    int64_t *ids = arena_array(app->arena, hits.count + 1, sizeof *ids);
    json_t *groups = json_array();
    for (size_t start = 0, end = 0; start < hits.count; start = end) { /* a kind of record */
        enum record record = hits.hits[start].record;
        while (end < hits.count && hits.hits[end].record == record)
            end++;
        for (size_t k = end; k > start; k--) /* the newest last */
            ids[end - k] = hits.hits[k - 1].id;
        const struct page page = {ids, end - start, end - start};
        if (given.json) {
            json_t *records = view_list_json(&app->view, record, &page, &status);
            view_json_row(groups, "{s:s, s:o}", "kind", record_types[record].name, "records",
                          records);
        } else {
            if (app->out.out.length > 0)
                screen_blank(&app->out);
            status = view_list(&app->out, &app->view, record, &page);
        }
        app_must(app, status);
    }
    if (given.json)
        return app_json(
            app, json_pack("{s:i, s:b, s:o}", "schema", 1, "more", hits.more, "found", groups));
    json_decref(groups);
    if (hits.count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing in the journal contains all these words.");
    if (hits.more)
        screen_say(&app->out, 0, 0, ROLE_QUIET, "There are older ones; --limit shows more.");
    return app_flush(app);
}

/* The kind said, or the first that has such a label: what one looks at most comes first. */
static enum status run_history(struct app *app)
{
    static const enum record kinds[] = {RECORD_VESSEL,  RECORD_BATCH, RECORD_STARTER, RECORD_COOK,
                                        RECORD_SESSION, RECORD_LOT,   RECORD_PLACE};
    const char *const *words = app->arguments.operands, *found = NULL;
    size_t count = app->arguments.operand_count;
    struct shown given = {.limit = 100};
    union any_record row;
    int64_t id = 0;
    enum status status;

    app_open(app, JOURNAL_READ);
    options_fill(app, &given);
    bool several = given.html == NULL && count > 0 &&
                   (labels_leading(app, words, count) > 1 || strstr(words[0], ".."));
    if (several && !given.json) { /* B1-3..5, B1 3 5 */
        const struct chosen chosen = labels_vessels(app, words, count);
        for (size_t i = 0; i < chosen.count; i++) {
            if (i > 0)
                screen_blank(&app->out);
            app_must(app, view_history(&app->out, &app->view, RECORD_VESSEL, &chosen.vessels[i],
                                       given.limit));
        }
        return app_flush(app);
    }
    if (count < 1 || count > 2)
        app_stop(app, "the history of what? For instance: jarside history B3-7, or: jarside "
                      "history S1");
    const char *label = words[count - 1];
    enum record kind = count == 2 ? labels_kind(words[0]) : RECORD_COUNT;
    if (count == 2 && (kind == RECORD_COUNT || record_types[kind].columns[0].kind != COLUMN_LABEL))
        app_stop(app,
                 "unknown kind '%s'; it can be vessel, batch, starter, cook, session, lot or place",
                 words[0]);
    for (size_t i = 0; kind == RECORD_COUNT && i < sizeof kinds / sizeof *kinds; i++)
        if (labels_has(app, kinds[i], label, &id, &found))
            kind = kinds[i];
    if (kind == RECORD_COUNT && strchr(label, '-') != NULL)
        kind = RECORD_VESSEL; /* the nearest is named */
    if (kind == RECORD_COUNT)
        app_stop(app, "nothing in the journal is called '%s'; 'jarside list' shows what there is",
                 label);
    labels_find(app, kind, label, &row);
    if (given.json) {
        json_t *json = view_history_json(&app->view, kind, &row, given.limit, &status);
        app_must(app, status);
        return app_json(app, json);
    }
    if (given.html != NULL && kind != RECORD_BATCH && kind != RECORD_VESSEL)
        app_stop(app, "--html goes with a batch or a vessel; '%s' is neither", label);
    if (given.html != NULL) {
        struct text html;
        text_init(&html);
        app_must(app, view_history_html(&html, &app->view, kind, &row, given.limit,
                                        (enum paper)given.paper));
        return write_page(app, given.html, given.force, &html);
    }
    app_must(app, view_history(&app->out, &app->view, kind, &row, given.limit));
    return app_flush(app);
}

/* ---- losses ---------------------------------------------------------------------------------- */

struct stats_request {
    double cost, yield;
    bool json;
};

#define AT(member) .target = offsetof(struct stats_request, member)
static const struct option stats_options[] = {
    {"cost", "MONEY", "what it costs to fill one vessel: 1.20", OPTION_AMOUNT, AT(cost)},
    {"yield", "WEIGHT", "what one sound vessel yields: 400g", OPTION_AMOUNT, AT(yield),
     .dimension = DIM_GRAMS},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

static enum status run_stats(struct app *app)
{
    struct stats_request given = {.cost = NAN, .yield = NAN};
    enum status status;

    app_open(app, JOURNAL_READ);
    if (app->arguments.operand_count > 0)
        app_stop(app, "unexpected argument '%s'; 'jarside review' finds what the losses share",
                 app->arguments.operands[0]);
    options_fill(app, &given);
    if (given.json) {
        json_t *json = view_losses_json(&app->view, given.cost, given.yield, &status);
        app_must(app, status);
        return app_json(app, json);
    }
    app_must(app, view_losses(&app->out, &app->view, given.cost, given.yield));
    return app_flush(app);
}

/* ---- what is due, and labels: what one looks up before going to the shelves -------------------- */

struct page_request {
    int64_t by;
    size_t limit, skip;
    const char *calendar, *html;
    int remind, paper, labels;
    bool sheet, cut, force, json;
};

#define AT(member) .target = offsetof(struct page_request, member)
static const struct option due_options[] = {
    {"by", "DATE", "what is due by then: 2026-03-12; else today", OPTION_DAY, AT(by)},
    {"limit", "N", "the first N vessels, else 500; 0 for all", OPTION_COUNT, AT(limit)},
    {"ics", "FILE", "write all that is due as a calendar; '-' for standard output", OPTION_TEXT,
     AT(calendar)},
    {"remind", "HH:MM", "with --ics: let the calendar remind you at that time of day", OPTION_CLOCK,
     AT(remind)},
    {"sheet", NULL, "a sheet to print, in plain text, with boxes to tick", OPTION_FLAG, AT(sheet)},
    {"html", "FILE", "the same as a page; '-' for standard output", OPTION_TEXT, AT(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, AT(force)},
    {"paper", "PAPER", "a4 (the default) or letter", OPTION_CHOICE, AT(paper), .words = papers,
     .settled = true},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};

static const struct option labels_options[] = {
    {"html", "FILE", "a page to print; '-' for standard output", OPTION_TEXT, AT(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, AT(force)},
    {"sheet", "SIZE", "of its labels, in mm: 63.5x38.1 or 70x37 (A4), 66.7x25.4 (Letter)",
     OPTION_CHOICE, AT(labels), .words = label_sheets},
    {"paper", "PAPER", "a4 (63.5x38.1) or letter (66.7x25.4); --sheet says it too", OPTION_CHOICE,
     AT(paper), .words = papers, .settled = true},
    {"skip", "N", "leave the first N labels of the first sheet empty", OPTION_COUNT, AT(skip)},
    {"cut", NULL, "print lines to cut along, for plain paper", OPTION_FLAG, AT(cut)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

static enum status write_calendar(struct app *app, const struct page_request *given)
{
    const struct calendar_options how = {
        .now = moment_now(), .until = INT64_MAX, .remind = given->remind};
    const char *path = given->calendar;
    struct text calendar;
    size_t days = 0;

    text_init(&calendar);
    app_must(app, calendar_text(app->journal, &how, &calendar, &days, app->diags));
    app_write(app, path, &calendar, given->force);
    if (strcmp(path, "-") == 0)
        return STATUS_OK;
    if (days == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing is due: %s is an empty calendar.", path);
    else
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "%zu day%s of looks written to %s.", days,
                   days == 1 ? "" : "s", path);
    return app_flush(app);
}

static enum status run_due(struct app *app)
{
    struct page_request given = {
        .by = moment_day(moment_now()), .limit = 500, .remind = CALENDAR_NO_ALARM};
    const struct journal_view *view = &app->view;
    struct due_list list;
    struct text html;

    app_open(app, JOURNAL_READ);
    if (app->arguments.operand_count > 0)
        app_stop(app, "unexpected argument '%s'; --by DATE looks ahead",
                 app->arguments.operands[0]);
    options_fill(app, &given);
    if (given.calendar != NULL)
        return write_calendar(app, &given);
    app_must(app, view_due_find(view, given.by, given.limit, &list));
    if (given.json)
        return app_json(app, view_due_json(view, &list));
    if (given.html != NULL) {
        text_init(&html);
        view_due_html(&html, view, &list, (enum paper)given.paper);
        return write_page(app, given.html, given.force, &html);
    }
    (given.sheet ? view_due_sheet : view_due)(&app->out, view, &list);
    return app_flush(app);
}

/* Of the vessels named; of those of the newest batch when none are. */
static enum status run_labels(struct app *app)
{
    struct page_request given = {.labels = -1};
    struct survey survey = survey_all(RECORD_BATCH, 1);
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    struct batch batch;
    struct page page;
    struct text html;

    app_open(app, JOURNAL_READ);
    options_fill(app, &given);
    if (count == 0) {
        app_must(app, survey_page(app->journal, &survey, app->arena, &page, app->diags));
        if (page.count == 0)
            app_stop(app, "there is no batch yet; 'jarside batch' starts one");
        app_get(app, RECORD_BATCH, page.ids[0], &batch);
        words = &batch.label;
        count = 1;
    }
    const struct chosen chosen = labels_vessels(app, words, count);
    if (given.json)
        return app_json(app, json_pack("{s:i, s:o}", "schema", 1, "labels",
                                       view_json_vessels(chosen.vessels, chosen.count)));
    if (given.html == NULL) {
        app_must(app, view_labels(&app->out, &app->view, chosen.vessels, chosen.count));
        return app_flush(app);
    }
    enum label_sheet sheet = given.labels >= 0             ? (enum label_sheet)given.labels
                             : given.paper == PAPER_LETTER ? SHEET_LETTER_30
                                                           : SHEET_A4_21;
    if (given.skip >= label_sheet_room(sheet))
        app_wrong(app, "skip", "a sheet of %s has %zu labels", label_sheets[sheet],
                  label_sheet_room(sheet));
    text_init(&html);
    app_must(app, view_labels_html(&html, &app->view, chosen.vessels, chosen.count, sheet,
                                   given.skip, given.cut));
    return write_page(app, given.html, given.force, &html);
}

const struct command record_commands[] = {
    {"due", "shows which vessels to look at today, the most overdue first", "", NULL, due_options,
     run_due},
    {"list", "lists batches, vessels and what they are made with", "[KIND | BATCH]",
     "Batches by default; or vessels, starters, lots, cooks, sessions, places, looks, events, "
     "outcomes, edits. The newest come last. jarside list B3 lists its vessels.",
     list_options, run_list},
    {"history", "shows all that happened to a vessel, batch, starter, cook ...", "[KIND] LABEL",
     "Of a vessel, its looks and events in order; of a starter, what it came from and what became "
     "of all vessels it went into. The kind is only needed where two kinds share a label.",
     history_options, run_history},
    {"stats", "counts losses by month, mushroom and starter", "",
     "The share is of the vessels that are no longer open. What the losses have in common, and how "
     "sure that is, says jarside review.",
     stats_options, run_stats},
    {"search", "finds words in labels, notes, looks and findings", "WORDS...",
     "Finds records that contain all the words, in upper or lower case.", search_options,
     run_search},
    {"labels", "prints labels for vessels", "[BATCH | VESSEL...]",
     "Of the newest batch when none is named.", labels_options, run_labels},
    {"starter", "records a starter and what it was made from", "[LABEL] [WORDS...]",
     "A starter is the culture or spawn used as inoculum. For instance: jarside starter S2 liquid "
     "culture from S1, or from B1-3, or from plate P4 --new",
     starter_options, run_starter},
    {"record", "records a cook, lot, session, place or starter, or shows one",
     "KIND [LABEL] [COLUMN=VALUE...]",
     "Units as people write them: jarside record cook C4 gauge=14psi minutes=95 altitude=700m. A "
     "sign of the rules is taken as a fact: venting=vented_10. 'jarside record cook help' lists "
     "what a "
     "cook may hold. A session is one inoculation "
     "session. Columns of a record that is there already are corrected, and the old values are "
     "kept.",
     record_options, run_record},
    {0},
};
