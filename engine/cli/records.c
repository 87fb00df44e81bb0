/* SPDX-License-Identifier: GPL-3.0-or-later */
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

struct record_request {
    struct moment at;
    struct texts from;
    const char *species, *kind, *source, *note;
    bool json;
};

#define TARGET(member) .target = offsetof(struct record_request, member)
static const struct option record_options[] = {
    {"at", "MOMENT", "when a change was made, if not now", OPTION_MOMENT, TARGET(at)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};

static const struct option starter_options[] = {
    {"from", "STARTER", "the starter it was made from; may be repeated", OPTION_TEXTS,
     TARGET(from)},
    {"species", "SPECIES", "an id; else that of the starter it came from", OPTION_TEXT,
     TARGET(species)},
    {"kind", "KIND", "liquid_culture, plate ...", OPTION_TEXT, TARGET(kind)},
    {"source", "WORDS", "where it came from, when from no starter of the journal", OPTION_TEXT,
     TARGET(source)},
    {"at", "MOMENT", "when it was made; else now", OPTION_MOMENT, TARGET(at)},
    {"note", "WORDS", "anything to remember", OPTION_TEXT, TARGET(note)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};
#undef TARGET

struct recording {
    struct app *app;
    struct record_request request;
    enum record record;
    union any_record row;
    bool there; /* it is in the journal already */
    const char *label;
};

static enum status tell(struct recording *recording, const char *what)
{
    struct app *app = recording->app;
    const char *kind = record_types[recording->record].name;
    const struct journal_view view = app->view;
    enum status status = journal_find(app->journal, recording->record, recording->label, app->arena,
                                      &recording->row, app->diags);
    if (status != STATUS_OK)
        return status;
    if (recording->request.json)
        return app_json(app,
                        json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind", kind, "did", what,
                                  "record",
                                  view_record_json(&view, recording->record, &recording->row)),
                        false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: %s.", kind, recording->label, what);
    view_record(&app->out, &view, recording->record, &recording->row);
    return app_flush(app);
}

/* "column=value" words: into the row, and as corrections of a record that is there. */
static enum status set_columns(struct recording *recording, const char *const *typed, size_t count)
{
    const struct column *columns = record_types[recording->record].columns;
    struct assignment assignments[ASSIGN_MOST];
    struct app *app = recording->app;
    enum status status = STATUS_OK;
    size_t many = 0;

    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        status = assign_read(app, recording->record, typed[i], &recording->row, assignments, &many);
        for (size_t k = 0; k < many && status == STATUS_OK; k++) {
            const char *name = assignments[k].column, *value = assignments[k].value;
            status =
                journal_read_column(app->journal, &columns[record_column(recording->record, name)],
                                    value, app->arena, &recording->row, app->diags);
            if (status == STATUS_OK && recording->there)
                status = journal_correct(app->journal, recording->record, recording->label, name,
                                         value, recording->request.at, app->diags);
        }
    }
    return status;
}

/* The label named, or the next one where there is none. */
static enum status find_or_name(struct recording *recording, const char *label)
{
    struct app *app = recording->app;
    int64_t id = 0;

    record_init(recording->record, &recording->row);
    if (label == NULL) {
        enum status status = journal_next_label(app->journal, recording->record, app->arena,
                                                &recording->row.named.label, app->diags);
        recording->label = recording->row.named.label;
        return status;
    }
    recording->label = label;
    recording->there = labels_has(app, recording->record, label, &id, &recording->label);
    if (!recording->there)
        recording->label = label;
    recording->row.named.label = recording->label;
    return recording->there ? labels_find(app, recording->record, recording->label, &recording->row)
                            : STATUS_OK;
}

static enum status run_record(struct app *app)
{
    struct recording recording = {.app = app};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    enum status status = app_open(app, JOURNAL_CREATE);

    if (status != STATUS_OK)
        return status;
    recording.record = count > 0 ? labels_kind(words[0]) : RECORD_COUNT;
    if (recording.record != RECORD_STARTER && recording.record != RECORD_LOT &&
        recording.record != RECORD_COOK && recording.record != RECORD_SESSION &&
        recording.record != RECORD_PLACE)
        return app_usage(app, "record what? A starter, lot, cook, session or place; for instance: "
                              "jarside record cook C4 gauge=15psi minutes=90");
    size_t named = count > 1 && strchr(words[1], '=') == NULL ? 2 : 1;
    if ((status = options_fill(app, &recording.request)) ||
        (status = find_or_name(&recording, named == 2 ? words[1] : NULL)))
        return status;
    if (count == named && recording.there)
        return tell(&recording, "as it stands");
    if ((status = journal_begin(app->journal, app->diags)))
        return status;
    status = set_columns(&recording, words + named, count - named);
    if (status == STATUS_OK && !recording.there)
        status = journal_add(app->journal, recording.record, &recording.row, app->diags);
    if ((status = app_commit(app, status)))
        return status;
    return tell(&recording, recording.there ? "corrected" : "recorded");
}

const struct command command_record = {
    .name = "record",
    .summary = "records a cook, lot, session, place or starter, or shows one",
    .operands = "KIND [LABEL] [COLUMN=VALUE...]",
    .detail = "Units as people write them: jarside record cook C4 gauge=15psi minutes=90 "
              "altitude=1600m. A sign of the rules is taken as a fact: venting=vented_10. Of one "
              "that is there the columns are corrected, and what they were is kept.",
    .options = record_options,
    .run = run_record,
};

/* ---- starters -------------------------------------------------------------------------------- */

/* Whether `ancestor` is the starter itself or what it came from, however far back. */
static enum status descends(struct app *app, int64_t starter, int64_t ancestor, int depth,
                            bool *does)
{
    enum { DEEPEST = 100 };
    void *rows = NULL;
    size_t count = 0;

    if (starter == ancestor || depth > DEEPEST) {
        *does = true;
        return STATUS_OK;
    }
    enum status status = journal_all(app->journal, RECORD_PARENT, "starter", starter, app->arena,
                                     &rows, &count, app->diags);
    for (size_t i = 0; i < count && status == STATUS_OK && !*does; i++)
        status = descends(app, ((struct parent *)rows)[i].parent, ancestor, depth + 1, does);
    return status;
}

static enum status add_parents(struct recording *recording)
{
    const struct texts *from = &recording->request.from;
    struct app *app = recording->app;
    enum status status = STATUS_OK;

    for (size_t i = 0; i < from->count && status == STATUS_OK; i++) {
        struct starter parent;
        struct parent link = {.starter = recording->row.starter.id};
        bool circle = false;
        if ((status = labels_find(app, RECORD_STARTER, from->words[i], &parent)) ||
            (status = descends(app, parent.id, link.starter, 0, &circle)))
            return status;
        if (circle)
            return app_usage(app, "%s came from %s itself; one of the two is a slip", parent.label,
                             recording->label);
        link.parent = parent.id;
        status = journal_add(app->journal, RECORD_PARENT, &link, app->diags);
    }
    return status;
}

static bool is_kind(struct recording *recording, const char *word)
{
    const struct rules *rules = recording->app->rules;
    for (size_t i = 0; i < rules->starter_count; i++)
        if (strcasecmp(rules->starters[i].id, word) == 0) {
            recording->row.starter.kind = rules->starters[i].id;
            return true;
        }
    return false;
}

/* False: it says nothing of a starter. */
static bool take_fact(struct recording *recording, const struct fact *fact)
{
    const struct observable *observable = &recording->app->rules->observables[fact->observable];
    size_t value = 0;
    while (value < observable->value_count && (fact->observation.seen >> value & 1) == 0)
        value++;
    if (value == observable->value_count)
        return false;
    if (observable->feeds == FEEDS_SPECIES)
        recording->row.starter.species = observable->values[value].id;
    else if (observable->feeds == FEEDS_STARTER_KIND)
        recording->row.starter.kind = observable->values[value].id;
    else
        return false;
    return true;
}

/* The words of the command, as a description would be read: mushroom and kind of starter. */
static enum status read_words(struct recording *recording, const char *const *words, size_t count)
{
    struct app *app = recording->app;
    const struct unclear *unclear = NULL;
    const struct fact *facts = NULL;
    const char *text = "", *odd = NULL;

    for (size_t i = 0; i < count; i++)
        if (!is_kind(recording, words[i]))
            text = arena_format(app->arena, "%s%s ", text, words[i]);
    enum status status = triage_tell(app->triage, text, strlen(text), app->diags);
    if (status != STATUS_OK)
        return status;
    if (triage_unclear(app->triage, &unclear) > 0)
        odd = unclear[0].words;
    size_t known = triage_facts(app->triage, &facts);
    for (size_t i = 0; i < known && odd == NULL; i++)
        if (!take_fact(recording, &facts[i]))
            odd = facts[i].words;
    return odd == NULL ? STATUS_OK
                       : app_usage(app,
                                   "'%s' is not understood; say the mushroom and the kind, for "
                                   "instance: jarside starter S2 oyster liquid culture --from S1",
                                   odd);
}

static enum status make_starter(struct recording *recording, const char *const *words, size_t count)
{
    const struct record_request *request = &recording->request;
    const struct {
        const char *column, *value;
    } given[] = {{"species", request->species},
                 {"kind", request->kind},
                 {"source", request->source},
                 {"note", request->note}};
    struct app *app = recording->app;
    struct starter parent;
    enum status status = read_words(recording, words, count);

    recording->row.starter.made = request->at;
    for (size_t i = 0; i < sizeof given / sizeof *given && status == STATUS_OK; i++)
        if (given[i].value != NULL) {
            const char *typed = arena_format(app->arena, "%s=%s", given[i].column, given[i].value);
            status = set_columns(recording, &typed, 1);
        }
    /* The mushroom is that of the first parent, when nothing else was said. */
    if (status == STATUS_OK && request->from.count > 0 &&
        recording->row.starter.species[0] == '\0') {
        status = labels_find(app, RECORD_STARTER, request->from.words[0], &parent);
        if (status == STATUS_OK)
            recording->row.starter.species = parent.species;
    }
    if (status != STATUS_OK || (status = journal_begin(app->journal, app->diags)))
        return status;
    status = journal_add(app->journal, RECORD_STARTER, &recording->row, app->diags);
    return app_commit(app, status == STATUS_OK ? add_parents(recording) : status);
}

static enum status run_starter(struct app *app)
{
    struct recording recording = {.app = app, .record = RECORD_STARTER};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    const char *found = NULL;
    int64_t id = 0;
    enum status status = app_open(app, JOURNAL_CREATE);

    if (status != STATUS_OK || (status = options_fill(app, &recording.request)))
        return status;
    /* "S2", "LC-4": a word with a figure in it is a label, and what was named before is one, too. */
    bool named = count > 0 && (strpbrk(words[0], "0123456789") != NULL ||
                               labels_has(app, RECORD_STARTER, words[0], &id, &found));
    if ((status = find_or_name(&recording, named ? words[0] : NULL)))
        return status;
    if (!recording.there)
        status = make_starter(&recording, words + named, count - named);
    else if (count > 1 || recording.request.from.count == 0)
        return app_usage(app,
                         "starter %s is there already; 'jarside correct %s COLUMN=VALUE' "
                         "mends it, --from names what it came from",
                         recording.label, recording.label);
    else
        status = add_parents(&recording);
    return status == STATUS_OK ? tell(&recording, "recorded") : status;
}

const struct command command_starter = {
    .name = "starter",
    .summary = "records a starter and what it was made from",
    .operands = "[LABEL] [WORDS...]",
    .detail = "For instance: jarside starter S2 liquid culture --from S1",
    .options = starter_options,
    .run = run_starter,
};

/* ---- list ------------------------------------------------------------------------------------ */

struct list_request {
    const char *batch;
    int state, fate;
    size_t limit; /* SIZE_MAX when not said */
    bool json;
};

#define TARGET(member) .target = offsetof(struct list_request, member)
static const struct option list_options[] = {
    {"batch", "BATCH", "vessels, looks, deeds or outcomes of this batch only", OPTION_TEXT,
     TARGET(batch)},
    {"state", "STATE", "vessels that are growing, isolated, discarded or used", OPTION_CHOICE,
     TARGET(state), .words = vessel_state_words},
    {"fate", "FATE", "vessels that are open, sound, stuck, contaminated or untold", OPTION_CHOICE,
     TARGET(fate), .words = fate_words},
    {"limit", "N", "the newest N, else 20; 0 for all", OPTION_COUNT, TARGET(limit)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};
#undef TARGET

/* "vessels", or what the options are about. "B3" alone lists its vessels. */
static enum status read_kind(struct app *app, const struct list_request *request,
                             struct survey *survey)
{
    const char *batch = request->batch, *found = NULL;
    const char *word = app->arguments.operand_count > 0 ? app->arguments.operands[0] : NULL;
    bool filtered = request->state != SURVEY_ANY || request->fate != SURVEY_ANY;
    struct batch row = {.id = 0};
    int64_t id = 0;

    survey->record = batch != NULL || filtered ? RECORD_VESSEL : RECORD_BATCH;
    if (app->arguments.operand_count > 1)
        return app_usage(app, "list one thing at a time");
    if (word != NULL && (survey->record = labels_kind(word)) == RECORD_COUNT) {
        if (!labels_has(app, RECORD_BATCH, word, &id, &found))
            return app_usage(
                app,
                "list what? batches, vessels, starters, lots, cooks, sessions, places, "
                "looks, deeds, outcomes, edits, or a batch; not '%s'",
                word);
        survey->record = RECORD_VESSEL;
        batch = found;
    }
    enum status status = batch != NULL ? labels_find(app, RECORD_BATCH, batch, &row) : STATUS_OK;
    survey->batch = row.id;
    bool happened = survey->record == RECORD_LOOK || survey->record == RECORD_EVENT ||
                    survey->record == RECORD_OUTCOME;
    if (status != STATUS_OK || survey->record == RECORD_VESSEL)
        return status;
    if (filtered)
        return app_usage(app, "only vessels have a state or a fate");
    if (!happened && batch != NULL)
        return app_usage(app, "--batch goes with vessels, looks, deeds and outcomes");
    return STATUS_OK;
}

static enum status run_list(struct app *app)
{
    enum { USUAL = 20, USUAL_OF_BATCH = 200 };
    struct list_request request = {.state = SURVEY_ANY, .fate = SURVEY_ANY, .limit = SIZE_MAX};
    struct survey survey = survey_all(RECORD_BATCH, USUAL);
    struct page page;
    enum status status;

    if ((status = app_open(app, JOURNAL_READ)) || (status = options_fill(app, &request)) ||
        (status = read_kind(app, &request, &survey)))
        return status;
    survey.state = request.state;
    survey.fate = request.fate;
    survey.limit = request.limit != SIZE_MAX ? request.limit
                   : survey.batch != 0       ? USUAL_OF_BATCH
                                             : USUAL;
    const struct journal_view view = app->view;
    if ((status = survey_page(app->journal, &survey, app->arena, &page, app->diags)))
        return status;
    if (request.json) {
        json_t *records = view_list_json(&view, survey.record, &page, &status);
        return status != STATUS_OK ? status
                                   : app_json(app,
                                              json_pack("{s:i, s:s, s:I, s:o}", "schema", 1, "kind",
                                                        record_types[survey.record].name, "total",
                                                        (json_int_t)page.total, "records", records),
                                              false);
    }
    if ((status = view_list(&app->out, &view, survey.record, &page)))
        return status;
    if (page.count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing of that kind is in the journal.");
    return app_flush(app);
}

const struct command command_list = {
    .name = "list",
    .summary = "lists batches, vessels and what they are made with",
    .operands = "[KIND | BATCH]",
    .detail =
        "Batches, unless told otherwise: vessels, starters, lots, cooks, sessions, places, "
        "looks, deeds, outcomes, edits. The newest come last. jarside list B3 shows its vessels.",
    .options = list_options,
    .run = run_list,
};

/* ---- search ---------------------------------------------------------------------------------- */

struct shown_request { /* of a search or a history */
    size_t limit;
    bool json;
};

#define TARGET(member) .target = offsetof(struct shown_request, member)
static const struct option search_options[] = {
    {"limit", "N", "the newest N of each kind, else 10", OPTION_COUNT, TARGET(limit)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};

static const struct option history_options[] = {
    {"limit", "N", "the newest N events of each kind, else 100; 0 for all", OPTION_COUNT,
     TARGET(limit)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};
#undef TARGET

/* The hits of the kind that stands at `start`, newest last, in `ids`; where the next kind starts. */
static size_t page_of_hits(const struct hits *hits, size_t start, int64_t *ids, struct page *page)
{
    size_t end = start;
    while (end < hits->count && hits->hits[end].record == hits->hits[start].record)
        end++;
    for (size_t k = end; k > start; k--)
        ids[end - k] = hits->hits[k - 1].id;
    *page = (struct page){ids, end - start, end - start};
    return end;
}

static enum status show_hits(struct app *app, const struct hits *hits, bool as_json)
{
    const struct journal_view view = app->view;
    int64_t *ids = arena_array(app->arena, hits->count + 1, sizeof *ids);
    json_t *groups = as_json ? json_array() : NULL;
    enum status status = STATUS_OK;
    struct page page;

    for (size_t i = 0; i < hits->count && status == STATUS_OK;) {
        enum record record = hits->hits[i].record;
        i = page_of_hits(hits, i, ids, &page);
        if (as_json) {
            json_t *records = view_list_json(&view, record, &page, &status);
            groups =
                view_json_append(groups, json_pack("{s:s, s:o}", "kind", record_types[record].name,
                                                   "records", records));
            continue;
        }
        if (app->out.out.length > 0)
            screen_blank(&app->out);
        status = view_list(&app->out, &view, record, &page);
    }
    if (status != STATUS_OK) {
        json_decref(groups);
        return status;
    }
    if (as_json)
        return app_json(
            app, json_pack("{s:i, s:b, s:o}", "schema", 1, "more", hits->more, "found", groups),
            false);
    if (hits->count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing in the journal holds all these words.");
    if (hits->more)
        screen_say(&app->out, 0, 0, ROLE_QUIET, "There are older ones; --limit shows more.");
    return app_flush(app);
}

static enum status run_search(struct app *app)
{
    struct shown_request request = {.limit = 10};
    const char **words = NULL;
    size_t count = 0;
    struct hits hits;
    enum status status;

    if ((status = app_open(app, JOURNAL_READ)) || (status = options_fill(app, &request)))
        return status;
    for (size_t i = 0; i < app->arguments.operand_count; i++) {
        const char *at = app->arguments.operands[i];
        for (at += strspn(at, " \t\n"); *at != '\0'; at += strspn(at, " \t\n")) {
            size_t length = strcspn(at, " \t\n");
            *arena_push(app->arena, words, count) = arena_copy(app->arena, at, length);
            at += length;
        }
    }
    if (count == 0)
        return app_usage(app, "search for what? For instance: jarside search greasy S1");
    status =
        survey_search(app->journal, words, count, request.limit > 0 ? request.limit : SIZE_MAX / 2,
                      app->arena, &hits, app->diags);
    return status == STATUS_OK ? show_hits(app, &hits, request.json) : status;
}

const struct command command_search = {
    .name = "search",
    .summary = "finds words in labels, notes, looks and findings",
    .operands = "WORDS...",
    .detail = "What holds all the words, in any case.",
    .options = search_options,
    .run = run_search,
};

/* ---- history --------------------------------------------------------------------------------- */

static enum status show_history(struct app *app, enum record record, const char *label,
                                const struct shown_request *request)
{
    const struct journal_view view = app->view;
    union any_record row;
    enum status status = labels_find(app, record, label, &row);
    if (status != STATUS_OK)
        return status;
    if (request->json) {
        json_t *json = view_history_json(&view, record, &row, request->limit, &status);
        return status == STATUS_OK ? app_json(app, json, false) : status;
    }
    status = view_history(&app->out, &view, record, &row, request->limit);
    return status == STATUS_OK ? app_flush(app) : status;
}

/* The kind said, or the first that has such a label: what one looks at most comes first. */
static enum status run_history(struct app *app)
{
    static const enum record kinds[] = {RECORD_VESSEL,  RECORD_BATCH, RECORD_STARTER, RECORD_COOK,
                                        RECORD_SESSION, RECORD_LOT,   RECORD_PLACE};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    struct shown_request request = {.limit = 100};
    enum status status;

    if ((status = app_open(app, JOURNAL_READ)) || (status = options_fill(app, &request)))
        return status;
    if (count < 1 || count > 2)
        return app_usage(app, "whose life? For instance: jarside life B3-7, or: jarside life S1");
    const char *label = words[count - 1];
    enum record kind = count == 2 ? labels_kind(words[0]) : RECORD_COUNT;
    if (count == 2 && (kind == RECORD_COUNT || record_types[kind].columns[0].kind != COLUMN_LABEL))
        return app_usage(app,
                         "'%s' is no kind of record with a label; a vessel, batch, starter, cook, "
                         "session, lot or place",
                         words[0]);
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        const char *found = NULL;
        int64_t id = 0;
        if ((kind == RECORD_COUNT || kinds[i] == kind) &&
            labels_has(app, kinds[i], label, &id, &found))
            return show_history(app, kinds[i], found, &request);
    }
    if (kind != RECORD_COUNT || strchr(label, '-') != NULL) /* the nearest is named */
        return show_history(app, kind != RECORD_COUNT ? kind : RECORD_VESSEL, label, &request);
    return app_usage(
        app, "nothing in the journal is called '%s'; 'jarside list' shows what there is", label);
}

const struct command command_life = {
    .name = "life",
    .summary = "tells all that happened to a vessel, batch, starter, cook ...",
    .operands = "[KIND] LABEL",
    .detail =
        "Of a vessel its looks and deeds in order; of a starter what it came from and what became "
        "of all vessels it went into. The kind is only needed where two kinds share a label.",
    .options = history_options,
    .run = run_history,
};

/* ---- what is due, and labels: what one looks up before going to the shelves -------------------- */

struct page_request {
    int64_t by;
    size_t limit;
    const char *calendar, *html;
    int remind, paper;
    bool sheet, force, json;
};

static const char *const papers[] = {[PAPER_A4] = "a4", [PAPER_LETTER] = "letter", NULL};

#define TARGET(member) .target = offsetof(struct page_request, member)
static const struct option due_options[] = {
    {"by", "DATE", "what is due by then: 2026-03-12; else today", OPTION_DAY, TARGET(by)},
    {"limit", "N", "the first N vessels, else 500; 0 for all", OPTION_COUNT, TARGET(limit)},
    {"ics", "FILE", "write all that is due as a calendar; '-' for standard output", OPTION_TEXT,
     TARGET(calendar)},
    {"remind", "HH:MM", "with --ics: let the calendar remind you at that time of the day",
     OPTION_CLOCK, TARGET(remind)},
    {"sheet", NULL, "a sheet to print, in plain text, with boxes to tick", OPTION_FLAG,
     TARGET(sheet)},
    {"html", "FILE", "the same as a page; '-' for standard output", OPTION_TEXT, TARGET(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, TARGET(force)},
    {"paper", "PAPER", "a4 (if nothing is said) or letter", OPTION_CHOICE, TARGET(paper),
     .words = papers},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};

static const struct option labels_options[] = {
    {"html", "FILE", "a page to print; '-' for standard output", OPTION_TEXT, TARGET(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, TARGET(force)},
    {"paper", "PAPER", "a4 (if nothing is said) or letter", OPTION_CHOICE, TARGET(paper),
     .words = papers},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {0},
};
#undef TARGET

/* Writes a page, which is released, and says so. */
static enum status write_page(struct app *app, const struct page_request *request,
                              struct text *html, enum status status)
{
    if (status == STATUS_OK)
        status = app_write(app, request->html, html, request->force);
    text_release(html);
    if (status == STATUS_OK && strcmp(request->html, "-") != 0)
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Written to %s.", request->html);
    return status == STATUS_OK ? app_flush(app) : status;
}

static enum status write_calendar(struct app *app, const struct page_request *request)
{
    const struct calendar_options how = {
        .now = moment_now(), .until = INT64_MAX, .remind = request->remind};
    const char *path = request->calendar;
    struct text calendar;
    size_t days = 0;

    text_init(&calendar);
    enum status status = calendar_text(app->journal, &how, &calendar, &days, app->diags);
    if (status == STATUS_OK)
        status = app_write(app, path, &calendar, request->force);
    text_release(&calendar);
    if (status != STATUS_OK || strcmp(path, "-") == 0)
        return status;
    if (days == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing is due: %s is an empty calendar.", path);
    else
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "%zu day%s of looks written to %s.", days,
                   days == 1 ? "" : "s", path);
    return app_flush(app);
}

static enum status run_due(struct app *app)
{
    struct page_request request = {
        .by = moment_day(moment_now()), .limit = 500, .remind = CALENDAR_NO_ALARM};
    struct due_list list;
    struct text html;
    enum status status;

    if ((status = app_open(app, JOURNAL_READ)))
        return status;
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is not understood; --by DATE looks ahead",
                         app->arguments.operands[0]);
    if ((status = options_fill(app, &request)))
        return status;
    if (request.calendar != NULL)
        return write_calendar(app, &request);
    const struct journal_view view = app->view;
    if ((status = view_due_find(&view, request.by, request.limit, &list)))
        return status;
    if (request.json)
        return app_json(app, view_due_json(&view, &list), false);
    if (request.html != NULL) {
        text_init(&html);
        view_due_html(&html, &view, &list, (enum paper)request.paper);
        return write_page(app, &request, &html, STATUS_OK);
    }
    (request.sheet ? view_due_sheet : view_due)(&app->out, &view, &list);
    return app_flush(app);
}

const struct command command_due = {
    .name = "due",
    .summary = "tells which vessels to look at today, the most overdue first",
    .operands = "",
    .options = due_options,
    .run = run_due,
};

/* The vessels named; those of the newest batch when none are. */
static enum status choose(struct app *app, struct chosen *chosen)
{
    struct survey survey = survey_all(RECORD_BATCH, 1);
    struct batch batch;
    struct page page;
    enum status status;

    if (app->arguments.operand_count > 0)
        return labels_vessels(app, app->arguments.operands, app->arguments.operand_count, chosen);
    if ((status = survey_page(app->journal, &survey, app->arena, &page, app->diags)))
        return status;
    if (page.count == 0)
        return app_usage(app, "there is no batch yet; 'jarside batch' starts one");
    status = journal_get(app->journal, RECORD_BATCH, page.ids[0], app->arena, &batch, app->diags);
    return status == STATUS_OK ? labels_vessels(app, &batch.label, 1, chosen) : status;
}

static enum status run_labels(struct app *app)
{
    struct page_request request = {.json = false};
    struct chosen chosen = {NULL, 0, false};
    struct text html;
    enum status status;

    if ((status = app_open(app, JOURNAL_READ)) || (status = options_fill(app, &request)) ||
        (status = choose(app, &chosen)))
        return status;
    const struct journal_view view = app->view;
    if (request.json)
        return app_json(app,
                        json_pack("{s:i, s:o}", "schema", 1, "labels",
                                  view_json_vessels(chosen.vessels, chosen.count)),
                        false);
    if (request.html == NULL) {
        status = view_labels(&app->out, &view, chosen.vessels, chosen.count);
        return status == STATUS_OK ? app_flush(app) : status;
    }
    text_init(&html);
    status =
        view_labels_html(&html, &view, chosen.vessels, chosen.count, (enum paper)request.paper);
    return write_page(app, &request, &html, status);
}

const struct command command_labels = {
    .name = "labels",
    .summary = "prints labels for vessels",
    .operands = "[BATCH | VESSEL...]",
    .detail = "Of the newest batch when none is named.",
    .options = labels_options,
    .run = run_labels,
};
