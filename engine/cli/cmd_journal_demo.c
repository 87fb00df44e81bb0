/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/commands.h"
#include "cli/demo.h"
#include "journal/journal.h"

static enum exit_status run_journal_demo(struct app *app)
{
    if (app->arguments.operand_count != 1)
        return app_usage(app, "give the name of a new file; for instance: "
                              "jarside journal demo season.db");
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault != EXIT_FINE)
        return fault;
    const char *path = app->arguments.operands[0];
    fault = demo_at(app, path);
    if (fault != EXIT_FINE)
        return fault;
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "An invented season of %zu batches, %zu vessels and %zu looks is in %s.",
               journal_count(app->journal, RECORD_BATCH, NULL, 0),
               journal_count(app->journal, RECORD_VESSEL, NULL, 0),
               journal_count(app->journal, RECORD_LOOK, NULL, 0), path);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Try: jarside review --journal %s", path);
    return app_flush(app);
}

const struct command command_journal_demo = {
    .name = "journal demo",
    .summary = "writes an invented season into a new journal, for trying things out",
    .operands = "FILE",
    .detail = "Nothing in it is real: growers, shelves and losses are made up, some faults are "
              "planted, and corpus/demo/journal says which.",
    .options = NULL,
    .run = run_journal_demo,
};
