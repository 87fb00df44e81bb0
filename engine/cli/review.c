/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "cli/app.h"
#include "cli/cli.h"
#include "cli/exchange.h"
#include "review/review.h"
#include "view/review.h"

struct given {
    const char *csv, *since, *html;
    bool demo, details, json, force;
};

#define TARGET(member) .target = offsetof(struct given, member)
static const struct option options[] = {
    {"csv", "FILE", "review a table of one row a vessel instead of the journal; '-' for input",
     OPTION_TEXT, TARGET(csv)},
    {"demo", NULL, "review the invented season that comes with the program", OPTION_FLAG,
     TARGET(demo)},
    {"since", "DATE", "only vessels begun on that day or later", OPTION_TEXT, TARGET(since)},
    {"details", NULL, "show every factor, what went together, times, batches, and how it decides",
     OPTION_FLAG, TARGET(details)},
    {"json", NULL, "print JSON", OPTION_FLAG, TARGET(json)},
    {"html", "FILE", "write a page with charts instead, for screen and paper; '-' for output",
     OPTION_TEXT, TARGET(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, TARGET(force)},
    {0},
};

/* A share has no size of its own; the bar is told one that is large enough to be shown. */
static void tell_progress(void *context, const char *what, double share)
{
    enum { PARTS = PROGRESS_BAR_LEAST };
    const struct progress progress = progress_bar_listener(context);
    progress_tell(&progress, what, (uint64_t)(share * PARTS), PARTS);
}

/* From the table, the invented season, or the journal. */
static enum status read_vessels(struct app *app, const struct given *given, struct arena *arena,
                                struct dataset *dataset)
{
    int32_t today = (int32_t)moment_day(moment_now()), since = DAY_NONE;
    struct moment moment;

    if (given->since != NULL) {
        if (!moment_read(given->since, moment_now(), &moment))
            return app_usage(app, "'--since %s' is no day; write 2026-03-01", given->since);
        since = (int32_t)moment_day(moment);
    }
    if (given->csv != NULL) {
        bool input = strcmp(given->csv, "-") == 0;
        return dataset_from_table(input ? "input" : given->csv, input ? stdin : NULL, since, today,
                                  arena, dataset, app->diags);
    }
    enum status status = given->demo ? demo_for_now(app) : app_journal(app, JOURNAL_READ);
    return status == STATUS_OK ? dataset_from_journal(app->journal, app->rules, since, today, arena,
                                                      dataset, app->diags)
                               : status;
}

static enum status show_page(struct app *app, const struct review *review,
                             const struct given *given)
{
    struct text page;
    text_init(&page);
    view_review_html(&page, review);
    enum status status = app_write(app, given->html, &page, given->force);
    text_release(&page);
    if (status == STATUS_OK && strcmp(given->html, "-") != 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written: %s. Open it in any browser.",
                   given->html);
    return status == STATUS_OK ? app_flush(app) : status;
}

static enum status show(struct app *app, const struct review *review, const struct given *given)
{
    if (given->html != NULL)
        return show_page(app, review, given);
    if (given->json)
        return app_json(app, view_review_json(review), false);
    view_review(&app->out, review, given->details);
    if (!given->details && review->totals.counts.total > 0)
        screen_say(&app->out, 0, 0, ROLE_QUIET,
                   "--details: causes, tests, the next batch, every factor, and how it decides.");
    return app_flush(app);
}

static enum status run_review(struct app *app)
{
    struct given given = {0};
    struct progress_bar bar;
    struct review_progress progress = {tell_progress, &bar};
    struct dataset dataset;
    struct review review;

    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; a table is given as --csv %s",
                         app->arguments.operands[0], app->arguments.operands[0]);
    enum status status = options_fill(app, &given);
    if (status != STATUS_OK)
        return status;
    if (given.demo && given.csv != NULL)
        return app_usage(app, "--demo and --csv: one of them at a time");
    if (given.json && given.html != NULL)
        return app_usage(app, "--json and --html: one of them at a time");
    status = app_load(app, NULL, 0);
    if (status != STATUS_OK)
        return status;
    struct arena *arena = arena_new();
    status = read_vessels(app, &given, arena, &dataset);
    if (status == STATUS_OK) {
        progress_bar_init(&bar, stderr);
        status = review_make(&dataset, app->reasoner, &progress, arena, &review);
        progress_bar_clear(&bar);
    }
    if (status == STATUS_OK)
        status = show(app, &review, &given);
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
