/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is due, and labels: what one looks up before going to the shelves. */
#include <string.h>

#include "cli/commands.h"
#include "cli/feed.h"
#include "cli/labels.h"
#include "voice/journal.h"

static const struct option options[] = {
    {"by", "DATE", "what is due by then: 2026-03-12; else today"},
    {"limit", "N", "the first N vessels, else 500; 0 for all"},
    {"ics", "FILE", "write all that is due as a calendar; '-' for standard output"},
    {"remind", "HH:MM", "with --ics: let the calendar remind you at that time of the day"},
    {"sheet", NULL, "a sheet to print, in plain text, with boxes to tick"},
    {"html", "FILE", "the same as a page; '-' for standard output"},
    {"force", NULL, "replace a file that exists"},
    {"paper", "PAPER", "a4 (if nothing is said) or letter"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

static const struct option labels_options[] = {
    {"html", "FILE", "a page to print; '-' for standard output"},
    {"force", NULL, "replace a file that exists"},
    {"paper", "PAPER", "a4 (if nothing is said) or letter"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

static enum exit_status read_paper(struct app *app, enum paper *paper)
{
    const char *word = arguments_value(&app->arguments, "paper");
    *paper = PAPER_A4;
    return word == NULL || sheet_paper(word, paper)
               ? EXIT_FINE
               : app_usage(app, "'--paper %s' should be a4 or letter", word);
}

static enum exit_status write_page(struct app *app, const struct text *html, const char *path)
{
    enum exit_status fault = app_write(app, path, html, arguments_flag(&app->arguments, "force"));
    if (fault != EXIT_FINE)
        return fault;
    if (strcmp(path, "-") != 0)
        screen_say(&app->out, 0, 2, ROLE_PLAIN, "Written to %s.", path);
    return app_flush(app);
}

/* ---- due ------------------------------------------------------------------------------------- */

/* A date, or what moment_read knows; and tomorrow, which is no moment that anything happened at. */
static enum exit_status read_by(struct app *app, int64_t *day)
{
    const char *by = arguments_value(&app->arguments, "by");
    struct moment now = moment_now(), moment = now;
    *day = moment_day(now);
    if (by == NULL)
        return EXIT_FINE;
    if (strcmp(by, "tomorrow") == 0) {
        *day += 1;
        return EXIT_FINE;
    }
    if (!moment_read(by, now, &moment))
        return app_usage(app, "'--by %s' is no date; for instance 2026-03-12 or tomorrow", by);
    *day = moment_day(moment);
    return EXIT_FINE;
}

static enum exit_status due_page(struct app *app, const struct journal_told *told,
                                 const struct due_list *list, enum paper paper)
{
    struct text html;
    text_init(&html);
    voice_due_html(&html, told, list, paper);
    enum exit_status fault = write_page(app, &html, arguments_value(&app->arguments, "html"));
    text_release(&html);
    return fault;
}

static enum exit_status due(struct app *app)
{
    size_t limit = 500;
    struct due_list list;
    enum paper paper;
    int64_t day = 0;
    enum exit_status fault = app_open(app, JOURNAL_READ);

    if (fault != EXIT_FINE)
        return fault;
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is not understood; --by DATE looks ahead",
                         app->arguments.operands[0]);
    if ((fault = read_by(app, &day)) != EXIT_FINE ||
        (fault = app_limit(app, &limit)) != EXIT_FINE ||
        (fault = read_paper(app, &paper)) != EXIT_FINE)
        return fault;
    const struct journal_told told = app_told(app);
    enum status status = voice_due_find(&told, day, limit, &list);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, voice_due_json(&told, &list), false);
    if (arguments_value(&app->arguments, "html") != NULL)
        return due_page(app, &told, &list, paper);
    if (arguments_flag(&app->arguments, "sheet"))
        voice_due_sheet(&app->out, &told, &list);
    else
        voice_due(&app->out, &told, &list);
    return app_flush(app);
}

/* ---- labels ---------------------------------------------------------------------------------- */

/* The vessels named; those of the newest batch when none are. */
static enum exit_status choose(struct app *app, struct chosen *chosen)
{
    struct survey survey = survey_all(RECORD_BATCH, 1);
    struct batch batch;
    struct page page;

    if (app->arguments.operand_count > 0)
        return labels_vessels(app, app->arguments.operands, app->arguments.operand_count,
                              app->arena, chosen);
    enum status status = survey_page(app->journal, &survey, app->arena, &page, app->diags);
    if (status == STATUS_OK && page.count == 0)
        return app_usage(app, "there is no batch yet; 'jarside batch' starts one");
    if (status == STATUS_OK)
        status =
            journal_get(app->journal, RECORD_BATCH, page.ids[0], app->arena, &batch, app->diags);
    return status == STATUS_OK ? labels_vessels(app, &batch.label, 1, app->arena, chosen)
                               : app_fail(app, status);
}

static enum exit_status labels_json(struct app *app, const struct chosen *chosen)
{
    json_t *labels = voice_json_vessels(chosen->vessels, chosen->count);
    return app_json(app, json_pack("{s:i, s:o}", "schema", 1, "labels", labels), false);
}

static enum exit_status run_labels(struct app *app)
{
    const char *path = arguments_value(&app->arguments, "html");
    struct chosen chosen = {NULL, 0, false};
    struct text html;
    enum paper paper;
    enum exit_status fault = app_open(app, JOURNAL_READ);

    if (fault == EXIT_FINE)
        fault = read_paper(app, &paper);
    if (fault == EXIT_FINE)
        fault = choose(app, &chosen);
    if (fault != EXIT_FINE)
        return fault;
    const struct journal_told told = app_told(app);
    if (arguments_flag(&app->arguments, "json"))
        return labels_json(app, &chosen);
    if (path == NULL) {
        enum status status = voice_labels(&app->out, &told, chosen.vessels, chosen.count);
        return status == STATUS_OK ? app_flush(app) : app_fail(app, status);
    }
    text_init(&html);
    enum status status = voice_labels_html(&html, &told, chosen.vessels, chosen.count, paper);
    fault = status == STATUS_OK ? write_page(app, &html, path) : app_fail(app, status);
    text_release(&html);
    return fault;
}

/* ---- the commands ---------------------------------------------------------------------------- */

static enum exit_status run_due(struct app *app)
{
    const char *calendar = arguments_value(&app->arguments, "ics");
    return calendar != NULL ? feed_write(app, calendar) : due(app);
}

const struct command command_due = {
    .name = "due",
    .summary = "tells which vessels to look at today, the most overdue first",
    .operands = "",
    .options = options,
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
