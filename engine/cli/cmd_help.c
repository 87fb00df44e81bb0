/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "base/version.h"
#include "cli/commands.h"

static void option_rows(struct screen *screen, const struct option *options)
{
    enum { NAME_COLUMNS = 24 };
    for (; options != NULL && options->name != NULL; options++) {
        char name[64];
        snprintf(name, sizeof name, "--%s%s%s", options->name, options->argument != NULL ? " " : "",
                 options->argument != NULL ? options->argument : "");
        screen_row(screen, 2, NAME_COLUMNS, name, options->help);
    }
}

void help_command(struct screen *screen, const struct command *command)
{
    screen_say(screen, 0, 4, ROLE_STRONG, "jarside %s [OPTIONS] %s", command->name,
               command->operands);
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", command->summary);
    if (command->detail != NULL) {
        screen_blank(screen);
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", command->detail);
    }
    screen_blank(screen);
    option_rows(screen, command->options);
    option_rows(screen, common_options);
}

void help_all(struct screen *screen)
{
    enum { NAME_COLUMNS = 16 };
    screen_say(
        screen, 0, 0, ROLE_PLAIN,
        "Jarside judges a jar or bag of grain spawn from what you see: what is in it, why, and "
        "whether to keep, isolate or discard it. Never open, shake or smell a suspect vessel.");
    screen_blank(screen);
    screen_row(screen, 2, NAME_COLUMNS, "jarside", "opens the conversation");
    for (size_t i = 0; commands[i] != NULL; i++)
        screen_row(screen, 2, NAME_COLUMNS, commands[i]->name, commands[i]->summary);
    screen_blank(screen);
    screen_say(screen, 0, 0, ROLE_PLAIN, "'jarside help COMMAND' tells more of each.");
    screen_say(screen, 0, 0, ROLE_PLAIN,
               "Exit status: 0 fine, 1 a check failed, 2 wrong use, 65 bad data, 70 a fault of the "
               "program, 74 reading or writing failed, 141 nobody reads the output any more.");
}

static enum exit_status run_help(struct app *app)
{
    int words = 0;
    const struct arguments *arguments = &app->arguments;
    if (arguments->operand_count == 0) {
        help_all(&app->out);
        return app_flush(app);
    }
    const struct command *command =
        command_find((int)arguments->operand_count, (char **)(void *)arguments->operands, &words);
    if (command == NULL)
        return app_usage(app, "no command '%s'; 'jarside help' lists them", arguments->operands[0]);
    help_command(&app->out, command);
    return app_flush(app);
}

static enum exit_status run_version(struct app *app)
{
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "jarside %s", JARSIDE_VERSION);
    return app_flush(app);
}

const struct command command_help = {
    .name = "help",
    .summary = "tells what the commands do",
    .operands = "[COMMAND]",
    .run = run_help,
};

const struct command command_version = {
    .name = "version",
    .summary = "prints the version",
    .operands = "",
    .run = run_version,
};
