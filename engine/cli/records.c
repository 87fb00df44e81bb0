/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>
#include <strings.h>

#include "cli/app.h"
#include "cli/assign.h"
#include "cli/cli.h"
#include "view/journal.h"
#include "view/screen.h"

/* ==== record ================================================================================== */

/* Records around batches: starters and where they came from, lots, cooks, sessions, places. */

static const struct option options[] = {
    {"at", "MOMENT", "when a change was made, if not now", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

static const struct option starter_options[] = {
    {"from", "STARTER", "the starter it was made from; may be repeated", .kind = OPTION_TEXT},
    {"species", "SPECIES", "an id; else that of the starter it came from", .kind = OPTION_TEXT},
    {"kind", "KIND", "liquid_culture, plate ...", .kind = OPTION_TEXT},
    {"source", "WORDS", "where it came from, when from no starter of the journal",
     .kind = OPTION_TEXT},
    {"at", "MOMENT", "when it was made; else now", .kind = OPTION_TEXT},
    {"note", "WORDS", "anything to remember", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

struct recording {
    struct app *app;
    struct journal_told told;
    enum record record;
    union any_record row;
    bool there; /* it is in the journal already */
    const char *label;
    struct moment at;
};

static enum status tell(struct recording *recording, const char *what)
{
    struct app *app = recording->app;
    const char *kind = record_types[recording->record].name;
    enum status status = journal_find(app->journal, recording->record, recording->label, app->arena,
                                      &recording->row, app->diags);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(
            app,
            json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind", kind, "did", what, "record",
                      view_record_json(&recording->told, recording->record, &recording->row)),
            false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: %s.", kind, recording->label, what);
    view_record(&app->out, &recording->told, recording->record, &recording->row);
    return app_flush(app);
}

/* ---- record ---------------------------------------------------------------------------------- */

static enum status set_column(struct recording *recording, const struct assignment *assignment)
{
    const struct record_type *type = &record_types[recording->record];
    size_t index = record_column(recording->record, assignment->column);
    struct app *app = recording->app;
    enum status status = journal_read_column(app->journal, &type->columns[index], assignment->value,
                                             app->arena, &recording->row, app->diags);
    if (status != STATUS_OK || !recording->there)
        return status;
    return journal_correct(app->journal, recording->record, recording->label, assignment->column,
                           assignment->value, recording->at, app->diags);
}

static enum status set_columns(struct recording *recording, const char *const *typed, size_t count)
{
    struct assignment assignments[ASSIGN_MOST];
    struct app *app = recording->app;
    enum status fault = STATUS_OK;
    size_t many = 0;

    for (size_t i = 0; i < count && fault == STATUS_OK; i++) {
        fault = assign_read(app, recording->record, typed[i], &recording->row,
                            assignments, &many);
        for (size_t k = 0; k < many && fault == STATUS_OK; k++) {
            enum status status = set_column(recording, &assignments[k]);
            fault = status;
        }
    }
    return fault;
}

/* All columns or none. */
static enum status write_columns(struct recording *recording, const char *const *typed,
                                 size_t count)
{
    struct app *app = recording->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return status;
    enum status fault = set_columns(recording, typed, count);
    if (fault == STATUS_OK) {
        if (!recording->there)
            status = journal_add(app->journal, recording->record, &recording->row, app->diags);
        if (status == STATUS_OK)
            status = journal_commit(app->journal, app->diags);
        fault = status;
    }
    if (fault != STATUS_OK)
        journal_rollback(app->journal);
    return fault;
}

/* The label named, or the next one where the words begin with a column. */
static enum status find_or_name(struct recording *recording, const char *label)
{
    struct app *app = recording->app;
    const char *found = NULL;
    int64_t id = 0;

    record_init(recording->record, &recording->row);
    if (label == NULL) {
        enum status status = journal_next_label(app->journal, recording->record, app->arena,
                                                &recording->row.named.label, app->diags);
        recording->label = recording->row.named.label;
        return status;
    }
    recording->there = labels_has(app, recording->record, label, &id, &found);
    recording->label = recording->there ? found : label;
    recording->row.named.label = recording->label;
    return recording->there
               ? labels_find(app, recording->record, found, &recording->row)
               : STATUS_OK;
}

static bool may_be_recorded(enum record record)
{
    return record == RECORD_STARTER || record == RECORD_LOT || record == RECORD_COOK ||
           record == RECORD_SESSION || record == RECORD_PLACE;
}

static enum status record_words(struct recording *recording)
{
    struct app *app = recording->app;
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;

    recording->record = count > 0 ? labels_kind(words[0]) : RECORD_COUNT;
    if (!may_be_recorded(recording->record))
        return app_usage(app, "record what? A starter, lot, cook, session or place; for instance: "
                              "jarside record cook C4 gauge=15psi minutes=90");
    words++;
    count--;
    const char *label = count > 0 && strchr(words[0], '=') == NULL ? words[0] : NULL;
    enum status status = app_moment(app, "at", &recording->at);
    if (status == STATUS_OK)
        status = find_or_name(recording, label);
    if (status != STATUS_OK)
        return status;
    if (label != NULL) {
        words++;
        count--;
    }
    if (count == 0 && recording->there)
        return tell(recording, "as it stands");
    status = write_columns(recording, words, count);
    return status == STATUS_OK ? tell(recording, recording->there ? "corrected" : "recorded")
                               : status;
}

/* ---- starters -------------------------------------------------------------------------------- */

/* Whether `ancestor` is the starter itself or what it came from, however far back. */
static enum status descends(struct recording *recording, int64_t starter, int64_t ancestor,
                            int depth, bool *does)
{
    enum { DEEPEST = 100 };
    struct app *app = recording->app;
    void *rows = NULL;
    size_t count = 0;

    if (starter == ancestor || depth > DEEPEST) {
        *does = true;
        return STATUS_OK;
    }
    enum status status = journal_all(app->journal, RECORD_PARENT, "starter", starter, app->arena,
                                     &rows, &count, app->diags);
    for (size_t i = 0; i < count && status == STATUS_OK && !*does; i++)
        status = descends(recording, ((struct parent *)rows)[i].parent, ancestor, depth + 1, does);
    return status;
}

static enum status add_parent(struct recording *recording, const char *label)
{
    struct app *app = recording->app;
    struct starter parent;
    struct parent link = {.starter = recording->row.starter.id};
    bool circle = false;
    enum status fault = labels_find(app, RECORD_STARTER, label, &parent);
    if (fault != STATUS_OK)
        return fault;
    enum status status = descends(recording, parent.id, link.starter, 0, &circle);
    if (status == STATUS_OK && circle)
        return app_usage(app, "%s came from %s itself; one of the two is a slip", parent.label,
                         recording->label);
    link.parent = parent.id;
    if (status == STATUS_OK)
        status = journal_add(app->journal, RECORD_PARENT, &link, app->diags);
    return status;
}

static enum status add_parents(struct recording *recording)
{
    const char *label = NULL;
    enum status status = STATUS_OK;
    for (size_t i = 0; status == STATUS_OK &&
                       (label = arguments_nth(&recording->app->arguments, "from", i)) != NULL;
         i++)
        status = add_parent(recording, label);
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
    uint32_t seen = fact->observation.seen;
    size_t value = 0;
    while (value < observable->value_count && (seen >> value & 1) == 0)
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

static enum status not_of_starters(struct app *app, const char *words)
{
    return app_usage(app,
                     "'%s' is not understood; say the mushroom and the kind, for instance: "
                     "jarside starter S2 oyster liquid culture --from S1",
                     words);
}

/* The words of the command, as a description would be read: mushroom and kind of starter. */
static enum status read_words(struct recording *recording, const char *const *words, size_t count)
{
    struct app *app = recording->app;
    const struct unclear *unclear = NULL;
    const struct fact *facts = NULL;
    const char *text = "";

    for (size_t i = 0; i < count && text != NULL; i++)
        if (!is_kind(recording, words[i]))
            text = arena_format(app->arena, "%s%s ", text, words[i]);
    if (text == NULL)
        return STATUS_MEMORY;
    enum status status = triage_tell(app->triage, text, strlen(text), app->diags);
    if (status != STATUS_OK)
        return status;
    if (triage_unclear(app->triage, &unclear) > 0)
        return not_of_starters(app, unclear[0].words);
    size_t known = triage_facts(app->triage, &facts);
    for (size_t i = 0; i < known; i++)
        if (!take_fact(recording, &facts[i]))
            return not_of_starters(app, facts[i].words);
    return STATUS_OK;
}

static enum status read_option(struct recording *recording, const char *option, const char *column)
{
    const char *value = arguments_value(&recording->app->arguments, option);
    if (value == NULL)
        return STATUS_OK;
    const char *typed = arena_format(recording->app->arena, "%s=%s", column, value);
    return typed != NULL ? set_columns(recording, &typed, 1) : STATUS_MEMORY;
}

/* The mushroom is that of the first parent, when nothing else was said. */
static enum status inherit(struct recording *recording)
{
    const char *label = arguments_value(&recording->app->arguments, "from");
    struct starter parent;
    if (label == NULL || recording->row.starter.species[0] != '\0')
        return STATUS_OK;
    enum status status =
        labels_find(recording->app, RECORD_STARTER, label, &parent);
    if (status == STATUS_OK)
        recording->row.starter.species = parent.species;
    return status;
}

static enum status make_starter(struct recording *recording, const char *const *words, size_t count)
{
    struct app *app = recording->app;
    enum status fault = read_words(recording, words, count);

    recording->row.starter.made = recording->at;
    if (fault != STATUS_OK || (fault = read_option(recording, "species", "species")) != STATUS_OK ||
        (fault = read_option(recording, "kind", "kind")) != STATUS_OK ||
        (fault = read_option(recording, "source", "source")) != STATUS_OK ||
        (fault = read_option(recording, "note", "note")) != STATUS_OK ||
        (fault = inherit(recording)) != STATUS_OK)
        return fault;
    enum status status = journal_begin(app->journal, app->diags);
    if (status == STATUS_OK)
        status = journal_add(app->journal, RECORD_STARTER, &recording->row, app->diags);
    fault = status == STATUS_OK ? add_parents(recording) : status;
    if (fault == STATUS_OK) {
        status = journal_commit(app->journal, app->diags);
        return status;
    }
    journal_rollback(app->journal);
    return fault;
}

/* "S2", "LC-4": a word with a figure in it is a label, and what was named before is one, too. */
static bool is_label(struct recording *recording, const char *word)
{
    const char *found = NULL;
    int64_t id = 0;
    return strpbrk(word, "0123456789") != NULL ||
           labels_has(recording->app, RECORD_STARTER, word, &id, &found);
}

static enum status starter_words(struct recording *recording)
{
    struct app *app = recording->app;
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    bool named = count > 0 && is_label(recording, words[0]);

    recording->record = RECORD_STARTER;
    enum status status = app_moment(app, "at", &recording->at);
    if (status == STATUS_OK)
        status = find_or_name(recording, named ? words[0] : NULL);
    if (status != STATUS_OK)
        return status;
    if (recording->there) {
        if (count > 1 || arguments_value(&app->arguments, "from") == NULL)
            return app_usage(app,
                             "starter %s is there already; 'jarside correct %s COLUMN=VALUE' "
                             "mends it, --from names what it came from",
                             recording->label, recording->label);
        status = add_parents(recording);
    } else {
        status = make_starter(recording, words + named, count - named);
    }
    return status == STATUS_OK ? tell(recording, "recorded") : status;
}

/* ---- the commands ---------------------------------------------------------------------------- */

static enum status run(struct app *app, enum status (*words)(struct recording *recording))
{
    struct recording recording = {.app = app};
    enum status status = app_open(app, JOURNAL_CREATE);
    if (status != STATUS_OK)
        return status;
    recording.told = app_told(app);
    return words(&recording);
}

static enum status run_record(struct app *app)
{
    return run(app, record_words);
}

static enum status run_starter(struct app *app)
{
    return run(app, starter_words);
}

const struct command command_record = {
    .name = "record",
    .summary = "records a cook, lot, session, place or starter, or shows one",
    .operands = "KIND [LABEL] [COLUMN=VALUE...]",
    .detail = "Units as people write them: jarside record cook C4 gauge=15psi minutes=90 "
              "altitude=1600m. A sign of the rules is taken as a fact: venting=vented_10. Of one "
              "that is there the columns are corrected, and what they were is kept.",
    .options = options,
    .run = run_record,
};

const struct command command_starter = {
    .name = "starter",
    .summary = "records a starter and what it was made from",
    .operands = "[LABEL] [WORDS...]",
    .detail = "For instance: jarside starter S2 liquid culture --from S1",
    .options = starter_options,
    .run = run_starter,
};

/* ==== list ==================================================================================== */

/* Lists of what is in the journal, and searching it. */

static const struct option list_options[] = {
    {"batch", "BATCH", "vessels, looks, deeds or outcomes of this batch only", .kind = OPTION_TEXT},
    {"state", "STATE", "vessels that are growing, isolated, discarded or used",
     .kind = OPTION_TEXT},
    {"fate", "FATE", "vessels that are open, sound, stuck, contaminated or untold",
     .kind = OPTION_TEXT},
    {"limit", "N", "the newest N, else 20; 0 for all", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

static const struct option search_options[] = {
    {"limit", "N", "the newest N of each kind, else 10", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

/* ---- list ------------------------------------------------------------------------------------ */

static enum status read_word(struct app *app, const char *option, const char *const *words,
                             int *index)
{
    const char *word = arguments_value(&app->arguments, option);
    size_t count = 0;
    *index = SURVEY_ANY;
    if (word == NULL)
        return STATUS_OK;
    for (; words[count] != NULL; count++)
        if (strcmp(words[count], word) == 0)
            *index = (int)count;
    if (*index != SURVEY_ANY)
        return STATUS_OK;
    const char *near = diag_nearest(word, words, count);
    return app_usage(app, "no %s '%s'; did you mean '%s'?", option, word,
                     near != NULL ? near : words[0]);
}

/* "vessels", or what the other list_options are about. "B3" alone lists its vessels. */
static enum status read_kind(struct app *app, struct survey *survey)
{
    const struct arguments *arguments = &app->arguments;
    const char *batch = arguments_value(arguments, "batch"), *found = NULL;
    const char *word = arguments->operand_count > 0 ? arguments->operands[0] : NULL;
    struct batch row;
    int64_t id = 0;

    bool of_vessels = batch != NULL || survey->state != SURVEY_ANY || survey->fate != SURVEY_ANY;
    survey->record = of_vessels ? RECORD_VESSEL : RECORD_BATCH;
    if (arguments->operand_count > 1)
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
    if (batch == NULL)
        return STATUS_OK;
    enum status status = labels_find(app, RECORD_BATCH, batch, &row);
    survey->batch = status == STATUS_OK ? row.id : 0;
    return status;
}

static enum status check_filters(struct app *app, const struct survey *survey)
{
    bool of_vessel = survey->record == RECORD_VESSEL;
    bool event = survey->record == RECORD_LOOK || survey->record == RECORD_EVENT ||
                 survey->record == RECORD_OUTCOME;
    if (!of_vessel && (survey->state != SURVEY_ANY || survey->fate != SURVEY_ANY))
        return app_usage(app, "only vessels have a state or a fate");
    if (!of_vessel && !event && survey->batch != 0)
        return app_usage(app, "--batch goes with vessels, looks, deeds and outcomes");
    return STATUS_OK;
}

static enum status show_list(struct app *app, const struct journal_told *told,
                             const struct survey *survey)
{
    struct page page;
    enum status status = survey_page(app->journal, survey, told->arena, &page, app->diags);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&app->arguments, "json")) {
        json_t *records = view_list_json(told, survey->record, &page, &status);
        if (status != STATUS_OK)
            return status;
        return app_json(app,
                        json_pack("{s:i, s:s, s:I, s:o}", "schema", 1, "kind",
                                  record_types[survey->record].name, "total",
                                  (json_int_t)page.total, "records", records),
                        false);
    }
    status = view_list(&app->out, told, survey->record, &page);
    if (status != STATUS_OK)
        return status;
    if (page.count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing of that kind is in the journal.");
    return app_flush(app);
}

static enum status run_list(struct app *app)
{
    enum { USUAL = 20, USUAL_OF_BATCH = 200 };
    struct survey survey = survey_all(RECORD_BATCH, USUAL);
    enum status status;

    if ((status = app_open(app, JOURNAL_READ)) != STATUS_OK ||
        (status = read_word(app, "state", vessel_state_words, &survey.state)) != STATUS_OK ||
        (status = read_word(app, "fate", fate_words, &survey.fate)) != STATUS_OK ||
        (status = read_kind(app, &survey)) != STATUS_OK ||
        (status = check_filters(app, &survey)) != STATUS_OK)
        return status;
    if (survey.batch != 0)
        survey.limit = USUAL_OF_BATCH;
    if ((status = app_limit(app, &survey.limit)) != STATUS_OK)
        return status;
    const struct journal_told told = app_told(app);
    return show_list(app, &told, &survey);
}

/* ---- search ---------------------------------------------------------------------------------- */

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

static enum status hits_json(struct app *app, const struct journal_told *told,
                             const struct hits *hits, int64_t *ids)
{
    struct page page;
    json_t *groups = json_array();
    enum status status = STATUS_OK;
    for (size_t i = 0; i < hits->count && status == STATUS_OK;) {
        enum record record = hits->hits[i].record;
        i = page_of_hits(hits, i, ids, &page);
        groups = view_json_append(groups, json_pack("{s:s, s:o}", "kind", record_types[record].name,
                                                    "records",
                                                    view_list_json(told, record, &page, &status)));
    }
    if (status == STATUS_OK)
        return app_json(
            app, json_pack("{s:i, s:b, s:o}", "schema", 1, "more", hits->more, "found", groups),
            false);
    json_decref(groups);
    return status;
}

static enum status show_hits(struct app *app, const struct journal_told *told,
                             const struct hits *hits)
{
    struct page page;
    int64_t *ids = arena_array(told->arena, hits->count + 1, sizeof *ids);
    if (ids == NULL)
        return STATUS_MEMORY;
    if (arguments_flag(&app->arguments, "json"))
        return hits_json(app, told, hits, ids);
    for (size_t i = 0; i < hits->count;) {
        enum record record = hits->hits[i].record;
        i = page_of_hits(hits, i, ids, &page);
        if (app->out.out.length > 0)
            screen_blank(&app->out);
        enum status status = view_list(&app->out, told, record, &page);
        if (status != STATUS_OK)
            return status;
    }
    if (hits->count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing in the journal holds all these words.");
    if (hits->more)
        screen_say(&app->out, 0, 0, ROLE_QUIET, "There are older ones; --limit shows more.");
    return app_flush(app);
}

static enum status run_search(struct app *app)
{
    size_t limit = 10, room = 0, count = 0;
    struct hits hits;
    enum status fault = app_open(app, JOURNAL_READ);

    if (fault == STATUS_OK)
        fault = app_limit(app, &limit);
    if (fault != STATUS_OK)
        return fault;
    for (size_t i = 0; i < app->arguments.operand_count; i++)
        room += strlen(app->arguments.operands[i]) + 1;
    const char **words = arena_array(app->arena, room + 1, sizeof *words);
    for (size_t i = 0; words != NULL && i < app->arguments.operand_count; i++) {
        const char *at = app->arguments.operands[i];
        for (at += strspn(at, " \t\n"); *at != '\0'; at += strspn(at, " \t\n")) {
            size_t length = strcspn(at, " \t\n");
            words[count] = arena_copy(app->arena, at, length);
            if (words[count++] == NULL)
                return STATUS_MEMORY;
            at += length;
        }
    }
    if (count == 0)
        return app_usage(app, "search for what? For instance: jarside search greasy S1");
    enum status status = survey_search(app->journal, words, count, limit > 0 ? limit : SIZE_MAX / 2,
                                       app->arena, &hits, app->diags);
    const struct journal_told told = app_told(app);
    return status == STATUS_OK ? show_hits(app, &told, &hits) : status;
}

/* ---- the commands ---------------------------------------------------------------------------- */

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

const struct command command_search = {
    .name = "search",
    .summary = "finds words in labels, notes, looks and findings",
    .operands = "WORDS...",
    .detail = "What holds all the words, in any case.",
    .options = search_options,
    .run = run_search,
};

/* ==== life ==================================================================================== */

static const struct option life_options[] = {
    {"limit", "N", "the newest N events of each kind, else 100; 0 for all", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

static enum status show(struct app *app, const struct journal_told *told, enum record record,
                        const void *row, size_t limit)
{
    enum status status = STATUS_OK;
    if (arguments_flag(&app->arguments, "json")) {
        json_t *json = view_history_json(told, record, row, limit, &status);
        return status == STATUS_OK ? app_json(app, json, false) : status;
    }
    status = view_history(&app->out, told, record, row, limit);
    return status == STATUS_OK ? app_flush(app) : status;
}

/* The kind said, or the first that has such a label: what one looks at most comes first. */
static enum status run_life(struct app *app)
{
    static const enum record kinds[] = {RECORD_VESSEL,  RECORD_BATCH, RECORD_STARTER, RECORD_COOK,
                                        RECORD_SESSION, RECORD_LOT,   RECORD_PLACE};
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count, limit = 100;
    union any_record row;
    enum status status = app_open(app, JOURNAL_READ);

    if (status == STATUS_OK)
        status = app_limit(app, &limit);
    if (status != STATUS_OK)
        return status;
    const struct journal_told told = app_told(app);
    if (count < 1 || count > 2)
        return app_usage(app, "whose life? For instance: jarside life B3-7, or: jarside life S1");
    enum record asked = count == 2 ? labels_kind(words[0]) : RECORD_COUNT;
    if (count == 2 &&
        (asked == RECORD_COUNT || record_types[asked].columns[0].kind != COLUMN_LABEL))
        return app_usage(app,
                         "'%s' is no kind of record with a label; a vessel, batch, starter, cook, "
                         "session, lot or place",
                         words[0]);
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        const char *found = NULL;
        int64_t id = 0;
        if ((asked != RECORD_COUNT && kinds[i] != asked) ||
            !labels_has(app, kinds[i], words[count - 1], &id, &found))
            continue;
        status = labels_find(app, kinds[i], found, &row);
        return status == STATUS_OK ? show(app, &told, kinds[i], &row, limit) : status;
    }
    if (asked != RECORD_COUNT || strchr(words[count - 1], '-') != NULL) /* the nearest is named */
        return labels_find(app, asked != RECORD_COUNT ? asked : RECORD_VESSEL, words[count - 1], &row);
    return app_usage(app,
                     "nothing in the journal is called '%s'; 'jarside list' shows what there is",
                     words[count - 1]);
}

const struct command command_life = {
    .name = "life",
    .summary = "tells all that happened to a vessel, batch, starter, cook ...",
    .operands = "[KIND] LABEL",
    .detail =
        "Of a vessel its looks and deeds in order; of a starter what it came from and what became "
        "of all vessels it went into. The kind is only needed where two kinds share a label.",
    .options = life_options,
    .run = run_life,
};

/* ==== due ===================================================================================== */

/* What is due, and labels: what one looks up before going to the shelves. */

static const struct option due_options[] = {
    {"by", "DATE", "what is due by then: 2026-03-12; else today", .kind = OPTION_TEXT},
    {"limit", "N", "the first N vessels, else 500; 0 for all", .kind = OPTION_TEXT},
    {"ics", "FILE", "write all that is due as a calendar; '-' for standard output",
     .kind = OPTION_TEXT},
    {"remind", "HH:MM", "with --ics: let the calendar remind you at that time of the day",
     .kind = OPTION_TEXT},
    {"sheet", NULL, "a sheet to print, in plain text, with boxes to tick", .kind = OPTION_FLAG},
    {"html", "FILE", "the same as a page; '-' for standard output", .kind = OPTION_TEXT},
    {"force", NULL, "replace a file that exists", .kind = OPTION_FLAG},
    {"paper", "PAPER", "a4 (if nothing is said) or letter", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

static const struct option labels_options[] = {
    {"html", "FILE", "a page to print; '-' for standard output", .kind = OPTION_TEXT},
    {"force", NULL, "replace a file that exists", .kind = OPTION_FLAG},
    {"paper", "PAPER", "a4 (if nothing is said) or letter", .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

static enum status read_paper(struct app *app, enum paper *paper)
{
    const char *word = arguments_value(&app->arguments, "paper");
    *paper = PAPER_A4;
    return word == NULL || sheet_paper(word, paper)
               ? STATUS_OK
               : app_usage(app, "'--paper %s' should be a4 or letter", word);
}

static enum status write_page(struct app *app, const struct text *html, const char *path)
{
    enum status status = app_write(app, path, html, arguments_flag(&app->arguments, "force"));
    if (status != STATUS_OK)
        return status;
    if (strcmp(path, "-") != 0)
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Written to %s.", path);
    return app_flush(app);
}

/* ---- due ------------------------------------------------------------------------------------- */

/* A date, or what moment_read knows; and tomorrow, which is no moment that anything happened at. */
static enum status read_by(struct app *app, int64_t *day)
{
    const char *by = arguments_value(&app->arguments, "by");
    struct moment now = moment_now(), moment = now;
    *day = moment_day(now);
    if (by == NULL)
        return STATUS_OK;
    if (strcmp(by, "tomorrow") == 0) {
        *day += 1;
        return STATUS_OK;
    }
    if (!moment_read(by, now, &moment))
        return app_usage(app, "'--by %s' is no date; for instance 2026-03-12 or tomorrow", by);
    *day = moment_day(moment);
    return STATUS_OK;
}

static enum status due_page(struct app *app, const struct journal_told *told,
                            const struct due_list *list, enum paper paper)
{
    struct text html;
    text_init(&html);
    view_due_html(&html, told, list, paper);
    enum status status = write_page(app, &html, arguments_value(&app->arguments, "html"));
    text_release(&html);
    return status;
}

static enum status due(struct app *app)
{
    size_t limit = 500;
    struct due_list list;
    enum paper paper;
    int64_t day = 0;
    enum status fault = app_open(app, JOURNAL_READ);

    if (fault != STATUS_OK)
        return fault;
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is not understood; --by DATE looks ahead",
                         app->arguments.operands[0]);
    if ((fault = read_by(app, &day)) != STATUS_OK ||
        (fault = app_limit(app, &limit)) != STATUS_OK ||
        (fault = read_paper(app, &paper)) != STATUS_OK)
        return fault;
    const struct journal_told told = app_told(app);
    enum status status = view_due_find(&told, day, limit, &list);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, view_due_json(&told, &list), false);
    if (arguments_value(&app->arguments, "html") != NULL)
        return due_page(app, &told, &list, paper);
    if (arguments_flag(&app->arguments, "sheet"))
        view_due_sheet(&app->out, &told, &list);
    else
        view_due(&app->out, &told, &list);
    return app_flush(app);
}

/* ---- labels ---------------------------------------------------------------------------------- */

/* The vessels named; those of the newest batch when none are. */
static enum status choose(struct app *app, struct chosen *chosen)
{
    struct survey survey = survey_all(RECORD_BATCH, 1);
    struct batch batch;
    struct page page;

    if (app->arguments.operand_count > 0)
        return labels_vessels(app, app->arguments.operands, app->arguments.operand_count, chosen);
    enum status status = survey_page(app->journal, &survey, app->arena, &page, app->diags);
    if (status == STATUS_OK && page.count == 0)
        return app_usage(app, "there is no batch yet; 'jarside batch' starts one");
    if (status == STATUS_OK)
        status =
            journal_get(app->journal, RECORD_BATCH, page.ids[0], app->arena, &batch, app->diags);
    return status == STATUS_OK ? labels_vessels(app, &batch.label, 1, chosen) : status;
}

static enum status labels_json(struct app *app, const struct chosen *chosen)
{
    json_t *labels = view_json_vessels(chosen->vessels, chosen->count);
    return app_json(app, json_pack("{s:i, s:o}", "schema", 1, "labels", labels), false);
}

static enum status run_labels(struct app *app)
{
    const char *path = arguments_value(&app->arguments, "html");
    struct chosen chosen = {NULL, 0, false};
    struct text html;
    enum paper paper;
    enum status fault = app_open(app, JOURNAL_READ);

    if (fault == STATUS_OK)
        fault = read_paper(app, &paper);
    if (fault == STATUS_OK)
        fault = choose(app, &chosen);
    if (fault != STATUS_OK)
        return fault;
    const struct journal_told told = app_told(app);
    if (arguments_flag(&app->arguments, "json"))
        return labels_json(app, &chosen);
    if (path == NULL) {
        enum status status = view_labels(&app->out, &told, chosen.vessels, chosen.count);
        return status == STATUS_OK ? app_flush(app) : status;
    }
    text_init(&html);
    enum status status = view_labels_html(&html, &told, chosen.vessels, chosen.count, paper);
    fault = status == STATUS_OK ? write_page(app, &html, path) : status;
    text_release(&html);
    return fault;
}

/* ---- the commands ---------------------------------------------------------------------------- */

static enum status run_due(struct app *app)
{
    const char *calendar = arguments_value(&app->arguments, "ics");
    return calendar != NULL ? feed_write(app, calendar) : due(app);
}

const struct command command_due = {
    .name = "due",
    .summary = "tells which vessels to look at today, the most overdue first",
    .operands = "",
    .options = due_options,
    .run = run_due,
};

const struct command command_labels = {
    .name = "labels",
    .summary = "prints labels for vessels",
    .operands = "[BATCH | VESSEL...]",
    .detail = "Of the newest batch when none is named.",
    .options = labels_options,
    .run = run_labels,
};
