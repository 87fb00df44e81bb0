/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/commands.h"
#include "prompt/prompt.h"

static const struct option options[] = {
    {"no-input", NULL, "do not ask: fail, and name the question"},
    {NULL, NULL, NULL},
};

static enum exit_status run_ask(struct app *app)
{
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault != EXIT_FINE)
        return fault;
    if (arguments_flag(&app->arguments, "no-input"))
        return app_usage(app, "a conversation needs input; "
                              "'jarside judge \"what you see\"' answers without asking");
    struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .words = app->arguments.operands,
        .word_count = app->arguments.operand_count,
    };
    enum status status = prompt_converse(&opening, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

const struct command command_ask = {
    .name = "ask",
    .summary = "opens the conversation, with a first description if you give one",
    .operands = "[TEXT...]",
    .options = options,
    .run = run_ask,
};
