/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "cli/app.h"
#include "cli/cli.h"
#include "cli/exchange.h"
#include "review/review.h"
#include "view/review.h"
#include "view/screen.h"

static const struct option options[] = {
    {"csv", "FILE", "review a table of one row a vessel instead of the journal; '-' for input",
     .kind = OPTION_TEXT},
    {"demo", NULL, "review the invented season that comes with the program", .kind = OPTION_FLAG},
    {"since", "DATE", "only vessels begun on that day or later", .kind = OPTION_TEXT},
    {"details", NULL, "show every factor, what went together, times, batches, and how it decides",
     .kind = OPTION_TEXT},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {"html", "FILE", "write a page with charts instead, for screen and paper; '-' for output",
     .kind = OPTION_TEXT},
    {"force", NULL, "replace a file that exists", .kind = OPTION_TEXT},
    {0},
};

/* ---- progress -------------------------------------------------------------------------------- */

/* A share has no size of its own; the bar is told one that is large enough to be shown. */
static void tell_progress(void *context, const char *what, double share)
{
    enum { PARTS = PROGRESS_BAR_LEAST };
    const struct progress progress = progress_bar_listener(context);
    progress_tell(&progress, what, (uint64_t)(share * PARTS), PARTS);
}

/* ---- where the vessels come from --------------------------------------------------------------- */

static enum status table_at(struct app *app, const char *path, int32_t since, int32_t today,
                            struct arena *arena, struct dataset *dataset)
{
    bool input = strcmp(path, "-") == 0;
    return dataset_from_table(input ? "input" : path, input ? stdin : NULL, since, today, arena,
                              dataset, app->diags);
}

static enum status gather(struct app *app, int32_t since, struct arena *arena,
                          struct dataset *dataset)
{
    const char *path = arguments_value(&app->arguments, "csv");
    int32_t today = (int32_t)moment_day(moment_now());
    enum status fault = STATUS_OK;

    if (path != NULL)
        return table_at(app, path, since, today, arena, dataset);
    fault = arguments_flag(&app->arguments, "demo") ? demo_for_now(app)
                                                    : app_journal(app, JOURNAL_READ);
    if (fault != STATUS_OK)
        return fault;
    enum status status =
        dataset_from_journal(app->journal, app->rules, since, today, arena, dataset, app->diags);
    return status;
}

/* ---- the command ------------------------------------------------------------------------------ */

static enum status read_since(struct app *app, int32_t *since)
{
    const char *said = arguments_value(&app->arguments, "since");
    struct moment moment;
    *since = DAY_NONE;
    if (said == NULL)
        return STATUS_OK;
    if (!moment_read(said, moment_now(), &moment))
        return app_usage(app, "'--since %s' is no day; write 2026-03-01", said);
    *since = (int32_t)moment_day(moment);
    return STATUS_OK;
}

static enum status tell_page(struct app *app, const struct review *review, const char *path)
{
    bool replace = arguments_flag(&app->arguments, "force");
    struct text page;
    text_init(&page);
    view_review_html(&page, review);
    enum status status = app_write(app, path, &page, replace);
    text_release(&page);
    if (status != STATUS_OK)
        return status;
    if (strcmp(path, "-") != 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written: %s. Open it in any browser.", path);
    return app_flush(app);
}

static enum status tell(struct app *app, const struct review *review)
{
    const char *path = arguments_value(&app->arguments, "html");
    if (path != NULL)
        return tell_page(app, review, path);
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, view_review_json(review), false);
    bool full = arguments_flag(&app->arguments, "details");
    view_review(&app->out, review, full);
    if (!full && review->totals.counts.total > 0)
        screen_say(&app->out, 0, 0, ROLE_QUIET,
                   "--details: causes, tests, the next batch, every factor, and how it decides.");
    return app_flush(app);
}

static enum status review_in(struct app *app, struct arena *arena)
{
    struct progress_bar bar;
    struct review_progress progress = {tell_progress, &bar};
    struct dataset dataset;
    struct review review;
    int32_t since;

    enum status fault = read_since(app, &since);
    if (fault == STATUS_OK)
        fault = gather(app, since, arena, &dataset);
    if (fault != STATUS_OK)
        return fault;
    progress_bar_init(&bar, stderr);
    enum status status = review_make(&dataset, app->reasoner, &progress, arena, &review);
    progress_bar_clear(&bar);
    return status == STATUS_OK ? tell(app, &review) : status;
}

static enum status run_review(struct app *app)
{
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; a table is given as --csv %s",
                         app->arguments.operands[0], app->arguments.operands[0]);
    if (arguments_flag(&app->arguments, "demo") && arguments_value(&app->arguments, "csv") != NULL)
        return app_usage(app, "--demo and --csv: one of them at a time");
    if (arguments_flag(&app->arguments, "json") && arguments_value(&app->arguments, "html") != NULL)
        return app_usage(app, "--json and --html: one of them at a time");
    enum status status = app_load(app, NULL, 0);
    if (status != STATUS_OK)
        return status;
    struct arena *arena = arena_new();
    status = arena != NULL ? review_in(app, arena) : STATUS_MEMORY;
    arena_free(arena);
    return status;
}

const struct command command_review = {
    .name = "review",
    .summary = "finds what the lost vessels have in common, and what to change first",
    .operands = "",
    .detail =
        "Says what was lost, which cook, starter, session, grain lot or place most likely did "
        "it and how sure that is, what cannot be told apart, which test would settle it, and "
        "how many vessels a change would have saved. A table needs one row a vessel, a "
        "column that says lost or ok, and columns for what vessels share.",
    .options = options,
    .run = run_review,
};
