/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lists of what is in the journal, and searching it. */
#include <string.h>

#include "cli/commands.h"
#include "cli/labels.h"
#include "voice/journal.h"
#include "voice/whole_json.h"

static const struct option options[] = {
    {"batch", "BATCH", "vessels, looks, deeds or outcomes of this batch only"},
    {"state", "STATE", "vessels that are growing, isolated, discarded or used"},
    {"fate", "FATE", "vessels that are open, sound, stuck, contaminated or untold"},
    {"limit", "N", "the newest N, else 20; 0 for all"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

static const struct option search_options[] = {
    {"limit", "N", "the newest N of each kind, else 10"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

/* ---- list ------------------------------------------------------------------------------------ */

static enum exit_status read_word(struct app *app, const char *option, const char *const *words,
                                  int *index)
{
    const char *word = arguments_value(&app->arguments, option);
    size_t count = 0;
    *index = SURVEY_ANY;
    if (word == NULL)
        return EXIT_FINE;
    for (; words[count] != NULL; count++)
        if (strcmp(words[count], word) == 0)
            *index = (int)count;
    if (*index != SURVEY_ANY)
        return EXIT_FINE;
    const char *near = diag_nearest(word, words, count);
    return app_usage(app, "no %s '%s'; did you mean '%s'?", option, word,
                     near != NULL ? near : words[0]);
}

/* "vessels", or what the other options are about. "B3" alone lists its vessels. */
static enum exit_status read_kind(struct app *app, struct survey *survey)
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
        if (!labels_has(app, RECORD_BATCH, word, app->arena, &id, &found))
            return app_usage(
                app,
                "list what? batches, vessels, starters, lots, cooks, sessions, places, "
                "looks, deeds, outcomes, edits, or a batch; not '%s'",
                word);
        survey->record = RECORD_VESSEL;
        batch = found;
    }
    if (batch == NULL)
        return EXIT_FINE;
    enum exit_status fault = labels_find(app, RECORD_BATCH, batch, app->arena, &row);
    survey->batch = fault == EXIT_FINE ? row.id : 0;
    return fault;
}

static enum exit_status check_filters(struct app *app, const struct survey *survey)
{
    bool of_vessel = survey->record == RECORD_VESSEL;
    bool event = survey->record == RECORD_LOOK || survey->record == RECORD_DEED ||
                 survey->record == RECORD_OUTCOME;
    if (!of_vessel && (survey->state != SURVEY_ANY || survey->fate != SURVEY_ANY))
        return app_usage(app, "only vessels have a state or a fate");
    if (!of_vessel && !event && survey->batch != 0)
        return app_usage(app, "--batch goes with vessels, looks, deeds and outcomes");
    return EXIT_FINE;
}

static enum exit_status show_list(struct app *app, const struct journal_told *told,
                                  const struct survey *survey)
{
    struct page page;
    enum status status = survey_page(app->journal, survey, told->arena, &page, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (arguments_flag(&app->arguments, "json")) {
        json_t *records = voice_list_json(told, survey->record, &page, &status);
        if (status != STATUS_OK)
            return app_fail(app, status);
        return app_json(app,
                        json_pack("{s:i, s:s, s:I, s:o}", "schema", 1, "kind",
                                  record_types[survey->record].name, "total",
                                  (json_int_t)page.total, "records", records),
                        false);
    }
    status = voice_list(&app->out, told, survey->record, &page);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (page.count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing of that kind is in the journal.");
    return app_flush(app);
}

static enum exit_status run_list(struct app *app)
{
    enum { USUAL = 20, USUAL_OF_BATCH = 200 };
    struct survey survey = survey_all(RECORD_BATCH, USUAL);
    enum exit_status fault;

    if ((fault = app_open(app, JOURNAL_READ)) != EXIT_FINE ||
        (fault = read_word(app, "state", vessel_state_words, &survey.state)) != EXIT_FINE ||
        (fault = read_word(app, "fate", fate_words, &survey.fate)) != EXIT_FINE ||
        (fault = read_kind(app, &survey)) != EXIT_FINE ||
        (fault = check_filters(app, &survey)) != EXIT_FINE)
        return fault;
    if (survey.batch != 0)
        survey.limit = USUAL_OF_BATCH;
    if ((fault = app_limit(app, &survey.limit)) != EXIT_FINE)
        return fault;
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

static enum exit_status hits_json(struct app *app, const struct journal_told *told,
                                  const struct hits *hits, int64_t *ids)
{
    struct page page;
    json_t *groups = json_array();
    enum status status = STATUS_OK;
    for (size_t i = 0; i < hits->count && status == STATUS_OK;) {
        enum record record = hits->hits[i].record;
        i = page_of_hits(hits, i, ids, &page);
        groups = voice_json_append(
            groups, json_pack("{s:s, s:o}", "kind", record_types[record].name, "records",
                              voice_list_json(told, record, &page, &status)));
    }
    if (status == STATUS_OK)
        return app_json(
            app, json_pack("{s:i, s:b, s:o}", "schema", 1, "more", hits->more, "found", groups),
            false);
    json_decref(groups);
    return app_fail(app, status);
}

static enum exit_status show_hits(struct app *app, const struct journal_told *told,
                                  const struct hits *hits)
{
    struct page page;
    int64_t *ids = arena_array(told->arena, hits->count + 1, sizeof *ids);
    if (ids == NULL)
        return app_fail(app, STATUS_MEMORY);
    if (arguments_flag(&app->arguments, "json"))
        return hits_json(app, told, hits, ids);
    for (size_t i = 0; i < hits->count;) {
        enum record record = hits->hits[i].record;
        i = page_of_hits(hits, i, ids, &page);
        if (app->out.out.length > 0)
            screen_blank(&app->out);
        enum status status = voice_list(&app->out, told, record, &page);
        if (status != STATUS_OK)
            return app_fail(app, status);
    }
    if (hits->count == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing in the journal holds all these words.");
    if (hits->more)
        screen_say(&app->out, 0, 0, ROLE_QUIET, "There are older ones; --limit shows more.");
    return app_flush(app);
}

static enum exit_status run_search(struct app *app)
{
    size_t limit = 10, room = 0, count = 0;
    struct hits hits;
    enum exit_status fault = app_open(app, JOURNAL_READ);

    if (fault == EXIT_FINE)
        fault = app_limit(app, &limit);
    if (fault != EXIT_FINE)
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
                return app_fail(app, STATUS_MEMORY);
            at += length;
        }
    }
    if (count == 0)
        return app_usage(app, "search for what? For instance: jarside search greasy S1");
    enum status status = survey_search(app->journal, words, count, limit > 0 ? limit : SIZE_MAX / 2,
                                       app->arena, &hits, app->diags);
    const struct journal_told told = app_told(app);
    return status == STATUS_OK ? show_hits(app, &told, &hits) : app_fail(app, status);
}

/* ---- the commands ---------------------------------------------------------------------------- */

const struct command command_list = {
    .name = "list",
    .summary = "lists batches, vessels and what they are made with",
    .operands = "[KIND | BATCH]",
    .detail =
        "Batches, unless told otherwise: vessels, starters, lots, cooks, sessions, places, "
        "looks, deeds, outcomes, edits. The newest come last. jarside list B3 shows its vessels.",
    .options = options,
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
