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

#define AT(member) .target = offsetof(struct given, member)
static const struct option options[] = {
    {"csv", "FILE", "review a table with one row per vessel instead of the journal; '-' for input",
     OPTION_TEXT, AT(csv)},
    {"demo", NULL, "review the invented season that comes with the program", OPTION_FLAG, AT(demo)},
    {"since", "DATE", "only vessels started on that day or later", OPTION_TEXT, AT(since)},
    {"details", NULL, "show every factor, what went together, times, batches, and how it decides",
     OPTION_FLAG, AT(details)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {"html", "FILE", "write a page with charts instead, for screen and paper; '-' for output",
     OPTION_TEXT, AT(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, AT(force)},
    {0},
};
#undef AT

/* A share has no size of its own; the bar is told one that is large enough to be shown. */
static void tell_progress(void *context, const char *what, double share)
{
    enum { PARTS = PROGRESS_BAR_LEAST };
    const struct progress progress = progress_bar_listener(context);
    progress_tell(&progress, what, (uint64_t)(share * PARTS), PARTS);
}

/* From the table, the invented season, or the journal. */
static void read_vessels(struct app *app, const struct given *given, struct dataset *dataset)
{
    int32_t today = (int32_t)moment_day(moment_now()), since = DAY_NONE;
    struct moment moment;

    if (given->since != NULL) {
        if (!moment_read(given->since, moment_now(), &moment))
            app_stop(app, "not a date I can read: '--since %s'; write 2026-03-01", given->since);
        since = (int32_t)moment_day(moment);
    }
    if (given->csv != NULL) {
        bool input = strcmp(given->csv, "-") == 0;
        app_must(app, dataset_from_table(input ? "input" : given->csv, input ? stdin : NULL, since,
                                         today, app->arena, dataset, app->diags));
        return;
    }
    if (given->demo)
        demo_for_now(app);
    app_must(app, app_journal(app, JOURNAL_READ)); /* which is open then */
    app_must(app, dataset_from_journal(app->journal, app->rules, since, today, app->arena, dataset,
                                       app->diags));
}

static enum status run_review(struct app *app)
{
    struct given given = {0};
    struct progress_bar bar;
    struct review_progress progress = {tell_progress, &bar};
    struct dataset dataset;
    struct review review;
    struct text page;

    if (app->arguments.operand_count > 0)
        app_stop(app, "unexpected argument '%s'; a table is given as --csv %s",
                 app->arguments.operands[0], app->arguments.operands[0]);
    options_fill(app, &given);
    if (given.demo && given.csv != NULL)
        app_stop(app, "give either --demo or --csv, not both");
    if (given.json && given.html != NULL)
        app_stop(app, "give either --json or --html, not both");
    app_must(app, app_load(app, NULL, 0));
    read_vessels(app, &given, &dataset);
    progress_bar_init(&bar, stderr);
    enum status status = review_make(&dataset, app->reasoner, &progress, app->arena, &review);
    progress_bar_clear(&bar);
    app_must(app, status);
    if (given.html != NULL) {
        text_init(&page);
        view_review_html(&page, &review);
        app_write(app, given.html, &page, given.force);
        if (strcmp(given.html, "-") != 0)
            screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written to %s. Open it in any browser.",
                       given.html);
        return app_flush(app);
    }
    if (given.json)
        return app_json(app, view_review_json(&review));
    view_review(&app->out, &review, given.details);
    if (!given.details && review.totals.counts.total > 0)
        screen_say(&app->out, 0, 0, ROLE_QUIET,
                   "--details: causes, tests, the next batch, every factor, and how it decides.");
    return app_flush(app);
}

const struct command review_commands[] = {
    {"review", "finds what the lost vessels have in common, and what to change first", "",
     "Shows what was lost; which cook, starter, session, grain lot or place most likely caused it "
     "and how sure that is; what is confounded; which test would settle it; and how many vessels "
     "a change would have saved. A table needs one row per vessel, a column that says lost or ok, "
     "and columns for what vessels share.",
     options, run_review},
    {0},
};
