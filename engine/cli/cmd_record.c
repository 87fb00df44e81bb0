/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records around batches: starters and where they came from, lots, cooks, sessions, places. */
#include <string.h>
#include <strings.h>

#include "cli/assign.h"
#include "cli/commands.h"
#include "cli/labels.h"
#include "voice/journal.h"

static const struct option options[] = {
    {"at", "MOMENT", "when a change was made, if not now"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

static const struct option starter_options[] = {
    {"from", "STARTER", "the starter it was made from; may be repeated"},
    {"species", "SPECIES", "an id; else that of the starter it came from"},
    {"kind", "KIND", "liquid_culture, plate ..."},
    {"source", "WORDS", "where it came from, when from no starter of the journal"},
    {"at", "MOMENT", "when it was made; else now"},
    {"note", "WORDS", "anything to remember"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
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

static enum exit_status tell(struct recording *recording, const char *what)
{
    struct app *app = recording->app;
    const char *kind = record_types[recording->record].name;
    enum status status = journal_find(app->journal, recording->record, recording->label, app->arena,
                                      &recording->row, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (arguments_flag(&app->arguments, "json"))
        return app_json(
            app,
            json_pack("{s:i, s:s, s:s, s:o}", "schema", 1, "kind", kind, "did", what, "record",
                      voice_record_json(&recording->told, recording->record, &recording->row)),
            false);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s %s: %s.", kind, recording->label, what);
    voice_record(&app->out, &recording->told, recording->record, &recording->row);
    return app_flush(app);
}

/* ---- record ---------------------------------------------------------------------------------- */

static const char *facts_of(struct recording *recording)
{
    size_t index = record_column(recording->record, "facts");
    if (index == SIZE_MAX)
        return "";
    const struct column *column = &record_types[recording->record].columns[index];
    const char *const *facts =
        (const char *const *)(const void *)((const char *)&recording->row + column->offset);
    return *facts;
}

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

static enum exit_status set_columns(struct recording *recording, const char *const *typed,
                                    size_t count)
{
    struct assignment assignments[ASSIGN_MOST];
    struct app *app = recording->app;
    enum exit_status fault = EXIT_FINE;
    size_t many = 0;

    for (size_t i = 0; i < count && fault == EXIT_FINE; i++) {
        fault = assign_read(app, recording->record, typed[i], facts_of(recording), app->arena,
                            assignments, &many);
        for (size_t k = 0; k < many && fault == EXIT_FINE; k++) {
            enum status status = set_column(recording, &assignments[k]);
            fault = status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
        }
    }
    return fault;
}

/* All columns or none. */
static enum exit_status write_columns(struct recording *recording, const char *const *typed,
                                      size_t count)
{
    struct app *app = recording->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    enum exit_status fault = set_columns(recording, typed, count);
    if (fault == EXIT_FINE) {
        if (!recording->there)
            status = journal_add(app->journal, recording->record, &recording->row, app->diags);
        if (status == STATUS_OK)
            status = journal_commit(app->journal, app->diags);
        fault = status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
    }
    if (fault != EXIT_FINE)
        journal_rollback(app->journal);
    return fault;
}

/* The label named, or the next one where the words begin with a column. */
static enum exit_status find_or_name(struct recording *recording, const char *label)
{
    struct app *app = recording->app;
    const char *found = NULL;
    int64_t id = 0;

    record_init(recording->record, &recording->row);
    if (label == NULL) {
        enum status status = journal_next_label(app->journal, recording->record, app->arena,
                                                &recording->row.named.label, app->diags);
        recording->label = recording->row.named.label;
        return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
    }
    recording->there = labels_has(app, recording->record, label, app->arena, &id, &found);
    recording->label = recording->there ? found : label;
    recording->row.named.label = recording->label;
    return recording->there
               ? labels_find(app, recording->record, found, app->arena, &recording->row)
               : EXIT_FINE;
}

static bool may_be_recorded(enum record record)
{
    return record == RECORD_STARTER || record == RECORD_LOT || record == RECORD_COOK ||
           record == RECORD_SESSION || record == RECORD_PLACE;
}

static enum exit_status record_words(struct recording *recording)
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
    enum exit_status fault = app_moment(app, "at", &recording->at);
    if (fault == EXIT_FINE)
        fault = find_or_name(recording, label);
    if (fault != EXIT_FINE)
        return fault;
    if (label != NULL) {
        words++;
        count--;
    }
    if (count == 0 && recording->there)
        return tell(recording, "as it stands");
    fault = write_columns(recording, words, count);
    return fault == EXIT_FINE ? tell(recording, recording->there ? "corrected" : "recorded")
                              : fault;
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

static enum exit_status add_parent(struct recording *recording, const char *label)
{
    struct app *app = recording->app;
    struct starter parent;
    struct parent link = {.starter = recording->row.starter.id};
    bool circle = false;
    enum exit_status fault = labels_find(app, RECORD_STARTER, label, app->arena, &parent);
    if (fault != EXIT_FINE)
        return fault;
    enum status status = descends(recording, parent.id, link.starter, 0, &circle);
    if (status == STATUS_OK && circle)
        return app_usage(app, "%s came from %s itself; one of the two is a slip", parent.label,
                         recording->label);
    link.parent = parent.id;
    if (status == STATUS_OK)
        status = journal_add(app->journal, RECORD_PARENT, &link, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

static enum exit_status add_parents(struct recording *recording)
{
    const char *label = NULL;
    enum exit_status fault = EXIT_FINE;
    for (size_t i = 0; fault == EXIT_FINE &&
                       (label = arguments_nth(&recording->app->arguments, "from", i)) != NULL;
         i++)
        fault = add_parent(recording, label);
    return fault;
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

static enum exit_status not_of_starters(struct app *app, const char *words)
{
    return app_usage(app,
                     "'%s' is not understood; say the mushroom and the kind, for instance: "
                     "jarside starter S2 oyster liquid culture --from S1",
                     words);
}

/* The words of the command, as a description would be read: mushroom and kind of starter. */
static enum exit_status read_words(struct recording *recording, const char *const *words,
                                   size_t count)
{
    struct app *app = recording->app;
    const struct unclear *unclear = NULL;
    const struct fact *facts = NULL;
    const char *text = "";

    for (size_t i = 0; i < count && text != NULL; i++)
        if (!is_kind(recording, words[i]))
            text = arena_format(app->arena, "%s%s ", text, words[i]);
    if (text == NULL)
        return app_fail(app, STATUS_MEMORY);
    enum status status = triage_tell(app->triage, text, strlen(text), app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (triage_unclear(app->triage, &unclear) > 0)
        return not_of_starters(app, unclear[0].words);
    size_t known = triage_facts(app->triage, &facts);
    for (size_t i = 0; i < known; i++)
        if (!take_fact(recording, &facts[i]))
            return not_of_starters(app, facts[i].words);
    return EXIT_FINE;
}

static enum exit_status read_option(struct recording *recording, const char *option,
                                    const char *column)
{
    const char *value = arguments_value(&recording->app->arguments, option);
    if (value == NULL)
        return EXIT_FINE;
    const char *typed = arena_format(recording->app->arena, "%s=%s", column, value);
    return typed != NULL ? set_columns(recording, &typed, 1)
                         : app_fail(recording->app, STATUS_MEMORY);
}

/* The mushroom is that of the first parent, when nothing else was said. */
static enum exit_status inherit(struct recording *recording)
{
    const char *label = arguments_value(&recording->app->arguments, "from");
    struct starter parent;
    if (label == NULL || recording->row.starter.species[0] != '\0')
        return EXIT_FINE;
    enum exit_status fault =
        labels_find(recording->app, RECORD_STARTER, label, recording->app->arena, &parent);
    if (fault == EXIT_FINE)
        recording->row.starter.species = parent.species;
    return fault;
}

static enum exit_status make_starter(struct recording *recording, const char *const *words,
                                     size_t count)
{
    struct app *app = recording->app;
    enum exit_status fault = read_words(recording, words, count);

    recording->row.starter.made = recording->at;
    if (fault != EXIT_FINE || (fault = read_option(recording, "species", "species")) != EXIT_FINE ||
        (fault = read_option(recording, "kind", "kind")) != EXIT_FINE ||
        (fault = read_option(recording, "source", "source")) != EXIT_FINE ||
        (fault = read_option(recording, "note", "note")) != EXIT_FINE ||
        (fault = inherit(recording)) != EXIT_FINE)
        return fault;
    enum status status = journal_begin(app->journal, app->diags);
    if (status == STATUS_OK)
        status = journal_add(app->journal, RECORD_STARTER, &recording->row, app->diags);
    fault = status == STATUS_OK ? add_parents(recording) : app_fail(app, status);
    if (fault == EXIT_FINE) {
        status = journal_commit(app->journal, app->diags);
        return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
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
           labels_has(recording->app, RECORD_STARTER, word, recording->app->arena, &id, &found);
}

static enum exit_status starter_words(struct recording *recording)
{
    struct app *app = recording->app;
    const char *const *words = app->arguments.operands;
    size_t count = app->arguments.operand_count;
    bool named = count > 0 && is_label(recording, words[0]);

    recording->record = RECORD_STARTER;
    enum exit_status fault = app_moment(app, "at", &recording->at);
    if (fault == EXIT_FINE)
        fault = find_or_name(recording, named ? words[0] : NULL);
    if (fault != EXIT_FINE)
        return fault;
    if (recording->there) {
        if (count > 1 || arguments_value(&app->arguments, "from") == NULL)
            return app_usage(app,
                             "starter %s is there already; 'jarside correct %s COLUMN=VALUE' "
                             "mends it, --from names what it came from",
                             recording->label, recording->label);
        fault = add_parents(recording);
    } else {
        fault = make_starter(recording, words + named, count - named);
    }
    return fault == EXIT_FINE ? tell(recording, "recorded") : fault;
}

/* ---- the commands ---------------------------------------------------------------------------- */

static enum exit_status run(struct app *app, enum exit_status (*words)(struct recording *recording))
{
    struct recording recording = {.app = app};
    enum exit_status fault = app_open(app, JOURNAL_CREATE);
    if (fault != EXIT_FINE)
        return fault;
    recording.told = app_told(app);
    return words(&recording);
}

static enum exit_status run_record(struct app *app)
{
    return run(app, record_words);
}

static enum exit_status run_starter(struct app *app)
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
