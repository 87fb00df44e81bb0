/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/app_journal.h"
#include "cli/commands.h"
#include "journal/export.h"
#include "voice/whole_json.h"

static const struct option options[] = {
    {"table", "NAME", "only this one, to standard output, or to the file named instead of DIR"},
    {"force", NULL, "replace files that exist"},
    {"json", NULL, "say what was written as JSON"},
    {NULL, NULL, NULL},
};

static enum exit_status export_one(struct app *app)
{
    enum record record = RECORD_COUNT;
    const struct arguments *arguments = &app->arguments;
    enum exit_status fault = app_table(app, &record);
    if (fault == EXIT_FINE)
        fault = app_journal(app, JOURNAL_READ);
    if (fault != EXIT_FINE)
        return fault;
    const char *path = arguments->operand_count > 0 ? arguments->operands[0] : "-";
    enum status status =
        strcmp(path, "-") == 0
            ? export_table(app->journal, record, stdout, "standard output", app->diags)
            : export_file(app->journal, record, path, arguments_flag(arguments, "force"),
                          app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

static enum exit_status tell(struct app *app, const char *folder, const size_t *counts)
{
    if (arguments_flag(&app->arguments, "json")) {
        json_t *tables = json_object();
        for (int i = 0; i < RECORD_COUNT; i++)
            tables =
                voice_json_put(tables, record_types[i].name, json_integer((json_int_t)counts[i]));
        return app_json(app,
                        json_pack("{s:i, s:s, s:o}", "schema", 1, "folder", folder, "rows", tables),
                        false);
    }
    for (int i = 0; i < RECORD_COUNT; i++) {
        char rest[64];
        snprintf(rest, sizeof rest, "%zu row%s", counts[i], counts[i] == 1 ? "" : "s");
        screen_row(&app->out, 0, 12, record_types[i].name, rest);
    }
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written to %s.", folder);
    return app_flush(app);
}

static enum exit_status export_all(struct app *app)
{
    size_t counts[RECORD_COUNT] = {0};
    char date[MOMENT_ROOM], usual[MOMENT_ROOM + 16];
    const struct arguments *arguments = &app->arguments;
    snprintf(usual, sizeof usual, "jarside-%s", moment_write_day(moment_now(), date));
    const char *folder = arguments->operand_count > 0 ? arguments->operands[0] : usual;
    enum exit_status fault = app_journal(app, JOURNAL_READ);
    if (fault != EXIT_FINE)
        return fault;
    enum status status = export_folder(app->journal, folder, arguments_flag(arguments, "force"),
                                       counts, NULL, app->diags);
    return status == STATUS_OK ? tell(app, folder, counts) : app_fail(app, status);
}

static enum exit_status run(struct app *app)
{
    if (app->arguments.operand_count > 1)
        return app_usage(app, "one folder or file at a time");
    return arguments_value(&app->arguments, "table") != NULL ? export_one(app) : export_all(app);
}

const struct command command_export = {
    .name = "export",
    .summary = "writes the journal as CSV tables that any spreadsheet opens",
    .operands = "[DIR]",
    .detail =
        "One file a table, in a folder named after today unless you name one. 'jarside import DIR' "
        "reads them back exactly. A text that a spreadsheet would take for a formula gets an "
        "apostrophe in front, which the import takes away.",
    .options = options,
    .run = run,
};
